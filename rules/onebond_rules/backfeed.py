"""An island energises the terminals of an absent or standing source.

Checks: in every state, whether the line terminals of an absent utility or a standing generator are within an island that
another source feeds.

Danger: a line that the network operator's people take for dead is live, through a transformer at high voltage; a
standing machine is driven or burnt.

Remedy: an interlock or a changeover that opens the dead source's lines before another one feeds.
"""

from __future__ import annotations

from onebond.rule import PASS, Dead, Example, Facts, Finding, Mention, Params, Ref, Verdict, rule

_UNLOCKED = ("interlocks:\n  - never: {q-g1: closed, q-g2: closed}\n    by: one key for two locks\n", "")


def check(dead: Dead, params: Params) -> Verdict:
    """Whether the dead source's terminals are made live."""
    if not dead.by:
        return PASS
    return Finding(
        f"{dead.by} energises the terminals of {dead.id} while {dead.id} gives no voltage",
        "people who take that line for dead find it live; a standing machine is driven by it",
        f"lock the switches of {dead.by} and {dead.id} against each other, or let a changeover choose between them",
        (Mention(dead.by, dead.by_route, "the source that energises it"),),
        because=dead.parallel,
    )


RULE = rule(
    id="backfeed",
    level="error",
    over=Facts.dead,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.6.1", False),
        Ref("bs7671", "BS 7671", "551.6.1", False),
        Ref("nec", "NEC", "702.5", False),
        Ref("as-nzs", "AS/NZS 3000", "7.3", False),
        Ref("sans", "SANS 10142-1", "7.12", False),
    ),
    examples=(
        Example("two-generators", (_UNLOCKED,), ("g1", "g2")),
        # engines locked against each other, breakers not
        Example(
            "two-generators",
            (("never: {q-g1: closed, q-g2: closed}", "never: {g1: running, g2: running}"),),
            ("g1", "g2"),
        ),
        Example("grid-hybrid", (("drive: automatic", "transition: closed, drive: automatic"),), ("grid",)),
        # an inverter that only follows the grid
        Example(
            "workshop",
            (
                ("sources:\n", "sources:\n  roof: {kind: inverter, phases: L2, operation: grid-following}\n"),
                ("circuits:\n", "  roof-feed: {from: roof, to: main, cores: L2 N PE}\n\ncircuits:\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
