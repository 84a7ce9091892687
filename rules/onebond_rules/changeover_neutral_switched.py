"""A changeover interrupts the neutral of the supply.

Checks: changeovers that have N among their poles and at which the neutral of a utility arrives, and (as a warning) inverters
that open the neutral between input and output.  Only as-nzs has this rule: the
other rulebooks want, or allow, the neutral to be switched.

Danger: the one link between neutral and earth sits at the main switchboard on the supply's neutral.  A changeover that opens this
neutral takes the reference away from everything behind it.

Remedy: leave the neutral of the supply solid; switch the neutral of the generator only.
"""

from __future__ import annotations

from onebond.rule import PASS, Crossing, Example, Exempt, Facts, Finding, NotApplicable, Params, Ref, Verdict, rule

_BONDED_SET = (
    "diesel: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}",
    "diesel: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: fixed}",
)


def check(crossing: Crossing, params: Params) -> Verdict:
    """Whether the supply neutral is switched."""
    if crossing.sides < 2 or crossing.island is not None:
        return NotApplicable("no neutral to switch here")
    if crossing.solid or not crossing.utility:
        return PASS
    if crossing.vehicle:
        return Exempt(
            "the inverter of a vehicle parts its neutral from the hook-up (AS/NZS 3001 ?)",
            "its own reference has to close then: neutral-unreferenced judges that",
        )
    return Finding(
        f"{crossing.id} interrupts the neutral of {crossing.utility}",
        f"the one link at the main switchboard is lost to everything behind {crossing.id}",
        f"take N out of the poles of {crossing.id} and keep one link at the main switchboard"
        if not crossing.inverter
        else f"use an inverter that keeps the neutral through (neutral-through: solid) in place of {crossing.id}",
        level="warning" if crossing.inverter else None,
    )


RULE = rule(
    id="changeover-neutral-switched",
    level="error",
    levels={"iec": "off", "bs7671": "off", "nec": "off", "sans": "off"},
    over=Facts.crossings,
    check=check,
    refs=(Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.2"), Ref("as-nzs", "AS/NZS 4777.1", "5")),
    examples=(
        Example("one-neutral", (("poles: L1, drive", "poles: L1 N, drive"),), ("ts",), "as-nzs"),
        # also where the set has a link of its own
        Example("one-neutral", (("poles: L1, drive", "poles: L1 N, drive"), _BONDED_SET), ("ts",), "as-nzs"),
        # the set's own isolator may open the set's neutral
        Example(
            "one-neutral",
            (("to: ts.set, cores: L1 N PE", "to: ts.set, cores: L1 N PE, through: [{kind: isolator, poles: L1 N}]"),),
            (),
            "as-nzs",
        ),
    ),
    page=__doc__,
    in_states=False,
)
