"""Computed figures for people, programs and tables: earth faults, normal service, floating systems, single failures.

The text numbers the operating states once, ahead of the tables; a row names the states in which its values hold.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from onebond.reporting import neutralise, text, words
from onebond.result import (
    Condition,
    ConductorFigure,
    DirectFigure,
    FailureFigure,
    FaultFigure,
    Figures,
    FloatingFigure,
    LossFigure,
    RcdFigure,
    Site,
    SupplyFigure,
)

SECTIONS = ("faults", "service", "floating", "failures", "direct-current")

CSV_COLUMNS = (
    *("place", "when", "fed-by", "earthing", "line", "second-fault", "loop-ohm", "current-a", "device"),
    *("opens-within-s", "may-open-from-s", "limit-s", "verdict", "touch-v", "touch-met-v", "open", "why"),
)

_PAGE = 120
_NAMES_SHOWN = 6
_FRAMES_SHOWN = 3
_TOO_MANY = "is one reference too many"

_Row = (
    FaultFigure
    | SupplyFigure
    | ConductorFigure
    | RcdFigure
    | FloatingFigure
    | FailureFigure
    | LossFigure
    | DirectFigure
)
_AnyRow = TypeVar(
    "_AnyRow",
    FaultFigure,
    SupplyFigure,
    ConductorFigure,
    RcdFigure,
    FloatingFigure,
    FailureFigure,
    LossFigure,
    DirectFigure,
)
_Table = list[list[str]]


def narrowed(figures: Figures, places: Sequence[str], sections: Sequence[str]) -> Figures:
    """Only the rows about some places, cables or devices, and only some sections; empty: all of them."""

    def kept(section: str, rows: tuple[Any, ...]) -> tuple[Any, ...]:
        if sections and section not in sections:
            return ()
        return tuple(row for row in rows if not places or not set(places).isdisjoint(_names(row)))

    return figures._replace(
        faults=kept("faults", figures.faults),
        supply=kept("service", figures.supply),
        conductors=kept("service", figures.conductors),
        rcds=kept("service", figures.rcds),
        floating=kept("floating", figures.floating),
        failures=kept("failures", figures.failures),
        losses=kept("failures", figures.losses),
        direct=kept("direct-current", figures.direct),
    )


def _names(row: _Row) -> tuple[str, ...]:
    return (row.place, row.at) if isinstance(row, (FaultFigure, SupplyFigure)) else (_name(row),)


def _name(row: _Row) -> str:
    if isinstance(row, (FaultFigure, SupplyFigure)):
        return row.at
    if isinstance(row, (FloatingFigure, DirectFigure)):
        return row.place
    return row.id if isinstance(row, RcdFigure) else row.connection


# -- text --------------------------------------------------------------------------------------------------------------


def render(site: Site, *, width: int = 0) -> str:
    """The figures of one site as text; ``width`` in columns (0: as many as a wide page has)."""
    shown = neutralise.for_terminal(site.path)
    if site.problems or site.problems_left_out:
        lines = text.problem_lines(site, colour=False, width=width)
        return "\n".join([*lines, "", f"{shown}: refused: no figures, since the description could not be read"]) + "\n"
    out = [neutralise.for_terminal(f"{site.path}: {site.name}" if site.name else site.path)]
    out.append(
        neutralise.for_terminal(f"{words.count(site.cases, 'case')} (rulebook {site.rulebook}, stage {site.stage})")
    )
    figures = site.figures
    if figures is not None:
        page = width or _PAGE
        say = words.speech(site.rulebook, site.named)
        numbers = numbered(site, figures)
        for heading, table, rows in sections(figures, numbers, say):
            if rows:
                out += ["", heading, *_laid_out(table, rows, page)]
        if numbers:
            out += ["", *_states(site, numbers, page), "", *_notes(figures, page, say)]
        elif site.cases:
            out += ["", "no figures of what was asked for"]
        else:
            out += ["", "no live island: nothing is supplied in any state that was looked at"]
    for fault in sorted(site.faults):
        told = (
            f"{site.path}:1:1: error: internal error in rule {fault.rule} on subject {fault.subject}: {fault.message}"
        )
        out += ["", neutralise.for_terminal(f"{told} [internal]")]
    if site.not_proven:
        out += ["", *(f"not proven: {neutralise.for_terminal(name)}" for name in site.not_proven)]
    return "\n".join(out) + "\n"


def _rows(figures: Figures) -> Iterable[_Row]:
    yield from figures.faults
    yield from figures.supply
    yield from figures.conductors
    yield from figures.rcds
    yield from figures.floating
    yield from figures.failures
    yield from figures.losses
    yield from figures.direct


def numbered(site: Site, figures: Figures) -> dict[tuple[Condition, ...], int]:
    """The sets of states that rows hold in, numbered: those that are told in few words first."""
    found = {row.conditions for row in _rows(figures)}

    def order(conditions: tuple[Condition, ...]) -> tuple[int, int, list[str]]:
        told = [words.condition(one, site.devices) for one in conditions]
        return len(conditions), max(len(one) for one in conditions), told

    return {conditions: number for number, conditions in enumerate(sorted(found, key=order), 1)}


def _states(site: Site, numbers: dict[tuple[Condition, ...], int], page: int) -> list[str]:
    out = ["states, by the number under `when`"]
    room = len(str(len(numbers)))
    for conditions, index in numbers.items():
        label = str(index)
        for at, told in enumerate(words.alternatives(conditions, site.devices)):
            more = at == words.ALTERNATIVES_SHOWN  # this text says how many more there are
            for line in text.wrapped(
                neutralise.for_terminal(f"or {told}" if at and not more else told), page - room - 4
            ):
                out.append(f"  {label:>{room}}  {line}")
                label = ""
    return out


def sections(
    figures: Figures, numbers: dict[tuple[Condition, ...], int], say: Callable[[str], str]
) -> Iterable[tuple[str, tuple[str, ...], _Table]]:
    """Heading, columns (``|`` parts the two lines of a head, a leading ``>`` is a column of numbers) and cells.

    ``say`` puts texts into the words of the rulebook.
    """
    for heading, columns, rows in _sections(figures, numbers):
        heads = tuple("|".join(map(say, column.split("|"))) for column in columns)
        yield say(heading), heads, [[say(cell) for cell in row] for row in rows]


def _sections(
    figures: Figures, numbers: dict[tuple[Condition, ...], int]
) -> Iterable[tuple[str, tuple[str, ...], _Table]]:

    def when(row: _Row) -> list[str]:
        return [str(numbers[row.conditions]), ", ".join(row.sources) or "-"]

    def ordered(rows: Sequence[_AnyRow]) -> list[_AnyRow]:
        names = list(dict.fromkeys(_name(row) for row in rows))
        place = {name: at for at, name in enumerate(names)}
        return sorted(rows, key=lambda row: (place[_name(row)], row.sources, numbers[row.conditions]))

    starred = any(row.limited_by for row in figures.faults)
    yield (
        "earth faults",
        (
            *("place", ">when", "fed by", "fault", ">loop|ohm", ">fault|A", ">touch V|to earth", ">|to MET"),
            *(">limit", ">opens|within", "by"),
        ),
        [
            [
                *(row.at, *when(row), _fault(row), number(row.loop_ohm, 4)),
                number(row.current_a, 4) + ("*" if row.limited_by else " " * starred),
                *(number(row.touch_v), number(row.touch_met_v), seconds(row.limit_s), seconds(row.certain_s)),
                _by(row),
            ]
            for row in ordered(figures.faults)
        ],
    )
    yield (
        "normal service: places",
        ("place", ">when", "fed by", ">drop|%", ">N to PE|V", "remarks"),
        [
            [row.at, *when(row), number(row.drop_percent), number(row.n_pe_v), _remarks(row, _loads(row.without))]
            for row in ordered(figures.supply)
        ],
    )
    yield (
        "normal service: conductors",
        ("cable", ">when", "fed by", ">N|A", ">PE|A", "remarks"),
        [
            [
                *(row.connection, *when(row), number(row.neutral_a), number(row.pe_a)),
                _remarks(
                    row,
                    "the neutral is a PEN" if row.core == "PEN" else "",
                    f"{row.surplus} {_TOO_MANY}" if row.surplus and row.pe_a else "",
                    _loads(row.without),
                ),
            ]
            for row in ordered(figures.conductors)
        ],
    )
    yield (
        "normal service: residual current devices",
        ("device", ">when", "fed by", ">rated|mA", ">leakage|mA", ">with loads|mA", "remarks"),
        [
            [
                *(row.id, *when(row), *(number(_milli(value)) for value in (row.rated_a, row.standing_a, row.total_a))),
                _remarks(
                    row,
                    row.diverts and f"{row.diverts} {'lies behind it' if row.behind else _TOO_MANY}",
                    f"no leakage is written for {_some(row.no_leakage)}" if row.no_leakage and not row.open else "",
                    _loads(row.without) if row.diverts else "",
                ),
            ]
            for row in ordered(figures.rcds)
        ],
    )
    alike: dict[FloatingFigure, list[str]] = {}
    for row in ordered(figures.floating):
        alike.setdefault(row._replace(place=""), []).append(row.place)
    yield (
        "floating systems: what meters read, and what flows through a person from the line to PE",
        (
            *("fed by", ">when", "line", ">10 Mohm:|L-N, V", ">|L-PE, V", ">|N-PE, V"),
            *(">3 kohm:|L-N, V", ">|L-PE, V", ">|N-PE, V", ">person|mA", "at"),
        ),
        [
            [
                *(*reversed(when(row)), row.line, *(_band(one) for one in (*row.digital_v, *row.low_impedance_v))),
                *(_band(row.person_a and (row.person_a[0] * 1000, row.person_a[1] * 1000)), ", ".join(places)),
            ]
            for row, places in alike.items()
        ],
    )
    yield (
        "single failures: a neutral or PEN broken",
        ("cable", ">when", "fed by", "core", ">load|V", "at", ">frame to|earth, V", "at", "remarks"),
        [
            [
                *(row.connection, *when(row), row.core, number(row.load_v, 1), row.load if row.load_v else "-"),
                *(number(row.frame_v, 1), row.frame if row.frame_v else "-", _remarks(row)),
            ]
            for row in ordered(figures.failures)
        ],
    )
    yield (
        "single failures: a protective conductor, a link or an electrode broken",
        ("part", ">when", "fed by", "what", "without earth", ">carries|mA"),
        [
            [
                *(row.connection, *when(row), row.core),
                "the neutral" if row.floats else words.shortened(row.frames, _FRAMES_SHOWN),
                number(None if row.leaking_a is None else row.leaking_a * 1000, 3),
            ]
            for row in ordered(figures.losses)
        ],
    )
    yield (
        "direct current: a short circuit between the poles, over all positions of the switches",
        ("place", "fed by", ">largest|A", ">least|A", "remarks"),
        [
            [row.place, ", ".join(row.sources), number(row.largest_a), number(row.least_a), _remarks(row)]
            for row in ordered(figures.direct)
        ],
    )


def _fault(row: FaultFigure) -> str:
    if row.earthing == "floating":
        return row.earthing
    return f"{row.earthing} {row.line}".rstrip() + (", 2nd" if row.second else "")


def _by(row: FaultFigure) -> str:
    """What opens; else what is not known, or why nothing does."""
    if row.open:
        return _open(row.open)
    if row.why:
        return row.why
    if row.verdict == "certain":
        return row.device
    if row.verdict == "possible":
        return f"not certain: may open from {seconds(row.possible_from_s)} on"
    if row.device:
        return f"too late: {row.device}" if row.verdict == "impossible" else row.device
    if row.earthing == "IT" and not row.second:
        return "nothing: a first fault stands"
    if row.limited_by and row.touch_met_v is not None and row.touch_met_v <= 50:
        return "nothing: the source goes on at its limit"
    return "nothing"


def _remarks(row: SupplyFigure | ConductorFigure | RcdFigure | FailureFigure | DirectFigure, *told: str) -> str:
    left = _open(row.open) if row.open else row.why
    return "; ".join(one for one in (left, *told) if one)


def _open(what: str) -> str:
    return f"open: {what.removeprefix('the ')}"


def _loads(without: tuple[str, ...]) -> str:
    return f"no load is written for {_some(without)}" if without else ""


def number(value: float | None, decimals: int = 3) -> str:
    """A value to three significant digits and so many decimals at most, a dash where there is none."""
    if value is None:
        return "-"
    if not value:
        return "0"
    return f"{value:.{min(decimals, max(0, 2 - math.floor(math.log10(value))))}f}"


def seconds(value: float | None) -> str:
    """A time with its unit: from a second on in seconds, below in milliseconds."""
    if value is None:
        return "-"
    return f"{value:.10g} s" if value >= 1 else f"{value * 1000:.3g} ms"


def _milli(value: float | None) -> float | None:
    return None if value is None else value * 1000


def _band(value: tuple[float, float] | None) -> str:
    if value is None:
        return "-"
    low, high = number(value[0]), number(value[1])
    return low if low == high else f"{low}-{high}"


def _laid_out(columns: tuple[str, ...], rows: _Table, page: int) -> list[str]:
    """A table with two lines of heads; the last column is wrapped, and a first cell that repeats is left blank."""
    heads = [column.lstrip(">").partition("|") for column in columns]
    cells = [[neutralise.for_terminal(cell) for cell in row] for row in rows]
    if not any(row[-1] for row in cells):
        heads, cells = heads[:-1], [row[:-1] for row in cells]
    top, below = [head for head, _, _ in heads], [unit for _, _, unit in heads]
    rooms = [
        max(neutralise.width(one[index]) for one in (top, below, *cells)) for index in range(len(heads))
    ]  # the last one only says where it begins
    rest = max(page - 2 - sum(rooms[:-1]) - 2 * (len(rooms) - 1), 20)

    def line(row: Sequence[str]) -> list[str]:
        fixed = []
        for column, room, cell in zip(columns, rooms[:-1], row, strict=False):
            space = " " * (room - neutralise.width(cell))
            fixed.append(space + cell if column.startswith(">") else cell + space)
        last, *more = text.wrapped(row[-1], rest)
        if columns[len(rooms) - 1].startswith(">"):
            last = last.rjust(rooms[-1])
        start = "  " + "".join(f"{cell}  " for cell in fixed)
        return [(start + last).rstrip(), *(" " * neutralise.width(start) + one for one in more)]

    out = line(top) + (line(below) if any(below) else [])
    before = ""
    for row in cells:
        out += line(["" if row[0] == before else row[0], *row[1:]])
        before = row[0]
    return out


def notes(figures: Figures, say: Callable[[str], str]) -> tuple[list[str], list[str]]:
    """What the figures mean, and what was assumed, as far as it concerns the tables that are shown."""
    meaning, assumed = _said_of(figures)
    return [*map(say, meaning)], [*map(say, assumed)]


def _said_of(figures: Figures) -> tuple[list[str], list[str]]:
    meaning, assumed = [], []
    service = bool(figures.supply or figures.conductors or figures.rcds or figures.failures)
    if figures.faults:
        if any(row.limited_by for row in figures.faults):
            meaning.append("*: a source that limits its current gives no more")
        meaning.append("opens within: by then the device has opened for certain, by the gates of its product standard")
        meaning.append(
            "limit: table 41.1 of IEC 60364-4-41 and its clauses for other circuits"
            if figures.table
            else "limit: the rulebook has no table of times; a few seconds are our choice"
        )
        if any(row.second for row in figures.faults):
            meaning.append("2nd: the second fault of an IT system, with the first one at the source")
        assumed.append("faults without resistance; conductors at the highest temperature of their insulation")
        if figures.voltage_factor != 1.0:
            assumed.append(
                f"{figures.voltage_factor:g} of the nominal voltage for fault currents and times, all of it for touch"
            )
        if figures.fuses != "gG":
            assumed.append(f"fuses by the printed impedances of {figures.fuses}")
        if figures.utilities:
            names = _some(figures.utilities)
            assumed.append(
                f"the supply loop of {names}: half in the line, half in the return conductor, as a resistance"
            )
        if figures.beside:
            assumed.append("electrodes beside a supplier's PE or PEN: not counted on in earth faults")
        inverters, generators = (
            tuple(name for name, of in figures.undeclared if of == kind) for kind in ("inverter", "generator")
        )
        if inverters:
            assumed.append(f"{_some(inverters)}: the rated current, since no fault current is written")
        if generators:
            assumed.append(
                f"{_some(generators)}: the least that a set gives for good, since no sustained-fault-current is written; "
                "its loops are not known then"
            )
    if service:
        assumed.append("normal service with the written loads and leakages at nominal voltage")
    if figures.failures:
        meaning.append("single failures: only those after which a load or a frame has a voltage")
    if service and figures.resistive:
        assumed.append(f"loads without a power factor, taken as resistive: {_some(figures.resistive)}")
    if figures.direct:
        assumed.append(
            "d.c., largest: batteries full, at 1.2 times their rated voltage and in their first moments, cables at 20 C, arrays in the sun"
        )
        assumed.append(
            "d.c., least: batteries nearly empty, at 0.9 of it, warm cables, by night; their electronics may end it sooner"
        )
        assumed.append("d.c.: what the capacitors and the charger of an inverter add is left out")
    if figures.floating:
        assumed.append("floating systems: the least and the largest stray capacitance that the cables may have")
        bare = tuple(dict.fromkeys(name for row in figures.floating if row.cables_only for name in row.sources))
        if bare:
            assumed.append(f"nothing but cables between {_some(bare)} and earth: no filter or leakage is written")
    if figures.pe_as_lines:
        assumed.append(f"PE of the size of the lines, since no pe-size is written: {_some(figures.pe_as_lines)}")
    return meaning, assumed


def _notes(figures: Figures, page: int, say: Callable[[str], str]) -> list[str]:
    out = []
    for heading, told in zip(("meaning", "assumed"), notes(figures, say), strict=True):
        for index, one in enumerate(told):
            lines = text.wrapped(neutralise.for_terminal(one), page - 9)
            out += [f"{'' if index or at else heading:9}{line}" for at, line in enumerate(lines)]
    return [*out, "", *text.wrapped(CAUTION, page)]


CAUTION = (
    "Computed from the description, not measured: measurement and the local code decide, and a licensed person answers "
    "for both."
)


def _some(names: tuple[str, ...]) -> str:
    return words.shortened(names, _NAMES_SHOWN)


# -- for programs ------------------------------------------------------------------------------------------------------


def build(site: Site) -> dict[str, Any]:
    """The same as a tree of plain values, every string in it safe for JSON; a null is a value that is not there."""
    figures = site.figures
    tree: dict[str, Any] = {
        "onebond-figures": 1,
        "path": site.path,
        "sha256": site.sha256,
        "parts": words.part_files(site),
        "site": site.name,
        "rulebook": site.rulebook,
        "stage": site.stage,
        "cases": site.cases,
    }
    if figures is not None:
        tree |= {
            "earth-faults": [_fault_tree(row) for row in figures.faults],
            "places": [
                {"place": row.at, **_common(row), "drop-percent": row.drop_percent, "n-pe-v": row.n_pe_v, **_left(row)}
                for row in figures.supply
            ],
            "conductors": [
                {
                    "cable": row.connection,
                    **_common(row),
                    "neutral-core": row.core,
                    "neutral-a": row.neutral_a,
                    "pe-a": row.pe_a,
                    "surplus": row.surplus,
                    **_left(row),
                }
                for row in figures.conductors
            ],
            "rcds": [
                {
                    "device": row.id,
                    **_common(row),
                    "rated-a": row.rated_a,
                    "leakage-a": row.standing_a,
                    "with-loads-a": row.total_a,
                    "diverted-by": row.diverts,
                    "diverted-behind": row.behind,
                    "no-leakage": list(row.no_leakage),
                    **_left(row),
                }
                for row in figures.rcds
            ],
            "floating": [
                {
                    "place": row.place,
                    **_common(row),
                    "line": row.line,
                    "digital-v": _readings(row.digital_v),
                    "low-impedance-v": _readings(row.low_impedance_v),
                    "person-a": _low_high(row.person_a),
                    "cables-only": row.cables_only,
                }
                for row in figures.floating
            ],
            "failures": [
                {
                    "cable": row.connection,
                    **_common(row),
                    "core": row.core,
                    "load-v": row.load_v,
                    "load-at": row.load,
                    "frame-v": row.frame_v,
                    "frame-at": row.frame,
                    "nominal-v": row.nominal_v,
                    "open": row.open,
                    "why": row.why,
                }
                for row in figures.failures
            ],
            "losses": [
                {
                    "part": row.connection,
                    **_common(row),
                    "what": row.core,
                    "frames": list(row.frames),
                    "neutral-floats": row.floats,
                    "carries-a": row.leaking_a,
                }
                for row in figures.losses
            ],
            "direct-current": [
                {
                    "place": row.place,
                    **_common(row),
                    "largest-a": row.largest_a,
                    "least-a": row.least_a,
                    "open": row.open,
                    "why": row.why,
                }
                for row in figures.direct
            ],
            "assumed": {
                "voltage-factor": figures.voltage_factor,
                "fuses": figures.fuses,
                "limits-of-table-41.1": figures.table,
                "loop-halved": list(figures.utilities),
                "electrodes-beside-pe-left-out": figures.beside,
                "fault-current-not-written": [name for name, _ in figures.undeclared],
                "pe-as-lines": list(figures.pe_as_lines),
                "resistive": list(figures.resistive),
            },
        }
    tree |= {
        "not-proven": list(site.not_proven),
        "problems": [
            {
                "file": words.file_of(site, problem.span),
                "line": problem.span.line,
                "column": problem.span.column,
                "message": problem.message,
                "hint": problem.hint,
            }
            for problem in site.problems
        ],
        "problems-left-out": site.problems_left_out,
        "faults": [
            {"rule": fault.rule, "subject": fault.subject, "message": fault.message} for fault in sorted(site.faults)
        ],
        "caution": CAUTION,
    }
    safe: dict[str, Any] = neutralise.tree_for_json(tree)
    return safe


def _common(row: _Row) -> dict[str, Any]:
    return {
        "when": [{name: list(values) for name, values in one} for one in row.conditions],
        "fed-by": list(row.sources),
    }


def _left(row: SupplyFigure | ConductorFigure | RcdFigure) -> dict[str, Any]:
    return {"no-load": list(row.without), "open": row.open, "why": row.why}


def _fault_tree(row: FaultFigure) -> dict[str, Any]:
    return {
        "place": row.at,
        **_common(row),
        "earthing": row.earthing,
        "line": row.line,
        "second-fault": row.second,
        "loop-ohm": row.loop_ohm,
        "current-a": row.current_a,
        "device": row.device,
        "opens-within-s": row.certain_s,
        "may-open-from-s": row.possible_from_s,
        "limit-s": row.limit_s,
        "verdict": row.verdict,
        "touch-v": row.touch_v,
        "touch-met-v": row.touch_met_v,
        "limited-by": row.limited_by,
        "open": row.open,
        "why": row.why,
    }


def _readings(values: tuple[tuple[float, float] | None, ...]) -> dict[str, Any]:
    return {name: _low_high(value) for name, value in zip(("l-n", "l-pe", "n-pe"), values, strict=True)}


def _low_high(value: tuple[float, float] | None) -> dict[str, float] | None:
    return None if value is None else {"low": value[0], "high": value[1]}


def render_json(site: Site) -> str:
    """``build`` as strict JSON that ends with a line end."""
    import json  # only this report needs it

    return json.dumps(build(site), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def render_csv(site: Site) -> str:
    """The earth faults as RFC 4180 with a line of names; an empty cell is a value that is not there."""
    import csv  # only this report needs it
    import io

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for row in site.figures.faults if site.figures else ():
        tree = _fault_tree(row)
        tree["when"] = " | ".join([words.condition(one, site.devices) for one in row.conditions])
        tree["fed-by"] = ", ".join(row.sources)
        tree["second-fault"] = "yes" if row.second else "no"
        writer.writerow([_cell(tree[column]) for column in CSV_COLUMNS])
    return out.getvalue()


def _cell(value: str | float | None) -> str:
    if value is None:
        return ""
    if value == "-":  # of our own words, and nothing to compute
        return value
    return neutralise.for_csv(value) if isinstance(value, str) else f"{value:.10g}"
