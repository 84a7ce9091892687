"""The report in the Static Analysis Results Interchange Format, SARIF 2.1.0 (OASIS Standard, errata 01).

Plain and repeatable: no clock, no GUID, no path of this machine, everything in a fixed order.  By default only failures
are written, because common readers count every result as a finding; the rest is evidence and written on request.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from onebond.reporting import neutralise, words
from onebond.result import LEVELS, Condition, Mention, Report, Result, RulePage, Site, Waiver
from onebond.span import Route, Span, written

SCHEMA_URI = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"

MAX_RESULTS = 25_000
"""Results of a run that common consumers accept; the gravest are kept."""

MAX_LOCATIONS = 1_000
"""Locations of one result that common consumers accept, the main one included."""

MAX_NOTIFICATIONS = 1_000
"""Notifications of a run; more of them help nobody."""

MAX_TAGS = 20

FINGERPRINT = "onebond/v1"

_ROOT = "%SRCROOT%"
_SNIPPET_LINES = 20
_SNIPPET_CHARACTERS = 2_000

# A trade word for each section of a description.
_KINDS = {
    "sources": "source",
    "boards": "board",
    "changeovers": "changeover",
    "connections": "connection",
    "circuits": "circuit",
    "bonds": "bond",
    "electrodes": "electrode",
    "monitors": "monitor",
    "groups": "group",
    "extraneous": "extraneous",
    "interlocks": "interlock",
    "waivers": "waiver",
}

_NOTIFICATIONS = (
    ("description", "A description was refused, nothing was concluded from it."),
    ("internal", "A rule broke on a subject; its verdict is missing."),
    ("left-out", "Something was left out of this file because readers of it have limits."),
    ("not-proven", "A check could not be concluded: a limit was hit or data is missing."),
)

Tree = dict[str, Any]


def render(report: Report, *, evidence: bool = False, exit_code: int | None = None, base: str = "") -> str:
    """The report as SARIF text, strict JSON that ends with a line end.

    ``evidence`` adds pass, open, review and notApplicable; ``exit_code`` is the exit status of the run; paths below
    ``base`` become relative to it.
    """
    tree = build(report, evidence=evidence, exit_code=exit_code, base=base)
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def build(report: Report, *, evidence: bool = False, exit_code: int | None = None, base: str = "") -> Tree:
    """The report as a tree of plain values; see ``render``."""
    log: Tree = {"$schema": SCHEMA_URI, "version": "2.1.0", "runs": [_Run(report, base).build(evidence, exit_code)]}
    safe: Tree = neutralise.tree_for_json(log)
    return safe


class _Run:
    """What building one run needs to know at every step: the order of rules and of files."""

    def __init__(self, report: Report, base: str) -> None:
        self.report = report
        self.sites = words.ordered_sites(report)
        self.uris = [neutralise.for_uri(site.path, base) for site in self.sites]
        pages = {page.id: page for page in report.rules}
        named = {result.rule for site in self.sites for result in site.results}
        named |= {fault.rule for site in self.sites for fault in site.faults}
        self.rules = [(name, pages.get(name)) for name in sorted(named | set(pages))]
        self.rule_index = {name: index for index, (name, _) in enumerate(self.rules)}
        self.waives = any(result.waiver is not None for site in self.sites for result in site.results)
        self.left_out: list[Tree] = []

    def build(self, evidence: bool, exit_code: int | None) -> Tree:
        chosen = self._chosen(evidence)
        results = [self._result(index, result, mark) for index, result, mark in chosen]
        invocation: Tree = {"executionSuccessful": not any(s.problems or s.faults for s in self.sites)}
        invocation["executionSuccessful"] &= not any(s.problems_left_out for s in self.sites)
        if exit_code is not None:
            invocation["exitCode"] = exit_code
        invocation["toolExecutionNotifications"] = self._notifications()
        return {
            "tool": {"driver": self._driver()},
            "invocations": [invocation],
            "originalUriBaseIds": {_ROOT: {"description": _message("The folder that paths are relative to.")}},
            "artifacts": [self._artifact(index) for index in range(len(self.sites))],
            "results": results,
            "defaultEncoding": "UTF-8",
            "defaultSourceLanguage": "yaml",
            "columnKind": "unicodeCodePoints",
        }

    def _driver(self) -> Tree:
        return {
            "name": "onebond",
            "version": self.report.version,
            "language": "en-GB",
            "rules": [_descriptor(name, page) for name, page in self.rules],
            "notifications": [{"id": name, "shortDescription": {"text": text}} for name, text in _NOTIFICATIONS],
        }

    def _artifact(self, index: int) -> Tree:
        site = self.sites[index]
        total = words.tally(site)
        artifact: Tree = {"location": self._artifact_location(index), "roles": ["analysisTarget"]}
        if site.sha256:
            artifact["hashes"] = {"sha-256": site.sha256}
        artifact["properties"] = {
            "site": site.name,
            "rulebook": site.rulebook,
            "stage": site.stage,
            "verdict": total.verdict,
            "rulesChecked": total.rules,
            "subjectsChecked": total.subjects,
            "cases": total.cases,
            "waived": total.waived,
            "notProven": total.not_proven,
        }
        return artifact

    def _artifact_location(self, index: int) -> Tree:
        uri = self.uris[index]
        location: Tree = {"uri": uri}
        if not uri.startswith("file:"):
            location["uriBaseId"] = _ROOT
        location["index"] = index
        return location

    def _chosen(self, evidence: bool) -> list[tuple[int, Result, str]]:
        """What to write: number of the file, result, fingerprint; where there are too many, the gravest."""
        every: list[tuple[int, Result, str]] = []
        for index, site in enumerate(self.sites):
            marks: dict[str, int] = {}
            for result in words.ordered(r for r in site.results if evidence or r.kind == "fail"):
                mark = fingerprint(site, result)
                marks[mark] = marks.get(mark, 0) + 1
                every.append((index, result, mark if marks[mark] == 1 else f"{mark}:{marks[mark]}"))
        if len(every) <= MAX_RESULTS:
            return every
        by_weight = sorted(range(len(every)), key=lambda at: (*_weight(every[at][1]), at))
        kept, dropped = by_weight[:MAX_RESULTS], by_weight[MAX_RESULTS:]
        tally: dict[str, int] = {}
        for at in dropped:
            result = every[at][1]
            word = result.level if result.kind == "fail" else result.kind
            tally[word] = tally.get(word, 0) + 1
        told = ", ".join(f"{number} {word}" for word, number in tally.items())
        text = f"Left out: {words.count(len(dropped), 'result')} past the {MAX_RESULTS} that a run may hold: {told}"
        self.left_out.append(self._notification("left-out", "warning", text))
        return [every[at] for at in sorted(kept)]

    def _result(self, index: int, result: Result, mark: str) -> Tree:
        mentions = list(result.mentions[: MAX_LOCATIONS - 1])
        if len(mentions) < len(result.mentions):
            number = len(result.mentions) - len(mentions)
            text = f"Left out: {words.count(number, 'related place')} of {result.rule} on {result.subject}"
            self.left_out.append(self._notification("left-out", "note", text, rule=result.rule))
        written_out: Tree = {
            "ruleId": result.rule,
            "ruleIndex": self.rule_index[result.rule],
            "kind": result.kind,
            "level": result.level if result.kind == "fail" else "none",
            "message": _message(*_sentences(result)),
            "locations": [self._location(index, result.span, result.subject, result.route)],
        }
        if mentions:
            written_out["relatedLocations"] = [
                self._related(index, number, mention, span) for number, (mention, span) in enumerate(mentions, start=1)
            ]
        written_out["partialFingerprints"] = {FINGERPRINT: mark}
        if self.waives:  # on all results of a run or on none: an empty list says "known not to be suppressed"
            written_out["suppressions"] = [_suppression(result.waiver)] if result.waiver is not None else []
        written_out["properties"] = _properties(result)
        return written_out

    def _related(self, index: int, number: int, mention: Mention, span: Span) -> Tree:
        location = self._location(index, span, mention.subject, mention.route)
        return {"id": number, **location, "message": _message(mention.text or mention.subject)}

    def _location(self, index: int, span: Span, subject: str, route: Route) -> Tree:
        location: Tree = {"physicalLocation": self._physical(index, span)}
        if subject or route:
            logical: Tree = {"name": neutralise.for_terminal(subject or str(route[-1]))}
            if route:
                logical["fullyQualifiedName"] = neutralise.for_terminal(written(route))
            logical["kind"] = _kind(route)
            location["logicalLocations"] = [logical]
        return location

    def _physical(self, index: int, span: Span) -> Tree:
        lines = self.sites[index].lines
        region = _region(span)
        text = _snippet(lines, span)
        if text:
            region["snippet"] = {"text": text}
        place: Tree = {"artifactLocation": self._artifact_location(index), "region": region}
        whole = lines[span.line - 1].rstrip("\r\n") if 1 <= span.line <= len(lines) else ""
        # A context region must reach beyond the region.
        if span.end_line == span.line and text and len(whole) > len(text) and len(whole) <= _SNIPPET_CHARACTERS:
            place["contextRegion"] = {"startLine": span.line, "snippet": {"text": _per_line(whole)}}
        return place

    def _notification(self, name: str, level: str, text: str, *, location: Tree | None = None, rule: str = "") -> Tree:
        index = [known for known, _ in _NOTIFICATIONS].index(name)
        told: Tree = {"descriptor": {"id": name, "index": index}, "level": level, "message": _message(text)}
        if location is not None:
            told["locations"] = [location]
        if rule:
            told["associatedRule"] = {"id": rule, "index": self.rule_index[rule]}
        return told

    def _notifications(self) -> list[Tree]:
        """Refused files, faults and what is not proven, the gravest kind first."""
        told: list[Tree] = []
        for index, site in enumerate(self.sites):
            for problem in sorted(site.problems, key=lambda p: (p.span.line, p.span.column, p.message)):
                subject = str(problem.route[1] if len(problem.route) > 1 else problem.route[0]) if problem.route else ""
                place = self._location(index, problem.span, subject, problem.route)
                text = f"{problem.message.rstrip('.')} ({problem.hint})" if problem.hint else problem.message
                told.append(self._notification("description", "error", text, location=place))
            if site.problems_left_out:
                text = f"{words.count(site.problems_left_out, 'more problem')} of this file not shown"
                place = self._location(index, Span(1, 1, 1, 1), "", ())
                told.append(self._notification("description", "error", text, location=place))
        for index, site in enumerate(self.sites):
            for fault in sorted(site.faults):
                place = self._location(index, Span(1, 1, 1, 1), fault.subject, ())
                text = f"Internal error in rule {fault.rule} on subject {fault.subject}: {fault.message}"
                told.append(self._notification("internal", "error", text, location=place, rule=fault.rule))
        for index, site in enumerate(self.sites):
            for name in site.not_proven:
                place = self._location(index, Span(1, 1, 1, 1), "", ())
                told.append(self._notification("not-proven", "warning", f"Not proven: {name}", location=place))
            for result in words.ordered(r for r in site.results if r.kind == "open"):
                place = self._location(index, result.span, result.subject, result.route)
                text = f"Not proven: {result.rule} on {result.subject}. {result.message}"
                told.append(self._notification("not-proven", "warning", text, location=place, rule=result.rule))
        over = [*told[MAX_NOTIFICATIONS:], *self.left_out[MAX_NOTIFICATIONS:]]
        told = [*told[:MAX_NOTIFICATIONS], *self.left_out[:MAX_NOTIFICATIONS]]
        if over:
            told.append(
                self._notification("left-out", "warning", f"Left out: {words.count(len(over), 'notification')}")
            )
        return told


def _weight(result: Result) -> tuple[int, int]:
    """The smaller, the graver: failures by level, waived ones after them, then evidence."""
    if result.kind == "fail":
        return (0 if result.waiver is None else 1, LEVELS.index(result.level))
    return (2, ("open", "review", "pass", "notApplicable").index(result.kind))


def fingerprint(site: Site, result: Result) -> str:
    """A mark (SHA-256, hexadecimal) that stays when lines move: rule, site, route of the subject, conditions."""
    conditions = sorted(sorted([name, sorted(values)] for name, values in one) for one in result.conditions)
    whole = [result.rule, site.name, result.subject, list(result.route), conditions]
    return hashlib.sha256(json.dumps(whole, ensure_ascii=True, separators=(",", ":")).encode("ascii")).hexdigest()


def _descriptor(name: str, page: RulePage | None) -> Tree:
    if page is None:  # the engine's own rules about waivers, or a rule whose page was not handed over
        return {"id": name}
    tags = ["electrical-safety", *(f"rulebook/{book}" for book, level in page.levels if level in LEVELS[:3])]
    return {
        "id": name,
        "shortDescription": {"text": _sentence(page.title or name)},
        "fullDescription": {"text": _sentence(_flowing(page.checks) or page.title or name)},
        "help": {"text": _help(page), "markdown": _help_markdown(page)},
        "defaultConfiguration": {"level": page.level},
        "properties": {
            "tags": tags[:MAX_TAGS],
            "references": list(page.references),
            "levels": dict(page.levels),
        },
    }


def _help(page: RulePage) -> str:
    parts = [("Checks", page.checks), ("Danger", page.danger), ("Remedy", page.remedy)]
    texts = [f"{title}: {_flowing(text)}" for title, text in parts if text]
    if page.references:
        texts.append(f"References: {'; '.join(page.references)}")
    return "\n\n".join(texts) or page.title or page.id


def _help_markdown(page: RulePage) -> str:
    parts = [("Checks", page.checks), ("Danger", page.danger), ("Remedy", page.remedy)]
    texts = [f"## {title}\n\n{text.strip()}" for title, text in parts if text.strip()]
    for title, example in (("Passes", page.passing), ("Fails", page.failing)):
        if example.strip():
            texts.append(f"## {title}\n\n```yaml\n{example.strip(chr(10))}\n```")
    if page.references:
        texts.append("## References\n\n" + "\n".join(f"- {reference}" for reference in page.references))
    return "\n\n".join(texts) or page.title or page.id


def _sentences(result: Result) -> list[str]:
    """What a person reads: the constant part first, then when, what follows, and what puts it right."""
    texts = [result.message]
    told = words.alternatives(result.conditions) if result.conditions else []
    if told == [words.condition(())]:
        texts.append("In every state")
    elif told:
        more = told.pop() if len(result.conditions) > words.ALTERNATIVES_SHOWN else ""
        texts.append(f"When: {told[0]}")
        texts += [f"Or: {text}" for text in told[1:]]
        if more:
            texts.append(more[0].upper() + more[1:])
    texts.append(result.so[:1].upper() + result.so[1:])
    texts.append(f"Put right: {result.put_right}" if result.put_right else "")
    return texts


def _message(*texts: str) -> Tree:
    told = " ".join([_sentence(text) for text in texts if text.strip()])
    return {"text": neutralise.for_message(told or ".")}


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith(".") else f"{text}."


def _flowing(text: str) -> str:
    return " ".join(text.split())


def _properties(result: Result) -> Tree:
    properties: Tree = {"conditions": structured(result.conditions)}
    if result.figures:
        properties["figures"] = [{"name": name, "value": value} for name, value in result.figures]
    if result.so:
        properties["so"] = result.so
    if result.put_right:
        properties["putRight"] = result.put_right
    if result.because is not None:
        properties["because"] = {"rule": result.because[0], "subject": result.because[1]}
    if result.references:
        properties["references"] = list(result.references)
    return properties


def structured(conditions: tuple[Condition, ...]) -> list[dict[str, list[str]]]:
    """Conditions for programs: one map of variable to possible values for each alternative."""
    return [{name: list(values) for name, values in alternative} for alternative in conditions]


def _suppression(waiver: Waiver) -> Tree:
    suppression: Tree = {"kind": "inSource", "status": "accepted", "justification": waiver.reason}
    if waiver.route:
        suppression["location"] = {
            "logicalLocations": [
                {"fullyQualifiedName": neutralise.for_terminal(written(waiver.route)), "kind": "waiver"}
            ]
        }
    suppression["properties"] = {"by": waiver.by, "until": waiver.until}
    return suppression


def _kind(route: Route) -> str:
    if "through" in route[2:]:
        return "device"
    return _KINDS.get(str(route[0]), "object") if len(route) > 1 else "object"


def _region(span: Span) -> Tree:
    line, column = max(span.line, 1), max(span.column, 1)
    end_line, end_column = max(span.end_line, line), max(span.end_column, 1)
    if end_line == line:
        end_column = max(end_column, column)
    return {"startLine": line, "startColumn": column, "endLine": end_line, "endColumn": end_column}


def _snippet(lines: tuple[str, ...], span: Span) -> str:
    """The text of the region, as far as it is small enough to show."""
    if not 1 <= span.line <= span.end_line <= len(lines) or span.end_line - span.line >= _SNIPPET_LINES:
        return ""
    piece = [line.rstrip("\r\n") for line in lines[span.line - 1 : span.end_line]]
    piece[-1] = piece[-1][: max(span.end_column - 1, 0)]
    piece[0] = piece[0][max(span.column - 1, 0) :]
    text = "\n".join(piece)
    return _per_line(text) if len(text) <= _SNIPPET_CHARACTERS else ""


def _per_line(text: str) -> str:
    return neutralise.for_json(text)
