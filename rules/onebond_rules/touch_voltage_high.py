"""A frame keeps more than the permitted touch voltage during an earth fault for longer than permitted.

Checks: the prospective voltage between a faulty frame and the mass of earth, without a body in it, at every place and circuit end
in every operating state.  Above 50 V the fault has to be cleared for certain within the time of the rulebook's table, or, where
there is none, within the time that the older curves of touch voltage against time allow.  Supplementary bonding to the metal that
is written to be near the frame is an exception that reports name.

Danger: with 100 V from hand to hand most people carry more than 50 mA, and after some tenths of a second the heart may
fibrillate.

Remedy: clear the fault sooner (an RCD, a quicker device), or lower the voltage: a larger PE, supplementary bonding, an electrode
of less resistance.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
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
    rule,
)
from onebond_rules.shared import FUSES, LOWEST_VOLTAGE, MEDICAL, SUPPLEMENTARY, TIMES, bonded_locally

_COOKER = "cooker: {from: main, cores: L1 N PE, size: 6 mm2, length: 9 m, serves: fixed, through: [{kind: mcb, "
_PIPE = ("electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe, near: [pump]}\n\nelectrodes:\n")
_BOND = ("connections:\n", "connections:\n  bonding: {from: pump, to: pipe, cores: PE, size: 4 mm2, length: 3 m}\n")
_PUMP = (
    "pump: {from: hut-rcd, cores: L1 N PE, size: 2.5 mm2, length: 150 m, serves: fixed, through: [{kind: mcb, curve: C"
)


def check(fault: EarthFault, params: Params) -> Verdict:
    """Whether the touch voltage of this fault lasts too long."""
    if fault.outside:
        return NotApplicable(fault.outside)
    if fault.island.it:
        return NotApplicable("IT: judged by disconnection-too-slow")
    touch = fault.touch_v()
    if touch is None:
        return PASS
    limit = fault.table_s if params["table"] else fault.touch_time_s
    if limit is None:
        return PASS
    late = fault.late(limit, params["minimum-voltage-factor"], params["fuses"])
    if not late:
        return PASS
    if len(late) < len(fault.feds):
        return NotApplicable("what is left once one source is cut off is judged where the other feeds alone")
    limit_v = params["medical-v"] if fault.place == "medical" else params["limit-v"]
    if touch <= limit_v:
        # a source whose limit is not declared may give more, and lift the frame higher
        more = next((one.lacking for one in late if one.limited_by and one.lacking), None)
        if more is None:
            return PASS
        raise Unknown.of(more)
    sure = [one for one in late if one.lacking is None]
    if not sure:
        assert late[0].lacking is not None
        raise Unknown.of(late[0].lacking)
    if fault.unprotected:
        raise Unknown(f"the device that protects {fault.id} against what {fault.unprotected} gives", fault.route)
    if ahead := fault.behind_transformer:
        why = f"nothing behind the transformer {ahead} clears it for certain; what a device ahead of it does is not worked out"
        raise Unknown(ahead, fault.route, why)
    if bonded := bonded_locally(fault, params["medical-v"], params["supplementary"]):
        return bonded
    cause = "source-too-weak-to-trip" if all(one.limited_by for one in sure) else "disconnection-too-slow"
    return Finding(
        f"during an earth fault at {fault.id} its frame has more than {limit_v:g} V to earth for too long",
        "whoever stands on the ground and touches the frame carries a current that can stop the heart",
        "clear the fault sooner (an RCD, a quicker device), or lower the voltage by a larger PE or supplementary bonding",
        because=(cause, fault.id),
        figures=(
            ("at", fault.point.written),
            ("touch voltage", f"{touch:.0f} V"),
            ("may last", f"{limit:g} s"),
            (
                "cleared",
                "not for certain"
                if sure[0].trip.certain_s is None
                else f"after {sure[0].trip.certain_s:g} s at the latest",
            ),
        ),
        weight=touch,
    )


RULE = rule(
    id="touch-voltage-high",
    level="warning",
    over=Facts.earth_faults,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.2.6, 415.2", False),
        Ref("bs7671", "BS 7671", "411.3.2.6, 415.2", False),
        Ref("as-nzs", "AS/NZS 3000", "5.7", False),
        Ref("all", "IEC TS 60479-1", "zones of current and time", False),
        PRACTICE,
    ),
    params=(
        TIMES,
        Param("limit-v", "touch voltage to earth, in V, that may last", 50.0),
        MEDICAL,
        LOWEST_VOLTAGE,
        FUSES,
        SUPPLEMENTARY,
    ),
    examples=(
        Example("measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m")),), ("cooker",)),
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut")),), ("pump",)),
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut")), _PIPE, _BOND), ()),
        # 58 V may last 0.6 s by the older curves
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut")),), ("pump",), "nec"),
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut").replace("150 m", "100 m")),), ()),
        Example(
            "measured-house", ((_COOKER, _COOKER.replace("9 m", "165 m").replace("from: main", "from: main-rcd")),), ()
        ),
    ),
    page=__doc__,
)
