"""Facts of the wiring that no operating state changes: protective conductors, electrodes, neutrals, fits."""

from collections.abc import Sequence
from typing import NamedTuple

from onebond.facts.island import Island
from onebond.model import HIGH_LEG, LINES, Installation
from onebond.network import Network
from onebond.span import Route


class ElectrodePair(NamedTuple):
    """An electrode beside an earlier one."""

    id: str
    route: Route
    island: None
    other: str
    other_route: Route
    joined: bool
    apart: bool  # the two places are written to be in different buildings


class SwitchedProtective(NamedTuple):
    """A device or changeover, with the protective conductors that it opens."""

    id: str
    route: Route
    island: None
    opens_pe: bool
    opens_pen: bool


class BorrowedNeutral(NamedTuple):
    """A circuit with the RCDs on the way of its line and of its neutral."""

    id: str
    route: Route
    island: None
    line_only: tuple[str, ...]  # RCDs that sum its line but not its neutral
    neutral_only: tuple[str, ...]
    through: str  # another circuit or connection whose core its neutral uses
    misfit: str  # the device that does not fit, from which this follows
    lost: str  # its neutral reaches no source that feeds its line: the first circuit on that neutral, itself or another


class Misfit(NamedTuple):
    """A device or changeover, with what does not fit, in words, or ''."""

    id: str
    route: Route
    island: None
    what: str
    high_leg: str = ""  # the source whose high leg it has beside its neutral, or ''


def electrode_pairs(network: Network) -> tuple[ElectrodePair, ...]:
    """Each electrode after the first beside the first one that it should be joined to."""
    site = network.installation
    parent = list(range(len(network.nodes)))

    def top(node: int) -> int:
        while parent[node] != node:
            node = parent[node]
        return node

    for edge in network.earth:
        parent[top(edge.a)] = top(edge.b)
    for edge in network.edges:
        if edge.core == "PEN":
            parent[top(edge.a)] = top(edge.b)
    for tie in network.ties:
        if tie.needs or not tie.solid:
            continue  # what is open in some state joins nothing for certain
        # a bond joins the PE of its place to the N there: over a PEN that is a conductor between electrodes
        parent[top(tie.n)] = top(tie.pe)
    building = {source.id: source.building for source in site.sources}
    building.update((board.id, board.building) for board in site.boards)
    building.update((changeover.id, changeover.building) for changeover in site.changeovers)
    building.update((circuit.id, circuit.building) for circuit in site.circuits)
    pe = dict(network.electrodes)
    found = []
    for i, electrode in enumerate(site.electrodes):
        touched = []
        for earlier in site.electrodes[:i]:
            here, there = building.get(electrode.at.id), building.get(earlier.at.id)
            if not (here and there and here != there):
                touched.append(earlier)
        joined = any(top(pe[electrode.id]) == top(pe[earlier.id]) for earlier in touched)
        for first in (touched or site.electrodes[:i])[:1]:
            found.append(ElectrodePair(electrode.id, electrode.route, None, first.id, first.route, joined, not touched))
    return tuple(found)


def switched_protective(site: Installation) -> tuple[SwitchedProtective, ...]:
    """Every device and changeover, with whether it opens PE or PEN."""
    found = []
    for link in (*site.connections, *(circuit.connection for circuit in site.circuits)):
        for device in link.devices:
            found.append(
                SwitchedProtective(
                    device.id or link.id, device.route, None, "PE" in device.poles, "PEN" in device.poles
                )
            )
    for changeover in site.changeovers:
        pen = any("PEN" in link.cores and changeover.id in (link.start.id, link.finish.id) for link in site.connections)
        poles = changeover.poles
        found.append(
            SwitchedProtective(
                changeover.id, changeover.route, None, "PE" in poles, "PEN" in poles or (pen and "N" in poles)
            )
        )
    return tuple(found)


def borrowed_neutrals(network: Network, islands: Sequence[Island]) -> tuple[BorrowedNeutral, ...]:
    """Every circuit that has a neutral at its end, with the RCDs of its line and of its neutral."""
    site = network.installation
    sources_l = {node for feed in network.feeds for node in feed.lines}
    sources_n = {node for feed in network.feeds for node in feed.neutrals}
    misfit = {entry.id for entry in misfits(site) if entry.what}
    by_case = _by_case(network, islands)
    lost = _lost(network, islands)
    shared = _shared(network, islands)
    reached = _reached(network, sources_l, frozenset())
    reached_n = _reached(network, sources_n, frozenset())
    without = [
        (
            rcd.device.id or rcd.connection,
            _reached(network, sources_l, rcd.edges),
            _reached(network, sources_n, rcd.edges),
        )
        for rcd in network.rcds
        if rcd.loads_only
    ]
    found = []
    for circuit in site.circuits:
        lines = [node for line in LINES if (node := network.find(circuit.id, "", line)) in reached]
        neutral = network.find(circuit.id, "", "N")
        single = sum(core in LINES for core in circuit.connection.cores) == 1
        if neutral < 0 and lines and single:
            # a single line and nothing to return by
            found.append(BorrowedNeutral(circuit.id, circuit.route, None, (), (), "", "", circuit.id))
        if neutral < 0 or not lines:
            continue
        line_only: set[str] = set()
        neutral_only: set[str] = set()
        # a neutral that leads nowhere passes no device and goes round none: it is told as lost
        for name, over_lines, over_neutrals in without if neutral in reached_n else ():
            with_line = any(line not in over_lines for line in lines)
            with_neutral = neutral not in over_neutrals
            if with_line != with_neutral:
                (line_only if with_line else neutral_only).add(name)
        for name, with_line in by_case.get(circuit.id, ()):
            (line_only if with_line else neutral_only).add(name)
        through = shared.get(circuit.id, "")
        follows = next((name for name in (circuit.id, *sorted(line_only | neutral_only)) if name in misfit), "")
        found.append(
            BorrowedNeutral(
                circuit.id,
                circuit.route,
                None,
                tuple(sorted(line_only)),
                tuple(sorted(neutral_only)),
                through,
                follows,
                lost.get(circuit.id, ""),
            )
        )
    return tuple(found)


def _shared(network: Network, islands: Sequence[Island]) -> dict[str, str]:
    """Circuits whose neutral, in some case, has its only way back through the core of another circuit, and that circuit.

    A circuit that hangs on the end of another one altogether, line and neutral, borrows nothing.
    """
    number = network.number
    ends = {c: number[c, "", "N"] for c, _ in network.circuits if (c, "", "N") in number}
    # only a circuit at whose end a further neutral lands can lend its core
    lenders = [
        c for c, end in ends.items() if sum(network.plain[i][4] == "neutral" for i, _ in network.around[end]) > 1
    ]
    found: dict[str, str] = {}
    seen: set[tuple[tuple[int, ...], frozenset[int]]] = set()
    for island in islands if lenders else ():
        if island.shape in seen:
            continue
        seen.add(island.shape)
        for lender in lenders:
            cut = frozenset(i for i, edge in enumerate(network.edges) if edge.element == lender)
            for feed in island.feeds:
                straight = island.line_part(feed.lines, without=cut)
                back, with_it = island.neutral_part(feed.neutrals, without=cut), island.neutral_part(feed.neutrals)
                for circuit, lines in network.circuits:
                    if circuit == lender or circuit not in ends or circuit in found:
                        continue
                    joined = with_it >> ends[circuit] & 1 and not back >> ends[circuit] & 1
                    if joined and any(straight >> line & 1 for line in lines):
                        found[circuit] = lender
    return found


def _lost(network: Network, islands: Sequence[Island]) -> dict[str, str]:
    """Circuits whose line is energised while their neutral reaches no source that feeds this line.

    All circuits on one such neutral name the first of them.
    """
    number = network.number
    found: dict[str, str] = {}
    seen: set[tuple[tuple[int, ...], frozenset[int]]] = set()
    for island in islands:
        if island.shape in seen:
            continue
        seen.add(island.shape)
        neutrals = {feed.id: island.neutral_part(feed.neutrals) for feed in island.feeds}
        for circuit, lines in network.circuits:
            neutral = number.get((circuit, "", "N"))
            if neutral is None or circuit in found or len(lines) != 1:
                continue
            feeders = [feed.id for feed in island.feeds if island.feed_lines[feed.id] >> lines[0] & 1]
            if feeders and not any(neutrals[feed] >> neutral & 1 for feed in feeders):
                part = network.neutral_reach(neutral, island.state)
                first = next((c for c in found if found[c] == c and number[c, "", "N"] in part), circuit)
                found[circuit] = first
    return found


def _by_case(network: Network, islands: Sequence[Island]) -> dict[str, set[tuple[str, bool]]]:
    """For each circuit the RCDs that, in some case, sum only its line (True) or only its neutral (False).

    RCDs behind which only loads lie need no case; they are left out here.
    """
    number = network.number
    found: dict[str, set[tuple[str, bool]]] = {}
    seen: set[tuple[tuple[int, ...], frozenset[int]]] = set()
    for island in islands:
        if not island.rcds or island.shape in seen:
            continue
        seen.add(island.shape)
        neutrals = {feed.id: island.neutral_part(feed.neutrals) for feed in island.feeds}
        for rcd in island.rcds:
            near = {
                feed.id: (
                    island.line_part(feed.lines, without=rcd.edges),
                    island.neutral_part(feed.neutrals, without=rcd.edges),
                )
                for feed in island.feeds
            }
            for circuit, lines in network.circuits:
                neutral = number.get((circuit, "", "N"))
                if neutral is None:
                    continue
                for line in lines:
                    feeders = [
                        feed.id
                        for feed in island.feeds
                        if island.feed_lines[feed.id] >> line & 1 and neutrals[feed.id] >> neutral & 1
                    ]
                    with_line = not any(near[feed][0] >> line & 1 for feed in feeders)
                    with_neutral = not any(near[feed][1] >> neutral & 1 for feed in feeders)
                    if with_line != with_neutral:
                        found.setdefault(circuit, set()).add((rcd.device.id or rcd.connection, with_line))
    return found


def _reached(network: Network, start: set[int], without: frozenset[int]) -> set[int]:
    """The nodes that some nodes of one kind reach over conductors of that kind; inside sources nothing is followed."""
    seen = set(start)
    stack = list(start)
    while stack:
        node = stack.pop()
        neutral = network.nodes[node][2] == "N"
        for i, other in network.around[node]:
            if other in seen or i in without or network.edges[i].core == "winding":
                continue
            if (network.nodes[other][2] == "N") == neutral:
                seen.add(other)
                stack.append(other)
    return seen


def misfits(site: Installation) -> tuple[Misfit, ...]:
    """Crossed cores, bonds, every device that sums, and every changeover, with what does not fit the conductors there."""
    found = []
    landed: dict[str, set[str]] = {}
    for link in (*site.connections, *(circuit.connection for circuit in site.circuits)):
        landed.setdefault(link.start.id, set()).update(link.cores)
        landed.setdefault(link.finish.id, set()).update(dict(link.lands_on).get(core, core) for core in link.cores)
        live = [core for core in link.cores if core in (*LINES, "N", "PEN")]
        crossed = [
            f"{core} lands on {target}"
            for core, target in link.lands_on
            if (core in LINES) != (target in LINES) or ("PE" in (core, target) and core not in ("PEN", target))
        ]
        if crossed:
            found.append(Misfit(link.id, link.route, None, f"its cores are crossed: {', '.join(crossed)}"))
        for device in link.devices:
            if device.kind not in ("rcd", "rcbo"):
                continue
            what = ""
            left = [core for core in live if core not in device.senses]
            if len(device.senses) < 2:
                what = "it sums fewer than two conductors"
            elif left:
                what = f"{' '.join(left)} passes it without being summed"
            found.append(Misfit(device.id or link.id, device.route, None, what))
    inside = {board.id: board.bars for board in site.boards}
    places = (
        set(inside) | {circuit.id for circuit in site.circuits} | {changeover.id for changeover in site.changeovers}
    )
    for bond in site.bonds:
        there = landed.get(bond.at.id, set()) | set(inside.get(bond.at.id, ()))
        none = bond.at.id in places and not there & {"N", "PEN"}
        found.append(Misfit(bond.id, bond.route, None, "no neutral lands where it is" if none else ""))
    for changeover in site.changeovers:
        there = landed.get(changeover.id, set())
        missing = [pole for pole in changeover.poles if pole not in there and not (pole == "N" and "PEN" in there)]
        what = f"no conductor lands on its pole {' '.join(missing)}" if missing else ""
        found.append(Misfit(changeover.id, changeover.route, None, what))
    return tuple(found)


def loads_on_high_leg(network: Network, islands: Sequence[Island]) -> tuple[Misfit, ...]:
    """Every circuit that has, in some state, the high leg of a delta beside its neutral.

    Of a circuit with all three lines nobody can tell what is between them and the neutral.
    """
    site = network.installation
    deltas = {source.id for source in site.sources if source.high_leg}
    few = [
        circuit
        for circuit in site.circuits
        if "N" in circuit.connection.cores and sum(core in LINES for core in circuit.connection.cores) < len(LINES)
    ]
    ends = dict(network.circuits)
    found: dict[str, Misfit] = {}
    seen: set[tuple[tuple[int, ...], frozenset[int]]] = set()
    for island in islands if deltas and few else ():
        if island.shape in seen:
            continue
        seen.add(island.shape)
        for feed in island.feeds:
            if feed.id not in deltas:
                continue
            leg = island.line_part(tuple(node for node in feed.lines if network.nodes[node][2] == HIGH_LEG))
            for circuit in few:
                if any(leg >> node & 1 for node in ends[circuit.id]):
                    what = f"it has {HIGH_LEG} and N, and {HIGH_LEG} is the high leg of {feed.id}"
                    found.setdefault(circuit.id, Misfit(circuit.id, circuit.route, None, what, feed.id))
    return tuple(found.values())
