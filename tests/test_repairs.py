"""What a finding says under *put right*, done to the letter, leaves no error behind in any operating state.

The edits are written by hand from the words of the advice, by somebody who changes nothing else.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from conftest import ROOT
from onebond import schema
from onebond.document import parse
from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import read
from onebond.result import Result, Site

RULES = load_rules()


class Repair(NamedTuple):
    """A broken site, the rule that finds it, a piece of its advice, and the edits that do what it says."""

    site: str
    rule: str
    advice: str
    edits: tuple[tuple[str, str], ...]


_RELAY = ("neutral-bond: none", "neutral-bond: while-inverting")
REPAIRS = (
    Repair(
        "sans-shop--relay-the-wrong-way",
        "neutral-unreferenced",
        "let relay-link close while hybrid feeds alone",
        (("{hybrid: [passing, off]}", "{hybrid: inverting}"),),
    ),
    Repair(
        "maintenance-bypass--solid-without-relay",
        "neutral-unreferenced",
        "closed only while it inverts (neutral-bond: while-inverting), and part its neutral from its input",
        (("neutral-through: solid\n    neutral-bond: none", "neutral-through: switched\n    neutral-bond: while-inverting"),),
    ),
    Repair(
        "maintenance-bypass--solid-without-relay",
        "island-reference-borrowed",
        "closed only while it inverts (neutral-bond: while-inverting), and part its neutral from its input",
        (("neutral-through: solid\n    neutral-bond: none", "neutral-through: switched\n    neutral-bond: while-inverting"),),
    ),
    Repair(
        "inverter-stack--relay-forgotten",
        "neutral-unreferenced",
        "a relay that is closed only while it inverts (neutral-bond: while-inverting)",
        (("phases: L1, voltage: 230 V, rating: 5 kVA, isolated: yes, fault-current: {limit: 2 x rated, for: 50 ms}, "
          "mains-input: yes, neutral-through: switched, neutral-bond: none",
          "phases: L1, voltage: 230 V, rating: 5 kVA, isolated: yes, fault-current: {limit: 2 x rated, for: 50 ms}, "
          "mains-input: yes, neutral-through: switched, neutral-bond: while-inverting"),),
    ),
    Repair(
        "homestead--bonded-set",
        "changeover-neutral-solid",
        "remove the link of diesel: the neutral of the supply stays connected",
        (("neutral-bond: fixed", "neutral-bond: none"),),
    ),
    Repair(
        "ac-coupled--bond-at-croft-too",
        "neutral-bonded-twice",
        "remove croft-link: one of the two links is enough",
        (("  croft-link: {at: croft, size: 10 mm2}  # want: neutral-bonded-twice\n", ""),),
    ),
    Repair(
        "skarv--waiver-expired",
        "neutral-bonded-twice",
        "hold island-link by a relay that is open wherever main-link is joined to it",
        (
            ("{at: essential, size: 6 mm2}", "{at: essential, size: 6 mm2, closed: {hybrid: inverting, ts: island}}"),
            ("at: island-link, reason: relay being procured, until: 2026-06-30", "at: island-link, reason: x, until: 2099-01-01"),
        ),
    ),
)  # fmt: skip


def inspected(text: str) -> Site:
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    assert not schema.check(document)[0]
    return inspect(installation, document, RULES, today="2026-11-25")


def errors(site: Site) -> list[Result]:
    return [one for one in site.results if one.kind == "fail" and one.waiver is None and one.level == "error"]


@pytest.mark.parametrize("repair", REPAIRS, ids=lambda one: f"{one.site}-{one.rule}")
def test_following_the_advice_leaves_no_error(repair: Repair) -> None:
    text = (ROOT / "fixtures" / "sites" / f"{repair.site}.yaml").read_text(encoding="utf-8")
    before = [one for one in inspected(text).results if one.kind == "fail" and one.rule == repair.rule]
    assert before and any(repair.advice in one.put_right for one in before), [one.put_right for one in before]
    for old, new in repair.edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    after = errors(inspected(text))
    assert not after, [(one.rule, one.subject, one.message) for one in after]
