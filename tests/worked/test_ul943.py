"""UL 943, class A ground-fault circuit interrupter: T = (20 / I mA)^1.43 s (seen, recomputed); NEC 230.95 (from memory)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.devices import NEVER, gfci_trip, gfpe_trip, rating_ratio


@pytest.mark.parametrize(
    ("milliampere", "seconds"),
    [(6, "5.59"), (10, "2.69"), (20, "1.00"), (30, "0.560"), (264, "0.025"), (5000, "0.025")],
)
def test_time_law(milliampere: float, seconds: str) -> None:
    certain_s = gfci_trip(milliampere / 1000).certain_s
    assert certain_s is not None
    assert printed(certain_s, seconds) == seconds


def test_band_between_4_and_6_ma() -> None:
    assert gfci_trip(0.0039) == NEVER
    for ampere in (0.004, 0.005, 0.0059):
        assert gfci_trip(ampere).certain_s is None
        assert gfci_trip(ampere).within(10) == "possible"
    # "7.26 s" in texts is the law at 5 mA, where nothing is certain yet.
    assert printed((20 / 5) ** 1.43, "7.26") == "7.26"


def test_service_ground_fault_protection() -> None:
    assert gfpe_trip(1199) == NEVER
    assert gfpe_trip(1200).within(1) == "possible"
    assert gfpe_trip(3000).within(1) == "certain"
    assert gfpe_trip(500, 400).within(1) == "possible"


def test_multiple_of_the_rating() -> None:
    assert rating_ratio(192, 20) == 9.6
