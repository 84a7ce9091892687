"""Currents and touch voltages at places where nothing or something lies between them and the zero of the circuit, worked by hand.

Resistances are those of IEC 60228, class 2, as the tables print them (2.5 mm2: 7.41 ohm/km at 20 C), warm by 1 + 0.004 x 50 = 1.2.
"""

from __future__ import annotations

import pytest

from described import edited, facts_of
from onebond import testing
from onebond.circuit.impedances import Missing
from onebond.facts import EarthFault
from onebond.facts.direct_loop import DirectLoop
from onebond.facts.unknown import Unknown
from onebond_rules import RULES

UNFUSED = next(rule for rule in RULES if rule.id == "dc-unfused")
HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"
WARM_OHM = 0.0741 * 1.2
"""10 m of 2.5 mm2 at 70 C; its reactance of 0.08 ohm/km changes no digit that is compared."""


def faults(text: str, *by: str) -> dict[str, EarthFault]:
    """The faults in the case that these sources feed and no other one, by place."""
    found = facts_of(text).earth_faults
    return {one.point.written: one for one in found if sorted(feed.id for feed in one.island.feeds) == sorted(by)}


PORTABLE = (
    HEAD
    + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: none, mounted: portable, fault-current: {limit: 50 A}}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, FEED}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
  other: {from: main, cores: L1 N PE, size: 2.5 mm2, OTHER}
bonds: {link: {at: main}}
"""
)


def portable(feed: str = "cores: L1 N PE, size: 2.5 mm2, length: 10 m", other: str = "length: 20 m") -> str:
    return PORTABLE.replace("FEED", feed).replace("OTHER", other)


def test_a_set_without_an_electrode_has_loops() -> None:
    # the frame of the board is the zero of the circuit: there is a way back all the same, over L1 and N of the feed
    found = faults(portable(), "inv")
    assert found["main"].loop_ohm == pytest.approx(2 * WARM_OHM, rel=1e-3)
    assert found["load"].loop_ohm == pytest.approx(4 * WARM_OHM, rel=1e-3)
    assert not found["main"].no_way_back


def test_a_set_without_an_electrode_has_voltages_to_its_own_earthing_terminal_alone() -> None:
    found = faults(portable(), "inv")
    assert {one.touch_v() for one in found.values()} == {None}
    # the link is at the board: its frame is that terminal, and behind 10 m half of the PE and line have the rest
    assert found["main"].touch_met_v() == pytest.approx(0.0)
    # 50 A through 10 m of PE
    assert found["load"].touch_met_v() == pytest.approx(50 * WARM_OHM, rel=1e-3)


def test_a_line_at_the_terminals_of_an_inverter_is_its_star_point_and_the_voltage() -> None:
    # nothing but the PE lies in the loop: an inverter has no impedance up to its limit, and neither has a feed of no length
    text = portable("cores: L1 N, size: 2.5 mm2, length: 0 m").replace(
        "boards: {main: {}}", "boards: {main: {}, box: {}}"
    )
    text = text.replace("circuits:", "  on: {from: main, to: box, cores: L1 N, size: 2.5 mm2, length: 0 m}\ncircuits:")
    text = text.replace(
        "circuits:", "  earth: {from: main, to: box, cores: PE, size: 2.5 mm2, length: 10 m}\ncircuits:"
    )
    (fault,) = (one for name, one in faults(text, "inv").items() if name == "box")
    assert fault.loop_ohm == pytest.approx(WARM_OHM, rel=1e-3)


def test_a_cable_that_is_not_described_opens_nothing_but_what_lies_behind_it() -> None:
    found = faults(portable(other="through: []"), "inv")
    assert found["load"].loop_ohm == pytest.approx(4 * WARM_OHM, rel=1e-3)
    with pytest.raises(Unknown, match="the length of other"):
        _ = found["other"].loop_ohm


LEAKING = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: IT, neutral-impedance: 1 kohm, fault-current: {max: 1.15 kA}}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 100 m, leakage: 100 mA}
electrodes: {rod: {at: main, resistance: 200 ohm}}
"""
)


def test_what_leaks_before_a_fault_is_in_the_voltages_and_not_left_over_in_the_fault() -> None:
    # before it the frame stands 20 V over the earth (100 mA x 200 ohm); the fault short-circuits what leaks, and Ohm's law is left:
    # 230 V on 0.1 (line of the supply, half of 230 V over 1.15 kA) + line + PE + 200 + 1000 ohm
    fault = faults(LEAKING, "grid")["load"]
    loop_ohm = 0.1 + 20 * WARM_OHM + 200 + 1000
    assert fault.touch_v() == pytest.approx(230 / loop_ohm * (200 + 10 * WARM_OHM), rel=2e-3)


def test_with_a_link_the_same_holds_of_the_voltage_to_the_earthing_terminal() -> None:
    # an IT supply with a link (a finding of its own): 230 V on twice 0.1 ohm, line and PE, and the PE has its part
    text = LEAKING.replace("100 mA", "5 A") + "bonds: {link: {at: main}}\n"
    core_ohm = 10 * WARM_OHM + 0.008j
    by_hand = 230 * core_ohm / (0.2 + 2 * core_ohm)
    assert faults(text, "grid")["load"].touch_met_v() == pytest.approx(abs(by_hand), rel=1e-4)


def test_the_entry_that_is_lacking_on_the_way_back_is_named() -> None:
    # the PE of its own has no length; that of a circuit elsewhere has none either, and is no part of the loop
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
  on: {from: main, to: sub, cores: L1 N, size: 2.5 mm2, length: 10 m}
  earth: {from: main, to: sub, cores: PE, size: 2.5 mm2}
circuits:
  other: {from: main, cores: L1 N PE, size: 2.5 mm2}
"""
    )
    with pytest.raises(Unknown, match="the length of earth"):
        _ = faults(text, "grid")["sub"].loop_ohm


INVERTER = (
    "inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, mains-input: yes, operation: grid-following}"
)
GRID = "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}"
PASSED = (
    HEAD
    + """\
sources:
  FIRST
  SECOND
  t: {kind: transformer, winding: isolating, phases: L1, voltage: 115 V, primary-voltage: 230 V, rating: 5 kVA, impedance: 4 %}
boards: {main: {}, sub: {}, far: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
  in: {from: main, to: inv.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 32 A}]}
  out: {from: inv.out, to: sub, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 25 A}]}
  primary: {from: sub, to: t.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 20 A}]}
  secondary: {from: t.out, to: far, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  load: {from: far, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
bonds: {link: {at: far}}
electrodes: {rod: {at: far}}
"""
)


def seen(fault: EarthFault) -> dict[str, float]:
    """The current that each device on the ways sees, by its connection."""
    return {one.connection: one.current_a for fed in fault.feds for one in fed.passed}


@pytest.mark.parametrize(("first", "second"), [(INVERTER, GRID), (GRID, INVERTER)])
def test_devices_on_both_sides_of_an_inverter_that_passes_whatever_is_written_first(first: str, second: str) -> None:
    text = PASSED.replace("FIRST", first).replace("SECOND", second)
    fault = faults(text, "grid")["sub"]
    assert [name for _, name in fault.guards] == ["out", "in"]
    assert set(seen(fault)) == {"in", "out"}
    behind = faults(text, "t")["load"]
    # half of the current of the secondary in the primary and in all that lies ahead of it
    assert seen(behind) == {name: pytest.approx(behind.current_a() / 2) for name in ("in", "out", "primary")}


SERIES = (
    ("boards: {main: {}, far: {}}", "boards: {main: {}, mid: {}, far: {}}"),
    ("to: far", "to: mid"),
    (
        "circuits:",
        """  last-in: {from: mid, to: last.in, cores: L1 N PE, size: 10 mm2, length: 0 m}
  last-out: {from: last.out, to: far, cores: L1 N PE, size: 10 mm2, length: 0 m}
circuits:""",
    ),
)
LAST = """
  last:
    {kind: transformer, winding: isolating, phases: L1, voltage: 57.5 V, primary-voltage: 115 V, rating: 5 kVA, impedance: 4 %}"""


CABLE = "cores: L1 N PE, size: 10 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 40 A}]"
SET = """set:
    {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: none, subtransient-reactance: 15 %,
     sustained-fault-current: {limit: 130 A}, may-parallel: [grid]}"""


def two_ahead(at: str) -> str:
    """A supply at one board ahead of a transformer, and a set at that board or at the next one."""
    text = PASSED.replace("FIRST", GRID).replace("SECOND", f"{SET}\n  {INVERTER}")
    text = text.replace("connections:", f"connections:\n  feed: {{from: set, to: {at}, {CABLE}}}")
    return text.replace("to: main, cores: L1 N PE, size: 16 mm2, length: 0 m", f"to: main, {CABLE}")


def by_states(text: str, place: str, passing: str) -> dict[tuple[str, str], EarthFault]:
    """The faults at a place by the states of the supply and of the set."""
    facts = facts_of(text)
    of = {feed.id: feed.variable for feed in facts.network.feeds}
    return {
        (one.island.value(of["grid"]), one.island.value(of["set"])): one
        for one in facts.earth_faults
        if one.id == place and one.island.value(of["inv"]) == passing
    }


def test_behind_a_transformer_every_source_ahead_of_it_has_a_loop_of_its_own() -> None:
    # 230 V twice the 115 V of the secondary: a quarter of the impedance ahead.  The supply has 0.5 ohm, the set 15 % of
    # 230 V squared over 10 kVA; both come over 10 m of the same cable
    found = by_states(two_ahead("main"), "load", "passing")
    loops = [found[state].loop for state in (("present", "standing"), ("absent", "running"))]
    assert loops[0] is not None and loops[1] is not None
    difference = loops[1].z_ohm - loops[0].z_ohm
    assert difference.real == pytest.approx(-0.5 / 4) and difference.imag == pytest.approx(0.15 * 5.29 / 4)


def test_a_supply_stands_behind_a_transformer_only_where_it_feeds_its_primary() -> None:
    found = by_states(two_ahead("main"), "load", "passing")
    assert {state: one.island.utility_behind for state, one in found.items()} == {
        state: state[0] == "present" for state in found
    }
    assert {state[0] for state in found} >= {"present", "absent"}


def test_every_source_ahead_of_two_transformers_in_a_row_has_a_loop_of_its_own() -> None:
    # 115 V to 57.5 V: a quarter once more
    text = two_ahead("main").replace("main: {}, sub: {}, far: {}", "main: {}, sub: {}, mid: {}, far: {}")
    text = text.replace("to: far", "to: mid").replace("\nboards:", f"{LAST}\nboards:").replace(*SERIES[2])
    found = by_states(text, "load", "passing")
    loops = [found[state].loop for state in (("present", "standing"), ("absent", "running"))]
    assert loops[0] is not None and loops[1] is not None
    assert (loops[1].z_ohm - loops[0].z_ohm).real == pytest.approx(-0.5 / 16)


@pytest.mark.parametrize("at", ["main", "sub"])
def test_a_device_on_the_way_from_one_of_two_sources_sees_a_part_of_what_a_transformer_takes(at: str) -> None:
    # what flows between the board of both and the transformer is all of it, what comes from either of them is not
    both = by_states(two_ahead(at), "load", "passing")["present", "running"]
    assert set(seen(both)) == ({"in", "out", "primary"} if at == "main" else {"primary"})


def test_devices_that_the_only_source_passes_see_all_of_it_in_each_state() -> None:
    found = by_states(two_ahead("main"), "load", "passing")
    assert set(seen(found["present", "standing"])) == {"service", "in", "out", "primary"}
    assert set(seen(found["absent", "running"])) == {"feed", "in", "out", "primary"}


def behind(source: str, secondary: str, device: str) -> str:
    """A source ahead of an isolating transformer, and one circuit behind it."""
    return (
        HEAD
        + f"""\
sources:
  inv: {{kind: inverter, {source}}}
  t: {{kind: transformer, winding: isolating, {secondary}, rating: 10 kVA, impedance: 4 %}}
boards: {{main: {{}}, far: {{}}}}
connections:
  feed: {{from: inv, to: main, cores: LINES N PE, size: 10 mm2, length: 0 m}}
  primary: {{from: main, to: t.in, cores: LINES N PE, size: 10 mm2, length: 0 m}}
  secondary: {{from: t.out, to: far, cores: LINES N PE, size: 10 mm2, length: 0 m}}
circuits:
  load: {{from: far, cores: L1 N PE, size: 2.5 mm2, length: 10 m, serves: fixed, through: [{{kind: mcb, {device}}}]}}
bonds: {{link: {{at: far}}}}
electrodes: {{rod: {{at: far}}}}
"""
    ).replace("LINES", "L1 L2 L3" if "L3" in source else "L1")


ONE = "phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed, fault-current: {limit: 40 A}"
THREE = "phases: L1 L2 L3, voltage: 230/400 V, rating: 15 kVA, neutral-bond: fixed, fault-current: {limit: 40 A}"


@pytest.mark.parametrize(
    ("source", "secondary", "current_a"),
    [
        # the power is the same on both sides: 40 A x 230 V
        (ONE, "phases: L1, voltage: 230 V", 40),
        (ONE, "phases: L1, voltage: 115 V", 80),
        # the voltages that are written on it are its turns, whatever it is joined to
        (ONE, "phases: L1, voltage: 120 V, primary-voltage: 240 V", 80),
        # one line of a star carries what one line of the other star gives; a delta would give more
        (THREE, "phases: L1 L2 L3, voltage: 230/400 V", 40),
        (THREE, "phases: L1 L2 L3, voltage: 115/200 V", 80),
    ],
)
def test_behind_a_transformer_a_fault_draws_no_more_than_the_source_ahead_of_it_gives(
    source: str, secondary: str, current_a: float
) -> None:
    fault = faults(behind(source, secondary, "curve: B, rating: 32 A"), "t")["load"]
    assert fault.current_a() == pytest.approx(current_a, rel=1e-2)
    (fed,) = fault.feds
    assert (fed.limited, fed.held_by) == (True, "inv")


@pytest.mark.parametrize(
    ("device", "found"),
    [
        # 40 A are five times 8 A (curve B: certain at once, IEC 60898-1 table 7) and less than three times 16 A
        ("curve: B, rating: 8 A", []),
        ("curve: B, rating: 16 A", ["load"]),
    ],
)
def test_a_breaker_behind_a_transformer_that_the_inverter_ahead_of_it_does_not_operate(
    device: str, found: list[str]
) -> None:
    weak = next(rule for rule in RULES if rule.id == "source-too-weak-to-trip")
    # over 150 m of PE the frame has more than the 50 V of IEC 60364-4-41, 415.2.2: 40 A x 1.33 ohm
    text = behind(ONE, "phases: L1, voltage: 230 V", device).replace("length: 10 m, serves", "length: 150 m, serves")
    site = testing.inspected(text, (weak,)).site
    assert [one for one in testing.found(site, weak.id) if one == "load"] == found


def test_an_inverter_that_ends_by_itself_ends_a_fault_behind_a_transformer() -> None:
    source = ONE.replace("{limit: 40 A}", "{limit: 40 A, for: 100 ms}")
    cleared = faults(behind(source, "phases: L1, voltage: 230 V", "curve: B, rating: 32 A"), "t")["load"].cleared()
    assert (cleared.by, cleared.trip.certain_s) == ("inv itself", 0.1)


def test_the_limit_holds_through_two_transformers_in_a_row() -> None:
    text = edited(
        behind(ONE, "phases: L1, voltage: 115 V", "curve: B, rating: 32 A"),
        *SERIES,
        ("\nboards:", f"{LAST}\nboards:"),
    )
    # 230 V to 115 V to 57.5 V: four times 40 A
    assert faults(text, "last")["load"].current_a() == pytest.approx(160, rel=1e-2)


def test_transformers_side_by_side_share_what_the_inverter_ahead_of_them_gives() -> None:
    text = edited(
        behind(ONE, "phases: L1, voltage: 230 V, may-parallel: [u]", "curve: B, rating: 32 A"),
        (
            "\nboards:",
            "\n  u: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, may-parallel: [t], rating: 10 kVA, impedance: 4 %}"
            "\nboards:",
        ),
        (
            "circuits:",
            """  u-in: {from: main, to: u.in, cores: L1 N PE, size: 10 mm2, length: 0 m}
  u-out: {from: u.out, to: far, cores: L1 N PE, size: 10 mm2, length: 0 m}
circuits:""",
        ),
    )
    assert faults(text, "t", "u")["load"].current_a() == pytest.approx(40, rel=1e-2)


def test_beside_a_supply_an_inverter_ahead_of_a_transformer_limits_nothing() -> None:
    # the supply gives what the loop draws
    found = by_states(two_ahead("main"), "load", "passing")["present", "running"]
    assert not any(fed.limited for fed in found.feds)


def test_what_a_device_sums_does_not_rest_on_the_size_of_its_own_cable() -> None:
    # L1 and N pass it with the same current, whatever their cable is: a bar of no length that nobody gave a size
    text = (
        HEAD
        + f"""\
sources:
  {GRID}
boards: {{main: {{}}, sub: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}}
  on: {{from: main, to: sub, cores: L1 N PE, n-size: 16 mm2, length: 0 m, through: [{{id: r, kind: rcd, residual: 30 mA}}]}}
circuits:
  load: {{from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 2.3 kW}}
"""
    )
    (rcd, *_) = facts_of(text).rcds_in_service
    assert rcd.total_a == pytest.approx(0, abs=1e-9)


# -- the direct-current side -----------------------------------------------------------------------------------------

CABIN = (
    HEAD
    + """\
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: no, neutral-bond: fixed}
direct-current:
  bank: {kind: battery, voltage: 48 V, earthed-pole: negative, internal-resistance: 8 mohm}
boards: {hut: {}}
connections:
  feed: {from: inv, to: hut, cores: L1 N PE, size: 10 mm2, length: 10 m}
  lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}
circuits:
  lamps: {from: hut, cores: L1 N PE}
"""
)
BANK = "bank: {kind: battery, voltage: 48 V, earthed-pole: negative, internal-resistance: 8 mohm}"
LEAD_OHM = 0.00387
"""10 m of 50 mm2 at 20 C: 0.387 ohm/km."""
BANK_V, BANK_OHM = 1.2 * 48, 0.9 * 0.008
"""FORMAT.md, direct current: 1.2 times the rated voltage over 0.9 of the resistance."""


GRID_AT_HUT = (
    ("sources:\n", f"sources:\n  {GRID}\n"),
    ("connections:\n", "connections:\n  service: {from: grid, to: hut, cores: L1 N PE, size: 10 mm2, length: 10 m}\n"),
)
UNBONDED = ("neutral-bond: fixed", "neutral-bond: none")
NO_PE = ("cores: DC+ DC- PE", "cores: DC+ DC-")


@pytest.mark.parametrize(
    ("edits", "joined"),
    [
        # what makes earth of a frame: a source that is bonded inside, a supply, a link, an electrode at the other end of the PE
        ((), True),
        ((NO_PE,), False),
        ((UNBONDED,), False),
        ((UNBONDED, *GRID_AT_HUT), True),
        ((UNBONDED, *GRID_AT_HUT, NO_PE), False),
        ((UNBONDED, ("circuits:", "bonds: {link: {at: hut}}\ncircuits:")), True),
        ((UNBONDED, ("circuits:", "electrodes: {rod: {at: hut}}\ncircuits:")), True),
    ],
)
def test_the_frame_of_a_battery_is_joined_where_its_pe_leads_to_earth(
    edits: tuple[tuple[str, str], ...], joined: bool
) -> None:
    assert {one.joined for one in facts_of(edited(CABIN, *edits)).direct_sides} == {joined}


BANKS = (
    HEAD
    + """\
sources: {inv: {kind: inverter, phases: L1, voltage: 230 V}}
boards: {bars: {bars: DC+ DC- M}}
direct-current:
  one: {kind: battery, voltage: 48 V, earthed-pole: ONE, internal-resistance: 8 mohm}
  two: {kind: battery, voltage: 48 V, earthed-pole: TWO, internal-resistance: 8 mohm}
connections: {CONNECTIONS}
"""
)
BESIDE = "a: {from: one, to: bars, cores: CORES}, b: {from: two, to: bars, cores: CORES}"
IN_SERIES = "a: {from: one, to: two, cores: DC-, lands-on: {DC-: DC+}}"


@pytest.mark.parametrize(
    ("one", "two", "connections", "clash"),
    [
        ("negative", "negative", BESIDE.replace("CORES", "DC+ DC-"), False),
        ("negative", "positive", BESIDE.replace("CORES", "DC+ DC-"), True),
        # between the middle and a pole lies half of the voltage, which earth short-circuits
        ("negative", "middle", BESIDE.replace("CORES", "DC+ DC- M"), True),
        ("middle", "negative", BESIDE.replace("CORES", "DC+ DC- M"), True),
        # two middles of one bus have one potential, with a conductor between them or without
        ("middle", "middle", BESIDE.replace("CORES", "DC+ DC- M"), False),
        ("middle", "middle", BESIDE.replace("CORES", "DC+ DC-"), False),
        # in series the negative pole of one is the positive pole of the other: two negative poles are a battery apart
        ("negative", "negative", IN_SERIES, True),
        ("negative", "positive", IN_SERIES, False),
        # and so are two middles
        ("middle", "middle", IN_SERIES, True),
    ],
)
def test_poles_that_are_earthed_at_two_conductors_of_a_side(one: str, two: str, connections: str, clash: bool) -> None:
    text = BANKS.replace("ONE", one).replace("TWO", two).replace("CONNECTIONS", connections)
    assert {side.id: bool(side.clash) for side in facts_of(text).direct_sides} == {"one": clash, "two": clash}


@pytest.mark.parametrize(("isolated", "across"), [("isolated: no, ", True), ("isolated: yes, ", False), ("", False)])
def test_the_monitor_of_an_it_system_sees_through_an_inverter_that_separates_nothing(
    isolated: str, across: bool
) -> None:
    # FORMAT.md, direct current: what is not written to be joined is not counted on
    text = edited(
        CABIN,
        ("isolated: no, neutral-bond: fixed", f"{isolated}earthing: IT, neutral-bond: none"),
        ("circuits:", "monitors: {imd: {at: hut, impedance: 1 Mohm}}\nelectrodes: {rod: {at: hut}}\ncircuits:"),
    )
    assert [side.watched_across for side in facts_of(text).direct_sides] == [across]


FOLLOWING = "inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: no, operation: grid-following}"
ON_ONE_LINE = (
    HEAD
    + """\
sources:
  FIRST
  SECOND
direct-current:
  bank: {kind: battery, voltage: 48 V, earthed-pole: negative, internal-resistance: 8 mohm}
boards: {hut: {}}
connections:
  service: {from: grid, to: hut, cores: L1 N PE, size: 10 mm2, length: 10 m}
  feed: {from: hut, to: inv.out, cores: L1 PE, size: 10 mm2, length: 10 m}
  lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}
circuits:
  lamps: {from: hut, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(("first", "second"), [(FOLLOWING, GRID), (GRID, FOLLOWING)])
def test_an_inverter_without_a_neutral_closes_the_loop_over_its_line(first: str, second: str) -> None:
    # whatever is written first: pole, PE, the star point of the supply, its winding, L1, the bridge, the other pole
    text = ON_ONE_LINE.replace("FIRST", first).replace("SECOND", second)
    (side,) = facts_of(text).direct_sides
    ((inverter, reference),) = side.inverters
    assert reference == "the star point of grid"
    loop = side.loop(inverter)
    assert loop is not None
    cables = {one for one in loop.through if "grid" not in one}
    assert cables == {"PE of lead", "PE of feed", "PE of service", "L1 of service", "L1 of feed", "DC+ of lead"}


TWO_INVERTERS = (
    HEAD
    + """\
sources:
  one: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: no, neutral-bond: none}
  two: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: no, neutral-bond: none}
direct-current:
  bank: {kind: battery, voltage: 48 V, earthed-pole: none, internal-resistance: 8 mohm}
changeovers: {co: {positions: [first, second], poles: POLES}}
boards: {hut: {}}
connections:
  feed-1: {from: one, to: co.first, cores: L1 N PE}
  feed-2: {from: two, to: co.second, cores: L1 N PE}
  on: {from: co, to: hut, cores: L1 N PE}
  lead-1: {from: bank, to: one.dc, cores: DC+ DC- PE}
  lead-2: {from: bank, to: two.dc, cores: DC+ DC- PE}
circuits:
  lamps: {from: hut, cores: L1 N PE}
bonds: {link: {at: hut}}
electrodes: {rod: {at: hut}}
"""
)


@pytest.mark.parametrize(("poles", "shared"), [("L1 N", set()), ("L1", {("one", "two")})])
def test_inverters_whose_neutrals_a_changeover_earths_one_at_a_time_share_nothing(
    poles: str, shared: set[tuple[str, str]]
) -> None:
    sides = facts_of(TWO_INVERTERS.replace("POLES", poles)).direct_sides
    assert {(a.id, b.id) for side in sides for a, b in side.shared} == shared


# -- currents of the direct-current side -----------------------------------------------------------------------------


def largest(text: str) -> dict[tuple[str, str], float]:
    """The largest short-circuit current at each place, where nothing is lacking."""
    return {
        (one.place, one.terminal): one.largest.known_a
        for one in facts_of(text).direct_currents
        if one.largest.lacking is None
    }


@pytest.mark.parametrize(("length", "more_ohm"), [("", 0.0), (", length: 10 m", 2 * LEAD_OHM)])
def test_bars_inside_an_enclosure_have_the_length_that_is_written(length: str, more_ohm: float) -> None:
    # FORMAT.md, currents: a bar without impedance where no length is written
    text = edited(
        CABIN,
        ("boards: {hut: {}}", "boards: {hut: {}, box: {}, bars: {inside: box}}"),
        ("to: inv.dc, cores", "to: box, cores"),
        ("circuits:", f"  bar: {{from: box, to: bars, cores: DC+ DC-, size: 50 mm2{length}}}\ncircuits:"),
    )
    found = largest(text)
    assert found["box", ""] == pytest.approx(BANK_V / (BANK_OHM + 2 * LEAD_OHM), rel=1e-3)
    assert found["bars", ""] == pytest.approx(BANK_V / (BANK_OHM + 2 * LEAD_OHM + more_ohm), rel=1e-3)


def test_between_two_enclosures_a_length_has_to_be_written() -> None:
    (at_inverter,) = [
        one.largest
        for one in facts_of(edited(CABIN, (", size: 50 mm2, length: 10 m", ""))).direct_currents
        if one.place == "inv"
    ]
    assert at_inverter.lacking is not None and at_inverter.lacking.what == "the length of lead"


ROOF = "roof: {kind: pv, voltage: 400 V, earthed-pole: negative, fault-current: 14 A}"


def test_an_array_gives_its_current_over_any_cable() -> None:
    # an array is a source of current: what its cable has changes nothing
    found = largest(edited(CABIN, (BANK, ROOF), ("from: bank", "from: roof"), (", size: 50 mm2, length: 10 m", "")))
    assert found == {("roof", ""): pytest.approx(14), ("inv", "dc"): pytest.approx(14)}


@pytest.mark.parametrize("isolators", [6, 7])
def test_least_currents_are_shown_for_64_positions(isolators: int) -> None:
    # six isolators have 64 positions, seven 128
    through = ", ".join("{kind: isolator, operable: yes}" for _ in range(isolators))
    text = edited(CABIN, ("length: 10 m}\ncircuits", f"length: 10 m, through: [{through}]}}\ncircuits"))
    (least,) = [one.least for one in facts_of(text).direct_currents if one.place == "inv"]
    if isolators == 6:
        # 0.95 x 0.9 x 48 V behind 8 milliohm and two warm cores
        assert least.lacking is None
        assert least.known_a == pytest.approx(0.95 * 0.9 * 48 / (0.008 + 2 * 1.2 * LEAD_OHM), rel=1e-3)
    else:
        assert least.lacking is not None and "more than 64 positions" in least.lacking.reason


SPLIT = edited(
    CABIN,
    ("boards: {hut: {}}", "boards: {hut: {}, first: {}, second: {}}"),
    (
        "lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}",
        """minus: {from: bank, to: inv.dc, cores: DC- PE, size: 50 mm2, length: 10 m}
  plus: {from: bank, to: first, cores: DC+, size: 50 mm2, length: 1 m}
  fused: {from: first, to: second, cores: DC+, size: 50 mm2, length: 1 m, through: [{kind: fuse, class: gG, rating: 125 A}]}
  on: {from: second, to: inv.dc, cores: DC+, size: 50 mm2, length: 1 m}""",
    ),
)
AT_DC = "connections:\n  roof-lead: {from: roof, to: inv.dc, cores: DC+ DC-, size: 6 mm2, length: 1 m}\n"


@pytest.mark.parametrize(
    ("edits", "at_most_a"),
    [
        ((), BANK_V / BANK_OHM),
        (((BANK, f"{BANK}\n  {ROOF}"), ("connections:\n", AT_DC)), BANK_V / BANK_OHM + 14),
        # a battery of which nothing is known bounds nothing
        (((BANK, BANK.replace(", internal-resistance: 8 mohm", "")),), None),
        (((BANK, f"{BANK}\n  {ROOF.replace(', fault-current: 14 A', '')}"), ("connections:\n", AT_DC)), None),
    ],
)
def test_a_fuse_among_single_cores_breaks_no_more_than_all_sources_give(
    edits: tuple[tuple[str, str], ...], at_most_a: float | None
) -> None:
    # both poles meet at neither end of its cable, so no short circuit is worked out there
    (peak,) = [one for one in facts_of(edited(SPLIT, *edits)).peaks if one.connection == "fused"]
    assert peak.lacking is not None
    assert peak.at_most_a == (None if at_most_a is None else pytest.approx(at_most_a))


def test_a_battery_of_less_voltage_lowers_what_a_far_fault_draws() -> None:
    # 400 V behind 1 ohm drive most through a long cable while the 48 V of little resistance are not joined to it:
    # 480 / (0.9 + 2 x 0.0741) A against a common voltage near 58 V
    text = edited(
        CABIN,
        (
            BANK,
            f"{BANK}\n  tall: {{kind: battery, voltage: 400 V, earthed-pole: negative, internal-resistance: 1 ohm}}",
        ),
        ("boards: {hut: {}}", "boards: {hut: {}, bars: {}}"),
        ("to: inv.dc, cores: DC+ DC- PE", "to: bars, cores: DC+ DC-"),
        ("50 mm2, length: 10 m}", "50 mm2, length: 0 m, through: [{kind: isolator, operable: yes}]}"),
        (
            "circuits:",
            """  tall-lead: {from: tall, to: bars, cores: DC+ DC-, size: 50 mm2, length: 0 m}
  far: {from: bars, to: inv.dc, cores: DC+ DC-, size: 2.5 mm2, length: 10 m}
circuits:""",
        ),
    )
    assert largest(text)["inv", "dc"] == pytest.approx(480 / (0.9 + 2 * 0.0741), rel=1e-3)


def test_positions_of_the_switches_are_told() -> None:
    text = edited(
        CABIN, ("length: 10 m}\ncircuits", "length: 10 m, through: [{id: q, kind: isolator, operable: yes}]}\ncircuits")
    )
    assert [one.positions for one in facts_of(text).direct_sides] == ["q closed", "q open"]
    # more of them than are worked out: none is told
    many = ", ".join(f"{{id: q{i}, kind: isolator, operable: yes}}" for i in range(11))
    text = edited(CABIN, ("length: 10 m}\ncircuits", f"length: 10 m, through: [{many}]}}\ncircuits"))
    assert [one.positions for one in facts_of(text).direct_sides] == [""]


# -- the loop of an earthed pole -------------------------------------------------------------------------------------


def loop(text: str) -> DirectLoop:
    """The loop of the only source through the only inverter."""
    (side,) = facts_of(text).direct_sides
    ((inverter, _),) = side.inverters
    found = side.loop(inverter)
    assert found is not None
    return found


LINKED = edited(CABIN, UNBONDED, ("boards:", "bonds: {link: {at: hut}}\nboards:"))
"""The neutral is tied at the board: PE of the lead and of the feed, the link, the neutral of the feed, and the other pole."""
FEED_OHM = 0.0183
"""10 m of 10 mm2 at 20 C: 1.83 ohm/km."""
LOOP_OHM = 2 * LEAD_OHM + 2 * FEED_OHM
BARS = (
    ("boards: {hut: {}}", "boards: {hut: {}, bars: {inside: hut}}"),
    ("bonds: {link: {at: hut}}", "bonds: {link: {at: bars}}"),
)


@pytest.mark.parametrize(
    ("edits", "ohm"),
    [
        ((), LOOP_OHM),
        # between a board and the bars inside it: nothing where no length is written, else a core and no PE, which they share
        ((*BARS, ("circuits:", "  bar: {from: hut, to: bars, cores: L1 N, size: 10 mm2}\ncircuits:")), LOOP_OHM),
        (
            (*BARS, ("circuits:", "  bar: {from: hut, to: bars, cores: L1 N, size: 10 mm2, length: 10 m}\ncircuits:")),
            LOOP_OHM + FEED_OHM,
        ),
    ],
)
def test_the_resistance_of_the_loop_of_an_earthed_pole(edits: tuple[tuple[str, str], ...], ohm: float) -> None:
    found = loop(edited(LINKED, *edits))
    assert found.ohm == pytest.approx(ohm, rel=1e-3)
    assert found.most_a == pytest.approx(BANK_V / BANK_OHM)
    assert found.whole_a == pytest.approx(BANK_V / (BANK_OHM + ohm), rel=1e-3)


def test_a_cable_of_the_loop_without_a_length_is_named() -> None:
    found = loop(edited(LINKED, (", size: 10 mm2, length: 10 m", "")))
    assert isinstance(found.ohm, Missing) and found.ohm.what == "the length of feed"
    assert found.most_a == pytest.approx(BANK_V / BANK_OHM) and found.whole_a == found.ohm


@pytest.mark.parametrize(
    ("source", "most", "whole"),
    [
        # an array gives its current, or less where its voltage does not drive that much through the loop
        ("kind: pv, voltage: 400 V, earthed-pole: negative, fault-current: 14 A", 14, 14),
        ("kind: pv, voltage: 1 V, earthed-pole: negative, fault-current: 30 A", 30, 1 / LOOP_OHM),
        ("kind: pv, earthed-pole: negative, fault-current: 14 A", 14, "the voltage of bank"),
        ("kind: pv, voltage: 400 V, earthed-pole: negative", "the fault-current of bank", "the fault-current of bank"),
        ("kind: battery, earthed-pole: negative, fault-current: 3 kA", 3000, "the voltage of bank"),
        ("kind: battery, earthed-pole: negative", "the voltage of bank", "the voltage of bank"),
    ],
)
def test_what_bounds_the_current_of_the_loop(source: str, most: float | str, whole: float | str) -> None:
    found = loop(edited(LINKED, (BANK, f"bank: {{{source}}}")))
    for value, expected in ((found.most_a, most), (found.whole_a, whole)):
        assert (value.what if isinstance(value, Missing) else pytest.approx(value, rel=1e-3)) == expected


@pytest.mark.parametrize(
    ("edits", "through"),
    [
        # a link of the installation before the star point of the supply, which is earthed too
        (GRID_AT_HUT, {"PE of lead", "PE of feed", "link", "N of feed", "DC+ of lead"}),
        # a set that is bonded at a shed of its own is another reference: the way over conductors counts, and no soil
        (
            (
                (
                    "cores: L1 N PE, size: 10 mm2, length: 10 m}\n  lead",
                    "cores: L1 N, size: 10 mm2, length: 10 m}\n  lead",
                ),
                ("boards: {hut: {}}", "boards: {hut: {}, shed: {}}"),
                ("bonds: {", "bonds: {apart: {at: shed}, "),
                (
                    "circuits:",
                    "  on: {from: hut, to: shed, cores: L1 N, size: 10 mm2, length: 10 m}\n"
                    "  earth: {from: bank, to: hut, cores: PE, size: 10 mm2, length: 10 m}\ncircuits:",
                ),
            ),
            {"PE of earth", "link", "N of feed", "DC+ of lead"},
        ),
    ],
)
def test_the_loop_closes_over_the_reference_that_conductors_join_to_the_battery(
    edits: tuple[tuple[str, str], ...], through: set[str]
) -> None:
    assert set(loop(edited(LINKED, *edits)).through) == through


# -- leads of a battery ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("length_m", "found"), [("3 m", []), ("3.1 m", ["bank"])])
def test_a_battery_without_a_fuse_feeds_the_cable_of_an_array_too(length_m: str, found: list[str]) -> None:
    # the fuse stands between the bars and the inverter; the cable to the array burns by what the battery gives into it
    text = edited(
        CABIN,
        (BANK, f"{BANK}\n  {ROOF}"),
        ("boards: {hut: {}}", "boards: {hut: {}, bars: {}}"),
        (
            "lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}",
            f"""lead: {{from: bank, to: bars, cores: DC+ DC- PE, size: 50 mm2, length: 1 m}}
  on: {{from: bars, to: inv.dc, cores: DC+ DC- PE, through: [{{kind: fuse, class: gG, rating: 125 A}}]}}
  roof-lead: {{from: bars, to: roof, cores: DC+ DC- PE, size: 6 mm2, length: {float(length_m[:-2]) - 1} m}}""",
        ),
    )
    assert list(testing.found(testing.inspected(text, (UNFUSED,)).site, "dc-unfused")) == found
