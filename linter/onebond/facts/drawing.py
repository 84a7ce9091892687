"""What a drawing of the installation shows: its parts with their short data as written, and what each kind of live island makes live.

Nothing is decided here and nothing is laid out.  Data are taken from the text of the file, so that a drawing says ``60 ft`` where
the file does.
"""

from __future__ import annotations

from typing import NamedTuple

from onebond.document import Document, node_at, span_at
from onebond.facts import Facts
from onebond.facts.island import Island, Reference
from onebond.facts.service import InService, farthest_load, from_sources, source_of
from onebond.model import DIRECT_INPUTS, HIGH_LEG, LINES, Bond, Circuit, Connection, Device, Electrode, Monitor, Source
from onebond.network import Network
from onebond.result import (
    Drawing,
    DrawnBond,
    DrawnDevice,
    DrawnElectrode,
    DrawnLink,
    DrawnMetal,
    DrawnMonitor,
    DrawnPlace,
    DrawnReference,
    DrawnState,
)
from onebond.span import Route
from onebond.states import State, holds


class KindOfIsland(NamedTuple):
    """Cases that agree in sources, supplied places and references: one line of ``onebond states``, one drawing."""

    sources: tuple[str, ...]
    supplies: tuple[str, ...]
    references: tuple[str, ...]  # in words
    verdict: str
    electrodes: tuple[str, ...]  # that the references reach, in words
    apart: tuple[str, ...]  # sources whose lines do not meet those of the first
    islands: tuple[Island, ...]


def kinds_of_island(facts: Facts) -> tuple[KindOfIsland, ...]:
    """The kinds of live island, in the order in which their first cases are found."""
    found: dict[KindOfIsland, list[Island]] = {}
    for island in facts.islands:
        references = []
        electrodes = _electrodes(island)
        for reference in island.references:
            where = "star point of the supplier" if reference.kind == "star" else f"at {reference.at}"
            if reference.kind == "internal":
                where = "inside it"
            references.append(f"{reference.id} ({where})")
        verdict = _verdict(facts, island, bool(electrodes))
        sources = tuple(feed.id for feed in island.feeds)
        kind = KindOfIsland(sources, island.supplies, tuple(references), verdict, electrodes, _apart(island), ())
        found.setdefault(kind, []).append(island)
    return tuple(kind._replace(islands=tuple(islands)) for kind, islands in found.items())


def _verdict(facts: Facts, island: Island, electrode: bool) -> str:
    if not island.references:
        if island.it:
            return "isolated from earth (IT)"
        return "tied through an impedance" if island.impedances else "floating"
    if island.it:
        return "earthed, though declared IT"
    count = len(_groups(facts, island))
    if count == 1:
        return "earthed once" if electrode else "bonded once, no electrode"
    return "earthed twice" if count == 2 else f"earthed {count} times"


def _apart(island: Island) -> tuple[str, ...]:
    """The sources whose lines do not meet those of the first one: nothing but the neutral joins them to the island."""
    first, *others = island.feeds
    joined = island.feed_lines[first.id]
    while True:
        further = joined
        for feed in others:
            if joined & island.feed_lines[feed.id]:
                further |= island.feed_lines[feed.id]
        if further == joined:
            break
        joined = further
    return tuple(feed.id for feed in others if not joined & island.feed_lines[feed.id])


class Occurrence(NamedTuple):
    """A finding and the cases that it occurs in; what weighs more decides which case is drawn."""

    rule: str
    subject: str
    weight: int
    islands: frozenset[Island]


def drawing(facts: Facts, document: Document, found: tuple[Occurrence, ...] = ()) -> Drawing:
    """Everything that a drawing needs of an installation and of its live islands; every finding is shown in one of its cases."""
    return _Reader(facts, document, found).drawing()


def _electrodes(island: Island) -> tuple[str, ...]:
    """The electrodes of the installation that its references reach through closed conductors; without one, the supplier's."""
    network = island.network
    reached = island.earth_reach({island.earth[reference.pe] for reference in island.references})
    own = tuple(name for name, pe in network.electrodes if island.earth[pe] in reached)
    suppliers = [tie.id for tie in network.ties if tie.kind == "star" and island.earth[tie.pe] in reached]
    return own or tuple(f"that of the supplier {name}" for name in suppliers)


def _groups(facts: Facts, island: Island) -> list[list[Reference]]:
    return island.groups({tie.id: (i,) for i, tie in enumerate(facts.network.ties)})


class _Reader:
    """Reads the parts of an installation as they are written."""

    def __init__(self, facts: Facts, document: Document, found: tuple[Occurrence, ...]) -> None:
        self.found = found
        self.facts = facts
        self.site = facts.installation
        self.document = document
        self.files: dict[str, str] = {}
        self.group_of = {member: group.id for group in self.site.groups for member in group.members}

    def line(self, route: Route) -> int:
        span = span_at(self.document, route, True)
        if span.file and len(route) == 2:
            self.files[str(route[1])] = span.file
        return span.line

    def text(self, route: Route, key: str) -> str:
        node = node_at(self.document, (*route, key))
        return str(node.value) if node is not None and isinstance(node.value, (str, int, float)) else ""

    def texts(self, route: Route, *keys: str) -> tuple[str, ...]:
        return tuple(text for key in keys if (text := self.text(route, key)))

    def drawing(self) -> Drawing:
        site = self.site
        links = tuple(self.link(link, False) for link in site.connections)
        landed = {end.id for link in site.connections for end in (link.start, link.finish)}
        finals = tuple(self.link(circuit.connection, True) for circuit in site.circuits)
        places = (
            *(self.source(source) for source in site.sources),
            *(
                DrawnPlace(
                    board.id,
                    "board",
                    self.texts(board.route, "enclosure"),
                    self.line(board.route),
                    inside=board.inside or "",
                    bars=board.bars,
                    building=board.building or "",
                )
                for board in site.boards
            ),
            *(
                DrawnPlace(
                    changeover.id,
                    "changeover",
                    self.texts(changeover.route, "rating", "drive"),
                    self.line(changeover.route),
                    changeover.id,
                    positions=changeover.positions,
                    prefers=changeover.prefers or "",
                    poles=changeover.poles,
                    building=changeover.building or "",
                )
                for changeover in site.changeovers
            ),
            *(
                DrawnPlace(
                    one.id,
                    "board",
                    (one.kind, *self.texts(one.route, "voltage", "fault-current")),
                    self.line(one.route),
                    bars=("DC+", "DC-"),
                    building=one.building or "",
                )
                for one in site.direct
            ),
            *(
                DrawnPlace(metal.id, "board", tuple(filter(None, (metal.kind,))), self.line(metal.route), bars=("PE",))
                for metal in site.extraneous
                if metal.id in landed
            ),
            *(self.circuit(circuit) for circuit in site.circuits),
        )
        return Drawing(
            places,
            (*links, *finals),
            tuple(self.bond(bond) for bond in site.bonds),
            tuple(self.electrode(electrode) for electrode in site.electrodes),
            tuple(self.monitor(monitor) for monitor in site.monitors),
            tuple(
                DrawnMetal(
                    metal.id,
                    metal.kind or "",
                    (*((metal.id,) if metal.id in landed else ()), *(end.id for end in metal.joins)),
                    self.line(metal.route),
                )
                for metal in site.extraneous
                if metal.joins
            ),
            tuple(
                _state(self.facts, kind, number, island, self.found)
                for number, kind in enumerate(kinds_of_island(self.facts))
                for island in _shown(self.facts.network, kind, self.found)
            ),
            tuple(sorted(self.files.items())),
        )

    # -- parts -----------------------------------------------------------------------------------------------------

    def source(self, source: Source) -> DrawnPlace:
        texts = self.texts(source.route, "earthing", "voltage", "rating")
        if source.kind == "inverter" and source.operation == "grid-following":
            texts = (*texts, "grid-following")
        if source.high_leg:
            texts = (*texts, f"{HIGH_LEG} high leg")
        if source.mounted != "fixed":
            texts = (*texts, source.mounted)
        varies = source.kind != "transformer" or source.winding == "isolating"
        return DrawnPlace(
            source.id,
            source.kind,
            texts,
            self.line(source.route),
            self.group_of.get(source.id, source.id) if varies else "",
            mains_input=source.mains_input,
            neutral_bond=source.neutral_bond,
            neutral_solid=source.mains_input and source.neutral_through == "solid",
            through_when_off=source.mains_input and source.when_off == "through",
            earthing=source.earthing or "",
            high_leg=source.high_leg,
            isolating=source.winding == "isolating",
            follows=source.operation == "grid-following",
            phases=source.phases,
            building=source.building or "",
            inputs=self.inputs(source),
        )

    def inputs(self, source: Source) -> tuple[str, ...]:
        """The terminals of an inverter at which direct current arrives, in the order of `DIRECT_INPUTS`."""
        links = (*self.site.connections, *(circuit.connection for circuit in self.site.circuits))
        landed = {end.terminal for link in links for end in (link.start, link.finish) if end.id == source.id}
        return tuple(name for name in DIRECT_INPUTS if name in landed)  # nothing else has such terminals

    def circuit(self, circuit: Circuit) -> DrawnPlace:
        texts = self.texts(circuit.route, "load")
        if circuit.class_ii:
            texts = (*texts, "class II")
        line = self.line(circuit.route)
        return DrawnPlace(
            circuit.id, "circuit", texts, line, serves=circuit.serves or "", building=circuit.building or ""
        )

    def link(self, link: Connection, circuit: bool) -> DrawnLink:
        route = link.route
        size = self.text(route, "size")
        texts = [
            f"{word} {text}"
            for word, key in (("N", "n-size"), ("PE", "pe-size"))
            if (text := self.text(route, key)) and text != size
        ]
        if link.pe_by and link.pe_by != "core":
            texts.append(f"PE by {link.pe_by}")
        if link.runs and link.runs > 1:
            texts.append(f"{link.runs} runs")
        if link.material and link.material != "copper":
            texts.append(link.material)
        texts.extend(self.texts(route, "length"))
        # which of several inputs it is does not show where the lines meet the symbol
        texts.extend(f"to {end.terminal}" for end in (link.start, link.finish) if end.terminal in DIRECT_INPUTS[1:])
        return DrawnLink(
            link.id,
            circuit,
            link.start.id,
            link.start.terminal,
            link.finish.id,
            link.finish.terminal,
            link.cores,
            link.lands_on,
            size,
            tuple(texts),
            tuple(self.device(link, device) for device in link.devices),
            link.plug,
            self.line(route),
        )

    def device(self, link: Connection, device: Device) -> DrawnDevice:
        route = device.route
        first = " ".join(self.texts(route, "class", "curve", "rating"))
        second = " ".join(self.texts(route, "residual"))
        if second and device.residual_type:
            second += f" type {device.residual_type}"
        if second and device.delay and device.delay != "general":
            second += f" {device.delay}"
        return DrawnDevice(
            device.id or "",
            device.id or f"{link.id}/{device.position + 1}",
            device.kind,
            device.poles,
            device.senses,
            device.normally_open,
            device.operable,
            tuple(text for text in (first, second) if text),
            self.line(route),
        )

    def bond(self, bond: Bond) -> DrawnBond:
        impedance = self.text(bond.route, "impedance")
        texts = (impedance,) if impedance else self.texts(bond.route, "size")
        return DrawnBond(
            bond.id, bond.at.id, bond.at.terminal, bool(bond.closed), impedance, texts, self.line(bond.route)
        )

    def electrode(self, electrode: Electrode) -> DrawnElectrode:
        route = electrode.route
        texts = []
        rods = electrode.rods or (1 if electrode.shape in (None, "rod") and electrode.length_m is not None else 0)
        if rods:
            length = self.text(route, "length")
            texts.append(f"{rods} x {length}" if length else f"{rods} rods" if rods > 1 else "1 rod")
        elif electrode.shape:
            texts.append(electrode.shape)
        texts.extend(self.texts(route, "resistance"))
        texts.extend(self.texts(route, "conductor"))
        return DrawnElectrode(electrode.id, electrode.at.id, tuple(texts), self.line(route))

    def monitor(self, monitor: Monitor) -> DrawnMonitor:
        texts = self.texts(monitor.route, "impedance")
        return DrawnMonitor(monitor.id, monitor.at.id, monitor.at.terminal, texts, self.line(monitor.route))


# -- states -------------------------------------------------------------------------------------------------------------


def _shown(network: Network, kind: KindOfIsland, found: tuple[Occurrence, ...]) -> list[Island]:
    """The cases of a kind that are drawn: one, and more where it cannot show every finding that occurs in the kind."""
    members = frozenset(kind.islands)
    left = [one for one in found if one.islands & members]
    usual = sorted(kind.islands, key=lambda one: _strangeness(network, one))
    chosen: list[Island] = []
    while left or not chosen:
        best = max(
            usual, key=lambda island: sum(one.weight for one in left if island in one.islands)
        )  # the first of them
        chosen.append(best)
        left = [one for one in left if best not in one.islands]
    return chosen


def _state(facts: Facts, kind: KindOfIsland, number: int, island: Island, found: tuple[Occurrence, ...]) -> DrawnState:
    network = facts.network
    drawn = _completed(network, island.state)
    values = tuple(
        (variable.name, variable.values[drawn[i]]) for i, variable in enumerate(network.variables) if drawn[i] >= 0
    )
    free = tuple(variable.name for i, variable in enumerate(network.variables) if drawn[i] >= 0 and island.state[i] < 0)
    seen: dict[int, set[int]] = {}
    for one in kind.islands:
        for i, value in enumerate(one.state):
            seen.setdefault(i, set()).add(value)
    varies = tuple(variable.name for i, variable in enumerate(network.variables) if len(seen[i]) > 1)
    references = tuple(
        DrawnReference(one.id, one.kind, one.at, tuple((tie.id, tie.kind) for tie in one.ties))
        for one in island.references
    )
    bonds = tuple(tie.id for tie in network.ties if tie.kind in ("bond", "internal") and holds(tie.needs, drawn))
    unsettled = tuple(
        tie.id
        for tie in network.ties
        if tie.kind in ("bond", "internal")
        and tie.id not in bonds
        and all(drawn[v] < 0 or mask >> drawn[v] & 1 for v, mask in tie.needs)
    )
    return DrawnState(
        number,
        tuple((one.rule, one.subject) for one in found if island in one.islands),
        kind.sources,
        kind.supplies,
        kind.verdict,
        values,
        free,
        varies,
        _live(island),
        _earthed(island),
        references,
        bonds,
        unsettled,
        *_ways(facts, island),
        _anchors(island),
    )


def _usual(network: Network, i: int) -> str:
    """The value of a variable that one would draw where nothing else is said."""
    variable = network.variables[i]
    site = network.installation
    if variable.kind == "changeover":
        changeover = next(one for one in site.changeovers if one.id == variable.name)
        return changeover.prefers or changeover.positions[0]
    if variable.kind == "inverter":
        return "passing" if "passing" in variable.values else "inverting"
    if variable.kind == "device":
        links = (*site.connections, *(circuit.connection for circuit in site.circuits))
        for link in links:
            for device in link.devices:
                if variable.name in (device.id, f"{link.id}/{device.position + 1}"):
                    return "open" if device.normally_open else "closed"
    return variable.values[0]


def _completed(network: Network, state: State) -> State:
    """The state with positions for the switches that it leaves free, as they usually stand and as interlocks allow."""
    for i, variable in enumerate(network.variables):
        if state[i] >= 0 or variable.kind not in ("device", "changeover", "plug"):
            continue
        # where a switch is free, what lies behind it is judged as it is with the switch closed
        usual = "closed" if variable.kind == "device" else _usual(network, i)
        for value in sorted(range(len(variable.values)), key=lambda v: (variable.values[v] != usual, v)):
            following = (*state[:i], value, *state[i + 1 :])
            if _allowed(network, following):
                state = following
                break
    return state


def _allowed(network: Network, state: State) -> bool:
    """Whether interlocks allow a state, whatever values are still to come."""
    if any(holds(clause, state) for clause in network.never):
        return False
    for clause in network.never:
        if any(state[v] >= 0 and not mask >> state[v] & 1 for v, mask in clause):
            continue
        v = next(v for v, _ in clause if state[v] < 0)
        values = range(len(network.variables[v].values))
        return any(_allowed(network, (*state[:v], value, *state[v + 1 :])) for value in values)
    return True


def _strangeness(network: Network, island: Island) -> tuple[int, int]:
    """How far a case is from what one would draw: contacts between two positions first, then everything that is not as usual."""
    between = unusual = 0
    for i, variable in enumerate(network.variables):
        value = island.value(i)
        if value:
            between += variable.kind == "changeover" and "+" in value
            unusual += value != _usual(network, i)
    return between, unusual


def _live(island: Island) -> tuple[tuple[str, str, str, tuple[str, ...]], ...]:
    network = island.network
    over_lines = island.feed_lines
    over_neutrals = {feed.id: island.neutral_part(feed.neutrals) for feed in island.feeds}
    found = []
    for node, (place, terminal, conductor) in enumerate(network.nodes):
        if island.live >> node & 1:
            parts = over_lines if conductor in LINES else over_neutrals
            found.append((place, terminal, conductor, tuple(feed for feed, part in parts.items() if part >> node & 1)))
    return tuple(found)


def _earthed(island: Island) -> tuple[str, ...]:
    network = island.network
    if island.references:
        labels = island.earth_reach({island.earth[reference.pe] for reference in island.references})
        # in TT the frames have an earth of their own
        own = {island.earth[pe] for _, pe in network.electrodes}
        if not own & labels:
            labels = labels | island.earth_reach(own)
    else:
        labels = island.earth_reach({island.earth[pe] for _, pe in network.electrodes})
    return tuple(
        place
        for node, (place, _, conductor) in enumerate(network.nodes)
        if conductor == "PE" and island.earth[node] in labels
    )


_Way = tuple[str, str, str]
"""An element, its core, and whether the current flows towards its start or its finish."""

_SEEN = 1e-3  # part of the current of a load from which a conductor is said to carry it back
_STRAYS = 1e-4  # and beside the neutral, where the soil is left out; through an impedance to earth it is less


def _ways(facts: Facts, island: Island) -> tuple[tuple[_Way, ...], tuple[_Way, ...]]:
    """How the neutral current of the farthest load goes back to what feeds it: by neutral conductors, and by PE and metal.

    By the impedances of the circuit, the soil left out.  A conductor whose part rests on the contact resistance of a ring is left out.
    """
    network = island.network
    currents = facts.currents_of(island)
    end = farthest_load(island)
    if currents is None or end < 0:
        return (), ()
    flows = InService(currents, loads=False, soil=False).driven(end, source_of(island, end))
    if not flows:
        return (), ()
    (flow, *_), backs, strays = flows, {}, {}
    for number, edge in enumerate(network.edges):
        value = flow.edge(number) if edge.core in ("N", "PEN") else None
        if value is not None and abs(value) > _SEEN:
            backs[edge.element, edge.core] = "finish" if value.real > 0 else "start"
    for edge in network.earth:
        value = flow.element(edge.element, edge.core)
        if value is not None and abs(value) > _STRAYS and (edge.element, edge.core) not in backs:
            strays[edge.element, edge.core] = "finish" if value.real > 0 else "start"
    return tuple((*key, way) for key, way in backs.items()), tuple((*key, way) for key, way in strays.items())


def _anchors(island: Island) -> tuple[tuple[str, str], ...]:
    """The neutral conductors between the sources and the references: element and core."""
    reached = from_sources(island)
    found: dict[tuple[str, str], None] = {}
    for reference in island.references:
        for node in (tie.n for tie in reference.ties):
            while node in reached and reached[node][0] >= 0:
                number, node = reached[node]
                edge = island.network.edges[number]
                found[edge.element, edge.core] = None
    return tuple(found)
