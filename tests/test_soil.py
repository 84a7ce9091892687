"""Electrodes: which frames rest on them, what is joined, and what their resistance may be."""

from __future__ import annotations

import pytest

from described import edited
from onebond import testing
from onebond.facts import EarthElectrode, Facts
from onebond.facts.unknown import Unknown
from onebond.result import Result
from onebond_rules import RULES

RULE = next(one for one in RULES if one.id == "electrode-resistance-high")

FARM = """\
onebond: 1
site: {name: Upper farm, rulebook: iec, stage: design}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.5 ohm, fault-current: 1 kA}
boards:
  main: {}
  barn: {}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 5 m, through: [{kind: rcd, id: rcd-main, residual: 300 mA, delay: S}]}
  to-barn: {from: main, to: barn, cores: L1 N, size: 6 mm2, length: 40 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
circuits:
  sockets: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA}]}
  mill: {from: barn, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rods: {at: main, resistance: 20 ohm}
  barn-rod: {at: barn, resistance: 60 ohm}
"""


def found(text: str) -> dict[str, EarthElectrode]:
    installation = testing.inspected(text, ()).installation
    return {one.id: one for one in Facts(installation, installation.rulebook).earth_electrodes}


def judged(text: str, rulebook: str = "") -> dict[str, Result]:
    return {one.subject: one for one in testing.inspected(text, (RULE,), rulebook).site.results}


def test_what_rests_on_an_electrode_and_what_guards_it() -> None:
    both = found(FARM)
    assert (both["rods"].rests, both["barn-rod"].rests) == ("main", "barn")
    assert [one.guard and one.guard[0] for one in both.values()] == [0.3, 0.3]
    assert (both["rods"].joined, both["barn-rod"].joined) == ((), ())


def test_joined_electrodes_are_in_parallel() -> None:
    """20 and 60 ohm: 15 ohm together."""
    both = found(edited(FARM, ("to: barn, cores: L1 N,", "to: barn, cores: L1 N PE,")))
    assert [one.id for one in both["rods"].joined] == ["barn-rod"]
    assert both["rods"].together_ohm == pytest.approx(15)
    assert both["barn-rod"].together_ohm == pytest.approx(15)


@pytest.mark.parametrize(("residual", "resistance", "kind"), [
    # 50 V / I: 300 mA 166.7 ohm, 100 mA 500 ohm, 500 mA 100 ohm; above 200 ohm it may be unstable
    ("300 mA", "166 ohm", "pass"), ("300 mA", "167 ohm", "fail"), ("500 mA", "100 ohm", "pass"), ("500 mA", "101 ohm", "fail"),
    ("100 mA", "200 ohm", "pass"), ("100 mA", "201 ohm", "fail"),
])  # fmt: skip
def test_fifty_volts_and_two_hundred_ohm(residual: str, resistance: str, kind: str) -> None:
    text = edited(
        FARM, ("residual: 300 mA", f"residual: {residual}"), ("resistance: 20 ohm", f"resistance: {resistance}")
    )
    assert judged(text)["rods"].kind == kind


def test_one_that_is_not_known_is_named_only_where_it_matters() -> None:
    joined = edited(
        FARM,
        ("to: barn, cores: L1 N,", "to: barn, cores: L1 N PE,"),
        ("barn-rod: {at: barn, resistance: 60 ohm}", "barn-rod: {at: barn}"),
    )
    assert {one.kind for one in judged(joined).values()} == {"pass"}
    high = judged(edited(joined, ("resistance: 20 ohm", "resistance: 190 ohm")))
    assert {(one.kind, one.message) for one in high.values()} == {
        ("open", "cannot be concluded: the soil or the resistance of barn-rod is not written")
    }
    with pytest.raises(Unknown, match="the soil or the resistance of rods"):
        assert found(edited(FARM, ("rods: {at: main, resistance: 20 ohm}", "rods: {at: main}")))["rods"].together_ohm


def test_without_frames_on_it_alone_an_unknown_one_decides_nothing() -> None:
    text = edited(
        FARM,
        ("earthing: TT", "earthing: TN-C-S"),
        ("to: main, cores: L1 N,", "to: main, cores: L1 PEN,"),
        ("to: barn, cores: L1 N,", "to: barn, cores: L1 N PE,"),
        (", through: [{kind: rcd, id: rcd-main, residual: 300 mA, delay: S}]", ""),
        ("electrodes:\n", "bonds:\n  link: {at: main}\nelectrodes:\n"),
        ("rods: {at: main, resistance: 20 ohm}", "rods: {at: main}"),
        ("barn-rod: {at: barn, resistance: 60 ohm}", "barn-rod: {at: barn}"),
    )
    assert {one.kind for one in judged(text).values()} == {"notApplicable"}


def test_a_single_rod_under_nec() -> None:
    """A rod of 8 ft in 200 ohm m has about 80 ohm and needs a second one; two are enough, whatever they have."""
    rod = "rods: {at: main, length: 8 ft, diameter: 16 mm, soil: 200 ohm m"
    one = edited(FARM, ("rods: {at: main, resistance: 20 ohm", rod))
    result = judged(one, "nec")["rods"]
    assert result.kind == "fail"
    assert dict(result.figures)["resistance"].startswith(("79", "80"))
    two = edited(FARM, ("rods: {at: main, resistance: 20 ohm", f"{rod}, rods: 2, spacing: 8 ft"))
    assert judged(two, "nec")["rods"].kind == "notApplicable"
    joined = edited(one, ("to: barn, cores: L1 N,", "to: barn, cores: L1 N PE,"))
    assert judged(joined, "nec")["rods"].kind == "notApplicable"
