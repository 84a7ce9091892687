"""The voltage at the end of a circuit is too low in normal service.

Checks: for every final circuit in every operating state that feeds it, the voltage drop from the terminals of the source to its
end, with all written loads of the island and warm conductors, against the limit for lighting or for other uses, from a public
supply or a private source.  Where a load is not written, and the written ones do not reach the limit, the result is open.

Danger: motors stall and overheat, lamps flicker, electronics fail when something else starts.  A long cable that drops
much voltage also lets little current flow in a fault.

Remedy: a larger size, a shorter way, fewer loads on one cable, or the source nearer to the loads.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Drop,
    Example,
    Facts,
    Finding,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(drop: Drop, params: Params) -> Verdict:
    """Whether the voltage at the end of this circuit is high enough."""
    supply = "public" if drop.public else "private"
    limit = params[f"{'lighting' if drop.lighting else 'other'}-{supply}"]
    percent = drop.ratio * 100
    if not percent <= limit:
        return Finding(
            f"the voltage drop to the end of {drop.id} is above the limit",
            "what hangs on it gets too little voltage while the other loads are on",
            f"a larger size or a shorter way for {drop.id} or for what feeds it, or fewer loads on the same cable",
            figures=(
                ("voltage drop", figure(percent, "%")),
                ("limit", f"{limit:g} % ({supply} supply)"),
                ("from the terminals of", drop.source),
            ),
            weight=percent / limit,
        )
    if drop.no_load:
        raise Unknown.of(drop.no_load)
    return PASS


RULE = rule(
    id="voltage-drop-high",
    level="warning",
    over=Facts.drops,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-52", "525, Annex G", False),
        Ref("bs7671", "BS 7671", "525, Appendix 4 section 6.4", False),
        Ref("nec", "NEC", "210.19(A), 215.2(A), informational notes", False),
        Ref("as-nzs", "AS/NZS 3000", "3.6.2", False),
        Ref("sans", "SANS 10142-1", "6.2.7", False),
    ),
    params=(
        Param(
            "lighting-public",
            "largest drop for lighting on a public supply, in per cent",
            3.0,
            {"nec": 5.0, "as-nzs": 5.0, "sans": 5.0},
        ),
        Param("other-public", "largest drop for other uses on a public supply, in per cent", 5.0),
        Param(
            "lighting-private",
            "largest drop for lighting on a private source, in per cent",
            6.0,
            {"nec": 5.0, "as-nzs": 5.0, "sans": 5.0},
        ),
        Param(
            "other-private",
            "largest drop for other uses on a private source, in per cent",
            8.0,
            {"nec": 5.0, "as-nzs": 5.0, "sans": 5.0},
        ),
    ),
    examples=(
        Example("loaded-joinery", (("length: 18 m", "length: 80 m"),), ("sockets",)),
        Example("loaded-joinery", (("size: 1.5 mm2, length: 25 m", "size: 1.5 mm2, length: 130 m"),), ("lights",)),
        # what is too much for lighting is not for another use, nor in a rulebook with one limit
        Example(
            "loaded-joinery",
            (("length: 25 m, serves: lighting", "length: 130 m, serves: fixed"),),
            (),
        ),
        Example(
            "loaded-joinery", (("size: 1.5 mm2, length: 25 m", "size: 1.5 mm2, length: 130 m"),), (), rulebook="nec"
        ),
        # a private source may drop more
        Example(
            "loaded-joinery",
            (
                ("kind: utility, phases", "kind: generator, phases"),
                (
                    "earthing: TN-S, loop-impedance: 0.5 ohm, fault-current: 2 kA",
                    "rating: 40 kVA, subtransient-reactance: 12 %, neutral-bond: fixed",
                ),
                ("length: 18 m", "length: 80 m"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
