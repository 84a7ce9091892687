"""Plots of computed figures as plain geometry: the templates write them as SVG, so that all text in them is escaped there.

Nothing rests on colour: a source has its own shape of mark, a mark is filled where the fault is cut off in time for certain.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from onebond.reporting import neutralise, words
from onebond.reporting.figures import number, seconds
from onebond.result import ClearingCurve, FaultFigure, Figures

TOUCH_LIMIT_V = 50.0
"""The conventional limit of touch voltage, alternating current (IEC 60364-4-41)."""

_SHAPES = ("circle", "square", "triangle", "diamond", "cross", "bar", "down", "plus", "tie", "house")
_LABEL_CHARACTERS = 26
_ROWS = 36  # of one touch plot, so that it fits a sheet
_ROW = 18.0
_MOST = 2 * _ROWS  # places of all touch plots: of more than that those with the highest voltage
_PLACES_NAMED = 8
_DEVICES_NAMED = 6
_PANELS = 48  # past it the plots are left out, and the page says so


class Mark(NamedTuple):
    """A point of a plot."""

    x: float
    y: float
    shape: str
    filled: bool
    title: str


class Text(NamedTuple):
    """A piece of text; ``anchor`` is a class of the stylesheet."""

    x: float
    y: float
    text: str
    anchor: str = ""


class Line(NamedTuple):
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    kind: str


class Area(NamedTuple):
    """A rectangle: where devices may have opened, or have for certain."""

    x: float
    y: float
    width: float
    height: float
    kind: str


class Plot(NamedTuple):
    """One plot; ``heading`` and ``notes`` stand beside it as text of the page."""

    heading: str
    notes: tuple[str, ...]
    title: str
    desc: str
    width: float
    height: float
    areas: tuple[Area, ...]
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    texts: tuple[Text, ...]


class Key(NamedTuple):
    """What a mark stands for."""

    shape: str
    text: str


def keys(figures: Figures) -> tuple[Key, ...]:
    """The shape of the marks of each source, or of the sources that feed together."""
    names = {", ".join(row.sources) for row in figures.faults if row.touch_v is not None and _plotted(row)}
    names |= {curve.source for curve in figures.curves}
    ordered = sorted(names, key=lambda name: (name.count(","), name))
    return tuple(Key(_SHAPES[at % len(_SHAPES)], name or "no source") for at, name in enumerate(ordered))


def _plotted(fault: FaultFigure) -> bool:
    """Whether a touch voltage says something: in a floating system a fault drives next to no current, and 0 V would look safe."""
    return not fault.second and fault.earthing != "floating"


# -- touch voltage by place ----------------------------------------------------------------------------------------------

_LEFT, _RIGHT, _TOP, _WIDTH = 178.0, 14.0, 30.0, 680.0


def touch(figures: Figures, shapes: dict[str, str]) -> tuple[tuple[Plot, ...], int]:
    """Touch voltage by place and source with the line of the conventional limit, and how many places are left out.

    There are several plots where one would be too long; of very many places those with the highest voltage are shown.
    """
    rows: dict[str, dict[tuple[str, float, str], FaultFigure]] = {}
    for fault in figures.faults:
        if fault.touch_v is not None and _plotted(fault):
            source = ", ".join(fault.sources)
            rows.setdefault(fault.at, {}).setdefault((source, fault.touch_v, fault.verdict), fault)
    worst = sorted(rows, key=lambda name: -max(volt for _, volt, _ in rows[name]))[:_MOST]
    names = [name for name in rows if name in set(worst)]
    highest = max((key[1] for found in rows.values() for key in found), default=0.0)
    scale = _linear(max(highest * 1.04, 60.0))
    plots = []
    for start in range(0, len(names), _ROWS):
        part = names[start : start + _ROWS]
        part_of = f", {start + 1} to {start + len(part)} of {len(names)} places" if len(names) > _ROWS else ""
        plots.append(
            _touch(f"Touch voltage during an earth fault{part_of}", {name: rows[name] for name in part}, scale, shapes)
        )
    return tuple(plots), len(rows) - len(names)


def without_touch(figures: Figures) -> tuple[str, ...]:
    """Places of which no touch voltage is plotted, each with what feeds it and why."""
    found: dict[tuple[str, str], dict[str, None]] = {}
    for fault in figures.faults:
        if _plotted(fault) and fault.touch_v is not None:
            continue
        if fault.earthing == "floating":
            why = "the neutral floats, and no fault is cleared"
        elif fault.second:
            why = "second faults of an IT system"
        elif fault.open:
            why = f"{fault.open} is not written" if " " not in fault.open else f"open: {fault.open}"
        elif fault.current_a is None:
            why = "nothing leads the fault current back, and the frame stays live"
        else:
            why = "nothing ties the frame to the mass of earth"
        found.setdefault((", ".join(fault.sources) or "no source", why), {})[fault.at] = None
    return tuple(
        f"{words.shortened(tuple(places), _PLACES_NAMED)}, fed by {source}: {why}"
        for (source, why), places in found.items()
    )


def _touch(
    heading: str, rows: dict[str, dict[tuple[str, float, str], FaultFigure]], scale: list[float], shapes: dict[str, str]
) -> Plot:
    room = _WIDTH - _LEFT - _RIGHT
    bottom = _TOP + _ROW * len(rows)

    def at(volt: float) -> float:
        return _r(_LEFT + room * volt / scale[-1])

    lines = [Line(at(tick), _TOP, at(tick), bottom, "grid") for tick in scale]
    texts = [Text(at(tick), bottom + 14, f"{tick:g}", "mid") for tick in scale]
    texts.append(Text(_LEFT + room / 2, bottom + 29, "V, frame to the mass of earth", "mid"))
    lines.append(Line(at(TOUCH_LIMIT_V), _TOP - 8, at(TOUCH_LIMIT_V), bottom, "limit"))
    texts.append(Text(at(TOUCH_LIMIT_V), _TOP - 12, "50 V", "mid"))
    marks = []
    for index, (name, found) in enumerate(rows.items()):
        y = _TOP + _ROW * (index + 0.5)
        lines.append(Line(_LEFT, y, _LEFT + room, y, "row"))
        texts.append(Text(_LEFT - 10, y + 4, _short(name), "end"))
        for (source, volt, verdict), fault in sorted(found.items()):
            told = f"{name}, fed by {source or 'no source'}: {number(volt)} V, {_verdict(verdict, fault.certain_s, fault.limit_s)}"
            marks.append(Mark(at(volt), y, shapes[source or "no source"], verdict == "certain", told))
    worst = max(((volt, name, source) for name, found in rows.items() for source, volt, _ in found), default=None)
    desc = f"{words.count(len(rows), 'place')}."
    if worst:
        desc += f" The highest is {number(worst[0])} V at {worst[1]}, fed by {worst[2] or 'no source'}."
    desc += " The same values stand in the table of earth faults."
    return Plot(heading, (), heading, desc, _WIDTH, bottom + 36, (), tuple(lines), tuple(marks), tuple(texts))


def _verdict(verdict: str, certain_s: float | None, limit_s: float | None) -> str:
    if verdict == "certain":
        return (
            f"cut off within {seconds(certain_s)} for certain"
            if certain_s is not None
            else "cut off in time for certain"
        )
    if verdict == "possible":
        return f"not certain to be cut off within {seconds(limit_s)}"
    if verdict == "impossible":
        return f"not cut off within {seconds(limit_s)}"
    return "whether it is cut off in time is open" if verdict == "open" else "no time is asked for"


def _linear(highest: float) -> list[float]:
    step = 10 ** math.floor(math.log10(highest / 3))
    step *= next((factor for factor in (1, 2, 5) if highest / (step * factor) <= 8), 10)
    return [step * index for index in range(math.ceil(highest / step) + 1)]


# -- fault current against the bands of the devices -----------------------------------------------------------------------

_PANEL, _SIDE, _FOOT, _HEAD, _DEEP = 330.0, 46.0, 34.0, 10.0, 172.0
_FASTEST_S, _SLOWEST_S = 0.01, 10_000.0


def bands(figures: Figures, shapes: dict[str, str]) -> tuple[tuple[Plot, ...], int]:
    """Fault currents against the times of the devices on the way, one plot for ways that are alike, and how many are left out."""
    groups: dict[tuple[object, ...], list[ClearingCurve]] = {}
    for curve in figures.curves:
        groups.setdefault((curve.steps, curve.limit_s), []).append(curve)
    found = sorted(groups.values(), key=_gravity)
    return tuple(_band(curves, shapes) for curves in found[:_PANELS]), max(0, len(found) - _PANELS)


_GRAVEST = ("impossible", "possible", "open", "-", "source", "certain")


def _gravity(curves: Sequence[ClearingCurve]) -> int:
    """Ways that are not cut off come first; a stable sort keeps the order of the places."""
    return min(_GRAVEST.index(verdict) for curve in curves for _, verdict in curve.currents)


def _band(curves: Sequence[ClearingCurve], shapes: dict[str, str]) -> Plot:
    steps, limit_s = curves[0].steps, curves[0].limit_s
    currents = [current for curve in curves for current, _ in curve.currents]
    edges = [start for start, _, _ in steps[1:]] or [1.0]
    low = math.floor(math.log10(min(*currents, *edges) / 1.2))
    high = math.ceil(math.log10(max(*currents, *edges) * 1.2))
    width, height = _PANEL - _SIDE - 18, _DEEP

    def x_of(ampere: float) -> float:
        part = (math.log10(ampere) - low) / (high - low)
        return _r(_SIDE + width * min(max(part, 0.0), 1.0))

    def y_of(time_s: float | None) -> float:
        if time_s is None:
            return _HEAD
        inside = min(max(time_s, _FASTEST_S), _SLOWEST_S)
        span = math.log10(_SLOWEST_S / _FASTEST_S)
        return _r(_HEAD + height * (1 - math.log10(inside / _FASTEST_S) / span))

    areas = []
    for (start, possible_s, certain_s), after in zip(steps, (*(one[0] for one in steps[1:]), 10.0**high), strict=True):
        left, right = x_of(start), x_of(after)
        if possible_s is None or right <= left:
            continue
        areas.append(Area(left, y_of(certain_s), _r(right - left), _r(y_of(possible_s) - y_of(certain_s)), "possible"))
        if certain_s is not None:
            areas.append(Area(left, _HEAD, _r(right - left), _r(y_of(certain_s) - _HEAD), "certain"))
    lines = [Line(x_of(10.0**tick), _HEAD, x_of(10.0**tick), _HEAD + height, "grid") for tick in range(low, high + 1)]
    texts = [Text(x_of(10.0**tick), _HEAD + height + 14, f"{10.0**tick:g}", "mid") for tick in range(low, high + 1)]
    texts.append(Text(_SIDE + width / 2, _HEAD + height + 28, "fault current, A", "mid"))
    for time_s, told in ((0.01, "10 ms"), (0.1, "0.1 s"), (1, "1 s"), (10, "10 s"), (100, "100 s"), (1000, "1000 s")):
        lines.append(Line(_SIDE, y_of(time_s), _SIDE + width, y_of(time_s), "grid"))
        texts.append(Text(_SIDE - 6, y_of(time_s) + 4, told, "end"))
    base = y_of(limit_s) if limit_s is not None else _HEAD + height
    if limit_s is not None:
        lines.append(Line(_SIDE, base, _SIDE + width, base, "limit"))
    marks, told_of = [], _by_source(curves)
    for source, seen in told_of.items():
        for current, verdict in seen:
            lines.append(Line(x_of(current), _HEAD, x_of(current), _HEAD + height, "current"))
            told = f"{source}: {number(current)} A, {_TOLD[verdict]}"
            marks.append(Mark(x_of(current), base, shapes[source], verdict in ("certain", "source"), told))
    places = tuple(dict.fromkeys(curve.at for curve in curves))
    devices = tuple(dict.fromkeys(name for curve in curves for name in curve.devices))
    notes = [f"{source}: {_range(seen)}" for source, seen in told_of.items()]
    notes.append(f"limit: {seconds(limit_s)}" if limit_s is not None else "no time is asked for")
    notes.append(f"on the way: {words.shortened(devices, _DEVICES_NAMED)}")
    heading = words.shortened(places, _PLACES_NAMED)
    frame = Line(_SIDE, _HEAD + height, _SIDE + width, _HEAD + height, "axis")
    return Plot(
        heading,
        tuple(notes),
        f"Fault current against device times: {heading}",
        "; ".join(notes),
        _PANEL,
        _HEAD + height + _FOOT,
        tuple(areas),
        (*lines, frame, Line(_SIDE, _HEAD, _SIDE, _HEAD + height, "axis")),
        tuple(marks),
        tuple(texts),
    )


def _by_source(curves: Iterable[ClearingCurve]) -> dict[str, list[tuple[float, str]]]:
    found: dict[str, dict[tuple[float, str], None]] = {}
    for curve in curves:
        found.setdefault(curve.source, {}).update(dict.fromkeys(curve.currents))
    return {source: sorted(seen) for source, seen in sorted(found.items())}


_TOLD = {
    "certain": "cut off in time for certain",
    "possible": "not certain to be cut off in time",
    "impossible": "not cut off in time",
    "open": "open, see the table of earth faults",
    "-": "no time is asked for",
    "source": "the source itself stops in time, or its maker declares that a device opens",
}


def _range(seen: list[tuple[float, str]]) -> str:
    """The currents of one source by verdict, from the smallest to the largest."""
    told = []
    for verdict in _GRAVEST:
        values = [current for current, found in seen if found == verdict]
        if values:
            low, high = number(min(values)), number(max(values))
            told.append(f"{low if low == high else f'{low} to {high}'} A, {_TOLD[verdict]}")
    return "; ".join(told)


def _short(name: str) -> str:
    shown = neutralise.for_terminal(name)
    return shown if len(shown) <= _LABEL_CHARACTERS else f"{shown[: _LABEL_CHARACTERS - 3]}..."


def _r(value: float) -> float:
    return round(value, 1)
