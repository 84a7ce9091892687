"""The report as a small table for notebooks: what was found, where, and how each site came out.

No style, no script and no link: a notebook shows it as it shows other tables.
"""

from __future__ import annotations

from html import escape

from onebond.reporting import neutralise, text, words
from onebond.result import Report, Site
from onebond.span import Span

ROWS = 50
"""Findings of one site that are shown before the table says how many more there are."""


def render(report: Report) -> str:
    """A fragment of HTML in which everything from a description is escaped."""
    return "".join([_site(report, site) for site in words.ordered_sites(report)]) or "<p>nothing was inspected</p>"


def _site(report: Report, site: Site) -> str:
    total = words.tally(site)
    told = ", ".join(text.counts(total))
    rows = _rows(report, site)
    body = "".join(
        [
            f"<tr><td>{_safe(line)}</td><td>{_safe(level)}</td><td>{_safe(message)}</td><td><code>{_safe(rule)}</code></td></tr>"
            for line, level, message, rule in rows[:ROWS]
        ]
    )
    if len(rows) > ROWS:
        body += f'<tr><td></td><td></td><td colspan="2">and {len(rows) - ROWS} more</td></tr>'
    head = "<thead><tr><th>line</th><th>level</th><th>what</th><th>rule</th></tr></thead>"
    caption = (
        f"<caption>{_safe(site.path)}: <b>{_safe(total.verdict)}</b>{': ' + _safe(told) if told else ''}</caption>"
    )
    return f"<table>{caption}{f'{head}<tbody>{body}</tbody>' if body else ''}</table>"


def _rows(report: Report, site: Site) -> list[tuple[str, str, str, str]]:
    found = words.findings(site)

    def line(span: Span) -> str:
        return f"{span.file}:{span.line}" if span.file else str(span.line)

    rows = [(line(problem.span), "error", problem.message, words.REFUSED) for problem in words.ordered_problems(site)]
    rows += [("1", "error", f"{fault.subject}: {fault.message}", fault.rule) for fault in sorted(site.faults)]
    for cause in found.causes:
        for result in (cause.result, *(inner for _, inner in cause.follows)):
            rows.append((line(result.span), result.level, result.message, result.rule))
    rows += [(line(result.span), "waived", result.message, result.rule) for result in found.waived]
    for gap in words.gaps(site, words.levels(report, site)):
        rows.append((line(gap.span), "not proven", f"{gap.what}: {words.verdicts(gap)}", ""))
    rows += [("1", "not proven", told, "") for told in site.not_proven]
    return rows


def _safe(told: str) -> str:
    return escape(neutralise.for_terminal(told), quote=True)
