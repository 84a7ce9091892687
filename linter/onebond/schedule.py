"""The test schedule of a site: what to measure, in which state, with what, what it should show and what another reading means.

The order is that of IEC 60364-6, 6.4.3 (from memory): without voltage first, then in each operating state.  What is expected follows from
the circuit of the description; how much a reading may differ from it is said beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from onebond.circuit.impedances import Missing
from onebond.circuit.limits_table import largest_earth_resistance_ohm
from onebond.meter.bench import MAY_TRIP, MUST_TRIP, Shown
from onebond.meter.diagnose import FLOOR, RELATIVE, SUPPLY, TRIPS, Doctor
from onebond.meter.measurements import Measurement, Site
from onebond.meter.plan import DEAD, Entry, plan
from onebond.meter.plant import Plant
from onebond.meter.telling import telling
from onebond.meter.visits import Visit
from onebond.model import Installation
from onebond.rule import figure
from onebond.states import State

CAUTIONS = (
    "This sheet is for a licensed electrician or somebody who works under one; local codes and the maker's instructions come first.",
    "Prove the tester on a known live source before and after each test for dead; lock and tag what must stay open.",
    "A neutral may be live: with a floating or doubly earthed neutral, treat N and PE as live until measured.",
    "An inverter, a generating set or a battery may start by itself: make sure that it cannot before the dead tests.",
    "The terminals of a battery cannot be switched off: insulated tools, no jewellery, covers over what is not worked on.",
    "For insulation tests take out links between N and PE, loads, electronics and surge protection, and put them back.",
    "Loop and RCD tests pass current through the protective conductor: nobody may touch frames meanwhile.",
)


class Row(NamedTuple):
    """One test of the schedule; the reading stays empty."""

    number: str
    visit: int  # 0: without voltage
    measurement: Measurement | None  # None: nothing that follows from the circuit
    test: str
    where: str
    instrument: str
    method: str
    expected: str
    limit: str
    means: str
    missing: str = ""  # what is not written, so that nothing can be expected


class Stop(NamedTuple):
    """One state in which tests are done: how to get there from the one before, and what it proves."""

    number: int
    state: tuple[tuple[str, str], ...]
    unusual: tuple[tuple[str, str], ...]  # what of it is not as usual
    steps: tuple[str, ...]
    proves: tuple[str, ...]
    remarks: tuple[str, ...]


class Schedule(NamedTuple):
    """The schedule of a site as plain data."""

    site: str
    rulebook: str
    revision: str | None
    cautions: tuple[str, ...]
    stops: tuple[Stop, ...]
    rows: tuple[Row, ...]
    remarks: tuple[str, ...]


class _Kind(NamedTuple):
    test: str
    instrument: str
    method: str


_KINDS: dict[str, _Kind] = {
    "continuity": _Kind(
        "continuity of the protective conductor",
        "low-resistance ohmmeter, 4 V to 24 V, at least 200 mA (IEC 61557-4)",
        "take off the resistance of the leads; both ends on bare metal",
    ),
    "insulation": _Kind(
        "insulation resistance",
        "insulation tester, 500 V d.c. (IEC 61557-2)",
        "live conductors joined, against PE; links and loads out",
    ),
    "tie": _Kind(
        "N to PE without voltage",
        "low-resistance ohmmeter (IEC 61557-4)",
        "loads out, switches as listed; above 20 kohm counts as open",
    ),
    "electrode": _Kind(
        "resistance of the electrode",
        "earth tester, three poles (IEC 61557-5)",
        "disconnected from the earth terminal; auxiliary stakes outside its reach",
    ),
    "voltage": _Kind(
        "voltage",
        "voltmeter, 10 Mohm (CAT III or higher)",
        "",
    ),
    "loop": _Kind(
        "earth fault loop impedance",
        "loop tester (IEC 61557-3)",
        "with the test that trips no RCD; conductors cold",
    ),
    "rcd": _Kind(
        "operating time of the RCD",
        "RCD tester (IEC 61557-6)",
        "between a line and PE behind it, loads off",
    ),
    "holds": _Kind("RCD under load", "none", "switch the loads on one by one"),
    "clamp": _Kind("current in the protective conductor", "leakage clamp, 1 mA resolution", "round PE alone, loads on"),
}


class Limits(NamedTuple):
    """What a rulebook accepts of readings, with where it stands; a ``?`` marks what is from memory."""

    insulation_ohm: float
    insulation: str
    loop_factor: float
    loop: str
    rcd: str


ACCEPTED: dict[str, Limits] = {
    "iec": Limits(1e6, "IEC 60364-6, table 6.1 ?", 2 / 3, "IEC 60364-6, annex D ?", "IEC 60364-6, 6.4.3.8 ?"),
    "bs7671": Limits(
        1e6, "BS 7671, table 64 ?", 0.8, "common practice: 0.8 of the tabulated value", "BS 7671, 643.8 ?"
    ),
    "nec": Limits(1e6, "common practice, no source", 1.0, "common practice, no source", "common practice, no source"),
    "as-nzs": Limits(1e6, "AS/NZS 3000, 8.3.6 ?", 0.8, "AS/NZS 3017 ?", "AS/NZS 3000, 8.3.10 ?"),
    "sans": Limits(1e6, "SANS 10142-1, 8.7 ?", 2 / 3, "as IEC 60364-6 ?", "SANS 10142-1, 8.7 ?"),
}


def schedule(site: Installation) -> Schedule:
    """The test schedule of an installation."""
    return _Writer(site).schedule()


def as_expected(measurement: Measurement, shown: Shown) -> tuple[float, float]:
    """The band in which a healthy reading lies: what the description leaves open, and what meter and model may be off together."""
    floor = FLOOR.get(measurement.unit, 0.0)
    if measurement.unit == "V" and measurement.between != "N-PE":
        return max(0.0, shown.low * (1 - SUPPLY) - floor), shown.high * (1 + SUPPLY) + floor
    if measurement.kind == "electrode":
        return shown.low * 0.5, shown.high * 1.5
    if math.isinf(shown.value):
        return math.inf, math.inf
    margin = 2 * RELATIVE
    return max(0.0, shown.low * (1 - margin) - floor), shown.high * (1 + margin) + floor


def expected(measurement: Measurement, shown: Shown) -> str:
    """What a healthy site shows, with its band, in words."""
    if measurement.kind in TRIPS or math.isinf(shown.value):
        return as_read(measurement, shown)
    low, high = as_expected(measurement, shown)
    unit = measurement.unit
    if low <= 0:
        return f"at most {figure(high, unit)}"
    return f"{figure(shown.value, unit)} ({figure(low, unit)} to {figure(high, unit)})"


def test_of(measurement: Measurement) -> str:
    """What is measured, in words of the trade."""
    words = _KINDS[measurement.kind].test
    if measurement.kind == "holds" and measurement.between:
        return f"RCD with the load of {measurement.between} alone"
    if measurement.kind == "clamp" and measurement.between != "PE":
        return f"current round {measurement.between} together"
    return f"{words} {measurement.between}" if measurement.kind in ("voltage", "rcd") else words


def where_of(measurement: Measurement) -> str:
    """Where the probes stand."""
    if measurement.kind == "continuity":
        return f"{measurement.at} to {measurement.between}"
    return f"{measurement.at}, {measurement.between}" if measurement.kind == "loop" else measurement.at


def steps(plant: Plant, before: State | None, after: State) -> Iterator[str]:
    """What to do, in an order in which nothing meets: off and open first, then positions, then closed and on.

    Without a state before, only what is not as usual, and the sources, are told.
    """
    moves: list[tuple[int, str]] = []
    for number, one in enumerate(plant.variables):
        value = one.values[after[number]]
        source = one.kind in ("utility", "generator", "inverter")
        same = (before or plant.usual or (-1,) * len(plant.variables))[number] == after[number]
        if same and (before is not None or not source):
            continue
        rank, words = _MOVES.get((one.kind, value), (1, f"set {one.name} to {value}"))
        if one.kind == "inverter" and value == "inverting" and "passing" not in one.values:
            words = "switch {} on"
        if words:
            moves.append((rank, words.format(one.name)))
    for _, words in sorted(moves, key=lambda move: move[0]):
        yield words


class _Writer:
    def __init__(self, site: Installation) -> None:
        self.installation = site
        self.plant = Plant(site)
        self.site = Site(self.plant)
        self.limits = ACCEPTED[site.rulebook]

    def schedule(self) -> Schedule:
        plan_ = plan(self.plant)
        asked = [(entry.state, entry.measurement) for entry in plan_.entries]
        doctor = Doctor(self.plant)
        shown = doctor.predicted((), asked)
        told = telling(doctor, asked)
        rows: list[Row] = []
        counted: dict[int, int] = {}
        for number, (entry, answer) in enumerate(zip(plan_.entries, shown, strict=True)):
            counted[entry.visit] = counted.get(entry.visit, 0) + 1
            name = f"{'D' if entry.visit == DEAD else entry.visit}.{counted[entry.visit]}"
            rows.append(self._row(name, entry, answer, told.get(number, ())))
        stops = list(self._stops(plan_.visits.visits))
        remarks = []
        if not plan_.visits.fewest:
            remarks.append("Fewer visits may do: the search for the fewest was stopped at its limit.")
        remarks += [f"No state that may be set up shows that {one.words}." for one in plan_.visits.unproved]
        site = self.installation
        return Schedule(site.name, site.rulebook, site.revision, CAUTIONS, tuple(stops), tuple(rows), tuple(remarks))

    # -- states ----------------------------------------------------------------------------------------------------

    def _stops(self, visits: Iterable[Visit]) -> Iterator[Stop]:
        yield Stop(
            DEAD,
            tuple(self.plant.told(self.plant.dead).items()),
            (),
            tuple(steps(self.plant, None, self.plant.dead)),
            ("protective conductors, insulation, links and electrodes",),
            (),
        )
        before = self.plant.dead
        for number, visit in enumerate(visits, 1):
            remarks = []
            weak = self._weak(visit.state)
            if weak:
                remarks.append(
                    f"A loop test is not valid on {' and '.join(weak)}, which limits its current: continuity (without voltage), the time"
                    " test of the RCDs and the maker's short-circuit current prove disconnection instead."
                )
            yield Stop(
                number,
                tuple(self.plant.told(visit.state).items()),
                self.plant.unusual(visit.state),
                tuple(steps(self.plant, before, visit.state)),
                tuple(one.words for one in visit.proves),
                tuple(remarks),
            )
            before = visit.state

    def _weak(self, state: State) -> list[str]:
        feeds = (self.plant.network.feeds[i] for i in self.plant.feeds(state))
        return [feed.id for feed in feeds if feed.kind == "inverter"]

    # -- rows ------------------------------------------------------------------------------------------------------

    def _row(
        self, number: str, entry: Entry, shown: Shown | Missing | None, told: tuple[tuple[Shown, str], ...]
    ) -> Row:
        measurement = entry.measurement
        kind = _KINDS[measurement.kind]
        missing = shown.reason or f"{shown.what} is not written" if isinstance(shown, Missing) else ""
        return Row(
            number,
            entry.visit,
            measurement,
            test_of(measurement),
            where_of(measurement),
            kind.instrument,
            kind.method or ("loads on" if measurement.loads else "loads off"),
            expected(measurement, shown) if isinstance(shown, Shown) else "",
            self._limit(measurement),
            "; ".join(f"{as_read(measurement, after)}: {words}" for after, words in told),
            missing,
        )

    def _limit(self, measurement: Measurement) -> str:
        if measurement.kind == "insulation":
            return f"at least {figure(self.limits.insulation_ohm / 1e6, '')}Mohm ({self.limits.insulation})"
        if measurement.kind == "rcd":
            return self._rcd_limit(measurement)
        if measurement.kind == "electrode":
            return self._electrode_limit()
        return ""

    def _rcd_limit(self, measurement: Measurement) -> str:
        device = self.site.rcds[measurement.at].device
        late = device.delay == "S"
        words = {
            "0.5 x": "no trip",
            "1 x": "130 ms to 500 ms" if late else "at most 300 ms",
            "5 x": "50 ms to 150 ms" if late else "at most 40 ms",
        }
        return f"{words[measurement.between]} ({self.limits.rcd})"

    def _electrode_limit(self) -> str:
        residual = [rcd.device.residual_a for rcd in self.site.rcds.values() if rcd.device.residual_a]
        tt = any(source.earthing == "TT" for source in self.installation.sources)
        if tt and residual:
            ohm = min(largest_earth_resistance_ohm(min(max(one, 0.006), 30.0)) for one in residual)
            return f"at most {figure(min(ohm, 200.0), 'ohm')} (411.5.3; above 200 ohm it may be unstable)"
        return ""


_MOVES: Mapping[tuple[str, str], tuple[int, str]] = {
    ("utility", "absent"): (0, "make {} dead: its main isolator open, locked and proved"),
    ("utility", "detached"): (0, "have the conductors of {} opened at the supply terminals"),
    ("utility", "present"): (4, "put {} back"),
    ("generator", "standing"): (0, "stop {} and block its start"),
    ("generator", "running"): (3, "start {}"),
    ("inverter", "off"): (0, "switch {} off"),
    ("inverter", "inverting"): (5, "let {} invert (its input without voltage)"),
    ("inverter", "passing"): (5, "let {} pass its input through"),
    ("device", "open"): (1, "open {}"),
    ("device", "closed"): (3, "close {}"),
    ("plug", "unmated"): (1, "pull the plug of {}"),
    ("plug", "mated"): (2, "put the plug of {} in"),
    ("transformer", "fed"): (6, ""),
    ("transformer", "unfed"): (6, ""),
}


def as_read(measurement: Measurement, shown: Shown) -> str:
    """What would be read, in few words."""
    if measurement.kind in TRIPS:
        no = "stays closed" if measurement.kind == "holds" else "does not trip"
        return "trips" if shown.value >= MUST_TRIP else no if shown.value <= MAY_TRIP else "may trip"
    if math.isinf(shown.value):
        return "open"
    return figure(shown.value if shown.value > FLOOR[measurement.unit] / 10 else 0.0, measurement.unit)
