"""The output of an inverter reaches its own input.

Checks: in every state in which a pass-through inverter inverts, whether its output line reaches its input line from outside.

Danger: the inverter takes its own output for the grid, charges its battery from it and runs into a loop, or ties itself to the
real grid when that returns.

Remedy: take the input from a place that the output can never reach: the supply side of the changeover.
"""

from __future__ import annotations

from onebond.rule import PASS, PRACTICE, Example, Facts, Finding, OwnInput, Params, Verdict, rule

_BYPASS = (
    "circuits:\n",
    "  bypass: {from: main, to: control, cores: L1 N, through: [{kind: isolator, id: q-bypass, operable: yes}]}\n\ncircuits:\n",
)


def check(own: OwnInput, params: Params) -> Verdict:
    """Whether the inverter's output reaches its input."""
    if not own.reached:
        return PASS
    return Finding(
        f"the output of {own.id} reaches its own mains input",
        "it takes its own output for the grid, and meets the real grid out of step when that returns",
        f"feed {own.id}.in from the supply side of the changeover, where its output never arrives",
    )


RULE = rule(
    id="inverter-feeds-itself",
    level="error",
    over=Facts.own_inputs,
    check=check,
    refs=(PRACTICE,),
    examples=(
        Example("grid-hybrid", (("to-hybrid: {from: main,", "to-hybrid: {from: essential,"),), ("hybrid",)),
        Example("workshop", (_BYPASS,), ("ups",)),
        Example(
            "workshop",
            (_BYPASS, ("electrodes:\n", "interlocks:\n  - never: {q-bypass: closed, ups: inverting}\n\nelectrodes:\n")),
            (),
        ),
    ),
    page=__doc__,
)
