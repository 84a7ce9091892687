"""The rules: found by the entry points of installed distributions, never by name.

A distribution offers rules in the entry point group ``onebond.rules``; each entry names a tuple of :class:`Rule`.  The
``entry_points.txt`` files are read here directly, because ``importlib.metadata`` costs half as much again as inspecting
a site does.  Nothing is read from the current folder: it may be a stranger's checkout.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import NamedTuple

from onebond.rule import Rule

GROUP = "onebond.rules"

OWN = "onebond"
"""The distribution whose rules come first."""


class NoRules(Exception):
    """The rules cannot be used as they are: none, twice the same id, or not what the entry point promises."""


class Offer(NamedTuple):
    """One entry point: the distribution that makes it, its name, and ``module:attribute``."""

    distribution: str
    name: str
    target: str


def load_rules() -> tuple[Rule, ...]:
    """All rules of all installed distributions, our own first, then by the name of the distribution and of the entry.

    Raises :class:`NoRules` where there is none at all (nothing inspected is never a clean bill of health), where two
    rules have one id, and where an entry point does not lead to a tuple of rules.
    """
    rules: list[Rule] = []
    home: dict[str, Offer] = {}
    for offer in offers(sys.path):
        for rule in _rules_of(offer):
            if rule.id in home:
                first = home[rule.id]
                raise NoRules(f"{first.distribution} and {offer.distribution} both have a rule called {rule.id}")
            home[rule.id] = offer
            rules.append(rule)
    if not rules:
        raise NoRules(
            "no rules are installed, so nothing can be inspected; install onebond with pip, also for development"
        )
    return tuple(rules)


def offers(path: list[str]) -> list[Offer]:
    """The entry points of the group in the distributions on an import path; of two with one name the first counts."""
    found: list[Offer] = []
    seen: set[str] = set()
    here = _real(os.curdir)
    for folder in path:
        if not folder or _real(folder) == here:
            continue
        for distribution, text in _entry_points(folder):
            if distribution not in seen:
                seen.add(distribution)
                found += [Offer(distribution, name, target) for name, target in _section(text)]
    return sorted(found, key=lambda offer: (offer.distribution != OWN, offer))


def _entry_points(folder: str) -> list[tuple[str, str]]:
    """Normalised name and ``entry_points.txt`` of each distribution in a folder that speaks of the group."""
    try:
        names = [name for name in os.listdir(folder) if name.endswith((".dist-info", ".egg-info"))]
    except OSError:  # an archive, or a folder that is not there
        return []
    found = []
    for name in sorted(names):
        try:
            with open(os.path.join(folder, name, "entry_points.txt"), "rb") as file:
                content = file.read()
        except OSError:  # most distributions have none
            continue
        if GROUP.encode() in content:
            distribution = name.rpartition(".")[0].partition("-")[0]
            found.append((distribution.lower().replace("_", "-").replace(".", "-"), content.decode("utf-8", "replace")))
    return found


def _section(text: str) -> list[tuple[str, str]]:
    """Name and target of each entry of the group in an ``entry_points.txt``."""
    entries = []
    inside = False
    for line in map(str.strip, text.splitlines()):
        if line.startswith("["):
            inside = line == f"[{GROUP}]"
        elif inside and "=" in line and not line.startswith(("#", ";")):
            name, _, target = line.partition("=")
            entries.append((name.strip(), target.partition("[")[0].strip()))
    return entries


def _rules_of(offer: Offer) -> tuple[Rule, ...]:
    module, _, attribute = offer.target.partition(":")
    said = f"the rules {offer.name!r} of {offer.distribution} ({offer.target})"
    try:
        value: object = import_module(module)
        for name in attribute.split("."):
            value = getattr(value, name)
    except Exception as error:
        raise NoRules(f"{said} cannot be loaded: {type(error).__name__}: {error}") from error
    if not isinstance(value, tuple) or not all(isinstance(rule, Rule) for rule in value):
        raise NoRules(f"{said} are not a tuple of rules")
    return value


def _real(folder: str) -> str:
    try:
        return os.path.realpath(folder)
    except OSError:  # the current folder was removed
        return ""
