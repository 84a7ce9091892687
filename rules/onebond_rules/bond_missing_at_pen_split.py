"""A PEN lands on separate N and PE bars and nothing joins them.

Checks: every board on which a PEN core and PE cores land, in every case in which it is live: a closed bond must join its N and
PE bars.

Danger: the PE bar, and every frame on it, has no way back to the source.  Nothing shows it: lamps burn, the earth
terminal looks connected.  A fault makes all frames live at once.

Remedy: fit the link between the N and PE bars where the PEN is split, sized as a PEN conductor.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Params, PenLanding, Ref, Verdict, rule


def check(landing: PenLanding, params: Params) -> Verdict:
    """Whether the bars are joined where the PEN is split."""
    if landing.bonded:
        return PASS
    return Finding(
        f"a PEN lands on {landing.id}, which has separate N and PE bars, and nothing joins them",
        "every frame on this PE bar is without a way back to the source; a fault makes all of them live together",
        f"add the link: bonds: {{main-link: {{at: {landing.id}}}}}, fitted where the PEN is split",
    )


RULE = rule(
    id="bond-missing-at-pen-split",
    level="error",
    over=Facts.pen_landings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.4.3"),
        Ref("bs7671", "BS 7671", "543.4.3", False),
        Ref("nec", "NEC", "250.24(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "5.3.5", False),
        Ref("sans", "SANS 10142-1", "6.1.6"),
    ),
    examples=(
        Example("grid-hybrid", (("bonds:\n  main-link: {at: main}\n\n", ""),), ("main",)),
        Example("estate", (("  stables-link: {at: stables}\n", ""),), ("stables",)),
        # N and PE apart from the house on: nothing is split at the stables
        Example(
            "estate",
            (
                (
                    "to-stables: {from: house, to: stables, cores: L1 L2 L3 PEN",
                    "to-stables: {from: house, to: stables, cores: L1 L2 L3 N PE",
                ),
                ("  stables-link: {at: stables}\n", ""),
            ),
            (),
        ),
    ),
    page=__doc__,
)
