"""Bonds, electrodes, earth bars and monitors."""

from __future__ import annotations

from onebond.reporting.diagram import symbols
from onebond.reporting.diagram.ink import Ink
from onebond.reporting.diagram.plan import EARTH_TEXT, EarthItem, PlacedEarth
from onebond.reporting.diagram.symbols import number


class Earthing(Ink):
    """Writes earthing columns."""

    def earth(self, placed: PlacedEarth) -> None:
        pen, view, column, place = self.pen, self.view, placed.column, placed.place
        x0, y0 = placed.x, placed.y
        pe = view.earth_at(place.id)
        if placed.tap is not None:
            pen.raw(f'<g class="{self.classes("tap", view.terminals(place.id))}">')
            pen.path([(x0 + column.anchors[0], y0), placed.tap], "s w")
            pen.raw("</g>")
        n_top = -7.0 if self.plan.conductors and placed.tap is None else 0.0
        for item in column.items:
            x, y = x0 + item.x, y0 + item.y
            label_x = x + EARTH_TEXT
            if item.kind == "drop":
                self.line_of([(x, y), (x, y + item.height)], "pe", pe)
                pen.shape(f"M{number(x - 4)} {number(y + 8)}h8", f"s pe {pe}")
            elif item.kind in ("bond", "bond-below"):
                self.bond(item, x, y, n_top)
            elif item.kind in ("monitor", "monitor-below"):
                monitor = self.monitors[item.id]
                title = ", ".join((self.say(f"{item.id}: insulation monitor"), *monitor.texts))
                self.open_group("monitor", item.id, (), title, monitor.line)
                pen.path([(x, y + n_top), (x, y + 10)], "s w")
                pen.rect(x - 9, y + 10, 18, 20, "s body")
                pen.text(x, y + 24, "Z<", "in")
                pen.path([(x, y + 30), (x, y + item.height)], "s w pe")
                self.label(label_x, y + 4, item.label, "monitor")
                self.close_group()
            elif item.kind == "electrode":
                electrode = self.electrodes[item.id]
                title = ", ".join((self.say(f"{item.id}: electrode"), *electrode.texts))
                self.open_group("electrode", item.id, (view.earth_at(electrode.at),), title, electrode.line)
                self.line_of([(x, y), (x, y + 12)], "pe", view.earth_at(electrode.at))
                symbols.earth(pen, x, y + 8, "s pe")
                self.label(label_x, y + 8, item.label, "electrode")
                self.close_group()
            elif item.kind == "place":
                self.pe_bar(item, x, x0 + item.x2, y, pe)
            elif item.kind == "metal":
                metal = self.metals[item.id]
                self.open_group(
                    "metal",
                    item.id,
                    (),
                    f"{item.id}: {metal.kind or 'metal'} from {' to '.join(metal.joins)}",
                    metal.line,
                )
                self.stub(x, y, "metal", item.id)
                self.label(label_x, y + 4, item.label)
                self.close_group()
            elif item.kind == "joint":
                pen.raw('<g class="joint">')
                self.stub(x, y, "metal" if item.id in self.metals else "pe", item.id)
                self.label(label_x, y + 4, item.label)
                pen.raw("</g>")
            else:  # cable, lane, stub: a protective conductor of its own
                link = self.links[item.id]
                self.open_group("link", item.id, (view.earth_at(link.start),), self.link_title(link), link.line)
                self.line_of(
                    [(x, y), (x, y + (22 if item.kind == "stub" else item.height))], "pe", view.earth_at(link.start)
                )
                pen.shape(f"M{number(x - 5)} {number(y + 10)}l10-6m-11.8 3.4l3.4 5.6", "s pe")
                if item.kind == "stub":
                    symbols.arrow(pen, x, y + 24, False, "pe")
                stray = view.strays.get(item.id, "")
                if stray:
                    pen.path([(x + 7, y), (x + 7, y + item.height)], "stray")
                    symbols.arrow(pen, x + 7, y + item.height / 2, stray == "start", "stray")
                self.label(label_x, y + 4, item.label)
                self.close_group()

    def stub(self, x: float, y: float, style: str, identifier: str) -> None:
        """A conductor or metal that goes on elsewhere; marked where neutral current strays into it."""
        if identifier in self.view.strays:
            self.pen.path([(x + 7, y), (x + 7, y + 22)], "stray")
        self.pen.path([(x, y), (x, y + 18)], f"w {style}")
        symbols.arrow(self.pen, x, y + 20, False, style)

    def pe_bar(self, item: EarthItem, x1: float, x2: float, y: float, status: str) -> None:
        if not item.id:
            self.pen.path([(x1, y), (x2, y)], self.classes("bar s pe", status))
            self.pen.path([(x1, y), (x2, y)], self.classes("bar ye", status))
            return
        place = self.view.places[item.id]
        status = self.view.earth_at(item.id)
        self.open_group("place", item.id, ("board", status), self.say(f"{item.id}: earth terminal or bar"), place.line)
        self.pen.path([(x1, y), (x2, y)], self.classes("bar s pe", status))
        self.pen.path([(x1, y), (x2, y)], self.classes("bar ye", status))
        self.label(x2 + 6, y - 11, item.label)
        self.close_group()

    def bond(self, item: EarthItem, x: float, y: float, n_top: float) -> None:
        pen, view = self.pen, self.view
        bond = self.bonds[item.id]
        closed = view.bond(bond.id, bond.relay)
        reference = (bond.id, "bond") in view.references
        status = view.of(closed and view.node(bond.at, bond.terminal, "N"))
        words = (
            "the reference of this island"
            if reference
            else "closed"
            if closed
            else "closed or open"
            if bond.id in view.unsettled
            else "open"
        )
        title = ", ".join((self.say(f"{bond.id}: bond from N to PE"), *bond.texts, *([words] if view.state else [])))
        self.open_group(
            "bond", bond.id, (status, "relay" if bond.relay else "", "reference" if reference else ""), title, bond.line
        )
        pen.path([(x, y + n_top), (x, y + 12)], "w n s")
        pen.circle(x, y + 6, 2.2, "dot n s")
        if bond.impedance:
            pen.rect(x - 4.5, y + 12, 9, 20, "s body")
        elif bond.relay:
            symbols.contact(pen, x, y + 12, "", closed, 18)
            pen.path([(x, y + 30), (x, y + 32)], "w s")
        else:
            pen.path([(x, y + 12), (x, y + 32)], "s w")
            pen.circle(x, y + 13, 2.2, "s body")
            pen.circle(x, y + 31, 2.2, "s body")
        pen.path([(x, y + 32), (x, y + item.height)], "w pe s")
        pen.shape(f"M{number(x - 4)} {number(y + 38)}h8", "s pe")
        if reference:
            pen.circle(x, y + 22, 13.5, "ref s")
        self.label(x + EARTH_TEXT, y + 6, item.label, "bond")
        self.close_group()
