"""The circuit of one live island in one state: every conductor, winding, bond and electrode of the network with its impedance.

Closed contacts (changeovers, bars inside an enclosure, links, the way through an inverter) merge nodes.  A source without an
impedance of its own, an inverter below its limit, is merged too, and its EMF is kept as the difference of potential between
the merged nodes.  A part that nothing ties to the mass of earth takes one of its own nodes as its zero: voltages within it
hold, voltages to earth do not exist there.

What is not written becomes a branch with an impedance that cannot be told apart from a real one; :attr:`Model.unknown` names
it, and whoever uses a number has to ask :meth:`Model.doubtful` whether it rests on one of those.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

from onebond.circuit import impedances
from onebond.circuit.components import loads
from onebond.circuit.components.capacitance import admittance
from onebond.circuit.impedances import Missing
from onebond.circuit.parts import Z_MIN_OHM, Branch, Circuit
from onebond.model import HIGH_LEG, LINES, Connection, Source
from onebond.model import Circuit as Final
from onebond.network import Feed, Network, Tie, frame_of, is_bar
from onebond.states import State, holds, reach

Faulted = tuple[int, int]
"""A line node and the PE node of a frame, by their numbers in the network."""


class Conductor(NamedTuple):
    """What a branch of the circuit is in the description."""

    element: str  # id of the connection, bond, electrode or source
    core: str  # L1 L2 L3 N PEN PE; bond, electrode, winding, load, leakage, filter, monitor
    a: int  # nodes of the network; numbers beyond its own are the mass of earth and inner nodes of sources and loads
    b: int
    edge: int  # number of the live edge, -1: none


class Contact(NamedTuple):
    """Two nodes of the network that are one in the circuit."""

    a: int
    b: int
    element: str
    core: str
    edge: int  # number of the live edge, -1: none


class Options(NamedTuple):
    """What a circuit is built for."""

    smallest: bool = True  # warm conductors and the weakest supply, or cold ones and the strongest
    cold: bool = False  # conductors at 20 C in any case: who measures finds them so
    loads: bool = False
    loads_of: frozenset[str] = frozenset()  # only the loads of these circuits; none named: all
    capacitances: bool = False
    stray_f_per_m: float = 0.0
    unwritten_m: float = 0.0  # the length of cables of which none is written, for their stray capacitance
    leaks: tuple[bool, bool] = (
        True,
        False,
    )  # declared leakage flows from the line, and from the neutral where it is off the earth
    frequency_hz: float = 50.0
    without: frozenset[str] = frozenset()  # electrodes that are left out
    soil: tuple[float, float] = (
        1.0,
        1.0,
    )  # factors on electrodes: where a resistance is written, where it follows from the soil
    metal: bool = (
        False  # metal that is no part of the installation shares the current of a neutral; a fault does not count on it
    )
    metal_joins: bool = False  # that metal joins what lands on it without impedance: the least that a tester may find
    bridge: tuple[str, int] | None = None  # a source whose star point is joined to a PE node, as a first fault would
    loop_in_line: bool = (
        False  # the declared loop of a TT supply lies in its conductors as far as it can, not in its electrode
    )
    contacts_of: frozenset[str] = (
        frozenset()
    )  # connections whose cores have a contact resistance where they have no length


class Model(NamedTuple):
    """A circuit and how it belongs to the network."""

    circuit: Circuit
    node: tuple[int, ...]  # network node -> circuit node; -1: not in it
    offset_v: tuple[complex, ...]  # voltage of a network node above its circuit node
    part: tuple[int, ...]  # network node -> part that conductors join; -1: the mass of earth reaches it
    conductors: tuple[Conductor, ...]  # one a branch
    contacts: tuple[Contact, ...]
    unknown: tuple[tuple[int, Missing], ...]  # branches whose impedance is not known
    stars: tuple[tuple[str, int], ...]  # feed -> circuit node of its star point
    points: tuple[tuple[str, int], ...]  # feed -> its star point as conductors name their ends

    def voltage_v(self, voltages_v: list[complex], node: int) -> complex:
        """The voltage of a network node in a solution, in V."""
        return voltages_v[self.node[node]] + self.offset_v[node]

    def joined(self, a: int, b: int) -> bool:
        """Whether two network nodes are in one part of the circuit; -1 is no node."""
        return min(a, b, self.node[a], self.node[b]) >= 0 and self.part[a] == self.part[b]

    def branch_of(self, element: str, core: str) -> int:
        """The number of the branch of one core; -1: it is a contact or not there."""
        for number, conductor in enumerate(self.conductors):
            if conductor.element == element and conductor.core == core:
                return number
        return -1


CONTACT_OHM = 0.001
"""Resistance of one pole of a switching device, where its current is asked for and it has no cable (common practice, no source)."""

# Impedances that stand for what is not known.  Two sets of them: a result that is the same with both does not rest on them.
_STAND_IN = (0.7310 + 0.0970j, 1.9130 + 0.2110j)


def stand_in_ohm(number: int, which: int) -> complex:
    """An impedance for the unknown branch of that number; no two of them are alike or in a simple ratio."""
    return _STAND_IN[which] * (1 + 0.0137 * (number % 97)) + (0.000_31 * number % 0.05)


class _Draft:
    """Merged nodes with differences of potential between them (a union-find with weights)."""

    def __init__(self, count: int) -> None:
        self.above = list(range(count))
        self.offset = [0j] * count  # of a node above the one it hangs on

    def new(self) -> int:
        self.above.append(len(self.above))
        self.offset.append(0j)
        return len(self.above) - 1

    def top(self, node: int) -> tuple[int, complex]:
        above = self.above
        over = above[node]
        if above[over] == over:
            return over, self.offset[node]
        way = [node]
        while above[over] != over:
            way.append(over)
            over = above[over]
        offset = 0j
        for one in reversed(way):
            offset += self.offset[one]
            above[one], self.offset[one] = over, offset
        return over, offset

    def join(self, a: int, b: int, rise_v: complex = 0j) -> bool:
        """Make b stand ``rise_v`` above a; False where another way has joined them already."""
        (ra, oa), (rb, ob) = self.top(a), self.top(b)
        if ra == rb:
            return False
        self.above[rb] = ra
        self.offset[rb] = oa + rise_v - ob
        return True


Known = dict[tuple[str, str, bool], complex | Missing | None]
"""Impedances of cores that were worked out before: connection, core, warm or not."""


class _Begun(NamedTuple):
    """What the circuits of one island have in common, whatever they are for."""

    above: tuple[int, ...]
    offset: tuple[complex, ...]
    branches: tuple[tuple[int, int, complex, complex, str], ...]
    conductors: tuple[Conductor, ...]
    contacts: tuple[Contact, ...]
    unknown: tuple[tuple[int, Missing], ...]
    stars: tuple[tuple[str, int], ...]
    used: frozenset[int]


Begun = dict[tuple[tuple[bool, ...], frozenset[str], tuple[int, ...]], _Begun]
"""What was begun before, for the circuits of one island, by the options that decide on it and the sources."""


def _with_joint(ohm: complex | Missing | None, joint_ohm: float) -> complex | Missing | None:
    """The impedance of a core with a bad joint in it, in ohm."""
    if not joint_ohm or isinstance(ohm, Missing):
        return ohm
    return (ohm or 0) + joint_ohm


class _Builder:
    def __init__(
        self,
        network: Network,
        state: State,
        live: int,
        feeds: Iterable[int],
        options: Options,
        known: Known,
        behind: frozenset[str],
    ) -> None:
        self.network = network
        self.site = network.installation
        self.state = state
        self.live = live
        self.feeds = tuple(feeds)
        self.options = options
        self.as_built = self.site.stage == "as-built"
        self.links = {
            link.id: link for link in (*self.site.connections, *(circuit.connection for circuit in self.site.circuits))
        }
        self.draft = _Draft(len(network.nodes) + 1)
        self.soil = len(network.nodes)
        self.branches: list[tuple[int, int, complex, complex, str]] = []
        self.conductors: list[Conductor] = []
        self.contacts: list[Contact] = []
        self.unknown: list[tuple[int, Missing]] = []
        self.stars: list[tuple[str, int]] = []
        self.used = {node for node in range(len(network.nodes)) if live >> node & 1}
        self.source_ids = {source.id: source for source in self.site.sources}
        self.known = known
        self.behind = behind
        self.tied: set[int] = set()
        self.star_at_earth = False

    # -- parts ---------------------------------------------------------------------------------------------------

    def contact(self, a: int, b: int, element: str, core: str, edge: int = -1, rise_v: complex = 0j) -> None:
        self.used.update((a, b))
        self.draft.join(a, b, rise_v)
        self.contacts.append(Contact(a, b, element, core, edge))

    def branch(
        self, a: int, b: int, z: complex | Missing | None, element: str, core: str, emf_v: complex = 0j, edge: int = -1
    ) -> None:
        """A conductor between two nodes; one without impedance, or with less than a circuit may hold, merges them."""
        if z is None or (not isinstance(z, Missing) and abs(z) < Z_MIN_OHM):
            self.contact(a, b, element, core, edge, emf_v)
            return
        if isinstance(z, Missing):
            self.unknown.append((len(self.branches), z))
            z = stand_in_ohm(len(self.unknown), 0)
        self.used.update((a, b))
        self.branches.append((a, b, z, emf_v, f"{core} of {element}"))
        self.conductors.append(Conductor(element, core, a, b, edge))

    def link_ohm(self, link: Connection, core: str) -> complex | Missing | None:
        """Impedance of a core; none for a bar inside one enclosure of which no length is written."""
        warm = self.options.smallest and not self.options.cold
        key = (link.id, core, warm)
        if key not in self.known:
            self.known[key] = None if is_bar(self.site, link) else impedances.core_ohm(link, core, warm, self.as_built)
        z = self.known[key]
        return complex(CONTACT_OHM) if z is None and link.id in self.options.contacts_of else z

    def wires(self) -> None:
        network, state = self.network, self.state
        for number, edge in enumerate(network.edges):
            if not self.live >> edge.a & 1 or edge.core == "winding" or not holds(edge.needs, state):
                continue
            if edge.core == "auto":
                source = self.source_ids[edge.element]
                why = f"the currents of the autotransformer {edge.element} are not computed"
                self.branch(edge.a, edge.b, Missing(edge.element, source.route, why), edge.element, "winding")
                continue
            link = self.links.get(edge.element)
            z = self.link_ohm(link, edge.core) if link else None
            self.branch(edge.a, edge.b, _with_joint(z, edge.joint_ohm), edge.element, edge.core, edge=number)

    def protective(self) -> None:
        network, state = self.network, self.state
        loose = []
        for edge in network.earth:
            if not holds(edge.needs, state):
                continue
            link = self.links.get(edge.element)
            if link is None:
                loose.append(edge)
                continue
            start = edge.a
            if edge.core == "PEN" and network.nodes[edge.a][1] == "supplier":
                start = network.number_of(network.nodes[edge.a][0], "", "N")
            z = _with_joint(self.link_ohm(link, edge.core), edge.joint_ohm)
            self.branch(start, edge.b, z, edge.element, edge.core)
        # metal that is no part of the installation: left out where conductors join the same places anyway
        joined = _Draft(len(self.draft.above))
        for conductor in self.conductors:
            if conductor.core == "PE" or not self.options.metal:
                joined.join(conductor.a, conductor.b)
        for contact in self.contacts:
            if contact.core == "PE" or not self.options.metal:
                joined.join(contact.a, contact.b)
        for edge in loose:
            if self.options.metal_joins:
                self.contact(edge.a, edge.b, edge.element, "PE")
            elif joined.join(edge.a, edge.b):
                route = next(metal.route for metal in self.site.extraneous if metal.id == edge.element)
                why = f"the impedance of {edge.element} is not known"
                self.branch(edge.a, edge.b, Missing(edge.element, route, why), edge.element, "PE")

    def ties(self) -> None:
        bonds = {bond.id: bond for bond in self.site.bonds}
        for tie in self.network.ties:
            if tie.kind == "star" or not self.live >> tie.n & 1 or not holds(tie.needs, self.state):
                continue
            if tie.kind == "crossed":
                self.branch(tie.n, tie.pe, self.link_ohm(self.links[tie.id], tie.core), tie.id, tie.core)
            elif tie.kind == "bond":
                self.branch(tie.n, tie.pe, impedances.bond_ohm(bonds[tie.id]), tie.id, "bond")
            else:
                self.branch(tie.n, tie.pe, complex(tie.ohm), tie.id, "bond")

    def electrodes(self) -> None:
        places = dict(self.network.electrodes)
        for electrode in self.site.electrodes:
            if electrode.id in self.options.without:
                continue
            pe = places[electrode.id]
            ohm = impedances.electrode_ohm(electrode)
            factor = self.options.soil[electrode.resistance_ohm is None]
            value = ohm if isinstance(ohm, Missing) else complex(factor * ohm)
            self.branch(pe, self.soil, value, electrode.id, "electrode")

    # -- sources -------------------------------------------------------------------------------------------------

    def supplies(self) -> None:
        network = self.network
        energised = {network.feeds[i].id for i in self.feeds}
        stars = {tie.id: tie for tie in network.ties if tie.kind == "star"}

        # the star point of what feeds the island is the one to be at earth
        def far(feed: Feed) -> tuple[bool, bool]:
            return feed.id not in energised, not any(self.live >> node & 1 for node in feed.neutrals)

        for feed in sorted(network.feeds, key=far):
            if feed.kind == "utility":
                self.supplier(feed.id, feed.lines, feed.neutrals[0], stars.get(feed.id), feed.id in energised)
            elif feed.id in energised and feed.forming:
                self.own_source(feed.id)

    def supplier(
        self, identifier: str, lines: tuple[int, ...], neutral: int, star: Tie | None, energised: bool
    ) -> None:
        source = self.source_ids[identifier]
        live_neutral = self.live >> neutral & 1
        pe = star.pe if star and self.network.nodes[star.pe][2] == "PE" else -1
        if not (live_neutral or energised or pe >= 0):
            return
        supply = impedances.utility(source, self.options.smallest, self.options.loop_in_line)
        point = self.draft.new()
        self.used.add(point)
        if star:
            if source.earthing == "TT":
                # what its earth has beyond the declared loop no description says: a defect does
                more, ohm = source.earthing_impedance_ohm or 0.0, supply.star
                earth = ohm if isinstance(ohm, Missing) else complex((ohm or 0.0) + more)
                self.branch(point, self.soil, earth, identifier, "supplier electrode")
            elif source.earthing_impedance_ohm:
                self.branch(point, self.soil, complex(source.earthing_impedance_ohm), identifier, "supplier electrode")
            elif not self.star_at_earth:
                # one star point is the zero; what the soil between two of them has is not known, and not counted on
                self.star_at_earth = True
                self.contact(self.soil, point, identifier, "supplier electrode")
        elif source.earthing == "IT" and source.earthing_impedance_ohm:
            self.branch(point, self.soil, complex(source.earthing_impedance_ohm), identifier, "neutral-impedance")
        if live_neutral or energised:
            self.branch(point, neutral, supply.neutral, identifier, "N")
        if pe >= 0:
            if source.earthing == "TN-C-S":  # split at the supplier's terminals
                if live_neutral or energised:
                    self.contact(neutral, pe, identifier, "bond")
                else:
                    self.branch(point, pe, supply.neutral, identifier, "PEN")
            else:
                self.branch(point, pe, supply.pe, identifier, "PE")
        if energised:
            emfs = impedances.line_emfs_v(source)
            self.stars.append((identifier, point))
            for node in lines:
                phase = self.network.nodes[node][2]
                emf = 0j if isinstance(emfs, Missing) else emfs[phase]
                self.branch(point, node, supply.line, identifier, phase, emf)

    def own_source(self, identifier: str) -> None:
        feed = next(feed for feed in self.network.feeds if feed.id == identifier)
        group = next((group for group in self.site.groups if group.id == identifier), None)
        phases = dict(group.phases) if group else {}
        for source in feed.sources:
            terminal = "" if source.kind == "generator" else "out"
            star = self.network.number_of(source.id, terminal, "N")
            if not self.live >> star & 1:
                continue
            emfs = impedances.line_emfs_v(source, phases)
            self.stars.append((source.id, star))
            z: complex | Missing | None = None
            if source.kind == "generator":
                z = self.generator_ohm(source.id)
            elif source.kind == "transformer":
                z = self.secondary_ohm(source.id)
            for phase in source.phases:
                node = self.network.number_of(source.id, terminal, phase)
                if isinstance(emfs, Missing):
                    self.branch(star, node, emfs, source.id, phase)
                else:
                    self.branch(star, node, z, source.id, phase, emfs[phase])

    def generator_ohm(self, identifier: str) -> complex | Missing:
        source = self.source_ids[identifier]
        if self.options.smallest and source.fault_limit is None:
            return impedances.undeclared_generator(source)
        return impedances.generator(source)

    def secondary_ohm(self, identifier: str) -> complex | Missing:
        """A transformer with the network ahead of it, as seen from its secondary."""
        source = self.source_ids[identifier]
        own = impedances.transformer(source)
        if isinstance(own, Missing):
            return own
        ahead = _ahead(self.network, self.state, identifier, self.options, self.behind)
        return ahead if isinstance(ahead, Missing) else own + ahead

    # -- what hangs on it ----------------------------------------------------------------------------------------

    def across(self, a: int, b: int, y: complex, element: str, core: str) -> None:
        if y:
            self.branch(a, b, 1 / y, element, core)

    def capacitances(self) -> None:
        hertz = self.options.frequency_hz
        for source in self.site.sources:
            if source.kind != "inverter" or not source.filter_capacitance_f:
                continue
            frame = self.network.number_of(source.id, "", "PE")
            for phase in (*source.phases, "N"):
                node = self.network.number_of(source.id, "out", phase)
                if self.live >> node & 1:
                    self.across(node, frame, admittance(source.filter_capacitance_f, hertz), source.id, "filter")
        for circuit in self.site.circuits:
            node = self.line_of(circuit.id)
            if circuit.leakage_a and node >= 0 and not circuit.class_ii:
                volts = abs(self.emf_of(node))
                if volts:
                    ohm = self.leakage_ohm(circuit, volts, hertz)
                    if ohm is None:
                        continue
                    pe = self.network.number_of(circuit.id, "", "PE")
                    ends = (node, self.network.find(circuit.id, "", "N"))
                    for end, leaks in zip(ends, self.options.leaks, strict=True):
                        if leaks and end >= 0:
                            self.branch(end, pe, ohm, circuit.id, "leakage")
        for monitor in self.site.monitors:
            if monitor.impedance_ohm:
                for conductor in ("N", *LINES):
                    node = self.network.find(monitor.at.id, monitor.at.terminal, conductor)
                    pe = self.network.find(frame_of(self.site, monitor.at.id), "", "PE")
                    if node >= 0 and pe >= 0 and self.live >> node & 1:
                        self.branch(node, pe, complex(monitor.impedance_ohm), monitor.id, "monitor")
                        break
        if self.options.stray_f_per_m:
            self.stray()

    @staticmethod
    def leakage_ohm(circuit: Final, volts: float, hertz: float) -> complex | Missing | None:
        """What leaks from a circuit; nothing below a nanoampere, and not known where so much leaks that it is no leakage."""
        leakage_a = circuit.leakage_a or 0.0
        try:
            return loads.leakage_ohm(leakage_a, volts, hertz)
        except ValueError:
            why = f"{circuit.id}: {leakage_a:g} A is more than any equipment leaks"
            return None if leakage_a < 1 else Missing(f"the leakage of {circuit.id}", circuit.route, why)

    def stray(self) -> None:
        """Half of the stray capacitance of each live core to PE at either end of a cable with PE."""
        for edge in self.network.edges:
            link = self.links.get(edge.element)
            if link is None or "PE" not in link.cores or not self.live >> edge.a & 1:
                continue
            if not holds(edge.needs, self.state):
                continue
            length_m = link.length_m
            if length_m is None:
                length_m = 0.0 if is_bar(self.site, link) else self.options.unwritten_m
            half = admittance(self.options.stray_f_per_m * length_m / 2, self.options.frequency_hz)
            for end, node in ((link.start, edge.a), (link.finish, edge.b)):
                pe = self.network.find(frame_of(self.site, end.id), "", "PE")
                if pe >= 0:
                    self.across(node, pe, half, link.id, "stray")

    def lines_of(self, identifier: str) -> tuple[int, ...]:
        """The live nodes of the lines that a circuit brings to its end; another cable may land there with more of them."""
        link = self.links[identifier]
        lands = dict(link.lands_on)
        own = {lands.get(core, core) for core in link.cores}
        lines = next((lines for name, lines in self.network.circuits if name == identifier), ())
        return tuple(node for node in lines if self.live >> node & 1 and self.network.nodes[node][2] in own)

    def line_of(self, identifier: str) -> int:
        """The first of those lines, -1 where none is live."""
        return next(iter(self.lines_of(identifier)), -1)

    def fed_by(self, node: int) -> tuple[Source, complex] | None:
        """A source that feeds the island, and its EMF on the line of a node; one of another line where none has it."""
        line, other = self.network.nodes[node][2], None
        for i in self.feeds:
            for source in self.network.feeds[i].sources:
                emfs = impedances.line_emfs_v(source)
                if not isinstance(emfs, Missing) and emfs:
                    if line in emfs:
                        return source, emfs[line]
                    other = other or (source, next(iter(emfs.values())))
        return other

    def emf_of(self, node: int) -> complex:
        """Nominal voltage of a line to neutral, in V; 0 where it is not written."""
        found = self.fed_by(node)
        return found[1] if found else 0j

    def between_lines(self, circuit: Final, node: int) -> bool:
        """Whether the high leg of a delta is among several lines of a circuit, one of which is a node."""
        found, link = self.fed_by(node), circuit.connection
        own = [dict(link.lands_on).get(core, core) for core in link.cores if core in LINES]
        return found is not None and found[0].high_leg and HIGH_LEG in own and len(own) > 1

    def loads(self) -> None:
        """Written loads: between each line and the neutral, or between the lines where no neutral is live there.

        A load is that of all its lines: one that is dead leaves the others their share.  A load on several lines, the high leg of a
        delta among them, is between its lines: what is made for the other lines is not made for that one.
        """
        for circuit in self.site.circuits:
            lines = self.lines_of(circuit.id)
            if not lines or (self.options.loads_of and circuit.id not in self.options.loads_of):
                continue
            count = sum(core in LINES for core in circuit.connection.cores)
            neutral = self.network.find(circuit.id, "", "N")
            to_neutral = neutral >= 0 and self.live >> neutral & 1
            if to_neutral and not self.between_lines(circuit, lines[0]):
                z = self.load_ohm(circuit, abs(self.emf_of(lines[0])), count)
                for node in lines if z else ():
                    self.branch(node, neutral, z, circuit.id, "load")
            elif len(lines) > 1:
                between_v = abs(self.emf_of(lines[0]) - self.emf_of(lines[1]))
                if count == 2:
                    z = self.load_ohm(circuit, between_v, 1)
                    if z:
                        self.branch(lines[0], lines[1], z, circuit.id, "load")
                    continue
                z = self.load_ohm(circuit, between_v / math.sqrt(3), count)
                if z:
                    star = self.draft.new()
                    for node in lines:
                        self.branch(node, star, z, circuit.id, "load")

    @staticmethod
    def load_ohm(circuit: Final, across_v: float, lines: int) -> complex | None:
        """Each of the impedances that a load is, with a voltage in V across it; None where no load is written."""
        factor = circuit.power_factor or 1.0
        try:
            if circuit.load_a:
                return loads.load_of_current_ohm(circuit.load_a, across_v, factor)
            if circuit.load_va:
                return loads.load_of_apparent_power_ohm(circuit.load_va, across_v, factor, lines)
            if circuit.load_w:
                return loads.load_of_power_ohm(circuit.load_w, across_v, factor, lines)
        except ValueError:
            return None  # larger or smaller than any load, or no voltage is written: as if it were not written
        return None

    # -- all of it -----------------------------------------------------------------------------------------------

    def begin(self, begun: Begun) -> None:
        """Conductors, sources and links, which the circuits of one island have in common."""
        options = self.options
        key = (
            (options.smallest, options.cold, options.metal, options.metal_joins, options.loop_in_line),
            options.contacts_of,
            self.feeds,
        )
        if key not in begun:
            self.wires()
            self.supplies()
            self.ties()
            self.protective()
            begun[key] = _Begun(
                tuple(self.draft.above),
                tuple(self.draft.offset),
                tuple(self.branches),
                tuple(self.conductors),
                tuple(self.contacts),
                tuple(self.unknown),
                tuple(self.stars),
                frozenset(self.used),
            )
            return
        known = begun[key]
        self.draft.above, self.draft.offset = list(known.above), list(known.offset)
        self.branches, self.conductors = list(known.branches), list(known.conductors)
        self.contacts, self.unknown = list(known.contacts), list(known.unknown)
        self.stars, self.used = list(known.stars), set(known.used)

    def build(self, begun: Begun) -> Model:
        self.begin(begun)
        self.electrodes()
        if self.options.bridge:
            name, pe = self.options.bridge
            star = next((node for star, node in self.stars if star == name), -1)
            if star >= 0:
                self.contact(star, pe, name, "first fault")
        if self.options.capacitances:
            self.capacitances()
        if self.options.loads:
            self.loads()
        return self.finish()

    def finish(self) -> Model:
        network = self.network
        tops = [self.draft.top(node) for node in range(len(self.draft.above))]
        # nothing with an EMF merges the mass of earth with a node: what is merged with it stands above it by its own offset
        earth_top, _ = tops[self.soil]
        # parts that conductors join, and which of them the mass of earth reaches
        whole = _Draft(len(self.draft.above))
        for a, b, *_ in self.branches:
            whole.join(tops[a][0], tops[b][0])
        soil_part = whole.top(earth_top)[0]
        number = {earth_top: 0}
        zeros: dict[int, int] = {}
        part = [-1]
        self.tied = {tie.pe for tie in network.ties if self.live >> tie.n & 1}
        order = sorted(self.used, key=self.preference)
        for node in order:
            top = tops[node][0]
            if top in number:
                continue
            label = whole.top(top)[0]
            if label != soil_part and label not in zeros:
                zeros[label] = top  # the zero of a part without earth: one node of it is taken to be earth
            number[top] = len(number)
            part.append(-1 if label == soil_part else label)
        circuit_nodes = list(number)
        merged = dict.fromkeys(zeros.values(), 0)
        final: dict[int, int] = {}
        labels: list[int] = []
        for top in circuit_nodes:
            if top in merged:
                final[top] = 0
            else:
                final[top] = len(labels)
                labels.append(part[number[top]])
        node_of, offset_of = [-1] * len(network.nodes), [0j] * len(network.nodes)
        parts_of: list[int] = [-1] * len(network.nodes)
        for node in self.used:
            if node >= len(network.nodes):
                continue
            top, offset = tops[node]
            node_of[node] = final[top]
            offset_of[node] = offset
            parts_of[node] = part[number[top]]
        # where the nodes lie: the solution works out those of one place together
        place = {name: count for count, name in enumerate(dict.fromkeys(key[0] for key in network.nodes), 1)}
        places = [0] * len(labels)
        for node in self.used:
            if node < len(network.nodes) and node_of[node] > 0:
                places[node_of[node]] = place[network.nodes[node][0]]
        branches = []
        for a, b, z, emf, name in self.branches:
            (ta, oa), (tb, ob) = tops[a], tops[b]
            branches.append(Branch(final[ta], final[tb], z, emf + oa - ob, name))
        stars = tuple((name, final[tops[node][0]]) for name, node in self.stars)
        return Model(
            Circuit(len(labels), tuple(branches), 0, places=tuple(places)),
            tuple(node_of),
            tuple(offset_of),
            tuple(parts_of),
            tuple(self.conductors),
            tuple(self.contacts),
            tuple(self.unknown),
            stars,
            tuple(self.stars),
        )

    def preference(self, node: int) -> tuple[int, int]:
        """A part without earth takes the PE of a link as its zero, else a PE, else a neutral."""
        if node >= len(self.network.nodes):
            return (3, node)
        conductor = self.network.nodes[node][2]
        return (0 if node in self.tied else 1 if conductor == "PE" else 2 if conductor == "N" else 3, node)


def build(
    network: Network,
    state: State,
    live: int,
    feeds: Iterable[int],
    options: Options = Options(),  # noqa: B008
    known: Known | None = None,
    begun: Begun | None = None,
    behind: frozenset[str] = frozenset(),
) -> Model:
    """The circuit of a live island: ``live`` its nodes as a bit set, ``feeds`` the numbers of what energises it.

    ``known`` keeps the impedances of cores between the circuits of one network, ``begun`` what the circuits of one island have in
    common.  ``behind``: transformers that the circuit lies ahead of.
    """
    builder = _Builder(network, state, live, feeds, options, {} if known is None else known, behind)
    return builder.build({} if begun is None else begun)


def with_other_stand_ins(model: Model) -> Circuit:
    """The same circuit with other impedances where none is known."""
    branches = list(model.circuit.branches)
    for number, (branch, _) in enumerate(model.unknown, 1):
        branches[branch] = branches[branch]._replace(z_ohm=stand_in_ohm(number, 1))
    return model.circuit._replace(branches=tuple(branches))


def _ahead(
    network: Network, state: State, transformer: str, options: Options, behind_it: frozenset[str]
) -> complex | Missing:
    """Impedance of the network ahead of an isolating transformer, brought to a winding of its secondary, in ohm.

    ``behind_it``: transformers that this one is ahead of.  Where one of them feeds it in turn, they stand in a ring.
    """
    from onebond.circuit.solve import Study, Unsolvable

    feed = next(feed for feed in network.feeds if feed.id == transformer)
    source = feed.sources[0]
    why = Missing(transformer, source.route, f"the network ahead of the transformer {transformer} is not determined")
    part = reach(network, state, feed.primary)
    through = behind_it | {transformer}
    behind = [
        i
        for i, other in enumerate(network.feeds)
        if other.id not in through
        and other.forming
        and other.at_work(state)
        and any(part >> node & 1 for node in other.lines)
    ]
    if not behind:
        return why
    emfs = impedances.line_emfs_v(source)
    assert not isinstance(emfs, Missing)  # its own impedance is known, and so its voltage is
    model = build(network, state, part, behind, options, behind=through)
    other_end = feed.primary[1] if len(feed.primary) > 1 else network.find(transformer, "in", "N")
    if other_end < 0:
        return why
    a, b = model.node[feed.primary[0]], model.node[other_end]
    if a == b or a < 0 or b < 0:
        return 0j
    try:
        study = Study(model.circuit, [(a, b)])
        loop = study.loops[0]
        if model.unknown:
            other = Study(with_other_stand_ins(model), [(a, b)]).loops[0]
            if abs(other.z_ohm - loop.z_ohm) > 1e-9 * abs(loop.z_ohm):
                return model.unknown[0][1]
    except Unsolvable:
        return why
    primary_v = abs(loop.open_v + model.offset_v[feed.primary[0]] - model.offset_v[other_end])
    if primary_v == 0:
        return why
    secondary = list(emfs.values())
    across_v = abs(secondary[0] - secondary[1]) if len(secondary) > 1 else abs(secondary[0])
    # two lines of the primary in series stand for one winding of the secondary, or for two in series
    share = 2 if len(secondary) > 1 else 1
    return loop.z_ohm * (across_v / primary_v) ** 2 / share
