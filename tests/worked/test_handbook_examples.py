"""Examples of textbooks and guides as small circuits: solved conductor by conductor, compared with what the source prints.

What could be read in the source is marked *seen*; *from memory* has not been checked against the page; *recomputed* has no page,
the figures follow from the definition.  Examples that an independent engine has been through go through it here again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import pytest
from printed import printed

from circuits import volts
from onebond.circuit.components.capacitance import admittance, floating_reading_v, meter_ohm
from onebond.circuit.components.conductors import core_impedance_ohm, dc_resistance_ohm_km
from onebond.circuit.components.inverters import limit_a, rated_current_a
from onebond.circuit.components.utilities import split_loop_ohm
from onebond.circuit.devices import mcb_trip, rcd_trip
from onebond.circuit.limits_table import largest_loop_ohm, supplementary_bonding_ohm
from onebond.circuit.solve import Branch, Circuit, Injection, Pair, Solution, Study, merge
from test_solve_engines import by_ngspice

# The nodes of the circuits of one line: mass of earth, neutral point of the source, line and frame at the far end.
EARTH, STAR, LINE, FRAME = range(4)
FAULT = (LINE, FRAME)


def joined(circuit: Circuit, pairs: Sequence[Pair]) -> tuple[Circuit, list[int]]:
    """The circuit with dead joints between some nodes, and the new number of each node."""
    labels = merge(circuit.size, pairs)
    branches = tuple(one._replace(a=labels[one.a], b=labels[one.b]) for one in circuit.branches)
    return Circuit(max(labels) + 1, branches, labels[circuit.earth]), labels


def same_as_ngspice(circuit: Circuit, solution: Solution, folder: Path, joints: Sequence[Pair] = ()) -> None:
    """Every voltage and every current of a solution is what ngspice finds in the circuit with dead joints."""
    whole, labels = joined(circuit, joints)
    other = by_ngspice(whole, folder)
    wanted_v = [other.voltages_v[label] for label in labels]
    assert solution.voltages_v == pytest.approx(wanted_v, rel=1e-8, abs=1e-8 * max(map(abs, wanted_v)))
    assert solution.currents_a == pytest.approx(other.currents_a, rel=1e-8, abs=1e-8 * max(map(abs, other.currents_a)))


# 8.1 "Basic Electrical Installation Work", a radial circuit in TN-S (inputs and 0.585 ohm seen; the rest recomputed)


def radial_in_tn(temperature_c: float) -> Circuit:
    """Ze 0.5 ohm, then 30 m of 2.5 mm2 with a PE of 1.5 mm2; line and PE of the supply are taken as equal."""
    line_ohm, pe_ohm = split_loop_ohm(0.5)
    r1, r2 = (
        core_impedance_ohm(size, 30, temperature_c=temperature_c, practice="rounded", per_length_ohm_km=0)
        for size in (2.5, 1.5)
    )
    return Circuit(
        6,
        (
            Branch(STAR, 4, line_ohm, 230),
            Branch(4, LINE, r1),
            Branch(STAR, 5, pe_ohm),
            Branch(5, FRAME, r2),
            Branch(STAR, EARTH, 10),
        ),
        EARTH,
    )


def test_radial_circuit_in_tn() -> None:
    cold, hot = (Study(radial_in_tn(temperature_c), [FAULT, (4, 5)]) for temperature_c in (20, 70))
    at_end, at_origin = cold.loops
    assert printed(at_origin.z_ohm.real, "0.5") == "0.5"
    assert printed((at_end.z_ohm - at_origin.z_ohm).real, "0.585") == "0.585"
    loop, origin = hot.loops
    assert printed((loop.z_ohm - origin.z_ohm).real, "0.702") == "0.702"
    assert printed(loop.z_ohm.real, "1.20") == "1.20"
    assert printed(abs(loop.current_a), "191") == "191"
    # The book's verdict: 1.20 ohm is less than a 20 A breaker of type B may have (2.19 ohm in today's table).
    assert printed(largest_loop_ohm(230, 100, 0.95), "2.19") == "2.19"
    assert mcb_trip(abs(loop.current_a), 20, "B").within(0.4) == "certain"


# 8.3 "Electrical Installation Guide", figure F10: TT (from memory; recomputed by ngspice)


def tt() -> Circuit:
    # The figure has electrodes alone; a microohm stands for winding and line.
    return Circuit(4, (Branch(STAR, LINE, 1e-6, 230), Branch(STAR, EARTH, 10), Branch(FRAME, EARTH, 20)), EARTH)


def test_fault_to_a_frame_in_tt(tmp_path: Path) -> None:
    current_a, during = Study(tt(), [FAULT]).under_fault(FAULT)
    assert printed(abs(current_a), "7.667") == "7.667"
    assert printed(abs(during.voltages_v[FRAME]), "153.3") == "153.3"
    # The guide rounds the current first: 7.7 A x 20 ohm = 154 V.
    assert printed(abs(current_a), "7.7") == "7.7"
    assert printed(float(printed(abs(current_a), "7.7")) * 20, "154") == "154"
    assert rcd_trip(abs(current_a), 0.3).within(0.2) == "certain"
    same_as_ngspice(tt(), during, tmp_path, [FAULT])


def test_two_electrodes_in_the_loop_trip_no_breaker() -> None:
    # 1.12 (from memory): 10 + 20 ohm, and not even the smallest breaker operates in the time of TT.
    (loop,) = Study(tt(), [FAULT]).loops
    assert mcb_trip(abs(loop.current_a), 6, "B").within(0.2) == "impossible"


# 8.4 Mitolo, "Electrical Safety of Low-Voltage Systems", eq. 8.3: PEN of half the area (seen); 8.5: its general form (recomputed)


def tn_c(return_ratio: float) -> Circuit:
    """A source without impedance, a line of 0.1 ohm, and a PEN of so many times that."""
    return Circuit(
        4, (Branch(STAR, LINE, 0.1, 230), Branch(STAR, FRAME, 0.1 * return_ratio), Branch(STAR, EARTH, 2)), EARTH
    )


@pytest.mark.parametrize(("return_ratio", "touch"), [(2, "153.3"), (1, "115")], ids=["half the area", "equal area"])
def test_touch_voltage_of_a_return_conductor(return_ratio: float, touch: str) -> None:
    _, during = Study(tn_c(return_ratio)).under_fault(FAULT)
    assert printed(abs(during.voltages_v[FRAME]), touch) == touch


@pytest.mark.parametrize("m", [0.5, 1, 2, 3, 4])
def test_touch_voltage_follows_the_ratio_of_the_areas(m: float) -> None:
    _, during = Study(tn_c(m)).under_fault(FAULT)
    assert during.voltages_v[FRAME] / 230 == pytest.approx(m / (1 + m), rel=1e-12)


# 8.6 "Electrical Installation Guide": first fault in IT (from memory; recomputed by ngspice)


def it() -> Circuit:
    """Three lines (2, 4, 5), each with a leakage capacitance of 3500 ohm to earth; the frame has an electrode of 5 ohm."""
    lines = (LINE, 4, 5)
    return Circuit(
        6,
        (
            *(Branch(STAR, node, 1e-3, volts(line)) for line, node in enumerate(lines)),
            *(Branch(node, EARTH, -3500j) for node in lines),
            Branch(FRAME, EARTH, 5),
        ),
        EARTH,
    )


def test_first_fault_in_it(tmp_path: Path) -> None:
    study = Study(it(), [FAULT])
    before = study.solution.voltages_v
    # Symmetrical without a fault: the floating neutral lies at earth.
    assert abs(before[STAR]) < 1e-6
    current_a, during = study.under_fault(FAULT)
    assert printed(abs(current_a) * 1e3, "197.1") == "197.1"
    assert printed(abs(during.voltages_v[FRAME]), "0.986") == "0.986"
    # The guide rounds the current of one line first: 230 V / 3500 ohm = 66 mA, 3 x 66 = 198 mA, times 5 ohm 0.99 V.
    assert 3 * round(230 / 3500 * 1e3) == 198
    assert printed(abs(during.voltages_v[FRAME]), "0.99") == "0.99"
    # The healthy lines rise to sqrt(3) x 230 V, less and more by what the electrode has.
    healthy = [abs(during.voltages_v[node]) for node in (4, 5)]
    assert printed(healthy[0], "397.9") == "397.9"
    assert healthy == pytest.approx([math.sqrt(3) * 230] * 2, abs=0.986)
    assert printed(abs(during.voltages_v[STAR]), "230") == "230"
    same_as_ngspice(it(), during, tmp_path, [FAULT])


# 8.11 An inverter that limits its current (our own, recomputed)


def limited(current_a: float) -> Circuit:
    """A source at its limit, R1 = 0.5 ohm to a dead fault (LINE is the frame now), R2 = 0.5 ohm back to its bonded neutral."""
    return Circuit(
        4,
        (Branch(FRAME, LINE, 0.5), Branch(LINE, STAR, 0.5), Branch(STAR, EARTH, 30)),
        EARTH,
        (Injection(STAR, FRAME, current_a, "inverter"),),
    )


@pytest.mark.parametrize(
    ("times", "amperes", "multiple", "touch"),
    [
        (1.2, "26.1", "1.63", "13.0"),
        (1.5, "32.6", "2.04", "16.3"),
        (2, "43.5", "2.72", "21.7"),
        (3, "65.2", "4.08", "32.6"),
    ],
)
def test_inverter_at_its_limit(times: float, amperes: str, multiple: str, touch: str) -> None:
    # As a voltage source it would give 230 A, so the limit holds.
    unlimited = Circuit(4, (Branch(STAR, LINE, 0.5, 230), Branch(STAR, FRAME, 0.5), Branch(STAR, EARTH, 30)), EARTH)
    (loop,) = Study(unlimited, [FAULT]).loops
    limit = limit_a(rated_current_a(5000, 230), declared_factor=times)
    assert limit is not None
    assert limit < abs(loop.current_a)
    solution = Study(limited(limit)).solution
    current_a = abs(solution.currents_a[1])
    assert printed(current_a, amperes) == amperes
    assert printed(current_a / 16, multiple) == multiple
    assert printed(abs(solution.voltages_v[LINE]), touch) == touch
    assert solution.voltages_v[STAR] == 0
    # Neither does a B16 operate for certain, nor need it: R2 is within 50 V / Ia.
    assert mcb_trip(current_a, 16, "B").within(0.4) != "certain"
    assert supplementary_bonding_ohm(current_a) > 0.5


# 6.15 Readings in a floating system of two conductors (recomputed by nodal analysis and by ngspice)


def floating(line_f: float, neutral_f: float, load_ohm: float | None) -> Circuit:
    """One source, capacitances from line and neutral to PE (the mass of earth here), a meter from the neutral to PE."""
    branches = [
        Branch(STAR, 2, 0.1, 230),
        Branch(2, EARTH, 1 / admittance(line_f)),
        Branch(STAR, EARTH, 1 / admittance(neutral_f)),
    ]
    if load_ohm is not None:
        branches.append(Branch(STAR, EARTH, load_ohm))
    return Circuit(3, tuple(branches), EARTH)


METERS = {"ideal": None, "digital": meter_ohm("digital"), "low-impedance": meter_ohm("low-impedance")}


@pytest.mark.parametrize(
    ("nanofarad", "readings"),
    [
        (4.7, {"ideal": "115.0", "digital": "114.93", "low-impedance": "1.02"}),
        (2.2, {"digital": "114.70", "low-impedance": "0.477"}),
        (1, {"digital": "113.57", "low-impedance": "0.217"}),
        (100, {"digital": "115.0", "low-impedance": "21.3"}),
    ],
)
def test_floating_source_with_equal_capacitances(nanofarad: float, readings: dict[str, str], tmp_path: Path) -> None:
    farad = nanofarad * 1e-9
    for meter, reading in readings.items():
        circuit = floating(farad, farad, METERS[meter])
        solution = Study(circuit).solution
        found_v = abs(solution.voltages_v[STAR])
        assert printed(found_v, reading) == reading
        assert found_v == pytest.approx(floating_reading_v(230, farad, farad, METERS[meter]), rel=1e-6)
        same_as_ngspice(circuit, solution, tmp_path)


def test_floating_source_with_unequal_capacitances(tmp_path: Path) -> None:
    circuit = floating(2.2e-9, 10e-9, METERS["digital"])
    solution = Study(circuit).solution
    assert printed(abs(solution.voltages_v[STAR]), "41.5") == "41.5"
    assert printed(abs(solution.voltages_v[2]), "188.6") == "188.6"
    same_as_ngspice(circuit, solution, tmp_path)


# 9.2 What the readings of a healthy and of a twice bonded run mean: 20 m with a neutral of 16 mm2 (23 milliohm) and a PE of 10 mm2
# (36.6 milliohm), 10 A of load (recomputed)

NEUTRAL_OHM, PE_OHM = (dc_resistance_ohm_km(size) * 0.02 for size in (16, 10))
PE_AT_SOURCE, LINE_END = 4, 5
N_BAR, PE_BAR = LINE, FRAME
SOURCE_BOND, FAR_BOND = (STAR, PE_AT_SOURCE), (N_BAR, PE_BAR)


def run(pe_ohm: float = PE_OHM, loaded: bool = True) -> Circuit:
    """A source and a far board, joined by N and PE; no bond yet.  Loaded or dead, with the line absent."""
    branches = [Branch(STAR, N_BAR, NEUTRAL_OHM), Branch(PE_AT_SOURCE, PE_BAR, pe_ohm), Branch(PE_AT_SOURCE, EARTH, 10)]
    if loaded:
        # The load is so chosen that 10 A flow where the neutral alone carries them.
        branches += [Branch(STAR, LINE_END, 1e-6, 230), Branch(LINE_END, N_BAR, 23 - NEUTRAL_OHM)]
    return Circuit(6 if loaded else 5, tuple(branches), EARTH)


def test_neutral_of_a_healthy_run() -> None:
    assert printed(NEUTRAL_OHM * 1e3, "23") == "23"
    circuit, labels = joined(run(), [SOURCE_BOND])
    solution = Study(circuit).solution
    assert printed(abs(solution.voltages_v[labels[N_BAR]] - solution.voltages_v[labels[PE_BAR]]), "0.23") == "0.23"
    assert abs(solution.currents_a[1]) < 1e-9


def test_continuity_between_neutral_and_pe_of_a_dead_run() -> None:
    circuit, labels = joined(run(loaded=False), [SOURCE_BOND])
    (loop_ohm,) = Study(circuit, [(labels[N_BAR], labels[PE_BAR])]).impedances_ohm
    assert printed(loop_ohm.real * 1e3, "59.6") == "59.6"


def test_continuity_without_any_bond_is_that_of_the_insulation() -> None:
    # Nothing but 1.2 Mohm of insulation ties the neutral: "above 1 Mohm" means that the bond is absent.
    dead = run(loaded=False)
    insulated = dead._replace(branches=(*dead.branches, Branch(STAR, EARTH, 1.2e6)))
    (loop_ohm,) = Study(insulated, [FAR_BOND]).impedances_ohm
    assert abs(loop_ohm) > 1e6


# By the rule of parallel conductors PE takes R_N / (R_N + R_PE): 23 / 59.6, a half if equal, a third with half the area.
@pytest.mark.parametrize(("pe_ohm", "share"), [(PE_OHM, "0.386"), (NEUTRAL_OHM, "0.500"), (2 * NEUTRAL_OHM, "0.333")])
def test_two_bonds_share_the_neutral_current(pe_ohm: float, share: str, tmp_path: Path) -> None:
    circuit, labels = joined(run(pe_ohm), [SOURCE_BOND, FAR_BOND])
    # N-PE reads nothing at either board, under load too: the current is what shows the second bond.
    assert labels[N_BAR] == labels[PE_BAR]
    solution = Study(circuit).solution
    through_n, through_pe, through_soil, _, through_load = solution.currents_a
    assert printed(abs(through_pe / through_load), share) == share
    assert abs(through_n + through_pe + through_load) < 1e-9
    assert through_soil == 0
    same_as_ngspice(circuit, solution, tmp_path)


def test_second_bond_joined_through_the_soil_only_takes_milliamperes() -> None:
    # 9.2 "neutral earthed only by soil twice": the far PE ends at an electrode of 20 ohm instead of coming from the source.
    circuit = run(pe_ohm=20)
    by_soil = circuit._replace(branches=(circuit.branches[0], Branch(EARTH, PE_BAR, 20), *circuit.branches[2:]))
    merged, _ = joined(by_soil, [SOURCE_BOND, FAR_BOND])
    through_soil_a = abs(Study(merged).solution.currents_a[1])
    # 10 A x 23 milliohm across 30 ohm of electrodes: 7.7 mA, which an RCD of 30 mA between the bonds does not notice.
    assert printed(through_soil_a * 1e3, "7.7") == "7.7"
    assert rcd_trip(through_soil_a, 0.03).certain_s is None
