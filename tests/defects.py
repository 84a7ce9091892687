"""Defects on purpose: each operator changes one thing in a good site, at every place where it can, and says what has to be found.

``must`` are the findings of which at least one has to be there (a rule, and its subject where only one will do; none for an equivalent
site), ``may`` the rules
that a practitioner would expect beside it; anything else is a mistake of the rules or of the operator.  What an operator says comes
from the trade and the standards that the rule pages name, never from a run.

    python tests/defects.py            applies all operators everywhere and prints the matrix of rules and operators
    python tests/defects.py 7          every seventh defect
"""

from __future__ import annotations

import copy
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from ruamel.yaml import YAML

Site = dict[str, Any]

ROOT = Path(__file__).resolve().parent.parent


class Defect(NamedTuple):
    """A site with one thing changed."""

    operator: str
    place: str
    site: Site
    must: tuple[tuple[str, str], ...]  # (rule, subject; '' for any)
    may: frozenset[str]


Operator = Callable[[Site], Iterator[tuple[str, Site, tuple[tuple[str, str], ...], frozenset[str]]]]

REFERENCE = frozenset(
    (
        *("neutral-unreferenced", "neutral-bonded-twice", "bond-behind-rcd", "bond-missing-at-pen-split"),
        *(
            "island-reference-borrowed",
            "it-bonded",
            "changeover-neutral-solid",
            "electrode-missing",
            "pen-not-declared",
        ),
    )
)
"""Rules about where the neutral is tied to earth: which of them names a defect depends on the states that the site has."""

CURRENTS = frozenset(
    (
        *("neutral-current-in-pe", "rcd-trips-in-service", "rcd-blind", "rcd-missing", "disconnection-too-slow"),
        *("source-too-weak-to-trip", "touch-voltage-high", "single-failure-dangerous", "voltage-drop-high"),
    )
)
"""Rules about what flows: they may have something to say wherever a conductor or a reference changes."""

SIZES = frozenset(
    (
        "pe-small",
        "bond-small",
        "earthing-conductor-small",
        "bonding-conductor-small",
        "pen-small",
        "breaking-capacity-low",
    )
)
EARTHS = frozenset(("pe-missing", "electrodes-not-joined", "electrode-resistance-high", "electrode-missing"))
INFEED = frozenset(
    (
        *("sources-in-parallel", "backfeed", "inverter-feeds-itself", "infeed-behind-rcd", "inverter-fed-behind-rcd"),
        *("sources-at-different-levels", "neutral-borrowed", "rcd-not-selective", "changeover-neutral-switched"),
    )
)


def load(path: Path) -> Site:
    """A description as plain maps and lists."""
    site: Site = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    return site


def links(site: Site) -> Iterator[tuple[str, str, Site]]:
    """Section, id and entry of every cable."""
    for section in ("connections", "circuits"):
        for identifier, entry in (site.get(section) or {}).items():
            yield section, identifier, entry


def cores(entry: Site) -> list[str]:
    return str(entry["cores"]).split()


def _ac_circuits(site: Site) -> list[tuple[str, Site]]:
    """The circuits of alternating current: what is asked of them is not asked of direct current below 120 V."""
    return [(name, one) for name, one in (site.get("circuits") or {}).items() if "DC+" not in cores(one)]


def changed(site: Site) -> Site:
    return copy.deepcopy(site)


def _of(site: Site, section: str, identifier: str) -> Site:
    entry: Site = site[section][identifier]
    return entry


# -- links, electrodes, protective conductors --------------------------------------------------------------------------------


def _accepted(site: Site, bond: str) -> bool:
    """Whether a bond is no reference, or one too many that somebody has accepted."""
    return "impedance" in site["bonds"][bond] or any(one["at"] == bond for one in site.get("waivers") or [])


def drop_bond(site: Site) -> Iterator[Any]:
    for identifier in site.get("bonds") or {}:
        if _accepted(site, identifier):
            continue
        after = changed(site)
        del after["bonds"][identifier]
        yield (
            identifier,
            after,
            tuple((rule, "") for rule in REFERENCE),
            REFERENCE | CURRENTS | EARTHS | SIZES | {"neutral-borrowed"},
        )


def add_bond(site: Site) -> Iterator[Any]:
    """A link at a board behind the first one: a second one wherever the island has one already."""
    bonded = {bond["at"] for bond in (site.get("bonds") or {}).values()}
    for board, entry in (site.get("boards") or {}).items():
        entry = entry or {}
        landing = [cores(link) for _, _, link in links(site) if str(link.get("to", "")) == board]
        if entry.get("inside") or entry.get("bars") == "PE" or board in bonded or not landing:
            continue
        if not all("N" in one and "PE" in one for one in landing):
            continue
        after = changed(site)
        after.setdefault("bonds", {})
        after["bonds"] = {**(after["bonds"] or {}), "one-too-many": {"at": board, "size": "16 mm2"}}
        must = (("neutral-bonded-twice", ""), ("it-bonded", ""), ("bond-behind-rcd", ""))
        yield board, after, must, REFERENCE | CURRENTS | SIZES


def bond_with_impedance(site: Site) -> Iterator[Any]:
    for identifier in site.get("bonds") or {}:
        if not _accepted(site, identifier):
            after = changed(site)
            _of(after, "bonds", identifier)["impedance"] = "1 kohm"
            yield identifier, after, tuple((rule, "") for rule in REFERENCE), REFERENCE | CURRENTS | EARTHS | SIZES


def thin_bond(site: Site) -> Iterator[Any]:
    """The link where a supplier's PEN is split: what its fault current heats is more than any source of the site gives."""
    landing = {str(link["to"]) for _, _, link in links(site) if "PEN" in cores(link) and "to" in link}
    for identifier, bond in (site.get("bonds") or {}).items():
        if "size" in bond and bond["at"] in landing:
            after = changed(site)
            _of(after, "bonds", identifier)["size"] = "0.5 mm2"
            yield identifier, after, (("bond-small", identifier),), SIZES | {"single-failure-dangerous"}


def drop_electrode(site: Site) -> Iterator[Any]:
    if len(site.get("electrodes") or {}) == 1 and (site.get("bonds") or _inner_bond(site)):
        # what only follows the supply forms no island, and the secondary of a transformer rests on the supply ahead of it
        own = [
            one
            for one in site["sources"].values()
            if one["kind"] != "utility" and one.get("operation") != "grid-following"
        ]
        if site["site"]["rulebook"] != "nec":
            own = [one for one in own if one["kind"] != "transformer"]
        own = [one for one in own if one.get("earthing") != "IT"]
        if own and not any(one.get("mounted") in ("vehicle", "portable") for one in own):
            after = changed(site)
            del after["electrodes"]
            must = (("electrode-missing", ""), ("pe-missing", ""), ("neutral-unreferenced", ""))
            yield next(iter(site["electrodes"])), after, must, REFERENCE | EARTHS | CURRENTS


def _inner_bond(site: Site) -> bool:
    return any(one.get("neutral-bond", "none") != "none" for one in site["sources"].values())


def thin_earthing_conductor(site: Site) -> Iterator[Any]:
    for identifier, electrode in (site.get("electrodes") or {}).items():
        if "conductor" in electrode:
            after = changed(site)
            _of(after, "electrodes", identifier)["conductor"] = "0.75 mm2"
            yield identifier, after, (("earthing-conductor-small", ""),), SIZES


def dry_electrode(site: Site) -> Iterator[Any]:
    """In a TT site the electrode decides on the protection."""
    if any(one.get("earthing") == "TT" for one in site["sources"].values()) and len(site.get("electrodes") or {}) == 1:
        (identifier,) = site["electrodes"]
        after = changed(site)
        entry = _of(after, "electrodes", identifier)
        after["electrodes"][identifier] = {
            "at": entry["at"],
            "resistance": "4 kohm",
            "conductor": entry.get("conductor", "16 mm2"),
        }
        yield identifier, after, (("electrode-resistance-high", identifier),), EARTHS | CURRENTS


def drop_pe_of_circuit(site: Site) -> Iterator[Any]:
    for identifier, circuit in _ac_circuits(site):
        if "PE" in cores(circuit) and circuit.get("equipment") != "class-II":
            after = changed(site)
            entry = _of(after, "circuits", identifier)
            entry["cores"] = " ".join(core for core in cores(entry) if core != "PE")
            entry.pop("pe-size", None)
            yield identifier, after, (("pe-missing", identifier),), EARTHS | CURRENTS


def _guarded(site: Site, circuit: str) -> bool:
    """Whether an RCD may end a fault of a circuit before it heats anything: one at the circuit, or on any cable of the site."""
    every = (_of(site, "circuits", circuit), *site["connections"].values())
    return any(device["kind"] in ("rcd", "rcbo") for one in every for device in one.get("through") or [])


def thin_pe_of_circuit(site: Site) -> Iterator[Any]:
    """A PE far below the lines, where breakers alone end a fault: too thin for the heat, or for a current that opens them."""
    grid = [one for one in site["sources"].values() if one["kind"] == "utility" and "loop-impedance" in one]
    metal = site.get("extraneous") or {}
    bonded = {place for one in metal.values() for place in one.get("near", ())} if isinstance(metal, dict) else set()
    for identifier, circuit in _ac_circuits(site):
        if identifier in bonded:
            continue  # by exception it need not be cleared, and what is not cleared heats without bound
        large = any(float(str(one.get("rating", "0 A")).split()[0]) >= 20 for one in circuit.get("through") or [])
        if grid and large and "PE" in cores(circuit) and "size" in circuit and not _guarded(site, identifier):
            after = changed(site)
            _of(after, "circuits", identifier)["pe-size"] = "0.5 mm2"
            must = (("pe-small", identifier), ("disconnection-too-slow", identifier))
            yield identifier, after, must, SIZES | CURRENTS


def pe_of_nec_by_the_breaker(site: Site) -> Iterator[Any]:
    """NEC 250.122 goes by the overcurrent device, whatever the heat: 18 AWG is below 14 AWG."""
    if site["site"]["rulebook"] == "nec":
        for identifier, circuit in (site.get("circuits") or {}).items():
            if "PE" in cores(circuit) and "size" in circuit and "pe-by" not in circuit:
                after = changed(site)
                _of(after, "circuits", identifier)["pe-size"] = "18 AWG"
                yield identifier, after, (("pe-small", identifier),), SIZES | CURRENTS


def fuse_in_the_neutral(site: Site) -> Iterator[Any]:
    """Where the system is isolated from earth the neutral needs protection against overcurrent too (431.2.2 ?): no defect there."""
    if all(one.get("earthing") == "IT" for one in site["sources"].values()):
        return
    for section, identifier, number, device in _devices(site, "fuse"):
        own = cores(_of(site, section, identifier))
        if "N" in own:
            after = changed(site)
            poles = " ".join(core for core in own if core.startswith("L") or core == "N")
            _of(after, section, identifier)["through"][number]["poles"] = poles
            every = REFERENCE | CURRENTS | EARTHS | INFEED
            yield identifier, after, (("neutral-opens-first", device.get("id", identifier)),), every


def ac_rcd_at_an_inverter(site: Site) -> Iterator[Any]:
    """Type AC sees no direct current, and an inverter that is not separated from its d.c. side may give some (712.530 ?)."""
    joined = {name for name, one in site["sources"].items() if one.get("isolated") in ("no", False)}
    for section, identifier, number, device in _devices(site, "rcd", "rcbo"):
        link = _of(site, section, identifier)
        ends = {str(link["from"]).split(".")[0], str(link.get("to", "")).split(".")[0]}
        if ends & joined and device.get("type") in ("B", "F") and site["site"]["rulebook"] != "nec":
            after = changed(site)
            _of(after, section, identifier)["through"][number]["type"] = "AC"
            must = (("rcd-type-unsuitable", device.get("id", identifier)),)
            yield identifier, after, must, CURRENTS | {"rcd-type-unsuitable"}


def impatient_rcd(site: Site) -> Iterator[Any]:
    """The RCD at the head without its delay, ahead of those of the circuits."""
    if site["site"]["rulebook"] != "nec":
        for section, identifier, number, device in _devices(site, "rcd"):
            if device.get("delay") == "S":
                after = changed(site)
                del _of(after, section, identifier)["through"][number]["delay"]
                must = (("rcd-not-selective", device.get("id", identifier)),)
                yield identifier, after, must, frozenset()


def animals_without_rcd(site: Site) -> Iterator[Any]:
    """A final circuit of a place for animals needs 300 mA (705.411.1 ?)."""
    if site["site"]["rulebook"] in ("iec", "bs7671"):
        for identifier, circuit in _ac_circuits(site):
            rated = any("rating" in one for one in circuit.get("through") or [])
            if rated and not _guarded(site, identifier) and circuit.get("serves") == "fixed":
                after = changed(site)
                _of(after, "circuits", identifier)["place"] = "agricultural"
                yield identifier, after, (("rcd-missing", identifier),), frozenset()


def pe_through_a_pole(site: Site) -> Iterator[Any]:
    for section, identifier, link in links(site):
        if "PE" in cores(link) and link.get("through"):
            after = changed(site)
            device = _of(after, section, identifier)["through"][0]
            device["poles"] = " ".join(core for core in cores(link) if core != "PEN")
            device["kind"], device["operable"] = "isolator", True
            for key in ("curve", "class", "residual", "type", "delay", "senses", "breaking-capacity", "instantaneous"):
                device.pop(key, None)
            must = (("pe-switched", device.get("id", identifier)),)
            every = REFERENCE | CURRENTS | EARTHS | SIZES | INFEED | {"rcd-type-unsuitable", "neutral-opens-first"}
            every |= {"dc-unfused"}  # where it was the fuse of a battery
            yield f"{identifier}", after, must, every


def pen_through_a_pole(site: Site) -> Iterator[Any]:
    for section, identifier, link in links(site):
        for number, device in enumerate(link.get("through") or []):
            if "PEN" in cores(link) and device["kind"] in ("isolator", "switch"):
                after = changed(site)
                _of(after, section, identifier)["through"][number]["poles"] = link["cores"]
                yield (
                    identifier,
                    after,
                    (("pen-switched", device.get("id", identifier)),),
                    REFERENCE | CURRENTS | EARTHS,
                )


def thin_pen(site: Site) -> Iterator[Any]:
    for section, identifier, link in links(site):
        if "PEN" in cores(link) and "size" in link:
            after = changed(site)
            _of(after, section, identifier)["n-size"] = "1.5 mm2"
            yield identifier, after, (("pen-small", identifier),), SIZES | CURRENTS


# -- neutrals and changeovers ------------------------------------------------------------------------------------------------


def solid_changeover(site: Site) -> Iterator[Any]:
    if any(one.get("earthing") == "IT" for one in site["sources"].values()):
        return  # no neutral is tied to earth: nothing is tied twice
    for identifier, changeover in (site.get("changeovers") or {}).items():
        if "N" in str(changeover["poles"]).split():
            after = changed(site)
            entry = _of(after, "changeovers", identifier)
            entry["poles"] = " ".join(pole for pole in str(entry["poles"]).split() if pole != "N")
            yield (
                identifier,
                after,
                (("changeover-neutral-solid", ""), ("neutral-bonded-twice", ""), ("neutral-borrowed", "")),
                (REFERENCE | CURRENTS | INFEED),
            )


def neutral_changed_alone(site: Site) -> Iterator[Any]:
    for identifier, changeover in (site.get("changeovers") or {}).items():
        if "N" in str(changeover["poles"]).split():
            after = changed(site)
            _of(after, "changeovers", identifier)["poles"] = "N"
            yield (
                identifier,
                after,
                (("neutral-opens-first", identifier),),
                (
                    REFERENCE
                    | CURRENTS
                    | INFEED
                    | SIZES
                    | {"device-does-not-fit", "rcd-type-unsuitable", "never-energised"}
                ),
            )


def switched_neutral(site: Site) -> Iterator[Any]:
    """In AS/NZS the neutral of the supply stays connected."""
    if site["site"]["rulebook"] == "as-nzs":
        for identifier, changeover in (site.get("changeovers") or {}).items():
            if "N" not in str(changeover["poles"]).split():
                after = changed(site)
                entry = _of(after, "changeovers", identifier)
                entry["poles"] = f"{entry['poles']} N"
                yield identifier, after, (("changeover-neutral-switched", identifier),), REFERENCE | CURRENTS


def bonded_set(site: Site) -> Iterator[Any]:
    for identifier, source in site["sources"].items():
        if source["kind"] == "generator" and source.get("neutral-bond") == "none" and _pe_leads_to(site, identifier):
            after = changed(site)
            _of(after, "sources", identifier)["neutral-bond"] = "fixed"
            must = tuple((rule, "") for rule in ("neutral-bonded-twice", "changeover-neutral-solid", "it-bonded"))
            yield identifier, after, must, REFERENCE | CURRENTS | EARTHS


def _pe_leads_to(site: Site, source: str) -> bool:
    return any("PE" in cores(one) and source in (str(one["from"]), str(one.get("to"))) for _, _, one in links(site))


def relay_forgotten(site: Site) -> Iterator[Any]:
    for identifier, source in site["sources"].items():
        if source.get("neutral-bond") == "while-inverting":
            after = changed(site)
            _of(after, "sources", identifier)["neutral-bond"] = "none"
            must = (("neutral-unreferenced", ""), ("island-reference-borrowed", ""))
            yield identifier, after, must, REFERENCE | CURRENTS | EARTHS


def relay_never_opens(site: Site) -> Iterator[Any]:
    for identifier, source in site["sources"].items():
        if source.get("neutral-bond") == "while-inverting" and source.get("mains-input"):
            after = changed(site)
            _of(after, "sources", identifier)["neutral-bond"] = "fixed"
            must = (("neutral-bonded-twice", ""), ("bond-behind-rcd", ""))
            yield identifier, after, must, REFERENCE | CURRENTS | INFEED


def neutral_through_solid(site: Site) -> Iterator[Any]:
    for identifier, source in site["sources"].items():
        if source.get("neutral-through") == "switched" and source.get("neutral-bond") == "while-inverting":
            after = changed(site)
            _of(after, "sources", identifier)["neutral-through"] = "solid"
            must = (("neutral-bonded-twice", ""), ("bond-behind-rcd", ""), ("changeover-neutral-solid", ""))
            yield identifier, after, must, REFERENCE | CURRENTS | INFEED


def condition_inverted(site: Site) -> Iterator[Any]:
    for identifier, bond in (site.get("bonds") or {}).items():
        for variable, value in (bond.get("closed") or {}).items():
            if value == "inverting":
                after = changed(site)
                _of(after, "bonds", identifier)["closed"][variable] = ["passing", "off"]
                must = (("neutral-unreferenced", ""), ("island-reference-borrowed", ""), ("neutral-bonded-twice", ""))
                yield identifier, after, must, REFERENCE | CURRENTS | EARTHS | {"reference-lost-in-transition"}


def slow_relay(site: Site) -> Iterator[Any]:
    for identifier, bond in (site.get("bonds") or {}).items():
        if "closed" in bond:
            after = changed(site)
            entry = _of(after, "bonds", identifier)
            entry["closes-after"], entry["opens-after"] = "2 s", "2 s"
            yield identifier, after, (("reference-lost-in-transition", identifier),), frozenset()


def crossed_cores(site: Site) -> Iterator[Any]:
    for section, identifier, link in links(site):
        own = cores(link)
        if own[:2] == ["L1", "N"] and not link.get("lands-on"):
            after = changed(site)
            _of(after, section, identifier)["lands-on"] = {"L1": "N", "N": "L1"}
            every = (
                REFERENCE
                | CURRENTS
                | EARTHS
                | INFEED
                | SIZES
                | {"never-energised", "nothing-supplied", "rcd-type-unsuitable"}
            )
            yield identifier, after, (("device-does-not-fit", identifier),), every


def circuit_without_neutral(site: Site) -> Iterator[Any]:
    """A single-phase circuit whose load has no way back."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        own = cores(circuit)
        if "N" in own and len([core for core in own if core.startswith("L")]) == 1 and not circuit.get("lands-on"):
            after = changed(site)
            entry = _of(after, "circuits", identifier)
            entry["cores"] = " ".join(core for core in own if core != "N")
            for device in entry.get("through") or []:
                for key in ("poles", "senses"):
                    if key in device:
                        device[key] = " ".join(core for core in str(device[key]).split() if core != "N")
            yield identifier, after, (("neutral-borrowed", identifier), ("device-does-not-fit", "")), CURRENTS | SIZES


# -- protection --------------------------------------------------------------------------------------------------------------


def _devices(site: Site, *kinds: str) -> Iterator[tuple[str, str, int, Site]]:
    for section, identifier, link in links(site):
        for number, device in enumerate(link.get("through") or []):
            if device["kind"] in kinds:
                yield section, identifier, number, device


def _sockets_behind(site: Site, identifier: str) -> bool:
    """Whether nothing but a cable's own RCD protects socket-outlets: those of the cable itself, or of the bars behind it."""
    entry = (site.get("circuits") or {}).get(identifier)
    if entry is not None:
        return bool(entry.get("serves") == "socket-outlets")
    far = str(site["connections"][identifier].get("to"))
    feeders = [one for one in site["connections"].values() if str(one.get("to")) == far or str(one["from"]) == far]
    hanging = [one for one in (site.get("circuits") or {}).values() if str(one["from"]) == far]
    own = [one for one in hanging if any(d["kind"] in ("rcd", "rcbo") for d in one.get("through") or [])]
    return len(feeders) == 1 and any(one.get("serves") == "socket-outlets" for one in hanging if one not in own)


def coarse_rcd(site: Site) -> Iterator[Any]:
    if site["site"]["rulebook"] == "nec":
        return  # there the room decides, which nothing says
    for section, identifier, number, device in _devices(site, "rcd", "rcbo"):
        if str(device.get("residual")) == "30 mA" and _sockets_behind(site, identifier):
            after = changed(site)
            _of(after, section, identifier)["through"][number]["residual"] = "500 mA"
            yield (
                identifier,
                after,
                (("rcd-missing", ""),),
                CURRENTS | {"rcd-not-selective", "electrode-resistance-high"},
            )


def rcd_sums_lines_only(site: Site) -> Iterator[Any]:
    for section, identifier, number, device in _devices(site, "rcd", "rcbo"):
        own = cores(_of(site, section, identifier))
        if "N" in own and "senses" not in device:
            after = changed(site)
            _of(after, section, identifier)["through"][number]["senses"] = " ".join(
                core for core in own if core.startswith("L")
            )
            must = (("device-does-not-fit", device.get("id", identifier)),)
            yield identifier, after, must, CURRENTS | INFEED | {"bond-behind-rcd"}


def leaky_circuit(site: Site) -> Iterator[Any]:
    for identifier, circuit in (site.get("circuits") or {}).items():
        guarded = any(
            d["kind"] in ("rcd", "rcbo") and d.get("residual") == "30 mA" for d in circuit.get("through") or []
        )
        if guarded and "PE" in cores(circuit) and "size" in circuit and circuit.get("equipment") != "class-II":
            after = changed(site)
            _of(after, "circuits", identifier)["leakage"] = "40 mA"
            yield identifier, after, (("rcd-trips-in-service", ""),), CURRENTS


def weak_breaker(site: Site) -> Iterator[Any]:
    for section, identifier, number, device in _devices(site, "mcb", "rcbo", "mccb", "fuse"):
        if "breaking-capacity" in device:
            after = changed(site)
            _of(after, section, identifier)["through"][number]["breaking-capacity"] = "20 A"
            must = (("breaking-capacity-low", device.get("id", identifier)), ("breaking-capacity-low", ""))
            yield identifier, after, must, frozenset()


def _ampere(site: Site, circuit: Site) -> float:
    """The current of a single-phase load by Ohm's law, in A; 0 where it is not one of watts on a line and a neutral."""
    value, unit = str(circuit.get("load", "0 W")).split()
    own = cores(circuit)
    volts = {str(source.get("voltage", "230 V")).split("/")[0].split()[0] for source in site["sources"].values()}
    if unit not in ("W", "kW") or "N" not in own or len([core for core in own if core.startswith("L")]) != 1:
        return 0.0
    return float(value) * (1000 if unit == "kW" else 1) / max(float(one) for one in volts)


def long_circuit(site: Site) -> Iterator[Any]:
    """So long that copper alone loses a fifth of 230 V: 0.0175 ohm mm2/m there and back (IEC 60228 at 20 C, rounded)."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        ampere = _ampere(site, circuit)
        size = str(circuit.get("size", ""))
        if ampere > 1 and size.endswith("mm2"):
            after = changed(site)
            metre = 0.2 * 230 * float(size.split()[0]) / (2 * 0.0175 * ampere)
            if metre < 5_000:
                _of(after, "circuits", identifier)["length"] = f"{metre:.0f} m"
                yield identifier, after, (("voltage-drop-high", identifier),), CURRENTS | SIZES


def large_load(site: Site) -> Iterator[Any]:
    """As long as it is, but with a load that makes copper alone lose a fifth of 230 V."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        size, length = str(circuit.get("size", "")), str(circuit.get("length", ""))
        if _ampere(site, circuit) and size.endswith("mm2") and length.endswith(" m"):
            after = changed(site)
            ampere = 0.2 * 230 * float(size.split()[0]) / (2 * 0.0175 * float(length.split()[0]))
            _of(after, "circuits", identifier)["load"] = f"{ampere:.0f} A"
            yield identifier, after, (("voltage-drop-high", identifier),), CURRENTS


def huge_breaker(site: Site) -> Iterator[Any]:
    """D 32 asks for 640 A (IEC 60898-1), more than 230 V drives through 0.36 ohm, where nothing but fuses lie ahead."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        devices = circuit.get("through") or []
        ways = [one for one in site["connections"].values() if str(one.get("to")) == str(circuit["from"])]
        source = site["sources"].get(str(ways[0]["from"]), {}) if len(ways) == 1 else {}
        loop = float(str(source.get("loop-impedance", "0 ohm")).split()[0])
        if len(devices) == 1 and devices[0]["kind"] == "mcb" and loop >= 0.35 and site["site"]["rulebook"] != "nec":
            ahead = [device for device in ways[0].get("through") or [] if device["kind"] != "isolator"]
            if all(device["kind"] == "fuse" for device in ahead):
                after = changed(site)
                device = _of(after, "circuits", identifier)["through"][0]
                device["rating"], device["curve"] = "32 A", "D"
                must = (("disconnection-too-slow", identifier), ("rcd-missing", identifier))
                yield identifier, after, must, CURRENTS | SIZES


def no_interlock(site: Site) -> Iterator[Any]:
    for number in range(len(site.get("interlocks") or [])):
        after = changed(site)
        del after["interlocks"][number]
        if not after["interlocks"]:
            del after["interlocks"]
        rules = ("sources-in-parallel", "backfeed", "inverter-feeds-itself", *sorted(REFERENCE))
        every = REFERENCE | CURRENTS | INFEED | SIZES | {"pe-missing"}
        yield str(number), after, tuple((rule, "") for rule in rules), every


def output_on_own_input(site: Site) -> Iterator[Any]:
    """A spare cable from the output of a pass-through inverter to the board that its input hangs on."""
    for identifier, source in site["sources"].items():
        ways = [one for one in site["connections"].values() if str(one.get("to")) == f"{identifier}.in"]
        if source.get("mains-input") and len(ways) == 1 and str(ways[0]["from"]) in (site.get("boards") or {}):
            after = changed(site)
            own = [core for core in cores(ways[0]) if core != "PEN"]
            after["connections"]["spare"] = {
                "from": f"{identifier}.out", "to": str(ways[0]["from"]), "cores": " ".join(own), "size": "10 mm2", "length": "3 m",
                "through": [{"kind": "mcb", "curve": "B", "rating": "16 A", "breaking-capacity": "25 kA"}],
            }  # fmt: skip
            every = REFERENCE | CURRENTS | EARTHS | INFEED | SIZES | {"rcd-type-unsuitable"}
            yield identifier, after, (("inverter-feeds-itself", identifier), ("sources-in-parallel", "")), every


def sockets_round_the_rcd(site: Site) -> Iterator[Any]:
    """Socket-outlets on the bars of the board instead of those behind its RCD."""
    if site["site"]["rulebook"] != "nec":
        for identifier, circuit in (site.get("circuits") or {}).items():
            outer = ((site.get("boards") or {}).get(str(circuit["from"])) or {}).get("inside")
            own = any(device["kind"] in ("rcd", "rcbo") for device in circuit.get("through") or [])
            ways = [one for one in site["connections"].values() if str(one.get("to")).split(".")[0] == outer]
            ahead = any(device["kind"] in ("rcd", "rcbo") for one in ways for device in one.get("through") or [])
            if outer and circuit.get("serves") == "socket-outlets" and not own and not ahead:
                after = changed(site)
                _of(after, "circuits", identifier)["from"] = outer
                yield identifier, after, (("rcd-missing", identifier),), CURRENTS | SIZES


# -- direct current, places ---------------------------------------------------------------------------------------------------


def dc_pole_earthed(site: Site) -> Iterator[Any]:
    for identifier, source in (site.get("direct-current") or {}).items():
        if source.get("earthed-pole") == "none" and any(
            one.get("isolated") == "no" or one.get("isolated") is False for one in site["sources"].values()
        ):
            after = changed(site)
            _of(after, "direct-current", identifier)["earthed-pole"] = "negative"
            yield identifier, after, (("dc-earth-conflict", identifier),), frozenset()


def dc_frame_loose(site: Site) -> Iterator[Any]:
    for identifier in site.get("direct-current") or {}:
        after = changed(site)
        for one in after["connections"].values():
            if identifier in (str(one["from"]), str(one["to"])):
                one["cores"] = " ".join(core for core in cores(one) if core != "PE")
        yield identifier, after, (("dc-frame-unbonded", identifier),), frozenset()


def dc_unwatched(site: Site) -> Iterator[Any]:
    for identifier, source in (site.get("direct-current") or {}).items():
        if source.get("earthed-pole") == "none" and float(str(source.get("voltage", "0 V")).split()[0]) > 120:
            after = changed(site)
            _of(after, "direct-current", identifier)["monitoring"] = "none"
            yield identifier, after, (("dc-earth-fault-unwatched", identifier),), frozenset()


_BREAKING = ("fuse", "mcb", "mccb", "rcbo")


def _battery_leads(site: Site) -> Iterator[tuple[str, str]]:
    """Batteries with each of their cables that has an overcurrent device and ends at no board near by."""
    for identifier, source in (site.get("direct-current") or {}).items():
        for name, link in site["connections"].items():
            ends = [str(link[end]) for end in ("from", "to")]
            near = float(str(link.get("length", "0 m")).split()[0]) <= 3
            unprotected = not any(device["kind"] in _BREAKING for device in link.get("through") or [])
            if source["kind"] != "battery" or identifier not in ends or unprotected:
                continue
            if not (near and {*ends} & {*site["boards"]}):
                yield identifier, name


def dc_fuse_left_out(site: Site) -> Iterator[Any]:
    for battery, name in _battery_leads(site):
        after = changed(site)
        link = _of(after, "connections", name)
        link["through"] = [device for device in link["through"] if device["kind"] not in _BREAKING]
        yield name, after, (("dc-unfused", battery),), frozenset()


def dc_isolator_for_fuse(site: Site) -> Iterator[Any]:
    """An isolator breaks no short circuit."""
    for battery, name in _battery_leads(site):
        after = changed(site)
        link = _of(after, "connections", name)
        link["through"] = [{"kind": "isolator", "operable": "yes"}]
        yield name, after, (("dc-unfused", battery),), frozenset()


def dc_fuse_in_the_earthed_pole(site: Site) -> Iterator[Any]:
    for battery, name in _battery_leads(site):
        pole = {"positive": "DC+", "negative": "DC-"}.get(str(site["direct-current"][battery].get("earthed-pole")))
        if pole:
            after = changed(site)
            for device in _of(after, "connections", name)["through"]:
                device["poles"] = pole
            yield name, after, (("dc-unfused", battery),), frozenset()


def dc_breaker_weak(site: Site) -> Iterator[Any]:
    """A device that breaks 50 A of direct current, which every battery exceeds."""
    for battery, name in _battery_leads(site):
        after = changed(site)
        device = next(one for one in _of(after, "connections", name)["through"] if one["kind"] in _BREAKING)
        device["dc-breaking-capacity"] = "50 A"
        yield f"{battery} {name}", after, (("breaking-capacity-low", str(device.get("id", name))),), frozenset()


def on_a_pitch(site: Site) -> Iterator[Any]:
    """A board of a TN-C-S supply in a caravan, in the rulebook that forbids it."""
    grid = [one for one in site["sources"].values() if one["kind"] == "utility"]
    if site["site"]["rulebook"] == "bs7671" and grid and all(one["earthing"] == "TN-C-S" for one in grid):
        for board, entry in (site.get("boards") or {}).items():
            entry = entry or {}
            arriving = [cores(one) for one in site["connections"].values() if str(one.get("to")).split(".")[0] == board]
            if not entry.get("inside") and entry.get("bars") != "PE" and any("PE" in one for one in arriving):
                after = changed(site)
                after["boards"][board] = {**entry, "place": "caravan"}
                yield board, after, (("pen-earth-not-allowed", ""),), CURRENTS


def _own_rcbo(site: Site) -> Iterator[tuple[str, int, Site]]:
    """Circuits for socket-outlets of one line with an RCBO of 30 mA of their own, in sites that stand still and are no IT systems."""
    other = any(one.get("earthing") == "IT" or "mounted" in one for one in site["sources"].values())
    other = other or any(one.get("plug") for one in site["connections"].values())
    for section, identifier, number, device in _devices(site, "rcbo"):
        circuit = _of(site, section, identifier)
        single = sum(core.startswith("L") for core in cores(circuit)) == 1 and "N" in cores(circuit)
        if circuit.get("serves") == "socket-outlets" and device.get("residual") == "30 mA" and single and not other:
            yield identifier, number, circuit


def outlet_on_a_quay_of_one_pole(site: Site) -> Iterator[Any]:
    """A socket-outlet on a quay whose device leaves the neutral closed (709.531.2 ?)."""
    if site["site"]["rulebook"] in ("iec", "bs7671"):
        for identifier, number, circuit in _own_rcbo(site):
            line = next(core for core in cores(circuit) if core.startswith("L"))
            after = changed(site)
            _of(after, "circuits", identifier)["place"] = "marina"
            _of(after, "circuits", identifier)["through"][number]["poles"] = line
            yield identifier, after, (("rcd-missing", identifier),), frozenset({"pen-earth-not-allowed"})


def type_ac_in_a_surgery(site: Site) -> Iterator[Any]:
    """An RCD of type AC ahead of a medical place (710.411.3.2.1 ?)."""
    if site["site"]["rulebook"] in ("iec", "bs7671"):
        for identifier, number, circuit in _own_rcbo(site):
            device = circuit["through"][number]
            after = changed(site)
            _of(after, "circuits", identifier)["place"] = "medical"
            _of(after, "circuits", identifier)["through"][number]["type"] = "AC"
            must = (("rcd-type-unsuitable", device.get("id", identifier)),)
            yield identifier, after, must, frozenset({"touch-voltage-high", "source-too-weak-to-trip"})


def weak_monitor_in_a_ward(site: Site) -> Iterator[Any]:
    """A monitor of 10 kohm where an IT system supplies a medical place (710.411.6.3.11 ?, 517.160(B) ?)."""
    for identifier, monitor in (site.get("monitors") or {}).items():
        after = changed(site)
        _of(after, "monitors", identifier)["impedance"] = "10 kohm"
        for circuit in after["circuits"].values():
            circuit["place"] = "medical"
        if str(monitor["at"]).split(".")[0] in (site.get("boards") or {}):
            yield identifier, after, (("it-without-monitor", identifier),), CURRENTS


def outlets_without_a_frame(site: Site) -> Iterator[Any]:
    """Socket-outlets of class II with a breaker in place of their RCBO: 411.3.3 asks for the RCD all the same."""
    if site["site"]["rulebook"] != "nec":
        ahead = any(
            d["kind"] in ("rcd", "rcbo") for one in site["connections"].values() for d in one.get("through") or []
        )
        for identifier, number, circuit in _own_rcbo(site) if not ahead else ():
            after = changed(site)
            entry = _of(after, "circuits", identifier)
            entry["equipment"] = "class-II"
            entry["cores"] = " ".join(core for core in cores(circuit) if core != "PE")
            entry.pop("pe-size", None)
            entry["through"][number] = {
                key: value
                for key, value in {**entry["through"][number], "kind": "mcb"}.items()
                if key not in ("residual", "type", "senses", "delay")
            }
            yield identifier, after, (("rcd-missing", identifier),), frozenset()


def thin_cable_to_the_earth_bar(site: Site) -> Iterator[Any]:
    for identifier, link in site["connections"].items():
        if cores(link) == ["PE"] and "size" in link:
            after = changed(site)
            _of(after, "connections", identifier)["size"] = "0.5 mm2"
            yield identifier, after, tuple((rule, "") for rule in sorted(SIZES)), SIZES | CURRENTS | EARTHS


def electrode_of_another_house(site: Site) -> Iterator[Any]:
    """An electrode at the end of a circuit, beside the PE that it has: nothing is wrong with that, and nothing may be said."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        if "PE" in cores(circuit) and circuit.get("equipment") != "class-II" and site.get("electrodes"):
            after = changed(site)
            after["electrodes"]["aside"] = {"at": identifier, "resistance": "30 ohm", "conductor": "16 mm2"}
            yield identifier, after, (), frozenset(("neutral-current-in-pe", "bonding-conductor-small"))


def note_added(site: Site) -> Iterator[Any]:
    """A word for people: an equivalent site."""
    for board, entry in (site.get("boards") or {}).items():
        after = changed(site)
        after["boards"][board] = {**(entry or {}), "note": "painted grey"}
        yield board, after, (), frozenset()


_NEXT = {"1.5": "2.5", "2.5": "4", "4": "6", "6": "10", "10": "16", "16": "25", "25": "35"}
"""Sizes of conductors, in mm2 (IEC 60228)."""


def larger_cable(site: Site) -> Iterator[Any]:
    """The next sizes of a circuit: better or as good."""
    for identifier, circuit in (site.get("circuits") or {}).items():
        if str(circuit.get("size", "")).endswith("mm2"):
            after = changed(site)
            entry = _of(after, "circuits", identifier)
            if str(entry["size"]).split()[0] not in _NEXT:
                continue
            entry["size"] = f"{_NEXT[str(entry['size']).split()[0]]} mm2"
            if "PE" in cores(entry):
                entry["pe-size"] = entry["size"]
            # supplementary bonding goes by half of the PE
            yield identifier, after, (), frozenset(("breaking-capacity-low", "bonding-conductor-small"))


OPERATORS: tuple[Operator, ...] = (
    *(drop_bond, add_bond, bond_with_impedance, thin_bond, drop_electrode, thin_earthing_conductor, dry_electrode),
    *(drop_pe_of_circuit, thin_pe_of_circuit, pe_through_a_pole, pen_through_a_pole, thin_pen, solid_changeover),
    *(neutral_changed_alone, switched_neutral, bonded_set, relay_forgotten, relay_never_opens, neutral_through_solid),
    *(condition_inverted, slow_relay, crossed_cores, circuit_without_neutral, coarse_rcd, rcd_sums_lines_only),
    *(leaky_circuit, weak_breaker, long_circuit, large_load, huge_breaker, no_interlock, output_on_own_input),
    *(pe_of_nec_by_the_breaker, fuse_in_the_neutral, ac_rcd_at_an_inverter, impatient_rcd, animals_without_rcd),
    *(thin_cable_to_the_earth_bar, electrode_of_another_house, note_added, larger_cable),
    *(sockets_round_the_rcd, dc_pole_earthed, dc_frame_loose, dc_unwatched, on_a_pitch),
    *(dc_fuse_left_out, dc_isolator_for_fuse, dc_fuse_in_the_earthed_pole, dc_breaker_weak),
    *(outlet_on_a_quay_of_one_pole, type_ac_in_a_surgery, weak_monitor_in_a_ward, outlets_without_a_frame),
)


def good_sites() -> list[Path]:
    """The good sites of the fixtures, and the bases of the rules' examples."""
    fixtures = [path for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem]
    return [*fixtures, *sorted((ROOT / "rules" / "onebond_rules" / "bases").glob("*.yaml"))]


def defects(site: Site) -> Iterator[Defect]:
    """Every defect of a site, in a fixed order."""
    for operator in OPERATORS:
        for place, after, must, may in operator(site):
            yield Defect(operator.__name__, place, after, must, may | {rule for rule, _ in must})


class Outcome(NamedTuple):
    """What the rules say of a defect: what is wrong with that, in words, or ''; and the rules that found something."""

    defect: Defect
    complaint: str
    found: frozenset[str]


def judged(defect: Defect) -> Outcome:
    """Inspect a defect and compare."""
    import generate
    from onebond.document import parse
    from onebond.engine import inspect
    from onebond.loading import load_rules
    from onebond.reading import read

    document = parse(generate.written(defect.site).encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    if installation is None:
        return Outcome(defect, f"cannot be read: {problems[0].message if problems else 'spoiled'}", frozenset())
    results = inspect(installation, document, load_rules(), today="2026-11-25").results
    failing = [one for one in results if one.kind == "fail" and one.waiver is None]
    found = {(one.rule, one.subject) for one in failing}
    rules = frozenset(rule for rule, _ in found)
    if defect.must and not any(
        (rule, subject) in found or (not subject and rule in rules) for rule, subject in defect.must
    ):
        said = ", ".join(sorted(rules)) or "nothing"
        return Outcome(
            defect, f"not found; wanted {' or '.join(sorted({rule for rule, _ in defect.must}))}, found {said}", rules
        )
    beside = sorted({one.rule for one in failing if one.because is None and one.level != "note"} - defect.may)
    return Outcome(defect, f"found beside it: {', '.join(beside)}" if beside else "", rules)


def main(step: int) -> int:
    """All defects, or every so many; prints the matrix and returns how many are complained of."""
    matrix: dict[str, Counter[str]] = {}
    operators: Counter[str] = Counter()
    wrong = 0
    number = 0
    for path in good_sites():
        for defect in defects(load(path)):
            number += 1
            if number % step:
                continue
            operators[defect.operator] += 1
            outcome = judged(defect)
            for rule in outcome.found:
                matrix.setdefault(rule, Counter())[defect.operator] += 1
            if outcome.complaint:
                wrong += 1
                sys.stdout.write(f"{path.stem}: {defect.operator} at {defect.place}: {outcome.complaint}\n")
    for rule in sorted(matrix):
        told = ", ".join(f"{operator} {count}" for operator, count in matrix[rule].most_common())
        sys.stdout.write(f"{rule} ({len(matrix[rule])} operators): {told}\n")
    sys.stdout.write(f"{sum(operators.values())} defects by {len(operators)} operators, {wrong} complained of\n")
    return wrong


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 1) else 0)
