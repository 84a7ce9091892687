"""The reference of the tests: Kirchhoff's two laws written out in full and solved with pivoting, nothing eliminated by hand.

The unknowns are the node voltages and the branch currents together, so it shares neither the nodal matrix nor the order nor
the arithmetic of the other two engines.  Needs numpy; memory grows with the square of nodes and branches.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from onebond.circuit import reasons
from onebond.circuit.parts import Circuit, Pair, check
from onebond.circuit.tree import flows

LARGEST = 3000
"""Nodes and branches together; more would take gigabytes."""


class Dense:
    """One circuit, its equations inverted as they stand."""

    def __init__(self, circuit: Circuit, couples: Iterable[Pair] = ()) -> None:
        check(circuit)
        loose = reasons.untied(circuit)
        if loose is not None:
            raise loose
        nodes, size = circuit.size, circuit.size + len(circuit.branches)
        if size > LARGEST:
            raise ValueError(f"{size} nodes and branches are too many for the dense reference")
        self.circuit = circuit
        matrix = np.zeros((size, size), complex)
        for number, branch in enumerate(circuit.branches, nodes):
            matrix[branch.a, number] += 1
            matrix[branch.b, number] -= 1
            # z I - (Va - Vb) = E, divided by the size of z so that all rows weigh alike.
            weight = 1 / abs(branch.z_ohm)
            matrix[number, number] = branch.z_ohm * weight
            matrix[number, branch.a] -= weight
            matrix[number, branch.b] += weight
        matrix[circuit.earth] = 0
        matrix[circuit.earth, circuit.earth] = 1
        try:
            self._inverse = np.linalg.inv(matrix)
        except np.linalg.LinAlgError:
            raise reasons.inexact(circuit, [circuit.earth]) from None
        self._matrix = matrix

    def _solve(self, known: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
        found = self._inverse @ known
        for _ in range(2):
            found = found + self._inverse @ (known - self._matrix @ found)
        return found

    def _known(self, emfs: Sequence[complex], injected: Sequence[complex]) -> npt.NDArray[np.complex128]:
        known = np.concatenate([np.asarray(injected, complex), np.asarray(emfs, complex)])
        known[self.circuit.size :] /= np.array([abs(branch.z_ohm) for branch in self.circuit.branches])
        known[self.circuit.earth] = 0
        return known

    def respond(self, injected: Sequence[complex]) -> list[complex]:
        """The voltages (V) that currents (A) injected into the nodes cause, all EMFs at rest."""
        found = self._solve(self._known([0j] * len(self.circuit.branches), injected))
        answer: list[complex] = found[: self.circuit.size].tolist()
        return answer

    def operate(self) -> tuple[list[complex], list[complex]]:
        """Node voltages (V) and branch currents (A) with all sources at work."""
        injected = [0j] * self.circuit.size
        for a, b, current, _ in self.circuit.injections:
            injected[a] -= current
            injected[b] += current
        found = self._solve(self._known([branch.emf_v for branch in self.circuit.branches], injected)).tolist()
        return found[: self.circuit.size], found[self.circuit.size :]

    def loops(self, pairs: Iterable[Pair]) -> list[complex]:
        """The impedance (ohm) between the two nodes of each pair, all EMFs at rest."""
        asked = np.array(list(pairs), int).reshape(-1, 2)
        known = np.zeros((len(self._matrix), len(asked)), complex)
        each = np.arange(len(asked))
        known[asked[:, 0], each] += 1
        known[asked[:, 1], each] -= 1
        known[self.circuit.earth] = 0
        voltages = self._solve(known)
        found: list[complex] = (voltages[asked[:, 0], each] - voltages[asked[:, 1], each]).tolist()
        return found

    def flows(
        self, voltages: Sequence[complex], emfs: Sequence[complex], injected: Sequence[complex], drive_a: float
    ) -> tuple[list[complex], list[complex], list[int]]:
        """Branch currents (A), the current missing at each node (A), and the nodes where it is more than rounding."""
        admittances = [1 / branch.z_ohm for branch in self.circuit.branches]
        return flows(self.circuit, admittances, voltages, emfs, injected, drive_a)
