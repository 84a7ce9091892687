"""Protective devices: from when on one *may* operate and by when it is *certain* to have operated.

Product standards fix gates, not curves.  So nothing here returns a single time: a :class:`Trip` holds the earliest possible and
the latest certain one, and a limit is met certainly, possibly or not at all.  Currents are root mean square values of a steady
current in A, times s; a current that ends of itself is :func:`lasting`.

The docstrings say how far a figure was checked, in the words of :mod:`onebond.circuit.components`.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from onebond.circuit.components.refusal import known, within

Verdict = Literal["certain", "possible", "impossible"]


class Trip(NamedTuple):
    """When a device operates at one current, in s.

    ``certain_s``: by then it has operated (``None``: never certain).  ``possible_from_s``: before that it has not (``None``: it never
    does; 0: no standard keeps it from operating at once).
    """

    certain_s: float | None
    possible_from_s: float | None

    def within(self, limit_s: float) -> Verdict:
        """Whether the device operates within a time limit in s, the limit itself included."""
        if self.certain_s is not None and self.certain_s <= limit_s:
            return "certain"
        if self.possible_from_s is not None and self.possible_from_s <= limit_s:
            return "possible"
        return "impossible"


NEVER = Trip(None, None)

_CURVES: dict[str, tuple[float, float]] = {"B": (3, 5), "C": (5, 10), "D": (10, 20)}

# IEC 60269-1 gates in A: rating -> not within 10 s, within 5 s, not within 0.1 s, within 0.1 s.
GG_GATES_A: dict[int, tuple[float, float, float, float]] = {
    16: (33, 65, 85, 150), 20: (42, 85, 110, 200), 25: (52, 110, 150, 260), 32: (75, 150, 200, 350),
    40: (95, 190, 260, 450), 50: (125, 250, 350, 610), 63: (160, 320, 450, 820), 80: (215, 425, 610, 1100),
    100: (290, 580, 820, 1450), 125: (355, 715, 1100, 1910), 160: (460, 950, 1450, 2590), 200: (610, 1250, 1910, 3420),
    250: (750, 1650, 2590, 4500), 315: (1050, 2200, 3420, 6000), 400: (1420, 2840, 4500, 8060),
    500: (1780, 3800, 6000, 10600), 630: (2200, 5100, 8060, 14140),
}  # fmt: skip
_GG_SMALL = (2, 4, 6, 8, 10, 12)

# BS 7671 tables 41.2 and 41.4: largest loop impedance in ohm at 230 V with the factor 0.95, for 0.4 s and for 5 s.
BS_FUSES_OHM: dict[str, dict[float, dict[int, float]]] = {
    "BS 88-2": {
        0.4: {2: 33.1, 4: 15.6, 6: 7.80, 10: 4.65, 16: 2.43, 20: 1.68, 25: 1.29, 32: 0.99, 40: 0.75, 50: 0.57, 63: 0.44},
        5: {
            2: 44, 4: 21, 6: 12, 10: 6.8, 16: 4.0, 20: 2.8, 25: 2.2, 32: 1.7, 40: 1.3, 50: 0.99, 63: 0.78, 80: 0.55,
            100: 0.42, 125: 0.32, 160: 0.27, 200: 0.18,
        },
    },
    "BS 88-3": {
        0.4: {5: 9.93, 16: 2.30, 20: 1.93, 32: 0.91, 45: 0.57, 63: 0.36},
        5: {5: 14.6, 16: 3.9, 20: 3.2, 32: 1.6, 45: 1.0, 63: 0.68, 80: 0.51, 100: 0.38},
    },
    "BS 3036": {
        0.4: {5: 9.10, 15: 2.43, 20: 1.68, 30: 1.04, 45: 0.56, 60: 0.40},
        5: {5: 16.8, 15: 5.08, 20: 3.64, 30: 2.51, 45: 1.51, 60: 1.07, 100: 0.51},
    },
    "BS 1362": {0.4: {3: 15.6, 13: 2.30}, 5: {3: 22.0, 13: 3.64}},
}  # fmt: skip
BS_VOLTAGE_V = 230.0
BS_MINIMUM_VOLTAGE_FACTOR = 0.95

# Residual current devices: multiple of the operating current -> longest time, s.
_RCD_LONGEST_S: dict[str, tuple[tuple[float, float], ...]] = {
    "general": ((5, 0.040), (2, 0.150), (1, 0.300)),
    "S": ((5, 0.150), (2, 0.200), (1, 0.500)),
}
# Type S: up to this multiple of the rated residual current it does not operate earlier, s.
_RCD_S_SHORTEST_S: tuple[tuple[float, float], ...] = ((1, 0.130), (2, 0.060), (5, 0.050))
# Where 0.25 A may stand for 5 x rated, A.
_SMALL_RESIDUAL_A = 0.030
_SMALL_FAST_A = 0.25

# Waveform -> (not operating, operating) as multiples of the rated residual current, of the types that are made for it.
_RCD_WAVES: dict[str, dict[str, tuple[float, float]]] = {
    "sinusoidal": dict.fromkeys(("AC", "A", "F", "B"), (0.5, 1.0)),
    "pulsating": dict.fromkeys(("A", "F", "B"), (0.35, 1.4)),
    "pulsating-90": dict.fromkeys(("A", "F", "B"), (0.25, 1.4)),
    "pulsating-135": dict.fromkeys(("A", "F", "B"), (0.11, 1.4)),
    "smooth-dc": {"B": (0.5, 2.0)},
}
RCD_TYPES = ("AC", "A", "F", "B")


def _current(current_a: float, what: str = "current") -> None:
    within(current_a, 0, 1e6, what, "A")


def _conventional_time_s(rating_a: float) -> float:
    return 3600.0 if rating_a <= 63 else 7200.0


def sooner(*trips: Trip) -> Trip:
    """When the first of several devices in one path operates.

    Limits: each of them opens the path alone and sees its own current; nothing is said about which one operates.
    Source: the earliest of several independent events (recomputed).
    Example: one certain after 0.1 s, one after 0.04 s.

    >>> sooner(Trip(0.1, 0.0), Trip(0.04, None), NEVER)
    Trip(certain_s=0.04, possible_from_s=0.0)
    """
    certain = [one.certain_s for one in trips if one.certain_s is not None]
    possible = [one.possible_from_s for one in trips if one.possible_from_s is not None]
    return Trip(min(certain, default=None), min(possible, default=None))


def lasting(trip: Trip, duration_s: float) -> Trip:
    """When a device operates on a current that ends by itself after a duration in s.

    Limits: a steady current until then and nothing after it; what the device would have done later does not happen.
    Source: a maker's uninterruptible supply gives 300 % for up to 20 ms (seen): of a 20 A unit that may trip B6 and
    not C16 (seen).
    Example: B6 at 60 A for 20 ms may operate; it is not certain.

    >>> lasting(mcb_trip(60, 6, "B"), 0.02).within(0.4), lasting(mcb_trip(60, 16, "C"), 0.02).within(0.4)
    ('possible', 'impossible')
    """
    within(duration_s, 0, 1e6, "duration of the current", "s")
    certain_s = trip.certain_s if trip.certain_s is not None and trip.certain_s <= duration_s else None
    possible_s = trip.possible_from_s
    return Trip(certain_s, possible_s if possible_s is not None and possible_s <= duration_s else None)


def magnetic_band_a(rating_a: float, curve: str, upper_a: float | None = None) -> tuple[float, float]:
    """The currents in A up to which a breaker does not, and from which it does, operate at once (within 0.1 s).

    Limits: curves B, C and D, ratings 0.3 to 125 A.  ``upper_a`` is the maker's own upper limit, inside the band of
    the standard.
    Source: IEC 60898-1 table 7: 3 to 5, 5 to 10, 10 to 20 x In (seen).  One manufacturer prints 15 x In for D; 20
    is used unless ``upper_a`` says otherwise.
    Example: B16.

    >>> magnetic_band_a(16, "B")
    (48, 80)
    """
    low, high = known(_CURVES, curve, "curve of the breaker")
    within(rating_a, 0.3, 125, "rating of the breaker", "A")
    if upper_a is None:
        return low * rating_a, high * rating_a
    within(upper_a, low * rating_a, high * rating_a, f"instantaneous operating current of a {curve} breaker", "A")
    return low * rating_a, upper_a


def mcb_trip(current_a: float, rating_a: float, curve: str, upper_a: float | None = None) -> Trip:
    """When a miniature circuit-breaker operates at a line current.

    Limits: curves B, C and D, 0.3 to 125 A, from cold.  Gates only: up to the rated current never; to 1.13 In not
    within the conventional time (1 h to 63 A, 2 h above); from 1.45 In within it; not before 1 s up to 2.55 In, and
    from there on within 60 s (120 s above 32 A); not before 0.1 s up to the lower, and within 0.1 s from the upper
    magnetic limit.  What lies between two gates is a band that follows from them because a larger current never
    takes longer.
    Source: IEC 60898-1 table 7 (seen: manufacturer's manual).  The times that newer editions fix at the lower
    magnetic limit (45 s and 90 s for B) are left out: they only narrow the band.
    Example: B16 at 43.5 A (2.72 In): by 60 s for certain, impossible within 0.04 s.

    >>> mcb_trip(43.5, 16, "B")
    Trip(certain_s=60.0, possible_from_s=0.1)
    >>> mcb_trip(80, 16, "B")
    Trip(certain_s=0.1, possible_from_s=0.0)
    """
    _current(current_a)
    lower_a, upper_a = magnetic_band_a(rating_a, curve, upper_a)
    conventional_s = _conventional_time_s(rating_a)
    if current_a <= rating_a:
        return NEVER
    if current_a <= 1.13 * rating_a:
        return Trip(None, conventional_s)
    if current_a < 1.45 * rating_a:
        return Trip(None, 1.0)
    if current_a < 2.55 * rating_a:
        return Trip(conventional_s, 1.0)
    thermal_s = 60.0 if rating_a <= 32 else 120.0
    if current_a == 2.55 * rating_a:
        return Trip(thermal_s, 1.0)
    if current_a < upper_a:
        return Trip(thermal_s, 0.1 if current_a <= lower_a else 0.0)
    return Trip(0.1, 0.0)


def mcb_operating_current_a(rating_a: float, curve: str, limit_s: float, upper_a: float | None = None) -> float | None:
    """The least current in A at which a miniature circuit-breaker is certain to operate within a time limit; ``None``: there is none.

    Limits: those of :func:`mcb_trip`; below 0.1 s the standard promises nothing.
    Source: IEC 60898-1 table 7 (seen).
    Example: B32 within 0.4 s.

    >>> mcb_operating_current_a(32, "B", 0.4)
    160
    """
    within(limit_s, 0.001, 1e5, "time limit", "s")
    _, upper_a = magnetic_band_a(rating_a, curve, upper_a)
    if limit_s >= _conventional_time_s(rating_a):
        return 1.45 * rating_a
    if limit_s >= (60 if rating_a <= 32 else 120):
        return min(2.55 * rating_a, upper_a)
    return upper_a if limit_s >= 0.1 else None


def bs7671_mcb_current_a(rating_a: float, curve: str, limit_s: float) -> float:
    """The current in A that BS 7671 takes for a miniature circuit-breaker, for 0.4 s or 5 s.

    Limits: B, C and D, 0.4 s and 5 s.
    Source: BS 7671 table 41.3: 5, 10 and 20 x In (seen).  For D and 5 s it takes 10 x In (from memory), which rests
    on the curves of its appendix and not on the gates of the product standard: :func:`mcb_trip` is not certain
    there.
    Example: D16 for 0.4 s and 5 s.

    >>> bs7671_mcb_current_a(16, "D", 0.4), bs7671_mcb_current_a(16, "D", 5)
    (320, 160)
    """
    known({0.4: True, 5: True}, limit_s, "time of the table in s")
    lower_a, upper_a = magnetic_band_a(rating_a, curve)
    return lower_a if curve == "D" and limit_s == 5 else upper_a


def rcbo_trip(
    current_a: float,
    residual_a: float,
    rating_a: float,
    curve: str,
    rated_residual_a: float,
    *,
    delay: str = "general",
    kind: str = "A",
    wave: str = "sinusoidal",
) -> Trip:
    """When a residual current breaker with overcurrent protection operates: by its breaker or by its residual part.

    Limits: those of :func:`mcb_trip` and :func:`rcd_trip`; ``current_a`` flows in the line, ``residual_a`` is the
    sum of what it senses.
    Source: IEC 61009-1, which takes the times of IEC 61008-1 and of IEC 60898-1 (seen: tester manuals).
    Example: B16, 30 mA, a fault of 43.5 A to earth: within 40 ms.

    >>> rcbo_trip(43.5, 43.5, 16, "B", 0.03)
    Trip(certain_s=0.04, possible_from_s=0.0)
    """
    residual = rcd_trip(residual_a, rated_residual_a, delay=delay, kind=kind, wave=wave)
    return sooner(mcb_trip(current_a, rating_a, curve), residual)


def gg_trip(current_a: float, rating_a: float) -> Trip:
    """When a gG fuse blows by the gates of its product standard.

    Limits: 16 to 630 A in the ratings of the table; 2 to 12 A with the conventional currents alone, since gates for
    them are not at hand. Up to the rated current never; to 1.25 In (1.5 In below 16 A) not within the conventional
    time (1 h to 63 A, 2 h to 160 A, 3 h to 400 A, 4 h above), from 1.6 In (1.9, to 4 A 2.1) within it; then not
    within 10 s, within 5 s, not within 0.1 s, within 0.1 s.
    Source: IEC 60269-1 tables 2 and 3 (from memory; 1.25 and 1.6 second-hand).  Stricter than the limits of BS 88
    in BS 7671: 32 A in 5 s needs 150 A (1.46 ohm) here and 1.7 ohm there; :func:`bs_fuse_trip` is that second
    model.
    Example: 32 A at 150 A.

    >>> gg_trip(150, 32)
    Trip(certain_s=5.0, possible_from_s=0.1)
    """
    _current(current_a)
    if rating_a not in GG_GATES_A and rating_a not in _GG_SMALL:
        ratings = ", ".join(f"{one:g}" for one in (*_GG_SMALL, *GG_GATES_A))
        raise ValueError(f"rating of a gG fuse: {rating_a:g} A is not one of {ratings}")
    conventional_s = next(
        hours * 3600.0 for limit, hours in ((63, 1), (160, 2), (400, 3), (630, 4)) if rating_a <= limit
    )
    holds, blows = (1.25, 1.6) if rating_a >= 16 else (1.5, 1.9) if rating_a > 4 else (1.5, 2.1)
    if current_a <= rating_a:
        return NEVER
    if current_a <= holds * rating_a:
        return Trip(None, conventional_s)
    certain_s = conventional_s if current_a >= blows * rating_a else None
    gates = GG_GATES_A.get(int(rating_a))
    if gates is None:
        return Trip(certain_s, 0.0)
    not_10s_a, in_5s_a, not_100ms_a, in_100ms_a = gates
    if current_a >= in_5s_a:
        certain_s = 0.1 if current_a >= in_100ms_a else 5.0
    return Trip(certain_s, 10.0 if current_a <= not_10s_a else 0.1 if current_a <= not_100ms_a else 0.0)


def gg_operating_current_a(rating_a: float, limit_s: float) -> float | None:
    """The least current in A at which a gG fuse is certain to blow within a time limit, by its gates; ``None``: there is none.

    Limits: those of :func:`gg_trip`; between the gates of 0.1 s and 5 s the current of 0.1 s.
    Source: IEC 60269-1 table 3 (from memory).
    Example: 32 A within 5 s and within 0.4 s.

    >>> gg_operating_current_a(32, 5), gg_operating_current_a(32, 0.4)
    (150, 350)
    """
    within(limit_s, 0.001, 1e5, "time limit", "s")
    gg_trip(0, rating_a)
    gates = GG_GATES_A.get(int(rating_a))
    if limit_s < 0.1 or gates is None:
        return None
    return gates[1] if limit_s >= 5 else gates[3]


def bs_fuse_loop_ohm(kind: str, rating_a: int, limit_s: float) -> float:
    """The largest loop impedance in ohm that BS 7671 prints for a fuse, at 230 V with the factor 0.95.

    Limits: ``BS 88-2`` (gG), ``BS 88-3`` (system C), ``BS 3036``, ``BS 1362``; 0.4 s and 5 s; the ratings of the
    tables.
    Source: BS 7671 tables 41.2 and 41.4 (second-hand: two data sets agree, a trade magazine's older values x 0.95
    reproduce them; 16 A in 5 s from memory).  Tables on the web that contradict 218.5 / Ia (25 A: 1.61, BS 3036 15
    A: 2.76) are not used.
    Example: 32 A, BS 88-2.

    >>> bs_fuse_loop_ohm("BS 88-2", 32, 0.4), bs_fuse_loop_ohm("BS 88-2", 32, 5)
    (0.99, 1.7)
    """
    times = known(BS_FUSES_OHM, kind, "kind of fuse")
    return known(
        known(times, limit_s, "time of the table in s"), rating_a, f"rating of a {kind} fuse for {limit_s:g} s in A"
    )


def bs_fuse_trip(current_a: float, rating_a: int, kind: str = "BS 88-2") -> Trip:
    """When a fuse blows by the loop impedances of BS 7671, the second model beside :func:`gg_trip`.

    Limits: the currents behind the printed impedances, 218.5 V / Zs, for 0.4 s and 5 s; earlier and later the
    tables say nothing, so above the rated current it is possible at any time.
    Source: those of :func:`bs_fuse_loop_ohm` (second-hand).
    Example: 32 A BS 88-2 at 218.5 V / 0.99 ohm = 220.7 A.

    >>> bs_fuse_trip(221, 32), bs_fuse_trip(150, 32)
    (Trip(certain_s=0.4, possible_from_s=0.0), Trip(certain_s=5, possible_from_s=0.0))
    """
    _current(current_a)
    times = known(BS_FUSES_OHM, kind, "kind of fuse")
    known(times[5], rating_a, f"rating of a {kind} fuse in A")
    if current_a <= rating_a:
        return NEVER
    driving_v = BS_VOLTAGE_V * BS_MINIMUM_VOLTAGE_FACTOR
    for limit_s, loops in times.items():
        if rating_a in loops and current_a * loops[rating_a] >= driving_v:
            return Trip(limit_s, 0.0)
    return Trip(None, 0.0)


def mccb_trip(
    current_a: float,
    long_time_a: float,
    instantaneous_a: float | None = None,
    *,
    short_time_a: float | None = None,
    short_time_holds_s: float = 0.0,
    short_time_clears_s: float | None = None,
    tolerance_ratio: float = 0.2,
) -> Trip:
    """When a moulded-case breaker with declared settings operates: overload ``long_time_a``, ``short_time_a`` with delay, instantaneous.

    Limits: settings up to 6300 A.  Overload: not within the conventional time (1 h to 63 A, 2 h above) at 1.05,
    within it from 1.30 of the setting.  Instantaneous: not before 0.2 s below, within 0.2 s above the setting with
    its tolerance (20 %).  The short-time delay has no standard time: the maker's ``short_time_holds_s`` and
    ``short_time_clears_s`` are used, and without the latter it is not certain.
    Source: IEC 60947-2, 7.2.1.2 and 8.3.3 (from memory).
    Example: 100 A with 1000 A instantaneous, at 1200 A and at 900 A.

    >>> mccb_trip(1200, 100, 1000), mccb_trip(900, 100, 1000)
    (Trip(certain_s=0.2, possible_from_s=0.0), Trip(certain_s=7200.0, possible_from_s=0.0))
    """
    _current(current_a)
    within(long_time_a, 1, 6300, "overload setting", "A")
    within(tolerance_ratio, 0, 0.5, "tolerance of the setting", "")
    within(short_time_holds_s, 0, 5, "delay that the short-time release holds", "s")
    if short_time_clears_s is not None:
        within(short_time_clears_s, short_time_holds_s, 60, "time by which the short-time release has cleared", "s")
    for setting_a, what in ((instantaneous_a, "instantaneous setting"), (short_time_a, "short-time setting")):
        if setting_a is not None:
            within(setting_a, long_time_a, 1e6, what, "A")
    if current_a <= long_time_a:
        return NEVER
    conventional_s = _conventional_time_s(long_time_a)
    if current_a <= 1.05 * long_time_a:
        return Trip(None, conventional_s)
    releases = [Trip(conventional_s if current_a >= 1.3 * long_time_a else None, 0.2)]
    if instantaneous_a is not None and current_a > (1 - tolerance_ratio) * instantaneous_a:
        releases.append(Trip(0.2 if current_a >= (1 + tolerance_ratio) * instantaneous_a else None, 0.0))
    if short_time_a is not None and current_a > (1 - tolerance_ratio) * short_time_a:
        surely = current_a >= (1 + tolerance_ratio) * short_time_a
        releases.append(Trip(short_time_clears_s if surely else None, short_time_holds_s))
    return sooner(*releases)


def rcd_band_a(rated_residual_a: float, kind: str = "A", wave: str = "sinusoidal") -> tuple[float, float | None]:
    """The residual currents in A below which a device does not, and from which it does operate; ``None``: it is not made for that wave.

    Limits: types AC, A, F and B; 6 mA to 30 A.  Waves: ``sinusoidal``, ``pulsating`` (half-wave), ``pulsating-90``
    and ``pulsating-135`` (cut at that angle), ``smooth-dc``.  A device that is not made for a wave may do anything
    from 0 A on.
    Source: IEC 61008-1, non-operating 0.5 x rated (seen); pulsating 0.35, 0.25, 0.11 to 1.4 (2 to 10 mA) and smooth
    d.c. 0.5 to 2 x rated, IEC 60755 and IEC 62423 (from memory).
    Example: 30 mA type A; the same with smooth d.c.

    >>> rcd_band_a(0.03), rcd_band_a(0.03, wave="smooth-dc")
    ((0.015, 0.03), (0.0, None))
    """
    within(rated_residual_a, 0.006, 30, "rated residual operating current", "A")
    if kind not in RCD_TYPES:
        raise ValueError(f"type of the residual current device: {kind} is not one of {', '.join(RCD_TYPES)}")
    band = known(_RCD_WAVES, wave, "wave of the residual current").get(kind)
    if band is None:
        return 0.0, None
    low, high = band
    if wave.startswith("pulsating") and rated_residual_a <= 0.010:
        high = 2.0
    return low * rated_residual_a, high * rated_residual_a


def rcd_trip(
    residual_a: float,
    rated_residual_a: float,
    *,
    delay: str = "general",
    kind: str = "A",
    wave: str = "sinusoidal",
    fast_a: float | None = None,
) -> Trip:
    """When a residual current device operates.

    Limits: ``general`` and ``S`` (S above 30 mA only), types AC, A, F and B.  Below half the rated residual current
    never (the half itself counts as "may", on the safe side); from there to the rated one it may; from the rated
    one on it is certain: 300 ms, 150 ms from 2 x, 40 ms from 5 x; S 500, 200, 150 ms and not before 130, 60, 50 ms
    at 1, 2, 5 x.  For 30 mA and less the maker may take 0.25 A in place of 5 x: that is used unless ``fast_a`` says
    otherwise.  For other waves all currents grow with :func:`rcd_band_a`.
    Source: IEC 61008-1 table 1 (seen: three makers' tester manuals); 60 ms of type S (from memory).
    Example: 30 mA: 14.9 mA, 20 mA, 60 mA.

    >>> rcd_trip(0.0149, 0.03), rcd_trip(0.02, 0.03)
    (Trip(certain_s=None, possible_from_s=None), Trip(certain_s=None, possible_from_s=0.0))
    >>> rcd_trip(0.06, 0.03)
    Trip(certain_s=0.15, possible_from_s=0.0)
    """
    _current(residual_a, "residual current")
    longest = known(_RCD_LONGEST_S, delay, "delay of the residual current device")
    not_a, operating_a = rcd_band_a(rated_residual_a, kind, wave)
    if delay == "S" and rated_residual_a <= 0.03:
        raise ValueError("a residual current device of type S is made above 30 mA only")
    if fast_a is not None:
        within(fast_a, rated_residual_a, 100, "residual current for 40 ms", "A")
    if residual_a < not_a or residual_a == 0:
        return NEVER
    if fast_a is None and operating_a is not None and rated_residual_a <= _SMALL_RESIDUAL_A:
        fast_a = _SMALL_FAST_A * operating_a / rated_residual_a
    certain_s = None
    if operating_a is not None:
        certain_s = next((time_s for times, time_s in longest if residual_a >= times * operating_a), None)
        if certain_s == 0.040 and fast_a is not None and residual_a < fast_a:
            certain_s = 0.150
    possible_s = 0.0
    if delay == "S" and operating_a is not None:
        possible_s = next(
            (time_s for times, time_s in _RCD_S_SHORTEST_S if residual_a <= times * rated_residual_a), 0.0
        )
    return Trip(certain_s, possible_s)


def rcd_tolerates_dc_a(kind: str, rated_residual_a: float) -> float:
    """The smooth direct current in A that may be superimposed while a residual current device still works as it should.

    Limits: types AC, A, F and B.
    Source: a manufacturer's manual: AC nothing, A 6 mA, F 10 mA, B 0.4 x rated or 10 mA, whichever is higher
    (seen).
    Example: 30 mA of type A and of type B.

    >>> rcd_tolerates_dc_a("A", 0.03), rcd_tolerates_dc_a("B", 0.03)
    (0.006, 0.012)
    """
    rcd_band_a(rated_residual_a, kind)
    return {"AC": 0.0, "A": 0.006, "F": 0.010, "B": max(0.4 * rated_residual_a, 0.010)}[kind]


def gives_additional_protection(rated_residual_a: float) -> bool:
    """Whether a residual current device counts as additional protection: 30 mA at most, and 40 ms at 5 x.

    Limits: devices without delay.
    Source: IEC 60364-4-41, 415.1.1 (seen).
    Example: 30 mA and 100 mA.

    >>> gives_additional_protection(0.03), gives_additional_protection(0.1)
    (True, False)
    """
    within(rated_residual_a, 0.006, 30, "rated residual operating current", "A")
    return rated_residual_a <= 0.03


def gfci_trip(residual_a: float) -> Trip:
    """When a ground-fault circuit interrupter of class A operates.

    Limits: below 4 mA never, from 6 mA on for certain within (20 / I mA)^1.43 s, at 264 mA and more within its
    value there, 25 ms. A connection between neutral and ground on its load side trips it by the same law.
    Source: UL 943 (seen: a manufacturer's answers, a contractors' forum; recomputed).  "7.26 s" in texts is 5 mA
    and inside the band.
    Example: 20 mA: 1 s.

    >>> gfci_trip(0.020)
    Trip(certain_s=1.0, possible_from_s=0.0)
    """
    _current(residual_a, "residual current")
    if residual_a < 0.004:
        return NEVER
    if residual_a < 0.006:
        return Trip(None, 0.0)
    return Trip(float((20 / (min(residual_a, 0.264) * 1000)) ** 1.43), 0.0)


def gfpe_trip(residual_a: float, pickup_a: float = 1200.0) -> Trip:
    """When the ground-fault protection of a 277/480 V service operates.

    Limits: pick-up 1 to 1200 A; certain within 1 s from 3000 A, below that by the maker's curve only.
    Source: NEC 230.95 (from memory).
    Example: 3000 A.

    >>> gfpe_trip(3000)
    Trip(certain_s=1.0, possible_from_s=0.0)
    """
    _current(residual_a, "ground-fault current")
    within(pickup_a, 1, 1200, "pick-up of the ground-fault protection", "A")
    if residual_a < pickup_a:
        return NEVER
    return Trip(1.0 if residual_a >= 3000 else None, 0.0)


def rating_ratio(current_a: float, rating_a: float) -> float:
    """The current as a multiple of a device's rating: what stands in place of a time where the rulebook has no time table.

    Limits: ratings 0.1 to 6300 A.
    Source: NEC 250.4(A)(5) asks for a path that makes the device operate and sets no time (seen: quotations).
    Example: 160 A through 32 A.

    >>> rating_ratio(160, 32)
    5.0
    """
    _current(current_a)
    within(rating_a, 0.1, 6300, "rating of the device", "A")
    return current_a / rating_a
