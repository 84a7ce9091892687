"""A board or circuit is live in no operating state.

Checks: every board and circuit with live conductors, over all possible operating states.

Danger: nothing was proved of it, because nothing ever feeds it: mostly a connection is missing or a switch is described as always open.

Remedy: correct the connection, or delete what is not there.
"""

from __future__ import annotations

from onebond.rule import PASS, Energised, Facts, Finding, Params, Ref, Verdict, rule


def check(place: Energised, params: Params) -> Verdict:
    """Whether some state energises this place."""
    if place.ever:
        return PASS
    return Finding(
        f"nothing ever energises {place.id}",
        "no verdict covers it: mostly a connection is missing or a switch is written as open for ever",
        f"correct what feeds {place.id}, or delete it",
        because=("never-energised", place.by) if place.by else None,
    )


RULE = rule(
    id="never-energised",
    level="warning",
    over=Facts.places,
    check=check,
    refs=(Ref("all", "the description itself", ""),),
    examples=(),
    page=__doc__,
)
