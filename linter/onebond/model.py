"""An installation as typed, frozen parts; each part knows the route to where it is written.

No YAML and no text positions here, and no electrical conclusion either.  ``None`` always means *not written*.
Quantities carry their unit in the name (``_v _a _ohm _s _m _mm2 _va _f``).

The parts are named tuples and not dataclasses because a description is inspected in a hook: twenty dataclasses cost more
start-up time than reading the file does.
"""

from typing import NamedTuple

from onebond.span import Route

LINES: tuple[str, ...] = ("L1", "L2", "L3")
LIVE: tuple[str, ...] = ("L1", "L2", "L3", "N", "PEN")
DIRECT: tuple[str, ...] = ("DC+", "DC-", "M")
EARTH: tuple[str, ...] = ("PE",)
DIRECT_INPUTS: tuple[str, ...] = ("dc", "pv", *(f"pv{number}" for number in range(1, 10)))
"""Terminals of an inverter on its direct-current side, each an input with a converter of its own."""
HIGH_LEG = "L2"
"""The line of a high-leg delta that is opposite to the winding with the tap: phase B (NEC 408.3(E)(1))."""

# A condition of the description: variable -> values, any of which will do; all variables must hold.
When = tuple[tuple[str, tuple[str, ...]], ...]


class End(NamedTuple):
    """Where a conductor lands: the id of the equipment and, where it has named sides, the terminal (else empty)."""

    id: str
    terminal: str
    route: Route

    @property
    def written(self) -> str:
        """The end as the user writes it."""
        return f"{self.id}.{self.terminal}" if self.terminal else self.id


class Size(NamedTuple):
    """A conductor size: its cross-section in mm2 and the text of the file (``16 mm2``, ``6 AWG``)."""

    mm2: float
    text: str


class Limit(NamedTuple):
    """A current that a source can sustain: in ampere or as a multiple of the rated current, and for how long."""

    current_a: float | None
    times_rated: float | None
    for_s: float | None


class Device(NamedTuple):
    """A switching or protective device in the way of a connection."""

    kind: str  # mcb | mccb | fuse | rcd | rcbo | isolator | switch | contactor | meter
    id: str | None
    position: int  # in `through`, from 0
    poles: tuple[str, ...]  # the cores it can open, defaults applied
    senses: tuple[str, ...]  # the cores it sums (rcd, rcbo), else empty
    operable: bool
    normally_open: bool
    route: Route
    rating_a: float | None = None
    residual_a: float | None = None
    residual_type: str | None = None  # AC | A | F | B
    delay: str | None = None  # general | S
    curve: str | None = None
    fuse_class: str | None = None
    breaking_capacity_a: float | None = None
    instantaneous_a: float | None = None
    dc_breaking_capacity_a: float | None = None


class Connection(NamedTuple):
    """A cable or bar between two ends; a circuit is a connection whose far end is the circuit itself."""

    id: str
    start: End  # `from`
    finish: End  # `to`; for a circuit End(circuit id, "", ...)
    cores: tuple[str, ...]
    lands_on: tuple[tuple[str, str], ...]  # core -> node at the `to` end, only where they differ
    devices: tuple[Device, ...]
    plug: bool
    route: Route
    size: Size | None = None
    n_size: Size | None = None
    pe_size: Size | None = None
    pe_by: str | None = None  # core | armour | conduit
    runs: int | None = None
    material: str | None = None
    insulation_c: float | None = None
    length_m: float | None = None


class Circuit(NamedTuple):
    """A final circuit: its connection and what hangs at its end."""

    id: str
    connection: Connection
    serves: str | None
    class_ii: bool
    route: Route
    load_va: float | None = None
    load_w: float | None = None
    leakage_a: float | None = None
    building: str | None = None
    enclosure: str | None = None
    load_a: float | None = None  # of load_va, load_w and load_a one at most is written
    power_factor: float | None = None
    place: str | None = None  # as written; `place_of` says where it stands


class Source(NamedTuple):
    """Something that can energise conductors."""

    id: str
    kind: str  # utility | generator | inverter | transformer
    phases: tuple[str, ...]
    route: Route
    earthing: str | None = None  # TN-S | TN-C-S | TT | IT; on sources other than a utility only where written
    earthing_impedance_ohm: float | None = (
        None  # utility: star point to earth; IT as written, else what a defect puts there
    )
    neutral_bond: str = "none"  # none | fixed | while-inverting
    neutral_bond_written: bool = True  # False: the file is silent, and silence was read as none
    mains_input: bool = False
    neutral_through: str | None = None  # solid | switched
    neutral_through_written: bool = True  # False: the file is silent, and silence was read as switched
    when_off: str = "open"  # open | through
    operation: str = "grid-forming"  # grid-forming | grid-following | both
    winding: str | None = None  # isolating | auto
    may_parallel: tuple[str, ...] = ()
    mounted: str = "fixed"  # fixed | portable | vehicle
    system: str | None = None
    voltage_v: float | None = None  # line to neutral where there is a neutral
    line_voltage_v: float | None = None  # line to line
    rating_va: float | None = None
    loop_impedance_ohm: float | None = None
    fault_current_max_a: float | None = None
    fault_current_min_a: float | None = None
    fault_current_kind: str | None = None
    fault_limit: Limit | None = None
    subtransient_reactance: float | None = None  # per unit
    negative_sequence_reactance: float | None = None
    zero_sequence_reactance: float | None = None
    impedance: float | None = None  # per unit (transformer)
    filter_capacitance_f: float | None = None
    opens_after_s: float | None = None
    closes_after_s: float | None = None
    building: str | None = None
    enclosure: str | None = None
    transient_reactance: float | None = None  # per unit
    shutdown_s: float | None = None
    largest_breaker: tuple[str, float] | None = None  # curve and rating in A
    isolated: bool | None = None
    primary_voltage_v: float | None = None  # written like voltage_v and line_voltage_v
    primary_line_voltage_v: float | None = None

    @property
    def high_leg(self) -> bool:
        """Whether its neutral is the tap of one winding of a delta, so that one line has more to it than the others."""
        return self.system == "high-leg"


class Board(NamedTuple):
    """A board; ``inside`` names the enclosure whose PE bar it shares."""

    id: str
    inside: str | None
    bars: tuple[str, ...]  # as written; empty: the bars of whatever lands on it
    route: Route
    class_ii: bool = False
    building: str | None = None
    enclosure: str | None = None
    place: str | None = None


class Changeover(NamedTuple):
    """A changeover: one terminal for each position, the bare id is the common side."""

    id: str
    positions: tuple[str, ...]
    poles: tuple[str, ...]
    route: Route
    transition: str = "open"  # open | closed | overlapping-neutral
    drive: str | None = None
    prefers: str | None = None
    building: str | None = None
    enclosure: str | None = None
    rating_a: float | None = None


class Bond(NamedTuple):
    """A connection between N and PE at one place."""

    id: str
    at: End
    closed: When  # empty: always
    impedance_ohm: float | None
    route: Route
    size: Size | None = None
    opens_after_s: float | None = None
    closes_after_s: float | None = None
    length_m: float | None = None
    material: str | None = None


class Electrode(NamedTuple):
    """An earth electrode of the installation at the PE of a place."""

    id: str
    at: End
    route: Route
    resistance_ohm: float | None = None
    rods: int | None = None
    length_m: float | None = None
    diameter_m: float | None = None
    spacing_m: float | None = None
    soil_ohm_m: float | None = None
    conductor: Size | None = None
    shape: str | None = None  # rod | horizontal | ring | plate
    material: str | None = None
    depth_m: float | None = None  # of a horizontal conductor or ring


class Monitor(NamedTuple):
    """An insulation monitoring device."""

    id: str
    at: End
    impedance_ohm: float | None
    route: Route


class Extraneous(NamedTuple):
    """Metal that is not part of the installation and joins the PE of several places."""

    id: str
    joins: tuple[End, ...]
    kind: str | None
    route: Route
    near: tuple[End, ...] = ()  # places whose frames can be touched together with it


class Group(NamedTuple):
    """Inverters that act together as one source."""

    id: str
    members: tuple[str, ...]
    phases: tuple[tuple[str, str], ...]
    route: Route


class Interlock(NamedTuple):
    """A combination that the installation makes impossible."""

    never: When
    route: Route


class Accepted(NamedTuple):
    """A waiver as written."""

    rule: str
    at: str
    reason: str
    until: str | None
    by: str | None
    route: Route


class DirectSource(NamedTuple):
    """A battery or a photovoltaic array."""

    id: str
    kind: str  # battery | pv
    voltage_v: float | None
    earthed_pole: str | None  # none | positive | negative | middle; None: not written
    monitoring: str | None  # none | insulation | residual-current; None: not written
    fault_current_a: float | None
    class_ii: bool
    route: Route
    building: str | None = None
    enclosure: str | None = None
    internal_resistance_ohm: float | None = None


class Installation(NamedTuple):
    """The whole description."""

    name: str
    rulebook: str
    stage: str
    revision: str | None
    sources: tuple[Source, ...]
    boards: tuple[Board, ...]
    changeovers: tuple[Changeover, ...]
    connections: tuple[Connection, ...]
    circuits: tuple[Circuit, ...]
    bonds: tuple[Bond, ...]
    electrodes: tuple[Electrode, ...]
    monitors: tuple[Monitor, ...]
    groups: tuple[Group, ...]
    extraneous: tuple[Extraneous, ...]
    extraneous_none: bool  # the file says `extraneous: none`
    interlocks: tuple[Interlock, ...]
    waivers: tuple[Accepted, ...]
    frequency_hz: float | None = None
    test_interval_months: float | None = None
    direct: tuple[DirectSource, ...] = ()
