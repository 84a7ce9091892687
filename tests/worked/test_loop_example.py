"""Linsley, "Basic Electrical Installation Work": radial circuit in TN-S (inputs and 0.585 seen; the rest recomputed)."""

from __future__ import annotations

from printed import printed

from onebond.circuit.components.conductors import core_impedance_ohm
from onebond.circuit.devices import mcb_operating_current_a, mcb_trip
from onebond.circuit.limits_table import largest_loop_ohm


def test_radial_of_30_m() -> None:
    # Ze 0.5 ohm; 2.5/1.5 mm2, 30 m, 19.51 milliohm/m at 20 C, multiplier 1.20; 20 A breaker.
    cold = sum(core_impedance_ohm(size, 30, per_length_ohm_km=0) for size in (2.5, 1.5)).real
    hot = sum(
        core_impedance_ohm(size, 30, temperature_c=70, practice="rounded", per_length_ohm_km=0) for size in (2.5, 1.5)
    ).real
    assert printed(cold, "0.585") == "0.585"
    assert printed(hot, "0.702") == "0.702"
    loop_ohm = 0.5 + hot
    assert printed(loop_ohm, "1.20") == "1.20"
    assert printed(230 / loop_ohm, "191") == "191"
    operating_a = mcb_operating_current_a(20, "B", 0.4)
    assert operating_a == 100
    assert loop_ohm <= largest_loop_ohm(230, operating_a, 0.95)
    assert mcb_trip(230 / loop_ohm, 20, "B").within(0.4) == "certain"
