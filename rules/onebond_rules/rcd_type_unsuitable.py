"""An RCD of type AC, A or F has an inverter without electrical separation on its protected side, or type AC a medical place.

Checks: for every closed RCD, in every operating state, the inverters whose a.c. terminals lie on the side that it protects from
another source, while they invert or pass.  Type B is suitable for all of them; the other types only where the inverter is
separated from its d.c. side (`isolated: yes`, or where its maker excludes d.c. fault currents, which is written in the same way).
An RCD on every way to a final circuit in a medical place is of type A, F or B.

Danger: a fault on the d.c. side pushes smooth direct current through the RCD.  It saturates the core, and then the RCD does not
see an a.c. fault either.  Type AC does not even see the pulsating current of a fault behind a rectifier, which much medical
equipment has.

Remedy: an RCD of type B, an inverter with electrical separation, or the inverter moved to the supply side of the RCD; in a
medical place type A or B.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    RcdAtInverter,
    RcdForPlace,
    Ref,
    Unknown,
    Verdict,
    rule,
)

_ANNEXE = "  annexe: {}"
_RCBO = "id: rcbo-annexe, curve: B, rating: 20 A, residual: 30 mA, type: A"
_NOT_ISOLATED = ("isolated: yes", "isolated: no")


def check(pair: RcdAtInverter | RcdForPlace, params: Params) -> Verdict:
    """Whether the type of this RCD suits what it protects."""
    if isinstance(pair, RcdForPlace):
        return _in_place(pair, params)
    kind = pair.device.residual_type
    if kind == "B" or pair.source.isolated:
        return PASS
    if pair.source.isolated is None:
        raise Unknown(f"whether {pair.source.id} is isolated from its d.c. side", pair.source.route)
    if kind is None:
        raise Unknown(f"the type of {pair.id}", pair.route)
    return Finding(
        f"the RCD {pair.id} is of type {kind}, and an inverter behind it is not separated from its d.c. side",
        "direct current from a fault on the d.c. side keeps the RCD from seeing any fault",
        f"make {pair.id} type B, or move the inverter to its supply side",
        (Mention(pair.source.id, pair.source.route, "not separated from its d.c. side"),),
    )


def _in_place(one: RcdForPlace, params: Params) -> Verdict:
    """Whether the type suits the kind of place."""
    if one.place != "medical":
        return NotApplicable("the rulebook asks for no type in such a place")
    kind = one.device.residual_type
    if kind is None:
        raise Unknown(f"the type of {one.id}", one.route)
    if kind in params["medical-types"]:
        return PASS
    return Finding(
        f"the RCD {one.id} is of type {kind} and protects circuits of a medical place",
        "a fault behind the rectifier of an appliance pushes pulsating current, which the RCD does not see",
        f"make {one.id} type A or B",
        (Mention(one.circuit, one.circuit_route, "a circuit there"),),
    )


RULE = rule(
    id="rcd-type-unsuitable",
    level="error",
    levels={"nec": "off"},
    over=Facts.rcd_types,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.531.3.5.1", False),
        Ref("iec", "IEC 60364-5-53", "531.3.3", False),
        Ref("iec", "IEC 60364-7-710", "710.411.3.2.1", False),
        Ref("bs7671", "BS 7671", "712.531.3.5.1, 710.411.3.2.1", False),
        Ref("as-nzs", "AS/NZS 4777.1", "RCD types", False),
        Ref("sans", "SANS 10142-1", "6.7.5", False),
    ),
    params=(Param("medical-types", "types that are permitted in medical places", ("A", "F", "B")),),
    examples=(
        *(
            Example("measured-farm", (_NOT_ISOLATED,), ("rcd-main",), book)
            for book in ("iec", "bs7671", "as-nzs", "sans")
        ),
        Example(
            "measured-farm", (_NOT_ISOLATED, ("residual: 300 mA, type: A", "residual: 300 mA, type: AC")), ("rcd-main",)
        ),
        Example("measured-farm", (_NOT_ISOLATED, ("residual: 300 mA, type: A", "residual: 300 mA, type: B")), ()),
        # the RCD of the socket-outlets protects no inverter
        Example("measured-farm", (("residual: 30 mA, type: A", "residual: 30 mA, type: AC"),), ()),
        # in a medical place type A is the least; the circuit beside it has an RCD of its own
        *(
            Example(
                "measured-house", ((_ANNEXE, f"{_ANNEXE[:-2]}{{place: medical}}"), (_RCBO, _RCBO[:-1] + kind)), finds
            )
            for kind, finds in (("AC", ("rcbo-annexe",)), ("A", ()), ("F", ()), ("B", ()))
        ),
    ),
    page=__doc__,
)
