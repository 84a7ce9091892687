"""An earth fault is not certain to be cleared in time.

Checks: a fault between line and frame at every board, changeover and circuit end, in every operating state, at its smallest
current (warm conductors, the weakest supply, no help by electrodes beside a supplier's conductor).  Some device on each way has
to operate for certain, by the gates of its product standard, within the time of table 41.1 for final circuits, or 5 s in TN and
1 s in TT for distribution.  In IT the first fault may not lift a frame above 50 V, and the second has to be cleared in the time
of TN.  Where the rulebook sets no time, a device has to operate for certain within a few seconds.  The shorter times and 25 V of
older editions for farms and construction sites are not applied: later editions dropped them.  In medical places 25 V are judged by
`touch-voltage-high`.  Where metal is written to be near the frame of fixed equipment, reports name as an exception that it is bonded
to it: the bonding conductors have no more than 50 V at the fault current, nor at the current that would operate the device in 5 s.

Danger: the frame stays live for as long as nothing opens, with half of the voltage or more in TN and nearly all of it in TT.

Remedy: a device that needs less current (a lower rating, a quicker curve), a larger cable or a shorter way, a PE of the size
of the lines, or an RCD.  The figures say what flows and what the devices on the way make of it.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Cleared,
    EarthFault,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)
from onebond_rules.shared import (
    DOUBLE_INSULATED,
    FUSES,
    LONGEST,
    LOWEST_VOLTAGE,
    MEDICAL,
    SUPPLEMENTARY,
    TIMES,
    bonded_locally,
)

_COOKER = "cooker: {from: main, cores: L1 N PE, size: 6 mm2, length: 9 m, serves: fixed, through: [{kind: mcb, "
_PIPE = ("electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe, near: [cooker]}\n\nelectrodes:\n")
_BOND = ("connections:\n", "connections:\n  bonding: {from: cooker, to: pipe, cores: PE, size: 4 mm2, length: 3 m}\n")
_PUMP = "pump: {from: main, cores: L1 L2 L3 PE, size: 4 mm2, length: 40 m"


def check(fault: EarthFault, params: Params) -> Verdict:
    """Whether this fault is certain to be cleared within the limit."""
    if fault.outside:
        return NotApplicable(fault.outside)
    if fault.island.it:
        touch = fault.touch_v()
        if touch is not None and not touch <= params["first-fault-v"]:
            return _first_fault(fault, touch)
    factor, fuses = params["minimum-voltage-factor"], params["fuses"]
    loop_ohm = fault.loop_ohm
    limit = fault.table_s if params["table"] else params["longest-s"]
    if limit is None:
        return PASS
    late = fault.late(limit, factor, fuses)
    if not late:
        return PASS
    if params["table"] and fault.serves_matters:
        raise Unknown(f"what {fault.id} serves", fault.route)
    here = [one for one in late if not one.limited_by]
    if not here:
        return NotApplicable("the source limits the current: judged by source-too-weak-to-trip")
    sure = [one for one in here if one.lacking is None]
    if not sure:
        assert here[0].lacking is not None
        raise Unknown.of(here[0].lacking)
    if fault.unprotected:
        raise Unknown(f"the device that protects {fault.id} against what {fault.unprotected} gives", fault.route)
    if ahead := fault.behind_transformer:
        why = f"nothing behind the transformer {ahead} clears it for certain; what a device ahead of it does is not worked out"
        raise Unknown(ahead, fault.route, why)
    if bonded := bonded_locally(fault, params["medical-v"], params["supplementary"]):
        return bonded
    current_a = fault.second[0] * factor if fault.island.it and fault.second else fault.current_a(factor)
    figures = [
        ("at", fault.point.written),
        ("fault", "the second" if fault.island.it else fault.line),
        ("fault current", figure(current_a, "A")),
        ("limit", f"{limit:g} s"),
        ("cleared", _when(sure[0])),
    ]
    if not fault.island.it:
        figures.insert(2, ("loop impedance", figure(loop_ohm, "ohm")))
        if fault.touch is not None:
            figures.append(("touch voltage", f"{fault.touch:.0f} V"))
    for passed in fault.met_by[0].passed if not params["table"] and fault.met_by else ():
        if passed.device.rating_a:
            figures.append((f"times the rating of {passed.name}", f"{current_a / passed.device.rating_a:.2g}"))
    no_rcd = fault.system == "TT" and not fault.rcds
    return Finding(
        f"an earth fault at {fault.id} is not certain to be cleared {params['in-time']}",
        "the frame stays live until somebody switches off; whoever touches it is part of the circuit meanwhile",
        f"give {fault.id} an RCD, or a device that operates at this current: a lower rating, a quicker curve, a larger cable"
        + (DOUBLE_INSULATED if no_rcd and fault.point.sort == "board" else ""),
        because=("rcd-missing", fault.id) if no_rcd and params["table"] else None,
        figures=tuple(figures),
        weight=1 / current_a if current_a else float("inf"),
    )


def _first_fault(fault: EarthFault, touch_v: float) -> Finding:
    return Finding(
        f"a first fault at {fault.id} lifts its frame above the voltage that may stay in an IT system",
        "an IT system goes on running after its first fault, and so does the voltage on the frame",
        "lower the resistance of the electrode, or the capacitance and leakage to earth of the system",
        figures=(
            ("at", fault.point.written),
            ("fault current", figure(fault.smallest_a, "A")),
            ("touch voltage", f"{touch_v:.0f} V"),
        ),
        weight=touch_v,
    )


def _when(cleared: Cleared) -> str:
    if cleared.trip.certain_s is not None:
        return f"after {cleared.trip.certain_s:g} s at the latest by {cleared.by}"
    return "never for certain" if cleared.trip.possible_from_s is not None else "never"


RULE = rule(
    id="disconnection-too-slow",
    level="error",
    levels={"nec": "warning"},
    over=Facts.earth_faults,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.2, table 41.1"),
        Ref("iec", "IEC 60364-4-41", "411.4.4"),
        Ref("iec", "IEC 60364-4-41", "411.5.3, 411.6.2, 411.6.4", False),
        Ref("bs7671", "BS 7671", "411.3.2, table 41.1"),
        Ref("bs7671", "BS 7671", "411.4.4", False),
        Ref("nec", "NEC", "250.4(A)(5)"),
        Ref("as-nzs", "AS/NZS 3000", "5.7", False),
        Ref("sans", "SANS 10142-1", "6.7", False),
        PRACTICE,
    ),
    params=(
        TIMES,
        Param(
            "in-time",
            "words for the limit",
            "within the time that the rulebook allows",
            {"nec": "within a few seconds"},
        ),
        LONGEST,
        LOWEST_VOLTAGE,
        FUSES,
        MEDICAL,
        SUPPLEMENTARY,
        Param("first-fault-v", "touch voltage, in V, that may stay after the first fault of an IT system", 50.0),
    ),
    examples=(
        # 1.61 ohm: 143 A, and a B32 breaker needs 160 A
        Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m")),), ("cooker",)),
        # with the voltage at its lowest the same breaker needs 1.37 ohm; the loop has 1.39 ohm
        Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "135 m")),), ("cooker",), "bs7671"),
        Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "135 m")),), ()),
        *(
            Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m")),), ("cooker",), book)
            for book in ("nec", "as-nzs", "sans")
        ),
        # bonded to the pipe beside it: 160 A through 3 m of 4 mm2
        *(
            Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m")), _PIPE, _BOND), finds, book)
            for book, finds in (("iec", ()), ("nec", ("cooker",)))
        ),
        Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m")), _PIPE), ("cooker",)),
        # a supply through 1.2 ohm does not blow its fuse in 5 s either
        Example("measured-house", (("loop-impedance: 0.35 ohm", "loop-impedance: 1.2 ohm"),), ("main", "annexe")),
        # an RCD does not mind a long cable
        Example(
            "measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m").replace("from: main", "from: main-rcd")),), ()
        ),
        # IT: the second fault meets both cables; the first one, in a frame on an electrode of its own, that electrode
        Example("measured-pumps", ((_PUMP, _PUMP.replace("40 m", "90 m")),), ("pump",)),
        Example(
            "measured-pumps",
            (
                (_PUMP, _PUMP.replace(" PE", "")),
                ("electrodes:\n", "electrodes:\n  pump-rod: {at: pump, resistance: 500 ohm}\n"),
                ("leakage: 1 mA", "leakage: 200 mA"),
                ("leakage: 2 mA", "leakage: 300 mA"),
            ),
            ("pump",),
        ),
        # TT: nothing but the RCD at the service is certain to open
        Example(
            "measured-farm",
            ((", {kind: rcd, id: rcd-main, rating: 63 A, residual: 300 mA, type: A, delay: S}", ""),),
            ("main", "mill", "hybrid", "dairy", "cooler"),
        ),
    ),
    page=__doc__,
)
