"""Two infeeds of one place come from different levels of the distribution.

Checks: the inputs of a changeover (for an inverter with a mains input: the place that feeds this input) and the infeeds of a
board, where both come from one supply: the same bonds and RCDs must lie on the way to each.

Danger: between the two lies a link or an RCD, so the neutral of one is not the neutral of the other: loads that move from one to the
other trip an RCD or put neutral current on PE.

Remedy: take both infeeds from the same board.
"""

from __future__ import annotations

from onebond.rule import PASS, PRACTICE, Example, Facts, Finding, Levels, Mention, Params, Ref, Verdict, rule


def check(level: Levels, params: Params) -> Verdict:
    """Whether the two infeeds are at one level."""
    if not level.between:
        return PASS
    return Finding(
        f"{level.first} and {level.second} bring the same supply to {level.id} from different levels of the distribution",
        "a link or an RCD lies between the two: loads that move over trip it or put neutral current on PE",
        "take both infeeds from the same board",
        tuple(Mention(*mark) for mark in level.between),
    )


RULE = rule(
    id="sources-at-different-levels",
    level="warning",
    over=Facts.levels,
    check=check,
    refs=(PRACTICE, Ref("nec", "NEC", "250.30"), Ref("iec", "IEC 60364-4-44", "444.4.7", False)),
    examples=(
        Example(
            "tt-house",
            (("circuits:\n", "  barn-spare: {from: main-rcd, to: barn, cores: L1 N}\n\ncircuits:\n"),),
            ("barn",),
        ),
        Example(
            "grid-hybrid",
            (
                ("  essential: {}\n", "  essential: {}\n  main-rcd: {inside: main}\n"),
                ("to-ts-grid: {from: main,", "to-ts-grid: {from: main-rcd,"),
                (
                    "connections:\n",
                    "connections:\n  group: {from: main, to: main-rcd, cores: L1 N, through: [{kind: rcd, residual: 30 mA}]}\n",
                ),
            ),
            ("ts",),
        ),
        # a board on the way, but no link and no RCD
        Example(
            "grid-hybrid",
            (
                ("  essential: {}\n", "  essential: {}\n  sub: {}\n"),
                ("to-ts-grid: {from: main,", "to-ts-grid: {from: sub,"),
                ("connections:\n", "connections:\n  to-sub: {from: main, to: sub, cores: L1 N PE}\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
