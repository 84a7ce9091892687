"""Refusals in words of the trade, for values that a formula or a table does not cover."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

Key = TypeVar("Key", float, str, int)
Value = TypeVar("Value")


def within(value: float, low: float, high: float, what: str, unit: str) -> None:
    """Refuse a value outside ``low`` to ``high`` (both allowed); not a number is outside."""
    if not low <= value <= high:
        number = f"{value:g} {unit}".strip()
        raise ValueError(f"{what}: {number} is outside {low:g} to {high:g} {unit}".rstrip())


def known(table: Mapping[Key, Value], key: Key, what: str) -> Value:
    """The entry of a table, or a refusal that lists what the table has."""
    if key not in table:
        entries = ", ".join(f"{one:g}" if isinstance(one, int | float) else one for one in table)
        raise ValueError(f"{what}: {key if isinstance(key, str) else f'{key:g}'} is not one of {entries}")
    return table[key]
