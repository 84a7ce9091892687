"""The direct-current side in each position of its switches: which conductors are one, and what is joined at all."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

from onebond.model import DIRECT, DIRECT_INPUTS, Connection, DirectSource, Source
from onebond.network import DirectEdge, Network
from onebond.states import State, holds, positions

LIMIT = 1024
"""Most combinations of positions that are worked out for one direct-current side."""

Spot = tuple[str, str, str]
"""Equipment, terminal and conductor."""

POLES = {"positive": "DC+", "negative": "DC-", "middle": "M"}
"""The conductor that a word of `earthed-pole` ties to earth."""


class Union:
    """Names that are joined (a union-find)."""

    def __init__(self) -> None:
        self.above: dict[object, object] = {}

    def top(self, name: object) -> object:
        while self.above.get(name, name) != name:
            name = self.above[name]
        return name

    def join(self, one: object, other: object) -> None:
        self.above[self.top(one)] = self.top(other)

    def one(self, first: object, second: object) -> bool:
        """Whether two names are joined."""
        return self.top(first) == self.top(second)


class Wiring:
    """A direct-current side with its switches in one position; ``state`` names them, all other variables are open in it.

    Without a position every contact is closed, also those that never are at once: more is joined than in any position.
    """

    def __init__(self, side: Side, state: State | None) -> None:
        self.side = side
        self.known = state is not None
        self.state = (-1,) * len(side.network.variables) if state is None else state
        self.edges = side.edges if state is None else tuple(e for e in side.edges if holds(e.needs, state))

    @cached_property
    def nets(self) -> Union:
        """Spots that conductors join: they have one potential."""
        found = Union()
        for edge in self.edges:
            found.join(edge.a, edge.b)
        return found

    @cached_property
    def parts(self) -> Union:
        """Spots that are joined through batteries, arrays and one input of an inverter too.

        The converter between two inputs of an inverter keeps them apart: it passes no short-circuit current on.
        """
        found = Union()
        for edge in self.edges:
            found.join(edge.a, edge.b)
        for one in self.side.sources:
            for core in DIRECT[1:]:
                found.join((one.id, "", DIRECT[0]), (one.id, "", core))
        for inverter in self.side.inverters:
            for terminal in DIRECT_INPUTS:
                for core in DIRECT[1:]:
                    found.join((inverter.id, terminal, DIRECT[0]), (inverter.id, terminal, core))
        return found

    def together(self, source: DirectSource) -> tuple[DirectSource, ...]:
        """All sources that are joined to one, itself included."""
        own = (source.id, "", DIRECT[0])
        return tuple(other for other in self.side.sources if self.parts.one((other.id, "", DIRECT[0]), own))

    def inverters(self, source: DirectSource) -> tuple[Source, ...]:
        """The inverters that a source is joined to."""
        own = (source.id, "", DIRECT[0])
        return tuple(other for other in self.side.inverters if self.reaches(other, own))

    def reaches(self, inverter: Source, spot: Spot) -> bool:
        """Whether a spot is joined to any input of an inverter."""
        return any(self.parts.one((inverter.id, terminal, DIRECT[0]), spot) for terminal in DIRECT_INPUTS)


class Side(NamedTuple):
    """What hangs together when every contact of the direct-current side is closed, over the inputs of an inverter too."""

    network: Network
    sources: tuple[DirectSource, ...]
    inverters: tuple[Source, ...]
    edges: tuple[DirectEdge, ...]
    variables: tuple[int, ...]
    places: tuple[tuple[str, str], ...]  # equipment and terminal of every spot, in the order of the file

    def wirings(self) -> tuple[Wiring, ...]:
        """One for each combination of positions; none at all where they are more than the limit."""
        states = positions(self.network, self.variables, LIMIT)
        return tuple(Wiring(self, state) for state in states or ())

    def widest(self) -> tuple[Wiring, ...]:
        """The positions in which a short circuit draws most: none of them has only a part of the closed contacts of another.

        Where all batteries have one voltage and each core stays what it is, an open circuit has that voltage everywhere, and one more
        closed contact only lowers the resistance behind a fault.  Elsewhere every position is asked.
        """
        crossed = any(edge.a[2] != edge.b[2] for edge in self.edges)
        if crossed or len({one.voltage_v for one in self.sources if one.kind == "battery"}) > 1:
            return self.wirings()
        variables = self.network.variables
        named = {variable for clause in self.network.never for variable, _ in clause}
        alone = [v for v in self.variables if variables[v].kind in ("device", "plug") and v not in named]
        states = positions(self.network, [v for v in self.variables if v not in alone], LIMIT) or []
        closed = {v: variables[v].values.index("mated" if variables[v].kind == "plug" else "closed") for v in alone}
        made = [
            Wiring(self, tuple(closed.get(variable, value) for variable, value in enumerate(state))) for state in states
        ]
        sets = [frozenset(wiring.edges) for wiring in made]
        return tuple(wiring for wiring, own in zip(made, sets, strict=True) if not any(own < other for other in sets))

    def words(self, state: State) -> str:
        """The positions of its switches, as a person says them."""
        variables = self.network.variables
        return ", ".join(
            f"{variables[v].name} {variables[v].values[state[v]]}" for v in self.variables if state[v] >= 0
        )


def sides(network: Network) -> tuple[Side, ...]:
    """Every direct-current side, in the order of its first source."""
    site = network.installation
    everything = Union()
    for edge in network.direct:
        everything.join(edge.a[:2], edge.b[:2])
    for source in site.sources:
        for terminal in DIRECT_INPUTS[1:]:  # only an inverter has them
            everything.join((source.id, DIRECT_INPUTS[0]), (source.id, terminal))
    found: dict[object, list[DirectSource]] = {}
    for one in site.direct:
        found.setdefault(everything.top((one.id, "")), []).append(one)
    made = []
    for top, sources in found.items():
        edges = tuple(edge for edge in network.direct if everything.top(edge.a[:2]) == top)
        inverters = tuple(one for one in site.sources if everything.top((one.id, DIRECT_INPUTS[0])) == top)
        places = dict.fromkeys((one.id, "") for one in sources)
        places.update(dict.fromkeys(spot[:2] for edge in edges for spot in (edge.a, edge.b)))
        variables = sorted({variable for edge in edges for variable, _ in edge.needs})
        made.append(Side(network, tuple(sources), inverters, edges, tuple(variables), tuple(places)))
    return tuple(made)


def cables(network: Network) -> dict[str, Connection]:
    """Connections and the cables of circuits, by id."""
    site = network.installation
    return {link.id: link for link in (*site.connections, *(circuit.connection for circuit in site.circuits))}


def spots(side: Side, place: tuple[str, str]) -> list[Spot]:
    """The direct-current conductors that land at a place."""
    landed = {spot for edge in side.edges for spot in (edge.a, edge.b)}
    landed.update((one.id, "", core) for one in side.sources for core in ("DC+", "DC-"))
    return [(*place, core) for core in DIRECT if (*place, core) in landed]
