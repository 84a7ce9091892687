"""Breakers, residual current devices and weak sources, at their limits and far from them; voltage drop and single failures."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    WARM_OHM_KM,
    Group,
    Operator,
    Site,
    Told,
    amount,
    any_of,
    bonded_by,
    book,
    changed,
    class_one,
    cores,
    devices,
    feeding,
    finds,
    guarded,
    hanging,
    isolated_system,
    line_volts,
    lines,
    links,
    load_a,
    loop_ohm,
    metres,
    mm2,
    name_of,
    of,
    opens_for_certain_at_a,
    place,
    rcd_groups,
    rcds_ahead,
    residual_devices,
    section,
    utilities,
    way_to_utility,
)

# -- faults that breakers have to clear ----------------------------------------------------------------------------------------


def _breaker(circuit: Site) -> Site | None:
    """The one device of a circuit, where it is a plain circuit-breaker with a curve."""
    own = circuit.get("through") or []
    return own[0] if len(own) == 1 and own[0]["kind"] == "mcb" and "curve" in own[0] else None


def _slow_ahead(site: Site, circuit: Site, fault_a: float) -> bool:
    """Whether nothing ahead of a circuit opens within 0.4 s at a current.

    A breaker below its certain current; a gG fuse below 5 times rated, of which it takes seconds (IEC 60269-1, from memory).
    """
    found = way_to_utility(site, place(circuit["from"]))
    identifier = next(i for i, one in section(site, "circuits").items() if one == circuit)
    if not found or guarded(site, identifier) or bonded_by(site, identifier):
        return False  # supplementary bonding stands in for the time (415.2)
    for link in found[1]:
        for device in link.get("through") or []:
            rating = amount(device.get("rating"), "A")
            at = opens_for_certain_at_a(device)
            if device["kind"] == "fuse":
                at = None if rating is None else 5 * rating
            elif device["kind"] == "mccb":
                at = amount(device.get("instantaneous"), "A")
            if device["kind"] in ("fuse", "mccb", "mcb") and (at is None or fault_a >= at):
                return False
    return True


def _fault_a(site: Site, circuit: Site) -> float | None:
    loop, volts = loop_ohm(site, circuit), _volts(site)
    return None if loop is None or volts is None else volts / loop


def _volts(site: Site) -> float | None:
    """230 V between line and neutral of the supply; BS 7671 takes 0.95 of it (411.4.4), and rulebooks without a table are left out."""
    volts = line_volts(site)
    if (
        book(site) == "nec"
        or volts is None
        or any(one["kind"] != "utility" for one in section(site, "sources").values())
    ):
        return None
    return volts * (0.95 if book(site) == "bs7671" else 1.0)


TOO_SLOW = ("disconnection-too-slow", "touch-voltage-high")
"""In TN a frame has about half of 230 V during a fault, more than 50 V: what is not cleared in time is both."""


def breaker_just_too_large(site: Site) -> Iterator[Told]:
    """The loop gives 3 % less than the breaker of the next curve or rating needs to open at once."""
    for identifier, circuit in section(site, "circuits").items():
        device, fault = _breaker(circuit), _fault_a(site, circuit)
        if device and fault and _slow_ahead(site, circuit, fault):
            factor = {"B": 5, "C": 10, "D": 20}[str(device["curve"])]
            rating = round(fault * 1.03 / factor, 1)
            if rating > (amount(device["rating"], "A") or 0):
                after = changed(site)
                of(after, "circuits", identifier)["through"][0]["rating"] = f"{rating:g} A"
                must = tuple(finds(rule, identifier) for rule in TOO_SLOW)
                yield Told(identifier, after, must)


def breaker_as_large_as_the_loop_allows(site: Site) -> Iterator[Told]:
    """The loop gives 3 % more than the larger breaker needs.  Whether a PE is smaller than its lines by then is another question."""
    for identifier, circuit in section(site, "circuits").items():
        device, fault = _breaker(circuit), _fault_a(site, circuit)
        if device and fault and _slow_ahead(site, circuit, fault):
            factor = {"B": 5, "C": 10, "D": 20}[str(device["curve"])]
            rating = round(fault * 0.97 / factor, 1)
            if rating > (amount(device["rating"], "A") or 0):
                after = changed(site)
                of(after, "circuits", identifier)["through"][0]["rating"] = f"{rating:g} A"
                yield Told(identifier, after)


def slower_curve(site: Site) -> Iterator[Told]:
    """Curve D in place of B or C, where the loop gives clearly less than 20 times rated and nothing ahead is quicker."""
    for identifier, circuit in section(site, "circuits").items():
        device, fault = _breaker(circuit), _fault_a(site, circuit)
        if not device or not fault or device["curve"] == "D" or not _slow_ahead(site, circuit, fault):
            continue
        if fault * 1.1 < 20 * (amount(device["rating"], "A") or 0):
            after = changed(site)
            of(after, "circuits", identifier)["through"][0]["curve"] = "D"
            yield Told(identifier, after, tuple(finds(rule, identifier) for rule in TOO_SLOW))


def _lengthened(site: Site, circuit: Site, device: Site, factor: float) -> float | None:
    """The length at which the loop is so many times the largest one that opens the breaker at once."""
    loop, volts, at = loop_ohm(site, circuit), _volts(site), opens_for_certain_at_a(device)
    there = WARM_OHM_KM.get(mm2(circuit) or 0)
    back = WARM_OHM_KM.get(mm2(circuit, "pe-size") or 0)
    metre = metres(circuit)
    if None in (loop, volts, at, there, back, metre):
        return None
    assert loop and volts and at and there and back and metre
    return metre + (volts / at * factor - loop) / ((there + back) / 1000)


def cable_just_too_long(site: Site) -> Iterator[Told]:
    """So long that the loop is 3 % above what the breaker allows; the voltage at the end may be low as well."""
    for identifier, circuit in section(site, "circuits").items():
        device = _breaker(circuit)
        at = opens_for_certain_at_a(device) if device else None
        if device and at and _slow_ahead(site, circuit, at):
            metre = _lengthened(site, circuit, device, 1.03)
            if metre and metre > 0:
                after = changed(site)
                of(after, "circuits", identifier)["length"] = f"{metre:.1f} m"
                must = tuple(finds(rule, identifier) for rule in TOO_SLOW)
                yield Told(identifier, after, must, frozenset(("voltage-drop-high",)))


def cable_as_long_as_the_breaker_allows(site: Site) -> Iterator[Told]:
    for identifier, circuit in section(site, "circuits").items():
        device = _breaker(circuit)
        at = opens_for_certain_at_a(device) if device else None
        if device and at and _slow_ahead(site, circuit, at):
            metre = _lengthened(site, circuit, device, 0.97)
            if metre and metre > 0:
                after = changed(site)
                of(after, "circuits", identifier)["length"] = f"{metre:.1f} m"
                yield Told(identifier, after, (), frozenset(("voltage-drop-high",)))


def fused_nec_service(site: Site) -> Iterator[Told]:
    """A slow fuse in place of the service breaker: NEC sets no time, and half of 120 V lasts longer than hearts bear."""
    for name, identifier, number, _ in devices(site, "mccb"):
        if book(site) == "nec" and "PEN" in cores(of(site, name, identifier)):
            after = changed(site)
            fuse = {"kind": "fuse", "class": "gG", "rating": "160 A", "breaking-capacity": "50 kA"}
            of(after, name, identifier)["through"][number] = fuse
            yield Told(identifier, after, (finds("touch-voltage-high"),))


def weak_breaker(site: Site) -> Iterator[Told]:
    for name, identifier, number, device in devices(site, "mcb", "rcbo", "mccb", "fuse"):
        if "breaking-capacity" in device:
            after = changed(site)
            of(after, name, identifier)["through"][number]["breaking-capacity"] = "20 A"
            yield Told(
                identifier,
                after,
                (any_of(("breaking-capacity-low", name_of(device, identifier)), "breaking-capacity-low"),),
            )


def _first_devices(site: Site) -> Iterator[tuple[str, Site, float]]:
    """The cable of a single-phase supply, its first breaker or fuse, and the supplier's largest current; no other source in reach."""
    for name, source in utilities(site).items():
        current = source.get("fault-current")
        most = amount(current.get("max") if isinstance(current, dict) else current, "A", "kA")
        for identifier, link in section(site, "connections").items():
            first = (link.get("through") or [{}])[0]
            alone = len(section(site, "sources")) == 1 and source["phases"] == "L1"
            if most and alone and place(link["from"]) == name and first.get("kind") in ("fuse", "mcb", "rcbo"):
                yield identifier, first, most


def breaking_capacity_just_too_low(site: Site) -> Iterator[Told]:
    """1 % less than the supplier may give at his terminals (434.5.1 ?)."""
    for identifier, device, most in _first_devices(site):
        after = changed(site)
        of(after, "connections", identifier)["through"][0]["breaking-capacity"] = f"{most * 0.99:.6g} A"
        yield Told(identifier, after, (finds("breaking-capacity-low", name_of(device, identifier)),))


def breaking_capacity_just_enough(site: Site) -> Iterator[Told]:
    for identifier, _, most in _first_devices(site):
        after = changed(site)
        of(after, "connections", identifier)["through"][0]["breaking-capacity"] = f"{most * 1.001:.6g} A"
        yield Told(identifier, after)


def stronger_supply(site: Site) -> Iterator[Told]:
    """A supplier who may give 60 kA where 6 kA breakers stand near his terminals."""
    for name, source in utilities(site).items():
        if "fault-current" not in source or isolated_system(site):
            continue
        near = {
            name_of(device, identifier)
            for identifier, link in section(site, "connections").items()
            for device in link.get("through") or []
            if place(link["from"]) == name and (amount(device.get("breaking-capacity"), "A", "kA") or 1e9) < 59e3
        }
        if near:
            after = changed(site)
            of(after, "sources", name)["fault-current"] = "60 kA"
            must = tuple(finds("breaking-capacity-low", one) for one in sorted(near))
            yield Told(name, after, must, frozenset(("breaking-capacity-low",)))  # and devices further on


# -- sources that limit their current ---------------------------------------------------------------------------------------------


def at_the_limit(site: Site) -> Iterator[tuple[str, float, dict[str, Site]]]:
    """An inverter that holds a current without end, and the circuits without RCD whose breakers need exactly that.

    By hand: while it gives its limit, the PE of such a circuit alone lifts the frame above the 50 V that may stay (415.2.2).
    """
    for name, source in section(site, "sources").items():
        limit = source.get("fault-current")
        if source["kind"] != "inverter" or not isinstance(limit, dict) or set(limit) != {"limit"}:
            continue
        ampere = amount(limit["limit"], "A")
        found = {}
        for identifier, circuit in section(site, "circuits").items():
            device = _breaker(circuit)
            ohm_km = WARM_OHM_KM.get(mm2(circuit, "pe-size") or 0)
            metre = metres(circuit)
            if not ampere or not device or not ohm_km or not metre or opens_for_certain_at_a(device) != ampere:
                continue
            if 0.95 * ampere * ohm_km / 1000 * metre > 50:
                found[identifier] = circuit
        if ampere and found:
            yield name, ampere, found


TOO_WEAK = ("source-too-weak-to-trip", "touch-voltage-high")


def inverter_just_too_weak(site: Site) -> Iterator[Told]:
    """A limit 1 A below what the breakers need (IEC 60898-1: five times rated for curve B).

    Circuits behind a feeder, whose PE adds to theirs, may be in the same case.
    """
    for name, ampere, found in at_the_limit(site):
        after = changed(site)
        of(after, "sources", name)["fault-current"] = {"limit": f"{ampere - 1:g} A"}
        must = tuple(finds(rule, one) for one in found for rule in TOO_WEAK)
        yield Told(name, after, must, frozenset(("source-too-weak-to-trip",)))


def inverter_just_strong_enough(site: Site) -> Iterator[Told]:
    for name, ampere, _ in at_the_limit(site):
        after = changed(site)
        of(after, "sources", name)["fault-current"] = {"limit": f"{ampere + 1:g} A"}
        yield Told(name, after)


def slower_curve_at_a_weak_source(site: Site) -> Iterator[Told]:
    """Curve C in place of B: it needs twice the current that the inverter gives."""
    for _, _, found in at_the_limit(site):
        for identifier in found:
            after = changed(site)
            of(after, "circuits", identifier)["through"][0]["curve"] = "C"
            yield Told(identifier, after, tuple(finds(rule, identifier) for rule in TOO_WEAK))


def larger_breaker_at_a_weak_source(site: Site) -> Iterator[Told]:
    """The next rating: 20 A of curve B need 100 A."""
    for _, _, found in at_the_limit(site):
        for identifier, circuit in found.items():
            after = changed(site)
            rating = (amount(circuit["through"][0]["rating"], "A") or 0) * 1.25
            of(after, "circuits", identifier)["through"][0]["rating"] = f"{rating:g} A"
            yield Told(identifier, after, tuple(finds(rule, identifier) for rule in TOO_WEAK))


def shutdown_not_in_time(site: Site) -> Iterator[Told]:
    """An inverter that holds a current below what a breaker needs for ten seconds, a frame far down a thin PE, no RCD.

    By hand as above; what other circuits of the site do then rests on the same source.
    """
    for _, ampere, found in at_the_limit(site):
        for identifier in found:
            after = changed(site)
            for source in after["sources"].values():
                source["fault-current"] = {"limit": f"{0.95 * ampere:g} A", "for": "10 s"}
            must = tuple(finds(rule, one) for one in found for rule in TOO_WEAK)
            yield Told(identifier, after, must, frozenset(("source-too-weak-to-trip",)))
            break


def weaker_excitation(site: Site) -> Iterator[Told]:
    """A set whose excitation holds 1.5 times rated: less than any device between it and a circuit needs, and more than 50 V there.

    By hand: that current through the PE of the circuit alone; a circuit-breaker's certain current (IEC 60898-1), 1.2 times the setting
    of a release (IEC 60947-2).  Other circuits of the same set may be in the same case.
    """
    for name, source in section(site, "sources").items():
        held = source.get("sustained-fault-current")
        rating, volts = amount(source.get("rating"), "VA", "kVA"), line_volts(site)
        if not held or not rating or not volts or isolated_system(site) or book(site) == "nec":
            continue
        ampere = 1.5 * rating / (volts * len(str(source["phases"]).split()))
        if any((at := _certain_a(one)) is None or at < 1.05 * ampere for one in _ways_from(site, name)):
            continue
        for identifier, circuit in section(site, "circuits").items():
            device, metre = _breaker(circuit), metres(circuit)
            ohm_km = WARM_OHM_KM.get(mm2(circuit, "pe-size") or 0)
            at = opens_for_certain_at_a(device) if device else None
            far = ohm_km and metre and ampere * ohm_km / 1000 * metre > 52
            if at and far and class_one(circuit) and 1.05 * ampere < at and not guarded(site, identifier):
                after = changed(site)
                of(after, "sources", name)["sustained-fault-current"] = {**held, "limit": "1.5 x rated"}
                must = (finds("source-too-weak-to-trip", identifier),)
                yield Told(f"{name} {identifier}", after, must, frozenset(TOO_WEAK))


def _certain_a(device: Site) -> float | None:
    setting = amount(device.get("instantaneous"), "A")
    return 1.2 * setting if setting else opens_for_certain_at_a(device)


def _ways_from(site: Site, source: str) -> list[Site]:
    """The overcurrent devices in all cables but those of the other sources."""
    others = set(section(site, "sources")) - {source}
    ways = [one for one in section(site, "connections").values() if place(one["from"]) not in others]
    return [one for way in ways for one in way.get("through") or [] if one["kind"] in ("fuse", "mcb", "rcbo", "mccb")]


# -- residual current devices -----------------------------------------------------------------------------------------------------


def _sockets_behind(site: Site, identifier: str) -> bool:
    """Whether nothing but a cable's own RCD protects socket-outlets: those of the cable itself, or of the bars behind it."""
    entry = section(site, "circuits").get(identifier)
    if entry is not None:
        return bool(entry.get("serves") == "socket-outlets")
    far = place(site["connections"][identifier].get("to"))
    feeders = [one for one in section(site, "connections").values() if far in (place(one["to"]), place(one["from"]))]
    own = [one for one in hanging(site, far).values() if not residual_devices(one)]
    return len(feeders) == 1 and any(one.get("serves") == "socket-outlets" for one in own)


def coarse_rcd(site: Site) -> Iterator[Told]:
    """500 mA ahead of socket-outlets (411.3.3).  In NEC the room decides, which nothing says.

    Ahead of or behind another RCD it is not selective with it.
    """
    for name, identifier, number, device in devices(site, "rcd", "rcbo") if book(site) != "nec" else ():
        if str(device.get("residual")) == "30 mA" and _sockets_behind(site, identifier):
            after = changed(site)
            of(after, name, identifier)["through"][number]["residual"] = "500 mA"
            series = sum(bool(residual_devices(one)) for _, _, one in links(site)) > 1
            alone = identifier in section(site, "circuits")
            must = (finds("rcd-missing", identifier) if alone else finds("rcd-missing"),)
            also = frozenset(("rcd-not-selective",) if series else ())
            yield Told(identifier, after, must, also)


def sockets_round_the_rcd(site: Site) -> Iterator[Told]:
    """Socket-outlets on the bars of the board instead of those behind its RCD."""
    for identifier, circuit in section(site, "circuits").items() if book(site) != "nec" else ():
        outer = section(site, "boards").get(place(circuit["from"]), {}).get("inside")
        ahead = outer and any(residual_devices(one) for one in feeding(site, outer).values())
        if outer and circuit.get("serves") == "socket-outlets" and not residual_devices(circuit) and not ahead:
            after = changed(site)
            of(after, "circuits", identifier)["from"] = outer
            yield Told(identifier, after, (finds("rcd-missing", identifier),))


def leaks(site: Site) -> Iterator[tuple[str, str, float, float, bool]]:
    """A circuit, the RCD that sees it, what it leaks and what that RCD sees of its line in A, and whether the RCD is its own.

    Bars from which further cables lead are left out, and so is a circuit with an RCD of its own behind another.
    """
    for identifier, circuit in section(site, "circuits").items():
        own = residual_devices(circuit)
        leak = amount(circuit.get("leakage"), "A", "mA") or 0.0
        if own and class_one(circuit) and len(lines(circuit)) == 1 and len(circuit.get("through") or []) == 1:
            yield identifier, name_of(own[0], identifier), leak, leak, True
    for group, _, inner, device in rcd_groups(site):
        further = [one for one in section(site, "connections").values() if place(one["from"]) == inner]
        circuits = hanging(site, inner)
        if further or any(residual_devices(one) for one in circuits.values()):
            continue
        for identifier, circuit in circuits.items():
            if class_one(circuit) and len(lines(circuit)) == 1:
                # what a circuit of several lines leaks, it leaks from the first of them (FORMAT)
                same = [one for one in circuits.values() if class_one(one) and lines(one)[0] == lines(circuit)[0]]
                sees = sum(amount(one.get("leakage"), "A", "mA") or 0.0 for one in same)
                leak = amount(circuit.get("leakage"), "A", "mA") or 0.0
                yield identifier, name_of(device, group), leak, sees, False


def rated(site: Site, identifier: str) -> float:
    """Rated residual current of a device by its name, in A."""
    for _, link, _, device in devices(site, "rcd", "rcbo"):
        if name_of(device, link) == identifier:
            return amount(device["residual"], "A", "mA") or 0.0
    raise AssertionError(identifier)


def _leaking(site: Site, part: float) -> Iterator[tuple[str, str, Site]]:
    """A circuit whose leakage is raised until its RCD sees a part of its rated residual current on that line."""
    if any(
        "leakage" not in one and class_one(one) for one in section(site, "circuits").values() if residual_devices(one)
    ):
        return
    if any("size" not in one for one in section(site, "circuits").values()):
        return
    for identifier, rcd, leak, sees, _ in leaks(site):
        after = changed(site)
        more = part * rated(site, rcd) - sees
        if leak + more >= 0:
            of(after, "circuits", identifier)["leakage"] = f"{(leak + more) * 1000:.6g} mA"
            yield identifier, rcd, after


def leakage_just_too_high(site: Site) -> Iterator[Told]:
    """0.31 of the rated residual current: 531.3.2 ? allows 0.3."""
    if not isolated_system(site):
        for identifier, rcd, after in _leaking(site, 0.31):
            # another one ahead sees this leakage and that of its other circuits
            also = frozenset(("rcd-trips-in-service",) if len(rcds_ahead(site, identifier)) > 1 else ())
            yield Told(identifier, after, (finds("rcd-trips-in-service", rcd),), also)


def leakage_at_the_limit(site: Site) -> Iterator[Told]:
    """Exactly 0.3, where no other RCD ahead sees the leakage of more circuits."""
    for identifier, _, after in _leaking(site, 0.3):
        small = [one for one in rcds_ahead(site, identifier) if (amount(one["residual"], "A", "mA") or 0) <= 0.03]
        if len(small) == 1:
            yield Told(identifier, after)


def finer_rcd(site: Site) -> Iterator[Told]:
    """A rated residual current below what the circuits behind leak: nothing changes but the device."""
    for rcd, sees in {rcd: sees for _, rcd, _, sees, _ in leaks(site) if sees}.items():
        for name, identifier, number, device in devices(site, "rcd", "rcbo"):
            if name_of(device, identifier) == rcd and sees > 0.3 * 5e-3 and not isolated_system(site):
                after = changed(site)
                of(after, name, identifier)["through"][number]["residual"] = f"{max(sees / 0.35 * 1000, 5):.4g} mA"
                yield Told(rcd, after, (finds("rcd-trips-in-service", rcd),))


def leaky_circuit(site: Site) -> Iterator[Told]:
    """More leakage than the RCD is rated for, which every RCD ahead sees too."""
    for identifier, circuit in section(site, "circuits").items():
        own = [one for one in residual_devices(circuit) if one.get("residual") == "30 mA"]
        if own and class_one(circuit) and "size" in circuit:
            after = changed(site)
            of(after, "circuits", identifier)["leakage"] = "40 mA"
            also = frozenset(("rcd-trips-in-service",) if len(rcds_ahead(site, identifier)) > 1 else ())
            yield Told(identifier, after, (finds("rcd-trips-in-service", name_of(own[0], identifier)),), also)


def impatient_rcd(site: Site) -> Iterator[Told]:
    """The RCD at the head without its delay, ahead of those of the circuits (536.4.1.4 ?)."""
    for name, identifier, number, device in devices(site, "rcd") if book(site) != "nec" else ():
        if device.get("delay") == "S":
            after = changed(site)
            del of(after, name, identifier)["through"][number]["delay"]
            yield Told(identifier, after, (finds("rcd-not-selective", name_of(device, identifier)),))


def _ratio(site: Site, factor: float) -> Iterator[tuple[str, str, Site]]:
    """The head RCD at a multiple of the largest one behind it."""
    for name, identifier, number, device in devices(site, "rcd") if book(site) != "nec" else ():
        if device.get("delay") == "S":
            behind = [
                amount(one["residual"], "A", "mA") or 0 for *_, one in devices(site, "rcd", "rcbo") if one is not device
            ]
            if behind:
                after = changed(site)
                of(after, name, identifier)["through"][number]["residual"] = f"{max(behind) * factor * 1000:.6g} mA"
                yield identifier, name_of(device, identifier), after


def head_rcd_just_too_fine(site: Site) -> Iterator[Told]:
    """2.95 times the next one behind it: a type S of three times is asked for (536.4.1.4 ?)."""
    for identifier, rcd, after in _ratio(site, 2.95):
        yield Told(identifier, after, (finds("rcd-not-selective", rcd),))


def head_rcd_three_times(site: Site) -> Iterator[Told]:
    for identifier, _, after in _ratio(site, 3.0):
        yield Told(identifier, after)


def rcbo_behind_the_group(site: Site) -> Iterator[Told]:
    """A breaker with a residual current part of its own behind a group RCD without delay."""
    for group, _, inner, device in rcd_groups(site) if book(site) != "nec" else ():
        for identifier, circuit in hanging(site, inner).items():
            own = _breaker(circuit)
            if own and device.get("delay") != "S":
                after = changed(site)
                of(after, "circuits", identifier)["through"][0].update(
                    {"kind": "rcbo", "residual": "30 mA", "type": "A"}
                )
                yield Told(identifier, after, (finds("rcd-not-selective", name_of(device, group)),))


# -- service ------------------------------------------------------------------------------------------------------------------------


def long_circuit(site: Site) -> Iterator[Told]:
    """So long that copper alone loses a fifth of 230 V: 0.0175 ohm mm2/m there and back (IEC 60228 at 20 C, rounded).

    So long a cable may also let too little current flow in a fault, or lift a frame behind a source that limits its current.
    """
    for identifier, circuit in section(site, "circuits").items():
        ampere, size = load_a(site, circuit), mm2(circuit)
        if ampere and ampere > 1 and size:
            metre = 0.2 * (line_volts(site) or 0) * size / (2 * 0.0175 * ampere)
            if metre < 5_000:
                after = changed(site)
                of(after, "circuits", identifier)["length"] = f"{metre:.0f} m"
                also = () if residual_devices(circuit) else ("disconnection-too-slow", "source-too-weak-to-trip")
                yield Told(identifier, after, (finds("voltage-drop-high", identifier),), frozenset(also))


def large_load(site: Site) -> Iterator[Told]:
    """A current that loses a fifth of the voltage in the cable of the circuit itself."""
    for identifier, circuit in section(site, "circuits").items():
        metre, size, volts = metres(circuit), mm2(circuit), line_volts(site)
        if metre and size and volts and load_a(site, circuit):
            after = changed(site)
            of(after, "circuits", identifier)["load"] = f"{0.2 * volts * size / (2 * 0.0175 * metre):.0f} A"
            # all that hangs on the same feeder loses voltage too, and a neutral that lines share carries more
            also = frozenset(("voltage-drop-high", "single-failure-dangerous"))
            yield Told(identifier, after, (finds("voltage-drop-high", identifier),), also)


def _drop_limit(site: Site, circuit: Site) -> float:
    """Largest drop from a public supply, as a part: 3 % for lighting, 5 % else (annex G); 5 % in books with one figure, from memory."""
    lighting = circuit.get("serves") == "lighting" and book(site) in ("iec", "bs7671")
    return 0.03 if lighting else 0.05


def _dropping(site: Site, part: float) -> Iterator[tuple[str, Site]]:
    """The length at which a circuit on the first board of a single-phase supply reaches a part of the largest drop.

    By hand: the currents of all loads of the board through the service cable, that of the circuit through its own, warm copper.
    """
    if len(section(site, "sources")) != 1:
        return
    for identifier, circuit in section(site, "circuits").items():
        board = place(circuit["from"])
        outer = str(section(site, "boards").get(board, {}).get("inside", board))
        way, volts, ampere = way_to_utility(site, outer), line_volts(site), load_a(site, circuit)
        ohm_km = WARM_OHM_KM.get(mm2(circuit) or 0)
        total = [load_a(site, one) for one in section(site, "circuits").values()]
        if not way or len(way[1]) != 1 or not volts or not ampere or not ohm_km or None in total or "pe-by" in circuit:
            continue
        service = way[1][0]
        ahead_km, metre = WARM_OHM_KM.get(mm2(service) or 0), metres(service)
        if not ahead_km or not metre or way[0]["phases"] != "L1" or "n-size" in service:
            continue
        ahead = 2 * ahead_km / 1000 * metre * sum(one for one in total if one is not None)
        own = part * _drop_limit(site, circuit) * volts - ahead
        if own > 0:
            after = changed(site)
            of(after, "circuits", identifier)["length"] = f"{own / ampere / (2 * ohm_km / 1000):.1f} m"
            yield identifier, after


def drop_just_too_high(site: Site) -> Iterator[Told]:
    """4 % above the largest drop."""
    for identifier, after in _dropping(site, 1.04):
        yield Told(identifier, after, (finds("voltage-drop-high", identifier),), frozenset(("disconnection-too-slow",)))


def drop_just_low_enough(site: Site) -> Iterator[Told]:
    """4 % below it; the loop of so long a cable is another question."""
    for identifier, after in _dropping(site, 0.96):
        yield Told(identifier, after, (), frozenset(("disconnection-too-slow",)))


def thin_circuit(site: Site) -> Iterator[Told]:
    """A cable of 0.75 mm2 that loses more than 8.5 %, which is too much by every book and from every source; less flows in a fault too."""
    for identifier, circuit in section(site, "circuits").items():
        ampere, metre, volts = load_a(site, circuit), metres(circuit), line_volts(site)
        if ampere and mm2(circuit) and metre and volts and 2 * 0.0175 * metre * ampere / 0.75 > 0.085 * volts:
            after = changed(site)
            of(after, "circuits", identifier)["size"] = "0.75 mm2"
            of(after, "circuits", identifier).pop("pe-size", None)
            also = frozenset(() if guarded(site, identifier) else ("disconnection-too-slow", "source-too-weak-to-trip"))
            yield Told(identifier, after, (finds("voltage-drop-high", identifier),), also)


# -- single failures ------------------------------------------------------------------------------------------------------------------


def _downstream(site: Site, board: str) -> list[Site]:
    """The circuits behind a board that nothing else feeds."""
    found = list(hanging(site, board).values())
    for link in section(site, "connections").values():
        far = place(link["to"])
        if (
            place(link["from"]) == board
            and far in section(site, "boards")
            and len(feeding(site, far)) == 1
            and "N" in cores(link)
        ):
            found.extend(_downstream(site, far))
    return found


def _overvoltage(site: Site, circuits: list[Site]) -> float:
    """The highest voltage across a single-phase load with the shared neutral broken, as a multiple of the nominal one.

    Millman: the star point of the loads floats to the sum of their conductances times the line voltages over the sum of them.
    """
    unit = {"L1": 1 + 0j, "L2": complex(-0.5, -(3**0.5) / 2), "L3": complex(-0.5, 3**0.5 / 2)}
    watts = dict.fromkeys(unit, 0.0)
    for one in circuits:
        load = amount(one.get("load"), "W", "kW") or 0.0
        if "N" in cores(one):
            for line in lines(one):
                watts[line] += load / len(lines(one))
    total = sum(watts.values())
    star = sum(watts[line] * unit[line] for line in unit) / total if total else 0
    return max((abs(unit[line] - star) for line in unit if watts[line]), default=0.0)


def _shared_neutrals(site: Site) -> Iterator[tuple[str, Site]]:
    """Feeders whose neutral several lines share, behind which a load would get 15 % more than its voltage or still more."""
    if isolated_system(site) or any("load" not in one for one in section(site, "circuits").values()):
        return
    for identifier, link in section(site, "connections").items():
        board = place(link["to"])
        fed = board in section(site, "boards") and len(feeding(site, board)) == 1
        if fed and "N" in cores(link) and len(lines(link)) == 3 and (mm2(link) or 0) >= 10 and "material" not in link:
            circuits = _downstream(site, board)
            if (
                all(amount(one["load"], "W", "kW") is not None for one in circuits)
                and _overvoltage(site, circuits) > 1.15
            ):
                yield identifier, link


def thin_shared_neutral(site: Site) -> Iterator[Told]:
    """A neutral of 6 mm2 where 10 mm2 of copper count as reliable (543.4.1): when it breaks, a load burns."""
    for identifier, _ in _shared_neutrals(site):
        after = changed(site)
        of(after, "connections", identifier)["n-size"] = "6 mm2"
        yield Told(identifier, after, (finds("single-failure-dangerous", identifier),))


def shared_neutral_just_reliable(site: Site) -> Iterator[Told]:
    """10 mm2: taken as reliable."""
    for identifier, link in _shared_neutrals(site):
        own = any("N" in str(one.get("poles", "")).split() for one in link.get("through") or [])
        after = changed(site)
        of(after, "connections", identifier)["n-size"] = "10 mm2"
        if not own:
            yield Told(identifier, after)


def drawn_shared_neutral(site: Site) -> Iterator[Told]:
    """A link in a shared neutral that can be drawn by itself: large as it may be, it is opened."""
    for identifier, link in _shared_neutrals(site):
        after = changed(site)
        entry = of(after, "connections", identifier)
        drawn = {"kind": "isolator", "rating": "125 A", "poles": "N", "id": "n-bar"}
        entry["through"] = [*(link.get("through") or []), drawn]
        must = (finds("single-failure-dangerous", identifier), finds("neutral-opens-first", "n-bar"))
        # whatever has a pole in that neutral may be open, and a source behind it is then without its reference
        yield Told(
            identifier, after, must, frozenset(("neutral-unreferenced", "neutral-borrowed", "electrode-missing"))
        )


def broken_pen_of_a_house(site: Site) -> Iterator[Told]:
    """A thin PEN of a single-phase house with high electrodes: the loads lift all frames above 50 V when it breaks.

    By hand: 230 V over the resistance of the loads (U2 / P) and that of the electrode, 60 ohm.
    """
    if len(section(site, "electrodes")) != 1 or len(section(site, "sources")) != 1:
        return
    (rod,) = section(site, "electrodes")
    for _, identifier, link in links(site):
        volts, currents = line_volts(site), [load_a(site, one) for one in section(site, "circuits").values()]
        if "PEN" in cores(link) and lines(link) == ["L1"] and volts and None not in currents and "size" in link:
            loads = volts / sum(one for one in currents if one is not None)
            if volts * 60 / (60 + loads) > 60:
                after = changed(site)
                of(after, "electrodes", rod)["resistance"] = "60 ohm"
                of(after, "connections", identifier)["n-size"] = "6 mm2"
                must: tuple[Group, ...] = (
                    finds("single-failure-dangerous", identifier),
                    finds("pen-small", identifier),
                )
                yield Told(identifier, after, must)


OPERATORS: tuple[Operator, ...] = (
    *(breaker_just_too_large, breaker_as_large_as_the_loop_allows, slower_curve, cable_just_too_long),
    *(cable_as_long_as_the_breaker_allows, fused_nec_service, weak_breaker, breaking_capacity_just_too_low),
    *(breaking_capacity_just_enough, stronger_supply, inverter_just_too_weak, inverter_just_strong_enough),
    *(slower_curve_at_a_weak_source, larger_breaker_at_a_weak_source, shutdown_not_in_time, weaker_excitation),
    *(coarse_rcd, sockets_round_the_rcd, leakage_just_too_high, leakage_at_the_limit, finer_rcd, leaky_circuit),
    *(impatient_rcd, head_rcd_just_too_fine, head_rcd_three_times, rcbo_behind_the_group, long_circuit, large_load),
    *(drop_just_too_high, drop_just_low_enough, thin_circuit, thin_shared_neutral, shared_neutral_just_reliable),
    *(drawn_shared_neutral, broken_pen_of_a_house),
)
