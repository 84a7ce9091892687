"""Format, lint and types, with the settings of pyproject.toml."""

from __future__ import annotations

import subprocess
import sys

import pytest

from conftest import ROOT


@pytest.mark.parametrize("arguments", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]], ids=" ".join)
def test_style(arguments: list[str]) -> None:
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
