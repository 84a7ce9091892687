"""A drawing in one of its states: what is live, what is open, what counts as a reference."""

from __future__ import annotations

from collections.abc import Iterable

from onebond.result import Drawing, DrawnDevice, DrawnLink, DrawnPlace, DrawnState

LINES = ("L1", "L2", "L3")


class View:
    """Answers for each part of a drawing; without a state everything is drawn alike and as it is written."""

    def __init__(self, drawing: Drawing, state: DrawnState | None) -> None:
        self.state = state
        self.places = {place.id: place for place in drawing.places}
        self.values = dict(state.values) if state else {}
        self.free = frozenset(state.free) if state else frozenset[str]()
        self.varies = frozenset(state.varies) if state else frozenset[str]()
        self.live = {(place, terminal, core): feeds for place, terminal, core, feeds in state.live} if state else {}
        self.earthed = frozenset(state.earthed) if state else frozenset[str]()
        self.closed = frozenset(state.bonds) if state else frozenset[str]()
        self.unsettled = frozenset(state.unsettled) if state else frozenset[str]()
        self.references = {
            (tie, kind) for reference in (state.references if state else ()) for tie, kind in reference.ties
        }
        self.returns = {(element, core): way for element, core, way in (state.returns if state else ())}
        self.anchors = frozenset(state.anchors) if state else frozenset[tuple[str, str]]()
        self.strays = {element: way for element, _, way in (state.strays if state else ())}

    # -- liveness: 'on', 'off', or '' where there is no state ----------------------------------------------------------

    def of(self, lit: bool) -> str:
        """The class of something that is part of the live island or not."""
        return "" if self.state is None else "on" if lit else "off"

    def node(self, place: str, terminal: str, core: str) -> bool:
        """Whether a conductor at a place is in the live island; PE: whether it is earthed there."""
        if core == "PE":
            return self.frame(place) in self.earthed
        return (place, terminal, "N" if core == "PEN" else core) in self.live

    def frame(self, place: str) -> str:
        """The place whose PE another one shares."""
        seen = set()
        while place in self.places and self.places[place].inside and place not in seen:
            seen.add(place)
            place = self.places[place].inside
        return place

    def at(self, place: str, terminal: str, cores: Iterable[str]) -> str:
        """The class of a group of cores at a place: by its lines, else by what else there is."""
        group = tuple(cores)
        lines = [core for core in group if core in LINES]
        chosen = lines or [core for core in group if core != "PE"] or group
        return self.of(any(self.node(place, terminal, core) for core in chosen))

    def terminals(self, place: str) -> str:
        """The class of a place as a whole: whether any of its lines is live."""
        return self.of(any(key[0] == place and key[2] in LINES for key in self.live))

    def fed_by(self, place: DrawnPlace) -> tuple[str, ...]:
        """The sources that energise a place."""
        found: dict[str, None] = {}
        for (identifier, _, core), feeds in self.live.items():
            if identifier == place.id and core in LINES:
                found.update(dict.fromkeys(feeds))
        return tuple(found)

    def earth_at(self, place: str) -> str:
        """The class of the PE of a place."""
        return self.of(self.frame(place) in self.earthed)

    # -- positions -----------------------------------------------------------------------------------------------------

    def value(self, variable: str) -> str:
        """The value of a variable in this state, empty where the state does not say it."""
        return self.values.get(variable, "")

    def open(self, device: DrawnDevice) -> bool:
        """Whether a device is open as it is drawn."""
        value = self.value(device.name)
        return value == "open" if value else device.normally_open

    def unmated(self, link: DrawnLink) -> bool:
        """Whether a plug is out."""
        return link.plug and self.value(link.id) == "unmated"

    def detached(self, place: str) -> bool:
        """Whether a supply is open at its terminals."""
        return self.places[place].kind == "utility" and self.value(place) == "detached"

    def positions(self, changeover: DrawnPlace) -> tuple[str, ...]:
        """The positions whose contacts are closed; where no state says it, the preferred or first one."""
        value = self.value(changeover.id) or changeover.prefers or changeover.positions[0]
        return tuple(value.split("+"))

    def inverter(self, place: DrawnPlace) -> str:
        """What an inverter does: off, inverting or passing; without a state it stands as it is built."""
        return self.value(place.variable or place.id)

    def bond(self, bond: str, relay: bool) -> bool:
        """Whether a bond is closed; without a state a relay is drawn open."""
        return bond in self.closed if self.state else not relay

    def words(self, kind: str, key: str) -> str:
        """What the state line of a label says."""
        if self.state is None:
            return ""
        if kind == "bond":
            if (key, "bond") in self.references:
                return "reference"
            return "any" if key in self.unsettled else "closed" if key in self.closed else "open"
        value = self.value(key)
        if not value:
            return "any" if key else ""
        if key in self.free:
            return "any"
        if kind == "changeover":
            return "changing over" if "+" in value else value if value == "off" else f"on {value}"
        return value
