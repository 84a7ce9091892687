"""Earth faults at every place and circuit end, in every state: what flows, which device opens when, what can be touched meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from functools import cached_property
from typing import NamedTuple

from onebond.circuit import devices, impedances, limits_table
from onebond.circuit.components import body, inverters
from onebond.circuit.devices import NEVER, Trip, lasting, sooner
from onebond.circuit.impedances import Capability, Missing
from onebond.facts.currents import Loop, Point, phase_of
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import LINES, LIVE, Circuit, Connection, Device, End, Extraneous, Installation, Source
from onebond.network import Rcd, frame_of, place_of
from onebond.span import Route

SAME_DIGITS = 1 + 1e-9
"""A current that is a gate but for its last digits is that gate."""

GFCI_A = 0.0065
"""Up to this rated residual current a device is a ground-fault circuit interrupter of class A (UL 943: 4 to 6 mA)."""

FOLLOWING_TIMES_RATED = 2.0
"""Most that a source which follows another one adds to a fault, times rated, where nothing is declared: the highest in print."""

MCCB_HIGHEST = 1.2
"""How many times its instantaneous setting a moulded-case breaker may need (IEC 60947-2, 8.3.3.1.2: 20 %, from memory)."""

ACTING = ("mcb", "mccb", "fuse", "rcd", "rcbo")
"""Devices that operate by themselves in a fault."""


class Passed(NamedTuple):
    """A device on the way of a fault current, with what it sees, in A; a residual of None is not determined."""

    device: Device
    connection: str
    current_a: float
    residual_a: float | None

    @property
    def name(self) -> str:
        """How a person finds it: its id, or its kind and the connection."""
        return self.device.id or f"the {self.device.kind} in {self.connection}"


class Ending(NamedTuple):
    """A cable at whose end a fault is, with what hangs there."""

    id: str  # of the circuit, of the lead, of the board
    route: Route
    connection: Connection
    serves: str  # as written; "socket-outlets" for a lead with a plug, "distribution" for a cable to a board
    rating_a: float | None  # of its own overcurrent device
    place: str  # the kind of place, of a lead the one in which it is plugged in; '' where none is written
    circuit: Circuit | None = None  # None: a lead, or a cable to a board

    @property
    def lines(self) -> int:
        """How many line conductors it has."""
        return sum(core in LINES for core in self.connection.cores)

    @property
    def live(self) -> frozenset[str]:
        """Its live conductors."""
        return frozenset(core for core in self.connection.cores if core in LIVE)


class Fed(NamedTuple):
    """One way on which a source feeds the fault."""

    source: str
    passed: tuple[Passed, ...]  # the devices that carry all of what it gives
    single: bool  # no part of the way has another one beside it
    capability: Capability | Missing | None
    limited: bool  # the source gives no more than its limit

    @property
    def held_by(self) -> str:
        """The source whose limit it is: itself, or the one ahead of a transformer."""
        return (self.capability.ahead if isinstance(self.capability, Capability) else "") or self.source

    def most_a(self, current_a: float) -> float:
        """What the source gives into a fault current, in A: no more than its own limit."""
        return min(current_a, self.capability.limit_a) if isinstance(self.capability, Capability) else current_a


class Cleared(NamedTuple):
    """When a fault is cleared: the band over all sources, by what, and what keeps it from being certain."""

    trip: Trip
    by: str
    lacking: Missing | None
    limited_by: str  # a source that limits its current on a way that nothing clears for certain


class EarthFault:
    """A fault between a line conductor and a frame in one case, on the line that is cleared last."""

    def __init__(
        self,
        point: Point,
        island: Island,
        line: str,
        way: str,
        loop: Loop | None,
        feds: tuple[Fed, ...],
        current_a: float,
        lacking: Missing | None,
        touch_v: float | None,
        touch_met_v: float | None,
        final: bool,
        rating_a: float | None,
        sockets: bool,
        voltage_v: float,
        second: tuple[float, tuple[Fed, ...]] | None = None,
        guards: tuple[tuple[Device, str], ...] = (),
        through: frozenset[str] = frozenset(),
        largest_a: float = 0.0,
    ) -> None:
        self.point = point
        self.id = point.place
        self.route = point.route
        self.island = island
        self.line = line
        self.lines = {line}  # with those at the place of which everything is alike
        self.way = way  # reference | electrode | frames | ''
        self.loop = loop
        self.feds = feds
        self.smallest_a = current_a
        self.largest_a = largest_a  # with all that sources which follow others may add: touch voltages are at this one
        self.missing = lacking
        self.touch = touch_v
        self.touch_met = touch_met_v
        self.final = final
        self.rating_a = rating_a
        self.sockets = sockets
        self.voltage_v = voltage_v
        self.second = second
        self.guards = (
            guards  # devices, with their connection, that are on every way to the line: nothing reaches it round them
        )
        self.no_way_back = False  # neither conductors nor the soil lead a fault current back
        self.lone = False  # a portable source feeds it that feeds no building: said where `Facts.shocks` is asked
        self.through = through  # cables and equipment on the ways
        self._late: dict[tuple[float, float, str], tuple[Cleared, ...]] = {}  # shared by the cases that are wired alike

    def in_island(self, island: Island) -> EarthFault:
        """The same fault in another case that is wired alike."""
        if island is self.island:
            return self
        other = copy(self)
        other.island = island
        return other

    def of_lone_source(self) -> EarthFault:
        """The same fault, said to be fed by a portable source that feeds no building."""
        other = copy(self)
        other.lone = True
        return other

    @property
    def system(self) -> str:
        """TN, TT or IT, as this frame is earthed in this case."""
        if self.island.it:
            return "IT"
        return "TN" if self.way == "reference" else "TT"

    @property
    def known(self) -> Loop:
        """The loop; raises Unknown where it rests on something that is not written."""
        if self.missing:
            raise Unknown.of(self.missing)
        assert self.loop is not None
        return self.loop

    @property
    def loop_ohm(self) -> float:
        """Impedance of the fault loop in ohm; raises Unknown."""
        return abs(self.known.z_ohm)

    def current_a(self, factor: float = 1.0) -> float:
        """The smallest fault current in A, at a part of the voltage that ``factor`` gives; raises Unknown."""
        if abs(self.known.z_ohm) == 0:
            return self.smallest_a
        return min(factor * abs(self.known.open_v) / abs(self.known.z_ohm), self.smallest_a)

    def touch_v(self) -> float | None:
        """Voltage of the frame to the mass of earth during the fault in V; None where nothing ties the system to it."""
        assert self.known is not None
        return self.touch

    def touch_met_v(self) -> float | None:
        """Voltage of the frame to the main earthing terminal during the fault in V; None where there is none."""
        assert self.known is not None
        return self.touch_met

    @property
    def metal_near(self) -> tuple[Extraneous, ...]:
        """The metal that can be touched together with the frame and is no part of the installation."""
        site = self.island.network.installation
        frame = frame_of(site, self.point.place)
        return tuple(m for m in site.extraneous if any(frame_of(site, end.id) == frame for end in m.near))

    @property
    def metal_apart(self) -> str:
        """The first metal near the frame that no conductor joins to it, or ''."""
        network, earth = self.island.network, self.island.earth
        for metal in self.metal_near:
            points = [n for n, key in enumerate(network.nodes) if key[0] == metal.id]
            points += [network.number_of(frame_of(network.installation, end.id), "", "PE") for end in metal.joins]
            if not any(earth[n] == earth[self.point.pe] for n in points):
                return metal.id
        return ""

    def bonded_v(self) -> float | None:
        """The most that bonding leaves between the frame and the metal near it, in V; None: no such metal is written, or one is not bonded.

        The resistance of the bonding conductors between the two (415.2.2), at the larger of two currents: the largest fault current,
        and that which operates an overcurrent device on every way within 5 s.  A source that limits its current gives no more than
        that.  Raises Unknown.
        """
        assert self.known is not None
        ampere = self.largest_a
        for fed in self.feds:
            amounts = [enough for one in fed.passed if (enough := operating_a(one.device)) is not None]
            if not fed.limited:
                ampere = max(ampere, min(amounts, default=float("inf")))
        site = self.island.network.installation
        frame = frame_of(site, self.point.place)
        most = [_bonding_ohm(site, frame, metal.id) * ampere for metal in self.metal_near]
        return max(most) if most and max(most) < float("inf") else None

    @property
    def table_s(self) -> float | None:
        """The longest disconnection time of table 41.1 and its clauses for this circuit, in s; None where none is asked for.

        Where the rating of a final circuit is not written the shorter times of the table are taken.
        """
        if self.voltage_v <= 50:
            return None
        return self._table_s(self.sockets or self.serves_unknown)

    def _table_s(self, sockets: bool) -> float | None:
        system = "TT" if self.system == "TT" else "TN"
        rating = self.rating_a if self.rating_a is not None else 1.0
        return limits_table.circuit_time_s(
            self.voltage_v, system, final=self.final, rating_a=max(rating, 0.1), socket_outlets=sockets
        )

    @property
    def serves_unknown(self) -> bool:
        """Whether a final circuit does not say what it serves."""
        circuit = self.circuit
        return circuit is not None and circuit.serves is None

    @property
    def serves_matters(self) -> bool:
        """Whether the longest time hangs on what a final circuit serves, and that is not written."""
        return self.serves_unknown and self.voltage_v > 50 and self._table_s(True) != self._table_s(False)

    def cleared(self, factor: float = 1.0, fuses: str = "gG", second: bool = False) -> Cleared:
        """When the fault is cleared at a part of the voltage; ``fuses`` names the model of fuses, gG or BS 88-2.

        A source that collapses at its limit clears its own way.  With several sources every one of them has to be cut off.  With
        ``second`` the second fault of an IT system is asked for.  Raises Unknown.
        """
        assert self.known is not None
        feds = self.feds
        if second:
            if self.second is None:
                raise Unknown(f"the second fault at {self.id}", self.route)
            feds = self.second[1]
        worst: Cleared | None = None
        for fed in feds:
            one = _cleared(fed, factor, fuses)
            if worst is None or _later(one.trip, worst.trip):
                worst = one
        return worst or Cleared(NEVER, "", None, "")

    @property
    def residuals(self) -> tuple[Passed, ...]:
        """The residual current devices on the ways."""
        return tuple(passed for fed in self.feds for passed in fed.passed if passed.device.senses)

    @property
    def rcds(self) -> tuple[tuple[Device, str], ...]:
        """The residual current devices that cut the place off from every source that forms the island, the nearest first."""
        known = tuple(one for one in self.guards if one[0].senses)
        if known:
            return known
        # where something is fed on two ways, what cuts it off is found by taking each device out
        island, network = self.island, self.island.network
        nodes = [node for node in self.point.lines if self.line in ("", phase_of(network, node))]
        feeds = [feed for feed in island.feeds if feed.forming]
        found: list[tuple[int, Device, str]] = []
        for rcd in network.rcds:
            if not any(island.live >> network.edges[i].a & 1 for i in rcd.edges):
                continue  # what is dead cuts nothing off
            cuts = [island.beyond_feed(rcd, feed) for feed in feeds]
            if any(all(cut >> node & 1 for cut in cuts) for node in nodes):
                found.append((cuts[0].bit_count(), rcd.device, rcd.connection))
        return tuple((device, name) for _, device, name in sorted(found, key=lambda one: one[0]))

    @property
    def circuit(self) -> Circuit | None:
        """The final circuit at whose end the fault is; None where it is elsewhere."""
        return next((one for one in self.island.network.installation.circuits if one.id == self.point.place), None)

    @property
    def place(self) -> str:
        """The kind of place in which it stands, where that is written; else ''."""
        return place_of(self.island.network.installation, self.point.place)

    @property
    def sources(self) -> tuple[Source, ...]:
        """The sources that form the island."""
        return tuple(source for feed in self.island.feeds if feed.forming for source in feed.sources)

    @property
    def ending(self) -> Ending | None:
        """What ends at this place: a final circuit, a lead that is plugged in at a board, a cable between boards; or None."""
        site = self.island.network.installation
        if circuit := self.circuit:
            return Ending(
                *(circuit.id, self.route, circuit.connection, circuit.serves or "", self.rating_a, self.place, circuit)
            )
        boards = {board.id for board in site.boards}
        places = boards | {changeover.id for changeover in site.changeovers}
        for link, other in self._upstream():
            if link.plug and other.id in boards:
                place = place_of(site, other.id)
                return Ending(link.id, link.route, link, "socket-outlets", rating_a(link), place)
            apart = other.id in places and frame_of(site, other.id) != frame_of(site, self.id)
            if apart and self.point.sort == "board":
                return Ending(self.id, self.route, link, "distribution", rating_a(link), self.place)
        return None

    def _upstream(self) -> Iterator[tuple[Connection, End]]:
        """The closed cables that come from nearer to a source, each with its other end."""
        island, network = self.island, self.island.network
        far, lines = island.distance, self.point.lines
        here = min(far[node] for node in lines)
        closed = {network.edges[i].element for node in lines for i, _, _ in island.ways[node]}
        for link in network.installation.connections:
            if link.id not in closed:
                continue
            for mine, other in ((link.finish, link.start), (link.start, link.finish)):
                nodes = [network.find(other.id, other.terminal, core) for core in link.cores if core in LINES]
                if (mine.id, mine.terminal) == (self.point.place, self.point.terminal) and any(
                    far.get(node, here) < here for node in nodes
                ):
                    yield link, other

    @cached_property
    def _standing(self) -> int:
        """The lines that sources which stand fixed reach without any plug and without a vehicle on the way; a bit set."""
        site, network = self.island.network.installation, self.island.network
        moved = {source.id for source in site.sources if source.mounted == "vehicle"}
        moved.update(link.id for link in (*site.connections, *(one.connection for one in site.circuits)) if link.plug)
        cut = frozenset(i for i, edge in enumerate(network.edges) if edge.element in moved)
        fixed = [f for f in self.island.feeds if f.forming and any(source.mounted == "fixed" for source in f.sources)]
        return self.island.line_part(tuple(node for feed in fixed for node in feed.lines), without=cut)

    @property
    def plugged(self) -> bool:
        """Whether it belongs to something that is plugged in or moves: a plug on every way, or a source that stands nowhere."""
        return not any(self._standing >> node & 1 for node in self.point.lines)

    @property
    def rcds_aboard(self) -> tuple[tuple[Device, str], ...]:
        """Those of its residual current devices that lie behind the plug: one in the lead may sit at its other end."""
        network = self.island.network
        found = []
        for device, connection in self.rcds:
            edges = self._rcd(device, connection).lines
            ends = [node for i in edges for node in (network.edges[i].a, network.edges[i].b)]
            if not any(self._standing >> node & 1 for node in ends):
                found.append((device, connection))
        return tuple(found)

    def _rcd(self, device: Device, connection: str) -> Rcd:
        return next(
            one
            for one in self.island.network.rcds
            if one.connection == connection and one.device.position == device.position
        )

    @property
    def lives_beside(self) -> bool:
        """Whether anything else than socket-outlets hangs on the same board in the same kind of place."""
        end, site = self.ending, self.island.network.installation
        if end is None or end.circuit is None:
            return False
        board = frame_of(site, end.connection.start.id)
        return any(
            circuit.serves != "socket-outlets"
            and frame_of(site, circuit.connection.start.id) == board
            and place_of(site, circuit.id) == end.place
            for circuit in site.circuits
        )

    def shared_with(self, device: Device, connection: str) -> tuple[str, Route, bool] | None:
        """Another outlet that a residual current device protects, and whether it says that it is one.

        That is a circuit for socket-outlets, or one that does not say what it serves, or a lead with a plug that begins behind it.
        """
        island, network = self.island, self.island.network
        feeds = tuple(node for feed in island.feeds if feed.forming for node in feed.lines)
        near = island.line_part(feeds, without=self._rcd(device, connection).edges)
        own = self.ending.id if self.ending else self.id
        # what hangs on this lead or circuit itself is no other outlet
        ahead = frozenset(i for i, edge in enumerate(network.edges) if edge.element == own)
        beside = island.line_part(feeds, without=ahead)
        outlets = [
            (circuit.id, circuit.route, circuit.serves is not None, circuit.id, "", circuit.connection.cores)
            for circuit in network.installation.circuits
            if circuit.serves in (None, "socket-outlets")
        ]
        outlets += [
            (link.id, link.route, True, link.start.id, link.start.terminal, link.cores)
            for link in network.installation.connections
            if link.plug
        ]
        found = []
        for name, route, said, place, terminal, cores in outlets:
            ends = [network.find(place, terminal, core) for core in cores]
            live = [n for n in ends if n >= 0 and beside >> n & 1]
            if name != own and live and not any(near >> node & 1 for node in live):
                found.append((name, route, said))
        return min(found, key=lambda one: not one[2], default=None)

    @property
    def floats(self) -> bool:
        """Whether nothing ties the neutral of the island to earth although it is not declared IT."""
        return not self.island.it and not self.island.references

    @property
    def unsettled(self) -> str:
        """Why nothing at all is asked for in this state, in words; '' otherwise."""
        if self.island.changing_over:
            return "a state that lasts only while a changeover changes over"
        if self.floats:
            return "the neutral of the island floats: judged by neutral-unreferenced"
        if self.island.it and self.island.references:
            return "a solid link in an IT system: judged by it-bonded"
        return ""

    @property
    def framed(self) -> bool:
        """Whether there is a frame, on a protective path; without one a person is what a fault current flows through."""
        return self.point.pe >= 0 and bool(self.way or not self.line)

    @property
    def outside(self) -> str:
        """Why no time is asked for here, in words: another rule judges the place, or the state ends by itself; '' otherwise."""
        if self.unsettled:
            return self.unsettled
        if self.line and not self.way:
            return "the frame has no protective path: judged by pe-missing"
        if self.no_way_back:
            return "nothing leads a fault current back to the source: judged by electrode-missing and pe-missing"
        return ""

    @property
    def unsplit(self) -> str:
        """A board on the same earth where a PEN lands and no link carries it on to PE, or ''."""
        island, network = self.island, self.island.network
        label = island.earth[self.point.pe]
        for board, n, _ in network.pen_lands:
            pe = network.find(frame_of(network.installation, board), "", "PE")
            split = any(tie.pe == pe and tie.solid for tie in island.ties)
            if pe >= 0 and island.earth[pe] == label and island.live >> n & 1 and not split:
                return board
        return ""

    @property
    def apart(self) -> str:
        """The later of two electrodes of the installation, this frame's and the reference's, that no conductor joins, or ''."""
        island = self.island
        here = island.earth[self.point.pe]
        there = {island.earth[reference.pe] for reference in island.own_references}
        labels = [(name, island.earth[pe]) for name, pe in island.network.electrodes]
        ends = [name for name, label in labels if label == here or label in there]
        joined = here in there or not {label for _, label in labels} & there
        return ends[-1] if len(ends) > 1 and not joined else ""

    @property
    def nearest_to_source(self) -> str:
        """The first place on the way from the source whose frame is on the same earth as this one, or '' if it is this one."""
        island, network = self.island, self.island.network
        label, far = island.earth[self.point.pe], island.distance
        frames = {node for part in network.parts if island.earth[part.pe] == label for node in part.lines}
        node = min(self.point.lines, key=lambda n: far[n])
        place = self.id
        while node >= 0:
            if node in frames:
                place = network.nodes[node][0]
            steps = [other for _, other, sort in island.ways[node] if sort == "line" and far[other] < far[node]]
            node = min(steps, key=lambda n: far[n], default=-1)
        return place if place != self.id else ""

    @property
    def limiting(self) -> bool:
        """Whether a source that forms the island is of a kind that limits its current into a fault, ahead of a transformer too."""
        if any(source.kind in ("inverter", "generator") for source in self.sources):
            return True
        return any(isinstance(fed.capability, Capability) for fed in self.feds)

    @property
    def unprotected(self) -> str:
        """The supply from which the fault is reached with no protective device written on the way, or ''."""
        supplies = {feed.id for feed in self.island.feeds if feed.kind == "utility"}
        bare = (fed.source for fed in self.feds if not any(one.device.kind in ACTING for one in fed.passed))
        return next((source for source in bare if source in supplies), "")

    @property
    def from_utility(self) -> bool:
        """Whether a utility feeds the line itself, and not only shares the neutral of the island."""
        utilities = {feed.id for feed in self.island.feeds if feed.kind == "utility"}
        return any(fed.source in utilities for fed in self.feds)

    @property
    def behind_transformer(self) -> str:
        """A transformer of several lines from which the fault is fed, or '': what ahead of it may open is not looked at."""
        transformers = {
            feed.id for feed in self.island.feeds if feed.kind == "transformer" and len(feed.sources[0].phases) > 1
        }
        return next((fed.source for fed in self.feds if fed.source in transformers), "")

    @property
    def met_by(self) -> tuple[Fed, ...]:
        """What each source gives into the fault that has to be cleared: in IT that is the second one; raises Unknown."""
        assert self.known is not None
        if not self.island.it:
            return self.feds
        if self.second is None:
            why = f"nothing leads the current of a second fault at {self.id} back"
            raise Unknown(f"the second fault at {self.id}", self.route, why)
        return self.second[1]

    def late(self, limit_s: float, factor: float = 1.0, fuses: str = "gG") -> tuple[Cleared, ...]:
        """What is known of the ways that are not certain to be cut off within a limit in s, in IT of a second fault.

        A breaker that the maker declares the source to trip counts as certain.  Raises Unknown.
        """
        asked = (limit_s, factor, fuses)
        if asked not in self._late:
            found = [(fed, _cleared(fed, factor, fuses)) for fed in self.met_by]
            ways = tuple(one for fed, one in found if one.trip.within(limit_s) != "certain" and not self.declared(fed))
            self._late[asked] = ways if found else (Cleared(NEVER, "", None, ""),)
        return self._late[asked]

    def declared(self, fed: Fed) -> str:
        """The breaker on a way that the makers of its sources declare them to trip, or ''."""
        sources = next(feed.sources for feed in self.island.feeds if feed.id == fed.source)
        lists = [source.largest_breaker for source in sources]
        for passed in fed.passed if fed.limited else ():
            device = passed.device
            if device.kind in ("mcb", "rcbo") and device.curve and device.rating_a is not None:
                curve, rating = device.curve, device.rating_a
                if all(one is not None and inverters.declared_breaker_covers(curve, rating, (one,)) for one in lists):
                    return passed.name
        return ""

    @property
    def touch_time_s(self) -> float | None:
        """How long the touch voltage may last by the older curves, in s; None below their limit. Raises Unknown."""
        touch = self.touch_v()
        # beyond the last point of the curve the shortest time counts
        return None if touch is None else body.touch_time_s(min(touch, 500.0))


def bonded_within(fault: EarthFault, limit_v: float) -> bool:
    """Whether supplementary bonding keeps a frame within a voltage to the metal near it, so that nothing has to open; raises Unknown.

    It is there for fixed equipment (IEC 60364-4-41, 415.2.1, from memory): what is plugged in is bonded to nothing.
    """
    fixed = fault.circuit is None or fault.circuit.serves not in (None, "socket-outlets")
    volts = fault.bonded_v() if fixed and not fault.island.it else None
    return volts is not None and volts <= limit_v


def rating_a(connection: Connection) -> float | None:
    """The smallest rated current of the overcurrent devices in a cable, in A; None where none is written."""
    overcurrent = (one for one in connection.devices if one.kind in ("mcb", "mccb", "fuse", "rcbo"))
    return min((one.rating_a for one in overcurrent if one.rating_a is not None), default=None)


def _later(one: Trip, other: Trip) -> bool:
    endless = float("inf")
    first = (endless if one.certain_s is None else one.certain_s, one.possible_from_s is None, one.possible_from_s or 0)
    second = (
        endless if other.certain_s is None else other.certain_s,
        other.possible_from_s is None,
        other.possible_from_s or 0,
    )
    return first > second


def _cleared(fed: Fed, factor: float, fuses: str) -> Cleared:
    capability = fed.capability if isinstance(fed.capability, Capability) else None
    best, by, lacking = NEVER, "", None
    until = capability.until_s if capability and fed.limited else None
    for passed in fed.passed:
        current = passed.current_a if fed.limited else passed.current_a * factor
        trip = trip_of(passed, current * SAME_DIGITS, fuses)
        if isinstance(trip, Missing):
            lacking = lacking or trip
            continue
        if until is not None:
            trip = lasting(trip, until)
        if trip.certain_s is not None and (best.certain_s is None or trip.certain_s < best.certain_s):
            by = passed.name
        best = sooner(best, trip)
    # what a device clears it clears before the source ends (`lasting`)
    if until is not None and capability and capability.collapses and best.certain_s is None:
        best, by = sooner(best, Trip(until, until)), f"{fed.held_by} itself"
    if capability and capability.lacking and fed.limited:
        lacking = lacking or capability.lacking
    if isinstance(fed.capability, Missing):
        lacking = lacking or fed.capability
    if not fed.single:
        lacking = lacking or Missing(fed.source, (), f"{fed.source} feeds the place on more than one way at once")
    return Cleared(best, by, lacking, fed.source if fed.limited else "")


def trip_of(passed: Passed, current_a: float, fuses: str = "gG") -> Trip | Missing:
    """When one device operates at a line current and at the residual current that it sees; or what is missing to tell."""
    device, where = passed.device, passed.name
    if device.kind not in ACTING:
        return NEVER
    try:
        if device.kind == "rcd":
            return _residual(passed)
        if device.rating_a is None:
            over: Trip | Missing = Missing(f"the rating of {where}", device.route)
        elif device.kind in ("mcb", "rcbo"):
            if device.curve is None:
                over = Missing(f"the curve of {where}", device.route)
            else:
                over = devices.mcb_trip(current_a, device.rating_a, device.curve)
        elif device.kind == "mccb":
            over = devices.mccb_trip(current_a, device.rating_a, device.instantaneous_a)
            if device.instantaneous_a is None and over.certain_s is not None and over.certain_s > 5:
                return Missing(f"the instantaneous setting of {where}", device.route)
        elif device.fuse_class != "gG":
            over = Missing(f"the class of {where}", device.route)
            if device.fuse_class:
                over = over._replace(reason=f"{where}: there are no gates for class {device.fuse_class}")
        elif fuses != "gG":
            over = devices.bs_fuse_trip(current_a, int(device.rating_a), fuses)
        else:
            over = devices.gg_trip(current_a, device.rating_a)
        if device.kind == "rcbo":
            residual = _residual(passed)
            if isinstance(over, Missing):
                return residual if isinstance(residual, Trip) and residual.certain_s is not None else over
            return over if isinstance(residual, Missing) else sooner(over, residual)
        return over
    except ValueError as refused:
        return Missing(f"the values of {where}", device.route, f"{where}: {refused}")


def _bonding_ohm(site: Installation, frame: str, metal: str) -> float:
    """The impedance of the protective conductors of their own that lead from a frame to metal, in ohm; infinite: none do.

    Raises Unknown.
    """
    around: dict[str, list[tuple[str, float | Missing]]] = {}
    for link in site.connections:
        if link.cores != ("PE",) or link.devices or link.plug:
            continue
        ohm = impedances.core_ohm(link, "PE", True)
        ends = frame_of(site, link.start.id), frame_of(site, link.finish.id)
        for here, there in (ends, ends[::-1]):
            around.setdefault(here, []).append((there, ohm if isinstance(ohm, Missing) else abs(ohm)))
    others = {one.id for one in site.extraneous} - {metal}
    nearest: dict[str, float] = {}
    lacking: Missing | None = None
    waiting = [(0.0, frame)]
    while waiting:
        waiting.sort()
        ohm, place = waiting.pop(0)
        if place in nearest:
            continue
        nearest[place] = ohm
        if place == metal:
            return ohm
        for there, step in around.get(place, ()) if place not in others else ():
            if isinstance(step, Missing):
                lacking = lacking or step
            else:
                waiting.append((ohm + step, there))
    if lacking:
        raise Unknown.of(lacking)
    return float("inf")


def operating_a(device: Device) -> float | None:
    """The current in A that operates a device for certain within 5 s; None where that is not known.

    Of a residual current device it is the residual current.
    """
    try:
        if device.kind in ("rcd", "rcbo"):
            return device.residual_a
        if device.rating_a is None:
            return None
        if device.kind == "mcb" and device.curve:
            return devices.mcb_operating_current_a(device.rating_a, device.curve, 5.0)
        if device.kind == "mccb" and device.instantaneous_a is not None:
            return device.instantaneous_a * MCCB_HIGHEST
        if device.kind == "fuse" and device.fuse_class == "gG":
            return devices.gg_operating_current_a(device.rating_a, 5.0)
    except ValueError:
        return None
    return None


def _residual(passed: Passed) -> Trip | Missing:
    device = passed.device
    if passed.residual_a is None:
        why = f"what {passed.name} sees depends on the resistance of contacts"
        return Missing(passed.name, device.route, why)
    assert device.residual_a is not None
    if device.residual_a < GFCI_A:
        return devices.gfci_trip(passed.residual_a)
    return devices.rcd_trip(
        passed.residual_a, device.residual_a, delay=device.delay or "general", kind=device.residual_type or "A"
    )


def beyond_limit(island: Island, points: tuple[Point, ...]) -> list[EarthFault]:
    """The faults of an island whose circuit was not worked out because the site has too many different ones."""
    found = []
    for point in points:
        lines = tuple(node for node in point.lines if island.energised_lines >> node & 1)
        if lines:
            why = Missing(point.place, point.route, "the site has more different circuits than the stated limit")
            one = point._replace(lines=lines)
            found.append(EarthFault(one, island, "", "", None, (), 0.0, why, None, None, False, None, False, 0.0))
    return found
