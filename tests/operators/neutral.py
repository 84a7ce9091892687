"""Links between neutral and PE, references, and the poles that switch a neutral."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    WARM_OHM_KM,
    Group,
    Operator,
    Site,
    Told,
    accepted,
    added,
    amount,
    any_of,
    book,
    changed,
    cores,
    devices,
    feeding,
    finds,
    hanging,
    isolated_system,
    landing,
    lines,
    links,
    load_a,
    metres,
    mm2,
    name_of,
    of,
    output_board,
    own_sources,
    passing,
    pen_boards,
    place,
    rcd_groups,
    residual_devices,
    section,
    utilities,
    without,
)

SLOW = frozenset(("disconnection-too-slow",))
"""NEC has no RCD that stands in for a PE: there the fault that nothing clears is a finding of its own."""


def _no_link(site: Site, bond: str, after: Site) -> Told:
    """What follows where a link is gone: a PEN without its split, or a neutral that floats or rests on the supplier's earth.

    An island whose only reference it was and that has RCDs: they are blind.  Where the PEN lands on the earth bar, the N bar has lost
    its way back too.
    """
    board = place(site["bonds"][bond]["at"])
    landed = pen_boards(site).get(board)
    also = SLOW if book(site) == "nec" else frozenset()
    if landed is not None:
        if "lands-on" in landed:
            also |= {"neutral-borrowed"}
        return Told(bond, after, (finds("bond-missing-at-pen-split", board),), also)
    must: tuple[Group, ...] = (any_of("neutral-unreferenced", "island-reference-borrowed"),)
    if not utilities(site) and next(devices(site, "rcd", "rcbo"), None):
        must = (finds("neutral-unreferenced"), finds("rcd-blind"))
    return Told(bond, after, must, also)


def drop_bond(site: Site) -> Iterator[Told]:
    for identifier in section(site, "bonds"):
        if not accepted(site, identifier):
            after = changed(site)
            del after["bonds"][identifier]
            yield _no_link(site, identifier, after)


def bond_with_impedance(site: Site) -> Iterator[Told]:
    """A link through a kiloohm is no reference (FORMAT)."""
    for identifier in section(site, "bonds"):
        if not accepted(site, identifier):
            after = changed(site)
            of(after, "bonds", identifier)["impedance"] = "1 kohm"
            yield _no_link(site, identifier, after)


def _boards_with_a_neutral(site: Site) -> Iterator[str]:
    """Boards without a link at which every cable that lands brings N and PE."""
    bonded = {place(bond["at"]) for bond in section(site, "bonds").values()}
    for board, entry in section(site, "boards").items():
        ways = feeding(site, board).values()
        plain = not entry.get("inside") and entry.get("bars") != "PE" and board not in bonded
        if plain and ways and all({"N", "PE"} <= set(cores(one)) for one in ways):
            yield board


def add_bond(site: Site) -> Iterator[Told]:
    """A link at a board behind the first one: with a load there, about half of its neutral current returns by PE.

    In TT only the soil joins the two, and a broken neutral of the service lifts the frames that the link ties to it.
    """
    tt = any(one["earthing"] == "TT" for one in utilities(site).values())
    for board in _boards_with_a_neutral(site):
        after = added(site, "bonds", "one-too-many", {"at": board, "size": "16 mm2"})
        rule = "it-bonded" if isolated_system(site) else "neutral-bonded-twice"
        # a site may have an IT system behind a transformer beside one that is earthed
        must = [any_of((rule, "one-too-many"), ("neutral-bonded-twice", "one-too-many"))]
        if not isolated_system(site) and not tt and _loaded(site, board):
            must.append(finds("neutral-current-in-pe"))
        yield Told(board, after, tuple(must), frozenset(("single-failure-dangerous",) if tt else ()))


def _loaded(site: Site, board: str) -> bool:
    """Whether a board whose feeders are all of metric copper has a load of 2 A or more to the neutral, and no load of the site is open."""
    every = [one for one in section(site, "circuits").values() if not one.get("load")]
    sized = all(mm2(one) and metres(one) for one in feeding(site, board).values())
    return sized and not every and any((load_a(site, one) or 0) >= 2 for one in hanging(site, board).values())


def old_resistor(site: Site) -> Iterator[Told]:
    """A resistor of 1 ohm between N and PE: no reference, and a way for neutral current all the same.

    By hand: where the largest load of the board loses more than 0.3 V in the neutral of its feeder, more than 0.1 A takes that way.
    An RCD in that feeder sees it as a residual current, and may trip from half of its rated one on (IEC 61008-1).
    """
    for board in _boards_with_a_neutral(site):
        if isolated_system(site) or any(not one.get("load") for one in section(site, "circuits").values()):
            continue
        if any(one["earthing"] == "TT" for one in utilities(site).values()):
            continue  # one electrode and the soil keep that current small
        ways = list(feeding(site, board).values())
        ohm_km = WARM_OHM_KM.get(mm2(ways[0], "n-size") or 0) if len(ways) == 1 else None
        amperes = [load_a(site, one) or 0.0 for one in hanging(site, board).values() if len(lines(one)) == 1]
        if ohm_km and ohm_km / 1000 * (metres(ways[0]) or 0) * max(amperes, default=0.0) > 0.3:
            after = added(site, "bonds", "resistor", {"at": board, "impedance": "1 ohm", "size": "16 mm2"})
            must = [finds("neutral-current-in-pe")]
            cable = next(iter(feeding(site, board)))
            for device in residual_devices(ways[0]):
                if (amount(device.get("residual"), "A", "mA") or 1.0) / 2 <= 0.1:
                    must.append(finds("rcd-trips-in-service", name_of(device, cable)))
            yield Told(board, after, tuple(must))


def bond_moved_on(site: Site) -> Iterator[Told]:
    """The link of a PEN split at the next board instead: nothing joins N and PE where the PEN lands.

    The neutral is then tied to the supplier's earth, and once more behind it, where an electrode of the site is.  A fault at the first
    board, or at another one that it feeds, returns by the PE to the next board and by the neutral of that cable: the loop is longer by
    both, and what cleared it ahead of the first board may take its time, or leave the frames at a voltage for longer than hearts bear.
    """
    also = frozenset(("bond-behind-rcd", "neutral-bonded-twice", "disconnection-too-slow", "touch-voltage-high"))
    for identifier, bond in section(site, "bonds").items():
        board = place(bond["at"])
        if accepted(site, identifier) or board not in pen_boards(site) or "lands-on" in pen_boards(site)[board]:
            continue
        for link in section(site, "connections").values():
            far = place(link["to"])
            if place(link["from"]) == board and far in set(_boards_with_a_neutral(site)):
                after = changed(site)
                of(after, "bonds", identifier)["at"] = far
                must = (finds("bond-missing-at-pen-split", board),)
                yield Told(f"{identifier} to {far}", after, must, also)


def second_bond_behind_rcd(site: Site) -> Iterator[Told]:
    """A link on the bars behind a group RCD: the second one of the island wherever another holds."""
    for group, outer, inner, _ in rcd_groups(site):
        if isolated_system(site) or "N" not in cores(of(site, "connections", group)):
            continue
        after = added(site, "bonds", "group-link", {"at": inner, "size": "16 mm2"})
        tt = any(one["earthing"] == "TT" for one in utilities(site).values())
        also = frozenset(("neutral-bonded-twice", *(("single-failure-dangerous",) if tt else ())))
        yield Told(f"{outer} {group}", after, (finds("bond-behind-rcd", "group-link"),), also)


def bond_moved_behind_rcd(site: Site) -> Iterator[Told]:
    """The only link of a board on the bars behind its group RCD: what feeds through that RCD has its reference behind it."""
    for _, outer, inner, _ in rcd_groups(site):
        for identifier, bond in section(site, "bonds").items():
            if place(bond["at"]) == outer and outer not in pen_boards(site) and not accepted(site, identifier):
                after = changed(site)
                of(after, "bonds", identifier)["at"] = inner
                # what the RCD does not see any more its breakers, or the source, may not clear either
                also = frozenset(("source-too-weak-to-trip", "disconnection-too-slow"))
                yield Told(identifier, after, (finds("bond-behind-rcd", identifier), finds("rcd-blind")), also)


def rcd_ahead_of_the_link(site: Site) -> Iterator[Told]:
    """An RCD in the cable that brings the current to a board with a link: the neutral passes it by through PE."""
    if isolated_system(site):
        return
    for identifier, bond in section(site, "bonds").items() if not site.get("waivers") else ():
        ways = feeding(site, place(bond["at"]))
        for cable, link in ways.items():
            follows = section(site, "sources").get(place(link["from"]), {}).get("operation") == "grid-following"
            if follows or accepted(site, identifier) or "closed" in bond or "size" not in link:
                continue
            if not {"N", "PE"} <= set(cores(link)):
                continue
            after = changed(site)
            entry = of(after, "connections", cable)
            head = {"kind": "rcd", "rating": "100 A", "residual": "300 mA", "type": "A", "delay": "S", "id": "rcd-head"}
            entry["through"] = [*(entry.get("through") or []), head]
            yield Told(f"{identifier} {cable}", after, (finds("bond-behind-rcd", identifier), finds("rcd-blind")))


# -- changeovers -------------------------------------------------------------------------------------------------------------


def _switching(site: Site) -> Iterator[tuple[str, Site]]:
    """Changeovers that switch a neutral which lands on them from two sides, outside IT."""
    for identifier, one in section(site, "changeovers").items():
        brought = {
            str(end).partition(".")[2]
            for link in landing(site, identifier).values()
            for end in (link["from"], link["to"])
            if place(end) == identifier and {"N", "PEN"} & set(cores(link))
        }
        if "N" in str(one["poles"]).split() and len(brought - {""}) > 1 and not isolated_system(site):
            yield identifier, one


def solid_changeover(site: Site) -> Iterator[Told]:
    """The neutral of two sources, each with a reference of its own, joined by a changeover that leaves it solid.

    With a load behind another RCD of the site the neutral goes round it as well.
    """
    for identifier, changeover in _switching(site):
        after = changed(site)
        poles = " ".join(pole for pole in str(changeover["poles"]).split() if pole != "N")
        of(after, "changeovers", identifier)["poles"] = poles
        must = any_of(("changeover-neutral-solid", identifier), "neutral-bonded-twice")
        yield Told(identifier, after, (must,), frozenset(("neutral-borrowed", "sources-at-different-levels")))


def neutral_past_the_changeover(site: Site) -> Iterator[Told]:
    """A neutral core that somebody laid past a changeover, from an input to its common side."""
    for identifier, changeover in _switching(site) if not site.get("waivers") else ():
        inputs = [position for position in changeover["positions"] if position != "off"]
        ends = [one for one in landing(site, identifier).values() if str(one["from"]) == identifier]
        first = [one for one in landing(site, identifier).values() if str(one["to"]) == f"{identifier}.{inputs[0]}"]
        if len(ends) == 1 and len(first) == 1:
            link = {"from": str(first[0]["from"]), "to": place(ends[0]["to"]), "cores": "N", "size": "6 mm2"}
            after = added(site, "connections", "past", {**link, "length": "6 m"})
            yield Told(
                identifier,
                after,
                (any_of("neutral-bonded-twice", "neutral-borrowed"),),
                frozenset(("bond-behind-rcd",)),
            )


def floating_set_on_a_solid_changeover(site: Site) -> Iterator[Told]:
    """A set without a bond on a changeover without a neutral pole rests on the supply's earth.

    IEC 60364-4-44 444.4.7 and BS 7671 want the neutral of a TN system switched between sources; a link of the installation's own
    on the supply's side is a reference that stays, the supplier's star point one that goes with him.
    """
    for name, source in section(site, "sources").items():
        if source["kind"] != "generator" or source.get("neutral-bond") == "none" or isolated_system(site):
            continue
        for identifier, changeover in _switching(site):
            if any(
                place(one["to"]) == identifier and place(one["from"]) == name for one in landing(site, name).values()
            ):
                after = changed(site)
                of(after, "sources", name)["neutral-bond"] = "none"
                poles = " ".join(pole for pole in str(changeover["poles"]).split() if pole != "N")
                of(after, "changeovers", identifier)["poles"] = poles
                must: tuple[Group, ...] = ()
                if book(site) in ("iec", "bs7671"):
                    must = (finds("changeover-neutral-solid", identifier),)
                if not section(site, "bonds"):
                    must = (*must, finds("island-reference-borrowed", name))
                # with the supply's neutral open as well nothing is left
                yield Told(identifier, after, must, frozenset(("neutral-unreferenced",)))


def neutral_changed_alone(site: Site) -> Iterator[Told]:
    """Only the neutral of a changeover is switched, its lines are solid.

    The sources are then joined by their lines, fed back, bonded twice or without a neutral, each in the states that the site has;
    hence so many rules.
    """
    wide = (
        *("neutral-borrowed", "neutral-bonded-twice", "neutral-unreferenced", "island-reference-borrowed"),
        *("bond-missing-at-pen-split", "disconnection-too-slow", "breaking-capacity-low"),
    )
    for identifier, changeover in section(site, "changeovers").items():
        if "N" in str(changeover["poles"]).split():
            after = changed(site)
            of(after, "changeovers", identifier)["poles"] = "N"
            must = (
                finds("neutral-opens-first", identifier),
                any_of("sources-in-parallel", "inverter-feeds-itself", "backfeed"),
            )
            yield Told(identifier, after, must, frozenset(wide))


def device_forgets_a_line(site: Site) -> Iterator[Told]:
    """A breaker or switch that opens the neutral and leaves the first line closed."""
    for name, identifier, number, device in devices(site, "mcb", "mccb", "isolator", "switch"):
        own = cores(of(site, name, identifier))
        poles = str(device.get("poles", " ".join(one for one in own if one not in ("PE", "PEN")))).split()
        if device["kind"] in ("mcb", "mccb") and "poles" not in device:
            continue
        if "N" in poles and "N" in own:
            after = changed(site)
            of(after, name, identifier)["through"][number]["poles"] = " ".join(poles[1:])
            must = (finds("neutral-opens-first", name_of(device, identifier)),)
            # where the line that is left closed leads to a second source, that source is fed back and takes part in faults
            joined = {"sources-in-parallel", "disconnection-too-slow", "source-too-weak-to-trip"}
            several = len(section(site, "sources")) > 1
            yield Told(identifier, after, must, _OPEN_NEUTRAL | joined if several else _OPEN_NEUTRAL)


_OPEN_NEUTRAL = frozenset(("neutral-unreferenced", "neutral-borrowed", "single-failure-dangerous"))
"""While such a pole is open and its line is not, the loads behind have no way back and what is tied to earth behind it is tied alone."""


def fuse_in_the_neutral(site: Site) -> Iterator[Told]:
    for name, identifier, number, device in devices(site, "fuse"):
        own = cores(of(site, name, identifier))
        if "N" in own and not isolated_system(site):
            after = changed(site)
            poles = " ".join(core for core in own if core.startswith("L") or core == "N")
            of(after, name, identifier)["through"][number]["poles"] = poles
            must = (finds("neutral-opens-first", name_of(device, identifier)),)
            yield Told(identifier, after, must, frozenset(("single-failure-dangerous", "neutral-unreferenced")))


def isolator_in_the_neutral_alone(site: Site) -> Iterator[Told]:
    """A link in the neutral of a feeder that can be drawn by itself."""
    for identifier, link in section(site, "connections").items():
        if "N" in cores(link) and "size" in link and lines(link) and not link.get("plug"):
            after = changed(site)
            entry = of(after, "connections", identifier)
            drawn = {"kind": "isolator", "rating": "125 A", "poles": "N", "operable": "yes", "id": "n-link"}
            entry["through"] = [*(entry.get("through") or []), drawn]
            yield Told(identifier, after, (finds("neutral-opens-first", "n-link"),), _OPEN_NEUTRAL)


def switched_neutral(site: Site) -> Iterator[Told]:
    """In AS/NZS the neutral of the supply stays connected, and what relies on the link behind it loses it."""
    if book(site) == "as-nzs":
        for identifier, changeover in section(site, "changeovers").items():
            if "N" not in str(changeover["poles"]).split():
                after = changed(site)
                entry = of(after, "changeovers", identifier)
                entry["poles"] = f"{entry['poles']} N"
                must = (finds("changeover-neutral-switched", identifier), finds("neutral-unreferenced"))
                yield Told(identifier, after, must)


def inverter_opens_the_neutral(site: Site) -> Iterator[Told]:
    """In AS/NZS an inverter that opens the neutral between input and output, where its output rests on the one link ahead."""
    if book(site) == "as-nzs":
        for name, source in section(site, "sources").items():
            if source.get("neutral-through") == "solid" and source.get("neutral-bond") == "none":
                after = changed(site)
                of(after, "sources", name)["neutral-through"] = "switched"
                must = (finds("changeover-neutral-switched", name), finds("neutral-unreferenced", name))
                yield Told(name, after, must)


def taken_to_as_nzs(site: Site) -> Iterator[Told]:
    """A site with a four-pole changeover on the supply, judged by AS/NZS 3000, which wants that neutral solid (7.3.8.1.2).

    Its tables of sizes are others: what was sized by another book may be too small by this one.
    """
    for identifier, _ in _switching(site):
        direct = {place(one["from"]) for one in landing(site, identifier).values() if place(one["to"]) == identifier}
        if book(site) in ("iec", "bs7671") and direct & set(utilities(site)):
            after = changed(site)
            after["site"]["rulebook"] = "as-nzs"
            yield Told(identifier, after, (finds("changeover-neutral-switched", identifier),))


# -- sources and relays ------------------------------------------------------------------------------------------------------


def bonded_set(site: Site) -> Iterator[Told]:
    """A set that is tied to earth inside as well: a second link, or the one fault that IT may not have, by the states of the site."""
    for name, source in section(site, "sources").items():
        if source["kind"] == "generator" and source.get("neutral-bond") == "none":
            if not any("PE" in cores(link) for link in landing(site, name).values()):
                continue
            after = changed(site)
            of(after, "sources", name)["neutral-bond"] = "fixed"
            if source.get("earthing") == "IT":
                yield Told(name, after, (finds("it-bonded", name),))
            else:
                must = any_of(("neutral-bonded-twice", name), "changeover-neutral-solid")
                yield Told(name, after, (must,))


def relay_forgotten(site: Site) -> Iterator[Told]:
    """The relay inside an inverter left out: its island floats, or rests on what stays joined on the input side."""
    for name, source in section(site, "sources").items():
        if source.get("neutral-bond") == "while-inverting":
            after = changed(site)
            of(after, "sources", name)["neutral-bond"] = "none"
            yield Told(name, after, (any_of(("neutral-unreferenced", name), ("island-reference-borrowed", name)),))


def relay_never_opens(site: Site) -> Iterator[Told]:
    """A bond inside an inverter that stays closed while it passes: a second one, and behind an RCD one that the RCD cannot bear."""
    tt = any(one["earthing"] == "TT" for one in utilities(site).values())
    for name, source in section(site, "sources").items():
        if source.get("neutral-bond") == "while-inverting" and source.get("mains-input"):
            after = changed(site)
            of(after, "sources", name)["neutral-bond"] = "fixed"
            also = frozenset(("single-failure-dangerous",) if tt else ())
            must = [finds("neutral-bonded-twice", name)]
            if not tt and _loaded(site, output_board(site, name)):
                must.append(finds("neutral-current-in-pe"))
            yield Told(name, after, tuple(must), also)


def neutral_through_solid(site: Site) -> Iterator[Told]:
    """The neutral is joined through an inverter that ties its output to earth: twice while it inverts."""
    for name, source in section(site, "sources").items():
        if source.get("neutral-through") == "switched" and source.get("neutral-bond") == "while-inverting":
            after = changed(site)
            of(after, "sources", name)["neutral-through"] = "solid"
            yield Told(name, after, (finds("neutral-bonded-twice", name),))


def solid_without_a_relay(site: Site) -> Iterator[Told]:
    """A solid neutral and no relay where the supplier's earth is all there is: the island borrows it (IEC 60364-5-55 551.4.3.2.1).

    AS/NZS makes a note of it.
    """
    if section(site, "bonds") or book(site) == "as-nzs":
        return
    for name, _, _ in passing(site):
        source = of(site, "sources", name)
        if source.get("neutral-through") == "switched" and source.get("neutral-bond") == "while-inverting":
            after = changed(site)
            of(after, "sources", name)["neutral-through"] = "solid"
            of(after, "sources", name)["neutral-bond"] = "none"
            also = frozenset(("neutral-unreferenced", "changeover-neutral-solid"))
            must = [finds("island-reference-borrowed", name)]
            if any(one["earthing"] == "TT" for one in utilities(site).values()):
                # the supplier's star point lies on the other side of the RCD at the head
                must.append(finds("inverter-fed-behind-rcd", name))
            yield Told(name, after, tuple(must), also)


def condition_inverted(site: Site) -> Iterator[Told]:
    """A relay that closes when it should open: the island floats, and on the supply the neutral is tied twice."""
    for identifier, bond in section(site, "bonds").items():
        for variable, value in (bond.get("closed") or {}).items():
            if value in ("inverting", "open"):
                after = changed(site)
                other = ["passing", "off"] if value == "inverting" else "closed"
                of(after, "bonds", identifier)["closed"][variable] = other
                must = [
                    any_of("neutral-unreferenced", "island-reference-borrowed"),
                    finds("neutral-bonded-twice", identifier),
                ]
                if _loaded(site, place(bond["at"])):
                    must.append(finds("neutral-current-in-pe"))
                yield Told(identifier, after, tuple(must))


# -- the time that a relay takes ---------------------------------------------------------------------------------------------


def relays(site: Site) -> Iterator[tuple[str, Site]]:
    """Bonds that hold while an inverter inverts."""
    for identifier, bond in section(site, "bonds").items():
        if "inverting" in (bond.get("closed") or {}).values():
            yield identifier, bond


def longest_gap_s(site: Site) -> float:
    """0.2 s by SANS (NRS 097-2-1, from memory); elsewhere 0.4 s, the time of IEC 60364-4-41 table 41.1 at 230 V."""
    return 0.2 if book(site) == "sans" else 0.4


def _delayed(site: Site, identifier: str, key: str, seconds: float) -> Site:
    after = changed(site)
    of(after, "bonds", identifier)[key] = f"{seconds * 1000:g} ms"
    return after


def relay_closes_too_late(site: Site) -> Iterator[Told]:
    """Just more than the longest gap without a reference."""
    for identifier, _ in relays(site):
        after = _delayed(site, identifier, "closes-after", longest_gap_s(site) + 0.001)
        yield Told(identifier, after, (finds("reference-lost-in-transition", identifier),))


def relay_opens_too_late(site: Site) -> Iterator[Told]:
    """Two references for longer than an RCD takes (40 ms at five times its rating, IEC 61008-1); none at all by SANS."""
    for identifier, _ in relays(site):
        after = _delayed(site, identifier, "opens-after", 0.001 if book(site) == "sans" else 0.041)
        yield Told(identifier, after, (finds("reference-lost-in-transition", identifier),))


def slow_relay_inside(site: Site) -> Iterator[Told]:
    """The relay of an inverter takes two seconds."""
    for name, source in section(site, "sources").items():
        if source.get("neutral-bond") == "while-inverting" and source.get("mains-input"):
            after = changed(site)
            of(after, "sources", name)["closes-after"] = "2 s"
            yield Told(name, after, (finds("reference-lost-in-transition", name),))


# -- the wiring of neutrals --------------------------------------------------------------------------------------------------


def crossed_cores(site: Site) -> Iterator[Told]:
    """Line and neutral crossed at the far end, as built.

    What is behind hangs on the wrong bars: not live, or joined line to neutral, so that faults are cleared late or not at all and
    a source that rests on that neutral has no reference.
    """
    wide = (
        *("never-energised", "nothing-supplied", "disconnection-too-slow", "voltage-drop-high", "neutral-unreferenced"),
        *("bond-missing-at-pen-split", "neutral-borrowed"),
    )
    for name, identifier, link in links(site):
        if cores(link)[:2] == ["L1", "N"] and not link.get("lands-on"):
            after = changed(site)
            of(after, name, identifier)["lands-on"] = {"L1": "N", "N": "L1"}
            also = frozenset() if name == "circuits" else frozenset(wide)
            yield Told(identifier, after, (finds("device-does-not-fit", identifier),), also)


def circuit_without_neutral(site: Site) -> Iterator[Told]:
    """A single-phase circuit whose load has no way back; an RCD of its own then sums one core only."""
    for identifier, circuit in section(site, "circuits").items():
        if "N" in cores(circuit) and len(lines(circuit)) == 1 and not circuit.get("lands-on"):
            after = changed(site)
            without(of(after, "circuits", identifier), "N")
            must: tuple[Group, ...] = (finds("neutral-borrowed", identifier),)
            for device in residual_devices(circuit):
                must = (*must, finds("device-does-not-fit", name_of(device, identifier)))
            yield Told(identifier, after, must)


def neutral_of_another_group(site: Site) -> Iterator[Told]:
    """A circuit whose neutral was landed on the bar of the board, outside the RCD that its line passes."""
    for _, outer, inner, _ in rcd_groups(site):
        for identifier, circuit in hanging(site, inner).items():
            if "N" in cores(circuit) and len(lines(circuit)) == 1 and not residual_devices(circuit):
                after = changed(site)
                entry = of(after, "circuits", identifier)
                without(entry, "N")
                stray = {"from": outer, "to": identifier, "cores": "N"}
                if "size" in circuit:
                    stray |= {"size": str(circuit["size"]), "length": str(circuit["length"])}
                after["connections"]["stray-neutral"] = stray
                also = frozenset(("rcd-trips-in-service",))  # the whole load is a residual current
                yield Told(identifier, after, (finds("neutral-borrowed", identifier),), also)


def neutral_through_a_neighbour(site: Site) -> Iterator[Told]:
    """The neutral of a circuit brought back by the cable of the next one, at their far ends."""
    single = {
        identifier: one
        for identifier, one in section(site, "circuits").items()
        if "N" in cores(one) and len(lines(one)) == 1 and not residual_devices(one) and "building" not in one
    }
    for identifier, circuit in single.items():
        for other, neighbour in single.items():
            if other > identifier and place(neighbour["from"]) == place(circuit["from"]):
                after = changed(site)
                without(of(after, "circuits", identifier), "N")
                stray = {"from": other, "to": identifier, "cores": "N"}
                if "size" in circuit:
                    stray |= {"size": str(circuit["size"]), "length": "5 m"}
                after["connections"]["stray-neutral"] = stray
                yield Told(f"{identifier} {other}", after, (finds("neutral-borrowed", identifier),))


# -- PEN -----------------------------------------------------------------------------------------------------------------------


def pen_written_as_neutral(site: Site) -> Iterator[Told]:
    """The PEN between two buildings called a neutral: what is written is a double bond."""
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        here = [place(one["at"]) for name in ("bonds", "electrodes") for one in section(site, name).values()]
        if "PEN" in cores(link) and place(link["from"]) in section(site, "boards") and here.count(board) == 2:
            after = changed(site)
            entry = of(after, "connections", identifier)
            entry["cores"] = str(entry["cores"]).replace("PEN", "N")
            yield Told(identifier, after, (finds("pen-not-declared", identifier), finds("neutral-bonded-twice")))


def outbuilding_as_of_old(site: Site) -> Iterator[Told]:
    """A feeder without PE to a board that ties the neutral to a rod of its own.

    The two electrodes are joined by that neutral alone, so the links are two; single-phase loads on it lift the frames when it breaks.
    It is a PEN where a supplier's conductor earths its near end; between two links of a site of its own it is just one link too many.
    """
    if isolated_system(site) or any(one["earthing"] == "TT" for one in utilities(site).values()):
        return
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        ends = place(link["from"]) in section(site, "boards") and board in set(_boards_with_a_neutral(site))
        if not ends or residual_devices(link) or not {"N", "PE"} <= set(cores(link)) or len(landing(site, board)) != 1:
            continue
        if any("N" in str(device.get("poles", "")).split() for device in link.get("through") or []):
            continue
        after = changed(site)
        without(of(after, "connections", identifier), "PE")
        after["bonds"] = {**(after.get("bonds") or {}), "yard-link": {"at": board, "size": "16 mm2"}}
        rod = {"at": board, "resistance": "20 ohm", "conductor": "16 mm2"}
        after["electrodes"] = {**(after.get("electrodes") or {}), "yard-rod": rod}
        also = frozenset(("single-failure-dangerous", "disconnection-too-slow"))
        must = [finds("neutral-bonded-twice", "yard-link")]
        if utilities(site):
            must.append(finds("pen-not-declared", identifier))
        if section(site, "electrodes") and not any("building" in one for one in section(site, "boards").values()):
            must.append(finds("electrodes-not-joined", "yard-rod"))
        yield Told(identifier, after, tuple(must), also)


def tt_building_linked(site: Site) -> Iterator[Told]:
    """A building on an electrode of its own, its RCD taken out and its neutral tied to the electrode instead."""
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        rods = [one for one in section(site, "electrodes").values() if place(one["at"]) == board]
        if not rods or {"PE", "PEN"} & set(cores(link)) or place(link["from"]) not in section(site, "boards"):
            continue
        if residual_devices(link) and "N" in cores(link):
            after = changed(site)
            entry = of(after, "connections", identifier)
            entry["through"] = [one for one in entry["through"] if one["kind"] != "rcd"]
            after["bonds"] = {**(after.get("bonds") or {}), "tt-link": {"at": board, "size": "16 mm2"}}
            also = frozenset(("rcd-missing", "disconnection-too-slow", "single-failure-dangerous"))
            must = (finds("pen-not-declared", identifier), finds("neutral-bonded-twice", "tt-link"))
            yield Told(identifier, after, must, also)


# -- IT ------------------------------------------------------------------------------------------------------------------------


def surge_link_solid(site: Site) -> Iterator[Told]:
    """The impedance between an IT neutral and earth bridged."""
    for identifier, bond in section(site, "bonds").items():
        if "impedance" in bond and isolated_system(site):
            after = changed(site)
            del of(after, "bonds", identifier)["impedance"]
            of(after, "bonds", identifier)["size"] = "16 mm2"
            yield Told(identifier, after, (finds("it-bonded", identifier),))


def monitor_dropped(site: Site) -> Iterator[Told]:
    for identifier in section(site, "monitors"):
        after = changed(site)
        del after["monitors"][identifier]
        yield Told(identifier, after, (finds("it-without-monitor"),))


def second_monitor(site: Site) -> Iterator[Told]:
    """Two monitors in one island measure each other (IEC 60364-5-53 538.1 ?).

    The island ends at a source: a board ahead of an isolating transformer is part of the earthed system that feeds it.
    """
    island = {place(one["at"]) for one in section(site, "monitors").values()}
    grown = set[str]()
    while grown != island:
        grown = set(island)
        for link in section(site, "connections").values():
            ends = {place(link["from"]), place(link["to"])}
            if ends & (island - set(section(site, "sources"))):
                island |= ends
    for board in section(site, "boards"):
        if board not in island:
            continue
        after = added(site, "monitors", "imd-too-many", {"at": board, "impedance": "1 Mohm"})
        yield Told(board, after, (finds("it-without-monitor", "imd-too-many"),))


def monitor_at_the_set(site: Site) -> Iterator[Told]:
    """The monitor at the terminals of a set sees nothing while the changeover stands on the line."""
    for identifier in section(site, "monitors"):
        for name, source in section(site, "sources").items():
            if source["kind"] == "generator" and section(site, "changeovers"):
                after = changed(site)
                of(after, "monitors", identifier)["at"] = name
                yield Told(
                    f"{identifier} {name}", after, tuple(finds("it-without-monitor", one) for one in utilities(site))
                )


# -- electrodes of an island -----------------------------------------------------------------------------------------------------


def drop_electrode(site: Site) -> Iterator[Told]:
    """The only electrode of a site with a source of its own that the utility does not feed (551.4.3.2.1, NEC 250.30(A)(5)).

    Portable and vehicle sources need none.  In TT the frames have lost their earth as well.
    """
    own = own_sources(site)
    if len(section(site, "electrodes")) != 1 or not own or any("mounted" in one for one in own):
        return
    after = changed(site)
    del after["electrodes"]
    must: tuple[Group, ...] = (finds("electrode-missing"),)
    if any(one["earthing"] == "TT" for one in utilities(site).values()):
        must = (finds("electrode-missing"), finds("pe-missing"))
    yield Told(next(iter(site["electrodes"])), after, must)


OPERATORS: tuple[Operator, ...] = (
    *(drop_bond, bond_with_impedance, add_bond, old_resistor, bond_moved_on, second_bond_behind_rcd),
    *(bond_moved_behind_rcd, rcd_ahead_of_the_link, solid_changeover, neutral_past_the_changeover),
    *(floating_set_on_a_solid_changeover, neutral_changed_alone, device_forgets_a_line, fuse_in_the_neutral),
    *(isolator_in_the_neutral_alone, switched_neutral, inverter_opens_the_neutral, taken_to_as_nzs, bonded_set),
    *(relay_forgotten, relay_never_opens, neutral_through_solid, solid_without_a_relay, condition_inverted),
    *(relay_closes_too_late, relay_opens_too_late, slow_relay_inside, crossed_cores, circuit_without_neutral),
    *(
        neutral_of_another_group,
        neutral_through_a_neighbour,
        pen_written_as_neutral,
        outbuilding_as_of_old,
        tt_building_linked,
    ),
    *(surge_link_solid, monitor_dropped, second_monitor, monitor_at_the_set, drop_electrode),
)
