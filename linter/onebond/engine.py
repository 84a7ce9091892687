"""Rules times subjects gives results: merges operating states, applies waivers, marks what is not proven, isolates crashes.

The engine knows no rule by name.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from onebond.conditions import conditions_of
from onebond.document import Document, node_at, span_at
from onebond.facts.drawing import Occurrence, kinds_of_island
from onebond.facts.drawing import drawing as drawing_of
from onebond.figuring import figures_of
from onebond.model import Accepted, Installation
from onebond.network import Network
from onebond.result import (
    WRITTEN_FOR,
    Clause,
    Condition,
    Edit,
    Exemption,
    Fault,
    IslandLine,
    Kind,
    Level,
    Mention,
    Result,
    RulePage,
    Site,
    StateFigures,
    Waiver,
)
from onebond.rule import (
    RULEBOOKS,
    EarthFault,
    Example,
    Exempt,
    Facts,
    Finding,
    Island,
    NotApplicable,
    Param,
    Refused,
    Review,
    Rule,
    Unknown,
)
from onebond.span import Route, Span, in_order
from onebond.states import LIMIT, State

TYPE_CHECKING = False
if TYPE_CHECKING:
    from onebond.meter.readings import Readings

TYPE_CHECKING = False
if TYPE_CHECKING:
    from onebond.meter.readings import Readings


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
    readings: Readings | None = None,
    refused: tuple[Refused, ...] = (),
) -> Site:
    """Inspect one installation under its rulebook, or under another one that is asked for.

    ``readings`` are what meters showed there, ``refused`` those of them that make no sense; the document holds both.

    ``today`` (ISO 8601) decides which waivers have expired; ``islands`` asks for the list of live islands too, ``figures``
    for all computed figures, ``drawing`` for what a diagram shows, ``digest`` for the hash of the file (which costs a hook more
    than it is worth).  Raises nothing that a rule raises: that is a Fault.
    """
    book = rulebook or installation.rulebook
    facts = Facts(installation, book, limit, readings, refused, today)
    results: list[Result] = []
    faults: list[Fault] = []
    lines, kinds = _islands(facts) if islands else ((), {})
    occurring: Occurring = {}
    for rule in rules:
        level = rule.level_in(book)
        if level != "off":
            _judge(rule, level, facts, document, results, faults, kinds, occurring)
    results = _settle([_accept(result, installation.waivers, today) for result in results])
    results.extend(_waivers(installation, document, results, rules, today))
    ranks = {rule.id: number for number, rule in enumerate(rules)}
    results = [result._replace(rank=ranks.get(result.rule, len(ranks))) for result in results]
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
        (
            *(
                f"{source}: more than {limit} cases of its live island; its verdicts are open"
                for source in facts.survey.not_proven
            ),
            # of what is judged by what is found in a circuit nothing would be left to be open
            *(
                f"{source}: the site has more different circuits than the stated limit; short-circuit currents, normal service"
                " and single failures of its islands are not worked out"
                for source in facts.not_worked_out
            ),
        ),
        figures=figures_of(facts, rules, drawing) if figures else None,
        drawing=drawing_of(facts, document, _occurrences(results, occurring)) if drawing else None,
        revision=installation.revision or "",
        parts=document.part_files(digest),
    )


Occurring = dict[tuple[str, str], frozenset[Island]]
"""The cases that each finding occurs in, by rule and subject."""

_WEIGHTS = {"error": 10_000, "warning": 100, "note": 1}


def _occurrences(results: Sequence[Result], occurring: Occurring) -> tuple[Occurrence, ...]:
    """The findings with their cases, for whoever chooses which case is drawn."""
    return tuple(
        Occurrence(one.rule, one.subject, _WEIGHTS.get(one.level, 1), occurring[one.rule, one.subject])
        for one in results
        if one.kind == "fail" and occurring.get((one.rule, one.subject))
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


def pages(
    rules: Iterable[Rule], rulebook: str | None = None, examples: bool = False, words: str | None = None
) -> tuple[RulePage, ...]:
    """The manual pages as data for one rulebook; without one, with the references and parameters of all.

    With ``examples`` each page shows the edits that the rule's examples make, those that it finds and those that pass.  They are in the
    words of the rulebook, or of the one that ``words`` names.
    """
    say = _speech(words or rulebook or WRITTEN_FOR)
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
                say(rule.title),
                say(rule.section("Checks")),
                say(rule.section("Danger")),
                say(rule.section("Remedy")),
                refs or ("no clause in this rulebook",),
                tuple((book, rule.level_in(book)) for book in RULEBOOKS),
                tuple((param.name, say(_value(param, rulebook)), say(param.text)) for param in rule.params),
                _shown(rule, rulebook, False) if examples else "",
                _shown(rule, rulebook, True) if examples else "",
                tuple(Clause(*ref) for ref in shown),
            )
        )
    return (*found, *_OWN_PAGES)


def _speech(rulebook: str) -> Callable[[str], str]:
    if rulebook == WRITTEN_FOR:
        return str
    from onebond.wording import Wording  # only for those that speak otherwise

    return Wording(rulebook).say


def _value(param: Param, rulebook: str | None) -> str:
    """The value of a parameter under a rulebook; without one its default, and the rulebooks that differ."""
    if rulebook:
        return _spoken(param.by_rulebook.get(rulebook, param.value))
    return "; ".join((_spoken(param.value), *(f"{book}: {_spoken(v)}" for book, v in param.by_rulebook.items())))


def _spoken(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(map(_spoken, value)) if not hasattr(value, "_fields") else str(value)
    return f"{value:g}" if isinstance(value, float) else str(value)


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
        edits = (line for edit in example.replace for line in _edit(*edit))
        blocks.append("\n".join((f"{said}: {found}", *edits, *beside(example))))
    return "\n\n".join(blocks)


def beside(example: Example) -> list[str]:
    """The readings that are put beside the base, as lines in; nothing where there are none."""
    return [f"+ {line}" for line in example.readings.splitlines()]


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

    def __init__(self, route: Route, span: Span | None = None) -> None:
        self.route = route
        self.span = span  # where the subject knows it better than its route does
        self.failing: list[tuple[Any, Finding]] = []
        self.passing: list[Any] = []
        self.reviews: list[tuple[Any, Review]] = []
        self.exceptions: list[tuple[Any, NotApplicable | Exempt]] = []
        self.unknown: list[tuple[Any, Unknown]] = []


def _judge(
    rule: Rule,
    level: str,
    facts: Facts,
    document: Document,
    results: list[Result],
    faults: list[Fault],
    kinds: Mapping[Island, int],
    occurring: Occurring,
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
        span = subject.span if isinstance(subject, Refused) else None
        entry = by_subject.setdefault(identifier, _Verdicts(route, span))
        if isinstance(verdict, Finding):
            entry.failing.append((subject, verdict))
        elif isinstance(verdict, Review):
            entry.reviews.append((subject, verdict))
        elif isinstance(verdict, NotApplicable | Exempt):
            entry.exceptions.append((subject, verdict))
        else:
            entry.passing.append(subject)
    refs = tuple(str(ref) for ref in rule.refs if ref.rulebook in (facts.rulebook, "all"))
    for identifier, verdicts in by_subject.items():
        if identifier not in broken:
            results.append(_merge(rule, level, identifier, verdicts, facts, document, refs, kinds, occurring))
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
    occurring: Occurring,
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
        if figures:  # what a number rests on may stand in a type, which is then the place to put it right
            mentions += _types(document, verdicts.route)
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
        message = _reasons(verdicts)
        concerned = [subject for subject, _ in verdicts.exceptions]
    elif verdicts.exceptions:
        message = f"as it should be; exception applied in some cases: {_reasons(verdicts)}"
    states = [subject.island.state for subject in concerned if subject.island is not None]
    occurring[rule.id, identifier] = frozenset(one.island for one in concerned if one.island is not None)
    conditions: tuple[Condition, ...] = ()
    if states and len(states) == len(concerned) and kind in ("fail", "review", "open"):
        conditions = conditions_of(facts.network, states)
    return Result(
        rule.id,
        kind,
        shown,
        identifier,
        verdicts.route,
        verdicts.span or span_at(document, verdicts.route, True),
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
        exemptions=_exemptions(facts.network, verdicts),
    )


_LEVELS = ("error", "warning", "note", "none")


def _types(document: Document, route: Route) -> tuple[Mention, ...]:
    """The types that a thing and what is in it take entries from."""
    origins = (one.origin[:3] for way, one in document.inherited.items() if way[: len(route)] == route)
    return tuple(
        Mention(str(origin[2]), origin, "a type that is used here, and may be used elsewhere too")
        for origin in dict.fromkeys(origins)
    )


def _reasons(verdicts: _Verdicts) -> str:
    """Why a rule does not apply, of each case once."""
    return "; or ".join(dict.fromkeys(found.reason for _, found in verdicts.exceptions))


def _exemptions(network: Network, verdicts: _Verdicts) -> tuple[Exemption, ...]:
    """The exceptions that a subject rests on, each with its states."""
    alike: dict[Exempt, list[Any]] = {}
    for subject, found in verdicts.exceptions:
        if isinstance(found, Exempt):
            alike.setdefault(found, []).append(subject)
    made = []
    for found, subjects in alike.items():
        states = [subject.island.state for subject in subjects if subject.island is not None]
        conditions = conditions_of(network, states) if len(states) == len(subjects) else ()
        made.append(Exemption(found.reason, found.remains, conditions))
    return tuple(made)


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
        for element in _along(subject, fed.source) if len(subject.feds) == 1 else list(devices):
            if element in routes and element not in (fed.source, subject.id):
                path.append(Mention(element, routes[element], "along this way"))
            path += devices.pop(element, [])
        paths.append((*path, *back))
    return tuple(paths)


def _along(fault: EarthFault, source: str) -> list[str]:
    """The cables and equipment on the way of a fault that one source feeds, from that source on."""
    far: dict[str, int] = {}
    feed = next(feed for feed in fault.island.feeds if feed.id == source)
    distance = fault.island.distance_from((*feed.lines, *feed.neutrals))
    for edge in fault.island.network.edges:
        if edge.element in fault.through and edge.a in distance and edge.b in distance:
            ends = max(distance[edge.a], distance[edge.b])
            far[edge.element] = min(far.get(edge.element, ends), ends)
    return sorted(far, key=lambda element: (far[element], element))


def _edits(document: Document, take_out: Iterable[tuple[Route, str]]) -> tuple[Edit, ...]:
    """A repair as edits of the text; none at all where one of its words does not stand in its value just once, among others.

    None either where the value stands in a type: the repair is meant for one place, and the type serves others too.
    """
    edits = []
    for route, word in take_out:
        node = node_at(document, route)
        if any(route[:length] in document.inherited for length in range(1, len(route) + 1)):
            return ()  # it stands in a type, which others share
        if node is None or not isinstance(node.value, str) or node.span.line != node.span.end_line:
            return ()
        line, start = node.span.line, node.span.column - 1
        text = document.lines_of(node.span)[line - 1][start : node.span.end_column - 1]
        words = [match.span() for match in re.finditer(r"\w+", text)]
        at = [number for number, (a, b) in enumerate(words) if text[a:b] == word]
        if len(at) != 1 or len(words) < 2:
            return ()
        # the space before the word goes with it, or the one behind the first word
        begin = words[at[0] - 1][1] if at[0] else words[0][0]
        end = words[at[0]][1] if at[0] else words[1][0]
        edits.append(Edit(Span(line, start + begin + 1, line, start + end + 1, node.span.file), ""))
    return tuple(edits)


def _distinct(mentions: Iterable[Mention]) -> tuple[Mention, ...]:
    found: dict[tuple[str, Route], Mention] = {}
    for mention in mentions:
        found.setdefault((mention.subject, mention.route), mention)
    return tuple(found.values())


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
    return (in_order(result.span), result.rule, result.subject, result.kind)


# -- what `states` shows -----------------------------------------------------------------------------------------------


def _islands(facts: Facts) -> tuple[tuple[IslandLine, ...], dict[Island, int]]:
    """Kinds of live island with the conditions of each, and the number of the kind of each island."""
    kinds = kinds_of_island(facts)
    found = tuple(
        IslandLine(
            kind.sources,
            kind.supplies,
            kind.references,
            kind.verdict,
            conditions_of(facts.network, [one.state for one in kind.islands]),
            kind.electrodes,
            kind.apart,
        )
        for kind in kinds
    )
    return found, {island: number for number, kind in enumerate(kinds) for island in kind.islands}
