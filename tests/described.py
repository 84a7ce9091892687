"""Descriptions as the tests read and edit them."""

from __future__ import annotations

from by_hand import BY_ID
from conftest import ROOT
from onebond import testing
from onebond.document import parse
from onebond.facts import Facts, Protective
from onebond.model import Installation
from onebond.reading import load, read
from onebond.result import Result


def site_of(text: str) -> Installation:
    """The installation of a description that has to be readable."""
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    return installation


def fixture(name: str) -> Installation:
    """The installation of a site of the fixtures."""
    installation = load(str(ROOT / "fixtures" / "sites" / f"{name}.yaml"))[1]
    assert installation is not None
    return installation


def facts_of(text: str) -> Facts:
    """The facts about a description, under its own rulebook."""
    installation = testing.inspected(text, ()).installation
    return Facts(installation, installation.rulebook)


def edited(text: str, *edits: tuple[str, str]) -> str:
    """A text with some parts replaced, each of which has to be there once."""
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def conductors(text: str) -> dict[str, Protective]:
    """The protective conductors of a description by id."""
    return {one.id: one for one in facts_of(text).protective}


def judged(rule_id: str, text: str, rulebook: str = "") -> dict[str, Result]:
    """What one rule says of each subject; of several states the one that fails."""
    found: dict[str, Result] = {}
    for one in testing.inspected(text, (BY_ID[rule_id],), rulebook).site.results:
        if one.subject not in found or one.kind == "fail":
            found[one.subject] = one
    return found


def asked(one: Protective, table: str) -> str:
    """The size that a table asks for of a conductor of which everything is written."""
    need = one.asked(table)
    assert need is not None
    return need.text
