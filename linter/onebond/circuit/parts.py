"""The records of a circuit, and how its parts hang together: merged contacts, parts tied to earth, single branches that hold.

Voltages, currents and impedances are complex effective values at rated frequency (V, A, ohm); nodes and branches are numbers.
Nothing here calls itself: a chain of ten thousand places is an ordinary circuit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from heapq import heappop, heappush
from math import isfinite
from typing import NamedTuple

Z_MIN_OHM = 1e-9
Z_MAX_OHM = 1e15
EMF_MAX_V = 1e9

WEAK_OHM = 10.0
"""Conductors and windings lie below, loads, electrodes and capacitances mostly above."""

FLOATING_OHM = 1e3
"""Below this a tie to earth holds a system firmly enough for twelve digits."""

LARGE = 2000
"""Nodes."""

Pair = tuple[int, int]


class Branch(NamedTuple):
    """One impedance between two nodes, with an EMF in series that drives current from a to b through it.

    A conductor, an electrode, a load, a capacitance, a source winding.  A closed contact is none: it merges nodes (`merge`).
    A branch whose ends have been merged is allowed; it carries emf_v / z_ohm.
    """

    a: int
    b: int
    z_ohm: complex
    emf_v: complex = 0j
    name: str = ""


class Injection(NamedTuple):
    """A source of fixed current, taken from a and delivered into b: a static source at its current limit.  Ties nothing."""

    a: int
    b: int
    current_a: complex
    name: str = ""


class Circuit(NamedTuple):
    """Branches between the nodes 0 to size - 1; the node `earth` is the mass of earth, 0 V.

    `names` serve the reasons only.  `places` (one number a node: where it lies) serve speed only: nodes of one place are
    worked out together; no result depends on them.
    """

    size: int
    branches: tuple[Branch, ...]
    earth: int
    injections: tuple[Injection, ...] = ()
    names: tuple[str, ...] = ()
    places: tuple[int, ...] = ()

    def name_of(self, node: int) -> str:
        """What a node is called in a reason."""
        if node < len(self.names) and self.names[node]:
            return self.names[node]
        return "earth" if node == self.earth else f"node {node}"

    def branch_name(self, branch: int) -> str:
        """What a branch is called in a reason."""
        one = self.branches[branch]
        return one.name or f"the branch from {self.name_of(one.a)} to {self.name_of(one.b)}"


def check(circuit: Circuit) -> None:
    """Raise ValueError for values that no part of an installation has."""
    count, earth = circuit.size, circuit.earth
    if not 0 <= earth < count:
        raise ValueError("the mass of earth is not among the nodes")
    if circuit.places and len(circuit.places) != count:
        raise ValueError("places are given for some of the nodes only")
    for number, branch in enumerate(circuit.branches):
        a, b, z_ohm, emf_v, _ = branch
        if not (0 <= a < count and 0 <= b < count):
            raise ValueError(f"branch {number} ends at a node that is not there")
        # A comparison that holds only for numbers: NaN fails it.
        if not Z_MIN_OHM <= abs(z_ohm) <= Z_MAX_OHM:
            raise ValueError(
                f"{circuit.branch_name(number)}: impedance {z_ohm} ohm is outside {Z_MIN_OHM:g} to {Z_MAX_OHM:g} ohm; "
                "a closed contact merges its nodes, an open one is left out"
            )
        if not z_ohm.real >= 0:
            raise ValueError(f"{circuit.branch_name(number)}: negative resistance {z_ohm.real} ohm")
        if not abs(emf_v) <= EMF_MAX_V:
            raise ValueError(f"{circuit.branch_name(number)}: EMF {emf_v} V is no voltage of an installation")
    for source in circuit.injections:
        if not (0 <= source.a < count and 0 <= source.b < count):
            raise ValueError(f"source {source.name or '?'} ends at a node that is not there")
        if not (isfinite(source.current_a.real) and isfinite(source.current_a.imag)):
            raise ValueError(f"source {source.name or '?'}: current {source.current_a} A is not a number")


def check_pairs(circuit: Circuit, pairs: Iterable[Pair]) -> None:
    """Raise ValueError for a pair that is not two different nodes of the circuit."""
    count = circuit.size
    for a, b in pairs:
        if not (0 <= a < count and 0 <= b < count and a != b):
            raise ValueError(f"({a}, {b}) are not two nodes of the circuit")


def merge(count: int, pairs: Iterable[Pair]) -> list[int]:
    """Number the nodes anew so that those joined by closed contacts have one number.

    Returns the new number of each of the `count` old nodes; new numbers run from 0 in the order of the old ones.
    """
    root = list(range(count))
    for a, b in pairs:
        while root[a] != a:
            root[a] = root[root[a]]
            a = root[a]
        while root[b] != b:
            root[b] = root[root[b]]
            b = root[b]
        root[max(a, b)] = min(a, b)
    labels = [0] * count
    following = 0
    for node in range(count):
        # A root is the smallest of its nodes, so it has been numbered when the others come.
        if root[node] == node:
            labels[node] = following
            following += 1
        else:
            over = root[node]
            while root[over] != over:
                over = root[over]
            root[node] = over
            labels[node] = labels[over]
    return labels


def ways(circuit: Circuit) -> tuple[list[list[int]], list[int]]:
    """For each node the branches that lead on from it; and for each branch a ^ b, which turns one end into the other."""
    found: list[list[int]] = [[] for _ in range(circuit.size)]
    turn = []
    for number, (a, b, _, _, _) in enumerate(circuit.branches):
        turn.append(a ^ b)
        if a != b:
            found[a].append(number)
            found[b].append(number)
    return found, turn


def parts(circuit: Circuit) -> list[list[int]]:
    """The nodes in connected parts; the part of the mass of earth first, each part in rising order."""
    labels = merge(circuit.size, ((branch.a, branch.b) for branch in circuit.branches))
    found: list[list[int]] = [[] for _ in range(max(labels) + 1)]
    for node, label in enumerate(labels):
        found[label].append(node)
    first = labels[circuit.earth]
    return [found[first], *(part for label, part in enumerate(found) if label != first)]


class Cuts:
    """Which branches are the only join between two parts, and which side of it a node lies on."""

    def __init__(self, circuit: Circuit) -> None:
        lead, turn = ways(circuit)
        size = circuit.size
        # A spanning tree in which what hangs on a node is numbered right after it.
        first = [-1] * size
        up = list(range(size))
        by = [-1] * size
        order: list[int] = []
        met = bytearray(size)
        for start in (circuit.earth, *range(size)):
            if met[start]:
                continue
            met[start] = 1
            stack = [start]
            while stack:
                node = stack.pop()
                first[node] = len(order)
                order.append(node)
                for branch in lead[node]:
                    other = node ^ turn[branch]
                    if not met[other]:
                        met[other] = 1
                        up[other] = node
                        by[other] = branch
                        stack.append(other)
        last = [number + 1 for number in first]
        for node in reversed(order):
            if last[node] > last[up[node]]:
                last[up[node]] = last[node]
        # Each branch outside the tree closes a loop: no branch on its way through the tree is a single one.
        inside = bytearray(len(circuit.branches) + 1)
        for branch in by:
            inside[branch] = 1
        over = list(range(size))
        for number, (a, b, _, _, _) in enumerate(circuit.branches):
            if inside[number]:
                continue
            while True:
                while over[a] != a:
                    over[a] = a = over[over[a]]
                while over[b] != b:
                    over[b] = b = over[over[b]]
                if a == b:
                    break
                if first[a] < first[b]:
                    a, b = b, a
                over[a] = up[a]
        self._first, self._last = first, last
        # Single branch -> the node that hangs on it.
        self._below = {by[node]: node for node in order if over[node] == node and by[node] >= 0}

    def is_single(self, branch: int) -> bool:
        """Whether nothing else joins the two ends of the branch."""
        return branch in self._below

    def beyond(self, branch: int, node: int) -> bool:
        """Whether the node lies on the side of a single branch that does not hold the mass of earth."""
        top = self._below[branch]
        return self._first[top] <= self._first[node] < self._last[top]

    def divides(self, branch: int, pair: Pair) -> bool:
        """Whether the two nodes lie on different sides of a single branch."""
        return self.beyond(branch, pair[0]) != self.beyond(branch, pair[1])

    def lost(self, branch: int) -> list[int]:
        """The nodes that are tied to earth by this branch only; empty where another way remains."""
        if branch not in self._below:
            return []
        return [node for node in range(len(self._first)) if self.beyond(branch, node)]


class Drive:
    """How to solve a circuit without drowning small currents: a spanning tree that takes high impedances only where it must.

    A floating source has kilovolt-ampere behind milliohm and is held by nanofarad.  Its EMF as a current source would drown
    the charging current in rounding, and so would the voltage along a good conductor that carries it.  So the potentials along
    the tree absorb the EMFs (`shift_v` at each node), what is left (`emfs_v` in each branch) drives only the few branches outside
    the tree; and a current inside the tree is the sum of those that it collects (`collect`).
    A large circuit without a tie that weak is left as it is, to save the time.
    """

    def __init__(self, circuit: Circuit) -> None:
        branches = circuit.branches
        self.emfs_v = left = [branch.emf_v for branch in branches]
        self.shift_v = shift = [0j] * circuit.size
        self._steps: list[tuple[int, int, int]] = []  # branch, the node it comes from, the node it reaches
        sizes = [abs(branch.z_ohm) for branch in branches]
        self.floating = max(sizes, default=0) >= FLOATING_OHM
        if circuit.size > LARGE and not self.floating:
            return
        lead, turn = ways(circuit)
        steps = self._steps
        seen = [False] * circuit.size
        seen[circuit.earth] = True
        strong: list[int] = [circuit.earth]
        weak: list[tuple[float, int, int, int]] = []  # size, branch, from, to
        while True:
            while strong:
                node = strong.pop()
                for number in lead[node]:
                    other = node ^ turn[number]
                    if seen[other]:
                        continue
                    if sizes[number] >= WEAK_OHM:
                        heappush(weak, (sizes[number], number, node, other))
                        continue
                    seen[other] = True
                    steps.append((number, node, other))
                    strong.append(other)
            while weak and seen[weak[0][3]]:
                heappop(weak)
            if not weak:
                break
            _, number, node, other = heappop(weak)
            seen[other] = True
            steps.append((number, node, other))
            strong.append(other)
        if not any(left):
            return
        for number, node, other in steps:
            emf = left[number]
            shift[other] = shift[node] + (emf if branches[number].a == node else -emf)
        for number, (a, b, _, emf, _) in enumerate(branches):
            if shift[a] != shift[b]:
                # A branch of the tree has the difference of its ends as its EMF; what is left of that is rounding.
                rest = emf + shift[a] - shift[b]
                left[number] = rest if abs(rest) > 1e-14 * (abs(shift[a]) + abs(shift[b])) else 0j

    def collect(self, circuit: Circuit, currents_a: list[complex], injected_a: Sequence[complex]) -> list[complex]:
        """The currents with those inside the tree found as sums of the others."""
        if not self._steps:
            return currents_a
        net = list(injected_a)
        found = list(currents_a)
        for number, _, _ in self._steps:
            found[number] = 0j
        for (a, b, _, _, _), current in zip(circuit.branches, found, strict=True):
            net[a] -= current
            net[b] += current
        for number, node, other in reversed(self._steps):
            net[node] += net[other]
            found[number] = net[other] if circuit.branches[number].a == other else -net[other]
        return found
