"""What the rulebook accepts of readings: the limits that the schedule prints, and what is said of a reading beyond them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from described import site_of
from onebond.facts import Facts
from onebond.facts.allowed import ElectrodeAt
from onebond.facts.measured import measured
from onebond.facts.taken import Compared, MeasuredPlace, trip_times
from onebond.loading import load_rules
from onebond.meter.bench import Shown
from onebond.meter.diagnose import TRIPS, Doctor
from onebond.meter.measurements import Measurement
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.model import Device, Installation
from onebond.reading import load
from onebond.result import Result
from onebond.rule import PASS, Finding, Rule, Unknown
from onebond.schedule import Row, on_display, schedule
from onebond.testing import inspected

ROOT = Path(__file__).resolve().parent.parent
RULES = load_rules()
RULE: Rule = next(one for one in RULES if one.id == "reading-contradicts-design")
IEC, BS, NEC = (RULE.params_in(book) for book in ("iec", "bs7671", "nec"))


def rows_of(site: Installation, kind: str, at: str) -> list[Row]:
    rows = [row for row in schedule(site, RULES).rows if row.measurement is not None]
    return [row for row in rows if row.measurement and row.measurement.kind == kind and row.measurement.at == at]


def found(text: str, entries: str) -> list[Result]:
    """What the rule says of readings of a site."""
    taken = f"onebond-readings: 1\ninstallation: site.yaml\ntaken: 2026-09-14\nreadings:\n{entries}"
    site = inspected(text, (RULE,), readings=taken, base="site").site
    assert not site.faults
    return [one for one in site.results if one.kind == "fail"]


# -- loops -------------------------------------------------------------------------------------------------------------------------

SHOP = """\
onebond: 1
site: {name: Tannery, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.6 ohm, fault-current: 2 kA}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 2 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
circuits:
  lathe: {from: main, cores: L1 PE, size: 2.5 mm2, length: 20 m, serves: fixed, load: 2 kW, through: [{kind: mcb, curve: D, rating: 10 A}]}
  lamps: {from: main, cores: L1 N PE, size: 1.5 mm2, length: 20 m, serves: lighting, load: 100 W, through: [{like: ro6}]}
types:
  devices: {ro6: {kind: rcbo, curve: B, rating: 6 A, residual: 30 mA, type: A}}
"""
# 2.5 mm2 has 7.41 mohm/m at 20 C and 20 % more at 70 C, 16 mm2 1.15 mohm/m (IEC 60228, 0.004 per kelvin): two cores of 20 m and of 2 m have
# 60.2 mohm more when they are warm.  D10 opens at 200 A: 1.15 ohm, of which 1.090 ohm is left; two thirds would be 0.767 ohm.
WARM = 0.2 * 2 * (20 * 7.41e-3 + 2 * 1.15e-3)


def test_a_loop_may_have_its_limit_less_what_warm_conductors_add() -> None:
    limit = rows_of(site_of(SHOP), "loop", "lathe")[0].limit
    assert f"{1.15 - WARM:.2f}" == "1.09"
    assert limit.startswith(
        "at most 1.09 ohm: 1.15 ohm with which the mcb in lathe opens within 0.4 s, less 60.2 mohm for warm"
    )
    # as far as the description goes: a supply of 0.75 ohm lets 1.05 ohm be read
    text = SHOP.replace("loop-impedance: 0.6 ohm", "loop-impedance: 0.75 ohm")
    assert not found(text, "  - {at: lathe, loop: 1.09 ohm}\n")
    (beyond,) = found(text, "  - {at: lathe, loop: 1.10 ohm}\n")
    assert beyond.level == "warning"


def test_a_loop_beyond_its_limit_that_is_as_described_is_a_warning() -> None:
    """A D16 breaker opens at 320 A, with 0.719 ohm; the supply alone has 0.6 ohm, and the cable 0.3 ohm."""
    text = SHOP.replace("curve: D, rating: 10 A", "curve: D, rating: 16 A")
    (one,) = found(text, "  - {at: lathe, loop: 0.90 ohm}\n")
    assert one.level == "warning"
    assert "with warm conductors the mcb in lathe may not open in time" in one.so
    assert "tighten the joints" in one.put_right


def test_two_thirds_are_accepted_where_warm_conductors_add_more() -> None:
    """100 m of 1.5 mm2 (12.1 mohm/m) add 0.484 ohm; of the 1.4375 ohm of a C16 breaker 0.953 ohm is left, two thirds are 0.958 ohm."""
    text = SHOP.replace("size: 2.5 mm2, length: 20 m, serves: fixed", "size: 1.5 mm2, length: 100 m, serves: fixed")
    text = text.replace("curve: D, rating: 10 A", "curve: C, rating: 16 A")
    limit = rows_of(site_of(text), "loop", "lathe")[0].limit
    assert limit.startswith(
        "at most 0.958 ohm: two thirds of the 1.44 ohm with which the mcb in lathe opens within 0.4 s"
    )
    text = text.replace("rulebook: iec", "rulebook: bs7671")  # 0.8 and 0.95
    limit = rows_of(site_of(text), "loop", "lathe")[0].limit
    assert limit.startswith("at most 1.09 ohm: 0.8 of the 1.37 ohm with which the mcb in lathe opens within 0.4 s")


def test_the_limit_of_a_fuse_is_that_by_which_the_rulebook_judges_it() -> None:
    """63 A within 5 s: 320 A by the gates of the product standard, 0.78 ohm by the table of BS 7671 (as printed)."""
    for book, ohm in (("iec", 230 / 320), ("bs7671", 0.78)):
        limit = rows_of(site_of(SHOP.replace("iec", book)), "loop", "main")[0].limit
        assert f"{ohm:.3f} ohm with which the fuse in service opens within 5 s" in limit
    assert (
        "with that the fuse in service opens within 5 s"
        in rows_of(site_of(SHOP.replace("iec", "nec")), "loop", "main")[0].limit
    )


def test_no_overcurrent_device_is_named_where_an_rcd_opens() -> None:
    limit = rows_of(site_of(SHOP), "loop", "lamps")[0].limit
    assert limit == "none by an overcurrent device: the rcbo in lamps opens in time by its residual current"
    far = SHOP.replace("size: 1.5 mm2, length: 20 m", "size: 1.5 mm2, length: 200 m")
    # 0.6 ohm and 400 m of 12.1 mohm/m are 5.45 ohm; 230 V / 30 A is 7.67 ohm, two thirds of that 5.11 ohm
    assert not found(far, "  - {at: lamps, loop: 5.45 ohm}\n")


def test_a_frame_that_is_bonded_says_so_in_the_place_of_a_limit() -> None:
    site = load(str(ROOT / "fixtures" / "sites" / "wash-house.yaml"))[1]
    assert site is not None
    (row,) = rows_of(site, "loop", "boiler")
    assert row.limit == "none by an overcurrent device: the frame is bonded to the metal near it (411.3.2.6, 415.2 ?)"


def test_a_loop_is_judged_by_the_devices_of_its_own_state() -> None:
    """A set behind a C10 breaker, and the supply behind a fuse of 63 A: each way has its own limit."""
    text = """\
onebond: 1
site: {name: Kennels, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.3 ohm, fault-current: 2 kA}
  other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 1 ohm, fault-current: 1 kA}
boards:
  main: {}
changeovers:
  ts: {positions: [grid, other], poles: L1 N}
connections:
  a: {from: grid, to: ts.grid, cores: L1 N PE, size: 16 mm2, length: 2 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  b: {from: other, to: ts.other, cores: L1 N PE, size: 4 mm2, length: 2 m, through: [{kind: mcb, curve: C, rating: 10 A}]}
  c: {from: ts, to: main, cores: L1 N PE, size: 16 mm2, length: 2 m}
"""
    # two thirds of 230 V / 320 A and of 230 V / 100 A are 0.48 and 1.53 ohm; a reading of 1.0 ohm is good in one state alone
    assert found(text, "  - {at: main, loop: 0.9 ohm}\n")
    assert not found(text, "  - {state: {ts: other}, at: main, loop: 1.0 ohm}\n")


# -- electrodes --------------------------------------------------------------------------------------------------------------------

MOOR = """\
onebond: 1
site: {name: Moor house, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 2 ohm, fault-current: 1 kA}
boards:
  main: {}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 10 mm2, length: 20 m, through: [{kind: rcd, rating: 40 A, residual: 300 mA}]}
electrodes:
  rod-1: {at: main, resistance: 240 ohm}
  rod-2: {at: main, resistance: 375 ohm}
"""


@pytest.mark.parametrize(
    ("others", "most"), [({}, 300.0), ({"rod-2": 240.0}, 545.4), ({"rod-2": 100.0}, math.inf), ({"rod-2": 1e4}, 169.5)]
)
def test_rods_at_one_terminal_share_what_an_rcd_allows(others: dict[str, float], most: float) -> None:
    """50 V / 0.3 A = 166.7 ohm for all rods together (IEC 60364-4-41, 411.5.3): beside 375 ohm one may have 300 ohm, beside 240 ohm
    545.4 ohm, beside 100 ohm anything, beside 10 kohm 169.5 ohm."""
    site = site_of(MOOR)
    limit = ElectrodeAt("rod-1", site, Facts(site, "iec").earth_faults, others).limit(IEC)
    assert limit is not None and limit.most_ohm == pytest.approx(most, rel=1e-3)


SHED = """\
onebond: 1
site: {name: Orchard, rulebook: bs7671}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.3 ohm, fault-current: 2 kA}
boards:
  house: {building: house}
  shed: {building: shed}
connections:
  service: {from: grid, to: house, cores: L1 N PE, size: 16 mm2, length: 6 m, through: [{kind: fuse, class: gG, rating: 80 A}]}
  to-shed: {from: house, to: shed, cores: L1 N, size: 6 mm2, length: 40 m, through: [{like: feed, id: rcd-feed}]}
circuits:
  sockets: {from: shed, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 2 kW, through: [{like: ro16, id: rcd-shed}]}
  kettle: {from: house, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 2 kW, through: [{like: old}, {like: b16}]}
electrodes:
  rod: {at: shed, resistance: 150 ohm}
  house-rod: {at: house, resistance: 20 ohm}
types:
  devices:
    feed: {kind: rcbo, curve: C, rating: 32 A, residual: 100 mA, delay: S}
    ro16: {kind: rcbo, curve: B, rating: 16 A, residual: 30 mA}
    old: {kind: rcd, rating: 40 A, residual: 500 mA}
    b16: {kind: mcb, curve: B, rating: 16 A}
"""


def test_an_electrode_of_an_outbuilding_has_the_limit_of_what_hangs_on_it() -> None:
    """50 V / 100 mA = 500 ohm: the 500 mA of the house do not rest on it, and the rod of the house has no limit of that kind."""
    site = site_of(SHED)
    (row,) = rows_of(site, "electrode", "rod")
    assert row.limit == (
        "at most 500 ohm: 50.0 V by the 100 mA of rcd-feed, which guards shed (411.5.3); above 200 ohm it may be unstable"
    )
    assert rows_of(site, "electrode", "house-rod")[0].limit == ""
    (one,) = found(SHED, "  - {electrode: rod, resistance: 600 ohm}\n")
    assert one.level == "error"


def test_a_high_electrode_that_is_as_described_says_what_to_do() -> None:
    text = SHED.replace("resistance: 150 ohm", "resistance: 520 ohm")
    assert not found(text, "  - {electrode: rod, resistance: 500 ohm}\n")
    (one,) = found(text, "  - {electrode: rod, resistance: 520 ohm}\n")
    assert one.put_right.startswith("more rods at a distance of their length")
    assert "an RCD of 96.2 mA or less in the place of rcd-feed" in one.put_right  # 50 V / 520 ohm


def test_where_the_place_is_a_medical_one_half_the_voltage_is_left() -> None:
    text = SHED.replace("shed: {building: shed}", "shed: {building: shed, place: medical}")
    assert "at most 250 ohm: 25.0 V by the 100 mA" in rows_of(site_of(text), "electrode", "rod")[0].limit


def test_two_electrodes_that_nothing_joins_do_not_help_each_other() -> None:
    """The house has a supply without PE, a rod and 300 mA; the shed has its own rod and 100 mA."""
    text = SHED.replace("earthing: TN-C-S", "earthing: TT").replace(
        "to: house, cores: L1 N PE,", "to: house, cores: L1 N,"
    )
    text = text.replace(
        "{kind: fuse, class: gG, rating: 80 A}", "{kind: rcd, rating: 80 A, residual: 300 mA, delay: S, id: rcd-main}"
    )
    site = site_of(text)
    assert (
        rows_of(site, "electrode", "house-rod")[0].limit
        == "at most 167 ohm: 50.0 V by the 300 mA of rcd-main, which guards house (411.5.3)"
    )
    assert rows_of(site, "electrode", "rod")[0].limit.startswith(
        "at most 500 ohm: 50.0 V by the 100 mA of rcd-feed, which guards shed"
    )


# -- RCDs and insulation -----------------------------------------------------------------------------------------------------------


def device(residual_a: float, delay: str | None = None) -> Device:
    return Device("rcd", "x", 0, ("L1", "N"), ("L1", "N"), False, False, (), residual_a=residual_a, delay=delay)


def test_the_times_of_class_a_are_asked_of_class_a_alone() -> None:
    """UL 943: (20 / 6)^1.43 = 5.6 s at 6 mA and (20 / 30)^1.43 = 0.56 s at 30 mA; a device of 30 mA protects equipment."""
    for times, milliampere in (("1 x", 6), ("5 x", 30)):
        allowed = trip_times(times, device(0.006), NEC)
        assert allowed is not None and allowed[1] == pytest.approx((20 / milliampere) ** 1.43, rel=0.01)
        assert trip_times(times, device(0.03), NEC) == (0.0, math.inf)
    assert trip_times("0.5 x", device(0.03), NEC) is None
    assert trip_times("1 x", device(0.03), IEC) == (0.0, 0.3)
    assert trip_times("1 x", device(0.1, "S"), IEC) == (0.13, 0.5)


DOCK = SHOP.replace("rulebook: iec", "rulebook: nec")


def test_what_protects_equipment_has_to_trip_and_no_time_is_set() -> None:
    rows = rows_of(site_of(DOCK), "rcd", "lamps/1")
    assert [row.limit.partition(" (")[0] for row in rows] == [
        "no trip",
        "trips; no time is set for what protects equipment, its marking counts",
        "trips; no time is set for what protects equipment, its marking counts",
    ]
    assert not found(DOCK, "  - {rcd: lamps/1, times: {0.5 x: no-trip, 1 x: 7 s, 5 x: 900 ms}}\n")
    assert found(DOCK, "  - {rcd: lamps/1, times: {1 x: no-trip}}\n")
    assert found(DOCK.replace("residual: 30 mA", "residual: 6 mA"), "  - {rcd: lamps/1, times: {1 x: 7 s}}\n")


ROOF = (ROOT / "fixtures" / "sites" / "pv-house.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ("0.5 x: no-trip, 1 x: 24 ms, 5 x: 17 ms", ""),
        ("0.5 x: no-trip, 1 x: no-trip, 5 x: 17 ms", "has to trip within 300 ms"),
        ("5 x: no-trip", "has to trip within 40 ms"),
        ("0.5 x: 30 ms, 1 x: 24 ms", "has to hold"),
        ("1 x: 301 ms", "has to trip within 300 ms"),
    ],
)
@pytest.mark.parametrize("name", ["rcd-roof", "rcd-house"])
def test_an_rcd_has_to_hold_at_half_and_to_trip_from_whichever_side(name: str, times: str, words: str) -> None:
    """The rcd-roof lies between an inverter and the board: what is sent from the board does not pass it."""
    results = found(ROOF, f"  - {{rcd: {name}, times: {{{times}}}}}\n")
    assert [one.subject for one in results] == ([name] if words else [])
    if words:
        assert any(words in value for _, value in results[0].figures)


def test_a_finding_points_at_the_reading_that_is_wrong() -> None:
    (one,) = found(ROOF, "  - {rcd: rcd-roof, times: {0.5 x: no-trip, 1 x: no-trip}}\n")
    assert one.route[-1] == "1 x"
    (one,) = found(SHOP, "  - {at: main, loads: off, L1-N: 230 V, L1-PE: 230 V, insulation: 0.5 Mohm}\n")
    assert one.route[-1] == "insulation"


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ("{at: lamps, insulation: 0.3 Mohm}", "disconnect the circuits one by one"),
        ("{rcd: lamps/1, times: {1 x: 400 ms}}", "replace it"),
        ("{rcd: lamps/1, times: {0.5 x: 200 ms}}", "find what leaks"),
    ],
)
def test_a_failing_reading_says_what_to_do(entry: str, words: str) -> None:
    (one,) = found(SHOP, f"  - {entry}\n")
    assert words in one.put_right or "would explain it" in one.so
    assert "compare description and site" not in one.put_right


def test_each_kind_of_test_that_fails_at_a_place_has_its_remedy() -> None:
    (one,) = found(SHOP, "  - {at: lamps, insulation: 0.3 Mohm, loop: 9 ohm}\n")
    assert "insulation resistance: take out" in one.put_right


def test_what_contradicts_and_is_not_accepted_says_both() -> None:
    """Two loops that no single defect explains: 0.61 ohm and 0.9 ohm are expected, and 1.09 ohm is left for the lathe."""
    results = found(SHOP, "  - {at: main, loop: 0.1 ohm}\n  - {at: lathe, loop: 3 ohm}\n")
    said = [value for one in results if one.subject == "lathe" for state in one.by_state for _, value in state.figures]
    said += [value for one in results if one.subject == "lathe" for _, value in one.figures]
    assert any("expected" in value and "and above 1.09 ohm: 1.15 ohm with which" in value for value in said)


def test_a_defect_that_explains_other_readings_does_not_explain_the_insulation() -> None:
    results = found(SHOP, "  - {at: lamps, insulation: 0.3 Mohm}\n  - {at: lathe, loads: off, L1-PE: 0 V}\n")
    insulation = next(one for one in results if one.subject == "lamps")
    assert "would explain it" in next(one for one in results if one.subject == "lathe").so
    assert "explain" not in insulation.so and "one by one" in insulation.put_right


# -- voltages ----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("volts", "side"), [(185, "low"), (275, "high")])
def test_a_supply_outside_its_band_is_told_although_nothing_in_the_wiring_explains_it(volts: int, side: str) -> None:
    """230 V and 10 % (IEC 60038): 207 V to 253 V."""
    results = found(
        SHOP,
        f"  - {{at: main, loads: off, L1-N: {volts} V, L1-PE: {volts + 1} V}}\n  - {{at: lathe, L1-PE: {volts} V}}\n",
    )
    assert {one.subject for one in results} == {"main", "lathe"}
    for one in results:
        assert one.level == "warning"
        assert f"the voltage of grid is {side}" in one.so and "nothing in the wiring explains" in one.so
        assert "the supplier has to put it right" in one.put_right


@pytest.mark.parametrize("between", ["L1-N", "L1-PE"])
def test_the_printed_band_is_the_one_that_is_judged(between: str) -> None:
    rows = rows_of(site_of(SHOP), "voltage", "main")
    printed = next(row.expected for row in rows if row.measurement and row.measurement.between == between)
    low, high = (int(end.removesuffix(" V")) for end in printed.partition("(")[2].rstrip(")").split(" to "))
    assert low in (206, 207) and high in (253, 254)  # 10 %, and half a volt of the meter
    for volts, right in ((low - 1, False), (low, True), (high, True), (high + 1, False)):
        assert bool(found(SHOP, f"  - {{at: main, loads: off, {between}: {volts} V}}\n")) != right


def test_voltages_that_differ_are_no_matter_of_the_supply() -> None:
    results = found(
        SHOP, "  - {at: main, loads: off, L1-N: 230 V, L1-PE: 230 V}\n  - {at: lathe, loads: off, L1-PE: 203 V}\n"
    )
    assert [one.subject for one in results] == ["lathe"]
    assert "the voltage of grid" not in results[0].so


# -- a reading as expected ---------------------------------------------------------------------------------------------------------


def as_expected_of(plant: Plant, params: object) -> Iterator[Reading]:
    """Each test of the schedule with the value that it prints as expected, and every RCD at the end of its times."""
    entries = plan(plant).entries
    doctor = Doctor(plant)
    for entry, shown in zip(
        entries, doctor.predicted((), [(one.state, one.measurement) for one in entries]), strict=True
    ):
        measurement = entry.measurement
        if measurement.kind == "insulation" or not isinstance(shown, Shown):
            continue
        yield reading_of(plant, entry.state, measurement, shown, params)


def reading_of(plant: Plant, state: tuple[int, ...], measurement: Measurement, shown: Shown, params: object) -> Reading:
    if measurement.kind in TRIPS:
        seconds = None
        if measurement.kind == "rcd" and measurement.between != "0.5 x":
            rcd = next(one for one in plant.network.rcds if one.name == measurement.at)
            allowed = trip_times(measurement.between, rcd.device, params)  # type: ignore[arg-type]
            assert allowed is not None
            seconds = min(allowed[1], 9.0)
        tripped = float(shown.value > 0.9) if measurement.kind == "holds" else float(measurement.between != "0.5 x")
        return Reading(measurement, state, tripped, 0.0, "", (), "2026-09-14", seconds)
    if math.isinf(shown.value):
        return Reading(measurement, state, math.inf, 0.0, "open", (), "2026-09-14")
    printed = on_display(shown.value, measurement.unit)
    number, unit = printed.split()
    scale = {"m": 1e-3, "k": 1e3, "M": 1e6}.get(unit[0] if len(unit) > len(measurement.unit) else "", 1.0)
    digit = 10.0 ** -len(number.partition(".")[2]) * scale
    return Reading(measurement, state, float(number) * scale, digit, printed, (), "2026-09-14")


@pytest.mark.parametrize(
    "name",
    ["workshop", "homestead", "skarv", "wash-house", "maintenance-bypass", "nec-lake-dock", "borehole", "pv-house"],
)
def test_a_reading_as_the_schedule_expects_it_is_accepted(name: str) -> None:
    site = load(str(ROOT / "fixtures" / "sites" / f"{name}.yaml"))[1]
    assert site is not None
    plant, params = Plant(site), RULE.params_in(site.rulebook)
    taken = Readings("", None, "2026-09-14", "digital", tuple(as_expected_of(plant, params)))
    wrong = [
        (place.id, verdict)
        for place in measured(taken, plant, Facts(site, site.rulebook).earth_faults)
        if (verdict := verdict_of(place, params)) is not PASS
    ]
    assert not wrong
    assert len(taken.readings) > 10


def verdict_of(place: MeasuredPlace, params: object) -> object:
    try:
        verdict = RULE.check(place, params)
    except Unknown:
        return PASS
    assert not isinstance(verdict, Finding) or all(isinstance(one, Compared) for one in place.compared)
    return verdict
