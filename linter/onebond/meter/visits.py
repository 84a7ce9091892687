"""Which operating states are worth a visit with the meter: the fewest that use every bond, relay, contact, source and RCD."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from onebond.meter.plant import Plant
from onebond.network import build
from onebond.states import State, cases, holds, reach

STEPS = 200_000
"""Most steps of the search for the fewest visits; past it the visits found so far are taken, and that is said."""


class Proof(NamedTuple):
    """One thing that a visit proves: what, and which side of it."""

    kind: str  # bond | relay | contact | source | rcd | path | tied
    element: str
    side: str

    @property
    def words(self) -> str:
        """As a person would say it."""
        told = {
            "bond": f"the bond {self.element} holds the neutral",
            "relay": f"the bond {self.element} is {self.side}",
            "contact": f"{self.element} on {self.side}",
            "source": f"{self.element} feeds",
            "rcd": f"the RCD {self.element} carries load",
            "path": f"{self.element} {self.side}",
            "tied": f"{self.element} live with {self.side}",
        }
        return told[self.kind]


class Visit(NamedTuple):
    """One state to measure in, and what it proves that no earlier visit did."""

    state: State
    proves: tuple[Proof, ...]


class Visits(NamedTuple):
    """The visits, whether they are proved to be the fewest, and what no permitted state proves."""

    visits: tuple[Visit, ...]
    fewest: bool
    unproved: tuple[Proof, ...]


def visits(plant: Plant) -> Visits:
    """The states to visit, the most usual first."""
    candidates = list(_candidates(plant))
    proofs = {state: _proofs(plant, state) for state in candidates}
    wanted = sorted(set().union(*proofs.values())) if proofs else []
    everything = sorted(_everything(plant) - set(wanted) - _dead(plant))
    costs = {state: (_effort(plant, state), number) for number, state in enumerate(candidates)}
    order = sorted(candidates, key=lambda state: costs[state])
    efforts = {state: effort for state, (effort, _) in costs.items()}
    chosen, fewest = _cover(wanted, {state: proofs[state] for state in order}, efforts)
    seen: set[Proof] = set()
    found = []
    for state in sorted(chosen, key=lambda state: costs[state]):
        found.append(Visit(state, tuple(sorted(proofs[state] - seen))))
        seen |= proofs[state]
    return Visits(tuple(found), fewest, tuple(everything))


def _candidates(plant: Plant) -> Iterator[State]:
    """Whole states, one for every case of a live island, that somebody may set up on purpose."""
    network = build(plant.site)
    seen: set[State] = set()
    settings: list[Mapping[str, str]] = [
        {one.name: one.values[value] for one, value in zip(network.variables, case.state, strict=True) if value >= 0}
        for case in cases(network).cases
    ]
    for setting in settings:
        if any("+" in value or value == "detached" for value in setting.values()):
            continue
        state = plant.complete(setting)
        if not isinstance(state, str) and state not in seen and permitted(plant, state):
            seen.add(state)
            yield state
    if plant.usual is not None and plant.usual not in seen and permitted(plant, plant.usual):
        yield plant.usual


def permitted(plant: Plant, state: State) -> bool:
    """Whether nobody is put at risk by setting it up: sources that may not run together do not."""
    feeds = [plant.network.feeds[i] for i in plant.feeds(state)]
    for at, feed in enumerate(feeds):
        part = reach(plant.network, state, feed.lines, without_edges=_not(plant, "line"))
        for other in feeds[at + 1 :]:
            named = {source.id for source in (*feed.sources, *other.sources)} | {feed.id, other.id}
            allowed = {one for source in (*feed.sources, *other.sources) for one in source.may_parallel}
            if any(part >> node & 1 for node in other.lines) and not allowed & named:
                return False
    return True


def _not(plant: Plant, sort: str) -> frozenset[int]:
    """The edges that do not join lines, or neutrals, to each other."""
    return frozenset(number for number, one in enumerate(plant.network.plain) if one[4] != sort)


def _effort(plant: Plant, state: State) -> int:
    """How much has to be moved from the usual state; what nobody is meant to open, and a supply that has to go, count more."""
    kinds = {one.name: one.kind for one in plant.variables}
    return sum({"utility": 3, "device": 2, "plug": 2}.get(kinds[name], 1) for name, _ in plant.unusual(state))


def _everything(plant: Plant) -> set[Proof]:
    """All that ought to be proved at some visit."""
    network = plant.network
    found = {Proof("source", feed.id, "") for feed in network.feeds if feed.forming}
    for tie in network.ties:
        if tie.kind in ("bond", "internal"):
            if tie.needs:
                found |= {Proof("relay", tie.id, side) for side in ("closed", "open")}
            else:
                found.add(Proof("bond", tie.id, ""))
    found |= {Proof("rcd", rcd.name, "") for rcd in network.rcds}
    for changeover in plant.site.changeovers:
        found |= {Proof("contact", changeover.id, position) for position in changeover.positions if position != "off"}
    for passage in network.passages:
        found |= {Proof("path", passage.id, side) for side in ("passing", "inverting")}
    return found


def _dead(plant: Plant) -> set[Proof]:
    """What N to PE without voltage proves of a relay inside a source: the side on which it stands with everything off."""
    inner = [tie for tie in plant.network.ties if tie.kind == "internal" and tie.needs]
    return {Proof("relay", tie.id, "closed" if holds(tie.needs, plant.dead) else "open") for tie in inner}


def _proofs(plant: Plant, state: State) -> frozenset[Proof]:
    """What measuring in a state proves: what carries voltage or current there."""
    network = plant.network
    live = plant.live(state)
    told = plant.told(state)
    neutral = 0
    found: set[Proof] = set()
    supplied = tuple(node for _, nodes in (*network.boards, *network.circuits) for node in nodes)
    for i in plant.feeds(state):
        feed = network.feeds[i]
        lines = reach(network, state, feed.lines, without_edges=_not(plant, "line"))
        if not any(lines >> node & 1 for node in (*supplied, *(n for other in network.feeds for n in other.primary))):
            continue  # it stands behind an open switch
        found.add(Proof("source", feed.id, ""))
        own = reach(network, state, feed.neutrals, without_edges=_not(plant, "neutral"))
        neutral |= own
        tied = sorted({tie.id for tie in network.ties if own >> tie.n & 1 and holds(tie.needs, state)})
        found.add(
            Proof("tied", feed.id, f"its neutral tied by {', '.join(tied)}" if tied else "its neutral tied by nothing")
        )
    for tie in network.ties:
        if tie.kind in ("bond", "internal") and neutral >> tie.n & 1:
            if not tie.needs:
                found.add(Proof("bond", tie.id, ""))
            else:
                found.add(Proof("relay", tie.id, "closed" if holds(tie.needs, state) else "open"))
    for rcd in network.rcds:
        if any(live >> network.edges[edge].b & 1 and holds(network.edges[edge].needs, state) for edge in rcd.lines):
            found.add(Proof("rcd", rcd.name, ""))
    for changeover in plant.site.changeovers:
        position = told[changeover.id]
        nodes = [n for n, key in enumerate(network.nodes) if key[:2] == (changeover.id, "") and key[2] != "PE"]
        if position != "off" and any(live >> node & 1 for node in nodes):
            found.add(Proof("contact", changeover.id, position))
    for passage in network.passages:
        name = network.variables[passage.variable].values[state[passage.variable]]
        if name in ("passing", "inverting") and any(live >> node & 1 for node in passage.outputs):
            found.add(Proof("path", passage.id, name))
    return frozenset(found)


def _cover(
    wanted: Iterable[Proof], proofs: Mapping[State, frozenset[Proof]], efforts: Mapping[State, int]
) -> tuple[tuple[State, ...], bool]:
    """The fewest states that prove everything, the least effort among as many; and whether the search came to its end."""
    order = list(proofs)
    by_proof = {proof: [state for state in order if proof in proofs[state]] for proof in wanted}
    best: list[State] = []
    left = frozenset(by_proof)
    while left:  # greedy: the bound that the search has to beat
        state = max(order, key=lambda one: len(proofs[one] & left))
        best.append(state)
        left -= proofs[state]
    bound = (len(best), sum(efforts[state] for state in best))
    most = max((len(one) for one in proofs.values()), default=1)
    steps = 0

    def search(chosen: list[State], effort: int, missing: frozenset[Proof]) -> None:
        nonlocal best, bound, steps
        steps += 1
        if steps > STEPS:
            return
        if (len(chosen) + -(-len(missing) // most), effort) >= bound:
            return
        if not missing:
            best, bound = list(chosen), (len(chosen), effort)
            return
        hardest = min(missing, key=lambda proof: (len(by_proof[proof]), proof))
        for state in by_proof[hardest]:
            search([*chosen, state], effort + efforts[state], missing - proofs[state])

    search([], 0, frozenset(by_proof))
    return tuple(best), steps <= STEPS
