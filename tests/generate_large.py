"""Large installations of our own making, for what has to hold for sixty boards as well as for six."""

from __future__ import annotations

from random import Random
from typing import Any

Description = dict[str, Any]


class Estate:
    """Builds one installation: a tree of boards with everything that hangs from them."""

    def __init__(self, random: Random, boards: int) -> None:
        self.r = random
        self.most = boards
        self.sources: Description = {}
        self.boards: Description = {}
        self.changeovers: Description = {}
        self.connections: Description = {}
        self.circuits: Description = {}
        self.bonds: Description = {}
        self.electrodes: Description = {}
        self.extraneous: Description = {}
        self.number = 0

    def chance(self, probability: float) -> bool:
        """True with a probability."""
        return self.r.random() < probability

    def new(self, word: str) -> str:
        """An id that is not in use, now and then a long one."""
        self.number += 1
        if self.chance(0.08):
            word = f"{word}-in-the-far-corner-of-the-north-wing"
        return f"{word}-{self.number}"

    def devices(self) -> list[Description]:
        """What a cable passes: up to three devices."""
        kinds = (
            {"kind": "mcb", "curve": self.r.choice("BCD"), "rating": f"{self.r.choice((6, 10, 16, 32, 63))} A"},
            {"kind": "mccb", "rating": "160 A", "poles": "L1 L2 L3 N"},
            {"kind": "fuse", "class": "gG", "rating": "63 A"},
            {"kind": "isolator", "rating": "125 A"},
            {"kind": "rcd", "rating": "63 A", "residual": "300 mA", "type": "B", "delay": "S"},
            {"kind": "contactor", "rating": "40 A", "operable": "yes"},
            {"kind": "switch", "rating": "40 A"},
        )
        found = [dict(self.r.choice(kinds)) for _ in range(self.r.choice((0, 1, 1, 1, 2, 3)))]
        for device in found:
            if self.chance(0.3):
                device["id"] = self.new("q")
            if self.chance(0.05):
                device.update({"normally": "open", "operable": "yes"})
        return found

    def connect(self, start: str, finish: str, cores: str = "L1 L2 L3 N PE") -> str:
        """A cable with its devices."""
        name = self.new("c")
        entry: Description = {"from": start, "to": finish, "cores": cores}
        if self.chance(0.9):
            entry["size"] = f"{self.r.choice((2.5, 4, 6, 10, 16, 95, 240))} mm2"
        if self.chance(0.9):
            entry["length"] = f"{self.r.randrange(1, 300)} m"
        if self.chance(0.1):
            entry["pe-size"] = "16 mm2"
        if self.chance(0.1):
            entry["material"] = "aluminium"
        if self.chance(0.03):
            entry["plug"] = "yes"
        devices = self.devices() if "N" in cores.split() else []
        if devices:
            entry["through"] = devices
        self.connections[name] = entry
        return name

    def board(self, above: str) -> str:
        """A board below another one: by a cable, a group behind an RCD, a changeover with its set, or an inverter with its bypass."""
        name = self.new("board")
        self.boards[name] = {}
        sort = self.r.random()
        if sort < 0.15 and not self.boards[above].get("inside"):
            self.boards[name] = {"inside": above}
            self.connections[self.new("group")] = {
                "from": above,
                "to": name,
                "cores": "L1 L2 L3 N",
                "through": [{"kind": "rcd", "rating": "40 A", "residual": "30 mA", "type": "A"}],
            }
        elif sort < 0.23:
            switch, engine = self.new("ts"), self.new("set")
            self.changeovers[switch] = {
                "positions": ["grid", "own", *(["off"] * self.chance(0.4))],
                "poles": "L1 L2 L3 N",
            }
            self.sources[engine] = {
                "kind": "generator",
                "phases": "L1 L2 L3",
                "rating": "40 kVA",
                "neutral-bond": "fixed",
            }
            self.connect(above, f"{switch}.grid")
            self.connect(engine, f"{switch}.own")
            self.connect(switch, name)
        elif sort < 0.33:
            inverter, switch = self.new("inv"), self.new("bypass")
            self.sources[inverter] = {
                "kind": "inverter",
                "phases": "L1 L2 L3",
                "mains-input": "yes",
                "rating": "30 kVA",
                "neutral-through": self.r.choice(("solid", "switched")),
                "neutral-bond": self.r.choice(("none", "fixed", "while-inverting")),
            }
            self.changeovers[switch] = {
                "positions": ["inverter", "bypass"],
                "poles": "L1 L2 L3" + self.r.choice((" N", "")),
            }
            self.connect(above, f"{inverter}.in")
            self.connect(above, f"{switch}.bypass")
            self.connect(f"{inverter}.out", f"{switch}.inverter")
            self.connect(switch, name)
        elif sort < 0.37:
            roof = self.new("roof")
            self.sources[roof] = {
                "kind": "inverter",
                "phases": "L1 L2 L3",
                "operation": "grid-following",
                "rating": "9 kVA",
            }
            self.connect(above, name)
            self.connect(roof, name)
        elif sort < 0.4:
            name_t = self.new("tr")
            self.sources[name_t] = {
                "kind": "transformer",
                "winding": "isolating",
                "phases": "L1 L2 L3",
                "neutral-bond": self.r.choice(("fixed", "none")),
            }
            self.connect(above, f"{name_t}.in")
            self.connect(f"{name_t}.out", name)
        else:
            self.connect(above, name)
        return name

    def circuit(self, board: str) -> None:
        """A final circuit, of one phase or three."""
        name = self.new("way")
        cores = self.r.choice(("L1 N PE", "L2 N PE", "L3 N PE", "L1 L2 L3 N PE", "L1 L2 L3 PE"))
        entry: Description = {
            "from": board,
            "cores": cores,
            "serves": self.r.choice(("fixed", "lighting", "socket-outlets")),
        }
        if self.chance(0.8):
            entry.update({"size": "2.5 mm2", "length": f"{self.r.randrange(2, 90)} m"})
        if self.chance(0.6):
            entry["load"] = f"{self.r.randrange(1, 40) / 2:g} kW"
        if self.chance(0.9):
            kind: Description = {"kind": "mcb", "curve": "B", "rating": "16 A"}
            if self.chance(0.3) and "N" in cores.split():
                kind = {"kind": "rcbo", "curve": "C", "rating": "16 A", "residual": "30 mA", "type": "A"}
            entry["through"] = [kind]
        self.circuits[name] = entry

    def build(self) -> Description:
        """The whole installation."""
        self.sources["grid"] = {"kind": "utility", "phases": "L1 L2 L3", "voltage": "230/400 V", "earthing": "TN-S"}
        self.boards["main"] = {}
        self.connect("grid", "main")
        if self.chance(0.3):
            self.sources["diesel"] = {"kind": "generator", "phases": "L1 L2 L3", "neutral-bond": "none"}
            self.connect("diesel", "main")
        boards = ["main"]
        while len(self.boards) < self.most:
            near = boards[-4:] if self.chance(0.5) else boards
            above = self.r.choice(near)
            boards.append(self.board(above))
        for board in boards:
            for _ in range(self.r.choice((0, 1, 2, 3, 5))):
                self.circuit(board)
        outer = [board for board in boards if not self.boards[board].get("inside")]
        self.boards["met"] = {"bars": "PE"}
        self.connections["earthing"] = {"from": "met", "to": "main", "cores": "PE", "size": "50 mm2"}
        self.electrodes["ring"] = {"at": "met", "resistance": "4 ohm"}
        for board in outer:
            if self.chance(0.1):
                self.bonds[self.new("link")] = {"at": board, "size": "16 mm2"}
            if self.chance(0.1):
                self.electrodes[self.new("rod")] = {"at": board, "rods": 2, "length": "2.4 m"}
        for _ in range(self.most // 12):
            first, second = self.r.sample(outer, 2) if len(outer) > 1 else ("main", "met")
            sort = self.r.random()
            if sort < 0.4:  # a second cable, which may close a ring
                self.connect(first, second)
            elif sort < 0.7:
                self.connections[self.new("pe")] = {"from": first, "to": second, "cores": "PE", "size": "16 mm2"}
            else:
                self.extraneous[self.new("pipe")] = {"joins": [first, second], "kind": "water-pipe"}
        found: Description = {
            "onebond": 1,
            "site": {"name": "A large estate", "rulebook": "iec"},
            "sources": self.sources,
        }
        for word in ("boards", "changeovers", "connections", "circuits", "bonds", "electrodes", "extraneous"):
            if getattr(self, word):
                found[word] = getattr(self, word)
        return found


def build(random: Random, boards: int) -> Description:
    """A random installation of so many boards and its main earthing terminal."""
    return Estate(random, boards).build()
