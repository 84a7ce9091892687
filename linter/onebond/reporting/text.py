"""The report as text for people and for editors that jump to ``file:line:column:``.

Each finding is one line in the form of the GNU coding standards, then the line of the description with the place
marked, then *when*, *so*, *figures*, *put right*, *see*, what follows from it, then the other parties, each with its own
place.  What could not be concluded stands below the findings: one line for each entry that is not written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from onebond.reporting import neutralise, words
from onebond.result import Fault, Problem, Report, Result, Site
from onebond.span import Span

_INDENT = "    "
_LABEL = 11  # columns of a label and the space after it
_GUTTER = 8  # "  123 | "
_TAB = 4
_WIDTH_WITHOUT_TERMINAL = 160  # a source line is cropped to this where nothing says how wide the output is
_NARROWEST = 40
_HEAD = 16  # columns of the head of a figure before it is wrapped
_CELL = 26  # and of its value
_ROWS_SHOWN = 4  # operating states that a table of figures shows, the worst first

_CODES = {
    "error": "1;31",
    "warning": "1;33",
    "note": "1;36",
    "none": "1",
    "waived": "2",
    "by exception": "1;36",
    "not proven": "1;35",
    "review": "1;35",
    "pass": "32",
    "notApplicable": "2",
    "place": "1",
    "frame": "2",
    "mark": "1;31",
    "label": "2",
    "findings": "1;31",
    "refused": "1;31",
    "internal error": "1;31",
    "nothing checked": "1;31",
    "clean": "1;32",
}

_COLUMNS = ("errors", "warnings", "notes", "waived", "not proven", "cases")


def render(report: Report, *, colour: bool, width: int, evidence: bool = False) -> str:
    """The whole report; ``width`` in columns (0: do not wrap), ``evidence`` adds what passed and did not apply."""
    pen = _Pen(colour, width)
    sites = words.ordered_sites(report)
    blocks = ["\n".join(block) for site in sites for block in _site(site, words.levels(report, site), pen, evidence)]
    if not sites:
        blocks.append(pen.paint("nothing checked", "nothing was inspected: no description was given"))
    elif len(sites) == 1:
        blocks.append(_summary(sites[0], pen))
    else:
        blocks.append("\n".join(_table(sites, pen)))
    return "\n\n".join(blocks) + "\n"


def problem_lines(
    site: Site, *, colour: bool, width: int, rule: str = words.REFUSED, level: str = "error"
) -> list[str]:
    """What kept a file from being read, as lines; the same as in a report."""
    pen = _Pen(colour, width)
    return [line for block in _problems(site, pen, rule, level) for line in block]


class _Pen:
    """How to write: colours and the width of the page."""

    def __init__(self, colour: bool, width: int) -> None:
        self.colour = colour
        self.width = max(width, _NARROWEST) if width > 0 else 0

    def paint(self, style: str, text: str) -> str:
        return f"\x1b[{_CODES[style]}m{text}\x1b[0m" if self.colour and text else text

    def head(self, site: Site, span: Span, level: str, message: str, tag: str) -> str:
        path = neutralise.for_terminal(words.file_of(site, span))
        place = self.paint("place", f"{path}:{span.line}:{span.column}:")
        end = f" [{neutralise.for_terminal(tag)}]" if tag else ""
        return f"{place} {self.paint(level, level + ':')} {neutralise.for_terminal(message)}{end}"

    def labelled(self, label: str, text: str) -> list[str]:
        indent = " " * (len(_INDENT) + _LABEL)
        room = self.width - len(indent) if self.width else 0
        first, *rest = wrapped(neutralise.for_terminal(text), room)
        return [f"{_INDENT}{self.paint('label', label.ljust(_LABEL))}{first}", *(indent + line for line in rest)]

    def frame(self, site: Site, span: Span) -> list[str]:
        source = words.lines_of(site, span)
        if not 1 <= span.line <= len(source):
            return []
        room = (self.width or _WIDTH_WITHOUT_TERMINAL) - _GUTTER
        line, before, marked = marked_line(source[span.line - 1], span, room)
        return [
            f"{self.paint('frame', f'{span.line:5} |')} {line}".rstrip(),
            f"{self.paint('frame', '      |')} {' ' * before}{self.paint('mark', '^' * marked)}",
        ]


def _site(site: Site, levels: Mapping[str, str], pen: _Pen, evidence: bool) -> list[list[str]]:
    found = words.findings(site)
    blocks = _problems(site, pen)
    blocks += [[_fault(site, fault, pen)] for fault in sorted(site.faults)]
    blocks += [_finding(site, cause, pen) for cause in found.causes]
    waived = [_waived(site, result, pen) for result in found.waived]
    if waived:
        blocks.append(waived)
    blocks += [_relied(site, one, pen) for one in words.relied(site)]
    blocks += [_listed(site, ("review",), pen)]
    if evidence:
        blocks += [_listed(site, ("open",), pen)]
    else:
        blocks += [
            [
                pen.head(site, gap.span, "not proven", f"{gap.what}: {words.verdicts(gap)}", "")
                for gap in words.gaps(site, levels)
            ]
        ]
    limits = [pen.head(site, Span(1, 1, 1, 1), "not proven", text, "") for text in site.not_proven]
    blocks[-1] = [*blocks[-1], *limits]
    if evidence:
        blocks += [_listed(site, ("pass", "notApplicable"), pen)]
    return [block for block in blocks if block]


def _listed(site: Site, kinds: Sequence[str], pen: _Pen) -> list[str]:
    """Results of some kinds that are no findings, one line each."""
    return [
        pen.head(site, r.span, "not proven" if r.kind == "open" else r.kind, _about(r.subject, r.message), r.rule)
        for r in words.ordered(r for r in site.results if r.kind in kinds)
    ]


def _problems(site: Site, pen: _Pen, rule: str = words.REFUSED, level: str = "error") -> list[list[str]]:
    blocks = [_problem(site, problem, pen, rule, level) for problem in words.ordered_problems(site)]
    if site.problems_left_out:
        text = f"{words.count(site.problems_left_out, 'more problem')} not shown: mend these first"
        blocks.append([pen.head(site, Span(1, 1, 1, 1), level, text, rule)])
    return blocks


def _problem(site: Site, problem: Problem, pen: _Pen, rule: str, level: str) -> list[str]:
    lines = [pen.head(site, problem.span, level, problem.message, rule)]
    lines += pen.frame(site, problem.span)
    if problem.hint:
        lines += pen.labelled("hint", problem.hint)
    return lines


def _fault(site: Site, fault: Fault, pen: _Pen) -> str:
    text = f"internal error in rule {fault.rule} on subject {fault.subject}: {fault.message}"
    return pen.head(site, Span(1, 1, 1, 1), "error", text, "internal")


def _finding(site: Site, cause: words.Cause, pen: _Pen) -> list[str]:
    result = cause.result
    lines = [pen.head(site, result.span, result.level, result.message, result.rule)]
    lines += pen.frame(site, result.span)
    if result.conditions:
        lines += _row(pen, "when", words.alternatives(result.conditions, site.devices))
    if result.so:
        lines += pen.labelled("so", result.so)
    lines += _figures(site, result, pen)
    if result.put_right:
        lines += pen.labelled("put right", result.put_right)
    if result.references:
        lines += pen.labelled("see", "; ".join(result.references))
    if result.because is not None:
        lines += pen.labelled("because", f"{result.because[1]} [{result.because[0]}]")
    for number, (depth, inner) in enumerate(cause.follows):
        label = pen.paint("label", ("" if number else "follows").ljust(_LABEL))
        head = pen.head(site, inner.span, inner.level, inner.message, inner.rule)
        lines.append(f"{_INDENT}{label}{'  ' * (depth - 1)}{head}")
    for mention, span in result.mentions:
        lines.append(pen.head(site, span, "note", _about(mention.subject, mention.text), ""))
    return lines


def _figures(site: Site, result: Result, pen: _Pen) -> list[str]:
    """The figures of a finding: one line each, and where they differ from state to state a small table, the worst first."""
    if not result.by_state:
        return _row(pen, "figures", [f"{name}: {value}" for name, value in result.figures])
    rows = [(dict(row.figures), row.conditions) for row in result.by_state]
    names = list(dict.fromkeys(name for figures, _ in rows for name in figures))
    same = [name for name in names if len({figures.get(name) for figures, _ in rows}) == 1]
    lines = _row(pen, "figures", [f"{name}: {rows[0][0][name]}" for name in same])
    differing = [name for name in names if name not in same]
    heads, cells = list(differing), [[figures.get(name, "-") for name in differing] for figures, _ in rows]
    if len({conditions for _, conditions in rows}) > 1:  # else `when` has told it
        heads.append("when")
        for row, (_, conditions) in zip(cells, rows, strict=True):
            more = f", or in {words.count(len(conditions) - 1, 'other way')}" if len(conditions) > 1 else ""
            row.append(words.condition(conditions[0], site.devices) + more)
    indent = " " * (len(_INDENT) + _LABEL)
    room = pen.width - len(indent) if pen.width else 0
    told = _laid_out(heads, cells[:_ROWS_SHOWN], room)
    if len(cells) > _ROWS_SHOWN:
        told.append(f"and {len(cells) - _ROWS_SHOWN} more")
    label = "" if lines else "figures"
    lines.append(f"{_INDENT}{pen.paint('label', label.ljust(_LABEL))}{told[0]}")
    return [*lines, *(indent + line for line in told[1:])]


def _laid_out(heads: list[str], rows: list[list[str]], room: int) -> list[str]:
    """A table within ``room`` columns (0: as many as it takes); whatever is too wide for its column is wrapped in it."""
    shown = [[neutralise.for_terminal(cell) for cell in row] for row in rows]
    cells = [[wrapped(neutralise.for_terminal(head), _HEAD) for head in heads]]
    cells += [[wrapped(cell, _CELL if room else 0) for cell in row] for row in shown]
    widths = [max(neutralise.width(line) for row in cells for line in row[column]) for column in range(len(heads) - 1)]
    rest = max(room - sum(widths) - 2 * len(widths), _CELL) if room else 0
    for row, source in zip(cells[1:], shown, strict=True):
        row[-1] = wrapped(source[-1], rest)
    out = []
    for at, row in enumerate(cells):
        height = max(len(cell) for cell in row)
        for line in range(height):
            # heads stand on the first row, cells hang from it
            skip = [height - len(cell) if at == 0 else 0 for cell in row]
            parts = [
                cell[line - lead] if 0 <= line - lead < len(cell) else "" for cell, lead in zip(row, skip, strict=True)
            ]
            padded = [part + " " * (width - neutralise.width(part)) for part, width in zip(parts, widths, strict=False)]
            out.append("  ".join([*padded, parts[-1]]).rstrip())
    return out


def _waived(site: Site, result: Result, pen: _Pen) -> str:
    waiver = result.waiver
    assert waiver is not None
    who = f"{waiver.reason}; by {waiver.by or 'nobody named'}, until {waiver.until or 'no day named'}"
    head = pen.head(site, result.span, "waived", result.message, result.rule)
    return f"{head} ({neutralise.for_terminal(who)})"


def _relied(site: Site, one: words.Relied, pen: _Pen) -> list[str]:
    """What the rulebook permits by an exception: nobody is to find out only from the verdict that is missing."""
    return [
        pen.head(site, one.span, "by exception", f"{words.subjects(one)}: {one.reason}", one.rule),
        *pen.labelled("remains", one.remains),
    ]


def _about(subject: str, text: str) -> str:
    """The text, led by the subject unless it is named in it."""
    if not text:
        return subject
    named = text.replace("'", " ").replace(",", " ").replace(":", " ").replace(".", " ").replace(";", " ").split()
    return text if not subject or subject in named else f"{subject}: {text}"


def _row(pen: _Pen, label: str, texts: list[str]) -> list[str]:
    return [
        line for index, text in enumerate(texts) for line in pen.labelled("" if index else label, text)
    ]  # the label stands once, the texts below each other


def counts(total: words.Tally) -> list[str]:
    """The parts of a summary that are not nought."""
    names = ("error", "warning", "note", "finding without level")
    parts = [words.count(n, name) for n, name in zip(total.levels, names, strict=True) if n]
    if total.problems:
        parts.append(words.count(total.problems, "problem"))
    if total.faults:
        parts.append(words.count(total.faults, "internal error"))
    if total.consequences:
        parts.append(words.count(total.consequences, "consequence"))
    if total.waived:
        parts.append(f"{total.waived} waived")
    if total.exempt:
        parts.append(f"{total.exempt} by exception")
    if total.not_proven:
        parts.append(f"{total.not_proven} not proven")
    if total.review:
        parts.append(f"{total.review} to be reviewed by a person")
    return parts


def _checked(total: words.Tally) -> str:
    if not total.rules:
        return "nothing was checked"
    rules, subjects = words.count(total.rules, "rule"), words.count(total.subjects, "subject")
    return f"checked {rules} on {subjects} in {words.count(total.cases, 'case')}"


def _judged(sites: Sequence[Site]) -> str:
    """How many readings were judged, and where they stand; '' where no readings came with the descriptions."""
    files = [site.judged for site in sites if site.judged is not None]
    if not files:
        return ""
    if not any(one.readings for one in files):
        where = neutralise.for_terminal(files[0].path) if len(files) == 1 else f"{len(files)} files of readings"
        return f"; nothing in {where} could be judged"
    counted = words.readings(sum(one.entries for one in files), sum(one.readings for one in files))
    where = neutralise.for_terminal(files[0].path) if len(files) == 1 else f"{len(files)} files"
    return f"; judged {counted} of {where}"


def _summary(site: Site, pen: _Pen) -> str:
    total = words.tally(site)
    parts = counts(total)
    verdict = pen.paint(total.verdict, "not everything proven" if total.verdict == "not proven" else total.verdict)
    told = f"{verdict}: {', '.join(parts)}" if parts else verdict
    known = [f"rulebook {site.rulebook}"] if site.rulebook else []
    known += [f"stage {site.stage}"] if site.stage else []
    about = f" ({neutralise.for_terminal(', '.join(known))})" if known else ""
    return f"{neutralise.for_terminal(site.path)}: {told}; {_checked(total)}{about}{_judged([site])}"


def _table(sites: list[Site], pen: _Pen) -> list[str]:
    totals = [words.tally(site) for site in sites]
    rows = [
        (neutralise.for_terminal(site.path), total.verdict, _cells(total))
        for site, total in zip(sites, totals, strict=True)
    ]
    everything = words.total(totals, sites)
    last = (words.count(len(sites), "site"), "", _cells(everything))
    path_room = max(neutralise.width(path) for path, _, _ in [*rows, last])
    verdict_room = max(len(verdict) for _, verdict, _ in rows)
    rooms = [
        max(len(name), *(len(cells[index]) for _, _, cells in [*rows, last])) for index, name in enumerate(_COLUMNS)
    ]

    def line(path: str, verdict: str, cells: tuple[str, ...]) -> str:
        path += " " * (path_room - neutralise.width(path))
        style = verdict if verdict in _CODES else "none"
        numbers = "  ".join(cell.rjust(room) for cell, room in zip(cells, rooms, strict=True))
        return f"{path}  {pen.paint(style, verdict.ljust(verdict_room)) if verdict else ' ' * verdict_room}  {numbers}"

    heading = f"{'site'.ljust(path_room)}  {'verdict'.ljust(verdict_room)}  "
    heading += "  ".join(name.rjust(room) for name, room in zip(_COLUMNS, rooms, strict=True))
    parts = counts(everything)
    verdicts: dict[str, int] = {}
    for total in totals:
        verdicts[total.verdict] = verdicts.get(total.verdict, 0) + 1
    tally = ", ".join(f"{verdicts[verdict]} {told}" for verdict, told in _TOLD if verdict in verdicts)
    closing = f"{last[0]}: {tally}; {', '.join(parts) + '; ' if parts else ''}{_checked(everything)}{_judged(sites)}"
    return [heading, *(line(*row) for row in rows), line(*last), "", closing]


# Verdicts, the gravest first, and how a sum says them after a number.
_TOLD = (
    ("internal error", "with an internal error"),
    ("refused", "refused"),
    ("nothing checked", "with nothing checked"),
    ("findings", "with findings"),
    ("not proven", "not proven"),
    ("review", "to be reviewed"),
    ("clean", "clean"),
)


def _cells(total: words.Tally) -> tuple[str, ...]:
    errors, warnings, notes, rest = total.levels
    if total.problems and not total.rules:  # a refused file has no count of anything
        return ("-",) * len(_COLUMNS)
    return tuple(str(n) for n in (errors, warnings, notes + rest, total.waived, total.not_proven, total.cases))


def marked_line(source: str, span: Span, room: int) -> tuple[str, int, int]:
    """A source line as shown, the columns before its mark and the columns marked.

    The line is neutralised, its tabs become spaces, and where it is wider than ``room`` columns a window around the
    mark is shown, with ``...`` for what is left out.
    """
    pieces = _pieces(source.rstrip("\r\n"))
    start = min(max(span.column - 1, 0), len(pieces))
    end = len(source.rstrip()) if span.end_line > span.line else min(span.end_column - 1, len(pieces))
    before = sum(columns for _, columns in pieces[:start])
    marked = max(sum(columns for _, columns in pieces[start:end]), 1)
    if sum(columns for _, columns in pieces) <= room:
        return "".join([text for text, _ in pieces]), before, marked
    first, skipped = 0, 0
    while first < start and before - skipped > room // 3:
        skipped += pieces[first][1]
        first += 1
    lead = "..." if first else ""
    shown, columns = [lead], len(lead)
    last = first
    while last < len(pieces) and columns + pieces[last][1] <= room - 3:
        shown.append(pieces[last][0])
        columns += pieces[last][1]
        last += 1
    if last < len(pieces):
        shown.append("...")
    at = before - skipped + len(lead)
    return "".join(shown), at, max(min(marked, columns - at), 1)


def _pieces(source: str) -> list[tuple[str, int]]:
    """For each character how it is shown and how many columns that takes."""
    if source.isascii() and source.isprintable():
        return [(char, 1) for char in source]
    pieces: list[tuple[str, int]] = []
    at = 0
    for char, visible in zip(source, neutralise.characters(source), strict=True):
        text = " " * (_TAB - at % _TAB) if char == "\t" else visible
        columns = neutralise.width(text)
        pieces.append((text, columns))
        at += columns
    return pieces


def wrapped(text: str, room: int) -> list[str]:
    """The text in lines of at most ``room`` columns, broken at spaces (0: one line); never empty."""
    if room <= 0 or neutralise.width(text) <= room:
        return [text]
    lines: list[str] = []
    line, used = "", 0
    for word in text.split(" "):
        columns = neutralise.width(word)
        if line and used + 1 + columns > room:
            lines.append(line)
            line, used = word, columns
        elif line:
            line, used = f"{line} {word}", used + 1 + columns
        else:
            line, used = word, columns
    return [*lines, line]
