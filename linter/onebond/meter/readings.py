"""What somebody has read at a site, as typed parts; no file and no text here."""

from __future__ import annotations

from typing import NamedTuple

from onebond.meter.measurements import Measurement
from onebond.span import Route
from onebond.states import State


class Reading(NamedTuple):
    """One value that was read, and what it was read of.

    ``value`` and ``digit`` (the last digit that was written) are in the unit of the measurement; an infinite resistance is one beyond the
    range of the tester.  For the time test of an RCD and for whether it holds, ``value`` is 1 where it tripped and 0 where it did not,
    and ``time_s`` is its time.
    """

    measurement: Measurement
    state: State
    value: float
    digit: float
    written: str
    route: Route
    taken: str
    time_s: float | None = None


class Readings(NamedTuple):
    """All readings of one file that could be understood."""

    installation: str
    revision: str | None
    taken: str
    voltmeter: str  # of the kinds that `meter_ohm` knows
    readings: tuple[Reading, ...]
