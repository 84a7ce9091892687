"""What may be wrong at a site: the defects that the description itself suggests, each as a changed network.

Nothing here says that a defect is there.  A defect changes contacts, cores, links and electrodes of the network and leaves the numbers of
its nodes and edges as they are, so that several of them can be put on top of each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from onebond.circuit.impedances import Missing, electrode_ohm
from onebond.meter.plant import called
from onebond.model import LINES, Electrode, Source
from onebond.network import EARTHED_BY_SUPPLIER, Edge, Needs, Network, Tie, frame_of
from onebond.span import Route

NEVER: Needs = ((0, 0),)
"""A condition that no state meets."""

ALWAYS: Needs = ()

LIFTED_OHM = 1e9
"""What stands for the lost electrode of a star point (no source: far above any meter)."""

_RATINGS = (
    ("dead", 1e6, "does not operate"),
    ("late", 2.5, "operates only far above its rated current"),
    ("early", 0.4, "operates at less than half of its rated current"),
)
"""At how many times its rated residual current a defective RCD operates (no source)."""

TIMES_HIGH = 10.0
"""How much higher the resistance of a bad electrode is taken to be (common practice, no source: dried out, corroded, a rod lost)."""


class Defect(NamedTuple):
    """One thing that is not as described."""

    kind: str
    element: str  # id of what is defective
    detail: str  # which of its cores, poles or ends
    words: str
    route: Route
    change: Callable[[Network], Network]

    @property
    def name(self) -> str:
        """A name that is the same in every run."""
        return " ".join(part for part in (self.kind, self.element, self.detail) if part)


def altered(
    network: Network,
    edges: dict[int, Edge] | None = None,
    earth: dict[int, Edge] | None = None,
    ties: Callable[[tuple[Tie, ...]], tuple[Tie, ...]] | None = None,
) -> Network:
    """A network with some of its parts changed; an edge that is not there any more is never closed."""
    if ties:
        network = network._replace(ties=ties(network.ties))
    if earth:
        network = network._replace(earth=tuple(earth.get(i, edge) for i, edge in enumerate(network.earth)))
    if edges:
        new = tuple(edges.get(i, edge) for i, edge in enumerate(network.edges))
        around: list[list[tuple[int, int]]] = [[] for _ in network.nodes]
        for i, edge in enumerate(new):
            around[edge.a].append((i, edge.b))
            around[edge.b].append((i, edge.a))
        network = network._replace(edges=new, around=tuple(tuple(ways) for ways in around))
    return network


def _edge(number: int, needs: Needs) -> Callable[[Network], Network]:
    return lambda network: altered(network, edges={number: network.edges[number]._replace(needs=needs)})


def _moved(number: int, node: int) -> Callable[[Network], Network]:
    return lambda network: altered(network, edges={number: network.edges[number]._replace(a=node)})


def _earth(number: int, needs: Needs) -> Callable[[Network], Network]:
    return lambda network: altered(network, earth={number: network.earth[number]._replace(needs=needs)})


def _without(identifier: str, kind: str) -> Callable[[Network], Network]:
    def ties(found: tuple[Tie, ...]) -> tuple[Tie, ...]:
        return tuple(tie for tie in found if (tie.id, tie.kind) != (identifier, kind))

    return lambda network: altered(network, ties=ties)


def _stuck(identifier: str, kind: str) -> Callable[[Network], Network]:
    def ties(found: tuple[Tie, ...]) -> tuple[Tie, ...]:
        return tuple(tie._replace(needs=ALWAYS) if (tie.id, tie.kind) == (identifier, kind) else tie for tie in found)

    return lambda network: altered(network, ties=ties)


def _extra(place: str, n: int, pe: int, route: Route) -> Callable[[Network], Network]:
    tie = Tie(place, "stray", n, pe, ALWAYS, route, place)
    return lambda network: altered(network, ties=lambda found: (*found, tie))


def defects(network: Network) -> tuple[Defect, ...]:
    """Every single defect that is looked for, in the order of the description."""
    found = _Finder(network)
    return (
        *found.bonds(),
        *found.extra_bonds(),
        *found.cores(),
        *found.crossings(),
        *found.electrodes(),
        *found.changeovers(),
        *found.inverters(),
        *found.neutrals(),
        *found.supplies(),
        *found.residual(),
    )


class _Finder:
    def __init__(self, network: Network) -> None:
        self.network = network
        self.site = network.installation
        self.circuits = {circuit.id: circuit for circuit in self.site.circuits}
        self.links = {
            link.id: link for link in (*self.site.connections, *(circuit.connection for circuit in self.site.circuits))
        }

    def bonds(self) -> Iterator[Defect]:
        """Each link open; each one that follows a condition closed for ever."""
        for tie in self.network.ties:
            if tie.kind not in ("bond", "internal"):
                continue
            inner = tie.kind == "internal"
            called = f"the bond inside {tie.id}" if inner else f"the bond {tie.id}"
            yield Defect("bond-open", tie.id, "", f"{called} is open", tie.route, _without(tie.id, tie.kind))
            if tie.needs:
                words = f"{called} never opens"
                yield Defect("bond-stuck-closed", tie.id, "", words, tie.route, _stuck(tie.id, tie.kind))

    def extra_bonds(self) -> Iterator[Defect]:
        """N and PE joined at a place where no link is described."""
        network = self.network
        tied = {tie.n for tie in network.ties if tie.kind != "star"}
        routes = {part.id: part.route for part in network.parts} | {board.id: board.route for board in self.site.boards}
        for n, (identifier, terminal, conductor) in enumerate(network.nodes):
            if conductor != "N" or n in tied or terminal in ("supplier",):
                continue
            pe = network.find(frame_of(self.site, identifier), "", "PE")
            if pe < 0:
                continue
            place = f"{identifier}.{terminal}" if terminal else identifier
            words = f"N and PE are joined at {place}, where no bond is described"
            yield Defect(
                "extra-bond",
                place,
                "",
                words,
                routes.get(identifier, ()),
                _extra(place, n, pe, routes.get(identifier, ())),
            )

    def cores(self) -> Iterator[Defect]:
        """Each core of each cable open."""
        for number, edge in enumerate(self.network.edges):
            link = self.links.get(edge.element)
            if link:
                words = f"the {edge.core} core of {link.id} is open"
                yield Defect("core-open", link.id, edge.core, words, link.route, _edge(number, NEVER))
        for number, edge in enumerate(self.network.earth):
            link = self.links.get(edge.element)
            if link:
                words = f"the {edge.core} core of {link.id} is open"
                yield Defect("core-open", link.id, edge.core, words, link.route, _earth(number, NEVER))

    def crossings(self) -> Iterator[Defect]:
        """L and N, N and PE, or L and PE, crossed at the far end of each cable that has both."""
        network = self.network
        own: dict[str, dict[str, int]] = {}
        for number, edge in enumerate(network.edges):
            if edge.element in self.links:
                own.setdefault(edge.element, {})[edge.core] = number
        earths = {edge.element: number for number, edge in enumerate(network.earth) if edge.core == "PE"}
        for identifier, cores in own.items():
            link = self.links[identifier]
            if "N" not in cores:
                continue
            for line in LINES:
                if line in cores:
                    yield Defect(
                        *("crossed", identifier, f"{line}-N", f"{line} and N of {identifier} are crossed at its end"),
                        link.route,
                        self._swapped(cores[line], cores["N"]),
                    )
            if identifier in earths:
                yield Defect(
                    *("crossed", identifier, "N-PE", f"N and PE of {identifier} are crossed at its end"),
                    link.route,
                    self._crossed_with_pe(cores["N"], earths[identifier]),
                )
        for identifier in (one for one in own if one in earths):
            link = self.links[identifier]
            for line in (one for one in LINES if one in own[identifier]):
                yield Defect(
                    *("crossed", identifier, f"{line}-PE", f"{line} and PE of {identifier} are crossed at its end"),
                    link.route,
                    self._crossed_with_pe(own[identifier][line], earths[identifier]),
                )

    @staticmethod
    def _swapped(one: int, other: int) -> Callable[[Network], Network]:
        def change(network: Network) -> Network:
            first, second = network.edges[one], network.edges[other]
            return altered(network, edges={one: first._replace(b=second.b), other: second._replace(b=first.b)})

        return change

    @staticmethod
    def _crossed_with_pe(n: int, pe: int) -> Callable[[Network], Network]:
        def change(network: Network) -> Network:
            live, earth = network.edges[n], network.earth[pe]
            name, route = live.element, ()
            ties = (
                Tie(name, "crossed", live.a, earth.b, live.needs, route, name, core=live.core),
                Tie(name, "crossed", live.b, earth.a, earth.needs, route, name, core="PE"),
            )
            return altered(
                network,
                edges={n: live._replace(needs=NEVER)},
                earth={pe: earth._replace(needs=NEVER)},
                ties=lambda found: (*found, *ties),
            )

        return change

    def electrodes(self) -> Iterator[Defect]:
        """Each electrode not connected, or of a far higher resistance than described."""
        for electrode in self.site.electrodes:
            yield Defect(
                *("electrode-open", electrode.id, "", f"the electrode {electrode.id} is not connected"),
                electrode.route,
                _electrode(electrode.id, lambda _: None),
            )
            yield Defect(
                *(
                    "electrode-high",
                    electrode.id,
                    "",
                    f"the electrode {electrode.id} has about {TIMES_HIGH:g} times its resistance",
                ),
                electrode.route,
                _electrode(electrode.id, _raised),
            )

    def changeovers(self) -> Iterator[Defect]:
        """Each pole of each changeover that does not open, or does not close, in one position."""
        routes = {changeover.id: changeover.route for changeover in self.site.changeovers}
        for number, edge in enumerate(self.network.edges):
            if edge.element in routes and edge.needs:
                position = self.network.nodes[edge.a][1]
                pole = f"the {edge.core} pole of {edge.element} towards {position}"
                detail = f"{edge.core} {position}"
                yield Defect(
                    *("pole-stuck-closed", edge.element, detail, f"{pole} does not open"),
                    routes[edge.element],
                    _edge(number, ALWAYS),
                )
                yield Defect(
                    *("pole-open", edge.element, detail, f"{pole} does not close"),
                    routes[edge.element],
                    _edge(number, NEVER),
                )

    def inverters(self) -> Iterator[Defect]:
        """Contacts between input and output of an inverter that do not open or do not close."""
        routes = {source.id: source.route for source in self.site.sources if source.kind == "inverter"}
        for number, edge in enumerate(self.network.edges):
            if edge.element not in routes or edge.core not in (*LINES, "N"):
                continue
            contact = f"the {edge.core} contact of {edge.element} between input and output"
            yield Defect(
                *("contact-open", edge.element, edge.core, f"{contact} does not close"),
                routes[edge.element],
                _edge(number, NEVER),
            )
            if edge.needs and edge.core == "N":
                yield Defect(
                    *("contact-stuck-closed", edge.element, edge.core, f"{contact} does not open"),
                    routes[edge.element],
                    _edge(number, ALWAYS),
                )

    def neutrals(self) -> Iterator[Defect]:
        """The neutral of a circuit on another bar: of another group, round its RCD, or beyond a changeover or an inverter."""
        network = self.network
        bars = {board.id: n for board in self.site.boards if (n := network.find(board.id, "", "N")) >= 0}
        around = self._around()
        for number, edge in enumerate(network.edges):
            circuit = self.circuits.get(edge.element)
            if circuit is None or edge.core != "N":
                continue
            own = circuit.connection.start.id
            near = {frame_of(self.site, own)} | around.get(frame_of(self.site, own), set())
            for bar, n in bars.items():
                if n != edge.a and frame_of(self.site, bar) in near:
                    words = f"the neutral of {circuit.id} is on the bar of {bar} and not on that of {circuit.connection.start.id}"
                    yield Defect("neutral-borrowed", circuit.id, bar, words, circuit.route, _moved(number, n))

    def _around(self) -> dict[str, set[str]]:
        """The enclosures that meet at the same changeover or inverter, where neutrals of either side are easily taken for each other."""
        meeting = {one.id for one in self.site.changeovers} | {
            one.id for one in self.site.sources if one.kind == "inverter"
        }
        beside: dict[str, set[str]] = {}
        for link in self.site.connections:
            for end, other in ((link.start.id, link.finish.id), (link.finish.id, link.start.id)):
                if end in meeting:
                    beside.setdefault(end, set()).add(frame_of(self.site, other))
        found: dict[str, set[str]] = {}
        for frames in beside.values():
            for frame in frames:
                found.setdefault(frame, set()).update(frames)
        return found

    def supplies(self) -> Iterator[Defect]:
        """The supplier's star point without earth; his PE or PEN stays joined to it."""
        for source in self.site.sources:
            if source.kind == "utility" and source.earthing in EARTHED_BY_SUPPLIER:
                words = f"the earth of the supply {source.id} is open at the supplier"
                change = _without(source.id, "star") if source.earthing == "TT" else _star_behind(source.id, LIFTED_OHM)
                yield Defect("supply-earth-open", source.id, "", words, source.route, change)

    def residual(self) -> Iterator[Defect]:
        """Each RCD that does not operate, or does so far below its rated current."""
        for rcd in self.network.rcds:
            device, link = rcd.device, self.links[rcd.connection]
            if not device.residual_a:
                continue
            for kind, times, words in _RATINGS:
                yield Defect(
                    f"rcd-{kind}",
                    rcd.name,
                    "",
                    f"{called(link, device)} {words}",
                    device.route,
                    _rated(rcd.name, times),
                )


def _star_behind(identifier: str, ohm: float) -> Callable[[Network], Network]:
    """A star point with so many ohm between it and the earth, with everything that is joined to it."""

    def changed(network: Network) -> Network:
        site = network.installation
        sources = tuple(
            one._replace(earthing_impedance_ohm=ohm) if one.id == identifier else one for one in site.sources
        )
        return network._replace(installation=site._replace(sources=sources))

    return changed


def _rated(name: str, times: float) -> Callable[[Network], Network]:
    """An RCD that operates at so many times its rated residual current."""

    def changed(network: Network) -> Network:
        rcds = tuple(
            one._replace(device=one.device._replace(residual_a=times * (one.device.residual_a or 0.0)))
            if one.name == name
            else one
            for one in network.rcds
        )
        return network._replace(rcds=rcds)

    return changed


def joint_of(element: str, core: str, ohm: float, route: Route) -> Defect:
    """A bad joint of so many ohm in one core of a cable."""
    words = f"a bad joint of about {_rounded(ohm)} ohm in the {core} core of {element}"

    def changed(network: Network) -> Network:
        live, earth = (
            {
                number: edge._replace(joint_ohm=ohm)
                for number, edge in enumerate(edges)
                if (edge.element, edge.core) == (element, core)
            }
            for edges in (network.edges, network.earth)
        )
        return altered(network, edges=live, earth=earth)

    return Defect("joint", element, f"{core} {ohm:.3g}", words, route, changed)


def leak_of(network: Network, place: str, line: str, ohm: float, route: Route) -> Defect | None:
    """A conductor that touches PE at a place over so many ohm; None where either is not there."""
    identifier, _, terminal = place.partition(".")
    node = network.find(identifier, terminal, line)
    pe = network.find(frame_of(network.installation, identifier), "", "PE")
    if node < 0 or pe < 0:
        return None
    tie = Tie(place, "stray", node, pe, ALWAYS, route, place, ohm=ohm)
    words = f"{line} touches PE at {place}: a fault of the insulation, about {_rounded(ohm)} ohm"
    return Defect(
        *("leak", place, f"{line} {ohm:.3g}", words, route),
        lambda changed: altered(changed, ties=lambda found: (*found, tie)),
    )


def _rounded(ohm: float) -> str:
    """A resistance to two digits, without an exponent."""
    return f"{float(f'{ohm:.2g}'):g}"


def electrode_of(electrode: Electrode, ohm: float) -> Defect:
    """An electrode of another resistance than described, in ohm."""
    described = electrode_ohm(electrode)
    beside = "" if isinstance(described, Missing) else f", where {_rounded(described)} ohm follows from the description"
    words = f"the electrode {electrode.id} has about {_rounded(ohm)} ohm{beside}"
    return Defect(
        "electrode-other",
        electrode.id,
        f"{ohm:.3g}",
        words,
        electrode.route,
        _electrode(electrode.id, lambda one: _of(one, ohm)),
    )


def supply_earth_of(source: Source, ohm: float) -> Defect:
    """The earth of a TT supply with so many ohm beyond the declared loop."""
    loop = source.loop_impedance_ohm
    declared = f", where the whole loop should have {_rounded(loop)} ohm" if loop else ""
    words = f"the earth of the supply {source.id} has about {_rounded(ohm)} ohm{declared}"
    return Defect("supply-earth-high", source.id, f"{ohm:.3g}", words, source.route, _star_behind(source.id, ohm))


def _of(electrode: Electrode, ohm: float) -> Electrode:
    return electrode._replace(resistance_ohm=ohm, rods=None, soil_ohm_m=None)


def _raised(electrode: Electrode) -> Electrode | None:
    ohm = electrode_ohm(electrode)
    return electrode if isinstance(ohm, Missing) else _of(electrode, TIMES_HIGH * ohm)


def _electrode(identifier: str, change: Callable[[Electrode], Electrode | None]) -> Callable[[Network], Network]:
    def changed(network: Network) -> Network:
        site = network.installation
        after = [change(one) if one.id == identifier else one for one in site.electrodes]
        kept = tuple(one for one in after if one is not None)
        there = {one.id for one in kept}
        return network._replace(
            installation=site._replace(electrodes=kept),
            electrodes=tuple(one for one in network.electrodes if one[0] in there),
        )

    return changed
