"""Conditions that matter: some operating states as the shortest set of conditions that stands for exactly them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from onebond.network import Needs, Network
from onebond.result import Condition
from onebond.states import State


def conditions_of(network: Network, states: Iterable[State]) -> tuple[Condition, ...]:
    """The shortest set of conditions that stands for some states: variables that do not matter are left out.

    Two conditions that differ in one variable are joined; a variable that may have all its values is dropped.  The result
    covers exactly the given states.
    """
    cubes: set[tuple[tuple[int, frozenset[int]], ...]] = {
        tuple((variable, frozenset((value,))) for variable, value in enumerate(state) if value >= 0) for state in states
    }
    before: set[tuple[tuple[int, frozenset[int]], ...]] = set()
    while before != cubes:
        before = cubes
        cubes = {_without_implied(network, cube) for cube in _joined(network, cubes)}
    cubes = _without_special(cubes)
    ordered = sorted(cubes, key=lambda cube: (len(cube), [(v, sorted(values)) for v, values in cube]))
    return tuple(
        tuple(
            (
                network.variables[variable].name,
                tuple(network.variables[variable].values[value] for value in sorted(values)),
            )
            for variable, values in cube
        )
        for cube in ordered
    )


def _joined(
    network: Network, cubes: set[tuple[tuple[int, frozenset[int]], ...]]
) -> set[tuple[tuple[int, frozenset[int]], ...]]:
    """Join conditions that differ in one variable, until none do."""
    changed = True
    while changed:
        changed = False
        variables = sorted({variable for cube in cubes for variable, _ in cube}, reverse=True)
        for variable in variables:
            merged: dict[tuple[tuple[int, frozenset[int]], ...], frozenset[int]] = {}
            kept: set[tuple[tuple[int, frozenset[int]], ...]] = set()
            for cube in cubes:
                values = dict(cube).get(variable)
                if values is None:
                    kept.add(cube)
                else:
                    rest = tuple(item for item in cube if item[0] != variable)
                    merged[rest] = merged.get(rest, frozenset()) | values
            everything = frozenset(range(len(network.variables[variable].values)))
            for rest, values in merged.items():
                if values == everything or rest in kept:
                    kept.add(rest)
                else:
                    kept.add(tuple(sorted((*rest, (variable, values)))))
            if kept != cubes:
                changed = True
                cubes = kept
    return cubes


def _without_implied(
    network: Network, cube: tuple[tuple[int, frozenset[int]], ...]
) -> tuple[tuple[int, frozenset[int]], ...]:
    """Leave out what follows from the rest of the condition because an interlock forbids everything else."""
    for variable, values in cube:
        rest = dict(cube)
        del rest[variable]
        others = [v for v in range(len(network.variables[variable].values)) if v not in values]
        if all(any(_forbids(clause, rest, variable, other) for clause in network.never) for other in others):
            return _without_implied(network, tuple(rest.items()))
    return cube


def _forbids(clause: Needs, rest: Mapping[int, frozenset[int]], variable: int, value: int) -> bool:
    named = {v for v, _ in clause}
    return variable in named and all(
        mask >> value & 1 if v == variable else v in rest and all(mask >> known & 1 for known in rest[v])
        for v, mask in clause
    )


def _without_special(
    cubes: set[tuple[tuple[int, frozenset[int]], ...]],
) -> set[tuple[tuple[int, frozenset[int]], ...]]:
    """Leave out conditions that are special cases of another one."""
    ordered = sorted(cubes, key=len)
    kept: list[dict[int, frozenset[int]]] = []
    found = set()
    for cube in ordered:
        mine = dict(cube)
        if any(all(v in mine and mine[v] <= values for v, values in other.items()) for other in kept):
            continue
        kept.append(mine)
        found.add(cube)
    return found
