"""Rules times subjects gives results: merges operating states, applies waivers, marks what is not proven, isolates crashes.

The engine knows no rule by name.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from onebond.document import Document, span_at
from onebond.model import Accepted, Installation
from onebond.network import Needs, Network
from onebond.result import (
    Condition,
    Fault,
    IslandLine,
    Kind,
    Level,
    Mention,
    Result,
    RulePage,
    Site,
    Waiver,
)
from onebond.rule import RULEBOOKS, Example, Facts, Finding, NotApplicable, Param, Review, Rule, Unknown
from onebond.span import Route, Span
from onebond.states import LIMIT, State


def inspect(
    installation: Installation,
    document: Document,
    rules: Sequence[Rule],
    rulebook: str | None = None,
    today: str = "",
    limit: int = LIMIT,
    islands: bool = False,
    digest: bool = True,
) -> Site:
    """Inspect one installation under its rulebook, or under another one that is asked for.

    ``today`` (ISO 8601) decides which waivers have expired; ``islands`` asks for the list of live islands too, ``digest``
    for the hash of the file (which costs a hook more than it is worth).  Raises nothing that a rule raises: that is a Fault.
    """
    book = rulebook or installation.rulebook
    facts = Facts(installation, book, limit)
    results: list[Result] = []
    faults: list[Fault] = []
    for rule in rules:
        level = rule.level_in(book)
        if level != "off":
            _judge(rule, level, facts, document, results, faults)
    results = _settle([_accept(result, installation.waivers, today) for result in results])
    results.extend(_waivers(installation, document, results, rules, today))
    results.sort(key=_order)
    return Site(
        document.path,
        document.lines,
        document.sha256 if digest else "",
        installation.name,
        book,
        installation.stage,
        (),
        tuple(results),
        tuple(faults),
        _islands(facts) if islands else (),
        len(facts.islands),
        tuple(
            f"{source}: more than {limit} cases of its live island; its verdicts are open"
            for source in facts.survey.not_proven
        ),
    )


_WAIVER_PAGES = (
    RulePage(
        "waiver-expired",
        "warning",
        "A waiver has ended and what it accepted counts again.",
        "the `until` of every waiver that still accepts a finding, against the day of the inspection.",
        "an exception that nobody renews becomes the rule.",
        "put the finding right, or have the waiver renewed by the person who answers for it.",
        ("the description itself",),
    ),
    RulePage(
        "waiver-unused",
        "warning",
        "A waiver accepts nothing.",
        "whether the rule and the subject of every waiver have a finding.",
        "a waiver that is left behind hides the next fault of this kind.",
        "delete the waiver, or correct its rule and `at`.",
        ("the description itself",),
    ),
)


def pages(rules: Iterable[Rule], rulebook: str | None = None, examples: bool = False) -> tuple[RulePage, ...]:
    """The manual pages as data for one rulebook; without one, with the references and parameters of all.

    With ``examples`` each page shows the edits that the rule's examples make, those that it finds and those that pass.
    """
    found = []
    for rule in rules:
        refs = tuple(
            f"{ref.rulebook}: {ref}" if rulebook is None and ref.rulebook != "all" else str(ref)
            for ref in rule.refs
            if rulebook is None or ref.rulebook in (rulebook, "all")
        )
        level = rule.level_in(rulebook) if rulebook else rule.level
        found.append(
            RulePage(
                rule.id,
                level if level != "off" else "none",  # type: ignore[arg-type]
                rule.title,
                rule.section("Checks"),
                rule.section("Danger"),
                rule.section("Remedy"),
                refs or ("no clause in this rulebook",),
                tuple((book, rule.level_in(book)) for book in RULEBOOKS),
                tuple((param.name, _value(param, rulebook), param.text) for param in rule.params),
                _shown(rule, rulebook, False) if examples else "",
                _shown(rule, rulebook, True) if examples else "",
            )
        )
    return (*found, *_WAIVER_PAGES)


def _value(param: Param, rulebook: str | None) -> str:
    """The value of a parameter under a rulebook; without one its default, and the rulebooks that differ."""
    if rulebook:
        return _spoken(param.by_rulebook.get(rulebook, param.value))
    return "; ".join((_spoken(param.value), *(f"{book}: {_spoken(v)}" for book, v in param.by_rulebook.items())))


def _spoken(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _shown(rule: Rule, rulebook: str | None, finding: bool) -> str:
    """The examples of a rule that find something, or those that do not: the base, then its edit, lines out and in."""
    books: dict[Example, list[str]] = {}
    for example in rule.examples:
        if bool(example.finds) == finding and (not rulebook or example.rulebook in ("", rulebook)):
            books.setdefault(example._replace(rulebook=""), []).extend(filter(None, [example.rulebook]))
    blocks = []
    for example, under in books.items():
        said = f"# {example.base}{' under ' + ', '.join(under) if under else ''}"
        found = f"finds {', '.join(example.finds)}" if example.finds else "finds nothing"
        blocks.append("\n".join((f"{said}: {found}", *(line for edit in example.replace for line in _edit(*edit)))))
    return "\n\n".join(blocks)


def _edit(old: str, new: str) -> list[str]:
    """An edit as lines out and in; of the lines that stay, only those before the change are shown."""
    before, after = old.splitlines(), new.splitlines()
    while before and after and before[-1] == after[-1] and len(after) > len(before):
        before.pop()
        after.pop()
    kept = 0
    while kept < min(len(before), len(after)) and before[kept] == after[kept]:
        kept += 1
    marked = [
        *(("  ", t) for t in before[:kept]),
        *(("- ", t) for t in before[kept:]),
        *(("+ ", t) for t in after[kept:]),
    ]
    return [mark + text for mark, text in marked if text.strip()]


# -- judging ---------------------------------------------------------------------------------------------------------


class _Verdicts:
    """All that one rule says of one subject."""

    def __init__(self, route: Route) -> None:
        self.route = route
        self.failing: list[tuple[Any, Finding]] = []
        self.passing: list[Any] = []
        self.reviews: list[tuple[Any, Review]] = []
        self.exceptions: list[tuple[Any, NotApplicable]] = []
        self.unknown: list[tuple[Any, Unknown]] = []


def _judge(
    rule: Rule, level: str, facts: Facts, document: Document, results: list[Result], faults: list[Fault]
) -> None:
    by_subject: dict[str, _Verdicts] = {}
    params = rule.params_in(facts.rulebook)
    try:
        subjects: tuple[Any, ...] = getattr(facts, rule.over)
    except Exception as error:
        faults.append(_fault(rule, "-", error))
        return
    broken: set[str] = set()
    for subject in subjects:
        try:
            verdict = rule.check(subject, params)
        except Unknown as unknown:
            by_subject.setdefault(subject.id, _Verdicts(subject.route)).unknown.append((subject, unknown))
            continue
        except Exception as error:
            if subject.id not in broken:
                broken.add(subject.id)
                faults.append(_fault(rule, subject.id, error))
            continue
        identifier, route = subject.id, subject.route
        if isinstance(verdict, Finding) and verdict.subject:
            identifier, route = verdict.subject
        entry = by_subject.setdefault(identifier, _Verdicts(route))
        if isinstance(verdict, Finding):
            entry.failing.append((subject, verdict))
        elif isinstance(verdict, Review):
            entry.reviews.append((subject, verdict))
        elif isinstance(verdict, NotApplicable):
            entry.exceptions.append((subject, verdict))
        else:
            entry.passing.append(subject)
    refs = tuple(str(ref) for ref in rule.refs if ref.rulebook in (facts.rulebook, "all"))
    for identifier, verdicts in by_subject.items():
        if identifier not in broken:
            results.append(_merge(rule, level, identifier, verdicts, facts, document, refs))
    if rule.in_states:
        for source in facts.survey.not_proven:
            results.append(_open(rule, source, facts, document, refs))


def _fault(rule: Rule, subject: str, error: Exception) -> Fault:
    if os.environ.get("ONEBOND_DEBUG"):
        import traceback

        traceback.print_exc(file=sys.stderr)
    return Fault(rule.id, subject, f"{type(error).__name__}: {error}"[:300])


def _open(rule: Rule, source: str, facts: Facts, document: Document, refs: tuple[str, ...]) -> Result:
    route = next(feed.route for feed in facts.network.feeds if feed.id == source)
    return Result(
        rule.id,
        "open",
        "none",
        source,
        route,
        span_at(document, route, True),
        f"not proven for the operating states in which {source} feeds: they are more than the stated limit",
        references=refs,
    )


def _merge(
    rule: Rule,
    level: str,
    identifier: str,
    verdicts: _Verdicts,
    facts: Facts,
    document: Document,
    refs: tuple[str, ...],
) -> Result:
    kind: Kind = "pass"
    shown: Level = "none"
    message, so, put_right = "as it should be in every case", "", ""
    mentions: tuple[Mention, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    because = None
    concerned: list[Any] = verdicts.passing
    if verdicts.failing:
        kind = "fail"
        roots = [pair for pair in verdicts.failing if pair[1].because is None]
        main = max(roots or verdicts.failing, key=lambda pair: -_LEVELS.index(pair[1].level or level))[1]
        because = None if roots else main.because
        shown = main.level or level  # type: ignore[assignment]
        message, so, put_right = main.message, main.so, main.put_right
        mentions = _distinct(mention for _, finding in verdicts.failing for mention in finding.mentions)
        figures = main.figures
        concerned = [subject for subject, finding in verdicts.failing if (finding.level or level) == shown]
    elif verdicts.unknown:
        kind = "open"
        message = f"cannot be concluded: {verdicts.unknown[0][1].what} is not written"
        mentions = (Mention(identifier, verdicts.unknown[0][1].route, "what is missing"),)
        concerned = [subject for subject, _ in verdicts.unknown]
    elif verdicts.reviews:
        kind = "review"
        review = verdicts.reviews[0][1]
        message, put_right = review.message, review.put_right
        mentions = _distinct(mention for _, found in verdicts.reviews for mention in found.mentions)
        concerned = [subject for subject, _ in verdicts.reviews]
    elif verdicts.exceptions and not verdicts.passing:
        kind = "notApplicable"
        message = verdicts.exceptions[0][1].reason
        concerned = [subject for subject, _ in verdicts.exceptions]
    elif verdicts.exceptions:
        message = f"as it should be; exception applied: {verdicts.exceptions[0][1].reason}"
    states = [subject.island.state for subject in concerned if subject.island is not None]
    conditions: tuple[Condition, ...] = ()
    if states and len(states) == len(concerned) and kind in ("fail", "review", "open"):
        conditions = conditions_of(facts.network, states)
    return Result(
        rule.id,
        kind,
        shown,
        identifier,
        verdicts.route,
        span_at(document, verdicts.route, True),
        message,
        so,
        put_right,
        tuple(
            (mention, span_at(document, mention.route, True))
            for mention in mentions
            if mention.route != verdicts.route or mention.subject != identifier
        ),
        conditions,
        figures,
        refs,
        because,
    )


_LEVELS = ("error", "warning", "note", "none")


def _distinct(mentions: Iterable[Mention]) -> tuple[Mention, ...]:
    found: dict[tuple[str, Route], Mention] = {}
    for mention in mentions:
        found.setdefault((mention.subject, mention.route), mention)
    return tuple(found.values())


# -- conditions that matter --------------------------------------------------------------------------------------------


def conditions_of(network: Network, states: Iterable[State]) -> tuple[Condition, ...]:
    """The shortest set of conditions that stands for some states: variables that do not matter are left out.

    Two conditions that differ in one variable are joined; a variable that may have all its values is dropped.  The result
    covers exactly the given states.
    """
    cubes: set[tuple[tuple[int, frozenset[int]], ...]] = {
        tuple((variable, frozenset((value,))) for variable, value in enumerate(state) if value >= 0) for state in states
    }
    before: set[tuple[tuple[int, frozenset[int]], ...]] = set()
    while before != cubes:
        before = cubes
        cubes = {_without_implied(network, cube) for cube in _joined(network, cubes)}
    cubes = _without_special(cubes)
    ordered = sorted(cubes, key=lambda cube: (len(cube), [(v, sorted(values)) for v, values in cube]))
    return tuple(
        tuple(
            (
                network.variables[variable].name,
                tuple(network.variables[variable].values[value] for value in sorted(values)),
            )
            for variable, values in cube
        )
        for cube in ordered
    )


def _joined(
    network: Network, cubes: set[tuple[tuple[int, frozenset[int]], ...]]
) -> set[tuple[tuple[int, frozenset[int]], ...]]:
    """Join conditions that differ in one variable, until none do."""
    changed = True
    while changed:
        changed = False
        variables = sorted({variable for cube in cubes for variable, _ in cube}, reverse=True)
        for variable in variables:
            merged: dict[tuple[tuple[int, frozenset[int]], ...], frozenset[int]] = {}
            kept: set[tuple[tuple[int, frozenset[int]], ...]] = set()
            for cube in cubes:
                values = dict(cube).get(variable)
                if values is None:
                    kept.add(cube)
                else:
                    rest = tuple(item for item in cube if item[0] != variable)
                    merged[rest] = merged.get(rest, frozenset()) | values
            everything = frozenset(range(len(network.variables[variable].values)))
            for rest, values in merged.items():
                if values == everything or rest in kept:
                    kept.add(rest)
                else:
                    kept.add(tuple(sorted((*rest, (variable, values)))))
            if len(kept) < len(cubes) or kept != cubes:
                changed = True
                cubes = kept
    return cubes


def _without_implied(
    network: Network, cube: tuple[tuple[int, frozenset[int]], ...]
) -> tuple[tuple[int, frozenset[int]], ...]:
    """Leave out what follows from the rest of the condition because an interlock forbids everything else."""
    for variable, values in cube:
        rest = dict(cube)
        del rest[variable]
        others = [v for v in range(len(network.variables[variable].values)) if v not in values]
        if all(any(_forbids(clause, rest, variable, other) for clause in network.never) for other in others):
            return _without_implied(network, tuple(rest.items()))
    return cube


def _forbids(clause: Needs, rest: Mapping[int, frozenset[int]], variable: int, value: int) -> bool:
    named = {v for v, _ in clause}
    return variable in named and all(
        mask >> value & 1 if v == variable else v in rest and all(mask >> known & 1 for known in rest[v])
        for v, mask in clause
    )


def _without_special(
    cubes: set[tuple[tuple[int, frozenset[int]], ...]],
) -> set[tuple[tuple[int, frozenset[int]], ...]]:
    """Leave out conditions that are special cases of another one."""
    ordered = sorted(cubes, key=len)
    kept: list[dict[int, frozenset[int]]] = []
    found = set()
    for cube in ordered:
        mine = dict(cube)
        if any(all(v in mine and mine[v] <= values for v, values in other.items()) for other in kept):
            continue
        kept.append(mine)
        found.add(cube)
    return found


# -- causes and waivers ------------------------------------------------------------------------------------------------


def _settle(results: list[Result]) -> list[Result]:
    """A consequence counts as a note while its cause is found; without its cause it stands on its own.

    A waiver of the cause accepts the cause only: what follows from it then counts by its own level.
    """
    failing = {(r.rule, r.subject): r for r in results if r.kind == "fail" and r.waiver is None}
    settled = []
    for result in results:
        if result.kind == "fail" and result.because:
            seen = {(result.rule, result.subject)}
            cause = failing.get(result.because)
            while cause and cause.because and (cause.rule, cause.subject) not in seen:
                seen.add((cause.rule, cause.subject))
                cause = failing.get(cause.because)
            if cause is None or (cause.rule, cause.subject) in seen:
                result = result._replace(because=None)
            else:
                result = result._replace(because=(cause.rule, cause.subject), level="note")
        settled.append(result)
    return settled


def _waivers(
    installation: Installation, document: Document, results: list[Result], rules: Sequence[Rule], today: str
) -> list[Result]:
    """Waivers that no longer hold, or that accept nothing."""
    known = {rule.id for rule in rules}
    failing = {(result.rule, result.subject) for result in results if result.kind == "fail"}
    found = []
    for waiver in installation.waivers:
        span = span_at(document, waiver.route)
        if waiver.rule not in known:
            found.append(
                _about_waiver(
                    "waiver-unused", waiver, span, f"there is no rule {waiver.rule}", "", "correct the rule id"
                )
            )
        elif (waiver.rule, waiver.at) not in failing:
            found.append(
                _about_waiver(
                    "waiver-unused",
                    waiver,
                    span,
                    f"nothing is found by {waiver.rule} at {waiver.at}: the waiver accepts nothing",
                    "a waiver that is left behind hides the next fault of this kind",
                    "delete the waiver",
                )
            )
        elif today and waiver.until and waiver.until < today:
            found.append(
                _about_waiver(
                    "waiver-expired",
                    waiver,
                    span,
                    f"the waiver of {waiver.rule} at {waiver.at} ended on {waiver.until}",
                    "the finding that it accepted counts again",
                    "put the finding right, or have the waiver renewed by the person who answers for it",
                )
            )
    return found


def _about_waiver(rule: str, waiver: Accepted, span: Span, message: str, so: str, put_right: str) -> Result:
    return Result(rule, "fail", "warning", waiver.at, waiver.route, span, message, so, put_right)


def _accept(result: Result, waivers: tuple[Accepted, ...], today: str) -> Result:
    if result.kind != "fail":
        return result
    for waiver in waivers:
        expired = bool(today and waiver.until and waiver.until < today)
        if (waiver.rule, waiver.at) == (result.rule, result.subject) and not expired:
            return result._replace(
                waiver=Waiver(waiver.rule, waiver.at, waiver.reason, waiver.by or "", waiver.until or "", waiver.route)
            )
    return result


def _order(result: Result) -> tuple[Any, ...]:
    return (result.span, result.rule, result.subject, result.kind)


# -- what `states` shows -----------------------------------------------------------------------------------------------


def _islands(facts: Facts) -> tuple[IslandLine, ...]:
    """Kinds of live island: cases that agree in sources, supplied places and references are one line."""
    lines: dict[tuple[Any, ...], list[State]] = {}
    for island in facts.islands:
        references = []
        for reference in island.references:
            where = "star point of the supplier" if reference.kind == "star" else f"at {reference.at}"
            if reference.kind == "internal":
                where = "inside it"
            references.append(f"{reference.id} ({where})")
        if island.it and not references:
            verdict = "isolated from earth (IT)"
        elif not references:
            verdict = "floating"
        else:
            count = len(island.groups({tie.id: (i,) for i, tie in enumerate(facts.network.ties)}))
            verdict = {1: "earthed once", 2: "earthed twice"}.get(count, f"earthed {count} times")
        key = (tuple(feed.id for feed in island.feeds), island.supplies, tuple(references), verdict)
        lines.setdefault(key, []).append(island.state)
    return tuple(
        IslandLine(sources, supplies, references, verdict, conditions_of(facts.network, states))
        for (sources, supplies, references, verdict), states in lines.items()
    )
