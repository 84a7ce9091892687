"""Limits that standards print as tables: disconnection times of table 41.1, and the conditions that use them.  Data, no verdicts.

Voltages are the nominal voltage of a line to earth, in V; times s, resistances ohm.
"""

from __future__ import annotations

from onebond.circuit.components.refusal import known, within

# Table 41.1: upper limit of the nominal voltage to earth (the limit included) -> TN a.c., TN d.c., TT a.c., TT d.c., in s.
TABLE_41_1_S: tuple[tuple[float, dict[tuple[str, str], float | None]], ...] = (
    (120, {("TN", "ac"): 0.8, ("TN", "dc"): None, ("TT", "ac"): 0.3, ("TT", "dc"): None}),
    (230, {("TN", "ac"): 0.4, ("TN", "dc"): 1.0, ("TT", "ac"): 0.2, ("TT", "dc"): 0.4}),
    (400, {("TN", "ac"): 0.2, ("TN", "dc"): 0.4, ("TT", "ac"): 0.07, ("TT", "dc"): 0.2}),
    (1500, {("TN", "ac"): 0.1, ("TN", "dc"): 0.1, ("TT", "ac"): 0.04, ("TT", "dc"): 0.1}),
)
_TN_DC_2005_S = 5.0
_OTHER_CIRCUITS_S: dict[str, float] = {"TN": 5.0, "TT": 1.0}
_TOUCH_LIMIT_V: dict[str, dict[str, float]] = {"dry": {"ac": 50.0, "dc": 120.0}, "special": {"ac": 25.0, "dc": 60.0}}
# What part of the calculated limit a loop impedance measured cold may have.
FIELD_FACTOR: dict[str, float] = {"iec": 2 / 3, "uk": 0.8}


def disconnection_time_s(voltage_v: float, system: str, current: str = "ac", edition: str = "later") -> float | None:
    """The longest disconnection time of table 41.1 in s; ``None``: disconnection is not asked for against electric shock.

    Limits: above 50 V to 1500 V to earth, ``TN`` and ``TT``, ``ac`` and ``dc``; each row includes its upper
    voltage.  ``edition``: ``later`` or ``2005``. A TT circuit with an overcurrent device and all extraneous parts
    on the main bonding may take the times of TN.
    Source: IEC 60364-4-41 and BS 7671 table 41.1 (seen: web copy); d.c. of 120 to 230 V in TN 5 s in 2005 (seen), 1
    s later (from memory), the later one is used.
    Example: 230 V, TN and TT.

    >>> disconnection_time_s(230, "TN"), disconnection_time_s(230, "TT")
    (0.4, 0.2)
    """
    within(voltage_v, 0, 1500, "voltage to earth", "V")
    if voltage_v <= 50:
        raise ValueError(f"table 41.1 begins above 50 V to earth, the circuit has {voltage_v:g} V")
    row = next(times for limit_v, times in TABLE_41_1_S if voltage_v <= limit_v)
    old = known({"later": False, "2005": True}, edition, "edition of table 41.1")
    known({"ac": True, "dc": True}, current, "kind of current")
    known(_OTHER_CIRCUITS_S, system, "type of earthing")
    if old and 120 < voltage_v <= 230 and (system, current) == ("TN", "dc"):
        return _TN_DC_2005_S
    return row[system, current]


def table_times_apply(rating_a: float, socket_outlets: bool, edition: str = "later") -> bool:
    """Whether a final circuit has to meet the times of table 41.1, by the rating of its overcurrent device in A.

    Limits: final circuits only.  ``later``: to 63 A with socket-outlets, to 32 A where it supplies fixed equipment
    alone; ``2005``: to 32 A.
    Source: IEC 60364-4-41, 411.3.2.2: 32 A and 63 A (seen), the split by use (from memory).
    Example: 40 A with and without socket-outlets.

    >>> table_times_apply(40, True), table_times_apply(40, False), table_times_apply(40, True, "2005")
    (True, False, False)
    """
    within(rating_a, 0.1, 6300, "rating of the circuit", "A")
    old = known({"later": False, "2005": True}, edition, "edition")
    return rating_a <= (63 if socket_outlets and not old else 32)


def circuit_time_s(
    voltage_v: float,
    system: str,
    *,
    final: bool,
    rating_a: float,
    socket_outlets: bool,
    current: str = "ac",
    edition: str = "later",
) -> float | None:
    """The longest disconnection time in s of a circuit: table 41.1 for final circuits in its scope, else 5 s in TN and 1 s in TT.

    Limits: those of :func:`disconnection_time_s` and :func:`table_times_apply`; a distribution circuit is not
    ``final``.
    Source: IEC 60364-4-41, 411.3.2.2 to 411.3.2.4 (seen).
    Example: a distribution circuit at 230 V in TN and TT.

    >>> [circuit_time_s(230, one, final=False, rating_a=100, socket_outlets=False) for one in ("TN", "TT")]
    [5.0, 1.0]
    """
    table_s = disconnection_time_s(voltage_v, system, current, edition)
    if table_s is None or (final and table_times_apply(rating_a, socket_outlets, edition)):
        return table_s
    return _OTHER_CIRCUITS_S[system]


def touch_limit_v(current: str = "ac", place: str = "dry") -> float:
    """The conventional touch voltage limit in V.

    Limits: ``ac`` and ``dc``; ``dry``, or ``special`` places of older rules (25 and 60 V).
    Source: IEC 61140, IEC 60364 (seen: 50 and 25 V; d.c. from memory).
    Example: a.c.

    >>> touch_limit_v()
    50.0
    """
    return known(known(_TOUCH_LIMIT_V, place, "place"), current, "kind of current")


def largest_loop_ohm(voltage_v: float, operating_a: float, minimum_voltage_factor: float = 1.0) -> float:
    """The largest loop impedance in ohm at which a device still gets its operating current.

    Limits: 10 V to 1500 V, 0.001 A to 1 MA; factor 0.8 to 1.
    Source: Zs Ia <= U0, IEC 60364-4-41, 411.4.4 (seen); BS 7671 since 2015 multiplies U0 by 0.95 (seen): the caller
    says which.
    Example: B32: 1.4375 ohm (IEC), 1.366 ohm, printed 1.37 (BS 7671).

    >>> f"{largest_loop_ohm(230, 160):.4f} {largest_loop_ohm(230, 160, 0.95):.3f}"
    '1.4375 1.366'
    """
    within(voltage_v, 10, 1500, "voltage to earth", "V")
    within(operating_a, 0.001, 1e6, "operating current", "A")
    within(minimum_voltage_factor, 0.8, 1, "minimum voltage factor", "")
    return voltage_v * minimum_voltage_factor / operating_a


def largest_earth_resistance_ohm(rated_residual_a: float, touch_limit_v: float = 50.0) -> float:
    """The largest resistance in ohm of electrode and protective conductor that a residual current device allows in TT.

    Limits: 6 mA to 30 A; touch voltage limit 12 to 120 V.  Above 200 ohm an electrode may be unstable.
    Source: RA I_dn <= 50 V, IEC 60364-4-41, 411.5.3 (seen); BS 7671 table 41.5 (recomputed).
    Example: 30 mA: 1667 ohm.

    >>> f"{largest_earth_resistance_ohm(0.03):.0f}"
    '1667'
    """
    within(rated_residual_a, 0.006, 30, "rated residual operating current", "A")
    within(touch_limit_v, 12, 120, "touch voltage limit", "V")
    return touch_limit_v / rated_residual_a


def it_second_fault_loop_ohm(line_voltage_v: float, operating_a: float, neutral_distributed: bool) -> float:
    """The largest loop impedance in ohm of each of two faults in an IT system whose exposed parts are joined.

    Limits: 10 to 1800 V between lines; with a distributed neutral the voltage to neutral drives the current, U /
    sqrt(3).
    Source: 2 Zs Ia <= U or U0, IEC 60364-4-41, 411.6.4 (from memory).
    Example: 400 V, 160 A: 1.25 ohm, so 0.5 ohm will do.

    >>> it_second_fault_loop_ohm(400, 160, False)
    1.25
    """
    within(line_voltage_v, 10, 1800, "voltage between lines", "V")
    within(operating_a, 0.001, 1e6, "operating current", "A")
    return line_voltage_v / (3**0.5 if neutral_distributed else 1) / (2 * operating_a)


def supplementary_bonding_ohm(current_a: float, current: str = "ac") -> float:
    """The largest resistance in ohm between parts joined by supplementary bonding, for the current that operates the device.

    Limits: 50 V a.c. or 120 V d.c.; for a source that limits its current, the largest current that it gives for up
    to 5 s.
    Source: R <= 50 V / Ia, IEC 60364-4-41, 415.2.2; 60364-5-55, 551.4.4 (from memory).
    Example: an inverter limited to 43.5 A: 1.15 ohm.

    >>> f"{supplementary_bonding_ohm(43.5):.2f}"
    '1.15'
    """
    within(current_a, 0.001, 1e6, "current", "A")
    return touch_limit_v(current) / current_a


def measured_loop_ohm(largest_ohm: float, practice: str) -> float:
    """The largest loop impedance in ohm that a measurement on the cold conductors may show.

    Limits: ``iec`` two thirds, ``uk`` 0.8; they disagree, so the caller says which.
    Source: IEC 60364-6 annex (from memory); United Kingdom guidance note 3, a trade magazine (seen).
    Example: B32: 0.958 ohm and 1.09 ohm.

    >>> f"{measured_loop_ohm(230 / 160, 'iec'):.3f} {measured_loop_ohm(218.5 / 160, 'uk'):.4f}"
    '0.958 1.0925'
    """
    within(largest_ohm, 0, 1e6, "largest loop impedance", "ohm")
    return largest_ohm * known(FIELD_FACTOR, practice, "practice of measurement")
