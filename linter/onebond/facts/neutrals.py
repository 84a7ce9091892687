"""What the written conductors alone say of neutrals: which open before their lines, and which are a PEN by what hangs on them."""

from __future__ import annotations

from typing import NamedTuple

from onebond.model import LINES, Installation
from onebond.network import frame_of
from onebond.span import Route


class NeutralContact(NamedTuple):
    """A device or changeover that opens a neutral, and the lines beside it that it does not open."""

    id: str
    route: Route
    island: None
    name: str  # in words
    fuse: bool  # its neutral may open by itself
    left: tuple[str, ...]
    it: bool  # every source of the site is isolated from earth


class NeutralToBuilding(NamedTuple):
    """A cable with a neutral and no protective conductor that ends at a board with a link and an electrode of its own."""

    id: str
    route: Route
    island: None
    board: str
    bond: str
    electrode: str


def neutral_contacts(site: Installation) -> tuple[NeutralContact, ...]:
    """Every device and changeover with a neutral pole."""
    it = all(source.earthing == "IT" for source in site.sources)
    found = []
    landed: dict[str, set[str]] = {}
    for link in (*site.connections, *(circuit.connection for circuit in site.circuits)):
        landed.setdefault(link.start.id, set()).update(link.cores)
        landed.setdefault(link.finish.id, set()).update(dict(link.lands_on).get(core, core) for core in link.cores)
        for device in link.devices:
            if "N" in device.poles and "N" in link.cores:
                left = tuple(core for core in link.cores if core in LINES and core not in device.poles)
                name = device.id or f"the {device.kind} in {link.id}"
                found.append(
                    NeutralContact(device.id or link.id, device.route, None, name, device.kind == "fuse", left, it)
                )
    for changeover in site.changeovers:
        if "N" in changeover.poles:
            there = landed.get(changeover.id, set())
            left = tuple(core for core in LINES if core in there and core not in changeover.poles)
            found.append(NeutralContact(changeover.id, changeover.route, None, changeover.id, False, left, it))
    return tuple(found)


def neutrals_to_buildings(site: Installation) -> tuple[NeutralToBuilding, ...]:
    """Cables between boards that are by function a PEN, whatever is written."""
    boards = {board.id for board in site.boards}
    bonds = {
        frame_of(site, bond.at.id): bond.id for bond in site.bonds if not bond.closed and bond.impedance_ohm is None
    }
    electrodes = {frame_of(site, electrode.at.id): electrode.id for electrode in site.electrodes}
    utilities = [source.id for source in site.sources if source.kind == "utility"]
    found = []
    for link in site.connections:
        if "N" not in link.cores or {"PE", "PEN"} & set(link.cores) or not {link.start.id, link.finish.id} <= boards:
            continue
        if any("N" in device.poles or device.kind in ("rcd", "rcbo") for device in link.devices):
            continue  # no PEN is opened or summed: this is a neutral, with a link that is too much
        # a cable may be written from either end: the near one is earthed by a supplier's conductor, the far one is not
        for near, far in ((link.start, link.finish), (link.finish, link.start)):
            frame = frame_of(site, far.id)
            supplied = any(_joined(site, frame_of(site, near.id), utility) for utility in utilities)
            own = supplied and frame in bonds and frame in electrodes
            if own and not any(_joined(site, frame, utility) for utility in utilities):
                found.append(NeutralToBuilding(link.id, link.route, None, far.id, bonds[frame], electrodes[frame]))
    return tuple(found)


def _joined(site: Installation, one: str, other: str) -> bool:
    """Whether protective conductors join two frames, over whatever lies between."""
    around: dict[str, set[str]] = {}
    for link in site.connections:
        if {"PE", "PEN"} & set(link.cores):
            a, b = frame_of(site, link.start.id), frame_of(site, link.finish.id)
            around.setdefault(a, set()).add(b)
            around.setdefault(b, set()).add(a)
    seen, stack = {one}, [one]
    while stack:
        for further in around.get(stack.pop(), ()):
            if further not in seen:
                seen.add(further)
                stack.append(further)
    return other in seen
