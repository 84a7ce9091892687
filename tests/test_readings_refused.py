"""What is wrong with a file of readings: told in its own words, at its own place, and no more than that is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from onebond import cli, readings
from onebond.loading import load_rules
from onebond.meter.plan import plan
from onebond.meter.plant import Plant
from onebond.meter.readings import Reading
from onebond.reading import load
from onebond.survey import inspect_file

SITES = Path(__file__).parents[1] / "fixtures" / "sites"

# A house on a TT supply, and an inlet for a portable set that nobody has plugged in.
HOUSE = """\
onebond: 1
site: {name: Rowan house, rulebook: iec, revision: B}
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1.2 ohm, fault-current: 1.5 kA}
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 5 kVA, mounted: portable,
    neutral-bond: fixed, subtransient-reactance: 15 %, sustained-fault-current: {limit: 3 x rated, for: 5 s}}
boards:
  met: {bars: PE}
  intake: {equipment: class-II}
  inlet: {}
  main: {}
changeovers:
  cs: {positions: [grid, set], poles: L1 N, drive: manual}
connections:
  service: {from: grid, to: intake, cores: L1 N, size: 16 mm2, length: 20 m, through: [{kind: fuse, class: gG, rating: 63 A}]}
  tails: {from: intake, to: cs.grid, cores: L1 N, size: 16 mm2, length: 3 m,
    through: [{kind: rcd, rating: 63 A, residual: 300 mA, type: A, delay: S, id: q-main}]}
  lead: {from: set, to: inlet, cores: L1 N PE, size: 4 mm2, length: 10 m, plug: yes,
    through: [{kind: mcb, curve: C, rating: 20 A, poles: L1 N}]}
  feed: {from: inlet, to: cs.set, cores: L1 N PE, size: 4 mm2, length: 12 m,
    through: [{kind: rcd, rating: 40 A, residual: 30 mA, type: A, id: q-inlet}]}
  to-main: {from: cs, to: main, cores: L1 N PE, size: 16 mm2, length: 2 m}
  earth: {from: met, to: main, cores: PE, size: 16 mm2, length: 2 m}
circuits:
  lights: {from: main, cores: L1 N PE, size: 1.5 mm2, length: 25 m, serves: lighting, load: 300 W, leakage: 1 mA,
    through: [{kind: rcbo, curve: B, rating: 6 A, residual: 30 mA, type: A}]}
electrodes:
  rod: {at: met, resistance: 45 ohm, conductor: 16 mm2}
"""
HEAD = "onebond-readings: 1\ninstallation: house.yaml\nrevision: B\ntaken: 2026-09-20\nreadings:\n"
RIGHT = "  - {at: main, L1-N: 229 V}\n"
TODAY = "2026-11-25"
SET = "state: {set: running, cs: set}, "


@pytest.fixture
def house(tmp_path: Path) -> Path:
    path = tmp_path / "house.yaml"
    path.write_text(HOUSE, encoding="utf-8")
    return path


def read(house: Path, text: str, today: str = TODAY) -> readings.Read:
    installation = load(str(house))[1]
    assert installation is not None
    return readings.of_text(text.encode(), "taken.yaml", Plant(installation), house.name, today)


def told(found: readings.Read) -> list[tuple[int, int, str]]:
    return [(one.span.line, one.span.column, one.message) for one in found.problems]


def values(found: readings.Read) -> list[tuple[str, str, float]]:
    every = found.readings.readings if found.readings else ()
    return [(one.measurement.at, one.measurement.kind, one.value) for one in every]


def findings(house: Path, text: str, today: str = TODAY) -> list[tuple[str, str, int, int, str, str, str]]:
    """Of the rule about refused readings: its file, line and column, with level, message, what follows and the remedy."""
    beside = house.with_name("house.readings.yaml")
    beside.write_text(text, encoding="utf-8")
    report = inspect_file(str(house), load_rules(), today=today)
    assert not report.faults and not report.problems
    return [
        (one.level, one.span.file, one.span.line, one.span.column, one.message, one.so, one.put_right)
        for one in report.results
        if one.rule == "reading-refused" and one.kind == "fail"
    ]


# -- one entry ---------------------------------------------------------------------------------------------------------

ENTRIES = {
    "a day that no calendar has": (
        "{at: main, L1-PE: 229 V, taken: 2026-02-30}",
        (7, 37, "`2026-02-30` at `taken` is not in the calendar", "year-month-day"),
    ),
    "a day that has not come": (
        "{at: main, L1-PE: 229 V, taken: 2036-09-20}",
        (7, 37, "`2036-09-20` at `taken` has not come yet: today is 2026-11-25", "correct the day"),
    ),
    "nobody": ('{at: main, L1-PE: 229 V, by: "  "}', (7, 34, "`by` is empty", "take `by` out")),
    "no instrument": (
        '{at: main, L1-PE: 229 V, instrument: ""}',
        (7, 42, "`instrument` is empty", "instrument: loop tester 4"),
    ),
    "continuity to a place without PE": (
        "{from: met, to: intake, continuity: 0.00 ohm}",
        (7, 21, "no PE lands at `intake`, so nobody can measure it there", "conductors there: L1 N"),
    ),
    "continuity from a place without PE": (
        "{from: intake, to: met, continuity: 0.00 ohm}",
        (7, 12, "no PE lands at `intake`, so nobody can measure it there", "conductors there: L1 N"),
    ),
    "insulation of a bar of PE": (
        "{at: met, insulation: 200 Mohm}",
        (7, 10, "no live conductor lands at `met`, so nobody can measure its insulation there", "conductors there: PE"),
    ),
    "a clamp round a PE that is not there": (
        "{clamp: service, current: 2 mA}",
        (7, 13, "`service` has no PE that a clamp could be laid round", "its cores: L1 N"),
    ),
    "an RCD in a state in which it is dead": (
        "{rcd: q-inlet, times: {1 x: 20 ms}}",
        (7, 20, "`q-inlet` is not live in this state, so this cannot have been read in it", "`state` was forgotten?"),
    ),
    "an RCD that did not trip because it is dead": (
        "{rcd: q-inlet, times: {1 x: no-trip}}",
        (7, 20, "`q-inlet` is not live in this state, so this cannot have been read in it", "`state` was forgotten?"),
    ),
    "a dead RCD that holds": (
        "{rcd: q-inlet, holds: yes}",
        (7, 20, "`q-inlet` is not live in this state, so this cannot have been read in it", "`state` was forgotten?"),
    ),
    "a loop of a dead place": (
        "{at: inlet, loop: 0.4 ohm}",
        (
            7,
            17,
            "L1 of `inlet` is not live in this state, so this cannot have been read in it",
            "`state` was forgotten?",
        ),
    ),
    "a loop of a place that is dead in the written state": (
        "{state: {cs: set}, at: main, loop: 0.4 ohm}",
        (
            7,
            34,
            "L1 of `main` is not live in this state, so this cannot have been read in it",
            "correct `state`; where it",
        ),
    ),
    "an RCD that is dead in the written state": (
        "{state: {grid: absent}, rcd: q-main, times: {1 x: 200 ms}}",
        (7, 42, "`q-main` is not live in this state, so this cannot have been read in it", "correct `state`; where it"),
    ),
    "an RCD that is open": (
        "{state: {q-main: open}, rcd: q-main, times: {1 x: 200 ms}}",
        (7, 42, "`q-main` is not live in this state, so this cannot have been read in it", "correct `state`; where it"),
    ),
    "a multiple that nobody tests at": (
        "{rcd: q-main, times: {2 x: 30 ms}}",
        (7, 27, "`2 x` at `times` is not one of 0.5 x, 1 x or 5 x", "another multiple"),
    ),
    "a multiple that is written otherwise": (
        "{rcd: q-main, times: {5x: 30 ms}}",
        (7, 27, "`5x` at `times` is not one of 0.5 x, 1 x or 5 x", "write `5 x`"),
    ),
    "a decimal comma": (
        "{at: lights, loop: 0,8 ohm}",
        (7, 24, "`loop`: `0,8 ohm` has a comma in the number", "the decimal sign is a point: write `0.8 ohm`"),
    ),
    "a decimal comma of a time": (
        "{rcd: q-main, times: {1 x: 180,5 ms}}",
        (7, 32, "`1 x`: `180,5 ms` has a comma in the number", "write `180.5 ms`"),
    ),
    "a value of a blank": (
        "{at: main, L1-PE: _ V}",
        (7, 23, "no value is written at `L1-PE` yet", "in place of _, or take out what was not measured"),
    ),
    "what a tester shows beyond its range": (
        "{at: main, insulation: OL}",
        (7, 28, "`insulation`: `OL` does not begin with a number", "is `open`, or for insulation such as"),
    ),
    "a unit with another case": (
        "{at: main, insulation: 200 MOhm}",
        (7, 28, "`insulation`: `MOhm` is not a unit for a resistance that was read", "write `200 Mohm` (units:"),
    ),
}


@pytest.mark.parametrize("name", ENTRIES)
def test_an_entry_that_makes_no_sense_is_told_and_the_rest_counts(name: str, house: Path) -> None:
    entry, wanted = ENTRIES[name]
    found = read(house, f"{HEAD}{RIGHT}  - {entry}\n")
    assert told(found) == [wanted[:3]]
    assert wanted[3] in found.problems[0].hint
    assert values(found) == [("main", "voltage", 229.0)]


def test_what_is_live_may_be_tested_and_a_voltage_where_nothing_should_be_is_news(house: Path) -> None:
    rows = (
        f"  - {{{SET}rcd: q-inlet, times: {{1 x: 20 ms}}}}\n  - {{{SET}rcd: q-main, times: {{1 x: 200 ms}}}}\n"
        f"  - {{{SET}at: inlet, loop: 0.4 ohm}}\n"
        "  - {at: inlet, L1-N: 0 V}\n  - {at: inlet, L1-PE: 228 V}\n  - {at: inlet, loop: open}\n"
        "  - {at: intake, insulation: 200 Mohm}\n  - {clamp: service, residual: 2 mA}\n"
    )
    found = read(house, HEAD + rows)
    assert told(found) == []
    assert len(values(found)) == 8


@pytest.mark.parametrize("site", ["market-stall", "skarv", "two-generators", "van", "maintenance-bypass"])
def test_the_schedule_asks_for_no_test_that_would_be_refused(site: str) -> None:
    installation = load(str(SITES / f"{site}.yaml"))[1]
    assert installation is not None
    plant = Plant(installation)
    reader = readings._Reader(load(str(SITES / f"{site}.yaml"))[0], plant, set(), False, "")  # type: ignore[arg-type]
    entries = plan(plant).entries
    assert {"rcd", "loop"} & {one.measurement.kind for one in entries}
    for entry in entries:
        assert reader._unlit(Reading(entry.measurement, entry.state, 1.0, 0.1, "", (), "")) == "", entry


def test_two_problems_of_one_line_are_two_findings(house: Path) -> None:
    found = findings(house, f"{HEAD}{RIGHT}  - {{at: main, L1-PE: 229, N-PE: 1}}\n")
    assert [one[2:5] for one in found] == [(7, 23, "`L1-PE`: `229` has no unit"), (7, 34, "`N-PE`: `1` has no unit")]


def test_what_stands_behind_the_problems_that_are_told_is_not_read(house: Path) -> None:
    """Nothing is taken for right only because there was no room to say what is wrong with it."""
    text = HEAD + RIGHT + "  - {at: main, L1-PE: 229}\n" * 52 + "  - {at: main, N-PE: 1 V}\n"
    found = read(house, text)
    assert len(found.problems) == 50 and found.left_out == 2
    assert values(found) == [("main", "voltage", 229.0)]
    more = [one for one in findings(house, text) if "more" in one[4]]
    assert [one[4] for one in more] == ["2 more problems are not told"]


# -- the head of the file ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "message"),
    [
        ("2026-02-30", "`2026-02-30` at `taken` is not in the calendar"),
        ("2036-09-20", "`2036-09-20` at `taken` has not come yet: today is 2026-11-25"),
        ("20.09.2026", "`20.09.2026` at `taken` is not a date as year-month-day, such as 2027-03-31"),
    ],
)
def test_a_day_that_cannot_be_is_told_and_the_readings_are_compared(day: str, message: str, house: Path) -> None:
    text = HEAD.replace("2026-09-20", day) + RIGHT
    found = read(house, text)
    assert told(found) == [(4, 8, message)]
    assert values(found) == [("main", "voltage", 229.0)]
    assert (
        found.readings is not None and found.readings.readings[0].taken == ""
    )  # it is older than any day that is known
    (finding,) = findings(house, text)
    assert finding[0] == "error" and finding[5] == "what was read was compared all the same"


def test_a_reading_with_a_day_counts_before_one_of_an_unknown_day(house: Path) -> None:
    again = "  - {at: main, L1-N: 231 V, taken: 2026-09-21}\n"
    found = read(house, HEAD.replace("2026-09-20", "2036-09-20") + RIGHT + again)
    assert values(found) == [("main", "voltage", 231.0)]


@pytest.mark.parametrize(("today", "problems"), [("2026-09-20", 0), ("2026-09-19", 0), ("2026-09-18", 1), ("", 0)])
def test_where_the_sun_rises_first_it_may_be_tomorrow(today: str, problems: int, house: Path) -> None:
    """The day of the inspection is that of UTC, and clocks are up to fourteen hours ahead of it."""
    assert len(read(house, HEAD + RIGHT, today).problems) == problems


@pytest.mark.parametrize(("day", "kinds"), [("2026-02-30", []), ("2036-09-20", ["fail"]), ("20.09.2026", [])])
def test_a_day_that_cannot_be_leaves_no_second_error(day: str, kinds: list[str], house: Path) -> None:
    house.write_text(HOUSE.replace("revision: B", "revision: B, test-interval: 5 years"), encoding="utf-8")
    house.with_name("house.readings.yaml").write_text(HEAD.replace("2026-09-20", day) + RIGHT, encoding="utf-8")
    report = inspect_file(str(house), load_rules(), today=TODAY)
    assert not report.faults
    overdue = [one for one in report.results if one.rule == "test-overdue"]
    assert [one.kind for one in overdue] == kinds
    assert all(one.because == ("reading-refused", "line 4") for one in overdue)


def test_an_instrument_without_a_name_at_the_head(house: Path) -> None:
    found = read(house, HEAD.replace("taken:", 'instrument: " "\ntaken:') + RIGHT)
    assert told(found) == [(4, 13, "`instrument` is empty")]
    assert len(values(found)) == 1


def test_readings_that_name_no_revision_are_a_note(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = HEAD.replace("revision: B\n", "") + RIGHT
    found = read(house, text)
    assert found.problems == () and len(values(found)) == 1
    (note,) = found.notes
    assert note.span[:2] == (2, 15)
    assert note.message == "these readings do not say of which revision they are, and the description is revision B"
    assert "`revision: B`" in note.hint
    (finding,) = findings(house, text)
    assert finding[0] == "note" and finding[5].startswith("they were compared all the same")
    beside = house.with_name("house.readings.yaml")
    assert cli.main(["diagnose", str(house), str(beside), "--today", TODAY]) == 0
    assert f"{beside}:2:15: note: these readings do not say" in capsys.readouterr().err


@pytest.mark.parametrize("revision", ["revision: B\n", "revision: A\n"])
def test_a_revision_that_is_written_is_no_note(revision: str, house: Path) -> None:
    assert read(house, HEAD.replace("revision: B\n", revision) + RIGHT).notes == ()


def test_without_a_revision_on_either_side_there_is_nothing_to_say(house: Path) -> None:
    house.write_text(HOUSE.replace(", revision: B", ""), encoding="utf-8")
    found = read(house, HEAD.replace("revision: B\n", "") + RIGHT)
    assert found.notes == () and found.problems == ()


# -- the file ----------------------------------------------------------------------------------------------------------

BEGINS = "a file of readings begins with `onebond-readings: 1`"
FILES = {
    "empty": ("", (1, 1, "nothing is written in this file"), BEGINS),
    "a list": ("- at: main\n", (1, 1, "the file is a list; it should consist of `key: value` lines"), BEGINS),
    "a bracket": (f"{HEAD}  - {{at: main, L1-N: 229 V\n", (6, 5, "the bracket { is not closed"), "add }"),
    "a tab": (f"{HEAD}\t- {{at: main}}\n", (6, 1, "the line is indented with a tab, where only spaces may"), "spaces"),
    "another revision": (
        HEAD.replace("revision: B", "revision: A") + RIGHT,
        (3, 11, "these readings were taken by revision A, and the description is revision B"),
        "measure again",
    ),
    "another site": (
        HEAD.replace("house.yaml", "barn.yaml") + RIGHT,
        (2, 15, "these readings belong to `barn.yaml`, and the description is `house.yaml`"),
        "`installation`",
    ),
    "another version": (
        HEAD.replace("onebond-readings: 1", "onebond-readings: 2") + RIGHT,
        (1, 19, "format version 2 is not known"),
        "this program reads version 1",
    ),
    "no readings": (HEAD, (5, 1, "`readings` is empty"), "for example `readings: ["),
    "a description": (HOUSE, (1, 1, "this is a description, not a file of readings"), BEGINS),
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_cannot_be_used_is_told_in_its_own_words_at_its_own_place(
    name: str, house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, place, hint = FILES[name]
    (finding,) = findings(house, text)
    beside = house.with_name("house.readings.yaml")
    assert finding[:5] == ("error", str(beside), *place)
    assert finding[5] == "none of these readings was compared"
    assert hint in finding[6]
    assert cli.main(["diagnose", str(house), str(beside), "--today", TODAY]) == 3
    err = capsys.readouterr().err
    assert f"{beside}:{place[0]}:{place[1]}: error: {place[2]} [reading-refused]" in err
    assert "description-refused" not in err and "begins with `onebond: 1`" not in err


def test_a_key_that_readings_do_not_have(house: Path) -> None:
    found = read(house, HEAD.replace("taken:", "site: Rowan house\ntaken:") + RIGHT)
    assert told(found) == [(4, 1, "`site` is not a key of a file of readings")]
    assert len(values(found)) == 1


def test_a_key_that_readings_need(house: Path) -> None:
    found = read(house, HEAD.replace("taken: 2026-09-20\n", "") + RIGHT)
    assert told(found) == [(1, 1, "`taken` is missing in a file of readings")]


def test_a_blank_that_is_not_filled_in(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["schedule", str(house), "--blank"]) == 0
    text = capsys.readouterr().out.replace("taken: _", "taken: 2026-09-20")
    found = read(house, text)
    assert [one.message for one in found.problems] == ["`readings` is empty: every line below it still begins with `#`"]
    assert found.problems[0].hint == "take the # away from each line in which a value is written"


def test_readings_that_cannot_be_opened_are_named_in_every_report(
    house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "elsewhere.txt"
    other.write_text("secret\n", encoding="utf-8")
    link = tmp_path / "house.readings.yaml"
    link.symlink_to(other)
    assert cli.main(["inspect", str(house), "--report", "lines", "--today", TODAY]) == 1
    assert f"{link}:1:1: error: this is a symbolic link" in capsys.readouterr().out
    assert cli.main(["inspect", str(house), "--report", "json", "--today", TODAY]) == 1
    site = json.loads(capsys.readouterr().out)["sites"][0]
    assert site["parts"] == [{"path": str(link), "sha256": ""}]
    assert site["readings"] == {"path": str(link), "entries": 0, "readings": 0}
    assert cli.main(["inspect", str(house), "--report", "sarif", "--today", TODAY]) == 1
    out = capsys.readouterr().out
    assert "secret" not in out
    run = json.loads(out)["runs"][0]
    (result,) = [one for one in run["results"] if one["ruleId"] == "reading-refused"]
    place = result["locations"][0]["physicalLocation"]["artifactLocation"]
    assert run["artifacts"][place["index"]]["location"]["uri"].endswith("house.readings.yaml")


# -- what is counted ---------------------------------------------------------------------------------------------------

FIVE = "  - {at: main, L1-N: 229 V, L1-PE: 229 V, N-PE: 1 V}\n  - {rcd: q-main, times: {1 x: 200 ms, 5 x: 60 ms}}\n"


def test_entries_and_values_are_told_apart(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beside = house.with_name("house.readings.yaml")
    beside.write_text(HEAD + FIVE, encoding="utf-8")
    cli.main(["diagnose", str(house), str(beside), "--today", TODAY])
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("Rowan house: 5 values in 2 entries of 2026-09-20, in 1 state; ")
    cli.main(["diagnose", str(house), str(beside), "--today", TODAY, "--report", "json"])
    tree = json.loads(capsys.readouterr().out)
    assert (tree["entries"], tree["readings"]) == (2, 5)


def test_a_diagnosis_does_not_repeat_a_day_that_cannot_be(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beside = house.with_name("house.readings.yaml")
    beside.write_text(HEAD.replace("2026-09-20", "2036-09-20") + FIVE, encoding="utf-8")
    assert cli.main(["diagnose", str(house), str(beside), "--today", TODAY]) == 3
    assert "5 values in 2 entries of an unknown day" in capsys.readouterr().out


def test_an_inspection_says_which_readings_it_judged(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beside = house.with_name("house.readings.yaml")
    asked = ["inspect", str(house), "--today", TODAY]

    def last() -> str:
        cli.main(asked)
        return capsys.readouterr().out.splitlines()[-1]

    assert "judged" not in last()
    beside.write_text(HEAD + FIVE, encoding="utf-8")
    assert last().endswith(f"; judged 5 values in 2 entries of {beside}")
    beside.write_text(HEAD, encoding="utf-8")
    assert last().endswith(f"; nothing in {beside} could be judged")
    beside.write_text(HEAD + RIGHT, encoding="utf-8")
    asked.insert(1, str(SITES / "hut.yaml"))  # of several sites all readings together
    assert last().endswith(f"; judged 1 value in 1 entry of {beside}")


def test_a_page_says_which_readings_it_rests_on(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    house.with_name("house.readings.yaml").write_text(HEAD + FIVE, encoding="utf-8")
    cli.main(["inspect", str(house), "--report", "html", "--today", TODAY])
    assert "5 values in 2 entries of " in capsys.readouterr().out


# -- a remedy ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", ["pe-missing", "rcd-missing"])
def test_a_board_ahead_of_the_first_rcd_may_be_doubly_insulated(rule: str, house: Path) -> None:
    """A TT site has no RCD ahead of its main one: what stands there has no frame instead."""
    earth = (
        "\n  earth-too: {from: met, to: intake, cores: PE, size: 16 mm2, length: 2 m}" if rule == "rcd-missing" else ""
    )
    text = HOUSE.replace("intake: {equipment: class-II}", "intake: {}")
    text = text.replace(
        "  earth: {from: met, to: main, cores: PE, size: 16 mm2, length: 2 m}",
        "  earth: {from: met, to: main, cores: PE, size: 16 mm2, length: 2 m}" + earth,
    )
    house.write_text(text, encoding="utf-8")
    (bad,) = [
        one
        for one in inspect_file(str(house), load_rules(), today=TODAY).results
        if one.rule == rule and one.kind == "fail"
    ]
    assert bad.subject == "intake" and "`equipment: class-II`" in bad.put_right
    house.write_text(HOUSE, encoding="utf-8")
    good = inspect_file(str(house), load_rules(), today=TODAY).results
    assert not [one for one in good if one.rule == rule and one.kind == "fail"]


@pytest.mark.parametrize(
    ("entry", "still_read"),
    [
        # the multimeter stood in the wrong range at one of two voltages
        ("{at: main, L1-N: 2300 V, L1-PE: 231 V}", [("main", "voltage", 231.0)]),
        ("{at: main, L1-N: 230, L1-PE: 231 V, N-PE: 0.4 V}", [("main", "voltage", 231.0), ("main", "voltage", 0.4)]),
        ("{rcd: q-main, times: {1 x: 240 ms, 5 x: 40}}", [("q-main", "rcd", 1.0)]),
        ('{rcd: q-main, times: {1 x: "180,5 ms", 5 x: 60 ms}}', [("q-main", "rcd", 1.0)]),
        ("{rcd: q-main, times: {1 x: 240 ms, 3 x: 40 ms}}", [("q-main", "rcd", 1.0)]),
        ("{rcd: q-main, times: 240 ms, holds: yes}", [("q-main", "holds", 0.0)]),
        # nothing else is in the entry: one thing is wrong, and no second word of it
        ("{at: main, L1-N: 2300 V}", []),
        # where it was read, or in which state, is not known: nothing beside it counts
        ("{at: main, stat: {set: running}, L1-N: 230 V}", []),
        ("{at: Main, L1-N: 230 V}", []),
        ("{at: main, loads: perhaps, L1-N: 230 V}", []),
    ],
)
def test_one_value_that_makes_no_sense_takes_none_beside_it_along(
    house: Path, entry: str, still_read: list[tuple[str, str, float]]
) -> None:
    found = read(house, f"{HEAD}  - {entry}\n")
    assert values(found) == still_read
    assert len(found.problems) == 1, told(found)


def test_a_place_that_is_not_there_is_told_once_for_all_values_of_an_entry(house: Path) -> None:
    found = read(house, f"{HEAD}  - {{at: mian, L1-N: 230 V, L1-PE: 230 V, N-PE: 0.2 V}}\n")
    assert told(found) == [(6, 10, "the description has no place `mian`")]
