"""The loop that an earthed pole closes through an inverter that separates nothing: pole, PE, neutral, bridge, and back.

How much of the voltage of its direct-current side the bridge puts on the neutral depends on its circuit, which no description says:
nothing where it keeps the neutral at the earthed pole, half where it keeps it at the middle, all of it in turn where it joins the
neutral to either pole.  So the loop has conductors and a resistance, and its current has bounds only.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import NamedTuple, TypeVar

from onebond.circuit import impedances
from onebond.circuit.impedances import Missing
from onebond.facts.direct_currents import battery_of
from onebond.facts.direct_wiring import POLES, Spot, Wiring, cables
from onebond.facts.island import Island, Reference
from onebond.model import DIRECT, DIRECT_INPUTS, DirectSource, Source
from onebond.network import Rcd, frame_of, is_bar
from onebond.states import holds

_Node = TypeVar("_Node", bound=Hashable)

_Way = list[tuple[str, str]]
"""Elements and the cores that are passed."""


class DirectLoop(NamedTuple):
    """What a direct current passes from the earthed pole on, and what limits it."""

    through: tuple[str, ...]  # cables and links, the earthed pole taken to be earthed at the frame of its source
    rcds: tuple[Rcd, ...]  # that sum one side of the loop and so see the direct current
    ohm: float | Missing  # at 20 C, over the shortest way; Missing also where soil is in it
    most_a: float | Missing  # what the source gives at its own terminals
    whole_a: float | Missing  # what it drives with all of its voltage on the loop


def loop_of(wiring: Wiring, source: DirectSource, inverter: Source, island: Island) -> DirectLoop:
    """The loop of one source through one inverter in a case in which its neutral is tied to earth."""
    network = island.network
    site = network.installation
    links = cables(network)
    pe = network.find(frame_of(site, source.id), "", "PE")
    reference = _nearest(island, pe)
    outer = _outer(wiring, source, inverter)
    neutral, edges = _neutral(island, inverter, reference)
    earth = _earth(island, reference.pe, pe)
    bonds = {bond.id: bond for bond in site.bonds}
    bond = next((bonds[one.id] for one in reference.ties if one.id in bonds), None)
    passed = [*(earth or []), *(((bond.id, ""),) if bond else ()), *neutral[::-1], *outer]
    through = tuple(
        dict.fromkeys(f"{core} of {name}" if core else name for name, core in passed if name != inverter.id)
    )
    rcds = tuple(rcd for rcd in island.rcds if rcd.edges & edges)
    ohm: float | Missing = 0.0
    if earth is None:
        ohm = Missing(source.id, source.route, "the soil is in the loop")
    for name, core in passed:
        link = links.get(name)
        if link is None or is_bar(site, link):
            continue
        one = impedances.core_ohm(link, core, warm=False)
        ohm = _sum(ohm, one if isinstance(one, Missing) else one.real)
    if bond is not None:
        link_ohm = impedances.bond_ohm(bond)
        ohm = _sum(ohm, link_ohm.real if isinstance(link_ohm, complex) else link_ohm or 0.0)
    return DirectLoop(through, rcds, ohm, *_currents(source, ohm))


def _sum(one: float | Missing, other: float | Missing) -> float | Missing:
    if isinstance(one, Missing):
        return one
    return other if isinstance(other, Missing) else one + other


def _currents(source: DirectSource, loop_ohm: float | Missing) -> tuple[float | Missing, float | Missing]:
    """What a source gives at most, and what it drives through a loop with its whole voltage, in A."""
    if source.kind == "pv":
        most = source.fault_current_a
        if most is None:
            lacking = Missing(f"the fault-current of {source.id}", source.route)
            return lacking, lacking
        if isinstance(loop_ohm, Missing) or source.voltage_v is None:
            return most, loop_ohm if isinstance(loop_ohm, Missing) else Missing(
                f"the voltage of {source.id}", source.route
            )
        return most, min(most, source.voltage_v / loop_ohm) if loop_ohm else most
    ohm, emf_v = battery_of(source, True)
    if isinstance(ohm, Missing):
        return (source.fault_current_a if source.fault_current_a is not None else ohm), ohm
    return emf_v / ohm, loop_ohm if isinstance(loop_ohm, Missing) else emf_v / (ohm + loop_ohm)


def _nearest(island: Island, pe: int) -> Reference:
    """The reference that conductors join to the frame of the source, else the first one; a link before a star point."""
    joined = [one for one in island.references if pe >= 0 and island.earth[one.pe] == island.earth[pe]]
    return min(joined or island.references, key=lambda one: one.kind == "star")


def _neutral(island: Island, inverter: Source, reference: Reference) -> tuple[_Way, frozenset[int]]:
    """From the terminals of an inverter to where its neutral is tied to earth; the edges too."""
    network = island.network
    ties = set(reference.n)
    starts = [network.number_of(inverter.id, "out", core) for core in ("N", *inverter.phases)]
    for start in starts:
        way = _shortest(start, ties, lambda node: [(i, other) for i, other, _ in island.ways[node]])
        if way is not None:
            elements = [(network.edges[i].element, network.edges[i].core) for i, _ in way]
            return elements, frozenset(i for i, _ in way)
    return [], frozenset()


def _earth(island: Island, start: int, pe: int) -> _Way | None:
    """From where the neutral is tied to earth to the frame of the source over protective conductors; None: soil is in it."""
    network = island.network
    around: dict[int, list[tuple[int, int]]] = {}
    for number, edge in enumerate(network.earth):
        if holds(edge.needs, island.state):
            around.setdefault(edge.a, []).append((number, edge.b))
            around.setdefault(edge.b, []).append((number, edge.a))
    way = _shortest(start, {pe}, lambda node: around.get(node, []))
    if way is None:
        return None
    return [(network.earth[i].element, "PE") for i, _ in reversed(way)]


def _outer(wiring: Wiring, source: DirectSource, inverter: Source) -> _Way:
    """From the inverter to the pole of the source that is not earthed."""
    around: dict[Spot, list[tuple[int, Spot]]] = {}
    for number, edge in enumerate(wiring.edges):
        around.setdefault(edge.a, []).append((number, edge.b))
        around.setdefault(edge.b, []).append((number, edge.a))
    earthed = POLES.get(source.earthed_pole or "", "")
    ends = {(inverter.id, terminal, core) for terminal in DIRECT_INPUTS for core in DIRECT}
    for pole in ("DC+", "DC-"):
        if pole != earthed:
            way = _shortest((source.id, "", pole), ends, lambda spot: around.get(spot, []))
            if way is not None:
                return [(wiring.edges[i].element, wiring.edges[i].core) for i, _ in reversed(way)]
    return []


def _shortest(
    start: _Node, ends: set[_Node], around: Callable[[_Node], Iterable[tuple[int, _Node]]]
) -> list[tuple[int, _Node]] | None:
    """The way with the fewest steps from a node to one of some ends, as (edge, node reached); None where there is none."""
    if start in ends:
        return []
    came: dict[_Node, tuple[int, _Node]] = {}
    ring = [start]
    while ring:
        following = []
        for node in ring:
            for edge, other in around(node):
                if other in came or other == start:
                    continue
                came[other] = (edge, node)
                if other in ends:
                    way = []
                    while other != start:
                        edge, before = came[other]
                        way.append((edge, other))
                        other = before
                    return way[::-1]
                following.append(other)
        ring = following
    return None
