"""The direct-current side is not earthed, and nothing watches for its first earth fault.

Checks: batteries and arrays of which no pole is earthed and whose voltage is above the limit of extra-low voltage: whether
insulation or residual-current monitoring is written for them, or an insulation monitor stands on their conductors, in every
position of the switches in which an inverter is joined to them.  A monitor of an IT system that an inverter joins to them without
separation watches them too.  Where such an inverter runs with an earthed neutral, a monitor of its own sees nothing but that link:
there only what is built into the inverter, and measures before it starts, or residual-current monitoring counts.

Danger: the first earth fault of such a side drives no current and stays for years.  The second one is a short circuit of the array
or of the battery through PE, with an arc that burns as long as the sun shines or the battery lasts.

Remedy: insulation monitoring (most inverters have it: write it), with a signal that somebody sees.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    DirectSide,
    Example,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)

_ROOF = "voltage: 480 V, earthed-pole: none, monitoring: insulation"


def check(side: DirectSide, params: Params) -> Verdict:
    """Whether somebody would learn of the first fault."""
    if side.source.monitoring in ("insulation", "residual-current"):
        return PASS if side.source.earthed_pole in (None, "none") else NotApplicable("a pole is earthed")
    if side.source.voltage_v is None or side.source.voltage_v > params["elv-v"]:
        side.settle()
    if any(one.earthed_pole not in (None, "none") for one in side.together):
        return NotApplicable("a pole is earthed")
    if not side.in_use:
        return NotApplicable("no inverter is joined to it in some positions of its switches")
    if side.watched_across or any(one.monitoring in ("insulation", "residual-current") for one in side.together):
        return PASS
    running = {name for name, _ in side.loops}
    grounding = [one for one, _ in side.inverters if one.id in running and not one.isolated]
    if side.watched and not grounding:
        return PASS
    if side.source.voltage_v is None:
        raise Unknown(f"the voltage of {side.id}", side.route)
    if side.source.voltage_v <= params["elv-v"]:
        return NotApplicable(f"extra-low voltage, no more than {params['elv-v']:g} V")
    if side.source.earthed_pole is None:
        raise Unknown(f"the earthed-pole of {side.id}", side.route)
    if side.watched:
        if grounding[0].isolated is None:
            raise Unknown(f"isolated of {grounding[0].id}", grounding[0].route)
        return Finding(
            f"the monitor on the d.c. side of {side.id} sees the earthed neutral through {grounding[0].id}, and no insulation fault",
            "it warns whenever the inverter runs, until nobody heeds it, and the second fault is a short circuit through PE",
            f"write the monitoring that {grounding[0].id} has built in, or take a residual-current device",
            (Mention(grounding[0].id, grounding[0].route, "not isolated"),),
            figures=(("voltage", figure(side.source.voltage_v, "V")),),
        )
    if side.source.monitoring is None:
        raise Unknown(f"the monitoring of {side.id}", side.route)
    return Finding(
        f"the d.c. side of {side.id} is not earthed, and nothing watches for its first earth fault",
        "the first fault stays unseen; the second is a short circuit through PE with an arc that nothing ends",
        f"have the insulation of {side.id} monitored, with a signal that somebody sees",
        figures=(("voltage", figure(side.source.voltage_v, "V")),),
    )


RULE = rule(
    id="dc-earth-fault-unwatched",
    level="warning",
    over=Facts.direct_sides,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.531.3.5, 712.538", False),
        Ref("bs7671", "BS 7671", "712.538", False),
        Ref("nec", "NEC", "690.41(B)", False),
        Ref("as-nzs", "AS/NZS 5033", "3.4.3", False),
        Ref("sans", "SANS 10142-1", "7.15", False),
    ),
    params=(Param("elv-v", "limit of extra-low voltage, direct current, in V, from memory", 120.0, {"nec": 60.0}),),
    examples=(
        Example("solar-cabin", ((_ROOF, _ROOF.replace("insulation", "none")),), ("roof",)),
        Example("solar-cabin", ((_ROOF, _ROOF.replace("insulation", "none")),), ("roof",), "nec"),
        Example("solar-cabin", ((_ROOF, _ROOF.replace("insulation", "residual-current")),), ()),
        # on either side of the limit
        Example("solar-cabin", ((_ROOF, "voltage: 121 V, earthed-pole: none, monitoring: none"),), ("roof",)),
        Example("solar-cabin", ((_ROOF, "voltage: 120 V, earthed-pole: none, monitoring: none"),), ()),
        # a device of its own
        Example(
            "solar-cabin",
            (
                (_ROOF, _ROOF.replace("insulation", "none")),
                ("electrodes:\n", "monitors:\n  imd: {at: solar, impedance: 1 Mohm}\n\nelectrodes:\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
