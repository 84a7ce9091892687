"""A bond that a condition closes leaves the neutral without a reference, or with two, while it changes over.

Checks: the declared delays (`closes-after`, `opens-after`) of bonds with a condition and of bonds inside inverters.  Where such a
bond is the only reference, the neutral floats until it has closed.  Where an inverter decides on it and another reference is
there once the condition has ended, the neutral is tied twice until it has opened.  A bond that follows a changeover is not asked
for the second: how long the changeover leaves its neutral open is not written.  Without declared delays there is nothing to
check, unless the rulebook sets a limit.

Danger: for as long as the neutral floats no earth fault is cleared, and an RCD sees none.  For as long as it is tied twice, part
of the neutral current returns by PE, and an RCD ahead of the bond may trip at every return of the supply.

Remedy: a relay that is quick enough, driven by the same contact that parts the neutrals, and proved by measuring both delays.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Example,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    Ref,
    Relay,
    Unknown,
    Verdict,
    figure,
    rule,
)

_RELAY = "neutral-bond: while-inverting"


def check(relay: Relay, params: Params) -> Verdict:
    """Whether a bond closes soon enough, or opens soon enough, in this case."""
    delay_s, limit_s, name, figured = (
        (relay.closes_after_s, params["longest-gap-s"], "closes-after", "without a reference for up to")
        if relay.alone
        else (relay.opens_after_s, params["longest-overlap-s"], "opens-after", "tied twice for up to")
    )
    if delay_s is None:
        if params["declare"]:
            raise Unknown(f"{name} of {relay.id}", relay.route)
        return NotApplicable(f"{name} of {relay.id} is not declared")
    if delay_s <= limit_s:
        return PASS
    return Finding(
        f"{relay.bond} is too slow by its declared delays: the neutral floats, or is tied twice, while it changes over",
        "while it floats no earth fault is cleared; while it is tied twice an RCD may trip and PE carries neutral current",
        f"take a relay that closes within {params['longest-gap-s']:g} s and has opened before the other reference is joined",
        (Mention(relay.beside.id, relay.beside.route, "the other reference"),) if relay.beside else (),
        figures=((figured, figure(delay_s, "s")), ("longest", figure(limit_s, "s"))),
        weight=delay_s - limit_s,
    )


RULE = rule(
    id="reference-lost-in-transition",
    level="warning",
    over=Facts.relays,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.4.3.2.1"),
        Ref("bs7671", "BS 7671", "826.1.1.2.2", False),
        Ref("nec", "NEC", "250.6", False),
        Ref("sans", "NRS 097-2-1", "5.4", False),
        Ref("sans", "SANS 10142-1", "6.1.6", False),
        PRACTICE,
    ),
    params=(
        Param(
            "longest-gap-s",
            "longest time, in s, without a reference (sans: of the relay; elsewhere our choice: that of table 41.1 at 230 V)",
            0.4,
            {"sans": 0.2},
        ),
        Param(
            "longest-overlap-s",
            "longest time, in s, with two references (sans: none; elsewhere our choice: an RCD may open after that)",
            0.04,
            {"sans": 0.0},
        ),
        Param("declare", "whether the delays have to be declared", False, {"sans": True}),
    ),
    examples=(
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 500 ms"),), ("hybrid",)),
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 400 ms"),), ()),
        Example(
            "grid-hybrid",
            ((_RELAY, f"{_RELAY}\n    closes-after: 300 ms\n    opens-after: 0 ms"),),
            ("hybrid",),
            "sans",
        ),
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 200 ms\n    opens-after: 0 ms"),), (), "sans"),
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 20 ms\n    opens-after: 100 ms"),), ("hybrid",)),
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 20 ms\n    opens-after: 40 ms"),), ()),
        Example(
            "grid-hybrid",
            ((_RELAY, f"{_RELAY}\n    closes-after: 20 ms\n    opens-after: 20 ms"),),
            ("hybrid",),
            "sans",
        ),
        # the other delay is not declared
        Example("grid-hybrid", ((_RELAY, f"{_RELAY}\n    closes-after: 20 ms"),), ()),
    ),
    page=__doc__,
)
