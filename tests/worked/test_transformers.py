"""Transformer examples of the "Electrical Installation Guide" (seen: wiki page; figure G35 from memory) and a published sheet."""

from __future__ import annotations

import cmath
import math

import pytest
from printed import printed

from onebond.circuit.components.conductors import parallel_runs_ohm
from onebond.circuit.components.transformers import (
    TYPICAL_MOHM,
    correction_factor,
    impedance_ohm,
    rated_current_a,
    short_circuit_a,
    typical_impedance_ohm,
    voltage_factor,
    zero_sequence_ohm,
)
from onebond.circuit.components.utilities import (
    declared_maximum_uk_ohm,
    network_impedance_ohm,
    phase_impedance_ohm,
    return_impedance_ohm,
    source_impedance_ohm,
    split_loop_ohm,
)


def test_400_kva() -> None:
    # 420 V, 4 %: 550 A, 13.7 kA (exactly 549.86 A, 13.746 kA, 17.64 milliohm)
    assert printed(rated_current_a(400e3, 420), "550") == "550"
    assert printed(short_circuit_a(400e3, 420, 0.04) / 1e3, "13.7") == "13.7"
    assert printed(short_circuit_a(400e3, 420, 0.04) / 1e3, "13.746") == "13.746"
    assert printed(abs(impedance_ohm(400e3, 420, 0.04)) * 1e3, "17.64") == "17.64"


def test_network_transformer_and_cables_in_a_chain() -> None:
    # A published calculation sheet (seen), 380 V; its transformer is a pure reactance.
    network = network_impedance_ohm(500e6, 380)
    transformer = impedance_ohm(2000e3, 380, 0.0575)
    short = parallel_runs_ohm(5e-3 * complex(0.0812, 0.090), 4)
    long = parallel_runs_ohm(60e-3 * complex(0.0812, 0.090), 2)
    assert printed(abs(network) * 1e3, "0.2888") == "0.2888"
    assert abs(transformer) * 1e3 == pytest.approx(4.1515, abs=1e-4)
    for parts, milliohm, kiloampere in (
        ((network, transformer), "4.4403", "49.41"),
        ((network, transformer, short), "4.5539", "48.18"),
        ((network, transformer, short, long), "7.6839", "28.55"),
    ):
        total = abs(sum(parts))
        assert total * 1e3 == pytest.approx(float(milliohm), abs=1.1e-4)
        assert printed(380 / math.sqrt(3) / total / 1e3, kiloampere) == kiloampere
        assert phase_impedance_ohm(380, 380 / math.sqrt(3) / total) == pytest.approx(total)


TYPICAL = """
100 37.9/59.5/70.6; 160 16.2/41.0/44.1; 200 11.9/33.2/35.3; 250 9.2/26.7/28.2; 315 6.2/21.5/22.4; 400 5.1/16.9/17.6;
500 3.8/13.6/14.1; 630 2.9/10.8/11.2; 800 2.9/12.9/13.2; 1000 2.3/10.3/10.6; 1250 1.8/8.3/8.5; 1600 1.4/6.5/6.6;
2000 1.1/5.2/5.3
"""


@pytest.mark.parametrize("row", TYPICAL.split(";"))
def test_typical_transformers(row: str) -> None:
    rating, values = row.split()
    r, x, z = map(float, values.split("/"))
    assert TYPICAL_MOHM[int(rating)][:3] == (r, x, z)
    assert typical_impedance_ohm(int(rating)) * 1e3 == pytest.approx(complex(r, x))
    # Z = u U^2 / S and R^2 + X^2 = Z^2 (recomputed)
    assert abs(impedance_ohm(float(rating) * 1e3, 420, TYPICAL_MOHM[int(rating)][3] / 100)) * 1e3 == pytest.approx(
        z, abs=0.06
    )
    assert math.hypot(r, x) == pytest.approx(z, abs=0.1)


def test_small_transformers_are_no_pure_reactance() -> None:
    assert len(TYPICAL_MOHM) == len(TYPICAL.split(";"))
    small = typical_impedance_ohm(100)
    assert printed(small.imag / small.real, "1.6") == "1.6"


# IEC 60909-0 table 1 (2016 seen)
@pytest.mark.parametrize(
    ("network", "extreme", "edition", "c"),
    [("low-6", "max", "2016", 1.05), ("low-10", "max", "2016", 1.10), ("low-6", "min", "2016", 0.95),
     ("low-10", "min", "2016", 0.90), ("high", "max", "2016", 1.10), ("high", "min", "2016", 1.00),
     ("low-10", "min", "2001", 0.95)],
)  # fmt: skip
def test_voltage_factors(network: str, extreme: str, edition: str, c: float) -> None:
    assert voltage_factor(network, extreme, edition) == c


# pandapower 3.5.6, run once for the figures: 20 kV 500 MVA R/X 0.1; 400 kVA Dyn 4 % with 1.425 %; 50 m of 35 mm2, PE equal to the line.
@pytest.mark.parametrize(
    ("network", "bus_3", "bus_1", "end_3", "end_1"),
    [("low-6", 15.2030, 15.3119, 6.5524, 3.8914), ("low-10", 15.2178, 15.3218, 6.7574, 4.0441)],
)
def test_maximum_fault_currents_of_an_independent_program(
    network: str, bus_3: float, bus_1: float, end_3: float, end_1: float
) -> None:
    c = voltage_factor(network, "max")
    grid = network_impedance_ohm(500e6, 20e3, voltage_factor("high", "max"), 0.1) * (400 / 20e3) ** 2
    raw = impedance_ohm(400e3, 400, 0.04, 0.01425)
    transformer = raw * correction_factor(raw.imag * 400e3 / 400**2, c)
    cable = 0.05 * complex(0.524, 0.08)
    zero = zero_sequence_ohm(transformer, "Dyn")
    driving_v = c * 400 / math.sqrt(3)
    assert driving_v / abs(grid + transformer) / 1e3 == pytest.approx(bus_3, rel=1e-4)
    assert 3 * driving_v / abs(2 * (grid + transformer) + zero) / 1e3 == pytest.approx(bus_1, rel=1e-4)
    assert driving_v / abs(grid + transformer + cable) / 1e3 == pytest.approx(end_3, rel=1e-4)
    single = 2 * (grid + transformer + cable) + zero + 4 * cable
    assert 3 * driving_v / abs(single) / 1e3 == pytest.approx(end_1, rel=1e-4)


def test_supplies() -> None:
    assert source_impedance_ohm(230, 3200) == 230 / 3200
    assert source_impedance_ohm(230, 1000, 0.95) == pytest.approx(0.2185)
    assert declared_maximum_uk_ohm("TN-C-S") == 0.35  # seen
    assert declared_maximum_uk_ohm("TT") == 21  # seen: forum
    assert split_loop_ohm(0.3, 2) == pytest.approx((0.1, 0.2))  # PEN of half the area, Mitolo eq. 8.3 (seen)
    assert 220 * split_loop_ohm(0.3, 2)[1] / 0.3 == pytest.approx(220 * 2 / 3)
    with pytest.raises(ValueError, match="not less than its whole loop"):
        return_impedance_ohm(0.35, 0.35)


def test_resistance_ratio_of_the_network() -> None:
    z = network_impedance_ohm(500e6, 20e3, 1.1, 0.1)
    assert z.real / z.imag == pytest.approx(0.1)
    assert abs(z) == pytest.approx(1.1 * 20e3**2 / 500e6)
    assert cmath.phase(z) > 1.4
