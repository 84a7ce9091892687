"""What a drawing says of a small site, and what a meter shows where nothing earths it: sites worked by hand."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest

from onebond.circuit.components.capacitance import floating_reading_v
from onebond.document import parse
from onebond.facts import Facts, FloatingReading
from onebond.facts.drawing import drawing, kinds_of_island
from onebond.reading import load, read
from onebond.result import Drawing, DrawnState

HEAD = "onebond: 1\nsite: {name: Workshop, rulebook: iec, stage: draft}\n"


def facts_of(text: str) -> Facts:
    return both_of(text)[0]


def both_of(text: str) -> tuple[Facts, Drawing]:
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    facts = Facts(installation, installation.rulebook)
    return facts, drawing(facts, document)


def drawn(text: str) -> Drawing:
    return both_of(text)[1]


# -- parts as they are written -------------------------------------------------------------------------------------------

PARTS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  solar: {kind: inverter, phases: L1, rating: 3 kVA, operation: grid-following}
  forming: {kind: inverter, phases: L1, rating: 3 kVA}
  parting: {kind: transformer, phases: L1, voltage: 230 V, winding: isolating}
  raising: {kind: transformer, phases: L1, voltage: 230 V, winding: auto}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, CABLE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: q, kind: rcd, rating: 40 A, residual: 300 mA, DEVICE}]}
  solar-feed: {from: solar, to: main, cores: L1 N PE}
  forming-feed: {from: forming, to: sub, cores: L1 N PE}
  to-parting: {from: main, to: parting.in, cores: L1 N PE}
  to-raising: {from: main, to: raising.in, cores: L1 N PE}
  to-pipe: {from: main, to: pipe, cores: PE}
circuits:
  one: {from: sub, cores: L1 N PE}
extraneous:
  pipe: {kind: water-pipe}
  gas: {kind: gas-pipe, joins: [main, sub]}
electrodes: {earth: {at: main, ELECTRODE}}
"""
)


def parts(cable: str = "size: 10 mm2", device: str = "type: A", electrode: str = "resistance: 20 ohm") -> Drawing:
    return drawn(PARTS.replace("CABLE", cable).replace("DEVICE", device).replace("ELECTRODE", electrode))


@pytest.mark.parametrize(
    ("cable", "texts"),
    [
        # what is there where nothing is written (FORMAT.md) says nothing new
        ("size: 10 mm2, pe-by: core, runs: 1, material: copper, length: 12 m", ("12 m",)),
        ("size: 10 mm2, pe-by: conduit, length: 12 m", ("PE by conduit", "12 m")),
        ("size: 95 mm2, runs: 2, length: 12 m", ("2 runs", "12 m")),
        ("size: 16 mm2, material: aluminium", ("aluminium",)),
        # sizes of N and PE only where they differ from that of the lines
        ("size: 16 mm2, n-size: 16 mm2, pe-size: 10 mm2", ("PE 10 mm2",)),
    ],
)
def test_a_cable_is_drawn_with_what_is_not_usual_of_it(cable: str, texts: tuple[str, ...]) -> None:
    assert next(link for link in parts(cable).links if link.id == "service").texts == texts


@pytest.mark.parametrize(
    ("device", "text"),
    [
        ("type: A", "300 mA type A"),
        ("type: A, delay: general", "300 mA type A"),
        ("type: A, delay: S", "300 mA type A S"),
    ],
)
def test_a_selective_rcd_is_marked_and_a_general_one_is_not(device: str, text: str) -> None:
    # S in a square stands on a selective one; one without delay has no mark (IEC 61008-1, from memory)
    (found,) = next(link for link in parts(device=device).links if link.id == "on").devices
    assert found.texts == ("40 A", text)


@pytest.mark.parametrize(
    ("electrode", "texts"),
    [
        # a length is that of a rod where nothing else is written, and of one rod (FORMAT.md)
        ("length: 2.4 m", ("1 x 2.4 m",)),
        ("shape: rod, length: 2.4 m", ("1 x 2.4 m",)),
        ("rods: 3, length: 2.4 m", ("3 x 2.4 m",)),
        ("rods: 3, resistance: 20 ohm", ("3 rods", "20 ohm")),
        ("rods: 2, resistance: 20 ohm", ("2 rods", "20 ohm")),
        ("rods: 1, resistance: 20 ohm", ("1 rod", "20 ohm")),
        # of what is no rod, and of what nobody described, no rods are counted
        ("shape: ring, length: 40 m", ("ring",)),
        ("shape: rod, resistance: 20 ohm", ("rod", "20 ohm")),
        ("resistance: 20 ohm", ("20 ohm",)),
    ],
)
def test_rods_of_an_electrode(electrode: str, texts: tuple[str, ...]) -> None:
    (found,) = parts(electrode=electrode).electrodes
    assert found.texts == texts


def test_sources_say_what_they_do_by_themselves() -> None:
    found = {place.id: place for place in parts().places}
    assert found["solar"].texts == ("3 kVA", "grid-following") and found["forming"].texts == ("3 kVA",)
    names = ("grid", "solar", "forming", "parting", "raising")
    assert [name for name in names if found[name].follows] == ["solar"]
    # an autotransformer parts nothing and has no state: its terminals stay joined
    assert [name for name in names if found[name].isolating] == ["parting"]
    assert [found[name].variable for name in names] == ["grid", "solar", "forming", "parting", ""]


def test_metal_is_a_place_where_conductors_land_on_it_and_joins_frames_where_it_touches_them() -> None:
    found = parts()
    assert [(place.id, place.texts) for place in found.places if place.bars == ("PE",)] == [("pipe", ("water-pipe",))]
    assert [(metal.id, metal.joins) for metal in found.metals] == [("gas", ("main", "sub"))]


def test_what_is_written_in_a_part_of_the_site_is_named_with_its_file(tmp_path: Path) -> None:
    # ids of things, not the words under which their devices stand; the type lies in one file, the cable in the other
    (tmp_path / "site.yaml").write_text(
        HEAD
        + """\
parts: [shed.yaml]
types: {devices: {here: {kind: isolator}}}
sources: {grid: {kind: utility, phases: L1, earthing: TN-S}}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, through: [{like: there}]}
"""
    )
    (tmp_path / "shed.yaml").write_text(
        """\
onebond-part: 1
types: {devices: {there: {kind: isolator}}}
boards: {shed: {}}
connections:
  to-shed: {from: main, to: shed, cores: L1 N PE, through: [{like: here}]}
"""
    )
    document, installation, problems, _ = load(str(tmp_path / "site.yaml"))
    assert document is not None and installation is not None, problems
    found = drawing(Facts(installation, installation.rulebook), document)
    named = [(name, Path(file).name) for name, file in found.files]
    assert named == [("shed", "shed.yaml"), ("to-shed", "shed.yaml")]


# -- kinds of live island ------------------------------------------------------------------------------------------------

PLAIN = (
    HEAD
    + """\
sources:
  SOURCE
boards: {main: {}}
connections:
  service: {from: supply, to: main, cores: CORES}
circuits:
  one: {from: main, cores: L1 N PE}
bonds: {BONDS}
"""
)


@pytest.mark.parametrize(
    ("source", "cores", "bonds", "references"),
    [
        ("supply: {kind: utility, phases: L1, earthing: TN-S}", "L1 N PE", "", "supply (star point of the supplier)"),
        ("supply: {kind: generator, phases: L1, neutral-bond: fixed}", "L1 N PE", "", "supply (inside it)"),
        ("supply: {kind: generator, phases: L1, neutral-bond: none}", "L1 N PE", "link: {at: main}", "link (at main)"),
    ],
)
def test_a_reference_is_named_with_the_place_where_it_is(source: str, cores: str, bonds: str, references: str) -> None:
    text = PLAIN.replace("SOURCE", source).replace("CORES", cores).replace("BONDS", bonds)
    (kind,) = kinds_of_island(facts_of(text))
    assert kind.references == (references,)


# -- the state that is drawn ---------------------------------------------------------------------------------------------


def state_of(text: str, *sources: str) -> DrawnState:
    """The only kind of island that these sources feed."""
    (found,) = (state for state in drawn(text).states if state.sources == sources)
    return found


def values_of(text: str, *sources: str) -> dict[str, str]:
    return dict(state_of(text, *sources).values)


TWO_CABLES = (
    HEAD
    + """\
sources:
  supply: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}}
connections:
  service: {from: supply, to: main, cores: L1 N PE}
  left: {from: main, to: sub, cores: L1 N PE, through: [{kind: isolator, id: LEFT}]}
  right: {from: main, to: sub, cores: L1 N PE, through: [{kind: isolator, RIGHT}]}
circuits:
  one: {from: sub, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("left", "right", "values"),
    [
        ("a, operable: yes", "id: b, operable: yes", {"a": "closed", "b": "closed"}),
        ("a, operable: yes, normally: open", "id: b, operable: yes", {"a": "open", "b": "closed"}),
        ("a, operable: yes", "id: b, operable: yes, normally: open", {"a": "closed", "b": "open"}),
        # a device without an id goes by its place in its cable
        ("a, operable: yes", "operable: yes, normally: open", {"a": "closed", "right/1": "open"}),
    ],
)
def test_of_two_cables_that_supply_the_same_the_one_that_is_usually_open_is_drawn_open(
    left: str, right: str, values: dict[str, str]
) -> None:
    # either cable alone supplies everything, so three positions are of one kind; one of them is drawn
    text = TWO_CABLES.replace("LEFT", left).replace("RIGHT", right)
    state = next(state for state in drawn(text).states if "one" in state.supplies)
    assert {name: value for name, value in state.values if name != "supply"} == values
    assert set(values) <= set(state.varies)


def test_a_switch_that_makes_no_difference_is_drawn_closed() -> None:
    # behind it lies a load alone: it is judged as it is with the switch closed (FORMAT.md, operating states)
    text = PLAIN.replace("SOURCE", "supply: {kind: utility, phases: L1, earthing: TN-S}").replace("BONDS", "")
    text = text.replace("CORES", "L1 N PE").replace(
        "one: {from: main, cores: L1 N PE}",
        "one: {from: main, cores: L1 N PE, through: [{kind: switch, id: q, operable: yes, normally: open}]}",
    )
    state = state_of(text, "supply")
    assert state.free == ("q",) and dict(state.values)["q"] == "closed"


TWO_WAYS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: IT}
  set: {kind: generator, phases: L1, neutral-bond: none}
  other: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, apart: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N, OF-IT}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: main, cores: L1 N PE}
  other-service: {from: other, to: apart, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: apart, cores: L1 N PE}
"""
)


@pytest.mark.parametrize("prefers", ["mains", "own"])
def test_a_changeover_is_drawn_in_the_position_that_feeds(prefers: str) -> None:
    # whatever it prefers: from the grid it feeds in its first position alone, from the set in the second
    text = TWO_WAYS.replace("OF-IT", f"prefers: {prefers}")
    assert values_of(text, "grid")["co"] == "mains"
    assert values_of(text, "set")["co"] == "own"


@pytest.mark.parametrize(("more", "position"), [("prefers: mains", "mains"), ("prefers: own", "own"), ("", "mains")])
def test_a_changeover_elsewhere_is_drawn_as_it_prefers_to_stand(more: str, position: str) -> None:
    # what the other supply feeds has nothing to do with it; where it prefers nothing the first position is the usual one
    state = state_of(TWO_WAYS.replace("OF-IT", more or "drive: manual"), "other")
    assert "co" in state.free and dict(state.values)["co"] == position


OVERLAPPING = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: IT}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {out: {}, main: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N, transition: closed}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
  left: {from: out, to: main, cores: L1 N PE}
  right: {from: out, to: main, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}]}
circuits:
  one: {from: main, cores: L1 N PE}
"""
)


def test_a_changeover_is_drawn_at_rest_before_it_is_drawn_between_two_positions() -> None:
    # the other source stands: between the two positions the same is supplied as in one of them, for a moment
    assert values_of(OVERLAPPING, "set")["co"] == "own" and values_of(OVERLAPPING, "grid")["co"] == "mains"
    assert values_of(OVERLAPPING, "grid", "set")["co"] == "mains+own"


def test_a_changeover_is_drawn_at_rest_whatever_else_is_unusual_there() -> None:
    # nothing lands on the mains side yet, and the key that lets the set in opens the right cable: two things are as they are
    # not usually; between the positions the cable may be closed, and it is a moment all the same
    text = OVERLAPPING.replace("  grid: {kind: utility, phases: L1, earthing: IT}\n", "")
    text = text.replace("  service: {from: grid, to: co.mains, cores: L1 N}\n", "")
    text += "interlocks: [{never: {co: own, q: closed}}]\n"
    found = values_of(text, "set")
    assert (found["co"], found["q"]) == ("own", "open")


def test_an_inverter_that_passes_either_way_is_drawn_passing_and_one_without_mains_input_inverting() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, when-off: through, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
    )
    # off it joins input and output as well (FORMAT.md): the same is supplied
    state = next(state for state in drawn(text).states if "one" in state.supplies and state.sources == ("grid",))
    assert dict(state.values)["hybrid"] == "passing" and "hybrid" in state.varies
    # the relay beside a fixed link changes no reference of the set, whatever the inverter does
    assert values_of(RELAYS, "set")["inv"] == "inverting"


RELAYS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  set: {kind: generator, phases: L1, neutral-bond: none}
  inv: {kind: inverter, phases: L1, neutral-bond: while-inverting}
boards: {main: {}, out: {}, hut: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  set-feed: {from: set, to: hut, cores: L1 N PE}
  inv-feed: {from: inv, to: out, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: out, cores: L1 N PE}
  three: {from: hut, cores: L1 N PE}
bonds:
  fixed: {at: hut}
  relay: {at: hut, closed: {inv: off}}
"""
)


def test_bonds_that_hang_on_what_a_state_leaves_open_are_neither_drawn_closed_nor_open() -> None:
    # what the grid feeds says nothing of the inverter: its own bond and the relay may be closed or open;
    # a star point is the supplier's and no bond that anything opens
    state = state_of(RELAYS, "grid")
    assert state.bonds == ("fixed",) and set(state.unsettled) == {"inv", "relay"}
    running = state_of(RELAYS, "inv")
    assert set(running.bonds) == {"fixed", "inv"} and running.unsettled == ()


# -- systems that nothing earths -----------------------------------------------------------------------------------------

FLOATING = (
    HEAD
    + """\
sources:
  SOURCES
boards: {main: {}, sub: {}}
connections:
  CONNECTIONS
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, ON}
circuits:
  CIRCUITS
"""
)
SET = "set: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 12 %, neutral-bond: none}"
SET_FEED = "set-feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 20 m}"
ONE = "one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 30 m}"


def floating(
    *, sources: str = SET, connections: str = SET_FEED, on: str = "length: 50 m", circuits: str = ONE
) -> tuple[FloatingReading, ...]:
    text = FLOATING.replace("SOURCES", sources).replace("CONNECTIONS", connections)
    return facts_of(text.replace("ON}", on + "}").replace("CIRCUITS", circuits)).floating


def volts(value: float) -> object:
    # within what the cables and a set of which little is known (its rated voltage over its rated current, 10.6 ohm) let a meter
    # of 3 kohm lose
    return pytest.approx(value, rel=5e-3)


def test_what_meters_show_where_capacitances_alone_hold_a_system_of_one_line() -> None:
    # 20 + 50 + 30 m of cable at 50 to 300 pF/m (usual cable data, from memory): 5 to 30 nF from either conductor to PE, and
    # the meter beside one of them (the worked divider of test_floating_readings.py)
    low_f, high_f = 100 * 50e-12, 100 * 300e-12
    found = floating()
    assert [reading.id for reading in found] == ["main", "sub", "one"]
    for reading in found:
        for (across, line, neutral), meter_ohm in ((reading.digital, 10e6), (reading.low_impedance, 3e3)):
            assert across == volts(230) and across < 230  # a meter loads what it reads
            assert line is not None and neutral is not None
            for band in (line, neutral):
                assert band.low == volts(floating_reading_v(230, low_f, low_f, meter_ohm))
                assert band.high == volts(floating_reading_v(230, high_f, high_f, meter_ohm))
        # a person of 1 kohm shorts one of the two: the other one lets through what it does at 230 V, next to nothing less
        assert reading.touch_a is not None
        assert reading.touch_a.low == pytest.approx(230 * 2 * pi * 50 * low_f, rel=5e-3)  # 0.36 mA
        assert reading.touch_a.high == pytest.approx(230 * 2 * pi * 50 * high_f, rel=5e-3)  # 2.2 mA
        assert not reading.filters


@pytest.mark.parametrize(("leaking", "filters"), [("lamp", True), ("pump", False)])
def test_only_the_leakage_of_what_the_floating_source_supplies_counts(leaking: str, filters: bool) -> None:
    # the pump hangs on the grid, which is earthed: its filter does nothing to what the set feeds
    sources = SET + "\n  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.4 ohm}"
    connections = SET_FEED + "\n  service: {from: grid, to: house, cores: L1 N PE, size: 10 mm2, length: 5 m}"
    circuits = "\n  ".join(
        f"{name}: {{from: {board}, cores: L1 N PE, size: 2.5 mm2, length: 9 m{', leakage: 3.5 mA' * (name == leaking)}}}"
        for name, board in (("lamp", "sub"), ("pump", "house"))
    )
    text = FLOATING.replace("SOURCES", sources).replace("CONNECTIONS", connections).replace("CIRCUITS", circuits)
    text = text.replace("ON}", "length: 50 m}").replace("sub: {}}", "sub: {}, house: {}}")
    assert {reading.filters for reading in facts_of(text).floating} == {filters}


def test_between_lines_without_a_neutral_there_is_none_to_read() -> None:
    # the last thing that is written has no neutral: what would be read there is that of no other place
    sources = SET.replace("phases: L1, voltage: 230 V", "phases: L1 L2, voltage: 120/240 V, system: split-phase")
    connections = SET_FEED.replace("L1 N PE", "L1 L2 N PE")
    circuits = "two: {from: main, cores: L1 L2 PE, size: 2.5 mm2, length: 30 m}"
    found = {reading.id: reading for reading in floating(sources=sources, connections=connections, circuits=circuits)}
    for across, line, neutral in (found["two"].digital, found["two"].low_impedance):
        assert across is None and neutral is None and line is not None
    assert found["main"].digital[2] is not None


def test_an_open_neutral_is_not_read() -> None:
    # the switch opens the neutral alone: behind it the line is live, and the neutral hangs on nothing
    text = FLOATING.replace("SOURCES", SET).replace("CONNECTIONS", SET_FEED).replace("CIRCUITS", ONE)
    text = text.replace("ON}", "length: 50 m, through: [{id: q, kind: switch, poles: N, operable: yes}]}")
    facts = facts_of(text + "monitors: {watch: {at: sub}}\n")
    q = [variable.name for variable in facts.network.variables].index("q")
    read = {(reading.id, reading.island.value(q)): reading.digital for reading in facts.floating}
    across, line, neutral = read["sub", "open"]
    assert across is None and neutral is None and line is not None
    assert read["sub", "closed"][0] == volts(230) and read["main", "open"][0] == volts(230)


INVERTER = "inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none}"
INVERTER_FEED = "inv-feed: {from: inv, to: main, cores: L1 N PE, size: 10 mm2, LENGTH}"


@pytest.mark.parametrize("sources", [(INVERTER, SET), (SET, INVERTER)])
def test_the_terminals_of_an_inverter_that_a_set_feeds_too(sources: tuple[str, str]) -> None:
    # whichever is written first, each has its nominal voltage from line to neutral at its own terminals
    connections = INVERTER_FEED.replace("LENGTH", "length: 0 m") + "\n  " + SET_FEED
    found = floating(sources="\n  ".join(sources), connections=connections)
    both = {reading.id: reading for reading in found if len(reading.island.feeds) == 2}
    assert set(both) == {"inv", "set", "main", "sub", "one"}
    for reading in both.values():
        across, line, neutral = reading.digital
        assert across == volts(230) and line is not None and neutral is not None and reading.touch_a is not None
        assert line.high == volts(115) and neutral.high == volts(115)


@pytest.mark.parametrize("sources", [(INVERTER, SET), (SET, INVERTER)])
def test_without_a_known_capacitance_nothing_is_read_to_pe(sources: tuple[str, str]) -> None:
    # no length is written, so nothing that is known ties the system to PE: a neutral that floats does not read 0 V there
    connections = (INVERTER_FEED + "\n  " + SET_FEED).replace(", LENGTH", "").replace(", length: 20 m", "")
    found = floating(
        sources="\n  ".join(sources),
        connections=connections,
        on="material: copper",
        circuits=ONE.replace(", length: 30 m", ""),
    )
    assert {reading.id for reading in found} == {"inv", "set", "main", "sub", "one"}
    for reading in found:
        assert reading.digital[0] == volts(230)
        assert (*reading.digital[1:], *reading.low_impedance[1:], reading.touch_a) == (None,) * 5


@pytest.mark.parametrize("without", [", voltage: 230 V", ""])
def test_nobody_feels_nothing_because_a_voltage_is_not_written(without: str) -> None:
    # a datum that is not written is never a value: neither 0 V on the meter nor 0 A through a person
    found = floating(sources=SET.replace(without, "") if without else SET)
    assert found
    for reading in found:
        values = (*reading.digital, *reading.low_impedance, reading.touch_a)
        assert [value is None for value in values] == [bool(without)] * 7


def test_what_follows_a_set_needs_no_voltage_of_its_own() -> None:
    # it has the voltage of what it follows
    solar = "solar: {kind: inverter, phases: L1, operation: grid-following}"
    feed = "solar-feed: {from: solar, to: main, cores: L1 N PE, size: 10 mm2, length: 20 m}"
    found = floating(sources=SET + "\n  " + solar, connections=SET_FEED + "\n  " + feed)
    assert {len(reading.island.feeds) for reading in found} == {1, 2}
    assert all(reading.digital[0] == volts(230) and reading.touch_a for reading in found)


def test_behind_an_autotransformer_nothing_is_read() -> None:
    # its currents are not worked out, so what lies behind it is open (FORMAT.md, currents)
    raising = "raising: {kind: transformer, phases: L1, voltage: 120 V, winding: auto}"
    up = "up: {from: main, to: raising.in, cores: L1 N PE, size: 10 mm2, length: 20 m}"
    text = FLOATING.replace("SOURCES", f"{SET}\n  {raising}").replace("CONNECTIONS", f"{SET_FEED}\n  {up}")
    text = (
        text.replace("CIRCUITS", ONE)
        .replace("on: {from: main,", "on: {from: raising.out,")
        .replace("ON}", "length: 9 m}")
    )
    found = {reading.id: reading.digital for reading in facts_of(text).floating}
    assert found["sub"] == found["one"] == (None, None, None)


@pytest.mark.parametrize("missing", ["size: 10 mm2, ", "size: 2.5 mm2, "])
def test_the_size_of_a_cable_makes_no_difference_to_a_meter(missing: str) -> None:
    # some ohm in the way of a meter of 3 kohm, and of what capacitances let through
    whole = floating()
    found = floating(connections=SET_FEED.replace(missing, ""), circuits=ONE.replace(missing, ""))
    for one, other in zip(whole, found, strict=True):
        assert one.touch_a is not None and other.touch_a is not None
        assert other.touch_a == pytest.approx(one.touch_a, rel=1e-2)
        for a, b in zip(one.low_impedance[1:], other.low_impedance[1:], strict=True):
            assert a is not None and b is not None and tuple(a) == pytest.approx(tuple(b), rel=1e-2)  # type: ignore[arg-type]


def test_the_filter_of_an_inverter_that_is_off_holds_what_another_source_feeds() -> None:
    # 100 nF from either conductor to PE beside 100 + 20 m of cable, 6 to 36 nF; with 3 kohm a good part of it is read
    inverter = INVERTER.replace("neutral-bond", "filter-capacitance: 100 nF, neutral-bond")
    found = floating(
        sources=f"{SET}\n  {inverter}",
        connections=f"{SET_FEED}\n  {INVERTER_FEED.replace('LENGTH', 'length: 20 m')}",
    )
    alone = [reading for reading in found if [feed.id for feed in reading.island.feeds] == ["set"]]
    assert alone and all(reading.filters for reading in alone)
    low_f, high_f = 100e-9 + 120 * 50e-12, 100e-9 + 120 * 300e-12
    for reading in alone:
        neutral = reading.low_impedance[2]
        assert neutral is not None
        assert neutral.low == volts(floating_reading_v(230, low_f, low_f, 3e3))  # 22.5 V
        assert neutral.high == volts(floating_reading_v(230, high_f, high_f, 3e3))  # 28.6 V


@pytest.mark.parametrize(("nanofarad", "known"), [(10, False), (10_000, True)])
def test_what_the_length_of_a_cable_decides_is_not_told_without_it(nanofarad: int, known: bool) -> None:
    # 100 m more of cable have 5 to 30 nF: as much as the filter of an inverter, and next to nothing beside 10 uF
    inverter = INVERTER.replace("neutral-bond", f"filter-capacitance: {nanofarad} nF, neutral-bond")
    found = floating(
        sources=inverter,
        connections=INVERTER_FEED.replace("LENGTH", "length: 20 m"),
        circuits=ONE.replace(", length: 30 m", ""),
    )
    assert [reading.id for reading in found] == ["main", "sub", "one"]
    for reading in found:
        assert reading.digital[0] == volts(230)
        assert (reading.low_impedance[1] is not None, reading.touch_a is not None) == (known, known)


def test_a_bar_inside_one_enclosure_has_no_length_to_write() -> None:
    connections = SET_FEED + "\n  bar: {from: sub, to: inner, cores: L1 N PE}"
    text = FLOATING.replace("SOURCES", SET).replace("CONNECTIONS", connections).replace("CIRCUITS", ONE)
    text = text.replace("ON}", "length: 50 m}").replace("sub: {}}", "sub: {}, inner: {inside: sub}}")
    found = facts_of(text).floating
    assert {reading.id for reading in found} == {"main", "sub", "inner", "one"}
    assert all(reading.low_impedance[1] and reading.touch_a for reading in found)


def test_a_meter_of_10_mohm_is_loaded_by_less_the_more_cable_there_is() -> None:
    # of 20 m with 50 pF/m it reads 113.6 V and of two hundred more 115.0 V: which of them it is nobody can tell without the lengths
    for reading in floating(on="material: copper", circuits=ONE.replace(", length: 30 m", "")):
        assert reading.digital[0] == volts(230) and reading.digital[1] is None and reading.digital[2] is None


def test_the_filter_of_an_inverter_that_hangs_elsewhere_holds_nothing_here() -> None:
    inverter = INVERTER.replace("neutral-bond", "filter-capacitance: 100 nF, neutral-bond")
    apart = "inv-feed: {from: inv, to: hut, cores: L1 N PE, size: 10 mm2, length: 20 m}"
    text = FLOATING.replace("SOURCES", f"{SET}\n  {inverter}").replace("CONNECTIONS", f"{SET_FEED}\n  {apart}")
    text = text.replace("CIRCUITS", ONE).replace("ON}", "length: 50 m}").replace("sub: {}}", "sub: {}, hut: {}}")
    found = facts_of(text).floating
    assert {(reading.island.feeds[0].id, reading.filters) for reading in found} == {("set", False), ("inv", True)}
