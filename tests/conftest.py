"""What the tests of the command line share: small descriptions of our own, and the command as a process."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

collect_ignore = ["house_rules"]  # a package of somebody else: its tests run where test_own_rules has installed it

HUT = """\
onebond: 1
site: {name: Tarn hut, rulebook: iec, stage: design}
sources:
  inverter: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, fault-current: {limit: 2 x rated, for: 50 ms}}
boards:
  hut: {}
connections:
  feed: {from: inverter, to: hut, cores: L1 N PE, size: 4 mm2, length: 3 m}
circuits:
  lamps: {from: hut, cores: L1 N PE, serves: lighting, size: 1.5 mm2, length: 9 m, load: 1 A, through: [{kind: mcb, curve: B, rating: 6 A}]}
bonds:
  hut-link: {at: hut, size: 6 mm2}
electrodes:
  rod: {at: hut, resistance: 20 ohm, conductor: 16 mm2}
"""

FLOATING = HUT.replace("bonds:\n  hut-link: {at: hut, size: 6 mm2}\n", "")
"""The hut without its bond: the neutral of the inverter is tied to earth nowhere."""

BROKEN = HUT.replace("to: hut,", "to: hutt,")
"""The hut with a feed that leads to a board which is not there."""

Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """The command as a process of its own, in a folder of its own; names of files may hold bytes that are no text."""

    def start(*arguments: str, cwd: Path = tmp_path, **environment: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "onebond", *arguments],
            cwd=cwd,
            env={**os.environ, **environment},
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
        )

    return start
