"""A PEN conductor is opened by a device, a changeover or an RCD.

Checks: whether PEN is among the poles of any device, or a PEN core lands on a changeover that switches the neutral.

Danger: an open PEN puts the frames behind it at line voltage through the loads.

Remedy: take PEN out of the poles; split it into N and PE first and switch only N, where the rulebook wants that.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Params, Ref, SwitchedProtective, Verdict, rule


def check(switched: SwitchedProtective, params: Params) -> Verdict:
    """Whether PEN is switched here."""
    if not switched.opens_pen:
        return PASS
    return Finding(
        f"{switched.id} opens a PEN conductor",
        "with it open, the loads put line voltage on every frame behind it",
        f"take PEN (or the N pole on which a PEN lands) out of the poles of {switched.id}; split the PEN before it",
        take_out=(((*switched.route, "poles"), "PEN"),),  # offered where PEN itself is a pole
    )


RULE = rule(
    id="pen-switched",
    level="error",
    over=Facts.switched_protective,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-46", "461.2", False),
        Ref("iec", "IEC 60364-5-54", "543.4", False),
        Ref("bs7671", "BS 7671", "543.4", False),
        Ref("nec", "NEC", "250.124(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.2"),
        Ref("sans", "SANS 10142-1", "6.12.4"),
    ),
    examples=(
        Example("grid-hybrid", (("poles: L1, operable", "poles: L1 PEN, operable"),), ("q-main",)),
        Example(
            "estate",
            (("{kind: fuse, rating: 50 A}", "{kind: fuse, rating: 50 A, poles: L1 L2 L3 PEN}"),),
            ("to-stables",),
        ),
        Example(
            "estate",
            (("{kind: fuse, rating: 50 A}", "{kind: isolator, id: q-stables, poles: L1 L2 L3, operable: yes}"),),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
