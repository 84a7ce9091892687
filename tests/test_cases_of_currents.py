"""Situations whose currents once were judged wrongly: each file says in its first line why the verdict is what it is.

The expected verdicts were worked out by hand, by the clause or the formula that the line names.
"""

from __future__ import annotations

import pytest

from conftest import ROOT
from onebond import survey
from onebond.loading import load_rules

CASES = ROOT / "fixtures" / "cases"
WEAK = {"source-too-weak-to-trip"}
SLOW = {"disconnection-too-slow"}

# What is found as a root cause, or the exit status where nothing is.
EXPECTED: dict[str, set[str] | int] = {
    "another-breaker-in-l2": SLOW,
    "circuit-that-does-not-say-what-it-serves": 4,
    "circuit-without-a-neutral": {"neutral-borrowed"},
    "follower-ahead-of-the-residual-device": {"rcd-missing"},
    "follower-and-its-limit": WEAK,
    "frame-of-a-follower": SLOW,
    "group-behind-a-breaker-in-l2": WEAK,
    "inverter-with-a-follower": WEAK,
    "inverter-without-a-rating": 4,
    "isolated-without-neutral": 0,
    "line-voltage-alone": 0,
    "residual-device-in-l1-only": {"rcd-missing"},
    "two-inverters-in-parallel": WEAK,
    "two-members-on-one-line": 0,
    "two-sets-in-parallel": WEAK,
}


def test_every_case_is_expected() -> None:
    assert {path.stem for path in CASES.glob("*.yaml")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_case(name: str) -> None:
    path = CASES / f"{name}.yaml"
    assert path.read_text(encoding="utf-8").startswith("# ")
    rules = load_rules()
    site = survey.inspect_file(str(path), rules, today="2026-11-25")
    assert not site.faults
    expected = EXPECTED[name]
    found = {r.rule for r in site.results if r.kind == "fail" and r.because is None}
    if isinstance(expected, int):
        assert found == set()
        assert survey.status([site], rules) == expected
    else:
        assert found == expected
