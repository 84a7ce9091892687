"""What conductors for protection are for and have to be, and what neutrals, electrodes and devices belong together: small sites by hand."""

from __future__ import annotations

import pytest

from described import asked, conductors, facts_of, judged
from onebond.facts import Protective
from onebond.facts.unknown import Unknown

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: design}\n"


# -- what tables ask -------------------------------------------------------------------------------------------------

SHED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, shed: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 300 mm2, length: 0 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  feeder: {from: main, to: shed, cores: L1 N, FEEDER, length: 10 m}
  feeder-pe: {from: main, to: shed, cores: PE, PE, length: 10 m}
circuits:
  lamps: {from: shed, cores: L1 N PE, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 6 A}]}
"""
)


@pytest.mark.parametrize(
    ("line", "runs", "steel_mm2"),
    # half of the line; k of lines in PVC 115 to 300 mm2, 103 above; of armour 51 (BS 7671 tables 54.2, 54.4 and 54.7)
    [(240, 1, 120 * 115 / 51), (300, 1, 150 * 115 / 51), (400, 1, 200 * 103 / 51), (300, 2, 150 * 115 / 51)],
)
def test_armour_beside_large_lines_goes_by_their_k(line: int, runs: int, steel_mm2: float) -> None:
    armoured = f"cores: L1 N PE, size: {line} mm2, runs: {runs}, pe-by: armour, pe-size: 100 mm2"
    text = SHED.replace("cores: L1 N, FEEDER", armoured).replace("  feeder-pe:", "  # feeder-pe:")
    need = conductors(text)["feeder"].asked("IEC 54.2")
    assert need is not None and need.mm2 == pytest.approx(steel_mm2)


@pytest.mark.parametrize(
    ("feeder", "pe", "kind"),
    [
        # AS/NZS 3000 table 5.1 (from memory): 25 mm2 of copper ask for 6 mm2 of copper, and aluminium lines for no more
        ("size: 25 mm2", "size: 6 mm2", "pass"),
        ("size: 25 mm2, material: aluminium", "size: 6 mm2", "pass"),
        # whether they ask for less stands in a column that is not at hand, and so does what an aluminium conductor needs
        ("size: 25 mm2, material: aluminium", "size: 4 mm2", "open"),
        ("size: 25 mm2, material: aluminium", "size: 25 mm2, material: aluminium", "open"),
        ("size: 25 mm2", "size: 25 mm2, material: aluminium", "open"),
        # the table ends at 630 mm2
        ("size: 630 mm2", "size: 120 mm2", "pass"),
        ("size: 700 mm2", "size: 240 mm2", "open"),
    ],
)
def test_an_earth_beside_aluminium_lines_in_australia(feeder: str, pe: str, kind: str) -> None:
    text = SHED.replace("FEEDER", feeder).replace("PE, PE,", f"PE, {pe},")
    assert judged("pe-small", text, "as-nzs")["feeder-pe"].kind == kind


def test_in_australia_each_of_several_cables_goes_by_its_own_lines() -> None:
    # AS/NZS 3000 table 5.1 (from memory): 25 mm2 ask for 6 mm2, and 50 mm2 for 16 mm2
    for runs, size in (("runs: 2, size: 25 mm2", "6 mm2"), ("size: 50 mm2", "16 mm2")):
        text = SHED.replace("cores: L1 N, FEEDER", f"cores: L1 N PE, {runs}, pe-size: 6 mm2")
        text = text.replace("  feeder-pe:", "  # feeder-pe:")
        assert asked(conductors(text)["feeder"], "AS/NZS 5.1") == size


# -- heat ------------------------------------------------------------------------------------------------------------

# 230 V / 0.5 ohm are 460 A; 10 m of cable leave somewhat less, which a 63 A fuse opens within 5 s (320 A, IEC 60269-1 table 3)
LONG = "{from: shed, cores: L1 N PE, size: 1.5 mm2, length: 200 m, through: [{kind: mcb, curve: C, rating: 63 A}]}"


def with_pe(pe: str, *circuits: str, board: str = "{}") -> str:
    text = SHED.replace("cores: L1 N, FEEDER", f"cores: L1 N PE, size: 16 mm2, pe-size: {pe}")
    text = text.replace("  feeder-pe:", "  # feeder-pe:").replace("shed: {}", f"shed: {board}")
    return text.partition("circuits:\n")[0] + "circuits:\n" + "".join(f"  {one}\n" for one in circuits)


@pytest.mark.parametrize(
    ("pe", "board", "kind"),
    [
        # about 380 A for 5 s ask for 380 sqrt(5) / 115 = 7.4 mm2, whatever more a fault without a bound may ask for
        ("2.5 mm2", "{}", "fail"),
        # 460 sqrt(5) / 115 = 8.9 mm2 are enough for the first; what the second asks for nobody can tell
        ("10 mm2", "{}", "open"),
        # the second one alone: the frame of the board is no place of a fault
        ("2.5 mm2", "{equipment: class-II}", "open"),
    ],
)
def test_a_fault_that_nothing_ends_beside_one_that_burns_the_conductor(pe: str, board: str, kind: str) -> None:
    # 200 m of 1.5 mm2 leave less than 30 A, for which C63 has no time at all
    result = judged("pe-small", with_pe(pe, f"far: {LONG}", board=board))["feeder"]
    assert result.kind == kind
    if kind == "fail":
        assert dict(result.figures)["that fault"].endswith("for 5 s at shed")
    else:
        assert "an earth fault at far is not certain to be cleared within 5 s" in result.message


def test_of_faults_that_heat_a_conductor_alike_the_first_is_named() -> None:
    # two equal circuits of a board that is doubly insulated: the same name in every report, whatever else changes
    circuit = (
        "{from: shed, cores: L1 N PE, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: C, rating: 10 A}]}"
    )
    for names in (("one", "two"), ("two", "one")):
        text = with_pe("1.5 mm2", *(f"{name}: {circuit}" for name in names), board="{equipment: class-II}")
        assert conductors(text)["feeder"].heat("gG").at == names[0]


@pytest.mark.parametrize(
    ("circuit", "missing"),
    [
        (
            "far: {from: shed, cores: L1 N PE, size: 1.5 mm2, length: 9 m, through: [{id: q, kind: mcb, curve: B}]}",
            "the rating of q",
        ),
        # neither the board nor the load has a frame
        (
            "far: {from: shed, cores: L1 N, equipment: class-II, size: 1.5 mm2, length: 9 m}",
            "no earth fault is known whose current feeder carries",
        ),
    ],
)
def test_what_keeps_the_heat_of_a_conductor_from_being_known(circuit: str, missing: str) -> None:
    text = with_pe("10 mm2", circuit, board="{equipment: class-II}").replace("gG, rating: 63 A", "gG, rating: 400 A")
    result = judged("pe-small", text)["feeder"]
    assert result.kind == "open" and missing in result.message


TWO_INVERTERS = (
    HEAD
    + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 4.6 kVA, neutral-bond: fixed, fault-current: {limit: 2 x rated}}
  roof:
    {kind: inverter, phases: L1, voltage: 230 V, rating: 2.3 kVA, operation: grid-following, fault-current: {limit: 1.2 x rated}}
boards: {main: {}}
connections:
  feed: {from: inv.out, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}
  roof-feed: {from: roof, to: main, cores: L1 N PE, size: 4 mm2, length: 1 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, through: [{kind: rcd, residual: 30 mA}]}
"""
)


def test_inverters_alone_heat_a_conductor_with_the_sum_of_their_limits() -> None:
    # 2 x 20 A and 1.2 x 10 A (4.6 and 2.3 kVA at 230 V)
    assert conductors(TWO_INVERTERS)["load"].heat("gG").current_a == pytest.approx(2 * 20 + 1.2 * 10)


def test_an_inverter_behind_a_long_cable_heats_it_with_less_than_its_limit() -> None:
    # 400 m of 1.5 mm2 there and back, 12.1 ohm/km at 20 C (IEC 60228 table 2) and 1.2 times that at 70 C: 230 V / 11.6 ohm
    text = TWO_INVERTERS.replace("size: 2.5 mm2, length: 10 m", "size: 1.5 mm2, length: 400 m").replace(
        "  roof-feed:", "  # roof-feed:"
    )
    text = text.partition("  roof:")[0] + text[text.index("boards:") :]
    current_a = conductors(text.replace("length: 1 m", "length: 0 m"))["load"].heat("gG").current_a
    assert current_a == pytest.approx(230 / (2 * 0.4 * 12.1 * 1.2), rel=0.01)


BESIDE_GRID = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2, voltage: 230/400 V, earthing: TN-S, loop-impedance: 2.3 ohm}
  roof: {kind: inverter, phases: LINE, voltage: 230 V, operation: grid-following, RATED}
boards: {main: {}}
connections:
  feed: {from: grid, to: main, cores: L1 L2 N PE, size: 10 mm2, length: 0 m}
  roof-feed: {from: roof, to: main, cores: LINE N PE, size: 4 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 0 m, through: [{kind: rcd, residual: 30 mA}]}
"""
)


@pytest.mark.parametrize(
    ("line", "rated", "added_a"),
    [
        # 2.3 kVA at 230 V are 10 A; without a declared limit twice that may come (FORMAT.md, currents)
        ("L1", "rating: 2.3 kVA, fault-current: {limit: 1.2 x rated}", 12),
        ("L1", "rating: 2.3 kVA", 20),
        # on the other line it adds nothing
        ("L2", "rating: 2.3 kVA", 0),
    ],
)
def test_what_an_inverter_beside_a_supply_adds_to_the_heat(line: str, rated: str, added_a: float) -> None:
    text = BESIDE_GRID.replace("LINE", line).replace("RATED", rated)
    assert conductors(text)["load"].heat("gG").current_a == pytest.approx(230 / 2.3 + added_a)
    with pytest.raises(Unknown, match="the rating of roof"):
        conductors(
            text.replace(rated, "neutral-bond: none")
            .replace("phases: L2", "phases: L1")
            .replace("L2 N PE, size: 4", "L1 N PE, size: 4")
        )["load"].heat("gG")


# -- where a cable begins --------------------------------------------------------------------------------------------

FED = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: SOURCE, phases: L1, voltage: 120 V}
boards: {main: {}, shed: {}}
connections:
  service: {ENDS, cores: CORES, size: 2/0 AWG, through: [DEVICES]}
  to-shed: {from: main, to: shed, cores: L1 N PE, size: 2 AWG, pe-size: 14 AWG}
circuits:
  lamps: {from: shed, cores: L1 N PE, size: 12 AWG, through: [{kind: mcb, rating: 20 A}]}
"""
)
UTILITY, SET = "utility, earthing: TN-S", "generator, neutral-bond: fixed"


def fed(source: str = UTILITY, ends: str = "from: grid, to: main", cores: str = "L1 N PE", devices: str = "") -> str:
    text = FED.replace("SOURCE", source).replace("ENDS", ends).replace("CORES", cores).replace("DEVICES", devices)
    return text.replace(", through: []", "")


@pytest.mark.parametrize("ends", ["from: grid, to: main", "from: main, to: grid"])
def test_a_supply_feeds_its_cable_whichever_end_is_written_first(ends: str) -> None:
    # NEC table 250.122: behind 100 A 8 AWG of copper, behind 200 A 6 AWG; the breaker in the service is ahead of the shed
    for rating, size in ((100, "8 AWG"), (200, "6 AWG")):
        text = fed(ends=ends, devices=f"{{kind: mccb, rating: {rating} A}}")
        assert asked(conductors(text)["to-shed"], "NEC 250.122") == size


INPUT = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 120 V, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, voltage: 120 V, mains-input: yes, neutral-bond: none, neutral-through: solid}
  roof: {kind: inverter, phases: L1, voltage: 120 V, operation: grid-following}
boards: {main: {}, own: {}, lights: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 2/0 AWG, through: [{kind: mccb, rating: 200 A}]}
  input: {from: main, to: hybrid.in, cores: L1 N PE, size: 2 AWG, pe-size: 14 AWG}
  output: {OUTPUT, cores: L1 N PE, size: 2 AWG, pe-size: 14 AWG, through: [{kind: mcb, rating: 60 A}]}
  beside: {from: hybrid.out, to: roof, cores: L1 N PE, size: 6 AWG, through: [{kind: mcb, rating: 100 A}]}
  on: {from: own, to: lights, cores: L1 N PE, size: 6 AWG, pe-size: 14 AWG}
circuits:
  lamps: {from: own, cores: L1 N PE, size: 6 AWG, pe-size: 14 AWG}
"""
)


@pytest.mark.parametrize("output", ["from: hybrid.out, to: own", "from: own, to: hybrid.out"])
def test_an_inverter_is_fed_at_its_input_and_feeds_from_its_output(output: str) -> None:
    found = conductors(INPUT.replace("OUTPUT", output))
    # the breaker of the service is ahead of the input, that of the output ahead of what follows it
    ahead = {name: one.ahead and one.ahead[1] for name, one in found.items()}
    assert (ahead["input"], ahead["output"], ahead["on"], ahead["lamps"]) == ("service", "output", "output", "output")
    assert asked(found["lamps"], "NEC 250.122") == "10 AWG"  # table 250.122: 60 A
    assert asked(found["input"], "NEC 250.122") == "6 AWG"  # 200 A


@pytest.mark.parametrize("cores", ["L1 N PE", "L1 N"])
@pytest.mark.parametrize("ends", ["from: grid, to: main", "from: main, to: grid"])
def test_a_supply_side_conductor_goes_by_the_lines_where_no_device_is_ahead(cores: str, ends: str) -> None:
    # NEC 250.102(C)(1): 2/0 AWG of copper asks for 4 AWG; a cable of a set has to have a device, which is not written
    def supply_pe(source: str) -> Protective:
        text = fed(source, ends, cores)
        if cores == "L1 N":
            text = text.replace("  to-shed:", f"  supply-pe: {{{ends}, cores: PE, size: 4 AWG}}\n  to-shed:")
        return conductors(text)["supply-pe" if cores == "L1 N" else "service"]

    assert supply_pe(UTILITY).sort == "pe"
    assert asked(supply_pe(UTILITY), "NEC 250.122") == "4 AWG"
    with pytest.raises(Unknown, match="the overcurrent device ahead"):
        supply_pe(SET).asked("NEC 250.122")


# -- what a conductor of its own is for ------------------------------------------------------------------------------


def test_a_conductor_beside_lines_without_a_neutral_goes_by_their_device() -> None:
    # NEC table 250.122: 60 A ask for 10 AWG; the 200 A of the service would ask for 6 AWG.  That frames are joined by a second way
    # makes the PE of a cable no bonding conductor.
    text = (
        HEAD.replace("iec", "nec")
        + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 277/480 V, earthing: TN-S}
boards: {main: {}, pumps: {}, tower: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 3/0 AWG, through: [{kind: mccb, rating: 200 A}]}
  to-pumps: {from: main, to: pumps, cores: L1 L2 L3, size: 4 AWG, through: [{kind: mccb, rating: 60 A}]}
  pumps-pe: {from: main, to: pumps, cores: PE, size: 10 AWG}
  to-tower: {from: main, to: tower, cores: L1 N PE, size: 12 AWG, through: [{kind: mccb, rating: 20 A}]}
  bonding: {from: tower, to: pumps, cores: PE, size: 12 AWG}
circuits:
  pump: {from: pumps, cores: L1 L2 L3 PE, size: 10 AWG, through: [{kind: mccb, rating: 30 A}]}
"""
    )
    found = conductors(text)
    one = found["pumps-pe"]
    assert found["bonding"].sort == "bonding"
    assert (one.sort, one.lines.at and one.lines.at.subject) == ("pe", "to-pumps")
    assert asked(one, "NEC 250.122") == "10 AWG"


PIPE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 50 mm2}
  to-sub: {from: main, to: sub, cores: L1 N PE, size: 10 mm2}
  set-feed: {from: set, to: sub, cores: L1 N PE, size: 10 mm2}
  to-pipe: {from: PLACE, to: pipe, cores: PE, size: 6 mm2}
circuits:
  lamps: {from: sub, cores: L1 N PE, size: 1.5 mm2}
extraneous:
  pipe: {kind: water-pipe}
"""
)


def test_without_bar_and_electrode_main_bonding_begins_where_the_supply_lands() -> None:
    # IEC 60364-5-54, 544.1: half of the 25 mm2 that go with 50 mm2; 544.2: half of the 10 mm2 that come to the other board
    for place, sort, kind in (("main", "main-bonding", "fail"), ("sub", "bonding", "pass")):
        text = PIPE.replace("PLACE", place)
        assert conductors(text)["to-pipe"].sort == sort
        assert judged("bonding-conductor-small", text)["to-pipe"].kind == kind


@pytest.mark.parametrize(
    ("earthing", "more", "asked_mm2"),
    [
        # a TT system leads no fault back by metal: the least of 544.1, 6 mm2; else half of the 25 mm2 that go with 50 mm2
        ("TT", "", 6),
        ("TN-S", "", 12.5),
        ("TT", "bonds: {link: {at: main, size: 16 mm2}}\n", 12.5),
        ("TT", "SET", 12.5),
        ("IT", "", 12.5),
    ],
)
def test_main_bonding_of_a_tt_site_has_no_fault_to_lead_back(earthing: str, more: str, asked_mm2: float) -> None:
    text = PIPE.replace("PLACE", "main").replace("TN-S", earthing)
    if earthing != "TN-S":
        text = text.replace("to: main, cores: L1 N PE", "to: main, cores: L1 N")
    if more != "SET":
        text = "".join(line for line in text.splitlines(True) if not line.startswith("  set")) + more
    need = conductors(text)["to-pipe"].by_earthing(True)
    assert need is not None and need.mm2 == asked_mm2
    assert judged("bonding-conductor-small", text)["to-pipe"].kind == ("pass" if asked_mm2 == 6 else "fail")


BARNS = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 120 V, earthing: TN-S}
boards: {main: {}, met: {bars: PE}, barn: {}, mill: {}}
connections:
  mill-pe: {from: mill, to: wheel, cores: PE, size: 8 AWG}
  FIRST
  SECOND
  service: {from: grid, to: main, cores: L1 N PE, size: 2/0 AWG}
  to-barn: {from: main, to: barn, cores: L1 N, size: 2 AWG}
  to-mill: {from: main, to: mill, cores: L1 N, size: 2 AWG}
circuits:
  lamps: {from: barn, cores: L1 N PE, size: 12 AWG}
  wheel: {from: mill, cores: L1 N, size: 12 AWG}
electrodes:
  rods: {at: met, resistance: 20 ohm}
  ring: {at: barn, resistance: 20 ohm, shape: ring}
  other-ring: {at: mill, resistance: 20 ohm, shape: ring}
"""
)
BARN_PE = "barn-pe: {from: main, to: barn, cores: PE, size: 8 AWG}"


@pytest.mark.parametrize("earth", ["from: met, to: main", "from: main, to: met"])
@pytest.mark.parametrize("barn", [BARN_PE, "# the barn stands on its own electrode"])
@pytest.mark.parametrize("before", [True, False])
def test_a_conductor_leads_to_the_electrodes_on_its_far_side_and_no_others(earth: str, barn: str, before: bool) -> None:
    # NEC 250.66: 2/0 AWG ask for 4 AWG; (A): where it leads to rods alone 6 AWG is enough.  The rings are elsewhere.
    one = f"earth: {{{earth}, cores: PE, size: 4 AWG}}"
    first, second = (one, barn) if before else (barn, one)
    found = conductors(BARNS.replace("FIRST", first).replace("SECOND", second))["earth"]
    assert [rod.id for rod in found.soil] == ["rods"]
    assert asked(found, "NEC 250.66") == "6 AWG"


def test_of_two_ways_to_the_earthing_bar_one_is_the_earthing_conductor() -> None:
    # the one that leads to the largest lines; the other one is bonding, and each is read by whichever of its sizes is written
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
boards: {main: {}, met: {bars: PE}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 25 mm2}
  to-sub: {from: main, to: sub, cores: L1 N PE, size: 10 mm2}
  one: {from: met, to: sub, cores: PE, pe-size: 10 mm2}
  two: {from: met, to: main, cores: PE, size: 16 mm2}
circuits:
  lamps: {from: sub, cores: L1 N PE, size: 1.5 mm2}
"""
    )
    found = conductors(text)
    assert {name: (found[name].sort, found[name].size.mm2) for name in ("one", "two")} == {
        "one": ("main-bonding", 10),
        "two": ("earthing", 16),
    }


@pytest.mark.parametrize(
    ("to_sub", "on", "least_mm2"),
    [
        # what comes to the board counts, and not what leaves it, be that larger against the voltage drop
        ("pe-size: 4 mm2", "pe-size: 6 mm2", 4),
        ("pe-size: 6 mm2", "pe-size: 4 mm2", 6),
        # without a size of its own it is taken to have that of the lines
        ("length: 9 m", "pe-size: 4 mm2", 10),
    ],
)
def test_supplementary_bonding_goes_by_the_protective_conductor_that_comes_to_a_place(
    to_sub: str, on: str, least_mm2: float
) -> None:
    # IEC 60364-5-54, 544.2: no less than the smaller of the two; the grid is fed by nothing, and what leaves it has 25 mm2
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}}
boards: {{main: {{}}, sub: {{}}, far: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N PE, size: 25 mm2}}
  to-sub: {{from: main, to: sub, cores: L1 N PE, size: 10 mm2, {to_sub}}}
  on: {{from: sub, to: far, cores: L1 N PE, size: 10 mm2, {on}}}
  bonding: {{from: grid, to: sub, cores: PE, size: 16 mm2}}
circuits:
  lamps: {{from: far, cores: L1 N PE, size: 1.5 mm2}}
"""
    )
    one = conductors(text)["bonding"]
    assert (one.sort, one.smaller_pe_mm2) == ("bonding", least_mm2)


# two boards whose lines come from elsewhere, and one conductor that joins all of the metal of the second one to that of the first
ONLY_METAL = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 277/480 V, earthing: TN-S}
boards: {main: {}, annexe: {}, shed: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 3/0 AWG, through: [{kind: mccb, rating: 200 A}]}
  to-annexe: {from: main, to: annexe, cores: L1 L2 L3 N PE, size: 4 AWG, through: [{kind: mccb, rating: ANNEXE}]}
  to-shed: {from: main, to: shed, cores: L1 L2 L3, size: 4 AWG, through: [{kind: mccb, rating: SHED}]}
  shed-pe: {ENDS, cores: PE, size: 10 AWG}
circuits:
  pump: {from: shed, cores: L1 L2 L3 PE, size: 10 AWG, through: [{kind: mccb, rating: 15 A}]}
"""
)


@pytest.mark.parametrize("ends", ["from: annexe, to: shed", "from: shed, to: annexe"])
@pytest.mark.parametrize(("annexe", "shed", "size"), [("20 A", "60 A", "10 AWG"), ("100 A", "20 A", "12 AWG")])
def test_the_only_metal_of_a_board_goes_by_the_device_ahead_of_it(ends: str, annexe: str, shed: str, size: str) -> None:
    # NEC table 250.122: 20 A 12 AWG, 60 A 10 AWG: the faults of the shed pass it, and those of the annexe do not
    one = conductors(ONLY_METAL.replace("ENDS", ends).replace("ANNEXE", annexe).replace("SHED", shed))["shed-pe"]
    assert one.sort == "pe"
    assert asked(one, "NEC 250.122") == size


COMMON = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: GRID}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: SET}
boards: {main: {}, annexe: {}, shed: {}}
connections:
  service: {from: grid, to: main, cores: SERVICE, size: 35 mm2}
  set-feed: {from: set, to: shed, cores: L1 N PE, size: 16 mm2, through: [{kind: mcb, rating: 32 A}]}
  to-shed: {from: main, to: shed, cores: L1 N, size: 10 mm2}
  to-annexe: {from: shed, to: annexe, cores: L1 N PE, size: 4 mm2}
  main-pe: {ENDS, cores: PE, size: 10 mm2}
circuits:
  lamps: {from: annexe, cores: L1 N PE, size: 1.5 mm2}
  tools: {from: main, cores: L1 N PE, size: 2.5 mm2}
"""
)


@pytest.mark.parametrize("ends", ["from: main, to: annexe", "from: annexe, to: main"])
@pytest.mark.parametrize(("grid", "inner"), [("TN-S", "none"), ("TN-S", "fixed"), ("TT", "fixed")])
def test_a_protective_conductor_that_cables_elsewhere_rely_on_goes_by_the_largest_of_them(
    ends: str, grid: str, inner: str
) -> None:
    # IEC 60364-5-54, 543.1.4 (from memory): not by the 4 mm2 at the annexe, where it lands, but by the 10 mm2 of the shed, whose
    # faults return through the annexe; with the set running it is those of the main board that return to the set
    text = COMMON.replace("ENDS", ends).replace("GRID", grid).replace("SET", inner)
    text = text.replace("SERVICE", "L1 N PE" if grid == "TN-S" else "L1 N")
    one = conductors(text)["main-pe"]
    assert (one.sort, one.lines.mm2) == ("pe", 10)
    assert judged("pe-small", text)["main-pe"].kind == "pass"
    assert judged("pe-small", text.replace("PE, size: 10 mm2", "PE, size: 6 mm2"))["main-pe"].kind == "open"


@pytest.mark.parametrize("ends", ["from: main, to: annexe", "from: annexe, to: main"])
def test_metal_that_no_lines_go_with_is_judged_by_what_lands_at_its_ends(ends: str) -> None:
    # the annexe is fed by the set alone: the smaller lines, and the larger device, since nobody knows whose faults pass
    text = COMMON.replace("ENDS", ends).replace("GRID", "TN-S").replace("SET", "none").replace("SERVICE", "L1 N PE")
    text = text.replace("  to-shed:", "  # to-shed:").replace(
        "size: 35 mm2}", "size: 35 mm2, through: [{kind: fuse, rating: 80 A}]}"
    )
    text = text.replace(
        "size: 2.5 mm2}", "size: 25 mm2, through: [{kind: mccb, rating: 100 A}]}"
    )  # it feeds neither end
    one = conductors(text)["main-pe"]
    assert (one.sort, one.lines.mm2, one.ahead and one.ahead[0].rating_a) == ("pe", 4, 80)


# -- electrodes ------------------------------------------------------------------------------------------------------

FARM = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.5 ohm, fault-current: 1 kA}
boards: {main: {}, barn: {}}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 5 m, through: [{kind: rcd, id: q, residual: 300 mA}]}
  to-barn: {from: main, to: barn, cores: L1 N PE, size: 6 mm2, length: 40 m, BARN}
circuits:
  mill: {from: barn, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rods: {at: main, resistance: 180 ohm}
"""
)


@pytest.mark.parametrize(
    ("service", "barn", "place"),
    [
        # the least sensitive device decides; of frames with the same one the first that is written
        ("300 mA", "{kind: mcb, curve: C, rating: 32 A}", "main"),
        ("500 mA", "{kind: rcd, id: r, residual: 300 mA}", "main"),
    ],
)
def test_the_frame_that_is_named_for_an_electrode(service: str, barn: str, place: str) -> None:
    # 180 ohm and 300 mA are 54 V (IEC 60364-4-41, 411.5.3: at most 50 V)
    text = FARM.replace("300 mA", service).replace("BARN", f"through: [{barn}]")
    result = judged("electrode-resistance-high", text)["rods"]
    assert result.kind == "fail" and result.message.endswith(f"that guards {place}")


LINKED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}
boards: {main: {}, barn: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  to-barn: {from: main, to: barn, cores: CORES}
circuits:
  lamps: {from: barn, cores: L1 N PE}
bonds: {BONDS}
electrodes: {rods: {at: main}, barn-rod: {at: barn}}
"""
)


@pytest.mark.parametrize(
    ("cores", "bonds", "joined"),
    [
        ("L1 N PE", "link: {at: main}", True),
        # a PEN between two links joins what is linked to it; between a link and none it does not
        ("L1 PEN", "link: {at: main}, barn-link: {at: barn}", True),
        ("L1 PEN", "link: {at: main}", False),
        # a neutral is no earthing conductor: it may be opened, and carries the current of the loads
        ("L1 N", "link: {at: main}, barn-link: {at: barn}", False),
    ],
)
def test_what_joins_two_electrodes(cores: str, bonds: str, joined: bool) -> None:
    text = LINKED.replace("CORES", cores).replace("BONDS", bonds)
    (pair,) = facts_of(text).electrode_pairs
    assert (pair.id, pair.other, pair.joined) == ("barn-rod", "rods", joined)
    assert judged("electrodes-not-joined", text)["barn-rod"].kind == ("pass" if joined else "fail")


# -- what does not fit -----------------------------------------------------------------------------------------------

SWITCHED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {out: {}}
changeovers:
  co: {positions: [mains, own], poles: POLES}
connections:
  service: {from: grid, to: co.mains, cores: CORES}
  set-feed: {from: set, to: co.own, cores: CORES}
  feed: {from: co, to: out, cores: CORES}
circuits:
  lamps: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("poles", "cores", "opens_pen", "misfit"),
    [
        ("L1", "L1 PEN", False, ""),
        # the pole of a neutral takes the PEN that lands there: it fits, and it opens what must not be opened (543.4)
        ("L1 N", "L1 PEN", True, ""),
        ("L1 N", "L1 N PE", False, ""),
        ("L1 N", "L1 PE", False, "no conductor lands on its pole N"),
        ("L1 L2 N", "L1 PEN", True, "no conductor lands on its pole L2"),
        ("L1 N", "PEN", True, "no conductor lands on its pole L1"),
    ],
)
def test_poles_of_a_changeover_and_a_pen(poles: str, cores: str, opens_pen: bool, misfit: str) -> None:
    facts = facts_of(SWITCHED.replace("POLES", poles).replace("CORES", cores))
    assert [one.opens_pen for one in facts.switched_protective if one.id == "co"] == [opens_pen]
    assert [one.what for one in facts.misfits if one.id == "co"] == [misfit]


@pytest.mark.parametrize(
    ("at", "cores", "misfit"),
    [
        ("main", "L1 N PE", ""),
        ("main", "L1 PEN", ""),
        # a bond where no neutral lands ties nothing
        ("main", "L1 PE", "no neutral lands where it is"),
        # a source has its neutral inside, whether a conductor lands on it or not
        ("set", "L1 N PE", ""),
        ("set", "L1 PE", ""),
    ],
)
def test_a_bond_where_no_neutral_lands(at: str, cores: str, misfit: str) -> None:
    text = (
        HEAD
        + f"""\
sources:
  set: {{kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}}
boards: {{main: {{}}}}
connections:
  feed: {{from: set, to: main, cores: {cores}}}
circuits:
  lamps: {{from: main, cores: L1 PE}}
bonds: {{link: {{at: {at}}}}}
"""
    )
    assert [one.what for one in facts_of(text).misfits if one.id == "link"] == [misfit]


# -- neutrals of other devices ---------------------------------------------------------------------------------------

TWO_RCDS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none, may-parallel: [grid]}
boards: {main: {}, lights: {}, power: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-lights: {from: main, to: lights, cores: L1 N PE, through: [{id: rl, kind: rcd, residual: 30 mA}]}
  to-power: {from: main, to: power, cores: L1 N PE, through: [{id: rp, kind: rcd, residual: 30 mA}]}
  set-feed: {from: set, to: power, cores: L1 N PE}
CIRCUITS
"""
)


@pytest.mark.parametrize(
    ("lines", "neutral", "line_only", "neutral_only"),
    [
        ("lights", "lights", (), ()),
        ("power", "power", (), ()),
        ("lights", "main", ("rl",), ()),
        ("main", "lights", (), ("rl",)),
        # fed by the grid one conductor passes rp, fed by the set the other one
        ("main", "power", ("rp",), ("rp",)),
        ("power", "main", ("rp",), ("rp",)),
        ("lights", "power", ("rl", "rp"), ("rp",)),
    ],
)
def test_a_neutral_from_another_residual_current_device_than_its_line(
    lines: str, neutral: str, line_only: tuple[str, ...], neutral_only: tuple[str, ...]
) -> None:
    circuits = f"  extra: {{from: {neutral}, to: lamp, cores: N}}\ncircuits:\n  lamp: {{from: {lines}, cores: L1 PE}}"
    if lines == neutral:
        circuits = f"circuits:\n  lamp: {{from: {lines}, cores: L1 N PE}}"
    (found,) = facts_of(TWO_RCDS.replace("CIRCUITS", circuits)).borrowed_neutrals
    assert (found.line_only, found.neutral_only) == (line_only, neutral_only)


# -- currents past a device ------------------------------------------------------------------------------------------

BEHIND = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.5 ohm, fault-current: 2 kA}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 25 mm2, length: 0 m}
  feed: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, pe-size: PE, length: 10 m, through: [{id: r, kind: rcd, residual: 30 mA}]}
circuits:
  lamp: {from: sub, cores: L1 N PE, size: 1.5 mm2, length: 5 m, load: 0.01 A}
bonds: {link: {at: sub, length: 0 m, size: 10 mm2}}
"""
)


@pytest.mark.parametrize(
    ("pe", "may", "will"),
    [("10 mm2", "30.0 mA (6.90 W)", "60.0 mA (13.8 W)"), ("2.5 mm2", "75.7 mA (17.4 W)", "0.151 A (34.8 W)")],
)
def test_the_load_from_which_a_device_trips_by_a_link_behind_it(pe: str, may: str, will: str) -> None:
    # neutral current divides by 1.83 and 1.83, or 1.83 and 7.41 ohm/km (IEC 60228 table 2): 0.5 or 0.198 of it passes the device
    # by, which may trip from 15 mA and has to from 30 mA (IEC 61008-1)
    result = judged("bond-behind-rcd", BEHIND.replace("pe-size: PE", f"pe-size: {pe}"))["link"]
    assert dict(result.figures) == {"r may trip from a load of": may, "it has to trip from a load of": will}


def test_a_site_whose_protective_conductors_carry_nothing_is_checked() -> None:
    # one star point and no leakage: no load drives anything through PE, and the rule has that to say
    text = BEHIND.partition("bonds:")[0].replace("pe-size: PE", "pe-size: 10 mm2")
    assert {one.current_a for one in facts_of(text).pe_currents} == {0}
    assert {one.kind for one in judged("neutral-current-in-pe", text).values()} == {"pass"}
