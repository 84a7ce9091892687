"""The tests bite: the short form of ``mutate_core.py``, and its list of changes that change no verdict."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import mutate_core

PURE = [
    "circuit.devices",
    "circuit.limits_table",
    *(f"circuit.components.{name}" for name in ("body", "generators", "inverters", "loads", "protective", "utilities")),
]
"""Modules of which the worked numbers alone pin down every gate."""

WORKED = [
    f"worked/{path.name}"
    for path in sorted((Path(__file__).parent / "worked").glob("test_*.py"))
    if path.name not in ("test_iec60909.py", "test_handbook_examples.py")  # whole sites, and another program
]


def test_a_change_is_named_once_and_those_that_are_excused_are_still_there() -> None:
    keys = Counter(mutant.key for mutant in mutate_core.changes(mutate_core.modules()))
    assert [key for key, count in keys.items() if count > 1] == []
    listed = mutate_core.reasons()
    assert [key for key in listed if key not in keys] == []
    assert [key for key, reason in listed.items() if len(reason) < 20] == []


def test_changes_drawn_at_random_are_noticed(tmp_path: Path) -> None:
    done = subprocess.run(
        [
            *(sys.executable, mutate_core.__file__, *PURE, "--sample", "40", "--seed", "5", "--seeds", "0"),
            *("--map", str(tmp_path / "map"), "--tests", "test_components.py", "test_core_limits.py", *WORKED),
        ],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "40 changes" in done.stdout


def test_what_was_learnt_before_makes_no_test_fail(tmp_path: Path) -> None:
    # a change that no test can notice, without and with the map of the lines that tests run
    key = "circuit.components.protective: pe_by_line_mm2: LtE -> Lt: line_mm2 <= 16"
    (tmp_path / "keys").write_text(key, encoding="utf-8")
    for _ in range(2):
        done = subprocess.run(
            [
                *(sys.executable, mutate_core.__file__, "circuit.components.protective", "--seeds", "0"),
                *("--keys", str(tmp_path / "keys"), "--map", str(tmp_path / "map"), "--tests", "test_components.py"),
            ],
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert "1 changes, 0 noticed" in done.stdout, done.stdout + done.stderr
