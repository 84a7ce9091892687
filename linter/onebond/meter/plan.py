"""What to measure in which state: dead tests first, then at each visit what only there can be seen."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import NamedTuple

from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.circuit.limits_table import touch_limit_v
from onebond.meter.measurements import LINE_TO_N, Measurement, Site
from onebond.meter.plant import Plant
from onebond.meter.visits import Visit, Visits, feeds_of, held, sides, visits
from onebond.model import LINES
from onebond.network import Feed, Rcd, frame_of
from onebond.states import State, holds, reach

DEAD = 0
"""The number of the visit at which everything is switched off."""


class Entry(NamedTuple):
    """One measurement of the plan; ``visit`` counts from 1, the dead tests are 0."""

    visit: int
    state: State
    measurement: Measurement


class Note(NamedTuple):
    """Why something at a visit is not measured, or how it has to be."""

    visit: int
    kind: str  # `live-ahead` | `no-pe` | `lift` | `it-rcd` | `5x`
    at: str
    by: str = ""


class Plan(NamedTuple):
    """All measurements, in the order in which they are done, and what has to be said of them."""

    visits: Visits
    entries: tuple[Entry, ...]
    notes: tuple[Note, ...]
    beside: tuple[Entry, ...]  # of which no reading is kept: at what none can name yet, or what only compares


def plan(plant: Plant) -> Plan:
    """What to measure at a site."""
    found = visits(plant)
    planner = _Planner(plant)
    entries = [Entry(DEAD, plant.dead, measure) for measure in planner.dead()]
    for number, visit in enumerate(found.visits, 1):
        entries += [Entry(number, visit.state, measure) for measure in planner.live(number, visit)]
    return Plan(found, tuple(entries), tuple(dict.fromkeys(planner.notes)), (*planner.frames(), *planner.beside))


class _Planner:
    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.site = Site(plant)
        self.network = plant.network
        self.boards = [board.id for board in plant.site.boards]
        self.circuits = [circuit.id for circuit in plant.site.circuits]
        self.notes: list[Note] = []
        self.beside: list[Entry] = []
        self._looped: set[str] = set()
        self._compared: set[int] = set()
        self._seen: set[str] = set()
        self._tried: set[tuple[str, frozenset[int], frozenset[int]]] = set()
        self._clamped: set[str] = set()
        self._guarded = frozenset(self._behind_rcds())

    @cached_property
    def _loaded(self) -> frozenset[str]:
        """The final circuits whose load is written."""
        return frozenset(one.id for one in self.plant.site.circuits if one.load_w or one.load_va or one.load_a)

    def _behind_rcds(self) -> Iterator[str]:
        """The circuits that an RCD of their own, or one at their set of bars, sums."""
        summed = {rcd.connection for rcd in self.network.rcds}
        bars = {link.finish.id for link in self.plant.site.connections if link.id in summed}
        for circuit in self.plant.site.circuits:
            if circuit.id in summed or circuit.connection.start.id in bars:
                yield circuit.id

    # -- dead ------------------------------------------------------------------------------------------------------

    def terminals(self) -> dict[int, str]:
        """Where continuity is measured from, for each piece of metal: an earth bar, else the place of an electrode, of a bond, a board.

        What only the soil joins has no continuity: the frames of another building with a rod of its own are measured from there.
        """
        site = self.plant.site
        bars = [board.id for board in site.boards if board.bars == ("PE",)]
        earthed = [frame_of(site, end.id) for end in (*(e.at for e in site.electrodes), *(b.at for b in site.bonds))]
        found: dict[int, str] = {}
        for place in (*bars, *earthed, *(frame_of(site, board) for board in self.boards)):
            node = self.site.node(place, "PE")
            if node >= 0:
                found.setdefault(self._metal[node], place)
        return found

    @cached_property
    def _metal(self) -> list[int]:
        """The piece of metal that each node belongs to, with everything switched off: nodes of one piece have one number."""
        above = list(range(len(self.network.nodes)))

        def top(node: int) -> int:
            while above[node] != node:
                node = above[node]
            return node

        for edge in self.network.earth:
            if holds(edge.needs, self.plant.dead):
                above[top(edge.a)] = top(edge.b)
        return [top(node) for node in range(len(above))]

    def dead(self) -> Iterator[Measurement]:
        """Continuity of each protective conductor, insulation, N to PE at each neutral bar, electrodes."""
        terminals = self.terminals()
        for part in self.network.parts:
            node = self.site.node(part.id, "PE")
            start = terminals.get(self._metal[node]) if node >= 0 else None
            if start and part.id != start and node != self.site.node(start, "PE"):
                yield Measurement("continuity", start, part.id)
        yield from self._insulation()
        for place in self._neutral_bars():
            if place not in self._ahead:
                yield Measurement("tie", place, "N-PE")
        for electrode in self.plant.site.electrodes:
            yield Measurement("electrode", electrode.id)

    def frames(self) -> Iterator[Entry]:
        """Continuity to the frames of batteries and arrays."""
        terminals = self.terminals()
        for source in self.plant.site.direct:
            node = self.site.node(source.id, "PE")
            start = terminals.get(self._metal[node]) if node >= 0 else None
            if start and not source.class_ii:
                yield Entry(DEAD, self.plant.dead, Measurement("continuity", start, source.id))

    @cached_property
    def _ahead(self) -> dict[str, str]:
        """The boards that stay on a supply with its main isolator open, by what that is called."""
        plant = self.plant
        return {
            place: plant.called(plant.name_of(one.link, one.device))
            for one in plant.isolations.values()
            for place in one.ahead
        }

    def _insulation(self) -> Iterator[Measurement]:
        """Insulation of each board that is dead, against the PE that lands there."""
        for board in self.boards:
            if not any(self.site.node(board, line) >= 0 for line in LINES):
                continue
            if board in self._ahead:
                self.notes.append(Note(DEAD, "live-ahead", board, self._ahead[board]))
            elif not self._lands(self.site.node(board, "PE")):
                self.notes.append(Note(DEAD, "no-pe", board))
            else:
                if by := self._earthed_by(self.site.node(board, "N")):
                    self.notes.append(Note(DEAD, "lift", board, by))
                yield Measurement("insulation", board)

    def _lands(self, pe: int) -> bool:
        """Whether a protective conductor, an electrode or a link lands on a node."""
        network = self.network
        return pe >= 0 and (
            any(pe in (edge.a, edge.b) for edge in network.earth)
            or any(pe == node for _, node in network.electrodes)
            or any(pe == tie.pe for tie in network.ties)
        )

    def _earthed_by(self, neutral: int) -> str:
        """What keeps a neutral at earth with all links out and everything switched off: a supply or a set; '' where nothing does."""
        if neutral < 0:
            return ""
        others = frozenset(number for number, one in enumerate(self.network.plain) if one[4] != "neutral")
        part = reach(self.network, self.plant.dead, (neutral,), without_edges=others)
        return next(
            (
                tie.id
                for tie in self.network.ties
                if tie.kind in ("star", "internal") and part >> tie.n & 1 and holds(tie.needs, self.plant.dead)
            ),
            "",
        )

    def _neutral_bars(self) -> Iterator[str]:
        """Boards with N and PE, and terminals of sources and changeovers that no contact joins to a board for ever."""
        for place in self.boards:
            if self.site.node(place, "N") >= 0 and self.site.node(place, "PE") >= 0:
                yield place
        for source in self.plant.site.sources:
            if source.kind != "utility":
                place = source.id if source.kind == "generator" else f"{source.id}.out"
                if self.site.node(place, "N") >= 0:
                    yield place

    # -- live ------------------------------------------------------------------------------------------------------

    def live(self, number: int, visit: Visit) -> Iterator[Measurement]:
        """Voltages at the boards; at circuits, loops and RCDs where they are live for the first time; currents in PE."""
        live = self.plant.live(visit.state)

        def lit(place: str) -> bool:
            return any((node := self.site.node(place, line)) >= 0 and live >> node & 1 for line in LINES)

        places = [place for place in (*self.boards, *self.circuits) if lit(place)]
        under_load: list[Measurement] = []
        for place in places:
            if place in self.boards or place not in self._seen:
                self._seen.add(place)
                for one in self.site.voltages(place):
                    # behind a broken neutral what is switched off may show the whole voltage over its filter: its load tells
                    if place in self._loaded and one.between in LINE_TO_N:
                        under_load.append(one._replace(loads=True))
                    else:
                        yield one
                if place in self.boards:
                    yield from self.site.between_lines(place)
        yield from dict.fromkeys(self._off_sides(visit))
        for board in self.boards:
            if lit(board) and self.site.node(board, "N") >= 0 and self.site.node(board, "PE") >= 0:
                yield Measurement("voltage", board, "N-PE")
        yield from under_load
        yield from self._loops(number, visit.state, places)
        carrying: list[tuple[Rcd, tuple[int, ...]]] = []
        for rcd in self.network.rcds:
            lines = [self.network.edges[edge] for edge in sorted(rcd.lines)]
            if any(live >> edge.b & 1 and holds(edge.needs, visit.state) for edge in lines):
                carrying.append((rcd, tuple(edge.b for edge in lines)))
        for rcd, _ in carrying:
            yield Measurement("holds", rcd.name)
        for rcd, ends in carrying:
            yield from self._times(number, visit.state, rcd, ends)
        for link in self.site.links.values():
            if "PE" in link.cores and "N" in link.cores and link.length_m is not None:
                circuit = link.id in self.circuits
                if circuit and (link.id in self._clamped or link.id in self._guarded):
                    continue  # behind an RCD that holds, no neutral current returns by PE
                if any(lit(end.written) for end in (link.start, link.finish)):
                    self._clamped.add(link.id)
                    yield Measurement("clamp", link.id, "PE")

    def _off_sides(self, visit: Visit) -> Iterator[Measurement]:
        """The terminals of a changeover on the other side of an open pole: one that does not open is seen where that side is dead.

        What another source makes live is left out: two sources that nothing synchronises have no steady voltage between them.
        """
        for side in sides(self.plant, visit.state):
            changeover, position = side.proof.element, side.proof.side
            if side.near and (not side.far or side.far & side.near):
                yield from self.site.voltages(f"{changeover}.{position}")
            elif side.far and not side.near:
                yield from self.site.voltages(changeover)

    def _loops(self, number: int, state: State, places: list[str]) -> Iterator[Measurement]:
        """The loop at each place once, and at one board behind each set that feeds: nothing where a tester finds nothing of use."""
        useless = self._useless(state)
        places = [
            place
            for place in places
            if not any(useless >> self.site.node(place, line) & 1 for line in self._lines(place))
        ]
        asked = [place for place in places if place not in self._looped]
        for i in self.plant.feeds(state):
            if self.network.feeds[i].kind != "generator" or i in self._compared:
                continue
            behind = [place for place in places if i in self._fed_by(state, place) and self.site.loops(place)]
            if behind and not set(behind) & set(asked):
                self.beside += [Entry(number, state, one) for one in self.site.loops(behind[0])]
            if behind:
                self._compared.add(i)
        for place in asked:
            self._looped.add(place)
            yield from self.site.loops(place)

    def _fed_by(self, state: State, place: str) -> frozenset[int]:
        return feeds_of(self.plant, state, (self.site.node(place, line) for line in self._lines(place)))

    def _times(self, number: int, state: State, rcd: Rcd, behind: tuple[int, ...]) -> Iterator[Measurement]:
        """The times of an RCD: all of them once, and that at its rated current for each source and each link that holds its neutral."""
        feeds = feeds_of(self.plant, state, behind)
        called = self.plant.called(rcd.name)
        it = [self.network.feeds[i].id for i in sorted(feeds) if is_it(self.network.feeds[i])]
        if it:
            self.notes.append(Note(number, "it-rcd", called, it[0]))
            return
        neutrals = tuple(self.network.edges[edge].b for edge in rcd.edges - rcd.lines)
        key = (rcd.name, feeds, held(self.plant, state, neutrals))
        if key in self._tried:
            return
        if any(one[0] == rcd.name for one in self._tried):
            yield Measurement("rcd", rcd.name, "1 x")
        else:
            # beyond it testers stop (IEC 61557-6, from memory)
            volts = 5 * (rcd.device.residual_a or 0.0) * self._soil_ohm(state, rcd, feeds)
            if volts > touch_limit_v():
                self.notes.append(Note(number, "5x", called, f"{volts:.0f} V"))
            for times in ("0.5 x", "1 x", "5 x") if volts <= touch_limit_v() else ("0.5 x", "1 x"):
                yield Measurement("rcd", rcd.name, times)
        self._tried.add(key)

    def _soil_ohm(self, state: State, rcd: Rcd, feeds: frozenset[int]) -> float:
        """What the frames behind an RCD have to the mass of earth where only that leads back to the source; else 0, in ohm."""
        frame = self.site.node(self.site.links[rcd.connection].finish.written, "PE")
        if frame < 0:
            return 0.0
        neutrals = tuple(node for i in feeds for node in self.network.feeds[i].neutrals)
        tied = held(self.plant, state, neutrals)
        if any(self._metal[self.network.ties[number].pe] == self._metal[frame] for number in tied):
            return 0.0
        places = dict(self.network.electrodes)
        found = [
            ohm
            for one in self.plant.site.electrodes
            if self._metal[places[one.id]] == self._metal[frame] and not isinstance(ohm := electrode_ohm(one), Missing)
        ]
        return 1 / sum(1 / ohm for ohm in found) if found and min(found) > 0 else 0.0

    def _lines(self, place: str) -> tuple[str, ...]:
        return tuple(line for line in LINES if self.site.node(place, line) >= 0)

    def _useless(self, state: State) -> int:
        """The nodes at which a loop tester finds nothing of use: fed by an inverter, or in an IT system; a bit set."""
        found = 0
        for feed in (self.network.feeds[i] for i in self.plant.feeds(state)):
            if feed.kind == "inverter" or is_it(feed):
                found |= reach(self.network, state, feed.lines)
        return found


def is_it(feed: Feed) -> bool:
    """Whether a feed is declared to be an IT system."""
    return any(source.earthing == "IT" for source in feed.sources)
