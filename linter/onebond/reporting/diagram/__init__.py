"""The single-line diagram of a site as SVG, in an operating state or in none.

The place of everything depends on the description alone: the same site in another state is the same picture with other contacts.
"""

from __future__ import annotations

from typing import NamedTuple

from onebond.reporting import neutralise, words
from onebond.reporting.diagram import rows
from onebond.reporting.diagram.frames import Frames
from onebond.reporting.diagram.pieces import Labels
from onebond.reporting.diagram.plan import Plan
from onebond.reporting.diagram.sheets import divide
from onebond.reporting.diagram.structure import Structure, arrange
from onebond.reporting.diagram.style import STYLE
from onebond.reporting.diagram.svg import Writer
from onebond.reporting.diagram.view import View
from onebond.result import Drawing, Result, Site

__all__ = ["MOST_PLACES", "STYLE", "Sheet", "drawable", "numbered", "render", "sheets"]

MOST_PLACES = 1_500
"""A site of more places is not drawn: nobody could read it, and a report would not be opened."""


class Sheet(NamedTuple):
    """One sheet of a drawing, and the places on it."""

    number: int
    places: tuple[str, ...]
    svg: str


def numbered(site: Site) -> tuple[tuple[int, Result], ...]:
    """The findings as the flags of a drawing count them: causes in their order, each before what follows from it, then waived ones."""
    results: list[Result] = []
    found = words.findings(site)
    for cause in found.causes:
        results.append(cause.result)
        results.extend(result for _, result in cause.follows)
    results.extend(found.waived)
    return tuple(enumerate(results, 1))


def drawable(site: Site) -> bool:
    """Whether a site can be drawn: its report holds a drawing, of no more places than ``MOST_PLACES``."""
    return site.drawing is not None and 0 < len(site.drawing.places) <= MOST_PLACES


def render(
    site: Site,
    state: int | None = None,
    *,
    prefix: str = "",
    conductors: bool = False,
    fold: bool = False,
    caption: bool = True,
    standalone: bool = False,
) -> str:
    """The whole installation as one SVG.

    ``state`` is a number in ``Drawing.states`` (None: as described, in no state).  ``conductors`` draws N and PE as lines
    of their own, ``fold`` the final circuits of each board as one way.  ``prefix`` comes before every id, for pages that hold several
    drawings; ``caption`` puts name and state below, ``standalone`` the stylesheet into it.  Raises ValueError where there is nothing
    that can be drawn.
    """
    drawing = _drawing(site)
    plan = rows.plan(_layout(site, drawing, arrange(drawing), conductors, fold))
    return _Picture(site, drawing, state, prefix, standalone).svg(plan, caption, "")


def sheets(
    site: Site,
    state: int | None = None,
    *,
    prefix: str = "",
    conductors: bool = False,
    caption: bool = True,
    standalone: bool = False,
    width: float = 1_300.0,
    height: float = 950.0,
) -> tuple[Sheet, ...]:
    """The installation over as many sheets of about ``width`` by ``height`` as it needs, each place and cable on one of them.

    A board that is wider by itself keeps its width.  The other arguments are those of ``render``; ids are distinct over all sheets.
    """
    drawing = _drawing(site)
    whole = _layout(site, drawing, arrange(drawing), conductors)
    parts = divide(drawing, whole, width, height)
    picture = _Picture(site, drawing, state, prefix, standalone)
    found = []
    for number, part in enumerate(parts, 1):
        plan = rows.plan(_layout(site, drawing, part.structure, conductors))
        name = f"sheet {number} of {len(parts)}" if len(parts) > 1 else ""
        found.append(Sheet(number, part.places, picture.svg(plan, caption, name)))
    return tuple(found)


def _drawing(site: Site) -> Drawing:
    if site.drawing is None or not drawable(site):
        raise ValueError("the report holds no drawing, or one of too many places")
    return site.drawing


def _layout(site: Site, drawing: Drawing, structure: Structure, conductors: bool, fold: bool = False) -> Frames:
    places = {place.id: place for place in drawing.places}
    landing = {
        end
        for link in drawing.links
        for end in (link.start, link.finish)
        if {"N", "PEN"} & {*link.cores, *(node for _, node in link.lands_on)}
    }
    solid = frozenset(
        place.id for place in drawing.places if place.id in landing and not {"N", "PEN"} & set(place.poles)
    )
    varying = frozenset(name for state in drawing.states for name in state.varies)
    return Frames(structure, places, Labels(_flags(site, drawing), varying), conductors, solid, fold)


class _Picture:
    """What all sheets of a drawing share: its state, its findings and its words."""

    def __init__(self, site: Site, drawing: Drawing, state: int | None, prefix: str, standalone: bool) -> None:
        self.site, self.drawing, self.prefix, self.standalone = site, drawing, prefix, standalone
        self.say = words.speech(site.rulebook, site.named)
        self.shown = drawing.states[state] if state is not None else None
        findings = numbered(site)
        self.levels = {
            number: "waived" if result.waiver else result.level
            for number, result in findings
            if self.shown is None or not result.islands or (result.rule, result.subject) in self.shown.shows
        }
        self.names = {
            number: neutralise.for_terminal(
                f"finding {number}, {'waived' if result.waiver else result.level}: {result.message} [{result.rule}]"
            )
            for number, result in findings
        }
        self.when: list[str] = []
        self.live = ", ".join(self.shown.sources) if self.shown else ""
        if self.shown is not None and self.shown.kind < len(site.islands):
            self.live = words.live_from(site.islands[self.shown.kind])
            values = dict(self.shown.values)
            ways = site.islands[self.shown.kind].conditions
            # that of the state drawn comes first
            drawn = sorted(ways, key=lambda way: not all(values.get(name) in wanted for name, wanted in way))
            self.when = words.alternatives(tuple(drawn), site.devices)

    def svg(self, plan: Plan, caption: bool, sheet: str) -> str:
        """One plan in this state."""
        name = self.site.name or self.site.path
        head = f"{name}, {sheet}" if sheet else name
        told = self.told()
        lines = [head, *told] if caption else []
        writer = Writer(
            self.drawing, plan, View(self.drawing, self.shown), self.prefix, self.levels, self.names, self.say
        )
        root = sheet.partition(" of ")[0].replace(" ", "-") or "drawing"
        return writer.write(
            neutralise.for_terminal(f"Single-line diagram of {head}"),
            neutralise.for_terminal(" ".join(told)),
            lines,
            self.standalone,
            root,
        )

    def told(self) -> list[str]:
        """The state in words, and what the strokes mean."""
        shown = self.shown
        if shown is None:
            return ["As described, in no operating state."]
        names = [one.id for one in shown.references]
        found = [
            f"Live from {self.live}: {self.say(shown.verdict)}."
            + (
                f" Reference{'s' if len(names) > 1 else ''}: {', '.join(names)} (circled)."
                if names
                else " No reference."
            )
        ]
        more = self.when[-1] if len(self.when) > words.ALTERNATIVES_SHOWN else ""
        found.extend(
            text if text == more else f"{'when' if i == 0 else 'or'} {text}" for i, text in enumerate(self.when)
        )
        strokes = "Strong: in this live island. Thin: not in it, dead or live from another source."
        if shown.returns:
            strokes += " Arrows beside a cable: neutral current from the farthest load back to its source"
            strokes += self.say("; dotted: the part of it that strays into PE.") if shown.strays else "."
        found.append(strokes)
        if shown.varies:
            found.append("* stands otherwise in other states of this kind.")
        return found


def _flags(site: Site, drawing: Drawing) -> dict[tuple[str, str], tuple[int, ...]]:
    """Where each numbered finding stands."""
    found: dict[tuple[str, str], tuple[int, ...]] = {}
    groups: dict[str, str] = {}
    for place in drawing.places:
        groups.setdefault(place.variable, place.id)
    for number, result in numbered(site):
        element = _element(result, drawing, groups)
        if element:
            found[element] = (*found.get(element, ()), number)
    return found


_SECTIONS = {
    "sources": "place",
    "boards": "place",
    "changeovers": "place",
    "connections": "link",
    "circuits": "place",
    "bonds": "bond",
    "electrodes": "electrode",
    "monitors": "monitor",
    "direct-current": "place",
    "extraneous": "metal",
}


def _element(result: Result, drawing: Drawing, groups: dict[str, str]) -> tuple[str, str] | None:
    route = result.route
    if len(route) < 2:
        return None
    section, identifier = str(route[0]), str(route[1])
    if section == "groups":
        return ("place", groups[identifier]) if identifier in groups else None
    if len(route) > 3 and route[2] == "through" and isinstance(route[3], int):
        for link in drawing.links:
            if link.id == identifier and route[3] < len(link.devices):
                return "device", link.devices[route[3]].name
    kind = _SECTIONS.get(section)
    return (kind, identifier) if kind else None
