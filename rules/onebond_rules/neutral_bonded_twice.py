"""The neutral of an island is tied to earth more than once, with a path for neutral current beside the neutral.

Checks: the reference groups of every live island in every operating state.  Several ties in one enclosure are one reference.
References that only PEN joins, and whose earth sides no conductor joins, are one multiply earthed PEN and count once.  Any
other pair is a double bond: joined by conductors, or only through the soil.  One that is there only while a changeover that
overlaps changes over is a warning.

Danger: the neutral current divides and a share of it returns through protective conductors, frames, pipes and screens,
all the time and unnoticed.  An RCD on the way sees that share and trips, or is taken out because it trips.  A broken neutral
is taken over by the PE and stays hidden.

Remedy: keep one link.  Remove the other, or let a relay hold it only while the first is not joined to the same neutral, or
switch the neutral together with the lines.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Mention,
    Params,
    Ref,
    Review,
    Surplus,
    Unknown,
    Verdict,
    figure,
    open_figure,
    rule,
)

_LOADED = "with all written loads"


def check(surplus: Surplus, params: Params) -> Verdict:
    """Whether this reference is one too many in its island."""
    if surplus.kept is None:
        if surplus.review:
            return Review(
                f"{surplus.id} and the other separately bonded places: the description does not say what extraneous metal joins them",
                "write `extraneous:` with the pipes and structures that join the buildings, or `extraneous: none`",
                surplus.review,
            )
        return PASS
    kept = surplus.kept
    how = "conductors join the two" if surplus.metallic else "only the soil joins the two"
    so = (
        "a share of the neutral current, in amperes, returns through PE; an RCD on the way sees it"
        if surplus.metallic
        else "milliamperes of neutral current return through the soil; an RCD on the way still sees them"
    )
    because = ("changeover-neutral-solid", surplus.crossings[0]) if surplus.crossings and surplus.caused else None
    if surplus.reference.kind == "crossed":
        because = ("device-does-not-fit", surplus.id)
    words = surplus.reference.words
    figures, weight = _figures(surplus)
    remove = f"set neutral-bond of {surplus.id} to none" if surplus.reference.kind == "internal" else f"remove {words}"
    return Finding(
        f"{words} ties a neutral to earth that is already tied by {kept.words}; {how}",
        so,
        f"hold {words} by a relay that is open wherever {kept.words} is joined to it: in other states it is the only one"
        if surplus.needed and surplus.reference.kind != "star"
        else f"{remove}: one of the two links is enough",
        (Mention(kept.id, kept.route, "the reference that is there already"),),
        because=because,
        level="warning" if surplus.island.changing_over else None,
        figures=figures,
        weight=weight,
    )


def _figures(surplus: Surplus) -> tuple[tuple[tuple[str, str], ...], float]:
    """How the neutral current divides, and that share; what is not written leaves the finding as it is."""
    if surplus.sharing is None:
        return (), 0.0
    sharing, way = surplus.sharing, "PE" if surplus.metallic else "the soil"
    if surplus.reference.kind == "star":
        way = surplus.reference.words
    name = f"share of neutral current by {way}"
    try:
        share = sharing.share
    except Unknown as unknown:
        return ((name, open_figure(unknown)),), 0.0
    if share is None:
        return ((name, "open: up to the resistance of contacts"),), 0.0
    found = [(name, figure(share * 100, "%"))]
    if sharing.no_load:
        return tuple(found), share
    try:
        current_a = sharing.current_a
    except Unknown as unknown:
        return (*found, (_LOADED, open_figure(unknown))), share
    if current_a is None:
        return tuple(found), share
    return (*found, (_LOADED, figure(current_a, "A"))), current_a


RULE = rule(
    id="neutral-bonded-twice",
    level="error",
    over=Facts.references,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.4.3"),
        Ref("iec", "IEC 60364-4-44", "444.4.6"),
        Ref("bs7671", "BS 7671", "543.4.3", False),
        Ref("bs7671", "BS 7671", "444.4.6", False),
        Ref("nec", "NEC", "250.24(A)(5)"),
        Ref("nec", "NEC", "250.142(B)"),
        Ref("nec", "NEC", "250.6"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.1(c)"),
        Ref("sans", "SANS 10142-1", "6.1.6"),
    ),
    examples=(
        Example(
            "workshop",
            (("electrodes:\n", "bonds:\n  machine-link: {at: machines}\n\nelectrodes:\n"),),
            ("machine-link",),
        ),
        # a pipe beside the PEN
        Example("estate", (("extraneous: none", "extraneous:\n  pipe: {joins: [house, stables]}"),), ("stables-link",)),
        Example(
            "grid-hybrid",
            (
                ("neutral-bond: while-inverting", "neutral-bond: none"),
                ("bonds:\n", "bonds:\n  relay: {at: essential, closed: {hybrid: inverting}}\n"),
            ),
            ("relay",),
        ),
        # two ties in one enclosure are one reference
        Example("grid-hybrid", (("bonds:\n", "bonds:\n  second-link: {at: main}\n"),), ()),
        # closed only while the changeover parts it from the supply
        Example(
            "grid-hybrid",
            (
                ("neutral-bond: while-inverting", "neutral-bond: none"),
                ("bonds:\n", "bonds:\n  relay: {at: essential, closed: {ts: island, hybrid: inverting}}\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
