"""A source supplies no board and no circuit in any operating state.

Checks: every source, over all possible operating states.

Danger: nothing was proved of it, because it feeds nothing: mostly a connection is missing.

Remedy: correct the connection, or delete the source.
"""

from __future__ import annotations

from onebond.rule import PASS, Energised, Example, Facts, Finding, Params, Ref, Verdict, rule


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
    examples=(
        Example(
            "two-generators",
            (("sources:\n", "sources:\n  g3: {kind: generator, phases: L1 L2 L3, neutral-bond: none}\n"),),
            ("g3",),
        ),
        Example(
            "grid-hybrid", (("  to-ts-island: {from: hybrid.out, to: ts.island, cores: L1 N PE}\n", ""),), ("hybrid",)
        ),
        # open, but somebody can close it
        Example("two-generators", (("id: q-g2,", "id: q-g2, normally: open,"),), ()),
    ),
    page=__doc__,
)
