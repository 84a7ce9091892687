"""Systems of windings, meters, cables in parallel and supplementary bonding: numbers by hand, and what the reader refuses."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import pytest

from onebond.circuit.devices import NEVER
from onebond.circuit.impedances import line_emfs_v
from onebond.engine import inspect
from onebond.facts import EarthFault, Facts
from onebond.facts.faults import Passed, operating_a, trip_of
from onebond.facts.service import InService, nominal_emfs_v
from onebond.loading import load_rules
from onebond.model import Device, Installation
from onebond.reading import load

SITES = Path(__file__).resolve().parent.parent / "fixtures" / "sites"
SHOP = (SITES / "machine-shop.yaml").read_text(encoding="utf-8")
LAUNDRY = (SITES / "wash-house.yaml").read_text(encoding="utf-8")
MILL = (SITES / "saw-mill.yaml").read_text(encoding="utf-8")

DROP = "phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-C-S"


def edited(text: str, *edits: tuple[str, str]) -> str:
    for old, new in edits:
        assert text.count(old) == 1, (text.count(old), old)
        text = text.replace(old, new)
    return text


def read(text: str, folder: Path) -> tuple[Installation | None, list[str]]:
    path = folder / "site.yaml"
    path.write_text(text, encoding="utf-8")
    _, installation, problems, _ = load(str(path))
    return installation, [problem.message for problem in problems]


def facts_of(text: str, folder: Path, rulebook: str = "iec") -> Facts:
    installation, problems = read(text, folder)
    assert installation is not None, problems
    return Facts(installation, rulebook)


def found(text: str, folder: Path) -> set[tuple[str, str]]:
    """Rule and subject of every finding at error or warning, and of what stayed open."""
    path = folder / "site.yaml"
    path.write_text(text, encoding="utf-8")
    document, installation, problems, _ = load(str(path))
    assert document is not None and installation is not None, problems
    results = inspect(installation, document, load_rules(), today="2026-11-25").results
    return {
        (one.rule if one.kind == "fail" else f"open {one.rule}", one.subject)
        for one in results
        if one.kind == "open" or (one.kind == "fail" and one.level in ("error", "warning"))
    }


def by_place(facts: Facts) -> dict[tuple[str, str], EarthFault]:
    return {(fault.id, fault.line): fault for fault in facts.earth_faults}


def service(facts: Facts) -> InService:
    return facts.service_of(facts.wired[0][0], True)


# ---------------------------------------------------------------- the high leg


@pytest.mark.parametrize("voltage", ["120/240 V", "240 V"])
def test_the_high_leg_has_208_v(tmp_path: Path, voltage: str) -> None:
    """120 x sqrt(3) = 208 V, and 240 V between any two lines (common trade values for a 120/240 V delta, no source)."""
    installation, _ = read(edited(SHOP, ("120/240 V", voltage)), tmp_path)
    assert installation is not None
    emfs = line_emfs_v(installation.sources[0])
    assert isinstance(emfs, dict)
    assert [round(abs(emfs[line])) for line in ("L1", "L2", "L3")] == [120, 208, 120]
    assert [round(abs(emfs[a] - emfs[b])) for a, b in (("L1", "L2"), ("L2", "L3"), ("L3", "L1"))] == [240, 240, 240]
    # L1 before L2 before L3: seen from the middle of the triangle each line is a third of a turn behind the one before it
    middle = sum(emfs.values()) / 3
    turns = [((emfs[b] - middle) / (emfs[a] - middle)) for a, b in (("L1", "L2"), ("L2", "L3"))]
    assert all(turn == pytest.approx(complex(-0.5, -math.sqrt(3) / 2)) for turn in turns)


def test_a_fault_of_the_high_leg_is_driven_by_208_v(tmp_path: Path) -> None:
    """At the service nothing but the supply and 60 ft of cable: U / Z by hand, with the times of table 41.1 for 120 and 208 V."""
    faults = by_place(facts_of(SHOP, tmp_path))
    loop = faults["service", "L1"].loop_ohm
    assert faults["service", "L2"].loop_ohm == pytest.approx(loop)
    assert faults["service", "L1"].current_a() == pytest.approx(120 / loop)
    assert faults["service", "L2"].current_a() == pytest.approx(207.846 / loop, rel=1e-5)
    # half of the voltage where line and PEN are alike
    assert faults["service", "L2"].touch_v() == pytest.approx(103.92, rel=1e-3)
    assert faults["press", "L1"].voltage_v == pytest.approx(120)
    assert faults["press", "L2"].voltage_v == pytest.approx(207.846, rel=1e-5)
    # table 41.1, TN: 0.8 s above 50 up to 120 V, 0.4 s above 120 up to 230 V
    small = by_place(
        facts_of(
            edited(SHOP, ("kind: mccb, rating: 40 A, instantaneous: 320 A", "kind: mcb, curve: C, rating: 20 A")),
            tmp_path,
        )
    )
    assert (small["lathe", "L1"].table_s, small["lathe", "L2"].table_s) == (0.8, 0.4)


def test_loads_of_a_delta_are_between_the_lines_that_they_are_on(tmp_path: Path) -> None:
    """Currents by hand: a motor S / (sqrt(3) U), a welder on two lines P / U, a lighting load P / 120 V."""
    facts = facts_of(SHOP, tmp_path)
    full = service(facts)
    solution = full.solutions[0]

    def amperes(circuit: str) -> list[float]:
        found = [
            abs(i)
            for i, c in zip(solution.currents_a, full.model.conductors, strict=True)
            if (c.element, c.core) == (circuit, "load")
        ]
        assert found
        return found

    # voltages at the loads are a few percent below the nominal ones
    for circuit, count, nominal_a in (
        ("press", 3, 20_000 / 0.85 / (math.sqrt(3) * 240)),
        ("lathe", 3, 7_500 / 0.8 / (math.sqrt(3) * 240)),
        ("welder", 1, 6_000 / 240),
        ("heater", 2, 4_000 / 240),
        ("outlets", 1, 1_200 / 120),
    ):
        told = amperes(circuit)
        assert len(told) == count, circuit
        assert all(0.94 * nominal_a < one <= nominal_a for one in told), (circuit, told, nominal_a)


def test_a_delta_of_windings_by_ngspice(tmp_path: Path) -> None:
    """The bank as it is wound: 120 V to either side of the tap, and 240 V from L1 to L2 at -120 degrees; no phasor of ours."""
    text = """\
onebond: 1
site: {name: Bench, rulebook: nec, stage: draft}
sources:
  bank: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-S, loop-impedance: 0.2 ohm}
boards: {main: {}}
connections:
  feed: {from: bank, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 30 m}
circuits:
  one: {from: main, cores: L1 N PE, size: 10 mm2, length: 20 m, load: 12 A}
  three: {from: main, cores: L3 N PE, size: 10 mm2, length: 20 m, load: 600 W}
  across: {from: main, cores: L1 L2 PE, size: 10 mm2, length: 20 m, load: 4.8 kW}
  high: {from: main, cores: L2 N PE, size: 10 mm2, length: 20 m, load: 2.08 kW}
"""
    full = service(facts_of(text, tmp_path))
    solution = full.solutions[0]
    told = {(c.element, c.core): abs(i) for i, c in zip(solution.currents_a, full.model.conductors, strict=True)}

    def core(ohm_km: float, metres: float) -> complex:  # IEC 60228, 1.20 at 70 C, 0.08 ohm/km
        return complex(ohm_km * 1.2, 0.08) * metres / 1000

    feed, branch = core(1.15, 30), core(1.83, 20)
    deck = ["* the bank", "v1 s1 tap dc 0 ac 120 0", "v3 tap s3 dc 0 ac 120 0", "v2 s2 s1 dc 0 ac 240 -120"]
    number = 0

    def lead(a: str, b: str, z: complex, meter: str = "") -> None:
        nonlocal number
        number += 1
        deck.append(f"v{meter or f'x{number}'} {a} m{number} dc 0 ac 0")
        deck.append(f"r{number} m{number} k{number} {z.real!r}")
        deck.append(
            f"l{number} k{number} {b} {z.imag / (2 * math.pi * 50)!r}" if z.imag else f"rr{number} k{number} {b} 1e-9"
        )

    for line in "123":
        lead(f"s{line}", f"b{line}", 0.1 + feed, f"line{line}")
    lead("bn", "0", feed, "neutral")
    lead("0", "tap", 0.1 + 0j)  # the star point side of the supplier's neutral
    for name, a, b, ohm in (
        ("one", "b1", "bn", 120 / 12),
        ("three", "b3", "bn", 120**2 / 600),
        ("across", "b1", "b2", 240**2 / 4800),
        ("high", "b2", "bn", (120 * math.sqrt(3)) ** 2 / 2080),
    ):
        lead(a, f"e{name}", branch, name)
        deck.append(f"rload{name} e{name} f{name} {ohm!r}")
        lead(f"f{name}", b, branch)
    meters = ["one", "three", "across", "high", "neutral", "line1", "line2", "line3"]
    deck += [
        ".control",
        "set numdgt=12",
        "ac lin 1 50 50",
        *(f"print i(v{name})" for name in meters),
        ".endc",
        ".end",
        "",
    ]
    path = tmp_path / "bank.cir"
    path.write_text("\n".join(deck), encoding="utf-8")
    done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False)
    seen = {}
    for line in done.stdout.splitlines():
        name, equals, value = line.partition(" = ")
        if equals and "," in value:
            real, imaginary = map(float, value.split(","))
            seen[name.strip()[3:-1]] = math.hypot(real, imaginary)
    assert seen.keys() == set(meters), done.stdout + done.stderr
    for name in ("one", "three", "across", "high"):
        assert told[name, "load"] == pytest.approx(seen[name], rel=1e-6), name
    for name, cores in (("neutral", "N"), ("line1", "L1"), ("line2", "L2"), ("line3", "L3")):
        assert told["feed", cores] == pytest.approx(seen[name], rel=1e-6), name


def test_leakages_of_the_high_leg_are_in_quadrature(tmp_path: Path) -> None:
    """4 mA on L1 or L3 and 3 mA on L2 make 5 mA together (Pythagoras), not 4 and not 7."""
    feed = "size: 1/0 AWG, pe-size: 6 AWG, runs: 2, length: 90 ft, through: ["
    text = edited(
        SHOP,
        (feed, feed + "{kind: rcd, id: rcd-hall, rating: 200 A, residual: 300 mA, type: A}, "),
        ("to: presses, cores: L1 L2 L3 PE", "to: presses, cores: L1 L2 L3 N PE"),
        (
            "  lathe:    {",
            "  lamp-1: {from: presses, cores: L1 N PE, size: 12 AWG, length: 10 ft, serves: lighting, load: 100 W, leakage: 4 mA}\n"
            "  lamp-2: {from: presses, cores: L2 N PE, size: 12 AWG, length: 10 ft, serves: lighting, load: 100 W, leakage: 3 mA}\n"
            "  lamp-3: {from: presses, cores: L3 N PE, size: 12 AWG, length: 10 ft, serves: lighting, load: 100 W, leakage: 4 mA}\n"
            "  lathe:    {",
        ),
    )
    rcd = next(one for one in facts_of(text, tmp_path).rcds_in_service if one.id == "rcd-hall")
    assert rcd.unbalanced_a == pytest.approx(5e-3)


def test_equal_leakages_on_three_lines_make_no_more_than_one(tmp_path: Path) -> None:
    facts = facts_of(MILL, tmp_path)
    emfs = nominal_emfs_v(next(iter(facts.wired))[1][0])
    assert abs(emfs["L1"] + emfs["L2"]) == pytest.approx(230)
    assert abs(sum(emfs.values())) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("cores", "wrong"),
    [("L1 N PE", False), ("L3 N PE", False), ("L2 N PE", True), ("L1 L2 N PE", True), ("L2 L3 N PE", True),
     ("L1 L3 N PE", False), ("L1 L2 PE", False), ("L2 L3 PE", False), ("L1 L2 L3 N PE", False), ("L1 L2 L3 PE", False)],
)  # fmt: skip
def test_what_may_hang_on_the_high_leg(tmp_path: Path, cores: str, wrong: bool) -> None:
    text = edited(SHOP, ("welder:   {from: service, cores: L1 L2 PE", f"welder:   {{from: service, cores: {cores}"))
    assert (("device-does-not-fit", "welder") in found(text, tmp_path)) == wrong


def test_the_high_leg_is_followed_through_changeovers_and_boards(tmp_path: Path) -> None:
    """Only in the position in which the delta feeds it, and not ahead of the changeover on the side of another source."""
    text = """\
onebond: 1
site: {name: Dune pumping, rulebook: nec, stage: draft}
sources:
  delta: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 240 V, earthing: TN-S}
  star: {kind: generator, phases: L1 L2 L3, voltage: 120/208 V, neutral-bond: fixed}
boards: {main: {}, set: {}}
changeovers: {ts: {positions: [delta, star], poles: L1 L2 L3 N}}
connections:
  a: {from: delta, to: ts.delta, cores: L1 L2 L3 N PE}
  b: {from: star, to: set, cores: L1 L2 L3 N PE}
  c: {from: set, to: ts.star, cores: L1 L2 L3 N PE}
  d: {from: ts, to: main, cores: L1 L2 L3 N PE}
circuits:
  lamp: {from: main, cores: L2 N PE, serves: lighting}
  heater: {from: set, cores: L2 N PE, serves: fixed}
"""
    told = {subject for rule, subject in found(text, tmp_path) if rule == "device-does-not-fit"}
    assert told == {"lamp"}


@pytest.mark.parametrize(
    ("new", "says"),
    [
        (DROP.replace("L1 L2 L3", "L1 L3"), "which is one of three lines"),
        (DROP.replace("120/240 V", "120/208 V"), "half of the line voltage to L1 and L3"),
        (DROP.replace("TN-C-S", "IT"), "cannot be IT"),
    ],
)
def test_what_is_no_delta_with_a_tap_is_refused(tmp_path: Path, new: str, says: str) -> None:
    installation, problems = read(edited(SHOP, (DROP, new)), tmp_path)
    assert installation is None
    assert any(says in one for one in problems), problems


def test_an_inverter_has_no_high_leg(tmp_path: Path) -> None:
    text = edited(
        MILL,
        ("packs: {kind: inverter, phases: L1 L2 L3,", "packs: {kind: inverter, phases: L1 L2 L3, system: high-leg,"),
    )
    installation, problems = read(text.replace("230/400 V, rating", "120/240 V, rating"), tmp_path)
    assert installation is None
    assert any("is an inverter, which has no winding with a tap" in one for one in problems), problems


def test_what_a_tapped_generator_gives_into_a_fault_is_open(tmp_path: Path) -> None:
    """Its impedance does not follow from reactances on its rating: nothing passes, and topology is still judged."""
    text = edited(
        SHOP,
        (
            "drop: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-C-S, loop-impedance: 0.04 ohm, "
            "fault-current: 8 kA}",
            "drop: {kind: generator, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, rating: 80 kVA, subtransient-reactance: 12 %, "
            "negative-sequence-reactance: 12 %, zero-sequence-reactance: 6 %, sustained-fault-current: {limit: 3 x rated, for: 5 s}}",
        ),
        ("cores: L1 L2 L3 PEN", "cores: L1 L2 L3 N PE"),
    )
    told = found(text, tmp_path)
    assert ("open disconnection-too-slow", "lathe") in told
    assert not {one for one in told if one[0] == "neutral-unreferenced"}


def test_the_largest_currents_of_a_delta_are_bounded_by_its_declaration(tmp_path: Path) -> None:
    """416 to 360: equal windings of 240 V and Z give 138.6 / (Z / 3) to three lines and 1.5 x 240 / Z to the tap."""
    facts = facts_of(SHOP, tmp_path)
    peak = next(one for one in facts.peaks if one.connection == "service-drop")
    assert peak.current_a == pytest.approx(8000 * 416 / 360, rel=2e-3)
    three = edited(SHOP, ("fault-current: 8 kA", "fault-current: {max: 8 kA, kind: three-phase}"))
    assert ("open breaking-capacity-low", "service-drop") in found(three, tmp_path)


# ---------------------------------------------------------------- loads on two lines, groups


def test_a_load_between_two_lines_of_a_star_draws_its_power(tmp_path: Path) -> None:
    """400 V and 4 kW between L1 and L2: 10 A (Ohm's law)."""
    text = edited(
        MILL,
        (
            "  sockets: {",
            "  oven: {from: intake, cores: L1 L2 PE, size: 6 mm2, length: 1 m, serves: fixed, load: 4 kW}\n  sockets: {",
        ),
        ("voltage: 230/400 V, earthing: TN-S", "voltage: 400 V, earthing: TN-S"),
    )
    facts = facts_of(text, tmp_path)
    full = next(facts.service_of(currents, True) for currents, islands in facts.wired if "oven" in islands[0].supplies)
    solution = full.solutions[0]
    told = [
        abs(i)
        for i, c in zip(solution.currents_a, full.model.conductors, strict=True)
        if (c.element, c.core) == ("oven", "load")
    ]
    assert told == [pytest.approx(10, rel=0.02)]


PAIR = """\
onebond: 1
site: {name: Cedar cabin, rulebook: nec, stage: draft}
sources:
  a: {kind: inverter, phases: L1, system: split-phase, voltage: 120 V, rating: 3 kVA}
  b: {kind: inverter, phases: L2, system: split-phase, voltage: 120 V, rating: 3 kVA}
groups: {pair: {members: [a, b], phases: {a: L1, b: L2}}}
boards: {main: {}}
connections:
  from-a: {from: a, to: main, cores: L1 N PE, size: 10 AWG, length: 3 ft}
  from-b: {from: b, to: main, cores: L2 N PE, size: 10 AWG, length: 3 ft}
circuits:
  pump: {from: main, cores: L1 L2 PE, size: 10 AWG, length: 3 ft, serves: fixed, load: 2.4 kW}
bonds: {jumper: {at: main, size: 8 AWG}}
electrodes: {rod: {at: main, resistance: 20 ohm, conductor: 6 AWG}}
"""


@pytest.mark.parametrize(("system", "volts"), [("split-phase", 240.0), ("three-phase", 207.85)])
def test_two_inverters_of_120_v_form_the_system_that_they_say(tmp_path: Path, system: str, volts: float) -> None:
    facts = facts_of(PAIR.replace("split-phase", system), tmp_path)
    currents, islands = facts.wired[0]
    emfs = nominal_emfs_v(islands[0])
    assert abs(emfs["L1"] - emfs["L2"]) == pytest.approx(volts, rel=1e-4)
    full = facts.service_of(currents, True)
    told = [
        abs(i)
        for i, c in zip(full.solutions[0].currents_a, full.model.conductors, strict=True)
        if (c.element, c.core) == ("pump", "load")
    ]
    assert told == [pytest.approx(2400 / volts, rel=0.02)]


def test_inverters_in_parallel_add_up(tmp_path: Path) -> None:
    """Two of 8 kVA, 120/240 V and twice rated: 2 x 66.7 A into a fault at the lodge (P / U = 8000 / 240 = 33.3 A each)."""
    facts = facts_of((SITES / "nec-lodge.yaml").read_text(encoding="utf-8"), tmp_path, "nec")
    limited = [fault for fault in facts.earth_faults if fault.id == "lodge" and any(fed.limited for fed in fault.feds)]
    assert limited
    assert {round(fault.current_a(), 1) for fault in limited} == {133.3}


# ---------------------------------------------------------------- cables in parallel


def test_two_cables_in_parallel_have_half_of_the_impedance(tmp_path: Path) -> None:
    """IEC 60228: 0.387 and 0.727 ohm/km at 20 C, 1.20 at 70 C; 0.153 and 0.268 for the service.  Two cables: half of it."""
    service_ohm = (0.153 + 0.268) * 1.2 * 0.015
    feeder_ohm = (0.387 + 0.727) * 1.2 * 0.060
    by_hand = 0.08 + service_ohm + feeder_ohm / 2
    # reactances of 0.08 ohm/km a core add less than 1 % here
    loops = [f.loop_ohm for f in facts_of(MILL, tmp_path).earth_faults if f.point.written == "ts.grid"]
    assert loops[0] == pytest.approx(by_hand, rel=0.01)
    alone = [
        f.loop_ohm
        for f in facts_of(MILL.replace("runs: 2, length: 60 m", "length: 60 m"), tmp_path).earth_faults
        if f.point.written == "ts.grid"
    ]
    assert alone[0] == pytest.approx(by_hand + feeder_ohm / 2, rel=0.01)


@pytest.mark.parametrize(("pe", "wrong"), [("25 mm2", False), ("16 mm2", True)])
def test_each_of_several_cables_has_the_pe_that_its_own_lines_ask_for(tmp_path: Path, pe: str, wrong: bool) -> None:
    """IEC 60364-5-54 table 54.2: above 35 mm2 half of the line, 25 mm2 beside 50 mm2, whatever the number of cables."""
    facts = facts_of(
        MILL.replace("pe-size: 25 mm2, runs: 2, length: 60 m", f"pe-size: {pe}, runs: 2, length: 60 m"), tmp_path
    )
    feeder = next(one for one in facts.pe_conductors if one.id == "to-ts")
    need = feeder.asked("IEC 54.2")
    assert need is not None
    assert feeder.short_of(need) == wrong


# ---------------------------------------------------------------- meters


def test_a_meter_opens_nothing_and_protects_nothing(tmp_path: Path) -> None:
    facts = facts_of(LAUNDRY, tmp_path)
    assert {v.name for v in facts.network.variables if v.kind == "device"} == {"q-main", "lamps/1"}
    meter = next(d for d in facts.installation.connections[0].devices if d.kind == "meter")
    assert (meter.poles, meter.senses, meter.rating_a) == ((), (), 100.0)
    assert trip_of(Passed(meter, "service", 1e4, 1e4), 1e4) == NEVER
    # a service with a meter alone has no device that protects it
    bare = LAUNDRY.replace("{kind: fuse, class: gG, rating: 63 A}, ", "").replace(
        ", {kind: isolator, rating: 80 A, operable: yes, id: q-main}", ""
    )
    assert ("open disconnection-too-slow", "main") in found(bare, tmp_path)


GOOD = [path for path in sorted(SITES.glob("*.yaml")) if "--" not in path.stem]


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_meters_change_no_verdict(path: Path, tmp_path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "through: [{" in text
    metered = text.replace("through: [{", "through: [{kind: meter, rating: 100 A}, {")
    assert found(metered, tmp_path) == found(text, tmp_path)


@pytest.mark.parametrize(
    "key", ["operable: yes", "poles: L1", "normally: open", "residual: 30 mA", "breaking-capacity: 6 kA"]
)
def test_a_meter_has_no_positions(tmp_path: Path, key: str) -> None:
    installation, problems = read(LAUNDRY.replace("kind: meter,", f"kind: meter, {key},"), tmp_path)
    assert installation is None and problems


# ---------------------------------------------------------------- supplementary bonding


def operated(kind: str, **more: object) -> float | None:
    return operating_a(Device(kind, None, 0, ("L1",), (), False, False, (), **more))  # type: ignore[arg-type]


def test_the_current_that_operates_a_device_in_five_seconds() -> None:
    """B32: 5 x In; gG 63 A: the gate of IEC 60269-1 for 5 s, 320 A."""
    assert operated("mcb", curve="B", rating_a=32.0) == 160
    assert operated("fuse", fuse_class="gG", rating_a=63.0) == 320
    assert operated("rcd", residual_a=0.3) == 0.3
    assert operated("mccb", rating_a=100.0, instantaneous_a=500.0) == pytest.approx(600)
    assert operated("fuse", fuse_class="gG") is None
    assert operated("isolator", rating_a=63.0) is None


@pytest.mark.parametrize(("length", "enough"), [("56 m", True), ("57 m", False)])
def test_supplementary_bonding_serves_up_to_50_v_divided_by_ia(tmp_path: Path, length: str, enough: bool) -> None:
    """415.2.2: R <= 50 V / 160 A = 0.3125 ohm; 4 mm2 has 4.61 x 1.20 = 5.53 ohm/km (IEC 60228) and 0.3 ohm/km: 56.4 m."""
    text = edited(LAUNDRY, ("size: 4 mm2, length: 3 m", f"size: 4 mm2, length: {length}"))
    assert (("disconnection-too-slow", "boiler") not in found(text, tmp_path)) == enough


def test_what_is_near_has_to_be_bonded_all_of_it(tmp_path: Path) -> None:
    more = edited(
        LAUNDRY,
        (
            "pipe: {kind: water-pipe, near: [boiler]}",
            "pipe: {kind: water-pipe, near: [boiler]}\n  duct: {near: [boiler]}",
        ),
    )
    assert ("disconnection-too-slow", "boiler") in found(more, tmp_path)
    # by way of the pipe it is not bonded: metal is no conductor of this kind
    by_pipe = edited(
        more,
        ("  boiler-bond:", "  duct-bond: {from: duct, to: pipe, cores: PE, size: 4 mm2, length: 2 m}\n  boiler-bond:"),
    )
    assert ("disconnection-too-slow", "boiler") in found(by_pipe, tmp_path)
    whole = edited(
        more,
        (
            "  boiler-bond:",
            "  duct-bond: {from: duct, to: boiler, cores: PE, size: 4 mm2, length: 2 m}\n  boiler-bond:",
        ),
    )
    assert found(whole, tmp_path) == set()


@pytest.mark.parametrize("serves", ["serves: socket-outlets", "equipment: class-I"])
def test_what_is_plugged_in_is_not_bonded(tmp_path: Path, serves: str) -> None:
    """415.2.1 speaks of fixed equipment; where nothing is written about what a circuit serves it may be socket-outlets."""
    text = edited(LAUNDRY, ("length: 165 m, serves: fixed", f"length: 165 m, {serves}"))
    assert ("disconnection-too-slow", "boiler") in found(text, tmp_path)


def test_no_exception_by_bonding_under_the_nec(tmp_path: Path) -> None:
    text = edited(LAUNDRY, ("rulebook: iec", "rulebook: nec"), ("length: 165 m", "length: 400 m"))
    assert ("disconnection-too-slow", "boiler") in found(text, tmp_path)


def test_the_pipe_itself_is_not_counted_on_in_a_fault(tmp_path: Path) -> None:
    """230 V over the loop of the cable alone: 0.35 + 10 m of 16 mm2 and 165 m of 6 mm2, there and back, at 70 C."""
    by_hand = 0.35 + 2 * 1.2 * (1.15 * 0.010 + 3.08 * 0.165)
    with_pipe = by_place(facts_of(LAUNDRY, tmp_path))["boiler", "L1"].loop_ohm
    assert with_pipe == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (("to: pipe, cores: PE, size: 4 mm2", "to: pipe, cores: L1 PE, size: 4 mm2"), "`pipe` has no `L1`"),
        (("near: [boiler]", "near: [pipe]"), "has no frame"),
        (
            ("pipe: {kind: water-pipe, near: [boiler]}", "pipe: {near: [boiler]}\n  rail: {joins: [main]}"),
            "joins `main` to nothing",
        ),
    ],
)
def test_what_metal_cannot_be(tmp_path: Path, edit: tuple[str, str], says: str) -> None:
    installation, problems = read(edited(LAUNDRY, edit), tmp_path)
    assert installation is None
    assert any(says in one for one in problems), problems


def test_a_weak_source_needs_the_metal_near_a_frame_bonded(tmp_path: Path) -> None:
    """43.5 A through the PE of a cable leave less than 50 V to the terminal; a pipe that nothing bonds is not at that potential."""
    text = """\
onebond: 1
site: {name: Scree hut, rulebook: iec, stage: design}
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, fault-current: {limit: 2 x rated}, neutral-bond: fixed}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 6 mm2, length: 3 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
circuits:
  pump: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 60 m, serves: fixed, load: 1 kW, through: [{kind: mcb, curve: C, rating: 10 A}]}
electrodes: {rod: {at: main, resistance: 20 ohm, conductor: 16 mm2}}
extraneous:
  pipe: {kind: water-pipe}
"""
    assert ("source-too-weak-to-trip", "pump") not in found(text, tmp_path)
    near = text.replace("{kind: water-pipe}", "{kind: water-pipe, near: [pump]}")
    assert ("source-too-weak-to-trip", "pump") in found(near, tmp_path)
    bonded = near.replace(
        "circuits:", "  bonding: {from: pump, to: pipe, cores: PE, size: 4 mm2, length: 2 m}\ncircuits:"
    )
    assert ("source-too-weak-to-trip", "pump") not in found(bonded, tmp_path)
