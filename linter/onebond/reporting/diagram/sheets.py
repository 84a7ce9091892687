"""A large site over several sheets: each is a part of the distribution that fits, with references where a cable goes on."""

from __future__ import annotations

from typing import NamedTuple

from onebond.reporting.diagram.frames import Frames
from onebond.reporting.diagram.structure import EarthTree, Edge, Spot, Structure, Unit, arrange
from onebond.result import Drawing, DrawnLink

_STUB = 130.0  # the width of a way that goes on elsewhere
_ROW = 130.0  # a row of boards with what hangs from them, about


class SheetParts(NamedTuple):
    """What one sheet holds: its structure, and the places on it in the order of the file."""

    structure: Structure
    places: tuple[str, ...]


def divide(drawing: Drawing, layout: Frames, width: float, height: float) -> list[SheetParts]:
    """The parts of a site, the first with its sources; ``layout`` is the measured whole, width and height those of a sheet."""
    whole = layout.structure
    number_of = _numbers(whole, layout, width, height)
    sheets = max(number_of.values(), default=1)
    if sheets == 1:
        return [SheetParts(whole, tuple(place.id for place in drawing.places))]
    at: dict[str, int] = {}
    for identifier, spot in whole.spots.items():
        for place in _with(spot):
            at[place] = number_of[identifier]
    edges = {id(edge): edge for spot in whole.spots.values() for edge in (*spot.ins, *spot.side_ins)}
    crossing = [edge for edge in edges.values() if number_of[edge.upper] != number_of[edge.lower]]
    apart = {edge.link.id for edge in crossing}
    apart.update(link.id for link in drawing.links if at[link.start] != at[link.finish])
    parts = []
    for number in range(1, sheets + 1):
        part = arrange(_part(drawing, at, apart, number))
        for edge in crossing:
            _refer(part, edge, number_of, number)
        for link in drawing.links:
            if at[link.start] != at[link.finish] and not any(edge.link is link for edge in crossing):
                _stub(part, link, at, number)
        parts.append(SheetParts(part, tuple(place.id for place in drawing.places if at[place.id] == number)))
    return parts


def _with(spot: Spot) -> list[str]:
    """All places that are drawn together with a spot."""
    found = [spot.id, *(link.finish for link in spot.leaves), *(place.id for place, _, _ in spot.infeeds)]
    trees = [spot.earth, *(tree for _, _, tree in spot.infeeds)]
    while trees:
        tree = trees.pop()
        found.append(tree.place)
        trees.extend(tree.children)
    return found


def _part(drawing: Drawing, at: dict[str, int], apart: set[str], number: int) -> Drawing:
    def here(place: str) -> bool:
        return at[place] == number

    return drawing._replace(
        places=tuple(place for place in drawing.places if here(place.id)),
        links=tuple(link for link in drawing.links if here(link.start) and here(link.finish) and link.id not in apart),
        bonds=tuple(bond for bond in drawing.bonds if here(bond.at)),
        electrodes=tuple(electrode for electrode in drawing.electrodes if here(electrode.at)),
        monitors=tuple(monitor for monitor in drawing.monitors if here(monitor.at)),
    )


def _refer(part: Structure, edge: Edge, number_of: dict[str, int], number: int) -> None:
    if number_of[edge.upper] == number:
        away = Edge(edge.link, edge.down)
        away.role = "away"
        away.upper, away.satellite = edge.upper, ""
        part.spots[edge.upper].away.append((away, number_of[edge.lower]))
    if number_of[edge.lower] == number:
        arriving = Edge(edge.link, edge.down)
        arriving.role = "arrives"
        arriving.upper = edge.upper
        part.spots[edge.lower].arrives.append((arriving, number_of[edge.upper]))


def _stub(part: Structure, link: DrawnLink, at: dict[str, int], number: int) -> None:
    """A protective conductor between earth bars on two sheets."""
    for end, other, whole in ((link.start, link.finish, True), (link.finish, link.start, False)):
        if at[end] == number:
            tree = _tree(part, end)
            if tree is not None:
                tree.stubs.append((link, f"{other}, sheet {at[other]}", whole))


def _tree(part: Structure, place: str) -> EarthTree | None:
    for spot in part.spots.values():
        trees = [spot.earth, *(tree for _, _, tree in spot.infeeds)]
        while trees:
            tree = trees.pop()
            if tree.place == place:
                return tree
            trees.extend(tree.children)
    return None


# -- dividing ------------------------------------------------------------------------------------------------------------


class _Extent:
    """How wide and deep a unit is with what is left under it."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height


def _numbers(whole: Structure, layout: Frames, width: float, height: float) -> dict[str, int]:
    """The sheet of every spot."""
    extents: dict[int, _Extent] = {}
    cut: set[int] = set()
    order: list[Unit] = []
    stack = list(whole.roots)
    while stack:
        unit = stack.pop()
        order.append(unit)
        stack.extend(_below(unit))
    for unit in reversed(order):
        m = layout.measures[unit.spot.id]
        below = list(unit.spot.units)
        over = [top for top in unit.tops if isinstance(top, Unit)]
        own = m.width - sum(layout.measures[child.spot.id].width for child in below)
        own = max(own, m.label.width + 60)
        infeeds = max((column.height for column in m.infeeds), default=0.0)
        columns = max((column.height for column in m.bottoms), default=0.0)

        def extent(
            left: list[Unit], own: float = own, over: list[Unit] = over, deep: float = max(infeeds, columns)
        ) -> _Extent:
            wide = own + sum(_STUB if id(child) in cut else extents[id(child)].width for child in left)
            tall = max((_ROW if id(child) in cut else extents[id(child)].height for child in left), default=0.0)
            above = max((extents[id(top)].height for top in over), default=0.0)
            return _Extent(wide, max(tall, 0.0) + _ROW + above + max(0.0, deep - _ROW))

        now = extent(below)
        while now.width > width or now.height > height:
            tall = now.width <= width
            candidates = [
                child for child in below if id(child) not in cut and (tall or extents[id(child)].width > _STUB)
            ]
            if not candidates:
                break
            worst = max(candidates, key=lambda c: extents[id(c)].height if tall else extents[id(c)].width)
            cut.add(id(worst))
            now = extent(below)
        extents[id(unit)] = now
    numbers: dict[str, int] = {}
    number, room = 1, width
    waiting: list[tuple[Unit, int]] = [(root, 0) for root in whole.roots]
    while waiting:
        following: list[tuple[Unit, int]] = []
        for unit, above in waiting:
            wide = extents[id(unit)].width + 24
            if (room < wide and room < width) or above == number:  # a part never stands beside what it was cut off from
                number, room = number + 1, width
            room -= wide
            following.extend((child, number) for child in _assign(unit, number, numbers, cut))
        waiting = following
    return numbers


def _below(unit: Unit) -> list[Unit]:
    return [*unit.spot.units, *(top for top in unit.tops if isinstance(top, Unit))]


def _assign(root: Unit, number: int, numbers: dict[str, int], cut: set[int]) -> list[Unit]:
    """Puts a unit and all that is not cut off below it on a sheet; returns what is cut off, in order."""
    left: list[Unit] = []
    stack = [root]
    while stack:
        unit = stack.pop()
        numbers[unit.spot.id] = number
        for child in reversed(_below(unit)):
            if id(child) in cut:
                left.append(child)
            else:
                stack.append(child)
    return sorted(left, key=lambda unit: unit.spot.rank)
