"""Rule pages for the terminal: the page of one rule and the table of all."""

from __future__ import annotations

from onebond.reporting import neutralise
from onebond.reporting.text import wrapped
from onebond.result import LEVELS, RulePage

_WIDTH = 80
_INDENT = "  "


def page(rule: RulePage, *, width: int = _WIDTH) -> str:
    """The manual page of one rule: what it checks, the danger, the remedy, clauses and examples."""
    room = max(width, 40) - len(_INDENT) if width > 0 else 0
    out = [neutralise.for_terminal(f"{rule.id}: {rule.title}"), "", f"Level: {_levels(rule)}"]
    for heading, text in (("Checks", rule.checks), ("Danger", rule.danger), ("Remedy", rule.remedy)):
        if text.strip():
            out += ["", heading, *_paragraphs(text, room)]
    if rule.references:
        out += ["", "References", *(line for text in rule.references for line in _item(text, room))]
        if any("?" in reference for reference in rule.references):
            out += _paragraphs("?: this clause number is from memory and was not checked against the text.", room)
    if rule.parameters:
        out += ["", "Parameters"]
        for name, value, text in rule.parameters:
            out += _item(f"{name} = {value}: {text}" if text else f"{name} = {value}", room)
    for heading, example in (("Passes", rule.passing), ("Fails", rule.failing)):
        if example.strip():
            out += ["", heading, *_verbatim(example)]
    return "\n".join(out) + "\n"


def table(rules: list[RulePage], *, width: int = 0) -> str:
    """One line for each rule: id, level, title; sorted by id."""
    if not rules:
        return "no rule is loaded\n"
    rows = [
        (neutralise.for_terminal(rule.id), _default(rule), neutralise.for_terminal(rule.title))
        for rule in sorted(rules, key=lambda rule: rule.id)
    ]
    id_room = max(len("rule"), *(neutralise.width(name) for name, _, _ in rows))
    level_room = max(len("level"), *(len(level) for _, level, _ in rows))
    indent = " " * (id_room + level_room + 4)
    room = max(width - len(indent), 30) if width > 0 else 0
    out = [f"{'rule'.ljust(id_room)}  {'level'.ljust(level_room)}  finds"]
    for name, level, title in rows:
        first, *rest = wrapped(title, room)
        padded = name + " " * (id_room - neutralise.width(name))
        out += [f"{padded}  {level.ljust(level_room)}  {first}".rstrip(), *(indent + line for line in rest)]
    if any(level.endswith("*") for _, level, _ in rows):
        out += ["", "* another level, or off, in some rulebooks: see the page of the rule"]
    return "\n".join(out) + "\n"


def _levels(rule: RulePage) -> str:
    """``error``, or ``error (iec, bs7671); warning (nec)`` where rulebooks disagree."""
    books: dict[str, list[str]] = {}
    for book, level in rule.levels:
        books.setdefault(level, []).append(book)
    if not books or list(books) == [rule.level]:
        return rule.level
    order = [*LEVELS, *sorted(set(books) - set(LEVELS))]
    text = "; ".join(f"{_spoken(level)} ({', '.join(books[level])})" for level in order if level in books)
    return neutralise.for_terminal(text if rule.level in books else f"{_spoken(rule.level)}; {text}")


def _default(rule: RulePage) -> str:
    differs = any(level != rule.level for _, level in rule.levels)
    return _spoken(rule.level) + ("*" if differs else "")


def _spoken(level: str) -> str:
    return "off" if level == "none" else level


def _paragraphs(text: str, room: int) -> list[str]:
    """Text wrapped anew, blank lines kept as the only breaks."""
    lines: list[str] = []
    words: list[str] = []
    for line in [*text.strip().split("\n"), ""]:
        if line.strip():
            words += line.split()
            continue
        if words:
            lines += (
                ["", *wrapped(neutralise.for_terminal(" ".join(words)), room)]
                if lines
                else wrapped(neutralise.for_terminal(" ".join(words)), room)
            )
            words = []
    return [(_INDENT + line).rstrip() for line in lines]


def _item(text: str, room: int) -> list[str]:
    first, *rest = wrapped(neutralise.for_terminal(" ".join(text.split())), room - 2 if room else 0)
    return [f"{_INDENT}- {first}", *(f"{_INDENT}  {line}" for line in rest)]


def _verbatim(text: str) -> list[str]:
    return [(_INDENT + neutralise.for_terminal(line)).rstrip() for line in text.strip("\n").split("\n")]
