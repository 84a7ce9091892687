"""The engine against the naive second opinion, on installations drawn by lot.

Two implementations that share no code have to agree on every (rule, subject), and on the operating states in which each is
found: whatever agrees with a condition that the engine reports is a failing state of the second opinion, and every failing
state of the second opinion agrees with one of the engine's conditions.

A longer run: ``ONEBOND_EXAMPLES=5000 pytest tests/test_against_naive.py``, or ``python tests/test_against_naive.py FIRST
LAST [COMBINATIONS]`` for seeds of a plain generator, which prints each description that the two disagree on.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings

import generate
import naive
from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import load
from onebond.result import Result, Site
from onebond.rule import Finding, Rule

EXAMPLES = int(os.environ.get("ONEBOND_EXAMPLES", "100"))
COMBINATIONS = int(os.environ.get("ONEBOND_COMBINATIONS", "400"))

# Rules that the second opinion does not know: fixtures and examples hold these.
NOT_COMPARED = frozenset({"sources-at-different-levels", "device-does-not-fit", "waiver-expired", "waiver-unused"})

# Rules on currents and sizes are left out of the run: they have a second implementation of their own
# (test_circuit_against_naive).
ON_CURRENTS = frozenset(
    {
        "bond-small",
        "bonding-conductor-small",
        "breaking-capacity-low",
        "disconnection-too-slow",
        "earthing-conductor-small",
        "electrode-resistance-high",
        "neutral-current-in-pe",
        "pe-small",
        "pen-small",
        "rcd-blind",
        "rcd-missing",
        "rcd-not-selective",
        "rcd-trips-in-service",
        "rcd-type-unsuitable",
        "single-failure-dangerous",
        "source-too-weak-to-trip",
        "touch-voltage-high",
        "voltage-drop-high",
    }
)

# Rules of which the second opinion knows the plain cases only: the engine has to find those, and may find more.
WIDER = frozenset({"infeed-behind-rcd", "inverter-fed-behind-rcd"})

# Rules about the layout: which states the engine names as examples is not part of what they claim.
LAYOUT = frozenset({"neutral-borrowed", "electrodes-not-joined", *WIDER})

PASSED_OVER = ("open", "closed", "mated", "unmated")


def compared(opinion: naive.Opinion, key: naive.Key, level: str) -> bool:
    """Whether both sides judge this by the same words of the documents."""
    rule, subject = key
    source = opinion.sources.get(subject, {})
    if rule in NOT_COMPARED:
        return False
    if rule in ("neutral-unreferenced", "electrode-missing"):
        # what the rulebooks except for portable and vehicle sources is a matter of the rule, not of the network
        return bool(source.get("mounted", "fixed") == "fixed")
    if rule == "neutral-borrowed":
        # inverters that act as one source, each with its own neutral: what lies behind what is then a matter of taste
        return not opinion.groups
    if rule == "changeover-neutral-solid":
        # the warning asks besides which sources can arrive at a changeover at all
        return level == "error"
    if rule == "changeover-neutral-switched":
        return not source  # the warning about inverters is the engine's alone
    return True


def causeless(one: Rule) -> Rule:
    """A rule whose findings follow from nothing: its conditions stand for every failing state, not only for those of its own cause."""

    def check(subject: Any, params: Any) -> Any:
        verdict = one.check(subject, params)
        return verdict._replace(because=None) if isinstance(verdict, Finding) else verdict

    return one._replace(check=check)


def verdicts(text: str, causes: bool = True) -> Site:
    """What the product says of a description that has to be readable."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "drawn.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        document, installation, problems, _ = load(path)
    assert document is not None and installation is not None and not problems, [p.message for p in problems]
    rules = [one if causes else causeless(one) for one in load_rules() if one.id not in ON_CURRENTS]
    return inspect(installation, document, rules, today="2026-11-25")


def agrees(condition: Any, state: naive.State) -> bool:
    """Whether an operating state is one of those that a reported condition stands for."""
    return all(state[variable] in values for variable, values in condition)


def disagreements(description: dict[str, Any]) -> list[str]:
    """Everything on which the engine and the second opinion differ, in words."""
    site = verdicts(generate.written(description))
    whole = {(r.rule, r.subject): r for r in verdicts(generate.written(description), causes=False).results}
    said = [f"internal error: {fault}" for fault in site.faults] + [f"not proven: {why}" for why in site.not_proven]
    opinion = naive.Opinion(description)
    opinions = opinion.findings()
    # said beside its cause, which is compared
    beside = {
        (r.rule, r.subject)
        for r in site.results
        if r.rule in ("electrode-missing", "changeover-neutral-solid") and r.because
    }
    beside |= {key for key, found in opinions.items() if key[0] == "changeover-neutral-solid" and not found.root}
    engine: dict[naive.Key, Result] = {
        (r.rule, r.subject): r
        for r in site.results
        if r.kind == "fail"
        and (r.rule, r.subject) not in beside
        and compared(opinion, (r.rule, r.subject), r.level if r.because is None else "error")
    }
    other = {key: found for key, found in opinions.items() if key not in beside and compared(opinion, key, found.level)}
    said += [
        f"only the engine finds {key} {engine[key].level} {engine[key].conditions}"
        for key in sorted(engine.keys() - other)
        if key[0] not in WIDER
    ]
    said += [
        f"only the second opinion finds {key} {some(opinion, other[key])}" for key in sorted(other.keys() - engine)
    ]
    possible = [state for state in opinion.all_states() if opinion.possible(state)]
    for key in sorted(engine.keys() & other.keys()):
        said += compare_states(opinion, possible, key, whole[key], other[key])
        result, found = engine[key], other[key]
        if (result.because is None) != found.root and key[0] in ("neutral-bonded-twice", "backfeed"):
            said.append(
                f"{key}: the engine says it follows from {result.because}, second opinion: root cause {found.root}"
            )
        if result.because is None and found.root and result.level != found.level:
            said.append(f"{key}: the engine says {result.level}, the second opinion {found.level}")
    lost = [r for (rule, _), r in engine.items() if rule == "pe-missing"]
    if lost and all(r.because is not None and r.because[0] == "pe-missing" for r in lost):
        said.append("every pe-missing is said to follow from another one")
    return said


def some(opinion: naive.Opinion, found: naive.Found) -> str:
    """One state of a finding, in words."""
    if found.states is None:
        return str(found.level)
    first = dict(zip(opinion.names, min(found.states), strict=True))
    return f"{found.level} in {len(found.states)} states such as {first}"


def compare_states(
    opinion: naive.Opinion,
    possible: list[naive.State],
    key: naive.Key,
    result: Result,
    found: naive.Found,
) -> list[str]:
    """Where the conditions of a finding do not stand for exactly its failing states."""
    if found.states is None or not result.conditions or key[0] in LAYOUT:
        return []
    said = []
    named = {variable for condition in result.conditions for variable, _ in condition}
    # a device or plug that only takes the supply away may go unnamed: its opening puts nothing right
    locked = {variable for interlock in opinion.interlocks for variable in interlock["never"]}
    passed_over = [v for v, value in possible[0].items() if v not in named | locked and value in PASSED_OVER]
    for state in possible:
        reported = any(agrees(condition, state) for condition in result.conditions)
        full = {
            variable: value if variable not in passed_over else "mated" if value in ("mated", "unmated") else "closed"
            for variable, value in state.items()
        }
        failing = tuple(state.values()) in found.states
        # a changeover that nothing live reaches but by its neutral is not asked for its position
        if failing and key[0] == "changeover-neutral-solid":
            reported = True
        # what floats with the supply absent floats with it detached: one of the two is named
        if failing and not reported and key[0] == "neutral-unreferenced":
            twin = {variable: "absent" if value == "detached" else value for variable, value in state.items()}
            reported = any(agrees(condition, twin) for condition in result.conditions)
        if failing > reported or reported > (failing or tuple(full.values()) in found.states):
            who = "engine" if reported else "second opinion"
            said.append(f"{key}: found only by the {who} in {state}; conditions {result.conditions}")
            break
    for condition in result.conditions:
        if not any(agrees(condition, state) for state in possible):
            said.append(f"{key}: the condition {condition} stands for no possible state")
    return said


@settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    deadline=None,
    print_blob=False,
    phases=[Phase.explicit, Phase.generate],  # a site is read as it is: shrinking one takes minutes
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
@given(generate.installations(COMBINATIONS))
def test_engine_equals_second_opinion(description: dict[str, Any]) -> None:
    said = disagreements(description)
    assert not said, "\n".join([*said, generate.written(description)])


def main(first: int, last: int, combinations: int) -> int:
    """Compare on seeds of a plain generator; returns how many descriptions the two disagree on."""
    wrong = 0
    for seed in range(first, last):
        description = generate.build(random.Random(seed), combinations)
        said = disagreements(description)
        if said:
            wrong += 1
            print(f"--- seed {seed}", *said, generate.written(description), sep="\n", flush=True)
    print(f"{last - first} descriptions, {wrong} with a disagreement")
    return wrong


if __name__ == "__main__":
    arguments = [int(argument) for argument in sys.argv[1:]]
    sys.exit(1 if main(arguments[0], arguments[1], (*arguments[2:], COMBINATIONS)[0]) else 0)
