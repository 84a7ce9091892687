"""The line and the neutral of a circuit take different ways.

Checks: every circuit: each RCD that its line passes must also sum its neutral, and the reverse; its neutral must not return by the
core of another circuit; and in every state it must reach a source that feeds the line.

Danger: the RCD trips as soon as the circuit is loaded; and with the other circuit switched off for work, its neutral is live.

Remedy: bring the neutral back to the bar of the RCD and circuit that its line comes from.
"""

from __future__ import annotations

from onebond.rule import PASS, BorrowedNeutral, Example, Facts, Finding, Params, Ref, Verdict, rule

_LINE_ONLY = ("stair-lights: {from: light-rcd, cores: L1 N PE", "stair-lights: {from: light-rcd, cores: L1 PE")


def check(borrowed: BorrowedNeutral, params: Params) -> Verdict:
    """Whether line and neutral go one way."""
    if borrowed.through:
        return Finding(
            f"the neutral of {borrowed.id} returns through {borrowed.through}",
            "with the other circuit switched off for work its neutral is live; an RCD of either trips under load",
            f"bring the neutral of {borrowed.id} back in its own cable",
            because=("device-does-not-fit", borrowed.misfit) if borrowed.misfit else None,
        )
    if borrowed.lost:
        because = ("device-does-not-fit", borrowed.misfit) if borrowed.misfit else None
        if borrowed.lost != borrowed.id:
            because = ("neutral-borrowed", borrowed.lost)
        return Finding(
            f"the neutral of {borrowed.id} has no way back to a source that feeds its line",
            "the load does not work, or its whole current returns through PE and other circuits' neutrals",
            f"bring N along with the line of {borrowed.id}, from the source on: a core is missing on the way",
            because=because,
        )
    if borrowed.line_only or borrowed.neutral_only:
        rcds = " and ".join(borrowed.line_only or borrowed.neutral_only)
        which, other = ("line", "neutral") if borrowed.line_only else ("neutral", "line")
        return Finding(
            f"the {which} of {borrowed.id} passes the RCD in {rcds}, but its {other} does not",
            "the load current itself is a residual current: the RCD trips as soon as the circuit is loaded",
            f"bring line and neutral of {borrowed.id} from the same RCD",
            because=("device-does-not-fit", borrowed.misfit) if borrowed.misfit else None,
        )
    return PASS


RULE = rule(
    id="neutral-borrowed",
    level="error",
    over=Facts.borrowed_neutrals,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-1", "314.4", False),
        Ref("bs7671", "BS 7671", "314.4", False),
        Ref("nec", "NEC", "200.4", False),
        Ref("as-nzs", "AS/NZS 3000", "2.2", False),
        Ref("sans", "SANS 10142-1", "6.6", False),
    ),
    examples=(
        Example(
            "workshop",
            (
                _LINE_ONLY,
                ("circuits:\n", "  stair-neutral: {from: power-rcd, to: stair-lights, cores: N}\n\ncircuits:\n"),
            ),
            ("stair-lights",),
        ),
        Example(
            "workshop",
            (
                _LINE_ONLY,
                ("circuits:\n", "  stair-neutral: {from: bench-lights, to: stair-lights, cores: N}\n\ncircuits:\n"),
            ),
            ("stair-lights",),
        ),
        # a neutral laid by itself, but from the same RCD
        Example(
            "workshop",
            (
                _LINE_ONLY,
                ("circuits:\n", "  stair-neutral: {from: light-rcd, to: stair-lights, cores: N}\n\ncircuits:\n"),
            ),
            (),
        ),
        # between two lines: no neutral to borrow
        Example(
            "workshop",
            (("sockets: {from: power-rcd, cores: L2 N PE", "sockets: {from: power-rcd, cores: L2 L3 PE"),),
            (),
        ),
    ),
    page=__doc__,
    in_states=False,
)
