"""Earth electrodes: what they have to the mass of earth, alone and together, and the frames that rest on them."""

from __future__ import annotations

from collections.abc import Iterable

from onebond.circuit import impedances
from onebond.circuit.impedances import Missing
from onebond.facts.faults import EarthFault
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond.model import Device, Electrode, Installation
from onebond.network import Network


class EarthElectrode:
    """An electrode of the installation, with those that conductors join to it in every state."""

    island = None

    def __init__(
        self,
        electrode: Electrode,
        joined: tuple[Electrode, ...],
        rests: str,
        guard: tuple[float, Device, str] | None,
    ) -> None:
        self.electrode = electrode
        self.id = electrode.id
        self.route = electrode.route
        self.joined = joined  # the others
        self.rests = rests  # a frame whose fault current returns through it, or ''
        # of the frames that rest on it the one with the least sensitive protection: rated residual current in A, device, place
        self.guard = guard

    @property
    def resistance_ohm(self) -> float:
        """What it has to the mass of earth, in ohm; raises Unknown."""
        found = impedances.electrode_ohm(self.electrode)
        if isinstance(found, Missing):
            raise Unknown.of(found)
        return found

    @property
    def together_ohm(self) -> float:
        """What it has in parallel with those of the joined ones that are known, at most, in ohm; raises Unknown.

        The joined ones are taken to be out of each other's reach.  One that is not known only makes it less.
        """
        known = [
            found
            for one in (self.electrode, *self.joined)
            if not isinstance(found := impedances.electrode_ohm(one), Missing)
        ]
        if not known:
            return self.resistance_ohm
        return 1 / sum(1 / one for one in known)

    @property
    def lacking(self) -> Missing | None:
        """What is not written of it, or of one that is joined to it."""
        for one in (self.electrode, *self.joined):
            found = impedances.electrode_ohm(one)
            if isinstance(found, Missing):
                return found
        return None

    @property
    def single(self) -> bool:
        """Whether it is one rod or plate and nothing is joined to it."""
        rods = self.electrode.rods or 1
        return not self.joined and rods == 1 and self.electrode.shape in (None, "rod", "plate")


def earth_electrodes(
    installation: Installation,
    network: Network,
    islands: Iterable[Island],
    resting: dict[Island, list[str]],
    faults: Iterable[EarthFault],
) -> tuple[EarthElectrode, ...]:
    """Every electrode.  ``resting``: the frames of an island that are earthed by electrodes alone."""
    pe = dict(network.electrodes)
    frames = {part.id: part.pe for part in network.parts}
    labelled: dict[tuple[int, ...], dict[int, list[str]]] = {}
    for island in islands:
        if island.earth not in labelled:
            by_label = labelled[island.earth] = {}
            for identifier, node in pe.items():
                by_label.setdefault(island.earth[node], []).append(identifier)
    rests: dict[str, str] = {}
    for island, names in resting.items():
        for name in names:
            for identifier in labelled[island.earth].get(island.earth[frames[name]], ()):
                rests.setdefault(identifier, name)
    guards: dict[str, tuple[float, Device, str]] = {}
    for fault in faults:
        if fault.system != "TT" or fault.way != "electrode":
            continue
        rcds = [(device.residual_a, device) for device, _ in fault.guards if device.residual_a is not None]
        if not rcds:
            continue
        residual, device = min(rcds, key=lambda one: one[0])
        earth = fault.island.earth
        for identifier in labelled[earth].get(earth[fault.point.pe], ()):
            known = guards.get(identifier)
            if not known or residual > known[0]:
                guards[identifier] = (residual, device, fault.id)
    joined: dict[tuple[int, ...], list[Electrode]] = {}
    keys = {identifier: tuple(earth[node] for earth in labelled) for identifier, node in pe.items()}
    for electrode in installation.electrodes if labelled else ():
        joined.setdefault(keys[electrode.id], []).append(electrode)
    return tuple(
        EarthElectrode(
            electrode,
            tuple(other for other in joined.get(keys[electrode.id], ()) if other is not electrode),
            rests.get(electrode.id, ""),
            guards.get(electrode.id),
        )
        for electrode in installation.electrodes
    )
