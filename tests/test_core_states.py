"""Which operating states there are and what is joined in them, counted by hand on small sites (FORMAT.md, operating states)."""

from __future__ import annotations

from described import facts_of
from onebond import network, states, testing
from onebond.facts import Facts, wiring
from onebond.facts.island import Island

BOND_BY_THE_FIRST_VARIABLE = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  inv: {kind: inverter, phases: L1, neutral-bond: none}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  tie: {from: out, to: sub, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}]}
  feed: {from: inv, to: out, cores: L1 N PE}
  set-feed: {from: set, to: sub, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: out, cores: L1 N PE}
bonds:
  link: {at: out, closed: {grid: absent}}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""

SOLID_NEUTRAL = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {out: {}}
changeovers:
  co: {positions: [mains, own], poles: L1}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: out, resistance: 20 ohm}}
"""

PASSING = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  set-feed: {from: set, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""

SWITCHED_PE = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  feed: {from: main, to: out, cores: L1 N}
  earth: {from: main, to: out, cores: PE, through: [{id: s, kind: switch, poles: PE, operable: yes}]}
circuits:
  one: {from: out, cores: L1 N PE}
"""


def value(island: Island, name: str) -> str:
    """The value of a variable in a case, by name."""
    return island.value(next(i for i, one in enumerate(island.network.variables) if one.name == name))


def test_a_bond_that_depends_on_the_first_variable_is_decided_beside_an_open_contact() -> None:
    # the bond holds only while the grid is absent, whatever the isolator does
    found = {
        (value(island, "q"), value(island, "grid")): bool(island.references)
        for island in facts_of(BOND_BY_THE_FIRST_VARIABLE).islands
        if island.fed_by("inv") and not island.fed_by("set")
    }
    assert found == {
        (switch, grid): grid == "absent" for switch in ("open", "closed") for grid in ("present", "absent", "detached")
    }


def test_a_detached_supply_leaves_its_star_point_behind() -> None:
    # the neutral of the changeover is solid: with the grid absent its star point is the reference, with it detached there is none;
    # while it is present it feeds the island too
    found = {
        value(island, "grid"): [reference.id for reference in island.references]
        for island in facts_of(SOLID_NEUTRAL).islands
        if island.fed_by("set") and not island.fed_by("grid")
    }
    assert found == {"absent": ["grid"], "detached": []}


def test_as_many_cases_as_the_limit_are_worked_out() -> None:
    # the set runs alone with the isolator open; with it closed the inverter behind it is off or inverting, and the
    # first of these is a case of the grid's three states: the limit counts each of them once
    built = network.build(testing.inspected(BOND_BY_THE_FIRST_VARIABLE, ()).installation)
    whole = states.cases(built)
    assert whole.not_proven == ()
    most = max(
        sum(1 for case in whole.cases if number in case.feeds)
        for number, feed in enumerate(built.feeds)
        if feed.forming
    )
    assert states.cases(built, most).not_proven == ()
    assert states.cases(built, most - 1).not_proven != ()


def test_an_inverter_passes_only_while_its_input_is_fed_otherwise_than_through_itself() -> None:
    # the set behind it feeds its output; that leads to its input only through itself
    passing = {value(island, "grid") for island in facts_of(PASSING).islands if value(island, "hybrid") == "passing"}
    assert passing == {"present"}


def test_what_opens_a_protective_conductor_is_decided_in_every_case() -> None:
    # closed, the board is earthed by the supply; open, it is not
    found = {value(one.island, "s"): one.way for one in facts_of(SWITCHED_PE).exposed if one.id == "out" and one.island}
    assert found == {"closed": "reference", "open": ""}


def test_positions_and_what_lies_between_them() -> None:
    # FORMAT.md: a closed transition joins both inputs for a moment, in either direction the same; where only the neutrals
    # overlap, the lines are still those of the input that is left
    def values(more: str) -> tuple[str, ...]:
        text = SOLID_NEUTRAL.replace("poles: L1}", f"poles: L1 N{more}}}")
        return network.build(testing.inspected(text, ()).installation).variables[2].values

    assert values("") == ("mains", "own")
    assert values(", transition: closed") == ("mains", "own", "mains+own")
    assert values(", transition: overlapping-neutral") == ("mains", "own", "mains+own", "own+mains")


def test_a_way_through_an_inverter_leads_from_its_output_back_to_its_input_only() -> None:
    built = network.build(testing.inspected(PASSING, ()).installation)

    def feeds(place: str, terminal: str) -> set[str]:
        return set(built.feeds_at((built.number_of(place, terminal, "N"),)))

    assert feeds("hybrid", "in") == feeds("main", "") == {"grid"}
    assert feeds("hybrid", "out") == feeds("out", "") == {"grid", "hybrid", "set"}


def test_circuits_on_one_lost_neutral_name_the_first_of_them() -> None:
    # the neutrals of both come from a bar that no neutral of a source reaches
    text = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, bar: {}, other: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  n-one: {from: bar, to: one, cores: N}
  n-two: {from: bar, to: two, cores: N}
  n-three: {from: other, to: three, cores: N}
circuits:
  one: {from: main, cores: L1 PE}
  two: {from: main, cores: L1 PE}
  three: {from: main, cores: L1 PE}
"""
    installation = testing.inspected(text, ()).installation
    facts = Facts(installation, "iec")
    assert wiring._lost(facts.network, facts.islands) == {"one": "one", "two": "one", "three": "three"}


def test_a_state_in_which_a_changeover_changes_over() -> None:
    text = SOLID_NEUTRAL.replace("poles: L1}", "poles: L1 N, transition: closed}")
    found = {(value(one, "co"), one.changing_over) for one in facts_of(text).islands}
    assert found == {("mains", False), ("own", False), ("mains+own", True)}


BESIDE = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  set-feed: {from: set, to: main, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
"""


def test_terminals_that_another_source_energises() -> None:
    # nothing parts the two: the set reaches an absent supply, the supply a standing set; a detached supply is not reached
    found = {(one.id, value(one.island, one.id), one.by) for one in facts_of(BESIDE).dead if one.island is not None}
    assert found == {("grid", "absent", "set"), ("set", "standing", "grid")}


def test_what_opens_a_neutral_and_which_lines_stay_closed() -> None:
    # a device or changeover with a neutral pole, and the lines beside it that are not among its poles
    text = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TT}
  set: {kind: generator, phases: L1 L2 L3}
boards: {main: {}, out: {}}
changeovers:
  all: {positions: [mains, own], poles: L1 L2 L3 N}
  lines: {positions: [mains, own], poles: L1 L2 L3}
connections:
  service: {from: grid, to: all.mains, cores: L1 L2 L3 N}
  set-feed: {from: set, to: all.own, cores: L1 L2 L3 N PE}
  on: {from: all, to: main, cores: L1 L2 L3 N PE, through: [{id: half, kind: isolator, poles: L1 N}]}
  past: {from: main, to: lines.mains, cores: L1 L2 L3 N PE, through: [{id: f, kind: fuse, poles: L1 N}]}
  leave: {from: lines, to: out, cores: L1 L2 L3 N PE, through: [{id: q, kind: mcb, curve: B, rating: 16 A}]}
circuits:
  one: {from: out, cores: L1 N PE}
"""
    found = {(one.id, one.fuse, one.left) for one in facts_of(text).neutral_contacts}
    assert found == {("half", False, ("L2", "L3")), ("f", True, ("L2", "L3")), ("all", False, ())}


def test_several_ties_in_one_enclosure_are_one_reference_named_by_its_link() -> None:
    # FORMAT.md, references; the neutral of the cable lands on the earth bar, and a link stands beside it
    text = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, sub: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: sub, to: main, cores: L1 N PE, lands-on: {N: PE}}
  other: {from: main, to: sub, cores: N}
circuits:
  one: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
    for island in facts_of(text).islands:
        assert [(reference.id, reference.kind) for reference in island.references] == [("link", "bond")]
        assert sorted(tie.id for tie in island.references[0].ties) == ["link", "on"]
        assert island.references[0].words == "link"


def test_an_inverter_that_is_the_first_source_of_the_file_is_seen_behind_a_residual_current_device() -> None:
    text = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  roof: {kind: inverter, phases: L1, operation: grid-following}
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  roof-feed: {from: roof, to: sub, cores: L1 N PE}
circuits:
  one: {from: sub, cores: L1 N PE}
"""
    found = {(one.id, one.source.id) for one in facts_of(text).rcds_at_inverters}
    assert found == {("r", "roof")}
    # at the main board it lies ahead of the device
    assert not facts_of(text.replace("from: roof, to: sub", "from: roof, to: main")).rcds_at_inverters


SET = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  set: {kind: generator, phases: L1, neutral-bond: NONE}
boards: {main: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE, through: [{kind: rcd, residual: 30 mA}]}
  two: {from: main, cores: L1 N PE, through: [{kind: rcd, residual: 30 mA}]}
bonds: {link: {at: main, size: 6 mm2}}
"""


def test_circuits_behind_a_residual_current_device_of_that_much_or_less() -> None:
    (feeding,) = facts_of(SET.replace("NONE", "none")).feedings
    assert [feeding.circuits_behind(ampere) for ampere in (0.01, 0.03, 0.1, float("inf"))] == [False, True, True, True]
    (feeding,) = facts_of(SET.replace("NONE", "none").replace("30 mA", "300 mA", 1)).feedings
    assert [feeding.circuits_behind(ampere) for ampere in (0.03, 0.3)] == [False, True]


def test_a_link_is_lost_with_the_reference_only_where_it_is_the_only_one() -> None:
    assert [one.id for one in facts_of(SET.replace("NONE", "none")).losses if one.sort == "bond"] == ["link"]
    assert [one.id for one in facts_of(SET.replace("NONE", "fixed")).losses if one.sort == "bond"] == []
