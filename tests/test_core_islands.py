"""Where sources come in, what a break takes off earth, what RCDs and links carry: small sites worked by hand."""

from __future__ import annotations

import pytest

from described import edited, facts_of
from onebond import testing
from onebond.facts import Drop, Lost, Peak, RcdInService, Surplus
from onebond.facts.island import Island
from onebond.facts.unknown import Unknown
from onebond_rules import RULES

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"


def value(island: Island, name: str) -> str:
    """The value of a variable in a case, by name."""
    return island.value(next(i for i, one in enumerate(island.network.variables) if one.name == name))


def rcd(identifier: str, more: str = "") -> str:
    return f", through: [{{id: {identifier}, kind: rcd, residual: 30 mA{more}}}]"


# -- the mains input of an inverter behind a residual current device ---------------------------------------------------

BYPASS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: while-inverting, neutral-through: switched}
boards: {main: {}, group: {}, out: {}}
changeovers:
  bypass: {positions: [own, mains], poles: POLES}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-group: {from: main, to: group, cores: L1 N PE, through: [{id: r, kind: rcd, residual: AMPERE}]}
  input: {from: group, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: bypass.own, cores: L1 N PE}
  round: {from: main, to: bypass.mains, cores: L1 N PE}
  feed: {from: bypass, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("poles", "ampere", "trouble"),
    [
        # by the bypass the supply feeds the same loads round the device: it guards them in one position only
        ("L1 N", "30 mA", "loads"),
        # 300 mA give no additional protection to circuits (IEC 60364-4-41, 415.1: up to 30 mA)
        ("L1 N", "300 mA", ""),
        # the unswitched neutral of the bypass leads the current of the loads back round the device, at once
        ("L1", "30 mA", "return"),
        ("L1", "300 mA", "return"),
    ],
)
def test_an_input_behind_a_device_and_a_bypass_round_it(poles: str, ampere: str, trouble: str) -> None:
    (found,) = facts_of(BYPASS.replace("POLES", poles).replace("AMPERE", ampere)).inputs_behind_rcd
    assert (found.id, found.rcd, found.trouble) == ("hybrid", "r", trouble)
    if trouble:
        assert value(found.island, "hybrid") == "passing"


@pytest.mark.parametrize(("senses", "misfit"), [("", ""), (", senses: L1 N", ""), (", senses: L1", "r")])
def test_a_device_that_sums_all_that_passes_it_fits(senses: str, misfit: str) -> None:
    text = BYPASS.replace("POLES", "L1").replace("AMPERE", f"30 mA{senses}")
    (found,) = facts_of(text).inputs_behind_rcd
    assert (found.trouble, found.misfit) == ("return", misfit)


PICKED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: while-inverting, neutral-through: switched}
boards: {main: {}, group: {}, out: {}}
changeovers:
  pick: {positions: [behind, direct], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-group: {from: main, to: group, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  behind: {from: group, to: pick.behind, cores: L1 N PE}
  direct: {from: main, to: pick.direct, cores: L1 N PE}
  input: {from: pick, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


def test_loads_that_only_the_inverter_feeds_are_not_fed_round_it() -> None:
    # in either position they hang on the inverter alone, and it on one way: nothing is guarded now and then
    assert [one.trouble for one in facts_of(PICKED).inputs_behind_rcd] == [""]


@pytest.mark.parametrize(
    ("more", "trouble"),
    [
        # all circuits of the supply lie behind it: it is the device of the whole site
        ("  two: {from: group, cores: L1 N PE}\n", ""),
        ("  two: {from: group, cores: L1 N PE}\n  three: {from: main, cores: L1 N PE}\n", "final"),
        # it guards the input alone
        ("  three: {from: main, cores: L1 N PE}\n", ""),
    ],
)
def test_a_device_of_a_final_board_has_circuits_on_both_sides(more: str, trouble: str) -> None:
    assert [one.trouble for one in facts_of(PICKED + more).inputs_behind_rcd] == [trouble]


# -- sources behind a residual current device --------------------------------------------------------------------------

BEHIND = (
    HEAD
    + """\
sources:
  first: {kind: generator, phases: L1, neutral-bond: none, may-parallel: [second]}
  second: {kind: generator, phases: L1, neutral-bond: none, may-parallel: [first]}
boards: {main: {}, out: {}}
connections:
  on: {from: main, to: out, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  first-feed: {from: first, to: out, cores: L1 N PE}
  second-feed: {from: second, to: AT, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  two: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
"""
)


def test_an_infeed_behind_a_device_matters_where_another_source_feeds_its_other_side() -> None:
    # both on the load side: opened, the device makes everything on its other side dead
    assert {(one.id, one.by) for one in facts_of(BEHIND.replace("AT", "out")).infeeds} == {
        ("first", ""),
        ("second", ""),
    }
    found = {(one.id, one.by, one.through, one.other) for one in facts_of(BEHIND.replace("AT", "main")).infeeds}
    assert found == {("first", "rcd", "r", "second"), ("second", "", "", "")}


# -- two infeeds from one supply ---------------------------------------------------------------------------------------

INFEEDS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}, out: {}}
changeovers:
  co: {positions: [a, b], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PEON}
  to-a: {from: sub, to: co.a, cores: L1 N PEA}
  to-b: {from: main, to: co.b, cores: L1 N PEB}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


def between(text: str) -> dict[tuple[str, str, str], list[str]]:
    """What lies on the way to one of two infeeds only, by place and infeeds."""
    return {(one.id, one.first, one.second): [name for name, _, _ in one.between] for one in facts_of(text).levels}


@pytest.mark.parametrize(
    ("on", "a", "b", "names"),
    [
        ("", "", "", []),
        # a device of its own on the last piece of each way: the same level
        ("", rcd("ra"), rcd("rb"), []),
        ("", rcd("ra"), "", ["ra"]),
        ("", "", rcd("rb"), ["rb"]),
        # a device ahead of the board that one of them begins at: loads that move over leave it
        (rcd("ron"), "", "", ["ron"]),
        (rcd("ron"), "", rcd("rb"), ["ron"]),
        (rcd("ron"), rcd("ra"), rcd("rb"), ["ron"]),
    ],
)
def test_devices_on_the_ways_to_a_changeover(on: str, a: str, b: str, names: list[str]) -> None:
    text = edited(INFEEDS, ("PEON", f"PE{on}"), ("PEA", f"PE{a}"), ("PEB", f"PE{b}"))
    assert between(text) == {("co", "co.a", "co.b"): names}


THROUGH = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
boards: {main: {}, behind: {}, out: {}}
changeovers:
  co: {positions: [a, b], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PEIN}
  output: {from: hybrid.out, to: behind, cores: L1 N PE}
  to-a: {from: behind, to: co.a, cores: L1 N PEA}
  to-b: {from: main, to: co.b, cores: L1 N PEB}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("into", "a", "b", "names"),
    [
        # the level of an inverter with a mains input is that of the place that feeds this input (manual page of the rule)
        (rcd("rin"), "", rcd("rb"), []),
        (rcd("rin"), "", "", ["rin"]),
        # what lies behind the inverter is its own
        ("", rcd("ra"), "", []),
    ],
)
def test_the_level_of_an_inverter_is_that_of_its_mains_input(into: str, a: str, b: str, names: list[str]) -> None:
    text = edited(THROUGH, ("PEIN", f"PE{into}"), ("PEA", f"PE{a}"), ("PEB", f"PE{b}"))
    assert between(text) == {("co", "co.a", "co.b"): names}


def test_an_inverter_that_is_the_first_source_of_the_file_is_an_infeed() -> None:
    text = (
        HEAD
        + """\
sources:
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  input: {from: sub, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  round: {from: main, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
    )
    assert between(text) == {("out", "hybrid", "main"): ["r"]}


# -- islands -----------------------------------------------------------------------------------------------------------

TRANSFORMERS = (
    HEAD
    + """\
sources:
  FIRST
  t1: {kind: transformer, winding: isolating, phases: L1, neutral-bond: fixed}
  t2: {kind: transformer, winding: isolating, phases: L1, neutral-bond: fixed}
boards: {main: {}, middle: {}, out: {}}
connections:
  service: {from: first, to: main, cores: L1 N PE}
  in-1: {from: main, to: t1.in, cores: L1 N PE}
  out-1: {from: t1.out, to: middle, cores: L1 N PE}
  in-2: {from: middle, to: t2.in, cores: L1 N PE}
  out-2: {from: t2.out, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("first", "behind"),
    [
        ("first: {kind: utility, phases: L1, earthing: TN-S}", {"first": False, "t1": True, "t2": True}),
        (
            "first: {kind: generator, phases: L1, neutral-bond: fixed}",
            {"first": False, "t1": False, "t2": False},
        ),
    ],
)
def test_a_supply_feeds_an_island_through_isolating_transformers_in_a_row(first: str, behind: dict[str, bool]) -> None:
    islands = facts_of(TRANSFORMERS.replace("FIRST", first)).islands
    assert {island.feeds[0].id: island.utility_behind for island in islands} == behind
    assert [island.utility_fed for island in islands if not island.fed_by("first")] == [False, False]


INNER = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}, bars: {inside: main}}
connections:
  service: {from: grid, to: bars, cores: L1 PEN}
  on: {from: bars, to: main, cores: L1 CORES}
circuits:
  load: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
"""
)


@pytest.mark.parametrize(("cores", "bonded"), [("N PE", True), ("PE", False)])
def test_a_link_on_another_neutral_bar_splits_no_pen(cores: str, bonded: bool) -> None:
    # without a neutral between the two bars the link at `main` ties a bar that no source reaches, and the PEN ends at `bars`
    found = facts_of(INNER.replace("CORES", cores)).pen_landings
    assert {(one.id, one.bonded) for one in found} == {("bars", bonded)}


def test_a_pen_on_the_earth_bar_is_split_while_the_link_beside_it_is_closed() -> None:
    # FORMAT.md, places and conductors: `lands-on: {PEN: PE}`; the neutral bar hangs on the link alone
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
  service: {from: grid, to: main, cores: L1 PEN, lands-on: {PEN: PE}}
  to-co: {from: main, to: co.mains, cores: L1 PE}
  set-feed: {from: set, to: co.own, cores: L1 PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: co, cores: L1 PE}
bonds: {link: {at: main, closed: {co: mains}}}
"""
    )
    found = {
        value(one.island, "co"): one.bonded
        for one in facts_of(text).pen_landings
        if one.island.fed_by("grid") and not one.island.fed_by("set")
    }
    assert found == {"mains": True, "own": False}


PENS = (
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


def test_a_pen_comes_unbroken_from_a_source_or_from_a_supply_that_feeds_nothing() -> None:
    # the shed has a PEN of its own, which begins at a board that N and PE lead to
    found = {
        (one.id, one.island.feeds[-1].id, value(one.island, "grid"), one.of_source)
        for one in facts_of(PENS).pen_landings
        if value(one.island, "grid") != "detached" and len(one.island.feeds) == 1
    }
    assert found == {
        ("main", "grid", "present", True),
        ("shed", "grid", "present", False),
        ("main", "set", "absent", True),
        ("shed", "set", "absent", False),
    }


# -- what a break takes off earth --------------------------------------------------------------------------------------

CABLES = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: EARTHING, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 3.5 mA}
  two: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 1 mA}
"""
)
TN = CABLES.replace("EARTHING", "TN-S")
TT = CABLES.replace("EARTHING", "TT").replace("cores: L1 N PE, size: 16 mm2", "cores: L1 N, size: 16 mm2")


def losses(text: str) -> dict[tuple[str, str], Lost]:
    """What breaks take away in the cases that the supply feeds, by sort and thing."""
    return {(one.sort, one.id): one for one in facts_of(text).losses if one.island.fed_by("grid")}


def hanging(text: str) -> dict[tuple[str, str], set[str]]:
    return {key: set(one.frames) for key, one in losses(text).items()}


def test_a_broken_protective_conductor_leaves_the_frames_behind_it_in_the_air() -> None:
    assert hanging(TN) == {
        ("pe", "service"): {"main", "sub", "one", "two"},
        ("pe", "on"): {"sub", "one"},
        ("pe", "one"): {"one"},
        ("pe", "two"): {"two"},
    }


def test_a_person_who_bridges_the_break_carries_the_leakage_of_what_hangs_behind_it() -> None:
    # by Kirchhoff's first law, the leakages of one line in phase
    carried = {name: one.leaking_a for (_, name), one in losses(TN).items()}
    assert carried == {
        "service": pytest.approx(4.5e-3, rel=1e-3),
        "on": pytest.approx(3.5e-3, rel=1e-3),
        "one": pytest.approx(3.5e-3, rel=1e-3),
        "two": pytest.approx(1e-3, rel=1e-3),
    }


def test_another_way_to_earth_keeps_the_frames_on_it() -> None:
    # a second conductor beside the first: neither is missed
    beside = TN.replace("circuits:", "  extra: {from: main, to: sub, cores: PE, size: 10 mm2, length: 10 m}\ncircuits:")
    assert set(hanging(beside)) == {("pe", "service"), ("pe", "one"), ("pe", "two")}
    # an electrode behind the break is left
    rod = TN + "electrodes: {rod: {at: sub, resistance: 20 ohm}}\n"
    assert set(hanging(rod)) == {("pe", "one"), ("pe", "two")}
    # metal that is no part of the installation is no protective conductor (IEC 60364-5-54, 543.2.3, from memory)
    pipe = TN + "extraneous: {pipe: {joins: [main, sub]}}\n"
    assert hanging(pipe)["pe", "on"] == {"sub", "one"}


def test_the_only_electrode_holds_all_frames_that_conductors_join_to_it() -> None:
    everything = {"main", "sub", "one", "two"}
    assert hanging(TT + "electrodes: {rod: {at: main, resistance: 20 ohm}}\n")["electrode", "rod"] == everything
    # the rest of a site whose boards are apart stays on its own
    apart = TT.replace("to: sub, cores: L1 N PE", "to: sub, cores: L1 N")
    rods = "electrodes: {rod: {at: main, resistance: 20 ohm}, other: {at: sub, resistance: 20 ohm}}\n"
    found = hanging(apart + rods)
    assert (found["electrode", "rod"], found["electrode", "other"]) == ({"main", "two"}, {"sub", "one"})
    # a pipe between the two is no conductor to rely on, here as well
    assert hanging(apart + rods + "extraneous: {pipe: {joins: [main, sub]}}\n") == found
    # in a TN system the supplier's conductor is left
    assert ("electrode", "rod") not in hanging(TN + "electrodes: {rod: {at: main, resistance: 20 ohm}}\n")


def test_a_break_takes_nothing_away_from_frames_that_nothing_earths() -> None:
    # a TT site without an electrode; the missing earth is a finding of its own
    assert losses(TT) == {}
    # a set that nothing earths: its frames hold each other, as a system isolated from earth may (IEC 60364-4-41, 411.6.2)
    text = TT.replace("  grid:", "  set: {kind: generator, phases: L1, neutral-bond: none}\n  grid:")
    text = text.replace("from: grid, to: main, cores: L1 N,", "from: set, to: main, cores: L1 N PE,")
    text = "".join(line for line in text.splitlines(keepends=True) if "grid:" not in line)
    everything = {"set", "main", "sub", "one", "two"}
    assert {one.id: set(one.frames) for one in facts_of(text).losses} == dict.fromkeys(
        ("service", "on", "one", "two"), everything
    )


@pytest.mark.parametrize("place", ["main", "sub"])
def test_of_two_electrodes_on_one_protective_conductor_either_is_enough(place: str) -> None:
    # at one terminal as well as at two that a conductor joins
    rods = f"electrodes: {{rod: {{at: main, resistance: 20 ohm}}, other: {{at: {place}, resistance: 20 ohm}}}}\n"
    assert not {key for key in losses(TT + rods) if key[0] == "electrode"}


def test_a_pen_on_the_earth_bar_carries_what_leaks() -> None:
    text = TN.replace("TN-S", "TN-C-S").replace(
        "cores: L1 N PE, size: 16 mm2", "cores: L1 PEN, lands-on: {PEN: PE}, size: 16 mm2"
    )
    found = losses(text)["pe", "service"]
    assert set(found.frames) == {"main", "sub", "one", "two"}
    assert found.leaking_a == pytest.approx(4.5e-3, rel=1e-3)


# -- neutrals that are a PEN by function -------------------------------------------------------------------------------

ANNEXE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, annexe: {}MORE}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  to-annexe: {ENDS, cores: L1 N}
circuits:
  one: {from: annexe, cores: L1 N PE}
bonds: {link: {at: annexe}}
electrodes: {rod: {at: annexe, resistance: 20 ohm}}
"""
)


@pytest.mark.parametrize("more", ["", ", other: {}"])
@pytest.mark.parametrize("ends", ["from: main, to: annexe", "from: annexe, to: main"])
def test_a_neutral_that_earths_a_building_is_a_pen_however_many_boards_there_are(more: str, ends: str) -> None:
    found = facts_of(ANNEXE.replace("MORE", more).replace("ENDS", ends)).neutrals_to_buildings
    assert [(one.id, one.board, one.bond, one.electrode) for one in found] == [("to-annexe", "annexe", "link", "rod")]


# -- short circuits ----------------------------------------------------------------------------------------------------

SHORT = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: EARTHING, fault-current: 2.3 kA}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 SERVICE, size: 10 mm2, length: 10 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: sub, cores: CORES, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 6 A}]}
  two: {from: main, cores: L1 N PE, size: 1.5 mm2}
"""
)


def short(earthing: str, service: str, cores: str = "L1 N PE") -> str:
    return SHORT.replace("EARTHING", earthing).replace("SERVICE", service).replace("CORES", cores)


def peaks(text: str) -> dict[str, Peak]:
    """The largest current at each device while the supply is there."""
    return {peak.id: peak for peak in facts_of(text).peaks if peak.island and peak.island.fed_by("grid")}


def test_a_short_circuit_of_a_supply_that_nothing_earths() -> None:
    # the declared current is that between line and neutral, and needs no earth
    one = peaks(short("IT", "N"))["service"]
    assert (one.current_a, one.kind) == (pytest.approx(2300), "line-neutral")


def test_where_neutral_and_frame_are_one_the_neutral_is_named() -> None:
    # the link ties them without impedance, and both currents are the same
    text = short("TN-C-S", "PEN").replace(
        "two:", "three: {from: main, cores: L1 N PE, through: [{kind: fuse}]}\n  two:"
    )
    assert peaks(text + "bonds: {link: {at: main}}\n")["three"].kind == "line-neutral"


# 0.1 ohm of the supply as a reactance; IEC 60228: 10 mm2 has 1.83 ohm/km at 20 C; 0.08 ohm/km of reactance (common practice)
TWICE_10_M = 2 * complex(0.0183, 0.0008)


def test_no_current_flows_between_two_lines_of_one_phase() -> None:
    # the second bar of `sub` hangs on the same line; what is not written elsewhere has no part in it
    text = short("TN-S", "N PE", "L1 L2 N PE").replace(
        "circuits:",
        "  more: {from: main, to: sub, cores: L1, lands-on: {L1: L2}, size: 10 mm2, length: 10 m}\ncircuits:",
    )
    one = peaks(text)["one"]
    assert one.current_a == pytest.approx(230 / abs(0.1j + 2 * TWICE_10_M))
    assert one.kind in ("line-neutral", "line-PE")


def test_a_pole_at_the_terminals_of_the_first_source_may_break_the_current_between_its_lines() -> None:
    """Line and neutral have half of the loop each (common practice): sqrt(3) times the voltage over twice the half."""
    text = (
        short("TN-C-S", "L2 PEN")
        .replace("phases: L1, voltage: 230 V", "phases: L1 L2, voltage: 230/400 V")
        .replace("kind: fuse,", "kind: fuse, poles: L2,")
    )
    one = peaks(text)["service"]
    assert (one.kind, one.current_a) == ("line-line", pytest.approx(3**0.5 * 2300, rel=0.01))


# -- residual current devices ------------------------------------------------------------------------------------------

GUARDED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m}
  on: {from: main, to: sub, cores: CORES, size: 10 mm2, length: 10 m, through: [{id: r, kind: rcd, residual: 30 mASENSES}]}
  earth: {from: main, to: sub, cores: PE, size: 10 mm2, length: 10 m}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
"""
)


@pytest.mark.parametrize("cores", ["L1 N", "L1 N PE"])
@pytest.mark.parametrize(("senses", "whole"), [("", True), (", senses: L1 N", True), (", senses: L1", False)])
def test_a_device_sees_faults_by_the_live_cores_that_it_sums(cores: str, senses: str, whole: bool) -> None:
    # the protective conductor does not pass its sum, whether it lies in the same cable or not
    found = facts_of(GUARDED.replace("CORES", cores).replace("SENSES", senses)).rcds_on_ways
    assert {(one.id, one.summed, one.sees_all) for one in found} == {("r", whole, whole)}


def test_a_device_before_the_input_of_an_inverter_protects_it_while_it_passes() -> None:
    # inverting, the contacts of the input are open: nothing of the inverter lies behind the device
    facts = facts_of(BYPASS.replace("POLES", "L1 N").replace("AMPERE", "30 mA"))
    assert {(one.id, one.source.id, value(one.island, "hybrid")) for one in facts.rcds_at_inverters} == {
        ("r", "hybrid", "passing")
    }
    assert any(value(one, "hybrid") == "inverting" and one.fed_by("grid") for one in facts.islands)


# -- normal service ----------------------------------------------------------------------------------------------------

LOADED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
circuits:
  known: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 20 m, load: 10 A}
  idle: {from: main, cores: L1 N PE, size: 2.5 mm2}
  loose: {from: main, cores: L1 N PE, size: 2.5 mm2, load: 0.1 A}
"""
)


def test_a_voltage_drop_rests_on_what_it_needs_alone() -> None:
    """IEC 60364-5-52, annex G (from memory): 2 (0.0225 ohm mm2/m x 20 m / 2.5 mm2) 10 A of 230 V."""
    drops: dict[str, Drop] = {one.id: one for one in facts_of(LOADED).drops}
    assert drops["known"].ratio == pytest.approx(2 * 0.0225 * 20 / 2.5 * 10 / 230, rel=0.03)
    with pytest.raises(Unknown, match="the length of"):
        assert drops["loose"].ratio


@pytest.mark.parametrize(
    ("cores", "more", "lacking"),
    [
        ("L1 N PE", "", "the leakage of one"),
        ("L1 N PE", ", leakage: 1 mA", ""),
        # without a protective conductor nothing leaks past the device
        ("L1 N", "", ""),
        ("L1 N", ", leakage: 1 mA", ""),
    ],
)
def test_a_leakage_is_asked_for_where_a_protective_conductor_leads_it_off(cores: str, more: str, lacking: str) -> None:
    text = LOADED.replace("circuits:", f"circuits:\n  one: {{from: main, cores: {cores}{more}{rcd('r')}}}")
    found: list[RcdInService] = [one for one in facts_of(text).rcds_in_service if one.id == "r"]
    assert {one.no_leakage.what if one.no_leakage else "" for one in found} == {lacking}


# -- how the neutral current divides -----------------------------------------------------------------------------------


def surplus(text: str, identifier: str) -> Surplus:
    """The first case in which a link is one too many and its sources are all at work."""
    return next(one for one in facts_of(text).references if one.id == identifier and one.kept and one.sharing)


def test_half_of_the_neutral_current_takes_an_equal_protective_conductor() -> None:
    # neutral and protective conductor have the same size, and each half of the loop of the supply is the same: by symmetry
    text = LOADED.replace("length: 0 m", "length: 10 m").replace("  idle", "#  idle").replace("  loose", "#  loose")
    sharing = surplus(text + "bonds: {link: {at: main}}\n", "link").sharing
    assert sharing is not None and sharing.share == pytest.approx(0.5)
    # 10 A of the load at 230 V, and a little less behind the loop of the supply
    assert sharing.current_a == pytest.approx(5, rel=0.05)


def test_a_link_beside_a_device_without_any_electrode() -> None:
    # nothing of the site touches the mass of earth; two links join a neutral and a PE of the same size: by symmetry half each
    text = (
        HEAD
        + f"""\
sources:
  set: {{kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 10 %, neutral-bond: none}}
boards: {{main: {{}}}}
connections:
  feed: {{from: main, to: set, cores: L1 N PE, size: 10 mm2, length: 10 m{rcd("r")}}}
circuits:
  one: {{from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}}
bonds: {{at-set: {{at: set}}, link: {{at: main}}}}
"""
    )
    found = surplus(text, "link")
    assert found.sharing is not None and found.rcd is not None
    assert (found.rcd.name, found.sharing.beside(found.rcd)) == ("r", pytest.approx(0.5))


def test_a_standing_set_whose_inner_bond_lies_behind_a_device() -> None:
    # the current goes back to the set that runs, not to the inverter that follows it: by N and by PE of the same size, half each
    text = (
        HEAD
        + f"""\
sources:
  spare: {{kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, may-parallel: [set]}}
  roof: {{kind: inverter, phases: L1, voltage: 230 V, rating: 2 kVA, operation: grid-following}}
  set: {{kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, subtransient-reactance: 10 %, neutral-bond: fixed}}
boards: {{main: {{}}}}
connections:
  spare-feed: {{from: main, to: spare, cores: L1 N PE, size: 10 mm2, length: 10 m{rcd("r")}}}
  roof-feed: {{from: roof, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}}
  feed: {{from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}}
circuits:
  one: {{from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}}
"""
    )
    found = [
        one
        for one in facts_of(text).references
        if one.id == "spare" and one.rcd and [feed.id for feed in one.island.feeds] == ["roof", "set"]
    ]
    assert {one.rcd.name for one in found if one.rcd} == {"r"}
    for one in found:
        assert one.sharing is not None and one.rcd is not None
        assert one.sharing.beside(one.rcd) == pytest.approx(0.5)


# -- a broken neutral of a high-leg delta ------------------------------------------------------------------------------


HIGH_LEG = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-S, loop-impedance: 0.01 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 50 mm2, length: 1 m}
  on: {from: main, to: sub, cores: L1 L2 L3 N PE, size: 50 mm2, n-size: 6 mm2, length: 1 m}
circuits:
  small: {from: sub, cores: L1 N PE, size: 50 mm2, length: 1 m, load: 10 A}
"""
)
MOTOR = "  motor: {from: sub, cores: L1 L2 L3 N PE, size: 50 mm2, length: 1 m, load: 10 A}\n"
LARGE = "  large: {from: sub, cores: L3 N PE, size: 50 mm2, length: 1 m, load: 30 A}\n"
BOTH = "  both: {from: sub, cores: L1 L3 N PE, size: 50 mm2, length: 1 m, load: 1 mA}\n"


def raised(text: str) -> dict[str, list[float]]:
    """The loads that have a higher voltage with the neutral of the feeder broken."""
    (broken,) = (one for one in facts_of(text).failures if one.id == "on" and one.core == "N")
    found: dict[str, list[float]] = {}
    for shock in broken.loads:
        found.setdefault(shock.place, []).append(shock.volts)
    return found


def test_loads_beside_the_high_leg_divide_the_voltage_between_them() -> None:
    """240 V over 10 A and 30 A at 120 V in series, 12 and 4 ohm: 180 V and 60 V; the load on both of those lines has these too."""
    assert raised(HIGH_LEG + LARGE + BOTH) == {
        "small": [pytest.approx(180, rel=0.01)],
        "both": [pytest.approx(180, rel=0.01)],
    }


def test_a_broken_neutral_raises_no_load_that_is_between_lines() -> None:
    # FORMAT.md, systems of windings: a load on all three lines of a high-leg delta is between them, even where an N comes along
    assert raised(HIGH_LEG + MOTOR) == {}
    assert set(raised(HIGH_LEG + MOTOR + LARGE)) == {"small"}


def test_the_motor_of_a_high_leg_delta_makes_no_neutral_dangerous() -> None:
    rules = tuple(rule for rule in RULES if rule.id == "single-failure-dangerous")
    results = testing.inspected(HIGH_LEG + MOTOR, rules).site.results
    assert {result.subject: result.kind for result in results}["on"] == "pass"
