"""Loads as constant impedances, from what a description says of them: power, apparent power, current, leakage.

An impedance is right at the voltage that it was worked out for; at a lower one the load takes less, as a heater does and a
regulated supply does not.
"""

from __future__ import annotations

import math

from onebond.circuit.components.capacitance import admittance, capacitance_of_leakage_f
from onebond.circuit.components.refusal import known, within

_LINES = {1: 1, 2: 2, 3: 3}


def _direction(power_factor: float, leading: bool) -> complex:
    """Resistance and reactance of an impedance of 1 ohm."""
    within(power_factor, 0.1, 1, "power factor", "")
    reactance = math.sqrt(1 - power_factor**2)
    return complex(power_factor, -reactance if leading else reactance)


def load_of_apparent_power_ohm(
    apparent_va: float, voltage_v: float, power_factor: float, lines: int = 1, leading: bool = False
) -> complex:
    """Impedance in ohm of a load from its apparent power; with several lines that of each, to the neutral or to a star point.

    Limits: 1 mVA to 10 MVA in all, shared equally by one to three ``lines``; ``voltage_v`` is across one impedance, 10
    V to 1 kV: line to neutral, or line to line of a load between two lines; power factor 0.1 to 1, lagging unless
    ``leading``.  Equal lines carry no current in the neutral, so to the neutral and to a star point is the same until a
    conductor breaks.
    Source: definition, Z = U^2 / S (recomputed).
    Example: 3 kVA at 230 V with 0.8.

    >>> z = load_of_apparent_power_ohm(3000, 230, 0.8)
    >>> f"{z:.2f} {abs(z):.2f}"
    '14.11+10.58j 17.63'
    """
    within(apparent_va, 1e-3, 1e7, "apparent power of the load", "VA")
    within(voltage_v, 10, 1000, "voltage of the load", "V")
    one_va = apparent_va / known(_LINES, lines, "lines of the load")
    return voltage_v**2 / one_va * _direction(power_factor, leading)


def load_of_power_ohm(
    power_w: float, voltage_v: float, power_factor: float, lines: int = 1, leading: bool = False
) -> complex:
    """Impedance in ohm of a load from its power; with several lines that of each, to the neutral or to a star point.

    Limits: those of :func:`load_of_apparent_power_ohm`, 1 mW to 10 MW.  A power alone does not say which current flows:
    with the power factor 1 it is the smallest that the power allows.
    Source: definition, S = P / power factor (recomputed).
    Example: heaters of 2.4 kW at 230 V and of 9 kW on three lines.

    >>> f"{load_of_power_ohm(2400, 230, 1).real:.2f} {load_of_power_ohm(9000, 230, 1, lines=3).real:.2f}"
    '22.04 17.63'
    """
    within(power_w, 1e-3, 1e7, "power of the load", "W")
    within(power_factor, 0.1, 1, "power factor", "")
    return load_of_apparent_power_ohm(power_w / power_factor, voltage_v, power_factor, lines, leading)


def load_of_current_ohm(current_a: float, voltage_v: float, power_factor: float, leading: bool = False) -> complex:
    """Impedance in ohm of a load from its current; of a load on several lines that of each line, to the neutral or to a star point.

    Limits: 0.1 mA to 20 kA in each line, 10 V to 1 kV across one impedance; power factor 0.1 to 1, lagging unless
    ``leading``.
    Source: Ohm's law (recomputed).
    Example: 10 A at 230 V with 0.6.

    >>> f"{load_of_current_ohm(10, 230, 0.6):.1f}"
    '13.8+18.4j'
    """
    within(current_a, 1e-4, 20_000, "current of the load", "A")
    within(voltage_v, 10, 1000, "voltage of the load", "V")
    return voltage_v / current_a * _direction(power_factor, leading)


def leakage_ohm(leakage_a: float, voltage_v: float, frequency_hz: float = 50.0) -> complex:
    """Impedance in ohm from one line to PE that lets a declared leakage current flow: a capacitance.

    Limits: 1 nA to 10 A, 10 V to 1 kV to earth, 1 Hz to 1 kHz, a capacitance of no more than 1 mF.  Of a load on three
    lines it is the leakage of one line: three equal ones leave nothing in PE.
    Source: C = I / (2 pi f U) and Z = 1 / (j 2 pi f C) (recomputed).
    Example: 3.5 mA at 230 V: a reactance of 65.7 kohm (48.4 nF).

    >>> f"{leakage_ohm(3.5e-3, 230).imag / 1e3:.1f}"
    '-65.7'
    """
    within(leakage_a, 1e-9, 10, "leakage current", "A")
    return 1 / admittance(capacitance_of_leakage_f(leakage_a, voltage_v, frequency_hz), frequency_hz)
