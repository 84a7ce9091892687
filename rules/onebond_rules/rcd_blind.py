"""An RCD does not see an earth fault that it has to open, in some operating state.

Checks: for every earth fault and every RCD on its way, in every state, the residual current that the RCD sees of the smallest
fault current, against its rated residual current.  It sees nothing in an island whose neutral floats, and less than the fault
current where part of it comes back through the RCD, to a bond on its protected side.

Danger: the test button works and the RCD is trusted, but a fault to a frame, or through a person, does not open it.

Remedy: tie the neutral to earth on the supply side of the RCD in every state; in TT lower the resistance of the electrodes, or
take an RCD of a lower rated residual current.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    RcdOnWay,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(rcd: RcdOnWay, params: Params) -> Verdict:
    """Whether this RCD sees this fault."""
    fault, rated_a = rcd.fault, rcd.device.residual_a
    if fault.floats:
        if rcd.portable:
            return NotApplicable("portable or vehicle source that feeds no building: judged by neutral-unreferenced")
        return _finding(rcd, ("island-reference-borrowed" if rcd.borrowed else "neutral-unreferenced", rcd.feed))
    if fault.outside:
        return NotApplicable(fault.outside)
    if fault.island.it:
        return NotApplicable("IT: an RCD is not there for the first fault (judged by disconnection-too-slow)")
    if rated_a is None:
        raise Unknown(f"the residual current of {rcd.id}", rcd.route)
    if fault.missing and fault.system == "TN" and rcd.sees_all and rated_a <= params["metal-a"]:
        return PASS
    cause: tuple[str, str] | None = None
    if rcd.behind:
        cause = ("bond-behind-rcd", rcd.behind)
    elif not rcd.summed:
        cause = ("device-does-not-fit", rcd.id)
    try:
        seen_a = rcd.seen_a
    except Unknown:
        if cause is None or fault.missing:
            raise
        return _finding(rcd, cause, (("sees", "not determined: it depends on the resistance of contacts"),))
    if seen_a >= rated_a:
        return PASS
    return _finding(
        rcd,
        cause,
        (
            ("fault at", fault.point.written),
            ("fault current", figure(fault.smallest_a, "A")),
            ("sees", figure(seen_a, "A")),
            ("operates for certain at", f"{rated_a * 1000:g} mA"),
        ),
        weight=1 - seen_a / rated_a,
    )


def _finding(
    rcd: RcdOnWay, because: tuple[str, str] | None, figures: tuple[tuple[str, str], ...] = (), weight: float = 0.0
) -> Finding:
    return Finding(
        f"the RCD {rcd.id} does not see an earth fault behind it for certain",
        "its test button works, but a fault to a frame or through a person does not open it",
        "tie the neutral to earth on the supply side of the RCD in every state; in TT lower the resistance of the electrodes",
        because=because,
        figures=figures,
        weight=weight,
    )


RULE = rule(
    id="rcd-blind",
    level="error",
    over=Facts.rcds_on_ways,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.5.3", False),
        Ref("bs7671", "BS 7671", "411.5.3", False),
        Ref("all", "IEC 61008-1", "operating currents"),
        PRACTICE,
    ),
    params=(
        Param(
            "metal-a",
            "rated residual current, in ampere, that a loop of metal gives whatever its lengths (our choice, no source)",
            0.5,
        ),
    ),
    examples=(
        # 230 V through 10 kohm: 23 mA
        Example("measured-farm", (("resistance: 20 ohm", "resistance: 10 kohm"),), ("rcd-main", "rcd-sockets")),
        # 230 V through 2 kohm: 115 mA
        Example("measured-farm", (("resistance: 20 ohm", "resistance: 2 kohm"),), ("rcd-main",)),
        Example("measured-farm", (("resistance: 20 ohm", "resistance: 400 ohm"),), ()),
        # the island floats
        Example(
            "island-hut", (("hut-link: {at: hut, size", "hut-link: {at: hut, impedance: 1 kohm, size"),), ("rcd-hut",)
        ),
        # linked behind the RCD
        Example("island-hut", (("hut-link: {at: hut,", "hut-link: {at: hut-rcd,"),), ("rcd-hut",)),
    ),
    page=__doc__,
)
