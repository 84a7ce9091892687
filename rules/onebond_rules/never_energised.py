"""A board or circuit is live in no operating state.

Checks: every board and circuit with live conductors, over all possible operating states.

Danger: nothing was proved of it, because nothing ever feeds it: mostly a connection is missing or a switch is described as always open.

Remedy: correct the connection, or delete what is not there.
"""

from __future__ import annotations

from onebond.rule import PASS, Energised, Example, Facts, Finding, Params, Ref, Verdict, rule


def check(place: Energised, params: Params) -> Verdict:
    """Whether some state energises this place."""
    if place.ever:
        return PASS
    because = ("never-energised", place.by) if place.by else None
    if place.crossed:
        because = ("device-does-not-fit", place.crossed)
    return Finding(
        f"nothing ever energises {place.id}",
        "no verdict covers it: mostly a connection is missing or a switch is written as open for ever",
        f"correct what feeds {place.id}, or delete it",
        because=because,
    )


RULE = rule(
    id="never-energised",
    level="warning",
    over=Facts.places,
    check=check,
    refs=(Ref("all", "the description itself", ""),),
    examples=(
        # what hangs on the machine board follows
        Example("workshop", (("poles: L1 L2 L3, operable: yes", "poles: L1 L2 L3, normally: open"),), ("machines",)),
        Example(
            "workshop",
            (("stair-lights: {from: light-rcd, cores: L1", "stair-lights: {from: light-rcd, cores: L2"),),
            ("stair-lights",),
        ),
        Example("workshop", (("  control: {}\n", "  control: {}\n  spare: {}\n"),), ("spare",)),
        # open, but somebody can close it
        Example(
            "workshop", (("poles: L1 L2 L3, operable: yes", "poles: L1 L2 L3, normally: open, operable: yes"),), ()
        ),
        # an earth bar has nothing to energise
        Example("workshop", (("  control: {}\n", "  control: {}\n  met: {bars: PE}\n"),), ()),
    ),
    page=__doc__,
)
