"""Facts about residual current devices: which faults each of them has to see, and which inverters lie behind it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from onebond.facts.faults import EarthFault
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import LIVE, Connection, Device, Source
from onebond.network import Network
from onebond.span import Route


class RcdOnWay(NamedTuple):
    """A residual current device that every way to an earth fault passes, in one case."""

    id: str
    route: Route
    island: Island
    fault: EarthFault
    device: Device
    connection: str
    nearer: Device | None  # the next one on the way to the fault
    nearer_id: str
    behind: str  # a bond on its protected side, or ''
    summed: bool  # it sums every live core that passes it
    borrowed: bool  # the island floats only because a supply that lends it its reference is detached
    portable: bool  # every source of the island is portable or vehicle-mounted, and it feeds no building
    feed: str  # the first source that forms the island
    plug: bool  # its connection is a lead with a plug

    @property
    def sees_all(self) -> bool:
        """Whether the whole current of the fault passes it: nothing comes back through it or goes round it."""
        return self.summed and not self.behind

    @property
    def seen_a(self) -> float:
        """The smallest residual current that it sees of this fault, in A; raises Unknown."""
        assert self.fault.known is not None
        passed = [one for one in self.fault.residuals if one.device == self.device]
        currents = [one.residual_a for one in passed if one.residual_a is not None]
        if not currents or len(currents) < len(passed):
            raise Unknown(self.id, self.route, f"what {self.id} sees depends on the resistance of contacts")
        return min(currents)


class RcdAtInverter(NamedTuple):
    """A residual current device with the a.c. terminals of an inverter on its protected side, seen from another source."""

    id: str
    route: Route
    island: Island
    device: Device
    source: Source


class RcdForPlace(NamedTuple):
    """A residual current device that protects a final circuit in a kind of place that is written."""

    id: str
    route: Route
    island: Island
    device: Device
    place: str
    circuit: str  # the first one there
    circuit_route: Route


def rcds_for_places(faults: Iterable[EarthFault]) -> tuple[RcdForPlace, ...]:
    """Every residual current device on every way to a final circuit whose kind of place is written; the first such circuit."""
    found: dict[tuple[Route, str, int], RcdForPlace] = {}
    for fault in faults:
        if fault.circuit and fault.place and not fault.unsettled:
            for device, connection in fault.rcds:
                one = RcdForPlace(
                    device.id or connection, device.route, fault.island, device, fault.place, fault.id, fault.route
                )
                found.setdefault((device.route, fault.place, id(fault.island)), one)
    return tuple(found.values())


def rcds_on_ways(
    network: Network,
    faults: Sequence[EarthFault],
    alone: Iterable[Island],
) -> tuple[RcdOnWay, ...]:
    """Every residual current device on the way to every earth fault; ``alone``: islands of portable sources only."""
    links: dict[str, Connection] = {link.id: link for link in network.installation.connections}
    links.update((circuit.id, circuit.connection) for circuit in network.installation.circuits)
    apart = {id(island) for island in alone}
    behind: dict[int, dict[tuple[str, int], str]] = {}
    found = []
    for fault in faults:
        island = fault.island
        if id(island) not in behind:
            here = behind[id(island)] = {}
            for tie in island.ties:
                for rcd, _ in island.behind(tie):
                    here.setdefault((rcd.connection, rcd.device.position), tie.id)
        borrowed = fault.floats and bool(island.detached) and island.borrows_when_attached
        feed = next((feed.id for feed in island.feeds if feed.forming), "")
        nearer: tuple[Device, str] | None = None
        for device, connection in fault.rcds:
            cores = [core for core in links[connection].cores if core in LIVE]
            found.append(
                RcdOnWay(
                    device.id or connection,
                    device.route,
                    island,
                    fault,
                    device,
                    connection,
                    nearer[0] if nearer else None,
                    (nearer[0].id or nearer[1]) if nearer else "",
                    behind[id(island)].get((connection, device.position), ""),
                    all(core in device.senses for core in cores),
                    borrowed,
                    id(island) in apart,
                    feed,
                    links[connection].plug,
                )
            )
            nearer = (device, connection)
    return tuple(found)


def rcds_at_inverters(network: Network, islands: Sequence[Island]) -> tuple[RcdAtInverter, ...]:
    """Every closed residual current device with every working inverter that it protects from another source."""
    found = []
    inverters = [feed for feed in network.feeds if feed.kind == "inverter"]
    for island in islands if inverters else ():
        for rcd in island.rcds:
            for feed in inverters:
                value = island.value(feed.variable)
                others = [
                    node for other in island.feeds if other.id != feed.id for node in (*other.lines, *other.neutrals)
                ]
                if value not in ("inverting", "passing") or not others:
                    continue
                beyond = island.beyond(rcd, tuple(others))
                # a switched input carries nothing while the inverter inverts; while it passes, input and output are one
                for source in feed.sources:
                    nodes = (network.find(source.id, "out", line) for line in source.phases)
                    if any(node >= 0 and beyond >> node & 1 for node in nodes):
                        found.append(
                            RcdAtInverter(rcd.device.id or rcd.connection, rcd.device.route, island, rcd.device, source)
                        )
    return tuple(found)
