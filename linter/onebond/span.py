"""Where something stands in a description: routes and spans.

A *route* is the symbolic way to a value (``("connections", "service", "through", 0, "poles")``); a *span* is the piece of
text that it occupies.  Model parts carry routes; only the document turns a route into a span.
"""

from __future__ import annotations

from typing import NamedTuple

Route = tuple[str | int, ...]


class Span(NamedTuple):
    """A piece of text; lines and columns count from 1, columns in Unicode code points, the end is exclusive.

    ``file`` is the path of the part of a site that it stands in, empty for the file of the site itself.
    """

    line: int
    column: int
    end_line: int
    end_column: int
    file: str = ""


def in_order(span: Span) -> tuple[str, Span]:
    """By which spans of one site are sorted: its own file first, then its parts by name, each from the top."""
    return (span.file, span)


def where(span: Span, seen_from: Span) -> str:
    """Where something stands, for a message about another place: the line, and the file if it is another one."""
    if span.file == seen_from.file:
        return f"line {span.line}"
    return f"{span.file or 'the file of the site'}, line {span.line}"


def written(route: Route) -> str:
    """The route as a person writes it: ``connections/service/through/1`` (list positions count from 1)."""
    return "/".join(str(step + 1) if isinstance(step, int) else step for step in route)
