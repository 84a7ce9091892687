"""An island declared IT has a solid reference in some state.

Checks: islands whose sources are all declared IT: whether a bond, or a bond inside a source, ties the neutral to earth without an
impedance.  A neutral that stays joined to the star point of an absent supply is tied just as solidly.

Danger: the first fault, which IT is meant to survive with a signal, is a short circuit; the monitor is blind, and the protection
was not chosen for it.

Remedy: remove the link, or declare the source as what it is and choose the protection for that.
"""

from __future__ import annotations

from onebond.rule import Example, Facts, Finding, Mention, NotApplicable, Params, Ref, Surplus, Verdict, rule


def check(surplus: Surplus, params: Params) -> Verdict:
    """Whether a link ties an IT island to earth."""
    island = surplus.island
    if not island.it:
        return NotApplicable("not declared IT")
    if surplus.reference.kind == "star":
        source = next(feed for feed in island.feeds if feed.forming)
        return Finding(
            f"{source.id} is declared IT, but its neutral stays tied to {surplus.reference.words}",
            "the first fault is a short circuit, and the insulation monitor is blind",
            f"switch the neutral of {source.id} away from the supply, or declare its earthing as it is",
            (Mention(surplus.id, surplus.route, "the supplier's star point"),),
            subject=(source.id, source.route),
        )
    return Finding(
        f"{surplus.reference.words} ties an island to earth that is declared IT",
        "the first fault is a short circuit, and the insulation monitor is blind",
        f"remove {surplus.reference.words}, or declare the earthing of the sources as it is",
        tuple(Mention(feed.id, feed.route, "declared IT") for feed in island.feeds),
    )


RULE = rule(
    id="it-bonded",
    level="error",
    over=Facts.references,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.6.1", False),
        Ref("bs7671", "BS 7671", "411.6.1", False),
        Ref("nec", "NEC", "250.21", False),
        Ref("as-nzs", "AS/NZS 3000", "1.5", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    examples=(
        Example("it-pumps", (("electrodes:\n", "bonds:\n  star-link: {at: main}\n\nelectrodes:\n"),), ("star-link",)),
        Example("it-pumps", (("neutral-bond: none", "neutral-bond: fixed"),), ("set",)),
        Example(
            "it-pumps", (("electrodes:\n", "bonds:\n  surge-link: {at: main, impedance: 2 kohm}\n\nelectrodes:\n"),), ()
        ),
    ),
    page=__doc__,
)
