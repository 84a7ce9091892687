"""The tests bite: of the mutants of the rules every so many is made, and a test by hand or an example notices it.

``python tests/mutate_rules.py`` is the long form: all mutants, and all tests that ask rules for a verdict.
"""

from __future__ import annotations

import inspect
import subprocess
import sys
from collections import Counter

import mutate_rules
from conftest import ROOT


def test_what_is_listed_as_alike_is_there_and_has_its_reason() -> None:
    listed = mutate_rules.alike()
    made: Counter[tuple[str, ...]] = Counter()
    rules = {rule.id: rule for rule in mutate_rules.onebond_rules.RULES}
    for name, module in mutate_rules.modules().items():
        if any(key[0] == name for key in listed):
            made.update(mutant.key for mutant in mutate_rules.mutants(name, inspect.getsource(module)))
            made.update(mutant.key for mutant in mutate_rules.parameters(name, rules[name]))
    assert {key: made[key] for key in listed} == dict.fromkeys(listed, 1)
    assert all(len(reason) > 30 for reason in listed.values())


def test_a_mutant_is_noticed() -> None:
    """In a process of its own: what it changes is changed in memory."""
    done = subprocess.run(
        [sys.executable, "tests/mutate_rules.py", "--short"], cwd=ROOT, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = done.stdout.splitlines()
    assert told[0].endswith(" 0 left out: they do not pass from memory")
    assert int(told[-2].split()[0]) > 150 and " 0 unnoticed " in told[-2]
    assert int(told[-1].split()[0]) > 20 and " 0 unnoticed " in told[-1]
