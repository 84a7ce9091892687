"""What explains the readings of a site, and what to measure next, as plain data for reports."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from onebond.circuit.impedances import Missing
from onebond.meter.bench import Shown
from onebond.meter.diagnose import FITS, Diagnosis, Doctor, Explanation, Group, Measured
from onebond.meter.measurements import Measurement, Site, live_cores, test_of, where_of
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.schedule import as_a_line, as_read, expected, positions, steps
from onebond.states import State

TOLD = 5
"""So many groups of explanations are told."""

LEAST = 0.01
"""A group that is less likely than this is not told."""

RIVALS = 10
"""So many explanations are parted by the next measurement."""

NEARLY = 0.98
"""From this probability on nothing more needs to be measured to tell the explanations apart."""


NEAR = 0.8
"""A measurement that tells this part of what the best one does is taken before it where the state for it is there already."""


AS_DESCRIBED = ("no defect: as described",)
BUT_FOR_THAT = ("the circuit is as described; left is what is not accepted",)
"""The same where the rulebook does not accept one of the readings: a slow device is a defect, though not one of the circuit."""


SAFER = 0.25
"""Where frames may be live, one that tells this part of it and puts no supply back is taken before one that does."""


def _at(test: str, where: str) -> str:
    """A test and its place; continuity is measured from one place to another."""
    return f"{test} {'from' if ' to ' in where else 'at'} {where}"


class Compared(NamedTuple):
    """One reading beside what is expected of the site as described and under an explanation."""

    test: str
    where: str
    state: tuple[tuple[str, str], ...]  # what differs from the usual state
    read: str
    expected: str
    explained: str
    off: float  # of the explanation, in standard deviations
    line: int

    @property
    def measured(self) -> str:
        """The test and where it is done."""
        return _at(self.test, self.where)


class Told(NamedTuple):
    """Explanations that cannot be told apart: each one or two defects in words, or none."""

    probability: float
    explanations: tuple[tuple[str, ...], ...]
    fits: bool
    compared: tuple[Compared, ...]  # the readings that speak for or against it
    open: tuple[tuple[str, ...], ...] = ()  # beside no defect: single defects that these readings do not exclude


class Next(NamedTuple):
    """The measurement that tells most, and what it shows under each of the explanations."""

    test: str
    where: str
    steps: tuple[str, ...]
    state: tuple[tuple[str, str], ...]
    shows: tuple[tuple[str, str], ...]  # explanation, value
    bits: float

    @property
    def measured(self) -> str:
        """The test and where it is done."""
        return _at(self.test, self.where)


class Outcome(NamedTuple):
    """The answer to a set of readings."""

    site: str
    revision: str | None
    taken: str
    readings: int
    judged: int
    states: int
    left_out: tuple[str, ...]  # readings of which the circuit says nothing, and why
    explained: bool
    healthy: bool  # no defect is the likeliest explanation, and it fits
    told: tuple[Told, ...]
    next: Next | None
    tried: int
    pairs_left: int
    not_accepted: tuple[str, ...] = ()  # readings beyond what the rulebook accepts, where nothing else is wrong


def diagnose(plant: Plant, readings: Readings) -> Outcome:
    """What explains readings: the likeliest first."""
    doctor = Doctor(plant, readings.voltmeter)
    measured = [Measured(one.state, one.measurement, one.value, one.digit) for one in readings.readings]
    found = doctor.diagnose(measured)
    groups = [group for group in found.groups[:TOLD] if group.probability >= LEAST] or list(found.groups[:1])
    return Outcome(
        plant.site.name,
        plant.site.revision,
        readings.taken,
        len(measured),
        found.judged,
        len({one.state for one in measured}),
        tuple(_left_out(readings.readings, found.healthy)),
        found.explained,
        found.explained and not found.groups[0].first.defects,
        tuple(_told(plant, group, found, readings.readings) for group in groups if found.judged),
        _next(doctor, plant, groups, measured),
        found.tried,
        found.pairs_left,
    )


def but(outcome: Outcome, not_accepted: tuple[str, ...]) -> Outcome:
    """An outcome with readings beside it that fit the circuit, or of which it says nothing, and that the rulebook does not accept."""
    if not not_accepted:
        return outcome
    told = tuple(
        one._replace(explanations=tuple(BUT_FOR_THAT if words == AS_DESCRIBED else words for words in one.explanations))
        for one in outcome.told
    )
    following = outcome.next
    if following is not None:
        shows = ((BUT_FOR_THAT[0] if words == AS_DESCRIBED[0] else words, value) for words, value in following.shows)
        following = following._replace(shows=tuple(shows))
    return outcome._replace(told=told, next=following, not_accepted=not_accepted)


def _left_out(readings: tuple[Reading, ...], healthy: Explanation) -> Iterator[str]:
    """The readings that are not compared with the circuit."""
    for reading, shown in zip(readings, healthy.shown, strict=True):
        if not isinstance(shown, Shown):
            what = f"{_at(test_of(reading.measurement), where_of(reading.measurement))}: read {reading.written}"
            if isinstance(shown, Missing):
                why = shown.reason or f"{shown.what} is not written"
            elif reading.measurement.kind == "insulation":
                why = "no circuit says what insulation has; `inspect` judges it"
            else:
                why = "there is no such conductor in the circuit"
            yield f"{what}: {why}"


def _words(explanation: Explanation) -> tuple[str, ...]:
    return tuple(defect.words for defect in explanation.defects) or AS_DESCRIBED


def _told(plant: Plant, group: Group, found: Diagnosis, readings: tuple[Reading, ...]) -> Told:
    first = group.first
    return Told(
        group.probability,
        tuple(map(_words, _fewest(group))),
        first.fits,
        tuple(_compared(plant, first, found.healthy, readings)),
        () if first.defects else tuple(_words(one) for one in group.members if len(one.defects) == 1 and one.fits),
    )


def _compared(
    plant: Plant, explanation: Explanation, healthy: Explanation, readings: tuple[Reading, ...]
) -> list[Compared]:
    """The readings that the site as described does not explain, or that this explanation does not."""
    rows = []
    for reading, before, after, off_before, off_after in zip(
        readings, healthy.shown, explanation.shown, healthy.off, explanation.off, strict=True
    ):
        if max(off_before, off_after) <= FITS or not isinstance(before, Shown) or not isinstance(after, Shown):
            continue
        rows.append(
            Compared(
                test_of(reading.measurement),
                where_of(reading.measurement),
                () if reading.measurement.dead else plant.unusual(reading.state),
                reading.written,
                expected(reading.measurement, before),
                as_read(reading.measurement, after),
                off_after,
                0,
            )
        )
    return rows


def _next(doctor: Doctor, plant: Plant, groups: list[Group], measured: list[Measured]) -> Next | None:
    """The measurement that parts the leading explanations best; None where one of them is all but certain.

    Where the site reads as described, the defects that would read the same are what is left to be parted, by what of the schedule
    nobody has measured yet.
    """
    if groups and not groups[0].first.defects:
        alike = [one for one in groups[0].members if len(one.defects) < 2 and one.fits][:RIVALS]
        rivals = [Group((one,), 1 / len(alike)) for one in alike]
    else:
        rivals = [Group((one,), share) for group in groups for one, share in _shares(group)][:RIVALS]
    if len(rivals) < 2 or rivals[0].probability >= NEARLY:
        return None
    done = {(one.state, one.measurement) for one in measured}
    visited = {one.state for one in measured}
    questions = _questions(plant, done) if groups[0].first.defects else _scheduled(plant, done)
    found = list(doctor.told_apart(rivals, questions))
    if not found:
        return None
    most = max(bits for bits, *_ in found)
    if any(_bares_frames(rival) for rival in rivals):
        energised = frozenset(_feeds(plant, measured[-1]) if measured else ())
        quiet = [
            one
            for one in found
            if one[0] >= SAFER * most and (one[2].dead or energised.issuperset(plant.feeds(one[1])))
        ]
        found = quiet or found
    enough = NEAR * max(bits for bits, *_ in found)
    bits, state, measurement, answers = max(
        (one for one in found if one[0] >= enough),
        # where the person stands already, before what has to be set up; of these what tells most
        key=lambda one: (one[1] in visited and not one[2].dead, one[2].dead and plant.dead in visited, one[0]),
    )
    return Next(
        test_of(measurement),
        where_of(measurement),
        # from where the person stood last
        (*steps(plant, measured[-1].state if measured else None, state), as_a_line(positions(plant, state))),
        () if measurement.dead else plant.unusual(state),
        tuple(
            (" and ".join(_words(rival.first)), as_read(measurement, answer))
            for rival, answer in zip(rivals, answers, strict=True)
            if isinstance(answer, Shown)
        ),
        bits,
    )


def _feeds(plant: Plant, one: Measured) -> tuple[int, ...]:
    """What energised the site when a reading was taken."""
    return () if one.measurement.dead else plant.feeds(one.state)


def _bares_frames(rival: Group) -> bool:
    """Whether frames may be live or without protection: a protective conductor is open, crossed or touched, or a bond is open."""
    return any(
        one.kind in ("bond-open", "electrode-open", "leak")
        or (one.kind in ("core-open", "crossed", "joint") and "PE" in one.detail)
        for one in rival.first.defects
    )


def _fewest(group: Group) -> list[Explanation]:
    """The explanations of a group with the fewest defects."""
    fewest = min(len(one.defects) for one in group.members)
    kept = [one for one in group.members if len(one.defects) == fewest]
    # an electrode of the resistance that was read says all that one far too high does
    fitted = {one.element for each in kept for one in each.defects if one.kind == "electrode-other"}
    return [
        each for each in kept if not any(one.kind == "electrode-high" and one.element in fitted for one in each.defects)
    ]


def _shares(group: Group) -> list[tuple[Explanation, float]]:
    """The explanations of a group with the fewest defects, and an equal part of its probability for each."""
    kept = _fewest(group)
    return [(one, group.probability / len(kept)) for one in kept]


def _scheduled(plant: Plant, done: set[tuple[State, Measurement]]) -> list[tuple[State, Measurement]]:
    """What of the schedule is not measured."""
    asked = [
        (entry.state, entry.measurement) for entry in plan(plant).entries if entry.measurement.kind != "insulation"
    ]
    return [one for one in asked if one not in done]


def _questions(plant: Plant, done: set[tuple[State, Measurement]]) -> list[tuple[State, Measurement]]:
    """What else could be measured: the schedule, and at every place and cable what it leaves out because it is seldom needed."""
    planned = plan(plant)
    site = Site(plant)
    found = [(entry.state, entry.measurement) for entry in planned.entries if entry.measurement.kind != "insulation"]
    places = [*(board.id for board in plant.site.boards), *(circuit.id for circuit in plant.site.circuits)]
    places += [f"{source.id}.in" for source in plant.site.sources if source.mains_input]
    for visit in planned.visits.visits:
        for rcd in site.rcds:
            found += [(visit.state, Measurement("holds", rcd, circuit.id)) for circuit in plant.site.circuits]
        for loads in (False, True):
            found += [(visit.state, one) for place in places for one in site.voltages(place, loads)]
        for link in site.links.values():
            for cores in ("PE" if "PE" in link.cores else "", live_cores(link)):
                if cores and link.length_m is not None:
                    found.append((visit.state, Measurement("clamp", link.id, cores)))
    found += [(plant.dead, Measurement("tie", place, "N-PE")) for place in places]
    return [one for one in dict.fromkeys(found) if one not in done]
