"""What can be measured at a site, and what follows for each of it from the circuit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import combinations
from typing import NamedTuple

from onebond.circuit.build import Known
from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.meter.bench import MAY_TRIP, MUST_TRIP, SEASON, SOIL, Bench, Couple, Shown
from onebond.meter.defects import NEVER, altered
from onebond.meter.plant import Plant
from onebond.model import LINES, LIVE, Connection
from onebond.network import Network, Rcd, frame_of
from onebond.states import State, holds, reach

SHARED = 2.0
"""Volts that the load of neighbours adds between a supplier's neutral and an earth that does not share it (common practice, no source)."""

SKEW = 0.1
"""Part by which a line is off its voltage to N where the neutral of several lines is open (IEC 60038: a supply is within 10 %)."""

LINE_TO_N = tuple(f"{line}-N" for line in LINES)

ALIKE = 0.02
"""Relative difference below which a reading is the same in two states."""

NOT_DECIDED = Missing("", (), "it depends on whether an inverter without input inverts by itself")

LEAKAGE_A = 0.005
"""What a circuit may leak whose leakage is not written: the limit for equipment above 10 A (IEC 61140, from memory), in A."""

APART = ("TT", "TN-S")
"""Supplies whose neutral is not earthed at the site."""

IN_SERVICE = ("voltage", "clamp", "holds")
"""What may be measured with the loads switched on; everything else is done without them."""


_Wanted = tuple[Iterable[Couple], Known, bool, tuple[int, ...] | None, frozenset[str], frozenset[str]]
"""What a bench is asked for, beside its plant and state."""


class Measurement(NamedTuple):
    """One thing to measure.

    ``kind`` and what ``at`` and ``between`` mean for it: voltage (place; L1-N), loop (place; L1-PE), tie (place; N-PE, dead), continuity
    (place; the other place, dead), electrode (its id), clamp (connection or circuit; the cores the clamp goes round), rcd (its name; the
    multiple of its rated residual current that is sent through it), holds (its name: whether it stays closed in service; the circuit
    whose load alone is on, else all are), insulation (place).
    """

    kind: str
    at: str
    between: str = ""
    loads: bool = True  # whether the written loads are switched on

    @property
    def dead(self) -> bool:
        """Whether it is done with everything switched off."""
        return self.kind in ("continuity", "tie", "electrode", "insulation")

    @property
    def unit(self) -> str:
        """The unit of its reading; an RCD gives none, it trips or not: what it sees is counted in rated residual currents."""
        return {"voltage": "V", "clamp": "A", "rcd": "", "holds": ""}.get(self.kind, "ohm")


class Site:
    """A site to be measured: its plant, and what tests mean in it."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.network = plant.network
        self._known: Known = {}
        self.links: dict[str, Connection] = plant.links
        self.rcds: dict[str, Rcd] = {rcd.name: rcd for rcd in self.network.rcds}

    # -- where the meter stands ------------------------------------------------------------------------------------

    def node(self, place: str, conductor: str) -> int:
        """The node of a conductor at a place as written (``essential``, ``ts.grid``); -1 where it does not land there."""
        identifier, _, terminal = place.partition(".")
        if conductor == "PE":
            return self.network.find(frame_of(self.plant.site, identifier), "", "PE")
        return self.network.find(identifier, terminal, conductor)

    def couple(self, test: Measurement, state: State) -> Couple | None:
        """The nodes between which the meter of a test stands; None where one of them is not there.

        An RCD is tested at the end of its cable that is dead when it is open: there the current passes through it.
        """
        if test.kind in ("voltage", "loop", "tie"):
            one, other = test.between.split("-")
            a, b = self.node(test.at, one), self.node(test.at, other)
        elif test.kind == "continuity":
            a, b = self.node(test.at, "PE"), self.node(test.between, "PE")
        elif test.kind == "rcd":
            rcd = self.rcds[test.at]
            link = self.links[rcd.connection]
            a, b = -1, self.node(link.finish.written, "PE")
            if rcd.lines:
                core = self.network.edges[min(rcd.lines)].core
                before = self.node(link.start.written, core)
                a = self.node(link.finish.written, dict(link.lands_on).get(core, core))
                ahead = reach(self.network, state, self._forming(state), without_edges=rcd.edges)
                if ahead >> a & 1 and not ahead >> before & 1:
                    a, b = before, self.node(link.start.written, "PE")
        else:
            return None
        return (a, b) if a >= 0 and b >= 0 else None

    def _forming(self, state: State) -> tuple[int, ...]:
        """The line terminals of everything that holds a voltage by itself in a state."""
        feeds = (self.network.feeds[number] for number in self.plant.feeds(state))
        return tuple(node for feed in feeds if feed.forming for node in feed.lines)

    # -- what it shows ---------------------------------------------------------------------------------------------

    def shown(
        self, state: State, asked: Iterable[Measurement], meter: str = "digital"
    ) -> dict[Measurement, Shown | Missing]:
        """What meters show in a state, one by one; ``meter`` is a voltmeter that `meter_ohm` knows.

        Tests without voltage are answered for the state without its sources.  What cannot be said (insulation, a conductor that is not
        there) is left out.
        """
        found: dict[Measurement, Shown | Missing] = {}
        alike: dict[tuple[bool, bool, str], list[Measurement]] = {}
        for measurement in asked:
            alone = measurement.between if measurement.kind == "holds" else ""
            key = (measurement.dead, measurement.loads and measurement.kind in IN_SERVICE, alone)
            alike.setdefault(key, []).append(measurement)
        for (dead, loads, alone), measures in alike.items():
            now = self._read(state, measures, meter, dead, loads, frozenset({alone} - {""}))
            if loads and not alone and any(self._skewed(one, answer) for one, answer in now.items()):
                # lines without their neutral share the voltage as their loads are, and nobody knows what is switched on just then
                for some in self._by_line:
                    other = self._read(state, measures, meter, dead, loads, some)
                    now = {one: _either(answer, other[one]) for one, answer in now.items()}
            found.update(now)
        return found

    def _read(
        self,
        state: State,
        measures: Sequence[Measurement],
        meter: str,
        dead: bool,
        loads: bool,
        loads_of: frozenset[str],
    ) -> dict[Measurement, Shown | Missing]:
        """What meters show in a state with some loads."""
        couples = {one: couple for one in measures if (couple := self.couple(one, state)) is not None}
        feeds = () if dead else None
        clamped = frozenset(one.at for one in measures if one.kind == "clamp")
        wanted = (couples.values(), self._known, loads, feeds, clamped, loads_of)
        benches = [
            bench
            for now in ((state,) if dead else self.plant.instead(state))
            for bench in self._settled(Bench(self.plant, now, *wanted), wanted)
        ]
        answers = {one: [self._answer(bench, one, couples.get(one), meter) for bench in benches] for one in measures}
        states = [bench.state for bench in benches]
        return {one: _agreed(each, states) for one, each in answers.items() if each[0] is not None}

    def _skewed(self, measurement: Measurement, shown: Shown | Missing) -> bool:
        """Whether a line has neither its voltage to neutral nor none, under load."""
        if measurement.kind != "voltage" or measurement.between not in LINE_TO_N or not isinstance(shown, Shown):
            return False
        volts = max((source.voltage_v or 0.0 for source in self.plant.site.sources), default=0.0)
        return any(
            way.value > volts * (1 + SKEW) or SKEW * volts < way.value < volts * (1 - SKEW) for way in shown.ways
        )

    @cached_property
    def _by_line(self) -> tuple[frozenset[str], ...]:
        """The circuits whose load is between one line and N, line by line; nothing where all are on one."""
        found: dict[str, set[str]] = {}
        for circuit in self.plant.site.circuits:
            lines = [core for core in circuit.connection.cores if core in LINES]
            if len(lines) == 1:
                found.setdefault(lines[0], set()).add(circuit.id)
        return tuple(map(frozenset, found.values())) if len(found) > 1 else ()

    def _settled(self, bench: Bench, wanted: _Wanted) -> Iterator[Bench]:
        """A state after what devices have opened in it: an inverter whose input they took away inverts by itself, or is dead."""
        if bench.network is self.plant.network:
            yield bench
            return
        plant = Plant(self.plant.site, bench.network)
        for state in plant.instead(bench.state):
            if state == bench.state:
                yield bench
            else:
                following = Bench(plant, state, *wanted)
                following.residual |= bench.residual  # what opened an RCD is what it saw before
                yield following

    def _answer(self, bench: Bench, test: Measurement, couple: Couple | None, meter: str) -> Shown | Missing | None:
        if test.kind == "electrode":
            return self.electrode(test.at)
        if test.kind == "clamp":
            ampere = self._exactly(bench.amperes(test.at, test.between.split()))
            silent = sum(circuit.leakage_a is None for circuit in self.plant.site.circuits)
            return ampere._replace(slack=LEAKAGE_A * silent) if isinstance(ampere, Shown) else ampere
        if test.kind == "holds":
            residual = bench.residual.get(test.at, 0.0)
            return self._exactly(residual)
        if couple is None:
            return None
        if test.kind == "voltage":
            volts = bench.volts(couple, meter)
            if isinstance(volts, Shown) and test.between == "N-PE" and self._shared(bench, couple[0]):
                return volts._replace(slack=math.hypot(volts.slack, SHARED))
            return volts
        if test.kind == "loop" and (weak := bench.weak(couple[0])):
            return Missing("", (), f"a loop test says nothing where {weak} limits its current")
        if test.kind == "tie":
            return self._tie(bench, couple)
        if test.kind == "rcd":
            rcd = self.rcds[test.at]
            share = bench.seen(couple, self._summed(rcd))
            if isinstance(share, Missing):
                return share
            asked_a = float(test.between.split()[0]) * self._declared_a(rcd)
            most_a = bench.driven_a(couple)
            seen = share * min(asked_a, most_a) / (rcd.device.residual_a or 1.0)
            # a tester that the loop does not let drive its current says so, or trips the RCD late
            return Shown.exactly(min(seen, (MAY_TRIP + MUST_TRIP) / 2) if most_a < asked_a else seen)
        return bench.ohms(couple) if test.kind in ("loop", "continuity") else None

    def _shared(self, bench: Bench, neutral: int) -> bool:
        """Whether a neutral is that of a supply earthed elsewhere than here: its neighbours' load stands between it and PE."""
        network, state = bench.network, bench.state
        if any(
            tie.kind in ("bond", "internal") and tie.n == neutral and holds(tie.needs, state) for tie in network.ties
        ):
            return False
        others = frozenset(number for number, one in enumerate(network.plain) if one[4] != "neutral")
        for feed in (network.feeds[number] for number in bench.feeds):
            apart = any(source.kind == "utility" and source.earthing in APART for source in feed.sources)
            if apart and reach(network, state, feed.neutrals, without_edges=others) >> neutral & 1:
                return True
        return False

    def _tie(self, bench: Bench, couple: Couple) -> Shown | Missing:
        """N to PE without voltage: a main isolator opens the neutral of a supply or leaves it joined, and either is right."""
        joined = bench.ohms(couple)
        if isinstance(joined, Missing) or not self._isolated:
            return joined
        plant = Plant(self.plant.site, self._isolated)
        opened = Bench(plant, bench.state, [couple], self._known, bench.loads, ()).ohms(couple)
        if isinstance(opened, Missing) or math.isinf(joined.value) or opened.value <= joined.value * (1 + ALIKE):
            return joined
        return Shown(opened.value, joined.low, opened.high, joined.slack)

    @cached_property
    def _isolated(self) -> Network | None:
        """The network with the neutral of every supply opened at its main isolator; None where all come with a PEN."""
        utilities = {source.id for source in self.plant.site.sources if source.kind == "utility"}
        at = {link.id for link in self.links.values() if {link.start.id, link.finish.id} & utilities}
        edges = {
            number: edge._replace(needs=NEVER)
            for number, edge in enumerate(self.network.edges)
            if edge.core == "N" and edge.element in at
        }
        return altered(self.network, edges=edges) if edges else None

    def _declared_a(self, rcd: Rcd) -> float:
        """The rated residual current that the tester is set to, whatever the device does, in A."""
        return self.links[rcd.connection].devices[rcd.device.position].residual_a or 1.0

    def _summed(self, rcd: Rcd) -> tuple[tuple[str, str], ...]:
        """The cores that an RCD sums, with the connection that they belong to."""
        edges = self.network.edges
        return tuple((edges[edge].element, edges[edge].core) for edge in sorted(rcd.edges))

    @staticmethod
    def _exactly(value: float | Missing) -> Shown | Missing:
        return value if isinstance(value, Missing) else Shown.exactly(value)

    def electrode(self, identifier: str) -> Shown | Missing:
        """Resistance of an electrode to the mass of earth, disconnected from everything else; infinite where it is not there."""
        if identifier not in dict(self.network.electrodes):
            return Shown.exactly(math.inf)
        electrode = next(one for one in self.plant.site.electrodes if one.id == identifier)
        ohm = electrode_ohm(electrode)
        if isinstance(ohm, Missing):
            return ohm
        return Shown(ohm, ohm, ohm, ohm * (SEASON if electrode.resistance_ohm is not None else SOIL))

    # -- what there is to measure ----------------------------------------------------------------------------------

    def voltages(self, place: str, loads: bool = False) -> tuple[Measurement, ...]:
        """The voltages at a place: each line to neutral and to PE, and neutral to PE; with loads off a broken core shows."""
        lines = [line for line in LINES if self.node(place, line) >= 0]
        ends = [end for end in ("N", "PE") if self.node(place, end) >= 0]
        pairs = [f"{line}-{end}" for end in ends for line in lines]
        if len(ends) == 2:
            pairs.append("N-PE")
        return tuple(Measurement("voltage", place, pair, loads) for pair in pairs)

    def between_lines(self, place: str) -> tuple[Measurement, ...]:
        """The voltages between the lines at a place: two lines on one leg of a supply show nothing between them."""
        lines = [line for line in LINES if self.node(place, line) >= 0]
        return tuple(Measurement("voltage", place, f"{a}-{b}", False) for a, b in combinations(lines, 2))

    def loops(self, place: str) -> tuple[Measurement, ...]:
        """The earth fault loops at a place, one a line."""
        if self.node(place, "PE") < 0:
            return ()
        return tuple(Measurement("loop", place, f"{line}-PE") for line in LINES if self.node(place, line) >= 0)


def _either(one: Shown | Missing, other: Shown | Missing) -> Shown | Missing:
    """What may be read where it is one of two, or anything between them."""
    if not isinstance(one, Shown) or not isinstance(other, Shown) or one.others or other.others:
        return one
    return one._replace(low=min(one.low, other.low), high=max(one.high, other.high))


def _agreed(answers: Sequence[Shown | Missing | None], states: Sequence[State]) -> Shown | Missing:
    """What is shown in the states that a broken site may fall into; Missing where it cannot be said of one of them."""
    ways: list[Shown] = []
    falls: list[tuple[State, ...]] = []
    for answer, state in zip(answers, states, strict=True):
        if not isinstance(answer, Shown):
            return answer or NOT_DECIDED
        for at, other in enumerate(ways):
            if math.isclose(answer.value, other.value, rel_tol=ALIKE, abs_tol=ALIKE):
                falls[at] += (state,)
                break
        else:
            ways.append(answer)
            falls.append((state,))
    return ways[0]._replace(others=tuple(ways[1:]), falls=tuple(falls) if len(ways) > 1 else ())


TESTS: dict[str, str] = {
    "continuity": "continuity of the protective conductor",
    "insulation": "insulation resistance",
    "tie": "N to PE without voltage",
    "electrode": "resistance of the electrode",
    "voltage": "voltage",
    "loop": "earth fault loop impedance",
    "rcd": "operating time of the RCD",
    "holds": "RCD under load",
    "clamp": "current in the protective conductor",
}
"""What each kind of measurement is called."""


def test_of(measurement: Measurement) -> str:
    """What is measured, in words of the trade."""
    words = TESTS[measurement.kind]
    if measurement.kind == "voltage":
        return f"{words} {measurement.between}, loads {'on' if measurement.loads else 'off'}"
    if measurement.kind == "holds" and measurement.between:
        return f"RCD with the load of {measurement.between} alone"
    if measurement.kind == "clamp" and measurement.between != "PE":
        return f"current round {measurement.between} together"
    return f"{words} {measurement.between}" if measurement.kind == "rcd" else words


def where_of(measurement: Measurement) -> str:
    """Where the probes stand."""
    if measurement.kind == "continuity":
        return f"{measurement.at} to {measurement.between}"
    return f"{measurement.at}, {measurement.between}" if measurement.kind == "loop" else measurement.at


def live_cores(link: Connection) -> str:
    """The live cores of a cable, as a clamp round all of them is written."""
    return " ".join(core for core in link.cores if core in LIVE)


def by_state(readings: Iterable[tuple[State, Measurement]]) -> Mapping[State, list[Measurement]]:
    """Tests by the state in which they are done."""
    found: dict[State, list[Measurement]] = {}
    for state, test in readings:
        found.setdefault(state, []).append(test)
    return found
