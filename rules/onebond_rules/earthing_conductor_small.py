"""An earthing conductor is too small.

Checks: the conductor of every electrode and every PE of its own between the main earthing terminal and a board or an electrode: at
least 6 mm2 copper or 16 mm2 aluminium.  One that leads fault currents back, and not only to electrodes, has to have the size of a PE
of the largest line at its board too; so has every one in rulebooks that go by the lines of the service.  With a supply whose neutral
is a PEN, BS 7671 asks as much of it as of main bonding.  How it lies is not described: a bare one in the soil needs 25 mm2, one that
is only protected from corrosion 16 mm2, and that is not checked.  A conductor that leads to the frame of a battery or a board of
direct current alone is none of these.

Danger: it corrodes or burns off, nobody notices, and the frames lose their earth.

Remedy: the size that the table asks for, and more where it lies in the soil without protection.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Need,
    NotApplicable,
    Param,
    Params,
    Protective,
    Ref,
    Verdict,
    rule,
)
from onebond_rules.shared import ENOUGH_FOR_HEAT, FUSES_OF_HEAT, HEAT

_RODS = "rods: {at: met, resistance: 20 ohm, conductor: 16 mm2}"
_MAIN = "earth-main: {from: met, to: main, cores: PE, size: 16 mm2"
_STAKES = "conductor: 6 AWG"


def check(one: Protective, params: Params) -> Verdict:
    """Whether this earthing conductor is large enough."""
    size = one.size
    least = params["least-aluminium-mm2" if one.material == "aluminium" else "least-copper-mm2"]
    if not size.mm2 >= least:
        return _finding(one, f"{least:g} mm2", "than any earthing conductor of its material may be")
    if one.soil and not params["table-to-electrodes"]:
        return PASS
    if params["pme"] and one.pme:
        for sure in (False, True):
            pme = one.by_pme(sure)
            if pme is not None and one.short_of(pme):
                return _finding(one, pme.text, "than the neutral of the supply asks for")
    need = one.asked(params["table"], sure=False)
    if need is None or not one.short_of(_capped(need, one, params)):
        one.asked(params["table"])  # raises Unknown where a line without a size may ask for more
        return PASS
    need = _capped(need, one, params)
    if params["heat"] and not one.soil and not one.short_of(one.by_heat(params["fuses"])):
        return NotApplicable(ENOUGH_FOR_HEAT)
    return _finding(one, need.text, "than the line conductors at its board ask for")


def _capped(need: Need, one: Protective, params: Params) -> Need:
    most = params["most-mm2"]
    if one.no_return and params["most-without-return-mm2"]:
        most = params["most-without-return-mm2"] * (1.4 if one.material == "aluminium" else 1)
    return Need(most, f"{most:g} mm2") if most and need.mm2 > most else need


def _finding(one: Protective, need: str, why: str) -> Finding:
    what = f"the conductor of {one.id}" if one.sort == "electrode" else one.id
    return Finding(
        f"{what} is smaller {why}",
        "where it breaks the frames lose their earth, and nothing tells",
        f"lay {need} or more, and more where it lies in the soil without protection",
        (one.lines.at,) if one.lines.at and not one.soil else (),
        figures=(("written", one.size.text), ("asked for", need)),
    )


RULE = rule(
    id="earthing-conductor-small",
    level="error",
    over=Facts.earthing_conductors,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "542.3.1", False),
        Ref("iec", "IEC 60364-5-54", "543.1, table 54.2"),
        Ref("bs7671", "BS 7671", "542.3.1, table 54.1", False),
        Ref("bs7671", "BS 7671", "544.1.1, table 54.8", False),
        Ref("nec", "NEC", "250.66"),
        Ref("as-nzs", "AS/NZS 3000", "5.3.3.2", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param("least-copper-mm2", "the least of copper, in mm2", 6.0, {"bs7671": 2.5, "as-nzs": 4.0, "nec": 0.0}),
        Param("least-aluminium-mm2", "the least of aluminium, in mm2", 16.0, {"nec": 0.0}),
        Param("table", "the table by the lines", "IEC 54.2", {"nec": "NEC 250.66", "as-nzs": "AS/NZS 5.1"}),
        Param(
            "table-to-electrodes",
            "whether the table counts for those that lead to electrodes alone",
            False,
            {"nec": True, "as-nzs": True},
        ),
        Param(
            "pme", "whether the neutral of a TN-C-S supply decides as it does for main bonding", False, {"bs7671": True}
        ),
        HEAT,
        FUSES_OF_HEAT,
        Param("most-mm2", "what it need not exceed, in mm2; 0: no limit", 0.0, {"as-nzs": 120.0}),
        Param(
            "most-without-return-mm2",
            "what copper need not exceed in a TT system, in mm2 (543.1.1 ?)",
            25.0,
            {"nec": 0.0, "as-nzs": 0.0},
        ),
    ),
    examples=(
        Example("sized-house", ((_RODS, "rods: {at: met, resistance: 20 ohm, conductor: 4 mm2}"),), ("rods",)),
        Example("sized-house", ((_RODS, "rods: {at: met, resistance: 20 ohm, conductor: 6 mm2}"),), ()),
        Example(
            "sized-house",
            ((_MAIN, "earth-main: {from: met, to: main, cores: PE, size: 6 mm2"),),
            ("earth-main",),
            "bs7671",
        ),
        # the neutral of a PEN supply to which nothing is joined asks for nothing
        Example(
            "sized-house",
            (
                ("earthing: TN-C-S", "earthing: TN-S"),
                ("cores: L1 L2 L3 PEN", "cores: L1 L2 L3 N PE"),
                ("bonds:\n  main-link: {at: main, size: 16 mm2}\n", ""),
                ("sources:\n", "sources:\n  spare: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}\n"),
            ),
            (),
            "bs7671",
        ),
        # rods need no more than 6 AWG, a ring of bare conductor does
        Example("sized-cabin", ((_STAKES, "conductor: 8 AWG"),), ()),
        Example("sized-cabin", ((_STAKES, "conductor: 10 AWG"),), ("stakes",)),
    ),
    page=__doc__,
    in_states=False,
)
