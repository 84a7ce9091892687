"""NEC chapter 9 tables 8 and 9, and American sizes (seen: web copies; stranded 14-8, table 9 above 300 kcmil from memory)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.conductors import (
    KM_PER_KFT,
    american_mm2,
    american_size,
    awg_mm2,
    circular_mils_cmil,
    dc_resistance_ohm_km,
    nec_ac_ohm_km,
    nec_dc_ohm_km,
    nec_temperature_factor,
    temperature_factor,
)

AREAS = [("14", "2.081"), ("12", "3.309"), ("10", "5.261"), ("8", "8.366"), ("6", "13.30"), ("4", "21.15"),
         ("3", "26.67"), ("2", "33.63"), ("1", "42.41"), ("1/0", "53.48"), ("2/0", "67.43"), ("3/0", "85.03"),
         ("4/0", "107.2"), ("250", "126.7"), ("300", "152.0"), ("350", "177.3"), ("400", "202.7"), ("500", "253.4"),
         ("750", "380.0")]  # fmt: skip
MILS = [("14", 4110), ("12", 6530), ("10", 10380), ("8", 16510), ("6", 26240), ("4", 41740), ("3", 52620), ("2", 66360),
        ("1", 83690), ("1/0", 105600), ("2/0", 133100), ("3/0", 167800), ("4/0", 211600)]  # fmt: skip
TABLE_8 = """
12 1.98 3.25; 14 3.14 5.17; 10 1.24 2.04; 8 0.778 1.28; 6 0.491 0.808; 4 0.308 0.508; 3 0.245 0.403; 2 0.194 0.319;
1 0.154 0.253; 1/0 0.122 0.201; 2/0 0.0967 0.159; 3/0 0.0766 0.126; 4/0 0.0608 0.100; 250 0.0515 0.0847;
300 0.0429 0.0707; 350 0.0367 0.0605; 400 0.0321 0.0529; 500 0.0258 0.0424
"""
SOLID = "14 3.07 5.06; 12 1.93 3.18; 10 1.21 2.00; 8 0.764 1.26"
# size: XL PVC/steel; copper PVC/aluminium/steel; aluminium PVC/aluminium/steel
TABLE_9 = """
14 .058/.073;3.1/3.1/3.1;- | 12 .054/.068;2.0/2.0/2.0;3.2/3.2/3.2 | 10 .050/.063;1.2/1.2/1.2;2.0/2.0/2.0 |
8 .052/.065;.78/.78/.78;1.3/1.3/1.3 | 6 .051/.064;.49/.49/.49;.81/.81/.81 | 4 .048/.060;.31/.31/.31;.51/.51/.51 |
3 .047/.059;.25/.25/.25;.40/.41/.40 | 2 .045/.057;.19/.20/.20;.32/.32/.32 | 1 .046/.057;.15/.16/.16;.25/.26/.25 |
1/0 .044/.055;.12/.13/.12;.20/.21/.20 | 2/0 .043/.054;.10/.10/.10;.16/.16/.16 |
3/0 .042/.052;.077/.082/.079;.13/.13/.13 | 4/0 .041/.051;.062/.067/.063;.10/.11/.10 |
250 .041/.052;.052/.057/.054;.085/.090/.086 | 300 .041/.051;.044/.049/.045;.071/.076/.072 |
350 .040/.050;.038/.043/.039;.061/.066/.063 | 400 .040/.049;.033/.038/.035;.054/.059/.055 |
500 .039/.048;.027/.032/.029;.043/.048/.045 | 600 .039/.048;.023/.028/.025;.036/.041/.038 |
750 .038/.048;.019/.024/.021;.029/.034/.031 | 1000 .037/.046;.015/.019/.018;.023/.027/.025
"""


@pytest.mark.parametrize(("size", "mm2"), AREAS)
def test_areas(size: str, mm2: str) -> None:
    assert printed(american_mm2(size), mm2) == mm2
    assert american_size(float(mm2)) == size


def test_gauges_below_1_are_the_noughts() -> None:
    assert [awg_mm2(gauge) for gauge in (0, -1, -2, -3)] == [american_mm2(one) for one in ("1/0", "2/0", "3/0", "4/0")]


@pytest.mark.parametrize("mm2", [2.5, 4, 10, 16, 35, 50, 70])
def test_metric_sizes_are_not_american_ones(mm2: float) -> None:
    with pytest.raises(ValueError, match="American"):
        american_size(mm2)


@pytest.mark.parametrize(("size", "mils"), MILS)
def test_circular_mils(size: str, mils: int) -> None:
    assert circular_mils_cmil(size) == mils
    assert american_mm2(size) == pytest.approx(mils * 0.50671e-3, rel=1.5e-3)


@pytest.mark.parametrize("row", TABLE_8.split(";"))
def test_table_8_stranded(row: str) -> None:
    size, copper, aluminium = row.split()
    assert nec_dc_ohm_km(size) * KM_PER_KFT == pytest.approx(float(copper))
    assert nec_dc_ohm_km(size, "aluminium") * KM_PER_KFT == pytest.approx(float(aluminium))


@pytest.mark.parametrize("row", SOLID.split(";"))
def test_table_8_solid(row: str) -> None:
    # A web copy calls these "stranded"; a stranded conductor of the same area is longer, so it has more.
    size, copper, aluminium = row.split()
    assert nec_dc_ohm_km(size, stranded=False) * KM_PER_KFT == pytest.approx(float(copper))
    assert nec_dc_ohm_km(size, "aluminium", stranded=False) * KM_PER_KFT == pytest.approx(float(aluminium))
    assert nec_dc_ohm_km(size, stranded=False) < nec_dc_ohm_km(size)


@pytest.mark.parametrize("size", ["14", "10", "6", "2", "4/0", "300", "500", "600", "750", "1000"])
def test_table_8_is_one_resistivity(size: str) -> None:
    # 12.9 ohm and circular mil a foot for copper at 75 C, 21.2 for aluminium: also checks the rows from memory.
    mils_kft = circular_mils_cmil(size) / 1000 * KM_PER_KFT
    assert nec_dc_ohm_km(size) * mils_kft == pytest.approx(12.9, rel=0.01)
    assert nec_dc_ohm_km(size, "aluminium") * mils_kft == pytest.approx(21.2, rel=0.01)


@pytest.mark.parametrize(("size", "stranded", "ohm_km"), [("14", False, "10.07"), ("4/0", True, "0.1995")])
def test_table_8_metric(size: str, stranded: bool, ohm_km: str) -> None:
    assert printed(nec_dc_ohm_km(size, stranded=stranded), ohm_km) == ohm_km


@pytest.mark.parametrize("row", TABLE_9.split("|"))
def test_table_9(row: str) -> None:
    size, values = row.split()
    reactance, copper, aluminium = (one.split("/") for one in values.split(";"))
    for column, conduit in enumerate(("pvc", "aluminium", "steel")):
        x_ohm_kft = float(reactance[1 if conduit == "steel" else 0])
        assert nec_ac_ohm_km(size, conduit=conduit) * KM_PER_KFT == pytest.approx(
            complex(float(copper[column]), x_ohm_kft)
        )
        if aluminium != ["-"]:
            z = nec_ac_ohm_km(size, "aluminium", conduit) * KM_PER_KFT
            assert z == pytest.approx(complex(float(aluminium[column]), x_ohm_kft))


def test_table_9_has_no_14_aluminium() -> None:
    with pytest.raises(ValueError, match="no aluminium"):
        nec_ac_ohm_km("14", "aluminium")


def test_table_8_against_iec_60228() -> None:
    # 4/0 is 107.2 mm2: between 95 and 120 mm2 at 75 C.
    at_75 = temperature_factor(75)
    assert dc_resistance_ohm_km(120) * at_75 < nec_dc_ohm_km("4/0") < dc_resistance_ohm_km(95) * at_75


def test_temperature_of_the_nec() -> None:
    # From memory: 0.00323 and 0.00330 at 75 C; the same metal as 0.00393 at 20 C.
    assert 1 / nec_temperature_factor(20) == pytest.approx(temperature_factor(75), rel=2e-3)
    assert nec_temperature_factor(90, "aluminium") == pytest.approx(1.0495)
