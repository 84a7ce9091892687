"""From a report to what the page shows: plain data in the order of the page, nothing about markup but the drawings themselves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from onebond.reporting import diagram, figures, states, words
from onebond.reporting.page import plots
from onebond.result import Condition, Problem, Report, Result, Site
from onebond.span import Span

ALTERNATIVES = 8
"""Alternative conditions that the page lists before it says how many more there are."""

_CONTEXT = 2  # lines of the description shown on either side of one that is spoken of
_LINE = 600  # characters of a line of the description that are shown
_DRAWN = 3_000_000  # characters of all drawings of a site: past it the remaining kinds of live system are left undrawn
_NAMED = 12
_COLOURS = {  # from memory
    "nec": "a site under the NEC has others (white or grey for the grounded conductor, green or bare for the grounding one)",
    "as-nzs": "a site under AS/NZS 3000 may have others (black for the neutral)",
    "sans": "a site under SANS 10142-1 may have others (black for the neutral)",
}
_LINKS = 6  # drawings that a finding leads to
_LONG = 150  # rows of figures, past which the page folds them away
_WORST = 6  # values of a finding by state, the worst first
_NOT_WRITTEN = " is not written"
_LATE = ("not certain", "too late")  # how the remark of a fault begins that is not cut off in time
_WIDE = 760.0  # a drawing past this width is printed across the sheet
_PRINTED = (1_500.0, 850.0)  # past this width or height it is printed over several sheets, or it could not be read
_VIEWED = 1_500_000  # characters of the drawings of all systems: past it a page holds them in one form only


class Link(NamedTuple):
    """Words that lead to another place of the page."""

    text: str
    href: str


class Excerpt(NamedTuple):
    """A line of the description in three pieces: before the place, the place, and after it."""

    line: int
    before: str
    marked: str
    after: str


class Head(NamedTuple):
    """A column of a table."""

    text: str
    numeric: bool


class Group(NamedTuple):
    """Rows of a table that belong to one name; a cell is a text, or a link (one to nowhere is set strong)."""

    name: str
    rows: tuple[tuple[str | Link, ...], ...]


class Table(NamedTuple):
    """A table whose first column names its rows; ``states`` says that these names are states."""

    caption: str
    states: bool
    heads: tuple[Head, ...]
    groups: tuple[Group, ...]


class Party(NamedTuple):
    """Another party of a finding."""

    subject: str
    text: str
    line: Link


class Item(NamedTuple):
    """A finding as it is shown, a cause or what follows from one."""

    number: int
    depth: int
    level: str
    rule: str
    rule_title: str
    subject: str
    message: str
    when: tuple[str, ...]
    so: str
    figures: tuple[tuple[str, str], ...]
    by_state: Table | None
    more: str  # how many rows of it are left out
    put_right: str
    references: tuple[str, ...]
    excerpt: Excerpt | None
    line: Link
    drawn: tuple[Link, ...]
    parties: tuple[Party, ...]
    because: str
    follows: tuple[Item, ...]


class Missing(NamedTuple):
    """An entry that is not written in one or more places, or a reason why nothing can be concluded, and what it leaves open."""

    what: str
    places: tuple[Link, ...]
    level: str
    verdicts: tuple[tuple[str, str], ...]  # rule, and where


class Remark(NamedTuple):
    """One line of a list: something for a person to look at, a waiver, a problem of the description."""

    text: str
    detail: tuple[tuple[str, str], ...]
    line: Link
    excerpt: Excerpt | None
    number: int = 0  # of a waived finding
    drawn: tuple[Link, ...] = ()


class View(NamedTuple):
    """Another form in which a live system is drawn."""

    name: str  # conductors | folded
    svg: str


class System(NamedTuple):
    """One kind of live system in one of its states; a kind has several where one state cannot show all its findings."""

    place: int  # counted from 1 over all of them
    label: str  # the number of the kind, and from the second state on a letter
    first: bool  # whether it is the first of its kind
    sources: str
    references: tuple[str, ...]
    electrodes: str
    verdict: str
    grade: str  # good | plain | bad
    supplies: str
    when: tuple[str, ...]
    findings: tuple[Link, ...]  # of the kind
    flags: tuple[Link, ...]  # the findings that occur in this very state, and those that no state is involved in
    beside: tuple[str, ...]  # what the chooser says below its name
    svg: str
    wide: bool
    chosen: bool
    printed: bool  # every finding is on paper once
    views: tuple[View, ...]
    sheets: tuple[str, ...]  # the same for print, where one sheet would be too small to read


class SourceLine(NamedTuple):
    """A line of the description; number 0 stands for lines that are left out, or with a text for a file that begins."""

    number: int
    text: str
    marked: bool
    findings: tuple[Link, ...]
    anchor: str = ""


class RuleLine(NamedTuple):
    """A rule that came to a verdict, with what the rulebook sets."""

    id: str
    level: str
    title: str
    verdicts: str
    parameters: tuple[str, ...]
    references: tuple[str, ...]


class Figures(NamedTuple):
    """Tables and plots of what was computed."""

    tables: tuple[Table, ...]
    numbered: tuple[tuple[int, tuple[str, ...]], ...]
    meaning: tuple[str, ...]
    assumed: tuple[str, ...]
    keys: tuple[plots.Key, ...]
    unplotted: tuple[str, ...]
    rows: int
    long: bool
    touch: tuple[plots.Plot, ...]
    touch_left_out: int
    bands: tuple[plots.Plot, ...]
    bands_left_out: int


class Page(NamedTuple):
    """One site."""

    prefix: str
    rulebook: str
    name: str
    path: str
    title_block: tuple[tuple[str, str], ...]
    verdict: str
    grade: str  # bad | open | good
    sentence: str
    wrong: tuple[Item, ...]
    accepted: tuple[Remark, ...]
    relied: tuple[Remark, ...]
    problems: tuple[Remark, ...]
    problems_left_out: int
    faults: tuple[str, ...]
    missing: tuple[Missing, ...]
    not_concluded: int
    limits: tuple[str, ...]
    read: bool  # whether the description could be read
    colours: str  # what the colours of a drawing are, where the rulebook has others
    review: tuple[Remark, ...]
    systems: tuple[System, ...]
    plain: str  # the drawing in no state, where there is no live system
    figures: Figures | None
    rules: tuple[RuleLine, ...]
    unchecked: bool
    lines: tuple[SourceLine, ...]
    caution: str
    batteries: str  # with their short-circuit currents, where there are any
    glossary: tuple[tuple[str, str], ...]  # words of the description, and what the rulebook calls them


class Index(NamedTuple):
    """A row of the table of sites."""

    name: Link
    path: str
    verdict: str
    grade: str
    numbers: tuple[str, ...]


class Context(NamedTuple):
    """The whole page."""

    version: str
    title: str
    pages: tuple[Page, ...]
    rows: tuple[Index, ...]


def build(report: Report) -> Context:
    """Everything that the page shows."""
    sites = words.ordered_sites(report)
    many = len(sites) > 1
    pages = tuple(_page(report, site, f"site{number}-" if many else "") for number, site in enumerate(sites, 1))
    if many:
        title = f"Inspection of {len(sites)} sites"
    else:
        title = f"Inspection of {pages[0].name}" if pages else "Inspection: no description was given"
    return Context(report.version, title, pages, tuple(map(_index, sites, pages)) if many else ())


def _index(site: Site, page: Page) -> Index:
    total = words.tally(site)
    numbers = (
        *total.levels[:2],
        sum(total.levels[2:]),
        total.waived,
        len(page.missing) + len(page.limits),
        total.cases,
    )
    unread = total.problems or total.faults
    shown = tuple("-" if unread else str(number) for number in numbers)
    return Index(Link(page.name, f"#{page.prefix}site"), site.path, page.verdict, page.grade, shown)


def _page(report: Report, site: Site, prefix: str) -> Page:
    numbers = {result: number for number, result in diagram.numbered(site)}
    levels = words.levels(report, site)
    say = words.speech(site.rulebook)
    titles = {page.id: say(page.title) for page in report.rules}
    found = words.findings(site)
    gaps = words.gaps(site, levels)
    systems = _systems(site, prefix, numbers)

    def item(result: Result, depth: int, follows: tuple[Item, ...] = ()) -> Item:
        number = numbers[result]
        links = _drawn(systems, result, number, prefix)
        return Item(
            number,
            depth,
            result.level,
            result.rule,
            titles.get(result.rule, ""),
            result.subject,
            result.message,
            _when(result.conditions, site) if result.conditions else (_always(result),),
            result.so,
            _same(result),
            _by_state(result, site),
            f"and {more} more, none of them worse" if (more := len(result.by_state) - _WORST) > 0 else "",
            result.put_right,
            result.references,
            _excerpt(site, result.span),
            _line(site, result.span, prefix),
            links,
            tuple(Party(one.subject, one.text, _line(site, span, prefix)) for one, span in result.mentions),
            f"{result.because[1]} [{result.because[0]}]" if result.because else "",
            follows,
        )

    wrong = tuple(
        item(cause.result, 0, tuple(item(inner, depth) for depth, inner in cause.follows)) for cause in found.causes
    )
    total = words.tally(site)
    verdict, grade = _verdict(total)
    return Page(
        prefix,
        site.rulebook,
        site.name or site.path,
        site.path,
        _title_block(report, site),
        verdict,
        grade,
        _sentence(site, total, len(gaps)),
        wrong,
        tuple(_accepted(site, result, numbers[result], systems, prefix) for result in found.waived),
        tuple(_relied(site, one, prefix) for one in words.relied(site)),
        tuple(_problem(site, problem, prefix) for problem in words.ordered_problems(site)),
        site.problems_left_out,
        tuple(f"rule {fault.rule} on {fault.subject}: {fault.message}" for fault in sorted(site.faults)),
        _missing(site, gaps, prefix),
        len(gaps) + len(site.not_proven),
        site.not_proven,
        not (site.problems or site.problems_left_out),
        _COLOURS.get(site.rulebook, ""),
        tuple(
            Remark(
                f"{result.subject}: {result.message}",
                tuple(filter(lambda one: one[1], (("Rule", result.rule), ("To do", result.put_right)))),
                _line(site, result.span, prefix),
                _excerpt(site, result.span),
            )
            for result in words.ordered(one for one in site.results if one.kind == "review")
        ),
        systems,
        diagram.render(site, None, prefix=f"{prefix}plain-") if site.drawing and not systems else "",
        _figures(site, prefix),
        _rules(report, site, levels),
        not total.rules,
        _listing(site, prefix, numbers, gaps),
        figures.CAUTION,
        _batteries(site),
        words.glossary(site.rulebook),
    )


def _batteries(site: Site) -> str:
    """The batteries with their voltage and their short-circuit current, as far as it is known."""
    named = []
    for one in site.drawing.places if site.drawing else ():
        if one.texts[:1] == ("battery",):
            rows = [row for row in site.figures.direct if row.place == one.id] if site.figures else []
            known = [row.largest_a for row in rows if row.largest_a]
            current = (
                f"up to {figures.number(max(known) / 1000)} kA"
                if known
                else "how much is not written: take it for kiloamperes"
            )
            named.append(f"{one.id} ({', '.join((*one.texts[1:2], current))})")
    return ", ".join(named)


# -- head ----------------------------------------------------------------------------------------------------------------


def _title_block(report: Report, site: Site) -> tuple[tuple[str, str], ...]:
    cells = (
        ("Site", site.name),
        ("Revision", site.revision or "not written"),
        ("Rulebook", site.rulebook),
        ("Stage", site.stage),
        ("Description", site.path),
        ("Readings", f"{words.readings(*site.judged[1:])} of {site.judged.path}" if site.judged else ""),
        ("SHA-256 of the description", site.sha256),
        *((f"SHA-256 of {part.path}", part.sha256) for part in site.parts),
        ("Inspected with", f"onebond {report.version}"),
    )
    read = not (site.problems or site.problems_left_out or site.faults)
    return tuple((name, value) for name, value in cells if value and (read or name != "Revision"))


def _verdict(total: words.Tally) -> tuple[str, str]:
    if total.waived and total.verdict == "clean":
        return "Nothing is wrong but what is accepted by a waiver", "open"
    told = {
        "internal error": ("Internal error: nothing is proven", "bad"),
        "refused": ("Refused: the description could not be read", "bad"),
        "nothing checked": ("Nothing was checked", "open"),
        "findings": ("Something is wrong", "bad"),
        "not proven": ("Not everything is proven", "open"),
        "review": ("Left to a person", "open"),
        "clean": ("Nothing wrong was found", "good"),
    }
    if total.verdict == "findings" and not any(total.levels[:2]):
        return (
            ("Not everything is proven", "open")
            if total.not_proven
            else ("Nothing is wrong but what is accepted by a waiver", "open")
            if total.waived
            else ("Nothing wrong was found; there are notes", "good")
        )
    return told[total.verdict]


def _sentence(site: Site, total: words.Tally, gaps: int) -> str:
    """The verdict in one sentence: what was found, what was not concluded, and over how much."""
    if total.faults:
        return "The inspection broke off with an internal error; nothing is proven by it."
    if total.problems:
        return f"The description could not be read: {words.count(total.problems, 'problem')}. Nothing was inspected."
    names = ("error", "warning", "note", "finding without level")
    found = [words.count(n, name) for n, name in zip(total.levels, names, strict=True) if n]
    if total.consequences:
        found.append(words.count(total.consequences, "consequence"))
    if total.waived:
        found.append(f"{total.waived} accepted by a waiver")
    if total.exempt:
        found.append(f"{total.exempt} permitted by an exception")
    parts = [", ".join(found) or "no error, no warning"]
    if total.not_proven:
        left = words.count(total.not_proven, "verdict")
        parts.append(f"{left} could not be concluded" + (f", for {words.count(gaps, 'reason')}" if gaps else ""))
    else:
        parts.append("everything that was checked could be concluded")
    if total.review:
        parts.append(f"{words.count(total.review, 'thing')} left to a person")
    kinds = words.count(len(site.islands), "kind of live system", "kinds of live system")
    looked = f"{words.count(total.cases, 'case')} of {kinds} {'was' if total.cases == 1 else 'were'} looked at"
    parts.append(f"{looked}, by {words.count(total.rules, 'rule')}")
    told = "; ".join(parts)
    return f"{told[:1].upper()}{told[1:]}."


# -- findings ------------------------------------------------------------------------------------------------------------


def _always(result: Result) -> str:
    """When a finding holds that no operating state decides on: a reading is of one state, and says so itself."""
    return "when it was measured" if result.route[:1] == ("readings",) else "as it is written, whatever the state"


def _when(conditions: tuple[Condition, ...], site: Site) -> tuple[str, ...]:
    """The alternatives in words, one text each."""
    if not all(conditions):
        return ("in every state",)
    shown = [words.condition(one, site.devices) for one in conditions[:ALTERNATIVES]]
    left = len(conditions) - len(shown)
    return (*shown, f"and in {left} more") if left else tuple(shown)


def _same(result: Result) -> tuple[tuple[str, str], ...]:
    """The figures that are the same in all states."""
    if not result.by_state:
        return result.figures
    rows = [dict(row.figures) for row in result.by_state]
    return tuple((name, value) for name, value in rows[0].items() if all(row.get(name) == value for row in rows))


def _by_state(result: Result, site: Site) -> Table | None:
    """The figures that differ from state to state, the worst first."""
    if not result.by_state:
        return None
    same = dict(_same(result))
    names = list(dict.fromkeys(name for row in result.by_state for name, _ in row.figures if name not in same))
    groups = [
        Group("\n".join(_when(row.conditions, site)), (tuple(dict(row.figures).get(name, "-") for name in names),))
        for row in result.by_state[:_WORST]
    ]
    return Table("", True, (Head("when", False), *(Head(name, True) for name in names)), tuple(groups))


def _drawn(systems: Sequence[System], result: Result, number: int, prefix: str) -> tuple[Link, ...]:
    """Where a finding is flagged in the drawings; one that no state is involved in stands in all of them, and the first will do."""
    flags = [(one.label, f"{prefix}system{one.label}-flag-{number}", one.svg) for one in systems]
    links = [Link(f"system {label}", f"#{flag}") for label, flag, svg in flags if f'id="{flag}"' in svg]
    if not result.islands:
        return tuple(links[:1])
    if len(links) == len(systems) > 2:
        return (links[0]._replace(text="every system"),)
    more = len(links) - _LINKS
    return (*links[:_LINKS], links[_LINKS]._replace(text=f"and {more} more")) if more > 0 else tuple(links)


def _excerpt(site: Site, span: Span) -> Excerpt | None:
    lines = words.lines_of(site, span)
    if not 1 <= span.line <= len(lines):
        return None
    text = lines[span.line - 1].rstrip("\r\n")
    start = min(max(span.column - 1, 0), len(text))
    end = len(text) if span.end_line > span.line else min(max(span.end_column - 1, start), len(text))
    first = max(0, start - _LINE // 4)
    last = min(len(text), first + _LINE)
    before, after = text[first:start], text[end:last]
    return Excerpt(
        span.line,
        f"...{before}" if first else before.lstrip(),
        text[start:end],
        f"{after}..." if last < len(text) else after,
    )


def _line(site: Site, span: Span, prefix: str) -> Link:
    """The line of a span as a link into the listing; one of a part of the site names its file."""
    return Link(f"{span.file + ' ' if span.file else ''}line {span.line}", f"#{prefix}{_anchor(site, span)}")


def _anchor(site: Site, span: Span) -> str:
    paths = [part.path for part in site.parts]
    part = f"part{paths.index(span.file) + 1}-" if span.file in paths else ""
    return f"{part}line-{span.line}"


def _accepted(site: Site, result: Result, number: int, systems: Sequence[System], prefix: str) -> Remark:
    waiver = result.waiver
    assert waiver is not None
    detail = (
        ("Rule", result.rule),
        ("Reason", waiver.reason),
        ("Accepted by", waiver.by or "nobody named"),
        ("Until", waiver.until or "no day named"),
        ("When", "\n".join(_when(result.conditions, site)) if result.conditions else ""),
        ("So", result.so),
    )
    return Remark(
        f"{result.subject}: {result.message}",
        tuple(one for one in detail if one[1]),
        _line(site, result.span, prefix),
        _excerpt(site, result.span),
        number,
        _drawn(systems, result, number, prefix),
    )


def _relied(site: Site, one: words.Relied, prefix: str) -> Remark:
    detail = (
        ("Rule", one.rule),
        ("When", "\n".join(_when(one.conditions, site)) if one.conditions else ""),
        ("Remains", one.remains),
    )
    return Remark(
        f"{words.subjects(one)}: {one.reason}",
        tuple(row for row in detail if row[1]),
        _line(site, one.span, prefix),
        None,
    )


def _problem(site: Site, problem: Problem, prefix: str) -> Remark:
    hint = (("Hint", problem.hint),) if problem.hint else ()
    return Remark(problem.message, hint, _line(site, problem.span, prefix), _excerpt(site, problem.span))


def _missing(site: Site, gaps: Sequence[words.Gap], prefix: str) -> tuple[Missing, ...]:
    """The gaps, those of the same entry and weight together; the order is that of the first of each."""
    alike: dict[tuple[str, str], list[tuple[str, words.Gap]]] = {}
    for gap in gaps:
        entry, of, name = gap.what.removesuffix(_NOT_WRITTEN).partition(" of ")
        if not of or not gap.what.endswith(_NOT_WRITTEN):
            entry, name = gap.what, ""
        alike.setdefault((entry, gap.level), []).append((name, gap))
    found = []
    for (entry, level), members in alike.items():
        subjects: dict[str, dict[str, None]] = {}
        places = []
        for name, gap in members:
            line = _line(site, gap.span, prefix)
            text = f"{name} ({line.text})" if name and len(members) <= _NAMED else name or line.text
            places.append(line._replace(text=text))
            for result in gap.results:
                subjects.setdefault(result.rule, {})[result.subject] = None
        verdicts = tuple((rule, words.shortened(tuple(names), _NAMED)) for rule, names in subjects.items())
        found.append(Missing(entry, tuple(places), level, verdicts))
    return tuple(found)


# -- live systems --------------------------------------------------------------------------------------------------------


def _order(site: Site) -> list[int]:
    """The numbers of the islands in the order in which people read them."""
    place = {id(island): at for at, island in enumerate(site.islands)}
    return [place[id(island)] for island in states.ordered(site)]


_GOOD = ("earthed once", "isolated from earth (IT)")
_WEIGHTS = {"error": 0, "warning": 1, "note": 2}


def _systems(site: Site, prefix: str, numbers: Mapping[Result, int]) -> tuple[System, ...]:
    say = words.speech(site.rulebook, site.named)
    systems: list[System] = []
    shown: list[tuple[tuple[int, int], int]] = []  # how grave the first finding of each is
    states_of: dict[int, list[int | None]] = {}
    for position, one in enumerate(site.drawing.states if site.drawing else ()):
        states_of.setdefault(one.kind, []).append(position)
    drawn: list[int | None] = []
    room = _DRAWN
    for number, at in enumerate(_order(site), 1):
        island = site.islands[at]
        in_kind = {result: found for result, found in numbers.items() if at in result.islands}
        lacking = sum(1 for result in site.results if result.kind == "open" and at in result.islands)
        for turn, state in enumerate(states_of.get(at, [None])):
            label = f"{number}{chr(ord('a') + turn) if turn else ''}"
            svg = ""
            if state is not None and room > 0:
                svg = diagram.render(site, state, prefix=f"{prefix}system{label}-")
                room -= len(svg)
            shows = site.drawing.states[state].shows if site.drawing and state is not None else ()
            here = [result for result in in_kind if (result.rule, result.subject) in shows] if svg else [*in_kind]
            drawn.append(state)
            sources = words.live_from(island)
            grave = [(_WEIGHTS.get(r.level, 2), in_kind[r]) for r in here if r.waiver is None and r.because is None]
            shown.append((min(grave, default=(9, 0)), len(systems)))
            systems.append(
                System(
                    len(systems) + 1,
                    label,
                    not turn,
                    sources,
                    island.references or ("none",),
                    words.shortened(island.electrodes, _NAMED) if island.references else "",
                    say(island.verdict),
                    _system_grade(island.verdict, in_kind, lacking),
                    words.shortened(island.supplies, _NAMED) or "nothing",
                    _when(island.conditions, site),
                    tuple(Link(str(found), f"#{prefix}finding-{found}") for found in sorted(in_kind.values())),
                    tuple(
                        Link(
                            f"{found} {'waived' if result.waiver else result.level}: {result.message}",
                            f"#{prefix}finding-{found}",
                        )
                        for result, found in numbers.items()
                        if result in here or (not result.islands and f'flag-{found}"' in svg)
                    ),
                    _beside([in_kind[result] for result in here], lacking),
                    svg,
                    _size(svg)[0] > _WIDE,
                    False,
                    False,
                    (),
                    (),
                )
            )
    shown = [one for one in shown if systems[one[1]].svg] or shown
    chosen = min(shown)[1] if shown else -1
    told = [(one.sources, one.verdict, *one.references, one.electrodes, *one.beside) for one in systems]
    alike = Counter(told)
    whole = _DRAWN - room
    made = []
    on_paper: set[str] = set()
    paper: set[int] = set()
    for system in sorted(systems, key=lambda one: one.place != chosen + 1):
        flags = {flag.href for flag in system.flags}
        if system.place == chosen + 1 or flags - on_paper:
            paper.add(system.place)
            on_paper |= flags
    for system, state, key in zip(systems, drawn, told, strict=True):
        own = f"{prefix}system{system.label}-"
        made.append(
            system._replace(
                chosen=system.place == chosen + 1,
                printed=system.place in paper,
                beside=(*system.beside, f"supplies {system.supplies}") if alike[key] > 1 else system.beside,
                views=_views(site, state, own) if state is not None and system.svg and whole <= _VIEWED else (),
                sheets=_sheets(site, state, own, system.svg)
                if state is not None and system.place == chosen + 1
                else (),
            )
        )
    return tuple(made)


def _system_grade(verdict: str, found: Mapping[Result, int], lacking: int) -> str:
    """How a verdict on the reference is set: bad; good only where nothing at all is found in that kind of live system."""
    # a set or a vehicle may be right without an electrode: what is wrong with it is a finding
    if verdict not in _GOOD and (verdict != "bonded once, no electrode" or found):
        return "bad"
    return "plain" if found or lacking else "good"


def _runs(numbers: Sequence[int]) -> str:
    """Numbers in order; three and more in a row as from and to."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def _beside(found: Iterable[int], lacking: int) -> tuple[str, ...]:
    """What else the chooser says of a live system."""
    numbers = sorted(found)
    told = [f"{'finding' if len(numbers) == 1 else 'findings'} {_runs(numbers)}"] if numbers else []
    if lacking:
        told.append(f"{words.count(lacking, 'verdict')} not concluded")
    return tuple(told)


def _views(site: Site, at: int, prefix: str) -> tuple[View, ...]:
    """The other forms of a drawing: N and PE as lines of their own, and the final circuits of each board as one way."""
    folded = diagram.render(site, at, prefix=f"{prefix}folded-", fold=True)
    views = [View("conductors", diagram.render(site, at, prefix=f"{prefix}conductors-", conductors=True))]
    return (*views, View("folded", folded))


def _sheets(site: Site, at: int, prefix: str, svg: str) -> tuple[str, ...]:
    """A drawing over several sheets of paper, where it is larger than one of them shows; ``svg`` is the whole of it."""
    whole = _size(svg)
    if whole[0] <= _PRINTED[0] and whole[1] <= _PRINTED[1]:
        return ()
    return tuple(sheet.svg for sheet in diagram.sheets(site, at, prefix=f"{prefix}sheets-"))


def _size(svg: str) -> tuple[float, float]:
    """Width and height of a drawing, in pixels; nought where there is none."""
    sizes = []
    for name in ("width", "height"):
        size, _, _ = svg.partition(f' {name}="')[2].partition('"')
        sizes.append(float(size) if size else 0.0)
    return sizes[0], sizes[1]


# -- figures -------------------------------------------------------------------------------------------------------------


def _figures(site: Site, prefix: str) -> Figures | None:
    computed = site.figures
    if computed is None:
        return None
    numbers = figures.numbered(site, computed)
    if not numbers:
        return None
    say = words.speech(site.rulebook, site.named)
    tables = tuple(
        _table(heading, columns, rows, prefix)
        for heading, columns, rows in figures.sections(computed, numbers, say)
        if rows
    )
    rows = sum(len(group.rows) for table in tables for group in table.groups) + len(numbers)
    keys = plots.keys(computed)
    shapes = {key.text: key.shape for key in keys}
    bands, left_out = plots.bands(computed, shapes)
    meaning, assumed = figures.notes(computed, say)
    touch, touch_left_out = plots.touch(computed, shapes)
    told = tuple((number, _when(conditions, site)) for conditions, number in numbers.items())
    return Figures(
        tables,
        told,
        tuple(meaning),
        tuple(assumed),
        keys,
        tuple(map(say, plots.without_touch(computed))),
        rows,
        rows > _LONG,
        tuple(_said(plot, say) for plot in touch),
        touch_left_out,
        tuple(_said(plot, say) for plot in bands),
        left_out,
    )


def _said(plot: plots.Plot, say: Callable[[str], str]) -> plots.Plot:
    """A plot whose texts are in the words of the rulebook."""
    return plot._replace(
        heading=say(plot.heading),
        notes=tuple(map(say, plot.notes)),
        title=say(plot.title),
        desc=say(plot.desc),
        marks=tuple(mark._replace(title=say(mark.title)) for mark in plot.marks),
        texts=tuple(text._replace(text=say(text.text)) for text in plot.texts),
    )


def _table(heading: str, columns: Sequence[str], rows: Iterable[Sequence[str]], prefix: str) -> Table:
    """A table of figures; the rows of one name stand together, and the number of their states is a link to them."""
    cells = [list(row) for row in rows]
    used = len(columns) if any(row[-1] for row in cells) else len(columns) - 1
    heads, over = [], ""
    for column in columns[:used]:
        top, _, unit = column.lstrip(">").partition("|")
        over = top or over  # a column without a head of its own stands under the one before it
        heads.append(Head(f"{over} {unit}".strip(), column.startswith(">")))
    when = next((at for at, column in enumerate(columns[:used]) if column.lstrip(">") == "when"), -1)
    groups: dict[str, list[tuple[str | Link, ...]]] = {}
    for row in cells:
        shown = [Link(cell, f"#{prefix}when-{cell}") if at == when else cell for at, cell in enumerate(row[:used])]
        if isinstance(shown[-1], str) and (shown[-1] == "nothing" or shown[-1].startswith(_LATE)):
            shown[-1] = Link(shown[-1], "")
        first = shown.pop(0)
        groups.setdefault(first if isinstance(first, str) else first.text, []).append(tuple(shown))
    return Table(
        heading[:1].upper() + heading[1:],
        False,
        tuple(heads),
        tuple(Group(name, tuple(found)) for name, found in groups.items()),
    )


# -- method and description ------------------------------------------------------------------------------------------------


def _rules(report: Report, site: Site, levels: Mapping[str, str]) -> tuple[RuleLine, ...]:
    verdicts: dict[str, dict[str, int]] = {}
    for result in site.results:
        if words.came_to_a_verdict(result):
            told_as = {"fail": "found", "pass": "passed", "notApplicable": "by exception"}
            kind = "accepted" if result.waiver else told_as.get(result.kind, result.kind)
            told = verdicts.setdefault(result.rule, {})
            told[kind] = told.get(kind, 0) + 1
    order = ("found", "accepted", "by exception", "open", "review", "passed")
    say = words.speech(site.rulebook)
    return tuple(
        RuleLine(
            page.id,
            levels.get(page.id, page.level),
            say(page.title),
            ", ".join(f"{verdicts[page.id][kind]} {kind}" for kind in order if kind in verdicts[page.id]),
            tuple(f"{name} = {say(value)}: {say(text)}" for name, value, text in page.parameters),
            page.references,
        )
        for page in report.rules
        if page.id in verdicts
    )


def _listing(
    site: Site, prefix: str, numbers: Mapping[Result, int], gaps: Sequence[words.Gap]
) -> tuple[SourceLine, ...]:
    """The lines that the page speaks of, each with its neighbours, file by file."""
    spoken: dict[str, dict[int, dict[int, None]]] = {}

    def speak(span: Span, number: int = 0) -> None:
        if 1 <= span.line <= len(words.lines_of(site, span)):
            found = spoken.setdefault(span.file, {}).setdefault(span.line, {})
            if number:
                found[number] = None

    for result, number in numbers.items():
        speak(result.span, number)
        for _, span in result.mentions:
            speak(span, number)
    for result in site.results:
        if result.waiver or result.kind == "review" or result.exemptions:
            speak(result.span)
    for problem in site.problems:
        speak(problem.span)
    for gap in gaps:
        speak(gap.span)
    lines: list[SourceLine] = []
    for file in ("", *(part.path for part in site.parts)):
        at = spoken.get(file, {})
        source = words.lines_of(site, Span(1, 1, 1, 1, file))
        near = sorted({n for line in at for n in range(max(1, line - _CONTEXT), min(len(source), line + _CONTEXT) + 1)})
        if near and site.parts:
            lines.append(SourceLine(0, file or site.path, True, ()))
        last = 0
        for line in near:
            if line > last + 1:
                lines.append(SourceLine(0, "", False, ()))
            text = source[line - 1].rstrip("\r\n")
            links = tuple(Link(str(number), f"#{prefix}finding-{number}") for number in sorted(at.get(line, ())))
            shown = text[:_LINE] + ("..." if len(text) > _LINE else "")
            anchor = f"{prefix}{_anchor(site, Span(line, 1, line, 1, file))}"
            lines.append(SourceLine(line, shown, line in at, links, anchor))
            last = line
        if near and last < len(source):
            lines.append(SourceLine(0, "", False, ()))
    return tuple(lines)
