"""A protective conductor is opened by a device, a changeover or an RCD.

Checks: whether PE is among the poles of any device or changeover.

Danger: with the device open, every frame behind it is without earth while other ways may still feed it.

Remedy: take PE out of the poles; a protective conductor goes past every switch unbroken.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Params, Ref, SwitchedProtective, Verdict, rule


def check(switched: SwitchedProtective, params: Params) -> Verdict:
    """Whether PE is switched here."""
    if not switched.opens_pe:
        return PASS
    return Finding(
        f"{switched.id} opens the protective conductor",
        "with it open, the frames behind it have no earth, and nothing shows it",
        f"take PE out of the poles of {switched.id}",
        take_out=(((*switched.route, "poles"), "PE"),),
    )


RULE = rule(
    id="pe-switched",
    level="error",
    over=Facts.switched_protective,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.3.3", False),
        Ref("bs7671", "BS 7671", "543.3.3", False),
        Ref("nec", "NEC", "250.124(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "5.5", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    examples=(
        Example("workshop", (("poles: L1 L2 L3, operable", "poles: L1 L2 L3 PE, operable"),), ("q-machines",)),
        Example("grid-hybrid", (("poles: L1 N", "poles: L1 N PE"),), ("ts",)),
        Example("workshop", (("poles: L1 L2 L3, operable", "poles: L1 L2 L3 N, operable"),), ()),
    ),
    page=__doc__,
    in_states=False,
)
