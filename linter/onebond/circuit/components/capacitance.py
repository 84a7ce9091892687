"""Capacitances that hold a floating system, and the meters that load it when they read it."""

from __future__ import annotations

import math

from onebond.circuit.components.refusal import known, within

_METER_OHM: dict[str, float] = {"digital": 10e6, "low-impedance": 3e3}
# Core to protective conductor of a low-voltage cable, F/m: order of magnitude only.
STRAY_F_PER_M: tuple[float, float] = (50e-12, 300e-12)


def meter_ohm(kind: str) -> float:
    """Input resistance in ohm of a voltmeter.

    Limits: ``digital`` (10 Mohm) and ``low-impedance`` (3 kohm; another maker has 2 kohm).
    Source: makers' manuals (seen).
    Example: a digital multimeter.

    >>> meter_ohm("digital")
    10000000.0
    """
    return known(_METER_OHM, kind, "voltmeter")


def admittance(capacitance_f: float, frequency_hz: float = 50.0) -> complex:
    """Admittance of a capacitance, in siemens (1/ohm).

    Limits: 0 to 1 mF, 1 Hz to 1 kHz.
    Source: definition (recomputed).
    Example: 4.7 nF at 50 Hz: 1.477 microsiemens.

    >>> f"{admittance(4.7e-9).imag * 1e6:.3f}"
    '1.477'
    """
    within(capacitance_f, 0, 1e-3, "capacitance", "F")
    within(frequency_hz, 1, 1000, "frequency", "Hz")
    return 2j * math.pi * frequency_hz * capacitance_f


def stray_f(length_m: float) -> tuple[float, float]:
    """Stray capacitance in F of one core of a cable to its protective conductor, lowest and highest.

    Limits: low-voltage cables with PE, 0 m to 10 km; an order of magnitude, to see whether a reading is plausible.
    Source: usual cable data, 50 to 300 pF/m (from memory).
    Example: 100 m: 5 to 30 nF.

    >>> low, high = stray_f(100)
    >>> f"{low * 1e9:.0f} {high * 1e9:.0f}"
    '5 30'
    """
    within(length_m, 0, 10_000, "length of the cable", "m")
    return STRAY_F_PER_M[0] * length_m, STRAY_F_PER_M[1] * length_m


def capacitance_of_leakage_f(leakage_a: float, voltage_v: float, frequency_hz: float = 50.0) -> float:
    """The capacitance in F from line to PE that lets a declared leakage current flow.

    Limits: 0 to 10 A, 10 V to 1 kV; the leakage is capacitive.
    Source: C = I / (2 pi f U) (recomputed).
    Example: 3.5 mA at 230 V: 48.4 nF.

    >>> f"{capacitance_of_leakage_f(3.5e-3, 230) * 1e9:.1f}"
    '48.4'
    """
    within(leakage_a, 0, 10, "leakage current", "A")
    within(voltage_v, 10, 1000, "voltage", "V")
    within(frequency_hz, 1, 1000, "frequency", "Hz")
    return leakage_a / (2 * math.pi * frequency_hz * voltage_v)


def floating_reading_v(
    voltage_v: float, near_f: float, far_f: float, loading_ohm: float | None = None, frequency_hz: float = 50.0
) -> float:
    """What a voltmeter between one conductor of a floating source and PE reads, in V.

    Limits: one source, two conductors; ``near_f`` is the capacitance to PE of the conductor that is read, ``far_f``
    of the other one, ``loading_ohm`` the meter itself (``None``: an ideal one).
    Source: voltage divider (recomputed in two independent ways).
    Example: 230 V, 4.7 nF each: 114.93 V with 10 Mohm, 1.02 V with 3 kohm.

    >>> f"{floating_reading_v(230, 4.7e-9, 4.7e-9, 10e6):.2f} {floating_reading_v(230, 4.7e-9, 4.7e-9, 3e3):.2f}"
    '114.93 1.02'
    """
    within(voltage_v, 1, 1000, "voltage of the source", "V")
    loading = 0.0
    if loading_ohm is not None:
        within(loading_ohm, 1, 1e12, "resistance of the meter", "ohm")
        loading = 1 / loading_ohm
    far = admittance(far_f, frequency_hz)
    total = far + admittance(near_f, frequency_hz) + loading
    if total == 0:
        raise ValueError("nothing ties the floating conductors to PE: neither a capacitance nor the meter")
    return voltage_v * abs(far / total)
