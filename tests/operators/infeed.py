"""Changeovers, second sources, inputs taken from the wrong place, and what nothing feeds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from operators.common import (
    Operator,
    Site,
    Told,
    added,
    any_of,
    changed,
    cores,
    devices,
    feeding,
    finds,
    guarded,
    hanging,
    isolated_system,
    landing,
    line_volts,
    lines,
    loop_ohm,
    name_of,
    of,
    opens_for_certain_at_a,
    output_board,
    passing,
    place,
    rcd_groups,
    section,
    utilities,
)

REFERENCES = frozenset(("neutral-bonded-twice", "neutral-unreferenced", "island-reference-borrowed", "backfeed"))
"""What two sources that meet bring by the states of a site: each a reference of its own, or none, and the one that rests fed back."""

CURRENTS = frozenset(
    ("disconnection-too-slow", "source-too-weak-to-trip", "breaking-capacity-low", "voltage-drop-high")
)
"""What flows from a weak source in place of the supply, or from the two together."""


def no_interlock(site: Site) -> Iterator[Told]:
    """An interlock taken out.  Which harm it had kept off depends on what it kept apart, so any of them will do."""
    for number in range(len(site.get("interlocks") or [])):
        after = changed(site)
        del after["interlocks"][number]
        if not after["interlocks"]:
            del after["interlocks"]
        must = any_of(
            "sources-in-parallel", "neutral-bonded-twice", "neutral-unreferenced", "island-reference-borrowed"
        )
        yield Told(str(number), after, (must,))


def closed_transition(site: Site) -> Iterator[Told]:
    """A changeover that overlaps, between sources that nobody made for it."""
    for identifier in section(site, "changeovers"):
        after = changed(site)
        of(after, "changeovers", identifier)["transition"] = "closed"
        must = any_of("sources-in-parallel", "inverter-feeds-itself")
        yield Told(
            identifier, after, (must,), frozenset(("neutral-bonded-twice", "breaking-capacity-low", "neutral-borrowed"))
        )


def line_left_solid(site: Site) -> Iterator[Told]:
    """The last line of a changeover is no pole: it stays joined to both inputs, and the neutral opens before it."""
    for identifier, changeover in section(site, "changeovers").items():
        poles = str(changeover["poles"]).split()
        own = [pole for pole in poles if pole.startswith("L")]
        left = [pole for pole in poles if pole != own[-1]]
        if left:
            after = changed(site)
            of(after, "changeovers", identifier)["poles"] = " ".join(left)
            must = [any_of("sources-in-parallel", "inverter-feeds-itself", "backfeed")]
            if "N" in poles:
                must.append(finds("neutral-opens-first", identifier))
            yield Told(identifier, after, tuple(must), REFERENCES | CURRENTS | {"neutral-borrowed"})


def _machine(site: Site, phases: str) -> Site:
    """A small generating set with everything written that its faults depend on."""
    volts = {str(one.get("voltage", "230 V")) for one in section(site, "sources").values()}
    set_ = {
        "kind": "generator",
        "phases": phases,
        "rating": "6 kVA",
        "neutral-bond": "none",
        "subtransient-reactance": "12 %",
        "sustained-fault-current": {"limit": "3 x rated", "for": "5 s"},
    }
    if len(phases.split()) == 1:
        low = [one for text in volts for one in text.removesuffix(" V").split("/")]
        set_["voltage"] = f"{min(low, key=float)} V"
    else:
        set_["voltage"] = next(text for text in sorted(volts) if "/" in text)
        set_ |= {"negative-sequence-reactance": "13 %", "zero-sequence-reactance": "6 %"}
    return set_


def second_set_on_the_bars(site: Site) -> Iterator[Told]:
    """A hired set on a breaker of its own at the first board, with nothing that keeps it from the supply."""
    if isolated_system(site):
        return
    for board, entry in section(site, "boards").items():
        ways = list(feeding(site, board).values())
        if entry.get("inside") or len(ways) != 1 or place(ways[0]["from"]) not in utilities(site):
            continue
        own = lines(ways[0])
        if len(own) == 2:
            continue  # a split-phase set is written otherwise
        after = added(site, "sources", "hired-set", _machine(site, " ".join(own)))
        breaker = {"kind": "mcb", "curve": "B", "rating": "16 A", "breaking-capacity": "25 kA", "id": "q-hired"}
        breaker |= {"poles": " ".join((*own, "N")), "operable": "yes"}
        cable = {"from": "hired-set", "to": board, "cores": " ".join((*own, "N", "PE")), "size": "10 mm2"}
        after["connections"]["hired-cable"] = {**cable, "length": "6 m", "through": [breaker]}
        must = (finds("sources-in-parallel"), finds("backfeed"))
        yield Told(board, after, must, REFERENCES | CURRENTS | {"rcd-trips-in-service", "rcd-missing"})


def set_at_a_socket(site: Site) -> Iterator[Told]:
    """A portable set plugged into a socket-outlet by a lead with two plugs."""
    if isolated_system(site) or not utilities(site) or not section(site, "electrodes"):
        return  # a portable set that feeds a vehicle makes something else
    for identifier, circuit in section(site, "circuits").items():
        if circuit.get("serves") == "socket-outlets" and len(lines(circuit)) == 1 and "size" in circuit:
            after = added(site, "sources", "petrol", {**_machine(site, lines(circuit)[0]), "mounted": "portable"})
            lead = {"from": "petrol", "to": identifier, "cores": f"{lines(circuit)[0]} N PE", "size": "2.5 mm2"}
            after["connections"]["two-plugs"] = {**lead, "length": "10 m", "plug": "yes"}
            must = (finds("backfeed"), finds("sources-in-parallel"), finds("infeed-behind-rcd", "petrol"))
            # the set feeds backwards through every RCD on its way: links and inputs ahead of them are behind them then
            behind = {"bond-behind-rcd", "inverter-fed-behind-rcd", "rcd-not-selective", "rcd-blind", "rcd-missing"}
            behind |= {"rcd-type-unsuitable", "touch-voltage-high"}
            also = REFERENCES | CURRENTS | behind
            yield Told(identifier, after, must, also - {"backfeed", "neutral-bonded-twice"})


def follower_made_forming(site: Site) -> Iterator[Told]:
    """A roof inverter that makes a voltage of its own where one that follows was drawn."""
    for name, source in section(site, "sources").items():
        if source.get("operation") == "grid-following":
            after = changed(site)
            of(after, "sources", name)["operation"] = "grid-forming"
            must = (finds("sources-in-parallel"),)
            if utilities(site) and not section(site, "bonds"):
                # alone it floats, or has no reference but the supplier's (551.4.3.2.1)
                must = (*must, any_of(("island-reference-borrowed", name), ("neutral-unreferenced", name)))
            # an RCD on its way has the link, and all RCDs of the circuits, behind it as soon as it feeds alone
            behind = {"bond-behind-rcd", "rcd-blind", "rcd-not-selective", "single-failure-dangerous"}
            yield Told(name, after, must, behind | {"backfeed", "neutral-unreferenced"})


# -- inverters with a mains input -----------------------------------------------------------------------------------------------


def _beside(site: Site, inverter: str) -> list[str]:
    """The inverter, and those that share its boards and a line with it: they stand in the same ring."""
    ways = {name: (place(way["from"]), output_board(site, name), lines(way)) for name, _, way in passing(site)}
    own = ways[inverter]
    return [name for name, way in ways.items() if way[:2] == own[:2] and set(way[2]) & set(own[2])]


def output_on_own_input(site: Site) -> Iterator[Told]:
    """A spare cable from the output of an inverter to the board that its input hangs on: on the grid the two are in parallel too.

    Where the head of the site has an RCD, that board is now fed round it.
    """
    for name, _, way in passing(site):
        board = place(way["from"])
        if board in section(site, "boards"):
            own = [core for core in cores(way) if core != "PEN"]
            spare = {"from": f"{name}.out", "to": board, "cores": " ".join(own), "size": "10 mm2", "length": "3 m"}
            breaker = {"kind": "mcb", "curve": "B", "rating": "16 A", "breaking-capacity": "25 kA"}
            after = added(site, "connections", "spare", {**spare, "through": [breaker]})
            held = any(name in interlock["never"] for interlock in site.get("interlocks") or [])
            must = [finds("sources-in-parallel")]
            if not held:  # else an interlock parts its input from that board while it inverts
                must.extend(finds("inverter-feeds-itself", one) for one in _beside(site, name))
            yield Told(name, after, tuple(must), REFERENCES | {"voltage-drop-high", "rcd-missing"})


def input_from_its_own_board(site: Site) -> Iterator[Told]:
    """The mains input taken from the board that the output feeds: nothing else feeds that board, and the supply may feed nothing."""
    held = {one for interlock in site.get("interlocks") or [] for one in interlock["never"]}
    for name, cable, way in passing(site):
        board = output_board(site, name)
        if (
            board
            and name not in held
            and set(lines(way)) <= {line for one in feeding(site, board).values() for line in lines(one)}
        ):
            after = changed(site)
            of(after, "connections", cable)["from"] = board
            also = frozenset(("electrode-missing", "nothing-supplied", "never-energised", "neutral-unreferenced"))
            # a flexible cable of the supply is one of the board now, and wants the RCD of its place
            also |= {"rcd-missing"} if way.get("plug") else set()
            yield Told(name, after, (finds("inverter-feeds-itself", name),), also)


def bypass_without_interlock(site: Site) -> Iterator[Told]:
    """A bypass switch from the board of the input to the board of the output that may be closed while the inverter inverts.

    Where an interlock keeps its input open then, it still meets the supply.
    """
    for name, _, way in passing(site):
        board = output_board(site, name)
        if board and place(way["from"]) in section(site, "boards"):
            own = " ".join(core for core in cores(way) if core not in ("PE", "PEN"))
            switch = {"kind": "isolator", "rating": "63 A", "operable": "yes", "id": "q-bypass"}
            cable = {"from": place(way["from"]), "to": board, "cores": own, "size": "10 mm2", "length": "5 m"}
            after = added(site, "connections", "bypass", {**cable, "through": [switch]})
            also = REFERENCES | {"sources-in-parallel", "sources-at-different-levels", "rcd-missing"}
            held = any(name in interlock["never"] for interlock in site.get("interlocks") or [])
            must = [finds("sources-in-parallel")]
            if not held:
                must = [finds("inverter-feeds-itself", one) for one in _beside(site, name)]
            yield Told(name, after, tuple(must), also)


def _behind_rcd(site: Site, board: str, own: list[str]) -> Iterator[str]:
    """The bars behind an RCD of 30 mA or less at a board, with these lines and circuits of their own."""
    for group, outer, inner, device in rcd_groups(site):
        fine = str(device["residual"]) in ("30 mA", "10 mA", "6 mA", "5 mA")
        if outer == board and fine and set(own) <= set(lines(of(site, "connections", group))) and hanging(site, inner):
            yield inner


def input_behind_rcd(site: Site) -> Iterator[Told]:
    """The mains input taken from the bars behind the RCD of its board, which guards final circuits.

    All leakage behind the inverter then passes that RCD, ahead of RCDs of their own; with a bypass the two infeeds differ.
    """
    for name, cable, way in passing(site):
        for inner in _behind_rcd(site, place(way["from"]), lines(way)):
            after = changed(site)
            of(after, "connections", cable)["from"] = inner
            also = frozenset(("rcd-not-selective", "rcd-trips-in-service", "sources-at-different-levels"))
            yield Told(f"{name} {inner}", after, (finds("inverter-fed-behind-rcd", name),), also)


def _with_rcd(site: Site, cable: str, residual: str) -> Site:
    after = changed(site)
    entry = of(after, "connections", cable)
    head = {"kind": "rcd", "rating": "100 A", "residual": residual, "type": "A", "id": "rcd-new"}
    entry["through"] = [*(entry.get("through") or []), head]
    return after


def _bypassed(site: Site) -> Iterator[tuple[str, str, str, str]]:
    """An inverter with its input cable, and a changeover with the cable of its other input, both fed from one board."""
    for name, cable, way in passing(site):
        for identifier in section(site, "changeovers"):
            ways = landing(site, identifier)
            out = any(str(one["from"]) == f"{name}.out" and place(one["to"]) == identifier for one in ways.values())
            for other, link in ways.items():
                if out and place(link["to"]) == identifier and str(link["from"]) == str(way["from"]):
                    yield name, cable, identifier, other


BESIDE_A_LEVEL = frozenset(("rcd-not-selective", "rcd-trips-in-service", "inverter-fed-behind-rcd", "bond-behind-rcd"))
"""The added RCD may stand ahead of another one or of a link, and see the leakage of all that is behind."""


def rcd_in_the_bypass(site: Site) -> Iterator[Told]:
    """An RCD in one input of a changeover whose other input comes from the same board without one."""
    for _, _, identifier, other in _bypassed(site):
        must = (finds("sources-at-different-levels", identifier),)
        yield Told(f"{identifier} {other}", _with_rcd(site, other, "100 mA"), must, BESIDE_A_LEVEL)


def rcd_in_the_inverter_input(site: Site) -> Iterator[Told]:
    """An RCD of 30 mA in the mains input of an inverter with a bypass round it: loads move between the two sides of it."""
    for name, cable, identifier, _ in _bypassed(site):
        must = (finds("inverter-fed-behind-rcd", name), finds("sources-at-different-levels", identifier))
        yield Told(f"{identifier} {cable}", _with_rcd(site, cable, "30 mA"), must, BESIDE_A_LEVEL)


def bypass_from_the_group(site: Site) -> Iterator[Told]:
    """The bypass taken from the bars behind the RCD, the inverter from those ahead of it."""
    for _, _, identifier, other in _bypassed(site):
        link = of(site, "connections", other)
        for inner in _behind_rcd(site, place(link["from"]), lines(link)):
            after = changed(site)
            of(after, "connections", other)["from"] = inner
            must = (finds("sources-at-different-levels", identifier),)
            yield Told(f"{identifier} {inner}", after, must, BESIDE_A_LEVEL)


# -- infeeds in the wrong place -----------------------------------------------------------------------------------------------------


def _roof(site: Site, line: str) -> Site:
    volts = _machine(site, line)["voltage"]
    return {
        "kind": "inverter",
        "phases": line,
        "voltage": volts,
        "rating": "2 kVA",
        "operation": "grid-following",
        "isolated": "yes",
        "neutral-bond": "none",
        "fault-current": {"limit": "1.2 x rated", "for": "20 ms"},
    }


ADDS = frozenset(("breaking-capacity-low",))


def roof_at_a_final_circuit(site: Site) -> Iterator[Told]:
    """A small roof inverter plugged into a final circuit (551.7.2 ?).  What it adds to a short circuit may be what a breaker lacks."""
    if isolated_system(site) or not section(site, "electrodes"):
        return  # of a portable set or vehicle it makes something else
    for identifier, circuit in section(site, "circuits").items():
        if len(lines(circuit)) == 1 and {"N", "PE"} <= set(cores(circuit)) and "size" in circuit:
            line = lines(circuit)[0]
            after = added(site, "sources", "small-roof", _roof(site, line))
            cable = {"from": "small-roof", "to": identifier, "cores": f"{line} N PE", "size": "2.5 mm2"}
            after["connections"]["roof-cable"] = {**cable, "length": "5 m"}
            must = [finds("infeed-behind-rcd", "small-roof")]
            if _rests_on_bonding(site, identifier):
                # and no one bonds the inverter at its end to the metal there
                must.append(finds("disconnection-too-slow", "small-roof"))
            yield Told(identifier, after, tuple(must), ADDS)


def _rests_on_bonding(site: Site, circuit: str) -> bool:
    """Whether metal beside a circuit is bonded to it because its loop gives less than its breaker needs to open at once (415.2)."""
    entry = section(site, "circuits")[circuit]
    metal = site.get("extraneous")  # or one word: that there is none
    near = isinstance(metal, dict) and any(circuit in (one.get("near") or []) for one in metal.values())
    loop, volts = loop_ohm(site, entry), line_volts(site)
    certain = [opens_for_certain_at_a(device) for device in entry.get("through") or []]
    return bool(
        near and loop and volts and not guarded(site, circuit) and all(at and volts / loop < at for at in certain)
    )


def roof_behind_the_group(site: Site) -> Iterator[Told]:
    """A small roof inverter on the bars behind a group RCD with circuits on them."""
    if isolated_system(site):
        return
    for _, _, inner, _ in rcd_groups(site):
        loads = [one for one in hanging(site, inner).values() if len(lines(one)) == 1]
        if any("size" not in one for one in section(site, "circuits").values()) or not loads:
            continue
        line = lines(loads[0])[0]
        after = added(site, "sources", "small-roof", _roof(site, line))
        cable = {"from": "small-roof", "to": inner, "cores": f"{line} N PE", "size": "4 mm2", "length": "5 m"}
        after["connections"]["roof-cable"] = cable
        # a roof of panels is no part of a vehicle: what it feeds is premises, which have an electrode
        mobile = any("mounted" in one for one in section(site, "sources").values())
        yield Told(
            inner,
            after,
            (finds("infeed-behind-rcd", "small-roof"),),
            ADDS | ({"electrode-missing"} if mobile else set()),
        )


def follower_behind_the_rcd(site: Site) -> Iterator[Told]:
    """The roof inverter moved from the bars of the board to those behind its RCD.

    Of type A, that RCD does not suit an inverter without separation either, and it stands in a row with that of the inverter.
    """
    for name, source in section(site, "sources").items():
        if source.get("operation") != "grid-following":
            continue
        for cable, link in landing(site, name).items():
            ends = {place(link["from"]): "from", place(link["to"]): "to"}
            for _, outer, inner, _ in rcd_groups(site):
                if outer in ends and lines(link)[0] in lines(next(iter(feeding(site, inner).values()))):
                    after = changed(site)
                    of(after, "connections", cable)[ends[outer]] = inner
                    also = frozenset(("rcd-type-unsuitable",) if source.get("isolated") in ("no", False) else ())
                    must = (finds("infeed-behind-rcd", name),)
                    yield Told(f"{name} {inner}", after, must, also)


# -- what nothing feeds -------------------------------------------------------------------------------------------------------------


def feed_removed(site: Site) -> Iterator[Told]:
    """The one cable to a board is not there: what hangs on it is dead, and a source at its other end has nothing to supply.

    With its PE an electrode behind may be lost.
    """
    for board, entry in section(site, "boards").items():
        ways = feeding(site, board)
        if len(ways) != 1 or entry.get("bars") == "PE":
            continue
        cable, link = next(iter(ways.items()))
        after = changed(site)
        del after["connections"][cable]
        for interlock in list(after.get("interlocks") or []):
            ids = {device.get("id") for device in link.get("through") or []}
            if ids & set(interlock["never"]):
                after["interlocks"].remove(interlock)
        if not after.get("interlocks"):
            after.pop("interlocks", None)
        others = {place(one["from"]) for one in landing(after, board).values() if lines(one)} - {board}
        if others & set(section(site, "sources")) or any(
            place(one["to"]) in section(site, "sources") for one in landing(after, board).values()
        ):
            continue  # something else may still feed it
        # a link that was one too many, and accepted, may be the only one left
        also = frozenset(("electrode-missing", *(("waiver-unused",) if site.get("waivers") else ())))
        yield Told(f"{board} {cable}", after, (any_of(("never-energised", board), "nothing-supplied"),), also)


def open_for_ever(site: Site) -> Iterator[Told]:
    """A switch described as open and worked by nobody: what only it feeds is dead, or the source that only it joins supplies nothing."""
    mobile = any("mounted" in one for one in section(site, "sources").values())
    for name, identifier, number, device in devices(site, "isolator", "switch", "mcb", "mccb"):
        named = any(device.get("id") in map(str, interlock["never"]) for interlock in site.get("interlocks") or [])
        held = any(device.get("id") in (bond.get("closed") or {}) for bond in section(site, "bonds").values())
        link = of(site, name, identifier)
        far = place(link.get("to", identifier))
        # a board that loses its one feeder, or a source that loses its cable; an input of a changeover is neither
        alone = far in section(site, "circuits") or (len(feeding(site, far)) == 1 and far in section(site, "boards"))
        if (
            device.get("operable")
            and not named
            and not held
            and (alone or place(link["from"]) in section(site, "sources"))
        ):
            after = changed(site)
            entry = of(after, name, identifier)["through"][number]
            entry["normally"] = "open"
            del entry["operable"]
            # where a portable set is all that is left, it wants RCDs for what it feeds (551.4.4.2)
            also = frozenset(("rcd-missing",)) if mobile else frozenset()
            yield Told(name_of(device, identifier), after, (any_of("never-energised", "nothing-supplied"),), also)


def spare_board(site: Site) -> Iterator[Told]:
    after = added(site, "boards", "spare-board", {})
    yield Told("spare-board", after, (finds("never-energised", "spare-board"),))


def circuit_on_an_absent_line(site: Site) -> Iterator[Told]:
    """A circuit drawn on a line that its bars do not have; its RCD finds no line to sum."""
    for identifier, circuit in section(site, "circuits").items():
        if place(circuit["from"]) not in section(site, "boards"):
            continue  # a socket of a set has the lines of the set, and the reader knows them
        present = {line for one in landing(site, place(circuit["from"])).values() for line in lines(one)}
        absent = sorted({"L1", "L2", "L3"} - present)
        if (
            absent
            and len(lines(circuit)) == 1
            and present
            and not any("poles" in one for one in circuit.get("through") or [])
        ):
            after = changed(site)
            entry = of(after, "circuits", identifier)
            entry["cores"] = str(entry["cores"]).replace(lines(circuit)[0], absent[0])
            yield Told(identifier, after, (finds("never-energised", identifier),))


def spare_source(site: Site) -> Iterator[Told]:
    """A set that no cable joins."""
    if not isolated_system(site):
        line = "L1"
        after = added(site, "sources", "spare-set", _machine(site, line))
        yield Told("spare-set", after, (finds("nothing-supplied", "spare-set"),))


def source_unplugged(site: Site) -> Iterator[Told]:
    """The cable of a source is not there: the source supplies nothing; where it was the only one nothing is live."""
    for name, source in section(site, "sources").items():
        ways: dict[str, Any] = landing(site, name)
        if source["kind"] != "generator" or len(ways) != 1:
            continue
        after = changed(site)
        cable = next(iter(ways))
        ids = {device.get("id") for device in ways[cable].get("through") or []}
        del after["connections"][cable]
        after["interlocks"] = [one for one in after.get("interlocks") or [] if not ids & set(one["never"])]
        if not after["interlocks"]:
            del after["interlocks"]
        also = frozenset(("never-energised", "device-does-not-fit"))  # and an input of its changeover is bare
        yield Told(name, after, (any_of(("nothing-supplied", name), "never-energised"),), also)


def changeover_pole_without_conductor(site: Site) -> Iterator[Told]:
    """One pole more than the conductors that land on a changeover."""
    for identifier, changeover in section(site, "changeovers").items():
        here = {core for one in landing(site, identifier).values() for core in cores(one)}
        absent = [line for line in ("L2", "L3", "N") if line not in here]
        if absent:
            after = changed(site)
            entry = of(after, "changeovers", identifier)
            entry["poles"] = f"{changeover['poles']} {absent[0]}"
            yield Told(identifier, after, (finds("device-does-not-fit", identifier),))


def rcd_sums_lines_only(site: Site) -> Iterator[Told]:
    """The neutral goes round the core balance."""
    for name, identifier, number, device in devices(site, "rcd", "rcbo"):
        own = cores(of(site, name, identifier))
        if "N" in own and "senses" not in device:
            after = changed(site)
            of(after, name, identifier)["through"][number]["senses"] = " ".join(
                core for core in own if core.startswith("L")
            )
            # it trips on load, which follows from that unless an accepted second link leads current past it as well
            also = frozenset(("rcd-missing", *(("rcd-trips-in-service",) if site.get("waivers") else ())))
            yield Told(identifier, after, (finds("device-does-not-fit", name_of(device, identifier)),), also)


OPERATORS: tuple[Operator, ...] = (
    *(no_interlock, closed_transition, line_left_solid, second_set_on_the_bars, set_at_a_socket),
    *(follower_made_forming, output_on_own_input, input_from_its_own_board, bypass_without_interlock),
    *(input_behind_rcd, rcd_in_the_bypass, rcd_in_the_inverter_input),
    *(bypass_from_the_group, roof_at_a_final_circuit, roof_behind_the_group, follower_behind_the_rcd),
    *(feed_removed, open_for_ever, spare_board, circuit_on_an_absent_line, spare_source, source_unplugged),
    *(changeover_pole_without_conductor, rcd_sums_lines_only),
)
