"""A deliberately naive second opinion on the numbers of an installation, for comparison with the facts.

Written from the meaning of the format and from Ohm's and Kirchhoff's laws, sharing no code with the product: it takes the
description as a plain mapping and *one complete assignment* of its variables, writes down every conductor, contact, winding,
bond and electrode of the whole site as a branch (also of what is dead in that state), and solves for the potential of every
node and the current of every branch at once, in one dense complex matrix.  Nothing is merged, cut short or remembered.

A closed contact is a branch of exactly zero ohm.  A contact that lies in parallel with nothing but other contacts carries a
current that the description does not determine; such a current is NaN.

What is not written is a branch with a stand-in of two very different sizes: an answer that changes with it rests on it.

Not covered, and refused: transformers, transient states of a changeover (:class:`naive.Opinion`), changeovers that switch PE.
"""

from __future__ import annotations

import cmath
import itertools
import math
import os
import random
import re
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import networkx as nx

# a thousand small matrices: threads only wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import naive
from naive import LINES, Node, State, words

EARTH: Node = ("mass of earth",)
STAND_INS_OHM = (0.11, 2.1)

# IEC 60228, class 2: highest resistance at 20 C in ohm/km.
COPPER_OHM_KM: dict[float, float] = {
    1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 10: 1.83, 16: 1.15, 25: 0.727, 35: 0.524, 50: 0.387, 70: 0.268,
}  # fmt: skip
ALUMINIUM_OHM_KM: dict[float, float] = {16: 1.91, 25: 1.20, 35: 0.868, 50: 0.641, 70: 0.443}
REACTANCE_OHM_KM = 0.08
ALONE_OHM_KM = 0.3  # a protective conductor that is laid alone
PER_KELVIN = 0.004  # installation practice: 1.20 at 70 C

PREFIXES = {"": 1.0, "k": 1e3, "m": 1e-3, "M": 1e6, "u": 1e-6, "n": 1e-9, "p": 1e-12}


def number(text: Any) -> float:
    """The first number of a quantity, without its unit."""
    found = re.match(r"[0-9.]+", str(text))
    if found is None:
        raise ValueError(text)
    return float(found[0])


def si(text: str, unit: str) -> float:
    """A quantity such as ``1.2 kA`` in its SI unit."""
    value, written = text.split()
    if not written.endswith(unit):
        raise ValueError(text)
    return float(value) * PREFIXES[written[: -len(unit)]]


class Branch(NamedTuple):
    """Something that carries current from ``a`` to ``b``: U(a) - U(b) + emf = z x I."""

    name: tuple[str, ...]
    a: Node
    b: Node
    z_ohm: complex = 0.0
    emf_v: complex = 0.0
    limited_a: complex | None = None  # a source at its limit: the current is known, the voltage is not


class Lacking(NamedTuple):
    """A branch whose impedance is not written."""

    branch: Branch


class Solved:
    """Potentials and currents of a list of branches, and the same with 1 A forced between two nodes."""

    def __init__(self, branches: Sequence[Branch]) -> None:
        self.branches = branches
        nodes = list(dict.fromkeys(n for b in branches for n in (b.a, b.b)))
        if EARTH not in nodes:
            nodes.append(EARTH)
        self.number = {node: i for i, node in enumerate(nodes)}
        self.name = {b.name: i for i, b in enumerate(branches)}
        graph = nx.Graph()
        graph.add_nodes_from(nodes)
        graph.add_edges_from((b.a, b.b) for b in branches)
        # one node of each part is its zero; what no branch ties to the mass of earth has no voltage to it
        self.part: dict[Node, int] = {}
        zeros = []
        for i, nodes_of in enumerate(nx.connected_components(graph)):
            zeros.append(EARTH if EARTH in nodes_of else min(nodes_of))
            self.part.update(dict.fromkeys(nodes_of, i))
        self.undetermined, left_out = self._rings(branches)
        n, size = len(nodes), len(nodes) + len(branches)
        matrix = np.zeros((size, size), dtype=complex)
        self.emf = np.zeros(size, dtype=complex)
        for i, branch in enumerate(branches):
            a, b, row = self.number[branch.a], self.number[branch.b], n + i
            matrix[a, row] += 1  # Kirchhoff's law of currents
            matrix[b, row] -= 1
            if i in left_out:
                matrix[row, row] = 1  # takes no current; see undetermined
                continue
            if branch.limited_a is not None:
                matrix[row, row] = 1
                self.emf[row] = branch.limited_a
                continue
            matrix[row, a] += 1
            matrix[row, b] -= 1
            matrix[row, row] -= branch.z_ohm
            self.emf[row] = -branch.emf_v
        for zero in zeros:
            row = self.number[zero]
            matrix[row, :] = 0
            matrix[row, row] = 1
        self.inverse = np.linalg.inv(matrix)
        self.zeros = {self.number[zero] for zero in zeros}
        self.open = self.inverse @ self.emf

    @staticmethod
    def _rings(branches: Sequence[Branch]) -> tuple[set[int], set[int]]:
        """Branches without impedance that close a ring with others, and those to leave out so that none is left."""
        graph: nx.MultiGraph[Node] = nx.MultiGraph()
        left_out: set[int] = set()
        tree: nx.Graph[Node] = nx.Graph()
        for i, branch in enumerate(branches):
            if branch.z_ohm or branch.limited_a is not None:
                continue
            tree.add_nodes_from((branch.a, branch.b))
            if branch.a == branch.b or nx.has_path(tree, branch.a, branch.b):
                left_out.add(i)
            else:
                tree.add_edge(branch.a, branch.b)
            graph.add_edge(branch.a, branch.b, key=i)
        flat: nx.Graph[Node] = nx.Graph(graph)
        flat.remove_edges_from(nx.selfloop_edges(flat))
        bridges = {frozenset(edge) for edge in nx.bridges(flat)}
        undetermined = {
            i
            for i, b in enumerate(branches)
            if not b.z_ohm
            and b.limited_a is None
            and (b.a == b.b or frozenset((b.a, b.b)) not in bridges or graph.number_of_edges(b.a, b.b) > 1)
        }
        return undetermined, left_out

    def forced(self, into: Node, out_of: Node) -> np.ndarray[Any, Any]:
        """What 1 A that is pushed into one node and drawn from another adds."""
        added = np.zeros(len(self.emf), dtype=complex)
        # Kirchhoff: what leaves by the branches is what is pushed in; the zero of a part takes up whatever is left
        for node, ampere in ((self.number[into], 1), (self.number[out_of], -1)):
            if node not in self.zeros:
                added += ampere * self.inverse[:, node]
        return added

    def joined(self, a: Node, b: Node) -> bool:
        """Whether any branch or chain of branches leads from one node to the other."""
        return a in self.part and b in self.part and self.part[a] == self.part[b]

    def v(self, solution: np.ndarray[Any, Any], a: Node, b: Node) -> complex:
        """Voltage between two nodes; NaN where nothing joins them."""
        if not self.joined(a, b):
            return complex(math.nan)
        return complex(solution[self.number[a]] - solution[self.number[b]])

    def i(self, solution: np.ndarray[Any, Any], name: tuple[str, ...]) -> complex:
        """Current of a branch; NaN where it is not determined, 0 where the branch is not there."""
        if name not in self.name:
            return 0j
        index = self.name[name]
        if index in self.undetermined:
            return complex(math.nan)
        return complex(solution[len(self.number) + index])


class Loop(NamedTuple):
    """An earth fault of no impedance of its own, and what one ampere of it puts on the frame."""

    loop_ohm: float
    prospective_a: float
    angle: complex
    earth: tuple[
        complex, complex
    ]  # to the mass of earth: V before the fault, V for each ampere; NaN where nothing ties it
    met: tuple[complex, complex]  # the same to the main earthing terminal

    def touch_v(self, current_a: float) -> float:
        """Voltage of the frame to the mass of earth."""
        return abs(self.earth[0] + self.earth[1] * current_a * self.angle)

    def touch_met_v(self, current_a: float) -> float:
        """Voltage of the frame to the main earthing terminal."""
        return abs(self.met[0] + self.met[1] * current_a * self.angle)


class Site:
    """One description, and the circuit of any of its states."""

    def __init__(self, description: dict[str, Any]) -> None:
        self.o = naive.Opinion(description)
        self.d = description
        if any("PE" in words(c["poles"]) for c in self.o.changeovers.values()):
            raise ValueError("changeovers that switch PE are not covered")
        self._solved: dict[tuple[Branch, ...], Solved] = {}
        self.frequency_hz = si(description["site"].get("frequency", "50 Hz"), "Hz")
        self.links: dict[str, dict[str, Any]] = {**(description.get("connections") or {}), **self.o.circuits}

    # ---------------------------------------------------------------- sources

    def phasors(self, sid: str) -> dict[str, complex]:
        """EMF of each line of a source against its neutral, in V."""
        source = self.o.sources[sid]
        lines = words(source["phases"])
        written = str(source["voltage"]).split()[0].split("/")
        split = source.get("system") == "split-phase"
        u = float(written[0])
        if source.get("system") == "high-leg":
            # an equilateral triangle, seen from the middle of the side between L1 and L3
            side = float(written[-1])
            corners = {"L1": side / 2, "L2": -1j * math.sqrt(side**2 - (side / 2) ** 2), "L3": -side / 2}
            return {line: complex(corners[line]) for line in lines}
        if len(lines) > 1 and len(written) == 1:
            u /= 2 if split else math.sqrt(3)
        turn = math.pi if split else 2 * math.pi / 3
        return {line: cmath.rect(u, -turn * (int(line[1]) - 1)) for line in lines}

    def nominal_v(self, sid: str) -> float:
        """Rated voltage of a source, line to neutral."""
        return abs(next(iter(self.phasors(sid).values())))

    def limit_a(self, sid: str) -> float | None:
        """The largest current that a generator or inverter holds; None where it is not written (or needs a rating that is not)."""
        source = self.o.sources[sid]
        written = source.get("sustained-fault-current") or source.get("fault-current")
        if source["kind"] == "utility" or not isinstance(written, dict):
            return None
        value, unit = written["limit"].split(maxsplit=1)
        if unit != "x rated":
            return si(written["limit"], "A")
        if "rating" not in source:
            return None
        return float(value) * si(source["rating"], "VA") / self.nominal_v(sid) / len(words(source["phases"]))

    def utility(self, sid: str, state: State, live: bool) -> Iterable[Branch | Lacking]:
        """The star point of a supplier, his earth, and what leads from there to the terminals."""
        o, source = self.o, self.o.sources[sid]
        if state[sid] == "detached":
            return
        star: Node = ("star", sid)
        earthing = source["earthing"]
        loop = si(source["loop-impedance"], "ohm") if "loop-impedance" in source else None
        u = max(abs(e) for e in self.phasors(sid).values())  # the smallest current is that of every line
        fault = source.get("fault-current")
        smallest = si(fault["min"], "A") if isinstance(fault, dict) and "min" in fault else None
        if earthing in ("TT", "IT"):
            line = neutral = u / smallest / 2 if smallest else 0.0 if earthing == "TT" else None
        else:
            if loop is None and smallest and earthing == "TN-C-S":
                loop = u / smallest  # his neutral is his PEN
            line = neutral = None if loop is None else loop / 2
        emf = self.phasors(sid) if live else {}

        def part(name: str, a: Node, b: Node, z: float | None, e: complex = 0) -> Branch | Lacking:
            branch = Branch(("supplier", sid, name), a, b, z or 0, e)
            return Lacking(branch) if z is None else branch

        for core, e in emf.items():
            yield part(core, star, o.node(sid, core), line, e)
        if earthing == "TN-C-S":
            yield part("PEN", star, o.node(sid, "N"), neutral)
            if "PEN" not in o.landing.get(sid, set()):
                yield part("split", o.node(sid, "N"), o.node(sid, "PE"), 0.0)
        else:
            yield part("N", star, o.node(sid, "N"), neutral)
        if earthing == "TN-S":
            yield part("PE", star, o.node(sid, "PE"), neutral)
        if earthing in ("TN-S", "TN-C-S"):
            yield part("earth", star, EARTH, 0.0)
        if earthing == "TT":
            yield part("earth", star, EARTH, None if loop is None or line is None else loop - line)
        if earthing == "IT" and "neutral-impedance" in source:
            yield part("earth", star, EARTH, si(source["neutral-impedance"], "ohm"))

    def winding_ohm(self, sid: str) -> complex | None:
        """Impedance of each winding of a generator or inverter."""
        source = self.o.sources[sid]
        if source["kind"] == "inverter":
            return 0.0
        if source.get("system") == "high-leg":
            return None  # no rule gives the impedance of a winding with a tap
        lines = len(words(source["phases"]))
        if "subtransient-reactance" not in source or "rating" not in source:
            return None
        per_unit = [number(source["subtransient-reactance"]) / 100]
        if lines == 3:  # the halves of a split winding know no sequences
            others = ("negative-sequence-reactance", "zero-sequence-reactance")
            if not all(other in source for other in others):
                return None
            per_unit += [number(source[other]) / 100 for other in others]
        base = lines * self.nominal_v(sid) ** 2 / si(source["rating"], "VA")
        return 1j * base * sum(per_unit) / len(per_unit)

    # ---------------------------------------------------------------- conductors

    def core_ohm(self, link: dict[str, Any], core: str) -> complex | None:
        """Impedance of one core of a connection; None where something is not written."""
        start, finish = link["from"], link.get("to", "")
        boards = self.o.boards
        if "length" not in link:
            inside = start in boards and finish in boards and self.o.enclosure(start) == self.o.enclosure(finish)
            return 0.0 if inside else None
        size = link.get({"N": "n-size", "PE": "pe-size"}.get(core, "size"), link.get("size"))
        if size is None:
            return None
        aluminium = link.get("material") == "aluminium"
        table = ALUMINIUM_OHM_KM if aluminium else COPPER_OHM_KM
        factor = 1 + PER_KELVIN * (number(link.get("insulation", "70 C")) - 20)
        reactance = ALONE_OHM_KM if words(link["cores"]) == ("PE",) else REACTANCE_OHM_KM
        return (
            complex(table[number(size)] * factor, reactance) * number(link["length"]) / 1000 / int(link.get("runs", 1))
        )

    def branches(
        self,
        state: State,
        energised: Iterable[str],
        without: Iterable[str] = (),
        insulation: bool = False,
        loads: bool = False,
    ) -> Iterable[Branch | Lacking]:
        """Every branch of the site in a state; ``without``: electrodes to leave out."""
        o = self.o
        live, out = set(energised), set(without)
        for sid, source in o.sources.items():
            if source["kind"] == "utility":
                yield from self.utility(sid, state, sid in live)
            elif sid in live:
                z = self.winding_ohm(sid)
                for line, e in self.phasors(sid).items():
                    branch = Branch(("winding", sid, line), o.node(sid, "N"), o.node(sid, line), z or 0, e)
                    yield Lacking(branch) if z is None else branch
        for core in o.cores:
            if o.closed(core, state):
                z = self.core_ohm(self.links[core.connection], core.name)
                branch = Branch(("core", core.connection, core.name), core.a, core.b, z or 0)
                yield Lacking(branch) if z is None else branch
        for i, (a, b) in enumerate(o.inner_edges(state)):
            yield Branch(("contact", *a, *b, str(i)), a, b)
        for tie in o.ties(state):
            if tie.kind != "star":
                bond = o.bonds.get(tie.id, {})
                z = 0j
                if "length" in bond:  # cold: nothing but a fault loads it
                    z = complex(COPPER_OHM_KM[number(bond["size"])], REACTANCE_OHM_KM) * number(bond["length"]) / 1000
                yield Branch(("tie", tie.id), tie.n, tie.pe, z)
        for bid, bond in o.bonds.items():
            if "impedance" in bond and o.holds(bond.get("closed"), state):
                yield Branch(
                    ("tie", bid), o.node(bond["at"], "N"), o.node(bond["at"], "PE"), si(bond["impedance"], "ohm")
                )
        for eid, electrode in o.electrodes.items():
            if eid not in out:
                branch = Branch(("electrode", eid), o.node(electrode["at"], "PE"), EARTH)
                if "resistance" in electrode:
                    yield branch._replace(z_ohm=si(electrode["resistance"], "ohm"))
                else:
                    yield Lacking(branch)
        if insulation:
            yield from self.insulation()
        if loads:
            yield from self.loads()

    def metal(self, written: list[Branch | Lacking], beside: tuple[str, ...]) -> list[Lacking]:
        """Extraneous metal, whose impedance nobody writes, where nothing (or no protective conductor) joins its ends anyway.

        In a fault a second way back beside the conductors is not counted on; in service it shares the current of the neutral.
        """
        joined: nx.Graph[Node] = nx.Graph()
        for entry in written:
            branch = entry.branch if isinstance(entry, Lacking) else entry
            if EARTH in (branch.a, branch.b):
                continue
            if not beside or (branch.name[0] in beside and branch.a[0] == branch.b[0] == "PE"):
                joined.add_edge(branch.a, branch.b)
        found = []
        for xid, part in self.o.extraneous.items():
            first, *others = (self.o.node(place, "PE") for place in part["joins"])
            for i, other in enumerate(others):
                joined.add_nodes_from((first, other))
                if not nx.has_path(joined, first, other):
                    joined.add_edge(first, other)
                    found.append(Lacking(Branch(("extraneous", xid, str(i)), first, other)))
        return found

    def insulation(self) -> Iterable[Branch | Lacking]:
        """What ties live conductors to frames without being a fault: leakages, filters, insulation monitors."""
        o = self.o
        nominal = self.phasors(next(iter(o.sources)))
        for cid, circuit in o.circuits.items():
            if "leakage" in circuit:
                for line in LINES:
                    if line in words(circuit["cores"]):
                        z = -1j * abs(nominal[line]) / si(circuit["leakage"], "A")
                        yield Branch(("leakage", cid, line), o.node(cid, line), o.node(cid, "PE"), z)
        for sid, source in o.sources.items():
            if "filter-capacitance" in source:
                z = 1 / (2j * math.pi * self.frequency_hz * si(source["filter-capacitance"], "F"))
                for core in (*words(source["phases"]), "N"):
                    yield Branch(("filter", sid, core), o.node(sid, core), o.node(sid, "PE"), z)
        for mid, monitor in o.monitors.items():
            if "impedance" in monitor:
                z = si(monitor["impedance"], "ohm")
                yield Branch(("monitor", mid), o.node(monitor["at"], "N"), o.node(monitor["at"], "PE"), z)

    def leaking_behind(self, state: State, sources: list[str], rcd: naive.Rcd) -> float:
        """The largest sum of written leakages of some of the circuits that lose their supply without what an RCD sums.

        Equal voltages 120 degrees apart, or opposite, give no more together than the largest line alone; the high leg is in
        quadrature to the other two, of which one counts.
        """
        o = self.o
        sensed = [c for c in o.cores if c.connection == rcd.connection and c.name in rcd.senses]
        whole, rest = o.line_graph(state), o.line_graph(state, without=sensed)
        feeding = [t for s in sources for t in o.terminals(s)]
        by_line = dict.fromkeys(LINES, 0.0)
        for cid, circuit in o.circuits.items():
            for line in LINES:
                end = o.node(cid, line)
                fed = [any(end in g and nx.has_path(g, t, end) for t in feeding) for g in (whole, rest)]
                if "leakage" in circuit and line in words(circuit["cores"]) and fed == [True, False]:
                    by_line[line] += si(circuit["leakage"], "A")
        if o.sources[next(iter(o.sources))].get("system") == "high-leg":
            return math.hypot(max(by_line["L1"], by_line["L3"]), by_line["L2"])
        return max(by_line.values())

    def loads(self) -> Iterable[Branch | Lacking]:
        """What hangs at the ends of the circuits: from each line to N, or between the lines where none comes there.

        With the high leg among several lines it is between them, whether an N comes there or not.
        """
        o = self.o
        first = next(iter(o.sources))
        nominal = self.phasors(first)
        for cid, circuit in o.circuits.items():
            if "load" not in circuit:
                continue
            lines = [c for c in words(circuit["cores"]) if c in LINES]
            high = o.sources[first].get("system") == "high-leg" and "L2" in lines and len(lines) > 1
            ends: list[tuple[Node, Node]] = [(o.node(cid, line), o.node(cid, "N")) for line in lines]
            u = abs(nominal[lines[0]])
            if high or (len(lines) > 1 and "N" not in o.landing.get(cid, set())):
                between = abs(nominal[lines[0]] - nominal[lines[1]])
                if len(lines) == 2:
                    ends, u = [(o.node(cid, lines[0]), o.node(cid, lines[1]))], between
                else:
                    ends, u = [(o.node(cid, line), ("middle of", cid)) for line in lines], between / math.sqrt(3)
            factor = float(circuit.get("power-factor", 1))
            if circuit["load"].endswith("VA"):
                size = u**2 / (si(circuit["load"], "VA") / len(ends))
            elif circuit["load"].endswith("W"):
                size = u**2 * factor / (si(circuit["load"], "W") / len(ends))
            else:
                size = u / si(circuit["load"], "A")
            z = size * complex(factor, math.sqrt(1 - factor**2))
            for number_of, (a, b) in enumerate(ends):
                yield Branch(("load", cid, str(number_of)), a, b, z)

    def studies(self, nodes: set[Node], state: State, energised: list[str], *args: Any, **more: Any) -> list[Solved]:
        """The circuit of an island, once if everything is written, else with stand-ins of two sizes.

        Protective conductors and electrodes are part of it wherever they are, live conductors only where the island is: what the
        neutral of another island adds to the ways back is not counted on.
        """

        def here(entry: Branch | Lacking) -> bool:
            branch = entry.branch if isinstance(entry, Lacking) else entry
            return all(
                n[0] in ("PE", "mass of earth", "middle of") or n in nodes or n in stars for n in (branch.a, branch.b)
            )

        stars: set[Node] = set()
        for sid in self.o.sources:
            neutral = self.o.node(sid, "N")
            if "PE" in self.o.landing.get(sid, set()):  # a supplier's protective conductor leads to his star point
                stars |= {("star", sid), neutral}
            elif neutral in nodes or set(self.o.terminals(sid)) & nodes:
                stars.add(("star", sid))
        written = [entry for entry in self.branches(state, energised, *args, **more) if here(entry)]
        # one star point is the zero; what the soil has between it and a second one is not known
        solid = [
            b
            for b in written
            if isinstance(b, Branch) and b.name[0] == "supplier" and b.name[2] == "earth" and not b.z_ohm
        ]
        solid.sort(key=lambda b: (b.name[1] not in energised, self.o.node(b.name[1], "N") not in nodes))
        written = [entry for entry in written if entry not in solid[1:]]
        written += self.metal(written, ("core",) if "loads" in more else ())
        lacking = any(isinstance(b, Lacking) for b in written)
        result = []
        for step, stand_in in enumerate(STAND_INS_OHM if lacking else STAND_INS_OHM[:1], 2):
            branches = tuple(
                b.branch._replace(z_ohm=stand_in * (1 + i * step % 7 / 10)) if isinstance(b, Lacking) else b
                for i, b in enumerate(written)
            )
            if branches not in self._solved:
                self._solved[branches] = Solved(branches)
            result.append(self._solved[branches])
        return result

    # ---------------------------------------------------------------- islands

    def island(self, state: State, node: Node) -> tuple[set[Node], list[str]]:
        """The live nodes that belong together with one, and the sources that energise them by themselves."""
        o = self.o
        graph = o.live_graph(state)
        nodes: set[Node] = set(nx.node_connected_component(graph, node))
        return nodes, [s for s in o.forming(state) if any(t in nodes for t in o.terminals(s))]

    def beside(self, state: State, nodes: set[Node]) -> set[str]:
        """Electrodes that PE joins to a reference of an island that a TN supplier references: not counted on in a fault."""
        o = self.o
        ties = [t for t in o.ties(state) if t.n in nodes]
        if not any(t.kind == "star" and o.sources[t.id]["earthing"] in ("TN-S", "TN-C-S") for t in ties):
            return set()
        pe = o.pe_graph(state)
        return {
            eid
            for eid, electrode in o.electrodes.items()
            for t in ties
            if t.pe in pe and nx.has_path(pe, o.node(electrode["at"], "PE"), t.pe)
        }

    def met(self, state: State, nodes: set[Node], frame: Node) -> Node | None:
        """The main earthing terminal: a bar for PE alone, else the place of an electrode, else that of the reference.

        A bar or electrode counts that PE joins to a reference of the island, or, where the only one is at the supplier's own
        electrode, to the frame.
        """
        o = self.o
        pe = o.pe_graph(state)
        ties = [t for t in o.ties(state) if t.n in nodes]
        if not ties:
            return None
        ends = [t.pe for t in ties if t.pe in pe]

        def joined(node: Node) -> bool:
            return any(nx.has_path(pe, node, end) for end in ends or [frame])

        bars = [o.node(b, "PE") for b, board in o.boards.items() if words(board.get("bars")) == ("PE",)]
        rods = [o.node(e["at"], "PE") for e in o.electrodes.values()]
        for node in (*bars, *rods):
            if joined(node):
                return node
        return ends[0] if ends else None

    def isolated(self, state: State, nodes: set[Node], sources: list[str]) -> bool:
        """Whether nothing solid ties the neutral of an island to earth, or its sources are declared IT."""
        is_it = all(self.o.sources[s].get("earthing") == "IT" for s in sources)
        return is_it or not any(t.n in nodes for t in self.o.ties(state))

    def driving(self, state: State, sources: list[str]) -> list[str]:
        """The sources that are counted on in a fault: what limits its current adds nothing on the lines of one that does not.

        So an inverter beside a supply or a generator, and a generator beside a supply.
        """
        o = self.o
        lines = o.line_graph(state)
        kinds = {"inverter": ("utility", "transformer", "generator"), "generator": ("utility", "transformer")}

        def counted(source: str) -> bool:
            stronger = kinds.get(o.sources[source]["kind"], ())
            others = [t for s in sources if o.sources[s]["kind"] in stronger for t in o.terminals(s)]
            return not any(nx.has_path(lines, a, b) for a in o.terminals(source) for b in others)

        return [s for s in sources if counted(s)]

    def reaching(self, state: State, sources: list[str], start: Node) -> list[str]:
        """Those of some sources whose lines lead to a line node."""
        lines = self.o.line_graph(state)
        return [s for s in sources if any(nx.has_path(lines, t, start) for t in self.o.terminals(s))]

    def fault_studies(self, state: State, nodes: set[Node], sources: list[str]) -> list[Solved]:
        """The circuit that earth faults of an island meet: no loads; leakages only where there is no other way back."""
        isolated = self.isolated(state, nodes, sources)
        return self.studies(nodes, state, self.driving(state, sources), self.beside(state, nodes), insulation=isolated)

    def frame(self, node: Node) -> Node:
        """The PE node of the equipment that a live node is in."""
        return ("PE", self.o.enclosure(node[1]))

    def fault(self, studies: list[Solved], start: Node, met: Node | None) -> list[Loop | None]:
        """An earth fault from a line node to its frame; one answer for each stand-in, None where nothing leads back."""
        frame = self.frame(start)
        result: list[Loop | None] = []
        for solved in studies:
            if not solved.joined(start, frame):
                result.append(None)
                continue
            open_v = solved.v(solved.open, start, frame)
            driven = solved.forced(frame, start)
            z = -solved.v(driven, start, frame)
            to_earth = (solved.v(solved.open, frame, EARTH), solved.v(driven, frame, EARTH))
            to_met = (complex(math.nan),) * 2
            if met is not None:
                to_met = (solved.v(solved.open, frame, met), solved.v(driven, frame, met))
            current = open_v / z if abs(z) > 1e-12 else complex(math.inf)
            angle = current / abs(current) if 0 < abs(current) < math.inf else 1 + 0j
            result.append(Loop(abs(z), abs(current), angle, to_earth, to_met))
        return result

    def limited_a(self, solved: Solved, start: Node) -> float:
        """What flows into a fault when no source gives more than its limit; NaN where a limit is not written.

        A source above its limit on the line of the fault becomes a source of that current, in phase with what it would give; the
        others then give more.
        """
        at_limit: dict[tuple[str, ...], complex] = {}
        while True:
            branches = [b._replace(limited_a=at_limit.get(b.name)) for b in solved.branches]
            # not quite solid: at the terminals of a source without impedance nothing else would bound it until its limit does
            now = Solved([*branches, Branch(("fault",), start, self.frame(start), 1e-9)])
            more = {}
            for branch in branches:
                if branch.name[0] != "winding" or branch.name[2] != start[-1] or branch.name in at_limit:
                    continue
                current, limit = now.i(now.open, branch.name), self.limit_a(branch.name[1])
                if limit is None:
                    return math.nan
                if abs(current) > limit:
                    more[branch.name] = current / abs(current) * limit
            if not more:
                return abs(now.i(now.open, ("fault",)))
            at_limit |= more

    def service_studies(self, state: State, nodes: set[Node], sources: list[str], loads: bool) -> list[Solved]:
        """The circuit of an island in normal service."""
        return self.studies(nodes, state, sources, insulation=True, loads=loads)


def completions(opinion: naive.Opinion, known: dict[str, str], lot: random.Random) -> Iterable[State]:
    """Every possible state that agrees with some known values: in an order drawn by lot."""
    free = [name for name in opinion.names if name not in known]
    orders = [lot.sample(opinion.variables[name], len(opinion.variables[name])) for name in free]
    closed = [[v for v in order if v in ("closed", "mated")] or order for order in orders]
    for values in itertools.chain(itertools.product(*orders), itertools.product(*closed)):
        chosen = {**known, **dict(zip(free, values, strict=True))}
        state = {name: chosen[name] for name in opinion.names}
        if opinion.possible(state):
            yield state
