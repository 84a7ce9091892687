"""Subjects of rules made by hand: what a rule asks of them is given as numbers that stand exactly at a limit, or is not written.

Currents and voltages that are worked out from a description meet no limit to the last digit, so that nobody could tell ``<=`` from ``<``.
"""

from __future__ import annotations

import inspect
from functools import cache
from typing import Any

from onebond.rule import Rule, Unknown, Verdict
from onebond_rules import RULES

BY_ID = {rule.id: rule for rule in RULES}


class ByHand:
    """A subject that has what is given and nothing else; an Unknown that is given is raised where it is asked for."""

    def __init__(self, kind: type, given: dict[str, Any]) -> None:
        source = _source(kind)
        for name in given:
            assert hasattr(kind, name) or f"self.{name} =" in source or f"self.{name}:" in source, (kind, name)
        self.__dict__.update({f"_{name}": value for name, value in given.items()})

    def __getattr__(self, name: str) -> Any:
        given = self.__dict__
        if name.startswith("_") or f"_{name}" not in given:
            raise AttributeError(name)
        if isinstance(given[f"_{name}"], Unknown):
            raise given[f"_{name}"]
        return given[f"_{name}"]


@cache
def _source(kind: type) -> str:
    return inspect.getsource(kind)


def by_hand(kind: type, /, **given: Any) -> Any:
    """A subject of a kind; raises AssertionError where the kind has no such attribute."""
    return ByHand(kind, given)


def said(rule_id: str, subject: Any, rulebook: str = "iec") -> Verdict:
    """What a rule says of a subject under a rulebook; raises Unknown."""
    rule: Rule = BY_ID[rule_id]
    return rule.check(subject, rule.params_in(rulebook))
