"""The reports for programs: JSON with documented keys, and one line for each finding."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path
from typing import Any

import pytest

from conftest import BROKEN, FLOATING, HUT, ROOT, Run
from onebond.engine import pages
from onebond.loading import load_rules
from onebond.reporting import annotations, report_json
from onebond.result import (
    Clause,
    Edit,
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
from onebond.survey import inspect_file

DOCUMENTED = (ROOT / "schemas" / "REPORT.md").read_text(encoding="utf-8")

LINK = Result(
    rule="neutral-bonded-twice",
    kind="fail",
    level="error",
    subject="island-link",
    route=("bonds", "island-link"),
    span=Span(4, 3, 4, 14),
    message="tied to earth a second time",
    so="part of the neutral current returns through PE",
    put_right="remove this bond",
    mentions=((Mention("main-link", ("bonds", "main-link"), "the other bond"), Span(3, 3, 3, 12)),),
    conditions=((("shore", ("present", "absent")), ("ts", ("island",))),),
    figures=(("share by PE", "41 %"),),
    references=("IEC 60364-5-54 543.4.3",),
    waiver=Waiver("neutral-bonded-twice", "island-link", "relay on order", "J. Example", "2027-03-31", ("waivers", 0)),
    by_state=(StateFigures(((("ts", ("grid",)),),), (("share by PE", "41 %"),)),),
    paths=(((Mention("shore", ("sources", "shore"), "the source"), Span(2, 3, 2, 8)),),),
    edits=(Edit(Span(4, 30, 4, 33), "x"),),
)
FOLLOWS = Result(
    "pe-missing",
    "fail",
    "note",
    "hut",
    ("boards", "hut"),
    Span(6, 3, 6, 6),
    "hangs in the air",
    because=("neutral-bonded-twice", "island-link"),
)
OPEN = Result(
    "pe-small",
    "open",
    "none",
    "lab",
    ("circuits", "lab"),
    Span(5, 3, 5, 6),
    "cannot be concluded: the length of feed is not written",
    mentions=((Mention("lab", ("connections", "feed"), "what is missing"), Span(7, 3, 7, 7)),),
    lacking="the length of feed is not written",
)
EXEMPT = Result(
    "source-too-weak-to-trip",
    "notApplicable",
    "none",
    "mill",
    ("circuits", "mill"),
    Span(8, 3, 8, 7),
    "below 50 V",
    exemptions=(Exemption("below 50 V (415.2.2)", "the fault goes on", ((("ts", ("island",)),),)),),
)
PAGE = RulePage(
    *("pe-small", "error", "Small.", "checks", "danger", "remedy"),
    references=("IEC 60364-5-54 543.1",),
    levels=(("iec", "warning"),),
    parameters=(("limit", "2", "a limit"),),
    clauses=(Clause("iec", "IEC 60364-5-54", "543.1", False),),
)
ISLAND = IslandLine(("hybrid",), ("hut",), ("island-link",), "referenced", ((("ts", ("island",)),),))


def site(*results: Result, path: str = "skarv.yaml", **more: Any) -> Site:
    """A site with the given results."""
    plain = Site(path, ("x",) * 9, "ab" * 32, "Skarv Island", "iec", "design", results=results, cases=96)
    return plain._replace(**more)


def report(*sites: Site) -> Report:
    """A report with the page of one rule."""
    return Report("1.2.3", sites, (PAGE,))


FULL = report(
    site(
        LINK,
        FOLLOWS,
        OPEN,
        EXEMPT,
        islands=(ISLAND,),
        faults=(Fault("pe-small", "x", "KeyError"),),
        not_proven=("a limit",),
    ),
    site(path="a.yaml", problems=(Problem(Span(2, 1, 2, 3), "wrong", "right", ("site",)),), problems_left_out=2),
)


def built(text: str) -> dict[str, Any]:
    """The report, if it is strict JSON."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"not strict JSON: {constant}")

    tree: dict[str, Any] = json.loads(text.encode("utf-8"), parse_constant=refuse)
    return tree


# -- JSON --------------------------------------------------------------------------------------------------------------


def test_a_result_has_everything_that_was_concluded() -> None:
    (result,) = built(report_json.render(report(site(LINK))))["sites"][0]["results"]
    place = {"file": "skarv.yaml", "line": 4, "column": 3, "end-line": 4, "end-column": 14}
    assert result == {
        "rule": "neutral-bonded-twice",
        "kind": "fail",
        "level": "error",
        "rule-level": "",
        "subject": "island-link",
        "route": ["bonds", "island-link"],
        **place,
        "message": "tied to earth a second time",
        "when": [{"shore": ["present", "absent"], "ts": ["island"]}],
        "in-states": [],
        "so": "part of the neutral current returns through PE",
        "figures": [{"name": "share by PE", "value": "41 %"}],
        "figures-by-state": [{"when": [{"ts": ["grid"]}], "figures": [{"name": "share by PE", "value": "41 %"}]}],
        "put-right": "remove this bond",
        "edits": [{"file": "skarv.yaml", "line": 4, "column": 30, "end-line": 4, "end-column": 33, "text": "x"}],
        "references": ["IEC 60364-5-54 543.4.3"],
        "because": None,
        "causes": [],
        "effect": False,
        "mentions": [
            {
                "subject": "main-link",
                "text": "the other bond",
                "route": ["bonds", "main-link"],
                "file": "skarv.yaml",
                "line": 3,
                "column": 3,
                "end-line": 3,
                "end-column": 12,
            }
        ],
        "paths": [
            [
                {
                    "subject": "shore",
                    "text": "the source",
                    "route": ["sources", "shore"],
                    "file": "skarv.yaml",
                    "line": 2,
                    "column": 3,
                    "end-line": 2,
                    "end-column": 8,
                }
            ]
        ],
        "exceptions": [],
        "lacking": "",
        "waiver": {"reason": "relay on order", "by": "J. Example", "until": "2027-03-31", "route": ["waivers", 0]},
    }


def test_a_result_names_the_exceptions_that_it_rests_on() -> None:
    (result,) = built(report_json.render(report(site(EXEMPT))))["sites"][0]["results"]
    assert result["exceptions"] == [
        {"reason": "below 50 V (415.2.2)", "remains": "the fault goes on", "when": [{"ts": ["island"]}]}
    ]


def test_a_site_says_what_it_came_to() -> None:
    tree = built(report_json.render(FULL, exit_code=70, options={"strict": True}))
    assert {key: tree[key] for key in ("onebond-report", "version", "exit-status", "options")} == {
        "onebond-report": 1,
        "version": "1.2.3",
        "exit-status": 70,
        "options": {"strict": True},
    }
    refused, skarv = tree["sites"]
    assert (refused["path"], refused["verdict"], refused["problems-left-out"]) == ("a.yaml", "refused", 2)
    assert refused["problems"] == [
        {
            "message": "wrong",
            "hint": "right",
            "route": ["site"],
            "file": "a.yaml",
            "line": 2,
            "column": 1,
            "end-line": 2,
            "end-column": 3,
        }
    ]
    assert skarv["counts"] == {
        "errors": 0,
        "warnings": 0,
        "notes": 1,  # its cause is waived
        "consequences": 0,
        "waived": 1,
        "not-proven": 2,
        "review": 0,
        "by-exception": 1,
        "rules": 4,
        "subjects": 4,
        "cases": 96,
        "problems": 0,
        "internal-errors": 1,
    }
    assert skarv["lacking"] == [
        {
            "what": "the length of feed is not written",
            "file": "skarv.yaml",
            "line": 7,
            "column": 3,
            "end-line": 7,
            "end-column": 7,
            "level": "warning",
            "verdicts": 1,
        }
    ]
    assert skarv["states"] == [
        {
            "sources": ["hybrid"],
            "joined-by-neutral": [],
            "supplies": ["hut"],
            "references": ["island-link"],
            "electrodes": [],
            "verdict": "referenced",
            "when": [{"ts": ["island"]}],
        }
    ]
    assert (tree["counts"]["problems"], tree["counts"]["waived"], tree["counts"]["cases"]) == (3, 1, 192)
    assert tree["rules"][0]["clauses"] == [
        {"rulebook": "iec", "document": "IEC 60364-5-54", "clause": "543.1", "checked": False}
    ]


def test_results_name_the_states_and_the_causes_as_this_report_lists_them() -> None:
    first = ISLAND._replace(sources=("shore",))  # comes second in the report, which orders by source
    result = FOLLOWS._replace(islands=(0, 1), causes=(("neutral-bonded-twice", "island-link"),), effect=True)
    (entry,) = report_json.build(report(site(result, OPEN._replace(islands=(0,)), islands=(first, ISLAND))))["sites"]
    assert [one["sources"] for one in entry["states"]] == [["hybrid"], ["shore"]]
    assert [one["in-states"] for one in entry["results"]] == [[1], [0, 1]]
    assert entry["results"][1]["causes"] == [{"rule": "neutral-bonded-twice", "subject": "island-link"}]
    assert entry["results"][1]["effect"] is True


FREE = ("when", "options", "levels")
"""Keys whose value is a map of names, not of keys of ours."""


def keys(tree: object) -> set[str]:
    """Every key of the format that a report uses."""
    if isinstance(tree, list):
        return {key for inner in tree for key in keys(inner)}
    if not isinstance(tree, dict):
        return set()
    return set(tree) | {key for name, inner in tree.items() if name not in FREE for key in keys(inner)}


def test_every_key_is_documented_and_every_documented_key_is_there() -> None:
    used = keys(report_json.build(FULL))
    cells = re.findall(r"^\| (`[^|]+`) \|", DOCUMENTED, re.MULTILINE)
    said = {key for cell in cells for key in re.findall(r"`([a-z0-9-]+)`", cell)}
    assert said <= used
    assert {key for key in used if f"`{key}`" not in DOCUMENTED} == set()
    assert f"format version {report_json.FORMAT}" in DOCUMENTED


def test_every_result_has_every_key() -> None:
    shapes = {tuple(one) for one in report_json.build(FULL)["sites"][1]["results"]}
    assert len(shapes) == 1


def test_order_does_not_depend_on_the_order_of_what_comes_in() -> None:
    orders = itertools.permutations((LINK, FOLLOWS, OPEN))
    texts = {report_json.render(report(site(*order), site(path="a.yaml"))) for order in orders}
    texts |= {report_json.render(report(site(path="a.yaml"), site(LINK, FOLLOWS, OPEN)))}
    assert len(texts) == 1


NAMES = ["a\x1b[2J\x9b\x07", "a\u202eb\u2066", "a\u200b\ufeff", "\udcff\ud800", "</script>'\"<!--", "a" * 200]


def hostile(name: str) -> Report:
    """A report that holds the name wherever a name can be."""
    place = Span(1, 1, 1, 2)
    step = (Mention(name, (name,), name), place)
    ways = (((name, (name,)),),)
    figures = ((name, name),)
    waiver = Waiver(name, name, name, name, name, (name,))
    bad = Result(
        *(name, "fail", "error", name, (name,), place, name, name, name, (step,), ways, figures, (name,)),
        *((name, name), waiver, (StateFigures(ways, figures),), ((step,),), (Edit(place, name),), name),
    )
    results = (bad, bad._replace(waiver=None), bad._replace(kind="open"), bad._replace(kind="review"))
    whole = Site(
        *(name, (name,), name, name, name, name, (Problem(place, name, name, (name,)),), results),
        *((Fault(name, name, name),), (IslandLine((name,), (name,), (name,), name, ways),), 1, (name,)),
    )
    page = RulePage(name, "error", name, name, name, name, (name,), ((name, name),), ((name, name, name),))
    return Report("1", (whole,), (page._replace(clauses=(Clause(name, name, name, True),)),))


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_stay_names(name: str) -> None:
    text = report_json.render(hostile(name))
    assert all(char == "\n" or char.isprintable() for char in text)
    assert text.count("\n") == report_json.render(hostile("harmless")).count("\n")
    assert keys(built(text)) - keys(built(report_json.render(hostile("harmless")))) == set()


@pytest.mark.parametrize("name", ["skarv", "three-changeovers--neutral-solid-at-main", "tt-farm--no-electrode"])
def test_a_real_site_gives_all_its_results(name: str) -> None:
    path = ROOT / "fixtures" / "sites" / f"{name}.yaml"
    inspected = inspect_file(str(path), load_rules(), today="2026-11-25", islands=True)
    assert not inspected.faults
    tree = built(report_json.render(Report("1", (inspected,), pages(load_rules()))))
    (entry,) = tree["sites"]
    assert len(entry["results"]) == len(inspected.results) > 50
    assert len({(one["rule"], one["subject"]) for one in entry["results"]}) == len(entry["results"])
    assert all(one["rule-level"] in ("error", "warning", "note") for one in entry["results"])
    assert sum(one["verdicts"] for one in entry["lacking"]) == entry["counts"]["not-proven"]
    assert len(entry["states"]) == len(inspected.islands) > 1
    assert not {key for key in keys(tree) if f"`{key}`" not in DOCUMENTED}


# -- lines -------------------------------------------------------------------------------------------------------------


def test_one_line_for_each_thing_to_say() -> None:
    review = FOLLOWS._replace(kind="review", level="none", subject="barn", message="look at barn", because=None)
    plain = LINK._replace(waiver=None)
    told = report(
        site(
            plain, FOLLOWS, OPEN, EXEMPT, review, not_proven=("a limit",), faults=(Fault("pe-small", "x", "KeyError"),)
        ),
        site(LINK, path="b.yaml"),
        FULL.sites[1],
    )
    assert annotations.render(told).splitlines() == [
        "a.yaml:2:1: error: wrong (right) [description-refused]",
        "a.yaml:1:1: error: 2 more problems not shown: mend these first [description-refused]",
        "b.yaml:4:3: note: waived: tied to earth a second time [neutral-bonded-twice]",
        "skarv.yaml:1:1: error: internal error in rule pe-small on subject x: KeyError [internal]",
        "skarv.yaml:4:3: error: tied to earth a second time [neutral-bonded-twice]",
        "skarv.yaml:6:3: note: hangs in the air (follows from island-link) [pe-missing]",
        "skarv.yaml:8:3: note: by exception: mill: below 50 V (415.2.2); the fault goes on [source-too-weak-to-trip]",
        "skarv.yaml:6:3: note: to be reviewed: look at barn [pe-missing]",
        "skarv.yaml:7:3: warning: not proven: the length of feed is not written: "
        "1 verdict of pe-small on lab (warning) [not-proven]",
        "skarv.yaml:1:1: warning: not proven: a limit [not-proven]",
    ]


GNU = re.compile(r"[^\n]+:[1-9][0-9]*:[1-9][0-9]*: (error|warning|note): [^\n]+ \[[^\n]+\]\n")


@pytest.mark.parametrize("name", [*NAMES, "a\nx.yaml:1:1: error: forged [forged]"])
def test_every_line_has_the_same_form_whatever_the_names(name: str) -> None:
    text = annotations.render(hostile(name))
    assert "".join(match[0] for match in GNU.finditer(text)) == text
    assert text.count("\n") == annotations.render(hostile("harmless")).count("\n")
    assert all(char == "\n" or char.isprintable() for char in text)


def test_nothing_to_say_gives_no_line() -> None:
    assert annotations.render(report(site(FOLLOWS._replace(kind="pass")))) == ""


# -- the command -------------------------------------------------------------------------------------------------------


def test_the_command_writes_both(tmp_path: Path, run: Run) -> None:
    for name, text in (("hut", HUT), ("floating", FLOATING), ("broken", BROKEN)):
        (tmp_path / f"{name}.yaml").write_text(text)
    done = run("inspect", "--report", "json", "--rulebook", "nec", "--today", "2026-11-25", ".")
    tree = built(done.stdout)
    assert (done.returncode, tree["exit-status"]) == (3, 3)
    assert tree["options"] == {"fail-on": "error", "rulebook": "nec", "today": "2026-11-25"}
    assert [(one["path"], one["verdict"] == "refused") for one in tree["sites"]] == [
        ("broken.yaml", True),
        ("floating.yaml", False),
        ("hut.yaml", False),
    ]
    assert all(len(one["sha256"]) == 64 for one in tree["sites"])
    assert tree["sites"][1]["states"]
    done = run("inspect", "--report", "lines", ".")
    assert done.returncode == 3
    assert re.search(r"^broken\.yaml:8:30: error: .*hutt.* \[description-refused\]$", done.stdout, re.MULTILINE)
    assert re.search(r"^floating\.yaml:4:3: error: .* \[neutral-unreferenced\]$", done.stdout, re.MULTILINE)
    assert "".join(match[0] for match in GNU.finditer(done.stdout)) == done.stdout
