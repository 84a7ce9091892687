"""Readings of every defect at the demo sites, with noise and rounding: how often the true one comes first.

    python tests/readings_trial.py              all good sites of the fixtures (minutes)
    python tests/readings_trial.py hut skarv    some sites

For each site the schedule is measured as described (healthy) several times and with each defect once: 3 % noise, one digit of rounding,
seeded.  Prints the confusion table: rows are the kinds of the true defects, columns what came first.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "fixtures" / "readings"))

import make_readings  # noqa: E402

from onebond.meter.bench import Shown  # noqa: E402
from onebond.meter.defects import Defect  # noqa: E402
from onebond.meter.diagnose import Doctor, Measured  # noqa: E402
from onebond.meter.plan import plan  # noqa: E402
from onebond.meter.plant import Plant  # noqa: E402
from onebond.reading import load  # noqa: E402

HEALTHY = 10
"""So often the site is measured as described."""


class Tried(NamedTuple):
    """One set of readings: what was wrong, and what came first."""

    site: str
    true: tuple[Defect, ...]
    named: bool  # the true one is in the first group
    alone: bool  # and nothing else is
    first: tuple[Defect, ...]


def trials(site: str, seed: int = 1) -> list[Tried]:
    """All trials of one site."""
    installation = load(str(ROOT / "fixtures" / "sites" / f"{site}.yaml"))[1]
    assert installation is not None
    plant = Plant(installation)
    doctor = Doctor(plant)
    asked = [(entry.state, entry.measurement) for entry in plan(plant).entries]
    chance = random.Random(f"{site} {seed}")
    found = []
    cases: list[tuple[Defect, ...]] = [()] * HEALTHY
    for true in [*cases, *((defect,) for defect in doctor.known)]:
        readings = [
            Measured(
                state,
                measurement,
                make_readings.noisy(measurement, shown, chance),
                make_readings.digit_of(measurement),
            )
            for (state, measurement), shown in zip(asked, doctor.predicted(true, asked), strict=True)
            if isinstance(shown, Shown)
        ]
        group = doctor.diagnose(readings, pairs=False).groups[0]
        named = any(one.defects == true for one in group.members)
        found.append(Tried(site, true, named, len(group.members) == 1, group.first.defects))
    return found


def table(found: list[Tried]) -> str:
    """The confusion table as text."""
    rows: dict[str, Counter[str]] = {}
    for one in found:
        kind = one.true[0].kind if one.true else "no defect"
        taken_for = one.first[0].kind if one.first else "no defect"
        came = ("itself" if one.alone else "with others") if one.named else taken_for
        rows.setdefault(kind, Counter())[came] += 1
    columns = [
        "itself",
        "with others",
        *sorted({name for row in rows.values() for name in row} - {"itself", "with others"}),
    ]
    lines = [f"{'true':22}" + "".join(f"{name:>22}" for name in columns)]
    lines += [
        f"{kind:22}" + "".join(f"{row[name] or '':>22}" for name in columns) for kind, row in sorted(rows.items())
    ]
    return "\n".join(lines)


def main(wanted: list[str]) -> int:
    """Run the trials and print the table; 1 where the true one comes first too seldom."""
    names = wanted or [
        path.stem for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem
    ]
    found: list[Tried] = []
    for name in names:
        mine = trials(name)
        found += mine
        named = sum(one.named for one in mine)
        sys.stdout.write(f"{name}: {named} of {len(mine)}\n")
        for one in mine:
            if not one.named:
                true, first = ([defect.name for defect in those] or ["no defect"] for those in (one.true, one.first))
                sys.stdout.write(f"    {true[0]} was taken for {first[0]}\n")
    broken = [one for one in found if one.true]
    healthy = [one for one in found if not one.true]
    share = sum(one.named for one in broken) / len(broken)
    sound = sum(not one.first for one in healthy) / len(healthy)
    sys.stdout.write(f"{table(found)}\n")
    sys.stdout.write(
        f"{len(broken)} defects: {100 * share:.1f} % come first; {len(healthy)} healthy: {100 * sound:.1f} % named\n"
    )
    return 0 if share >= 0.95 and sound >= 0.97 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
