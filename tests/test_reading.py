"""Reading: nodes to an installation, and every mistake of the broken fixtures at its place and in words."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import pytest

from conftest import ROOT
from onebond import document, reading, schema
from onebond.model import Circuit, Connection, Device, End, Installation, Limit, Size, Source
from onebond.result import Problem

HANGS_S = 60.0  # what takes longer hangs; a guard, and no measure of speed

BROKEN = sorted((ROOT / "fixtures" / "broken").glob("*.yaml"))
SITES = sorted((ROOT / "fixtures" / "sites").glob("*.yaml"))

# A farm with most of what the format knows.
FARM = """\
onebond: 1
site: {name: Ness farm, rulebook: bs7671, stage: as-built, revision: 3, frequency: 50 Hz, note: surveyed}
sources:
  grid:
    kind: utility
    phases: L1 L2 L3
    voltage: 230/400 V
    earthing: TT
    loop-impedance: 0.5 ohm
    fault-current: {max: 6 kA, min: 800 A, kind: three-phase}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 8 kW, subtransient-reactance: 12 %,
        transient-reactance: 20 %, sustained-fault-current: {limit: 3 x rated, for: 10 s}, mounted: portable, may-parallel: [i1]}
  i1: {kind: inverter, phases: L1, mains-input: true, neutral-through: solid, neutral-bond: while-inverting,
       closes-after: 200 ms, fault-current: {limit: 60 A, for: 100 ms}, isolated: yes, largest-breaker: B16,
       shutdown-time: 400 ms}
  i2: {kind: inverter, phases: L2, mains-input: no, filter-capacitance: 10 nF, operation: grid-following}
  iso: {kind: transformer, phases: L1, winding: isolating, impedance: 4 %, voltage: 120 V, primary-voltage: 400 V,
        earthing: IT}
boards:
  main: {bars: L1 L2 L3 N PE, building: house}
  inner: {inside: main, bars: L1 N}
  barn:
  met: {bars: PE, enclosure: cellar}
changeovers:
  ts: {positions: [grid, off, island], poles: L1 N, drive: automatic, prefers: island, transition: closed, rating: 63 A}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N, size: 1/0 AWG, length: 40 ft, runs: 2, material: aluminium,
            insulation: 90 C, through: [{kind: mccb, rating: 100 A, instantaneous: 800 A, breaking-capacity: 10 kA}]}
  earth: {from: met, to: main, cores: PE}
  set-lead: {from: set, to: main, cores: L1 N PE, plug: yes,
             through: [{kind: contactor, id: k1, operable: yes, normally: open}]}
  i1-in: {from: main, to: i1.in, cores: L1 N PE, through: [{kind: rcbo, rating: 32 A, residual: 100 mA, poles: L1,
          curve: C, type: B, delay: S}]}
  i1-out: {from: i1.out, to: ts.island, cores: L1 N PE, pe-by: armour, n-size: 6 mm2, pe-size: 10 mm2}
  i2-out: {from: i2, to: main, cores: L2 N PE}
  to-ts: {from: inner, to: ts.grid, cores: L1 N PE}
  to-barn: {from: ts, to: barn, cores: L1 N PE, lands-on: {L1: N, N: L1, PE: PE}}
  to-iso: {from: barn, to: iso.in, cores: L1 L2 PE, through: [{kind: fuse, class: aM, rating: 16 A}]}
  battery: {from: i1.dc, to: barn, cores: DC+ DC- PE}
circuits:
  milking: {from: barn, cores: L1 N PE, serves: fixed, load: 3 kVA, leakage: 2 mA, power-factor: 0.9,
            through: [{kind: rcd, residual: 30 mA}]}
  lamp: {from: iso.out, cores: L1 N, equipment: class-II, load: 60 W, building: barn}
  socket: {from: milking, cores: L1 N PE, load: 10 A}
bonds:
  relay: {at: ts.island, closed: {i1: [off, inverting], ts: island, k1: open, set-lead: mated, grid: detached},
          opens-after: 100 ms, closes-after: 0.2 s}
  soft: {at: i1.out, impedance: 1 kohm, size: 6 mm2}
  tail: {at: i2, length: 0.5 m, material: aluminium}
electrodes:
  rod: {at: met, rods: 2, length: 8 ft, diameter: 16 mm, spacing: 3 m, soil: 120 ohm m, conductor: 16 mm2, shape: rod}
  stake: {at: i1, resistance: 50 ohm}
  loop: {at: met, shape: ring, depth: 0.8 m, diameter: 12 m, soil: 120 ohm m, material: copper}
monitors:
  imd: {at: iso.out, impedance: 1 Mohm}
groups:
  pair: {members: [i1, i2], phases: {i1: L1, i2: L2}}
extraneous:
  pipe: {joins: [barn, main], kind: water-pipe}
interlocks:
  - {never: {k1: closed, pair: [inverting, passing]}, by: auxiliary contact}
waivers:
  - {rule: pe-missing, at: k1, reason: to be moved, until: 2028-02-29, by: J. Example}
"""

SMALL = """\
onebond: 1
site: {name: Tern Rock light, rulebook: iec}
sources:
  battery: {kind: inverter, phases: L1}
boards:
  tower: {}
connections:
  feed: {from: battery, to: tower, cores: L1 N PE}
circuits:
  lantern: {from: tower, cores: L1 N PE}
bonds:
  link: {at: tower}
"""


def load(tmp_path: Path, text: str) -> tuple[Installation | None, list[Problem], int]:
    file = tmp_path / "site.yaml"
    file.write_text(text, encoding="utf-8")
    _, installation, problems, left_out = reading.load(str(file))
    return installation, problems, left_out


def good(tmp_path: Path, text: str) -> Installation:
    installation, problems, _ = load(tmp_path, text)
    assert problems == []
    assert installation is not None
    return installation


def edited(text: str, *edits: tuple[str, str]) -> str:
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
        text = text.replace(old, new)
    return text


def wanted(text: str) -> list[tuple[int, int, str]]:
    found = re.findall(r"# want-problem: (\d+):(\d+): (.+)", text)
    return sorted((int(line), int(column), words) for line, column, words in found)


# ---------------------------------------------------------------- the fixtures


@pytest.mark.parametrize("file", BROKEN, ids=lambda file: file.stem)
def test_broken_fixture(file: Path) -> None:
    wants = wanted(file.read_text(encoding="utf-8"))
    _, installation, problems, left_out = reading.load(str(file))
    assert wants, "the fixture wants nothing"
    assert installation is None
    assert left_out == 0
    got = [(*problem.span[:2], problem.message) for problem in problems]
    assert [place[:2] for place in got] == [place[:2] for place in wants], got
    for (_, _, message), (_, _, words) in zip(got, wants, strict=True):
        assert words in message


def test_there_are_enough_broken_fixtures() -> None:
    assert len(BROKEN) >= 25


@pytest.mark.parametrize("file", BROKEN, ids=lambda file: file.stem)
def test_each_problem_says_what_to_do(file: Path) -> None:
    _, _, problems, _ = reading.load(str(file))
    for problem in problems:
        assert problem.hint or "not one of" in problem.message, problem
        assert "\n" not in problem.message + problem.hint


@pytest.mark.parametrize("file", SITES, ids=lambda file: file.stem)
def test_site_fixture_is_read(file: Path) -> None:
    _, installation, problems, left_out = reading.load(str(file))
    assert (problems, left_out) == ([], 0)
    assert installation is not None


# ---------------------------------------------------------------- what is read


def by_id(parts: Any) -> dict[str, Any]:
    return {part.id: part for part in parts}


def test_sources(tmp_path: Path) -> None:
    sources = by_id(good(tmp_path, FARM).sources)
    assert sources["grid"] == Source(
        "grid",
        "utility",
        ("L1", "L2", "L3"),
        ("sources", "grid"),
        earthing="TT",
        voltage_v=230.0,
        line_voltage_v=400.0,
        loop_impedance_ohm=0.5,
        fault_current_max_a=6000.0,
        fault_current_min_a=800.0,
        fault_current_kind="three-phase",
    )
    assert sources["set"] == Source(
        "set",
        "generator",
        ("L1",),
        ("sources", "set"),
        neutral_bond_written=False,
        voltage_v=230.0,
        rating_va=8000.0,
        subtransient_reactance=0.12,
        transient_reactance=0.2,
        fault_limit=Limit(None, 3.0, 10.0),
        mounted="portable",
        may_parallel=("i1",),
    )
    assert sources["i1"] == Source(
        "i1",
        "inverter",
        ("L1",),
        ("sources", "i1"),
        neutral_bond="while-inverting",
        mains_input=True,
        neutral_through="solid",
        operation="both",
        closes_after_s=0.2,
        fault_limit=Limit(60.0, None, 0.1),
        shutdown_s=0.4,
        largest_breaker=("B", 16.0),
        isolated=True,
    )
    assert sources["i2"] == Source(
        "i2",
        "inverter",
        ("L2",),
        ("sources", "i2"),
        neutral_bond_written=False,
        operation="grid-following",
        filter_capacitance_f=1e-8,
    )
    assert sources["iso"].winding == "isolating"
    assert sources["iso"].impedance == 0.04
    assert sources["iso"].earthing == "IT"
    assert sources["iso"].isolated is None
    assert (sources["iso"].primary_voltage_v, sources["iso"].primary_line_voltage_v) == (400.0, None)


@pytest.mark.parametrize(
    ("phases", "written", "voltages"),
    [
        ("L1", "400 V", (400.0, None)),
        ("L1 L2", "400 V", (None, 400.0)),
        ("L1 L2 L3", "11 kV", (None, 11000.0)),
        ("L1 L2 L3", "6.35/11 kV", (6350.0, 11000.0)),
    ],
)
def test_primary_voltage(
    tmp_path: Path, phases: str, written: str, voltages: tuple[float | None, float | None]
) -> None:
    text = edited(
        FARM,
        ("{kind: transformer, phases: L1,", f"{{kind: transformer, phases: {phases},"),
        ("primary-voltage: 400 V", f"primary-voltage: {written}"),
    )
    source = by_id(good(tmp_path, text).sources)["iso"]
    assert (source.primary_voltage_v, source.primary_line_voltage_v) == voltages


@pytest.mark.parametrize(
    ("written", "read"),
    [("B16", ("B", 16.0)), ("C6", ("C", 6.0)), ("D125", ("D", 125.0)), ("B0.5", ("B", 0.5)), ("C1.6", ("C", 1.6))],
)
def test_largest_breaker(tmp_path: Path, written: str, read: tuple[str, float]) -> None:
    text = edited(FARM, ("largest-breaker: B16", f"largest-breaker: {written}"))
    assert by_id(good(tmp_path, text).sources)["i1"].largest_breaker == read


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("b16", "write `B16`"),
        ("B 16", "write `B16`"),
        ("B16 A", "write `B16`"),
        ("16 A type C", "write `C16`"),
        ("K16", "for example `largest-breaker: B16`"),
        ("B", "for example `largest-breaker: B16`"),
        ("B0", "for example `largest-breaker: B16`"),
        ("16 A", "for example `largest-breaker: B16`"),
        ("B16 or C10", "for example `largest-breaker: B16`"),
        ("B1600", "for example `largest-breaker: B16`"),
    ],
)
def test_largest_breaker_refused(tmp_path: Path, written: str, hint: str) -> None:
    text = edited(FARM, ("largest-breaker: B16", f"largest-breaker: {written}"))
    installation, problems, _ = load(tmp_path, text)
    assert installation is None
    assert [problem.message for problem in problems] == [
        f"`{written}` at `largest-breaker` is not a circuit-breaker as curve (B, C or D) and rated current in ampere, "
        "such as B16"
    ]
    assert problems[0].hint == hint


def test_isolated_is_three_valued(tmp_path: Path) -> None:
    for written, read in (("isolated: yes,", True), ("isolated: no,", False), ("", None)):
        text = edited(FARM, ("isolated: yes,", written))
        assert by_id(good(tmp_path, text).sources)["i1"].isolated is read


@pytest.mark.parametrize(("rating", "rating_va"), [("8 kW", 8000.0), ("8 kVA", 8000.0), ("650 W", 650.0)])
def test_rating_of_a_source(tmp_path: Path, rating: str, rating_va: float) -> None:
    text = edited(FARM, ("rating: 8 kW", f"rating: {rating}"))
    assert by_id(good(tmp_path, text).sources)["set"].rating_va == rating_va


def test_frequency(tmp_path: Path) -> None:
    assert good(tmp_path, FARM).frequency_hz == 50.0
    assert good(tmp_path, SMALL).frequency_hz is None


def test_mains_input_without_a_word_on_the_neutral(tmp_path: Path) -> None:
    text = edited(SMALL, ("phases: L1}", "phases: L1, mains-input: yes}"), ("from: battery", "from: battery.out"))
    source = good(tmp_path, text).sources[0]
    assert (source.neutral_through, source.neutral_through_written) == ("switched", False)
    assert (source.neutral_bond, source.neutral_bond_written) == ("none", False)


def test_what_is_not_written(tmp_path: Path) -> None:
    site = good(tmp_path, SMALL)
    assert (site.stage, site.revision, site.extraneous_none) == ("design", None, False)
    assert site.sources[0].neutral_through is None
    assert site.sources[0].operation == "grid-forming"
    assert site.bonds[0].closed == ()
    assert site.circuits[0].class_ii is False


def test_extraneous_none(tmp_path: Path) -> None:
    assert good(tmp_path, SMALL + "extraneous: none\n").extraneous_none is True


def test_empty_sections(tmp_path: Path) -> None:
    site = good(tmp_path, SMALL + "monitors:\ninterlocks:\nwaivers: []\ngroups: {}\n")
    assert (site.monitors, site.interlocks, site.waivers, site.groups) == ((), (), (), ())


def test_boards_and_changeovers(tmp_path: Path) -> None:
    site = good(tmp_path, FARM)
    assert (site.name, site.rulebook, site.stage, site.revision) == ("Ness farm", "bs7671", "as-built", "3")
    boards = by_id(site.boards)
    assert list(boards) == ["main", "inner", "barn", "met"]
    assert boards["inner"].inside == "main"
    assert boards["met"].bars == ("PE",)
    assert boards["barn"].bars == ()
    ts = site.changeovers[0]
    assert (ts.positions, ts.poles, ts.transition, ts.prefers) == (
        ("grid", "off", "island"),
        ("L1", "N"),
        "closed",
        "island",
    )
    assert ts.rating_a == 63.0


def test_a_connection(tmp_path: Path) -> None:
    service = by_id(good(tmp_path, FARM).connections)["service"]
    route = ("connections", "service")
    device = Device(
        "mccb",
        None,
        0,
        ("L1", "L2", "L3"),
        (),
        False,
        False,
        (*route, "through", 0),
        rating_a=100.0,
        breaking_capacity_a=10000.0,
        instantaneous_a=800.0,
    )
    assert service == Connection(
        "service",
        End("grid", "", (*route, "from")),
        End("main", "", (*route, "to")),
        ("L1", "L2", "L3", "N"),
        (),
        (device,),
        False,
        route,
        size=Size(service.size.mm2, "1/0 AWG"),
        runs=2,
        material="aluminium",
        insulation_c=90.0,
        length_m=40 * 0.3048,
    )
    assert service.size.mm2 == pytest.approx(53.5, abs=0.05)


@pytest.mark.parametrize(
    ("device", "cores", "poles", "senses"),
    [
        ("kind: mcb", "L1 N PE", "L1", ""),
        ("kind: mccb", "L1 L2 L3 N PE", "L1 L2 L3", ""),
        ("kind: fuse", "L1 L2 L3 PEN", "L1 L2 L3", ""),
        ("kind: isolator", "L1 L2 L3 PEN", "L1 L2 L3", ""),
        ("kind: isolator", "L1 N PE", "L1 N", ""),
        ("kind: switch", "N L1 PE", "N L1", ""),
        ("kind: contactor", "L1 N PE", "L1 N", ""),
        ("kind: rcd, residual: 30 mA", "L1 L2 L3 N PE", "L1 L2 L3 N", "L1 L2 L3 N"),
        ("kind: rcbo, residual: 30 mA, poles: L1", "L1 N PE", "L1", "L1 N"),
        ("kind: rcd, residual: 30 mA", "L1 PEN", "L1", "L1 PEN"),
        ("kind: rcd, residual: 30 mA, senses: L1", "L1 N", "L1 N", "L1"),
        ("kind: switch, poles: L1 PE", "L1 N PE", "L1 PE", ""),
    ],
)
def test_poles_and_senses(tmp_path: Path, device: str, cores: str, poles: str, senses: str) -> None:
    text = edited(
        SMALL,
        ("to: tower, cores: L1 N PE}", f"to: tower, cores: {cores}, through: [{{{device}}}]}}"),
        ("phases: L1}", "phases: L1 L2 L3}"),
    )
    found = good(tmp_path, text).connections[0].devices[0]
    assert (" ".join(found.poles), " ".join(found.senses)) == (poles, senses)


def test_devices(tmp_path: Path) -> None:
    connections = by_id(good(tmp_path, FARM).connections)
    contactor = connections["set-lead"].devices[0]
    assert (contactor.id, contactor.operable, contactor.normally_open) == ("k1", True, True)
    rcbo = connections["i1-in"].devices[0]
    assert (rcbo.residual_a, rcbo.residual_type, rcbo.delay, rcbo.curve) == (0.1, "B", "S", "C")
    assert connections["set-lead"].plug is True
    assert connections["to-iso"].devices[0].fuse_class == "aM"


def test_ends(tmp_path: Path) -> None:
    connections = by_id(good(tmp_path, FARM).connections)
    ends = {name: (link.start.written, link.finish.written) for name, link in connections.items()}
    assert ends["i1-in"] == ("main", "i1.in")
    assert ends["i1-out"] == ("i1.out", "ts.island")
    assert ends["i2-out"] == ("i2.out", "main"), "an inverter without a mains input has the one side .out"
    assert ends["to-ts"] == ("inner", "ts.grid")
    assert ends["battery"] == ("i1.dc", "barn")


def test_lands_on_keeps_only_what_differs(tmp_path: Path) -> None:
    assert by_id(good(tmp_path, FARM).connections)["to-barn"].lands_on == (("L1", "N"), ("N", "L1"))


def test_circuits(tmp_path: Path) -> None:
    circuits: dict[str, Circuit] = by_id(good(tmp_path, FARM).circuits)
    milking = circuits["milking"]
    assert milking.connection.finish == End("milking", "", ("circuits", "milking"))
    assert (milking.serves, milking.load_va, milking.load_w, milking.leakage_a) == ("fixed", 3000.0, None, 0.002)
    assert milking.connection.devices[0].residual_a == 0.03
    assert (circuits["lamp"].class_ii, circuits["lamp"].load_w) == (True, 60.0)
    assert circuits["socket"].connection.start.id == "milking"
    loads = {name: (circuit.load_va, circuit.load_w, circuit.load_a) for name, circuit in circuits.items()}
    assert loads == {"milking": (3000.0, None, None), "lamp": (None, 60.0, None), "socket": (None, None, 10.0)}
    assert (circuits["milking"].power_factor, circuits["lamp"].power_factor) == (0.9, None)


def test_bonds_and_conditions(tmp_path: Path) -> None:
    bonds = by_id(good(tmp_path, FARM).bonds)
    assert bonds["relay"].at.written == "ts.island"
    assert bonds["relay"].closed == (
        ("i1", ("off", "inverting")),
        ("ts", ("island",)),
        ("k1", ("open",)),
        ("set-lead", ("mated",)),
        ("grid", ("detached",)),
    )
    assert (bonds["relay"].opens_after_s, bonds["relay"].closes_after_s) == (0.1, 0.2)
    assert bonds["soft"].impedance_ohm == 1000.0
    assert (bonds["soft"].length_m, bonds["soft"].material) == (None, None)
    assert (bonds["tail"].length_m, bonds["tail"].material) == (0.5, "aluminium")


def test_the_rest(tmp_path: Path) -> None:
    site = good(tmp_path, FARM)
    rod, stake, loop = site.electrodes
    assert (rod.rods, rod.diameter_m, rod.spacing_m, rod.soil_ohm_m) == (2, 0.016, 3.0, 120.0)
    assert rod.length_m == pytest.approx(2.4384)
    assert (rod.shape, rod.material, rod.depth_m) == ("rod", None, None)
    assert (stake.at.written, stake.resistance_ohm, stake.shape) == ("i1", 50.0, None)
    assert (loop.shape, loop.material, loop.depth_m, loop.diameter_m) == ("ring", "copper", 0.8, 12.0)
    assert (site.monitors[0].at.written, site.monitors[0].impedance_ohm) == ("iso.out", 1e6)
    assert site.groups[0].phases == (("i1", "L1"), ("i2", "L2"))
    assert [end.id for end in site.extraneous[0].joins] == ["barn", "main"]
    assert site.interlocks[0].never == (("k1", ("closed",)), ("pair", ("inverting", "passing")))
    assert (site.waivers[0].at, site.waivers[0].until) == ("k1", "2028-02-29")


# ---------------------------------------------------------------- what is refused

UTILITY = """\
onebond: 1
site: {name: Quay, rulebook: iec}
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: EARTHING}
boards:
  main: {}
  met: {}
connections:
  a: {from: grid, to: main, cores: FIRST}
  b: {from: met, to: grid, cores: SECOND}
"""


@pytest.mark.parametrize(
    ("earthing", "first", "second", "refused"),
    [
        ("TN-S", "L1 L2 L3 N PE", "PE", None),
        ("TN-S", "L1 N", "PE", None),
        ("TN-S", "L1 PEN", "PE", "`grid` has no `PEN`"),
        ("TN-C-S", "L1 L2 L3 PEN", "L2 PEN", None),
        ("TN-C-S", "L1 N PE", "L2", None),
        ("TN-C-S", "L1 N", "PE", None),
        ("TN-C-S", "L1 L2 L3", "L2", None),
        ("TN-C-S", "L1 N", "L2 N", "its neutral is a PEN"),
        ("TN-C-S", "L1 PEN", "PE", "brings a PEN and PE as well"),
        ("TN-C-S", "L1 PEN", "L2 N", "brings a PEN and N as well"),
        ("TT", "L1 L2 L3 N", "L1", None),
        ("TT", "L1 N PE", "L1", "a TT supply brings N and no PE"),
        ("TT", "L1 PEN", "L1", "`grid` has no `PEN`"),
        ("IT", "L1 L2 L3", "PE", None),
        ("IT", "L1 N PE", "L1", None),
        ("IT", "L1 PEN", "L1", "`grid` has no `PEN`"),
        ("TN-S", "L1 DC+", "PE", "`grid` has no `DC+`"),
    ],
)
def test_what_a_utility_brings(tmp_path: Path, earthing: str, first: str, second: str, refused: str | None) -> None:
    text = UTILITY.replace("EARTHING", earthing).replace("FIRST", first).replace("SECOND", second)
    installation, problems, _ = load(tmp_path, text)
    if refused is None:
        assert problems == []
        assert installation is not None
    else:
        assert len(problems) == 1
        assert refused in problems[0].message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("to: i1.in,", "to: i1,", "`i1` has a mains input and so two sides"),
        ("to: iso.in,", "to: iso,", "`iso` is a transformer and so two sides"),
        ("from: i2,", "from: i2.in,", "`i2` has no mains input"),
        ("from: i2,", "from: i2.ou,", "`i2` has no terminal `ou`"),
        ("from: set,", "from: set.out,", "a generator has no terminals with names"),
        ("to: barn, cores: DC", "to: barn.left, cores: DC", "a board has no terminals"),
        ("cores: DC+ DC- PE", "cores: L1 N PE", "`i1.dc` has no `L1` and `N`"),
        ("cores: DC+ DC- PE", "cores: PE", "none of these cores is a d.c. core"),
        ("cores: L1 N PE, pe-by", "cores: L1 N PE DC+, pe-by", "`i1.out` has no `DC+`"),
        ("{at: iso.out, impedance: 1 Mohm}", "{at: ts}", "an insulation monitor stands at a board or at a source"),
        ("{at: iso.out, impedance: 1 Mohm}", "{at: met}", "an insulation monitor watches live conductors"),
        ("{at: iso.out, impedance: 1 Mohm}", "{at: i1}", "`i1` has a mains input and so two sides"),
        ("{at: i1.out, impedance: 1 kohm, size: 6 mm2}", "{at: grid}", "`grid` has no PE"),
        ("{at: i1.out, impedance: 1 kohm, size: 6 mm2}", "{at: i1.dc}", "`i1.dc` has no N"),
        ("joins: [barn, main]", "joins: [ts.grid, ts]", "`pipe` joins `ts` to itself"),
        ("joins: [barn, main]", "joins: [barn, pair]", "`pair` is a group, not a place"),
        ("may-parallel: [i1]", "may-parallel: [set]", "`set` names itself"),
        ("may-parallel: [i1]", "may-parallel: [barn]", "`barn` is a board, not a source"),
        ("members: [i1, i2]", "members: [i1, i2, main]", "`main` is a board, not an inverter"),
        ("phases: {i1: L1, i2: L2}", "phases: {i3: L1}", "`i3` is not a member of the group `pair`"),
        ("{k1: closed, pair:", "{pe1: closed, pair:", "there is nothing with the id `pe1`"),
        ("{k1: closed, pair:", "{iso: on, pair:", "`iso` is a transformer: it has no states"),
        ("{k1: closed, pair:", "{barn: live, pair:", "`barn` is a board: it has no states"),
        ("{k1: closed, pair:", "{i1-in: open, pair:", "`i1-in` is a connection without a plug"),
        ("{k1: closed, pair:", "{grid: absent, pair:", "`grid` is the utility"),
        ("set-lead: mated", "set-lead: open", "`open` is not a state of `set-lead` (states: mated, unmated)"),
        ("grid: detached", "grid: off", "`off` is not a state of `grid` (states: present, absent, detached)"),
        ("ts: island, k1", "ts: off1, k1", "`off1` is not a state of `ts`"),
        ("{L1: N, N: L1, PE: PE}", "{L2: N}", "`L2` lands on `N`, but there is no such core"),
        ("inner: {inside: main", "inner: {inside: inner", "`inner` cannot stand inside itself"),
        ("main: {bars: L1 L2 L3 N PE,", "main: {bars: L1 L2 L3 N PE PE,", "`PE` stands twice in `bars`"),
        ("poles: L1 N, drive", "poles: L1 L1, drive", "`L1` stands twice in `poles`"),
        ("phases: L2, mains-input: no", "phases: L2 L2, mains-input: no", "`L2` stands twice in `phases`"),
        ("until: 2028-02-29", "until: 2027-02-29", "`2027-02-29` is no day of the calendar"),
        ("at: k1, reason", "at: k2, reason", "there is nothing with the id `k2`"),
        ("phases: L1, voltage: 230 V", "phases: L1, voltage: 1.2 kV", "`set` has more than 1000 V line to neutral"),
        ("voltage: 230/400 V", "voltage: 1.01/1.75 kV", "`grid` has more than 1000 V line to neutral"),
        ("voltage: 230/400 V", "voltage: 1/1.9 kV", "`1/1.9 kV` is not possible as a voltage of a source"),
        ("voltage: 230/400 V", "voltage: 11 kV", "`11 kV` is not possible as a voltage of a source"),
        (
            "primary-voltage: 400 V",
            "primary-voltage: 66 kV",
            "`66 kV` is not possible as a voltage: it must be from 1 V to 36",
        ),
        ("min: 800 A", "min: 8 kA", "the smallest fault current of `grid` is above the largest"),
        ("mains-input: no, filter", "when-off: through, filter", "`when-off: through` at `i2` needs a mains input"),
        (
            "loop-impedance: 0.5 ohm\n",
            "loop-impedance: 0.5 ohm\n    neutral-impedance: 5 ohm\n",
            "`neutral-impedance` is of an IT supply, and `grid` is TT",
        ),
        ("residual: 30 mA}]", "residual: 30 mA, senses: L1 L2}]", "`L2` is a sensed core here, but `milking` has no"),
        ("from: milking, cores", "from: socket, cores", "`socket` joins `socket` to itself"),
        ("  soft: {at", "  k1: {at", "`k1` is already the id of a device"),
    ],
)
def test_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    installation, problems, left_out = load(tmp_path, edited(FARM, (old, new)))
    assert installation is None
    assert left_out == 0
    assert len(problems) == 1, [problem.message for problem in problems]
    assert words in problems[0].message
    assert problems[0].hint


@pytest.mark.parametrize("voltage", ["1000/1730 V", "1.73 kV", "690 V"])
def test_the_highest_voltages(tmp_path: Path, voltage: str) -> None:
    good(tmp_path, edited(FARM, ("voltage: 230/400 V", f"voltage: {voltage}")))


def test_boards_inside_each_other(tmp_path: Path) -> None:
    _, problems, _ = load(tmp_path, edited(SMALL, ("tower: {}", "tower: {inside: b}\n  b: {inside: tower}")))
    assert [problem.message for problem in problems] == [
        "`tower` and `b` stand inside each other",
        "`b` and `tower` stand inside each other",
    ]


def test_an_inverter_in_two_groups(tmp_path: Path) -> None:
    _, problems, _ = load(tmp_path, SMALL + "groups:\n  g1: {members: [battery]}\n  g2: {members: [battery]}\n")
    assert [problem.message for problem in problems] == ["`battery` is already a member of the group `g1`"]


def test_a_pen_needs_an_n_bar(tmp_path: Path) -> None:
    text = UTILITY.replace("EARTHING", "TN-C-S").replace("FIRST", "L1 PEN").replace("SECOND", "L1")
    bars = edited(text, ("main: {}", "main: {bars: L1 PE}"))
    _, problems, _ = load(tmp_path, bars)
    assert [problem.message for problem in problems] == ["`main` has no `PEN` (bars: L1 PE)"]
    good(tmp_path, edited(bars, ("cores: L1 PEN}", "cores: L1 PEN, lands-on: {PEN: PE}}")))
    good(tmp_path, edited(text, ("main: {}", "main: {bars: L1 N PE}")))


def test_the_bars_inside_an_enclosure_share_its_pe(tmp_path: Path) -> None:
    boards = "tower: {}\n  group: {inside: tower, bars: L1 N}"
    text = edited(SMALL, ("tower: {}", boards), ("from: tower", "from: group"))
    good(tmp_path, text)
    _, problems, _ = load(tmp_path, edited(text, ("inside: tower, ", "")))
    assert [problem.message for problem in problems] == ["`group` has no `PE` (bars: L1 N)"]


def test_mistakes_are_all_reported_and_in_the_order_of_the_text(tmp_path: Path) -> None:
    text = edited(
        SMALL,
        ("to: tower, cores: L1 N PE", "to: towr, cores: L1 N PE, size: 4"),
        ("{at: tower}", "{at: tower, closd: {}}"),
        ("phases: L1}", "phases: L1, neutral-bond: non}"),
    )
    _, problems, _ = load(tmp_path, text)
    assert [problem.span.line for problem in problems] == [4, 8, 8, 12]
    assert [problem.hint for problem in problems][:2] == ["did you mean `none`?", "did you mean `tower`?"]


def test_one_mistake_is_one_problem_where_a_section_is_not_understood(tmp_path: Path) -> None:
    _, problems, _ = load(tmp_path, edited(SMALL, ("  tower: {}", "  - tower")))
    assert [problem.message for problem in problems] == ["`boards` needs keys of its own"]


def test_a_kind_that_is_not_understood_raises_no_other_problem(tmp_path: Path) -> None:
    _, problems, _ = load(tmp_path, edited(FARM, ("i1: {kind: inverter", "i1: {kind: invertor")))
    assert [problem.message for problem in problems] == [
        "`invertor` at `kind` is not one of utility, generator, inverter or transformer"
    ]


def test_many_problems_are_counted(tmp_path: Path) -> None:
    circuits = "".join(f"  c{i}: {{from: towr, cores: L1 N PE, lenght: 3 m}}\n" for i in range(300))
    text = edited(SMALL, ("circuits:\n", "circuits:\n" + circuits))
    installation, problems, left_out = load(tmp_path, text)
    assert installation is None
    assert len(problems) == 50
    assert left_out == 550


@pytest.mark.parametrize(
    ("section", "line", "count"),
    [
        ("boards", "  b{i}: {{inside: zz{i}}}", 10000),
        ("circuits", "  c{i}: {{from: mainn{i}, cores: L1 N PE}}", 8000),
        ("circuits", "  abcdefghijklmnop{i}: {{from: abcdefghijklmnpo{i}, cores: L1 N PE}}", 8000),
        ("bonds", "  b{i}: {{at: tower, closed: {{batterie{i}: inverting}}}}", 6000),
        ("circuits", "  c{i}: {{from: tower, cores: L1, through: [{{kind: switch, id: q{i}, poles: N}}]}}", 4000),
    ],
)
def test_thousands_of_mistakes_take_bounded_time(section: str, line: str, count: int) -> None:
    lines = "".join(line.format(i=i) + "\n" for i in range(count))
    parsed = document.parse(edited(SMALL, (f"{section}:\n", f"{section}:\n{lines}")).encode(), "site.yaml")
    assert parsed.document is not None
    begin = time.perf_counter()
    assert schema.check(parsed.document) == ([], 0)
    _, problems = reading.read(parsed.document)
    assert time.perf_counter() - begin < HANGS_S
    assert len(problems) == count
    first = sorted(problems)[: schema.LIMIT]
    assert all(problem.hint for problem in first)


def test_lists_of_thousands_take_bounded_time() -> None:
    members = ", ".join(f"m{i}" for i in range(20000))
    text = f"{SMALL}groups:\n  g: {{members: [{members}]}}\nextraneous:\n  p: {{joins: [{members}]}}\n"
    text += "interlocks:\n" + "".join(f"  - never: {{g: passing, x{i}: open}}\n" for i in range(5000))
    parsed = document.parse(text.encode(), "site.yaml")
    assert parsed.document is not None
    begin = time.perf_counter()
    problems, _ = schema.check(parsed.document)
    installation, _ = reading.read(parsed.document)
    assert time.perf_counter() - begin < HANGS_S
    assert [problem.message for problem in problems] == [
        "`members` has more than 64 entries",
        "`joins` has more than 64 entries",
    ]
    assert installation is None


@pytest.mark.parametrize(
    "text", ["", "\n", "a: [", "\t", "- 1\n", "just words\n", "onebond: 1\n", "{}\n", "x: &a [*a]\n"]
)
def test_what_is_no_description(tmp_path: Path, text: str) -> None:
    installation, problems, _ = load(tmp_path, text)
    assert installation is None
    assert problems


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    document, installation, problems, left_out = reading.load(str(tmp_path / "none.yaml"))
    assert (document, installation, left_out) == (None, None, 0)
    assert len(problems) == 1


def test_the_lines_are_there_to_show_a_problem_of_the_notation(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text("onebond: 1\nsite: [\n")
    document, installation, problems, _ = reading.load(str(file))
    assert document is not None
    assert installation is None
    assert "site: [" in document.lines
    assert problems
