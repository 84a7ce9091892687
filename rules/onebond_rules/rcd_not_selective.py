"""Two RCDs in series are not selective: the one ahead may open with, or before, the one behind it.

Checks: final circuits with two RCDs on the way, in every operating state.  The one ahead has to be time-delayed (type S) and of at
least three times the rated residual current of the next one behind it, which must not be delayed itself.

Danger: a fault in one lead takes the light, the freezer and the pump with it; people look for the fault in the dark, and whoever
is plagued by it takes an RCD out.

Remedy: a type S RCD of at least three times the rated residual current ahead, or none: one of 100 or 300 mA, type S, ahead of
30 mA.
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
    RcdOnWay,
    Ref,
    Verdict,
    rule,
)


def check(rcd: RcdOnWay, params: Params) -> Verdict:
    """Whether this RCD leaves the fault to the next one behind it."""
    nearer = rcd.nearer
    if rcd.fault.point.sort != "circuit":
        return NotApplicable("only final circuits are asked for")
    if nearer is None:
        return PASS
    if rcd.plug:
        return NotApplicable("socket-outlet for a lead: its RCD protects the lead, and what hangs on it brings its own")
    mine_a, its_a = rcd.device.residual_a, nearer.residual_a
    ratio = None if mine_a is None or not its_a else mine_a / its_a
    # 100 mA ahead of 30 mA is a common pair, so what is a hair below three by the arithmetic of floats counts as three
    enough = ratio is not None and ratio >= params["ratio"] * (1 - 1e-9)
    if rcd.device.delay == "S" and nearer.delay != "S" and enough:
        return PASS
    return Finding(
        f"the RCD {rcd.id} does not leave a fault to the RCD behind it",
        "one faulty lead takes everything behind both of them out of service",
        f"take a time-delayed RCD (type S) of at least {params['ratio']:g} times the rated residual current for {rcd.id}",
        (Mention(rcd.nearer_id, nearer.route, "the RCD behind it"),),
        figures=() if ratio is None else (("ratio of rated residual currents", f"{ratio:.2g}"),),
    )


RULE = rule(
    id="rcd-not-selective",
    level="warning",
    levels={"nec": "off"},
    over=Facts.rcds_on_ways,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-53", "536.4.1.4", False),
        Ref("bs7671", "BS 7671", "536.4.1.4", False),
        Ref("as-nzs", "AS/NZS 3000", "2.5.7", False),
        Ref("sans", "SANS 10142-1", "6.7.5", False),
    ),
    params=(Param("ratio", "least ratio of the rated residual currents", 3.0),),
    examples=(
        *(
            Example("measured-farm", (("type: A, delay: S", "type: A"),), ("rcd-main",), book)
            for book in ("iec", "bs7671", "as-nzs", "sans")
        ),
        Example("measured-farm", (("residual: 300 mA", "residual: 80 mA"),), ("rcd-main",)),
        Example("measured-farm", (("residual: 300 mA", "residual: 100 mA"),), ()),
        # three times 100 mA is enough, and no more is needed
        Example("measured-farm", (("residual: 30 mA", "residual: 100 mA"),), ()),
        Example("measured-farm", (("residual: 300 mA", "residual: 89 mA"),), ("rcd-main",)),
        # only one of them is left
        Example(
            "measured-farm",
            (("type: A, delay: S", "type: A"), ("sockets: {from: main-rcd", "sockets: {from: main")),
            (),
        ),
    ),
    page=__doc__,
)
