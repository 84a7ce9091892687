"""Which operating states are worth a visit with the meter: the fewest that use every bond, relay, contact, source and RCD.

The usual state is one of them.  A pole of a changeover that has to be open is proved so with one side live and the other dead: with both
live a welded one shows nothing, because sources that stand there in the same phase, as on paper, have no voltage between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from onebond.meter.plant import SETTLED, Plant
from onebond.model import LINES
from onebond.network import Variable, build
from onebond.states import State, cases, holds, reach

KEPT = 3
"""For each open pole that no island shows, so many of the states that do are tried: of least effort, and that show most besides."""

STEPS = 200_000
"""Most steps of the search for the fewest visits; past it the visits found so far are taken, and that is said."""


class Proof(NamedTuple):
    """One thing that a visit proves: what, and which side of it."""

    kind: str  # usual | bond | relay | contact | open | apart | neutral | source | rcd | path | tied
    element: str
    side: str

    @property
    def words(self) -> str:
        """As a person would say it."""
        told = {
            "usual": "the usual state",
            "open": f"the line poles of {self.element} towards {self.side} open",
            "apart": f"the neutral of {self.element} {self.side}".rstrip() + " opens",
            "neutral": f"{self.element} on {self.side} with its neutral under load"
            if self.side
            else f"the neutral of {self.element} under load",
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
    left = sorted(chosen, key=lambda state: (state != plant.usual, costs[state]))
    before = plant.usual
    while left:
        # nothing is started onto a pole that may be welded, as long as another visit can show that it is not; else the nearest
        hazards = {one: len(_trusted(plant, one) - seen) for one in left}
        state = min(left, key=lambda one: (hazards[one], _moved(plant, before, one)))
        before = state
        left.remove(state)
        found.append(Visit(state, tuple(sorted(proofs[state] - seen))))
        seen |= proofs[state]
    return Visits(tuple(found), fewest, tuple(everything))


def _candidates(plant: Plant) -> Iterator[State]:
    """Whole states that somebody may set up on purpose: one for every case of a live island, and those that show open poles."""
    seen: dict[State, None] = dict.fromkeys(_by_islands(plant))
    for state in [*seen]:
        other = _isolated(plant, state)
        if other is not None and permitted(plant, other):
            seen[other] = None
    wanted = {proof for proof in _everything(plant) if proof.kind == "open"}
    wanted -= {proof for state in seen for proof in _opened(plant, state)}
    found: dict[State, frozenset[Proof]] = {}
    for state in [*seen]:
        for other in _with_a_dead_side(plant, state, wanted):
            if other not in seen and other not in found and permitted(plant, other):
                found[other] = _proofs(plant, other)
    kept: set[State] = set()
    for proof in sorted(wanted):
        shows = [state for state in found if proof in found[state]]
        kept.update(sorted(shows, key=lambda state: _effort(plant, state))[:KEPT])
        kept.update(sorted(shows, key=lambda state: -len(found[state]))[:KEPT])
    every = [*seen, *(state for state in found if state in kept)]
    # nobody pulls the supplier's fuse for what shows with a main isolator too
    asks = {state for state in every if _asks_the_supplier(plant, state)}
    shown = {proof for state in every if state not in asks for proof in _proofs(plant, state)}
    yield from (state for state in every if state not in asks or not _proofs(plant, state) <= shown)


def _asks_the_supplier(plant: Plant, state: State) -> bool:
    """Whether a supply is made dead at its fuse that has a main isolator."""
    return any(plant.way(supply, state) == "fuse" for supply in plant.isolations)


def _with_a_dead_side(plant: Plant, state: State, wanted: Iterable[Proof]) -> Iterator[State]:
    """States like one in which both sides of an open pole are live, with one of the sides dead."""
    told = plant.told(state)
    positions_of = {changeover.id: changeover.positions for changeover in plant.site.changeovers}
    for proof in wanted:
        if told[proof.element] == proof.side:
            continue
        far = tuple(n for n in _line_nodes(plant, proof.element, proof.side) if n >= 0)
        part = reach(plant.network, state, far)
        off: dict[str, str] = {}
        for i in plant.feeds(state):
            feed = plant.network.feeds[i]
            if any(part >> node & 1 for node in feed.lines):
                off.update(_off(plant, plant.variables[feed.variable]))
        ways: list[dict[str, str]] = [off] if off else []
        for passage in plant.network.passages:
            if any(part >> node & 1 for node in passage.outputs):
                ways.append({plant.variables[passage.variable].name: "off"})
        if "off" in positions_of[proof.element]:
            ways.append({proof.element: "off"})
        for way in ways:
            other = _like(plant, state, way)
            if other is not None and proof in _opened(plant, other):
                yield other


def _off(plant: Plant, one: Variable) -> dict[str, str]:
    """How a source is taken away: a supply by its main isolator where it has one."""
    if one.kind == "utility":
        isolation = plant.isolations.get(one.name)
        return {isolation.name: "open"} if isolation and isolation.name else {one.name: "absent"}
    return {"generator": {one.name: "standing"}, "inverter": {one.name: "off"}}.get(one.kind, {})


def _isolated(plant: Plant, state: State) -> State | None:
    """A state in which supplies are missing, set up by the main isolators; None where nothing is missing or none is described."""
    told = plant.told(state)
    missing = [one for one in plant.variables if one.kind == "utility" and told[one.name] == "absent"]
    ways = {one.name: _off(plant, one) for one in missing}
    if not missing or any(name in way for name, way in ways.items()):
        return None
    changed = {name: value for way in ways.values() for name, value in way.items()}
    return _like(plant, state, {**dict.fromkeys(ways, "present"), **changed})


def _like(plant: Plant, state: State, changed: Mapping[str, str]) -> State | None:
    """A state with some things set otherwise; an inverter that passed what is gone inverts by itself."""
    switched = {
        one.name: one.values[value]
        for one, value in zip(plant.variables, state, strict=True)
        if one.kind not in SETTLED or one.values[value] in ("off", "inverting")
    }
    other = plant.complete({**switched, **changed})
    return None if isinstance(other, str) else other


def _line_nodes(plant: Plant, changeover: str, terminal: str) -> tuple[int, ...]:
    return tuple(plant.network.find(changeover, terminal, line) for line in LINES)


class Side(NamedTuple):
    """The line poles of one input of a changeover that are open in a state, and the feeds that make each of their sides live."""

    proof: Proof
    far: frozenset[int]  # at the input
    near: frozenset[int]  # at what the changeover leads to


def sides(plant: Plant, state: State) -> Iterator[Side]:
    """Each set of line poles that has to be open in a state."""
    told = plant.told(state)
    for changeover in plant.site.changeovers:
        near = _line_nodes(plant, changeover.id, "")
        for position in changeover.positions:
            far = _line_nodes(plant, changeover.id, position)
            poles = [n for n, line in enumerate(LINES) if line in changeover.poles and far[n] >= 0 and near[n] >= 0]
            if position not in ("off", told[changeover.id]) and poles:
                yield Side(
                    Proof("open", changeover.id, position),
                    *(feeds_of(plant, state, [side[n] for n in poles]) for side in (far, near)),
                )


def feeds_of(plant: Plant, state: State, nodes: Iterable[int]) -> frozenset[int]:
    """The feeds that make some lines live; what only a neutral joins is not counted."""
    part = reach(plant.network, state, tuple(nodes), without_edges=_not(plant, "line"))
    return frozenset(i for i in plant.feeds(state) if any(part >> node & 1 for node in plant.network.feeds[i].lines))


def _opened(plant: Plant, state: State) -> frozenset[Proof]:
    """The poles that a state shows to be open: one side is live and the other is not."""
    return frozenset(side.proof for side in sides(plant, state) if bool(side.far) != bool(side.near))


def _apart(plant: Plant, state: State) -> Iterator[Proof]:
    """The contacts that keep two earthed neutrals apart in a state, with a load beside: one that does not open shows in PE and in RCDs.

    What an inverter feeds itself returns to it directly: there the load has to be on the side of its input.
    """
    network = plant.network
    inverters = {passage.id for passage in network.passages}
    routes = {changeover.id for changeover in plant.site.changeovers}
    for edge in network.edges:
        identifier = edge.element
        if edge.core != "N" or identifier not in routes | inverters or not edge.needs or holds(edge.needs, state):
            continue
        one, other = (held(plant, state, (end,)) for end in (edge.a, edge.b))
        ends = (edge.a,) if identifier in inverters else (edge.a, edge.b)
        if one and other and not one & other and any(_returns(plant, state, end, identifier) for end in ends):
            terminal = network.nodes[edge.a][1]
            yield Proof(
                "apart", identifier, f"towards {terminal}" if identifier in routes else "between input and output"
            )


def held(plant: Plant, state: State, neutrals: tuple[int, ...]) -> frozenset[int]:
    """The ties that hold some neutrals at earth in a state."""
    part = reach(plant.network, state, neutrals, without_edges=_not(plant, "neutral"))
    return frozenset(
        number for number, tie in enumerate(plant.network.ties) if part >> tie.n & 1 and holds(tie.needs, state)
    )


def _trusted(plant: Plant, state: State) -> frozenset[Proof]:
    """The poles that keep two sources apart in a state."""
    return frozenset(side.proof for side in sides(plant, state) if side.far and side.near and side.far != side.near)


def _by_islands(plant: Plant) -> Iterator[State]:
    """Whole states, one for every case of a live island, and the usual one."""
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
    return _moved(plant, plant.usual, state)


def _moved(plant: Plant, before: State | None, after: State) -> int:
    """The same from one state to another."""
    return sum(
        {"utility": 3, "device": 2, "plug": 2}.get(one.kind, 1)
        for number, one in enumerate(plant.variables)
        if before is None or before[number] != after[number]
    )


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
        positions = [position for position in changeover.positions if position != "off"]
        found |= {Proof("contact", changeover.id, position) for position in positions}
        if any(line in changeover.poles and network.find(changeover.id, "", line) >= 0 for line in LINES):
            found |= {Proof("open", changeover.id, position) for position in positions}
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
    found = {*_opened(plant, state), *_apart(plant, state)}
    if state == plant.usual and plant.feeds(state):
        found.add(Proof("usual", "", ""))
    supplied = tuple(node for _, nodes in (*network.boards, *network.circuits) for node in nodes)
    for i in plant.feeds(state):
        feed = network.feeds[i]
        lines = reach(network, state, feed.lines, without_edges=_not(plant, "line"))
        if not any(lines >> node & 1 for node in (*supplied, *(n for other in network.feeds for n in other.primary))):
            continue  # it stands behind an open switch
        found.add(Proof("source", feed.id, ""))
        if _loaded(plant, state, feed.lines, feed.neutrals):
            found.add(Proof("neutral", feed.id, ""))
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
            neutrals = (network.find(changeover.id, "", "N"),)
            if neutrals[0] >= 0 and _loaded(
                plant, state, _line_nodes(plant, changeover.id, ""), neutrals, changeover.id
            ):
                found.add(Proof("neutral", changeover.id, position))
    for passage in network.passages:
        name = network.variables[passage.variable].values[state[passage.variable]]
        behind = reach(network, state, passage.outputs, without_element=passage.id)
        fed = any(live >> node & 1 for node in passage.outputs) and any(behind >> node & 1 for node in supplied)
        if name in ("passing", "inverting") and fed:
            found.add(Proof("path", passage.id, name))
    return frozenset(found)


def _loads(plant: Plant) -> Iterator[tuple[int, int]]:
    """The line and the neutral of each load between one line and N."""
    for circuit in plant.site.circuits:
        own = [line for line in LINES if line in circuit.connection.cores]
        if len(own) == 1 and (circuit.load_w or circuit.load_va or circuit.load_a):
            line, neutral = (plant.network.find(circuit.id, "", core) for core in (own[0], "N"))
            if line >= 0 and neutral >= 0:
                yield line, neutral


def _loaded(plant: Plant, state: State, lines: tuple[int, ...], neutrals: tuple[int, ...], without: str = "") -> bool:
    """Whether a load between one line and N draws its current through some conductors."""
    network, starts = plant.network, tuple(node for node in lines if node >= 0)
    onto = reach(network, state, starts, without_element=without, without_edges=_not(plant, "line"))
    back = reach(network, state, neutrals, without_element=without, without_edges=_not(plant, "neutral"))
    return any(onto >> line & 1 and back >> neutral & 1 for line, neutral in _loads(plant))


def _returns(plant: Plant, state: State, neutral: int, without: str) -> bool:
    """Whether a load that is live has its neutral joined to one, an element taken out."""
    live = plant.live(state)
    back = reach(plant.network, state, (neutral,), without_element=without, without_edges=_not(plant, "neutral"))
    return any(live >> line & 1 and back >> own & 1 for line, own in _loads(plant))


def _cover(
    wanted: Iterable[Proof], proofs: Mapping[State, frozenset[Proof]], efforts: Mapping[State, int]
) -> tuple[tuple[State, ...], bool]:
    """The fewest states that prove everything, the least effort among as many; and whether the search came to its end."""
    order: list[State] = []
    for state in sorted(proofs, key=lambda state: (-len(proofs[state]), efforts[state])):
        if not any(proofs[state] <= proofs[other] and efforts[other] <= efforts[state] for other in order):
            order.append(state)  # what another state shows with as little effort is never needed
    order = [state for state in proofs if state in set(order)]
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
