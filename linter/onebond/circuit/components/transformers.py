"""Transformers: rated current, impedance, typical data, the voltage factors and the correction of IEC 60909.

Impedances are ohm for each phase, referred to the secondary side.
"""

from __future__ import annotations

import math

from onebond.circuit.components.refusal import known, within

# Typical oil transformers 20 kV / 420 V: kVA -> resistance, reactance, impedance (milliohm), impedance voltage (%).
TYPICAL_MOHM: dict[int, tuple[float, float, float, float]] = {
    100: (37.9, 59.5, 70.6, 4), 160: (16.2, 41.0, 44.1, 4), 200: (11.9, 33.2, 35.3, 4), 250: (9.2, 26.7, 28.2, 4),
    315: (6.2, 21.5, 22.4, 4), 400: (5.1, 16.9, 17.6, 4), 500: (3.8, 13.6, 14.1, 4), 630: (2.9, 10.8, 11.2, 4),
    800: (2.9, 12.9, 13.2, 6), 1000: (2.3, 10.3, 10.6, 6), 1250: (1.8, 8.3, 8.5, 6), 1600: (1.4, 6.5, 6.6, 6),
    2000: (1.1, 5.2, 5.3, 6),
}  # fmt: skip

# (edition, level and voltage tolerance) -> maximum and minimum voltage factor.
_VOLTAGE_FACTORS: dict[str, dict[str, tuple[float, float]]] = {
    "2016": {"low-6": (1.05, 0.95), "low-10": (1.10, 0.90), "high": (1.10, 1.00)},
    "2001": {"low-6": (1.05, 0.95), "low-10": (1.10, 0.95), "high": (1.10, 1.00)},
}


def _check(rating_va: float, line_voltage_v: float, impedance_pu: float) -> None:
    within(rating_va, 10, 1e9, "rating of the transformer", "VA")
    within(line_voltage_v, 1, 1e6, "line voltage of the transformer", "V")
    within(impedance_pu, 0.001, 0.5, "impedance voltage per unit", "")


def rated_current_a(rating_va: float, line_voltage_v: float, phases: int = 3) -> float:
    """Rated current of a winding in A; the voltage is line to line, or that of the winding with one phase.

    Limits: 10 VA to 1 GVA, 1 V to 1 MV, one or three phases.
    Source: definition; "Electrical Installation Guide" (seen: wiki page).
    Example: 400 kVA at 420 V: 550 A (exactly 549.86 A).

    >>> f"{rated_current_a(400e3, 420):.2f}"
    '549.86'
    """
    _check(rating_va, line_voltage_v, 0.04)
    return rating_va / (line_voltage_v * known({1: 1.0, 3: math.sqrt(3)}, phases, "phases of the transformer"))


def impedance_ohm(rating_va: float, line_voltage_v: float, impedance_pu: float, resistance_pu: float = 0.0) -> complex:
    """Short-circuit impedance of a transformer in ohm a phase: impedance voltage and its resistive part, per unit.

    Limits: impedance voltage 0.001 to 0.5; the resistive part is not larger.  Without it the impedance is a pure
    reactance, which is wrong for small transformers: their X/R falls to 1.6 at 100 kVA.  With one phase the voltage
    is that of the winding.
    Source: Z = u U^2 / S, "Electrical Installation Guide", tables G31 and G33 (seen: wiki page).
    Example: 400 kVA, 420 V, 4 %: 17.64 milliohm.

    >>> f"{abs(impedance_ohm(400e3, 420, 0.04)) * 1e3:.2f}"
    '17.64'
    """
    _check(rating_va, line_voltage_v, impedance_pu)
    within(resistance_pu, 0, impedance_pu, "resistive part of the impedance voltage per unit", "")
    base_ohm = line_voltage_v**2 / rating_va
    return complex(resistance_pu, math.sqrt(impedance_pu**2 - resistance_pu**2)) * base_ohm


def short_circuit_a(rating_va: float, line_voltage_v: float, impedance_pu: float, phases: int = 3) -> float:
    """Current in A of a short circuit at the terminals, fed from a network without impedance of its own.

    Limits: those of :func:`impedance_ohm`; it is a maximum, since the network ahead is left out.
    Source: I = In / u, "Electrical Installation Guide" (seen: wiki page).
    Example: 400 kVA, 420 V, 4 %: 13.7 kA (exactly 13.746 kA).

    >>> f"{short_circuit_a(400e3, 420, 0.04) / 1e3:.3f}"
    '13.746'
    """
    _check(rating_va, line_voltage_v, impedance_pu)
    return rated_current_a(rating_va, line_voltage_v, phases) / impedance_pu


def typical_impedance_ohm(rating_kva: int) -> complex:
    """Resistance and reactance of a typical oil transformer 20 kV / 420 V, in ohm a phase.

    Limits: 100 to 2000 kVA in the ratings of the table; typical, not guaranteed.
    Source: "Electrical Installation Guide", figure G35 (from memory; Z = u U^2 / S and R^2 + X^2 = Z^2 recomputed).
    Example: 400 kVA: 5.1 and 16.9 milliohm.

    >>> f"{typical_impedance_ohm(400) * 1000:.1f}"
    '5.1+16.9j'
    """
    resistance, reactance, *_ = known(TYPICAL_MOHM, rating_kva, "rating of a typical transformer in kVA")
    return complex(resistance / 1000, reactance / 1000)


def zero_sequence_ohm(positive_ohm: complex, connection: str) -> complex:
    """Zero-sequence impedance at the secondary of a transformer, in ohm a phase.

    Limits: ``Dyn`` (equal to the positive sequence; some designs are a little lower) and ``Yzn`` (a tenth); the
    network on the primary side does not appear in it.
    Source: IEC 60909 (from memory).
    Example: Dyn.

    >>> zero_sequence_ohm(0.005 + 0.017j, "Dyn")
    (0.005+0.017j)
    """
    within(abs(positive_ohm), 0, 1e4, "impedance of the transformer", "ohm")
    return positive_ohm * known({"Dyn": 1.0, "Yzn": 0.1}, connection, "connection of the windings")


def voltage_factor(network: str, extreme: str, edition: str = "2016") -> float:
    """The voltage factor c of IEC 60909 for a maximum or a minimum short-circuit current.

    Limits: network ``low-6`` (low voltage, tolerance +6 %), ``low-10`` (+10 %) or ``high``; extreme ``max`` or
    ``min``; edition 2016 or 2001.
    Source: IEC 60909-0:2016 table 1 (seen).  The edition of 2001 has 0.95 as minimum for both low voltages (seen in
    an older program); 2016 is used unless the caller asks.
    Example: low voltage +10 %, minimum: 0.90 today, 0.95 in 2001.

    >>> voltage_factor("low-10", "min"), voltage_factor("low-10", "min", "2001")
    (0.9, 0.95)
    """
    factors = known(known(_VOLTAGE_FACTORS, edition, "edition of IEC 60909-0"), network, "network")
    return factors[known({"max": 0, "min": 1}, extreme, "extreme")]


def correction_factor(reactance_pu: float, maximum_voltage_factor: float) -> float:
    """The factor K_T by which IEC 60909 corrects the impedance of a network transformer.

    Limits: maximum currents only; reactance 0.001 to 0.5 per unit, factor c 1.0 to 1.1.
    Source: IEC 60909-0, 3.3.3: 0.95 c / (1 + 0.6 x) (from memory; it reproduces an independent program to four
    digits: recomputed).
    Example: 400 kVA, 4 % with 1.425 % resistive, c = 1.05: 0.975.

    >>> f"{correction_factor((0.04**2 - 0.01425**2) ** 0.5, 1.05):.4f}"
    '0.9756'
    """
    within(reactance_pu, 0.001, 0.5, "reactance per unit", "")
    within(maximum_voltage_factor, 1.0, 1.1, "voltage factor c", "")
    return 0.95 * maximum_voltage_factor / (1 + 0.6 * reactance_pu)
