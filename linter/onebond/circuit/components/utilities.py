"""Public supplies: the impedance of the source from what the supplier declares."""

from __future__ import annotations

import math

from onebond.circuit.components.refusal import known, within

# What suppliers in the United Kingdom declare as the maximum outside impedance, ohm.
_DECLARED_UK_OHM: dict[str, float] = {"TN-C-S": 0.35, "TN-S": 0.8, "TT": 21.0}


def source_impedance_ohm(voltage_v: float, fault_current_a: float, factor: float = 1.0) -> float:
    """Impedance in ohm of the loop that lets a prospective current flow at a voltage; both between the same two conductors.

    Limits: 10 V to 1 kV, 0.1 A to 200 kA; the voltage factor 0.8 to 1.15 (1 where the supplier's current is meant
    at nominal voltage). A magnitude: the supplier does not say which part is reactance.
    Source: Ohm's law (recomputed).
    Example: 230 V and 3.2 kA between line and neutral: 0.0719 ohm.

    >>> f"{source_impedance_ohm(230, 3200):.4f}"
    '0.0719'
    """
    within(voltage_v, 10, 1000, "voltage of the supply", "V")
    within(fault_current_a, 0.1, 200_000, "prospective current of the supply", "A")
    within(factor, 0.8, 1.15, "voltage factor", "")
    return factor * voltage_v / fault_current_a


def phase_impedance_ohm(line_voltage_v: float, fault_current_a: float, factor: float = 1.0) -> float:
    """Impedance in ohm of one line of a supply from its three-phase prospective current.

    Limits: line voltage 10 V to 1.8 kV, otherwise as :func:`source_impedance_ohm`.
    Source: a published calculation sheet: 4.4403 milliohm at 380 V is 49.41 kA (seen, recomputed).
    Example: that sheet.

    >>> f"{phase_impedance_ohm(380, 49410) * 1e3:.2f}"
    '4.44'
    """
    within(line_voltage_v, 10, 1800, "line voltage of the supply", "V")
    return source_impedance_ohm(line_voltage_v / math.sqrt(3), fault_current_a, factor)


def network_impedance_ohm(
    short_circuit_va: float, line_voltage_v: float, factor: float = 1.0, resistance_ratio: float = 0.0
) -> complex:
    """Impedance in ohm a phase of the network ahead, from its short-circuit power, at the voltage that is given.

    Limits: 1 kVA to 100 GVA; ``factor`` is the voltage factor c of the network (IEC 60909), ``resistance_ratio``
    R/X of 0 to 10.
    Source: c U^2 / S, IEC 60909; a published calculation sheet (seen): 380 V, 500 MVA, 0.2888 milliohm.
    Example: that sheet.

    >>> f"{abs(network_impedance_ohm(500e6, 380)) * 1e3:.4f}"
    '0.2888'
    """
    within(short_circuit_va, 1e3, 1e11, "short-circuit power of the network", "VA")
    within(line_voltage_v, 10, 1e6, "line voltage of the network", "V")
    within(factor, 0.8, 1.15, "voltage factor", "")
    within(resistance_ratio, 0, 10, "R/X of the network", "")
    reactance_ohm = factor * line_voltage_v**2 / short_circuit_va / math.sqrt(1 + resistance_ratio**2)
    return complex(resistance_ratio * reactance_ohm, reactance_ohm)


def split_loop_ohm(loop_ohm: float, return_ratio: float = 1.0) -> tuple[float, float]:
    """The declared loop impedance as line part and return part (PE or PEN), in ohm.

    Limits: 0.001 to 1000 ohm; ``return_ratio`` is return : line, 0.1 to 10.  A supplier declares the sum alone:
    equal conductors (1.0) are an assumption, and whoever uses it has to say so, since the touch voltage follows
    from it.
    Source: a PEN of half the area has twice the impedance, Mitolo, "Electrical Safety of Low-Voltage Systems", eq.
    8.3 (seen).
    Example: 0.35 ohm with equal conductors.

    >>> split_loop_ohm(0.35)
    (0.175, 0.175)
    """
    within(loop_ohm, 0.001, 1000, "loop impedance of the supply", "ohm")
    within(return_ratio, 0.1, 10, "return conductor to line conductor", "")
    return loop_ohm / (1 + return_ratio), loop_ohm * return_ratio / (1 + return_ratio)


def return_impedance_ohm(loop_ohm: float, line_ohm: float) -> float:
    """Impedance in ohm of the return path of a supply, from its loop impedance and the impedance of its line.

    Limits: the line is smaller than the loop, or the declared figures contradict each other.  A loop impedance is
    declared as a maximum and a fault current as a maximum too: both never hold at once, so the difference is an
    upper limit.
    Source: subtraction of magnitudes (recomputed).
    Example: loop 0.35 ohm, line 0.0359 ohm.

    >>> f"{return_impedance_ohm(0.35, 0.0359):.4f}"
    '0.3141'
    """
    within(loop_ohm, 0.001, 1000, "loop impedance of the supply", "ohm")
    if not 0 <= line_ohm < loop_ohm:
        raise ValueError(
            f"the line of the supply has {line_ohm:g} ohm, not less than its whole loop of {loop_ohm:g} ohm"
        )
    return loop_ohm - line_ohm


def declared_maximum_uk_ohm(earthing: str) -> float:
    """The outside loop impedance in ohm that suppliers in the United Kingdom declare as their maximum.

    Limits: ``TN-C-S``, ``TN-S``, ``TT`` (supplier's side only); typical declarations, no substitute for the one of
    the site.
    Source: on-site guide: 0.35 (seen), 21 for TT (seen: forum), 0.8 (from memory).
    Example: TN-C-S.

    >>> declared_maximum_uk_ohm("TN-C-S")
    0.35
    """
    return known(_DECLARED_UK_OHM, earthing, "earthing of the supply")
