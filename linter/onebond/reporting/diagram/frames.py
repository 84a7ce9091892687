"""Widths, from the loads up: a way has a column of its own, a board is as long as its ways are wide, a spot hangs under its ways.

No two columns share any width, so a conductor may always be led straight down.
"""

from __future__ import annotations

from collections.abc import Callable

from onebond.reporting.diagram import metrics
from onebond.reporting.diagram.pieces import Infeed, Labels, Pieces, joined, states_of
from onebond.reporting.diagram.plan import LEFT, PAD, TEXT, EarthColumn, Label, Shape, cores_in_short
from onebond.reporting.diagram.structure import Edge, Spot, Structure, Unit
from onebond.result import DrawnPlace

OWN = ("load", "leaf", "fold")  # columns that end in loads


class Column:
    """A strip below or above a spot that nothing else enters."""

    def __init__(
        self,
        kind: str,
        left: float,
        right: float,
        height: float,
        payload: object,
        edge: Edge | None = None,
        sheet: int = 0,
    ) -> None:
        self.kind = kind  # leaf | fold | load | way | side | infeed | lane | mark | away
        self.sheet = sheet
        self.left, self.right, self.height = left, right, height
        self.payload = payload
        self.edge = edge
        self.x = 0.0  # within the frame of its spot


class Measure:
    """The frame of a spot: what stands in it, and where."""

    def __init__(self) -> None:
        self.width = 0.0
        self.x = 0.0  # of the frame, in the drawing
        self.axis = 0.0
        self.bar = (0.0, 0.0)
        self.label_x = 0.0
        self.label = Label((), (), 0.0)
        self.shape: Shape | None = None
        self.bottoms: list[Column] = []  # without those of units
        self.units: list[tuple[Unit, float]] = []
        self.inner: list[tuple[Unit, float]] = []  # units that stand over it
        self.ways: list[tuple[Column, float]] = []  # from its dominator to it, or to a unit over it
        self.lanes: list[tuple[Edge, float]] = []  # where conductors from above come in
        self.infeeds: list[Column] = []
        self.arrivals: list[Column] = []
        self.side_lanes: list[tuple[Edge, float]] = []
        self.up_lanes: dict[int, float] = {}
        self.earth_x = 0.0
        self.earth: EarthColumn | None = None
        self.above = 0.0  # room for jogs over a symbol
        self.below = 0.0  # from the top of the spot to where its columns begin
        self.top_jogs: dict[str, float] = {}
        self.bottom_jogs: dict[str, float] = {}
        self.y = 0.0


class Frames(Pieces):
    """Measures one structure."""

    def __init__(
        self,
        structure: Structure,
        places: dict[str, DrawnPlace],
        labels: Labels,
        conductors: bool,
        solid: frozenset[str],
        fold: bool,
    ) -> None:
        self.fold = fold
        super().__init__(places, labels, conductors)
        self.structure = structure
        self.solid = solid  # changeovers on which a neutral lands that they do not switch
        self.measures: dict[str, Measure] = {}
        self.measure()

    def measure(self) -> None:
        """The frame of every spot, each after those that it holds."""
        stack: list[tuple[Unit, bool]] = [(unit, False) for unit in reversed(self.structure.roots)]
        while stack:
            unit, ready = stack.pop()
            if ready:
                self.measure_one(unit)
                continue
            stack.append((unit, True))
            stack.extend((inner, False) for inner in unit.tops if isinstance(inner, Unit))
            stack.extend((inner, False) for inner in unit.spot.units)

    def measure_one(self, unit: Unit) -> None:
        spot, place = unit.spot, unit.spot.place
        m = self.measures[spot.id] = Measure()
        m.earth = self.earth(spot.earth)
        tops, region = self.top_region(unit, m)
        self.bottom_columns(spot, m)
        barred = place.kind in ("board", "circuit")
        texts = list(place.texts)
        if place.inside:
            texts.append(f"in {place.inside}")
        if place.variable and place.variable != spot.id:
            texts.append(f"in {place.variable}")
        if place.kind == "changeover":
            solid = ", N solid" if spot.id in self.solid else ""
            texts.insert(0, f"{cores_in_short(place.poles)}{solid}")
        m.label = self.labels.make(
            ("place", spot.id), spot.id, texts if not barred else joined(texts), place.variable, states_of(place)
        )
        if place.kind == "circuit":
            m.label = self.labels.make(("", ""), "", ())
        if barred:
            self.frame_of_bar(spot, m, tops, region)
        else:
            self.frame_of_symbol(spot, m, tops, region)

    def top_region(self, unit: Unit, m: Measure) -> tuple[list[Column], float]:
        """What comes in from above, side by side: ways, infeeds, lanes."""
        at = 0.0
        tops: list[Column] = []
        for top in unit.tops:
            if isinstance(top, Edge):
                chain = self.chain(top.link, top.down)
                column = Column("way", LEFT, chain.right, chain.height, chain, top)
                column.x = at + LEFT
                at += column.left + column.right
                m.ways.append((column, column.x))
                tops.append(column)
            else:
                inner = self.measures[top.spot.id]
                m.inner.append((top, at))
                m.ways.extend((column, at + x) for column, x in inner.ways)
                for edge, x in self.lanes_to(top, at, unit.spot.id):
                    column = Column("lane", 6.0, 6.0 + self.extra, 0.0, None, edge)
                    column.x = x
                    tops.append(column)
                at += inner.width
        for place, edge, tree in unit.spot.infeeds:
            infeed = Infeed(self, place, edge, tree)
            column = Column("infeed", infeed.left, infeed.right, infeed.height, infeed, edge)
            column.x = at + column.left
            at += column.left + column.right
            m.infeeds.append(column)
            tops.append(column)
        for edge, number in unit.spot.arrives:
            text = f"from sheet {number}"
            wide = max(metrics.width(text, "data"), metrics.width(metrics.shown(edge.link.id), "data")) / 2 + 4
            column = Column("mark", wide, wide, 44.0, text, edge)
            column.x = at + wide
            at += 2 * wide
            m.arrivals.append(column)
            tops.append(column)
        for edge in unit.spot.side_ins:
            column = Column("side", 8.0, 8.0 + self.extra, 0.0, None, edge)
            column.x = at + 8
            at += column.left + column.right
            tops.append(column)
        return tops, at

    def lanes_to(self, unit: Unit, at: float, target: str) -> list[tuple[Edge, float]]:
        m = self.measures[unit.spot.id]
        found = [
            (column.edge, at + column.x)
            for column in m.bottoms
            if column.edge is not None and column.edge.role == "lane" and column.edge.lower == target
        ]
        for inner, offset in (*m.units, *m.inner):
            found.extend(self.lanes_to(inner, at + offset, target))
        return found

    def bottom_columns(self, spot: Spot, m: Measure) -> None:
        if self.fold and len(spot.leaves) > 1:
            label = self.fold_label(spot.leaves)
            m.bottoms.append(Column("fold", LEFT, TEXT + self.extra + label.width + PAD, 44.0, label))
        for link in spot.leaves if not self.fold or len(spot.leaves) == 1 else ():
            chain = self.chain(link, True)
            load = self.load_label(link.finish)
            right = max(chain.right, TEXT + self.extra + load.width + PAD)
            height = chain.height + max(26.0, load.height + 8)
            m.bottoms.append(Column("leaf", LEFT, right, height, chain))
        if spot.place.kind == "circuit":
            load = self.load_label(spot.id)
            m.bottoms.append(
                Column("load", LEFT, TEXT + self.extra + load.width + PAD, max(34.0, load.height + 8), load)
            )
        for edge in spot.sides:
            chain = self.chain(edge.link, edge.down)
            m.bottoms.append(Column("side", LEFT, chain.right, chain.height, chain, edge))
        for edge, number in spot.away:
            chain = self.chain(edge.link, edge.down)
            texts = (f"to sheet {number}", metrics.shown(edge.lower))
            half = max(metrics.width(text, "data") for text in texts) / 2 + 4
            right = max(chain.right, half)
            m.bottoms.append(Column("away", max(LEFT, half), right, chain.height + 40, chain, edge, number))

    def bottom_entries(self, spot: Spot, m: Measure) -> list[tuple[float, Callable[[float], list[float]]]]:
        """The widths of what hangs below, from left to right, with a function that places each and returns its anchors."""
        entries: list[tuple[float, Callable[[float], list[float]]]] = []

        def put_column(column: Column) -> Callable[[float], list[float]]:
            def put(at: float) -> list[float]:
                column.x = at + column.left
                return [column.x]

            return put

        def put_unit(unit: Unit) -> Callable[[float], list[float]]:
            inner = self.measures[unit.spot.id]

            def put(at: float) -> list[float]:
                m.units.append((unit, at))
                return [at + x for column, x in inner.ways if column.edge and column.edge.upper == spot.id]

            return put

        first = [column for column in m.bottoms if column.kind in OWN]
        rest = [column for column in m.bottoms if column.kind not in OWN]
        for column in first:
            entries.append((column.left + column.right, put_column(column)))
        for unit in spot.units:
            entries.append((self.measures[unit.spot.id].width, put_unit(unit)))
        for column in rest:
            entries.append((column.left + column.right, put_column(column)))
        return entries

    def frame_of_bar(self, spot: Spot, m: Measure, tops: list[Column], region: float) -> None:
        label_wide = m.label.width + 10 if m.label.lines else 6.0
        clear = min((column.x - column.left for column in tops), default=0.0)
        offset = max(0.0, label_wide - clear)
        top_width = offset + region
        entries = self.bottom_entries(spot, m)
        earth_wide = m.earth.right + 4 if m.earth else 0.0
        tucked = self.tucked(spot, m, earth_wide, entries)
        bottom_width = earth_wide + sum(wide for wide, _ in entries) - tucked
        width = max(top_width, bottom_width, label_wide + 30)
        middle = offset + sum(column.x for column in tops) / len(tops) if tops else width / 2
        shift = min(max(0.0, width / 2 - middle), width - top_width) if bottom_width > top_width else 0.0
        offset += shift
        middle += shift
        start = min(max(0.0, middle - bottom_width / 2), width - bottom_width) if bottom_width < width else 0.0
        anchors: list[float] = []
        m.earth_x = start
        at = start + earth_wide
        if m.earth:
            anchors.extend(start + x for x in m.earth.anchors)
        own = sum(column.kind in OWN for column in m.bottoms)
        for i, (wide, put) in enumerate(entries):
            if i == own:
                at -= tucked
            anchors.extend(put(at))
            at += wide
        self.shift_tops(spot, m, tops, offset)
        lefts = [column.x - column.left for column in tops]
        bar_left = min(
            [
                *(x - 11 for x in anchors),
                *(x - label_wide for x in lefts),
                *([0.0] if not lefts and not anchors else []),
            ]
        )
        bar_right = max([*anchors, *(column.x for column in tops), bar_left + 29]) + 11 + self.extra
        m.bar = (bar_left, max(bar_right, bar_left + label_wide))
        m.label_x = bar_left
        m.axis = middle
        m.width = max(width, m.bar[1] + 4)
        m.below = 2.0 + (14.0 if self.conductors else 0.0)
        self.add_up_lanes(spot, m)

    def tucked(
        self, spot: Spot, m: Measure, earth_wide: float, entries: list[tuple[float, Callable[[float], list[float]]]]
    ) -> float:
        """How far what hangs from a board alone may stand over the first spot below it, to the left of the way to that."""
        if not spot.units:
            return 0.0
        below = self.measures[spot.units[0].spot.id]
        ways = [(x, column) for column, x in below.ways if column.edge and column.edge.upper == spot.id]
        if not ways:
            return 0.0
        room = min(x - column.left for x, column in ways)
        deep = max(column.height for _, column in ways) + below.label.height
        deep = max(deep, *(column.height for column in below.infeeds), 0.0) + 24
        hanging = [(earth_wide, m.earth.height)] if m.earth else []
        hanging += [(column.left + column.right, column.height) for column in m.bottoms if column.kind in OWN]
        wide = 0.0
        for strip, height in reversed(hanging):
            if height > deep:
                break
            wide += strip
        return max(0.0, min(room, wide))

    def shift_tops(self, spot: Spot, m: Measure, tops: list[Column], offset: float) -> None:
        for column in tops:
            column.x += offset
            if column.edge is not None:
                m.lanes.append((column.edge, column.x))
        m.ways = [(column, x + offset) for column, x in m.ways]
        m.inner = [(unit, x + offset) for unit, x in m.inner]

    def add_up_lanes(self, spot: Spot, m: Measure) -> None:
        for edge in spot.side_ins:
            if edge.role == "up":
                m.up_lanes[id(edge)] = m.width + 8
                m.width += 16 + self.extra

    def frame_of_symbol(self, spot: Spot, m: Measure, tops: list[Column], region: float) -> None:
        place = spot.place
        order = place.positions
        if place.kind == "changeover":
            order = self.port_order(spot, tops, m)
        shape = self.shape(place, order, spot.upside_down)
        tops_at = dict(shape.top)
        bottoms_at = dict(shape.bottom)
        odd = 0
        for column in tops:
            assert column.edge is not None
            name = self.port_name(column.edge, spot.id)
            if name not in tops_at:
                odd += 1
                tops_at[name] = shape.right + 8.0 * odd
        left_odd = 0
        for column in m.bottoms:
            if column.edge is not None:
                name = self.port_name(column.edge, spot.id)
                if name not in bottoms_at:
                    left_odd += 1
                    bottoms_at[name] = -shape.left - 8.0 * left_odd
        for unit in spot.units:
            for column, _ in self.measures[unit.spot.id].ways:
                if column.edge and column.edge.upper == spot.id:
                    name = self.port_name(column.edge, spot.id)
                    if name not in bottoms_at:
                        left_odd += 1
                        bottoms_at[name] = -shape.left - 8.0 * left_odd
        shape = shape._replace(
            left=shape.left + 8.0 * left_odd, right=shape.right + 8.0 * odd, top=tops_at, bottom=bottoms_at
        )
        m.shape = shape
        entries = self.bottom_entries(spot, m)
        bottom_width = sum(wide for wide, _ in entries)
        # everything counts from the axis first
        ports = [tops_at[self.port_name(column.edge, spot.id)] for column in tops if column.edge is not None]
        mean_port = sum(ports) / len(ports) if ports else 0.0
        mean_top = sum(column.x for column in tops) / len(tops) if tops else 0.0
        top_left = mean_port - mean_top
        m.units.clear()
        anchors: list[float] = []
        at = 0.0
        for wide, put in entries:
            anchors.extend(put(at))
            at += wide
        m.units.clear()
        mean_bottom = sum(anchors) / len(anchors) if anchors else 0.0
        out = bottoms_at[""] if len(anchors) != 1 or "" in bottoms_at else next(iter(bottoms_at.values()))
        used = self.used_bottom(spot, m)
        if used:
            out = sum(bottoms_at[name] for name in used) / len(used)
        bottom_left = out - mean_bottom
        earth_wide = m.earth.right + 6 if m.earth else 0.0
        earth_left = min(-shape.left, bottom_left if entries else 0.0) - earth_wide
        label_left = shape.right + 6
        left = -min(earth_left, -shape.left, top_left if tops else 0.0, bottom_left if entries else 0.0)
        right = max(label_left + m.label.width + PAD, top_left + region if tops else 0.0, bottom_left + bottom_width)
        m.axis = left
        m.width = left + right
        m.label_x = left + label_left
        m.earth_x = left + earth_left
        at = left + bottom_left
        for _, put in entries:
            put(at)
            at += _
        self.shift_tops(spot, m, tops, left + top_left)
        m.above, m.top_jogs = self.jogs(
            [(self.port_name(c.edge, spot.id), c.x) for c in tops if c.edge is not None], tops_at, m.axis
        )
        columns = [(self.port_name(c.edge, spot.id), c.x) for c in m.bottoms if c.edge is not None]
        columns += [("" if "" in bottoms_at else next(iter(bottoms_at)), c.x) for c in m.bottoms if c.edge is None]
        for unit, offset in m.units:
            for column, x in self.measures[unit.spot.id].ways:
                if column.edge and column.edge.upper == spot.id:
                    columns.append((self.port_name(column.edge, spot.id), offset + x))
        deep, m.bottom_jogs = self.jogs(columns, bottoms_at, m.axis)
        m.below = max(shape.height, m.label.height + 6 if entries else 0.0) + deep
        self.add_up_lanes(spot, m)

    def used_bottom(self, spot: Spot, m: Measure) -> list[str]:
        names = [self.port_name(c.edge, spot.id) for c in m.bottoms if c.edge is not None]
        names += ["" for c in m.bottoms if c.edge is None]
        for unit in spot.units:
            for column, _ in self.measures[unit.spot.id].ways:
                if column.edge and column.edge.upper == spot.id:
                    names.append(self.port_name(column.edge, spot.id))
        return [name for name in names if m.shape is not None and name in m.shape.bottom]

    @staticmethod
    def port_name(edge: Edge | None, spot: str) -> str:
        assert edge is not None
        if edge.earth:
            return "pe"
        if edge.lower == spot and edge.upper != spot:
            return edge.lower_terminal
        return edge.upper_terminal

    def port_order(self, spot: Spot, tops: list[Column], m: Measure) -> tuple[str, ...]:
        """The positions from left to right: as they are written, but so that conductors do not cross on the way to them."""
        at: dict[str, list[float]] = {}
        if spot.upside_down:
            return spot.place.positions
        for column in tops:
            if column.edge is not None and not column.edge.earth and column.edge.lower == spot.id:
                at.setdefault(column.edge.lower_terminal, []).append(column.x)
        order = list(spot.place.positions)
        taken = [i for i, position in enumerate(order) if position in at]
        sorted_names = sorted((order[i] for i in taken), key=lambda name: sum(at[name]) / len(at[name]))
        for i, name in zip(taken, sorted_names, strict=True):
            order[i] = name
        return tuple(order)

    def jogs(
        self, columns: list[tuple[str, float]], ports: dict[str, float], axis: float
    ) -> tuple[float, dict[str, float]]:
        """How far from the ports each group of conductors runs level to its port, and how much room that takes in all."""
        groups: dict[str, list[float]] = {}
        for name, x in columns:
            groups.setdefault(name, []).append(x)
        spans = []
        for name, xs in groups.items():
            port = axis + ports[name]
            if any(abs(x - port) > 0.5 for x in xs):
                low, high = min(*xs, port), max(*xs, port)
                rightwards = sum(xs) / len(xs) <= port
                spans.append((not rightwards, port if rightwards else -port, name, low, high + self.extra))
        spans.sort()
        tracks: list[list[tuple[float, float]]] = []
        found: dict[str, float] = {}
        room = 8.0 + (12.0 if self.conductors else 0.0)
        for _, _, name, low, high in spans:
            number = 0
            while number < len(tracks) and any(low < b + 4 and a < high + 4 for a, b in tracks[number]):
                number += 1
            if number == len(tracks):
                tracks.append([])
            tracks[number].append((low, high))
            found[name] = room + number * self.track
        return (room + len(tracks) * self.track if tracks else 0.0), found
