"""The installation as one labelled multigraph of conductors: what can be joined to what, and under which conditions.

Nodes are (place, conductor).  Two layers lie over the same nodes: *live* (L, N, PEN) and *earth* (PE, the metal that joins
frames).  No volt, no ampere and no verdict here.

Conditions are conjunctions of ``(variable, mask)``: the variable must have one of the values whose bits are set in the mask.
"""

from typing import NamedTuple

from onebond.model import DIRECT, LINES, Bond, Changeover, Connection, Device, End, Installation, Source
from onebond.span import Route

Needs = tuple[tuple[int, int], ...]

EARTHED_BY_SUPPLIER = ("TN-S", "TN-C-S", "TT")


class Variable(NamedTuple):
    """Something that can vary between operating states."""

    name: str  # as a condition of the description names it; a device without id: connection/position
    values: tuple[str, ...]
    kind: str  # utility | generator | inverter | transformer | changeover | device | plug
    route: Route

    def mask(self, *values: str) -> int:
        """The bit mask of some of its values."""
        return sum(1 << self.values.index(value) for value in values)


class Edge(NamedTuple):
    """A conductor or contact between two nodes."""

    a: int
    b: int
    needs: Needs
    core: str  # L1 L2 L3 N PEN PE; "winding" inside a source, "auto" inside an autotransformer
    element: str  # id of the connection, changeover or source it belongs to
    solid: bool = False  # a changeover core that is not among its poles
    joint_ohm: float = 0.0  # of a bad joint in it


class DirectEdge(NamedTuple):
    """A conductor or contact of the direct-current side; its ends are (equipment, terminal, conductor)."""

    a: tuple[str, str, str]
    b: tuple[str, str, str]
    needs: Needs
    core: str  # DC+ DC- M
    element: str  # id of the connection or changeover it belongs to


class Tie(NamedTuple):
    """A way in which a neutral can be tied to earth: a bond, a bond inside a source, a supplier's star point."""

    id: str
    kind: str  # bond | internal | star | crossed (N and PE of a cable)
    n: int
    pe: int
    needs: Needs
    route: Route
    at: str  # the place, as written
    solid: bool = True  # False: through an impedance
    core: str = "N"  # of the cable whose cores are crossed: the one that this is
    ohm: float = 0.0  # of a stray tie: what the fault of the insulation has


class Feed(NamedTuple):
    """Something that energises conductors: a source, or a group of inverters that act as one."""

    id: str
    kind: str
    variable: int
    energised: int  # mask of the values in which it energises
    lines: tuple[int, ...]
    neutrals: tuple[int, ...]
    forming: bool
    sources: tuple[Source, ...]
    route: Route
    rank: int  # order of declaration
    members: tuple[tuple[int, ...], ...] = ()  # the nodes of each of several inverters that act as one
    primary: tuple[int, ...] = ()  # an isolating transformer is energised only while these are

    def at_work(self, state: tuple[int, ...]) -> bool:
        """Whether it energises its lines for certain, by the known values of the variables."""
        known = state[self.variable]
        return known >= 0 and bool(self.energised >> known & 1)


class Passage(NamedTuple):
    """The way through an inverter: possible only while its input is fed otherwise than through itself."""

    id: str
    variable: int
    passing: int  # mask
    inputs: tuple[int, ...]
    outputs: tuple[int, ...]
    solid: bool
    route: Route


class Rcd(NamedTuple):
    """A residual current device and the edges that it sums."""

    name: str
    connection: str
    device: Device
    edges: frozenset[int]
    lines: frozenset[int]
    variable: int  # -1: it cannot open a neutral and is not operated
    passing: int  # live cores that pass it, summed or not
    loads_only: bool = False  # proved: neither a source nor a reference nor a way round lies behind it


class Part(NamedTuple):
    """An exposed-conductive-part: an enclosure, a frame or a class I load."""

    id: str
    kind: str  # board | changeover | source | circuit
    lines: tuple[int, ...]
    pe: int
    route: Route


class Network(NamedTuple):
    """Everything that the states and the facts need, by number."""

    installation: Installation
    nodes: tuple[tuple[str, str, str], ...]  # equipment, terminal, conductor
    edges: tuple[Edge, ...]  # live layer
    around: tuple[tuple[tuple[int, int], ...], ...]  # node -> (edge, other node)
    earth: tuple[Edge, ...]  # earth layer
    variables: tuple[Variable, ...]
    touch: tuple[tuple[int, ...], ...]  # node -> variables that must be known once it is live
    never: tuple[Needs, ...]
    ties: tuple[Tie, ...]
    feeds: tuple[Feed, ...]
    passages: tuple[Passage, ...]
    rcds: tuple[Rcd, ...]
    parts: tuple[Part, ...]
    boards: tuple[tuple[str, tuple[int, ...]], ...]  # id, line nodes
    circuits: tuple[tuple[str, tuple[int, ...]], ...]
    electrodes: tuple[tuple[str, int], ...]  # id, PE node
    pen_lands: tuple[tuple[str, int, str], ...]  # board, its N node, connection: where a PEN core lands
    earth_variables: tuple[int, ...]
    plain: tuple[
        tuple[int, int, int, Needs, str], ...
    ]  # number, ends, needs and sort: line | neutral | '' (inside a source)
    left_out: tuple[str, ...]  # devices whose position was proved to change nothing
    number: dict[tuple[str, str, str], int]  # equipment, terminal and conductor -> node
    direct: tuple[DirectEdge, ...] = ()  # the direct-current side, which energises nothing of the live layer

    def find(self, identifier: str, terminal: str, conductor: str) -> int:
        """The number of a node, -1 where nothing lands there."""
        return self.number.get((identifier, terminal, conductor), -1)

    def number_of(self, identifier: str, terminal: str, conductor: str) -> int:
        """The number of a node that is there for certain; KeyError if it is not."""
        return self.number[identifier, terminal, conductor]

    def reachable(self, start: tuple[int, ...]) -> frozenset[int]:
        """The live nodes that can be joined to some nodes when every contact may be closed."""
        seen = set(start)
        stack = list(start)
        while stack:
            for _, other in self.around[stack.pop()]:
                if other not in seen:
                    seen.add(other)
                    stack.append(other)
        return frozenset(seen)

    def neutral_reach(self, start: int, state: tuple[int, ...]) -> frozenset[int]:
        """The neutral nodes joined to one by conductors that no known value of a variable opens."""
        seen = {start}
        stack = [start]
        while stack:
            for i, other in self.around[stack.pop()]:
                joins, needs = self.plain[i][4], self.edges[i].needs
                open_ = any(state[v] >= 0 and not mask >> state[v] & 1 for v, mask in needs)
                if joins == "neutral" and other not in seen and not open_:
                    seen.add(other)
                    stack.append(other)
        return frozenset(seen)

    def feeds_at(self, start: tuple[int, ...], without: str = "") -> frozenset[str]:
        """The feeds that can energise some nodes when every contact may be closed, one element taken out.

        A way through an inverter counts from its output back to its input only: from the input it is not fed.
        """
        through = {passage.id for passage in self.passages}
        seen = set(start)
        stack = list(start)
        while stack:
            node = stack.pop()
            for i, other in self.around[node]:
                edge = self.edges[i]
                if other in seen or edge.element == without or (edge.element in through and node == edge.a):
                    continue
                seen.add(other)
                stack.append(other)
        return frozenset(feed.id for feed in self.feeds if any(n in seen for n in (*feed.lines, *feed.neutrals)))


def frame_of(installation: Installation, identifier: str) -> str:
    """The piece of equipment whose PE node a place shares: the enclosure of an inner board, else the place itself."""
    # an enclosure stands in no other one
    return next((board.inside for board in installation.boards if board.id == identifier and board.inside), identifier)


def is_bar(installation: Installation, link: Connection) -> bool:
    """Whether a connection is a bar inside one enclosure of which no length is written: it has no impedance."""
    return link.length_m is None and frame_of(installation, link.start.id) == frame_of(installation, link.finish.id)


def place_of(installation: Installation, identifier: str) -> str:
    """The kind of place in which a board or circuit stands: its own, else that of its board, else of the enclosure; '' if none."""
    places = {board.id: board.place for board in installation.boards}
    places |= {circuit.id: circuit.place for circuit in installation.circuits}
    board = next((one.connection.start.id for one in installation.circuits if one.id == identifier), identifier)
    return next((place for one in (identifier, board, frame_of(installation, board)) if (place := places.get(one))), "")


class _Builder:
    def __init__(self, installation: Installation, every_contact: bool) -> None:
        self.site = installation
        self.every_contact = every_contact
        self.number: dict[tuple[str, str, str], int] = {}
        self.nodes: list[tuple[str, str, str]] = []
        self.live: list[Edge] = []
        self.earth: list[Edge] = []
        self.direct: list[DirectEdge] = []
        self.variables: list[Variable] = []
        self.by_name: dict[str, int] = {}
        self.touch: dict[int, set[int]] = {}
        self.ties: list[Tie] = []
        self.feeds: list[Feed] = []
        self.passages: list[Passage] = []
        self.rcds: list[Rcd] = []
        self.sources = {source.id: source for source in installation.sources}
        self.changeovers = {changeover.id: changeover for changeover in installation.changeovers}
        self.inside = {board.id: frame_of(installation, board.id) for board in installation.boards}
        self.group_of = {member: group for group in installation.groups for member in group.members}
        self.links = installation.connections + tuple(circuit.connection for circuit in installation.circuits)
        self.pen_on_pe: list[tuple[str, str]] = []
        self.metal = frozenset(metal.id for metal in installation.extraneous)

    # -- nodes and variables -------------------------------------------------------------------------------------

    def node(self, identifier: str, terminal: str, conductor: str) -> int:
        if conductor == "PE":
            key = (self.inside.get(identifier, identifier), "", "PE")
        else:
            key = (identifier, terminal, "N" if conductor == "PEN" else conductor)
        return self.numbered(key)

    def numbered(self, key: tuple[str, str, str]) -> int:
        if key not in self.number:
            self.number[key] = len(self.nodes)
            self.nodes.append(key)
        return self.number[key]

    def at(self, end: End, conductor: str) -> int:
        return self.node(end.id, end.terminal, conductor)

    def variable(self, name: str, values: tuple[str, ...], kind: str, route: Route) -> int:
        if name not in self.by_name:
            self.by_name[name] = len(self.variables)
            self.variables.append(Variable(name, values, kind, route))
        return self.by_name[name]

    def needs(self, when: tuple[tuple[str, tuple[str, ...]], ...]) -> Needs:
        found = []
        for name, values in when:
            group = self.group_of.get(name)
            variable = self.by_name[group.id if group else name]
            found.append((variable, self.variables[variable].mask(*values)))
        return tuple(found)

    # -- equipment -----------------------------------------------------------------------------------------------

    def declare(self) -> None:
        site = self.site
        for source in site.sources:
            if source.kind == "utility":
                self.variable(source.id, ("present", "absent", "detached"), "utility", source.route)
            elif source.kind == "generator":
                self.variable(source.id, ("running", "standing"), "generator", source.route)
            elif source.kind == "inverter":
                group = self.group_of.get(source.id)
                members = [self.sources[m] for m in group.members] if group else [source]
                passing = ("passing",) if any(member.mains_input for member in members) else ()
                name, route = (group.id, group.route) if group else (source.id, source.route)
                self.variable(name, ("off", "inverting", *passing), "inverter", route)
            elif source.winding == "isolating":
                self.variable(source.id, ("fed", "unfed"), "transformer", source.route)
        for changeover in site.changeovers:
            values = list(changeover.positions)
            if changeover.transition != "open":
                inputs = [position for position in changeover.positions if position != "off"]
                for i, first in enumerate(inputs):
                    for second in inputs[i + 1 :]:
                        values.append(f"{first}+{second}")
                        if changeover.transition == "overlapping-neutral":
                            values.append(f"{second}+{first}")
            self.variable(changeover.id, tuple(values), "changeover", changeover.route)
        for link in self.links:
            if link.plug:
                self.variable(link.id, ("mated", "unmated"), "plug", link.route)
            for device in link.devices:
                if self.varies(device):
                    name = device.id or f"{link.id}/{device.position + 1}"
                    self.variable(name, ("closed", "open"), "device", device.route)

    @staticmethod
    def varies(device: Device) -> bool:
        if device.operable:
            return True
        return not device.normally_open and ("N" in device.poles or "PEN" in device.poles)

    def source(self, source: Source, rank: int) -> None:
        utility = source.kind == "utility"
        if source.kind == "inverter":
            self.inverter(source)
        if source.kind == "transformer":
            self.transformer(source, rank)
        if utility or source.kind == "generator":
            variable = self.by_name[source.id]
            lines = tuple(self.node(source.id, "", phase) for phase in source.phases)
            neutral = self.node(source.id, "", "N")
            energised = self.variables[variable].mask("present" if utility else "running")
            self.wind(source.id, lines, neutral, ((variable, energised),))
            self.feeds.append(
                Feed(
                    source.id, source.kind, variable, energised, lines, (neutral,), True, (source,), source.route, rank
                )
            )
        if utility:
            self.supplier(source)
        elif source.neutral_bond != "none":
            self.internal_bond(source)

    def wind(self, element: str, lines: tuple[int, ...], neutral: int, needs: Needs, forming: bool = True) -> None:
        for other in (*lines[1:], neutral) if forming else ():
            self.live.append(Edge(lines[0], other, needs, "winding", element))
        for node in (*lines, neutral):
            self.touch.setdefault(node, set()).update(variable for variable, _ in needs)

    def supplier(self, source: Source) -> None:
        if source.earthing not in EARTHED_BY_SUPPLIER:
            return
        neutral = self.node(source.id, "", "N")
        has_pe = any(
            "PE" in link.cores and source.id in (link.start.id, link.finish.id) for link in self.site.connections
        )
        # TN-S, or TN-C-S brought in as L N PE: the supplier's bond is reached over its PE.  A PEN or a TT star point is
        # earthed at the supplier's own electrode, which no conductor of the installation reaches.
        metallic = source.earthing == "TN-S" or (source.earthing == "TN-C-S" and has_pe)
        earth = self.node(source.id, "", "PE") if metallic else self.node(source.id, "supplier", "earth")
        self.ties.append(Tie(source.id, "star", neutral, earth, (), source.route, source.id))

    def inverter(self, source: Source) -> None:
        group = self.group_of.get(source.id)
        name = group.id if group else source.id
        variable = self.by_name[name]
        inverting = self.variables[variable].mask("inverting")
        lines = tuple(self.node(source.id, "out", phase) for phase in source.phases)
        neutral = self.node(source.id, "out", "N")
        # what follows another source only adds to lines that are live already: its winding joins nothing by itself
        self.wind(name, lines, neutral, ((variable, inverting),), source.operation != "grid-following")
        if source.mains_input:
            through = ("passing", "off") if source.when_off == "through" else ("passing",)
            joined: Needs = ((variable, self.variables[variable].mask(*through)),)
            inputs = tuple(self.node(source.id, "in", phase) for phase in source.phases)
            for i, (inner, outer) in enumerate(zip(inputs, lines, strict=True)):
                self.live.append(Edge(inner, outer, joined, source.phases[i], source.id))
            solid = source.neutral_through == "solid"
            inner = self.node(source.id, "in", "N")
            self.live.append(Edge(inner, neutral, () if solid else joined, "N", source.id))
            for node in (*inputs, inner):
                self.touch.setdefault(node, set()).add(variable)
            self.passages.append(
                Passage(
                    source.id,
                    variable,
                    self.variables[variable].mask("passing"),
                    inputs,
                    lines,
                    solid,
                    source.route,
                )
            )

    def inverter_feeds(self) -> None:
        seen: set[str] = set()
        for rank, source in enumerate(self.site.sources):
            if source.kind != "inverter":
                continue
            group = self.group_of.get(source.id)
            name = group.id if group else source.id
            if name in seen:
                continue
            seen.add(name)
            members = tuple(self.sources[m] for m in group.members) if group else (source,)
            variable = self.by_name[name]
            self.feeds.append(
                Feed(
                    name,
                    "inverter",
                    variable,
                    self.variables[variable].mask("inverting"),
                    tuple(self.node(m.id, "out", phase) for m in members for phase in m.phases),
                    tuple(self.node(m.id, "out", "N") for m in members),
                    any(m.operation != "grid-following" for m in members),
                    members,
                    group.route if group else source.route,
                    rank,
                    tuple(
                        (*(self.node(m.id, "out", phase) for phase in m.phases), self.node(m.id, "out", "N"))
                        for m in members
                    ),
                )
            )

    def transformer(self, source: Source, rank: int) -> None:
        lines = tuple(self.node(source.id, "out", phase) for phase in source.phases)
        neutral = self.node(source.id, "out", "N")
        landed = {
            core
            for link in self.links
            for end, cores in self.landing(link)
            if end.id == source.id and end.terminal == "in"
            for core in cores
        }
        inputs = tuple(self.node(source.id, "in", phase) for phase in LINES if phase in landed)
        if source.winding == "isolating":
            variable = self.by_name[source.id]
            energised = self.variables[variable].mask("fed")
            self.wind(source.id, lines, neutral, ((variable, energised),))
            self.feeds.append(
                Feed(
                    source.id,
                    "transformer",
                    variable,
                    energised,
                    lines,
                    (neutral,),
                    True,
                    (source,),
                    source.route,
                    rank,
                    primary=inputs or (self.node(source.id, "in", "L1"),),
                )
            )
        else:
            # an autotransformer is one winding: its terminals stay joined whatever happens
            for node in (*inputs, *lines[1:], neutral, self.node(source.id, "in", "N")):
                self.live.append(Edge(lines[0], node, (), "auto", source.id))

    def internal_bond(self, source: Source) -> None:
        terminal = "" if source.kind == "generator" else "out"
        needs: Needs = ()
        if source.neutral_bond == "while-inverting":
            group = self.group_of.get(source.id)
            variable = self.by_name[group.id if group else source.id]
            needs = ((variable, self.variables[variable].mask("inverting")),)
        neutral = self.node(source.id, terminal, "N")
        self.ties.append(
            Tie(source.id, "internal", neutral, self.node(source.id, "", "PE"), needs, source.route, source.id)
        )

    # -- wiring --------------------------------------------------------------------------------------------------

    @staticmethod
    def landing(link: Connection) -> tuple[tuple[End, tuple[str, ...]], ...]:
        """The ends of a connection, each with the conductors of the place that its cores land on."""
        lands = dict(link.lands_on)
        return (link.start, link.cores), (link.finish, tuple(lands.get(core, core) for core in link.cores))

    def link(self, link: Connection) -> None:
        lands = dict(link.lands_on)
        gate: list[tuple[int, int]] = []
        for end in (link.start, link.finish):
            source = self.sources.get(end.id)
            if source and source.kind == "utility":
                variable = self.by_name[source.id]
                gate.append((variable, self.variables[variable].mask("present", "absent")))
        if link.plug:
            variable = self.by_name[link.id]
            gate.append((variable, self.variables[variable].mask("mated")))
        summed: dict[int, list[int]] = {}
        for core in link.cores:
            needs = self.closed(link, core, gate)
            target = lands.get(core, core)
            if core in DIRECT:
                if needs is not None and target in DIRECT:
                    spots = (link.start.id, link.start.terminal, core), (link.finish.id, link.finish.terminal, target)
                    self.direct.append(DirectEdge(*spots, needs, core, link.id))
                continue
            if needs is None:
                # the conductors are there although nothing ever joins them
                self.at(link.start, core)
                self.at(link.finish, target)
                continue
            if core == target == "PE":
                ends = (self.metal_at(link, link.start), self.metal_at(link, link.finish))
                self.earth.append(Edge(*ends, needs, "PE", link.id))
                continue
            if core == "PE" or (target == "PE" and core != "PEN"):
                ends = (self.at(link.start, core), self.at(link.finish, target))
                if {core, target} == {"N", "PE"}:
                    # crossed N and PE: as built, the core is a link between the two
                    n, pe = ends if core == "N" else ends[::-1]
                    self.ties.append(Tie(link.id, "crossed", n, pe, needs, link.route, link.id, core=core))
                continue
            if target == "PE":
                self.pen_on_pe.append((link.id, link.finish.id))
                if not self.bonded(link.finish.id):
                    tied = next((tie for tie in self.ties if tie.id == link.start.id), None)
                    start = tied.pe if tied else self.at(link.start, "PE")
                    self.earth.append(Edge(start, self.at(link.finish, "PE"), needs, "PEN", link.id))
                    continue
                target = "N"  # landed on the earth bar and carried to N by the link there: the same PEN
            for device in link.devices:
                if core in device.senses:
                    summed.setdefault(device.position, []).append(len(self.live))
            self.live.append(Edge(self.at(link.start, core), self.at(link.finish, target), needs, core, link.id))
        for device in link.devices:
            if device.senses:
                edges = frozenset(summed.get(device.position, ()))
                lines = frozenset(edge for edge in edges if self.live[edge].core in LINES)
                name = device.id or f"{link.id}/{device.position + 1}"
                passing = sum(core in (*LINES, "N", "PEN") for core in link.cores)
                self.rcds.append(Rcd(name, link.id, device, edges, lines, self.by_name.get(name, -1), passing))

    def closed(self, link: Connection, core: str, gate: list[tuple[int, int]]) -> Needs | None:
        """What has to hold for a core to join its ends; None: a device keeps it open for ever."""
        needs = list(gate)
        for device in link.devices:
            if core not in device.poles:
                continue
            if self.varies(device):
                variable = self.by_name[device.id or f"{link.id}/{device.position + 1}"]
                needs.append((variable, self.variables[variable].mask("closed")))
            elif device.normally_open:
                return None
        return tuple(needs)

    def landed_on(self, metal: str) -> list[tuple[Connection, End]]:
        """The conductors that land on metal that is no part of the installation."""
        return [(link, end) for link in self.links for end in (link.start, link.finish) if end.id == metal]

    def metal_at(self, link: Connection, end: End) -> int:
        """The PE node of an end of a conductor: on metal that is no part of the installation the very point where it lands."""
        if end.id not in self.metal:
            return self.at(end, "PE")
        return self.numbered((end.id, link.id, "PE"))

    def bonded(self, board: str) -> bool:
        frame = self.inside.get(board, board)
        return any(self.inside.get(bond.at.id, bond.at.id) == frame and not bond.closed for bond in self.site.bonds)

    def changeover_contacts(self) -> None:
        for changeover in self.site.changeovers:
            landed: set[str] = set()
            pen: set[str] = set()
            for link in self.links:
                for end, cores in self.landing(link):
                    if end.id == changeover.id:
                        landed.update("N" if core == "PEN" else core for core in cores)
                        if "PEN" in cores:
                            pen.add(end.terminal)
            poles = {"N" if pole == "PEN" else pole for pole in changeover.poles}
            for conductor in (*LINES, "N", *DIRECT):
                if conductor not in landed:
                    continue
                for position in changeover.positions:
                    if position == "off":
                        continue
                    solid = conductor not in poles
                    needs: Needs = () if solid else (self.contact(changeover, position, conductor),)
                    if conductor in DIRECT:
                        spots = (changeover.id, position, conductor), (changeover.id, "", conductor)
                        self.direct.append(DirectEdge(*spots, needs, conductor, changeover.id))
                        continue
                    ends = (self.node(changeover.id, position, conductor), self.node(changeover.id, "", conductor))
                    core = "PEN" if conductor == "N" and {position, ""} <= pen else conductor
                    self.live.append(Edge(*ends, needs, core, changeover.id, solid))

    def contact(self, changeover: Changeover, position: str, conductor: str) -> tuple[int, int]:
        """The values of a changeover in which its pole of a conductor is closed on one of its inputs."""
        variable = self.by_name[changeover.id]
        closed = [
            value
            for value in self.variables[variable].values
            if value == position
            or ("+" in value and position == value.split("+")[0])
            or (
                "+" in value
                and position == value.split("+")[1]
                and (changeover.transition == "closed" or conductor == "N")
            )
        ]
        return variable, self.variables[variable].mask(*closed)

    def bond(self, bond: Bond) -> None:
        self.ties.append(
            Tie(
                bond.id,
                "bond",
                self.at(bond.at, "N"),
                self.at(bond.at, "PE"),
                self.needs(bond.closed),
                bond.route,
                bond.at.written,
                bond.impedance_ohm is None,
            )
        )

    # -- everything ----------------------------------------------------------------------------------------------

    def build(self) -> Network:
        site = self.site
        self.declare()
        for rank, source in enumerate(site.sources):
            self.source(source, rank)
        self.inverter_feeds()
        self.feeds.sort(key=lambda feed: feed.rank)
        for link in self.links:
            self.link(link)
        self.changeover_contacts()
        for bond in site.bonds:
            self.bond(bond)
        at_metal = {electrode.at.id for electrode in site.electrodes}
        at_metal.update(end.id for metal in site.extraneous for end in metal.joins)
        for metal in site.extraneous:
            # it has length: what lands on it at two places is joined by it alone
            points = [self.metal_at(link, end) for link, end in self.landed_on(metal.id)]
            if metal.id in at_metal:
                points.append(self.node(metal.id, "", "PE"))
            points += [self.at(end, "PE") for end in metal.joins]
            self.earth.extend(Edge(points[0], other, (), "PE", metal.id) for other in points[1:])
        parts = self.parts()
        boards = tuple((board.id, self.lines_at(board.id)) for board in site.boards)
        circuits = tuple((circuit.id, self.lines_at(circuit.id)) for circuit in site.circuits)
        electrodes = tuple((electrode.id, self.at(electrode.at, "PE")) for electrode in site.electrodes)
        for tie in self.ties:
            self.touch.setdefault(tie.n, set()).update(variable for variable, _ in tie.needs)
        # the board at which a PEN arrives: the far end, unless the cable is written towards its source
        pen_lands = tuple(
            (end.id, self.at(end, "N"), link.id)
            for link in self.links
            for end in ((link.start,) if link.finish.id in self.sources else (link.finish,))
            if "PEN" in link.cores and end.id in self.inside
        )
        never = tuple(self.needs(interlock.never) for interlock in site.interlocks)
        left_out, loads_only = self.prove_irrelevant(never)
        if self.every_contact:
            left_out = frozenset()
        edges = tuple(edge._replace(needs=_without(edge.needs, left_out)) for edge in self.live)
        around: list[list[tuple[int, int]]] = [[] for _ in self.nodes]
        for i, edge in enumerate(edges):
            around[edge.a].append((i, edge.b))
            around[edge.b].append((i, edge.a))
        earth_variables = sorted({variable for edge in self.earth for variable, _ in edge.needs})
        return Network(
            site,
            tuple(self.nodes),
            edges,
            tuple(tuple(ways) for ways in around),
            tuple(self.earth),
            tuple(self.variables),
            tuple(tuple(sorted(self.touch.get(node, ()))) for node in range(len(self.nodes))),
            never,
            tuple(self.ties),
            tuple(self.feeds),
            tuple(self.passages),
            tuple(rcd._replace(loads_only=rcd.name in loads_only) for rcd in self.rcds),
            parts,
            boards,
            circuits,
            electrodes,
            pen_lands,
            tuple(earth_variables),
            tuple((i, edge.a, edge.b, edge.needs, self.sort(edge)) for i, edge in enumerate(edges)),
            tuple(self.variables[variable].name for variable in sorted(left_out)),
            self.number,
            tuple(self.direct),
        )

    def sort(self, edge: Edge) -> str:
        """Whether a conductor joins line to line or neutral to neutral."""
        ends = {"line" if self.nodes[node][2] in LINES else "neutral" for node in (edge.a, edge.b)}
        return ends.pop() if len(ends) == 1 and edge.core != "winding" else ""

    def lines_at(self, identifier: str) -> tuple[int, ...]:
        return tuple(self.number[key] for line in LINES if (key := (identifier, "", line)) in self.number)

    def parts(self) -> tuple[Part, ...]:
        site = self.site
        found: list[Part] = []
        live_nodes: dict[str, list[int]] = {}
        for number, (identifier, _, conductor) in enumerate(self.nodes):
            if conductor in LINES:
                live_nodes.setdefault(identifier, []).append(number)
        enclosed: dict[str, list[int]] = {}
        for board in site.boards:
            enclosed.setdefault(self.inside[board.id], []).extend(live_nodes.get(board.id, ()))
        for board in site.boards:
            if self.inside[board.id] == board.id and not board.class_ii:
                lines = tuple(enclosed[board.id])
                found.append(Part(board.id, "board", lines, self.node(board.id, "", "PE"), board.route))
        for changeover in site.changeovers:
            lines = tuple(live_nodes.get(changeover.id, ()))
            pe = self.node(changeover.id, "", "PE")
            found.append(Part(changeover.id, "changeover", lines, pe, changeover.route))
        for source in site.sources:
            if source.kind != "utility":
                lines = tuple(live_nodes.get(source.id, ()))
                found.append(Part(source.id, "source", lines, self.node(source.id, "", "PE"), source.route))
        for circuit in site.circuits:
            if not circuit.class_ii:
                lines = tuple(live_nodes.get(circuit.id, ()))
                found.append(Part(circuit.id, "circuit", lines, self.node(circuit.id, "", "PE"), circuit.route))
        return tuple(found)

    def prove_irrelevant(self, never: tuple[Needs, ...]) -> tuple[frozenset[int], frozenset[str]]:
        """Devices behind which there is neither a source nor a reference nor a monitor: their position changes no verdict.

        The proof: with the device's own edges taken out and everything else closed, the part beyond each of them holds
        nothing but boards and loads.  The same is proved of the edges that each RCD sums.
        """
        named = {variable for clause in never for variable, _ in clause}
        named.update(variable for tie in self.ties for variable, _ in tie.needs)
        named.update(variable for edge in self.earth for variable, _ in edge.needs)
        marked = {tie.n for tie in self.ties}
        for feed in self.feeds:
            marked.update(feed.lines, feed.neutrals, feed.primary)
        for passage in self.passages:
            marked.update(passage.inputs, passage.outputs)
            marked.add(self.node(passage.id, "in", "N"))
        for monitor in self.site.monitors:
            marked.update(n for n, key in enumerate(self.nodes) if key[0] == monitor.at.id)
        around: list[list[tuple[int, int]]] = [[] for _ in self.nodes]
        own: dict[int, list[int]] = {}
        for i, edge in enumerate(self.live):
            around[edge.a].append((i, edge.b))
            around[edge.b].append((i, edge.a))
            for variable, _ in edge.needs:
                own.setdefault(variable, []).append(i)
        left_out: set[int] = set()
        for variable, edges in own.items():
            if variable in named or self.variables[variable].kind not in ("device", "plug"):
                continue
            cut = set(edges)
            if all(self.barren(self.live[i], cut, around, marked) for i in edges):
                left_out.add(variable)
        loads_only = {
            rcd.name
            for rcd in self.rcds
            if rcd.edges and all(self.barren(self.live[i], set(rcd.edges), around, marked) for i in rcd.edges)
        }
        return frozenset(left_out), frozenset(loads_only)

    @staticmethod
    def barren(edge: Edge, cut: set[int], around: list[list[tuple[int, int]]], marked: set[int]) -> bool:
        for start, other_end in ((edge.b, edge.a), (edge.a, edge.b)):
            seen = {start}
            stack = [start]
            clean = True
            while stack and clean:
                node = stack.pop()
                if node in marked or node == other_end:
                    clean = False
                for i, other in around[node]:
                    if i not in cut and other not in seen:
                        seen.add(other)
                        stack.append(other)
            if clean:
                return True
        return False


def _without(needs: Needs, left_out: frozenset[int]) -> Needs:
    return tuple(need for need in needs if need[0] not in left_out)


def build(installation: Installation, every_contact: bool = False) -> Network:
    """The network of an installation that was read without problems.

    ``every_contact`` keeps the devices whose position changes no verdict: a meter behind an open one reads nothing.
    """
    return _Builder(installation, every_contact).build()
