"""The circuit of one case, conductor by conductor: what is in it, between which nodes and with which impedance, by hand."""

from __future__ import annotations

import cmath
import math

import pytest

from onebond import testing
from onebond.circuit.build import Model, Options, build
from onebond.facts import Facts

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

PARTS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, EARTHING, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: fixed}
boards: {main: {}, out: {}, sub: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, SERVICE}
  to-co: {from: main, to: co.mains, cores: L1 N PE, size: 10 mm2, length: 10 m}
  set-feed: {from: set, to: co.own, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: co, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
  to-sub: {from: out, to: sub, CABLE}
circuits:
  one: {from: out, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 1 mA, load: 2.3 kW}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
)


def site(earthing: str = "TN-S", service: str = "cores: L1 N PE", cable: str = "cores: L1 N PE", more: str = "") -> str:
    text = PARTS.replace("EARTHING", f"earthing: {earthing}")
    for word, cores in (("SERVICE", service), ("CABLE", cable)):
        text = text.replace(word, cores if "length" in cores else f"{cores}, size: 10 mm2, length: 10 m")
    return text + more


class Made:
    """The circuit of the first case that some source feeds in some state of the others."""

    def __init__(self, text: str, by: str, options: Options = Options(), **state: str) -> None:  # noqa: B008
        installation = testing.inspected(text, ()).installation
        island = next(
            island
            for island in Facts(installation, "iec").islands
            if island.fed_by(by)
            and all(island.value([v.name for v in island.network.variables].index(n)) == s for n, s in state.items())
        )
        self.network = island.network
        self.model: Model = build(island.network, island.state, island.live, island.case.feeds, options)

    def name(self, node: int) -> str:
        if node >= len(self.network.nodes):
            return "earth" if node == len(self.network.nodes) else "star"
        place, terminal, conductor = self.network.nodes[node]
        return f"{place}.{terminal}.{conductor}" if terminal else f"{place}.{conductor}"

    def branches(self, element: str) -> dict[str, tuple[str, str, complex]]:
        """For each core its two ends and its impedance in ohm."""
        return {
            one.core: (self.name(one.a), self.name(one.b), self.model.circuit.branches[number].z_ohm)
            for number, one in enumerate(self.model.conductors)
            if one.element == element
        }

    def contacts(self, element: str) -> set[tuple[str, str, str]]:
        return {(one.core, self.name(one.a), self.name(one.b)) for one in self.model.contacts if one.element == element}


def test_a_supply_in_halves_of_its_loop() -> None:
    # 0.5 ohm in equal halves (FORMAT.md, currents); the star point is at earth
    made = Made(site(), "grid", grid="present", co="mains")
    quarter = pytest.approx(0.25)
    assert made.branches("grid") == {
        "N": ("star", "grid.N", quarter),
        "PE": ("star", "grid.PE", quarter),
        "L1": ("star", "grid.L1", quarter),
    }
    assert made.contacts("grid") == {("supplier electrode", "earth", "star")}
    for core in ("L1", "N", "PE"):
        for element in ("grid", "service"):
            found = made.model.conductors[made.model.branch_of(element, core)]
            assert (found.element, found.core) == (element, core)
    assert made.model.branch_of("grid", "supplier electrode") == -1


def test_the_pe_of_an_absent_supply_still_leads_to_its_star_point() -> None:
    # all poles changed over: nothing live of it is left, its PE is
    made = Made(site(), "set", grid="absent", co="own")
    assert set(made.branches("grid")) == {"PE"}
    assert made.contacts("grid") == {("supplier electrode", "earth", "star")}
    # a TT supply brings no PE, and nothing of it is left
    none = Made(site("TT", "cores: L1 N"), "set", co="own")
    assert none.branches("grid") == {} and none.contacts("grid") == set()


def test_the_star_point_of_the_supply_that_feeds_is_the_one_at_earth() -> None:
    # what the soil between two star points has is not known: only one of them is the zero
    second = "  other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}\nboards:"
    text = site().replace("boards:", second).replace("{from: set, to: co.own,", "{from: other, to: co.own,")
    text = text.replace("connections:", "connections:\n  own: {from: set, to: sub, cores: L1 N PE}")
    for by, position in (("grid", "mains"), ("other", "own")):
        made = Made(text, by, co=position, set="standing", grid="present", other="present")
        assert [made.contacts(name) != set() for name in ("grid", "other")] == [by == "grid", by == "other"]


def test_an_isolated_supply_with_an_impedance_at_its_star_point() -> None:
    text = site("IT", "cores: L1 N").replace(
        "loop-impedance: 0.5 ohm", "neutral-impedance: 1 kohm, fault-current: 1 kA"
    )
    assert Made(text, "grid", co="mains").branches("grid")["neutral-impedance"] == ("star", "earth", 1000)
    tt = site("TT", "cores: L1 N")
    assert set(Made(tt, "grid", co="mains", grid="present").branches("grid")) == {"supplier electrode"}


def test_a_pen_on_the_earth_bar_begins_at_the_neutral_of_the_supply() -> None:
    made = Made(site("TN-C-S", "cores: L1 PEN, lands-on: {PEN: PE}"), "grid", grid="present", co="mains")
    assert made.branches("service")["PEN"][:2] == ("grid.N", "main.PE")


PIPE = "extraneous: {pipe: {joins: [out, sub]}}\n"
LINKS = "bonds: {at-out: {at: out}, at-sub: {at: sub}}\n"


@pytest.mark.parametrize(
    ("cable", "more", "for_faults", "for_service"),
    [
        # a PE joins the places better than any pipe
        ("cores: L1 N PE", PIPE, False, False),
        # with links at both ends the neutral joins them, which a fault is not counted on to leave; in service the pipe
        # shares the current of that neutral
        ("cores: L1 N", PIPE + LINKS, False, True),
        ("cores: L1 N", PIPE, True, True),
        # the same with conductors without impedance
        ("cores: L1 N PE, size: 10 mm2, length: 0 m", PIPE, False, False),
        ("cores: L1 N, size: 10 mm2, length: 0 m", PIPE + LINKS, False, True),
    ],
)
def test_metal_that_is_no_part_of_the_installation(cable: str, more: str, for_faults: bool, for_service: bool) -> None:
    text = site(cable=cable, more=more)
    for metal, wanted in ((False, for_faults), (True, for_service)):
        made = Made(text, "grid", Options(metal=metal), grid="present", co="mains")
        assert ("pipe" in {one.element for one in made.model.conductors}) == wanted
        assert ([missing.what for _, missing in made.model.unknown] == ["pipe"]) == wanted


def test_inverters_that_make_three_lines_together() -> None:
    # 230 V each, 120 degrees apart: 398.4 V between lines
    text = (
        HEAD
        + """\
sources:
  a: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA}
  b: {kind: inverter, phases: L2, voltage: 230 V, rating: 3 kVA}
  c: {kind: inverter, phases: L3, voltage: 230 V, rating: 3 kVA}
groups:
  stack: {members: [a, b, c], phases: {a: L1, b: L2, c: L3}}
boards: {main: {}}
connections:
  from-a: {from: a, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}
  from-b: {from: b, to: main, cores: L2 N PE, size: 10 mm2, length: 1 m}
  from-c: {from: c, to: main, cores: L3 N PE, size: 10 mm2, length: 1 m}
circuits:
  one: {from: main, cores: L1 L2 L3 N PE}
"""
    )
    made = Made(text, "stack")
    rises = {}
    for identifier, line in (("a", "L1"), ("b", "L2"), ("c", "L3")):
        node = made.network.find(identifier, "out", line)
        neutral = made.network.find(identifier, "out", "N")
        rises[line] = made.model.offset_v[node] - made.model.offset_v[neutral]
    assert [f"{math.degrees(cmath.phase(rise)):.0f}" for rise in rises.values()] == ["0", "-120", "120"]
    assert abs(rises["L1"] - rises["L2"]) == pytest.approx(230 * math.sqrt(3))


def test_filters_and_leakages_are_capacitances() -> None:
    # 1 / (2 pi 50 Hz 10 nF) = 318.3 kohm from each live conductor to the frame; 230 V / 1 mA = 230 kohm
    text = site().replace("kind: generator, phases: L1,", "kind: inverter, phases: L1, filter-capacitance: 10 nF,")
    made = Made(text, "set", Options(capacitances=True), co="own", grid="absent")
    found = [
        (made.name(one.a), made.name(one.b), f"{made.model.circuit.branches[number].z_ohm.imag:.0f}")
        for number, one in enumerate(made.model.conductors)
        if one.core in ("filter", "leakage")
    ]
    assert found == [
        ("set.out.L1", "set.PE", "-318310"),
        ("set.out.N", "set.PE", "-318310"),
        ("one.L1", "one.PE", "-230000"),
    ]
    assert "filter" not in {one.core for one in Made(text, "set", co="own", grid="absent").model.conductors}
    # a supply has no filter, whatever feeds the island
    assert {one.core for one in Made(site(), "grid", Options(capacitances=True), co="mains").model.conductors} >= {
        "leakage"
    }


def test_stray_capacitance_stands_half_at_either_end_of_a_cable_with_pe() -> None:
    # 10 m at 200 pF/m, half of it at each end: 1 / (2 pi 50 Hz 1 nF) = 3.183 Mohm; a cable without PE has none
    made = Made(
        site(cable="cores: L1 N"), "grid", Options(capacitances=True, stray_f_per_m=200e-12), co="mains", grid="present"
    )
    found = {
        (one.element, made.name(one.a), made.name(one.b), f"{made.model.circuit.branches[number].z_ohm.imag / 1e6:.3f}")
        for number, one in enumerate(made.model.conductors)
        if one.core == "stray" and one.element in ("feed", "to-sub")
    }
    assert found == {
        ("feed", "co.L1", "co.PE", "-3.183"),
        ("feed", "co.N", "co.PE", "-3.183"),
        ("feed", "out.L1", "out.PE", "-3.183"),
        ("feed", "out.N", "out.PE", "-3.183"),
    }


def test_a_load() -> None:
    # 2.3 kW at 230 V: 10 A, 23 ohm
    made = Made(site(), "grid", Options(loads=True), co="mains", grid="present")
    assert made.branches("one")["load"] == ("one.L1", "one.N", pytest.approx(23))


TRANSFORMER = (
    HEAD
    + """\
sources:
  SOURCE
  tr: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 5 kVA, impedance: 4 %, neutral-bond: fixed}
boards: {out: {}}
connections:
  service: {from: first, to: tr.in, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: tr.out, to: out, cores: L1 N PE, size: 10 mm2, length: 1 m}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)
GRID = "first: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}"
SET = "first: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: fixed}"


@pytest.mark.parametrize(
    ("source", "edits", "ohm"),
    [
        # 4 % of (230 V)2 / 5 kVA = 0.4232 ohm; ahead 0.5 ohm and twice 10 m of 10 mm2 warm: 2 (0.01830 x 1.2 + 0.0008j)
        (GRID, (), 0.54392 + 0.4248j),
        # 115 V out of 230 V: a quarter of what is ahead, 4 % of (115 V)2 / 5 kVA = 0.1058 ohm
        (GRID, (("voltage: 230 V, rating: 5", "voltage: 115 V, rating: 5"),), 0.13598 + 0.1062j),
        # two windings of 115 V in series, 2.5 kVA each: 0.2116 ohm; half of what is ahead for each of them
        (
            GRID,
            (
                ("phases: L1, voltage: 230 V, rating: 5", "phases: L1 L2, voltage: 115/230 V, rating: 5"),
                ("feed: {from: tr.out, to: out, cores: L1 N", "feed: {from: tr.out, to: out, cores: L1 L2 N"),
            ),
            0.27196 + 0.2124j,
        ),
        # a set of which only the rating is written, 230 V / 43.5 A = 5.29 ohm, its frame the zero of a part without earth
        (SET, (("length: 10 m", "length: 0 m"),), 5.29 + 0.4232j),
    ],
)
def test_a_transformer_with_the_network_ahead_of_it(
    source: str, edits: tuple[tuple[str, str], ...], ohm: complex
) -> None:
    text = TRANSFORMER.replace("SOURCE", source)
    for old, new in edits:
        assert text.count(old) == 1
        text = text.replace(old, new)
    z_ohm = Made(text, "tr").branches("tr")["L1"][2]
    assert z_ohm == pytest.approx(ohm, rel=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "lacking"),
    [
        (", length: 10 m", "", "the length of service"),
        ("cores: L1 N PE, size: 10 mm2, length: 10 m", "cores: L1 PE, size: 10 mm2, length: 10 m", "tr"),
        (", impedance: 4 %", "", "the impedance of tr"),
    ],
)
def test_what_is_missing_ahead_of_a_transformer_is_named(old: str, new: str, lacking: str) -> None:
    made = Made(TRANSFORMER.replace("SOURCE", GRID).replace(old, new), "tr")
    assert lacking in [missing.what for _, missing in made.model.unknown]
