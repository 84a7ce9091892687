"""The numbers of the facts against the naive second opinion, on installations drawn by lot with everything written.

Two implementations that share no code have to agree to one part in a million: on the impedance of every fault loop, the fault
current and the touch voltages; and in normal service on voltage drops, residual currents, protective conductor currents and on
how neutral current divides at links that are repeated.  Where an entry is not written, a number of the facts must not rest on it.

A longer run: ``ONEBOND_CIRCUIT_SITES=2000 pytest tests/test_circuit_against_naive.py``, or ``python
tests/test_circuit_against_naive.py FIRST LAST`` for seeds, which prints each description that the two disagree on.
"""

from __future__ import annotations

import itertools
import math
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable
from typing import Any

import generate
import generate_numbers
import naive
import naive_circuit
from naive import Node, State
from naive_circuit import Site, Solved, completions
from onebond.facts import Drop, EarthFault, Facts, PeCurrent, RcdInService, Surplus
from onebond.facts.island import Island
from onebond.facts.service import source_of
from onebond.facts.unknown import Unknown
from onebond.reading import load

SITES = int(os.environ.get("ONEBOND_CIRCUIT_SITES", "60"))
COMBINATIONS = 120
RELATIVE = 1e-6
TOUCH_V = 1e-3  # volts below which a touch voltage is none
AMPERE = 1e-9

# How far a number may move with a stand-in: up to here it does not rest on it, from there on it does; between is a matter of taste.
STEADY = 1e-9
SHAKEN = 0.1

# Part of the open numbers that may be open although no stand-in moves them: a hair that the facts see and the stand-ins do not.
NEEDLESS = 0.02

SPECIAL = 5000
"""The first seed of the sites that are looked for."""

# How many numbers of each sort the short run compares at least, so that it cannot pass by comparing nothing.
AT_LEAST = {
    "loop": 2000,
    "current": 2000,
    "touch": 2000,
    "touch to the terminal": 2000,
    "bounded current": 100,
    "not known": 500,
    "drop": 500,
    "residual": 200,
    "standing": 200,
    "in PE": 400,
    "share": 250,
    "link": 300,
}


def facts_of(description: dict[str, Any]) -> Facts:
    """The facts about a description that has to be readable."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "drawn.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(generate.written(description))
        _, installation, problems, _ = load(path)
    assert installation is not None and not problems, [p.message for p in problems]
    return Facts(installation, description["site"]["rulebook"])


def within(ask: Callable[[], float | None], low: float, high: float) -> Callable[[], float | None]:
    """The same question; an answer between two numbers counts as the lower one."""

    def asked() -> float | None:
        told = ask()
        return low if told is not None and low <= told <= high * (1 + RELATIVE) else told

    return asked


class Case:
    """One case of the facts, with a complete state that it stands for."""

    def __init__(self, site: Site, facts: Facts, island: Island, lot: random.Random) -> None:
        self.site = site
        names = facts.network.nodes
        feeds = [feed for feed in island.feeds if feed.forming]
        start: Node = ("live", *next(names[n] for n in feeds[0].lines if island.live >> n & 1))
        lines: set[Node] = {
            ("live", *names[n]) for n in range(len(names)) if island.live >> n & 1 and names[n][2][0] == "L"
        }
        known = {v.name: v.values[n] for v, n in zip(facts.network.variables, island.state, strict=True) if n >= 0}
        self.declared = {feed.id for feed in feeds}
        self.state: State | None = None
        for state in itertools.islice(completions(site.o, known, lot), 40):
            nodes, sources = site.island(state, start)
            if lines <= nodes and {site.o.declared(s) for s in sources} == self.declared:
                self.state, self.nodes, self.sources = state, nodes, sources
                self.isolated = site.isolated(state, nodes, sources)
                self.faults = site.fault_studies(state, nodes, sources)
                self.full = site.service_studies(state, nodes, sources, loads=True)
                self.bare = site.service_studies(state, nodes, sources, loads=False)
                break

    def met(self, start: Node) -> Node | None:
        """The main earthing terminal that the touch voltage at the frame of a line node is seen from."""
        assert self.state is not None
        return self.site.met(self.state, self.nodes, self.site.frame(start))


class Comparison:
    """Everything on which the facts about one description and the second opinion differ, in words."""

    def __init__(self, description: dict[str, Any], lot: random.Random) -> None:
        self.said: list[str] = []
        self.compared: Counter[str] = Counter()
        self.site = Site(description)
        self.facts = facts_of(description)
        self.lot = lot
        self.cases: dict[int, Case] = {}
        self.worked: dict[tuple[Any, ...], list[naive_circuit.Loop | None]] = {}
        self.limited: dict[tuple[int, Node], float] = {}

    def case(self, island: Island) -> Case | None:
        """The case of an island; None (and said) where no state of the second opinion has such an island."""
        if id(island) not in self.cases:
            self.cases[id(island)] = Case(self.site, self.facts, island, self.lot)
        case = self.cases[id(island)]
        if case.state is None:
            self.said.append(f"no possible state has the island {island.state} fed by {sorted(case.declared)}")
            return None
        return case

    def whole(self) -> Comparison:
        """Compare every collection."""
        for fault in self.facts.earth_faults:
            self.fault(fault)
        for drop in self.facts.drops:
            self.drop(drop)
        for rcd in self.facts.rcds_in_service:
            self.rcd(rcd)
        for current in self.facts.pe_currents:
            self.in_pe(current)
        for surplus in self.facts.references:
            self.share(surplus)
        return self

    # ---------------------------------------------------------------- verdicts

    def judge(
        self,
        sort: str,
        where: str,
        ask: Callable[[], float | None],
        own: list[float],
        floor: float,
        rests: bool = False,
    ) -> None:
        """Compare a number of the facts with those that the stand-ins give; ``rests``: what it is part of rests on one."""
        low, high = min(own), max(own)
        moved = math.nan if any(map(math.isnan, own)) else (high - low) / max(abs(low), abs(high), floor)
        try:
            told = ask()
        except Unknown:
            self.compared["open without need" if moved <= STEADY and not rests else "not known"] += 1
            return
        if told is None:
            if own[0] > floor:
                self.said.append(f"{sort} {where}: none, but it is {own}")
        elif math.isnan(moved):
            self.said.append(f"{sort} {where}: {told:g}, but it is not determined")
        elif moved > SHAKEN:
            self.said.append(f"{sort} {where}: {told:g} rests on what is not written: {own}")
        elif moved <= STEADY and not abs(told - own[0]) <= RELATIVE * max(abs(told), abs(own[0])) + floor:
            self.said.append(f"{sort} {where}: {told:.9g}, second opinion {own[0]:.9g}")
        self.compared[sort] += 1

    # ---------------------------------------------------------------- faults

    def fault(self, fault: EarthFault) -> None:
        """Loop, currents and touch voltages of one earth fault."""
        case = self.case(fault.island)
        if case is None:
            return
        if fault.id in case.sources and fault.point.terminal != "in":
            # at the own terminals of a source that feeds: the facts leave out what it gives itself, this one does not
            self.compared["own terminals"] += 1
            return
        where = f"at {fault.id} {fault.line} in {case.state} fed by {case.sources}"
        starts = self.nodes(fault.island, fault.point.lines, fault.line)
        # of several terminals on one frame the facts take the one with the smallest current
        start = min(starts, key=lambda s: math.inf if (loop := self.loops(case, s)[0]) is None else loop.prospective_a)
        loops = [loop for loop in self.loops(case, start) if loop is not None]
        if not loops:
            try:
                self.said.append(f"loop {where}: {fault.loop_ohm:g}, but nothing leads back")
            except Unknown:
                self.compared["not known"] += 1
            return
        ohm = [loop.loop_ohm for loop in loops]
        # beside a capacitance or a monitor the stand-ins are too small to show
        limits = [self.site.limit_a(s) for s in case.sources if self.site.o.sources[s]["kind"] != "utility"]
        rests = abs(ohm[0] - ohm[-1]) > STEADY * ohm[0] or case.isolated or None in limits
        self.judge("loop", where, lambda: fault.loop_ohm, ohm, AMPERE, rests)
        most = [self.most(case, s, loop, start) for s, loop in zip(case.faults, loops, strict=True)]
        if len(self.driving(case, start)) > 1 and not most[0] >= loops[0].prospective_a * (1 - RELATIVE):
            self.bounded(where, fault, most)
            return
        self.judge("current", where, fault.current_a, most, AMPERE, rests)
        if not fault.way:
            return  # a frame without an earth takes the voltage of whatever leaks to it: pe-missing has it
        # what a source beside others adds may be counted on the side of danger
        assert case.state is not None
        several = len(self.site.reaching(case.state, self.site.o.energised(case.state), start)) > 1 or any(
            one.get("operation") == "grid-following" for one in self.site.o.sources.values()
        )
        for sort, ask, own in (
            ("touch", fault.touch_v, [loop.touch_v(a) for a, loop in zip(most, loops, strict=True)]),
            (
                "touch to the terminal",
                fault.touch_met_v,
                [loop.touch_met_v(a) for a, loop in zip(most, loops, strict=True)],
            ),
        ):
            self.judge(sort, where, within(ask, own[0], math.inf if several else own[0]), own, TOUCH_V, rests)

    def loops(self, case: Case, start: Node) -> list[naive_circuit.Loop | None]:
        """The fault at a line node; one answer for each stand-in."""
        key = (*map(id, case.faults), case.met(start), start)
        if key not in self.worked:
            self.worked[key] = self.site.fault(case.faults, start, case.met(start))
        return self.worked[key]

    def driving(self, case: Case, start: Node) -> list[str]:
        """The sources that drive a fault at a line node."""
        assert case.state is not None
        return self.site.reaching(case.state, self.site.driving(case.state, case.sources), start)

    def most(self, case: Case, solved: Solved, loop: naive_circuit.Loop, start: Node) -> float:
        """The fault current with the limits of the sources."""
        driving = self.driving(case, start)
        limited = [s for s in driving if self.site.o.sources[s]["kind"] != "utility"]
        if not limited or loop.prospective_a < AMPERE:
            return loop.prospective_a
        if len(driving) == 1:
            limit = self.site.limit_a(limited[0])
            return math.nan if limit is None else min(limit, loop.prospective_a)
        key = (id(solved), start)
        if key not in self.limited:
            self.limited[key] = self.site.limited_a(solved, start)
        return self.limited[key]

    def bounded(self, where: str, fault: EarthFault, most: list[float]) -> None:
        """Several sources, one of them at its limit: the facts may count on less than flows, never on more."""
        try:
            told = fault.current_a()
        except Unknown:
            self.compared["not known"] += 1
            return
        # limits add up as they are written: the angles between them are not
        if not told <= max(most) * 1.01:
            self.said.append(f"current {where}: {told:g}, but no more than {max(most):g} is certain")
        self.compared["bounded current"] += 1

    def nodes(self, island: Island, numbers: Iterable[int], line: str) -> list[Node]:
        """The live nodes of one line conductor among some."""
        names = self.facts.network.nodes
        return [("live", *names[n]) for n in numbers if island.live >> n & 1 and names[n][2] == line]

    # ---------------------------------------------------------------- normal service

    def drop(self, drop: Drop) -> None:
        """What is lost on the way from the terminals of the source to the end of a circuit, as a part of what is left there."""
        case = self.case(drop.island)
        if case is None:
            return
        o = self.site.o
        if "load" not in o.circuits[drop.id]:
            return
        line = next(c for c in naive.LINES if o.node(drop.id, c) in case.nodes)
        member = next(s for s in case.sources if o.declared(s) == drop.source and o.node(s, line) in case.nodes)

        others = [c for c in naive.words(o.circuits[drop.id]["cores"]) if c in naive.LINES and c != line]
        other = "N" if "N" in o.landing.get(drop.id, set()) or not others else others[0]

        def volts(solved: Solved, place: str) -> float:
            return abs(solved.v(solved.open, o.node(place, line), o.node(place, other)))

        own = [volts(s, member) / volts(s, drop.id) - 1 for s in case.full]
        self.judge("drop", f"of {drop.id} in {case.state}", lambda: drop.ratio, own, 1e-7)

    def rcd(self, rcd: RcdInService) -> None:
        """What an RCD sums, with all loads and with leakages alone."""
        case = self.case(rcd.island)
        if case is None:
            return
        assert case.state is not None
        device = next(r for r in self.site.o.rcds if r.name == rcd.rcd.name)
        where = f"current of {device.name} in {case.state} fed by {case.sources}"

        def summed(solved: Solved) -> float:
            return abs(sum(solved.i(solved.open, ("core", device.connection, core)) for core in device.senses))

        self.judge("residual", where, lambda: rcd.total_a, [summed(s) for s in case.full], 1e-8)
        # with some circuits switched off the leakages of one line stand alone
        alone = self.site.leaking_behind(case.state, case.sources, device)
        sums = [summed(s) for s in case.bare]
        rests = abs(sums[0] - sums[-1]) > STEADY * sums[0]
        self.judge("standing", where, within(lambda: rcd.standing_a, sums[0], max(sums[0], alone)), sums, 1e-8, rests)

    def in_pe(self, current: PeCurrent) -> None:
        """The current of the protective conductor that carries the most."""
        case = self.case(current.island)
        if case is None:
            return
        cores = [b.name for b in case.full[0].branches if b.name[0] == "core" and b.name[2] == "PE"]
        every = [[abs(s.i(s.open, name)) for name in cores] for s in case.full]
        rests = any(abs(a - b) > STEADY * a for a, b in zip(every[0], every[-1], strict=True))
        where = f"{current.id} in {case.state} fed by {case.sources}"
        self.judge("in PE", where, lambda: current.current_a, [max(amperes) for amperes in every], 1e-8, rests)

    def share(self, surplus: Surplus) -> None:
        """How neutral current divides at a link that is repeated, or that lies behind an RCD."""
        sharing, case = surplus.sharing, self.case(surplus.island)
        if sharing is None or case is None or case.state is None:
            return
        o = self.site.o
        tie = next(t for t in o.ties(case.state) if t.id == surplus.id)
        nodes, source = self.facts.network.nodes, source_of(surplus.island, sharing.start)
        start: Node = ("live", *nodes[sharing.start])
        star: Node = ("star", source)
        if o.sources[source]["kind"] != "utility":
            star = o.node(source, "N")
        name: tuple[str, ...] = ("tie", tie.id)
        if tie.kind == "star":  # at a supplier's it is what his neutral takes
            name = ("supplier", tie.id, "PEN" if o.sources[tie.id]["earthing"] == "TN-C-S" else "N")
        where = f"of {tie.id} in {case.state} fed by {case.sources}"
        if start != star:
            own = [abs(s.i(s.forced(start, star), name)) for s in case.bare]
            self.judge("share", where, lambda: sharing.share, own, 1e-8)
        own = [abs(s.i(s.open, name)) for s in case.full]
        self.judge("link", where, lambda: sharing.current_a, own, 1e-8)


def compare(seed: int) -> tuple[dict[str, Any], Comparison]:
    """The comparison on the description of a seed."""
    description = generate_numbers.build(random.Random(seed), COMBINATIONS)
    return description, Comparison(description, random.Random(seed)).whole()


def test_facts_equal_second_opinion() -> None:
    compared: Counter[str] = Counter()
    for seed in range(SITES):
        description, comparison = compare(seed)
        assert not comparison.said, "\n".join([f"seed {seed}", *comparison.said[:20], generate.written(description)])
        compared += comparison.compared
    assert compared["open without need"] < NEEDLESS * compared["not known"]
    assert {sort: n for sort, n in AT_LEAST.items() if compared[sort] < n} == {}


def test_high_legs_and_loads_on_several_lines_equal_second_opinion() -> None:
    """The first sites of their kind, which are too rare among the others."""
    wanted = {"high leg": 12, "several lines": 12}
    compared: Counter[str] = Counter()
    for seed in itertools.count(SPECIAL):
        if not any(wanted.values()):
            break
        description = generate_numbers.build(random.Random(seed), COMBINATIONS)
        high = any(source.get("system") == "high-leg" for source in description["sources"].values())
        circuits = (description.get("circuits") or {}).values()
        several = any(sum(core in naive.LINES for core in naive.words(c["cores"])) > 1 for c in circuits)
        kinds = [kind for kind, has in (("high leg", high), ("several lines", several)) if has and wanted[kind]]
        if kinds:
            wanted.update({kind: wanted[kind] - 1 for kind in kinds})
            description, comparison = compare(seed)
            assert not comparison.said, "\n".join(
                [f"seed {seed}", *comparison.said[:20], generate.written(description)]
            )
            compared += comparison.compared
    assert all(compared[sort] > 50 for sort in ("loop", "touch", "drop", "residual", "in PE")), compared


def main(first: int, last: int) -> int:
    """Compare on some seeds; returns how many descriptions the two disagree on."""
    wrong = 0
    compared: Counter[str] = Counter()
    for seed in range(first, last):
        description, comparison = compare(seed)
        compared += comparison.compared
        if comparison.said:
            wrong += 1
            sys.stdout.write("\n".join([f"--- seed {seed}", *comparison.said, generate.written(description), ""]))
    sys.stdout.write(f"{last - first} descriptions, {wrong} with a disagreement; compared {dict(compared)}\n")
    return wrong


if __name__ == "__main__":
    sys.exit(1 if main(*(int(argument) for argument in sys.argv[1:])) else 0)
