"""How long the command takes, in multiples of the time that the interpreter takes to do nothing.

Run it by hand in an environment where onebond is installed: ``python tests/startup_ratio.py``.  Prints the median of 20
runs of each command, taken in turn so that a busy machine disturbs all of them alike; exits with 1 past a limit.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

RUNS = 20
SITE = Path(__file__).resolve().parent.parent / "fixtures" / "sites" / "skarv.yaml"
COMMAND = str(Path(sys.executable).parent / "onebond")

# What is run, and its limit in multiples of the first one.
COMMANDS: dict[str, tuple[list[str], float]] = {
    "python -c pass": ([sys.executable, "-c", "pass"], 1),
    "onebond --help": ([COMMAND, "--help"], 4),
    "onebond inspect skarv.yaml": ([COMMAND, "inspect", str(SITE)], 10),
}


def main() -> int:
    # A source tree is compiled by its first run, as pip compiles what it installs: that run is not counted.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for command, _ in COMMANDS.values():
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=os.sep, env=environment)
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(RUNS):
        for name, (command, _) in COMMANDS.items():
            start = time.perf_counter()
            done = subprocess.run(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=os.sep, env=environment
            )
            times[name].append(time.perf_counter() - start)
            if done.returncode not in (0, 1):
                print(f"{name}: exit status {done.returncode}: {done.stderr.decode(errors='replace')}")
                return 2
    medians = {name: statistics.median(taken) for name, taken in times.items()}
    nothing = next(iter(medians.values()))
    passed = False
    for name, (_, limit) in COMMANDS.items():
        ratio = medians[name] / nothing
        passed |= ratio > limit
        print(f"{name:28} {medians[name] * 1000:6.1f} ms  {ratio:5.2f} x  (limit {limit:g} x)")
    return int(passed)


if __name__ == "__main__":
    sys.exit(main())
