"""Conditions that matter: the shortest set that stands for exactly some states, written by hand and tried on many random sets."""

from __future__ import annotations

import itertools
import random

import pytest

from onebond import network, testing
from onebond.conditions import conditions_of
from onebond.result import Condition
from onebond.states import State

SITE = """\
onebond: 1
site: {name: Workshop, rulebook: iec, stage: draft}
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1}
boards: {out: {}}
changeovers:
  co: {positions: [mains, own, off], poles: L1 N}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: out, resistance: 20 ohm}}
"""
LOCKED = SITE + "interlocks: [{never: {set: running, co: mains}, by: relay}]\n"

# variables in the order of the file: grid (present, absent, detached), set (running, standing), co (mains, own, off)
GRID, SET, CO = ("present", "absent", "detached"), ("running", "standing"), ("mains", "own", "off")


def built(text: str) -> network.Network:
    made = network.build(testing.inspected(text, ()).installation)
    assert [(one.name, one.values) for one in made.variables] == [("grid", GRID), ("set", SET), ("co", CO)]
    return made


@pytest.mark.parametrize(
    ("text", "given", "wanted"),
    [
        pytest.param(SITE, [(1, -1, 0)], [(("grid", ("absent",)), ("co", ("mains",)))], id="one"),
        pytest.param(
            SITE,
            [(0, 0, 1), (1, 0, 1), (2, 0, 1)],
            [(("set", ("running",)), ("co", ("own",)))],
            id="a variable that may have all its values is dropped",
        ),
        pytest.param(
            SITE,
            [(1, 0, 1), (2, 0, 1)],
            [(("grid", ("absent", "detached")), ("set", ("running",)), ("co", ("own",)))],
            id="two values of three",
        ),
        pytest.param(
            SITE,
            [(0, 0, 1), (1, 0, 1), (2, 0, 1), (0, 1, 1), (1, 1, 1), (2, 1, 1)],
            [(("co", ("own",)),)],
            id="two variables are dropped one after the other",
        ),
        pytest.param(SITE, list(itertools.product(range(3), range(2), range(3))), [()], id="always"),
        pytest.param(SITE, [], [], id="never"),
        pytest.param(
            SITE,
            [(1, -1, -1), (1, 0, 0), (2, 1, -1)],
            [(("grid", ("absent",)),), (("grid", ("detached",)), ("set", ("standing",)))],
            id="a special case of another one is left out",
        ),
        pytest.param(
            LOCKED, [(-1, 0, 1), (-1, 0, 2)], [(("set", ("running",)),)], id="what an interlock implies is left out"
        ),
        pytest.param(LOCKED, [(-1, 1, 0)], [(("co", ("mains",)),)], id="and so the other way round"),
        pytest.param(
            LOCKED,
            [(-1, 1, 1), (-1, 1, 2)],
            [(("set", ("standing",)), ("co", ("own", "off")))],
            id="an interlock of another value implies nothing",
        ),
    ],
)
def test_by_hand(text: str, given: list[State], wanted: list[Condition]) -> None:
    assert list(conditions_of(built(text), given)) == wanted


def holds(condition: Condition, state: State) -> bool:
    values = {"grid": GRID[state[0]], "set": SET[state[1]], "co": CO[state[2]]}
    return all(values[name] in allowed for name, allowed in condition)


@pytest.mark.parametrize("text", [SITE, LOCKED], ids=["free", "locked"])
def test_exactly_the_given_states(text: str) -> None:
    made = built(text)
    possible = [
        state
        for state in itertools.product(range(3), range(2), range(3))
        if text is SITE or (state[1], state[2]) != (0, 0)
    ]
    drawn = random.Random(7)
    for _ in range(300):
        given = [state for state in possible if drawn.random() < 0.6]
        found = conditions_of(made, given)
        assert [state for state in possible if any(holds(one, state) for one in found)] == given
