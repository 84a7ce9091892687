"""What ``onebond figures`` shows: everything that is computed, cases that agree in all that is shown as one row."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

from onebond.circuit.impedances import pe_size_assumed
from onebond.conditions import conditions_of
from onebond.facts.curves import Curve
from onebond.facts.faults import Fed
from onebond.facts.lost import Lost
from onebond.facts.service import InService, written_load
from onebond.model import LINES, Installation
from onebond.result import (
    ClearingCurve,
    ConductorFigure,
    DirectFigure,
    FailureFigure,
    FaultFigure,
    Figures,
    FloatingFigure,
    LossFigure,
    RcdFigure,
    SupplyFigure,
)
from onebond.rule import (
    EarthFault,
    Facts,
    Failure,
    FloatingReading,
    Island,
    Params,
    RcdInService,
    Rule,
    Unknown,
)
from onebond.states import State

_Row = TypeVar(
    "_Row",
    FaultFigure,
    SupplyFigure,
    ConductorFigure,
    RcdFigure,
    FloatingFigure,
    FailureFigure,
    LossFigure,
    DirectFigure,
)

_DECIMALS = 3
"""Decimals in V, A, % and s beyond which a value says nothing, whatever its three digits are."""

_FINE = 4
"""The same for the ohm of a loop and the A of its fault."""

_MILLI = 6
"""The same for A that are shown as mA."""

_COARSE = 1
"""The same for the V of a single failure, which small leakages drive too."""


def figures_of(facts: Facts, rules: Sequence[Rule], curves: bool) -> Figures:
    """All computed figures; cases that agree in everything that is shown are one row. ``curves`` asks for those of devices too."""
    site = facts.installation
    links = (*site.connections, *(circuit.connection for circuit in site.circuits))
    params = _fault_params(facts, rules)
    faults = _fault_figures(facts, params)
    supply, conductors = _service_figures(facts)
    ids = [*_in_order(site), *(group.id for group in site.groups)]
    ids += [device.id for link in links for device in link.devices if device.id]
    ids += [fault.at for fault in faults]
    direct = _direct_figures(facts)
    ids += [*(one.id for one in site.direct), *(row.place for row in direct)]
    order = {identifier: number for number, identifier in enumerate(_in_order(site))}
    utilities = [source for source in site.sources if source.kind == "utility"]
    return Figures(
        tuple(sorted(faults, key=lambda row: (order[row.place], row.at, row.sources, row.conditions, row.second))),
        tuple(sorted(supply, key=lambda row: (order[row.place], row.at, row.sources, row.conditions))),
        tuple(sorted(conductors, key=lambda row: (order[row.connection], row.sources, row.conditions))),
        tuple(_rcd_figures(facts)),
        tuple(sorted(_floating_figures(facts), key=lambda row: (order[row.place], row.sources, row.conditions))),
        tuple(sorted(_failure_figures(facts), key=lambda row: (order[row.connection], row.sources, row.conditions))),
        params.get("minimum-voltage-factor", 1.0),
        params.get("fuses", "gG"),
        params.get("table", True),
        tuple(source.id for source in utilities),
        any(source.earthing in ("TN-S", "TN-C-S") for source in utilities) and bool(site.electrodes),
        tuple((s.id, s.kind) for s in site.sources if s.kind in ("generator", "inverter") and s.fault_limit is None),
        tuple(link.id for link in links if pe_size_assumed(link) and link.size) if site.stage != "as-built" else (),
        tuple(circuit.id for circuit in site.circuits if written_load(circuit) and circuit.power_factor is None),
        tuple(dict.fromkeys(ids)),
        _curves(facts, params, order) if curves else (),
        tuple(sorted(_loss_figures(facts), key=lambda row: (row.core, row.connection, row.sources, row.conditions))),
        direct,
    )


def _in_order(site: Installation) -> list[str]:
    """Ids from the boards outwards, each kind as it stands in the file."""
    kinds: tuple[Iterable[Any], ...] = (site.boards, site.changeovers, site.sources, site.circuits, site.connections)
    return [one.id for kind in kinds for one in kind]


def _fault_params(facts: Facts, rules: Sequence[Rule]) -> Params:
    """What the rulebook says of clearing earth faults: the parameters of the rule that asks for it; empty without one."""
    for rule in rules:
        params = rule.params_in(facts.rulebook)
        if rule.over == "earth_faults" and {"minimum-voltage-factor", "fuses"} <= params.keys():
            return params
    return {}


def _gathered(
    facts: Facts, subjects: Iterable[Any], name: Callable[[Any], Hashable], work: Callable[[Any], list[_Row]]
) -> dict[_Row, list[State]]:
    """The rows of all subjects with their states; each is worked out once for the cases that are wired alike."""
    wiring = {island: number for number, (_, islands) in enumerate(facts.wired) for island in islands}
    worked: dict[Hashable, list[_Row]] = {}
    found: dict[_Row, list[State]] = {}
    for subject in subjects:
        key = (wiring.get(subject.island, subject.island), name(subject))
        if key not in worked:
            worked[key] = work(subject)
        for row in worked[key]:
            found.setdefault(row, []).append(subject.island.state)
    return found


def _with_conditions(facts: Facts, found: dict[_Row, list[State]]) -> list[_Row]:
    return [row._replace(conditions=conditions_of(facts.network, states)) for row, states in found.items()]


def _rounded(value: float | None, decimals: int = _DECIMALS) -> float | None:
    """A value to three significant digits, as it is shown."""
    return None if value is None else abs(round(float(f"{value:.3g}"), decimals))


def _asked(ask: Callable[..., float | None], *of: object, decimals: int = _DECIMALS) -> tuple[float | None, str, str]:
    """A value as it is shown; else what is not written, or why there is no value."""
    try:
        return _rounded(ask(*of), decimals), "", ""
    except Unknown as lacking:
        return None, *_lacking(lacking)


def _lacking(lacking: Any) -> tuple[str, str]:
    return ("", lacking.reason) if lacking.reason else (lacking.what, "")


def _fed_by(island: Island, nodes: Iterable[int]) -> tuple[str, ...]:
    """The sources that energise some of the line nodes."""
    some = 0
    for node in nodes:
        some |= 1 << node
    return tuple(feed.id for feed in island.feeds if island.feed_lines[feed.id] & some)


def _fed_through(island: Island, element: str) -> tuple[str, ...]:
    """The sources that energise a line of a cable; those of the island where the cable has no line."""
    lines = [edge.a for edge in island.network.edges if edge.element == element and edge.core in LINES]
    return _fed_by(island, lines) if lines else tuple(feed.id for feed in island.feeds)


def _fault_figures(facts: Facts, params: Params) -> list[FaultFigure]:
    rows = _gathered(
        facts,
        facts.earth_faults,
        lambda fault: (fault.point.written, fault.line),
        lambda fault: _fault_rows(fault, params),
    )
    # of lines that agree in all that is shown, which one is cleared last is a matter of the last digit
    lines: dict[FaultFigure, set[str]] = {}
    found: dict[FaultFigure, list[State]] = {}
    for row, states in rows.items():
        lines.setdefault(row._replace(line=""), set()).add(row.line)
        found.setdefault(row._replace(line=""), []).extend(states)
    return _with_conditions(
        facts, {row._replace(line="/".join(sorted(lines[row]))): states for row, states in found.items()}
    )


def _fault_rows(fault: EarthFault, params: Params) -> list[FaultFigure]:
    """The figures of a fault: one row, and in an IT system one more for the second fault."""
    factor, fuses = params.get("minimum-voltage-factor", 1.0), params.get("fuses", "gG")
    earthing = "floating" if fault.floats else fault.system
    if earthing == "TT" and fault.way != "electrode":
        earthing = "-"
    limit_s = None
    if earthing in ("TN", "TT", "IT"):
        limit_s = fault.table_s if params.get("table", True) else params.get("longest-s")
    row = FaultFigure(
        place=fault.point.place,
        at=fault.point.written,
        conditions=(),
        sources=_fed_by(fault.island, fault.point.lines),
        line=fault.line,
        second=False,
        earthing=earthing,
        loop_ohm=None,
        current_a=None,
        device="",
        certain_s=None,
        possible_from_s=None,
        limit_s=None if earthing == "IT" else limit_s,
        verdict="-",
        touch_v=None,
        touch_met_v=None,
        limited_by="",
        open="",
        why="",
    )
    # a stand-in serves for the loop of a set that declares nothing
    bare = {s.id for s in fault.sources if s.kind == "generator" and s.fault_limit is None}
    guessed = not bare.isdisjoint(fed.source for fed in fault.feds)
    try:
        seen = row._replace(
            # an IT system that nothing ties to earth has no loop of a first fault
            loop_ohm=None if guessed or fault.loop_ohm == float("inf") else _rounded(fault.loop_ohm, _FINE),
            current_a=_rounded(fault.current_a(factor), _FINE),
            touch_v=_rounded(fault.touch_v()),
            touch_met_v=_rounded(fault.touch_met_v()),
        )
    except Unknown as lacking:
        return [_left_open(row, lacking)]
    rows = [_cleared(seen, fault, factor, fuses)]
    if earthing == "IT":
        current_a = _rounded(fault.second[0] * factor, _FINE) if fault.second else None
        row = row._replace(second=True, limit_s=limit_s, current_a=current_a)
        try:
            rows.append(_cleared(row, fault, factor, fuses))
        except Unknown as lacking:
            rows.append(_left_open(row, lacking))
    return rows


def _left_open(row: FaultFigure, lacking: Any) -> FaultFigure:
    what, why = _lacking(lacking)
    return row._replace(verdict="open", open=what, why=why)


_ALONE = 0.999  # part of the largest current from which a device of a way sees all of it


def _curves(facts: Facts, params: Params, order: Mapping[str, int]) -> tuple[ClearingCurve, ...]:
    """The devices on the way to each place, from each source; in an IT system those on the way of the second fault."""
    factor, fuses = params.get("minimum-voltage-factor", 1.0), params.get("fuses", "gG")
    worked: dict[Hashable, Curve] = {}
    found: dict[tuple[int, str, str, Curve, float | None], set[tuple[float, str]]] = {}
    done: set[Hashable] = set()
    wiring = {island: number for number, (_, islands) in enumerate(facts.wired) for island in islands}
    for fault in facts.earth_faults:
        asked = (wiring.get(fault.island, fault.island), fault.point.written)
        if asked in done or fault.floats:
            continue
        done.add(asked)
        try:
            feds = fault.met_by
            row = _fault_rows(fault, params)[-1]
        except Unknown:
            continue
        for fed in feds:
            own = Curve(fed, fuses)
            current_a = _rounded(own.current_a * (1.0 if fed.limited else factor), _FINE)
            # the devices are the same ones at other places, the current is not
            curve = worked.setdefault((tuple(one.device.route for one in own.passed), own.shares), own)
            if curve.passed and current_a:
                # behind the place where several sources meet it is the current of all of them together
                met = len(feds) > 1 and min(line for line, _ in curve.shares) < _ALONE
                source = ", ".join(one.source for one in feds) if met else fed.source
                key = (order[fault.point.place], fault.point.written, source, curve, row.limit_s)
                verdict = _verdict(fault, fed, curve, current_a, row)
                found.setdefault(key, set()).add((current_a, verdict))
    steps = {curve: curve.steps() for _, _, _, curve, _ in found}
    rows: dict[tuple[Any, ...], set[tuple[float, str]]] = {}
    for (place, at, source, curve, limit_s), currents in found.items():
        rows.setdefault((place, at, source, curve.names, steps[curve], limit_s), set()).update(currents)
    return tuple(
        ClearingCurve(at, source, names, stepped, limit_s, tuple(sorted(currents)))
        for (_, at, source, names, stepped, limit_s), currents in sorted(
            rows.items(), key=lambda item: (item[0][:4], repr(item[0][4:]))
        )
    )


def _verdict(fault: EarthFault, fed: Fed, curve: Curve, current_a: float, row: FaultFigure) -> str:
    """What becomes of one way within the limit; that of the whole fault where there is but one way."""
    if row.limit_s is None:
        return row.verdict
    opens = curve.at(current_a).within(row.limit_s)
    alone = len(fault.met_by) == 1
    if opens != "certain" and (row.verdict == "certain" if alone else bool(fault.declared(fed))):
        return "source"
    return row.verdict if alone else opens


def _cleared(row: FaultFigure, fault: EarthFault, factor: float, fuses: str) -> FaultFigure:
    """The row with what opens, when, and whether that is within the limit."""
    ways = fault.met_by if row.second else fault.feds
    cleared = fault.cleared(factor, fuses, second=row.second)
    row = row._replace(
        device=cleared.by,
        certain_s=_rounded(cleared.trip.certain_s),
        possible_from_s=_rounded(cleared.trip.possible_from_s),
        limited_by=cleared.limited_by,
    )
    if row.limit_s is None:
        return row
    late = fault.late(row.limit_s, factor, fuses)
    if not late:
        declared = [name for name in map(fault.declared, ways) if name]
        return row._replace(verdict="certain", device=cleared.by or ", ".join(dict.fromkeys(declared)))
    if all(one.lacking for one in late):
        return _left_open(row, late[0].lacking)
    if fault.unprotected:
        return row._replace(
            verdict="open", open=f"the device that protects {fault.id} against what {fault.unprotected} gives"
        )
    within = {one.trip.within(row.limit_s) for one in late}
    return row._replace(verdict="impossible" if "impossible" in within else "possible")


def _service_figures(facts: Facts) -> tuple[list[SupplyFigure], list[ConductorFigure]]:
    """Voltage drops and the voltage of N to PE at all places; the currents of neutrals and protective conductors."""
    network, site = facts.network, facts.installation
    drops = {(drop.island, drop.id): drop for drop in facts.drops}
    surplus = {one.island: one.surplus for one in facts.pe_currents}
    supply: dict[SupplyFigure, list[State]] = {}
    conductors: dict[ConductorFigure, list[State]] = {}
    for currents, islands in facts.wired:
        service, island = facts.service_of(currents, True), currents.island
        states = [one.state for one in islands]
        fed = [circuit for circuit in site.circuits if circuit.id in island.supplies]
        without = tuple(circuit.id for circuit in fed if not written_load(circuit))
        loaded = len(without) < len(fed)

        def n_pe_v(n: int, pe: int, service: InService = service) -> float | None:
            return service.both(lambda found, _: service.across_v(found, n, pe))

        def current_a(link: str, core: str, service: InService = service) -> float | None:
            return service.both(lambda _, flow: _size(flow.element(link, core)))

        for point in currents.points:
            drop = drops.get((island, point.place)) if point.sort == "circuit" else None
            n = network.find(point.place, point.terminal, "N")
            ratio = _asked(lambda drop=drop: drop and 100 * drop.ratio)
            volts = _asked(n_pe_v, n, point.pe) if n >= 0 and loaded else _asked(lambda: None)
            if ratio == volts == (None, "", ""):
                continue
            left_open = ratio[1:] if any(ratio[1:]) else volts[1:]
            fed_by = _fed_by(island, point.lines)
            row = SupplyFigure(point.place, point.written, (), fed_by, ratio[0], volts[0], without, *left_open)
            supply.setdefault(row, []).extend(states)
        try:
            elements = service.flows[0].elements if loaded else {}
        except Unknown:
            continue  # there is no solution, as the rows of the places say
        for link in site.connections:
            core = next((core for core in ("N", "PEN") if (link.id, core) in elements), "")
            pe = (link.id, "PE") in elements
            neutral = _asked(current_a, link.id, core) if core else _asked(lambda: None)
            protective = _asked(current_a, link.id, "PE") if pe else _asked(lambda: None)
            left_open = neutral[1:] if any(neutral[1:]) else protective[1:]
            if neutral[0] or protective[0] or any(left_open):
                carrying = ConductorFigure(
                    link.id,
                    (),
                    _fed_through(island, link.id),
                    core,
                    neutral[0],
                    protective[0],
                    surplus.get(island, ""),
                    without,
                    *left_open,
                )
                conductors.setdefault(carrying, []).extend(states)
    return _with_conditions(facts, supply), _with_conditions(facts, conductors)


def _size(value: complex | None) -> float | None:
    return None if value is None else abs(value)


def _rcd_figures(facts: Facts) -> list[RcdFigure]:
    def rows(rcd: RcdInService) -> list[RcdFigure]:
        no_leakage = tuple(circuit.id for circuit in rcd.beyond if circuit.leakage_a is None)
        without = tuple(circuit.id for circuit in rcd.beyond if not written_load(circuit))
        nothing = (None, f"the leakage of {no_leakage[0]}", "") if len(no_leakage) == len(rcd.beyond) > 0 else None
        standing = nothing or _asked(lambda: rcd.standing_a, decimals=_MILLI)
        # without any leakage there is nothing to sum, unless neutral current goes past it
        total = (not rcd.diverts and nothing) or _asked(lambda: rcd.total_a, decimals=_MILLI)
        left_open = standing[1:] if any(standing[1:]) else total[1:]
        fed_by = _fed_by(rcd.island, (facts.network.edges[number].a for number in rcd.rcd.lines))
        values = (rcd.device.residual_a, standing[0], total[0])
        return [RcdFigure(rcd.id, (), fed_by, *values, rcd.diverts, rcd.behind, no_leakage, without, *left_open)]

    number = {rcd.name: number for number, rcd in enumerate(facts.network.rcds)}
    found = _gathered(facts, facts.rcds_in_service, lambda rcd: (number[rcd.rcd.name], rcd.diverts, rcd.behind), rows)
    order = list(dict.fromkeys(rcd.device.id or rcd.connection for rcd in facts.network.rcds))
    return sorted(
        _with_conditions(facts, found), key=lambda row: (order.index(row.id), row.sources, row.conditions, row.diverts)
    )


def _floating_figures(facts: Facts) -> list[FloatingFigure]:
    def band(value: tuple[float, float] | None, decimals: int = _DECIMALS) -> tuple[float, float] | None:
        return None if value is None else (_rounded(value[0], decimals) or 0.0, _rounded(value[1], decimals) or 0.0)

    def rows(reading: FloatingReading) -> list[FloatingFigure]:
        digital, low_impedance = (
            tuple(band((value, value) if isinstance(value, float) else value) for value in values)
            for values in (reading.digital, reading.low_impedance)
        )
        lines = next((part.lines for part in facts.network.parts if part.id == reading.id), ())
        fed_by = _fed_by(reading.island, lines) or tuple(feed.id for feed in reading.island.feeds)
        return [
            FloatingFigure(
                reading.id,
                (),
                fed_by,
                reading.line,
                digital,
                low_impedance,
                band(reading.touch_a, _MILLI),
                not reading.filters,
            )
        ]

    return _with_conditions(facts, _gathered(facts, facts.floating, lambda one: one[3:], rows))


def _failure_figures(facts: Facts) -> list[FailureFigure]:
    def highest(found: Iterable[tuple[str, float]]) -> tuple[str, float | None]:
        volts = [(_rounded(volts, _COARSE) or 0.0, place) for place, volts in found]
        best = max((value for value, _ in volts), default=None)
        return min((place for value, place in volts if value == best), default=""), best

    def rows(failure: Failure) -> list[FailureFigure]:
        row = FailureFigure(
            failure.id,
            failure.core,
            (),
            _fed_through(failure.island, failure.id),
            *("", None, "", None),
            _rounded(failure.nominal_v) or 0.0,
            "",
            "",
        )
        try:
            (frame, frame_v), (load, load_v) = highest(failure.frames), highest(failure.loads)
        except Unknown as lacking:
            what, why = _lacking(lacking)
            return [row._replace(open=what, why=why)]
        rises = bool(frame_v or load_v)
        return [row._replace(frame=frame, frame_v=frame_v, load=load, load_v=load_v)] if rises else []

    return _with_conditions(facts, _gathered(facts, facts.failures, lambda one: (one.id, one.core), rows))


def _loss_figures(facts: Facts) -> list[LossFigure]:
    words = {"pe": "PE", "bond": "link", "electrode": "electrode"}

    def rows(one: Lost) -> list[LossFigure]:
        sources = tuple(feed.id for feed in one.island.feeds)
        leaking = _rounded(one.leaking_a, _MILLI)
        return [LossFigure(one.id, words[one.sort], (), sources, one.frames, one.floats, leaking)]

    return _with_conditions(facts, _gathered(facts, facts.losses, lambda one: (one.id, one.sort), rows))


def _direct_figures(facts: Facts) -> tuple[DirectFigure, ...]:
    """In the order of the file: the sources of a side first, then what hangs on them; over all positions of its switches."""
    found = []
    for one in facts.direct_currents:
        if one.sources:
            lacking = one.largest.lacking or one.least.lacking
            found.append(
                DirectFigure(
                    f"{one.place}.{one.terminal}" if one.terminal else one.place,
                    ((),),
                    one.sources,
                    None if one.largest.lacking else _rounded(one.largest.known_a, _FINE),
                    None if one.least.lacking else _rounded(one.least.known_a, _FINE),
                    *(_lacking(Unknown.of(lacking)) if lacking else ("", "")),
                )
            )
    return tuple(found)
