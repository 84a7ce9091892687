"""What a deviation of a reading means: the defects that would move it, worked out from the circuit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from onebond.meter.bench import Shown
from onebond.meter.diagnose import Doctor, parted
from onebond.meter.measurements import Measurement
from onebond.states import State

MOVED = 3.0
"""A defect moves a reading where it is off by more standard deviations than this."""

MOST = 3
"""So many defects are named for one reading."""

Question = tuple[State, Measurement]


def telling(doctor: Doctor, asked: Sequence[Question]) -> Mapping[int, tuple[tuple[Shown, str], ...]]:
    """For the number of each question the defects that it tells best, with what would be read then.

    Of the defects that move a reading, those come first that move few other ones: that is the reading that finds them.
    """
    healthy = doctor.predicted((), asked)
    found: dict[int, list[tuple[int, Shown, str]]] = {}
    for defect in doctor.known:
        shown = doctor.predicted((defect,), asked)
        moved = [
            number
            for number, ((_, measurement), before, after) in enumerate(zip(asked, healthy, shown, strict=True))
            if isinstance(before, Shown) and isinstance(after, Shown) and parted(measurement, before, after)[0] > MOVED
        ]
        for number in moved:
            after = shown[number]
            assert isinstance(after, Shown)
            found.setdefault(number, []).append((len(moved), after, defect.words))
    return {
        number: tuple((after, words) for _, after, words in sorted(hits, key=lambda hit: hit[0])[:MOST])
        for number, hits in found.items()
    }
