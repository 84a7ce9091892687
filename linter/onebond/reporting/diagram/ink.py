"""What every part of a picture is written with: groups, labels, flags, lines in their style."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape
from itertools import pairwise

from onebond.reporting import neutralise
from onebond.reporting.diagram import metrics
from onebond.reporting.diagram.plan import N_AT, PE_AT, Label, Plan
from onebond.reporting.diagram.symbols import Pen
from onebond.reporting.diagram.view import LINES, View
from onebond.result import Drawing, DrawnDevice, DrawnLink, DrawnPlace
from onebond.wording import kind_said

Flags = Mapping[int, str]
"""The level of each numbered finding."""

_KINDS = {
    "utility": "supply",
    "generator": "generator",
    "inverter": "inverter",
    "transformer": "transformer",
    "board": "board",
    "changeover": "changeover",
    "circuit": "circuit",
}


class Stroke:
    """One of the lines that a cable is drawn as: its cores, its style, and how far to the right it runs."""

    __slots__ = ("cores", "offset", "style")

    def __init__(self, cores: tuple[str, ...], style: str, offset: float) -> None:
        self.cores, self.style, self.offset = cores, style, offset


def strokes(link: DrawnLink, conductors: bool) -> tuple[Stroke, ...]:
    """A cable as one line, or its lines, N and PE each as a line of their own."""
    lines = tuple(core for core in link.cores if core in LINES)
    live = lines or tuple(core for core in link.cores if core not in ("PE", "N", "PEN"))
    neutral = tuple(core for core in link.cores if core in ("N", "PEN"))
    earth = tuple(core for core in link.cores if core == "PE")
    first = "lm" if len(live) != 1 or live[0] not in LINES else live[0].lower()
    n_style = "pen" if "PEN" in neutral else "n"
    if not conductors:
        if live:
            return (Stroke(live, first, 0.0),)
        return (Stroke(neutral, n_style, 0.0),) if neutral else (Stroke(earth, "pe", 0.0),)
    found = [Stroke(live, first, 0.0)] if live else []
    if neutral:
        found.append(Stroke(neutral, n_style, N_AT))
    if earth:
        found.append(Stroke(earth, "pe", PE_AT))
    return tuple(found)


def moved(points: Sequence[tuple[float, float]], by: float) -> list[tuple[float, float]]:
    """A polyline of level and upright pieces, moved to the right by ``by`` and so that parallel ones do not cross."""
    if not by:
        return list(points)
    found: list[tuple[float, float]] = []
    shifts = []
    for (x1, y1), (x2, y2) in pairwise(points):
        if x1 == x2:
            shifts.append(None if y1 == y2 else 0.0)
        else:
            shifts.append(-by * 0.4 if x2 > x1 else by * 0.4)
    for i, (x, y) in enumerate(points):
        near = [s for s in shifts[max(0, i - 1) : i + 1] if s]
        found.append((x + by, y + (near[0] if near else 0.0)))
    return found


class Ink:
    """Holds one picture while it is written."""

    def __init__(
        self,
        drawing: Drawing,
        plan: Plan,
        view: View,
        prefix: str,
        levels: Flags,
        names: dict[int, str],
        say: Callable[[str], str],
    ) -> None:
        self.drawing = drawing
        self.plan = plan
        self.view = view
        self.prefix = prefix
        self.levels = levels
        self.names = names
        self.say = say  # puts texts into the words of the rulebook
        self.pen = Pen()
        self.links = {link.id: link for link in drawing.links}
        self.bonds = {bond.id: bond for bond in drawing.bonds}
        self.electrodes = {electrode.id: electrode for electrode in drawing.electrodes}
        self.monitors = {monitor.id: monitor for monitor in drawing.monitors}
        self.metals = {metal.id: metal for metal in drawing.metals}
        self.bars_of = self.conductors_at()

    def conductors_at(self) -> dict[str, set[str]]:
        """The conductors that land at each place."""
        found: dict[str, set[str]] = {place.id: set(place.bars) for place in self.drawing.places}
        for link in self.drawing.links:
            lands = dict(link.lands_on)
            found[link.start].update(link.cores)
            found[link.finish].update(lands.get(core, core) for core in link.cores)
        for at in (*(bond.at for bond in self.drawing.bonds), *(electrode.at for electrode in self.drawing.electrodes)):
            found[at].add("PE")
        return found

    def open_group(self, kind: str, identifier: str, classes: Iterable[str], title: str, line: int) -> None:
        names = " ".join(name for name in (kind, *classes) if name)
        self.pen.raw(f'<g id="{self.prefix}{kind}-{escape(identifier)}" class="{names}"{self.place(identifier, line)}>')
        self.pen.title(neutralise.for_terminal(title))

    def place(self, identifier: str, line: int) -> str:
        """The place of something in the description, as attributes; its file where that is a part of the site."""
        file = dict(self.drawing.files).get(identifier)
        return f' data-line="{line}"' + (f' data-file="{escape(neutralise.for_terminal(file))}"' if file else "")

    def close_group(self) -> None:
        self.pen.raw("</g>")

    # -- texts ---------------------------------------------------------------------------------------------------------

    def label(self, x: float, y: float, label: Label, kind: str = "", classes: str = "") -> None:
        """A label with its top left at (x, y)."""
        if not label.lines:
            return
        pen = self.pen
        pen.raw(f'<g class="{" ".join(filter(None, ("label", classes)))}">')
        base = y + 10
        for i, line in enumerate(label.lines):
            text = line.text if line.kind != "state" else metrics.shown(self.view.words(kind, line.key))
            if line.key in self.view.varies and (text or line.kind != "state"):
                text = f"{text} *".strip()
            pen.text(x, base, text, line.kind)
            if i == 0 and label.flags:
                at = x + (metrics.width(line.text, line.kind) + 3 if line.text else 0.0)
                for flag in (flag for flag in label.flags if flag in self.levels):
                    self.flag(flag, at, base)
                    at += 17.0
            base += 12.0
        pen.raw("</g>")

    def flag(self, flag: int, x: float, base: float) -> None:
        pen = self.pen
        level = self.levels.get(flag, "error")
        pen.raw(f'<g id="{self.prefix}flag-{flag}" class="flag {level}">')
        pen.title(self.names.get(flag, f"finding {flag}"))
        pen.rect(x, base - 9, 15, 11, "")
        pen.text(x + 7.5, base - 0.6, str(flag), "in")
        pen.raw("</g>")

    def classes(self, *names: str) -> str:
        return " ".join(name for name in names if name)

    def line_of(self, points: Sequence[tuple[float, float]], style: str, status: str, offset: float = 0.0) -> None:
        shifted = moved(points, offset)
        self.pen.path(shifted, self.classes("w", style, status))
        if style in ("pe", "pen"):
            self.pen.path(shifted, self.classes("ye", status))

    def ends(self, link: DrawnLink, stroke: Stroke) -> tuple[str, str]:
        """The classes of a stroke at its start and at its finish."""
        lands = dict(link.lands_on)
        finish = tuple(lands.get(core, core) for core in stroke.cores)
        return (
            self.view.at(link.start, link.start_terminal, stroke.cores),
            self.view.at(link.finish, link.finish_terminal, finish),
        )

    def link_title(self, link: DrawnLink) -> str:
        start = f"{link.start}.{link.start_terminal}" if link.start_terminal else link.start
        finish = f"{link.finish}.{link.finish_terminal}" if link.finish_terminal else link.finish
        data = ", ".join(text for text in (" ".join(link.cores), link.size, *link.texts) if text)
        if link.circuit:
            return f"cable of {link.id}, from {start}: {data}"
        crossed = "".join(f"; {core} lands on {target}" for core, target in link.lands_on)
        return f"{link.id}, from {start} to {finish}: {data}{crossed}"

    def device_title(self, link: DrawnLink, device: DrawnDevice, index: int) -> str:
        name = device.id or f"device {index} of {link.id}"
        kind = kind_said(self.say, device.kind, device.id or f"in {link.id}")
        poles = f"opens {' '.join(device.poles)}" if device.poles else "opens nothing"
        sums = f"sums {' '.join(device.senses)}" if device.senses else ""
        state = ""
        if self.view.state:
            state = "open" if self.view.open(device) else "closed"
            if device.name in self.view.varies or device.name in self.view.free:
                state += " (as drawn: it may be otherwise)"
        return ", ".join(text for text in (f"{name}: {kind}", *device.texts, poles, sums, state) if text)

    def place_title(self, place: DrawnPlace) -> str:
        told = [f"{place.id}: {self.say(_KINDS[place.kind])}", *place.texts]
        if place.inside:
            told.append(f"in the enclosure of {place.inside}")
        if self.view.state:
            value = self.view.value(place.variable) if place.variable else ""
            if value:
                told.append(value if place.kind != "changeover" or value == "off" else f"on {value}")
            feeds = self.view.fed_by(place)
            told.append(f"live from {', '.join(feeds)}" if feeds else "not part of this live island")
        return ", ".join(told)
