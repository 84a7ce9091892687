"""The same description gives the same bytes, whatever the hash seed of the process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SITES = Path(__file__).resolve().parent.parent / "fixtures" / "sites"
NAMES = ["three-changeovers--neutral-solid-at-main", "pen-chain--no-link-and-no-rods", "skarv--no-key-interlock"]
RUN = "import sys; from onebond.cli import main; sys.exit(main(sys.argv[1:]))"


@pytest.mark.parametrize("report", ["text", "sarif"])
def test_hash_seed_changes_no_byte(report: str) -> None:
    outputs = set()
    for seed in ("0", "1", "77"):
        done = subprocess.run(
            [
                sys.executable,
                "-c",
                RUN,
                "inspect",
                "--evidence",
                f"--report={report}",
                *(str(SITES / f"{name}.yaml") for name in NAMES),
            ],
            capture_output=True,
            timeout=120,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        assert done.returncode == 1, done.stderr
        outputs.add(done.stdout)
    assert len(outputs) == 1
