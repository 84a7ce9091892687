"""The rule pages and the table of rules as Markdown, for ``rules/pages`` and ``rules/README.md``.

Both are pure functions of the manual pages as data (:class:`RulePage`, for all rulebooks and with examples).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from onebond.result import RulePage

NOTE = "This page is generated from the rules themselves; do not edit it."

_ALL = "all rulebooks"
_EXAMPLE = re.compile(r"^# (?P<base>[a-z0-9-]+)", re.MULTILINE)


def rule_page(page: RulePage, bases: str = "../onebond_rules/bases") -> str:
    """The manual page of one rule; ``bases`` is where its examples' bases lie, seen from the page."""
    parts = [f"# {page.id}", "", NOTE, "", page.title]
    for heading, text in (("Checks", page.checks), ("Danger", page.danger), ("Remedy", page.remedy)):
        parts += ["", f"## {heading}", "", text[:1].upper() + text[1:]]
    parts += ["", "## Rulebooks", "", *_rulebooks(page)]
    if any("?" in reference for reference in page.references):
        parts += ["", "?: this clause number is from memory and was not checked against the text."]
    if page.parameters:
        rows = [(f"`{name}`", value, text) for name, value, text in page.parameters]
        parts += ["", "## Parameters", "", *markdown_table(("parameter", "value", "meaning"), rows)]
    if page.failing or page.passing:
        parts += ["", "## Examples", "", "Each is one change of a small good installation: lines out, lines in."]
    for heading, examples in (("Found", page.failing), ("Not found", page.passing)):
        if examples:
            parts += ["", f"### {heading}"]
            for example in examples.split("\n\n"):
                parts += ["", "```diff", example, "```"]
    names = sorted(set(_EXAMPLE.findall(f"{page.failing}\n{page.passing}")))
    if names:
        parts += ["", "The installations: " + ", ".join(f"[{name}]({bases}/{name}.yaml)" for name in names) + "."]
    return "\n".join((*parts, ""))


def rule_table(pages: Sequence[RulePage], folder: str = "pages") -> str:
    """All rules side by side, in their order: id, title, level under each rulebook; ids lead to the pages in a folder."""
    books = list(dict.fromkeys(book for page in pages for book, _ in page.levels))
    rows = []
    for page in pages:
        levels = dict(page.levels)
        linked = f"[{page.id}]({folder}/{page.id}.md)"
        rows.append((linked, page.title, *(levels.get(book, page.level) for book in books)))
    return "\n".join(("# The rules", "", NOTE, "", *markdown_table(("rule", "finds", *books), rows), ""))


def _rulebooks(page: RulePage) -> list[str]:
    """The level and the references under each rulebook; a reference without a rulebook counts for all of them."""
    books = [book for book, _ in page.levels]
    clauses: dict[str, list[str]] = {}
    for reference in page.references:
        book, colon, text = reference.partition(": ")
        known = bool(colon) and book in books
        clauses.setdefault(book if known else _ALL, []).append(text if known else reference)
    rows = [
        (book, level, "; ".join(clauses.get(book, ())) or ("" if level != "off" else "does not have this rule"))
        for book, level in page.levels
    ]
    if _ALL in clauses:
        rows.append((_ALL, "" if books else page.level, "; ".join(clauses[_ALL])))
    return markdown_table(("rulebook", "level", "references"), rows)


def markdown_table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
    """A table as lines of Markdown."""
    lines = [head, ("---",) * len(head), *(tuple(cell.replace("|", "\\|") for cell in row) for row in rows)]
    return [f"| {' | '.join(line)} |" for line in lines]
