"""The solution of a circuit against two engines that others wrote: ngspice (a.c. analysis) and OpenDSS (nodal, conductor by conductor).

Both solve generated installations of every kind; each node voltage and each branch current must agree to 1e-6.
``ONEBOND_ENGINE_NETWORKS=5000 python -m pytest tests/test_solve_engines.py`` runs longer.
"""

from __future__ import annotations

import cmath
import math
import os
import subprocess
from collections.abc import Callable
from pathlib import Path
from random import Random

import opendssdirect
import pytest

from circuits import HERTZ, KINDS, installation, radial
from onebond.circuit.solve import Circuit, Solution, Study

NETWORKS = int(os.environ.get("ONEBOND_ENGINE_NETWORKS", "200"))

OMEGA = 2 * math.pi * HERTZ


def by_ngspice(circuit: Circuit, folder: Path) -> Solution:
    """Each branch as a voltage source (which also measures its current), a resistance and an inductance or a capacitance."""
    lines = ["* a generated installation"]
    called = [f"n{node}" if node != circuit.earth else "0" for node in range(circuit.size)]
    for number, (a, b, z_ohm, emf_v, _) in enumerate(circuit.branches):
        at = f"m{number}"
        size, angle = cmath.polar(emf_v)
        lines.append(f"v{number} {at} {called[a]} dc 0 ac {size!r} {math.degrees(angle)!r}")
        if z_ohm.real:
            onward = f"k{number}" if z_ohm.imag else called[b]
            lines.append(f"r{number} {at} {onward} {z_ohm.real!r}")
            at = onward
        if z_ohm.imag > 0:
            lines.append(f"l{number} {at} {called[b]} {z_ohm.imag / OMEGA!r}")
        elif z_ohm.imag < 0:
            lines.append(f"c{number} {at} {called[b]} {-1 / (OMEGA * z_ohm.imag)!r}")
    lines += [".control", "set numdgt=15", f"ac lin 1 {HERTZ:g} {HERTZ:g}"]
    lines += [f"print v({name})" for name in called if name != "0"]
    lines += [f"print i(v{number})" for number in range(len(circuit.branches))]
    lines += [".endc", ".end", ""]
    file = folder / "installation.cir"
    file.write_text("\n".join(lines))
    done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60)
    found: dict[str, complex] = {}
    for line in done.stdout.splitlines():
        name, equals, value = line.partition(" = ")
        if equals and "," in value:
            real, imaginary = value.split(",")
            found[name.strip()] = complex(float(real), float(imaginary))
    assert len(found) == circuit.size - 1 + len(circuit.branches), done.stdout + done.stderr
    # The current of a source is counted from its + through it to its -, that is from b to a.
    return Solution(
        [0j if name == "0" else found[f"v({name})"] for name in called],
        [-found[f"i(v{number})"] for number in range(len(circuit.branches))],
    )


def by_opendss(circuit: Circuit, folder: Path) -> Solution:
    """Each branch as a one-phase reactor or voltage source between two buses."""
    dss = opendssdirect
    called = [f"n{node}.1" if node != circuit.earth else "mass.0" for node in range(circuit.size)]
    for command in (
        "clear",
        f"set defaultbasefrequency={HERTZ:g}",
        "new circuit.site bus1=apart.1 phases=1 basekv=0.23 pu=1 r1=1 x1=0 r0=1 x0=0",
    ):
        dss.Command(command)
    for number, (a, b, z_ohm, emf_v, _) in enumerate(circuit.branches):
        r, x = z_ohm.real, z_ohm.imag
        if emf_v:
            size, angle = cmath.polar(emf_v)
            dss.Command(
                f"new vsource.b{number} bus1={called[b]} bus2={called[a]} phases=1 basekv={size / 1000!r} pu=1 "
                f"angle={math.degrees(angle)!r} r1={r!r} x1={x!r} r0={r!r} x0={x!r}"
            )
        else:
            dss.Command(f"new reactor.b{number} bus1={called[a]} bus2={called[b]} phases=1 r={r!r} x={x!r}")
    dss.Command("solve mode=direct")
    assert dss.Solution.Converged()
    flat = dss.Circuit.YNodeVArray()
    voltage = {
        name.lower(): complex(flat[2 * at], flat[2 * at + 1]) for at, name in enumerate(dss.Circuit.YNodeOrder())
    }
    currents = []
    for number, branch in enumerate(circuit.branches):
        dss.Circuit.SetActiveElement(f"{'vsource' if branch.emf_v else 'reactor'}.b{number}")
        flat = dss.CktElement.Currents()
        # What enters at a: the first terminal of a reactor, the second of a source.
        at = 2 if branch.emf_v else 0
        currents.append(complex(flat[at], flat[at + 1]))
    return Solution([voltage.get(name, 0j) for name in called], currents)


# What the other engine leaves where there should be nothing, as a part of the largest voltage and of the largest short-circuit
# current (found by the dense reference: ngspice 5e-11 and 1e-14, OpenDSS 5e-10 and 1e-11; ours 1e-10 at most and 1e-13).
ENGINES = [pytest.param(by_ngspice, 2e-10, 2e-13, id="ngspice"), pytest.param(by_opendss, 1e-9, 2e-11, id="OpenDSS")]


@pytest.mark.parametrize(("engine", "floor_v", "floor_a"), ENGINES)
def test_every_voltage_and_current_agrees(
    engine: Callable[[Circuit, Path], Solution], floor_v: float, floor_a: float, tmp_path: Path
) -> None:
    compared = 0
    for number in range(NETWORKS):
        kind = KINDS[number % len(KINDS)]
        circuit, pairs = installation(Random(number), kind, 2 + number % 9)
        other = engine(circuit, tmp_path)
        least_v = floor_v * max(map(abs, other.voltages_v))
        least_a = floor_a * max(abs(branch.emf_v / branch.z_ohm) for branch in circuit.branches)
        for way in ("tree", "batched"):
            found = Study(circuit, pairs, engine=way).solution
            for one, wanted, least in (
                *((a, b, least_v) for a, b in zip(found.voltages_v, other.voltages_v, strict=True)),
                *((a, b, least_a) for a, b in zip(found.currents_a, other.currents_a, strict=True)),
            ):
                assert abs(one - wanted) <= 1e-6 * abs(wanted) + least, (number, kind, way, one, wanted)
                compared += abs(wanted) > 1e6 * least
    # Most of what was compared stood far enough above that for all six digits.
    assert compared > 40 * NETWORKS


def test_fault_loops_agree_with_a_fault_study_of_opendss(tmp_path: Path) -> None:
    """OpenDSS works out the short-circuit impedance of every bus of five conductors; L-PE of it is the fault loop."""
    network = radial(120)
    found = Study(network.circuit, network.pairs, engine="batched").impedances_ohm
    wanted = fault_study(network.circuit)
    for place, z_ohm in enumerate(found):
        assert abs(z_ohm - wanted[place]) <= 1e-8 * abs(z_ohm), place


def fault_study(circuit: Circuit) -> list[complex]:
    """The L1-PE loop at each place of a radial network, by OpenDSS's own study of faults at all buses."""
    dss = opendssdirect
    load_radial(circuit)
    dss.Command("solve mode=faultstudy")
    return [read_loop(place) for place in range((circuit.size - 2) // 5)]


def read_loop(place: int) -> complex:
    """The L1-PE loop at a place, from the short-circuit impedances of its bus."""
    dss = opendssdirect
    dss.Circuit.SetActiveBus(f"p{place}")
    flat = dss.Bus.ZscMatrix()
    order = [node - 1 for node in dss.Bus.Nodes()]
    size = len(order)
    line, pe = order.index(0), order.index(4)
    at = (line * size + line, pe * size + pe, line * size + pe, pe * size + line)
    z = [complex(flat[2 * one], flat[2 * one + 1]) for one in at]
    return z[0] + z[1] - z[2] - z[3]


def load_radial(circuit: Circuit) -> None:
    """Give a radial network to OpenDSS with a bus of five nodes at each place."""
    dss = opendssdirect

    def bus(node: int) -> str:
        if node == circuit.earth:
            return "mass.0"
        return f"p{(node - 1) // 5}.{(node - 1) % 5 + 1}" if node < circuit.size - 1 else "star.1"

    for command in (
        "clear",
        f"set defaultbasefrequency={HERTZ:g}",
        "new circuit.site bus1=apart.1 phases=1 basekv=0.23 pu=1 r1=1 x1=0 r0=1 x0=0",
    ):
        dss.Command(command)
    for number, (a, b, z_ohm, emf_v, _) in enumerate(circuit.branches):
        r, x = z_ohm.real, z_ohm.imag
        if emf_v:
            size, angle = cmath.polar(emf_v)
            dss.Command(
                f"new vsource.b{number} bus1={bus(b)} bus2={bus(a)} phases=1 basekv={size / 1000!r} pu=1 "
                f"angle={math.degrees(angle)!r} r1={r!r} x1={x!r} r0={r!r} x0={x!r}"
            )
        else:
            dss.Command(f"new reactor.b{number} bus1={bus(a)} bus2={bus(b)} phases=1 r={r!r} x={x!r}")
    dss.Command("solve mode=direct")
    assert dss.Solution.Converged()
