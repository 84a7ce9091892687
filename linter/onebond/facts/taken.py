"""What rules may ask about readings; only names here, so that a hook without readings does not wait for what compares them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from onebond.span import Route, Span

if TYPE_CHECKING:
    from onebond.circuit.impedances import Missing
    from onebond.meter.readings import Reading
    from onebond.result import Level

FITS = 3.5
"""A reading contradicts what is expected where it is farther off than so many standard deviations."""


def cold_loop(loop_ohm: float, params: Mapping[str, Any]) -> float:
    """The largest loop, in ohm, that a reading on cold conductors may have where `loop_ohm` is the largest by the times.

    `params` are those of `reading-contradicts-design`.
    """
    return float(loop_ohm * params["loop-factor"] * params["minimum-voltage-factor"])


def trip_times(times: str, selective: bool, params: Mapping[str, Any]) -> tuple[float, float] | None:
    """From when to when an RCD has to trip, in s, at `times` its rated residual current; None: it has to hold there.

    `params` are those of `reading-contradicts-design`.
    """
    if times not in ("1 x", "5 x"):
        return None
    least, most = params[f"{'selective' if selective else 'general'}-{times[0]}-s"]
    return least, most


class Compared(NamedTuple):
    """One reading: what was read, what is expected of the site as described, and what a rulebook may ask of it."""

    reading: Reading
    test: str
    where: str
    band: tuple[float, float] | None  # of a healthy site; None: nothing that the description says
    missing: Missing | None  # what is not written, so that nothing can be expected
    off: float  # how far from what is expected, in standard deviations
    loop_ohm: float | None  # the largest loop at the place by the rulebook's times, without a factor for the field
    electrode_ohm: float | None  # the largest resistance of an electrode behind the RCDs of a TT site
    late: bool | None  # of an RCD: whether it is a selective one
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
