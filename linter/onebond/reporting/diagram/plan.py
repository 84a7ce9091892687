"""What a layout comes to: every piece of a picture with its place.  Units are those of the drawing, about a screen pixel at full size."""

from __future__ import annotations

from typing import NamedTuple

from onebond.reporting.diagram.structure import Edge
from onebond.result import DrawnLink, DrawnPlace

LEFT = 17.0  # room to the left of a conductor: half a symbol
TEXT = 14.0  # from a conductor to its label
EARTH_TEXT = 18.0  # the same in an earthing column, where a ring may stand around a bond
PAD = 9.0  # to the right of a label
LINE = 12.0  # from line to line
TRACK = 11.0  # between level conductors
N_AT, PE_AT = 16.0, 28.0  # where N and PE run beside the line conductors when they are drawn
FLAG = 17.0


class Line(NamedTuple):
    """One line of a label; ``key`` is the variable or bond whose state it is for: a state line says it, another may get a star."""

    kind: str  # id | data | state
    text: str
    key: str = ""


class Label(NamedTuple):
    """The lines beside a symbol and the numbers of the findings about it."""

    lines: tuple[Line, ...]
    flags: tuple[int, ...]
    width: float

    @property
    def height(self) -> float:
        """From the top of its first line to the bottom of its last."""
        return LINE * len(self.lines)


class Cell(NamedTuple):
    """A piece of a way: a plug, a device, or the stretch that carries the marks of the cable."""

    kind: str  # plug | device | cable
    device: int  # its number in the order of the file, from 0
    label: Label
    y: float
    height: float


class Chain(NamedTuple):
    """A cable with its devices, drawn from top to bottom."""

    link: DrawnLink
    down: bool
    cells: tuple[Cell, ...]
    right: float
    height: float


class EarthItem(NamedTuple):
    """One thing of an earthing column; positions count from its anchor."""

    kind: str  # bond | monitor | electrode | metal | cable | place | lane | stub | drop
    id: str
    x: float
    y: float
    height: float
    label: Label
    x2: float = 0.0  # the right end of a bar
    link: DrawnLink | None = None


class EarthColumn(NamedTuple):
    """Everything that ties a place to earth."""

    items: tuple[EarthItem, ...]
    left: float
    right: float
    height: float
    anchors: tuple[float, ...]  # where it meets the bar of its host
    lanes: tuple[tuple[Edge, float, float], ...]  # further PE conductors: where each leaves


class Shape(NamedTuple):
    """The room of a symbol around its axis, and where conductors meet it from above and from below."""

    left: float
    right: float
    height: float
    top: dict[str, float]
    bottom: dict[str, float]
    tap: float  # the height at which earthing leaves it to the left
    order: tuple[str, ...] = ()  # the positions of a changeover from left to right


# -- what a plan holds ---------------------------------------------------------------------------------------------------


class PlacedChain(NamedTuple):
    chain: Chain
    x: float
    y: float
    end: float


class PlacedWire(NamedTuple):
    link: DrawnLink
    points: tuple[tuple[float, float], ...]
    down: bool  # the first point is nearer to the start of the link
    last: bool  # it ends at the lower place; else it begins at the upper one


class PlacedBar(NamedTuple):
    place: DrawnPlace
    x1: float
    x2: float
    y: float
    label: Label
    tops: tuple[tuple[float, DrawnLink], ...]
    bottoms: tuple[tuple[float, DrawnLink], ...]


class PlacedSymbol(NamedTuple):
    place: DrawnPlace
    x: float
    y: float
    shape: Shape
    label: Label
    upside_down: bool
    label_x: float


class PlacedLoad(NamedTuple):
    place: DrawnPlace
    x: float
    y: float
    label: Label


class PlacedFold(NamedTuple):
    """The final circuits of a board as one way."""

    board: str
    links: tuple[DrawnLink, ...]
    x: float
    y: float
    label: Label


class PlacedEarth(NamedTuple):
    place: DrawnPlace
    column: EarthColumn
    x: float
    y: float
    tap: tuple[float, float] | None  # the point of the symbol that it hangs from; None: a bar


class PlacedMark(NamedTuple):
    """Where a conductor goes on, on another sheet."""

    link: DrawnLink
    x: float
    y: float
    text: str
    arrives: bool


class Plan(NamedTuple):
    """A whole picture."""

    width: float
    height: float
    bars: tuple[PlacedBar, ...]
    symbols: tuple[PlacedSymbol, ...]
    chains: tuple[PlacedChain, ...]
    wires: tuple[PlacedWire, ...]
    loads: tuple[PlacedLoad, ...]
    folds: tuple[PlacedFold, ...]
    earths: tuple[PlacedEarth, ...]
    marks: tuple[PlacedMark, ...]
    conductors: bool


def cores_in_short(cores: tuple[str, ...]) -> str:
    """``L1 L2 L3 N PE`` as ``3L N PE``; fewer lines stay as they are."""
    if cores[:3] == ("L1", "L2", "L3"):
        return " ".join(("3L", *cores[3:]))
    return " ".join(cores)
