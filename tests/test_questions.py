"""Questions that practitioners ask about neutral bonding, described in our own words, with the verdict of each rulebook.

The answers are those of the clauses named beside them (from memory where a clause carries a ``?``); only rules about where the neutral
is tied to earth and how sources meet are compared, for the sites say nothing of sizes.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from onebond.document import parse
from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import read
from onebond.rule import RULEBOOKS

ASKED = frozenset(
    (
        *("neutral-unreferenced", "neutral-bonded-twice", "bond-behind-rcd", "bond-missing-at-pen-split"),
        *("island-reference-borrowed", "changeover-neutral-solid", "changeover-neutral-switched", "electrode-missing"),
        *("sources-in-parallel", "backfeed", "inverter-feeds-itself", "inverter-fed-behind-rcd", "infeed-behind-rcd"),
    )
)

HOUSE = """\
onebond: 1
site: {name: A question, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-C-S}
  set: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, neutral-bond: BOND, mounted: MOUNTED}
boards:
  main: {}
  house: {}
changeovers:
  ts: {positions: [grid, off, set], poles: POLES, drive: manual}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 PEN}
  to-ts: {from: main, to: ts.grid, cores: L1 L2 L3 N PE}
  set-feed: {from: set, to: ts.set, cores: L1 L2 L3 N PE}
  to-house: {from: ts, to: house, cores: L1 L2 L3 N PE}
circuits:
  oven: {from: house, cores: L1 L2 L3 N PE, serves: fixed}
bonds:
  main-link: {at: main}
electrodes:
  rods: {at: main}
"""
HYBRID = """\
onebond: 1
site: {name: A question, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}
  hybrid: {kind: inverter, phases: L1, voltage: 230 V, mains-input: yes, neutral-through: THROUGH, neutral-bond: while-inverting}
boards:
  main: {}
  essential: {}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  to-hybrid: {from: main, to: hybrid.in, cores: L1 N PE}
  to-essential: {from: hybrid.out, to: essential, cores: L1 N PE}
circuits:
  freezer: {from: essential, cores: L1 N PE, serves: fixed}
bonds:
  main-link: {at: main}
electrodes:
  rods: {at: main}
"""
CAMPER = """\
onebond: 1
site: {name: A question, rulebook: iec, stage: draft}
sources:
  pedestal: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  combi: {kind: inverter, phases: L1, voltage: 230 V, mounted: vehicle, mains-input: yes, neutral-through: switched, neutral-bond: BOND}
boards:
  camper: {}
connections:
  hook-up: {from: pedestal, to: combi.in, cores: L1 N PE, plug: yes}
  feed: {from: combi.out, to: camper, cores: L1 N PE}
circuits:
  fridge: {from: camper, cores: L1 N PE, serves: fixed}
"""
SETS = """\
onebond: 1
site: {name: A question, rulebook: iec, stage: draft}
sources:
  g1: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, neutral-bond: BOND, may-parallel: [g2]}
  g2: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, neutral-bond: BOND, may-parallel: [g1]}
boards:
  bars: {}
connections:
  g1-feed: {from: g1, to: bars, cores: L1 L2 L3 N PE, through: [{kind: mccb, operable: yes, id: q-g1}]}
  g2-feed: {from: g2, to: bars, cores: L1 L2 L3 N PE, through: [{kind: mccb, operable: yes, id: q-g2}]}
interlocks:
  - never: {g1: standing, q-g1: closed}
  - never: {g2: standing, q-g2: closed}
circuits:
  crusher: {from: bars, cores: L1 L2 L3 N PE, serves: fixed}
LINK
electrodes:
  rods: {at: bars}
"""


class Question(NamedTuple):
    """What is asked, the site, and the findings (rule and level) under each rulebook, with the clause that says so."""

    asked: str
    site: str
    answers: dict[str, set[str]]


def house(bond: str, poles: str, mounted: str = "fixed") -> str:
    return HOUSE.replace("BOND", bond).replace("POLES", poles).replace("MOUNTED", mounted)


THREE, FOUR = "L1 L2 L3", "L1 L2 L3 N"
QUESTIONS = (
    Question(
        "a bonded generator on a three-pole changeover: the neutral is tied at the house and at the set",
        house("fixed", THREE),
        {
            "iec": {"error changeover-neutral-solid"},  # 444.4.7 ?
            "bs7671": {"error changeover-neutral-solid"},  # 444.4.7 ?
            "nec": {"error changeover-neutral-solid"},  # not separately derived: no bond at the set, 250.20, 250.30
            "as-nzs": {"error changeover-neutral-solid"},  # the MEN link is the one link, 7.3.8.1.1(c)
            "sans": {"error changeover-neutral-solid"},  # 7.12.3.1.3
        },
    ),
    Question(
        "the same on a four-pole changeover: each system has its own bond",
        house("fixed", FOUR),
        {
            "iec": set(),
            "bs7671": set(),
            "nec": set(),  # a separately derived system, 250.30
            "as-nzs": {"error changeover-neutral-switched"},  # the neutral of the supply stays connected, 7.3.8.1.2
            "sans": set(),
        },
    ),
    Question(
        "a floating portable set on a changeover with a solid neutral: it borrows the bond of the house",
        house("none", THREE, "portable"),
        {
            "iec": {"warning changeover-neutral-solid"},  # 444.4.7 ?
            "bs7671": {"warning changeover-neutral-solid"},  # 444.4.7 ?
            "nec": set(),  # not separately derived, 250.20
            "as-nzs": set(),  # the regular arrangement, 7.3.8.1.2
            "sans": set(),
        },
    ),
    Question(
        "a floating set on a four-pole changeover: nothing ties its neutral to earth",
        house("none", FOUR),
        {
            "iec": {"error neutral-unreferenced"},  # 551.4.3.2.1
            "bs7671": {"error neutral-unreferenced"},
            "nec": {"error neutral-unreferenced"},  # 250.20(B)
            "as-nzs": {"error neutral-unreferenced", "error changeover-neutral-switched"},
            "sans": {"error neutral-unreferenced"},
        },
    ),
    Question(
        "a hybrid inverter whose relay closes while its neutral is solid: tied at the board and in the inverter",
        HYBRID.replace("THROUGH", "solid"),
        {book: {"error neutral-bonded-twice"} for book in RULEBOOKS},  # 543.4.3; 250.142(B); 7.3.8.1.1(c); 6.1.6
    ),
    Question(
        "the same with the neutral parted while it inverts",
        HYBRID.replace("THROUGH", "switched"),
        # in AS/NZS the neutral of the supply stays connected: a warning, as 4777.1 lets the maker decide (from memory)
        {**{book: set() for book in RULEBOOKS}, "as-nzs": {"warning changeover-neutral-switched"}},
    ),
    Question(
        "a camper on shore power and on its own inverter, with a relay: one reference each",
        CAMPER.replace("BOND", "while-inverting"),
        {book: set() for book in RULEBOOKS},  # 721 ?, 551 ?: the chassis is the reference
    ),
    Question(
        "the same with a link that never opens: on shore power it is a second one",
        CAMPER.replace("BOND", "fixed"),
        {book: {"error neutral-bonded-twice"} for book in RULEBOOKS},
    ),
    Question(
        "star points of two sets joined by the neutral bar and earthed once",
        SETS.replace("BOND", "none").replace("LINK", "bonds:\n  star-link: {at: bars}"),
        {book: set() for book in RULEBOOKS},
    ),
    Question(
        "the same with a link in each set: neutral current between them goes by PE",
        SETS.replace("BOND", "fixed").replace("LINK\n", ""),
        {book: {"error neutral-bonded-twice"} for book in RULEBOOKS},
    ),
)


@pytest.mark.parametrize("book", RULEBOOKS)
@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.asked[:60])
def test_each_rulebook_gives_its_answer(question: Question, book: str) -> None:
    document = parse(question.site.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    results = inspect(installation, document, load_rules(), book).results
    roots = [one for one in results if one.kind == "fail" and one.because is None and one.rule in ASKED]
    assert {f"{one.level} {one.rule}" for one in roots} == question.answers[book]
