"""Sizes of protective conductors, PEN, links, earthing and bonding conductors: just below what is asked, and exactly that.

What is asked is taken from the tables by hand (``common``), never from onebond.  A size exactly at the table is an equivalent site.
"""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    AS_NZS_5_1,
    BEFORE_MM2,
    NEC_250_122,
    NEC_SMALLEST_JUMPER,
    Group,
    Operator,
    Site,
    Told,
    added,
    amount,
    any_of,
    awg,
    book,
    changed,
    class_one,
    cores,
    finds,
    guarded,
    iec_54_2,
    isolated_system,
    landing,
    largest_line_mm2,
    lines,
    links,
    mm2,
    of,
    pen_boards,
    place,
    section,
    size,
    utilities,
    without,
)

FAR = frozenset(("disconnection-too-slow", "voltage-drop-high"))
"""A smaller conductor on the way of a fault also lets less current flow."""


def _by_circuit(site: Site, identifier: str, key: str, text: str) -> Site:
    after = changed(site)
    of(after, "circuits", identifier)[key] = text
    return after


# -- PE of cables --------------------------------------------------------------------------------------------------------------


def thin_pe_of_circuit(site: Site) -> Iterator[Told]:
    """A PE far below the lines, where breakers alone end a fault.

    The thin PE also lowers the fault current: either it does not stand the heat, or the breaker does not open at once any more, which
    is then the same defect seen from the other side.
    """
    grid = [one for one in utilities(site).values() if "loop-impedance" in one]
    for identifier, circuit in section(site, "circuits").items():
        large = any((amount(one.get("rating"), "A") or 0) >= 20 for one in circuit.get("through") or [])
        if (
            grid
            and large
            and class_one(circuit)
            and "extraneous" not in site
            and mm2(circuit)
            and not guarded(site, identifier)
        ):
            must = (any_of(("pe-small", identifier), ("disconnection-too-slow", identifier)),)
            yield Told(
                identifier,
                _by_circuit(site, identifier, "pe-size", "0.5 mm2"),
                must,
                frozenset(("disconnection-too-slow",)),
            )


def thin_pe_behind_a_fuse(site: Site) -> Iterator[Told]:
    """A feeder whose fuse may take seconds, with a PE of 1 mm2.  Where it lets so little flow that nothing clears it, that is found.

    A gG fuse of In has not opened for certain in 5 s at 3 In (IEC 60269-1: the conventional fusing current is 1.6 In, and 5 s take
    more than 3 In from 25 A on, from memory): (3 * 25 A)**2 * 5 s need 1.46 mm2 at k = 115.
    """
    for identifier, link in section(site, "connections").items():
        fuses = [one for one in link.get("through") or [] if one["kind"] == "fuse"]
        gg = [amount(one.get("rating"), "A") or 0 for one in fuses if one.get("class") == "gG"]
        # an RCD beside the fuse is quicker than it
        quick = any(one["kind"] in ("rcd", "rcbo") for one in link.get("through") or [])
        if "PE" in cores(link) and lines(link) and gg and max(gg) >= 25 and (mm2(link) or 0) >= 2.5 and not quick:
            after = changed(site)
            of(after, "connections", identifier)["pe-size"] = "1 mm2"
            must = any_of(("pe-small", identifier), "disconnection-too-slow")
            yield Told(identifier, after, (must,), frozenset(("disconnection-too-slow",)))


def nec_pe(circuit: Site) -> tuple[int, int] | None:
    """AWG that NEC 250.122 asks of the PE, no more than the lines, and AWG of the lines; None outside the short table."""
    rating = max((amount(one.get("rating"), "A") or 0 for one in circuit.get("through") or []), default=0.0)
    line = awg(circuit.get("size"))
    asked = next((number for limit, number in NEC_250_122 if rating <= limit), None)
    if not rating or line is None or asked is None or "pe-by" in circuit or "PE" not in cores(circuit):
        return None
    return max(asked, line), line


def nec_pe_just_below(site: Site) -> Iterator[Told]:
    """One size below NEC 250.122, which goes by the overcurrent device, whatever the heat.  On a long circuit less flows in a fault too."""
    for identifier, circuit in section(site, "circuits").items() if book(site) == "nec" else ():
        asked = nec_pe(circuit)
        if asked:
            after = _by_circuit(site, identifier, "pe-size", f"{asked[0] + 2} AWG")
            also = frozenset(("disconnection-too-slow", "source-too-weak-to-trip"))
            yield Told(identifier, after, (finds("pe-small", identifier),), also)


def nec_pe_at_the_table(site: Site) -> Iterator[Told]:
    for identifier, circuit in section(site, "circuits").items() if book(site) == "nec" else ():
        asked = nec_pe(circuit)
        if asked:
            yield Told(identifier, _by_circuit(site, identifier, "pe-size", f"{asked[0]} AWG"))


def pe_by_the_table(site: Site) -> Iterator[Told]:
    """The PE of a circuit exactly as IEC 60364-5-54 table 54.2 asks; below 25 mm2 that is the size of the lines."""
    for identifier, circuit in section(site, "circuits").items():
        line = mm2(circuit)
        if line and book(site) in ("iec", "bs7671", "sans") and "PE" in cores(circuit) and "material" not in circuit:
            yield Told(identifier, _by_circuit(site, identifier, "pe-size", size(iec_54_2(line))))


def _alone(site: Site, text: str) -> Iterator[tuple[str, Site]]:
    """A PE of its own beside a circuit, in place of the core of its cable."""
    if book(site) == "nec":
        return
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit) and mm2(circuit) == 2.5 and "length" in circuit:
            pe = {"from": place(circuit["from"]), "to": identifier, "cores": "PE", "size": text}
            after = added(site, "connections", "own-pe", {**pe, "length": str(circuit["length"])})
            without(of(after, "circuits", identifier), "PE")
            yield identifier, after


def pe_alone_too_thin(site: Site) -> Iterator[Told]:
    """Laid alone a PE has at least 2.5 mm2 of copper (543.1.3, with mechanical protection)."""
    for identifier, after in _alone(site, "1.5 mm2"):
        yield Told(identifier, after, (finds("pe-small", "own-pe"),))


def pe_alone_as_large_as_asked(site: Site) -> Iterator[Told]:
    for identifier, after in _alone(site, "2.5 mm2"):
        yield Told(identifier, after)


# -- PEN -----------------------------------------------------------------------------------------------------------------------


def least_pen(site: Site, link: Site) -> tuple[str, str] | None:
    """The least PEN of a cable and a size below it: 543.4.1; AS/NZS table 5.1; NEC 250.102(C)(1)."""
    if book(site) == "nec":
        line = awg(link.get("size"))
        return (f"{NEC_SMALLEST_JUMPER} AWG", f"{NEC_SMALLEST_JUMPER + 2} AWG") if line and line >= 2 else None
    line_mm2 = mm2(link)
    if line_mm2 is None:
        return None
    least = max(AS_NZS_5_1[line_mm2], 4.0) if book(site) == "as-nzs" else 10.0
    return size(least), size(BEFORE_MM2[least])


def pen_just_too_thin(site: Site) -> Iterator[Told]:
    """One size below the least PEN: not reliable any more, so that its loss counts, and it may let too little current flow."""
    for _, identifier, link in links(site):
        if "PEN" in cores(link) and (sizes := least_pen(site, link)):
            after = changed(site)
            of(after, "connections", identifier)["n-size"] = sizes[1]
            also = frozenset(("single-failure-dangerous", *FAR))
            yield Told(identifier, after, (finds("pen-small", identifier),), also)


def pen_at_the_least(site: Site) -> Iterator[Told]:
    """Exactly the least: large enough; by the books that say 10 mm2 of copper it is reliable too."""
    for _, identifier, link in links(site):
        if "PEN" in cores(link) and (sizes := least_pen(site, link)):
            after = changed(site)
            of(after, "connections", identifier)["n-size"] = sizes[0]
            small = book(site) in ("nec", "as-nzs")
            yield Told(identifier, after, (), frozenset(("single-failure-dangerous", *FAR) if small else ()))


def pen_of_thin_aluminium(site: Site) -> Iterator[Told]:
    """10 mm2 of aluminium: a PEN has at least 16 mm2 (543.4.1)."""
    for _, identifier, link in links(site):
        if "PEN" in cores(link) and mm2(link) and book(site) in ("iec", "bs7671", "sans"):
            after = changed(site)
            of(after, "connections", identifier).update({"material": "aluminium", "n-size": "10 mm2"})
            also = frozenset(("single-failure-dangerous", *FAR))
            yield Told(identifier, after, (finds("pen-small", identifier),), also)


def pen_far_too_thin(site: Site) -> Iterator[Told]:
    """1.5 mm2: whatever the book; so little current flows through it in a fault that nothing may open either."""
    for _, identifier, link in links(site):
        if "PEN" in cores(link) and "size" in link:
            after = changed(site)
            of(after, "connections", identifier)["n-size"] = "1.5 mm2"
            also = frozenset(("single-failure-dangerous", *FAR))
            yield Told(identifier, after, (finds("pen-small", identifier),), also)


# -- links ---------------------------------------------------------------------------------------------------------------------


def thin_bond(site: Site) -> Iterator[Told]:
    """The link where a supplier's PEN is split: what its fault current heats is more than any source of the site gives."""
    for identifier, bond in section(site, "bonds").items():
        if "size" in bond and place(bond["at"]) in pen_boards(site):
            after = changed(site)
            of(after, "bonds", identifier)["size"] = "0.5 mm2"
            yield Told(identifier, after, (finds("bond-small", identifier),))


def bond_by_table(site: Site, bond: Site) -> tuple[str, str] | None:
    """What the table of the book asks of a link by the largest line at its board, and the size below."""
    board = place(bond["at"])
    if book(site) == "nec":
        numbers = [awg(one.get("size")) for one in landing(site, board).values() if lines(one)]
        own = [one for one in numbers if one is not None]
        if len(own) != len(numbers) or not own or min(own) < 2:
            return None
        return f"{NEC_SMALLEST_JUMPER} AWG", f"{NEC_SMALLEST_JUMPER + 2} AWG"
    largest = largest_line_mm2(site, board)
    if largest is None:
        return None
    asked = AS_NZS_5_1[largest] if book(site) == "as-nzs" else iec_54_2(largest)
    return size(asked), ""


def nec_jumper_just_too_thin(site: Site) -> Iterator[Told]:
    """One size below NEC 250.102(C)(1); heat is no excuse there."""
    for identifier, bond in section(site, "bonds").items():
        if book(site) == "nec" and (sizes := bond_by_table(site, bond)):
            after = changed(site)
            of(after, "bonds", identifier)["size"] = sizes[1]
            yield Told(identifier, after, (finds("bond-small", identifier),))


def larger_service_same_jumper(site: Site) -> Iterator[Told]:
    """A service of 2/0 AWG with the jumper of the old one: NEC 250.102(C)(1) asks for 4 AWG, for PEN and link alike."""
    for _, identifier, link in links(site):
        if book(site) == "nec" and "PEN" in cores(link):
            after = changed(site)
            of(after, "connections", identifier)["size"] = "2/0 AWG"
            must: list[Group] = []
            for name, bond in section(site, "bonds").items():
                if place(bond["at"]) == place(link["to"]) and (awg(bond.get("size")) or 0) > 4:
                    must.append(finds("bond-small", name))
            if must:
                yield Told(identifier, after, tuple(must))


def bond_at_the_table(site: Site) -> Iterator[Told]:
    for identifier, bond in section(site, "bonds").items():
        if "size" in bond and (sizes := bond_by_table(site, bond)):
            after = changed(site)
            of(after, "bonds", identifier)["size"] = sizes[0]
            yield Told(identifier, after)


# -- earthing conductors ---------------------------------------------------------------------------------------------------------


def least_to_electrode(site: Site, electrode: Site) -> tuple[str, str] | None:
    """The least conductor to an electrode, and a size below: 542.3.1; BS 7671 table 54.1; AS/NZS table 5.1; NEC 250.66.

    NEC: 8 AWG with lines of up to 2 AWG, 6 AWG with 1 and 1/0 AWG; a rod never asks for more than 6 AWG (250.66(A)).
    """
    if book(site) == "nec":
        brought = [str(one.get("size")) for one in landing(site, place(electrode["at"])).values() if lines(one)]
        small = all((awg(one) or 0) >= 2 for one in brought)
        if not small and electrode.get("shape", "rod") != "rod":
            return None
        least = NEC_SMALLEST_JUMPER if small else NEC_SMALLEST_JUMPER - 2
        return f"{least} AWG", f"{least + 2} AWG"
    if book(site) == "as-nzs":
        board = place(electrode["at"])
        boards = {board}
        for one in landing(site, board).values():
            if cores(one) == ["PE"]:
                boards |= {place(one["from"]), place(one["to"])}
        found = [largest_line_mm2(site, one) for one in boards]
        largest = max((one for one in found if one is not None), default=None)
        if largest is None:
            return None
        least = max(AS_NZS_5_1[largest], 4.0)
        return size(least), size(BEFORE_MM2[least])
    return ("2.5 mm2", "1.5 mm2") if book(site) == "bs7671" else ("6 mm2", "4 mm2")


def earthing_conductor_just_too_thin(site: Site) -> Iterator[Told]:
    for identifier, electrode in section(site, "electrodes").items():
        if "conductor" in electrode and (sizes := least_to_electrode(site, electrode)):
            after = changed(site)
            of(after, "electrodes", identifier)["conductor"] = sizes[1]
            yield Told(identifier, after, (finds("earthing-conductor-small", identifier),))


def earthing_conductor_at_the_least(site: Site) -> Iterator[Told]:
    for identifier, electrode in section(site, "electrodes").items():
        if "conductor" in electrode and (sizes := least_to_electrode(site, electrode)):
            after = changed(site)
            of(after, "electrodes", identifier)["conductor"] = sizes[0]
            yield Told(identifier, after)


def earthing_conductor_of_aluminium(site: Site) -> Iterator[Told]:
    """10 mm2 of aluminium: at least 16 mm2 (542.3.1; by AS/NZS and NEC it goes by other clauses)."""
    for identifier, electrode in section(site, "electrodes").items():
        if "conductor" in electrode and book(site) in ("iec", "bs7671", "sans"):
            after = changed(site)
            of(after, "electrodes", identifier).update({"conductor": "10 mm2", "material": "aluminium"})
            yield Told(identifier, after, (finds("earthing-conductor-small", identifier),))


def thin_cable_to_the_earth_bar(site: Site) -> Iterator[Told]:
    """A conductor of 0.5 mm2 between the earth bar and a board: main bonding where another one leads there, earthing conductor, or PE.

    One to a frame at which direct current alone arrives is left out: the tables ask nothing of it.
    """
    for identifier, link in section(site, "connections").items():
        ends = [landing(site, place(link[end])) for end in ("from", "to")]
        direct = any(
            any("DC+" in cores(one) for one in end.values()) and not any(map(lines, end.values())) for end in ends
        )
        if cores(link) == ["PE"] and "size" in link and not direct:
            after = changed(site)
            of(after, "connections", identifier)["size"] = "0.5 mm2"
            rules = ("earthing-conductor-small", "bonding-conductor-small", "pe-small")
            yield Told(identifier, after, (any_of(*((rule, identifier) for rule in rules)),))


# -- bonding ---------------------------------------------------------------------------------------------------------------------


def _pairs(site: Site, main: bool) -> Iterator[tuple[str, str]]:
    """A board and the main earthing terminal that is drawn, or two boards at which neither is nor an electrode."""
    rods = {place(one["at"]) for one in section(site, "electrodes").values()}
    bars = {name for name, one in section(site, "boards").items() if one.get("bars") == "PE"}
    met = bars if main else bars | rods
    if isolated_system(site) or not met or any("building" in one for one in section(site, "boards").values()):
        return
    inner = {name for name, one in section(site, "boards").items() if one.get("inside")}
    boards = [one for one in section(site, "boards") if one not in inner | met]
    earthed = [one for one in boards if any("PE" in cores(link) for link in landing(site, one).values())]
    for board in earthed:
        if main and not any(cores(link) == ["PE"] for link in landing(site, board).values()):
            for terminal in sorted(met & set(section(site, "boards"))):
                yield board, terminal
        for other in () if main else earthed[earthed.index(board) + 1 :]:
            yield board, other


def _bonding(site: Site, ends: tuple[str, str], text: str) -> Site:
    cable = {"from": ends[0], "to": ends[1], "cores": "PE", "size": text, "length": "8 m"}
    return added(site, "connections", "new-bonding", cable)


def thin_main_bonding(site: Site) -> Iterator[Told]:
    """Bonding to the main earthing terminal of 4 mm2, below the 6 mm2 of 544.1.1 (AS/NZS: 2.5 of 4 mm2; NEC: 10 of 8 AWG).

    Where it is a second way to the electrodes it is an earthing conductor too, of which no less is asked.
    """
    thin = {"as-nzs": "2.5 mm2", "nec": "10 AWG"}.get(book(site), "4 mm2")
    for ends in _pairs(site, True):
        yield Told(" to ".join(ends), _bonding(site, ends, thin), (_MAIN,))


_MAIN = any_of(("bonding-conductor-small", "new-bonding"), ("earthing-conductor-small", "new-bonding"))


def thin_supplementary_bonding(site: Site) -> Iterator[Told]:
    """Bonding between two boards of 1.5 mm2, below the 2.5 mm2 of 544.2 (NEC and AS/NZS size none)."""
    for ends in _pairs(site, False) if book(site) in ("iec", "bs7671", "sans") else ():
        yield Told(
            " to ".join(ends), _bonding(site, ends, "1.5 mm2"), (finds("bonding-conductor-small", "new-bonding"),)
        )


def bonding_of_thin_aluminium(site: Site) -> Iterator[Told]:
    """Aluminium of 10 mm2, below the 16 mm2 that it has at least (544.1.1 ?)."""
    for ends in _pairs(site, True) if book(site) in ("iec", "bs7671", "sans") else ():
        after = _bonding(site, ends, "10 mm2")
        of(after, "connections", "new-bonding")["material"] = "aluminium"
        yield Told(" to ".join(ends), after, (_MAIN,))


def ample_main_bonding(site: Site) -> Iterator[Told]:
    """25 mm2 of copper, the most that main bonding is ever asked to have (544.1.1)."""
    for ends in _pairs(site, True):
        yield Told(" to ".join(ends), _bonding(site, ends, "25 mm2"))


OPERATORS: tuple[Operator, ...] = (
    *(thin_pe_of_circuit, thin_pe_behind_a_fuse, nec_pe_just_below, nec_pe_at_the_table, pe_by_the_table),
    *(pe_alone_too_thin, pe_alone_as_large_as_asked, pen_just_too_thin, pen_at_the_least, pen_of_thin_aluminium),
    *(pen_far_too_thin, thin_bond, nec_jumper_just_too_thin, larger_service_same_jumper, bond_at_the_table),
    *(earthing_conductor_just_too_thin, earthing_conductor_at_the_least, earthing_conductor_of_aluminium),
    *(thin_cable_to_the_earth_bar, thin_main_bonding, thin_supplementary_bonding, bonding_of_thin_aluminium),
    *(ample_main_bonding,),
)
