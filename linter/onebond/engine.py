"""Rules times subjects gives results: merges operating states, applies waivers, marks what is not proven, isolates crashes.

The engine knows no rule by name.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

from onebond.circuit.impedances import pe_size_assumed
from onebond.document import Document, node_at, span_at
from onebond.facts.curves import Curve
from onebond.facts.drawing import drawing as drawing_of
from onebond.facts.faults import Fed
from onebond.facts.service import InService, written_load
from onebond.model import LINES, Accepted, Installation
from onebond.network import Needs, Network
from onebond.result import (
    Clause,
    ClearingCurve,
    Condition,
    ConductorFigure,
    Edit,
    FailureFigure,
    Fault,
    FaultFigure,
    Figures,
    FloatingFigure,
    IslandLine,
    Kind,
    Level,
    Mention,
    RcdFigure,
    Result,
    RulePage,
    Site,
    StateFigures,
    SupplyFigure,
    Waiver,
)
from onebond.rule import (
    RULEBOOKS,
    EarthFault,
    Example,
    Facts,
    Failure,
    Finding,
    FloatingReading,
    Island,
    NotApplicable,
    Param,
    Params,
    RcdInService,
    Review,
    Rule,
    Unknown,
)
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
    figures: bool = False,
    drawing: bool = False,
) -> Site:
    """Inspect one installation under its rulebook, or under another one that is asked for.

    ``today`` (ISO 8601) decides which waivers have expired; ``islands`` asks for the list of live islands too, ``figures``
    for all computed figures, ``drawing`` for what a diagram shows, ``digest`` for the hash of the file (which costs a hook more
    than it is worth).  Raises nothing that a rule raises: that is a Fault.
    """
    book = rulebook or installation.rulebook
    facts = Facts(installation, book, limit)
    results: list[Result] = []
    faults: list[Fault] = []
    lines, kinds = _islands(facts) if islands else ((), {})
    for rule in rules:
        level = rule.level_in(book)
        if level != "off":
            _judge(rule, level, facts, document, results, faults, kinds)
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
        lines,
        len(facts.islands),
        tuple(
            f"{source}: more than {limit} cases of its live island; its verdicts are open"
            for source in facts.survey.not_proven
        ),
        figures=_figures(facts, rules, drawing) if figures else None,
        drawing=drawing_of(facts, document) if drawing else None,
        revision=installation.revision or "",
    )


_OWN_PAGES = (
    RulePage(
        "description-refused",
        "error",
        "A description cannot be read.",
        "whether the file is a description: YAML within its limits, known keys, quantities with their unit, names that exist.",
        "nothing at all is concluded from a file that is refused.",
        "correct the line; the message says what is expected there.",
        ("the description itself",),
    ),
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
        shown = [ref for ref in rule.refs if rulebook is None or ref.rulebook in (rulebook, "all")]
        refs = tuple(
            f"{ref.rulebook}: {ref}" if rulebook is None and ref.rulebook != "all" else str(ref) for ref in shown
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
                tuple(Clause(*ref) for ref in shown),
            )
        )
    return (*found, *_OWN_PAGES)


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
    rule: Rule,
    level: str,
    facts: Facts,
    document: Document,
    results: list[Result],
    faults: list[Fault],
    kinds: Mapping[Island, int],
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
            results.append(_merge(rule, level, identifier, verdicts, facts, document, refs, kinds))
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
        lacking=f"the operating states in which {source} feeds are more than the stated limit",
    )


def _merge(
    rule: Rule,
    level: str,
    identifier: str,
    verdicts: _Verdicts,
    facts: Facts,
    document: Document,
    refs: tuple[str, ...],
    kinds: Mapping[Island, int],
) -> Result:
    kind: Kind = "pass"
    shown: Level = "none"
    message, so, put_right = "as it should be in every case", "", ""
    mentions: tuple[Mention, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    because = None
    by_state: tuple[StateFigures, ...] = ()
    paths: tuple[tuple[Mention, ...], ...] = ()
    edits: tuple[Edit, ...] = ()
    lacks = ""
    causes: tuple[tuple[str, str], ...] = ()
    concerned: list[Any] = verdicts.passing
    if verdicts.failing:
        kind = "fail"
        roots = [pair for pair in verdicts.failing if pair[1].because is None]
        worst, main = max(
            roots or verdicts.failing, key=lambda pair: (-_LEVELS.index(pair[1].level or level), pair[1].weight)
        )
        paths, edits = _paths(worst), _edits(document, main.take_out)
        because = None if roots else main.because
        causes = () if roots else tuple(dict.fromkeys(f.because for _, f in verdicts.failing if f.because))
        shown = main.level or level  # type: ignore[assignment]
        message, so, put_right = main.message, main.so, main.put_right
        mentions = _distinct(mention for _, finding in verdicts.failing for mention in finding.mentions)
        figures = main.figures
        others = [dict(finding.figures) for _, finding in roots or verdicts.failing]
        figures = tuple(
            (name if all(other.get(name) == value for other in others) else f"{name} (worst state)", value)
            for name, value in figures
        )
        concerned = [subject for subject, _ in roots or verdicts.failing]
        by_state = _by_state(facts.network, roots or verdicts.failing)
    elif verdicts.unknown:
        kind = "open"
        lacking = verdicts.unknown[0][1]
        lacks = lacking.reason or f"{lacking.what} is not written"
        message = f"cannot be concluded: {lacks}"
        mentions = (Mention(identifier, lacking.route, "why" if lacking.reason else "what is missing"),)
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
        None,
        by_state,
        tuple(tuple((step, span_at(document, step.route, True)) for step in path) for path in paths),
        edits,
        lacks,
        causes,
        bool(causes) and all(finding.effect for _, finding in verdicts.failing),
        tuple(sorted({kinds[subject.island] for subject in concerned if subject.island in kinds})),
    )


_LEVELS = ("error", "warning", "note", "none")


def _by_state(network: Network, found: Sequence[tuple[Any, Finding]]) -> tuple[StateFigures, ...]:
    """The figures of a finding with the states that each of them holds in, the worst first; empty where they are all the same."""
    alike: dict[tuple[tuple[str, str], ...], tuple[float, list[State]]] = {}
    for subject, finding in found:
        if subject.island is None:
            return ()
        weight, states = alike.get(finding.figures, (finding.weight, []))
        alike[finding.figures] = (max(weight, finding.weight), [*states, subject.island.state])
    if len(alike) < 2:
        return ()
    rows = sorted(alike.items(), key=lambda row: (-row[1][0], row[0]))
    return tuple(StateFigures(conditions_of(network, states), figures) for figures, (_, states) in rows)


def _paths(subject: Any) -> tuple[tuple[Mention, ...], ...]:
    """The ways of a fault current, one for each source: through cables and devices to the place, and back to the reference.

    With several sources the cables that hold no device are left out: which of the two ways they belong to is not kept.
    """
    if not isinstance(subject, EarthFault) or not subject.way:
        return ()
    island, site = subject.island, subject.island.network.installation
    sources = {feed.id: feed.route for feed in island.network.feeds}
    routes = {link.id: link.route for link in site.connections}
    routes |= {changeover.id: changeover.route for changeover in site.changeovers}
    routes |= {source.id: source.route for source in site.sources}
    back = [Mention(subject.id, subject.route, "the place of the fault")]
    label = island.earth[subject.point.pe]
    if subject.way == "electrode":
        ends = {name for name, pe in island.network.electrodes if island.earth[pe] == label}
        back += [Mention(one.id, one.route, "an electrode of this frame") for one in site.electrodes if one.id in ends]
    for reference in island.references:
        if subject.way != "reference" or island.earth[reference.pe] == label:
            back.append(Mention(reference.id, reference.route, "back to the neutral"))
            break
    paths = []
    for fed in subject.feds:
        devices: dict[str, list[Mention]] = {}
        for passed in reversed(fed.passed):
            name = passed.device.id or f"{passed.connection}/{passed.device.position + 1}"
            devices.setdefault(passed.connection, []).append(
                Mention(name, passed.device.route, f"through the {passed.device.kind}")
            )
        path = [Mention(fed.source, sources[fed.source], "the source")]
        for element in _along(subject) if len(subject.feds) == 1 else list(devices):
            if element in routes and element not in (fed.source, subject.id):
                path.append(Mention(element, routes[element], "along this way"))
            path += devices.pop(element, [])
        paths.append((*path, *back))
    return tuple(paths)


def _along(fault: EarthFault) -> list[str]:
    """The cables and equipment on the way of a fault that one source feeds, from the source on."""
    far: dict[str, int] = {}
    distance = fault.island.distance
    for edge in fault.island.network.edges:
        if edge.element in fault.through and edge.a in distance and edge.b in distance:
            ends = max(distance[edge.a], distance[edge.b])
            far[edge.element] = min(far.get(edge.element, ends), ends)
    return sorted(far, key=lambda element: (far[element], element))


def _edits(document: Document, take_out: Iterable[tuple[Route, str]]) -> tuple[Edit, ...]:
    """A repair as edits of the text; none at all where one of its words does not stand in its value just once, among others."""
    edits = []
    for route, word in take_out:
        node = node_at(document, route)
        if node is None or not isinstance(node.value, str) or node.span.line != node.span.end_line:
            return ()
        line, start = node.span.line, node.span.column - 1
        text = document.lines[line - 1][start : node.span.end_column - 1]
        words = [match.span() for match in re.finditer(r"\w+", text)]
        at = [number for number, (a, b) in enumerate(words) if text[a:b] == word]
        if len(at) != 1 or len(words) < 2:
            return ()
        # the space before the word goes with it, or the one behind the first word
        begin = words[at[0] - 1][1] if at[0] else words[0][0]
        end = words[at[0]][1] if at[0] else words[1][0]
        edits.append(Edit(Span(line, start + begin + 1, line, start + end + 1), ""))
    return tuple(edits)


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
    """A consequence counts as a note while all its causes are found; without one of them it stands on its own.

    A waiver of the cause accepts the cause and what is nothing but an effect of it (the current of a double bond); whatever else
    follows from it then counts by its own level.
    """
    accepted = {(r.rule, r.subject): r for r in results if r.kind == "fail"}
    counting = {key: result for key, result in accepted.items() if result.waiver is None}
    settled = []
    for result in results:
        if result.kind == "fail" and result.because:
            known = accepted if result.effect else counting
            seen = {(result.rule, result.subject)}
            cause = known.get(result.because)
            while cause and cause.because in known and (cause.rule, cause.subject) not in seen:
                seen.add((cause.rule, cause.subject))
                cause = known.get(cause.because)
            alone = any(one not in known for one in result.causes)  # in some state nothing else explains it
            if cause is None or alone or (cause.rule, cause.subject) in seen:
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


def _islands(facts: Facts) -> tuple[tuple[IslandLine, ...], dict[Island, int]]:
    """Kinds of live island, and the number of the kind of each: cases that agree in sources, supplied places and references are one."""
    lines: dict[tuple[Any, ...], list[Island]] = {}
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
        lines.setdefault(key, []).append(island)
    found = tuple(
        IslandLine(sources, supplies, references, verdict, conditions_of(facts.network, [one.state for one in islands]))
        for (sources, supplies, references, verdict), islands in lines.items()
    )
    return found, {island: number for number, islands in enumerate(lines.values()) for island in islands}


# -- what `figures` shows ----------------------------------------------------------------------------------------------

_Row = TypeVar("_Row", FaultFigure, SupplyFigure, ConductorFigure, RcdFigure, FloatingFigure, FailureFigure)

_DECIMALS = 3
"""Decimals in V, A, % and s beyond which a value says nothing, whatever its three digits are."""

_FINE = 4
"""The same for the ohm of a loop and the A of its fault."""

_MILLI = 6
"""The same for A that are shown as mA."""

_COARSE = 1
"""The same for the V of a single failure, which small leakages drive too."""


def _figures(facts: Facts, rules: Sequence[Rule], curves: bool) -> Figures:
    """All computed figures; cases that agree in everything that is shown are one row. ``curves`` asks for those of devices too."""
    site = facts.installation
    links = (*site.connections, *(circuit.connection for circuit in site.circuits))
    params = _fault_params(facts, rules)
    faults = _fault_figures(facts, params)
    supply, conductors = _service_figures(facts)
    ids = [*_in_order(site), *(group.id for group in site.groups)]
    ids += [device.id for link in links for device in link.devices if device.id]
    ids += [fault.at for fault in faults]
    order = {identifier: number for number, identifier in enumerate(_in_order(site))}
    utilities = [source for source in site.sources if source.kind == "utility"]
    return Figures(
        tuple(sorted(faults, key=lambda row: (order[row.place], row.at, row.sources, row.conditions, row.second))),
        tuple(sorted(supply, key=lambda row: (order[row.place], row.at, row.sources, row.conditions))),
        tuple(sorted(conductors, key=lambda row: (order[row.connection], row.sources, row.conditions))),
        tuple(_rcd_figures(facts)),
        tuple(sorted(_floating_figures(facts), key=lambda row: (order[row.place], row.sources, row.conditions))),
        tuple(sorted(_failure_figures(facts), key=lambda row: (order[row.connection], row.sources, row.conditions))),
        params.get("minimum-voltage-factor", 1.0),
        params.get("fuses", "gG"),
        params.get("table", True),
        tuple(source.id for source in utilities),
        any(source.earthing in ("TN-S", "TN-C-S") for source in utilities) and bool(site.electrodes),
        tuple((s.id, s.kind) for s in site.sources if s.kind in ("generator", "inverter") and s.fault_limit is None),
        tuple(link.id for link in links if pe_size_assumed(link) and link.size) if site.stage != "as-built" else (),
        tuple(circuit.id for circuit in site.circuits if written_load(circuit) and circuit.power_factor is None),
        tuple(dict.fromkeys(ids)),
        _curves(facts, params, order) if curves else (),
    )


def _in_order(site: Installation) -> list[str]:
    """Ids from the boards outwards, each kind as it stands in the file."""
    kinds: tuple[Iterable[Any], ...] = (site.boards, site.changeovers, site.sources, site.circuits, site.connections)
    return [one.id for kind in kinds for one in kind]


def _fault_params(facts: Facts, rules: Sequence[Rule]) -> Params:
    """What the rulebook says of clearing earth faults: the parameters of the rule that asks for it; empty without one."""
    for rule in rules:
        params = rule.params_in(facts.rulebook)
        if rule.over == "earth_faults" and {"minimum-voltage-factor", "fuses"} <= params.keys():
            return params
    return {}


def _gathered(
    facts: Facts, subjects: Iterable[Any], name: Callable[[Any], Hashable], work: Callable[[Any], list[_Row]]
) -> dict[_Row, list[State]]:
    """The rows of all subjects with their states; each is worked out once for the cases that are wired alike."""
    wiring = {island: number for number, (_, islands) in enumerate(facts.wired) for island in islands}
    worked: dict[Hashable, list[_Row]] = {}
    found: dict[_Row, list[State]] = {}
    for subject in subjects:
        key = (wiring.get(subject.island, subject.island), name(subject))
        if key not in worked:
            worked[key] = work(subject)
        for row in worked[key]:
            found.setdefault(row, []).append(subject.island.state)
    return found


def _with_conditions(facts: Facts, found: dict[_Row, list[State]]) -> list[_Row]:
    return [row._replace(conditions=conditions_of(facts.network, states)) for row, states in found.items()]


def _rounded(value: float | None, decimals: int = _DECIMALS) -> float | None:
    """A value to three significant digits, as it is shown."""
    return None if value is None else abs(round(float(f"{value:.3g}"), decimals))


def _asked(ask: Callable[..., float | None], *of: object, decimals: int = _DECIMALS) -> tuple[float | None, str, str]:
    """A value as it is shown; else what is not written, or why there is no value."""
    try:
        return _rounded(ask(*of), decimals), "", ""
    except Unknown as lacking:
        return None, *_lacking(lacking)


def _lacking(lacking: Any) -> tuple[str, str]:
    return ("", lacking.reason) if lacking.reason else (lacking.what, "")


def _fed_by(island: Island, nodes: Iterable[int]) -> tuple[str, ...]:
    """The sources that energise some of the line nodes."""
    some = 0
    for node in nodes:
        some |= 1 << node
    return tuple(feed.id for feed in island.feeds if island.feed_lines[feed.id] & some)


def _fed_through(island: Island, element: str) -> tuple[str, ...]:
    """The sources that energise a line of a cable; those of the island where the cable has no line."""
    lines = [edge.a for edge in island.network.edges if edge.element == element and edge.core in LINES]
    return _fed_by(island, lines) if lines else tuple(feed.id for feed in island.feeds)


def _fault_figures(facts: Facts, params: Params) -> list[FaultFigure]:
    rows = _gathered(
        facts, facts.earth_faults, lambda fault: fault.point.written, lambda fault: _fault_rows(fault, params)
    )
    # of lines that agree in all that is shown, which one is cleared last is a matter of the last digit
    lines: dict[FaultFigure, set[str]] = {}
    found: dict[FaultFigure, list[State]] = {}
    for row, states in rows.items():
        lines.setdefault(row._replace(line=""), set()).add(row.line)
        found.setdefault(row._replace(line=""), []).extend(states)
    return _with_conditions(
        facts, {row._replace(line="/".join(sorted(lines[row]))): states for row, states in found.items()}
    )


def _fault_rows(fault: EarthFault, params: Params) -> list[FaultFigure]:
    """The figures of a fault: one row, and in an IT system one more for the second fault."""
    factor, fuses = params.get("minimum-voltage-factor", 1.0), params.get("fuses", "gG")
    earthing = "floating" if fault.floats else fault.system
    if earthing == "TT" and fault.way != "electrode":
        earthing = "-"
    limit_s = None
    if earthing in ("TN", "TT", "IT"):
        limit_s = fault.table_s if params.get("table", True) else params.get("longest-s")
    row = FaultFigure(
        place=fault.point.place,
        at=fault.point.written,
        conditions=(),
        sources=_fed_by(fault.island, fault.point.lines),
        line=fault.line,
        second=False,
        earthing=earthing,
        loop_ohm=None,
        current_a=None,
        device="",
        certain_s=None,
        possible_from_s=None,
        limit_s=None if earthing == "IT" else limit_s,
        verdict="-",
        touch_v=None,
        touch_met_v=None,
        limited_by="",
        open="",
        why="",
    )
    # a stand-in serves for the loop of a set that declares nothing
    bare = {s.id for s in fault.sources if s.kind == "generator" and s.fault_limit is None}
    guessed = not bare.isdisjoint(fed.source for fed in fault.feds)
    try:
        seen = row._replace(
            loop_ohm=None if guessed else _rounded(fault.loop_ohm, _FINE),
            current_a=_rounded(fault.current_a(factor), _FINE),
            touch_v=_rounded(fault.touch_v()),
            touch_met_v=_rounded(fault.touch_met_v()),
        )
    except Unknown as lacking:
        return [_left_open(row, lacking)]
    rows = [_cleared(seen, fault, factor, fuses)]
    if earthing == "IT":
        current_a = _rounded(fault.second[0] * factor, _FINE) if fault.second else None
        row = row._replace(second=True, limit_s=limit_s, current_a=current_a)
        try:
            rows.append(_cleared(row, fault, factor, fuses))
        except Unknown as lacking:
            rows.append(_left_open(row, lacking))
    return rows


def _left_open(row: FaultFigure, lacking: Any) -> FaultFigure:
    what, why = _lacking(lacking)
    return row._replace(verdict="open", open=what, why=why)


def _curves(facts: Facts, params: Params, order: Mapping[str, int]) -> tuple[ClearingCurve, ...]:
    """The devices on the way to each place, from each source; in an IT system those on the way of the second fault."""
    factor, fuses = params.get("minimum-voltage-factor", 1.0), params.get("fuses", "gG")
    worked: dict[Hashable, Curve] = {}
    found: dict[tuple[int, str, str, Curve, float | None], set[tuple[float, str]]] = {}
    done: set[Hashable] = set()
    wiring = {island: number for number, (_, islands) in enumerate(facts.wired) for island in islands}
    for fault in facts.earth_faults:
        asked = (wiring.get(fault.island, fault.island), fault.point.written)
        if asked in done or fault.floats:
            continue
        done.add(asked)
        try:
            feds = fault.met_by
            row = _fault_rows(fault, params)[-1]
        except Unknown:
            continue
        for fed in feds:
            curve = Curve(fed, fuses)
            curve = worked.setdefault((tuple(one.device.route for one in curve.passed), curve.shares), curve)
            current_a = _rounded(curve.current_a * (1.0 if fed.limited else factor), _FINE)
            if curve.passed and current_a:
                key = (order[fault.point.place], fault.point.written, fed.source, curve, row.limit_s)
                verdict = _verdict(fault, fed, curve, current_a, row)
                found.setdefault(key, set()).add((current_a, verdict))
    steps = {curve: curve.steps() for _, _, _, curve, _ in found}
    rows: dict[tuple[Any, ...], set[tuple[float, str]]] = {}
    for (place, at, source, curve, limit_s), currents in found.items():
        rows.setdefault((place, at, source, curve.names, steps[curve], limit_s), set()).update(currents)
    return tuple(
        ClearingCurve(at, source, names, stepped, limit_s, tuple(sorted(currents)))
        for (_, at, source, names, stepped, limit_s), currents in sorted(
            rows.items(), key=lambda item: (item[0][:4], repr(item[0][4:]))
        )
    )


def _verdict(fault: EarthFault, fed: Fed, curve: Curve, current_a: float, row: FaultFigure) -> str:
    """What becomes of one way within the limit; that of the whole fault where there is but one way."""
    if row.limit_s is None:
        return row.verdict
    opens = curve.at(current_a).within(row.limit_s)
    alone = len(fault.met_by) == 1
    if opens != "certain" and (row.verdict == "certain" if alone else bool(fault.declared(fed))):
        return "source"
    return row.verdict if alone else opens


def _cleared(row: FaultFigure, fault: EarthFault, factor: float, fuses: str) -> FaultFigure:
    """The row with what opens, when, and whether that is within the limit."""
    ways = fault.met_by if row.second else fault.feds
    cleared = fault.cleared(factor, fuses, second=row.second)
    row = row._replace(
        device=cleared.by,
        certain_s=_rounded(cleared.trip.certain_s),
        possible_from_s=_rounded(cleared.trip.possible_from_s),
        limited_by=cleared.limited_by,
    )
    if row.limit_s is None:
        return row
    late = fault.late(row.limit_s, factor, fuses)
    if not late:
        declared = [name for name in map(fault.declared, ways) if name]
        return row._replace(verdict="certain", device=cleared.by or ", ".join(dict.fromkeys(declared)))
    if all(one.lacking for one in late):
        return _left_open(row, late[0].lacking)
    if fault.unprotected:
        return row._replace(
            verdict="open", open=f"the device that protects {fault.id} against what {fault.unprotected} gives"
        )
    within = {one.trip.within(row.limit_s) for one in late}
    return row._replace(verdict="impossible" if "impossible" in within else "possible")


def _service_figures(facts: Facts) -> tuple[list[SupplyFigure], list[ConductorFigure]]:
    """Voltage drops and the voltage of N to PE at all places; the currents of neutrals and protective conductors."""
    network, site = facts.network, facts.installation
    drops = {(drop.island, drop.id): drop for drop in facts.drops}
    surplus = {one.island: one.surplus for one in facts.pe_currents}
    supply: dict[SupplyFigure, list[State]] = {}
    conductors: dict[ConductorFigure, list[State]] = {}
    for currents, islands in facts.wired:
        service, island = facts.service_of(currents, True), currents.island
        states = [one.state for one in islands]
        fed = [circuit for circuit in site.circuits if circuit.id in island.supplies]
        without = tuple(circuit.id for circuit in fed if not written_load(circuit))
        loaded = len(without) < len(fed)

        def n_pe_v(n: int, pe: int, service: InService = service) -> float | None:
            return service.both(lambda found, _: service.across_v(found, n, pe))

        def current_a(link: str, core: str, service: InService = service) -> float | None:
            return service.both(lambda _, flow: _size(flow.element(link, core)))

        for point in currents.points:
            drop = drops.get((island, point.place)) if point.sort == "circuit" else None
            n = network.find(point.place, point.terminal, "N")
            ratio = _asked(lambda drop=drop: drop and 100 * drop.ratio)
            volts = _asked(n_pe_v, n, point.pe) if n >= 0 and loaded else _asked(lambda: None)
            if ratio == volts == (None, "", ""):
                continue
            left_open = ratio[1:] if any(ratio[1:]) else volts[1:]
            fed_by = _fed_by(island, point.lines)
            row = SupplyFigure(point.place, point.written, (), fed_by, ratio[0], volts[0], without, *left_open)
            supply.setdefault(row, []).extend(states)
        try:
            elements = service.flows[0].elements if loaded else {}
        except Unknown:
            continue  # there is no solution, as the rows of the places say
        for link in site.connections:
            core = next((core for core in ("N", "PEN") if (link.id, core) in elements), "")
            pe = (link.id, "PE") in elements
            neutral = _asked(current_a, link.id, core) if core else _asked(lambda: None)
            protective = _asked(current_a, link.id, "PE") if pe else _asked(lambda: None)
            left_open = neutral[1:] if any(neutral[1:]) else protective[1:]
            if neutral[0] or protective[0] or any(left_open):
                carrying = ConductorFigure(
                    link.id,
                    (),
                    _fed_through(island, link.id),
                    core,
                    neutral[0],
                    protective[0],
                    surplus.get(island, ""),
                    without,
                    *left_open,
                )
                conductors.setdefault(carrying, []).extend(states)
    return _with_conditions(facts, supply), _with_conditions(facts, conductors)


def _size(value: complex | None) -> float | None:
    return None if value is None else abs(value)


def _rcd_figures(facts: Facts) -> list[RcdFigure]:
    def rows(rcd: RcdInService) -> list[RcdFigure]:
        no_leakage = tuple(circuit.id for circuit in rcd.beyond if circuit.leakage_a is None)
        without = tuple(circuit.id for circuit in rcd.beyond if not written_load(circuit))
        nothing = (None, f"the leakage of {no_leakage[0]}", "") if len(no_leakage) == len(rcd.beyond) > 0 else None
        standing = nothing or _asked(lambda: rcd.standing_a, decimals=_MILLI)
        # without any leakage there is nothing to sum, unless neutral current goes past it
        total = (not rcd.diverts and nothing) or _asked(lambda: rcd.total_a, decimals=_MILLI)
        left_open = standing[1:] if any(standing[1:]) else total[1:]
        fed_by = _fed_by(rcd.island, (facts.network.edges[number].a for number in rcd.rcd.lines))
        values = (rcd.device.residual_a, standing[0], total[0])
        return [RcdFigure(rcd.id, (), fed_by, *values, rcd.diverts, rcd.behind, no_leakage, without, *left_open)]

    number = {rcd.name: number for number, rcd in enumerate(facts.network.rcds)}
    found = _gathered(facts, facts.rcds_in_service, lambda rcd: (number[rcd.rcd.name], rcd.diverts, rcd.behind), rows)
    order = list(dict.fromkeys(rcd.device.id or rcd.connection for rcd in facts.network.rcds))
    return sorted(
        _with_conditions(facts, found), key=lambda row: (order.index(row.id), row.sources, row.conditions, row.diverts)
    )


def _floating_figures(facts: Facts) -> list[FloatingFigure]:
    def band(value: tuple[float, float] | None, decimals: int = _DECIMALS) -> tuple[float, float] | None:
        return None if value is None else (_rounded(value[0], decimals) or 0.0, _rounded(value[1], decimals) or 0.0)

    def rows(reading: FloatingReading) -> list[FloatingFigure]:
        digital, low_impedance = (
            tuple(band((value, value) if isinstance(value, float) else value) for value in values)
            for values in (reading.digital, reading.low_impedance)
        )
        lines = next((part.lines for part in facts.network.parts if part.id == reading.id), ())
        fed_by = _fed_by(reading.island, lines) or tuple(feed.id for feed in reading.island.feeds)
        return [
            FloatingFigure(
                reading.id,
                (),
                fed_by,
                reading.line,
                digital,
                low_impedance,
                band(reading.touch_a, _MILLI),
                not reading.filters,
            )
        ]

    return _with_conditions(facts, _gathered(facts, facts.floating, lambda one: one[3:], rows))


def _failure_figures(facts: Facts) -> list[FailureFigure]:
    def highest(found: Iterable[tuple[str, float]]) -> tuple[str, float | None]:
        volts = [(_rounded(volts, _COARSE) or 0.0, place) for place, volts in found]
        best = max((value for value, _ in volts), default=None)
        return min((place for value, place in volts if value == best), default=""), best

    def rows(failure: Failure) -> list[FailureFigure]:
        row = FailureFigure(
            failure.id,
            failure.core,
            (),
            _fed_through(failure.island, failure.id),
            *("", None, "", None),
            _rounded(failure.nominal_v) or 0.0,
            "",
            "",
        )
        try:
            (frame, frame_v), (load, load_v) = highest(failure.frames), highest(failure.loads)
        except Unknown as lacking:
            what, why = _lacking(lacking)
            return [row._replace(open=what, why=why)]
        rises = bool(frame_v or load_v)
        return [row._replace(frame=frame, frame_v=frame_v, load=load, load_v=load_v)] if rises else []

    return _with_conditions(facts, _gathered(facts, facts.failures, lambda one: (one.id, one.core), rows))
