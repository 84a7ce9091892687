"""A source that feeds alone has a reference that reaches no electrode of the installation.

Checks: islands without an energised utility (stand-alone sources, and islands left alone by the grid): whether a closed bond of
the installation reaches one of its electrodes over PE.  A rod on a frame that the bond does not reach is not enough, and
the supplier's earth does not count.  A portable source
that feeds no building, and one on a vehicle, need none while conductors join all frames that they feed to theirs; under NEC a
portable set may then feed only what is plugged into it.  That the frame of a set is joined to the frame of its vehicle no
description says, and the report names it as what remains.

Danger: the PE network is then a reference for itself only.  A fault to the mass of earth, or lightning, lifts all of it, and
nothing limits the voltage between frames and the ground that people stand on.

Remedy: an electrode at the main earthing terminal, joined by PE to the place where neutral and earth are linked.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Exempt,
    Facts,
    Feeding,
    Finding,
    NotApplicable,
    Param,
    Params,
    Ref,
    Verdict,
    rule,
)
from onebond_rules.shared import remains_of

_SET = (
    "sources:\n",
    "sources:\n  set: {kind: generator, phases: L1, mounted: portable, neutral-bond: fixed}\n",
)
_BOX = ("boards:\n", "boards:\n  box: {}\n")
_SAW = ("circuits:\n", "circuits:\n  saw: {from: box, cores: L1 N PE, serves: fixed}\n")


def check(feeding: Feeding, params: Params) -> Verdict:
    """Whether the reference of an island left alone reaches an electrode."""
    island = feeding.island
    if island.utility_fed:
        return NotApplicable("the utility feeds the island")
    if island.utility_behind and not params["behind-transformer"]:
        return NotApplicable("the utility feeds the island through an isolating transformer")
    excepted = feeding.portable and not feeding.premises
    wired = params["plugs-only"] and not feeding.vehicle and feeding.hard_wired
    if excepted and not feeding.frame_apart and not wired:
        kind = "vehicle" if feeding.vehicle else "portable"
        return Exempt(
            f"{kind} source that feeds no building ({params[f'{kind}-clause']})",
            "it needs no electrode while it feeds only what is plugged into it or stands on the vehicle; a cable to a building "
            f"ends that{remains_of(feeding)}",
        )
    if island.it:
        return NotApplicable("declared IT: it has no reference that an electrode could serve")
    if feeding.electrode:
        return PASS
    if island.own_references:
        apart = feeding.cut_off or (feeding.frame_apart if excepted else "")
        return _finding(feeding, ("pe-missing", apart) if apart else None)
    if feeding.frame_electrode:
        return NotApplicable("there is no own reference that could reach the electrode")
    rule_id = "island-reference-borrowed" if island.references else "neutral-unreferenced"
    return _finding(feeding, (rule_id, feeding.id))


def _finding(feeding: Feeding, because: tuple[str, str] | None) -> Finding:
    return Finding(
        f"the reference of the island that {feeding.id} feeds reaches no electrode of the installation",
        "the frames share one potential of their own, but nothing ties them to the ground that people stand on",
        f"join the PE of the link to {' and '.join(feeding.electrodes)} (a PE core is missing on the way), or add an electrode at its place"
        if feeding.electrodes
        else "add an electrode at the main earthing terminal and join it by PE to the place of the link",
        because=because,
    )


RULE = rule(
    id="electrode-missing",
    level="error",
    over=Facts.feedings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.4.3.2.1"),
        Ref("bs7671", "BS 7671", "826.1.1.2", False),
        Ref("nec", "NEC", "250.30(A)(5)"),
        Ref("nec", "NEC", "702.11", False),
        Ref("as-nzs", "AS/NZS 3000", "5.3", False),
        Ref("sans", "SANS 10142-1", "7.12.3.1.3"),
    ),
    params=(
        Param(
            "behind-transformer",
            "whether the secondary of an isolating transformer needs an electrode while the utility feeds its primary",
            False,
            {"nec": True},
        ),
        Param(
            "portable-clause",
            "where the exception for portable sources stands",
            "IEC 60364-5-55, 551.4.4 ?",
            {
                "nec": "NEC 250.34(A)",
                "bs7671": "BS 7671, 551.4.4 ?",
                "as-nzs": "AS/NZS 3010 ?",
                "sans": "SANS 10142-1, 7.12 ?",
            },
        ),
        Param(
            "vehicle-clause",
            "where the exception for sources on vehicles stands",
            "IEC 60364-7-717, 60364-7-721 ?",
            {
                "nec": "NEC 250.34(B)",
                "bs7671": "BS 7671, 717, 721 ?",
                "as-nzs": "AS/NZS 3001 ?",
                "sans": "SANS 10142-1, 7.12 ?",
            },
        ),
        Param(
            "plugs-only",
            "whether a portable source may then feed only what is plugged into it",
            False,
            {"nec": True},
        ),
    ),
    examples=(
        Example("grid-hybrid", (("electrodes:\n  rods: {at: main}\n", ""),), ("hybrid",)),
        # rods on a frame that the link does not reach
        Example(
            "two-generators",
            (
                ("rods: {at: main}", "rods: {at: g1}"),
                ("from: g1, to: main, cores: L1 L2 L3 N PE", "from: g1, to: main, cores: L1 L2 L3 N"),
            ),
            ("g1", "g2"),
        ),
        Example("two-generators", (("rods: {at: main}", "rods: {at: office}"),), ()),
        # a vehicle
        Example(
            "grid-hybrid",
            (("mains-input: yes", "mains-input: yes\n    mounted: vehicle"), ("electrodes:\n  rods: {at: main}\n", "")),
            (),
        ),
        # NEC 250.34(A)(1): what is plugged into the set, and not what is wired to it
        *(
            Example(
                "workshop",
                (
                    _SET,
                    _BOX,
                    _SAW,
                    ("connections:\n", f"connections:\n  lead: {{from: set, to: box, cores: {cores}{plug}}}\n"),
                ),
                finds,
                book,
            )
            for cores, plug, finds, book in (
                ("L1 N PE", ", plug: yes", (), "nec"),
                ("L1 N PE", "", ("set",), "nec"),
                ("L1 N PE", "", (), "iec"),
                # 250.34(A)(2): no conductor joins the frame of the box to that of the set
                ("L1 N", ", plug: yes", ("set",), "nec"),
                ("L1 N", ", plug: yes", ("set",), "iec"),
            )
        ),
    ),
    page=__doc__,
)
