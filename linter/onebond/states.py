"""Operating states, one live island at a time.

The engine never lists the product of all switch positions.  It starts at each source that can form an island, grows the set
of nodes that are live with it, and branches only on the variables that the growth meets: a *case* is one island together
with the variables that it met.  Variables that a case does not name may have any value.  No case is skipped and none is
sampled; where ``LIMIT`` is hit the source is named as not proven.

Other modules see only :class:`Case` and :func:`cases`; how the cases are found may change.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import chain
from types import MappingProxyType
from typing import NamedTuple

from onebond.network import Feed, Needs, Network

LIMIT = 20_000
"""Most cases that are worked out for one source, and most for a whole site times four."""

State = tuple[int, ...]  # value number of each variable, -1 where it does not matter


class Case(NamedTuple):
    """One live island in the operating states that agree with ``state``."""

    state: State
    live: int  # bit set of live nodes
    feeds: tuple[int, ...]  # numbers of the feeds that energise it


class Survey(NamedTuple):
    """All cases of a network, and the sources whose cases were too many to work out."""

    cases: tuple[Case, ...]
    not_proven: tuple[str, ...]


class _TooMany(Exception):
    pass


def holds(needs: Needs, state: State) -> bool:
    """Whether every need is met for certain by the known values."""
    for variable, mask in needs:  # a plain loop: this is asked a million times
        value = state[variable]
        if value < 0 or not mask >> value & 1:
            return False
    return True


def cases(network: Network, limit: int = LIMIT) -> Survey:
    """Every case of every live island that supplies something, each once, in a stable order."""
    found: dict[tuple[State, int], Case] = {}
    not_proven: list[str] = []
    supplied = 0
    for _, lines in (*network.boards, *network.circuits):
        for node in lines:
            supplied |= 1 << node
    for feed in network.feeds:
        if not feed.forming:
            continue
        room = [limit, 4 * limit - len(found)]
        try:
            for case in _from(network, feed, room):
                if case.live & supplied:
                    found.setdefault((case.state, case.live), case)
                    room[1] = 4 * limit - len(found)
        except _TooMany:
            not_proven.append(feed.id)
    return Survey(tuple(found.values()), tuple(not_proven))


def _from(network: Network, feed: Feed, room: list[int]) -> Iterator[Case]:
    start: State = (-1,) * len(network.variables)
    for state in _set(network, start, feed.variable, feed.energised):
        starts = feed.members or ((*feed.lines, *feed.neutrals),)
        for grown, live in chain.from_iterable(_grow(network, state, start, room) for start in starts):
            feeds = _energised(network, grown, live)
            if not _passages_fed(network, grown, live, feeds):
                continue
            for complete in _supported(network, grown, _supports(network, grown, live, feeds), room):
                for final in _earth(network, complete):
                    if _possible(network, final):
                        room[0] -= 1
                        if min(room) < 0:
                            raise _TooMany
                        yield Case(final, live, feeds)


def _set(network: Network, state: State, variable: int, mask: int) -> Iterator[State]:
    """The state with the variable at each of the values in the mask, as far as interlocks allow."""
    known = state[variable]
    for value in range(len(network.variables[variable].values)):
        if mask >> value & 1 and known in (-1, value):
            following = (*state[:variable], value, *state[variable + 1 :])
            if not any(holds(clause, following) for clause in network.never):
                yield following


def _spread(network: Network, states: Iterable[State], variable: int) -> Iterator[State]:
    """Some states with a variable at each of its values, as far as it is not known and interlocks allow."""
    everything = (1 << len(network.variables[variable].values)) - 1
    return chain.from_iterable(_set(network, state, variable, everything) for state in states)


def _grow(network: Network, state: State, start: tuple[int, ...], room: list[int]) -> Iterator[tuple[State, int]]:
    """Grow an island from some nodes; branch on each variable as it is met."""
    live = 0
    for node in start:
        live |= 1 << node
    pending: list[tuple[State, int, tuple[int, ...]]] = [(state, live, start)]
    steps = 0
    while pending:
        state, live, queue_left = pending.pop()
        queue = list(queue_left)
        branched = False
        while queue and not branched:
            node = queue[-1]
            unknown = -1
            for variable in network.touch[node]:
                if state[variable] < 0:
                    unknown = variable
                    break
            fresh: list[int] = []
            if unknown < 0:
                for edge, other in network.around[node]:
                    closed = True
                    for variable, mask in network.edges[edge].needs:
                        value = state[variable]
                        if value < 0:
                            unknown = variable
                        elif not mask >> value & 1:
                            closed = False
                            break
                    if not closed:
                        unknown = -1
                        continue
                    if unknown >= 0:
                        break
                    if not live >> other & 1:
                        live |= 1 << other
                        fresh.append(other)
            if unknown >= 0:
                steps += 1
                if steps > 4 * room[0] + 1000:
                    raise _TooMany
                left = (*fresh, *queue)
                for following in reversed(list(_spread(network, (state,), unknown))):
                    pending.append((following, live, left))
                branched = True
            else:
                queue.pop()
                queue.extend(fresh)
        if not branched:
            yield state, live


def _energised(network: Network, state: State, live: int) -> tuple[int, ...]:
    """The feeds that energise an island: their terminals are in it and they are in a state that energises."""
    return tuple(
        i
        for i, feed in enumerate(network.feeds)
        if feed.at_work(state) and any(live >> node & 1 for node in feed.lines)
    )


def _passages_fed(network: Network, state: State, live: int, feeds: tuple[int, ...]) -> bool:
    """Whether every inverter of the island that passes has an input that is fed otherwise than through itself."""
    for passage in network.passages:
        if not live >> passage.inputs[0] & 1 or not passage.passing >> state[passage.variable] & 1:
            continue
        fed = reach(network, state, passage.inputs, without_element=passage.id)
        if not any(fed >> node & 1 for i in feeds if network.feeds[i].forming for node in network.feeds[i].lines):
            return False
    return True


class _Support(NamedTuple):
    """Nodes outside an island that have to be energised for its state to be possible."""

    nodes: tuple[int, ...]
    element: str  # by something else than this


def _supports(network: Network, state: State, live: int, feeds: tuple[int, ...]) -> tuple[_Support, ...]:
    """What an island rests on: primaries of isolating transformers, inputs of inverters that pass without being live here.

    An inverter of which only the neutral is in the island can pass only while its input line is fed elsewhere.
    """
    found = [_Support(network.feeds[i].primary, network.feeds[i].id) for i in feeds if network.feeds[i].primary]
    for passage in network.passages:
        value = state[passage.variable]
        if value >= 0 and passage.passing >> value & 1 and not live >> passage.inputs[0] & 1:
            found.append(_Support(passage.inputs, passage.id))
    return tuple(found)


def _supported(
    network: Network,
    state: State,
    waiting: tuple[_Support, ...],
    room: list[int],
    asked: Mapping[str, frozenset[str]] = MappingProxyType({}),
) -> Iterator[State]:
    """The states in which everything that an island rests on is energised; nothing may rest on itself.

    ``asked``: what was looked at already, each with the feeds that energise it.
    """
    if not waiting:
        if _founded(asked):
            yield state
        return
    first, *rest = waiting
    if first.element in asked:  # several things rest on it
        yield from _supported(network, state, tuple(rest), room, asked)
        return
    for grown, live in _grow(network, state, first.nodes, room):
        behind = tuple(i for i in _energised(network, grown, live) if network.feeds[i].forming)
        if not _passages_fed(network, grown, live, behind):
            continue
        direct = any(not network.feeds[i].primary for i in behind)
        further = () if direct else _supports(network, grown, live, behind)
        by = frozenset(network.feeds[i].id for i in behind)
        yield from _supported(network, grown, (*rest, *further), room, {**asked, first.element: by})


def _founded(asked: Mapping[str, frozenset[str]]) -> bool:
    """Whether each of some things is energised, by way of others of them, from something that is none of them."""
    left = dict(asked)
    while left:
        resting = {element: by for element, by in left.items() if by <= left.keys()}
        if len(resting) == len(left):
            return False
        left = resting
    return True


def _earth(network: Network, state: State) -> Iterator[State]:
    """Branch on what can open a protective conductor (plugs, a detached supplier, a switched PE)."""
    states = [state]
    for variable in network.earth_variables:
        states = list(_spread(network, states, variable))
    yield from states


def _possible(network: Network, state: State) -> bool:
    """Whether the variables that do not matter can be given values that no interlock forbids."""
    clauses = [clause for clause in network.never if not _broken(clause, state)]
    if not clauses:
        return True
    variable = next(v for clause in clauses for v, _ in clause if state[v] < 0)
    return any(_possible(network, following) for following in _spread(network, (state,), variable))


def positions(network: Network, variables: Iterable[int], limit: int) -> list[State] | None:
    """Every combination of values of some variables that interlocks allow; None where they are more than a limit."""
    found: list[State] = [(-1,) * len(network.variables)]
    for variable in variables:
        found = list(_spread(network, found, variable))
        if len(found) > limit:
            return None
    return [state for state in found if _possible(network, state)]


def joint(network: Network, *states: State) -> bool:
    """Whether several states can hold at the same time."""
    merged = list(states[0])
    for state in states[1:]:
        for variable, value in enumerate(state):
            if value >= 0:
                if merged[variable] not in (-1, value):
                    return False
                merged[variable] = value
    state = tuple(merged)
    return not any(holds(clause, state) for clause in network.never) and _possible(network, state)


def _broken(clause: Needs, state: State) -> bool:
    """Whether a clause can no longer be met."""
    return any(state[variable] >= 0 and not mask >> state[variable] & 1 for variable, mask in clause)


def reach(
    network: Network,
    state: State,
    start: tuple[int, ...],
    *,
    without_element: str = "",
    without_edges: frozenset[int] = frozenset(),
) -> int:
    """The nodes joined to some nodes by edges that are closed for certain, some edges taken out; a bit set."""
    seen = 0
    for node in start:
        seen |= 1 << node
    stack = list(start)
    edges = network.edges
    while stack:
        for i, other in network.around[stack.pop()]:
            if seen >> other & 1 or i in without_edges:
                continue
            edge = edges[i]
            if edge.element == without_element:
                continue
            if edge.needs and not holds(edge.needs, state):
                continue
            seen |= 1 << other
            stack.append(other)
    return seen


def whole(network: Network, state: State, *, unfed: bool = False) -> tuple[int, ...] | str:
    """The feeds that energise something in one state of the whole site, or in words why nothing can be in that state.

    Every variable has a value.  What a state rests on has to be there: an inverter passes what feeds its input, and an isolating
    transformer is fed or not as its primary is.  With ``unfed`` that is no obstacle: what nothing feeds energises
    nothing, and the rest does.
    """
    broken = next((number for number, clause in enumerate(network.never) if holds(clause, state)), -1)
    if broken >= 0:
        forbidden = ", ".join(f"{_told(network, v, state)}" for v, _ in network.never[broken])
        return f"an interlock forbids {forbidden}"
    everything = (1 << len(network.nodes)) - 1
    wanted = [i for i in _energised(network, state, everything) if network.feeds[i].forming]
    sure = [i for i in wanted if not network.feeds[i].primary]
    rest = [i for i in wanted if network.feeds[i].primary]

    def fed(nodes: tuple[int, ...], element: str) -> bool:
        part = reach(network, state, nodes, without_element=element)
        return any(part >> node & 1 for i in sure for node in network.feeds[i].lines)

    while True:
        more = [i for i in rest if fed(network.feeds[i].primary, network.feeds[i].id)]
        if not more:
            break
        sure += more
        rest = [i for i in rest if i not in more]
    if rest and not unfed:
        return f"nothing feeds the transformer {network.feeds[rest[0]].id}"
    for i, feed in enumerate(network.feeds):
        if feed.primary and i not in sure and fed(feed.primary, feed.id):
            return f"the transformer {feed.id} is fed"
    for passage in () if unfed else network.passages:
        if passage.passing >> state[passage.variable] & 1 and not fed(passage.inputs, passage.id):
            return f"{_told(network, passage.variable, state)}, and nothing feeds its input"
    return tuple(sorted(sure))


def _told(network: Network, variable: int, state: State) -> str:
    """A variable with its value, as a condition of the description names it."""
    one = network.variables[variable]
    return f"{one.name} {one.values[state[variable]]}"
