"""IEC 60364-5-54 and BS 7671 chapter 54: sizes of protective and bonding conductors (status beside each)."""

from __future__ import annotations

import pytest

from onebond.circuit.components.protective import (
    buried_earthing_conductor_mm2,
    high_leakage_pe_mm2,
    main_bonding_mm2,
    pe_by_line_mm2,
    pen_mm2,
    pme_bonding_mm2,
    separate_pe_mm2,
    supplementary_bonding_mm2,
)


# Table 54.2 (seen)
@pytest.mark.parametrize(
    ("line", "pe"),
    [(1.5, 1.5), (2.5, 2.5), (10, 10), (16, 16), (25, 16), (35, 16), (50, 25), (70, 35), (95, 47.5), (240, 120)],
)
def test_by_line(line: float, pe: float) -> None:
    assert pe_by_line_mm2(line) == pe


def test_of_another_material_by_k() -> None:
    # Steel armour (k 46) of a cable with copper in XLPE (k 143): 16 mm2 x 143 / 46.
    assert pe_by_line_mm2(25, 143, 46) == pytest.approx(49.7, abs=0.05)


def test_separate_and_pen() -> None:
    assert (separate_pe_mm2(True), separate_pe_mm2(False)) == (2.5, 4)  # 543.1.3, seen
    assert separate_pe_mm2(True, "aluminium") == 16  # from memory
    assert (pen_mm2(), pen_mm2("aluminium")) == (10, 16)  # 543.4.1, seen
    assert (high_leakage_pe_mm2(), high_leakage_pe_mm2("aluminium")) == (10, 16)  # 543.7, from memory


# Table 54.1 (from memory): corrosion protected, mechanically protected.
@pytest.mark.parametrize(
    ("corrosion", "mechanical", "copper", "steel"),
    [(True, True, 2.5, 10), (True, False, 16, 16), (False, False, 25, 50), (False, True, 25, 50)],
)
def test_buried(corrosion: bool, mechanical: bool, copper: float, steel: float) -> None:
    assert buried_earthing_conductor_mm2(1.5, corrosion, mechanical) == copper
    assert buried_earthing_conductor_mm2(1.5, corrosion, mechanical, "steel") == steel


def test_buried_and_fully_protected_follows_the_line() -> None:
    assert buried_earthing_conductor_mm2(16, True, True) == 16


# 544.1 (from memory)
@pytest.mark.parametrize(("earthing", "bonding"), [(6, 6), (10, 6), (16, 8), (25, 12.5), (50, 25), (95, 25)])
def test_main_bonding(earthing: float, bonding: float) -> None:
    assert main_bonding_mm2(earthing) == bonding


def test_main_bonding_of_other_metals() -> None:
    assert (main_bonding_mm2(10, "aluminium"), main_bonding_mm2(10, "steel")) == (16, 50)


# Table 54.8 (from memory), limits included in the lower row.
@pytest.mark.parametrize(
    ("neutral", "bonding"),
    [(25, 10), (35, 10), (36, 16), (50, 16), (51, 25), (95, 25), (96, 35), (150, 35), (151, 50), (300, 50)],
)
def test_pme_bonding(neutral: float, bonding: float) -> None:
    assert pme_bonding_mm2(neutral) == bonding


# 544.2 (from memory)
@pytest.mark.parametrize(
    ("protected", "pe", "other", "least"),
    [(True, 1.5, 2.5, 2.5), (False, 1.5, 2.5, 4), (True, 6, 4, 4), (False, 10, 6, 6), (True, 6, None, 3),
     (False, 6, None, 4), (False, 10, None, 5)],
)  # fmt: skip
def test_supplementary_bonding(protected: bool, pe: float, other: float | None, least: float) -> None:
    assert supplementary_bonding_mm2(protected, pe, other) == least
