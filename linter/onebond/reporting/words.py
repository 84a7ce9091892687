"""What all reporters share: the order of results, conditions in words, and the count of what was concluded."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from onebond.result import LEVELS, Condition, Report, Result, Site

ALTERNATIVES_SHOWN = 3
"""Alternative conditions that a message for people lists before it says how many more there are."""

# Values that read well after the name alone; every other value is a position of a changeover.
_PLAIN_VALUES = frozenset(
    (
        *("present", "absent", "detached", "running", "standing"),
        *("off", "inverting", "passing", "open", "closed", "mated", "unmated"),
    )
)

Key = tuple[str, str]
"""What identifies a result within a site: rule and subject."""


class Tally(NamedTuple):
    """What one site, or all sites of a run, came to."""

    levels: tuple[int, ...]  # findings by level, in the order of LEVELS; without consequences and waived ones
    consequences: int
    waived: int
    not_proven: int
    review: int
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


def ordered_sites(report: Report) -> list[Site]:
    """The sites by path."""
    return sorted(report.sites, key=lambda site: (site.path, site.name))


def ordered(results: Iterable[Result]) -> list[Result]:
    """Results in the order of ``order``."""
    return sorted(results, key=order)


def order(result: Result) -> tuple[int, int, str, str, str, str, str]:
    """Where a result comes: by line, column, rule and subject; the rest only so that no two differ by chance."""
    place = result.span
    return (place.line, place.column, result.rule, result.subject, result.kind, result.message, repr(result))


def findings(site: Site) -> Findings:
    """Tell causes from consequences; one whose cause is not shown (waived, or not there) stands for itself."""
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
    causes.sort(key=lambda cause: order(cause.result))
    return Findings(tuple(causes), tuple(r for r in failed if r.waiver is not None))


def tally(site: Site) -> Tally:
    """Count what the rules concluded on one site."""
    found = findings(site)
    levels = tuple(sum(1 for c in found.causes if c.result.level == level) for level in LEVELS)
    judged = [r for r in site.results if r.kind != "notApplicable"]
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
        len(rules_judged(site)),
        len({r.subject for r in judged}),
        site.cases,
        problems,
        len(site.faults),
        verdict,
    )


def rules_judged(site: Site) -> set[str]:
    """The rules that came to a verdict on this site, an open one included."""
    return {result.rule for result in site.results if result.kind != "notApplicable"}


def condition(alternative: Condition) -> str:
    """One alternative in words: ``shore absent; hybrid inverting; ts on island``."""
    if not alternative:
        return "in every state"
    return "; ".join([f"{_name(name)} {_values(values)}" for name, values in alternative])


def _name(name: str) -> str:
    """A variable as people speak of it; a device without an id is known by its place in a connection."""
    connection, _, position = name.partition("/")
    return f"device {position} of {connection}" if position else name


def alternatives(conditions: tuple[Condition, ...]) -> list[str]:
    """The alternatives in words, one text each; past the number shown a last one says how many more there are."""
    if not all(conditions):  # one of them holds in every state: the others add nothing
        return [condition(())]
    shown = [condition(alternative) for alternative in conditions[:ALTERNATIVES_SHOWN]]
    left = len(conditions) - len(shown)
    return [*shown, f"and {left} more"] if left else shown


def count(number: int, one: str, many: str = "") -> str:
    """A number with its word: ``1 error``, ``2 errors``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


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
    return text if all(value in _PLAIN_VALUES for value in values) else f"on {text}"
