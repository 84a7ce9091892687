"""The text report: what it says, where it points, and that names in it stay names."""

from __future__ import annotations

import io
import itertools
import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from syrupy.assertion import SnapshotAssertion

import onebond
from conftest import ROOT
from onebond import cli
from onebond.reporting import neutralise, states, text, words
from onebond.result import (
    Exemption,
    Fault,
    IslandLine,
    Mention,
    Problem,
    Report,
    Result,
    RulePage,
    Site,
    StateFigures,
    Waiver,
)
from onebond.span import Span

LINES = (
    "onebond: 1",
    "bonds:",
    "  main-link:   {at: main, size: 16 mm2}",
    "  island-link: {at: essential, size: 6 mm2}",
    "boards:",
    "  essential:",
    "\tτ: 漢字 here",
)
ISLAND_LINK = Span(4, 3, 4, 14)
MAIN_LINK = Span(3, 3, 3, 12)


def site(*results: Result, path: str = "skarv.yaml", lines: tuple[str, ...] = LINES, **more: object) -> Site:
    """A site with the given results."""
    plain = Site(path, lines, "ab" * 32, "Skarv Island", "iec", "design", results=results, cases=96)
    return plain._replace(**more)  # type: ignore[arg-type]


def report(*sites: Site) -> Report:
    """A report of sites, with no rule pages."""
    return Report("1.2.3", sites, ())


def shown(*sites: Site, width: int = 0, evidence: bool = False) -> str:
    """The report without colour."""
    return text.render(report(*sites), colour=False, width=width, evidence=evidence)


TWICE = Result(
    rule="neutral-bonded-twice",
    kind="fail",
    level="error",
    subject="island-link",
    route=("bonds", "island-link"),
    span=ISLAND_LINK,
    message="the neutral is tied to earth a second time",
    so="part of the neutral current returns through the protective conductors.",
    put_right="remove this bond, or close it only while hybrid is inverting.",
    mentions=((Mention("main-link", ("bonds", "main-link"), "the other bond"), MAIN_LINK),),
    conditions=(
        (("shore", ("present", "absent")), ("hybrid", ("passing",)), ("ts", ("island",))),
        (("ts", ("grid",)),),
    ),
    figures=(("share by PE", "4.1 A of 10 A"),),
    references=("IEC 60364-5-54:543.4.3", "IEC 60364-4-44:444.4.7 ?"),
)
PASSED = Result("pe-missing", "pass", "none", "main", ("boards", "main"), Span(6, 3, 6, 12), "main has its PE")


def other(rule: str, subject: str, level: str = "note", **more: object) -> Result:
    """A bare finding."""
    bare = Result(rule, "fail", "note", subject, ("boards", subject), Span(6, 3, 6, 12), f"{subject} suffers")
    return bare._replace(level=level, **more)  # type: ignore[arg-type]


def test_a_finding_says_where_what_when_why_and_how() -> None:
    assert shown(site(TWICE, PASSED)) == (
        "skarv.yaml:4:3: error: the neutral is tied to earth a second time [neutral-bonded-twice]\n"
        "    4 |   island-link: {at: essential, size: 6 mm2}\n"
        "      |   ^^^^^^^^^^^\n"
        "    when       shore present or absent; hybrid passing; ts on island\n"
        "               ts on grid\n"
        "    so         part of the neutral current returns through the protective conductors.\n"
        "    figures    share by PE: 4.1 A of 10 A\n"
        "    put right  remove this bond, or close it only while hybrid is inverting.\n"
        "    see        IEC 60364-5-54:543.4.3; IEC 60364-4-44:444.4.7 ?\n"
        "skarv.yaml:3:3: note: main-link: the other bond\n"
        "\n"
        "skarv.yaml: findings: 1 error; checked 2 rules on 2 subjects in 96 cases (rulebook iec, stage design)\n"
    )


def test_three_alternatives_are_written_and_the_rest_counted() -> None:
    ways = tuple(((f"q-{n}", ("open",)),) for n in range(5))
    out = shown(site(TWICE._replace(conditions=ways)))
    assert (
        "    when       q-0 open\n               q-1 open\n               q-2 open\n               and 2 more\n" in out
    )
    assert "q-3" not in out


@pytest.mark.parametrize("ways", [((),), ((("a", ("open",)),), ())])
def test_an_empty_condition_is_every_state(ways: tuple[tuple[tuple[str, tuple[str, ...]], ...], ...]) -> None:
    assert "    when       in every state\n    so " in shown(site(TWICE._replace(conditions=ways)))


def test_no_condition_no_when() -> None:
    assert "when" not in shown(site(TWICE._replace(conditions=())))


def test_consequences_stand_below_their_cause() -> None:
    cause = ("neutral-bonded-twice", "island-link")
    first = other("pe-missing", "essential", because=cause)
    second = other("backfeed", "cabin", because=("pe-missing", "essential"))
    out = shown(site(second, first, TWICE))
    assert (
        "    follows    skarv.yaml:6:3: note: essential suffers [pe-missing]\n"
        "                 skarv.yaml:6:3: note: cabin suffers [backfeed]\n"
        "skarv.yaml:3:3: note: main-link: the other bond\n"
    ) in out
    assert "findings: 1 error, 2 consequences; checked" in out
    assert out.count("suffers") == 2


def test_a_consequence_without_its_cause_stands_for_itself() -> None:
    out = shown(site(other("pe-missing", "essential", because=("gone", "main"))))
    assert out.startswith("skarv.yaml:6:3: note: essential suffers [pe-missing]\n")
    assert "    because    main [gone]\n" in out
    assert "findings: 1 note; checked" in out


def test_findings_that_blame_each_other_are_not_lost() -> None:
    out = shown(site(other("a", "x", because=("b", "y")), other("b", "y", because=("a", "x")), other("a", "z")))
    assert out.count("suffers") == 3
    assert "2 notes, 1 consequence" in out


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(-1, 6), st.booleans()), max_size=12))
def test_every_finding_is_shown_exactly_once(web: list[tuple[int, int, bool]]) -> None:
    waiver = Waiver("r", "s", "known", "J. Example", "2027-03-31", ())
    results = tuple(
        other("r", f"s{subject}", because=("r", f"s{why}") if why >= 0 else None, waiver=waiver if waived else None)
        for subject, why, waived in web
    )
    found = words.findings(site(*results))
    reported = [*found.waived, *(cause.result for cause in found.causes)]
    reported += [result for cause in found.causes for _, result in cause.follows]
    assert sorted(reported, key=repr) == sorted(results, key=repr)
    assert shown(site(*results)).count("suffers") == len(results)


def by_state(*rows: tuple[str, tuple[tuple[str, str], ...]]) -> Result:
    """A finding with figures that differ by the position of a changeover."""
    states = tuple(StateFigures(((("ts", (position,)),),), figures) for position, figures in rows)
    return TWICE._replace(by_state=states, so="", put_right="", mentions=(), references=())


def test_figures_that_differ_by_state_are_a_table() -> None:
    found = by_state(
        ("grid", (("at", "hut"), ("share of neutral current by PE", "54.1 %"), ("with loads", "6.75 A"))),
        ("island", (("at", "hut"), ("share of neutral current by PE", "open: no length"))),
    )
    assert (
        "    figures    at: hut\n"
        "               share of neutral\n"
        "               current by PE     with loads  when\n"
        "               54.1 %            6.75 A      ts on grid\n"
        "               open: no length   -           ts on island\n"
    ) in shown(site(found))


def test_a_table_shows_the_worst_states_and_counts_the_others() -> None:
    out = shown(site(by_state(*((f"p{n}", (("current", f"{9 - n} A"),)) for n in range(7)))))
    assert "    figures    current  when\n               9 A      ts on p0\n" in out
    assert "               6 A      ts on p3\n               and 3 more\n" in out
    assert "p4" not in out


def test_one_set_of_states_needs_no_column_of_its_own() -> None:
    row = by_state(("grid", (("fault at", "lab"),)), ("grid", (("fault at", "hut"),)))
    out = shown(site(row._replace(conditions=((("ts", ("grid",)),),))))
    assert "    figures    fault at\n               lab\n               hut\n" in out


def test_states_with_the_same_figures_are_one_row() -> None:
    rows = (
        StateFigures(((("ts", ("grid",)),), (("q", ("open",)),), (("p", ("open",)),)), (("current", "2 A"),)),
        StateFigures(((("ts", ("island",)),),), (("current", "1 A"),)),
    )
    out = shown(site(TWICE._replace(by_state=rows)))
    assert "               2 A      ts on grid, or in 2 other ways\n               1 A      ts on island\n" in out


@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_table_keeps_within_the_page(width: int) -> None:
    long = " ".join(["word"] * 40)
    row = by_state(("grid", (("a name of its own", long), ("b", "1 A"))), ("island", (("b", "漢字 A"),)))
    rows = tuple(one._replace(conditions=(((long, ("open",)),),)) for one in row.by_state[:1]) + row.by_state[1:]
    out = shown(site(row._replace(by_state=rows, conditions=())), width=width)
    table = [line for line in out.split("\n") if line.startswith("               ") or "figures" in line]
    assert max(neutralise.width(line) for line in table) <= max(width, 15 + 16 + 2 + 26 + 2 + 26)
    assert sum(line.count("word") for line in table) == 80
    assert "漢字" in "".join(table)


def test_waived_findings_are_named_with_reason_and_day() -> None:
    waiver = Waiver("neutral-bonded-twice", "island-link", "relay on order", "J. Example", "2027-03-31", ("waivers", 0))
    assert shown(site(TWICE._replace(waiver=waiver))) == (
        "skarv.yaml:4:3: waived: the neutral is tied to earth a second time [neutral-bonded-twice]"
        " (relay on order; by J. Example, until 2027-03-31)\n"
        "\n"
        "skarv.yaml: clean: 1 waived; checked 1 rule on 1 subject in 96 cases (rulebook iec, stage design)\n"
    )


def test_verdicts_that_rest_on_the_same_exception_are_one_entry() -> None:
    mill = Result(
        *(
            "source-too-weak-to-trip",
            "notApplicable",
            "none",
            "mill",
            ("circuits", "mill"),
            Span(8, 3, 8, 7),
            "below 50 V",
        ),
        exemptions=(Exemption("below 50 V (415.2.2)", "the fault goes on", ((("ts", ("island",)),),)),),
    )
    barn = mill._replace(subject="barn", route=("circuits", "barn"), span=Span(9, 3, 9, 7))
    assert shown(site(barn, mill)) == (
        "skarv.yaml:8:3: by exception: mill, barn: below 50 V (415.2.2) [source-too-weak-to-trip]\n"
        "    remains    the fault goes on\n"
        "\n"
        "skarv.yaml: clean: 2 by exception; checked 1 rule on 2 subjects in 96 cases (rulebook iec, stage design)\n"
    )


def lacking(rule: str, subject: str, what: str, line: int = 0) -> Result:
    """An open result; with a line, that of the entry that is not written."""
    mention = ((Mention(subject, ("connections", "feed"), "what is missing"), Span(line, 3, line, 9)),) if line else ()
    message = f"cannot be concluded: {what}"
    bare = Result(rule, "open", "none", subject, ("boards", subject), Span(6, 3, 6, 12), message)
    return bare._replace(mentions=mention, lacking=what)


def page(rule: str, level: str, **by_rulebook: str) -> RulePage:
    """The page of a rule, with its levels."""
    bare = RulePage(rule, "error", rule, "", "", "", ())
    return bare._replace(level=level, levels=tuple(by_rulebook.items()))  # type: ignore[arg-type]


def test_what_is_not_proven_is_one_line_for_each_missing_entry() -> None:
    length = "the length of feed is not written"
    results = (
        lacking("touch-voltage-high", "hut", length, 2),
        lacking("disconnection-too-slow", "hut", length, 2),
        lacking("disconnection-too-slow", "barn", length, 2),
        lacking("voltage-drop-high", "lab", "the load of lab is not written"),
        lacking("rcd-missing", "lab", "the rating of lab is not written", 3),
        lacking("never-heard-of", "lab", "the moon is not written", 4),
    )
    levels = (
        page("touch-voltage-high", "warning"),
        page("disconnection-too-slow", "error"),
        page("voltage-drop-high", "warning"),
        page("rcd-missing", "error", iec="note"),
    )
    out = text.render(Report("1", (site(PASSED, *results),), levels), colour=False, width=0)
    assert out.split("\n\n")[0].splitlines() == [
        "skarv.yaml:2:3: not proven: the length of feed is not written: "
        "3 verdicts of disconnection-too-slow, touch-voltage-high",
        "skarv.yaml:4:3: not proven: the moon is not written: 1 verdict of never-heard-of on lab",
        "skarv.yaml:6:3: not proven: the load of lab is not written: 1 verdict of voltage-drop-high on lab (warning)",
        "skarv.yaml:3:3: not proven: the rating of lab is not written: 1 verdict of rcd-missing on lab (note)",
    ]
    assert "not everything proven: 6 not proven;" in out
    every = text.render(Report("1", (site(PASSED, *results),), levels), colour=False, width=0, evidence=True)
    assert every.count(": not proven: ") == 6
    assert "skarv.yaml:6:3: not proven: barn: cannot be concluded: the length of feed is not written" in every


def test_a_gap_names_a_few_rules_and_counts_the_others() -> None:
    results = [lacking(f"rule-{n}", f"s{n}", "the fault-current of grid is not written", 2) for n in range(5)]
    assert ": 5 verdicts of rule-0, rule-1, rule-2 and 2 more\n" in shown(site(*results))


def test_open_results_and_limits_are_not_proven() -> None:
    missing = Result("pe-small", "open", "none", "lab", ("circuits", "lab"), Span(6, 3, 6, 12), "no length is written")
    assert shown(site(PASSED, missing, not_proven=("backfeed on shore: 2^40 states",))) == (
        "skarv.yaml:6:3: not proven: no length is written: 1 verdict of pe-small on lab\n"
        "skarv.yaml:1:1: not proven: backfeed on shore: 2^40 states\n"
        "\n"
        "skarv.yaml: not everything proven: 2 not proven; checked 2 rules on 2 subjects in 96 cases"
        " (rulebook iec, stage design)\n"
    )


def test_review_is_shown_and_evidence_on_request() -> None:
    look = Result(
        "pe-missing", "review", "none", "barn", ("boards", "barn"), Span(6, 3, 6, 12), "see whether barn has a pipe"
    )
    plain = shown(site(look, PASSED))
    assert "skarv.yaml:6:3: review: see whether barn has a pipe [pe-missing]\n" in plain
    assert "1 to be reviewed by a person" in plain
    assert "main has its PE" not in plain
    assert "skarv.yaml:6:3: pass: main has its PE [pe-missing]\n" in shown(site(look, PASSED), evidence=True)


def test_a_refused_file_shows_line_caret_and_hint() -> None:
    problem = Problem(Span(5, 1, 5, 7), "unknown key 'boads'", "did you mean 'boards'?")
    refused = site(problems=(problem,), problems_left_out=4, cases=0)
    assert shown(refused) == (
        "skarv.yaml:5:1: error: unknown key 'boads' [description-refused]\n"
        "    5 | boards:\n"
        "      | ^^^^^^\n"
        "    hint       did you mean 'boards'?\n"
        "\n"
        "skarv.yaml:1:1: error: 4 more problems not shown: mend these first [description-refused]\n"
        "\n"
        "skarv.yaml: refused: 5 problems; nothing was checked (rulebook iec, stage design)\n"
    )


def test_a_file_without_text_still_has_its_place() -> None:
    refused = Site("big.yaml", (), "", "", "", "", problems=(Problem(Span(1, 1, 1, 1), "larger than 1 MiB"),))
    assert shown(refused) == (
        "big.yaml:1:1: error: larger than 1 MiB [description-refused]\n"
        "\n"
        "big.yaml: refused: 1 problem; nothing was checked\n"
    )


def test_a_fault_is_an_internal_error_and_the_rest_is_shown() -> None:
    out = shown(site(TWICE, faults=(Fault("pe-missing", "main", "KeyError: 'x'"),)))
    assert out.startswith(
        "skarv.yaml:1:1: error: internal error in rule pe-missing on subject main: KeyError: 'x' [internal]\n\n"
        "skarv.yaml:4:3: error: "
    )
    assert "skarv.yaml: internal error: 1 error, 1 internal error; checked 1 rule" in out


def test_nothing_checked_does_not_look_clean() -> None:
    empty = PASSED._replace(kind="notApplicable")
    for out in (shown(), shown(site(cases=0)), shown(site(empty)), shown(site(cases=0), site(path="b.yaml"))):
        assert "clean" not in out
        assert "nothing" in out
    assert "nothing checked; nothing was checked" in shown(site(cases=0))


def test_several_sites_end_with_a_table() -> None:
    refused = site(path="c.yaml", problems=(Problem(Span(5, 1, 5, 7), "wrong"),), cases=0)
    out = shown(refused, site(PASSED, path="灯台.yaml"), site(TWICE, PASSED, path="a.yaml"))
    assert out.endswith(
        "\n\n"
        "site       verdict   errors  warnings  notes  waived  not proven  cases\n"
        "a.yaml     findings       1         0      0       0           0     96\n"
        "c.yaml     refused        -         -      -       -           -      -\n"
        "灯台.yaml  clean          0         0      0       0           0     96\n"
        "3 sites                   1         0      0       0           0    192\n"
        "\n"
        "3 sites: 1 refused, 1 with findings, 1 clean; 1 error, 1 problem; checked 2 rules on 3 subjects in 192 cases\n"
    )
    assert out.index("a.yaml:4:3") < out.index("c.yaml:5:1")


def test_order_does_not_depend_on_the_order_of_results() -> None:
    results = (TWICE, PASSED, other("b", "x"), other("a", "y"), other("a", "x", "warning"))
    outs = {shown(site(*order), site(path="z.yaml")) for order in itertools.permutations(results)}
    outs |= {shown(site(path="z.yaml"), site(*order)) for order in itertools.permutations(results)}
    assert len(outs) == 1
    (out,) = outs
    assert out.index("x suffers [a]") < out.index("y suffers [a]") < out.index("x suffers [b]")


@pytest.mark.parametrize(
    ("line", "span", "expected"),
    [
        ("plain: text", Span(1, 8, 1, 12), ("plain: text", "       ^^^^")),
        ("\tkey: 1", Span(1, 2, 1, 5), ("    key: 1", "    ^^^")),
        ("ab\tkey: 1", Span(1, 4, 1, 7), ("ab  key: 1", "    ^^^")),
        ("漢字: x", Span(1, 5, 1, 6), ("漢字: x", "      ^")),
        ("漢字: x", Span(1, 1, 1, 3), ("漢字: x", "^^^^")),
        ("e\u0301a: x", Span(1, 3, 1, 4), ("e\u0301a: x", " ^")),
        ("a\u202eb", Span(1, 3, 1, 4), ("a<U+202E>b", "         ^")),
        ("a\u202eb", Span(1, 2, 1, 3), ("a<U+202E>b", " ^^^^^^^^")),
        ("short", Span(1, 40, 1, 41), ("short", "     ^")),
        ("empty: ", Span(1, 8, 1, 8), ("empty:", "       ^")),
        ("open: {  ", Span(1, 7, 3, 2), ("open: {", "      ^")),
    ],
)
def test_carets_stand_below_the_place(line: str, span: Span, expected: tuple[str, str]) -> None:
    out = shown(site(TWICE._replace(span=span, mentions=()), lines=(line,))).split("\n")
    assert out[1] == f"    1 | {expected[0]}"
    assert out[2] == f"      | {expected[1]}"


@given(st.integers(0, 400), st.integers(1, 60), st.integers(40, 120), st.sampled_from("a漢\t\u202e"))
def test_long_lines_show_the_place(before: int, marked: int, width: int, fill: str) -> None:
    line = fill * before + "x" * marked + fill * 300
    span = Span(1, before + 1, 1, before + 1 + marked)
    shown_line, at, columns = text.marked_line(line, span, width)
    assert neutralise.width(shown_line) <= width
    assert at + columns <= width
    column = 0
    for char in shown_line:
        if at <= column < at + columns:
            assert char == "x"
        column += neutralise.char_width(char)


def test_long_texts_are_wrapped_to_the_width() -> None:
    out = shown(site(TWICE), width=60)
    body = [line for line in out.split("\n") if line.startswith("    ") and "|" not in line]
    assert max(len(line) for line in body) <= 60
    assert (
        "    so         part of the neutral current returns through\n               the protective conductors.\n" in out
    )


def test_colour_only_where_it_is_asked_for_and_then_nothing_else_changes() -> None:
    sites = (site(TWICE, PASSED), site(path="b.yaml", problems=(Problem(Span(5, 1, 5, 7), "wrong", "hint"),)))
    coloured = text.render(report(*sites), colour=True, width=80)
    plain = text.render(report(*sites), colour=False, width=80)
    assert "\x1b[1;31merror:\x1b[0m" in coloured
    assert "\x1b" not in plain
    bare = "".join(part.split("m", 1)[1] if index else part for index, part in enumerate(coloured.split("\x1b[")))
    assert bare == plain


HOSTILE = (
    "a\x1b]0;owned\x07b",
    "a\nx.yaml:1:1: error: forged [forged]",
    "a\r\x9b2Jb",
    "a\u202egnp.exe",
    "a\u2066b\u2069c",
    "a\u200bb\u200d\u00ad\ufeffc",
    "a\u2028b\u0085c",
    "a\udcffb",
    "a\ud800b",
    "a\U000e0041b\ufe0f\u3164\u2800c",
    "a" + "\u0301" * 50,
)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_names(name: str) -> None:
    out = everything(name)
    for char in out:
        assert char == "\n" or char.isprintable(), hex(ord(char))
        assert char not in "\u3164\u2800\ufe0f"
    out.encode("utf-8")
    assert "\u0301" * 5 not in out
    assert out.count("\n") == everything("harmless").count("\n")
    assert not any(line.startswith("x.yaml") for line in out.split("\n"))


def everything(name: str) -> str:
    """All that the terminal can show, with the name wherever a name can be."""
    place = Span(1, 1, 1, 2)
    ways = (((name, (name,)),),)
    mentions = ((Mention(name, (name,), name), place),)
    bad = Result(
        name, "fail", "error", name, (name,), place, name, name, name, mentions, ways, ((name, name),), (name,)
    )
    differing = (
        StateFigures(ways, ((name, name), ("current", name))),
        StateFigures(((("q", ("open",)),),), ((name, name), ("current", "1 A"))),
    )
    results = (
        bad._replace(subject="states", by_state=differing),
        bad._replace(subject="open", kind="open", lacking=name),
        bad,
        bad._replace(subject="waived", waiver=Waiver(name, name, name, name, name, (name,))),
        bad._replace(kind="open"),
        bad._replace(kind="pass"),
        bad._replace(rule="follower", because=(name, name)),
    )
    islands = (IslandLine((name,), (name,), (name,), name, ways),)
    read = Site(name, (name,), "", name, name, name, (), results, (Fault(name, name, name),), islands, 1, (name,))
    refused = read._replace(problems=(Problem(place, name, name),))
    several = text.render(report(refused, read), colour=False, width=0, evidence=True)
    return several + shown(read) + states.render(read) + states.render(refused)


@pytest.mark.parametrize(
    "name", ["Ærøskøbing", "Şehir köyü", "पानी", "東京湾灯台", "محطة", "Ελλάς", "e\u0301te\u0301", "⚡ hut"]
)
def test_foreign_letters_stay(name: str) -> None:
    assert neutralise.for_terminal(name) == name
    assert neutralise.for_message(name) == name


@given(st.text())
def test_neutralising_is_total_and_repeatable(raw: str) -> None:
    once = neutralise.for_terminal(raw)
    assert neutralise.for_terminal(once) == once
    assert "\n" not in once
    assert neutralise.width(once) >= 0
    neutralise.for_json(raw).encode("utf-8")


def test_the_text_reporter_starts_without_heavy_modules() -> None:
    code = "import sys; import onebond.reporting.text; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, env=_path())
    heavy = {"json", "hashlib", "unicodedata", "textwrap", "dataclasses", "inspect", "rich", "pathlib", "urllib"}
    assert heavy.isdisjoint(loaded.stdout.split())


def _path() -> dict[str, str]:
    return {"PYTHONPATH": ":".join(path for path in sys.path if path)}


# -- the sites of this project -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["sites/hut--floating", "sites/skarv", "broken/unit-missing"])
def test_whole_reports(name: str, monkeypatch: pytest.MonkeyPatch, snapshot: SnapshotAssertion) -> None:
    monkeypatch.chdir(ROOT)
    assert onebond.inspect(f"fixtures/{name}.yaml", today="2026-11-25").text(width=120) == snapshot


# -- progress ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def followed(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., str]]:
    """What stands on a standard error that is a terminal while a run goes through paths, each of which takes some time."""
    ours, theirs = os.openpty()
    clock = itertools.count()

    def told(paths: tuple[str, ...], each_s: float, *, quiet: bool = False, term: str = "xterm") -> str:
        monkeypatch.setenv("TERM", term)
        monkeypatch.setattr(time, "monotonic", lambda: next(clock) * each_s)
        with open(theirs, "w", encoding="utf-8", closefd=False) as terminal:
            monkeypatch.setattr(sys, "stderr", terminal)
            assert tuple(cli._followed(paths, quiet=quiet)) == paths
        # the kernel hands over what was written to a terminal in pieces: nothing for a while is the end
        found = b""
        while select.select([ours], [], [], 0.2)[0]:
            found += os.read(ours, 65536)
        return found.decode()

    yield told
    os.close(ours)
    os.close(theirs)


PATHS = tuple(f"hut-{number}.yaml" for number in range(1, 7))


def test_a_long_run_says_how_far_it_is_and_leaves_no_trace(followed: Callable[..., str]) -> None:
    # 0.2 s for each file: the third one begins 0.6 s after the start
    shown = [f"\r\x1b[K{number} of 6: hut-{number}.yaml" for number in (3, 4, 5, 6)]
    assert followed(PATHS, 0.2) == "".join([*shown, "\r\x1b[K"])


def test_progress_is_written_a_few_times_a_second(followed: Callable[..., str]) -> None:
    many = tuple(f"{number}.yaml" for number in range(2_000))
    numbers = [int(number) for number in re.findall(r"\x1b\[K(\d+) of 2000", followed(many, 0.001))]
    assert numbers == sorted(numbers)
    assert 14 <= len(numbers) <= 16  # 2 s, the first half of a second without a word


def test_a_hostile_name_is_shown_as_a_name(followed: Callable[..., str]) -> None:
    assert "\x1b[31m" not in followed(("a.yaml", "b\x1b[31m.yaml", "c\n.yaml"), 1.0)


@pytest.mark.parametrize(
    ("paths", "each_s", "more"),
    [(PATHS, 1.0, {"quiet": True}), (PATHS, 1.0, {"term": "dumb"}), (PATHS[:1], 9.0, {}), (PATHS, 0.05, {})],
    ids=["quiet", "dumb", "one-file", "short"],
)
def test_otherwise_it_is_silent(
    followed: Callable[..., str], paths: tuple[str, ...], each_s: float, more: dict[str, Any]
) -> None:
    assert followed(paths, each_s, **more) == ""


def test_a_run_that_nobody_watches_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = itertools.count()
    monkeypatch.setattr(time, "monotonic", lambda: next(clock) * 1.0)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    assert tuple(cli._followed(PATHS, quiet=False)) == PATHS
    assert sys.stderr.getvalue() == ""  # type: ignore[attr-defined]
