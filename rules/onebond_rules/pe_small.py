"""A protective conductor is too small for the lines that it goes with, or for the heat of a fault.

Checks: every PE of a cable, and every PE of its own beside a cable without one or to a load; bars within one enclosure need no size.
Where a PE of its own is the only metal between two parts of the installation, the largest of the cables that lead from one part to the
other counts, wherever they are laid.  It passes by the table that goes by the lines (by the overcurrent device ahead, where the
rulebook has such a table); below the table it passes if sqrt(I2 t) / k of each earth fault that it carries is no more than its size, I
at the far ends, t the time by which a device has operated for certain.  Where that time is the tenth of a second that product
standards promise, a size that is not proved is a warning: the maker's let-through energy may show that it is enough.  A PE laid alone
has at least 2.5 mm2 copper or 16 mm2 aluminium; that one without mechanical protection needs 4 mm2 is not checked, since the
description does not say how it lies.  Lines that are larger than their load needs are not followed by their PE here (NEC 250.122(B)).
What a breaker lets through in a fault near the beginning of a cable, in less than a tenth of a second, is in no description and is not
judged.

Danger: it glows or melts in the fault that it is there for; the frame stays live, and the insulation beside it burns.

Remedy: a PE of the size that the table asks for, a device that clears faults sooner, or the maker's let-through energy.
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

_WORKSHOP = "size: 16 mm2, pe-size: 10 mm2, length: 25 m"
_WELL = "size: 10 AWG, pe-size: 10 AWG, length: 90 ft"


def check(pe: Protective, params: Params) -> Verdict:
    """Whether this PE has the size that the table or the heat of its faults asks for."""
    size = pe.size
    if pe.assumed:
        return NotApplicable("the size of its PE is not written: it is taken to be that of its lines")
    if pe.steel == "conduit" and params["conduit-serves"]:
        return NotApplicable(f"a metal conduit serves as it is ({params['conduit-serves']})")
    least = params["alone-aluminium-mm2" if pe.material == "aluminium" else "alone-copper-mm2"]
    if pe.alone and not size.mm2 >= least:
        return Finding(
            f"the PE {pe.id} is smaller than a protective conductor that is laid alone may be",
            "it breaks before anything else does, and nothing tells",
            f"lay {least:g} mm2 of {pe.material} or more, and more where nothing protects it",
            figures=(("written", size.text), ("the least", f"{least:g} mm2")),
        )
    need = pe.asked(params["table"])
    assert need is not None
    if not pe.short_of(need):
        return PASS
    asks = "the overcurrent device ahead asks for" if params["by-device"] else "its lines ask for"
    figures = [("written", size.text), ("by the table", need.text)]
    fast = False
    if params["heat"]:
        heat = pe.by_heat(params["fuses"])
        if not pe.short_of(heat):
            return NotApplicable(ENOUGH_FOR_HEAT)
        asks += ", and not proved to stand the heat of a fault"
        figures.extend(figures_of_heat(pe, heat, params["fuses"]))
        fast = pe.heat(params["fuses"]).fast
    return Finding(
        f"the PE of {pe.id} is smaller than {asks}",
        "a fault may burn it off before the device ahead opens; the frames behind it then stay live",
        f"give {pe.id} a PE of {need.text}",
        level="warning" if fast else None,
        figures=tuple(figures),
    )


RULE = rule(
    id="pe-small",
    level="error",
    over=Facts.pe_conductors,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.1, table 54.2"),
        Ref("bs7671", "BS 7671", "543.1, table 54.7"),
        Ref("nec", "NEC", "250.122"),
        Ref("nec", "NEC", "250.118", False),
        Ref("as-nzs", "AS/NZS 3000", "5.3.3.1, table 5.1", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param(
            "table",
            "the table that it goes by",
            "IEC 54.2",
            {"nec": "NEC 250.122", "as-nzs": "AS/NZS 5.1"},
        ),
        Param(
            "by-device", "whether that table goes by the overcurrent device and not by the lines", False, {"nec": True}
        ),
        HEAT,
        FUSES_OF_HEAT,
        Param("alone-copper-mm2", "the least of copper that is laid alone, in mm2", 2.5, {"nec": 0.0}),
        Param("alone-aluminium-mm2", "the least of aluminium that is laid alone, in mm2", 16.0, {"nec": 0.0}),
        Param(
            "conduit-serves",
            "where it stands that a metal conduit serves whatever its size",
            "",
            {"nec": "NEC 250.118 ?"},
        ),
    ),
    examples=(
        # a fuse that may take five seconds
        Example("sized-house", (("class: gG, rating: 40 A", "class: gG, rating: 63 A"),), ("to-workshop",)),
        Example("sized-house", ((_WORKSHOP, "size: 16 mm2, pe-size: 1.5 mm2, length: 25 m"),), ("to-workshop",)),
        Example("sized-house", ((_WORKSHOP, "size: 16 mm2, pe-size: 6 mm2, length: 25 m"),), ()),
        Example("sized-house", ((_WORKSHOP, "size: 16 mm2, pe-size: 6 mm2, length: 25 m"),), (), "as-nzs"),
        # the PE of its own beside a cable without one
        Example(
            "sized-house",
            (
                ("saw: {from: workshop, cores: L1 L2 L3 PE", "saw: {from: workshop, cores: L1 L2 L3"),
                (
                    "  bonding: {",
                    "  saw-pe: {from: workshop, to: saw, cores: PE, size: 1.5 mm2, length: 12 m}\n  bonding: {",
                ),
            ),
            ("saw-pe",),
        ),
        # 2.5 mm2 of copper may lie alone
        Example(
            "sized-house",
            (
                ("saw: {from: workshop, cores: L1 L2 L3 PE", "saw: {from: workshop, cores: L1 L2 L3"),
                (
                    "  bonding: {",
                    "  saw-pe: {from: workshop, to: saw, cores: PE, size: 2.5 mm2, length: 12 m}\n  bonding: {",
                ),
            ),
            (),
        ),
        Example("sized-cabin", ((_WELL, "size: 10 AWG, pe-size: 12 AWG, length: 90 ft"),), ("well",)),
        # never larger than the lines
        Example("sized-cabin", ((_WELL, "size: 12 AWG, pe-size: 12 AWG, length: 90 ft"),), ()),
    ),
    page=__doc__,
    in_states=False,
)
