"""What meters show: facts of the trade, an independent circuit simulator, and the states in which something is measured."""

from __future__ import annotations

import itertools
import math
import shutil
import subprocess
from pathlib import Path

import pytest

from described import fixture, site_of
from onebond.circuit.impedances import Missing
from onebond.meter.bench import Shown
from onebond.meter.defects import defects
from onebond.meter.diagnose import FITS, Doctor, Measured, as_expected, distance
from onebond.meter.measurements import Measurement, Site
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.visits import _candidates, _proofs, visits
from onebond.network import build
from onebond.schedule import steps
from onebond.states import cases

ROOT = Path(__file__).resolve().parent.parent
SITES = [path for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem]

CAMP = """\
onebond: 1
site: {name: Ridge camp, rulebook: iec}
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, neutral-bond: fixed, filter-capacitance: 10 nF}
boards:
  box: {}
connections:
  lead: {from: inv, to: box, cores: L1 N, size: 4 mm2, length: 3 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
  earth: {from: inv, to: box, cores: PE, size: 6 mm2, length: 3 m}
circuits:
  kettle: {from: box, cores: L1 N, size: 2.5 mm2, length: 2 m, serves: fixed, load: 1 kW, equipment: class-II}
electrodes:
  rod: {at: box, resistance: 80 ohm}
"""


def shown(doctor: Doctor, names: tuple[str, ...], state: dict[str, str], *asked: Measurement) -> list[float]:
    """What meters show with some defects."""
    full = doctor.plant.complete(state)
    assert not isinstance(full, str), full
    broken = tuple(defect for defect in doctor.known if defect.name in names)
    assert len(broken) == len(names)
    answers = doctor.predicted(broken, [(full, one) for one in asked])
    return [answer.value for answer in answers if isinstance(answer, Shown)]


def ways(doctor: Doctor, names: tuple[str, ...], state: dict[str, str], asked: Measurement) -> list[float]:
    """Each of what a meter may show with some defects."""
    full = doctor.plant.complete(state)
    assert not isinstance(full, str), full
    broken = tuple(defect for defect in doctor.known if defect.name in names)
    (answer,) = doctor.predicted(broken, [(full, asked)])
    assert len(broken) == len(names) and isinstance(answer, Shown)
    return [way.value for way in answer.ways]


def volts(place: str, loads: bool = False) -> tuple[Measurement, ...]:
    return tuple(Measurement("voltage", place, pair, loads) for pair in ("L1-N", "L1-PE", "N-PE"))


# -- facts of the trade (common practice, no source) -----------------------------------------------------------------------------


def test_a_bonded_inverter_reads_230_230_0() -> None:
    line, earth, neutral = shown(Doctor(Plant(site_of(CAMP))), (), {}, *volts("box"))
    assert line == pytest.approx(230, abs=1)
    assert earth == pytest.approx(230, abs=1)
    assert neutral == pytest.approx(0, abs=0.1)


def test_an_inverter_without_its_bond_floats() -> None:
    """L-N correct, N-PE tens of volts, L-PE off 230."""
    line, earth, neutral = shown(Doctor(Plant(site_of(CAMP))), ("bond-open inv",), {}, *volts("box"))
    assert line == pytest.approx(230, abs=1)
    assert neutral > 30
    assert 20 < earth < 200


def test_an_inverter_whose_earth_conductor_is_off_reads_nothing_to_earth() -> None:
    """L-PE drifts towards zero and N-PE reads about zero, for the bar is joined to nothing that the meter could close a circuit with."""
    line, earth, neutral = shown(Doctor(Plant(site_of(CAMP))), ("core-open earth PE",), {}, *volts("box"))
    assert line == pytest.approx(230, abs=1)
    assert neutral < 1
    assert earth < 1


@pytest.mark.parametrize("defect", ["", "bond-open inv", "core-open earth PE"])
def test_each_of_the_three_is_told_from_its_readings_alone(defect: str) -> None:
    """Rounded to what people write down."""
    doctor = Doctor(Plant(site_of(CAMP)))
    state = doctor.plant.complete({})
    assert not isinstance(state, str)
    values = {"": (230, 230, 0), "bond-open inv": (230, 112, 117), "core-open earth PE": (229, 0, 0)}[defect]
    measured = [Measured(state, one, value, 1.0) for one, value in zip(volts("box", True), values, strict=True)]
    group = doctor.diagnose(measured).groups[0]
    named = {" ".join(one.name for one in explanation.defects) for explanation in group.members}
    assert defect in named
    if not defect:
        assert group.first.defects == ()


def test_the_voltages_of_two_capacitors_of_4_7_nf() -> None:
    """N-PE 114.93 V on 10 Mohm and 1.02 V on 3 kohm (recomputed by hand and with a circuit simulator, see below)."""
    text = CAMP.replace("10 nF", "4.7 nF").replace("neutral-bond: fixed, ", "neutral-bond: none, ")
    # without stray capacitance: the lead has no PE core, and nothing hangs behind the box
    text = text[: text.index("circuits:")] + text[text.index("electrodes:") :]
    site = Site(Plant(site_of(text)))
    state = site.plant.complete({})
    assert not isinstance(state, str)
    asked = Measurement("voltage", "box", "N-PE")
    read_ = {meter: site.shown(state, [asked], meter)[asked] for meter in ("digital", "low-impedance")}
    digital, low = read_["digital"], read_["low-impedance"]
    assert isinstance(digital, Shown) and isinstance(low, Shown)
    assert f"{digital.value:.2f} {low.value:.2f}" == "114.93 1.02"


NETLIST = """two capacitors
V1 l n AC 230
C1 l pe 4.7n
C2 n pe 4.7n
RM n pe {meter}
RG pe 0 1
.ac lin 1 50 50
.control
set numdgt=9
run
print vm(n,pe)
.endc
.end
"""


@pytest.mark.parametrize(("meter", "wanted"), [("10meg", "114.93"), ("3k", "1.02")])
def test_a_circuit_simulator_says_the_same(tmp_path: Path, meter: str, wanted: str) -> None:
    program = shutil.which("ngspice")
    assert program, "ngspice is a Debian package of the test setup"
    path = tmp_path / "site.cir"
    path.write_text(NETLIST.format(meter=meter))
    out = subprocess.run([program, "-b", str(path)], capture_output=True, text=True, check=False).stdout
    value = next(line for line in out.splitlines() if line.startswith("vm(n,pe)")).split("=")[1]
    assert f"{float(value):.2f}" == wanted


# -- what other defects do ---------------------------------------------------------------------------------------------------------


def test_a_broken_neutral_with_its_load_on_brings_the_line_to_n() -> None:
    """Behind an open neutral the load pulls N up to the line (common practice, no source)."""
    line, _, neutral = shown(Doctor(Plant(fixture("hut"))), ("core-open sockets N",), {}, *volts("sockets", True))
    assert line < 1
    assert neutral == pytest.approx(230, abs=2)


def test_crossed_polarity_shows_the_full_voltage_between_n_and_pe() -> None:
    line, earth, neutral = shown(Doctor(Plant(fixture("hut"))), ("crossed sockets L1-N",), {}, *volts("sockets"))
    assert (round(line), round(earth), round(neutral)) == (230, 0, 230)


def test_a_short_circuit_opens_its_breaker_before_anybody_reads_a_meter() -> None:
    """L and N crossed ahead of a link between N and PE is a short circuit; the inverter that passed it may take over."""
    doctor = Doctor(Plant(fixture("skarv")))
    broken = ("crossed to-essential L1-N",)
    assert shown(doctor, broken, {}, *volts("hybrid.in")) == pytest.approx([0, 0, 0], abs=0.1)
    # by itself it gives 230 V with the wrong pole earthed, which reads like the right one; else nothing
    for one, expected in zip(volts("essential"), ([230, 0], [230, 0], [0]), strict=True):
        assert ways(doctor, broken, {}, one) == pytest.approx(expected, abs=0.1)


def test_a_link_behind_an_rcd_trips_it_under_load_and_not_without() -> None:
    doctor = Doctor(Plant(fixture("hut")))
    under_load, healthy = (
        shown(doctor, names, {}, Measurement("holds", "rcd-hut"))[0] for names in (("extra-bond hut-rcd",), ())
    )
    assert under_load > 1 > 0.5 > healthy
    assert shown(doctor, ("extra-bond hut-rcd",), {}, volts("hut-rcd")[0])[0] == pytest.approx(230, abs=2)
    assert shown(doctor, ("extra-bond hut-rcd",), {}, volts("hut-rcd", True)[0])[0] == pytest.approx(0, abs=1e-6)


def test_the_rcd_trips_at_its_test_current_and_not_at_half_of_it() -> None:
    doctor = Doctor(Plant(fixture("hut")))
    half, whole = shown(doctor, (), {}, *(Measurement("rcd", "rcd-hut", times) for times in ("0.5 x", "1 x")))
    assert half == pytest.approx(0.5, rel=0.01)
    assert whole == pytest.approx(1, rel=0.01)


def test_continuity_is_that_of_the_cores() -> None:
    """2.5 mm2 of copper have 7.41 ohm/km at 20 C (IEC 60228): 28 m and the way there."""
    doctor = Doctor(Plant(fixture("skarv")))
    far, near = shown(
        doctor,
        (),
        {},
        Measurement("continuity", "met", "lab-sockets"),
        Measurement("continuity", "met", "essential"),
    )
    assert far - near == pytest.approx(28 * 7.41 / 1000, rel=0.01)
    assert shown(doctor, ("core-open lab-sockets PE",), {}, Measurement("continuity", "met", "lab-sockets")) == [
        math.inf
    ]


def test_the_loop_is_that_of_supply_and_cold_cores() -> None:
    """Ze 0.35 ohm; 10 mm2 have 1.83 ohm/km and 35 mm2 0.524 ohm/km at 20 C (IEC 60228), there and back."""
    doctor = Doctor(Plant(fixture("skarv")))
    state = {"hybrid": "off", "ts": "island"}
    measured = shown(doctor, (), state, Measurement("loop", "station", "L1-PE"))[0]
    cores = 2 * (18 * 0.524 + 40 * 1.83) / 1000
    assert measured == pytest.approx(0.35 + cores, rel=0.01)


# -- whole states -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_every_case_of_a_live_island_has_a_whole_state(path: Path) -> None:
    """Both look at the same conditions: what energises an island does so in the whole state too."""
    installation = fixture(path.stem)
    network = build(installation)
    plant = Plant(installation)
    for case in cases(network).cases[:60]:
        setting = {
            one.name: one.values[value] for one, value in zip(network.variables, case.state, strict=True) if value >= 0
        }
        state = plant.complete(setting)
        assert not isinstance(state, str), (setting, state)
        told = plant.told(state)
        assert all(told[name] == value for name, value in setting.items())
        energised = {plant.network.feeds[i].id for i in plant.feeds(state)}
        assert {network.feeds[i].id for i in case.feeds if network.feeds[i].forming} <= energised


def test_a_state_that_cannot_be_says_why() -> None:
    plant = Plant(fixture("skarv"))
    both = plant.complete({"q-shore": "closed", "q-diesel": "closed"})
    assert both == "an interlock forbids it"
    alone = plant.complete({"shore": "absent", "hybrid": "passing"})
    assert isinstance(alone, str) and "nothing feeds its input" in alone


@pytest.mark.parametrize("name", ["boat-house", "hut", "two-feeders", "sans-shop", "skarv", "van"])
def test_fewer_visits_do_not_prove_as_much(name: str) -> None:
    """Every smaller set of the states that may be set up is tried."""
    plant = Plant(fixture(name))
    found = visits(plant)
    assert found.fewest
    proofs = [_proofs(plant, state) for state in _candidates(plant)]
    everything = frozenset().union(*proofs)
    assert frozenset().union(*(_proofs(plant, visit.state) for visit in found.visits)) == everything
    fewer = len(found.visits) - 1
    assert not any(frozenset().union(*some) == everything for some in itertools.combinations(proofs, fewer))


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_the_schedule_leaves_nothing_out(path: Path) -> None:
    """Every link, relay position, changeover position, RCD, electrode and source is used or measured."""
    plant = Plant(fixture(path.stem))
    planned = plan(plant)
    assert planned.visits.unproved == ()
    measured = {entry.measurement.at for entry in planned.entries if entry.measurement.kind == "electrode"}
    assert measured == {electrode.id for electrode in plant.site.electrodes}
    assert all(not plant.feeds(entry.state) or entry.visit for entry in planned.entries)


def test_nobody_is_sent_to_run_two_sources_that_may_not_meet() -> None:
    plant = Plant(fixture("two-generators"))
    for visit in visits(plant).visits:
        told = plant.told(visit.state)
        assert (told["q-g1"], told["q-g2"]) != ("closed", "closed")


def test_every_defect_has_its_own_name() -> None:
    for path in SITES:
        names = [defect.name for defect in defects(Plant(fixture(path.stem)).network)]
        assert len(names) == len(set(names))


# -- what a broken part does to the rest, and what is left open ------------------------------------------------------------------


def outcome(doctor: Doctor, state: dict[str, str], values: dict[Measurement, float]) -> list[set[str]]:
    """The groups of explanations of some readings, by the names of their defects."""
    full = doctor.plant.complete(state)
    assert not isinstance(full, str), full
    measured = [Measured(doctor.plant.dead if one.dead else full, one, value, 0.1) for one, value in values.items()]
    groups = doctor.diagnose(measured).groups
    return [{" ".join(defect.name for defect in one.defects) for one in group.members} for group in groups]


def test_a_broken_core_ahead_of_an_inverter_darkens_nothing_else() -> None:
    """The main board has its voltage whatever the inverter behind a broken core does; what is behind it depends on the inverter."""
    doctor = Doctor(Plant(fixture("tt-farm")))
    broken = ("core-open to-hybrid L1",)
    assert shown(doctor, broken, {}, *volts("main")) == pytest.approx([230, 230, 0], abs=1)
    assert shown(doctor, broken, {}, Measurement("voltage", "hybrid.in", "L1-N", False))[0] < 5
    assert ways(doctor, broken, {}, Measurement("voltage", "essential", "L1-N", False)) == pytest.approx(
        [230, 0], abs=2
    )


BEHIND_AN_RCD = """\
onebond: 1
site: {name: Fen house, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 0.6 ohm}
  hybrid: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, mains-input: yes, neutral-through: switched,
           neutral-bond: while-inverting}
boards:
  main: {}
  house: {}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 10 m,
            through: [{kind: rcd, rating: 63 A, residual: 300 mA, type: A, delay: selective, id: rcd-main}]}
  into: {from: main, to: hybrid.in, cores: L1 N PE, size: 6 mm2, length: 5 m}
  out: {from: hybrid.out, to: house, cores: L1 N PE, size: 6 mm2, length: 5 m}
circuits:
  oven: {from: house, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, load: 2 kW, equipment: class-II}
electrodes:
  rod: {at: main, resistance: 20 ohm}
"""


def test_what_opens_ahead_of_an_inverter_that_passes_does_not_say_what_its_output_does() -> None:
    """N and PE crossed behind the RCD: the load comes back through the soil, it trips, and the inverter takes over or does not."""
    doctor = Doctor(Plant(site_of(BEHIND_AN_RCD)))
    broken, rcd = ("crossed into N-PE",), Measurement("holds", "rcd-main")
    (healthy,) = shown(doctor, (), {}, rcd)
    (seen,) = shown(doctor, broken, {}, rcd)
    # the oven takes 230 V / (26.45 + 20 + 0.6) ohm, nearly 5 A, all of it past the RCD
    assert healthy < 0.5 < 1 < seen
    ahead, behind = Measurement("voltage", "main", "L1-N"), Measurement("voltage", "house", "L1-N")
    assert shown(doctor, (), {}, ahead, behind) == pytest.approx([230, 230], abs=3)
    assert shown(doctor, broken, {}, ahead) == pytest.approx([0], abs=1e-6)
    assert ways(doctor, broken, {}, behind) == pytest.approx([230, 0], abs=3)
    # with the inverter switched off nothing is in doubt
    off = {"hybrid": "off"}
    assert shown(doctor, broken, off, rcd, behind) == pytest.approx([0, 0], abs=0.1)


def test_a_dead_output_may_come_of_the_input_or_of_the_output_cable() -> None:
    """230 V at the main board and nothing behind the inverter: its input, its contact, or its output."""
    doctor = Doctor(Plant(fixture("tt-farm")))
    values = dict(zip((*volts("main"), *volts("essential")), (231, 231, 0.2, 0, 0, 0), strict=True))
    first = outcome(doctor, {}, values)[0]
    assert {"core-open to-hybrid L1", "core-open to-essential L1", "contact-open hybrid L1"} <= first


@pytest.mark.parametrize(("ohm", "healthy"), [(math.inf, True), (13.4, True), (0.02, False)])
def test_a_main_isolator_may_open_the_neutral_of_a_supply_or_leave_it(ohm: float, healthy: bool) -> None:
    """TT: supplier's star point and electrode stand between N and PE (1.2 ohm and 12.2 ohm), or nothing does."""
    doctor = Doctor(Plant(fixture("tt-farm")))
    assert ("" in outcome(doctor, {}, {Measurement("tie", "main", "N-PE"): ohm})[0]) == healthy


def test_a_loop_through_the_soil_is_as_uncertain_as_the_electrode() -> None:
    """An electrode worked out from its soil may be off by 30 % (12.2 ohm: 3.7 ohm); two of that are no contradiction, ten are."""
    doctor = Doctor(Plant(fixture("tt-farm")))
    loop = Measurement("loop", "main", "L1-PE")
    (state,) = [doctor.plant.complete({})]
    assert not isinstance(state, str)
    off = [doctor.explanation((), [Measured(state, loop, ohm, 0.1)]).worst for ohm in (13.4 + 7.3, 13.4 + 37)]
    assert off[0] < 3.5 < off[1]
    metal = Measurement("loop", "station", "L1-PE")
    skarv = Doctor(Plant(fixture("skarv")))
    state = skarv.plant.complete({})
    assert not isinstance(state, str)
    answer = skarv.predicted((), [(state, metal)])[0]
    assert isinstance(answer, Shown) and answer.slack == 0


def test_a_neutral_earthed_elsewhere_has_volts_to_earth_and_one_earthed_here_has_none() -> None:
    """3 V of neighbours' load between N and PE are usual in TT (common practice, no source); beside a link they are a fault."""
    for name, place, healthy in (("tt-farm", "main", True), ("skarv", "main", False)):
        doctor = Doctor(Plant(fixture(name)))
        state = doctor.plant.complete({})
        assert not isinstance(state, str)
        reading = Measured(state, Measurement("voltage", place, "N-PE", False), 3.0, 0.1)
        assert (doctor.explanation((), [reading]).worst < 3.5) == healthy


def test_a_loop_tester_says_nothing_behind_an_inverter() -> None:
    doctor = Doctor(Plant(fixture("tt-farm")))
    state = doctor.plant.complete({"grid": "absent", "hybrid": "inverting"})
    assert not isinstance(state, str)
    answer = doctor.predicted((), [(state, Measurement("loop", "essential", "L1-PE"))])[0]
    assert isinstance(answer, Missing) and "hybrid limits its current" in answer.reason


def test_no_loop_is_asked_for_in_an_it_system() -> None:
    """A loop test there is a first earth fault (IEC 60364-6, 6.4.3.7: continuity and the second fault instead, from memory)."""
    kinds = {entry.measurement.kind for entry in plan(Plant(fixture("pump-station"))).entries}
    assert "loop" not in kinds and "voltage" in kinds


def test_leakage_that_is_not_written_is_not_taken_for_none() -> None:
    """A clamp round the PE of a cable whose circuits say nothing of leakage may well show some milliamperes each."""
    text = CAMP.replace("cores: L1 N, size: 4 mm2", "cores: L1 N PE, size: 4 mm2")
    text = text.replace("  earth: {from: inv, to: box, cores: PE, size: 6 mm2, length: 3 m}\n", "")
    doctor = Doctor(Plant(site_of(text)))
    state = doctor.plant.complete({})
    assert not isinstance(state, str)
    clamp = Measurement("clamp", "lead", "PE")
    off = [doctor.explanation((), [Measured(state, clamp, ampere, 0.0001)]).worst for ampere in (0.015, 0.5)]
    assert off[0] < 3.5 < off[1]


def test_switches_are_opened_before_a_changeover_is_moved() -> None:
    """Nothing is switched over while the source that has to go is still on."""
    plant = Plant(fixture("skarv"))
    before, after = (
        plant.complete({}),
        plant.complete({"q-shore": "open", "q-diesel": "closed", "ts": "grid", "diesel": "running"}),
    )
    assert not isinstance(before, str) and not isinstance(after, str)
    done = list(steps(plant, before, after))
    order = [done.index(one) for one in ("open q-shore", "set ts to grid", "start diesel", "close q-diesel")]
    assert order == sorted(order)


@pytest.mark.parametrize(
    ("measurement", "healthy"),
    [
        (Measurement("electrode", "rod"), Shown(40, 40, 40, 8)),
        (Measurement("electrode", "rod"), Shown(12, 12, 12, 3.6)),
        (Measurement("loop", "box", "L1-PE"), Shown(0.5, 0.1, 0.5)),
        (Measurement("loop", "box", "L1-PE"), Shown(13, 5, 13, 3.7)),
        (Measurement("clamp", "lead", "PE"), Shown.exactly(6.4)),
        (Measurement("voltage", "box", "N-PE"), Shown(2, 2, 2, 2)),
        (Measurement("voltage", "box", "L1-PE"), Shown(115, 90, 150, 23)),
        (Measurement("voltage", "box", "L1-N"), Shown.exactly(230)),
        (Measurement("tie", "box", "N-PE"), Shown(math.inf, 13, math.inf)),
    ],
)
def test_what_lies_in_the_printed_band_does_not_contradict(measurement: Measurement, healthy: Shown) -> None:
    """Who reads a value inside the band of the schedule is not told afterwards that it is wrong."""
    for end in as_expected(measurement, healthy):
        assert distance(measurement, healthy, end, 0.0) < FITS


def test_an_electrode_may_be_half_as_high_again_in_a_dry_summer() -> None:
    """40 ohm written and 58 ohm read (common practice, no source)."""
    text = CAMP.replace("resistance: 80 ohm", "resistance: 40 ohm")
    doctor = Doctor(Plant(site_of(text)))
    reading = Measured(doctor.plant.dead, Measurement("electrode", "rod"), 58, 1.0)
    assert doctor.explanation((), [reading]).worst < FITS
    assert doctor.explanation((), [reading._replace(value=200)]).worst > FITS


def test_continuity_is_not_measured_through_the_soil() -> None:
    """A building with a rod of its own has its own terminal: no conductor joins it to the other one."""
    text = CAMP.replace("boards:\n  box: {}", "boards:\n  box: {}\n  shed: {}").replace(
        "electrodes:\n", "electrodes:\n  far: {at: shed, resistance: 60 ohm}\n"
    )
    text = text.replace(
        "circuits:\n", "  to-shed: {from: box, to: shed, cores: L1 N, size: 4 mm2, length: 30 m}\n\ncircuits:\n"
    )
    text = text.replace(
        "electrodes:\n",
        "  tool: {from: shed, cores: L1 N PE, size: 2.5 mm2, length: 8 m, serves: fixed}\n\nelectrodes:\n",
    )
    pairs = {
        (entry.measurement.at, entry.measurement.between)
        for entry in plan(Plant(site_of(text))).entries
        if entry.measurement.kind == "continuity"
    }
    assert pairs == {("box", "inv"), ("shed", "tool")}


def test_where_no_loop_can_be_measured_the_rcd_is() -> None:
    planned = plan(Plant(fixture("sans-shop")))
    times = {(entry.visit, entry.measurement.between) for entry in planned.entries if entry.measurement.kind == "rcd"}
    assert {(1, "0.5 x"), (1, "1 x"), (1, "5 x"), (2, "1 x")} <= times
