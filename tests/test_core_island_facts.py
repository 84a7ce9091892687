"""What is said of sources, frames, references and readings in each case: small sites worked by hand."""

from __future__ import annotations

import math

import pytest

from described import edited, facts_of, site_of
from onebond.facts import Crossing, Exposed, Facts, Feeding
from onebond.facts.island import Island
from onebond.facts.taken import trip_times
from onebond.meter.plant import Plant
from onebond.model import Device
from onebond.readings import of_text, refused

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
BOX_BY_CHANGEOVER = (
    ("connections:\n", "changeovers:\n  co: {positions: [own, second], poles: L1 N}\nconnections:\n"),
    (
        "lead: {from: set, to: box, cores: L1 N PE, plug: yes}",
        "lead: {from: set, to: co.own, cores: L1 N PE}\n  SECOND",
    ),
)


def changed_over(source: str) -> tuple[tuple[str, str], ...]:
    lead = f"feed: {{from: co, to: box, cores: L1 N PE}}\n  second: {{from: {source}, to: co.second, cores: L1 N PE}}"
    first, (old, new) = BOX_BY_CHANGEOVER
    return first, (old, new.replace("SECOND", lead))


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
).replace("  set:", "  grid: {kind: utility, phases: L1, earthing: TN-S}\n  set:")


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
ROUND = "\n  round: {from: SIDE, to: main, cores: N}"


@pytest.mark.parametrize(
    ("poles", "more", "joins", "beside", "caused"),
    [
        # the solid neutral alone joins the star point of the supply and the frame of the set
        ("L1", "", {("grid", "set")}, {""}, True),
        ("L1 N", "", set(), set(), None),
        # a cable does it without the changeover
        ("L1 N", ROUND.replace("SIDE", "set"), set(), set(), False),
        ("L1", ROUND.replace("SIDE", "set"), set(), set(), False),
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


ALL_BY = {"main": "main", "sub": "sub", "one": "one", "two": "two"}


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
            dict.fromkeys(ALL_BY, ("frames",)),
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
