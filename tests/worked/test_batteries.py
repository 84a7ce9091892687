"""Short-circuit currents of batteries against printed examples; the factors of IEC 61660-1 are from memory."""

from __future__ import annotations

import pytest

from onebond.circuit.components.batteries import (
    HIGHEST_TIMES_RATED,
    LEAST_TIMES_RATED,
    internal_ohm,
    peak_a,
    short_circuit_a,
    sustained_a,
)
from onebond.circuit.direct import short_circuits
from onebond.circuit.parts import Branch
from worked.printed import printed


def test_a_block_of_12_volt() -> None:
    """A handbook page on battery short circuits (seen): 12 V and 5 milliohm give 2400 A."""
    assert printed(short_circuit_a(12, 0.005), "2400") == "2400"


def test_the_resistance_behind_a_declared_current() -> None:
    """An engineers' forum (seen): 12 V and 3800 A are 3.16 milliohm, "very close to" the 3.3 milliohm of the maker."""
    assert printed(internal_ohm(12, 3800) * 1000, "3.16") == "3.16"


def test_seven_strings_of_four_blocks() -> None:
    """The same (seen): seven strings of four blocks of 3800 A on one bus give 7 x 3800 = 26.6 kA at the bus."""
    block_ohm = 12 / 3800
    strings = [Branch(0, 1, 4 * block_ohm, 48.0) for _ in range(7)]
    (current,) = short_circuits(2, [], strings, [(1, 0)])
    assert current is not None
    assert printed(current / 1000, "26.6") == "26.6"


def test_cells_in_series_behind_a_way() -> None:
    """240 cells of 2 V and 0.049 milliohm behind 21 milliohm (data of a maker's page, seen; the quotient by hand).

    480 V / (11.76 + 21) milliohm = 14652 A.
    """
    assert printed(short_circuit_a(480, 240 * 0.049e-3, 0.021), "14652") == "14652"
    (current,) = short_circuits(3, [], [Branch(0, 1, 240 * 0.049e-3, 480.0), Branch(1, 2, 0.021)], [(2, 0)])
    assert current is not None
    assert printed(current, "14652") == "14652"


def test_iec_61660() -> None:
    """IEC 61660-1 (from memory): peak E / (0.9 R + R of the way), sustained 0.95 E / (R + R of the way).

    115.5 V (1.05 x 110 V), 20 milliohm, 12 milliohm outside: 115.5 / 0.030 = 3850 A; 0.95 x 99 / 0.032 = 2939 A.
    """
    assert printed(peak_a(115.5, 0.020, 0.012), "3850") == "3850"
    assert printed(sustained_a(99, 0.020, 0.012), "2939") == "2939"


@pytest.mark.parametrize(
    ("kind", "full_v", "rated_v"),
    [("lead", 2.15, 2.0), ("nickel-cadmium", 1.40, 1.2), ("lithium", 4.2, 3.6), ("iron", 3.6, 3.2)],
)
def test_the_highest_voltage_covers_the_cells_in_use(kind: str, full_v: float, rated_v: float) -> None:
    """Open-circuit voltages of full cells over their rated ones (common practice, from memory)."""
    assert full_v / rated_v <= HIGHEST_TIMES_RATED
    assert LEAST_TIMES_RATED < 1 < HIGHEST_TIMES_RATED


@pytest.mark.parametrize(
    "wrong", [(0, 0.01, 0), (48, 0, 0), (48, 0.01, -1), (float("nan"), 0.01, 0), (48, float("nan"), 0)]
)
def test_no_number_comes_from_what_no_battery_has(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="outside"):
        short_circuit_a(*wrong)
