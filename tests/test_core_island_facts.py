"""What is said of sources, frames, references and readings in each case: small sites worked by hand."""

from __future__ import annotations

import math

import pytest

import onebond.facts
from described import edited, facts_of, site_of
from onebond.document import parse
from onebond.engine import inspect
from onebond.facts import Crossing, EarthFault, Exposed, Facts, Feeding
from onebond.facts.island import Island
from onebond.facts.taken import trip_times
from onebond.meter.plant import Plant
from onebond.model import Device
from onebond.readings import of_text, refused
from onebond_rules import RULES

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"


def value(island: Island, name: str) -> str:
    """The value of a variable in a case, by name."""
    return island.value(next(i for i, one in enumerate(island.network.variables) if one.name == name))


# -- portable sources --------------------------------------------------------------------------------------------------

SET = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, mounted: portable, neutral-bond: none}
boards: {other: {}, box: {}}
connections:
  lead: {from: set, to: box, cores: L1 N PE, plug: yes}
circuits:
  saw: {from: box, cores: L1 N PE, serves: socket-outlets}
"""
)


def fed_by(text: str, source: str, **values: str) -> Feeding:
    """A source that feeds alone, in the first case with these values."""
    return next(
        one
        for one in facts_of(text).feedings
        if one.id == source
        and [feed.id for feed in one.island.feeds] == [source]
        and all(value(one.island, name) == wanted for name, wanted in values.items())
    )


IN_BARN = "box: {}", "box: {building: barn}"
SAW_IN_BARN = "serves: socket-outlets", "serves: socket-outlets, building: barn"
SAW_AT_HOME = "serves: socket-outlets", "serves: socket-outlets, place: dwelling"
GRID = "sources:\n", "sources:\n  grid: {kind: utility, phases: L1, earthing: TN-S}\n"
SECOND = "sources:\n", "sources:\n  spare: {kind: generator, phases: L1, mounted: portable, neutral-bond: none}\n"


def changed_over(source: str) -> tuple[tuple[str, str], ...]:
    """The box is fed over a changeover, by the set or by another source."""
    return (
        ("connections:\n", "changeovers:\n  co: {positions: [own, second], poles: L1 N}\nconnections:\n"),
        (
            "lead: {from: set, to: box, cores: L1 N PE, plug: yes}",
            "lead: {from: set, to: co.own, cores: L1 N PE}\n"
            "  feed: {from: co, to: box, cores: L1 N PE}\n"
            f"  second: {{from: {source}, to: co.second, cores: L1 N PE}}",
        ),
    )


@pytest.mark.parametrize(
    ("edits", "building"),
    [
        ((), False),
        ((IN_BARN,), True),
        ((("box: {}", "box: {place: dwelling}"),), True),
        ((("box: {}", "box: {place: construction}"),), False),
        ((SAW_IN_BARN,), True),
        ((SAW_AT_HOME,), True),
        # a building that the set does not feed
        ((("other: {}", "other: {building: barn}"),), False),
        # a fixed supply can feed the same board: it belongs to a building
        ((GRID, *changed_over("grid")), True),
        # it feeds a board of its own
        ((GRID, ("connections:\n", "connections:\n  service: {from: grid, to: other, cores: L1 N PE}\n")), False),
        # two sets that are moved about make no building
        ((SECOND, *changed_over("spare")), False),
    ],
)
def test_a_portable_set_feeds_a_building(edits: tuple[tuple[str, str], ...], building: bool) -> None:
    assert fed_by(edited(SET, *edits), "set").premises is building


OUTLETS = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, mounted: portable, neutral-bond: none}
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
circuits:
  lamp: {from: set, cores: L1 N PE, serves: lightingRCD}
  drill: {from: set, cores: L1 N PE, serves: socket-outletsRCD}
  wall: {from: main, cores: L1 N PE, serves: socket-outlets}
"""
)


def test_items_and_outlets_of_a_set_are_those_that_it_feeds() -> None:
    one = fed_by(OUTLETS.replace("RCD", ""), "set")
    assert (one.items, one.outlets, one.boards) == (2, ("drill",), False)
    # a board is no item
    one = fed_by(SET, "set")
    assert (one.items, one.outlets, one.boards) == (1, ("saw",), True)


@pytest.mark.parametrize(
    ("device", "limit_a", "guarded"),
    [
        ("", 0.03, False),
        # NEC 250.34(A) asks for none
        ("", float("inf"), True),
        ("{kind: rcbo, residual: 30 mA}", 0.03, True),
        ("{kind: rcbo, residual: 100 mA}", 0.03, False),
        ("{kind: rcbo, residual: 10 mA}", 0.03, True),
        ("{kind: mcb}", 0.03, False),
    ],
)
def test_outlets_of_a_set_behind_devices(device: str, limit_a: float, guarded: bool) -> None:
    text = OUTLETS.replace("RCD", f", through: [{device}]" if device else "")
    assert fed_by(text, "set").circuits_behind(limit_a) is guarded


def test_one_outlet_without_a_device_leaves_the_set_unguarded() -> None:
    text = OUTLETS.replace("lightingRCD", "lighting").replace("RCD", ", through: [{kind: rcbo, residual: 30 mA}]")
    assert fed_by(text, "set").circuits_behind(0.03) is False


@pytest.mark.parametrize(
    ("edits", "apart"),
    [
        ((), ""),
        ((("lead: {from: set, to: box, cores: L1 N PE", "lead: {from: set, to: box, cores: L1 N"),), "box"),
        ((("saw: {from: box, cores: L1 N PE", "saw: {from: box, cores: L1 N"),), "saw"),
        # double insulation has no frame
        (
            (
                ("saw: {from: box, cores: L1 N PE", "saw: {from: box, cores: L1 N"),
                ("serves: socket-outlets", "serves: socket-outlets, equipment: class-II"),
            ),
            "",
        ),
    ],
)
def test_frames_that_no_conductor_joins_to_the_set(edits: tuple[tuple[str, str], ...], apart: str) -> None:
    assert fed_by(edited(SET, *edits), "set").frame_apart == apart


@pytest.mark.parametrize(
    ("edits", "board"),
    [
        ((), ""),
        (((", plug: yes", ""),), "box"),
        # behind the plug everything is plugged in
        (
            (
                (
                    "circuits:\n",
                    "  on: {from: box, to: other, cores: L1 N PE}\ncircuits:\n",
                ),
            ),
            "",
        ),
        # a second cable that is no lead
        ((("circuits:\n", "  on: {from: set, to: other, cores: L1 N PE}\ncircuits:\n"),), "other"),
    ],
)
def test_a_board_that_a_set_reaches_without_a_plug(edits: tuple[tuple[str, str], ...], board: str) -> None:
    assert fed_by(edited(SET, *edits), "set").hard_wired == board


@pytest.mark.parametrize(
    ("bond", "at", "electrode", "frame"),
    [
        ("fixed", "box", "near", "near"),
        # a rod at a board that no conductor joins to the set
        ("fixed", "other", "", ""),
        # without a reference only the frame reaches the rod
        ("none", "box", "", "near"),
        ("none", "other", "", ""),
    ],
)
def test_an_electrode_that_the_reference_or_the_frame_of_a_set_reaches(
    bond: str, at: str, electrode: str, frame: str
) -> None:
    text = edited(SET, ("neutral-bond: none", f"neutral-bond: {bond}"))
    text += "electrodes: {far: {at: other}, near: {at: box}}\n" if at == "box" else "electrodes: {far: {at: other}}\n"
    found = fed_by(text, "set")
    assert (found.electrode, found.frame_electrode) == (electrode, frame)


def test_the_frame_that_counts_is_that_of_the_source_which_feeds() -> None:
    # the rod lies at the frame of another source
    text = OUTLETS.replace("RCD", "").replace(
        "kind: utility, phases: L1, earthing: TN-S", "kind: generator, phases: L1"
    )
    text += "electrodes: {rod: {at: main}}\n"
    assert fed_by(text, "set").frame_electrode == ""
    assert fed_by(text, "grid").frame_electrode == "rod"


BORROWED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yesMORE}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)
BOND_SILENT = "neutral-bond of hybrid is not written and was read as none"
THROUGH_SILENT = "neutral-through of hybrid is not written and was read as switched"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("", (BOND_SILENT, THROUGH_SILENT)),
        (", neutral-bond: none", (THROUGH_SILENT,)),
        (", neutral-through: switched", (BOND_SILENT,)),
        (", neutral-bond: none, neutral-through: switched", ()),
    ],
)
def test_what_is_left_out_of_an_inverter_is_told_with_its_floating_neutral(more: str, said: tuple[str, ...]) -> None:
    text = BORROWED.replace("MORE", more)
    assert fed_by(text, "hybrid").silent == said
    # without a mains input there is no way through that could be left out
    alone = edited(text, ("mains-input: yes", "mains-input: no"), ("hybrid.in", "hybrid"), ("hybrid.out", "hybrid"))
    alone = alone.replace("  input: {from: main, to: hybrid, cores: L1 N PE}\n", "").replace(
        ", neutral-through: switched", ""
    )
    assert fed_by(alone, "hybrid").silent == tuple(one for one in said if one == BOND_SILENT)


def test_the_only_reference_that_is_the_supplier_s() -> None:
    # absent, the supply still lends its star point to the inverter over the unswitched neutral; a link of the site beside it is no supply
    text = BORROWED.replace("MORE", ", neutral-bond: none, neutral-through: solid")
    found = fed_by(text, "hybrid", grid="absent")
    assert [one.subject for one in found.utilities] == ["grid"]
    found = fed_by(text + "bonds: {link: {at: out}}\n", "hybrid", grid="absent")
    assert [one.subject for one in found.utilities] == ["grid"]
    assert [one.id for one in found.island.references] == ["grid", "link"]


# -- frames and the PEN of a supply ------------------------------------------------------------------------------------

FARM = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {MAIN}, barn: {BARN}}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  to-barn: {from: main, to: barn, cores: L1 CORES}
circuits:
  lamp: {from: main, cores: L1 N PE}
  pump: {from: barn, cores: L1 N PEMORE}
bonds: {link: {at: main}}
"""
)


def farm(main: str = "", barn: str = "", cores: str = "PEN", more: str = "") -> str:
    return FARM.replace("MAIN", main).replace("BARN", barn).replace("CORES", cores).replace("MORE", more)


def frames(text: str) -> dict[str, Exposed]:
    """The frames of a site with one source, in the first case that feeds each."""
    found: dict[str, Exposed] = {}
    for one in facts_of(text).exposed:
        found.setdefault(one.id, one)
    return found


@pytest.mark.parametrize(
    ("barn", "more", "board"),
    [
        ("", "", "barn"),
        ("place: agricultural", "", "barn"),
        ("place: agricultural", ", place: outdoor", ""),
        ("", ", place: outdoor", ""),
    ],
)
def test_a_circuit_stands_in_the_kind_of_place_of_its_board(barn: str, more: str, board: str) -> None:
    found = frames(farm(barn=barn, more=more))
    assert found["pump"].board == board
    assert found["lamp"].board == "main"
    assert found["barn"].board == ""


def test_the_cable_that_leads_a_pen_on() -> None:
    # up to the first board it is the service; behind it, it is a PEN in the installation
    found = frames(farm())
    assert {name: found[name].pen_core for name in ("barn", "pump", "lamp")} == {
        "barn": "to-barn",
        "pump": "",
        "lamp": "",
    }
    assert frames(farm(cores="N PE"))["main"].pen_core == ""
    assert frames(farm(cores="N PE"))["barn"].pen_core == ""
    # a PEN up to the load itself
    text = edited(farm(cores="N PE"), ("pump: {from: barn, cores: L1 N PE", "pump: {from: barn, cores: L1 PEN"))
    assert {name: found[name].pen_core for name in ("lamp",)} == {"lamp": ""}
    found = frames(text)
    assert (found["pump"].pen_core, found["lamp"].pen_core) == ("pump", "")
    # a set is no supply: its PEN is one of the installation from the beginning
    text = edited(
        farm(cores="N PE"),
        ("grid: {kind: utility, phases: L1, earthing: TN-C-S}", "grid: {kind: generator, phases: L1}"),
    )
    assert frames(text)["main"].pen_core == "service"


@pytest.mark.parametrize("ends", ["from: main, to: barn", "from: barn, to: main"])
def test_a_pen_is_led_on_from_the_board_that_is_nearer_to_the_supply(ends: str) -> None:
    found = frames(edited(farm(), ("from: main, to: barn", ends)))
    assert found["barn"].pen_led_on == ("to-barn", "main")
    # from a supply it comes, and from the load on it is led nowhere
    assert found["main"].pen_led_on is None
    assert found["pump"].pen_led_on is None
    assert found["lamp"].pen_led_on is None
    assert frames(edited(farm(cores="N PE"), ("from: main, to: barn", ends)))["barn"].pen_led_on is None


def test_between_boards_that_are_equally_far_from_a_supply_a_pen_is_led_on_both_ways() -> None:
    text = edited(
        farm(),
        ("grid: {kind", "second: {kind: generator, phases: L1, may-parallel: [grid]}\n  grid: {kind"),
        ("circuits:\n", "  feed: {from: second, to: barn, cores: L1 N PE}\ncircuits:\n"),
    )
    found = {one.id: one.pen_led_on for one in facts_of(text).exposed if len(one.island.feeds) == 2}
    assert (found["main"], found["barn"]) == (("to-barn", "barn"), ("to-barn", "main"))
    assert found["pump"] is None


def test_a_dead_board_leads_no_pen_on() -> None:
    # the old board is fed by nothing; the bars in the enclosure at which its PEN ends are fed without a neutral
    text = (
        HEAD
        + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {old: {}, main: {}, bars: {inside: main}}
connections:
  feed: {from: set, to: bars, cores: L1 PE}
  left-over: {from: old, to: main, cores: L1 PEN}
circuits:
  one: {from: bars, cores: L1 PE}
"""
    )
    found = frames(text)
    assert set(found) == {"set", "main", "one"}
    assert found["main"].pen_led_on is None


@pytest.mark.parametrize(
    ("main", "barn", "beside"),
    [
        ("place: agricultural", "place: agricultural", True),
        ("", "place: agricultural", None),
        ("building: house", "place: agricultural", None),
        ("", "place: agricultural, building: barn", None),
        ("building: farm", "place: agricultural, building: farm", True),
        ("building: house", "place: agricultural, building: barn", False),
    ],
)
def test_two_boards_stand_in_one_place_or_building(main: str, barn: str, beside: bool | None) -> None:
    assert frames(farm(main, barn))["barn"].beside("main") is beside


SWITCHED = "bonds: {link: {at: main, closed: {grid: absent}}}"
RESISTIVE = "bonds: {link: {at: main, impedance: 10 ohm}}"
LINK = "bonds: {link: {at: main}}"
BROUGHT_AS_PE = "grid, to: main, cores: L1 PEN", "grid, to: main, cores: L1 N PE"


@pytest.mark.parametrize(
    ("cores", "edits", "supplier"),
    [
        # over the link at the split
        ("N PE", (), "grid"),
        ("PEN", (), ""),
        ("PEN", ((LINK, "bonds: {link: {at: main}, at-barn: {at: barn}}"),), "grid"),
        # split at the terminals of the supply, its PE is that of the site
        ("N PE", (BROUGHT_AS_PE, (LINK, "bonds: {}")), "grid"),
        # the same from a supply without a PEN
        ("N PE", (BROUGHT_AS_PE, (LINK, "bonds: {}"), ("TN-C-S", "TN-S")), ""),
        # no protective conductor to the barn
        ("N", (), ""),
        # one of its own from the link of the barn: its neutral is no PEN, whatever it does (pen-not-declared)
        ("N", ((LINK, "bonds: {link: {at: main}, at-barn: {at: barn}}"),), ""),
        # what joins only sometimes, or not solidly
        ("N PE", ((LINK, SWITCHED),), ""),
        ("N PE", ((LINK, RESISTIVE),), ""),
    ],
)
def test_a_frame_that_the_pen_of_a_supply_earths(cores: str, edits: tuple[tuple[str, str], ...], supplier: str) -> None:
    assert frames(edited(farm(cores=cores), *edits))["barn"].supplier_pen == supplier


# -- references --------------------------------------------------------------------------------------------------------

SHED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}, barn: {}, shed: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  to-barn: {from: main, to: barn, cores: L1 PEN}
  to-shed: {from: barn, to: shed, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: shed, cores: L1 N PE}
bonds: {link: {at: main}, at-barn: {at: barn}, at-shed: {at: shed}}
"""
)


def kept(text: str) -> dict[str, set[str]]:
    """For each reference that is too many somewhere those that are kept beside it."""
    found: dict[str, set[str]] = {}
    for one in facts_of(text).references:
        if one.kept:
            found.setdefault(one.id, set()).add(one.kept.id)
    return found


def test_of_the_links_along_a_pen_the_one_on_the_same_protective_conductor_is_told() -> None:
    # the links of the house and of the barn are one reference; the PE of the shed leads to the barn alone
    assert kept(SHED) == {"at-shed": {"at-barn"}}


def test_two_links_in_one_enclosure_are_one_reference() -> None:
    text = edited(SHED, ("at-shed: {at: shed}", "at-shed: {at: shed}, again: {at: shed}"))
    found = facts_of(text).references
    assert {one.id for one in found if one.kept} == {"at-shed"}
    assert {one.id for one in found} == {"link", "at-barn", "at-shed", "again"}


@pytest.mark.parametrize(
    ("metal", "review"),
    [
        ("", {"link": [], "at-barn": ["link"], "at-shed": []}),
        ("extraneous: none\n", {"link": [], "at-barn": [], "at-shed": []}),
        # a pipe in the barn alone: the metal is described
        ("extraneous: {pipe: {joins: [barn, shed]}}\n", {"link": [], "at-barn": [], "at-shed": []}),
    ],
)
def test_metal_between_links_along_a_pen_is_asked_for_once(metal: str, review: dict[str, list[str]]) -> None:
    found = {one.id: [mention.subject for mention in one.review] for one in facts_of(SHED + metal).references}
    assert found == review


LENT = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  on: {from: main, to: co.mains, cores: L1 N PE}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
  service: {from: grid, to: main, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
bonds: {first: {at: out}, second: {at: set}}
"""
)


def test_a_link_that_is_too_many_beside_the_supply_is_too_many_everywhere() -> None:
    # without the link of the board either source has one reference; without the one at the set the board would have two on the supply
    assert kept(LENT) == {"first": {"grid", "second"}}
    # with the supply's conductor out of the way neither is better, and the first that is written stays
    text = edited(
        LENT, ("kind: utility, phases: L1, earthing: TN-S", "kind: generator, phases: L1, neutral-bond: none")
    )
    assert kept(text) == {"second": {"first"}}


TWO_SUPPLIES = (
    HEAD
    + """\
sources:
  old: {kind: utility, phases: L1, earthing: TN-S, may-parallel: [new]}
  new: {kind: utility, phases: L1, earthing: TN-S, may-parallel: [old]}
boards: {main: {}, out: {}}
connections:
  old-service: {from: old, to: main, cores: L1 N PE}
  on: {from: main, to: out, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 300 mA}]}
  new-service: {from: new, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
"""
)


def test_the_star_point_of_a_supply_is_no_link_behind_a_device() -> None:
    # two supplies tie the neutral twice, and neither star point can be moved to the other side of a device
    found = [one for one in facts_of(TWO_SUPPLIES).references if one.kept]
    assert {(one.id, one.kept.id) for one in found if one.kept} == {("new", "old")}
    assert {one.behind for one in found} == {()}
    assert {one.rcd for one in found} == {None}


def test_the_star_point_of_an_absent_supply_earths_a_system_that_is_to_be_isolated() -> None:
    text = edited(
        LENT,
        ("phases: L1, neutral-bond: none", "phases: L1, neutral-bond: none, earthing: IT"),
        ("poles: L1 N", "poles: L1"),
        ("bonds: {first: {at: out}, second: {at: set}}\n", ""),
    )
    found = {(one.id, one.island.it) for one in facts_of(text).references}
    assert found == {("grid", True)}


BEHIND = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  set-feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: out, cores: L1 N PE, through: [{ID, kind: rcd, residual: 30 mA}]}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
bonds: {link: {at: AT}}
"""
)


def behind(name: str, at: str) -> str:
    return BEHIND.replace("ID, ", f"{name}, " if name else "").replace("AT", at)


@pytest.mark.parametrize(("name", "told"), [("id: r", "r"), ("", "on")])
def test_a_link_behind_a_device_and_the_island_that_opens_with_it(name: str, told: str) -> None:
    facts = facts_of(behind(name, "out"))
    (found,) = (one for one in facts.references if one.behind)
    assert [(one, by) for one, _, by in found.behind] == [(told, "set")]
    assert found.rcd is not None and found.sharing is not None
    # with the device open the board ahead of it has lost its reference
    opened = {one.opened for one in facts.feedings if not one.island.references}
    assert opened == {"link"}
    assert {one.opened for one in facts.feedings if one.island.references} == {""}


def test_a_link_ahead_of_a_device_stays_whether_it_is_open_or_not() -> None:
    facts = facts_of(behind("id: r", "main"))
    assert {(one.behind, one.rcd, one.sharing) for one in facts.references} == {((), None, None)}
    assert {one.opened for one in facts.feedings} == {""}


def test_another_device_that_is_open_explains_no_floating_neutral() -> None:
    # nothing ties the neutral anywhere, device or not
    facts = facts_of(behind("id: r", "main").replace("bonds: {link: {at: main}}\n", ""))
    assert {one.opened for one in facts.feedings} == {""}


PARTED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  set: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, out: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: co.mains, cores: L1 NPE}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: main}}
"""
)


@pytest.mark.parametrize(("pe", "cut_off"), [(" PE", ""), ("", "co")])
def test_the_protective_conductor_that_parts_a_set_from_the_rod(pe: str, cut_off: str) -> None:
    # the supply earths the frames behind the changeover only over the cable to it; the set has them on a conductor of its own
    text = PARTED.replace("NPE", f"N{pe}")
    found = facts_of(text).feedings
    assert {one.cut_off for one in found if one.id == "set"} == {cut_off}
    assert {one.cut_off for one in found if one.id == "grid"} == {""}


# -- changeovers and ways through inverters ----------------------------------------------------------------------------

CHANGEOVERS = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
  grid: {kind: utility, phases: L1, earthing: TN-S}
  far: {kind: utility, phases: L1, earthing: TN-S}
boards: {out: {}, in: {}, apart: {}}
changeovers:
  co: {positions: [mains, own, spare], poles: POLES}
  pick: {positions: [one, other], poles: L1 N}
connections:
  service: {from: grid, to: in, cores: L1 N PE}
  far-service: {from: far, to: apart, cores: L1 N PE}
  on: {from: in, to: co.mains, cores: L1 MAINS}
  set-feed: {from: SIDE, to: co.own, cores: L1 OWN}
  feed: {from: co, to: out, cores: L1 N PE}
  to-one: {from: in, to: pick.one, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: pick, cores: L1 N PE}
  three: {from: apart, cores: L1 N PE}
"""
)


def crossing(text: str, name: str) -> Crossing:
    """What is said of a changeover, or of a way through an inverter, whatever the case."""
    (found,) = (one for one in facts_of(text).crossings if one.island is None and one.id == name)
    return found


@pytest.mark.parametrize(
    ("poles", "side", "mains", "own", "expected"),
    [
        # solid, inputs with a neutral, different sources, supply whose neutral it opens
        ("L1 N", "set", "N PE", "N PE", (False, 2, True, "grid")),
        ("L1", "set", "N PE", "N PE", (True, 2, True, "")),
        ("L1 N", "set", "N PE", "PE", (False, 1, False, "grid")),
        ("L1 N", "set", "PE", "N PE", (False, 1, False, "")),
        ("L1 N", "set", "PE", "PE", (False, 0, False, "")),
        ("L1 N", "in", "N PE", "N PE", (False, 2, False, "grid")),
        # a PEN is a neutral too
        ("L1 N", "set", "PEN", "N PE", (False, 2, True, "grid")),
        ("L1", "set", "PEN", "N PE", (True, 2, True, "")),
    ],
)
def test_the_neutrals_that_land_on_a_changeover(
    poles: str, side: str, mains: str, own: str, expected: tuple[bool, int, bool, str]
) -> None:
    text = CHANGEOVERS.replace("POLES", poles).replace("SIDE", side).replace("MAINS", mains).replace("OWN", own)
    found = crossing(text, "co")
    assert (found.solid, found.sides, found.distinct, found.utility) == expected
    # the other changeover opens the neutral of one supply, whatever this one does
    other = crossing(text, "pick")
    assert (other.solid, other.sides, other.distinct, other.utility) == (False, 1, False, "grid")


@pytest.mark.parametrize(("earthing", "tn"), [("TN-S", True), ("TT", False), ("IT", False)])
def test_one_supply_that_is_no_tn_system_is_enough(earthing: str, tn: bool) -> None:
    text = CHANGEOVERS.replace("POLES", "L1 N").replace("SIDE", "set").replace("MAINS", "N PE").replace("OWN", "N PE")
    text = text.replace(
        "far: {kind: utility, phases: L1, earthing: TN-S}", f"far: {{kind: utility, phases: L1, earthing: {earthing}}}"
    )
    text = text.replace("from: far, to: apart, cores: L1 N PE", "from: far, to: apart, cores: L1 N")
    assert crossing(text, "co").tn is tn


HYBRID = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none, neutral-through: THROUGHMOUNTED}
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, out: {}, other: {}}
connections:
  input: {from: SOURCE, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  rest: {from: REST, to: other, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: other, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("through", "source", "mounted", "expected"),
    [
        # solid, supply whose neutral it opens, on a vehicle
        ("switched", "grid", "", (False, "grid", False)),
        ("solid", "grid", "", (True, "", False)),
        ("switched", "set", "", (False, "", False)),
        ("switched", "grid", ", mounted: vehicle", (False, "grid", True)),
        ("switched", "grid", ", mounted: portable", (False, "grid", False)),
    ],
)
def test_the_neutral_on_the_way_through_an_inverter(
    through: str, source: str, mounted: str, expected: tuple[bool, str, bool]
) -> None:
    text = HYBRID.replace("THROUGH", through).replace("MOUNTED", mounted).replace("SOURCE", source)
    found = crossing(text.replace("REST", "grid" if source == "set" else "set"), "hybrid")
    assert (found.solid, found.utility, found.vehicle) == expected
    assert (found.inverter, found.sides, found.distinct) == (True, 2, True)


JOINED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  set: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, out: {}}
changeovers:
  co: {positions: [mains, own], poles: POLES}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: co.mains, cores: L1 N PE}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}MORE
circuits:
  one: {from: out, cores: L1 N PE}
"""
)
ROUND = "\n  round: {from: set, to: main, cores: N}"


@pytest.mark.parametrize(
    ("poles", "more", "joins", "beside", "caused"),
    [
        # the solid neutral alone joins the star point of the supply and the frame of the set
        ("L1", "", {("grid", "set")}, {""}, True),
        ("L1 N", "", set(), set(), None),
        # a cable does it without the changeover
        ("L1 N", ROUND, set(), set(), False),
        ("L1", ROUND, set(), set(), False),
    ],
)
def test_two_references_that_a_changeover_alone_joins(
    poles: str, more: str, joins: set[tuple[str, str]], beside: set[str], caused: bool | None
) -> None:
    facts = facts_of(JOINED.replace("POLES", poles).replace("MORE", more))
    found = [one for one in facts.crossings if one.island is not None]
    assert {tuple(mention.subject for mention in one.joins) for one in found} == joins
    assert {one.beside for one in found} == beside
    assert {one.id for one in found} <= {"co"}
    surplus = [one for one in facts.references if one.kept]
    assert {one.caused for one in surplus} == (set() if caused is None else {caused})


def test_a_double_link_that_a_second_way_makes_in_other_cases_has_another_cause() -> None:
    # with the isolator closed a cable joins the two neutrals too: in those cases the changeover is not what does it
    way = "\n  round: {from: set, to: main, cores: N, through: [{id: q, kind: isolator, poles: N, operable: yes}]}"
    facts = facts_of(JOINED.replace("POLES", "L1").replace("MORE", way))
    found = [one for one in facts.crossings if one.island is not None]
    assert {(value(one.island, "q"), one.beside) for one in found if one.island} == {("open", "set")}
    assert {one.caused for one in facts.references if one.kept} == {False}


# -- bonds with a condition --------------------------------------------------------------------------------------------

RELAY = (
    HEAD
    + """\
sources:
  grid: {kind: KIND}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-through: switched, neutral-bond: INNER}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
bonds: {BONDS}
"""
)
TN_GRID = "utility, phases: L1, earthing: TN-S"
BARE_SET = "generator, phases: L1, neutral-bond: none"
WAITS = "relay: {at: out, closed: {hybrid: inverting}, closes-after: 100 ms, opens-after: 30 ms}"
DELAYED = "while-inverting, closes-after: 200 ms, opens-after: 50 ms"


def relays(kind: str, inner: str, bonds: str) -> set[tuple[str, str, str, bool, str]]:
    """Bonds that a condition closes: id, words, value of the inverter, whether alone, and the reference beside it."""
    text = RELAY.replace("KIND", kind).replace("INNER", inner).replace("BONDS", bonds)
    return {
        (one.id, one.bond, value(one.island, "hybrid"), one.alone, one.beside.id if one.beside else "")
        for one in facts_of(text).relays
    }


@pytest.mark.parametrize(
    ("kind", "inner", "bonds", "expected"),
    [
        # alone until it has closed; beside the supply's star point until it has opened
        (
            TN_GRID,
            DELAYED,
            "",
            {
                ("hybrid", "the bond inside hybrid", "inverting", True, ""),
                ("hybrid", "the bond inside hybrid", "passing", False, "grid"),
            },
        ),
        (
            TN_GRID,
            "none",
            WAITS,
            {("relay", "relay", "inverting", True, ""), ("relay", "relay", "passing", False, "grid")},
        ),
        # it ties what nothing else does, and nothing ties the set
        (BARE_SET, "none", WAITS, {("relay", "relay", "inverting", True, "")}),
        # a link at the same enclosure is there all the time: it is neither alone, nor one of two when it opens late
        (BARE_SET, "none", f"link: {{at: out}}, {WAITS}", set()),
        # a link elsewhere is
        (
            BARE_SET,
            "none",
            f"link: {{at: main}}, {WAITS}",
            {("relay", "relay", "inverting", True, ""), ("relay", "relay", "passing", False, "link")},
        ),
        # no condition, no delay; an impedance is no reference
        (TN_GRID, "fixed", "", set()),
        (TN_GRID, "none", "link: {at: out}", set()),
        (TN_GRID, "none", "link: {at: out, impedance: 1 kohm, closed: {hybrid: inverting}}", set()),
        # a system that is to be isolated has nothing to wait for
        (
            f"{BARE_SET}, earthing: IT",
            "none, earthing: IT",
            WAITS,
            set(),
        ),
    ],
)
def test_what_the_delays_of_a_bond_mean(
    kind: str, inner: str, bonds: str, expected: set[tuple[str, str, str, bool, str]]
) -> None:
    assert relays(kind, inner, bonds) == expected


def test_the_delays_are_those_of_the_bond_itself() -> None:
    text = RELAY.replace("KIND", TN_GRID)
    inner = facts_of(text.replace("INNER", DELAYED).replace("BONDS", "")).relays
    assert {(one.closes_after_s, one.opens_after_s) for one in inner} == {(0.2, 0.05)}
    bond = facts_of(text.replace("INNER", "none").replace("BONDS", WAITS)).relays
    assert {(one.closes_after_s, one.opens_after_s) for one in bond} == {(0.1, 0.03)}


def test_a_bond_that_follows_a_changeover_is_asked_for_the_gap_alone() -> None:
    # how long the changeover leaves its neutral open is not written
    text = edited(JOINED.replace("POLES", "L1 N").replace("MORE", ""), ("neutral-bond: fixed", "neutral-bond: none"))
    found = facts_of(text + "bonds: {relay: {at: out, closed: {co: own}}}\n").relays
    assert {(value(one.island, "co"), one.alone, one.beside) for one in found} == {("own", True, None)}


def test_bonds_that_wait_are_told_where_the_neutral_floats() -> None:
    text = RELAY.replace("KIND", BARE_SET).replace("INNER", DELAYED)
    bonds = f"{WAITS}, weak: {{at: out, impedance: 1 kohm, closed: {{hybrid: inverting}}}}, apart: {{at: main, closed: {{hybrid: off}}}}"
    found = {
        (one.id, value(one.island, "hybrid"), one.waiting, one.meets)
        for one in facts_of(text.replace("BONDS", bonds)).feedings
    }
    assert found == {
        ("grid", "passing", ("the bond inside hybrid", "relay", "apart"), True),
        # the neutral of the output is not joined to the set
        ("grid", "inverting", ("apart",), True),
        ("grid", "off", (), True),
        ("hybrid", "inverting", (), True),
    }


def test_a_neutral_that_nothing_ties_in_any_case_meets_no_reference() -> None:
    text = RELAY.replace("KIND", BARE_SET).replace("INNER", "none").replace("BONDS", WAITS)
    found = {(one.id, value(one.island, "hybrid"), one.waiting, one.meets) for one in facts_of(text).feedings}
    assert found == {
        ("grid", "passing", ("relay",), False),
        ("grid", "inverting", (), False),
        ("grid", "off", (), False),
        ("hybrid", "inverting", (), True),
    }


# -- frames ------------------------------------------------------------------------------------------------------------


def ways(text: str, source: str) -> dict[str, tuple[str, str, str]]:
    """How each frame is earthed, the nearest part that hangs with it, and the missing split, where one source feeds alone."""
    return {
        one.id: (one.way, one.root, one.pen_split)
        for one in facts_of(text).exposed
        if [feed.id for feed in one.island.feeds] == [source]
    }


HOUSE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: EARTHING}
boards: {main: {}, sub: {}, spare: {}}
connections:
  service: {from: grid, to: main, cores: L1 SERVICE}
  on: {from: main, to: sub, cores: L1 N}
circuits:
  one: {from: sub, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
MORE"""
)


def house(earthing: str, service: str, *more: str) -> str:
    return HOUSE.replace("EARTHING", earthing).replace("SERVICE", service).replace("MORE", "\n".join((*more, "")))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # `sub` and its load hang on nothing: the nearest of them is told
        (
            house("TN-S", "N PE"),
            {"main": ("reference",), "two": ("reference",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        # a rod of their own
        (
            house("TN-S", "N PE", "electrodes: {rod: {at: sub}}"),
            {"main": ("reference",), "two": ("reference",), "sub": ("electrode",), "one": ("electrode",)},
        ),
        # beside a reference of its own, with a rod at it too, the reference counts
        (
            house("TN-S", "N PE", "electrodes: {rod: {at: main}}"),
            {"main": ("reference",), "two": ("reference",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        # metal that is no part of the installation is no protective conductor (IEC 60364-5-54, 543.2.3, from memory)
        (
            house("TN-S", "N PE", "extraneous: {pipe: {joins: [main, sub]}}"),
            {"main": ("reference",), "two": ("reference",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        # the star point of a TT supply earths no frame
        (
            house("TT", "N"),
            {"main": ("", "main", ""), "two": ("", "main", ""), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        (
            house("TT", "N", "electrodes: {rod: {at: main}}"),
            {"main": ("electrode",), "two": ("electrode",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        # without the link the PEN is split nowhere, and that is the cause for what hangs on the PE bar of that board alone
        (
            house("TN-C-S", "PEN"),
            {"main": ("", "main", "main"), "two": ("", "main", "main"), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        (
            house("TN-C-S", "PEN", "bonds: {link: {at: main}}"),
            {"main": ("reference",), "two": ("reference",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        # isolated from earth: by a rod, or joined to all the others
        (
            house("IT", "N", "electrodes: {rod: {at: main}}"),
            {"main": ("electrode",), "two": ("electrode",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        (
            house("IT", "N"),
            {"main": ("", "main", ""), "two": ("", "main", ""), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        (
            house("IT", "N").replace(
                "on: {from: main, to: sub, cores: L1 N}", "on: {from: main, to: sub, cores: L1 N PE}"
            ),
            dict.fromkeys(("main", "sub", "one", "two"), ("frames",)),
        ),
        # a link that ties an isolated system to earth all the same: its frames rest on the rod, where there is one
        (
            house("IT", "N", "electrodes: {rod: {at: main}}", "bonds: {link: {at: main}}"),
            {"main": ("electrode",), "two": ("electrode",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
        (
            house("IT", "N", "bonds: {link: {at: main}}"),
            {"main": ("reference",), "two": ("reference",), "sub": ("", "sub", ""), "one": ("", "sub", "")},
        ),
    ],
)
def test_how_each_frame_is_earthed(text: str, expected: dict[str, tuple[str, ...]]) -> None:
    # the spare board is never live, and its frame is nobody's danger
    assert ways(text, "grid") == {name: way if len(way) == 3 else (way[0], name, "") for name, way in expected.items()}


def test_the_pen_that_is_not_split_is_that_of_the_case() -> None:
    # each supply feeds a house of its own; in the first the PEN is split
    text = (
        HEAD
        + """\
sources:
  a: {kind: utility, phases: L1, earthing: TN-C-S}
  b: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {left: {}, right: {}}
connections:
  to-left: {from: a, to: left, cores: L1 PEN}
  to-right: {from: b, to: right, cores: L1 PEN}
  apart: {from: left, to: right, cores: PE}
circuits:
  one: {from: left, cores: L1 N}
  two: {from: right, cores: L1 N PE}
bonds: {link: {at: left}}
"""
    )
    assert ways(text, "a") == {"left": ("reference", "left", ""), "one": ("", "one", "")}
    # the frames of the right house are joined to the left one, whose PEN is not that of their supply
    assert ways(text, "b") == {"right": ("", "right", "right"), "two": ("", "right", "right")}


# -- sources on one line, and dead ones --------------------------------------------------------------------------------

TOGETHER = (
    HEAD
    + """\
sources:
  first: {kind: FIRST}
  second: {kind: SECOND}
boards: {main: {}}
connections:
  one-feed: {from: first, to: main, cores: L1 N}
  two-feed: {from: second, to: main, cores: LANDS N}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: main, cores: L2 N PE}
"""
)
MAINS, ENGINE = "utility, phases: L1, earthing: TT", "generator, phases: L1, neutral-bond: none"


def together(first: str, second: str, lands: str = "L1") -> str:
    return TOGETHER.replace("FIRST", first).replace("SECOND", second).replace("LANDS", lands)


@pytest.mark.parametrize(
    ("first", "second", "pairs"),
    [
        # the supply is nobody's to change: the other one is told
        (MAINS, ENGINE, [("second", "first", "")]),
        (ENGINE, MAINS, [("first", "second", "")]),
        (ENGINE, ENGINE, [("second", "first", "")]),
        (MAINS, MAINS, [("second", "first", "")]),
        (MAINS, f"{ENGINE}, may-parallel: [first]", [("second", "first", "second may run in parallel with first")]),
        (f"{ENGINE}, may-parallel: [second]", ENGINE, [("second", "first", "first may run in parallel with second")]),
        # what follows runs in parallel by nature, and so does what can do either without an input to pass through
        (MAINS, "inverter, phases: L1, operation: grid-following", [("second", "first", "second follows")]),
        (MAINS, "inverter, phases: L1, operation: both", [("second", "first", "second follows")]),
        (MAINS, "inverter, phases: L1, operation: grid-forming", [("second", "first", "")]),
    ],
)
def test_two_sources_on_one_line(first: str, second: str, pairs: list[tuple[str, str, str]]) -> None:
    found = [
        (one.id, one.other, one.permitted)
        for one in facts_of(together(first, second)).pairs
        if value(one.island, "first") in ("present", "running") and not one.feeds_itself
    ]
    assert found == pairs


def test_sources_on_different_lines_share_a_neutral_alone() -> None:
    other = ENGINE.replace("L1", "L2")
    facts = facts_of(together(ENGINE, other, "L2"))
    assert any(len(island.feeds) == 2 for island in facts.islands)
    assert facts.pairs == ()
    # so the set that stands is backfed by nobody, and its terminals lie in the island by the neutral
    assert {(one.id, one.by) for one in facts.dead} == {("first", ""), ("second", "")}


OWN = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, operation: OPERATION, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  SHORT
circuits:
  one: {from: out, cores: L1 N PE}
"""
)
BRIDGE = "bridge: {from: out, to: main, cores: L1 N PE}"


@pytest.mark.parametrize(("bridge", "reached"), [("", {False}), (BRIDGE, {True})])
def test_an_inverter_that_feeds_its_own_input(bridge: str, reached: set[bool]) -> None:
    text = OWN.replace("OPERATION", "both").replace("SHORT", bridge)
    facts = facts_of(text)
    assert {one.reached for one in facts.own_inputs} == reached
    assert {value(one.island, "hybrid") for one in facts.own_inputs} == {"inverting"}
    # the supply and the inverter stand on one line only by that bridge; an inverter that has an input is no follower
    inverting = [one for one in facts.pairs if value(one.island, "hybrid") == "inverting"]
    assert {(one.id, one.other, one.permitted, one.feeds_itself) for one in inverting} == (
        {("hybrid", "grid", "", "hybrid")} if bridge else set()
    )


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        # what runs in parallel unpermitted is the cause of what comes back to the dead supply
        (MAINS, ENGINE, {("first", "absent", "second", ("sources-in-parallel", "second"))}),
        (MAINS, f"{ENGINE}, may-parallel: [first]", {("first", "absent", "second", None)}),
        # a standing set, and an absent supply
        (
            ENGINE,
            ENGINE,
            {
                ("first", "standing", "second", ("sources-in-parallel", "second")),
                ("second", "standing", "first", ("sources-in-parallel", "second")),
            },
        ),
        # what follows feeds nobody alone; an inverter that is off is no dead supply
        (ENGINE, "inverter, phases: L1, operation: grid-following", set()),
        (ENGINE, "inverter, phases: L1", {("first", "standing", "second", ("sources-in-parallel", "second"))}),
    ],
)
def test_dead_sources_within_the_reach_of_others(
    first: str, second: str, expected: set[tuple[str, str, str, tuple[str, str] | None]]
) -> None:
    found = {
        (one.id, value(one.island, one.id), one.by, one.parallel) for one in facts_of(together(first, second)).dead
    }
    if first.startswith("utility") and second.startswith("generator"):
        expected = expected | {("second", "standing", "first", next(iter(expected))[3])}
    assert found == expected


def test_a_dead_source_that_two_others_feed_has_one_cause_only_where_both_are_too_many() -> None:
    def parallel(third: str) -> set[tuple[str, str] | None]:
        text = together(MAINS, ENGINE).replace("boards:", f"  third: {{kind: {third}}}\nboards:")
        text = text.replace("circuits:", "  three-feed: {from: third, to: main, cores: L1 N}\ncircuits:")
        return {
            one.parallel
            for one in facts_of(text).dead
            if one.id == "first" and {feed.id for feed in one.island.feeds} == {"second", "third"}
        }

    assert parallel(ENGINE) == {("sources-in-parallel", "second")}
    # one of the two may: taking the other away leaves the terminals live all the same
    assert parallel(f"{ENGINE}, may-parallel: [first, second]") == {None}


# -- isolated systems --------------------------------------------------------------------------------------------------

PUMPS = (
    HEAD
    + """\
sources:
  line: {kind: utility, phases: L1, voltage: 230 V, earthing: IT}
  inv: {kind: inverter, phases: L1, earthing: IT, operation: grid-following, ISOLATEDneutral-bond: none}
direct-current:
  bank: {kind: battery, voltage: 48 V}
boards: {main: {place: outdoor}, ward: {place: medical}, store: {}}
connections:
  service: {from: line, to: main, cores: L1 N}
  on: {from: main, to: ward, cores: L1 N PE}
  more: {from: main, to: store, cores: L1 N PE}
  feed: {from: inv, to: main, cores: L1 N PE}
  lead: {from: bank, to: inv.dc, cores: DC+ DC- PE}
circuits:
  one: {from: ward, cores: L1 N PE}
electrodes: {rod: {at: main}}
monitors: {MONITORS}
"""
)


@pytest.mark.parametrize(
    ("isolated", "monitors", "seen", "second", "doubtful"),
    [
        ("isolated: yes, ", "", (), None, None),
        ("isolated: yes, ", "a: {at: main}", ("a",), None, None),
        ("isolated: yes, ", "a: {at: main}, b: {at: ward}", ("a", "b"), "b", None),
        # beyond an inverter that separates the two sides, not at all, or nobody knows
        ("isolated: yes, ", "a: {at: main}, b: {at: bank}", ("a",), None, None),
        ("isolated: no, ", "a: {at: main}, b: {at: bank}", ("a", "b"), "b", None),
        ("isolated: no, ", "b: {at: bank}", ("b",), None, None),
        ("", "a: {at: main}, b: {at: bank}", ("a",), None, "inv"),
        ("", "a: {at: main}", ("a",), None, None),
    ],
)
def test_the_monitors_that_watch_an_isolated_system(
    isolated: str, monitors: str, seen: tuple[str, ...], second: str | None, doubtful: str | None
) -> None:
    text = PUMPS.replace("ISOLATED", isolated).replace("MONITORS", monitors)
    found = [one for one in facts_of(text).isolated if one.island and value(one.island, "inv") == "inverting"]
    # the inverter follows, and is not what the system hangs on
    assert {one.id for one in found} == {"line"}
    for one in found:
        assert one.monitors == seen == tuple(monitor.id for monitor in one.watching)
        assert (one.second and one.second[0]) == second
        assert (one.doubtful and one.doubtful.id) == doubtful
        assert one.places == {"outdoor", "medical"}
        assert one.voltage_v == 230


def test_a_battery_is_a_side_of_its_own() -> None:
    text = PUMPS.replace("ISOLATED", "isolated: yes, ").replace("MONITORS", "")
    assert {one.id for one in facts_of(text).direct_sides} == {"bank"}
    assert facts_of(numbers()).direct_sides == ()


@pytest.mark.parametrize(
    ("monitors", "expected"),
    [
        ("", set()),
        ("b: {at: bank}", {("bank", ("b",), None)}),
        ("b: {at: bank}, c: {at: inv.dc}", {("bank", ("b", "c"), "c")}),
    ],
)
def test_the_monitors_of_a_battery(monitors: str, expected: set[tuple[str, tuple[str, ...], str | None]]) -> None:
    text = PUMPS.replace("ISOLATED", "isolated: yes, ").replace("MONITORS", monitors)
    found = {
        (one.id, one.monitors, one.second[0] if one.second else None)
        for one in facts_of(text).isolated
        if one.island is None
    }
    assert found == expected


def test_a_system_with_one_earthed_source_is_not_isolated() -> None:
    text = PUMPS.replace("ISOLATED", "isolated: yes, ").replace("MONITORS", "a: {at: main}")
    text = text.replace("voltage: 230 V, earthing: IT", "voltage: 230 V, earthing: TT")
    assert facts_of(text).isolated == ()


# -- what is never live ------------------------------------------------------------------------------------------------

BARS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  inv: {kind: inverter, phases: L1, neutral-bond: fixed}
  idle: {kind: generator, phases: L1, neutral-bond: fixed}
direct-current:
  bank: {kind: battery, voltage: 48 V}
boards:
  main: {}
  dead: {}
  behind: {}
  met: {bars: PE}
  lone: {bars: PE}
  neutral: {}
  earth: {}
  unused: {}
  solar: {}
  inner: {inside: solar}
  mixed: {}
  hut: {}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  off: {from: main, to: dead, cores: L1 N PE, through: [{id: q, kind: isolator, normally: open}]}
  next: {from: dead, to: behind, cores: L1 N PE}
  earth-lead: {from: main, to: met, cores: PE}
  other-lead: {from: main, to: earth, cores: PE}
  stray: {from: main, to: neutral, cores: N PE}
  lead: {from: bank, to: solar, cores: DC+ DC- PE}
  string: {from: solar, to: inv.dc, cores: DC+ DC- PE}
  odd: {from: solar, to: mixed, cores: DC+ DC-}
  out: {from: inv, to: hut, cores: L1 N PE}
  also: {from: hut, to: mixed, cores: L1 N PE}
circuits:
  one: {from: behind, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
  three: {from: main, cores: L2 N PE}
  four: {from: main, cores: L1 N PE, lands-on: {L1: N, N: L1}}
"""
)


def test_places_that_nothing_ever_energises() -> None:
    found = {one.id: (one.ever, one.by, one.crossed) for one in facts_of(BARS).places}
    live, never = (True, "", ""), (False, "", "")
    assert found == {
        "main": live,
        "hut": live,
        # a board of both sides is judged on this one
        "mixed": live,
        "two": live,
        # on its line terminal lands the neutral of a cable whose cores are crossed
        "four": (False, "", "four"),
        "three": never,
        "dead": never,
        # it follows from the board ahead of it
        "behind": (False, "dead", ""),
        "one": (False, "behind", ""),
        # bars on which a neutral lands beside the protective conductor are more than an earth bar
        "neutral": never,
        "unused": never,
    }


def test_sources_that_supply_nothing() -> None:
    assert {one.id: one.ever for one in facts_of(BARS).supplying} == {"grid": True, "inv": True, "idle": False}


# -- readings ----------------------------------------------------------------------------------------------------------

HOUSE_READ = house("TN-S", "N PE").replace("stage: draft", "stage: draft, test-interval: 12 months")


def readings(entries: str, taken: str = "taken: 2024-05-01\n", today: str = "2025-06-01") -> Facts:
    """The facts about a house with readings of it."""
    installation = site_of(HOUSE_READ)
    text = f"onebond-readings: 1\ninstallation: site.yaml\n{taken}readings:\n{entries}"
    read = of_text(text.encode(), "site.readings.yaml", Plant(installation), "site.yaml", today)
    return Facts(installation, "iec", readings=read.readings, refused=refused(read, "site.readings.yaml"), today=today)


FIRST, SECOND_READING = "  - {at: main, L1-N: 230 VDAY}\n", "  - {at: sub, L1-N: 229 VDAY}\n"


@pytest.mark.parametrize(
    ("first", "second", "head", "oldest"),
    [
        ("", "", "2024-05-01", "2024-05-01"),
        # the oldest of what counts, whichever of them is written first
        (", taken: 2023-01-31", "", "2024-05-01", "2023-01-31"),
        ("", ", taken: 2023-01-31", "2024-05-01", "2023-01-31"),
        (", taken: 2024-09-01", ", taken: 2024-08-01", "2024-05-01", "2024-08-01"),
    ],
)
def test_the_oldest_reading_decides_when_the_next_are_due(first: str, second: str, head: str, oldest: str) -> None:
    entries = FIRST.replace("DAY", first) + SECOND_READING.replace("DAY", second)
    (found,) = readings(entries, f"taken: {head}\n").takings
    assert (found.oldest, found.months, found.today, found.refused) == (oldest, 12, "2025-06-01", "")


def test_of_one_thing_that_was_read_twice_the_last_reading_counts() -> None:
    entries = FIRST.replace("DAY", ", taken: 2022-01-01") + FIRST.replace("DAY", ", taken: 2024-09-01")
    (found,) = readings(entries).takings
    assert found.oldest == "2024-09-01"


def test_a_day_that_has_not_come_is_named_with_the_line_that_holds_it() -> None:
    # the head of the file is its third line; the second entry, on line 6, is at no place of the site
    entries = FIRST.replace("DAY", "") + "  - {at: nowhere, L1-N: 229 V}\n"
    facts = readings(entries, "taken: 2062-05-01\n")
    (found,) = facts.takings
    assert {one.id for one in facts.refused_readings} >= {"line 3"} and len(facts.refused_readings) == 2
    assert (found.oldest, found.refused) == ("2062-05-01", "line 3")
    # where the reading that counts has a day of its own, that of the head decides nothing
    (found,) = readings(FIRST.replace("DAY", ", taken: 2024-09-01"), "taken: 2062-05-01\n").takings
    assert (found.oldest, found.refused) == ("2024-09-01", "")


def test_a_day_that_the_calendar_does_not_have_is_no_day() -> None:
    facts = readings(FIRST.replace("DAY", ""), "taken: 2024-02-31\n")
    assert len(facts.refused_readings) == 1
    assert facts.takings == ()


def test_without_readings_nothing_is_measured_missing_or_overdue() -> None:
    facts = Facts(site_of(HOUSE_READ), "iec")
    assert (facts.takings, facts.measured_places, facts.unread, facts.refused_readings) == ((), (), (), ())


def test_readings_of_which_none_counts_compare_with_nothing_and_leave_everything_unread() -> None:
    facts = readings("  - {at: nowhere, L1-N: 229 V}\n")
    assert facts.measured_places == ()
    assert {one.id for one in facts.unread} >= {"main", "sub", "one", "two"}


def test_a_device_at_the_largest_rating_whose_times_are_limited_is_timed() -> None:
    # UL 943: class A is from 4 mA to 6 mA; the bound of the parameter belongs to those that are timed, as its description says
    device = Device("rcd", "x", 0, ("L1", "N"), ("L1", "N"), False, False, (), residual_a=0.0065)
    limits = {"timed-to-a": 0.0065, "general-1-s": (0.0, 5.6)}
    assert trip_times("1 x", device, limits) == (0.0, 5.6)
    assert trip_times("1 x", device._replace(residual_a=0.0066), limits) == (0.0, math.inf)


# -- vehicles ----------------------------------------------------------------------------------------------------------

VAN = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  combi: {kind: inverter, phases: L1, mounted: MOUNTED, mains-input: yes, neutral-through: switched, neutral-bond: none}
  other: {kind: generator, phases: L1, mounted: portable, neutral-bond: none}
boards: {van: {}}
connections:
  lead: {from: grid, to: combi.in, cores: L1 CORES, plug: yes}
  feed: {from: combi.out, to: van, cores: L1 N PE}
circuits:
  fan: {from: van, cores: L1 N PE}
  saw: {from: other, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(("mounted", "building"), [("vehicle", False), ("portable", True)])
def test_a_hook_up_makes_no_building_of_a_vehicle(mounted: str, building: bool) -> None:
    # the fixed supply can feed the same board over the inverter
    text = VAN.replace("MOUNTED", mounted).replace("CORES", "N PE")
    assert fed_by(text, "combi").premises is building
    assert fed_by(text, "combi").vehicle is not building


@pytest.mark.parametrize("mounted", ["vehicle", "portable", "fixed"])
def test_the_frame_of_a_source_on_a_vehicle_and_a_pen_that_leads_to_it(mounted: str) -> None:
    # the lead of a vehicle is no service; that of a site is, up to its first frame
    text = VAN.replace("MOUNTED", mounted).replace("CORES", "PEN")
    found = {one.id: (one.vehicle, one.pen_core) for one in facts_of(text).exposed}
    on = mounted == "vehicle"
    assert found == {
        "combi": (on, "lead" if on else ""),
        "van": (False, ""),
        "fan": (False, ""),
        "other": (False, ""),
        "saw": (False, ""),
    }


# -- what is worked out ------------------------------------------------------------------------------------------------

COPPER = {1.5: 12.1e-3, 2.5: 7.41e-3, 10: 1.83e-3, 16: 1.15e-3}
"""Resistance in ohm per metre at 20 C (IEC 60228, class 2 from memory)."""


def warm_ohm(mm2: float, metres: float) -> float:
    """A core at 70 C (0.004 per kelvin); its reactance does not show beside it."""
    return COPPER[mm2] * metres * 1.2


NUMBERS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: EARTHING, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}MORE}
connections:
  service: {from: grid, to: main, cores: L1 SERVICE, size: 16 mm2, length: 20 m}
  on: {from: main, to: sub, cores: L1 CORES, size: 10 mm2, length: 10 m}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
  two: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
"""
)
SERVICE_OHM, ON_OHM, ONE_OHM = warm_ohm(16, 20), warm_ohm(10, 10), warm_ohm(2.5, 10)
LOOP_OHM = 0.5 + 2 * (SERVICE_OHM + ON_OHM + ONE_OHM)


def numbers(earthing: str = "TN-S", service: str = "N PE", cores: str = "N PE", more: str = "", rest: str = "") -> str:
    text = NUMBERS.replace("EARTHING", earthing).replace("SERVICE", service).replace("CORES", cores)
    return text.replace("MORE", more).replace("circuits:\n", f"{rest}circuits:\n")


def fault_at(text: str, place: str, source: str = "grid") -> EarthFault:
    """The earth fault at a place in the first case that a source feeds alone."""
    return next(
        one
        for one in facts_of(text).earth_faults
        if one.id == place and [feed.id for feed in one.island.feeds] == [source]
    )


RODS = "electrodes: {rod: {at: main, resistance: 1 ohm}}\n"
FAR_RODS = "electrodes: {far: {at: sub, resistance: 10 ohm}, rod: {at: main, resistance: 1 ohm}}\n"


def test_a_rod_beside_the_conductor_of_a_supply_is_not_counted_on() -> None:
    # FORMAT.md, currents: the loop is that of the conductors, with the rod or without
    for rods in ("", RODS):
        assert fault_at(numbers() + rods, "one").loop_ohm == pytest.approx(LOOP_OHM, rel=1e-3)


def test_a_frame_on_a_rod_of_its_own_has_the_soil_as_its_way_back() -> None:
    # half of the loop of the supply lies in the line (FORMAT.md), then 10 ohm, and the mass of earth up to the star point
    text = numbers(cores="N") + FAR_RODS
    expected = 0.25 + SERVICE_OHM + ON_OHM + 2 * ONE_OHM + 10
    assert fault_at(text, "one").loop_ohm == pytest.approx(expected, rel=1e-3)


def test_the_rod_of_a_set_is_the_way_back_for_a_frame_on_another_rod() -> None:
    # 1 ohm at the set and 10 ohm at the frame; what system the set is meant to be changes nothing
    text = (
        numbers(cores="N")
        .replace("grid:", "set:")
        .replace("from: grid", "from: set")
        .replace(
            "kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm",
            "kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, earthing: TN-S, neutral-bond: fixed,"
            " subtransient-reactance: 1 %",
        )
        + FAR_RODS
    )
    with_1_ohm, with_5_ohm = (
        fault_at(text.replace("resistance: 1 ohm", f"resistance: {ohm} ohm"), "one", "set").known.z_ohm
        for ohm in (1, 5)
    )
    assert with_5_ohm - with_1_ohm == pytest.approx(4)


def test_a_rod_of_a_tt_site_is_its_way_back() -> None:
    # TT: 0.5 ohm of the supplier, his electrode included, the line, and the rod of the site
    loop = fault_at(numbers("TT", "N") + RODS, "two").loop_ohm
    assert loop == pytest.approx(0.5 + SERVICE_OHM + 1 + 2 * ONE_OHM, rel=1e-3)
    # linked like a TN site it has the neutral beside the rod, and the rod still lowers its loop
    linked = "bonds: {link: {at: main}}\n"
    with_1_ohm, with_1_kohm = (
        fault_at(numbers("TT", "N") + rod + linked, "two").loop_ohm for rod in (RODS, RODS.replace("1 ohm", "1 kohm"))
    )
    assert with_1_ohm < with_1_kohm < 0.5 + 2 * (SERVICE_OHM + ONE_OHM) + 0.5


@pytest.mark.parametrize(
    ("text", "place", "ohm"),
    [
        # up to the bar for PE at the main board: the conductors behind it
        (
            numbers(
                more=", met: {bars: PE}", rest="  earth: {from: main, to: met, cores: PE, size: 16 mm2, length: 0 m}\n"
            ),
            "one",
            ON_OHM + ONE_OHM,
        ),
        # up to the place of the electrode
        (numbers() + "electrodes: {rod: {at: sub, resistance: 20 ohm}}\n", "one", ONE_OHM),
        # the fault current of `two` does not flow between the boards
        (numbers() + "electrodes: {rod: {at: sub, resistance: 20 ohm}}\n", "two", ONE_OHM),
        # without either up to the place of the reference: the terminals of the supply, or the link
        (numbers(), "one", SERVICE_OHM + ON_OHM + ONE_OHM),
        (numbers("TN-C-S", "PEN") + "bonds: {link: {at: main}}\n", "one", ON_OHM + ONE_OHM),
        # a bar on which nothing lands is no terminal
        (
            numbers(more=", spare: {bars: PE, equipment: class-II}")
            + "electrodes: {rod: {at: main, resistance: 20 ohm}}\n",
            "one",
            ON_OHM + ONE_OHM,
        ),
        # TT: the rod of the site, and nothing of the supplier
        (numbers("TT", "N") + RODS, "one", ON_OHM + ONE_OHM),
        (numbers("TT", "N", "N") + FAR_RODS, "one", ONE_OHM),
    ],
)
def test_the_terminal_up_to_which_a_touch_voltage_counts(text: str, place: str, ohm: float) -> None:
    # what the fault current leaves on the protective conductors between the frame and the main earthing terminal
    fault = fault_at(text, place)
    assert fault.touch_met_v() == pytest.approx(fault.current_a() * ohm, rel=0.01)


def test_a_frame_on_a_rod_of_its_own_is_touched_together_with_the_terminal_of_the_site() -> None:
    # in a TN site there is one main earthing terminal, and the fault current has 10 ohm to the soil between the two
    fault = fault_at(numbers(cores="N") + FAR_RODS, "one")
    assert fault.touch_met_v() == pytest.approx(fault.current_a() * (10 + ONE_OHM), rel=0.01)


def test_without_a_reference_no_terminal_takes_anything_off_a_finding() -> None:
    # a link through an impedance lets a current flow, and is no reference: the exception of 411.3.2.5 is for systems that have one
    def touched(link: str) -> float | None:
        text = numbers().replace(
            "kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm",
            "kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none",
        )
        return fault_at(f"{text}{RODS}bonds: {{link: {{at: main{link}}}}}\n", "one").touch_met_v()

    assert touched("") is not None
    assert touched(", impedance: 10 ohm") is None


UNPLUGGED = numbers(cores="N", rest="  lead: {from: main, to: sub, cores: PE, size: 10 mm2, length: 10 m, plug: yes}\n")


def test_a_protective_conductor_with_a_plug_of_its_own() -> None:
    facts = facts_of(UNPLUGGED)
    assert {(value(one.island, "lead"), one.way) for one in facts.exposed if one.id == "one"} == {
        ("mated", "reference"),
        ("unmated", ""),
    }
    # the two cases differ by no live conductor, and are two circuits
    loops = {value(one.island, "lead"): one for one in facts.earth_faults if one.id == "one"}
    assert loops["mated"].loop_ohm == pytest.approx(LOOP_OHM, rel=1e-3)
    assert loops["unmated"].no_way_back


# -- the limit of work -------------------------------------------------------------------------------------------------

TWO_SITES = (
    HEAD
    + """\
sources:
  a: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 10 %, neutral-bond: fixed}
  b: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 10 %, neutral-bond: fixed}
boards: {left: {}, right: {}}
connections:
  to-left: {from: a, to: left, cores: L1 N PE, size: 16 mm2, length: 20 m}
  to-right: {from: b, to: right, cores: L1 N PE, size: 16 mm2, length: 20 m}
circuits:
  one: {from: left, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
  two: {from: right, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 5 A}
bonds: {first: {at: left}, second: {at: right}}
"""
)


@pytest.mark.parametrize(
    ("nodes", "worked_out"),
    [
        # six live conductors in each island (three places, L1 and N), and four protective ones in the site
        (5, set()),
        (9, set()),
        (10, {"a"}),
        (19, {"a"}),
        (20, {"a", "b"}),
    ],
)
def test_past_the_limit_of_work_numbers_are_open_and_nothing_is_left_out(
    nodes: int, worked_out: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(onebond.facts, "NODES", nodes)
    facts = facts_of(TWO_SITES)
    assert {island.feeds[0].id for _, islands in facts.wired for island in islands} == worked_out
    # every fault is there, and says whether it is known
    known = {one.id: one.missing is None for one in facts.earth_faults if one.id not in ("a", "b")}
    assert known == {
        "left": "a" in worked_out,
        "one": "a" in worked_out,
        "right": "b" in worked_out,
        "two": "b" in worked_out,
    }
    sharing = {one.id: one.sharing is not None for one in facts.references if one.kept}
    assert sharing == {"first": "a" in worked_out, "second": "b" in worked_out}


def test_a_report_says_that_currents_past_the_limit_were_not_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    # checks of short-circuit currents, of normal service and of failures have nothing then that could be open
    def told() -> list[str]:
        installation = site_of(TWO_SITES)
        document = parse(TWO_SITES.encode(), "site.yaml").document
        assert document is not None
        site = inspect(installation, document, RULES, today="2026-01-01")
        return [line.partition(":")[0] for line in site.not_proven if "not worked out" in line]

    assert told() == []
    monkeypatch.setattr(onebond.facts, "NODES", 10)
    assert told() == ["b"]
    monkeypatch.setattr(onebond.facts, "NODES", 1)
    assert told() == ["a", "b"]


def test_cases_that_are_wired_alike_count_once_for_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    # the inverter off and inverting for itself leave the supply's circuit as it is
    text = BORROWED.replace("MORE", ", neutral-bond: none")
    facts = facts_of(text)
    alike = [islands for _, islands in facts.wired if islands[0].fed_by("grid") and len(islands) > 1]
    assert [{value(one, "hybrid") for one in islands} for islands in alike] == [{"off", "inverting"}]
    per = {id(islands[0]): islands[0].live.bit_count() + len(facts.network.earth) for _, islands in facts.wired}
    monkeypatch.setattr(onebond.facts, "NODES", sum(per.values()))
    assert sum(len(islands) for _, islands in facts_of(text).wired) == len(facts.islands)


# -- normal service ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edits", "source", "lone"),
    [((), "set", True), ((IN_BARN,), "set", False), ((("mounted: portable", "mounted: fixed"),), "set", False)],
)
def test_what_a_portable_set_feeds_is_said_where_somebody_may_touch_it(
    edits: tuple[tuple[str, str], ...], source: str, lone: bool
) -> None:
    facts = facts_of(edited(SET, *edits))
    assert {one.lone for one in facts.shocks} == {lone}
    assert {one.id for one in facts.shocks} == {"box", "saw"}
    assert {one.lone for one in facts.earth_faults} == {False}
    assert {one.portable for one in facts.rcds_on_ways} == set()


def test_two_sources_of_which_one_is_portable() -> None:
    # each island has its own answer
    text = edited(SET, GRID, ("connections:\n", "connections:\n  service: {from: grid, to: other, cores: L1 N PE}\n"))
    text = edited(text, ("circuits:\n", "circuits:\n  lamp: {from: other, cores: L1 N PE}\n"))
    assert {one.id: one.lone for one in facts_of(text).shocks} == {
        "other": False,
        "lamp": False,
        "box": True,
        "saw": True,
    }


GUARDED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none}
boards: {main: {}, sub: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 10 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{ID, kind: rcd, residual: 300 mASENSES}]}
  set-feed: {from: set, to: out, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 1 A, leakage: 1 mA}
  two: {from: out, cores: L1 N PE, size: 2.5 mm2, length: 10 m, through: [{kind: rcbo, residual: 30 mA}]}
bonds: {BONDS}
"""
)


def in_service(text: str) -> dict[tuple[str, str], set[tuple[str, bool, tuple[str, str] | None]]]:
    """For each device and source what diverts current past it, whether it lies behind it, and the cause."""
    found: dict[tuple[str, str], set[tuple[str, bool, tuple[str, str] | None]]] = {}
    for one in facts_of(text).rcds_in_service:
        key = one.id, one.island.feeds[0].id
        found.setdefault(key, set()).add((one.diverts, one.behind, one.cause))
    return found


@pytest.mark.parametrize(
    ("name", "senses", "bonds", "expected"),
    [
        ("id: r", "", "", ("", False, None)),
        # a link behind it leads current past it; one elsewhere lets the supply's neutral share its current
        ("id: r", "", "link: {at: sub}", ("link", True, None)),
        ("", "", "link: {at: sub}", ("link", True, None)),
        ("id: r", "", "link: {at: main}", ("link", False, None)),
        ("id: r", "", "other: {at: main}, link: {at: sub}", ("link", True, None)),
        # the only link of another island
        ("id: r", "", "link: {at: out}", ("", False, None)),
        # it does not sum what passes it
        ("id: r", ", senses: L1", "", ("", False, ("device-does-not-fit", "r"))),
        ("", ", senses: L1", "", ("", False, ("device-does-not-fit", "on"))),
    ],
)
def test_what_leads_current_past_a_device(
    name: str, senses: str, bonds: str, expected: tuple[str, bool, tuple[str, str] | None]
) -> None:
    text = GUARDED.replace("ID, ", f"{name}, " if name else "").replace("SENSES", senses).replace("BONDS", bonds)
    found = in_service(text)
    # each device has the current of its own island, and none while it is open
    assert found == {("r" if name else "on", "grid"): {expected}, ("two", "set"): {("", False, None)}}


def test_an_open_device_carries_nothing() -> None:
    text = GUARDED.replace("ID", "id: r").replace("SENSES", ", operable: yes").replace("BONDS", "link: {at: sub}")
    facts = facts_of(text)
    assert any(value(island, "r") == "open" for island in facts.islands if island.fed_by("grid"))
    assert {value(one.island, "r") for one in facts.rcds_in_service if one.id == "r"} == {"closed"}


def test_the_high_leg_is_no_fault_of_the_device_in_its_circuit() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-S, loop-impedance: 0.1 ohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 50 mm2, length: 1 m}
circuits:
  odd: {from: main, cores: L2 N PE, size: 10 mm2, length: 1 m, load: 1 A, through: [{kind: rcbo, residual: 30 mA}]}
"""
    )
    assert in_service(text) == {("odd", "grid"): {("", False, None)}}


def test_a_borrowed_neutral_is_the_cause_at_both_devices() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, a: {}, b: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 10 m}
  to-a: {from: main, to: a, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{id: ra, kind: rcd, residual: 30 mA}]}
  to-b: {from: main, to: b, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{id: rb, kind: rcd, residual: 30 mA}]}
  stray: {from: b, to: one, cores: N, size: 2.5 mm2, length: 10 m}
circuits:
  one: {from: a, cores: L1 PE, size: 2.5 mm2, length: 10 m, load: 1 A}
  two: {from: b, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 1 A}
"""
    )
    cause = ("neutral-borrowed", "one")
    assert in_service(text) == {("ra", "grid"): {("", False, cause)}, ("rb", "grid"): {("", False, cause)}}


def pe_currents(text: str) -> set[tuple[str, str]]:
    """The protective conductor with the most current, and the reference that drives it."""
    return {(one.id, one.surplus) for one in facts_of(text).pe_currents}


LOADS = numbers().replace("length: 10 m}\n  two", "length: 10 m, load: 20 A}\n  two").replace("  two", "#  two")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # a link at the far board: the neutral current of its load returns by the protective conductor up to it
        (LOADS + "bonds: {link: {at: sub}}\n", {("service", "link")}),
        # of two the one at an end of the cable, whichever is written first
        (LOADS + "bonds: {link: {at: sub}, near: {at: main}}\n", {("service", "near")}),
        (LOADS + "bonds: {near: {at: main}, link: {at: sub}}\n", {("service", "near")}),
        # a thin neutral between the two boards makes the protective conductor between them the busiest one
        (
            edited(LOADS, ("cores: L1 N PE, size: 10 mm2", "cores: L1 N PE, size: 10 mm2, n-size: 1.5 mm2"))
            + "bonds: {near: {at: main}, link: {at: sub}}\n",
            {("on", "near")},
        ),
        # no link is one too many
        (LOADS, {("service", "")}),
        # no protective conductor at all
        (LOADS.replace("N PE", "N"), set()),
    ],
)
def test_the_protective_conductor_with_the_most_current(text: str, expected: set[tuple[str, str]]) -> None:
    assert pe_currents(text) == expected


def test_a_reference_that_is_kept_drives_no_current_by_itself() -> None:
    # a set with two links: the one that is written first is kept
    text = LOADS.replace(
        "kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm",
        "kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 10 %, neutral-bond: none",
    )
    assert pe_currents(text + "bonds: {near: {at: main}, link: {at: sub}}\n") == {("on", "link")}
    assert {one for _, one in pe_currents(text + "bonds: {near: {at: main}}\n")} == {""}


def test_the_drop_of_a_circuit_of_which_one_line_is_dead() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1 L2, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L2 N PE, size: 16 mm2, length: 10 m}
circuits:
  one: {from: main, cores: L1 L2 N PE, size: 2.5 mm2, length: 10 m, load: 5 A}
"""
    )
    assert [one.id for one in facts_of(text).drops] == ["one"]


def test_what_does_not_last_is_not_judged_as_normal_service() -> None:
    # a changeover that overlaps stands between its positions for a moment
    text = edited(
        JOINED.replace("POLES", "L1 N").replace("MORE", ""), ("poles: L1 N}", "poles: L1 N, transition: closed}")
    )
    facts = facts_of(text)
    assert any(island.changing_over for island in facts.islands)
    for found in (facts.drops, facts.pe_currents, facts.rcds_in_service):
        assert not [one for one in found if one.island.changing_over]
    assert {value(one.island, "co") for one in facts.drops} == {"mains", "own"}


# -- protective conductors by what they are for ------------------------------------------------------------------------

KINDS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}, met: {bars: PE}}
connections:
  service: {from: grid, to: main, cores: L1 PEN, size: 16 mm2, length: 10 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m}
  earth: {from: main, to: met, cores: PE, size: 16 mm2, length: 1 m}
  pipe-bond: {from: met, to: pipe, cores: PE, size: 10 mm2, length: 1 m}
  frame-bond: {from: sub, to: pipe, cores: PE, size: 4 mm2, length: 1 m}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
bonds: {link: {at: main}, weak: {at: sub, impedance: 10 ohm}BOND}
electrodes: {rod: {at: met, resistance: 20 ohm, conductor: 16 mm2}}
extraneous: {pipe: {kind: water}}
"""
)


def test_every_protective_conductor_is_judged_as_what_it_is() -> None:
    facts = facts_of(KINDS.replace("BOND", ""))
    assert {one.id for one in facts.pe_conductors} == {"on", "one"}
    assert {one.id for one in facts.pen_conductors} == {"service"}
    assert {one.id for one in facts.solid_bonds} == {"link"}
    assert {one.id for one in facts.earthing_conductors} == {"earth", "rod"}
    assert {one.id for one in facts.bonding_conductors} == {"pipe-bond", "frame-bond"}


def test_a_link_that_is_too_many_everywhere_carries_no_fault_current_for_certain() -> None:
    found = {one.id: one.too_many for one in facts_of(KINDS.replace("BOND", ", extra: {at: sub}")).solid_bonds}
    assert found == {"link": False, "extra": True}


@pytest.mark.parametrize(
    ("text", "rests"),
    [
        # TT: every frame rests on the rod
        (numbers("TT", "N") + RODS, {"rod": "main"}),
        # TN: none does; nor in a system that is isolated from earth
        (numbers() + RODS, {"rod": ""}),
        (numbers("IT", "N").replace(", loop-impedance: 0.5 ohm", "") + RODS, {"rod": ""}),
        (numbers(cores="N") + FAR_RODS, {"far": "sub", "rod": ""}),
    ],
)
def test_the_frames_that_rest_on_an_electrode(text: str, rests: dict[str, str]) -> None:
    assert {one.id: one.rests for one in facts_of(text).earth_electrodes} == rests


def test_the_device_that_guards_what_rests_on_an_electrode() -> None:
    text = edited(
        numbers("TT", "N") + RODS,
        (
            "on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m",
            "on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{id: r, kind: rcd, residual: 300 mA}]",
        ),
    )
    (rod,) = facts_of(text).earth_electrodes
    assert rod.guard is not None and rod.guard[0] == 0.3 and rod.guard[1].id == "r"


# -- floating neutrals -------------------------------------------------------------------------------------------------

FLOATING = (
    HEAD
    + """\
sources:
  a: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none}
  b: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: BOND}
boards: {left: {}, right: {}}
connections:
  to-left: {from: a, to: left, cores: L1 N PE, size: 16 mm2, length: 20 m}
  to-right: {from: b, to: right, cores: L1 N PE, size: 16 mm2, length: 20 m}
circuits:
  one: {from: left, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 3 mA}
  two: {from: right, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
"""
)


def test_what_meters_read_is_that_of_the_island_itself() -> None:
    found = {
        one.id: {reading.id for reading in one.readings()}
        for one in facts_of(FLOATING.replace("BOND", "none")).feedings
    }
    assert found == {"a": {"left", "one"}, "b": {"right", "two"}}
    # a neutral that is tied to earth does not float
    facts = facts_of(FLOATING.replace("BOND", "fixed"))
    assert {one.id for one in facts.floating} == {"left", "one"}
    assert {one.id: len(one.readings()) for one in facts.feedings} == {"a": 2, "b": 0}


def test_what_flows_through_a_person_goes_with_the_frequency() -> None:
    """From a line to PE of a floating system: the capacitances let through a current in proportion to it; 50 Hz where none is written."""

    def most_a(more: str) -> float:
        text = (
            FLOATING.replace("BOND", "fixed")
            .replace(", leakage: 3 mA", "")
            .replace("rulebook: iec", f"rulebook: iec{more}")
        )
        return max(one.touch_a.high for one in facts_of(text).floating if one.touch_a)

    assert most_a("") == pytest.approx(most_a(", frequency: 50 Hz"), rel=1e-9)
    assert most_a(", frequency: 60 Hz") / most_a("") == pytest.approx(1.2, rel=0.01)


def test_what_follows_another_source_has_no_neutral_to_answer_for() -> None:
    found = {one.id for one in facts_of(together(ENGINE, "inverter, phases: L1, operation: grid-following")).feedings}
    assert found == {"first"}


UNSPLIT = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, barn: {}, shed: {}}
connections:
  service: {from: grid, to: main, cores: L1 PEN}
  set-feed: {from: set, to: main, cores: L1 N PE}
  to-barn: {from: main, to: barn, cores: L1 N PE}
  to-shed: {from: barn, to: shed, cores: L1 PEN}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: shed, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(("bonds", "unsplit"), [("", {"main"}), ("bonds: {link: {at: main}}\n", {""})])
def test_the_board_at_which_a_pen_from_a_source_is_not_split(bonds: str, unsplit: set[str]) -> None:
    # the PEN of the shed begins at a board that N and PE lead to: its missing link leaves no source without a reference
    found = facts_of(UNSPLIT + bonds).feedings
    assert {one.unsplit for one in found if value(one.island, "grid") != "detached"} == unsplit


def test_the_link_at_the_split_stays_in_the_cases_without_the_supply_too() -> None:
    # the other one is written first, and holds only while the supply is detached
    bonds = "bonds: {other: {at: barn, closed: {grid: detached}}, link: {at: main}}\n"
    assert kept(UNSPLIT.replace("cores: L1 PEN}\ncircuits", "cores: L1 N PE}\ncircuits") + bonds) == {"other": {"link"}}


def test_pens_land_in_the_cases_in_which_their_boards_are_live() -> None:
    text = UNSPLIT.replace("from: set, to: main", "from: set, to: apart").replace("shed: {}", "shed: {}, apart: {}")
    found = {(one.id, one.island.feeds[0].id) for one in facts_of(text).pen_landings}
    assert found == {("main", "grid"), ("shed", "grid")}
    assert {one.island.feeds[0].id for one in facts_of(text).feedings} == {"grid", "set"}


# -- what an open device explains --------------------------------------------------------------------------------------


def test_an_island_that_keeps_a_reference_has_lost_nothing_with_the_open_device() -> None:
    text = edited(behind("id: r", "out"), ("bonds: {link: {at: out}}", "bonds: {near: {at: main}, link: {at: out}}"))
    found = {(value(one.island, "r"), one.opened) for one in facts_of(text).feedings}
    assert found == {("closed", ""), ("open", "")}


def test_a_set_elsewhere_floats_for_a_reason_of_its_own() -> None:
    text = edited(
        behind("id: r", "out"),
        ("sources:\n", "sources:\n  spare: {kind: generator, phases: L1, neutral-bond: none}\n"),
        ("out: {}", "out: {}, far: {}"),
        ("circuits:\n", "  spare-feed: {from: spare, to: far, cores: L1 N PE}\ncircuits:\n"),
    )
    found = {(one.id, value(one.island, "r"), one.opened) for one in facts_of(text).feedings}
    assert found == {("set", "closed", ""), ("set", "open", "link"), ("spare", "", "")}


def test_a_device_that_opens_no_neutral_never_parts_a_link_from_it() -> None:
    text = edited(behind("id: r", "out"), ("kind: rcd,", "kind: rcd, poles: L1, senses: L1 N,"))
    facts = facts_of(text)
    assert {(one.id, one.opened) for one in facts.feedings} == {("set", "")}
    assert [one.rcds for one in facts.references] == [("r",)]


def test_a_link_that_is_needed_elsewhere_stays_before_one_that_is_not() -> None:
    # the board has no other link while the third set feeds it; beside the supply a relay has to open it
    text = edited(
        LENT,
        ("sources:\n", "sources:\n  third: {kind: generator, phases: L1, neutral-bond: none}\n"),
        ("positions: [mains, own]", "positions: [mains, own, spare]"),
        ("circuits:\n", "  third-feed: {from: third, to: co.spare, cores: L1 N PE}\ncircuits:\n"),
        ("bonds: {first: {at: out}, second: {at: set}}", "bonds: {second: {at: set}, first: {at: out}}"),
    )
    assert kept(text) == {"first": {"grid"}, "second": {"first"}}
    # the one is held by a relay, the other is taken out
    assert {one.id: one.needed for one in facts_of(text).references if one.kept} == {"first": True, "second": False}


def test_of_two_links_that_are_each_needed_elsewhere_the_first_stays() -> None:
    # neither can be taken out, also the one that a relay has to open beside the supply
    text = edited(
        LENT,
        ("sources:\n", "sources:\n  third: {kind: generator, phases: L1, neutral-bond: none}\n"),
        ("positions: [mains, own]", "positions: [mains, own, spare]"),
        ("circuits:\n", "  third-feed: {from: third, to: co.spare, cores: L1 N PE}\ncircuits:\n"),
        (
            "  one: {from: out, cores: L1 N PE}\n",
            "  one: {from: out, cores: L1 N PE}\n  two: {from: set, cores: L1 N PE}\n",
        ),
    )
    assert kept(text) == {"first": {"grid"}, "second": {"first"}}


# -- inverters that are fed behind a device ----------------------------------------------------------------------------

FED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: INNER, neutral-through: switched}
boards: {main: {}, group: {}, out: {}, other: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-group: {from: main, to: group, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  to-other: {from: main, to: other, cores: L1 N PE, through: [{id: q, kind: rcd, residual: 30 mA}]}
  input: {from: group, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: group, cores: L1 N PE}
  three: {from: other, cores: L1 N PE}
  four: {from: main, cores: L1 N PE}
bonds: {BONDS}
"""
)


def fed_behind(inner: str, bonds: str, *edits: tuple[str, str]) -> set[tuple[str, str, str]]:
    """Ties behind a device: the tie, the device, and the inverter that brings it there."""
    text = edited(FED.replace("INNER", inner).replace("BONDS", bonds), *edits)
    return {(one.id, name, one.fed_behind) for one in facts_of(text).references for name, _, _ in one.behind}


@pytest.mark.parametrize(
    ("inner", "bonds", "expected"),
    [
        # the inner bond comes behind the device by the input alone
        ("fixed", "", {("hybrid", "r", "hybrid")}),
        ("none", "link: {at: out}", {("link", "r", "hybrid")}),
        # a link at the board of the input is there without the inverter
        ("none", "link: {at: group}", {("link", "r", "")}),
        # so is one behind another device
        ("none", "link: {at: other}", {("link", "q", "")}),
        ("none", "link: {at: main}", set()),
    ],
)
def test_the_inverter_that_brings_a_link_behind_a_device(
    inner: str, bonds: str, expected: set[tuple[str, str, str]]
) -> None:
    assert fed_behind(inner, bonds) == expected


def test_an_input_behind_a_device_that_finds_no_fault_with_it_is_no_cause() -> None:
    # 300 mA guard no final circuits: the input may lie there (inverter-fed-behind-rcd), and the link is a fault of its own
    text = FED.replace("{id: r, kind: rcd, residual: 30 mA}", "{id: r, kind: rcd, residual: 300 mA}")
    found = facts_of(text.replace("INNER", "fixed").replace("BONDS", "")).references
    assert {(one.id, name, one.fed_behind) for one in found for name, _, _ in one.behind} == {("hybrid", "r", "")}


def test_a_device_at_the_output_is_none_that_the_input_lies_behind() -> None:
    text = edited(
        FED.replace("INNER", "none").replace("BONDS", "link: {at: out}"),
        ("input: {from: group,", "input: {from: main,"),
        ("to: out, cores: L1 N PE}", "to: out, cores: L1 N PE, through: [{id: o, kind: rcd, residual: 30 mA}]}"),
    )
    found = facts_of(text).references
    assert {(name, one.fed_behind) for one in found for name, _, by in one.behind if by == "grid"} == {("o", "")}


# -- smaller things ----------------------------------------------------------------------------------------------------


def test_a_bond_that_holds_beside_another_reference_is_no_matter_of_its_delays() -> None:
    # with the neutral solid through the inverter the supply's star point is there all the time: a double bond, and not for a moment
    text = edited(
        RELAY.replace("KIND", TN_GRID).replace("INNER", "none"), ("neutral-through: switched", "neutral-through: solid")
    )
    found = {
        (value(one.island, "hybrid"), value(one.island, "grid"), one.alone, one.beside.id if one.beside else "")
        for one in facts_of(text.replace("BONDS", WAITS)).relays
    }
    assert found == {
        ("passing", "present", False, "grid"),
        ("off", "present", False, "grid"),
        # the supply detached, the relay is alone at last
        ("inverting", "detached", True, ""),
    }


def test_a_monitor_that_one_inverter_joins_for_certain_is_in_no_doubt_by_another() -> None:
    second = "  twin: {kind: inverter, phases: L1, earthing: IT, operation: grid-following, neutral-bond: none}\n"
    text = edited(
        PUMPS.replace("ISOLATED", "isolated: no, ").replace("MONITORS", "b: {at: bank}"),
        ("direct-current:\n", f"{second}direct-current:\n"),
        (
            "circuits:\n",
            "  twin-feed: {from: twin, to: main, cores: L1 N PE}\n"
            "  twin-lead: {from: bank, to: twin.dc, cores: DC+ DC- PE}\ncircuits:\n",
        ),
    )
    found = {
        (one.monitors, one.doubtful.id if one.doubtful else "")
        for one in facts_of(text).isolated
        if one.island and value(one.island, "inv") == value(one.island, "twin") == "inverting"
    }
    assert found == {(("b",), "")}


def test_the_link_of_a_pen_is_not_missing_where_the_neutral_is_not_led_on() -> None:
    # the set feeds a line alone: its frames hang on nothing, and the closed link beside them is not the reason
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}}
changeovers:
  co: {positions: [mains, own], poles: L1}
connections:
  service: {from: grid, to: co.mains, cores: L1}
  neutral: {from: grid, to: main, cores: PEN, lands-on: {PEN: PE}}
  set-feed: {from: set, to: co.own, cores: L1}
  feed: {from: co, to: main, cores: L1 PE}
circuits:
  one: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
"""
    )
    found = ways(text, "set")
    assert {split for _, _, split in found.values()} == {""}
    assert {way for name, (way, _, _) in found.items() if name in ("main", "one")} == {""}


def test_two_sources_at_the_output_of_an_inverter_do_not_feed_its_input() -> None:
    text = edited(
        OWN.replace("OPERATION", "both").replace("SHORT", "spare-feed: {from: spare, to: out, cores: L1 N PE}"),
        ("boards:", "  spare: {kind: generator, phases: L1, neutral-bond: none}\nboards:"),
    )
    found = {
        (one.id, one.other, one.feeds_itself)
        for one in facts_of(text).pairs
        if value(one.island, "hybrid") == "inverting"
    }
    assert found == {("spare", "hybrid", "")}


def test_the_source_that_comes_back_to_a_dead_one_is_pointed_at() -> None:
    found = {(one.id, one.by, one.by_route) for one in facts_of(together(ENGINE, ENGINE)).dead}
    assert found == {("first", "second", ("sources", "second")), ("second", "first", ("sources", "first"))}


def test_a_device_that_fits_explains_no_dead_circuit() -> None:
    text = edited(
        BARS,
        (
            "three: {from: main, cores: L2 N PE",
            "three: {from: main, cores: L2 N PE, through: [{kind: rcbo, residual: 30 mA}]",
        ),
    )
    assert {one.id: one.crossed for one in facts_of(text).places}["three"] == ""


def test_what_was_read_is_compared_place_by_place() -> None:
    entries = FIRST.replace("DAY", "") + SECOND_READING.replace("DAY", "")
    assert {one.id: len(one.compared) for one in readings(entries).measured_places} == {"main": 1, "sub": 1}


def test_a_single_circuit_behind_its_device() -> None:
    text = edited(SET, ("serves: socket-outlets", "serves: socket-outlets, through: [{kind: rcbo, residual: 30 mA}]"))
    assert fed_by(text, "set").circuits_behind(0.03) is True
