"""The direct-current side: which inverters it feeds, what ties it to earth, what watches it, and whether its frames are joined."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations, product
from typing import NamedTuple

from onebond.facts.direct_loop import DirectLoop, loop_of
from onebond.facts.direct_wiring import LIMIT, POLES, Side, Union, Wiring
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import DIRECT, DirectSource, Installation, Monitor, Source
from onebond.network import Network, frame_of
from onebond.span import Route
from onebond.states import State, joint


class DirectSide(NamedTuple):
    """A battery or an array in one position of its switches, with everything that its conductors reach."""

    id: str
    route: Route
    island: None
    source: DirectSource
    together: tuple[DirectSource, ...]  # all sources on the same conductors, itself included
    inverters: tuple[
        tuple[Source, str], ...
    ]  # on the same conductors, each with what ties its a.c. neutral to earth, or ''
    watched: bool  # a monitor of its own stands on them
    joined: bool  # a protective conductor leads from its frame to the rest of the installation
    in_use: bool = True  # an inverter is joined to it, or none ever is
    clash: tuple[DirectSource, ...] = ()  # sources of which another conductor is earthed: a short circuit through earth
    shared: tuple[tuple[Source, Source], ...] = ()  # inverters that run at once with their neutrals earthed
    positions: str = ""  # of its switches, in words
    loops: tuple[tuple[str, Island], ...] = ()  # a case of each inverter that runs with its neutral earthed
    wiring: Wiring | None = None
    watched_across: bool = False  # the monitor of an IT system sees it through an inverter that separates nothing

    def settle(self) -> None:
        """Raise Unknown where the positions of its switches are more than are worked out, and more may be joined than ever is."""
        if self.wiring and not self.wiring.known:
            why = f"the d.c. side of {self.id} has more than {LIMIT} positions of its switches"
            raise Unknown(self.id, self.route, why)

    def loop(self, inverter: Source) -> DirectLoop | None:
        """The way of a direct current from the earthed pole over PE and the neutral back through an inverter."""
        island = dict(self.loops).get(inverter.id)
        if island is None or self.wiring is None:
            return None
        return loop_of(self.wiring, self.source, inverter, island)


def direct_sides(all_sides: Iterable[Side], network: Network, islands: Iterable[Island]) -> tuple[DirectSide, ...]:
    """Every direct-current source, once for each position of its switches that makes a difference."""
    site = network.installation
    islands = tuple(islands)
    joined = _Joined(site)
    references = _references(islands)
    seen_by_it = _seen_by_it(islands)
    working = _working(network, islands)
    found: list[DirectSide] = []
    for side in all_sides:
        wirings = side.wirings() or (Wiring(side, None),)
        for one in side.sources:
            used = any(wiring.inverters(one) for wiring in wirings)
            different: dict[object, DirectSide] = {}
            for wiring in wirings:
                inverters = wiring.inverters(one)
                together = wiring.together(one)
                made = DirectSide(
                    one.id,
                    one.route,
                    None,
                    one,
                    together,
                    tuple((source, _reference(references.get(source.id, []), wiring)) for source in inverters),
                    any(_watches(monitor, wiring, one) for monitor in site.monitors),
                    joined(one),
                    bool(inverters) or not used,
                    tuple(other for other in together if _apart(wiring, one, other)),
                    tuple(
                        (a, b) for a, b in combinations(inverters, 2) if _at_once(site, network, working, wiring, a, b)
                    ),
                    side.words(wiring.state),
                    tuple((source.id, case) for source in inverters if (case := _case(working[source.id], wiring))),
                    wiring,
                    any(source.id in seen_by_it for source in inverters),
                )
                different.setdefault(made._replace(positions="", wiring=None), made)
            found.extend(different.values())
    return tuple(found)


class _Joined:
    """Whether the frame of a direct-current source is joined to where the earth of the installation is."""

    def __init__(self, site: Installation) -> None:
        self.site = site
        self.earth = earth = Union()
        for link in site.connections:
            if "PE" in link.cores:
                earth.join(*(frame_of(site, end.id) for end in (link.start, link.finish)))
        for metal in site.extraneous:
            for end in metal.joins:
                earth.join(metal.id, frame_of(site, end.id))
        # electrodes, links, the supplier's conductor, a source that is bonded inside
        rest = {frame_of(site, electrode.at.id) for electrode in site.electrodes}
        rest |= {frame_of(site, bond.at.id) for bond in site.bonds}
        rest |= {source.id for source in site.sources if source.kind == "utility" or source.neutral_bond != "none"}
        self.rest = rest

    def __call__(self, one: DirectSource) -> bool:
        return any(self.earth.one(place, one.id) for place in self.rest)


def _watches(monitor: Monitor, wiring: Wiring, source: DirectSource) -> bool:
    """Whether a monitor stands on the conductors of a source."""
    at = (monitor.at.id, monitor.at.terminal)
    return any(wiring.parts.one((*at, core), (source.id, "", DIRECT[0])) for core in DIRECT)


def _apart(wiring: Wiring, one: DirectSource, other: DirectSource) -> bool:
    """Whether the earthed poles of two sources are two conductors of one side."""
    own, its = (POLES.get(source.earthed_pole or "") for source in (one, other))
    if one is other or not own or not its:
        return False
    # the middles of two that stand side by side have one potential without a conductor between them; in series they have not
    alike = [(core, core) for core in DIRECT] if own == its == "M" else [(own, its)]
    return not wiring.known or not any(wiring.nets.one((one.id, "", a), (other.id, "", b)) for a, b in alike)


def _references(islands: Iterable[Island]) -> dict[str, list[Island]]:
    """The cases in which something ties the neutral of each source to earth, the source energised or not."""
    found: dict[str, list[Island]] = {}
    for island in islands:
        if island.references:
            places = {
                place
                for node, (place, _, _) in enumerate(island.network.nodes)
                # lines too: an inverter without a neutral joins its poles to those that are earthed at their source
                if island.live >> node & 1
            }
            for place in places:
                found.setdefault(place, []).append(island)
    return found


def _reference(islands: list[Island], wiring: Wiring) -> str:
    """What ties a neutral to earth in a case that is possible in a position of the switches, or ''."""
    case = _case(islands, wiring)
    return case.references[0].words if case else ""


def _case(islands: list[Island], wiring: Wiring) -> Island | None:
    """The first of some cases that is possible in a position of the switches."""
    network = wiring.side.network
    return next((one for one in islands if joint(network, one.state, wiring.state)), None)


def _seen_by_it(islands: Iterable[Island]) -> set[str]:
    """The inverters that separate nothing and run in an IT system with a monitor."""
    return {
        source.id
        for island in islands
        if island.it and island.monitors
        for source in island.network.installation.sources
        if source.kind == "inverter" and source.isolated is False and works(island, source)
    }


def works(island: Island, source: Source) -> bool:
    """Whether the bridge of an inverter is joined to the conductors of an island."""
    network = island.network
    feed = next((one for one in network.feeds if any(member.id == source.id for member in one.sources)), None)
    if feed is None or island.value(feed.variable) not in ("inverting", "passing"):
        return False
    nodes = (network.number_of(source.id, "out", core) for core in (*source.phases, "N"))
    return any(island.live >> node & 1 for node in nodes)


def _working(network: Network, islands: tuple[Island, ...]) -> dict[str, list[Island]]:
    """For each inverter the cases in which it runs with its neutral tied to earth."""
    inverters = [source for source in network.installation.sources if source.kind == "inverter"]
    return {
        source.id: [island for island in islands if island.references and works(island, source)] for source in inverters
    }


def _at_once(
    site: Installation, network: Network, working: dict[str, list[Island]], wiring: Wiring, one: Source, other: Source
) -> bool:
    """Whether two inverters that no group makes one may run at the same time with their neutrals earthed."""
    if any({one.id, other.id} <= set(group.members) for group in site.groups):
        return False
    first, second = working[one.id], working[other.id]
    same = set(map(id, first)) & {id(island) for island in second}
    if any(joint(network, island.state, wiring.state) for island in first if id(island) in same):
        return True
    # only what both name, or an interlock does, can keep them apart
    named = {v for clause in network.never for v, _ in clause} | set(wiring.side.variables)
    named |= _named(first) & _named(second)
    left = {_only(island.state, named) for island in first}
    right = {_only(island.state, named) for island in second}
    return any(joint(network, a, b, wiring.state) for a, b in product(left, right))


def _named(islands: Iterable[Island]) -> set[int]:
    return {variable for island in islands for variable, value in enumerate(island.state) if value >= 0}


def _only(state: State, variables: set[int]) -> State:
    return tuple(value if variable in variables else -1 for variable, value in enumerate(state))


def monitors_behind(all_sides: Iterable[Side], island: Island) -> Iterable[tuple[tuple[Monitor, ...], Source]]:
    """For each inverter that runs in an island the monitors of its direct-current side, with the switches as they are most joined."""
    site = island.network.installation
    for side in all_sides:
        for source in side.inverters:
            if not works(island, source):
                continue
            seen: dict[str, Monitor] = {}
            for wiring in side.wirings():
                if joint(island.network, island.state, wiring.state):
                    for monitor in site.monitors:
                        at = (monitor.at.id, monitor.at.terminal)
                        if any(wiring.reaches(source, (*at, core)) for core in DIRECT):
                            seen.setdefault(monitor.id, monitor)
            yield tuple(seen.values()), source


def monitors_of(
    all_sides: Iterable[Side], monitors: Iterable[Monitor]
) -> Iterable[tuple[DirectSource, tuple[Monitor, ...]]]:
    """For each source the most monitors that are joined to it in one position of the switches; none that an earlier one has shown."""
    every = tuple(monitors)
    for side in all_sides:
        wirings = side.wirings()
        shown: list[set[str]] = []
        for source in side.sources:
            seen = [tuple(m for m in every if _watches(m, wiring, source)) for wiring in wirings]
            most = max(seen, key=len, default=())
            names = {monitor.id for monitor in most}
            if not any(names <= others for others in shown):
                shown.append(names)
                yield source, most
