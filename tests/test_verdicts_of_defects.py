"""Descriptions that rules judged wrongly until defects were made on purpose, each with the verdict that is right."""

from __future__ import annotations

import pytest

from conftest import ROOT
from onebond.loading import load_rules
from onebond.testing import base, inspected

RULES = load_rules()

Edits = tuple[tuple[str, str], ...]


def found(name: str, edits: Edits, rule: str) -> dict[str, dict[str, str]]:
    """The subjects at which a rule finds something in an edited base, with the figures of each."""
    text = base("onebond_rules", name)
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    results = inspected(text, RULES).site.results
    assert [one for one in results if one.rule == rule]
    return {
        one.subject: {key.partition(" (")[0]: value for key, value in one.figures}
        for one in results
        if one.rule == rule and one.kind in ("fail", "open")
    }


# -- the largest current of sources that run together ----------------------------------------------------------------------

_ROOF = (
    "\nboards:\n",
    "  roof: {kind: inverter, phases: L1 L2, system: split-phase, voltage: 120/240 V, rating: 8 kVA, isolated: yes,\n"
    "    operation: grid-following, neutral-bond: none, fault-current: {limit: 2 x rated, for: 200 ms}}\n\nboards:\n",
)
_ROOF_FEED = (
    "\ncircuits:\n",
    "  roof-feed: {from: roof, to: cabin, cores: L1 L2 N PE, size: 8 AWG, length: 20 ft,\n"
    "    through: [{kind: mcb, curve: C, rating: 40 A, breaking-capacity: 4.2 kA}]}\n\ncircuits:\n",
)


def test_a_roof_inverter_adds_its_limit_to_a_split_phase_supply_and_no_more() -> None:
    """4 kA of the supplier, between his lines no more, and 2 x 8 kVA / 240 V = 67 A: below 4.2 kA."""
    assert found("sized-cabin", (_ROOF, _ROOF_FEED), "breaking-capacity-low") == {}


def test_what_the_roof_inverter_adds_counts() -> None:
    """4.03 kA are less than 4 kA and 67 A where the two meet: at the terminals of the supply."""
    drop = ("instantaneous: 600 A, breaking-capacity: 10 kA", "instantaneous: 600 A, breaking-capacity: 4.03 kA")
    assert set(found("sized-cabin", (_ROOF, _ROOF_FEED, drop), "breaking-capacity-low")) == {"drop"}


def _set(more: str) -> Edits:
    """A set of 400 kVA beside the supply of 5 kA."""
    return (
        (
            "\nboards:\n",
            "  set: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, rating: 400 kVA, neutral-bond: none, may-parallel: [grid],\n"
            "    subtransient-reactance: 12 %, negative-sequence-reactance: 12 %, zero-sequence-reactance: 12 %,\n"
            "    sustained-fault-current: {limit: 3 x rated, for: 5 s}}\n\nboards:\n",
        ),
        (
            "\ncircuits:\n",
            "  set-feed: {from: set, to: main, cores: L1 L2 L3 N PE, size: 240 mm2, length: 5 m,\n"
            f"    through: [{{kind: mccb, rating: 630 A, breaking-capacity: {more}}}]}}\n\ncircuits:\n",
        ),
    )


def test_a_set_beside_the_supply_adds_its_subtransient_current() -> None:
    """400 kVA / (sqrt(3) x 400 V) / 12 % = 4.81 kA, and 5 kA less what 15 m of 25 mm2 take: more than 9 kA, less than 9.82 kA."""
    assert set(found("sized-house", _set("9 kA"), "breaking-capacity-low")) >= {"set-feed"}
    assert "set-feed" not in found("sized-house", _set("9.82 kA"), "breaking-capacity-low")


# -- boards of direct current are no earthing terminals ---------------------------------------------------------------------

_PIPE = ("electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe}\n\nelectrodes:\n")
_SIZED = (
    ("feed: {from: inv, to: hut, cores: L1 N PE,", "feed: {from: inv, to: hut, cores: L1 N PE, size: 2.5 mm2,"),
    ("to: solar, cores: DC+ DC- PE}", "to: solar, cores: DC+ DC- PE, size: 6 mm2}"),
    ("lamps: {from: hut, cores: L1 N PE,", "lamps: {from: hut, cores: L1 N PE, size: 1.5 mm2,"),
)


def _charger(size: str) -> Edits:
    """The regulator of the array, joined to the inverter as well: the PE between solar and hut is a second way."""
    return (
        *_SIZED,
        (
            "charger: {from: solar, to: hut, cores: PE}",
            f"charger: {{from: solar, to: hut, cores: PE, size: {size}}}\n"
            "  on: {from: solar, to: inv.dc, cores: DC+ DC- PE, size: 6 mm2}",
        ),
    )


def test_bonding_of_a_board_of_direct_current_is_no_earthing_conductor() -> None:
    """2.5 mm2 are what 544.2 asks for beside a PE of 2.5 mm2; 542.3.1 asks for 6 mm2 of an earthing conductor."""
    assert "charger" not in found("solar-cabin", _charger("2.5 mm2"), "earthing-conductor-small")
    assert found("solar-cabin", _charger("2.5 mm2"), "bonding-conductor-small") == {}
    assert set(found("solar-cabin", _charger("1.5 mm2"), "bonding-conductor-small")) == {"charger"}


@pytest.mark.parametrize(("size", "finds"), [("4 mm2", {"pipe-bond"}), ("6 mm2", set())])
def test_a_pipe_at_the_board_of_the_electrode_has_main_bonding(size: str, finds: set[str]) -> None:
    """544.1.1: at least 6 mm2; that there is a board of direct current elsewhere makes it no supplementary bonding."""
    bond = ("  charger:", f"  pipe-bond: {{from: hut, to: pipe, cores: PE, size: {size}}}\n  charger:")
    results = found("solar-cabin", (*_SIZED, _PIPE, bond), "bonding-conductor-small")
    assert set(results) == finds


@pytest.mark.parametrize(
    ("leakage", "opened"), [("0.0000001 mA", False), ("2 mA", False), ("20 A", True), ("500 kA", True)]
)
def test_a_leakage_that_is_none_is_no_error_of_ours(leakage: str, opened: bool) -> None:
    """Nothing to speak of leaks nothing; what no equipment leaks leaves open what rests on it."""
    text = (ROOT / "fixtures" / "sites" / "hut.yaml").read_text(encoding="utf-8")
    assert text.count("leakage: 2 mA") == 1
    site = inspected(text.replace("leakage: 2 mA", f"leakage: {leakage}"), RULES).site
    assert not site.faults
    assert any("more than any equipment leaks" in str(one) for one in (*site.results, *site.not_proven)) == opened
