"""Names stay names: text from a description made harmless, one function for each output format.

A description may come from a stranger.  Its names and notes, and the names of files, could hold escape sequences that
command a terminal, bidirectional controls that show a line in another order than it has, invisible letters that make
two names look alike, or line ends that forge a line of the report.  All of these are shown as ``<U+202E>``; bytes of a
file name that are not UTF-8 as ``<0xFF>``.  Letters of every script stay as they are, wide ones included.
"""

from __future__ import annotations

from typing import Any

# Characters that count as printable and yet show nothing, or change only the look of their neighbour: fillers, the
# grapheme joiner, variation selectors, the blank Braille pattern, the null note head.
_BLANK: frozenset[int] = frozenset(
    (
        0x034F,
        0x115F,
        0x1160,
        0x17B4,
        0x17B5,
        *range(0x180B, 0x1810),
        0x2800,
        0x3164,
        *range(0xFE00, 0xFE10),
        0xFFA0,
        0x1D159,
    )
)
_SELECTORS = range(0xE0100, 0xE01F0)

# Spaces that ordinary French and Japanese text has; str.isprintable() knows only the ASCII one.
_SPACES = "\u00a0\u202f\u3000"

# More marks than this on one letter belong to no script in use; a heap of them runs over the lines above and below.
_MARKS_ON_A_LETTER = 4

# With these a spreadsheet begins to compute, the wide forms included.
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")

# RFC 3986: what a path segment may hold unescaped.  The colon is left out, since a relative reference must not have one
# in its first segment.
_UNRESERVED = frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~/")


def for_terminal(text: str) -> str:
    """One line of text for people: nothing in it moves the cursor, ends the line or hides."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(characters(text))


def characters(text: str) -> list[str]:
    """What ``for_terminal`` makes of each character of the text, one by one."""
    return [_visible(char) for char in _without_heaps(text)]


def for_json(text: str) -> str:
    """A string value of a JSON document: like a terminal's, but line ends and tabs stay, since JSON escapes them."""
    return "\n".join(["\t".join([for_terminal(cell) for cell in line.split("\t")]) for line in text.split("\n")])


def for_message(text: str) -> str:
    """A SARIF message (SARIF 2.1.0, 3.11): one line, no placeholders (braces are doubled), no embedded links."""
    return for_terminal(text).replace("{", "{{").replace("}", "}}").replace("](", "] (")


def tree_for_json(value: Any) -> Any:
    """The same tree of dicts, lists and plain values with every string in it, keys included, safe for JSON."""
    if isinstance(value, str):
        return for_json(value)
    if isinstance(value, dict):
        return {for_json(key): tree_for_json(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [tree_for_json(inner) for inner in value]
    return value


def for_csv(text: str) -> str:
    """A cell of text in a table: like a terminal's, and a spreadsheet takes none of it for a formula."""
    shown = for_terminal(text)
    return f"'{shown}" if shown.lstrip().startswith(_FORMULA) else shown


def for_uri(path: str, base: str = "") -> str:
    """A path as a URI reference: relative as given or below ``base``, else ``file://``; other bytes percent-encoded."""
    inside = base.rstrip("/") + "/"
    if base and path.startswith(inside):
        path = path[len(inside) :]
    while path.startswith("./"):
        path = path[2:].lstrip("/")
    encoded = "".join([chr(byte) if byte in _UNRESERVED else f"%{byte:02X}" for byte in _bytes(path)])
    return f"file://{encoded}" if encoded.startswith("/") else encoded


def width(text: str) -> int:
    """Columns that a neutralised text takes in a terminal: two for a wide character, none for a mark on another one."""
    return len(text) if text.isascii() else sum([char_width(char) for char in text])


def char_width(char: str) -> int:
    """Columns of one character (Unicode Standard Annex 11; ambiguous ones count as narrow)."""
    if char.isascii():
        return 1
    import unicodedata  # only foreign letters need its tables

    if unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in ("W", "F") else 1


def _visible(char: str) -> str:
    if len(char) > 1:  # already a visible form
        return char
    code = ord(char)
    if (char.isprintable() and code not in _BLANK and code not in _SELECTORS) or char in _SPACES:
        return char
    if 0xDC80 <= code <= 0xDCFF:  # a byte that is not UTF-8, as the operating system hands it over (PEP 383)
        return f"<0x{code - 0xDC00:02X}>"
    return f"<U+{code:04X}>"


def _without_heaps(text: str) -> list[str]:
    """The characters, with marks beyond what a letter carries as visible forms."""
    out: list[str] = []
    marks = 0
    for char in text:
        marks = marks + 1 if char_width(char) == 0 else 0
        out.append(f"<U+{ord(char):04X}>" if marks > _MARKS_ON_A_LETTER else char)
    return out


def _bytes(path: str) -> bytes:
    """The bytes of a path; total, where ``os.fsencode`` raises on a surrogate that stands for no byte."""
    return b"".join(
        [
            bytes((ord(char) - 0xDC00,)) if 0xDC80 <= ord(char) <= 0xDCFF else char.encode("utf-8", "surrogatepass")
            for char in path
        ]
    )
