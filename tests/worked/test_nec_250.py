"""NEC 250.66, 250.122 and 250.102(C)(1), complete (250.66, 250.122 seen in web copies; 250.102 from memory, spots seen)."""

from __future__ import annotations

import pytest

from onebond.circuit.components.conductors import CIRCULAR_MILS, circular_mils_cmil
from onebond.circuit.components.protective import (
    EQUIPMENT_GROUNDING,
    nec_bonding_jumper,
    nec_equipment_grounding_conductor,
    nec_grounding_electrode_conductor,
    nec_size_at_least,
    nec_upsized_grounding_conductor,
)

# Service copper (first and last size of the row), service aluminium, -> copper, aluminium.
ROWS_250_66 = [
    (("14", "2"), ("14", "1/0"), "8", "6"),
    (("1", "1/0"), ("2/0", "3/0"), "6", "4"),
    (("2/0", "3/0"), ("4/0", "250"), "4", "2"),
    (("4/0", "350"), ("300", "500"), "2", "1/0"),
    (("400", "600"), ("600", "900"), "1/0", "3/0"),
    (("700", "1000"), ("1000", "1750"), "2/0", "4/0"),
    (("1200", "2000"), ("2000", "2000"), "3/0", "250"),
]
LADDER = list(CIRCULAR_MILS)
CASES = [
    (size, service, copper, aluminium)
    for copper_ends, aluminium_ends, copper, aluminium in ROWS_250_66
    for service, (first, last) in (("copper", copper_ends), ("aluminium", aluminium_ends))
    for size in LADDER[LADDER.index(first) : LADDER.index(last) + 1]
]


@pytest.mark.parametrize(("size", "service", "copper", "aluminium"), CASES)
def test_250_66(size: str, service: str, copper: str, aluminium: str) -> None:
    area = circular_mils_cmil(size)
    assert nec_grounding_electrode_conductor(area, service) == copper
    assert nec_grounding_electrode_conductor(area, service, "aluminium") == aluminium


def test_every_size_of_the_ladder_was_asked() -> None:
    assert {size for size, service, *_ in CASES if service == "copper"} == set(LADDER)
    assert {size for size, service, *_ in CASES if service == "aluminium"} == set(LADDER)


# Between the sizes: parallel sets.  Exactly on the limit belongs to the row, above it to the next.
@pytest.mark.parametrize(
    ("area", "service", "size"),
    [(1_100_000, "copper", "2/0"), (1_100_001, "copper", "3/0"), (600_001, "copper", "2/0"), (350_001, "copper", "1/0"),
     (167_801, "copper", "2"), (1_750_001, "aluminium", "3/0"), (105_601, "aluminium", "6")],
)  # fmt: skip
def test_limits_of_the_rows(area: float, service: str, size: str) -> None:
    assert nec_grounding_electrode_conductor(area, service) == size


def test_caps() -> None:
    assert nec_grounding_electrode_conductor(500_000, electrode="rod") == "6"
    assert nec_grounding_electrode_conductor(500_000, material="aluminium", electrode="rod") == "4"
    assert nec_grounding_electrode_conductor(500_000, electrode="concrete") == "4"
    assert nec_grounding_electrode_conductor(4110, electrode="rod") == "8"  # a cap is no minimum


def test_1_0_aluminium_is_in_the_first_row() -> None:
    # One vendor's copy prints "1 or smaller".
    assert nec_grounding_electrode_conductor(105_600, "aluminium") == "8"


ROWS_250_122 = """
15 14/12; 20 12/10; 60 10/8; 100 8/6; 200 6/4; 300 4/2; 400 3/1; 500 2|1/0; 600 1|2/0; 800 1/0|3/0; 1000 2/0|4/0;
1200 3/0|250; 1600 4/0|350; 2000 250|400; 2500 350|600; 3000 400|600; 4000 500|750; 5000 700|1250; 6000 800|1250
"""


def rows_250_122() -> list[tuple[int, str, str]]:
    rows = []
    for row in ROWS_250_122.split(";"):
        amperes, sizes = row.split()
        copper, aluminium = sizes.split("|" if "|" in sizes else "/")
        rows.append((int(amperes), copper, aluminium))
    return rows


@pytest.mark.parametrize(("amperes", "copper", "aluminium"), rows_250_122())
def test_250_122(amperes: int, copper: str, aluminium: str) -> None:
    assert nec_equipment_grounding_conductor(amperes) == copper
    assert nec_equipment_grounding_conductor(amperes, "aluminium") == aluminium
    assert nec_equipment_grounding_conductor(amperes - 0.5) == copper


def test_250_122_has_no_other_rows() -> None:
    assert list(EQUIPMENT_GROUNDING) == [row[0] for row in rows_250_122()]


# A published list: 110 to 200 A all take 6 AWG.
@pytest.mark.parametrize("amperes", [110, 125, 150, 175, 200])
def test_250_122_rounds_up_between_rows(amperes: int) -> None:
    assert nec_equipment_grounding_conductor(amperes) == "6"


# From memory: aluminium in older editions.
@pytest.mark.parametrize(("amperes", "older"), [(3000, "600"), (4000, "800"), (5000, "1200"), (6000, "1200")])
def test_250_122_aluminium_by_edition(amperes: int, older: str) -> None:
    assert nec_equipment_grounding_conductor(amperes, "aluminium", "older") == older
    assert nec_equipment_grounding_conductor(amperes, "copper", "older") == nec_equipment_grounding_conductor(amperes)


def test_250_122_ends_at_6000() -> None:
    with pytest.raises(ValueError, match="6001 A is outside"):
        nec_equipment_grounding_conductor(6001)


def test_upsizing_on_the_knife_edge() -> None:
    # 60 A, 6 -> 4 AWG: 16511.5 against 16510 circular mils; the published example says 8 AWG.
    assert pytest.approx(16511.5, abs=0.1) == 41740 / 26240 * 10380
    assert nec_upsized_grounding_conductor("10", 26240, 41740) == "8"
    assert nec_upsized_grounding_conductor("10", 26240, 41740 * 1.002) == "6"
    assert nec_upsized_grounding_conductor("10", 26240, 26240) == "10"


@pytest.mark.parametrize(("size", "service", "copper", "aluminium"), [case for case in CASES if case[2] != "3/0"])
def test_250_102(size: str, service: str, copper: str, aluminium: str) -> None:
    area = circular_mils_cmil(size)
    assert nec_bonding_jumper(area, service) == copper
    assert nec_bonding_jumper(area, service, "aluminium") == aluminium


# Spots that were seen.
@pytest.mark.parametrize(
    ("area", "copper"), [(250_000, "2"), (2 * 167_800, "2"), (3 * 250_000, "2/0"), (500_000, "1/0")]
)
def test_250_102_spots(area: float, copper: str) -> None:
    assert nec_bonding_jumper(area) == copper


def test_250_102_spot_in_aluminium() -> None:
    assert nec_bonding_jumper(2 * 167_800, "copper", "aluminium") == "1/0"


def test_250_102_above_the_table() -> None:
    assert nec_bonding_jumper(3 * 500_000) == "4/0"  # 12.5 % of 1500 kcmil is 187.5 kcmil
    assert nec_bonding_jumper(1_100_001) == "3/0"
    assert nec_bonding_jumper(2_000_000, "aluminium", "aluminium") == "250"
    with pytest.raises(ValueError, match="same material"):
        nec_bonding_jumper(1_500_000, "copper", "aluminium")


def test_next_size() -> None:
    assert [nec_size_at_least(area) for area in (1, 4110, 4111, 211_600, 211_601)] == ["14", "14", "12", "4/0", "250"]
