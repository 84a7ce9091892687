"""Random installations of format version 1: valid to read, electrically good, bad or strange.

``build`` takes a ``random.Random``; hypothesis hands in one of its own, so that a failing installation is made smaller by
itself, and a long run hands in a seeded one.
"""

from __future__ import annotations

import io
from random import Random
from typing import Any

from hypothesis import strategies as st
from ruamel.yaml import YAML

Description = dict[str, Any]

RULEBOOKS = ("iec", "bs7671", "nec", "as-nzs", "sans")
MOST_COMBINATIONS = 20_000


class Builder:
    """Draws one installation piece by piece and keeps the number of combinations of its variables within bounds."""

    def __init__(self, random: Random, most_combinations: int) -> None:
        self.r = random
        self.room = most_combinations
        three = self.chance(0.12)
        self.phases = "L1 L2 L3" if three else "L1"
        self.sources: Description = {}
        self.boards: Description = {}
        self.changeovers: Description = {}
        self.connections: Description = {}
        self.circuits: Description = {}
        self.bonds: Description = {}
        self.electrodes: Description = {}
        self.monitors: Description = {}
        self.groups: Description = {}
        self.extraneous: Description = {}
        self.interlocks: list[Description] = []
        self.controllable: dict[str, tuple[str, ...]] = {}  # what an interlock or a condition may name
        self.any_variable: dict[str, tuple[str, ...]] = {}
        self.counter = 0
        self.all_it = self.chance(0.06)
        self.utility_cores: dict[str, str] = {}

    # ---------------------------------------------------------------- drawing

    def chance(self, probability: float) -> bool:
        """True with a probability; the unlikely outcome is the one that shrinking gives up first."""
        return self.r.random() > 1 - probability

    def pick(self, *values: Any) -> Any:
        """One of the values, the first being the simplest."""
        return values[self.r.randrange(len(values))]

    def afford(self, values: int) -> bool:
        """Whether one more variable with so many values still fits."""
        if self.room < values:
            return False
        self.room //= values
        return True

    def new(self, word: str) -> str:
        """An id that is not in use."""
        self.counter += 1
        return f"{word}-{self.counter}"

    # ---------------------------------------------------------------- sources

    def add_utility(self, sid: str) -> None:
        """A supply of any earthing."""
        if not self.afford(3):
            return
        earthing = "IT" if self.all_it else self.pick("TN-C-S", "TN-S", "TT", "TN-C-S")
        self.sources[sid] = {"kind": "utility", "phases": self.phases, "earthing": earthing}
        self.any_variable[sid] = ("present", "absent")
        if earthing == "TN-C-S":
            self.utility_cores[sid] = self.pick("PEN", "PEN", "N PE")
        else:
            self.utility_cores[sid] = "N PE" if earthing == "TN-S" else "N"

    def add_generator(self) -> str | None:
        """A generating set."""
        if not self.afford(2):
            return None
        sid = self.new("set")
        self.sources[sid] = {"kind": "generator", "phases": self.phases, "neutral-bond": self.pick("none", "fixed")}
        if self.chance(0.15):
            self.sources[sid]["mounted"] = self.pick("portable", "vehicle")
        self.maybe_it(sid)
        self.controllable[sid] = ("running", "standing")
        return sid

    def add_inverter(self) -> str | None:
        """An inverter, stand-alone, following or with a mains input."""
        mains = self.chance(0.6)
        if not self.afford(3 if mains else 2):
            return None
        sid = self.new("inv")
        source = {"kind": "inverter", "phases": self.phases}
        source["neutral-bond"] = self.pick("none", "fixed", "while-inverting")
        if mains:
            source["mains-input"] = "yes"
            source["neutral-through"] = self.pick("switched", "solid")
            if self.chance(0.1):
                source["when-off"] = "through"
        elif self.chance(0.2):
            source["operation"] = "grid-following"
            source["neutral-bond"] = "none"
        self.sources[sid] = source
        self.maybe_it(sid)
        self.controllable[sid] = ("off", "inverting", "passing") if mains else ("off", "inverting")
        return sid

    def maybe_it(self, sid: str) -> None:
        """Declares a source IT, usually all of them or none."""
        if self.all_it or self.chance(0.03):
            self.sources[sid]["earthing"] = "IT"
            if self.chance(0.8):
                self.sources[sid]["neutral-bond"] = "none"

    def add_group(self) -> str | None:
        """Two inverters that act together."""
        if not self.afford(2):
            return None
        members = [self.new("inv"), self.new("inv")]
        for member in members:
            self.sources[member] = {"kind": "inverter", "phases": self.phases, "neutral-bond": "none"}
        gid = self.new("stack")
        self.groups[gid] = {"members": members}
        self.controllable[gid] = ("off", "inverting")
        return gid

    # ---------------------------------------------------------------- conductors

    def devices(self, cores: list[str], allow_rcd: bool = True) -> list[Description]:
        """What a connection passes through."""
        result: list[Description] = []
        lines = [c for c in cores if c.startswith("L")]
        if self.chance(0.4):
            result.append({"kind": self.pick("mcb", "fuse"), "rating": "32 A"})
        if self.counter % 9 == 4:
            result.append({"kind": "meter", "rating": "63 A"})
        if self.chance(0.25) and self.afford(2):
            did = self.new("q")
            device = {"kind": "isolator", "id": did, "operable": "yes"}
            poles = self.pick(lines, [*lines, "N"]) if "N" in cores else lines
            if "PEN" in cores and self.chance(0.15):
                poles = [*lines, "PEN"]
            if "PE" in cores and self.chance(0.04):
                poles = [*poles, "PE"]
            device["poles"] = " ".join(poles)
            if self.chance(0.2):
                device["normally"] = "open"
            result.append(device)
            self.controllable[did] = ("open", "closed")
        if "N" in cores and self.chance(0.06) and self.afford(2):
            device = {"kind": "switch"}  # two-pole and not declared operable: may be open all the same
            if self.chance(0.5):
                device["id"] = self.new("q")
            result.append(device)
        if allow_rcd and "N" in cores and self.chance(0.15) and self.afford(2):
            result.append(self.residual_device(lines))
        if self.chance(0.02):
            result.append({"kind": "mcb", "normally": "open", "rating": "16 A"})
        return result

    def residual_device(self, lines: list[str]) -> Description:
        """An RCD, or a one-pole RCBO that still sums the neutral."""
        device: Description = {"kind": "rcd", "rating": "40 A", "residual": "30 mA", "type": "A"}
        if self.chance(0.2):
            device = {"kind": "rcbo", "rating": "16 A", "residual": "30 mA", "curve": "B"}
            if self.chance(0.5):
                device["poles"] = " ".join(lines)
        if self.chance(0.6):
            device["id"] = self.new("rcd")
        return device

    def connect(self, start: str, finish: str, tail: str | None = None, **more: Any) -> str:
        """A connection; ``tail`` are the cores beside the lines."""
        cid = self.new("c")
        if tail is None:
            tail = "N PE" if not self.chance(0.12) else "N"
        cores = f"{self.phases} {tail}".split()
        connection: Description = {"from": start, "to": finish, "cores": " ".join(cores), **more}
        through = self.devices(cores)
        if through:
            connection["through"] = through
        if self.chance(0.03) and self.afford(2):
            connection["plug"] = "yes"
            self.controllable[cid] = ("mated", "unmated")
        self.connections[cid] = connection
        return cid

    def supply(self, end: str, finish: str) -> None:
        """From the terminals of a source."""
        tail = self.utility_cores.get(end)
        if end in self.groups:
            for member in self.groups[end]["members"]:
                self.connect(member, finish, tail)
        else:
            self.connect(end, finish, tail)

    def feed(self, start: str, finish: str) -> None:
        """From one board to another."""
        tail = None
        if self.chance(0.2):
            tail = "PEN"
        elif self.chance(0.03):
            tail = "PEN PE"
        self.connect(start, finish, tail)

    # ---------------------------------------------------------------- the whole

    def build(self) -> Description:
        """The whole installation."""
        ends: list[str] = []
        inputs: list[str] = []
        if self.chance(0.8):
            self.add_utility("shore")
            if self.chance(0.08):
                self.add_utility("second-shore")
            ends += list(self.sources)
        for kind in range(self.pick(1, 0, 2, 2)):
            made = self.add_inverter() if self.pick(True, True, False) else self.add_generator()
            if kind == 0 and self.chance(0.06):
                made = self.add_group()
            if made is None:
                continue
            if made in self.groups:
                ends.append(made)
            elif "mains-input" in self.sources[made]:
                ends.append(f"{made}.out")
                inputs.append(f"{made}.in")
            else:
                ends.append(made)
        if not ends:
            made = self.add_generator()
            ends.append(str(made))
        boards = ["main"]
        self.boards["main"] = {}
        self.supply(ends.pop(0), "main")
        self.more_boards(boards)
        for _ in range(self.pick(1, 0, 1, 2)):
            self.add_changeover(boards, ends)
        for end in ends:
            if self.chance(0.1) and end not in self.groups:
                place = self.add_circuit(self.pick(*boards))
                self.supply(end, place)
            elif self.chance(0.5):
                own = self.new("board")
                self.boards[own] = {}
                boards.append(own)
                self.supply(end, own)
            else:
                self.supply(end, self.pick(*boards))
        for end in inputs:
            self.connect(self.pick(*boards), end)
        self.more_boards(boards)
        for board in boards:
            if self.chance(0.45):
                self.add_circuit(board)
        self.earthing(boards)
        if self.chance(0.1) and len(self.circuits) > 1:
            self.borrow()
        self.interlock()
        return self.description()

    def more_boards(self, boards: list[str]) -> None:
        """Boards fed from boards, RCD groups among them."""
        for _ in range(self.pick(0, 1, 1, 2)):
            if len(self.boards) >= 6:
                return
            above = self.pick(*boards)
            if self.chance(0.35) and not self.boards[above].get("inside") and self.afford(2):
                bid = self.new("group")
                self.boards[bid] = {"inside": above}
                cores = f"{self.phases} N"
                lines = self.phases.split()
                self.connections[self.new("c")] = {
                    "from": above,
                    "to": bid,
                    "cores": cores,
                    "through": [self.residual_device(lines)],
                }
            else:
                bid = self.new("board")
                self.boards[bid] = {}
                self.feed(above, bid)
            if self.chance(0.1):
                self.boards[bid]["equipment"] = "class-II"
            boards.append(bid)

    def add_changeover(self, boards: list[str], ends: list[str]) -> None:
        """A changeover between a board or source and another, with a board on its common side."""
        count = 3 if self.chance(0.1) else 2
        off = self.chance(0.1)
        if not self.afford(count + off):
            return
        tid = self.new("ts")
        positions = ["grid", "island", "third"][:count]
        neutral = self.pick(" N", "")
        self.changeovers[tid] = {"positions": positions + ["off"] * off, "poles": self.phases + neutral}
        if self.chance(0.02):
            self.changeovers[tid]["poles"] += " PE"
        self.controllable[tid] = tuple(self.changeovers[tid]["positions"])
        for number, position in enumerate(positions):
            if ends and self.chance(0.75 if number else 0.25):
                self.supply(ends.pop(self.r.randrange(len(ends))), f"{tid}.{position}")
            else:
                self.connect(self.pick(*boards), f"{tid}.{position}")
        bid = self.new("board")
        self.boards[bid] = {}
        self.connect(tid, bid)
        boards.append(bid)

    def add_circuit(self, board: str) -> str:
        """A final circuit."""
        cid = self.new("load")
        line = self.pick(*self.phases.split())
        cores = [line, "N", "PE"] if not self.chance(0.12) else [line, "N"]
        circuit: Description = {"from": board, "cores": " ".join(cores), "serves": "fixed"}
        through = self.devices(cores) if self.chance(0.5) else []
        if through:
            circuit["through"] = through
        if self.chance(0.12):
            circuit["equipment"] = "class-II"
        self.circuits[cid] = circuit
        return cid

    def earthing(self, boards: list[str]) -> None:
        """Bonds, electrodes, main earthing terminal, monitors, extraneous metal."""
        places = [b for b in boards if not self.boards[b].get("inside") or self.chance(0.3)]
        places += [s for s in self.sources if s not in self.utility_cores and "mains-input" not in self.sources[s]]
        places += [f"{s}.out" for s in self.sources if "mains-input" in self.sources[s]]
        places += list(self.changeovers)
        places += [f"{t}.{p}" for t, c in self.changeovers.items() for p in c["positions"] if p != "off"]
        pen_in = [c["to"] for c in self.connections.values() if "PEN" in c["cores"].split() and c["to"] in self.boards]
        wanted = [p for p in pen_in if self.chance(0.85)]
        wanted += [self.pick(*(boards if self.chance(0.7) else places)) for _ in range(self.pick(0, 1, 1, 2))]
        for place in wanted:
            bond: Description = {"at": place}
            if self.chance(0.25) and self.controllable:
                bond["closed"] = self.condition({**self.controllable, **self.any_variable}, 1)
            if self.chance(0.04):
                bond["impedance"] = "1 kohm"
            self.bonds[self.new("link")] = bond
        earthed = list(boards)
        if self.chance(0.5):
            self.boards["met"] = {"bars": "PE"}
            self.connections[self.new("c")] = {"from": "met", "to": "main", "cores": "PE"}
            earthed = ["met"]
        for _ in range(self.pick(1, 0, 1, 2)):
            place = self.pick(*earthed) if self.chance(0.7) else self.pick(*boards)
            self.electrodes[self.new("rod")] = {"at": place, "resistance": "30 ohm"}
        if self.chance(0.15):
            for board in boards:
                if not self.boards[board].get("inside") and self.chance(0.7):
                    self.boards[board]["building"] = self.pick("house", "barn")
        if any(s.get("earthing") == "IT" for s in self.sources.values()):
            for _ in range(self.pick(1, 0, 2)):
                self.monitors[self.new("imd")] = {"at": self.pick(*boards)}
        outer = [b for b in boards if not self.boards[b].get("inside")]
        if len(outer) > 1 and self.chance(0.08):
            self.extraneous[self.new("pipe")] = {"joins": outer[-2:], "kind": "water-pipe"}

    def borrow(self) -> None:
        """Takes the neutral of one circuit from elsewhere."""
        ids = list(self.circuits)
        cid, other = ids[-1], ids[0]
        circuit = self.circuits[cid]
        if "through" in circuit or "N" not in circuit["cores"]:
            return
        circuit["cores"] = circuit["cores"].replace(" N", "")
        start = other if self.chance(0.5) else self.pick(*[b for b in self.boards if not self.boards[b].get("bars")])
        self.connections[self.new("c")] = {"from": start, "to": cid, "cores": "N"}

    def condition(self, variables: dict[str, tuple[str, ...]], count: int) -> Description:
        """Some variables, each with a value or two."""
        names = list(variables)
        result: Description = {}
        for _ in range(count):
            name = self.pick(*names)
            values = variables[name]
            value = self.pick(*values)
            result[name] = [v for v in values if v != value] if len(values) > 2 and self.chance(0.2) else value
        return result

    def interlock(self) -> None:
        """Combinations that the installation makes impossible."""
        if not self.controllable:
            return
        free = dict(self.controllable)
        for _ in range(self.pick(0, 0, 1, 2)):
            never = {
                name: value[0] if isinstance(value, list) else value for name, value in self.condition(free, 2).items()
            }
            if len(never) == 2:
                self.interlocks.append({"never": never})
            for name in never:  # two that name one inverter could leave it nothing but to pass what does not arrive
                if name in self.sources and len(free) > 2:
                    free.pop(name)

    def description(self) -> Description:
        """The description as it is written."""
        result: Description = {
            "onebond": 1,
            "site": {"name": "Drawn by lot", "rulebook": self.pick(*RULEBOOKS)},
            "sources": self.sources,
        }
        for word in (
            "boards",
            "changeovers",
            "connections",
            "circuits",
            "bonds",
            "electrodes",
            "monitors",
            "groups",
            "extraneous",
            "interlocks",
        ):
            part = getattr(self, word)
            if part:
                result[word] = part
        return result


def build(random: Random, most_combinations: int = MOST_COMBINATIONS) -> Description:
    """A random installation with at most so many combinations of its variables."""
    return Builder(random, most_combinations).build()


def written(description: Description) -> str:
    """The description as YAML text."""
    yaml = YAML(typ="safe")
    yaml.default_flow_style = None
    yaml.width = 200
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]  # the library types its own default as None
    stream = io.StringIO()
    yaml.dump(description, stream)
    return stream.getvalue()


def installations(most_combinations: int = MOST_COMBINATIONS) -> st.SearchStrategy[Description]:
    """Installations as hypothesis draws (and shrinks) them."""
    return st.randoms(use_true_random=False).map(lambda random: build(random, most_combinations))
