"""Why the equations of a circuit cannot be solved, in words of the trade."""

from __future__ import annotations

from collections.abc import Sequence

from onebond.circuit.parts import Circuit, parts

SHOWN = 4
"""So many names are written out; the rest is counted."""


class Unsolvable(ValueError):
    """There is no answer, or none that is certain: `reason` says why, `nodes` and `branches` where."""

    def __init__(self, reason: str, nodes: Sequence[int] = (), branches: Sequence[int] = ()) -> None:
        super().__init__(reason)
        self.reason = reason
        self.nodes = tuple(nodes)
        self.branches = tuple(branches)


def untied(circuit: Circuit) -> Unsolvable | None:
    """The parts that nothing ties to the mass of earth, as the reason why their potential is unknown."""
    _, *loose = parts(circuit)
    if not loose:
        return None
    nodes = [node for part in loose for node in part]
    inside = set(nodes)
    branches = [number for number, branch in enumerate(circuit.branches) if branch.a in inside]
    said = []
    for part in loose[:SHOWN]:
        members = set(part)
        sources = [
            number for number in branches if circuit.branches[number].emf_v and circuit.branches[number].a in members
        ]
        what = _listed([circuit.name_of(node) for node in part])
        if sources:
            driven = _listed([circuit.branch_name(number) for number in sources])
            said.append(
                f"{what} float: {driven} drives them, and no bond, electrode, capacitance or load ties them to earth"
            )
        elif len(part) == 1:
            said.append(f"{what} is tied to nothing")
        else:
            said.append(f"{what} are joined to each other and to nothing else")
    if len(loose) > SHOWN:
        said.append(f"and {len(loose) - SHOWN} more parts")
    return Unsolvable("; ".join(said), nodes, branches)


def resonant(circuit: Circuit, node: int) -> Unsolvable:
    """Inductance and capacitance cancel: the current or the voltage there has no bound."""
    branches = [number for number, branch in enumerate(circuit.branches) if branch.a != branch.b and node in branch[:2]]
    return Unsolvable(
        f"at {circuit.name_of(node)} the inductive and the capacitive current cancel (resonance), and no resistance bounds the rest",
        [node],
        branches,
    )


def inexact(circuit: Circuit, nodes: Sequence[int]) -> Unsolvable:
    """The currents found do not add up; so no number is given."""
    what = _listed([circuit.name_of(node) for node in nodes])
    return Unsolvable(
        f"the currents at {what} do not add up to 1e-9 of their sum: the impedances there lie too far apart, or resonate",
        nodes,
    )


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(names[:SHOWN])
    return shown if len(names) <= SHOWN else f"{shown} and {len(names) - SHOWN} more"
