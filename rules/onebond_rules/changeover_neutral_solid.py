"""A changeover does not switch the neutral although separately bonded sources meet at it.

Checks: changeovers on which a neutral lands from two sides and is not among the poles.  An error where in some state the
unswitched neutral alone joins two references (it is then the cause of the double bond).  In iec and bs7671 a TN
changeover between different sources with a solid neutral is a warning even with one reference; in nec and as-nzs that is a
regular arrangement.

Danger: both links carry neutral current through PE while either source feeds.

Remedy: switch the neutral together with the lines, or remove the second source's own link and let it rely on the one main
link, as the rulebook of the site wants it.
"""

from __future__ import annotations

from onebond.rule import PASS, Crossing, Example, Facts, Finding, NotApplicable, Param, Params, Ref, Verdict, rule

_SOLID = ("poles: L1 N", "poles: L1")
_NO_RELAY = ("neutral-bond: while-inverting", "neutral-bond: none")
_BONDED_SET = (
    "diesel: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}",
    "diesel: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: fixed}",
)


def check(crossing: Crossing, params: Params) -> Verdict:
    """Whether the unswitched neutral joins what must not be joined."""
    if crossing.inverter:
        return NotApplicable("the way through an inverter is no changeover")
    if crossing.sides < 2:
        return NotApplicable("a neutral lands on one side only")
    if not crossing.solid:
        return PASS
    if crossing.joins:
        first, second = crossing.joins
        return Finding(
            f"{crossing.id} leaves the neutral solid between {first.subject} and {second.subject}, which are bonded separately",
            "the neutral is tied to earth twice through it: a share of the neutral current returns through PE",
            f"add N to the poles of {crossing.id}"
            if params["may-switch"]
            else f"remove the link of {second.subject}: the neutral of the supply stays connected",
            crossing.joins,
            level="error",
            because=("neutral-bonded-twice", crossing.beside) if crossing.beside else None,
        )
    if crossing.island is None and crossing.tn and crossing.distinct and params["warn-in-tn"]:
        return Finding(
            f"{crossing.id} switches between sources of a TN system and leaves the neutral solid",
            "the sources share one neutral: the second one has no reference of its own once the first is taken away",
            f"add N to the poles of {crossing.id}, and give each source its own reference",
            level="warning",
        )
    return PASS


RULE = rule(
    id="changeover-neutral-solid",
    level="error",
    over=Facts.crossings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-44", "444.4.7", False),
        Ref("bs7671", "BS 7671", "444.4.7", False),
        Ref("bs7671", "BS 7671", "826.1.1.2.2", False),
        Ref("nec", "NEC", "250.20"),
        Ref("nec", "NEC", "250.30"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.1(c)"),
        Ref("sans", "SANS 10142-1", "7.12.3.1.3"),
    ),
    params=(
        Param("may-switch", "whether the neutral of the supply may be switched", True, {"as-nzs": False}),
        Param(
            "warn-in-tn",
            "whether a changeover between sources of a TN system that leaves the neutral solid is found at all",
            False,
            {"iec": True, "bs7671": True},
        ),
    ),
    examples=(
        *(Example("grid-hybrid", (_SOLID,), ("ts",), book) for book in ("iec", "bs7671", "nec", "sans")),
        *(Example("one-neutral", (_BONDED_SET,), ("ts",), book) for book in ("nec", "as-nzs", "sans")),
        # one reference and a solid neutral: a warning in two rulebooks, the regular arrangement in the others
        *(Example("grid-hybrid", (_SOLID, _NO_RELAY), ("ts",), book) for book in ("iec", "bs7671")),
        *(Example("grid-hybrid", (_SOLID, _NO_RELAY), (), book) for book in ("nec", "as-nzs", "sans")),
    ),
    page=__doc__,
)
