"""Defects on purpose: each operator changes one thing in a good site, at every place where it can, and says what has to be found.

The operators are in ``operators``.  What one says comes from the trade and the standards that the rule pages name, never from a run:
``must`` are the findings that have to be there (groups of alternatives only where the states of the site decide), ``also`` the rules that
may have a finding of their own beside them; whatever else is found, consequences apart, is a mistake of the rules or of the operator.

    python tests/defects.py            applies all operators everywhere and prints the matrix of rules and operators
    python tests/defects.py 7          every seventh defect
    python tests/defects.py 1 NAME...  only these operators
    python tests/defects.py record     all of them, and writes which ones the tests make again to tests/defects_recorded.txt
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from ruamel.yaml import YAML

from operators import OPERATORS
from operators.common import Group, Named, Site

ROOT = Path(__file__).resolve().parent.parent
RECORDED = ROOT / "tests" / "defects_recorded.txt"
TODAY = "2026-11-25"
EACH = 3
"""By so many operators each rule has to be hit."""


class Defect(NamedTuple):
    """A site with one thing changed."""

    operator: str
    place: str
    site: Site
    must: tuple[Group, ...]
    also: frozenset[str]


def load(path: Path) -> Site:
    """A description as plain maps and lists."""
    site: Site = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    return site


def good_sites() -> list[Path]:
    """The good sites of the fixtures, and the bases of the rules' examples."""
    fixtures = [path for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem]
    return [*fixtures, *sorted((ROOT / "rules" / "onebond_rules" / "bases").glob("*.yaml"))]


def label(path: Path) -> str:
    """The folder and the name of a site: two of them may have one name."""
    return f"{path.parent.name}/{path.stem}"


def defects(site: Site, only: frozenset[str] = frozenset()) -> Iterator[Defect]:
    """Every defect of a site, in a fixed order."""
    for operator in OPERATORS:
        if not only or operator.__name__ in only:
            for told in operator(site):
                yield Defect(operator.__name__, told.place, told.site, told.must, told.also)


class Outcome(NamedTuple):
    """What the rules say of a defect: what is wrong with that, in words, or ''; which declared findings are there, and what else."""

    defect: Defect
    complaint: str
    hits: frozenset[str]  # rules whose declared finding is there
    beside: frozenset[str]  # rules with a finding of their own that was not declared but allowed
    effects: frozenset[str]  # rules with consequences
    took_s: float = 0.0


def judged(defect: Defect) -> Outcome:
    """Inspect a defect and compare."""
    import generate
    from onebond import schema
    from onebond.document import parse
    from onebond.engine import inspect
    from onebond.loading import load_rules
    from onebond.reading import read

    document = parse(generate.written(defect.site).encode(), "site.yaml").document
    assert document is not None
    problems, _ = schema.check(document)
    installation, more = read(document)
    if problems or installation is None:
        refused: set[Named] = {("description-refused", "")}
        first = [one.message for one in (*problems, *more)][:1]
        told = f" ({first})" if not _there(defect.must, refused)[0] else ""
        return _compared(defect, refused, refused, frozenset(), told)
    report = inspect(installation, document, load_rules(), today=TODAY)
    failing = [one for one in report.results if one.kind == "fail" and one.waiver is None]
    found = {(one.rule, one.subject) for one in failing}
    own = {(one.rule, one.subject) for one in failing if one.because is None and one.level != "note"}
    effects = frozenset(rule for rule, _ in found - own)
    return _compared(defect, found, own, effects, f"; rules broke: {report.faults[0].rule}" if report.faults else "")


def _there(must: tuple[Group, ...], found: set[Named]) -> tuple[set[Named], list[Group]]:
    """The declared findings that are there, and the groups of which none is."""
    rules = {rule for rule, _ in found}
    here = {one for group in must for one in group if one in found or (not one[1] and one[0] in rules)}
    return here, [group for group in must if not here & set(group)]


def _compared(defect: Defect, found: set[Named], own: set[Named], effects: frozenset[str], told: str) -> Outcome:
    here, missed = _there(defect.must, found)
    declared = {one for group in defect.must for one in group}
    more = {one for one in own if one not in declared and (one[0], "") not in declared}
    beside = frozenset(rule for rule, _ in more if rule in defect.also)
    noise = sorted(f"{rule} at {subject}" for rule, subject in more if rule not in defect.also)
    complaint = []
    if missed:
        wanted = " and ".join(" or ".join(f"{rule} at {subject or 'any'}" for rule, subject in one) for one in missed)
        complaint.append(f"not found: {wanted}; found {', '.join(sorted({rule for rule, _ in found})) or 'nothing'}")
    if noise:
        complaint.append(f"found beside it: {', '.join(noise)}")
    hits = frozenset(rule for rule, _ in here)
    return Outcome(defect, "; ".join(complaint) + told, hits, beside, effects - hits)


OF_READINGS = ("reading-contradicts-design", "reading-missing", "reading-refused", "test-overdue")


def catalogue() -> list[str]:
    """The rules of the catalogue in the order of the rule book, those that the engine and the reader make included.

    What is said of readings has defects of its own: they are put into the circuit and measured (`readings_trial`).
    """
    from onebond.loading import load_rules

    described = [rule.id for rule in load_rules() if rule.id not in OF_READINGS]
    return [*described, "description-refused", "waiver-expired", "waiver-unused"]


def table(matrix: dict[str, Counter[str]]) -> str:
    """The matrix: of each rule the operators whose declaration it met, with how many defects."""
    rows = []
    for rule in catalogue():
        hits = matrix.get(rule, Counter())
        told = ", ".join(f"{operator} {count}" for operator, count in hits.most_common())
        rows.append(f"{'FEW ' if len(hits) < EACH else ''}{rule} ({len(hits)} operators): {told}")
    return "\n".join(rows)


def widths(outcomes: list[Outcome]) -> str:
    """How tightly each operator declares: its defects, its declared rules, and what it allows beside them and what came of that."""
    rows = []
    for operator in OPERATORS:
        mine = [one for one in outcomes if one.defect.operator == operator.__name__]
        if mine:
            must = sorted({rule for one in mine for group in one.defect.must for rule, _ in group})
            also = {rule for one in mine for rule in one.defect.also}
            used = {rule for one in mine for rule in one.beside}
            loose = any(len(group) > 1 for one in mine for group in one.defect.must)
            rows.append(
                f"{operator.__name__}: {len(mine)} defects, {' | '.join(must) or 'nothing'}{' (any of)' if loose else ''}; "
                f"allows {len(also)}, met {len(used)}"
            )
    return "\n".join(rows)


def run(step: int, only: frozenset[str]) -> Iterator[tuple[str, Outcome]]:
    """The label of the site and the outcome of every so many defects."""
    number = 0
    for path in good_sites():
        for defect in defects(load(path), only):
            number += 1
            if number % step == 0:
                start = time.perf_counter()
                outcome = judged(defect)
                # what was inspected is needed no more
                yield label(path), outcome._replace(defect=defect._replace(site={}), took_s=time.perf_counter() - start)


def main(step: int, only: frozenset[str], write: bool = False) -> int:
    """All defects, or every so many; prints the matrix and returns how many are complained of."""
    matrix: dict[str, Counter[str]] = {}
    outcomes: list[tuple[str, Outcome]] = []
    wrong = 0
    for site, outcome in run(step, only):
        outcomes.append((site, outcome))
        for rule in outcome.hits:
            matrix.setdefault(rule, Counter())[outcome.defect.operator] += 1
        if outcome.complaint:
            wrong += 1
            sys.stdout.write(f"{site}: {outcome.defect.operator} at {outcome.defect.place}: {outcome.complaint}\n")
            sys.stdout.flush()
    every = [outcome for _, outcome in outcomes]
    sys.stdout.write(f"\n{table(matrix)}\n\n{widths(every)}\n\n")
    operators = len({one.defect.operator for one in every})
    equivalent = sum(not one.defect.must for one in every)
    sys.stdout.write(
        f"{len(every)} defects by {operators} operators, {equivalent} of them equivalent, {wrong} complained of, "
        f"{sum(one.took_s for one in every):.0f} s\n"
    )
    if write:
        RECORDED.write_text(record(outcomes), encoding="utf-8")
    return wrong


class Recorded(NamedTuple):
    """One line of the record: a defect and the rule that it has to meet."""

    rule: str
    operator: str
    site: str
    place: str


def recorded() -> list[Recorded]:
    lines = RECORDED.read_text(encoding="utf-8").splitlines()
    return [Recorded(*(part.strip() for part in line.split("|"))) for line in lines if not line.startswith("#")]


def record(outcomes: list[tuple[str, Outcome]]) -> str:
    """What the tests make again: for each rule the quickest defects of three operators, and one of each operator that is not among them."""
    good = sorted(
        (one.took_s, one.defect.operator, site, one.defect.place, one.hits)
        for site, one in outcomes
        if not one.complaint
    )
    lines = ["# rule | operator | site | place: three operators for each rule, and each other operator once"]
    chosen: set[str] = set()
    for rule in catalogue():
        mine: dict[str, str] = {}
        for _, operator, site, place, hits in good:
            if rule in hits and len(mine) < EACH:
                mine.setdefault(operator, f"{rule} | {operator} | {site} | {place}")
        lines.extend(mine.values())
        chosen.update(mine)
    for _, operator, site, place, _ in good:
        if operator not in chosen:
            chosen.add(operator)
            lines.append(f"- | {operator} | {site} | {place}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    if sys.argv[1:] == ["record"]:
        sys.exit(1 if main(1, frozenset(), write=True) else 0)
    sys.exit(1 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 1, frozenset(sys.argv[2:])) else 0)
