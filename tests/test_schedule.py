"""The test schedule as instructions: who follows it step by step stands in the state that is worked out, and meets nothing live."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from unittest.mock import patch

import pytest

from described import fixture, site_of
from onebond import cli
from onebond.meter.bench import Shown
from onebond.meter.diagnose import Doctor, parted
from onebond.meter.measurements import Measurement
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.visits import visits
from onebond.model import LINES, Installation
from onebond.network import Feed
from onebond.rule import Rule
from onebond.schedule import Row, Schedule, Stop, schedule, steps
from onebond.states import reach
from onebond_rules.reading_contradicts_design import RULE

ROOT = Path(__file__).resolve().parent.parent
SOME = ("boat-house", "tt-farm", "contactor-island", "nec-lodge", "hut")


def quickly(installation: Installation, rules: Sequence[Rule] = ()) -> Schedule:
    """A schedule without what other readings would mean: that tries every defect."""
    with patch("onebond.schedule.telling", return_value={}):
        return schedule(installation, rules)


@cache
def planned(name: str) -> Schedule:
    return quickly(fixture(name))


def rows(found: Schedule, test: str, visit: int | None = None) -> list[Row]:
    return [row for row in found.rows if row.test.startswith(test) and visit in (None, row.visit)]


def line(stop: Stop) -> str:
    """The step that says where everything stands."""
    return next(step for step in stop.steps if step.startswith("positions: "))


# A TT cottage: the supplier's fuse and meter, a board ahead of the main RCD, a set on a lead, and an inverter behind a two-pole breaker.
COTTAGE = """\
onebond: 1
site: {name: Heather cottage, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.2 ohm, fault-current: 1.5 kA}
  hybrid: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: yes, mains-input: yes, neutral-through: switched,
           neutral-bond: while-inverting, fault-current: {limit: 2 x rated, for: 100 ms}}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 5.5 kVA, mounted: portable, neutral-bond: fixed,
        subtransient-reactance: 15 %, sustained-fault-current: {limit: 3 x rated, for: 5 s}}
boards:
  met: {bars: PE}
  intake: {equipment: class-II}
  unit: {}
  backup: {}
changeovers:
  cs: {positions: [grid, off, set], poles: L1 N, drive: manual}
connections:
  service: {from: grid, to: intake, cores: L1 N, size: 16 mm2, length: 22 m,
            through: [{kind: fuse, class: gG, rating: 63 A}, {kind: meter, rating: 63 A}]}
  tails: {from: intake, to: cs.grid, cores: L1 N, size: 16 mm2, length: 3 m,
          through: [{kind: rcd, rating: 63 A, residual: 300 mA, type: A, delay: S, operable: yes, id: q-main}]}
  lead: {from: set, to: cs.set, cores: L1 N PE, size: 4 mm2, length: 10 m, plug: yes,
         through: [{kind: mcb, curve: C, rating: 20 A, poles: L1 N}]}
  to-unit: {from: cs, to: unit, cores: L1 N PE, size: 16 mm2, length: 2 m}
  to-hybrid: {from: unit, to: hybrid.in, cores: L1 N PE, size: 6 mm2, length: 6 m,
              through: [{kind: mcb, curve: C, rating: 32 A, poles: L1 N, operable: yes, id: q-hyb}]}
  to-backup: {from: hybrid.out, to: backup, cores: L1 N PE, size: 6 mm2, length: 5 m}
  earth: {from: met, to: unit, cores: PE, size: 16 mm2, length: 2 m}
circuits:
  oven: {from: unit, cores: L1 N PE, size: 6 mm2, length: 11 m, serves: fixed, load: 3 kW,
         through: [{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA, type: A}]}
  fridge: {from: backup, cores: L1 N PE, size: 2.5 mm2, length: 14 m, serves: socket-outlets, load: 500 W, leakage: 1 mA,
           through: [{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA, type: A}]}
electrodes:
  rod: {at: met, resistance: 45 ohm}
"""


@cache
def cottage() -> Schedule:
    return quickly(site_of(COTTAGE))


# -- without voltage -----------------------------------------------------------------------------------------------------------------


def test_the_main_isolator_is_open_in_the_state_without_voltage() -> None:
    """What the step asks for is what is worked out: q-main opens L1 and N of the boat-house, so its neutral ends there."""
    doctor = Doctor(Plant(fixture("boat-house")))
    assert doctor.plant.told(doctor.plant.dead)["q-main"] == "open"
    asked = (doctor.plant.dead, Measurement("tie", "main", "N-PE"))
    (answer,) = doctor.predicted((), [asked])
    assert isinstance(answer, Shown) and math.isinf(answer.value) and math.isinf(answer.low)
    # N and PE crossed in to-main: what was the neutral ends at the open isolator, and only the soil leads back (rods of several ohms);
    # through a closed one it would be the 0.8 ohm of the supply
    crossed = tuple(one for one in doctor.known if one.name == "crossed to-main N-PE")
    (answer,) = doctor.predicted(crossed, [(doctor.plant.dead, Measurement("continuity", "main", "petrol-set"))])
    assert isinstance(answer, Shown) and answer.value > 5


@pytest.mark.parametrize(
    ("name", "supply", "device", "ahead"),
    [
        ("boat-house", "grid", "q-main", ()),
        ("skarv", "shore", "q-shore", ()),
        ("three-changeovers", "mains", "q-mains", ("intake",)),  # the board ahead of it stays on the supply
        (
            "nec-lodge",
            "drop",
            "the MCCB of service-drop",
            (),
        ),  # it has no id, opens the lines alone, and is what there is
        ("van", "pedestal", "rcbo-pedestal", ()),  # at the outlet
        ("contactor-island", "grid", "", ()),  # a contactor closes by itself
        ("tt-farm", "grid", "", ()),  # nothing says that the RCD is for isolation, and it would open the neutral
        ("pump-station", "feeder", "", ()),  # the supplier's fuses
    ],
)
def test_which_device_makes_a_supply_dead(name: str, supply: str, device: str, ahead: tuple[str, ...]) -> None:
    plant = Plant(fixture(name))
    found = plant.isolations.get(supply)
    assert (plant.called(plant.name_of(found.link, found.device)) if found else "") == device
    assert (found.ahead if found else ()) == ahead


def test_nothing_isolates_a_board_from_which_several_cables_lead_on() -> None:
    """Two isolators behind an unswitched board: neither of them makes it dead."""
    text = COTTAGE.replace(
        "circuits:\n", "  annex: {from: intake, to: met, cores: PE, size: 6 mm2, length: 4 m}\ncircuits:\n", 1
    )
    assert Plant(site_of(text)).isolations["grid"].name == "q-main"  # a conductor without a line leads nowhere
    text = COTTAGE.replace(
        "circuits:\n",
        "circuits:\n  bell: {from: intake, cores: L1 N, size: 1.5 mm2, length: 4 m, serves: fixed, equipment: class-II}\n",
        1,
    )
    assert not Plant(site_of(text)).isolations


def test_without_an_isolator_the_supplier_has_to_be_asked() -> None:
    dead = planned("tt-farm").stops[0]
    asked = "have grid isolated at the supplier's fuse (its owner's permission), its neutral left joined, locked and proved dead"
    assert asked in dead.steps
    assert (
        "make grid dead: open q-main, lock it and prove that all is dead behind it"
        in planned("boat-house").stops[0].steps
    )
    (step,) = [step for step in cottage().stops[0].steps if "grid dead" in step]
    assert step.endswith("; intake ahead of it stays live")


def test_n_to_pe_without_voltage_says_one_thing() -> None:
    """TN-S through a two-pole isolator: open.  TT without one: the fuse leaves N on the supplier's star point, 12.2 + 1.2 ohm."""
    expected = {
        (name, row.where): row.expected
        for name in ("boat-house", "tt-farm", "contactor-island")
        for row in rows(planned(name), "N to PE")
    }
    assert expected["boat-house", "main"] == "open"
    assert expected["tt-farm", "main"].startswith("13.4 ohm (")
    assert expected["contactor-island", "intake"].startswith("0.05 ohm (")
    for name in SOME:
        assert not any("or more" in row.expected for row in rows(planned(name), "N to PE")), name


# -- positions and steps --------------------------------------------------------------------------------------------------------------


def test_every_visit_says_where_everything_stands() -> None:
    stops = planned("boat-house").stops
    assert line(stops[0]) == "positions: ts on grid, q-main open, inlet-lead plugged in, everything else closed"
    assert "put the plug of inlet-lead in" in stops[0].steps
    assert dict(stops[0].positions)["q-main"] == "open"
    for name in SOME:
        site = planned(name)
        for stop in site.stops:
            assert line(stop) == stop.steps[-1]
            for changeover in fixture(name).changeovers:
                assert dict(stop.positions)[changeover.id] == dict(stop.state)[changeover.id]
    assert line(planned("hut").stops[1]) == "positions: everything closed"
    # a battery starts an inverter by itself: without voltage what parts the two is open, and locked
    dead = planned("orchard-hybrid").stops[0]
    assert {"q-stack open", "q-barn open", "q-drying open"} <= set(line(dead).removeprefix("positions: ").split(", "))
    assert any("open and lock what parts it from its battery and arrays" in step for step in dead.steps)


def test_a_breaker_whose_position_changes_nothing_else_is_told_too() -> None:
    """The service disconnect of the lodge opens no neutral and has no id, and somebody has to open it all the same."""
    stops = planned("nec-lodge").stops
    assert "the MCCB of service-drop open" in line(stops[0])
    assert "the MCCB of service-drop" not in line(stops[1])
    assert "put drop back: close the MCCB of service-drop" in stops[1].steps


def test_a_supply_that_fails_keeps_its_neutral() -> None:
    """An outage is no open isolator: what opens N with the line would change what is measured."""
    plant = Plant(fixture("boat-house"))
    usual, fails = plant.usual, plant.complete({"grid": "absent"})
    assert usual is not None and not isinstance(fails, str)
    (step,) = steps(plant, usual, fails)
    assert step.startswith("have grid isolated at the supplier's fuse") and "neutral left joined" in step
    assert list(steps(plant, plant.dead, fails)) == [step, "close q-main"]
    assert list(steps(plant, fails, usual)) == ["put grid back"]
    assert list(steps(plant, plant.dead, usual)) == ["put grid back: close q-main"]
    opened = plant.complete({"q-main": "open"})
    assert not isinstance(opened, str)
    assert list(steps(plant, plant.dead, opened)) == []  # it is open, whoever calls the supply present or absent


# -- insulation ---------------------------------------------------------------------------------------------------------------------


def insulated(name: str) -> list[str]:
    return [row.where for row in rows(planned(name), "insulation")]


def test_nobody_tests_insulation_on_what_stays_live() -> None:
    """The board between meter and main RCD hangs on the supplier's fuse, and has no PE either."""
    assert [row.where for row in rows(cottage(), "insulation")] == ["unit", "backup"]
    assert any("Ahead of q-main, at intake, everything stays live" in remark for remark in cottage().stops[0].remarks)
    # three-changeovers: q-mains stands behind the intake board, which has a PE and N-PE link
    assert "intake" not in insulated("three-changeovers") and "main" in insulated("three-changeovers")
    assert "intake" not in [row.where for row in rows(planned("three-changeovers"), "N to PE")]


def test_insulation_against_pe_needs_a_pe() -> None:
    text = COTTAGE.replace(
        "q-main}]}", "q-main}]}\n  extra: {from: unit, to: bare, cores: L1 N, size: 4 mm2, length: 9 m}"
    )
    text = text.replace("  backup: {}\n", "  backup: {}\n  bare: {equipment: class-II}\n")
    found = quickly(site_of(text))
    assert "bare" not in [row.where for row in rows(found, "insulation")]
    assert any(remark.startswith("No PE lands at bare") for remark in found.stops[0].remarks)


def test_a_neutral_that_stays_earthed_has_to_be_lifted() -> None:
    """Skarv: the PEN of the shore lands on the N bar of main, which no isolator and no link takes off the supplier's earth."""
    (remark,) = [one for one in planned("skarv").stops[0].remarks if "lift it" in one]
    assert "by shore" in remark and "main" in remark
    # boat-house: the isolator opens N, and the set is on the other side of the changeover
    assert not any("lift" in remark for remark in planned("boat-house").stops[0].remarks)
    # a fuse alone leaves the neutral of a TT supply on the supplier's electrode
    assert any("by grid" in remark for remark in planned("tt-farm").stops[0].remarks)


def test_the_live_conductors_are_tested_against_each_other_too() -> None:
    """IEC 60364-6, 6.4.3.3 (from memory)."""
    assert all("against each other" in row.method for row in rows(planned("hut"), "insulation"))


# -- what would hide a fault, and what things are called ----------------------------------------------------------------------------------


def inverting(found: Schedule) -> list[str]:
    return [step for stop in found.stops for step in stop.steps if " invert" in step and step.startswith("let ")]


def test_an_inverter_is_not_made_to_invert_by_what_opens_its_neutral() -> None:
    """A relay whose N contact is welded ties two neutrals together: with N open ahead of the input nobody sees it."""
    (step,) = inverting(planned("camper"))  # a breaker of two poles, and the plug, stand ahead of the input
    assert step.startswith("let combi invert by its setting; ") and "MCB" not in step
    (step,) = inverting(planned("nec-rv"))  # one pole in the cord
    assert step == "let charger invert by its setting, or open the MCB of cord: that leaves its neutral joined"


def test_an_inverter_without_input_inverts_by_itself() -> None:
    plant = Plant(site_of(COTTAGE))
    usual, alone = plant.usual, plant.complete({"q-main": "open"})
    assert usual is not None and not isinstance(alone, str)
    assert list(steps(plant, usual, alone)) == ["open q-main", "let hybrid invert"]


def test_an_inverter_whose_input_comes_back_has_to_be_kept_from_passing_it() -> None:
    plant = Plant(site_of(COTTAGE))
    alone = plant.complete({"cs": "off"})
    fed = plant.complete({"cs": "set", "set": "running", "hybrid": "inverting"})
    assert not isinstance(alone, str) and not isinstance(fed, str)
    assert plant.told(alone)["hybrid"] == "inverting"
    done = list(steps(plant, alone, fed))
    (kept,) = [number for number, step in enumerate(done) if step.startswith("keep hybrid inverting by its setting")]
    assert kept < done.index("start set")


def test_a_device_without_an_id_is_called_by_its_cable() -> None:
    found = schedule(site_of(COTTAGE), ())
    assert {row.where for row in rows(found, "RCD under load")} == {"q-main", "the RCBO of oven", "the RCBO of fridge"}
    assert not any("/1" in text for row in found.rows for text in (row.where, row.means))
    assert not any("/1" in text for stop in found.stops for text in (*stop.steps, *stop.proves))
    assert "the RCBO of fridge carries load" in {text for stop in found.stops for text in stop.proves}


def test_continuity_is_from_one_place_to_another(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "cottage.yaml"
    path.write_text(COTTAGE, encoding="utf-8")
    assert cli.main(["schedule", str(path)]) == 0
    assert "met to backup: continuity of the protective conductor" in capsys.readouterr().out


# -- which states ---------------------------------------------------------------------------------------------------------------------


def visited(installation: Installation) -> tuple[Plant, list[tuple[dict[str, str], set[str]]]]:
    """Each visit: what is not as usual, and what it proves."""
    plant = Plant(installation)
    return plant, [
        (dict(plant.unusual(visit.state)), {proof.words for proof in visit.proves}) for visit in visits(plant).visits
    ]


WITH_SOURCES = (
    "boat-house",
    "homestead",
    "maintenance-bypass",
    "nec-cabin-solid",
    "pump-station",
    "skarv",
    "three-changeovers",
    "two-feeders",
)


@pytest.mark.parametrize("name", WITH_SOURCES)
def test_the_usual_state_is_visited(name: str) -> None:
    assert {} in [unusual for unusual, _ in visited(fixture(name))[1]]


def test_a_site_whose_sets_stand_has_nothing_to_show_in_its_usual_state() -> None:
    assert [unusual["g1"] for unusual, _ in visited(fixture("two-generators"))[1] if "g1" in unusual] == ["running"]
    assert {} not in [unusual for unusual, _ in visited(fixture("two-generators"))[1]]


@pytest.mark.parametrize("name", WITH_SOURCES)
def test_a_line_pole_is_proved_open_before_another_source_is_put_on_it(name: str) -> None:
    """Two sources in phase, as on paper, have no voltage between them: a welded pole shows only where one of its sides is dead."""
    plant = Plant(fixture(name))
    shown: set[tuple[str, str]] = set()
    for visit in visits(plant).visits:
        live, told = plant.live(visit.state), plant.told(visit.state)
        feeds = [plant.network.feeds[i] for i in plant.feeds(visit.state)]

        def fed(place: str, terminal: str, state: tuple[int, ...] = visit.state, on: list[Feed] = feeds) -> set[str]:
            node = next(n for line in LINES if (n := plant.network.find(place, terminal, line)) >= 0)
            lines = frozenset(n for n, one in enumerate(plant.network.plain) if one[4] != "line")
            part = reach(plant.network, state, (node,), without_edges=lines)
            return {feed.id for feed in on if any(part >> n & 1 for n in feed.lines)}

        new: set[tuple[str, str]] = set()
        for changeover in plant.site.changeovers:
            for position in changeover.positions:
                if position in ("off", told[changeover.id]):
                    continue
                far, near = fed(changeover.id, position), fed(changeover.id, "")
                if far and near and far != near:
                    assert (changeover.id, position) in shown, (visit.state, changeover.id, position)
                if bool(far) != bool(near):
                    new.add((changeover.id, position))
        shown |= new
        assert live
    every = {(one.id, position) for one in plant.site.changeovers for position in one.positions if position != "off"}
    assert shown == every


@pytest.mark.parametrize(
    ("name", "pole"),
    [
        ("homestead", "the L1 pole of ts towards grid does not open"),
        ("nec-cabin-solid", "the L1 pole of ts towards utility does not open"),
        ("three-wire-pump", "the L3 pole of ts towards grid does not open"),
        ("maintenance-bypass", "the L1 pole of bypass towards inverter does not open"),
        ("maintenance-bypass", "the N pole of bypass towards inverter does not open"),
        ("boat-house", "the N pole of ts towards grid does not open"),
        ("three-changeovers", "the N core of genset-feed is open"),
        ("maintenance-bypass", "the N contact of ups between input and output does not close"),
    ],
)
def test_a_row_of_the_schedule_shows_it(name: str, pole: str) -> None:
    """Welded poles, and the neutral of each position under load."""
    doctor = Doctor(Plant(fixture(name)))
    asked = [(one.state, one.measurement) for one in plan(doctor.plant).entries if one.measurement.kind != "insulation"]
    (broken,) = [one for one in doctor.known if one.words == pole]
    both = zip(asked, doctor.predicted((), asked), doctor.predicted((broken,), asked), strict=True)
    assert any(
        isinstance(healthy, Shown) and isinstance(with_it, Shown) and parted(one, healthy, with_it)[0] > 3
        for (_, one), healthy, with_it in both
    )


def test_no_voltage_between_sources_that_nothing_synchronises_is_asked_for() -> None:
    """At the grid side of the changeover, while the set feeds the house: what would be compared wanders."""
    for visit in range(1, len(cottage().stops)):
        told = dict(cottage().stops[visit].state)
        if told["set"] == "running" and told["cs"] == "set":
            assert not [row for row in cottage().rows if row.visit == visit and row.where == "cs.grid"]


def test_the_supplier_is_not_asked_for_what_the_main_isolator_shows_too() -> None:
    assert not any("absent" in unusual.values() for unusual, _ in visited(fixture("boat-house"))[1])
    # nothing is described that would open this supply
    assert any("absent" in unusual.values() for unusual, _ in visited(fixture("pump-station"))[1])


# -- RCDs, loops and what was missing----------------------------------------------------------------------------------------------------


def times_of(found: Schedule, called: str, visit: int | None = None) -> list[str]:
    return [
        row.measurement.between
        for row in rows(found, "operating time", visit)
        if row.where == called and row.measurement is not None
    ]


@pytest.mark.parametrize(
    ("ohm", "residual", "left_out"), [(160, 300, True), (34, 300, True), (32, 300, False), (160, 30, False)]
)
def test_no_test_raises_frames_above_50_v(ohm: int, residual: int, left_out: bool) -> None:
    """5 x 0.3 A through 160 ohm would be 240 V, through 34 ohm 51 V, through 32 ohm 48 V; 5 x 0.03 A through 160 ohm are 24 V."""
    text = COTTAGE.replace("45 ohm", f"{ohm} ohm").replace("residual: 300 mA", f"residual: {residual} mA")
    found = quickly(site_of(text))
    assert times_of(found, "q-main", 1) == (["0.5 x", "1 x"] if left_out else ["0.5 x", "1 x", "5 x"])
    told = [remark for remark in found.stops[1].remarks if "five times" in remark and "q-main" in remark]
    assert bool(told) == left_out


def test_where_a_conductor_leads_back_the_electrode_does_not_count() -> None:
    """TN-S: the test current returns by PE, whatever the rods have."""
    text = (ROOT / "fixtures" / "sites" / "boat-house.yaml").read_text(encoding="utf-8")
    found = quickly(
        site_of(text.replace("soil: 50 ohm m", "soil: 5000 ohm m").replace("residual: 30 mA", "residual: 300 mA"))
    )
    assert times_of(found, "rcd-main", 1) == ["0.5 x", "1 x", "5 x"]


THEATRE = """\
onebond: 1
site: {name: Fell theatre, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.3 ohm, fault-current: 2 kA}
  t: {kind: transformer, phases: L1, voltage: 230 V, primary-voltage: 230 V, rating: 6.3 kVA, impedance: 3 %, winding: isolating,
      earthing: IT}
boards:
  main: {}
  it: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: fuse, class: gG, rating: 40 A}]}
  to-t: {from: main, to: t.in, cores: L1 N PE, size: 6 mm2, length: 6 m, through: [{kind: mcb, curve: C, rating: 32 A, poles: L1 N}]}
  from-t: {from: t.out, to: it, cores: L1 N PE, size: 6 mm2, length: 5 m, through: [{kind: mcb, curve: C, rating: 25 A, poles: L1 N}]}
circuits:
  table: {from: it, cores: L1 N PE, size: 2.5 mm2, length: 12 m, serves: socket-outlets, load: 500 W,
          through: [{kind: rcbo, curve: B, rating: 10 A, residual: 30 mA, type: A, poles: L1 N}]}
electrodes:
  rods: {at: main, resistance: 15 ohm}
monitors:
  imd: {at: it, impedance: 100 kohm}
"""


def test_an_rcd_of_an_it_system_is_not_tested_to_pe() -> None:
    """A current from a line to PE has no way back there: no RCD sees it, and the test is a first earth fault."""
    found = quickly(site_of(THEATRE))
    assert times_of(found, "the RCBO of table") == []
    assert [row.where for row in rows(found, "RCD under load")] == ["the RCBO of table"]
    assert any("to the neutral ahead of it" in remark for stop in found.stops for remark in stop.remarks)


def test_an_rcd_is_timed_once_at_each_source() -> None:
    """All times on the supply, and that at its rated current again while the set feeds, whose neutral is tied elsewhere."""
    found = planned("boat-house")
    on_the_set = next(stop.number for stop in found.stops if dict(stop.state)["ts"] == "set")
    assert times_of(found, "rcd-main", 1) == ["0.5 x", "1 x", "5 x"]
    assert times_of(found, "rcd-main") == ["0.5 x", "1 x", "5 x", "1 x"]
    assert times_of(found, "rcd-main", on_the_set) == ["1 x"]


@pytest.mark.parametrize("name", ["boat-house", "skarv", "three-wire-pump"])
def test_a_loop_is_measured_behind_each_set_and_judged_by_nothing(name: str) -> None:
    found = quickly(fixture(name), [RULE])
    behind = rows(found, "earth fault loop impedance on a set")
    assert behind and all(row.expected and not row.limit for row in behind)
    for stop in found.stops:
        told = any(remark.startswith("A loop that is measured on") for remark in stop.remarks)
        assert told == (stop.number in {row.visit for row in behind}), stop.number


def test_the_phase_sequence_is_read_at_every_board_with_circuits_of_three_lines() -> None:
    """IEC 60364-6, 6.4.3.9 (from memory): main feeds cooler and shed feeds sorter; lines crossed between the two show at shed alone."""
    found = planned("orchard-hybrid")
    assert {row.where for row in rows(found, "phase sequence", 1)} == {"main", "shed-rcd"}
    # where no circuit has three lines it is that of the supply
    assert [row.where for row in rows(planned("skarv"), "phase sequence", 1)] == ["main"]


def test_frames_of_the_direct_current_side_and_bonding_conductors_have_a_row() -> None:
    """10 mm2 have 1.83 ohm/km and 4 mm2 4.61 ohm/km at 20 C (IEC 60228): 6 m and 3 m are 0.011 and 0.014 ohm."""
    bonds = {row.where: row.expected for row in rows(planned("wash-house"), "continuity of a bonding conductor")}
    assert bonds == {
        "pipe-bond (met and pipe)": "at most 0.03 ohm",
        "boiler-bond (boiler and pipe)": "at most 0.03 ohm",
    }
    assert {
        row.where for row in rows(planned("orchard-hybrid"), "continuity of the protective conductor of a battery")
    } == {
        "main and stack",
        "main and barn",
        "main and drying",
    }


# -- the order of steps -----------------------------------------------------------------------------------------------------------------


def test_a_set_is_plugged_in_then_started_then_given_the_load() -> None:
    plant = Plant(site_of(COTTAGE))
    before, after = (
        plant.complete({"lead": "unmated"}),
        plant.complete({"set": "running", "cs": "set", "q-main": "open"}),
    )
    assert not isinstance(before, str) and not isinstance(after, str)
    done = list(steps(plant, before, after))
    order = [
        "open q-main",
        "put the plug of lead in",
        "take the block off the start of set",
        "start set",
        "set cs to set",
        "let hybrid pass its input through",
    ]
    assert [step for step in done if step in order] == order[: len(done)]
    assert set(order[:5]) <= set(done)


def test_what_was_taken_off_and_blocked_is_put_back() -> None:
    found = cottage()
    assert not any(step.startswith("put back what was taken off") for step in found.stops[0].steps)
    assert found.stops[1].steps[0].startswith("put back what was taken off")
    assert not any(step.startswith("put back what was taken off") for stop in found.stops[2:] for step in stop.steps)
    (end,) = [remark for remark in found.remarks if remark.startswith("At the end")]
    assert "stop set;" in end and "take the block off the start of set" in end and "set cs to grid" in end


def test_a_set_that_starts_was_freed_before() -> None:
    """Its start was blocked for the tests without voltage."""
    for name in ("boat-house", "skarv", "homestead"):
        for stop in planned(name).stops[1:]:
            started = [step.removeprefix("start ") for step in stop.steps if step.startswith("start ")]
            for one in started:
                assert stop.steps.index(f"take the block off the start of {one}") < stop.steps.index(f"start {one}")
