"""What the operators have in common: the plain description, what must be said of a change, and a little arithmetic of the trade.

Nothing here asks onebond: amounts are read by their unit, and the few formulas stand with their source.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

Site = dict[str, Any]

Named = tuple[str, str]
"""A rule and the subject of its finding; '' where any subject will do."""

Group = tuple[Named, ...]
"""Findings of which at least one has to be there: more than one only where the states of the site decide which."""


class Told(NamedTuple):
    """A site with one thing changed, and what has to be said of it.

    ``must``: of each group at least one finding.  ``also``: rules that may find something of their own beside it.  Anything else that
    is found, consequences apart, is a mistake.  Nothing in ``must``: the site is as good as before.
    """

    place: str
    site: Site
    must: tuple[Group, ...] = ()
    also: frozenset[str] = frozenset()


Operator = Callable[[Site], Iterator[Told]]


def finds(rule: str, subject: str = "") -> Group:
    """One finding, at one subject where it is named."""
    return ((rule, subject),)


def any_of(*named: str | Named) -> Group:
    """At least one of several findings."""
    return tuple((one, "") if isinstance(one, str) else one for one in named)


# -- reading a description ---------------------------------------------------------------------------------------------------


def changed(site: Site) -> Site:
    return copy.deepcopy(site)


def of(site: Site, section: str, identifier: str) -> Site:
    """One entry of a section, which may be written empty."""
    if site[section][identifier] is None:
        site[section][identifier] = {}
    entry: Site = site[section][identifier]
    return entry


def section(site: Site, name: str) -> dict[str, Site]:
    """The entries of a section that may be missing."""
    return {identifier: entry or {} for identifier, entry in (site.get(name) or {}).items()}


def added(site: Site, name: str, identifier: str, entry: Site) -> Site:
    """The site with one entry more."""
    after = changed(site)
    after[name] = {**(after.get(name) or {}), identifier: entry}
    return after


def book(site: Site) -> str:
    return str(site["site"]["rulebook"])


def links(site: Site) -> Iterator[tuple[str, str, Site]]:
    """Section, id and entry of every cable."""
    for name in ("connections", "circuits"):
        for identifier, entry in section(site, name).items():
            yield name, identifier, entry


def cores(entry: Site) -> list[str]:
    return str(entry["cores"]).split()


def lines(entry: Site) -> list[str]:
    return [core for core in cores(entry) if core.startswith("L")]


def without(entry: Site, core: str) -> None:
    """Take a core out of a cable, and out of the devices that are written to have it."""
    entry["cores"] = " ".join(one for one in cores(entry) if one != core)
    if core == "PE":
        entry.pop("pe-size", None)
    for device in entry.get("through") or []:
        for key in ("poles", "senses"):
            if key in device:
                device[key] = " ".join(one for one in str(device[key]).split() if one != core)


def place(end: object) -> str:
    """The place of an end, without its terminal."""
    return str(end).split(".")[0]


def landing(site: Site, board: str) -> dict[str, Site]:
    """The cables that lead to or from a place."""
    return {
        identifier: link
        for identifier, link in section(site, "connections").items()
        if board in (place(link["from"]), place(link.get("to", "")))
    }


def feeding(site: Site, board: str) -> dict[str, Site]:
    """The cables that are written to end at a place and have a line."""
    ways = section(site, "connections").items()
    return {identifier: link for identifier, link in ways if place(link["to"]) == board and lines(link)}


def hanging(site: Site, board: str) -> dict[str, Site]:
    """The circuits of a board."""
    return {identifier: one for identifier, one in section(site, "circuits").items() if place(one["from"]) == board}


def devices(site: Site, *kinds: str) -> Iterator[tuple[str, str, int, Site]]:
    """Section and id of the cable, number and entry of every device of these kinds."""
    for name, identifier, link in links(site):
        for number, device in enumerate(link.get("through") or []):
            if device["kind"] in kinds:
                yield name, identifier, number, device


def residual_devices(entry: Site) -> list[Site]:
    return [device for device in entry.get("through") or [] if device["kind"] in ("rcd", "rcbo")]


def name_of(device: Site, identifier: str) -> str:
    """The subject of a finding about a device: its id, or that of its cable."""
    return str(device.get("id", identifier))


def rcd_groups(site: Site) -> Iterator[tuple[str, str, str, Site]]:
    """Id of the cable, the board outside, the bars behind, and the device of every group that an RCD guards."""
    for identifier, link in section(site, "connections").items():
        inner = place(link["to"])
        if section(site, "boards").get(inner, {}).get("inside") == place(link["from"]):
            for device in residual_devices(link):
                yield identifier, place(link["from"]), inner, device


def rcds_ahead(site: Site, circuit: str) -> list[Site]:
    """The RCDs at a circuit and on all cables that lead to its board."""
    entry = section(site, "circuits")[circuit]
    found, seen, boards = residual_devices(entry), set[str](), [place(entry["from"])]
    while boards:
        board = boards.pop()
        for link in feeding(site, board).values() if board not in seen else ():
            found.extend(residual_devices(link))
            boards.append(place(link["from"]))
        seen.add(board)
    return found


def guarded(site: Site, circuit: str) -> bool:
    """Whether an RCD may end a fault of a circuit before anything else does."""
    return bool(rcds_ahead(site, circuit))


def bonded_by(site: Site, place_: str) -> list[str]:
    """The connections of PE alone that bond a circuit to metal or frames beside it, besides the PE of its cable."""
    return [
        i
        for i, one in section(site, "connections").items()
        if cores(one) == ["PE"] and place_ in (one["from"], one["to"])
    ]


def class_one(entry: Site) -> bool:
    """Whether a circuit of alternating current has frames; what is asked of those is not asked of direct current below 120 V."""
    return "PE" in cores(entry) and entry.get("equipment") != "class-II" and bool(lines(entry))


def utilities(site: Site) -> dict[str, Site]:
    return {name: one for name, one in section(site, "sources").items() if one["kind"] == "utility"}


def isolated_system(site: Site) -> bool:
    """Whether no neutral of the site is tied to earth on purpose."""
    return any(one.get("earthing") == "IT" for one in section(site, "sources").values())


def pen_boards(site: Site) -> dict[str, Site]:
    """The boards on which a PEN lands, each with the cable that brings it."""
    found: dict[str, Site] = {}
    for link in section(site, "connections").values():
        if "PEN" in cores(link):
            found.setdefault(place(link["to"]), link)
    return found


def own_sources(site: Site) -> list[Site]:
    """Sources that form an island of their own without the utility; a transformer rests on the supply ahead of it outside NEC."""
    own = [
        one
        for one in section(site, "sources").values()
        if one["kind"] != "utility" and one.get("operation") != "grid-following" and one.get("earthing") != "IT"
    ]
    return own if book(site) == "nec" else [one for one in own if one["kind"] != "transformer"]


def passing(site: Site) -> Iterator[tuple[str, str, Site]]:
    """Every inverter with a mains input that one cable feeds: its id, and id and entry of the cable."""
    for name, source in section(site, "sources").items():
        ways = [(i, one) for i, one in section(site, "connections").items() if str(one["to"]) == f"{name}.in"]
        if source.get("mains-input") and len(ways) == 1:
            yield name, *ways[0]


def output_board(site: Site, inverter: str) -> str:
    """The board that the output of an inverter leads to by one cable, or ''."""
    for link in section(site, "connections").values():
        if str(link["from"]) == f"{inverter}.out" and place(link["to"]) in section(site, "boards"):
            return place(link["to"])
    return ""


def accepted(site: Site, bond: str) -> bool:
    """Whether a bond is no reference, or one too many that somebody has accepted."""
    return "impedance" in site["bonds"][bond] or any(one["at"] == bond for one in site.get("waivers") or [])


# -- amounts -----------------------------------------------------------------------------------------------------------------

_UNITS = {
    "A": 1.0, "mA": 1e-3, "kA": 1e3, "V": 1.0, "ohm": 1.0, "kohm": 1e3, "mm2": 1.0, "m": 1.0,
    "W": 1.0, "kW": 1e3, "VA": 1.0, "kVA": 1e3, "s": 1.0, "ms": 1e-3,
}  # fmt: skip


def amount(text: object, *units: str) -> float | None:
    """A value in the base unit, None where it is not written as one number with one of the units."""
    parts = str(text).split()
    if len(parts) != 2 or parts[1] not in (units or _UNITS):
        return None
    return float(parts[0]) * _UNITS[parts[1]]


def mm2(entry: Site, key: str = "size") -> float | None:
    """A metric size; that of the lines where another core has none of its own."""
    return amount(entry.get(key, entry.get("size")), "mm2")


WARM_OHM_KM = {
    1.5: 14.52, 2.5: 8.892, 4.0: 5.532, 6.0: 3.696, 10.0: 2.196, 16.0: 1.38, 25.0: 0.8724, 35.0: 0.6288, 50.0: 0.4644,
}  # fmt: skip
"""Resistance of copper at 70 C: 1.2 times the largest one at 20 C of IEC 60228 table 2."""

NEXT_MM2 = {0.75: 1.0, 1.5: 2.5, 2.5: 4.0, 4.0: 6.0, 6.0: 10.0, 10.0: 16.0, 16.0: 25.0, 25.0: 35.0}
"""Sizes of conductors (IEC 60228)."""

BEFORE_MM2 = {after: before for before, after in NEXT_MM2.items()}


def size(value_mm2: float) -> str:
    return f"{value_mm2:g} mm2"


def line_volts(site: Site) -> float | None:
    """The voltage of a line to neutral, where all sources have the same one."""
    found = {str(one.get("voltage", "")).split("/")[0].split()[0] for one in section(site, "sources").values()}
    return float(found.pop()) if len(found) == 1 and found != {""} else None


def load_a(site: Site, circuit: Site) -> float | None:
    """Current of a load in watts on one line and the neutral, by Ohm's law."""
    watts, volts = amount(circuit.get("load"), "W", "kW"), line_volts(site)
    if watts is None or volts is None or "N" not in cores(circuit) or len(lines(circuit)) != 1:
        return None
    return watts / volts


def opens_for_certain_at_a(device: Site) -> float | None:
    """The current from which a breaker opens at once for certain: 5, 10 and 20 times rated for B, C and D (IEC 60898-1)."""
    rating = amount(device.get("rating"), "A")
    if rating is None or device.get("curve") not in ("B", "C", "D"):
        return None
    return {"B": 5.0, "C": 10.0, "D": 20.0}[str(device["curve"])] * rating


def way_to_utility(site: Site, board: str) -> tuple[Site, list[Site]] | None:
    """The supply and the cables on the one way from it to a board; None where there are several ways, or none."""
    way: list[Site] = []
    at = board
    while len(way) < 10:
        found = list(feeding(site, at).values())
        if len(found) != 1:
            return None
        way.append(found[0])
        at = place(found[0]["from"])
        source = section(site, "sources").get(at)
        if source:
            return (source, way) if source["kind"] == "utility" else None
    return None


def loop_ohm(site: Site, circuit: Site) -> float | None:
    """The earth fault loop of a circuit in TN, warm copper, resistances alone; None where a value is not written or it is no TN."""
    found = way_to_utility(site, place(circuit["from"]))
    if not found or found[0].get("earthing") not in ("TN-S", "TN-C-S"):
        return None
    total = amount(found[0].get("loop-impedance"), "ohm")
    for link in (*found[1], circuit):
        back = "pe-size" if "PE" in cores(link) else "n-size"
        if "size" not in link and section(site, "boards").get(place(link.get("to", "")), {}).get("inside"):
            continue  # a bar
        there, again, metre = WARM_OHM_KM.get(mm2(link) or 0), WARM_OHM_KM.get(mm2(link, back) or 0), metres(link)
        if total is None or there is None or again is None or metre is None or "material" in link:
            return None
        if not {"PE", "PEN"} & set(cores(link)):
            return None
        total += (there + again) / 1000 * metre
    return total


def metres(link: Site) -> float | None:
    return amount(link.get("length"), "m")


def iec_54_2(line_mm2: float) -> float:
    """PE by the lines: S up to 16 mm2, 16 mm2 up to 35 mm2, half of S above (IEC 60364-5-54 table 54.2, BS 7671 table 54.7)."""
    return line_mm2 if line_mm2 <= 16 else 16.0 if line_mm2 <= 35 else line_mm2 / 2


AS_NZS_5_1 = {1.5: 1.5, 2.5: 2.5, 4.0: 2.5, 6.0: 2.5, 10.0: 4.0, 16.0: 6.0, 25.0: 6.0, 35.0: 10.0, 50.0: 16.0}
"""Earthing conductor by the active, copper (AS/NZS 3000 table 5.1, from memory)."""

NEC_250_122 = ((15.0, 14), (20.0, 12), (60.0, 10), (100.0, 8))
"""AWG of the copper equipment grounding conductor by the overcurrent device, up to so many ampere (NEC table 250.122)."""

NEC_SMALLEST_JUMPER = 8
"""AWG by copper service conductors up to 2 AWG: NEC tables 250.66 and 250.102(C)(1)."""


def awg(text: object) -> int | None:
    """The number of an American size of 18 to 1 AWG."""
    parts = str(text).split()
    return int(parts[0]) if len(parts) == 2 and parts[1] == "AWG" and parts[0].isdigit() else None


def largest_line_mm2(site: Site, board: str) -> float | None:
    """The largest line core that ends at a board, or begins there; None where one is not metric copper."""
    found = [link for link in landing(site, board).values() if lines(link) and "size" in link]
    sizes = [mm2(link) for link in found]
    return None if not sizes or None in sizes else max(one for one in sizes if one is not None)
