"""Body impedance, IEC TS 60479-1:2005 and IEC 479-1:1994, IEEE 80, older touch time curves (all from memory)."""

from __future__ import annotations

import pytest
from printed import printed

from onebond.circuit.components.body import (
    IMPEDANCE_OHM,
    body_current_a,
    body_impedance_ohm,
    ieee80_current_a,
    touch_current_a,
    touch_time_s,
)

PRINTED = {
    2005: "25: 1750/3250/6100; 50: 1375/2500/4600; 75: 1125/2000/3600; 100: 990/1725/3125; 125: 900/1550/2675; "
    "150: 850/1400/2350; 175: 825/1325/2175; 200: 800/1275/2050; 225: 775/1225/1900; 400: 700/950/1275; "
    "500: 625/850/1150; 700: 575/775/1050; 1000: 575/775/1050",
    1994: "25: 1750/3250/6100; 50: 1450/2625/4375; 75: 1250/2200/3500; 100: 1200/1875/3200; 125: 1125/1625/2875; "
    "220: 1000/1350/2125; 700: 750/1100/1550; 1000: 700/1050/1500",
}
CASES = [(edition, *row.split(":")) for edition, text in PRINTED.items() for row in text.split(";")]


@pytest.mark.parametrize(("edition", "volts", "row"), CASES)
def test_table(edition: int, volts: str, row: str) -> None:
    assert [body_impedance_ohm(float(volts), share, edition) for share in (5, 50, 95)] == [
        float(one) for one in row.split("/")
    ]
    assert sum(len(table) for table in IMPEDANCE_OHM.values()) == len(CASES)


def test_between_the_printed_voltages() -> None:
    assert body_impedance_ohm(62.5) == 2250
    impedances = [body_impedance_ohm(volts) for volts in range(25, 1001, 5)]
    assert impedances == sorted(impedances, reverse=True)


def test_currents() -> None:
    assert body_current_a(50) == 0.020
    # "About 187 mA" at 230 V by interpolation; straight lines from 225 V give 189 mA.
    assert body_current_a(230) * 1e3 == pytest.approx(187, rel=0.015)


@pytest.mark.parametrize("volts", [24.9, 1001, float("nan")])
def test_outside(volts: float) -> None:
    with pytest.raises(ValueError, match="voltage across the body"):
        body_impedance_ohm(volts)


@pytest.mark.parametrize(("seconds", "of_50_kg", "of_70_kg"), [(0.4, "183.4", "248.2"), (1, "116", "157")])
def test_ieee_80(seconds: float, of_50_kg: str, of_70_kg: str) -> None:
    assert printed(ieee80_current_a(seconds) * 1e3, of_50_kg) == of_50_kg
    assert printed(ieee80_current_a(seconds, 70) * 1e3, of_70_kg) == of_70_kg


def test_115_v_across_1_kohm() -> None:
    assert touch_current_a(115, 0) == 0.115
    assert touch_current_a(115, 1000) == 0.0575
    assert touch_current_a(115, 1000j) == pytest.approx(0.115 / 2**0.5)


CURVES = {
    "dry": ((50, None), (51, 0.60), (75, 0.60), (76, 0.45), (90, 0.45), (120, 0.34), (150, 0.27), (220, 0.17), (280, 0.12),
            (350, 0.08), (500, 0.04)),
    "wet": ((25, None), (50, 0.48), (75, 0.30), (90, 0.25), (110, 0.18), (150, 0.10), (220, 0.05), (280, 0.02)),
}  # fmt: skip


@pytest.mark.parametrize(
    ("skin", "volts", "seconds"), [(skin, *point) for skin, row in CURVES.items() for point in row]
)
def test_touch_time(skin: str, volts: float, seconds: float | None) -> None:
    assert touch_time_s(volts, skin) == seconds
