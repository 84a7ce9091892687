"""The report as one self-contained page: it asks nothing of the network, and nothing in it is needed from a script.

Everything that comes from the description goes through the neutraliser and then through the escaping of the templates; the drawings
escape what they hold themselves.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Callable

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from onebond.reporting import neutralise, words
from onebond.reporting.diagram import STYLE
from onebond.reporting.page.build import Context, build
from onebond.reporting.sheet import (
    PAPER,
    REMINDER,
    SIGNED,
    SIGNS,
    expected,
    groups,
    heading,
    instruments,
    kept,
    named,
    others,
    state,
)
from onebond.result import WRITTEN_FOR, Report
from onebond.schedule import Schedule

__all__ = ["build", "render", "sheet"]

_HERE = os.path.dirname(os.path.abspath(__file__))


def render(report: Report) -> str:
    """The whole page as text; the same report gives the same bytes."""
    context = build(report)
    style, script = _style(context), _read("page.js")
    policy = f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; base-uri 'none'; form-action 'none'"
    books = {page.rulebook for page in context.pages}
    parts = {book: _environment(book).get_template("parts.html.j2").module for book in sorted({WRITTEN_FOR, *books})}
    template = _environment(WRITTEN_FOR).get_template("page.html.j2")
    return template.render(context=context, parts_of=parts, policy=policy, style=Markup(style), script=Markup(script))


def sheet(schedule: Schedule) -> str:
    """The test schedule as a page to print and fill in; the same schedule gives the same bytes."""
    style = f"{_read('colours.css')}{_read('sheet.css')}{_paper(schedule)}"
    policy = f"default-src 'none'; style-src '{_hash(style)}'; base-uri 'none'; form-action 'none'"
    stops = [
        {
            "heading": heading(stop),
            "state": state(stop),
            "steps": stop.steps,
            "proves": "; ".join(stop.proves),
            "remarks": stop.remarks,
            "groups": groups(schedule, stop.number),
        }
        for stop in schedule.stops
    ]
    environment = _environment(schedule.rulebook)
    environment.filters["kept"] = lambda text: kept(text, "\u00a0")
    environment.filters["expected"] = expected
    environment.filters["others"] = others
    return environment.get_template("sheet.html.j2").render(
        schedule=schedule,
        name=named(schedule),
        stops=stops,
        instruments=instruments(schedule),
        signed=SIGNED,
        signs=SIGNS,
        policy=policy,
        style=Markup(style),
    )


def _paper(schedule: Schedule) -> str:
    """The paper, and what stands at the margins of each printed sheet."""
    told = {"top-left": named(schedule), "bottom-left": words.speech(schedule.rulebook)(REMINDER)}
    margins = "".join(f'@{box}{{content:"{_in_style(text)}"}}' for box, text in told.items())
    return f"@page{{size:{PAPER.get(schedule.rulebook, 'A4')} landscape;{margins}}}\n"


def _in_style(text: str) -> str:
    """A text inside a string of a stylesheet: all but plain letters, digits and blanks as escapes, which nothing can end."""
    return "".join(
        char if char == " " or (char.isascii() and char.isalnum()) else f"\\{ord(char):x} "
        for char in neutralise.for_terminal(text)
    )


def _environment(rulebook: str) -> Environment:
    """The templates, with their own texts in the words of a rulebook."""
    say = words.speech(rulebook)
    environment = Environment(
        loader=FunctionLoader(lambda name: _worded(_read(os.path.join("templates", name)), say)),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        cache_size=0,
    )
    environment.filters["svg"] = Markup  # for the drawings and nothing else
    environment.filters["said"] = say  # for texts that a template holds in an expression
    return environment


_CODE = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
_MARKUP = re.compile(r"(<code>.*?</code>|<[^>]*>)", re.DOTALL)
_SHOWN = re.compile(r'((?:aria-label|data-head)=")([^"]*)')
_HOLE = re.compile("\0([0-9]+)\0")


def _worded(template: str, say: Callable[[str], str]) -> str:
    """A template whose texts are said otherwise; its expressions, its elements and what is code in it stay."""
    code = _CODE.findall(template)
    numbers = iter(range(len(code)))
    pieces = _MARKUP.split(_CODE.sub(lambda _: f"\0{next(numbers)}\0", template))
    said = "".join(
        _SHOWN.sub(lambda text: text[1] + say(text[2]), piece) if at % 2 else say(piece)
        for at, piece in enumerate(pieces)
    )
    return _HOLE.sub(lambda hole: code[int(hole[1])], said)


def _shown(value: object) -> object:
    """Every text that a template writes, made harmless before it is escaped."""
    return neutralise.for_terminal(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _style(context: Context) -> str:
    """The stylesheet: that of the drawings, that of the page, and a rule for each live system that can be chosen."""
    most = max((len(page.systems) for page in context.pages), default=0)
    chosen = ",".join(f".drawings:has(.pick-{n}:checked) .sheet-{n}" for n in range(1, most + 1))
    chooser = ""
    if chosen:
        chooser = (
            "@supports selector(:has(*)){@media screen{.drawings .sheet{display:none}"
            f"{chosen},html:not(.scripted) .sheet:target,html:not(.scripted) .sheet:has(:target){{display:block}}}}"
            f"@media print{{{chosen}{{display:block}}}}}}\n"
        )
    hatch = "".join(
        f"#{page.prefix}figures .possible{{fill:url(#{page.prefix}hatch)}}\n" for page in context.pages if page.figures
    )
    return f"{STYLE}{_read('colours.css')}{_read('page.css')}{chooser}{hatch}"


def _read(name: str) -> str:
    with open(os.path.join(_HERE, name), encoding="utf-8") as file:
        return file.read()


def _hash(text: str) -> str:
    """The source expression of a strict content policy for one inline element."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
