"""IEC 60269-1 gates of gG fuses (from memory) and moulded-case breakers by IEC 60947-2 (from memory)."""

from __future__ import annotations

import pytest

from onebond.circuit.devices import GG_GATES_A, NEVER, gg_operating_current_a, gg_trip, mccb_trip

GATES = """
16: 33/65/85/150; 20: 42/85/110/200; 25: 52/110/150/260; 32: 75/150/200/350; 40: 95/190/260/450; 50: 125/250/350/610;
63: 160/320/450/820; 80: 215/425/610/1100; 100: 290/580/820/1450; 125: 355/715/1100/1910; 160: 460/950/1450/2590;
200: 610/1250/1910/3420; 250: 750/1650/2590/4500; 315: 1050/2200/3420/6000; 400: 1420/2840/4500/8060;
500: 1780/3800/6000/10600; 630: 2200/5100/8060/14140
"""


@pytest.mark.parametrize("row", GATES.split(";"))
def test_gates(row: str) -> None:
    rating, currents = row.split(":")
    rating_a = int(rating)
    not_10_s, in_5_s, not_100_ms, in_100_ms = map(float, currents.split("/"))
    assert GG_GATES_A[rating_a] == (not_10_s, in_5_s, not_100_ms, in_100_ms)
    assert gg_trip(not_10_s, rating_a).within(9.9) == "impossible"
    assert gg_trip(in_5_s, rating_a).within(5) == "certain"
    assert gg_trip(in_5_s - 1, rating_a).within(5) == "possible"
    assert gg_trip(not_100_ms, rating_a).within(0.09) == "impossible"
    assert gg_trip(in_100_ms, rating_a).within(0.1) == "certain"
    assert gg_trip(in_100_ms - 1, rating_a).within(0.4) == "possible"
    assert (gg_operating_current_a(rating_a, 5), gg_operating_current_a(rating_a, 0.4)) == (in_5_s, in_100_ms)


def test_the_table_fits_together() -> None:
    rows = list(GG_GATES_A.values())
    assert len(rows) == len(GATES.split(";"))
    for column in range(4):
        assert [row[column] for row in rows] == sorted(row[column] for row in rows)
    # What must not blow a fuse in 0.1 s must blow the one two steps below: discrimination 1.6 : 1.
    ratings = list(GG_GATES_A)
    for small, large in zip(ratings, ratings[2:], strict=False):
        if large >= 1.6 * small >= 40:
            assert GG_GATES_A[large][2] >= GG_GATES_A[small][3]


# Conventional currents: 1.25 and 1.6 second-hand, the rest and the times from memory.
@pytest.mark.parametrize(
    ("rating_a", "holds", "blows", "hours"),
    [(4, 1.5, 2.1, 1), (10, 1.5, 1.9, 1), (16, 1.25, 1.6, 1), (63, 1.25, 1.6, 1), (80, 1.25, 1.6, 2), (160, 1.25, 1.6, 2),
     (200, 1.25, 1.6, 3), (400, 1.25, 1.6, 3), (630, 1.25, 1.6, 4)],
)  # fmt: skip
def test_conventional_currents(rating_a: float, holds: float, blows: float, hours: int) -> None:
    assert gg_trip(rating_a, rating_a) == NEVER
    assert gg_trip(holds * rating_a, rating_a).within(hours * 3600 - 1) == "impossible"
    assert gg_trip(blows * rating_a, rating_a).certain_s == hours * 3600
    assert gg_trip(blows * rating_a - 0.1, rating_a).certain_s is None


@pytest.mark.parametrize("rating_a", [16, 63, 400])
def test_more_current_never_takes_longer(rating_a: int) -> None:
    trips = [gg_trip(rating_a * step / 40, rating_a) for step in range(1, 2000)]
    for values in ([one.certain_s for one in trips], [one.possible_from_s for one in trips]):
        times = [float("inf") if value is None else value for value in values]
        assert times == sorted(times, reverse=True)


def test_ratings_that_are_not_made() -> None:
    with pytest.raises(ValueError, match="17 A is not one of 2, 4"):
        gg_trip(100, 17)
    assert gg_operating_current_a(10, 5) is None  # no gates at hand


def test_moulded_case_breaker() -> None:
    assert mccb_trip(100, 100, 1000) == NEVER
    assert mccb_trip(104, 100, 1000).within(7199) == "impossible"
    assert mccb_trip(130, 100, 1000).within(7200) == "certain"
    assert mccb_trip(130, 63, 630).certain_s == 3600
    assert mccb_trip(800, 100, 1000).within(0.19) == "impossible"
    assert mccb_trip(801, 100, 1000).within(0.1) == "possible"
    assert mccb_trip(1199, 100, 1000).within(5) == "possible"
    assert mccb_trip(1200, 100, 1000).within(0.2) == "certain"
    assert mccb_trip(1100, 100, 1000, tolerance_ratio=0.1).within(0.2) == "certain"
    assert mccb_trip(5000, 100).within(5) == "possible"  # no instantaneous setting is known


def test_short_time_delay_of_a_moulded_case_breaker() -> None:
    settings = {"short_time_a": 500, "short_time_holds_s": 0.1, "short_time_clears_s": 0.18}
    assert mccb_trip(600, 100, 2000, **settings).within(0.18) == "certain"
    assert mccb_trip(600, 100, 2000, **settings).within(0.09) == "impossible"
    assert mccb_trip(450, 100, 2000, **settings).within(0.4) == "possible"
    assert mccb_trip(2400, 100, 2000, **settings).within(0.2) == "certain"
    assert mccb_trip(600, 100, 2000, short_time_a=500).within(0.4) == "possible"
