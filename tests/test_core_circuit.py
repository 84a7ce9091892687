"""Circuits, the impedances in them and their solution: what a condition or a sign decides, worked by hand or by a published table."""

from __future__ import annotations

import cmath
import math
import sys
from collections.abc import Sequence
from fractions import Fraction
from itertools import permutations
from random import Random
from typing import NamedTuple

import pytest

from described import edited, facts_of, site_of
from onebond.circuit import impedances
from onebond.circuit.build import Begun, Known, Options, build, stand_in_ohm, with_other_stand_ins
from onebond.circuit.components import conductors, electrodes
from onebond.circuit.direct import short_circuits
from onebond.circuit.impedances import Capability, Missing, Supply
from onebond.circuit.solve import (
    Branch,
    Circuit,
    Engine,
    Failure,
    Injection,
    Loop,
    Pair,
    Probe,
    Study,
    Unsolvable,
    merge,
)
from onebond.facts.unknown import Unknown
from onebond.model import Connection, Source
from onebond.network import Edge, Network, Tie

# -- formulas of components ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stranded", "words"), [(True, "stranded conductor size: 5"), (False, "solid conductor size: 5")]
)
def test_which_column_of_the_american_table_lacks_a_size(stranded: bool, words: str) -> None:
    # NEC chapter 9 table 8 has no 5 AWG in either column
    with pytest.raises(ValueError, match=f"^{words} is not one of"):
        conductors.nec_dc_ohm_km("5", stranded=stranded)


def test_how_thick_an_electrode_may_be_for_its_formula() -> None:
    # the stated limits: a rod is at least ten diameters long, a conductor ten depths, a ring five; depths are five diameters
    assert electrodes.rod_ohm(100, 2.4, 0.24) > 0
    assert electrodes.horizontal_ohm(100, 20, 0.4, 2) > 0
    assert electrodes.ring_ohm(100, 10, 0.4, 2) > 0
    for refused in (
        lambda: electrodes.rod_ohm(100, 2.4, 0.25),
        lambda: electrodes.horizontal_ohm(100, 20, 0.01, 2.1),
        lambda: electrodes.horizontal_ohm(100, 20, 0.41, 2),
        lambda: electrodes.ring_ohm(100, 10, 0.01, 2.1),
        lambda: electrodes.ring_ohm(100, 10, 0.41, 2),
    ):
        with pytest.raises(ValueError, match="is outside"):
            refused()


def test_a_horizontal_conductor_deep_in_the_soil() -> None:
    # the mean potential of a line in full space and of its image twice the depth away, in closed form:
    # ln(4 L / d) - 1 and asinh(L / s) - sqrt(1 + (s / L)^2) + s / L, over 2 pi rho L
    length_m, diameter_m, depth_m = 20.0, 0.01, 2.0
    s = 2 * depth_m / length_m
    image = math.asinh(1 / s) - math.hypot(1, s) + s
    ohm = 100 / (2 * math.pi * length_m) * (math.log(4 * length_m / diameter_m) - 1 + image)
    assert electrodes.horizontal_ohm(100, length_m, diameter_m, depth_m) == pytest.approx(ohm, rel=1e-6)


# -- impedances of what is written -----------------------------------------------------------------------------------

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

PLAIN = (
    HEAD
    + """\
sources:
  one: SOURCE
boards: {main: {}, sub: {}}
connections:
  on: {from: main, to: sub, CABLE}
circuits:
  load: {from: main, cores: L1 N PE}
"""
)


def cable(text: str) -> Connection:
    site = site_of(edited(PLAIN, ("SOURCE", "{kind: inverter, phases: L1}"), ("CABLE", text)))
    return next(link for link in site.connections if link.id == "on")


def source(text: str) -> Source:
    return site_of(edited(PLAIN, ("SOURCE", f"{{{text}}}"), ("CABLE", "cores: L1 N PE"))).sources[0]


def ohm(value: complex | Missing | None) -> complex:
    assert value is not None and not isinstance(value, Missing), value
    return value


def what(value: object) -> str:
    assert isinstance(value, Missing), value
    return value.what


def test_a_cable_by_the_american_tables() -> None:
    # NEC chapter 9, 6 AWG copper: table 9 0.49 and 0.051 ohm/kft at 75 C in PVC; table 8 0.491 ohm/kft d.c. at 75 C, with 0.00323
    # per kelvin 0.82235 of it at 20 C
    link = cable("cores: L1 N PE, size: 6 AWG, length: 100 ft")
    assert ohm(impedances.core_ohm(link, "L1", warm=True)) == pytest.approx(0.049 + 0.0051j)
    assert ohm(impedances.core_ohm(link, "L1", warm=False)) == pytest.approx(0.0491 * 0.82235)
    # aluminium, the same tables: 0.81 and 0.051 warm; 0.808 with 0.00330 per kelvin cold
    link = cable("cores: L1 N PE, size: 6 AWG, material: aluminium, length: 100 ft")
    assert ohm(impedances.core_ohm(link, "L1", warm=True)) == pytest.approx(0.081 + 0.0051j)
    assert ohm(impedances.core_ohm(link, "L1", warm=False)) == pytest.approx(0.0808 * (1 - 55 * 0.0033))


@pytest.mark.parametrize(
    ("text", "core", "cold", "warm"),
    [
        # IEC 60228 class 2: 16 mm2 copper 1.15, aluminium 1.91 ohm/km; 0.004 per kelvin: 1.20 at 70 C, 1.28 at 90 C
        ("cores: L1 N PE, size: 16 mm2", "L1", 0.115 + 0.008j, 0.138 + 0.008j),
        ("cores: L1 N PE, size: 16 mm2, insulation: 90 C", "L1", 0.115 + 0.008j, 0.1472 + 0.008j),
        ("cores: L1 N PE, size: 16 mm2, material: aluminium", "N", 0.191 + 0.008j, 0.2292 + 0.008j),
        # two equal cables have half of the impedance of one, their steel too (table of armours: 2.5 mm2, two cores 8.8 ohm/km,
        # at 60 C 1.18 times that)
        ("cores: L1 N PE, size: 16 mm2, runs: 2", "L1", 0.0575 + 0.004j, 0.069 + 0.004j),
        ("cores: L1 N PE, pe-by: armour, size: 2.5 mm2, runs: 2", "PE", 0.44, 0.5192),
        ("cores: L1 N PE, size: 6 AWG, runs: 2", "PE", 0.0662 + 0j, 0.0804 + 0.0084j),
    ],
)
def test_the_core_of_a_cable_of_100_m(text: str, core: str, cold: complex, warm: complex) -> None:
    link = cable(f"{text}, length: 100 m")
    found = [ohm(impedances.core_ohm(link, core, warm=one)) for one in (False, True)]
    assert found == [pytest.approx(cold, abs=1e-4), pytest.approx(warm, abs=1e-4)]


def test_a_measured_resistance_goes_before_the_shape() -> None:
    # 100 ohm m and a rod of 2.4 m x 16 mm would be 40.39 ohm by BS 7430
    text = "electrodes: {rod: {at: main, RESISTANCEsoil: 100 ohm m, length: 2.4 m, diameter: 16 mm}}\n"
    plain = edited(PLAIN, ("SOURCE", "{kind: inverter, phases: L1}"), ("CABLE", "cores: L1 N PE"))
    for written, ohms in (("resistance: 20 ohm, ", "20.00"), ("", "40.39")):
        (rod,) = site_of(plain + text.replace("RESISTANCE", written)).electrodes
        assert f"{impedances.electrode_ohm(rod):.2f}" == ohms


def test_a_size_that_no_table_has_is_named_with_the_reason() -> None:
    for text, reason in (
        ("size: 17 mm2", "on: size of a copper conductor of class 2 in mm2: 17 is not one of"),
        ("size: 2 mm2", "on: size of a copper conductor of class 2 in mm2: 2 is not one of"),
        ("size: 5 AWG", "on: 16.7732 mm2 is no American conductor size"),
    ):
        found = impedances.core_ohm(cable(f"cores: L1 N PE, {text}, length: 1 m"), "L1", warm=True)
        assert what(found) == "the impedance of on"
        assert isinstance(found, Missing) and found.reason.startswith(reason)


UTILITY = "kind: utility, phases: L1, earthing: %s, voltage: 230 V%s"
LOOP, LEAST, MOST = ", loop-impedance: 0.5 ohm", ", fault-current: {min: 1 kA}", ", fault-current: {max: 2 kA}"


@pytest.mark.parametrize(
    ("earthing", "more", "line", "neutral", "pe", "star"),
    [
        # the declared loop in equal halves (FORMAT.md, currents), before any declared current
        ("TN-S", LOOP, 0.25, 0.25, 0.25, None),
        ("TN-C-S", LOOP + LEAST, 0.25, 0.25, 0.25, None),
        # 230 V / 1 kA in equal halves; a TN-S supply has a PE of its own, of which that says nothing
        ("TN-C-S", LEAST, 0.115, 0.115, 0.115, None),
        ("TN-S", LEAST, "the loop-impedance of one", "the loop-impedance of one", "the loop-impedance of one", None),
        ("TN-C-S", "", "the loop-impedance of one", "the loop-impedance of one", "the loop-impedance of one", None),
        # TT: what the line leaves of the loop is the supplier's electrode; all of it where no current is declared
        ("TT", ", loop-impedance: 10 ohm", None, None, None, 10.0),
        ("TT", ", loop-impedance: 10 ohm" + LEAST, 0.115, 0.115, None, 9.885),
        ("TT", LEAST, 0.115, 0.115, None, "the loop-impedance of one"),
        ("TT", "", None, None, None, "the loop-impedance of one"),
        # a line that has all of the loop and more leaves next to nothing, and never less than that
        ("TT", ", loop-impedance: 0.1 ohm" + LEAST, 0.115, 0.115, None, 1e-3),
        # IT: nothing is earthed; the smallest current is as declared, else the largest stands for it: 230 V / 2 kA / 2
        ("IT", LEAST, 0.115, 0.115, None, None),
        ("IT", MOST, 0.0575, 0.0575, None, None),
        ("IT", "", "the fault-current of one", "the fault-current of one", None, None),
    ],
)
def test_a_supply_for_the_smallest_current(
    earthing: str,
    more: str,
    line: float | str | None,
    neutral: float | str | None,
    pe: float | str | None,
    star: float | str | None,
) -> None:
    supply = impedances.utility(source(UTILITY % (earthing, more)), smallest=True)
    said = tuple(one.what if isinstance(one, Missing) else one for one in supply)
    wanted = (line, neutral, pe, star)
    assert said == tuple(pytest.approx(one) if isinstance(one, float) else one for one in wanted)


def test_the_loop_of_a_tt_supply_in_its_line_as_far_as_it_can_lie_there() -> None:
    # half of 10 ohm in the line and half in what leads back: who measures between line and neutral may find that
    ten = source(UTILITY % ("TT", ", loop-impedance: 10 ohm"))
    assert impedances.utility(ten, True, loop_in_line=True) == Supply(5, 5, None, 5)
    # for the largest current the declared current counts, and of a TN supply nothing changes
    assert impedances.utility(source(UTILITY % ("TN-S", LOOP)), True, loop_in_line=True) == Supply(
        0.25, 0.25, 0.25, None
    )
    unknown = impedances.utility(source(UTILITY % ("TT", "")), True, loop_in_line=True)
    assert unknown.line is None and what(unknown.star) == "the loop-impedance of one"


def test_a_supply_for_the_largest_current() -> None:
    # 230 V / 2 kA, taken as reactance, half in the line and half in the way back; of a current of three lines all of it in the line
    for earthing in ("TN-S", "TT", "IT"):
        assert impedances.utility(source(UTILITY % (earthing, MOST)), False) == Supply(0.0575j, 0.0575j, 0.0575j, None)
    lacking = impedances.utility(source(UTILITY % ("TN-S", LEAST + LOOP)), False)
    assert [what(one) for one in lacking[:3]] == ["the fault-current of one"] * 3
    assert isinstance(lacking.line, Missing) and lacking.line.reason == "" and lacking.star is None
    three = "kind: utility, phases: L1 L2 L3, earthing: TN-S, voltage: 230/400 V, fault-current: {max: 10 kA%s}"
    assert impedances.utility(source(three % ""), False).line == pytest.approx(0.0115j)
    assert impedances.utility(source(three % ", kind: three-phase"), False).line == pytest.approx(0.023j)


def test_a_supply_of_which_no_voltage_is_written() -> None:
    for smallest in (True, False):
        found = impedances.utility(source("kind: utility, phases: L1, earthing: TT, loop-impedance: 1 ohm"), smallest)
        assert [what(one) for one in found[:3]] == ["the voltage of one"] * 3 and found.star is None


def test_a_delta_with_a_tap() -> None:
    # FORMAT.md, systems of windings: the maximum loop holds for the high leg too, which has the higher voltage; a largest current is
    # that between L1 and the tap, 120 V / 1.2 kA / 2; of one for three lines that to the tap does not follow
    tap = "kind: utility, phases: L1 L2 L3, system: high-leg, earthing: TN-C-S, voltage: 120/240 V, fault-current: {%s}"
    assert impedances.utility(source(tap % "max: 1.2 kA"), False).line == pytest.approx(0.05j)
    found = impedances.utility(source(tap % "max: 1.2 kA, kind: three-phase"), False).line
    assert isinstance(found, Missing) and found.reason.startswith("one: the largest current to the tap of a delta")
    # the smallest by the highest voltage: 120 V x sqrt(3) / 1 kA / 2
    assert impedances.utility(source(tap % "min: 1 kA"), True).line == pytest.approx(0.06 * math.sqrt(3))
    # as written: the tap may be off the middle by as much as the reader lets pass, and the line to the tap is what counts
    odd = impedances.line_emfs_v(source((tap % "max: 1.2 kA").replace("120/240", "120/242")))
    assert isinstance(odd, dict) and [f"{abs(odd[line]):.1f}" for line in odd] == ["120.0", "207.8", "120.0"]
    alone = impedances.line_emfs_v(source((tap % "max: 1.2 kA").replace("120/240", "240")))
    # L1 and L3 at either end of the winding with the tap, L2 in quadrature to both
    assert isinstance(alone, dict)
    assert [alone[line] for line in alone] == [pytest.approx(one) for one in (120, -1j * 120 * math.sqrt(3), -120)]


GENERATOR = "kind: generator, phases: %s, voltage: %s, rating: 20 kVA, subtransient-reactance: 12 %%%s"
SEQUENCES = ", negative-sequence-reactance: 15 %, zero-sequence-reactance: 3 %"


@pytest.mark.parametrize(
    ("phases", "volts", "more", "found"),
    [
        # 230 V squared / 20 kVA = 2.645 ohm, 12 % of it
        ("L1", "230 V", "", 0.3174j),
        # two lines: each half of the rating at 120 V: 2 x 120 V squared / 20 kVA = 1.44 ohm
        ("L1 L2", "120/240 V", "", 0.1728j),
        # three lines: 400 V squared / 20 kVA = 8 ohm; a third of 12, 15 and 3 %
        ("L1 L2 L3", "400 V", SEQUENCES, 0.8j),
        ("L1 L2 L3", "400 V", ", zero-sequence-reactance: 3 %", "the negative-sequence-reactance of one"),
        ("L1 L2 L3", "400 V", ", negative-sequence-reactance: 15 %", "the zero-sequence-reactance of one"),
    ],
)
def test_the_reactance_of_a_generating_set(phases: str, volts: str, more: str, found: complex | str) -> None:
    told = impedances.generator(source(GENERATOR % (phases, volts, more)))
    assert (told.what if isinstance(told, Missing) else pytest.approx(told, rel=1e-4)) == found


def test_what_a_generating_set_needs() -> None:
    whole = GENERATOR % ("L1", "230 V", "")
    for entry, lacking in (
        (", voltage: 230 V", "the voltage of one"),
        (", rating: 20 kVA", "the rating of one"),
        (", subtransient-reactance: 12 %", "the subtransient-reactance of one"),
    ):
        assert what(impedances.generator(source(edited(whole, (entry, ""))))) == lacking
    tap = GENERATOR % ("L1 L2 L3, system: high-leg", "120/240 V", SEQUENCES)
    assert what(impedances.generator(source(tap))) == "the impedance of one"


TRANSFORMER = "kind: transformer, winding: isolating, phases: %s, voltage: %s, rating: 10 kVA, impedance: 4 %%"


@pytest.mark.parametrize(
    ("phases", "volts", "found"),
    [
        # 4 % of U squared / S of a winding: 230 V; two of 115 V with half of the rating each; three of 231 V with a third each, which
        # is 4 % of 400 V squared / 10 kVA
        ("L1", "230 V", 0.2116j),
        ("L1 L2", "115/230 V", 0.1058j),
        ("L1 L2 L3", "400 V", 0.64j),
    ],
)
def test_the_reactance_of_a_transformer(phases: str, volts: str, found: complex) -> None:
    assert impedances.transformer(source(TRANSFORMER % (phases, volts))) == pytest.approx(found, rel=1e-4)


def test_what_a_transformer_needs() -> None:
    whole = TRANSFORMER % ("L1", "230 V")
    for entry, lacking in (
        (", voltage: 230 V", "the voltage of one"),
        (", rating: 10 kVA", "the rating of one"),
        (", impedance: 4 %", "the impedance of one"),
    ):
        found = impedances.transformer(source(edited(whole, (entry, ""))))
        assert what(found) == lacking and isinstance(found, Missing) and not found.reason
    tap = impedances.transformer(source(TRANSFORMER % ("L1 L2 L3, system: high-leg", "120/240 V")))
    assert isinstance(tap, Missing) and "a winding with a tap" in tap.reason


def test_a_generating_set_of_which_the_rating_alone_is_written() -> None:
    # a resistance that lets the rated current flow: 20 kVA / 230 V = 86.96 A, 2.645 ohm
    text = "kind: generator, phases: L1, voltage: 230 V, rating: 20 kVA"
    assert impedances.undeclared_generator(source(text)) == pytest.approx(2.645)
    assert what(impedances.undeclared_generator(source(edited(text, (", rating: 20 kVA", ""))))) == "the rating of one"
    assert what(impedances.undeclared_generator(source(edited(text, (", voltage: 230 V", ""))))) == "the voltage of one"
    tap = "kind: generator, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, rating: 20 kVA"
    assert what(impedances.undeclared_generator(source(tap))) == "the impedance of one"


@pytest.mark.parametrize(
    ("text", "ampere"),
    [
        # S over all lines; two lines of 120 V opposite 20 kVA / 240 V; three of 400 V 20 kVA / (sqrt(3) 400 V)
        ("phases: L1, voltage: 230 V", 86.957),
        ("phases: L1 L2, voltage: 120/240 V", 83.333),
        ("phases: L1 L2 L3, voltage: 400 V", 28.868),
        # a delta with a tap: as any three lines of 240 V, 20 kVA / (sqrt(3) 240 V)
        ("phases: L1 L2 L3, system: high-leg, voltage: 120/240 V", 48.113),
    ],
)
def test_the_rated_current_of_each_line(text: str, ampere: float) -> None:
    assert impedances.rated_a(source(f"kind: generator, rating: 20 kVA, {text}")) == pytest.approx(ampere, rel=1e-4)


INVERTER = "kind: inverter, phases: L1, voltage: 230 V, rating: 4.6 kVA"  # 20 A
SET = "kind: generator, phases: L1, voltage: 230 V, rating: 4.6 kVA"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        # FORMAT.md, currents: up to the limit, and after its time or the shutdown, whichever is earlier, nothing
        (INVERTER + ", fault-current: {limit: 2 x rated}", (40, None, True, False, None)),
        (INVERTER + ", fault-current: {limit: 50 A, for: 100 ms}", (50, 0.1, True, True, None)),
        (INVERTER + ", fault-current: {limit: 50 A, for: 100 ms}, shutdown-time: 5 s", (50, 0.1, True, True, None)),
        (INVERTER + ", fault-current: {limit: 50 A, for: 100 ms}, shutdown-time: 50 ms", (50, 0.05, True, True, None)),
        (INVERTER + ", fault-current: {limit: 50 A}, shutdown-time: 5 s", (50, 5, True, True, None)),
        # without a limit the rated current for certain
        (INVERTER, (20, None, False, False, "the fault-current of one")),
        # a limit in ampere needs no rating, one by the rating does
        ("kind: inverter, phases: L1, voltage: 230 V, fault-current: {limit: 50 A}", (50, None, True, False, None)),
        ("kind: inverter, phases: L1, voltage: 230 V, fault-current: {limit: 2 x rated}", "the rating of one"),
        ("kind: inverter, phases: L1, voltage: 230 V", "the rating of one"),
        ("kind: inverter, phases: L1, rating: 4.6 kVA", "the voltage of one"),
        # a set: 0.3 of rated where nothing is declared; what its excitation holds ends and clears nothing
        (SET, (6, None, False, False, "the sustained-fault-current of one")),
        (SET + ", sustained-fault-current: {limit: 3 x rated, for: 10 s}", (60, 10, True, False, None)),
        (SET + ", sustained-fault-current: {limit: 55 A}", (55, None, True, False, None)),
        # a supply and a transformer have an impedance, and nothing else limits what they give
        (UTILITY % ("TN-S", LOOP), None),
        (TRANSFORMER % ("L1", "230 V"), None),
    ],
)
def test_what_a_source_holds_into_a_fault(
    text: str, found: tuple[float, float | None, bool, bool, str | None] | str | None
) -> None:
    told = impedances.capability(source(text))
    if isinstance(told, Capability):
        lacking = told.lacking.what if told.lacking else None
        assert (told.limit_a, told.until_s, told.declared, told.collapses, lacking) == (
            pytest.approx(found[0]),
            *found[1:],
        )  # type: ignore[index]
    else:
        assert (told.what if isinstance(told, Missing) else told) == found


def test_one_side_of_a_split_phase() -> None:
    # FORMAT.md, systems of windings: a group of two makes opposite lines; alone, L1 is one side and any other the other
    half = source("kind: inverter, phases: L1, system: split-phase, voltage: 120 V")
    for feeds, volts in ((None, 120), ({"one": "L1"}, 120), ({"one": "L2"}, -120), ({"one": "L3"}, -120)):
        assert impedances.line_emfs_v(half, feeds) == {"L1": pytest.approx(volts)}
    # a member of a group whose lines follow each other stands a third or two thirds of a turn behind
    third = source("kind: inverter, phases: L1, voltage: 120 V")
    for line, angle in (("L1", 0), ("L2", -120), ("L3", 120)):
        found = impedances.line_emfs_v(third, {"one": line})
        assert isinstance(found, dict) and math.degrees(cmath.phase(found["L1"])) == pytest.approx(angle)


# -- the circuit of a case -------------------------------------------------------------------------------------------


class Made:
    """The circuit of the first case that a source feeds in some state of the others."""

    def __init__(self, text: str, by: str, options: Options = Options(), **state: str) -> None:  # noqa: B008
        facts = facts_of(text)
        names = [variable.name for variable in facts.network.variables]
        self.island = next(
            one
            for one in facts.islands
            if by in [feed.id for feed in one.feeds]
            and all(one.value(names.index(n)) in (s, "") for n, s in state.items())
        )
        self.network = self.island.network
        self.options = options
        self.model = build(self.network, self.island.state, self.island.live, self.island.case.feeds, options)

    def name(self, node: int) -> str:
        if node >= len(self.network.nodes):
            return "earth" if node == len(self.network.nodes) else "star"
        place, terminal, conductor = self.network.nodes[node]
        return f"{place}.{terminal}.{conductor}" if terminal else f"{place}.{conductor}"

    def source(self, identifier: str) -> Source:
        return next(one for one in self.network.installation.sources if one.id == identifier)

    def branches(self, *cores: str, of: str = "") -> dict[str, complex]:
        """Impedances in ohm of some kinds of branches, or of all of one element, by their ends."""
        found = {}
        for number, one in enumerate(self.model.conductors):
            if one.core in cores or one.element == of:
                key = f"{one.element}: {self.name(one.a)} - {self.name(one.b)}"
                assert key not in found, key
                found[key] = self.model.circuit.branches[number].z_ohm
        return found

    def contacts(self, of: str) -> set[str]:
        return {
            f"{one.core}: {self.name(one.a)} - {self.name(one.b)}" for one in self.model.contacts if one.element == of
        }

    def unknown(self) -> list[str]:
        return [missing.what for _, missing in self.model.unknown]

    def volts(self, place: str, terminal: str = "") -> dict[str, complex]:
        """The voltage of each conductor of a place in service, to the zero of its part."""
        voltages = Study(self.model.circuit).solution.voltages_v
        return {
            key[2]: self.model.voltage_v(voltages, node)
            for node, key in enumerate(self.network.nodes)
            if key[:2] == (place, terminal) and self.model.node[node] >= 0
        }


def about(wanted: dict[str, complex], rel: float = 1e-4) -> dict[str, object]:
    return {key: pytest.approx(value, rel=rel) for key, value in wanted.items()}


LOADED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 10 m}
circuits:
  one: {from: main, CIRCUIT}
"""
)
DEAD = "through: [{kind: switch, poles: %s, normally: open}]"
LOADS = Options(loads=True)


@pytest.mark.parametrize(
    ("circuit", "found"),
    [
        # 10 A at 230 V: 23 ohm, by its power factor; none written: a resistance (FORMAT.md, what is read)
        ("cores: L2 N PE, load: 10 A, power-factor: 0.8", {"one.L2 - one.N": 18.4 + 13.8j}),
        ("cores: L2 N PE, load: 10 A", {"one.L2 - one.N": 23}),
        # U squared / S, and U squared / P times the power factor
        ("cores: L1 N PE, load: 4.6 kVA, power-factor: 0.6", {"one.L1 - one.N": 11.5 * (0.6 + 0.8j)}),
        ("cores: L1 N PE, load: 4.6 kW, power-factor: 0.6", {"one.L1 - one.N": 6.9 * (0.6 + 0.8j)}),
        # a third of 9 kW on each line; a current is that of each line
        ("cores: L1 L2 L3 N PE, load: 9 kW", {f"one.L{line} - one.N": 17.6333 for line in (1, 2, 3)}),
        ("cores: L1 L2 L3 N PE, load: 10 A", {f"one.L{line} - one.N": 23 for line in (1, 2, 3)}),
        # a load is that of all lines: those that are dead leave the others their share (FORMAT.md, currents)
        (f"cores: L1 L2 L3 N PE, load: 9 kW, {DEAD % 'L3'}", {f"one.L{line} - one.N": 17.6333 for line in (1, 2)}),
        (f"cores: L1 L2 L3 N PE, load: 9 kW, {DEAD % 'L1 L2'}", {"one.L3 - one.N": 17.6333}),
        # without a neutral between the lines: in a star of 230 V each, or 400 V (230 x sqrt(3) = 398.37) between two
        (
            "cores: L1 L2 L3 PE, load: 6 kVA, power-factor: 0.6",
            {f"one.L{line} - star": 26.45 * (0.6 + 0.8j) for line in (1, 2, 3)},
        ),
        (f"cores: L1 L2 L3 PE, load: 9 kW, {DEAD % 'L1'}", {f"one.L{line} - star": 17.6333 for line in (2, 3)}),
        (f"cores: L1 L2 L3 PE, load: 9 kW, {DEAD % 'L1 L2'}", {}),
        ("cores: L2 L3 PE, load: 4 kW", {"one.L2 - one.L3": 39.675}),
        ("cores: L2 L3 PE, load: 10 A", {"one.L2 - one.L3": 39.8372}),
        (f"cores: L2 L3 PE, load: 4 kW, {DEAD % 'L2'}", {}),
        # with a neutral that is dead there too; two lines and a live neutral: half on each, 230 V squared / 2 kW
        (f"cores: L2 L3 N PE, load: 4 kW, {DEAD % 'N'}", {"one.L2 - one.L3": 39.675}),
        (f"cores: L1 L2 L3 N PE, load: 9 kW, {DEAD % 'N'}", {f"one.L{line} - star": 17.6333 for line in (1, 2, 3)}),
        (f"cores: L1 N PE, load: 4 kW, {DEAD % 'N'}", {}),
        ("cores: L2 L3 N PE, load: 4 kW", {f"one.L{line} - one.N": 26.45 for line in (2, 3)}),
        # landed crosswise, the load is on the line where its core lands: all lines are alike here
        ("cores: L1 N PE, lands-on: {L1: L3}, load: 10 A", {"one.L3 - one.N": 23}),
        # nothing written, nothing, and less than any load has: as if it were not written
        ("cores: L1 N PE", {}),
        ("cores: L1 N PE, load: 0 W", {}),
        ("cores: L1 N PE, load: 0.0001 W", {}),
        ("cores: L2 L3 PE, load: 0.0001 W", {}),
        ("cores: L1 L2 L3 PE, load: 0.0001 W", {}),
        ("cores: L1 L2 L3 N PE, load: 0.01 mA", {}),
    ],
)
def test_what_a_load_is_in_the_circuit(circuit: str, found: dict[str, complex]) -> None:
    made = Made(edited(LOADED, ("CIRCUIT", circuit)), "grid", LOADS)
    assert made.branches("load") == about({f"one: {ends}": z for ends, z in found.items()})
    assert made.contacts("one") == set()
    assert Made(edited(LOADED, ("CIRCUIT", circuit)), "grid").branches("load") == {}


def test_only_some_loads_are_on() -> None:
    text = edited(LOADED, ("CIRCUIT", "cores: L1 N PE, load: 10 A"))
    text += "  two: {from: main, cores: L2 N PE, load: 5 A}\n"
    for named, found in ((("two",), {"two"}), ((), {"one", "two"})):
        told = Made(text, "grid", LOADS._replace(loads_of=frozenset(named))).branches("load")
        assert {key.partition(":")[0] for key in told} == found


def test_no_load_without_a_voltage() -> None:
    text = edited(LOADED, ("CIRCUIT", "cores: L1 N PE, load: 10 A, leakage: 1 mA"), (", voltage: 230/400 V", ""))
    made = Made(text, "grid", Options(loads=True, capacitances=True))
    assert made.branches("load", "leakage") == {}
    # the supply itself is not known then, and the entry is named
    assert set(made.unknown()) == {"the voltage of grid", "the length of one"}


def test_a_line_that_no_source_has_stands_at_the_voltage_of_another() -> None:
    # one line of 230 V, landed as L2 at the board: 10 A are 23 ohm there too
    text = edited(
        LOADED,
        ("CIRCUIT", "cores: L2 N PE, load: 10 A"),
        ("phases: L1 L2 L3, voltage: 230/400 V", "phases: L1, voltage: 230 V"),
        ("cores: L1 L2 L3 N PE, size", "cores: L1 N PE, lands-on: {L1: L2}, size"),
    )
    assert Made(text, "grid", LOADS).branches("load") == about({"one: one.L2 - one.N": 23})


@pytest.mark.parametrize(
    ("circuit", "found"),
    [
        # 120 V squared / 1.2 kW between a line and the tap; the high leg alone has 120 V x sqrt(3) to it
        ("cores: L1 N PE, load: 1.2 kW", {"one.L1 - one.N": 12}),
        ("cores: L2 N PE, load: 3.6 kW", {"one.L2 - one.N": 12}),
        # several lines with the high leg among them: between the lines even with N (FORMAT.md, systems of windings)
        ("cores: L1 L2 L3 N PE, load: 14.4 kW", {f"one.L{line} - star": 4 for line in (1, 2, 3)}),
        ("cores: L2 L3 N PE, load: 14.4 kW", {"one.L2 - one.L3": 4}),
        ("cores: L1 L3 N PE, load: 2.4 kW", {"one.L1 - one.N": 12, "one.L3 - one.N": 12}),
        # the core L1 lands on the high leg
        ("cores: L1 L3 N PE, lands-on: {L1: L2}, load: 14.4 kW", {"one.L2 - one.L3": 4}),
    ],
)
def test_loads_of_a_delta_with_a_tap(circuit: str, found: dict[str, complex]) -> None:
    text = edited(LOADED, ("CIRCUIT", circuit), ("voltage: 230/400 V", "system: high-leg, voltage: 120/240 V"))
    made = Made(text, "grid", LOADS)
    assert made.branches("load") == about({f"one: {ends}": z for ends, z in found.items()})


# 1 / (2 pi 50 Hz 10 nF) = 318.31 kohm; 230 V / 1 mA = 230 kohm; half of 10 m at 200 pF/m: 1 nF, 3.1831 Mohm
FILTER, LEAK, STRAY = -318.310e3j, -230e3j, -3.18310e6j

WEAK = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, filter-capacitance: 10 nF}
boards: {main: {}, out: {}, bars: {inside: out}, metal: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  to-co: {from: main, to: co.mains, cores: L1 N, size: 10 mm2, length: 10 m}
  own: {from: inv, to: co.own, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: co, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
  inner: {from: out, to: bars, cores: L1 N PE}
  on: {from: bars, to: metal, cores: L1 N PE, size: 10 mm2, plug: yes}
circuits:
  one: {from: bars, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 1 mA}
  away: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 1 mA}
"""
)
CAPACITANCES = Options(capacitances=True)


def test_filters_of_the_inverters_that_are_live() -> None:
    # not where its output is dead
    made = Made(WEAK, "inv", CAPACITANCES, co="own", grid="absent")
    assert made.branches("filter") == about({f"inv: inv.out.{core} - inv.PE": FILTER for core in ("L1", "N")})
    assert Made(WEAK, "grid", CAPACITANCES, co="mains").branches("filter") == {}
    for more in (made.options._replace(capacitances=False), made.options._replace(frequency_hz=100)):
        told = Made(WEAK, "inv", more, co="own", grid="absent").branches("filter")
        # a capacitance has half of its impedance at twice the frequency
        assert told == ({} if more.frequency_hz == 50 else about(dict.fromkeys(made.branches("filter"), FILTER / 2)))
    none = edited(WEAK, (", neutral-bond: fixed, filter-capacitance: 10 nF", ", neutral-bond: fixed"))
    assert Made(none, "inv", CAPACITANCES, co="own", grid="absent").branches("filter") == {}


@pytest.mark.parametrize(
    ("edits", "leaks", "found"),
    [
        ((), (True, False), {"one: one.L1 - one.PE": LEAK}),
        # who measures insulation finds it from the neutral too
        ((), (True, True), {"one: one.L1 - one.PE": LEAK, "one: one.N - one.PE": LEAK}),
        ((), (False, True), {"one: one.N - one.PE": LEAK}),
        (
            (("one: {from: bars, cores: L1 N PE, size", "one: {from: bars, cores: L1 PE, size"),),
            (True, True),
            {"one: one.L1 - one.PE": LEAK},
        ),
        # class II has no frame to leak to; none is written; below a nanoampere nothing leaks
        (
            (("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 1 mA, equipment: class-II}\n  away"),),
            (True, True),
            {},
        ),
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m}\n  away"),), (True, True), {}),
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 0.0000001 mA}\n  away"),), (True, True), {}),
        (
            (("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 0.000002 mA}\n  away"),),
            (True, False),
            {"one: one.L1 - one.PE": -115e9j},
        ),
    ],
)
def test_what_leaks_of_a_circuit(
    edits: tuple[tuple[str, str], ...], leaks: tuple[bool, bool], found: dict[str, complex]
) -> None:
    # only the circuits of the island: the other one is dead then
    made = Made(edited(WEAK, *edits), "inv", CAPACITANCES._replace(leaks=leaks), co="own", grid="absent")
    assert made.branches("leakage") == about(found)
    assert made.contacts("one") == set()


def test_what_is_more_than_any_leakage_is_not_known() -> None:
    text = edited(WEAK, ("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 11 A}\n  away"))
    made = Made(text, "inv", CAPACITANCES, co="own", grid="absent")
    lacking = [missing for _, missing in made.model.unknown if missing.what == "the leakage of one"]
    assert [one.reason for one in lacking] == ["one: 11 A is more than any equipment leaks"]
    # where no voltage is written it is that which is lacking, and not the leakage
    silent = edited(text, ("inv: {kind: inverter, phases: L1, voltage: 230 V", "inv: {kind: inverter, phases: L1"))
    assert set(Made(silent, "inv", CAPACITANCES, co="own", grid="absent").unknown()) == {
        "the voltage of inv",
        "the length of on",
    }


def stray(text: str, unwritten_m: float = 0.0, **state: str) -> dict[str, complex]:
    options = Options(capacitances=True, stray_f_per_m=200e-12, unwritten_m=unwritten_m)
    return Made(text, state.pop("by"), options, **state).branches("stray")


def test_stray_capacitances_of_what_is_live() -> None:
    # half at either end of each live core of a cable with PE; none of the bars within an enclosure, of a cable without PE, of
    # what is dead, nor of one whose length nobody writes, unless one is taken instead
    ends = ("own", "inv.out", "inv.PE"), ("own", "co.own", "co.PE"), ("feed", "co", "co.PE"), ("feed", "out", "out.PE")
    ends = (*ends, ("one", "bars", "out.PE"), ("one", "one", "one.PE"))
    found = {f"{link}: {at}.{core} - {pe}": STRAY for link, at, pe in ends for core in ("L1", "N")}
    state = {"by": "inv", "co": "own", "grid": "absent", "on": "mated"}
    assert stray(WEAK, **state) == about(found)
    more = {
        f"on: {at}.{core} - {pe}": STRAY / 2
        for at, pe in (("bars", "out.PE"), ("metal", "metal.PE"))
        for core in ("L1", "N")
    }
    plugged = edited(
        WEAK,
        ("boards: {main: {}, out", "boards: {far: {}, main: {}, out"),
        ("circuits:", "  far-on: {from: metal, to: far, cores: L1 N, size: 10 mm2, length: 3 m}\ncircuits:"),
    )
    plugged += "monitors: {watch: {at: metal}}\n"
    assert stray(plugged, 20, **state) == about({**found, **more})
    assert stray(plugged, 20, **{**state, "on": "unmated"}) == about(found)


def test_a_cable_whose_earth_never_arrives_has_its_capacitance_at_one_end() -> None:
    # class II, PE open for ever and landed on N: no frame is there
    old = "one: {from: bars, cores: L1 N PE, size: 2.5 mm2, length: 10 m"
    new = (
        "one: {from: bars, cores: L1 PE, lands-on: {PE: N}, equipment: class-II, size: 2.5 mm2, length: 10 m, "
        "through: [{kind: switch, poles: PE, normally: open}]"
    )
    found = stray(edited(WEAK, (old, new)), by="inv", co="own", grid="absent")
    assert {key: z for key, z in found.items() if key.startswith("one")} == about({"one: bars.L1 - out.PE": STRAY})


# 10 m of 10 mm2 (IEC 60228: 1.83 ohm/km) at 70 C and at 20 C
WARM, COLD = 0.01830 * 1.2 + 0.0008j, 0.01830 + 0.0008j

SERVED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, EARTHING}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: fixed}
boards: {main: {}, out: {}}
changeovers:
  co: {positions: [mains, own], poles: POLES}
connections:
  service: {from: grid, to: main, SERVICE, size: 10 mm2, length: 10 m}
  to-co: {from: main, to: co.mains, cores: L1 N PE, size: 10 mm2, length: 10 m}
  own: {from: set, to: co.own, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: co, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
electrodes:
  rod: {at: main, resistance: 20 ohm}
  ring: {at: out, shape: ring, diameter: 10 m, soil: 100 ohm m}
"""
)
TN_S = ("EARTHING", "earthing: TN-S, loop-impedance: 0.5 ohm"), ("SERVICE", "cores: L1 N PE")
TN_C_S = ("EARTHING", "earthing: TN-C-S, loop-impedance: 0.5 ohm"), ("SERVICE", "cores: L1 N PE")
PEN = ("EARTHING", "earthing: TN-C-S, loop-impedance: 0.5 ohm"), ("SERVICE", "cores: L1 PEN")
TT = ("EARTHING", "earthing: TT, loop-impedance: 10 ohm"), ("SERVICE", "cores: L1 N")
IT = ("EARTHING", "earthing: IT, fault-current: {max: 2 kA}"), ("SERVICE", "cores: L1 N")
ISLE = ("EARTHING", "earthing: IT, fault-current: {max: 2 kA}, neutral-impedance: 1 kohm"), ("SERVICE", "cores: L1 N")
BOTH, LINE = ("POLES", "L1 N"), ("POLES", "L1")
MAINS = {"by": "grid", "grid": "present", "co": "mains"}
OWN = {"by": "set", "grid": "absent", "co": "own"}
QUARTER = 0.25


def served(edits: tuple[tuple[str, str], ...], state: dict[str, str], options: Options = Options()) -> Made:  # noqa: B008
    return Made(edited(SERVED, *edits), state["by"], options, **{key: state[key] for key in state if key != "by"})


@pytest.mark.parametrize(
    ("edits", "state", "branches", "contacts"),
    [
        # TN-S: half of the loop in each conductor from the star point, which is the zero
        (
            (*TN_S, BOTH),
            MAINS,
            {"star - grid.L1": QUARTER, "star - grid.N": QUARTER, "star - grid.PE": QUARTER},
            {"supplier electrode: earth - star"},
        ),
        # all poles changed over: the PE of the supply is left; with a solid neutral that too, absent or not
        ((*TN_S, BOTH), OWN, {"star - grid.PE": QUARTER}, {"supplier electrode: earth - star"}),
        (
            (*TN_S, LINE),
            OWN,
            {"star - grid.N": QUARTER, "star - grid.PE": QUARTER},
            {"supplier electrode: earth - star"},
        ),
        # TN-C-S as L N PE: one conductor back to the star point, split at the terminals
        (
            (*TN_C_S, BOTH),
            MAINS,
            {"star - grid.L1": QUARTER, "star - grid.N": QUARTER},
            {"supplier electrode: earth - star", "bond: grid.N - grid.PE"},
        ),
        ((*TN_C_S, BOTH), OWN, {"star - grid.PE": QUARTER}, {"supplier electrode: earth - star"}),
        (
            (*TN_C_S, LINE),
            OWN,
            {"star - grid.N": QUARTER},
            {"supplier electrode: earth - star", "bond: grid.N - grid.PE"},
        ),
        # TT: all of the loop is the supplier's electrode; nothing is left of it where its neutral is changed over
        (
            (*TT, BOTH),
            MAINS,
            {"star - earth": 10},
            {"N: star - grid.N", "L1: star - grid.L1"},
        ),
        ((*TT, BOTH), OWN, {}, set()),
        ((*TT, LINE), OWN, {"star - earth": 10}, {"N: star - grid.N"}),
        # IT: 230 V / 2 kA / 2 in line and neutral, and nothing to earth but what is declared
        ((*IT, BOTH), MAINS, {"star - grid.L1": 0.0575, "star - grid.N": 0.0575}, set()),
        (
            (*ISLE, BOTH),
            MAINS,
            {"star - grid.L1": 0.0575, "star - grid.N": 0.0575, "star - earth": 1000},
            set(),
        ),
        ((*IT, BOTH), OWN, {}, set()),
    ],
)
def test_what_is_left_of_a_supply(
    edits: tuple[tuple[str, str], ...], state: dict[str, str], branches: dict[str, complex], contacts: set[str]
) -> None:
    made = served(edits, state)
    assert made.branches(of="grid") == about({f"grid: {ends}": z for ends, z in branches.items()})
    assert made.contacts("grid") == contacts
    # the set is in the circuit while it runs alone: a resistance for its rated current, 230 V / 43.48 A
    assert made.branches(of="set") == ({} if state is MAINS else about({"set: set.N - set.L1": 5.29}))


def test_a_set_that_stands_is_no_part_of_the_circuit_of_the_supply() -> None:
    # its neutral is joined over the solid pole, and its inner bond holds while it stands (FORMAT.md, what is a path)
    made = served((*TN_S, LINE), {**MAINS, "set": "standing"})
    assert made.branches(of="set") == {} and made.contacts("set") == {"bond: set.N - set.PE"}
    assert served((*TN_S, BOTH), {**MAINS, "set": "standing"}).contacts("set") == set()


def test_conductors_and_electrodes_of_a_circuit() -> None:
    made = served((*TN_S, BOTH), MAINS)
    lines = {f"{link}: {a}.{core} - {b}.{core}": WARM for link, a, b in WAYS for core in ("L1", "N")}
    protective = {f"{link}: {a}.PE - {b}.PE": WARM for link, a, b in (*EARTH_WAYS, ("own", "set", "co"))}
    assert made.branches("L1", "N") == about({**lines, "grid: star - grid.L1": QUARTER, "grid: star - grid.N": QUARTER})
    assert made.branches("PE") == about({**protective, "grid: star - grid.PE": QUARTER})
    # 100 ohm m / (4 x 5 m): the rule of thumb of IEC 60364-5-54 annex D
    assert made.branches("electrode") == about({"rod: main.PE - earth": 20, "ring: out.PE - earth": 5})
    # factors on what is written and on what follows from the soil; electrodes may be left out
    soil = Options(soil=(1.3, 1.5), without=frozenset({"rod"}))
    assert served((*TN_S, BOTH), MAINS, soil).branches("electrode") == about({"ring: out.PE - earth": 7.5})
    assert served((*TN_S, BOTH), MAINS, Options(soil=(1.3, 1.5))).branches("electrode") == about(
        {"rod: main.PE - earth": 26, "ring: out.PE - earth": 7.5}
    )
    for options in (Options(cold=True), Options(smallest=False)):
        assert served((*TN_S, BOTH), MAINS, options).branches(of="feed") == about(
            {f"feed: co.{core} - out.{core}": COLD for core in ("L1", "N", "PE")}
        )


WAYS = ("service", "grid", "main"), ("to-co", "main", "co.mains"), ("feed", "co", "out"), ("one", "out", "one")
EARTH_WAYS = ("service", "grid", "main"), ("to-co", "main", "co"), ("feed", "co", "out"), ("one", "out", "one")


def test_an_electrode_that_is_not_known_is_named() -> None:
    text = edited(SERVED, *TN_S, BOTH, ("rod: {at: main, resistance: 20 ohm}", "rod: {at: main, shape: plate}"))
    made = Made(text, "grid", co="mains")
    assert made.unknown() == ["the resistance of rod"]


def test_a_pen_that_is_split_by_a_link() -> None:
    made = Made(edited(SERVED, *PEN, BOTH) + "bonds: {link: {at: main}}\n", "grid", grid="present", co="mains")
    assert made.branches(of="service") == about({"service: grid.L1 - main.L1": WARM, "service: grid.N - main.N": WARM})
    assert made.contacts("link") == {"bond: main.N - main.PE"}
    # half of the loop in the line, half in the PEN, and 20 m of cable there and back: the fault at the board by Ohm's law
    assert made.branches(of="grid") == about({"grid: star - grid.L1": QUARTER, "grid: star - grid.N": QUARTER})


BONDS = "bonds: {link: {at: main, %s}}\n"


@pytest.mark.parametrize(
    ("bond", "branches", "contacts"),
    [
        # IEC 60228 class 2: 16 mm2, 1.15 and 0.08 ohm/km over 1 m
        ("size: 16 mm2, length: 1 m", {"link: main.N - main.PE": 1.15e-3 + 8e-5j}, set()),
        ("impedance: 5 ohm", {"link: main.N - main.PE": 5}, set()),
        ("size: 16 mm2", {}, {"bond: main.N - main.PE"}),
        # only while its condition holds
        ("closed: {set: running}", {}, set()),
        ("closed: {set: standing}", {}, {"bond: main.N - main.PE"}),
    ],
)
def test_links_between_neutral_and_earth(bond: str, branches: dict[str, complex], contacts: set[str]) -> None:
    made = Made(edited(SERVED, *TT, BOTH) + BONDS % bond, "grid", grid="present", co="mains", set="standing")
    assert made.branches(of="link") == about(branches)
    assert made.contacts("link") == contacts
    # at a board whose neutral is dead a link joins nothing: all its poles are changed over to the set
    assert Made(edited(SERVED, *TT, BOTH) + BONDS % bond, "set", grid="absent", co="own").branches(of="link") == {}


def test_a_cable_whose_neutral_and_earth_are_crossed() -> None:
    text = edited(SERVED, *TN_S, BOTH, ("to: out, cores: L1 N PE", "to: out, cores: L1 N PE, lands-on: {N: PE, PE: N}"))
    made = Made(text, "grid", grid="present", co="mains")
    # from the neutral of one end to the earth of the other; no live neutral lands at the far end
    assert made.branches(of="feed") == about({"feed: co.L1 - out.L1": WARM, "feed: co.N - out.PE": WARM})
    thin = edited(
        text, ("lands-on: {N: PE, PE: N}, size: 10 mm2", "lands-on: {N: PE, PE: N}, size: 10 mm2, n-size: 6 mm2")
    )
    told = Made(thin, "grid", grid="present", co="mains").branches(of="feed")
    # 6 mm2: 3.08 ohm/km
    assert told["feed: co.N - out.PE"] == pytest.approx(0.0308 * 1.2 + 0.0008j)


@pytest.mark.parametrize(("ends", "size"), [("from: co, to: out", "n-size"), ("from: out, to: co", "pe-size")])
def test_each_core_of_a_crossed_cable_has_its_own_size_whichever_end_is_written_first(ends: str, size: str) -> None:
    # the core that lands on the live neutral is N of a cable that begins there, and PE of one that ends there
    old = "feed: {from: co, to: out, cores: L1 N PE, size: 10 mm2"
    new = f"feed: {{{ends}, cores: L1 N PE, lands-on: {{N: PE, PE: N}}, size: 10 mm2, {size}: 6 mm2"
    told = Made(edited(SERVED, *TN_S, BOTH, (old, new)), "grid", grid="present", co="mains").branches(of="feed")
    # 6 mm2: 3.08 ohm/km
    assert told["feed: co.N - out.PE"] == pytest.approx(0.0308 * 1.2 + 0.0008j)


def test_what_is_plugged_out_or_switched_off_is_no_part_of_the_circuit() -> None:
    text = edited(SERVED, *TN_S, BOTH, ("to: out, cores: L1 N PE", "to: out, cores: L1 N PE, plug: yes"))
    wired = Made(text, "grid", grid="present", co="mains", feed="mated")
    assert set(wired.branches(of="feed")) == {f"feed: co.{core} - out.{core}" for core in ("L1", "N", "PE")}
    text = edited(text, ("boards: {main: {}", "boards: {near: {}, main: {}"))
    text = edited(
        text, ("circuits:", "  by: {from: main, to: near, cores: L1 N PE, size: 10 mm2, length: 10 m}\ncircuits:")
    )
    unmated = Made(text, "grid", grid="present", co="mains", feed="unmated")
    assert unmated.branches(of="feed") == {} and len(unmated.branches(of="by")) == 3


def test_an_autotransformer_is_not_worked_out() -> None:
    # FORMAT.md, currents: what lies behind it is open
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  auto: {kind: transformer, winding: auto, phases: L1, voltage: 110 V}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  to-auto: {from: main, to: auto.in, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: auto.out, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
"""
    )
    made = Made(text, "grid")
    lacking = {missing.what: missing.reason for _, missing in made.model.unknown}
    assert lacking == {"auto": "the currents of the autotransformer auto are not computed"}
    assert set(made.branches("winding")) == {f"auto: auto.out.L1 - auto.{node}" for node in ("in.L1", "out.N", "in.N")}


def test_the_bars_of_an_enclosure_are_one_and_may_have_a_contact() -> None:
    made = Made(WEAK, "inv", co="own", grid="absent")
    assert made.contacts("inner") == {"L1: out.L1 - bars.L1", "N: out.N - bars.N", "PE: out.PE - out.PE"}
    # one pole of a switching device where its current is asked for: a milliohm (common practice, no source)
    asked = Options(contacts_of=frozenset({"inner", "feed"}))
    told = Made(WEAK, "inv", asked, co="own", grid="absent")
    assert told.branches(of="inner") == about(
        {"inner: out.L1 - bars.L1": 1e-3, "inner: out.N - bars.N": 1e-3, "inner: out.PE - out.PE": 1e-3}
    )
    assert told.branches(of="feed") == made.branches(of="feed")


def test_one_core_with_less_than_a_circuit_may_hold_merges_its_ends() -> None:
    # 1.83 ohm/km over less than a nanometre
    text = edited(
        SERVED,
        *TN_S,
        BOTH,
        (
            "to: out, cores: L1 N PE, size: 10 mm2, length: 10 m",
            "to: out, cores: L1 N PE, size: 10 mm2, length: 0.0000001 m",
        ),
    )
    made = Made(text, "grid", grid="present", co="mains")
    assert made.branches(of="feed") == {}
    assert made.contacts("feed") == {f"{core}: co.{core} - out.{core}" for core in ("L1", "N", "PE")}


# -- merged conductors, and the zero of a circuit --------------------------------------------------------------------

CROSSED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 0 m}
  feed: {from: inv, to: out, CORES, size: 10 mm2, length: 0 m}
  earth: {EARTH, cores: PE, size: 10 mm2, length: 0 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 10 mm2, length: 0 m, load: 10 A}
  two: {from: main, cores: L1 N PE, size: 10 mm2, length: 0 m}
bonds: {link: {at: out}}
"""
)


@pytest.mark.parametrize("earth", ["from: out, to: main", "from: main, to: out"])
@pytest.mark.parametrize(
    ("cores", "line_v", "neutral_v"), [("cores: L1 N", 230, 0), ("cores: L1 N, lands-on: {L1: N, N: L1}", 0, -230)]
)
def test_the_voltages_of_an_inverter_that_is_earthed_at_a_board(
    cores: str, line_v: float, neutral_v: float, earth: str
) -> None:
    # whichever core lands on N is at earth by the link, however conductors without impedance are written
    text = edited(CROSSED, ("CORES", cores), ("EARTH", earth))
    made = Made(text, "inv")
    own, board = made.volts("inv", "out"), made.volts("out")
    assert own == {"L1": pytest.approx(line_v), "N": pytest.approx(neutral_v)}
    # its frame is joined to nothing
    assert made.volts("inv") == {}
    assert board["N"] == board["PE"] == pytest.approx(0)
    assert abs(board["L1"]) == pytest.approx(230) and board["L1"] == made.volts("one")["L1"]
    assert made.volts("main") == {"PE": pytest.approx(0)}


def test_what_a_load_draws_through_conductors_without_impedance() -> None:
    # 23 ohm at 230 V, whether the board is the zero by a supply's star point or by itself
    text = edited(CROSSED, ("CORES", "cores: L1 N"), ("EARTH", "from: out, to: main"))
    alone = edited(text, ("  earth: {from: out, to: main, cores: PE, size: 10 mm2, length: 0 m}\n", ""))
    for one in (text, alone):
        made = Made(one, "inv", LOADS)
        assert Study(made.model.circuit).solution.currents_a[made.model.branch_of("one", "load")] == pytest.approx(10)
        assert {conductor: abs(volts) for conductor, volts in made.volts("out").items()} == {
            "L1": pytest.approx(230),
            "N": pytest.approx(0),
            "PE": pytest.approx(0),
        }


PARTED = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: none}
boards: {main: {}, hut: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  far: {from: main, to: hut, cores: L1 N, size: 10 mm2, length: 10 m}
circuits:
  one: {from: main, cores: L1 N PE, size: 10 mm2, length: 10 m, load: 10 A}
"""
)
LINKED = "bonds: {link: {at: main}}\n"
ROD = "electrodes: {rod: {at: main, resistance: 20 ohm}}\n"


@pytest.mark.parametrize("feed", ["10 m", "0 m"])
@pytest.mark.parametrize(
    ("more", "zeros", "earthed"),
    [
        # nothing is tied to earth: the conductors take a neutral as their zero, frames that are joined one of themselves
        ("", {"N", "PE"}, set()),
        # with a link the protective conductor there is the zero of it all, and the neutral with it
        (LINKED, {"link"}, set()),
        # an electrode ties the frames to the mass of earth, and the conductors stay loose
        (ROD, {"N"}, {"PE"}),
        (LINKED + ROD, set(), {"L1", "N", "PE"}),
    ],
)
def test_parts_of_a_circuit_and_their_zeros(more: str, zeros: set[str], earthed: set[str], feed: str) -> None:
    cable = "feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: %s}"
    text = edited(PARTED, (cable % "10 m", cable % feed))
    made = Made(text + more, "set")
    model, names = made.model, made.network.nodes
    used = [node for node in range(len(names)) if model.node[node] >= 0]
    assert {names[node][2] for node in used if model.part[node] == -1} == earthed
    # the hut has no frame that anything joins
    assert {names[node] for node in range(len(names)) if node not in used} == {("hut", "", "PE")}
    of_live = {model.part[node] for node in used if names[node][2] != "PE"}
    of_pe = {model.part[node] for node in used if names[node][2] == "PE"}
    assert len(of_live) == len(of_pe) == 1 and (of_live == of_pe) == (LINKED in more)
    # what stands for the mass of earth in its part; conductors without impedance are one with it
    merged = {"set", "main"} if feed == "0 m" else {"set"}
    wanted = {(place, "", conductor) for place in merged for conductor in zeros & {"N", "PE"}}
    if "link" in zeros:
        merged = merged if feed == "0 m" else {"main"}
        wanted = {(place, "", conductor) for place in merged for conductor in ("PE", "N")}
    assert {names[node] for node in used if model.node[node] == 0} == wanted
    # 10 A at 230 V are 23 ohm, behind 5.29 ohm of the set and 20 m or 10 m there and back
    volts = Made(text + more, "set", LOADS).volts("one")
    ways = 4 if feed == "10 m" else 2
    assert abs(volts["L1"] - volts["N"]) == pytest.approx(230 * 23 / abs(28.29 + ways * WARM), rel=1e-6)


def test_frames_that_are_one_and_conductors_that_are_not_are_two_parts() -> None:
    cable = "feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}"
    short = (
        "feed: {from: set, to: main, cores: L1 N, size: 10 mm2, length: 10 m}\n"
        "  earth: {from: set, to: main, cores: PE, size: 10 mm2, length: 0 m}"
    )
    made = Made(edited(PARTED, (cable, short)), "set")
    part = {
        (place, conductor): made.model.part[node]
        for node, (place, _, conductor) in enumerate(made.network.nodes)
        if made.model.node[node] >= 0
    }
    assert len({part[key] for key in part if key[1] == "PE"}) == 1
    assert len({part[key] for key in part if key[1] != "PE"}) == 1
    assert part["set", "PE"] != part["set", "N"] and -1 not in part.values()


def test_the_voltages_of_a_floating_set_are_those_to_its_frame() -> None:
    # leakage alone joins the conductors and the frames: the line that leaks stands at the frame, the neutral 230 V below
    text = edited(PARTED, ("load: 10 A", "leakage: 1 mA"))
    volts = Made(text, "set", CAPACITANCES).volts("main")
    assert volts == {"L1": pytest.approx(0, abs=0.01), "N": pytest.approx(-230), "PE": pytest.approx(0, abs=1e-3)}
    made = Made(text, "set", CAPACITANCES)
    frame = made.network.find("set", "", "PE")
    assert made.model.node[frame] == 0


def test_a_link_at_a_dead_neutral_is_no_zero() -> None:
    # all poles changed over to a set: its own link counts, and not the one at the board of the supply
    text = edited(SERVED, *IT, BOTH, ("neutral-bond: fixed", "neutral-bond: none"))
    text = text[: text.index("electrodes:")] + "bonds: {first: {at: main}, second: {at: out}}\n"
    made = Made(text, "set", grid="absent", co="own")
    zero = {key for node, key in enumerate(made.network.nodes) if made.model.node[node] == 0}
    assert zero == {("out", "", "PE"), ("out", "", "N")}


def test_what_nothing_is_joined_to_is_a_part_of_its_own_where_all_conductors_are_looked_at() -> None:
    # who measures holds the meter anywhere: behind a contact that is open, too
    made = Made(
        edited(WEAK, (", plug: yes", ", through: [{kind: switch, poles: L1 N, normally: open}]")), "grid", co="mains"
    )
    network = made.network
    assert all(made.model.node[network.find("metal", "", conductor)] < 0 for conductor in ("L1", "N"))
    everything = (1 << len(network.nodes)) - 1
    model = build(network, made.island.state, everything, made.island.case.feeds)
    parts = [model.part[network.find("metal", "", conductor)] for conductor in ("L1", "N")]
    rest = {model.part[node] for node, key in enumerate(network.nodes) if key[0] != "metal"}
    assert len(set(parts)) == 2 and not set(parts) & rest
    assert [model.node[network.find("metal", "", conductor)] for conductor in ("L1", "N")] == [0, 0]


def test_a_first_fault_joins_the_star_point_to_a_frame() -> None:
    text = edited(SERVED, *ISLE, BOTH)
    pe = facts_of(text).network.find("main", "", "PE")
    made = Made(text, "grid", Options(bridge=("grid", pe)), grid="present", co="mains")
    assert made.contacts("grid") == {"first fault: star - main.PE"}
    # by a source that is not there nothing is joined
    assert Made(text, "grid", Options(bridge=("set", pe)), grid="present", co="mains").contacts("set") == set()


def test_of_absent_supplies_the_one_whose_neutral_is_joined_has_its_star_point_at_earth() -> None:
    # what the soil between two star points has is not counted on; both leave their PE, one its neutral too
    other = "other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}"
    text = edited(
        SERVED,
        *TN_S,
        LINE,
        ("  set:", f"  {other}\n  set:"),
        ("boards: {main: {}", "boards: {away: {}, main: {}"),
        ("changeovers:", "changeovers:\n  back: {positions: [mains, off], poles: L1 N}"),
        (
            "connections:",
            "connections:\n  second: {from: other, to: back.mains, cores: L1 N PE, size: 10 mm2, length: 10 m}\n"
            "  on: {from: back, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}",
        ),
    )
    # the set runs; `grid` stays joined by its solid neutral, `other` by its PE alone, whichever is written first
    for one in (
        text,
        edited(
            text,
            ("  grid: {", "  third: {"),
            (
                f"  {other}",
                "  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}",
            ),
            ("from: grid, to: main", "from: third, to: main"),
            ("from: other, to: back.mains", "from: grid, to: back.mains"),
        ),
    ):
        near, far = ("grid", "other") if one == text else ("third", "grid")
        made = Made(one, "set", **{near: "absent", "co": "own", "back": "off"})
        assert (made.contacts(near), made.contacts(far)) == ({"supplier electrode: earth - star"}, set())
    first = edited(text, (f"  {other}\n", ""), ("sources:", f"sources:\n  {other}"))
    made = Made(first, "set", grid="absent", co="own", back="off")
    assert (made.contacts("grid"), made.contacts("other")) == ({"supplier electrode: earth - star"}, set())


def changed_network(made: Made, network: Network, options: Options = Options()) -> Made:  # noqa: B008
    """The same case in a network with something changed in it, as a defect changes it."""
    made.network = network
    made.model = build(network, made.island.state, made.island.live, made.island.case.feeds, options)
    return made


def test_a_bad_joint_adds_to_the_core_that_it_is_in() -> None:
    joint = {("feed", "L1"), ("inner", "N"), ("feed", "PE"), ("on", "L1")}
    made = Made(WEAK, "inv", co="own", grid="absent", on="mated")

    def bad(edges: tuple[Edge, ...]) -> tuple[Edge, ...]:
        return tuple(one._replace(joint_ohm=0.5) if (one.element, one.core) in joint else one for one in edges)

    network = made.network._replace(edges=bad(made.network.edges), earth=bad(made.network.earth))
    told = changed_network(made, network)
    assert told.branches(of="feed") == about(
        {"feed: co.L1 - out.L1": WARM + 0.5, "feed: co.N - out.N": WARM, "feed: co.PE - out.PE": WARM + 0.5}
    )
    # bars without impedance have that of the joint; of a cable that is not described nothing is known, joint or not
    assert told.branches(of="inner") == about({"inner: out.N - bars.N": 0.5})
    assert told.contacts("inner") == {"L1: out.L1 - bars.L1", "PE: out.PE - out.PE"}
    assert set(told.unknown()) == {"the length of on"}


def test_a_star_point_that_has_lost_its_earth() -> None:
    # an impedance between the star point and the soil, whatever the earthing: what leads to earth is that and the installation's own
    made = served((*TN_S, BOTH), MAINS)
    site = made.network.installation
    sources = tuple(one._replace(earthing_impedance_ohm=1e6) if one.id == "grid" else one for one in site.sources)
    told = changed_network(made, made.network._replace(installation=site._replace(sources=sources)))
    assert told.branches("supplier electrode") == {"grid: star - earth": 1e6}
    assert told.contacts("grid") == set()


def test_a_fault_of_the_insulation_at_the_terminals_of_a_supply() -> None:
    # it stands beside the star point and does not take its place
    made = served((*TT, BOTH), MAINS)
    n, pe = made.network.find("grid", "", "N"), made.network.find("main", "", "PE")
    tie = Tie("grid", "stray", n, pe, (), (), "grid", ohm=200.0)
    told = changed_network(made, made.network._replace(ties=(*made.network.ties, tie)))
    assert told.contacts("grid") == {"N: star - grid.N", "L1: star - grid.L1"}
    assert told.branches(of="grid") == {"grid: grid.N - main.PE": 200, "grid: star - earth": 10}


def test_a_pen_from_a_board_to_the_earth_bar_of_another_one() -> None:
    # it begins where the protective conductor of the board is, and not at its neutral
    text = edited(
        SERVED,
        *TN_S,
        BOTH,
        ("boards: {main: {}", "boards: {hut: {}, main: {}"),
        (
            "  feed:",
            "  pen: {from: main, to: hut, cores: L1 PEN, lands-on: {PEN: PE}, size: 10 mm2, length: 10 m}\n  feed:",
        ),
    )
    made = Made(text, "grid", grid="present", co="mains")
    assert made.branches(of="pen") == about({"pen: main.L1 - hut.L1": WARM, "pen: main.PE - hut.PE": WARM})


def test_pipes_are_told_apart_and_shared_with_links_that_have_a_length() -> None:
    # in service a pipe shares what a neutral carries between two links; the entry that is lacking is the pipe that it is about
    text = edited(
        SERVED,
        *TN_S,
        BOTH,
        ("boards: {main: {}", "boards: {hut: {}, barn: {}, main: {}"),
        ("circuits:", "  on: {from: out, to: hut, cores: L1 N, size: 10 mm2, length: 10 m}\ncircuits:"),
    )
    text += "bonds: {a: {at: out, size: 16 mm2, length: 1 m}, b: {at: hut, size: 16 mm2, length: 1 m}}\n"
    text += "extraneous: {other: {joins: [barn, out]}, pipe: {joins: [out, hut]}}\n"
    for metal, found in ((True, {"pipe", "other"}), (False, {"other"})):
        made = Made(text, "grid", Options(metal=metal), grid="present", co="mains")
        lacking = {missing.what: (missing.route, missing.reason) for _, missing in made.model.unknown}
        assert lacking == {name: (("extraneous", name), f"the impedance of {name} is not known") for name in found}


STACK = (
    HEAD
    + """sources:
  a: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA}
  b: {kind: inverter, phases: L2, voltage: 230 V, rating: 3 kVA}
groups:
  stack: {members: [a, b], phases: {a: L1, b: L2}}
boards: {main: {}, apart: {}}
connections:
  from-a: {from: a, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}
  from-b: {from: b, to: BOARD, cores: L2 N PE, size: 10 mm2, length: 1 m}
circuits:
  one: {from: main, cores: L1 N PE}
"""
)


def test_a_member_of_a_group_that_stands_apart_is_no_part_of_the_circuit() -> None:
    together, apart = (Made(edited(STACK, ("BOARD", board)), "stack") for board in ("main", "apart"))
    assert together.contacts("b") == {"L2: b.out.N - b.out.L2"}
    assert apart.contacts("b") == set() and apart.contacts("a") == {"L1: a.out.N - a.out.L1"}
    assert [name for name, _ in apart.model.stars] == ["a"]


SUSTAINED = ", sustained-fault-current: {limit: 3 x rated, for: 10 s}, subtransient-reactance: 12 %"


@pytest.mark.parametrize(
    ("more", "smallest", "found"),
    [
        # the rated current where what the set holds is not written; its reactance where it is, and for the largest current:
        # 12 % of 230 V squared / 10 kVA
        ("", True, 5.29),
        (SUSTAINED, True, 0.6348j),
        (SUSTAINED, False, 0.6348j),
        (", subtransient-reactance: 12 %", True, 5.29),
        (", subtransient-reactance: 12 %", False, 0.6348j),
        ("", False, "the subtransient-reactance of set"),
    ],
)
def test_a_set_for_the_smallest_and_the_largest_current(more: str, smallest: bool, found: complex | str) -> None:
    text = edited(
        SERVED, *TN_S, BOTH, ("rating: 10 kVA, neutral-bond: fixed", f"rating: 10 kVA, neutral-bond: fixed{more}")
    )
    made = Made(text, "set", Options(smallest=smallest), grid="absent", co="own")
    lacking = [missing.what for number, missing in made.model.unknown if made.model.conductors[number].element == "set"]
    if isinstance(found, str):
        assert lacking == [found]
    else:
        assert lacking == [] and made.branches(of="set") == about({"set: set.N - set.L1": found})


def test_a_source_of_which_no_voltage_is_written() -> None:
    text = edited(
        SERVED, *TN_S, BOTH, ("set: {kind: generator, phases: L1, voltage: 230 V", "set: {kind: generator, phases: L1")
    )
    assert Made(text, "set", grid="absent", co="own").unknown() == ["the voltage of set"]


@pytest.mark.parametrize(
    ("monitor", "edits", "found"),
    [
        # from the neutral where there is one, else from the first line
        ("at: main, impedance: 100 kohm", (), {"watch: main.N - main.PE": 1e5}),
        # at the terminals of a supply nothing has a frame
        ("at: grid, impedance: 100 kohm", (), {}),
        (
            "at: main, impedance: 100 kohm",
            (
                ("cores: L1 N, size", "cores: L1, size"),
                ("to-co: {from: main, to: co.mains, cores: L1 N", "to-co: {from: main, to: co.mains, cores: L1"),
            ),
            {"watch: main.L1 - main.PE": 1e5},
        ),
        # none written; on a part that is dead then
        ("at: main", (), {}),
        ("at: set, impedance: 100 kohm", (), {}),
    ],
)
def test_what_an_insulation_monitor_is_in_the_circuit(
    monitor: str, edits: tuple[tuple[str, str], ...], found: dict[str, complex]
) -> None:
    text = edited(edited(SERVED, *IT, BOTH), *edits) + f"monitors: {{watch: {{{monitor}}}}}\n"
    made = Made(text, "grid", CAPACITANCES, grid="present", co="mains")
    assert made.branches("monitor") == found and made.contacts("watch") == set()
    assert Made(text, "grid", grid="present", co="mains").branches("monitor") == {}


def test_circuits_of_one_island_begin_alike() -> None:
    # what is kept between the circuits of an island says the same as what is built anew
    text = edited(SERVED, *TT, BOTH) + "bonds: {link: {at: out}}\n"
    made = Made(text, "grid", grid="present", co="mains")
    known: Known = {}
    begun: Begun = {}
    for options in (
        Options(),
        Options(cold=True),
        Options(smallest=False),
        Options(loop_in_line=True),
        Options(metal=True),
        Options(metal_joins=True),
        Options(contacts_of=frozenset({"feed"})),
        Options(capacitances=True, loads=True),
        Options(without=frozenset({"rod"})),
        Options(),
    ):
        island = made.island
        arguments = made.network, island.state, island.live, island.case.feeds, options
        assert build(*arguments, known, begun) == build(*arguments)


def test_metal_joins_what_it_touches_where_a_tester_may_find_the_least() -> None:
    text = edited(SERVED, *TN_S, BOTH) + "extraneous: {pipe: {joins: [main, out]}}\n"
    state = {"grid": "present", "co": "mains"}
    joined = Made(text, "grid", Options(metal_joins=True), **state)
    assert joined.contacts("pipe") == {"PE: main.PE - out.PE"} and joined.unknown() == []
    # a fault is not counted on to find it where conductors join the places too
    assert Made(text, "grid", **state).contacts("pipe") == set()
    assert Made(text, "grid", **state).branches(of="pipe") == {}
    loose = edited(text, ("feed: {from: co, to: out, cores: L1 N PE", "feed: {from: co, to: out, cores: L1 N"))
    assert Made(loose, "grid", **state).unknown() == ["pipe"]


def test_what_stands_for_impedances_that_are_not_known() -> None:
    # as `stand_in_ohm` says: no two are alike; a resistance is never negative, and both sets differ everywhere
    first, second = ([stand_in_ohm(number, which) for number in range(1, 500)] for which in (0, 1))
    assert len({*first, *second}) == 2 * 499
    assert min(one.real for one in (*first, *second)) > 0.5


def test_thirty_cables_without_a_length_open_what_lies_behind_them() -> None:
    text = edited(LOADED, ("CIRCUIT", "cores: L1 N PE, size: 10 mm2, length: 10 m"))
    text += "".join(f"  c{number}: {{from: main, cores: L1 N PE, size: 10 mm2}}\n" for number in range(40))
    made = Made(text, "grid")
    assert len(made.unknown()) == 120 and set(made.unknown()) == {f"the length of c{number}" for number in range(40)}
    other = with_other_stand_ins(made.model)
    changed = [
        number for number, (a, b) in enumerate(zip(other.branches, made.model.circuit.branches, strict=True)) if a != b
    ]
    assert changed == sorted(number for number, _ in made.model.unknown)
    loops = {one.point.written: one for one in facts_of(text).earth_faults}
    # 0.5 ohm and 10 m of 16 mm2 (1.15 ohm/km) to the board, 10 m of 10 mm2 on: by hand
    assert loops["one"].loop_ohm == pytest.approx(abs(0.5 + 2 * (0.0115 * 1.2 + 0.0008j) + 2 * WARM), rel=1e-3)
    with pytest.raises(Unknown, match="the length of c7"):
        _ = loops["c7"].loop_ohm


# -- the network ahead of a transformer ------------------------------------------------------------------------------

AHEAD = (
    HEAD
    + """\
sources:
  grid: {kind: utility, GRID, earthing: TN-S, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: none, may-parallel: [grid]}
  tr: {kind: transformer, winding: isolating, WINDING, rating: 10 kVA, impedance: 4 %, neutral-bond: fixed}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: CORES N PE, size: 10 mm2, length: 10 m}
  own: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  primary: {from: main, to: tr.in, PRIMARY, size: 10 mm2, length: 10 m}
  feed: {from: tr.out, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
"""
)
ONE = ("GRID", "phases: L1, voltage: 230 V"), ("CORES", "L1")
THREE = ("GRID", "phases: L1 L2 L3, voltage: 400 V"), ("CORES", "L1 L2 L3")
TWO_WAYS = 2 * (QUARTER + 2 * WARM)
"""The loop ahead: half of 0.5 ohm and two cables of 10 m, there and back."""


def ahead(*edits: tuple[str, str]) -> str:
    text = AHEAD
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return text


@pytest.mark.parametrize(
    ("edits", "ohm"),
    [
        # 4 % of (230 V)2 / 10 kVA = 0.2116 ohm, and the loop ahead as it is
        ((*ONE, ("WINDING", "phases: L1, voltage: 230 V"), ("PRIMARY", "cores: L1 N PE")), 0.2116j + TWO_WAYS),
        # 115 V: a quarter of both
        ((*ONE, ("WINDING", "phases: L1, voltage: 115 V"), ("PRIMARY", "cores: L1 N PE")), (0.2116j + TWO_WAYS) / 4),
        # two lines of 400 V to one of 230 V
        (
            (*THREE, ("WINDING", "phases: L1, voltage: 230 V"), ("PRIMARY", "cores: L1 L2 PE")),
            0.2116j + TWO_WAYS * (230 / 400) ** 2,
        ),
        # three lines to three of the same voltage: of the loop between two lines a half for each winding; 4 % of 400 V squared
        (
            (*THREE, ("WINDING", "phases: L1 L2 L3, voltage: 400 V"), ("PRIMARY", "cores: L1 L2 L3 PE")),
            0.64j + TWO_WAYS / 2,
        ),
        # to three of half the voltage: a quarter of both
        (
            (*THREE, ("WINDING", "phases: L1 L2 L3, voltage: 200 V"), ("PRIMARY", "cores: L1 L2 L3 PE")),
            (0.64j + TWO_WAYS / 2) / 4,
        ),
        # two windings of 115 V in series, each of half the rating: 4 % of 115 V squared / 5 kVA
        (
            (*ONE, ("WINDING", "phases: L1 L2, voltage: 115/230 V"), ("PRIMARY", "cores: L1 N PE")),
            0.1058j + TWO_WAYS / 2,
        ),
    ],
)
def test_a_transformer_as_its_secondary_sees_it(edits: tuple[tuple[str, str], ...], ohm: complex) -> None:
    made = Made(ahead(*edits), "tr", grid="present", set="standing")
    found = made.branches(of="tr")
    assert set(found) == {f"tr: tr.out.N - tr.out.{line}" for line in made.source("tr").phases}
    assert list(found.values()) == [pytest.approx(ohm, rel=1e-4)] * len(found)
    # for the largest currents its network is that of the largest currents too, of which nothing is written here
    assert "the fault-current of grid" in Made(ahead(*edits), "tr", Options(smallest=False), set="standing").unknown()


SINGLE = ahead(*ONE, ("WINDING", "phases: L1, voltage: 230 V"), ("PRIMARY", "cores: L1 N PE"))


def test_every_source_that_runs_ahead_of_a_transformer_is_in_the_network_ahead_of_it() -> None:
    # the set of which only the rating is written, 5.29 ohm, and 10 m of cable beside 0.5 ohm and 10 m; 10 m on
    beside = 5.29 + 2 * WARM
    alone = 0.5 + 2 * WARM
    for state, loop in (
        ({"grid": "present", "set": "standing"}, alone),
        ({"grid": "absent", "set": "running"}, beside),
        ({"grid": "present", "set": "running"}, alone * beside / (alone + beside)),
    ):
        made = Made(SINGLE, "tr", **state)
        # an absent supply stays joined: its neutral and its PE are no way past the set
        assert made.branches(of="tr") == about({"tr: tr.out.N - tr.out.L1": 0.2116j + loop + 2 * WARM})


def test_an_inverter_ahead_of_a_transformer_has_no_impedance() -> None:
    grid = "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}"
    inverter = "grid: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed}"
    text = edited(
        SINGLE,
        (grid, inverter),
        (", may-parallel: [grid]", ""),
        ("  own: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}\n", ""),
    )
    text = "\n".join(line for line in text.splitlines() if not line.startswith("  set:")) + "\n"
    long = (
        "primary: {from: main, to: tr.in, cores: L1 N PE, size: 10 mm2, length: 10 m}",
        "service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}",
    )
    for short, ways in (((), 2), (long[:1], 1), (long, 0)):
        # each cable of no length takes its two cores out of the loop; none left: the transformer alone
        told = edited(text, *((one, one.replace("10 m}", "0 m}")) for one in short))
        assert Made(told, "tr").branches(of="tr") == about({"tr: tr.out.N - tr.out.L1": 0.2116j + 2 * ways * WARM})
    # the line without length and its neutral of 10 m: the line stands 230 V above it by the inverter alone
    parted = edited(
        text,
        (
            long[0],
            "primary: {from: main, to: tr.in, cores: L1, size: 10 mm2, length: 0 m}\n"
            "  back: {from: main, to: tr.in, cores: N PE, size: 10 mm2, length: 10 m}",
        ),
        (long[1], long[1].replace("10 m}", "0 m}")),
    )
    assert Made(parted, "tr").branches(of="tr") == about({"tr: tr.out.N - tr.out.L1": 0.2116j + WARM})


@pytest.mark.parametrize("short", ["L1", "L2"])
def test_two_inverters_ahead_of_a_transformer(short: str) -> None:
    # 230 V each, 120 degrees apart: 398.37 V between their lines.  One core has no length, so its end stands at the terminal of its
    # inverter; the other one is all that there is ahead
    text = edited(
        STACK,
        ("BOARD", "main"),
        (
            "groups:",
            "  tr: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 10 kVA, impedance: 4 %}\ngroups:",
        ),
        (
            "  from-a: {from: a, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}",
            "  from-a: {from: a, to: main, cores: L1 N PE, size: 10 mm2, length: 0 m}",
        ),
        ("length: 1 m", "length: 0 m"),
    )
    other = {"L1": "L2", "L2": "L1"}[short]
    text = edited(
        text,
        (
            "circuits:",
            f"  line: {{from: main, to: tr.in, cores: {short} PE, size: 10 mm2, length: 0 m}}\n"
            f"  other: {{from: main, to: tr.in, cores: {other}, size: 10 mm2, length: 10 m}}\n"
            "  feed: {from: tr.out, to: apart, cores: L1 N PE, size: 10 mm2, length: 1 m}\ncircuits:",
        ),
    )
    told = Made(text, "tr").branches(of="tr")
    assert told == about({"tr: tr.out.N - tr.out.L1": 0.2116j + WARM / 3})


def test_a_transformer_between_two_ends_of_one_line() -> None:
    # as built: L2 at the board comes from L1 too, and nothing drives a current through the winding
    text = edited(
        SINGLE,
        ("primary: {from: main, to: tr.in, cores: L1 N PE", "primary: {from: main, to: tr.in, cores: L1 L2 PE"),
        (
            "  feed:",
            "  second: {from: grid, to: main, cores: L1, lands-on: {L1: L2}, size: 10 mm2, length: 10 m}\n  feed:",
        ),
    )
    made = Made(text, "tr", grid="present", set="standing")
    reasons = [
        missing.reason for number, missing in made.model.unknown if made.model.conductors[number].element == "tr"
    ]
    assert reasons == ["the network ahead of the transformer tr is not determined"]


@pytest.mark.parametrize(
    ("edits", "lacking"),
    [
        (
            (
                (
                    "primary: {from: main, to: tr.in, cores: L1 N PE, size: 10 mm2, length: 10 m}",
                    "primary: {from: main, to: tr.in, cores: L1 N PE, size: 10 mm2}",
                ),
            ),
            "the length of primary",
        ),
        # a length that no current ahead of it passes opens nothing
        (
            (
                ("  feed:", "  aside: {from: main, to: hut, cores: L1 N PE, size: 10 mm2}\n  feed:"),
                ("boards: {main", "boards: {hut: {}, main"),
            ),
            "",
        ),
        # without a neutral the winding has one end
        ((("primary: {from: main, to: tr.in, cores: L1 N PE", "primary: {from: main, to: tr.in, cores: L1 PE"),), "tr"),
        (
            (("phases: L1, voltage: 230 V, rating: 10 kVA, impedance", "phases: L1, rating: 10 kVA, impedance"),),
            "the voltage of tr",
        ),
        (
            (
                ("grid: {kind: utility, phases: L1, voltage: 230 V", "grid: {kind: utility, phases: L1"),
                ("set: {kind: generator, phases: L1, voltage: 230 V", "set: {kind: generator, phases: L1"),
            ),
            "the voltage of grid",
        ),
    ],
)
def test_what_is_not_known_ahead_of_a_transformer(edits: tuple[tuple[str, str], ...], lacking: str) -> None:
    made = Made(edited(SINGLE, *edits), "tr", grid="present", set="standing")
    own = {missing.what for number, missing in made.model.unknown if made.model.conductors[number].element == "tr"}
    assert own == ({lacking} if lacking else set())


# -- the solution against exact fractions ----------------------------------------------------------------------------


class Exact(NamedTuple):
    """A complex number of fractions: nothing is ever rounded."""

    real: Fraction
    imag: Fraction

    @classmethod
    def of(cls, value: complex) -> Exact:
        return cls(Fraction(complex(value).real), Fraction(complex(value).imag))

    def plus(self, other: Exact, times: int = 1) -> Exact:
        return Exact(self.real + times * other.real, self.imag + times * other.imag)

    def by(self, other: Exact) -> Exact:
        return Exact(self.real * other.real - self.imag * other.imag, self.real * other.imag + self.imag * other.real)

    def over(self, other: Exact) -> Exact:
        size = other.real**2 + other.imag**2
        return self.by(Exact(other.real / size, -other.imag / size))

    @property
    def value(self) -> complex:
        return complex(float(self.real), float(self.imag))


NOTHING = Exact.of(0)


def exact(circuit: Circuit) -> tuple[list[complex], list[complex]]:
    """Node voltages and branch currents by Gauss's elimination of the nodal equations in fractions, rounded at the end."""
    size = circuit.size
    rows = [[NOTHING] * (size + 1) for _ in range(size)]
    for a, b, z_ohm, emf_v, _ in circuit.branches:
        y = Exact.of(1).over(Exact.of(z_ohm))
        driven = y.by(Exact.of(emf_v))
        for one, other, sign in ((a, b, -1), (b, a, 1)) if a != b else ():
            rows[one][one] = rows[one][one].plus(y)
            rows[one][other] = rows[one][other].plus(y, -1)
            rows[one][size] = rows[one][size].plus(driven, sign)
    for a, b, current_a, _ in circuit.injections:
        rows[a][size] = rows[a][size].plus(Exact.of(current_a), -1)
        rows[b][size] = rows[b][size].plus(Exact.of(current_a))
    rows[circuit.earth] = [Exact.of(node == circuit.earth) for node in range(size)] + [NOTHING]
    for step in range(size):
        pivot = next(row for row in range(step, size) if rows[row][step] != NOTHING)
        rows[step], rows[pivot] = rows[pivot], rows[step]
        for row in range(size):
            if row != step and rows[row][step] != NOTHING:
                factor = rows[row][step].over(rows[step][step])
                rows[row] = [one.plus(factor.by(other), -1) for one, other in zip(rows[row], rows[step], strict=True)]
    volts = [rows[node][size].over(rows[node][node]) for node in range(size)]
    currents = [
        volts[one.a].plus(volts[one.b], -1).plus(Exact.of(one.emf_v)).over(Exact.of(one.z_ohm)).value
        for one in circuit.branches
    ]
    return [one.value for one in volts], currents


def drawn(seed: int, floating: bool) -> Circuit:
    """A few conductors, loads and sources: tied to earth by conductors, or by a picofarad or a nanofarad alone."""
    rng = Random(seed)
    size = rng.randrange(3, 7)
    # the mass of earth has any number
    nodes = rng.sample(range(size + 1), size + 1)
    earth = nodes.pop()
    branches = [
        Branch(
            nodes[rng.randrange(one)],
            nodes[one],
            complex(10 ** rng.uniform(-4, 0), rng.choice((0, 1e-3))),
            rng.choice((0j, 230 + 0j, 200 - 115j)),
        )
        for one in range(1, size)
    ]
    for _ in range(rng.randrange(1, 4)):
        a, b = rng.sample(nodes, 2)
        branches.append(Branch(a, b, complex(10 ** rng.uniform(-3, 2)), rng.choice((0j, 0j, 230 + 0j))))
    for node in rng.sample(nodes, rng.randrange(1, 3)):
        tie = -1j / (100 * math.pi * 10 ** rng.uniform(-12, -8)) if floating else complex(10 ** rng.uniform(-2, 2))
        branches.append(Branch(*rng.sample((node, earth), 2), tie))
    branches.append(Branch(nodes[0], nodes[0], 2 + 0j, 3 + 0j))
    rng.shuffle(branches)
    injections = [Injection(*rng.sample(nodes, 2), complex(rng.uniform(1, 50), 3))] if rng.random() < 0.3 else []
    return Circuit(size + 1, tuple(branches), earth, tuple(injections))


ENGINES: tuple[Engine, ...] = ("tree", "batched", "dense")


def near(found: list[complex], wanted: list[complex], least: float) -> bool:
    return all(abs(one - other) <= 1e-9 * abs(other) + least for one, other in zip(found, wanted, strict=True))


ENOUGH = range(30)


@pytest.mark.parametrize(
    ("floating", "seeds", "least_v"),
    [
        (False, ENOUGH, 1e-9),
        # what a floating system shows to earth hangs on picofarads beside hundreds of kiloamperes: a hundredth of a volt is asked
        # for.  The single numbers are circuits in which the rounding of those currents would show without further care
        (True, (*ENOUGH, 45, 56, 58, 93, 179, 293), 1e-2),
    ],
)
def test_voltages_and_currents_are_those_of_exact_fractions(
    floating: bool, seeds: Sequence[int], least_v: float
) -> None:
    for seed in seeds:
        circuit = drawn(seed, floating)
        volts, amperes = exact(circuit)
        for engine in ENGINES[: 2 if floating else 3]:
            found = Study(circuit, engine=engine).solution
            assert near(found.voltages_v, volts, least_v), (seed, engine)
            assert near(found.currents_a, amperes, 1e-9 * max(map(abs, amperes))), (seed, engine)


@pytest.mark.parametrize("engine", ["tree", "batched"])
def test_what_a_capacitance_carries_beside_kiloamperes_keeps_its_digits(engine: Engine) -> None:
    # charging currents that the rounding of the currents in the conductors would drown by up to a part in a thousand
    compared = 0
    for seed in (46, 76, 254, 442, 555, 652, 703, 736, 754):
        circuit = drawn(seed, True)._replace(injections=())
        found = Study(circuit, engine=engine).solution.currents_a
        for told, wanted, branch in zip(found, exact(circuit)[1], circuit.branches, strict=True):
            if abs(branch.z_ohm) > 1e5 and abs(wanted) > 1e-15:
                assert told == pytest.approx(wanted, rel=1e-9), seed
                compared += 1
    assert compared >= 9


def at_rest(circuit: Circuit, pair: Pair) -> list[complex]:
    """The voltages that 1 A into the first node and out of the second causes with all sources at rest."""
    quiet = tuple(branch._replace(emf_v=0j) for branch in circuit.branches)
    return exact(circuit._replace(branches=quiet, injections=(Injection(pair[1], pair[0], 1 + 0j),)))[0]


def loop_of(circuit: Circuit, pair: Pair) -> Loop:
    a, b = pair
    volts, response = exact(circuit)[0], at_rest(circuit, pair)
    return Loop(response[a] - response[b], volts[a] - volts[b])


@pytest.mark.parametrize("engine", ENGINES)
def test_faults_and_broken_branches_are_those_of_exact_fractions(engine: Engine) -> None:
    for seed in range(4):
        circuit = drawn(seed, False)._replace(injections=())
        rng = Random(seed)
        nodes = range(circuit.size)
        pairs: list[Pair] = [(rng.choice([node for node in nodes if node != other]), other) for other in nodes]
        fault, seen = pairs[0], pairs[-1]
        cases = [Failure(branch, pair) for branch in range(len(circuit.branches)) for pair in pairs[:1]]
        study = Study(circuit, pairs, cases, [Probe(fault, seen)], engine=engine)
        for pair, loop in zip(pairs, study.loops, strict=True):
            wanted = loop_of(circuit, pair)
            assert near([loop.z_ohm, loop.open_v], list(wanted), 1e-9)
            assert loop.current_a == pytest.approx(loop.open_v / loop.z_ohm)
        response = at_rest(circuit, fault)
        assert near(study.transfers([Probe(fault, seen)]), [response[seen[0]] - response[seen[1]]], 1e-9)
        # a fault of 0.3 ohm is a branch of 0.3 ohm
        current, during = study.under_fault(fault, 0.3 + 0j)
        with_fault = exact(circuit._replace(branches=(*circuit.branches, Branch(*fault, 0.3 + 0j))))
        assert near([current, *during.voltages_v], [with_fault[1][-1], *with_fault[0]], 1e-8)
        assert near(during.currents_a, with_fault[1][:-1], 1e-8 * max(map(abs, with_fault[1])))
        for (branch, pair), told in zip(cases, study.failures(cases), strict=True):
            rest = circuit._replace(branches=circuit.branches[:branch] + circuit.branches[branch + 1 :])
            labels = merge(circuit.size, [(one.a, one.b) for one in rest.branches])
            assert (told is None) == (labels[pair[0]] != labels[pair[1]])
            assert study.without(branch)[pairs.index(pair)] == (told and pytest.approx(told, rel=1e-6, abs=1e-6))
            if told and labels[pair[0]] == labels[circuit.earth]:
                # a part that has lost its earth is left out of the equations
                kept = [node for node in nodes if labels[node] == labels[circuit.earth]]
                number = {node: index for index, node in enumerate(kept)}
                part = tuple(one._replace(a=number[one.a], b=number[one.b]) for one in rest.branches if one.a in number)
                wanted = loop_of(Circuit(len(kept), part, number[circuit.earth]), (number[pair[0]], number[pair[1]]))
                assert near(list(told), list(wanted), 1e-6), (seed, branch, pair)


# -- the door to the solution ----------------------------------------------------------------------------------------

RING = Circuit(
    3, (Branch(0, 1, 1 + 0j, 10 + 0j, "source"), Branch(1, 2, 2 + 0j, 0j, "line"), Branch(2, 0, 2 + 0j, 0j, "load")), 0
)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_mass_of_earth_alone_is_a_circuit(engine: Engine) -> None:
    assert Study(Circuit(1, (), 0), engine=engine).solution == ([0], [])


def test_the_reference_engine_is_for_small_circuits() -> None:
    chain = Circuit(1502, tuple(Branch(node, node + 1, 1 + 0j) for node in range(1501)), 0)
    assert abs(Study(chain, [(0, 1501)], engine="tree").impedances_ohm[0]) == pytest.approx(1501)
    with pytest.raises(ValueError, match="3003 nodes and branches are too many for the dense reference"):
        Study(chain, engine="dense")


@pytest.mark.parametrize("engine", ["tree", "batched"])
def test_a_choke_and_a_capacitor_in_series_are_refused_or_no_more_than_a_contact(engine: Engine) -> None:
    # between a line and a neutral, with a load of 50 ohm beside them: exactly in resonance 230 V / 0.2 ohm, or the reason why not;
    # a little beside it 10 ohm of reactance (by hand)
    for capacitor_ohm, answer in ((1000, 230 / 0.2), (990, 230 / (0.2 + 50 * 10j / (50 + 10j)))):
        for line, between, neutral in permutations((1, 2, 3)):
            branches = (
                Branch(0, line, 0.1 + 0j, 230 + 0j),
                Branch(line, between, 1000j),
                Branch(between, neutral, complex(0, -capacitor_ohm)),
                Branch(neutral, 0, 0.1 + 0j),
                Branch(line, neutral, 50 + 0j),
            )
            try:
                current = Study(Circuit(4, branches, 0), engine=engine).solution.currents_a[0]
            except Unsolvable as refused:
                assert capacitor_ohm == 1000 and f"at node {between} the inductive" in refused.reason
            else:
                assert current == pytest.approx(answer)


def test_without_numpy_its_engine_is_refused_where_it_is_asked_for_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "onebond.circuit.batched", None)
    with pytest.raises(ModuleNotFoundError):
        Study(RING, engine="batched")
    assert Study(RING).solution.currents_a == [pytest.approx(2)] * 3


def test_a_branch_whose_ends_are_one_node_can_break_without_consequence() -> None:
    # two 2 ohm and 1 ohm in a ring: 1.2 ohm between nodes 1 and 2, with 4 V (by hand)
    circuit = RING._replace(branches=(*RING.branches, Branch(1, 1, 3 + 0j, 5 + 0j)))
    cases = [Failure(3, (1, 2))]
    study = Study(circuit, [(1, 2)], cases)
    assert study.loops == [(pytest.approx(1.2), pytest.approx(4))]
    assert study.without(3) == study.loops
    assert study.failures(cases) == study.loops


def test_a_fixed_current_is_in_the_way_of_a_broken_branch_only_where_it_passes_it() -> None:
    # a stub 2 - 3 that nothing else joins; a current of 5 A in the ring, or one of nothing at its end
    stub = RING._replace(size=4, branches=(*RING.branches, Branch(2, 3, 1 + 0j, 0j, "stub")))
    inside = stub._replace(injections=(Injection(0, 1, 5 + 0j, "inverter"),))
    pairs: list[Pair] = [(1, 2), (3, 0)]
    ring = Study(inside, pairs).loops
    assert Study(inside, pairs).without(3) == [ring[0], None]
    nothing = stub._replace(injections=(Injection(0, 3, 0j, "inverter"),))
    assert Study(nothing, pairs).without(3)[1] is None
    across = stub._replace(injections=(Injection(0, 3, 5 + 0j, "inverter"),))
    for ask in (
        lambda: Study(across, pairs).without(3),
        lambda: Study(across, pairs, [Failure(3, (1, 2))]).failures([Failure(3, (1, 2))]),
    ):
        with pytest.raises(
            Unsolvable, match=r"^inverter drives a fixed current, and with stub broken there is no way back for it$"
        ) as refused:
            ask()
        assert (refused.value.nodes, refused.value.branches) == ((0, 3), (3,))


def resonant(seed: int) -> Circuit:
    """Reactances that cancel to a few parts in a thousand million."""
    rng = Random(seed)
    size = rng.randrange(3, 8)

    def part() -> complex:
        sort = rng.randrange(3)
        if sort == 0:
            return complex(10 ** rng.uniform(-3, 1))
        if sort == 1:
            return 1j * rng.randrange(1, 4)
        return -1j * rng.randrange(1, 4) * (1 + rng.choice((0, 1e-7, 1e-8, 3e-9)))

    branches = [Branch(rng.randrange(node), node, part(), rng.choice([0j, 230 + 0j])) for node in range(1, size)]
    branches += [Branch(*rng.sample(range(size), 2), part()) for _ in range(rng.randrange(1, 5))]
    return Circuit(size, tuple(branches), rng.randrange(size))


def wide(seed: int) -> Circuit:
    """Impedances from a thousand millionth of an ohm to a million million."""
    rng = Random(seed)
    size = rng.randrange(2, 9)

    def part() -> complex:
        return complex(10 ** rng.uniform(-9, 6)) if rng.random() < 0.7 else -1j * 10 ** rng.uniform(0, 12)

    branches = [
        Branch(rng.randrange(node), node, part(), rng.choice([0j, 0j, 230 + 0j])) for node in range(1, size + 1)
    ]
    branches += [
        Branch(*rng.sample(range(size + 1), 2), part(), rng.choice([0j, 230 + 0j])) for _ in range(rng.randrange(size))
    ]
    return Circuit(size + 1, tuple(branches), 0)


@pytest.mark.parametrize(
    ("engine", "seeds"),
    [
        ("tree", (66, 91, 131, 192, 241, 300, 384, 491, 595, 642, 1069, 1283)),
        ("batched", (67, 120, 131, 192, 212, 248, 347, 384, 414, 464)),
    ],
)
def test_near_a_resonance_the_currents_add_up_to_all_their_digits(engine: Engine, seeds: Sequence[int]) -> None:
    # circuits in which the first answer of that engine is right to eight digits only
    for seed in seeds:
        circuit = resonant(seed)
        volts, amperes = exact(circuit)
        found = Study(circuit, engine=engine).solution
        assert max(abs(a - b) for a, b in zip(found.voltages_v, volts, strict=True)) <= 1e-12 * max(map(abs, volts))
        assert max(abs(a - b) for a, b in zip(found.currents_a, amperes, strict=True)) <= 1e-12 * max(map(abs, amperes))


@pytest.mark.parametrize(("engine", "seeds"), [("tree", (23138, 26158)), ("batched", (16546, 23138, 24784, 26158))])
def test_where_the_digits_do_not_suffice_no_number_is_given(engine: Engine, seeds: Sequence[int]) -> None:
    # currents would be wrong by up to a part in ten thousand (against exact fractions)
    for seed in seeds:
        with pytest.raises(Unsolvable, match="do not add up to 1e-9 of their sum"):
            _ = Study(wide(seed), engine=engine).solution


def test_a_large_floating_system_shows_its_voltage_to_earth() -> None:
    # 2,100 nodes in a ring that a source drives, held by one picofarad: no current flows there, so that node is at earth
    size = 2100
    ring = [
        Branch(node, node + 1, 1e-6 * (1 + node % 7) + 0j, 230 + 0j if node == 1 else 0j) for node in range(1, size)
    ]
    branches = (*ring, Branch(size, 1, 1e-6 + 0j), Branch(size // 2, 0, -1j / (100 * math.pi * 1e-12)))
    found = Study(Circuit(size + 1, branches, 0), engine="tree").solution
    total = sum(branch.z_ohm for branch in branches[:-1])
    assert found.currents_a[0] == pytest.approx(230 / total)
    assert abs(found.voltages_v[size // 2]) < 1e-3
    # along the ring the voltage falls by what the current leaves in each part (Ohm's law)
    there = sum(branch.z_ohm for branch in branches[size // 2 - 1 : size - 1])
    assert found.voltages_v[size // 2] - found.voltages_v[size] == pytest.approx(230 / total * there, rel=1e-6)


def test_reasons_name_what_hangs_loose_and_nothing_else() -> None:
    # a load at earth, a source of its own with a lamp, and two cores that join nothing but each other
    branches = (
        Branch(0, 1, 5 + 0j, 12 + 0j, "battery"),
        Branch(2, 3, 0.1 + 0j, 230 + 0j, "set"),
        Branch(3, 2, 50 + 0j, 0j, "lamp"),
        Branch(4, 5, 1 + 0j, 0j, "core"),
    )
    names = ("", "at earth", "N", "L", "one end", "other end")
    for engine in ENGINES:
        with pytest.raises(Unsolvable) as refused:
            Study(Circuit(6, branches, 0, names=names), engine=engine)
        assert refused.value.reason == (
            "N, L float: set drives them, and no bond, electrode, capacitance or load ties them to earth; "
            "one end, other end are joined to each other and to nothing else"
        )
        assert (refused.value.nodes, refused.value.branches) == ((2, 3, 4, 5), (1, 2, 3))


@pytest.mark.parametrize("current_a", [complex(1, math.inf), complex(math.inf, 1), complex(math.nan, 0)])
def test_a_fixed_current_is_a_number(current_a: complex) -> None:
    with pytest.raises(ValueError, match=r"source inverter: current .* is not a number"):
        Study(RING._replace(injections=(Injection(0, 1, current_a, "inverter"),)))


# -- short circuits of direct current --------------------------------------------------------------------------------


def test_short_circuits_of_several_parts() -> None:
    # 12 V behind 10 milliohm, and 48 V behind 20 milliohm on a side of its own: 1200 A and 2400 A; over 10 milliohm of cable 600 A
    branches = [
        Branch(0, 1, 0.010 + 0j, 12 + 0j),
        Branch(1, 2, 0.010 + 0j),
        Branch(4, 5, 0.020 + 0j, 48 + 0j),
        Branch(6, 7, 0.5 + 0j),
    ]
    pairs: list[Pair] = [(1, 0), (2, 3), (5, 4), (6, 7), (1, 4), (0, 3), (8, 8)]
    found = short_circuits(9, [(0, 3)], branches, pairs)
    # where nothing drives there is none, and none between two sides; a bar and itself are one, and nothing limits what flows there
    assert found == [pytest.approx(1200), pytest.approx(600), pytest.approx(2400), 0.0, 0.0, None, 0.0]
    assert short_circuits(0, [], [], []) == []
