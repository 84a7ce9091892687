"""What was read at a site against what follows from its circuit, place by place."""

from __future__ import annotations

from collections.abc import Sequence

from onebond.circuit.impedances import Missing
from onebond.facts.allowed import ElectrodeAt, by_place, loop_at
from onebond.facts.faults import EarthFault
from onebond.facts.taken import HOLDS_AT, Compared, MeasuredPlace, Unread
from onebond.meter.bench import Shown
from onebond.meter.diagnose import RELATIVE, Doctor, Explanation, Measured, as_expected
from onebond.meter.measurements import Measurement, Site, test_of, where_of
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.model import Source
from onebond.network import Feed
from onebond.span import Route
from onebond.states import State, reach

SURE = 0.5
"""From this probability on an explanation of the readings is taken for their common cause."""

LIVE_V = 50.0
"""What is expected above this is the voltage of a source, and no stray (common practice, no source)."""


def measured(readings: Readings, plant: Plant, faults: Sequence[EarthFault]) -> tuple[MeasuredPlace, ...]:
    """The readings by place, with what explains those that contradict."""
    doctor = Doctor(plant, readings.voltmeter)
    asked = [Measured(one.state, one.measurement, one.value, one.digit) for one in readings.readings]
    healthy = doctor.explanation((), asked)
    compared = _compared(readings.readings, healthy, plant, faults)
    explained: tuple[str, ...] = ()
    probability = 0.0
    if any(one.contradicts for one in compared):
        groups = doctor.diagnose(asked).groups
        first = groups[0].first
        if first.defects and first.fits:
            # beside them may stand the site as described, or a defect, that is nearly as likely and does not fit
            told = [one for one in groups[0].members if one.fits]
            explained = tuple(" and ".join(defect.words for defect in one.defects) for one in told)
            probability = groups[0].probability
    places: dict[str, list[Compared]] = {}
    for one in compared:
        places.setdefault(_id_of(one.reading.measurement), []).append(one)
    worst = max(compared, key=lambda one: one.off, default=None)
    root = _id_of(worst.reading.measurement) if worst and worst.contradicts and probability >= SURE else ""
    return tuple(
        MeasuredPlace(
            place,
            max(ones, key=lambda one: one.off).reading.route,
            None,
            tuple(ones),
            explained,
            probability,
            root if place != root and any(one.contradicts for one in ones) else "",
        )
        for place, ones in places.items()
    )


def _id_of(measurement: Measurement) -> str:
    """The object that a reading is about; of an RCD without an id its cable, of a terminal its equipment."""
    return measurement.at.partition("/")[0].partition(".")[0]


def _compared(
    readings: Sequence[Reading], healthy: Explanation, plant: Plant, faults: Sequence[EarthFault]
) -> list[Compared]:
    site = Site(plant)
    read = {one.measurement.at: one.value for one in readings}  # of electrodes among others: no two things have one id
    places = by_place(faults)
    bands = [
        as_expected(one.measurement, shown) if isinstance(shown, Shown) else None
        for one, shown in zip(readings, healthy.shown, strict=True)
    ]
    outside = [_outside(reading, band) for reading, band in zip(readings, bands, strict=True)]
    supplies = _supplies(site, readings, healthy.shown, outside)
    found = []
    for number, (reading, shown, off) in enumerate(zip(readings, healthy.shown, healthy.off, strict=True)):
        measurement = reading.measurement
        rcd = site.rcds.get(measurement.at) if measurement.kind == "rcd" else None
        # from whichever side the tester stands, an RCD that does what it is made for contradicts nothing
        acts = rcd is not None and bool(reading.value) == (measurement.between != HOLDS_AT)
        loop = None
        if measurement.kind == "loop":
            cold_ohm = shown.value if isinstance(shown, Shown) and not shown.others else None
            line = measurement.between.partition("-")[0]
            loop = loop_at(places, measurement.at, line, plant.told(reading.state), cold_ohm)
        found.append(
            Compared(
                reading,
                test_of(measurement),
                where_of(measurement),
                bands[number],
                shown if isinstance(shown, Missing) else None,
                0.0 if acts else off,
                loop,
                ElectrodeAt(measurement.at, plant.site, faults, read) if measurement.kind == "electrode" else None,
                rcd.device if rcd else None,
                outside[number],
                supplies[number],
                () if measurement.dead else plant.unusual(reading.state),
            )
        )
    return found


def _outside(reading: Reading, band: tuple[float, float] | None) -> str:
    """On which side of its band, as it is printed in whole volts, a voltage of a line lies: "low", "high" or ''."""
    if band is None or reading.measurement.kind != "voltage" or reading.measurement.between == "N-PE":
        return ""
    low, high = (float(f"{end:.{1 if 0.05 <= end < 9.95 else 0}f}") for end in band)
    half = reading.digit / 2  # it stands for all that rounds to it
    if reading.value + half < min(low, band[0]):
        return "low"
    return "high" if reading.value - half > max(high, band[1]) else ""


def _supplies(
    site: Site, readings: Sequence[Reading], shown: Sequence[Shown | Missing | None], outside: Sequence[str]
) -> list[tuple[Source, ...]]:
    """For each voltage outside its band the sources that feed it, where all that was read of them in that state is off alike."""
    feeds: dict[State, list[tuple[int, Feed]]] = {}
    groups: dict[tuple[State, tuple[str, ...]], tuple[tuple[Source, ...], list[tuple[int, float]]]] = {}
    for number, (reading, answer) in enumerate(zip(readings, shown, strict=True)):
        measurement, state = reading.measurement, reading.state
        if measurement.kind != "voltage" or measurement.between == "N-PE" or not isinstance(answer, Shown):
            continue
        if answer.others or not answer.value > LIVE_V:
            continue
        if state not in feeds:
            network = site.network
            live = [network.feeds[one] for one in site.plant.feeds(state)]
            feeds[state] = [(reach(network, state, feed.lines), feed) for feed in live]
        node = site.node(measurement.at, measurement.between.partition("-")[0])
        feeding = [feed for nodes, feed in feeds[state] if nodes >> node & 1]
        key = state, tuple(feed.id for feed in feeding)
        sources = tuple(source for feed in feeding for source in feed.sources)
        groups.setdefault(key, (sources, []))[1].append((number, reading.value / answer.value))
    found: list[tuple[Source, ...]] = [() for _ in readings]
    for sources, members in groups.values():
        ratios = [ratio for _, ratio in members]
        # so none of them is low where another one is high: that is 10 % either way
        if max(ratios) - min(ratios) <= 2 * RELATIVE:
            for number, _ in members:
                found[number] = sources if outside[number] else ()
    return found


def unread(readings: Readings, plant: Plant) -> tuple[Unread, ...]:
    """What the schedule asks for and nobody has read, place by place."""
    done = {(one.measurement.kind, one.measurement.at, one.measurement.between) for one in readings.readings}
    places: dict[str, dict[str, None]] = {}
    routes = _routes(plant)
    for entry in plan(plant).entries:
        measurement = entry.measurement
        if (measurement.kind, measurement.at, measurement.between) not in done:
            places.setdefault(_id_of(measurement), {})[test_of(measurement)] = None
    return tuple(Unread(place, routes.get(place, ()), None, tuple(tests)) for place, tests in places.items())


def _routes(plant: Plant) -> dict[str, Route]:
    site = plant.site
    parts = (site.sources, site.boards, site.changeovers, site.connections, site.circuits, site.electrodes)
    found: dict[str, Route] = {one.id: one.route for kind in parts for one in kind}
    for link in plant.links.values():
        found.update({device.id: device.route for device in link.devices if device.id})
    return found
