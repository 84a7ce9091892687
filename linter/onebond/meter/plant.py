"""The whole site in one state: what everything is set to, whether that can be, and what is live then.

`states` looks at one live island at a time and leaves everything else open.  Whoever stands before the site with a meter sees all of it at
once, so here every variable has a value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from itertools import product
from typing import NamedTuple

from onebond.model import LINES, Connection, Device, Installation
from onebond.network import Network, Variable, build
from onebond.states import State, holds, reach, whole

Setting = Mapping[str, str]
"""Values by the names of variables, as a condition of the description writes them."""

SETTLED = ("inverter", "transformer")
"""What follows from the switches unless somebody says otherwise."""

MADE_TO_OPEN = ("isolator", "switch")
"""What a supply is isolated with before anything else that opens its lines."""

NEVER_BY_HAND = ("contactor", "meter")
"""What nobody isolates with: it closes by itself, or opens nothing."""

NEXT = 2
"""A main isolator is looked for in the cable of a supply and in so many further ones that follow it one by one (no source)."""


class Isolation(NamedTuple):
    """What makes the site dead of a supply."""

    device: Device
    link: Connection
    name: str  # its variable; '' where its position changes nothing but the lines
    ahead: tuple[str, ...]  # places that stay joined to the supply


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
        free = [feed for feed in network.feeds if feed.primary and feed.variable not in given]
        for feed in free:
            state[feed.variable] = self.variables[feed.variable].values.index("unfed")
        changed = True
        while changed:
            changed = False
            now = tuple(state)
            lines = [node for other in network.feeds if other.forming and other.at_work(now) for node in other.lines]
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

        The main isolator of a supply is open, with its neutral where it opens that.  Where none is described all conductors of the
        supply stay joined; PE and PEN always do.
        """
        off = {"utility": "absent", "generator": "standing", "inverter": "off", "transformer": "unfed"}
        setting = {one.name: off[one.kind] for one in self.variables if one.kind in off}
        setting.update({one.name: "open" for one in self.isolations.values() if one.name})
        state = self.complete(setting)
        # an interlock may name what stands or is off; nothing is live then, so it protects nobody
        return self.forced(setting) if isinstance(state, str) else state

    @cached_property
    def isolations(self) -> Mapping[str, Isolation]:
        """The main isolator of each supply that has one: in its cable, or in the next, the first device that opens all lines."""
        found = {}
        for source in self.site.sources:
            if source.kind == "utility" and (isolation := self._isolation(source.id, "", ())):
                found[source.id] = isolation
        return found

    def _isolation(self, place: str, come: str, ahead: tuple[str, ...]) -> Isolation | None:
        """What isolates everything behind a place, reached by one cable; None where more than one leads on, or nothing opens it."""
        links = [
            link
            for link in self.links.values()
            if link.id != come and place in (link.start.id, link.finish.id) and set(link.cores) & set(LINES)
        ]
        if len(links) != 1 or len(ahead) > NEXT:
            return None
        (link,) = links
        away = link.start.id == place
        devices = [one for one in (link.devices if away else link.devices[::-1]) if _isolates(one, link)]
        devices.sort(key=lambda one: one.kind not in MADE_TO_OPEN)
        far = link.finish if away else link.start
        if devices:
            name = self.name_of(link, devices[0])
            return Isolation(devices[0], link, name if name in self.by_name else "", ahead)
        goes_on = far.id in {board.id for board in self.site.boards} | set(self._prefers)
        return self._isolation(far.id, link.id, (*ahead, far.id)) if goes_on else None

    def way(self, supply: str, state: State) -> str:
        """How a supply is made dead in a state: isolator, fuse (of the supplier, who leaves its neutral joined), detached; else live."""
        told, isolation = self.told(state), self.isolations.get(supply)
        if told[supply] == "detached":
            return "detached"
        if isolation is not None and told.get(isolation.name) == "open":
            return "isolator"
        if told[supply] == "present":
            return "live"
        return "isolator" if isolation is not None and "N" not in isolation.device.poles else "fuse"

    def brings_neutral(self, supply: str) -> bool:
        """Whether a supply comes with a neutral of its own, which can be opened without its PEN."""
        links = (link for link in self.links.values() if supply in (link.start.id, link.finish.id))
        return any("N" in link.cores for link in links)

    # -- what things are called --------------------------------------------------------------------------------------

    @staticmethod
    def name_of(link: Connection, device: Device) -> str:
        """The name of a device in conditions: its id, else its cable and place."""
        return device.id or f"{link.id}/{device.position + 1}"

    @cached_property
    def _called(self) -> Mapping[str, str]:
        return {
            self.name_of(link, device): called(link, device) for link in self.links.values() for device in link.devices
        }

    def called(self, name: str) -> str:
        """What a device, or anything else with a name, is called in a sentence: one without an id by its cable."""
        return self._called.get(name, name)

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


def called(link: Connection, device: Device) -> str:
    """What a device is called in a sentence: by its id, else by its cable (``the RCBO of fridge``)."""
    kind = device.kind.upper() if device.kind in ("mcb", "mccb", "rcd", "rcbo") else device.kind
    return device.id or f"the {kind} of {link.id}"


def _isolates(device: Device, link: Connection) -> bool:
    """Whether a cable is made dead with a device by hand.

    What is neither made for it nor written to be operable counts where it leaves the neutral alone, or stands ahead of a plug, at the
    outlet; a fuse does not, it is the supplier's.
    """
    made_for_it = device.operable or device.kind in MADE_TO_OPEN or link.plug
    if device.normally_open or device.kind in NEVER_BY_HAND or (device.kind == "fuse" and not device.operable):
        return False
    return set(link.cores) & set(LINES) <= set(device.poles) and (made_for_it or opens_lines_alone(device, link))


def opens_lines_alone(device: Device, link: Connection) -> bool:
    """Whether a device opens all lines of its cable and leaves the neutral joined."""
    return set(link.cores) & set(LINES) <= set(device.poles) and not {"N", "PEN"} & set(device.poles)
