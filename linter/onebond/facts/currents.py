"""The circuits of the live islands, solved once for all states that are wired alike: points of fault, ways, currents of contacts."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

from onebond.circuit.build import Begun, Contact, Known, Model, Options, build, with_other_stand_ins
from onebond.circuit.impedances import Missing
from onebond.circuit.solve import Probe, Solution, Study, Unsolvable
from onebond.facts.island import Island
from onebond.model import LINES, Connection, Device
from onebond.network import Feed, Network
from onebond.span import Route
from onebond.states import holds

Pair = tuple[int, int]

NODES = 120_000
"""Most nodes of all different circuits of a site together; past it what rests on them is open (two seconds of work)."""

SAME = 1e-9
"""Relative difference below which two results with different stand-ins for what is not known are the same."""


class Point(NamedTuple):
    """Where an earth fault may happen: line conductors at a place, and the frame that holds them."""

    place: str
    terminal: str
    sort: str  # board | circuit | changeover | source
    route: Route
    lines: tuple[int, ...]
    pe: int

    @property
    def written(self) -> str:
        """The place as the user writes it."""
        return f"{self.place}.{self.terminal}" if self.terminal else self.place


class Step(NamedTuple):
    """One conductor on the way from a source to a point, with the node nearer to the source and the one nearer to the point."""

    edge: int
    near: int
    far: int


class Way(NamedTuple):
    """The line conductors from a source to a point, the nearest to the point first."""

    feed: Feed
    start: int  # the line node of the source
    steps: tuple[Step, ...]
    alone: frozenset[int]  # the edges of it that nothing goes round

    @property
    def single(self) -> bool:
        """Whether nothing else joins the two ends."""
        return all(step.edge in self.alone for step in self.steps)


class Loop(NamedTuple):
    """What an earth fault at a point meets with all sources as their EMF and impedance; voltages in V, for 1 A where so named."""

    z_ohm: complex
    open_v: complex
    earth_ohm: complex | None  # voltage of the frame to the mass of earth for 1 A; None: there is none
    met_ohm: complex | None  # and to the main earthing terminal
    earth_v: complex = 0j  # the same two voltages before the fault: capacitances and impedances may lift a frame
    met_v: complex = 0j

    def touch_v(self, current_a: float) -> tuple[float | None, float | None]:
        """Voltage of the frame to the mass of earth and to the main earthing terminal at a fault current in A."""
        drawn = self.open_v / self.z_ohm if self.z_ohm else self.open_v
        current = current_a * drawn / abs(drawn) if drawn else 0j
        earth = None if self.earth_ohm is None else abs(self.earth_v + current * self.earth_ohm)
        return earth, None if self.met_ohm is None else abs(self.met_v + current * self.met_ohm)


def points_of(network: Network) -> tuple[Point, ...]:
    """All places of a network at which a line conductor can touch an exposed-conductive-part.

    The terminals of a source are among them: another source may feed a fault in its frame.  What it gives itself into a fault
    inside it no device of the installation clears.
    """
    routes = {board.id: board.route for board in network.installation.boards}
    found = []
    for part in network.parts:
        by_place: dict[tuple[str, str], list[int]] = {}
        for node in part.lines:
            identifier, terminal, _ = network.nodes[node]
            by_place.setdefault((identifier, terminal), []).append(node)
        for (identifier, terminal), lines in by_place.items():
            route = routes.get(identifier, part.route)
            found.append(Point(identifier, terminal, part.kind, route, tuple(lines), part.pe))
    return tuple(found)


class Currents:
    """The circuit of the islands that are wired as this one, and what was asked of it."""

    def __init__(
        self, island: Island, points: tuple[Point, ...], without: frozenset[str], mets: dict[int, int], known: Known
    ) -> None:
        self.island = island
        self.network = island.network
        self.points = tuple(one for point in points if (one := self.energised(point)))
        self.without = without
        self._mets = mets
        self._known = known
        self._begun: Begun = {}
        self._ahead: dict[str, list[tuple[Device, str, float]]] = {}
        self.links: dict[str, Connection] = {
            link.id: link
            for link in (
                *self.network.installation.connections,
                *(circuit.connection for circuit in self.network.installation.circuits),
            )
        }

    def energised(self, point: Point) -> Point | None:
        """A point with those of its lines that are energised, at the terminals of a source by another one; None without any."""
        live = self.island.energised_lines
        if point.sort == "source" and point.terminal != "in":
            own = {feed.id for feed in self.network.feeds if any(s.id == point.place for s in feed.sources)}
            passing = any(
                passage.id == point.place and self.island.value(passage.variable) == "passing"
                for passage in self.network.passages
            )
            live = 0
            for feed in self.island.feeds if not passing else ():
                if feed.id not in own and feed.forming:
                    live |= self.island.feed_lines[feed.id]
        lines = tuple(node for node in point.lines if live >> node & 1)
        return point._replace(lines=lines) if lines else None

    def model(self, options: Options, without: frozenset[str] = frozenset()) -> Model:
        """The circuit for a purpose, some sources left out."""
        feeds = [number for number in self.island.case.feeds if self.network.feeds[number].id not in without]
        island = self.island
        return build(self.network, island.state, island.live, feeds, options, self._known, self._begun)

    @cached_property
    def beside(self) -> frozenset[str]:
        """Those of :meth:`beside_without` with all sources at work."""
        return self.beside_without(frozenset())

    def beside_without(self, out: frozenset[str]) -> frozenset[str]:
        """Sources that limit their current and feed lines that one without a limit feeds too: into a fault they give up to that.

        As an EMF such a source would take more of the fault upon itself than is certain.  Beside a generating set an inverter is
        one of them, beside a supply the set too.  ``out``: sources that give nothing, and hold no other one down.
        """
        forming = [feed for feed in self.island.feeds if feed.forming and feed.id not in out]
        found: set[str] = set()
        for limited, stiff in (
            ("inverter", ("utility", "transformer", "generator")),
            ("generator", ("utility", "transformer")),
        ):
            lines = 0
            for feed in forming:
                if feed.kind in stiff:
                    lines |= self.island.line_part(feed.lines)
            found.update(f.id for f in forming if f.kind == limited and any(lines >> node & 1 for node in f.lines))
        return frozenset(found)

    @cached_property
    def faulted(self) -> Model:
        """The circuit that earth faults are worked out in: warm, weakest supply, no loads."""
        return self.model(self.for_faults, self.beside)

    @cached_property
    def for_faults(self) -> Options:
        """What that circuit is built for: capacitances count where nothing else leads a first fault back."""
        return Options(without=self.without, capacitances=self.island.it or not self.island.references)

    @cached_property
    def bridged(self) -> Model:
        """The same with a first fault at the star point of the source, as the second fault of an IT system meets it."""
        feed = next(feed for feed in self.island.feeds if feed.forming)
        source = feed.sources[0].id
        pe = self.network.find(source, "", "PE")
        if pe < 0:  # a supply that brings none
            pe = self.points[0].pe
        return self.model(Options(without=self.without, bridge=(source, pe)))

    # -- loops ---------------------------------------------------------------------------------------------------

    @cached_property
    def loops(self) -> dict[Pair, Loop | Missing | None]:
        """For each (line node, PE node) of the points what a fault there meets; None where nothing leads back."""
        found = self.loops_in(self.faulted)
        for point in self.points:
            # a source gives nothing to what comes in from outside to a fault at its own terminals
            own = self.own_feed(point) - self.beside
            if own:
                left_out = self.beside_without(own) | own
                model = self.model(self.for_faults, left_out)
                found |= self.loops_in(model, (point,))
        return found

    @cached_property
    def second_loops(self) -> dict[Pair, Loop | Missing | None]:
        """The same after a first fault at the star point of an IT source."""
        return self.loops_in(self.bridged)

    def own_feed(self, point: Point) -> frozenset[str]:
        """The source at whose own terminals a point is, if it energises the island."""
        if point.terminal == "in":
            return frozenset()
        return frozenset(feed.id for feed in self.island.feeds if any(s.id == point.place for s in feed.sources))

    def asked(self, points: tuple[Point, ...]) -> list[Pair]:
        """Every line node of a point with the PE of its frame."""
        return [(node, point.pe) for point in points for node in point.lines]

    def loops_in(self, model: Model, points: tuple[Point, ...] | None = None) -> dict[Pair, Loop | Missing | None]:
        """What faults meet in a circuit."""
        wanted = self.asked(self.points if points is None else points)
        first = self.solved(model, model.circuit, wanted)
        if not model.unknown:
            return dict(first)
        second = self.solved(model, with_other_stand_ins(model), wanted)
        found: dict[Pair, Loop | Missing | None] = {}
        for pair in wanted:
            one, other = first[pair], second[pair]
            alike = one is None or isinstance(one, Missing) or (isinstance(other, Loop) and _alike(one, other))
            found[pair] = one if alike else self.lacking(model, *pair)
        return found

    def solved(self, model: Model, circuit: object, wanted: list[Pair]) -> dict[Pair, Loop | Missing | None]:
        """Loops and touch voltages of a circuit in one sweep."""
        assert circuit is not None
        node = model.node
        joined = {(line, pe): (node[line], node[pe]) for line, pe in wanted if model.joined(line, pe)}
        pairs = dict.fromkeys(pair for pair in joined.values() if pair[0] != pair[1])
        probes = [
            Probe(pair, seen)
            for (_, pe), pair in joined.items()
            if pair in pairs
            for seen in self.seen(model, pe)
            if seen is not None and seen[0] != seen[1]
        ]
        try:
            study = Study(circuit, pairs, probes=probes)  # type: ignore[arg-type]
            loops = dict(zip(study.pairs, study.loops, strict=True))
            transfers = dict(zip(probes, study.transfers(probes), strict=True))
            before = study.solution.voltages_v
        except Unsolvable as why:
            return dict.fromkeys(wanted, Missing("", (), f"the circuit has no solution: {why}"))
        found: dict[Pair, Loop | Missing | None] = dict.fromkeys(wanted)
        for (line, pe), pair in joined.items():
            z_ohm, open_v = loops.get(pair, (0j, 0j))
            rise = model.offset_v[line] - model.offset_v[pe]
            earth, met = self.seen(model, pe)
            to_earth, to_met = (
                None if seen is None else -transfers.get(Probe(pair, seen), 0j) for seen in (earth, met)
            )
            frame_v = model.voltage_v(before, pe)
            at_met = 0j if met is None else frame_v - model.voltage_v(before, self.met_of(pe))
            found[line, pe] = Loop(z_ohm, open_v + rise, to_earth, to_met, frame_v, at_met)
        return found

    def seen(self, model: Model, pe: int) -> tuple[Pair | None, Pair | None]:
        """Frame and mass of earth, frame and main earthing terminal, where they are in one part."""
        node = model.node
        earth = (node[pe], 0) if model.part[pe] == -1 else None
        terminal = self.met_of(pe)
        return earth, (node[pe], node[terminal]) if model.joined(pe, terminal) else None

    def met_of(self, pe: int) -> int:
        """The main earthing terminal that a frame belongs to; -1: there is none."""
        return self._mets.get(self.island.earth[pe], -1)

    def lacking(self, model: Model, line: int, pe: int) -> Missing:
        """The entry that a result at a point rests on: the one nearest to it on the way to the source, else on the way back."""
        names = [model.conductors[branch].element for branch, _ in model.unknown]
        known = dict(zip(names, (missing for _, missing in model.unknown), strict=True))
        for element in (*self.elements(line), *self.earth_elements(pe)):
            if element in known:
                return known[element]
        for feed in self.island.feeds:
            for identifier in (feed.id, *(source.id for source in feed.sources)):
                if identifier in known:
                    return known[identifier]
        return model.unknown[0][1]

    def elements(self, start: int) -> list[str]:
        """The elements on the way from a line node towards its source, nearest first."""
        for way in self.ways_to(start):
            return [self.network.edges[step.edge].element for step in way.steps]
        return []

    def earth_elements(self, start: int) -> list[str]:
        """The elements of the protective network around a frame, nearest first."""
        around: dict[int, list[tuple[str, int]]] = {}
        for edge in self.network.earth:
            around.setdefault(edge.a, []).append((edge.element, edge.b))
            around.setdefault(edge.b, []).append((edge.element, edge.a))
        found, seen, ring = [], {start}, [start]
        while ring:
            following = []
            for node in ring:
                for element, other in around.get(node, ()):
                    if other not in seen:
                        seen.add(other)
                        found.append(element)
                        following.append(other)
            ring = following
        return found

    # -- ways ----------------------------------------------------------------------------------------------------

    @cached_property
    def trees(self) -> list[tuple[Feed, int, dict[int, tuple[int, int]], frozenset[int]]]:
        """For each line terminal of each forming source: how each node is reached, and the edges that nothing goes round."""
        found = []
        for feed in self.island.feeds:
            if not feed.forming:
                continue
            for start in feed.lines:
                reached: dict[int, tuple[int, int]] = {start: (-1, -1)}
                depth = {start: 0}
                closing: dict[int, tuple[int, int]] = {}
                ring = [start]
                while ring:
                    following = []
                    for node in ring:
                        for edge, other, sort in self.island.ways[node]:
                            if sort != "line" or edge == reached[node][0]:
                                continue
                            if other in reached:
                                closing[edge] = (node, other)
                                continue
                            reached[other] = (edge, node)
                            depth[other] = depth[node] + 1
                            following.append(other)
                    ring = following
                alone = {edge for edge, _ in reached.values()}
                for a, b in closing.values():
                    # every edge on the two ways up to where they meet has another way round it
                    while a != b:
                        if depth[a] < depth[b]:
                            a, b = b, a
                        edge, a = reached[a]
                        alone.discard(edge)
                found.append((feed, start, reached, frozenset(alone)))
        return found

    def ways_to(self, line: int) -> list[Way]:
        """The ways from every source to a line node."""
        found = []
        for feed, start, reached, alone in self.trees:
            if line not in reached:
                continue
            steps, node = [], line
            while reached[node][0] >= 0:
                edge, nearer = reached[node]
                steps.append(Step(edge, nearer, node))
                node = nearer
            found.append(Way(feed, start, tuple(steps), alone))
        return found

    def ahead(self, way: Way) -> list[tuple[Device, str, float]]:
        """The overcurrent devices ahead of an isolating transformer that feeds a way, with the ratio of their current to its own.

        One line on either side only; the ratio is that of the rated voltages.  Only devices that all of the current passes: one on the
        way from one of several sources sees a part of it.
        """
        key = way.feed.id
        if key not in self._ahead:
            self._ahead[key] = self._ahead_of(way.feed)
        return self._ahead[key]

    def _ahead_of(self, own: Feed) -> list[tuple[Device, str, float]]:
        source = own.sources[0]
        if own.kind != "transformer" or len(source.phases) != 1 or source.voltage_v is None:
            return []
        reached, ends = self.upstream(own)
        primary_v = source.primary_voltage_v or next((feed.sources[0].voltage_v for _, feed in ends), None)
        if not ends or not primary_v:
            return []
        found: list[tuple[Device, str, float]] = []
        node = ends[0][0]
        while node in reached:
            edge, node = reached[node]
            core, link = self.network.edges[edge].core, self.links.get(self.network.edges[edge].element)
            if link is None or self.upstream(own, without=edge)[1]:
                continue
            for device in link.devices:
                if core in device.poles and device.kind in ("mcb", "mccb", "fuse", "rcbo"):
                    found.append((device, link.id, source.voltage_v / primary_v))
        return found

    def upstream(self, own: Feed, without: int = -1) -> tuple[dict[int, tuple[int, int]], list[tuple[int, Feed]]]:
        """From the primary of a transformer along closed lines, one edge taken out: how each node is reached, and what feeds it where."""
        network, state = self.network, self.island.state
        start = own.primary[0]
        reached: dict[int, tuple[int, int]] = {}
        stack, ends = [start], []
        while stack:
            node = stack.pop()
            for feed in network.feeds:
                if node in feed.lines and feed.id != own.id and feed.forming and feed.at_work(state):
                    ends.append((node, feed))
            for edge, other in network.around[node]:
                one = network.edges[edge]
                if (
                    other != start
                    and other not in reached
                    and edge != without
                    and one.core != "winding"
                    and network.nodes[other][2] in LINES
                    and holds(one.needs, state)
                ):
                    reached[other] = (edge, node)
                    stack.append(other)
        return reached, ends

    def devices_on(self, way: Way) -> list[tuple[Device, str, Step]]:
        """The devices that a way passes and that open its line, the nearest to the point first, with their connection."""
        found = []
        for step in way.steps:
            edge = self.network.edges[step.edge]
            link = self.links.get(edge.element)
            if link is None:
                continue
            away = self.network.nodes[step.near][0] == link.start.id and (
                self.network.nodes[step.near][1] == link.start.terminal
            )
            for device in reversed(link.devices) if away else link.devices:
                if edge.core in device.poles:
                    found.append((device, link.id, step))
        return found

    def flow(self, model: Model, solution: Solution, taken: tuple[tuple[int, complex], ...] = ()) -> Flow:
        """The currents of all conductors and contacts of a solution; ``taken``: currents drawn from network nodes besides."""
        return Flow(model, solution, taken)


class Flow:
    """Currents in A from a to b of every live edge and of every conductor, contacts without impedance included.

    None where contacts close a ring: how they share a current is up to their contact resistances.
    """

    def __init__(self, model: Model, solution: Solution, taken: tuple[tuple[int, complex], ...] = ()) -> None:
        self.edges: dict[int, complex | None] = {}
        self.elements: dict[tuple[str, str], complex | None] = {}
        net: dict[int, complex] = {}
        for conductor, current in zip(model.conductors, solution.currents_a, strict=True):
            net[conductor.a] = net.get(conductor.a, 0j) + current
            net[conductor.b] = net.get(conductor.b, 0j) - current
            self.elements[conductor.element, conductor.core] = current
            self.edges[conductor.edge] = current  # -1, no live edge: nobody asks for it
        for node, current in taken:
            net[node] = net.get(node, 0j) + current
        for contact, value in contact_currents(model.contacts, net).items():
            self.elements[contact.element, contact.core] = value
            self.edges[contact.edge] = value

    def edge(self, number: int) -> complex | None:
        """The current of a live edge; 0 where it is not closed."""
        return self.edges.get(number, 0j)

    def element(self, identifier: str, core: str) -> complex | None:
        """The current of one core of an element; 0 where it is not there."""
        return self.elements.get((identifier, core), 0j)


def contact_currents(contacts: tuple[Contact, ...], net: dict[int, complex]) -> dict[Contact, complex | None]:
    """The current (A, from a to b) of each contact, from the currents that leave each node otherwise; None within a ring."""
    around: dict[int, list[int]] = {}
    for number, contact in enumerate(contacts):
        if contact.a != contact.b:
            around.setdefault(contact.a, []).append(number)
            around.setdefault(contact.b, []).append(number)
    found: dict[Contact, complex | None] = dict.fromkeys(contacts)
    left = {node: len(numbers) for node, numbers in around.items()}
    balance = dict(net)
    done: set[int] = set()
    leaves = [node for node, count in left.items() if count == 1]
    while leaves:
        node = leaves.pop()
        number = next((number for number in around[node] if number not in done), -1)
        if number < 0:
            continue
        done.add(number)
        contact = contacts[number]
        other = contact.b if contact.a == node else contact.a
        drawn = balance.get(node, 0j)  # what leaves the node by branches has to come over the contact
        found[contact] = -drawn if contact.a == node else drawn
        balance[other] = balance.get(other, 0j) + drawn
        left[other] -= 1
        if left[other] == 1:
            leaves.append(other)
    return found


def _alike(one: Loop, other: Loop) -> bool:
    size_ohm = max(abs(one.z_ohm), abs(other.z_ohm), 1e-6)

    def same(a: complex | None, b: complex | None, size: float) -> bool:
        if a is None or b is None:
            return a is b
        return abs(a - b) <= SAME * size

    return (
        same(one.z_ohm, other.z_ohm, size_ohm)
        and same(one.open_v, other.open_v, max(abs(one.open_v), 1.0))
        and same(one.earth_ohm, other.earth_ohm, size_ohm)
        and same(one.met_ohm, other.met_ohm, size_ohm)
    )


def phase_of(network: Network, node: int) -> str:
    """The line conductor of a node."""
    return network.nodes[node][2]
