"""What rules may ask about readings; only names here, so that a hook without readings does not wait for what compares them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from onebond.model import Device, Source
from onebond.span import Route, Span

if TYPE_CHECKING:
    from onebond.circuit.impedances import Missing
    from onebond.facts.allowed import ElectrodeAt, LoopAt
    from onebond.meter.readings import Reading
    from onebond.result import Level

FITS = 3.5
"""A reading contradicts what is expected where it is farther off than so many standard deviations."""

HOLDS_AT = "0.5 x"
"""The multiple of its rated residual current at which an RCD has to hold."""


def trip_times(times: str, device: Device, params: Mapping[str, Any]) -> tuple[float, float] | None:
    """From when to when an RCD has to trip, in s, at `times` its rated residual current; None: it has to hold there.

    The end is infinite where it has to trip, and the rulebook says nothing of the time.  `params` are those of
    `reading-contradicts-design`.
    """
    if times == HOLDS_AT:
        return None
    if device.residual_a is not None and not device.residual_a <= params["timed-to-a"]:
        return 0.0, math.inf
    least, most = params[f"{'selective' if device.delay == 'S' else 'general'}-{times[0]}-s"]
    return least, most


class LoopLimit(NamedTuple):
    """What a loop that is measured on cold conductors may have, and what that rests on."""

    most_ohm: float | None  # None: no overcurrent device has to open on a fault
    by: str  # the device that opens; where none has to, why
    within_s: float = 0.0
    design_ohm: float = 0.0  # with which the device opens in time, conductors as warm as they become
    part: float = 1.0  # of it that is left for a reading
    warm_ohm: float = 0.0  # what the conductors of this place have more when they are warm, where that was worked out


class ElectrodeLimit(NamedTuple):
    """What an electrode may have, alone, and what that rests on."""

    most_ohm: float  # infinite: those beside it are enough
    all_ohm: float  # what it may have together with those that conductors join to it
    by: str  # the residual current device that guards a frame
    at: str  # that frame
    residual_a: float
    limit_v: float  # that the frame may have at that current
    beside: tuple[str, ...]  # electrodes that share the current
    clause: str


class Compared(NamedTuple):
    """One reading: what was read, what is expected of the site as described, and what a rulebook may ask of it."""

    reading: Reading
    test: str
    where: str
    band: (
        tuple[float, float] | None
    )  # of a healthy site, as the schedule tells it; None: nothing that the description says
    missing: Missing | None  # what is not written, so that nothing can be expected
    off: float  # how far from what is expected, in standard deviations
    loop: LoopAt | None = None  # of a loop: what has to open on a fault there
    electrode: ElectrodeAt | None = None  # of an electrode: what rests on it
    rcd: Device | None = None  # of the time test of an RCD: the device
    outside: str = ""  # of a voltage of a line outside its band: "low" or "high"
    supply: tuple[Source, ...] = ()  # what feeds it, where all that was read of it in this state is off alike
    state: tuple[tuple[str, str], ...] = ()  # what was not as usual meanwhile; nothing for a test without voltage

    @property
    def contradicts(self) -> bool:
        """Whether it is outside what a healthy site shows."""
        return self.off > FITS


class MeasuredPlace(NamedTuple):
    """All readings of one place, cable, electrode or RCD."""

    id: str
    route: Route
    island: None
    compared: tuple[Compared, ...]
    explained: tuple[str, ...]  # the defects that explain the readings that contradict, likeliest first, in words
    probability: float
    root: str  # the place whose readings are farthest off where one cause explains all of them; '' where this is it


class Unread(NamedTuple):
    """A place with tests of the schedule that nobody has done."""

    id: str
    route: Route
    island: None
    tests: tuple[str, ...]


class Refused(NamedTuple):
    """A reading, or an entry about all of them, that makes no sense."""

    id: str
    route: Route
    island: None
    message: str
    hint: str
    span: Span | None = None  # the piece of text that is meant, where it is narrower than the route
    so: str = "this reading proves nothing; the others were compared"
    level: Level | None = None  # where it is another one than that of the rule


class Taken(NamedTuple):
    """When the readings were taken, and how often they have to be."""

    id: str
    route: Route
    island: None
    oldest: str
    months: float | None  # the interval that the site declares
    today: str
    refused: str = ""  # the refused entry that gives this day, where it cannot be
