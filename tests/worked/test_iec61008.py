"""IEC 61008-1: residual current devices (three makers' tester manuals, seen; 60 ms of type S and waves from memory)."""

from __future__ import annotations

import pytest

from onebond.circuit.devices import (
    NEVER,
    gives_additional_protection,
    rcd_band_a,
    rcd_tolerates_dc_a,
    rcd_trip,
)


def test_the_three_answers_of_a_30_ma_device() -> None:
    assert rcd_trip(0.0149, 0.03) == NEVER
    for residual_a in (0.015, 0.02, 0.0299):
        assert rcd_trip(residual_a, 0.03).within(0.3) == "possible"
        assert rcd_trip(residual_a, 0.03).certain_s is None
    for residual_a in (0.03, 0.0301, 1):
        assert rcd_trip(residual_a, 0.03).within(0.3) == "certain"


@pytest.mark.parametrize("rated_a", [0.1, 0.3, 0.5, 1])
@pytest.mark.parametrize(("times", "seconds"), [(1, 0.3), (1.99, 0.3), (2, 0.15), (4.99, 0.15), (5, 0.04), (100, 0.04)])
def test_general_type(rated_a: float, times: float, seconds: float) -> None:
    assert rcd_trip(times * rated_a, rated_a).certain_s == seconds


def test_up_to_30_ma_the_maker_may_take_0_25_a() -> None:
    assert rcd_trip(0.15, 0.03).certain_s == 0.15
    assert rcd_trip(0.249, 0.03).certain_s == 0.15
    assert rcd_trip(0.25, 0.03).certain_s == 0.04
    assert rcd_trip(0.15, 0.03, fast_a=0.15).certain_s == 0.04
    assert rcd_trip(0.25, 0.01).certain_s == 0.04


@pytest.mark.parametrize(
    ("times", "longest", "shortest"),
    [(1, 0.5, 0.13), (2, 0.2, 0.06), (5, 0.15, 0.05), (0.7, None, 0.13), (20, 0.15, 0)],
)
def test_type_s(times: float, longest: float | None, shortest: float) -> None:
    trip = rcd_trip(times * 0.3, 0.3, delay="S")
    assert (trip.certain_s, trip.possible_from_s) == (longest, shortest)


def test_type_s_waits_for_the_general_type() -> None:
    # 100 mA S before 30 mA general, a fault of 1 A: the general one is through before the other may begin.
    general, delayed = rcd_trip(0.5, 0.03), rcd_trip(0.5, 0.1, delay="S")
    assert general.certain_s is not None
    assert delayed.possible_from_s is not None
    assert general.certain_s < delayed.possible_from_s


def test_type_s_of_30_ma_is_not_made() -> None:
    with pytest.raises(ValueError, match="above 30 mA"):
        rcd_trip(0.1, 0.03, delay="S")


@pytest.mark.parametrize(
    ("wave", "kinds"),
    [("sinusoidal", {"AC", "A", "F", "B"}), ("pulsating", {"A", "F", "B"}), ("pulsating-90", {"A", "F", "B"}),
     ("pulsating-135", {"A", "F", "B"}), ("smooth-dc", {"B"})],
)  # fmt: skip
def test_which_type_sees_which_wave(wave: str, kinds: set[str]) -> None:
    for kind in ("AC", "A", "F", "B"):
        trip = rcd_trip(100, 0.1, kind=kind, wave=wave)
        assert (trip.within(0.04) == "certain") is (kind in kinds)
        # A device that is not made for the wave is not proven to stay either.
        assert trip.within(0.04) != "impossible"


@pytest.mark.parametrize(
    ("wave", "kind", "low", "high"),
    [("pulsating", "A", 0.35, 1.4), ("pulsating-90", "A", 0.25, 1.4), ("pulsating-135", "F", 0.11, 1.4),
     ("smooth-dc", "B", 0.5, 2.0), ("sinusoidal", "AC", 0.5, 1.0)],
)  # fmt: skip
def test_bands(wave: str, kind: str, low: float, high: float) -> None:
    assert rcd_band_a(0.1, kind, wave) == pytest.approx((low * 0.1, high * 0.1))


def test_pulsating_at_10_ma_takes_twice() -> None:
    assert rcd_band_a(0.01, "A", "pulsating")[1] == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("kind", "rated_a", "dc_a"),
    [("AC", 0.03, 0), ("A", 0.03, 0.006), ("F", 0.03, 0.010), ("B", 0.03, 0.012), ("B", 0.01, 0.01)],
)
def test_superimposed_direct_current(kind: str, rated_a: float, dc_a: float) -> None:
    assert rcd_tolerates_dc_a(kind, rated_a) == pytest.approx(dc_a)


def test_additional_protection() -> None:
    assert [gives_additional_protection(one) for one in (0.01, 0.03, 0.1)] == [True, True, False]
