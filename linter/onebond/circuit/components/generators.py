"""Generating sets: rated current, first fault current, and the sustained one only where the maker declares it."""

from __future__ import annotations

import math
from typing import NamedTuple

from onebond.circuit.components.refusal import known, within

# Usual ranges per unit; which one a set has is the maker's to say.
TYPICAL_PU: dict[str, tuple[float, float]] = {
    "subtransient": (0.10, 0.25),
    "transient": (0.15, 0.40),
    "synchronous": (1.5, 3.5),
}
# Without a declaration the sustained fault current of a small self-excited set may be anything in here, times rated.
UNDECLARED_SUSTAINED_TIMES_RATED: tuple[float, float] = (0.3, 3.0)


class Sustained(NamedTuple):
    """A fault current that the maker promises, in A, and for how long, in s (``None``: as long as it takes)."""

    current_a: float
    for_s: float | None


def rated_current_a(rating_va: float, voltage_v: float, phases: int = 3) -> float:
    """Rated current of a generating set in A; the voltage is line to line with three phases, else that of the winding.

    Limits: 100 VA to 100 MVA, 10 V to 40 kV, one or three phases.
    Source: definition; the example (recomputed).
    Example: 20 kVA at 400 V: 28.87 A.

    >>> f"{rated_current_a(20e3, 400):.2f}"
    '28.87'
    """
    within(rating_va, 100, 1e8, "rating of the generating set", "VA")
    within(voltage_v, 10, 40_000, "voltage of the generating set", "V")
    return rating_va / (voltage_v * known({1: 1.0, 3: math.sqrt(3)}, phases, "phases of the generating set"))


def reactance_ohm(rating_va: float, voltage_v: float, reactance_pu: float) -> float:
    """A reactance given per unit, in ohm a phase.

    Limits: 0.01 to 5 per unit; with one phase the voltage is that of the winding.
    Source: definition x U^2 / S; the example (recomputed).
    Example: 20 kVA, 400 V, 12 %: 0.96 ohm.

    >>> f"{reactance_ohm(20e3, 400, 0.12):.2f}"
    '0.96'
    """
    within(reactance_pu, 0.01, 5, "reactance per unit", "")
    rated_current_a(rating_va, voltage_v)
    return reactance_pu * voltage_v**2 / rating_va


def subtransient_current_a(rating_va: float, voltage_v: float, subtransient_pu: float, phases: int = 3) -> float:
    """First symmetrical current in A of a short circuit between all lines at the terminals.

    Limits: about the first 10 ms; it decays, so it proves what must be broken, not what disconnects.
    Source: I = In / x'', a manufacturer's medium-voltage guide: 0.14 gives 7.1 In (seen).
    Example: 20 kVA, 400 V, 0.12: 241 A.

    >>> f"{subtransient_current_a(20e3, 400, 0.12):.0f}"
    '241'
    """
    within(subtransient_pu, 0.01, 1, "subtransient reactance per unit", "")
    return rated_current_a(rating_va, voltage_v, phases) / subtransient_pu


def earth_fault_impedance_ohm(positive_ohm: complex, negative_ohm: complex, zero_ohm: complex) -> complex:
    """Impedance of the source, in ohm, that a fault from one line to the star point meets: a third of the three sequences.

    Limits: a three-phase set with its star point brought out; all three sequences declared, none guessed from
    another.
    Source: symmetrical components, I = 3 U0 / (Z1 + Z2 + Z0) (from memory).
    Example: three equal sequences behave like one winding.

    >>> earth_fault_impedance_ohm(0.3j, 0.3j, 0.3j)
    0.3j
    """
    for name, value in (("positive", positive_ohm), ("negative", negative_ohm), ("zero", zero_ohm)):
        within(abs(value), 0, 1e5, f"{name} sequence impedance", "ohm")
    return (positive_ohm + negative_ohm + zero_ohm) / 3


def sustained(
    rated_a: float, declared_a: float | None, declared_factor: float | None, for_s: float | None
) -> Sustained | None:
    """The sustained fault current as declared, in A or as a multiple of the rated current; ``None`` where it is not declared.

    Limits: nothing is assumed: a small self-excited set may fall to 0.3 In, one with a separate exciter may hold 3
    In for 2 to 10 s, and the one is no proof for the other.  Without a declaration disconnection is not proven.
    Source: "Electrical Installation Guide", chapter N (from memory).
    Example: 28.87 A declared with 3 x rated for 10 s.

    >>> sustained(28.87, None, 3, 10)
    Sustained(current_a=86.61, for_s=10)
    >>> sustained(28.87, None, None, None) is None
    True
    """
    within(rated_a, 0.01, 1e6, "rated current of the generating set", "A")
    if declared_a is not None and declared_factor is not None:
        raise ValueError(
            "the sustained fault current is declared twice: in ampere and as a multiple of the rated current"
        )
    if declared_factor is not None:
        within(declared_factor, 0, 20, "sustained fault current", "x rated")
        declared_a = rated_a * declared_factor
    if declared_a is None:
        return None
    within(declared_a, 0, 1e6, "sustained fault current", "A")
    if for_s is not None:
        within(for_s, 0, 3600, "duration of the sustained fault current", "s")
    return Sustained(declared_a, for_s)
