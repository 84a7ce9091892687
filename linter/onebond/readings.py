"""A file of readings against the description that it belongs to: what can be understood of it, and every problem.

A reading that makes no sense is told with its line and column, and all others still count: nobody measures a site again for one slip of
the pen.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

import onebond_schemas
from onebond import quantity, schema
from onebond.assembly import named
from onebond.document import node_at
from onebond.facts import Refused
from onebond.meter.diagnose import FLOOR
from onebond.meter.measurements import Measurement, Site, live_cores
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading, Readings
from onebond.model import LINES
from onebond.result import Level, Problem
from onebond.span import Route, Span

if TYPE_CHECKING:
    from onebond.document import Document, Node

KEY = "readings"
"""Under which the readings stand in the document of a site; no section of a description has that name."""

MOST = 1_000_000
"""More entries than any file has."""

LIVE_V = 50.0
"""From this voltage on something feeds the conductor; below it strays of other installations may (common practice, no source)."""

METERS = {"10 Mohm": "digital", "3 kohm": "low-impedance"}

_PAIRS = (*(f"{line}-{end}" for end in ("N", "PE") for line in LINES), "L1-L2", "L2-L3", "L1-L3", "N-PE")
_AT = (*_PAIRS, "tie", "loop", "insulation")
_SUBJECTS = {
    "at": _AT,
    "from": ("continuity",),
    "electrode": ("resistance",),
    "rcd": ("times", "holds"),
    "clamp": ("current", "residual"),
}
"""What says of what a reading is, and which values go with it."""

_VALUES = frozenset(key for keys in _SUBJECTS.values() for key in keys)


BEGINS = "a file of readings begins with `onebond-readings: 1`, followed by `installation:`, `taken:` and `readings:`"

REFUSED = "reading-refused"
"""The rule under which what is wrong with a file of readings is reported."""


class Read(NamedTuple):
    """A file of readings: its document, what was understood, what was not, and what is no more than a note.

    The document has no content where the text could not be taken apart, and no line where there is no text.
    """

    document: Document
    readings: Readings | None
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()
    left_out: int = 0  # problems that are not told; nothing behind them was read

    @property
    def entries(self) -> int:
        """How many entries of the list the readings stand in; an entry may hold several, each of one value."""
        return len({one.route[:3] for one in self.readings.readings}) if self.readings else 0


def load(path: str, plant: Plant, name: str, today: str = "") -> Read:
    """The readings of a file about the site of a plant.

    ``name`` is the file name of its description, ``today`` (ISO 8601) the day after which nothing can have been read; without it
    no day is too late.
    """
    from onebond.document import load_file

    data, problems = load_file(path)
    if data is None:
        return Read(_nothing(path, (), b""), None, tuple(problems))
    return of_text(data, path, plant, name, today)


def of_text(data: bytes, path: str, plant: Plant, name: str, today: str = "") -> Read:
    """The same of a text that lies, or would lie, at a path."""
    from onebond.document import parse

    parsed = parse(data, path, BEGINS)
    document = parsed.document
    if document is None:
        empty = _nothing(path, parsed.lines, data)
        return Read(empty, None, tuple(parsed.problems), left_out=parsed.left_out)
    if "onebond" in document.root.keys and "onebond-readings" not in document.root.keys:
        hint = f"name the description first, and then its readings; {BEGINS}"
        problem = Problem(document.root.keys["onebond"], "this is a description, not a file of readings", hint)
        return Read(document, None, (problem,))
    found, left_out = schema.check(document, onebond_schemas.READINGS)
    reader = _Reader(document, plant, {problem.route for problem in found if problem.route}, left_out > 0, today)
    readings = reader.readings(name)
    places = {problem.span[:2] for problem in parsed.problems}
    found = [_not_filled_in(problem, document) for problem in found]
    more = [problem for problem in (*found, *reader.problems) if problem.span[:2] not in places]
    everything = sorted([*parsed.problems, *more], key=lambda problem: (problem.span, problem.message))
    return Read(document, readings, tuple(everything), tuple(reader.notes), left_out + parsed.left_out)


def _nothing(path: str, lines: tuple[str, ...], data: bytes) -> Document:
    """A document without content: it only shows the lines of the problems."""
    from onebond.document import Document, Node

    return Document(path, "", lines, Node("map", {}, Span(1, 1, 1, 1), {}), data)


def _not_filled_in(problem: Problem, document: Document) -> Problem:
    """What is wrong where a blank was left as it is: not the form of a value, but that there is none yet."""
    node = node_at(document, problem.route)
    if problem.route == ("readings",) and node is not None and not node.value:
        waiting = any(re.match(r"\s*#\s*- *\{", line) for line in document.lines[node.span.line - 1 :])
        if waiting:
            return problem._replace(
                message="`readings` is empty: every line below it still begins with `#`",
                hint="take the # away from each line in which a value is written",
            )
    if len(problem.route) > 1 and node is not None and re.match(r"_(\s|\Z)", str(node.value)):
        return problem._replace(
            message=f"no value is written at `{problem.route[-1]}` yet",
            hint="write it in place of _, or take out what was not measured",
        )
    if len(problem.route) > 1 and node is not None and re.fullmatch(r"(?i)o\.?l\.?|o\.?r\.?|inf|∞", str(node.value)):
        return problem._replace(
            hint='beyond the range of the tester is `open`, or for insulation such as `">999 Mohm"`'
        )
    return problem


def attach(document: Document, read: Read) -> Document:
    """The document of a site with its readings beside it, under the key ``readings``: whoever points at one finds its file."""
    root, _ = named(read.document.root, read.document.path)
    value = document.root.value
    entries = {**(value if isinstance(value, dict) else {}), KEY: root}
    whole = document.root._replace(value=entries, keys={**document.root.keys, KEY: root.span})
    return document._replace(root=whole, parts=(*document.parts, read.document))


def refused(read: Read, path: str) -> tuple[Refused, ...]:
    """The problems and notes of a file of readings as subjects of a rule, each at its own place in that file."""
    found: dict[str, Refused] = {}
    levels: tuple[tuple[Level | None, tuple[Problem, ...]], ...] = ((None, read.problems), ("note", read.notes))
    for level, problems in levels:
        for one in problems:
            name = f"line {one.span.line}"
            if name in found:  # each is a finding of its own
                name += f", column {one.span.column}"
            while name in found:
                name += " again"
            span, route = one.span._replace(file=path), (KEY, *one.route)
            found[name] = Refused(name, route, None, one.message, one.hint, span, _so(one, read), level)
    if read.left_out:
        left = f"{read.left_out} more {'problem is' if read.left_out == 1 else 'problems are'} not told"
        name, span = "further lines", Span(1, 1, 1, 1, path)
        so = "nothing behind the last line that is told was compared"
        found[name] = Refused(name, (KEY,), None, left, "mend these first", span, so)
    return tuple(found.values())


def _so(problem: Problem, read: Read) -> str:
    """What follows from a problem for the readings."""
    if read.readings is None or not read.readings.readings:
        return "none of these readings was compared"
    if problem in read.notes:
        return "they were compared all the same; what was changed since they were taken is not what was measured"
    if problem.route[:1] != ("readings",):
        return "what was read was compared all the same"
    return "this reading proves nothing; the others were compared"


class _Reader:
    def __init__(self, document: Document, plant: Plant, refused: set[Route], cut: bool, today: str) -> None:
        self.document = document
        self.today = today
        # where not every problem is told, it is not known either what is wrong behind the last one
        self.last = max((way[1] for way in refused if len(way) > 1 and isinstance(way[1], int)), default=-1)
        self.last = self.last if cut else MOST
        self.root = document.root
        self.plant = plant
        self.site = Site(plant)
        self.refused = refused
        self.problems: list[Problem] = []
        self.notes: list[Problem] = []
        self._live: dict[tuple[int, ...], int] = {}
        self.places = {part.id for part in plant.network.parts} | {board.id for board in plant.site.boards}
        self.places |= {source.id for source in plant.site.sources}

    def readings(self, name: str) -> Readings | None:
        """All readings that make sense; None where the file is no list of readings of this description."""
        if self.root.kind != "map" or ("onebond-readings",) in self.refused:  # of another version nothing is known
            return None
        listed = _child(self.root, "readings")
        if listed is None or listed.kind != "list":
            return None
        installation = _text(self.root, "installation") or ""
        if (
            installation
            and installation.replace("\\", "/").rsplit("/", 1)[-1] != name.replace("\\", "/").rsplit("/", 1)[-1]
        ):
            self._problem(
                _child(self.root, "installation"),
                f"these readings belong to `{installation}`, and the description is `{name}`",
                "give the description that was measured, or correct `installation`",
                ("installation",),
            )
            return None
        revision = _child(self.root, "revision")
        written = None
        if revision is not None:
            written = revision.value if isinstance(revision.value, str) else revision.raw
        if written is not None and written != self.plant.site.revision:
            now = f"revision {self.plant.site.revision}" if self.plant.site.revision else "without a revision"
            self._problem(
                revision,
                f"these readings were taken by revision {written}, and the description is {now}",
                "measure again what has changed, then write the revision of the description here",
                ("revision",),
            )
            return None
        if written is None and self.plant.site.revision and ("revision",) not in self.refused:
            now = self.plant.site.revision
            at = _child(self.root, "installation") or listed
            message = f"these readings do not say of which revision they are, and the description is revision {now}"
            hint = f"write `revision: {now}` where nothing was changed since; measure again what was"
            self.notes.append(Problem(at.span, message, hint, ("revision",)))
        taken = _text(self.root, "taken") or ""
        day = taken if self._taken_fits(self.root, ()) else ""
        self._signed(self.root, ())
        found: list[Reading] = []
        for number, node in enumerate(listed.value if isinstance(listed.value, tuple) else ()):
            route: Route = (KEY, "readings", number)
            # one value that makes no sense says nothing against those beside it; a place or a state does
            told = number > self.last or any(
                (KEY, *where[:2]) == route and not _VALUES.intersection(where[2:3]) for where in self.refused
            )
            if node.kind == "map" and not told and self._signed(node, route) and self._taken_fits(node, route):
                found.extend(self._reading(node, route, day))
        return Readings(
            installation,
            written,
            taken if day or _is_day(taken) else "",
            METERS.get(_text(self.root, "voltmeter") or "", "digital"),
            tuple(self._last(found)),
        )

    def _last(self, found: list[Reading]) -> Iterator[Reading]:
        """Of the same thing the last reading; two of one day that cannot both be right are told, and neither counts."""
        alike: dict[tuple[object, object], list[Reading]] = {}
        for one in found:
            alike.setdefault((one.state, one.measurement), []).append(one)
        for several in alike.values():
            day = max(one.taken for one in several)
            first, *more = [one for one in several if one.taken == day]
            other = next((one for one in more if _apart(first, one)), None)
            if other is None:
                yield first
                continue
            node = node_at(self.document, other.route[1:])
            self._problem(
                node,
                f"this was read twice on {day}: `{first.written}` and `{other.written}`",
                "read it again; what was put right in between has a day of its own (`taken`)",
                other.route,
            )

    # -- who and when ----------------------------------------------------------------------------------------------

    def _signed(self, node: Node, route: Route) -> bool:
        """Whether the person and the instrument are named, where they are written."""
        for key, what in ("by", "who took the readings"), ("instrument", "with what they were taken"):
            text = _text(node, key)
            if text is not None and text and not text.strip():
                hint = f"write {what}, or take `{key}` out"
                self._problem(_child(node, key), f"`{key}` is empty", hint, (*route, key))
                return False
        return True

    def _taken_fits(self, node: Node, route: Route) -> bool:
        """Whether the day that is written here can be the day of a reading."""
        text = _text(node, "taken")
        if text is None:
            return True
        if not route and ("taken",) in self.refused:  # its form is wrong, which is told already
            return False
        where: Route = (*route, "taken")
        if not _is_day(text):
            hint = "write the day on which it was read, as year-month-day"
            self._problem(_child(node, "taken"), f"`{text}` at `taken` is not in the calendar", hint, where)
            return False
        if self.today and text > _next(self.today):  # where the sun rises first it may be tomorrow already
            message = f"`{text}` at `taken` has not come yet: today is {self.today}"
            self._problem(_child(node, "taken"), message, "correct the day on which it was read", where)
            return False
        return True

    # -- one reading -----------------------------------------------------------------------------------------------

    def _reading(self, node: Node, route: Route, taken: str) -> Iterator[Reading]:
        subjects = [key for key in _SUBJECTS if _child(node, key) is not None]
        if len(subjects) != 1:
            asked = "write one of at, from and to, electrode, rcd or clamp"
            what = "says of nothing what was measured" if not subjects else f"is about {' and '.join(subjects)} at once"
            self._problem(node, f"this reading {what}", asked, route)
            return
        subject = subjects[0]
        values = [key for keys in _SUBJECTS.values() for key in keys if _child(node, key) is not None]
        unread = [key for key in values if (*route[1:], key) in self.refused]
        wrong = [key for key in values if key not in _SUBJECTS[subject]]
        for key in wrong:
            self._problem(
                _key(node, key),
                f"`{key}` does not go with `{subject}`",
                f"with `{subject}` go: {', '.join(_SUBJECTS[subject])}",
                (*route, key),
            )
        if not values:
            self._problem(
                node, "this reading has no value", f"with `{subject}` go: {', '.join(_SUBJECTS[subject])}", route
            )
            return
        state = self._state(node, route)
        if state is None:
            return
        loads = _child(node, "loads")
        on = loads is None or loads.value not in ("off", False)
        day = _text(node, "taken") or taken
        for key in (key for key in values if key not in wrong and key not in unread):
            for reading in self._value(node, subject, key, state, on, (*route, key), day):
                # where somebody has written the state, a voltage in it is news and no slip of the pen
                if _child(node, "state") is None and _needs_voltage(reading) and not self.plant.feeds(state):
                    self._problem(
                        _key(node, key),
                        "nothing feeds the site in its usual state, so this was read in another one",
                        "write in `state` what was running, closed or switched on",
                        (*route, key),
                    )
                    break
                if unlit := self._unlit(reading):
                    self._problem(
                        _key(node, key),
                        f"{unlit} is not live in this state, so this cannot have been read in it",
                        "`state` was forgotten? write in it what was running, closed or switched on"
                        if _child(node, "state") is None
                        else "correct `state`; where it was live all the same, write the voltage that was read there",
                        (*route, key),
                    )
                    break
                yield reading

    def _unlit(self, reading: Reading) -> str:
        """What a test needs live and is not, in the state of a reading; '' where there is nothing of that kind.

        A voltage may be read where nothing should be live, and is news; a test that needs a voltage cannot be done there.
        """
        kind, at, between, _ = reading.measurement
        if kind in ("rcd", "holds"):
            edges = [self.plant.network.edges[edge] for edge in self.site.rcds[at].lines]
            lit = any(self._lives(one.a, reading.state) and self._lives(one.b, reading.state) for one in edges)
            return f"`{at}`" if edges and not lit else ""
        if kind == "loop" and reading.value < math.inf:
            line = between.split("-")[0]
            return "" if self._lives(self.site.node(at, line), reading.state) else f"{line} of `{at}`"
        return ""

    def _lives(self, node: int, state: tuple[int, ...]) -> bool:
        if state not in self._live:
            self._live[state] = self.plant.live(state)
        return bool(self._live[state] >> node & 1)

    def _value(
        self, node: Node, subject: str, key: str, state: tuple[int, ...], on: bool, route: Route, day: str
    ) -> Iterator[Reading]:
        holder = _child(node, key)
        named = _child(node, subject)
        assert holder is not None and named is not None
        here = (*route[:-1], subject)
        at = str(named.value)
        if subject == "rcd":
            yield from self._rcd(holder, named, key, state, route, day, self._alone(node, route))
            return
        measurement = self._measurement(node, subject, key, at, on, named, here)
        if measurement is None:
            return
        if subject == "clamp" and at not in self.site.links:
            self._unknown(named, "cable", at, list(self.site.links), here)
            return
        if subject == "clamp" and measurement.between == "PE" and "PE" not in (cores := self.site.links[at].cores):
            self._problem(
                named,
                f"`{at}` has no PE that a clamp could be laid round",
                f"its cores: {' '.join(cores)}; `residual` is what a clamp round all live ones shows",
                here,
            )
            return
        if subject == "electrode" and at not in dict(self.plant.network.electrodes):
            self._unknown(named, "electrode", at, [one.id for one in self.plant.site.electrodes], here)
            return
        text = str(holder.value)
        kind = {"clamp": "measured-current"}.get(
            subject, "measured-voltage" if key in _PAIRS else "measured-resistance"
        )
        where = state if not measurement.dead else self._dead(node, state)
        # beyond the range of the tester; an insulation tester shows so what is better than it can tell
        beyond = text.startswith(">") and measurement.kind != "insulation"
        if text == "open" or beyond:
            yield Reading(measurement, where, math.inf, 0.0, text, route, day)
            return
        number = text.removeprefix(">")
        value = quantity.value(number, kind)
        if value is not None:
            yield Reading(measurement, where, value, _digit(number, kind), text, route, day)

    def _dead(self, node: Node, state: tuple[int, ...]) -> tuple[int, ...]:
        """The state of a test without voltage: as written, else everything switched off."""
        return state if _child(node, "state") is not None else self.plant.dead

    def _measurement(
        self, node: Node, subject: str, key: str, at: str, on: bool, named: Node, route: Route
    ) -> Measurement | None:
        if subject == "electrode":
            return Measurement("electrode", at)
        if subject == "clamp":
            link = self.site.links.get(at)
            return Measurement("clamp", at, "PE" if key == "current" or link is None else live_cores(link))
        if not self._place(named, at, route):
            return None
        if subject == "from":
            other = _child(node, "to")
            if other is None:
                self._problem(
                    named, "continuity was measured from here to nowhere", "write `to: ` the other end", route
                )
                return None
            there: Route = (*route[:3], "to")
            if not self._place(other, str(other.value), there):
                return None
            ends = self._lands(at, ("PE",), named, route), self._lands(str(other.value), ("PE",), other, there)
            return Measurement("continuity", at, str(other.value)) if all(ends) else None
        if key == "insulation":
            if not any(self.site.node(at, end) >= 0 for end in (*LINES, "N")):
                self._problem(
                    named,
                    f"no live conductor lands at `{at}`, so nobody can measure its insulation there",
                    self._landing(at),
                    route,
                )
                return None
            return Measurement("insulation", at)
        if key == "tie":
            return self._there(Measurement("tie", at, "N-PE"), named, route)
        if key == "loop":
            lines = [line for line in LINES if self.site.node(at, line) >= 0]
            line = _text(node, "line") or (lines[0] if lines else "L1")
            return self._there(Measurement("loop", at, f"{line}-PE"), named, route)
        return self._there(Measurement("voltage", at, key, on), named, route)

    def _there(self, measurement: Measurement, named: Node, route: Route) -> Measurement | None:
        """A measurement whose two conductors land at its place."""
        ends = measurement.between.split("-")
        return measurement if self._lands(measurement.at, ends, named, route) else None

    def _lands(self, place: str, ends: Iterable[str], named: Node, route: Route) -> bool:
        """Whether conductors land at a place; the first that does not is told."""
        missing = next((end for end in ends if self.site.node(place, end) < 0), None)
        if missing is None:
            return True
        message = f"no {missing} lands at `{place}`, so nobody can measure it there"
        self._problem(named, message, self._landing(place), route)
        return False

    def _landing(self, place: str) -> str:
        there = [end for end in (*LINES, "N", "PE") if self.site.node(place, end) >= 0]
        return f"conductors there: {' '.join(there)}" if there else "nothing lands there"

    def _rcd(
        self, holder: Node, named: Node, key: str, state: tuple[int, ...], route: Route, day: str, alone: str
    ) -> Iterator[Reading]:
        name = str(named.value)
        if name not in self.site.rcds:
            self._unknown(named, "RCD", name, list(self.site.rcds), (*route[:3], "rcd"))
            return
        if key == "holds":
            holds = holder.value in ("yes", True)
            yield Reading(
                Measurement("holds", name, alone), state, 0.0 if holds else 1.0, 0.0, str(holder.raw), route, day
            )
            return
        for times, one in holder.value.items() if isinstance(holder.value, dict) else ():
            if (*route[1:], times) in self.refused:
                continue
            text = str(one.value)
            measurement = Measurement("rcd", name, times)
            if text == "no-trip":
                yield Reading(measurement, state, 0.0, 0.0, text, (*route, times), day)
                continue
            seconds = quantity.value(text, "trip-time")
            if seconds is not None:
                yield Reading(measurement, state, 1.0, 0.0, text, (*route, times), day, seconds)

    def _alone(self, node: Node, route: Route) -> str:
        """The circuit whose load alone was on; '' where all were, or where it is not there."""
        named = _child(node, "with")
        circuits = [circuit.id for circuit in self.plant.site.circuits]
        if named is not None and str(named.value) not in circuits:
            self._unknown(named, "circuit", str(named.value), circuits, (*route[:3], "with"))
            return ""
        return str(named.value) if named is not None else ""

    # -- places and states -----------------------------------------------------------------------------------------

    def _place(self, named: Node, written: str, route: Route) -> bool:
        identifier, _, terminal = written.partition(".")
        if identifier not in self.places:
            self._unknown(named, "place", identifier, sorted(self.places), route)
            return False
        if terminal and not any(self.site.node(written, end) >= 0 for end in (*LINES, "N")):
            there = sorted({key[1] for key in self.plant.network.nodes if key[0] == identifier and key[1]})
            hint = (
                f"terminals: {', '.join(f'{identifier}.{one}' for one in there)}" if there else f"write `{identifier}`"
            )
            self._problem(named, f"`{identifier}` has no terminal `{terminal}`", hint, route)
            return False
        return True

    def _unknown(self, named: Node, sort: str, name: str, names: list[str], route: Route) -> None:
        near = quantity.nearest(name, names)
        listed = f"there are: {', '.join(names[:8])}{f' and {len(names) - 8} more' if len(names) > 8 else ''}"
        hint = f"did you mean `{near}`?" if near else listed if names else f"the description has no {sort}"
        self._problem(named, f"the description has no {sort} `{name}`", hint, route)

    def _state(self, node: Node, route: Route) -> tuple[int, ...] | None:
        """The whole state in which something was measured; None where it is none."""
        written = _child(node, "state")
        setting: dict[str, str] = {}
        entries = written.value if written is not None and isinstance(written.value, dict) else {}
        for name, one in entries.items():
            assert written is not None
            variable = self.plant.by_name.get(name)
            span = written.keys[name]
            if variable is None:
                near = quantity.nearest(name, list(self.plant.by_name))
                hint = (
                    f"did you mean `{near}`?" if near else f"what has states: {', '.join(list(self.plant.by_name)[:8])}"
                )
                self._add(span, f"`{name}` has no states that a reading could name", hint, (*route, "state", name))
                return None
            values = self.plant.variables[variable].values
            if str(one.value) not in values:
                self._add(
                    one.span,
                    f"`{name}` is never `{one.value}`",
                    f"its states: {', '.join(values)}",
                    (*route, "state", name),
                )
                return None
            setting[name] = str(one.value)
        state = self.plant.complete(setting)
        if isinstance(state, str):
            self._problem(
                written or node,
                f"the site cannot be in this state: {state}",
                "correct `state`, or the interlocks of the description if it was so",
                (*route, "state"),
            )
            return None
        return state

    def _problem(self, node: Node | Span | None, message: str, hint: str, route: Route) -> None:
        span = node if isinstance(node, Span) else node.span if node is not None else self.root.span
        self._add(span, message, hint, route)

    def _add(self, span: Span, message: str, hint: str, route: Route) -> None:
        problem = Problem(span, message, hint, route[1:] if route[:1] == (KEY,) else route)
        if problem not in self.problems:  # several values of an entry stand at one place
            self.problems.append(problem)


def _is_day(text: str) -> bool:
    """Whether a text is a day of the calendar."""
    from datetime import date

    try:
        return len(text) == 10 and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _next(day: str) -> str:
    """The day after a day."""
    from datetime import date, timedelta

    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


def _needs_voltage(reading: Reading) -> bool:
    """Whether a value can be read only where something is live."""
    kind, value = reading.measurement.kind, reading.value
    if kind == "voltage":
        return value > LIVE_V
    return value < math.inf if kind == "loop" else kind == "rcd" and value == 1


def _apart(one: Reading, other: Reading) -> bool:
    """Whether two readings of one thing cannot both be right: by more than a fifth, and more than their digits and leads."""
    if math.isinf(one.value) or math.isinf(other.value):
        return one.value != other.value
    room = FLOOR.get(one.measurement.unit, 0.5) + one.digit + other.digit
    return abs(one.value - other.value) > room + 0.2 * max(one.value, other.value)


def _child(node: Node, key: str) -> Node | None:
    return node.value.get(key) if node.kind == "map" and isinstance(node.value, dict) else None


def _key(node: Node, key: str) -> Span:
    return node.keys[key]


def _text(node: Node, key: str) -> str | None:
    child = _child(node, key)
    return child.value if child is not None and isinstance(child.value, str) else None


def _digit(text: str, kind: str) -> float:
    """The last digit of a value as written, in the base unit."""
    number, _, unit = text.partition(" ")
    _, point, decimals = number.partition(".")
    step = f"0.{'0' * (len(decimals) - 1)}1" if point else "1"
    return quantity.value(f"{step} {unit}", kind) or 0.0
