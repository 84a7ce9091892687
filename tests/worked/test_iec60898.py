"""IEC 60898-1 gates (seen: a manufacturer's manual; table 7)."""

from __future__ import annotations

import pytest

from onebond.circuit.devices import NEVER, Trip, magnetic_band_a, mcb_operating_current_a, mcb_trip, rcbo_trip, sooner

BANDS = [("B", 3, 5), ("C", 5, 10), ("D", 10, 20)]


@pytest.mark.parametrize(("curve", "low", "high"), BANDS)
@pytest.mark.parametrize("rating_a", [6, 16, 32, 63, 125])
def test_instantaneous_band(curve: str, low: float, high: float, rating_a: float) -> None:
    assert magnetic_band_a(rating_a, curve) == (low * rating_a, high * rating_a)
    assert mcb_trip(low * rating_a, rating_a, curve).within(0.099) == "impossible"
    assert mcb_trip(low * rating_a + 0.1, rating_a, curve).within(0.05) == "possible"
    assert mcb_trip(high * rating_a - 0.1, rating_a, curve).within(5) == "possible"
    assert mcb_trip(high * rating_a, rating_a, curve).within(0.1) == "certain"
    assert mcb_trip(high * rating_a, rating_a, curve).within(0.04) == "possible"


@pytest.mark.parametrize(("rating_a", "hours", "seconds"), [(32, 1, 60), (40, 1, 120), (63, 1, 120), (80, 2, 120)])
@pytest.mark.parametrize("curve", ["B", "C", "D"])
def test_thermal_gates(rating_a: float, hours: int, seconds: float, curve: str) -> None:
    conventional_s = hours * 3600
    assert mcb_trip(rating_a, rating_a, curve) == NEVER
    assert mcb_trip(1.13 * rating_a, rating_a, curve).within(conventional_s - 1) == "impossible"
    assert mcb_trip(1.45 * rating_a, rating_a, curve).within(conventional_s) == "certain"
    assert mcb_trip(1.45 * rating_a - 0.01, rating_a, curve).certain_s is None
    assert mcb_trip(2.55 * rating_a, rating_a, curve) == Trip(seconds, 1)
    assert mcb_operating_current_a(rating_a, curve, conventional_s) == 1.45 * rating_a
    assert mcb_operating_current_a(rating_a, curve, seconds) == 2.55 * rating_a


@pytest.mark.parametrize("curve", ["B", "C", "D"])
def test_more_current_never_takes_longer(curve: str) -> None:
    trips = [mcb_trip(16 * step / 50, 16, curve) for step in range(1, 1500)]
    for values in ([one.certain_s for one in trips], [one.possible_from_s for one in trips]):
        times = [float("inf") if value is None else value for value in values]
        assert times == sorted(times, reverse=True)
    for trip in trips:
        assert trip.certain_s is None or (trip.possible_from_s is not None and trip.possible_from_s <= trip.certain_s)


def test_a_maker_may_promise_less_than_the_standard_allows() -> None:
    # One manufacturer prints 15 In for D; the standard allows 20.
    assert mcb_trip(15 * 16, 16, "D").within(0.1) == "possible"
    assert mcb_trip(15 * 16, 16, "D", upper_a=15 * 16).within(0.1) == "certain"
    with pytest.raises(ValueError, match="instantaneous operating current of a D breaker"):
        mcb_trip(100, 16, "D", upper_a=25 * 16)


def test_nothing_is_promised_below_a_tenth_of_a_second() -> None:
    assert mcb_operating_current_a(32, "B", 0.1) == 160
    assert mcb_operating_current_a(32, "B", 0.099) is None


def test_10_and_20_ohm_never_trip_a_b6() -> None:
    # TT with an overcurrent device: 230 V / 30 ohm = 7.67 A, 1.28 In.
    assert mcb_trip(230 / 30, 6, "B").within(1) == "possible"
    assert mcb_trip(230 / 30, 6, "B").certain_s is None


def test_residual_part_beside_the_breaker() -> None:
    assert rcbo_trip(2, 0, 16, "B", 0.03) == NEVER
    assert rcbo_trip(7.7, 7.7, 16, "B", 0.03).within(0.04) == "certain"
    assert rcbo_trip(80, 0, 16, "B", 0.03).within(0.1) == "certain"
    assert rcbo_trip(20, 0.02, 16, "B", 0.03).within(0.2) == "possible"
    assert sooner(NEVER, NEVER) == NEVER == sooner()
