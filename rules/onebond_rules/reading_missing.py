"""A test that the schedule asks for has no reading.

Checks: what `onebond schedule` asks for against the readings that there are, in whatever state they were taken.  A site that has no
file of readings is not asked.

Danger: what nobody has measured may be wrong: a link that is open and a core that is broken make no noise.

Remedy: take the reading, or write in the readings why it cannot be taken.
"""

from __future__ import annotations

from onebond.rule import PRACTICE, Example, Facts, Finding, Params, Ref, Unread, Verdict, rule

_TAKEN = "onebond-readings: 1\ninstallation: island-hut.yaml\ntaken: 2026-09-14\nreadings:\n"
_NAMED = 4


def check(place: Unread, params: Params) -> Verdict:
    """Every place here lacks a reading."""
    named = "; ".join(place.tests[:_NAMED])
    more = f" and {len(place.tests) - _NAMED} more" if len(place.tests) > _NAMED else ""
    return Finding(
        f"no reading yet at {place.id}: {named}{more}",
        "what nobody has measured may be wrong, and nothing else shows it",
        "take the reading: `onebond schedule` says in which state, with what, and what it should show",
    )


RULE = rule(
    id="reading-missing",
    level="note",
    over=Facts.unread,
    check=check,
    in_states=False,
    refs=(
        Ref("iec", "IEC 60364-6", "6.4.3", False),
        Ref("bs7671", "BS 7671", "643", False),
        Ref("as-nzs", "AS/NZS 3000", "8.3", False),
        Ref("sans", "SANS 10142-1", "8.7", False),
        PRACTICE,
    ),
    examples=(
        Example(
            "island-hut",
            (),
            ("feed", "hut", "hut-rcd", "inverter", "pump", "rcd-hut", "rods", "sockets"),
            readings=_TAKEN + "  - {at: hut, insulation: 20 Mohm}\n",
        ),
        # one reading more is one place less
        Example(
            "island-hut",
            (),
            ("feed", "hut", "hut-rcd", "inverter", "pump", "rcd-hut", "sockets"),
            readings=_TAKEN + "  - {at: hut, insulation: 20 Mohm}\n  - {electrode: rods, resistance: 29 ohm}\n",
        ),
        Example("island-hut", (), ()),
    ),
    page=__doc__,
)
