"""Elimination in tree order, in plain Python: every node is replaced by a mesh between its neighbours (star to mesh).

That is the L D L^T of the nodal matrix, with one difference: earth stays a neighbour like any other, so a pivot is the sum
of the admittances at its node and is never found by subtraction.  Small ties (nanofarad beside milliohm) keep all their digits.

What is known of two nodes is the impedance between them, not two entries of an inverse whose difference it would be.  With l
the shares of the neighbours i, j of a node k and d the sum of its admittances:

    R[k, j] = 1/d + v[j] - q,   v[j] = sum over i of l[i] R[i, j],   q = half the sum over j of l[j] v[j]

which needs R only between neighbours of k: one sweep in reverse order gives it on the pattern of the elimination (selected
inverse).  Takes time in proportion to the nodes for a circuit that is nearly a tree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from onebond.circuit import reasons
from onebond.circuit.parts import Circuit, Pair, check

RESONANT = 1e-10
"""A sum of admittances that is so much smaller than they are is a resonance."""

INEXACT = 1e-9
ROUNDING = 1e-14


class Tree:
    """One circuit, eliminated.  `couples` are pairs of nodes between which `loops` will be asked."""

    def __init__(self, circuit: Circuit, couples: Iterable[Pair]) -> None:
        check(circuit)
        self.circuit = circuit
        self._admittances = [1 / branch.z_ohm for branch in circuit.branches]
        self._r: list[dict[int, complex]] | None = None
        self._r_earth: list[complex] = []
        self._eliminate(couples)

    def _eliminate(self, couples: Iterable[Pair]) -> None:
        circuit, earth = self.circuit, self.circuit.earth
        near: list[dict[int, complex]] = [{} for _ in range(circuit.size)]
        tie = [0j] * circuit.size
        for branch, y in zip(circuit.branches, self._admittances, strict=True):
            a, b = branch.a, branch.b
            if a == b:
                continue
            if a == earth or b == earth:
                tie[a + b - earth] += y
            else:
                near[a][b] = near[b][a] = near[a].get(b, 0j) + y
        for a, b in couples:
            # An entry of zero admittance, so that the pair stays in the pattern.
            if a != b and a != earth and b != earth and b not in near[a]:
                near[a][b] = near[b][a] = 0j
        # Nodes by the number of their neighbours; the last one met goes first, which stays in one corner of the circuit.
        waiting: list[list[int]] = [[] for _ in range(circuit.size)]
        for node in range(circuit.size):
            if node != earth:
                waiting[len(near[node])].append(node)
        least = 0
        left = circuit.size - 1
        done = [False] * circuit.size
        self._steps: list[tuple[int, complex, complex, list[tuple[int, complex]]]] = []
        while left:
            while not waiting[least]:
                least += 1
            node = waiting[least].pop()
            around = near[node]
            if done[node] or least != len(around):
                continue
            done[node] = True
            left -= 1
            to_earth = tie[node]
            pivot, size = to_earth, abs(to_earth)
            for y in around.values():
                pivot += y
                size += abs(y)
            if not abs(pivot) > RESONANT * size:
                raise reasons.untied(circuit) or reasons.resonant(circuit, node)
            inverse = 1 / pivot
            items = list(around.items())
            shares = [(other, y * inverse) for other, y in items]
            for position, (one, share) in enumerate(shares, 1):
                row = near[one]
                del row[node]
                tie[one] += share * to_earth
                for other, y in items[position:]:
                    if other in row:
                        row[other] += share * y
                        near[other][one] += share * y
                    else:
                        row[other] = near[other][one] = share * y
            for one, _ in items:
                degree = len(near[one])
                waiting[degree].append(one)
                if degree < least:
                    least = degree
            self._steps.append((node, inverse, to_earth * inverse, shares))

    def respond(self, injected: Sequence[complex]) -> list[complex]:
        """The voltages (V) that currents (A) injected into the nodes cause, all EMFs at rest."""
        current = list(injected)
        for node, _, _, shares in self._steps:
            here = current[node]
            if here:
                for other, share in shares:
                    current[other] += share * here
        voltage = [0j] * self.circuit.size
        for node, inverse, _, shares in reversed(self._steps):
            value = current[node] * inverse
            for other, share in shares:
                value += share * voltage[other]
            voltage[node] = value
        return voltage

    def loops(self, pairs: Iterable[Pair]) -> list[complex]:
        """The impedance (ohm) between the two nodes of each pair, all EMFs at rest; LookupError outside the couples."""
        if self._r is None:
            self._r = self._sweep()
        earth, r, r_earth = self.circuit.earth, self._r, self._r_earth
        found = []
        for a, b in pairs:
            if a == b:
                found.append(0j)
            elif a == earth or b == earth:
                found.append(r_earth[a + b - earth])
            else:
                found.append(r[a][b])
        return found

    def _sweep(self) -> list[dict[int, complex]]:
        r: list[dict[int, complex]] = [{} for _ in range(self.circuit.size)]
        self._r_earth = r_earth = [0j] * self.circuit.size
        for node, inverse, earth_share, shares in reversed(self._steps):
            row = r[node]
            at_earth = half = 0j
            seen = []
            for other, share in shares:
                beside = r[other]
                value = earth_share * r_earth[other]
                for third, part in shares:
                    if third != other:
                        value += part * beside[third]
                seen.append((other, value))
                half += share * value
                at_earth += share * r_earth[other]
            rest = inverse - (half + earth_share * at_earth) / 2
            for other, value in seen:
                row[other] = r[other][node] = value + rest
            r_earth[node] = at_earth + rest
        return r

    def flows(
        self, voltages: Sequence[complex], emfs: Sequence[complex], injected: Sequence[complex], drive_a: float
    ) -> tuple[list[complex], list[complex], list[int]]:
        """Branch currents (A), the current missing at each node (A), and the nodes where it is more than rounding."""
        return flows(self.circuit, self._admittances, voltages, emfs, injected, drive_a)


def flows(
    circuit: Circuit,
    admittances: Sequence[complex],
    voltages: Sequence[complex],
    emfs: Sequence[complex],
    injected: Sequence[complex],
    drive_a: float,
) -> tuple[list[complex], list[complex], list[int]]:
    """Branch currents (A), the current missing at each node (A), and the nodes where it is more than rounding.

    `drive_a` is the largest current that went into the voltages: its rounding is found everywhere.
    """
    missing = list(injected)
    scale = [abs(current) for current in injected]
    floor = [drive_a] * circuit.size
    currents = []
    for branch, y, emf in zip(circuit.branches, admittances, emfs, strict=True):
        a, b = branch.a, branch.b
        current = y * (voltages[a] - voltages[b] + emf)
        currents.append(current)
        if a != b:
            missing[a] -= current
            missing[b] += current
            size = abs(current)
            scale[a] += size
            scale[b] += size
            size = abs(y) * (abs(voltages[a]) + abs(voltages[b]) + abs(emf))
            floor[a] += size
            floor[b] += size
    missing[circuit.earth] = 0j
    # A comparison that holds only for numbers: NaN fails it.
    wrong = [
        node for node, value in enumerate(missing) if not abs(value) <= INEXACT * scale[node] + ROUNDING * floor[node]
    ]
    return currents, missing, wrong
