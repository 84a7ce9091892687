"""Random installations with everything that a number needs: sizes, lengths, ratings, impedances, loads, leakages.

Wraps :mod:`generate`, which draws what joins what, and writes the electrical entries into what it drew.
"""

from __future__ import annotations

from random import Random
from typing import Any

import generate

Description = dict[str, Any]

SIZES_MM2 = (1.5, 2.5, 4, 6, 10, 16, 25, 35)
LACKING = 0.25  # part of the sites in which something is not written


class Builder(generate.Builder):
    """Draws the layout; some sites are split-phase, which the layouts alone never are."""

    def __init__(self, random: Random, most_combinations: int) -> None:
        super().__init__(random, most_combinations)
        if self.chance(0.08):
            self.phases = "L1 L2"


class Writer:
    """Writes numbers into one description."""

    def __init__(self, random: Random, description: Description) -> None:
        self.r = random
        self.d = description

    def chance(self, probability: float) -> bool:
        """True with a probability."""
        return self.r.random() < probability

    def between(self, low: float, high: float, digits: int = 3) -> float:
        """A number between two others, rounded as a person writes it."""
        return round(self.r.uniform(low, high), digits)

    def write(self) -> Description:
        """The description with its numbers."""
        d = self.d
        kinds = {source["kind"] for source in d["sources"].values()}
        three = all(source["phases"] == "L1 L2 L3" for source in d["sources"].values())
        is_it = any(source.get("earthing") == "IT" for source in d["sources"].values())
        self.high = three and not is_it and "inverter" not in kinds and self.chance(0.5)
        for source in d["sources"].values():
            self.source(source)
        enclosure = {board: (data or {}).get("inside", board) for board, data in (d.get("boards") or {}).items()}
        for connection in (d.get("connections") or {}).values():
            start, finish = connection["from"], connection["to"]
            one_enclosure = start in enclosure and enclosure[start] == enclosure.get(finish)
            if not one_enclosure or self.chance(0.2):
                self.cable(connection)
        phases = next(iter(d["sources"].values()))["phases"]
        ends = {connection["to"] for connection in (d.get("connections") or {}).values()}
        for cid, circuit in (d.get("circuits") or {}).items():
            # two or three lines where there are any, with a neutral or without
            plain = cid not in ends and "through" not in circuit and "lands-on" not in circuit
            if len(phases) > 2 and plain and self.chance(0.4):
                lines = self.r.choice((phases, phases[:5]))
                circuit["cores"] = self.r.choice((f"{lines} N PE", f"{lines} PE"))
            self.cable(circuit)
            self.load(circuit)
        for bond in (d.get("bonds") or {}).values():
            if "impedance" in bond:
                bond["impedance"] = f"{self.between(200, 2000, 0):g} ohm"
            elif self.chance(0.3):
                bond["size"], bond["length"] = "6 mm2", f"{self.between(0.2, 2):g} m"
        for electrode in (d.get("electrodes") or {}).values():
            electrode["resistance"] = f"{self.between(2, 80):g} ohm"
        for monitor in (d.get("monitors") or {}).values():
            if self.chance(0.7):
                monitor["impedance"] = "1 Mohm"
        for changeover in (d.get("changeovers") or {}).values():
            changeover["poles"] = changeover["poles"].removesuffix(" PE")
        if self.chance(LACKING):
            self.forget()
        return d

    def source(self, source: Description) -> None:
        """What a source declares."""
        lines = len(source["phases"].split())
        source["voltage"] = {1: "230 V", 2: "120/240 V", 3: "230/400 V"}[lines]
        if lines == 2:
            source["system"] = "split-phase"
        if self.high:
            source["system"], source["voltage"] = "high-leg", self.r.choice(("120/240 V", "240 V"))
        if source["kind"] == "utility":
            source["loop-impedance"] = f"{self.between(0.2, 0.9):g} ohm"
            if source["earthing"] == "TT":
                source["loop-impedance"] = f"{self.between(1, 21):g} ohm"
                if self.chance(0.6):
                    source["fault-current"] = {
                        "max": "3 kA",
                        "min": f"{self.between(500, 1500, 0):g} A",
                        "kind": "line-neutral",
                    }
            elif self.chance(0.5):
                source["fault-current"] = {
                    "max": "3 kA",
                    "min": f"{self.between(500, 1500, 0):g} A",
                    "kind": "line-neutral",
                }
        else:
            source["rating"] = f"{self.between(2, 30, 1):g} kVA"
        if source["kind"] == "generator":
            source["subtransient-reactance"] = f"{self.between(8, 25, 1):g} %"
            source["sustained-fault-current"] = {"limit": f"{self.between(1.5, 4, 1):g} x rated", "for": "10 s"}
            if lines == 3:
                source["negative-sequence-reactance"] = f"{self.between(8, 25, 1):g} %"
                source["zero-sequence-reactance"] = f"{self.between(2, 10, 1):g} %"
        if source["kind"] == "inverter":
            source["fault-current"] = {"limit": f"{self.between(1.2, 4, 1):g} x rated", "for": "100 ms"}
            if self.chance(0.3):
                source["fault-current"]["limit"] = f"{self.between(20, 100, 0):g} A"
            if self.chance(0.3):
                source["filter-capacitance"] = f"{self.between(5, 100, 0):g} nF"

    def cable(self, connection: Description) -> None:
        """Length and sizes of a cable."""
        cores = connection["cores"].split()
        big = "PEN" in cores or ("from" in connection and len(cores) == 1)
        size = self.r.choice(SIZES_MM2[4:] if big else SIZES_MM2)
        connection["size"] = f"{size:g} mm2"
        connection["length"] = f"{self.between(1, 60, 1):g} m"
        smaller = [s for s in SIZES_MM2 if s < size]
        if "PE" in cores and len(cores) > 1 and smaller and self.chance(0.3):
            connection["pe-size"] = f"{self.r.choice(smaller):g} mm2"
        if "N" in cores and len(cores) > 1 and smaller and self.chance(0.1):
            connection["n-size"] = f"{self.r.choice(smaller):g} mm2"
        if self.chance(0.06):
            connection["runs"] = 2
        if self.chance(0.15):
            connection["insulation"] = self.r.choice(("70 C", "90 C"))
        if size >= 16 and "pe-size" not in connection and "n-size" not in connection and self.chance(0.2):
            connection["material"] = "aluminium"

    def load(self, circuit: Description) -> None:
        """What hangs at the end of a circuit."""
        kind = self.r.randrange(4)
        if kind < 2:
            circuit["load"] = f"{self.between(0.1, 3, 2):g} kW"
        elif kind == 2:
            circuit["load"] = f"{self.between(0.1, 3, 2):g} kVA"
        else:
            circuit["load"] = f"{self.between(0.5, 13, 1):g} A"
        circuit["power-factor"] = 1 if self.chance(0.3) else self.between(0.6, 1, 2)
        if sum(core.startswith("L") for core in circuit["cores"].split()) > 1:
            return
        if "PE" in circuit["cores"].split() and circuit.get("equipment") != "class-II":
            circuit["leakage"] = f"{self.between(0.1, 4, 1):g} mA"

    def forget(self) -> None:
        """Leaves out one entry."""
        entries = [
            (part, key)
            for word in ("sources", "connections", "circuits", "electrodes")
            for part in (self.d.get(word) or {}).values()
            for key in ("length", "size", "loop-impedance", "load", "leakage", "resistance", "rating")
            if key in part
        ]
        part, key = self.r.choice(entries)
        del part[key]


def build(random: Random, most_combinations: int) -> Description:
    """A random installation with its numbers."""
    return Writer(random, Builder(random, most_combinations).build()).write()
