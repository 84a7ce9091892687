"""Rows, from the sources down: each stands as high as what hangs above it allows.

Conductors that leave the order of the tree run level between two rows, where no symbol stands.
"""

from __future__ import annotations

from onebond.reporting.diagram.frames import Column, Frames
from onebond.reporting.diagram.pieces import Infeed
from onebond.reporting.diagram.plan import (
    Chain,
    Label,
    PlacedBar,
    PlacedChain,
    PlacedEarth,
    PlacedFold,
    PlacedLoad,
    PlacedMark,
    PlacedSymbol,
    PlacedWire,
    Plan,
)
from onebond.reporting.diagram.structure import Edge, Spot, Unit
from onebond.result import DrawnLink

_BUCKET = 4.0


def plan(frames: Frames) -> Plan:
    """The finished picture of measured frames."""
    return _Rows(frames).plan()


class _Skyline:
    """How far down the drawing reaches at each place of its width."""

    def __init__(self) -> None:
        self.depth: dict[int, float] = {}

    def lowest(self, left: float, right: float) -> float:
        depth = self.depth
        return max((depth.get(i, 0.0) for i in range(int(left // _BUCKET), int(right // _BUCKET) + 1)), default=0.0)

    def add(self, left: float, right: float, bottom: float) -> None:
        for i in range(int(-(-left // _BUCKET)), int(right // _BUCKET)):
            if self.depth.get(i, 0.0) < bottom:
                self.depth[i] = bottom


class _Rows:
    """From frames to rows, and from rows to the plan."""

    def __init__(self, layout: Frames) -> None:
        self.layout = layout
        self.measures = layout.measures
        self.spots = layout.structure.spots
        self.sky = _Skyline()
        self.width = 0.0
        self.tracks: dict[tuple[int, int], float] = {}  # edge and channel -> y
        self.bottom = 0.0

    def plan(self) -> Plan:
        self.across()
        self.down()
        return self.drawn()

    def across(self) -> None:
        """Frames to their places, side by side."""
        at = 10.0
        stack: list[tuple[Unit, float]] = []
        for unit in self.layout.structure.roots:
            stack.append((unit, at))
            at += self.measures[unit.spot.id].width + 24
        self.width = at
        while stack:
            unit, x = stack.pop()
            m = self.measures[unit.spot.id]
            m.x = x
            stack.extend((inner, x + offset) for inner, offset in (*m.units, *m.inner))

    def column_of(self, edge: Edge) -> tuple[float, float]:
        """Where the way of an edge that leaves its order ends: its x, and its depth below the top of its spot."""
        m = self.measures[edge.upper]
        if edge.satellite:
            assert m.earth is not None
            for one, x, y in m.earth.lanes:
                if one is edge:
                    return m.x + m.earth_x + x, self.earth_top(self.spots[edge.upper]) + y
        for column in m.bottoms:
            if column.edge is edge:
                return m.x + column.x, m.below + column.height - (0.0 if m.shape else 2.0)
        raise LookupError(edge.link.id)

    def earth_top(self, spot: Spot) -> float:
        m = self.measures[spot.id]
        return m.shape.tap if m.shape else (14.0 if self.layout.conductors else 0.0)

    def lane_of(self, edge: Edge) -> float:
        m = self.measures[edge.lower]
        return m.x + next(x for one, x in m.lanes if one is edge)

    def down(self) -> None:
        """Rows, from the sources down."""
        rows: dict[int, list[Spot]] = {}
        for spot in self.spots.values():
            rows.setdefault(spot.rank, []).append(spot)
        last = max(rows, default=0)
        channels: dict[int, list[tuple[float, float, Edge]]] = {}
        for spot in self.spots.values():
            for edge in spot.side_ins:
                out = self.column_of(edge)[0]
                lane = self.lane_of(edge)
                m = self.measures[spot.id]
                if edge.role == "side":
                    channels.setdefault(spot.rank, []).append((min(out, lane), max(out, lane), edge))
                else:
                    up = m.x + m.up_lanes[id(edge)]
                    below = self.spots[edge.upper].rank + 1
                    channels.setdefault(below, []).append((min(out, up), max(out, up), edge))
                    channels.setdefault(spot.rank, []).append((min(lane, up), max(lane, up), edge))
        y = 0.0
        for rank in range(last + 2):
            spots = rows.get(rank, [])
            level = sorted(channels.get(rank, ()), key=lambda one: (one[0], one[1], one[2].link.id))
            base = max((self.sky.lowest(a - 4, b + 4) for a, b, _ in level), default=0.0) + 8
            used: list[list[tuple[float, float]]] = []
            for a, b, edge in level:
                number = 0
                while number < len(used) and any(a < d + 6 and c < b + 6 + self.layout.extra for c, d in used[number]):
                    number += 1
                if number == len(used):
                    used.append([])
                used[number].append((a, b + self.layout.extra))
                self.tracks[id(edge), rank] = base + number * self.layout.track
            floor = base + len(used) * self.layout.track if level else 0.0
            if rank > last:
                self.bottom = max(floor, *self.sky.depth.values(), 0.0)
                break
            y = y + 16 if rank else 10.0
            for spot in spots:
                m = self.measures[spot.id]
                for left, right, height in self.uppers(spot):
                    under = self.sky.lowest(m.x + left, m.x + right)
                    y = max(y, under + height + (4 if rank else 6))
                    for a, b, _ in level:
                        if a - 4 < m.x + right and m.x + left < b + 4 + self.layout.extra:
                            y = max(y, floor + height + 2)
            for spot in spots:
                m = self.measures[spot.id]
                m.y = y
            for spot in spots:
                self.sink(spot)
            # what a lower row holds may reach up beside this one, but not across the conductors between the rows
            for a, b, edge in level:
                self.sky.add(a - 4, b + 8 + self.layout.extra, self.tracks[id(edge), rank] + 4)

    def uppers(self, spot: Spot) -> list[tuple[float, float, float]]:
        """What reaches up from a spot: left, right and how far."""
        m = self.measures[spot.id]
        found = []
        if m.shape:
            found.append((m.axis - m.shape.left, m.label_x + m.label.width, 2.0 + m.above))
            for _, x in m.lanes:
                found.append((x - 3, x + 3 + self.layout.extra, m.above + 2))
            if m.above:
                xs = [x for _, x in m.lanes]
                found.append((min(xs) - 2, max(xs) + 2 + self.layout.extra, m.above + 2))
        else:
            found.append((m.bar[0], m.bar[1], 4.0))
            found.append((m.label_x, m.label_x + m.label.width + 4, m.label.height + 8))
        for column in m.infeeds:
            found.append((column.x - column.left, column.x + column.right, column.height + m.above + 4))
        for column in m.arrivals:
            found.append((column.x - column.left, column.x + column.right, column.height + m.above + 4))
        return found

    def sink(self, spot: Spot) -> None:
        """Enters what a spot and its columns cover."""
        m, sky = self.measures[spot.id], self.sky
        top = m.y + m.below
        if m.shape:
            sky.add(
                m.x + m.axis - m.shape.left,
                m.x + m.label_x + m.label.width,
                m.y + max(m.shape.height, m.label.height + 4),
            )
            xs = [m.x + column.x for column in m.bottoms]
            if m.bottom_jogs and xs:
                sky.add(min(xs), max(xs), top)
        else:
            sky.add(m.x + m.bar[0], m.x + m.bar[1], top + 4)
            sky.add(m.x + m.label_x, m.x + m.label_x + m.label.width + 4, m.y)
        for column in (*m.infeeds, *m.arrivals):
            sky.add(m.x + column.x - column.left, m.x + column.x + column.right, m.y - m.above)
        if m.earth:
            sky.add(m.x + m.earth_x, m.x + m.earth_x + m.earth.right, m.y + self.earth_top(spot) + m.earth.height)
        for column in m.bottoms:
            sky.add(m.x + column.x - column.left, m.x + column.x + column.right - 1, top + column.height)
        for unit, offset in m.units:
            for column, x in self.measures[unit.spot.id].ways:
                if column.edge is not None and column.edge.upper == spot.id:
                    at = m.x + offset + x
                    sky.add(at - column.left, at + column.right - 1, top + column.height)

    # -- the plan ----------------------------------------------------------------------------------------------------

    def drawn(self) -> Plan:
        self.bars: list[PlacedBar] = []
        self.symbols: list[PlacedSymbol] = []
        self.chains: list[PlacedChain] = []
        self.wires: list[PlacedWire] = []
        self.loads: list[PlacedLoad] = []
        self.folds: list[PlacedFold] = []
        self.earths: list[PlacedEarth] = []
        self.marks: list[PlacedMark] = []
        for spot in self.spots.values():
            self.draw(spot)
        return Plan(
            self.right_end(),
            self.bottom + 10,
            tuple(self.bars),
            tuple(self.symbols),
            tuple(self.chains),
            tuple(self.wires),
            tuple(self.loads),
            tuple(self.folds),
            tuple(self.earths),
            tuple(self.marks),
            self.layout.conductors,
        )

    def right_end(self) -> float:
        return max(self.width - 14, 60.0)

    def draw(self, spot: Spot) -> None:
        m, place = self.measures[spot.id], spot.place
        out_ports: list[tuple[float, DrawnLink]] = []
        for column in m.bottoms:
            x = m.x + column.x
            if column.kind == "load":
                assert isinstance(column.payload, Label)
                self.loads.append(PlacedLoad(place, x, m.y + m.below - 2, column.payload))
                continue
            if column.kind == "fold":
                assert isinstance(column.payload, Label)
                self.folds.append(PlacedFold(spot.id, tuple(spot.leaves), x, m.y + m.below - 2, column.payload))
                continue
            chain = column.payload
            assert isinstance(chain, Chain)
            start = self.leave(spot, column.edge, x, chain)
            out_ports.append((x, chain.link))
            self.chains.append(PlacedChain(chain, x, start, start + chain.height))
            end = start + chain.height
            if column.kind == "leaf":
                load = self.layout.places[chain.link.finish]
                self.loads.append(PlacedLoad(load, x, end, self.layout.load_label(load.id)))
            elif column.kind == "away":
                text = f"to sheet {column.sheet}"
                self.marks.append(PlacedMark(chain.link, x, end, text, False))
        for unit, offset in m.units:
            for column, at in self.measures[unit.spot.id].ways:
                edge = column.edge
                if edge is None or edge.upper != spot.id:
                    continue
                x = m.x + offset + at
                assert isinstance(column.payload, Chain)
                start = self.leave(spot, edge, x, column.payload)
                out_ports.append((x, edge.link))
                self.chains.append(PlacedChain(column.payload, x, start, start + column.height))
                self.arrive(edge, x, start + column.height)
        for edge in (edge for edge in spot.sides if edge.role == "lane"):
            x, deep = self.column_of(edge)
            self.arrive(edge, x, m.y + deep)
        for edge in (edge for edge in spot.side_ins):
            self.lead(edge)
        for column in m.infeeds:
            self.infeed(spot, column)
        for column in m.arrivals:
            assert isinstance(column.payload, str) and column.edge is not None
            top = m.y - m.above - column.height
            self.marks.append(PlacedMark(column.edge.link, m.x + column.x, top, column.payload, True))
            self.arrive(column.edge, m.x + column.x, top + 30)
        if m.shape:
            self.symbols.append(
                PlacedSymbol(place, m.x + m.axis, m.y, m.shape, m.label, spot.upside_down, m.x + m.label_x)
            )
        else:
            tops = tuple((m.x + x, edge.link) for edge, x in m.lanes)
            self.bars.append(PlacedBar(place, m.x + m.bar[0], m.x + m.bar[1], m.y, m.label, tops, tuple(out_ports)))
        if m.earth:
            tap = (m.x + m.axis, m.y + m.shape.tap) if m.shape else None
            self.earths.append(PlacedEarth(place, m.earth, m.x + m.earth_x, m.y + self.earth_top(spot), tap))

    def leave(self, spot: Spot, edge: Edge | None, x: float, chain: Chain) -> float:
        """From the port of a spot to the column of a way; returns where the way begins."""
        m = self.measures[spot.id]
        top = m.y + m.below
        if not m.shape:
            return m.y + (m.below - 2)
        name = (
            self.layout.port_name(edge, spot.id)
            if edge
            else ("" if "" in m.shape.bottom else next(iter(m.shape.bottom)))
        )
        port = m.x + m.axis + m.shape.bottom[name]
        start = m.y + m.shape.height
        if abs(port - x) < 0.5:
            points = [(x, start), (x, top)]
        else:
            level = top - m.bottom_jogs[name]
            points = [(port, start), (port, level), (x, level), (x, top)]
        self.wires.append(PlacedWire(chain.link, tuple(points), chain.down, False))
        return top

    def arrive(self, edge: Edge, x: float, y: float, before: tuple[tuple[float, float], ...] = ()) -> None:
        """From the end of a way down to the spot below it."""
        m = self.measures[edge.lower]
        if not m.shape:
            points = [*before, (x, y), (x, m.y)]
        else:
            name = self.layout.port_name(edge, edge.lower)
            port = m.x + m.axis + m.shape.top[name]
            if abs(port - x) < 0.5:
                points = [*before, (x, y), (x, m.y)]
            else:
                level = m.y - m.top_jogs[name]
                points = [*before, (x, y), (x, level), (port, level), (port, m.y)]
        self.wires.append(PlacedWire(edge.link, tuple(points), edge.down, True))

    def lead(self, edge: Edge) -> None:
        """A conductor that leaves the order: level between rows to the lane of its place."""
        x, deep = self.column_of(edge)
        start = self.measures[edge.upper].y + deep
        lane = self.lane_of(edge)
        m = self.measures[edge.lower]
        rank = self.spots[edge.lower].rank
        level = self.tracks[id(edge), rank]
        if edge.role == "side":
            self.arrive(edge, lane, level, ((x, start), (x, level)))
            return
        up = m.x + m.up_lanes[id(edge)]
        low = self.tracks[id(edge), self.spots[edge.upper].rank + 1]
        self.arrive(edge, lane, level, ((x, start), (x, low), (up, low), (up, level)))

    def infeed(self, spot: Spot, column: Column) -> None:
        infeed = column.payload
        assert isinstance(infeed, Infeed)
        m = self.measures[spot.id]
        x = m.x + column.x
        top = m.y - m.above - column.height - 2
        self.symbols.append(
            PlacedSymbol(infeed.place, x, top, infeed.shape, infeed.label, False, x + infeed.shape.right + 6)
        )
        begin = top + infeed.below
        self.wires.append(
            PlacedWire(infeed.edge.link, ((x, top + infeed.shape.height), (x, begin)), infeed.edge.down, False)
        )
        self.chains.append(PlacedChain(infeed.chain, x, begin, begin + infeed.chain.height))
        self.arrive(infeed.edge, x, begin + infeed.chain.height)
        if infeed.earth:
            at = x - infeed.shape.left - 6 - infeed.earth.right
            self.earths.append(
                PlacedEarth(infeed.place, infeed.earth, at, top + infeed.shape.tap, (x, top + infeed.shape.tap))
            )
