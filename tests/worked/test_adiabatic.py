"""Factors k and the adiabatic formula, IEC 60364-5-54 / BS 7671 chapter 54 (printed k: trade pocket guide, seen)."""

from __future__ import annotations

import math

import pytest

from onebond.circuit.components.protective import (
    PRINTED_K,
    adiabatic_mm2,
    adiabatic_of_energy_mm2,
    k_factor,
    printed_k_factor,
    standard_mm2,
)

# (laid, insulation): copper, aluminium, steel, lead; `bare` and rubber 85 C from memory.
PRINTED = {
    ("separate", "pvc"): (143, 95, 52, None),
    ("separate", "pvc-large"): (133, 88, None, None),
    ("separate", "xlpe"): (176, 116, 64, None),
    ("separate", "rubber-85"): (166, 110, 60, None),
    ("core", "pvc"): (115, 76, None, None),
    ("core", "pvc-large"): (103, 68, None, None),
    ("core", "pvc-90"): (100, 66, None, None),
    ("core", "pvc-90-large"): (86, 57, None, None),
    ("core", "xlpe"): (143, 94, None, None),
    ("core", "rubber-60"): (141, 93, None, None),
    ("core", "silicone"): (132, 87, None, None),
    ("armour", "pvc"): (None, 93, 51, 26),
    ("armour", "pvc-90"): (None, 85, 46, 23),
    ("armour", "xlpe"): (None, 85, 46, 23),
    ("armour", "mineral"): (135, None, None, None),
    ("armour", "mineral-touchable"): (115, None, None, None),
    ("conduit", "pvc"): (None, None, 47, None),
    ("conduit", "pvc-90"): (None, None, 44, None),
    ("conduit", "xlpe"): (None, None, 58, None),
    ("bare", "visible"): (228, 125, 82, None),
    ("bare", "normal"): (159, 105, 58, None),
    ("bare", "fire-risk"): (138, 91, 50, None),
}
METALS = ("copper", "aluminium", "steel", "lead")
CASES = [
    (*way, metal, k) for way, row in PRINTED.items() for metal, k in zip(METALS, row, strict=True) if k is not None
]


@pytest.mark.parametrize(("laid", "insulation", "metal", "k"), CASES)
def test_printed_k(laid: str, insulation: str, metal: str, k: int) -> None:
    assert printed_k_factor(laid, insulation, metal) == k
    start_c, end_c, _ = PRINTED_K[laid, insulation][metal]
    # 85.4, 94.6, 46.5, 23.5 and 91.5 are printed 86, 94, 46, 23 and 91: not rounded by one rule.
    assert k_factor(metal, start_c, end_c) == pytest.approx(k, abs=0.6)


def test_no_other_k_is_printed() -> None:
    assert {(*way, metal) for way, row in PRINTED_K.items() for metal in row} == {case[:3] for case in CASES}


# Recomputed from the constants, to one decimal.
@pytest.mark.parametrize(
    ("start_c", "end_c", "k"),
    [(70, 160, 114.8), (70, 140, 102.7), (90, 160, 99.7), (90, 140, 85.4), (90, 250, 142.9), (30, 500, 228.1),
     (30, 200, 159.0), (30, 150, 138.0)],
)  # fmt: skip
def test_k_of_copper(start_c: float, end_c: float, k: float) -> None:
    assert k_factor("copper", start_c, end_c) == pytest.approx(k, abs=0.06)


def test_what_is_not_printed_is_refused() -> None:
    with pytest.raises(ValueError, match="no k is printed"):
        printed_k_factor("core", "paper", "copper")
    with pytest.raises(ValueError, match="not one of copper, aluminium"):
        printed_k_factor("core", "pvc", "steel")


@pytest.mark.parametrize(
    ("amperes", "seconds", "k", "mm2", "standard"), [(1800, 0.4, 115, 9.90, 10), (3000, 0.1, 143, 6.63, 10)]
)
def test_adiabatic(amperes: float, seconds: float, k: float, mm2: float, standard: float) -> None:
    assert adiabatic_mm2(amperes, seconds, k) == pytest.approx(mm2, abs=0.005)
    assert adiabatic_of_energy_mm2(amperes**2 * seconds, k) == adiabatic_mm2(amperes, seconds, k)
    assert standard_mm2(adiabatic_mm2(amperes, seconds, k)) == standard


@pytest.mark.parametrize("seconds", [0, 5.001, -1, math.nan])
def test_only_up_to_5_s(seconds: float) -> None:
    with pytest.raises(ValueError, match="duration of the fault"):
        adiabatic_mm2(1000, seconds, 115)
