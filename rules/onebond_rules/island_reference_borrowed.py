"""An island that the utility does not feed keeps its reference only through the supplier's conductors.

Checks: islands without an energised utility whose every reference is a supplier's star point.  Once the supplier's
conductors are open (a broken line, a drawn link, an unplugged cable) the island floats.

Danger: as long as the cable is whole, every reading is right.  On the day on which the supply is really gone, which is the
day the island is for, the neutral floats and no protection works.

Remedy: a link of the installation's own with its own electrode, that holds in island operation and does not overlap the
connected supply neutral.  Where the rulebook keeps the one main link solid, make that link the installation's own.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Feeding, Finding, NotApplicable, Params, Ref, Verdict, rule
from onebond_rules.shared import own_reference

_SOLID = ("neutral-through: switched, neutral-bond: while-inverting", "neutral-through: solid, neutral-bond: none")


def check(feeding: Feeding, params: Params) -> Verdict:
    """Whether an island left alone relies on the supplier's earth."""
    island = feeding.island
    if island.it:
        return NotApplicable("declared IT")
    if island.utility_fed or island.utility_behind:
        return NotApplicable("the utility feeds the island")
    if not island.references or island.own_references:
        return PASS
    return Finding(
        f"{feeding.id} feeds an island whose only reference is the supplier's; it floats once the supply is detached",
        "with the supplier's cable broken or disconnected, a fault to a frame drives no current and nothing disconnects it",
        f"{own_reference(feeding)}; its frames need an electrode of the installation",
        feeding.utilities,
        because=("bond-missing-at-pen-split", feeding.unsplit) if feeding.unsplit else None,
    )


RULE = rule(
    id="island-reference-borrowed",
    level="error",
    levels={"nec": "warning", "as-nzs": "note"},
    over=Facts.feedings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.4.3.2.1"),
        Ref("bs7671", "BS 7671", "826.1.1.2", False),
        Ref("nec", "NEC", "250.30(A)(5)"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.2"),
        Ref("sans", "SANS 10142-1", "7.12.3.1.3"),
    ),
    examples=(
        *(Example("workshop", (_SOLID,), ("ups",), book) for book in ("iec", "bs7671", "nec", "as-nzs", "sans")),
        Example(
            "tt-house",
            (
                ("neutral-through: switched", "neutral-through: solid"),
                ("neutral-bond: while-inverting", "neutral-bond: none"),
            ),
            ("hybrid",),
        ),
        Example(
            "workshop",
            (
                ("neutral-bond: while-inverting", "neutral-bond: none"),
                ("electrodes:\n", "bonds:\n  relay: {at: control, closed: {ups: inverting}}\n\nelectrodes:\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
