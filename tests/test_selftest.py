"""The self-test proves every example of every rule, says when one does not hold, and leaves a record."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import Run
from onebond import selftest
from onebond.loading import load_rules
from onebond.rule import PASS, Finding

RULES = load_rules()


def test_every_rule_has_good_and_bad_sites_that_hold(run: Run, tmp_path: Path) -> None:
    told = run("selftest", "--report", "json", "--out", "record.json")
    assert (told.returncode, told.stdout, told.stderr) == (0, "", "onebond: the record is in record.json\n")
    record = json.loads((tmp_path / "record.json").read_text())
    assert (record["onebond-selftest"], record["verdict"], record["failed"]) == (1, "passed", 0)
    assert set(record["platform"]) == {"python", "implementation", "system", "release", "machine"}
    by_rule: dict[str, list[bool]] = {}
    for one in record["results"]:
        assert one["held"] and not one["why"]
        by_rule.setdefault(one["rule"], []).append(bool(one["finds"]))
    assert set(by_rule) == {rule.id for rule in RULES}
    assert all(True in found and False in found for found in by_rule.values())
    assert record["examples"] == sum(map(len, by_rule.values())) == sum(len(rule.examples) for rule in RULES)


def test_a_rule_that_went_blind_fails_it() -> None:
    blind = RULES[0]._replace(check=lambda subject, params: PASS)
    record = selftest.run([blind, RULES[1]])
    tree = selftest.build(record)
    assert tree["verdict"] == "failed"
    assert {one["rule"] for one in tree["results"] if not one["held"]} == {blind.id}
    assert f"{blind.id}" in selftest.render(record) and "FAILED" in selftest.render(record)
    assert "finds nothing, and not" in selftest.render(record)


def test_a_rule_that_cries_wolf_fails_it() -> None:
    wolf = RULES[0]._replace(check=lambda subject, params: Finding("wolf", "so", "run"))
    assert selftest.build(selftest.run([wolf]))["verdict"] == "failed"


def test_a_rule_that_breaks_fails_it() -> None:
    def broken(subject: object, params: object) -> Finding:
        raise KeyError("x")

    outcomes = selftest.run([RULES[0]._replace(check=broken)]).outcomes
    assert outcomes and all("KeyError" in one.why for one in outcomes)


def test_nothing_to_prove_is_no_pass() -> None:
    assert selftest.build(selftest.run([]))["verdict"] == "failed"


def test_it_may_be_asked_for_some_rules(run: Run) -> None:
    told = run("selftest", "pe-small", "backfeed")
    assert told.returncode == 0 and "of 2 rules" in told.stdout and "pe-small" in told.stdout
    assert run("selftest", "pe-smal").returncode == 2


def test_without_assertions_nothing_is_proved() -> None:
    done = subprocess.run(
        [sys.executable, "-O", "-m", "onebond", "selftest"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 70 and "-O" in done.stderr and done.stdout == ""


def test_the_digest_changes_with_the_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "rules_of_mine"
    (package / "bases").mkdir(parents=True)
    (package / "__init__.py").write_text("")
    (package / "bases" / "hut.yaml").write_text("onebond: 1\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    first = selftest.digest(["rules_of_mine"])
    (package / "__pycache__").mkdir()
    (package / "__pycache__" / "x.pyc").write_bytes(b"1")
    assert selftest.digest(["rules_of_mine"]) == first
    (package / "bases" / "hut.yaml").write_text("onebond: 1 \n")
    assert selftest.digest(["rules_of_mine"]) != first
