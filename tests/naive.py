"""A deliberately naive second opinion on an installation, for comparison with the engine.

Written from the meaning of the format alone and sharing no code with the product: it takes the description as a plain
mapping, tries *every* combination of *every* variable of the site, builds one graph of the live conductors and one of the
protective conductors for each, and asks networkx what is joined to what.  Nothing is merged, cut short or remembered, so
that it is slow and hard to get wrong.

Not covered: transformers, d.c. conductors, transient states of a changeover; a description with one of them is refused.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

import networkx as nx

Node = tuple[str, ...]
State = dict[str, str]
Key = tuple[str, str]

LINES = ("L1", "L2", "L3")


class Core(NamedTuple):
    """One conductor of one connection, between the nodes where it lands."""

    connection: str
    name: str
    a: Node
    b: Node
    switches: tuple[str, ...]  # variables that must be `closed` (or `mated`)
    broken: bool  # open in every state


class Rcd(NamedTuple):
    """A residual current device in the way of a connection."""

    name: str
    connection: str
    senses: tuple[str, ...]
    variable: str | None
    broken: bool
    start: str
    finish: str


class Tie(NamedTuple):
    """A tie of a neutral to earth that is closed in the state at hand."""

    id: str
    kind: str  # bond | internal | star
    n: Node
    pe: Node
    order: int


# Ties in one enclosure are one reference; references that only PEN joins are one group.
Cluster = list[Tie]
Group = list[Cluster]


class Found(NamedTuple):
    """What the second opinion says about one rule and one subject."""

    level: str
    states: frozenset[tuple[str, ...]] | None  # None: no operating state is involved
    root: bool  # False: it follows from another finding in every state


def words(value: Any) -> tuple[str, ...]:
    """The words of a list written with blanks."""
    return tuple(str(value).split()) if value else ()


def yes(value: Any) -> bool:
    """Whether a yes or no of the description says yes."""
    return value is True or value == "yes"


def neutral(core: str) -> str:
    """N and PEN land on one node."""
    return "N" if core == "PEN" else core


class Opinion:
    """Every finding of one description, with every state that it holds in."""

    def __init__(self, description: dict[str, Any]) -> None:
        self.d = description
        self.rulebook: str = description["site"]["rulebook"]
        self.sources: dict[str, dict[str, Any]] = description.get("sources") or {}
        self.boards: dict[str, dict[str, Any]] = {k: v or {} for k, v in (description.get("boards") or {}).items()}
        self.changeovers: dict[str, dict[str, Any]] = description.get("changeovers") or {}
        self.circuits: dict[str, dict[str, Any]] = description.get("circuits") or {}
        self.bonds: dict[str, dict[str, Any]] = description.get("bonds") or {}
        self.electrodes: dict[str, dict[str, Any]] = description.get("electrodes") or {}
        self.monitors: dict[str, dict[str, Any]] = description.get("monitors") or {}
        self.groups: dict[str, dict[str, Any]] = description.get("groups") or {}
        extraneous = description.get("extraneous")
        self.extraneous: dict[str, dict[str, Any]] = extraneous if isinstance(extraneous, dict) else {}
        self.interlocks: list[dict[str, Any]] = description.get("interlocks") or []
        if any(s["kind"] == "transformer" for s in self.sources.values()):
            raise ValueError("transformers are not covered")
        if any(c.get("transition", "open") != "open" for c in self.changeovers.values()):
            raise ValueError("transient states are not covered")
        self.order = {i: n for n, i in enumerate([*self.sources, *self.changeovers, *self.bonds, *self.electrodes])}
        self.group_of = {m: g for g, group in self.groups.items() for m in group["members"]}
        self.cores: list[Core] = []
        self.rcds: list[Rcd] = []
        self.variables: dict[str, tuple[str, ...]] = {}
        self._read_sources_and_changeovers()
        for cid, connection in [*(description.get("connections") or {}).items(), *self.circuits.items()]:
            self._read_connection(cid, connection)
        self.names = tuple(self.variables)
        self.joined = {v: "mated" if "mated" in values else "closed" for v, values in self.variables.items()}
        self.landing: dict[str, set[str]] = {}  # place id -> cores as written that land on it
        self.arriving: dict[str, set[str]] = {}  # the same, only at the `to` end
        for cid, connection in [*(description.get("connections") or {}).items(), *self.circuits.items()]:
            to = connection.get("to", cid)
            for core in words(connection["cores"]):
                self.landing.setdefault(connection["from"].split(".")[0], set()).add(core)
                self.landing.setdefault(to.split(".")[0], set()).add(core)
                self.arriving.setdefault(to.split(".")[0], set()).add(core)

    # ---------------------------------------------------------------- reading

    def _read_sources_and_changeovers(self) -> None:
        for sid, source in self.sources.items():
            if source["kind"] == "utility":
                self.variables[sid] = ("present", "absent", "detached")
            elif source["kind"] == "generator":
                self.variables[sid] = ("running", "standing")
            else:
                name = self.group_of.get(sid, sid)
                self.variables[name] = (
                    ("off", "inverting", "passing") if yes(source.get("mains-input")) else ("off", "inverting")
                )
        for tid, changeover in self.changeovers.items():
            self.variables[tid] = tuple(changeover["positions"])

    def _read_connection(self, cid: str, connection: dict[str, Any]) -> None:
        cores = words(connection["cores"])
        start, finish = connection["from"], connection.get("to", cid)
        lands = connection.get("lands-on") or {}
        switches: dict[str, list[str]] = {c: [] for c in cores}
        broken = dict.fromkeys(cores, False)
        if yes(connection.get("plug")):
            self.variables[cid] = ("mated", "unmated")
            for core in cores:
                switches[core].append(cid)
        for number, device in enumerate(connection.get("through") or [], 1):
            kind = device["kind"]
            lines = tuple(c for c in cores if c in LINES)
            default = lines if kind in ("mcb", "mccb", "fuse") else (*lines, *(c for c in cores if c == "N"))
            if kind == "meter":
                default = ()
            poles = words(device["poles"]) if "poles" in device else default
            name = device.get("id") or f"{cid}/{number}"
            operable = yes(device.get("operable"))
            open_for_ever = device.get("normally") == "open" and not operable
            varies = not open_for_ever and (operable or "N" in poles or "PEN" in poles)
            if varies:
                self.variables[name] = ("open", "closed")
            for pole in poles:
                if varies:
                    switches[pole].append(name)
                if open_for_ever:
                    broken[pole] = True
            if kind in ("rcd", "rcbo"):
                senses = words(device["senses"]) if "senses" in device else tuple(c for c in cores if c != "PE")
                self.rcds.append(Rcd(name, cid, senses, name if varies else None, open_for_ever, start, finish))
        for core in cores:
            a, b = self.node(start, core), self.node(finish, lands.get(core, core))
            self.cores.append(Core(cid, core, a, b, tuple(switches[core]), broken[core]))

    def place(self, end: str) -> tuple[str, str]:
        """Equipment and terminal of an end."""
        equipment, _, terminal = end.partition(".")
        if equipment in self.sources and self.sources[equipment]["kind"] == "inverter" and not terminal:
            terminal = "out"
        return equipment, terminal

    def node(self, end: str, core: str) -> Node:
        """The node that a core lands on; one piece of equipment has one PE node."""
        equipment, terminal = self.place(end)
        if core == "PE":
            return ("PE", self.enclosure(equipment))
        return ("live", equipment, terminal, neutral(core))

    def enclosure(self, equipment: str) -> str:
        """The board whose PE bar a set of bars shares, or the equipment itself."""
        return self.boards.get(equipment, {}).get("inside") or equipment

    def terminals(self, sid: str) -> list[Node]:
        """The line nodes at which a source puts voltage out."""
        return [self.node(sid, line) for line in words(self.sources[sid]["phases"])]

    def inputs(self) -> list[Core]:
        """The cores that land on a mains input."""
        return [c for c in self.cores for n in (c.a, c.b) if n[0] == "live" and n[2] == "in"]

    def declared(self, sid: str) -> str:
        """A source as results name it: inverters that act together go by the name of their group."""
        return self.group_of.get(sid, sid)

    # ---------------------------------------------------------------- operating states

    def all_states(self) -> Iterator[State]:
        """Every combination of every variable, possible or not."""
        for values in itertools.product(*self.variables.values()):
            yield dict(zip(self.names, values, strict=True))

    def possible(self, state: State) -> bool:
        """Whether interlocks and physics allow a state."""
        for interlock in self.interlocks:
            if self.holds(interlock["never"], state):
                return False
        return self.passing_is_fed(state)

    @staticmethod
    def holds(condition: dict[str, Any] | None, state: State) -> bool:
        """Whether every variable of a condition has (one of) the value(s) that it names."""
        named = (condition or {}).items()
        return all(state[variable] in (value if isinstance(value, list) else [value]) for variable, value in named)

    def passing_is_fed(self, state: State) -> bool:
        """An inverter can only pass through what arrives at its input; several in a row start one after the other."""
        waiting = [i for i in self.inverters() if state[self.declared(i)] == "passing"]
        started: list[str] = []
        while waiting:
            lines = self.line_graph(state, started)
            fed = {
                n for s in self.forming(state) for t in self.terminals(s) for n in nx.node_connected_component(lines, t)
            }
            ready = [
                i
                for i in waiting
                if all(
                    any(self.node(f"{m}.in", line) in fed for line in words(self.sources[m]["phases"]))
                    for m in (self.groups[self.group_of[i]]["members"] if i in self.group_of else [i])
                )
            ]
            if not ready:
                return False
            started += ready
            waiting = [i for i in waiting if i not in ready]
        return True

    def inverters(self) -> list[str]:
        """Every inverter."""
        return [i for i, s in self.sources.items() if s["kind"] == "inverter"]

    def follows(self, sid: str) -> bool:
        """Whether a source only works beside one that forms the voltage."""
        return self.sources[sid].get("operation") == "grid-following"

    def live_state(self, sid: str, state: State) -> bool:
        """Whether the state of a source is one in which it gives voltage."""
        return state[self.declared(sid)] in ("present", "running", "inverting")

    def forming(self, state: State) -> list[str]:
        """The sources that give voltage by themselves."""
        return [s for s in self.sources if self.live_state(s, state) and not self.follows(s)]

    # ---------------------------------------------------------------- graphs of one state

    def closed(self, core: Core, state: State) -> bool:
        """Whether a conductor is continuous from end to end."""
        return not core.broken and all(state[v] in ("closed", "mated") for v in core.switches)

    def inner_edges(
        self, state: State, passing: Iterable[str] | None = None, as_pole: str | None = None
    ) -> Iterator[tuple[Node, Node]]:
        """Live paths inside inverters and changeovers; ``as_pole``: a changeover read as if it switched N."""
        for iid in self.inverters():
            source = self.sources[iid]
            if not yes(source.get("mains-input")):
                continue
            value = state[self.declared(iid)]
            through = value == "passing" if passing is None else iid in passing
            through = through or (value == "off" and source.get("when-off") == "through")
            if through:
                for core in (*words(source["phases"]), "N"):
                    yield self.node(f"{iid}.in", core), self.node(f"{iid}.out", core)
            if source.get("neutral-through") == "solid":
                yield self.node(f"{iid}.in", "N"), self.node(f"{iid}.out", "N")
        for tid, changeover in self.changeovers.items():
            poles = {neutral(p) for p in words(changeover["poles"])}
            for position in changeover["positions"]:
                if position == "off":
                    continue
                for core in (*LINES, "N"):
                    switched = core in poles or (core == "N" and tid == as_pole)
                    if not switched or state[tid] == position:
                        yield self.node(tid, core), self.node(f"{tid}.{position}", core)

    def line_graph(self, state: State, passing: Iterable[str] | None = None, without: Iterable[Core] = ()) -> nx.Graph:
        """What the line conductors join, no source's winding included."""
        graph = nx.Graph()
        out = set(without)
        for sid in self.sources:
            graph.add_nodes_from(self.terminals(sid))
        for core in self.cores:
            for node in (core.a, core.b):
                if node[-1] in LINES:
                    graph.add_node(node)
            if core.name in LINES and core not in out and self.closed(core, state):
                graph.add_edge(core.a, core.b)
        for a, b in self.inner_edges(state, passing):
            if a[-1] in LINES:
                graph.add_edge(a, b)
        return graph

    def energised(self, state: State) -> list[str]:
        """The sources that give voltage in a state; a following one only where a forming one reaches its lines."""
        result = self.forming(state)
        lines = self.line_graph(state)
        reach = {n for s in result for t in self.terminals(s) for n in nx.node_connected_component(lines, t)}
        return [
            s
            for s in self.sources
            if s in result or (self.live_state(s, state) and any(t in reach for t in self.terminals(s)))
        ]

    def live_graph(self, state: State, without: Iterable[Core] = (), as_pole: str | None = None) -> nx.Graph:
        """Every live path of a state, windings of energised sources included."""
        graph = nx.Graph()
        out = set(without)
        for sid in self.sources:
            graph.add_nodes_from([*self.terminals(sid), self.node(sid, "N")])
        for core in self.cores:
            if core.name == "PE":
                continue
            graph.add_nodes_from(n for n in (core.a, core.b) if n[0] == "live")
            if core not in out and self.closed(core, state) and core.a[0] == core.b[0] == "live":
                graph.add_edge(core.a, core.b)
        for bond in self.bonds.values():
            graph.add_node(self.node(bond["at"], "N"))
        graph.add_edges_from(self.inner_edges(state, as_pole=as_pole))
        for sid in self.energised(state):
            for terminal in self.terminals(sid):
                graph.add_edge(terminal, self.node(sid, "N"))
        return graph

    def neutral_graph(self, state: State, without: Iterable[Core] = ()) -> nx.Graph:
        """What the neutral conductors join."""
        graph = nx.Graph()
        out = set(without)
        for sid in self.sources:
            graph.add_node(self.node(sid, "N"))
        for core in self.cores:
            if neutral(core.name) == "N":
                graph.add_nodes_from(n for n in (core.a, core.b) if n[0] == "live")
                if core not in out and self.closed(core, state) and core.a[0] == core.b[0] == "live":
                    graph.add_edge(core.a, core.b)
        graph.add_edges_from((a, b) for a, b in self.inner_edges(state) if a[-1] == "N")
        return graph

    def pe_graph(self, state: State, metal: bool = True) -> nx.Graph:
        """What protective conductors and extraneous metal join, or conductors alone; no PEN, no bond, no soil."""
        graph = nx.Graph()
        for equipment in [*self.sources, *self.boards, *self.changeovers, *self.circuits]:
            graph.add_node(self.node(equipment, "PE"))
        for core in self.cores:
            if core.a[0] == core.b[0] == "PE" and self.closed(core, state):
                graph.add_edge(core.a, core.b)
        for part in self.extraneous.values() if metal else ():
            first, *others = part["joins"]
            for other in others:
                graph.add_edge(self.node(first, "PE"), self.node(other, "PE"))
        return graph

    def whatever_is_closed(self, without: Iterable[Core] = (), not_through: str = "") -> nx.Graph:
        """What live conductors can join when every contact is closed, but for some cores and one changeover; no winding."""
        graph = nx.Graph()
        out = set(without)
        for sid in self.sources:
            graph.add_nodes_from([*self.terminals(sid), self.node(sid, "N")])
        for core in self.cores:
            if core.name != "PE" and core.a[0] == core.b[0] == "live":
                graph.add_nodes_from([core.a, core.b])
                if core not in out and not core.broken:
                    graph.add_edge(core.a, core.b)
        for iid in self.inverters():
            if yes(self.sources[iid].get("mains-input")):
                for name in (*LINES, "N"):
                    graph.add_edge(self.node(f"{iid}.in", name), self.node(f"{iid}.out", name))
        for tid, changeover in self.changeovers.items():
            for position in changeover["positions"]:
                for name in (*LINES, "N"):
                    graph.add_nodes_from([self.node(tid, name), self.node(f"{tid}.{position}", name)])
                    if tid != not_through:
                        graph.add_edge(self.node(tid, name), self.node(f"{tid}.{position}", name))
        return graph

    def pen_graph(self, state: State) -> nx.Graph:
        """What PEN conductors alone join."""
        graph = nx.Graph()
        for core in self.cores:
            if core.name == "PEN" and self.closed(core, state):
                graph.add_edge(core.a, core.b)
        carried = {n for c in self.cores if c.name == "PEN" for n in (c.a, c.b)}
        for a, b in self.inner_edges(state):  # the contact of a changeover between two PEN cores carries a PEN
            if a in carried and b in carried and a[1] in self.changeovers:
                graph.add_edge(a, b)
        return graph

    def earth_graph(self, state: State) -> nx.Graph:
        """Protective conductors, PEN conductors, and the closed ties between them."""
        graph = nx.compose(self.pe_graph(state), self.pen_graph(state))
        for tie in self.ties(state):
            if tie.kind != "star":
                graph.add_edge(tie.n, tie.pe)
        return graph

    def ties(self, state: State) -> list[Tie]:
        """Every closed solid tie of a neutral to earth."""
        found: list[Tie] = []
        for sid, source in self.sources.items():
            if source["kind"] == "utility":
                earthing = source["earthing"]
                if state[sid] == "detached" or earthing == "IT":
                    continue
                by_pe = earthing == "TN-S" or (earthing == "TN-C-S" and "PEN" not in self.landing.get(sid, set()))
                side: Node = self.node(sid, "PE") if by_pe else ("supplier", sid)
                found.append(Tie(sid, "star", self.node(sid, "N"), side, self.order[sid]))
                continue
            bond = source.get("neutral-bond", "none")
            if bond == "fixed" or (bond == "while-inverting" and state[self.declared(sid)] == "inverting"):
                found.append(Tie(sid, "internal", self.node(sid, "N"), self.node(sid, "PE"), self.order[sid]))
        for bid, bond in self.bonds.items():
            if "impedance" not in bond and self.holds(bond.get("closed"), state):
                found.append(Tie(bid, "bond", self.node(bond["at"], "N"), self.node(bond["at"], "PE"), self.order[bid]))
        return found

    # ---------------------------------------------------------------- findings

    def findings(self) -> dict[Key, Found]:
        """Every finding of the description."""
        judge = Judge(self)
        for state in self.all_states():
            if self.possible(state):
                judge.look_at(state)
        return judge.conclude()


class Island(NamedTuple):
    """A live island of one state."""

    nodes: set[Node]
    forming: list[str]
    energised: list[str]
    ties: list[Tie]
    clusters: list[Cluster]
    is_it: bool


class Judge:
    """Goes through the states of one description and keeps what it finds."""

    def __init__(self, opinion: Opinion) -> None:
        self.doubtful: set[str] = set()
        self.o = opinion
        self.found: dict[Key, dict[tuple[str, ...], bool]] = {}  # -> state -> whether it is a root cause there
        self.level: dict[Key, str] = {}
        self.still: dict[Key, str] = {}
        self.states = 0
        self.live_places: set[str] = set()
        self.feeding: set[str] = set()
        self.sole: set[str] = set()
        self.several: list[tuple[State, list[Cluster]]] = []
        self.parallel: set[frozenset[str]] = set()
        self.fed_through: set[tuple[str, str]] = set()
        self.final_board: set[tuple[str, str]] = set()
        self.reference_beyond: set[tuple[str, str]] = set()
        self.backfeeds: list[tuple[str, list[str], State]] = []

    def say(self, rule: str, subject: str, state: State, level: str = "error", root: bool = True) -> None:
        """Keep a finding of one state."""
        held = self.found.setdefault((rule, subject), {})
        values = tuple(state.values())
        held[values] = held.get(values, False) or root
        gravest = ("error", "warning", "note")
        self.level[rule, subject] = min(self.level.get((rule, subject), level), level, key=gravest.index)

    def conclude(self) -> dict[Key, Found]:
        """What the states add up to."""
        self.judge_doubles()
        # two sources that can also be found in parallel are one cause, whichever of them is dead
        for dead, feeders, state in self.backfeeds:
            root = not any(frozenset((dead, self.o.declared(s))) in self.parallel for s in feeders)
            self.say("backfeed", dead, state, root=root)
        self.judge_descriptions()
        result = {
            key: Found(self.level[key], frozenset(states), any(states.values())) for key, states in self.found.items()
        }
        for key, level in self.still.items():
            result.setdefault(key, Found(level, None, True))
        return result

    # ---------------------------------------------------------------- one state

    def islands(self, state: State, graph: nx.Graph) -> list[Island]:
        """The live islands that supply something."""
        o = self.o
        forming, energised, ties = o.forming(state), o.energised(state), o.ties(state)
        result = []
        for nodes in nx.connected_components(graph):
            here = [s for s in energised if o.terminals(s)[0] in nodes]
            if not any(s in forming for s in here) or not self.supplied(nodes):
                continue
            mine = [t for t in ties if t.n in nodes]
            clusters: dict[Node, list[Tie]] = {}
            for tie in mine:
                clusters.setdefault(tie.pe, []).append(tie)
            is_it = all(o.sources[s].get("earthing") == "IT" for s in here)
            result.append(Island(nodes, [s for s in here if s in forming], here, mine, list(clusters.values()), is_it))
        return result

    def supplied(self, nodes: Iterable[Node]) -> set[str]:
        """Boards and circuits with a live line among the nodes."""
        return {
            n[1]
            for n in nodes
            if n[0] == "live" and n[-1] in LINES and (n[1] in self.o.boards or n[1] in self.o.circuits)
        }

    def look_at(self, state: State) -> None:
        """Judge one possible state."""
        self.states += 1
        graph = self.o.live_graph(state)
        islands = self.islands(state, graph)
        for island in islands:
            self.live_places |= self.supplied(island.nodes)
            self.feeding |= {self.o.declared(s) for s in island.energised}
            self.reference(state, island)
            self.insulated(state, island)
            self.electrode(state, island)
            self.frames(state, island)
            self.behind_rcds(state, island)
        self.together(state, islands)
        self.splits(state, islands)
        self.inverters_behind_rcds(state, islands)
        self.borrowed(state)

    def reference(self, state: State, island: Island) -> None:
        """neutral-unreferenced, island-reference-borrowed; collects islands with several."""
        o = self.o
        supply_live = any(o.sources[s]["kind"] == "utility" for s in island.energised)
        if not island.ties:
            if not island.is_it and not self.only_borrowed(state, island):
                for sid in island.forming:
                    self.say("neutral-unreferenced", o.declared(sid), state)
            return
        if len(island.clusters) == 1:
            self.sole |= {t.id for t in island.ties}
        if len(island.clusters) > 1:
            self.several.append((state, island.clusters))
        if supply_live or island.is_it:
            return
        own = [t for t in island.ties if t.kind != "star"]
        if not own:
            level = {"nec": "warning", "as-nzs": "note"}.get(self.o.rulebook, "error")
            for sid in island.forming:
                self.say("island-reference-borrowed", o.declared(sid), state, level)

    def electrode(self, state: State, island: Island) -> None:
        """electrode-missing: an island left alone has to reach an electrode of the installation by its reference."""
        o = self.o
        if island.is_it or any(o.sources[s]["kind"] == "utility" for s in island.energised):
            return
        if not any(o.sources[s].get("mounted", "fixed") == "fixed" for s in island.energised):
            return
        earth = o.earth_graph(state)
        rods = [o.node(e["at"], "PE") for e in o.electrodes.values()]
        own = [t.pe for t in island.ties if t.kind != "star"]
        for sid in island.forming:
            # without an own reference the frame is all that could be earthed; that it is not then follows from the lack of one
            frames = [o.node(m, "PE") for m in o.groups.get(o.declared(sid), {"members": [sid]})["members"]]
            if not any(rod in nx.node_connected_component(earth, end) for rod in rods for end in own or frames):
                self.say("electrode-missing", o.declared(sid), state, root=bool(own))

    def only_borrowed(self, state: State, island: Island) -> bool:
        """Whether the reference that a detached supply takes away was the supplier's: another rule judges that."""
        o = self.o
        twin = {v: "absent" if value == "detached" else value for v, value in state.items()}
        if twin == state:
            return False
        graph = o.live_graph(twin)
        kinds = {
            tie.kind for tie in o.ties(twin) for sid in island.forming if nx.has_path(graph, tie.n, o.terminals(sid)[0])
        }
        return kinds == {"star"}

    def group(self, state: State, clusters: list[Cluster]) -> list[Group]:
        """Reference groups: what PEN alone joins, and no protective conductor beside it, is one."""
        pen, pe = self.o.pen_graph(state), self.o.pe_graph(state)

        def joined(graph: nx.Graph, a: Node, b: Node) -> bool:
            return a in graph and b in graph and nx.has_path(graph, a, b)

        groups: list[Group] = []
        for cluster in sorted(clusters, key=lambda c: self.worth([c]), reverse=True):
            for group in groups:
                by_pen = any(a.n == b.n or joined(pen, a.n, b.n) for a in cluster for other in group for b in other)
                if by_pen and not any(joined(pe, cluster[0].pe, other[0].pe) for other in group):
                    group.append(cluster)
                    break
            else:
                groups.append([cluster])
        return groups

    def insulated(self, state: State, island: Island) -> None:
        """it-bonded, it-without-monitor."""
        if not island.is_it:
            return
        for tie in island.ties:
            if tie.kind != "star":
                self.say("it-bonded", tie.id, state)
            else:  # the supply is absent, but its star point is still there
                for sid in island.forming[:1]:
                    self.say("it-bonded", self.o.declared(sid), state)
        watching = [
            m
            for m, monitor in self.o.monitors.items()
            if any(self.o.node(monitor["at"], core) in island.nodes for core in (*LINES, "N"))
        ]
        if not watching:
            for sid in island.forming:
                self.say("it-without-monitor", self.o.declared(sid), state)
        for monitor in watching[1:]:
            self.say("it-without-monitor", monitor, state)

    def frames(self, state: State, island: Island) -> None:
        """pe-missing: every frame that can become live has a protective path back; a pipe is none."""
        o = self.o
        pe = o.pe_graph(state, metal=False)
        frames = sorted(
            {
                o.enclosure(n[1])
                for n in island.nodes
                if n[-1] in LINES and not (n[1] in o.sources and o.sources[n[1]]["kind"] == "utility")
            }
        )
        frames = [
            f for f in frames if (o.boards.get(f) or o.circuits.get(f) or {}).get("equipment", "class-I") == "class-I"
        ]
        ends = [t.pe for t in island.ties] + [o.node(e["at"], "PE") for e in o.electrodes.values()]
        for frame in frames:
            reach = nx.node_connected_component(pe, o.node(frame, "PE"))
            if any(end in reach for end in ends):
                continue
            # IT, and what floats (which is a finding of its own): frames joined to each other show no voltage apart
            if not island.ties and all(o.node(f, "PE") in reach for f in frames):
                continue
            self.say("pe-missing", frame, state)

    def behind_rcds(self, state: State, island: Island) -> None:
        """bond-behind-rcd, for each energised source that feeds through the device."""
        o = self.o
        lines = o.line_graph(state)
        for _rcd, sensed in self.closed_rcds(state):
            rest = o.live_graph(state, without=sensed)
            # what only follows brings no voltage of its own that a reference would serve; a group is one source
            for name in {o.declared(s) for s in island.forming}:
                ends = [t for s in island.forming if o.declared(s) == name for t in o.terminals(s)]
                mine = {n for t in ends for n in nx.node_connected_component(rest, t)}
                reached = {n for t in ends for n in nx.node_connected_component(lines, t)}
                if not any(c.a in reached for c in sensed if c.name in LINES):
                    continue
                for tie in island.ties:
                    if tie.kind != "star" and tie.n not in mine:
                        self.say("bond-behind-rcd", tie.id, state)

    def closed_rcds(self, state: State) -> list[tuple[Rcd, list[Core]]]:
        """RCDs that are closed and pass a line, with the cores that they sum."""
        result = []
        for rcd in self.o.rcds:
            sensed = [c for c in self.o.cores if c.connection == rcd.connection and c.name in rcd.senses]
            if any(c.name in LINES and self.o.closed(c, state) for c in sensed):
                result.append((rcd, sensed))
        return result

    def together(self, state: State, islands: list[Island]) -> None:
        """sources-in-parallel, backfeed, inverter-feeds-itself, infeed-behind-rcd: what the lines join."""
        o = self.o
        lines = o.line_graph(state)
        energised = [s for s in o.sources if any(s in island.energised for island in islands)]
        reach = {s: {n for t in o.terminals(s) for n in nx.node_connected_component(lines, t)} for s in o.sources}
        for a, b in itertools.combinations(energised, 2):
            if o.declared(a) == o.declared(b) or not any(t in reach[a] for t in o.terminals(b)):
                continue
            if o.follows(a) or o.follows(b) or self.may(a, b) or self.may(b, a):
                continue
            later = max((a, b), key=lambda s: (o.sources[s]["kind"] != "utility", o.order[s]))
            self.say("sources-in-parallel", o.declared(later), state)
            self.parallel.add(frozenset((o.declared(a), o.declared(b))))
        for dead in o.sources:
            if state.get(dead) not in ("absent", "standing"):
                continue
            # what only follows is there because another source feeds these conductors already
            feeders = [s for s in energised if not o.follows(s) and any(t in reach[s] for t in o.terminals(dead))]
            if feeders:
                self.backfeeds.append((dead, feeders, state))
        for iid in o.inverters():
            if not yes(o.sources[iid].get("mains-input")) or state[o.declared(iid)] != "inverting":
                continue
            if any(o.node(f"{iid}.in", line) in reach[iid] for line in words(o.sources[iid]["phases"])):
                self.say("inverter-feeds-itself", o.declared(iid), state)
        self.infeeds(state, energised)

    def may(self, a: str, b: str) -> bool:
        """Whether a source says that it may run beside another."""
        allowed = self.o.sources[a].get("may-parallel") or []
        return b in allowed or self.o.declared(b) in allowed

    def infeeds(self, state: State, energised: list[str]) -> None:
        """infeed-behind-rcd: a source on the load side, another at the entry of the board."""
        o = self.o
        cuts = [
            (rcd.start, rcd.connection, [c for c in sensed if c.name in LINES], True)
            for rcd, sensed in self.closed_rcds(state)
        ]
        for cid, circuit in o.circuits.items():
            cuts.append((circuit["from"], cid, [c for c in o.cores if c.connection == cid and c.name in LINES], False))
        for entry, _cid, cut, loads_wanted in cuts:
            if entry.split(".")[0] not in o.boards:
                continue
            rest = o.line_graph(state, without=cut)
            for core in cut:
                if not o.closed(core, state):
                    continue
                upper, lower = nx.node_connected_component(rest, core.a), nx.node_connected_component(rest, core.b)
                if core.b in upper:
                    continue
                if not any(t in upper for s in energised for t in o.terminals(s)):
                    continue
                if loads_wanted and not any(n[1] in o.circuits for n in lower):
                    continue
                # what comes out of an inverter that passes through is the infeed of that inverter
                straight = nx.node_connected_component(
                    o.line_graph(state, passing=None, without=[*cut, *o.inputs()]), core.b
                )
                for sid in energised:
                    if o.sources[sid]["kind"] != "utility" and any(t in straight for t in o.terminals(sid)):
                        self.say("infeed-behind-rcd", o.declared(sid), state)

    def electrodes(self) -> None:
        """electrodes-not-joined: what no conductor joins, whatever is closed or plugged in."""
        o = self.o
        ids = list(o.electrodes)
        earth = nx.Graph()
        earth.add_nodes_from(o.node(e["at"], "PE") for e in o.electrodes.values())
        earth.add_edges_from((c.a, c.b) for c in o.cores if c.name in ("PE", "PEN") and not c.broken)
        for bond in o.bonds.values():
            if "impedance" not in bond and not bond.get("closed"):  # a relay joins nothing for certain
                earth.add_edge(o.node(bond["at"], "N"), o.node(bond["at"], "PE"))
        for sid, source in o.sources.items():
            if source.get("neutral-bond") == "fixed":
                earth.add_edge(o.node(sid, "N"), o.node(sid, "PE"))
        for part in o.extraneous.values():
            earth.add_edges_from((o.node(part["joins"][0], "PE"), o.node(end, "PE")) for end in part["joins"][1:])
        for number, eid in enumerate(ids):
            at = o.electrodes[eid]["at"]
            # frames in different buildings are not touched together; one earlier electrode that it is joined to will do
            near = [
                end
                for end in (o.electrodes[e]["at"] for e in ids[:number])
                if None in (houses := {self.building(end), self.building(at)}) or len(houses) == 1
            ]
            if near and not any(nx.has_path(earth, o.node(end, "PE"), o.node(at, "PE")) for end in near):
                self.still["electrodes-not-joined", eid] = "error"

    def building(self, end: str) -> str | None:
        """The building that a place names."""
        equipment = end.split(".")[0]
        for parts in (self.o.sources, self.o.boards, self.o.changeovers, self.o.circuits):
            if equipment in parts:
                value = parts[equipment].get("building")
                return str(value) if value is not None else None
        return None

    def splits(self, state: State, islands: list[Island]) -> None:
        """bond-missing-at-pen-split, for boards whose neutral belongs to a live island."""
        o = self.o
        for island in islands:
            # a bond that an open device cuts off from the board's neutral joins nothing there
            closed = {o.enclosure(t.n[1]) for t in island.ties if t.kind == "bond"}
            for bid in o.boards:
                if "PEN" not in o.arriving.get(bid, set()) or o.node(bid, "N") not in island.nodes:
                    continue
                whole = {b for b in o.boards if o.enclosure(b) == o.enclosure(bid)}
                if any("PE" in o.landing.get(b, set()) for b in whole) and o.enclosure(bid) not in closed:
                    self.say("bond-missing-at-pen-split", bid, state)

    def inverters_behind_rcds(self, state: State, islands: list[Island]) -> None:
        """inverter-fed-behind-rcd: collects which device feeds a mains input, and what lies beyond it in island operation."""
        o = self.o
        lines, energised = o.line_graph(state), o.energised(state)
        for iid in o.inverters():
            if not yes(o.sources[iid].get("mains-input")):
                continue
            inputs = [o.node(f"{iid}.in", line) for line in words(o.sources[iid]["phases"])]
            inputs = [i for i in inputs if i in lines]
            others = [t for s in energised if s != iid for t in o.terminals(s)]
            for rcd, sensed in self.closed_rcds(state):
                key = (iid, rcd.name)
                rest = o.line_graph(state, without=sensed)
                others = [t for t in others if any(nx.has_path(lines, i, t) for i in inputs)]
                fed = [i for i in inputs if any(nx.has_path(lines, i, t) for t in others)]
                if fed and not any(nx.has_path(rest, i, t) for i in fed for t in others):
                    self.fed_through.add(key)
                    behind = {
                        n[1]
                        for n in lines
                        if n[1] in o.circuits
                        and n[-1] in LINES
                        and n in rest
                        and any(nx.has_path(lines, n, t) for t in others)
                        and not any(nx.has_path(rest, n, t) for t in others)
                    }
                    before = {
                        n[1]
                        for n in lines
                        if n[1] in o.circuits and n[-1] in LINES and any(nx.has_path(rest, n, t) for t in others)
                    }
                    # what hangs on the inverter while it leads through is no circuit of the board before it
                    value = state[o.declared(iid)]
                    through = value == "passing" or (value == "off" and o.sources[iid].get("when-off") == "through")
                    if behind and before and not through:
                        self.final_board.add(key)
                for island in islands:
                    if iid not in island.energised:
                        continue
                    mine = nx.node_connected_component(o.live_graph(state, without=sensed), o.terminals(iid)[0])
                    own = [t for t in island.ties if t.kind != "star"]
                    if own and not any(t.n in mine for t in own):
                        self.reference_beyond.add(key)

    def borrowed(self, state: State) -> None:
        """neutral-borrowed: line and neutral of a circuit behind different devices, or in another circuit's cable."""
        o = self.o
        lines, backs = o.line_graph(state), o.neutral_graph(state)
        for cid in o.circuits:
            ends = [c.b for c in o.cores if c.connection == cid and c.name in LINES]
            back = o.node(cid, "N")
            if not ends or back not in {n for c in o.cores for n in (c.a, c.b)}:
                continue
            line = ends[0]
            if len(ends) == 1:
                feeders = [s for s in o.energised(state) if any(nx.has_path(lines, line, t) for t in o.terminals(s))]
                ways = [s for s in feeders if back in backs and nx.has_path(backs, back, o.node(s, "N"))]
                if feeders and not ways:
                    self.say("neutral-borrowed", cid, state)
            if back not in backs:
                continue
            # another connection may bring further lines to the end of a circuit; each has to go one way with the neutral
            for hot in [o.node(cid, name) for name in LINES if o.node(cid, name) in lines]:
                feeding = [s for s in o.energised(state) if self.fed_by(s, hot, back, lines, backs)]
                for _rcd, sensed in self.closed_rcds(state):
                    line_rest, back_rest = o.line_graph(state, without=sensed), o.neutral_graph(state, without=sensed)
                    with_line = any(nx.has_path(line_rest, hot, t) for s in feeding for t in o.terminals(s))
                    if feeding and with_line != any(nx.has_path(back_rest, back, o.node(s, "N")) for s in feeding):
                        self.say("neutral-borrowed", cid, state)
            feeding = [s for s in o.energised(state) if self.fed_by(s, line, back, lines, backs)]
            for other in o.circuits:
                cut = [c for c in o.cores if c.connection == other]
                line_rest, back_rest = o.line_graph(state, without=cut), o.neutral_graph(state, without=cut)
                for sid in feeding:
                    with_line = any(nx.has_path(line_rest, line, t) for t in o.terminals(sid))
                    if other != cid and with_line and not nx.has_path(back_rest, back, o.node(sid, "N")):
                        self.say("neutral-borrowed", cid, state)

    def fed_by(self, sid: str, line: Node, back: Node, lines: nx.Graph, backs: nx.Graph) -> bool:
        """Whether a source feeds a line and the neutral beside it has a way back to it."""
        o = self.o
        return any(nx.has_path(lines, line, t) for t in o.terminals(sid)) and nx.has_path(backs, back, o.node(sid, "N"))

    # ---------------------------------------------------------------- over all states

    def judge_doubles(self) -> None:
        """neutral-bonded-twice and, where a solid neutral is its cause, changeover-neutral-solid."""
        o = self.o
        solid = [t for t in o.changeovers if self.has_solid_neutral(t)]
        # what is too many beside a reference that must stay is the one to name wherever it is too many
        doubtful: set[str] = set()
        for state, clusters in self.several:
            kept, *surplus = sorted(self.group(state, clusters), key=self.worth, reverse=True)
            if any(self.worth(kept)[:2]) or any(self.needed(cluster) for cluster in kept):
                doubtful.update(
                    t.id
                    for group in surplus
                    for cluster in group
                    for t in cluster
                    if t.kind != "star" and not self.at_split([t]) and not self.needed([t])
                )
        self.doubtful = doubtful
        explained: dict[str, list[tuple[State, list[str]]]] = {}
        for state, clusters in self.several:
            kept, *surplus = sorted(self.group(state, clusters), key=self.worth, reverse=True)
            for group in surplus:
                causes = []
                for tid in solid:
                    switched = o.live_graph(state, as_pole=tid)
                    if not any(
                        nx.has_path(switched, a.n, b.n) for one in group for a in one for other in kept for b in other
                    ):
                        causes.append(tid)
                explained.setdefault(self.too_much(group), []).append((state, causes))
        for subject, cases in explained.items():
            # a changeover is the cause of a double bond only if there is none without its help
            caused = all(causes for _, causes in cases)
            for state, causes in cases:
                self.say("neutral-bonded-twice", subject, state, root=not caused)
                for tid in causes:
                    self.say("changeover-neutral-solid", tid, state, root=caused)
        tn = not any(s["kind"] == "utility" and s["earthing"] in ("TT", "IT") for s in o.sources.values())
        for tid in solid:
            warned = o.rulebook in ("iec", "bs7671") and tn and self.different_sources(tid)
            if warned and ("changeover-neutral-solid", tid) not in self.found:
                self.still["changeover-neutral-solid", tid] = "warning"

    def has_solid_neutral(self, tid: str) -> bool:
        """Whether N comes to two inputs of a changeover that does not switch it."""
        changeover = self.o.changeovers[tid]
        if {"N", "PEN"} & set(words(changeover["poles"])):
            return False
        sides = {n for c in self.o.cores for n in (c.a, c.b) if n[0] == "live" and n[1] == tid and n[-1] == "N"}
        return len({n for n in sides if n[2]}) >= 2

    def at_split(self, cluster: Cluster) -> bool:
        """Whether a reference is a bond where a PEN arrives."""
        o = self.o
        split = {o.enclosure(b) for b in o.boards if "PEN" in o.arriving.get(b, set())}
        return any(t.kind == "bond" and o.enclosure(t.n[1]) in split for t in cluster)

    def needed(self, cluster: Cluster) -> bool:
        """Whether a reference is the only one of its island in some state."""
        return any(t.kind != "star" and t.id in self.sole for t in cluster)

    @staticmethod
    def internal(cluster: Cluster) -> bool:
        """Whether a bond inside a source is (part of) a reference."""
        return any(t.kind == "internal" for t in cluster)

    def good(self, cluster: Cluster) -> bool:
        """Whether a reference is nowhere too many beside one that must stay."""
        return any(t.id not in self.doubtful for t in cluster)

    def worth(self, group: Group) -> tuple[bool, bool, bool, bool, bool, int]:
        """How much a group of references deserves to be the one that stays."""
        return (
            any(t.kind == "star" for cluster in group for t in cluster),
            any(self.at_split(cluster) for cluster in group),
            any(self.good(cluster) for cluster in group),
            any(self.needed(cluster) for cluster in group),
            any(self.internal(cluster) for cluster in group),
            -min(t.order for cluster in group for t in cluster),
        )

    def too_much(self, group: Group) -> str:
        """The member of a surplus group that a finding names, by its first bond."""
        worst = max(
            group,
            key=lambda c: (
                any(t.kind != "star" for t in c),  # a supplier's star point is nobody's to remove
                not self.at_split(c),
                not self.good(c),
                not self.needed(c),
                not self.internal(c),
                min(t.order for t in c),
            ),
        )
        return min(worst, key=lambda t: (t.kind != "bond", t.order)).id

    def judge_descriptions(self) -> None:
        """pe-switched, pen-switched, changeover-neutral-switched, never-energised, nothing-supplied."""
        o = self.o
        for cid, connection in [*(o.d.get("connections") or {}).items(), *o.circuits.items()]:
            for device in connection.get("through") or []:
                for pole, rule in (("PE", "pe-switched"), ("PEN", "pen-switched")):
                    if pole in words(device.get("poles")):
                        self.still[rule, device.get("id") or cid] = "error"
        for tid, changeover in o.changeovers.items():
            poles = words(changeover["poles"])
            if "PE" in poles:
                self.still["pe-switched", tid] = "error"
            if "PEN" in poles or ("N" in poles and "PEN" in o.landing.get(tid, set())):
                self.still["pen-switched", tid] = "error"
            if o.rulebook == "as-nzs" and "N" in poles and self.supply_neutral_lands(tid):
                self.still["changeover-neutral-switched", tid] = "error"
        self.electrodes()
        for iid, _rcd in self.fed_through & (self.final_board | self.reference_beyond):
            self.still["inverter-fed-behind-rcd", o.declared(iid)] = "error"
        for place in [*o.boards, *o.circuits]:
            lands = o.landing.get(place, set()) | set(words(o.boards.get(place, {}).get("bars")))
            if (not lands or lands & set(LINES)) and place not in self.live_places:
                self.still["never-energised", place] = "warning"
        for sid in o.sources:
            if o.declared(sid) not in self.feeding:
                self.still["nothing-supplied", o.declared(sid)] = "warning"

    def different_sources(self, tid: str) -> bool:
        """Whether more than one source can come to the inputs of a changeover."""
        o = self.o
        graph = o.whatever_is_closed(not_through=tid)
        sides = [o.node(f"{tid}.{p}", c) for p in o.changeovers[tid]["positions"] for c in (*LINES, "N")]
        coming = {
            o.declared(s)
            for s in o.sources
            if any(nx.has_path(graph, side, end) for side in sides for end in (*o.terminals(s), o.node(s, "N")))
        }
        return len(coming) > 1

    def supply_neutral_lands(self, tid: str) -> bool:
        """Whether the neutral of a utility comes to a changeover, by whatever way can be closed."""
        graph = nx.Graph()
        for core in self.o.cores:
            if neutral(core.name) == "N" and not core.broken:
                graph.add_edge(core.a, core.b)
        for iid in self.o.inverters():
            graph.add_edge(self.o.node(f"{iid}.in", "N"), self.o.node(f"{iid}.out", "N"))
        for other, changeover in self.o.changeovers.items():
            if other != tid:
                for position in changeover["positions"]:
                    graph.add_edge(self.o.node(other, "N"), self.o.node(f"{other}.{position}", "N"))
        inputs = [self.o.node(f"{tid}.{p}", "N") for p in self.o.changeovers[tid]["positions"]]
        return any(
            self.o.node(sid, "N") in graph and i in graph and nx.has_path(graph, i, self.o.node(sid, "N"))
            for sid, source in self.o.sources.items()
            if source["kind"] == "utility"
            for i in inputs
        )


def second_opinion(description: dict[str, Any]) -> dict[Key, Found]:
    """Every (rule, subject) of a description, with its level and the states in which it holds."""
    return Opinion(description).findings()


def count_combinations(description: dict[str, Any]) -> int:
    """How many combinations of variables a description has, possible or not."""
    count = 1
    for values in Opinion(description).variables.values():
        count *= len(values)
    return count
