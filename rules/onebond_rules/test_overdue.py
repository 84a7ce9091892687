"""The readings are older than the interval that the site declares, or dated in the future.

Checks: the day of the oldest reading and `test-interval` of the site against the day of the inspection.  Without an interval nothing
is due, and a site without readings is asked for them by reading-missing.

Danger: links work loose, electrodes dry out, contacts weld; what was right when it was measured need not be right now.

Remedy: measure again by the schedule, and keep the new readings beside the description.
"""

from __future__ import annotations

from onebond.rule import PASS, PRACTICE, Example, Facts, Finding, NotApplicable, Params, Ref, Taken, Verdict, rule

_NAME = "rulebook: iec, stage: design"
_TAKEN = "onebond-readings: 1\ninstallation: measured-house.yaml\ntaken: 2021-09-14\nreadings:\n  - {at: main, L1-N: 230 V}\n"


def check(taken: Taken, params: Params) -> Verdict:
    """Whether the readings are still good."""
    if taken.months is None:
        return NotApplicable("the site declares no interval")
    if not taken.today:
        return NotApplicable("the day of the inspection is not known")
    if taken.oldest > taken.today:
        return Finding(
            f"the readings are dated {taken.oldest}, which is after today",
            "with a day that has not come yet nobody can tell when they are due again",
            "correct `taken`",
            because=("reading-refused", taken.refused) if taken.refused else None,
        )
    due = _later(taken.oldest, taken.months)
    if taken.today <= due:
        return PASS
    return Finding(
        f"the readings of {taken.oldest} were good until {due}",
        "what was right when it was measured need not be right now: links work loose, electrodes dry out",
        "measure again by `onebond schedule`, and put the new readings in the place of these",
    )


def _later(day: str, months: float) -> str:
    """The same day so many whole months later, as text that sorts; a day that the month does not have is its last."""
    year, month, date = (int(part) for part in day.split("-"))
    total = year * 12 + month - 1 + int(months)
    year, month = divmod(total, 12)
    lengths = (
        31,
        29 if year % 4 == 0 and (year % 100 or year % 400 == 0) else 28,
        31,
        30,
        31,
        30,
        31,
        31,
        30,
        31,
        30,
        31,
    )
    return f"{year:04}-{month + 1:02}-{min(date, lengths[month]):02}"


RULE = rule(
    id="test-overdue",
    level="warning",
    over=Facts.takings,
    check=check,
    in_states=False,
    refs=(
        Ref("iec", "IEC 60364-6", "6.5.2", False),
        Ref("bs7671", "BS 7671", "652.1", False),
        Ref("as-nzs", "AS/NZS 3019", "", False),
        Ref("sans", "SANS 10142-1", "8", False),
        PRACTICE,
    ),
    examples=(
        Example(
            "measured-house",
            ((_NAME, f"{_NAME}, test-interval: 5 years"),),
            ("readings",),
            readings=_TAKEN,
            today="2026-09-15",
        ),
        Example(
            "measured-house", ((_NAME, f"{_NAME}, test-interval: 5 years"),), (), readings=_TAKEN, today="2026-09-14"
        ),
        # a slip of the pen in the year
        Example(
            "measured-house",
            ((_NAME, f"{_NAME}, test-interval: 5 years"),),
            ("readings",),
            readings=_TAKEN.replace("2021", "2062"),
            today="2026-09-14",
        ),
        # one reading that is older than the others
        Example(
            "measured-house",
            ((_NAME, f"{_NAME}, test-interval: 12 months"),),
            ("readings",),
            readings=_TAKEN.replace("L1-N: 230 V}", "L1-N: 230 V, taken: 2020-02-29}"),
            today="2021-03-01",
        ),
        Example("measured-house", (), (), readings=_TAKEN, today="2036-09-14"),
    ),
    page=__doc__,
)
