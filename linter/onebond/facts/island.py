"""What can be said of one live island: its references, its lines, what lies behind which RCD.

Facts decide nothing; they are true or false of a case whatever a rulebook says of it.
"""

from collections.abc import Iterable
from functools import cached_property
from typing import NamedTuple

from onebond.model import Monitor
from onebond.network import Feed, Needs, Network, Rcd, Tie
from onebond.span import Route
from onebond.states import Case, holds, reach


class Reference(NamedTuple):
    """One place where the neutral of an island is tied to earth; several ties in one enclosure are one reference."""

    id: str
    kind: str  # bond | internal | star
    ties: tuple[Tie, ...]
    pe: int
    route: Route
    at: str

    @property
    def words(self) -> str:
        """How a person calls it: an inner bond is not the source that holds it."""
        words = {"internal": f"the bond inside {self.id}", "star": f"the star point of {self.id}"}
        return words.get(self.kind, self.id)

    @property
    def n(self) -> tuple[int, ...]:
        """The neutral nodes that it ties."""
        return tuple(tie.n for tie in self.ties)


class Island:
    """One case, with what follows from it worked out when somebody asks."""

    def __init__(self, network: Network, case: Case, earth: tuple[int, ...]) -> None:
        self.network = network
        self.case = case
        self.state = case.state
        self.live = case.live
        self.earth = earth  # label of the metallic earth part of each node

    def value(self, variable: int) -> str:
        """The value of a variable in this case, empty where it does not matter."""
        number = self.state[variable]
        return self.network.variables[variable].values[number] if number >= 0 else ""

    def is_live(self, nodes: tuple[int, ...]) -> bool:
        """Whether any of the nodes is in the island."""
        return any(self.live >> node & 1 for node in nodes)

    @cached_property
    def ways(self) -> list[list[tuple[int, int, str]]]:
        """For each node the closed edges that lead on from it: edge, other node, and what joins what."""
        live, state = self.live, self.state
        found: list[list[tuple[int, int, str]]] = [[] for _ in self.network.nodes]
        for i, a, b, needs, sort in self.network.plain:
            if live >> a & 1 and (not needs or holds(needs, state)):
                found[a].append((i, b, sort))
                found[b].append((i, a, sort))
        return found

    @cached_property
    def shape(self) -> tuple[tuple[int, ...], frozenset[int]]:
        """What feeds the island and which of its edges are closed: equal for cases that are wired alike."""
        return self.case.feeds, frozenset(i for ways in self.ways for i, _, _ in ways)

    def part(self, nodes: tuple[int, ...], sort: str = "", without: frozenset[int] | set[int] = frozenset()) -> int:
        """The nodes that closed edges (of one sort: "line" or "neutral") join to some nodes; a bit set."""
        seen = 0
        for node in nodes:
            seen |= 1 << node
        stack = list(nodes)
        ways = self.ways
        while stack:
            for i, other, joins in ways[stack.pop()]:
                if not seen >> other & 1 and (not sort or joins == sort) and i not in without:
                    seen |= 1 << other
                    stack.append(other)
        return seen

    @cached_property
    def feeds(self) -> tuple[Feed, ...]:
        """What energises the island, each with those of its terminals that are in it."""
        found = []
        for i in self.case.feeds:
            feed = self.network.feeds[i]
            lines = tuple(node for node in feed.lines if self.live >> node & 1)
            neutrals = tuple(node for node in feed.neutrals if self.live >> node & 1)
            found.append(feed._replace(lines=lines, neutrals=neutrals))
        return tuple(found)

    def fed_by(self, identifier: str) -> bool:
        """Whether the source or group with that id energises the island."""
        return any(self.network.feeds[i].id == identifier for i in self.case.feeds)

    @cached_property
    def it(self) -> bool:
        """Whether every energised source of the island is declared IT."""
        return all(source.earthing == "IT" for feed in self.feeds for source in feed.sources)

    @cached_property
    def monitors(self) -> tuple[Monitor, ...]:
        """The insulation monitors on its conductors."""
        places = {node[:2] for number, node in enumerate(self.network.nodes) if self.live >> number & 1}
        return tuple(one for one in self.network.installation.monitors if (one.at.id, one.at.terminal) in places)

    @cached_property
    def utility_fed(self) -> bool:
        """Whether an energised utility is one of its feeds."""
        return any(feed.kind == "utility" for feed in self.feeds)

    @cached_property
    def utility_behind(self) -> bool:
        """Whether a utility feeds it through isolating transformers."""
        return any(self.network.feeds[number].kind == "utility" for number in self.ahead[1])

    @cached_property
    def ahead(self) -> tuple[frozenset[int], frozenset[int], frozenset[int]]:
        """What lies ahead of the isolating transformers that feed it: closed edges, sources at work, closed ties; by number."""
        network, state = self.network, self.state
        waiting = tuple(node for feed in self.feeds for node in feed.primary)
        if not waiting:
            return frozenset(), frozenset(), frozenset()
        part, working = 0, set[int]()
        while waiting:
            part |= reach(network, state, waiting)
            fresh = [
                number
                for number, feed in enumerate(network.feeds)
                if number not in working and feed.at_work(state) and any(part >> node & 1 for node in feed.lines)
            ]
            working.update(fresh)
            waiting = tuple(node for number in fresh for node in network.feeds[number].primary)
        edges = frozenset(i for i, edge in enumerate(network.edges) if part >> edge.a & 1 and holds(edge.needs, state))
        ties = frozenset(i for i, tie in enumerate(network.ties) if part >> tie.n & 1 and holds(tie.needs, state))
        return edges, frozenset(working), ties

    @cached_property
    def changing_over(self) -> bool:
        """Whether a changeover stands between two positions in this case."""
        return any("+" in self.value(number) for number in range(len(self.network.variables)))

    @cached_property
    def detached(self) -> tuple[str, ...]:
        """Utilities whose conductors are open at the supply terminals in this case."""
        return tuple(
            variable.name
            for i, variable in enumerate(self.network.variables)
            if variable.kind == "utility" and self.value(i) == "detached"
        )

    @cached_property
    def ties(self) -> tuple[Tie, ...]:
        """Closed ties of the island's neutral to earth, those through an impedance included."""
        return tuple(tie for tie in self.network.ties if self.live >> tie.n & 1 and holds(tie.needs, self.state))

    def linked(self, n: int, pe: int) -> bool:
        """Whether a closed solid link joins these N and PE nodes, whether or not the neutral is one of the island."""
        here = [tie for tie in self.network.ties if tie.n == n and tie.pe == pe and tie.solid]
        return any(holds(tie.needs, self.state) for tie in here)

    @cached_property
    def references(self) -> tuple[Reference, ...]:
        """The solid references of the island, each enclosure counted once."""
        by_frame: dict[int, list[Tie]] = {}
        for tie in self.ties:
            if tie.solid:
                by_frame.setdefault(tie.pe, []).append(tie)
        found = []
        for pe, ties in by_frame.items():
            first = next((tie for tie in ties if tie.kind == "bond"), ties[0])
            found.append(Reference(first.id, first.kind, tuple(ties), pe, first.route, first.at))
        return tuple(found)

    @property
    def impedances(self) -> tuple[Tie, ...]:
        """Bonds with an impedance: they tie the neutral to earth, but are no reference that a fault current flows by."""
        return tuple(tie for tie in self.ties if not tie.solid)

    @cached_property
    def own_references(self) -> tuple[Reference, ...]:
        """References inside the installation: everything but suppliers' star points."""
        return tuple(reference for reference in self.references if reference.kind != "star")

    @cached_property
    def borrows_when_attached(self) -> bool:
        """Whether this island, with the detached supplies only absent, could rest on a supplier's star point alone.

        What is not known counts as closed: where it is open, the absent state floats by itself and is judged as that.
        """
        network = self.network
        state = list(self.state)
        for i, variable in enumerate(network.variables):
            if variable.name in self.detached:
                state[i] = variable.values.index("absent")

        def may_hold(needs: Needs) -> bool:
            return all(state[v] < 0 or mask >> state[v] & 1 for v, mask in needs)

        start = [n for n in range(len(network.nodes)) if self.live >> n & 1]
        seen = set(start)
        while start:
            for i, other in network.around[start.pop()]:
                if other not in seen and may_hold(network.edges[i].needs):
                    seen.add(other)
                    start.append(other)
        kinds = {tie.kind for tie in network.ties if tie.solid and tie.n in seen and may_hold(tie.needs)}
        return kinds == {"star"}

    def pen_part(self, node: int) -> set[int]:
        """The neutrals that closed PEN conductors join to one of them, inside the island or out of it."""
        return self._pen_spread({node}, self._pen_around)

    @cached_property
    def _pen_around(self) -> dict[int, set[int]]:
        """The neutrals that a closed PEN conductor joins to each, inside the island or out of it."""
        around: dict[int, set[int]] = {}
        for edge in self.network.edges:
            if edge.core == "PEN" and holds(edge.needs, self.state):
                around.setdefault(edge.a, set()).add(edge.b)
                around.setdefault(edge.b, set()).add(edge.a)
        return around

    @staticmethod
    def _pen_spread(nodes: set[int], around: dict[int, set[int]]) -> set[int]:
        """Some neutrals and all that those conductors join to them."""
        found, stack = set(nodes), list(nodes)
        while stack:
            for other in around.get(stack.pop(), ()):
                if other not in found:
                    found.add(other)
                    stack.append(other)
        return found

    def earth_reach(self, labels: set[int]) -> set[int]:
        """The metallic earth parts that closed bonds and PEN join to some of them, inside the island or out of it."""
        network, state = self.network, self.state
        ties = [tie for tie in network.ties if tie.kind != "star" and tie.solid and holds(tie.needs, state)]
        reached = set(labels)
        while True:
            neutrals = self._pen_spread({tie.n for tie in ties if self.earth[tie.pe] in reached}, self._pen_around)
            further = {self.earth[tie.pe] for tie in ties if tie.n in neutrals}
            if further <= reached:
                return reached
            reached |= further

    def pen_from_source(self, node: int) -> bool:
        """Whether PEN alone joins a neutral node to a supplier's star point or to a source of the island."""
        joined = self.pen_part(node)
        ends = [tie.n for tie in self.network.ties if tie.kind == "star"]
        ends.extend(n for feed in self.feeds for n in feed.neutrals)
        return any(n in joined for n in ends)

    def pen_joined(self, first: Reference, second: Reference) -> bool:
        """Whether the neutral path between two references is PEN all the way."""
        joined = self._pen_spread(set(first.n), self._pen_around)
        return any(node in joined for node in second.n)

    def metallic(self, first: Reference, second: Reference) -> bool:
        """Whether conductors join the earth sides of two references."""
        return self.earth[first.pe] == self.earth[second.pe]

    def groups(self, rank: dict[str, tuple[int, ...]]) -> list[list[Reference]]:
        """The reference groups, the one to be kept first; ``rank`` orders references by id."""
        ordered = sorted(self.references, key=lambda r: min(rank.get(tie.id, ()) for tie in r.ties))
        groups: list[list[Reference]] = []
        for reference in ordered:
            for group in groups:
                joined = any(self.pen_joined(reference, member) for member in group)
                if joined and not any(self.metallic(reference, member) for member in group):
                    group.append(reference)
                    break
            else:
                groups.append([reference])
        # a group is worth what the best of its members is, in each respect
        return sorted(
            groups,
            key=lambda group: [
                min(respect) for respect in zip(*(rank.get(t.id, ()) for r in group for t in r.ties), strict=True)
            ],
        )

    # -- lines ---------------------------------------------------------------------------------------------------

    def line_part(self, nodes: tuple[int, ...], without: frozenset[int] = frozenset()) -> int:
        """Line nodes joined to some line nodes by closed line conductors, windings of sources left out; a bit set."""
        return self.part(nodes, "line", without)

    @cached_property
    def feed_lines(self) -> dict[str, int]:
        """For each feed the line nodes that it energises."""
        return {feed.id: self.line_part(feed.lines) for feed in self.feeds}

    @cached_property
    def energised_lines(self) -> int:
        """All line nodes that some feed energises."""
        everything = 0
        for part in self.feed_lines.values():
            everything |= part
        return everything

    def neutral_part(self, nodes: tuple[int, ...], without: frozenset[int] = frozenset()) -> int:
        """Neutral nodes joined to some neutral nodes by closed conductors; a bit set."""
        return self.part(nodes, "neutral", without)

    @cached_property
    def supplies(self) -> tuple[str, ...]:
        """Boards and circuits with an energised line."""
        network = self.network
        return tuple(
            identifier
            for identifier, lines in (*network.boards, *network.circuits)
            if any(self.energised_lines >> node & 1 for node in lines)
        )

    @cached_property
    def distance(self) -> dict[int, int]:
        """How many conductors lie between a live node and the nearest feed."""
        return self.distance_from(node for feed in self.feeds for node in (*feed.lines, *feed.neutrals))

    def distance_from(self, nodes: Iterable[int]) -> dict[int, int]:
        """How many conductors lie between a live node and the nearest of some nodes."""
        found: dict[int, int] = {}
        ring = list(nodes)
        far = 0
        while ring:
            for node in ring:
                found.setdefault(node, far)
            far += 1
            following = [other for node in ring for _, other, _ in self.ways[node] if other not in found]
            ring = following
        return found

    # -- residual current devices ----------------------------------------------------------------------------------

    @cached_property
    def rcds(self) -> tuple[Rcd, ...]:
        """Closed RCDs with a live line, but for those behind which only loads lie."""
        return tuple(
            rcd
            for rcd in self.network.rcds
            if not rcd.loads_only
            and any(
                self.live >> self.network.edges[i].a & 1 and holds(self.network.edges[i].needs, self.state)
                for i in rcd.lines
            )
        )

    def beyond(self, rcd: Rcd, start: tuple[int, ...]) -> int:
        """Live nodes that are cut off from some nodes when the cores that an RCD sums are taken out; a bit set."""
        return self.live & ~self.part(start, without=rcd.edges)

    def behind(self, tie: Tie) -> tuple[tuple[Rcd, Feed], ...]:
        """The RCDs that have this tie on their protected side, each with the source that it is seen from.

        Only sources that form an island are asked: what follows another one never feeds a fault alone.
        """
        found = []
        for rcd in self.rcds:
            for feed in self.feeds:
                if not feed.forming:
                    continue
                if not any(self.feed_lines[feed.id] >> self.network.edges[i].a & 1 for i in rcd.lines):
                    continue
                if self.beyond_feed(rcd, feed) >> tie.n & 1:
                    found.append((rcd, feed))
                    break
        return tuple(found)

    def beyond_feed(self, rcd: Rcd, feed: Feed) -> int:
        """Live nodes that an RCD cuts off from one source; a bit set."""
        key = (rcd.name, feed.id)
        known = self._cuts.get(key)
        if known is None:
            known = self._cuts[key] = self.beyond(rcd, (*feed.lines, *feed.neutrals))
        return known

    @cached_property
    def _cuts(self) -> dict[tuple[str, str], int]:
        return {}

    def solid_crossings(self, first: Reference, second: Reference) -> tuple[str, ...]:
        """The changeovers each of which joins two references only because it does not switch the neutral.

        The test: were N among its poles, the two would not be joined in this case.
        """
        network = self.network
        solid: dict[str, dict[int, str]] = {}
        for i, edge in enumerate(network.edges):
            if edge.solid and network.nodes[edge.a][2] == "N":
                solid.setdefault(edge.element, {})[i] = network.nodes[edge.a][1]
        found = []
        for number, variable in enumerate(network.variables):
            cores = solid.get(variable.name)
            if not cores:
                continue
            active = self.value(number)
            positions = active.split("+") if active else list(variable.values)
            if not any(
                any(
                    self.part(first.n, without={i for i, at in cores.items() if at != position}) >> n & 1
                    for n in second.n
                )
                for position in positions
            ):
                found.append(variable.name)
        return tuple(found)
