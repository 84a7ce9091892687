"""Batteries and arrays, their currents, what watches them, and the largest currents of devices: small sites worked by hand.

Resistances are those of IEC 60228, class 2, at 20 C, as the tables print them (50 mm2: 0.387 ohm/km, 10 mm2: 1.83 ohm/km).
"""

from __future__ import annotations

import pytest

from described import edited, facts_of
from onebond import testing
from onebond.circuit.impedances import Missing
from onebond.facts import Failure, Peak
from onebond.facts.direct import DirectSide
from onebond.facts.direct_currents import BatteryLeads, DirectCurrent
from onebond.facts.direct_loop import DirectLoop
from onebond.facts.unknown import Unknown
from onebond_rules import RULES

CONFLICT = next(rule for rule in RULES if rule.id == "dc-earth-conflict")
HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"

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
"""A battery of which a pole is earthed, on an inverter that separates nothing and is bonded inside."""

GRID = "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}"
INVERTER = "inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, isolated: no, neutral-bond: fixed}"
UNBONDED = ("neutral-bond: fixed", "neutral-bond: none")


def sides(text: str) -> dict[str, list[DirectSide]]:
    """The direct-current sources in each position of their switches that makes a difference."""
    found: dict[str, list[DirectSide]] = {}
    for side in facts_of(text).direct_sides:
        found.setdefault(side.id, []).append(side)
    return found


SET = "set: {kind: generator, phases: L1, voltage: 230 V, rating: 4.6 kVA, subtransient-reactance: 10 %, neutral-bond: none"
FOLLOWS = "roof: {kind: inverter, phases: L1, voltage: 230 V, rating: 4.6 kVA, operation: grid-following"
"""4.6 kVA at 230 V: 20 A."""


def beside(*sources: str) -> tuple[tuple[str, str], ...]:
    """Further sources on the board of the supply."""
    names = [one.partition(":")[0] for one in sources]
    feeds = "".join(
        f"  {one}-feed: {{from: {one}, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}}\n" for one in names
    )
    return (
        ("sources:\n", "sources:\n" + "".join(f"  {one}}}\n" for one in sources)),
        ("circuits:", f"{feeds}circuits:"),
    )


# -- an earthed pole and an earthed neutral --------------------------------------------------------------------------


def test_the_star_point_of_a_supply_ties_no_neutral_that_it_does_not_reach() -> None:
    # the supply feeds a board of its own: nothing ties the neutral of the inverter, so no loop closes through its bridge
    apart = edited(
        CABIN,
        UNBONDED,
        ("sources:\n", f"sources:\n  {GRID}\n"),
        ("boards: {hut: {}}", "boards: {hut: {}, mill: {}}"),
        ("connections:\n", "connections:\n  service: {from: grid, to: mill, cores: L1 N PE}\n"),
    )
    (bank,) = sides(apart)["bank"]
    assert [(inverter.id, reference) for inverter, reference in bank.inverters] == [("inv", "")]
    assert list(testing.found(testing.inspected(apart, (CONFLICT,)).site, CONFLICT.id)) == []
    # at the board of the inverter it does
    joined = edited(apart, ("from: grid, to: mill", "from: grid, to: hut"))
    assert {reference for side in sides(joined)["bank"] for _, reference in side.inverters} == {
        "the star point of grid"
    }


def test_a_battery_that_is_parted_while_its_inverter_runs_closes_no_loop_of_known_current() -> None:
    # the supply ties the neutral of the inverter that is off, and the isolator is closed then: the two sides meet earth
    # twice, but the bridge stands still and no current of a loop is told
    text = edited(
        CABIN,
        UNBONDED,
        ("sources:\n", f"sources:\n  {GRID}\n"),
        ("connections:\n", "connections:\n  service: {from: grid, to: hut, cores: L1 N PE}\n"),
        ("length: 10 m}\ncircuits", "length: 10 m, through: [{id: q, kind: isolator, operable: yes}]}\ncircuits"),
        ("circuits:\n", "interlocks: [{never: {inv: inverting, q: closed}}]\ncircuits:\n"),
    )
    (result,) = [one for one in testing.inspected(text, (CONFLICT,)).site.results if one.kind == "fail"]
    assert result.subject == "bank"
    assert [name for name, _ in result.figures] == ["switches of the d.c. side"]
    # without the interlock there are the figures of the loop too
    free = edited(text, ("interlocks: [{never: {inv: inverting, q: closed}}]\n", ""))
    (result,) = [one for one in testing.inspected(free, (CONFLICT,)).site.results if one.kind == "fail"]
    assert "loop through" in dict(result.figures)


# -- monitors --------------------------------------------------------------------------------------------------------

IT = ("isolated: no, neutral-bond: fixed", "isolated: no, earthing: IT, neutral-bond: none")
ROD = ("circuits:", "electrodes: {rod: {at: hut}}\ncircuits:")


@pytest.mark.parametrize(
    ("edits", "across"),
    [
        ((IT, ("circuits:", "monitors: {imd: {at: hut}}\ncircuits:")), True),
        # nothing watches the IT system, so nothing watches the battery over it
        ((IT,), False),
        # a monitor in a system whose neutral is earthed sees the bond and no fault
        ((("circuits:", "monitors: {imd: {at: hut}}\ncircuits:"),), False),
    ],
)
def test_what_watches_a_battery_over_an_inverter_that_separates_nothing(
    edits: tuple[tuple[str, str], ...], across: bool
) -> None:
    assert {one.watched_across for one in facts_of(edited(CABIN, ROD, *edits)).direct_sides} == {across}


SPARE = "spare: {kind: battery, voltage: 48 V, earthed-pole: none, internal-resistance: 8 mohm}"
CHANGED_OVER = edited(
    CABIN,
    ("boards:", "changeovers: {ds: {positions: [a, b], poles: DC+ DC-}}\nboards:"),
    (
        "earthed-pole: negative, internal-resistance: 8 mohm}",
        f"earthed-pole: none, internal-resistance: 8 mohm}}\n  {SPARE}",
    ),
    (
        "lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}",
        "lead-a: {from: bank, to: ds.a, cores: DC+ DC-, size: 50 mm2, length: 1 m}\n"
        "  lead-b: {from: spare, to: ds.b, cores: DC+ DC-, size: 50 mm2, length: 1 m}\n"
        "  lead: {from: ds, to: inv.dc, cores: DC+ DC-, size: 50 mm2, length: 1 m}",
    ),
)


@pytest.mark.parametrize(
    ("text", "monitors", "watched"),
    [
        # one bus is watched by what stands on it, and counts once
        (CHANGED_OVER.replace("ds.b", "ds.a"), "imd: {at: inv.dc}", {"bank": ("imd",)}),
        # of two batteries that a changeover joins to the inverter in turn, the second has nothing that the first has not
        (CHANGED_OVER, "one: {at: inv.dc}, two: {at: bank}", {"bank": ("one", "two")}),
        # here it has
        (CHANGED_OVER, "one: {at: inv.dc}, two: {at: spare}", {"bank": ("one",), "spare": ("one", "two")}),
    ],
)
def test_each_set_of_monitors_on_a_direct_current_side_is_told_once(
    text: str, monitors: str, watched: dict[str, tuple[str, ...]]
) -> None:
    found = facts_of(edited(text, ("circuits:", f"monitors: {{{monitors}}}\ncircuits:"))).isolated
    assert [(one.id, one.monitors) for one in found if one.island is None] == list(watched.items())


# -- cases -----------------------------------------------------------------------------------------------------------

APART = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  other: {kind: generator, phases: L1, neutral-bond: none}
  set: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, mill: {}}
changeovers: {co: {positions: [mains, own], transition: closed, poles: L1 N}}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  other-feed: {from: other, to: co.own, cores: L1 N PE}
  on: {from: co, to: main, cores: L1 N PE}
  feed: {from: set, to: mill, cores: L1 N PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: mill, cores: L1 N PE}
bonds: {link: {at: mill}}
"""
)


def test_what_a_set_does_not_reach_says_nothing_of_its_island() -> None:
    # neither the supply nor the changeover belongs to the island of the set: whether the one is detached or the other stands
    # between its positions is all the same there, and a second link is a lasting fault in it
    found = facts_of(APART).islands
    (alone,) = [island for island in found if island.fed_by("set")]
    assert alone.detached == ()
    assert not alone.changing_over
    assert any(island.changing_over for island in found)
    twice = next(rule for rule in RULES if rule.id == "neutral-bonded-twice")
    failing = [one for one in testing.inspected(APART, (twice,)).site.results if one.kind == "fail"]
    assert [(one.subject, one.level) for one in failing] == [("link", "error")]


@pytest.mark.parametrize(
    ("bond", "told"),
    [
        ("", ()),
        ("bonds: {link: {at: hut}}\n", ()),
        # it limits a fault to little: nothing disconnects by it
        ("bonds: {link: {at: hut, impedance: 1 kohm}}\n", ("link is an impedance, which is no reference",)),
    ],
)
def test_a_link_through_an_impedance_is_no_reference(bond: str, told: tuple[str, ...]) -> None:
    (feeding,) = facts_of(edited(CABIN, UNBONDED) + bond).feedings
    assert feeding.silent == told
    assert [one.id for one in feeding.island.references] == (["link"] if bond and not told else [])


@pytest.mark.parametrize(
    ("bond", "electrode"),
    [
        ("{at: sub}", "rod"),
        # neither an impedance nor a link that is open while the set runs joins the electrode to its link
        ("{at: sub, impedance: 1 kohm}", ""),
        ("{at: sub, closed: {set: standing}}", ""),
    ],
)
def test_an_electrode_that_the_link_of_a_set_reaches_over_its_pen(bond: str, electrode: str) -> None:
    text = (
        HEAD
        + f"""\
sources:
  set: {{kind: generator, phases: L1, neutral-bond: none}}
boards: {{main: {{}}, sub: {{}}}}
connections:
  feed: {{from: set, to: main, cores: L1 N PE}}
  on: {{from: main, to: sub, cores: L1 PEN}}
circuits:
  one: {{from: sub, cores: L1 N PE}}
bonds: {{link: {{at: main}}, other: {bond}}}
electrodes: {{rod: {{at: sub, resistance: 20 ohm}}}}
"""
    )
    assert {feeding.electrode for feeding in facts_of(text).feedings} == {electrode}


def test_the_residual_current_devices_of_an_island_are_closed_and_have_a_source_or_a_reference_on_either_side() -> None:
    # r lies between supply and set; of the circuit nothing but a load lies behind its own; that of the barn is another island's
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1, neutral-bond: fixed}
  other: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, sub: {}, barn: {}, loft: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 300 mA}]}
  feed: {from: set, to: sub, cores: L1 N PE}
  barn-feed: {from: other, to: barn, cores: L1 N PE}
  up: {from: barn, to: loft, cores: L1 N PE, through: [{id: s, kind: rcd, residual: 300 mA}]}
circuits:
  one: {from: sub, cores: L1 N PE, through: [{id: t, kind: rcd, residual: 30 mA}]}
  two: {from: main, cores: L1 N PE}
  three: {from: barn, cores: L1 N PE}
bonds: {link: {at: loft}}
electrodes: {rod: {at: main}}
"""
    )
    facts = facts_of(text)
    number = next(i for i, one in enumerate(facts.network.variables) if one.name == "r")
    found = {(island.feeds[0].id, island.value(number), *(rcd.name for rcd in island.rcds)) for island in facts.islands}
    assert {one[1:] for one in found if one[0] in ("grid", "set")} == {("closed", "r"), ("open",)}
    assert {one for one in found if one[0] == "other"} == {("other", "", "s"), ("other", "")}


def test_a_pen_that_begins_behind_the_link_of_a_set_is_none_of_a_source() -> None:
    # L, N and PE lead from the set to the board with the link; only from there on there is a PEN
    text = (
        HEAD
        + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, sub: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 PEN}
circuits:
  one: {from: sub, cores: L1 N PE}
bonds: {link: {at: main}}
"""
    )
    assert {(one.id, one.of_source) for one in facts_of(text).pen_landings} == {("sub", False)}
    whole = edited(text, ("to: main, cores: L1 N PE", "to: main, cores: L1 PEN"))
    assert {(one.id, one.of_source) for one in facts_of(whole).pen_landings} == {("sub", True)}


def test_inverters_of_a_group_that_no_conductor_joins_feed_what_hangs_on_each() -> None:
    text = (
        HEAD
        + """\
sources:
  one: {kind: inverter, phases: L1, neutral-bond: none}
  two: {kind: inverter, phases: L1, neutral-bond: fixed}
groups: {pair: {members: [one, two]}}
boards: {hut: {}, mill: {}}
connections:
  feed-1: {from: one, to: hut, cores: L1 N PE}
  feed-2: {from: two, to: mill, cores: L1 N PE}
circuits:
  lamps: {from: hut, cores: L1 N PE}
  pump: {from: mill, cores: L1 N PE}
"""
    )
    # nor does the link of the one ever tie the neutral of the other
    found = {(one.island.supplies, bool(one.island.references), one.meets) for one in facts_of(text).feedings}
    assert found == {(("hut", "lamps"), False, False), (("mill", "pump"), True, True)}


AHEAD = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  t: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, rating: 50 kVA, impedance: 4 %, neutral-bond: fixed}
boards: {main: {}, out: {}}
WAYS
  on: {from: t.out, to: out, cores: L1 N PE, size: 2.5 mm2, length: 0 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 2.5 mm2, length: 0 m}
"""
)
CHANGED = """\
changeovers: {co: {positions: [near, far], poles: L1 N}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
  near: {from: main, to: co.near, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
  far: {from: main, to: co.far, cores: L1 N PE, size: 2.5 mm2, length: 110 m}
  in: {from: co, to: t.in, cores: L1 N PE, size: 2.5 mm2, length: 0 m}"""
LINKED_BY_A_RELAY = """\
bonds: {link: {at: main, closed: {set: standing}}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 2.5 mm2, length: 100 m}
  set-feed: {from: set, to: mill, cores: L1 N PE, size: 16 mm2, length: 0 m}
  in: {from: main, to: t.in, cores: L1 N PE, size: 2.5 mm2, length: 0 m}"""
SET_APART = (
    (
        "sources:\n",
        "sources:\n  set: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, neutral-bond: fixed}\n",
    ),
    ("out: {}}", "out: {}, mill: {}}"),
)
CORE_OHM = 100 * 7.41e-3 * 1.2
"""100 m of 2.5 mm2 at 70 C."""


@pytest.mark.parametrize(
    ("text", "more_ohm"),
    [
        # a changeover puts 100 m more into line and neutral
        (AHEAD.replace("WAYS", CHANGED), 2 * CORE_OHM),
        # with the link open the neutral of the service carries all; with it closed its PE, of the same size, carries half.
        # Half of the loop impedance of the supply lies in each way back (FORMAT.md, currents)
        (edited(AHEAD.replace("WAYS", LINKED_BY_A_RELAY), *SET_APART), (CORE_OHM + 0.25) / 2),
    ],
)
def test_the_way_ahead_of_a_transformer_counts_in_each_state(text: str, more_ohm: float) -> None:
    # at a ratio of 1, and with next to no reactance in what differs
    found = [one for one in facts_of(text).earth_faults if one.id == "one" and one.island.fed_by("t")]
    near, far = sorted({round(230 / one.current_a(), 3) for one in found})
    assert far - near == pytest.approx(more_ohm, rel=0.02)


# -- currents of batteries and arrays --------------------------------------------------------------------------------

BANK = "bank: {kind: battery, voltage: 48 V, earthed-pole: negative, internal-resistance: 8 mohm}"
BANK_V, BANK_OHM = 1.2 * 48, 0.9 * 0.008
"""FORMAT.md, direct current: 1.2 times the rated voltage over 0.9 of the resistance."""
LEAD = "lead: {from: bank, to: inv.dc, cores: DC+ DC- PE, size: 50 mm2, length: 10 m}"
LEAD_OHM = 0.00387
ROOF = "roof: {kind: pv, voltage: 400 V, earthed-pole: none, fault-current: 14 A}"
ROOF_LEAD = "roof-lead: {from: roof, to: inv.dc, cores: DC+ DC-, size: 6 mm2, length: 1 m}"
WITH_ROOF = edited(CABIN, (BANK, f"{BANK}\n  {ROOF}"), (LEAD, f"{LEAD}\n  {ROOF_LEAD}"))
TURNED_OVER = edited(
    CHANGED_OVER, ("from: bank, to: ds.a", "from: bank, to: ds.b"), ("from: spare, to: ds.b", "from: spare, to: ds.a")
)
UNKNOWN = edited(SPARE, (", internal-resistance: 8 mohm", ""))
WITH_SPARE = edited(
    CABIN,
    (BANK, f"{BANK}\n  {SPARE}"),
    (LEAD, f"{LEAD}\n  spare-lead: {{from: spare, to: inv.dc, cores: DC+ DC-, size: 50 mm2, length: 10 m}}"),
)


def currents(text: str) -> dict[str, DirectCurrent]:
    """The currents at each place of the direct-current side."""
    return {one.place: one for one in facts_of(text).direct_currents}


AT_TERMINALS_A = BANK_V / BANK_OHM
AT_INVERTER_A = BANK_V / (BANK_OHM + 2 * LEAD_OHM)


@pytest.mark.parametrize(
    ("text", "lacking", "at_most_a"),
    [
        (CABIN, "", AT_INVERTER_A),
        (WITH_ROOF, "", AT_INVERTER_A + 14),
        (WITH_SPARE, "", 2 * AT_INVERTER_A),
        # a length that is not written only lowers what the sources give at their own terminals
        (edited(WITH_ROOF, ("size: 50 mm2, length: 10 m", "size: 50 mm2")), "the length of lead", AT_TERMINALS_A + 14),
        # what an array gives, or a battery, is bounded by nothing where it is not written
        (edited(WITH_ROOF, (", fault-current: 14 A", "")), "the fault-current of roof", None),
        (
            edited(WITH_SPARE, (SPARE, UNKNOWN)),
            "the fault-current or the internal-resistance of spare",
            None,
        ),
        # without a voltage its declared current is the bound still, and with figures that cannot be nothing is
        (edited(CABIN, (BANK, "bank: {kind: battery, fault-current: 3 kA}")), "the voltage of bank", 3000),
        (
            edited(CABIN, (BANK, "bank: {kind: battery, voltage: 48 V, fault-current: 0 A}")),
            "the figures of bank",
            None,
        ),
        # in one position of a changeover is enough, whichever it is
        (edited(CHANGED_OVER, (SPARE, UNKNOWN)), "the fault-current or the internal-resistance of spare", None),
        (
            edited(TURNED_OVER, (SPARE, UNKNOWN)),
            "the fault-current or the internal-resistance of spare",
            None,
        ),
        # each of two cables in series may be the open end; neither length alone shows a current
        (
            edited(
                CABIN,
                ("boards: {hut: {}}", "boards: {hut: {}, bars: {}}"),
                (
                    LEAD,
                    "lead: {from: bank, to: bars, cores: DC+ DC-, size: 50 mm2}\n"
                    "  on: {from: bars, to: inv.dc, cores: DC+ DC-, size: 50 mm2}",
                ),
            ),
            "the length of lead",
            AT_TERMINALS_A,
        ),
    ],
)
def test_what_is_known_of_the_largest_current_at_an_inverter(text: str, lacking: str, at_most_a: float | None) -> None:
    largest = currents(text)["inv"].largest
    assert (largest.lacking.what if largest.lacking else "") == lacking
    assert largest.at_most_a == (None if at_most_a is None else pytest.approx(at_most_a, rel=1e-3))
    if not lacking:
        assert largest.known_a == pytest.approx(at_most_a, rel=1e-3)


def test_the_least_current_is_that_of_the_night_and_of_the_weakest_battery() -> None:
    # 0.95 x 0.9 x 48 V behind the whole resistance and two cores at 70 C (1.2 times); an array counts for nothing
    alone = 0.95 * 0.9 * 48 / (0.008 + 2 * 1.2 * LEAD_OHM)
    assert currents(WITH_ROOF)["inv"].least.known_a == pytest.approx(alone, rel=1e-3)
    # in one position of the changeover the current of the battery is not written: so what is the least is not known
    for text in (CHANGED_OVER, TURNED_OVER):
        least = currents(edited(text, (SPARE, UNKNOWN)))["inv"].least
        assert least.lacking is not None
        assert least.lacking.what == "the fault-current or the internal-resistance of spare"


@pytest.mark.parametrize(
    ("plus_m", "minus_m", "middle_m", "largest_a", "least_a"),
    [
        # the half between M and DC- drives most, and that between M and DC+ least
        (10, 1, 1, 132 / (0.0225 + 0.000774), 94.05 / (0.025 + 1.2 * (0.00387 + 0.000387))),
        (1, 10, 1, 132 / (0.0225 + 0.000774), 94.05 / (0.025 + 1.2 * (0.00387 + 0.000387))),
        # a long middle conductor: both halves together drive most
        (1, 1, 10, 264 / (0.045 + 0.000774), 94.05 / (0.025 + 1.2 * (0.00387 + 0.000387))),
        # between the outer ones a whole battery has twice the voltage and twice the resistance, and the cables count half
        (10, 10, 10, 264 / (0.045 + 0.00774), 94.05 / (0.025 + 1.2 * 0.00774)),
    ],
)
def test_short_circuits_of_a_side_with_a_middle_conductor(
    plus_m: int, minus_m: int, middle_m: int, largest_a: float, least_a: float
) -> None:
    # 1.2 x 220 V = 264 V behind 45 milliohm, and 0.95 x 0.9 x 220 V = 188.1 V behind 50 milliohm; 0.387 milliohm a metre
    text = (
        HEAD
        + f"""\
sources: {{inv: {{kind: inverter, phases: L1, voltage: 230 V}}}}
boards: {{bars: {{bars: DC+ DC- M}}}}
direct-current:
  bank: {{kind: battery, voltage: 220 V, earthed-pole: middle, internal-resistance: 50 mohm}}
connections:
  plus: {{from: bank, to: bars, cores: DC+, size: 50 mm2, length: {plus_m} m}}
  minus: {{from: bank, to: bars, cores: DC-, size: 50 mm2, length: {minus_m} m}}
  middle: {{from: bank, to: bars, cores: M, size: 50 mm2, length: {middle_m} m}}
"""
    )
    found = currents(text)["bars"]
    assert found.largest.known_a == pytest.approx(largest_a, rel=1e-3)
    assert found.least.known_a == pytest.approx(least_a, rel=1e-3)
    # a pole that is open in one position drives nothing there, and the other half is the least then
    opened = text.replace(
        "length: " + f"{plus_m} m}}", f"length: {plus_m} m, through: [{{kind: isolator, operable: yes}}]}}", 1
    )
    assert currents(opened)["bars"].least.known_a == pytest.approx(least_a, rel=1e-3)


def test_nothing_limits_the_current_between_bars_that_are_crossed() -> None:
    text = edited(
        CABIN,
        ("boards: {hut: {}}", "boards: {hut: {}, box: {}, bars: {inside: box}}"),
        ("to: inv.dc, cores", "to: box, cores"),
        ("circuits:", "  bar: {from: box, to: bars, cores: DC+ DC-, lands-on: {DC-: DC+}}\ncircuits:"),
    )
    for amount in (currents(text)["box"].largest, currents(text)["box"].least):
        assert amount.lacking is not None and amount.lacking.reason == "nothing limits the current at box"
        assert amount.at_most_a is None


def test_a_battery_that_is_joined_with_its_poles_crossed_takes_away_what_the_other_gives() -> None:
    # the two drive each other, and between the bars lies nothing: the most is drawn with the isolator open
    text = edited(
        WITH_SPARE,
        (
            "to: inv.dc, cores: DC+ DC-, size: 50 mm2, length: 10 m}",
            "to: inv.dc, cores: DC+ DC-, lands-on: {DC+: DC-, DC-: DC+}, size: 50 mm2, length: 10 m, "
            "through: [{kind: isolator, operable: yes}]}",
        ),
    )
    assert currents(text)["inv"].largest.known_a == pytest.approx(AT_INVERTER_A, rel=1e-3)


def test_an_array_of_another_voltage_leaves_the_widest_position_the_worst() -> None:
    # 2048 positions are more than are worked out one by one; with all isolators closed the current is the largest
    isolators = ", ".join("{kind: isolator, operable: yes}" for _ in range(11))
    text = edited(WITH_ROOF, (LEAD, LEAD.replace("length: 10 m", f"length: 10 m, through: [{isolators}]")))
    largest = currents(text)["inv"].largest
    assert largest.lacking is None and largest.known_a == pytest.approx(AT_INVERTER_A + 14, rel=1e-3)


def test_an_isolator_breaks_no_short_circuit() -> None:
    unfused = next(rule for rule in RULES if rule.id == "dc-unfused")
    for device, found in (("{kind: isolator}", ["bank"]), ("{kind: fuse, class: gG, rating: 125 A}", [])):
        text = edited(CABIN, (LEAD, LEAD.replace("length: 10 m", f"length: 10 m, through: [{device}]")))
        assert list(testing.found(testing.inspected(text, (unfused,)).site, unfused.id)) == found
        assert [one.connection for one in facts_of(text).peaks if one.direct] == ([] if found else ["lead"])


SINGLE = edited(
    CABIN,
    ("boards: {hut: {}}", "boards: {hut: {}, first: {}, second: {}}"),
    (
        LEAD,
        """minus: {from: bank, to: inv.dc, cores: DC- PE, size: 50 mm2, length: 10 m}
  plus: {from: bank, to: first, cores: DC+, size: 50 mm2, length: 1 m}
  fused: {from: first, to: second, cores: DC+, size: 50 mm2, length: 1 m, through: [{kind: fuse, class: gG, rating: 125 A}]}
  on: {from: second, to: inv.dc, cores: DC+, size: 50 mm2, length: 1 m}""",
    ),
)
"""Cables of one core each; both poles meet at neither end of the one with the fuse."""
SMALL = edited(
    SINGLE, (BANK, f"{BANK}\n  {ROOF}".replace("14 A", "50 mA")), ("connections:\n", f"connections:\n  {ROOF_LEAD}\n")
)
SWITCHES = [f"q{i}" for i in range(11)]
MANY = edited(
    CABIN,
    (LEAD, LEAD.replace("length: 10 m", "length: 10 m, through: [{kind: fuse, class: gG, rating: 125 A}]")),
    (
        "circuits:",
        "  aid: {from: bank, to: inv.dc, cores: DC+ DC-, size: 50 mm2, length: 10 m, through: ["
        + ", ".join(f"{{id: {one}, kind: isolator, operable: yes}}" for one in SWITCHES)
        + f"]}}\ninterlocks: [{{never: {{{', '.join(f'{one}: open' for one in SWITCHES)}}}}}]\ncircuits:",
    ),
)
"""An interlock that names eleven isolators: 2047 positions."""


@pytest.mark.parametrize(
    ("text", "connection", "why", "at_most_a"),
    [
        (SINGLE, "fused", "one pole alone lands at each end of fused", AT_TERMINALS_A),
        # a small module adds what it gives, however little
        (SMALL, "fused", "one pole alone lands at each end of fused", AT_TERMINALS_A + 0.05),
        (MANY, "lead", "the d.c. side of lead has more than 1024 positions of its switches", AT_TERMINALS_A),
    ],
)
def test_a_fuse_whose_current_is_not_worked_out_breaks_no_more_than_all_sources_give(
    text: str, connection: str, why: str, at_most_a: float
) -> None:
    (peak,) = [one for one in facts_of(text).peaks if one.direct and one.connection == connection]
    assert peak.lacking is not None and peak.lacking.reason == why
    assert peak.at_most_a == pytest.approx(at_most_a, rel=1e-6)


# -- leads of a battery that nothing protects ------------------------------------------------------------------------


def leads(text: str) -> dict[str, BatteryLeads]:
    """What a short circuit behind each battery reaches without an overcurrent device."""
    return {one.id: one for one in facts_of(text).battery_leads}


ON_BARS = edited(
    CABIN,
    (BANK, BANK.replace("negative", "none")),
    ("boards: {hut: {}}", "boards: {hut: {}, bars: {}}"),
    (
        LEAD,
        """plus: {from: bank, to: bars, cores: DC+, size: 50 mm2, length: 2 m}
  minus: {from: bank, to: bars, cores: DC-, size: 50 mm2, length: 5 m}
  on: {from: bars, to: inv.dc, cores: DC+ DC-, through: [{kind: fuse, class: gG, rating: 125 A}]}""",
    ),
)
BY_CHANGEOVER = edited(
    CHANGED_OVER,
    ("boards: {hut: {}}", "boards: {hut: {}, bars: {}}"),
    (
        "lead: {from: ds, to: inv.dc, cores: DC+ DC-, size: 50 mm2, length: 1 m}",
        "lead: {from: ds, to: bars, cores: DC+ DC-, size: 50 mm2, length: 2 m}",
    ),
)


@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        # the longer of its two cores: along it the current of a short circuit is the least
        (ON_BARS, {"bars": 5}),
        (edited(ON_BARS, ("length: 2 m", "length: 7 m")), {"bars": 7}),
        (edited(ON_BARS, (", length: 2 m", "")), {"bars": "the length of plus"}),
        (edited(ON_BARS, (", length: 5 m", "")), {"bars": "the length of minus"}),
        # a bar inside an enclosure has no length where none is written
        (
            edited(
                ON_BARS,
                ("bars: {}}", "bars: {}, inner: {inside: bars}}"),
                ("  on: {from: bars", "  bar: {from: bars, to: inner, cores: DC+ DC-}\n  on: {from: bars"),
            ),
            {"bars": 5, "inner": 5},
        ),
        # the contacts of a changeover add nothing
        (BY_CHANGEOVER, {"ds": 1, "bars": 3}),
        # behind a cable of unknown length no length is known
        (
            edited(
                BY_CHANGEOVER,
                ("to: ds.a, cores: DC+ DC-, size: 50 mm2, length: 1 m", "to: ds.a, cores: DC+ DC-, size: 50 mm2"),
            ),
            {"ds": "the length of lead-a", "bars": "the length of lead-a"},
        ),
    ],
)
def test_how_far_a_battery_reaches_before_a_fuse(text: str, lengths: dict[str, float | str]) -> None:
    found = {
        mention.text.rpartition(" ")[2]: length.what if isinstance(length, Missing) else length
        for mention, length in leads(text)["bank"].ways
    }
    assert found == lengths


def test_the_cable_that_no_fuse_protects_is_pointed_at() -> None:
    (mention,) = leads(CABIN)["bank"].bare
    assert (mention.subject, mention.route) == ("lead", ("connections", "lead"))


def test_the_way_of_a_battery_goes_on_at_the_middle_of_another_one_on_which_it_lands() -> None:
    # nothing stands between the lower battery and the inverter, over the middle of the other one and over its own pole
    text = edited(
        CABIN,
        (
            BANK,
            "low: {kind: battery, voltage: 24 V, earthed-pole: none}\n  tall: {kind: battery, voltage: 48 V, earthed-pole: none}",
        ),
        (
            LEAD,
            """link: {from: low, to: tall, cores: DC+, lands-on: {DC+: M}, size: 50 mm2, length: 1 m}
  middle: {from: tall, to: inv.dc, cores: M, size: 50 mm2, length: 1 m}
  minus: {from: low, to: inv.dc, cores: DC-, size: 50 mm2, length: 1 m}""",
        ),
    )
    assert [mention.subject for mention in leads(text)["low"].bare] == ["middle"]


def test_a_battery_on_a_bus_of_which_another_pole_is_earthed_too_lacks_its_fuse_all_the_same() -> None:
    # its own pole decides which conductor needs one
    for pole in ("positive", "negative"):
        text = edited(WITH_SPARE, (SPARE, SPARE.replace("none", pole)))
        found = leads(text)
        assert [len(found[one].bare) for one in ("bank", "spare")] == [1, 1]


# -- the loop of an earthed pole -------------------------------------------------------------------------------------

LINKED = edited(CABIN, UNBONDED, ("circuits:", "bonds: {link: {at: hut}}\ncircuits:"))
"""The neutral is tied at the board: PE of the lead and of the feed, the link, the neutral of the feed, and the other pole."""
FEED_OHM = 0.0183
"""10 m of 10 mm2 at 20 C: 1.83 ohm/km."""
LOOP_OHM = 2 * LEAD_OHM + 2 * FEED_OHM
AROUND = {"PE of lead", "PE of feed", "link", "N of feed", "DC+ of lead"}
HYBRID = edited(
    CABIN,
    ("neutral-bond: fixed", "mains-input: yes, neutral-through: solid, neutral-bond: none"),
    ("from: inv, to: hut", "from: inv.out, to: hut"),
    ("sources:\n", f"sources:\n  {GRID}\n"),
    (
        "connections:\n",
        "connections:\n  service: {from: grid, to: inv.in, cores: L1 N PE, size: 10 mm2, length: 10 m}\n",
    ),
)


def loop(text: str) -> DirectLoop:
    """The loop of the only source through the only inverter, with the switches as they stand first."""
    side = sides(text)["bank"][0]
    found = side.loop(side.inverters[0][0])
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "through", "ohm"),
    [
        (LINKED, AROUND, LOOP_OHM),
        # bonded inside, the inverter has the link at its terminals: no PE and no neutral of its feed is passed
        (CABIN, {"PE of lead", "DC+ of lead"}, 2 * LEAD_OHM),
        (
            edited(CABIN, (BANK, BANK.replace("negative", "positive"))),
            {"PE of lead", "DC- of lead"},
            2 * LEAD_OHM,
        ),
        # the same where it forms a system with another one
        (
            edited(
                CABIN,
                (
                    "direct-current:",
                    f"  {INVERTER.replace('inv:', 'two:')}\ngroups: {{pair: {{members: [inv, two]}}}}\ndirect-current:",
                ),
                (
                    "connections:\n",
                    "connections:\n  feed-2: {from: two, to: hut, cores: L1 N PE, size: 10 mm2, length: 10 m}\n",
                ),
            ),
            {"PE of lead", "DC+ of lead"},
            2 * LEAD_OHM,
        ),
        # earthed in the middle: of the outer poles that which is joined
        (
            edited(CABIN, (BANK, BANK.replace("negative", "middle")), ("cores: DC+ DC- PE", "cores: DC- M PE")),
            {"PE of lead", "DC- of lead"},
            2 * LEAD_OHM,
        ),
        # a link has what its conductor has
        (
            edited(LINKED, ("link: {at: hut}", "link: {at: hut, size: 10 mm2, length: 10 m}")),
            AROUND,
            LOOP_OHM + FEED_OHM,
        ),
        (edited(LINKED, ("link: {at: hut}", "link: {at: hut, length: 10 m}")), AROUND, "the size of link"),
        # of several entries that are lacking the first on the way is named
        (
            edited(LINKED, (", size: 50 mm2, length: 10 m", ""), (", size: 10 mm2, length: 10 m", "")),
            AROUND,
            "the length of lead",
        ),
        # without a protective conductor the soil is in the loop
        (edited(LINKED, ("DC+ DC- PE", "DC+ DC-")), {"link", "N of feed", "DC+ of lead"}, "bank"),
        # an inverter that passes its neutral through is no cable
        (
            HYBRID,
            {"PE of lead", "PE of service", "N of service", "DC+ of lead"},
            2 * LEAD_OHM + 2 * FEED_OHM,
        ),
        # the conductor of a plug that is never in leads nowhere, however short the way over it is
        (
            edited(
                LINKED,
                (
                    "connections:\n",
                    "interlocks: [{never: {aid: mated}}]\nconnections:\n"
                    "  aid: {from: bank, to: hut, cores: PE, size: 10 mm2, length: 1 m, plug: yes}\n",
                ),
            ),
            AROUND,
            LOOP_OHM,
        ),
    ],
)
def test_what_the_current_of_an_earthed_pole_passes(text: str, through: set[str], ohm: float | str) -> None:
    found = loop(text)
    assert set(found.through) == through
    if isinstance(ohm, str):
        assert isinstance(found.ohm, Missing) and found.ohm.what == ohm
        assert isinstance(found.whole_a, Missing)
    else:
        assert found.ohm == pytest.approx(ohm, rel=1e-3)
        assert found.whole_a == pytest.approx(BANK_V / (BANK_OHM + ohm), rel=1e-3)
    assert found.most_a == pytest.approx(AT_TERMINALS_A)


@pytest.mark.parametrize(
    ("edits", "whole"),
    [
        # 400 V would drive more through 7.7 milliohm than the array gives, and through nothing at all as well
        ((), 14),
        ((("size: 50 mm2, length: 10 m", "size: 50 mm2, length: 0 m"),), 14),
        ((("size: 50 mm2, length: 10 m", "size: 50 mm2"),), "the length of lead"),
        ((("size: 50 mm2, length: 10 m", "size: 50 mm2"), ("voltage: 400 V, ", "")), "the length of lead"),
        ((("voltage: 400 V, ", ""),), "the voltage of bank"),
    ],
)
def test_an_array_gives_no_more_into_a_loop_than_its_current(
    edits: tuple[tuple[str, str], ...], whole: float | str
) -> None:
    array = "bank: {kind: pv, voltage: 400 V, earthed-pole: negative, fault-current: 14 A}"
    found = loop(edited(edited(CABIN, (BANK, array)), *edits))
    assert found.most_a == 14
    assert (found.whole_a.what if isinstance(found.whole_a, Missing) else found.whole_a) == whole


def test_an_rcd_sees_the_loop_where_one_side_of_it_passes() -> None:
    # that of the feed sums L1 and N, and the direct current passes its N; that of a set on the same board sums nothing of it
    text = edited(
        edited(CABIN, UNBONDED, *beside(f"{SET}, may-parallel: [inv]")),
        ("length: 10 m}\n  lead", "length: 10 m, through: [{id: r, kind: rcd, residual: 300 mA}]}\n  lead"),
        (
            "to: main, cores: L1 N PE, size",
            "to: hut, cores: L1 N PE, through: [{id: s, kind: rcd, residual: 300 mA}], size",
        ),
        ("circuits:", "bonds: {link: {at: hut}}\ncircuits:"),
    )
    assert [rcd.name for rcd in loop(text).rcds] == ["r"]


# -- the largest current that a device may have to break -------------------------------------------------------------

MILL = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, fault-current: 2.3 kA}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
circuits:
  lamps: {from: main, cores: L1 N PE, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 6 A}]}
"""
)


def largest_at(text: str, connection: str = "lamps") -> Peak:
    """The peak at the device of a cable with every source at work."""
    found = [one for one in facts_of(text).peaks if one.connection == connection and one.island is not None]
    return max(found, key=lambda one: len(one.island.feeds) if one.island else 0)


NO_LENGTH = ("to: main, cores: L1 N PE, size: 16 mm2, length: 0 m", "to: main, cores: L1 N PE, size: 16 mm2")


@pytest.mark.parametrize(
    ("edits", "known_a", "lacking", "at_most_a"),
    [
        ((), 2300, "", 2300),
        # 20 A over 10 % are 200 A, and both are taken as reactance: a set beside a supply gives them into the fault too
        (beside(f"{SET}, may-parallel: [grid]"), 2500, "", 2500),
        # what the set gives is not written: so much more may flow
        (
            beside(f"{SET.replace(', subtransient-reactance: 10 %', '')}, may-parallel: [grid]"),
            None,
            "the subtransient-reactance of set",
            None,
        ),
        # inverters add what they are declared to give
        (beside(f"{FOLLOWS}, fault-current: {{limit: 2 x rated}}"), 2340, "", 2340),
        (
            beside(
                f"{FOLLOWS}, fault-current: {{limit: 2 x rated}}",
                f"{FOLLOWS}, fault-current: {{limit: 50 A}}".replace("roof", "shed"),
            ),
            2390,
            "",
            2390,
        ),
        # ten times rated is more than any gives (a test report of 2010, from memory)
        (beside(FOLLOWS), None, "the fault-current of roof", 2500),
        (beside(FOLLOWS, FOLLOWS.replace("roof", "shed")), None, "the fault-current of roof", 2700),
        # without a rating nothing bounds it
        (beside(FOLLOWS.replace(", rating: 4.6 kVA", "")), None, "the rating of roof", None),
        (
            beside(FOLLOWS.replace(", rating: 4.6 kVA", ""), FOLLOWS.replace("roof", "shed")),
            None,
            "the rating of roof",
            None,
        ),
        (
            beside(FOLLOWS, FOLLOWS.replace(", rating: 4.6 kVA", "").replace("roof", "shed")),
            None,
            "the fault-current of roof",
            None,
        ),
        # a length that is not written only makes it less than the supply gives at its terminals
        ((NO_LENGTH,), None, "the length of service", 2300),
        ((NO_LENGTH, *beside(f"{FOLLOWS}, fault-current: {{limit: 2 x rated}}")), None, "the length of service", 2340),
        ((NO_LENGTH, *beside(FOLLOWS)), None, "the length of service", 2500),
        ((NO_LENGTH, *beside(f"{SET}, may-parallel: [grid]")), None, "the length of service", None),
        # what the supply gives is not written
        (((", fault-current: 2.3 kA", ""),), None, "the fault-current of grid", None),
    ],
)
def test_the_largest_current_beside_several_sources(
    edits: tuple[tuple[str, str], ...], known_a: float | None, lacking: str, at_most_a: float | None
) -> None:
    peak = largest_at(edited(MILL, *edits))
    assert (peak.lacking.what if peak.lacking else "") == lacking
    assert peak.at_most_a == (None if at_most_a is None else pytest.approx(at_most_a, rel=2e-3))
    if known_a is not None:
        assert peak.current_a == pytest.approx(known_a, rel=2e-3)


@pytest.mark.parametrize("order", [("a", "b"), ("b", "a")])
def test_devices_of_one_cable_in_lines_that_different_sources_feed(order: tuple[str, str]) -> None:
    # the supply feeds L1, and an inverter L2 with twice its 20 A
    poles = {"a": "L1", "b": "L2"}
    devices = ", ".join(f"{{id: {one}, kind: mcb, curve: B, rating: 16 A, poles: {poles[one]}}}" for one in order)
    text = edited(
        MILL,
        *beside("inv: {kind: inverter, phases: L2, voltage: 230 V, rating: 4.6 kVA, fault-current: {limit: 2 x rated}"),
        ("circuits:", f"circuits:\n  both: {{from: main, cores: L1 L2 N PE, through: [{devices}]}}"),
    ).replace("from: inv, to: main, cores: L1", "from: inv, to: main, cores: L2")
    found = {peak.id: peak.known_a for peak in facts_of(text).peaks if peak.island and len(peak.island.feeds) == 2}
    # between the lines 398 V lie on the 0.1 ohm of the supply, as far as the inverter holds its voltage: never too little
    assert found["a"] == pytest.approx(2300 * 3**0.5, rel=1e-3)
    assert found["b"] == pytest.approx(40, rel=1e-3)


def test_a_breaker_of_two_poles_in_lines_that_different_sources_feed() -> None:
    # a fault between L2 and the neutral draws the 40 A of the inverter, one between the lines what the supply lets through besides
    text = edited(
        MILL,
        *beside("inv: {kind: inverter, phases: L2, voltage: 230 V, rating: 4.6 kVA, fault-current: {limit: 2 x rated}"),
        (
            "circuits:",
            "circuits:\n  both: {from: main, cores: L1 L2 N PE, through: [{kind: mcb, curve: B, rating: 16 A}]}",
        ),
    ).replace("from: inv, to: main, cores: L1", "from: inv, to: main, cores: L2")
    assert largest_at(text, "both").current_a == pytest.approx(2300 * 3**0.5 + 40, rel=1e-3)


@pytest.mark.parametrize(
    ("board", "cores", "kind"),
    [("{}", "L1 PE", "line-PE"), ("{equipment: class-II}", "L1 N", "line-neutral"), ("{}", "L1 N PE", "line-neutral")],
)
def test_a_short_circuit_lies_between_conductors_of_one_place(board: str, cores: str, kind: str) -> None:
    # 30 m of 2.5 mm2 both ways at 20 C (7.41 ohm/km; 0.08 ohm/km of reactance, common practice) behind 0.1 ohm of the supply
    text = edited(
        MILL,
        ("boards: {main: {}}", f"boards: {{main: {{}}, far: {board}}}"),
        (
            "circuits:",
            f"  on: {{from: main, to: far, cores: {cores}, size: 2.5 mm2, length: 30 m}}\ncircuits:\n  end: {{from: far, cores: {cores}, "
            "equipment: class-II, through: [{kind: mcb, curve: B, rating: 6 A}]}",
        ),
        ("size: 1.5 mm2, length: 10 m", "size: 1.5 mm2, length: 0 m"),
    )
    peak = largest_at(text, "end")
    assert peak.current_a == pytest.approx(230 / abs(2 * 0.03 * (7.41 + 0.08j) + 0.1j), rel=2e-3)
    assert peak.kind == kind


def test_inverters_alone_add_up_to_their_limits_though_their_voltages_differ() -> None:
    # as EMFs without impedance on one board they would contradict each other; into a fault each gives its limit
    text = edited(
        MILL,
        (
            "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, fault-current: 2.3 kA}",
            INVERTER.replace("isolated: no", "fault-current: {limit: 30 A}"),
        ),
        ("from: grid", "from: inv"),
        *beside("two: {kind: inverter, phases: L1, voltage: 240 V, may-parallel: [inv], fault-current: {limit: 50 A}"),
    )
    assert largest_at(text).current_a == pytest.approx(80)


@pytest.mark.parametrize("ends", ["from: a, to: b", "from: b, to: a"])
def test_a_device_that_closes_a_ring_meets_what_either_end_of_its_cable_lets_through(ends: str) -> None:
    # to b leads a protective conductor of which no length is written, so a fault to its frame is not known
    text = edited(
        MILL,
        ("boards: {main: {}}", "boards: {main: {}, a: {}, b: {}}"),
        (
            "circuits:",
            f"""  one: {{from: main, to: a, cores: L1 N PE, size: 10 mm2, length: 5 m}}
  two: {{from: main, to: b, cores: L1 N, size: 10 mm2, length: 5 m}}
  earth: {{from: main, to: b, cores: PE, size: 10 mm2}}
  tie: {{{ends}, cores: L1 N, size: 10 mm2, length: 5 m, through: [{{kind: mcb, curve: C, rating: 32 A}}]}}
circuits:""",
        ),
    )
    peak = largest_at(text, "tie")
    assert peak.lacking is not None and peak.lacking.what == "the length of earth"
    assert peak.at_most_a == pytest.approx(2300, rel=1e-3)


def test_a_set_on_another_line_bounds_nothing_of_this_one() -> None:
    # 100 kVA at 230 V over 10 % are 4.3 kA on L2; what L1 gets is bounded by its own supply
    other = SET.replace("phases: L1", "phases: L2").replace("4.6 kVA", "100 kVA")
    text = edited(MILL, NO_LENGTH, *beside(other)).replace(
        "from: set, to: main, cores: L1", "from: set, to: main, cores: L2"
    )
    text = edited(
        text,
        (
            "circuits:\n",
            "circuits:\n  far: {from: main, cores: L2 N PE, through: [{kind: mcb, curve: B, rating: 6 A}]}\n",
        ),
    )
    assert largest_at(text).at_most_a == pytest.approx(2300, rel=1e-3)
    assert largest_at(text, "far").known_a == pytest.approx(4348, rel=2e-3)


THREE = edited(
    MILL,
    ("phases: L1, voltage: 230 V", "phases: L1 L2 L3, system: high-leg, voltage: 120/240 V"),
    ("to: main, cores: L1 N PE", "to: main, cores: L1 L2 L3 N PE"),
    (
        "circuits:\n",
        """circuits:
  high: {from: main, cores: L1 L2 PE, through: [{kind: mcb, curve: B, rating: 6 A}]}
  outer: {from: main, cores: L1 L3 N PE, through: [{kind: mcb, curve: B, rating: 6 A}]}
  motor: {from: main, cores: L1 L2 L3 PE, through: [{kind: mcb, curve: B, rating: 6 A}]}
""",
    ),
)
SPLIT = edited(
    MILL,
    ("phases: L1, voltage: 230 V", "phases: L1 L2, system: split-phase, voltage: 120/240 V"),
    ("to: main, cores: L1 N PE", "to: main, cores: L1 L2 N PE"),
    (
        "circuits:\n",
        "circuits:\n  outer: {from: main, cores: L1 L2 N PE, through: [{kind: mcb, curve: B, rating: 6 A}]}\n",
    ),
)
ON_BOTH = (
    "roof: {kind: inverter, phases: L1 L2, system: split-phase, voltage: 120/240 V, operation: grid-following, "
    "fault-current: {limit: 50 A}"
)


@pytest.mark.parametrize(
    ("text", "ampere"),
    [
        # between the lines about two thirds of what flows to the neutral (common practice, from memory): not above it
        (SPLIT, {"lamps": 2300, "outer": 2300}),
        # what an inverter adds is no part of that bound
        (
            edited(SPLIT, *beside(ON_BOTH)).replace(
                "from: roof, to: main, cores: L1 N", "from: roof, to: main, cores: L1 L2 N"
            ),
            {"lamps": 2350, "outer": 2350},
        ),
        # three lines of a high-leg delta give at most 2 / sqrt(3) of it (common practice, no source), and so does the high leg
        # to earth; between its outer lines it is a winding like the others
        (THREE, {"lamps": 2300, "high": 2300 * 2 / 3**0.5, "outer": 2300, "motor": 2300 * 2 / 3**0.5}),
    ],
)
def test_a_winding_with_a_tap_gives_no_more_between_its_lines(text: str, ampere: dict[str, float]) -> None:
    for connection, most in ampere.items():
        assert largest_at(text, connection).current_a == pytest.approx(most, rel=1e-3)


@pytest.mark.parametrize("first", [True, False])
def test_what_a_set_adds_to_a_winding_with_a_tap_is_not_cut_off_with_it(first: bool) -> None:
    # 4.6 kVA at 240 V over 10 % are 192 A between the lines
    other = SET.replace("phases: L1, voltage: 230 V", "phases: L1 L2, system: split-phase, voltage: 120/240 V")
    source, feed = beside(f"{other}, may-parallel: [grid]")
    if not first:
        source = ("boards:", f"  {other}, may-parallel: [grid]}}\nboards:")
    text = edited(SPLIT, source, feed)
    text = edited(text, ("from: set, to: main, cores: L1 N", "from: set, to: main, cores: L1 L2 N"))
    assert largest_at(text, "outer").known_a >= 2300 + 190


def test_a_set_gives_what_its_reactance_lets_through() -> None:
    # FORMAT.md, currents: a current that is declared of a supply is none of a set; 192 A between the lines
    for more in ("", ", fault-current: 100 A"):
        text = edited(
            SPLIT,
            (
                "grid: {kind: utility, phases: L1 L2, system: split-phase, voltage: 120/240 V, earthing: TN-S, fault-current: 2.3 kA}",
                "set: {kind: generator, phases: L1 L2, system: split-phase, voltage: 120/240 V, rating: 4.6 kVA, "
                f"subtransient-reactance: 10 %, neutral-bond: fixed{more}}}",
            ),
            ("from: grid", "from: set"),
        )
        assert largest_at(text, "outer").known_a == pytest.approx(191.7, rel=0.01)


@pytest.mark.parametrize("lines", ["L1 L2", "L1 L2 L3"])
def test_two_lines_of_a_star_give_more_between_them_than_to_the_neutral(lines: str) -> None:
    # 2.3 kA to the neutral: half of the loop lies in the line (FORMAT.md, currents), so 2 x 2.3 kA on three lines, and the
    # root of 3 over 2 of that between two of them (common practice)
    text = edited(
        SPLIT,
        (
            "phases: L1 L2, system: split-phase, voltage: 120/240 V",
            f"phases: {lines}, system: three-phase, voltage: 230/400 V",
        ),
        ("to: main, cores: L1 L2 N PE", f"to: main, cores: {lines} N PE"),
    )
    assert largest_at(text, "outer").current_a == pytest.approx(2 * 2300 * 3**0.5 / 2, rel=2e-3)
    assert largest_at(text, "lamps").current_a == pytest.approx(2300, rel=2e-3)


def test_a_set_of_three_lines_gives_at_most_three_times_what_its_first_reactance_lets_through() -> None:
    # 20 kVA at 230/400 V: 28.9 A.  3 U / (x1 + x2 + x0), and neither x2 nor x0 is below zero
    text = edited(
        MILL,
        (
            "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, fault-current: 2.3 kA}",
            "set: {kind: generator, phases: L1 L2 L3, voltage: 400 V, rating: 20 kVA, neutral-bond: fixed, MORE}",
        ),
        ("from: grid, to: main, cores: L1 N PE", "from: set, to: main, cores: L1 L2 L3 N PE"),
    )
    for more, most in (("subtransient-reactance: 10 %", 3 * 288.7), ("transient-reactance: 10 %", None)):
        peak = largest_at(text.replace("MORE", more))
        assert peak.lacking is not None
        assert peak.at_most_a == (None if most is None else pytest.approx(most, rel=1e-3))
    # without a rating its reactance says nothing
    unrated = text.replace("rating: 20 kVA, ", "").replace("MORE", "subtransient-reactance: 10 %")
    assert largest_at(unrated).at_most_a is None


# -- electrodes, changeovers and neutrals ----------------------------------------------------------------------------

TWO_RODS = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {MAIN}, barn: {BARN}}
connections:
  feed: {from: set, to: main, cores: L1 N PE}
  on: {from: main, to: barn, cores: CORES}
circuits:
  one: {from: barn, cores: L1 N PE}
bonds: {link: {at: main}, OTHER}
electrodes: {first: {at: main}, second: {at: barn}}
"""
)


@pytest.mark.parametrize(
    ("cores", "other", "joined"),
    [
        ("L1 N PE", "", True),
        ("L1 N", "", False),
        # over a PEN by the links at its two ends
        ("L1 PEN", "other: {at: barn}", True),
        ("L1 PEN", "", False),
        ("L1 PEN", "other: {at: barn, impedance: 1 kohm}", False),
        ("L1 PEN", "other: {at: barn, closed: {set: running}}", False),
        # a neutral joins no electrodes, whatever its ends are tied to
        ("L1 N", "other: {at: barn}", False),
    ],
)
def test_what_joins_two_electrodes(cores: str, other: str, joined: bool) -> None:
    text = TWO_RODS.replace("CORES", cores).replace(", OTHER", f", {other}" if other else "")
    text = text.replace("MAIN", "").replace("BARN", "")
    (pair,) = facts_of(text).electrode_pairs
    assert (pair.id, pair.other, pair.joined, pair.apart) == ("second", "first", joined, False)


@pytest.mark.parametrize(
    ("main", "barn", "apart"),
    [
        ("", "building: barn", False),
        ("building: mill", "", False),
        ("building: mill", "building: mill", False),
        ("building: mill", "building: barn", True),
    ],
)
def test_electrodes_of_two_buildings_are_apart_where_both_are_written(main: str, barn: str, apart: bool) -> None:
    text = TWO_RODS.replace("CORES", "L1 N PE").replace(", OTHER", "").replace("MAIN", main).replace("BARN", barn)
    (pair,) = facts_of(text).electrode_pairs
    # of two buildings none has to be joined to the other, and whether they are is not asked
    assert (pair.other, pair.joined, pair.apart) == ("first", not apart, apart)


def test_an_electrode_is_compared_with_those_of_its_own_building() -> None:
    text = TWO_RODS.replace("CORES", "L1 N PE").replace(", OTHER", "")
    text = text.replace("MAIN", "building: mill").replace("BARN", "building: barn")
    text = edited(
        text,
        ("second: {at: barn}", "second: {at: barn}, third: {at: one}"),
        ("one: {from: barn,", "one: {from: barn, building: barn,"),
    )
    found = {pair.id: (pair.other, pair.joined, pair.apart) for pair in facts_of(text).electrode_pairs}
    assert found == {"second": ("first", False, True), "third": ("second", True, False)}


@pytest.mark.parametrize(
    ("cores", "poles", "pen"),
    [
        ("L1 PEN", "L1 N", True),
        ("L1 PEN", "L1 PEN", True),
        ("L1 PEN", "L1", False),
        ("L1 N PE", "L1 N", False),
    ],
)
def test_a_changeover_that_opens_a_neutral_opens_the_pen_that_lands_on_it(cores: str, poles: str, pen: bool) -> None:
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, earthing: TN-C-S}}
  set: {{kind: generator, phases: L1, neutral-bond: none}}
boards: {{main: {{}}, far: {{}}}}
changeovers: {{co: {{positions: [mains, own], poles: {poles}}}}}
connections:
  service: {{from: grid, to: main, cores: L1 PEN, through: [{{kind: isolator, poles: L1}}]}}
  in: {{from: main, to: co.mains, cores: {cores}}}
  own: {{from: set, to: co.own, cores: L1 N PE}}
  on: {{from: co, to: far, cores: {cores}}}
circuits:
  one: {{from: far, cores: L1 N PE}}
bonds: {{link: {{at: main}}}}
"""
    )
    found = {one.id: (one.opens_pe, one.opens_pen) for one in facts_of(text).switched_protective}
    # a device without a name of its own has that of its cable
    assert found == {"service": (False, False), "co": (False, pen)}
    opened = edited(text, ("kind: isolator, poles: L1", "id: q, kind: isolator, poles: L1 PEN"))
    assert {one.id: one.opens_pen for one in facts_of(opened).switched_protective} == {"q": True, "co": pen}


BORROWED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TN-S}
boards: {main: {}, b1: {}, b2: {}, dead: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE}
  to-1: {from: main, to: b1, cores: L1 N PE, through: [{id: r1, kind: rcd, residual: 30 mA}]}
  to-2: {from: main, to: b2, cores: L1 N PE, through: [{kind: rcd, residual: 30 mA}]}
  across: {from: b2, to: one, cores: N}
circuits:
  one: {from: b1, cores: L1 PE}
  two: {from: b2, cores: L1 N PE}
  line: {from: main, cores: L1 PE}
  lines: {from: main, cores: L1 L2 PE}
  dark: {from: dead, cores: L1 N PE}
  bare: {from: dead, cores: L1 PE}
"""
)
SET_AT_B1 = (
    ("boards:", "  set: {kind: generator, phases: L1, neutral-bond: none}\nboards:"),
    ("  across:", "  set-feed: {from: set, to: b1, cores: L1 N PE}\n  across:"),
)


def borrowed(text: str) -> dict[str, tuple[tuple[str, ...], tuple[str, ...], str, str, str]]:
    """By circuit the devices of its line alone and of its neutral alone, what its neutral uses, what it follows from, and what is lost."""
    found = facts_of(text).borrowed_neutrals
    return {one.id: (one.line_only, one.neutral_only, one.through, one.misfit, one.lost) for one in found}


@pytest.mark.parametrize(
    ("edits", "one"),
    [
        # a device without a name of its own has that of its cable
        ((), (("r1",), ("to-2",), "", "", "")),
        # with a set behind it the first device has the neutral alone where the set feeds, and the line alone where the supply does;
        # and while it is open the set feeds the line of the circuit, whose neutral does not reach it
        (SET_AT_B1, (("r1",), ("r1", "to-2"), "", "", "one")),
        # a device that does not fit is the reason
        ((("id: r1, kind: rcd", "id: r1, kind: rcd, senses: L1"),), (("r1",), ("to-2",), "", "r1", "")),
    ],
)
def test_a_neutral_that_is_taken_from_behind_another_device(
    edits: tuple[tuple[str, str], ...], one: tuple[tuple[str, ...], tuple[str, ...], str, str, str]
) -> None:
    found = borrowed(edited(BORROWED, *edits))
    assert found["one"] == one
    assert found["two"] == ((), (), "", "", "")
    # a line without anything to return by; two lines return by each other, and what is never live borrows nothing
    assert found["line"] == ((), (), "", "", "line")
    assert set(found) == {"one", "two", "line"}


def test_a_circuit_whose_line_is_joined_to_a_neutral_alone_is_never_live() -> None:
    # behind a cable with crossed cores (a finding of its own) its line has no voltage, and so nothing to return
    text = edited(
        BORROWED,
        ("  across:", "  crossed: {from: main, to: dead, cores: L1 N PE, lands-on: {L1: N, N: L1}}\n  across:"),
    )
    assert set(borrowed(text)) == {"one", "two", "line"}


def test_a_neutral_that_returns_through_the_core_of_another_circuit() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: lamps, to: pump, cores: N}
  with-it: {from: lamps, to: fan, cores: L1 N PE}
  ring: {from: main, to: heater, cores: N}
circuits:
  lamps: {from: main, cores: L1 N PE}
  pump: {from: main, cores: L1 PE}
  fan: {from: main, cores: PE}
  heater: {from: main, cores: L1 N PE}
"""
    )
    # the fan hangs on the end of the lamps altogether, and the heater has its own neutral twice
    assert {name: one[2] for name, one in borrowed(text).items()} == {
        "lamps": "",
        "pump": "lamps",
        "fan": "",
        "heater": "",
    }


HIGH_LEG = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, system: high-leg, voltage: 120/240 V, earthing: TN-S}
boards: {main: {}, far: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE}
circuits:
  lamp: {from: main, cores: L1 N PE}
  wrong: {from: main, cores: L2 N PE}
  pair: {from: main, cores: L2 L3 N PE}
  motor: {from: main, cores: L1 L2 L3 N PE}
  heater: {from: main, cores: L2 L3 PE}
"""
)


@pytest.mark.parametrize(
    ("edits", "found"),
    [
        # FORMAT.md, systems of windings: what is made for 120 V gets 208 V there; nobody can tell of all three lines
        ((), {"wrong", "pair"}),
        # in a star every line has 120 V to the neutral
        ((("system: high-leg, voltage: 120/240 V", "voltage: 120/208 V"),), set()),
        # where another source feeds the circuit its second line is no high leg
        (
            (
                (
                    "boards:",
                    "  set: {kind: generator, phases: L1 L2 L3, voltage: 120/208 V, neutral-bond: none}\nboards:",
                ),
                ("circuits:", "  set-feed: {from: set, to: far, cores: L1 L2 L3 N PE}\ncircuits:"),
                ("wrong: {from: main", "wrong: {from: far"),
            ),
            {"pair"},
        ),
    ],
)
def test_loads_between_the_high_leg_and_the_neutral(edits: tuple[tuple[str, str], ...], found: set[str]) -> None:
    facts = facts_of(edited(HIGH_LEG, *edits))
    assert {one.id: one.high_leg for one in facts.misfits if one.high_leg} == dict.fromkeys(found, "grid")


@pytest.mark.parametrize(
    ("cable", "what"),
    [
        ("cores: L1 L2 N PE, lands-on: {L1: L2, L2: L1}", ""),
        ("cores: L1 L2 N PE, lands-on: {L1: N, N: L1}", "its cores are crossed: L1 lands on N, N lands on L1"),
        ("cores: L1 L2 N PE, lands-on: {N: PE, PE: N}", "its cores are crossed: N lands on PE, PE lands on N"),
        # the PEN lands on the earth bar (FORMAT.md, places and conductors)
        ("cores: L1 L2 PEN, lands-on: {PEN: PE}", ""),
        ("cores: L1 L2 N PE, through: [{kind: rcd, residual: 30 mA, senses: N}]", "it sums fewer than two conductors"),
        (
            "cores: L1 L2 N PE, through: [{kind: rcbo, curve: B, rating: 6 A, residual: 30 mA, senses: L1 L2}]",
            "N passes it without being summed",
        ),
        ("cores: L1 L2 N PE, through: [{kind: rcd, residual: 30 mA}]", ""),
        ("cores: L1 L2 N PE, through: [{kind: isolator}]", ""),
    ],
)
def test_cores_and_devices_that_fit(cable: str, what: str) -> None:
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1 L2 L3, earthing: TN-S}}
boards: {{main: {{}}, far: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 L2 L3 N PE}}
  on: {{from: main, to: far, {cable}}}
"""
    )
    assert [one.what for one in facts_of(text).misfits if one.what] == ([what] if what else [])


@pytest.mark.parametrize(
    ("poles", "cores", "bond", "found"),
    [
        ("L1 N", "L1 N PE", "link: {at: far}", {}),
        ("L1 N", "L1 PEN", "link: {at: far}", {}),
        ("L1", "L1 PE", "link: {at: co}", {"link": "no neutral lands where it is"}),
        ("L1 N", "L1 PE", "link: {at: main}", {"co": "no conductor lands on its pole N"}),
        ("L1 L2 N", "L1 N PE", "link: {at: main}", {"co": "no conductor lands on its pole L2"}),
        # bars that are written are there, whatever lands on them; a source has a neutral of its own
        ("L1", "L1 PE", "link: {at: far}", {}),
        ("L1", "L1 PE", "link: {at: set}", {}),
        ("L1", "L1 PE", "link: {at: one}", {"link": "no neutral lands where it is"}),
    ],
)
def test_links_and_changeovers_where_a_neutral_lands(poles: str, cores: str, bond: str, found: dict[str, str]) -> None:
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, earthing: TN-C-S}}
  set: {{kind: generator, phases: L1, neutral-bond: none}}
boards: {{main: {{}}, far: {{bars: L1 N PE}}}}
changeovers: {{co: {{positions: [mains, own], poles: {poles}}}}}
connections:
  service: {{from: grid, to: main, cores: L1 PEN}}
  in: {{from: main, to: co.mains, cores: {cores}}}
  own: {{from: set, to: co.own, cores: {cores}}}
  on: {{from: co, to: far, cores: {cores}}}
circuits:
  one: {{from: far, cores: L1 PE}}
bonds: {{{bond}}}
"""
    )
    assert {one.id: one.what for one in facts_of(text).misfits if one.what} == found


# -- a neutral or a PEN that breaks ----------------------------------------------------------------------------------

FARM = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-C-S, loop-impedance: 0.03 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 PEN, size: 16 mm2, length: 1 m}
  on: {from: main, to: sub, cores: L1 L2 N PE, size: 10 mm2, length: 1 m}
circuits:
  kettle: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 1 m, load: 2.3 kW}
  lamps: {from: sub, cores: L2 N PE, size: 2.5 mm2, length: 1 m, load: 1.15 kW}
  cooker: {from: main, cores: L1 L2 N PE, size: 2.5 mm2, length: 1 m, load: 0 W}
bonds: {link: {at: main}}
"""
)


def failures(text: str) -> dict[tuple[str, str], Failure]:
    """The conductors whose break is worked out, in the case that the supply feeds."""
    return {(one.id, one.core): one for one in facts_of(text).failures}


def test_what_breaks_and_what_it_does() -> None:
    # a neutral that two lines share to a board, and the PEN; what hangs on one line stops with its neutral
    found = failures(FARM)
    assert {two.nominal_v for two in found.values()} == {230}
    assert set(found) == {("service", "PEN"), ("on", "N")}
    # 23 and 46 ohm in series on the root of 3 times 230 V: two thirds for the larger one
    neutral = found["on", "N"]
    assert [(one.place, one.volts) for one in neutral.loads] == [("lamps", pytest.approx(265.6, abs=0.5))]
    assert neutral.frames == ()
    # the star point of the loads goes where 2 to 1 of L1 and L2 draw it: 230 V x |2 + (-0.5 - 0.866j)| / 3, and all frames with it
    pen = found["service", "PEN"]
    assert {one.place: round(one.volts) for one in pen.frames} == dict.fromkeys(
        ("main", "sub", "kettle", "lamps", "cooker"), 133
    )


@pytest.mark.parametrize(
    ("cable", "reliable", "opened", "alone", "opener", "lacking"),
    [
        # IEC 60364-5-54, 543.4.1: from 10 mm2 of copper or 16 mm2 of aluminium on, in fixed wiring
        ("size: 10 mm2", True, False, False, "", ""),
        ("size: 6 mm2", False, False, False, "", ""),
        ("size: 16 mm2, n-size: 6 mm2", False, False, False, "", ""),
        ("size: 6 mm2, n-size: 10 mm2", True, False, False, "", ""),
        ("size: 10 mm2, material: aluminium", False, False, False, "", ""),
        ("size: 16 mm2, material: aluminium", True, False, False, "", ""),
        ("size: 10 mm2, plug: yes", False, True, True, "", ""),
        ("", False, False, False, "", "the size of on"),
        ("n-size: 10 mm2", True, False, False, "", ""),
        # a device that opens the lines too is no danger; one that leaves a line closed is
        ("size: 10 mm2, through: [{kind: isolator, poles: L1 L2 N}]", True, True, False, "on", ""),
        (
            "size: 10 mm2, through: [{kind: isolator, poles: L1 L2}, {id: q, kind: isolator, poles: L1 N}]",
            True,
            True,
            True,
            "q",
            "",
        ),
        ("size: 10 mm2, through: [{id: q, kind: isolator, poles: L1 L2}]", True, False, False, "", ""),
    ],
)
def test_what_keeps_a_neutral_whole(
    cable: str, reliable: bool, opened: bool, alone: bool, opener: str, lacking: str
) -> None:
    text = edited(
        FARM,
        (
            "cores: L1 L2 N PE, size: 10 mm2, length: 1 m",
            f"cores: L1 L2 N PE, {cable}, length: 1 m".replace(", ,", ","),
        ),
    )
    one = failures(text)["on", "N"]
    assert (one.reliable, one.opened_by_device, one.opened_alone, one.opener) == (reliable, opened, alone, opener)
    assert (one.no_size.what if one.no_size else "") == lacking


@pytest.mark.parametrize(
    ("edits", "lacking"),
    [
        ((("load: 2.3 kW", "serves: fixed"),), "the load of kettle"),
        # one that nothing feeds decides nothing
        ((("boards: {", "boards: {dead: {}, "), ("circuits:", "circuits:\n  dark: {from: dead, cores: L1 N PE}")), ""),
        # neither does the length of a cable of which 100 m would change little
        ((("size: 16 mm2, length: 1 m", "size: 16 mm2"),), ""),
        # that of a thin one beyond the break does not matter either, but what an electrode has does
        ((("circuits:", "electrodes: {rod: {at: main}}\ncircuits:"),), "rod"),
    ],
)
def test_what_the_voltages_after_a_break_rest_on(edits: tuple[tuple[str, str], ...], lacking: str) -> None:
    pen = failures(edited(FARM, *edits))["service", "PEN"]
    if lacking:
        with pytest.raises(Unknown, match=lacking):
            _ = pen.frames
    else:
        assert pen.frames[0].volts == pytest.approx(132.8, abs=1)


def test_breaks_past_the_limit_of_work_are_open(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("onebond.facts.failures.NODES", 1)
    with pytest.raises(Unknown, match="more single failures than the stated limit"):
        _ = failures(FARM)["on", "N"].loads


def test_an_electrode_holds_the_frames_down_after_the_pen_has_broken() -> None:
    # 46 / 3 ohm of loads behind 132.8 V, and 46 / 3 ohm to earth: half of it is left
    text = edited(FARM, ("circuits:", "electrodes: {rod: {at: main, resistance: 15.33 ohm}}\ncircuits:"))
    assert {round(one.volts) for one in failures(text)["service", "PEN"].frames} == {66}
