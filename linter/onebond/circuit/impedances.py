"""Impedances of the written parts: from a cable, a bond, an electrode or a source of the model to ohm, or to what is missing.

Nothing is made up: where an entry is not written, or no table covers it, the answer is a :class:`Missing` that names it.  What is
assumed is said here: conductors at the highest temperature of their insulation (70 C where none is written) for the smallest
fault current and at 20 C for the largest; cores of a cable side by side; a supplier's loop divided in equal halves.
"""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

from onebond.circuit.components import conductors, electrodes, generators, inverters, transformers
from onebond.model import HIGH_LEG, LINES, Bond, Connection, Electrode, Limit, Size, Source
from onebond.span import Route

STEEL_OHM_MM2_M = 0.138
"""Resistivity of steel at 20 C (IEC 60364-5-54 annex A, from memory)."""

COLD_C = 20.0
WARM_C = 70.0
"""Temperature where no insulation is written: what PVC allows."""


class Missing(NamedTuple):
    """An entry that is needed and not written; with a ``reason`` it is written but no table covers it."""

    what: str
    route: Route
    reason: str = ""


def _size_of(link: Connection, core: str) -> Size | None:
    """The size of a core; that of the lines where it has none of its own."""
    if core in ("N", "PEN") and link.n_size:
        return link.n_size
    return link.pe_size if core == "PE" and link.pe_size else link.size


def pe_size_assumed(link: Connection) -> bool:
    """Whether the size of the PE core of a cable is taken from its lines because it is not written."""
    return "PE" in link.cores and len(link.cores) > 1 and link.pe_size is None and link.pe_by in (None, "core")


def core_ohm(link: Connection, core: str, warm: bool, as_built: bool = False) -> complex | Missing:
    """Impedance of one core of a cable over its length, in ohm.

    Metric sizes by IEC 60228 class 2, American ones by NEC chapter 9 table 9 at 75 C (table 8 at 20 C); cores of one cable 0.08
    ohm/km, a protective conductor that is laid alone 0.3 ohm/km.  In an as-built description the size of a PE core has to be
    written.
    """
    if link.length_m is None:
        return Missing(f"the length of {link.id}", link.route)
    size = _size_of(link, core)
    if size is None:
        return Missing(f"the size of {link.id}", link.route)
    if core == "PE" and as_built and pe_size_assumed(link):
        return Missing(f"the pe-size of {link.id}", link.route)
    material = link.material or "copper"
    temperature = (link.insulation_c or WARM_C) if warm else COLD_C
    runs = link.runs or 1
    alone = core == "PE" and len(link.cores) == 1
    try:
        if core == "PE" and link.pe_by in ("armour", "conduit"):
            return _steel_ohm_km(link, warm) * link.length_m / 1000 / runs
        if "mm2" in size.text:
            per_km = conductors.reactance_ohm_km("separate-pe" if alone else "multicore")
            return conductors.core_impedance_ohm(
                size.mm2,
                link.length_m,
                material=material,
                temperature_c=temperature,
                practice="rounded",
                per_length_ohm_km=per_km,
                runs=runs,
            )
        gauge = conductors.american_size(size.mm2)
        if warm:
            ohm_km = conductors.nec_ac_ohm_km(gauge, material)
        else:
            factor = conductors.nec_temperature_factor(COLD_C, material)
            ohm_km = complex(conductors.nec_dc_ohm_km(gauge, material) * factor, 0.0)
        return conductors.parallel_runs_ohm(ohm_km * link.length_m / 1000, runs)
    except ValueError as refused:
        return Missing(f"the impedance of {link.id}", link.route, f"{link.id}: {refused}")


def _steel_ohm_km(link: Connection, warm: bool) -> complex:
    if link.pe_size is not None:
        ohm_km = STEEL_OHM_MM2_M / link.pe_size.mm2 * 1000
    elif link.pe_by == "armour" and link.size is not None:
        live = sum(1 for core in link.cores if core != "PE")
        ohm_km = conductors.armour_ohm_km(link.size.mm2, live)
    else:
        raise ValueError("the resistance of a conduit follows from its pe-size in mm2 of steel, which is not written")
    # the armour stays cooler than the cores: 60 C with cores at 70 C (from memory), 0.0045 per kelvin
    return complex(ohm_km * (1 + 0.0045 * 40 if warm else 1.0), 0.0)


def bond_ohm(bond: Bond) -> complex | Missing | None:
    """Impedance of a bond in ohm; ``None``: a link inside a board, of which no length is written.

    At 20 C by IEC 60228 class 2, or by NEC chapter 9 table 8 for American sizes.
    """
    if bond.impedance_ohm is not None:
        return complex(bond.impedance_ohm)
    if not bond.length_m:
        return None
    if bond.size is None:
        return Missing(f"the size of {bond.id}", bond.route)
    material = bond.material or "copper"
    try:
        if "mm2" in bond.size.text:
            return conductors.core_impedance_ohm(bond.size.mm2, bond.length_m, material=material)
        gauge = conductors.american_size(bond.size.mm2)
        return complex(conductors.nec_dc_ohm_km(gauge, material) * bond.length_m / 1000, 0.0)
    except ValueError as refused:
        return Missing(f"the impedance of {bond.id}", bond.route, f"{bond.id}: {refused}")


def electrode_ohm(electrode: Electrode) -> float | Missing:
    """Resistance of an electrode to the mass of earth in ohm: as measured, or from its shape and the soil.

    Rods by BS 7430; a horizontal conductor and a ring by the approximations of IEC 60364-5-54 annex D, which are on the high side.
    """
    if electrode.resistance_ohm is not None:
        return electrode.resistance_ohm
    name, route = electrode.id, electrode.route
    shape = electrode.shape or "rod"
    if shape == "plate":
        return Missing(f"the resistance of {name}", route)
    if electrode.soil_ohm_m is None:
        return Missing(f"the soil or the resistance of {name}", route)
    try:
        if shape == "horizontal":
            if electrode.length_m is None:
                return Missing(f"the length of {name}", route)
            return electrodes.horizontal_approximate_ohm(electrode.soil_ohm_m, electrode.length_m)
        if shape == "ring":
            if electrode.diameter_m is None:
                return Missing(f"the diameter of {name}", route)
            return electrodes.ring_approximate_ohm(electrode.soil_ohm_m, electrode.diameter_m / 2)
        if electrode.length_m is None or electrode.diameter_m is None:
            lacking = "length" if electrode.length_m is None else "diameter"
            return Missing(f"the {lacking} of {name}", route)
        rods = electrode.rods or 1
        if rods > 1 and electrode.spacing_m is None:
            return Missing(f"the spacing of {name}", route)
        return electrodes.rods_ohm(
            electrode.soil_ohm_m, electrode.length_m, electrode.diameter_m, rods, electrode.spacing_m
        )
    except ValueError as refused:
        return Missing(f"the resistance of {name}", route, f"{name}: {refused}")


# -- sources ---------------------------------------------------------------------------------------------------------


class Supply(NamedTuple):
    """What a source is between its star point and its terminals, in ohm; ``None`` is a conductor without impedance."""

    line: complex | Missing | None
    neutral: complex | Missing | None  # to N or PEN
    pe: complex | Missing | None  # to its PE terminal (TN-S)
    star: float | Missing | None  # from the star point to the mass of earth; None: at earth potential


def line_emfs_v(source: Source, group_phases: dict[str, str] | None = None) -> dict[str, complex] | Missing:
    """The EMF of each line of a source against its star point, in V; lines of a three-phase source follow each other by 120 degrees.

    A split-phase source has its two lines opposite; of one line alone, L1 is one side and any other the other.  A high-leg delta has
    L1 and L3 opposite too, at either end of the winding with the tap; L2 is in quadrature to them, sqrt(3) times as high.
    ``group_phases`` gives the line that each member of a group feeds.
    """
    phases = source.phases
    phase_v, line_v = source.voltage_v, source.line_voltage_v
    if phase_v is None and line_v is None:
        return Missing(f"the voltage of {source.id}", source.route)
    if source.high_leg:
        half_v = phase_v if phase_v is not None else (line_v or 0.0) / 2
        # from the tap the corners of the triangle stand half a side to either end, and a height away
        return {
            line: cmath.rect(half_v * (math.sqrt(3) if line == HIGH_LEG else 1.0), -math.pi / 2 * LINES.index(line))
            for line in phases
        }
    opposite = False
    if len(phases) == 2 and source.system != "three-phase":
        opposite = source.system == "split-phase" or phase_v is None or line_v is None or line_v / phase_v > 1.9
    if phase_v is None:
        assert line_v is not None
        phase_v = line_v / 2 if opposite else line_v / math.sqrt(3)
    found = {}
    for number, phase in enumerate(phases):
        place = (group_phases or {}).get(source.id, phase) if len(phases) == 1 else phase
        turn = math.pi * number if opposite else 2 * math.pi / 3 * LINES.index(place)
        if len(phases) == 1 and source.system == "split-phase":
            turn = math.pi * (place != "L1")
        found[phase] = cmath.rect(phase_v, -turn)
    return found


def utility(source: Source, smallest: bool, loop_in_line: bool = False) -> Supply:
    """The supply behind its terminals, for the smallest or the largest fault current.

    Smallest: the declared loop impedance (else the declared minimum current), as a resistance, since a resistance adds most to
    cables that are resistances themselves.  Largest: the declared maximum current, as a reactance, since that adds least.  Line
    and return conductor have half of the loop each; of a TT supply the electrode has what they leave, which is nearly all of it, or
    half of it with ``loop_in_line``.  Of lines with unlike voltages the one counts that makes the current the
    smallest, or the largest.
    """
    emfs = line_emfs_v(source)
    if isinstance(emfs, Missing):
        return Supply(emfs, emfs, emfs, None)
    phase_v = (max if smallest else min)(abs(emf) for emf in emfs.values())
    ampere = source.fault_current_min_a if smallest else source.fault_current_max_a
    live = None if not ampere else phase_v / ampere * (1 if source.fault_current_kind == "three-phase" else 0.5)
    if not smallest:
        if live is None or (source.high_leg and source.fault_current_kind == "three-phase"):
            why = f"{source.id}: the largest current to the tap of a delta does not follow from that of three lines"
            lacking = Missing(f"the fault-current of {source.id}", source.route, why if live else "")
            return Supply(lacking, lacking, lacking, None)
        return Supply(1j * live, 1j * live, 1j * live, None)
    loop = source.loop_impedance_ohm
    star: float | Missing | None = None
    if source.earthing == "TT":
        outside = Missing(f"the loop-impedance of {source.id}", source.route)
        if loop and loop_in_line:
            return Supply(complex(loop / 2), complex(loop / 2), None, loop / 2)
        star = outside if not loop else max(loop - (live or 0.0), 1e-3)
        return Supply(complex(live) if live else None, complex(live) if live else None, None, star)
    if source.earthing == "IT":
        if live is None and source.fault_current_max_a:
            live = phase_v / source.fault_current_max_a / 2
        lacking = Missing(f"the fault-current of {source.id}", source.route)
        return Supply(complex(live) if live else lacking, complex(live) if live else lacking, None, None)
    if loop is not None:
        half = complex(loop / 2)
        return Supply(half, half, half, None)
    if live is not None and source.earthing == "TN-C-S":
        return Supply(complex(live), complex(live), complex(live), None)
    lacking = Missing(f"the loop-impedance of {source.id}", source.route)
    return Supply(lacking, lacking, lacking, None)


def generator(source: Source) -> complex | Missing:
    """Impedance of each winding of a generating set in ohm, such that a fault to its star point meets a third of its sequences.

    One line: x'' alone.  Several lines: x'', x2 and x0, all declared.
    """
    emfs = line_emfs_v(source)
    if isinstance(emfs, Missing):
        return emfs
    if source.high_leg:
        return tapped_winding(source)
    if source.rating_va is None:
        return Missing(f"the rating of {source.id}", source.route)
    if source.subtransient_reactance is None:
        return Missing(f"the subtransient-reactance of {source.id}", source.route)
    phase_v = abs(next(iter(emfs.values())))
    base_ohm = phase_v**2 * len(source.phases) / source.rating_va
    positive = 1j * source.subtransient_reactance * base_ohm
    if len(source.phases) < 3:
        return positive
    for value, key in (
        (source.negative_sequence_reactance, "negative-sequence-reactance"),
        (source.zero_sequence_reactance, "zero-sequence-reactance"),
    ):
        if value is None:
            return Missing(f"the {key} of {source.id}", source.route)
    assert source.negative_sequence_reactance is not None and source.zero_sequence_reactance is not None
    try:
        return generators.earth_fault_impedance_ohm(
            positive,
            1j * source.negative_sequence_reactance * base_ohm,
            1j * source.zero_sequence_reactance * base_ohm,
        )
    except ValueError as refused:
        return Missing(f"the reactances of {source.id}", source.route, f"{source.id}: {refused}")


def tapped_winding(source: Source) -> Missing:
    """Why the impedances of a delta with a tap are not known: they do not follow from its rating, and no sequence holds for them."""
    why = f"{source.id}: the impedance of a winding with a tap does not follow from what is declared"
    return Missing(f"the impedance of {source.id}", source.route, why)


def transformer(source: Source) -> complex | Missing:
    """Short-circuit impedance of a transformer in ohm a winding of the secondary, taken as a reactance."""
    emfs = line_emfs_v(source)
    if isinstance(emfs, Missing):
        return emfs
    if source.high_leg:
        return tapped_winding(source)
    for value, key in ((source.rating_va, "rating"), (source.impedance, "impedance")):
        if value is None:
            return Missing(f"the {key} of {source.id}", source.route)
    assert source.rating_va is not None and source.impedance is not None
    phase_v = abs(next(iter(emfs.values())))
    lines = len(source.phases)
    winding_v = phase_v if lines != 3 else phase_v * math.sqrt(3)
    rating_va = source.rating_va if lines != 2 else source.rating_va / 2
    try:
        return transformers.impedance_ohm(rating_va, winding_v, source.impedance)
    except ValueError as refused:
        return Missing(f"the impedance of {source.id}", source.route, f"{source.id}: {refused}")


_LEAST_SUSTAINED = generators.UNDECLARED_SUSTAINED_TIMES_RATED[0]


def undeclared_generator(source: Source) -> complex | Missing:
    """A resistance in ohm that stands for a generating set of which nothing is declared but its rating: rated current at most.

    A set gives more than its rated current into a fault at first and at least 0.3 of it for good (see
    :mod:`onebond.circuit.components.generators`), so with :func:`capability` this is a lower bound.
    """
    emfs = line_emfs_v(source)
    if isinstance(emfs, Missing):
        return emfs
    if source.high_leg:
        return tapped_winding(source)
    rated = rated_a(source)
    if isinstance(rated, Missing):
        return rated
    return complex(abs(next(iter(emfs.values()))) / rated)


class Capability(NamedTuple):
    """What a source that limits its current gives into a fault: the current in A, until when (s), and whether that is declared."""

    limit_a: float
    until_s: float | None
    declared: bool
    collapses: bool = False  # after that time it gives nothing at all: the fault is cleared by that
    lacking: Missing | None = None
    ahead: str = ""  # the source ahead of a transformer whose limit it is


def rated_a(source: Source) -> float | Missing:
    """Rated current of each line in A."""
    emfs = line_emfs_v(source)
    if isinstance(emfs, Missing):
        return emfs
    if source.rating_va is None:
        return Missing(f"the rating of {source.id}", source.route)
    phase_v = abs(next(iter(emfs.values())))
    if source.high_leg:
        phase_v *= 2 / math.sqrt(3)  # a third of the power at each line, as in a star of the same line voltage
    return source.rating_va / (phase_v * len(source.phases))


def capability(source: Source) -> Capability | Missing | None:
    """The current that a source holds into a fault; ``None``: nothing limits it but its impedance.

    An inverter without a declared limit gives at least its rated current, and nothing more is known of it.  A generating set
    is held to what its maker says of its excitation; without that what follows the first cycles is not known.
    """
    if source.kind not in ("inverter", "generator"):
        return None
    limit: Limit | None = source.fault_limit
    rated = rated_a(source)
    if isinstance(rated, Missing) and limit is not None and limit.current_a is not None:
        rated = limit.current_a  # a limit in ampere needs no rating
    if isinstance(rated, Missing):
        return rated
    if source.kind == "inverter":
        until = source.shutdown_s
        if limit is None:
            lacking = Missing(f"the fault-current of {source.id}", source.route)
            return Capability(rated, until, False, until is not None, lacking)
        if limit.for_s is not None:
            until = limit.for_s if until is None else min(until, limit.for_s)
        try:
            ampere = inverters.limit_a(rated, limit.current_a, limit.times_rated)
        except ValueError as refused:
            return Missing(f"the fault-current of {source.id}", source.route, f"{source.id}: {refused}")
        assert ampere is not None
        return Capability(ampere, until, True, until is not None)
    if limit is None:
        lacking = Missing(f"the sustained-fault-current of {source.id}", source.route)
        return Capability(_LEAST_SUSTAINED * rated, None, False, False, lacking)
    held = generators.sustained(rated, limit.current_a, limit.times_rated, limit.for_s)
    assert held is not None
    # what the excitation holds ends after its time, and a fault that lasts is then fed by less: nothing is cleared by that
    return Capability(held.current_a, limit.for_s, True)
