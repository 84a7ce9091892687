"""Works out the earth faults of one circuit: which source gives what, and what each device on the way sees."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from onebond.circuit import impedances
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
        missing = loop if isinstance(loop, Missing) else None
        known = loop if isinstance(loop, Loop) else None
        nowhere = missing is None and known is None
        if nowhere:
            missing = Missing(point.place, point.route, f"nothing leads a fault current from {point.place} back")
        # what a source gives into a fault inside it is its own affair
        ways = [
            way
            for way in self.currents.ways_to(node)
            if point.sort != "source" or point.terminal == "in" or all(s.id != point.place for s in way.feed.sources)
        ]
        feds, current, largest = self.fed(point, node, known, ways) if known else ((), 0.0, 0.0)
        if known:
            missing = self.unlimited(ways)
        for way in ways if known and missing is None else ():
            given = self.capability(way)
            if isinstance(given, Missing) and way.feed.kind == "transformer":
                missing = given  # without the limit of what is ahead of it nothing is known of what it gives
        touch = touch_met = None
        if known:
            touch, touch_met = known.touch_v(largest if largest < ENDLESS else 0.0)
        second = None
        if self.island.it:
            again = self.currents.second_loops.get((node, point.pe))
            if isinstance(again, Loop):
                # two faults in series: U0 / (2 Zs) where one may be on a neutral, else U / (2 Zs) (411.6.4)
                drive = again.open_v * (1.0 if self.neutral_distributed(ways) else 3**0.5)
                twice = again._replace(z_ohm=2 * again.z_ohm, open_v=drive)
                feds_again, current_again, _ = self.fed(point, node, twice, ways)
                second = (current_again, feds_again)
            elif isinstance(again, Missing):
                missing = missing or again
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
        if not ways:
            return ()
        first, *others = [
            [(device, name) for device, name, step in self.currents.devices_on(way) if step.edge in way.alone]
            for way in ways
        ]
        return tuple(one for one in first if all(one in other for other in others))

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
        ratio = self.ratio(feed, [other for _, other in ends])
        by_feed: dict[str, Capability] = {}
        for node, other in ends:
            one = self.given_at(other, node, seen)
            if one is None or isinstance(one, Missing):
                return one
            before = by_feed.get(other.id)
            total_a = one.limit_a + (before.limit_a if before else 0.0)
            by_feed[other.id] = one._replace(limit_a=total_a, ahead=one.ahead or other.id)
        if not by_feed or ratio is None:
            return None
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
    def ratio(feed: Feed, ahead: list[Feed]) -> float | None:
        """The current of a secondary to that of its primary, by the voltages; of three lines as a star on either side, the least."""
        source = feed.sources[0]
        own = impedances.line_emfs_v(source)
        if isinstance(own, Missing):
            return None
        emfs = list(own.values())
        alone = len(emfs) == 1 or abs(emfs[0] + emfs[1]) < abs(emfs[0]) / 1000  # two halves of one winding
        secondary_v = abs(emfs[0]) if alone else abs(emfs[0] - emfs[1])
        primary_v = source.primary_voltage_v if len(emfs) == 1 else source.primary_line_voltage_v
        for other in ahead if primary_v is None else ():
            of_it = impedances.line_emfs_v(other.sources[0])
            if not isinstance(of_it, Missing):
                lines = list(of_it.values())[: len(feed.primary)]
                primary_v = primary_v or (abs(lines[0] - lines[1]) if len(lines) > 1 else abs(lines[0]))
        return primary_v / secondary_v if primary_v and secondary_v else None

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

    def fed(self, point: Point, node: int, loop: Loop, ways: list[Way]) -> tuple[tuple[Fed, ...], float, float]:
        """What every source gives and what each device sees; with the smallest and the largest fault current in A."""
        free = abs(loop.open_v) / abs(loop.z_ohm) if loop.z_ohm else ENDLESS
        if len(ways) != 1 or self.followed(ways[0]):
            return self.fed_by_several(point, node, ways, free)
        way = ways[0]
        capability = self.capability(way)
        current, part, limited = free, 1.0, False
        if isinstance(capability, Capability) and capability.limit_a < free:
            current, part, limited = capability.limit_a, capability.limit_a / free, True
        passed = [
            Passed(device, name, current, self.residual_a(device, name, point, node, current, part))
            for device, name, step in self.currents.devices_on(way)
            if step.edge in way.alone
        ]
        passed += [Passed(device, name, current * ratio, 0.0) for device, name, ratio in self.currents.ahead(way)]
        return (Fed(way.feed.id, tuple(passed), way.single, capability, limited),), current, current

    def fed_by_several(
        self, point: Point, node: int, ways: list[Way], free: float
    ) -> tuple[tuple[Fed, ...], float, float]:
        """Several sources, or one with others that follow it: each device with the least current that any extreme leaves it.

        Beside a source without a limit the others give nothing, or all of their limit.  Sources that all limit their current give
        together what the loop draws, at most the sum of their limits; a device sees that less what may come in behind it.
        """
        flow = self.whole(point, node)
        beside = self.currents.beside
        given = [self.capability(way) for way in ways]
        limits = [one.limit_a if isinstance(one, Capability) else ENDLESS for one in given]
        stiff = ENDLESS in limits
        total = free if stiff else self.together_a(ways, limits, flow, free)
        guards = self.guards(ways)
        passing = [{(device.route, name) for device, name, _ in self.currents.devices_on(way)} for way in ways]
        feds = []
        for number, way in enumerate(ways):
            own = free
            if stiff and flow is not None and way.steps and way.feed.id not in beside:
                value = flow.edge(way.steps[-1].edge)  # what the source gives passes the edge next to it
                own = abs(value) if value is not None else free
            limited = limits[number] < own if stiff else total < free
            passed = []
            for device, name, step in self.currents.devices_on(way):
                if step.edge not in way.alone:
                    continue
                added = self.added_a(step)
                if stiff:
                    value = flow.edge(step.edge) if flow is not None else None
                    # a device that a stiff source feeds through as well sees what that one gives
                    served = [one.feed.id for one, on in zip(ways, passing, strict=True) if (device.route, name) in on]
                    stiffly = value is not None and not beside.issuperset(served)
                    seen = abs(value) if value is not None and stiffly else min(own, limits[number])
                else:
                    behind = [k for k in range(len(ways)) if (device.route, name) not in passing[k]]
                    seen = total - sum(limits[k] for k in behind)
                seen = max(seen - added, 0.0)
                residual = None
                if device.senses:
                    if self.returns_through(device, name):
                        residual = self.seen_by(device, name, point, node)
                    else:
                        # all of the fault current passes a device that cuts the place off from every source
                        residual = max(seen, total if (device, name) in guards else 0.0)
                passed.append(Passed(device, name, seen, residual))
            # what follows behind a transformer spares the devices ahead of it as much as it gives at most
            through = max(min(own, limits[number]) - self.following_a(ways), 0.0)
            passed += [Passed(device, name, through * ratio, 0.0) for device, name, ratio in self.currents.ahead(way)]
            feds.append(Fed(way.feed.id, tuple(passed), way.single, given[number], limited))
        most = free if stiff else min(free, sum(limits) + self.following_a(ways))
        return tuple(feds), total, most

    def together_a(self, ways: list[Way], limits: list[float], flow: Flow | None, free: float) -> float:
        """The least that sources which all limit their current give together, in A.

        One that would give more than its limit gives its limit, and the others then no less than before.
        """
        shares = [flow.edge(way.steps[-1].edge) if flow is not None and way.steps else None for way in ways]
        known = [abs(share) for share in shares if share is not None]
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

    def residual_a(
        self, device: Device, name: str, point: Point, node: int, current: float, part: float
    ) -> float | None:
        """What a residual current device on the way sees: all of the fault current, unless part of it comes back through it.

        ``part``: what the source gives of what it would give without its limit.
        """
        if not device.senses:
            return None
        if not self.returns_through(device, name):
            return current
        seen = self.seen_by(device, name, point, node)
        return None if seen is None else seen * part

    def returns_through(self, device: Device, name: str) -> bool:
        """Whether a return path may lead through the device: a reference behind it, or a line that goes round it."""
        key = (name, device.position)
        if key not in self._returning:
            rcd = self.rcds.get(key)
            behind = False
            if rcd is not None:
                live = [self.network.edges[i] for i in rcd.edges if self.island.live >> self.network.edges[i].a & 1]
                for feed in self.island.feeds:
                    beyond = self.island.beyond(rcd, (*feed.lines, *feed.neutrals))
                    behind = behind or any(beyond >> tie.n & 1 for tie in self.island.ties)
                    # cores of it that another way joins: part of the current passes beside it
                    behind = behind or any(not beyond >> edge.a & 1 and not beyond >> edge.b & 1 for edge in live)
                passing = {core for core in self.currents.links[name].cores if core != "PE"}
                behind = behind or not passing <= set(device.senses)
            self._returning[key] = behind
        return self._returning[key]

    def seen_by(self, device: Device, name: str, point: Point, node: int) -> float | None:
        """The residual current in a device while a fault lasts, from the whole solution, in A."""
        flow = self.whole(point, node)
        if flow is None:
            return None
        total = 0j
        for edge in self.rcds[name, device.position].edges:
            value = flow.edge(edge)
            if value is None:
                return None
            total += value
        return abs(total)

    def whole(self, point: Point, node: int) -> Flow | None:
        """The currents of all edges while a fault lasts, with every source unlimited; None where there is no loop."""
        model = self.currents.faulted
        pair = (model.node[node], model.node[point.pe])
        if pair[0] == pair[1] or min(pair) < 0 or model.part[node] != model.part[point.pe]:
            return None
        try:
            current, solution = self._study.under_fault(pair)
            rise = model.offset_v[node] - model.offset_v[point.pe]
            if rise:
                # the EMF of a merged source drives the fault as well
                response = self._study.respond(pair)
                more = rise / (response.voltages_v[pair[0]] - response.voltages_v[pair[1]])
                current += more
                solution = solution._replace(
                    currents_a=[
                        one - more * by for one, by in zip(solution.currents_a, response.currents_a, strict=True)
                    ]
                )
        except Unsolvable:
            return None
        return self.currents.flow(model, solution, ((node, current), (point.pe, -current)))

    @cached_property
    def _study(self) -> Study:
        return Study(self.currents.faulted.circuit)


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
    framed = {part.id for part in network.parts if part.kind == "circuit"}
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
