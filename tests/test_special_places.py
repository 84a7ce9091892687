"""Special places and portable sources, rulebook by rulebook: small sites with the verdict that the clause beside them gives.

A finding, an exception of the rulebook (named with its clause), a question for a person, an entry that is not written, or nothing.  A
clause with ``?`` is from memory.  Whole sites stand in ``fixtures/sites``; limits with a value on either side in the examples of the rules.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from onebond.facts import Facts
from onebond.loading import load_rules
from onebond.testing import inspected

RULES = {rule.id: rule for rule in load_rules()}

PLOT = """\
onebond: 1
site: {name: Plot, rulebook: iec, stage: design}
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-C-S, loop-impedance: 0.2 ohm, fault-current: 3 kA}
boards:
  main: {building: house}
  far: {building: barn, place: PLACE}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 PEN, size: 35 mm2, length: 10 m, through: [{kind: fuse, class: gG, rating: 80 A}]}
  to-far: {from: main, to: far, cores: L1 L2 L3 N PE, size: 16 mm2, length: 20 m, through: [{kind: mcb, curve: C, rating: 40 A}]}
circuits:
  one: {from: far, cores: L1 N PE, size: 4 mm2, length: 5 m, serves: SERVES, load: 1 kW, through: [DEVICE]}
bonds:
  link: {at: main, size: 16 mm2}
electrodes:
  rods: {at: main, resistance: 10 ohm, conductor: 16 mm2}
"""
MCB = "{kind: mcb, curve: C, rating: 16 A}"
RCBO = "{kind: rcbo, curve: C, rating: 16 A, residual: 30 mA, type: A}"


def plot(place: str, serves: str = "fixed", device: str = MCB, *edits: tuple[str, str]) -> str:
    """A house and a far board in a kind of place, with one circuit there."""
    text = PLOT.replace("PLACE", place).replace("SERVES", serves).replace("DEVICE", device)
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


TOOLS = """\
onebond: 1
site: {name: Tools, rulebook: bs7671, stage: design}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm, fault-current: 1 kA}
  t: {kind: transformer, winding: isolating, phases: LINES, voltage: VOLTS, rating: 5 kVA, impedance: 4 %, neutral-bond: fixed}
boards:
  main: {}
  box: {place: construction}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 10 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  to-t: {from: main, to: t.in, cores: L1 N PE, size: 4 mm2, length: 5 m, through: [{kind: mcb, curve: D, rating: 25 A}]}
  from-t: {from: t.out, to: box, cores: CORES PE, size: 10 mm2, length: 2 m, through: [{kind: mcb, curve: B, rating: 40 A}]}
circuits:
  saw: {from: box, cores: CORES PE, size: 2.5 mm2, length: 9 m,
    serves: socket-outlets, load: 1 kW, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rod: {at: main, resistance: 10 ohm, conductor: 16 mm2}
"""


def tools(lines: str, volts: str, cores: str) -> str:
    return TOOLS.replace("LINES", lines).replace("VOLTS", volts).replace("CORES", cores)


SET = """\
onebond: 1
site: {name: Set, rulebook: iec, stage: design}
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, mounted: MOUNTED, neutral-bond: BOND}
boards: {}
connections: {}
circuits:
  one: {from: set, cores: L1 N PE, size: 2.5 mm2, length: 9 m, serves: SERVES, load: 1 kW, through: [DEVICE]}
"""


def lone(bond: str, serves: str, device: str, mounted: str = "portable") -> str:
    """A set that feeds one circuit and no building."""
    text = SET.replace("BOND", bond).replace("SERVES", serves).replace("DEVICE", device).replace("MOUNTED", mounted)
    return text.replace("boards: {}\nconnections: {}\n", "connections: {}\n")


CARAVANS = """\
onebond: 1
site: {name: Pitches, rulebook: iec, stage: design}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm, fault-current: 1 kA}
boards:
  post: {place: caravan}
  group: {inside: post}
connections:
  service: {from: grid, to: post, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  bar: {from: post, to: group, cores: L1 N, through: [{kind: rcd, id: rcd-1, rating: 40 A, residual: 30 mA, type: A}]}
circuits:
  a: {from: group, cores: L1 N PE, size: 2.5 mm2, length: 9 m,
    serves: socket-outlets, load: 1 kW, through: [{kind: mcb, curve: B, rating: 16 A}]}
  b: {from: group, cores: L1 N PE, size: 2.5 mm2, length: 9 m, serves: OTHER, load: 1 kW, through: [{kind: mcb, curve: B, rating: 16 A}]}
  c: {from: post, cores: L1 N PE, size: 2.5 mm2, length: 9 m, serves: BESIDE, load: 1 kW, through: [DEVICE]}
electrodes:
  rod: {at: post, resistance: 10 ohm, conductor: 16 mm2}
"""


def caravans(other: str, beside: str = "socket-outlets", device: str = RCBO) -> str:
    return CARAVANS.replace("OTHER", other).replace("BESIDE", beside).replace("DEVICE", device)


MEDICAL_IT = """\
onebond: 1
site: {name: Ward, rulebook: iec, stage: design}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.3 ohm, fault-current: 1 kA}
  t: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 8 kVA, impedance: 4 %, earthing: IT, neutral-bond: none}
boards:
  main: {}
  ward: {place: PLACE}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  to-t: {from: main, to: t.in, cores: L1 N PE, size: 10 mm2, length: 5 m, through: [{kind: fuse, class: gG, rating: 50 A}]}
  from-t: {from: t.out, to: ward, cores: L1 N PE, size: 16 mm2, length: 2 m, through: [{kind: mcb, curve: B, rating: 40 A}]}
circuits:
  bed: {from: ward, cores: L1 N PE, size: 4 mm2, length: 5 m,
    serves: socket-outlets, load: 1 kW, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rod: {at: main, resistance: 3 ohm, conductor: 16 mm2}
monitors:
  imd: {at: wardIMPEDANCE}
"""


def ward(place: str = "medical", impedance: str = ", impedance: 150 kohm") -> str:
    return MEDICAL_IT.replace("PLACE", place).replace("IMPEDANCE", impedance)


VAN = """\
onebond: 1
site: {name: Van, rulebook: bs7671, stage: draft}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}
  combi: {kind: inverter, phases: L1, voltage: 230 V, mounted: vehicle, mains-input: yes,
    neutral-through: switched, neutral-bond: while-inverting}
boards:
  van: {}
connections:
  lead: {from: grid, to: combi.in, cores: CORES, plug: yes}
  feed: {from: combi.out, to: van, cores: L1 N PE}
circuits:
  fan: {from: van, cores: L1 N PE, serves: fixed}
"""
PEN_ON = ("to: far, cores: L1 L2 L3 N PE", "to: far, cores: L1 L2 L3 PEN")
FAR_LINK = ("  link: {at: main", "  far-link: {at: far, size: 16 mm2}\n  link: {at: main")
NO_BUILDING = ("  main: {building: house}", "  main: {}")


class Case(NamedTuple):
    """A site under a rulebook, and what one rule makes of one subject: the kind of verdict, and a clause that it names."""

    why: str
    site: str
    rulebook: str
    rule: str
    subject: str
    kind: str  # fail | review | exempt | open | none
    clause: str = ""


CASES = (
    # 710: the group of a medical place is not described; socket-outlets need 30 mA in any (411.3.3)
    Case(
        "a fixed circuit in a room of unknown group",
        plot("medical"),
        "iec",
        "rcd-missing",
        "one",
        "review",
        "710.411.4 ?",
    ),
    Case("the same behind 30 mA", plot("medical", "fixed", RCBO), "iec", "rcd-missing", "one", "none"),
    Case(
        *("63 A are the most", plot("medical", "fixed", MCB.replace("16", "63")), "bs7671"),
        *("rcd-missing", "one", "review", "710.411.4 ?"),
    ),
    Case("64 A are more", plot("medical", "fixed", MCB.replace("16", "64")), "bs7671", "rcd-missing", "one", "none"),
    Case("sockets there", plot("medical", "socket-outlets"), "iec", "rcd-missing", "one", "fail"),
    Case(
        "AS/NZS 3003 ?: 10 mA in patient areas",
        plot("medical", "fixed", RCBO),
        "as-nzs",
        "rcd-missing",
        "one",
        "review",
        "3003 ?",
    ),
    Case("710.411.6 ?: no device in medical IT", ward(), "iec", "rcd-missing", "bed", "exempt", "710.411.6 ?"),
    Case("the same in a workshop", ward("outdoor"), "iec", "rcd-missing", "bed", "fail"),
    Case("517.20(B) ?", ward(), "nec", "rcd-missing", "bed", "exempt", "NEC 517.20(B) ?"),
    Case("the monitor may be anything", ward("medical", ""), "iec", "it-without-monitor", "t", "open"),
    Case("it does not matter in a workshop", ward("outdoor", ""), "iec", "it-without-monitor", "t", "none"),
    # 411.8, 704.410.3.10 ?: reduced low voltage has an earthed mid-point, so two lines or three
    Case(
        "110 V with a mid-point",
        tools("L1 L2, system: split-phase", "55/110 V", "L1 L2"),
        "bs7671",
        "rcd-missing",
        "saw",
        "exempt",
        "411.8",
    ),
    Case(
        "the same in IEC, which does not know it",
        tools("L1 L2, system: split-phase", "55/110 V", "L1 L2"),
        "iec",
        "rcd-missing",
        "saw",
        "fail",
    ),
    Case("55 V of one line are no such system", tools("L1", "55 V", "L1 N"), "bs7671", "rcd-missing", "saw", "fail"),
    Case(
        "120/240 V are too much",
        tools("L1 L2, system: split-phase", "120/240 V", "L1 L2"),
        "bs7671",
        "rcd-missing",
        "saw",
        "fail",
    ),
    Case(
        "110 V of three lines, 63.5 V to the star point",
        tools("L1 L2 L3", "63.5/110 V", "L1 L2 L3"),
        *("bs7671", "rcd-missing", "saw", "exempt", "704.410.3.10 ?"),
    ),
    Case(
        "64 V to the star point are too much",
        tools("L1 L2 L3", "64/111 V", "L1 L2 L3"),
        *("bs7671", "rcd-missing", "saw", "fail"),
    ),
    # 590.6(B) ?: a written program for equipment grounding conductors may take the place of the device
    Case(
        "three lines on a construction site",
        plot(
            "construction",
            "socket-outlets",
            MCB,
            ("one: {from: far, cores: L1 N PE", "one: {from: far, cores: L1 L2 L3 PE"),
        ),
        *("nec", "rcd-missing", "one", "review", "590.6(B) ?"),
    ),
    Case("one line", plot("construction", "socket-outlets"), "nec", "rcd-missing", "one", "fail"),
    # 551.71(F): nothing but 15 and 20 A of 125 V
    Case(
        "30 A on a pitch",
        plot("caravan", "socket-outlets", MCB.replace("16", "30")),
        "nec",
        "rcd-missing",
        "one",
        "exempt",
        "551.71(F)",
    ),
    Case(
        "30 A with 6 mA",
        plot("caravan", "socket-outlets", RCBO.replace("16", "30").replace("30 mA", "5 mA")),
        "nec",
        "rcd-missing",
        "one",
        "none",
    ),
    Case("16 A on a pitch", plot("caravan", "socket-outlets"), "nec", "rcd-missing", "one", "fail"),
    # 708.415.1: of its own; a dwelling that stands for good is another thing
    Case("two outlets on one device", caravans("socket-outlets"), "iec", "rcd-missing", "a", "fail"),
    Case("a heater on the same device", caravans("fixed"), "iec", "rcd-missing", "a", "none"),
    Case(
        "a lamp on the board", caravans("socket-outlets", "lighting"), "iec", "rcd-missing", "a", "review", "708.415.1"
    ),
    Case(
        "AS/NZS 3001 ? asks for no device of its own", caravans("socket-outlets"), "as-nzs", "rcd-missing", "a", "none"
    ),
    # SANS 10142-1: nothing known beyond 6.7.5 ?
    Case("a farm", plot("agricultural"), "sans", "rcd-missing", "one", "none"),
    Case("705.411.1", plot("agricultural"), "bs7671", "rcd-missing", "one", "fail", "300 mA or less"),
    # 705.411.1: 30 mA for outlets of up to 32 A, 100 mA above, and 300 mA for all else: whoever needs the first is not sent for the last
    Case("outlets", plot("agricultural", "socket-outlets"), "iec", "rcd-missing", "one", "fail", "RCD of 30 mA"),
    Case(
        "outlets that have the one of the farm",
        plot("agricultural", "socket-outlets", RCBO.replace("30 mA", "300 mA")),
        "iec",
        "rcd-missing",
        "one",
        "fail",
        "RCD of 30 mA",
    ),
    Case(
        "outlets of 63 A",
        plot("agricultural", "socket-outlets", MCB.replace("16", "63")),
        "iec",
        "rcd-missing",
        "one",
        "fail",
        "RCD of 100 mA",
    ),
    Case(
        "AS/NZS 2.6.3 ?: every final circuit of a home",
        plot("dwelling", "fixed", MCB.replace("16", "63")),
        "as-nzs",
        "rcd-missing",
        "one",
        "fail",
    ),
    # 551.4.4.2 ?: every circuit of a set that is moved about; 445.20 ?: its receptacles
    Case("a fixed circuit of a portable set", lone("fixed", "fixed", MCB), "bs7671", "rcd-missing", "one", "fail"),
    # 30 mA either way: what is said is what the portable set asks for
    Case(
        "its outlets",
        lone("fixed", "socket-outlets", MCB),
        "bs7671",
        "rcd-missing",
        "one",
        "fail",
        "551.4.4.2",
    ),
    Case(
        "the same of a set on a vehicle", lone("fixed", "fixed", MCB, "vehicle"), "bs7671", "rcd-missing", "one", "none"
    ),
    Case("the same under NEC", lone("fixed", "fixed", MCB), "nec", "rcd-missing", "one", "none"),
    Case("its receptacle under NEC", lone("fixed", "socket-outlets", RCBO), "nec", "rcd-missing", "one", "fail"),
    # 413 ?: one item; how many hang on an outlet nobody can tell
    Case("one item", lone("none", "fixed", MCB), "iec", "neutral-unreferenced", "set", "exempt", "413 ?"),
    Case("one outlet", lone("none", "socket-outlets", MCB), "iec", "neutral-unreferenced", "set", "review", "413 ?"),
    Case(
        "one outlet behind 30 mA",
        lone("none", "socket-outlets", RCBO),
        "iec",
        "neutral-unreferenced",
        "set",
        "exempt",
        "551.4.4 ?",
    ),
    Case(
        "250.34(A)",
        lone("none", "socket-outlets", MCB),
        "nec",
        "neutral-unreferenced",
        "set",
        "exempt",
        "NEC 250.34(A)",
    ),
    Case(
        "250.34(B)",
        lone("none", "socket-outlets", MCB, "vehicle"),
        "nec",
        "neutral-unreferenced",
        "set",
        "exempt",
        "NEC 250.34(B)",
    ),
    Case(
        "250.34(A), the electrode",
        lone("fixed", "socket-outlets", MCB),
        "nec",
        "electrode-missing",
        "set",
        "exempt",
        "NEC 250.34(A)",
    ),
    Case(
        "250.34(B), the electrode",
        lone("fixed", "fixed", MCB, "vehicle"),
        "nec",
        "electrode-missing",
        "set",
        "exempt",
        "NEC 250.34(B)",
    ),
    Case(
        "717, 721", lone("fixed", "fixed", MCB, "vehicle"), "iec", "electrode-missing", "set", "exempt", "60364-7-717"
    ),
    Case(
        "the same set, not said to be portable",
        lone("fixed", "fixed", MCB, "fixed"),
        "nec",
        "electrode-missing",
        "set",
        "fail",
    ),
    # 704.411.3.1; 705.415.2.1 ?, note; 708.411.4 ?, 709.411.4 ?: the earth of a supply with a PEN
    Case(
        "a construction site on PME",
        plot("construction"),
        "bs7671",
        "pen-earth-not-allowed",
        "far",
        "review",
        "704.411.3.1",
    ),
    Case("a farm on PME", plot("agricultural"), "bs7671", "pen-earth-not-allowed", "far", "review", "705.415.2.1"),
    Case("a quay on PME", plot("marina"), "bs7671", "pen-earth-not-allowed", "far", "fail"),
    Case("a farm on TN-C-S in IEC", plot("agricultural"), "iec", "pen-earth-not-allowed", "far", "none"),
    Case(
        "a construction site on TN-S",
        plot(
            "construction",
            "fixed",
            MCB,
            ("earthing: TN-C-S", "earthing: TN-S"),
            ("main, cores: L1 L2 L3 PEN", "main, cores: L1 L2 L3 N PE"),
        ),
        "bs7671",
        "pen-earth-not-allowed",
        "far",
        "none",
    ),
    Case(
        "a vehicle on PME",
        VAN.replace("CORES", "L1 N PE"),
        "bs7671",
        "pen-earth-not-allowed",
        "combi",
        "review",
        "717.411.4 ?",
    ),
    Case("the same in IEC", VAN.replace("CORES", "L1 N PE"), "iec", "pen-earth-not-allowed", "combi", "none"),
    # 717.312.2 ?: no PEN inside a unit; 710.312.2 ?: none behind the main distribution board
    Case(
        "a PEN in the lead of a vehicle",
        VAN.replace("CORES", "L1 PEN"),
        "iec",
        "pen-earth-not-allowed",
        "combi",
        "fail",
    ),
    Case(
        "a PEN to the first board of a clinic",
        plot("medical", "fixed", MCB, PEN_ON, FAR_LINK),
        "iec",
        "pen-earth-not-allowed",
        "far",
        "none",
    ),
    Case(
        "a PEN to a board that may be the first",
        plot("medical", "fixed", MCB, PEN_ON, FAR_LINK, NO_BUILDING),
        "iec",
        "pen-earth-not-allowed",
        "far",
        "review",
    ),
    Case(
        "a PEN within a building",
        plot("medical", "fixed", MCB, PEN_ON, FAR_LINK, ("{building: house}", "{building: barn}")),
        "iec",
        "pen-earth-not-allowed",
        "far",
        "fail",
    ),
    Case(
        "250.142(B): no grounded conductor to a barn",
        plot("agricultural", "fixed", MCB, PEN_ON, FAR_LINK),
        "nec",
        "pen-earth-not-allowed",
        "far",
        "fail",
    ),
    # 710.411.3.2.1 ?
    Case(
        "a type that is not written",
        plot("medical", "fixed", RCBO.replace(", type: A", "")),
        "iec",
        "rcd-type-unsuitable",
        "one",
        "open",
    ),
    Case(
        "type AC in a house",
        plot("dwelling", "fixed", RCBO.replace("type: A", "type: AC")),
        "iec",
        "rcd-type-unsuitable",
        "one",
        "none",
    ),
    Case(
        "type AC in a surgery",
        plot("medical", "fixed", RCBO.replace("type: A", "type: AC")),
        "iec",
        "rcd-type-unsuitable",
        "one",
        "fail",
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.rulebook} {case.why}")
def test_verdict(case: Case) -> None:
    site = inspected(case.site, (RULES[case.rule],), case.rulebook).site
    results = [result for result in site.results if result.rule == case.rule and result.subject == case.subject]
    words: dict[str, str] = {}
    for result in results:
        if result.kind in ("fail", "review", "open"):
            words[result.kind] = f"{result.message} {result.put_right}"
        for exemption in result.exemptions:
            words["exempt"] = exemption.reason
    assert set(words) == ({case.kind} if case.kind != "none" else set()), words
    assert case.clause in words.get(case.kind, "")


def test_what_a_frame_is_not_needed_for() -> None:
    """411.3.3 speaks of socket-outlets, whatever is plugged in: one without a frame is asked in every state that feeds it."""
    text = plot(
        "dwelling",
        "socket-outlets",
        MCB,
        ("one: {from: far, cores: L1 N PE", "one: {equipment: class-II, from: far, cores: L1 N"),
    )
    site = inspected(text, (RULES["rcd-missing"],)).site
    assert [result.subject for result in site.results if result.kind == "fail"] == ["one"]
    faults = Facts(inspected(text, ()).installation, "iec")
    assert "one" not in {fault.id for fault in faults.earth_faults}
    assert {fault.framed for fault in faults.shocks if fault.id == "one"} == {False}


@pytest.mark.parametrize("ends", ["from: post, to: van", "from: van, to: post"])
def test_a_lead_may_be_written_from_either_end(ends: str) -> None:
    """708.415.1: the outlet of the pitch has the device, whichever end of the lead is written first; 721.415.101: so has the caravan."""
    lead = f"  lead: {{{ends}, cores: L1 N PE, size: 2.5 mm2, length: 9 m, plug: yes, through: [{MCB}]}}\n"
    fan = f"  fan: {{from: van, cores: L1 N PE, size: 2.5 mm2, length: 9 m, serves: fixed, load: 1 kW, through: [{MCB}]}}\n"
    text = caravans("fixed").replace("  group: {", "  van: {place: caravan}\n  group: {")
    text = text.replace("connections:\n", f"connections:\n{lead}").replace("circuits:\n", f"circuits:\n{fan}")
    site = inspected(text, (RULES["rcd-missing"],)).site
    assert sorted(result.subject for result in site.results if result.kind == "fail") == ["fan", "lead"]
