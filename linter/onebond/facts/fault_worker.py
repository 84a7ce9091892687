"""Works out the earth faults of one circuit: which source gives what, and what each device on the way sees."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import NamedTuple

from onebond.circuit import impedances
from onebond.circuit.build import Model
from onebond.circuit.impedances import Capability, Missing
from onebond.circuit.solve import Study, Unsolvable
from onebond.facts.currents import Currents, Flow, Loop, Point, Step, Way, phase_of
from onebond.facts.faults import FOLLOWING_TIMES_RATED, EarthFault, Fed, Passed, rating_a
from onebond.facts.island import Island
from onebond.model import Device, Installation, Source
from onebond.network import Feed, Network, Rcd

Given = Capability | Missing | None
ENDLESS = float("inf")

FIRST_TIMES_LEAST = 7 / 0.3
"""The first current of a generating set (7 x rated: x'' of 14 %, a manufacturer's guide) to the least that it sustains (0.3 x rated)."""

BRIEF_S = 0.1
"""A source that collapses within this time takes nothing from what a device has to see until its limit."""


class Drawing(NamedTuple):
    """A fault as a circuit meets it."""

    point: Point
    node: int
    second: bool  # another one is there already
    ampere: float  # what the loop draws from sources without a limit
    part: float  # of it flows: two faults in series share the voltage


class FaultWorker:
    """Works out the faults of the islands that share one circuit."""

    def __init__(self, currents: Currents, ways: dict[str, str], finals: dict[str, tuple[float | None, bool]]) -> None:
        self.currents = currents
        self.island = currents.island
        self.network = currents.network
        self.ways = ways  # frame -> how it is earthed in this case
        self.finals = finals  # circuit -> rating of its overcurrent device, socket-outlets
        self.frames = {(part.kind, part.pe): part.id for part in self.network.parts}
        self.rcds: dict[tuple[str, int], Rcd] = {(r.connection, r.device.position): r for r in self.network.rcds}
        self._given: dict[tuple[str, int], Given] = {}
        self._returning: dict[tuple[str, int], bool] = {}
        self._followers: dict[int, bool] = {}
        self._unlimited: dict[tuple[int, ...], Missing | None] = {}

    # -- faults --------------------------------------------------------------------------------------------------

    def faults(self) -> list[EarthFault]:
        """The faults of all lines at each point; lines that have the same devices, current and touch voltage are one."""
        found: list[EarthFault] = []
        loops = self.currents.loops
        for point in self.currents.points:
            seen: dict[object, EarthFault] = {}
            for node in point.lines:
                one = self.fault(point, node, loops[node, point.pe])
                devices = tuple(
                    (fed.source, tuple((p.device.route, _digits(p.current_a)) for p in fed.passed)) for fed in one.feds
                )
                second = _digits(one.second[0]) if one.second else None
                alike = (devices, _digits(one.smallest_a), _digits(one.touch or 0.0), second, one.missing, one.guards)
                seen.setdefault(alike, one).lines.add(one.line)
            found.extend(seen.values())
        return found

    def fault(self, point: Point, node: int, loop: Loop | Missing | None) -> EarthFault:
        """The fault of one line at a point."""
        network = self.network
        rating, sockets = self.finals.get(point.place, (None, False))
        again = self.currents.second_loops.get((node, point.pe)) if self.island.it else None
        missing = next((one for one in (loop, again) if isinstance(one, Missing)), None)
        known = loop if isinstance(loop, Loop) else None
        nowhere = loop is None and again is None
        # what a source gives into a fault inside it is its own affair
        ways = [
            way
            for way in self.currents.ways_to(node)
            if point.sort != "source" or point.terminal == "in" or all(s.id != point.place for s in way.feed.sources)
        ]
        feds, current, largest = self.fed(_drawing(point, node, known), ways) if known else ((), 0.0, 0.0)
        if nowhere:
            missing = Missing(point.place, point.route, f"nothing leads a fault current from {point.place} back")
        elif missing is None:
            missing = self.unlimited(ways)
        for way in ways if missing is None else ():
            given = self.capability(way)
            if isinstance(given, Missing):
                # without the limit of what is ahead of a transformer nothing is known of what that gives
                missing = given
        touch = touch_met = None
        if known:
            touch, touch_met = known.touch_v(largest if largest < ENDLESS else 0.0)
        second = None
        if isinstance(again, Loop):
            # two faults in series: U0 / (2 Zs) where one may be on a neutral, else U / (2 Zs) (411.6.4)
            part = (1.0 if self.neutral_distributed(ways) else 3**0.5) / 2
            feds_again, current_again, _ = self.fed(_drawing(point, node, again, part), ways)
            second = (current_again, feds_again)
            # where nothing at all ties an IT system to earth a first fault draws nothing
            known = known or Loop(complex(ENDLESS), 0j, None, None)
        if known and current == ENDLESS:
            why = f"nothing but the source limits the current at {point.place}"
            missing = missing or Missing(point.place, point.route, why)
        found = EarthFault(
            point,
            self.island,
            phase_of(network, node),
            self.ways.get(self.frames.get((point.sort, point.pe), ""), ""),
            known,
            feds,
            current,
            missing,
            touch,
            touch_met,
            point.place in self.finals,
            rating,
            sockets,
            self.voltage_v(ways, phase_of(network, node)),
            second,
            self.guards(ways),
            frozenset(network.edges[step.edge].element for way in ways for step in way.steps),
            largest,
        )
        found.no_way_back = nowhere
        return found

    def guards(self, ways: list[Way]) -> tuple[tuple[Device, str], ...]:
        """The devices that every way passes and that nothing goes round."""
        lists = [
            [(device, name) for device, name, step in self.currents.devices_on(way) if step.edge in way.alone]
            for way in ways
        ]
        passed = dict.fromkeys(one for each in lists for one in each)
        return tuple(one for one in passed if all(one in each for each in lists))

    def neutral_distributed(self, ways: list[Way]) -> bool:
        """Whether a neutral is led to any board or circuit of the island; a source of one line always leads its second conductor."""
        if any(len(source.phases) < 3 for way in ways for source in way.feed.sources):
            return True
        places = {name for name, _ in (*self.network.boards, *self.network.circuits)}
        return any(
            key[0] in places and key[2] == "N" and self.island.live >> node & 1
            for node, key in enumerate(self.network.nodes)
        )

    def voltage_v(self, ways: list[Way], line: str) -> float:
        """Nominal voltage of a line to earth, in V: where only the line voltage is written, the round one of IEC 60038 (400 V: 230 V)."""
        return nominal_v((source for way in ways for source in way.feed.sources), line)

    # -- what the sources give -----------------------------------------------------------------------------------

    def capability(self, way: Way) -> Given:
        """What the source of a way gives into its line: members of a group on the same line add up."""
        key = (way.feed.id, way.start)
        if key not in self._given:
            self._given[key] = self._capability(way)
        return self._given[key]

    def _capability(self, way: Way) -> Given:
        return self.given_at(way.feed, way.start, frozenset())

    def given_at(self, feed: Feed, start: int, seen: frozenset[str]) -> Given:
        """What a source gives at one of its line nodes; ``seen``: transformers that are being asked."""
        if feed.kind == "transformer":
            return self.behind(feed, seen | {feed.id})
        place = self.network.nodes[start][0]
        return next((impedances.capability(source) for source in feed.sources if source.id == place), None)

    def behind(self, feed: Feed, seen: frozenset[str]) -> Given:
        """What an isolating transformer lets through of sources that all limit their current; None where one of them does not.

        Members of a group add up.  Of several other sources only the largest one is certain, and transformers that share what is
        ahead of them have equal parts of it.
        """
        ends = [(node, other) for node, other in self.currents.upstream(feed)[1] if other.id not in seen]
        by_feed: dict[str, Capability] = {}
        for node, other in ends:
            one = self.given_at(other, node, seen)
            if one is None or isinstance(one, Missing):
                return one
            before = by_feed.get(other.id)
            total_a = one.limit_a + (before.limit_a if before else 0.0)
            by_feed[other.id] = one._replace(limit_a=total_a, ahead=one.ahead or other.id)
        if not by_feed:
            why = f"the network ahead of the transformer {feed.id} is not determined"
            return Missing(feed.id, feed.route, why)
        ratio = self.ratio(feed, [other for _, other in ends])
        largest = max(by_feed.values(), key=lambda one: one.limit_a)
        sharing = sum(
            any(other.id in by_feed for _, other in self.currents.upstream(beside)[1])
            for beside in self.island.feeds
            if beside.primary
        )
        # what ends one of several sources does not end the others
        collapses = largest.collapses and len(by_feed) == 1
        return largest._replace(limit_a=largest.limit_a * ratio / max(sharing, 1), collapses=collapses)

    @staticmethod
    def ratio(feed: Feed, ahead: list[Feed]) -> float:
        """The current of a secondary to that of its primary, by the voltages; of three lines as a star on either side, the least.

        Without the voltage of the transformer, or of what is ahead of it, there is no loop, and nobody asks.
        """
        source = feed.sources[0]
        own = impedances.line_emfs_v(source)
        assert not isinstance(own, Missing)
        emfs = list(own.values())
        alone = len(emfs) == 1 or abs(emfs[0] + emfs[1]) < abs(emfs[0]) / 1000  # two halves of one winding
        secondary_v = abs(emfs[0]) if alone else abs(emfs[0] - emfs[1])
        primary_v = source.primary_voltage_v if len(emfs) == 1 else source.primary_line_voltage_v
        if primary_v is None:
            of_it = impedances.line_emfs_v(ahead[0].sources[0])
            assert not isinstance(of_it, Missing)
            lines = list(of_it.values())[: len(feed.primary)]
            primary_v = abs(lines[0] - lines[1]) if len(lines) > 1 else abs(lines[0])
        return primary_v / secondary_v

    def unlimited(self, ways: list[Way]) -> Missing | None:
        """What is not written of a source on these lines that limits its current.

        Without its limit nothing is known of what it gives, nor of what it takes from a device.
        """
        starts = tuple(way.start for way in ways)
        if starts not in self._unlimited:
            part = self.island.line_part(starts)
            given = (
                impedances.capability(source)
                for feed in self.island.feeds
                if any(part >> node & 1 for node in feed.lines)
                for source in feed.sources
            )
            self._unlimited[starts] = next((one for one in given if isinstance(one, Missing)), None)
        return self._unlimited[starts]

    def fed(self, drawing: Drawing, ways: list[Way]) -> tuple[tuple[Fed, ...], float, float]:
        """What every source gives and what each device sees; with the smallest and the largest fault current in A."""
        free = drawing.ampere * drawing.part
        if len(ways) != 1 or self.followed(ways[0]):
            return self.fed_by_several(drawing, ways, free)
        way = ways[0]
        capability = self.capability(way)
        current, limited = free, False
        if isinstance(capability, Capability) and capability.limit_a < free:
            current, limited = capability.limit_a, True
        passed = [
            Passed(device, name, current, self.residual_a(device, name, drawing, current))
            for device, name, step in self.currents.devices_on(way)
            if step.edge in way.alone
        ]
        passed += [Passed(device, name, current * ratio, 0.0) for device, name, ratio in self.currents.ahead(way)]
        return (Fed(way.feed.id, tuple(passed), way.single, capability, limited),), current, current

    def fed_by_several(self, drawing: Drawing, ways: list[Way], free: float) -> tuple[tuple[Fed, ...], float, float]:
        """Several sources, or one with others that follow it: each device with the least current that any extreme leaves it.

        Beside a source without a limit the others give nothing, or all of their limit.  Sources that all limit their current give
        together what the loop draws, at most the sum of their limits; a device sees that less what may come in behind it.
        """
        flow = self.whole(drawing)
        beside = self.currents.beside
        given = [self.capability(way) for way in ways]
        limits = [one.limit_a if isinstance(one, Capability) else ENDLESS for one in given]
        stiff = ENDLESS in limits
        total = self.together_a(ways, limits, flow, drawing.part, free)
        guards = self.guards(ways)
        passing = [{(device.route, name) for device, name, _ in self.currents.devices_on(way)} for way in ways]
        feds = []
        for number, way in enumerate(ways):
            own = free
            if stiff and flow is not None and way.steps and way.feed.id not in beside:
                value = flow.edge(way.steps[-1].edge)  # what the source gives passes the edge next to it
                own = abs(value) * drawing.part if value is not None else free
            limited = limits[number] < own if stiff else total < free
            passed = []
            for device, name, step in self.currents.devices_on(way):
                if step.edge not in way.alone:
                    continue
                added = self.added_a(step)
                if stiff:
                    value = flow.edge(step.edge) if flow is not None else None
                    # a device that a stiff source feeds through as well sees what that one gives
                    served = [limit for limit, on in zip(limits, passing, strict=True) if (device.route, name) in on]
                    stiffly = value is not None and ENDLESS in served
                    seen = (
                        min(abs(value) * drawing.part, total)
                        if value is not None and stiffly
                        else min(own, limits[number])
                    )
                else:
                    behind = [k for k in range(len(ways)) if (device.route, name) not in passing[k]]
                    seen = total - sum(limits[k] for k in behind)
                seen = max(seen - added, 0.0)
                residual = None
                if device.senses:
                    if self.returns_through(device, name):
                        residual = self.seen_by(device, name, drawing, total)
                    else:
                        # all of the fault current passes a device that cuts the place off from every source
                        residual = max(seen, total if (device, name) in guards else 0.0)
                passed.append(Passed(device, name, seen, residual))
            # what follows behind a transformer spares the devices ahead of it as much as it gives at most
            through = max(min(own, limits[number]) - self.following_a(ways), 0.0)
            passed += [Passed(device, name, through * ratio, 0.0) for device, name, ratio in self.currents.ahead(way)]
            feds.append(Fed(way.feed.id, tuple(passed), way.single, given[number], limited))
        most = min(free, sum(limits) + self.following_a(ways))
        return tuple(feds), total, most

    def together_a(self, ways: list[Way], limits: list[float], flow: Flow | None, part: float, free: float) -> float:
        """The least that sources which all limit their current give together, in A.

        One that would give more than its limit gives its limit, and the others then no less than before.
        """
        shares = [flow.edge(way.steps[-1].edge) if flow is not None and way.steps else None for way in ways]
        known = [abs(share) * part for share in shares if share is not None]
        if len(known) < len(ways) or not sum(known):
            return min(free, max(limits, default=0.0))  # a line that is crossed with a neutral is fed by none
        held = sum(min(share, limit) for share, limit in zip(known, limits, strict=True))
        return free * (held / sum(known))  # exactly what the loop draws where no limit is reached

    def following_a(self, ways: list[Way]) -> float:
        """The most that sources which follow add to a fault, in A."""
        part = self.island.line_part(tuple(way.start for way in ways))
        return sum(
            self.most_a(feed)
            for feed in self.island.feeds
            if not feed.forming and any(part >> node & 1 for node in feed.lines)
        )

    @staticmethod
    def most_a(feed: Feed, lasting: bool = False) -> float:
        """The most that a source which follows, or stands beside a stiff one, gives, in A; ``lasting``: for longer than 0.1 s."""
        total = 0.0
        for source in feed.sources:
            capability = impedances.capability(source)
            if not isinstance(capability, Capability):
                continue
            brief = capability.collapses and capability.until_s is not None and capability.until_s <= BRIEF_S
            if not (lasting and brief):
                if capability.declared:
                    total += capability.limit_a
                elif source.kind == "generator":
                    total += FIRST_TIMES_LEAST * capability.limit_a
                else:
                    total += FOLLOWING_TIMES_RATED * capability.limit_a
        return total

    def followed(self, way: Way) -> bool:
        """Whether a source that follows, or one beside a stiff one, feeds the same line."""
        if way.start not in self._followers:
            part = self.island.line_part((way.start,))
            self._followers[way.start] = any(
                (not feed.forming or feed.id in self.currents.beside) and any(part >> node & 1 for node in feed.lines)
                for feed in self.island.feeds
                if feed.id != way.feed.id
            )
        return self._followers[way.start]

    def added_a(self, step: Step) -> float:
        """The most that sources which follow another one, or stand beside a stiff one, add between a step and the point, in A."""
        beyond = self.island.part((step.far,), "line", {step.edge})
        return sum(
            self.most_a(feed, lasting=True)
            for feed in self.island.feeds
            if (not feed.forming or feed.id in self.currents.beside) and any(beyond >> node & 1 for node in feed.lines)
        )

    # -- what residual current devices see -----------------------------------------------------------------------

    def residual_a(self, device: Device, name: str, drawing: Drawing, ampere: float) -> float | None:
        """What a residual current device on the way sees: all of the fault current, unless part of it comes back through it."""
        if not device.senses:
            return None
        return self.seen_by(device, name, drawing, ampere) if self.returns_through(device, name) else ampere

    def returns_through(self, device: Device, name: str) -> bool:
        """Whether a return path may lead through the device: a reference behind it, or a line that goes round it."""
        key = (name, device.position)
        if key not in self._returning:
            rcd = self.rcds[key]
            live = [self.network.edges[i] for i in rcd.edges if self.island.live >> self.network.edges[i].a & 1]
            behind = not set(self.currents.links[name].cores) <= {*device.senses, "PE"}
            for feed in self.island.feeds:
                beyond = self.island.beyond(rcd, (*feed.lines, *feed.neutrals))
                behind = behind or any(beyond >> tie.n & 1 for tie in self.island.ties)
                # cores of it that another way joins: part of the current passes beside it
                behind = behind or any(not beyond >> edge.a & 1 and not beyond >> edge.b & 1 for edge in live)
            self._returning[key] = behind
        return self._returning[key]

    def seen_by(self, device: Device, name: str, drawing: Drawing, ampere: float) -> float | None:
        """The residual current in a device at a fault current in A, from the whole solution."""
        flow = self.whole(drawing)
        if flow is None:
            return None
        values = [flow.edge(edge) for edge in self.rcds[name, device.position].edges]
        known = [value for value in values if value is not None]
        share = abs(sum(known)) / drawing.ampere if drawing.ampere else 0.0
        return share * ampere if len(known) == len(values) else None

    def whole(self, drawing: Drawing) -> Flow | None:
        """The currents of all edges while a fault lasts, with every source unlimited; None where there is no loop."""
        model, study = self._second if drawing.second else self._first
        node, pe = drawing.node, drawing.point.pe
        pair = (model.node[node], model.node[pe])
        if pair[0] == pair[1] or min(pair) < 0 or model.part[node] != model.part[pe]:
            return None
        try:
            current, solution = study.under_fault(pair)
            rise = model.offset_v[node] - model.offset_v[pe]
            if rise:
                # the EMF of a merged source drives the fault as well
                response = study.respond(pair)
                more = rise / (response.voltages_v[pair[0]] - response.voltages_v[pair[1]])
                current += more
                solution = solution._replace(
                    currents_a=[
                        one - more * by for one, by in zip(solution.currents_a, response.currents_a, strict=True)
                    ]
                )
        except Unsolvable:
            return None
        return self.currents.flow(model, solution, ((node, current), (pe, -current)))

    @cached_property
    def _first(self) -> tuple[Model, Study]:
        model = self.currents.faulted
        return model, Study(model.circuit)

    @cached_property
    def _second(self) -> tuple[Model, Study]:
        model = self.currents.bridged
        assert model is not None
        return model, Study(model.circuit)


def _drawing(point: Point, node: int, loop: Loop, second: float = 0.0) -> Drawing:
    """A fault by its loop; ``second``: the part of what it draws that two faults in series draw."""
    ampere = abs(loop.open_v) / abs(loop.z_ohm) if loop.z_ohm else ENDLESS
    return Drawing(point, node, bool(second), ampere, second or 1.0)


def nominal_v(sources: Iterable[Source], line: str = "") -> float:
    """Nominal voltage of a line to earth, else of the first one, of the first source that declares one, in V; 0 where none does."""
    for source in sources:
        emfs = impedances.line_emfs_v(source)
        if isinstance(emfs, Missing):
            continue
        volts = abs(emfs.get(line, next(iter(emfs.values()))))
        return float(int(volts)) if source.voltage_v is None else volts
    return 0.0


def frameless(
    network: Network, islands: Iterable[Island], finals: dict[str, tuple[float | None, bool]]
) -> Iterable[EarthFault]:
    """The ends of circuits of class II, which have no frame: each energised line of each of them in every case."""
    framed = {part.id for part in network.parts}
    routes = {circuit.id: circuit.route for circuit in network.installation.circuits}
    for island in islands:
        volts = nominal_v(source for feed in island.feeds if feed.forming for source in feed.sources)
        for name, lines in network.circuits:
            for node in lines if name not in framed else ():
                if island.energised_lines >> node & 1:
                    point = Point(name, "", "circuit", routes[name], (node,), -1)
                    line, (rating, sockets) = phase_of(network, node), finals[name]
                    yield EarthFault(
                        *(point, island, line, "", None, (), 0.0, None, None, None, True, rating, sockets, volts)
                    )


def _digits(value: float) -> float:
    """A value without the digits in which equal lines differ."""
    return float(f"{value:.6g}")


def final_circuits(installation: Installation) -> dict[str, tuple[float | None, bool]]:
    """For each final circuit the rating of its own overcurrent device in A, and whether it serves socket-outlets."""
    return {
        circuit.id: (rating_a(circuit.connection), circuit.serves == "socket-outlets")
        for circuit in installation.circuits
    }
