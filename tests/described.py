"""Descriptions as the tests read and edit them."""

from __future__ import annotations

from conftest import ROOT
from onebond import testing
from onebond.document import parse
from onebond.facts import Facts
from onebond.model import Installation
from onebond.reading import load, read


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
