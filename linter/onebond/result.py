"""Plain results: what the engine concludes and reporters lay out.

Everything here is data without behaviour that matters to a verdict.  ``kind`` is a result kind of SARIF 2.1.0 section
3.27.9 and ``level`` one of section 3.27.10.
"""

from typing import Literal, NamedTuple

from onebond.span import Route, Span

Kind = Literal["fail", "pass", "open", "review", "notApplicable"]
Level = Literal["error", "warning", "note", "none"]

LEVELS: tuple[Level, ...] = ("error", "warning", "note", "none")
"""Levels, the gravest first."""

# One way in which something happens: variable -> the values it may have ("any of"); variables left out do not matter.
Condition = tuple[tuple[str, tuple[str, ...]], ...]


class Problem(NamedTuple):
    """Something that keeps a description from being read: always with its place and, where there is one, a hint."""

    span: Span
    message: str
    hint: str = ""
    route: Route = ()


class Mention(NamedTuple):
    """Another party of a result: its id as written in the file, where it is written, and a few words on its part."""

    subject: str
    route: Route
    text: str


class Waiver(NamedTuple):
    """An accepted finding: who accepted it, why, and until which day (ISO 8601)."""

    rule: str
    at: str
    reason: str
    by: str
    until: str
    route: Route


class Result(NamedTuple):
    """The verdict of one rule on one subject, over all operating states.

    ``conditions`` are alternatives, each with only the variables that matter; an empty tuple means that no operating
    state was involved, a tuple holding one empty condition means *in every state*.  ``because`` names the (rule, subject)
    of the finding that this one follows from: it is then a consequence and not a second root cause.
    """

    rule: str
    kind: Kind
    level: Level
    subject: str
    route: Route
    span: Span
    message: str
    so: str = ""
    put_right: str = ""
    mentions: tuple[tuple[Mention, Span], ...] = ()
    conditions: tuple[Condition, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    references: tuple[str, ...] = ()
    because: tuple[str, str] | None = None
    waiver: Waiver | None = None


class Fault(NamedTuple):
    """A rule that broke on a subject: an internal error (exit status 70), never silence."""

    rule: str
    subject: str
    message: str


class IslandLine(NamedTuple):
    """One kind of live island for ``onebond states``: what feeds it, what it supplies, where its neutral is earthed."""

    sources: tuple[str, ...]
    supplies: tuple[str, ...]
    references: tuple[str, ...]
    verdict: str
    conditions: tuple[Condition, ...]


class Site(NamedTuple):
    """The report of one description."""

    path: str
    lines: tuple[str, ...]
    sha256: str
    name: str
    rulebook: str
    stage: str
    problems: tuple[Problem, ...] = ()
    results: tuple[Result, ...] = ()
    faults: tuple[Fault, ...] = ()
    islands: tuple[IslandLine, ...] = ()
    cases: int = 0
    not_proven: tuple[str, ...] = ()
    problems_left_out: int = 0


class RulePage(NamedTuple):
    """What reporters may say about a rule: the manual page as data, for one rulebook."""

    id: str
    level: Level
    title: str
    checks: str
    danger: str
    remedy: str
    references: tuple[str, ...]
    levels: tuple[tuple[str, str], ...] = ()
    parameters: tuple[tuple[str, str, str], ...] = ()
    passing: str = ""
    failing: str = ""


class Report(NamedTuple):
    """Everything that one run inspected."""

    version: str
    sites: tuple[Site, ...]
    rules: tuple[RulePage, ...]
