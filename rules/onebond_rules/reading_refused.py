"""A reading makes no sense: its place, its state or its value does not exist.

Checks: every entry of a file of readings against the description: places, conductors, devices and states that exist, values that can
be, one subject each; that the file belongs to this description and to its revision.  All other readings still count.

Danger: a reading that cannot be placed proves nothing, and whoever took it believes that it does.

Remedy: correct the entry as the message says; take the reading again where it cannot be told what was meant.
"""

from __future__ import annotations

from onebond.rule import PRACTICE, Example, Facts, Finding, Params, Refused, Verdict, rule

_TAKEN = "onebond-readings: 1\ninstallation: measured-house.yaml\ntaken: 2026-09-14\nreadings:\n"


def check(reading: Refused, params: Params) -> Verdict:
    """Every reading here is refused."""
    return Finding(
        reading.message,
        "this reading proves nothing; the others were compared",
        reading.hint or "correct the entry",
    )


RULE = rule(
    id="reading-refused",
    level="error",
    over=Facts.refused_readings,
    check=check,
    in_states=False,
    refs=(PRACTICE,),
    examples=(
        Example("measured-house", (), ("line 5",), readings=f"{_TAKEN}  - {{at: mian, L1-N: 230 V}}\n"),
        Example(
            "measured-house",
            (),
            ("line 6",),
            readings=f"{_TAKEN}  - {{at: main, L1-N: 230 V}}\n  - {{at: main, L1-N: 2300 V}}\n",
        ),
        Example("measured-house", (), (), readings=f"{_TAKEN}  - {{at: main, L1-N: 230 V}}\n"),
    ),
    page=__doc__,
)
