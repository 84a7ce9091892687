"""A source that feeds alone has a reference that reaches no electrode of the installation.

Checks: islands without an energised utility (stand-alone sources, and islands left alone by the grid): whether a closed bond of
the installation reaches one of its electrodes over PE.  A rod on a frame that the bond does not reach is not enough, and
the supplier's earth does not count.  A portable source
that feeds no building, and a vehicle, need none.

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


def check(feeding: Feeding, params: Params) -> Verdict:
    """Whether the reference of an island left alone reaches an electrode."""
    island = feeding.island
    if island.utility_fed:
        return NotApplicable("the utility feeds the island")
    if island.utility_behind and not params["behind-transformer"]:
        return NotApplicable("the utility feeds the island through an isolating transformer")
    if feeding.portable and not feeding.premises:
        return Exempt(
            f"portable or vehicle source that feeds no building ({params['portable-clause']})",
            "it needs no electrode while it feeds only what is plugged into it; a cable to a building ends that",
        )
    if island.it:
        return NotApplicable("declared IT: it has no reference that an electrode could serve")
    if feeding.electrode:
        return PASS
    if island.own_references:
        return _finding(feeding, ("pe-missing", feeding.cut_off) if feeding.cut_off else None)
    if feeding.frame_electrode:
        return NotApplicable("there is no own reference that could reach the electrode")
    rule_id = "island-reference-borrowed" if island.references else "neutral-unreferenced"
    return _finding(feeding, (rule_id, feeding.id))


def _finding(feeding: Feeding, because: tuple[str, str] | None) -> Finding:
    return Finding(
        f"the reference of the island that {feeding.id} feeds reaches no electrode of the installation",
        "the frames share one potential of their own, but nothing ties them to the ground that people stand on",
        f"join the PE of the link to {' and '.join(feeding.electrodes)}: a PE core is missing on the way"
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
            "where the exception for portable and vehicle sources stands",
            "IEC 60364-7-717, 60364-7-721 ?",
            {"nec": "NEC 250.34"},
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
    ),
    page=__doc__,
)
