"""Writes every generated file of the source tree: ``python -m onebond.reporting.generate [--check]``.

The table of rules, that of the rulebooks, the rule pages and the schema reference.  ``--check`` writes nothing, names each file
that is stale and exits with 1 if there is one.  Exits with 2 where there is no source tree.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable

import onebond_schemas
from onebond.engine import pages
from onebond.loading import load_rules
from onebond.reporting.rule_pages import rule_page, rule_table
from onebond.reporting.rulebook_table import rulebook_table
from onebond.reporting.schema_reference import schema_reference
from onebond.result import WRITTEN_FOR
from onebond.rule import RULEBOOKS, Rule

ROOT = os.path.abspath(os.path.join(os.path.dirname(__file__), *[os.pardir] * 3))
"""The source tree, where this module runs from one."""

PAGES = "rules/pages"


def generated(rules: Iterable[Rule]) -> dict[str, str]:
    """The text of each generated file by its path in the source tree, with ``/`` between folders."""
    rules = tuple(rules)
    every = pages(rules, examples=True)
    own = {rule.id for rule in rules}
    by_book = {book: [page for page in pages(rules, book, words=WRITTEN_FOR) if page.id in own] for book in RULEBOOKS}
    files = {
        "rules/README.md": rule_table(every),
        "rules/RULEBOOKS.md": rulebook_table(by_book),
        "schemas/REFERENCE.md": schema_reference(),
        "schemas/READINGS.md": schema_reference(name=onebond_schemas.READINGS),
    }
    files.update((f"{PAGES}/{page.id}.md", rule_page(page)) for page in every)
    return files


def stale(root: str, files: dict[str, str]) -> list[str]:
    """The paths in a source tree that differ from what they should be, and the pages of rules that are no more."""
    found = [path for path, text in files.items() if _read(os.path.join(root, path)) != text]
    folder = os.path.join(root, PAGES)
    there = sorted(name for name in os.listdir(folder) if name.endswith(".md")) if os.path.isdir(folder) else []
    return found + [path for name in there if (path := f"{PAGES}/{name}") not in files]


def write(root: str, files: dict[str, str]) -> list[str]:
    """Put right what is stale in a source tree; the paths that were."""
    found = stale(root, files)
    for path in found:
        target = os.path.join(root, path)
        if path not in files:
            os.remove(target)
            continue
        os.makedirs(os.path.dirname(target), exist_ok=True)
        with open(target, "w", encoding="utf-8", newline="\n") as file:
            file.write(files[path])
    return found


def main(argv: list[str], root: str = ROOT) -> int:
    """The command; the rules are the built-in ones, whatever else is installed beside them."""
    if argv not in ([], ["--check"]):
        sys.stderr.write("usage: python -m onebond.reporting.generate [--check]\n")
        return 2
    if not os.path.isfile(os.path.join(root, "pyproject.toml")):
        sys.stderr.write(f"{root} is no source tree of onebond: install it with pip install --editable\n")
        return 2
    rules = load_rules()
    own = rules[0].check.__module__.partition(".")[0]
    files = generated(rule for rule in rules if rule.check.__module__.partition(".")[0] == own)
    found = stale(root, files) if argv else write(root, files)
    for path in found:
        sys.stdout.write(f"{'stale' if argv else 'written' if path in files else 'deleted'}: {path}\n")
    return 1 if argv and found else 0


def _read(path: str) -> str | None:
    try:
        with open(path, encoding="utf-8", newline="") as file:
            return file.read()
    except (OSError, UnicodeDecodeError):  # not there yet, or not a text at all
        return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
