"""The elimination of `tree`, for many nodes at once: numpy, loaded only when `solve` wants it.

The nodes of one place form a group.  Groups that are not neighbours are eliminated in the same round; on a circuit that is nearly
a tree every round takes a good part of what is left, so even a chain of ten thousand places needs few rounds.  The groups of a
round with as many neighbours each (a class) are worked out together in arrays whose last axis is the group.

Blocks are padded to the size of the largest group: nodes that are not there hang on earth by 1 S and on nothing else.  The diagonal
of the block of a group with itself, which a mesh does not need, holds the admittance (later the impedance) to earth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from heapq import heapify, heappop, heappush
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from onebond.circuit import reasons
from onebond.circuit.parts import EMF_MAX_V, Z_MAX_OHM, Z_MIN_OHM, Circuit, Pair, check
from onebond.circuit.tree import INEXACT, RESONANT, ROUNDING

LARGEST_GROUP = 8

Complexes = npt.NDArray[np.complex128]
Integers = npt.NDArray[np.int64]


def _numbers(pairs: Iterable[Pair]) -> Integers:
    return np.fromiter(chain.from_iterable(pairs), np.int64).reshape(-1, 2)


class _Sum(NamedTuple):
    """Where to add columns that may meet in one target: their order, the starts of equal targets, the targets."""

    order: Integers
    starts: Integers | None
    targets: Integers

    @classmethod
    def into(cls, targets: Integers) -> _Sum:
        order = np.argsort(targets, kind="stable")
        ordered = targets[order]
        fresh = np.empty(len(ordered), bool)
        fresh[:1] = True
        np.not_equal(ordered[1:], ordered[:-1], out=fresh[1:])
        if fresh.all():
            return cls(order, None, ordered)
        return cls(order, np.flatnonzero(fresh), ordered[fresh])

    def add(self, onto: Complexes, values: Complexes) -> None:
        values = values[..., self.order]
        if self.starts is not None:
            values = np.add.reduceat(values, self.starts, axis=-1)
        onto[..., self.targets] += values


class _Class:
    """Groups of one round with as many neighbours each: own groups low to high, and where their blocks lie."""

    __slots__ = (
        "around",
        "corner",
        "high",
        "inverse",
        "low",
        "off",
        "pairs",
        "scatter",
        "scatter_one",
        "shares",
        "width",
    )

    low: int
    high: int
    around: Integers  # neighbours, (width, groups)
    width: int
    off: int  # the first block with a neighbour; neighbour by neighbour, group by group
    pairs: list[tuple[int, int]]  # neighbour i with neighbour j, i <= j
    corner: Integers  # their blocks, pair by pair
    scatter: _Sum
    scatter_one: _Sum
    shares: Complexes  # of what is beside each own node, (own, own + neighbours + earth, groups); zero up to the node itself
    inverse: Complexes  # of the sum of admittances, (own, groups)


class Batched:
    """One circuit, eliminated.  `couples` are pairs between which `loops` will be asked; `groups` lie at one place each."""

    def __init__(self, circuit: Circuit, couples: Sequence[Pair], groups: Sequence[Pair]) -> None:
        self.circuit = circuit
        self._read()
        self._group(groups)
        order = self._plan(_numbers(couples))
        self._index(order)
        self._eliminate()
        self._r: Complexes | None = None

    def _read(self) -> None:
        circuit = self.circuit
        count = circuit.size
        a, b, z, emf, _ = zip(*circuit.branches, strict=True) if circuit.branches else ((), (), (), (), ())
        self._a, self._b = np.array(a, np.int64), np.array(b, np.int64)
        impedance = np.array(z, complex)
        size = np.abs(impedance)
        ends = np.concatenate([self._a, self._b, [0]])
        sound = (size >= Z_MIN_OHM) & (size <= Z_MAX_OHM) & (impedance.real >= 0)
        sound &= np.abs(np.array(emf, complex)) <= EMF_MAX_V
        odd = circuit.injections or len(circuit.places) not in (0, count) or not 0 <= circuit.earth < count
        if odd or not sound.all() or ends.min() < 0 or ends.max() >= count:
            check(circuit)
        self._y = 1 / impedance

    def _group(self, pairs: Sequence[Pair]) -> None:
        """Give each node a group and a slot in it."""
        count, earth = self.circuit.size, self.circuit.earth
        if self.circuit.places:
            label = np.array(self.circuit.places, np.int64)
        else:
            root = list(range(count))
            size = [1] * count
            for a, b in pairs:
                if a == earth or b == earth:
                    continue
                while root[a] != a:
                    root[a] = a = root[root[a]]
                while root[b] != b:
                    root[b] = b = root[root[b]]
                if a != b and size[a] + size[b] <= LARGEST_GROUP:
                    root[b] = a
                    size[a] += size[b]
            for node in range(count):
                top = node
                while root[top] != top:
                    top = root[top]
                root[node] = top
            label = np.array(root, np.int64)
        label = np.delete(label, earth)
        nodes = np.delete(np.arange(count), earth)
        order = np.argsort(label, kind="stable")
        _, start, sizes = np.unique(label[order], return_index=True, return_counts=True)
        # The width of the blocks: wide ones waste work on nodes that are not there, narrow ones cut places to pieces.
        amount = np.bincount(sizes, minlength=2)
        work = [
            sum(int(many) * -(-size // width) for size, many in enumerate(amount)) * (24 + width**3 / 8)
            for width in range(1, LARGEST_GROUP + 1)
        ]
        self._wide = wide = 1 + work.index(min(work))
        place = np.repeat(np.arange(len(sizes)), sizes)
        rank = np.arange(len(order)) - start[place]
        first = np.concatenate([[0], np.cumsum(-(-sizes // wide))])
        self._group_of = np.full(count, -1)
        self._slot_of = np.zeros(count, np.int64)
        self._group_of[nodes[order]] = first[place] + rank // wide
        self._slot_of[nodes[order]] = rank % wide
        self._groups = int(first[-1])

    def _plan(self, couples: Integers) -> list[list[tuple[int, list[int]]]]:
        """In which rounds the groups go, each with the neighbours that it has then."""
        groups = self._groups
        one = self._group_of[np.concatenate([self._a, couples[:, 0]])]
        other = self._group_of[np.concatenate([self._b, couples[:, 1]])]
        apart = (one != other) & (one >= 0) & (other >= 0)
        edges = np.unique(np.minimum(one[apart], other[apart]) * groups + np.maximum(one[apart], other[apart]))
        near: list[set[int]] = [set() for _ in range(groups)]
        for low, high in zip((edges // max(groups, 1)).tolist(), (edges % max(groups, 1)).tolist(), strict=True):
            near[low].add(high)
            near[high].add(low)
        heap = [(len(around), group) for group, around in enumerate(near)]
        heapify(heap)
        done = bytearray(groups)
        held = [-1] * groups
        rounds: list[list[tuple[int, list[int]]]] = []
        while heap:
            now = len(rounds)
            bound = -1
            gone: list[tuple[int, list[int]]] = []
            later = []
            while heap:
                degree, group = heap[0]
                around = near[group]
                if done[group] or degree != len(around):
                    heappop(heap)
                    continue
                if bound < 0:
                    bound = max(2, degree)
                if degree > bound:
                    break
                heappop(heap)
                if held[group] == now:
                    later.append(group)
                    continue
                done[group] = 1
                for other_group in around:
                    held[other_group] = now
                gone.append((group, list(around)))
            touched = set(later)
            for group, around_then in gone:
                touched.update(around_then)
                if len(around_then) == 1:
                    near[around_then[0]].discard(group)
                    continue
                for other_group in around_then:
                    row = near[other_group]
                    row.update(around_then)
                    row.discard(group)
                    row.discard(other_group)
            for group in sorted(touched):
                heappush(heap, (len(near[group]), group))
            if gone:
                rounds.append(gone)
        return rounds

    def _index(self, rounds: list[list[tuple[int, list[int]]]]) -> None:
        """Number the groups in the order of elimination and give every block its place."""
        groups = self._groups
        order: list[int] = []
        planned: list[tuple[int, int, list[list[int]]]] = []
        for gone in rounds:
            kinds: dict[int, list[tuple[int, list[int]]]] = {}
            for group, around in gone:
                kinds.setdefault(len(around), []).append((group, around))
            for width, members in sorted(kinds.items()):
                planned.append((len(order), width, [around for _, around in members]))
                order.extend(group for group, _ in members)
        position = np.empty(groups + 1, np.int64)
        position[order] = np.arange(groups)
        position[-1] = -1  # earth
        self._group_of = position[self._group_of]
        classes: list[_Class] = []
        keys, blocks = [], groups
        for low, width, around_old in planned:
            one = _Class()
            one.low, one.high, one.width, one.off = low, low + len(around_old), width, blocks
            beside = position[np.array(around_old, np.int64).reshape(len(around_old), width)]
            one.around = np.ascontiguousarray(np.sort(beside, axis=1).T)
            blocks += one.around.size
            keys.append((np.arange(one.low, one.high) * groups + one.around).ravel())
            classes.append(one)
        self._classes, self._blocks = classes, blocks
        key = np.concatenate(keys) if keys else np.zeros(0, np.int64)
        by_key = np.argsort(key)
        self._keys, self._key_blocks = key[by_key], groups + by_key
        for one in classes:
            width = one.width
            if not width:
                continue
            one.pairs = [(i, j) for i in range(width) for j in range(i, width)]
            pairs = np.array(one.pairs)
            first, second = one.around[pairs[:, 0]].ravel(), one.around[pairs[:, 1]].ravel()
            one.corner = first.copy()
            apart = first != second
            one.corner[apart] = self._block(first[apart], second[apart])
            one.scatter = _Sum.into(one.corner)
            one.scatter_one = _Sum.into(one.around.ravel())

    def _block(self, low: Integers, high: Integers) -> Integers:
        key = low * self._groups + high
        at = np.minimum(np.searchsorted(self._keys, key), max(len(self._keys) - 1, 0))
        if len(key) and (not len(self._keys) or (self._keys[at] != key).any()):
            raise LookupError("two nodes are asked for that lie apart and were not named beforehand")
        return self._key_blocks[at] if len(key) else at

    def _where(self, one: Integers, other: Integers) -> tuple[Integers, Integers, Integers]:
        """Slot, slot and block of pairs of different nodes; a pair with earth lies on the diagonal."""
        group, group_other = self._group_of[one], self._group_of[other]
        slot, slot_other = self._slot_of[one], self._slot_of[other]
        swap = (group > group_other) & (group_other >= 0) | (group < 0)
        low, high = np.where(swap, group_other, group), np.where(swap, group, group_other)
        row, column = np.where(swap, slot_other, slot), np.where(swap, slot, slot_other)
        to_earth = high < 0
        column = np.where(to_earth, row, column)
        block = low.copy()
        apart = (low != high) & ~to_earth
        block[apart] = self._block(low[apart], high[apart])
        return row, column, block

    def _eliminate(self) -> None:
        wide, blocks = self._wide, self._blocks
        joins = self._a != self._b
        a, b, y = self._a[joins], self._b[joins], self._y[joins]
        row, column, block = self._where(a, b)
        flat = (row * wide + column) * blocks + block
        mirrored = (block < self._groups) & (row != column)
        flat = np.concatenate([flat, ((column * wide + row) * blocks + block)[mirrored]])
        y = np.concatenate([y, y[mirrored]])
        mesh: Complexes = np.empty((wide, wide, blocks), complex)
        mesh.real = np.bincount(flat, y.real, minlength=mesh.size).reshape(mesh.shape)
        mesh.imag = np.bincount(flat, y.imag, minlength=mesh.size).reshape(mesh.shape)
        absent = np.ones((wide, self._groups), bool)
        inside = self._group_of >= 0
        absent[self._slot_of[inside], self._group_of[inside]] = False
        own = np.arange(wide)
        diagonal = mesh[own, own]
        diagonal[:, : self._groups][absent] = 1
        mesh[own, own] = diagonal
        with np.errstate(all="ignore"):
            for one in self._classes:
                self._eliminate_class(one, mesh)

    def _eliminate_class(self, one: _Class, mesh: Complexes) -> None:
        wide, low, high, width = self._wide, one.low, one.high, one.width
        many = high - low
        size = wide * (1 + width) + 1
        front = np.empty((wide, size, many), complex)
        front[:, :wide] = mesh[:, :, low:high]
        for i in range(width):
            start = one.off + i * many
            front[:, wide * (1 + i) : wide * (2 + i)] = mesh[:, :, start : start + many]
        own = np.arange(wide)
        front[own, -1] = front[own, own]
        one.shares = shares = np.zeros_like(front)
        one.inverse = inverse = np.empty((wide, many), complex)
        for k in range(wide):
            front[k, : k + 1] = 0
            beside = front[k, k + 1 :]
            inverse[k] = 1 / beside.sum(axis=0)
            np.multiply(beside, inverse[k], out=shares[k, k + 1 :])
            if k + 1 < wide:
                front[k + 1 :, k + 1 :] += shares[k, k + 1 : wide, None] * beside
        # The pivots against the sizes of what they sum: nothing there, or all of it cancelled.
        bad = ~(np.abs(inverse) * np.abs(front).sum(axis=1) < 1 / RESONANT)
        if bad.any():
            slot, group = (int(index[0]) for index in np.nonzero(bad))
            node = int(np.flatnonzero((self._group_of == group + low) & (self._slot_of == slot))[0])
            raise reasons.untied(self.circuit) or reasons.resonant(self.circuit, node)
        if width:
            outer = shares[:, wide:-1]
            corner = np.empty((wide, wide, len(one.pairs), many), complex)
            for at, (i, j) in enumerate(one.pairs):
                rows, columns = slice(wide * i, wide * (i + 1)), slice(wide * (1 + j), wide * (2 + j))
                np.einsum("kib,kjb->ijb", outer[:, rows], front[:, columns], out=corner[:, :, at])
                if i == j:
                    corner[own, own, at] = np.einsum("kib,kb->ib", outer[:, rows], front[:, -1])
            one.scatter.add(mesh, corner.reshape(wide, wide, -1))

    def _sweep(self) -> Complexes:
        wide = self._wide
        own = np.arange(wide)
        r = np.empty((wide, wide, self._blocks), complex)
        for one in reversed(self._classes):
            low, high, width = one.low, one.high, one.width
            many = high - low
            size = wide * (1 + width) + 1
            front = np.zeros((size, size, many), complex)
            if width:
                corner = r[:, :, one.corner].reshape(wide, wide, len(one.pairs), many)
                for at, (i, j) in enumerate(one.pairs):
                    rows, columns = slice(wide * (1 + i), wide * (2 + i)), slice(wide * (1 + j), wide * (2 + j))
                    part = corner[:, :, at]
                    if i == j:
                        front[rows, -1] = front[-1, rows] = part[own, own]
                        part[own, own] = 0
                        front[rows, columns] = part
                    else:
                        front[rows, columns] = part
                        front[columns, rows] = part.transpose(1, 0, 2)
            for k in range(wide - 1, -1, -1):
                shares = one.shares[k, k + 1 :]
                beside = np.einsum("ib,ijb->jb", shares, front[k + 1 :, k + 1 :])
                beside += one.inverse[k] - np.einsum("ib,ib->b", shares, beside) / 2
                front[k, k + 1 :] = beside
                front[k + 1 :, k] = beside
            inner = front[:wide, :wide]
            inner[own, own] = front[:wide, -1]
            r[:, :, low:high] = inner
            for i in range(width):
                start = one.off + i * many
                r[:, :, start : start + many] = front[:wide, wide * (1 + i) : wide * (2 + i)]
        return r

    def loops(self, pairs: Iterable[Pair]) -> list[complex]:
        """The impedance (ohm) between the two nodes of each pair, all EMFs at rest; LookupError outside the couples."""
        if self._r is None:
            self._r = self._sweep()
        asked = _numbers(pairs)
        found = np.zeros(len(asked), complex)
        apart = asked[:, 0] != asked[:, 1]
        found[apart] = self._r[self._where(asked[apart, 0], asked[apart, 1])]
        answer: list[complex] = found.tolist()
        return answer

    def respond(self, injected: Sequence[complex]) -> list[complex]:
        """The voltages (V) that currents (A) injected into the nodes cause, all EMFs at rest."""
        wide = self._wide
        inside = self._group_of >= 0
        slot, group = self._slot_of[inside], self._group_of[inside]
        value = np.zeros((wide, self._groups), complex)
        value[slot, group] = np.array(injected, complex)[inside]
        for one in self._classes:
            here = value[:, one.low : one.high]
            for k in range(wide - 1):
                here[k + 1 :] += one.shares[k, k + 1 : wide] * here[k]
            if one.width:
                onward = np.einsum("kjb,kb->jb", one.shares[:, wide:-1], here)
                onward = onward.reshape(one.width, wide, -1).transpose(1, 0, 2).reshape(wide, -1)
                one.scatter_one.add(value, onward)
        for one in reversed(self._classes):
            here = value[:, one.low : one.high]
            here *= one.inverse
            if one.width:
                beside = value[:, one.around].transpose(1, 0, 2).reshape(one.width * wide, -1)
                here += np.einsum("kjb,jb->kb", one.shares[:, wide:-1], beside)
            for k in range(wide - 2, -1, -1):
                here[k] += (one.shares[k, k + 1 : wide] * here[k + 1 :]).sum(axis=0)
        answer = np.zeros(self.circuit.size, complex)
        answer[inside] = value[slot, group]
        found: list[complex] = answer.tolist()
        return found

    def flows(
        self, voltages: Sequence[complex], emfs: Sequence[complex], injected: Sequence[complex], drive_a: float
    ) -> tuple[list[complex], list[complex], list[int]]:
        """Branch currents (A), the current missing at each node (A), and the nodes where it is more than rounding."""
        count, a, b, y = self.circuit.size, self._a, self._b, self._y
        voltage, emf, known = (np.array(values, complex) for values in (voltages, emfs, injected))
        current = y * (voltage[a] - voltage[b] + emf)
        inner = np.where(a == b, 0, current)
        size = np.abs(inner)
        weight = np.abs(y) * (np.abs(voltage[a]) + np.abs(voltage[b]) + np.abs(emf))

        def at_nodes(values: npt.NDArray[Any], sign: int) -> npt.NDArray[np.float64]:
            leaving = np.bincount(a, values, minlength=count).astype(float)
            return leaving + sign * np.bincount(b, values, minlength=count)

        missing = known - at_nodes(inner.real, -1) - 1j * at_nodes(inner.imag, -1)
        missing[self.circuit.earth] = 0
        allowed = INEXACT * (at_nodes(size, 1) + np.abs(known)) + ROUNDING * (at_nodes(weight, 1) + drive_a)
        wrong = np.flatnonzero(~(np.abs(missing) <= allowed))
        return current.tolist(), missing.tolist(), wrong.tolist()
