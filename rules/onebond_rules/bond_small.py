"""The link between neutral and PE is too small.

Checks: every solid link, one that a relay closes as well, by the table that goes by the largest line conductor at its place; below
the table it passes if sqrt(I2 t) / k of each earth fault of the islands that it ties to earth is no more than its size.  Where
a line conductor at that place has no size, a link that is too small for the written ones is found, and any other is open.
Bars inside one enclosure need no size.

Danger: the whole current of every earth fault of the installation passes the link.  If it burns off, no fault is cleared any
more, and all frames and the neutral float.

Remedy: a link of the size that the table asks for.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    Protective,
    Ref,
    Verdict,
    rule,
)
from onebond_rules.shared import ENOUGH_FOR_HEAT, FUSES_OF_HEAT, HEAT, figures_of_heat

_LINK = "main-link: {at: main, size: 16 mm2}"
_JUMPER = "main-jumper: {at: cabin, size: 6 AWG}"


def check(bond: Protective, params: Params) -> Verdict:
    """Whether this link has the size that the table or the heat of its faults asks for."""
    if bond.too_many:
        return NotApplicable("a link that is one too many: judged by neutral-bonded-twice")
    size = bond.size
    need = bond.asked(params["table"], sure=False)
    if need is None or not bond.short_of(need):
        bond.asked(params["table"])  # raises Unknown where a line without a size may ask for more
        return PASS
    figures = [("written", size.text), ("by the table", need.text)]
    fast = False
    if params["heat"]:
        heat = bond.by_heat(params["fuses"])
        if not bond.short_of(heat):
            return NotApplicable(ENOUGH_FOR_HEAT)
        figures.extend(figures_of_heat(bond, heat, params["fuses"]))
        fast = bond.heat(params["fuses"]).fast
    return Finding(
        f"{bond.id} is smaller than the line conductors at its place ask for",
        "the current of every earth fault passes it; if it burns off, nothing clears a fault any more",
        f"make {bond.id} {need.text} or larger",
        (bond.lines.at,) if bond.lines.at else (),
        level="warning" if fast else None,
        figures=tuple(figures),
    )


RULE = rule(
    id="bond-small",
    level="error",
    over=Facts.solid_bonds,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.1, table 54.2"),
        Ref("bs7671", "BS 7671", "543.1, table 54.7"),
        Ref("nec", "NEC", "250.102(C)(1)"),
        Ref("as-nzs", "AS/NZS 3000", "5.3.5", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param(
            "table",
            "the table by the line conductors",
            "IEC 54.2",
            {"nec": "NEC 250.102(C)(1)", "as-nzs": "AS/NZS 5.1"},
        ),
        HEAT,
        FUSES_OF_HEAT,
    ),
    examples=(
        Example("sized-house", ((_LINK, "main-link: {at: main, size: 4 mm2}"),), ("main-link",)),
        Example("sized-house", ((_LINK, "main-link: {at: main, size: 16 mm2, length: 0.3 m}"),), ()),
        Example("sized-house", ((_LINK, "main-link: {at: main, size: 6 mm2}"),), (), "as-nzs"),
        Example("sized-house", ((_LINK, "main-link: {at: main, size: 4 mm2}"),), ("main-link",), "as-nzs"),
        Example("sized-cabin", ((_JUMPER, "main-jumper: {at: cabin, size: 10 AWG}"),), ("main-jumper",)),
        Example("sized-cabin", ((_JUMPER, "main-jumper: {at: cabin, size: 8 AWG}"),), ()),
    ),
    page=__doc__,
    in_states=False,
)
