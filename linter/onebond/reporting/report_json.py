"""The report for programs: strict JSON with every result, documented key by key in ``schemas/REPORT.md``.

The same input gives the same bytes: everything stands in a fixed order, and there is no clock, no GUID and no path of this
machine but the one that was named.  Nothing is left out and nothing is shortened.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from onebond.reporting import neutralise, states, words
from onebond.result import LEVELS, Condition, Mention, Report, Result, RulePage, Site
from onebond.span import Span

FORMAT = 1
"""Version of this format: it rises when a key changes its meaning or goes away, not when one is added."""

Tree = dict[str, Any]


def render(report: Report, *, exit_code: int | None = None, options: Mapping[str, str | bool] | None = None) -> str:
    """The report as strict JSON that ends with a line end; ``exit_code`` and ``options`` are those of the run."""
    tree = build(report, exit_code=exit_code, options=options)
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def build(report: Report, *, exit_code: int | None = None, options: Mapping[str, str | bool] | None = None) -> Tree:
    """The same as a tree of plain values, every string in it safe for JSON."""
    tree = {
        "onebond-report": FORMAT,
        "version": report.version,
        "exit-status": exit_code,
        "options": dict(sorted((options or {}).items())),
        "counts": _counts(words.total([words.tally(site) for site in report.sites], report.sites)),
        "sites": [_site(site, words.levels(report, site)) for site in words.ordered_sites(report)],
        "rules": [_rule(page) for page in sorted(report.rules, key=lambda page: page.id)],
    }
    safe: Tree = neutralise.tree_for_json(tree)
    return safe


def _site(site: Site, levels: Mapping[str, str]) -> Tree:
    total = words.tally(site)
    at = {id(island): number for number, island in enumerate(states.ordered(site))}
    places = [at[id(island)] for island in site.islands]
    return {
        "path": site.path,
        "sha256": site.sha256,
        "parts": words.part_files(site),
        "readings": None if site.judged is None else site.judged._asdict(),
        "site": site.name,
        "rulebook": site.rulebook,
        "stage": site.stage,
        "verdict": total.verdict,
        "counts": _counts(total),
        "results": [_result(site, result, levels, places) for result in words.ordered(site.results)],
        "lacking": [
            {"what": gap.what, **_span(site, gap.span), "level": gap.level, "verdicts": len(gap.results)}
            for gap in words.gaps(site, levels)
        ],
        "limits": list(site.not_proven),
        "states": states.build(site)["islands"],
        "problems": [
            {
                "message": problem.message,
                "hint": problem.hint,
                "route": list(problem.route),
                **_span(site, problem.span),
            }
            for problem in words.ordered_problems(site)
        ],
        "problems-left-out": site.problems_left_out,
        "internal-errors": [
            {"rule": fault.rule, "subject": fault.subject, "message": fault.message} for fault in sorted(site.faults)
        ],
    }


def _counts(total: words.Tally) -> Tree:
    return {
        **{f"{level}s": number for level, number in zip(LEVELS[:3], total.levels, strict=False)},
        "consequences": total.consequences,
        "waived": total.waived,
        "not-proven": total.not_proven,
        "review": total.review,
        "by-exception": total.exempt,
        "rules": total.rules,
        "subjects": total.subjects,
        "cases": total.cases,
        "problems": total.problems,
        "internal-errors": total.faults,
    }


def _result(site: Site, result: Result, levels: Mapping[str, str], places: Sequence[int]) -> Tree:
    return {
        "rule": result.rule,
        "kind": result.kind,
        "level": result.level if result.kind == "fail" else "none",
        "rule-level": levels.get(result.rule, ""),
        "subject": result.subject,
        "route": list(result.route),
        **_span(site, result.span),
        "message": result.message,
        "when": _when(result.conditions),
        "in-states": sorted(places[number] for number in result.islands if number < len(places)),
        "so": result.so,
        "figures": _figures(result.figures),
        "figures-by-state": [
            {"when": _when(row.conditions), "figures": _figures(row.figures)} for row in result.by_state
        ],
        "put-right": result.put_right,
        "edits": [{**_span(site, edit.span), "text": edit.text} for edit in result.edits],
        "references": list(result.references),
        "because": None if result.because is None else {"rule": result.because[0], "subject": result.because[1]},
        "causes": [{"rule": rule, "subject": subject} for rule, subject in result.causes],
        "effect": result.effect,
        "mentions": [_mention(site, mention, span) for mention, span in result.mentions],
        "paths": [[_mention(site, step, span) for step, span in path] for path in result.paths],
        "exceptions": [
            {"reason": one.reason, "remains": one.remains, "when": _when(one.conditions)} for one in result.exemptions
        ],
        "lacking": result.lacking,
        "waiver": None
        if result.waiver is None
        else {
            "reason": result.waiver.reason,
            "by": result.waiver.by,
            "until": result.waiver.until,
            "route": list(result.waiver.route),
        },
    }


def _mention(site: Site, mention: Mention, span: Span) -> Tree:
    return {"subject": mention.subject, "text": mention.text, "route": list(mention.route), **_span(site, span)}


def _rule(page: RulePage) -> Tree:
    return {
        "rule": page.id,
        "level": page.level,
        "levels": dict(page.levels),
        "title": page.title,
        "checks": page.checks,
        "danger": page.danger,
        "remedy": page.remedy,
        "parameters": [{"name": name, "value": value, "text": text} for name, value, text in page.parameters],
        "clauses": [clause._asdict() for clause in page.clauses],
    }


def _span(site: Site, span: Span) -> Tree:
    return {
        "file": words.file_of(site, span),
        "line": span.line,
        "column": span.column,
        "end-line": span.end_line,
        "end-column": span.end_column,
    }


def _when(conditions: tuple[Condition, ...]) -> list[Tree]:
    return [{name: list(values) for name, values in alternative} for alternative in conditions]


def _figures(figures: tuple[tuple[str, str], ...]) -> list[Tree]:
    return [{"name": name, "value": value} for name, value in figures]
