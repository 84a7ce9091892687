"""Batteries and their fuses, and what special places ask for."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import (
    Operator,
    Site,
    Told,
    book,
    changed,
    cores,
    devices,
    finds,
    isolated_system,
    lines,
    metres,
    name_of,
    of,
    place,
    residual_devices,
    section,
)

_BREAKING = ("fuse", "mcb", "mccb", "rcbo")


def _battery_leads(site: Site) -> Iterator[tuple[str, str]]:
    """Batteries with each of their cables that has an overcurrent device and ends at no board near by."""
    for identifier, source in section(site, "direct-current").items():
        for name, link in section(site, "connections").items():
            ends = {str(link["from"]), str(link["to"])}
            protected = any(device["kind"] in _BREAKING for device in link.get("through") or [])
            near = (metres(link) or 0) <= 3 and ends & set(section(site, "boards"))
            if source["kind"] == "battery" and identifier in ends and protected and not near:
                yield identifier, name


def dc_fuse_left_out(site: Site) -> Iterator[Told]:
    for battery, name in _battery_leads(site):
        after = changed(site)
        link = of(after, "connections", name)
        link["through"] = [device for device in link["through"] if device["kind"] not in _BREAKING]
        yield Told(name, after, (finds("dc-unfused", battery),))


def dc_isolator_for_fuse(site: Site) -> Iterator[Told]:
    """An isolator breaks no short circuit."""
    for battery, name in _battery_leads(site):
        after = changed(site)
        of(after, "connections", name)["through"] = [{"kind": "isolator", "operable": "yes"}]
        yield Told(name, after, (finds("dc-unfused", battery),))


def dc_fuse_in_the_earthed_pole(site: Site) -> Iterator[Told]:
    for battery, name in _battery_leads(site):
        pole = {"positive": "DC+", "negative": "DC-"}.get(str(site["direct-current"][battery].get("earthed-pole")))
        if pole:
            after = changed(site)
            for device in of(after, "connections", name)["through"]:
                device["poles"] = pole
            yield Told(name, after, (finds("dc-unfused", battery),))


def dc_breaker_weak(site: Site) -> Iterator[Told]:
    """A device that breaks 50 A of direct current, which every battery exceeds."""
    for battery, name in _battery_leads(site):
        after = changed(site)
        device = next(one for one in of(after, "connections", name)["through"] if one["kind"] in _BREAKING)
        device["dc-breaking-capacity"] = "50 A"
        yield Told(f"{battery} {name}", after, (finds("breaking-capacity-low", name_of(device, name)),))


def _own_rcbo(site: Site) -> Iterator[tuple[str, int, Site]]:
    """Circuits for socket-outlets of one line with an RCBO of 30 mA of their own, in sites that stand still and are no IT systems."""
    other = isolated_system(site) or any("mounted" in one for one in section(site, "sources").values())
    if other or any(one.get("plug") for one in section(site, "connections").values()):
        return
    for name, identifier, number, device in devices(site, "rcbo"):
        circuit = of(site, name, identifier)
        single = len(lines(circuit)) == 1 and "N" in cores(circuit)
        if circuit.get("serves") == "socket-outlets" and device.get("residual") == "30 mA" and single:
            yield identifier, number, circuit


def outlet_on_a_quay_of_one_pole(site: Site) -> Iterator[Told]:
    """A socket-outlet on a quay whose device leaves the neutral closed (709.531.2 ?)."""
    for identifier, number, circuit in _own_rcbo(site) if book(site) in ("iec", "bs7671") else ():
        after = changed(site)
        of(after, "circuits", identifier)["place"] = "marina"
        of(after, "circuits", identifier)["through"][number]["poles"] = lines(circuit)[0]
        yield Told(identifier, after, (finds("rcd-missing", identifier),), frozenset(("pen-earth-not-allowed",)))


def type_ac_in_a_surgery(site: Site) -> Iterator[Told]:
    """An RCD of type AC ahead of a medical place (710.411.3.2.1 ?), where 25 V are the limit of what may stay."""
    for identifier, number, circuit in _own_rcbo(site) if book(site) in ("iec", "bs7671") else ():
        after = changed(site)
        of(after, "circuits", identifier)["place"] = "medical"
        of(after, "circuits", identifier)["through"][number]["type"] = "AC"
        must = (finds("rcd-type-unsuitable", name_of(circuit["through"][number], identifier)),)
        yield Told(identifier, after, must, frozenset(("touch-voltage-high", "source-too-weak-to-trip")))


def weak_monitor_in_a_ward(site: Site) -> Iterator[Told]:
    """A monitor of 10 kohm where an IT system supplies a medical place (710.411.6.3.11 ?, 517.160(B) ?)."""
    for identifier, monitor in section(site, "monitors").items():
        after = changed(site)
        of(after, "monitors", identifier)["impedance"] = "10 kohm"
        for circuit in after["circuits"].values():
            circuit["place"] = "medical"
        if place(monitor["at"]) in section(site, "boards"):
            also = frozenset(("disconnection-too-slow", "source-too-weak-to-trip", "rcd-missing"))
            yield Told(identifier, after, (finds("it-without-monitor", identifier),), also)


def outlets_without_a_frame(site: Site) -> Iterator[Told]:
    """Socket-outlets of class II with a breaker in place of their RCBO: 411.3.3 asks for the RCD all the same."""
    ahead = any(residual_devices(one) for one in section(site, "connections").values())
    for identifier, number, circuit in _own_rcbo(site) if book(site) != "nec" and not ahead else ():
        after = changed(site)
        entry = of(after, "circuits", identifier)
        entry["equipment"] = "class-II"
        entry["cores"] = " ".join(core for core in cores(circuit) if core != "PE")
        entry.pop("pe-size", None)
        plain = {**entry["through"][number], "kind": "mcb"}
        for key in ("residual", "type", "senses", "delay"):
            plain.pop(key, None)
        entry["through"][number] = plain
        yield Told(identifier, after, (finds("rcd-missing", identifier),))


OPERATORS: tuple[Operator, ...] = (
    *(dc_fuse_left_out, dc_isolator_for_fuse, dc_fuse_in_the_earthed_pole, dc_breaker_weak),
    *(outlet_on_a_quay_of_one_pole, type_ac_in_a_surgery, weak_monitor_in_a_ward, outlets_without_a_frame),
)
