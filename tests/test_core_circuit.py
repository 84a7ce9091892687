"""Circuits, the impedances in them and their solution: what a condition or a sign decides, worked by hand or by a published table."""

from __future__ import annotations

import cmath
import math

import pytest

from described import edited, facts_of, site_of
from onebond.circuit import impedances
from onebond.circuit.build import Options, build
from onebond.circuit.components import conductors, electrodes
from onebond.circuit.impedances import Capability, Missing, Supply
from onebond.circuit.solve import Study
from onebond.model import Connection, Source

# -- formulas of components ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("stranded", "words"), [(True, "stranded conductor size: 5"), (False, "solid conductor size: 5")])
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
    assert impedances.utility(source(UTILITY % ("TN-S", LOOP)), True, loop_in_line=True) == Supply(0.25, 0.25, 0.25, None)
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
    assert [alone[line] for line in alone] == [
        pytest.approx(one) for one in (120, -1j * 120 * math.sqrt(3), -120)
    ]


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
        assert (told.limit_a, told.until_s, told.declared, told.collapses, lacking) == (pytest.approx(found[0]), *found[1:])  # type: ignore[index]
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
            if by in [feed.id for feed in one.feeds] and all(one.value(names.index(n)) == s for n, s in state.items())
        )
        self.network = self.island.network
        self.options = options
        self.model = build(self.network, self.island.state, self.island.live, self.island.case.feeds, options)

    def name(self, node: int) -> str:
        if node >= len(self.network.nodes):
            return "earth" if node == len(self.network.nodes) else "star"
        place, terminal, conductor = self.network.nodes[node]
        return f"{place}.{terminal}.{conductor}" if terminal else f"{place}.{conductor}"

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
        return {f"{one.core}: {self.name(one.a)} - {self.name(one.b)}" for one in self.model.contacts if one.element == of}

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
        ("cores: L1 L2 L3 PE, load: 6 kVA, power-factor: 0.6", {f"one.L{line} - star": 26.45 * (0.6 + 0.8j) for line in (1, 2, 3)}),
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
        assert told == ({} if more.frequency_hz == 50 else about({key: FILTER / 2 for key in made.branches("filter")}))
    none = edited(WEAK, (", neutral-bond: fixed, filter-capacitance: 10 nF", ", neutral-bond: fixed"))
    assert Made(none, "inv", CAPACITANCES, co="own", grid="absent").branches("filter") == {}


@pytest.mark.parametrize(
    ("edits", "leaks", "found"),
    [
        ((), (True, False), {"one: one.L1 - one.PE": LEAK}),
        # who measures insulation finds it from the neutral too
        ((), (True, True), {"one: one.L1 - one.PE": LEAK, "one: one.N - one.PE": LEAK}),
        ((), (False, True), {"one: one.N - one.PE": LEAK}),
        ((("one: {from: bars, cores: L1 N PE, size", "one: {from: bars, cores: L1 PE, size"),), (True, True), {"one: one.L1 - one.PE": LEAK}),
        # class II has no frame to leak to; none is written; below a nanoampere nothing leaks
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 1 mA, equipment: class-II}\n  away"),), (True, True), {}),
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m}\n  away"),), (True, True), {}),
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 0.0000001 mA}\n  away"),), (True, True), {}),
        ((("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 0.000002 mA}\n  away"),), (True, False), {"one: one.L1 - one.PE": -115e9j}),
    ],
)
def test_what_leaks_of_a_circuit(
    edits: tuple[tuple[str, str], ...], leaks: tuple[bool, bool], found: dict[str, complex]
) -> None:
    # only the circuits of the island: the other one is dead then
    made = Made(edited(WEAK, *edits), "inv", CAPACITANCES._replace(leaks=leaks), co="own", grid="absent")
    assert made.branches("leakage") == about(found)


def test_what_is_more_than_any_leakage_is_not_known() -> None:
    text = edited(WEAK, ("length: 10 m, leakage: 1 mA}\n  away", "length: 10 m, leakage: 11 A}\n  away"))
    made = Made(text, "inv", CAPACITANCES, co="own", grid="absent")
    lacking = [missing for _, missing in made.model.unknown if missing.what == "the leakage of one"]
    assert [one.reason for one in lacking] == ["one: 11 A is more than any equipment leaks"]


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
    more = {f"on: {at}.{core} - {pe}": STRAY / 2 for at, pe in (("bars", "out.PE"), ("metal", "metal.PE")) for core in ("L1", "N")}
    plugged = edited(WEAK, ("boards: {main: {}, out", "boards: {far: {}, main: {}, out"), ("circuits:", "  far-on: {from: metal, to: far, cores: L1 N, size: 10 mm2, length: 3 m}\ncircuits:"))
    plugged += "monitors: {watch: {at: metal}}\n"
    assert stray(plugged, 20, **state) == about({**found, **more})
    assert stray(plugged, 20, **{**state, "on": "unmated"}) == about(found)
