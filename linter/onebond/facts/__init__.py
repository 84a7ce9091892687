"""Facts: derived knowledge about an installation in all its operating states, the only thing that rules read.

Each property of :class:`Facts` is a collection of *subjects*: frozen records about one part of the installation in one case
(or about the description as a whole, ``island`` is then None).  Facts decide nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, partial
from typing import NamedTuple

from onebond.circuit.build import Known
from onebond.facts.collection import Collection
from onebond.facts.currents import NODES, Currents, Point, points_of
from onebond.facts.direct import DirectSide, direct_sides, monitors_behind, monitors_of
from onebond.facts.direct_currents import BatteryLeads, DirectCurrent, battery_leads, direct_currents, direct_peaks
from onebond.facts.direct_wiring import Side, sides
from onebond.facts.failures import Breaker, Failure
from onebond.facts.fault_worker import FaultWorker, final_circuits, frameless, nominal_v
from onebond.facts.faults import Cleared, EarthFault, Ending, beyond_limit, bonded_within
from onebond.facts.floating import FloatingReading, floating_readings
from onebond.facts.infeed import FedBehindRcd, InfeedBehindRcd, Levels, fed_behind_rcd, infeeds_behind_rcd, levels
from onebond.facts.island import Island, Reference
from onebond.facts.lost import Lost, lost
from onebond.facts.neutrals import NeutralContact, NeutralToBuilding, neutral_contacts, neutrals_to_buildings
from onebond.facts.peaks import Peak, PeakWorker
from onebond.facts.residual import (
    RcdAtInverter,
    RcdForPlace,
    RcdOnWay,
    rcds_at_inverters,
    rcds_for_places,
    rcds_on_ways,
)
from onebond.facts.service import Drop, InService, PeCurrent, RcdInService, Sharing, largest_pe
from onebond.facts.sizes import Need, Protective, protective_conductors
from onebond.facts.soil import EarthElectrode, earth_electrodes
from onebond.facts.taken import (
    Compared,
    ElectrodeLimit,
    LoopLimit,
    MeasuredPlace,
    Refused,
    Taken,
    Unread,
    trip_times,
)
from onebond.facts.unknown import Unknown
from onebond.facts.wiring import (
    BorrowedNeutral,
    ElectrodePair,
    Misfit,
    SwitchedProtective,
    borrowed_neutrals,
    electrode_pairs,
    loads_on_high_leg,
    misfits,
    switched_protective,
)
from onebond.model import DIRECT, LINES, Installation, Monitor, Source
from onebond.network import Feed, Network, Part, Rcd, Tie, build, frame_of, place_of
from onebond.result import Mention
from onebond.span import Route
from onebond.states import LIMIT, cases, holds

TYPE_CHECKING = False
if TYPE_CHECKING:
    from onebond.meter.plant import Plant
    from onebond.meter.readings import Readings

__all__ = [
    "BatteryLeads",
    "BorrowedNeutral",
    "Cleared",
    "Collection",
    "Compared",
    "Crossing",
    "Dead",
    "DirectSide",
    "Drop",
    "EarthElectrode",
    "EarthFault",
    "ElectrodeLimit",
    "ElectrodePair",
    "Ending",
    "Energised",
    "Exposed",
    "Facts",
    "Failure",
    "FedBehindRcd",
    "Feeding",
    "FloatingReading",
    "InfeedBehindRcd",
    "Island",
    "Isolated",
    "Levels",
    "LoopLimit",
    "Lost",
    "MeasuredPlace",
    "Misfit",
    "Need",
    "NeutralContact",
    "NeutralToBuilding",
    "OwnInput",
    "Pair",
    "PeCurrent",
    "Peak",
    "PenLanding",
    "Protective",
    "RcdAtInverter",
    "RcdForPlace",
    "RcdInService",
    "RcdOnWay",
    "Reference",
    "Refused",
    "Relay",
    "Surplus",
    "SwitchedProtective",
    "Taken",
    "Unread",
    "bonded_within",
    "trip_times",
]


class Feeding(NamedTuple):
    """A source that forms an island, in one case."""

    id: str
    route: Route
    island: Island
    feed: Feed
    unsplit: str  # a live board on which a PEN lands and no link is closed, or ''
    opened: str  # a link that is not joined only because the RCD that it lies behind is open, or ''
    cut_off: str  # the part nearest to the source on a PE that is cut off and that the own reference ties to, or ''
    readings: Callable[[], tuple[FloatingReading, ...]] = tuple  # what meters read where the island floats
    waiting: tuple[str, ...] = ()  # bonds on its neutral that their condition keeps open here, in words
    meets: bool = False  # in other cases its neutral is tied to earth by something

    @property
    def portable(self) -> bool:
        """Whether every source of the island is written as portable or vehicle-mounted."""
        return all(source.mounted != "fixed" for feed in self.island.feeds for source in feed.sources)

    @property
    def premises(self) -> bool:
        """Whether the island reaches the wiring of a building: a board with a written building, or one that a fixed
        source can feed too."""
        network = self.island.network
        supplied = set(self.island.supplies)
        site = network.installation
        buildings = ("dwelling", "agricultural", "medical")
        written = {board.id for board in site.boards if board.building} | {
            one.id for one in site.circuits if one.building
        }
        if any(place in written or place_of(site, place) in buildings for place in supplied):
            return True
        if self.vehicle:
            return False  # a hook-up makes no building of it
        own = {source.id for feed in self.island.feeds for source in feed.sources}
        for feed in network.feeds:
            if any(source.mounted == "fixed" and source.id not in own for source in feed.sources):
                reached = network.reachable(feed.lines)
                if any(node in reached for board, lines in network.boards if board in supplied for node in lines):
                    return True
        return False

    @property
    def vehicle(self) -> bool:
        """Whether every source of the island is written as mounted on a vehicle."""
        return all(source.mounted == "vehicle" for feed in self.island.feeds for source in feed.sources)

    @property
    def items(self) -> int:
        """How many final circuits the island supplies."""
        circuits = {identifier for identifier, _ in self.island.network.circuits}
        return sum(1 for identifier in self.island.supplies if identifier in circuits)

    @property
    def outlets(self) -> tuple[str, ...]:
        """The circuits of the island that serve socket-outlets: what is plugged into them may be more than one item."""
        circuits = self.island.network.installation.circuits
        return tuple(c.id for c in circuits if c.serves == "socket-outlets" and c.id in self.island.supplies)

    @property
    def frame_apart(self) -> str:
        """A board or circuit of the island whose frame no conductor joins to the frame of the source, or ''."""
        island, network = self.island, self.island.network
        frames = {island.earth[part.pe] for part in network.parts if part.id in {s.id for s in self.feed.sources}}
        fed = [part for part in network.parts if part.kind in ("board", "circuit") and part.id in island.supplies]
        return next((part.id for part in fed if frames != {island.earth[part.pe]}), "")

    @property
    def hard_wired(self) -> str:
        """A board that the source reaches without a plug on the way, or ''."""
        island, network = self.island, self.island.network
        plugs = {link.id for link in network.installation.connections if link.plug}
        cut = frozenset(i for i, edge in enumerate(network.edges) if edge.element in plugs)
        near = island.line_part(self.feed.lines, without=cut)
        return next((board for board, lines in network.boards if any(near >> node & 1 for node in lines)), "")

    @property
    def boards(self) -> bool:
        """Whether the island supplies a board, and not only outlets on the source itself."""
        boards = {identifier for identifier, _ in self.island.network.boards}
        return any(identifier in boards for identifier in self.island.supplies)

    def circuits_behind(self, residual_a: float) -> bool:
        """Whether each circuit of the island lies behind an RCD of that residual current or less; inf asks for none."""
        if residual_a == float("inf"):
            return True
        island, network = self.island, self.island.network
        covered: set[str] = set()
        for rcd in network.rcds:
            if rcd.device.residual_a is not None and rcd.device.residual_a <= residual_a:
                near = island.line_part(self.feed.lines, without=rcd.edges)
                covered.update(c for c, lines in network.circuits if not any(near >> node & 1 for node in lines))
        # what the source does not reach at all lies behind every device
        return all(c in covered for c, _ in network.circuits)

    @property
    def electrode(self) -> str:
        """An electrode of the installation that an own reference reaches over PE, PEN and closed bonds, or ''."""
        labels = self.island.earth_reach({self.island.earth[r.pe] for r in self.island.own_references})
        for identifier, pe in self.island.network.electrodes:
            if self.island.earth[pe] in labels:
                return identifier
        return ""

    @property
    def frame_electrode(self) -> str:
        """An electrode that the frame of the source reaches over PE, or ''."""
        parts = {source.id for source in self.feed.sources}
        labels = {self.island.earth[part.pe] for part in self.island.network.parts if part.id in parts}
        for identifier, pe in self.island.network.electrodes:
            if self.island.earth[pe] in labels:
                return identifier
        return ""

    @property
    def electrodes(self) -> tuple[str, ...]:
        """All electrodes of the installation."""
        return tuple(identifier for identifier, _ in self.island.network.electrodes)

    @property
    def utilities(self) -> tuple[Mention, ...]:
        """The suppliers whose star point is a reference of the island."""
        return tuple(
            Mention(reference.id, reference.route, "the supplier's star point is the only reference")
            for reference in self.island.references
            if reference.kind == "star"
        )

    @property
    def silent(self) -> tuple[str, ...]:
        """What the description leaves out of the sources and how that was read, in words."""
        found = [
            f"neutral-bond of {source.id} is not written and was read as none"
            for source in self.feed.sources
            if not source.neutral_bond_written
        ]
        found.extend(
            f"neutral-through of {source.id} is not written and was read as switched"
            for source in self.feed.sources
            if source.mains_input and not source.neutral_through_written
        )
        found.extend(f"{tie.id} is an impedance, which is no reference" for tie in self.island.impedances)
        return tuple(found)


class Surplus(NamedTuple):
    """A reference of an island, with the one that is kept beside it if it is too many."""

    id: str
    route: Route
    island: Island
    reference: Reference
    kept: Reference | None  # None: this reference is as it should be
    metallic: bool
    crossings: tuple[str, ...]  # the changeovers without whose unswitched neutral the two would not be joined
    caused: bool  # this reference is too many in no case without the help of such a changeover
    behind: tuple[tuple[str, Route, str], ...]  # RCDs (id, route) that protect it, and from which source seen
    rcds: tuple[str, ...]  # the same by the name of their variable
    review: tuple[Mention, ...]  # separately bonded places whose extraneous metal is not described
    fed_behind: str  # a pass-through inverter that brings it there, because its own input lies behind them, or ''
    sharing: Sharing | None = None  # how neutral current divides at it; None past the limit of work
    rcd: Rcd | None = None  # the first RCD that protects it
    needed: bool = False  # it is the only reference in some other case


class PenLanding(NamedTuple):
    """A board on which a PEN core lands while PE cores land there too."""

    id: str
    route: Route
    island: Island
    bonded: bool
    of_source: bool  # the PEN comes unbroken from a source of the island, or from a supplier


class Crossing(NamedTuple):
    """A changeover with its neutral, in the description as a whole."""

    id: str
    route: Route
    island: Island | None
    solid: bool
    sides: int  # inputs on which a neutral lands
    joins: tuple[Mention, ...]  # two references that it alone joins in this case
    beside: str  # the second of them, where it is too many in other cases without the changeover too
    inverter: bool  # not a changeover but the way through an inverter
    tn: bool
    distinct: bool  # its inputs can be fed by different sources
    utility: str  # a utility whose neutral arrives at it
    vehicle: bool = False  # the way through an inverter that is mounted on a vehicle


class Exposed(NamedTuple):
    """An exposed-conductive-part that an island feeds."""

    id: str
    route: Route
    island: Island
    part: Part
    way: str  # how it is earthed: reference | electrode | frames | ''
    root: str  # the part nearest to the source on the same cut-off PE; itself if it is the nearest
    pen_split: str  # the board whose missing link cuts all of them off

    @property
    def place(self) -> str:
        """The kind of place in which it stands, where that is written; else ''."""
        return place_of(self.island.network.installation, self.id)

    @property
    def board(self) -> str:
        """The board of a final circuit that stands in the same kind of place, or ''."""
        site = self.island.network.installation
        start = next((one.connection.start.id for one in site.circuits if one.id == self.id), "")
        return start if start and place_of(site, start) == self.place else ""

    @property
    def pen_core(self) -> str:
        """The cable that brings a PEN to it, or ''; the service itself is none where it ends at the first board."""
        site = self.island.network.installation
        links = (*site.connections, *(circuit.connection for circuit in site.circuits))
        utilities = {source.id for source in site.sources if source.kind == "utility"}
        for link in links:
            ends = {link.start.id, link.finish.id}
            served = self.id in ends and (self.vehicle or not ends & utilities)
            if "PEN" in link.cores and (self.id == link.id or served):
                return link.id
        return ""

    @property
    def vehicle(self) -> bool:
        """Whether it is the frame of a source that is mounted on a vehicle."""
        return any(
            source.id == self.id for source in self.island.network.installation.sources if source.mounted == "vehicle"
        )

    @property
    def pen_led_on(self) -> tuple[str, str] | None:
        """The cable that brings a PEN to it from another board, and that board; None where a service or nothing does.

        Between two boards that are equally far from the feeds it is led on from each to the other.
        """
        site = self.island.network.installation
        boards = {board.id for board in site.boards}
        for link in (*site.connections, *(circuit.connection for circuit in site.circuits)):
            ends = [link.start.id, link.finish.id]
            if "PEN" in link.cores and self.id in ends:
                other = ends[1 - ends.index(self.id)]
                far = self._far(other)
                if other in boards and far < float("inf") and far <= self._far(self.id):
                    return link.id, other
        return None

    def _far(self, identifier: str) -> float:
        """How many conductors lie between a board or circuit and the nearest feed."""
        far, nodes = self.island.distance, self.island.network.nodes
        return min((steps for node, steps in far.items() if nodes[node][0] == identifier), default=float("inf"))

    def beside(self, board: str) -> bool | None:
        """Whether a board stands in the same kind of place or building as this part; None: it is not written."""
        site = self.island.network.installation
        if place_of(site, board) == self.place:
            return True
        building = {one.id: one.building for one in site.boards} | {one.id: one.building for one in site.circuits}
        here, there = building.get(self.id), building.get(board)
        return here == there if here and there else None

    @property
    def supplier_pen(self) -> str:
        """A supply whose PEN conductors join to it, in this case; or ''."""
        island = self.island
        earthing = {source.id: source.earthing for source in island.network.installation.sources}
        stars = [tie for tie in island.network.ties if tie.kind == "star" and earthing.get(tie.id) == "TN-C-S"]
        mine = island.earth[self.part.pe]
        for star in stars:
            joined = island.pen_part(star.n)
            if mine == island.earth[star.pe] or any(
                tie.n in joined and island.earth[tie.pe] == mine
                for tie in island.network.ties
                if tie.kind != "star" and tie.solid and holds(tie.needs, island.state)
            ):
                return star.id
        return ""


class Pair(NamedTuple):
    """A source that energises the same line conductors as another one."""

    id: str
    route: Route
    island: Island
    other: str
    other_route: Route
    permitted: str  # why that is permitted, or ''
    feeds_itself: str  # an inverter that feeds its own input in the same case


class Dead(NamedTuple):
    """An absent or standing source in a case in which its terminals are within an island."""

    id: str
    route: Route
    island: Island
    by: str  # the feed that energises its line terminals, or ''
    by_route: Route
    parallel: tuple[str, str] | None  # the sources-in-parallel finding that it follows from


class OwnInput(NamedTuple):
    """A pass-through inverter while it inverts."""

    id: str
    route: Route
    island: Island
    reached: bool


class Relay(NamedTuple):
    """A bond that a condition closes, in one case: what its delays mean there."""

    id: str
    route: Route
    island: Island
    bond: str  # in words
    closes_after_s: float | None
    opens_after_s: float | None
    alone: bool  # it is the only reference: until it has closed there is none
    beside: Reference | None  # of a case in which it is to be open: until it has opened there are two


class Isolated(NamedTuple):
    """An island whose sources are all declared IT, or a direct-current side that monitors watch."""

    id: str
    route: Route
    island: Island | None  # None: a direct-current side with monitors of its own
    monitors: tuple[str, ...]
    second: tuple[str, Route] | None
    doubtful: Source | None = None  # an inverter beyond which more monitors stand, and which may separate them or not
    watching: tuple[Monitor, ...] = ()  # the same monitors as they are written
    places: frozenset[str] = frozenset()  # the kinds of place in which stands what it supplies
    voltage_v: float = 0.0  # of a line to earth; 0: not declared


class Energised(NamedTuple):
    """A board, circuit or source over all cases: whether it is ever live, or ever supplies."""

    id: str
    route: Route
    island: None
    ever: bool
    by: str  # the place that feeds it and is never live itself
    crossed: str = ""  # it is fed by a cable whose cores are crossed


class Facts:
    """Everything that rules may ask about one installation under one rulebook."""

    def __init__(
        self,
        installation: Installation,
        rulebook: str,
        limit: int = LIMIT,
        readings: Readings | None = None,
        refused: tuple[Refused, ...] = (),
        today: str = "",
    ) -> None:
        self.installation = installation
        self.rulebook = rulebook
        self.readings = readings
        self._refused = refused
        self.today = today
        self.network: Network = build(installation)
        self.survey = cases(self.network, limit)
        self._earth: dict[tuple[bool, tuple[int, ...]], tuple[int, ...]] = {}
        self.islands = tuple(Island(self.network, case, self._earth_parts(case.state)) for case in self.survey.cases)

    def _earth_parts(self, state: tuple[int, ...], metal: bool = True) -> tuple[int, ...]:
        """The metallic earth part of each node; nodes of one part carry one label.

        Without ``metal`` only conductors of the installation join.
        """
        key = metal, tuple(state[variable] for variable in self.network.earth_variables)
        extraneous = frozenset(one.id for one in self.installation.extraneous)
        if key not in self._earth:
            parent = list(range(len(self.network.nodes)))

            def top(node: int) -> int:
                while parent[node] != node:
                    parent[node] = parent[parent[node]]
                    node = parent[node]
                return node

            for edge in self.network.earth:
                if (metal or edge.element not in extraneous) and (not edge.needs or holds(edge.needs, state)):
                    parent[top(edge.a)] = top(edge.b)
            self._earth[key] = tuple(top(node) for node in range(len(parent)))
        return self._earth[key]

    # -- currents --------------------------------------------------------------------------------------------------

    @cached_property
    def _points(self) -> tuple[Point, ...]:
        return points_of(self.network)

    @cached_property
    def _currents(self) -> dict[Island, Currents | None]:
        """The circuit of each island, one for all that are wired alike; None past the limit of work."""
        by_wiring: dict[object, Currents | None] = {}
        found: dict[Island, Currents | None] = {}
        nodes = 0
        known: Known = {}
        for island in self.islands:
            protective = tuple(not edge.needs or holds(edge.needs, island.state) for edge in self.network.earth)
            key = (island.shape, island.ahead, protective, tuple(tie.id for tie in island.ties))
            if key not in by_wiring:
                nodes += island.live.bit_count() + len(self.network.earth)
                by_wiring[key] = (
                    Currents(island, self._points, self._beside(island), self._mets(island), known)
                    if nodes <= NODES
                    else None
                )
            found[island] = by_wiring[key]
        return found

    def _beside(self, island: Island) -> frozenset[str]:
        """Electrodes that are left out where earth faults are worked out.

        Where a supplier's star point is the reference, the way back is his conductor.  What the soil adds beside it lowers the
        loop a little, by an electrode of his that nobody declares: it is not counted on.
        """
        earthed = {
            source.id: source.earthing for source in self.installation.sources if source.earthing in ("TN-S", "TN-C-S")
        }
        if not any(reference.kind == "star" and reference.id in earthed for reference in island.references):
            return frozenset()
        joined = {island.earth[reference.pe] for reference in island.references}
        return frozenset(name for name, pe in self.network.electrodes if island.earth[pe] in joined)

    def _mets(self, island: Island) -> dict[int, int]:
        """The main earthing terminal of each metallic earth part: a bar for PE alone, else the place of an electrode.

        Where PE leads to a reference, the one there is that of the whole island; without a bar and an electrode it is the place of
        the reference.  The supplier's own electrode is no terminal of the installation.
        """
        if not island.references:
            return {}
        own = [r.pe for r in island.references if self.network.nodes[r.pe][2] == "PE"]
        parts = {island.earth[pe] for pe in own}
        frames = (
            self.network.find(frame_of(self.installation, b.id), "", "PE")
            for b in self.installation.boards
            if set(b.bars) == {"PE"}
        )
        candidates = [*(pe for pe in frames if pe >= 0), *(pe for _, pe in self.network.electrodes)]
        if own:
            met = next((pe for pe in candidates if island.earth[pe] in parts), own[0])
            return dict.fromkeys(island.earth, met)
        found: dict[int, int] = {}
        for pe in candidates:
            found.setdefault(island.earth[pe], pe)
        return found

    @cached_property
    def _earthed_by(self) -> dict[Island, dict[str, str]]:
        found: dict[Island, dict[str, str]] = {island: {} for island in self.islands}
        for exposed in self.exposed:
            found[exposed.island][exposed.id] = exposed.way
        return found

    @Collection
    def earth_faults(self) -> tuple[EarthFault, ...]:
        """A fault to the frame at every place and circuit end, in every case that feeds it."""
        finals = final_circuits(self.installation)
        worked: dict[int, list[EarthFault]] = {}
        found: list[EarthFault] = []
        for island, currents in self._currents.items():
            if currents is None:
                found.extend(beyond_limit(island, self._points))
                continue
            if id(currents) not in worked:
                ways = self._earthed_by[currents.island]
                worked[id(currents)] = FaultWorker(currents, ways, finals).faults()
            found.extend(fault.in_island(island) for fault in worked[id(currents)])
        return tuple(found)

    @Collection
    def shocks(self) -> tuple[EarthFault, ...]:
        """Where somebody may touch a line or a frame: every earth fault, and the ends of circuits without a frame."""
        bare = frameless(self.network, self.islands, final_circuits(self.installation))
        alone = self._lone_islands
        return tuple(one.of_lone_source() if id(one.island) in alone else one for one in (*self.earth_faults, *bare))

    @cached_property
    def _lone_islands(self) -> dict[int, Island]:
        """The islands of portable and vehicle-mounted sources only that feed no building, by their identity."""
        return {id(one.island): one.island for one in self.feedings if one.portable and not one.premises}

    def currents_of(self, island: Island) -> Currents | None:
        """The circuit of an island; None where it is not worked out."""
        return self._currents.get(island)

    @property
    def not_worked_out(self) -> tuple[str, ...]:
        """Sources with islands whose circuits are past the limit of work, as far as anybody has asked for circuits."""
        asked: dict[Island, Currents | None] = self.__dict__.get("_currents", {})
        lacking = (island for island, currents in asked.items() if currents is None)
        return tuple(dict.fromkeys(feed.id for island in lacking for feed in island.feeds))

    @cached_property
    def wired(self) -> tuple[tuple[Currents, tuple[Island, ...]], ...]:
        """Each different circuit with the islands that have it."""
        found: dict[int, tuple[Currents, list[Island]]] = {}
        for island, currents in self._currents.items():
            if currents is not None:
                found.setdefault(id(currents), (currents, []))[1].append(island)
        return tuple((currents, tuple(islands)) for currents, islands in found.values())

    def service_of(self, currents: Currents, loads: bool) -> InService:
        """The solution of a circuit in normal service, with its loads or with its leakages alone."""
        key = (id(currents), loads)
        if key not in self._in_service:
            self._in_service[key] = InService(currents, loads)
        return self._in_service[key]

    @cached_property
    def _in_service(self) -> dict[tuple[int, bool], InService]:
        return {}

    @Collection
    def peaks(self) -> tuple[Peak, ...]:
        """Every device that breaks short circuits, in every case, with the largest prospective current at its place."""
        found: list[Peak] = []
        for currents, islands in self.wired:
            for peak in PeakWorker(currents).peaks():
                found.extend(peak.in_island(island) for island in islands)
        return (*found, *direct_peaks(self.sides, self.direct_currents))

    @cached_property
    def sides(self) -> tuple[Side, ...]:
        """Every direct-current side."""
        return sides(self.network)

    @cached_property
    def direct_currents(self) -> tuple[DirectCurrent, ...]:
        """The short-circuit currents at every place of the direct-current side."""
        return direct_currents(self.sides)

    @Collection
    def battery_leads(self) -> tuple[BatteryLeads, ...]:
        """Every battery, with what a short circuit behind it reaches without an overcurrent device."""
        return battery_leads(self.sides, self.direct_currents)

    @Collection
    def rcds_in_service(self) -> tuple[RcdInService, ...]:
        """Every closed residual current device with a live line, in every case that is wired differently."""
        diverting: dict[Island, dict[str, str]] = {}
        for surplus in self.references:
            if surplus.kept:
                diverting.setdefault(surplus.island, {})[""] = surplus.id
            for name in surplus.rcds:
                diverting.setdefault(surplus.island, {})[name] = surplus.id
        wrong: dict[str, tuple[str, str]] = {
            one.id: ("device-does-not-fit", one.id) for one in self.misfits if one.what and not one.high_leg
        }
        for borrowed in self.borrowed_neutrals:
            for name in (*borrowed.line_only, *borrowed.neutral_only):
                wrong.setdefault(name, ("neutral-borrowed", borrowed.id))
        found: list[RcdInService] = []
        for currents, islands in self.wired:
            full, bare = self.service_of(currents, True), self.service_of(currents, False)
            for rcd in self.network.rcds:
                live = any(
                    currents.island.energised_lines >> self.network.edges[i].a & 1
                    and holds(self.network.edges[i].needs, currents.island.state)
                    for i in rcd.lines
                )
                for island in _lasting(islands) if live else ():
                    ties = diverting.get(island, {})
                    diverts = ties.get(rcd.name) or ties.get("", "")
                    cause = wrong.get(rcd.device.id or rcd.connection)
                    found.append(RcdInService(rcd, island, full, bare, diverts, rcd.name in ties, cause))
        return tuple(found)

    @Collection
    def pe_currents(self) -> tuple[PeCurrent, ...]:
        """The protective conductor with the most current in normal service, in every case that has loads."""
        surplus: dict[Island, list[Surplus]] = {}
        for one in self.references:
            if one.kept:
                surplus.setdefault(one.island, []).append(one)
        found: list[PeCurrent] = []
        for currents, islands in self.wired:
            service = self.service_of(currents, True)
            try:
                name = largest_pe(service)
            except Unknown:
                continue  # there is no solution, which the voltage drops of the same island say
            for island in _lasting(islands) if name else ():
                link = currents.links[name]
                ends = {frame_of(self.installation, end.id) for end in (link.start, link.finish)}
                # of several references that are too many, the one at an end of this conductor drives its current
                ties = sorted(surplus.get(island, ()), key=lambda s: self.network.nodes[s.reference.pe][0] not in ends)
                found.append(PeCurrent(name, link.route, island, service, ties[0].id if ties else ""))
        return tuple(found)

    @Collection
    def drops(self) -> tuple[Drop, ...]:
        """Every final circuit in every case that feeds it, with its voltage drop."""
        lines = dict(self.network.circuits)
        found: list[Drop] = []
        for currents, islands in self.wired:
            service = self.service_of(currents, True)
            for circuit in self.installation.circuits:
                ends = [n for n in lines[circuit.id] if currents.island.energised_lines >> n & 1]
                alone = len(ends) < 2 and self.network.find(circuit.id, "", "N") < 0
                # a single line without a neutral supplies nothing
                ways = currents.ways_to(ends[0]) if ends and not alone else []
                for island in _lasting(islands) if ways else ():
                    found.append(Drop(circuit, island, service, ways[0].start, ends[0], ways[0].feed.id))
        return tuple(found)

    @Collection
    def failures(self) -> tuple[Failure, ...]:
        """Every neutral and PEN that several loads or frames hang on, broken, in every case that it is live in."""
        found: list[Failure] = []
        for currents, islands in self.wired:
            for failure in Breaker(self.service_of(currents, True)).failures():
                found.extend(failure.in_island(island) for island in _lasting(islands))
        return tuple(found)

    @Collection
    def losses(self) -> tuple[Lost, ...]:
        """Protective conductors, links and electrodes whose break takes frames or the neutral off earth, in every case."""
        found: list[Lost] = []
        for currents, islands in self.wired:
            for one in lost(currents, self.service_of(currents, True)):
                found.extend(one._replace(island=island) for island in islands)
        return tuple(found)

    @cached_property
    def protective(self) -> tuple[Protective, ...]:
        """Every protective conductor, link and earthing conductor."""
        return protective_conductors(self.installation, lambda: self.earth_faults)

    @Collection
    def pe_conductors(self) -> tuple[Protective, ...]:
        """Every PE of a cable, and those of their own that carry the fault currents of cables without one."""
        return tuple(one for one in self.protective if one.sort == "pe")

    @Collection
    def pen_conductors(self) -> tuple[Protective, ...]:
        """Every PEN of a cable."""
        return tuple(one for one in self.protective if one.sort == "pen")

    @Collection
    def solid_bonds(self) -> tuple[Protective, ...]:
        """Every link between neutral and PE that has no impedance."""
        needed = {one.id for one in self.references if not one.kept}
        links = tuple(one for one in self.protective if one.sort == "bond")
        for one in links:
            one.too_many = one.id not in needed
        return links

    @Collection
    def earthing_conductors(self) -> tuple[Protective, ...]:
        """Conductors between the main earthing terminal and a board, and those that lead to electrodes."""
        return tuple(one for one in self.protective if one.sort in ("earthing", "electrode"))

    @Collection
    def bonding_conductors(self) -> tuple[Protective, ...]:
        """Conductors of their own between places that are joined by other protective conductors as well."""
        return tuple(one for one in self.protective if one.sort in ("main-bonding", "bonding"))

    @Collection
    def earth_electrodes(self) -> tuple[EarthElectrode, ...]:
        """Every electrode, with those that conductors join to it and the frames that rest on it."""
        resting: dict[Island, list[str]] = {}
        for exposed in self.exposed:
            if exposed.way == "electrode" and not exposed.island.it:
                resting.setdefault(exposed.island, []).append(exposed.id)
        faults = self.earth_faults if resting else ()
        return earth_electrodes(self.installation, self.network, self.islands, resting, faults)

    @Collection
    def floating(self) -> tuple[FloatingReading, ...]:
        """What a meter reads at the places of islands without a reference, in every case."""
        hertz = self.installation.frequency_hz or 50.0
        found: list[FloatingReading] = []
        for currents, islands in self.wired:
            if not currents.island.references:
                for reading in floating_readings(currents, hertz):
                    found.extend(reading._replace(island=island) for island in islands)
        return tuple(found)

    @Collection
    def rcds_on_ways(self) -> tuple[RcdOnWay, ...]:
        """Every residual current device on the way to every earth fault, in every case."""
        return rcds_on_ways(self.network, self.earth_faults, self._lone_islands.values())

    @Collection
    def rcds_at_inverters(self) -> tuple[RcdAtInverter, ...]:
        """Closed residual current devices with every inverter that they protect from another source, in every case."""
        return rcds_at_inverters(self.network, self.islands)

    @Collection
    def rcd_types(self) -> tuple[RcdAtInverter | RcdForPlace, ...]:
        """Residual current devices with what decides on their type: an inverter behind them, the kind of place of a circuit."""
        return (*self.rcds_at_inverters, *rcds_for_places(self.shocks))

    # -- the neutral -----------------------------------------------------------------------------------------------

    @Collection
    def feedings(self) -> tuple[Feeding, ...]:
        """Every source that forms an island, in every case."""
        variables = {variable.name: number for number, variable in enumerate(self.network.variables)}
        behind: dict[int, str] = {}
        for surplus in self.references:
            for name in surplus.rcds:
                if name in variables:
                    behind.setdefault(variables[name], surplus.id)
        roots: dict[int, str] = {}
        for exposed in self.exposed:
            if not exposed.way:
                roots.setdefault(exposed.part.pe, exposed.root)
        unsplit: dict[Island, str] = {}
        for landing in self.pen_landings:
            if not landing.bonded and landing.of_source:
                unsplit.setdefault(landing.island, landing.id)
        found = []
        for island in self.islands:
            opened = "" if island.references else next((b for v, b in behind.items() if island.value(v) == "open"), "")
            own = {island.earth[reference.pe] for reference in island.own_references}
            cut_off = next((root for pe, root in roots.items() if island.earth[pe] in own), "")
            for feed in island.feeds:
                if feed.forming:
                    found.append(
                        Feeding(
                            feed.id,
                            feed.route,
                            island,
                            feed,
                            unsplit.get(island, ""),
                            opened,
                            cut_off,
                            partial(self._readings, island),
                            self._waiting(island),
                            any(self._referenced >> node & 1 for node in feed.neutrals),
                        )
                    )
        return tuple(found)

    @cached_property
    def _referenced(self) -> int:
        """The nodes of all islands that have a reference; a bit set."""
        found = 0
        for island in self.islands:
            if island.references:
                found |= island.live
        return found

    def _waiting(self, island: Island) -> tuple[str, ...]:
        if island.references:
            return ()
        return tuple(
            tie.id if tie.kind == "bond" else f"the bond inside {tie.id}"
            for tie in self.network.ties
            if tie.kind in ("bond", "internal") and tie.solid and tie.needs and island.live >> tie.n & 1
        )

    @cached_property
    def _alone(self) -> frozenset[str]:
        """The ties that are the only reference of an island in some case."""
        found: set[str] = set()
        for island in self.islands:
            if len(island.references) == 1:
                found.update(tie.id for tie in island.references[0].ties)
        return frozenset(found)

    def _readings(self, island: Island) -> tuple[FloatingReading, ...]:
        return tuple(reading for reading in self.floating if reading.island is island)

    @cached_property
    def _rank(self) -> dict[str, tuple[int, ...]]:
        split = {frame_of(self.installation, board) for board, _, _ in self.network.pen_lands}
        rank: dict[str, tuple[int, ...]] = {}
        for i, tie in enumerate(self.network.ties):
            at_split = tie.kind == "bond" and self.network.nodes[tie.pe][0] in split
            needed = tie.kind != "star" and tie.id in self._alone
            rank[tie.id] = (tie.kind != "star", not at_split, False, not needed, tie.kind != "internal", i)
        # what is too many beside a reference that must stay is the one to name wherever it is too many
        doubtful: set[str] = set()
        for island in self.islands:
            if len(island.references) > 1:
                kept, *others = island.groups(rank)
                if any(not all(rank[t.id][k] for r in kept for t in r.ties) for k in (0, 1, 3)):
                    doubtful.update(tie.id for group in others for member in group for tie in member.ties)
        for identifier in doubtful:
            rank[identifier] = (*rank[identifier][:2], True, *rank[identifier][3:])
        return rank

    @Collection
    def references(self) -> tuple[Surplus, ...]:
        """Every reference of the installation in every case, and whether it is one too many."""
        found: list[Surplus] = []
        rank = self._rank
        for island in self.islands:
            groups = island.groups(rank)
            surplus: dict[str, Reference] = {}
            review: dict[str, tuple[Mention, ...]] = {}
            for group in groups[1:]:
                worst = max(group, key=lambda r: min(rank[tie.id] for tie in r.ties))
                surplus[worst.id] = next((r for r in groups[0] if island.metallic(r, worst)), groups[0][0])
            if not self.installation.extraneous and not self.installation.extraneous_none:
                for group in groups:
                    bonded = [member for member in group if member.kind != "star"]
                    for member in bonded[1:]:
                        review[member.id] = (Mention(bonded[0].id, bonded[0].route, "bonded separately"),)
            for reference in island.references:
                kept = surplus.get(reference.id)
                for tie in reference.ties:
                    own = kept if tie.id == reference.id else None
                    if tie.kind == "star" and own is None and not island.it:
                        continue
                    behind = island.behind(tie) if tie.kind != "star" else ()
                    found.append(
                        Surplus(
                            tie.id,
                            tie.route,
                            island,
                            reference,
                            own,
                            own is not None and island.metallic(own, reference),
                            island.solid_crossings(own, reference) if own else (),
                            True,
                            tuple((rcd.device.id or rcd.connection, rcd.device.route, feed.id) for rcd, feed in behind),
                            tuple(rcd.name for rcd, _ in behind),
                            review.get(tie.id, ()),
                            self._fed_behind(island, tie, behind),
                            self._sharing(island, tie) if own or behind else None,
                            behind[0][0] if behind else None,
                            tie.id in self._alone,
                        )
                    )
        # a changeover is the cause only of a double bond that is there in no state without its help
        unexplained = {surplus.id for surplus in found if surplus.kept and not surplus.crossings}
        return tuple(surplus._replace(caused=False) if surplus.id in unexplained else surplus for surplus in found)

    def _sharing(self, island: Island, tie: Tie) -> Sharing | None:
        currents = self._currents[island]
        if currents is None:
            return None
        return Sharing(self.service_of(currents, True), self.service_of(currents, False), island, tie)

    def _fed_behind(self, island: Island, tie: Tie, behind: tuple[tuple[Rcd, Feed], ...]) -> str:
        """The inverter that brings a tie behind these RCDs, because its own mains input lies behind them; or ''.

        What is joined otherwise than through an inverter is behind an RCD wherever the inverter is fed from.
        """
        inverters = [passage.id for passage in self.network.passages]
        through = frozenset(i for i, edge in enumerate(self.network.edges) if edge.element in inverters)
        fed = ""
        for rcd, feed in behind:
            fed = next((name for name in inverters if (rcd.name, name) in self._inputs_behind), "")
            if not fed or island.part((*feed.lines, *feed.neutrals), without=through) >> tie.n & 1:
                return ""
        return fed

    @cached_property
    def _inputs_behind(self) -> frozenset[tuple[str, str]]:
        return frozenset((name, fed.id) for fed in self.inputs_behind_rcd if fed.trouble for name in fed.names)

    @Collection
    def pen_landings(self) -> tuple[PenLanding, ...]:
        """Boards where a PEN lands on separate N and PE bars, in every case in which they are live."""
        # a board and those inside it share one PE bar: a PE that lands on one of them is there for all
        with_pe = {
            frame_of(self.installation, end.id)
            for link in (*self.installation.connections, *(c.connection for c in self.installation.circuits))
            if "PE" in link.cores
            for end in (link.start, link.finish)
        }
        route = {board.id: board.route for board in self.installation.boards}
        found = []
        boards = {board: n for board, n, _ in self.network.pen_lands}
        lines = dict(self.network.boards)
        for board, n in boards.items():
            frame = frame_of(self.installation, board)
            if frame not in with_pe:
                continue
            pe = self.network.number_of(frame, "", "PE")
            for island in self.islands:
                # a PEN on the PE bar leaves the N bar hanging where no link joins the two
                if island.live >> n & 1 or island.is_live(lines.get(board, ())):
                    bonded = any(tie.pe == pe and tie.solid for tie in island.ties) or island.linked(n, pe)
                    found.append(PenLanding(board, route[board], island, bonded, island.pen_from_source(n)))
        return tuple(found)

    @Collection
    def crossings(self) -> tuple[Crossing, ...]:
        """Changeovers with a neutral: once for the description, and once for each case in which one joins two references."""
        network = self.network
        found = []
        tn = not any(source.earthing in ("TT", "IT") for source in self.installation.sources)
        for changeover in self.installation.changeovers:
            contacts = [
                edge for edge in network.edges if edge.element == changeover.id and network.nodes[edge.a][2] == "N"
            ]
            landed = {
                end.terminal
                for link in self.installation.connections
                for end in (link.start, link.finish)
                if end.id == changeover.id and end.terminal and ("N" in link.cores or "PEN" in link.cores)
            }
            solid = bool(contacts) and all(edge.solid for edge in contacts)
            feeds_by_side = [
                network.feeds_at((edge.a,), changeover.id) for edge in contacts if network.nodes[edge.a][1] in landed
            ]
            distinct = len(set(feeds_by_side)) > 1
            utility = next(
                (
                    source.id
                    for source in self.installation.sources
                    if source.kind == "utility" and any(source.id in side for side in feeds_by_side)
                ),
                "",
            )
            found.append(
                Crossing(
                    changeover.id,
                    changeover.route,
                    None,
                    solid,
                    len(landed),
                    (),
                    "",
                    False,
                    tn,
                    distinct,
                    utility if not solid else "",
                )
            )
        vehicles = {source.id for source in self.installation.sources if source.mounted == "vehicle"}
        for passage in network.passages:
            neutral = network.number_of(passage.id, "in", "N")
            feeds = network.feeds_at((neutral,), passage.id)
            utility = next((feed.id for feed in network.feeds if feed.kind == "utility" and feed.id in feeds), "")
            found.append(
                Crossing(
                    passage.id,
                    passage.route,
                    None,
                    passage.solid,
                    2,
                    (),
                    "",
                    True,
                    tn,
                    True,
                    "" if passage.solid else utility,
                    passage.id in vehicles,
                )
            )
        by_id = {crossing.id: crossing for crossing in found}
        for surplus in self.references:
            if surplus.kept:
                joins = (
                    Mention(surplus.kept.id, surplus.kept.route, "one reference"),
                    Mention(surplus.id, surplus.route, "the other reference"),
                )
                beside = "" if surplus.caused else surplus.id
                for name in surplus.crossings:
                    found.append(by_id[name]._replace(island=surplus.island, joins=joins, beside=beside))
        return tuple(found)

    @Collection
    def relays(self) -> tuple[Relay, ...]:
        """Bonds with a condition, in every case whose neutral they reach.

        Whether one overlaps the reference of another state is asked only where an inverter decides on it: a changeover opens its
        neutral before it closes the next one, and how long that takes is not written.
        """
        sources = {source.id: source for source in self.installation.sources}
        bonds = {bond.id: bond for bond in self.installation.bonds}
        found = []
        for tie in self.network.ties:
            if not tie.needs or tie.kind not in ("bond", "internal") or not tie.solid:
                continue
            own = bonds[tie.id] if tie.kind == "bond" else sources[tie.id]
            words = tie.id if tie.kind == "bond" else f"the bond inside {tie.id}"
            by_inverter = all(self.network.variables[v].kind == "inverter" for v, _ in tie.needs)
            for island in self.islands:
                if not island.live >> tie.n & 1 or island.it:
                    continue
                references = island.references
                held = holds(tie.needs, island.state)
                alone = held and len(references) == 1 and references[0].ties == (tie,)
                open_for_certain = any(
                    island.state[v] >= 0 and not mask >> island.state[v] & 1 for v, mask in tie.needs
                )
                beside = next((one for one in references if one.pe != tie.pe), None)
                if alone or (open_for_certain and by_inverter and beside):
                    found.append(
                        Relay(
                            *(tie.id, own.route, island, words, own.closes_after_s, own.opens_after_s, alone),
                            beside,
                        )
                    )
        return tuple(found)

    @Collection
    def isolated(self) -> tuple[Isolated, ...]:
        """Islands declared IT and direct-current sides, with the monitors that watch them."""
        found = []
        for island in self.islands:
            if not island.it:
                continue
            seen = {monitor.id: monitor for monitor in island.monitors}
            doubtful = None
            for beyond, inverter in monitors_behind(self.sides, island):
                more = [monitor for monitor in beyond if monitor.id not in seen]
                if inverter.isolated is False:
                    seen.update((monitor.id, monitor) for monitor in more)
                elif inverter.isolated is None and more:
                    doubtful = inverter
            every = list(seen.values())
            second = (every[1].id, every[1].route) if len(every) > 1 else None
            places = frozenset(place_of(self.installation, place) for place in island.supplies) - {""}
            for feed in island.feeds:
                if feed.forming:
                    volts = nominal_v(feed.sources)
                    found.append(
                        Isolated(
                            feed.id, feed.route, island, tuple(seen), second, doubtful, tuple(every), places, volts
                        )
                    )
        for source, watching in monitors_of(self.sides, self.installation.monitors):
            if watching:
                second = (watching[1].id, watching[1].route) if len(watching) > 1 else None
                found.append(Isolated(source.id, source.route, None, tuple(m.id for m in watching), second))
        return tuple(found)

    # -- earthing --------------------------------------------------------------------------------------------------

    @Collection
    def exposed(self) -> tuple[Exposed, ...]:
        """Every exposed-conductive-part in every case that feeds it.

        Metal that is no part of the installation is no protective conductor (IEC 60364-5-54, 543.2.3, from memory).
        """
        found: list[Exposed] = []
        network = self.network
        splits = [(landing.island, landing.id) for landing in self.pen_landings if not landing.bonded]
        for island in self.islands:
            earth = self._earth_parts(island.state, metal=False)
            good = {earth[reference.pe] for reference in island.references}
            rods = {earth[pe] for _, pe in network.electrodes}
            fed = [part for part in network.parts if island.is_live(part.lines)]
            together = len({earth[part.pe] for part in fed}) == 1
            lost: dict[int, list[Part]] = {}
            for part in fed:
                label = earth[part.pe]
                way = ""
                if label in good and not island.it:
                    way = "reference"
                elif label in rods:
                    way = "electrode"
                elif not island.references and together:
                    way = "frames"
                elif label in good:
                    way = "reference"
                if way:
                    found.append(Exposed(part.id, part.route, island, part, way, part.id, ""))
                else:
                    lost.setdefault(label, []).append(part)
            for label, parts in lost.items():
                near = island.distance
                order = {part.id: i for i, part in enumerate(network.parts)}
                root = min(parts, key=lambda part: (min(near.get(n, 1 << 30) for n in part.lines), order[part.id]))
                split = next(
                    (
                        board
                        for at, board in splits
                        if at is island
                        and any(
                            p.id == frame_of(self.installation, board) and earth[p.pe] == label for p in network.parts
                        )
                    ),
                    "",
                )
                for part in parts:
                    found.append(Exposed(part.id, part.route, island, part, "", root.id, split))
        return tuple(found)

    @Collection
    def electrode_pairs(self) -> tuple[ElectrodePair, ...]:
        """Each electrode after the first, with the first one that no conductor joins to it."""
        return electrode_pairs(self.network)

    @Collection
    def switched_protective(self) -> tuple[SwitchedProtective, ...]:
        """Devices and changeovers, with the protective conductors that they open."""
        return switched_protective(self.installation)

    # -- changeover and infeed -------------------------------------------------------------------------------------

    @Collection
    def pairs(self) -> tuple[Pair, ...]:
        """Every two energised sources on the same line conductors, in every case; the party to change first."""
        found = []
        own = {(own.island, own.id) for own in self.own_inputs if own.reached}
        for island in self.islands:
            feeds = island.feeds
            for i, first in enumerate(feeds):
                for second in feeds[i + 1 :]:
                    joined = any(island.feed_lines[first.id] >> node & 1 for node in second.lines)
                    if not joined:
                        continue
                    subject, other = (first, second) if second.kind == "utility" != first.kind else (second, first)
                    itself = next((feed.id for feed in (first, second) if (island, feed.id) in own), "")
                    found.append(
                        Pair(
                            subject.id,
                            subject.route,
                            island,
                            other.id,
                            other.route,
                            _permitted(first, second),
                            itself,
                        )
                    )
        return tuple(found)

    @Collection
    def dead(self) -> tuple[Dead, ...]:
        """Absent utilities and standing generators in the islands that reach them."""
        parallel = {frozenset((pair.id, pair.other)): pair.id for pair in self.pairs if not pair.permitted}
        found = []
        for island in self.islands:
            for feed in self.network.feeds:
                if island.value(feed.variable) not in ("absent", "standing"):
                    continue
                feeders = [
                    other
                    for other in island.feeds
                    if other.forming and any(island.feed_lines[other.id] >> node & 1 for node in feed.lines)
                ]
                by = feeders[0] if feeders else None
                pairs = [parallel.get(frozenset((feed.id, other.id))) for other in feeders]
                pair = pairs[0] if all(pairs) and pairs else None
                found.append(
                    Dead(
                        feed.id,
                        feed.route,
                        island,
                        by.id if by else "",
                        by.route if by else (),
                        ("sources-in-parallel", pair) if pair else None,
                    )
                )
        return tuple(found)

    @Collection
    def own_inputs(self) -> tuple[OwnInput, ...]:
        """Pass-through inverters while they invert, and whether the output reaches the input from outside."""
        found = []
        for island in self.islands:
            for passage in self.network.passages:
                if island.value(passage.variable) != "inverting" or not island.is_live(passage.outputs):
                    continue
                reached = island.line_part(passage.outputs)
                found.append(
                    OwnInput(passage.id, passage.route, island, any(reached >> node & 1 for node in passage.inputs))
                )
        return tuple(found)

    @Collection
    def infeeds(self) -> tuple[InfeedBehindRcd, ...]:
        """Sources and the boards that they enter."""
        return infeeds_behind_rcd(self.network, self.islands)

    @Collection
    def inputs_behind_rcd(self) -> tuple[FedBehindRcd, ...]:
        """Mains inputs of pass-through inverters and the RCDs that they lie behind."""
        return fed_behind_rcd(self.network, self.islands)

    @Collection
    def levels(self) -> tuple[Levels, ...]:
        """Places with two infeeds, and what lies on the way to each."""
        return levels(self.network)

    # -- the description -------------------------------------------------------------------------------------------

    @Collection
    def borrowed_neutrals(self) -> tuple[BorrowedNeutral, ...]:
        """Circuits and the way of their neutral."""
        return borrowed_neutrals(self.network, self.islands)

    @Collection
    def misfits(self) -> tuple[Misfit, ...]:
        """Devices, changeovers and loads, with what does not fit."""
        return (*loads_on_high_leg(self.network, self.islands), *misfits(self.installation))

    @Collection
    def direct_sides(self) -> tuple[DirectSide, ...]:
        """Batteries and arrays, with what their conductors reach."""
        return direct_sides(self.sides, self.network, self.islands) if self.sides else ()

    @Collection
    def neutral_contacts(self) -> tuple[NeutralContact, ...]:
        """Devices and changeovers that open a neutral."""
        return neutral_contacts(self.installation)

    @Collection
    def neutrals_to_buildings(self) -> tuple[NeutralToBuilding, ...]:
        """Cables without a protective conductor that are a PEN by function."""
        return neutrals_to_buildings(self.installation)

    @Collection
    def places(self) -> tuple[Energised, ...]:
        """Boards and circuits, and whether any state energises them."""
        network = self.network
        ever = 0
        for island in self.islands:
            ever |= island.energised_lines
        routes = {board.id: board.route for board in self.installation.boards}
        routes.update((circuit.id, circuit.route) for circuit in self.installation.circuits)
        # a bar on which only protective conductors land is no place that anything could energise
        earth_bars = {board.id for board in self.installation.boards if set(board.bars) == {"PE"}}
        earth_bars.update(network.nodes[node][0] for edge in network.earth for node in (edge.a, edge.b))
        direct = self._direct_boards
        fed_from: dict[str, list[str]] = {}
        for link in self.installation.connections:
            fed_from.setdefault(link.finish.id, []).append(link.start.id)
        for circuit in self.installation.circuits:
            fed_from.setdefault(circuit.id, []).append(circuit.connection.start.id)
        live = {
            identifier: any(ever >> node & 1 for node in lines)
            for identifier, lines in (*network.boards, *network.circuits)
            if identifier not in direct
            and (lines or identifier not in earth_bars or network.find(identifier, "", "N") >= 0)
        }
        misfit = {entry.id for entry in self.misfits if entry.what}
        found = []
        for identifier, alive in live.items():
            by = next((start for start in fed_from.get(identifier, ()) if live.get(start) is False), "")
            crossed = identifier if identifier in misfit else ""
            found.append(Energised(identifier, routes[identifier], None, alive, by, crossed))
        return tuple(found)

    @cached_property
    def _direct_boards(self) -> frozenset[str]:
        """Boards of the direct-current side, which the alternating-current side does not energise."""
        site = self.installation
        landed: dict[str, set[str]] = {}
        for link in (*site.connections, *(circuit.connection for circuit in site.circuits)):
            for end in (link.start, link.finish):
                landed.setdefault(end.id, set()).update(link.cores)
        own = {place for place, cores in landed.items() if cores & set(DIRECT) and not cores & {*LINES, "N", "PEN"}}
        return frozenset(own | {board.id for board in site.boards if board.inside in own and board.id not in landed})

    # -- readings --------------------------------------------------------------------------------------------------

    @cached_property
    def _plant(self) -> Plant:
        from onebond.meter.plant import Plant

        return Plant(self.installation)

    @Collection
    def measured_places(self) -> tuple[MeasuredPlace, ...]:
        """What was read, place by place, against what is expected."""
        if self.readings is None or not self.readings.readings:
            return ()
        from onebond.facts.measured import measured

        return measured(self.readings, self._plant, self.earth_faults)

    @Collection
    def unread(self) -> tuple[Unread, ...]:
        """Places with tests that the schedule asks for and nobody has done."""
        if self.readings is None:
            return ()
        from onebond.facts.measured import unread

        return unread(self.readings, self._plant)

    @Collection
    def refused_readings(self) -> tuple[Refused, ...]:
        """Readings that make no sense."""
        return self._refused

    @Collection
    def takings(self) -> tuple[Taken, ...]:
        """When readings were taken, where there are any."""
        if self.readings is None:
            return ()
        newest: dict[object, str] = {}  # of the same thing only the last reading counts
        for one in self.readings.readings:
            if one.taken:
                newest[one.state, one.measurement] = max(one.taken, newest.get((one.state, one.measurement), ""))
        days = [*newest.values()] or [self.readings.taken]
        if not min(days):  # no day that the calendar has, which is told as a refused entry
            return ()
        route = ("readings", "taken")
        interval = self.installation.test_interval_months
        refused = next((one.id for one in self._refused if one.route == route and not newest), "")
        return (Taken("readings", route, None, min(days), interval, self.today, refused),)

    @Collection
    def supplying(self) -> tuple[Energised, ...]:
        """Sources, and whether they supply anything in any state."""
        used = {feed.id for island in self.islands for feed in island.feeds}
        return tuple(
            Energised(feed.id, feed.route, None, feed.id in used or feed.id in self.survey.not_proven, "")
            for feed in self.network.feeds
        )


def _lasting(islands: tuple[Island, ...]) -> tuple[Island, ...]:
    """The islands that last: none in which a changeover stands between two positions."""
    return tuple(island for island in islands if not island.changing_over)


def _permitted(first: Feed, second: Feed) -> str:
    for one, other in ((first, second), (second, first)):
        for source in one.sources:
            if source.operation == "grid-following" or (source.operation == "both" and not source.mains_input):
                return f"{one.id} follows"
            names = {other.id, *(s.id for s in other.sources)}
            if names & set(source.may_parallel):
                return f"{one.id} may run in parallel with {other.id}"
    return ""
