"""Two electrodes of one installation are joined by no conductor although frames on both can be touched together.

Checks: every electrode after the first: PE, PEN or a bond must join it to an earlier one.  Places that are written to be in
different buildings are left out.

Danger: a fault lifts the frames on one electrode and not those on the other; a person who touches both bridges the
difference.

Remedy: join the electrodes by a protective conductor, or write the buildings in which they stand.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    ElectrodePair,
    Example,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Params,
    Ref,
    Verdict,
    rule,
)

_NO_PE = ("to: barn, cores: L1 N PE", "to: barn, cores: L1 N")
_BARN_ROD = ("rods: {at: main}", "rods: {at: main}\n  barn-rod: {at: barn}")


def check(pair: ElectrodePair, params: Params) -> Verdict:
    """Whether two electrodes are joined."""
    if pair.joined:
        return PASS
    if pair.apart:
        return NotApplicable("the two stand in different buildings")
    return Finding(
        f"no conductor joins the electrode {pair.id} to {pair.other}",
        "a fault on one side puts its voltage between frames that one person can touch together",
        f"join {pair.id} and {pair.other} by a protective conductor; if they stand in different buildings, write `building:` at both",
        (Mention(pair.other, pair.other_route, "the other electrode"),),
    )


RULE = rule(
    id="electrodes-not-joined",
    level="error",
    over=Facts.electrode_pairs,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.1.1", False),
        Ref("iec", "IEC 60364-5-54", "542", False),
        Ref("bs7671", "BS 7671", "411.3.1.1", False),
        Ref("nec", "NEC", "250.50", False),
        Ref("nec", "NEC", "250.58", False),
        Ref("as-nzs", "AS/NZS 3000", "5.3", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    examples=(
        Example("tt-house", (_NO_PE, _BARN_ROD), ("barn-rod",)),
        Example(
            "workshop",
            (
                ("to: machines, cores: L1 L2 L3 N PE", "to: machines, cores: L1 L2 L3 N"),
                ("foundation: {at: main}", "foundation: {at: main}\n  machine-rod: {at: machines}"),
            ),
            ("machine-rod",),
        ),
        Example("tt-house", (_BARN_ROD,), ()),
        Example(
            "tt-house",
            (_NO_PE, _BARN_ROD, ("  main: {}", "  main: {building: house}"), ("barn: {}", "barn: {building: barn}")),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
