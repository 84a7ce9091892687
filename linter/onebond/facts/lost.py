"""Single failures of the earth side: a protective conductor, a link or an electrode broken, and which frames then hang in the air."""

from __future__ import annotations

from typing import NamedTuple

from onebond.facts.currents import Currents
from onebond.facts.island import Island
from onebond.facts.service import InService
from onebond.facts.unknown import Unknown
from onebond.network import Tie
from onebond.span import Route
from onebond.states import holds

STEPS = 400_000
"""Most steps through protective conductors for one circuit; past it the failures of its protective conductors are left open."""


class Lost(NamedTuple):
    """What one broken protective conductor, link or electrode takes away in one case."""

    id: str
    route: Route
    island: Island
    sort: str  # pe | bond | electrode
    frames: tuple[str, ...]  # live frames that are then tied neither to a reference nor to an electrode
    floats: bool  # whether the neutral of the island is then tied to earth nowhere
    leaking_a: float | None  # what the protective conductor carries in normal service; None: not known, or not a cable


def lost(currents: Currents, service: InService) -> list[Lost]:
    """The failures of one circuit that take something away; an Unknown current is left out of them."""
    island, network = currents.island, currents.network
    around: dict[int, list[tuple[int, int]]] = {}
    # a pipe that joins the same places is no conductor to rely on
    edges = [edge for edge in network.earth if edge.element in currents.links and holds(edge.needs, island.state)]
    for number, edge in enumerate(edges):
        around.setdefault(edge.a, []).append((number, edge.b))
        around.setdefault(edge.b, []).append((number, edge.a))
    good = {reference.pe for reference in island.references}
    good.update(pe for _, pe in network.electrodes)
    frames = [part for part in network.parts if island.is_live(part.lines)]
    found: list[Lost] = []
    left = STEPS
    for number, edge in enumerate(edges):
        link = currents.links[edge.element]
        sides = []
        for start in (edge.a, edge.b):
            side = _reach(around, start, number)
            left -= len(side)
            sides.append(side)
        if left < 0:
            break
        if edge.b in sides[0]:
            continue  # another way joins the two ends
        if island.references and not any(side & good for side in sides):
            continue  # nothing held these frames before; without a reference at least they held each other
        hanging = tuple(part.id for side in sides if not side & good for part in frames if part.pe in side)
        if hanging:
            # a PEN on an earth bar is one of them, under its own name
            carried = _carried(service, link.id, edge.core)
            found.append(Lost(link.id, link.route, island, "pe", hanging, False, carried))
    found.extend(_links(island))
    routes = {electrode.id: electrode.route for electrode in network.installation.electrodes}
    for name, pe in network.electrodes:
        here = _reach(around, pe)
        # several may stand at one terminal
        left_over = {at for other, at in network.electrodes if other != name}
        left_over.update(reference.pe for reference in island.references)
        hanging = tuple(part.id for part in frames if part.pe in here)
        if hanging and not here & left_over:
            found.append(Lost(name, routes[name], island, "electrode", hanging, False, None))
    return found


def _links(island: Island) -> list[Lost]:
    """Links without which the neutral floats; a supplier's star point is not the installation's to lose."""
    found = []
    own: list[Tie] = [tie for tie in island.ties if tie.solid]
    for tie in own:
        if tie.kind == "bond" and len(own) == 1:
            found.append(Lost(tie.id, tie.route, island, "bond", (), True, None))
    return found


def _reach(around: dict[int, list[tuple[int, int]]], start: int, without: int = -1) -> set[int]:
    seen, stack = {start}, [start]
    while stack:
        for number, other in around.get(stack.pop(), ()):
            if number != without and other not in seen:
                seen.add(other)
                stack.append(other)
    return seen


def _carried(service: InService, link: str, core: str) -> float | None:
    try:
        return service.both(lambda _, flow: _size(flow.element(link, core)))
    except Unknown:
        return None


def _size(value: complex | None) -> float | None:
    return None if value is None else abs(value)
