"""A current-limited inverter (case 8.11, our own, recomputed) and an uninterruptible supply (a maker's list, seen)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.inverters import (
    Stage,
    declared_breaker_covers,
    limit_a,
    limited_touch_voltage_v,
    rated_current_a,
    stages,
)
from onebond.circuit.devices import lasting, mcb_trip


@pytest.mark.parametrize(
    ("times", "amperes", "multiple", "touch"),
    [
        (1.2, "26.1", "1.63", "13.0"),
        (1.5, "32.6", "2.04", "16.3"),
        (2, "43.5", "2.72", "21.7"),
        (3, "65.2", "4.08", "32.6"),
    ],
)
def test_5_kva_at_230_v(times: float, amperes: str, multiple: str, touch: str) -> None:
    current_a = limit_a(rated_current_a(5000, 230), declared_factor=times)
    assert current_a is not None
    assert printed(current_a, amperes) == amperes
    assert printed(current_a / 16, multiple) == multiple
    assert printed(limited_touch_voltage_v(current_a, 0.5), touch) == touch
    assert stages(230, current_a) == (Stage(current_a, None),)  # 230 V through 1 ohm would be 230 A
    assert mcb_trip(current_a, 16, "B").within(0.4) != "certain"


def test_b16_is_not_magnetic_at_twice_rated_and_b6_is_at_three_times() -> None:
    # At 2.72 In thermal, 1 to 60 s: inside our band, which has no gate of 1 s above 2.55 In.
    trip = mcb_trip(43.478, 16, "B")
    assert trip.certain_s == 60
    assert trip.possible_from_s is not None
    assert 0.1 <= trip.possible_from_s <= 1
    # 3 x: 10.9 In of a B6, beyond its upper magnetic limit; 4.08 In of B16 lies in the band and may trip.
    assert printed(65.217 / 6, "10.9") == "10.9"
    assert mcb_trip(65.217, 6, "B").within(0.1) == "certain"
    assert mcb_trip(65.217, 16, "B").within(0.1) == "possible"


def test_uninterruptible_supply_without_bypass() -> None:
    # 20 A unit, 300 % for up to 20 ms: B6 may trip (10 In), C16 not (3.75 In).
    first, after = stages(1000, 60, for_s=0.02, sustained_a=30)
    assert (first, after) == (Stage(60, 0.02), Stage(30, None))
    assert lasting(mcb_trip(first.current_a, 6, "B"), 0.02).within(0.4) == "possible"
    assert lasting(mcb_trip(first.current_a, 16, "C"), 0.02).within(0.4) == "impossible"


def test_stages() -> None:
    assert stages(30, 60, for_s=0.1) == (Stage(30, None),)  # up to the limit it is a voltage source
    assert stages(60, 60, for_s=0.1) == (Stage(60, None),)
    assert stages(500, 60) == (Stage(60, None),)
    assert stages(500, 60, for_s=0.1) == (Stage(60, 0.1),)
    assert stages(500, 60, for_s=0.1, off_s=0.05) == (Stage(60, 0.05),)
    assert stages(500, 60, for_s=0.1, sustained_a=20, off_s=5) == (Stage(60, 0.1), Stage(20, 5))


def test_a_device_operates_while_the_current_still_flows() -> None:
    # The end of the current and the time of the device included.
    assert lasting(mcb_trip(60, 6, "B"), 0.1).within(0.4) == "certain"
    assert lasting(mcb_trip(43.5, 16, "B"), 0.1).within(0.4) == "possible"
    assert lasting(mcb_trip(43.5, 16, "B"), 0.099).within(0.4) == "impossible"


def test_limits_are_declared_or_unknown() -> None:
    assert limit_a(20) is None
    assert limit_a(20, 50) == 50
    with pytest.raises(ValueError, match="declared twice"):
        limit_a(20, 50, 2)


def test_the_makers_list_goes_before_arithmetic() -> None:
    listed = (("B", 16.0), ("C", 6.0))
    assert declared_breaker_covers("B", 16, listed)
    assert declared_breaker_covers("C", 6, listed)
    assert not declared_breaker_covers("C", 10, listed)
    assert not declared_breaker_covers("B", 20, listed)
    assert not declared_breaker_covers("D", 6, listed)
    # By the gates alone a C6 at 43.5 A (7.2 In) would only be possible.
    assert mcb_trip(43.5, 6, "C").within(0.1) == "possible"
