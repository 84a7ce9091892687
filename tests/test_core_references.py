"""Which of several references is kept, what joins them, and where frames and circuits belong: small sites worked by hand."""

from __future__ import annotations

import pytest

from described import facts_of

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

PLAIN = (
    HEAD
    + """\
sources:
  SOURCE
boards: {main: {}, sub: {}}
connections:
  SERVICE
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: q, kind: isolator, poles: L1 N, operable: yes}]}
circuits:
  one: {from: sub, cores: L1 N PE}
bonds: {BONDS}
"""
)
GRID = "grid: {kind: utility, phases: L1, earthing: TN-S}", "service: {from: grid, to: main, cores: L1 N PE}"
PEN = "grid: {kind: utility, phases: L1, earthing: TN-C-S}", "service: {from: grid, to: main, cores: L1 PEN}"
SET = "set: {kind: generator, phases: L1, neutral-bond: none}", "feed: {from: set, to: main, cores: L1 N PE}"
BONDED = "set: {kind: generator, phases: L1, neutral-bond: fixed}", "feed: {from: set, to: main, cores: L1 N PE}"
AT_SUB = "set: {kind: generator, phases: L1, neutral-bond: none}", "feed: {from: set, to: sub, cores: L1 N PE}"


def plain(source: tuple[str, str], bonds: str) -> str:
    return PLAIN.replace("SOURCE", source[0]).replace("SERVICE", source[1]).replace("BONDS", bonds)


@pytest.mark.parametrize(
    ("source", "bonds", "surplus"),
    [
        # the supplier's star point stays, whatever the installation adds
        (GRID, "link: {at: main}", {("link", "grid")}),
        # the link at which a PEN is split stays, and the one behind it is too many
        (PEN, "link: {at: main}", set()),
        (PEN, "other: {at: sub}, link: {at: main}", {("other", "link")}),
        # an inner bond of the source stays before one at a board
        (BONDED, "link: {at: main}", {("link", "set")}),
        # the set runs alone with the isolator open, and needs the link at its board then
        (AT_SUB, "first: {at: main}, second: {at: sub}", {("first", "second")}),
        # neither is needed more than the other: the first that is written stays
        (SET, "second: {at: main}, link: {at: sub}", {("link", "second")}),
        (SET, "link: {at: main}", set()),
    ],
)
def test_the_reference_that_is_kept(source: tuple[str, str], bonds: str, surplus: set[tuple[str, str]]) -> None:
    found = facts_of(plain(source, bonds)).references
    assert {(one.id, one.kept.id) for one in found if one.kept} == surplus
    # conductors join both earth sides in each of these sites
    assert {one.metallic for one in found if one.kept} <= {True}
    assert all(one.sharing is not None for one in found if one.kept)


def test_separately_bonded_places_whose_metal_is_not_described() -> None:
    # joined by PEN alone they are one reference, as far as no pipe joins them: nobody says whether one does
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}, barn: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  to-barn: {from: main, to: barn, cores: L1 PEN}
circuits:
  one: {from: barn, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
bonds: {link: {at: main}, at-barn: {at: barn}}
"""
    )

    def review(more: str) -> dict[str, list[str]]:
        return {one.id: [mention.subject for mention in one.review] for one in facts_of(text + more).references}

    assert review("") == {"link": [], "at-barn": ["link"]}
    assert review("extraneous: none\n") == {"link": [], "at-barn": []}


CHANGEOVER = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: EARTHING}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {out: {}, in: {}}
changeovers:
  co: {positions: [mains, own], poles: POLES}
connections:
  service: {from: grid, to: in, cores: L1 N}
  on: {from: in, to: co.mains, cores: L1 N PE}
  set-feed: {from: SIDE, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("earthing", "poles", "side", "solid", "tn", "distinct", "utility"),
    [
        ("TT", "L1", "set", True, False, True, ""),
        ("TT", "L1 N", "set", False, False, True, "grid"),
        # both sides come from the one supply: nothing is changed over but the way
        ("TT", "L1 N", "in", False, False, False, "grid"),
    ],
)
def test_a_changeover_between_two_neutrals(
    earthing: str, poles: str, side: str, solid: bool, tn: bool, distinct: bool, utility: str
) -> None:
    text = CHANGEOVER.replace("EARTHING", earthing).replace("POLES", poles).replace("SIDE", side)
    if side == "in":
        text = text.replace("  set: {kind: generator, phases: L1, neutral-bond: none}\n", "")
    (found,) = (one for one in facts_of(text).crossings if one.island is None)
    assert (found.solid, found.sides, found.tn, found.distinct, found.utility) == (solid, 2, tn, distinct, utility)


def test_the_main_earthing_terminal_is_a_bar_before_it_is_the_place_of_an_electrode() -> None:
    # FORMAT.md, currents
    text = plain(GRID, "link: {at: main}").replace("boards: {", "boards: {met: {bars: PE}, ")
    text = text.replace("  on:", "  earth: {from: main, to: met, cores: PE}\n  on:")
    text += "electrodes: {rod: {at: sub, resistance: 20 ohm}}\n"
    for more, place in ((text, "met"), (text.replace(": {bars: PE}", ": {}"), "sub")):
        facts = facts_of(more)
        for island in facts.islands:
            assert {facts.network.nodes[pe][0] for pe in facts._mets(island).values()} == {place}


def test_circuits_of_which_a_voltage_drop_is_asked() -> None:
    # a single line without a neutral supplies nothing; two lines do, and a line with a neutral
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TN-S}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE}
circuits:
  alone: {from: main, cores: L1 PE}
  two: {from: main, cores: L1 L2 PE}
  one: {from: main, cores: L2 N PE}
  three: {from: main, cores: L1 L2 L3 N PE}
"""
    )
    assert {drop.id for drop in facts_of(text).drops} == {"two", "one", "three"}


def test_a_pen_is_split_where_a_protective_conductor_begins() -> None:
    text = plain(PEN, "link: {at: main}")
    assert {one.id for one in facts_of(text).pen_landings} == {"main"}
    without = text.replace("cores: L1 N PE", "cores: L1 N")
    assert {one.id for one in facts_of(without).pen_landings} == set()


def test_frames_of_circuits_joined_to_the_frame_of_their_source() -> None:
    text = plain(SET, "link: {at: main}")
    assert {one.frame_apart for one in facts_of(text).feedings} == {""}
    loose = text.replace("one: {from: sub, cores: L1 N PE}", "one: {from: sub, cores: L1 N}")
    assert {one.frame_apart for one in facts_of(loose).feedings} == {"one"}
