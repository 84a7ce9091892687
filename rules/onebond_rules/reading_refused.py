"""A reading makes no sense: its place, its state or its value does not exist.

Checks: that a file of readings can be read, and every entry of it against the description: places, conductors, devices and states that
exist, values that can be, days that have come, one subject each; that what is tested live is live in the state that is written; that
the file belongs to this description and to its revision.  All other readings still count.  A file that names no revision, where the
description has one, is a note.

Danger: a reading that cannot be placed proves nothing, and whoever took it believes that it does.

Remedy: correct the entry as the message says; take the reading again where it cannot be told what was meant.
"""

from __future__ import annotations

from onebond.rule import PRACTICE, Example, Facts, Finding, Params, Refused, Verdict, rule

_TAKEN = "onebond-readings: 1\ninstallation: measured-house.yaml\ntaken: 2026-09-14\nreadings:\n"


def check(reading: Refused, params: Params) -> Verdict:
    """Every reading here is refused."""
    return Finding(reading.message, reading.so, reading.hint or "correct the entry", level=reading.level)


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
        # a conductor that does not land there
        Example("measured-house", (), ("line 5",), readings=f"{_TAKEN}  - {{at: main, L2-N: 230 V}}\n"),
        # a day that has not come yet: that is a slip, and the reading of the day before it counts
        Example(
            "measured-house",
            (),
            ("line 6",),
            readings=f"{_TAKEN}  - {{at: main, L1-N: 230 V}}\n  - {{at: main, L1-PE: 230 V, taken: 2062-09-14}}\n",
            today="2026-09-20",
        ),
        Example("measured-house", (), (), readings=f"{_TAKEN}  - {{at: main, L1-N: 230 V}}\n"),
    ),
    page=__doc__,
)
