"""Generated circuits for the tests of the solution: small installations of every earthing system, and long radial networks."""

from __future__ import annotations

import cmath
import math
from random import Random
from typing import NamedTuple

from onebond.circuit.solve import Branch, Circuit, Injection, Pair

KINDS = ("TN-S", "TN-C-S", "TT", "IT", "double bond", "broken PEN", "unbalance", "floating")
HERTZ = 50.0


def farad_ohm(farad: float) -> complex:
    """Impedance of a capacitance at 50 Hz."""
    return -1j / (2 * math.pi * HERTZ * farad)


def volts(line: int) -> complex:
    """The EMF of one of three lines, 230 V."""
    return cmath.rect(230, -2 * math.pi * line / 3)


class Sample(NamedTuple):
    """A circuit and where faults may be asked for."""

    circuit: Circuit
    pairs: list[Pair]


class Draft:
    """A circuit while it is drawn; node 0 is the mass of earth."""

    def __init__(self) -> None:
        self.names = ["earth"]
        self.places = [0]
        self.branches: list[Branch] = []
        self.injections: list[Injection] = []

    def node(self, place: int, what: str) -> int:
        self.names.append(f"{what} at place {place}")
        self.places.append(place)
        return len(self.names) - 1

    def join(self, a: int, b: int, z_ohm: complex, name: str, emf_v: complex = 0j) -> None:
        self.branches.append(Branch(a, b, complex(z_ohm), complex(emf_v), name))

    def circuit(self) -> Circuit:
        return Circuit(
            len(self.names),
            tuple(self.branches),
            0,
            tuple(self.injections),
            tuple(self.names),
            tuple(self.places),
        )


def installation(rng: Random, kind: str, places: int) -> Sample:
    """A source and some places behind it, with cores, loads, electrodes, bonds and capacitances as the kind has them."""
    draft = Draft()
    three = kind == "unbalance" or rng.random() < 0.4
    lines = 3 if three else 1
    combined = kind in ("TN-C-S", "broken PEN")
    earthed = kind not in ("IT", "floating")

    def core() -> complex:
        length_m = rng.uniform(2, 80)
        return complex(length_m * 0.0181 / rng.choice([1.5, 2.5, 6, 16, 35]), length_m * rng.uniform(7e-5, 1.2e-4))

    def load(at: list[int], neutral: int, place: int) -> None:
        for number, node in enumerate(at):
            size = rng.uniform(8, 400) * (rng.choice([1, 3, 20]) if kind == "unbalance" else 1)
            draft.join(node, neutral, size * cmath.rect(1, rng.uniform(-0.3, 0.6)), f"load {number} at {place}")

    star = draft.node(0, "star point")
    live = [[draft.node(0, f"L{line + 1}") for line in range(lines)]]
    for line, node in enumerate(live[0]):
        draft.join(
            star, node, complex(rng.uniform(0.01, 0.3), rng.uniform(0.005, 0.2)), f"winding {line + 1}", volts(line)
        )
    neutral = [draft.node(0, "N")]
    draft.join(star, neutral[0], core() / 10, "neutral of the source")
    protective = [draft.node(0, "PE")]
    draft.join(protective[0], 0, rng.uniform(1, 60), "electrode of the source")
    if earthed and kind != "TT":
        draft.join(neutral[0], protective[0], core() / 20, "bond")
    if kind == "TT":
        draft.join(star, 0, rng.uniform(0.5, 20), "electrode of the star point")
    if not earthed:
        for line, node in enumerate(live[0]):
            draft.join(node, protective[0], farad_ohm(rng.uniform(1e-9, 5e-7)), f"filter {line + 1}")
        draft.join(neutral[0], protective[0], farad_ohm(rng.uniform(1e-9, 5e-7)), "filter of N")
    if kind == "floating":
        draft.join(neutral[0], protective[0], 10e6, "meter")
    pen_places = []
    for place in range(1, places):
        up = place - 1 if rng.random() < 0.5 else rng.randrange(place)
        live.append([draft.node(place, f"L{line + 1}") for line in range(lines)])
        for line in range(lines):
            draft.join(live[up][line], live[place][line], core(), f"L{line + 1} to {place}")
        neutral.append(draft.node(place, "N"))
        if (combined and neutral[up] == protective[up]) or (combined and up == 0 and rng.random() < 0.7):
            # N and PE are one conductor from here on.
            protective.append(neutral[place])
            draft.join(neutral[up], neutral[place], core(), f"PEN to {place}")
            pen_places.append(place)
        else:
            protective.append(draft.node(place, "PE"))
            draft.join(neutral[up], neutral[place], core(), f"N to {place}")
            draft.join(protective[up], protective[place], core(), f"PE to {place}")
        if rng.random() < 0.6:
            load(live[place], neutral[place], place)
        if rng.random() < 0.2:
            draft.join(protective[place], 0, rng.uniform(5, 300), f"electrode at {place}")
        if rng.random() < 0.3:
            draft.join(live[place][0], protective[place], farad_ohm(rng.uniform(1e-9, 1e-6)), f"filter at {place}")
        if kind == "double bond" and neutral[place] != protective[place] and rng.random() < 0.4:
            draft.join(neutral[place], protective[place], core() / 20, f"second bond at {place}")
        if place > 2 and rng.random() < 0.15:
            other = rng.randrange(place)
            if protective[other] != protective[place]:
                draft.join(protective[other], protective[place], core(), f"bonding conductor {other} to {place}")
    if kind == "broken PEN" and pen_places:
        place = rng.choice(pen_places)
        load(live[place], neutral[place], place)
        draft.branches = [branch for branch in draft.branches if branch.name != f"PEN to {place}"]
    pairs: list[Pair] = []
    for place in range(places):
        pairs.extend((node, protective[place]) for node in live[place])
        pairs.append((live[place][0], neutral[place]))
        if neutral[place] != protective[place]:
            pairs.append((neutral[place], protective[place]))
    pairs.append((live[-1][0], 0))
    return Sample(draft.circuit(), pairs)


def mesh(rng: Random, nodes: int) -> Sample:
    """Nodes joined at random, far from a tree: the hard case for an order of elimination."""
    draft = Draft()
    for _ in range(nodes - 1):
        draft.node(rng.randrange(nodes), "node")
    for node in range(1, nodes):
        z_ohm = complex(10 ** rng.uniform(-3, 2), rng.uniform(0, 0.2))
        draft.join(node, rng.randrange(node), z_ohm, f"branch {node}", rng.choice([0j, 0j, volts(0)]))
    for number in range(rng.randrange(2 * nodes)):
        a, b = rng.randrange(nodes), rng.randrange(nodes)
        z_ohm = complex(10 ** rng.uniform(-3, 3), rng.choice([0, 0.05, -(10 ** rng.uniform(2, 6))]))
        draft.join(a, b, z_ohm, f"extra {number}")
    if rng.random() < 0.5 and nodes > 2:
        a, b = rng.sample(range(nodes), 2)
        draft.injections.append(Injection(a, b, complex(rng.uniform(1, 60), rng.uniform(-9, 9)), "inverter"))
    pairs: list[Pair] = []
    if nodes > 1:
        for _ in range(rng.randrange(2 * nodes)):
            a, b = rng.sample(range(nodes), 2)
            pairs.append((a, b))
    return Sample(draft.circuit(), pairs)


class Radial(NamedTuple):
    """A long network: the circuit, one pair (L1, PE) a place, and for each conductor (branch, place) that it leads to."""

    circuit: Circuit
    pairs: list[Pair]
    feeds: list[tuple[int, int]]


def radial(places: int, seed: int = 1, straight: float = 0.9) -> Radial:
    """Places with five conductors each behind one source; mostly one after the other (`straight`), some branch off."""
    rng = Random(seed)
    branches: list[Branch] = []
    star = 1 + 5 * places

    def node(place: int, core: int) -> int:
        return 1 + 5 * place + core

    for line in range(3):
        branches.append(Branch(star, node(0, line), 0.02 + 0.03j, volts(line)))
    branches.append(Branch(star, node(0, 3), 0.001 + 0.0005j))
    branches.append(Branch(node(0, 3), node(0, 4), 0.002 + 0j))
    branches.append(Branch(node(0, 4), 0, 5 + 0j))
    feeds = []
    for place in range(1, places):
        up = place - 1 if rng.random() < straight else rng.randrange(place)
        length, r = rng.uniform(5e-3, 5e-2), rng.uniform(0.5, 3)
        for core in range(5):
            feeds.append((len(branches), place))
            branches.append(Branch(node(up, core), node(place, core), complex(length * r, length * 0.08)))
        if rng.random() < 0.1:
            branches.append(Branch(node(place, rng.randrange(3)), node(place, 3), rng.uniform(50, 500) * (1 + 0.2j)))
        if rng.random() < 0.02:
            branches.append(Branch(node(place, 4), 0, complex(rng.uniform(10, 200))))
    where = (0, *(place for place in range(places) for _ in range(5)), 0)
    circuit = Circuit(star + 1, tuple(branches), 0, places=where)
    return Radial(circuit, [(node(place, 0), node(place, 4)) for place in range(places)], feeds)
