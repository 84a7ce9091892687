"""The earth of a PEN supply is carried into a place where it must not be.

Checks: frames in places that the rulebook keeps free of it (`place: marina` or `caravan`, sources on vehicles): whether a PEN core
leads to them.  In others (farms, construction sites, medical places) it may end at the first board, and is not led on from there.
Where the rulebook asks for it, whether their PE is joined to a supplier's PEN in any operating state; what may be so under a
condition that is not described is left to a person.  Not judged: supplementary bonding of what stock or patients can touch
(705.415.2.1 ?, 710.415.2 ?, NEC 547.44 ?), for it is not described which metal that is.

Danger: when the supplier's PEN breaks, everything that is earthed by it takes the voltage of the neutral, up to the full one.
Inside a house all metal rises together; a hull in the water or a caravan on wet grass does not, and a person stands between.

Remedy: for that place an electrode of its own and an RCD (TT), or an isolating transformer whose secondary is bonded there; in a
TN supply a separate PE from the point where the PEN is split.
"""

from __future__ import annotations

from typing import NamedTuple

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
    Review,
    Verdict,
    rule,
)

_MARINA = ("  annexe: {}", "  annexe: {place: marina}")
_LINKS = (
    "main-link: {at: main, size: 16 mm2}",
    "main-link: {at: main, size: 16 mm2}\n  annexe-link: {at: annexe, size: 16 mm2}",
)
_FEED = "to-annexe: {from: main, to: annexe, cores: L1 N PE,"


class Unless(NamedTuple):
    """A place in which the earth of a supply with a PEN is permitted under a condition."""

    place: str
    condition: str
    clause: str  # with the mark of one from memory

    def __str__(self) -> str:
        return f"{self.place}: where {self.condition} ({self.clause})"


_UNLESS = (
    Unless(
        "construction",
        "all extraneous-conductive-parts are reliably joined to the main earthing terminal",
        "704.411.3.1",
    ),
    Unless(
        "agricultural",
        "a metal grid is laid in the floor and joined to it",
        "705.415.2.1, note ?",
    ),
    Unless(
        "vehicle",
        "a skilled or instructed person watches over it, and the earth was found suitable before",
        "717.411.4 ?",
    ),
)


def check(exposed: Exposed, params: Params) -> Verdict:
    """Whether a frame in such a place hangs on a PEN."""
    place = "vehicle" if exposed.vehicle else exposed.place
    unless = next((one for one in params["unless"] if one.place == place), None)
    if place not in {*params["places"], *params["first-board"], *params["supplier"]} and unless is None:
        return NotApplicable("it stands in no such place, as far as is written")
    if place in params["places"] and exposed.pen_core:
        return _finding(
            exposed,
            f"a PEN core leads to {exposed.id}, whose place must not be earthed by one ({place})",
            (),
        )
    if place in params["first-board"] and (led := exposed.pen_led_on):
        beside = exposed.beside(led[1])
        if beside:
            return _finding(exposed, f"a PEN core is led on to {exposed.id} within such a place ({place})", ())
        if beside is None:
            return Review(
                f"a PEN core leads to {exposed.id} ({place}), and it is not written whether that is the first board of its building",
                "behind the first board of a building a PE of its own goes on beside the neutral",
            )
    supplier = exposed.supplier_pen if place in params["supplier"] or unless else ""
    if not supplier:
        return PASS
    if unless:
        if exposed.board:
            return NotApplicable("judged at its board")
        return Review(
            f"the frame of {exposed.id} ({place}) is earthed by the PEN of {supplier}, and a condition of that is not described",
            f"{unless.clause}: permitted where {unless.condition}; else an electrode and an RCD (TT)",
        )
    route = next(source.route for source in exposed.island.network.installation.sources if source.id == supplier)
    told = f"the frame of {exposed.id} ({place}) is earthed by the PEN of {supplier}"
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
        Ref("iec", "IEC 60364-7-710", "710.312.2", False),
        Ref("iec", "IEC 60364-7-717", "717.312.2", False),
        Ref("iec", "IEC 60364-7-704, 7-705", "type of earthing", False),
        Ref("bs7671", "BS 7671", "704.411.3.1"),
        Ref("bs7671", "BS 7671", "705.415.2.1, 710.312.2, 717.312.2, 717.411.4", False),
        Ref("nec", "NEC", "250.24(A)(5), 547.42, 551.76, 555.37", False),
        Ref("as-nzs", "AS/NZS 3004", "2.2", False),
        Ref("as-nzs", "AS/NZS 3001", "3.4", False),
        Ref("sans", "SANS 10142-1", "7.9", False),
    ),
    params=(
        Param(
            "places",
            "places to which no PEN may lead",
            ("caravan", "marina", "vehicle"),
            {"nec": ("agricultural", "caravan", "marina", "vehicle")},
        ),
        Param(
            "first-board",
            "places in which a PEN may lead no further than to the first board",
            ("agricultural", "construction", "medical"),
            {"nec": (), "as-nzs": (), "sans": ()},
        ),
        Param(
            "supplier",
            "places in which frames may not be joined to the PEN of a supply at all, not even by a PE of their own",
            (),
            {"bs7671": ("caravan", "marina")},
        ),
        Param("unless", "places in which that is permitted under a condition", (), {"bs7671": _UNLESS}),
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
                _LINKS,
            ),
            ("annexe",),
        ),
        # a farm: the PEN may end at the first board of the barn, and is not led on there; NEC asks for a conductor of its own
        *(
            Example(
                "measured-house",
                (
                    ("  main: {}", f"  main: {main}"),
                    ("  annexe: {}", f"  annexe: {annexe}"),
                    (_FEED, _FEED.replace("N PE", "PEN")),
                    _LINKS,
                ),
                finds,
                book,
            )
            for main, annexe, finds, book in (
                ("{place: agricultural}", "{place: agricultural}", ("annexe",), "iec"),
                ("{place: construction}", "{place: construction}", ("annexe",), "bs7671"),
                ("{building: clinic}", "{building: clinic, place: medical}", ("annexe",), "iec"),
                ("{building: house}", "{building: barn, place: agricultural}", (), "iec"),
                ("{building: house}", "{building: barn, place: agricultural}", ("annexe",), "nec"),
            )
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
