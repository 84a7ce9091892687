"""Earth faults from a description to the disconnection time, against numbers worked by hand and by books.

Each site is a few lines; the expected value stands with its source and in the source's rounding.
"""

from __future__ import annotations

import math

import pytest

from onebond.document import parse
from onebond.facts import EarthFault, Facts
from onebond.facts.unknown import Unknown
from onebond.reading import read

ONE_CIRCUIT = """\
onebond: 1
site: {name: One circuit, rulebook: iec, stage: STAGE}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}}
connections:
  service:
    {from: grid, to: main, cores: L1 N PE, size: 16 mm2, pe-size: 16 mm2, length: 0 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, pe-size: 1.5 mm2, length: 30 m, through: [{kind: mcb, curve: B, rating: 20 A}]}
"""

TT = """\
onebond: 1
site: {name: TT, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 10 ohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 0 m, through: [{kind: rcd, residual: RESIDUAL}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 0 m}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""

INVERTER = """\
onebond: 1
site: {name: Inverter, rulebook: iec, stage: draft}
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, fault-current: {limit: LIMIT}}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 56.230 m, through: [{kind: mcb, curve: B, rating: RATING}]}
electrodes: {rod: {at: main, resistance: 30 ohm}}
"""

IT = """\
onebond: 1
site: {name: IT, rulebook: iec, stage: draft}
sources:
  set:
    kind: generator
    phases: L1
    voltage: 230 V
    rating: 50 kVA
    earthing: IT
    subtransient-reactance: 1 %
    sustained-fault-current: {limit: 20 x rated, for: 10 s}
boards: {main: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m, through: [{kind: mcb, curve: C, rating: 63 A}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 28.115 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes: {rod: {at: main, resistance: 5 ohm}}
monitors: {imd: {at: main, impedance: 23 kohm}}
"""


def faults(text: str) -> dict[str, EarthFault]:
    """The faults of a site with one case, by place."""
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None and not problems, problems
    found = Facts(installation, installation.rulebook).earth_faults
    assert len({fault.island for fault in found}) == 1
    return {fault.point.written: fault for fault in found}


def test_a_book_example_from_end_to_end() -> None:
    # Linsley, "Basic Electrical Installation Work", p. 248 (seen): 0.5 ohm outside, 30 m of 2.5/1.5 mm2: 0.585 ohm cold, x 1.20:
    # 1.20 ohm, 191 A
    fault = faults(ONE_CIRCUIT.replace("STAGE", "design"))["load"]
    assert f"{fault.loop_ohm:.2f}" == "1.20"
    assert f"{fault.current_a():.0f}" == "191"
    assert fault.system == "TN" and fault.table_s == 0.4
    # B20 needs 100 A, so it operates within 0.1 s (IEC 60898-1 table 7)
    assert fault.cleared().trip.within(0.4) == "certain"
    assert fault.cleared().by == "the mcb in load"


def test_the_minimum_voltage_factor_lowers_the_current() -> None:
    fault = faults(ONE_CIRCUIT.replace("STAGE", "design"))["load"]
    assert fault.current_a(0.95) == pytest.approx(0.95 * fault.current_a())


def test_the_touch_voltage_is_the_share_of_the_way_back() -> None:
    # 0.25 ohm of the supplier's half and 1.5 mm2 x 30 m warm = 0.4356 ohm of PE, of 230 V over 1.2024 ohm (by hand)
    fault = faults(ONE_CIRCUIT.replace("STAGE", "design"))["load"]
    touch = fault.touch_v()
    assert touch is not None and touch == pytest.approx(230 * (0.25 + 12.1 * 30e-3 * 1.2) / fault.loop_ohm, rel=2e-5)
    # Mitolo, equal line and PE: half of the voltage at the board
    assert faults(ONE_CIRCUIT.replace("STAGE", "design"))["main"].touch_v() == pytest.approx(115.0)


def test_a_length_that_is_not_written_is_named_and_opens_only_what_rests_on_it() -> None:
    found = faults(ONE_CIRCUIT.replace("STAGE", "design").replace("length: 30 m, ", ""))
    with pytest.raises(Unknown) as caught:
        _ = found["load"].loop_ohm
    assert caught.value.what == "the length of load"
    assert found["main"].loop_ohm == pytest.approx(0.5)


def test_as_built_wants_the_size_of_the_pe() -> None:
    text = ONE_CIRCUIT.replace("pe-size: 1.5 mm2, ", "")
    assert faults(text.replace("STAGE", "design"))["load"].loop_ohm > 1
    with pytest.raises(Unknown, match="pe-size of load"):
        _ = faults(text.replace("STAGE", "as-built"))["load"].loop_ohm


def test_a_size_that_no_table_has_is_refused_in_words() -> None:
    text = ONE_CIRCUIT.replace("STAGE", "design").replace("size: 2.5 mm2", "size: 3 mm2")
    with pytest.raises(Unknown, match="3 is not one of"):
        _ = faults(text)["load"].loop_ohm


def test_tt_by_a_guide() -> None:
    # Electrical Installation Guide, figure F10 (from memory): 230 V, 10 and 20 ohm: 7.7 A, 154 V (exactly 153.3)
    fault = faults(TT.replace("RESIDUAL", "300 mA"))["load"]
    touch = fault.touch_v()
    assert f"{fault.current_a():.1f}" == "7.7"
    assert touch is not None and round(touch) in (153, 154)
    assert fault.system == "TT" and fault.table_s == 0.2
    # 7.67 A is more than 5 x 300 mA: 40 ms (IEC 61008-1)
    assert fault.cleared().trip.certain_s == 0.04


def test_an_rcd_that_sees_too_little_is_not_certain() -> None:
    fault = faults(TT.replace("RESIDUAL", "10 A"))["load"]
    assert fault.cleared().trip.within(1.0) == "possible"


# Case 8.11 of our own: 5 kVA, 230 V, 0.5 ohm of line and of PE: (times rated, current, touch voltage, rounded as there)
@pytest.mark.parametrize(
    ("times", "current", "touch"), [(1.2, 26.1, 13.0), (1.5, 32.6, 16.3), (2, 43.5, 21.7), (3, 65.2, 32.6)]
)
def test_a_limited_source(times: float, current: float, touch: float) -> None:
    fault = faults(INVERTER.replace("LIMIT", f"{times} x rated").replace("RATING", "16 A"))["load"]
    seen = fault.touch_met_v()
    assert fault.current_a() == pytest.approx(current, abs=0.05)
    assert seen is not None and seen == pytest.approx(touch, abs=0.1)
    cleared = fault.cleared()
    assert cleared.limited_by == "inv"
    # below 5 x 16 A the magnetic release is not certain
    assert cleared.trip.within(0.4) != "certain"


def test_a_small_breaker_operates_on_a_limited_source() -> None:
    # B6: 65.2 A is 10.9 x rated
    fault = faults(INVERTER.replace("LIMIT", "3 x rated").replace("RATING", "6 A"))["load"]
    assert fault.cleared().trip.within(0.4) == "certain"


def test_a_source_that_collapses_clears_the_fault_itself() -> None:
    text = INVERTER.replace("LIMIT", "2 x rated, for: 100 ms").replace("RATING", "16 A")
    cleared = faults(text)["load"].cleared()
    assert (cleared.trip.certain_s, cleared.by) == (0.1, "inv itself")


def test_an_undeclared_limit_is_asked_for() -> None:
    text = INVERTER.replace(", fault-current: {limit: LIMIT}", "").replace("RATING", "16 A")
    cleared = faults(text)["load"].cleared()
    assert cleared.trip.within(0.4) != "certain"
    assert cleared.lacking is not None and cleared.lacking.what == "the fault-current of inv"


def test_the_first_fault_of_an_it_system_is_small() -> None:
    fault = faults(IT)["load"]
    # only the monitor ties it: 230 V / 23 kohm = 10 mA; x 5 ohm = 50 mV (by hand)
    touch = fault.touch_v()
    assert fault.system == "IT"
    assert fault.current_a() == pytest.approx(0.010, rel=1e-3)
    assert touch is not None and touch < 1.0


def test_the_second_fault_has_half_the_current() -> None:
    # by hand: 28.115 m of 2.5 mm2 warm: 0.25 ohm for L and 0.25 ohm for PE; j0.0106 ohm of the set and j0.0045 ohm of the cable;
    # two faults in series: 230 V / (2 x 0.5 ohm) = 230 A (IEC 60364-4-41, 411.6.4, from memory)
    fault = faults(IT)["load"]
    assert fault.second is not None
    z = complex(2 * 7.41e-3 * 28.115 * 1.2, 2 * 0.08e-3 * 28.115 + 0.01 * 230**2 / 50e3)
    assert fault.second[0] == pytest.approx(230 / (2 * abs(z)), rel=1e-6)
    assert round(fault.second[0]) == pytest.approx(230, abs=1)
    assert fault.cleared(second=True).trip.within(0.4) == "certain"


def test_the_supplier_of_a_pen_of_half_the_area() -> None:
    # Mitolo, "Electrical Safety of Low-Voltage Systems", eq. 8.3: PEN of twice the impedance: 2/3 of 230 V = 153.3 V.
    # 35 mm2 and a PEN of 16 mm2 would be 1.15 / 0.524 = 2.195 times; 50 mm2 and 25 mm2: 0.727 / 0.387 = 1.879: by hand
    text = """\
onebond: 1
site: {name: PEN, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.01 mohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN, size: 50 mm2, n-size: 25 mm2, length: 1000 m}
circuits: {load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 0 m}}
bonds: {link: {at: main}}
"""
    touch = faults(text)["main"].touch_v()
    line, pen = complex(0.387 * 1.2, 0.08), complex(0.727 * 1.2, 0.08)
    assert touch is not None and touch == pytest.approx(230 * abs(pen) / abs(line + pen), rel=1e-4)
    assert math.isclose(touch, 150, abs_tol=1.5)
