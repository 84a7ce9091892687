"""A residual current device comes near to tripping in normal service.

Checks: for every closed RCD in every operating state, the standing leakage of the circuits behind it, and the residual current
with all written loads where a link behind it or a second link lets neutral current pass it by; both against its rated residual
current.  Where a load or a leakage is not written, and what is written does not reach the limit, the result is open.

Danger: an RCD may operate from half of its rated residual current on.  One that trips without a fault puts out lights and
freezers, and is in the end bridged or taken out; then nothing protects the people behind it.

Remedy: divide circuits with much standing leakage among several RCDs.  Where neutral current passes it by, remove the
link that leads it there.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Param,
    Params,
    RcdInService,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)

HAIR = 1e-3
"""Part of a limit by which a solved leakage may pass it and still counts as at it."""


def check(rcd: RcdInService, params: Params) -> Verdict:
    """Whether normal service leaves this RCD far enough from tripping."""
    rated_a = rcd.device.residual_a
    if rated_a is None:
        raise Unknown(f"the residual of {rcd.id}", rcd.route)
    standing_a = rcd.standing_a
    # what the circuit adds to the written leakages, less than a thousandth, or the arithmetic, does not lift them above the limit
    if not standing_a <= params["standing"] * rated_a * (1 + HAIR):
        return Finding(
            f"the residual current of normal service brings the RCD {rcd.id} near to tripping",
            "the leakage of the circuits behind it adds up: a little more, at switching on or in damp weather, and it trips",
            f"divide the circuits behind {rcd.id} among several RCDs",
            figures=_figures(standing_a, None, rated_a),
            weight=standing_a / rated_a,
        )
    try:
        total_a = rcd.total_a
    except Unknown:
        if rcd.diverts:
            raise
        total_a = standing_a  # no neutral current leaves its way: what is not written moves leakage by a trifle
    if not total_a < params["total"] * rated_a:
        cause = "bond-behind-rcd" if rcd.behind else "neutral-bonded-twice"
        return Finding(
            f"the residual current of normal service brings the RCD {rcd.id} near to tripping",
            "neutral current passes it by: it may trip as soon as the loads are on, and is then the first thing to be bridged",
            f"keep the neutral current of {rcd.id} in its own neutral"
            + (f": {rcd.diverts} leads a share of it past the RCD" if rcd.diverts else ""),
            because=(cause, rcd.diverts) if rcd.diverts else rcd.cause,
            figures=_figures(standing_a, total_a, rated_a),
            weight=total_a / rated_a,
        )
    lacking = (rcd.no_load if rcd.diverts else None) or rcd.no_leakage
    if lacking:
        raise Unknown.of(lacking)
    return PASS


def _figures(standing_a: float, total_a: float | None, rated_a: float) -> tuple[tuple[str, str], ...]:
    total = () if total_a is None else (("residual current with all written loads", figure(total_a, "A")),)
    return (
        ("standing leakage", figure(standing_a, "A")),
        *total,
        ("rated residual current", figure(rated_a, "A")),
    )


RULE = rule(
    id="rcd-trips-in-service",
    level="warning",
    over=Facts.rcds_in_service,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-53", "531.3.2", False),
        Ref("bs7671", "BS 7671", "531.3.2", False),
        Ref("nec", "UL 943", "4 mA to 6 mA", False),
        Ref("as-nzs", "AS/NZS 3000", "2.6.2", False),
        Ref("sans", "SANS 10142-1", "6.7.5", False),
        Ref("all", "IEC 61008-1", "residual non-operating current, 0.5 of the rated"),
    ),
    params=(
        Param("standing", "largest standing leakage, as a part of the rated residual current", 0.3),
        Param("total", "residual current from which the RCD may operate, as a part of the rated one", 0.5),
    ),
    examples=(
        Example("loaded-joinery", (("load: 2 kW, leakage: 2 mA", "load: 2 kW, leakage: 11 mA"),), ("rcd-main",)),
        # a link behind it: neutral current of the loads returns through PE
        Example(
            "loaded-joinery",
            (("electrodes:\n", "bonds:\n  lamp-link: {at: main-rcd}\n\nelectrodes:\n"),),
            ("rcd-main",),
        ),
        # a second link elsewhere is none of its business
        Example(
            "loaded-joinery",
            (("electrodes:\n", "bonds:\n  hall-link: {at: hall}\n\nelectrodes:\n"),),
            (),
        ),
        # 9 mA is 0.3 of 30 mA, and a little more is above it
        Example("loaded-joinery", (("load: 2 kW, leakage: 2 mA", "load: 2 kW, leakage: 9 mA"),), ()),
        Example("loaded-joinery", (("load: 2 kW, leakage: 2 mA", "load: 2 kW, leakage: 9.1 mA"),), ("rcd-main",)),
        # the same leakage behind a device of another rating
        Example(
            "loaded-joinery",
            (("load: 2 kW, leakage: 2 mA", "load: 2 kW, leakage: 11 mA"), ("residual: 30 mA", "residual: 100 mA")),
            (),
        ),
    ),
    page=__doc__,
)
