"""Normal service: what the loads and leakages drive through neutrals, protective conductors and residual current devices."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import cached_property
from typing import NamedTuple

from onebond.circuit.build import Model, Options, with_other_stand_ins
from onebond.circuit.impedances import Missing, line_emfs_v
from onebond.circuit.solve import Solution, Study, Unsolvable
from onebond.facts.currents import Currents, Flow
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import HIGH_LEG, LINES, Circuit, Device
from onebond.network import Rcd, Tie
from onebond.span import Route

SAME = 1e-6
"""Relative difference up to which two values with other stand-ins are one."""

IN_A_ROW = 0.95
"""Part of the largest current from which a protective conductor is taken to carry the same."""

DROP_SAME = 0.01
"""The same for a voltage drop: neutral current that returns through the soil moves it by less."""


class InService:
    """The solution of one circuit with its loads and leakages, and once more with other stand-ins where something is unknown."""

    def __init__(self, currents: Currents, loads: bool = True, soil: bool = True) -> None:
        self.currents = currents
        self._loads = loads
        self._soil = soil

    @cached_property
    def model(self) -> Model:
        """The circuit with its capacitances; with its loads and its electrodes, if they were asked for."""
        electrodes = self.currents.network.installation.electrodes
        rods = frozenset(() if self._soil else (electrode.id for electrode in electrodes))
        return self.currents.model(Options(loads=self._loads, capacitances=True, metal=True, without=rods))

    @cached_property
    def studies(self) -> tuple[Study, ...]:
        """The circuit, and where something in it is unknown the same with other stand-ins."""
        circuits = [self.model.circuit]
        if self.model.unknown:
            circuits.append(with_other_stand_ins(self.model))
        return tuple(Study(circuit) for circuit in circuits)

    @cached_property
    def solutions(self) -> tuple[Solution, ...]:
        """Voltages and currents; raises Unknown where there are none."""
        try:
            return tuple(study.solution for study in self.studies)
        except Unsolvable as why:
            raise Unknown("", (), f"the circuit has no solution: {why}") from None

    @cached_property
    def flows(self) -> tuple[Flow, ...]:
        """The currents of all conductors and contacts."""
        return tuple(self.currents.flow(self.model, solution) for solution in self.solutions)

    def both(self, ask: Callable[[Solution, Flow], float | None], within: float = SAME) -> float | None:
        """A magnitude that does not rest on anything unknown; raises Unknown where it does."""
        values = [ask(solution, flow) for solution, flow in zip(self.solutions, self.flows, strict=True)]
        return self.agreed(values, within)

    def agreed(self, values: list[float | None], within: float = SAME) -> float | None:
        """The first of the values where they agree; raises Unknown where they do not."""
        first, *others = values
        for other in others:
            if not _alike(first, other, within):
                raise Unknown.of(self.model.unknown[0][1])
        return first

    @cached_property
    def without_soil(self) -> InService:
        """The same with the electrodes taken out."""
        return InService(self.currents, soil=False)

    @cached_property
    def largest_pe_a(self) -> float:
        """The largest current of a protective conductor, in A; raises Unknown where any of them rests on something unknown."""
        values = (
            self.agreed([abs(solution.currents_a[number]) for solution in self.solutions])
            for number, _ in _protective(self)
        )
        return max((value or 0.0 for value in values), default=0.0)

    def driven(self, start: int, source: str) -> list[Flow]:
        """The currents that 1 A from a network node back to the star point of a source drives.

        None where the circuit does not hold both, or they are one in it.
        """
        key = (start, source)
        if key not in self._driven:
            a, b = self.model.node[start], dict(self.model.stars).get(source, -1)
            found: list[Flow] = []
            if a >= 0 and b >= 0 and a != b:
                taken = ((start, -1.0), (dict(self.model.points)[source], 1.0))
                with suppress(Unsolvable):
                    found = [self.currents.flow(self.model, study.respond((a, b)), taken) for study in self.studies]
            self._driven[key] = found
        return self._driven[key]

    @cached_property
    def _driven(self) -> dict[tuple[int, str], list[Flow]]:
        return {}

    def across_v(self, solution: Solution, a: int, b: int) -> float | None:
        """The voltage between two network nodes in V; None where nothing joins their parts."""
        model = self.model
        if not model.joined(a, b):
            return None
        return abs(model.voltage_v(solution.voltages_v, a) - model.voltage_v(solution.voltages_v, b))


class RcdInService:
    """A residual current device in one case, with the residual current that it sees in normal service."""

    def __init__(
        self,
        rcd: Rcd,
        island: Island,
        full: InService,
        bare: InService,
        diverts: str,
        behind: bool = False,
        cause: tuple[str, str] | None = None,
    ) -> None:
        self.rcd = rcd
        self.device: Device = rcd.device
        self.id = rcd.device.id or rcd.connection
        self.route: Route = rcd.device.route
        self.island = island
        self.diverts = diverts  # a reference that lies behind it or a second one that its neutral shares, or ''
        self.behind = behind  # that reference lies behind it
        self.cause = cause  # what is wrong with its wiring in any case: (rule, subject), or None
        self._full = full
        self._bare = bare

    @cached_property
    def beyond(self) -> tuple[Circuit, ...]:
        """The circuits on its protected side."""
        network = self.island.network
        start = tuple(node for feed in self.island.feeds for node in feed.lines)
        near = self.island.line_part(start, without=self.rcd.edges)
        behind = {name for name, lines in network.circuits if self.island.is_live(lines)}
        behind -= {name for name, lines in network.circuits if any(near >> node & 1 for node in lines)}
        return tuple(circuit for circuit in network.installation.circuits if circuit.id in behind)

    def sum_a(self, flow: Flow) -> float | None:
        """What the device sums in a solution, in A."""
        total = 0j
        for edge in self.rcd.edges:
            value = flow.edge(edge)
            if value is None:
                return None
            total += value
        return abs(total)

    @property
    def standing_a(self) -> float:
        """Standing leakage of the circuits behind it as far as it is written, in A; raises Unknown."""
        value = self._bare.both(lambda _, flow: self.sum_a(flow))
        if value is None:
            raise Unknown(self.id, self.route, f"what {self.id} sees depends on the resistance of contacts")
        return max(value, self.unbalanced_a)

    @property
    def unbalanced_a(self) -> float:
        """The largest sum of the written leakages with some of the circuits switched off, in A: equal ones on three lines cancel.

        What is largest has of each line all or nothing, since the size of a sum is convex in each of its parts.
        """
        by_line: dict[str, float] = {}
        lines = dict(self.island.network.circuits)
        for circuit in self.beyond:
            if circuit.leakage_a and not circuit.class_ii and "PE" in circuit.connection.cores:
                node = next(n for n in lines[circuit.id] if self.island.live >> n & 1)
                line = self.island.network.nodes[node][2]
                by_line[line] = by_line.get(line, 0.0) + circuit.leakage_a
        emfs = nominal_emfs_v(self.island)
        sums = [0j]
        for line, leakage_a in by_line.items():
            emf = emfs.get(line, 1.0)
            sums += [one + leakage_a * emf / abs(emf) for one in sums]
        return max(abs(one) for one in sums)

    @property
    def total_a(self) -> float:
        """Residual current with all written loads, diverted neutral current included, in A; raises Unknown."""
        value = self._full.both(lambda _, flow: self.sum_a(flow))
        if value is None:
            raise Unknown(self.id, self.route, f"what {self.id} sees depends on the resistance of contacts")
        return value

    @property
    def no_leakage(self) -> Missing | None:
        """The first circuit behind it whose leakage is not written."""
        return next(
            (
                Missing(f"the leakage of {c.id}", c.route)
                for c in self.beyond
                if c.leakage_a is None and not c.class_ii and "PE" in c.connection.cores
            ),
            None,
        )

    @property
    def no_load(self) -> Missing | None:
        """The first circuit behind it whose load is not written."""
        return next((Missing(f"the load of {c.id}", c.route) for c in self.beyond if not written_load(c)), None)


def written_load(circuit: Circuit) -> bool:
    """Whether a load is written for a circuit."""
    return circuit.load_w is not None or circuit.load_va is not None or circuit.load_a is not None


class PeCurrent:
    """The protective conductor that carries the most current in normal service in one case."""

    def __init__(self, identifier: str, route: Route, island: Island, service: InService, surplus: str) -> None:
        self.id = identifier
        self.route = route
        self.island = island
        self.surplus = surplus  # the reference that is one too many, or ''
        self._service = service

    @property
    def current_a(self) -> float:
        """The current with all written loads, in A; raises Unknown."""
        return self._service.largest_pe_a

    @property
    def metallic_a(self) -> float:
        """The largest current that would be left without the soil, the electrodes taken out, in A; raises Unknown."""
        return self._service.without_soil.largest_pe_a

    @property
    def no_load(self) -> Missing | None:
        """The first circuit of the island whose load is not written."""
        return unwritten_load(self.island)


class Drop:
    """The voltage drop from the terminals of the source to the end of a circuit, in one case."""

    def __init__(self, circuit: Circuit, island: Island, service: InService, start: int, end: int, way: str) -> None:
        self.circuit = circuit
        self.id = circuit.id
        self.route = circuit.route
        self.island = island
        self.source = way
        self._service = service
        self._start = start
        self._end = end

    @property
    def lighting(self) -> bool:
        """Whether the circuit serves lighting."""
        return self.circuit.serves == "lighting"

    @property
    def public(self) -> bool:
        """Whether a public supply feeds it, and not only shares its neutral with what does."""
        return any(feed.id == self.source and feed.kind == "utility" for feed in self.island.feeds)

    @cached_property
    def ratio(self) -> float:
        """The drop as a part of the nominal voltage, with all written loads at their nominal current; raises Unknown.

        Loads are impedances here and draw less where less voltage is left; the drop as a part of what is left is that of the
        nominal current (IEC 60364-5-52 annex G).  The supply, which lowers both voltages alike, does not matter.
        """
        if not written_load(self.circuit):
            raise Unknown(f"the load of {self.id}", self.route)
        network = self.island.network

        def ask(solution: Solution, _: Flow) -> float | None:
            neutral = network.find(self.id, "", "N")
            place, terminal = network.nodes[self._start][:2]
            if neutral >= 0:
                near, far = (self._start, network.number_of(place, terminal, "N")), (self._end, neutral)
            else:
                far = self._between
                first, second = (network.find(place, terminal, network.nodes[node][2]) for node in far)
                near = first, second
            from_v, to_v = self._service.across_v(solution, *near), self._service.across_v(solution, *far)
            if not from_v or not to_v:
                return None
            return (from_v - to_v) / to_v

        value = self._service.both(ask, DROP_SAME)
        if value is None:
            raise Unknown(self.id, self.route, f"the voltage at {self.id} is not determined")
        return value

    @property
    def _between(self) -> tuple[int, int]:
        """The lines that a load without a neutral is between."""
        lines = [n for n in dict(self.island.network.circuits)[self.id] if self.island.live >> n & 1]
        return lines[0], lines[1]

    @property
    def no_load(self) -> Missing | None:
        """The first circuit of the island whose load is not written: what it draws is not in the drop."""
        return unwritten_load(self.island)


def nominal_emfs_v(island: Island) -> dict[str, complex]:
    """Nominal voltage of each line to the neutral of what feeds an island, in V; of a line of several sources that of the first."""
    found: dict[str, complex] = {}
    for feed in island.feeds:
        for source in feed.sources:
            emfs = line_emfs_v(source)
            if not isinstance(emfs, Missing):
                found = {**emfs, **found}
    return found


def on_high_leg(island: Island, node: int) -> bool:
    """Whether the high leg of a delta feeds a line of an island."""
    if island.network.nodes[node][2] != HIGH_LEG:
        return False
    return any(feed.sources[0].high_leg and island.feed_lines[feed.id] >> node & 1 for feed in island.feeds)


def nominal_v(island: Island) -> float:
    """Nominal voltage of a line to the neutral of what feeds an island, in V; 0 where it is not written."""
    for feed in island.feeds:
        for source in feed.sources:
            emfs = line_emfs_v(source)
            if not isinstance(emfs, Missing):
                return abs(next(iter(emfs.values())))
    return 0.0


class Shared(NamedTuple):
    """How the current of a load divides at a reference that is one too many or lies behind an RCD."""

    share: float  # part of the neutral current that goes by the link and PE
    current_a: float | None  # with all written loads; None where loads are not written
    lacking: Missing | None


def from_sources(island: Island) -> dict[int, tuple[int, int]]:
    """Every neutral of the island, the nearest to a source first: the edge and the neutral that it is reached by, -1 for a source."""
    ring = [node for feed in island.feeds for node in feed.neutrals]
    found = dict.fromkeys(ring, (-1, -1))
    while ring:
        following = []
        for node in ring:
            for edge, other, sort in island.ways[node]:
                if sort == "neutral" and other not in found:
                    found[other] = (edge, node)
                    following.append(other)
        ring = following
    return found


def farthest_load(island: Island) -> int:
    """The neutral at the load that most conductors part from a source; -1 where no load has a neutral."""
    network = island.network
    idle = {one.id for one in network.installation.circuits if 0 in (one.load_w, one.load_va, one.load_a)}
    loads = set(island.supplies) & {identifier for identifier, _ in network.circuits} - idle
    return next((node for node in reversed(from_sources(island)) if network.nodes[node][0] in loads), -1)


def source_of(island: Island, neutral: int) -> str:
    """The source to whose star point the current at a neutral goes back: that which holds the lines there, else any of them."""
    network = island.network
    place, terminal, _ = network.nodes[neutral]
    lines = [network.find(place, terminal, core) for core in LINES]
    forming = [feed for feed in island.feeds if feed.forming]  # what follows another source has no circuit of its own
    for feed in forming:
        for start in feed.lines:
            part = island.line_part((start,))
            if any(line >= 0 and part >> line & 1 for line in lines):
                return network.nodes[start][0]  # of inverters that act as one, the one on that line
    return next((network.nodes[node][0] for feed in island.feeds for node in feed.neutrals), "")


class Sharing:
    """What goes through a link between N and PE in one case."""

    def __init__(self, service: InService, bare: InService, island: Island, tie: Tie) -> None:
        self.service = service
        self.bare = bare  # without loads, through which a neutral current could return by the lines
        self.island = island
        self.tie = tie

    @cached_property
    def start(self) -> int:
        """The neutral that the current starts from: that of the farthest load, else the place of the link."""
        farthest = farthest_load(self.island)
        return farthest if farthest >= 0 else self.tie.n

    def driven(self) -> list[Flow]:
        """The currents that 1 A of neutral current of the farthest load drives back to the source that feeds it."""
        return self.bare.driven(self.start, source_of(self.island, self.start))

    @cached_property
    def share(self) -> float | None:
        """Part of that current that goes by the link to PE; None where it is not determined; raises Unknown."""
        flows = self.driven()
        if not flows:
            return None
        return self.bare.agreed([_size(self.through(flow)) for flow in flows])

    def through(self, flow: Flow) -> complex | None:
        """The current of the link."""
        core = "bond" if self.tie.kind in ("bond", "internal") else "N"
        return flow.element(self.tie.id, core)

    @cached_property
    def current_a(self) -> float | None:
        """Current of the link with all written loads, in A; None where it is not determined; raises Unknown."""
        return self.service.both(lambda _, flow: _size(self.through(flow)))

    def beside(self, rcd: Rcd) -> float | None:
        """Part of the neutral current of a load at the link that comes back past an RCD; None where not determined."""
        flows = self.service.driven(self.tie.n, source_of(self.island, self.tie.n))
        if not flows:
            return None
        values: list[float | None] = []
        for flow in flows:
            total: complex | None = 0j
            # what comes back by the lines, through other loads, passes the device too
            for edge in rcd.edges:
                value = flow.edge(edge)
                total = None if value is None or total is None else total + value
            values.append(None if total is None else min(abs(1 - total), abs(1 + total)))
        return self.service.agreed(values)

    @property
    def no_load(self) -> Missing | None:
        """The first circuit of the island whose load is not written."""
        return unwritten_load(self.island)

    @property
    def nominal_v(self) -> float:
        """Nominal voltage of a line to the neutral of what feeds the island, in V; 0 where it is not written."""
        return nominal_v(self.island)


def _alike(a: float | None, b: float | None, within: float) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a - b) <= within * max(abs(a), abs(b), 1e-6)


def _size(value: complex | None) -> float | None:
    return None if value is None else abs(value)


def largest_pe(service: InService) -> str:
    """The cable whose protective conductor carries the most current in normal service, or ''; raises Unknown."""
    solution = service.solutions[0]
    amounts = [(abs(solution.currents_a[number]), name) for number, name in _protective(service)]
    most = max((amount for amount, _ in amounts), default=0.0)
    # of conductors in a row the first, so that it is the same one in most states
    return next((name for amount, name in amounts if amount >= IN_A_ROW * most), "")


def _protective(service: InService) -> list[tuple[int, str]]:
    """The protective conductors of cables: number of the branch, and id of the cable."""
    return [
        (number, conductor.element)
        for number, conductor in enumerate(service.model.conductors)
        if conductor.core == "PE" and conductor.element in service.currents.links
    ]


def unwritten_load(island: Island) -> Missing | None:
    """The first circuit of an island whose load is not written."""
    for circuit in island.network.installation.circuits:
        if circuit.id in island.supplies and not written_load(circuit):
            return Missing(f"the load of {circuit.id}", circuit.route)
    return None
