"""A network of 906 places: its description is accepted, and the fault loops that it implies are those of OpenDSS."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import opendssdirect
import pytest

import feeder
from circuits import HERTZ, radial, volts
from conftest import Run
from onebond.circuit.build import Model, Options, build
from onebond.circuit.components.conductors import core_impedance_ohm
from onebond.circuit.solve import Branch, Circuit, Pair, Study, merge
from onebond.model import Connection, Installation
from onebond.network import build as network_of
from onebond.reading import load
from onebond.states import cases
from test_solve_engines import fault_study

CORES = ("L1", "L2", "L3", "N", "PE")


@pytest.fixture(scope="module")
def description(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("feeder") / "feeder.yaml"
    file.write_text(feeder.text(), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def site(description: Path) -> Installation:
    _, found, problems, _ = load(str(description))
    assert problems == []
    assert found is not None
    return found


def test_it_is_accepted(description: Path, run: Run) -> None:
    done = run("inspect", "--quiet", str(description))
    assert done.stderr == ""
    assert done.returncode in (0, 1), done.stdout
    # What the topological rules look for is not in it: one supplier with its bond, PE everywhere.
    for rule in ("neutral-unreferenced", "neutral-bonded-twice", "pe-missing", "never-energised", "bond-behind-rcd"):
        assert f"[{rule}]" not in done.stdout


def test_everything_is_in_it(site: Installation) -> None:
    assert [board.id for board in site.boards] == [f"b-{bus}" for bus in range(1, feeder.PLACES + 1)]
    # A tree: one way in for each board, the first one from the supplier.
    assert sorted(link.finish.id for link in site.connections) == sorted(board.id for board in site.boards)
    assert len(site.circuits) == feeder.CONSUMERS
    # Counted by hand in the published table of loads: 21 on A, 19 on B, 15 on C.
    phases = [circuit.connection.cores[0] for circuit in site.circuits]
    assert {line: phases.count(line) for line in CORES[:3]} == {"L1": 21, "L2": 19, "L3": 15}


# Resistance of the feeder's types of line (ohm/km) and the size of IEC 60228 next to it: 4.61, 1.15, 0.387, 0.153, ...
@pytest.mark.parametrize(
    ("ohm_km", "size_mm2"),
    [(3.970, 4), (1.257, 16), (1.150, 16), (0.868, 25), (0.469, 35), (0.446, 50), (0.322, 70), (0.274, 70), (0.166, 120),
     (0.089, 185)],
)  # fmt: skip
def test_nearest_size(ohm_km: float, size_mm2: float) -> None:
    assert feeder.nearest_mm2(ohm_km) == size_mm2


def loops_by_opendss(circuit: Circuit, pairs: Sequence[Pair]) -> list[complex]:
    """The impedance between the two nodes of each pair, by OpenDSS's study of faults at all buses; any circuit.

    Nodes that share a pair, directly or over others, are nodes of one bus there, since it knows impedances within a bus only.
    A node at the mass of earth is 0 in every bus.
    """
    dss = opendssdirect
    labels = merge(circuit.size, [pair for pair in pairs if circuit.earth not in pair])
    count: dict[int, int] = {}
    called = []
    for node, label in enumerate(labels):
        if node == circuit.earth:
            called.append((-1, 0))
            continue
        count[label] = count.get(label, 0) + 1
        called.append((label, count[label]))

    def bus(node: int) -> str:
        label, phase = called[node]
        return f"n{label}.{phase}" if phase else "mass.0"

    for command in (
        "clear",
        f"set defaultbasefrequency={HERTZ:g}",
        "new circuit.site bus1=apart.1 phases=1 basekv=0.23 pu=1 r1=1 x1=0 r0=1 x0=0",
    ):
        dss.Command(command)
    for number, (a, b, z_ohm, _, _) in enumerate(circuit.branches):
        # The impedance between two nodes is asked for with the sources at rest, so none is needed.
        if a != b:
            dss.Command(f"new reactor.b{number} bus1={bus(a)} bus2={bus(b)} phases=1 r={z_ohm.real!r} x={z_ohm.imag!r}")
    dss.Command("solve mode=direct")
    dss.Command("solve mode=faultstudy")
    assert dss.Solution.Converged()
    impedances: dict[int, list[complex]] = {}
    orders: dict[int, list[int]] = {}
    found = []
    for pair in pairs:
        label = max(called[node][0] for node in pair)
        if label not in impedances:
            dss.Circuit.SetActiveBus(f"n{label}")
            flat = dss.Bus.ZscMatrix()
            impedances[label] = [complex(*flat[at : at + 2]) for at in range(0, len(flat), 2)]
            orders[label] = list(dss.Bus.Nodes())
        matrix, order = impedances[label], orders[label]
        # What a current of 1 A from the second node to the first does between them; earth has no row.
        signs = [
            (order.index(called[node][1]), sign) for node, sign in zip(pair, (1, -1), strict=True) if called[node][1]
        ]
        found.append(
            sum(one * other * matrix[row * len(order) + column] for row, one in signs for column, other in signs)
        )
    return found


def test_the_other_engine_is_read_rightly() -> None:
    # Against the reading of test_solve_engines, which is made for one kind of network.
    network = radial(40)
    assert loops_by_opendss(network.circuit, network.pairs) == pytest.approx(fault_study(network.circuit), rel=1e-9)


def agree(circuit: Circuit, pairs: Sequence[Pair]) -> None:
    """All loops of a circuit are those of OpenDSS, to 1e-9, by plain Python and by numpy."""
    wanted = loops_by_opendss(circuit, pairs)
    assert len(wanted) == len(pairs)
    for way in ("tree", "batched"):
        found = Study(circuit, pairs, engine=way).impedances_ohm
        for pair, one, other in zip(pairs, found, wanted, strict=True):
            assert abs(one - other) <= 1e-9 * abs(other), (way, pair, one, other)


def implied(site: Installation) -> tuple[Circuit, dict[tuple[str, str], int]]:
    """The circuit that the description implies at 20 C, and the node of each bar: made here, with nothing of the linter's own way."""
    node = {
        (place, core): 1 + number
        for number, (place, core) in enumerate((board.id, core) for board in site.boards for core in CORES)
    }
    star = len(node) + 1
    branches = [Branch(star, 0, 5)]
    for link in site.connections:
        z_ohm = ohm_of(link, 20)
        for core in CORES:
            if link.start.id == "grid":
                emf_v = volts(CORES.index(core)) if core in CORES[:3] else 0j
                branches.append(Branch(star, node[link.finish.id, core], 0.005 + z_ohm, emf_v))
            else:
                branches.append(Branch(node[link.start.id, core], node[link.finish.id, core], z_ohm))
    return Circuit(star + 1, tuple(branches), 0), node


def test_earth_fault_at_each_bus(site: Installation) -> None:
    circuit, node = implied(site)
    agree(circuit, [(node[board.id, "L1"], node[board.id, "PE"]) for board in site.boards])


def ohm_of(link: Connection, temperature_c: float) -> complex:
    """One core of a cable."""
    assert link.size is not None
    assert link.length_m is not None
    return core_impedance_ohm(link.size.mm2, link.length_m, temperature_c=temperature_c, practice="rounded")


def cables_to(site: Installation, place: str, temperature_c: float) -> complex:
    """The impedance of one core of all cables from the supplier to a board, in ohm, added up without any engine."""
    way_to = {link.finish.id: link for link in site.connections}
    z_ohm = 0j
    while place != "grid":
        z_ohm += ohm_of(way_to[place], temperature_c)
        place = way_to[place].start.id
    return z_ohm


FAR = ("b-2", "b-74", "b-500", "b-906")


def test_loop_at_a_far_bus_is_the_sum_of_its_cables(site: Installation) -> None:
    circuit, node = implied(site)
    found = Study(circuit, [(node[place, "L1"], node[place, "PE"]) for place in FAR]).impedances_ohm
    # Twice the cables on the way and twice the 5 milliohm of the supplier.
    assert found == pytest.approx([0.01 + 2 * cables_to(site, place, 20) for place in FAR], rel=1e-9)


def built(site: Installation, smallest: bool) -> tuple[Model, list[Pair], list[Pair]]:
    """The linter's own circuit of the one case; line and PE at each board, and at the end of each circuit."""
    network = network_of(site)
    (case,) = cases(network).cases
    model = build(network, case.state, case.live, case.feeds, Options(smallest=smallest))
    assert model.unknown == ()

    def pair(place: str, line: str) -> Pair:
        return model.node[network.number_of(place, "", line)], model.node[network.number_of(place, "", "PE")]

    at_ends = [pair(circuit.id, circuit.connection.cores[0]) for circuit in site.circuits]
    return model, [pair(board.id, "L1") for board in site.boards], at_ends


@pytest.mark.parametrize("smallest", [True, False])
def test_circuit_of_the_linter(site: Installation, smallest: bool) -> None:
    model, at_boards, at_ends = built(site, smallest)
    agree(model.circuit, [*at_boards, *at_ends])


def test_smallest_fault_current_of_the_linter(site: Installation) -> None:
    # At 70 C, behind the declared loop impedance of the supplier (9.167 milliohm, as a resistance).
    model, at_boards, at_ends = built(site, True)
    z_of = dict(zip([board.id for board in site.boards], Study(model.circuit, at_boards).impedances_ohm, strict=True))
    for place in FAR:
        assert z_of[place] == pytest.approx(0.009167 + 2 * cables_to(site, place, 70), rel=1e-9)
    for circuit, z_ohm in zip(site.circuits, Study(model.circuit, at_ends).impedances_ohm, strict=True):
        cable = circuit.connection
        wanted = 0.009167 + 2 * (cables_to(site, cable.start.id, 70) + ohm_of(cable, 70))
        assert z_ohm == pytest.approx(wanted, rel=1e-9)
