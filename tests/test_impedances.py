"""Impedances of the written parts by tables and by hand, and the entry that is named where one is missing."""

from __future__ import annotations

import cmath
import math

import pytest

from onebond import testing
from onebond.circuit import impedances
from onebond.circuit.impedances import Capability, Missing, Supply
from onebond.model import Bond, Connection, Electrode, Source

SITE = """\
onebond: 1
site: {name: Parts, rulebook: iec, stage: STAGE}
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  LINK
circuits:
  one: {from: main, cores: L1 N PE}
bonds:
  link: {at: main, BOND}
electrodes:
  rod: {at: main, ROD}
"""


def site(link: str = "", bond: str = "size: 16 mm2", rod: str = "resistance: 20 ohm", stage: str = "draft") -> str:
    link = f"more: {{from: main, to: sub, {link}}}" if link else ""
    boards = "boards: {main: {}, sub: {}}" if link else "boards: {main: {}}"
    text = SITE.replace("STAGE", stage).replace("LINK", link).replace("BOND", bond).replace("ROD", rod)
    return text.replace("boards: {main: {}}", boards)


def cable(text: str, stage: str = "draft") -> Connection:
    installation = testing.inspected(site(text, stage=stage), ()).installation
    return next(one for one in installation.connections if one.id == "more")


def bond(text: str) -> Bond:
    return testing.inspected(site(bond=text), ()).installation.bonds[0]


def electrode(text: str) -> Electrode:
    return testing.inspected(site(rod=text), ()).installation.electrodes[0]


def source(text: str) -> Source:
    described = SITE.replace("STAGE", "draft").replace("LINK", "").replace("BOND", "size: 16 mm2")
    described = described.replace("ROD", "resistance: 20 ohm").replace(
        "{kind: utility, phases: L1, earthing: TN-S}", text
    )
    if "TN-S" not in text:
        described = described.replace("to: main, cores: L1 N PE", "to: main, cores: L1 N")
    if "TN-C-S" in text:
        described = described.replace("to: main, cores: L1 N", "to: main, cores: L1 PEN")
    return testing.inspected(described, ()).installation.sources[0]


def what(answer: object) -> str:
    assert isinstance(answer, Missing), answer
    return answer.what


# -- cables ----------------------------------------------------------------------------------------------------------


def test_a_protective_core_has_the_reactance_of_its_cable_and_one_of_its_own_a_larger_one() -> None:
    # IEC 60228 class 2: 16 mm2 1.15 ohm/km; 0.08 ohm/km in a cable, 0.3 ohm/km laid alone (as `core_ohm` says)
    core = impedances.core_ohm(cable("cores: L1 N PE, size: 16 mm2, length: 100 m"), "PE", warm=False)
    alone = impedances.core_ohm(cable("cores: PE, size: 16 mm2, length: 100 m"), "PE", warm=False)
    line = impedances.core_ohm(cable("cores: L1 N PE, size: 16 mm2, length: 100 m"), "L1", warm=False)
    assert core == line == pytest.approx(0.115 + 0.008j)
    assert alone == pytest.approx(0.115 + 0.030j)


def test_each_core_has_its_own_size() -> None:
    # IEC 60228 class 2: 10, 6 and 4 mm2 have 1.83, 3.08 and 4.61 ohm/km
    link = cable("cores: L1 N PE, size: 10 mm2, n-size: 6 mm2, pe-size: 4 mm2, length: 1 m")
    found = [impedances.core_ohm(link, core, warm=False) for core in ("L1", "N", "PE")]
    assert [complex(z).real * 1000 for z in found if not isinstance(z, Missing)] == pytest.approx([1.83, 3.08, 4.61])
    pen = cable("cores: L1 PEN, size: 10 mm2, n-size: 6 mm2, length: 1 m")
    assert complex(impedances.core_ohm(pen, "PEN", warm=False)).real * 1000 == pytest.approx(3.08)  # type: ignore[arg-type]


def test_as_built_the_size_of_a_protective_core_has_to_be_written() -> None:
    """FORMAT.md, currents; a conductor of its own has its size written by that."""
    core = cable("cores: L1 N PE, size: 10 mm2, length: 1 m", "as-built")
    assert what(impedances.core_ohm(core, "PE", warm=True, as_built=True)) == "the pe-size of more"
    assert not isinstance(impedances.core_ohm(core, "L1", warm=True, as_built=True), Missing)
    alone = cable("cores: PE, size: 10 mm2, length: 1 m", "as-built")
    assert not impedances.pe_size_assumed(alone)
    assert not isinstance(impedances.core_ohm(alone, "PE", warm=True, as_built=True), Missing)


def test_armour_that_serves_as_pe() -> None:
    # the table of armours: 2.5 mm2, two cores 8.8 ohm/km, three cores 8.2 at 20 C; lines 7.41 (IEC 60228)
    link = cable("cores: L1 N PE, pe-by: armour, size: 2.5 mm2, length: 100 m")
    assert impedances.core_ohm(link, "PE", warm=False) == pytest.approx(0.88)
    assert impedances.core_ohm(link, "L1", warm=False) == pytest.approx(0.741 + 0.008j)
    three = cable("cores: L1 L2 N PE, pe-by: armour, size: 2.5 mm2, length: 100 m")
    assert impedances.core_ohm(three, "PE", warm=False) == pytest.approx(0.82)
    # 60 C with cores at 70 C, 0.0045 per kelvin: x 1.18 (as `core_ohm` says)
    assert impedances.core_ohm(link, "PE", warm=True) == pytest.approx(0.88 * 1.18)


def test_steel_by_its_cross_section() -> None:
    # IEC 60364-5-54 annex A: 138e-6 ohm mm at 20 C; 50 mm2: 2.76 ohm/km
    link = cable("cores: L1 N PE, pe-by: conduit, pe-size: 50 mm2, size: 2.5 mm2, length: 100 m")
    assert impedances.core_ohm(link, "PE", warm=False) == pytest.approx(0.276)
    armour = cable("cores: L1 N PE, pe-by: armour, pe-size: 50 mm2, size: 2.5 mm2, length: 100 m")
    assert impedances.core_ohm(armour, "PE", warm=False) == pytest.approx(0.276)
    unknown = impedances.core_ohm(cable("cores: L1 N PE, pe-by: conduit, size: 2.5 mm2, length: 1 m"), "PE", warm=False)
    assert isinstance(unknown, Missing) and "its pe-size in mm2 of steel" in unknown.reason


def test_what_a_cable_needs() -> None:
    assert what(impedances.core_ohm(cable("cores: L1 N PE, size: 10 mm2"), "L1", warm=True)) == "the length of more"
    assert what(impedances.core_ohm(cable("cores: L1 N PE, length: 1 m"), "L1", warm=True)) == "the size of more"


# -- bonds and electrodes --------------------------------------------------------------------------------------------


def test_a_bond_with_a_length() -> None:
    # IEC 60228 class 2: 16 mm2, 1.15 ohm/km and 0.08 ohm/km; NEC chapter 9 table 8: 6 AWG copper, 0.491 ohm/kft, as the table has it
    assert impedances.bond_ohm(bond("size: 16 mm2, length: 1 m")) == pytest.approx(1.15e-3 + 8e-5j)
    assert impedances.bond_ohm(bond("size: 6 AWG, length: 10 ft")) == pytest.approx(4.91e-3, rel=1e-3)
    assert impedances.bond_ohm(bond("size: 16 mm2")) is None
    assert what(impedances.bond_ohm(bond("length: 1 m"))) == "the size of link"
    assert impedances.bond_ohm(bond("impedance: 5 ohm")) == 5


@pytest.mark.parametrize(
    ("text", "ohm"),
    [
        # the rules of thumb of IEC 60364-5-54 annex D: 2 rho / L and rho / (4 r); the rod by BS 7430 (40.39 ohm)
        ("soil: 100 ohm m, shape: horizontal, length: 20 m", "10.00"),
        ("soil: 100 ohm m, shape: ring, diameter: 10 m", "5.00"),
        ("soil: 100 ohm m, shape: rod, length: 2.4 m, diameter: 16 mm", "40.39"),
        ("soil: 100 ohm m, shape: rod, rods: 1, length: 2.4 m, diameter: 16 mm", "40.39"),
    ],
)
def test_an_electrode_by_its_shape(text: str, ohm: str) -> None:
    assert f"{impedances.electrode_ohm(electrode(text)):.2f}" == ohm


@pytest.mark.parametrize(
    ("text", "lacking"),
    [
        ("soil: 100 ohm m, shape: horizontal", "the length of rod"),
        ("soil: 100 ohm m, shape: ring", "the diameter of rod"),
        ("soil: 100 ohm m, shape: rod, diameter: 16 mm", "the length of rod"),
        ("soil: 100 ohm m, shape: rod, length: 2.4 m", "the diameter of rod"),
        ("soil: 100 ohm m, shape: rod, length: 2.4 m, diameter: 16 mm, rods: 2", "the spacing of rod"),
        ("shape: rod, length: 2.4 m, diameter: 16 mm", "the soil or the resistance of rod"),
        ("soil: 100 ohm m, shape: plate", "the resistance of rod"),
    ],
)
def test_what_an_electrode_needs(text: str, lacking: str) -> None:
    assert what(impedances.electrode_ohm(electrode(text))) == lacking


# -- sources ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line_v", "between_v"),
    [
        # opposite lines add up, lines of a three-phase system stand 120 degrees apart (FORMAT.md, values)
        ("system: split-phase, voltage: 120/240 V", 120, 240),
        ("voltage: 120/240 V", 120, 240),
        ("voltage: 240 V", 120, 240),
        ("voltage: 120/208 V", 120, 207.846),
        ("system: three-phase, voltage: 208 V", 120.089, 208),
        ("system: three-phase, voltage: 120/208 V", 120, 207.846),
    ],
)
def test_two_lines(text: str, line_v: float, between_v: float) -> None:
    emfs = impedances.line_emfs_v(source(f"{{kind: utility, phases: L1 L2, earthing: TT, {text}}}"))
    assert not isinstance(emfs, Missing)
    assert abs(emfs["L1"]) == pytest.approx(line_v, rel=1e-4)
    assert abs(emfs["L1"] - emfs["L2"]) == pytest.approx(between_v, rel=1e-4)


def test_three_lines_and_the_line_of_a_member_of_a_group() -> None:
    three = source("{kind: utility, phases: L1 L2 L3, earthing: TT, voltage: 400 V}")
    emfs = impedances.line_emfs_v(three, {"grid": "L2"})
    assert not isinstance(emfs, Missing)
    assert abs(sum(emfs.values())) < 1e-9
    assert emfs["L2"] == pytest.approx(cmath.rect(400 / math.sqrt(3), -2 * math.pi / 3))
    single = source("{kind: utility, phases: L1, earthing: TT, voltage: 230 V}")
    on_l2 = impedances.line_emfs_v(single, {"grid": "L2"})
    assert not isinstance(on_l2, Missing)
    assert on_l2["L1"] == pytest.approx(cmath.rect(230, -2 * math.pi / 3))


def test_a_supply_of_which_the_smallest_current_is_written_alone() -> None:
    # Ohm's law, the loop in equal halves (FORMAT.md, currents): 230 V / 1 kA / 2 = 0.115 ohm; three-phase 0.23 ohm a line
    text = "{kind: utility, phases: L1, earthing: %s, voltage: 230 V, fault-current: {min: 1 kA%s}}"
    assert impedances.utility(source(text % ("TN-C-S", "")), smallest=True) == Supply(0.115, 0.115, 0.115, None)
    assert what(impedances.utility(source(text % ("TN-S", "")), smallest=True).line) == "the loop-impedance of grid"
    three = impedances.utility(source(text % ("TN-C-S", ", kind: three-phase")), smallest=True)
    assert three.line == pytest.approx(0.23)


def test_an_inverter_of_which_no_limit_is_written() -> None:
    # its rated current for certain, 5 kVA / 230 V = 21.7 A; after its shutdown time it gives nothing (FORMAT.md, currents)
    inverter = "{kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA%s}"
    for text, until, collapses in (("", None, False), (", shutdown-time: 5 s", 5, True)):
        found = impedances.capability(source(inverter % text))
        assert isinstance(found, Capability) and found.lacking
        assert (f"{found.limit_a:.1f}", found.until_s, found.declared, found.collapses) == (
            "21.7",
            until,
            False,
            collapses,
        )
        assert found.lacking.what == "the fault-current of grid"
