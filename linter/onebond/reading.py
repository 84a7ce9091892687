"""Nodes to an installation: resolves every id, terminal and condition, and collects every problem of the file.

Nothing raises on a bad description.  A part that the schema refuses is passed over here in silence, so that one mistake
gives one message; everything else is still resolved, so that a user sees all mistakes at once.  The rules that are
judged here (which conductors an end has, what may stand in a condition) are those of the format, not of any code.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from onebond import quantity, schema
from onebond.model import (
    DIRECT,
    DIRECT_INPUTS,
    LINES,
    Accepted,
    Board,
    Bond,
    Changeover,
    Circuit,
    Connection,
    Device,
    DirectSource,
    Electrode,
    End,
    Extraneous,
    Group,
    Installation,
    Interlock,
    Limit,
    Monitor,
    Size,
    Source,
    When,
)
from onebond.result import Problem
from onebond.span import Route, Span, in_order, where

if TYPE_CHECKING:
    from onebond.document import Document, Node, Parsed

SECTIONS: tuple[tuple[str, str], ...] = (
    ("sources", "source"),
    ("boards", "board"),
    ("changeovers", "changeover"),
    ("connections", "connection"),
    ("circuits", "circuit"),
    ("bonds", "bond"),
    ("electrodes", "electrode"),
    ("monitors", "monitor"),
    ("direct-current", "d.c. source"),
    ("groups", "group"),
    ("extraneous", "extraneous part"),
)
"""The sections whose keys are ids, with what one entry is called."""

_Part = TypeVar("_Part")

PLACES = ("source", "board", "changeover", "circuit", "d.c. source", "extraneous part")

READINGS = "onebond-readings"
"""The marker of a file of readings, which is no description."""

_ALL_CORES = frozenset((*LINES, "N", "PE", "PEN", *DIRECT))
_DEVICES = ("mcb", "mccb", "fuse", "rcd", "rcbo", "isolator", "switch", "contactor", "meter")
_SOCKETS = frozenset(
    {"socket", "sockets", "socket-outlet", "outlet", "outlets", "receptacle", "receptacles", "plugs", "power-points"}
)
_OPENS_LINES_ONLY = ("mcb", "mccb", "fuse")
_LONGEST = 64
_CONDITIONS_PROBLEM = "has no states that a condition could name"


class _Entry(NamedTuple):
    """One thing with an id: what it is, where its id stands, its node, and the route to it."""

    sort: str
    span: Span
    node: Node
    route: Route


class _SourceFacts(NamedTuple):
    """What ends and conditions need to know of a source; None where it is not written or not understood."""

    kind: str | None
    phases: tuple[str, ...] | None
    earthing: str | None
    mains_input: bool


def load(path: str) -> tuple[Document | None, Installation | None, list[Problem], int]:
    """A file to its document, its installation, its problems in the order of the text, and how many are left out.

    The installation is None where there is any problem.  Where the text is no document at all, the document that comes
    back has no content and serves only to show the lines of the problems; it is None where there is no text either.
    """
    from onebond.document import Document, Node, load_file, parse

    data, problems = load_file(path)
    if data is None:
        return None, None, problems, 0
    parsed = parse(data, path)
    if parsed.document is None:
        nothing = Node("map", {}, Span(1, 1, 1, 1), {})
        return Document(path, "", parsed.lines, nothing, data), None, parsed.problems, parsed.left_out
    return understood(parsed, os.path.dirname(path))


def understood(
    parsed: Parsed, folder: str | None = None
) -> tuple[Document | None, Installation | None, list[Problem], int]:
    """What ``load`` says of a text that has been taken apart already; the document has its parts and types put in.

    ``folder`` is that of the file; without one a site with parts is refused.
    """
    if parsed.document is None:
        return None, None, parsed.problems, parsed.left_out
    entries = _map(parsed.document.root)
    if READINGS in entries and "onebond" not in entries:
        hint = "name the description that they belong to (`installation` says which), and then these readings"
        problem = Problem(
            parsed.document.root.keys[READINGS], "these are readings, not a description", hint, (READINGS,)
        )
        return parsed.document, None, [problem], 0
    parsed = _with_parts(parsed, folder)
    assert parsed.document is not None
    document, unknown = _with_types(parsed.document)
    found, left_out = schema.check(document)
    if document.incomplete:  # what is missing may stand in what could not be read
        found = [problem for problem in found if problem.route]
    installation, more = _read(document)
    if document.inherited:
        from onebond.reuse import placed

        found, more = ([placed(problem, document) for problem in problems] for problems in (found, more))
    # What could not be understood as a value is no news to the schema: one mistake, one message.
    places = {_place(problem) for problem in parsed.problems}
    told = [problem for problem in found if _place(problem) not in places]
    places |= {_place(problem) for problem in told if problem.route[-1:] == ("like",)}
    told += [problem for problem in (*unknown, *more) if _place(problem) not in places]
    everything = sorted(parsed.problems + told, key=lambda problem: (*in_order(problem.span), problem.message))
    left_out += parsed.left_out + max(0, len(everything) - schema.LIMIT)
    if installation is None and not everything and not left_out:
        raise RuntimeError("a description was given up without a reason")  # or nobody would hear of it
    return document, None if everything or left_out else installation, everything[: schema.LIMIT], left_out


def read(document: Document) -> tuple[Installation | None, list[Problem]]:
    """The installation of a document that satisfies the schema, or all that does not fit together in it.

    With any problem there is no installation.  A document that does not satisfy the schema may be given as well: what
    can be understood of it is resolved.
    """
    from onebond.document import Parsed

    whole = _with_parts(Parsed(document, [], document.lines), None)
    assert whole.document is not None
    document, unknown = _with_types(whole.document)
    installation, problems = _read(document)
    return (None if unknown or whole.problems else installation), [*whole.problems, *unknown, *problems]


def _place(problem: Problem) -> tuple[str, int, int]:
    return (problem.span.file, problem.span.line, problem.span.column)


def _with_parts(parsed: Parsed, folder: str | None) -> Parsed:
    assert parsed.document is not None
    if "parts" not in _map(parsed.document.root):
        return parsed
    from onebond.assembly import gathered  # only where it is needed: most sites are one file

    return gathered(parsed, folder, {section: _a(sort) for section, sort in SECTIONS})


def _with_types(document: Document) -> tuple[Document, list[Problem]]:
    links = [node for section in ("connections", "circuits") for node in _map(_child(document.root, section)).values()]
    devices = (device for link in links for device in _list(_child(link, "through")))
    if not any("like" in _map(node) for nodes in (links, devices) for node in nodes):
        return document, []
    from onebond.reuse import with_types  # only where it is needed: most descriptions have no types

    return with_types(document)


def _read(document: Document) -> tuple[Installation | None, list[Problem]]:
    reader = _Reader(document.root, document.incomplete)
    installation = reader.installation()
    reader.search_hints()
    return (None if reader.problems or reader.spoiled else installation), reader.problems


class _Reader:
    def __init__(self, root: Node, incomplete: bool) -> None:
        self.root = root
        self.problems: list[Problem] = []
        self.searches: dict[int, Callable[[], str]] = {}
        self.spoiled = root.kind != "map"
        self.ids: dict[str, _Entry] = {}
        self.sources: dict[str, _SourceFacts] = {}
        # Where a section is not understood, an id that is not there may well be written in it.
        self.blind = incomplete or any(
            holder.kind != "map" and holder.value is not None and holder.value != "none"
            for section, _ in SECTIONS
            if (holder := _child(root, section)) is not None
        )
        self.from_utility: dict[str, list[tuple[tuple[str, ...], Node, Route]]] = {}
        self.bonded: set[str] = set()  # extraneous parts that a conductor lands on

    def installation(self) -> Installation | None:
        self._register()
        site = _child(self.root, "site")
        name, rulebook = _text(site, "name"), _text(site, "rulebook")
        number = _child(site, "revision")
        revision = _text(site, "revision") or (number.raw if number is not None else None)
        sources = [self._source(*entry) for entry in self._entries("sources")]
        boards = [self._board(*entry) for entry in self._entries("boards")]
        changeovers = [self._changeover(*entry) for entry in self._entries("changeovers")]
        connections = [self._connection(*entry) for entry in self._entries("connections")]
        circuits = [self._circuit(*entry) for entry in self._entries("circuits")]
        self._judge_utilities()
        bonds = [self._bond(*entry) for entry in self._entries("bonds")]
        electrodes = [self._electrode(*entry) for entry in self._entries("electrodes")]
        monitors = [self._monitor(*entry) for entry in self._entries("monitors")]
        direct = [self._direct(*entry) for entry in self._entries("direct-current")]
        groups = [self._group(*entry) for entry in self._entries("groups")]
        self._judge_groups()
        extraneous = [self._extraneous(*entry) for entry in self._entries("extraneous")]
        interlocks = [self._interlock(node, ("interlocks", i)) for i, node in self._listed("interlocks")]
        waivers = [self._waiver(node, ("waivers", i)) for i, node in self._listed("waivers")]
        if name is None or rulebook is None:
            self.spoiled = True
            return None
        return Installation(
            name=name,
            rulebook=rulebook,
            stage=_text(site, "stage") or "design",
            revision=revision,
            sources=_present(sources),
            boards=_present(boards),
            changeovers=_present(changeovers),
            connections=_present(connections),
            circuits=_present(circuits),
            bonds=_present(bonds),
            electrodes=_present(electrodes),
            monitors=_present(monitors),
            groups=_present(groups),
            extraneous=_present(extraneous),
            extraneous_none=_text(self.root, "extraneous") == "none",
            interlocks=_present(interlocks),
            waivers=_present(waivers),
            frequency_hz=_amount(site, "frequency", "frequency"),
            test_interval_months=_amount(site, "test-interval", "interval"),
            direct=_present(direct),
        )

    # ---------------------------------------------------------------- ids

    def _entries(self, section: str) -> Iterator[tuple[str, Node, Route]]:
        holder = _child(self.root, section)
        for identifier, node in _map(holder).items():
            yield identifier, node, (section, identifier)

    def _listed(self, section: str) -> Iterator[tuple[int, Node]]:
        return enumerate(_list(_child(self.root, section)))

    def _register(self) -> None:
        for section, sort in SECTIONS:
            for identifier, node, route in self._entries(section):
                self._take(identifier, _Entry(sort, _map(self.root)[section].keys[identifier], node, route))
                if sort == "source" and identifier not in self.sources:
                    self.sources[identifier] = _source_facts(node)
                if sort in ("connection", "circuit"):
                    for i, device in _items(node, "through"):
                        own = _child(device, "id")
                        if own is not None and isinstance(own.value, str):
                            self._take(own.value, _Entry("device", own.span, device, (*route, "through", i)))

    def _take(self, identifier: str, entry: _Entry) -> None:
        first = self.ids.setdefault(identifier, entry)
        if first is not entry:
            self._problem(
                entry.span,
                f"`{identifier}` is already the id of {_a(first.sort)} ({where(first.span, entry.span)})",
                "ids are unique over the whole site, whatever they name: give one of the two another name",
                entry.route,
            )

    def _named(self, identifier: str, sorts: tuple[str, ...], wanted: str, span: Span, route: Route) -> _Entry | None:
        """The entry of an id that must be of one of some sorts; ``wanted`` says which, for the message."""
        entry = self.ids.get(identifier)
        if entry is None and self.blind:
            return None
        if entry is None:
            self._problem(
                span, f"there is no {wanted} with the id `{identifier}`", lambda: self._choice(sorts, identifier), route
            )
            return None
        if entry.sort not in sorts:
            message = f"`{identifier}` is {_a(entry.sort)}, not {_a(wanted)}"
            self._problem(span, message, lambda: self._choice(sorts), route)
            return None
        return entry

    def _choice(self, sorts: tuple[str, ...], meant: str = "") -> str:
        names = [name for name, entry in self.ids.items() if entry.sort in sorts]
        if not names:
            return f"there is no {' or '.join(sorts)} in this file"
        near = quantity.nearest(meant, names) if meant else None
        if near:
            return f"did you mean `{near}`?"
        more = f" and {len(names) - 8} more" if len(names) > 8 else ""
        return f"possible here: {', '.join(names[:8])}{more}"

    # ---------------------------------------------------------------- ends

    def _end(self, holder: Node, key: str, route: Route, wanted: str = "place", live: bool = True) -> End | None:
        node = _child(holder, key)
        return None if node is None else self._place(node, (*route, key), wanted, live)

    def _place(self, node: Node, route: Route, wanted: str = "place", live: bool = True) -> End | None:
        """Where conductors land.  Without ``live`` only PE lands, which is one for all terminals of an equipment."""
        text = node.value
        if not isinstance(text, str) or not _is_end(text):
            self.spoiled = True
            return None
        identifier, dot, terminal = text.partition(".")
        entry = self._named(identifier, PLACES, wanted, node.span, route)
        if entry is None:
            return None
        if entry.sort == "source":
            return self._source_end(identifier, dot, terminal, node, route, live)
        if entry.sort == "changeover":
            return self._changeover_end(identifier, terminal, entry, node, route)
        if dot:
            self._problem(
                node.span,
                f"{_a(entry.sort)} has no terminals, so `{text}` does not exist",
                f"write `{identifier}`",
                route,
            )
            return None
        return End(identifier, "", route)

    def _source_end(self, identifier: str, dot: str, terminal: str, node: Node, route: Route, live: bool) -> End | None:
        facts = self.sources[identifier]
        if facts.kind is None:
            return None  # the schema says what is wrong with its kind
        if facts.kind in ("utility", "generator"):
            if dot:
                self._problem(
                    node.span,
                    f"{_a(facts.kind)} has no terminals with names, so `{node.value}` does not exist",
                    f"write `{identifier}`",
                    route,
                )
                return None
            return End(identifier, "", route)
        two_sided = facts.kind == "transformer" or facts.mains_input
        terminals = ("in", "out") if two_sided else ("out",)
        if facts.kind == "inverter" and terminal in DIRECT_INPUTS:
            return End(identifier, terminal, route)
        if not dot:
            if not live:
                return End(identifier, "", route)
            if two_sided:
                why = "is a transformer" if facts.kind == "transformer" else "has a mains input"
                self._problem(
                    node.span,
                    f"`{identifier}` {why} and so two sides: which one is not written",
                    f"write `{identifier}.in` or `{identifier}.out`",
                    route,
                )
                return None
            return End(identifier, "out", route)
        if terminal in terminals:
            return End(identifier, terminal, route)
        if terminal == "in":
            hint = f"write `mains-input: yes` at `{identifier}` if it has one, or else `{identifier}.out`"
            self._problem(
                node.span, f"`{identifier}` has no mains input, so `{node.value}` does not exist", hint, route
            )
            return None
        if facts.kind == "inverter":
            terminals = (*terminals, *(DIRECT_INPUTS if terminal.startswith("pv") else DIRECT_INPUTS[:2]))
        near = quantity.nearest(terminal, terminals)
        listed = " or ".join(f"`{identifier}.{name}`" for name in terminals)
        hint = f"did you mean `{identifier}.{near}`?" if near else f"write {listed}"
        self._problem(node.span, f"`{identifier}` has no terminal `{terminal}`", hint, route)
        return None

    def _changeover_end(self, identifier: str, terminal: str, entry: _Entry, node: Node, route: Route) -> End | None:
        positions = _word_list(entry.node, "positions")
        if not terminal or not positions:
            return End(identifier, terminal, route)
        if terminal == "off":
            self._problem(
                node.span,
                f"`{node.value}` is no terminal: in the position off no pole is closed",
                f"write {_terminals(identifier, positions)}",
                route,
            )
            return None
        if terminal not in positions:
            self._problem(
                node.span,
                f"the changeover `{identifier}` has no position `{terminal}` (positions: {', '.join(positions)})",
                lambda: _meant_position(identifier, terminal, positions),
                route,
            )
            return None
        return End(identifier, terminal, route)

    def _conductors(self, end: End) -> tuple[frozenset[str], str] | None:
        """The conductors that an end has, and why no others; None where anything may land."""
        entry = self.ids[end.id]
        if entry.sort == "source":
            facts = self.sources[end.id]
            if facts.kind is None or facts.phases is None:
                return None
            lines = f"phases: {' '.join(facts.phases)}"
            if end.terminal in DIRECT_INPUTS:
                return frozenset((*DIRECT, "PE")), "its d.c. side has DC+ DC- M"
            if facts.kind == "utility":
                brings = {"TN-S": ("N", "PE"), "TN-C-S": ("PEN", "N", "PE"), "TT": ("N",), "IT": ("N", "PE")}
                if facts.earthing is None:
                    return None
                own = (*facts.phases, *brings[facts.earthing])
                says = {
                    "TN-S": "a TN-S supply brings N and PE",
                    "TN-C-S": "a TN-C-S supply brings PEN, or N and PE",
                    "TT": "a TT supply brings N and no PE: the PE is that of the installation's own electrode",
                    "IT": "an IT supply brings N at most, and PE",
                }
                return frozenset(own), f"{lines}; {says[facts.earthing]}"
            if facts.kind == "transformer" and end.terminal == "in":
                return frozenset((*LINES, "N", "PE", "PEN")), "its primary side has lines, N and PE"
            return frozenset((*facts.phases, "N", "PE", "PEN")), lines
        if entry.sort == "d.c. source":
            return frozenset((*DIRECT, "PE")), "a d.c. source has DC+ DC- M and PE"
        if entry.sort == "extraneous part":
            return frozenset(("PE",)), "a bonding conductor lands on it, and nothing live"
        if entry.sort == "board":
            bars = self._bars(end.id)
            return None if bars is None else (bars, f"bars: {_text(entry.node, 'bars')}")
        return None

    def _bars(self, board: str) -> frozenset[str] | None:
        """What may land on a board; N and PEN share a bar, and the PE bar is that of the enclosure."""
        node = self.ids[board].node
        bars = _core_list(node, "bars")
        if bars is None:
            return None
        own = set(bars)
        if own & {"N", "PEN"}:
            own |= {"N", "PEN"}
        outer = _text(node, "inside")
        if outer is not None:
            entry = self.ids.get(outer) if outer != board else None
            around = _core_list(entry.node, "bars") if entry is not None and entry.sort == "board" else None
            if around is None or "PE" in around:
                own.add("PE")
        return frozenset(own)

    # ---------------------------------------------------------------- sources

    def _source(self, identifier: str, node: Node, route: Route) -> Source | None:
        facts = _source_facts(node)
        if facts.kind is None or facts.phases is None or (facts.kind == "utility" and facts.earthing is None):
            self.spoiled = True
            return None
        self._distinct(node, "phases", route)
        kind = facts.kind
        for key, meaning in (("neutral-through", "solid"), ("when-off", "through")):
            if kind == "inverter" and not facts.mains_input and _text(node, key) == meaning:
                self._problem(
                    _at(node, key),
                    f"`{key}: {meaning}` at `{identifier}` needs a mains input, and none is written",
                    f"write `mains-input: yes` at `{identifier}`, or take `{key}` out",
                    (*route, key),
                )
        voltage_v, line_voltage_v = _voltages(node, "voltage", "source-voltage", len(facts.phases))
        primary_v, primary_line_v = _voltages(node, "primary-voltage", "voltage", len(facts.phases))
        if voltage_v is not None and voltage_v > quantity.HIGHEST_V:
            self._problem(
                _at(node, "voltage"),
                f"`{identifier}` has more than 1000 V line to neutral: that is not low voltage",
                quantity.LOW_VOLTAGE,
                (*route, "voltage"),
            )
        if facts.earthing not in (None, "IT") and _child(node, "neutral-impedance") is not None:
            self._problem(
                _at(node, "neutral-impedance"),
                f"`neutral-impedance` is of an IT supply, and `{identifier}` is {facts.earthing}",
                "the earth of its star point is part of its `loop-impedance`; take `neutral-impedance` out",
                (*route, "neutral-impedance"),
            )
        if _text(node, "system") == "high-leg":
            self._judge_high_leg(identifier, node, facts, voltage_v, line_voltage_v, route)
        parallel = []
        for i, item in _items(node, "may-parallel"):
            if isinstance(item.value, str) and _is_id(item.value):
                here = (*route, "may-parallel", i)
                if item.value == identifier:
                    self._problem(
                        item.span, f"`{identifier}` names itself in `may-parallel`", "name the other source", here
                    )
                elif self._named(item.value, ("source",), "source", item.span, here):
                    parallel.append(item.value)
        bond = _text(node, "neutral-bond")
        through = _text(node, "neutral-through")
        mains = facts.mains_input
        current = _child(node, "fault-current")
        most = least = None
        fault_kind = None
        limit = self._limit(_child(node, "sustained-fault-current"))
        if current is not None and current.kind == "map":
            most, least = _amount(current, "max", "current"), _amount(current, "min", "current")
            fault_kind = _text(current, "kind")
            limit = limit or self._limit(current)
            if most is not None and least is not None and not least <= most:
                self._problem(
                    _at(current, "min"),
                    f"the smallest fault current of `{identifier}` is above the largest",
                    "exchange min and max",
                    (*route, "fault-current", "min"),
                )
        elif current is not None and isinstance(current.value, str):
            measure = quantity.parse(current.value, "multiple-or-current")
            if isinstance(measure, quantity.Measure):
                if kind == "inverter" or measure.unit == "x rated":
                    limit = limit or _limit_of(measure, None)
                else:
                    most = measure.value
        return Source(
            id=identifier,
            kind=kind,
            phases=facts.phases,
            route=route,
            earthing=facts.earthing,
            earthing_impedance_ohm=_amount(node, "neutral-impedance", "impedance"),
            neutral_bond=bond or "none",
            neutral_bond_written=bond is not None or kind == "utility",
            mains_input=mains,
            neutral_through=(through or "switched") if mains else None,
            neutral_through_written=through is not None or not mains,
            when_off=_text(node, "when-off") or "open",
            operation=_text(node, "operation") or ("both" if mains else "grid-forming"),
            winding=_text(node, "winding"),
            may_parallel=tuple(parallel),
            mounted=_text(node, "mounted") or "fixed",
            system=_text(node, "system"),
            voltage_v=voltage_v,
            line_voltage_v=line_voltage_v,
            rating_va=_amount(node, "rating", "power"),
            loop_impedance_ohm=_amount(node, "loop-impedance", "impedance"),
            fault_current_max_a=most,
            fault_current_min_a=least,
            fault_current_kind=fault_kind,
            fault_limit=limit,
            subtransient_reactance=_amount(node, "subtransient-reactance", "ratio"),
            negative_sequence_reactance=_amount(node, "negative-sequence-reactance", "ratio"),
            zero_sequence_reactance=_amount(node, "zero-sequence-reactance", "ratio"),
            impedance=_amount(node, "impedance", "ratio"),
            filter_capacitance_f=_amount(node, "filter-capacitance", "capacitance"),
            opens_after_s=_amount(node, "opens-after", "time"),
            closes_after_s=_amount(node, "closes-after", "time"),
            building=_text(node, "building"),
            enclosure=_text(node, "enclosure"),
            transient_reactance=_amount(node, "transient-reactance", "ratio"),
            shutdown_s=_amount(node, "shutdown-time", "time"),
            largest_breaker=_breaker(node, "largest-breaker"),
            isolated=_yes(node, "isolated") if _child(node, "isolated") is not None else None,
            primary_voltage_v=primary_v,
            primary_line_voltage_v=primary_line_v,
        )

    def _judge_high_leg(
        self,
        identifier: str,
        node: Node,
        facts: _SourceFacts,
        voltage_v: float | None,
        line_voltage_v: float | None,
        route: Route,
    ) -> None:
        """What a delta with a tap has for certain: three lines, a tap that is earthed, and half of the line voltage to it."""
        found = []
        if facts.kind == "inverter":
            found.append(
                ("system", "is an inverter, which has no winding with a tap", "write split-phase or three-phase")
            )
        if facts.phases is not None and set(facts.phases) != set(LINES):
            why = f"has a high leg, which is one of three lines, but `phases: {' '.join(facts.phases)}`"
            found.append(
                ("phases", why, "write `phases: L1 L2 L3`, or `system: split-phase` where no third line is led")
            )
        if facts.earthing == "IT":
            why = "has a high leg because its tap is earthed, and cannot be IT"
            found.append(("earthing", why, "write `system: three-phase` for a delta of which nothing is earthed"))
        if (
            voltage_v is not None
            and line_voltage_v is not None
            and abs(line_voltage_v - 2 * voltage_v) > voltage_v / 50
        ):
            why = "has a tap in the middle of a winding: the neutral has half of the line voltage to L1 and L3"
            found.append(("voltage", why, "write both as in `120/240 V`, or the line voltage alone"))
        for key, why, hint in found:
            self._problem(_at(node, key), f"`{identifier}` {why}", hint, (*route, key))

    @staticmethod
    def _limit(node: Node | None) -> Limit | None:
        text = _text(node, "limit")
        measure = quantity.parse(text, "multiple-or-current") if text is not None else None
        for_s = _amount(node, "for", "time")
        if isinstance(measure, quantity.Measure):
            return _limit_of(measure, for_s)
        return Limit(None, None, for_s) if for_s is not None else None

    # ---------------------------------------------------------------- boards and changeovers

    def _board(self, identifier: str, node: Node, route: Route) -> Board:
        outer = _text(node, "inside")
        here = (*route, "inside")
        if outer is not None and _is_id(outer):
            span = _at(node, "inside")
            if outer == identifier:
                self._problem(
                    span, f"`{identifier}` cannot stand inside itself", "name the board of the enclosure", here
                )
            else:
                entry = self._named(outer, ("board",), "board", span, here)
                further = _text(entry.node, "inside") if entry is not None else None
                if further == identifier:
                    self._problem(
                        span, f"`{identifier}` and `{outer}` stand inside each other", "take one `inside` out", here
                    )
                elif further is not None and further != outer:
                    self._problem(
                        span,
                        f"`{outer}` is itself inside `{further}`, so it is no enclosure",
                        f"name the enclosure itself: `inside: {further}`",
                        here,
                    )
        self._distinct(node, "bars", route)
        return Board(
            id=identifier,
            inside=outer,
            bars=_core_list(node, "bars") or (),
            route=route,
            class_ii=_text(node, "equipment") == "class-II",
            building=_text(node, "building"),
            enclosure=_text(node, "enclosure"),
            place=_text(node, "place"),
        )

    def _changeover(self, identifier: str, node: Node, route: Route) -> Changeover | None:
        positions, poles = _word_list(node, "positions"), _core_list(node, "poles")
        if not positions or poles is None:
            self.spoiled = True
            return None
        self._distinct(node, "poles", route)
        prefers = _text(node, "prefers")
        if prefers is not None and _is_id(prefers) and prefers not in positions:
            self._problem(
                _at(node, "prefers"),
                f"`{prefers}` is not a position of `{identifier}` (positions: {', '.join(positions)})",
                partial(_near, prefers, positions),
                (*route, "prefers"),
            )
        return Changeover(
            id=identifier,
            positions=positions,
            poles=poles,
            route=route,
            transition=_text(node, "transition") or "open",
            drive=_text(node, "drive"),
            prefers=prefers,
            building=_text(node, "building"),
            enclosure=_text(node, "enclosure"),
            rating_a=_amount(node, "rating", "current"),
        )

    # ---------------------------------------------------------------- connections and circuits

    def _connection(self, identifier: str, node: Node, route: Route, circuit: bool = False) -> Connection | None:
        start = self._end(node, "from", route)
        finish = End(identifier, "", route) if circuit else self._end(node, "to", route)
        cores = _core_list(node, "cores")
        if cores is not None:
            self._distinct(node, "cores", route)
        lands_on = self._lands_on(node, cores, route)
        devices = [
            self._device(device, i, cores, identifier, (*route, "through", i)) for i, device in _items(node, "through")
        ]
        if start is not None and finish is not None and (start.id, start.terminal) == (finish.id, finish.terminal):
            key = "from" if circuit else "to"
            self._problem(
                _at(node, key),
                f"`{identifier}` joins `{start.written}` to itself",
                "a connection has two different ends",
                (*route, key),
            )
        if cores is not None:
            lands = dict(lands_on)
            if start is not None:
                self._judge_cores(start, cores, cores, node, route)
            if finish is not None:
                self._judge_cores(finish, cores, tuple(lands.get(core, core) for core in cores), node, route)
        if start is None or finish is None or cores is None:
            self.spoiled = True
            return None
        return Connection(
            id=identifier,
            start=start,
            finish=finish,
            cores=cores,
            lands_on=lands_on,
            devices=_present(devices),
            plug=_yes(node, "plug"),
            route=route,
            size=_size(node, "size"),
            n_size=_size(node, "n-size"),
            pe_size=_size(node, "pe-size"),
            pe_by=_text(node, "pe-by"),
            runs=_count(node, "runs"),
            material=_text(node, "material"),
            insulation_c=_amount(node, "insulation", "temperature"),
            length_m=_amount(node, "length", "length"),
        )

    def _lands_on(self, node: Node, cores: tuple[str, ...] | None, route: Route) -> tuple[tuple[str, str], ...]:
        holder = _child(node, "lands-on")
        if holder is None:
            return ()
        found = []
        for core, child in _map(holder).items():
            target = child.value
            if core not in _ALL_CORES or not isinstance(target, str) or target not in _ALL_CORES:
                continue
            if cores is not None and core not in cores:
                self._problem(
                    holder.keys[core],
                    f"`{core}` lands on `{target}`, but there is no such core (cores: {' '.join(cores)})",
                    f"add {core} to `cores`, or take it out here",
                    (*route, "lands-on", core),
                )
            elif core != target:
                found.append((core, target))
        return tuple(found)

    def _judge_cores(
        self, end: End, cores: tuple[str, ...], landing: tuple[str, ...], node: Node, route: Route
    ) -> None:
        """Whether an end has the conductors that land on it; ``landing`` are the bars, in the order of ``cores``."""
        span = _at(node, "cores")
        here = (*route, "cores")
        own = self._conductors(end)
        facts = self.sources.get(end.id) if self.ids[end.id].sort == "source" else None
        if self.ids[end.id].sort == "extraneous part":
            self.bonded.add(end.id)
        if own is not None:
            allowed, why = own
            wrong = [bar for bar in dict.fromkeys(landing) if bar not in allowed]
            if wrong:
                named = " and ".join(f"`{bar}`" for bar in wrong)
                hint = f"take {' and '.join(wrong)} out of `cores`, or correct `{end.id}`"
                if facts is not None and facts.kind == "utility" and "PEN" in wrong:
                    hint = f"write N and PE, or `earthing: TN-C-S` at `{end.id}`" if facts.earthing == "TN-S" else hint
                self._problem(span, f"`{end.written}` has no {named} ({why})", hint, here)
            elif end.terminal in DIRECT_INPUTS and not any(bar in DIRECT for bar in landing):
                self._problem(
                    span,
                    f"none of these cores is a d.c. core, but `{end.written}` is a d.c. side",
                    "the cores of a d.c. side are DC+ DC- M",
                    here,
                )
        if facts is not None and facts.kind == "utility" and facts.earthing == "TN-C-S":
            self.from_utility.setdefault(end.id, []).append((landing, node, here))

    def _judge_utilities(self) -> None:
        """A TN-C-S supply brings a PEN, or N and PE from a split at its terminals, over all its connections."""
        for identifier, links in self.from_utility.items():
            brought = {core for landing, _, _ in links for core in landing}
            if "N" in brought and not brought & {"PEN", "PE"}:
                landing, node, here = next(link for link in links if "N" in link[0])
                lines = " ".join(core for core in landing if core in LINES)
                self._problem(
                    _at(node, "cores"),
                    f"`{identifier}` is a TN-C-S supply: N alone does not come from it, its neutral is a PEN",
                    f"write `{lines} PEN`; or `{lines} N PE` where the supplier splits it; or `earthing: TT` at "
                    f"`{identifier}` where no PE is taken from the supplier",
                    here,
                )
            elif "PEN" in brought and brought & {"N", "PE"}:
                other = "PE" if "PE" in brought else "N"
                _, node, here = [link for link in links if {"N", "PE"} & set(link[0])][-1]
                self._problem(
                    _at(node, "cores"),
                    f"`{identifier}` brings a PEN and {other} as well: the supplier splits its PEN or he does not",
                    "write PEN alone, or N and PE alone",
                    here,
                )

    def _device(
        self, node: Node, position: int, cores: tuple[str, ...] | None, connection: str, route: Route
    ) -> Device | None:
        kind = _text(node, "kind")
        if kind not in _DEVICES or cores is None:
            self.spoiled = True
            return None
        lines = tuple(core for core in cores if core in LINES or core in ("DC+", "DC-"))
        poles = self._of_cores(node, "poles", "pole", cores, connection, route)
        if kind == "meter":
            poles = ()  # all that passes it is counted, and it opens nothing
        if poles is None:
            poles = (
                lines if kind in _OPENS_LINES_ONLY else tuple(core for core in cores if core in lines or core == "N")
            )
        senses: tuple[str, ...] = ()
        if kind in ("rcd", "rcbo"):
            written = self._of_cores(node, "senses", "sensed core", cores, connection, route)
            senses = tuple(core for core in cores if core != "PE") if written is None else written
        return Device(
            kind=kind,
            id=_text(node, "id"),
            position=position,
            poles=poles,
            senses=senses,
            operable=_yes(node, "operable"),
            normally_open=_text(node, "normally") == "open",
            route=route,
            rating_a=_amount(node, "rating", "current"),
            residual_a=_amount(node, "residual", "current"),
            residual_type=_text(node, "type"),
            delay=_text(node, "delay"),
            curve=_text(node, "curve"),
            fuse_class=_text(node, "class"),
            breaking_capacity_a=_amount(node, "breaking-capacity", "current"),
            instantaneous_a=_amount(node, "instantaneous", "current"),
            dc_breaking_capacity_a=_amount(node, "dc-breaking-capacity", "current"),
        )

    def _of_cores(
        self, node: Node, key: str, word: str, cores: tuple[str, ...], connection: str, route: Route
    ) -> tuple[str, ...] | None:
        """The conductors of a device, each of which must be a core of its connection."""
        found = _core_list(node, key)
        if found is None:
            return None
        self._distinct(node, key, route)
        wrong = [core for core in dict.fromkeys(found) if core not in cores]
        if wrong:
            named = " and ".join(f"`{core}`" for core in wrong)
            hint = f"take {' and '.join(wrong)} out of `{key}`, or add it to `cores`"
            if wrong == ["N"] and "PEN" in cores:
                hint = "the neutral core here is PEN, which no device may open: take N out"
            self._problem(
                _at(node, key),
                f"{named} is a {word} here, but `{connection}` has no such core (cores: {' '.join(cores)})",
                hint,
                (*route, key),
            )
        return found

    def _circuit(self, identifier: str, node: Node, route: Route) -> Circuit | None:
        connection = self._connection(identifier, node, route, circuit=True)
        if connection is None:
            return None
        serves = _text(node, "serves")
        if serves in _SOCKETS:
            self._problem(
                _at(node, "serves"),
                f"`{serves}` is not the word for socket-outlets, and rules look for that word",
                "write `socket-outlets`",
                (*route, "serves"),
            )
        text = _text(node, "load")
        load = quantity.parse(text, "power-or-current") if text is not None else None
        load_va = load_w = load_a = None
        if isinstance(load, quantity.Measure) and load.value > (
            20e3 if load.unit.endswith("A") and "V" not in load.unit else 10e6
        ):
            self._problem(
                _at(node, "load"),
                f"`load` of `{identifier}` is more than 10 MW or 20 kA: no circuit of low voltage carries that",
                "check the unit",
                (*route, "load"),
            )
        if isinstance(load, quantity.Measure):
            if load.unit.endswith("VA"):
                load_va = load.value
            elif load.unit.endswith("W"):
                load_w = load.value
            else:
                load_a = load.value
        return Circuit(
            id=identifier,
            connection=connection,
            serves=serves,
            class_ii=_text(node, "equipment") == "class-II",
            route=route,
            load_va=load_va,
            load_w=load_w,
            leakage_a=_amount(node, "leakage", "current"),
            building=_text(node, "building"),
            enclosure=_text(node, "enclosure"),
            load_a=load_a,
            power_factor=_number(node, "power-factor"),
            place=_text(node, "place"),
        )

    # ---------------------------------------------------------------- bonds, electrodes, monitors, extraneous parts

    def _bond(self, identifier: str, node: Node, route: Route) -> Bond | None:
        at = self._end(node, "at", route)
        closed = self._when(node, "closed", route)
        if at is None or closed is None:
            self.spoiled = True
            return None
        own = self._conductors(at)
        if own is not None:
            missing = [] if own[0] & {"N", "PEN"} else ["N"]
            missing += [] if "PE" in own[0] else ["PE"]
            if missing:
                self._problem(
                    _at(node, "at"),
                    f"a bond joins N and PE, but `{at.written}` has no {' and no '.join(missing)} ({own[1]})",
                    "put the bond where N and PE come together, on a board that has both bars",
                    (*route, "at"),
                )
        return Bond(
            id=identifier,
            at=at,
            closed=closed,
            impedance_ohm=_amount(node, "impedance", "impedance"),
            route=route,
            size=_size(node, "size"),
            opens_after_s=_amount(node, "opens-after", "time"),
            closes_after_s=_amount(node, "closes-after", "time"),
            length_m=_amount(node, "length", "length"),
            material=_text(node, "material"),
        )

    def _electrode(self, identifier: str, node: Node, route: Route) -> Electrode | None:
        at = self._end(node, "at", route, live=False)
        if at is None:
            self.spoiled = True
            return None
        facts = self.sources.get(at.id) if self.ids[at.id].sort == "source" else None
        if facts is not None and facts.kind == "utility":
            self._problem(
                _at(node, "at"),
                f"`{at.id}` is the utility: its electrode belongs to the supplier and not to the installation",
                "name the board whose PE bar this electrode is joined to",
                (*route, "at"),
            )
        else:
            self._must_have_pe(at, _at(node, "at"), "an electrode is joined to PE", (*route, "at"))
        return Electrode(
            id=identifier,
            at=at,
            route=route,
            resistance_ohm=_amount(node, "resistance", "impedance"),
            rods=_count(node, "rods"),
            length_m=_amount(node, "length", "dimension"),
            diameter_m=_amount(node, "diameter", "dimension"),
            spacing_m=_amount(node, "spacing", "dimension"),
            soil_ohm_m=_amount(node, "soil", "resistivity"),
            conductor=_size(node, "conductor"),
            shape=_text(node, "shape"),
            material=_text(node, "material"),
            depth_m=_amount(node, "depth", "dimension"),
        )

    def _must_have_pe(self, at: End, span: Span, because: str, route: Route) -> None:
        own = self._conductors(at)
        if own is not None and "PE" not in own[0]:
            self._problem(
                span,
                f"{because}, but `{at.written}` has no PE ({own[1]})",
                "name a place with a PE bar",
                route,
            )

    def _monitor(self, identifier: str, node: Node, route: Route) -> Monitor | None:
        at = self._end(node, "at", route)
        if at is None:
            self.spoiled = True
            return None
        here = (*route, "at")
        if self.ids[at.id].sort not in ("board", "source", "d.c. source"):
            self._problem(
                _at(node, "at"),
                f"`{at.written}` is {_a(self.ids[at.id].sort)}: an insulation monitor stands at a board or at a source",
                lambda: self._choice(("board", "source")),
                here,
            )
        else:
            own = self._conductors(at)
            if own is not None and not own[0] & {*LINES, "N", "PEN", *DIRECT}:
                self._problem(
                    _at(node, "at"),
                    f"an insulation monitor watches live conductors, but `{at.written}` has none ({own[1]})",
                    "name a board with live bars",
                    here,
                )
        return Monitor(identifier, at, _amount(node, "impedance", "impedance"), route)

    def _direct(self, identifier: str, node: Node, route: Route) -> DirectSource | None:
        kind = _text(node, "kind")
        if kind not in ("battery", "pv"):
            self.spoiled = True
            return None
        return DirectSource(
            identifier,
            kind,
            _amount(node, "voltage", "voltage"),
            _text(node, "earthed-pole"),
            _text(node, "monitoring"),
            _amount(node, "fault-current", "current"),
            _text(node, "equipment") == "class-II",
            route,
            _text(node, "building"),
            _text(node, "enclosure"),
            _amount(node, "internal-resistance", "impedance"),
        )

    def _extraneous(self, identifier: str, node: Node, route: Route) -> Extraneous:
        joins: list[End] = []
        for i, item in _items(node, "joins"):
            here = (*route, "joins", i)
            end = self._place(item, here, live=False)
            if end is None:
                continue
            if end.id == identifier or any(end.id == other.id for other in joins):
                self._problem(item.span, f"`{identifier}` joins `{end.id}` to itself", "name another place", here)
            self._must_have_pe(end, item.span, "an extraneous part is joined to PE", here)
            joins.append(end)
        written = _word_list(node, "joins")
        if len(written) == 1 and identifier not in self.bonded:
            self._problem(
                _at(node, "joins"),
                f"`{identifier}` joins `{written[0]}` to nothing",
                f"name the other places that it joins, or write the conductor that bonds it: `to: {identifier}, cores: PE`",
                (*route, "joins"),
            )
        near = []
        for i, item in _items(node, "near"):
            here = (*route, "near", i)
            end = self._place(item, here, live=False)
            if end is not None and self.ids[end.id].sort in ("extraneous part", "d.c. source"):
                message = f"`{end.id}` has no frame that a fault of this installation makes live"
                self._problem(item.span, message, "name a board, a circuit, a changeover or a source", here)
            elif end is not None:
                near.append(end)
        return Extraneous(identifier, tuple(joins), _text(node, "kind"), route, tuple(near))

    # ---------------------------------------------------------------- groups

    def _group(self, identifier: str, node: Node, route: Route) -> Group | None:
        members = []
        for i, item in _items(node, "members"):
            here = (*route, "members", i)
            if not isinstance(item.value, str) or not _is_id(item.value):
                self.spoiled = True
                continue
            if self._named(item.value, ("source",), "inverter", item.span, here) is None:
                continue
            kind = self.sources[item.value].kind
            if kind not in ("inverter", None):
                self._problem(
                    item.span,
                    f"`{item.value}` is {_a(kind)}, and only inverters form a group",
                    self._inverters,
                    here,
                )
                continue
            members.append(item.value)
        phases = []
        holder = _child(node, "phases") or node
        written = _word_list(node, "members")
        for member, line in _map(_child(node, "phases")).items():
            here = (*route, "phases", member)
            if line.value not in LINES or not _is_id(member):
                continue
            if member not in written:
                self._problem(
                    holder.keys[member],
                    f"`{member}` is not a member of the group `{identifier}` (members: {', '.join(written)})",
                    partial(_near, member, written),
                    here,
                )
            elif member in members:
                own = self.sources[member].phases
                if own is not None and line.value not in own:
                    self._problem(
                        line.span,
                        f"`{member}` does not feed {line.value} (phases: {' '.join(own)})",
                        f"write `phases: {line.value}` at `{member}`, or correct the line here",
                        here,
                    )
                phases.append((member, str(line.value)))
        return Group(identifier, tuple(members), tuple(phases), route)

    def _inverters(self) -> str:
        names = [name for name, facts in self.sources.items() if facts.kind == "inverter"]
        return f"inverters of this file: {', '.join(names[:8])}" if names else "there is no inverter in this file"

    def _judge_groups(self) -> None:
        taken: dict[str, str] = {}
        for identifier, node, route in self._entries("groups"):
            for i, item in _items(node, "members"):
                if isinstance(item.value, str) and taken.setdefault(item.value, identifier) != identifier:
                    self._problem(
                        item.span,
                        f"`{item.value}` is already a member of the group `{taken[item.value]}`",
                        "an inverter belongs to one group",
                        (*route, "members", i),
                    )

    # ---------------------------------------------------------------- conditions

    def _when(self, holder: Node, key: str, route: Route, interlock: bool = False) -> When | None:
        """A condition; empty where none is written, None where something is wrong with it."""
        node = _child(holder, key)
        if node is None:
            return ()
        if node.kind != "map":
            self.spoiled = True
            return None
        found: list[tuple[str, tuple[str, ...]]] = []
        sound = True
        for variable, child in _map(node).items():
            here = (*route, key, variable)
            span = node.keys[variable]
            if not _is_id(variable):
                sound = False
                continue
            states = self._states(variable, span, here, interlock)
            if states is None:
                sound = False
                continue
            values = []
            for item in _list(child) if child.kind == "list" else (child,):
                if not isinstance(item.value, str) or not _is_id(item.value):
                    sound = False
                elif states and item.value not in states:
                    sound = False
                    self._problem(
                        item.span,
                        f"`{item.value}` is not a state of `{variable}` (states: {', '.join(states)})",
                        partial(_state_hint, variable, item.value, states),
                        here,
                    )
                else:
                    values.append(item.value)
            found.append((variable, tuple(values)))
        if not sound:
            self.spoiled = True
            return None
        return tuple(found)

    def _states(self, variable: str, span: Span, route: Route, interlock: bool) -> tuple[str, ...] | None:
        """The states of a variable of a condition; empty where they cannot be told, None where it is not a variable."""
        entry = self.ids.get(variable)
        if entry is None and self.blind:
            return None
        if entry is None:
            message = f"there is nothing with the id `{variable}`"
            self._problem(span, message, lambda: self._variables_listed(interlock, variable), route)
            return None
        if entry.sort == "source":
            facts = self.sources[variable]
            if facts.kind == "utility":
                if interlock:
                    self._problem(
                        span,
                        f"`{variable}` is the utility: an interlock cannot forbid the grid to go or to come back",
                        "name the switch or the changeover position that the interlock acts on",
                        route,
                    )
                    return None
                return ("present", "absent", "detached")
            if facts.kind == "generator":
                return ("running", "standing")
            if facts.kind == "inverter":
                return ("off", "inverting", "passing") if facts.mains_input else ("off", "inverting")
            if facts.kind is None:
                return ()
        elif entry.sort == "group":
            known = [self.sources.get(member) for member in _word_list(entry.node, "members")]
            # A member that is not understood may have a mains input.
            passes = any(facts is None or facts.kind is None or facts.mains_input for facts in known)
            return ("off", "inverting", "passing") if passes else ("off", "inverting")
        elif entry.sort == "changeover":
            return _word_list(entry.node, "positions")
        elif entry.sort == "device":
            if _yes(entry.node, "operable"):
                return ("open", "closed")
            self._problem(
                span,
                f"`{variable}` is not said to be operated in service, so no condition can name it",
                f"write `operable: yes` at the device `{variable}` ({where(entry.span, span)})",
                route,
            )
            return None
        elif entry.sort in ("connection", "circuit"):
            if _yes(entry.node, "plug"):
                return ("mated", "unmated")
            self._problem(
                span,
                f"`{variable}` is {_a(entry.sort)} without a plug: it {_CONDITIONS_PROBLEM}",
                f"name a device in it that has an id and `operable: yes`, or write `plug: yes` at `{variable}`",
                route,
            )
            return None
        what = "transformer" if entry.sort == "source" else entry.sort
        message = f"`{variable}` is {_a(what)}: it {_CONDITIONS_PROBLEM}"
        self._problem(span, message, lambda: self._variables_listed(interlock), route)
        return None

    def _variables(self, interlock: bool) -> list[str]:
        found = []
        for name, entry in self.ids.items():
            if (
                (entry.sort == "source" and self.sources[name].kind in ("generator", "inverter"))
                or (entry.sort == "source" and not interlock and self.sources[name].kind == "utility")
                or entry.sort in ("changeover", "group")
                or (entry.sort == "device" and _yes(entry.node, "operable"))
                or (entry.sort in ("connection", "circuit") and _yes(entry.node, "plug"))
            ):
                found.append(name)
        return found

    def _variables_listed(self, interlock: bool, meant: str = "") -> str:
        names = self._variables(interlock)
        near = quantity.nearest(meant, names) if meant else None
        if near:
            return f"did you mean `{near}`?"
        if not names:
            return "a condition names a source, a changeover or an operable device, and this file has none"
        more = f" and {len(names) - 8} more" if len(names) > 8 else ""
        return f"a condition can name here: {', '.join(names[:8])}{more}"

    def _interlock(self, node: Node, route: Route) -> Interlock | None:
        never = self._when(node, "never", route, interlock=True)
        if not never:
            self.spoiled = True
            return None
        return Interlock(never, route)

    # ---------------------------------------------------------------- waivers

    def _waiver(self, node: Node, route: Route) -> Accepted | None:
        at = _text(node, "at")
        rule, reason = _text(node, "rule"), _text(node, "reason")
        if at is None or rule is None or reason is None:
            self.spoiled = True
            return None
        if _is_id(at) and at not in self.ids and not self.blind:
            self._problem(
                _at(node, "at"), f"there is nothing with the id `{at}`", lambda: self._any_id(at), (*route, "at")
            )
        until = _text(node, "until")
        if until is not None and until.replace("-", "").isdigit() and not _is_day(until):
            self._problem(
                _at(node, "until"), f"`{until}` is no day of the calendar", "correct the date", (*route, "until")
            )
        return Accepted(rule, at, reason, until, _text(node, "by"), route)

    def _any_id(self, meant: str) -> str:
        near = quantity.nearest(meant, self.ids)
        return f"did you mean `{near}`?" if near else "name the object that the finding is about"

    # ---------------------------------------------------------------- problems

    def _distinct(self, node: Node, key: str, route: Route) -> None:
        """No conductor twice in one line."""
        words = _core_list(node, key) or ()
        twice = [word for word in dict.fromkeys(words) if words.count(word) > 1]
        if twice:
            self._problem(
                _at(node, key),
                f"{' and '.join(f'`{word}`' for word in twice)} stands twice in `{key}`",
                f"write `{' '.join(dict.fromkeys(words))}`",
                (*route, key),
            )

    def _problem(self, span: Span, message: str, hint: str | Callable[[], str], route: Route) -> None:
        """Note a problem; a hint that has to be searched for comes as a function."""
        if not isinstance(hint, str):
            self.searches[len(self.problems)] = hint
            hint = ""
        self.problems.append(Problem(span, message, hint, route))

    def search_hints(self) -> None:
        """Search the hints of the problems that can be shown: in a file of thousands, all would take minutes."""
        first = sorted(range(len(self.problems)), key=lambda i: self.problems[i][:2])[: schema.LIMIT]
        for i in first:
            if i in self.searches:
                self.problems[i] = self.problems[i]._replace(hint=self.searches[i]())


def _source_facts(node: Node) -> _SourceFacts:
    kind = _text(node, "kind")
    earthing = _text(node, "earthing")
    phases = _core_list(node, "phases")
    return _SourceFacts(
        kind if kind in ("utility", "generator", "inverter", "transformer") else None,
        phases if phases is not None and all(phase in LINES for phase in phases) else None,
        earthing if earthing in ("TN-S", "TN-C-S", "TT", "IT") else None,
        kind == "inverter" and _yes(node, "mains-input"),
    )


def _map(node: Node | None) -> dict[str, Node]:
    """The entries of a map; none where it is not there or no map."""
    value = node.value if node is not None else None
    return value if isinstance(value, dict) else {}


def _list(node: Node | None) -> tuple[Node, ...]:
    value = node.value if node is not None else None
    return value if isinstance(value, tuple) else ()


def _child(node: Node | None, key: str) -> Node | None:
    return _map(node).get(key)


def _at(node: Node, key: str) -> Span:
    """Where the value of a key stands that is known to be there."""
    return _map(node)[key].span


def _text(node: Node | None, key: str) -> str | None:
    child = _child(node, key)
    return child.value if child is not None and isinstance(child.value, str) else None


def _yes(node: Node, key: str) -> bool:
    child = _child(node, key)
    return child is not None and child.kind == "scalar" and (child.value is True or child.value == "yes")


def _number(node: Node, key: str) -> float | None:
    child = _child(node, key)
    if child is None or isinstance(child.value, bool) or not isinstance(child.value, (int, float)):
        return None
    return float(child.value)


def _count(node: Node, key: str) -> int | None:
    number = _number(node, key)
    return None if number is None else int(number)


def _items(node: Node | None, key: str) -> Iterator[tuple[int, Node]]:
    """The entries of a list inside an object; beyond the longest that the schema allows they are not looked at."""
    return enumerate(_list(_child(node, key))[:_LONGEST])


def _word_list(node: Node, key: str) -> tuple[str, ...]:
    return tuple(item.value for _, item in _items(node, key) if isinstance(item.value, str))


def _core_list(node: Node, key: str) -> tuple[str, ...] | None:
    """The conductors of a line such as ``L1 N PE``; None where it is not written or holds anything else."""
    text = _text(node, key)
    words = tuple(text.split()) if text is not None else ()
    return words if words and all(word in _ALL_CORES for word in words) else None


def _amount(node: Node | None, key: str, name: str) -> float | None:
    text = _text(node, key)
    return None if text is None else quantity.value(text, name)


def _size(node: Node, key: str) -> Size | None:
    text = _text(node, key)
    mm2 = quantity.value(text, "cross-section") if text is not None else None
    return None if text is None or mm2 is None else Size(mm2, text)


def _breaker(node: Node, key: str) -> tuple[str, float] | None:
    """Curve and rating in A of a breaker such as ``B16``; what has another form is refused by the schema."""
    text = _text(node, key)
    if text is None or text[:1] not in ("B", "C", "D"):
        return None
    rating_a = quantity.value(f"{text[1:]} A", "current")
    return None if rating_a is None else (text[0], rating_a)


def _voltages(node: Node, key: str, name: str, lines: int) -> tuple[float | None, float | None]:
    """Line-to-neutral and line-to-line voltage; a single value of a source with several lines is line-to-line."""
    text = _text(node, key)
    measure = quantity.parse(text, name) if text is not None else None
    if not isinstance(measure, quantity.Measure):
        return None, None
    if measure.second is not None:
        return measure.value, measure.second
    return (measure.value, None) if lines == 1 else (None, measure.value)


def _limit_of(measure: quantity.Measure, for_s: float | None) -> Limit:
    if measure.unit == "x rated":
        return Limit(None, measure.value, for_s)
    return Limit(measure.value, None, for_s)


def _present(parts: Iterable[_Part | None]) -> tuple[_Part, ...]:
    return tuple(part for part in parts if part is not None)


def _is_id(text: str) -> bool:
    plain = text.replace("-", "a")
    return (
        0 < len(text) <= 64 and text.isascii() and plain.isalnum() and plain == plain.lower() and "a" <= text[0] <= "z"
    )


def _is_end(text: str) -> bool:
    identifier, dot, terminal = text.partition(".")
    return _is_id(identifier) and (not dot or _is_id(terminal))


def _is_day(text: str) -> bool:
    parts = text.split("-")
    if len(parts) != 3 or not all(part.isascii() and part.isdigit() and len(part) <= 4 for part in parts):
        return False
    year, month, day = map(int, parts)
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = (31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    return 1 <= month <= 12 and 1 <= day <= days[month - 1]


def _near(word: str, words: tuple[str, ...]) -> str:
    near = quantity.nearest(word, words)
    return f"did you mean `{near}`?" if near else f"write one of: {', '.join(words)}"


def _state_hint(variable: str, value: str, states: tuple[str, ...]) -> str:
    if value == "passing":
        return f"an inverter passes only with a mains input: write `mains-input: yes` at `{variable}` if it has one"
    return _near(value, states)


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeio' else 'a'} {word}"


def _meant_position(identifier: str, terminal: str, positions: tuple[str, ...]) -> str:
    near = quantity.nearest(terminal, [position for position in positions if position != "off"])
    return f"did you mean `{identifier}.{near}`?" if near else f"write {_terminals(identifier, positions)}"


def _terminals(identifier: str, positions: tuple[str, ...]) -> str:
    named = [f"`{identifier}.{position}`" for position in positions if position != "off"]
    return f"{', '.join(named)}, or `{identifier}` for the common side"
