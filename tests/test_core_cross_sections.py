"""Cross-sections by tables and by heat, what a break takes off earth, neutrals that are a PEN, electrodes: small sites by hand."""

from __future__ import annotations

import importlib

import pytest

from described import asked, conductors, edited, facts_of, judged
from onebond.facts import Lost
from onebond.facts.unknown import Unknown

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: design}\n"


# -- the rulebook that goes by devices -------------------------------------------------------------------------------

PUMPS = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 120 V, earthing: TN-S}
boards: {main: {}, pumps: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 3/0 AWG, through: [{kind: mccb, rating: 200 A}]}
  to-pumps: {from: main, to: pumps, cores: L1 N, LINES through: [{kind: mccb, rating: 60 A}]}
  pumps-pe: {from: main, to: pumps, cores: PE, PE}
circuits:
  pump: {from: pumps, cores: L1 N PE, size: 10 AWG, through: [{kind: mccb, rating: 30 A}]}
"""
)


@pytest.mark.parametrize(
    ("lines", "pe", "kind", "told"),
    [
        # NEC table 250.122: 60 A ask for 10 AWG of copper, and never for more than the lines
        ("size: 4 AWG,", "size: 10 AWG", "pass", ""),
        ("size: 4 AWG,", "size: 14 AWG", "fail", "10 AWG"),
        ("size: 4 AWG,", "pe-size: 12 AWG", "fail", "10 AWG"),
        ("size: 12 AWG,", "size: 12 AWG", "pass", ""),
        ("size: 12 AWG,", "size: 14 AWG", "fail", "12 AWG"),
        # lines without a size may be as small as that
        ("", "size: 10 AWG", "pass", ""),
        ("", "size: 14 AWG", "open", "the size of to-pumps is not written"),
    ],
)
def test_a_protective_conductor_laid_beside_its_cable_goes_by_the_device(
    lines: str, pe: str, kind: str, told: str
) -> None:
    result = judged("pe-small", PUMPS.replace("LINES", lines).replace("PE, PE}", f"PE, {pe}}}"))["pumps-pe"]
    assert result.kind == kind
    assert told in (dict(result.figures)["by the table"] if kind == "fail" else result.message)


@pytest.mark.parametrize(("pe", "kind"), [("10 AWG", "pass"), ("12 AWG", "open")])
def test_a_core_beside_lines_without_a_size_may_be_as_large_as_they_are(pe: str, kind: str) -> None:
    text = PUMPS.replace("cores: L1 N, LINES", f"cores: L1 N PE, pe-size: {pe},").replace(
        "  pumps-pe:", "  # pumps-pe:"
    )
    result = judged("pe-small", text)["to-pumps"]
    assert result.kind == kind
    assert kind == "pass" or "the size of to-pumps is not written" in result.message


@pytest.mark.parametrize(
    ("devices", "size"),
    [
        # NEC table 250.122: 60 A 10 AWG, 200 A 6 AWG.  What only switches, or trips by residual current, protects no conductor
        ("{kind: mccb, rating: 60 A}", "10 AWG"),
        ("{kind: isolator, rating: 60 A}", "6 AWG"),
        ("{kind: rcd, rating: 60 A, residual: 300 mA}", "6 AWG"),
        ("{kind: mccb, rating: 100 A}, {kind: contactor, rating: 60 A}", "8 AWG"),
        # one whose rating is not written may be larger than any; the smallest of a cable protects it
        ("{kind: fuse}, {kind: mccb, rating: 60 A}", "10 AWG"),
    ],
)
def test_the_overcurrent_device_ahead_of_a_cable(devices: str, size: str) -> None:
    text = PUMPS.replace("LINES", "size: 4 AWG,").replace("PE, PE}", "PE, size: 14 AWG}")
    text = text.replace("{kind: mccb, rating: 60 A}", devices)
    assert asked(conductors(text)["pumps-pe"], "NEC 250.122") == size


@pytest.mark.parametrize(("pe", "kind"), [("4/0 AWG", "pass"), ("3/0 AWG", "fail")])
def test_in_each_of_several_cables_no_more_is_asked_for_than_its_lines(pe: str, kind: str) -> None:
    # NEC table 250.122: 2000 A ask for 250 kcmil in each of eight cables of 4/0 AWG, and 250.122(A) for no more than those lines
    text = PUMPS.replace("cores: L1 N, LINES", f"cores: L1 N PE, size: 4/0 AWG, runs: 8, pe-size: {pe},")
    text = text.replace("  pumps-pe:", "  # pumps-pe:").replace("rating: 60 A", "rating: 2000 A")
    result = judged("pe-small", text)["to-pumps"]
    assert result.kind == kind
    assert kind == "pass" or dict(result.figures)["by the table"] == "4/0 AWG"


def test_of_two_devices_that_may_feed_a_board_one_without_a_rating_counts_as_the_largest() -> None:
    text = PUMPS.replace("LINES", "size: 4 AWG,").replace("PE, PE}", "PE, size: 10 AWG}")
    text = text.replace(
        "  to-pumps:",
        "  other: {from: main, to: pumps, cores: L1 N, size: 4 AWG, through: [{kind: fuse, id: f}]}\n  to-pumps:",
    )
    text = text.replace(", through: [{kind: mccb, rating: 30 A}]", "")
    result = judged("pe-small", text)["pump"]
    assert result.kind == "notApplicable"  # as large as its lines
    with pytest.raises(Unknown, match="the rating of f"):
        conductors(text)["pump"].asked("NEC 250.122")


SERVICE = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 120 V, earthing: EARTHING}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: CORES, SIZE}
  MORE
circuits:
  lamps: {from: main, cores: L1 N PE, size: 12 AWG, through: [{kind: mcb, rating: 20 A}]}
"""
)


def service(earthing: str, cores: str, size: str, more: str = "", below: str = "") -> str:
    text = SERVICE.replace("EARTHING", earthing).replace("CORES", cores).replace("SIZE", size)
    return text.replace("MORE", more or "# nothing more") + below


@pytest.mark.parametrize(
    ("size", "kind"),
    [
        # table 250.102(C)(1): 250 kcmil ask for 2 AWG; 250.102(C)(2): each of several cables goes by its own lines, where the sum
        # of 500 kcmil would ask for 1/0 AWG
        ("size: 250 kcmil, pe-size: 2 AWG", "pass"),
        ("size: 250 kcmil, pe-size: 3 AWG", "fail"),
        ("size: 250 kcmil, runs: 2, pe-size: 2 AWG", "pass"),
        ("size: 250 kcmil, runs: 2, pe-size: 3 AWG", "fail"),
    ],
)
def test_each_of_several_supply_cables_has_the_supply_side_conductor_of_its_own_lines(size: str, kind: str) -> None:
    assert judged("pe-small", service("TN-S", "L1 N PE", size))["service"].kind == kind
    # a PEN likewise: 250.24(C)(2)
    text = service("TN-C-S", "L1 PEN", size.replace("pe-size", "n-size"), below="bonds: {link: {at: main}}\n")
    assert judged("pen-small", text)["service"].kind == kind


@pytest.mark.parametrize(
    ("own", "kind"),
    # 2 x 250 kcmil ask one conductor beside both for 1/0 AWG (53.5 mm2); two in parallel share that (common practice, no source)
    [
        ("size: 1/0 AWG", "pass"),
        ("size: 1 AWG", "fail"),
        ("size: 3 AWG, runs: 2", "pass"),
        ("size: 6 AWG, runs: 2", "fail"),
    ],
)
def test_a_conductor_beside_all_supply_cables_goes_by_their_sum(own: str, kind: str) -> None:
    text = service("TN-S", "L1 N", "size: 250 kcmil, runs: 2", f"supply-pe: {{from: grid, to: main, cores: PE, {own}}}")
    assert judged("pe-small", text)["supply-pe"].kind == kind


def test_above_its_last_row_the_link_grows_with_the_lines_and_the_conductor_to_an_electrode_does_not() -> None:
    # NEC table 250.66 ends at 3/0 AWG; note 1 to table 250.102(C)(1): 12.5 % of 1500 kcmil are 187.5 kcmil, hence 4/0 AWG
    found = conductors(
        service(
            "TN-C-S",
            "L1 PEN",
            "size: 500 kcmil, runs: 3",
            below="bonds: {link: {at: main}}\nelectrodes: {ring: {at: main, shape: ring}}\n",
        )
    )
    assert asked(found["link"], "NEC 250.102(C)(1)") == "4/0 AWG"
    assert asked(found["ring"], "NEC 250.66") == "3/0 AWG"


# -- k -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cable", "k"),
    [
        # BS 7671 tables 54.3 to 54.5: a core 115 (103 above 300 mm2), in 90 C cables 100 (86); armour 51 and 46, conduit 47 and 44 at
        # any size
        ("size: 16 mm2", 115),
        ("size: 300 mm2", 115),
        ("size: 400 mm2", 103),
        ("size: 16 mm2, insulation: 90 C", 100),
        ("size: 400 mm2, insulation: 90 C", 86),
        ("size: 16 mm2, pe-by: armour, pe-size: 40 mm2", 51),
        ("size: 16 mm2, pe-by: armour, pe-size: 400 mm2", 51),
        ("size: 16 mm2, pe-by: armour, pe-size: 40 mm2, insulation: 90 C", 46),
        ("size: 16 mm2, pe-by: conduit, pe-size: 400 mm2", 47),
        ("size: 16 mm2, pe-by: conduit, pe-size: 40 mm2, insulation: 90 C", 44),
        ("size: 16 mm2, pe-by: core, pe-size: 10 mm2", 115),
    ],
)
def test_k_of_what_serves_as_protective_conductor(cable: str, k: int) -> None:
    text = service("TN-S", "L1 N PE", cable)
    assert conductors(text)["service"].k == k


@pytest.mark.parametrize(
    ("size", "k"), [("16 mm2", 143), ("300 mm2", 143), ("400 mm2", 133), ("16 mm2, pe-by: core", 143)]
)
def test_k_of_a_conductor_of_its_own(size: str, k: int) -> None:
    # BS 7671 table 54.2: 143, above 300 mm2 133
    text = service("TN-S", "L1 N", "size: 16 mm2", f"supply-pe: {{from: grid, to: main, cores: PE, size: {size}}}")
    assert conductors(text)["supply-pe"].k == k


# -- heat --------------------------------------------------------------------------------------------------------------

SHED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, shed: {SHED}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 300 mm2, length: 0 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  feeder: {from: main, to: shed, cores: L1 N PE, size: 16 mm2, FEEDER, length: 10 m}
circuits:
  CIRCUITS
"""
)
# 200 m of 1.5 mm2 leave less than 30 A, for which C63 has no time at all
FAR = "far: {from: shed, cores: L1 N PE, size: 1.5 mm2, length: 200 m, through: [{kind: mcb, curve: C, rating: 63 A}]}"
LAMPS = (
    "lamps: {from: shed, cores: L1 N PE, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 6 A}]}"
)


def shed(feeder: str, circuit: str = LAMPS, board: str = "") -> str:
    return SHED.replace("SHED", board).replace("FEEDER", feeder).replace("CIRCUITS", circuit)


@pytest.mark.parametrize(
    ("feeder", "circuit", "kind"),
    [
        # 230 V / 0.5 ohm are 460 A and the cable leaves more than 380 A; for 5 s (63 A gG) 380 and 460 sqrt(5) / 115 are 7.4 and 8.9 mm2,
        # of two cables half in each: 3.7 and 4.5 mm2
        ("pe-size: 6 mm2", LAMPS, "fail"),
        ("pe-size: 10 mm2", LAMPS, "notApplicable"),
        ("pe-size: 2.5 mm2, runs: 2", LAMPS, "fail"),
        ("pe-size: 6 mm2, runs: 2", LAMPS, "notApplicable"),
        # beside a fault whose heat has no bound: one that burns the conductor already is found all the same
        ("pe-size: 2.5 mm2, runs: 2", FAR, "fail"),
        ("pe-size: 6 mm2, runs: 2", FAR, "open"),
    ],
)
def test_cables_in_parallel_share_the_heat_of_a_fault(feeder: str, circuit: str, kind: str) -> None:
    assert judged("pe-small", shed(feeder, circuit))["feeder"].kind == kind


NO_LENGTH = LAMPS.replace(", length: 10 m", "")
NO_PE = "lamps: {from: shed, cores: L1 N, size: 1.5 mm2, length: 10 m, through: [{kind: mcb, curve: B, rating: 6 A}]}"


@pytest.mark.parametrize(
    ("pe", "circuit", "board", "kind", "told"),
    [
        # what a fault at the board burns already is found, whatever is not written behind it
        ("2.5 mm2", NO_LENGTH, "", "fail", ""),
        ("10 mm2", NO_LENGTH, "", "open", "the length of lamps is not written"),
        # in a frame that nothing leads a current back from nothing flows: it heats no conductor
        ("2.5 mm2", NO_PE, "", "fail", ""),
        ("10 mm2", NO_PE, "", "notApplicable", ""),
        ("10 mm2", NO_PE, "equipment: class-II", "open", "no earth fault is known whose current feeder carries"),
    ],
)
def test_a_fault_that_nobody_can_work_out_hides_none_that_burns_the_conductor(
    pe: str, circuit: str, board: str, kind: str, told: str
) -> None:
    result = judged("pe-small", shed(f"pe-size: {pe}", circuit, board))["feeder"]
    assert result.kind == kind and told in result.message


TWO_WAYS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  other: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {out: {}}
changeovers:
  co: {positions: [first, second], poles: L1 N}
connections:
  feed-1:
    {from: grid, to: co.first, cores: L1 N PE, size: 25 mm2, pe-size: 10 mm2, length: 5 m, through: [FUSE]}
  feed-2:
    {from: other, to: co.second, cores: L1 N PE, size: 25 mm2, pe-size: 10 mm2, length: 5 m, through: [FUSE]}
  feed: {from: co, to: out, cores: L1 N PE, size: 25 mm2, length: 5 m}
circuits:
  lamp: {from: out, cores: L1 N PE, size: 2.5 mm2, through: [{kind: mcb, curve: B, rating: 6 A}]}
"""
)


def test_a_fault_without_a_known_current_counts_on_every_way_that_feeds_it() -> None:
    # the length of the circuit is missing, whichever supply feeds it, and its fault returns to that supply
    for name in ("feed-1", "feed-2"):
        result = judged("pe-small", TWO_WAYS.replace("FUSE", "{kind: fuse, class: gG, rating: 63 A}"))[name]
        assert result.kind == "open" and "the length of lamp" in result.message


BESIDE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2, voltage: 230/400 V, earthing: TN-S, loop-impedance: 2.3 ohm}
  SECOND
boards: {main: {}}
connections:
  feed: {from: grid, to: main, cores: L1 L2 N PE, size: 10 mm2, length: 0 m}
  second-feed: {from: second, to: main, cores: LINE N PE, size: 4 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 L2 N PE, size: 2.5 mm2, length: 0 m, through: [{kind: rcd, residual: 30 mA}]}
"""
)
SET = (
    "second: {kind: generator, phases: L1, voltage: 230 V, rating: 2.3 kVA, neutral-bond: none, subtransient-reactance: 15 %,"
    " sustained-fault-current: {limit: 3 x rated, for: 10 s}, may-parallel: [grid]}"
)
ROOF = "second: {kind: inverter, phases: L2, voltage: 230 V, operation: grid-following}"


def test_a_set_beside_a_supply_heats_a_conductor_with_what_both_give_and_no_more() -> None:
    facts = facts_of(BESIDE.replace("SECOND", SET).replace("LINE", "L1"))
    largest = max(one.current_a() for one in facts.earth_faults if one.id == "load" and len(one.island.feeds) == 2)
    (load,) = (one for one in facts.protective if one.id == "load")
    assert load.heat("gG").current_a == pytest.approx(largest)


def test_an_inverter_of_unknown_rating_on_one_of_two_lines() -> None:
    with pytest.raises(Unknown, match="the rating of second"):
        conductors(BESIDE.replace("SECOND", ROOF).replace("LINE", "L2"))["load"].heat("gG")


# -- which lines count -------------------------------------------------------------------------------------------------

BARS = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}, bar: {}, shed: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, MAIN}
  to-bar: {from: main, to: bar, cores: CORES, size: 25 mm2}
  to-shed: {from: main, to: shed, cores: L1 N PE, SHED}
circuits:
  lamps: {from: shed, cores: L1 N PE, size: 1.5 mm2}
bonds: {link: {at: bar, LINK}}
electrodes: {rod: {at: bar, resistance: 20 ohm, conductor: 16 mm2}}
"""
)


@pytest.mark.parametrize(
    ("main", "shed", "cores", "link", "kind", "told"),
    [
        # IEC 60364-5-54 table 54.2: 25 mm2 ask for 16 mm2
        ("size: 25 mm2", "size: 10 mm2", "N PE", "size: 16 mm2", "pass", ""),
        ("size: 35 mm2", "size: 50 mm2", "N PE", "size: 16 mm2", "open", "the length of feed"),
        # nothing but a neutral comes to the bar: which lines it goes with is not described
        ("size: 25 mm2", "size: 10 mm2", "N", "size: 16 mm2", "open", "no line conductor lands where link does"),
        # a line without a size may be larger than any; of none that is written at all the first is named
        ("size: 25 mm2", "length: 9 m", "N PE", "size: 16 mm2", "open", "the size of to-shed is not written"),
        ("length: 9 m", "length: 9 m", "N PE", "size: 16 mm2", "open", "the size of feed is not written"),
    ],
)
def test_a_link_at_a_bar_goes_by_the_lines_beside_it(
    main: str, shed: str, cores: str, link: str, kind: str, told: str
) -> None:
    text = BARS.replace("MAIN", main).replace("SHED", shed).replace("CORES", cores).replace("LINK", link)
    result = judged("bond-small", text)["link"]
    assert result.kind == kind and told in result.message


def test_a_link_with_an_impedance_limits_what_it_carries_and_has_no_size_by_a_table() -> None:
    text = BARS.replace("MAIN", "size: 25 mm2").replace("SHED", "size: 10 mm2").replace("CORES", "N PE")
    assert "link" in judged("bond-small", text.replace("LINK", "size: 16 mm2"))
    assert "link" not in judged("bond-small", text.replace("LINK", "impedance: 1 kohm"))


TWO_HOUSES = (
    HEAD.replace("iec", "nec")
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 120 V, earthing: TN-S}
  set: {kind: generator, phases: L1, voltage: 120 V, neutral-bond: none}
boards: {main: {}, annexe: {}, met: {bars: PE}, far: {bars: PE}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 2/0 AWG}
  to-annexe: {from: set, to: annexe, cores: L1 N PE, ANNEXE}
  main-earth: {from: met, to: main, cores: PE, size: 4 AWG}
  annexe-earth: {from: met, to: annexe, cores: PE, size: 4 AWG}
  far-earth: {from: far, to: met, cores: PE, size: 4 AWG}
circuits:
  lamps: {from: annexe, cores: L1 N PE, size: 12 AWG}
electrodes:
  ring: {at: met, shape: ring, conductor: 4 AWG}
  FAR
"""
)


def test_an_electrode_goes_by_all_lines_around_its_terminal() -> None:
    # NEC table 250.66: 2/0 AWG ask for 4 AWG; those of the annexe may be larger where they are not written
    text = TWO_HOUSES.replace("FAR", "other: {at: main, shape: ring, conductor: 4 AWG}")
    sized, silent = text.replace("ANNEXE", "size: 2 AWG"), text.replace("ANNEXE", "length: 9 m")
    assert judged("earthing-conductor-small", sized)["ring"].kind == "pass"
    result = judged("earthing-conductor-small", silent)["ring"]
    assert result.kind == "open" and "the size of to-annexe is not written" in result.message
    one, other = "from: met, to: main", "from: met, to: annexe"
    swapped = edited(silent, (one, "ONE"), (other, one), ("ONE", other))
    assert judged("earthing-conductor-small", swapped)["ring"].kind == "open"


def test_two_bars_away_from_all_lines_nobody_knows_by_which_an_electrode_goes() -> None:
    text = TWO_HOUSES.replace("FAR", "other: {at: far, shape: ring, conductor: 4 AWG}").replace("ANNEXE", "size: 2 AWG")
    found = judged("earthing-conductor-small", text)
    assert found["ring"].kind == "pass"
    assert found["other"].kind == "open" and "no line conductor lands where other does" in found["other"].message


# -- a protective conductor apart from its lines -----------------------------------------------------------------------

APART = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
boards: {main: {}, met: {bars: PE}, hall: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 25 mm2}
  earth: {from: met, to: main, cores: PE, size: 16 mm2}
  to-hall: {from: main, to: hall, cores: L1 N PE, size: 10 mm2}
  OWN
circuits:
  lamp: {LAMP}
electrodes: {rod: {at: met, resistance: 20 ohm, conductor: 16 mm2}}
"""
)


@pytest.mark.parametrize(
    ("own", "lamp"),
    [
        # from the earthing terminal, and with the neutral of another board: the lines that come to the lamp have 1.5 mm2
        ("lamp-pe: {from: met, to: lamp, cores: PE, size: 2.5 mm2}", "from: hall, cores: L1 N, size: 1.5 mm2"),
        ("lamp-pe: {from: lamp, to: met, cores: PE, size: 2.5 mm2}", "from: hall, cores: L1 N, size: 1.5 mm2"),
        ("lamp-pe: {from: hall, to: lamp, cores: N PE, size: 1.5 mm2}", "from: main, cores: L1, size: 1.5 mm2"),
    ],
)
def test_a_protective_conductor_to_a_load_is_no_earthing_conductor(own: str, lamp: str) -> None:
    # table 54.2 of IEC 60364-5-54: as large as the line, and no 6 mm2 as an earthing conductor has to have (542.3.1, from memory)
    text = APART.replace("OWN", own).replace("LAMP", lamp)
    one = conductors(text)["lamp-pe"]
    assert (one.sort, one.lines.mm2) == ("pe", 1.5)
    assert judged("pe-small", text)["lamp-pe"].kind == "pass"
    thin = text.replace("N PE, size: 1.5 mm2}", "N PE, size: 1.5 mm2, pe-size: 1 mm2}").replace(
        "PE, size: 2.5", "PE, size: 1"
    )
    assert judged("pe-small", thin)["lamp-pe"].kind in ("fail", "open")
    # as built its size has to be written where it is a core
    as_built = judged("pe-small", text.replace("stage: design", "stage: as-built"))["lamp-pe"]
    assert as_built.kind == ("open" if "N PE, size: 1.5 mm2}" in text else "pass")


def test_beside_a_bar_for_a_neutral_the_conductor_of_its_own_is_the_earthing_conductor() -> None:
    # two ways from the bar: the core that goes with the neutral is no earthing conductor, however large the lines at its end
    text = APART.replace("LAMP", "from: hall, cores: L1 N PE, size: 1.5 mm2")
    text = text.replace("OWN", "with-n: {from: met, to: main, cores: N PE, size: 25 mm2}").replace(
        "earth: {from: met, to: main,", "earth: {from: met, to: hall,"
    )
    found = {name: one.sort for name, one in conductors(text.replace("{bars: PE}", "{}")).items()}
    assert (found["earth"], found["with-n"]) == ("earthing", "bonding")


@pytest.mark.parametrize("cores", ["L1 N PE", "PE", "N PE"])
def test_bars_within_an_enclosure_need_no_size(cores: str) -> None:
    # FORMAT.md, places and conductors: a board and the boards inside it share one PE, so nothing hangs on that bar
    text = APART.replace("OWN", f"bars: {{from: hall, to: group, cores: {cores}}}").replace(
        "hall: {}", "hall: {}, group: {inside: hall}"
    )
    text = text.replace("LAMP", "from: group, cores: L1 N PE, size: 1.5 mm2")
    if cores != "L1 N PE":
        text = text.replace("  bars:", "  lines: {from: hall, to: group, cores: L1 N}\n  bars:")
    for stage in ("design", "as-built"):
        for rule in ("pe-small", "bonding-conductor-small", "earthing-conductor-small"):
            assert "bars" not in judged(rule, text.replace("stage: design", f"stage: {stage}"))
    # what is written is judged
    assert "bars" in conductors(text.replace(f"group, cores: {cores}}}", f"group, cores: {cores}, size: 1 mm2}}"))
    pen = text.replace("  bars:", "  pen-bar: {from: hall, to: group, cores: L1 PEN}\n  bars:")
    assert "pen-bar" not in conductors(pen)


def test_what_lands_on_a_board_with_an_inner_board_lands_on_one_frame() -> None:
    text = APART.replace("hall: {}", "hall: {}, group: {inside: hall}")
    text = text.replace("to-hall: {from: main, to: hall", "to-hall: {from: main, to: group")
    text = text.replace("OWN", "extra: {from: main, to: hall, cores: PE, size: 10 mm2}")
    text = text.replace("LAMP", "from: group, cores: L1 N PE, size: 1.5 mm2")
    assert conductors(text)["extra"].sort == "bonding"


BATTERY = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  inv: {kind: inverter, phases: L1, voltage: 230 V, operation: grid-following}
direct-current:
  bat: {kind: battery, voltage: 48 V}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 25 mm2}
  output: {from: main, to: inv.out, cores: L1 N PE, size: 10 mm2}
  direct: {from: bat, to: inv.dc, cores: CORES, size: 35 mm2}
  bat-pe: {from: bat, to: main, cores: PE, size: 4 mm2}
circuits:
  lamps: {from: main, cores: L1 N PE, size: 1.5 mm2}
"""
)


@pytest.mark.parametrize("rulebook", ["iec", "nec"])
def test_the_only_conductor_to_the_frame_of_a_battery_is_no_earthing_conductor(rulebook: str) -> None:
    # FORMAT.md, direct current: the size of protective conductors of that side is not judged
    text = BATTERY.replace("CORES", "DC+ DC-")
    for rule in ("pe-small", "bonding-conductor-small", "earthing-conductor-small"):
        assert not {"bat-pe", "direct"} & set(judged(rule, text, rulebook))
    assert not {"bat-pe", "direct"} & set(conductors(text))


def test_a_conductor_to_an_electrode_at_a_battery_is_an_earthing_conductor() -> None:
    text = BATTERY.replace("CORES", "DC+ DC-") + "electrodes: {rod: {at: bat, resistance: 20 ohm, conductor: 16 mm2}}\n"
    one = conductors(text)["bat-pe"]
    assert (one.sort, [rod.id for rod in one.soil]) == ("earthing", ["rod"])
    # beside the PE in the cable of the battery it is the second way, and the place of a battery is no earthing terminal
    both = conductors(text.replace("DC+ DC-", "DC+ DC- PE"))
    assert both["bat-pe"].sort == "bonding"
    assert "direct" not in both


def test_by_which_lines_an_electrode_at_a_battery_goes_nobody_knows() -> None:
    text = BATTERY.replace("CORES", "DC+ DC- PE").replace("  bat-pe:", "  # bat-pe:")
    text += "electrodes: {rod: {at: bat, resistance: 20 ohm, conductor: 16 mm2}}\n"
    result = judged("earthing-conductor-small", text, "nec")["rod"]
    assert result.kind == "open" and "no line conductor lands where rod does" in result.message


SET_PEN = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}}
connections:
  feed: {from: set, to: main, cores: L1 PEN, size: 25 mm2}
  set-pe: {from: set, to: main, cores: PE, size: 16 mm2}
circuits:
  lamps: {from: main, cores: L1 N PE, size: 1.5 mm2}
bonds: {link: {at: main, size: 16 mm2}}
"""
)


def test_a_pen_ties_no_frame_of_a_set_whose_neutral_is_not_tied_to_it() -> None:
    # the conductor beside it is all that holds the frame of the set, and carries every fault in it
    one = conductors(SET_PEN)["set-pe"]
    assert (one.sort, one.lines.mm2) == ("pe", 25)


@pytest.mark.parametrize(
    ("pen", "kind"),
    [
        # IEC 60364-5-54, 543.4.1: 10 mm2 of copper, 16 mm2 of aluminium
        ("size: 10 mm2", "pass"),
        ("size: 6 mm2", "fail"),
        ("size: 16 mm2, material: aluminium", "pass"),
        ("size: 10 mm2, material: aluminium", "fail"),
        ("size: 16 mm2, n-size: 6 mm2", "fail"),
        ("size: 6 mm2, n-size: 10 mm2", "pass"),
    ],
)
def test_the_least_pen_by_its_metal(pen: str, kind: str) -> None:
    result = judged("pen-small", SET_PEN.replace("L1 PEN, size: 25 mm2", f"L1 PEN, {pen}"))["feed"]
    assert result.kind == kind
    if kind == "fail":
        metal = "aluminium" if "aluminium" in pen else "copper"
        assert f"than a PEN of {metal} may be" in result.message


METAL_ALONE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}, annexe: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, MAIN}
  set-feed: {from: set, to: annexe, cores: L1 N PE, ANNEXE}
  main-pe: {ENDS, cores: PE, size: 16 mm2}
circuits:
  lamps: {from: annexe, cores: L1 N PE, size: 1.5 mm2}
"""
)


@pytest.mark.parametrize("ends", ["from: main, to: annexe", "from: annexe, to: main"])
@pytest.mark.parametrize(
    ("main", "annexe", "kind", "told"),
    [
        # no lines go with it: it is judged by the smaller of those at its ends, and where one is not known nobody knows which it is
        ("size: 50 mm2", "size: 16 mm2", "pass", ""),
        ("size: 50 mm2", "length: 9 m", "open", "the size of set-feed is not written"),
        ("length: 9 m", "size: 16 mm2", "open", "the size of service is not written"),
    ],
)
def test_metal_between_parts_that_share_no_lines(ends: str, main: str, annexe: str, kind: str, told: str) -> None:
    text = METAL_ALONE.replace("ENDS", ends).replace("MAIN", main).replace("ANNEXE", annexe)
    result = judged("pe-small", text)["main-pe"]
    assert result.kind == kind and told in result.message


# -- bonding -----------------------------------------------------------------------------------------------------------

WET = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
boards: {main: {}, a: {}, b: {}, dry: {equipment: class-II}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 50 mm2}
  to-a: {from: main, to: a, cores: L1 N PE, A}
  to-b: {from: main, to: b, cores: L1 N PE, size: 25 mm2}
  to-dry: {from: main, to: dry, cores: L1 N, size: 10 mm2}
  bonding: {ENDS, cores: PE, size: BONDING}
circuits:
  one: {from: a, cores: L1 N, equipment: class-II, size: 2.5 mm2}
  two: {from: b, cores: L1 N PE, size: 50 mm2}
  three: {from: dry, cores: L1 N, equipment: class-II, size: 10 mm2}
extraneous:
  pipe: {kind: water-pipe}
  beam: {kind: structural-steel}
"""
)


def wet(bonding: str, a: str = "size: 10 mm2", ends: str = "from: a, to: b") -> str:
    return WET.replace("A}", a + "}").replace("ENDS", ends).replace("BONDING", bonding)


@pytest.mark.parametrize(
    ("a", "enough", "small"),
    [
        # IEC 60364-5-54, 544.2 (from memory): what conducts like the smaller one of the two protective conductors.  Copper conducts like
        # 1 / 0.61 of its area of aluminium, and like eight times its area of steel (annex A, resistivities 17.2, 28.3 and 138)
        ("size: 10 mm2", "10 mm2", "6 mm2"),
        ("size: 10 mm2, pe-size: 6 mm2", "6 mm2", "4 mm2"),
        ("size: 16 mm2, material: aluminium", "10 mm2", "6 mm2"),
        ("size: 16 mm2, material: aluminium", "16 mm2, material: aluminium", "6 mm2"),
        ("size: 16 mm2", "35 mm2, material: aluminium", "25 mm2, material: aluminium"),
        ("size: 16 mm2, pe-by: armour, pe-size: 46 mm2", "6 mm2", "4 mm2"),
        # all of several cables serve
        ("size: 10 mm2, runs: 2", "25 mm2", "16 mm2"),
        # the other one is the smaller
        ("size: 70 mm2", "25 mm2", "16 mm2"),
    ],
)
@pytest.mark.parametrize("ends", ["from: a, to: b", "from: b, to: a"])
def test_supplementary_bonding_conducts_like_the_smaller_protective_conductor(
    ends: str, a: str, enough: str, small: str
) -> None:
    for bonding, kind in ((enough, "pass"), (small, "fail")):
        assert judged("bonding-conductor-small", wet(bonding, a, ends))["bonding"].kind == kind


@pytest.mark.parametrize("ends", ["from: a, to: b", "from: main, to: a"])
def test_a_second_way_is_bonding_wherever_it_is_written(ends: str) -> None:
    text = wet("10 mm2", ends=ends)
    (line,) = (line for line in text.splitlines(keepends=True) if line.startswith("  bonding:"))
    first = text.replace(line, "").replace("connections:\n", f"connections:\n{line}")
    assert conductors(text)["bonding"].sort == conductors(first)["bonding"].sort
    assert conductors(first)["bonding"].sort.endswith("bonding")


@pytest.mark.parametrize(
    ("a", "told"),
    [("length: 9 m", "the size of to-a"), ("size: 10 mm2, pe-by: armour", "the size of to-a")],
)
def test_bonding_beside_a_protective_conductor_without_a_size(a: str, told: str) -> None:
    # armour has not the area of the cores
    result = judged("bonding-conductor-small", wet("16 mm2", a))["bonding"]
    assert result.kind == "open" and told in result.message


@pytest.mark.parametrize("own", ["from: main, to: a", "from: a, to: main"])
def test_bonding_where_the_protective_conductor_is_laid_beside_its_cable(own: str) -> None:
    # it is the protective conductor of that place as a core would be: 6 mm2
    for bonding, kind in (("6 mm2", "pass"), ("4 mm2", "fail")):
        text = wet(bonding).replace("cores: L1 N PE, size: 10 mm2}", "cores: L1 N, size: 10 mm2}")
        text = text.replace("  to-b:", f"  a-pe: {{{own}, cores: PE, size: 6 mm2}}\n  to-b:")
        assert judged("bonding-conductor-small", text)["bonding"].kind == kind


@pytest.mark.parametrize(
    ("ends", "enough", "small"),
    [
        # half of the protective conductor that comes to the place (544.2, from memory): of 10 mm2 and of 25 mm2
        ("from: a, to: pipe", "6 mm2", "4 mm2"),
        ("from: pipe, to: b", "16 mm2", "10 mm2"),
        # there is none: 2.5 mm2 serve
        ("from: dry, to: pipe", "2.5 mm2", "1.5 mm2"),
        ("from: beam, to: pipe", "2.5 mm2", "1.5 mm2"),
    ],
)
def test_bonding_of_metal_by_half_of_the_one_protective_conductor(ends: str, enough: str, small: str) -> None:
    for bonding, kind in ((enough, "pass"), (small, "fail")):
        result = judged("bonding-conductor-small", wet(bonding, ends=ends))["bonding"]
        assert result.kind == kind, bonding


def test_bonding_between_frames_to_which_no_protective_conductor_comes_with_their_lines() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
boards: {main: {}, met: {bars: PE}, a: {}, b: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 25 mm2}
  earth: {from: met, to: main, cores: PE, size: 16 mm2}
  to-a: {from: main, to: a, cores: L1 N, size: 10 mm2}
  to-b: {from: main, to: b, cores: L1 N, size: 10 mm2}
  a-pe: {from: met, to: a, cores: PE, size: 10 mm2}
  b-pe: {from: met, to: b, cores: PE, size: 10 mm2}
  bonding: {from: a, to: b, cores: PE, size: 10 mm2}
circuits:
  one: {from: a, cores: L1 N, equipment: class-II, size: 2.5 mm2}
"""
    )
    result = judged("bonding-conductor-small", text)["bonding"]
    assert result.kind == "open"
    assert "no protective conductor of a cable is known where bonding lands" in result.message


def test_main_bonding_goes_by_the_lines_at_its_terminal_and_not_by_those_at_other_ends_of_the_metal() -> None:
    # half of the 25 mm2 that go with 50 mm2 (544.1), though the metal is bonded at a board whose cable has no size as well
    text = wet("16 mm2", ends="from: main, to: pipe").replace("b: {}, dry", "b: {}, c: {}, dry")
    text = text.replace(
        "  to-b:",
        "  to-c: {from: b, to: c, cores: L1 N PE, length: 9 m}\n"
        "  second: {from: c, to: pipe, cores: PE, size: 6 mm2}\n  to-b:",
    )
    one = conductors(text)["bonding"]
    need = one.by_earthing(True)
    assert one.sort == "main-bonding" and need is not None and need.mm2 == 12.5
    assert judged("bonding-conductor-small", text)["bonding"].kind == "pass"


HOUSE = (
    HEAD.replace("iec", "bs7671")
    + """\
sources:
  GRID
boards: {main: {}, met: {bars: PE}, annexe: {}}
connections:
  service: {from: grid, to: main, cores: CORES, SERVICE}
  MORE
  to-annexe: {from: main, to: annexe, cores: L1 N PE, size: 120 mm2}
  earth: {from: met, to: main, cores: PE, size: 70 mm2}
  bonding: {from: met, to: pipe, cores: PE, size: BONDING}
circuits:
  lamps: {from: annexe, cores: L1 N PE, size: 1.5 mm2}
BONDS
electrodes: {rod: {at: met, resistance: 20 ohm, conductor: 70 mm2}}
extraneous: {pipe: {kind: water-pipe}}
"""
)
PME = "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}"
TNS = "grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}"
SPARE = "spare: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-C-S}"


def house(grid: str, service: str, bonding: str, more: str = "# nothing more") -> str:
    pme = grid == PME
    text = HOUSE.replace("GRID", grid).replace("CORES", "L1 PEN" if pme else "L1 N PE").replace("SERVICE", service)
    text = text.replace("BONDS", "bonds: {link: {at: main, size: 70 mm2}}" if pme else "# no bond")
    return text.replace("MORE", more).replace("BONDING", bonding)


@pytest.mark.parametrize(
    ("grid", "service", "enough", "small"),
    [
        # BS 7671 table 54.8 (from memory): by the neutral of the supply, 10 mm2 up to 35, 16 up to 50, 25 up to 95 mm2 of copper,
        # whatever larger neutral is elsewhere in the site
        (PME, "size: 25 mm2", "10 mm2", "6 mm2"),
        (PME, "size: 25 mm2, n-size: 50 mm2", "16 mm2", "10 mm2"),
        # two cables of 25 mm2 in parallel are 50 mm2
        (PME, "size: 25 mm2, runs: 2", "16 mm2", "10 mm2"),
        (PME, "size: 70 mm2, material: aluminium", "16 mm2", "10 mm2"),
        # no PEN comes with the supply: half of the earthing conductor of the 120 mm2 at the board, and no more than 25 mm2 (544.1.1)
        (TNS, "size: 25 mm2", "25 mm2", "16 mm2"),
        # a supply to which nothing is joined decides nothing
        (TNS + "\n  " + SPARE, "size: 25 mm2", "25 mm2", "16 mm2"),
    ],
)
def test_main_bonding_in_britain_goes_by_the_neutral_of_a_supply_with_a_pen(
    grid: str, service: str, enough: str, small: str
) -> None:
    for bonding, kind in ((enough, "pass"), (small, "fail")):
        result = judged("bonding-conductor-small", house(grid, service, bonding))["bonding"]
        assert result.kind == kind, bonding


def test_of_two_cables_of_a_supply_the_one_with_the_larger_neutral_decides() -> None:
    # 4 x 10 mm2 in parallel are more than 25 mm2: 40 mm2 ask for 16 mm2 (table 54.8, from memory)
    for first, other in (("size: 10 mm2, runs: 4", "size: 25 mm2"), ("size: 25 mm2", "size: 10 mm2, runs: 4")):
        more = f"second: {{from: grid, to: annexe, cores: L1 PEN, {other}}}"
        need = conductors(house(PME, first, "16 mm2", more))["bonding"].by_pme(True)
        assert need is not None and need.mm2 == 16
    # where one has no size nobody knows
    more = "second: {from: grid, to: annexe, cores: L1 PEN, length: 9 m}"
    text = house(PME, "size: 25 mm2", "10 mm2", more)
    result = judged("bonding-conductor-small", text)["bonding"]
    assert result.kind == "open" and "the size of second is not written" in result.message
    assert judged("bonding-conductor-small", house(PME, "size: 25 mm2", "6 mm2", more))["bonding"].kind == "fail"


# -- what a break takes off earth --------------------------------------------------------------------------------------

CHOICE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}, out: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m}
  on: {from: main, to: co.mains, cores: L1 N PE, size: 10 mm2, length: 1 m}
  set-feed: {from: set, to: co.own, cores: L1 N PE, size: 10 mm2, length: 1 m}
  feed: {from: co, to: out, cores: L1 N PE, size: 10 mm2, length: 1 m}
circuits:
  one: {from: out, cores: L1 N PE, size: 2.5 mm2, length: 1 m}
"""
)


def losses(text: str, source: str = "grid") -> list[dict[tuple[str, str], Lost]]:
    """What breaks take away in each case that a source feeds, by sort and thing."""
    found: dict[int, dict[tuple[str, str], Lost]] = {}
    for one in facts_of(text).losses:
        if one.island.fed_by(source):
            found.setdefault(id(one.island), {})[one.sort, one.id] = one
    return list(found.values())


def test_only_live_frames_are_lost() -> None:
    # with the changeover at the set, what is behind it is no part of what the grid feeds
    cases = {found["pe", "service"].frames for found in losses(CHOICE)}
    assert {frozenset(frames) for frames in cases} == {
        frozenset({"main", "co", "out", "one"}),
        frozenset({"main", "co"}),
    }


FLOATING = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}
boards: {main: {}, sub: {}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 10 mm2, length: 1 m}
  MORE
circuits:
  one: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 1 m, leakage: 1 mA}
BELOW
"""
)


def floating(more: str = "# nothing more", below: str = "") -> set[tuple[str, str]]:
    text = FLOATING.replace("MORE", more).replace("BELOW", below)
    return {key for found in losses(text, "set") for key in found}


def test_frames_that_hold_each_other_over_two_ways_lose_nothing_by_one_break() -> None:
    assert floating() == {("pe", "feed"), ("pe", "on"), ("pe", "one")}
    beside = "extra: {from: main, to: sub, cores: PE, size: 10 mm2, length: 1 m}"
    assert floating(beside) == {("pe", "feed"), ("pe", "one")}


@pytest.mark.parametrize(
    ("bonds", "lost_links"),
    [
        ("link: {at: main, size: 10 mm2}", {"link"}),
        # either of two is enough; through an impedance the neutral is held by none
        ("link: {at: main, size: 10 mm2}, other: {at: sub, size: 10 mm2}", set()),
        ("link: {at: main, size: 10 mm2}, other: {at: sub, impedance: 1 kohm}", {"link"}),
        ("other: {at: sub, impedance: 1 kohm}", set()),
    ],
)
def test_the_only_solid_link_is_what_the_neutral_hangs_on(bonds: str, lost_links: set[str]) -> None:
    assert {name for sort, name in floating(below=f"bonds: {{{bonds}}}") if sort == "bond"} == lost_links


def test_past_the_work_for_it_the_breaks_of_protective_conductors_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    rod = "bonds: {link: {at: main}}"
    assert floating(below=rod) == {("pe", "feed"), ("pe", "on"), ("pe", "one"), ("bond", "link")}
    monkeypatch.setattr(importlib.import_module("onebond.facts.lost"), "STEPS", 3)
    assert floating(below=rod) == {("bond", "link")}


# -- neutrals ----------------------------------------------------------------------------------------------------------

ANNEXE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2, voltage: 230/400 V, earthing: TN-S}
  SOURCE
boards: {main: {}, annexe: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 N PE}
  to-annexe: {from: main, to: annexe, cores: L1 N, through: [DEVICE]}
  MORE
circuits:
  one: {from: annexe, cores: L1 N PE}
bonds: {link: {at: annexe, BOND}}
electrodes: {rod: {at: annexe, resistance: 20 ohm}}
"""
)
OWN_SET = (
    "set: {kind: generator, phases: L1, voltage: 230 V, neutral-bond: none}",
    "set-feed: {from: set, to: annexe, cores: L1 N PE}",
)


def annexe(
    bond: str = "size: 16 mm2", device: str = "{kind: mcb, rating: 16 A}", source: str = "", more: str = ""
) -> str:
    text = ANNEXE.replace("SOURCE", source or "# no other one").replace("MORE", more or "# nothing more")
    return text.replace("BOND", bond).replace("DEVICE", device)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (annexe(), ["to-annexe"]),
        # a link that opens, or has an impedance, makes no PEN of it
        (annexe("closed: {grid: present}"), []),
        (annexe("impedance: 1 kohm"), []),
        # a PEN is never opened and never summed
        (annexe(device="{kind: isolator, poles: L1 N}"), []),
        (annexe(device="{kind: rcd, residual: 300 mA, poles: L1}"), []),
        (annexe(device="{kind: isolator, poles: L1}"), ["to-annexe"]),
        # what joins the building to a set of its own does not join it to the supplier
        (annexe(source=OWN_SET[0], more=OWN_SET[1]), ["to-annexe"]),
        # a cable of lines alone has no neutral to be a PEN
        (annexe(more="lines: {from: main, to: annexe, cores: L2}"), ["to-annexe"]),
        (annexe(more="beside: {from: main, to: annexe, cores: PE}"), []),
    ],
)
def test_a_neutral_that_is_a_pen_by_function(text: str, found: list[str]) -> None:
    assert [one.id for one in facts_of(text).neutrals_to_buildings] == found


def test_the_neutral_of_a_supplier_is_his_own_affair() -> None:
    # a house on its own electrode that ties the supplier's neutral to it has a link too many; it makes no PEN of his cable
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
circuits:
  one: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
    )
    assert facts_of(text).neutrals_to_buildings == ()


@pytest.mark.parametrize(
    ("device", "name"),
    [("{id: q, kind: isolator, poles: L1 N}", "q"), ("{kind: isolator, poles: L1 N}", "the isolator in to-annexe")],
)
def test_how_a_device_that_opens_a_neutral_alone_is_called(device: str, name: str) -> None:
    text = annexe(device=device).replace("annexe, cores: L1 N,", "annexe, cores: L1 L2 N PE,")
    (found,) = (one for one in judged("neutral-opens-first", text).values())
    assert found.kind == "fail" and found.message.startswith(f"{name} opens the neutral and leaves L2 closed")


@pytest.mark.parametrize(
    ("earthing", "fuse", "kind"),
    [
        # a fuse in a neutral that is tied to earth opens by itself; in an isolated system it is what protects it (IEC 60364-4-43, 431.2.2,
        # from memory)
        ("TN-S", "{kind: fuse, rating: 16 A, poles: L1 N}", "fail"),
        ("IT", "{kind: fuse, rating: 16 A, poles: L1 N}", "notApplicable"),
        ("IT", "{kind: mcb, rating: 16 A, poles: L1 N}", "pass"),
    ],
)
def test_a_fuse_in_a_neutral(earthing: str, fuse: str, kind: str) -> None:
    text = annexe(device=fuse).replace("earthing: TN-S", f"earthing: {earthing}")
    if earthing == "IT":
        text = text.replace("cores: L1 L2 N PE}", "cores: L1 L2 N}")
    (found,) = judged("neutral-opens-first", text).values()
    assert found.kind == kind


@pytest.mark.parametrize(("poles", "left"), [("N", ("L1",)), ("L1 N", ())])
def test_a_changeover_that_opens_the_neutral(poles: str, left: tuple[str, ...]) -> None:
    (found,) = facts_of(CHOICE.replace("poles: L1 N", f"poles: {poles}")).neutral_contacts
    assert (found.id, found.left) == ("co", left)


# -- electrodes --------------------------------------------------------------------------------------------------------

YARD = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: EARTHING, loop-impedance: 1.5 ohm, fault-current: 1 kA}
boards: {main: {}, barn: {}}
connections:
  service: {from: grid, to: main, cores: CORES, size: 16 mm2, length: 5 m}
  to-barn: {from: main, to: barn, cores: L1 N, size: 6 mm2, length: 40 m, through: [BARN]}
circuits:
  sockets: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: rcbo, curve: B, rating: 16 A, residual: 500 mA}]}
  mill: {from: barn, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rods: {at: main, resistance: 20 ohm}
  barn-rod: {at: barn, resistance: 60 ohm}
"""
)


def guards(text: str) -> dict[str, tuple[float, str] | None]:
    """What guards the frames that rest on each electrode: rated residual current in A, place."""
    return {one.id: (one.guard[0], one.guard[2]) if one.guard else None for one in facts_of(text).earth_electrodes}


@pytest.mark.parametrize(
    ("barn", "guard"),
    [
        ("{kind: rcd, residual: 300 mA}", (0.3, "barn")),
        # overcurrent alone guards no frame on an electrode, beside a residual current device or without one
        ("{kind: rcd, residual: 300 mA}, {kind: mcb, curve: C, rating: 32 A}", (0.3, "barn")),
        ("{kind: mcb, curve: C, rating: 32 A}", None),
        # of two devices in one way the more sensitive one trips
        ("{kind: rcd, residual: 300 mA}, {kind: rcd, residual: 30 mA}", (0.03, "barn")),
    ],
)
def test_what_guards_a_building_on_its_own_electrode_beside_frames_with_metal_back_to_the_source(
    barn: str, guard: tuple[float, str] | None
) -> None:
    # IEC 60364-4-41, 411.5.3: resistance and residual current count for frames on that electrode, not for those of the TN part
    found = guards(YARD.replace("EARTHING", "TN-S").replace("CORES", "L1 N PE").replace("BARN", barn))
    assert found == {"rods": None, "barn-rod": guard}


def test_a_system_that_is_isolated_sets_no_limit_to_an_electrode_by_its_residual_current_device() -> None:
    # a first fault is not disconnected there (411.6.2): the 500 mA of the set's feeder count for nothing, the 300 mA of the supply do
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.5 ohm, fault-current: 1 kA}
  set: {kind: generator, phases: L1, voltage: 230 V, earthing: IT, rating: 10 kVA}
boards: {main: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: co.mains, cores: L1 N, size: 16 mm2, length: 5 m, through: [{kind: rcd, residual: 300 mA}]}
  set-feed: {from: set, to: co.own, cores: L1 N PE, size: 16 mm2, length: 5 m, through: [{kind: rcd, residual: 500 mA}]}
  feed: {from: co, to: main, cores: L1 N PE, size: 16 mm2, length: 5 m}
circuits:
  sockets: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 9 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
electrodes:
  rods: {at: main, resistance: 20 ohm}
"""
    )
    guard = guards(text)["rods"]
    assert guard is not None and guard[0] == 0.3


def test_where_nothing_is_ever_energised_nothing_is_said_to_join_two_electrodes() -> None:
    text = YARD.replace("grid: {kind: utility", "roof: {kind: inverter, operation: grid-following").replace(
        "grid", "roof"
    )
    text = (
        text.replace("roof-following", "grid-following")
        .replace(", earthing: EARTHING", "")
        .replace(", loop-impedance: 1.5 ohm, fault-current: 1 kA", "")
    )
    text = text.replace("CORES", "L1 N PE").replace("BARN", "{kind: rcd, residual: 300 mA}")
    assert facts_of(text).islands == ()
    found = {one.id: one.together_ohm for one in facts_of(text).earth_electrodes}
    assert found == {"rods": 20, "barn-rod": pytest.approx(60)}
