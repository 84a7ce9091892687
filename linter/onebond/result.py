"""Plain results: what the engine concludes and reporters lay out.

Everything here is data without behaviour that matters to a verdict.  ``kind`` is a result kind of SARIF 2.1.0 section
3.27.9 and ``level`` one of section 3.27.10.
"""

from typing import Literal, NamedTuple

from onebond.span import Route, Span

Kind = Literal["fail", "pass", "open", "review", "notApplicable"]
Level = Literal["error", "warning", "note", "none"]

LEVELS: tuple[Level, ...] = ("error", "warning", "note", "none")
"""Levels, the gravest first."""

WRITTEN_FOR = "iec"
"""The rulebook in whose words rules and reports are written; ``onebond.wording`` has those of the others."""

Named = tuple[tuple[str, float | None], ...]
"""What a description names, each with the rated residual current, in A, of the device that is meant by it, if it is one."""

# One way in which something happens: variable -> the values it may have ("any of"); variables left out do not matter.
Condition = tuple[tuple[str, tuple[str, ...]], ...]


class Problem(NamedTuple):
    """Something that keeps a description from being read: always with its place and, where there is one, a hint."""

    span: Span
    message: str
    hint: str = ""
    route: Route = ()


class Mention(NamedTuple):
    """Another party of a result: its id as written in the file, where it is written, and a few words on its part."""

    subject: str
    route: Route
    text: str


class Waiver(NamedTuple):
    """An accepted finding: who accepted it, why, and until which day (ISO 8601)."""

    rule: str
    at: str
    reason: str
    by: str
    until: str
    route: Route


class Edit(NamedTuple):
    """A part of a mechanical repair: ``text`` takes the place of a piece of the description."""

    span: Span
    text: str


class StateFigures(NamedTuple):
    """The figures of a finding in the states in which they are the same, named and with their unit."""

    conditions: tuple[Condition, ...]
    figures: tuple[tuple[str, str], ...]


class Exemption(NamedTuple):
    """An exception of the rulebook that a verdict rests on: why it is permitted, what remains, and in which states."""

    reason: str
    remains: str
    conditions: tuple[Condition, ...]


class Result(NamedTuple):
    """The verdict of one rule on one subject, over all operating states.

    ``conditions`` are alternatives, each with only the variables that matter; an empty tuple means that no operating
    state was involved, a tuple holding one empty condition means *in every state*.  ``because`` names the (rule, subject)
    of the finding that this one follows from: it is then a consequence and not a second root cause.  ``figures`` are those
    of the worst state; where they differ, ``by_state`` holds all of them, the worst first.
    """

    rule: str
    kind: Kind
    level: Level
    subject: str
    route: Route
    span: Span
    message: str
    so: str = ""
    put_right: str = ""
    mentions: tuple[tuple[Mention, Span], ...] = ()
    conditions: tuple[Condition, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    references: tuple[str, ...] = ()
    because: tuple[str, str] | None = None
    waiver: Waiver | None = None
    by_state: tuple[StateFigures, ...] = ()
    paths: tuple[tuple[tuple[Mention, Span], ...], ...] = ()  # of a fault current, one for each source
    edits: tuple[Edit, ...] = ()  # that put it right without a choice to make
    lacking: str = ""  # of an open result: what is not written, or why nothing can be concluded
    causes: tuple[
        tuple[str, str], ...
    ] = ()  # what it follows from in some state; all of them where it is a consequence
    effect: bool = False  # it is nothing but an effect of what it follows from, and accepted with it
    islands: tuple[int, ...] = ()  # kinds of live island it occurs in: numbers in ``Site.islands``, where asked for
    rank: int = 0  # of its rule in the rule book: what is about the neutral comes first
    exemptions: tuple[Exemption, ...] = ()  # that the rulebook permits it by, in some states or in all


class Fault(NamedTuple):
    """A rule that broke on a subject: an internal error (exit status 70), never silence."""

    rule: str
    subject: str
    message: str


class IslandLine(NamedTuple):
    """One kind of live island for ``onebond states``: what feeds it, what it supplies, where its neutral is earthed."""

    sources: tuple[str, ...]
    supplies: tuple[str, ...]
    references: tuple[str, ...]
    verdict: str
    conditions: tuple[Condition, ...]
    electrodes: tuple[str, ...] = ()  # that the references reach
    apart: tuple[str, ...] = ()  # of the sources those that nothing but the neutral joins to the first


class FaultFigure(NamedTuple):
    """An earth fault of no impedance at one place: V, A, ohm, s to three digits; None where there is no such value.

    ``device`` opens for certain by ``certain_s``; nothing opens before ``possible_from_s``.  ``touch_v`` is the voltage of the
    frame to the mass of earth, ``touch_met_v`` to the main earthing terminal.
    """

    place: str
    at: str  # the place as written, with its terminal
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    line: str  # on which the fault is cleared last; L1/L2 where they do not differ
    second: bool  # the second fault of an IT system
    earthing: str  # TN | TT | IT | floating | -, the last where nothing earths the frame
    loop_ohm: float | None
    current_a: float | None
    device: str
    certain_s: float | None
    possible_from_s: float | None
    limit_s: float | None
    verdict: Literal["certain", "possible", "impossible", "open", "-"]
    touch_v: float | None
    touch_met_v: float | None
    limited_by: str  # a source that gives no more than its limit
    open: str  # what is not written
    why: str  # why there is no value although nothing is lacking


class SupplyFigure(NamedTuple):
    """A place in normal service, with all written loads: voltage drop from the source in per cent, N to PE in V."""

    place: str
    at: str
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    drop_percent: float | None
    n_pe_v: float | None
    without: tuple[str, ...]  # circuits of the same island whose load is not written
    open: str
    why: str


class ConductorFigure(NamedTuple):
    """The neutral and the protective conductor of a cable in normal service, with all written loads, in A."""

    connection: str
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    core: str  # N | PEN, empty: it has none
    neutral_a: float | None
    pe_a: float | None
    surplus: str  # the reference that is one too many
    without: tuple[str, ...]
    open: str
    why: str


class RcdFigure(NamedTuple):
    """What a residual current device sums in normal service, in A: standing leakage, and with all written loads."""

    id: str
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    rated_a: float | None
    standing_a: float | None
    total_a: float | None
    diverts: str  # a reference that takes neutral current off the way through it
    behind: bool  # whether that reference lies behind it
    no_leakage: tuple[str, ...]  # circuits behind it of which no leakage is written
    without: tuple[str, ...]  # circuits behind it of which no load is written
    open: str
    why: str


class FloatingFigure(NamedTuple):
    """What meters read in a system that nothing ties to earth, in V, and the current through a person from line to PE, in A.

    The readings are line to neutral, line to PE, neutral to PE; each is the least and the largest value over the stray capacitance
    that cables may have.
    """

    place: str
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    line: str
    digital_v: tuple[tuple[float, float] | None, ...]
    low_impedance_v: tuple[tuple[float, float] | None, ...]
    person_a: tuple[float, float] | None
    cables_only: bool  # neither a filter capacitance nor a leakage is written


class FailureFigure(NamedTuple):
    """A neutral or PEN conductor broken: the highest voltage of a frame to the mass of earth, and across a load, in V."""

    connection: str
    core: str
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    frame: str
    frame_v: float | None
    load: str
    load_v: float | None
    nominal_v: float
    open: str
    why: str


class LossFigure(NamedTuple):
    """A protective conductor, a link or an electrode broken: the frames that nothing ties to earth any more."""

    connection: str  # its id
    core: str  # PE | link | electrode
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]
    frames: tuple[str, ...]
    floats: bool  # the neutral of the island is then tied to earth nowhere
    leaking_a: float | None  # what the PE carries in normal service, and a person would


class DirectFigure(NamedTuple):
    """A short circuit at one place of the direct-current side."""

    place: str  # as written, with its terminal
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...]  # batteries and arrays that are joined to it
    largest_a: float | None  # full batteries in their first moments, cold cables, arrays in the sun
    least_a: float | None  # batteries nearly empty, warm cables, by night
    open: str  # what is not written
    why: str


class ClearingCurve(NamedTuple):
    """When the devices on the way from a source to a place open: at the fault currents there, and at all others.

    Each of ``steps`` begins at a current in A that the source gives: from it on they have not opened before so many s (None: they
    never do), and have opened for certain by so many s (None: never certain).
    """

    at: str  # the place as written, with its terminal
    source: str
    devices: tuple[str, ...]  # in a few words, from the source on
    steps: tuple[tuple[float, float | None, float | None], ...]
    limit_s: float | None
    # in A, with the verdict: that of the devices, or `source` where the source ends it, or its maker declares that a device does
    currents: tuple[tuple[float, str], ...]


class Figures(NamedTuple):
    """The computed figures of one site, for ``onebond figures``, and what they rest on."""

    faults: tuple[FaultFigure, ...]
    supply: tuple[SupplyFigure, ...]
    conductors: tuple[ConductorFigure, ...]
    rcds: tuple[RcdFigure, ...]
    floating: tuple[FloatingFigure, ...]
    failures: tuple[FailureFigure, ...]
    voltage_factor: float  # part of the nominal voltage that drives a fault current
    fuses: str  # the model of fuses
    table: bool  # whether the limits are those of table 41.1
    utilities: tuple[str, ...]
    beside: bool  # electrodes beside a supplier's PE or PEN are left out
    undeclared: tuple[tuple[str, str], ...]  # sources whose fault current is not written, with their kind
    pe_as_lines: tuple[str, ...]  # cables whose PE is taken to have the size of the lines
    resistive: tuple[str, ...]  # loads without a power factor
    ids: tuple[str, ...]  # everything that figures may be asked for
    curves: tuple[ClearingCurve, ...] = ()  # only where a drawing is asked for too
    losses: tuple[LossFigure, ...] = ()
    direct: tuple[DirectFigure, ...] = ()


class PartFile(NamedTuple):
    """A file that a site is written in besides its own: spans name it by its path."""

    path: str
    lines: tuple[str, ...]
    sha256: str


class Judged(NamedTuple):
    """A file of readings that was compared with its description, and what of it could be understood."""

    path: str
    entries: int  # of its list; one may hold several readings
    readings: int  # values that were read


class Site(NamedTuple):
    """The report of one description; ``path``, ``lines`` and ``sha256`` are those of the site's own file."""

    path: str
    lines: tuple[str, ...]
    sha256: str
    name: str
    rulebook: str
    stage: str
    problems: tuple[Problem, ...] = ()
    results: tuple[Result, ...] = ()
    faults: tuple[Fault, ...] = ()
    islands: tuple[IslandLine, ...] = ()
    cases: int = 0
    not_proven: tuple[str, ...] = ()
    problems_left_out: int = 0
    devices: tuple[tuple[str, str], ...] = ()  # variable -> kind, of devices that have no id
    figures: Figures | None = None
    drawing: "Drawing | None" = None  # what `diagram` draws
    revision: str = ""
    parts: tuple[PartFile, ...] = ()
    named: Named = ()  # no wording changes it; empty under ``WRITTEN_FOR``
    judged: Judged | None = None  # the readings that came with it


class Clause(NamedTuple):
    """A clause of a document, never its words; ``checked=False`` marks a number from memory (shown with ``?``)."""

    rulebook: str
    document: str
    clause: str
    checked: bool

    def __str__(self) -> str:
        return f"{self.document} {self.clause}{'' if self.checked else ' ?'}".strip()


class RulePage(NamedTuple):
    """What reporters may say about a rule: the manual page as data, for one rulebook."""

    id: str
    level: Level
    title: str
    checks: str
    danger: str
    remedy: str
    references: tuple[str, ...]
    levels: tuple[tuple[str, str], ...] = ()
    parameters: tuple[tuple[str, str, str], ...] = ()
    passing: str = ""
    failing: str = ""
    clauses: tuple[Clause, ...] = ()  # the same as ``references``, for programs


class Report(NamedTuple):
    """Everything that one run inspected."""

    version: str
    sites: tuple[Site, ...]
    rules: tuple[RulePage, ...]


class DrawnDevice(NamedTuple):
    """A device in the way of a cable, as a drawing shows it; ``texts`` are its data as written, a few words each."""

    id: str  # empty: it has none
    name: str  # as conditions and states name it
    kind: str  # mcb | mccb | fuse | rcd | rcbo | isolator | switch | contactor
    poles: tuple[str, ...]
    senses: tuple[str, ...]
    normally_open: bool
    operable: bool
    texts: tuple[str, ...]
    line: int


class DrawnLink(NamedTuple):
    """A cable or bar between two places; a circuit has its cable under its own id."""

    id: str
    circuit: bool
    start: str
    start_terminal: str
    finish: str
    finish_terminal: str
    cores: tuple[str, ...]
    lands_on: tuple[tuple[str, str], ...]
    size: str
    texts: tuple[str, ...]  # what else is written of it: sizes of N and PE, runs, material, length
    devices: tuple[DrawnDevice, ...]
    plug: bool
    line: int


class DrawnPlace(NamedTuple):
    """Where conductors land: a source, a board, a changeover, the far end of a circuit."""

    id: str
    kind: str  # utility | generator | inverter | transformer | board | changeover | circuit
    texts: tuple[str, ...]
    line: int
    variable: str = ""  # the name under which its states go: a group of inverters shares one
    inside: str = ""
    bars: tuple[str, ...] = ()
    positions: tuple[str, ...] = ()
    prefers: str = ""
    poles: tuple[str, ...] = ()
    mains_input: bool = False
    neutral_bond: str = "none"  # none | fixed | while-inverting
    neutral_solid: bool = False  # the neutral of input and output is never parted
    through_when_off: bool = False
    earthing: str = ""
    isolating: bool = False
    follows: bool = False  # an inverter that only follows another source
    phases: tuple[str, ...] = ()
    serves: str = ""
    building: str = ""
    high_leg: bool = False  # a delta whose neutral is the tap of one winding
    inputs: tuple[str, ...] = ()  # terminals of an inverter at which direct current arrives


class DrawnBond(NamedTuple):
    """A bond between N and PE; ``relay`` says that a condition opens it."""

    id: str
    at: str
    terminal: str
    relay: bool
    impedance: str
    texts: tuple[str, ...]
    line: int


class DrawnElectrode(NamedTuple):
    """An electrode of the installation."""

    id: str
    at: str
    texts: tuple[str, ...]
    line: int


class DrawnMonitor(NamedTuple):
    """An insulation monitoring device."""

    id: str
    at: str
    terminal: str
    texts: tuple[str, ...]
    line: int


class DrawnMetal(NamedTuple):
    """Metal that is not part of the installation and joins the PE of several places."""

    id: str
    kind: str
    joins: tuple[str, ...]
    line: int


class DrawnReference(NamedTuple):
    """A place where the neutral of an island is tied to earth, and every closed tie there."""

    id: str
    kind: str  # bond | internal | star | crossed
    at: str
    ties: tuple[tuple[str, str], ...]  # id and kind


class DrawnState(NamedTuple):
    """One kind of live island, in one operating state that it occurs in; a kind has several where one cannot show all its findings.

    ``live`` holds every live conductor at every place with the sources that energise it, ``returns`` the neutral conductors on the
    way from the farthest load back to its source and ``strays`` the conductors that join two references: part of the neutral current
    takes them.  Both name the element, its core and whether the current flows towards its ``start`` or its ``finish``.
    """

    kind: int  # its number in ``Site.islands``
    shows: tuple[tuple[str, str], ...]  # rule and subject of the findings that occur in this very state
    sources: tuple[str, ...]
    supplies: tuple[str, ...]
    verdict: str
    values: tuple[tuple[str, str], ...]  # variable and value
    free: tuple[str, ...]  # switches whose position makes no difference: their value is only what is drawn
    varies: tuple[str, ...]  # variables that have another value in other states of this kind
    live: tuple[tuple[str, str, str, tuple[str, ...]], ...]  # place, terminal, conductor, sources
    earthed: tuple[str, ...]  # places whose PE is joined to a reference; in a TT or an isolated system to an electrode
    references: tuple[DrawnReference, ...]
    bonds: tuple[str, ...]  # closed bonds, and sources whose inner bond is closed
    unsettled: tuple[str, ...]  # bonds that may be closed or open in it
    returns: tuple[tuple[str, str, str], ...]
    strays: tuple[tuple[str, str, str], ...]
    anchors: tuple[
        tuple[str, str], ...
    ]  # element and core of the neutral conductors between the sources and the references


class Drawing(NamedTuple):
    """Everything that a drawing of the installation shows; ``states`` in the order of ``Site.islands``."""

    places: tuple[DrawnPlace, ...]
    links: tuple[DrawnLink, ...]
    bonds: tuple[DrawnBond, ...]
    electrodes: tuple[DrawnElectrode, ...]
    monitors: tuple[DrawnMonitor, ...]
    metals: tuple[DrawnMetal, ...]
    states: tuple[DrawnState, ...]
    files: tuple[tuple[str, str], ...] = ()  # id and file of whatever is written in a part of the site
