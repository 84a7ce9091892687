"""The direct-current side: its currents against ngspice and by hand, and verdicts in the positions of its switches."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest

from conftest import ROOT
from onebond.circuit.direct import short_circuits
from onebond.circuit.parts import Branch
from onebond.document import parse
from onebond.facts import Facts
from onebond.facts.direct_currents import Solver
from onebond.loading import load_rules
from onebond.reading import read
from onebond.result import Site
from onebond.testing import base, inspected

RULES = load_rules()


def facts(text: str) -> Facts:
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None and not problems, problems
    return Facts(installation, installation.rulebook)


def spice_a(elements: list[str], plus: str, minus: str, folder: Path) -> float:
    """The current in A of a short circuit between two nodes, by the operating point of ngspice."""
    lines = ["* a direct-current side", *elements, f"vshort {plus} {minus} dc 0", ".control", "set numdgt=12", "op"]
    file = folder / "side.cir"
    file.write_text("\n".join([*lines, "print i(vshort)", ".endc", ".end", ""]))
    done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60)
    found = [line.partition(" = ")[2] for line in done.stdout.splitlines() if line.startswith("i(vshort)")]
    assert len(found) == 1, done.stdout + done.stderr
    return abs(float(found[0]))


# -- currents --------------------------------------------------------------------------------------------------------------


def test_short_circuits_agree_with_ngspice(tmp_path: Path) -> None:
    """Batteries of several voltages in a mesh of cables: every current within a millionth."""
    for number in range(40):
        random = Random(number)
        size = random.randint(3, 9)
        branches = [Branch(node - 1, node, 10 ** random.uniform(-4, 0)) for node in range(1, size)]
        branches += [
            Branch(*random.sample(range(size), 2), 10 ** random.uniform(-4, 0), random.choice((0.0, 12.0, 48.0, 400.0)))
            for _ in range(size)
        ]
        pair = tuple(random.sample(range(size), 2))
        elements = []
        for i, (a, b, ohm, emf_v, _) in enumerate(branches):
            elements += [f"v{i} m{i} n{a} dc {emf_v.real}", f"r{i} m{i} n{b} {ohm.real!r}"]
        elements.append("vzero n0 0 dc 0")
        (current,) = short_circuits(size, [], branches, [(pair[0], pair[1])])
        assert current is not None
        expected = spice_a(elements, f"n{pair[0]}", f"n{pair[1]}", tmp_path)
        assert math.isclose(current, expected, rel_tol=1e-6, abs_tol=1e-6), (number, current, expected)


RADIO_POST = (ROOT / "fixtures" / "sites" / "radio-post.yaml").read_text(encoding="utf-8")


def test_a_site_against_a_netlist_written_by_hand(tmp_path: Path) -> None:
    """The radio post: 57.6 V behind 7.2 milliohm, and cables at 20 C by IEC 60228 (0.387, 0.524 and 3.08 ohm/km)."""
    netlist = [
        "vbank e 0 dc 57.6",
        "rbank e p0 7.2m",
        *("rlead1 p0 p1 1.548m", "rlead2 n0 n1 1.548m"),
        *("rbackup1 p1 p2 1.572m", "rbackup2 n1 n2 1.572m"),
        *("rradio1 p1 p3 21.56m", "rradio2 n1 n3 21.56m"),
        "vzero n0 0 dc 0",
    ]
    found = {(one.place, one.terminal): one for one in facts(RADIO_POST).direct_currents}
    places = {("bank", ""): "0", ("radio-bars", ""): "1", ("backup", "dc"): "2", ("radios", ""): "3"}
    assert set(found) == set(places)
    for place, node in places.items():
        assert found[place].largest.lacking is None
        assert math.isclose(
            found[place].largest.known_a, spice_a(netlist, f"p{node}", f"n{node}", tmp_path), rel_tol=1e-6
        )


def test_the_least_current_by_hand() -> None:
    """0.95 x 0.9 x 48 V = 41.04 V behind 8 milliohm and 8 m of 50 mm2 at 70 C (1.2 x 0.387 ohm/km): 41.04 / 11.7152 m = 3503 A."""
    found = {one.place: one for one in facts(RADIO_POST).direct_currents}
    assert round(found["radio-bars"].least.known_a) == 3503


def test_a_declared_current_is_that_at_the_terminals() -> None:
    text = RADIO_POST.replace("internal-resistance: 8 mohm", "fault-current: 6 kA")
    found = {one.place: one for one in facts(text).direct_currents}
    assert math.isclose(found["bank"].largest.known_a, 6000)
    # 57.6 V / (9.6 + 3.096) milliohm
    assert round(found["radio-bars"].largest.known_a) == 4537


def test_batteries_in_parallel_and_in_series() -> None:
    """Two of 3.6 kA on one pair of bars: 7.2 kA there.  Two in series through crossed cores: no more than one of them gives."""
    start, end = (
        "onebond: 1\nsite: {name: Bank, rulebook: iec}\nboards:\n  bars: {bars: DC+ DC- M}\ndirect-current:\n",
        "connections:\n",
    )
    two = "".join(
        f"  {one}: {{kind: battery, voltage: 48 V, earthed-pole: none, fault-current: 3.6 kA}}\n"
        for one in ("one", "two")
    )
    near = "size: 240 mm2, length: 0.001 m"
    parallel = "".join(f"  {one}-lead: {{from: {one}, to: bars, cores: DC+ DC-, {near}}}\n" for one in ("one", "two"))
    found = {one.place: one for one in facts(start + two + end + parallel).direct_currents}
    assert math.isclose(found["bars"].largest.known_a, 7200, rel_tol=1e-3)
    series = (
        f"  link: {{from: one, to: two, cores: DC-, lands-on: {{DC-: DC+}}, {near}}}\n"
        f"  plus: {{from: one, to: bars, cores: DC+, {near}}}\n  minus: {{from: two, to: bars, cores: DC-, {near}}}\n"
    )
    found = {one.place: one for one in facts(start + two + end + series).direct_currents}
    assert math.isclose(found["bars"].largest.known_a, 3600, rel_tol=1e-3)


def test_each_half_of_a_battery_drives_its_own_fault() -> None:
    """A middle conductor: each half has half the voltage and half the resistance, hence the same current."""
    text = (
        "onebond: 1\nsite: {name: Bank, rulebook: iec}\nboards:\n  bars: {bars: DC+ M}\ndirect-current:\n"
        "  bank: {kind: battery, voltage: 220 V, earthed-pole: middle, internal-resistance: 50 mohm}\n"
        "connections:\n  lead: {from: bank, to: bars, cores: DC+ M, size: 95 mm2, length: 10 m}\n"
    )
    found = {one.place: one for one in facts(text).direct_currents}
    # 132 V / (22.5 + 3.86) milliohm
    assert round(found["bars"].largest.known_a) == 5008


def meshed(random: Random) -> str:
    """Batteries of one voltage on a few bars, with isolators, a plug and a changeover anywhere between them."""
    bars = ["b0", "b1", "b2"]
    lines = ["onebond: 1", "site: {name: Mesh, rulebook: iec}", "boards:", *(f"  {bar}: {{}}" for bar in bars)]
    lines += ["changeovers:", "  ds: {positions: [a, b], poles: DC+ DC-}", "direct-current:"]
    lines += [
        f"  bank{i}: {{kind: battery, voltage: 48 V, earthed-pole: none, internal-resistance: {random.randint(2, 40)} mohm}}"
        for i in range(3)
    ]
    ends = [("bank0", "b0"), ("bank1", "b1"), ("bank2", "ds.a"), ("b0", "ds.b"), ("ds", "b2")]
    ends += [tuple(random.sample(bars, 2)) for _ in range(2)]
    lines += ["connections:"]
    for i, (start, end) in enumerate(ends):
        device = random.choice(("", f", through: [{{kind: isolator, operable: yes, id: q{i}}}]", ", plug: yes"))
        laid = f"size: {random.choice((16, 35, 95))} mm2, length: {random.randint(1, 30)} m"
        lines.append(f"  c{i}: {{from: {start}, to: {end}, cores: DC+ DC-, {laid}{device}}}")
    named = next((f"q{i}" for i in range(len(ends)) if f"id: q{i}" in "\n".join(lines)), "")
    if named and random.random() < 0.5:
        lines += ["interlocks:", f"  - {{never: {{ds: a, {named}: closed}}}}"]
    return "\n".join([*lines, ""])


def test_the_widest_positions_hold_the_largest_currents() -> None:
    """Every position is worked out here, and none gives more than those that are looked at."""
    fewer = 0
    for number in range(25):
        known = facts(meshed(Random(number)))
        for side in known.sides:
            every, widest = side.wirings(), side.widest()
            assert set(map(frozenset, (one.edges for one in widest))) <= set(
                map(frozenset, (one.edges for one in every))
            )
            fewer += len(widest) < len(every)
            for place in side.places:
                largest = max(Solver(one, True).at(place).known_a for one in every)
                seen = max(Solver(one, True).at(place).known_a for one in widest)
                assert math.isclose(largest, seen, rel_tol=1e-9, abs_tol=1e-6), (number, place)
    assert fewer > 5


def test_batteries_that_a_changeover_keeps_apart_do_not_add_up() -> None:
    """6 kA and 2 kA on the two inputs: 6 kA at the common side, not 8."""
    text = (
        "onebond: 1\nsite: {name: Two, rulebook: iec}\nchangeovers:\n  ds: {positions: [a, b], poles: DC+ DC-}\n"
        "boards:\n  bars: {}\ndirect-current:\n"
        "  one: {kind: battery, voltage: 48 V, earthed-pole: none, fault-current: 6 kA}\n"
        "  two: {kind: battery, voltage: 24 V, earthed-pole: none, fault-current: 2 kA}\n"
        "connections:\n  lead-1: {from: one, to: ds.a, cores: DC+ DC-, size: 240 mm2, length: 0.001 m}\n"
        "  lead-2: {from: two, to: ds.b, cores: DC+ DC-, size: 240 mm2, length: 0.001 m}\n"
        "  lead: {from: ds, to: bars, cores: DC+ DC-, size: 240 mm2, length: 0.001 m}\n"
    )
    found = {(one.place, one.terminal): one for one in facts(text).direct_currents}
    assert found["bars", ""].largest.known_a == pytest.approx(6000, rel=1e-3)
    assert found["ds", "b"].largest.known_a == pytest.approx(2000, rel=1e-3)
    # 0.95 x 0.9 x 24 V behind 12 milliohm
    assert found["bars", ""].least.known_a == pytest.approx(1710, rel=1e-3)


def test_inputs_of_an_inverter_are_buses_of_their_own() -> None:
    """A battery of 492 V behind 108 milliohm and 8 m of 16 mm2 (1.15 ohm/km, IEC 60228); arrays of 14 A and 28 A."""
    text = (ROOT / "fixtures" / "sites" / "orchard-hybrid.yaml").read_text(encoding="utf-8")
    found = {(one.place, one.terminal): one for one in facts(text).direct_currents}
    battery_a = 492 / (0.108 + 2 * 4 * 1.15e-3)
    expected = {"dc": (battery_a, ("stack",)), "pv1": (14, ("barn",)), "pv2": (28, ("drying",))}
    for terminal, (current, sources) in expected.items():
        one = found["hybrid", terminal]
        assert one.largest.known_a == pytest.approx(current, rel=1e-3) and one.sources == sources
        assert one.largest.lacking is None and one.largest.at_most_a == pytest.approx(current, rel=1e-3)
    # all on one input: one bus, and each array adds to what the battery gives
    joined = facts(text.replace("hybrid.pv1", "hybrid.dc").replace("hybrid.pv2", "hybrid.dc"))
    (bus,) = [one for one in joined.direct_currents if one.place == "hybrid"]
    assert bus.largest.known_a == pytest.approx(battery_a + 14 + 28, rel=1e-3)
    assert bus.sources == ("stack", "barn", "drying")


def test_inputs_that_no_inverter_has() -> None:
    text = base("onebond_rules", "solar-cabin").replace("to: inv.dc", "to: inv.pv10")
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    _, (problem,) = read(document)
    assert problem.message == "`inv` has no terminal `pv10`" and problem.hint == "did you mean `inv.pv1`?"


def test_what_is_not_written_opens_what_lies_behind_it() -> None:
    text = RADIO_POST.replace("size: 35 mm2, length: 3 m, ", "size: 35 mm2, ")
    found = {(one.place, one.terminal): one for one in facts(text).direct_currents}
    assert found["radio-bars", ""].largest.lacking is None
    behind = found["backup", "dc"].largest
    assert behind.lacking is not None and behind.lacking.what == "the length of backup-lead"
    assert behind.at_most_a == pytest.approx(8000)
    silent = RADIO_POST.replace(", internal-resistance: 8 mohm", "")
    nothing = {one.place: one for one in facts(silent).direct_currents}["bank"].largest
    assert (
        nothing.lacking is not None and nothing.lacking.what == "the fault-current or the internal-resistance of bank"
    )
    assert nothing.at_most_a is None


# -- verdicts --------------------------------------------------------------------------------------------------------------


class Verdict(NamedTuple):
    """A base, edits of it, and what one rule finds after them; ``opened`` what it leaves open."""

    why: str
    edits: tuple[tuple[str, str], ...]
    rule: str
    finds: tuple[str, ...]
    opened: tuple[str, ...] = ()


_FUSE = "through: [{kind: fuse, class: gG, rating: 125 A, dc-breaking-capacity: 10 kA}]"
_BANK = "bank: {kind: battery, voltage: 48 V, earthed-pole: none, monitoring: none, fault-current: 3.6 kA}"
_LEAD = "bank-cable: {from: bank, to: inv.dc, cores: DC+ DC- PE, through"
_NOT = ("isolated: yes", "isolated: no")
_EARTHED = (_BANK, _BANK.replace("earthed-pole: none", "earthed-pole: negative"))


def _changeover(poles: str) -> tuple[tuple[str, str], ...]:
    """A changeover between the earthed battery and one that is not, ahead of the inverter."""
    return (
        ("boards:\n", f"changeovers:\n  ds: {{positions: [a, b], poles: {poles}}}\n\nboards:\n"),
        (
            _BANK,
            _EARTHED[1]
            + "\n  spare: {kind: battery, voltage: 48 V, earthed-pole: none, monitoring: none, fault-current: 3 kA}",
        ),
        (
            "bank-cable: {from: bank, to: inv.dc,",
            "spare-cable: {from: spare, to: ds.b, cores: DC+ DC- PE, through: [{kind: fuse, class: gG, rating: 125 A, "
            "dc-breaking-capacity: 6 kA}]}\n  ds-cable: {from: ds, to: inv.dc, cores: DC+ DC- PE}\n"
            "  bank-cable: {from: bank, to: ds.a,",
        ),
    )


_HIGH = ("voltage: 48 V, earthed-pole: none", "voltage: 400 V, earthed-pole: none")
_MONITOR = ("electrodes:\n", "monitors:\n  imd: {at: inv.dc, impedance: 1 Mohm}\n\nelectrodes:\n")
_AT_PV = ("roof-cable: {from: roof, to: solar,", "roof-cable: {from: roof, to: inv.pv,")
_AT_DC = ("roof-cable: {from: roof, to: solar,", "roof-cable: {from: roof, to: inv.dc,")
_ROOF_EARTHED = ("480 V, earthed-pole: none", "480 V, earthed-pole: negative")
_ROOF_PLUS = ("480 V, earthed-pole: none", "480 V, earthed-pole: positive")
_KEY = "interlocks:\n  - {never: {q-dc: closed, q-ac: closed}}\n"


def _second(isolated: str) -> tuple[tuple[str, str], ...]:
    """A second inverter on the battery, with a bonded neutral of its own."""
    return (
        (
            "direct-current:\n",
            f"  two: {{kind: inverter, phases: L1, voltage: 230 V, {isolated}neutral-bond: fixed}}\n\ndirect-current:\n",
        ),
        ("  solar: {}\n", "  solar: {}\n  shed: {}\n"),
        (
            "connections:\n",
            "connections:\n  lead-2: {from: bank, to: two.dc, cores: DC+ DC- PE}\n  to-shed: {from: two, to: shed, cores: L1 N PE}\n",
        ),
    )


def _never(clause: str) -> tuple[str, str]:
    return ("electrodes:\n", f"interlocks:\n  - {{never: {clause}}}\n\nelectrodes:\n")


_TWO = _second("isolated: no, ")
VERDICTS = (
    Verdict("a pole that is earthed and a bridge that joins it", (_EARTHED, _NOT), "dc-earth-conflict", ("bank",)),
    Verdict(
        "a link that an isolator keeps open for ever joins nothing",
        (_EARTHED, _NOT, (_FUSE, "through: [{kind: isolator, normally: open}]")),
        "dc-earth-conflict",
        (),
    ),
    Verdict(
        "an isolator that is operated is closed in some states",
        (_EARTHED, _NOT, (_FUSE, "through: [{kind: isolator, operable: yes, id: q-dc}]")),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict(
        "an isolator that leaves the earthed pole joined opens nothing that matters",
        (_EARTHED, _NOT, (_FUSE, "through: [{kind: isolator, normally: open, poles: DC+}]")),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict(
        "a plug that can be out is in at times",
        (_EARTHED, _NOT, (_LEAD, _LEAD.replace("through", "plug: yes, through"))),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict(
        "an isolator that an interlock keeps open while the bond is made",
        (
            _EARTHED,
            _NOT,
            (_FUSE, "through: [{kind: isolator, operable: yes, id: q-dc}]"),
            ("neutral-bond: fixed", "neutral-bond: none"),
            (
                "to: hut, cores: L1 N PE, through: [",
                "to: hut, cores: L1 N PE, through: [{kind: isolator, operable: yes, id: q-ac, poles: L1 N}, ",
            ),
            ("electrodes:\n", f"bonds:\n  link: {{at: hut}}\n\n{_KEY}\nelectrodes:\n"),
        ),
        "dc-earth-conflict",
        (),
    ),
    Verdict(
        "without that interlock they meet",
        (
            _EARTHED,
            _NOT,
            (_FUSE, "through: [{kind: isolator, operable: yes, id: q-dc}]"),
            ("neutral-bond: fixed", "neutral-bond: none"),
            (
                "to: hut, cores: L1 N PE, through: [",
                "to: hut, cores: L1 N PE, through: [{kind: isolator, operable: yes, id: q-ac, poles: L1 N}, ",
            ),
            ("electrodes:\n", "bonds:\n  link: {at: hut}\n\nelectrodes:\n"),
        ),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict("one position of a changeover is enough", (_NOT, *_changeover("DC+ DC-")), "dc-earth-conflict", ("bank",)),
    Verdict("a pole that it leaves joined", (_NOT, *_changeover("DC+")), "dc-earth-conflict", ("bank",)),
    Verdict(
        "whether it separates is not written",
        (_EARTHED, ("isolated: yes, ", "")),
        "dc-earth-conflict",
        (),
        ("bank",),
    ),
    Verdict(
        "an array whose middle is earthed",
        (
            _NOT,
            (_LEAD, "roof-lead: {from: roof, to: inv.dc, cores: DC+ DC- M PE}\n  " + _LEAD),
            ("480 V, earthed-pole: none", "480 V, earthed-pole: middle"),
        ),
        "dc-earth-conflict",
        ("roof",),
    ),
    Verdict(
        "an array on an input of its own, with an earthed pole",
        (_NOT, _AT_PV, _ROOF_EARTHED),
        "dc-earth-conflict",
        ("roof",),
    ),
    Verdict(
        "on the input of the battery its pole is that of the battery too",
        (_AT_DC, _ROOF_EARTHED, (_BANK, _BANK.replace("earthed-pole: none", "earthed-pole: positive"))),
        "dc-earth-conflict",
        ("bank", "roof"),
    ),
    Verdict(
        "poles at two inputs are no one bus",
        (_AT_PV, _ROOF_EARTHED, (_BANK, _BANK.replace("earthed-pole: none", "earthed-pole: positive"))),
        "dc-earth-conflict",
        (),
    ),
    Verdict(
        "the earthed pole of an array says nothing of a battery at another input",
        (_HIGH, _AT_PV, _ROOF_EARTHED),
        "dc-earth-fault-unwatched",
        ("bank",),
    ),
    Verdict("at the same input it does", (_HIGH, _AT_DC, _ROOF_EARTHED), "dc-earth-fault-unwatched", ()),
    Verdict(
        "a monitor at another input watches that input",
        (_HIGH, _AT_PV, (_MONITOR[0], _MONITOR[1].replace("inv.dc", "inv.pv"))),
        "dc-earth-fault-unwatched",
        ("bank",),
    ),
    Verdict(
        "a fuse in one pole, and an array at another input with that pole earthed",
        (_AT_PV, _ROOF_PLUS, (_FUSE, _FUSE.replace("fuse,", "fuse, poles: DC+,"))),
        "dc-unfused",
        (),
    ),
    Verdict(
        "a fuse in one pole, and an array at the same input with that pole earthed",
        (_AT_DC, _ROOF_PLUS, (_FUSE, _FUSE.replace("fuse,", "fuse, poles: DC+,"))),
        "dc-unfused",
        ("bank",),
    ),
    Verdict(
        "monitors at two inputs",
        (_AT_PV, ("electrodes:\n", "monitors:\n  imd-a: {at: inv.dc}\n  imd-b: {at: inv.pv}\n\nelectrodes:\n")),
        "it-without-monitor",
        (),
    ),
    Verdict(
        "two monitors at an input that is not the first",
        (_AT_PV, ("electrodes:\n", "monitors:\n  imd-a: {at: roof}\n  imd-b: {at: inv.pv}\n\nelectrodes:\n")),
        "it-without-monitor",
        ("imd-b",),
    ),
    Verdict("two bridges on one battery", (_NOT, *_TWO), "dc-earth-conflict", ("bank",)),
    Verdict(
        "two bridges on one battery of which nobody wrote whether it is earthed",
        (_NOT, *_TWO, (_BANK, _BANK.replace(" earthed-pole: none,", ""))),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict("one of the two separates", (_NOT, *_second("isolated: yes, ")), "dc-earth-conflict", ()),
    Verdict(
        "whether one of the two separates is not written", (_NOT, *_second("")), "dc-earth-conflict", (), ("bank",)
    ),
    Verdict("the other way round", (("isolated: yes, ", ""), *_TWO), "dc-earth-conflict", (), ("bank",)),
    Verdict(
        "an interlock lets only one of them run",
        (_NOT, *_TWO, _never("{inv: inverting, two: inverting}")),
        "dc-earth-conflict",
        (),
    ),
    Verdict(
        "a group that their maker joins on one battery",
        (_NOT, *_TWO, ("electrodes:\n", "groups:\n  pair: {members: [inv, two]}\n\nelectrodes:\n")),
        "dc-earth-conflict",
        (),
    ),
    Verdict(
        "a pole that is earthed through one inverter, while two share the battery",
        (_EARTHED, *_TWO),
        "dc-earth-conflict",
        ("bank",),
    ),
    Verdict(
        "a side that is earthed shows its first fault by itself",
        (("voltage: 48 V, earthed-pole: none", "voltage: 400 V, earthed-pole: negative"),),
        "dc-earth-fault-unwatched",
        (),
    ),
    Verdict("a monitor on a battery of its own", (_HIGH, _MONITOR), "dc-earth-fault-unwatched", ()),
    Verdict("nothing on it", (_HIGH,), "dc-earth-fault-unwatched", ("bank",)),
    Verdict("a monitor that sees the neutral's link", (_HIGH, _MONITOR, _NOT), "dc-earth-fault-unwatched", ("bank",)),
    Verdict(
        "a monitor that may see it",
        (_HIGH, _MONITOR, ("isolated: yes, ", "")),
        "dc-earth-fault-unwatched",
        (),
        ("bank",),
    ),
    Verdict(
        "a monitor behind an open isolator watches while the inverter is joined",
        (_HIGH, _MONITOR, (_FUSE, "through: [{kind: isolator, operable: yes, id: q-dc}]")),
        "dc-earth-fault-unwatched",
        (),
    ),
    Verdict(
        "a monitor at one battery says nothing of the other",
        (
            *_changeover("DC+ DC-"),
            ("monitoring: insulation", "monitoring: none"),
            ("electrodes:\n", "monitors:\n  imd: {at: spare}\n\nelectrodes:\n"),
        ),
        "dc-earth-fault-unwatched",
        ("roof",),
    ),
    Verdict(
        "two monitors that the inverter never joins",
        (
            *_changeover("DC+ DC-"),
            ("electrodes:\n", "monitors:\n  imd-a: {at: bank}\n  imd-b: {at: spare}\n\nelectrodes:\n"),
        ),
        "it-without-monitor",
        (),
    ),
    Verdict(
        "two monitors that a pole joins",
        (
            *_changeover("DC+"),
            ("electrodes:\n", "monitors:\n  imd-a: {at: bank}\n  imd-b: {at: spare}\n\nelectrodes:\n"),
        ),
        "it-without-monitor",
        ("imd-b",),
    ),
    Verdict(
        "a battery that nothing protects, behind a changeover",
        (*_changeover("DC+ DC-"), (f" {_FUSE}", "")),
        "dc-unfused",
        ("bank",),
    ),
    Verdict(
        "a lead to bars whose length is not written",
        (
            ("boards:\n", "boards:\n  bars: {}\n"),
            (
                _LEAD,
                "bar-lead: {from: bank, to: bars, cores: DC+ DC- PE}\n  " + _LEAD.replace("from: bank", "from: bars"),
            ),
        ),
        "dc-unfused",
        (),
        ("bank",),
    ),
    Verdict(
        "links between the blocks of a bank need no fuse of their own",
        (
            ("direct-current:\n", "direct-current:\n  block: {kind: battery, voltage: 48 V, earthed-pole: none}\n"),
            (_LEAD, "link: {from: block, to: bank, cores: DC+ DC- PE}\n  " + _LEAD),
        ),
        "dc-unfused",
        (),
    ),
    *(
        Verdict(
            f"cables of one core each, with the fuse in one of them, {words}",
            (
                ("boards:\n", "boards:\n  post: {}\n"),
                (
                    f"bank-cable: {{from: bank, to: inv.dc, cores: DC+ DC- PE, {_FUSE}}}",
                    f"minus: {{from: bank, to: inv.dc, cores: DC- PE}}\n"
                    f"  plus: {{from: bank, to: post, cores: DC+, {_FUSE}}}\n  plus-2: {{from: post, to: inv.dc, cores: DC+}}",
                ),
                (_BANK, _BANK.replace("earthed-pole: none", f"earthed-pole: {pole}")),
            ),
            "dc-unfused",
            finds,
        )
        for words, pole, finds in (
            ("no pole is earthed", "none", ()),
            ("the other one is earthed", "negative", ()),
            ("its own pole is earthed", "positive", ("bank",)),
        )
    ),
    Verdict(
        "cables of one core each: what the battery gives is the bound where one pole lands alone",
        (
            ("boards:\n", "boards:\n  post: {}\n  pole: {}\n"),
            (
                f"bank-cable: {{from: bank, to: inv.dc, cores: DC+ DC- PE, {_FUSE}}}",
                "minus: {from: bank, to: inv.dc, cores: DC- PE}\n  plus: {from: bank, to: post, cores: DC+}\n"
                f"  plus-2: {{from: post, to: pole, cores: DC+, {_FUSE}}}\n  plus-3: {{from: pole, to: inv.dc, cores: DC+}}",
            ),
        ),
        "breaking-capacity-low",
        (),
    ),
    Verdict(
        "and above it the verdict is open",
        (
            ("boards:\n", "boards:\n  post: {}\n  pole: {}\n"),
            (
                f"bank-cable: {{from: bank, to: inv.dc, cores: DC+ DC- PE, {_FUSE}}}",
                "minus: {from: bank, to: inv.dc, cores: DC- PE}\n  plus: {from: bank, to: post, cores: DC+}\n"
                f"  plus-2: {{from: post, to: pole, cores: DC+, {_FUSE.replace('10 kA', '3 kA')}}}\n"
                "  plus-3: {from: pole, to: inv.dc, cores: DC+}",
            ),
        ),
        "breaking-capacity-low",
        (),
        ("plus-2",),
    ),
    Verdict(
        "blocks in series, with the fuse behind the last of them",
        (
            ("direct-current:\n", "direct-current:\n  block: {kind: battery, voltage: 48 V, earthed-pole: none}\n"),
            (
                f"bank-cable: {{from: bank, to: inv.dc, cores: DC+ DC- PE, {_FUSE}}}",
                "link: {from: bank, to: block, cores: DC+ PE, lands-on: {DC+: DC-}}\n"
                f"  plus: {{from: block, to: inv.dc, cores: DC+ PE, {_FUSE}}}\n  minus: {{from: bank, to: inv.dc, cores: DC-}}",
            ),
        ),
        "dc-unfused",
        (),
    ),
    Verdict(
        "blocks in series, with no fuse behind the last of them",
        (
            ("direct-current:\n", "direct-current:\n  block: {kind: battery, voltage: 48 V, earthed-pole: none}\n"),
            (
                f"bank-cable: {{from: bank, to: inv.dc, cores: DC+ DC- PE, {_FUSE}}}",
                "link: {from: bank, to: block, cores: DC+ PE, lands-on: {DC+: DC-}}\n"
                "  plus: {from: block, to: inv.dc, cores: DC+ PE}\n  minus: {from: bank, to: inv.dc, cores: DC-}",
            ),
        ),
        "dc-unfused",
        ("bank", "block"),
    ),
    Verdict(
        "a load on the bars without a fuse",
        (
            ("boards:\n", "boards:\n  bars: {}\n"),
            (
                _LEAD,
                "bar-lead: {from: bank, to: bars, cores: DC+ DC- PE, length: 1 m}\n  "
                + _LEAD.replace("from: bank", "from: bars"),
            ),
            ("circuits:\n", "circuits:\n  pump: {from: bars, cores: DC+ DC- PE, serves: fixed}\n"),
        ),
        "dc-unfused",
        ("bank",),
    ),
    Verdict(
        "whether one pole is enough rests on the pole that is earthed",
        ((_BANK, _BANK.replace(" earthed-pole: none,", "")), ("10 kA}]", "10 kA, poles: DC+}]")),
        "dc-unfused",
        (),
        ("bank",),
    ),
    Verdict(
        "a fuse in the pole that another source on the same conductors ties to earth",
        (
            (
                "direct-current:\n",
                "direct-current:\n  spare: {kind: battery, voltage: 48 V, earthed-pole: positive, fault-current: 3 kA}\n",
            ),
            (_LEAD, "spare-lead: {from: spare, to: inv.dc, cores: DC+ DC- PE, through: [{kind: fuse}]}\n  " + _LEAD),
            ("10 kA}]", "10 kA, poles: DC+}]"),
        ),
        "dc-unfused",
        ("bank",),
    ),
    Verdict(
        "the breaking capacity for alternating current does not count",
        (("dc-breaking-capacity: 10 kA", "breaking-capacity: 50 kA"),),
        "breaking-capacity-low",
        (),
        ("bank-cable",),
    ),
    *(
        Verdict(
            f"a battery of which it says no more than {words}",
            ((_BANK, f"bank: {{kind: battery, {words}}}"),),
            *verdict,
        )
        for words, verdict in (
            ("internal-resistance: 3 mohm", ("breaking-capacity-low", (), ("bank-cable",))),
            ("voltage: 48 V", ("breaking-capacity-low", (), ("bank-cable",))),
            ("voltage: 48 V, fault-current: 0 A", ("breaking-capacity-low", (), ("bank-cable",))),
            ("fault-current: 3.6 kA", ("breaking-capacity-low", ())),
            ("voltage: 48 V, fault-current: 11 kA", ("breaking-capacity-low", ("bank-cable",))),
        )
    ),
    Verdict(
        "two batteries on one pair of conductors: 7.2 kA",
        (
            (
                "direct-current:\n",
                "direct-current:\n  spare: {kind: battery, voltage: 48 V, earthed-pole: none, fault-current: 3.6 kA}\n",
            ),
            (
                _LEAD,
                "spare-lead: {from: spare, to: bank, cores: DC+ DC- PE, size: 240 mm2, length: 0.01 m}\n  " + _LEAD,
            ),
            ("dc-breaking-capacity: 10 kA", "dc-breaking-capacity: 7 kA"),
        ),
        "breaking-capacity-low",
        ("bank-cable",),
    ),
    Verdict(
        "a d.c. circuit is energised by its battery",
        (
            ("boards:\n", "boards:\n  bars: {}\n"),
            (_LEAD, "bar-lead: {from: bank, to: bars, cores: DC+ DC-}\n  " + _LEAD),
            ("circuits:\n", "circuits:\n  pump: {from: bars, cores: DC+ DC-, serves: fixed, equipment: class-II}\n"),
        ),
        "never-energised",
        (),
    ),
)


def judged(edits: tuple[tuple[str, str], ...]) -> Site:
    text = base("onebond_rules", "solar-cabin")
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return inspected(text, RULES).site


@pytest.mark.parametrize("verdict", VERDICTS, ids=lambda one: one.why[:70])
def test_verdict(verdict: Verdict) -> None:
    results = [one for one in judged(verdict.edits).results if one.rule == verdict.rule]
    assert {one.subject for one in results if one.kind == "fail"} == set(verdict.finds)
    assert {one.subject for one in results if one.kind == "open"} >= set(verdict.opened)
    assert verdict.opened or not {one.subject for one in results if one.kind == "open"} & {"bank"}


def test_the_loop_names_its_conductors_and_its_bounds() -> None:
    """The battery of the cabin: PE of the feed is not in it, since the inverter is bonded inside."""
    site = judged((_EARTHED, _NOT, (_LEAD, _LEAD.replace("through", "size: 50 mm2, length: 2 m, through"))))
    (one,) = [r for r in site.results if r.rule == "dc-earth-conflict" and r.kind == "fail"]
    figures = dict(one.figures)
    assert figures["loop through"] == "bank, PE of bank-cable, DC+ of bank-cable, inv"
    assert figures["the source gives at most"] == "3.60 kA"
    # two cores of 2 m of 50 mm2 at 20 C: 1.548 milliohm; 57.6 V / (16 + 1.548) milliohm = 3282 A
    assert figures["loop"] == "1.55 mohm"
    assert figures["with its whole voltage on the loop"] == "3.28 kA"


@pytest.mark.parametrize(
    ("edits", "opened"),
    [
        ((_EARTHED, _NOT), {"dc-earth-conflict"}),
        # whatever is joined, none of its poles is earthed, or the inverter separates it
        ((_NOT,), set()),
        ((_EARTHED,), set()),
        ((_HIGH,), {"dc-earth-fault-unwatched"}),
        ((_HIGH, ("monitoring: none", "monitoring: insulation")), set()),
    ],
)
def test_a_side_with_too_many_positions_is_open_and_not_clean(
    edits: tuple[tuple[str, str], ...], opened: set[str]
) -> None:
    devices = ", ".join("{kind: isolator, operable: yes}" for _ in range(11))
    site = judged((*edits, (_FUSE, _FUSE.replace("[", f"[{devices}, "))))
    found = {one.rule for one in site.results if one.kind == "open" and one.subject == "bank"}
    assert found & {"dc-earth-conflict", "dc-earth-fault-unwatched"} == opened
    # its largest current is that with all of them closed
    assert {
        one.kind for one in site.results if one.rule == "breaking-capacity-low" and one.subject == "bank-cable"
    } == {"pass"}


def test_the_loop_over_the_supply_by_hand() -> None:
    """16 mm2: 1.15 ohm/km over 5 + 15 + 15 + 5 m; 6 mm2: 3.08 ohm/km over 6 + 6 m: 83.0 milliohm, and 492 V / (108 + 83) milliohm."""
    text = (ROOT / "fixtures" / "sites" / "mill-storage--pole-earthed.yaml").read_text(encoding="utf-8")
    (one,) = [r for r in inspected(text, RULES).site.results if r.rule == "dc-earth-conflict" and r.kind == "fail"]
    figures = dict(one.figures)
    assert figures["loop through"] == (
        "stack, PE of stack-lead, PE of store-feed, PE of service, N of service, N of store-feed, DC+ of stack-lead, store"
    )
    assert (figures["loop"], figures["with its whole voltage on the loop"]) == ("83.0 mohm", "2.58 kA")
    assert any(mention.subject == "rcd-store" and "type B" in mention.text for mention, _ in one.mentions)
