"""Two sources that may not run together share an island in a possible state.

Checks: every two energised sources whose line conductors are joined in some state that no interlock forbids.  A source that
follows another one by nature, and one that is written to (`may-parallel`), may share.

Danger: two sources that do not know of each other meet out of step: currents far above any rating, broken machines, and
a line that somebody works on made live.

Remedy: an interlock between the two (one key, a mechanical lock, a changeover), or equipment made for parallel running, written as such.
"""

from __future__ import annotations

from onebond.rule import Example, Facts, Finding, Mention, NotApplicable, Pair, Params, Ref, Verdict, rule

_UNLOCKED = ("interlocks:\n  - never: {q-g1: closed, q-g2: closed}\n    by: one key for two locks\n", "")


def check(pair: Pair, params: Params) -> Verdict:
    """Whether two sources meet."""
    if pair.permitted:
        return NotApplicable(pair.permitted)
    return Finding(
        f"{pair.id} and {pair.other} can feed the same conductors at the same time",
        "two sources out of step drive currents far above any rating through each other",
        f"lock {pair.id} and {pair.other} against each other (interlocks: never), or let a changeover choose between them",
        (Mention(pair.other, pair.other_route, "the other source"),),
        because=("inverter-feeds-itself", pair.feeds_itself) if pair.feeds_itself else None,
    )


RULE = rule(
    id="sources-in-parallel",
    level="error",
    over=Facts.pairs,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.6.1", False),
        Ref("iec", "IEC 60364-5-55", "551.7", False),
        Ref("bs7671", "BS 7671", "551.6.1", False),
        Ref("nec", "NEC", "702.5", False),
        Ref("nec", "NEC", "705", False),
        Ref("as-nzs", "AS/NZS 3000", "7.3", False),
        Ref("sans", "SANS 10142-1", "7.12", False),
    ),
    examples=(
        Example("two-generators", (_UNLOCKED,), ("g2",)),
        Example("grid-hybrid", (("drive: automatic", "transition: closed, drive: automatic"),), ("hybrid",)),
        Example(
            "two-generators", (_UNLOCKED, ("g1: {kind: generator,", "g1: {kind: generator, may-parallel: [g2],")), ()
        ),
    ),
    page=__doc__,
)
