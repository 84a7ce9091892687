"""The report in the Static Analysis Results Interchange Format, SARIF 2.1.0 (OASIS Standard, errata 01).

Plain and repeatable: no clock, no GUID, no path of this machine, everything in a fixed order.  By default only failures
are written, because common readers count every result as a finding; the rest is evidence and written on request.  What
keeps a description from being read is a result too, or a reviewer would see nothing at its line.  Common readers have
limits; what goes beyond them is left out, the gravest results last, and a notification says what and how much.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from onebond.reporting import baseline as earlier
from onebond.reporting import neutralise, words
from onebond.result import (
    LEVELS,
    Clause,
    Condition,
    Edit,
    Mention,
    PartFile,
    Problem,
    Report,
    Result,
    RulePage,
    Site,
    Waiver,
)
from onebond.span import Route, Span, written

SCHEMA_URI = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"

MAX_RESULTS = 25_000
"""Results of a run that common consumers accept; the gravest are kept."""

MAX_LOCATIONS = 1_000
"""Locations of one result that common consumers accept, the main one included."""

MAX_STEPS = 10_000
"""Steps of the fault paths of one result that common consumers accept."""

MAX_BYTES = 10_000_000
"""Size of a report, compressed, that common consumers accept, in bytes."""

MAX_NOTIFICATIONS = 1_000
"""Notifications of a run; more of them help nobody."""

MAX_TAGS = 20

FINGERPRINT = earlier.FINGERPRINT

EXIT_CODES = {
    0: "Inspected completely, nothing at the fail level.",
    1: "Findings.",
    2: "Wrong use, or nothing to inspect.",
    3: "A description was refused.",
    4: "Not proven: a stated limit was hit or data is missing.",
    70: "An error inside onebond.",
}

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
    "direct-current": "source",
    "groups": "group",
    "extraneous": "extraneous",
    "interlocks": "interlock",
    "types": "type",
    "waivers": "waiver",
}

_NOTIFICATIONS = (
    ("description", "A description was refused, nothing was concluded from it."),
    ("internal", "A rule broke on a subject; its verdict is missing."),
    ("left-out", "Something was left out of this file because readers of it have limits."),
    ("exception", "A verdict rests on an exception of the rulebook, which is named."),
    ("not-proven", "A check could not be concluded: a limit was hit or data is missing."),
    ("not-compared", "A finding of the earlier report is neither there nor known to be gone."),
)

# Numbers of clauses and tables, which may be several; anything else is one clause, commas included.
_NUMBER = re.compile(r"(?:(?:table|Table|Annex|Appendix) )?[0-9A-Z][0-9A-Za-z.()-]*")

Tree = dict[str, Any]


class Entry(NamedTuple):
    """A result to write: the number of its file, its fingerprint and, against an earlier report, its baseline state."""

    file: int
    result: Result
    mark: str
    state: str = ""


def render(
    report: Report,
    *,
    evidence: bool = False,
    exit_code: int | None = None,
    base: str = "",
    options: Mapping[str, str | bool] | None = None,
    baseline: earlier.Baseline | None = None,
) -> str:
    """The report as SARIF text, strict JSON that ends with a line end.

    ``evidence`` adds pass, open, review and notApplicable; ``exit_code`` is the exit status of the run; paths below
    ``base`` become relative to it; ``options`` are those that the run was asked for; ``baseline`` is an earlier report that
    the results are compared with.
    """
    most = MAX_RESULTS
    while True:
        tree = build(
            report,
            evidence=evidence,
            exit_code=exit_code,
            base=base,
            options=options,
            baseline=baseline,
            most=most,
        )
        text = json.dumps(tree, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
        number = len(tree["runs"][0]["results"])
        size = _compressed(text)
        if size <= MAX_BYTES or not number:
            return text
        most = min(number - 1, number * MAX_BYTES * 9 // (size * 10))


def _compressed(text: str) -> int:
    """Bytes that a text takes, compressed where it takes too many otherwise."""
    data = text.encode("utf-8", "backslashreplace")
    if len(data) <= MAX_BYTES:
        return len(data)
    import zlib  # only for reports that are very large

    return len(zlib.compress(data, 6)) + 12  # a gzip file has that much more around it


def build(
    report: Report,
    *,
    evidence: bool = False,
    exit_code: int | None = None,
    base: str = "",
    options: Mapping[str, str | bool] | None = None,
    baseline: earlier.Baseline | None = None,
    most: int | None = None,
) -> Tree:
    """The report as a tree of plain values; see ``render``.  ``most`` is how many results it may hold."""
    run = _Run(report, base, baseline, MAX_RESULTS if most is None else most)
    log: Tree = {"$schema": SCHEMA_URI, "version": "2.1.0", "runs": [run.build(evidence, exit_code, options or {})]}
    safe: Tree = neutralise.tree_for_json(log)
    return safe


class _Run:
    """What building one run needs to know at every step: the order of rules, of files and of clauses."""

    def __init__(self, report: Report, base: str, baseline: earlier.Baseline | None, most: int) -> None:
        self.report = report
        self.baseline = baseline
        self.most = most
        self.sites = words.ordered_sites(report)
        # The files: those of the sites in their order, then the parts of each; a part of two sites stands there once.
        paths = [site.path for site in self.sites]
        parts = {part.path: (part, site) for site in reversed(self.sites) for part in reversed(site.parts)}
        self.parts = [parts[path] for path in reversed(parts) if path not in paths]
        paths += [part.path for part, _ in self.parts]
        self.index_of = {path: at for at, path in reversed(list(enumerate(paths)))}
        self.uris = [neutralise.for_uri(path, base) for path in paths]
        pages = {page.id: page for page in report.rules}
        named = {result.rule for site in self.sites for result in site.results}
        named |= {fault.rule for site in self.sites for fault in site.faults}
        named |= {words.REFUSED for site in self.sites if site.problems}
        self.rules = [(name, pages.get(name)) for name in sorted(named | set(pages))]
        self.rule_index = {name: index for index, (name, _) in enumerate(self.rules)}
        self.waives = any(result.waiver is not None for site in self.sites for result in site.results)
        self.left_out: list[Tree] = []
        self.clauses = {name: page.clauses for name, page in self.rules if page is not None}
        documents: dict[str, set[str]] = {}
        for clause in (clause for clauses in self.clauses.values() for clause in clauses if clause.clause):
            documents.setdefault(clause.document, set()).update(_numbers(clause))
        self.documents = {document: sorted(numbers) for document, numbers in sorted(documents.items())}
        self.document_index = {document: index for index, document in enumerate(self.documents)}

    def build(self, evidence: bool, exit_code: int | None, options: Mapping[str, str | bool]) -> Tree:
        chosen, gone = self._chosen(evidence)
        results = [self._result(entry) for entry in chosen]
        results += [self._gone(one) for one in gone]
        run: Tree = {
            "tool": {"driver": self._driver()},
            "invocations": [self._invocation(exit_code, options)],
            "originalUriBaseIds": {_ROOT: {"description": _message("The folder that paths are relative to.")}},
            "artifacts": [
                *(self._artifact(index) for index in range(len(self.sites))),
                *(self._part(len(self.sites) + at, *one) for at, one in enumerate(self.parts)),
            ],
            "results": results,
        }
        if self.documents:
            run["taxonomies"] = [_taxonomy(document, numbers) for document, numbers in self.documents.items()]
        return {
            **run,
            "defaultEncoding": "UTF-8",
            "defaultSourceLanguage": "yaml",
            "columnKind": "unicodeCodePoints",
        }

    def _invocation(self, exit_code: int | None, options: Mapping[str, str | bool]) -> Tree:
        well = not any(site.problems or site.faults or site.problems_left_out for site in self.sites)
        invocation: Tree = {"executionSuccessful": well}
        if exit_code is not None:
            invocation["exitCode"] = exit_code
            if exit_code in EXIT_CODES:
                invocation["exitCodeDescription"] = EXIT_CODES[exit_code]
        overrides = self._overrides()
        if overrides:
            invocation["ruleConfigurationOverrides"] = overrides
        invocation["toolExecutionNotifications"] = self._notifications()
        if options:
            invocation["properties"] = {"options": dict(sorted(options.items()))}
        return invocation

    def _overrides(self) -> list[Tree]:
        """The rules that have another level under the rulebook of this run, where all its sites have the same one."""
        books = {site.rulebook for site in self.sites if site.rulebook}
        if len(books) != 1:
            return []
        (book,) = books
        overrides = []
        for index, (name, page) in enumerate(self.rules):
            level = dict(page.levels).get(book, page.level) if page is not None else ""
            if page is not None and level != page.level:
                to = {"enabled": False} if level not in LEVELS else {"level": level}
                overrides.append({"descriptor": {"id": name, "index": index}, "configuration": to})
        return overrides

    def _driver(self) -> Tree:
        driver: Tree = {
            "name": "onebond",
            "version": self.report.version,
            "language": "en-GB",
            "rules": [self._descriptor(name, page) for name, page in self.rules],
            "notifications": [{"id": name, "shortDescription": {"text": text}} for name, text in _NOTIFICATIONS],
        }
        if self.documents:
            driver["supportedTaxonomies"] = [self._component(document) for document in self.documents]
        return driver

    def _descriptor(self, name: str, page: RulePage | None) -> Tree:
        descriptor = _descriptor(name, page)
        relationships = []
        for clause in page.clauses if page is not None else ():
            for taxon in self._taxa([clause]):
                relationship: Tree = {"target": taxon, "kinds": ["relevant"]}
                if not clause.checked:
                    relationship["description"] = _message("The number of this clause is from memory, not checked.")
                relationships.append(relationship)
        if relationships:
            descriptor["relationships"] = relationships
        return descriptor

    def _component(self, document: str) -> Tree:
        return {"name": document, "index": self.document_index[document]}

    def _taxa(self, clauses: Iterable[Clause]) -> list[Tree]:
        """References to the clauses of standards, each once."""
        places = dict.fromkeys((one.document, number) for one in clauses if one.clause for number in _numbers(one))
        return [
            {
                "id": number,
                "index": self.documents[document].index(number),
                "toolComponent": self._component(document),
            }
            for document, number in places
        ]

    def _artifact(self, index: int) -> Tree:
        site = self.sites[index]
        total = words.tally(site)
        artifact: Tree = {
            "location": self._artifact_location(index),
            "roles": ["analysisTarget"],
            "mimeType": "application/yaml",
        }
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

    def _part(self, index: int, part: PartFile, site: Site) -> Tree:
        artifact: Tree = {
            "location": self._artifact_location(index),
            "roles": ["analysisTarget"],
            "mimeType": "application/yaml",
        }
        if part.sha256:
            artifact["hashes"] = {"sha-256": part.sha256}
        artifact["properties"] = {"partOf": self.uris[self.index_of[site.path]]}
        return artifact

    def _file(self, index: int, span: Span) -> int:
        """The number of the file that a span of a site stands in."""
        return self.index_of.get(span.file, index) if span.file else index

    def _artifact_location(self, index: int) -> Tree:
        uri = self.uris[index]
        location: Tree = {"uri": uri}
        if not uri.startswith("file:"):
            location["uriBaseId"] = _ROOT
        location["index"] = index
        return location

    def _chosen(self, evidence: bool) -> tuple[list[Entry], list[earlier.Earlier]]:
        """What to write, and what of the earlier report is gone; where there is too much, the gravest."""
        every: list[Entry] = []
        for index, site in enumerate(self.sites):
            marks: dict[str, int] = {}
            problems = [_as_result(problem) for problem in words.ordered_problems(site)]
            for result in [*problems, *words.ordered(r for r in site.results if evidence or r.kind == "fail")]:
                mark = self._mark(index, result)
                marks[mark] = marks.get(mark, 0) + 1
                every.append(Entry(index, result, mark if marks[mark] == 1 else f"{mark}:{marks[mark]}"))
        gone: list[earlier.Earlier] = []
        if self.baseline is not None:
            every, gone = self._compared(self.baseline, every)
        if len(every) + len(gone) <= self.most:
            return every, gone
        by_weight = sorted(range(len(every)), key=lambda at: (*_weight(every[at].result), at))
        kept, dropped = by_weight[: self.most], by_weight[self.most :]
        room = self.most - len(kept)
        tally: dict[str, int] = {}
        for at in dropped:
            result = every[at].result
            word = result.level if result.kind == "fail" else result.kind
            tally[word] = tally.get(word, 0) + 1
        if len(gone) > room:
            tally["gone"] = len(gone) - room
        told = ", ".join(f"{number} {word}" for word, number in tally.items())
        limit = f"the {MAX_RESULTS} that a run may hold"
        if self.most < MAX_RESULTS:
            limit = f"the {MAX_BYTES // 1_000_000} MB, compressed, that a report may take"
        text = f"Left out: {words.count(sum(tally.values()), 'result')} past {limit}: {told}"
        self.left_out.append(self._notification("left-out", "warning", text))
        return [every[at] for at in sorted(kept)], gone[:room]

    def _mark(self, index: int, result: Result) -> str:
        """The fingerprint; a refused file has no site, and several things may be wrong at the same place."""
        if result.rule != words.REFUSED:
            return fingerprint(self.sites[index], result)
        uri = self.uris[self._file(index, result.span)]
        return _digest([result.rule, uri, list(result.route), result.message])

    def _compared(
        self, baseline: earlier.Baseline, every: Sequence[Entry]
    ) -> tuple[list[Entry], list[earlier.Earlier]]:
        """Every result with its baseline state, and the earlier findings that are gone for certain."""
        now = [
            earlier.Now(
                entry.mark,
                neutralise.for_json(entry.result.rule),
                self.uris[self._file(entry.file, entry.result.span)],
                neutralise.for_terminal(_qualified(entry.result)),
                entry.result.level if entry.result.kind == "fail" else "none",
                self._text(entry),
                entry.result.waiver is not None,
            )
            for entry in every
        ]
        states, left = earlier.compared(baseline, now)
        written_in: dict[str, list[Site]] = {}  # a part may belong to several sites
        for site in self.sites:
            for path in (site.path, *(part.path for part in site.parts)):
                written_in.setdefault(self.uris[self.index_of[path]], []).append(site)
        gone, unknown = [], 0
        for one in left:
            sites = written_in.get(one.uri, ())
            if not sites or not all(self._would_be_found(site, one) for site in sites):
                unknown += 1
            else:
                gone.append(one)
        if unknown:
            text = (
                f"{words.count(unknown, 'finding')} of the earlier report: not compared, for the file was not inspected or was "
                "refused, or the rule came to no conclusion this time or does not belong to the rulebook"
            )
            self.left_out.append(self._notification("not-compared", "note", text))
        return [entry._replace(state=state) for entry, state in zip(every, states, strict=True)], gone

    def _would_be_found(self, site: Site, one: earlier.Earlier) -> bool:
        """Whether a finding that is not there is gone: its file was read, and its rule concluded something else."""
        if site.problems or site.problems_left_out:
            return False
        if any(fault.rule in (one.rule, "(none)") for fault in site.faults) or site.not_proven:
            return False
        page = next((page for page in self.report.rules if page.id == one.rule), None)
        if page is not None and dict(page.levels).get(site.rulebook, page.level) not in LEVELS[:3]:
            return False  # this rulebook does not ask for it, and nothing looked
        return not any(
            result.kind in ("open", "review")
            and result.rule == one.rule
            and neutralise.for_terminal(result.subject) == one.name
            for result in site.results
        )

    def _text(self, entry: Entry) -> str:
        told = neutralise.tree_for_json(_message(*_sentences(entry.result, self.sites[entry.file].devices)))
        text: str = told["text"]
        return text

    def _gone(self, one: earlier.Earlier) -> Tree:
        """An earlier finding that is gone, as far as it says where and what it was."""
        place: Tree = {"artifactLocation": self._artifact_location(self.uris.index(one.uri))}
        region = dict(one.region)
        if region.get("startLine"):
            ends_before = (region.get("endLine", region["startLine"]), region.get("endColumn", 1_000_000)) < (
                region["startLine"],
                region.get("startColumn", 1),
            )
            place["region"] = {"startLine": region["startLine"]} if ends_before else region
        location: Tree = {"physicalLocation": place}
        if one.name:
            location["logicalLocations"] = [
                {
                    "name": neutralise.for_terminal(one.name),
                    "fullyQualifiedName": neutralise.for_terminal(one.subject),
                }
            ]
        plain = one.text.replace("{{", "{").replace("}}", "}").replace("] (", "](")
        written_out: Tree = {"ruleId": one.rule}
        if one.rule in self.rule_index:
            written_out["ruleIndex"] = self.rule_index[one.rule]
        written_out |= {
            "kind": "fail",
            "level": one.level,
            "message": {"text": neutralise.for_message(plain or "A finding of the earlier report.")},
            "locations": [location],
        }
        if one.mark:
            written_out["partialFingerprints"] = {FINGERPRINT: one.mark}
        if self.waives:
            written_out["suppressions"] = []
        written_out["baselineState"] = "absent"
        return written_out

    def _result(self, entry: Entry) -> Tree:
        index, result, mark = entry.file, entry.result, entry.mark
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
            "message": _message(*_sentences(result, self.sites[index].devices)),
            "locations": [self._location(index, result.span, result.subject, result.route)],
        }
        if mentions:
            written_out["relatedLocations"] = [
                self._related(index, number, mention, span) for number, (mention, span) in enumerate(mentions, start=1)
            ]
        if result.paths:
            written_out["codeFlows"] = [self._flow(index, result)]
        if result.edits:
            written_out["fixes"] = [self._fix(index, result)]
        known = {str(clause): clause for clause in self.clauses.get(result.rule, ())}
        taxa = self._taxa(known[reference] for reference in result.references if reference in known)
        if taxa:
            written_out["taxa"] = taxa
        written_out["partialFingerprints"] = {FINGERPRINT: mark}
        if entry.state:
            written_out["baselineState"] = entry.state
        if self.waives:  # on all results of a run or on none: an empty list says "known not to be suppressed"
            written_out["suppressions"] = [_suppression(result.waiver)] if result.waiver is not None else []
        written_out["properties"] = _properties(result)
        return written_out

    def _flow(self, index: int, result: Result) -> Tree:
        """The ways of the fault current: what each source drives is one thread, and they all flow at once."""
        threads, room, over = [], MAX_STEPS, 0
        for path in result.paths:
            steps = path[:room]
            room -= len(steps)
            over += len(path) - len(steps)
            if steps:
                threads.append(
                    {
                        "id": neutralise.for_terminal(path[0][0].subject),
                        "message": _message(f"What {path[0][0].subject} drives into the fault"),
                        "locations": [
                            {
                                "location": {
                                    **self._location(index, span, step.subject, step.route),
                                    "message": _message(f"{step.subject}: {step.text}"),
                                }
                            }
                            for step, span in steps
                        ],
                    }
                )
        if over:
            text = f"Left out: {words.count(over, 'step')} of the fault path of {result.rule} on {result.subject}"
            self.left_out.append(self._notification("left-out", "note", text, rule=result.rule))
        return {"message": _message("The way of the fault current, in its worst state"), "threadFlows": threads}

    def _fix(self, index: int, result: Result) -> Tree:
        by_file: dict[int, list[Tree]] = {}
        for edit in result.edits:
            by_file.setdefault(self._file(index, edit.span), []).append(_replacement(edit))
        changes = [
            {"artifactLocation": self._artifact_location(file), "replacements": replacements}
            for file, replacements in by_file.items()
        ]
        return {"description": _message(result.put_right), "artifactChanges": changes}

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
        lines = words.lines_of(self.sites[index], span)
        region = _region(span)
        text = _snippet(lines, span)
        if text:
            region["snippet"] = {"text": text}
        place: Tree = {"artifactLocation": self._artifact_location(self._file(index, span)), "region": region}
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
            problems = words.ordered_problems(site)
            if problems or site.problems_left_out:
                number = words.count(len(problems) + site.problems_left_out, "problem")
                text = f"The description was refused, nothing was concluded from it: {number}"
                if site.problems_left_out:
                    text += f", {site.problems_left_out} of them not shown"
                span = problems[0].span if problems else Span(1, 1, 1, 1)
                place = self._location(index, span, "", ())
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
        for index, site in enumerate(self.sites):
            for one in words.relied(site):
                place = self._location(index, one.span, one.results[0].subject, one.results[0].route)
                text = f"By exception: {one.rule} on {words.subjects(one)}. {one.reason}: {one.remains}"
                told.append(self._notification("exception", "note", text, location=place, rule=one.rule))
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
    return _digest([result.rule, site.name, result.subject, list(result.route), conditions])


def _digest(whole: list[Any]) -> str:
    return hashlib.sha256(json.dumps(whole, ensure_ascii=True, separators=(",", ":")).encode("ascii")).hexdigest()


def _as_result(problem: Problem) -> Result:
    """A problem of a description as a finding at its line."""
    route = problem.route
    subject = str(route[1] if len(route) > 1 else route[0]) if route else ""
    text = f"{problem.message.rstrip('.')} ({problem.hint})" if problem.hint else problem.message
    return Result(words.REFUSED, "fail", "error", subject, route, problem.span, text)


def _qualified(result: Result) -> str:
    return written(result.route) if result.route else result.subject


def _numbers(clause: Clause) -> list[str]:
    """The clauses of one reference: numbers parted by commas are several, anything else is one."""
    parts = clause.clause.split(", ")
    return parts if all(_NUMBER.fullmatch(part) for part in parts) else [clause.clause]


def _taxonomy(document: str, numbers: list[str]) -> Tree:
    return {
        "name": document,
        "shortDescription": {
            "text": _sentence(f"Clauses of {document} that rules refer to, by number, never by their words")
        },
        "isComprehensive": False,
        "language": "en-GB",
        "taxa": [{"id": number} for number in numbers],
    }


def _replacement(edit: Edit) -> Tree:
    replacement: Tree = {"deletedRegion": _region(edit.span)}
    if edit.text:
        replacement["insertedContent"] = {"text": edit.text}
    return replacement


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


def _sentences(result: Result, devices: words.Devices) -> list[str]:
    """What a person reads: the constant part first, then when, what follows, and what puts it right."""
    texts = [result.message]
    told = words.alternatives(result.conditions, devices) if result.conditions else []
    if told == [words.condition(())]:
        texts.append("In every state")
    elif told:
        more = told.pop() if len(result.conditions) > words.ALTERNATIVES_SHOWN else ""
        texts.append(f"When: {told[0]}")
        texts += [f"Or: {text}" for text in told[1:]]
        if more:
            texts.append(more[0].upper() + more[1:])
    texts.append(result.so[:1].upper() + result.so[1:])
    if result.figures:
        texts.append("Figures: " + "; ".join(f"{name} {value}" for name, value in result.figures))
    texts.append(f"Put right: {result.put_right}" if result.put_right else "")
    return texts


def _message(*texts: str) -> Tree:
    told = " ".join([_sentence(text) for text in texts if text.strip()])
    return {"text": neutralise.for_message(told or ".")}


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _flowing(text: str) -> str:
    return " ".join(text.split())


def _properties(result: Result) -> Tree:
    properties: Tree = {"conditions": structured(result.conditions)}
    if result.figures:
        properties["figures"] = _named(result.figures)
    if result.by_state:
        properties["figuresByState"] = [
            {"conditions": structured(row.conditions), "figures": _named(row.figures)} for row in result.by_state
        ]
    if result.so:
        properties["so"] = result.so
    if result.put_right:
        properties["putRight"] = result.put_right
    if result.because is not None:
        properties["because"] = {"rule": result.because[0], "subject": result.because[1]}
    if result.references:
        properties["references"] = list(result.references)
    return properties


def _named(figures: tuple[tuple[str, str], ...]) -> list[Tree]:
    return [{"name": name, "value": value} for name, value in figures]


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
