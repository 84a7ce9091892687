"""What each rulebook demands, side by side, as Markdown for ``rules/RULEBOOKS.md``: levels, limits, clauses and words.

A pure function of the manual pages of the rules, one set for each rulebook.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from onebond import wording
from onebond.reporting.rule_pages import NOTE, markdown_table
from onebond.result import RulePage

Pages = Mapping[str, Sequence[RulePage]]
"""Rulebook -> the pages of all rules under it, the rules in the same order everywhere."""

_OFF = "not asked for"


def rulebook_table(pages: Pages, folder: str = "pages") -> str:
    """Levels that differ, limits and choices that differ, those that are common, and the clauses of each rulebook."""
    books = tuple(pages)
    rules = list(zip(*pages.values(), strict=True))
    parts = [
        "# The rulebooks side by side",
        "",
        NOTE,
        "",
        "`rulebook:` in a description decides which column applies; `onebond explain RULE --rulebook NAME` shows one of them for a rule. "
        "Numbers are those that the rules compare with; the documents themselves and the local code decide.",
        "",
        "## How grave a finding is",
        "",
    ]
    differing = [
        views for views in rules if len({_level(view, book) for book, view in zip(books, views, strict=True)}) > 1
    ]
    rows = [
        (_link(views[0].id, folder), *(_level(view, book) for book, view in zip(books, views, strict=True)))
        for views in differing
    ]
    parts += markdown_table(("rule", *books), rows)
    levels: dict[str, list[str]] = {}
    for views in rules:
        if views not in differing:
            levels.setdefault(_level(views[0], books[0]), []).append(_link(views[0].id, folder))
    parts += ["", "The same in all of them:", ""]
    parts += [f"* {level}: {', '.join(names)}" for level, names in levels.items()]
    parts += ["", "## Limits and choices that differ", ""]
    limits = [
        (views, index)
        for views in rules
        for index in range(len(views[0].parameters))
        if len({view.parameters[index][1] for view in views}) > 1
    ]
    parts += markdown_table(
        ("rule", "what", *books),
        [
            (
                _link(views[0].id, folder),
                f"`{views[0].parameters[index][0]}`: {views[0].parameters[index][2]}",
                *(
                    _OFF if _level(view, book) == _OFF else view.parameters[index][1] or "none"
                    for book, view in zip(books, views, strict=True)
                ),
            )
            for views, index in limits
        ],
    )
    parts += ["", "## Limits and choices that are the same", ""]
    parts += markdown_table(
        ("rule", "what", "value"),
        [
            (_link(views[0].id, folder), f"`{name}`: {text}", value or "none")
            for views in rules
            for index, (name, value, text) in enumerate(views[0].parameters)
            if (views, index) not in limits
        ],
    )
    parts += ["", "## Clauses", "", "?: the number is from memory and was not checked against the text.", ""]
    rows = [
        (
            _link(views[0].id, folder),
            *(
                _OFF if _level(view, book) == _OFF else "; ".join(view.references)
                for book, view in zip(books, views, strict=True)
            ),
        )
        for views in rules
    ]
    parts += [*markdown_table(("rule", *books), rows), "", *_words(books)]
    return "\n".join((*parts, ""))


def _words(books: tuple[str, ...]) -> list[str]:
    """What each rulebook calls the things that are spoken of, and what it calls the words of a description."""
    parts = [
        "## Words",
        "",
        "Reports, pages and drawings speak in the words of the rulebook of the site; its ids, its names and what is quoted of it stay as "
        "they are. From memory, but for the range of a class A GFCI (UL 943: it trips from 4 to 6 mA).",
        "",
    ]
    rows = [tuple(_said(term, book) for book in books) for term in wording.TERMS]
    parts += markdown_table(books, rows)
    parts += ["", "A description is written in the same words under every rulebook. What they stand for elsewhere:", ""]
    notes = [(book, f"`{word}`", told) for book in books for word, told in wording.NOTES.get(book, ())]
    return [*parts, *markdown_table(("rulebook", "in a description", "is"), notes)]


def _said(term: wording.Term, book: str) -> str:
    choice = wording.BY_RATING.get(book, {}).get(term.iec)
    return f"{choice[0]} up to 6 mA, {choice[1]} above" if choice else term.under(book)


def _level(page: RulePage, book: str) -> str:
    level = dict(page.levels).get(book, page.level)
    return _OFF if level == "off" else level


def _link(rule: str, folder: str) -> str:
    return f"[{rule}]({folder}/{rule}.md)"
