"""Inverters and other static sources: a voltage source up to a current limit, a current source from there on, then nothing."""

from __future__ import annotations

from typing import NamedTuple

from onebond.circuit.components.refusal import known, within


class Stage(NamedTuple):
    """What a static source gives into a fault: a current in A until a time in s (``None``: no end is declared)."""

    current_a: float
    until_s: float | None


def rated_current_a(rating_va: float, voltage_v: float, phases: int = 1) -> float:
    """Rated current of each line of an inverter in A; the voltage is line to neutral.

    Limits: 10 VA to 10 MVA, 10 V to 1 kV, one to three lines.
    Source: definition; the example (recomputed).
    Example: 5 kVA at 230 V: 21.74 A.

    >>> f"{rated_current_a(5000, 230):.2f}"
    '21.74'
    """
    within(rating_va, 10, 1e7, "rating of the inverter", "VA")
    within(voltage_v, 10, 1000, "voltage of the inverter", "V")
    return rating_va / (voltage_v * known({1: 1, 2: 2, 3: 3}, phases, "lines of the inverter"))


def limit_a(rated_a: float, declared_a: float | None = None, declared_factor: float | None = None) -> float | None:
    """The largest current of an inverter in A, as declared in ampere or as a multiple of rated; ``None`` if not declared.

    Limits: up to 10 x rated.  Nothing is assumed: grid-following 1.1 to 1.2, stand-alone 1.5 to 2 and
    uninterruptible supplies 1.5 to 3 x rated are in print, and none of them proves that a device operates.
    Source: industrial knowledge bases 1.1 to 1.2 and 2 (seen), a maker's uninterruptible supply 150 % and 300 % for
    20 ms (seen).
    Example: 21.74 A with 2 x rated: 43.5 A.

    >>> f"{limit_a(21.74, declared_factor=2):.1f}"
    '43.5'
    """
    within(rated_a, 0.01, 100_000, "rated current of the inverter", "A")
    if declared_a is not None and declared_factor is not None:
        raise ValueError("the current limit is declared twice: in ampere and as a multiple of the rated current")
    if declared_factor is not None:
        declared_a = rated_a * declared_factor
    if declared_a is not None:
        within(declared_a, 0, 10 * rated_a, "current limit of the inverter", "A")
    return declared_a


def stages(
    prospective_a: float,
    limit_a: float,
    for_s: float | None = None,
    sustained_a: float = 0.0,
    off_s: float | None = None,
) -> tuple[Stage, ...]:
    """What flows into a fault, one stage after the other: the limit for its duration, then what is sustained until shutdown.

    Limits: ``prospective_a`` is the current that the fault loop would draw from the unlimited source; below the
    limit the source is a voltage source and has a single stage without end.  After ``for_s`` the output collapses
    to ``sustained_a`` (0 unless declared) until ``off_s``, the declared shutdown time.  Without ``for_s`` the limit
    has no declared end.
    Source: a maker's uninterruptible supply without bypass: 300 % for up to 20 ms, then 150 % (seen).
    Example: 20 A unit into a solid fault.

    >>> stages(1000, 60, for_s=0.02, sustained_a=30)
    (Stage(current_a=60, until_s=0.02), Stage(current_a=30, until_s=None))
    """
    within(prospective_a, 0, 1e6, "prospective current", "A")
    within(limit_a, 0, 1e6, "current limit", "A")
    within(sustained_a, 0, limit_a, "current after the limit has ended", "A")
    for value_s, what in ((for_s, "duration of the current limit"), (off_s, "shutdown time")):
        if value_s is not None:
            within(value_s, 0, 3600, what, "s")
    if prospective_a <= limit_a:
        return (Stage(prospective_a, None),)
    end_s = off_s if for_s is None else for_s if off_s is None else min(for_s, off_s)
    first = Stage(limit_a, end_s)
    if end_s is None or sustained_a == 0 or end_s == off_s:
        return (first,)
    return (first, Stage(min(sustained_a, prospective_a), off_s))


def limited_touch_voltage_v(current_a: float, pe_ohm: float) -> float:
    """Touch voltage in V that a current limit leaves on a frame: current times the protective conductor to the reference.

    Limits: the whole fault current returns by that conductor; 0 to 1000 ohm.
    Source: Ohm's law, case 8.11 of our own (recomputed).
    Example: 43.5 A through 0.5 ohm: 21.7 V.

    >>> f"{limited_touch_voltage_v(2 * rated_current_a(5000, 230), 0.5):.1f}"
    '21.7'
    """
    within(current_a, 0, 1e6, "fault current", "A")
    within(pe_ohm, 0, 1000, "resistance of the protective conductor", "ohm")
    return current_a * pe_ohm


def declared_breaker_covers(curve: str, rating_a: float, declared: tuple[tuple[str, float], ...]) -> bool:
    """Whether a breaker is on the maker's list of those that the inverter trips: same curve, and no larger than listed.

    Limits: a list entry is (curve, largest rating in A); curves B, C and D.  A breaker of a quicker curve than the
    listed one is covered too (B by a C entry).  Where a list is declared it goes before the arithmetic "upper
    magnetic limit below the current limit": the two disagree in practice, since the maker has tested the first
    half-waves and the arithmetic knows only the steady limit.
    Source: makers' lists of permitted miniature circuit-breakers (second-hand).
    Example: C10 on the list, B10 asked for, C16 asked for.

    >>> declared_breaker_covers("B", 10, (("C", 10),)), declared_breaker_covers("C", 16, (("C", 10),))
    (True, False)
    """
    order = {"B": 0, "C": 1, "D": 2}
    within(rating_a, 0.1, 6300, "rating of the breaker", "A")
    asked = known(order, curve, "curve of the breaker")
    return any(asked <= known(order, one, "curve on the list") and rating_a <= largest_a for one, largest_a in declared)
