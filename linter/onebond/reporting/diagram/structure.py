"""What hangs on what: the installation as a draughtsman sees it before the first line is drawn.

Sources that feed one place stand over it, final circuits hang from their board, places that only hold PE hang from the place that
they earth.  What is left is a graph of *spots*.  Its edges point from the source side to the load side; each spot hangs under the
spot that everything on the way to it passes (its dominator), so that an inverter beside its bypass stands between the board above
and the changeover below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from onebond.result import Drawing, DrawnBond, DrawnElectrode, DrawnLink, DrawnMetal, DrawnMonitor, DrawnPlace

_SLIM = 3
"""Most spots between a board and the place where two ways from it meet again, for the ways to be drawn side by side."""


class Edge:
    """A cable between two spots, from the upper to the lower one; ``down`` says that the file writes it in this direction."""

    __slots__ = ("down", "link", "lower", "lower_terminal", "role", "satellite", "upper", "upper_terminal")

    def __init__(self, link: DrawnLink, down: bool) -> None:
        self.link = link
        self.down = down
        self.upper, self.upper_terminal = link.start, link.start_terminal
        self.lower, self.lower_terminal = link.finish, link.finish_terminal
        if not down:
            self.upper, self.lower = self.lower, self.upper
            self.upper_terminal, self.lower_terminal = self.lower_terminal, self.upper_terminal
        self.role = ""  # way | lane | side | up
        self.satellite = ""  # it leaves from this PE-only place, which hangs from `upper`

    @property
    def earth(self) -> bool:
        """Whether it is a protective conductor alone."""
        return not live_cores(self.link)


class EarthTree:
    """What ties a place to earth, and the PE-only places that hang from it."""

    __slots__ = ("bonds", "children", "electrodes", "lanes", "link", "metals", "monitors", "place", "stubs")

    def __init__(self, place: str, link: DrawnLink | None = None) -> None:
        self.place = place
        self.link = link  # by which it hangs; None at the place itself
        self.bonds: list[DrawnBond] = []
        self.monitors: list[DrawnMonitor] = []
        self.electrodes: list[DrawnElectrode] = []
        self.metals: list[tuple[DrawnMetal, bool]] = []  # drawn here, or only referred to
        self.children: list[EarthTree] = []
        self.lanes: list[Edge] = []
        self.stubs: list[tuple[DrawnLink, str, bool]] = []  # a conductor to another place, whole or only its end

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return not (
            self.bonds or self.monitors or self.electrodes or self.metals or self.children or self.lanes or self.stubs
        )


class Spot:
    """A place with everything that is drawn together with it."""

    def __init__(self, place: DrawnPlace) -> None:
        self.place = place
        self.id = place.id
        self.ins: list[Edge] = []
        self.outs: list[Edge] = []
        self.leaves: list[DrawnLink] = []
        self.infeeds: list[tuple[DrawnPlace, Edge, EarthTree]] = []
        self.earth = EarthTree(place.id)
        self.rank = 0
        self.units: list[Unit] = []
        self.sides: list[Edge] = []  # edges that leave it for a place elsewhere
        self.side_ins: list[Edge] = []
        self.upside_down = False  # a changeover fed at its common side
        self.away: list[tuple[Edge, int]] = []  # ways to another sheet, with its number
        self.arrives: list[tuple[Edge, int]] = []


class Unit:
    """A spot with what stands over it between its dominator and itself: ways, and spots whose ways all end at it."""

    def __init__(self, spot: Spot) -> None:
        self.spot = spot
        self.tops: list[Edge | Unit] = []


class Structure:
    """The spots in the order of the file, and the units that hang from nothing."""

    def __init__(self, spots: dict[str, Spot], roots: list[Unit]) -> None:
        self.spots = spots
        self.roots = roots


def live_cores(link: DrawnLink) -> tuple[str, ...]:
    """The cores of a cable that are not PE."""
    return tuple(core for core in link.cores if core != "PE")


def arrange(drawing: Drawing) -> Structure:
    """Everything in its order."""
    places = {place.id: place for place in drawing.places}
    links = _links_of(drawing)
    attached = _attached(drawing)
    leaves = {
        place.id
        for place in drawing.places
        if place.kind == "circuit" and len(links[place.id]) == 1 and place.id not in attached
    }
    hosts, trees = _satellites(drawing, places, links)
    infeeds = {
        place.id: links[place.id][0]
        for place in drawing.places
        if _pure(place)
        and len(links[place.id]) == 1
        and not _is_leaf(links[place.id][0], leaves)
        and not _pure(places[_other(links[place.id][0], place.id)])
        and _other(links[place.id][0], place.id) not in hosts
        and live_cores(links[place.id][0])
    }
    spots = {
        place.id: Spot(place)
        for place in drawing.places
        if place.id not in leaves and place.id not in infeeds and place.id not in hosts
    }
    for identifier, spot in spots.items():
        if identifier in trees:
            spot.earth = trees[identifier]
    earth_of = {identifier: spot.earth for identifier, spot in spots.items()}
    earth_of.update({identifier: tree for identifier, tree in trees.items() if identifier in hosts})
    up = {
        place.id for place in drawing.places if place.kind == "changeover" and _fed_at_common(place.id, drawing.links)
    }
    for identifier in up:
        spots[identifier].upside_down = True
    edges: list[Edge] = []
    for link in drawing.links:
        if _is_leaf(link, leaves):
            spots[link.start].leaves.append(link)
            continue
        edge = Edge(link, _downwards(link, places, up))
        source = next((end for end in (link.start, link.finish) if end in infeeds), "")
        if source:
            if edge.upper != source:
                edge = Edge(link, link.start == source)
            tree = EarthTree(source)
            earth_of[source] = tree
            spots[edge.lower].infeeds.append((places[source], edge, tree))
        elif _within(link, trees):
            continue
        elif link.start in hosts or link.finish in hosts:
            _from_satellite(link, hosts, spots, earth_of, edges)
        else:
            edges.append(edge)
    for bond in drawing.bonds:
        earth_of[bond.at].bonds.append(bond)
    for monitor in drawing.monitors:
        earth_of[monitor.at].monitors.append(monitor)
    for electrode in drawing.electrodes:
        earth_of[electrode.at].electrodes.append(electrode)
    for metal in drawing.metals:
        for i, at in enumerate(metal.joins):
            if at in earth_of:  # else it is on another sheet
                earth_of[at].metals.append((metal, i == 0))
    return Structure(spots, _hang(spots, edges))


def _links_of(drawing: Drawing) -> dict[str, list[DrawnLink]]:
    found: dict[str, list[DrawnLink]] = {place.id: [] for place in drawing.places}
    for link in drawing.links:
        found[link.start].append(link)
        found[link.finish].append(link)
    return found


def _attached(drawing: Drawing) -> set[str]:
    """Places that a bond, an electrode, a monitor or metal is at."""
    parts: tuple[Sequence[DrawnBond | DrawnMonitor | DrawnElectrode], ...] = (
        drawing.bonds,
        drawing.monitors,
        drawing.electrodes,
    )
    found = {one.at for part in parts for one in part}
    found.update(at for metal in drawing.metals for at in metal.joins)
    return found


def _pure(place: DrawnPlace) -> bool:
    return place.kind in ("utility", "generator") or (place.kind == "inverter" and not place.mains_input)


def _is_leaf(link: DrawnLink, leaves: set[str]) -> bool:
    return link.circuit and link.finish in leaves


def _other(link: DrawnLink, end: str) -> str:
    return link.finish if link.start == end else link.start


def _within(link: DrawnLink, trees: dict[str, EarthTree]) -> bool:
    """Whether it is the conductor by which a PE-only place hangs from another place."""
    return any(tree.link is link for end in (link.start, link.finish) if (tree := trees.get(end)))


def _satellites(
    drawing: Drawing, places: dict[str, DrawnPlace], links: dict[str, list[DrawnLink]]
) -> tuple[dict[str, str], dict[str, EarthTree]]:
    """PE-only places with the place that each of them hangs from at last, and their trees.

    A tree is there for each of them and for each place that one of them hangs from.
    """
    only_pe = {
        place.id
        for place in drawing.places
        if place.kind == "board" and links[place.id] and not any(live_cores(link) for link in links[place.id])
    }
    hosts: dict[str, str] = {}
    trees: dict[str, EarthTree] = {}
    queue = [place.id for place in drawing.places if place.id not in only_pe]
    waiting = [place.id for place in drawing.places if place.id in only_pe]
    seen = set(queue)
    while queue or waiting:
        if not queue:  # a group of PE-only places that earths nothing: the first stands for itself
            first = waiting.pop(0)
            if first in seen:
                continue
            seen.add(first)
            queue = [first]
        here = queue.pop(0)
        for link in links[here]:
            there = _other(link, here)
            if there in seen or there not in only_pe or live_cores(link):
                continue
            seen.add(there)
            hosts[there] = hosts.get(here, here)
            tree = trees.setdefault(here, EarthTree(here))
            trees[there] = EarthTree(there, link)
            tree.children.append(trees[there])
            queue.append(there)
    return hosts, trees


def _from_satellite(
    link: DrawnLink,
    hosts: dict[str, str],
    spots: dict[str, Spot],
    earth_of: dict[str, EarthTree],
    edges: list[Edge],
) -> None:
    """A further protective conductor of a PE-only place: led to the other place, or named at both ends where that is one too."""
    satellite = link.start if link.start in hosts else link.finish
    other = _other(link, satellite)
    if other in hosts or other not in spots or hosts[satellite] == other:
        earth_of[satellite].stubs.append((link, other, True))
        earth_of[other].stubs.append((link, satellite, False))
        return
    edge = Edge(link, link.start == satellite)
    edge.upper, edge.satellite = hosts[satellite], satellite
    edges.append(edge)
    earth_of[satellite].lanes.append(edge)


def _fed_at_common(changeover: str, links: Iterable[DrawnLink]) -> bool:
    """Whether a changeover distributes: what is written to it ends at its common side and leaves from its positions."""
    common = positions = 0
    for link in links:
        if link.finish == changeover:
            common += 1 if not link.finish_terminal else -1
        if link.start == changeover:
            positions += 1 if link.start_terminal else -1
    return common > 0 and positions > 0


def _downwards(link: DrawnLink, places: dict[str, DrawnPlace], up: set[str]) -> bool:
    """Whether a cable is written from its source side to its load side."""
    start = _side(places[link.start], link.start_terminal, link.start in up)
    finish = _side(places[link.finish], link.finish_terminal, link.finish in up)
    return start >= finish


def _side(place: DrawnPlace, terminal: str, up: bool) -> int:
    """1 where power comes out, -1 where it goes in, 0 where it may do either."""
    if place.kind in ("inverter", "transformer"):
        return -1 if terminal == "in" or terminal in place.inputs else 1
    if _pure(place):
        return 1
    if place.kind == "changeover":
        return (-1 if terminal else 1) * (-1 if up else 1)
    return -1 if place.kind == "circuit" else 0


# -- hanging -------------------------------------------------------------------------------------------------------------


def _hang(spots: dict[str, Spot], edges: list[Edge]) -> list[Unit]:
    """Ranks, dominators and units; returns what hangs from nothing."""
    forward: dict[str, list[Edge]] = {identifier: [] for identifier in spots}
    for edge in edges:
        if not edge.earth:
            forward[edge.upper].append(edge)
    order, turned = _order(spots, forward)
    place_in = {identifier: i for i, identifier in enumerate(order)}
    for identifier in order:
        for edge in forward[identifier]:
            if edge in turned:
                continue
            spots[edge.upper].outs.append(edge)
            spots[edge.lower].ins.append(edge)
            spots[edge.lower].rank = max(spots[edge.lower].rank, spots[identifier].rank + 1)
    dominator, depth = _dominators(spots, order)
    children: dict[str, list[str]] = {"": []}
    for identifier in order:
        children[identifier] = []
    for identifier in order:
        children[dominator[identifier]].append(identifier)
    size = dict.fromkeys(order, 1)
    for identifier in reversed(order):
        if dominator[identifier]:
            size[dominator[identifier]] += size[identifier]
    units = {identifier: Unit(spots[identifier]) for identifier in order}
    busy = {end for edge in edges if edge.earth or edge in turned for end in (edge.upper, edge.lower)}

    def owner(identifier: str, under: str) -> str:
        while dominator[identifier] != under:
            identifier = dominator[identifier]
        return identifier

    claimed: set[str] = set()
    over: list[tuple[str, str]] = []  # a spot stands under everything that hangs from another one
    for parent in ("", *order):
        siblings = children[parent]
        leaving: dict[str, set[str]] = {child: set() for child in siblings}
        restless = set()
        for child in siblings:
            stack = [child]
            while stack and size[child] <= _SLIM:
                here = stack.pop()
                stack.extend(children[here])
                if here in busy:
                    restless.add(child)
                for edge in spots[here].outs:
                    if depth[edge.lower] <= depth[child]:
                        leaving[child].add(edge.lower)
        for child in sorted(siblings, key=place_in.__getitem__):
            unit = units[child]
            direct = [edge for edge in spots[child].ins if edge.upper == parent]
            inner: list[str] = []
            for edge in spots[child].ins:
                if edge.upper == parent:
                    continue
                sibling = owner(edge.upper, parent)
                if (
                    sibling not in claimed
                    and sibling not in inner
                    and size[sibling] <= _SLIM
                    and sibling not in restless
                    and leaving[sibling] == {child}
                ):
                    inner.append(sibling)
            claimed.update(inner)
            over.extend((name, child) for name in inner)
            for edge in spots[child].ins:
                if edge.upper == parent:
                    edge.role = "way"
                elif owner(edge.upper, parent) in inner:
                    edge.role = "lane"
            unit.tops = [*direct, *(units[name] for name in inner)]
            unit.tops.sort(key=lambda top: _first_link(top, parent, spots, place_in))
    _lower(spots, order, over, children)
    roots: list[Unit] = []
    for identifier in order:
        if identifier in claimed:
            continue
        parent = dominator[identifier]
        (spots[parent].units if parent else roots).append(units[identifier])
    for parent in order:
        spots[parent].units.sort(
            key=lambda unit: min(_first_link(top, parent, spots, place_in) for top in unit.tops or [unit])
        )
    for edge in edges:
        if edge.role in ("way", "lane"):
            continue
        edge.role = "side" if spots[edge.lower].rank > spots[edge.upper].rank else "up"
        if not edge.satellite:
            spots[edge.upper].sides.append(edge)
        spots[edge.lower].side_ins.append(edge)
    for spot in spots.values():
        for edge in spot.outs:
            if edge.role == "lane":
                spot.sides.append(edge)
    return roots


def _lower(
    spots: dict[str, Spot], order: list[str], over: list[tuple[str, str]], children: dict[str, list[str]]
) -> None:
    """Ranks, so that a spot stands below whatever the ways to it hold."""
    pairs = [(edge.upper, edge.lower) for identifier in order for edge in spots[identifier].outs]
    for top, below in over:
        stack = [top]
        while stack:
            here = stack.pop()
            stack.extend(children[here])
            pairs.append((here, below))
    changed = bool(over)
    while changed:
        changed = False
        for above, below in pairs:
            if spots[below].rank <= spots[above].rank:
                spots[below].rank = spots[above].rank + 1
                changed = True


def _first_link(top: Edge | Unit, parent: str, spots: dict[str, Spot], place_in: dict[str, int]) -> tuple[int, int]:
    """Where a way comes among those of its board: by the order of the file."""
    if isinstance(top, Edge):
        outs = spots[parent].outs if parent else []
        return (outs.index(top) if top in outs else len(outs), 0)
    first = [_first_link(inner, parent, spots, place_in) for inner in top.tops]
    return min(first, default=(1 << 30, place_in[top.spot.id]))


def _order(spots: dict[str, Spot], forward: dict[str, list[Edge]]) -> tuple[list[str], set[Edge]]:
    """The spots so that each comes after those above it, and the edges that had to be left out because they close a ring."""
    entered = {edge.lower for edges in forward.values() for edge in edges}
    starts = [i for i, spot in spots.items() if _pure(spot.place)]
    starts += [i for i, spot in spots.items() if spot.infeeds and i not in starts]
    starts += [i for i in spots if i not in entered and i not in starts]
    done: list[str] = []
    state: dict[str, int] = {}  # 1: on the way down, 2: finished
    turned: set[Edge] = set()
    free = [i for i in starts if i not in entered]
    for start in (*free, *starts, *spots):
        if start in state:
            continue
        state[start] = 1
        stack = [(start, iter(forward[start]))]
        while stack:
            here, left = stack[-1]
            for edge in left:
                known = state.get(edge.lower, 0)
                if known == 1:
                    turned.add(edge)
                elif not known:
                    state[edge.lower] = 1
                    stack.append((edge.lower, iter(forward[edge.lower])))
                    break
            else:
                state[here] = 2
                done.append(here)
                stack.pop()
    done.reverse()
    return done, turned


def _dominators(spots: dict[str, Spot], order: list[str]) -> tuple[dict[str, str], dict[str, int]]:
    """For each spot the last one that every way to it passes ('' where there is none), and how deep it hangs."""
    dominator: dict[str, str] = {}
    depth = {"": 0}
    for identifier in order:
        common: str | None = None
        for edge in spots[identifier].ins:
            other = edge.upper
            if common is None:
                common = other
                continue
            while common != other:
                if depth[common] >= depth[other]:
                    common = dominator[common]
                else:
                    other = dominator[other]
        dominator[identifier] = common or ""
        depth[identifier] = depth[dominator[identifier]] + 1
    return dominator, depth
