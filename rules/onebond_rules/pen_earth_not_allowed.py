"""The earth of a PEN supply is carried into a place where it must not be.

Checks: frames in places that the rulebook keeps free of it (`place: marina` or `caravan`): whether a PEN core leads to them, and,
where the rulebook asks for it, whether their PE is joined to a supplier's PEN in any operating state.

Danger: when the supplier's PEN breaks, everything that is earthed by it takes the voltage of the neutral, up to the full one.
Inside a house all metal rises together; a hull in the water or a caravan on wet grass does not, and a person stands between.

Remedy: for that place an electrode of its own and an RCD (TT), or an isolating transformer whose secondary is bonded there; in a
TN supply a separate PE from the point where the PEN is split.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Exposed,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    Ref,
    Verdict,
    rule,
)

_MARINA = ("  annexe: {}", "  annexe: {place: marina}")
_FEED = "to-annexe: {from: main, to: annexe, cores: L1 N PE,"


def check(exposed: Exposed, params: Params) -> Verdict:
    """Whether a frame in such a place hangs on a PEN."""
    if exposed.place not in params["places"]:
        return NotApplicable("it stands in no such place, as far as is written")
    if exposed.pen_core:
        return _finding(
            exposed, f"a PEN core leads to {exposed.id}, which stands in such a place ({exposed.place})", ()
        )
    supplier = exposed.supplier_pen if params["supplier"] else ""
    if not supplier:
        return PASS
    route = next(source.route for source in exposed.island.network.installation.sources if source.id == supplier)
    told = f"the frame of {exposed.id} ({exposed.place}) is earthed by the PEN of {supplier}"
    cause = ("pen-earth-not-allowed", exposed.board) if exposed.board else None
    return _finding(exposed, told, (Mention(supplier, route, "the supply with a PEN"),))._replace(because=cause)


def _finding(exposed: Exposed, told: str, mentions: tuple[Mention, ...]) -> Finding:
    return Finding(
        told,
        "with the PEN broken its metal takes up to the full voltage against the ground or the water",
        f"lead a PE of its own to {exposed.id} from where the PEN is split, or feed it by an isolating transformer"
        if not mentions
        else f"give {exposed.id} an electrode of its own and an RCD, without the supply's PE, or an isolating transformer",
        mentions,
    )


RULE = rule(
    id="pen-earth-not-allowed",
    level="error",
    over=Facts.exposed,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-709", "709.411.4", False),
        Ref("iec", "IEC 60364-7-708", "708.411.4", False),
        Ref("bs7671", "BS 7671", "708.411.4, 709.411.4", False),
        Ref("nec", "NEC", "250.24(A)(5), 555.53", False),
        Ref("as-nzs", "AS/NZS 3004", "2.2", False),
        Ref("as-nzs", "AS/NZS 3001", "3.4", False),
        Ref("sans", "SANS 10142-1", "7.9", False),
    ),
    params=(
        Param("places", "places in which no PEN is permitted", ("caravan", "marina")),
        Param(
            "supplier",
            "whether frames there may not be joined to the PEN of a supply at all, not even by a PE of their own",
            False,
            {"bs7671": True},
        ),
    ),
    examples=(
        Example("measured-house", (_MARINA,), ("annexe",), "bs7671"),
        Example("measured-house", (_MARINA,), ()),
        # the service of a whole site may end in such a place
        Example("measured-house", (("  main: {}", "  main: {place: marina}"),), ()),
        Example(
            "measured-house",
            (
                _MARINA,
                (_FEED, _FEED.replace("N PE", "PEN")),
                (
                    "main-link: {at: main, size: 16 mm2}",
                    "main-link: {at: main, size: 16 mm2}\n  annexe-link: {at: annexe, size: 16 mm2}",
                ),
            ),
            ("annexe",),
        ),
        # an electrode of its own, and no PE from the house
        Example(
            "measured-house",
            (
                _MARINA,
                (_FEED, _FEED.replace(" PE", "")),
                ("electrodes:\n", "electrodes:\n  quay-rod: {at: annexe, resistance: 20 ohm, conductor: 16 mm2}\n"),
            ),
            (),
            "bs7671",
        ),
    ),
    page=__doc__,
)
