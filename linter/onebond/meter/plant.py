"""The whole site in one state: what everything is set to, whether that can be, and what is live then.

`states` looks at one live island at a time and leaves everything else open.  Whoever stands before the site with a meter sees all of it at
once, so here every variable has a value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from itertools import product

from onebond.model import Installation
from onebond.network import Network, Variable, build
from onebond.states import State, holds, reach, whole

Setting = Mapping[str, str]
"""Values by the names of variables, as a condition of the description writes them."""

SETTLED = ("inverter", "transformer")
"""What follows from the switches unless somebody says otherwise."""


class Plant:
    """An installation with all its contacts, in whole states."""

    def __init__(self, installation: Installation, network: Network | None = None) -> None:
        self.site = installation
        self.network = network or build(installation, every_contact=True)
        self.variables = self.network.variables
        self.by_name = {variable.name: number for number, variable in enumerate(self.variables)}
        self.links = {
            link.id: link
            for link in (*installation.connections, *(circuit.connection for circuit in installation.circuits))
        }
        self._normally = {
            device.id or f"{link.id}/{device.position + 1}": "open" if device.normally_open else "closed"
            for link in self.links.values()
            for device in link.devices
        }
        self._prefers = {changeover.id: changeover.prefers for changeover in installation.changeovers}

    # -- what things are set to ------------------------------------------------------------------------------------

    def choices(self, variable: Variable) -> tuple[str, ...]:
        """The values of a variable, the usual one first: what stands at it when nobody has touched it.

        A supply is there, a set stands, a switch is as `normally` says, a changeover where it prefers to be, or at its first
        position; an inverter passes what it is fed with, else it inverts.  The moments in which a changeover overlaps are left out:
        nobody can measure in them.
        """
        first = {
            "utility": "present",
            "generator": "standing",
            "inverter": "passing" if "passing" in variable.values else "inverting",
            "transformer": "fed",
            "plug": "mated",
            "device": self._normally.get(variable.name, "closed"),
            "changeover": self._prefers.get(variable.name) or variable.values[0],
        }[variable.kind]
        order = ("passing", "inverting", "off") if variable.kind == "inverter" else variable.values
        rest = [value for value in order if value != first and value in variable.values and "+" not in value]
        return (first, *rest)

    def complete(self, setting: Setting) -> State | str:
        """The state with some values given and everything else as usual, or why there is none.

        Interlocks move what is not given, and nothing else does: nobody starts a set that was not asked for.  Raises KeyError for
        a name and ValueError for a value that does not exist.
        """
        given = {self.by_name[name]: value for name, value in setting.items()}
        for number, value in given.items():
            self.variables[number].values.index(value)
        state = next(self._switched(given), None)
        return "an interlock forbids it" if state is None else self._settled(state, given)

    def _switched(self, given: Mapping[int, str]) -> Iterator[State]:
        """Settings of everything but inverters and transformers, the most usual first, as interlocks allow."""
        count = len(self.variables)
        order = [n for n in range(count) if n in given or self.variables[n].kind not in SETTLED]

        def allowed(state: State) -> bool:
            return not any(holds(clause, state) for clause in self.network.never)

        def walk(at: int, state: State) -> Iterator[State]:
            if at == len(order):
                yield state
                return
            number = order[at]
            one = self.variables[number]
            for value in (given[number],) if number in given else self.choices(one):
                following = (*state[:number], one.values.index(value), *state[number + 1 :])
                if allowed(following):
                    yield from walk(at + 1, following)

        yield from walk(0, (-1,) * count)

    def _settled(self, state: State, given: Mapping[int, str]) -> State | str:
        """Inverters and transformers as they are with the switches so, or why they cannot be as they are given."""
        free = [n for n, one in enumerate(self.variables) if one.kind == "inverter" and n not in given]
        why = ""
        for values in product(*(self.choices(self.variables[n]) for n in free)):
            tried = list(state)
            for number, value in zip(free, values, strict=True):
                tried[number] = self.variables[number].values.index(value)
            settled = self._transformers(tried, given)
            found = whole(self.network, settled)
            if not isinstance(found, str):
                return settled
            why = why or found
        return why

    def _transformers(self, state: list[int], given: Mapping[int, str]) -> State:
        """Every transformer fed whose primary is, unless it is given."""
        network = self.network
        free = [feed for feed in network.feeds if feed.primary and feed.variable >= 0 and feed.variable not in given]
        for feed in free:
            state[feed.variable] = self.variables[feed.variable].values.index("unfed")
        changed = True
        while changed:
            changed = False
            now = tuple(state)
            lines = [
                node
                for other in network.feeds
                if other.forming and other.variable >= 0 and other.energised >> now[other.variable] & 1
                for node in other.lines
            ]
            for feed in free:
                fed = self.variables[feed.variable].values.index("fed")
                if state[feed.variable] != fed:
                    part = reach(network, now, feed.primary, without_element=feed.id)
                    if any(part >> node & 1 for node in lines):
                        state[feed.variable] = fed
                        changed = True
        return tuple(state)

    @cached_property
    def usual(self) -> State | None:
        """The state in which nobody has touched anything; None where it is impossible."""
        state = self.complete({})
        return None if isinstance(state, str) else state

    def unusual(self, state: State) -> tuple[tuple[str, str], ...]:
        """What of a state is not as usual, by the names of its variables."""
        return tuple(
            (one.name, one.values[value])
            for number, (one, value) in enumerate(zip(self.variables, state, strict=True))
            if self.usual is None or self.usual[number] != value
        )

    # -- what follows ----------------------------------------------------------------------------------------------

    def instead(self, state: State) -> tuple[State, ...]:
        """What a state turns into where something is broken: the state itself, or what may stand in its place.

        An inverter that passes its input finds nothing there behind a broken core: it inverts by itself, or its output is dead; which
        of the two depends on its settings, so both are given.  What hangs behind a transformer follows its primary.
        """
        if not isinstance(whole(self.network, state), str):
            return (state,)
        inverters = [n for n, one in enumerate(self.variables) if one.kind == "inverter"]
        passing = [n for n in inverters if self.variables[n].values[state[n]] == "passing"]
        found: list[State] = []
        for without in ("inverting", "off"):
            ways = [
                ("passing", without) if without in self.variables[n].values else ("passing", "off") for n in passing
            ]
            for values in product(*ways):
                tried = list(state)
                for number, value in zip(passing, values, strict=True):
                    tried[number] = self.variables[number].values.index(value)
                settled = self._transformers(tried, {})
                if not isinstance(whole(self.network, settled), str):
                    found.append(settled)
                    break
        return tuple(dict.fromkeys(found)) or (state,)

    @cached_property
    def dead(self) -> State:
        """Everything switched off for tests without voltage: no supply, sets standing, inverters off, the rest as usual.

        The conductors of a supply stay joined: its PE and PEN are there whatever is locked off.
        """
        off = {"utility": "absent", "generator": "standing", "inverter": "off", "transformer": "unfed"}
        setting = {one.name: off[one.kind] for one in self.variables if one.kind in off}
        state = self.complete(setting)
        # an interlock may name what stands or is off; nothing is live then, so it protects nobody
        return self.forced(setting) if isinstance(state, str) else state

    def forced(self, setting: Setting) -> State:
        """A state as given, and else as usual, whether it is possible or not."""
        return tuple(one.values.index(setting.get(one.name, self.choices(one)[0])) for one in self.variables)

    def told(self, state: State) -> dict[str, str]:
        """A state by the names of its variables."""
        return {one.name: one.values[value] for one, value in zip(self.variables, state, strict=True)}

    def feeds(self, state: State) -> tuple[int, ...]:
        """What energises something in a state; nothing where that is impossible for more than want of a supply.

        A broken core may leave an inverter that passes, or a transformer, without its input: then these are dead, and the rest is not.
        """
        found = whole(self.network, state, unfed=True)
        return () if isinstance(found, str) else found

    def live(self, state: State) -> int:
        """The nodes that are energised; a bit set."""
        starts = tuple(node for i in self.feeds(state) for node in self.network.feeds[i].lines)
        return reach(self.network, state, starts) if starts else 0
