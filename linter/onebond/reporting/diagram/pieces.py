"""The pieces that a picture is made of, each with the room that it takes: labels, ways with their devices, earthing, symbols."""

from __future__ import annotations

import math
from collections.abc import Iterable

from onebond.reporting.diagram import metrics
from onebond.reporting.diagram.plan import (
    EARTH_TEXT,
    FLAG,
    LEFT,
    PAD,
    PE_AT,
    TEXT,
    TRACK,
    Cell,
    Chain,
    EarthColumn,
    EarthItem,
    Label,
    Line,
    Shape,
    cores_in_short,
)
from onebond.reporting.diagram.structure import EarthTree, Edge
from onebond.result import DrawnDevice, DrawnLink, DrawnPlace

INPUT = 9.0
"""Between two direct-current inputs of an inverter."""

_STATES = {
    "utility": ("present", "absent", "detached"),
    "generator": ("running", "standing"),
    "inverter": ("inverting", "passing", "off"),
    "transformer": ("fed", "unfed"),
}


def states_of(place: DrawnPlace) -> tuple[str, ...]:
    """What the state line of a place may say, the longest words included."""
    if place.kind == "changeover":
        return (*(f"on {metrics.shown(position, 14)}" for position in place.positions), "changing over")
    return _STATES.get(place.kind, ())


class Labels:
    """Makes labels; knows which findings stand where."""

    def __init__(self, flags: dict[tuple[str, str], tuple[int, ...]], varying: frozenset[str]) -> None:
        self.flags = flags
        self.varying = varying  # what stands otherwise in some states of a kind of island

    def make(
        self,
        element: tuple[str, str],
        identifier: str,
        texts: Iterable[str],
        key: str = "",
        states: tuple[str, ...] = (),
        inline: bool = False,
    ) -> Label:
        """The label of an element; with ``inline`` its texts share a line as far as they fit."""
        lines = [Line("id", metrics.shown(identifier))] if identifier else []
        for text in joined(texts) if inline else texts:
            lines.append(Line("data", metrics.shown(text)))
        flags = self.flags.get(element, ())
        if flags and not lines:
            lines.append(Line("data", ""))
        wide = [metrics.width(line.text, line.kind) for line in lines]
        if not states and key in self.varying:
            if not lines:
                lines, wide = [Line("data", "")], [0.0]
            lines[-1] = lines[-1]._replace(key=key)
            wide[-1] += metrics.width(" *", lines[-1].kind)
        if flags:
            wide[0] += FLAG * len(flags) + 3
        if states:
            lines.append(Line("state", "", key))
            wide.append(max(metrics.width(f"{text} *", "state") for text in (*states, "any")))
        return Label(tuple(lines), flags, max(wide, default=0.0))


def joined(texts: Iterable[str]) -> list[str]:
    found: list[str] = []
    for text in texts:
        if found and len(found[-1]) + len(text) < 16:
            found[-1] = f"{found[-1]}, {text}"
        else:
            found.append(text)
    return found


def _poles_in_words(link: DrawnLink, device: DrawnDevice) -> tuple[str, ...]:
    """What one line cannot show of the poles of a device: a neutral that it opens or leaves, a PE that it opens."""
    odd = [core for core in ("PE", "PEN") if core in device.poles]
    if odd:
        return (f"opens {' '.join(odd)}",)
    if "N" not in link.cores or device.kind == "meter":
        return ()
    if "N" in device.poles:
        return ("opens N",)
    return () if device.kind in ("mcb", "mccb", "fuse") else ("N solid",)


def device_height(device: DrawnDevice) -> float:
    """The room of a device along its conductor."""
    return 46.0 if device.kind in ("rcd", "rcbo") else 34.0


class Pieces:
    """Makes the pieces of one drawing."""

    def __init__(self, places: dict[str, DrawnPlace], labels: Labels, conductors: bool) -> None:
        self.places = places
        self.labels = labels
        self.conductors = conductors
        self.extra = PE_AT if conductors else 0.0
        self.track = TRACK + (14.0 if conductors else 0.0)

    def chain(self, link: DrawnLink, down: bool) -> Chain:
        y = 5.0
        cells: list[Cell] = []
        devices = list(enumerate(link.devices))
        if link.plug:
            cells.append(Cell("plug", 0, Label((), (), 0.0), y, 20.0))
            y += 20.0
        for index, device in devices if down else reversed(devices):
            label = self.labels.make(
                ("device", device.name), device.id, (*device.texts, *_poles_in_words(link, device)), device.name
            )
            height = max(device_height(device), label.height + 4)
            cells.append(Cell("device", index, label, y, height))
            y += height
        texts = [f"{cores_in_short(link.cores)} {link.size}".strip(), *link.texts]
        label = self.labels.make(("link", link.id), "" if link.circuit else link.id, texts[:1] + joined(texts[1:]))
        height = max(8.0 + 4.0 * len(link.cores), label.height + 3)
        cells.append(Cell("cable", 0, label, y, height))
        y += height
        right = self.extra + max(TEXT + max(cell.label.width for cell in cells), LEFT) + PAD
        return Chain(link, down, tuple(cells), right, y + 2)

    def earth(self, tree: EarthTree) -> EarthColumn | None:
        if tree.empty:
            return None
        items: list[EarthItem] = []
        lanes: list[tuple[Edge, float, float]] = []
        nothing = Label((), (), 0.0)
        uppers: list[tuple[str, str, Label]] = []
        for bond in tree.bonds:
            at = (f"at {bond.at}.{bond.terminal}",) if bond.terminal else ()
            label = self.labels.make(
                ("bond", bond.id), bond.id, (*bond.texts, *at), bond.id, ("reference", "closed", "open")
            )
            uppers.append(("bond", bond.id, label))
        for monitor in tree.monitors:
            at = (f"at {monitor.at}.{monitor.terminal}",) if monitor.terminal else ()
            uppers.append(
                ("monitor", monitor.id, self.labels.make(("monitor", monitor.id), monitor.id, (*monitor.texts, *at)))
            )
        x = LEFT
        anchors = []
        depth = 0.0
        for kind, identifier, label in uppers:
            height = max(46.0, label.height + 8)
            items.append(EarthItem(kind, identifier, x, 0.0, height, label))
            anchors.append(x)
            depth = max(depth, height)
            x += EARTH_TEXT + label.width + PAD + LEFT
        right = x - LEFT if uppers else 0.0
        items = [item._replace(height=depth) for item in items]
        lowers = self.lower_items(tree)
        count = len(lowers)
        joined = bool(uppers) or count > 1
        bar_y = depth if uppers else (16.0 if joined else 0.0)
        x = LEFT
        bottom = bar_y + 4
        first = last = x
        for number, (kind, identifier, label, extra) in enumerate(lowers):
            first = x if number == 0 else first
            last = x
            height, wide = self.lower_item(kind, identifier, label, extra, x, bar_y, items, lanes)
            bottom = max(bottom, bar_y + height)
            right = max(right, x + wide)
            x += wide + LEFT
        if not uppers:
            anchors.append(first)
            if joined:
                items.append(EarthItem("drop", tree.place, first, 0.0, bar_y, nothing))
        if joined:
            ends = [*anchors, first, last]
            items.append(EarthItem("place", "", min(ends) - 8, bar_y, 0.0, nothing, max(ends) + 8))
        return EarthColumn(tuple(items), 0.0, right, bottom, tuple(anchors), tuple(lanes))

    def lower_items(self, tree: EarthTree) -> list[tuple[str, str, Label, object]]:
        found: list[tuple[str, str, Label, object]] = []
        for electrode in tree.electrodes:
            label = self.labels.make(("electrode", electrode.id), electrode.id, electrode.texts)
            found.append(("electrode", electrode.id, label, None))
        for child in tree.children:
            assert child.link is not None
            link = child.link
            label = self.labels.make(
                ("link", link.id), link.id, [f"{cores_in_short(link.cores)} {link.size}".strip(), *link.texts]
            )
            found.append(("cable", link.id, label, child))
        for metal, here in tree.metals:
            if here:
                others = [f"to {name}" for name in metal.joins[1:]]
                label = self.labels.make(("metal", metal.id), metal.id, [*filter(None, [metal.kind]), *others])
            else:
                label = self.labels.make(("", ""), "", [f"{metal.id} from", metal.joins[0]])
            found.append(("metal" if here else "joint", metal.id, label, None))
        for edge in tree.lanes:
            link = edge.link
            label = self.labels.make(
                ("link", link.id), link.id, [f"{cores_in_short(link.cores)} {link.size}".strip(), *link.texts]
            )
            found.append(("lane", link.id, label, edge))
        for link, other, whole in tree.stubs:
            if whole:
                texts = [f"{cores_in_short(link.cores)} {link.size}".strip(), *link.texts, f"to {other}"]
                label = self.labels.make(("link", link.id), link.id, texts)
            else:
                label = self.labels.make(("", ""), "", [f"{link.id} from", other])
            found.append(("stub" if whole else "joint", link.id, label, link))
        return found

    def lower_item(
        self,
        kind: str,
        identifier: str,
        label: Label,
        extra: object,
        x: float,
        y: float,
        items: list[EarthItem],
        lanes: list[tuple[Edge, float, float]],
    ) -> tuple[float, float]:
        """Adds what hangs at (x, y) of an earthing column; returns how deep and how wide it is from there."""
        wide = EARTH_TEXT + label.width + PAD
        if not isinstance(extra, EarthTree):
            height = max(30.0, label.height + 8)
            link = extra.link if isinstance(extra, Edge) else extra if isinstance(extra, DrawnLink) else None
            items.append(EarthItem(kind, identifier, x, y, height, label, 0.0, link))
            if isinstance(extra, Edge):
                lanes.append((extra, x, y + height))
            return height, wide
        height = label.height + 18
        items.append(EarthItem("cable", identifier, x, y, height, label, 0.0, extra.link))
        own = self.labels.make(("place", extra.place), extra.place, ())
        below = self.lower_items(extra)
        for bond in extra.bonds:
            below.append(("bond-below", bond.id, self.labels.make(("bond", bond.id), bond.id, bond.texts), None))
        for monitor in extra.monitors:
            label = self.labels.make(("monitor", monitor.id), monitor.id, monitor.texts)
            below.append(("monitor-below", monitor.id, label, None))
        bar = y + height
        at, deep, right, last = x, 0.0, 0.0, x
        for inner_kind, name, inner_label, inner_extra in below:
            last = at
            more, inner_wide = self.lower_item(inner_kind, name, inner_label, inner_extra, at, bar, items, lanes)
            deep = max(deep, more)
            right = max(right, at + inner_wide)
            at += inner_wide + LEFT
        end = last + 14
        items.append(EarthItem("place", extra.place, x - 14, bar, 0.0, own, end))
        right = max(right, end + 6 + own.width + PAD, x + wide)
        return height + max(deep, 8.0), right - x

    def shape(self, spot_or_place: DrawnPlace, order: tuple[str, ...] = (), upside_down: bool = False) -> Shape:
        place = spot_or_place
        wide = self.extra
        if place.kind == "utility":
            earthed = place.earthing in ("TN-S", "TN-C-S", "TT")
            return Shape(42.0 if earthed else 15.0, 15.0 + wide, 44.0, {}, {"": 0.0}, 43.0)
        if place.kind == "generator":
            return Shape(44.0 if place.neutral_bond != "none" else 18.0, 18.0 + wide, 40.0, {}, {"": 0.0}, 38.0)
        if place.kind == "transformer":
            left = 44.0 if place.neutral_bond != "none" else 16.0
            return Shape(left, 16.0 + wide, 54.0, {"in": 0.0}, {"out": 0.0, "": 0.0}, 52.0)
        if place.kind == "inverter" and not place.mains_input:
            left = 46.0 if place.neutral_bond != "none" else 19.0
            return Shape(left, 19.0 + wide, 42.0, inputs_at(place.inputs, -12.0, 12.0), {"": 0.0, "out": 0.0}, 40.0)
        if place.kind == "inverter":
            left = 46.0 if place.neutral_bond != "none" else 20.0
            return Shape(
                left, 58.0 + wide, 70.0, {"in": 0.0, **inputs_at(place.inputs, 40.0, 22.0)}, {"out": 0.0, "": 0.0}, 68.0
            )
        steps = [0.0]
        for position in order[:-1]:
            steps.append(steps[-1] + max(34.0, metrics.width(metrics.shown(position, 12), "pos") + 16) + wide)
        middle = steps[-1] / 2
        last = metrics.width(metrics.shown(order[-1], 12), "pos") + 8 if order else 0.0
        ports = {position: at - middle for position, at in zip(order, steps, strict=False)}
        shape = Shape(middle + 14, middle + max(14.0, last) + wide, 44.0, ports, {"": 0.0}, 42.0, order)
        if upside_down:
            return shape._replace(top={"": 0.0}, bottom=ports)
        return shape

    def fold_label(self, links: list[DrawnLink]) -> Label:
        """The label of final circuits drawn as one way, with the findings about all of them."""
        flags = self.labels.flags
        found: dict[int, None] = {}
        for link in links:
            names = [("place", link.finish), ("link", link.id), *(("device", device.name) for device in link.devices)]
            found.update(dict.fromkeys(flag for name in names for flag in flags.get(name, ())))
        text = f"{len(links)} circuits"
        wide = metrics.width(text, "data") + (FLAG * len(found) + 3 if found else 0.0)
        return Label((Line("data", text),), tuple(found), wide)

    def load_label(self, circuit: str) -> Label:
        place = self.places[circuit]
        return self.labels.make(("place", circuit), circuit, place.texts)


class Infeed:
    """A source over the place that it feeds."""

    def __init__(self, layout: Pieces, place: DrawnPlace, edge: Edge, tree: EarthTree) -> None:
        self.place = place
        self.edge = edge
        self.shape = layout.shape(place)
        self.chain = layout.chain(edge.link, edge.down)
        texts = list(place.texts)
        if place.variable and place.variable != place.id:
            texts.append(f"in {place.variable}")
        self.label = layout.labels.make(("place", place.id), place.id, texts, place.variable, states_of(place))
        self.earth = layout.earth(tree)
        earth_wide = self.earth.right + 6 if self.earth else 0.0
        self.left = self.shape.left + earth_wide + 4
        self.right = max(self.shape.right + 6 + self.label.width + PAD, self.chain.right)
        self.below = max(self.shape.height, self.label.height + 6)
        earth_deep = self.shape.tap + self.earth.height + 8 if self.earth else 0.0
        self.height = max(self.below + self.chain.height, earth_deep)


def inputs_at(inputs: tuple[str, ...], first: float, last: float) -> dict[str, float]:
    """Where the direct-current inputs of an inverter meet its symbol, beside each other from one place on."""
    step = math.copysign(min(INPUT, abs(last - first) / max(len(inputs) - 1, 1)), last - first)
    return {name: first + step * number for number, name in enumerate(inputs)}
