"""A source enters a board through a final circuit or behind an RCD while another source feeds it at its entry.

Checks: sources that land on the end of a final circuit, or whose current enters the distribution through an RCD from its load
side with loads there, where another source can feed the supply side.

Danger: the RCD and the breaker of that circuit no longer guard what is behind them: current comes from two sides, faults
are fed past them, and an RCD opened by a fault leaves the circuit live from the other source.

Remedy: bring the source in at the entry of the board, on its own way, on the supply side of the RCDs.
"""

from __future__ import annotations

from onebond.rule import PASS, PRACTICE, Example, Facts, Finding, InfeedBehindRcd, Mention, Params, Ref, Verdict, rule

_ROOF = ("sources:\n", "sources:\n  roof: {kind: inverter, phases: L2, operation: grid-following}\n")


def check(infeed: InfeedBehindRcd, params: Params) -> Verdict:
    """Whether the source enters at a proper place."""
    if not infeed.by:
        return PASS
    way = "through the final circuit" if infeed.by == "circuit" else "on the load side of the RCD in"
    return Finding(
        f"{infeed.id} enters {way} {infeed.through}, which {infeed.other} feeds from the other side",
        "faults behind that protection are fed past it, and opening it does not make the circuit dead",
        f"bring {infeed.id} in at the entry of the board, on the supply side of its RCDs",
        (Mention(infeed.through, infeed.through_route, "the way by which it enters"),),
    )


RULE = rule(
    id="infeed-behind-rcd",
    level="error",
    over=Facts.infeeds,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.7.2", False),
        Ref("bs7671", "BS 7671", "551.7.2", False),
        Ref("nec", "NEC", "705.12", False),
        PRACTICE,
    ),
    examples=(
        Example(
            "workshop",
            (_ROOF, ("circuits:\n", "  roof-feed: {from: roof, to: sockets, cores: L2 N PE}\n\ncircuits:\n")),
            ("roof",),
        ),
        Example(
            "workshop",
            (_ROOF, ("circuits:\n", "  roof-feed: {from: roof, to: power-rcd, cores: L2 N PE}\n\ncircuits:\n")),
            ("roof",),
        ),
        # an RCD of its own on its own way to the main board
        Example(
            "workshop",
            (
                _ROOF,
                (
                    "circuits:\n",
                    "  roof-feed: {from: roof, to: main, cores: L2 N PE, through: [{kind: rcd, residual: 30 mA}]}\n\ncircuits:\n",
                ),
            ),
            (),
        ),
    ),
    page=__doc__,
)
