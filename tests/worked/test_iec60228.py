"""IEC 60228, R1 + R2 and temperature.  Seen in four makers' catalogues, a distributor's table, a guide of 2008."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.conductors import (
    ALUMINIUM_CLASS_2_OHM_KM,
    COPPER_CLASS_2_OHM_KM,
    COPPER_CLASS_5_OHM_KM,
    armour_ohm_km,
    core_impedance_ohm,
    dc_resistance_ohm_km,
    line_and_pe_ohm_km,
    parallel_runs_ohm,
    reactance_ohm_km,
    temperature_factor,
)

# mm2 class 2 copper | class 5 copper | class 2 aluminium
CATALOGUE = """
0.5 36.0|39.0|- ; 0.75 24.5|26.0|- ; 1 18.1|19.5|- ; 1.5 12.1|13.3|- ; 2.5 7.41|7.98|- ; 4 4.61|4.95|- ; 6 3.08|3.30|- ;
10 1.83|1.91|3.08 ; 16 1.15|1.21|1.91 ; 25 0.727|0.780|1.20 ; 35 0.524|0.554|0.868 ; 50 0.387|0.386|0.641 ;
70 0.268|0.272|0.443 ; 95 0.193|0.206|0.320 ; 120 0.153|0.161|0.253 ; 150 0.124|0.129|0.206 ; 185 0.0991|0.106|0.164 ;
240 0.0754|0.0801|0.125 ; 300 0.0601|0.0641|0.100 ; 400 0.0470|0.0486|0.0778 ; 500 0.0366|0.0384|0.0605 ;
630 0.0283|0.0287|0.0469
"""
R1_R2 = (
    "1/1 36.2; 1.5/1 30.2; 1.5/1.5 24.2; 2.5/1 25.51; 2.5/1.5 19.51; 2.5/2.5 14.82; 4/1.5 16.71; 4/2.5 12.02; 4/4 9.22; "
    "6/2.5 10.49; 6/4 7.69; 6/6 6.16; 10/4 6.44; 10/6 4.91; 10/10 3.66; 16/6 4.23; 16/10 2.98; 16/16 2.30; 25/10 2.557; "
    "25/16 1.877; 25/25 1.454; 35/16 1.674; 35/25 1.251; 35/35 1.048; 50/50 0.774; 70/70 0.536; 95/95 0.386; 120/120 0.306"
)


def rows() -> list[tuple[float, tuple[str, str, str]]]:
    parts = (row.split() for row in CATALOGUE.split(";"))
    return [(float(size), tuple(values.split("|"))) for size, values in parts]  # type: ignore[misc]


@pytest.mark.parametrize(("size", "values"), rows())
def test_catalogue(size: float, values: tuple[str, str, str]) -> None:
    class_2, class_5, aluminium = values
    assert dc_resistance_ohm_km(size) == float(class_2)
    assert dc_resistance_ohm_km(size, conductor_class=5) == float(class_5)
    assert dc_resistance_ohm_km(size, conductor_class=6) == float(class_5)
    if aluminium != "-":
        assert dc_resistance_ohm_km(size, "aluminium") == float(aluminium)


def test_nothing_is_missing_or_too_much() -> None:
    sizes = [size for size, _ in rows()]
    assert list(COPPER_CLASS_2_OHM_KM) == list(COPPER_CLASS_5_OHM_KM) == sizes
    assert list(ALUMINIUM_CLASS_2_OHM_KM) == [size for size, values in rows() if values[2] != "-"]


@pytest.mark.parametrize(
    ("size", "ohm_km"), [(1.5, 12.1), (150, 0.124), (185, 0.101), (240, 0.0775), (300, 0.0620), (400, 0.0465)]
)
def test_solid_copper_differs_above_150(size: float, ohm_km: float) -> None:
    assert dc_resistance_ohm_km(size, conductor_class=1) == ohm_km


def test_flexible_50_is_below_stranded_50() -> None:
    assert dc_resistance_ohm_km(50, conductor_class=5) < dc_resistance_ohm_km(50)


def test_630_is_not_the_old_value() -> None:
    assert dc_resistance_ohm_km(630) == 0.0283  # a guide of 2008 prints 0.0221


@pytest.mark.parametrize(("pair", "milliohm_m"), [row.split() for row in R1_R2.split("; ")])
def test_r1_plus_r2(pair: str, milliohm_m: str) -> None:
    line, pe = map(float, pair.split("/"))
    assert printed(line_and_pe_ohm_km(line, pe), milliohm_m) == milliohm_m


# 50 m (guide of 2008)
@pytest.mark.parametrize(("line", "pe", "ohm"), [(2.5, 1.5, "0.98"), (6, 2.5, "0.52"), (16, 6, "0.211")])
def test_fifty_metres(line: float, pe: float, ohm: str) -> None:
    total = core_impedance_ohm(line, 50) + core_impedance_ohm(pe, 50)
    # 0.2115 is printed 0.211: half a unit of the last digit either way.
    assert abs(total.real - float(ohm)) <= 0.5 * 10 ** -len(ohm.partition(".")[2]) + 1e-9


FACTORS = [(30, "1.039", "1.04"), (55, "1.138", "1.14"), (65, "1.177", "1.18"), (70, "1.197", "1.20"),
           (75, "1.216", "1.22"), (80, "1.236", "1.24"), (90, "1.275", "1.28")]  # fmt: skip


@pytest.mark.parametrize(("temperature_c", "exact", "rounded"), FACTORS)
def test_temperature(temperature_c: float, exact: str, rounded: str) -> None:
    assert printed(round(temperature_factor(temperature_c), 9), exact) == exact
    assert printed(round(temperature_factor(temperature_c, practice="rounded"), 9), rounded) == rounded
    assert temperature_factor(temperature_c) == pytest.approx((234.5 + temperature_c) / 254.5, abs=2e-4)


# A cable maker's inverse factors (seen).
@pytest.mark.parametrize(("temperature_c", "inverse"), [(5, "1.064"), (30, "0.962"), (70, "0.833"), (90, "0.781")])
def test_inverse_temperature_table(temperature_c: float, inverse: str) -> None:
    assert printed(1 / temperature_factor(temperature_c, practice="rounded"), inverse) == inverse


def test_aluminium_has_its_own_coefficient() -> None:
    assert temperature_factor(70, "aluminium") == pytest.approx(1.2015)


# Guide of 2008, table 4.4: two-, three-, four-core.
@pytest.mark.parametrize(
    ("size", "ohm_km"), [(1.5, (10.2, 9.5, 8.8)), (2.5, (8.8, 8.2, 7.7)), (4, (7.9, 7.5, 6.8)), (6, (7.0, 6.7, 4.3))]
)
def test_armour(size: float, ohm_km: tuple[float, ...]) -> None:
    assert tuple(armour_ohm_km(size, cores) for cores in (2, 3, 4)) == ohm_km


def test_reactance_and_parallel_runs() -> None:
    assert reactance_ohm_km("multicore") == reactance_ohm_km("trefoil") == 0.08  # seen
    assert reactance_ohm_km("busbar") == 0.15  # seen
    assert reactance_ohm_km("separate-pe") >= 0.3  # from memory
    assert parallel_runs_ohm(0.2 + 0.1j, 2) == 0.1 + 0.05j
    assert core_impedance_ohm(300, 60, runs=2) == pytest.approx(core_impedance_ohm(300, 30))
