"""Loads as impedances: each current, power and phase angle follows from the definition, and comes back from the solved circuit."""

from __future__ import annotations

import cmath
import doctest
import math

import pytest
from printed import printed

from circuits import volts
from onebond.circuit.components import loads
from onebond.circuit.components.loads import (
    leakage_ohm,
    load_of_apparent_power_ohm,
    load_of_current_ohm,
    load_of_power_ohm,
)
from onebond.circuit.solve import Branch, Circuit, Solution, Study

# Stiff enough that 230 V stay 230.0 V, and no more: what is asked for is the load.
SOURCE_OHM = 1e-6


def test_worked_numbers() -> None:
    done = doctest.testmod(loads)
    assert done.failed == 0
    assert done.attempted >= 4


def single(z_ohm: complex) -> tuple[complex, complex]:
    """Current (A) and apparent power (VA) of one load at 230 V; node 1 is the line, 0 the bonded neutral."""
    solution = Study(Circuit(2, (Branch(0, 1, SOURCE_OHM, 230), Branch(1, 0, z_ohm)), 0)).solution
    current_a = solution.currents_a[1]
    return current_a, solution.voltages_v[1] * current_a.conjugate()


def test_a_heater() -> None:
    # 2.4 kW at 230 V: 10.43 A, 22.04 ohm.
    current_a, power_va = single(load_of_power_ohm(2400, 230, 1))
    assert printed(abs(load_of_power_ohm(2400, 230, 1)), "22.04") == "22.04"
    assert printed(abs(current_a), "10.43") == "10.43"
    assert power_va == pytest.approx(2400, rel=1e-6)


def test_a_motor() -> None:
    # 1.5 kW with 0.75: 2 kVA, 8.70 A, 41.4 degrees behind the voltage.
    current_a, power_va = single(load_of_power_ohm(1500, 230, 0.75))
    assert power_va == pytest.approx(complex(1500, math.sqrt(2000**2 - 1500**2)), rel=1e-6)
    assert printed(abs(current_a), "8.70") == "8.70"
    assert printed(-math.degrees(cmath.phase(current_a)), "41.4") == "41.4"


def test_apparent_power() -> None:
    # 3 kVA with 0.8: 2.4 kW and 1.8 kvar.
    _, lagging_va = single(load_of_apparent_power_ohm(3000, 230, 0.8))
    _, leading_va = single(load_of_apparent_power_ohm(3000, 230, 0.8, leading=True))
    assert lagging_va == pytest.approx(2400 + 1800j, rel=1e-6)
    assert leading_va == pytest.approx(2400 - 1800j, rel=1e-6)


@pytest.mark.parametrize("power_factor", [0.1, 0.6, 1])
def test_current(power_factor: float) -> None:
    current_a, power_va = single(load_of_current_ohm(10, 230, power_factor))
    assert abs(current_a) == pytest.approx(10, rel=1e-6)
    assert power_va.real == pytest.approx(2300 * power_factor, rel=1e-6)


def three(to_star: bool, loads_ohm: list[complex]) -> Solution:
    """Three lines (1 to 3) from an earthed star point 0, loads to the neutral or to a star point of their own (4)."""
    branches = [Branch(0, line + 1, SOURCE_OHM, volts(line)) for line in range(3)]
    branches += [Branch(line + 1, 4, z_ohm) for line, z_ohm in enumerate(loads_ohm)]
    # The neutral; to a star point of its own nothing but a stray capacitance of 100 pF leads.
    branches.append(Branch(4, 0, leakage_ohm(230 * 2 * math.pi * 50 * 100e-12, 230) if to_star else 1e-3))
    return Study(Circuit(5, tuple(branches), 0)).solution


@pytest.mark.parametrize("to_star", [False, True], ids=["to the neutral", "to a star point"])
def test_three_lines(to_star: bool) -> None:
    # 9 kW on three lines at 230 V: 13.04 A in each; the sum of the currents is nothing.
    solution = three(to_star, [load_of_power_ohm(9000, 230, 1, lines=3)] * 3)
    for current_a in solution.currents_a[3:6]:
        assert printed(abs(current_a), "13.04") == "13.04"
    assert abs(solution.currents_a[6]) < 1e-9
    assert abs(solution.voltages_v[4]) < 1e-6


def test_two_lines_share_a_load() -> None:
    # Split phase, 120 V each: 4.8 kVA are 20 A in each line.
    assert printed(120 / abs(load_of_apparent_power_ohm(4800, 120, 0.9, lines=2)), "20.0") == "20.0"


def test_one_line_missing_parts_the_two_ways_of_connecting() -> None:
    heater = load_of_power_ohm(9000, 230, 1, lines=3)
    # L3 of the load is dead: to the neutral the others go on as before, to a star point they stand in series at 398 V.
    with_neutral = three(False, [heater, heater, 1e9]).currents_a[3:5]
    in_series = three(True, [heater, heater, 1e9]).currents_a[3:5]
    assert [printed(abs(one), "13.04") for one in with_neutral] == ["13.04", "13.04"]
    assert [printed(abs(one), "11.30") for one in in_series] == ["11.30", "11.30"]  # 398.4 V / (2 x 17.63 ohm)


def test_leakage() -> None:
    # 3.5 mA at 230 V; three equal leakages leave nothing in PE, one alone all of it.
    one = leakage_ohm(3.5e-3, 230)
    assert one.real == 0
    branches = [Branch(0, line + 1, SOURCE_OHM, volts(line)) for line in range(3)]
    for lines, milliampere in ((1, 3.5), (2, 3.5), (3, 0)):
        to_pe = [Branch(line + 1, 0, one) for line in range(lines)]
        currents_a = Study(Circuit(4, (*branches, *to_pe), 0)).solution.currents_a[3:]
        assert abs(sum(currents_a)) * 1e3 == pytest.approx(milliampere, abs=1e-6)
    # It leads the voltage by a quarter of a period.
    assert single(one)[0] / 1j == pytest.approx(3.5e-3)


def test_refusals() -> None:
    with pytest.raises(ValueError, match=r"power of the load: 0 W is outside"):
        load_of_power_ohm(0, 230, 1)
    with pytest.raises(ValueError, match=r"power factor: 0 is outside 0.1 to 1$"):
        load_of_power_ohm(100, 230, 0)
    with pytest.raises(ValueError, match=r"power factor: 1.01 is outside"):
        load_of_current_ohm(10, 230, 1.01)
    with pytest.raises(ValueError, match=r"lines of the load: 4 is not one of 1, 2, 3"):
        load_of_apparent_power_ohm(3000, 230, 0.8, lines=4)
    with pytest.raises(ValueError, match=r"leakage current: 0 A is outside"):
        leakage_ohm(0, 230)
    with pytest.raises(ValueError, match=r"voltage of the load: 0.23 V is outside"):
        load_of_current_ohm(10, 0.23, 1)
