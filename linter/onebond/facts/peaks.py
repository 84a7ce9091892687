"""The largest current that each device may have to break: cold conductors, the strongest supply, the worst kind of fault."""

from __future__ import annotations

from copy import copy
from functools import cached_property
from typing import NamedTuple

from onebond.circuit import impedances
from onebond.circuit.build import Model, Options, with_other_stand_ins
from onebond.circuit.impedances import Missing
from onebond.circuit.solve import Loop, Study, Unsolvable
from onebond.facts.currents import SAME, Currents
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import LINES, Device
from onebond.network import Feed

UNDECLARED_TIMES_RATED = 10.0
"""More than any inverter gives, times rated: 4 to 5 for milliseconds is the most in print (a test report of 2010, from memory)."""

BREAKS = ("mcb", "mccb", "fuse", "rcbo")
"""Devices that break a short circuit."""


class Peak:
    """A device that breaks short circuits, in one case, with the largest prospective current at its place."""

    def __init__(
        self,
        device: Device,
        connection: str,
        island: Island | None,
        known_a: float,
        kind: str = "",
        lacking: Missing | None = None,
        at_most_a: float | None = None,
        direct: bool = False,
    ) -> None:
        self.device = device
        self.connection = connection
        self.id = device.id or connection
        self.route = device.route
        self.island = island
        self.known_a = known_a  # the largest of what is known, in A
        self.kind = kind  # the fault that gives it: three-phase | line-line | line-neutral | line-PE | between poles
        self.lacking = lacking  # what may make it more
        self.at_most_a = at_most_a  # more than this it is not, whatever is lacking, in A; None: no such bound
        self.direct = direct  # it breaks direct current; its island is None

    def in_island(self, island: Island) -> Peak:
        """The same in another case that is wired alike."""
        other = copy(self)
        other.island = island
        return other

    @property
    def name(self) -> str:
        """How a person finds it."""
        return self.device.id or f"the {self.device.kind} in {self.connection}"

    @property
    def current_a(self) -> float:
        """The largest prospective current at the device, in A; raises Unknown."""
        if self.lacking:
            raise Unknown.of(self.lacking)
        return self.known_a


class Amount(NamedTuple):
    """The largest current of a short circuit at a node in A, of what is known, its kind, and what is lacking of other kinds."""

    known_a: float
    kind: str
    lacking: Missing | None


class Infeed(NamedTuple):
    """What sources that limit their current add: as declared or rated, more than that at most, in A, and what is lacking."""

    known_a: float
    more_a: float | None  # None: no bound is known
    lacking: Missing | None


class PeakWorker:
    """The largest currents of one circuit, at all nodes where a device is.

    All that flows into a fault next to the device is counted, what would not pass the device itself as well: never too little.
    Motors are left out: the description does not say what a load is.
    """

    def __init__(self, currents: Currents) -> None:
        self.currents = currents
        self.island = currents.island
        self.network = currents.network

    @cached_property
    def model(self) -> Model:
        """Cold conductors and the strongest supply, without the inverters beside a source that does not limit its current.

        A generating set gives its subtransient current into a fault beside a supply too: here it counts, else it is too little.
        """
        currents = self.currents
        inverters = frozenset(feed.id for feed in self.island.feeds if feed.kind == "inverter")
        return currents.model(Options(smallest=False, without=currents.without), currents.beside & inverters)

    def places(self) -> list[tuple[Device, str, tuple[int, ...]]]:
        """Each device on the lines of the island, once, with the nodes on the sides from which it is fed."""
        found: dict[tuple[str, int], tuple[Device, str, dict[int, None]]] = {}
        nearer: dict[int, dict[int, None]] = {}
        for _, _, reached, _ in self.currents.trees:
            for edge, near in reached.values():
                nearer.setdefault(edge, {})[near] = None
        live = self.island.energised_lines
        for node, ways in enumerate(self.island.ways):
            for number, _, sort in ways:
                one = self.network.edges[number]
                link = self.currents.links.get(one.element)
                if sort != "line" or link is None or not live >> node & 1:
                    continue
                # an edge that closes a ring is fed from both ends
                sides = nearer.get(number, {one.a: None, one.b: None})
                for device in link.devices:
                    if device.kind in BREAKS and one.core in device.poles:
                        found.setdefault((link.id, device.position), (device, link.id, {}))[2].update(sides)
        return [(device, name, tuple(nodes)) for device, name, nodes in found.values()]

    def feeds_at(self, nodes: tuple[int, ...]) -> list[Feed]:
        """The sources whose lines reach some line nodes."""
        reach = self.island.feed_lines
        return [feed for feed in self.island.feeds if any(reach[feed.id] >> node & 1 for node in nodes)]

    def infeed(self, feeds: list[Feed]) -> Infeed:
        """What sources that limit their current, or follow, add to any fault."""
        known, undeclared = 0.0, 0.0
        lacking: Missing | None = None
        for source in (source for feed in feeds for source in feed.sources if source.kind == "inverter"):
            one = impedances.capability(source)
            if isinstance(one, Missing):
                return Infeed(known, None, lacking or one)
            assert one is not None  # an inverter has a limit
            known += one.limit_a
            if not one.declared:
                undeclared += (UNDECLARED_TIMES_RATED - 1) * one.limit_a
                lacking = lacking or one.lacking
        return Infeed(known, undeclared, lacking)

    def peaks(self) -> list[Peak]:
        """A peak for each device."""
        places = []
        for device, name, sides in self.places():
            feeds = self.feeds_at(sides)
            # the devices of a cable may stand in lines that different sources feed
            places.append((device, name, sides, feeds, [feed for feed in feeds if feed.kind != "inverter"]))
        terminals = {(node, len(feed.lines)): feed.id for *_, stiff in places for feed in stiff for node in feed.lines}
        asked = {(node, self.lines_of(name)): "" for _, name, sides, _, stiff in places if stiff for node in sides}
        try:
            amounts = self.amounts((*terminals, *asked)) if asked else {}
        except Unsolvable as why:
            refused = Missing("", (), f"the circuit has no solution: {why}")
            return [Peak(device, name, self.island, 0.0, "", refused) for device, name, *_ in places]
        found = []
        for device, name, sides, feeds, stiff in places:
            added = self.infeed(feeds)
            several = [amounts[node, self.lines_of(name)] for node in sides] if stiff else []
            largest = max(several, key=lambda one: one.known_a, default=Amount(0.0, "", None))
            lacking = next((one.lacking for one in several if one.lacking), None)
            most: float | None = largest.known_a
            if lacking:
                most = None
                if len(stiff) == 1:
                    feed = stiff[0]
                    most = self.at_terminals(feed, [amounts[one] for one in terminals if terminals[one] == feed.id])
            at_most = None if most is None or added.more_a is None else most + added.known_a + added.more_a
            known = largest.known_a + added.known_a
            found.append(Peak(device, name, self.island, known, largest.kind, lacking or added.lacking, at_most))
        return found

    def at_terminals(self, feed: Feed, amounts: list[Amount]) -> float | None:
        """What a source that nothing limits gives at its own terminals at most, in A: all cables only make it less."""
        if not any(one.lacking for one in amounts):
            return max(one.known_a for one in amounts)
        source = feed.sources[0]
        rated = impedances.rated_a(source)
        if isinstance(rated, Missing) or not source.subtransient_reactance:  # only a generating set has one
            return None
        # 3 U / (x1 + x2 + x0) is the most of all faults, and neither x2 nor x0 is below zero
        return 3 * rated / source.subtransient_reactance

    def lines_of(self, name: str) -> int:
        """The number of line conductors of a cable: a single-phase device breaks no current between lines."""
        return sum(core in LINES for core in self.currents.links[name].cores)

    def declared_most_a(self, node: int, kind: str) -> float | None:
        """The most that a supply with a tapped winding gives at a node, in A, where its declared current bounds it.

        What inverters beside it add is no part of that: it is added afterwards.

        The whole of a split-phase winding has more than twice the impedance of a half: the current between the lines is about two
        thirds of that to the neutral (common practice, from memory), hence not above it.  Of a high-leg delta the winding with the
        tap is as large as the others or larger (common practice, no source): with two thirds again, three lines give at most 416 to
        360, or 2 / sqrt(3), of the current to the neutral.
        """
        feeds = [feed for feed in self.feeds_at((node,)) if feed.kind != "inverter"]
        if len(feeds) != 1 or feeds[0].kind != "utility":
            return None
        source = feeds[0].sources[0]
        if source.high_leg and source.fault_current_kind != "three-phase" and source.fault_current_max_a is not None:
            return source.fault_current_max_a * (1.0 if kind == "line-line" else 2 / 3**0.5)
        if kind != "line-line" or len(feeds[0].lines) != 2:
            return None
        emfs = impedances.line_emfs_v(source)
        if isinstance(emfs, Missing) or abs(sum(emfs.values())) > 1e-6 * abs(next(iter(emfs.values()))):
            return None
        return source.fault_current_max_a

    def amounts(self, asked: tuple[tuple[int, int], ...]) -> dict[tuple[int, int], Amount]:
        """For each line node and number of lines the largest current of a short circuit there."""
        model = self.model
        others = {(node, lines): self.others(node, lines) for node, lines in asked}
        pairs = (self.pair(node, other) for (node, _), found in others.items() for _, other in found)
        wanted = dict.fromkeys(pair for pair in pairs if pair)
        circuits = [model.circuit, *([with_other_stand_ins(model)] if model.unknown else [])]
        studies = [Study(circuit, wanted) for circuit in circuits]
        loops = [dict(zip(study.pairs, study.loops, strict=True)) for study in studies]
        return {one: self.amount(one[0], found, loops) for one, found in others.items()}

    def pair(self, node: int, other: int) -> tuple[int, int] | None:
        """The nodes of the circuit between which a short circuit of two nodes lies; None where it drives nothing.

        Where both are one, the lines are of one phase, or nothing but an inverter drives the fault, whose current is added.
        """
        model = self.model
        a, b = model.node[node], model.node[other]
        return (a, b) if min(a, b) >= 0 and a != b and model.part[node] == model.part[other] else None

    def amount(self, node: int, others: list[tuple[str, int]], loops: list[dict[tuple[int, int], Loop]]) -> Amount:
        """The largest current at one node, over the kinds of short circuit."""
        model = self.model
        best, best_kind = 0.0, ""
        lacking: Missing | None = None
        for kind, other in others:
            pair = self.pair(node, other)
            if not pair:
                continue
            rise = model.offset_v[node] - model.offset_v[other]
            amounts = [abs((loop[pair].open_v + rise) / loop[pair].z_ohm) for loop in loops]
            if len(amounts) > 1 and abs(amounts[0] - amounts[1]) > SAME * max(amounts):
                lacking = lacking or self.currents.lacking(model, node, other)
                continue
            current = amounts[0] * (2 / 3**0.5 if kind == "three-phase" else 1)
            if (most := self.declared_most_a(node, kind)) is not None:
                current = min(current, most)
            if current > best:
                best, best_kind = current, kind
        return Amount(best, best_kind, lacking)

    def others(self, node: int, count: int) -> list[tuple[str, int]]:
        """The nodes of the same place against which a cable of some lines can have a short circuit."""
        identifier, terminal, conductor = self.network.nodes[node]
        found = []
        for line in LINES if count > 1 else ():
            other = self.network.find(identifier, terminal, line)
            if line != conductor and other >= 0 and self.island.live >> other & 1:
                found.append(("three-phase" if count == 3 else "line-line", other))
        neutral = self.network.find(identifier, terminal, "N")
        if neutral >= 0:
            found.append(("line-neutral", neutral))
        pe = next((part.pe for part in self.network.parts if node in part.lines), -1)
        if pe >= 0:
            found.append(("line-PE", pe))
        return found
