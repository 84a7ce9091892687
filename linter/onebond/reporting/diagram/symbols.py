"""Symbols, drawn from the shapes that IEC 60617 gives its functions (from memory): a cross at the fixed contact is a circuit-breaker,
a bar across it an isolator, a half circle a contactor, a ring around the conductors a core-balance transformer.

Every function takes a :class:`Pen` and absolute coordinates.
"""

from __future__ import annotations

from html import escape


def number(value: float) -> str:
    """A coordinate with one decimal at most."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


class Pen:
    """Collects the pieces of an SVG; nothing gets in unescaped."""

    def __init__(self) -> None:
        self.out: list[str] = []

    def raw(self, text: str) -> None:
        """Text that is already SVG."""
        self.out.append(text)

    def path(self, points: list[tuple[float, float]] | tuple[tuple[float, float], ...], classes: str) -> None:
        """A polyline."""
        (x, y), *rest = points
        steps = [f"M{number(x)} {number(y)}"]
        for nx, ny in rest:
            if nx == x and ny == y:
                continue
            steps.append(
                f"V{number(ny)}" if nx == x else f"H{number(nx)}" if ny == y else f"L{number(nx)} {number(ny)}"
            )
            x, y = nx, ny
        self.out.append(f'<path class="{classes}" d="{"".join(steps)}"/>')

    def shape(self, d: str, classes: str) -> None:
        """A path written out."""
        self.out.append(f'<path class="{classes}" d="{d}"/>')

    def circle(self, x: float, y: float, r: float, classes: str) -> None:
        """A circle."""
        self.out.append(f'<circle class="{classes}" cx="{number(x)}" cy="{number(y)}" r="{number(r)}"/>')

    def ellipse(self, x: float, y: float, rx: float, ry: float, classes: str) -> None:
        """An ellipse."""
        self.out.append(
            f'<ellipse class="{classes}" cx="{number(x)}" cy="{number(y)}" rx="{number(rx)}" ry="{number(ry)}"/>'
        )

    def rect(self, x: float, y: float, w: float, h: float, classes: str) -> None:
        """A rectangle."""
        self.out.append(
            f'<rect class="{classes}" x="{number(x)}" y="{number(y)}" width="{number(w)}" height="{number(h)}"/>'
        )

    def text(self, x: float, y: float, text: str, classes: str) -> None:
        """A line of text; ``y`` is its base line."""
        if text:
            self.out.append(f'<text class="{classes}" x="{number(x)}" y="{number(y)}">{escape(text)}</text>')

    def title(self, text: str) -> None:
        """What a pointer or a screen reader is told."""
        self.out.append(f"<title>{escape(text)}</title>")


def contact(pen: Pen, x: float, y: float, kind: str, closed: bool, height: float = 20.0) -> None:
    """A make contact from (x, y) down, its pivot below; the mark of its function at the fixed contact."""
    foot = y + height
    if closed:
        pen.path([(x, y), (x, foot)], "s w")
    else:
        pen.path([(x, foot), (x - 10, y + 2)], "s w")
    if kind in ("mcb", "mccb", "rcbo"):
        pen.shape(f"M{number(x - 3.5)} {number(y - 3.5)}l7 7m0-7l-7 7", "s")
    elif kind == "isolator":
        pen.path([(x - 5, y), (x + 5, y)], "s")
    elif kind == "rcd":
        pen.path([(x - 5, y), (x + 5, y)], "s")
        pen.circle(x, y + 2.6, 2.2, "s body")
    elif kind == "contactor":
        pen.shape(f"M{number(x)} {number(y - 5)}a5 5 0 0 1 0 10", "s")
    else:
        pen.circle(x, y, 1.8, "s body")
    if kind == "switch":
        pen.circle(x, foot, 1.8, "s body")


def fuse(pen: Pen, x: float, y: float, height: float) -> None:
    """A fuse: a rectangle with its conductor through it."""
    pen.rect(x - 4.5, y, 9, height, "s body")
    pen.path([(x, y), (x, y + height)], "s")


def meter(pen: Pen, x1: float, x2: float, y: float) -> None:
    """A meter of energy around the conductors from ``x1`` to ``x2``: a square with a bar at its top."""
    pen.rect(x1 - 10, y, x2 - x1 + 20, 20, "s body")
    pen.path([(x1 - 10, y + 5), (x2 + 10, y + 5)], "s")
    pen.text((x1 + x2) / 2, y + 16, "Wh", "in")


def ring(pen: Pen, x1: float, x2: float, y: float, contact_x: float, contact_y: float) -> None:
    """A core-balance transformer around the conductors from ``x1`` to ``x2``, and its link to the contact."""
    pen.ellipse((x1 + x2) / 2, y, (x2 - x1) / 2 + 8, 4.6, "s")
    left = x1 - 8
    pen.out.append(
        f'<path class="s thin" stroke-dasharray="2.5 2" d="M{number(left)} {number(y)}H{number(left - 6)}'
        f'V{number(contact_y)}H{number(contact_x - 1)}"/>'
    )


def earth(pen: Pen, x: float, y: float, classes: str = "s") -> None:
    """Earth, general symbol, hanging at (x, y)."""
    pen.shape(f"M{number(x)} {number(y)}v8m-9 0h18m-15 4h12m-9 4h6", classes)


def frame(pen: Pen, x: float, y: float, classes: str = "s") -> None:
    """Protective earth of a frame: the earth symbol in a circle."""
    pen.circle(x, y + 9, 8, f"{classes} body")
    pen.shape(f"M{number(x)} {number(y)}v9m-5 0h10m-8 2.6h6m-4.4 2.6h2.8", classes)


def ticks(pen: Pen, x: float, y: float, cores: tuple[str, ...], classes: str) -> float:
    """The marks of a cable's cores across its line from y down; returns their height.

    A stroke for each line, a stroke with a dot for N, with a bar at its end for PE, with both for PEN.
    """
    at = y
    for core in cores:
        pen.shape(f"M{number(x - 5)} {number(at + 3)}l10-6", f"s {classes}")
        if core in ("N", "PEN", "M"):
            pen.circle(x + 5.2, at - 3.1, 1.9, f"dot s {classes}")
        if core in ("PE", "PEN"):
            pen.shape(f"M{number(x - 6.7)} {number(at + 0.2)}l3.4 5.6", f"s {classes}")
        at += 4.5
    return at - y


def load(pen: Pen, x: float, y: float, serves: str) -> None:
    """What hangs at the end of a final circuit, from (x, y) down."""
    pen.path([(x, y), (x, y + 6)], "s w")
    if serves == "socket-outlets":
        pen.shape(f"M{number(x - 8)} {number(y + 14)}a8 8 0 0 1 16 0M{number(x - 8)} {number(y + 6)}h16", "s")
    elif serves == "lighting":
        pen.circle(x, y + 14, 8, "s body")
        pen.shape(f"M{number(x - 5.6)} {number(y + 8.4)}l11.2 11.2m0-11.2l-11.2 11.2", "s")
    else:
        pen.rect(x - 8, y + 6, 16, 13, "s body")


def arrow(pen: Pen, x: float, y: float, up: bool, classes: str, size: float = 3.4) -> None:
    """A small arrowhead on a vertical line."""
    sign = -1 if up else 1
    pen.shape(
        f"M{number(x)} {number(y + sign * size * 1.3)}L{number(x - size)} {number(y - sign * size * 1.3)}"
        f"H{number(x + size)}Z",
        f"solid {classes}",
    )
