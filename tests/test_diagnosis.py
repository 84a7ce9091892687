"""What explains readings, where the readings were written down by hand from what a meter shows of such a defect."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from described import fixture, site_of
from onebond import cli
from onebond.diagnosis import Outcome, diagnose
from onebond.meter.bench import Shown
from onebond.meter.diagnose import FITS, UNSAID, Doctor, distance
from onebond.meter.measurements import Measurement, Site
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.model import Installation
from test_meter import CAMP, shown, ways

COTTAGE = """\
onebond: 1
site: {name: Hazel cottage, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.2 ohm, fault-current: 1.5 kA}
  hyb: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: yes, mains-input: yes, neutral-through: switched,
        neutral-bond: while-inverting, filter-capacitance: 10 nF}
boards:
  main: {}
  main-rcd: {inside: main}
  ess: {}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 20 m,
            through: [{kind: rcd, rating: 63 A, residual: 300 mA, type: A, delay: S, id: rcd-s}]}
  group:   {from: main, to: main-rcd, cores: L1 N, through: [{kind: rcd, rating: 40 A, residual: 30 mA, type: A, id: rcd-h}]}
  to-hyb:  {from: main, to: hyb.in, cores: L1 N PE, size: 6 mm2, length: 5 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
  to-ess:  {from: hyb.out, to: ess, cores: L1 N PE, size: 6 mm2, length: 5 m}
circuits:
  sockets: {from: main-rcd, cores: L1 N PE, size: 2.5 mm2, length: 12 m, serves: socket-outlets, load: 2 kW, leakage: 1 mA,
            through: [{kind: mcb, curve: B, rating: 16 A}]}
  office:  {from: ess, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: socket-outlets, load: 1.5 kW, leakage: 1 mA,
            through: [{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA, type: A, id: rcbo-office}]}
electrodes:
  rod: {at: main, resistance: 60 ohm}
"""


def told(site: Installation, *read: tuple[dict[str, str], str, str, str, float], digit: float = 0.1) -> Outcome:
    """The diagnosis of readings: state, kind, place, between, value; loads are off."""
    plant = Plant(site)
    readings = []
    for setting, kind, at, between, value in read:
        full = plant.complete(setting)
        assert not isinstance(full, str), full
        measurement = (
            Measurement(kind, at, between, loads=False) if kind == "voltage" else Measurement(kind, at, between)
        )
        where = plant.dead if measurement.dead else full
        readings.append(Reading(measurement, where, value, digit, str(value), (), "2026-09-20"))
    return diagnose(plant, Readings("site.yaml", None, "2026-09-20", "digital", tuple(readings)))


def first(outcome: Outcome) -> set[str]:
    """What is named first, where it fits."""
    assert outcome.told[0].fits, [(one.test, one.where, one.read, one.explained) for one in outcome.told[0].compared]
    return {" and ".join(words) for words in outcome.told[0].explanations}


USUAL: dict[str, str] = {}


# -- what one reading says and what it does not ------------------------------------------------------------------------------


def test_one_good_reading_leaves_most_defects_open() -> None:
    outcome = told(site_of(COTTAGE), (USUAL, "voltage", "main", "L1-N", 231.0))
    assert outcome.healthy and outcome.told[0].fits
    open_ = {words[0] for words in outcome.told[0].open}
    assert "the bond inside hyb is open" in open_ and "the PE core of sockets is open" in open_
    assert "the L1 core of service is open" not in open_
    # and what to measure next to learn more
    assert outcome.next is not None and len({value for _, value in outcome.next.shows}) > 1


def test_what_no_circuit_says_is_told_and_not_counted_as_proof() -> None:
    outcome = told(site_of(COTTAGE), (USUAL, "insulation", "main", "", 10_000.0))
    assert outcome.judged == 0
    assert outcome.left_out == (
        "insulation resistance at main: read 10000.0: no circuit says what insulation has; `inspect` judges it",
    )


@pytest.mark.parametrize("volts", [900.0, 420.0])
def test_a_voltage_that_nothing_drives_is_not_explained(volts: float) -> None:
    """Behind an inverter that passes, a broken input may leave 230 V or nothing; it does not excuse every other voltage."""
    outcome = told(site_of(COTTAGE), (USUAL, "voltage", "ess", "L1-N", volts))
    assert not outcome.explained


@pytest.mark.parametrize(
    ("l_n", "l_pe", "n_pe", "explained"),
    [
        (230.0, 230.0, 0.1, True),  # the inverter has taken over, with its bond
        (0.1, 0.1, 0.1, True),  # it has not: nothing is live behind it
        # one line, one neutral and one PE: no state of an inverter makes two of these voltages without the third
        (0.1, 230.0, 0.1, False),
        (20.0, 230.0, 0.2, False),
    ],
)
def test_what_is_read_in_one_state_is_what_an_inverter_does_there(
    l_n: float, l_pe: float, n_pe: float, explained: bool
) -> None:
    volts = (("L1-N", l_n), ("L1-PE", l_pe), ("N-PE", n_pe))
    outcome = told(site_of(COTTAGE), *((USUAL, "voltage", "ess", between, value) for between, value in volts))
    assert outcome.explained == explained


ROD_900 = "the electrode rod has about 900 ohm, where 60 ohm follows from the description"
SUPPLIER = "the earth of the supply grid has about 840 ohm, where the whole loop should have 1.2 ohm"


@pytest.mark.parametrize(
    ("more", "named"),
    [
        # 901 ohm at every outlet: 840 ohm too much lie at one of the two ends of the soil
        ((), {ROD_900, SUPPLIER}),
        # only the electrode itself says at which
        (((USUAL, "electrode", "rod", "", 60.0),), {SUPPLIER}),
        (((USUAL, "electrode", "rod", "", 900.0),), {ROD_900}),
    ],
)
def test_a_loop_through_the_soil_has_two_electrodes(
    more: tuple[tuple[dict[str, str], str, str, str, float], ...], named: set[str]
) -> None:
    loops = ((USUAL, "loop", place, "L1-PE", ohm) for place, ohm in (("office", 901.0), ("sockets", 900.0)))
    outcome = told(site_of(COTTAGE), *loops, *more)
    assert first(outcome) == named
    if not more:
        assert outcome.next is not None and outcome.next.measured == "resistance of the electrode at rod"


def test_one_loop_alone_that_is_too_high_is_not_laid_to_the_soil() -> None:
    loops = ((USUAL, "loop", place, "L1-PE", ohm) for place, ohm in (("office", 901.0), ("sockets", 61.4)))
    assert all("joint" in words for words in first(told(site_of(COTTAGE), *loops)))


def test_a_defect_that_says_nothing_of_a_reading_does_not_explain_it() -> None:
    """A loop of 12 ohm behind a rod of 60 ohm: that no loop can be measured once the inverter takes over explains nothing."""
    outcome = told(site_of(COTTAGE), (USUAL, "loop", "office", "L1-PE", 12.0))
    assert not outcome.explained
    assert UNSAID > FITS


def test_what_is_written_with_few_digits_is_no_excuse() -> None:
    """3 ohm between bonded boards, read to the ohm, is 2.5 ohm at least, where cores of metres have hundredths."""
    metre = Measurement("continuity", "ess", "main")
    assert distance(metre, Shown.exactly(0.03), 3.0, 1.0) > FITS
    assert distance(metre, Shown.exactly(0.03), 0.1, 0.1) <= FITS  # anything from 0.05 ohm on is read as 0.1 ohm


@pytest.mark.parametrize(
    ("entry", "status", "said"),
    [
        ("{rcd: rcd-h, times: {1 x: 900 ms}}", 1, "rcd-h: operating time of the RCD 1 x: read 900 ms"),
        ("{rcd: rcd-h, times: {1 x: 24 ms}}", 0, ""),
        ("{at: main, insulation: 0.01 Mohm}", 1, "main: insulation resistance: read 0.01 Mohm"),
        ("{at: main, insulation: 200 Mohm}", 0, ""),
    ],
)
def test_what_the_rulebook_does_not_accept_is_no_clean_bill(
    entry: str, status: int, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """300 ms at 1 x (IEC 61008-1), 1 Mohm at 500 V (IEC 60364-6): both from memory."""
    site, readings = tmp_path / "cottage.yaml", tmp_path / "read.yaml"
    site.write_text(COTTAGE)
    readings.write_text(f"onebond-readings: 1\ninstallation: cottage.yaml\ntaken: 2026-09-20\nreadings:\n  - {entry}\n")
    assert cli.main(["diagnose", str(site), str(readings), "--today", "2026-11-26"]) == status
    told = capsys.readouterr().out
    assert ("not accepted by the rulebook" in told) == bool(said)
    assert said in " ".join(told.split())
    # a slow device and bad insulation are defects, though no circuit shows them
    assert ("no defect" in told) == (not said)


def test_each_reading_that_the_rulebook_does_not_accept_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """300 ms at 1 x and 40 ms at 5 x (IEC 61008-1, from memory)."""
    site, readings = tmp_path / "cottage.yaml", tmp_path / "read.yaml"
    site.write_text(COTTAGE)
    entry = "{rcd: rcd-h, times: {1 x: 900 ms, 5 x: 300 ms}}"
    readings.write_text(f"onebond-readings: 1\ninstallation: cottage.yaml\ntaken: 2026-09-20\nreadings:\n  - {entry}\n")
    assert cli.main(["diagnose", str(site), str(readings), "--today", "2026-11-26"]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert told.count("not accepted by the rulebook") == 2
    assert "rcd-h: operating time of the RCD 1 x: read 900 ms, it has to trip within 300 ms" in told
    assert "rcd-h: operating time of the RCD 5 x: read 300 ms, it has to trip within 40 ms" in told


# -- what to measure next ----------------------------------------------------------------------------------------------------

DEAD = (USUAL, "continuity", "main", "ess", 0.05)
LINE_ON_FRAME = tuple(
    (USUAL, "voltage", "sockets", pair, value) for pair, value in (("L1-N", 231.0), ("L1-PE", 0.1), ("N-PE", 230.0))
)


@pytest.mark.parametrize(
    ("readings", "puts_back"),
    [
        # PE may be open and the frames at the neutral's or the line's voltage: the site is dead, and a test without voltage tells as well
        ((*LINE_ON_FRAME, DEAD), False),
        (((USUAL, "loop", "sockets", "L1-PE", math.inf), DEAD), False),
        # somewhere the neutral alone is open: no frame is live, and only a voltage tells where
        (((USUAL, "voltage", "ess", "N-PE", 12.0), DEAD), True),
    ],
)
def test_no_supply_is_put_back_while_frames_may_be_live_where_a_dead_test_tells_as_well(
    readings: tuple[tuple[dict[str, str], str, str, str, float], ...], puts_back: bool
) -> None:
    outcome = told(site_of(COTTAGE), *readings)
    assert outcome.next is not None
    assert ("put grid back" in outcome.next.steps) == puts_back
    assert len({value for _, value in outcome.next.shows}) > 1


def test_who_stands_at_a_live_board_measures_on_there() -> None:
    outcome = told(site_of(COTTAGE), *LINE_ON_FRAME)
    assert outcome.next is not None and outcome.next.test.startswith("voltage")
    assert not outcome.next.state


# -- residual current devices ------------------------------------------------------------------------------------------------


def test_a_dead_residual_device_is_a_defect_of_its_own() -> None:
    # a link between N and PE behind it would bring the test current back through it: that is excluded first
    apart = (USUAL, "tie", "main-rcd", "N-PE", math.inf), (USUAL, "tie", "sockets", "N-PE", math.inf)
    pairs = (("L1-N", 230.0), ("L1-PE", 230.0), ("N-PE", 0.5))
    voltages = ((USUAL, "voltage", "sockets", pair, value) for pair, value in pairs)
    readings = ((USUAL, "rcd", "rcd-h", times, 0.0) for times in ("1 x", "5 x"))
    outcome = told(site_of(COTTAGE), *readings, *voltages, (USUAL, "loop", "sockets", "L1-PE", 61.5), *apart)
    assert first(outcome) == {"rcd-h does not operate"}


def test_one_that_operates_at_five_times_its_current_only() -> None:
    readings = ((USUAL, "rcd", "rcd-h", times, value) for times, value in (("1 x", 0.0), ("5 x", 1.0)))
    assert first(told(site_of(COTTAGE), *readings)) == {"rcd-h operates only far above its rated current"}


def test_one_that_operates_at_half_its_current() -> None:
    readings = [(USUAL, "rcd", "rcd-h", times, 1.0) for times in ("0.5 x", "1 x", "5 x")]
    assert first(told(site_of(COTTAGE), *readings)) == {"rcd-h operates at less than half of its rated current"}


def test_the_device_of_a_source_is_tested_at_its_side() -> None:
    """The cable is written from the roof inverter to the board: at the board the test current would not pass the device."""
    doctor = Doctor(Plant(fixture("pv-house")))
    assert shown(doctor, (), {}, Measurement("rcd", "rcd-roof", "1 x")) == pytest.approx([1], rel=0.01)


def test_with_its_neutral_broken_a_device_sees_the_whole_test_current() -> None:
    """No current comes back through it, so it trips all the better."""
    doctor = Doctor(Plant(fixture("hut")))
    assert shown(doctor, ("core-open rcd-group N",), {}, Measurement("rcd", "rcd-hut", "1 x")) == pytest.approx(
        [1], rel=0.01
    )


def test_crossed_n_and_pe_trip_the_device_of_the_circuit_and_a_selective_one_waits() -> None:
    """2 kW come back through the rod: both see amperes, the one without delay is first, and then nothing flows."""
    doctor = Doctor(Plant(site_of(COTTAGE)))
    near, far = shown(
        doctor, ("crossed sockets N-PE",), {}, Measurement("holds", "rcd-h"), Measurement("holds", "rcd-s")
    )
    assert near > 50  # 230 V / (26.45 + 61.2) ohm = 2.6 A, in 30 mA
    assert far < 0.5


def test_a_tester_drives_no_more_than_the_loop_lets_it() -> None:
    """Through 600 ohm flow 0.38 A: 300 mA at once, 1.5 A never."""
    doctor = Doctor(Plant(site_of(COTTAGE.replace("60 ohm", "600 ohm"))))
    once, five = shown(doctor, (), {}, *(Measurement("rcd", "rcd-s", times) for times in ("1 x", "5 x")))
    assert once == pytest.approx(1, rel=0.01)
    assert 0.505 < five < 0.95  # it may trip, late: neither reading says anything


# -- electrodes, joints, insulation ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ohm", [135.0, 900.0, 3000.0])
def test_an_electrode_has_the_resistance_that_is_read(ohm: float) -> None:
    assert first(told(site_of(COTTAGE), (USUAL, "electrode", "rod", "", ohm))) == {
        f"the electrode rod has about {float(f'{ohm:.2g}'):g} ohm, where 60 ohm follows from the description"
    }


def test_a_bad_joint_where_a_protective_conductor_reads_too_much() -> None:
    """12 m of 2.5 mm2 have 0.09 ohm (7.41 ohm/km, IEC 60228): 5.09 ohm are 5 ohm more."""
    outcome = told(site_of(COTTAGE), (USUAL, "continuity", "sockets", "main", 5.09), digit=0.01)
    assert first(outcome) == {"a bad joint of about 5 ohm in the PE core of sockets"}


def test_a_fault_of_the_insulation_between_n_and_pe() -> None:
    """50 ohm between N and PE of the sockets, read behind the open neutral of its group."""
    outcome = told(
        site_of(COTTAGE),
        (USUAL, "tie", "sockets", "N-PE", 50.0),
        (USUAL, "continuity", "sockets", "main", 0.09),
        digit=0.01,
    )
    assert any("touches PE at sockets: a fault of the insulation, about 50 ohm" in words for words in first(outcome))


# -- cores -------------------------------------------------------------------------------------------------------------------


def test_a_line_on_the_protective_pin() -> None:
    """The frame is live: nothing between L and N pins but what floats, 230 V from N to PE."""
    readings = [(USUAL, "voltage", "sockets", "N-PE", 230.0), (USUAL, "voltage", "sockets", "L1-N", 0.2)]
    outcome = told(site_of(COTTAGE), *readings, (USUAL, "continuity", "sockets", "main", math.inf))
    assert first(outcome) == {"L1 and PE of sockets are crossed at its end"}


def test_a_loop_tester_needs_a_voltage() -> None:
    """With L and N crossed the line pin is at PE: no tester works between the two, and none makes the RCD trip there."""
    doctor = Doctor(Plant(site_of(COTTAGE)))
    loop, trips = shown(
        doctor,
        ("crossed office L1-N",),
        {},
        Measurement("loop", "office", "L1-PE"),
        Measurement("rcd", "rcbo-office", "1 x"),
    )
    assert math.isinf(loop) and trips == 0


def test_a_loop_through_crossed_n_and_pe_is_of_metal_and_of_the_supplier() -> None:
    """What of a TT supplier's 1.2 ohm lies in his conductors is not declared: 0.49 ohm is as right as 0.3 ohm."""
    # the frame hangs on N: over the supplier's star point and the rod, 1.2 ohm and 60 ohm, back to PE
    readings = [(USUAL, "loop", "sockets", "L1-PE", 0.49), (USUAL, "continuity", "sockets", "main", 61.3)]
    assert "N and PE of sockets are crossed at its end" in first(told(site_of(COTTAGE), *readings))


def test_a_neutral_taken_from_beyond_the_inverter() -> None:
    """The inverter drives the office, whose neutral ends on the main bar: back over the supply's neutral, the soil, the rod and the bond.

    1.5 kW are 35.3 ohm, soil and rod 61.2 ohm: 2.4 A in the neutral of the supply alone, in 300 mA.
    """
    doctor = Doctor(Plant(site_of(COTTAGE)))
    (seen,) = shown(doctor, ("neutral-borrowed office main",), {"hyb": "inverting"}, Measurement("holds", "rcd-s"))
    assert seen == pytest.approx(230 / (35.3 + 61.2) / 0.3, rel=0.02)


def test_a_floating_neutral_stands_between_the_poles() -> None:
    """Filters leak from both poles alike: half the voltage on each (common practice, no source)."""
    inverting = {"hyb": "inverting"}
    pairs = (("L1-N", 231.0), ("L1-PE", 115.0), ("N-PE", 116.0))
    outcome = told(site_of(COTTAGE), *((inverting, "voltage", "ess", pair, value) for pair, value in pairs))
    assert "the bond inside hyb is open" in first(outcome)


def test_a_relay_that_stays_closed_beside_a_neutral_that_may_be_either() -> None:
    """0.5 ohm and more against open: where it reads 1.24 ohm, only the first explains it."""
    measurement = Measurement("tie", "main", "N-PE")
    assert distance(measurement, Shown(math.inf, 0.5, math.inf), 1.24, 0.01) == 0
    assert distance(measurement, Shown.exactly(math.inf), 1.24, 0.01) > FITS


def test_a_lost_earth_of_the_supplier_leaves_pe_and_n_joined() -> None:
    """TN-C-S: the PEN is broken from the electrode, not from the PE that is split from it."""
    text = (
        CAMP.replace(
            "  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, neutral-bond: fixed, filter-capacitance: 10 nF}",
            "  inv: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.35 ohm, fault-current: 1 kA}",
        )
        .replace("cores: L1 N, size: 4 mm2", "cores: L1 N PE, size: 4 mm2")
        .replace("  earth: {from: inv, to: box, cores: PE, size: 6 mm2, length: 3 m}\n", "")
    )
    doctor = Doctor(Plant(site_of(text)))
    lost = ("supply-earth-open inv",)
    assert shown(
        doctor, lost, {}, *(Measurement("voltage", "box", pair, False) for pair in ("L1-PE", "N-PE"))
    ) == pytest.approx([230, 0], abs=1)


THREE_PHASES = """\
onebond: 1
site: {name: Three rooms, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.4 ohm, fault-current: 2 kA}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 10 mm2, length: 20 m}
circuits:
  one:   {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 2 kW}
  two:   {from: main, cores: L2 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 1 kW}
  three: {from: main, cores: L3 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 500 W}
"""


@pytest.mark.parametrize(
    "pairs",
    [
        # only the first is on: its line and N are one, and the others have the voltage between lines
        (("L1-N", 2.0), ("L2-N", 398.0), ("L3-N", 398.0)),
        # the first two in series between their lines, 1 : 2 by their loads: 133 V and 266 V; L3 is 345 V from their middle and 351 V from N
        (("L1-N", 133.0), ("L2-N", 266.0), ("L3-N", 351.0)),
    ],
)
def test_an_open_neutral_of_three_lines_whatever_is_switched_on(pairs: tuple[tuple[str, float], ...]) -> None:
    site = site_of(THREE_PHASES)
    plant = Plant(site)
    state = plant.complete({})
    assert not isinstance(state, str)
    readings = tuple(
        Reading(Measurement("voltage", "main", pair, True), state, value, 1.0, str(value), (), "2026-09-20")
        for pair, value in pairs
    )
    assert first(diagnose(plant, Readings("site.yaml", None, "2026-09-20", "digital", readings))) == {
        "the N core of service is open"
    }


# -- cores and clamps --------------------------------------------------------------------------------------------------------


def test_an_open_core_carries_nothing() -> None:
    doctor = Doctor(Plant(site_of(COTTAGE)))
    assert ways(doctor, ("core-open sockets PE",), {}, Measurement("clamp", "sockets", "PE")) == [0]


def test_metal_beside_a_protective_conductor_lowers_what_is_read() -> None:
    """A pipe that joins two frames has no known resistance: from nothing up to that of the core alone is as it should be."""
    text = COTTAGE.replace(
        "electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe, joins: [main, ess]}\nelectrodes:\n"
    )
    site = Site(Plant(site_of(text)))
    test = Measurement("continuity", "ess", "main")
    found = site.shown(site.plant.dead, [test])[test]
    assert isinstance(found, Shown)
    assert found.low == 0
    assert found.high == pytest.approx(10 * 3.08e-3, rel=0.02)  # 6 mm2: 3.08 ohm/km (IEC 60228), 5 m and 5 m
