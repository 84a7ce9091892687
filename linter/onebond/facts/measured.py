"""What was read at a site against what follows from its circuit, place by place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.circuit.limits_table import largest_earth_resistance_ohm, largest_loop_ohm
from onebond.facts.faults import EarthFault, Passed, trip_of
from onebond.facts.taken import Compared, MeasuredPlace, Unread
from onebond.meter.bench import Shown
from onebond.meter.diagnose import Doctor, Explanation, Measured, as_expected
from onebond.meter.measurements import Measurement, Site, test_of, where_of
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.span import Route

SURE = 0.5
"""From this probability on an explanation of the readings is taken for their common cause."""


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
            fewest = min(len(one.defects) for one in groups[0].members)
            told = [one for one in groups[0].members if len(one.defects) == fewest]
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
    read = {one.measurement.at: one.value for one in readings if one.measurement.kind == "electrode"}
    found = []
    for reading, shown, off in zip(readings, healthy.shown, healthy.off, strict=True):
        measurement = reading.measurement
        band = as_expected(measurement, shown) if isinstance(shown, Shown) else None
        rcd = site.rcds.get(measurement.at) if measurement.kind == "rcd" else None
        found.append(
            Compared(
                reading,
                test_of(measurement),
                where_of(measurement),
                band,
                shown if isinstance(shown, Missing) else None,
                off,
                largest_loop(measurement, faults) if measurement.kind == "loop" else None,
                largest_electrode(plant, measurement.at, read) if measurement.kind == "electrode" else None,
                rcd.device.delay == "S" if rcd else None,
                () if measurement.dead else plant.unusual(reading.state),
            )
        )
    return found


def largest_electrode(plant: Plant, identifier: str, read: Mapping[str, float]) -> float | None:
    """What the RCDs of a TT site allow an electrode, in ohm; None where there is no TT supply or no RCD.

    R_A is that of all electrodes at one place together: what the others carry, as read or else as written, leaves more for this one.
    Infinite where the others do alone.
    """
    residual = [rcd.device.residual_a for rcd in plant.network.rcds if rcd.device.residual_a]
    if not residual or not any(source.earthing == "TT" for source in plant.site.sources):
        return None
    most = largest_earth_resistance_ohm(min(max(*residual, 0.006), 30.0))
    places = dict(plant.network.electrodes)
    left = 1 / most
    for other in plant.site.electrodes:
        if other.id != identifier and places[other.id] == places[identifier]:
            ohm = read.get(other.id, electrode_ohm(other))
            left -= 0.0 if isinstance(ohm, Missing) or not ohm > 0 else 1 / ohm
    return 1 / left if left > 0 else math.inf


def largest_loop(measurement: Measurement, faults: Iterable[EarthFault]) -> float | None:
    """The largest loop at which overcurrent devices alone are in time, in ohm; None where an RCD, or nothing, has to be."""
    found = []
    for fault in faults:
        limit_s = fault.table_s
        if fault.point.written != measurement.at or limit_s is None or fault.system != "TN" or fault.outside:
            continue
        for fed in fault.feds:
            if fed.limited or any(passed.device.kind in ("rcd", "rcbo") for passed in fed.passed):
                continue
            amperes = [least for passed in fed.passed if (least := _least_current(passed, limit_s)) is not None]
            if amperes:
                found.append(largest_loop_ohm(fault.voltage_v, min(amperes)))
    return min(found, default=None)


def _least_current(passed: Passed, limit_s: float) -> float | None:
    """The least current at which a device is certain to operate in time, in A; None where none up to 100 kA is enough."""

    def enough(current: float) -> bool:
        answer = trip_of(passed, current)
        return not isinstance(answer, Missing) and answer.within(limit_s) == "certain"

    low, high = 0.5, 100_000.0
    if not enough(high):
        return None
    while high / low > 1.0005:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


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
