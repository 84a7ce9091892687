"""The human body as a part of the circuit: impedance, current, and how long a touch voltage may last.

Touch voltages are prospective (without a body) unless a function here puts the body in; the two are never mixed.
"""

from __future__ import annotations

import itertools
import math

from onebond.circuit.components.refusal import known, within

# Hand to hand, large contact area, dry, 50/60 Hz: V -> ohm not exceeded by 5 %, 50 %, 95 % of people.
IMPEDANCE_OHM: dict[int, dict[float, tuple[float, float, float]]] = {
    2005: {
        25: (1750, 3250, 6100), 50: (1375, 2500, 4600), 75: (1125, 2000, 3600), 100: (990, 1725, 3125),
        125: (900, 1550, 2675), 150: (850, 1400, 2350), 175: (825, 1325, 2175), 200: (800, 1275, 2050),
        225: (775, 1225, 1900), 400: (700, 950, 1275), 500: (625, 850, 1150), 700: (575, 775, 1050),
        1000: (575, 775, 1050),
    },
    1994: {
        25: (1750, 3250, 6100), 50: (1450, 2625, 4375), 75: (1250, 2200, 3500), 100: (1200, 1875, 3200),
        125: (1125, 1625, 2875), 220: (1000, 1350, 2125), 700: (750, 1100, 1550), 1000: (700, 1050, 1500),
    },
}  # fmt: skip

# Touch voltage (V) and the longest time (s) that older texts allow, dry (50 V) and wet (25 V).
_TOUCH_TIME_S: dict[str, tuple[tuple[float, float], ...]] = {
    "dry": ((50, 5), (75, 0.60), (90, 0.45), (120, 0.34), (150, 0.27), (220, 0.17), (280, 0.12), (350, 0.08), (500, 0.04)),
    "wet": ((25, 5), (50, 0.48), (75, 0.30), (90, 0.25), (110, 0.18), (150, 0.10), (220, 0.05), (280, 0.02)),
}  # fmt: skip
_IEEE_80 = {50: 0.116, 70: 0.157}


def body_impedance_ohm(touch_v: float, percentile: int = 50, edition: int = 2005) -> float:
    """Impedance in ohm of a body, hand to hand, that a share of people does not exceed.

    Limits: 25 to 1000 V across the body, dry skin, large contact area, 50/60 Hz; percentile 5, 50 or 95; straight
    lines between the printed voltages.
    Source: IEC TS 60479-1:2005 table 1 (from memory); the edition of 1994 differs (2625 instead of 2500 ohm at 50
    V) and is there for comparison (from memory).  2005 is used; a report states the edition.
    Example: 50 V: 2500 ohm.

    >>> body_impedance_ohm(50)
    2500.0
    """
    table = known(IMPEDANCE_OHM, edition, "edition of IEC 60479-1")
    column = known({5: 0, 50: 1, 95: 2}, percentile, "percentile of people")
    within(touch_v, 25, 1000, "voltage across the body", "V")
    points = list(table.items())
    for (low_v, low), (high_v, high) in itertools.pairwise(points):
        if touch_v <= high_v:
            share = (touch_v - low_v) / (high_v - low_v)
            return float(low[column] + share * (high[column] - low[column]))
    raise AssertionError("the last voltage of the table is the upper limit")


def body_current_a(touch_v: float, percentile: int = 50, edition: int = 2005) -> float:
    """Current in A through a body, hand to hand, at a voltage across it.

    Limits: those of :func:`body_impedance_ohm`.  A low percentile of impedance is a high current.
    Source: IEC TS 60479-1:2005 table 1 (from memory), Ohm's law.
    Example: 50 V: 20 mA.

    >>> body_current_a(50)
    0.02
    """
    return touch_v / body_impedance_ohm(touch_v, percentile, edition)


def touch_current_a(open_circuit_v: float, source_ohm: complex, body_ohm: float = 1000.0) -> float:
    """Current in A through a body that bridges two points with a voltage and an inner impedance between them.

    Limits: a linear circuit (Thevenin); body 200 ohm to 10 kohm, 1000 ohm by default.
    Source: IEEE 80 takes 1000 ohm (seen: blog); Thevenin (recomputed).
    Example: 115 V behind 1000 ohm of body alone: 115 mA.

    >>> touch_current_a(115, 0)
    0.115
    """
    within(open_circuit_v, 0, 1000, "touch voltage without the body", "V")
    within(abs(source_ohm), 0, 1e12, "impedance behind the touch voltage", "ohm")
    within(source_ohm.real, 0, 1e12, "resistance behind the touch voltage", "ohm")
    within(body_ohm, 200, 10_000, "impedance of the body", "ohm")
    return open_circuit_v / abs(source_ohm + body_ohm)


def ieee80_current_a(duration_s: float, body_kg: int = 50) -> float:
    """Current in A that 99.5 % of people of a weight survive for a duration.

    Limits: 0.03 to 3 s; 50 kg or 70 kg.
    Source: IEEE 80, 0.116 / sqrt(t) and 0.157 / sqrt(t) (from memory, recomputed).
    Example: 0.4 s: 183.4 mA and 248.2 mA.

    >>> f"{ieee80_current_a(0.4) * 1e3:.1f} {ieee80_current_a(0.4, 70) * 1e3:.1f}"
    '183.4 248.2'
    """
    within(duration_s, 0.03, 3, "duration of the shock", "s")
    return known(_IEEE_80, body_kg, "weight in kg") / math.sqrt(duration_s)


def touch_time_s(touch_v: float, skin: str = "dry") -> float | None:
    """The longest time in s that a prospective touch voltage may last by the older curves; ``None`` at or below the limit voltage.

    Limits: up to 500 V ``dry`` (limit 50 V) and 280 V ``wet`` (25 V); between the printed points the shorter time
    counts.
    Source: IEC 364-4-41 of old, NF C 15-100 (from memory); today's limits are the times of table 41.1.
    Example: 120 V dry: 0.34 s.

    >>> touch_time_s(120), touch_time_s(50)
    (0.34, None)
    """
    points = known(_TOUCH_TIME_S, skin, "skin")
    within(touch_v, 0, points[-1][0], "touch voltage", "V")
    if touch_v <= points[0][0]:
        return None
    return next(time_s for limit_v, time_s in points if touch_v <= limit_v)
