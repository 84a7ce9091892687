"""The circuit of the whole site in one state, with a meter in the hand.

Everything follows from the circuit: what a voltmeter shows between two conductors, which impedance a loop tester meets, which
resistance a continuity tester finds with everything dead, which current a clamp shows and which share of a test current an RCD sees.
The meter's own resistance is part of the circuit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import NamedTuple

from onebond.circuit.build import Begun, Known, Model, Options, build, with_other_stand_ins
from onebond.circuit.components.capacitance import STRAY_F_PER_M, meter_ohm
from onebond.circuit.impedances import Missing, line_emfs_v
from onebond.circuit.parts import Circuit
from onebond.circuit.solve import Loop, Solution, Study, Unsolvable
from onebond.meter.defects import NEVER, altered
from onebond.meter.plant import Plant
from onebond.model import LINES, Source
from onebond.states import State, holds, reach

Couple = tuple[int, int]
"""Two nodes of the network between which the meter stands."""

OVER_RANGE_OHM = 20_000.0
"""What a loop or continuity tester shows as open: above the usual range of such testers (common practice, no source)."""

SEASON, SOIL = 0.2, 0.3
"""How far the resistance of an electrode may be off: where it was measured before, and where it follows from the soil (common practice)."""

METAL_OHM = 1.0
"""Below this a loop is of metal, and electrodes beside it hardly count (common practice, no source)."""

LOOSE_OHM = 1000.0
"""From this impedance between two nodes on, capacitances decide what a voltmeter shows."""

OVERCURRENT = ("mcb", "mccb", "fuse", "rcbo")

LOOSELY = 0.1
"""How far a floating voltage may be off, in voltages of the source: filters and leakages are hardly ever as written (no source)."""

MIDDLE_F_PER_M = math.sqrt(STRAY_F_PER_M[0] * STRAY_F_PER_M[1])

Leaks = tuple[bool, bool]
BOTH, NEITHER, LINE = (True, True), (False, False), (True, False)
"""From which conductors equipment leaks: filters from both alike, what is unplugged from none, a fault of the insulation from one (common
practice, no source).  It matters where the neutral is off the earth."""

SAME = 1e-6
"""Relative difference below which a reading does not rest on an impedance that is not known."""


class Shown(NamedTuple):
    """What a meter shows: the likely value, and the least and the largest over what the description leaves open.

    ``slack`` is a standard deviation on top of that of the meter: of what rests on capacitances or on the soil.  ``others`` is what it
    shows instead where the site falls into another state by itself: one of them is read, and nothing between them.  ``falls`` are then
    the states in which the site shows each of the ways: what is read while it stands in one of them belongs together.
    """

    value: float
    low: float
    high: float
    slack: float = 0.0
    others: tuple[Shown, ...] = ()
    falls: tuple[tuple[State, ...], ...] = ()

    @property
    def ways(self) -> tuple[Shown, ...]:
        """Each of what it may show."""
        return (self._replace(others=(), falls=()), *self.others)

    def fallen(self, state: State) -> Shown:
        """What it shows once the site has fallen into a state; all ways where nothing tells them apart by that state."""
        return next((way for way, states in zip(self.ways, self.falls, strict=False) if state in states), self)

    @classmethod
    def exactly(cls, value: float) -> Shown:
        return cls(value, value, value)


def magnitude(model: Model, loop: Loop | None, couple: Couple, meter: float) -> float:
    """What a voltmeter of that resistance (ohm) shows between two nodes, in V; 0 where nothing joins them."""
    a, b = couple
    node = model.node
    if node[a] < 0 or node[b] < 0 or model.part[a] != model.part[b]:
        return 0.0
    rise = model.offset_v[a] - model.offset_v[b]
    if node[a] == node[b]:
        return abs(rise)
    assert loop is not None
    share = 1.0 if math.isinf(meter) else meter / (meter + loop.z_ohm)
    return abs((loop.open_v + rise) * share)


TESTER_V = 50.0
"""Below this voltage a loop or RCD tester refuses to test (common practice, no source)."""

MAY_TRIP, MUST_TRIP = 0.505, 0.95
"""What an RCD may trip at and what it trips at for certain, in rated residual currents (IEC 61008-1: 0.5 and 1; some goes other ways)."""

SHORT = 5.0
"""A device of so many times its rating carries a short circuit, and has opened before anybody reads a meter (IEC 60898-1, curve B)."""

EXHAUSTED = 3.0
"""A source that limits its current has collapsed at so many times its rated current, where it declares no limit."""

ROUNDS = 6
"""Devices that open one after the other; past it what is left stays as it is."""


class Bench:
    """One state of a site, and what meters show in it.

    What a short circuit or a residual current opens before anybody reads a meter is open, and a source that it is too much for is off.

    ``couples`` are the pairs of nodes that will be asked for: one solution serves all of them.  ``loads`` says whether the written loads
    are connected, ``feeds`` what energises (none: everything is dead), ``clamped`` the cables whose currents will be asked for,
    ``loads_of`` the circuits whose loads alone are connected (none named: all).
    """

    def __init__(
        self,
        plant: Plant,
        state: State,
        couples: Iterable[Couple],
        known: Known,
        loads: bool = True,
        feeds: tuple[int, ...] | None = None,
        clamped: frozenset[str] = frozenset(),
        loads_of: frozenset[str] = frozenset(),
    ) -> None:
        self.plant = plant
        self.network = plant.network
        self.state = state
        self.feeds = plant.feeds(state) if feeds is None else feeds
        self.contacts_of = clamped | {rcd.connection for rcd in plant.network.rcds}
        self.residual: dict[
            str, float | Missing
        ] = {}  # of each RCD before any of them opens, in rated residual currents
        self.couples = tuple(dict.fromkeys(couples))
        self.loads = loads
        self.loads_of = loads_of
        self._known = known
        self._begun: Begun = {}
        self._everything = (1 << len(self.network.nodes)) - 1
        if self.feeds:
            self._settle()

    def _settle(self) -> None:
        """Open what a short circuit opens, then what a residual current opens, what is farthest beyond its limit first."""
        for _ in range(ROUNDS):
            solved = _Solved(self.model(self._in_service(MIDDLE_F_PER_M)), self.couples)
            cut, feed = self._short(solved)
            if not cut and feed < 0:
                cut = self._tripped(solved)
            if not cut and feed < 0:
                self._service = solved
                return
            self.feeds = tuple(one for one in self.feeds if one != feed)
            self.network = altered(self.network, edges={i: self.network.edges[i]._replace(needs=NEVER) for i in cut})
            self._begun = {}

    def _short(self, solved: _Solved) -> tuple[tuple[int, ...], int]:
        """The edges that the most overloaded device opens; where there is none, the source that collapses (-1: none)."""
        worst, feed = 1.0, -1
        cut: tuple[int, ...] = ()
        for element, core, ampere in solved.carried():
            for ratio, opened in self._overloaded(element, core, ampere):
                if ratio > worst:
                    worst, cut = ratio, opened
            number = self._exhausted(element, ampere)
            feed = number if number >= 0 else feed
        return cut, -1 if cut else feed

    def _tripped(self, solved: _Solved) -> tuple[int, ...]:
        """The edges that the RCD with the largest residual current opens, none where all hold; a delayed one waits for the others."""
        seen_by: list[tuple[bool, float, frozenset[int]]] = []
        for rcd in self.network.rcds:
            edges = [self.network.edges[edge] for edge in sorted(rcd.edges)]
            closed = tuple(edge.core for edge in edges if not self._broken(rcd.connection, edge.core))
            if not closed:
                continue
            ends = (node for edge in edges for node in (edge.a, edge.b))
            seen = self._unwritten_v(ends) or solved.amperes(rcd.connection, closed)
            ratio = seen if isinstance(seen, Missing) else seen / (rcd.device.residual_a or 1.0)
            delayed = rcd.device.delay == "S"
            if delayed or rcd.name not in self.residual:
                self.residual[rcd.name] = ratio
            if not isinstance(ratio, Missing) and ratio > MUST_TRIP:
                seen_by.append((not delayed, ratio, rcd.edges))
        return tuple(sorted(max(seen_by, key=lambda one: one[:2])[2])) if seen_by else ()

    def _overloaded(self, element: str, core: str, ampere: float) -> Iterator[tuple[float, tuple[int, ...]]]:
        """By how much a current is a short circuit for each device on a cable, and the edges that it opens."""
        link = self.plant.links.get(element)
        for device in link.devices if link and core in LINES else ():
            if device.rating_a and core in device.poles and device.kind in OVERCURRENT:
                opened = [
                    i
                    for i, edge in enumerate(self.network.edges)
                    if edge.element == element and edge.core in device.poles
                ]
                yield ampere / (SHORT * device.rating_a), tuple(opened)

    def _exhausted(self, element: str, ampere: float) -> int:
        """The number of the inverter that a current is too much for; -1: none."""
        for number in self.feeds:
            for source in self.network.feeds[number].sources if self.network.feeds[number].kind == "inverter" else ():
                if source.id == element and source.rating_va and source.voltage_v:
                    rated = source.rating_va / source.voltage_v / len(source.phases)
                    limit = source.fault_limit
                    times = limit.times_rated if limit and limit.times_rated else EXHAUSTED
                    most = limit.current_a if limit and limit.current_a else times * rated
                    if ampere > most:
                        return number
        return -1

    def model(self, options: Options) -> Model:
        """The circuit of everything, dead parts too."""
        return build(self.network, self.state, self._everything, self.feeds, options, self._known, self._begun)

    # -- voltages --------------------------------------------------------------------------------------------------

    @cached_property
    def _without_voltage(self) -> dict[int, Missing]:
        """What forms an island and has no voltage that anybody has written, by number; it stands in its circuit with none."""
        found = {}
        for number, feed in enumerate(self.network.feeds):
            for source in feed.sources if feed.forming else ():
                emfs = line_emfs_v(source)
                if isinstance(emfs, Missing):
                    found[number] = emfs
        return found

    def _unwritten_v(self, nodes: Iterable[int]) -> Missing | None:
        """The voltage that is not written of a source at work which reaches one of some nodes: nothing is known of what it drives there."""
        asked = sum(1 << node for node in set(nodes)) if self._without_voltage else 0
        for number, missing in self._without_voltage.items():
            if number in self.feeds and reach(self.network, self.state, self.network.feeds[number].lines) & asked:
                return missing
        return None

    def _in_service(self, stray_f_per_m: float, leaks: Leaks = BOTH) -> Options:
        return Options(
            cold=True,
            loads=self.loads,
            loads_of=self.loads_of,
            capacitances=True,
            stray_f_per_m=stray_f_per_m,
            leaks=leaks,
            frequency_hz=self.plant.site.frequency_hz or 50.0,
            metal=True,
            contacts_of=self.contacts_of,
        )

    @cached_property
    def _service(self) -> _Solved:  # set by _settle where anything is energised
        return _Solved(self.model(self._in_service(MIDDLE_F_PER_M)), self.couples)

    @cached_property
    def _strays(self) -> tuple[_Solved, ...]:
        leaky = any(circuit.leakage_a for circuit in self.plant.site.circuits)
        ways = [(stray, leaks) for leaks in ((BOTH, NEITHER) if leaky else (BOTH,)) for stray in STRAY_F_PER_M]
        ways += [(STRAY_F_PER_M[0], LINE)] if leaky else []
        return tuple(_Solved(self.model(self._in_service(*way)), self.couples) for way in ways)

    def volts(self, couple: Couple, meter: str = "digital") -> Shown | Missing:
        """What a voltmeter shows between two nodes, in V; :class:`Missing` where it rests on what is not written."""
        ohm = meter_ohm(meter)
        value = self._unwritten_v(couple) or self._service.volts(couple, ohm)
        if isinstance(value, Missing):
            return value
        loop = self._service.loop(couple)
        if loop is None or abs(loop.z_ohm) < LOOSE_OHM:
            return Shown.exactly(value)
        ends = [one for solved in self._strays if not isinstance(one := solved.volts(couple, ohm), Missing)]
        return Shown(value, min(value, *ends), max(value, *ends), LOOSELY * self._volts())

    def _volts(self) -> float:
        """The largest rated voltage to neutral of what energises the site, in V."""
        feeds = (self.network.feeds[i] for i in self.feeds)
        return max((source.voltage_v or 0.0 for feed in feeds for source in feed.sources), default=0.0)

    # -- currents --------------------------------------------------------------------------------------------------

    def amperes(self, element: str, cores: Iterable[str]) -> float | Missing:
        """What a clamp around some cores of a cable shows in service, in A: the sum of their currents."""
        layers = (*self.network.edges, *self.network.earth)
        ends = (node for edge in layers if edge.element == element for node in (edge.a, edge.b))
        return self._unwritten_v(ends) or self._service.amperes(
            element, tuple(core for core in cores if not self._broken(element, core))
        )

    # -- loops -----------------------------------------------------------------------------------------------------

    @cached_property
    def _loops(self) -> tuple[_Solved, _Solved]:
        weak = Options(cold=True, contacts_of=self.contacts_of)
        return _Solved(self.model(weak), self.couples), _Solved(self.model(Options(smallest=False)), self.couples)

    def ohms(self, couple: Couple) -> Shown | Missing:
        """Impedance that a loop tester finds between two nodes, in ohm; infinite beyond its range.

        The largest with the declared loop of the supply, the least with its largest fault current.
        """
        weak, strong = (solved.ohms(couple) for solved in self._loops)
        if isinstance(weak, Missing):
            return weak
        if not self.feeds:
            joined = self._joined_by_metal.ohms(couple)
            return Shown(weak, weak if isinstance(joined, Missing) else min(joined, weak), weak)
        if math.isinf(weak) or not self.driven(couple):
            return Shown.exactly(math.inf)
        slack = self._by_soil(couple, weak)
        most = max(weak, self._by_line(couple, weak))
        if isinstance(strong, Missing):
            return Shown(weak, 0.0, most, slack)
        return Shown(weak, min(weak, strong), max(most, strong), slack)

    def driven(self, couple: Couple) -> bool:
        """Whether there is a voltage between two nodes with which a loop or RCD tester works."""
        volts = self._open_v(couple)
        return isinstance(volts, Missing) or volts >= TESTER_V

    def _open_v(self, couple: Couple) -> float | Missing:
        """The voltage with which a tester works between two nodes, in V."""
        return self._unwritten_v(couple) or self._loops[0].volts(couple, math.inf)

    @cached_property
    def _joined_by_metal(self) -> _Solved:
        """The circuit in which metal that nobody knows the impedance of joins what lands on it."""
        if not self.plant.site.extraneous:
            return self._loops[0]
        return _Solved(self.model(Options(cold=True, metal_joins=True, contacts_of=self.contacts_of)), self.couples)

    def _by_line(self, couple: Couple, ohm: float) -> float:
        """An impedance in ohm where the loop of a TT supply lies in its line and neutral: what of it does nobody declares."""
        most = max((source.loop_impedance_ohm or 0.0 for source in self._tt_supplies), default=0.0)
        if ohm > 2 * most:
            return ohm
        found = self._in_line.ohms(couple)
        return ohm if isinstance(found, Missing) or math.isinf(found) else found

    @cached_property
    def _tt_supplies(self) -> list[Source]:
        """The TT supplies that energise something here."""
        feeds = (self.network.feeds[number] for number in self.feeds)
        return [
            source for feed in feeds for source in feed.sources if source.kind == "utility" and source.earthing == "TT"
        ]

    @cached_property
    def _in_line(self) -> _Solved:
        weak = Options(cold=True, loop_in_line=True, contacts_of=self.contacts_of)
        return _Solved(self.model(weak), self.couples)

    def _by_soil(self, couple: Couple, ohm: float) -> float:
        """By how much an impedance is off where electrodes are as far off as they may be; a loop of metal rests on none, in ohm."""
        if ohm < METAL_OHM:
            return 0.0
        raised = self._raised.ohms(couple)
        return 0.0 if isinstance(raised, Missing) or math.isinf(raised) else abs(raised - ohm)

    @cached_property
    def _raised(self) -> _Solved:
        weak = Options(cold=True, contacts_of=self.contacts_of, soil=(1 + SEASON, 1 + SOIL))
        return _Solved(self.model(weak), self.couples)

    def weak(self, node: int) -> str:
        """The inverter alone that feeds a node and limits its current; '' where something else does."""
        found = ""
        for number in self.feeds:
            feed = self.network.feeds[number]
            if reach(self.network, self.state, feed.lines) >> node & 1:
                if feed.kind != "inverter":
                    return ""
                found = feed.id
        return found

    def seen(self, couple: Couple, cores: tuple[tuple[str, str], ...]) -> float | Missing:
        """The share of a test current from a line to PE that some cores carry away together: what an RCD around them sees."""
        if not self.driven(couple):
            return 0.0
        closed = tuple((element, core) for element, core in cores if not self._broken(element, core))
        return self._loops[0].share(couple, closed)

    def driven_a(self, couple: Couple) -> float:
        """The largest current that flows from a line to PE there, in A; infinite where it is not known."""
        volts, ohm = self._open_v(couple), self._loops[0].ohms(couple)
        return math.inf if isinstance(volts, Missing) or isinstance(ohm, Missing) or not ohm else volts / ohm

    def _broken(self, element: str, core: str) -> bool:
        """Whether a core is open, so that it carries nothing; not one of which no length is known."""
        edges = [
            edge for edge in (*self.network.edges, *self.network.earth) if (edge.element, edge.core) == (element, core)
        ]
        crossed = any((tie.kind, tie.id, tie.core) == ("crossed", element, core) for tie in self.network.ties)
        return bool(edges) and not crossed and not any(holds(edge.needs, self.state) for edge in edges)


class _Solved:
    """One circuit, solved; twice where impedances are not known, to see what rests on them."""

    def __init__(self, model: Model, couples: tuple[Couple, ...]) -> None:
        self.model = model
        self._pairs = tuple(
            dict.fromkeys(
                (model.node[a], model.node[b])
                for a, b in couples
                if model.node[a] >= 0
                and model.node[b] >= 0
                and model.part[a] == model.part[b]
                and model.node[a] != model.node[b]
            )
        )

    def _study(self, circuit: Circuit) -> tuple[Study, dict[Couple, Loop]] | None:
        try:
            study = Study(circuit, self._pairs)
            return study, dict(zip(study.pairs, study.loops, strict=True))
        except Unsolvable:
            return None

    @cached_property
    def first(self) -> tuple[Study, dict[Couple, Loop]] | None:
        return self._study(self.model.circuit)

    @cached_property
    def second(self) -> tuple[Study, dict[Couple, Loop]] | None:
        return self._study(with_other_stand_ins(self.model)) if self.model.unknown else self.first

    def _lacking(self) -> Missing:
        return self.model.unknown[0][1] if self.model.unknown else Missing("", (), "the circuit has no solution")

    def _pair(self, couple: Couple) -> Couple:
        return self.model.node[couple[0]], self.model.node[couple[1]]

    def loop(self, couple: Couple) -> Loop | None:
        """What stands between two nodes; None where nothing does, or nothing joins them."""
        return self.first[1].get(self._pair(couple)) if self.first else None

    def _agreed(self, one: float, other: float) -> float | Missing:
        alike = one == other or abs(one - other) <= SAME * max(abs(one), abs(other), 1.0)
        return one if alike else self._lacking()

    def volts(self, couple: Couple, meter: float) -> float | Missing:
        if self.first is None or self.second is None:
            return self._lacking()
        one, other = (
            magnitude(self.model, loops.get(self._pair(couple)), couple, meter)
            for _, loops in (self.first, self.second)
        )
        return self._agreed(one, other)

    def ohms(self, couple: Couple) -> float | Missing:
        if self.first is None or self.second is None:
            return self._lacking()
        model = self.model
        a, b = couple
        if model.node[a] < 0 or model.node[b] < 0 or model.part[a] != model.part[b]:
            return math.inf
        if model.node[a] == model.node[b]:
            return 0.0
        one, other = (abs(loops[self._pair(couple)].z_ohm) for _, loops in (self.first, self.second))
        if min(one, other) > OVER_RANGE_OHM:
            return math.inf
        return self._agreed(one, other)

    def carried(self) -> Iterator[tuple[str, str, float]]:
        """What each line core and winding carries, in A."""
        if self.first is None:
            return
        currents = self.first[0].solution.currents_a
        for number, conductor in enumerate(self.model.conductors):
            if conductor.core in LINES:
                yield conductor.element, conductor.core, abs(currents[number])

    def amperes(self, element: str, cores: tuple[str, ...]) -> float | Missing:
        if self.first is None or self.second is None:
            return self._lacking()
        numbers = [number for core in cores if (number := self.model.branch_of(element, core)) >= 0]
        if len(numbers) < len(cores):
            return Missing(
                f"the length of {element}", (), f"the current in {element} is not determined without its length"
            )
        one, other = (abs(sum(study.solution.currents_a[n] for n in numbers)) for study, _ in (self.first, self.second))
        return self._agreed(one, other)

    def share(self, couple: Couple, cores: tuple[tuple[str, str], ...]) -> float | Missing:
        if self.first is None or self.second is None:
            return self._lacking()
        if self.loop(couple) is None:
            return 0.0
        shares = []
        for study, _ in (self.first, self.second):
            drawn: Solution = study.respond(self._pair(couple))
            total = 0j
            for element, core in cores:
                number = self.model.branch_of(element, core)
                if number < 0:
                    return Missing(f"the length of {element}", (), f"the current in {element} is not determined")
                total += drawn.currents_a[number]
            shares.append(abs(total))
        return self._agreed(*shares)
