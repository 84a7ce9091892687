"""Electrode formulas: BS 7430, IEEE 142, Dwight, IEC 60364-5-54 annex D (status beside each)."""

from __future__ import annotations

import math

import pytest
from printed import printed

from onebond.circuit.components.electrodes import (
    SOIL_OHM_M,
    horizontal_approximate_ohm,
    horizontal_ohm,
    plate_approximate_ohm,
    plate_ohm,
    ring_approximate_ohm,
    ring_ohm,
    rod_approximate_ohm,
    rod_ohm,
    rods_in_line_ohm,
    rods_ohm,
    soil_ohm_m,
    two_rods_close_ohm,
)

FOOT, INCH = 0.3048, 0.0254


# Formula seen in three texts, values recomputed.
@pytest.mark.parametrize(
    ("length_m", "diameter_m", "ohm"),
    [(1.2, 0.016, "71.58"), (2.4, 0.016, "40.39"), (3, 0.016, "33.49"), (8 * FOOT, 5 / 8 * INCH, "39.90"),
     (10 * FOOT, 5 / 8 * INCH, "33.09"), (10 * FOOT, 3 / 4 * INCH, "32.14")],
)  # fmt: skip
def test_rod(length_m: float, diameter_m: float, ohm: str) -> None:
    assert printed(rod_ohm(100, length_m, diameter_m), ohm) == ohm
    # The other form of the same formula: ln(4 L / a) - 1 with the radius.
    other = 100 / (2 * math.pi * length_m) * (math.log(4 * length_m / (diameter_m / 2)) - 1)
    assert rod_ohm(100, length_m, diameter_m) == pytest.approx(other, rel=1e-12)


def test_a_rod_that_needs_a_second_one() -> None:
    # NEC 250.53: above 25 ohm; 200 ohm m, 8 ft.
    assert rod_ohm(200, 8 * FOOT, 5 / 8 * INCH) == pytest.approx(79.8, abs=0.05)


def test_nine_rods_of_the_published_example() -> None:
    # 55 ohm m, 3 m x 25 mm, 10 m apart.  The example has lambda = 1 and prints 1.99 (exactly 1.9993).
    one_ohm = rod_ohm(55, 3, 0.025)
    a = 55 / (2 * math.pi * one_ohm * 10)
    assert printed(one_ohm, "17.12") == "17.12"
    assert printed(a, "0.0511") == "0.0511"
    assert one_ohm / 9 * (1 + a) == pytest.approx(1.9993, abs=5e-5)
    # BS 7430 has 3.61 for nine rods.
    assert printed(rods_in_line_ohm(55, 3, 0.025, 9, 10), "2.253") == "2.253"


# Table of BS 7430 (from memory).
@pytest.mark.parametrize(
    ("rods", "factor"),
    [(2, 1.00), (3, 1.66), (4, 2.15), (5, 2.54), (6, 2.87), (7, 3.15), (8, 3.39), (9, 3.61), (10, 3.81)],
)
def test_rods_in_line(rods: int, factor: float) -> None:
    one_ohm = rod_ohm(100, 2.4, 0.016)
    expected = (one_ohm + factor * 100 / (2 * math.pi * 6)) / rods
    assert rods_in_line_ohm(100, 2.4, 0.016, rods, 6) == pytest.approx(expected)
    # The factor is that of the middle rod or of the mean; the mean of 1/distance over all pairs is within 5 %.
    mean = sum(1 / abs(i - j) for i in range(rods) for j in range(rods) if i != j) / rods
    assert factor == pytest.approx(mean, rel=0.05)


def mutual_ohm(soil_ohm_m: float, length_m: float, spacing_m: float, steps: int = 400) -> float:
    """Mean potential along one rod for 1 A from an equal rod beside it and its image above the surface."""
    total = 0.0
    for step in range(steps):
        z = (step + 0.5) * length_m / steps
        total += math.asinh((length_m - z) / spacing_m) + math.asinh((length_m + z) / spacing_m)
    return soil_ohm_m / (4 * math.pi * length_m) * total / steps


@pytest.mark.parametrize("spacing_m", [0.6, 1.2, 6 * FOOT, 8 * FOOT])
def test_two_near_rods_against_the_integrated_potential(spacing_m: float) -> None:
    length_m, diameter_m = 8 * FOOT, 5 / 8 * INCH
    expected = (rod_ohm(100, length_m, diameter_m) + mutual_ohm(100, length_m, spacing_m)) / 2
    assert two_rods_close_ohm(100, length_m, diameter_m, spacing_m) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("spacing_m", "tolerance"), [(2.4, 0.03), (5, 0.005), (10, 0.001)])
def test_two_far_rods_against_the_integrated_potential(spacing_m: float, tolerance: float) -> None:
    expected = (rod_ohm(100, 2.4, 0.016) + mutual_ohm(100, 2.4, spacing_m)) / 2
    assert rods_in_line_ohm(100, 2.4, 0.016, 2, spacing_m) == pytest.approx(expected, rel=tolerance)


def test_which_formula_several_rods_take() -> None:
    assert rods_ohm(100, 2.4, 0.016) == rod_ohm(100, 2.4, 0.016)
    assert rods_ohm(100, 2.4, 0.016, 3, 5) == rods_in_line_ohm(100, 2.4, 0.016, 3, 5)
    assert rods_ohm(100, 2.4, 0.016, 2, 1.8) == two_rods_close_ohm(100, 2.4, 0.016, 1.8)
    assert rods_ohm(100, 2.4, 0.016, 2, 2.4) == rods_in_line_ohm(100, 2.4, 0.016, 2, 2.4)
    with pytest.raises(ValueError, match="at least their length"):
        rods_ohm(100, 2.4, 0.016, 3, 1.8)
    with pytest.raises(ValueError, match="spacing"):
        rods_ohm(100, 2.4, 0.016, 2)
    with pytest.raises(ValueError, match="rods in line: 11"):
        rods_ohm(100, 2.4, 0.016, 11, 5)


def test_horizontal() -> None:
    # 20 m in 100 ohm m: approximation 10.0, full formula 8.575, 17 % apart (recomputed).
    assert printed(horizontal_ohm(100, 20, 0.008, 0.6), "8.575") == "8.575"
    assert horizontal_approximate_ohm(100, 20) == 10.0
    assert round(horizontal_approximate_ohm(100, 20) / horizontal_ohm(100, 20, 0.008, 0.6) * 100) == 117


@pytest.mark.parametrize(("length_m", "depth_m"), [(10, 0.5), (20, 0.6), (50, 0.8)])
def test_horizontal_against_the_integrated_potential(length_m: float, depth_m: float) -> None:
    # A line in full space (its own mean potential) and its image twice the depth away.
    own = math.log(2 * length_m / 0.008 * 2) - 1
    image_m, steps = 2 * depth_m, 2000
    image = sum(
        math.asinh((length_m - x) / image_m) + math.asinh(x / image_m)
        for x in ((step + 0.5) * length_m / steps for step in range(steps))
    )
    expected = 100 / (4 * math.pi * length_m) * (2 * own + image / steps)
    assert horizontal_ohm(100, length_m, 0.008, depth_m) == pytest.approx(expected, rel=2e-3)


def test_ring_against_the_integrated_potential() -> None:
    diameter_m, wire_m, depth_m, steps = 10.0, 0.008, 0.6, 20000
    radius_m = diameter_m / 2

    def mean(offset_m: float, down_m: float) -> float:
        total = 0.0
        for step in range(steps):
            half = math.pi * (step + 0.5) / steps
            chord = 2 * radius_m * math.sin(half)
            total += 1 / math.sqrt(chord**2 + offset_m**2 + down_m**2)
        return total / steps

    expected = 100 / (4 * math.pi) * (mean(wire_m / 2, 0) + mean(0, 2 * depth_m))
    assert ring_ohm(100, diameter_m, wire_m, depth_m) == pytest.approx(expected, rel=0.02)
    assert ring_approximate_ohm(100, radius_m) < ring_ohm(100, diameter_m, wire_m, depth_m)


def test_rules_of_thumb() -> None:
    # An earth tester's manual (seen).
    assert printed(rod_approximate_ohm(100, 3), "33.33") == "33.33"
    assert ring_approximate_ohm(100, 5) == 5


def test_plates_disagree() -> None:
    assert printed(plate_ohm(100, 1), "44.31") == "44.31"  # BS 7430, recomputed
    assert printed(plate_ohm(100, 0.36), "73.85") == "73.85"
    assert printed(plate_approximate_ohm(100, 2.4), "33.3") == "33.3"  # from memory
    assert plate_ohm(100, 0.36) / plate_approximate_ohm(100, 2.4) > 2


# A reprint of the IEC table (seen).
@pytest.mark.parametrize(
    ("soil", "low", "high"),
    [("swamp", 1, 30), ("silt alluvium", 20, 100), ("humus", 10, 150), ("peat", 5, 100), ("soft clay", 50, 50),
     ("marl and compacted clay", 100, 200), ("Jurassic marl", 30, 40), ("clayey sand", 50, 500),
     ("siliceous sand", 200, 300), ("stony ground", 1500, 3000), ("grass-covered stony sub-soil", 300, 500),
     ("chalk", 100, 300), ("limestone", 1000, 5000), ("fissured limestone", 500, 1000), ("schist or shale", 50, 300),
     ("mica schist", 800, 800), ("granite and sandstone", 1500, 10000), ("altered granite", 100, 600)],
)  # fmt: skip
def test_soil(soil: str, low: float, high: float) -> None:
    assert soil_ohm_m(soil) == (low, high)
    assert len(SOIL_OHM_M) == 18
