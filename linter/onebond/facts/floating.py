"""Floating systems: what a meter reads where nothing but capacitances holds the neutral, and what a person would feel."""

from __future__ import annotations

from typing import NamedTuple

from onebond.circuit.build import Model, Options, with_other_stand_ins
from onebond.circuit.components import body, capacitance
from onebond.circuit.impedances import Missing, line_emfs_v
from onebond.circuit.parts import Circuit
from onebond.circuit.solve import Study, Unsolvable
from onebond.facts.currents import Currents, Point
from onebond.facts.island import Island
from onebond.span import Route

SAME = 0.01
"""Relative difference up to which two readings with other stand-ins are one: finer than a meter shows (common practice, no source)."""

UNWRITTEN_M = 100.0
"""Length in m that stands for one that is not written, besides none: a reading that is the same with both does not rest on it."""


class Band(NamedTuple):
    """The least and the largest value, over what the stray capacitance of the cables may be."""

    low: float
    high: float


class FloatingReading(NamedTuple):
    """What meters read at a place of a floating island, in V, and the current through a person from a line to PE, in A.

    ``None``: nothing that is known holds the system to PE there, or the value rests on what is not written.
    """

    id: str
    route: Route
    island: Island
    line: str
    digital: tuple[float | None, Band | None, Band | None]  # L-N, L-PE, N-PE with 10 Mohm
    low_impedance: tuple[float | None, Band | None, Band | None]  # with 3 kohm
    touch_a: Band | None
    filters: bool  # whether a filter capacitance or a leakage is written


def floating_readings(currents: Currents, hertz: float) -> list[FloatingReading]:
    """The readings at all places of a floating island, one line conductor a place."""
    network, island = currents.network, currents.island
    sides: list[dict[str, _Reading]] = []
    for stray_f in capacitance.STRAY_F_PER_M:
        options = Options(capacitances=True, stray_f_per_m=stray_f, frequency_hz=hertz)
        model = currents.model(options)
        readings = _readings(currents, model, model.circuit)
        if model.unknown:
            longer = currents.model(options._replace(unwritten_m=UNWRITTEN_M))
            others = _readings(currents, longer, with_other_stand_ins(longer))
            readings = {place: _agreed(one, others[place]) for place, one in readings.items() if place in others}
        sides.append(readings)
    # the filter of an inverter that is off hangs on its output all the same
    outputs = {node[:2] for number, node in enumerate(network.nodes) if island.live >> number & 1}
    filters = any(
        source.filter_capacitance_f for source in network.installation.sources if (source.id, "out") in outputs
    ) or any(circuit.leakage_a for circuit in network.installation.circuits if circuit.id in island.supplies)
    found = []
    for point in currents.points:
        low, high = (side.get(point.written) for side in sides)
        if low is None or high is None:
            continue
        found.append(
            FloatingReading(
                point.place,
                point.route,
                island,
                low.line,
                (
                    low.values[0][0],
                    _band(low.values[0][1], high.values[0][1]),
                    _band(low.values[0][2], high.values[0][2]),
                ),
                (
                    low.values[1][0],
                    _band(low.values[1][1], high.values[1][1]),
                    _band(low.values[1][2], high.values[1][2]),
                ),
                _band(low.touch_a, high.touch_a),
                filters,
            )
        )
    return found


class _Reading(NamedTuple):
    line: str
    values: list[tuple[float | None, float | None, float | None]]
    touch_a: float | None


def _band(one: float | None, other: float | None) -> Band | None:
    return None if one is None or other is None else Band(min(one, other), max(one, other))


def _agreed(one: _Reading, other: _Reading) -> _Reading:
    """What two circuits with different stand-ins for what is not written both say."""

    def same(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None or abs(a - b) > SAME * max(a, b) else a

    values = [
        (same(a[0], b[0]), same(a[1], b[1]), same(a[2], b[2])) for a, b in zip(one.values, other.values, strict=True)
    ]
    return _Reading(one.line, values, same(one.touch_a, other.touch_a))


def _readings(currents: Currents, model: Model, circuit: Circuit) -> dict[str, _Reading]:
    network = currents.network
    wanted: list[tuple[Point, int, int, int]] = []
    pairs: list[tuple[int, int]] = []
    for point in currents.points:
        line = point.lines[0]
        neutral = network.find(point.place, point.terminal, "N")
        wanted.append((point, line, neutral, point.pe))
        for a, b in ((line, neutral), (line, point.pe), (neutral, point.pe)):
            if _joined(model, a, b) and model.node[a] != model.node[b]:
                pairs.append((model.node[a], model.node[b]))
    found: dict[str, _Reading] = {}
    written = _voltage_written(currents.island)
    try:
        study = Study(circuit, dict.fromkeys(pairs))
        loops = dict(zip(study.pairs, study.loops, strict=True))
    except Unsolvable:
        return found

    def between(a: int, b: int) -> tuple[complex, complex] | None:
        """The open-circuit voltage in V and the inner impedance in ohm between two nodes; None where nothing known joins them."""
        if not written or not _joined(model, a, b):
            return None
        rise = model.offset_v[a] - model.offset_v[b]
        if model.node[a] == model.node[b]:
            return rise, 0j
        loop = loops[model.node[a], model.node[b]]
        return loop.open_v + rise, loop.z_ohm

    def read(a: int, b: int, meter_ohm: float) -> float | None:
        found = between(a, b)
        return None if found is None else abs(found[0] * meter_ohm / (meter_ohm + found[1]))

    for point, line, neutral, pe in wanted:
        values = [
            (read(line, neutral, ohm), read(line, pe, ohm), read(neutral, pe, ohm))
            for ohm in (capacitance.meter_ohm("digital"), capacitance.meter_ohm("low-impedance"))
        ]
        touch = None
        if touched := between(line, pe):
            open_v, z_ohm = touched
            touch = body.touch_current_a(min(abs(open_v), 1000.0), complex(max(z_ohm.real, 0.0), z_ohm.imag))
        found[point.written] = _Reading(network.nodes[line][2], values, touch)
    return found


def _voltage_written(island: Island) -> bool:
    """Whether the voltage of everything that forms an island is known: without it a source stands in its circuit with none."""
    forming = (feed for feed in island.feeds if feed.forming)
    return not any(isinstance(line_emfs_v(source), Missing) for feed in forming for source in feed.sources)


def _joined(model: Model, a: int, b: int) -> bool:
    """Whether something that is known joins two nodes of the network; the zeros of two parts have one number and are not joined."""
    nodes = (model.node[a], model.node[b])
    return min(a, b) >= 0 and min(nodes) >= 0 and model.part[a] == model.part[b]
