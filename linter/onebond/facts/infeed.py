"""Facts about where sources come in: behind which RCDs, and at which level of the distribution."""

from collections.abc import Sequence
from typing import NamedTuple

from onebond.facts.island import Island
from onebond.model import LINES, Connection
from onebond.network import Feed, Network, Passage, Rcd
from onebond.span import Route

FINAL_RCD_A = 0.030
"""RCDs up to this residual current give additional protection to final circuits (IEC 60364-4-41, 415.1)."""


class FedBehindRcd(NamedTuple):
    """The mains input of a pass-through inverter, with an RCD on its way."""

    id: str
    route: Route
    island: Island
    rcd: str
    rcd_route: Route
    trouble: str  # reference | return | loads | final | supplier | '' (none)
    names: tuple[str, ...]
    misfit: str  # the RCD, where it does not sum all that passes it


class InfeedBehindRcd(NamedTuple):
    """A source and the way by which it enters."""

    id: str
    route: Route
    island: Island | None
    by: str  # circuit | rcd | '' (at an entry)
    through: str
    through_route: Route
    other: str


class Levels(NamedTuple):
    """A place with two infeeds that come from one supply."""

    id: str
    route: Route
    island: None
    first: str
    second: str
    between: tuple[tuple[str, Route, str], ...]  # bonds and RCDs on the way to one of them only


def _rcd_name(rcd: Rcd) -> str:
    return rcd.device.id or rcd.connection


def fed_behind_rcd(network: Network, islands: Sequence[Island]) -> tuple[FedBehindRcd, ...]:
    """Every pass-through inverter with every RCD that its mains input lies behind in some case."""
    found = []
    neutral = {key[0]: i for i, key in enumerate(network.nodes) if key[1:] == ("", "N")}
    for passage in network.passages:
        feed = next(f for f in network.feeds if f.variable == passage.variable)
        for rcd in network.rcds:
            if rcd.loads_only:
                continue
            witnesses = [island for island in islands if _input_behind(island, passage, feed, rcd)]
            if not witnesses:
                continue
            final = (rcd.device.residual_a or 0.0) <= FINAL_RCD_A
            tied = [(kind, island) for island in islands if (kind := _tied_beyond(island, feed, rcd))]
            trouble, island = min(tied, key=lambda one: one[0], default=("", witnesses[0]))
            for candidate in witnesses if trouble != "reference" else ():
                beyond = _from_others(candidate, feed, rcd)
                if _passes(candidate, passage):
                    fed_round = _fed_round(network, islands, passage, rcd, candidate.feeds)
                    # what follows is no source that a neutral returns to: it brings no voltage of its own
                    home = _from_others(candidate, feed, rcd, forming=True)
                    out = candidate.line_part(passage.outputs)
                    for identifier in candidate.supplies:
                        lines = [
                            n for key, nodes in (*network.boards, *network.circuits) if key == identifier for n in nodes
                        ]
                        by_inverter = any(out >> n & 1 and beyond >> n & 1 for n in lines)
                        node = neutral.get(identifier)
                        if by_inverter and node is not None and candidate.live >> node & 1 and not home >> node & 1:
                            trouble, island = "return", candidate
                        elif by_inverter and final and identifier in fed_round and trouble in ("", "supplier"):
                            trouble, island = "loads", candidate
                elif final and trouble in ("", "supplier"):
                    fed = _fed_by_others(candidate, feed)
                    sides = {
                        any(beyond >> n & 1 for n in nodes)
                        for _, nodes in network.circuits
                        if any(fed >> n & 1 for n in nodes)
                    }
                    if len(sides) > 1:
                        trouble, island = "final", candidate
            misfit = _rcd_name(rcd) if len(rcd.edges) < rcd.passing else ""
            found.append(
                FedBehindRcd(
                    passage.id, passage.route, island, _rcd_name(rcd), rcd.device.route, trouble, (rcd.name,), misfit
                )
            )
    return tuple(found)


def _tied_beyond(island: Island, feed: Feed, rcd: Rcd) -> str:
    """What ties the neutral of an inverter that forms this island beyond an RCD, where nothing of the site does before it.

    reference | supplier (his star point alone) | '' (nothing)
    """
    own = next((one for one in island.feeds if one.id == feed.id), None)
    if own is None:
        return ""
    beyond = island.beyond(rcd, (*own.lines, *own.neutrals))
    if any(not any(beyond >> node & 1 for node in one.n) for one in island.own_references):
        return ""
    kinds = {one.kind for one in island.references if any(beyond >> node & 1 for node in one.n)}
    return "" if not kinds else "supplier" if kinds == {"star"} else "reference"


def _passes(island: Island, passage: Passage) -> bool:
    """Whether lines lead through the inverter: while it passes, and while it is off where it is a way through then."""
    inside = island.line_part(passage.inputs)
    return any(inside >> node & 1 for node in passage.outputs)


def _fed_by_others(island: Island, feed: Feed) -> int:
    """The lines that sources other than one energise; a bit set."""
    found = 0
    for identifier, lines in island.feed_lines.items():
        if identifier != feed.id:
            found |= lines
    return found


def _input_behind(island: Island, passage: Passage, feed: Feed, rcd: Rcd) -> bool:
    """Whether, in this case, another source feeds the mains input through that RCD."""
    if not island.is_live(passage.inputs) or rcd not in island.rcds:
        return False
    beyond = _from_others(island, feed, rcd)
    return any(beyond >> node & 1 for node in passage.inputs)


def _from_others(island: Island, feed: Feed, rcd: Rcd, forming: bool = False) -> int:
    """What the RCD cuts off from every energised source but one, or from those of them that form an island."""
    feeds = [other for other in island.feeds if other.id != feed.id and (other.forming or not forming)]
    nodes = [n for other in feeds for n in (*other.lines, *other.neutrals)]
    return island.beyond(rcd, tuple(nodes)) if nodes else 0


def _fed_round(
    network: Network, islands: Sequence[Island], passage: Passage, rcd: Rcd, sources: tuple[Feed, ...]
) -> set[str]:
    """Places that the same sources feed, in some case, neither through the RCD nor through the inverter."""
    found: set[str] = set()
    names = {source.id for source in sources if source.forming}  # what follows feeds nothing by itself
    for island in islands:
        if _passes(island, passage):
            continue
        part = 0
        for feed in island.feeds:
            if feed.id in names:
                part |= island.line_part(feed.lines, without=rcd.edges)
        for identifier, lines in (*network.boards, *network.circuits):
            if any(part >> node & 1 for node in lines):
                found.add(identifier)
    return found


def infeeds_behind_rcd(network: Network, islands: Sequence[Island]) -> tuple[InfeedBehindRcd, ...]:
    """Every source but the utilities, with the circuit or RCD by which it enters, if any."""
    site = network.installation
    circuits = {circuit.id: circuit for circuit in site.circuits}
    links = {link.id: link for link in (*site.connections, *(c.connection for c in site.circuits))}
    found = []
    for feed in network.feeds:
        if feed.kind == "utility":
            continue
        members = {source.id for source in feed.sources}
        entered = False
        for link in site.connections:
            for end, other in ((link.start, link.finish), (link.finish, link.start)):
                if end.id in members and end.terminal != "in" and other.id in circuits:
                    circuit = circuits[other.id]
                    rival = _others(network, feed, circuit.connection, circuit.id)
                    if rival:
                        entered = True
                        found.append(
                            InfeedBehindRcd(feed.id, feed.route, None, "circuit", circuit.id, circuit.route, rival)
                        )
        for island in islands:
            if not island.fed_by(feed.id):
                continue
            for rcd in island.rcds:
                link = links[rcd.connection]
                part = island.feed_lines[feed.id]
                if not any(part >> network.edges[i].a & 1 for i in rcd.lines):
                    continue
                near = island.line_part(feed.lines, without=rcd.edges)
                # an RCD is written from its supply side to its load side
                if not any(near >> network.edges[i].b & 1 and not near >> network.edges[i].a & 1 for i in rcd.lines):
                    continue
                loads = [c for c, nodes in network.circuits if any(near >> n & 1 for n in nodes)]
                far = part & ~near
                entry = any(far >> n & 1 for _, nodes in network.boards for n in nodes)
                rival = _others(network, feed, link, "") if loads and entry else ""
                if rival:
                    entered = True
                    found.append(
                        InfeedBehindRcd(feed.id, feed.route, island, "rcd", _rcd_name(rcd), rcd.device.route, rival)
                    )
        if not entered:
            found.append(InfeedBehindRcd(feed.id, feed.route, None, "", "", (), ""))
    return tuple(found)


def _others(network: Network, feed: Feed, link: Connection, circuit: str) -> str:
    """Another source that can feed the supply side of a connection, whatever is switched, but not through it."""
    starts = {
        edge.a for edge in network.edges if edge.element in (link.id, circuit) and network.nodes[edge.a][2] in LINES
    }
    own = {source.id for source in feed.sources} | {feed.id}
    seen = set(starts)
    stack = list(starts)
    while stack:
        for i, other in network.around[stack.pop()]:
            edge = network.edges[i]
            if other in seen or edge.element in (link.id, circuit) or edge.element in own:
                continue
            if network.nodes[other][2] in LINES:
                seen.add(other)
                stack.append(other)
    return next((f.id for f in network.feeds if f.id not in own and any(n in seen for n in f.lines)), "")


def levels(network: Network) -> tuple[Levels, ...]:
    """Changeovers and boards with two infeeds from one supply, and what lies on the way to only one of them."""
    site = network.installation
    starts = {board.id for board in site.boards} | {passage.id for passage in network.passages}
    found = []
    for changeover in site.changeovers:
        inputs = [
            (f"{changeover.id}.{position}", _line_at(network, changeover.id, position))
            for position in changeover.positions
        ]
        found.extend(_compare(network, changeover.id, changeover.route, inputs, changeover.id))
    arriving: dict[str, list[Connection]] = {}
    for link in site.connections:
        arriving.setdefault(link.finish.id, []).append(link)
    for board in site.boards:
        inputs = []
        for link in arriving.get(board.id, ()):
            if link.start.id in starts and any(core in LINES for core in link.cores):
                inputs.append((link.start.id, _line_at(network, link.start.id, link.start.terminal)))
        found.extend(_compare(network, board.id, board.route, inputs, board.id))
    return tuple(found)


def _line_at(network: Network, identifier: str, terminal: str) -> int:
    """The first line node of a terminal in the order of the network, -1 where there is none."""
    nodes = [node for line in LINES if (node := network.find(identifier, terminal, line)) >= 0]
    return min(nodes, default=-1)


class _Way(NamedTuple):
    marks: frozenset[tuple[str, Route, str]]  # bonds, and RCDs up to the last board
    own: tuple[tuple[str, Route, str], ...]  # RCDs on the last piece, of which each way may have one


def _compare(
    network: Network, identifier: str, route: Route, inputs: list[tuple[str, int]], without: str
) -> list[Levels]:
    marks: list[tuple[str, str, _Way]] = []
    for name, node in inputs if len(inputs) > 1 else ():
        for feed in network.feeds:
            if feed.kind == "utility":
                way = _way(network, feed, node, without)
                if way is not None:
                    marks.append((name, feed.id, way))
                    break
    found = []
    for i, (first, supply, one) in enumerate(marks):
        for second, other_supply, other in marks[i + 1 :]:
            if supply == other_supply:
                between = tuple(sorted(one.marks ^ other.marks))
                if not between and len(one.own) != len(other.own):
                    between = one.own or other.own
                found.append(Levels(identifier, route, None, first, second, between))
    return found


def _way(network: Network, feed: Feed, goal: int, without: str) -> _Way | None:
    """The shortest way from a supply to a place, up to an inverter on it."""
    site = network.installation
    boards = {board.id for board in site.boards}
    parent: dict[int, tuple[int, int]] = dict.fromkeys(feed.lines, (-1, -1))
    ring = list(feed.lines)
    while ring and goal not in parent:
        following = []
        for node in ring:
            for i, other in network.around[node]:
                edge = network.edges[i]
                if other in parent or edge.core == "winding" or network.nodes[other][2] not in LINES:
                    continue
                if edge.element == without or (without in boards and network.nodes[other][0] == without):
                    continue
                parent[other] = (node, i)
                following.append(other)
        ring = following
    if goal not in parent:
        return None
    steps: list[tuple[int, int]] = []  # (node, edge that leads on from it)
    node, onward = goal, -1
    while node >= 0:
        steps.append((node, onward))
        node, onward = parent[node]
    steps.reverse()
    inverters = {passage.id for passage in network.passages}
    last = 0
    for i, (node, onward) in enumerate(steps):
        if network.nodes[node][0] in boards:
            last = i
        if onward >= 0 and network.edges[onward].element in inverters:
            break
    frames = {tie.pe: tie for tie in network.ties if tie.kind == "bond"}
    parts = {part.id: part.pe for part in network.parts}
    marks: set[tuple[str, Route, str]] = set()
    own: list[tuple[str, Route, str]] = []
    for i, (node, onward) in enumerate(steps):
        if onward >= 0 and network.edges[onward].element in inverters:
            break
        tie = frames.get(parts.get(network.nodes[node][0], -1))
        if tie:
            marks.add((tie.id, tie.route, "a bond between N and PE lies between them"))
        for rcd in network.rcds:
            if onward in rcd.edges:
                mark = (_rcd_name(rcd), rcd.device.route, "an RCD lies between them")
                if i < last:
                    marks.add(mark)
                else:
                    own.append(mark)
    return _Way(frozenset(marks), tuple(own))
