"""The rules find the defects that are made on purpose, exactly as declared, and say nothing of equivalent sites.

The short form: the recorded defects, three operators for each rule and each operator at least once; those that the rules judged wrongly
once; and every so many of all others.  ``python tests/defects.py`` is the long one.
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

EVERY = 60
GOOD = defects.good_sites()

JUDGED_WRONGLY = (
    # nothing feeds a line that lies on a neutral's bar: the largest of no limits was asked for, and six rules broke
    ("crossed_cores", "sites/ac-coupled", "to-croft"),
    # the link is there and closed, and the neutral that it ties is not one of what feeds the board: "nothing joins them" is not true
    ("device_forgets_a_line", "sites/skarv", "genset-feed"),
    # an inverter that only follows on another line is nothing that a neutral returns to
    ("roof_at_a_final_circuit", "sites/tt-farm", "yard-lights"),
    # a roof inverter behind a transformer takes nothing away from the devices ahead of it but what it gives itself
    ("roof_at_a_final_circuit", "sites/berth-transformer", "boat"),
    # leakages that are 0.3 of the rated residual current together are at the limit, not above it
    ("leakage_at_the_limit", "sites/game-lodge", "path-lights"),
    ("leakage_at_the_limit", "sites/tt-farm", "yard-lights"),
    # inverters beside a split-phase supply add their limits to it; it does not give twice its current between its lines
    ("output_on_own_input", "sites/nec-lodge", "pack-a"),
    # a board of direct current is no earthing terminal: what joins it to another board beside other ways is bonding
    ("thin_supplementary_bonding", "sites/radio-post", "essential to radio-bars"),
)


@pytest.mark.parametrize("path", GOOD, ids=defects.label)
def test_a_site_written_anew_is_as_good_as_before(path: Path) -> None:
    """What an operator changes is all that is changed."""
    document = parse(generate.written(defects.load(path)).encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    failing = [
        one for one in inspect(installation, document, load_rules(), today=defects.TODAY).results if one.kind == "fail"
    ]
    assert not [one for one in failing if one.waiver is None and one.level in ("error", "warning")]


def test_operators_reach_all_kinds_of_sites() -> None:
    made: dict[str, set[str]] = {}
    places: Counter[tuple[str, str, str]] = Counter()
    equivalent: set[str] = set()
    for path in GOOD:
        for defect in defects.defects(defects.load(path)):
            made.setdefault(defect.operator, set()).add(str(path))
            places[defect.operator, defects.label(path), defect.place] += 1
            if not defect.must:
                equivalent.add(defect.operator)
    names = [operator.__name__ for operator in defects.OPERATORS]
    assert len(names) == len(set(names)) >= 100
    assert set(made) == set(names)
    assert len(set.union(*made.values())) == len(GOOD) >= 40
    assert [place for place, count in places.items() if count > 1] == []
    assert len(equivalent) >= 15


def test_most_operators_declare_exactly() -> None:
    """What may be found beside the declared is a short list, and empty for most operators."""
    allowed: dict[str, set[str]] = {}
    for path in GOOD:
        for defect in defects.defects(defects.load(path)):
            allowed.setdefault(defect.operator, set()).update(defect.also)
    rules = set(defects.catalogue())
    assert not {rule for also in allowed.values() for rule in also} - rules
    assert sum(not also for also in allowed.values()) > len(allowed) / 2
    assert max(map(len, allowed.values())) <= 17


def test_each_rule_is_recorded_with_three_operators() -> None:
    operators: dict[str, set[str]] = {}
    for line in defects.recorded():
        operators.setdefault(line.rule, set()).add(line.operator)
    few = {
        rule: sorted(operators.get(rule, ()))
        for rule in defects.catalogue()
        if len(operators.get(rule, ())) < defects.EACH
    }
    assert few == {}
    named = {one for several in operators.values() for one in several}
    assert named == {operator.__name__ for operator in defects.OPERATORS}


def test_defects_are_found() -> None:
    """Each recorded defect meets its rule, and nothing is found but what was declared; likewise every so many others."""
    wanted: dict[tuple[str, str, str], set[str]] = {one: set() for one in JUDGED_WRONGLY}
    for line in defects.recorded():
        wanted.setdefault((line.operator, line.site, line.place), set()).update({line.rule} - {"-"})
    complaints = []
    number = 0
    for path in GOOD:
        for defect in defects.defects(defects.load(path)):
            number += 1
            key = defect.operator, defects.label(path), defect.place
            if number % EVERY and key not in wanted:
                continue
            outcome = defects.judged(defect)
            missed = wanted.pop(key, set()) - outcome.hits
            if outcome.complaint or missed:
                complaints.append(f"{key}: {outcome.complaint} {sorted(missed)}")
    assert complaints == []
    assert wanted == {}
