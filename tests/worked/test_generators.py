"""Generator examples (a manufacturer's guide, seen; the kVA examples recomputed)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.generators import (
    TYPICAL_PU,
    UNDECLARED_SUSTAINED_TIMES_RATED,
    Sustained,
    earth_fault_impedance_ohm,
    rated_current_a,
    reactance_ohm,
    subtransient_current_a,
    sustained,
)


@pytest.mark.parametrize(("kva", "x", "rated", "fault"), [(20, 0.12, "28.87", "241"), (100, 0.15, "144.3", "962")])
def test_400_v_sets(kva: float, x: float, rated: str, fault: str) -> None:
    assert printed(rated_current_a(kva * 1e3, 400), rated) == rated
    assert printed(subtransient_current_a(kva * 1e3, 400, x), fault) == fault
    phase_v = 400 / 3**0.5
    assert phase_v / reactance_ohm(kva * 1e3, 400, x) == pytest.approx(subtransient_current_a(kva * 1e3, 400, x))


def test_0_14_is_7_1_times_rated() -> None:  # seen
    assert printed(subtransient_current_a(1e6, 11e3, 0.14) / rated_current_a(1e6, 11e3), "7.1") == "7.1"


def test_one_phase() -> None:
    assert rated_current_a(6900, 230, 1) == 30
    assert subtransient_current_a(6900, 230, 0.15, 1) == 200


def test_earth_fault_takes_all_three_sequences() -> None:
    z = earth_fault_impedance_ohm(0.12j, 0.14j, 0.04j)
    assert z == pytest.approx(0.1j)
    assert 3 * 230 / abs(0.12j + 0.14j + 0.04j) == pytest.approx(230 / abs(z))


def test_sustained_only_where_declared() -> None:
    assert sustained(28.87, None, None, None) is None
    assert sustained(28.87, None, None, 10) is None
    assert sustained(28.87, 80, None, 5) == Sustained(80, 5)
    assert sustained(10, None, 3, None) == Sustained(30, None)
    with pytest.raises(ValueError, match="declared twice"):
        sustained(28.87, 80, 3, 10)
    assert UNDECLARED_SUSTAINED_TIMES_RATED == (0.3, 3.0)  # from memory
    assert TYPICAL_PU["subtransient"] == (0.10, 0.25)  # seen
