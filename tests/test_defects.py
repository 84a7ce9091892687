"""The rules find the defects that are made on purpose, and nothing that nobody would expect beside them.

The short form: every so many defects of the good sites, so that each operator is among them.  ``python tests/defects.py`` is the long one.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

import defects
import generate
from onebond.document import parse
from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import read

EVERY = 9
GOOD = defects.good_sites()


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_site_written_anew_is_as_good_as_before(path: Path) -> None:
    """What an operator changes is all that is changed."""
    document = parse(generate.written(defects.load(path)).encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    failing = [
        one for one in inspect(installation, document, load_rules(), today="2026-11-25").results if one.kind == "fail"
    ]
    assert not [one for one in failing if one.waiver is None and one.level in ("error", "warning")]


def test_operators_reach_all_kinds_of_sites() -> None:
    made: dict[str, set[str]] = {}
    for path in GOOD:
        for defect in defects.defects(defects.load(path)):
            made.setdefault(defect.operator, set()).add(str(path))
    assert len(defects.OPERATORS) >= 40
    assert set(made) == {operator.__name__ for operator in defects.OPERATORS}
    assert len(GOOD) >= 30
    assert len(set.union(*made.values())) == len(GOOD)


def test_defects_are_found() -> None:
    complaints = []
    found: Counter[str] = Counter()
    first: set[str] = set()
    number = 0
    for path in GOOD:
        for defect in defects.defects(defects.load(path)):
            number += 1
            if number % EVERY and defect.operator in first:
                continue
            first.add(defect.operator)
            outcome = defects.judged(defect)
            found.update(outcome.found)
            if outcome.complaint:
                complaints.append(f"{path.stem}: {defect.operator} at {defect.place}: {outcome.complaint}")
    assert complaints == []
    assert len(found) >= 25
