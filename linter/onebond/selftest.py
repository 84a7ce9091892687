"""Whether this installation of onebond judges as its rules say: every example of every rule, good and bad, inspected anew.

An example is a good site and one edit of it, after which the rule has to find exactly the subjects that it names.  Nothing is asked of
the network, and nothing is written but the record, which an auditor can attach.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Sequence
from typing import Any, NamedTuple

from onebond import __version__
from onebond.reporting.words import count
from onebond.rule import Rule
from onebond.testing import prove_contract, prove_example

FORMAT = 1
"""Version of the record: it rises when a key changes its meaning or goes away, not when one is added."""


class Outcome(NamedTuple):
    """What became of one example of a rule; ``why`` is empty where everything held."""

    rule: str
    package: str
    base: str
    rulebook: str  # that of the base where it is empty
    finds: tuple[str, ...]  # subjects; none: the edit has to leave the site good
    why: str


class Record(NamedTuple):
    """Everything that a run came to."""

    outcomes: tuple[Outcome, ...]
    digest: str  # SHA-256 over the code of all packages of rules and of onebond itself


def run(rules: Sequence[Rule]) -> Record:
    """Prove every example of every rule; raises RuntimeError where Python leaves out assertions, for then nothing would be proved."""
    if not __debug__:
        raise RuntimeError("Python was started with -O, which leaves out the checks that a self-test consists of")
    outcomes = []
    for rule in rules:
        told = _held(lambda rule=rule: prove_contract(rule))
        bad, good = (any(bool(one.finds) is found for one in rule.examples) for found in (True, False))
        if not told and not (good and bad):
            told = "it has no example that finds something, or none that does not"
        if told:
            outcomes.append(Outcome(rule.id, rule.package, "", "", (), told))
        for example in rule.examples:
            why = _held(lambda rule=rule, example=example: prove_example(rule, example))
            outcomes.append(Outcome(rule.id, rule.package, example.base, example.rulebook, example.finds, why))
    return Record(tuple(outcomes), digest(sorted({rule.package for rule in rules} | {"onebond"})))


def _held(check: Any) -> str:
    try:
        check()
    except AssertionError as error:
        return str(error) or "an assertion does not hold"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return ""


def digest(packages: Sequence[str]) -> str:
    """SHA-256 over the files of packages that decide verdicts (code, bases, templates), by name; line ends count as they are."""
    from importlib import resources

    whole = hashlib.sha256()
    for package in packages:
        files: list[tuple[str, bytes]] = []
        folders = [("", resources.files(package))]
        while folders:
            path, folder = folders.pop()
            for entry in folder.iterdir():
                name = f"{path}{entry.name}"
                if entry.is_dir():
                    if entry.name != "__pycache__":
                        folders.append((f"{name}/", entry))
                elif not entry.name.endswith((".pyc", ".pyo")):
                    files.append((name, entry.read_bytes()))
        for name, content in sorted(files):
            whole.update(f"{package}/{name}\0{len(content)}\0".encode())
            whole.update(content)
    return whole.hexdigest()


def build(record: Record) -> dict[str, Any]:
    """The record as a tree of plain values."""
    failed = [one for one in record.outcomes if one.why]
    return {
        "onebond-selftest": FORMAT,
        "version": __version__,
        "digest": record.digest,
        "platform": {
            "python": platform.python_version(),
            "implementation": platform.python_implementation(),
            "system": platform.system(),
            "release": platform.release(),
            "machine": platform.machine(),
        },
        "verdict": "failed" if failed or not record.outcomes else "passed",
        "rules": len({one.rule for one in record.outcomes}),
        "examples": len(record.outcomes),
        "failed": len(failed),
        "results": [
            {
                "rule": one.rule,
                "package": one.package,
                "base": one.base,
                "rulebook": one.rulebook,
                "finds": list(one.finds),
                "held": not one.why,
                "why": one.why,
            }
            for one in record.outcomes
        ],
    }


def render_json(record: Record) -> str:
    """``build`` as strict JSON that ends with a line end."""
    return json.dumps(build(record), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def render(record: Record) -> str:
    """One line a rule, what did not hold in full, and the verdict."""
    tree = build(record)
    by_rule: dict[str, list[Outcome]] = {}
    for one in record.outcomes:
        by_rule.setdefault(one.rule, []).append(one)
    room = max(map(len, by_rule), default=0)
    lines = [
        f"onebond {tree['version']}, code {record.digest}",
        " ".join(str(value) for value in tree["platform"].values()),
        "",
    ]
    for rule, outcomes in by_rule.items():
        bad = sum(1 for one in outcomes if one.finds)
        held = "held" if not any(one.why for one in outcomes) else "FAILED"
        lines.append(f"{rule.ljust(room)}  {held}  {bad:2} found, {len(outcomes) - bad:2} left alone")
        lines.extend(f"    {one.base or 'the rule'}: {one.why}" for one in outcomes if one.why)
    lines += [
        "",
        f"{tree['verdict']}: {count(tree['examples'], 'example')} of {count(tree['rules'], 'rule')}, {tree['failed']} did not hold",
    ]
    return "\n".join(lines) + "\n"
