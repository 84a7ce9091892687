"""What may be read of a loop and of an electrode, by what has to open on an earth fault there."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.circuit.limits_table import largest_earth_resistance_ohm
from onebond.facts.faults import EarthFault, Fed, Passed, bonded_within, trip_of
from onebond.facts.island import Island
from onebond.facts.taken import ElectrodeLimit, LoopLimit
from onebond.facts.unknown import Unknown
from onebond.model import Installation

Params = Mapping[str, Any]
"""The parameters of `reading-contradicts-design` under one rulebook."""

HIGHEST_A = 100_000.0
"""A device that is not certain to operate in time at this current never is."""


class LoopAt:
    """The earth faults of one line at one place in one state, beside the loop that is measured there.

    ``cold_ohm`` is what the circuit lets a tester find there; None where that cannot be said.
    """

    def __init__(self, faults: Sequence[EarthFault], cold_ohm: float | None) -> None:
        self.faults = tuple(faults)
        self.cold_ohm = cold_ohm

    def limit(self, params: Params) -> LoopLimit | None:
        """What a reading may be, or why nothing is asked of it; None where that cannot be said, or another rule judges the place."""
        found = []
        for fault in self.faults:
            try:
                one = self._of(fault, params)
            except Unknown:
                return None
            if one is not None:
                found.append(one)
        bounded = [one for one in found if one.most_ohm is not None]
        return min(bounded, key=lambda one: one.most_ohm or 0.0) if bounded else found[0] if found else None

    def _of(self, fault: EarthFault, params: Params) -> LoopLimit | None:
        within_s = fault.table_s if params["table"] else params["longest-s"]
        if fault.outside or fault.missing or fault.island.it or within_s is None or not fault.feds:
            return None
        residual = [_by_residual(fed, within_s) for fed in fault.feds]
        if all(residual):
            return LoopLimit(None, f"{residual[0]} opens in time by its residual current")
        factor, fuses = params["minimum-voltage-factor"], params["fuses"]
        if fault.late(within_s, factor, fuses):
            limit_v = params["medical-v"] if fault.place == "medical" else 50.0
            if params["supplementary"] and bonded_within(fault, limit_v):
                return LoopLimit(None, f"the frame is bonded to the metal near it ({params['supplementary']})")
        ways = [fed for fed, name in zip(fault.feds, residual, strict=True) if not name]
        if all(fed.limited for fed in ways):
            return LoopLimit(None, f"{ways[0].source} limits its current, so that a loop does not tell what opens")
        # what each source gives has to be cut off by a device of its own
        needed = [_by_overcurrent(fed, fault, within_s, fuses) for fed in ways if not fed.limited]
        known = [one for one in needed if one is not None]
        if len(known) < len(needed):
            return None
        current_a, name = max(known)
        design_ohm = factor * abs(fault.known.open_v) / current_a
        return self._at(fault, design_ohm, name, within_s, params["loop-factor"])

    def _at(self, fault: EarthFault, design_ohm: float, name: str, within_s: float, part: float) -> LoopLimit:
        """The larger of what a rule of thumb leaves, and of what is left when the conductors of this place have grown warm."""
        if self.cold_ohm is not None:
            warm_ohm = max(fault.loop_ohm - self.cold_ohm, 0.0)
            if design_ohm - warm_ohm > part * design_ohm:
                return LoopLimit(design_ohm - warm_ohm, name, within_s, design_ohm, 1.0, warm_ohm)
        return LoopLimit(part * design_ohm, name, within_s, design_ohm, part)


def loop_at(
    faults: Mapping[str, Sequence[EarthFault]], at: str, line: str, told: Mapping[str, str], cold_ohm: float | None
) -> LoopAt:
    """The faults of a line at a place, as written, in a whole state, which is told by the names of what has states.

    ``faults`` by place, of :func:`by_place`.
    """
    here = [fault for fault in faults.get(at, ()) if _holds_in(fault.island, told)]
    return LoopAt([fault for fault in here if line in fault.lines] or here, cold_ohm)


def by_place(faults: Iterable[EarthFault]) -> dict[str, list[EarthFault]]:
    """Earth faults by their place as it is written."""
    found: dict[str, list[EarthFault]] = {}
    for fault in faults:
        found.setdefault(fault.point.written, []).append(fault)
    return found


def _holds_in(island: Island, told: Mapping[str, str]) -> bool:
    """Whether a case is the one of its island in a whole state."""
    return all(
        value < 0 or told.get(variable.name, variable.values[value]) == variable.values[value]
        for variable, value in zip(island.network.variables, island.state, strict=True)
    )


def _by_residual(fed: Fed, within_s: float) -> str:
    """The first residual current device on a way that opens in time for certain by what it senses, or ''."""
    for passed in fed.passed:
        if passed.device.senses:
            alone = passed._replace(device=passed.device._replace(kind="rcd"))
            trip = trip_of(alone, passed.current_a)
            if not isinstance(trip, Missing) and trip.within(within_s) == "certain":
                return passed.name
    return ""


def _by_overcurrent(fed: Fed, fault: EarthFault, within_s: float, fuses: str) -> tuple[float, str] | None:
    """The least fault current in A at which an overcurrent device on a way is certain to open in time, and which; None: none is."""
    total_a = (
        abs(fault.known.open_v) / fault.loop_ohm
    )  # without impedance a source gives its limit, and its way is not asked
    found = [
        (least * total_a / passed.current_a, passed.name)
        for passed in fed.passed
        if passed.current_a > 0 and (least := _least_a(passed, within_s, fuses)) is not None
    ]
    return min(found, default=None)


def _least_a(passed: Passed, within_s: float, fuses: str) -> float | None:
    """The least current in A at which the overcurrent part of a device is certain to operate in time; None where none is enough."""
    # what it senses does not count: no residual current device on this way is certain to open in time (`_by_residual`)

    def enough(current_a: float) -> bool:
        answer = trip_of(passed, current_a, fuses)
        return not isinstance(answer, Missing) and answer.within(within_s) == "certain"

    low, high = 0.5, HIGHEST_A
    if not enough(high):
        return None
    while high / low > 1 + 1e-6:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


class ElectrodeAt:
    """The frames whose fault current has no way back but an electrode, in every state, beside what is measured of it.

    ``read`` are electrodes whose resistance was measured, in ohm.
    """

    def __init__(
        self, identifier: str, site: Installation, faults: Iterable[EarthFault], read: Mapping[str, float]
    ) -> None:
        self.id = identifier
        self._ohm = {one.id: read.get(one.id, electrode_ohm(one)) for one in site.electrodes}
        self._resting = tuple(dict.fromkeys(self._rest(faults)))

    def _rest(self, faults: Iterable[EarthFault]) -> Iterator[tuple[float, str, str, str, tuple[str, ...]]]:
        """Rated residual current in A and name of what guards each frame, the place of the frame, its kind, the electrodes joined."""
        for fault in faults:
            if fault.system != "TT" or fault.outside:
                continue
            earth = fault.island.earth
            joined = [name for name, pe in fault.island.network.electrodes if earth[pe] == earth[fault.point.pe]]
            if self.id not in joined:
                continue
            rated = [
                (device.residual_a, device.id or f"the {device.kind} in {name}")
                for device, name in fault.rcds
                if device.residual_a
            ]
            if rated:
                others = tuple(name for name in joined if name != self.id)
                yield (*min(rated), fault.point.written, fault.place, others)

    def limit(self, params: Params) -> ElectrodeLimit | None:
        """What the residual current devices leave for it, beside the electrodes that are joined to it; None where no frame rests on it.

        Infinite where the others are enough without it.
        """
        found = [self._of(*one, params) for one in self._resting]
        return min(found, key=lambda one: one.most_ohm, default=None)

    def _of(
        self, residual_a: float, name: str, at: str, place: str, others: tuple[str, ...], params: Params
    ) -> ElectrodeLimit:
        limit_v = params["medical-v"] if place == "medical" else params["touch-v"]
        all_ohm = largest_earth_resistance_ohm(min(max(residual_a, 0.006), 30.0), limit_v)
        left = 1 / all_ohm
        beside = []
        for other in others:
            ohm = self._ohm[other]
            if not isinstance(ohm, Missing) and 0 < ohm < math.inf:
                beside.append(other)
                left -= 1 / ohm
        most_ohm = 1 / left if left > 0 else math.inf
        return ElectrodeLimit(
            most_ohm, all_ohm, name, at, residual_a, limit_v, tuple(beside), params["electrode-clause"]
        )
