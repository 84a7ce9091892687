"""Currents of the direct-current side: what a short circuit draws at each place, and the leads of a battery that nothing protects.

Batteries are an EMF behind their resistance, cables their resistance; arrays add their short-circuit current wherever they are
joined.  What the capacitors and the charger of an inverter add is left out: the description does not say it.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from itertools import combinations
from typing import NamedTuple

from onebond.circuit import impedances
from onebond.circuit.components import batteries
from onebond.circuit.direct import short_circuits
from onebond.circuit.impedances import Missing
from onebond.circuit.parts import Branch
from onebond.facts.currents import SAME
from onebond.facts.direct_wiring import LIMIT, POLES, Side, Spot, Wiring, cables, spots
from onebond.facts.peaks import BREAKS, Peak
from onebond.model import DIRECT, Connection, Device, DirectSource
from onebond.network import frame_of, is_bar
from onebond.result import Mention
from onebond.span import Route

NEAR_OHM, FAR_OHM = 1e-6, 1e8
"""Stand-ins of a resistance that is not known: one that limits nothing, and one that lets nothing through."""


SHOWN = 64
"""Most positions of a direct-current side over which the least currents are worked out: they are shown, and judge nothing."""


class Amount(NamedTuple):
    """A current at a place in A: what is known of it, what is lacking, and what it is not above whatever is lacking."""

    known_a: float
    lacking: Missing | None
    at_most_a: float | None


class DirectCurrent(NamedTuple):
    """The short-circuit currents at one place of the direct-current side, over all positions of its switches."""

    place: str
    terminal: str
    largest: Amount
    least: Amount  # of the positions in which a battery is joined to it
    sources: tuple[str, ...]  # that may be joined to it


class _Element(NamedTuple):
    """A branch of the circuit, with what it lacks."""

    a: int
    b: int
    ohm: float | Missing
    emf_v: float


class Solver:
    """The circuit of one direct-current side in one position of its switches, for the largest or for the least currents."""

    def __init__(self, wiring: Wiring, largest: bool) -> None:
        self.wiring = wiring
        self.side = wiring.side
        self.largest = largest
        self.number: dict[Spot, int] = {}
        self.contacts: list[tuple[int, int]] = []
        self.elements: list[_Element] = []
        self.links = cables(self.side.network)
        for edge in wiring.edges:
            self.wire(self.node(edge.a), self.node(edge.b), edge.core, self.links.get(edge.element))
        for one in self.side.sources:
            if one.kind == "battery":
                self.battery(one)

    def node(self, spot: Spot) -> int:
        """The number of a spot."""
        return self.number.setdefault(spot, len(self.number))

    def wire(self, a: int, b: int, core: str, link: Connection | None) -> None:
        """A core of a cable; a contact of a changeover and a bar inside an enclosure have no resistance."""
        site = self.side.network.installation
        if link is None or is_bar(site, link):
            self.contacts.append((a, b))
            return
        ohm = impedances.core_ohm(link, core, warm=not self.largest)
        if isinstance(ohm, Missing):
            self.elements.append(_Element(a, b, ohm, 0.0))
        elif ohm.real < NEAR_OHM:
            self.contacts.append((a, b))
        else:
            self.elements.append(_Element(a, b, ohm.real, 0.0))

    def battery(self, one: DirectSource) -> None:
        """A battery as two halves where its middle is brought out, so that each half drives its own fault."""
        ohm, emf_v = battery_of(one, self.largest)
        if isinstance(ohm, float):
            ohm /= 2
        plus, middle, minus = (self.node((one.id, "", core)) for core in ("DC+", "M", "DC-"))
        self.elements.append(_Element(minus, middle, ohm, emf_v / 2))
        self.elements.append(_Element(middle, plus, ohm, emf_v / 2))

    def solved(self, pairs: list[tuple[int, int]], near: frozenset[int]) -> list[float | None]:
        """The currents at some pairs; the unknown resistances that are ``near`` limit nothing, the others let nothing through."""
        branches = [
            Branch(e.a, e.b, e.ohm if isinstance(e.ohm, float) else NEAR_OHM if i in near else FAR_OHM, e.emf_v)
            for i, e in enumerate(self.elements)
        ]
        return short_circuits(len(self.number), self.contacts, branches, pairs)

    def at(self, place: tuple[str, str]) -> Amount:
        """The largest current between any two conductors of a place that has two, or the least of those that flow."""
        own = [self.node(spot) for spot in spots(self.side, place)]
        pairs = list(combinations(own, 2))
        unknown: dict[Missing, list[int]] = {}
        for number, element in enumerate(self.elements):
            if isinstance(element.ohm, Missing):
                unknown.setdefault(element.ohm, []).append(number)
        known = self.worst(self.solved(pairs, frozenset()))
        if known is None:
            return Amount(0.0, Missing(place[0], (), f"nothing limits the current at {place[0]}"), None)
        # one entry that matters alone; else the first of several that matter together
        tried = [(missing, frozenset(numbers)) for missing, numbers in unknown.items()]
        tried += [(missing, frozenset(n for _, some in tried for n in some)) for missing in list(unknown)[:1]]
        lacking = next((missing for missing, near in tried if not self.alike(known, pairs, near)), None)
        added, more = self.arrays(place)
        at_most = None
        if more is None:
            every = [self.declared(one) for one in self.joined(place) if one.kind == "battery"]
            stated = [one for one in every if one is not None]
            at_most = sum(stated) + added if len(stated) == len(every) else None
            if lacking is None:
                at_most = known + added
        return Amount(known + added, lacking or more, at_most)

    def alike(self, known_a: float, pairs: list[tuple[int, int]], near: frozenset[int]) -> bool:
        """Whether a current stays what it is when some unknown resistances limit nothing."""
        other = self.worst(self.solved(pairs, near))
        return other is not None and abs(other - known_a) <= SAME * max(other, known_a)

    def worst(self, currents: Iterable[float | None]) -> float | None:
        """The largest of some currents, or the least of those that flow; None where nothing limits one of them."""
        flowing = []
        for one in currents:
            if one is None:
                return None
            if one > 0:
                flowing.append(one)
        return (max if self.largest else min)(flowing, default=0.0)

    def joined(self, place: tuple[str, str]) -> list[DirectSource]:
        """The sources that are joined to a place in this position of the switches."""
        parts = self.wiring.parts
        own = spots(self.side, place)
        return [one for one in self.side.sources if any(parts.one((one.id, "", DIRECT[0]), spot) for spot in own)]

    def arrays(self, place: tuple[str, str]) -> tuple[float, Missing | None]:
        """What arrays add at most, in A; the least is that of the night."""
        added, lacking = 0.0, None
        for one in self.joined(place) if self.largest else ():
            if one.kind == "pv":
                if not one.fault_current_a:
                    lacking = lacking or Missing(f"the fault-current of {one.id}", one.route)
                else:
                    added += one.fault_current_a
        return added, lacking

    @staticmethod
    def declared(one: DirectSource) -> float | None:
        """The current at the terminals of a battery that it does not exceed, in A."""
        ohm, emf_v = battery_of(one, True)
        if not isinstance(ohm, Missing):
            return emf_v / ohm
        return None if ohm.reason else one.fault_current_a


def battery_of(one: DirectSource, largest: bool) -> tuple[float | Missing, float]:
    """Resistance in ohm and EMF in V of a battery: full and in its first moments, or nearly empty and lasting.

    A written short-circuit current is taken to be the largest that it gives; else it follows from the internal resistance.
    """
    if one.voltage_v is None:
        return Missing(f"the voltage of {one.id}", one.route), 1.0  # any voltage: it shows what rests on it
    written, current_a = one.internal_resistance_ohm, one.fault_current_a
    if written is None and current_a is None:
        return Missing(f"the fault-current or the internal-resistance of {one.id}", one.route), one.voltage_v
    try:
        if largest:
            emf_v = batteries.HIGHEST_TIMES_RATED * one.voltage_v
            if current_a is not None:
                return batteries.internal_ohm(emf_v, current_a), emf_v
            assert written is not None
            batteries.short_circuit_a(emf_v, written)
            return batteries.FIRST_OHM * written, emf_v
        emf_v = batteries.SUSTAINED_EMF * batteries.LEAST_TIMES_RATED * one.voltage_v
        if written is None:
            assert current_a is not None
            written = batteries.internal_ohm(one.voltage_v, current_a)
        batteries.short_circuit_a(emf_v, written)
        return written, emf_v
    except ValueError as refused:
        return Missing(f"the figures of {one.id}", one.route, f"{one.id}: {refused}"), one.voltage_v


def direct_currents(all_sides: Iterable[Side]) -> tuple[DirectCurrent, ...]:
    """The currents at every place of the direct-current sides; none for a side with too many positions of its switches."""
    found = []
    for side in all_sides:
        high = [Solver(wiring, True) for wiring in side.widest()]
        every = side.wirings()
        low = [Solver(wiring, False) for wiring in every] if len(every) <= SHOWN else []
        for place in side.places:
            if high and len(spots(side, place)) > 1:
                sources = dict.fromkeys(one.id for solver in high for one in solver.joined(place))
                largest = _most([solver.at(place) for solver in high])
                found.append(DirectCurrent(*place, largest, _least(place, low), tuple(sources)))
    return tuple(found)


def _most(amounts: list[Amount]) -> Amount:
    """The largest of the amounts in several positions."""
    bounds = [one.at_most_a for one in amounts if one.at_most_a is not None]
    return Amount(
        max(one.known_a for one in amounts),
        next((one.lacking for one in amounts if one.lacking), None),
        max(bounds) if len(bounds) == len(amounts) else None,
    )


def _least(place: tuple[str, str], solvers: list[Solver]) -> Amount:
    """The least of the amounts in the positions that a battery feeds a place in."""
    if not solvers:
        why = f"the d.c. side of {place[0]} has more than {SHOWN} positions of its switches"
        return Amount(0.0, Missing(place[0], (), why), None)
    fed = [one for one in solvers if any(source.kind == "battery" for source in one.joined(place))]
    amounts = [solver.at(place) for solver in fed]
    if not amounts:
        return Amount(0.0, None, 0.0)
    return Amount(
        min(one.known_a for one in amounts), next((one.lacking for one in amounts if one.lacking), None), None
    )


def direct_peaks(all_sides: Iterable[Side], currents: Iterable[DirectCurrent]) -> tuple[Peak, ...]:
    """Every device of the direct-current sides that breaks short circuits, with the largest current at an end of its cable."""
    at = {(one.place, one.terminal): one.largest for one in currents}
    found: list[Peak] = []
    for side in all_sides:
        links = cables(side.network)
        for link in [links[name] for name in dict.fromkeys(edge.element for edge in side.edges) if name in links]:
            ends = [(end.id, end.terminal) for end in (link.start, link.finish)]
            largest = _most([at[end] for end in ends if end in at] or [_elsewhere(side, link)])
            found.extend(
                Peak(device, link.id, None, largest.known_a, "between poles", largest.lacking, largest.at_most_a, True)
                for device in link.devices
                if breaks(device)
            )
    return tuple(found)


def _elsewhere(side: Side, link: Connection) -> Amount:
    """The current through a cable at whose ends none was worked out: no more than all sources of the side together give."""
    given = [Solver.declared(one) if one.kind == "battery" else one.fault_current_a for one in side.sources]
    known = [one for one in given if one]
    why = f"one pole alone lands at each end of {link.id}"
    if not side.widest():
        why = f"the d.c. side of {link.id} has more than {LIMIT} positions of its switches"
    return Amount(0.0, Missing(link.id, link.route, why), sum(known) if len(known) == len(given) else None)


def breaks(device: Device) -> bool:
    """Whether a device breaks a short circuit of the direct-current side."""
    return device.kind in BREAKS and any(core in DIRECT for core in device.poles)


class BatteryLeads(NamedTuple):
    """A battery, with the ways that a short circuit behind it takes without meeting an overcurrent device."""

    id: str
    route: Route
    island: None
    source: DirectSource
    bare: tuple[Mention, ...]  # cables to inverters and loads that such a way reaches
    ways: tuple[tuple[Mention, float | Missing], ...]  # places that it reaches, with its length in m
    fault_a: Amount
    earthed_unknown: bool  # whether a device in one pole is enough rests on which pole is earthed


def battery_leads(all_sides: Iterable[Side], currents: Iterable[DirectCurrent]) -> tuple[BatteryLeads, ...]:
    """Every battery that something is joined to."""
    at = {one.place: one.largest for one in currents}
    found = []
    for side in all_sides:
        for one in side.sources:
            if one.kind == "battery":
                found.append(_Walk(side, one).leads(at.get(one.id, Amount(0.0, None, None))))
    return tuple(found)


def _longest(lengths: Iterable[float | Missing]) -> float | Missing:
    """The longest of some lengths in m; the first that is not known."""
    longest = 0.0
    for one in lengths:
        if isinstance(one, Missing):
            return one
        longest = max(longest, one)
    return longest


class _Walk:
    """From each pole of a battery along everything that no overcurrent device opens for that pole."""

    def __init__(self, side: Side, battery: DirectSource) -> None:
        self.side = side
        self.battery = battery
        self.site = side.network.installation
        self.links = cables(side.network)
        self.batteries = {one.id for one in side.sources if one.kind == "battery"}
        self.around: dict[Spot, list[tuple[str, str, Spot]]] = {}
        for edge in side.edges:
            self.around.setdefault(edge.a, []).append((edge.element, edge.core, edge.b))
            self.around.setdefault(edge.b, []).append((edge.element, edge.core, edge.a))

    @cached_property
    def earthed(self) -> set[str]:
        """The conductors that are tied to earth: by the battery itself, else by other sources on its conductors."""
        own = self.battery.earthed_pole
        together = Wiring(self.side, None).together(self.battery)
        words = [own] if own in POLES else [one.earthed_pole for one in together]
        return {POLES[word] for word in words if word in POLES}

    def bare(self, pole: str) -> dict[str, tuple[Mention, float | Missing]]:
        """The equipment that a pole reaches without an overcurrent device in it: by which cable, and how far it is."""
        reached: dict[str, tuple[Mention, float | Missing]] = {}
        waiting: list[tuple[Spot, float | Missing]] = [((self.battery.id, "", pole), 0.0)]
        seen = {waiting[0][0]}
        while waiting:
            spot, far = waiting.pop(0)
            for element, core, other in self.around.get(spot, ()):
                link = self.links.get(element)
                devices = link.devices if link is not None else ()
                if other in seen or any(breaks(device) and core in device.poles for device in devices):
                    continue
                seen.add(other)
                length = self.longer(far, link)
                if other[0] in self.batteries:
                    # links between the blocks of a bank; in series the way goes on at the far pole
                    following = other if other[2] == pole or other[2] == "M" else (other[0], "", pole)
                    seen.add(following)
                    waiting.append((following, length))
                else:
                    route = link.route if link is not None else ()
                    told = f"no overcurrent device between {self.battery.id} and {other[0]}"
                    reached.setdefault(other[0], (Mention(element, route, told), length))
                    waiting.append((other, length))
        return reached

    def leads(self, fault_a: Amount) -> BatteryLeads:
        """What a current from pole to pole, or from a pole to an earthed frame, reaches without a device that breaks it."""
        by_pole = {pole: self.bare(pole) for pole in DIRECT if pole not in self.earthed}
        enough = 1 if self.earthed else 2
        inverters = {one.id for one in self.side.inverters}
        circuits = {one.id for one in self.site.circuits}
        bare: list[Mention] = []
        ways: list[tuple[Mention, float | Missing]] = []
        doubtful = False
        for place in dict.fromkeys(place for reached in by_pole.values() for place in reached):
            found = [reached[place] for reached in by_pole.values() if place in reached]
            end = place in inverters or place in circuits
            if len(found) < enough:
                doubtful = doubtful or (end and self.battery.earthed_pole is None)
            elif end:
                bare.append(found[0][0])
            else:
                ways.append((found[0][0], _longest(length for _, length in found)))
        return BatteryLeads(
            *(self.battery.id, self.battery.route, None, self.battery),
            tuple(bare),
            tuple(ways),
            fault_a,
            doubtful,
        )

    def longer(self, far: float | Missing, link: Connection | None) -> float | Missing:
        """The length of a way with one more cable, in m."""
        if link is None or isinstance(far, Missing):
            return far
        if link.length_m is None:
            if frame_of(self.site, link.start.id) == frame_of(self.site, link.finish.id):
                return far
            return Missing(f"the length of {link.id}", link.route)
        return far + link.length_m
