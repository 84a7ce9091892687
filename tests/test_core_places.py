"""What is read at a place, what may be read there, where sources come in and how a site is drawn: small sites worked by hand."""

from __future__ import annotations

import math

import pytest

from described import edited, facts_of, site_of
from onebond.document import parse
from onebond.facts import Facts
from onebond.facts.allowed import ElectrodeAt, LoopAt, by_place, loop_at
from onebond.facts.drawing import drawing, kinds_of_island
from onebond.facts.faults import EarthFault
from onebond.facts.measured import measured, unread
from onebond.facts.residual import RcdForPlace
from onebond.facts.taken import Compared, ElectrodeLimit, LoopLimit, MeasuredPlace, trip_times
from onebond.facts.unknown import Unknown
from onebond.loading import load_rules
from onebond.meter.measurements import Measurement
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.model import Device
from onebond.readings import of_text
from onebond.result import Drawing

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

RULE = next(one for one in load_rules() if one.id == "reading-contradicts-design")
IEC, BS, NEC = (RULE.params_in(book) for book in ("iec", "bs7671", "nec"))


# -- what was read against what is expected -----------------------------------------------------------------------------

HOUSE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
  other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards: {main: {}, sub: {}, apart: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  on: {from: main, to: sub, cores: L1 N PE, size: 6 mm2, length: 20 m, through: [{id: q, kind: isolator, rating: 40 A, operable: yes}]}
  other-service: {from: other, to: apart, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 1 kW, through: [{kind: mcb, curve: B, rating: 16 A}]}
  two: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 1 kW, through: [{like: rcbo, id: r}]}
types: {devices: {rcbo: {kind: rcbo, curve: B, rating: 16 A, residual: 30 mA}}}
"""
)


def taken(text: str, *entries: str, voltmeter: str = "") -> tuple[Readings, Plant]:
    """Readings of a site as a file has them."""
    plant = Plant(site_of(text))
    meter = f"voltmeter: {voltmeter}\n" if voltmeter else ""
    listed = "".join(f"  - {{{entry}}}\n" for entry in entries)
    written = f"onebond-readings: 1\ninstallation: site.yaml\ntaken: 2026-09-14\n{meter}readings:\n{listed}"
    read = of_text(written.encode(), "site.readings.yaml", plant, "site.yaml")
    assert read.readings is not None and not read.problems, read.problems
    return read.readings, plant


def judged(readings: Readings, plant: Plant) -> dict[str, MeasuredPlace]:
    """What was found, place by place."""
    faults = Facts(plant.site, plant.site.rulebook).earth_faults
    return {place.id: place for place in measured(readings, plant, faults)}


def places_of(text: str, *entries: str) -> dict[str, MeasuredPlace]:
    return judged(*taken(text, *entries))


def only(text: str, *entries: str) -> Compared:
    """The first reading, compared."""
    first, *_ = places_of(text, *entries).values()
    return first.compared[0]


def test_what_one_defect_explains_is_told_at_the_place_that_is_farthest_off() -> None:
    # the line is open between main and sub: what lies behind is dead, and what lies before it is right
    found = places_of(
        HOUSE,
        "at: main, loads: off, L1-N: 230 V",
        "at: sub, loads: off, L1-N: 0 V, L1-PE: 0 V",
        "at: one, loads: off, L1-N: 0 V",
    )
    assert {name: place.root for name, place in found.items()} == {"main": "", "sub": "", "one": "sub"}
    assert [place.explained for place in found.values()] == [("the L1 core of on is open",)] * 3
    assert {name: [one.contradicts for one in place.compared] for name, place in found.items()} == {
        "main": [False],
        "sub": [True, True],
        "one": [True],
    }


def test_places_that_contradict_for_no_common_reason_stand_each_for_itself() -> None:
    # no wiring makes a loop smaller than the supply alone has and another one much larger
    found = places_of(HOUSE, "at: main, loop: 0.01 ohm", "at: one, loop: 9 ohm", "at: apart, L1-N: 115 V")
    assert [(place.explained, place.probability, place.root) for place in found.values()] == [((), 0.0, "")] * 3
    assert all(place.compared[0].contradicts for place in found.values())


def test_a_site_as_described_that_is_nearly_as_likely_is_no_defect_that_explains() -> None:
    # 0.4 ohm of supply, 10 m of 16 mm2, 20 m of 6 mm2 out and those beside 20 m of 6 mm2 back: 0.496 ohm, and 0.535 ohm with one of the
    # two ways back alone (IEC 60228: 1.15 and 3.08 mohm/m).  0.61 ohm are 4.6 standard deviations off the one and 2.9 off the other
    text = edited(
        HOUSE,
        ("  other-service:", "  earth: {from: main, to: sub, cores: PE, size: 10 mm2, length: 20 m}\n  other-service:"),
    )
    (place,) = places_of(text, "at: sub, loop: 0.61 ohm").values()
    assert place.explained == ("the PE core of earth is open",)


def test_a_state_is_told_of_what_is_measured_live_and_of_nothing_else() -> None:
    found = places_of(
        HOUSE, "state: {q: open}, at: main, L1-N: 230 V, tie: open", "at: sub, L1-N: 230 V", "at: one, tie: open"
    )
    assert [one.state for place in found.values() for one in place.compared] == [(("q", "open"),), (), (), ()]


@pytest.mark.parametrize(
    ("volts", "value", "digit", "outside"),
    [
        # 10 % and half a volt of the meter: from 239.7 V the band begins at 215.2 V, and 215 V is printed
        (239.7, 210.0, 10.0, ""),  # 210 V in steps of 10 V stands for up to 215 V
        (239.7, 210.0, 9.0, "low"),
        (239.7, 215.0, 0.0, ""),
        # of 240.3 V it ends at 264.8 V, and 265 V is printed
        (240.3, 270.0, 10.0, ""),
        (240.3, 270.0, 9.0, "high"),
        (240.3, 265.0, 0.0, ""),
    ],
)
def test_a_reading_stands_for_all_that_rounds_to_it(volts: float, value: float, digit: float, outside: str) -> None:
    plant = Plant(site_of(HOUSE.replace("voltage: 230 V", f"voltage: {volts} V")))
    reading = Reading(
        Measurement("voltage", "main", "L1-N", loads=False), plant.usual or (), value, digit, "", (), "2026-09-14"
    )
    (place,) = judged(Readings("", None, "2026-09-14", "digital", (reading,)), plant).values()
    assert [one.outside for one in place.compared] == [outside]


@pytest.mark.parametrize(
    "entry", ["at: main, loads: off, N-PE: 90 V", "at: main, loop: 9 ohm", "from: main, to: sub, continuity: 9 ohm"]
)
def test_only_the_voltage_of_a_line_lies_outside_a_band_by_which_a_supply_is_judged(entry: str) -> None:
    found = only(HOUSE, entry)
    assert found.contradicts and (found.outside, found.supply) == ("", ())


LOW = "at: main, loads: off, L1-N: 190 V"
"""17 % below 230 V; the band ends 10 % below (IEC 60038)."""


@pytest.mark.parametrize(
    "beside",
    [
        # what is no voltage of a line says nothing of the supply
        "at: main, loop: 0.42 ohm",
        "at: main, loads: off, N-PE: 0 V",
        "at: main, tie: open",
        # nor does what another supply feeds, or what is dead in another state
        "at: apart, loads: off, L1-N: 230 V",
        "state: {q: open}, at: sub, L1-N: 0 V",
        "state: {q: open}, at: main, L1-N: 230 V",
        # off alike: within 6 % of each other, twice the 3 % of meter and model
        "at: one, loads: off, L1-N: 196 V",
    ],
)
def test_a_supply_is_low_where_all_that_was_read_of_it_in_one_state_is(beside: str) -> None:
    assert [source.id for source in only(HOUSE, LOW, beside).supply] == ["grid"]


def test_a_supply_is_not_low_where_something_that_it_feeds_is_right() -> None:
    assert only(HOUSE, LOW, "at: one, loads: off, L1-N: 230 V").supply == ()


def test_a_line_that_is_dead_in_the_same_state_says_nothing_of_the_supply() -> None:
    # what is expected to have no voltage has none whatever the supply is like
    text = edited(HOUSE, ("q, kind: isolator, rating: 40 A", "q, kind: isolator, rating: 40 A, normally: open"))
    found = places_of(text, LOW, "at: sub, loads: off, L1-N: 0 V")
    assert [source.id for source in found["main"].compared[0].supply] == ["grid"]
    assert found["sub"].compared[0].supply == ()


def test_of_a_low_supply_only_what_lies_outside_its_band_is_told() -> None:
    # 205 V lie outside 206.5 V to 253.5 V, and 210 V within; they are off alike
    found = places_of(HOUSE, "at: main, loads: off, L1-N: 205 V, L1-PE: 210 V")
    assert [bool(one.supply) for one in found["main"].compared] == [True, False]


def test_a_supply_is_named_of_what_was_read_at_its_own_terminals() -> None:
    assert [source.id for source in only(HOUSE, "at: grid, loads: off, L1-N: 190 V").supply] == ["grid"]


def test_what_floats_between_lines_and_earth_says_nothing_of_the_source() -> None:
    # by the capacitances of the cables N stands at half of the voltage: a line that is 20 % low is, and N to PE need not be
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 10 mm2, length: 20 m}
"""
    )
    found = only(text, "at: main, loads: off, L1-N: 185 V", "at: main, loads: off, N-PE: 115 V")
    assert (found.outside, [source.id for source in found.supply]) == ("low", ["inv"])


def test_what_rests_on_what_is_not_written_is_missing_and_hides_nothing() -> None:
    # the other supply has no voltage and no loop that anybody has written
    text = edited(
        HOUSE,
        (
            "other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}",
            "other: {kind: utility, phases: L1, earthing: TN-S}",
        ),
    )
    found = places_of(text, LOW, "at: apart, loads: off, L1-N: 100 V, loop: 2 ohm")
    assert [source.id for source in found["main"].compared[0].supply] == ["grid"]
    for one in found["apart"].compared:
        assert one.missing is not None and (one.band, one.outside, one.supply) == (None, "", ())
    assert found["main"].compared[0].missing is None


def test_what_a_supply_of_unknown_voltage_drives_is_not_expected_to_be_nothing() -> None:
    # a datum that is not written is never a value: 230 V at such a board are no defect, and no RCD fails to trip there
    text = HOUSE.replace("voltage: 230 V, ", "")
    found = places_of(
        text,
        "at: main, L1-N: 230 V, L1-PE: 230 V, N-PE: 2 V",
        "at: sub, loads: off, L1-N: 231 V",
        "clamp: service, current: 0.1 A, residual: 0.1 A",
        "rcd: r, holds: no",
    )
    for place in found.values():
        for one in place.compared:
            assert one.missing is not None and one.missing.what == "the voltage of grid"
            assert (one.band, one.contradicts, one.outside) == (None, False, "")
    # that an RCD trips at its test current rests on no voltage, nor does what is measured dead or is dead
    found = places_of(
        text,
        "rcd: r, times: {1 x: no-trip}",
        "from: main, to: sub, continuity: 9 ohm",
        "state: {q: open}, at: sub, L1-N: 230 V",
    )
    assert [one.contradicts for place in found.values() for one in place.compared] == [True, True, True]
    # what the other supply feeds is what it was
    text = edited(
        HOUSE, ("  other: {kind: utility, phases: L1, voltage: 230 V, ", "  other: {kind: utility, phases: L1, ")
    )
    assert only(text, "at: main, loads: off, L1-N: 190 V").outside == "low"
    assert only(text, "at: apart, loads: off, L1-N: 190 V").missing is not None


def test_a_loop_behind_an_inverter_is_not_compared() -> None:
    # FORMAT.md, readings: a loop where an inverter limits the current is not compared
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 10 mm2, length: 20 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
"""
    )
    found = only(text, "at: main, loop: 2 ohm")
    assert found.missing is not None and "inv limits its current" in found.missing.reason
    assert found.loop is not None and found.loop.cold_ohm is None and not found.contradicts
    limit = found.loop.limit(IEC)
    assert limit is not None and limit.most_ohm is None and "inv limits its current" in limit.by


@pytest.mark.parametrize(
    ("entry", "contradicts"),
    [
        # from whichever side it is tested: an RCD that does what it is made for contradicts nothing (FORMAT.md, readings)
        ("rcd: r, times: {1 x: 20 ms}", False),
        ("rcd: r, times: {0.5 x: no-trip}", False),
        ("rcd: r, times: {1 x: no-trip}", True),
        ("rcd: r, times: {5 x: no-trip}", True),
        ("rcd: r, times: {0.5 x: 20 ms}", True),  # at half of it no RCD trips (IEC 61008-1)
        # in service nothing leaks there: an RCD that opens all the same has seen something that is not described
        ("rcd: r, holds: yes", False),
        ("rcd: r, holds: no", True),
    ],
)
def test_what_an_rcd_does_contradicts_the_site_where_the_circuit_makes_it_do_otherwise(
    entry: str, contradicts: bool
) -> None:
    found = only(HOUSE, entry)
    assert found.contradicts == contradicts
    # of the time test alone the device is asked for its times
    assert (found.rcd is not None) == ("times" in entry)


REVERSED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
  pv: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, operation: grid-following}
boards: {main: {}, roof: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  up: {from: roof, to: main, cores: L1 N PE, size: 6 mm2, length: 20 m, through: [{id: r, kind: rcd, residual: 30 mA}]}
  pv-feed: {from: pv, to: roof, cores: L1 N PE, size: 6 mm2, length: 2 m}
"""
)


@pytest.mark.parametrize(
    ("times", "contradicts"), [("1 x: 20 ms", False), ("0.5 x: no-trip", False), ("1 x: no-trip", True)]
)
def test_an_rcd_is_tested_at_the_end_that_is_dead_when_it_is_open(times: str, contradicts: bool) -> None:
    assert only(REVERSED, f"rcd: r, times: {{{times}}}").contradicts == contradicts


@pytest.mark.parametrize("times", ["1 x: 20 ms", "5 x: no-trip", "0.5 x: no-trip"])
def test_an_rcd_with_a_link_behind_it_contradicts_the_circuit_neither_way(times: str) -> None:
    # by the circuit the test current comes back through it; that it opens all the same is what it is made for
    text = edited(BEHIND_TRANSFORMER, ("DEVICES", "{id: r, kind: rcd, residual: 30 mA}"))
    assert not only(text, f"rcd: r, times: {{{times}}}").contradicts


def test_a_loop_is_set_beside_what_a_tester_finds_there_cold() -> None:
    found = only(HOUSE, "at: main, loop: 0.42 ohm").loop
    assert found is not None and found.cold_ohm == pytest.approx(0.4 + 2 * 5 * 1.15e-3, rel=1e-3)


def test_what_nobody_has_read_is_listed_where_it_belongs() -> None:
    readings, plant = taken(HOUSE, "at: sub, loads: off, L1-N: 230 V, loop: 0.6 ohm", "rcd: r, times: {1 x: 20 ms}")
    none = {one.id: one for one in unread(Readings("", None, "", "digital", ()), plant)}
    left = {one.id: one for one in unread(readings, plant)}
    assert "r" in none and "sub" in none
    assert set(none["sub"].tests) - set(left["sub"].tests)
    assert left["one"].tests == none["one"].tests
    # of a device the entry in its cable is shown
    assert none["r"].route == ("circuits", "two", "through", 0)
    assert none["sub"].route == ("boards", "sub")


# -- what may be read of a loop -----------------------------------------------------------------------------------------

SHOP = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: LINES, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: LINES N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
circuits:
  load: {from: main, cores: LINES N PE, size: 2.5 mm2, length: 20 m, serves: fixed, load: 2 kW, through: [DEVICES]}
"""


def shop(devices: str, lines: str = "L1") -> str:
    text = SHOP.replace("LINES", lines).replace("DEVICES", devices)
    return text if len(lines) > 2 else text.replace("230/400 V", "230 V")


def faults_at(text: str, place: str) -> list[EarthFault]:
    return by_place(facts_of(text).earth_faults).get(place, [])


def limit_of(text: str, place: str = "load", params: object = IEC) -> LoopLimit | None:
    return LoopAt(faults_at(text, place), None).limit(params)  # type: ignore[arg-type]


B16 = "{kind: mcb, curve: B, rating: 16 A}"


@pytest.mark.parametrize(
    ("devices", "params", "ohm", "by", "within_s"),
    [
        # 5 times 16 A at once (IEC 60898-1): 230 V / 80 A, two thirds of it cold, all of it by the NEC; BS 7671 counts 0.95 and 0.8
        (B16, IEC, 230 / 80 * 2 / 3, "the mcb in load", 0.4),
        (B16, BS, 0.95 * 230 / 80 * 0.8, "the mcb in load", 0.4),
        (B16, NEC, 230 / 80, "the mcb in load", 5.0),
        ("{id: q, kind: mcb, curve: C, rating: 16 A}", IEC, 230 / 160 * 2 / 3, "q", 0.4),
        # of several the first that is certain: B16 before C25 (250 A), and an isolator never
        (f"{{kind: mcb, curve: C, rating: 25 A}}, {B16}", IEC, 230 / 80 * 2 / 3, "the mcb in load", 0.4),
        (f"{{kind: isolator}}, {B16}", IEC, 230 / 80 * 2 / 3, "the mcb in load", 0.4),
        # a device of which the curve is not written says nothing; the fuse of the service is left: gG 63 A within 0.4 s takes
        # 550 A at most by the gates of IEC 60269-1 (I at 0.1 s), and 320 A within 5 s
        ("{kind: mcb, rating: 16 A}", NEC, 230 / 320, "the fuse in service", 5.0),
    ],
)
def test_the_largest_loop_by_the_device_that_opens(
    devices: str, params: object, ohm: float, by: str, within_s: float
) -> None:
    limit = limit_of(shop(devices), params=params)
    assert limit is not None and limit.most_ohm is not None
    assert limit.most_ohm == pytest.approx(ohm, rel=2e-3)
    assert (limit.by, limit.within_s) == (by, within_s)


def test_a_residual_current_device_that_opens_in_time_leaves_a_loop_any_value() -> None:
    # 30 mA within 40 ms of a current of hundreds of ampere (IEC 61008-1 table 1)
    limit = limit_of(shop(f"{{id: r, kind: rcd, residual: 30 mA}}, {B16}"))
    assert limit == LoopLimit(None, "r opens in time by its residual current")
    limit = limit_of(shop("{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA}"))
    assert limit == LoopLimit(None, "the rcbo in load opens in time by its residual current")


def test_a_place_without_a_device_in_time_has_no_limit() -> None:
    text = shop("{kind: isolator}").replace(", through: [{kind: fuse, class: gG, rating: 63 A}]", "")
    assert limit_of(text) is None


@pytest.mark.parametrize(
    ("old", "new"),
    [
        # judged by other rules: a neutral that floats, a frame without PE, a system without an earth
        (
            "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S",
            "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: IT",
        ),
        ("load: {from: main, cores: L1 N PE", "load: {from: main, cores: L1 N"),
        # nothing is asked for up to 50 V (IEC 60364-4-41, table 41.1)
        ("voltage: 230 V", "voltage: 50 V"),
        # what the supply gives is not written
        (", loop-impedance: 0.4 ohm, fault-current: 2 kA", ""),
    ],
)
def test_where_no_overcurrent_device_has_to_open_nothing_is_asked_of_a_loop(old: str, new: str) -> None:
    text = edited(shop(B16), (old, new))
    if "IT" in new:
        text += "electrodes: {rod: {at: main, resistance: 20 ohm}}\n"
        text = edited(text, ("cores: L1 N PE, size: 16", "cores: L1 N, size: 16"))
    assert limit_of(text) is None
    # one of them takes nothing from another fault at the place that is judged
    faults = [*faults_at(text, "load"), *faults_at(shop(B16), "load")]
    limit = LoopAt(faults, None).limit(IEC)
    assert limit is not None and limit.most_ohm == pytest.approx(230 / 80 * 2 / 3, rel=1e-3)


def test_of_several_faults_at_a_place_the_one_with_the_least_loop_counts() -> None:
    # C16 needs 160 A where B16 needs 80 A; one that an RCD clears asks nothing
    b, c = faults_at(shop(B16), "load"), faults_at(shop("{kind: mcb, curve: C, rating: 16 A}"), "load")
    rcd = faults_at(shop("{id: r, kind: rcd, residual: 30 mA}"), "load")
    for faults in ([*b, *c, *rcd], [*rcd, *c, *b], [*c, *rcd, *b]):
        limit = LoopAt(faults, None).limit(IEC)
        assert limit is not None and limit.most_ohm == pytest.approx(230 / 160 * 2 / 3, rel=1e-3)
    assert LoopAt([*rcd, *rcd], None).limit(IEC) == LoopLimit(None, "r opens in time by its residual current")
    assert LoopAt([], None).limit(IEC) is None


def test_a_loop_without_impedance_at_a_stiff_source_still_has_its_limit() -> None:
    """The terminals of a supply whose loop is declared as next to nothing: what opens there opens by its own current."""
    limit = limit_of(edited(shop(B16), ("loop-impedance: 0.4 ohm", "loop-impedance: 1 mohm")))
    assert limit is not None and limit.most_ohm == pytest.approx(230 / 80 * 2 / 3, rel=2e-3)


WARM_OHM = 0.2 * 2 * (20 * 7.41e-3 + 5 * 1.15e-3)
"""What 20 m of 2.5 mm2 and 5 m of 16 mm2 have more at 70 C than at 20 C, there and back (IEC 60228: 7.41 and 1.15 mohm/m)."""


def test_what_conductors_have_more_when_they_are_warm_is_taken_off_where_that_leaves_more() -> None:
    faults = faults_at(shop(B16), "load")
    cold_ohm = 0.4 + 2 * (20 * 7.41e-3 + 5 * 1.15e-3)
    for params, part, design in ((IEC, 2 / 3, 230 / 80), (NEC, 1.0, 230 / 80)):
        limit = LoopAt(faults, cold_ohm).limit(params)
        assert limit is not None and limit.most_ohm is not None
        assert limit.design_ohm == pytest.approx(design, rel=1e-3)
        if part < 1:  # 2.875 ohm less 61.5 mohm are more than two thirds of it
            assert limit.most_ohm == pytest.approx(design - WARM_OHM, rel=1e-3)
            assert (limit.part, limit.warm_ohm) == (1.0, pytest.approx(WARM_OHM, rel=0.02))
        else:  # the NEC asks for no margin
            assert limit.most_ohm == pytest.approx(design, rel=1e-3) and limit.warm_ohm == 0.0
    # a circuit that is found colder than it is worked out to be has nothing to take off
    limit = LoopAt(faults, 5.0).limit(IEC)
    assert limit is not None and limit.most_ohm == pytest.approx(230 / 80, rel=1e-3) and limit.warm_ohm == 0.0


TWO_KINDS = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards:
  main: {}
  sub: {}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 5 m}
  two: {from: main, to: sub, cores: L1 L2 N PE, size: 4 mm2, length: 10 m, through: [{id: small, kind: mcb, curve: B, rating: 16 A}]}
  third: {from: main, to: sub, cores: L3, size: 4 mm2, length: 10 m, through: [{id: large, kind: mcb, curve: C, rating: 16 A}]}
"""


@pytest.mark.parametrize(("line", "ampere", "by"), [("L1", 80, "small"), ("L2", 80, "small"), ("L3", 160, "large")])
def test_a_loop_is_judged_by_the_devices_of_its_own_line(line: str, ampere: float, by: str) -> None:
    # two lines that are wired alike are one fault, and neither is judged by the device of the third
    faults = by_place(facts_of(TWO_KINDS).earth_faults)
    plant = Plant(site_of(TWO_KINDS))
    assert plant.usual is not None
    limit = loop_at(faults, "sub", line, plant.told(plant.usual), None).limit(IEC)
    assert limit is not None and limit.most_ohm == pytest.approx(230 / ampere * 2 / 3, rel=1e-3)
    assert limit.by == by


def test_a_loop_is_judged_by_the_devices_of_the_state_that_it_was_read_in() -> None:
    text = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.3 ohm, fault-current: 2 kA}
  other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.3 ohm, fault-current: 2 kA}
boards:
  main: {}
changeovers:
  ts: {positions: [first, second], poles: L1 N}
connections:
  a: {from: grid, to: ts.first, cores: L1 N PE, size: 16 mm2, length: 2 m, through: [{kind: mcb, curve: C, rating: 16 A}]}
  b: {from: other, to: ts.second, cores: L1 N PE, size: 16 mm2, length: 2 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
  c: {from: ts, to: main, cores: L1 N PE, size: 16 mm2, length: 2 m}
"""
    faults, plant = by_place(facts_of(text).earth_faults), Plant(site_of(text))
    for position, by, ampere in (("first", "the mcb in a", 160), ("second", "the mcb in b", 80)):
        state = plant.complete({"ts": position})
        assert not isinstance(state, str)
        limit = loop_at(faults, "main", "L1", plant.told(state), None).limit(IEC)
        assert limit is not None and limit.by == by
        assert limit.most_ohm == pytest.approx(230 / ampere * 2 / 3, rel=1e-3)


def test_no_limit_is_told_of_a_device_from_which_what_follows_takes_all_of_its_current() -> None:
    # 5 ohm let the supply give 46 A at most; 10 kVA of solar power may give twice 43.5 A beside it (FORMAT.md, currents)
    text = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 5 ohm, fault-current: 2 kA}
  pv: {kind: inverter, phases: L1, voltage: 230 V, rating: 10 kVA, operation: grid-following}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
  pv-feed: {from: pv, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m}
"""
    faults = [fault for fault in faults_at(text, "main") if len(fault.island.feeds) == 2]
    assert [one.current_a for fault in faults for fed in fault.feds for one in fed.passed] == [0.0]
    assert LoopAt(faults, None).limit(IEC) is None


PAIR = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA, may-parallel: [other]}
  other: {KIND, phases: L1, voltage: 230 V, may-parallel: [grid]}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: mcb, curve: C, rating: 16 A}]}
  beside: {from: other, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [DEVICE]}
"""


@pytest.mark.parametrize(
    ("kind", "device", "ampere"),
    [
        # two equal supplies give half each: C16 opens at 160 A of 320 A, and the other way is cut off by its RCD
        (
            "kind: utility, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA",
            "{id: r, kind: rcd, residual: 30 mA}",
            320,
        ),
        # or by the larger of the two breakers: C20 needs 200 A of 400 A
        (
            "kind: utility, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA",
            "{kind: mcb, curve: C, rating: 20 A}",
            400,
        ),
        # a source that limits its current to 21.7 A is no matter of a loop; the supply gives the rest
        (
            "kind: inverter, rating: 5 kVA, fault-current: {limit: 1 x rated, for: 5 s}",
            "{kind: mcb, curve: C, rating: 63 A}",
            None,
        ),
    ],
)
def test_each_of_several_sources_has_to_be_cut_off_by_a_device_of_its_own(
    kind: str, device: str, ampere: float | None
) -> None:
    text = edited(PAIR, ("KIND", kind), ("DEVICE", device))
    faults = [one for one in faults_at(text, "main") if len(one.island.feeds) == 2]
    limit = LoopAt(faults, None).limit(IEC)
    assert limit is not None and limit.most_ohm is not None
    if ampere:
        assert limit.most_ohm == pytest.approx(230 / ampere * 2 / 3, rel=2e-3)
    assert limit.by == ("the mcb in beside" if ampere == 400 else "the mcb in service")


def test_a_source_that_limits_its_current_beside_one_that_an_rcd_cuts_off() -> None:
    # the supply is cut off by what its RCD senses, and of what is left a loop does not tell what opens
    text = edited(
        PAIR,
        ("{kind: mcb, curve: C, rating: 16 A}", "{id: r, kind: rcd, residual: 30 mA}"),
        ("KIND", "kind: inverter, rating: 5 kVA, fault-current: {limit: 1 x rated, for: 5 s}"),
        ("DEVICE", "{kind: mcb, curve: B, rating: 16 A}"),
    )
    faults = [one for one in faults_at(text, "main") if len(one.island.feeds) == 2]
    limit = LoopAt(faults, None).limit(IEC)
    assert limit is not None and limit.most_ohm is None and "other limits its current" in limit.by


BEHIND_TRANSFORMER = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
  tr: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, primary-voltage: 230 V, rating: 5 kVA, impedance: 4 %}
boards:
  intake: {}
  main: {}
connections:
  service: {from: grid, to: intake, cores: L1 N PE, size: 16 mm2, length: 0 m}
  ahead: {from: intake, to: tr.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
  after: {from: tr.out, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [DEVICES]}
bonds: {link: {at: main}}
"""


@pytest.mark.parametrize(
    ("devices", "by", "ampere"),
    [
        # one current on both sides of it, by the equal voltages: B16 ahead before C32 behind
        ("{kind: mcb, curve: C, rating: 32 A}", "the mcb in ahead", 80),
        ("{kind: mcb, curve: B, rating: 10 A}", "the mcb in after", 50),
        # the link lies behind the RCD: what the line brings the neutral takes back, and it sees nothing
        ("{id: r, kind: rcd, residual: 30 mA}", "the mcb in ahead", 80),
        ("{kind: rcbo, curve: B, rating: 10 A, residual: 30 mA}", "the rcbo in after", 50),
    ],
)
def test_a_loop_behind_an_isolating_transformer(devices: str, by: str, ampere: float) -> None:
    limit = limit_of(edited(BEHIND_TRANSFORMER, ("DEVICES", devices)), "main")
    assert limit is not None and limit.most_ohm == pytest.approx(230 / ampere * 2 / 3, rel=2e-3)
    assert limit.by == by


# bars without impedance: how what returns over the neutrals divides between them rests on their contacts
CONTACTS = """\
onebond: 1
site: {name: Shop, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards:
  main: {}
  inner: {inside: main}
connections:
  service: {from: grid, to: main, cores: L1 PEN, size: 16 mm2, length: 5 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
  bar: {from: main, to: inner, cores: L1 N, through: [{id: r, kind: rcd, residual: 30 mA}]}
  beside: {from: main, to: inner, cores: N}
circuits:
  load: {from: inner, cores: L1 N PE, size: 2.5 mm2, length: 20 m}
bonds: {link: {at: inner}}
"""


def test_an_rcd_of_which_nobody_knows_what_it_sees_is_not_counted_on() -> None:
    assert [one.residual_a for fault in faults_at(CONTACTS, "load") for fed in fault.feds for one in fed.passed] == [
        None,
        None,
    ]
    limit = limit_of(CONTACTS)
    assert limit is not None and limit.most_ohm == pytest.approx(230 / 80 * 2 / 3, rel=2e-3)
    seen = [one for one in facts_of(CONTACTS).rcds_on_ways if one.id == "r"]
    assert seen
    for one in seen:
        with pytest.raises(Unknown, match="what r sees depends on the resistance of contacts"):
            _ = one.seen_a


PLACES = (
    HEAD
    + """\
sources:
  SOURCE, phases: L1, voltage: 230 V}
boards: {main: {place: medical}, sub: {}}
connections:
  service: {from: supply, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 5 m, through: [{kind: rcd, residual: 300 mA}]}
circuits:
  one: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 5 m, through: [{id: r1, kind: rcd, residual: 30 mA}]}
  two: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 5 m, through: [{id: r2, kind: rcd, residual: 30 mA}]}
  three: {from: sub, place: outdoor, cores: L1 N PE, size: 2.5 mm2, length: 5 m, through: [{id: r3, kind: rcd, residual: 30 mA}]}
"""
)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        (
            "supply: {kind: utility, earthing: TN-S, loop-impedance: 0.4 ohm",
            # a circuit stands where its board does, if nothing else is written (FORMAT.md); nothing is guessed beyond that
            {("r1", "medical", "one"), ("on", "outdoor", "three"), ("r3", "outdoor", "three")},
        ),
        # where the neutral floats nothing is asked of devices: that is judged first
        ("supply: {kind: generator, rating: 5 kVA, subtransient-reactance: 12 %, neutral-bond: none", set()),
    ],
)
def test_rcds_of_circuits_in_places_of_a_kind(source: str, found: set[tuple[str, str, str]]) -> None:
    types = facts_of(edited(PLACES, ("SOURCE", source))).rcd_types
    assert {(one.id, one.place, one.circuit) for one in types if isinstance(one, RcdForPlace)} == found


WASH = """\
onebond: 1
site: {name: Wash-house, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.35 ohm, fault-current: 1.6 kA}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 10 m}
  bond: {from: boiler, to: pipe, cores: PE, size: 4 mm2, length: BOND m}
circuits:
  boiler: {from: main, cores: L1 N PE, size: 6 mm2, length: LENGTH m, serves: fixed, PLACEthrough: [{kind: mcb, curve: B, rating: 32 A}]}
extraneous:
  pipe: {kind: water-pipe, near: [boiler]}
"""


@pytest.mark.parametrize(
    ("length", "bond", "place", "params", "bonded"),
    [
        # 3.08 mohm/m of 6 mm2, 20 % more when warm: 165 m there and back are 1.22 ohm beside 0.35 ohm, and 160 A need 1.44 ohm
        # 4 mm2 has 4.61 mohm/m, warm 5.53: 40 m of it have 35 V at 160 A, below 50 V and above the 25 V of a medical place
        (165, 40, "", IEC, True),
        (165, 40, "place: medical, ", IEC, False),
        (165, 10, "place: medical, ", IEC, True),
        (165, 70, "", IEC, False),
        # where the breaker opens in time nothing rests on the bond, which has 26 V at 230 V / 0.48 ohm
        (20, 10, "", IEC, False),
        # the NEC knows no such exception
        (165, 40, "", NEC, False),
    ],
)
def test_bonding_to_metal_near_a_frame_serves_where_nothing_opens_in_time(
    length: int, bond: int, place: str, params: object, bonded: bool
) -> None:
    text = edited(WASH, ("LENGTH", str(length)), ("BOND", str(bond)), ("PLACE", place))
    limit = limit_of(text, "boiler", params)
    assert limit is not None
    assert (limit.most_ohm is None, "bonded" in limit.by) == (bonded, bonded)
    if not bonded and params is IEC:
        assert limit.most_ohm == pytest.approx(230 / 160 * 2 / 3, rel=1e-3)


# -- what may be read of an electrode -----------------------------------------------------------------------------------

RODS = """\
onebond: 1
site: {name: Moor house, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 2 ohm, fault-current: 1 kA}
boards:
  main: {}
  far: {}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 10 mm2, length: 20 m, through: [{kind: rcd, rating: 40 A, residual: 300 mA}]}
  on: {from: main, to: far, cores: L1 N PEON, size: 6 mm2, length: 20 m, through: [{id: fine, kind: rcd, residual: 100 mA}]}
electrodes:
  rod-1: {at: main, resistance: 100 ohm}
  rod-2: {at: main, RESISTANCE}
  rod-3: {at: far, resistance: 400 ohm}
"""


def rods(on: str = "", second: str = "resistance: 375 ohm") -> str:
    return RODS.replace("PEON", "PE" if on else "XX").replace(" XX", "").replace("RESISTANCE", second)


def electrode_limit(text: str, name: str = "rod-1", params: object = IEC, **read: float) -> ElectrodeLimit | None:
    site = site_of(text)
    named = {one.replace("_", "-"): ohm for one, ohm in read.items()}
    return ElectrodeAt(name, site, Facts(site, "iec").earth_faults, named).limit(params)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("read", "most", "beside"),
    [
        # 50 V / 0.3 A are 166.7 ohm for all together (IEC 60364-4-41, 411.5.3): 1 / (0.006 - 1 / 375) = 300 ohm
        ({}, 300.0, ("rod-2",)),
        ({"rod_2": 500.0}, 250.0, ("rod-2",)),
        # exactly enough without it, and more than enough
        ({"rod_2": 50 / 0.3}, math.inf, ("rod-2",)),
        ({"rod_2": 100.0}, math.inf, ("rod-2",)),
        # one that is open, or that was read as nothing, carries no part of the current that anybody may count on
        ({"rod_2": math.inf}, 50 / 0.3, ()),
        ({"rod_2": 0.0}, 50 / 0.3, ()),
    ],
)
def test_electrodes_that_are_joined_share_the_current(
    read: dict[str, float], most: float, beside: tuple[str, ...]
) -> None:
    limit = electrode_limit(rods(), **read)
    assert limit is not None and limit.most_ohm == pytest.approx(most, rel=1e-6) and limit.beside == beside
    assert (limit.by, limit.at, limit.residual_a) == ("the rcd in service", "main", 0.3)


def test_an_electrode_of_which_nothing_is_written_is_not_counted_on() -> None:
    limit = electrode_limit(rods(second="shape: rod"))
    assert limit is not None and limit.most_ohm == pytest.approx(50 / 0.3) and limit.beside == ()


def test_an_electrode_has_the_limit_of_the_frames_that_rest_on_it() -> None:
    # apart, the far board rests on its own rod and its 100 mA; joined, the 300 mA of the main board ask for the least
    far = electrode_limit(rods(), "rod-3")
    assert far is not None and (far.by, far.at, far.beside) == ("fine", "far", ())
    assert far.most_ohm == pytest.approx(50 / 0.1)
    joined = electrode_limit(rods(on="joined"), "rod-3")
    assert joined is not None and (joined.by, joined.at, joined.beside) == (
        "the rcd in service",
        "main",
        ("rod-1", "rod-2"),
    )
    # 0.006 less 1 / 100 and 1 / 375: the others are enough
    assert joined.most_ohm == math.inf


def test_the_device_of_the_least_residual_current_guards_a_frame() -> None:
    # behind 300 mA and 100 mA in a row it is the 100 mA that opens at the lesser current
    limit = electrode_limit(rods(), "rod-3")
    assert limit is not None and (limit.residual_a, limit.all_ohm) == (0.1, pytest.approx(500))


def test_in_a_medical_place_half_the_voltage_is_left_and_in_tn_no_electrode_has_such_a_limit() -> None:
    text = edited(rods(), ("main: {}", "main: {place: medical}"))
    for params, volts in ((IEC, 25.0), (NEC, 50.0)):
        limit = electrode_limit(text, params=params, rod_2=math.inf)
        assert limit is not None and (limit.limit_v, limit.most_ohm) == (volts, pytest.approx(volts / 0.3))
    tn = edited(rods(), ("earthing: TT", "earthing: TN-S"), ("to: main, cores: L1 N,", "to: main, cores: L1 N PE,"))
    assert electrode_limit(tn) is None
    # without a device that senses, overcurrent devices have to open: their loop is judged
    bare = edited(rods(), ("{kind: rcd, rating: 40 A, residual: 300 mA}", "{kind: mcb, curve: B, rating: 16 A}"))
    assert electrode_limit(bare) is None


def test_a_reading_of_one_electrode_counts_for_the_limit_of_another() -> None:
    found = places_of(
        rods(),
        "electrode: rod-1, resistance: 100 ohm",
        "electrode: rod-2, resistance: 250 ohm",
        "at: main, loop: 500 ohm",
    )
    (one,) = found["rod-1"].compared
    # 1 / (0.006 - 1 / 250) = 500 ohm
    limit = one.electrode.limit(IEC) if one.electrode is not None else None
    assert limit is not None and limit.most_ohm == pytest.approx(500)
    assert found["main"].compared[0].electrode is None and one.loop is None


@pytest.mark.parametrize(
    ("times", "milliampere", "delay", "params", "allowed"),
    [
        # IEC 61008-1 table 1: 300 ms and 40 ms; type S from 130 to 500 ms and from 50 to 150 ms
        ("1 x", 30, None, IEC, (0.0, 0.3)),
        ("5 x", 30, "general", IEC, (0.0, 0.04)),
        ("1 x", 300, "S", IEC, (0.13, 0.5)),
        ("5 x", 300, "S", IEC, (0.05, 0.15)),
        ("0.5 x", 30, None, IEC, None),
        # NEC: class A up to 6 mA has times, the parameter says up to 6.5 mA, and what protects equipment has none
        ("1 x", 6, None, NEC, (0.0, 5.6)),
        ("1 x", 6.5, None, NEC, (0.0, 5.6)),
        ("1 x", 6.6, None, NEC, (0.0, math.inf)),
        ("5 x", 30, None, NEC, (0.0, math.inf)),
    ],
)
def test_times_of_residual_current_devices(
    times: str, milliampere: float, delay: str | None, params: object, allowed: tuple[float, float] | None
) -> None:
    device = Device(
        "rcd", "x", 0, ("L1", "N"), ("L1", "N"), False, False, (), residual_a=milliampere / 1000, delay=delay
    )
    assert trip_times(times, device, params) == allowed  # type: ignore[arg-type]
    plain = device._replace(residual_a=None)
    assert (trip_times(times, plain, params) is None) == (allowed is None)  # type: ignore[arg-type]


# -- the mains input of an inverter behind a residual current device ----------------------------------------------------

INPUT = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: EARTHING}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: OWN, neutral-through: THROUGH}
boards: {main: {}, group: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 CORES}
  to-group: {from: main, to: group, cores: L1 N PE, through: [{id: r, kind: rcd, residual: AMPERE}]}
  input: {from: group, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
"""
)


def behind(text: str) -> list[tuple[str, str, str]]:
    return [(one.id, one.rcd, one.trouble) for one in facts_of(text).inputs_behind_rcd]


def input_of(
    *, earthing: str = "TN-S", own: str = "none", through: str = "solid", ampere: str = "30 mA", more: str = ""
) -> str:
    text = edited(INPUT, ("EARTHING", earthing), ("OWN", own), ("THROUGH", through), ("AMPERE", ampere))
    return text.replace("CORES", "PEN" if earthing == "TN-C-S" else "N PE") + more


LINK = "bonds: {link: {at: main}}\n"


@pytest.mark.parametrize(
    ("text", "trouble"),
    [
        # with a solid neutral the island of the inverter rests on what lies beyond the device
        (input_of(), "supplier"),
        (input_of(more=LINK), "reference"),
        (input_of(earthing="TN-C-S", more=LINK), "reference"),
        (input_of(ampere="300 mA"), "supplier"),
        # a reference of its own, or one between the device and the inverter, is there when the device has opened
        (input_of(own="while-inverting"), ""),
        (input_of(more="bonds: {link: {at: out}}\n"), ""),
        (input_of(more="bonds: {link: {at: group}}\n"), ""),
        (input_of(own="while-inverting", more=LINK), ""),
        # parted from its input the inverter rests on nothing there
        (input_of(own="while-inverting", through="switched"), ""),
        (input_of(through="switched", more=LINK), ""),
    ],
)
def test_where_the_neutral_of_an_inverter_is_tied_beside_the_device_before_its_input(text: str, trouble: str) -> None:
    assert behind(text) == [("hybrid", "r", trouble)]


def test_a_lost_reference_is_told_before_a_neutral_that_returns_round_the_device() -> None:
    # the bypass leads the neutral of the loads round the device too, but first the island must keep its reference
    text = edited(
        input_of(earthing="TN-C-S", more=LINK),
        ("connections:", "changeovers: {by: {positions: [own, mains], poles: L1}}\nconnections:"),
        (
            "  output: {from: hybrid.out, to: out, cores: L1 N PE}",
            "  output: {from: hybrid.out, to: by.own, cores: L1 N PE}\n"
            "  round: {from: main, to: by.mains, cores: L1 N PE}\n"
            "  feed: {from: by, to: out, cores: L1 N PE}",
        ),
    )
    # with the neutral of the bypass solid the link is reached round the device as well: nothing is lost, and the neutral returns
    assert behind(text) == [("hybrid", "r", "return")]
    assert behind(edited(text, ("poles: L1}", "poles: L1 N}"))) == [("hybrid", "r", "reference")]


def test_where_a_switched_neutral_leads_round_the_device_both_may_be_and_the_reference_is_told() -> None:
    # closed, the neutral of the loads returns round the device; open, the island rests on the link beyond it
    text = input_of(earthing="TN-C-S", more=LINK).replace(
        "circuits:",
        "  round: {from: main, to: out, cores: N, through: [{id: m, kind: switch, poles: N, operable: yes}]}\ncircuits:",
    )
    assert behind(text) == [("hybrid", "r", "reference")]
    assert behind(text + "interlocks: [{never: {m: open}}]\n") == [("hybrid", "r", "return")]


def test_a_star_point_that_is_reached_round_the_device_is_not_lost_with_it() -> None:
    # the inverter never passes here, so no load returns its neutral round the device either
    text = input_of(more="interlocks: [{never: {hybrid: passing}}]\n").replace(
        "circuits:", "  round: {from: main, to: out, cores: N}\ncircuits:"
    )
    assert behind(text) == [("hybrid", "r", "")]


@pytest.mark.parametrize("when_off", ["", ", when-off: through"])
@pytest.mark.parametrize("through", ["switched", "solid"])
def test_a_device_for_the_inverter_alone_belongs_to_no_final_board(through: str, when_off: str) -> None:
    # what hangs on the inverter is no circuit of the board that the device stands in, whether it inverts, passes or is off
    text = edited(
        input_of(own="while-inverting", through=through), (f"through: {through}", f"through: {through}{when_off}")
    )
    assert behind(text) == [("hybrid", "r", "")]
    beside = edited(text, ("  two:", "  three: {from: group, cores: L1 N PE}\n  two:"))
    assert behind(beside) == [("hybrid", "r", "final")]
    assert behind(edited(beside, ("residual: 30 mA", "residual: 300 mA"))) == [("hybrid", "r", "")]
    # a board beyond the device is no circuit: nothing hangs on it
    assert behind(
        edited(
            text,
            ("out: {}}", "out: {}, hut: {}}"),
            ("circuits:", "  to-hut: {from: group, to: hut, cores: L1 N PE}\ncircuits:"),
        )
    ) == [("hybrid", "r", "")]


def test_only_a_device_before_the_input_is_looked_at() -> None:
    # a device at another board with a set behind it, and one between the inverter and its loads
    text = edited(
        input_of(own="while-inverting", through="switched"),
        ("sources:", "sources:\n  set: {kind: generator, phases: L1, neutral-bond: none}"),
        ("out: {}}", "out: {}, hut: {}, far: {}}"),
        (
            "circuits:",
            "  to-hut: {from: main, to: hut, cores: L1 N PE, through: [{id: r-hut, kind: rcd, residual: 30 mA}]}\n"
            "  set-feed: {from: set, to: hut, cores: L1 N PE}\n"
            "  to-far: {from: out, to: far, cores: L1 N PE, through: [{id: r-far, kind: rcd, residual: 30 mA, operable: yes}]}\n"
            "bonds: {far-link: {at: far, closed: {grid: absent}}}\n"
            "circuits:",
        ),
    )
    assert [name for _, name, _ in behind(text)] == ["r", "r-hut"]  # from the set the way leads through both


def test_an_inverter_that_nothing_else_feeds_has_no_device_before_its_input() -> None:
    # its own output led back to its input is judged by another rule
    text = (
        HEAD
        + """\
sources:
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: while-inverting}
boards: {out: {}, back: {}}
connections:
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  back: {from: out, to: back, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  input: {from: back, to: hybrid.in, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
""".replace("back: {}}", "rear: {}}")
        .replace("to: back", "to: rear")
        .replace("from: back", "from: rear")
    )
    assert behind(text) == []


SET_ROUND = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: while-inverting, neutral-through: switched}
  set: {kind: generator, phases: L1, neutral-bond: none}
  pv: {kind: inverter, phases: L1, operation: grid-following}
boards: {main: {}, group: {}, out: {}, hut: {}}
changeovers:
  pick: {positions: [own, set], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-group: {from: main, to: group, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  input: {from: group, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: pick.own, cores: L1 N PE}
  set-feed: {from: set, to: pick.set, cores: L1 N PE}
  feed: {from: pick, to: out, cores: L1 N PE}
  PV
circuits:
  one: {from: out, cores: L1 N PE}
bonds: {link: {at: out, closed: {grid: [absent, detached]}}}
"""
)


@pytest.mark.parametrize(
    "pv",
    [
        "pv-feed: {from: pv, to: out, cores: L1 N PE}",
        "pv-feed: {from: pv, to: main, cores: L1 N PE}",
        # at the board of the supply in one position, and at that of the set in the other
        "pv-feed: {from: pv, to: shift, cores: L1 N PE}\n"
        "  shift-main: {from: shift.m, to: main, cores: L1 N PE}\n"
        "  shift-out: {from: shift.o, to: out, cores: L1 N PE}",
    ],
)
def test_loads_that_another_source_feeds_are_not_fed_round_the_device(pv: str) -> None:
    # the set is not what the device stands before, and what follows either of them feeds nothing by itself
    text = edited(SET_ROUND, ("PV", pv))
    if "shift" in pv:
        text = edited(text, ("connections:", "  shift: {positions: [m, o], poles: L1 N}\nconnections:"))
    assert behind(text) == [("hybrid", "r", "")]


# -- where sources come in ----------------------------------------------------------------------------------------------

ENTRY = (
    HEAD
    + """\
sources:
  first: {kind: generator, phases: L1, neutral-bond: none, may-parallel: [second]}
  second: {kind: generator, phases: L1, neutral-bond: none, may-parallel: [first]}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  grid: {kind: utility, phases: L1, earthing: IT}
boards: {main: {}, out: {}, apart: {}, other: {}}
connections:
  on: {from: main, to: out, cores: L1 N PEON}
  first-feed: {from: first, to: FIRST, cores: L1 N PE}
  second-feed: {from: second, to: SECOND, cores: L1 N PE}
  hybrid-feed: {from: HYBRID, to: IN, cores: L1 N PE}
  MORE
  service: {from: grid, to: other, cores: L1 N}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
  three: {from: other, cores: L1 N}
bonds: {link: {at: main}}
"""
)
R30 = ", through: [{id: r, kind: rcd, residual: 30 mA}]"


def entries(
    *,
    on: str = "",
    first: str = "out",
    second: str = "main",
    hybrid: tuple[str, str] = ("hybrid.out", "apart"),
    more: str = "to-spare: {from: main, to: spare, cores: PE}",
) -> dict[str, tuple[str, str, str]]:
    """How each source comes in: by a circuit or an RCD, which, and what else feeds it there."""
    text = edited(
        ENTRY,
        ("PEON", f"PE{on}"),
        ("FIRST", first),
        ("SECOND", second),
        ("HYBRID", hybrid[0]),
        ("IN,", f"{hybrid[1]},"),
        ("MORE", more),
    )
    text = text.replace("apart: {}, ", "apart: {}, spare: {}, ")
    return {one.id: (one.by, one.through, one.other) for one in facts_of(text).infeeds}


NONE = ("", "", "")


def test_a_supply_is_no_infeed() -> None:
    assert set(entries()) == {"first", "second", "hybrid"}


@pytest.mark.parametrize(
    ("second", "hybrid", "found"),
    [
        # a source at the end of a final circuit meets what feeds that circuit
        ("main", ("hybrid.out", "one"), {"hybrid": ("circuit", "one", "first")}),
        # what a circuit feeds by a mains input comes in nowhere
        ("main", ("hybrid.in", "one"), {}),
        # the end of a circuit that nothing else can feed
        ("apart", ("hybrid.out", "apart"), {}),
    ],
)
def test_a_source_at_the_end_of_a_final_circuit(
    second: str, hybrid: tuple[str, str], found: dict[str, tuple[str, str, str]]
) -> None:
    assert {name: how for name, how in entries(second=second, hybrid=hybrid).items() if how != NONE} == found


def test_a_source_alone_at_the_end_of_a_circuit_feeds_its_board() -> None:
    found = entries(first="one", second="apart", hybrid=("hybrid.out", "other"))
    assert found["first"] == NONE
    assert entries(first="one")["first"] == ("circuit", "one", "second")


@pytest.mark.parametrize(
    ("on", "first", "second", "more", "found"),
    [
        (R30, "out", "main", "", ("rcd", "r", "second")),
        # without a device, or with another cable beside it, nothing is parted
        ("", "out", "main", "", NONE),
        (R30, "out", "main", "round: {from: main, to: out, cores: L1 N PE}", NONE),
        # both on the supply side of it
        (R30, "main", "main", "", NONE),
        # the other source reaches the other side over its neutral alone
        (R30, "out", "apart", "across: {from: apart, to: main, cores: N PE}", NONE),
        (R30, "out", "apart", "across: {from: apart, to: main, cores: L1 N PE}", ("rcd", "r", "second")),
    ],
)
def test_a_source_on_the_load_side_of_a_device(
    on: str, first: str, second: str, more: str, found: tuple[str, str, str]
) -> None:
    more = more or "to-spare: {from: main, to: spare, cores: PE}"
    assert entries(on=on, first=first, second=second, hybrid=("hybrid.out", "other"), more=more)["first"] == found


def test_what_shares_the_neutral_alone_feeds_nothing_there() -> None:
    # the second one is written before the inverter, but only the inverter reaches the lines beyond the device
    across = "across: {from: apart, to: main, cores: N PE}"
    found = entries(on=R30, first="out", second="apart", hybrid=("hybrid.out", "main"), more=across)
    assert found["first"] == ("rcd", "r", "hybrid")


def test_sources_on_the_supply_side_of_a_device_do_not_come_in_behind_it() -> None:
    # one on its load side keeps it among the devices that are looked at: it alone comes in there
    found = entries(on=R30, first="main", second="main", hybrid=("hybrid.out", "out"))
    assert found == {"first": NONE, "second": NONE, "hybrid": ("rcd", "r", "first")}


def test_one_line_round_a_device_puts_nothing_on_its_load_side() -> None:
    text = (
        HEAD
        + """\
sources:
  first: {kind: generator, phases: L1 L2, neutral-bond: none, may-parallel: [second]}
  second: {kind: generator, phases: L1 L2, neutral-bond: none, may-parallel: [first]}
boards: {main: {}, out: {}}
connections:
  on: {from: main, to: out, cores: L1 L2 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  round: {from: main, to: out, cores: L1}
  first-feed: {from: first, to: main, cores: L1 L2 N PE}
  second-feed: {from: second, to: main, cores: L1 L2 N PE}
circuits:
  one: {from: out, cores: L1 L2 N PE}
  two: {from: main, cores: L1 L2 N PE}
bonds: {link: {at: main}}
"""
    )
    assert {(one.id, one.by) for one in facts_of(text).infeeds} == {("first", ""), ("second", "")}


def test_a_device_on_the_way_of_a_source_alone_guards_no_load_from_two_sides() -> None:
    # written from its supply side to its load side: behind it stands the source and nothing else
    more = "way: {from: main, to: apart, cores: L1 N PE, through: [{id: own, kind: rcd, residual: 30 mA}]}"
    assert entries(first="apart", hybrid=("hybrid.out", "other"), more=more)["first"] == NONE
    # with loads there it does
    more += "\n  lamp-feed: {from: apart, to: spare, cores: L1 N PE}"
    text = entries(first="apart", hybrid=("hybrid.out", "other"), more=more)
    assert text["first"] == NONE  # a board without circuits is no load


def test_the_device_of_a_whole_site_lies_before_all_its_boards() -> None:
    # the set comes in at the main board, behind the device in the service: beyond that there is no board, but the supply
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  pv: {kind: inverter, phases: L1, operation: grid-following}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 300 mA}]}
  pv-feed: {from: pv, to: main, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
"""
    )
    assert {(one.id, one.by) for one in facts_of(text).infeeds} == {("pv", "")}
    entry = edited(
        text,
        ("main: {}}", "main: {}, entry: {}}"),
        (
            "to: main, cores: L1 N PE, through",
            "to: entry, cores: L1 N PE}\n  on: {from: entry, to: main, cores: L1 N PE, through",
        ),
    )
    assert {(one.id, one.by, one.through, one.other) for one in facts_of(entry).infeeds} == {("pv", "rcd", "r", "grid")}


# -- two infeeds from one supply ----------------------------------------------------------------------------------------

LEVELS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  other: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}, out: {}, apart: {}}
changeovers:
  co: {positions: [a, b], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  other-service: {from: other, to: apart, cores: L1 N PE}
  on: {from: main, to: sub, cores: ON}
  to-a: {from: A, to: co.a, cores: L1 N PE}
  to-b: {from: B, to: co.b, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)
BONDED = "a bond between N and PE lies between them"


def between(text: str) -> dict[tuple[str, str, str], list[tuple[str, str]]]:
    """What lies on the way to one of two infeeds only, by place and infeeds."""
    return {
        (one.id, one.first, one.second): [(name, words) for name, _, words in one.between]
        for one in facts_of(text).levels
    }


@pytest.mark.parametrize(
    ("bonds", "names"),
    [
        ("bonds: {link: {at: sub}}\n", [("link", BONDED)]),
        # what lies on both ways is the same for both
        ("bonds: {link: {at: main}}\n", []),
        ("bonds: {link: {at: main}, second: {at: sub}}\n", [("second", BONDED)]),
        ("bonds: {link: {at: out}}\n", []),
        ("", []),
    ],
)
def test_bonds_on_the_ways_to_a_changeover(bonds: str, names: list[tuple[str, str]]) -> None:
    text = edited(LEVELS, ("ON}", "L1 N PE}"), ("A,", "sub,"), ("B,", "main,"))
    assert between(text + bonds) == {("co", "co.a", "co.b"): names}


def test_a_bond_behind_the_last_board_lies_on_its_way_too() -> None:
    # in the enclosure of another changeover, through which one of the two leads
    text = edited(
        LEVELS,
        ("ON}", "L1 N PE}"),
        ("A,", "pre,"),
        ("B,", "main,"),
        ("changeovers:", "changeovers:\n  pre: {positions: [x, y], poles: L1}"),
        ("  feed:", "  to-x: {from: main, to: pre.x, cores: L1 N PE}\n  feed:"),
    )
    assert between(text)["co", "co.a", "co.b"] == []
    assert between(text + "bonds: {link: {at: pre}}\n")["co", "co.a", "co.b"] == [("link", BONDED)]


def test_cores_that_are_crossed_are_no_bond_between_two_levels() -> None:
    # that N and PE of a cable are crossed is a finding of its own
    text = edited(LEVELS, ("ON}", "L1 N PE}"), ("A,", "sub,"), ("B,", "main,"), ("out: {}, ", "out: {}, hut: {}, "))
    crossed = "  stub: {from: sub, to: hut, cores: L1 N PE, lands-on: {N: PE, PE: N}}\n"
    text = edited(text, ("circuits:", f"{crossed}circuits:"))
    assert between(text) == {("co", "co.a", "co.b"): []}


def test_infeeds_of_two_supplies_are_not_compared() -> None:
    text = edited(LEVELS, ("ON}", "L1 N PE}"), ("A,", "main,"), ("B,", "apart,"))
    assert between(text + "bonds: {link: {at: main}}\n") == {}


def test_a_position_where_no_line_lands_is_no_infeed() -> None:
    text = edited(LEVELS, ("ON}", "L1 N PE}"), ("A,", "sub,"), ("  to-b: {from: B, to: co.b, cores: L1 N PE}\n", ""))
    assert between(text) == {}
    neutral = edited(
        LEVELS,
        ("ON}", "L1 N PE}"),
        ("A,", "sub,"),
        ("from: B, to: co.b, cores: L1 N PE", "from: main, to: co.b, cores: N PE"),
    )
    assert between(neutral) == {}


TWO_CABLES = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  left: {from: main, to: out, cores: LEFT}
  right: {from: RIGHT, to: out, cores: CORES}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("left", "right", "cores", "names"),
    [
        ("L1 N PE", "sub", "L1 N PE", ["r"]),
        ("L1 N PE", "main", "L1 N PE", []),
        # a line alone feeds; neutral and PE without a line do not
        ("L1", "sub", "L1", ["r"]),
        ("L1 N PE", "sub", "N PE", None),
    ],
)
def test_two_cables_to_a_board(left: str, right: str, cores: str, names: list[str] | None) -> None:
    found = between(edited(TWO_CABLES, ("LEFT", left), ("RIGHT", right), ("CORES", cores)))
    assert {key: [name for name, _ in marks] for key, marks in found.items()} == (
        {} if names is None else {("out", "main", right): names}
    )


def test_what_a_changeover_feeds_is_compared_at_its_inputs() -> None:
    text = edited(TWO_CABLES, ("LEFT", "L1 N PE"), ("RIGHT", "co"), ("CORES", "L1 N PE"))
    text = edited(
        text,
        ("connections:", "changeovers: {co: {positions: [x, y], poles: L1 N}}\nconnections:"),
        (
            "circuits:",
            "  to-x: {from: sub, to: co.x, cores: L1 N PE}\n  to-y: {from: main, to: co.y, cores: L1 N PE}\ncircuits:",
        ),
    )
    assert list(between(text)) == [("co", "co.x", "co.y")]


HYBRID_FIRST = (
    HEAD
    + """\
sources:
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, rear: {}, out: {}}
changeovers:
  co: {positions: [a, b], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PEIN}
  output: {from: hybrid.out, to: rear, cores: L1 N PEOUT}
  to-a: {from: rear, to: co.a, cores: L1 N PE}
  to-b: {from: main, to: co.b, cores: L1 N PEB}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("into", "out", "b", "names"),
    [
        ("", "", "", []),
        # a device before the input and one in the other way: each on its last piece, since the level is that of the input
        (R30, "", R30.replace("id: r", "id: rb"), []),
        (R30, "", "", ["r"]),
        # what lies behind the inverter is its own
        ("", R30, "", []),
    ],
)
def test_the_level_of_an_inverter_that_is_written_first(into: str, out: str, b: str, names: list[str]) -> None:
    text = edited(HYBRID_FIRST, ("PEIN", f"PE{into}"), ("PEOUT", f"PE{out}"), ("PEB", f"PE{b}"))
    follows = edited(text, ("mains-input: yes", "mains-input: yes, operation: grid-following"))
    for one in (text, text + "bonds: {link: {at: rear}}\n", follows):
        found = between(one)
        assert {key: [name for name, _ in marks] for key, marks in found.items()} == {("co", "co.a", "co.b"): names}


# -- what a drawing says ------------------------------------------------------------------------------------------------

EARTHED = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, OWN}
boards: {main: {}, sub: {}, far: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE}
  off: {from: sub, to: far, cores: L1 N PE}
circuits:
  one: {from: far, cores: L1 N PE}
"""
)
ROD = "electrodes: {rod: {at: main, resistance: 20 ohm}}\n"


@pytest.mark.parametrize(
    ("own", "more", "verdict"),
    [
        ("neutral-bond: none", "", "floating"),
        ("neutral-bond: none", "bonds: {link: {at: main, impedance: 1000 ohm}}\n", "tied through an impedance"),
        ("earthing: IT", "", "isolated from earth (IT)"),
        ("earthing: IT", "bonds: {link: {at: main, impedance: 1000 ohm}}\n", "isolated from earth (IT)"),
        ("earthing: IT", "bonds: {link: {at: main}}\n" + ROD, "earthed, though declared IT"),
        ("neutral-bond: fixed", "", "bonded once, no electrode"),
        ("neutral-bond: fixed", ROD, "earthed once"),
        (
            "neutral-bond: none",
            "bonds: {link: {at: main}, high: {at: far, impedance: 1000 ohm}}\n" + ROD,
            "earthed once",
        ),
        ("neutral-bond: fixed", "bonds: {link: {at: main}}\n" + ROD, "earthed twice"),
        ("neutral-bond: fixed", "bonds: {link: {at: main}, third: {at: far}}\n" + ROD, "earthed 3 times"),
    ],
)
def test_how_an_island_is_earthed_in_words(own: str, more: str, verdict: str) -> None:
    (kind,) = kinds_of_island(facts_of(edited(EARTHED, ("OWN", own)) + more))
    assert kind.verdict == verdict


def drawn(text: str) -> Drawing:
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    return drawing(facts_of(text), document)


def test_direct_current_inputs_are_drawn_at_the_inverter_that_has_them() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  first: {kind: inverter, phases: L1, operation: grid-following}
  second: {kind: inverter, phases: L1, operation: grid-following}
  third: {kind: inverter, phases: L1, operation: grid-following}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  one: {from: first, to: main, cores: L1 N PE}
  two: {from: second, to: main, cores: L1 N PE}
  three: {from: third, to: main, cores: L1 N PE}
  battery-cable: {from: battery, to: first.dc, cores: DC+ DC-}
  roof-cable: {from: first.pv2, to: roof, cores: DC+ DC-}
  barn-cable: {from: barn, to: second.pv, cores: DC+ DC-}
direct-current:
  battery: {kind: battery}
  roof: {kind: pv}
  barn: {kind: pv}
"""
    )
    found = {place.id: place.inputs for place in drawn(text).places if place.inputs}
    assert found == {"first": ("dc", "pv2"), "second": ("pv",)}


def test_switches_that_make_no_difference_are_drawn_as_interlocks_let_them_stand() -> None:
    # with c open b has to be closed, and beside b closed a has to be open; they belong to the other supply
    switch = "through: [{id: NAME, kind: isolator, operable: yes}]"
    text = (
        HEAD
        + f"""\
sources:
  other: {{kind: utility, phases: L1, earthing: TN-S}}
  grid: {{kind: utility, phases: L1, earthing: TN-S}}
boards: {{apart: {{}}, rear: {{}}, main: {{}}, sub: {{}}}}
connections:
  other-service: {{from: other, to: apart, cores: L1 N PE, {switch.replace("NAME", "a")}}}
  other-on: {{from: apart, to: rear, cores: L1 N PE, {switch.replace("NAME", "b")}}}
  service: {{from: grid, to: main, cores: L1 N PE}}
  on: {{from: main, to: sub, cores: L1 N PE, {switch.replace("NAME", "c")}}}
circuits:
  one: {{from: sub, cores: L1 N PE}}
  two: {{from: rear, cores: L1 N PE}}
interlocks: [{{never: {{a: closed, b: closed}}}}, {{never: {{b: open, c: open}}}}]
"""
    )
    states = [state for state in drawn(text).states if state.sources == ("grid",)]
    found = {tuple(value for name, value in state.values if name in ("a", "b", "c")) for state in states}
    # c closed: the first that is free stands closed
    assert found == {("closed", "open", "closed"), ("open", "closed", "open")}
    assert all({"a", "b"} <= set(state.free) for state in states)


def test_what_a_device_sees_of_a_fault_is_its_own() -> None:
    # a link at the far board lets part of the current come back over the neutral, through the device before that board
    text = edited(PLACES, ("SOURCE", "supply: {kind: utility, earthing: TN-S, loop-impedance: 0.4 ohm"))
    whole = {one.id: one for one in facts_of(text).rcds_on_ways if one.fault.id == "three"}
    part = {one.id: one for one in facts_of(text + LINK.replace("main", "sub")).rcds_on_ways if one.fault.id == "three"}
    assert set(whole) == set(part) == {"on", "r3"}
    for one in (*whole.values(), part["r3"]):
        assert one.seen_a == pytest.approx(one.fault.current_a(), rel=1e-6)
    # neutral and PE from main to sub are two equal ways back from the link, and beyond main both lead on to the supplier: by
    # symmetry each takes half
    assert part["on"].seen_a == pytest.approx(part["on"].fault.current_a() / 2, rel=1e-6)
    assert [one.sees_all for one in (whole["on"], part["on"], part["r3"])] == [True, False, True]


SOLAR_FIRST = (
    HEAD
    + """\
sources:
  pv: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, operation: grid-following}
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m}
  pv-feed: {from: pv, to: main, cores: L1 N PE, size: 6 mm2, length: 5 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 5 m, through: [{kind: rcd, residual: 300 mA}]}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 5 m, through: [{id: r, kind: rcd, residual: 30 mA}]}
"""
)


def test_devices_on_the_way_to_a_fault_the_nearest_first_and_the_source_that_forms_the_island() -> None:
    facts = facts_of(SOLAR_FIRST)
    found = {
        (one.fault.id, one.id, one.nearer_id, one.feed) for one in facts.rcds_on_ways if one.fault.id in ("one", "sub")
    }
    assert found == {("one", "r", "", "grid"), ("one", "on", "r", "grid"), ("sub", "on", "", "grid")}
    assert all((one.nearer is None) == (one.nearer_id == "") for one in facts.rcds_on_ways)


@pytest.mark.parametrize(
    ("phases", "voltage", "volts"),
    [("L1 L2 L3", "230/400 V", 230), ("L1 L2", "120/240 V", 120), ("L3 L2 L1", "230/400 V", 230)],
)
def test_what_a_meter_shows_at_an_inverter_of_several_lines_that_nothing_earths(
    phases: str, voltage: str, volts: float
) -> None:
    # an inverter has no impedance of its own: each line has its nominal voltage to neutral, at its terminals and in the cable,
    # and by equal capacitances to PE of all conductors the neutral stands where the sum of their voltages is: of lines that
    # balance each other at that of PE
    text = (
        HEAD
        + f"""\
sources:
  inv: {{kind: inverter, phases: {phases}, voltage: {voltage}, rating: 9 kVA, neutral-bond: none}}
boards: {{main: {{}}, sub: {{}}}}
connections:
  feed: {{from: inv, to: main, cores: {phases} N PE, size: 10 mm2, length: 0 m}}
  on: {{from: main, to: sub, cores: {phases} N PE, size: 10 mm2, length: 50 m}}
circuits:
  lamp: {{from: main, cores: {phases.split()[1]} N PE, size: 2.5 mm2, length: 0 m}}
"""
    )
    found = facts_of(text).floating
    assert {one.id for one in found} == {"main", "sub", "lamp"}
    for one in found:
        across, line, neutral = one.digital
        assert across == pytest.approx(volts, rel=1e-3)
        assert line is not None and line.low == pytest.approx(volts, rel=5e-3)
        assert neutral is not None and neutral.high < 1


@pytest.mark.parametrize("turned", [False, True])
def test_two_inverters_that_one_crossed_line_joins_keep_their_own_voltages(turned: bool) -> None:
    # no neutral leads from one to the other: whatever one line ties together, each has 230 V from its lines to its own neutral
    sources = [
        "a: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none, may-parallel: [b]}",
        "b: {kind: inverter, phases: L1 L2 L3, voltage: 230/400 V, rating: 9 kVA, neutral-bond: none, may-parallel: [a]}",
    ]
    text = (
        HEAD
        + f"""\
sources:
  {sources[turned]}
  {sources[not turned]}
boards: {{main: {{}}, sub: {{}}}}
connections:
  a-feed: {{from: a, to: main, cores: L1 N PE, size: 10 mm2, length: 0 m}}
  b-feed: {{from: b, to: sub, cores: L1 L2 L3 N PE, size: 10 mm2, length: 0 m}}
  across: {{from: main, to: sub, cores: L1, lands-on: {{L1: L2}}, size: 10 mm2, length: 0 m}}
  earth: {{from: main, to: sub, cores: PE, size: 10 mm2, length: 5 m}}
"""
    )
    both = {one.id: one.digital[0] for one in facts_of(text).floating if len(one.island.feeds) == 2}
    assert {"main", "sub"} <= set(both)
    assert list(both.values()) == [pytest.approx(230, rel=1e-3)] * len(both)


@pytest.mark.parametrize("solar", [True, False])
def test_inverters_on_the_protected_side_of_a_device(solar: bool) -> None:
    # seen from the supply both the inverter that follows at the far board and the input of the other one lie behind a device
    text = edited(
        input_of(own="while-inverting", through="switched"),
        (
            "sources:",
            "sources:\n  set: {kind: generator, phases: L1, neutral-bond: none}"
            + "\n  pv: {kind: inverter, phases: L1, operation: grid-following}" * solar,
        ),
        ("out: {}}", "out: {}, hut: {}}"),
        (
            "circuits:",
            "  to-hut: {from: main, to: hut, cores: L1 N PE, through: [{kind: rcd, residual: 30 mA}]}\n"
            "  set-feed: {from: set, to: hut, cores: L1 N PE}\n"
            + "  pv-feed: {from: pv, to: hut, cores: L1 N PE}\n" * solar
            + "circuits:",
        ),
    )
    facts = facts_of(text)
    states: dict[tuple[str, str], set[tuple[str, ...]]] = {}
    for one in facts.rcds_at_inverters:
        states.setdefault((one.id, one.source.id), set()).add(tuple(sorted(feed.id for feed in one.island.feeds)))
    # from the set, behind its own device, the way to the hybrid leads through both
    assert {key for key, by in states.items() if ("grid",) in by} == {("r", "hybrid")}
    assert {key for key, by in states.items() if ("set",) in by} == {("r", "hybrid"), ("to-hut", "hybrid")}
    assert {key for key, by in states.items() if ("grid", "pv") in by} == (
        {("r", "hybrid"), ("to-hut", "pv")} if solar else set()
    )


def test_an_inverter_that_is_written_first_stands_behind_the_device_before_its_input() -> None:
    text = edited(HYBRID_FIRST, ("PEIN", f"PE{R30}"), ("PEOUT", "PE"), ("PEB", "PE"))
    found = {(one.id, one.source.id) for one in facts_of(text).rcds_at_inverters}
    assert found == {("r", "hybrid")}
