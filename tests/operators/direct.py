"""The direct-current side, and places of a kind of their own."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    Operator,
    Site,
    Told,
    added,
    amount,
    any_of,
    book,
    changed,
    class_one,
    cores,
    devices,
    feeding,
    finds,
    guarded,
    landing,
    links,
    name_of,
    of,
    place,
    residual_devices,
    section,
    utilities,
    way_to_utility,
)


def _cables(site: Site, identifier: str) -> list[Site]:
    """The cables of a battery or an array."""
    return [one for _, _, one in links(site) if identifier in (place(one["from"]), place(one.get("to", "")))]


def _inverters(site: Site, identifier: str) -> list[str]:
    """The inverters that the cable of a battery or an array leads to."""
    ends = [place(end) for one in _cables(site, identifier) for end in (one["from"], one["to"])]
    return [end for end in ends if end in section(site, "sources")]


def _bridge(site: Site, identifier: str) -> bool:
    found = _inverters(site, identifier)
    return any(section(site, "sources")[one].get("isolated") in ("no", False) for one in found)


def _pole(site: Site, pole: str) -> Iterator[Told]:
    for identifier, source in section(site, "direct-current").items():
        if source.get("earthed-pole") == "none" and _bridge(site, identifier):
            after = changed(site)
            of(after, "direct-current", identifier)["earthed-pole"] = pole
            yield Told(identifier, after, (finds("dc-earth-conflict", identifier),))


def dc_pole_earthed(site: Site) -> Iterator[Told]:
    """The negative pole of an array earthed, on an inverter without separation (712.312.2 ?)."""
    yield from _pole(site, "negative")


def dc_middle_earthed(site: Site) -> Iterator[Told]:
    yield from _pole(site, "middle")


def inverter_without_separation(site: Site) -> Iterator[Told]:
    """An inverter without separation in place of one with it, where a pole is earthed on its conductors.

    Where its mains input lies behind an RCD that is not of type B, that RCD does not suit it either.
    """
    for identifier, source in section(site, "direct-current").items():
        if source.get("earthed-pole") != "none":
            for name in _inverters(site, identifier):
                if of(site, "sources", name).get("isolated") in ("yes", True):
                    after = changed(site)
                    of(after, "sources", name)["isolated"] = "no"
                    must = [finds("dc-earth-conflict", identifier)]
                    must += [finds("rcd-type-unsuitable", one) for one in _rcds_ahead(site, name)]
                    yield Told(name, after, tuple(must))


def _rcds_ahead(site: Site, inverter: str) -> list[str]:
    """The RCDs, not of type B, on the one way from a mains input to the utility."""
    ways = [(i, one) for i, one in section(site, "connections").items() if str(one["to"]) == f"{inverter}.in"]
    if len(ways) != 1:
        return []
    found = way_to_utility(site, place(ways[0][1]["from"]))
    at_supply = place(ways[0][1]["from"]) in utilities(site)
    names = {id(one): i for i, one in site["connections"].items()}
    path = [ways[0][1], *(found[1] if found else [])] if found or at_supply else []
    return [
        name_of(device, names.get(id(link), ""))
        for link in path
        for device in residual_devices(link)
        if device.get("type") not in ("B", None)
    ]


def bridge_inverter_behind_an_rcd(site: Site) -> Iterator[Told]:
    """An inverter without separation behind an RCD of type A (712.531.3.5.1 ?)."""
    if book(site) != "nec":
        for name, source in section(site, "sources").items():
            ahead = _rcds_ahead(site, name)
            fed = {i: one for i, one in section(site, "direct-current").items() if name in _inverters(site, i)}
            earthed = [i for i, one in fed.items() if one.get("earthed-pole") != "none"]
            if ahead and source.get("isolated") in ("yes", True) and not earthed:
                after = changed(site)
                of(after, "sources", name)["isolated"] = "no"
                yield Told(name, after, tuple(finds("rcd-type-unsuitable", one) for one in ahead))


def _typed(site: Site, kind: str) -> Iterator[Told]:
    joined = {name for name, one in section(site, "sources").items() if one.get("isolated") in ("no", False)}
    for name, identifier, number, device in devices(site, "rcd", "rcbo") if book(site) != "nec" else ():
        link = of(site, name, identifier)
        if {place(link["from"]), place(link.get("to", ""))} & joined and device.get("type") == "B":
            after = changed(site)
            of(after, name, identifier)["through"][number]["type"] = kind
            yield Told(identifier, after, (finds("rcd-type-unsuitable", name_of(device, identifier)),))


def ac_rcd_at_an_inverter(site: Site) -> Iterator[Told]:
    """Type AC sees no direct current, and an inverter that is not separated from its d.c. side may give some (712.530 ?)."""
    yield from _typed(site, "AC")


def a_rcd_at_an_inverter(site: Site) -> Iterator[Told]:
    """Type A sees pulses, not smooth direct current."""
    yield from _typed(site, "A")


def dc_frame_loose(site: Site) -> Iterator[Told]:
    for identifier in section(site, "direct-current"):
        after = changed(site)
        for one in after["connections"].values():
            if identifier in (str(one["from"]), str(one["to"])):
                one["cores"] = " ".join(core for core in cores(one) if core != "PE")
        yield Told(identifier, after, (finds("dc-frame-unbonded", identifier),))


def _new_array(site: Site, own: str, monitoring: str) -> Iterator[tuple[str, Site]]:
    """A second array on the conductors of one that is there, unless something on them is earthed or watches them."""
    for identifier in section(site, "direct-current"):
        cable = next(iter(_cables(site, identifier)))
        far = str(cable["to"]) if place(cable["from"]) == identifier else str(cable["from"])
        array = {"kind": "pv", "voltage": "400 V", "earthed-pole": "none", "monitoring": monitoring}
        after = added(site, "direct-current", "carport", array)
        after["connections"]["carport-string"] = {
            "from": "carport",
            "to": far,
            "cores": own,
            "size": "6 mm2",
            "length": "9 m",
        }
        yield identifier, after


def array_without_pe(site: Site) -> Iterator[Told]:
    """An array added with two cores, its frame on a timber roof (712.542 ?)."""
    for identifier, after in _new_array(site, "DC+ DC-", "insulation"):
        yield Told(identifier, after, (finds("dc-frame-unbonded", "carport"),))


def charger_off_the_earth(site: Site) -> Iterator[Told]:
    """The PE from the board where an array lands to the rest of the installation is not there."""
    for identifier in section(site, "direct-current"):
        for cable in _cables(site, identifier):
            for board in {place(cable["from"]), place(cable["to"])} & set(section(site, "boards")):
                for name, link in section(site, "connections").items():
                    if cores(link) == ["PE"] and board in (place(link["from"]), place(link["to"])):
                        after = changed(site)
                        del after["connections"][name]
                        yield Told(f"{identifier} {name}", after, (finds("dc-frame-unbonded", identifier),))


def dc_unwatched(site: Site) -> Iterator[Told]:
    for identifier, source in section(site, "direct-current").items():
        if source.get("earthed-pole") == "none" and (amount(source.get("voltage"), "V") or 0) > 120:
            after = changed(site)
            of(after, "direct-current", identifier)["monitoring"] = "none"
            yield Told(identifier, after, (finds("dc-earth-fault-unwatched", identifier),))


def _battery(site: Site, volts: int) -> Iterator[tuple[str, Site]]:
    for identifier, source in section(site, "direct-current").items():
        if source.get("earthed-pole") == "none" and source.get("monitoring") == "none":
            after = changed(site)
            of(after, "direct-current", identifier)["voltage"] = f"{volts} V"
            yield identifier, after


def battery_just_above_extra_low(site: Site) -> Iterator[Told]:
    """121 V: above the 120 V of extra-low voltage, direct current (IEC 61140, from memory)."""
    for identifier, after in _battery(site, 121):
        yield Told(identifier, after, (finds("dc-earth-fault-unwatched", identifier),))


def battery_at_extra_low(site: Site) -> Iterator[Told]:
    for identifier, after in _battery(site, 120):
        yield Told(identifier, after)


def array_unwatched(site: Site) -> Iterator[Told]:
    """An array added beside a battery, and nothing watches the two; what is on conductors that are watched is watched."""
    for identifier, after in _new_array(site, "DC+ DC- PE", "none"):
        source = of(site, "direct-current", identifier)
        if source.get("earthed-pole") == "none":
            must = (finds("dc-earth-fault-unwatched", "carport"),) if source.get("monitoring") == "none" else ()
            # with the switch of the other one open, the new one is alone
            parted = any(
                device.get("operable") for cable in _cables(site, identifier) for device in cable.get("through") or []
            )
            yield Told(identifier, after, must, frozenset(("dc-earth-fault-unwatched",)) if parted else frozenset())


# -- places ----------------------------------------------------------------------------------------------------------------------


def on_a_pitch(site: Site) -> Iterator[Told]:
    """A board of a TN-C-S supply in a caravan, in the rulebook that forbids it (708.411.4 ?)."""
    grid = list(utilities(site).values())
    if book(site) == "bs7671" and grid and all(one["earthing"] == "TN-C-S" for one in grid):
        for board, entry in section(site, "boards").items():
            arriving = [cores(one) for one in feeding(site, board).values()]
            if not entry.get("inside") and entry.get("bars") != "PE" and any("PE" in one for one in arriving):
                after = changed(site)
                after["boards"][board] = {**entry, "place": "caravan"}
                yield Told(board, after, (finds("pen-earth-not-allowed"),))


def circuit_at_a_berth(site: Site) -> Iterator[Told]:
    """A circuit of a TN-C-S supply that ends at a berth (709.411.4 ?); a socket-outlet there needs its 30 mA."""
    grid = list(utilities(site).values())
    if book(site) == "bs7671" and grid and all(one["earthing"] == "TN-C-S" for one in grid):
        for identifier, circuit in section(site, "circuits").items():
            way = way_to_utility(site, place(circuit["from"]))
            if way and class_one(circuit) and all("PE" in cores(one) or "size" not in one for one in way[1]):
                after = changed(site)
                of(after, "circuits", identifier)["place"] = "marina"
                yield Told(identifier, after, (finds("pen-earth-not-allowed", identifier),))


def pen_to_a_marina(site: Site) -> Iterator[Told]:
    """A PEN core to a board in a marina: no rulebook wants that (709.411.4 ?)."""
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        if "PEN" in cores(link) and place(link["from"]) in section(site, "boards"):
            after = changed(site)
            after["boards"][board] = {**section(site, "boards")[board], "place": "marina"}
            yield Told(identifier, after, (finds("pen-earth-not-allowed", board),))


def pen_to_a_caravan_board(site: Site) -> Iterator[Told]:
    """The N and PE of a feeder made one PEN, to a board on a caravan site, linked there: the PEN is not permitted to lead there."""
    bonded = {place(one["at"]) for one in section(site, "bonds").values()}
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        grid = list(utilities(site).values())
        if not grid or any(one["earthing"] != "TN-C-S" for one in grid) or place(link["from"]) not in bonded:
            continue
        own = section(site, "boards").get(board)
        if own is None or own.get("inside") or not {"N", "PE"} <= set(cores(link)) or len(feeding(site, board)) != 1:
            continue
        if any(cores(one) == ["PE"] for one in landing(site, board).values()):
            continue  # a second way beside the PEN makes the link one too many
        after = changed(site)
        kept = [core for core in cores(link) if core not in ("N", "PE")]
        entry = of(after, "connections", identifier)
        entry["cores"] = " ".join((*kept, "PEN"))
        entry.pop("pe-size", None)
        for device in entry.get("through") or []:
            if "poles" in device:
                device["poles"] = " ".join(one for one in str(device["poles"]).split() if one != "N")
        after["boards"][board] = {**own, "place": "caravan"}
        after["bonds"]["site-link"] = {"at": board, "size": "16 mm2"}
        also = frozenset(("pen-small", "single-failure-dangerous", "rcd-missing", "device-does-not-fit"))
        must = [finds("pen-earth-not-allowed", board)]
        if residual_devices(
            link
        ):  # and none has a place in TN-C (411.4.5): it sums the PEN, and the link lies behind it
            must.append(finds("bond-behind-rcd", "site-link"))
        yield Told(identifier, after, tuple(must), also)


def animals_without_rcd(site: Site) -> Iterator[Told]:
    """A final circuit of a place for animals needs 300 mA (705.411.1 ?)."""
    if book(site) in ("iec", "bs7671") and section(site, "electrodes"):
        for identifier, circuit in section(site, "circuits").items():
            rated = any("rating" in one for one in circuit.get("through") or [])
            if rated and not guarded(site, identifier) and circuit.get("serves") == "fixed" and class_one(circuit):
                after = changed(site)
                of(after, "circuits", identifier)["place"] = "agricultural"
                yield Told(identifier, after, (any_of(("rcd-missing", identifier)),))


OPERATORS: tuple[Operator, ...] = (
    *(dc_pole_earthed, dc_middle_earthed, inverter_without_separation, bridge_inverter_behind_an_rcd),
    *(ac_rcd_at_an_inverter, a_rcd_at_an_inverter, dc_frame_loose, array_without_pe, charger_off_the_earth),
    *(dc_unwatched, battery_just_above_extra_low, battery_at_extra_low, array_unwatched, on_a_pitch),
    *(circuit_at_a_berth, pen_to_a_marina, pen_to_a_caravan_board, animals_without_rcd),
)
