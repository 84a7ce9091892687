"""BS 7671 table 41.5 and IEC 60364-4-41, 411.5.3: electrode resistance in TT.  Seen (50 V); recomputed (25 V)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.limits_table import (
    it_second_fault_loop_ohm,
    largest_earth_resistance_ohm,
    supplementary_bonding_ohm,
)


@pytest.mark.parametrize(
    ("residual_a", "ohm"),
    [(0.01, "5000"), (0.03, "1667"), (0.1, "500"), (0.3, "166.7"), (0.5, "100"), (1, "50"), (3, "16.7"), (5, "10"),
     (10, "5"), (20, "2.5")],
)  # fmt: skip
def test_50_v(residual_a: float, ohm: str) -> None:
    assert printed(largest_earth_resistance_ohm(residual_a), ohm) == ohm
    assert largest_earth_resistance_ohm(residual_a, 25) == pytest.approx(largest_earth_resistance_ohm(residual_a) / 2)


def test_300_ma_as_bs_7671_prints_it() -> None:
    assert printed(largest_earth_resistance_ohm(0.3), "167") == "167"


def test_an_electrode_of_200_ohm_takes_up_to_250_ma() -> None:  # on-site guide, page 78 (seen)
    assert largest_earth_resistance_ohm(0.25) == 200


def test_two_faults_in_it() -> None:
    # From memory: U = 400 V, Ia = 160 A, Zs = 0.5 ohm: 160 V <= 400 V.
    assert it_second_fault_loop_ohm(400, 160, False) >= 0.5
    assert it_second_fault_loop_ohm(400, 160, True) == pytest.approx(230.94 / 320, rel=1e-4)


def test_supplementary_bonding_of_the_inverter_case() -> None:
    # 43.5 A through 0.5 ohm is 21.7 V: by 415.2.2 that passes.
    assert supplementary_bonding_ohm(43.5) > 0.5
    assert supplementary_bonding_ohm(43.5, "dc") == pytest.approx(120 / 43.5)
