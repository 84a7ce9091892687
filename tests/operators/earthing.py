"""Protective conductors and electrodes: there or not, switched or not, joined or not."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    Group,
    Operator,
    Site,
    Told,
    added,
    any_of,
    bonded_by,
    changed,
    class_one,
    cores,
    finds,
    isolated_system,
    landing,
    lines,
    links,
    name_of,
    of,
    own_sources,
    place,
    residual_devices,
    section,
    utilities,
    without,
)


def drop_pe_of_circuit(site: Site) -> Iterator[Told]:
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit):
            after = changed(site)
            without(of(after, "circuits", identifier), "PE")
            yield Told(identifier, after, (finds("pe-missing", identifier),))


def _earthed_by(site: Site, board: str) -> list[str]:
    """The cables that bring a protective conductor to a board."""
    return [
        i for i, one in landing(site, board).items() if {"PE", "PEN"} & set(cores(one)) and place(one["to"]) == board
    ]


def _rods_at(site: Site, board: str) -> list[str]:
    return [i for i, one in section(site, "electrodes").items() if place(one["at"]) == board]


def _pe_feeders(site: Site) -> Iterator[tuple[str, str, Site]]:
    """Board, cable and entry where the PE of one cable is all that earths a board with frames."""
    for board, entry in section(site, "boards").items():
        ways = _earthed_by(site, board)
        behind = [one for one in landing(site, board).values() if place(one["from"]) == board and "PE" in cores(one)]
        if len(ways) == 1 and not behind and not _rods_at(site, board) and entry.get("bars") != "PE":
            link = of(site, "connections", ways[0])
            if "PE" in cores(link) and lines(link) and "lands-on" not in link:
                yield board, ways[0], link


def drop_pe_of_feeder(site: Site) -> Iterator[Told]:
    """The PE of the cable to a board: its frames and those of its circuits lose their earth.  A link there that goes with it is behind."""
    bonded = {place(one["at"]) for one in section(site, "bonds").values()}
    for board, cable, _ in _pe_feeders(site):
        if board not in bonded:
            after = changed(site)
            without(of(after, "connections", cable), "PE")
            yield Told(f"{board} {cable}", after, (finds("pe-missing"),))


def tt_without_electrode(site: Site) -> Iterator[Told]:
    """In TT the electrode is the only earth there is."""
    if any(one["earthing"] == "TT" for one in utilities(site).values()) and not section(site, "bonds"):
        after = changed(site)
        del after["electrodes"]
        must: tuple[Group, ...] = (finds("pe-missing"),)
        yield Told("electrodes", after, (*must, finds("electrode-missing")) if own_sources(site) else must)


def pe_through_a_pole(site: Site) -> Iterator[Told]:
    """PE among the poles of a device (543.3.3 ?), which else does what it did."""
    for name, identifier, link in links(site):
        for number, device in enumerate(link.get("through") or []):
            if "PE" in cores(link) and device["kind"] not in ("fuse", "meter"):  # a meter opens nothing
                after = changed(site)
                _with_pole(of(after, name, identifier), number, "PE")
                # worked in service, or with the neutral among its poles, it has an open position that counts
                opens = device.get("operable") or "N" in _with_pole(of(changed(site), name, identifier), number, "PE")
                also = frozenset(("electrode-missing", "neutral-unreferenced")) if opens else frozenset()
                yield Told(f"{identifier} {number}", after, (finds("pe-switched", name_of(device, identifier)),), also)


def _with_pole(link: Site, number: int, core: str) -> list[str]:
    """Give a device of a cable one pole more; its poles."""
    device = link["through"][number]
    own = [one for one in cores(link) if one.startswith(("L", "DC")) or one == "M"]
    if device["kind"] not in ("mcb", "mccb", "fuse"):
        own += [one for one in cores(link) if one == "N"]
    device["poles"] = f"{device.get('poles', ' '.join(own))} {core}"
    return str(device["poles"]).split()


def changeover_switches_pe(site: Site) -> Iterator[Told]:
    """One pole too many on a changeover: the frames behind lose the earth of the source that does not feed."""
    for identifier, changeover in section(site, "changeovers").items():
        if any("PE" in cores(one) for one in landing(site, identifier).values()):
            after = changed(site)
            of(after, "changeovers", identifier)["poles"] = f"{changeover['poles']} PE"
            also = frozenset(("electrode-missing",))
            yield Told(identifier, after, (finds("pe-switched", identifier),), also)


def switch_in_the_earth_lead(site: Site) -> Iterator[Told]:
    """A disconnecting link for measuring, described as a switch that is worked in service."""
    for identifier, link in section(site, "connections").items():
        if cores(link) == ["PE"]:
            after = changed(site)
            opened = {"kind": "isolator", "poles": "PE", "operable": "yes", "id": "q-earth"}
            of(after, "connections", identifier)["through"] = [opened]
            also = frozenset(("electrode-missing",))
            if {place(link["from"]), place(link["to"])} & set(section(site, "circuits")):
                also |= {"disconnection-too-slow"}  # what stood in for it was that bonding (415.2)
            yield Told(identifier, after, (finds("pe-switched", "q-earth"),), also)


def _pens(site: Site) -> Iterator[tuple[str, Site]]:
    for _, identifier, link in links(site):
        if "PEN" in cores(link):
            yield identifier, link


def pen_through_a_pole(site: Site) -> Iterator[Told]:
    """PEN among the poles of a switch or breaker: with it open the loads lift all frames."""
    for identifier, link in _pens(site):
        for number, device in enumerate(link.get("through") or []):
            if device["kind"] not in ("fuse", "meter"):  # a meter opens nothing
                after = changed(site)
                _with_pole(of(after, "connections", identifier), number, "PEN")
                must = (finds("pen-switched", name_of(device, identifier)),)
                yield Told(f"{identifier} {number}", after, must)


def fuse_in_the_pen(site: Site) -> Iterator[Told]:
    for identifier, link in _pens(site):
        for number, device in enumerate(link.get("through") or []):
            if device["kind"] == "fuse":
                after = changed(site)
                _with_pole(of(after, "connections", identifier), number, "PEN")
                yield Told(identifier, after, (finds("pen-switched", name_of(device, identifier)),))


def rcd_in_the_pen(site: Site) -> Iterator[Told]:
    """An RCD that opens and sums the PEN: a fault current comes back by it, so it sees nothing (531.3.2 ?)."""
    for identifier, link in _pens(site):
        after = changed(site)
        own = " ".join(cores(link))
        head = {"kind": "rcd", "rating": "100 A", "residual": "300 mA", "type": "A", "poles": own, "id": "rcd-pen"}
        entry = of(after, "connections", identifier)
        entry["through"] = [*(entry.get("through") or []), head]
        must = (finds("pen-switched", "rcd-pen"),)
        # what it leads to, links, inputs and RCDs of circuits, is behind an RCD then
        also = frozenset(("bond-behind-rcd", "inverter-fed-behind-rcd", "rcd-not-selective", "rcd-type-unsuitable"))
        yield Told(identifier, after, must, also)


# -- electrodes ---------------------------------------------------------------------------------------------------------------


def earth_bar_cut(site: Site) -> Iterator[Told]:
    """The conductor from the main earthing terminal to the board is not there: the electrodes hang on nothing."""
    own = own_sources(site)
    for identifier, link in section(site, "connections").items():
        ends = (place(link["from"]), place(link["to"]))
        bars = [end for end in ends if section(site, "boards").get(end, {}).get("bars") == "PE"]
        if cores(link) == ["PE"] and own and any(_rods_at(site, end) for end in bars):
            after = changed(site)
            del after["connections"][identifier]
            yield Told(identifier, after, (finds("electrode-missing"),))


def electrode_at_a_loose_frame(site: Site) -> Iterator[Told]:
    """The only electrode at the frame of a circuit whose PE is not there: it earths that frame alone.

    The frame is then a TT place beside the rest, and needs an RCD; the islands of the site's own sources have no electrode.
    """
    own = own_sources(site)
    if len(section(site, "electrodes")) != 1 or not own or any("mounted" in one for one in own):
        return
    if any(one["earthing"] == "TT" for one in utilities(site).values()):
        return
    (rod,) = section(site, "electrodes")
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit):
            after = changed(site)
            without(of(after, "circuits", identifier), "PE")
            of(after, "electrodes", rod)["at"] = identifier
            yield Told(identifier, after, (finds("electrode-missing"),), _TT_PLACE)


_TT_PLACE = frozenset(("rcd-missing", "disconnection-too-slow"))
"""What a frame on an electrode of its own may lack: an RCD, and a current that something on the way sees."""


def outlying_rod(site: Site) -> Iterator[Told]:
    """A class I load on a rod of its own instead of the PE of its cable (411.3.1.1 ?)."""
    if not section(site, "electrodes") or any("building" in one for one in section(site, "circuits").values()):
        return
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit) and not bonded_by(site, identifier):  # else the bonding still joins it
            rod = {"at": identifier, "resistance": "20 ohm", "conductor": "16 mm2"}
            after = added(site, "electrodes", "yard-rod", rod)
            without(of(after, "circuits", identifier), "PE")
            yield Told(identifier, after, (finds("electrodes-not-joined", "yard-rod"),), _TT_PLACE)


def outlying_board_on_its_rod(site: Site) -> Iterator[Told]:
    """The same with a whole board."""
    bonded = {place(one["at"]) for one in section(site, "bonds").values()}
    if not section(site, "electrodes") or any("building" in one for one in section(site, "boards").values()):
        return
    for board, cable, link in _pe_feeders(site):
        if board in bonded or place(link["from"]) in section(site, "sources"):
            continue
        rod = {"at": board, "resistance": "20 ohm", "conductor": "16 mm2"}
        after = added(site, "electrodes", "yard-rod", rod)
        without(of(after, "connections", cable), "PE")
        yield Told(f"{board} {cable}", after, (finds("electrodes-not-joined", "yard-rod"),), _TT_PLACE)


def buildings_forgotten(site: Site) -> Iterator[Told]:
    """Two earths that no conductor joins are permitted in two buildings, and that they are two has to be written."""
    apart = {str(one["building"]) for one in section(site, "boards").values() if "building" in one}
    joined = any("PEN" in cores(one) and place(one["from"]) in section(site, "boards") for _, one in _pens(site))
    if len(apart) > 1 and len(section(site, "electrodes")) > 1 and not joined:
        after = changed(site)
        for name in ("boards", "circuits", "sources", "changeovers"):
            for identifier in section(after, name):
                of(after, name, identifier).pop("building", None)
        yield Told("buildings", after, (finds("electrodes-not-joined"),))


def electrode_above(site: Site, ohm: float, electrode: str) -> Site:
    after = changed(site)
    entry = of(after, "electrodes", electrode)
    kept = {key: entry[key] for key in ("at", "conductor", "material", "shape") if key in entry}
    after["electrodes"][electrode] = {**kept, "resistance": f"{int(ohm * 100) / 100:g} ohm"}
    return after


def tt_limits(site: Site) -> Iterator[tuple[str, float]]:
    """Electrodes that a TT place rests on, with 50 V over the rated residual current of its head (411.5.3), or 200 ohm."""
    for electrode, entry in section(site, "electrodes").items():
        ways = [
            one
            for one in landing(site, place(entry["at"])).values()
            if place(one["to"]) == place(entry["at"]) and lines(one)
        ]
        heads = [device for one in ways for device in residual_devices(one) if device["kind"] == "rcd"]
        if len(ways) == 1 and not {"PE", "PEN"} & set(cores(ways[0])) and heads and not isolated_system(site):
            residual, unit = str(heads[-1]["residual"]).split()
            yield electrode, min(50 / (float(residual) * (1e-3 if unit == "mA" else 1.0)), 200.0)


def electrode_just_too_high(site: Site) -> Iterator[Told]:
    for electrode, limit in tt_limits(site):
        after = electrode_above(site, limit * 1.005, electrode)
        yield Told(electrode, after, (finds("electrode-resistance-high", electrode),))


def dry_electrode(site: Site) -> Iterator[Told]:
    """So dry that 230 V drive less through it than half of the head RCD's rating: no device sees a fault."""
    for electrode, limit in tt_limits(site) if all("size" in one for one in section(site, "circuits").values()) else ():
        residual = 50 / limit if limit < 200 else 0.03
        after = electrode_above(site, 230 / (0.5 * residual), electrode)
        must = (finds("electrode-resistance-high", electrode), any_of("rcd-blind"))
        yield Told(electrode, after, must, frozenset(("disconnection-too-slow",)))


def nec_single_rod_too_high(site: Site) -> Iterator[Told]:
    """NEC 250.53(A)(2): a single rod of more than 25 ohm needs a second one."""
    if site["site"]["rulebook"] == "nec":
        for electrode in section(site, "electrodes"):
            after = electrode_above(site, 26, electrode)
            yield Told(electrode, after, (finds("electrode-resistance-high", electrode),))


OPERATORS: tuple[Operator, ...] = (
    *(drop_pe_of_circuit, drop_pe_of_feeder, tt_without_electrode, pe_through_a_pole, changeover_switches_pe),
    *(switch_in_the_earth_lead, pen_through_a_pole, fuse_in_the_pen, rcd_in_the_pen, earth_bar_cut),
    *(electrode_at_a_loose_frame, outlying_rod, outlying_board_on_its_rod, buildings_forgotten),
    *(electrode_just_too_high, dry_electrode, nec_single_rod_too_high),
)
