"""A source supplies no board and no circuit in any operating state.

Checks: every source, over all possible operating states.

Danger: nothing was proved of it, because it feeds nothing: mostly a connection is missing.

Remedy: correct the connection, or delete the source.
"""

from __future__ import annotations

from onebond.rule import PASS, Energised, Facts, Finding, Params, Ref, Verdict, rule


def check(source: Energised, params: Params) -> Verdict:
    """Whether the source ever supplies something."""
    if source.ever:
        return PASS
    return Finding(
        f"{source.id} supplies nothing in any operating state",
        "no verdict covers it: mostly a connection is missing",
        f"connect {source.id}, or delete it",
    )


RULE = rule(
    id="nothing-supplied",
    level="warning",
    over=Facts.supplying,
    check=check,
    refs=(Ref("all", "the description itself", ""),),
    examples=(),
    page=__doc__,
)
