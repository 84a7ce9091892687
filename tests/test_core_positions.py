"""Which positions and states there are, what is joined in each of them, and what flows then: small sites worked by hand."""

from __future__ import annotations

import pytest

from described import edited, facts_of
from onebond import network, states, testing
from onebond.conditions import conditions_of
from onebond.network import Edge, Needs, Network
from onebond_rules import RULES

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"


def built(text: str, every_contact: bool = False) -> Network:
    return network.build(testing.inspected(text, ()).installation, every_contact)


def name(made: Network, node: int) -> str:
    """A node as place, terminal and conductor."""
    return ".".join(part for part in made.nodes[node] if part)


def names(made: Network, nodes: tuple[int, ...] | frozenset[int]) -> list[str]:
    return [name(made, node) for node in nodes]


def when(made: Network, needs: Needs) -> dict[str, str]:
    """A condition in words: the values that each variable may have."""
    return {
        made.variables[variable].name: " ".join(
            value for number, value in enumerate(made.variables[variable].values) if mask >> number & 1
        )
        for variable, mask in needs
    }


def ends(made: Network, edges: tuple[Edge, ...], element: str) -> list[tuple[str, str, str]]:
    return [(name(made, edge.a), name(made, edge.b), edge.core) for edge in edges if edge.element == element]


# -- what can vary -----------------------------------------------------------------------------------------------------

ESTATE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TN-S}
  set: {kind: generator, phases: L1 L2 L3}
  ups: {kind: inverter, phases: L1}
  first: {kind: inverter, phases: L1}
  roof: {kind: inverter, phases: L1, operation: grid-following}
  second: {kind: inverter, phases: L2, mains-input: yes, neutral-bond: while-inverting}
  iso: {kind: transformer, winding: isolating, phases: L1 L2, voltage: 230 V}
  auto: {kind: transformer, winding: auto, phases: L1, voltage: 115 V}
groups: {pair: {members: [first, second], phases: {first: L1, second: L2}}}
boards: {main: {}, sub: {}, pair-out: {}, far: {}, low: {}}
changeovers:
  three: {positions: [a, off, b, c], poles: L1 N, transition: closed}
  soft: {positions: [mains, own], poles: L1 N, transition: overlapping-neutral}
  plain: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, through: [{kind: mcb, curve: B, rating: 63 A}, {kind: isolator}]}
  set-feed: {from: set, to: three.b, cores: L1 L2 L3 N PE, through: [{kind: isolator, id: q-set, normally: open}]}
  ups-feed: {from: ups, to: plain.own, cores: L1 N PE, plug: yes}
  on: {from: main, to: sub, cores: L1 N PE, through: [{kind: switch, poles: L1, operable: yes}, {kind: rcd, id: r, residual: 30 mA}]}
  input: {from: main, to: second.in, cores: L2 N PE}
  one-out: {from: first, to: pair-out, cores: L1 N PE}
  two-out: {from: second.out, to: pair-out, cores: L2 N PE}
  primary: {from: iso.in, to: main, cores: L2 L3 PE}
  secondary: {from: iso.out, to: far, cores: L1 L2 N PE}
  to-auto: {from: main, to: auto.in, cores: L3 N PE}
  from-auto: {from: auto.out, to: low, cores: L1 N PE}
  roof-feed: {from: roof, to: sub, cores: L1 N PE}
circuits:
  one: {from: far, cores: L1 L2 N PE}
bonds: {link: {at: pair-out, closed: {second: inverting}}}
"""
)
"""One of everything that can stand in different positions, and of what cannot."""


def test_what_can_vary_and_between_which_values() -> None:
    # FORMAT.md, operating states; a group varies as one, a device without an id is named by its connection and position.
    # A breaker opens no neutral and a device that stays open for ever has one position; so has an autotransformer.
    assert {(one.name, one.values, one.kind) for one in built(ESTATE).variables} == {
        ("grid", ("present", "absent", "detached"), "utility"),
        ("set", ("running", "standing"), "generator"),
        ("ups", ("off", "inverting"), "inverter"),
        ("pair", ("off", "inverting", "passing"), "inverter"),
        ("roof", ("off", "inverting"), "inverter"),
        ("iso", ("fed", "unfed"), "transformer"),
        ("three", ("a", "off", "b", "c", "a+b", "a+c", "b+c"), "changeover"),
        ("soft", ("mains", "own", "mains+own", "own+mains"), "changeover"),
        ("plain", ("mains", "own"), "changeover"),
        ("service/2", ("closed", "open"), "device"),
        ("ups-feed", ("mated", "unmated"), "plug"),
        ("on/1", ("closed", "open"), "device"),
        ("r", ("closed", "open"), "device"),
    }
    assert len(built(ESTATE).variables) == 13


def test_what_energises_which_lines_in_the_order_of_the_file() -> None:
    made = built(ESTATE)
    assert [
        (feed.id, names(made, feed.lines), when(made, ((feed.variable, feed.energised),)), feed.forming)
        for feed in made.feeds
    ] == [
        ("grid", ["grid.L1", "grid.L2", "grid.L3"], {"grid": "present"}, True),
        ("set", ["set.L1", "set.L2", "set.L3"], {"set": "running"}, True),
        ("ups", ["ups.out.L1"], {"ups": "inverting"}, True),
        ("pair", ["first.out.L1", "second.out.L2"], {"pair": "inverting"}, True),
        # what follows another source forms no island
        ("roof", ["roof.out.L1"], {"roof": "inverting"}, False),
        ("iso", ["iso.out.L1", "iso.out.L2"], {"iso": "fed"}, True),
    ]
    # the primary is where lines land on it, whatever the lines of the secondary are called
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {
        "iso": ["iso.in.L2", "iso.in.L3"]
    }
    assert [names(made, member) for member in made.feeds[3].members] == [
        ["first.out.L1", "first.out.N"],
        ["second.out.L2", "second.out.N"],
    ]
    assert [(feed.id, [source.id for source in feed.sources]) for feed in made.feeds if len(feed.sources) > 1] == [
        ("pair", ["first", "second"])
    ]


def test_a_primary_on_which_nothing_lands_is_there_and_dead() -> None:
    text = "\n".join(line for line in ESTATE.splitlines() if not line.startswith("  primary:")) + "\n"
    made = built(text)
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {"iso": ["iso.in.L1"]}
    assert {one.id: one.ever for one in facts_of(text).places if one.id in ("far", "one")} == {
        "far": False,
        "one": False,
    }


def test_the_primary_of_a_transformer_whose_lines_are_crossed_is_where_they_land() -> None:
    # it is fed all the same
    text = edited(
        ESTATE,
        (
            "primary: {from: iso.in, to: main, cores: L2 L3 PE}",
            "primary: {from: main, to: iso.in, cores: L2 PE, lands-on: {L2: L1}}",
        ),
    )
    made = built(text)
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {"iso": ["iso.in.L1"]}
    assert {one.id: one.ever for one in facts_of(text).places if one.id in ("far", "one")} == {"far": True, "one": True}


def test_which_links_between_neutral_and_earth_there_are_and_when() -> None:
    made = built(
        edited(
            ESTATE,
            (
                "set: {kind: generator, phases: L1 L2 L3}",
                "set: {kind: generator, phases: L1 L2 L3, neutral-bond: fixed}",
            ),
        )
    )
    assert [(tie.id, tie.kind, name(made, tie.n), name(made, tie.pe), when(made, tie.needs)) for tie in made.ties] == [
        ("grid", "star", "grid.N", "grid.PE", {}),
        ("set", "internal", "set.N", "set.PE", {}),
        ("second", "internal", "second.out.N", "second.PE", {"pair": "inverting"}),
        ("link", "bond", "pair-out.N", "pair-out.PE", {"pair": "inverting"}),
    ]


def test_ways_through_equipment() -> None:
    made = built(ESTATE)
    assert ends(made, made.edges, "auto") == [
        ("auto.out.L1", "auto.in.L3", "auto"),
        ("auto.out.L1", "auto.out.N", "auto"),
        ("auto.out.L1", "auto.in.N", "auto"),
    ]
    # each of a group has its own way through
    assert ends(made, made.edges, "second") == [
        ("second.in.L2", "second.out.L2", "L2"),
        ("second.in.N", "second.out.N", "N"),
    ]
    assert ends(made, made.edges, "first") == []
    assert [one.id for one in made.passages] == ["second"]
    # a winding joins its lines and its neutral; what follows another source joins nothing by itself
    assert ends(made, made.edges, "iso") == [
        ("iso.out.L1", "iso.out.L2", "winding"),
        ("iso.out.L1", "iso.out.N", "winding"),
    ]
    assert ends(made, made.edges, "roof") == []
    windings = {edge.element: when(made, edge.needs) for edge in made.edges if edge.core == "winding"}
    assert windings == {
        "grid": {"grid": "present"},
        "set": {"set": "running"},
        "ups": {"ups": "inverting"},
        "pair": {"pair": "inverting"},
        "iso": {"iso": "fed"},
    }


def test_what_a_conductor_joins() -> None:
    # lines or neutrals; a winding joins neither to the other
    made = built(ESTATE)
    sorts = {(edge.element, edge.core): sort for edge, (_, _, _, _, sort) in zip(made.edges, made.plain, strict=True)}
    assert {sort for (_, core), sort in sorts.items() if core in ("L1", "L2", "L3")} == {"line"}
    assert {sort for (_, core), sort in sorts.items() if core == "N"} == {"neutral"}
    assert {sort for (_, core), sort in sorts.items() if core == "winding"} == {""}


def test_what_a_supply_that_leaves_takes_with_it_and_what_a_plug_opens() -> None:
    # detached: all conductors of the supply are open, PE too; unmated likewise (FORMAT.md, what is a path and operating states)
    made = built(ESTATE)
    needs = {
        element: [when(made, edge.needs) for edge in (*made.edges, *made.earth) if edge.element == element]
        for element in ("service", "ups-feed", "one-out", "on")
    }
    attached, mated = {"grid": "present absent"}, {"ups-feed": "mated"}
    # what only loads hang behind stands in no condition; here sources lie behind all devices
    # an isolator opens lines and neutral
    assert needs["service"] == [{**attached, "service/2": "closed"}] * 4 + [attached]
    assert needs["ups-feed"] == [mated] * 3
    assert needs["one-out"] == [{}] * 3
    assert needs["on"] == [{"on/1": "closed", "r": "closed"}, {"r": "closed"}, {}]


def test_a_device_that_stays_open_for_ever_joins_nothing_and_its_conductors_are_there() -> None:
    made = built(ESTATE)
    # its PE is no pole of it
    assert ends(made, made.edges, "set-feed") == []
    assert ends(made, made.earth, "set-feed") == [("set.PE", "three.PE", "PE")]
    assert made.find("three", "b", "L1") >= 0 and made.find("three", "b", "N") >= 0


def test_frames_and_the_lines_in_them() -> None:
    text = edited(
        ESTATE,
        ("far: {}, low: {}", "far: {inside: low}, low: {}, shed: {equipment: class-II}"),
        ("circuits:\n", "circuits:\n  lamp: {from: far, cores: L1 N, equipment: class-II}\n"),
    )
    made = built(text)
    assert {(part.id, part.kind): sorted(names(made, part.lines)) for part in made.parts} == {
        ("main", "board"): ["main.L1", "main.L2", "main.L3"],
        ("sub", "board"): ["sub.L1"],
        ("pair-out", "board"): ["pair-out.L1", "pair-out.L2"],
        # bars in the same enclosure share its frame
        ("low", "board"): ["far.L1", "far.L2", "low.L1"],
        # a changeover has a contact in each position for what lands on any of them
        ("three", "changeover"): [f"three{at}.L{line}" for at in ("", ".a", ".b", ".c") for line in (1, 2, 3)],
        ("soft", "changeover"): [],
        ("plain", "changeover"): ["plain.L1", "plain.mains.L1", "plain.own.L1"],
        ("set", "source"): ["set.L1", "set.L2", "set.L3"],
        ("ups", "source"): ["ups.out.L1"],
        ("first", "source"): ["first.out.L1"],
        ("roof", "source"): ["roof.out.L1"],
        ("second", "source"): ["second.in.L2", "second.out.L2"],
        ("iso", "source"): ["iso.in.L2", "iso.in.L3", "iso.out.L1", "iso.out.L2"],
        ("auto", "source"): ["auto.in.L3", "auto.out.L1"],
        ("one", "circuit"): ["one.L1", "one.L2"],
    }
    assert dict(made.boards)["main"] == tuple(made.number_of("main", "", line) for line in ("L1", "L2", "L3"))
    assert {name(made, part.pe) for part in made.parts if part.id == "low"} == {"low.PE"}


# -- operating states --------------------------------------------------------------------------------------------------


def cases(text: str, *shown: str) -> list[tuple[str, ...]]:
    """Every case: the feeds, then the values of some variables, empty where any will do."""
    facts = facts_of(text)
    number = {variable.name: at for at, variable in enumerate(facts.network.variables)}
    return sorted(
        (" ".join(sorted(feed.id for feed in island.feeds)), *(island.value(number[one]) for one in shown))
        for island in facts.islands
    )


TWO_STEPS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  t0: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, neutral-bond: fixed}
  t1: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  t2: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
boards: {intake: {}, mid: {}, main: {}}
connections:
  service: {from: grid, to: intake, cores: L1 N PE}
  in-0: {from: intake, to: t0.in, cores: L1 N PE}
  out-0: {from: t0.out, to: mid, cores: L1 N PE}
  in-1: {from: mid, to: t1.in, cores: L1 N PE}
  in-2: {from: mid, to: t2.in, cores: L1 N PE}
  out-1: {from: t1.out, to: main, cores: L1 N PE}
  out-2: {from: t2.out, to: main, cores: L1 N PE}
circuits:
  load: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
"""
)
"""Two transformers side by side behind a third one."""


def test_transformers_that_rest_on_the_same_transformer_may_be_fed_together() -> None:
    together = [one[1:] for one in cases(TWO_STEPS, "grid", "t0", "t1", "t2") if one[0] == "t1 t2"]
    assert together == [("present", "fed", "fed", "fed")]
    # nothing permits them to run in parallel
    results = testing.inspected(TWO_STEPS, RULES).site.results
    assert [one.subject for one in results if one.rule == "sources-in-parallel" and one.kind == "fail"] == ["t2"]


def test_transformers_that_feed_each_other_are_dead() -> None:
    # each is energised only if its primary is
    ring = edited(
        TWO_STEPS,
        ("in-1: {from: mid, to: t1.in", "in-1: {from: far, to: t1.in"),
        ("out-2: {from: t2.out, to: main", "out-2: {from: t2.out, to: far"),
        ("in-2: {from: mid", "in-2: {from: main"),
        ("main: {}", "main: {}, far: {}"),
    )
    assert {one[0] for one in cases(ring)} == {"grid", "t0"}
    # a set at either of the two boards feeds both
    for at, behind in (("main", "t2"), ("far", "t1")):
        fed = edited(
            ring,
            ("boards:", "  set: {kind: generator, phases: L1}\nboards:"),
            ("in-0:", f"set-feed: {{from: set, to: {at}, cores: L1 N PE}}\n  in-0:"),
        )
        assert behind in {one[0] for one in cases(fed)}
    # and so does a transformer that rests on the supply, in the place of the one that would close the ring
    assert {one[0] for one in cases(edited(ring, ("from: far, to: t1.in", "from: mid, to: t1.in")))} == {
        "grid",
        "t0",
        "t1",
        "t2",
    }


def test_what_a_supply_ahead_of_a_transformer_runs_beside_is_in_no_condition() -> None:
    # mid is fed by the supply directly: what else could feed it is no matter of the board behind the transformer
    text = edited(
        TWO_STEPS,
        ("  in-2: {from: mid, to: t2.in", "  in-2: {from: apart, to: t2.in"),
        ("  out-2: {from: t2.out, to: main", "  out-2: {from: t2.out, to: intake"),
        ("mid: {}", "mid: {}, apart: {}"),
        ("boards:", "  set: {kind: generator, phases: L1}\nboards:"),
        ("in-0:", "set-feed: {from: set, to: apart, cores: L1 N PE}\n  in-0:"),
    )
    # t0 rests on the supply, and on the set only where the supply is absent
    found = [one[1:] for one in cases(text, "grid", "t2", "set") if one[0] == "t0"]
    assert found == [
        ("absent", "fed", "running"),
        ("detached", "fed", "running"),
        ("present", "fed", ""),
        ("present", "unfed", ""),
    ]


FOLLOWED = (
    HEAD
    + """\
sources:
  roof: {kind: inverter, phases: L1, operation: grid-following}
  grid: {kind: utility, phases: L1, earthing: TT}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  roof-feed: {from: roof, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  set-feed: {from: set, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
)
"""A supply with an inverter that follows it, and behind a hybrid a board with a set."""


def test_what_follows_another_source_energises_nothing_by_itself() -> None:
    found = cases(FOLLOWED, "grid", "hybrid", "roof")
    assert {one[0] for one in found} == {
        "grid",
        "grid roof",
        "hybrid",
        "hybrid set",
        "set",
        "grid set",
        "grid roof set",
    }
    # the input of the hybrid is fed only while the supply is present: the roof follows, and the set is behind it
    assert {one[1] for one in found if one[2] == "passing"} == {"present"}
    assert {one[3] for one in found if "roof" in one[0]} == {"inverting"}
    assert {one[3] for one in found if one[0] in ("grid", "grid set")} == {"off"}


def test_an_inverter_that_joins_everything_while_it_is_off_lets_a_set_feed_back() -> None:
    # `when-off: through`: it need not be fed otherwise, for it passes nothing on
    text = edited(FOLLOWED, ("mains-input: yes,", "mains-input: yes, when-off: through,"))
    facts = facts_of(text)
    live = {
        name(facts.network, node)
        for island in facts.islands
        if island.fed_by("set") and not island.fed_by("grid")
        for node in range(len(facts.network.nodes))
        if island.live >> node & 1
    }
    assert {"main.L1", "grid.L1"} <= live
    assert "main.L1" not in {
        name(facts_of(FOLLOWED).network, node)
        for island in facts_of(FOLLOWED).islands
        if island.fed_by("set") and not island.fed_by("grid")
        for node in range(len(island.network.nodes))
        if island.live >> node & 1
    }


def followed_by_a_transformer(at: str) -> str:
    return edited(
        FOLLOWED,
        (
            "boards: {",
            "  t: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}\nboards: {far: {}, dead: {}, ",
        ),
        (
            "  input:",
            f"  primary: {{from: {at}, to: t.in, cores: L1 N PE}}\n  secondary: {{from: t.out, to: far, cores: L1 N PE}}\n  input:",
        ),
    )


@pytest.mark.parametrize("at", ["main", "out"])
def test_behind_a_transformer_an_inverter_passes_what_feeds_its_input(at: str) -> None:
    # with the supply away the set feeds the board behind the hybrid, and what is ahead of it only over a hybrid that passes nothing
    found = {one[1:] for one in cases(followed_by_a_transformer(at), "grid", "hybrid", "set") if one[0] == "t"}
    assert {grid for grid, hybrid, _ in found if hybrid == "passing"} == {"present"}
    # off, it leaves the board behind it to the set, whatever the supply does
    assert (("", "off", "running") in found) == (at == "out")


def test_a_transformer_on_a_board_of_a_following_inverter_alone_is_dead() -> None:
    text = edited(followed_by_a_transformer("dead"), ("from: roof, to: main", "from: roof, to: dead"))
    assert "t" not in {one[0] for one in cases(text)}


@pytest.mark.parametrize(("position", "by"), [("open", {"present"}), ("closed", {"present", "absent", "detached"})])
def test_a_bypass_feeds_the_input_of_an_inverter_while_it_is_closed(position: str, by: set[str]) -> None:
    bypass = "  bypass: {from: main, to: out, cores: L1 N, through: [{id: q, kind: switch, operable: yes}]}\n"
    text = edited(FOLLOWED, ("  input:", f"{bypass}  input:"))
    assert {one[1] for one in cases(text, "grid", "hybrid", "q") if one[2:] == ("passing", position)} == by
    made = built(text)
    for grid in ("present", "absent", "detached"):
        said = states.whole(made, state_of(made, f"off {grid} passing running {position}"))
        assert isinstance(said, tuple) == (grid in by)


def test_an_island_that_supplies_nothing_is_no_case() -> None:
    # the set ends at the open side of the changeover
    text = edited(LOCKED, ("LOCKS", ""))
    assert {one for one in cases(text, "co") if "set" in one[0]} == {("set", "own")}


BORROWED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT}
  t1: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  t2: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
boards: {main: {}, mid: {}, far: {}, own: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  in-2: {from: main, to: t2.in, cores: L1 N PE}
  out-2: {from: t2.out, to: mid, cores: L1 N PE}
  in-1: {from: mid, to: t1.in, cores: L1 N PE}
  out-1: {from: t1.out, to: far, cores: L1 N PE}
  input: {from: FROM, to: hybrid.in, cores: L1 PE, through: [{id: q, kind: switch, operable: yes}]}
  neutral: {from: main, to: hybrid.in, cores: N}
  output: {from: hybrid.out, to: own, cores: L1 PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: own, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
)
"""An inverter that has its neutral from one board and its line, over a switch, from another one."""


def test_an_inverter_of_which_only_the_neutral_is_in_an_island_passes_what_feeds_its_line() -> None:
    # at the same board: with the switch open nothing feeds its line
    found = {one[1:] for one in cases(BORROWED.replace("FROM", "main"), "hybrid", "q") if one[0] == "grid"}
    assert found == {
        ("off", "closed"),
        ("off", "open"),
        ("inverting", "closed"),
        ("inverting", "open"),
        ("passing", "closed"),
    }


def test_an_inverter_passes_on_what_comes_over_two_transformers() -> None:
    # its line rests on a transformer, this one on the next, and that one on the supply
    found = {one[1:] for one in cases(BORROWED.replace("FROM", "far"), "hybrid", "q", "t1", "t2") if one[0] == "grid"}
    assert found == {("off", "", "", ""), ("inverting", "", "", ""), ("passing", "closed", "fed", "fed")}


LOCKED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1}
boards: {out: {}, yard: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  three: {from: yard, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}, {id: k, kind: isolator, operable: yes}]}
interlocks: [LOCKS]
"""
)
"""A changeover, and two isolators in a yard that nothing feeds."""


@pytest.mark.parametrize(
    ("locks", "own"),
    [
        ("{never: {co: own, q: closed}}", True),
        # whichever way the isolator stands, it forbids the position
        ("{never: {co: own, q: closed}}, {never: {co: own, q: open}}", False),
        ("{never: {co: own, q: closed}}, {never: {co: mains, q: open}}", True),
        # the second isolator forbids one position of the first, and the first forbids the other
        ("{never: {co: own, q: closed}}, {never: {q: open, k: [open, closed]}}", False),
        ("{never: {co: own, q: closed}}, {never: {q: open, k: open}}", True),
        ("{never: {co: own, q: closed}}, {never: {q: open, k: open}}, {never: {q: open, k: closed, co: own}}", False),
    ],
)
def test_a_position_that_the_interlocks_leave_no_state_for_is_impossible(locks: str, own: bool) -> None:
    # what an island does not meet has to stand in some position all the same
    text = LOCKED.replace("LOCKS", locks.replace("}}", "}, by: relay}"))
    assert ("own" in {one[1] for one in cases(text, "co")}) == own
    made = built(text, every_contact=True)
    co = next(number for number, variable in enumerate(made.variables) if variable.name == "co")
    stands = {made.variables[co].values[state[co]] for state in states.positions(made, [co], 9) or []}
    assert ("own" in stands) == own


def test_positions_are_listed_up_to_a_limit() -> None:
    made = built(LOCKED.replace("LOCKS", ""), every_contact=True)
    numbers = {variable.name: number for number, variable in enumerate(made.variables)}
    for limit, many in ((3, None), (4, 4)):
        found = states.positions(made, [numbers["q"], numbers["k"]], limit)
        assert (found and len(found)) == many


@pytest.mark.parametrize(
    ("first", "second", "possible"),
    [
        ({"co": "own"}, {"set": "running"}, True),
        ({"co": "own"}, {"co": "own", "q": "open"}, True),
        ({"co": "own"}, {"co": "mains"}, False),
        # the interlock
        ({"co": "own"}, {"q": "closed"}, False),
        ({"co": "mains"}, {"q": "closed"}, True),
        # neither position of the other isolator is left
        ({"k": "open"}, {"q": "open"}, False),
        ({"q": "open"}, {"set": "standing"}, False),
    ],
)
def test_which_states_can_hold_at_once(first: dict[str, str], second: dict[str, str], possible: bool) -> None:
    locks = "{co: own, q: closed}", "{q: open, k: open}", "{q: open, k: closed, co: mains}", "{q: open, set: standing}"
    told = ", ".join(f"{{never: {lock}, by: relay}}" for lock in locks)
    made = built(LOCKED.replace("LOCKS", told), every_contact=True)

    def state(given: dict[str, str]) -> tuple[int, ...]:
        return tuple(one.values.index(given[one.name]) if one.name in given else -1 for one in made.variables)

    assert states.joint(made, state(first), state(second)) == possible
    assert states.joint(made, state(second), state(first)) == possible


CROWD = (
    HEAD
    + "sources:\n"
    + "".join(f"  s{one}: {{kind: generator, phases: L1}}\n" for one in range(6))
    + "boards:\n"
    + "".join(f"  b{one}: {{}}\n  c{one}: {{}}\n" for one in range(6))
    + "connections:\n"
    + "".join(f"  f{one}: {{from: s{one}, to: b{one}, cores: L1 N PE}}\n" for one in range(6))
    + "circuits:\n"
    + "".join(f"  load{one}: {{from: b{one}, cores: L1 N PE}}\n" for one in range(6))
)
"""Six sets, each with a board of its own and one case."""


def test_more_cases_than_four_times_the_limit_of_a_source_are_not_proven() -> None:
    # LIMIT: most cases for one source, and most for a whole site times four; the case that reaches it still counts
    made = built(CROWD)
    assert states.cases(made, 1).not_proven == ("s5",)
    assert states.cases(made, 2).not_proven == ()
    # with an isolator between board and circuit each has two cases
    isolated = CROWD
    for one in range(6):
        isolated = edited(
            isolated,
            (
                f"  f{one}: ",
                f"  g{one}: {{from: b{one}, to: c{one}, cores: L1 N PE, through: [{{kind: isolator, operable: yes}}]}}\n  f{one}: ",
            ),
        )
    isolated += "".join(("monitors:\n" * (not one)) + f"  m{one}: {{at: c{one}}}\n" for one in range(6))
    assert len(states.cases(built(isolated)).cases) == 12
    assert states.cases(built(isolated), 2).not_proven == ("s4", "s5")
    assert states.cases(built(isolated), 3).not_proven == ()


STAR = (
    HEAD
    + "sources:\n  set: {kind: generator, phases: L1}\n  spare: {kind: generator, phases: L1}\nboards:\n  main: {}\n  apart: {}\n"
    + "".join(f"  b{one}: {{}}\n" for one in range(11))
    + "connections:\n  feed: {from: set, to: main, cores: L1 N PE}\n"
    + "  other: {from: spare, to: apart, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}]}\n"
    + "".join(
        f"  f{one}: {{from: main, to: b{one}, cores: L1 N PE, through: [{{kind: isolator, operable: yes}}]}}\n"
        for one in range(11)
    )
    + "circuits:\n  load: {from: main, cores: L1 N PE}\nmonitors:\n"
    + "".join(f"  m{one}: {{at: b{one}}}\n" for one in range(11))
    + "interlocks: [{never: {set: running, q: open}, by: key}, {never: {set: running, q: closed}, by: key}]\n"
)
"""Eleven isolators in 2048 positions, in none of which the set can run."""


@pytest.mark.parametrize(("limit", "proven"), [(1, False), (250, False), (300, True)])
def test_a_search_that_finds_nothing_ends_too(limit: int, proven: bool) -> None:
    # after four branchings for each case of the limit and a thousand; eleven isolators branch 2047 times
    assert ("set" not in states.cases(built(STAR), limit).not_proven) == proven


# -- one state of the whole site ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("present - fed fed fed", "grid t0 t1 t2"),
        ("absent - unfed unfed unfed", ""),
        ("detached - fed fed fed", "nothing feeds the transformer t0"),
        ("present - unfed fed fed", "nothing feeds the transformer t1"),
        ("present - unfed unfed unfed", "the transformer t0 is fed"),
        ("present - fed fed unfed", "the transformer t2 is fed"),
    ],
)
def test_whether_transformers_can_stand_as_they_are_said_to(given: str, found: str) -> None:
    made = built(TWO_STEPS, every_contact=True)
    assert [one.name for one in made.variables] == ["grid", "t0", "t1", "t2"]
    said = states.whole(made, state_of(made, given.replace(" -", "")))
    assert (said if isinstance(said, str) else " ".join(made.feeds[feed].id for feed in said)) == found


def state_of(made: Network, given: str) -> tuple[int, ...]:
    """The values of all variables, in their order."""
    return tuple(one.values.index(value) for one, value in zip(made.variables, given.split(), strict=True))


def test_what_nothing_feeds_is_no_obstacle_where_it_is_said_so() -> None:
    made = built(TWO_STEPS, every_contact=True)
    for given, feeds in (("absent fed fed fed", ()), ("present fed fed fed", (0, 1, 2, 3))):
        assert states.whole(made, state_of(made, given), unfed=True) == feeds
    # one that is fed energises all the same
    assert states.whole(made, state_of(made, "present unfed fed fed"), unfed=True) == "the transformer t0 is fed"


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("off present passing standing", "grid"),
        ("inverting present passing standing", "grid"),
        ("inverting absent off running", "set"),
        ("inverting absent inverting running", "hybrid set"),
        # what follows another source feeds no input, and neither does what is behind the inverter itself
        ("inverting absent passing running", "hybrid passing, and nothing feeds its input"),
        ("off detached passing standing", "hybrid passing, and nothing feeds its input"),
    ],
)
def test_whether_an_inverter_can_pass_in_a_state_of_the_whole_site(given: str, found: str) -> None:
    made = built(FOLLOWED, every_contact=True)
    assert [one.name for one in made.variables] == ["roof", "grid", "hybrid", "set"]
    said = states.whole(made, state_of(made, given))
    assert (said if isinstance(said, str) else " ".join(made.feeds[feed].id for feed in said)) == found
    # where that is no obstacle, the rest energises what it reaches
    free = states.whole(made, state_of(made, given), unfed=True)
    assert not isinstance(free, str)
    assert {made.feeds[feed].id for feed in free} == {
        one
        for one, value in zip(("roof", "grid", "hybrid", "set"), given.split(), strict=True)
        if one != "roof" and value in ("present", "inverting", "running")
    }


def test_the_first_interlock_that_a_state_breaks_is_told() -> None:
    locks = "{never: {q: open, k: open}, by: key}, {never: {set: running, co: own, q: closed}, by: key}"
    made = built(LOCKED.replace("LOCKS", locks), every_contact=True)
    assert [one.name for one in made.variables] == ["grid", "set", "co", "q", "k"]
    for given, found in (
        ("present running own closed open", "an interlock forbids set running, co own, q closed"),
        ("present running own open open", "an interlock forbids q open, k open"),
        ("present running mains closed open", (0, 1)),
        ("present standing own closed open", (0,)),
    ):
        assert states.whole(made, state_of(made, given)) == found


# -- conditions --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "told"),
    [
        # what one condition stands for is not said again in another one
        (["absent standing -", "absent standing mains"], ["grid absent, set standing"]),
        (["present standing -", "absent - -", "absent standing -"], ["grid absent", "grid present, set standing"]),
        (
            ["absent - own", "absent running own", "absent standing mains", "detached running own"],
            ["grid absent, co own", "grid absent, set standing, co mains", "grid detached, set running, co own"],
        ),
    ],
)
def test_conditions_that_overlap(given: list[str], told: list[str]) -> None:
    made = built(LOCKED.replace("LOCKS", ""))
    assert [one.name for one in made.variables][:3] == ["grid", "set", "co"]
    asked = [
        tuple(
            -1 if value == "-" else one.values.index(value)
            for one, value in zip(made.variables, [*words.split(), "-", "-"], strict=True)
        )
        for words in given
    ]
    found = conditions_of(made, asked)
    assert [", ".join(f"{name} {'/'.join(values)}" for name, values in one) for one in found] == told
