"""The mains input of a pass-through inverter lies behind an RCD that does not belong to it.

Checks: the mains input of each pass-through inverter that is fed through an RCD: whether, in island operation, its own
reference lies on the other side of that RCD; whether loads behind the inverter return their neutral round it; whether it is an RCD of
30 mA or less whose other side also feeds the inverter's loads; or one of a final board, with other circuits on it.

Danger: the RCD sums the leakage of everything behind the inverter, trips for faults that are not its own, and its opening takes
the neutral, and with it the reference, away at the moment in which the inverter goes into island operation.

Remedy: feed the mains input from the supply side of the RCD, on a way of its own at the level of the main board.
"""

from __future__ import annotations

from onebond.rule import PASS, PRACTICE, Example, Facts, FedBehindRcd, Finding, Mention, Params, Verdict, rule

_WORDS = {
    "reference": "its reference in island operation lies on the other side",
    "return": "the neutral of its loads returns round that RCD",
    "loads": "the loads that it feeds are also fed from the other side of that RCD",
    "final": "that RCD belongs to a final board and guards other circuits too",
    "supplier": "the supplier's star point, its reference in island operation, lies on the other side",
}


def check(fed: FedBehindRcd, params: Params) -> Verdict:
    """Whether the RCD before the mains input is in the wrong place."""
    if not fed.trouble:
        return PASS
    because = ("island-reference-borrowed", fed.id) if fed.trouble == "supplier" else None
    if fed.trouble == "return" and fed.misfit:
        because = ("device-does-not-fit", fed.misfit)
    return Finding(
        f"the mains input of {fed.id} lies behind the RCD in {fed.rcd}: {_WORDS[fed.trouble]}",
        "the RCD trips for faults that are not its own, and its opening can take the reference of the island away",
        f"feed {fed.id}.in from the supply side of the RCD in {fed.rcd}",
        (Mention(fed.rcd, fed.rcd_route, "the RCD"),),
        because=because,
    )


RULE = rule(
    id="inverter-fed-behind-rcd",
    level="error",
    over=Facts.inputs_behind_rcd,
    check=check,
    refs=(PRACTICE,),
    examples=(
        Example("workshop", (("to-ups: {from: main,", "to-ups: {from: light-rcd,"),), ("ups",)),
        Example("tt-house", (("to-hybrid: {from: main,", "to-hybrid: {from: main-rcd,"),), ("hybrid",)),
        # an RCD that belongs to the inverter alone
        Example(
            "workshop",
            (("to: ups.in, cores: L1 N PE", "to: ups.in, cores: L1 N PE, through: [{kind: rcd, residual: 300 mA}]"),),
            (),
        ),
    ),
    page=__doc__,
)
