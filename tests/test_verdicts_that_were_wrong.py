"""Descriptions that rules of earths, places and direct current once judged wrongly, each with the verdict that is right."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from onebond.loading import load_rules
from onebond.testing import base, inspected

RULES = load_rules()


class Verdict(NamedTuple):
    """A base, edits of it, and what one rule finds after them."""

    why: str
    base: str
    edits: tuple[tuple[str, str], ...]
    rule: str
    finds: tuple[str, ...]
    rulebook: str = ""


_FEED = "to-annexe: {from: main, to: annexe, cores: L1 N PE,"
_ROD = ("electrodes:\n", "electrodes:\n  annexe-rod: {at: annexe, resistance: 20 ohm, conductor: 16 mm2}\n")
_LINK = (
    "main-link: {at: main, size: 16 mm2}",
    "main-link: {at: main, size: 16 mm2}\n  annexe-link: {at: annexe, size: 16 mm2}",
)
VERDICTS = (
    Verdict(
        "a neutral to a TT building, written from that building: the link at the supply stays what it is",
        "measured-house",
        ((_FEED, "to-annexe: {from: annexe, to: main, cores: L1 N,"), _ROD),
        "pen-not-declared",
        (),
    ),
    Verdict(
        "a PEN that is called a neutral, written from its far end",
        "measured-house",
        ((_FEED, "to-annexe: {from: annexe, to: main, cores: L1 N,"), _ROD, _LINK),
        "pen-not-declared",
        ("to-annexe",),
    ),
    Verdict(
        "an inverter that is joined to lines alone, whose system is earthed at its source",
        "solar-cabin",
        (
            ("voltage: 480 V, earthed-pole: none", "voltage: 480 V, earthed-pole: negative"),
            (
                "sources:\n",
                "sources:\n  back: {kind: inverter, phases: L1, voltage: 230 V, isolated: no, operation: grid-following}\n",
            ),
            ("to: solar, cores: DC+ DC- PE", "to: back.dc, cores: DC+ DC- PE"),
            ("connections:\n", "connections:\n  back-feed: {from: back, to: hut, cores: L1 PE}\n"),
        ),
        "dc-earth-conflict",
        ("roof",),
    ),
    Verdict(
        "an array and its board share a PE that leads nowhere",
        "solar-cabin",
        (("  charger: {from: solar, to: hut, cores: PE}\n", ""),),
        "dc-frame-unbonded",
        ("roof",),
    ),
    Verdict(
        "metal that joins the frames is a path",
        "solar-cabin",
        (
            ("  charger: {from: solar, to: hut, cores: PE}\n", ""),
            ("electrodes:\n", "extraneous:\n  rail: {joins: [roof, hut], kind: structure}\n\nelectrodes:\n"),
        ),
        "dc-frame-unbonded",
        (),
    ),
    Verdict(
        "a board of the direct-current side is energised by its array",
        "solar-cabin",
        (
            ("  solar: {}", "  solar: {equipment: class-II}"),
            ("to: solar, cores: DC+ DC- PE", "to: solar, cores: DC+ DC-"),
        ),
        "never-energised",
        (),
    ),
    Verdict(
        "a vehicle that feeds a dwelling needs its electrode",
        "solar-cabin",
        (
            ("rating: 3 kVA, isolated: yes", "rating: 3 kVA, mounted: vehicle, isolated: yes"),
            ("  hut: {}", "  hut: {place: dwelling}"),
            ("electrodes:\n  rod: {at: hut}\n", ""),
        ),
        "electrode-missing",
        ("inv",),
    ),
    Verdict(
        "a vehicle that feeds itself does not",
        "solar-cabin",
        (
            ("rating: 3 kVA, isolated: yes", "rating: 3 kVA, mounted: vehicle, isolated: yes"),
            ("electrodes:\n  rod: {at: hut}\n", ""),
        ),
        "electrode-missing",
        (),
    ),
)


@pytest.mark.parametrize("verdict", VERDICTS, ids=lambda one: one.why[:60])
def test_it_is_right_now(verdict: Verdict) -> None:
    text = base("onebond_rules", verdict.base)
    for old, new in verdict.edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    site = inspected(text, RULES, verdict.rulebook).site
    found = {one.subject for one in site.results if one.rule == verdict.rule and one.kind == "fail"}
    assert found == set(verdict.finds)
