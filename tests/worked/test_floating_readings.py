"""Readings in a floating system (case 6.15: recomputed by nodal analysis and by ngspice, difference below 1e-9)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.capacitance import (
    admittance,
    capacitance_of_leakage_f,
    floating_reading_v,
    meter_ohm,
    stray_f,
)


@pytest.mark.parametrize(
    ("nanofarad", "ideal", "digital", "low"),
    [(4.7, "115.0", "114.93", "1.02"), (2.2, "115.0", "114.70", "0.477"), (1, "115.0", "113.57", "0.217"),
     (100, "115.0", "115.0", "21.3")],
)  # fmt: skip
def test_equal_capacitors(nanofarad: float, ideal: str, digital: str, low: str) -> None:
    farad = nanofarad * 1e-9
    assert printed(floating_reading_v(230, farad, farad), ideal) == ideal
    assert printed(floating_reading_v(230, farad, farad, meter_ohm("digital")), digital) == digital
    assert printed(floating_reading_v(230, farad, farad, meter_ohm("low-impedance")), low) == low


def test_unequal_capacitors() -> None:
    # 2.2 nF at the line, 10 nF at the neutral, 10 Mohm.
    n_pe = floating_reading_v(230, near_f=10e-9, far_f=2.2e-9, loading_ohm=meter_ohm("digital"))
    l_pe = floating_reading_v(230, near_f=2.2e-9, far_f=10e-9, loading_ohm=meter_ohm("digital"))
    # One meter at a time 41.46 and 188.46 V; 41.5 and 188.6 V are printed, with the meter between N and PE.
    assert printed(n_pe, "41.5") == "41.5"
    y_l, y_n, y_m = admittance(2.2e-9), admittance(10e-9), 1 / meter_ohm("digital")
    assert printed(230 * abs((y_n + y_m) / (y_l + y_n + y_m)), "188.6") == "188.6"
    assert l_pe == pytest.approx(188.6, abs=0.2)


def test_meters() -> None:
    assert meter_ohm("digital") == 10e6  # seen
    assert meter_ohm("low-impedance") == 3e3  # seen; another maker has 2 kohm


def test_nothing_to_hold_on_to() -> None:
    with pytest.raises(ValueError, match="nothing ties"):
        floating_reading_v(230, 0, 0)


def test_leakage_and_stray() -> None:
    farad = capacitance_of_leakage_f(3.5e-3, 230)
    assert abs(admittance(farad)) * 230 == pytest.approx(3.5e-3)
    low, high = stray_f(1000)
    assert low < high  # from memory: order of magnitude only
