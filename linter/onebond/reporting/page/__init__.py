"""The report as one self-contained page: it asks nothing of the network, and nothing in it is needed from a script.

Everything that comes from the description goes through the neutraliser and then through the escaping of the templates; the drawings
escape what they hold themselves.
"""

from __future__ import annotations

import base64
import hashlib
import os

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from onebond.reporting import neutralise
from onebond.reporting.diagram import STYLE
from onebond.reporting.page.build import Context, build
from onebond.result import Report

__all__ = ["build", "render"]

_HERE = os.path.dirname(os.path.abspath(__file__))


def render(report: Report) -> str:
    """The whole page as text; the same report gives the same bytes."""
    context = build(report)
    style, script = _style(context), _read("page.js")
    policy = f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; base-uri 'none'; form-action 'none'"
    template = _environment().get_template("page.html.j2")
    return template.render(context=context, policy=policy, style=Markup(style), script=Markup(script))


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(os.path.join(_HERE, "templates"), encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        cache_size=0,
    )
    environment.filters["svg"] = Markup  # for the drawings and nothing else
    return environment


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
    return f"{STYLE}{_read('page.css')}{chooser}{hatch}"


def _read(name: str) -> str:
    with open(os.path.join(_HERE, name), encoding="utf-8") as file:
        return file.read()


def _hash(text: str) -> str:
    """The source expression of a strict content policy for one inline element."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
