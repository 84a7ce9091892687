"""The solution of a circuit: both engines against the dense reference, against published figures, and where there is no answer.

``ONEBOND_EXAMPLES=5000 python -m pytest tests/test_solve.py`` runs the comparisons longer.
"""

from __future__ import annotations

import os
import subprocess
import sys
from random import Random

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from circuits import KINDS, Draft, Sample, farad_ohm, installation, mesh, radial, volts
from onebond.circuit import solve as door
from onebond.circuit.dense import Dense
from onebond.circuit.parts import Cuts, merge, parts
from onebond.circuit.solve import (
    Branch,
    Circuit,
    Failure,
    Injection,
    Loop,
    Pair,
    Probe,
    Study,
    Unsolvable,
    driving_point,
    solve,
    without,
)

EXAMPLES = int(os.environ.get("ONEBOND_EXAMPLES", "120"))
ENGINES: tuple[door.Engine, ...] = ("tree", "batched")

relaxed = settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
samples = st.one_of(
    st.builds(installation, st.builds(Random, st.integers(0, 2**32)), st.sampled_from(KINDS), st.integers(1, 12)),
    st.builds(mesh, st.builds(Random, st.integers(0, 2**32)), st.integers(1, 30)),
)
engines = pytest.mark.parametrize("engine", ENGINES)


def same(found: list[complex], wanted: list[complex], floor: float = 0.0, relative: float = 1e-9) -> None:
    """Each value agrees, relative to itself; below `floor` times the largest of them, both are nothing but rounding."""
    assert len(found) == len(wanted)
    least = floor * max(map(abs, wanted), default=0)
    for number, (one, other) in enumerate(zip(found, wanted, strict=True)):
        assert abs(one - other) <= relative * abs(other) + least, (number, one, other)


def most_a(circuit: Circuit) -> float:
    """The largest current that a source of the circuit drives into a dead short, as the scale of rounding."""
    return max((abs(branch.emf_v / branch.z_ohm) for branch in circuit.branches), default=0)


def check_solution(
    circuit: Circuit, found: door.Solution, wanted: tuple[list[complex], list[complex]], floor_v: float = 1e-11
) -> None:
    same([*found.voltages_v, 1], [*wanted[0], 1], floor_v)
    scale = [complex(max(most_a(circuit), 1))]
    same(found.currents_a + scale, wanted[1] + scale, 1e-12)


# Against the dense reference.


@given(sample=samples)
@relaxed
def test_service_and_faults_agree_with_the_reference(sample: Sample) -> None:
    circuit, pairs = sample
    reference = Dense(circuit)
    wanted = reference.operate()
    impedances = reference.loops(pairs)
    for engine in ENGINES:
        study = Study(circuit, pairs, engine=engine)
        check_solution(circuit, study.solution, wanted)
        same(study.impedances_ohm, impedances)
        open_v = [wanted[0][a] - wanted[0][b] for a, b in pairs]
        same([*(loop.open_v for loop in study.loops), 1], [*open_v, 1], 1e-10)
    # Places are a hint: they change the time only.
    blind = Study(circuit._replace(places=()), pairs, engine="batched")
    same(blind.impedances_ohm, impedances)


@given(sample=samples, choice=st.integers(0, 10**6), z_ohm=st.sampled_from([0j, 0.3 + 0j, 40 + 2j]))
@relaxed
def test_everything_during_a_fault_agrees_with_the_faulted_circuit(sample: Sample, choice: int, z_ohm: complex) -> None:
    circuit, pairs = sample
    if not pairs:
        return
    a, b = pairs[choice % len(pairs)]
    if a == circuit.earth:
        a, b = b, a
    if z_ohm:
        faulted = circuit._replace(branches=(*circuit.branches, Branch(a, b, z_ohm, 0j, "fault")))
        wanted_v, wanted_a = Dense(faulted).operate()
        wanted = wanted_v, wanted_a[:-1]
    else:
        # A dead short is a closed contact.
        label = merge(circuit.size, [(a, b)])
        branches = tuple(one._replace(a=label[one.a], b=label[one.b]) for one in circuit.branches)
        sources = tuple(one._replace(a=label[one.a], b=label[one.b]) for one in circuit.injections)
        joined_v, wanted_a = Dense(Circuit(max(label) + 1, branches, label[circuit.earth], sources)).operate()
        wanted = [joined_v[label[node]] for node in range(circuit.size)], wanted_a
    for engine in ENGINES:
        study = Study(circuit, [(a, b)], probes=[Probe((a, b), (a, circuit.earth))], engine=engine)
        current, during = study.under_fault((a, b), z_ohm)
        # Superposed: what cancels leaves nanovolts.
        check_solution(circuit, during, wanted, 1e-9)
        loop = study.loops[0]
        assert abs(loop.open_v / (loop.z_ohm + z_ohm) - current) <= 1e-9 * abs(current) + 1e-12 * most_a(circuit)
        # The same voltage to earth from the sweep alone.
        (transfer,) = study.transfers([Probe((a, b), (a, circuit.earth))])
        seen = study.solution.voltages_v[a] - current * transfer
        assert abs(seen - during.voltages_v[a]) <= 1e-9 * max(1, abs(study.solution.voltages_v[a]))


def broken_reference(circuit: Circuit, branch: int, pairs: list[Pair]) -> list[Loop | None]:
    """The loops of the circuit without the branch, by a graph and the dense reference."""
    rest = circuit.branches[:branch] + circuit.branches[branch + 1 :]
    graph = networkx.Graph()
    graph.add_nodes_from(range(circuit.size))
    graph.add_edges_from((one.a, one.b) for one in rest)
    # A part that has lost its earth is held at one point, which carries nothing.
    held = [
        Branch(min(part), circuit.earth, 1 + 0j)
        for part in networkx.connected_components(graph)
        if circuit.earth not in part
    ]
    reference = Dense(circuit._replace(branches=rest + tuple(held)))
    voltages, _ = reference.operate()
    part = {node: number for number, nodes in enumerate(networkx.connected_components(graph)) for node in nodes}
    return [
        Loop(z_ohm, voltages[a] - voltages[b]) if part[a] == part[b] else None
        for (a, b), z_ohm in zip(pairs, reference.loops(pairs), strict=True)
    ]


def check_loops(found: list[Loop | None], wanted: list[Loop | None], relative: float = 1e-7) -> None:
    assert [one is None for one in found] == [one is None for one in wanted]
    here, there = [one for one in found if one], [one for one in wanted if one]
    same([one.z_ohm for one in here], [one.z_ohm for one in there], relative=relative)
    # Where nothing drives, what is left is the rounding of the 230 V that drove before.
    same([one.open_v for one in here] + [230], [one.open_v for one in there] + [230], 1e-9, relative)


@given(sample=samples, choice=st.integers(0, 10**6))
@relaxed
def test_one_broken_branch_agrees_with_the_circuit_without_it(sample: Sample, choice: int) -> None:
    circuit, pairs = sample
    if not circuit.branches or not pairs or circuit.injections:
        return
    branch = choice % len(circuit.branches)
    wanted = broken_reference(circuit, branch, pairs)
    for engine in ENGINES:
        check_loops(without(circuit, branch, pairs, engine), wanted)
        cases = [Failure(branch, pair) for pair in pairs]
        check_loops(Study(circuit, pairs, cases, engine=engine).failures(cases), wanted)


def test_every_single_failure_of_an_installation() -> None:
    parted = whole = 0
    for seed, kind in enumerate(KINDS):
        circuit, pairs = installation(Random(seed), kind, 5)
        cases = [Failure(branch, pair) for branch in range(len(circuit.branches)) for pair in pairs]
        found = [Study(circuit, pairs, cases, engine=engine).failures(cases) for engine in ENGINES]
        for branch in range(len(circuit.branches)):
            at = branch * len(pairs)
            wanted = broken_reference(circuit, branch, pairs)
            for one in found:
                check_loops(one[at : at + len(pairs)], wanted)
            parted += wanted.count(None)
            whole += len(wanted) - wanted.count(None)
    assert parted > 100 and whole > 1000


@pytest.mark.parametrize("rest_ohm", [1e1, 1e3, 1e5, 1e7, 1e9, 1e12])
@engines
def test_a_broken_conductor_beside_a_weak_tie(rest_ohm: float, engine: door.Engine) -> None:
    """What remains between the ends of a good conductor is a bad one: rank one down to its guard, a new solution past it."""
    draft = Draft()
    line, far, pe, frame = (draft.node(0, what) for what in ("L", "L far", "PE", "PE far"))
    draft.join(0, line, 0.05 + 0.02j, "source", 230)
    draft.join(line, far, 0.3 + 0.01j, "line")
    draft.join(pe, 0, 0.02, "bond")
    draft.join(pe, frame, 0.003 + 0.001j, "PE")
    draft.join(frame, 0, -1j * rest_ohm, "capacitance")
    (loop,) = without(draft.circuit(), 3, [(far, frame)], engine)
    assert loop is not None
    wanted_ohm = 0.35 + 0.03j - 1j * rest_ohm
    assert abs(loop.z_ohm - wanted_ohm) <= 1e-6 * abs(wanted_ohm)
    assert abs(loop.open_v - 230) <= 1e-6 * 230


# Published and worked figures (facts of the trade, numbers of their list).


def test_tt_earth_fault() -> None:
    """8.3, Electrical Installation Guide fig. F10 (from memory): 230 V, 10 ohm at the source, 20 ohm at the frame."""
    draft = Draft()
    line, frame = draft.node(0, "L"), draft.node(0, "frame")
    draft.join(0, line, 10, "star point", 230)
    draft.join(frame, 0, 20, "electrode of the frame")
    current, during = Study(draft.circuit(), [(line, frame)]).under_fault((line, frame))
    assert abs(current) == pytest.approx(7.667, abs=5e-4)
    assert abs(during.voltages_v[frame]) == pytest.approx(153.3, abs=0.05)


@pytest.mark.parametrize(("ratio", "touch_v"), [(2, 153.3), (1, 115.0)])
def test_share_of_the_return_conductor(ratio: float, touch_v: float) -> None:
    """8.4, Mitolo, Electrical Safety of Low-Voltage Systems eq. 8.3: half the area; 8.5: equal areas. No source impedance."""
    draft = Draft()
    line, frame = draft.node(0, "L"), draft.node(0, "frame")
    draft.join(0, line, 0.4, "line", 230)
    draft.join(0, frame, 0.4 * ratio, "PEN")
    _, during = Study(draft.circuit(), [(line, frame)]).under_fault((line, frame))
    assert abs(during.voltages_v[frame]) == pytest.approx(touch_v, abs=0.05)


def test_it_first_fault() -> None:
    """8.6, Electrical Installation Guide (from memory): 230/400 V, leakage reactance 3500 ohm a line, electrode 5 ohm."""
    draft = Draft()
    star, frame = draft.node(0, "star point"), draft.node(0, "frame")
    lines = [draft.node(0, f"L{line + 1}") for line in range(3)]
    for number, line in enumerate(lines):
        draft.join(star, line, 1e-6, "winding", volts(number))
        draft.join(line, 0, -3500j, "capacitance")
    draft.join(frame, 0, 5, "electrode")
    current, during = Study(draft.circuit(), [(lines[0], frame)]).under_fault((lines[0], frame))
    assert abs(current) == pytest.approx(0.1971, abs=5e-5)
    assert abs(during.voltages_v[frame]) == pytest.approx(0.986, abs=5e-4)
    assert abs(during.voltages_v[lines[1]]) == pytest.approx(397.9, abs=0.05)
    assert abs(during.voltages_v[star]) == pytest.approx(230, abs=1.0)


@pytest.mark.parametrize(
    ("line_nf", "neutral_nf", "ideal_v", "meter_v", "low_v"),
    [
        (4.7, 4.7, (115.0, 0.05), (114.93, 0.005), (1.02, 0.005)),
        (2.2, 2.2, (115.0, 0.05), (114.70, 0.005), (0.477, 0.0005)),
        (1.0, 1.0, (115.0, 0.05), (113.57, 0.005), (0.217, 0.0005)),
        (100.0, 100.0, (115.0, 0.05), (115.0, 0.05), (21.3, 0.05)),
        (2.2, 10.0, None, (41.5, 0.05), None),
    ],
)
@engines
def test_filter_capacitances_of_a_floating_source(
    line_nf: float,
    neutral_nf: float,
    ideal_v: tuple[float, float] | None,
    meter_v: tuple[float, float],
    low_v: tuple[float, float] | None,
    engine: door.Engine,
) -> None:
    """6.15: N-PE of a 230 V source at 50 Hz that only its filter holds; ideal, with a 10 Mohm meter, with a 3 kohm one."""
    for meter_ohm, wanted in ((None, ideal_v), (10e6, meter_v), (3e3, low_v)):
        if wanted is None:
            continue
        draft = Draft()
        line, neutral = draft.node(0, "L"), draft.node(0, "N")
        draft.join(neutral, line, 0.01, "source", 230)
        draft.join(line, 0, farad_ohm(line_nf * 1e-9), "filter L")
        draft.join(neutral, 0, farad_ohm(neutral_nf * 1e-9), "filter N")
        if meter_ohm:
            draft.join(neutral, 0, meter_ohm, "meter")
        voltages = solve(draft.circuit(), engine).voltages_v
        assert abs(voltages[neutral]) == pytest.approx(wanted[0], abs=wanted[1])
        if (line_nf, neutral_nf) == (2.2, 10.0):
            assert abs(voltages[line]) == pytest.approx(188.6, abs=0.05)


def test_inverter_at_its_current_limit() -> None:
    """8.11, our own example: 43.5 A through R2 = 0.5 ohm is 21.7 V."""
    draft = Draft()
    line, frame = draft.node(0, "L"), draft.node(0, "frame")
    draft.join(line, frame, 0.5, "R1 and fault")
    draft.join(frame, 0, 0.5, "R2")
    draft.injections.append(Injection(0, line, 43.5 + 0j, "inverter"))
    assert abs(solve(draft.circuit()).voltages_v[frame]) == pytest.approx(21.7, abs=0.06)


@engines
def test_voltage_divider(engine: door.Engine) -> None:
    circuit = Circuit(3, (Branch(0, 1, 1 + 0j, 10 + 0j), Branch(1, 2, 2 + 0j), Branch(2, 0, 2 + 0j)), 0)
    voltages, currents = solve(circuit, engine)
    same(voltages, [0j, 8 + 0j, 4 + 0j])
    same(currents, [2 + 0j, 2 + 0j, 2 + 0j])
    same(driving_point(circuit, [(1, 2), (1, 0), (0, 2)], engine), [1.2 + 0j, 0.8 + 0j, 1.2 + 0j])


@pytest.mark.parametrize("stray_farad", [1e-6, 1e-9, 1e-12])
@engines
def test_small_ties_keep_their_digits(stray_farad: float, engine: door.Engine) -> None:
    """A source of 100 kA held by picofarad: neither the loop nor the charging current drowns in rounding."""
    draft = Draft()
    line, neutral, end = draft.node(0, "L"), draft.node(0, "N"), draft.node(0, "L end")
    draft.join(neutral, line, 0.0023 + 0j, "source", 230)
    draft.join(line, end, 0.1 + 0j, "line")
    draft.join(neutral, 0, farad_ohm(2 * stray_farad), "stray N")
    draft.join(end, 0, farad_ohm(stray_farad), "stray L")
    study = Study(draft.circuit(), [(end, neutral)], engine=engine)
    stray_ohm = farad_ohm(2 * stray_farad) + farad_ohm(stray_farad)
    current = 230 / (0.1023 + stray_ohm)
    same(study.impedances_ohm, [0.1023 * stray_ohm / (0.1023 + stray_ohm)])
    same([study.solution.voltages_v[neutral]], [-current * farad_ohm(2 * stray_farad)])
    same(study.solution.currents_a, [current, current, -current, current], relative=1e-6)


@engines
def test_a_chain_of_ten_thousand_places(engine: door.Engine) -> None:
    count = 10_001
    branches = tuple(Branch(node - 1, node, 0.01 + 0.001j, 230 + 0j if node == 1 else 0j) for node in range(1, count))
    circuit = Circuit(count, branches, 0)
    study = Study(circuit, [(count - 1, 0), (5000, 0)], engine=engine)
    same(study.impedances_ohm, [100 + 10j, 50 + 5j], relative=1e-12)
    assert abs(study.loops[0].open_v) == pytest.approx(230)
    assert study.without(7000) == [None, study.loops[1]]


# Where there is no answer.


def spoil(rng: Random, circuit: Circuit) -> Circuit:
    """Take from a circuit all that ties some of its nodes to earth."""
    way = rng.randrange(4)
    if way == 0:
        # No electrode: nothing is tied any more.
        kept = [one for one in circuit.branches if circuit.earth not in one[:2]]
        return circuit._replace(branches=tuple(kept))
    if way == 1:
        # One conductor after the other is taken out until something hangs loose.
        branches = list(circuit.branches)
        while branches:
            branches.pop(rng.randrange(len(branches)))
            spoilt = circuit._replace(branches=tuple(branches))
            if len(parts(spoilt)) > 1:
                return spoilt
    if way == 2:
        # A conductor that nobody connected.
        return circuit._replace(size=circuit.size + 1, names=(*circuit.names, "forgotten core"), places=())
    # A floating source of its own.
    more = (Branch(circuit.size, circuit.size + 1, 0.1 + 0j, 230 + 0j, "portable set"),)
    load = (Branch(circuit.size, circuit.size + 1, 50 + 0j, 0j, "lamp"),)
    return circuit._replace(size=circuit.size + 2, branches=circuit.branches + more + load, names=(), places=())


def test_a_thousand_singular_circuits_give_reasons_and_no_numbers() -> None:
    rng = Random(11)
    for number in range(1000):
        kind = rng.choice(KINDS)
        circuit, pairs = spoil(rng, installation(rng, kind, rng.randrange(1, 6)).circuit), [(0, 1)]
        graph = networkx.Graph()
        graph.add_nodes_from(range(circuit.size))
        graph.add_edges_from((one.a, one.b) for one in circuit.branches)
        loose = set(range(circuit.size)) - networkx.node_connected_component(graph, circuit.earth)
        assert loose
        for engine in (*ENGINES, "dense") if number % 5 == 0 else (ENGINES[number % 2],):
            with pytest.raises(Unsolvable) as refused:
                Study(circuit, pairs, engine=engine)
            assert set(refused.value.nodes) == loose
            assert any(circuit.name_of(node) in refused.value.reason for node in loose)


def test_the_reason_is_in_words_of_the_trade() -> None:
    draft = Draft()
    line, neutral, core = draft.node(1, "L"), draft.node(1, "N"), draft.node(2, "PE")
    draft.join(neutral, line, 0.1, "generator", 230)
    draft.join(line, neutral, 50, "lamp")
    with pytest.raises(Unsolvable) as refused:
        solve(draft.circuit())
    assert refused.value.reason == (
        "L at place 1, N at place 1 float: generator drives them, and no bond, electrode, capacitance or load ties them "
        "to earth; PE at place 2 is tied to nothing"
    )
    assert refused.value.nodes == (line, neutral, core)
    assert refused.value.branches == (0, 1)


@engines
def test_a_resonance_is_refused(engine: door.Engine) -> None:
    draft = Draft()
    line, coil = draft.node(0, "L"), draft.node(0, "coil")
    draft.join(0, line, 0.1, "source", 230)
    draft.join(line, 0, 50, "load")
    draft.join(coil, 0, 1000j, "choke")
    draft.join(coil, 0, -1000j, "capacitor")
    with pytest.raises(Unsolvable, match=r"at coil at place 0 .*resonance"):
        solve(draft.circuit(), engine)


@engines
def test_a_fixed_current_without_a_way_back_is_refused(engine: door.Engine) -> None:
    draft = Draft()
    line = draft.node(0, "L")
    draft.join(line, 0, 2, "load")
    draft.injections.append(Injection(0, line, 5 + 0j, "inverter"))
    with pytest.raises(Unsolvable, match="inverter drives a fixed current"):
        without(draft.circuit(), 0, [(line, 0)], engine)


GOOD = Circuit(2, (Branch(0, 1, 1 + 0j, 230 + 0j, "source"),), 0)


@pytest.mark.parametrize(
    ("branch", "words"),
    [
        (Branch(0, 1, 0j, 0j, "link"), "link: .*closed contact merges"),
        (Branch(0, 1, complex("nan"), 0j, "core"), "core: impedance"),
        (Branch(0, 1, complex("inf"), 0j, "core"), "core: impedance"),
        (Branch(0, 1, -1 + 0j, 0j, "core"), "core: negative resistance"),
        (Branch(0, 1, 1 + 0j, complex("nan"), "source"), "source: EMF"),
        (Branch(0, 2, 1 + 0j, 0j, "core"), "not there"),
        (Branch(-1, 1, 1 + 0j, 0j, "core"), "not there"),
    ],
)
@pytest.mark.parametrize("engine", [*ENGINES, "dense"])
def test_values_that_no_part_has_are_refused(branch: Branch, words: str, engine: door.Engine) -> None:
    with pytest.raises(ValueError, match=words):
        solve(GOOD._replace(branches=(*GOOD.branches, branch)), engine)


@engines
def test_what_else_is_refused(engine: door.Engine) -> None:
    for pair in ((0, 0), (0, 2), (-1, 1)):
        with pytest.raises(ValueError, match="two nodes"):
            driving_point(GOOD, [pair], engine)
        with pytest.raises(ValueError, match="two nodes"):
            Study(GOOD, failures=[Failure(0, pair)], engine=engine)
        with pytest.raises(ValueError, match="two nodes"):
            Study(GOOD, probes=[Probe((0, 1), pair)], engine=engine)
    with pytest.raises(ValueError, match="not there"):
        Study(GOOD._replace(branches=(Branch(0, 7, 1 + 0j),)), failures=[Failure(0, (0, 1))], engine=engine)
    with pytest.raises(ValueError, match="mass of earth"):
        solve(GOOD._replace(earth=2), engine)
    with pytest.raises(ValueError, match="places"):
        solve(GOOD._replace(places=(0,)), engine)
    with pytest.raises(ValueError, match="not a number"):
        solve(GOOD._replace(injections=(Injection(0, 1, complex("nan"), "inverter"),)), engine)


# The rest of the door.


@given(count=st.integers(1, 40), seed=st.integers(0, 2**32))
@relaxed
def test_merged_nodes(count: int, seed: int) -> None:
    rng = Random(seed)
    pairs = [(rng.randrange(count), rng.randrange(count)) for _ in range(rng.randrange(count))]
    graph = networkx.Graph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from(pairs)
    wanted = [0] * count
    for number, part in enumerate(sorted(networkx.connected_components(graph), key=min)):
        for node in part:
            wanted[node] = number
    assert merge(count, pairs) == wanted


@given(sample=samples)
@relaxed
def test_single_joins(sample: Sample) -> None:
    circuit = sample.circuit
    graph = networkx.MultiGraph()
    graph.add_nodes_from(range(circuit.size))
    graph.add_edges_from((one.a, one.b, number) for number, one in enumerate(circuit.branches))
    cuts = Cuts(circuit)
    for number, one in enumerate(circuit.branches):
        graph.remove_edge(one.a, one.b, number)
        held = networkx.node_connected_component(graph, circuit.earth)
        assert cuts.lost(number) == sorted(set(range(circuit.size)) - held)
        assert cuts.is_single(number) == (not networkx.has_path(graph, one.a, one.b))
        graph.add_edge(one.a, one.b, number)


@engines
def test_pairs_that_were_not_named_are_refused_or_right(engine: door.Engine) -> None:
    network = radial(60)
    study = Study(network.circuit, network.pairs, engine=engine)
    last = network.pairs[-1][0]
    with pytest.raises(LookupError):
        study.transfers([Probe(network.pairs[3], (last, network.pairs[30][1]))])


def test_a_large_circuit_is_batched_where_that_is_worth_loading_numpy(monkeypatch: pytest.MonkeyPatch) -> None:
    network = radial(200)
    few = Study(network.circuit, network.pairs)
    many = Study(network.circuit, network.pairs, circuits=100)
    assert [type(study._engine).__name__ for study in (few, many)] == ["Tree", "Batched"]
    same(few.impedances_ohm, many.impedances_ohm, relative=1e-12)
    # Without numpy the same numbers come from plain Python.
    monkeypatch.setitem(sys.modules, "onebond.circuit.batched", None)
    assert Study(network.circuit, network.pairs, circuits=100).impedances_ohm == few.impedances_ohm


def test_nothing_slow_is_loaded() -> None:
    code = "import sys, onebond.circuit.solve; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"numpy", "scipy", "dataclasses", "networkx"} & set(done.stdout.split())


def test_the_same_bytes_every_time() -> None:
    code = (
        "from random import Random; from circuits import KINDS, installation; from onebond.circuit.solve import Study\n"
        "for engine in ('tree', 'batched'):\n"
        "    for kind in KINDS:\n"
        "        study = Study(*installation(Random(3), kind, 9), engine=engine)\n"
        "        print(study.loops, study.solution)"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=os.path.dirname(__file__),
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(outputs) == 1 and len(outputs.pop()) > 1000
