"""What the tests pin down of the rules: every comparison and every condition of a rule is turned, and somebody has to notice.

    python tests/mutate_rules.py             all rules; prints what nobody noticed, and the share that was
    python tests/mutate_rules.py pe-small    some rules

A mutant is the module of a rule with one operator changed, run in memory: first against the rule's own examples
(``onebond.testing.prove``), then on the sites of the fixtures, where ``test_fixtures`` compares every finding with its level and its
cause, and lets nothing be open.  The defects come on top of that and are not counted here.
"""

from __future__ import annotations

import ast
import copy
import importlib
import inspect
import sys
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any

from onebond.facts import Facts
from onebond.reading import load
from onebond.rule import Exempt, Finding, Review, Rule, Unknown
from onebond.testing import prove
from onebond_rules import RULES

ROOT = Path(__file__).resolve().parent.parent

_TURNED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}


def _checked(tree: ast.Module) -> list[ast.FunctionDef]:
    """The functions of a rule: what decides, not how it is described."""
    return [node for node in tree.body if isinstance(node, ast.FunctionDef)]


def mutants(source: str) -> Iterator[tuple[int, str, ast.Module]]:
    """Line, change and tree of every mutant."""
    tree = ast.parse(source)
    for function in _checked(tree):
        for node in ast.walk(function):
            if isinstance(node, ast.Compare):
                for at, op in enumerate(node.ops):
                    for other in _TURNED.get(type(op), ()):
                        node.ops[at] = other()
                        yield node.lineno, f"{type(op).__name__} -> {other.__name__}", copy.deepcopy(tree)
                        node.ops[at] = op
            elif isinstance(node, ast.BoolOp):
                op = node.op
                node.op = ast.Or() if isinstance(op, ast.And) else ast.And()
                yield node.lineno, f"{type(op).__name__} -> {type(node.op).__name__}", copy.deepcopy(tree)
                node.op = op
            elif isinstance(node, ast.If):
                test = node.test
                for value in (True, False):
                    node.test = ast.Constant(value)
                    yield node.lineno, f"if -> {value}", copy.deepcopy(tree)
                node.test = test


def rule_of(tree: ast.Module, name: str, file: str) -> Rule:
    """The rule of a changed module."""
    space: dict[str, Any] = {"__name__": name, "__doc__": ast.get_docstring(tree, clean=False)}
    exec(compile(ast.fix_missing_locations(tree), file, "exec"), space)
    made: Rule = space["RULE"]
    return made


def noticed(tree: ast.Module, name: str, file: str) -> bool:
    """Whether the examples fail, or the rule breaks."""
    try:
        prove(rule_of(tree, name, file))
    except Exception:  # an assertion, or a rule that breaks: both are noticed
        return True
    return False


class Sites:
    """The subjects of all fixtures, worked out once."""

    def __init__(self) -> None:
        self.facts = []
        for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")):
            installation = load(str(path))[1]
            if installation is not None:
                self.facts.append(Facts(installation, installation.rulebook))

    def said(self, rule: Rule) -> Iterator[tuple[Any, ...]]:
        """What tests see of every verdict: a finding with level, cause and place, or that it is open."""
        for facts in self.facts:
            level = rule.level_in(facts.rulebook)
            if level == "off":
                continue
            params = rule.params_in(facts.rulebook)
            for subject in getattr(facts, rule.over):
                try:
                    verdict = rule.check(subject, params)
                except Unknown:
                    yield ("open",)
                    continue
                if isinstance(verdict, Finding):
                    where = verdict.subject[0] if verdict.subject else subject.id
                    yield ("found", verdict.level or level, verdict.because, where, verdict.take_out)
                else:
                    yield (
                        ("exempt",)
                        if isinstance(verdict, Exempt)
                        else ("review",)
                        if isinstance(verdict, Review)
                        else ()
                    )

    def notice(self, rule: Rule, before: list[tuple[Any, ...]]) -> bool:
        """Whether a changed rule says anything else on some site."""
        try:
            return any(one != other for one, other in zip_longest(self.said(rule), before))
        except Exception:
            return True


def main(wanted: list[str]) -> int:
    """Print the survivors and the share of mutants that were noticed."""
    sites = Sites()
    every = survived = 0
    for rule in RULES:
        if wanted and rule.id not in wanted:
            continue
        module = importlib.import_module(f"onebond_rules.{rule.id.replace('-', '_')}")
        source = inspect.getsource(module)
        lines = source.splitlines()
        before = list(sites.said(rule))
        for line, change, tree in mutants(source):
            every += 1
            file = module.__file__ or ""
            if not noticed(tree, module.__name__, file) and not sites.notice(
                rule_of(tree, module.__name__, file), before
            ):
                survived += 1
                sys.stdout.write(f"{rule.id}:{line}: {change}: {lines[line - 1].strip()}\n")
    sys.stdout.write(
        f"{every} mutants, {survived} unnoticed ({100 * (every - survived) / max(every, 1):.1f} % noticed)\n"
    )
    return survived


if __name__ == "__main__":
    main(sys.argv[1:])
