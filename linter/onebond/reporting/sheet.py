"""The test schedule as text, CSV, workbook and JSON, and as a file of readings to fill in."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from onebond.reporting import neutralise

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from onebond.meter.measurements import Measurement
    from onebond.schedule import Row, Schedule, Stop

COLUMNS = (
    "number",
    "visit",
    "where",
    "test",
    "expected",
    "accepted",
    "reading",
    "another reading means",
    "instrument",
    "method",
)
"""The columns of the table, in every form of it: in the order of the work, with what holds for many rows at the end."""

WIDTH = 108
"""No line of the text is longer, since it is printed as well."""

BY_HAND = "none"
"""The instrument of a test that needs none."""

PAPER = {"nec": "letter"}
"""The paper where it is not A4."""

REMINDER = "Prove dead before you touch. Treat N and PE as live until measured."
"""What stands at the foot of every printed sheet."""

SIGNED = ("measured by", "judged and signed by")
"""Who signs the schedule when it is filled in."""

SIGNS = ("name", "licence", "date", "signature")
"""What each of them writes."""


class Group(NamedTuple):
    """Tests that follow each other with one instrument and one method."""

    test: str
    how: str
    caution: str
    rows: tuple[Row, ...]


def cells(row: Row) -> tuple[str, ...]:
    """The cells of one test; that of the reading is empty."""
    visit = "dead" if row.visit == 0 else str(row.visit)
    shown = (row.number, visit, row.where, row.test, expected(row), row.limit)
    return (*shown, "", row.means, row.instrument, row.method)


def expected(row: Row) -> str:
    """What the circuit predicts, or why nothing can be said."""
    return row.expected or (f"not known: {row.missing}" if row.missing else "")


def others(row: Row) -> list[str]:
    """What other readings mean, one by one: each a value and a defect, neither of which holds a semicolon."""
    return row.means.split("; ") if row.means else []


def worded(schedule: Schedule, say: Callable[[str], str]) -> Schedule:
    """The schedule in the words of its rulebook; what the description names stays as it is."""

    def each(texts: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(say, texts))

    return schedule._replace(
        cautions=each(schedule.cautions),
        remarks=each(schedule.remarks),
        stops=tuple(
            stop._replace(steps=each(stop.steps), proves=each(stop.proves), remarks=each(stop.remarks))
            for stop in schedule.stops
        ),
        rows=tuple(
            row._replace(
                test=say(row.test),
                instrument=say(row.instrument),
                method=say(row.method),
                expected=say(row.expected),
                limit=say(row.limit),
                means=say(row.means),
                missing=say(row.missing),
                caution=say(row.caution),
            )
            for row in schedule.rows
        ),
    )


def heading(stop: Stop) -> str:
    """The name of a visit."""
    return "Without voltage" if stop.number == 0 else f"Visit {stop.number}"


def named(schedule: Schedule) -> str:
    """The site and its revision, as every sheet names them."""
    return f"{schedule.site}{f', revision {schedule.revision}' if schedule.revision else ''}"


def state(stop: Stop) -> str:
    """What is set otherwise than usual in a visit, in the words of a file of readings."""
    if stop.number == 0:
        return "everything off"
    return ", ".join(f"{name} {value}" for name, value in stop.unusual) or "everything as usual"


def instruments(schedule: Schedule) -> tuple[tuple[str, str], ...]:
    """Each instrument once, with the tests that it is for."""
    found: dict[str, list[str]] = {}
    for row in schedule.rows:
        if row.instrument != BY_HAND and _kind(row) not in (tests := found.setdefault(row.instrument, [])):
            tests.append(_kind(row))
    return tuple((instrument, ", ".join(tests)) for instrument, tests in found.items())


def groups(schedule: Schedule, visit: int) -> tuple[Group, ...]:
    """The tests of one visit, in their order."""
    rows = [row for row in schedule.rows if row.visit == visit]
    return tuple(
        Group(test, "; ".join(part for part in (instrument, method) if part != BY_HAND), caution, tuple(alike))
        for (test, instrument, method, caution), alike in groupby(
            rows, lambda row: (_kind(row), row.instrument, row.method, row.caution)
        )
    )


def _kind(row: Row) -> str:
    """A test without what is particular to one row."""
    if row.measurement is None:
        return row.test
    between = row.measurement.between
    if row.measurement.kind == "voltage":
        return row.test.partition(f" {between}")[0]
    return row.test.removesuffix(f" {between}") if between else row.test


def render(schedule: Schedule, *, width: int = 0) -> str:
    """The schedule for people, with a line to fill in for each test; ``width`` in columns (0: that of a printed page)."""
    width = min(width or WIDTH, WIDTH)
    revision = f", revision {schedule.revision}" if schedule.revision else ""
    out = wrapped("test schedule: ", f"{schedule.site} (rulebook {schedule.rulebook}{revision})", width)
    out += ["", *(line for caution in schedule.cautions for line in wrapped("! ", caution, width))]
    out += [line for remark in schedule.remarks for line in wrapped("  ", remark, width)]
    out += ["", *wrapped("", "Instruments (maker, serial number and calibration of each belong to the record)", width)]
    for instrument, tests in instruments(schedule):
        out += wrapped("  - ", f"{instrument}, for: {tests}", width)
    for stop in schedule.stops:
        out += ["", *wrapped("", f"{heading(stop)}: {state(stop)}", width)]
        out += [line for step in stop.steps for line in wrapped("  - ", step, width)]
        out += wrapped("  proves: ", "; ".join(stop.proves), width)
        out += [line for remark in stop.remarks for line in wrapped("  ! ", remark, width)]
        for group in groups(schedule, stop.number):
            out += ["", *wrapped("  ", f"{group.test}: {group.how}", width)]
            out += wrapped("  ! ", group.caution, width) if group.caution else []
            for row in group.rows:
                out += _row(row, width)
    out.append("")
    for who in SIGNED:
        out += _signed(who, width)
    return "\n".join(out) + "\n"


_BLANK = "reading: ____________"


def _row(row: Row, width: int) -> list[str]:
    lines = wrapped(f"  {row.number:<6}", f"{row.where}: {row.test}", width)
    room = width - neutralise.width(lines[-1]) - len(_BLANK)
    lines[-1:] = [lines[-1] + " " * room + _BLANK] if room > 1 else [lines[-1], " " * 8 + _BLANK]
    told = [("expected: ", expected(row)), ("accepted: ", row.limit)]
    told += [(" " * 10 if number else "else      ", other) for number, other in enumerate(others(row))]
    return lines + [line for lead, text in told if text for line in wrapped(" " * 8 + lead, text, width)]


def _signed(who: str, width: int) -> list[str]:
    """A line to sign on, or one below the other where the line is short."""
    asked = [f"{what}: {'_' * (11 if what == 'date' else 18)}" for what in SIGNS]
    line = "  ".join(asked)
    return [f"{who}:", *([f"  {line}"] if len(line) + 2 <= width else [f"  {one}" for one in asked])]


_UNIT = re.compile(r"(?<=[0-9]) (?=(?:[mkM]?(?:ohm|V|A|s)|x)\b|\?)")


def kept(text: str, between: str) -> str:
    """A text in which a number keeps its unit (or the mark of a clause) beside it, with what stands ``between`` them."""
    return _UNIT.sub(between, text)


def wrapped(lead: str, text: str, width: int) -> list[str]:
    """A text after a lead, its further lines below its first."""
    text = neutralise.for_terminal(text)
    if width <= len(lead) + 20:
        return [lead + text]
    import textwrap

    lines = textwrap.wrap(
        kept(text, "\0"),
        width,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\0", " ") for line in lines] or [lead]


def render_csv(schedule: Schedule) -> str:
    """The table as RFC 4180 with a line of names."""
    import csv
    import io

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in schedule.rows:
        writer.writerow([neutralise.for_csv(cell) for cell in cells(row)])
    return out.getvalue()


def render_xlsx(schedule: Schedule) -> bytes:
    """The schedule as a workbook: what to set up, instruments, and the tests with a cell for each reading.

    Raises ModuleNotFoundError where xlsxwriter, an extra, is not installed.  The same schedule gives the same bytes.
    """
    import datetime
    import io

    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties(
        {"title": f"Test schedule: {neutralise.for_terminal(schedule.site)}", "created": datetime.datetime(2000, 1, 1)}
    )
    forms = _Forms(book)
    visits, instruments_, tests = (book.add_worksheet(name) for name in ("Visits", "Instruments", "Tests"))
    for sheet in (visits, instruments_, tests):
        _paper(sheet, schedule)
    _write_visits(visits, schedule, forms)
    _write_instruments(instruments_, schedule, forms)
    _write_tests(tests, schedule, forms)
    book.close()
    return out.getvalue()


class _Forms:
    """How the cells of a workbook look."""

    def __init__(self, book: Workbook) -> None:
        def form(**look: object) -> Format:
            return book.add_format({"text_wrap": True, "valign": "top", **look})

        self.head = form(bold=True, bg_color="#E8ECF0", border=1)
        self.cell = form(border=1)
        self.blank = form(border=1, bg_color="#FFFBE6")
        self.plain = form()
        self.bold = form(bold=True)


def _paper(sheet: Worksheet, schedule: Schedule) -> None:
    """One page wide across the paper, with the site and the number of the page on each."""
    from onebond.reporting.words import speech

    sheet.set_landscape()
    sheet.set_paper(1 if PAPER.get(schedule.rulebook) == "letter" else 9)
    sheet.set_margins(left=0.4, right=0.4, top=0.75, bottom=0.75)
    sheet.fit_to_pages(1, 0)
    name = neutralise.for_terminal(named(schedule))
    short = (name if len(name) <= 90 else f"{name[:89]}\u2026").replace("&", "&&")
    sheet.set_header(f"&LTest schedule: {short}&R&A, page &P of &N")
    sheet.set_footer(f"&L{speech(schedule.rulebook)(REMINDER)}&RPrinted &D")


def _write_visits(sheet: Worksheet, schedule: Schedule, forms: _Forms) -> None:
    sheet.set_column(0, 0, 21)
    sheet.set_column(1, 1, 110)
    line = 0

    def put(first: str, second: str) -> None:
        nonlocal line
        sheet.write_string(line, 0, neutralise.for_terminal(first), forms.bold)
        sheet.write_string(line, 1, neutralise.for_terminal(second), forms.plain)
        line += 1

    revision = f", revision {schedule.revision}" if schedule.revision else ""
    put("Test schedule", f"{schedule.site}, rulebook {schedule.rulebook}{revision}")
    for caution in schedule.cautions:
        put("Caution", caution)
    for remark in schedule.remarks:
        put("Remark", remark)
    for stop in schedule.stops:
        put(heading(stop), state(stop))
        put("", f"set up: {'; '.join(stop.steps) or 'nothing to switch'}")
        put("", f"proves: {'; '.join(stop.proves)}")
        for remark in stop.remarks:
            put("Caution", remark)
    for who in SIGNED:
        for number, what in enumerate(SIGNS):
            sheet.write_string(line, 0, f"{who}: {what}" if not number else what, forms.head)
            sheet.write_blank(line, 1, None, forms.blank)
            sheet.set_row(line, 24)
            line += 1


def _write_instruments(sheet: Worksheet, schedule: Schedule, forms: _Forms) -> None:
    columns = (("instrument", 44), ("for", 44), ("maker and serial number", 30), ("calibrated until", 16))
    for column, (name, width) in enumerate(columns):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, name, forms.head)
    for line, told in enumerate(instruments(schedule), 1):
        for column, text in enumerate(told):
            sheet.write_string(line, column, neutralise.for_terminal(text), forms.cell)
        for column in (2, 3):
            sheet.write_blank(line, column, None, forms.blank)
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)


def _write_tests(sheet: Worksheet, schedule: Schedule, forms: _Forms) -> None:
    for column, (name, width) in enumerate(zip(COLUMNS, (8, 6, 19, 25, 23, 25, 18, 52, 36, 44), strict=True)):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, name, forms.head)
    for line, row in enumerate(schedule.rows, 1):
        for column, text in enumerate(cells(row)):
            form = forms.blank if COLUMNS[column] == "reading" else forms.cell
            sheet.write_string(line, column, neutralise.for_terminal(text), form)
    sheet.freeze_panes(1, COLUMNS.index("test"))
    sheet.autofilter(0, 0, len(schedule.rows), len(COLUMNS) - 1)
    sheet.repeat_rows(0)
    # without instrument and method, which stand on a sheet of their own, the rest is printed large enough to read
    sheet.print_area(0, 0, len(schedule.rows), COLUMNS.index("another reading means"))


def build(schedule: Schedule) -> dict[str, Any]:
    """The schedule as a tree of plain values."""
    tree: dict[str, Any] = {
        "onebond-schedule": 1,
        "site": schedule.site,
        "rulebook": schedule.rulebook,
        "revision": schedule.revision,
        "cautions": list(schedule.cautions),
        "remarks": list(schedule.remarks),
        "visits": [
            {
                "number": stop.number,
                "state": dict(stop.state),
                "steps": list(stop.steps),
                "positions": dict(stop.positions),
                "proves": list(stop.proves),
                "remarks": list(stop.remarks),
            }
            for stop in schedule.stops
        ],
        "tests": [dict(zip(COLUMNS, cells(row), strict=True)) for row in schedule.rows],
    }
    found: dict[str, Any] = neutralise.tree_for_json(tree)
    return found


def render_json(schedule: Schedule) -> str:
    """The same as JSON text."""
    import json

    return json.dumps(build(schedule), ensure_ascii=False, allow_nan=False, indent=2) + "\n"


# -- to fill in --------------------------------------------------------------------------------------------------------


def render_blank(schedule: Schedule, installation: str) -> str:
    """A file of readings in which every value waits to be written: a line that is not filled in stays a comment."""
    out = [
        "onebond-readings: 1",
        f"installation: {_quoted(installation)}",
        *([f"revision: {_quoted(schedule.revision)}"] if schedule.revision else []),
        "taken: _        # the day, as year-month-day",
        "# by: who took the readings",
        "# instrument: with what",
        "voltmeter: 10 Mohm",
        "readings:",
        "  # take the # away from each line that is filled in, and write the value with its unit in place of _,",
        "  # or `open` where it is beyond the range; take out what was not measured; `holds` is yes or no",
    ]
    for stop in schedule.stops:
        out += ["", f"  # {heading(stop)}"]
        state = _state(stop)
        for entry in _entries([row for row in schedule.rows if row.visit == stop.number]):
            out.append(f"  # - {{{', '.join([*([state] if state and stop.number else []), *entry])}}}")
    return "\n".join(out) + "\n"


def _state(stop: Stop) -> str:
    """What a reading has to say of the state of a visit: what is not as usual."""
    return f"state: {{{', '.join(f'{name}: {value}' for name, value in stop.unusual)}}}" if stop.unusual else ""


def _entries(rows: list[Row]) -> Iterator[list[str]]:
    """The readings of one visit; voltages of one place stand in one line."""
    together: dict[tuple[str, bool], list[str]] = {}
    order: list[tuple[str, bool] | list[str]] = []
    times: dict[str, list[str]] = {}
    for row in rows:
        measurement = row.measurement
        if measurement is None:
            continue
        if measurement.kind == "voltage":
            key = (measurement.at, measurement.loads)
            if key not in together:
                together[key] = []
                order.append(key)
            together[key].append(f"{measurement.between}: _ V")
        elif measurement.kind == "rcd":
            if measurement.at not in times:
                times[measurement.at] = []
                order.append([f"rcd: {measurement.at}", "times"])
            times[measurement.at].append(f"{measurement.between}: _ ms")
        else:
            order.append(_entry(measurement))
    for one in order:
        if isinstance(one, tuple):
            at, loads = one
            yield [f"at: {at}", *([] if loads else ["loads: off"]), *together[one]]
        elif one[-1] == "times":
            yield [one[0], f"times: {{{', '.join(times[one[0].removeprefix('rcd: ')])}}}"]
        else:
            yield one


def _entry(measurement: Measurement) -> list[str]:
    at, between = measurement.at, measurement.between
    if measurement.kind == "continuity":
        return [f"from: {at}", f"to: {between}", "continuity: _ ohm"]
    if measurement.kind == "electrode":
        return [f"electrode: {at}", "resistance: _ ohm"]
    if measurement.kind == "clamp":
        return [f"clamp: {at}", "current: _ mA"]
    if measurement.kind == "holds":
        return [f"rcd: {at}", "holds: _"]
    if measurement.kind == "loop":
        return [f"at: {at}", f"line: {between.split('-')[0]}", "loop: _ ohm"]
    return [f"at: {at}", f"{measurement.kind}: _ {'Mohm' if measurement.kind == 'insulation' else 'ohm'}"]


def _quoted(text: str) -> str:
    """A scalar that YAML cannot take for anything else."""
    import json

    return json.dumps(neutralise.for_terminal(text), ensure_ascii=False)
