"""What all reporters share: the order of results, conditions in words, and the count of what was concluded."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from onebond.result import LEVELS, WRITTEN_FOR, Condition, IslandLine, Named, Problem, Report, Result, Site
from onebond.span import Span, in_order

ALTERNATIVES_SHOWN = 3
"""Alternative conditions that a message for people lists before it says how many more there are."""

REFUSED = "description-refused"
"""The rule under which what keeps a description from being read is reported."""

RULES_SHOWN = 3
"""Rules that the line of a gap names before it says how many more there are."""

EXEMPT_SHOWN = 8
"""Subjects that an exception names before it says how many more there are."""

# Values that read well after the name alone; every other value is a position of a changeover.
_PLAIN_VALUES = frozenset(
    (
        *("present", "absent", "detached", "running", "standing"),
        *("off", "inverting", "passing", "open", "closed", "mated", "unmated"),
    )
)

Devices = tuple[tuple[str, str], ...]
"""Devices that have no id: their variable, and their kind (``Site.devices``)."""

Key = tuple[str, str]
"""What identifies a result within a site: rule and subject."""


class Relied(NamedTuple):
    """An exception of the rulebook that verdicts of one rule rest on, and those verdicts."""

    rule: str
    reason: str
    remains: str
    results: tuple[Result, ...]
    conditions: tuple[Condition, ...]  # of all of them, each alternative once
    span: Span


class Tally(NamedTuple):
    """What one site, or all sites of a run, came to."""

    levels: tuple[int, ...]  # findings by level, in the order of LEVELS; without consequences and waived ones
    consequences: int
    waived: int
    not_proven: int
    review: int
    exempt: int  # verdicts that rest on an exception of the rulebook
    rules: int
    subjects: int
    cases: int
    problems: int
    faults: int
    verdict: str  # internal error | refused | nothing checked | findings | not proven | review | clean


class Cause(NamedTuple):
    """A finding with what follows from it, each with its depth: what follows from a consequence stands below that."""

    result: Result
    follows: tuple[tuple[int, Result], ...]


class Findings(NamedTuple):
    """The findings of a site, told apart: root causes and waived ones."""

    causes: tuple[Cause, ...]
    waived: tuple[Result, ...]


class Gap(NamedTuple):
    """What is not written, or why nothing can be concluded, and the verdicts that this leaves open."""

    what: str
    span: Span
    results: tuple[Result, ...]
    level: str  # the gravest level of their rules under the rulebook of the site


def speech(rulebook: str, names: Named = ()) -> Callable[[str], str]:
    """What puts a text of a report into the words of a rulebook; ``names`` is what the description names."""
    if rulebook in ("", WRITTEN_FOR):
        return str
    from onebond.wording import Wording  # only for those that speak otherwise

    return Wording(rulebook, names).say


def glossary(rulebook: str) -> tuple[tuple[str, str], ...]:
    """Words of a description, which are the same under every rulebook, and what the trade calls them under this one."""
    if rulebook in ("", WRITTEN_FOR):
        return ()
    from onebond.wording import NOTES

    return NOTES.get(rulebook, ())


def ordered_sites(report: Report) -> list[Site]:
    """The sites by path."""
    return sorted(report.sites, key=lambda site: (site.path, site.name))


def ordered(results: Iterable[Result]) -> list[Result]:
    """Results in the order of ``order``."""
    return sorted(results, key=order)


def order(result: Result) -> tuple[str, int, int, str, str, str, str, str]:
    """Where a result comes: by file, line, column, rule and subject; the rest only so that no two differ by chance."""
    place = result.span
    told = (result.rule, result.subject, result.kind, result.message, repr(result))
    return (place.file, place.line, place.column, *told)


def file_of(site: Site, span: Span) -> str:
    """The path of the file that a span stands in: that of the site, or one of its parts."""
    return span.file or site.path


def lines_of(site: Site, span: Span) -> tuple[str, ...]:
    """The lines of that file."""
    if not span.file:
        return site.lines
    return next((part.lines for part in site.parts if part.path == span.file), ())


def part_files(site: Site) -> list[dict[str, str]]:
    """The parts of a site and their hashes, for programs."""
    return [{"path": part.path, "sha256": part.sha256} for part in site.parts]


def findings(site: Site) -> Findings:
    """Tell causes from consequences, the gravest first and those about the neutral before others of their level.

    One whose cause is not shown (waived, or not there) stands for itself.
    """
    failed = ordered(r for r in site.results if r.kind == "fail")
    live = [r for r in failed if r.waiver is None]
    by_cause: dict[Key, list[int]] = {}
    for at, result in enumerate(live):
        if result.because is not None:
            by_cause.setdefault(result.because, []).append(at)
    keys = {(r.rule, r.subject) for r in live}
    roots = [at for at, result in enumerate(live) if result.because not in keys]
    causes: list[Cause] = []
    reached: set[int] = set()
    for root in [*roots, *range(len(live))]:  # the second run is for results that name each other: none may get lost
        if root in reached:
            continue
        reached.add(root)
        follows: list[tuple[int, Result]] = []
        waiting = [(0, root)]  # an own stack, as chains may be long
        while waiting:
            depth, at = waiting.pop()
            if at != root:
                follows.append((depth, live[at]))
            next_ones = [n for n in by_cause.get((live[at].rule, live[at].subject), ()) if n not in reached]
            reached.update(next_ones)
            waiting += [(depth + 1, n) for n in reversed(next_ones)]
        causes.append(Cause(live[root], tuple(follows)))
    causes.sort(key=lambda cause: (_grade(cause.result.level), cause.result.rank, order(cause.result)))
    return Findings(tuple(causes), tuple(r for r in failed if r.waiver is not None))


def relied(site: Site) -> list[Relied]:
    """The exceptions that verdicts rest on, those of the same rule and words together, by the first line."""
    alike: dict[tuple[str, str, str], list[tuple[Result, tuple[Condition, ...]]]] = {}
    for result in ordered(one for one in site.results if one.exemptions):
        for reason, remains, conditions in result.exemptions:
            alike.setdefault((result.rule, reason, remains), []).append((result, conditions))
    return [
        Relied(
            *key,
            tuple(result for result, _ in members),
            tuple(dict.fromkeys(one for _, conditions in members for one in conditions)),
            members[0][0].span,
        )
        for key, members in alike.items()
    ]


def live_from(island: IslandLine) -> str:
    """What feeds a live system; sources that share no more than a neutral with it are told apart."""
    own = [source for source in island.sources if source not in island.apart]
    told = ", ".join(own) or "no source"
    return f"{told}; {', '.join(island.apart)} (joined by the neutral only)" if island.apart else told


def subjects(one: Relied) -> str:
    """The subjects that an exception is relied on for, the first few of them by name."""
    return shortened(tuple(result.subject for result in one.results), EXEMPT_SHOWN)


def ordered_problems(site: Site) -> list[Problem]:
    """What keeps a description from being read, by line and column."""
    return sorted(site.problems, key=lambda problem: (in_order(problem.span), problem.message, problem.hint))


def levels(report: Report, site: Site) -> dict[str, str]:
    """The level of each rule under the rulebook of a site, ``off`` where the rulebook does not have it."""
    return {page.id: dict(page.levels).get(site.rulebook, page.level) for page in report.rules}


def gaps(site: Site, known: Mapping[str, str]) -> list[Gap]:
    """The open results by what they lack, those of the gravest rules first; ``known`` is the level of each rule.

    A rule of which nothing is known counts as one of level error, as it does for the exit status.
    """
    alike: dict[str, list[tuple[Span, Result]]] = {}
    for result in ordered(r for r in site.results if r.kind == "open"):
        place = result.mentions[0][1] if result.lacking and result.mentions else result.span
        alike.setdefault(result.lacking or result.message, []).append((place, result))
    found = []
    for what, opened in alike.items():
        gravest = min((_grade(known.get(result.rule, "error")) for _, result in opened), default=len(LEVELS))
        level = LEVELS[gravest] if gravest < len(LEVELS) else "none"
        found.append(
            Gap(what, min((span for span, _ in opened), key=in_order), tuple(result for _, result in opened), level)
        )
    return sorted(found, key=lambda gap: (_grade(gap.level), in_order(gap.span), gap.what))


def _grade(level: str) -> int:
    names: tuple[str, ...] = LEVELS
    return names.index(level) if level in names else len(names)


def verdicts(gap: Gap) -> str:
    """How many verdicts a gap leaves open, and of which rules; their level where it is not error."""
    rules = tuple(dict.fromkeys(result.rule for result in gap.results))
    told = f"{count(len(gap.results), 'verdict')} of {shortened(rules, RULES_SHOWN)}"
    subjects = {result.subject for result in gap.results}
    if len(subjects) == 1:
        told += f" on {min(subjects)}"
    return told if gap.level == "error" else f"{told} ({gap.level})"


def tally(site: Site) -> Tally:
    """Count what the rules concluded on one site."""
    found = findings(site)
    levels = tuple(sum(1 for c in found.causes if c.result.level == level) for level in LEVELS)
    judged = [r for r in site.results if came_to_a_verdict(r)]
    opened = sum(1 for r in judged if r.kind == "open") + len(site.not_proven)
    review = sum(1 for r in judged if r.kind == "review")
    problems = len(site.problems) + site.problems_left_out
    if site.faults:
        verdict = "internal error"
    elif problems:
        verdict = "refused"
    elif found.causes:
        verdict = "findings"
    elif opened:
        verdict = "not proven"
    elif not judged:
        verdict = "nothing checked"
    else:
        verdict = "review" if review else "clean"
    return Tally(
        levels,
        sum(len(cause.follows) for cause in found.causes),
        len(found.waived),
        opened,
        review,
        sum(1 for r in site.results if r.exemptions),
        len(rules_judged(site)),
        len({r.subject for r in judged}),
        site.cases,
        problems,
        len(site.faults),
        verdict,
    )


def total(totals: Sequence[Tally], sites: Iterable[Site]) -> Tally:
    """What several sites came to together; a rule counts once however many sites it judged."""
    return Tally(
        tuple(sum(one.levels[index] for one in totals) for index in range(len(LEVELS))),
        sum(one.consequences for one in totals),
        sum(one.waived for one in totals),
        sum(one.not_proven for one in totals),
        sum(one.review for one in totals),
        sum(one.exempt for one in totals),
        len({rule for site in sites for rule in rules_judged(site)}),
        sum(one.subjects for one in totals),
        sum(one.cases for one in totals),
        sum(one.problems for one in totals),
        sum(one.faults for one in totals),
        "",
    )


def rules_judged(site: Site) -> set[str]:
    """The rules that came to a verdict on this site, an open one included."""
    return {result.rule for result in site.results if came_to_a_verdict(result)}


def came_to_a_verdict(result: Result) -> bool:
    """Whether a rule applied to a subject: an exception that it rests on was looked at too."""
    return result.kind != "notApplicable" or bool(result.exemptions)


def condition(alternative: Condition, devices: Devices = ()) -> str:
    """One alternative in words: ``shore absent; hybrid inverting; ts on island``."""
    if not alternative:
        return "in every state"
    kinds = dict(devices)
    return "; ".join([f"{_name(name, kinds)} {_values(values)}" for name, values in alternative])


def _name(name: str, kinds: dict[str, str]) -> str:
    """A variable as people speak of it; a device without an id is known by its kind and its place in a connection."""
    connection, _, position = name.partition("/")
    if not position:
        return name
    if name not in kinds:
        return f"device {position} of {connection}"
    alike = [other for other, kind in kinds.items() if kind == kinds[name] and other.partition("/")[0] == connection]
    return f"the {kinds[name]} in {connection}" if alike == [name] else f"{kinds[name]} {position} in {connection}"


def alternatives(conditions: tuple[Condition, ...], devices: Devices = ()) -> list[str]:
    """The alternatives in words, one text each; past the number shown a last one says how many more there are."""
    if not all(conditions):  # one of them holds in every state: the others add nothing
        return [condition(())]
    shown = [condition(alternative, devices) for alternative in conditions[:ALTERNATIVES_SHOWN]]
    left = len(conditions) - len(shown)
    return [*shown, f"and {left} more"] if left else shown


def count(number: int, one: str, many: str = "") -> str:
    """A number with its word: ``1 error``, ``2 errors``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def readings(entries: int, values: int) -> str:
    """How many values were read, and in how many entries of a file they stand: ``12 values in 10 entries``."""
    return f"{count(values, 'value')} in {count(entries, 'entry', 'entries')}"


def shortened(names: tuple[str, ...], limit: int) -> str:
    """Names in a row, the first ``limit`` of them and how many more there are."""
    if len(names) <= limit:
        return ", ".join(names)
    return f"{', '.join(names[:limit])} and {len(names) - limit} more"


def _values(values: tuple[str, ...]) -> str:
    if all("+" in value for value in values):
        pairs = dict.fromkeys(" and ".join(sorted(value.split("+"))) for value in values)
        return f"changing over between {' or '.join(pairs)}"
    text = " or ".join(values)
    if all(value in _PLAIN_VALUES for value in values):
        return text
    positions = [value for value in values if value != "off"]  # in that position a changeover is on nothing
    told = f"on {' or '.join(positions)}"
    return f"off or {told}" if len(positions) < len(values) else told
