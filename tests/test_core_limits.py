"""Gates exactly on their value, and beside it: what a standard says *up to*, *from* or *above*, number by number.

Each test names the clause or table; where it is a definition of the description (FORMAT.md) or Ohm's law, it says that.
"""

from __future__ import annotations

import pytest

from onebond import testing
from onebond.circuit import limits_table, parts, reasons
from onebond.circuit.components import inverters, protective, utilities
from onebond.circuit.devices import (
    NEVER,
    Trip,
    bs_fuse_trip,
    gg_operating_current_a,
    gg_trip,
    magnetic_band_a,
    mcb_operating_current_a,
    mcb_trip,
    mccb_trip,
    rcd_band_a,
)
from onebond.circuit.parts import Branch, Circuit, Injection
from onebond.circuit.solve import Engine, Study
from onebond.facts import sizes
from onebond.model import Size

# -- breakers --------------------------------------------------------------------------------------------------------


def test_a_makers_own_upper_limit_lies_inside_the_band_of_the_standard() -> None:
    # IEC 60898-1 table 7: B from 3 to 5 In, hence 48 to 80 A for B16
    assert magnetic_band_a(16, "B", 70) == (48, 70)
    assert magnetic_band_a(16, "B", 48) == (48, 48)
    with pytest.raises(ValueError, match="instantaneous operating current"):
        magnetic_band_a(16, "B", 47)


def test_between_1_45_and_2_55_times_rated_only_the_conventional_time_is_certain() -> None:
    # IEC 60898-1 table 7: 1.45 In within 1 h, 2.55 In within 60 s; 2.5 In of a B16 is 40 A
    assert mcb_trip(40, 16, "B") == Trip(3600, 1)
    assert mcb_trip(40.8, 16, "B") == Trip(60, 1)


def test_above_32_a_the_second_gate_is_120_s() -> None:
    # IEC 60898-1 table 7: 60 s to 32 A, 120 s above; within 60 s a C40 is certain only from 10 In
    assert mcb_operating_current_a(40, "C", 60) == 400
    assert mcb_operating_current_a(40, "C", 120) == pytest.approx(2.55 * 40)
    assert mcb_operating_current_a(32, "C", 60) == pytest.approx(2.55 * 32)


def test_gates_of_a_moulded_case_breaker() -> None:
    # IEC 60947-2: not within 2 h at 1.05, within 2 h from 1.30 of the setting (100 A)
    assert mccb_trip(105, 100, 1000).within(7199) == "impossible"
    assert mccb_trip(129, 100, 1000).certain_s is None
    # a short-time release at 500 A with 20 % of tolerance does nothing up to 400 A
    settings = {"short_time_a": 500, "short_time_holds_s": 0.1, "short_time_clears_s": 0.18}
    assert mccb_trip(400, 100, 2000, **settings).within(0.15) == "impossible"
    assert mccb_trip(401, 100, 2000, **settings).within(0.15) == "possible"


# -- fuses -----------------------------------------------------------------------------------------------------------


def test_gates_of_a_gg_fuse_for_a_tenth_of_a_second() -> None:
    # IEC 60269-1 table 3, 32 A: not within 0.1 s at 200 A, within 0.1 s at 350 A
    assert gg_trip(200, 32).possible_from_s == 0.1
    assert gg_trip(201, 32).possible_from_s == 0
    assert gg_operating_current_a(32, 0.1) == 350
    assert gg_operating_current_a(32, 0.099) is None


def test_a_fuse_carries_its_rated_current_and_blows_at_the_current_of_the_table() -> None:
    # BS 7671 table 41.4: 16 A BS 88-2, 5 s, 4.0 ohm: 218.5 V / 4.0 ohm = 54.625 A
    assert bs_fuse_trip(16, 16) == NEVER
    assert bs_fuse_trip(54.625, 16) == Trip(5, 0)
    assert bs_fuse_trip(54.62, 16) == Trip(None, 0)


# -- residual current devices ----------------------------------------------------------------------------------------


def test_a_type_that_is_not_made_is_refused() -> None:
    with pytest.raises(ValueError, match="type of the residual current device: H is not one of AC, A, F, B"):
        rcd_band_a(0.03, "H")


# -- conductors ------------------------------------------------------------------------------------------------------


def test_limits_of_the_adiabatic_formula() -> None:
    # k is the root of a logarithm of two temperatures: equal ones carry nothing, and 600 C is the stated end of the range.
    # 225.67 sqrt(ln((234.5 + 600) / (234.5 + 70))) = 226.6 (by hand with the constants of IEC 60364-5-54 annex A)
    assert f"{protective.k_factor('copper', 70, 600):.0f}" == "227"
    for end_c in (70, 601):
        with pytest.raises(ValueError, match="temperature at the end of the fault"):
            protective.k_factor("copper", 70, end_c)


def test_a_standard_size_is_enough_for_itself() -> None:
    assert [protective.standard_mm2(mm2) for mm2 in (1, 10, 10.01, 630)] == [1, 10, 16, 630]


def test_a_concrete_encased_electrode_has_a_cap_for_copper_alone() -> None:
    # NEC 250.66(B): 4 AWG copper; of aluminium it says nothing
    assert protective.nec_grounding_electrode_conductor(350_000, electrode="concrete") == "4"
    with pytest.raises(ValueError, match="cap for copper only"):
        protective.nec_grounding_electrode_conductor(350_000, material="aluminium", electrode="concrete")


# -- limits ----------------------------------------------------------------------------------------------------------


def test_second_fault_in_an_it_system() -> None:
    # IEC 60364-4-41, 411.6.4: 2 Zs Ia <= U, with a distributed neutral U0: 400 / 320 and 230.94 / 320 (by hand)
    assert f"{limits_table.it_second_fault_loop_ohm(400, 160, False):.3f}" == "1.250"
    assert f"{limits_table.it_second_fault_loop_ohm(400, 160, True):.4f}" == "0.7217"


# -- what a circuit may hold (the bounds that `parts` states) --------------------------------------------------------


@pytest.mark.parametrize("z_ohm", [1e-9, 1e15, 1j])
@pytest.mark.parametrize("emf_v", [0, 1e9])
def test_the_bounds_of_a_branch_belong_to_it(z_ohm: complex, emf_v: complex) -> None:
    parts.check(Circuit(2, (Branch(0, 1, z_ohm, emf_v),), 0))


@pytest.mark.parametrize(
    ("branch", "words"),
    [
        (Branch(0, 1, 0.9e-9), "impedance"),
        (Branch(0, 1, 1.1e15), "impedance"),
        (Branch(0, 1, complex("nan")), "impedance"),
        (Branch(0, 1, -1 + 1j), "negative resistance"),
        (Branch(0, 1, 1, 1.1e9), "EMF"),
        (Branch(0, 2, 1), "a node that is not there"),
        (Branch(2, 0, 1), "a node that is not there"),
        (Branch(-1, 0, 1), "a node that is not there"),
        (Branch(0, -1, 1), "a node that is not there"),
    ],
)
def test_beyond_them_a_branch_is_refused(branch: Branch, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        parts.check(Circuit(2, (branch,), 0))


@pytest.mark.parametrize("engine", ["tree", "batched", "dense"])
@pytest.mark.parametrize(
    ("z_ohm", "words"), [(0.9e-9, "impedance"), (1.1e15, "impedance"), (-1 + 1j, "negative resistance")]
)
def test_every_engine_refuses_a_circuit_of_such_branches_alone(z_ohm: complex, words: str, engine: Engine) -> None:
    with pytest.raises(ValueError, match=words):
        Study(Circuit(3, (Branch(0, 1, z_ohm), Branch(1, 2, z_ohm)), 0), engine=engine)


@pytest.mark.parametrize("engine", ["tree", "batched", "dense"])
@pytest.mark.parametrize(
    ("emf_v", "earth", "words"), [(1.1e9, 0, "EMF"), (1, -1, "mass of earth"), (1, 3, "mass of earth")]
)
def test_every_engine_refuses_too_large_an_emf_and_an_earth_that_is_not_there(
    emf_v: float, earth: int, words: str, engine: Engine
) -> None:
    with pytest.raises(ValueError, match=words):
        Study(Circuit(3, (Branch(0, 1, 1, emf_v), Branch(1, 2, 1, emf_v)), earth), engine=engine)


@pytest.mark.parametrize(("a", "b"), [(0, 2), (2, 0), (-1, 0), (0, -1)])
def test_a_fixed_current_ends_at_nodes_of_the_circuit(a: int, b: int) -> None:
    with pytest.raises(ValueError, match="a node that is not there"):
        parts.check(Circuit(2, (Branch(0, 1, 1),), 0, (Injection(a, b, 1),)))
    with pytest.raises(ValueError, match="are not two nodes"):
        parts.check_pairs(Circuit(2, (Branch(0, 1, 1),), 0), [(a, b)])


@pytest.mark.parametrize("earth", [-1, 2])
def test_the_mass_of_earth_is_a_node(earth: int) -> None:
    with pytest.raises(ValueError, match="mass of earth"):
        parts.check(Circuit(2, (), earth))


def test_what_a_node_is_called() -> None:
    named = Circuit(3, (), 0, names=("soil", "main"))
    assert [named.name_of(node) for node in range(3)] == ["soil", "main", "node 2"]
    assert [Circuit(2, (), 1).name_of(node) for node in range(2)] == ["node 0", "earth"]


# a triangle 0-1-2, and 3 that hangs on 2 by branch 3 alone
TRIANGLE = Circuit(4, (Branch(0, 1, 1), Branch(1, 2, 1), Branch(2, 0, 1), Branch(2, 3, 1)), 0)


def test_what_hangs_on_a_single_branch() -> None:
    cuts = parts.Cuts(TRIANGLE)
    assert [cuts.is_single(branch) for branch in range(4)] == [False, False, False, True]
    assert [cuts.beyond(3, node) for node in range(4)] == [False, False, False, True]
    assert [cuts.divides(3, pair) for pair in ((0, 3), (3, 1), (0, 1), (1, 2))] == [True, True, False, False]
    assert [cuts.lost(branch) for branch in range(4)] == [[], [], [], [3]]
    # two branches side by side are no single ones; a branch whose ends are one node is none either
    double = Circuit(2, (Branch(0, 1, 1), Branch(1, 0, 1), Branch(1, 1, 1)), 0)
    assert [parts.Cuts(double).is_single(branch) for branch in range(3)] == [False, False, False]


def test_four_names_are_written_out_and_the_rest_is_counted() -> None:
    alone = "node 1 is tied to nothing; node 2 is tied to nothing; node 3 is tied to nothing; node 4 is tied to nothing"
    for size, reason in ((5, alone), (6, f"{alone}; and 1 more parts")):
        found = reasons.untied(Circuit(size, (), 0))
        assert found is not None and found.reason == reason
    for size, said in ((5, "node 1, node 2, node 3, node 4"), (6, "node 1, node 2, node 3, node 4 and 1 more")):
        chain = tuple(Branch(node, node + 1, 1) for node in range(1, size - 1))
        found = reasons.untied(Circuit(size, chain, 0))
        assert found is not None and found.reason == f"{said} are joined to each other and to nothing else"
        assert found.branches == tuple(range(size - 2))


def test_a_resonance_names_the_branches_at_its_node() -> None:
    at_one = (Branch(0, 1, 10j), Branch(1, 0, -10j))
    found = reasons.resonant(Circuit(3, (*at_one, Branch(1, 1, 1), Branch(2, 0, 1)), 0), 1)
    assert (found.nodes, found.branches) == ((1,), (0, 1))


def test_a_supply_whose_line_has_no_impedance() -> None:
    # all of the loop is in the way back then; a line with the whole loop leaves none, which no supply has
    assert utilities.return_impedance_ohm(0.35, 0) == 0.35
    with pytest.raises(ValueError, match="not less than its whole loop"):
        utilities.return_impedance_ohm(0.35, 0.35)


# -- sizes -----------------------------------------------------------------------------------------------------------


def conductor(mm2: float | None, laid: str = "") -> sizes.Protective:
    """A protective conductor of a size: a core of a cable, or one of its own."""
    link = None
    if not laid:
        text = (
            "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"
            "sources: {grid: {kind: utility, phases: L1, earthing: TN-S}}\nboards: {main: {}}\n"
            "connections: {service: {from: grid, to: main, cores: L1 N PE}}\ncircuits: {one: {from: main, cores: L1 N PE}}\n"
        )
        link = testing.inspected(text, ()).installation.connections[0]
    size = None if mm2 is None else Size(mm2, f"{mm2:g} mm2")
    return sizes.Protective("x", (), "pe", size, "size", sizes.NO_LINES, link=link)


def test_a_size_may_be_below_what_is_asked_by_what_two_ways_of_naming_it_differ() -> None:
    # the stated tolerance of 0.5 %: 9.95 mm2 do for 10 mm2
    need = sizes.Need.metric(10)
    assert [conductor(mm2, "alone").short_of(need) for mm2 in (10, 9.95, 9.94)] == [False, False, True]
    assert conductor(float("nan"), "alone").short_of(need)


@pytest.mark.parametrize(
    ("mm2", "core", "alone"),
    # BS 7671 tables 54.2 and 54.3: copper with 70 C insulation 115 in a cable and 143 alone, above 300 mm2 103 and 133
    [(2.5, 115, 143), (300, 115, 143), (301, 103, 133), (None, 115, 143)],
)
def test_k_by_the_size(mm2: float | None, core: int, alone: int) -> None:
    assert (conductor(mm2).k, conductor(mm2, "alone").k) == (core, alone)


# -- inverters -------------------------------------------------------------------------------------------------------


def test_rated_current_of_each_line() -> None:
    # by definition: 5, 10 and 15 kVA over one, two and three lines of 230 V
    assert [f"{inverters.rated_current_a(5000 * lines, 230, lines):.2f}" for lines in (1, 2, 3)] == ["21.74"] * 3


def test_a_limit_ends_with_its_duration_or_with_the_shutdown() -> None:
    # as the maker declares them: the limit until the earlier of the two, then what is sustained until the shutdown
    ends = [
        inverters.stages(1000, 60, for_s, 30, off_s) for for_s, off_s in ((None, None), (None, 5), (0.02, 5), (6, 5))
    ]
    limit = inverters.Stage
    assert ends == [
        (limit(60, None),),
        (limit(60, 5),),
        (limit(60, 0.02), limit(30, 5)),
        (limit(60, 5),),
    ]
