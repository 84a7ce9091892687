"""Batteries: an EMF behind an internal resistance, and the bounds of both that hold whatever their charge is."""

from __future__ import annotations

from onebond.circuit.components.refusal import within

HIGHEST_TIMES_RATED = 1.2
"""EMF of a full battery over its rated voltage: 2.15 V to 2 V a lead cell, 1.4 V to 1.2 V nickel, 4.2 V to 3.6 V lithium (from memory).

IEC 61660-1 takes 1.05, which is that of lead alone (from memory)."""

LEAST_TIMES_RATED = 0.9
"""EMF of a battery that is nearly empty over its rated voltage (IEC 61660-1, from memory)."""

FIRST_OHM = 0.9
"""Part of the internal resistance that the first peak meets (IEC 61660-1, from memory)."""

SUSTAINED_EMF = 0.95
"""Part of the EMF that is left of it in a short circuit that lasts (IEC 61660-1, from memory)."""


def _check(open_v: float, internal_ohm: float, outside_ohm: float) -> None:
    within(open_v, 0.1, 2000, "EMF of the battery", "V")
    within(internal_ohm, 1e-6, 100, "internal resistance of the battery", "ohm")
    within(outside_ohm, 0, 1e6, "resistance outside the battery", "ohm")


def short_circuit_a(open_v: float, internal_ohm: float, outside_ohm: float = 0.0) -> float:
    """Current in A of a battery into a short circuit: its EMF over all resistance in the way.

    Limits: 0.1 to 2000 V; steady current, so no inductance.
    Source: Ohm's law; two handbook pages on batteries work the example (seen).
    Example: a 12 V block of 5 milliohm: 2400 A.

    >>> f"{short_circuit_a(12, 0.005):.0f}"
    '2400'
    """
    _check(open_v, internal_ohm, outside_ohm)
    return open_v / (internal_ohm + outside_ohm)


def peak_a(open_v: float, internal_ohm: float, outside_ohm: float = 0.0) -> float:
    """The first peak in A of the short-circuit current of a battery.

    Limits: as above; what the inductance of the way takes off is left out, so the peak is never less.
    Source: IEC 61660-1, E / (0.9 R + R of the way) (from memory).
    Example: a 12 V block of 5 milliohm at 12.6 V (1.05): 2800 A.

    >>> f"{peak_a(12.6, 0.005):.0f}"
    '2800'
    """
    return short_circuit_a(open_v, FIRST_OHM * internal_ohm, outside_ohm)


def sustained_a(open_v: float, internal_ohm: float, outside_ohm: float = 0.0) -> float:
    """The short-circuit current in A of a battery after a second.

    Limits: as above.
    Source: IEC 61660-1, 0.95 E / (R + R of the way) (from memory).
    Example: a 12 V block of 5 milliohm at 10.8 V (0.9): 2052 A.

    >>> f"{sustained_a(10.8, 0.005):.0f}"
    '2052'
    """
    return short_circuit_a(SUSTAINED_EMF * open_v, internal_ohm, outside_ohm)


def internal_ohm(rated_v: float, fault_current_a: float) -> float:
    """Internal resistance in ohm that follows from a short-circuit current at the terminals.

    Limits: 0.1 to 2000 V, 0.1 A to 1 MA; the current is that at the voltage given.
    Source: an engineers' forum works a block of 12 V and 3800 A (seen): 3.16 milliohm.
    Example: that block.

    >>> f"{internal_ohm(12, 3800) * 1000:.2f}"
    '3.16'
    """
    within(rated_v, 0.1, 2000, "voltage of the battery", "V")
    within(fault_current_a, 0.1, 1e6, "short-circuit current of the battery", "A")
    return rated_v / fault_current_a
