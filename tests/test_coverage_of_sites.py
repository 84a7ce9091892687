"""The good sites are of all kinds: rulebooks, earthing systems, kinds of sources, depth of distribution, values at their limits."""

from __future__ import annotations

from collections import Counter

import pytest

import coverage_of_sites
from coverage_of_sites import BOOKS, EARTHING, KINDS, Kind


@pytest.fixture(scope="module")
def found() -> list[Kind]:
    return coverage_of_sites.kinds()


def test_each_rulebook_has_four_sites(found: list[Kind]) -> None:
    count = Counter(one.book for one in found)
    assert {book for book in BOOKS if count[book] < 4} == set()


def test_each_earthing_system_has_three_sites(found: list[Kind]) -> None:
    count = Counter(system for one in found for system in one.earthing)
    assert {system for system in EARTHING if count[system] < 3} == set()


def test_each_kind_of_source_is_there(found: list[Kind]) -> None:
    assert set(KINDS) == {kind for one in found for kind in one.kinds}


def test_five_sites_have_three_boards_in_a_row(found: list[Kind]) -> None:
    assert sum(one.depth >= 3 for one in found) >= 5
    assert max(one.depth for one in found) >= 4


def test_many_values_lie_exactly_at_a_limit(found: list[Kind]) -> None:
    assert sum(bool(one.limits) for one in found) >= 5
    assert len({limit for one in found for limit in one.limits}) >= 8


def test_the_table_has_a_row_for_each_site(found: list[Kind]) -> None:
    text = coverage_of_sites.table(found)
    assert len(found) >= 40
    assert [one.name for one in found if f"{one.name} " not in text] == []
    assert len(coverage_of_sites.crossed(found).splitlines()) == len(BOOKS) + 1
