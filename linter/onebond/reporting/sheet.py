"""The test schedule as text, CSV and JSON, and as a file of readings to fill in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from onebond.reporting import neutralise

if TYPE_CHECKING:
    from onebond.meter.measurements import Measurement
    from onebond.schedule import Row, Schedule, Stop

COLUMNS = (
    *(
        "number",
        "visit",
        "test",
        "where",
        "instrument",
        "method",
        "expected",
        "limit",
        "reading",
        "another reading means",
    ),
)
"""The columns of the table, in every form of it."""


def cells(row: Row) -> tuple[str, ...]:
    """The cells of one test; that of the reading is empty."""
    expected = row.expected or (f"open: {row.missing}" if row.missing else "")
    visit = "dead" if row.visit == 0 else str(row.visit)
    return (row.number, visit, row.test, row.where, row.instrument, row.method, expected, row.limit, "", row.means)


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
            )
            for row in schedule.rows
        ),
    )


def heading(stop: Stop) -> str:
    """The name of a visit."""
    return "Without voltage" if stop.number == 0 else f"Visit {stop.number}"


def tools(schedule: Schedule) -> tuple[tuple[str, str, str], ...]:
    """Each kind of test once, with its instrument and its method."""
    found: dict[str, tuple[str, str, str]] = {}
    for row in schedule.rows:
        kind = row.measurement.kind if row.measurement else row.test
        method = "loads off, or on where that is written" if kind == "voltage" else row.method
        found.setdefault(kind, (row.test.split(" L1-")[0] if kind == "voltage" else _kind(row), row.instrument, method))
    return tuple(found.values())


def _kind(row: Row) -> str:
    """A test without what is particular to one row."""
    between = row.measurement.between if row.measurement else ""
    return row.test.removesuffix(f" {between}") if between else row.test


def render(schedule: Schedule, *, width: int = 0) -> str:
    """The schedule for people, a line to fill in for each test; ``width`` in columns (0: do not wrap)."""
    name = neutralise.for_terminal(schedule.site)
    revision = f", revision {schedule.revision}" if schedule.revision else ""
    out = [f"test schedule: {name} (rulebook {schedule.rulebook}{neutralise.for_terminal(revision)})", ""]
    out += [line for caution in schedule.cautions for line in wrapped("! ", caution, width)]
    out += [line for remark in schedule.remarks for line in wrapped("  ", remark, width)]
    out += ["", "Instruments and methods"]
    for test, instrument, method in tools(schedule):
        out += wrapped("  ", f"{test}: {instrument}; {method}", width)
    for stop in schedule.stops:
        out += ["", heading(stop)]
        out += [line for step in stop.steps for line in wrapped("  - ", step, width)]
        out += wrapped("  proves: ", "; ".join(stop.proves), width)
        out += [line for remark in stop.remarks for line in wrapped("  ! ", remark, width)]
        for row in schedule.rows:
            if row.visit == stop.number:
                out += _row(row, width)
    return "\n".join(out) + "\n"


def _row(row: Row, width: int) -> list[str]:
    _, _, test, where, _, _, expected, limit, _, means = cells(row)
    shown = "; ".join(part for part in (expected and f"expected: {expected}", limit and f"accepted: {limit}") if part)
    at = "from" if row.measurement and row.measurement.kind == "continuity" else "at"
    lines = wrapped(f"  {row.number:<6}", f"{test} {at} {where}; {shown}   reading: ________", width)
    return lines + (wrapped(" " * 8, f"else {means}", width) if means else [])


def wrapped(lead: str, text: str, width: int) -> list[str]:
    """A text after a lead, its further lines below its first."""
    text = neutralise.for_terminal(text)
    if width <= len(lead) + 20:
        return [lead + text]
    import textwrap

    return textwrap.wrap(
        text,
        width,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_long_words=False,
        break_on_hyphens=False,
    ) or [lead]


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
    """The schedule as a workbook: cautions and visits, then the tests with a cell for each reading.

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
    head = book.add_format({"bold": True, "bg_color": "#E8ECF0", "text_wrap": True, "valign": "top", "border": 1})
    cell = book.add_format({"text_wrap": True, "valign": "top", "border": 1})
    filled = book.add_format({"text_wrap": True, "valign": "top", "border": 1, "bg_color": "#FFFBE6"})
    plain = book.add_format({"text_wrap": True, "valign": "top"})
    bold = book.add_format({"bold": True})
    visits = book.add_worksheet("Visits")
    visits.set_column(0, 0, 16)
    visits.set_column(1, 1, 110)
    line = 0

    def put(first: str, second: str) -> None:
        nonlocal line
        visits.write_string(line, 0, neutralise.for_terminal(first), bold)
        visits.write_string(line, 1, neutralise.for_terminal(second), plain)
        line += 1

    put(
        "Test schedule",
        f"{schedule.site}, rulebook {schedule.rulebook}{f', revision {schedule.revision}' if schedule.revision else ''}",
    )
    for caution in schedule.cautions:
        put("Caution", caution)
    for remark in schedule.remarks:
        put("Remark", remark)
    for stop in schedule.stops:
        put(heading(stop), "; ".join(stop.steps) or "nothing to switch")
        put("", f"proves: {'; '.join(stop.proves)}")
        for remark in stop.remarks:
            put("Caution", remark)
    tests = book.add_worksheet("Tests")
    for column, (name, width) in enumerate(zip(COLUMNS, (8, 7, 26, 22, 30, 30, 30, 30, 16, 60), strict=True)):
        tests.set_column(column, column, width)
        tests.write_string(0, column, name, head)
    for number, row in enumerate(schedule.rows, 1):
        for column, text in enumerate(cells(row)):
            form = filled if COLUMNS[column] == "reading" else cell
            tests.write_string(number, column, neutralise.for_terminal(text), form)
    tests.freeze_panes(1, 4)
    tests.autofilter(0, 0, len(schedule.rows), len(COLUMNS) - 1)
    tests.set_landscape()
    tests.fit_to_pages(1, 0)
    tests.repeat_rows(0)
    book.close()
    return out.getvalue()


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

    return json.dumps(build(schedule), ensure_ascii=False, indent=2) + "\n"


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
