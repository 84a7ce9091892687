"""The one door to the solution of a circuit: operation, faults between any pairs of nodes, single broken branches.

    study = Study(circuit, pairs)      eliminates the circuit once
    study.solution                     node voltages and branch currents in service
    study.loops                        for each pair the impedance and voltage that a fault there meets
    study.under_fault(pair)            the whole solution with a fault between two nodes
    study.transfers(probes)            what a fault at one pair does between two other nodes
    study.failures(cases)              the loop at a pair with one branch broken, many cases at once
    study.without(branch)              the loops at all pairs with one branch broken

All of it is linear: a source that limits its current is an EMF below its limit and an `Injection` above it, and the caller
decides which.  Every answer is a number whose currents add up, or `Unsolvable` with the reason; never NaN.

Two nodes that only a broken branch joined have no loop: the answer is None, no current flows between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Literal, NamedTuple, Protocol

from onebond.circuit import reasons
from onebond.circuit.parts import Branch, Circuit, Cuts, Drive, Injection, Pair, check, check_pairs, merge
from onebond.circuit.reasons import Unsolvable
from onebond.circuit.tree import Tree

__all__ = [
    "Branch",
    "Circuit",
    "Failure",
    "Injection",
    "Loop",
    "Pair",
    "Probe",
    "Solution",
    "Study",
    "Unsolvable",
    "driving_point",
    "merge",
    "solve",
    "without",
]

Engine = Literal["auto", "tree", "batched", "dense"]

BATCHED_FROM = 800
"""Nodes of one circuit from which numpy is faster than plain Python (measured by tests/bench_circuit.py)."""

WORTH_LOADING = 16_000
"""Nodes of all circuits of a run together from which the gain is larger than the time to load numpy (70 ms)."""

RANK_ONE_FROM = 1e-6
"""A broken branch that left less than this share of a current to other ways is worked out anew.

The share is the difference of two numbers near 1 that are right to about 1e-16, so voltages are off by no more than about
1e-9 of the largest.
"""


class Solution(NamedTuple):
    """Voltage to earth of each node (V) and current of each branch from a to b (A)."""

    voltages_v: list[complex]
    currents_a: list[complex]


class Loop(NamedTuple):
    """What a fault between two nodes meets: impedance between them with the sources at rest, voltage without the fault."""

    z_ohm: complex
    open_v: complex

    @property
    def current_a(self) -> complex:
        """Current of a fault without impedance of its own, from the first node to the second."""
        return self.open_v / self.z_ohm


class Failure(NamedTuple):
    """One broken branch, and the two nodes between which the fault that follows is asked for."""

    branch: int
    pair: Pair


class Probe(NamedTuple):
    """A fault between two nodes, and two nodes whose voltage is asked for."""

    fault: Pair
    seen: Pair


class _Engine(Protocol):
    def respond(self, injected: Sequence[complex]) -> list[complex]: ...

    def loops(self, pairs: Sequence[Pair]) -> list[complex]: ...

    def flows(
        self, voltages: Sequence[complex], emfs: Sequence[complex], injected: Sequence[complex], drive_a: float
    ) -> tuple[list[complex], list[complex], list[int]]: ...


def _engine(
    circuit: Circuit, couples: Sequence[Pair], groups: Sequence[Pair], engine: Engine, circuits: int
) -> _Engine:
    if engine == "dense":
        from onebond.circuit.dense import Dense

        return Dense(circuit)
    large = circuit.size >= BATCHED_FROM and circuit.size * circuits >= WORTH_LOADING
    if engine == "batched" or (engine == "auto" and large):
        try:
            from onebond.circuit.batched import Batched
        except ModuleNotFoundError:
            # numpy is an extra: without it a large circuit takes longer and comes out the same.
            if engine == "batched":
                raise
        else:
            return Batched(circuit, couples, groups)
    return Tree(circuit, couples)


def _across(one: Pair, other: Pair) -> tuple[Pair, Pair, Pair, Pair]:
    (a, b), (c, d) = one, other
    return (a, c), (a, d), (b, c), (b, d)


class Study:
    """One circuit eliminated once, with all that is asked of it.

    `pairs` are where faults may happen; `failures` and `probes` have to be named beforehand, since they widen the pattern that
    the elimination keeps: cheap while the nodes of a case lie near each other, dear if not (then `without`, `under_fault`).
    `circuits` says how many of this size the run solves, and `engine` how: both change the time, not the answers.
    Raises ValueError for values outside the limits of `parts.check`, `Unsolvable` if a node is tied to nothing.
    """

    def __init__(
        self,
        circuit: Circuit,
        pairs: Iterable[Pair] = (),
        failures: Iterable[Failure] = (),
        probes: Iterable[Probe] = (),
        engine: Engine = "auto",
        circuits: int = 1,
    ) -> None:
        self.circuit = circuit
        self.pairs = list(pairs)
        check_pairs(circuit, self.pairs)
        self._engine_name: Engine = engine
        self._circuits = circuits
        couples = list(self.pairs)
        failures, probes = list(failures), list(probes)
        check_pairs(circuit, [failure.pair for failure in failures])
        check_pairs(circuit, [pair for probe in probes for pair in probe])
        for branch, pair in failures:
            couples.append(pair)
            # Past a branch that alone joins two parts nothing is asked of both ends.
            if not self.cuts.is_single(branch):
                couples += _across(circuit.branches[branch][:2], pair)
        for probe in probes:
            couples.append(probe.fault)
            couples.append(probe.seen)
            couples += _across(probe.fault, probe.seen)
        self._engine = _engine(circuit, couples, self.pairs, engine, circuits)

    @cached_property
    def _drive(self) -> Drive:
        return Drive(self.circuit)

    @cached_property
    def _injected(self) -> list[complex]:
        injected = [0j] * self.circuit.size
        for a, b, current, _ in self.circuit.injections:
            injected[a] -= current
            injected[b] += current
        return injected

    def _settle(self, emfs: Sequence[complex], injected: Sequence[complex]) -> tuple[list[complex], list[complex]]:
        """Voltages and currents that EMFs and injected currents cause, improved until the currents add up."""
        engine = self._engine
        known = list(injected)
        for branch, emf in zip(self.circuit.branches, emfs, strict=True):
            if emf:
                current = emf / branch.z_ohm
                known[branch.a] -= current
                known[branch.b] += current
        drive_a = max(map(abs, known))
        voltages = engine.respond(known)
        for attempt in range(3):
            currents, missing, wrong = engine.flows(voltages, emfs, injected, drive_a)
            if not wrong:
                break
            if attempt < 2:
                more = engine.respond(missing)
                voltages = [value + extra for value, extra in zip(voltages, more, strict=True)]
        else:
            raise reasons.inexact(self.circuit, wrong)
        collected = self._drive.collect(self.circuit, currents, injected)
        if self._drive.floating:
            # What is common to a floating part still has the rounding of the currents inside it.  The currents collected
            # add up exactly; where they are not what the voltages drive, the difference is the error, to all its digits.
            known = [0j] * self.circuit.size
            for (a, b, _, _, _), right, one in zip(self.circuit.branches, collected, currents, strict=True):
                if right != one:
                    known[a] += right - one
                    known[b] -= right - one
            voltages = [value + extra for value, extra in zip(voltages, engine.respond(known), strict=True)]
            currents, _, wrong = engine.flows(voltages, emfs, injected, drive_a)
            if wrong:
                raise reasons.inexact(self.circuit, wrong)
            collected = self._drive.collect(self.circuit, currents, injected)
        return voltages, collected

    @cached_property
    def solution(self) -> Solution:
        """Voltages and currents with all sources at work and no fault."""
        voltages, currents = self._settle(self._drive.emfs_v, self._injected)
        shift = self._drive.shift_v
        return Solution([value + moved for value, moved in zip(voltages, shift, strict=True)], currents)

    @cached_property
    def impedances_ohm(self) -> list[complex]:
        """For each pair the impedance between its nodes with the sources at rest."""
        return self._engine.loops(self.pairs)

    @cached_property
    def loops(self) -> list[Loop]:
        """For each pair what a fault between its nodes meets."""
        voltages = self.solution.voltages_v
        return [
            Loop(z_ohm, voltages[a] - voltages[b])
            for (a, b), z_ohm in zip(self.pairs, self.impedances_ohm, strict=True)
        ]

    def respond(self, pair: Pair) -> Solution:
        """Voltages and currents that 1 A injected into the first node and taken from the second causes, sources at rest."""
        check_pairs(self.circuit, [pair])
        injected = [0j] * self.circuit.size
        injected[pair[0]] += 1
        injected[pair[1]] -= 1
        return Solution(*self._settle([0j] * len(self.circuit.branches), injected))

    def under_fault(self, pair: Pair, z_ohm: complex = 0j) -> tuple[complex, Solution]:
        """The current (A) of a fault of impedance z_ohm between two nodes, and all voltages and currents meanwhile."""
        before, response = self.solution, self.respond(pair)
        a, b = pair
        loop_ohm = response.voltages_v[a] - response.voltages_v[b] + z_ohm
        current = (before.voltages_v[a] - before.voltages_v[b]) / loop_ohm
        return current, Solution(
            [value - current * by for value, by in zip(before.voltages_v, response.voltages_v, strict=True)],
            [value - current * by for value, by in zip(before.currents_a, response.currents_a, strict=True)],
        )

    def transfers(self, probes: Sequence[Probe]) -> list[complex]:
        """For each probe the voltage (V) between the seen nodes for 1 A into the first fault node and out of the second.

        A fault current I lowers the voltage between the seen nodes by I times that.  LookupError for a probe that is far apart
        and was not named beforehand.
        """
        return self._transfers([(probe.fault, probe.seen) for probe in probes])

    def _transfers(self, asked: Sequence[tuple[Pair, Pair]]) -> list[complex]:
        found = self._engine.loops([couple for one, other in asked for couple in _across(one, other)])
        return [(found[at + 1] + found[at + 2] - found[at] - found[at + 3]) / 2 for at in range(0, len(found), 4)]

    @cached_property
    def cuts(self) -> Cuts:
        """Which branches alone join two parts of the circuit."""
        try:
            return Cuts(self.circuit)
        except IndexError:
            check(self.circuit)
            raise

    def failures(self, cases: Sequence[Failure]) -> list[Loop | None]:
        """The loop at each pair with the branch broken; None where nothing joins its nodes any more.

        The cases must have been named beforehand or lie near each other (LookupError otherwise).  A part that loses its tie to
        earth keeps the loops within itself.
        """
        circuit, cuts = self.circuit, self.cuts
        branches, (voltages, currents) = circuit.branches, self.solution
        z_pairs = self._engine.loops([case.pair for case in cases])
        whole = [
            Loop(z_ohm, voltages[case.pair[0]] - voltages[case.pair[1]])
            for case, z_ohm in zip(cases, z_pairs, strict=True)
        ]
        found: list[Loop | None] = list(whole)
        joined = []
        for number, (branch, pair) in enumerate(cases):
            if cuts.is_single(branch):
                found[number] = self._parted(branch, pair, whole[number])
            else:
                joined.append(number)
        ends = [branches[cases[number].branch][:2] for number in joined]
        z_own = self._engine.loops(ends)
        z_cross = self._transfers([(end, cases[number].pair) for end, number in zip(ends, joined, strict=True)])
        anew: dict[int, list[int]] = {}
        for number, own, cross in zip(joined, z_own, z_cross, strict=True):
            branch, before = cases[number].branch, whole[number]
            y = 1 / branches[branch].z_ohm
            rest = 1 - y * own
            if abs(rest) < RANK_ONE_FROM:
                anew.setdefault(branch, []).append(number)
            else:
                change = cross / rest
                found[number] = Loop(before.z_ohm + y * cross * change, before.open_v + currents[branch] * change)
        for branch, numbers in anew.items():
            loops = self._anew(branch, [cases[number].pair for number in numbers])
            for number, new in zip(numbers, loops, strict=True):
                found[number] = new
        return found

    def without(self, branch: int) -> list[Loop | None]:
        """The loops at all pairs with one branch broken; None where nothing joins the nodes any more."""
        broken = self.circuit.branches[branch]
        if broken.a == broken.b:
            return list(self.loops)
        if self.cuts.is_single(branch):
            return [self._parted(branch, pair, loop) for pair, loop in zip(self.pairs, self.loops, strict=True)]
        by = self.respond((broken.a, broken.b)).voltages_v
        y = 1 / broken.z_ohm
        rest = 1 - y * (by[broken.a] - by[broken.b])
        if abs(rest) < RANK_ONE_FROM:
            return self._anew(branch, self.pairs)
        current = self.solution.currents_a[branch]
        found: list[Loop | None] = []
        for (a, b), loop in zip(self.pairs, self.loops, strict=True):
            cross = by[a] - by[b]
            found.append(Loop(loop.z_ohm + y * cross * cross / rest, loop.open_v + cross * current / rest))
        return found

    def _parted(self, branch: int, pair: Pair, loop: Loop) -> Loop | None:
        # Nothing returns past a branch that alone joins two parts, so it carried no current and nothing changes on
        # either side; unless a fixed current is driven across it.
        for source in self.circuit.injections:
            if source.current_a and self.cuts.divides(branch, (source.a, source.b)):
                raise Unsolvable(
                    f"{source.name or 'a source'} drives a fixed current, and with {self.circuit.branch_name(branch)} broken "
                    "there is no way back for it",
                    [source.a, source.b],
                    [branch],
                )
        return None if self.cuts.divides(branch, pair) else loop

    def _anew(self, branch: int, pairs: Sequence[Pair]) -> list[Loop | None]:
        branches = self.circuit.branches
        rest = self.circuit._replace(branches=branches[:branch] + branches[branch + 1 :])
        return list(Study(rest, pairs, engine=self._engine_name, circuits=self._circuits).loops)


def solve(circuit: Circuit, engine: Engine = "auto") -> Solution:
    """All node voltages and branch currents of a circuit; `Unsolvable` with the reason where there are none."""
    return Study(circuit, engine=engine).solution


def driving_point(circuit: Circuit, pairs: Iterable[Pair], engine: Engine = "auto") -> list[complex]:
    """For each pair of nodes the impedance (ohm) between them with all sources at rest."""
    return Study(circuit, pairs, engine=engine).impedances_ohm


def without(circuit: Circuit, branch: int, pairs: Iterable[Pair], engine: Engine = "auto") -> list[Loop | None]:
    """For each pair of nodes the loop with one branch broken; None where nothing joins them any more."""
    return Study(circuit, pairs, engine=engine).without(branch)
