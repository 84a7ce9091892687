"""The frame of an array, of a battery rack or of its enclosure is not joined to the protective conductors.

Checks: every battery and array that is not written as class II: whether PE cores lead from it to a board, an inverter or an
electrode of the installation.

Danger: a fault of the direct-current side, or of the inverter, raises the frame to a voltage that nothing switches off: the sun
and the battery go on.  Whoever stands on the roof or opens the enclosure touches it.

Remedy: a PE core beside the direct-current conductors, or a bonding conductor to the main earthing terminal.  A battery cannot be
switched off: insulate tools, cover terminals, take off metal.
"""

from __future__ import annotations

from onebond.rule import PASS, DirectSide, Example, Facts, Finding, NotApplicable, Params, Ref, Verdict, rule

_ROOF = "roof-cable: {from: roof, to: solar, cores: DC+ DC- PE"


def check(side: DirectSide, params: Params) -> Verdict:
    """Whether the frame is joined."""
    if side.source.class_ii:
        return NotApplicable("class II: it has no frame to join")
    if side.joined:
        return PASS
    what = "battery" if side.source.kind == "battery" else "array"
    return Finding(
        f"no protective conductor leads from the frame of the {what} {side.id} to the rest of the installation",
        "a fault makes the frame live, and neither the sun nor a battery can be switched off",
        f"join {side.id} to PE with a core of its cable, or with a bonding conductor",
    )


RULE = rule(
    id="dc-frame-unbonded",
    level="error",
    over=Facts.direct_sides,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.411.3.1.1, 712.542", False),
        Ref("bs7671", "BS 7671", "712.411.3.1.1", False),
        Ref("nec", "NEC", "690.43", False),
        Ref("as-nzs", "AS/NZS 5033", "4.6", False),
        Ref("sans", "SANS 10142-1", "7.15", False),
    ),
    examples=(
        Example("solar-cabin", ((_ROOF, _ROOF.replace(" PE", "")),), ("roof",)),
        Example("solar-cabin", (("to: inv.dc, cores: DC+ DC- PE", "to: inv.dc, cores: DC+ DC-"),), ("bank",)),
        Example(
            "solar-cabin",
            ((_ROOF, _ROOF.replace(" PE", "")), ("voltage: 480 V,", "voltage: 480 V, equipment: class-II,")),
            (),
        ),
        # an electrode of its own
        Example(
            "solar-cabin",
            ((_ROOF, _ROOF.replace(" PE", "")), ("  rod: {at: hut}", "  rod: {at: hut}\n  mast: {at: roof}")),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
