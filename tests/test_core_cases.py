"""What belongs to which case: references and what they follow from, frames and their electrodes, places and their side."""

from __future__ import annotations

import pytest

from described import facts_of
from onebond import testing
from onebond.result import Result
from onebond_rules import RULES

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

SHED = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, sub: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE}
circuits:
  one: {from: sub, cores: L1 N PE}
"""
)
"""A set that feeds a board and one behind it."""

BOTH = SHED.replace("sources:\n", "sources:\n  grid: {kind: utility, phases: L1, earthing: TN-S}\n").replace(
    "connections:\n", "connections:\n  service: {from: grid, to: main, cores: L1 N PE}\n"
)
"""The same beside a supply."""

PEN = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.5 ohm}
boards: {main: {}, a: {}, b: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN, size: 16 mm2, length: 10 m}
  to-a: {from: main, to: a, cores: L1 N PE, size: 4 mm2, length: 20 m}
  to-b: {from: main, to: b, cores: L1 N PE, size: 4 mm2, length: 20 m}
circuits:
  at-a: {from: a, cores: L1 N PE, size: 2.5 mm2, length: 5 m, load: 20 A}
  at-b: {from: b, cores: L1 N PE, size: 2.5 mm2, length: 5 m, load: 1 A}
bonds: {link: {at: main}, link-a: {at: a}, link-b: {at: b}}
"""
)
"""A split PEN, and a link too many at each of two boards behind it."""


def failing(text: str, rule: str) -> dict[str, Result]:
    """What a rule finds, by subject, among the findings of all rules."""
    results = testing.inspected(text, RULES).site.results
    return {result.subject: result for result in results if result.rule == rule and result.kind == "fail"}


# -- references --------------------------------------------------------------------------------------------------------


def test_a_link_where_a_pen_is_split_is_kept_before_one_behind_it_that_is_written_first() -> None:
    # the PEN ends where it is split (IEC 60364-5-54, 543.4.3): the link there is the one that has to be
    text = SHED.replace("cores: L1 N PE}", "cores: L1 PEN}", 1) + "bonds: {behind: {at: sub}, link: {at: main}}\n"
    assert {one.id: one.kept and one.kept.id for one in facts_of(text).references} == {"behind": "link", "link": None}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # with the supply detached the set has no other reference: taken out, its neutral would float
        (BOTH + "bonds: {link: {at: main}}\n", "hold link by a relay that is open wherever the star point of grid"),
        # whatever feeds the boards, the other link is there as well
        (SHED + "bonds: {link: {at: sub}, other: {at: main}}\n", "remove other: "),
    ],
)
def test_a_reference_too_many_is_removed_only_where_it_is_never_the_only_one(text: str, said: str) -> None:
    (found,) = failing(text, "neutral-bonded-twice").values()
    assert found.put_right.startswith(said)


@pytest.mark.parametrize(("loaded", "idle"), [("a", "b"), ("b", "a")])
def test_the_current_in_a_pe_follows_from_the_link_at_its_end(loaded: str, idle: str) -> None:
    # of the 20 A some 10 A return by the PE of the board that draws them, of the 1 A at the other board next to nothing
    text = PEN if loaded == "a" else PEN.replace("20 A", "1.0 A").replace("1 A", "20 A").replace("1.0 A", "1 A")
    (found,) = facts_of(text).pe_currents
    assert (found.id, found.surplus) == (f"to-{loaded}", f"link-{loaded}")
    assert 8 < found.current_a < 12
    (result,) = failing(text, "neutral-current-in-pe").values()
    assert result.because == ("neutral-bonded-twice", f"link-{loaded}")


def test_the_supplies_on_whose_star_point_a_set_leans() -> None:
    for bonds in ("", "bonds: {link: {at: main}}\n"):
        feedings = [one for one in facts_of(BOTH + bonds).feedings if one.id == "set"]
        assert {bool(one.island.detached) for one in feedings} == {True, False}
        for one in feedings:
            # a link of the installation is no supply, and a detached supply no reference
            assert [mention.subject for mention in one.utilities] == ([] if one.island.detached else ["grid"])
    (found,) = failing(BOTH, "island-reference-borrowed").values()
    assert [mention.subject for mention, _ in found.mentions] == ["grid"]


def test_readings_of_a_floating_neutral_are_those_of_its_own_island() -> None:
    text = (
        HEAD
        + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
  inv: {kind: inverter, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {shed: {}, hut: {}}
connections:
  to-shed: {from: set, to: shed, cores: L1 N PE, size: 4 mm2, length: 10 m}
  to-hut: {from: inv, to: hut, cores: L1 N PE, size: 4 mm2, length: 10 m}
circuits:
  saw: {from: shed, cores: L1 N PE, size: 2.5 mm2, length: 5 m}
  lamp: {from: hut, cores: L1 N PE, size: 2.5 mm2, length: 5 m}
"""
    )
    read = {feeding.id: {reading.id for reading in feeding.readings()} for feeding in facts_of(text).feedings}
    assert read == {"set": {"shed", "saw"}, "inv": {"hut", "lamp"}}


# -- behind an RCD -----------------------------------------------------------------------------------------------------

COMMON_NEUTRAL = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-through: solid, neutral-bond: none}
boards: {intake: {}, main: {}}
changeovers:
  co: {positions: [mains, own], poles: L1}
connections:
  service: {from: grid, to: intake, cores: L1 PEN}
  to-co: {from: intake, to: co.mains, cores: L1 N PE}
  to-main: {from: co, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE, through: [{kind: rcd, id: r, residual: 30 mA}]}
  output: {from: hybrid.out, to: co.own, cores: L1 PE}
circuits:
  one: {from: main, cores: L1 N PE}
bonds: {link: {at: intake}}
"""
)
"""An inverter that feeds the board which its input hangs on, and whose output has no neutral of its own."""

STACK = (
    COMMON_NEUTRAL.replace("  hybrid: {", "  h1: {", 1)
    .replace(
        "boards:",
        "  h2: {kind: inverter, phases: L1, mains-input: yes, neutral-through: solid, neutral-bond: none}\n"
        "groups: {stack: {members: [h1, h2], phases: {h1: L1, h2: L1}}}\nboards:",
        1,
    )
    .replace("{intake: {},", "{intake: {}, inputs: {},")
    .replace(
        "  input: {from: main, to: hybrid.in,",
        "  in-1: {from: inputs, to: h1.in, cores: L1 N PE}\n"
        "  in-2: {from: inputs, to: h2.in, cores: L1 N PE}\n"
        "  out-2: {from: h2.out, to: co.own, cores: L1 PE}\n"
        "  input: {from: main, to: inputs,",
    )
    .replace("from: hybrid.out", "from: h1.out")
)
"""Two such inverters in parallel, with one RCD ahead of both."""

BEHIND = (
    COMMON_NEUTRAL.replace(
        "output: {from: hybrid.out, to: co.own, cores: L1 PE}", "output: {from: hybrid.out, to: co.own, cores: L1 N PE}"
    )
    .replace("neutral-through: solid", "neutral-through: switched")
    .replace("poles: L1}", "poles: L1 N}")
    .replace(
        "input: {from: main, to: hybrid.in,",
        "input: {from: sub, to: hybrid.in, cores: L1 N PE}\n  on: {from: main, to: sub,",
    )
    .replace("main: {}}", "main: {}, sub: {}}")
    .replace("{at: intake}", "{at: intake}, relay: {at: sub, closed: {hybrid: inverting}}")
)
"""The same with a neutral at the output, and with a relay bond at the board behind the RCD."""


RCD = "through: [{kind: rcd, id: r-all, residual: 300 mA, delay: S}]"

PASSED_ON = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-through: solid, neutral-bond: none}
boards: {main: {}, sub: {}, out: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{kind: rcd, id: r, residual: 30 mA}]}
  input: {from: sub, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: sub, cores: L1 N PE}
  three: {from: out, cores: L1 N PE}
bonds: {link: {at: out}}
"""
)
"""The input of an inverter on a final board, and the link of the whole site at its output."""


@pytest.mark.parametrize(
    ("text", "tie", "fed"),
    [
        # what the loads draw returns by the input, past the RCD there: fed from ahead of the RCD it would not
        (COMMON_NEUTRAL, "link", "hybrid"),
        (STACK, "link", "h1"),
        # the inverter carries the neutral of its input to the link
        (PASSED_ON, "link", "hybrid"),
        # these are behind the RCD wherever the input is fed from
        (BEHIND, "relay", ""),
        (PASSED_ON.replace("{at: out}", "{at: sub}"), "link", ""),
        # it is behind the RCD of the whole site as well
        (PASSED_ON.replace("main, cores: L1 N PE}", f"main, cores: L1 N PE, {RCD}}}", 1), "link", ""),
        # an RCD for the inverter alone is where it should be, and the link is not
        (PASSED_ON.replace("30 mA", "300 mA"), "link", ""),
    ],
)
def test_a_link_behind_an_rcd_follows_from_an_input_behind_it(text: str, tie: str, fed: str) -> None:
    assert {one.fed_behind for one in facts_of(text).references if one.behind} == {fed}
    found = failing(text, "bond-behind-rcd")
    because = ("inverter-fed-behind-rcd", fed) if fed else None
    assert {subject: result.because for subject, result in found.items()} == {tie: because}


# -- relays ------------------------------------------------------------------------------------------------------------

OUTBUILDING = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  inv: {kind: inverter, phases: L1, INNER}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, through: [{id: k, kind: contactor, poles: L1 N, operable: yes}]}
  feed: {from: inv, to: main, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
electrodes: {rod: {at: main}}
interlocks:
  - never: {k: closed, inv: inverting}
"""
)
"""An inverter without a mains input on the board of a supply; a contactor keeps the two apart."""


@pytest.mark.parametrize(
    ("inner", "bonds", "subject", "words"),
    [
        ("neutral-bond: while-inverting, DELAYS", "", "inv", "the bond inside inv"),
        ("neutral-bond: none", "bonds: {relay: {at: main, closed: {inv: inverting}, DELAYS}}\n", "relay", "relay"),
    ],
)
@pytest.mark.parametrize(("opens_ms", "late"), [(100, True), (20, False)])
def test_a_bond_that_opens_late_overlaps_the_supply_after_the_inverter_has_stopped(
    inner: str, bonds: str, subject: str, words: str, opens_ms: int, late: bool
) -> None:
    # while it inverts the contactor is open: the two references meet only after it, until the relay has dropped out
    text = OUTBUILDING.replace("INNER", inner) + bonds
    text = text.replace("DELAYS", f"closes-after: 20 ms, opens-after: {opens_ms} ms")
    found = failing(text, "reference-lost-in-transition")
    assert list(found) == ([subject] if late else [])
    for result in found.values():
        assert result.message.startswith(f"{words} is too slow")
        assert dict(result.figures)["tied twice for up to"] == "0.100 s"
        assert [mention.subject for mention, _ in result.mentions] == ["grid"]


# -- PEN ---------------------------------------------------------------------------------------------------------------

ENCLOSURE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}, bars: {inside: main}, far: {}}
connections:
  service: {from: grid, to: PEN-AT, cores: L1 PEN}
  across: {from: main, to: bars, cores: L1 N}
  on: {from: FAR-FROM, to: far, cores: L1 N}
circuits:
  one: {from: PE-AT, cores: L1 N PE}
  two: {from: far, cores: L1 N PE}
"""
)
"""A board with bars in its enclosure, and a far board to which no PE leads."""


@pytest.mark.parametrize("pe", ["main", "bars"])
@pytest.mark.parametrize("pen", ["main", "bars"])
def test_a_pen_is_split_in_an_enclosure_on_whatever_bars_of_it_a_pe_lands(pen: str, pe: str) -> None:
    # both share one PE bar (FORMAT.md, places)
    text = ENCLOSURE.replace("PEN-AT", pen).replace("PE-AT", pe).replace("FAR-FROM", "bars")
    found = facts_of(text).pen_landings
    assert {(one.id, one.bonded) for one in found} == {(pen, False)}
    linked = facts_of(text + "bonds: {link: {at: bars}}\n").pen_landings
    assert {(one.id, one.bonded) for one in linked} == {(pen, True)}
    # the enclosure and what hangs on it lost their earth with the link, the far board by itself
    lost = {result.subject: result.because for result in failing(text, "pe-missing").values()}
    split = ("bond-missing-at-pen-split", pen)
    assert lost == {"main": split, "one": split, "far": None, "two": ("pe-missing", "far")}


def test_a_pe_in_another_enclosure_splits_no_pen() -> None:
    text = ENCLOSURE.replace("PEN-AT", "main").replace("PE-AT", "far").replace("FAR-FROM", "main")
    assert facts_of(text).pen_landings == ()


FARM = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {dairy: {place: agricultural}, barn: {place: agricultural}}
connections:
  service: {from: grid, to: dairy, cores: L1 PEN}
  second: {from: grid, to: barn, cores: L1 PEN}
  between: {from: dairy, to: barn, cores: L1 PEN}
circuits:
  milk: {from: dairy, cores: L1 N PE}
  mill: {from: barn, cores: L1 N PE}
bonds: {dairy-link: {at: dairy}, barn-link: {at: barn}}
extraneous: none
"""
)
"""A farm with two boards; each has a service of its own, and a cable joins them."""


@pytest.mark.parametrize(
    ("left_out", "found"),
    [
        # a PEN beyond the first board (IEC 60364-7-705, from memory); equally far from the supply neither comes first
        ("", {"dairy", "barn"}),
        ("second", {"barn"}),
        ("service", {"dairy"}),
        ("between", set()),
    ],
)
def test_a_pen_between_two_boards_of_a_farm_is_led_on_beyond_the_first_board(left_out: str, found: set[str]) -> None:
    text = "".join(line for line in FARM.splitlines(True) if not left_out or not line.startswith(f"  {left_out}:"))
    assert set(failing(text, "pen-earth-not-allowed")) == found


def test_a_pen_is_not_led_back_to_the_first_board_while_other_bars_in_it_are_alive() -> None:
    # while the inverter feeds its bars nothing feeds the PEN between the boards, from either end
    text = "".join(line for line in FARM.splitlines(True) if not line.startswith("  second:"))
    text = text.replace(
        "boards: {",
        "  ups: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: while-inverting}\nboards: {ups-bars: {inside: dairy}, ",
    )
    text = text.replace(
        "circuits:",
        "  input: {from: dairy, to: ups.in, cores: L1 N PE}\n  output: {from: ups.out, to: ups-bars, cores: L1 N PE}\ncircuits:",
    ).replace("milk: {from: dairy", "milk: {from: ups-bars")
    assert set(failing(text, "pen-earth-not-allowed")) == {"barn"}


@pytest.mark.parametrize(
    ("mains", "own", "sides"),
    [
        ("L1 PEN", "L1 N PE", 2),
        ("L1 PEN", "L1 PE", 1),
        ("L1 PE", "L1 PE", 0),
        ("L1 PE", "L1 PEN", 1),
        ("L1 PEN", "L1 PEN", 2),
    ],
)
def test_sides_of_a_changeover_on_which_a_neutral_lands(mains: str, own: str, sides: int) -> None:
    # a PEN is a neutral too (FORMAT.md, places)
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, earthing: TN-C-S}}
  set: {{kind: generator, phases: L1, neutral-bond: none}}
boards: {{out: {{}}}}
changeovers:
  co: {{positions: [mains, own], poles: L1}}
connections:
  service: {{from: grid, to: co.mains, cores: {mains}}}
  set-feed: {{from: set, to: co.own, cores: {own}}}
  feed: {{from: co, to: out, cores: L1 N PE}}
circuits:
  one: {{from: out, cores: L1 N PE}}
"""
    )
    assert [one.sides for one in facts_of(text).crossings if one.island is None] == [sides]


# -- frames and sides --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cores", "at", "reached"),
    [
        ("L1 N PE", "main", True),
        ("L1 N PE", "set", True),
        # no conductor joins the frame of the set to that of the board
        ("L1 N", "main", False),
        ("L1 N", "set", True),
    ],
)
def test_an_electrode_that_the_frame_of_a_set_reaches(cores: str, at: str, reached: bool) -> None:
    text = SHED.replace("cores: L1 N PE}", f"cores: {cores}}}", 1) + f"electrodes: {{rod: {{at: {at}}}}}\n"
    assert {one.frame_electrode for one in facts_of(text).feedings} == {"rod" if reached else ""}
    # with it nothing is to be joined to the rod but the reference that is missing, which another rule asks for
    assert set(failing(text, "electrode-missing")) == (set() if reached else {"set"})


PUMPS = (
    HEAD
    + """\
sources:
  line: {kind: utility, phases: L1, earthing: IT}
  inv: {kind: inverter, phases: L1, earthing: IT, operation: grid-following, ISOLATEDneutral-bond: none}
direct-current:
  bank: {kind: battery, voltage: 48 V}
boards: {main: {}}
connections:
  service: {from: line, to: main, cores: L1 N}
  feed: {from: inv, to: main, cores: L1 N PE}
  lead: {from: bank, to: inv.dc, cores: DC+ DC- PE}
circuits:
  one: {from: main, cores: L1 N PE}
electrodes: {rod: {at: main}}
monitors: {MONITORS}
"""
)
"""An IT system with a battery inverter in it."""


@pytest.mark.parametrize(
    ("isolated", "beyond", "kind"),
    [
        ("isolated: yes, ", True, "pass"),
        ("isolated: no, ", True, "fail"),
        # whether the two monitors are joined hangs on the inverter ...
        ("", True, "open"),
        # ... and where there is one there is nothing that could be joined to it
        ("", False, "pass"),
    ],
)
def test_a_monitor_beyond_an_inverter_counts_where_the_inverter_separates_nothing(
    isolated: str, beyond: bool, kind: str
) -> None:
    monitors = "imd-1: {at: main}" + ", imd-2: {at: bank}" * beyond
    text = PUMPS.replace("ISOLATED", isolated).replace("MONITORS", monitors)
    results = testing.inspected(text, RULES).site.results
    found = {result.subject: result for result in results if result.rule == "it-without-monitor"}
    (worst,) = {"fail": ["imd-2"], "open": ["line"]}.get(kind, ["line"])
    assert found[worst].kind == kind
    assert not [one for one in found.values() if one.kind != kind and one.kind == "fail"]


CABIN = (
    HEAD
    + """\
sources:
  inv: {kind: inverter, phases: L1, neutral-bond: fixed, isolated: yes}
direct-current:
  bank: {kind: battery, voltage: 48 V}
boards: {hut: {}, solar: {}, spare: {inside: solar}, lamps: {inside: solar}}
connections:
  feed: {from: inv, to: hut, cores: L1 N PE}
  lead: {from: bank, to: solar, cores: DC+ DC- PE}
  on: {from: solar, to: inv.dc, cores: DC+ DC- PE}
circuits:
  one: {from: hut, cores: L1 N PE}
  lamp: {from: lamps, cores: L1 N PE}
electrodes: {rod: {at: hut}}
"""
)
"""A d.c. board with bars for later in it, and with bars for a lamp that nothing feeds."""


def test_bars_in_a_dc_board_belong_to_its_side_until_other_conductors_land_on_them() -> None:
    assert {one.id: one.ever for one in facts_of(CABIN).places} == {
        "hut": True,
        "lamps": False,
        "one": True,
        "lamp": False,
    }
    assert {result.subject: result.because for result in failing(CABIN, "never-energised").values()} == {
        "lamps": None,
        "lamp": ("never-energised", "lamps"),
    }
