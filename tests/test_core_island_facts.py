"""What is said of sources, frames, references and readings in each case: small sites worked by hand."""

from __future__ import annotations

import pytest

from described import edited, facts_of
from onebond.facts import Exposed, Facts, Feeding
from onebond.facts.island import Island

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
    ("lead: {from: set, to: box, cores: L1 N PE, plug: yes}", "lead: {from: set, to: co.own, cores: L1 N PE}\n  SECOND"),
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
    text = OUTLETS.replace("RCD", "").replace("kind: utility, phases: L1, earthing: TN-S", "kind: generator, phases: L1")
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
    alone = alone.replace("  input: {from: main, to: hybrid, cores: L1 N PE}\n", "").replace(", neutral-through: switched", "")
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
    assert {name: found[name].pen_core for name in ("barn", "pump", "lamp")} == {"barn": "to-barn", "pump": "", "lamp": ""}
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
def test_a_frame_that_the_pen_of_a_supply_earths(
    cores: str, edits: tuple[tuple[str, str], ...], supplier: str
) -> None:
    assert frames(edited(farm(cores=cores), *edits))["barn"].supplier_pen == supplier
