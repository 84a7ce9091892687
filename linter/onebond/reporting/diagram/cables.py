"""Cables with their devices, marks and arrows; boards as bars with what lands on them."""

from __future__ import annotations

from onebond.reporting import neutralise
from onebond.reporting.diagram import metrics, symbols
from onebond.reporting.diagram.ink import Ink, Stroke, moved, strokes
from onebond.reporting.diagram.plan import (
    N_AT,
    PE_AT,
    TEXT,
    Cell,
    PlacedBar,
    PlacedChain,
    PlacedFold,
    PlacedLoad,
    PlacedMark,
    PlacedWire,
)
from onebond.reporting.diagram.symbols import number
from onebond.reporting.diagram.view import LINES
from onebond.result import DrawnDevice, DrawnLink, DrawnPlace


class Cables(Ink):
    """Writes cables and boards."""

    def opens(self, device: DrawnDevice, stroke: Stroke, link: DrawnLink) -> bool:
        """Whether an open device parts a stroke."""
        if not any(core in device.poles for core in stroke.cores):
            return not self.plan.conductors and not any(core in LINES for core in stroke.cores) and bool(device.poles)
        return True

    def link(self, placed: PlacedChain, wires: list[PlacedWire]) -> None:
        chain, view = placed.chain, self.view
        link = chain.link
        all_strokes = strokes(link, self.plan.conductors)
        shown = [stroke for stroke in all_strokes if stroke.style != "pe"] or all_strokes
        lit = [status for stroke in shown for status in self.ends(link, stroke)]
        whole = "on" if "on" in lit else "off" if "off" in lit else ""
        self.open_group("link", link.id, (whole,), self.link_title(link), link.line)
        for stroke in all_strokes:
            start, finish = self.ends(link, stroke)
            breaks: list[float] = []  # where the stroke is parted, by height
            x = placed.x
            holes: list[tuple[float, float]] = []  # pieces that symbols draw themselves
            for cell in chain.cells:
                top = placed.y + cell.y
                if cell.kind == "plug" and view.unmated(link):
                    breaks.append(top + 10)
                if cell.kind == "plug":
                    holes.append((top + 4, top + 16))
                if cell.kind == "device":
                    device = link.devices[cell.device]
                    if self.has_contact(device, stroke):
                        holes.append((top + 8, top + 26))
                        if view.open(device) and self.opens(device, stroke, link):
                            breaks.append(top + 17)
            if view.detached(link.start) or view.detached(link.finish):
                upper = (view.detached(link.start)) == chain.down
                breaks.append(-1e6 if upper else 1e6)
            first, last = (start, finish) if chain.down else (finish, start)
            pieces: list[tuple[float, float, str]] = []
            at = placed.y
            for low, high in sorted(holes):
                pieces.append((at, low, self.status_at((at + low) / 2, breaks, first, last)))
                at = high
            pieces.append((at, placed.end, self.status_at((at + placed.end) / 2, breaks, first, last)))
            for low, high, status in pieces:
                if high > low:
                    self.line_of([(x, low), (x, high)], stroke.style, status, stroke.offset)
            for wire in wires:
                above = not wire.last
                status = self.status_at(-1e5 if above else 1e5, breaks, first, last)
                self.line_of(wire.points, stroke.style, status, stroke.offset)
            self.flow(link, stroke, placed, wires)
        for cell in chain.cells:
            self.cell(placed, cell, all_strokes, whole)
        self.close_group()

    def status_at(self, y: float, breaks: list[float], first: str, last: str) -> str:
        if not self.view.state:
            return ""
        above = [b for b in breaks if b < y]
        below = [b for b in breaks if b > y]
        if not breaks:
            return "on" if "on" in (first, last) else "off"
        if not above:
            return first
        if not below:
            return last
        return "off"

    def has_contact(self, device: DrawnDevice, stroke: Stroke) -> bool:
        if device.kind == "meter":
            return False
        if device.kind == "fuse":
            return any(core in device.poles for core in stroke.cores)
        if any(core in device.poles for core in stroke.cores):
            return True
        return not self.plan.conductors

    def cell(self, placed: PlacedChain, cell: Cell, all_strokes: tuple[Stroke, ...], whole: str) -> None:
        link, x = placed.chain.link, placed.x
        y = placed.y + cell.y
        label_x = x + TEXT + (PE_AT if self.plan.conductors else 0.0)
        pen = self.pen
        if cell.kind == "plug":
            self.plug(link, x, y, all_strokes, placed.chain.down)
            return
        if cell.kind == "cable":
            if not self.plan.conductors:
                symbols.ticks(pen, x, y + max(5.0, (cell.height - 4.5 * len(link.cores)) / 2 + 2), link.cores, "")
            elif sum(core in LINES for core in link.cores) > 1:
                symbols.ticks(pen, x, y + 8, tuple(core for core in link.cores if core in LINES), "")
            self.label(label_x, y + (cell.height - cell.label.height) / 2 - 1, cell.label, classes=whole)
            return
        device = link.devices[cell.device]
        index = cell.device + 1
        title = self.device_title(link, device, index)
        pen.raw(f'<g id="{self.prefix}device-{index}-{link.id}" class="device"{self.place(link.id, device.line)}>')
        pen.title(neutralise.for_terminal(title))
        opened = self.view.open(device)
        poles = [stroke for stroke in all_strokes if self.has_contact(device, stroke)]
        for stroke in poles:
            sx = x + stroke.offset
            start, finish = self.ends(link, stroke)
            lit = "on" if "on" in (start, finish) and not opened else "off" if self.view.state else ""
            pen.raw(f'<g class="{self.classes("pole", stroke.style, lit)}">')
            if device.kind == "fuse":
                symbols.fuse(pen, sx, y + 8, 18)
            else:
                symbols.contact(pen, sx, y + 8, device.kind, not opened, 18)
            pen.raw("</g>")
        if len(poles) > 1 and device.kind != "fuse":
            lean = -5.0 if opened else 0.0
            pen.raw(
                f'<path class="s thin" stroke-dasharray="2.5 2" d="M{number(x + lean)} {number(y + 18)}'
                f'H{number(x + poles[-1].offset + lean)}"/>'
            )
        if device.kind == "meter":
            live = [stroke.offset for stroke in all_strokes if any(core != "PE" for core in stroke.cores)] or [0.0]
            symbols.meter(pen, x + min(live), x + max(live), y + 8)
        if device.kind in ("rcd", "rcbo"):
            summed = [s.offset for s in all_strokes if any(core in device.senses for core in s.cores)] or [0.0]
            symbols.ring(pen, x + min(summed), x + max(summed), y + 36, x, y + 19)
        self.label(
            label_x, y + max(1.0, (min(cell.height, 34.0) - cell.label.height) / 2 - 1), cell.label, classes=whole
        )
        pen.raw("</g>")

    def plug(self, link: DrawnLink, x: float, y: float, all_strokes: tuple[Stroke, ...], down: bool) -> None:
        """A plug in its socket, or beside it: the socket is on the side of the source."""
        pen = self.pen
        out = 3.0 if self.view.unmated(link) else 0.0
        pen.raw(f'<g class="plug" id="{self.prefix}plug-{link.id}">')
        pen.title(f"plug of {link.id}")
        for stroke in all_strokes:
            sx = x + stroke.offset
            pen.shape(f"M{number(sx - 5)} {number(y + 12 - out)}a5 5 0 0 1 10 0", "s")
            pen.path([(sx, y + 4), (sx, y + 7 - out)], "s")
            pen.rect(sx - 1.6, y + 9 + out, 3.2, 7 - out, "s solid")
        pen.raw("</g>")

    def flow(self, link: DrawnLink, stroke: Stroke, placed: PlacedChain, wires: list[PlacedWire]) -> None:
        """Arrows along a cable that carries neutral current back, in N or, where it strays, in PE."""
        view, conductors = self.view, self.plan.conductors
        way = next((view.returns[link.id, core] for core in ("N", "PEN") if (link.id, core) in view.returns), "")
        if way and (not conductors or "N" in stroke.cores or "PEN" in stroke.cores):
            self.arrows(placed, wires, "ret", way, stroke.offset if conductors else -6.0)
        anchor = not way and {(link.id, "N"), (link.id, "PEN")} & view.anchors
        if anchor and not conductors and stroke.style != "n" and self.status_of_lines(link) == "off":
            # the lines are dead, and still this neutral ties the source to its reference
            self.along(placed, wires, "w n on", -6.0)
        stray = view.strays.get(link.id, "")
        if stray and (not conductors or "PE" in stroke.cores):
            self.arrows(placed, wires, "stray", stray, stroke.offset if conductors else 7.0)

    def arrows(self, placed: PlacedChain, wires: list[PlacedWire], style: str, way: str, offset: float) -> None:
        up = (way == "start") == placed.chain.down
        pen = self.pen
        x = placed.x + offset
        if not self.plan.conductors:
            self.along(placed, wires, style, offset)
        cable = placed.chain.cells[-1]
        symbols.arrow(pen, x, placed.y + cable.y + 4, up, style)
        symbols.arrow(pen, x, placed.y + cable.y + cable.height - 2, up, style)

    def along(self, placed: PlacedChain, wires: list[PlacedWire], style: str, offset: float) -> None:
        """A line beside a cable."""
        x = placed.x + offset
        self.pen.path([(x, placed.y + 3), (x, placed.end)], style)
        for wire in wires:
            if len(wire.points) > 1:
                self.pen.path(moved(wire.points, offset), style)

    def status_of_lines(self, link: DrawnLink) -> str:
        """Whether any line of a cable is live at one of its ends."""
        lines = [core for core in link.cores if core in LINES]
        at = (
            self.view.at(link.start, link.start_terminal, lines),
            self.view.at(link.finish, link.finish_terminal, lines),
        )
        return "on" if "on" in at else at[0]

    def loose(self, identifier: str, wires: list[PlacedWire]) -> None:
        link = self.links[identifier]
        pen = self.pen
        pen.raw('<g class="link more">')
        for stroke in strokes(link, self.plan.conductors):
            start, finish = self.ends(link, stroke)
            for wire in wires:
                status = finish if wire.last == wire.down else start
                offset = stroke.offset if self.plan.conductors and stroke.style != "pe" else 0.0
                self.line_of(wire.points, stroke.style, status, offset)
        pen.raw("</g>")

    def bar(self, bar: PlacedBar) -> None:
        place, view = bar.place, self.view
        here = self.bars_of[place.id]
        only_pe = bool(here) and here <= {"PE"}
        status = view.earth_at(place.id) if only_pe else view.terminals(place.id)
        if not only_pe and status == "off" and view.node(place.id, "", "N") and not here & set(LINES):
            status = "on"
        kind = "bus" if place.kind == "circuit" else "place"
        self.open_group(kind, place.id, (place.kind, status), self.place_title(place), place.line)
        ends = [(bar.x1, bar.y), (bar.x2, bar.y)]
        if self.plan.conductors:
            self.three_bars(bar, here, status)
        elif only_pe:
            self.pen.path(ends, self.classes("bar s pe", status))
            self.pen.path(ends, self.classes("bar ye", status))
        else:
            self.pen.path(ends, self.classes("bar s", status))
        self.label(bar.x1 + 1, bar.y - bar.label.height - 6, bar.label, place.kind)
        self.close_group()

    def three_bars(self, bar: PlacedBar, here: set[str], status: str) -> None:
        pen, view, place = self.pen, self.view, bar.place
        n = view.of(view.node(place.id, "", "N"))
        pe = view.earth_at(place.id)
        if here & set(LINES):
            pen.path([(bar.x1, bar.y), (bar.x2, bar.y)], self.classes("bar s", status))
        if here & {"N", "PEN"}:
            pen.path([(bar.x1, bar.y + 7), (bar.x2, bar.y + 7)], self.classes("bar n s", n))
        if "PE" in here:
            pen.path([(bar.x1, bar.y + 14), (bar.x2, bar.y + 14)], self.classes("bar pe s", pe))
            pen.path([(bar.x1, bar.y + 14), (bar.x2, bar.y + 14)], self.classes("bar ye", pe))
        for x, link in bar.tops:
            lands = dict(link.lands_on) if link.finish == place.id else {}
            for stroke in strokes(link, True):
                level = self.level(bar, tuple(lands.get(core, core) for core in stroke.cores))
                self.joint(x + stroke.offset, bar.y, level, level, stroke, link, place)
        for x, link in bar.bottoms:
            lands = dict(link.lands_on) if link.finish == place.id else {}
            for stroke in strokes(link, True):
                level = self.level(bar, tuple(lands.get(core, core) for core in stroke.cores))
                self.joint(x + stroke.offset, level, bar.y + 14, level, stroke, link, place)

    @staticmethod
    def level(bar: PlacedBar, cores: tuple[str, ...]) -> float:
        if "PE" in cores:
            return bar.y + 14
        return bar.y + 7 if set(cores) & {"N", "PEN"} else bar.y

    def joint(
        self, x: float, top: float, bottom: float, dot: float, stroke: Stroke, link: DrawnLink, place: DrawnPlace
    ) -> None:
        start, finish = self.ends(link, stroke)
        status = start if link.start == place.id else finish
        if bottom > top:
            self.line_of([(x, top), (x, bottom)], stroke.style, status)
        self.pen.circle(x, dot, 2.2, self.classes("dot s", stroke.style, status))

    def load(self, load: PlacedLoad) -> None:
        place = load.place
        status = self.view.terminals(place.id)
        self.open_group("place", place.id, ("circuit", status), self.place_title(place), place.line)
        if self.plan.conductors:
            link = self.links[place.id]
            for stroke in strokes(link, True):
                if stroke.offset:
                    x, y = load.x + stroke.offset, load.y + (11 if stroke.offset == N_AT else 16)
                    self.line_of([(x, load.y), (x, y), (load.x + 8, y)], stroke.style, self.ends(link, stroke)[1])
        symbols.load(self.pen, load.x, load.y, place.serves)
        self.label(load.x + TEXT + (PE_AT if self.plan.conductors else 0.0), load.y + 5, load.label)
        self.close_group()

    def fold(self, fold: PlacedFold) -> None:
        """Final circuits as one way that ends in an arrow."""
        names = ", ".join(link.finish for link in fold.links)
        states = [self.view.terminals(link.finish) for link in fold.links]
        status = "on" if "on" in states else states[0]
        self.pen.raw(f'<g id="{self.prefix}fold-{fold.board}" class="{self.classes("fold", status)}">')
        self.pen.title(neutralise.for_terminal(f"{self.say('final circuits')} of {fold.board}: {names}"))
        self.pen.path([(fold.x, fold.y), (fold.x, fold.y + 30)], self.classes("w", status))
        self.pen.shape(f"M{number(fold.x - 5)} {number(fold.y + 18)}l10-6m-10 10l10-6m-10 10l10-6", "s")
        symbols.arrow(self.pen, fold.x, fold.y + 34, False, "", 4)
        self.label(fold.x + TEXT + (PE_AT if self.plan.conductors else 0.0), fold.y + 10, fold.label, classes=status)
        self.pen.raw("</g>")

    def mark(self, mark: PlacedMark) -> None:
        pen = self.pen
        pen.raw('<g class="mark">')
        other = mark.link.start if mark.arrives else mark.link.finish
        if mark.arrives:
            pen.text(mark.x - metrics.width(mark.text, "data") / 2, mark.y + 9, mark.text, "data")
            name = metrics.shown(mark.link.id)
            pen.text(mark.x - metrics.width(name, "data") / 2, mark.y + 20, name, "data")
            symbols.arrow(pen, mark.x, mark.y + 27, False, "", 4)
        else:
            symbols.arrow(pen, mark.x, mark.y + 6, False, "", 4)
            pen.text(mark.x - metrics.width(mark.text, "data") / 2, mark.y + 22, mark.text, "data")
            name = metrics.shown(other)
            pen.text(mark.x - metrics.width(name, "data") / 2, mark.y + 33, name, "data")
        pen.raw("</g>")
