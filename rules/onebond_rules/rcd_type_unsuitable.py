"""An RCD of type AC, A or F has an inverter without electrical separation on its protected side.

Checks: for every closed RCD, in every operating state, the inverters whose a.c. terminals lie on the side that it protects from
another source, while they invert or pass.  Type B is suitable for all of them; the other types only where the inverter is
separated from its d.c. side (`isolated: yes`, or where its maker excludes d.c. fault currents, which is written in the same way).

Danger: a fault on the d.c. side pushes smooth direct current through the RCD.  It saturates the core, and then the RCD does not
see an a.c. fault either.

Remedy: an RCD of type B, an inverter with electrical separation, or the inverter moved to the supply side of the RCD.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Mention,
    Params,
    RcdAtInverter,
    Ref,
    Unknown,
    Verdict,
    rule,
)

_NOT_ISOLATED = ("isolated: yes", "isolated: no")


def check(pair: RcdAtInverter, params: Params) -> Verdict:
    """Whether the type of this RCD suits the inverter behind it."""
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


RULE = rule(
    id="rcd-type-unsuitable",
    level="error",
    levels={"nec": "off"},
    over=Facts.rcds_at_inverters,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.531.3.5.1", False),
        Ref("iec", "IEC 60364-5-53", "531.3.3", False),
        Ref("bs7671", "BS 7671", "712.531.3.5.1", False),
        Ref("as-nzs", "AS/NZS 4777.1", "RCD types", False),
        Ref("sans", "SANS 10142-1", "6.7.5", False),
    ),
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
    ),
    page=__doc__,
)
