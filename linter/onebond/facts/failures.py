"""Single failures: a neutral or a PEN broken, and what the loads then do to voltages and frames."""

from __future__ import annotations

from typing import NamedTuple

from onebond.circuit.impedances import Missing
from onebond.circuit.solve import Study, Unsolvable
from onebond.facts.island import Island
from onebond.facts.service import InService, nominal_v, on_high_leg, written_load
from onebond.facts.unknown import Unknown
from onebond.model import LINES, Connection
from onebond.span import Route

NODES = 300_000
"""Most nodes that the single failures of one circuit may need together; past it they are open (two seconds of work)."""

RAISED = 1.1
"""How many times the voltage that a frame had before the break it has to have for the break to be the reason."""

UNKNOWN_MATTERS = 0.05
"""Relative difference from which what is not known decides the voltages after a failure."""


class Shock(NamedTuple):
    """A place with the voltage (V) that it has after the failure: a frame to earth, or a load across its terminals."""

    place: str
    volts: float


class Failure:
    """One conductor broken, in one case in which it carries something; worked out when somebody asks."""

    def __init__(self, link: Connection, core: str, branch: int, worker: Breaker, island: Island) -> None:
        self.link = link
        self.id = link.id
        self.route: Route = link.route
        self.core = core
        self.island = island
        self.nominal_v = worker.nominal_v
        self._branch = branch
        self._worker = worker

    def in_island(self, island: Island) -> Failure:
        """The same in another case that is wired alike."""
        return Failure(self.link, self.core, self._branch, self._worker, island)

    @property
    def frames(self) -> tuple[Shock, ...]:
        """Frames with their voltage to the mass of earth, the highest first; raises Unknown."""
        return self._worker.shocks(self._branch)[0]

    @property
    def loads(self) -> tuple[Shock, ...]:
        """Loads with the voltage across them, the highest first; raises Unknown."""
        return self._worker.shocks(self._branch)[1]

    @property
    def reliable(self) -> bool:
        """Whether the core is of those that IEC 60364-5-54, 543.4.1 takes as reliable: fixed, 10 mm2 of copper or 16 mm2 of aluminium."""
        size = self.link.n_size or self.link.size
        least = 16.0 if self.link.material == "aluminium" else 10.0
        return not self.link.plug and size is not None and size.mm2 >= least

    @property
    def opened_by_device(self) -> bool:
        """Whether a device or a plug can open the core."""
        return self.link.plug or any(self.core in device.poles for device in self.link.devices)

    @property
    def opened_alone(self) -> bool:
        """Whether a device can open the core and leave a line closed, or a plug parts it."""
        lines = {core for core in self.link.cores if core in LINES}
        openers = [device for device in self.link.devices if self.core in device.poles]
        return self.link.plug or any(not lines <= set(device.poles) for device in openers)

    @property
    def opener(self) -> str:
        """The first device that can open the core, or the cable that holds it, or ''."""
        return next((device.id or self.id for device in self.link.devices if self.core in device.poles), "")

    @property
    def no_size(self) -> Missing | None:
        """The size of the core where it is not written."""
        size = self.link.n_size or self.link.size
        return None if size else Missing(f"the size of {self.id}", self.route)

    def route_of(self, place: str) -> Route:
        """Where a place of :attr:`frames` or :attr:`loads` is written."""
        network = self.island.network
        routes = {circuit.id: circuit.route for circuit in network.installation.circuits}  # one of class II is no part
        routes.update((part.id, part.route) for part in network.parts)
        return routes.get(place, self.route)


class Breaker:
    """Breaks the conductors of one circuit, one at a time."""

    def __init__(self, service: InService) -> None:
        self.service = service
        self.island = service.currents.island
        self.nominal_v = nominal_v(self.island)
        self._left = NODES
        self._known: dict[int, tuple[tuple[Shock, ...], tuple[Shock, ...]]] = {}

    def failures(self) -> list[Failure]:
        """Every PEN, and every neutral that several lines of a cable to a place share."""
        currents = self.service.currents
        circuits = {circuit.id for circuit in currents.network.installation.circuits}
        found: list[Failure] = []
        seen: set[tuple[str, str]] = set()
        for number, conductor in enumerate(self.service.model.conductors):
            link = currents.links.get(conductor.element)
            if link is None or conductor.core not in ("N", "PEN") or (link.id, conductor.core) in seen:
                continue
            if conductor.core == "N" and (sum(core in LINES for core in link.cores) < 2 or link.id in circuits):
                continue  # what hangs on a single line stops with its neutral, and no frame hangs on it
            seen.add((link.id, conductor.core))
            found.append(Failure(link, conductor.core, number, self, self.island))
        return found

    def shocks(self, branch: int) -> tuple[tuple[Shock, ...], tuple[Shock, ...]]:
        """Frames and loads with their voltages after one branch has broken; raises Unknown."""
        if branch not in self._known:
            for circuit in self.service.currents.network.installation.circuits:
                if circuit.id in self.island.supplies and not written_load(circuit):
                    raise Unknown(f"the load of {circuit.id}", circuit.route)
            self._left -= self.service.model.circuit.size
            if self._left < 0:
                raise Unknown("", (), "the site has more single failures than the stated limit")
            self._known[branch] = self._work(branch)
        return self._known[branch]

    def _work(self, branch: int) -> tuple[tuple[Shock, ...], tuple[Shock, ...]]:
        service, island = self.service, self.island
        try:
            results = [_shocks(service, island, after(study, branch), study) for study in service.studies]
        except Unsolvable:
            return (), ()  # what was cut off has no voltage
        first, *others = results
        for other in others:
            for one, again in zip(first, other, strict=True):
                if _differ(one, again):
                    raise Unknown.of(service.model.unknown[0][1])
        return first


def _differ(shocks: tuple[Shock, ...], again: tuple[Shock, ...]) -> bool:
    """Whether the voltages at any place differ by more than matters; a place that only one of them names has none in the other."""
    one, other = _highest(shocks), _highest(again)
    pairs = [(one.get(place, 0.0), other.get(place, 0.0)) for place in {*one, *other}]
    return any(abs(a - b) > UNKNOWN_MATTERS * max(a, b, 1.0) for a, b in pairs)


def _highest(shocks: tuple[Shock, ...]) -> dict[str, float]:
    """The highest voltage of each place in V, of shocks with the highest first."""
    return {shock.place: shock.volts for shock in reversed(shocks)}


def after(study: Study, branch: int) -> list[complex]:
    """The voltages of all nodes with one branch broken: by a rank-1 update, anew where that would lose digits.

    Raises Unsolvable where nothing holds a part of the circuit any more.
    """
    circuit = study.circuit
    broken = circuit.branches[branch]
    before = study.solution
    if broken.a != broken.b and not study.cuts.is_single(branch):
        by = study.respond((broken.a, broken.b)).voltages_v
        rest = 1 - (by[broken.a] - by[broken.b]) / broken.z_ohm
        if abs(rest) >= 1e-6:
            current = before.currents_a[branch]
            return [value + change * current / rest for value, change in zip(before.voltages_v, by, strict=True)]
    left = circuit._replace(branches=circuit.branches[:branch] + circuit.branches[branch + 1 :])
    return Study(left).solution.voltages_v


def _shocks(
    service: InService, island: Island, voltages: list[complex], study: Study
) -> tuple[tuple[Shock, ...], tuple[Shock, ...]]:
    """Frames and loads whose voltage the break raises; what was there before is not its doing."""
    model, network = service.model, service.currents.network
    before = study.solution.voltages_v
    frames = []
    for part in network.parts:
        if model.node[part.pe] >= 0 and model.part[part.pe] == -1 and island.is_live(part.lines):
            volts = abs(model.voltage_v(voltages, part.pe))
            if volts > RAISED * abs(model.voltage_v(before, part.pe)) + 1:
                frames.append(Shock(part.id, volts))
    loads = []
    for circuit, lines in network.circuits:
        neutral = network.find(circuit, "", "N")
        if len(lines) > 1 and any(on_high_leg(island, node) for node in lines):
            continue  # with the high leg among them the load is between the lines, and not to the neutral
        for node in lines:
            if neutral >= 0 and model.node[node] >= 0 and model.node[neutral] >= 0 and island.live >> node & 1:
                across = abs(model.voltage_v(voltages, node) - model.voltage_v(voltages, neutral))
                if across > abs(model.voltage_v(before, node) - model.voltage_v(before, neutral)) + 1:
                    loads.append(Shock(circuit, across))
    frames.sort(key=lambda shock: (-round(shock.volts, 6), shock.place))
    loads.sort(key=lambda shock: (-round(shock.volts, 6), shock.place))
    return tuple(frames), tuple(loads)
