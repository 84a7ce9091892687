"""Sources, inverters, transformers and changeovers in the position that they have."""

from __future__ import annotations

from onebond.reporting.diagram import metrics, symbols
from onebond.reporting.diagram.ink import Ink
from onebond.reporting.diagram.plan import N_AT, PE_AT, PlacedSymbol
from onebond.reporting.diagram.symbols import number
from onebond.reporting.diagram.view import LINES
from onebond.result import DrawnPlace


class Equipment(Ink):
    """Writes the symbols of equipment."""

    def symbol(self, placed: PlacedSymbol) -> None:
        place, view = placed.place, self.view
        energises = view.state is not None and (place.variable or place.id) in view.state.sources
        status = "on" if energises else view.terminals(place.id)
        self.open_group("place", place.id, (place.kind, status), self.place_title(place), place.line)
        draw = {
            "utility": self.utility,
            "generator": self.generator,
            "inverter": self.inverter,
            "transformer": self.transformer,
            "changeover": self.changeover,
        }[place.kind]
        if self.plan.conductors and place.kind != "changeover":
            self.beside(placed)
        draw(placed)
        self.odd_ports(placed)
        self.label(placed.label_x, placed.y + (0 if place.kind == "changeover" else 1), placed.label, place.kind)
        self.close_group()

    def beside(self, placed: PlacedSymbol) -> None:
        """N and PE of a source where they are drawn as lines of their own: from its symbol to where its cables begin and end."""
        place, x, y, shape, view = placed.place, placed.x, placed.y, placed.shape, self.view
        edge, n_at, pe_at = {
            "utility": (11.5, 29.0, 37.0),
            "generator": (16.0, 18.0, 27.0),
            "transformer": (13.0, 35.0, 43.0),
            "inverter": (17.0, 14.0, 26.0),
        }[place.kind]
        for terminal, top in (("in", True), ("", False), ("out", False)):
            here: set[str] = set()
            for link in self.drawing.links:
                lands = dict(link.lands_on)
                if (link.start, link.start_terminal) == (place.id, terminal):
                    here.update(link.cores)
                if (link.finish, link.finish_terminal) == (place.id, terminal):
                    here.update(lands.get(core, core) for core in link.cores)
            if not here or (top and "in" not in shape.top):
                continue
            if place.kind == "inverter" and place.mains_input:
                low, high = (y, y + 5) if top else (y + 65, y + shape.height)
                if "PE" in here:
                    self.line_of([(x + PE_AT, low), (x + PE_AT, high)], "pe", view.earth_at(place.id))
                continue
            end = y if top else y + shape.height
            if here & {"N", "PEN"}:
                level = y + (18 if top else n_at)
                style = "pen" if "PEN" in here else "n"
                status = view.of(view.node(place.id, terminal, "N"))
                self.line_of([(x + edge - 1, level), (x + N_AT, level), (x + N_AT, end)], style, status)
            if "PE" in here:
                level = y + (10 if top else pe_at)
                self.line_of(
                    [(x + edge - 6, level), (x + PE_AT, level), (x + PE_AT, end)], "pe", view.earth_at(place.id)
                )

    def odd_ports(self, placed: PlacedSymbol) -> None:
        """Conductors that meet a symbol elsewhere than where its function has them: protective ones at its frame, and what is unusual."""
        shape, x, y, pen = placed.shape, placed.x, placed.y, self.pen
        natural_top, natural_bottom = self.natural(placed)
        middle = y + shape.height / 2
        for name, at in shape.top.items():
            if name not in natural_top:
                pen.path([(x + at, y), (x + at, middle), (x + 14, middle)], "s pe" if name == "pe" else "s")
        for name, at in shape.bottom.items():
            if name not in natural_bottom:
                pen.path(
                    [(x + at, y + shape.height), (x + at, middle), (x - 14, middle)], "s pe" if name == "pe" else "s"
                )

    @staticmethod
    def natural(placed: PlacedSymbol) -> tuple[set[str], set[str]]:
        kind = placed.place.kind
        if kind == "changeover":
            positions, common = set(placed.place.positions), {""}
            return (common, positions) if placed.upside_down else (positions, common)
        if kind in ("inverter", "transformer"):
            return {"in", *placed.place.inputs}, {"out", ""}
        return set(), {""}

    def neutral_tap(self, place: DrawnPlace, x: float, y: float, terminal: str) -> None:
        """The bond inside a source: from its neutral to its frame."""
        if place.neutral_bond == "none":
            return
        view, pen = self.view, self.pen
        closed = place.id in view.closed if view.state else place.neutral_bond == "fixed"
        reference = (place.id, "internal") in view.references
        status = view.of(closed and view.node(place.id, terminal, "N"))
        at = x - 16
        pen.raw(f'<g id="{self.prefix}bond-{place.id}" class="{self.classes("inner bond", status)}">')
        bond = self.say(f"bond inside {place.id}")
        pen.title(f"{bond}, {'closed' if closed else 'open'}{', the reference' if reference else ''}")
        live_n = view.of(view.node(place.id, terminal, "N"))
        pe = self.classes("s pe", view.earth_at(place.id))
        pen.path([(x, y), (at, y), (at, y + 3)], self.classes("w n s", live_n))
        if place.neutral_bond == "fixed":
            pen.path([(at, y + 3), (at, y + 15)], "w s")
            pen.circle(at, y + 5, 1.9, "dot s")
            pen.circle(at, y + 13, 1.9, "dot s")
        else:
            symbols.contact(pen, at, y + 4, "", closed, 12)
        symbols.frame(pen, at, y + 15, pe)
        if reference:
            pen.circle(at, y + 24, 11, "ref s")
        pen.raw("</g>")

    def utility(self, placed: PlacedSymbol) -> None:
        pen, x, y, place = self.pen, placed.x, placed.y, placed.place
        pen.circle(x, y + 13, 11.5, "s body")
        pen.circle(x, y + 29, 11.5, "s")
        pen.path([(x, y + 40.5), (x, y + 44)], "s w")
        star, delta = "v-5m0 5l4.3 3m-4.3-3l-4.3 3", "m0-5l5 8.5h-10z"
        pen.shape(f"M{number(x)} {number(y + 29)}{delta if place.high_leg else star}", "s thin")
        if place.earthing in ("TN-S", "TN-C-S", "TT"):
            reference = (place.id, "star") in self.view.references
            status = self.view.of(self.view.node(place.id, "", "N"))
            pen.path([(x - 11, y + 25), (x - 28, y + 25), (x - 28, y + 27)], self.classes("s w n", status))
            symbols.earth(pen, x - 28, y + 25, self.classes("s pe", status))
            if reference:
                pen.circle(x - 28, y + 32, 12.5, "ref s")
        if self.view.detached(place.id):
            pen.path([(x - 6, y + 42), (x + 6, y + 46)], "s")

    def generator(self, placed: PlacedSymbol) -> None:
        pen, x, y = self.pen, placed.x, placed.y
        self.neutral_tap(placed.place, x - 15, y + 10, "")
        pen.circle(x, y + 18, 16, "s body")
        pen.text(x, y + 19, "G", "in")
        pen.shape(f"M{number(x - 6)} {number(y + 26)}q3-5 6 0t6 0", "s thin")
        pen.path([(x, y + 34), (x, y + 40)], "s w")

    def converter(self, x: float, y: float, size: float, classes: str) -> None:
        """A converter from direct to alternating current with its upper left at (x, y)."""
        pen = self.pen
        pen.raw(f'<g class="{classes}">')
        pen.rect(x, y, size, size, "s body")
        pen.path([(x, y + size), (x + size, y)], "s thin")
        pen.shape(f"M{number(x + 5)} {number(y + 7)}h8m-8 3.4h8", "s thin")
        pen.shape(f"M{number(x + size - 14)} {number(y + size - 7)}q2.6-4.6 5.2 0t5.2 0", "s thin")
        pen.raw("</g>")

    def inverter(self, placed: PlacedSymbol) -> None:
        pen, x, y, place, view = self.pen, placed.x, placed.y, placed.place, self.view
        if not place.mains_input:
            self.neutral_tap(place, x - 17, y + 11, "out")
            self.converter(x - 17, y + 2, 34, "")
            pen.path([(x, y + 36), (x, y + 42)], "s w")
            return
        does = view.inverter(place)
        passing = does == "passing" or (does == "off" and place.through_when_off)
        inverting = does == "inverting"
        into = view.at(place.id, "in", place.phases)
        out = view.at(place.id, "out", place.phases)
        left = 44.0 if place.neutral_bond != "none" else 18.0
        wide = N_AT if self.plan.conductors else 0.0
        pen.rect(x - left, y + 4, left + 56 + wide, 62, "s body case")
        pen.raw(f'<g class="{self.classes("in-side", into)}">')
        pen.path([(x, y), (x, y + 16)], "s w")
        pen.raw("</g>")
        pen.raw(f'<g class="{self.classes("through", out if passing else view.of(False))}">')
        symbols.contact(pen, x, y + 16, "", passing, 14)
        pen.raw("</g>")
        pen.raw(f'<g class="{self.classes("out-side", out)}">')
        pen.path([(x, y + 30), (x, y + 70)], "s w")
        pen.path([(x, y + 44), (x + 18 + wide, y + 44)], "s w")
        pen.circle(x, y + 44, 2, "dot s")
        pen.raw("</g>")
        self.converter(x + 18 + wide, y + 28, 32, "on" if inverting and out else view.of(False))
        if wide:
            n_in = view.of(view.node(place.id, "in", "N"))
            n_out = view.of(view.node(place.id, "out", "N"))
            self.line_of([(x + N_AT, y), (x + N_AT, y + 16)], "n", n_in)
            self.line_of([(x + N_AT, y + 30), (x + N_AT, y + 70)], "n", n_out)
            self.line_of([(x + N_AT, y + 52), (x + 18 + wide, y + 52)], "n", n_out)
            pen.circle(x + N_AT, y + 52, 2, self.classes("dot s n", n_out))
            if place.neutral_solid:
                self.line_of([(x + N_AT, y + 16), (x + N_AT, y + 30)], "n", n_out)
            else:
                pen.raw(f'<g class="{self.classes("n", n_out if passing else view.of(False))}">')
                symbols.contact(pen, x + N_AT, y + 16, "", passing, 14)
                pen.raw("</g>")
        elif place.neutral_solid:
            solid = view.of(view.node(place.id, "in", "N") or view.node(place.id, "out", "N"))
            self.line_of([(x, y + 9), (x - 9, y + 9), (x - 9, y + 36), (x, y + 36)], "n s", solid)
            pen.text(x + 8, y + 18, "N solid", "pos own")
        self.neutral_tap(place, x, y + 33, "out")

    def transformer(self, placed: PlacedSymbol) -> None:
        pen, x, y, place, view = self.pen, placed.x, placed.y, placed.place, self.view
        into = view.at(place.id, "in", LINES)
        pen.raw(f'<g class="{into}">')
        pen.path([(x, y), (x, y + 5)], "s w")
        pen.circle(x, y + 18, 13, "s")
        pen.raw("</g>")
        self.neutral_tap(place, x - 13, y + 34, "out")
        pen.circle(x, y + 35, 13, "s")
        pen.path([(x, y + 48), (x, y + 54)], "s w")
        if not place.isolating:
            pen.path([(x - 5, y + 26.5), (x + 5, y + 26.5)], "s")

    def changeover(self, placed: PlacedSymbol) -> None:
        pen, x, y, place, view, shape = self.pen, placed.x, placed.y, placed.place, self.view, placed.shape
        up = -1.0 if placed.upside_down else 1.0
        zero = y + shape.height if placed.upside_down else y

        def level(depth: float) -> float:
            return zero + up * depth

        closed = view.positions(place)
        ports = shape.bottom if placed.upside_down else shape.top
        shifts = (0.0, N_AT) if self.plan.conductors else (0.0,)
        for shift in shifts:
            cores = ("N",) if shift else LINES
            style = "n" if shift else ""
            if shift and not {"N", "PEN"} & self.bars_of[place.id]:
                continue
            solid = bool(shift) and "N" not in place.poles and "PEN" not in place.poles
            common = view.at(place.id, "", cores)
            for position in shape.order:
                at = x + ports[position] + shift
                status = view.at(place.id, position, cores)
                pen.raw(f'<g class="{self.classes("position", style, status)}">')
                pen.path([(at, zero), (at, level(13))], self.classes("s w", style))
                if not solid:
                    pen.circle(at, level(15), 2.2, "s body")
                pen.raw("</g>")
                if not shift:
                    base = level(9) if up > 0 else level(2)
                    pen.text(
                        at + 5 + (PE_AT if self.plan.conductors else 0.0), base, metrics.shown(position, 12), "pos"
                    )
            pen.raw(f'<g class="{self.classes("common", style, common)}">')
            if solid:
                ends = [x + ports[p] + shift for p in shape.order]
                pen.path([(min(ends), level(13)), (max(ends), level(13))], "s w n")
                pen.path([(x + shift, level(13)), (x + shift, level(44))], "s w n")
                pen.circle(x + shift, level(13), 2.2, "dot s")
            else:
                pen.path([(x + shift, level(34)), (x + shift, level(44))], self.classes("s w", style))
                for position in closed:
                    if position in ports:
                        at = x + ports[position] + shift
                        pen.path([(x + shift, level(34)), (at, level(17))], "s w blade")
                if not any(position in ports for position in closed):
                    pen.path([(x + shift, level(34)), (x + shift, level(18))], "s w blade")
                pen.circle(x + shift, level(34), 2.2, "s body")
            pen.raw("</g>")
        if self.plan.conductors:
            self.through_earth(placed, ports, zero, up)

    def through_earth(self, placed: PlacedSymbol, ports: dict[str, float], zero: float, up: float) -> None:
        """The PE of all sides of a changeover, joined at its frame."""
        place, x = placed.place, placed.x
        status = self.view.earth_at(place.id)
        joined = []
        for link in self.drawing.links:
            for end, terminal in ((link.start, link.start_terminal), (link.finish, link.finish_terminal)):
                if end == place.id and "PE" in link.cores and (terminal in ports or not terminal):
                    at = x + PE_AT + (ports[terminal] if terminal else 0.0)
                    joined.append(at)
                    outer = zero if terminal else zero + up * placed.shape.height
                    self.line_of([(at, outer), (at, zero + up * 25)], "pe", status)
        if len(set(joined)) > 1:
            self.line_of([(min(joined), zero + up * 25), (max(joined), zero + up * 25)], "pe", status)
