"""Buildings in a chain, each with a bond, and the number of findings by a formula.

The supplier's PEN comes to the first building.  Each further building is fed from the one before it, by a PEN (one multiply
earthed PEN: the same reference group) or by N and PE (the neutral is bonded again although PE runs beside it: a new group).
Every group but the supplier's is one reference too many, whatever hangs behind it.
"""

from __future__ import annotations

import os
import random
import tempfile
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import generate
from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import load
from onebond.result import Result

PEN, N_AND_PE = "PEN", "N PE"


def chain(
    feeds: list[str], rulebook: str, unbonded: frozenset[int] = frozenset(), rods: bool = False
) -> dict[str, Any]:
    """Buildings 1 to n + 1: ``feeds[i]`` are the cores, beside the line, from building i + 1 to building i + 2."""
    count = len(feeds) + 1
    houses = [f"house-{i}" for i in range(1, count + 1)]
    connections: dict[str, Any] = {"service": {"from": "mains", "to": houses[0], "cores": "L1 PEN"}}
    for i, cores in enumerate(feeds, 1):
        connections[f"feed-{i}"] = {"from": houses[i - 1], "to": houses[i], "cores": f"L1 {cores}"}
    description: dict[str, Any] = {
        "onebond": 1,
        "site": {"name": "A row of houses", "rulebook": rulebook},
        "sources": {"mains": {"kind": "utility", "phases": "L1", "earthing": "TN-C-S"}},
        "boards": {house: {"building": house} for house in houses},
        "connections": connections,
        "circuits": {f"load-{i}": {"from": house, "cores": "L1 N PE"} for i, house in enumerate(houses, 1)},
        "bonds": {f"link-{i}": {"at": house} for i, house in enumerate(houses, 1) if i not in unbonded},
    }
    if rods:
        description["electrodes"] = {
            f"rod-{i}": {"at": house, "resistance": "20 ohm"} for i, house in enumerate(houses, 1)
        }
    return description


def failures(description: dict[str, Any]) -> list[Result]:
    """The findings of the product."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "chain.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(generate.written(description))
        document, installation, problems, _ = load(path)
    assert document is not None and installation is not None and not problems, [p.message for p in problems]
    site = inspect(installation, document, load_rules(), today="2026-11-25")
    assert not site.faults and not site.not_proven
    return [result for result in site.results if result.kind == "fail"]


@settings(max_examples=60, derandomize=True, database=None, deadline=None)
@given(st.lists(st.sampled_from([PEN, N_AND_PE]), max_size=14), st.sampled_from(generate.RULEBOOKS), st.booleans())
def test_one_finding_for_each_feed_with_n_and_pe(feeds: list[str], rulebook: str, rods: bool) -> None:
    found = failures(chain(feeds, rulebook, rods=rods))
    # a feed with N and PE begins a new group at its far end; the bond there is the one that no PEN split excuses
    too_much = [f"link-{i + 2}" for i, cores in enumerate(feeds) if cores == N_AND_PE]
    assert len(too_much) == feeds.count(N_AND_PE)
    assert sorted((r.rule, r.subject) for r in found) == sorted(("neutral-bonded-twice", bond) for bond in too_much)
    assert {r.level for r in found} <= {"error"}
    assert all(r.because is None for r in found)


@pytest.mark.parametrize("length", [1, 2, 7, 60])
@pytest.mark.parametrize("cores", [PEN, N_AND_PE])
def test_chains_of_one_kind(length: int, cores: str) -> None:
    found = failures(chain([cores] * length, "iec"))
    assert len(found) == (length if cores == N_AND_PE else 0)


@settings(max_examples=40, derandomize=True, database=None, deadline=None)
@given(st.lists(st.sampled_from([PEN, N_AND_PE]), min_size=1, max_size=10), st.randoms(use_true_random=False))
def test_a_split_without_its_bond(feeds: list[str], lot: random.Random) -> None:
    """One bond left out: at a PEN split that is what is missing there, behind N and PE it is how it should be."""
    missing = lot.randrange(2, len(feeds) + 2)
    arrives = feeds[missing - 2]
    found = {(r.rule, r.subject) for r in failures(chain(feeds, "iec", frozenset({missing}))) if r.level == "error"}
    assert (("bond-missing-at-pen-split", f"house-{missing}") in found) == (arrives == PEN)
    # groups are begun by the first bond after each N and PE feed, so one group is lost where nothing else is in it
    begun = 0
    for i, cores in enumerate(feeds):
        if cores != N_AND_PE:
            continue
        members = [i + 2]
        while members[-1] - 1 < len(feeds) and feeds[members[-1] - 1] == PEN:
            members.append(members[-1] + 1)
        begun += any(member != missing for member in members)
    assert sum(rule == "neutral-bonded-twice" for rule, _ in found) == begun
