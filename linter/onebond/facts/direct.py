"""The direct-current side: which inverters it feeds, what ties it to earth, what watches it, and whether its frames are joined."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from onebond.facts.island import Island
from onebond.model import DIRECT, LINES, DirectSource, Installation, Source
from onebond.network import frame_of
from onebond.span import Route


class DirectSide(NamedTuple):
    """A battery or an array, with everything that its conductors reach."""

    id: str
    route: Route
    island: None
    source: DirectSource
    together: tuple[DirectSource, ...]  # all sources on the same conductors, itself included
    inverters: tuple[
        tuple[Source, str], ...
    ]  # on the same conductors, each with what ties its a.c. neutral to earth, or ''
    watched: bool  # a monitor of its own stands on them
    joined: bool  # a protective conductor leads from its frame to the rest of the installation


def direct_sides(site: Installation, islands: Iterable[Island]) -> tuple[DirectSide, ...]:
    """Every direct-current source."""
    if not site.direct:
        return ()
    live = _Union()
    earth = _Union()
    for link in site.connections:
        ends = (link.start, link.finish)
        if set(link.cores) & set(DIRECT):
            live.join(*(f"{end.id}.dc" if end.terminal == "dc" else end.id for end in ends))
        if "PE" in link.cores:
            earth.join(*(frame_of(site, end.id) for end in ends))
    for metal in site.extraneous:
        for end in metal.joins[1:]:
            earth.join(frame_of(site, metal.joins[0].id), frame_of(site, end.id))
    # where the earth of an installation is: electrodes, links, the supplier's conductor, a source that is bonded inside
    electrodes = {frame_of(site, electrode.at.id) for electrode in site.electrodes}
    rest = electrodes | {frame_of(site, bond.at.id) for bond in site.bonds}
    rest |= {source.id for source in site.sources if source.kind == "utility" or source.neutral_bond != "none"}
    references = _references(islands)
    found = []
    for one in site.direct:
        top = live.top(one.id)
        found.append(
            DirectSide(
                one.id,
                one.route,
                None,
                one,
                tuple(other for other in site.direct if live.top(other.id) == top),
                tuple(
                    (source, references.get(source.id, ""))
                    for source in site.sources
                    if source.kind == "inverter" and live.top(f"{source.id}.dc") == top
                ),
                any(
                    live.top(f"{monitor.at.id}.dc" if monitor.at.terminal == "dc" else monitor.at.id) == top
                    for monitor in site.monitors
                ),
                any(earth.top(place) == earth.top(one.id) for place in rest),
            )
        )
    return tuple(found)


def _references(islands: Iterable[Island]) -> dict[str, str]:
    """What ties the neutral of each source to earth in some case, the source energised or not."""
    found: dict[str, str] = {}
    for island in islands:
        if island.references:
            for node, (place, _, conductor) in enumerate(island.network.nodes):
                # an inverter without a neutral joins its poles to lines that are earthed at their source
                if conductor in ("N", *LINES) and island.live >> node & 1:
                    found.setdefault(place, island.references[0].words)
    return found


class _Union:
    """Names that are joined (a union-find)."""

    def __init__(self) -> None:
        self.above: dict[str, str] = {}

    def top(self, name: str) -> str:
        while self.above.get(name, name) != name:
            name = self.above[name]
        return name

    def join(self, one: str, other: str) -> None:
        self.above[self.top(one)] = self.top(other)
