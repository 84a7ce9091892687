"""A neutral without a protective conductor feeds a building that ties it to earth: it is a PEN, and is not written as one.

Checks: cables between boards that have a neutral and neither PE nor PEN, and end at a board with a link between N and PE and an
electrode of its own, to which no other protective conductor leads.  A cable whose neutral a device opens, or an RCD sums, is a
neutral with a link too many.

Danger: what is written is a double bond through the soil.  What is there serves as a PEN, and then its size, its joints and its
never being opened decide whether frames become live; none of that is judged while it is called a neutral.

Remedy: write PEN where it is one (and meet what a PEN has to meet), or lay a PE core and remove the link in the building.
"""

from __future__ import annotations

from onebond.rule import PRACTICE, Example, Facts, Finding, Mention, NeutralToBuilding, Params, Ref, Verdict, rule

_FEED = "to-annexe: {from: main, to: annexe, cores: L1 N PE,"
_BARE = (_FEED, _FEED.replace(" PE", ""))
_LINK = (
    "main-link: {at: main, size: 16 mm2}",
    "main-link: {at: main, size: 16 mm2}\n  annexe-link: {at: annexe, size: 16 mm2}",
)
_ROD = ("electrodes:\n", "electrodes:\n  annexe-rod: {at: annexe, resistance: 20 ohm, conductor: 16 mm2}\n")


def check(neutral: NeutralToBuilding, params: Params) -> Verdict:
    """A cable that is a PEN by function."""
    return Finding(
        f"the neutral of {neutral.id} is a PEN by function: {neutral.board} ties it to earth and has no protective conductor",
        "as a neutral it is a double bond; as a PEN its size and its joints decide whether frames become live",
        f"write PEN in the cores of {neutral.id}, or add PE to them and remove {neutral.bond}",
        (
            Mention(neutral.bond, ("bonds", neutral.bond), "the link"),
            Mention(neutral.electrode, ("electrodes", neutral.electrode), "the electrode"),
        ),
    )


RULE = rule(
    id="pen-not-declared",
    level="warning",
    over=Facts.neutrals_to_buildings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.4", False),
        Ref("bs7671", "BS 7671", "543.4", False),
        Ref("nec", "NEC", "250.32(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "5.5.3", False),
        Ref("sans", "SANS 10142-1", "6.13", False),
        PRACTICE,
    ),
    examples=(
        Example("measured-house", (_BARE, _LINK, _ROD), ("to-annexe",)),
        Example("measured-house", (_BARE, _LINK, _ROD), ("to-annexe",), "as-nzs"),
        Example("measured-house", ((_FEED, _FEED.replace("N PE", "PEN")), _LINK, _ROD), ()),
        Example("measured-house", (_BARE, _ROD), ()),
        Example("measured-house", (_LINK, _ROD), ()),
    ),
    page=__doc__,
    in_states=False,
)
