"""Equivalent sites: something is changed and nothing is worse, so nothing may be said.  Those at a limit stand beside its defects."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    NEXT_MM2,
    Operator,
    Site,
    Told,
    added,
    bonded_by,
    changed,
    class_one,
    cores,
    mm2,
    of,
    section,
    size,
)
from operators.earthing import electrode_above, tt_limits


def electrode_aside(site: Site) -> Iterator[Told]:
    """An electrode at the end of a circuit, beside the PE that it has."""
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit) and section(site, "electrodes"):
            rod = {"at": identifier, "resistance": "30 ohm", "conductor": "16 mm2"}
            yield Told(identifier, added(site, "electrodes", "aside", rod))


def note_added(site: Site) -> Iterator[Told]:
    """A word for people."""
    for board in section(site, "boards"):
        after = changed(site)
        of(after, "boards", board)["note"] = "painted grey"
        yield Told(board, after)


def larger_cable(site: Site) -> Iterator[Told]:
    """The next size of a circuit, with its PE: better or as good; only a short circuit at its end is larger."""
    for identifier, circuit in section(site, "circuits").items():
        larger = NEXT_MM2.get(mm2(circuit) or 0)
        if larger and not bonded_by(site, identifier):  # bonding goes by the PE of the cable (544.2)
            after = changed(site)
            entry = of(after, "circuits", identifier)
            entry["size"] = size(larger)
            if "PE" in cores(entry):
                entry["pe-size"] = entry["size"]
            yield Told(identifier, after)


def electrode_as_high_as_allowed(site: Site) -> Iterator[Told]:
    """50 V over the rated residual current of the head RCD (411.5.3), and no more than 200 ohm."""
    for electrode, limit in tt_limits(site):
        yield Told(electrode, electrode_above(site, limit, electrode))


def nec_single_rod_as_high_as_allowed(site: Site) -> Iterator[Told]:
    """NEC 250.53(A)(2): a single rod of 25 ohm is enough."""
    if site["site"]["rulebook"] == "nec":
        for electrode in section(site, "electrodes"):
            yield Told(electrode, electrode_above(site, 25, electrode))


def relay_as_slow_as_allowed(site: Site) -> Iterator[Told]:
    """Exactly the longest gap and the longest overlap that are allowed (see ``neutral``)."""
    sans = site["site"]["rulebook"] == "sans"
    for identifier, bond in section(site, "bonds").items():
        if "inverting" in (bond.get("closed") or {}).values():
            after = changed(site)
            entry = of(after, "bonds", identifier)
            entry["closes-after"], entry["opens-after"] = ("200 ms", "0 ms") if sans else ("400 ms", "40 ms")
            yield Told(identifier, after)


def second_rod(site: Site) -> Iterator[Told]:
    """One electrode more at the same place, with the same conductor."""
    for identifier, electrode in section(site, "electrodes").items():
        rod = {"at": str(electrode["at"]), "resistance": "40 ohm"}
        rod |= {key: electrode[key] for key in ("conductor", "material") if key in electrode}
        yield Told(identifier, added(site, "electrodes", "second-rod", rod))


def second_link_in_the_enclosure(site: Site) -> Iterator[Told]:
    """A second link at the place of the first: two ties in one enclosure are one reference (FORMAT)."""
    for identifier, bond in section(site, "bonds").items():
        if "impedance" not in bond and not any(one["at"] == identifier for one in site.get("waivers") or []):
            yield Told(identifier, added(site, "bonds", "second-link", dict(bond)))


OPERATORS: tuple[Operator, ...] = (
    *(electrode_aside, note_added, larger_cable, electrode_as_high_as_allowed, nec_single_rod_as_high_as_allowed),
    *(relay_as_slow_as_allowed, second_rod, second_link_in_the_enclosure),
)
