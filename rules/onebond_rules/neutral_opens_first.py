"""A device opens the neutral while a line beside it stays closed.

Checks: every device and changeover with a neutral pole: whether it opens all lines of its cable too, and whether it is a fuse,
each pole of which opens by itself.

Danger: everything behind it is dead to the eye and live to the hand: the lines still reach it through the loads.  With several
lines, loads of different lines lie in series between them, and the lighter one gets up to the full line voltage.

Remedy: a device that opens neutral and lines together, the neutral last and closed first, or one that leaves the neutral closed;
no fuse in a neutral that is tied to earth.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, NeutralContact, NotApplicable, Params, Ref, Verdict, rule

_FUSES = "{kind: fuse, rating: 63 A}"


def check(contact: NeutralContact, params: Params) -> Verdict:
    """Whether the neutral opens with its lines."""
    if not contact.left and not contact.fuse:
        return PASS
    if not contact.left and contact.it:
        return NotApplicable("IT: its neutral needs protection against overcurrent too")
    told = f"leaves {' '.join(contact.left)} closed" if contact.left else "is a fuse, whose neutral may open alone"
    return Finding(
        f"{contact.name} opens the neutral and {told}",
        "what is behind it looks dead and is live, and loads of several lines lie in series between them",
        f"take a breaker that opens all poles together in place of {contact.name}, or leave the neutral closed"
        if contact.fuse
        else f"open all lines with the neutral in {contact.name}, or leave the neutral closed",
    )


RULE = rule(
    id="neutral-opens-first",
    level="warning",
    over=Facts.neutral_contacts,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-46", "461.2", False),
        Ref("iec", "IEC 60364-4-43", "431.3", False),
        Ref("bs7671", "BS 7671", "132.14.2, 461.2", False),
        Ref("nec", "NEC", "240.22, 404.2(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "2.3.2", False),
        Ref("sans", "SANS 10142-1", "6.9", False),
    ),
    examples=(
        Example("workshop", ((_FUSES, "{kind: isolator, rating: 63 A, poles: L1 L2 N}"),), ("service",)),
        Example("workshop", ((_FUSES, "{kind: isolator, rating: 63 A, poles: L1 L2 L3 N}"),), ()),
        Example("workshop", ((_FUSES, "{kind: fuse, rating: 63 A, poles: L1 L2 L3 N}"),), ("service",)),
        Example("grid-hybrid", (("poles: L1 N, drive", "poles: N, drive"),), ("ts",)),
    ),
    page=__doc__,
    in_states=False,
)
