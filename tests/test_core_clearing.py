"""What each device sees of an earth fault that several sources feed, what a residual current device sums, and what single failures do.

Small sites worked by hand: Kirchhoff's laws, symmetry, Ohm's law and what FORMAT.md defines.
"""

from __future__ import annotations

import pytest

from onebond import testing
from onebond.circuit.devices import NEVER
from onebond.facts import EarthFault, Facts
from onebond.facts.unknown import Unknown
from onebond.loading import load_rules

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"
RATED_A = 5000 / 230
"""Rated current of a source of 5 kVA and 230 V, in A."""

BESIDE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  own: {kind: OWN}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
  feed: {from: own, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
"""
)
SET = "generator, phases: L1, voltage: 230 V, neutral-bond: none, may-parallel: [grid]"
INVERTER = "inverter, phases: L1, voltage: 230 V, neutral-bond: none, may-parallel: [grid]"
SWITCH, FUSE = "{kind: switch}", "{kind: fuse, class: gG, rating: 250 A}"
FOLLOWER = "inverter, phases: L1, voltage: 230 V, operation: grid-following"

TWINS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  t1: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 5 kVA, impedance: 4 %, may-parallel: [t2]}
  t2: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 5 kVA, impedance: 4 %, may-parallel: [t1]}
boards: {intake: {}, main: {}}
connections:
  service: {from: grid, to: intake, cores: L1 N PE, size: 16 mm2, length: 0 m}
  in-1: {from: intake, to: t1.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
  in-2: {from: intake, to: t2.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: C, rating: 32 A}]}
  out-1: {from: t1.out, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{id: q1, kind: mcb, curve: C, rating: 32 A}]}
  out-2: {from: t2.out, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{id: q2, kind: mcb, curve: C, rating: 32 A}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
bonds: {link: {at: main}}
"""
)


def facts_of(text: str) -> Facts:
    installation = testing.inspected(text, ()).installation
    return Facts(installation, installation.rulebook)


def faults(text: str, *by: str) -> list[EarthFault]:
    """The faults in the case that these sources feed and no other one."""
    return [
        fault for fault in facts_of(text).earth_faults if sorted(feed.id for feed in fault.island.feeds) == sorted(by)
    ]


def fault_at(text: str, place: str, *by: str, line: str = "L1") -> EarthFault:
    (found,) = (one for one in faults(text, *by) if one.point.written == place and one.line == line)
    return found


def seen(fault: EarthFault, source: str) -> dict[str, float]:
    """The current in A that each device on the way from a source sees, by its connection."""
    return {one.connection: one.current_a for fed in fault.feds if fed.source == source for one in fed.passed}


# -- a source beside another one -------------------------------------------------------------------------------------


@pytest.mark.parametrize("own", [SET, INVERTER, FOLLOWER])
@pytest.mark.parametrize("place", ["main", "load"])
def test_a_source_of_which_no_rating_is_written_leaves_open_what_it_gives_and_takes(own: str, place: str) -> None:
    # FORMAT.md, currents: a rule that needs an entry that is not written is open and names it
    with pytest.raises(Unknown, match="the rating of own"):
        _ = fault_at(BESIDE.replace("OWN", own), place, "grid", "own").loop_ohm
    written = BESIDE.replace("OWN", f"{own}, rating: 5 kVA")
    assert fault_at(written, place, "grid", "own").loop_ohm > 0.5
    # without it the supply alone is known
    assert fault_at(BESIDE.replace("OWN", own), place, "grid").loop_ohm > 0.5


@pytest.mark.parametrize(
    ("own", "ampere"),
    [
        # FORMAT.md: up to its limit, twice rated where none is declared
        (f"{INVERTER}, rating: 5 kVA, fault-current: {{limit: 3 x rated, for: 1 s}}", 3 * RATED_A),
        (f"{INVERTER}, rating: 5 kVA", 2 * RATED_A),
        (f"{FOLLOWER}, rating: 5 kVA", 2 * RATED_A),
        (f"{FOLLOWER}, rating: 5 kVA, fault-current: {{limit: 20 A, for: 1 s}}", 20),
        # what ends within 0.1 s takes nothing from what the device has to see until its own limit of time (our bound)
        (f"{FOLLOWER}, rating: 5 kVA, fault-current: {{limit: 20 A, for: 100 ms}}", 0),
        (f"{FOLLOWER}, rating: 5 kVA, fault-current: {{limit: 20 A, for: 101 ms}}", 20),
        # x'' of 14 % (a maker's guide) is 7 times rated at first
        (f"{SET}, rating: 5 kVA", 7 * RATED_A),
        (f"{SET}, rating: 5 kVA, sustained-fault-current: {{limit: 3 x rated, for: 10 s}}", 3 * RATED_A),
    ],
)
def test_what_comes_in_behind_a_device_is_taken_from_what_it_sees(own: str, ampere: float) -> None:
    both = fault_at(BESIDE.replace("OWN", own), "load", "grid", "own")
    alone = fault_at(BESIDE.replace("OWN", own), "load", "grid")
    assert seen(both, "grid")["service"] == pytest.approx(seen(alone, "grid")["service"] - ampere)
    # behind the place where both meet nothing is taken: at least what the supply gives alone passes there
    assert seen(both, "grid")["load"] == pytest.approx(seen(alone, "grid")["load"])


@pytest.mark.parametrize(
    ("own", "ampere"),
    [
        (f"{INVERTER}, rating: 5 kVA, fault-current: {{limit: 2 x rated, for: 1 s}}", 2 * RATED_A),
        # 0.3 times rated is all that is counted on (FORMAT.md)
        (f"{SET}, rating: 5 kVA", 0.3 * RATED_A),
    ],
)
def test_a_device_that_both_sources_pass_sees_the_strong_one_whichever_it_has_to_cut_off(
    own: str, ampere: float
) -> None:
    fault = fault_at(BESIDE.replace("OWN", own), "load", "grid", "own")
    alone = fault_at(BESIDE.replace("OWN", own), "load", "grid").current_a()
    assert seen(fault, "own") == {"load": pytest.approx(alone), "feed": pytest.approx(ampere)}
    # some 340 A are 21 times its 16 A: it opens at once (IEC 60898-1 table 7), and with that both are cut off
    assert alone > 5 * 16
    assert fault.late(0.4) == ()


def test_a_device_of_its_own_sees_no_more_than_the_weak_source_gives() -> None:
    own = f"{INVERTER}, rating: 5 kVA, fault-current: {{limit: 2 x rated, for: 1 s}}"
    fault = fault_at(BESIDE.replace("OWN", own), "main", "grid", "own")
    assert seen(fault, "own") == {"feed": pytest.approx(2 * RATED_A)}
    # 43.5 A are 2.7 times the rating of B16: not certain within 0.4 s
    (late,) = fault.late(0.4)
    assert late.limited_by == "own"


def test_an_inverter_beside_a_supply_is_not_too_weak_for_a_breaker_that_the_supply_trips() -> None:
    # 40 m of 2.5 mm2 warm have 0.356 ohm, there and back with the supply 1.214 ohm: 189 A, which open B16 at once and leave 68 V
    # along PE until then; alone the inverter drives 43 A, and leaves the frame at 16 V, which may stay
    own = f"{INVERTER}, rating: 5 kVA, fault-current: {{limit: 2 x rated, for: 1 s}}"
    text = BESIDE.replace("OWN", own).replace("size: 2.5 mm2, length: 10 m", "size: 2.5 mm2, length: 40 m")
    rules = tuple(one for one in load_rules() if one.id in ("source-too-weak-to-trip", "disconnection-too-slow"))
    assert {one.subject for one in testing.inspected(text, rules).site.results if one.kind != "pass"} == set()


@pytest.mark.parametrize("place", ["main", "load"])
def test_devices_ahead_of_equal_transformers_see_half_each(place: str) -> None:
    # by symmetry, and either transformer has the same voltage on both sides
    fault = fault_at(TWINS, place, "t1", "t2")
    half = fault.current_a() / 2
    for number in (1, 2):
        way = {name: ampere for name, ampere in seen(fault, f"t{number}").items() if name != "load"}
        assert way == {f"out-{number}": pytest.approx(half), f"in-{number}": pytest.approx(half)}


def test_all_of_what_one_source_gives_into_another_one_passes_the_devices_between_them() -> None:
    # one source and one way: what the damaged source gives into its own fault is its own affair
    fault = fault_at(TWINS, "t2.out", "t1", "t2")
    assert seen(fault, "t1") == {name: pytest.approx(fault.current_a()) for name in ("out-1", "out-2", "in-1")}
    assert seen(fault, "t2") == {}


def test_of_equal_ways_the_first_is_named_and_of_equal_devices_the_nearest_to_the_fault() -> None:
    # more than 200 A open every B16 at once (from 80 A, IEC 60898-1 table 7)
    quick = TWINS.replace("curve: C, rating: 32 A", "curve: B, rating: 16 A")
    assert fault_at(quick, "main", "t1", "t2").cleared().by == "q1"
    assert fault_at(quick, "load", "t1").cleared().by == "the mcb in load"
    assert fault_at(quick, "load", "t1", "t2").cleared().by == "the mcb in load"


@pytest.mark.parametrize(("first", "second"), [(SWITCH, FUSE), (FUSE, SWITCH)])
def test_a_way_that_nothing_ever_opens_is_worse_than_one_that_something_may_open(first: str, second: str) -> None:
    # 317 A are 1.27 times 250 A: between the conventional non-fusing and fusing currents, 1.25 and 1.6 times (IEC 60269-1 table 2)
    text = TWINS.replace(", through: [{kind: mcb, curve: C, rating: 32 A}]", "")
    text = text.replace("{id: q1, kind: mcb, curve: C, rating: 32 A}", first)
    text = text.replace("{id: q2, kind: mcb, curve: C, rating: 32 A}", second)
    assert fault_at(text, "main", "t1", "t2").cleared().trip == NEVER
    # with the fuse in both ways it may be cleared, if late
    both = text.replace(SWITCH, FUSE)
    cleared = fault_at(both, "main", "t1", "t2").cleared().trip
    assert cleared.certain_s is None and cleared.possible_from_s is not None


# -- sources that all limit their current ----------------------------------------------------------------------------

PAIR = (
    HEAD
    + """\
sources:
  a: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none, may-parallel: [b], fault-current: {limit: 2 x rated, for: 50 ms}}
  b: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none, may-parallel: [a], fault-current: {limit: 2 x rated, for: 50 ms}}
boards: {main: {}}
connections:
  feed-a: {from: a.out, to: main, cores: L1 N PE, size: 16 mm2, length: 3 m}
  feed-b: {from: b.out, to: main, cores: L1 N PE, size: 16 mm2, length: 3 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 1.5 mm2, length: LENGTH m, through: [{id: q, kind: mcb, curve: B, rating: 16 A}]}
bonds: {link: {at: main}}
"""
)


def test_two_inverters_into_a_fault_at_the_bond_of_a_site_without_an_electrode_give_both_their_limits() -> None:
    fault = fault_at(PAIR.replace("LENGTH", "10"), "main", "a", "b")
    assert fault.smallest_a == pytest.approx(4 * RATED_A)


@pytest.mark.parametrize(
    ("length", "limited"),
    [
        # 1.5 mm2 warm has 14.5 ohm/km (IEC 60228, 12.1 at 20 C), there and back: 61 A of 87 A at 130 m, 159 A at 50 m
        (130, False),
        (50, True),
    ],
)
def test_two_inverters_reach_their_limit_when_the_loop_draws_more_than_both_give(length: int, limited: bool) -> None:
    fault = fault_at(PAIR.replace("LENGTH", str(length)), "load", "a", "b")
    assert [fed.limited for fed in fault.feds] == [limited] * 2
    free = 230 / fault.loop_ohm
    assert fault.smallest_a == pytest.approx(min(free, 4 * RATED_A), rel=1e-6)
    # below their limit they do not end, and 61 A may take B16 a minute; at it they end by themselves after 50 ms
    assert fault.cleared().by == ("a itself" if limited else "q")
    assert len(fault.late(0.4)) == (0 if limited else 2)


def test_equal_lines_of_an_inverter_without_rating_are_one_fault_that_names_it() -> None:
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1 L2 L3, voltage: 400 V, neutral-bond: fixed}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 L2 L3 N PE, size: 2.5 mm2, length: 10 m}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
    )
    found = [fault for fault in faults(text, "inv") if fault.point.place == "main"]
    assert len(found) == 1
    with pytest.raises(Unknown, match="the rating of inv"):
        found[0].touch_v()


# -- residual current devices ----------------------------------------------------------------------------------------


def test_a_device_with_equal_ways_back_beside_and_through_it_sees_half_of_a_limited_current() -> None:
    # links at either end of one cable with N and PE of one size: by symmetry half of what the inverter gives returns in N
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, fault-current: {limit: 2 x rated, for: 1 s}}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 16 mm2, length: 20 m, through: [{id: r, kind: rcd, residual: 300 mA}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
bonds: {link: {at: main}}
"""
    )
    for place in ("main", "load"):
        (one,) = fault_at(text, place, "inv").residuals
        assert one.residual_a == pytest.approx(RATED_A)
        assert one.current_a == pytest.approx(2 * RATED_A)


@pytest.mark.parametrize(("circuit", "line", "part"), [("one", "L1", 1), ("two", "L2", 0)])
def test_a_device_sees_the_faults_of_the_lines_that_it_sums(circuit: str, line: str, part: int) -> None:
    # two cores of three lines led through the current transformer: what flows in L2 and PE is not in its sum
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 400 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 1 m}
  on:
    {from: main, to: sub, cores: L1 L2 L3 N PE, size: 16 mm2, length: 1 m, through: [{kind: rcd, residual: 300 mA, senses: L1 N}]}
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
  two: {from: sub, cores: L2 N PE, size: 2.5 mm2, length: 10 m}
"""
    )
    fault = fault_at(text, circuit, "grid", line=line)
    (one,) = fault.residuals
    assert one.residual_a == pytest.approx(part * fault.current_a())


def test_a_device_right_at_an_inverter_sees_all_that_this_gives() -> None:
    # nothing but the limit of the inverter holds the current, and the reference lies ahead of the device
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, fault-current: {limit: 2 x rated, for: 1 s}}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m, through: [{id: r, kind: rcd, residual: 30 mA}]}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
"""
    )
    fault = fault_at(text, "main", "inv")
    (one,) = fault.residuals
    assert one.residual_a == pytest.approx(2 * RATED_A)
    # IEC 61008-1 table 1: 43.5 A are more than 5 times 30 mA, within 40 ms
    assert fault.cleared().trip.within(0.04) == "certain"


def test_a_device_ahead_of_all_that_follows_sees_the_whole_second_fault_of_an_isolated_system() -> None:
    # Kirchhoff: what leaves behind the device by PE to a first fault ahead of it has passed its sum, whoever drives it; a breaker in its
    # place is spared what comes in behind it
    text = (
        HEAD
        + """\
sources:
  set:
    kind: generator
    phases: L1
    voltage: 230 V
    rating: 50 kVA
    earthing: IT
    subtransient-reactance: 1 %
    sustained-fault-current: {limit: 20 x rated, for: 10 s}
  sun: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, earthing: IT, operation: grid-following}
boards: {main: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, size: 16 mm2, length: 50 m, through: [{id: r, kind: rcd, residual: 300 mA}]}
  roof: {from: sun, to: main, cores: L1 N PE, size: 4 mm2, length: 5 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 28 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes: {rod: {at: main, resistance: 5 ohm}}
"""
    )
    fault = fault_at(text, "load", "set", "sun")
    assert fault.second is not None
    ampere, feds = fault.second
    (one,) = (one for fed in feds for one in fed.passed if one.device.senses)
    assert one.residual_a == pytest.approx(ampere)
    assert one.current_a == pytest.approx(ampere - 2 * RATED_A)


def test_the_end_of_a_circuit_has_a_frame_or_a_person_and_never_both() -> None:
    text = BESIDE.replace("OWN", f"{SET}, rating: 5 kVA")
    text += "  lamp: {from: main, cores: L1 N, equipment: class-II, size: 1.5 mm2, length: 10 m}\n"
    found = [(one.id, one.framed) for one in facts_of(text).shocks if one.circuit]
    assert set(found) == {("load", True), ("lamp", False)}
