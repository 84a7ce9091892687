"""Cross-sections of protective conductors, links and earthing conductors, with what the tables and the heat of faults ask of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property, partial
from typing import NamedTuple

from onebond.circuit import impedances
from onebond.circuit.components import conductors, protective
from onebond.circuit.impedances import Missing
from onebond.facts.faults import FOLLOWING_TIMES_RATED, EarthFault
from onebond.facts.unknown import Unknown
from onebond.model import DIRECT, LINES, Connection, Device, Electrode, Installation, Size
from onebond.result import Mention
from onebond.span import Route

LONGEST_S = 5.0
"""Longest fault for which the adiabatic formula holds (IEC 60364-5-54, 543.1.2)."""

SHORTEST_S = 0.1
"""Product standards promise no shorter time; below it what the device lets through decides, which a description does not hold."""

TOLERANCE = 0.005
"""Part by which a size may be below what is asked for: American sizes by gauge and by circular mils differ by up to 0.1 %."""

ALIKE = 1e-9
"""Part by which the heat of two faults differs where only the last digits of their currents do: the first of them is named."""

AS_COPPER = {"copper": 1.0, "aluminium": 0.61, "steel": 0.125}
"""Area of copper that conducts like one of a metal: 17.241 / 28.264 and / 138 (resistivities of IEC 60364-5-54 annex A, from memory)."""

# AS/NZS 3000 table 5.1 (from memory): copper active up to (mm2) -> copper earthing conductor in mm2.
AS_NZS_MM2: tuple[tuple[float, float], ...] = (
    (1, 1), (1.5, 1.5), (6, 2.5), (10, 4), (25, 6), (35, 10), (50, 16), (95, 25), (120, 35), (150, 50), (185, 70),
    (240, 95), (630, 120),
)  # fmt: skip


class Need(NamedTuple):
    """What a table asks for: an area in mm2, and the size as the table has it."""

    mm2: float
    text: str

    @classmethod
    def metric(cls, mm2: float) -> Need:
        """A metric size."""
        return cls(mm2, f"{mm2:.3g} mm2")

    @classmethod
    def american(cls, size: str) -> Need:
        """An American size by its name."""
        return cls(conductors.american_mm2(size), f"{size} {'AWG' if '/' in size or len(size) < 3 else 'kcmil'}")


class Heat(NamedTuple):
    """The fault that heats a conductor most until it is cleared for certain: energy I2 t in A2 s, current in A, time in s."""

    energy_a2s: float
    current_a: float
    time_s: float
    at: str  # where the fault is

    @property
    def fast(self) -> bool:
        """Whether the device clears it in the shortest time that its standard promises, and may well be quicker."""
        return self.time_s <= SHORTEST_S


class Lines(NamedTuple):
    """The largest line conductor of some cables: area in mm2 with those in parallel, and the first cable without a size."""

    mm2: float | None
    material: str
    at: Mention | None
    lacking: Mention | None
    text: str = ""  # the size of each of those in parallel, as it is written


NO_LINES = Lines(None, "copper", None, None)


class Protective:
    """A protective conductor: ``sort`` is pe, pen, bond, earthing, electrode, main-bonding or bonding."""

    island = None

    def __init__(
        self,
        identifier: str,
        route: Route,
        sort: str,
        size: Size | None,
        key: str,
        lines: Lines,
        *,
        link: Connection | None = None,
        material: str = "copper",
        assumed: bool = False,
        ahead: tuple[Device, str] | None = None,
        supplier: bool = False,
        faults: Callable[[], Iterable[EarthFault]] = tuple,
        soil: tuple[Electrode, ...] = (),
        other_pe: tuple[Lines, ...] = (),
        pme: Lines | None = None,
        no_return: bool = False,
        metal: int = 0,
    ) -> None:
        self.id = identifier
        self.route = route
        self.sort = sort
        self._size = size
        self._key = key  # the entry that holds its size
        self.lines = lines
        self.link = link
        self.assumed = assumed  # its size is not written and was taken to be that of its lines
        self.ahead = ahead  # the overcurrent device ahead of its lines, with its connection
        self.supplier = supplier  # its lines come from a supplier, with no device of the installation ahead
        self._faults = faults  # those whose current it carries
        self.soil = soil  # it leads to these electrodes and to nothing else
        self._other_pe = other_pe
        self._pme = pme  # neutral of a supply that is a PEN; None: there is none
        self.no_return = no_return  # no conductor leads fault currents back to a source: TT and nothing else
        self.metal = metal  # how many of its ends are at metal that is no part of the installation
        self.too_many = False  # a link that is one too many wherever it is closed
        self.material = material  # copper | aluminium | steel, where the armour or the conduit serves

    @property
    def size(self) -> Size:
        """Its cross-section; raises Unknown."""
        if self._size is None:
            raise Unknown(f"the {self._key} of {self.id}", self.route)
        return self._size

    @property
    def alone(self) -> bool:
        """Whether it is a conductor of its own and not a core of a cable."""
        return self.link is None or len(self.link.cores) == 1

    @property
    def steel(self) -> str:
        """armour or conduit where one of them serves, else nothing."""
        by = self.link.pe_by if self.link and self.sort == "pe" else None
        return by if by in ("armour", "conduit") else ""

    @property
    def runs(self) -> int:
        """How many of it are in parallel."""
        return (self.link.runs or 1) if self.link else 1

    @property
    def cables(self) -> int:
        """How many cables its lines share where it is a core of each of them; 1 where it is laid beside all of them."""
        return 1 if self.alone else self.runs

    def short_of(self, need: Need) -> bool:
        """Whether its size is below what is asked of each of those in parallel; raises Unknown."""
        return not self.size.mm2 >= need.mm2 * (1 - TOLERANCE)

    def largest(self, sure: bool) -> float | None:
        """Area of its largest line in mm2.  ``sure``: raises Unknown where a size is not written; else the largest written one."""
        if sure and self.lines.lacking:
            raise Unknown(f"the size of {self.lines.lacking.subject}", self.lines.lacking.route)
        if sure and self.lines.mm2 is None:
            raise Unknown(
                f"the lines that go with {self.id}", self.route, f"no line conductor lands where {self.id} does"
            )
        return self.lines.mm2

    def asked(self, table: str, sure: bool = True) -> Need | None:
        """What a table asks of it: IEC 54.2, AS/NZS 5.1, NEC 250.122, NEC 250.102(C)(1) or NEC 250.66.

        With ``sure`` by all its lines, which raises Unknown where one has no size; without by those that are written, which is at
        most what the table asks for, and None where none is.  NEC 250.122 goes by the device ahead, and is always sure.
        """
        if table == "NEC 250.122":
            return self._by_device()
        line_mm2 = self.largest(sure)
        if line_mm2 is None:
            return None
        try:
            if table == "IEC 54.2":
                return Need.metric(self._by_line_mm2(line_mm2))
            if table == "AS/NZS 5.1":
                return self._as_nzs(line_mm2)
            # a core of each of several cables by the lines of that cable: 250.102(C)(2), and (C)(2) of 250.24
            area_cmil = line_mm2 / self.cables / conductors.KCMIL_MM2 * 1000 * (1 - TOLERANCE)
            metal = "aluminium" if self.material == "aluminium" else "copper"
            if table == "NEC 250.66":
                rods = bool(self.soil) and all(one.shape in (None, "rod", "plate") for one in self.soil)
                kind = "rod" if rods else "other"
                size = protective.nec_grounding_electrode_conductor(area_cmil, self.lines.material, metal, kind)
            else:
                size = protective.nec_bonding_jumper(area_cmil, self.lines.material, metal)
            whole = Need.american(size)
            return whole._replace(mm2=whole.mm2 * self.cables / self.runs)
        except ValueError as refused:
            raise Unknown(self.id, self.route, f"{self.id}: {refused}") from None

    def _by_line_mm2(self, line_mm2: float) -> float:
        # each of several cables in parallel by its own lines
        one_mm2 = line_mm2 / self.runs
        least = protective.pe_by_line_mm2(one_mm2)
        if self.material == self.lines.material:
            return least
        return least * _k("core", self.lines.material, self.link, large=one_mm2 > 300) / self.k

    def _as_nzs(self, line_mm2: float) -> Need:
        least = next((mm2 for limit, mm2 in AS_NZS_MM2 if line_mm2 / self.runs <= limit), None)
        plain = self.material == self.lines.material == "copper"
        if least is None or not plain:
            # with aluminium actives the table asks for no more than with copper ones of that size
            enough = least is not None and self.material == "copper" and not self.short_of(Need.metric(least))
            if not enough:
                raise Unknown(self.id, self.route, f"{self.id}: the table is at hand for copper up to 630 mm2 only")
            assert least is not None
        return Need.metric(least)

    def _by_device(self) -> Need | None:
        """NEC 250.122, never more than the lines; 250.102(C)(1) where a supplier's lines have no device ahead."""
        if self.ahead is None:
            if self.supplier:
                return self.asked("NEC 250.102(C)(1)")
            raise Unknown(f"the overcurrent device ahead of {self.id}", self.route)
        device, where = self.ahead
        if device.rating_a is None:
            raise Unknown(f"the rating of {device.id or f'the {device.kind} in {where}'}", device.route)
        metal = "aluminium" if self.material == "aluminium" else "copper"
        try:
            need = Need.american(protective.nec_equipment_grounding_conductor(device.rating_a, metal))
        except ValueError as refused:
            raise Unknown(self.id, self.route, f"{self.id}: {refused}") from None
        if not self.short_of(need):
            return need
        line_mm2 = self.largest(True)
        assert line_mm2 is not None
        lines = Need(line_mm2 / self.cables, self.lines.text)
        return lines if lines.mm2 < need.mm2 * (1 - TOLERANCE) else need

    @property
    def k(self) -> int:
        """The factor k of the adiabatic formula, A sqrt(s) / mm2.

        Of what an insulation for 90 C may be, thermoplastic or cross-linked, the one that stands less is taken.
        """
        large = self._size is not None and self._size.mm2 > 300
        return _k(self.steel or ("separate" if self.alone else "core"), self.material, self.link, large)

    def heat(self, fuses: str) -> Heat:
        """The fault that heats it most; ``fuses`` is the model of fuses.

        The currents are those at the far ends, which flow longest.  Raises Unknown where no fault is known to pass, where one
        rests on what is not written, and where one is not certain to be cleared in 5 s.
        """
        if fuses not in self._heat:
            self._heat[fuses] = self._hottest(fuses)
        return self._heat[fuses]

    @cached_property
    def _heat(self) -> dict[str, Heat]:
        return {}

    def _hottest(self, fuses: str) -> Heat:
        worst: Heat | None = None
        unbounded: Unknown | None = None
        for fault in self._faults():
            if fault.no_way_back:
                continue  # nothing flows
            try:
                cleared = fault.cleared(fuses=fuses)
                current = _all_a(fault)
            except Unknown as refused:
                unbounded = unbounded or refused
                continue
            certain = cleared.trip.certain_s
            if certain is None or certain > LONGEST_S:
                why = f"an earth fault at {fault.id} is not certain to be cleared within 5 s, so its heat has no bound"
                lacking = Unknown.of(cleared.lacking) if cleared.lacking else Unknown(self.id, self.route, why)
                unbounded = unbounded or lacking
                continue
            one = Heat(current**2 * certain, current, certain, fault.id)
            if worst is None or one.energy_a2s > worst.energy_a2s * (1 + ALIKE):
                worst = one
        # what the bounded ones ask for alone may be too much already
        if unbounded is not None and (worst is None or not self._burns(worst)):
            raise unbounded
        if worst is None:
            raise Unknown(self.id, self.route, f"no earth fault is known whose current {self.id} carries")
        return worst

    def _burns(self, heat: Heat) -> bool:
        """Whether a fault asks for more than the conductor has."""
        try:
            return self.short_of(Need.metric(protective.adiabatic_of_energy_mm2(heat.energy_a2s, self.k) / self.runs))
        except (ValueError, Unknown):
            return False

    def by_heat(self, fuses: str) -> Need:
        """The cross-section that sqrt(I2 t) / k asks for; raises Unknown."""
        heat = self.heat(fuses)
        try:
            return Need.metric(protective.adiabatic_of_energy_mm2(heat.energy_a2s, self.k) / self.runs)
        except ValueError as refused:
            raise Unknown(self.id, self.route, f"{self.id}: {refused}") from None

    @property
    def smaller_pe_mm2(self) -> float:
        """What conducts like the smaller one of the protective conductors that feed its two ends, in mm2; raises Unknown.

        Metal that is no part of the installation has none: half of the other one counts then (544.2), and none between two of those.
        """
        for one in self._other_pe:
            if one.lacking:
                raise Unknown(f"the size of {one.lacking.subject}", one.lacking.route)
        known = [one.mm2 for one in self._other_pe if one.mm2 is not None]
        if not known and self.metal:
            return 0.0  # there is none at either end: the least of all serves
        if not known:
            raise Unknown(self.id, self.route, f"no protective conductor of a cable is known where {self.id} lands")
        return min(known) / (2 if self.metal else 1) / AS_COPPER[self.material]

    @property
    def pme(self) -> bool:
        """Whether the neutral of the supply is a PEN conductor."""
        return self._pme is not None

    def by_earthing(self, sure: bool) -> Need | None:
        """Half of the earthing conductor that table 54.2 asks for, within the limits of 544.1; None where no line is written."""
        if self.no_return:
            return Need.metric(protective.main_bonding_mm2(6.0, self.material))
        line_mm2 = self.largest(sure)
        if line_mm2 is None:
            return None
        try:
            return Need.metric(protective.main_bonding_mm2(protective.pe_by_line_mm2(line_mm2), self.material))
        except ValueError as refused:
            raise Unknown(self.id, self.route, f"{self.id}: {refused}") from None

    def by_pme(self, sure: bool) -> Need | None:
        """BS 7671 table 54.8 by the neutral of the supply; raises Unknown."""
        assert self._pme is not None
        if sure and self._pme.lacking:
            raise Unknown(f"the size of {self._pme.lacking.subject}", self._pme.lacking.route)
        if self._pme.mm2 is None:
            return None
        as_copper = self._pme.mm2 * AS_COPPER[self._pme.material]
        try:
            least = protective.pme_bonding_mm2(max(as_copper, 1.0))
        except ValueError as refused:
            raise Unknown(self.id, self.route, f"{self.id}: {refused}") from None
        return Need.metric(least / AS_COPPER[self.material])


def _all_a(fault: EarthFault) -> float:
    """The smallest current of a fault, with all that sources of limited current may add to it or give alone, in A; raises Unknown."""
    current_a = fault.current_a()
    feeds = [
        feed for feed in fault.island.feeds if any(fault.island.feed_lines[feed.id] >> n & 1 for n in fault.point.lines)
    ]
    limited = [source for feed in feeds if feed.kind == "inverter" for source in feed.sources]
    if len(feeds) < 2 or not limited:
        return current_a
    added_a = 0.0
    for source in limited:
        capability = impedances.capability(source)
        if isinstance(capability, Missing):
            raise Unknown.of(capability)
        assert capability is not None  # every inverter has a limit
        added_a += capability.limit_a * (1.0 if capability.declared else FOLLOWING_TIMES_RATED)
    stiff = any(feed.kind != "inverter" for feed in feeds)
    return current_a + added_a if stiff else added_a


def _k(laid: str, material: str, link: Connection | None, large: bool = False) -> int:
    hot = link is not None and (link.insulation_c or 70) >= 90
    if laid == "separate":
        insulation = "pvc-large" if large and material != "steel" else "pvc"
    elif laid == "core":
        insulation = ("pvc-90" if hot else "pvc") + ("-large" if large else "")
    else:
        insulation, material = "pvc-90" if hot else "pvc", "steel"
    return protective.printed_k_factor(laid, insulation, material)


class _Frames(dict[str, str]):
    """The frame of each place: the enclosure of an inner board, else the place itself."""

    def __init__(self, inside: dict[str, str | None]) -> None:
        super().__init__()
        self.inside = inside

    def __missing__(self, place: str) -> str:
        frame, seen = place, {place}
        while (outer := self.inside.get(frame)) and outer not in seen:
            frame = outer
            seen.add(frame)
        self[place] = frame
        return frame


class _Tree:
    """A spanning forest of what protective conductors join, in the order of its search."""

    def __init__(self, around: dict[str, list[tuple[str, str]]]) -> None:
        self.entered: dict[str, int] = {}
        self.sides: dict[str, _Side] = {}
        for root in around:
            if root not in self.entered:
                self._search(root, around)

    def _search(self, root: str, around: dict[str, list[tuple[str, str]]]) -> None:
        begin = len(self.entered)
        lowest: dict[str, int] = {}
        inner: list[tuple[str, int, int]] = []
        stack = [(root, "", iter(around[root]))]
        self.entered[root] = lowest[root] = begin
        while stack:
            frame, came, ways = stack[-1]
            for name, other in ways:
                if name == came:
                    continue
                if other in self.entered:
                    lowest[frame] = min(lowest[frame], self.entered[other])
                    continue
                self.entered[other] = lowest[other] = len(self.entered)
                stack.append((other, name, iter(around[other])))
                break
            else:
                stack.pop()
                if stack:
                    above = stack[-1][0]
                    lowest[above] = min(lowest[above], lowest[frame])
                    if lowest[frame] > self.entered[above]:
                        inner.append((came, self.entered[frame], len(self.entered)))
        for name, low, high in inner:
            self.sides[name] = _Side(self.entered, begin, len(self.entered), low, high, True)

    def counted(self, frames: set[str]) -> list[int]:
        """How many of some frames come before each number of the search."""
        found = [0]
        for frame in self.entered:
            found.append(found[-1] + (frame in frames))
        return found


class _Side(NamedTuple):
    """The frames on one side of the only way between two sides: those within a range of the search, or the rest of its part."""

    entered: dict[str, int]
    begin: int
    end: int
    low: int
    high: int
    within: bool

    @property
    def other(self) -> _Side:
        """The other side."""
        return self._replace(within=not self.within)

    def holds(self, frame: str) -> bool:
        """Whether a frame is on this side."""
        number = self.entered.get(frame, -1)
        return self.begin <= number < self.end and (self.low <= number < self.high) == self.within

    def any(self, counted: list[int]) -> bool:
        """Whether one of the frames that were counted is on this side."""
        inner = counted[self.high] - counted[self.low]
        return bool(inner if self.within else counted[self.end] - counted[self.begin] - inner)


class _Work:
    """The protective conductors of a description, sorted by what they are for."""

    def __init__(self, installation: Installation, faults: Callable[[], tuple[EarthFault, ...]]) -> None:
        self.site = installation
        self._all_faults = faults
        self.links = (*installation.connections, *(circuit.connection for circuit in installation.circuits))
        self.frame = _Frames({board.id: board.inside for board in installation.boards})
        self.sources = {source.id: source for source in installation.sources}

    # -- faults, which are worked out only where a table is not met ----------------------------------------------

    @cached_property
    def faults(self) -> tuple[EarthFault, ...]:
        """Every earth fault, once for all states that are wired alike."""
        distinct: dict[tuple[str, frozenset[str], int], EarthFault] = {}
        for fault in self._all_faults():
            # what is missing may be the same on several ways
            distinct.setdefault((fault.id, fault.through, id(fault.loop or fault.missing)), fault)
        return tuple(distinct.values())

    @cached_property
    def passing(self) -> dict[str, list[EarthFault]]:
        """For each cable the faults whose current its lines carry."""
        found: dict[str, list[EarthFault]] = {}
        for fault in self.faults:
            for element in fault.through:
                found.setdefault(element, []).append(fault)
        return found

    @cached_property
    def tied(self) -> dict[str, list[EarthFault]]:
        """For each bond the faults of the islands whose neutral it ties to earth."""
        found: dict[str, list[EarthFault]] = {}
        for fault in self.faults:
            for name in dict.fromkeys(tie.id for reference in fault.island.references for tie in reference.ties):
                found.setdefault(name, []).append(fault)
        return found

    def faults_of(self, *names: str) -> list[EarthFault]:
        """The faults whose current some cables carry."""
        return [fault for name in names for fault in self.passing.get(name, ())]

    def faults_tied(self, name: str) -> list[EarthFault]:
        """The faults of the islands whose neutral a bond ties to earth."""
        return self.tied.get(name, [])

    def between(self, side: _Side) -> list[EarthFault]:
        """The faults whose frame is on one side of a conductor and a reference of their island on the other."""
        found = []
        for fault in self.faults:
            nodes = fault.island.network.nodes
            frame, ties = nodes[fault.point.pe][0], [nodes[one.pe][0] for one in fault.island.references]
            if any(near.holds(frame) and any(map(near.other.holds, ties)) for near in (side, side.other)):
                found.append(fault)
        return found

    # -- cables and places ---------------------------------------------------------------------------------------

    def ends(self, link: Connection) -> tuple[str, str]:
        """The frames at both ends."""
        return self.frame[link.start.id], self.frame[link.finish.id]

    @cached_property
    def at(self) -> dict[str, list[Connection]]:
        """For each frame the cables that land on it."""
        found: dict[str, list[Connection]] = {}
        for link in self.links:
            for frame in dict.fromkeys(self.ends(link)):
                found.setdefault(frame, []).append(link)
        return found

    @cached_property
    def lines_at(self) -> dict[str, Lines]:
        """For each frame the largest line conductor that lands on it."""
        with_lines = {
            frame: [link for link in links if any(core in LINES for core in link.cores)]
            for frame, links in self.at.items()
        }
        return {frame: self.largest(links) for frame, links in with_lines.items() if links}

    def largest(self, links: list[Connection]) -> Lines:
        """The largest line of some cables; bars within one enclosure need no size."""
        written = [(link, size, size.mm2 * (link.runs or 1)) for link in links if (size := link.size)]
        silent = next((link for link in links if not link.size and len(set(self.ends(link))) > 1), None)
        lacking = Mention(silent.id, silent.route, "its size is not written") if silent else None
        if not written:
            return Lines(None, "copper", None, lacking)
        top, size, mm2 = max(written, key=lambda one: one[2])
        mention = Mention(top.id, top.route, "the largest line conductor")
        return Lines(mm2, top.material or "copper", mention, lacking, size.text)

    @cached_property
    def pe_around(self) -> dict[str, list[tuple[str, str]]]:
        """For each frame the conductors that join it to others: id and the other frame.  A PEN joins them where it is bonded."""
        bonded = {self.frame[bond.at.id] for bond in self.site.bonds if bond.impedance_ohm is None}
        bonded.update(source.id for source in self.site.sources if source.kind == "utility")
        found: dict[str, list[tuple[str, str]]] = {}
        for link in self.links:
            a, b = self.ends(link)
            lands = dict(link.lands_on)
            split = a in bonded and (b in bonded or lands.get("PEN") == "PE")
            if a != b and ("PE" in link.cores or ("PEN" in link.cores and split)):
                found.setdefault(a, []).append((link.id, b))
                found.setdefault(b, []).append((link.id, a))
        return found

    @cached_property
    def tree(self) -> _Tree:
        """What protective conductors join, and which of them are the only way between their two sides."""
        return _Tree(self.pe_around)

    def near(self, frame: str) -> Lines:
        """The largest line at a frame; where none lands there, at the frames that conductors of their own join to it."""
        own = self.lines_at.get(frame)
        if own:
            return own
        beside = [other for name, other in self.pe_around.get(frame, ()) if name in self.singles]
        return _largest_of([self.lines_at[one] for one in beside if one in self.lines_at])

    @cached_property
    def singles(self) -> frozenset[str]:
        """The connections that are a PE, or a PE with a neutral."""
        return frozenset(link.id for link in self.links if "PE" in link.cores and {"N", "PE"}.issuperset(link.cores))

    @cached_property
    def between_places(self) -> frozenset[str]:
        """Those of them that may begin at an earthing terminal: what goes with a neutral, or to a load, is the PE of some lines."""
        loads = {circuit.id for circuit in self.site.circuits}
        return frozenset(
            link.id
            for link in self.links
            if link.id in self.singles and len(link.cores) == 1 and loads.isdisjoint(self.ends(link))
        )

    @cached_property
    def ahead(self) -> dict[str, tuple[Device, str]]:
        """The overcurrent device that protects each cable: its own, else the largest of those that may feed its beginning."""
        links = {link.id: link for link in self.links}
        feeding: dict[str, list[str]] = {}
        for link in self.site.connections:
            feeding.setdefault(self.begins(link)[1], []).append(link.id)
        found: dict[str, tuple[Device, str]] = {}

        def of(name: str, seen: frozenset[str]) -> tuple[Device, str] | None:
            own = [device for device in links[name].devices if device.kind in ("mcb", "mccb", "fuse", "rcbo")]
            if own:
                return min(own, key=_rating), name
            behind = [
                one
                for other in feeding.get(self.begins(links[name])[0], ())
                if other not in seen and (one := of(other, seen | {other}))
            ]
            return max(behind, key=lambda one: _rating(one[0])) if behind else None

        for name in links:
            one = of(name, frozenset({name}))
            if one:
                found[name] = one
        return found

    def begins(self, link: Connection) -> tuple[str, str]:
        """The frame from which a cable is fed and the one that it feeds: it is fed from the end where a source is."""
        start, finish = self.ends(link)
        source = self.sources.get(link.finish.id)
        if source and link.finish.terminal != "in" and link.start.id not in self.sources:
            return finish, start
        return start, finish

    # -- the conductors ------------------------------------------------------------------------------------------

    @cached_property
    def no_return(self) -> bool:
        """Whether every source is a supplier's TT system and no link ties a neutral to earth."""
        return not self.site.bonds and all(
            source.kind == "utility" and source.earthing == "TT" for source in self.site.sources
        )

    @cached_property
    def pme(self) -> Lines | None:
        """The neutral of a supply that is a PEN; None where there is none."""
        supplies = {
            source.id for source in self.site.sources if source.earthing == "TN-C-S" and source.kind == "utility"
        }
        links = [link for link in self.site.connections if supplies & {link.start.id, link.finish.id}]
        if not links:
            return None
        sized = [(link, size) for link in links if (size := link.n_size or link.size)]
        silent = next((link for link in links if not (link.n_size or link.size)), None)
        lacking = Mention(silent.id, silent.route, "its size is not written") if silent else None
        if not sized:
            return Lines(None, "copper", None, lacking)
        top, size = max(sized, key=lambda one: one[1].mm2 * (one[0].runs or 1))
        mention = Mention(top.id, top.route, "the neutral of the supply")
        return Lines(size.mm2 * (top.runs or 1), top.material or "copper", mention, lacking)

    def all(self) -> list[Protective]:
        """Every protective conductor."""
        found: list[Protective] = []
        for link in self.links:
            if len(set(self.ends(link))) == 1 and not (link.size or link.pe_size):
                continue  # a bar within one enclosure needs no size
            if "PEN" in link.cores:
                found.append(self.pen(link))
            if link.id in self.singles:
                one = self.single(link)
                if one:
                    found.append(one)
            elif "PE" in link.cores and any(core in LINES for core in link.cores):
                found.append(self.core(link))
        for bond in self.site.bonds:
            if bond.impedance_ohm is None:
                frame = self.frame[bond.at.id]
                found.append(
                    Protective(
                        bond.id, bond.route, "bond", bond.size, "size", self.near(frame),
                        material=bond.material or "copper", faults=partial(self.faults_tied, bond.id),
                    )
                )  # fmt: skip
        for electrode in self.site.electrodes:
            found.append(
                Protective(
                    electrode.id, electrode.route, "electrode", electrode.conductor, "conductor",
                    self.near(self.frame[electrode.at.id]), material=electrode.material or "copper", soil=(electrode,),
                    pme=self.pme, no_return=self.no_return,
                )
            )  # fmt: skip
        return found

    def pen(self, link: Connection) -> Protective:
        """The PEN core of a cable."""
        size, key = (link.n_size, "n-size") if link.n_size else (link.size, "size")
        return Protective(
            link.id, link.route, "pen", size, key, self.largest([link]), link=link, material=link.material or "copper",
            faults=partial(self.faults_of, link.id),
        )  # fmt: skip

    def core(self, link: Connection) -> Protective:
        """The PE of a cable."""
        by_core = link.pe_by in (None, "core")
        assumed = by_core and link.pe_size is None
        size, key = link.pe_size, "pe-size"
        if assumed and self.site.stage != "as-built":
            size, key = link.size, "size"
        fed = self.sources.get(self.begins(link)[0])
        return Protective(
            link.id, link.route, "pe", size, key, self.largest([link]), link=link,
            material=(link.material or "copper") if by_core else "steel", assumed=assumed, ahead=self.ahead.get(link.id),
            supplier=fed is not None and fed.kind == "utility", faults=partial(self.faults_of, link.id),
        )  # fmt: skip

    def single(self, link: Connection) -> Protective | None:
        """A protective conductor of its own: what it is for follows from what it joins.

        None where it leads to frames of the direct-current side and to nothing else: its size is not judged.
        """
        a, b = self.ends(link)
        unwritten = len(link.cores) > 1 and self.site.stage == "as-built"
        size, key = (link.pe_size, "pe-size") if link.pe_size or unwritten else (link.size, "size")
        material = link.material or "copper"
        beside = self.beside(link)
        if beside:
            fed = [self.sources.get(self.begins(other)[0]) for other in beside]
            return Protective(
                link.id, link.route, "pe", size, key, self.largest(beside), link=link, material=material,
                ahead=self.largest_ahead(beside),
                supplier=all(one is not None and one.kind == "utility" for one in fed),
                faults=partial(self.faults_of, *(other.id for other in beside)),
            )  # fmt: skip
        metal = [frame for frame in (a, b) if frame in self.metal]
        if metal:
            others = [frame for frame in (a, b) if frame not in self.metal]
            sort = "main-bonding" if any(frame in self.terminals for frame in others) else "bonding"
            return Protective(
                link.id, link.route, sort, size, key, _largest_of([self.near(frame) for frame in others]), link=link,
                material=material, other_pe=tuple(self.feeding_pe(frame) for frame in others), pme=self.pme,
                no_return=self.no_return, metal=len(metal),
            )  # fmt: skip
        bars = [frame for frame in (a, b) if frame not in self.lines_at and frame not in self.no_bars]
        if link.id not in self.between_places:
            bars = []
        side = self.tree.sides.get(link.id)
        if side is None:
            if bars and link.id == self.first_at(bars[0]):
                # one of several ways: any fault may pass
                return self.earthing(link, size, key, material, (), lambda: self.faults)
            lines = _largest_of([self.near(frame) for frame in (a, b)])
            sort = "main-bonding" if bars else "bonding"
            return Protective(
                link.id, link.route, sort, size, key, lines, link=link, material=material,
                other_pe=(self.feeding_pe(a), self.feeding_pe(b)), pme=self.pme, no_return=self.no_return,
            )  # fmt: skip
        for half in (side, side.other):
            if not half.any(self.served):
                soil = tuple(rod for rod in self.site.electrodes if half.holds(self.frame[rod.at.id]))
                if not soil and any(map(half.holds, self.no_bars)):
                    return None
                return self.earthing(link, size, key, material, soil, tuple)
        # the only metal between two parts of the installation
        faults = partial(self.between, side)
        if bars:
            return self.earthing(link, size, key, material, (), faults)
        crossing = self.crossing(side)
        return Protective(
            link.id, link.route, "pe", size, key,
            self.largest(crossing) if crossing else _smaller_of(self.near(a), self.near(b)), link=link,
            material=material, faults=faults, ahead=self.largest_ahead(crossing or [*self.feeding(a), *self.feeding(b)]),
        )  # fmt: skip

    def beside(self, link: Connection) -> list[Connection]:
        """The cables with lines and without a protective conductor between the ends of another conductor."""
        ends = set(self.ends(link))
        return [
            other
            for other in self.at[self.frame[link.start.id]]
            if ends == set(self.ends(other))
            and any(core in LINES for core in other.cores)
            and not {"PE", "PEN"} & set(other.cores)
        ]

    @cached_property
    def metal(self) -> frozenset[str]:
        """Metal that is no part of the installation."""
        return frozenset(one.id for one in self.site.extraneous)

    @cached_property
    def terminals(self) -> frozenset[str]:
        """Where main bonding begins: at bars for PE alone, else where an electrode is, else where a supply lands."""
        bars = {self.frame[board.id] for board in self.site.boards}
        bars -= {*self.lines_at, *self.sources, *self.no_bars}
        rods = {self.frame[electrode.at.id] for electrode in self.site.electrodes}
        supplies = {source.id for source in self.site.sources if source.kind == "utility"}
        landed = {end for link in self.links if supplies & set(self.ends(link)) for end in self.ends(link)} - supplies
        return frozenset(bars or rods or landed)

    @cached_property
    def no_bars(self) -> frozenset[str]:
        """Sources, and frames on which conductors of direct current land: without a line there they are no earthing terminals."""
        direct = {end for link in self.links if any(core in DIRECT for core in link.cores) for end in self.ends(link)}
        return frozenset(direct | set(self.sources))

    @cached_property
    def served(self) -> list[int]:
        """For each place of the tree, how many frames up to it have lines or are sources."""
        return self.tree.counted({*self.lines_at, *self.sources})

    def crossing(self, side: _Side) -> list[Connection]:
        """The cables with lines that lead from one side of a conductor to the other, whose faults it carries."""
        other = side.other
        found = []
        for link in self.links:
            a, b = self.ends(link)
            parted = (side.holds(a) and other.holds(b)) or (other.holds(a) and side.holds(b))
            if parted and any(core in LINES for core in link.cores):
                found.append(link)
        return found

    def feeding(self, frame: str) -> list[Connection]:
        """The cables that feed a frame."""
        return [link for link in self.at.get(frame, ()) if self.begins(link)[1] == frame]

    def largest_ahead(self, links: list[Connection]) -> tuple[Device, str] | None:
        """The largest of the devices ahead of some cables."""
        found = [self.ahead[link.id] for link in links if link.id in self.ahead]
        return max(found, key=lambda one: _rating(one[0])) if found else None

    def first_at(self, bar: str) -> str:
        """Of the conductors of their own at a bar without lines, the one that leads to the largest lines."""
        found = [
            (name, self.lines_at.get(other, NO_LINES).mm2 or 0.0)
            for name, other in self.pe_around.get(bar, ())
            if name in self.between_places
        ]
        return max(found, key=lambda one: one[1])[0]

    def earthing(
        self,
        link: Connection,
        size: Size | None,
        key: str,
        material: str,
        soil: tuple[Electrode, ...],
        faults: Callable[[], Iterable[EarthFault]],
    ) -> Protective:
        """A conductor between an earthing terminal and a board, or on towards the electrodes."""
        lines = _largest_of([self.near(frame) for frame in self.ends(link)])
        return Protective(
            link.id, link.route, "earthing", size, key, lines, link=link, material=material, soil=soil, faults=faults,
            pme=self.pme, no_return=self.no_return,
        )  # fmt: skip

    def feeding_pe(self, frame: str) -> Lines:
        """The largest protective conductor that comes to a frame with its lines, or leaves it with some where none comes; as copper."""
        # one that is laid beside a cable goes with that cable
        ways = {
            link.id: (link, self.beside(link) if link.id in self.singles else [link])
            for link in self.at.get(frame, ())
            if "PE" in link.cores
        }
        coming = [link for link, lines in ways.values() if any(self.begins(one)[1] == frame for one in lines)]
        leaving = [link for link, lines in ways.values() if lines]
        sized, lacking = [], None
        for link in coming or leaving:
            by_core = link.pe_by in (None, "core")
            size = link.pe_size or (link.size if by_core else None)
            if size:
                metal = (link.material or "copper") if by_core else "steel"
                mention = Mention(link.id, link.route, "its protective conductor")
                sized.append(Lines(size.mm2 * (link.runs or 1) * AS_COPPER[metal], "copper", mention, None))
            else:
                lacking = lacking or Mention(link.id, link.route, "its size is not written")
        return _largest_of(sized)._replace(lacking=lacking)


def _largest_of(several: list[Lines]) -> Lines:
    lacking = next((one.lacking for one in several if one.lacking), None)
    return max(several, key=lambda one: one.mm2 or 0.0, default=NO_LINES)._replace(lacking=lacking)


def _smaller_of(one: Lines, other: Lines) -> Lines:
    # one that is not known may be smaller than any
    return min(one, other, key=lambda lines: lines.mm2 or 0.0)._replace(lacking=one.lacking or other.lacking)


def _rating(device: Device) -> float:
    """Where no rating is written the device may be larger than any."""
    return device.rating_a if device.rating_a is not None else float("inf")


def protective_conductors(
    installation: Installation, faults: Callable[[], tuple[EarthFault, ...]]
) -> tuple[Protective, ...]:
    """Every protective conductor that is written, links and earthing conductors included.  ``faults`` is asked only for heat."""
    return tuple(_Work(installation, faults).all())
