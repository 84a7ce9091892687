"""What conductors and contacts become in the network, written out by hand from what FORMAT.md says is a path."""

from __future__ import annotations

from onebond import network, testing
from onebond.network import Edge, Needs, Network

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

HYBRID = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, MORE}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)

TWO_SUPPLIES = (
    HEAD
    + """\
sources:
  first: {kind: utility, phases: L1, earthing: TN-S}
  second: {kind: utility, phases: L1, earthing: TN-C-S}
  tr: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
boards: {near: {}, far: {}, sub: {}, out: {}}
connections:
  to-near: {from: first, to: near, cores: L1 L2 L3 N PE}
  to-far: {from: second, to: far, cores: L1 PENLANDS}
  to-sub: {from: far, to: sub, cores: L1 N PELANDS}
  to-tr: {from: near, to: tr.in, cores: L1 L2 PE}
  to-out: {from: tr.out, to: out, cores: L1 N PE}
circuits:
  one: {from: near, cores: L1 L2 L3 N PE}
  two: {from: out, cores: L1 N PE}
  three: {from: sub, cores: L1 N PE}
"""
).replace("first: {kind: utility, phases: L1,", "first: {kind: utility, phases: L1 L2 L3,")


def built(text: str) -> Network:
    return network.build(testing.inspected(text, ()).installation)


def name(made: Network, node: int) -> str:
    place, terminal, conductor = made.nodes[node]
    return f"{place}.{terminal}.{conductor}" if terminal else f"{place}.{conductor}"


def when(made: Network, needs: Needs) -> dict[str, set[str]]:
    """A condition in words: the values that each variable may have."""
    return {
        made.variables[variable].name: {
            value for number, value in enumerate(made.variables[variable].values) if mask >> number & 1
        }
        for variable, mask in needs
    }


def ends(made: Network, edges: tuple[Edge, ...], element: str) -> set[tuple[str, str, str]]:
    return {(name(made, edge.a), name(made, edge.b), edge.core) for edge in edges if edge.element == element}


def through(text: str) -> dict[str, dict[str, set[str]]]:
    """When the way through the inverter is closed, for each core."""
    made = built(text)
    return {
        edge.core: when(made, edge.needs) for edge in made.edges if edge.element == "hybrid" and edge.core != "winding"
    }


def test_the_way_through_an_inverter() -> None:
    # FORMAT.md: switched joins the neutral only while passing, solid always; `when-off: through` joins everything while off
    passing = {"hybrid": {"passing"}}
    assert through(HYBRID.replace(", MORE", "")) == {"L1": passing, "N": passing}
    assert through(HYBRID.replace("MORE", "when-off: open")) == {"L1": passing, "N": passing}
    assert through(HYBRID.replace("MORE", "neutral-through: solid")) == {"L1": passing, "N": {}}
    either = {"hybrid": {"passing", "off"}}
    assert through(HYBRID.replace("MORE", "when-off: through")) == {"L1": either, "N": either}


def plain(text: str = TWO_SUPPLIES) -> str:
    return text.replace("LANDS", "")


def test_the_primary_of_a_transformer_is_where_lines_land_on_it() -> None:
    made = built(plain())
    feed = next(feed for feed in made.feeds if feed.id == "tr")
    assert [name(made, node) for node in feed.primary] == ["tr.in.L1", "tr.in.L2"]
    assert [name(made, node) for node in (*feed.lines, *feed.neutrals)] == ["tr.out.L1", "tr.out.N"]


def test_star_points() -> None:
    # TN-S: the supplier's bond is reached over its PE; a PEN is earthed at the supplier's own electrode
    made = built(plain())
    assert {(tie.id, tie.kind, name(made, tie.n), name(made, tie.pe)) for tie in made.ties} == {
        ("first", "star", "first.N", "first.PE"),
        ("second", "star", "second.N", "second.supplier.earth"),
    }


def test_a_pen_joins_the_neutral_where_it_lands() -> None:
    made = built(plain())
    assert ends(made, made.edges, "to-far") == {("second.L1", "far.L1", "L1"), ("second.N", "far.N", "PEN")}
    assert ends(made, made.earth, "to-far") == set()
    assert [(board, name(made, n), link) for board, n, link in made.pen_lands] == [("far", "far.N", "to-far")]


def test_a_pen_that_lands_on_the_earth_bar_earths_the_board_and_leaves_its_neutral_alone() -> None:
    made = built(TWO_SUPPLIES.replace("PENLANDS", "PEN, lands-on: {PEN: PE}").replace("LANDS", ""))
    assert ends(made, made.edges, "to-far") == {("second.L1", "far.L1", "L1")}
    assert ends(made, made.earth, "to-far") == {("second.supplier.earth", "far.PE", "PEN")}


def test_neutral_and_pe_crossed_at_the_far_end_are_two_links_between_them() -> None:
    made = built(TWO_SUPPLIES.replace("PELANDS", "PE, lands-on: {N: PE, PE: N}").replace("LANDS", ""))
    assert {(name(made, tie.n), name(made, tie.pe)) for tie in made.ties if tie.kind == "crossed"} == {
        ("far.N", "sub.PE"),
        ("sub.N", "far.PE"),
    }
    assert ends(made, made.edges, "to-sub") == {("far.L1", "sub.L1", "L1")}
    assert ends(made, made.earth, "to-sub") == set()


def test_a_line_that_lands_on_the_earth_bar_is_no_link_of_the_neutral() -> None:
    made = built(TWO_SUPPLIES.replace("PELANDS", "PE, lands-on: {L1: PE}").replace("LANDS", ""))
    assert [tie for tie in made.ties if tie.kind == "crossed"] == []
    assert ends(made, made.edges, "to-sub") == {("far.N", "sub.N", "N")}
    assert ends(made, made.earth, "to-sub") == {("far.PE", "sub.PE", "PE")}


CHANGEOVER = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  set: {kind: generator, phases: L1}
boards: {out: {}}
changeovers:
  co: {positions: [mains, off, own], poles: POLES}
  spare: {positions: [a, b], poles: L1 N}
connections:
  service: {from: grid, to: co.mains, cores: L1 PEN}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 PEN, through: [{kind: rcd, id: r, residual: 30 mA, poles: L1}]}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


def contacts(poles: str, element: str = "co") -> set[tuple[str, str, str, bool]]:
    made = built(CHANGEOVER.replace("POLES", poles))
    return {
        (name(made, edge.a), edge.core, str(when(made, edge.needs).get(element, "always")), edge.solid)
        for edge in made.edges
        if edge.element == element
    }


def test_contacts_of_a_changeover() -> None:
    # a pole closes on its input only; what is no pole is solid in every position; `off` joins nothing (FORMAT.md).
    # The neutral is a PEN where PEN conductors land on both sides of the contact.
    lines = {("co.mains.L1", "L1", "{'mains'}", False), ("co.own.L1", "L1", "{'own'}", False)}
    solid = {("co.mains.N", "PEN", "always", True), ("co.own.N", "N", "always", True)}
    assert contacts("L1") == lines | solid
    switched = {("co.mains.N", "PEN", "{'mains'}", False), ("co.own.N", "N", "{'own'}", False)}
    assert contacts("L1 N") == contacts("L1 PEN") == lines | switched
    # nothing lands on the other one
    assert contacts("L1", "spare") == set()


def test_contacts_while_a_changeover_changes_over() -> None:
    # closed transition: all poles of both inputs; overlapping neutral: both neutrals, and the lines of the input that is left
    def closed(transition: str) -> dict[str, set[str]]:
        made = built(CHANGEOVER.replace("POLES", f"L1 N, transition: {transition}"))
        return {name(made, edge.a): when(made, edge.needs)["co"] for edge in made.edges if edge.element == "co"}

    both = {"mains+own"}
    assert closed("closed") == {
        "co.mains.L1": {"mains"} | both,
        "co.mains.N": {"mains"} | both,
        "co.own.L1": {"own"} | both,
        "co.own.N": {"own"} | both,
    }
    assert closed("overlapping-neutral") == {
        "co.mains.L1": {"mains", "mains+own"},
        "co.mains.N": {"mains", "mains+own", "own+mains"},
        "co.own.L1": {"own", "own+mains"},
        "co.own.N": {"own", "mains+own", "own+mains"},
    }


def test_neutrals_that_no_known_contact_parts() -> None:
    made = built(CHANGEOVER.replace("POLES", "L1 N"))
    co = next(number for number, variable in enumerate(made.variables) if variable.name == "co")

    def reached(position: int) -> set[str]:
        state = tuple(position if number == co else -1 for number in range(len(made.variables)))
        return {name(made, node) for node in made.neutral_reach(made.number_of("co", "own", "N"), state)}

    beyond = {"set.N", "co.own.N", "co.N", "out.N", "one.N"}
    # positions: mains, off, own; what is not known may be closed
    assert reached(0) == reached(1) == {"set.N", "co.own.N"}
    assert reached(2) == beyond
    assert reached(-1) == beyond | {"co.mains.N", "grid.N"}


def test_what_passes_a_residual_current_device() -> None:
    made = built(CHANGEOVER.replace("POLES", "L1"))
    (rcd,) = made.rcds
    assert (rcd.name, rcd.connection, rcd.passing) == ("r", "feed", 2)
    assert [made.edges[edge].core for edge in rcd.lines] == ["L1"]


def test_a_device_is_left_out_only_where_nothing_but_loads_lies_behind_it() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: IT}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  feed: {from: main, to: sub, cores: L1 N PE, through: [{kind: isolator, id: q, operable: yes}]}
circuits:
  one: {from: sub, cores: L1 N PE}
"""
    )
    assert built(text).left_out == ("q",)
    assert built(text + "monitors: {imd: {at: main}}\n").left_out == ("q",)
    assert built(text + "monitors: {imd: {at: sub}}\n").left_out == ()
    assert built(text + "bonds: {link: {at: main, impedance: 1 kohm}}\n").left_out == ("q",)
    assert built(text + "bonds: {link: {at: sub, impedance: 1 kohm}}\n").left_out == ()
    more = text.replace("boards:", "  set: {kind: generator, phases: L1}\nboards:")
    assert (
        built(more.replace("connections:", "connections:\n  own: {from: set, to: sub, cores: L1 N PE}")).left_out == ()
    )
