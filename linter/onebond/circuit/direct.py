"""Short-circuit currents of a direct-current side: batteries as EMFs behind resistances, cables as resistances.

The same solution of circuits as that of the alternating-current side, with real numbers.  Steady currents: neither the
inductance of the ways nor what capacitors give in the first milliseconds is in it.
"""

from __future__ import annotations

from collections.abc import Sequence

from onebond.circuit.parts import Branch, Circuit, Pair, merge
from onebond.circuit.solve import Study


def short_circuits(
    size: int, contacts: Sequence[Pair], branches: Sequence[Branch], pairs: Sequence[Pair]
) -> list[float | None]:
    """For each pair of nodes the current in A of a short circuit between them, by its amount.

    ``contacts`` join nodes without resistance.  0: nothing drives a current there; None: nothing limits it.  A battery is a branch
    with an EMF from its negative to its positive pole.
    """
    label = merge(size, contacts)
    size = max(label, default=-1) + 1
    part = merge(size, [(label[one.a], label[one.b]) for one in branches])
    found: list[float | None] = [0.0] * len(pairs)
    for number in sorted(set(part)):
        nodes = [node for node in range(size) if part[node] == number]
        at = {node: index for index, node in enumerate(nodes)}
        own = tuple(
            one._replace(a=at[label[one.a]], b=at[label[one.b]]) for one in branches if part[label[one.a]] == number
        )
        asked = {
            index: (at[label[a]], at[label[b]])
            for index, (a, b) in enumerate(pairs)
            if part[label[a]] == part[label[b]] == number
        }
        wanted = dict.fromkeys(pair for pair in asked.values() if pair[0] != pair[1])
        if not any(one.emf_v for one in own):
            continue
        study = Study(Circuit(len(nodes), own, 0), wanted)
        amounts: dict[Pair, float | None] = {
            pair: abs(loop.current_a) for pair, loop in zip(study.pairs, study.loops, strict=True)
        }
        for index, pair in asked.items():
            found[index] = amounts.get(pair)
    return found
