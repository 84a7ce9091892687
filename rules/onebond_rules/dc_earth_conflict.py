"""A pole of the direct-current side is earthed, and the inverter does not separate it from an earthed neutral.

Checks: batteries and arrays with an earthed pole: whether an inverter on the same conductors is written as not isolated
(`isolated: no`), while something ties the neutral of its output or input to earth in some operating state.

Danger: the bridge of such an inverter joins each pole to the a.c. conductors in turn.  With both sides earthed the loop closes
through PE: direct current flows there, RCDs of type AC and A go blind, electrodes and joints corrode, and the inverter, or the
fuse of the battery, is destroyed.  A battery drives such a fault with its full short-circuit current.

Remedy: leave the direct-current side unearthed and have it monitored, or take an inverter that separates the two sides.
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
    Params,
    Ref,
    Unknown,
    Verdict,
    rule,
)

_EARTHED = ("voltage: 48 V, earthed-pole: none", "voltage: 48 V, earthed-pole: negative")
_JOINED = ("isolated: yes", "isolated: no")


def check(side: DirectSide, params: Params) -> Verdict:
    """Whether an earthed pole meets an earthed neutral."""
    pole = side.source.earthed_pole
    if pole is None:
        raise Unknown(f"the earthed-pole of {side.id}", side.route)
    if pole == "none":
        return NotApplicable("none of its poles is earthed")
    lacking = next((one for one, reference in side.inverters if one.isolated is None and reference), None)
    for inverter, reference in side.inverters:
        if inverter.isolated is False and reference:
            return Finding(
                f"the {pole} pole of {side.id} is earthed, and {inverter.id} does not separate it from an a.c. neutral that is earthed",
                "a loop through the inverter and PE: direct current in PE blinds RCDs, and a battery feeds it with all that it has",
                f"leave {side.id} unearthed and monitored, or take an inverter for {inverter.id} that is isolated",
                (Mention(inverter.id, inverter.route, f"not isolated; its neutral is tied by {reference}"),),
            )
    if lacking is not None:
        raise Unknown(f"isolated of {lacking.id}", lacking.route)
    return PASS


RULE = rule(
    id="dc-earth-conflict",
    level="error",
    over=Facts.direct_sides,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.312.2", False),
        Ref("bs7671", "BS 7671", "712.312.2", False),
        Ref("nec", "NEC", "690.41", False),
        Ref("as-nzs", "AS/NZS 5033", "2.2", False),
        Ref("sans", "SANS 10142-1", "7.15", False),
    ),
    examples=(
        *(
            Example("solar-cabin", (_EARTHED, _JOINED), ("bank",), book)
            for book in ("iec", "bs7671", "nec", "as-nzs", "sans")
        ),
        Example("solar-cabin", (_EARTHED,), ()),
        Example("solar-cabin", (_JOINED,), ()),
        # the a.c. side is tied to earth nowhere: another rule's matter
        Example("solar-cabin", (_EARTHED, _JOINED, ("neutral-bond: fixed", "neutral-bond: none")), ()),
    ),
    page=__doc__,
    in_states=False,
)
