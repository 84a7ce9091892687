"""How much room a text takes, without asking a browser: widths of a common sans-serif face, on the safe side."""

from __future__ import annotations

from onebond.reporting import neutralise

# Advance widths in thousandths of the type size: Helvetica, whose widths Arial and Liberation Sans share (from memory).
_WIDTHS: dict[str, int] = {
    **dict.fromkeys("ijl'", 222),
    **dict.fromkeys("I!,./:;[]\\ft |", 278),
    **dict.fromkeys("r()-`{}", 333),
    **dict.fromkeys('*"', 389),
    **dict.fromkeys("cksvxyzJ", 500),
    **dict.fromkeys("FTZ", 611),
    **dict.fromkeys("ABEKPSVXY&", 667),
    **dict.fromkeys("CDHNRUw", 722),
    **dict.fromkeys("GOQ", 778),
    **dict.fromkeys("Mm", 833),
    **dict.fromkeys("W%", 944),
    "@": 1015,
    "\u2026": 1000,
}
_OTHER = 600
_FULL = 1000
_SAFETY = 1.1  # other faces of a browser are a little wider
_BOLD = 1.08

SIZES: dict[str, float] = {"id": 11, "data": 10, "state": 10, "pos": 9, "flag": 9, "head": 13}
"""Type sizes of the kinds of text, in units of the drawing."""

LONGEST = 24
"""Characters of one line of a label; what is longer is shortened, and whole in the title of its element."""


def shown(text: str, longest: int = LONGEST) -> str:
    """A text as a label shows it: harmless, on one line, shortened in its middle where it is too long."""
    plain = neutralise.for_terminal(text).replace("mm2", "mm\u00b2")
    if len(plain) <= longest:
        return plain
    head = (longest - 1) * 2 // 3
    return f"{plain[:head]}\u2026{plain[head + 1 - longest :]}"


def width(text: str, kind: str) -> float:
    """The width of a text of a kind, in units of the drawing, never less than a browser needs."""
    thousandths = 0
    for char in text:
        columns = 1 if char.isascii() else neutralise.char_width(char)
        thousandths += _WIDTHS.get(char, _OTHER) if columns == 1 else _FULL * (columns > 1)
    bold = _BOLD if kind in ("id", "head", "flag") else 1.0
    return thousandths * SIZES[kind] * _SAFETY * bold / 1000


def wrapped(text: str, kind: str, room: float) -> list[str]:
    """A text in lines that fit into a room; a word that is too long for it is shortened."""
    lines: list[str] = []
    line = ""
    for word in neutralise.for_terminal(text).split(" "):
        longest = max(8, int(room / SIZES[kind]))
        piece = shown(word, longest)
        longer = f"{line} {piece}" if line else piece
        if line and width(longer, kind) > room:
            lines.append(line)
            line = piece
        else:
            line = longer
    return [*lines, line] if line else lines
