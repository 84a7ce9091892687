"""The published grammar of the description format: JSON Schema (2020-12) files that editors use as well."""

from __future__ import annotations

import os

INSTALLATION = "installation.schema.json"
READINGS = "readings.schema.json"


def path(name: str = INSTALLATION) -> str:
    """The file name of a published schema."""
    return os.path.join(os.path.dirname(os.path.abspath(__file__)), name)


def text(name: str = INSTALLATION) -> str:
    """A published schema as JSON text; raises OSError where the package is damaged."""
    with open(path(name), encoding="utf-8") as file:
        return file.read()
