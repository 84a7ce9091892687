"""Whole sites, good and bad: what must be found stands as a comment on the very line where it must be found.

``# want: rule-id`` is a finding of its own, ``# follows: rule-id`` one that is reported as the consequence of another,
and ``# waived: rule-id`` one that a waiver of the file accepts.  Several ids are parted by commas, several comments may
stand on one line, and ``rule-id [warning]`` asks for that level as well.  Nothing else may be found, at no level and on
no line.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import load
from onebond.result import Result, Site

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
SITES = sorted((FIXTURES / "sites").glob("*.yaml"))
PORTFOLIO = sorted((FIXTURES / "portfolio").rglob("*.yaml"))
TODAY = "2026-11-25"

COMMENT = re.compile(r"# (?P<part>want|follows|waived): (?P<rules>[^#\n]+)")
EXPECTED = re.compile(r"(?P<rule>[a-z][a-z0-9-]*)(?: \[(?P<level>error|warning|note)\])?")

RULES_OF_THE_ENGINE = ("waiver-expired", "waiver-unused")
"""Findings about the description that no rule makes."""

RULES_OF_READINGS = ("reading-contradicts-design", "reading-missing", "reading-refused", "test-overdue")
"""What is said of readings, which these sites have none of (see test_readings)."""

# line, rule, part (want | follows | waived)
Found = tuple[int, str, str]


def expected(path: Path) -> tuple[Counter[Found], dict[Found, str]]:
    """What the comments of a file ask for, and the levels that they ask for."""
    found: Counter[Found] = Counter()
    levels: dict[Found, str] = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        for comment in COMMENT.finditer(line):
            for text in comment["rules"].split(","):
                match = EXPECTED.fullmatch(text.strip())
                assert match, f"{path.name}:{number}: not a rule id: {text.strip()!r}"
                key = (number, match["rule"], comment["part"])
                found[key] += 1
                if match["level"]:
                    levels[key] = match["level"]
    return found, levels


def part(result: Result) -> str:
    """The comment that a finding answers to."""
    if result.waiver is not None:
        return "waived"
    return "want" if result.because is None else "follows"


def inspected(path: Path) -> Site:
    """The report of a description that can be read."""
    document, installation, problems, left_out = load(str(path))
    assert not problems and not left_out, [(problem.span.line, problem.message) for problem in problems]
    assert document is not None and installation is not None
    return inspect(installation, document, load_rules(), today=TODAY)


def findings(site: Site) -> list[tuple[Found, Result]]:
    """The failing results, each with what it answers to."""
    return [((result.span.line, result.rule, part(result)), result) for result in site.results if result.kind == "fail"]


def check(path: Path) -> None:
    """A file holds exactly the findings that its comments say, everything was proven, and no rule broke."""
    site = inspected(path)
    assert not site.faults
    assert not site.not_proven
    # nobody can write the impedance of a pipe: what it carries of a neutral current stays open
    opened = [result for result in site.results if result.kind == "open"]
    assert [result.rule for result in opened if "pipe is not known" not in result.lacking] == []
    want, levels = expected(path)
    found = findings(site)
    seen = Counter(key for key, _ in found)
    said = {key: f"{result.subject}: {result.message}" for key, result in found}
    missing, unexpected = want - seen, seen - want
    assert not missing and not unexpected, "".join(
        [f"\n{path.name}:{line}: not found: {kind} {rule}" for line, rule, kind in sorted(missing)]
        + [f"\n{path.name}:{key[0]}: not expected: {key[2]} {key[1]} ({said[key]})" for key in sorted(unexpected)]
    )
    own = {rule.id: rule.level_in(site.rulebook) for rule in load_rules()}
    for key, result in found:
        usual = "note" if key[2] == "follows" else own.get(result.rule, "warning")
        assert result.level == levels.get(key, usual), (path.name, key)


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_a_site_holds_what_its_comments_say(path: Path) -> None:
    check(path)


@pytest.mark.parametrize("path", [path for path in SITES if "--" not in path.stem], ids=lambda path: path.stem)
def test_a_good_site_is_quiet(path: Path) -> None:
    loud = [
        (key, result.message)
        for key, result in findings(inspected(path))
        if result.level in ("error", "warning") and result.waiver is None
    ]
    assert not loud


@pytest.mark.parametrize("path", [path for path in SITES if "--" in path.stem], ids=lambda path: path.stem)
def test_a_bad_site_belongs_to_a_good_one_and_is_found(path: Path) -> None:
    assert path.with_name(path.stem.partition("--")[0] + ".yaml") in SITES
    assert any(kind == "want" for _, _, kind in expected(path)[0])


def test_every_rule_is_hit_by_two_bad_sites_or_more() -> None:
    hits: Counter[str] = Counter()
    for path in SITES:
        hits.update({rule for _, rule, kind in expected(path)[0] if kind == "want"})
    ids = {*RULES_OF_THE_ENGINE, *(rule.id for rule in load_rules())}
    assert set(hits) <= ids
    assert {rule: hits[rule] for rule in sorted(ids - {*RULES_OF_READINGS}) if hits[rule] < 2} == {}


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_a_site_says_what_it_is_and_is_no_book(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# ") and lines[1].startswith("# ")
    assert 15 <= len(lines) <= 80


def test_the_portfolio_has_quiet_sites_loud_sites_and_one_that_is_refused() -> None:
    kinds: Counter[str] = Counter()
    for path in PORTFOLIO:
        if load(str(path))[1] is None:
            kinds["refused"] += 1
            continue
        check(path)
        kinds["loud" if expected(path)[0] else "quiet"] += 1
    assert kinds == {"quiet": 2, "loud": 2, "refused": 1}
