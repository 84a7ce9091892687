"""Which defect explains the readings: each that the description suggests is put into the circuit, and what meters would show is compared.

Nothing is looked up: a defect is as likely as its circuit comes near to what was read, within what the instrument and the description leave
open.  What the readings cannot tell apart stays together, and the measurement that would part it best is named with what each would show.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.meter.bench import MAY_TRIP, MUST_TRIP, Shown
from onebond.meter.defects import Defect, defects, electrode_of, joint_of, leak_of, supply_earth_of
from onebond.meter.measurements import Measurement, Site
from onebond.meter.plant import Plant
from onebond.model import LINES
from onebond.network import Network
from onebond.states import State

RELATIVE = 0.03
"""Part of a reading by which meter and model may be off together (common practice, no source: 3 %)."""

FLOOR = {"V": 0.5, "ohm": 0.02, "A": 0.005}
"""What a reading may be off near zero: what leads, contacts and the surroundings add (common practice, no source)."""

LOADED = 0.3
"""Part by which what only the loads drive (N to PE in service, currents) may be off: nobody knows what is switched on just then."""

SUPPLY = 0.1
"""Part by which the voltage of a source may be off its rated one (IEC 60038: 10 %)."""

WORST = 7.0
"""Where a reading contradicts a defect by more standard deviations than this, it counts as by this many: it may be misread."""

FITS = 3.5
"""A defect explains the readings where none is farther off than so many standard deviations."""

PRIOR = {0: 0.0, 1: -4.0, 2: -9.0}
"""Logarithm of how likely no defect, one of them or a certain two are before anything is read (common practice, no source)."""

APART = 4.0
"""Two defects can be told apart where the squares of what parts their readings, in standard deviations, come to more than this."""

TRIPS = ("rcd", "holds")
VAGUE = 1.4
"""What a reading counts of which nothing can be said, in standard deviations: a little more than one that fits, so that an explanation
that says nothing of the readings does not come before one that does."""

UNSAID = 4.0
"""The same for a reading that contradicts the site as described: more than fits, less than a contradiction."""

JOINTS_OHM, LEAKS_OHM = (0.5, 2.0, 8.0), (1.0, 50.0, 1000.0)
"""Resistances of bad joints and of faults of the insulation that are tried where no reading gives one (common practice, no source)."""

GROUPS = 8
"""So many groups are told; what is left is less likely than all of them."""

LEADING = 12
"""Pairs are made of so many of the likeliest single defects, each with all that help with what it leaves unexplained."""

MOST_PAIRS = 400
"""Most pairs that are worked out; how many are left is said."""


class Measured(NamedTuple):
    """One reading: in which state, of what, and how much; ``digit`` is the last digit of what was read, in the unit of the measurement.

    An infinite resistance is one beyond the range of the tester.  An RCD gives 1 where it tripped and 0 where it did not.
    """

    state: State
    measurement: Measurement
    value: float
    digit: float


class Explanation(NamedTuple):
    """No defect, one or two, and what they would make meters show."""

    defects: tuple[Defect, ...]
    shown: tuple[Shown | Missing | None, ...]  # one a reading
    off: tuple[float, ...]  # how far off each reading is, in standard deviations; VAGUE where nothing can be said
    likelihood: float  # logarithm, with how likely it was before

    @property
    def worst(self) -> float:
        """The reading that is farthest off, in standard deviations."""
        return max(self.off, default=0.0)

    @property
    def fits(self) -> bool:
        """Whether it explains every reading."""
        return self.worst <= FITS


class Group(NamedTuple):
    """Explanations that the readings cannot tell apart, the likeliest first."""

    members: tuple[Explanation, ...]
    probability: float

    @property
    def first(self) -> Explanation:
        return self.members[0]


class Diagnosis(NamedTuple):
    """What may be wrong, the likeliest group first."""

    healthy: Explanation
    groups: tuple[Group, ...]
    judged: int  # readings about which something can be said
    tried: int  # explanations that were worked out
    pairs_left: int  # pairs of defects that were not

    @property
    def explained(self) -> bool:
        """Whether anything explains all readings."""
        return bool(self.groups) and self.groups[0].first.fits


def read_as(measurement: Measurement, shown: Shown) -> float:
    """The value of a reading where that is shown first: an RCD trips (1) or not (0)."""
    return float(shown.value >= MUST_TRIP) if measurement.kind in TRIPS else shown.value


def deviation(measurement: Measurement, shown: float, slack: float = 0.0) -> float:
    """Standard deviation of a reading where that is shown, in the unit of the measurement."""
    floor = FLOOR.get(measurement.unit, 0.05)
    return math.hypot(RELATIVE * shown, floor, slack, _by_load(measurement, shown))


def _by_load(measurement: Measurement, shown: float) -> float:
    """What a reading is off by because nobody knows what is switched on just then, in the unit of the measurement."""
    if measurement.kind == "clamp":
        return LOADED * shown
    return LOADED * min(shown, 10.0) if measurement.kind == "voltage" and measurement.between == "N-PE" else 0.0


def distance(measurement: Measurement, shown: Shown, value: float, digit: float, scale: float = 1.0) -> float:
    """How far a reading is from what is shown, in standard deviations; none inside what the description leaves open.

    A reading stands for all that rounds to it: ``digit`` is the last digit of it.
    """
    if shown.others:
        return min(distance(measurement, way, value, digit, scale) for way in shown.ways)
    if measurement.kind in TRIPS:
        # between half the rated residual current and all of it either may happen (IEC 61008-1)
        return 0.0 if MAY_TRIP < shown.value < MUST_TRIP or (shown.value >= MUST_TRIP) == bool(value) else WORST
    low, high = shown.low * scale, shown.high * scale
    if math.isinf(value) or math.isinf(low):
        return 0.0 if math.isinf(value) and math.isinf(high) else WORST
    beyond = max(low - value, value - high, 0.0)
    return min(max(beyond - digit / 2, 0.0) / deviation(measurement, min(max(value, low), high), shown.slack), WORST)


def as_expected(measurement: Measurement, shown: Shown) -> tuple[float, float]:
    """The band in which a healthy reading lies: what the description leaves open, and what meter and model may be off together."""
    if shown.others:
        bands = [as_expected(measurement, way) for way in shown.ways]
        return min(low for low, _ in bands), max(high for _, high in bands)
    floor = FLOOR.get(measurement.unit, 0.0)
    if measurement.unit == "V" and measurement.between != "N-PE":
        loose = 2 * shown.slack + floor
        return max(0.0, shown.low * (1 - SUPPLY) - loose), shown.high * (1 + SUPPLY) + loose
    if measurement.kind == "electrode":
        return shown.low * 0.5, shown.high * 1.5

    def off(end: float) -> float:
        return (
            2 * math.hypot(RELATIVE * end, shown.slack, _by_load(measurement, end)) + floor if end < math.inf else 0.0
        )

    return max(0.0, shown.low - off(shown.low)), shown.high + off(shown.high)


class Doctor:
    """Explains readings of one site; what was worked out for one set of them serves the next."""

    def __init__(self, plant: Plant, meter: str = "digital") -> None:
        self.plant = plant
        self.meter = meter
        self.known: tuple[Defect, ...] = defects(plant.network)
        self._sites: dict[tuple[str, ...], Site] = {}
        self._shown: dict[tuple[tuple[str, ...], State, Measurement], Shown | Missing | None] = {}

    # -- what would be shown ---------------------------------------------------------------------------------------

    def site(self, defects: tuple[Defect, ...]) -> Site:
        """The site with some defects."""
        names = tuple(defect.name for defect in defects)
        if names not in self._sites:
            network: Network = self.plant.network
            for defect in defects:
                network = defect.change(network)
            self._sites[names] = Site(Plant(network.installation, network))
        return self._sites[names]

    def predicted(
        self, defects: tuple[Defect, ...], asked: Sequence[tuple[State, Measurement]]
    ) -> tuple[Shown | Missing | None, ...]:
        """What meters show with some defects, one answer a question; None where a conductor is not there."""
        names = tuple(defect.name for defect in defects)
        waiting: dict[State, list[Measurement]] = {}
        for state, measurement in asked:
            if (names, state, measurement) not in self._shown:
                waiting.setdefault(state, []).append(measurement)
        for state, measures in waiting.items():
            shown = self.site(defects).shown(state, measures, self.meter)
            for measurement in measures:
                self._shown[names, state, measurement] = shown.get(measurement)
        return tuple(self._shown[names, state, measurement] for state, measurement in asked)

    # -- how well it fits ------------------------------------------------------------------------------------------

    def explanation(
        self, defects: tuple[Defect, ...], readings: Sequence[Measured], healthy: Explanation | None = None
    ) -> Explanation:
        """How well some defects explain readings, beside how well the site as described does."""
        shown = self.predicted(defects, [(one.state, one.measurement) for one in readings])
        as_described = healthy.off if healthy else (0.0,) * len(readings)
        scales = _scales(readings, shown)
        shown = _fallen(readings, shown, scales)
        off = tuple(
            _off(one, answer, scales)
            if isinstance(answer, Shown)
            # what contradicts the site as described is not explained by a defect that says nothing of it
            else (UNSAID if before > FITS else VAGUE)
            for one, answer, before in zip(readings, shown, as_described, strict=True)
        )
        return Explanation(defects, shown, off, PRIOR[len(defects)] - sum(part * part for part in off) / 2)

    def diagnose(self, readings: Sequence[Measured], pairs: bool = True) -> Diagnosis:
        """What explains the readings: nothing, one defect, and two where one does not."""
        healthy = self.explanation((), readings)
        known = (*self.known, *self._electrodes(healthy, readings))
        singles = [self.explanation((defect,), readings, healthy) for defect in known]
        if not any(one.fits for one in (healthy, *singles)):
            singles += [self.explanation((defect,), readings, healthy) for defect in self._fitted(healthy, readings)]
        found = [healthy, *singles]
        left = 0
        if pairs and not any(one.fits for one in found):
            more, left = self._pairs(healthy, singles, readings)
            found += more
        judged = sum(isinstance(answer, Shown) for answer in healthy.shown)
        groups = sorted(_groups(found, readings), key=lambda group: -group.probability)
        return Diagnosis(healthy, tuple(groups), judged, len(found), left)

    def _electrodes(self, healthy: Explanation, readings: Sequence[Measured]) -> Iterator[Defect]:
        """Electrodes of the resistance that readings give them which contradict the description: their own, else that of loops.

        A loop of a TT supply passes the supplier's earth too, which nobody at the site measures.
        """
        own: dict[str, list[float]] = {}
        beyond: list[float] = []  # what loops have more than is described
        for one, shown, off in zip(readings, healthy.shown, healthy.off, strict=True):
            if off <= FITS or not isinstance(shown, Shown) or math.isinf(one.value) or one.value <= 0:
                continue
            if one.measurement.kind == "electrode":
                own.setdefault(one.measurement.at, []).append(one.value)
            elif one.measurement.kind == "loop" and shown.value < one.value:
                beyond.append(one.value - shown.value)
        more = sorted(beyond)[len(beyond) // 2 :][:1]
        for electrode in self.plant.site.electrodes:
            described = electrode_ohm(electrode)
            by_loop = [] if isinstance(described, Missing) else [described + ohm for ohm in more]
            for ohm in own.get(electrode.id, by_loop):
                yield electrode_of(electrode, ohm)
        for source in self.plant.site.sources:
            if source.kind == "utility" and source.earthing == "TT":
                for ohm in more:
                    yield supply_earth_of(source, ohm)

    def _fitted(self, healthy: Explanation, readings: Sequence[Measured]) -> Iterator[Defect]:
        """Bad joints and faults of the insulation, of the resistance that a reading gives them, else of some usual ones."""
        site, network = self.plant.site, self.plant.network
        more: list[float] = []  # what resistances are above what is described
        across: list[float] = []  # what is found where nothing should join N and PE
        beside: list[float] = []
        for one, shown, off in zip(readings, healthy.shown, healthy.off, strict=True):
            if off > FITS and isinstance(shown, Shown) and one.measurement.unit == "ohm" and math.isfinite(one.value):
                if one.measurement.kind == "tie" and math.isinf(shown.high):
                    across.append(one.value)
                    # beside what else joins the two
                    beside.append(1 / (1 / one.value - 1 / shown.low) if 0 < one.value < shown.low else one.value)
                elif one.value > shown.value and one.measurement.kind != "electrode":
                    more.append(one.value - shown.value)
        for link in self.plant.links.values():
            for core in link.cores:
                for ohm in _middle(more) or JOINTS_OHM:
                    yield joint_of(link.id, core, ohm, link.route)
        places = [(board.id, board.route) for board in site.boards]
        places += [(circuit.id, circuit.route) for circuit in site.circuits]
        for place, route in places:
            for conductor in ("N", *LINES):
                for ohm in dict.fromkeys((*_middle(across), *_middle(beside))) or LEAKS_OHM:
                    leak = leak_of(network, place, conductor, ohm, route)
                    if leak is not None:
                        yield leak

    def _pairs(
        self, healthy: Explanation, singles: Sequence[Explanation], readings: Sequence[Measured]
    ) -> tuple[list[Explanation], int]:
        """The likeliest pairs: the second defect has to help with a reading that the first does not explain."""
        order = sorted(singles, key=lambda one: -one.likelihood)
        found: list[Explanation] = []
        seen: set[frozenset[str]] = set()
        for first in order[:LEADING]:
            left = [number for number, off in enumerate(first.off) if off > FITS]
            for second in singles:
                name = frozenset((first.defects[0].name, second.defects[0].name))
                helps = any(second.off[number] < healthy.off[number] for number in left)
                if len(name) == 2 and name not in seen and helps and len(found) < MOST_PAIRS:
                    seen.add(name)
                    found.append(self.explanation((*first.defects, *second.defects), readings, healthy))
        every = len(singles) * (len(singles) - 1) // 2
        return found, every - len(found)

    # -- what to measure next --------------------------------------------------------------------------------------

    def told_apart(
        self, groups: Sequence[Group], questions: Iterable[tuple[State, Measurement]]
    ) -> Iterator[tuple[float, State, Measurement, tuple[Shown | Missing | None, ...]]]:
        """How much each question would tell (in bits), and what each group would show."""
        asked = list(questions)
        answers = [self.predicted(group.first.defects, asked) for group in groups]
        total = sum(group.probability for group in groups) or 1.0
        for number, (state, measurement) in enumerate(asked):
            shown = tuple(answer[number] for answer in answers)
            bins: list[tuple[Shown, float]] = []
            open_share = 0.0
            for group, answer in zip(groups, shown, strict=True):
                share = group.probability / total
                if not isinstance(answer, Shown):
                    open_share += share
                    continue
                for at, (like, sum_) in enumerate(bins):
                    if _alike(measurement, like, answer):
                        bins[at] = (like, sum_ + share)
                        break
                else:
                    bins.append((answer, share))
            if open_share or len(bins) < 2:
                continue
            yield -sum(share * math.log2(share) for _, share in bins if share), state, measurement, shown


def _middle(values: list[float]) -> tuple[float, ...]:
    """The middle one of some values; nothing without any."""
    return (sorted(values)[len(values) // 2],) if values else ()


def _scales(readings: Sequence[Measured], shown: Sequence[Shown | Missing | None]) -> dict[State, float]:
    """By how much the voltage of the source is off its rated one in each state: the middle of what the lines show."""
    found: dict[State, list[float]] = {}
    for one, answer in zip(readings, shown, strict=True):
        solid = (
            isinstance(answer, Shown)
            and not answer.others
            and answer.value > 50
            and answer.high - answer.low < RELATIVE * answer.value
        )
        if one.measurement.kind == "voltage" and solid and one.value > 0:
            assert isinstance(answer, Shown)
            found.setdefault(one.state, []).append(one.value / answer.value)
    return {
        state: min(max(sorted(ratios)[len(ratios) // 2], 1 - SUPPLY), 1 + SUPPLY) for state, ratios in found.items()
    }


def _off(one: Measured, shown: Shown, scales: dict[State, float]) -> float:
    """How far a reading is from what is shown, in standard deviations; the voltage of the source may be off its rated one."""
    scale = scales.get(one.state, 1.0) if one.measurement.unit == "V" else 1.0
    return distance(one.measurement, shown, one.value, one.digit, scale)


def _fallen(
    readings: Sequence[Measured], shown: Sequence[Shown | Missing | None], scales: dict[State, float]
) -> tuple[Shown | Missing | None, ...]:
    """What is shown where a broken site has fallen into one state: all that is read in a state of the switches is read in the same.

    Of the states that it may fall into, the one to which the readings come nearest is taken.
    """
    found = list(shown)
    open_ways: dict[State, list[int]] = {}
    for number, answer in enumerate(shown):
        if isinstance(answer, Shown) and answer.falls:
            open_ways.setdefault(readings[number].state, []).append(number)
    for numbers in open_ways.values():
        asked = [(readings[number], answer) for number in numbers if isinstance(answer := shown[number], Shown)]
        states = dict.fromkeys(state for _, answer in asked for falls in answer.falls for state in falls)
        nearest = min(states, key=lambda now: sum(_off(one, answer.fallen(now), scales) ** 2 for one, answer in asked))
        for number, (_, answer) in zip(numbers, asked, strict=True):
            found[number] = answer.fallen(nearest)
    return tuple(found)


def parted(measurement: Measurement, one: Shown, other: Shown) -> tuple[float, float]:
    """How far off one is where the other is read, and the other way round, in standard deviations: the lesser first."""
    return min(
        (
            (min(here, there), max(here, there))
            for a in one.ways
            for b in other.ways
            for here in (distance(measurement, a, read_as(measurement, b), 0.0),)
            for there in (distance(measurement, b, read_as(measurement, a), 0.0),)
        ),
        key=lambda both: both[1],
    )


def _alike(measurement: Measurement, one: Shown, other: Shown) -> bool:
    """Whether a reading that one of the two shows may well be shown by the other."""
    return parted(measurement, one, other)[1] < 3.0


def _apart(readings: Sequence[Measured], one: Explanation, other: Explanation) -> float:
    """What parts the readings of two explanations, in squares of standard deviations."""
    total = 0.0
    for reading, a, b, off_a, off_b in zip(readings, one.shown, other.shown, one.off, other.off, strict=True):
        if not isinstance(a, Shown) or not isinstance(b, Shown):
            total += (
                off_a - off_b
            ) ** 2  # nothing can be said of one of the two: what contradicts the other parts them
            continue
        # each stands there with what of it comes nearest to what was read: a reading that contradicts one of them parts them too
        judged = off_a - off_b if max(off_a, off_b) > FITS else 0.0
        total += max(abs(judged), 0.0 if a.others or b.others else _gap(reading, a, b)) ** 2
    return total


def _gap(reading: Measured, a: Shown, b: Shown) -> float:
    """What parts two answers, in standard deviations; infinite where one is open and the other is not."""
    measurement = reading.measurement
    if measurement.kind in TRIPS:
        parted = min(a.value, b.value) <= MAY_TRIP and max(a.value, b.value) >= MUST_TRIP
        return WORST if parted else 0.0
    if math.isinf(a.high) and math.isinf(b.high):
        return 0.0
    if math.isinf(a.low) or math.isinf(b.low):
        return math.inf
    gap = max(a.low - b.high, b.low - a.high, 0.0)
    return gap / math.hypot(deviation(measurement, min(a.value, b.value), max(a.slack, b.slack)), reading.digit)


def _groups(found: Sequence[Explanation], readings: Sequence[Measured]) -> Iterator[Group]:
    """What the readings cannot tell apart, beginning with the likeliest single explanation."""
    order = sorted(found, key=lambda one: (-one.likelihood, len(one.defects), [defect.name for defect in one.defects]))
    best = order[0].likelihood if order else 0.0
    total = sum(math.exp(one.likelihood - best) for one in order) or 1.0
    shown = 0
    while order and shown < GROUPS:
        shown += 1
        leader = order[0]
        alike = [one for one in order if one is leader or _apart(readings, leader, one) < APART]
        order = [one for one in order if not any(one is other for other in alike)]
        alike.sort(key=lambda one: (not one.fits, len(one.defects)))
        yield Group(tuple(alike), sum(math.exp(one.likelihood - best) for one in alike) / total)
