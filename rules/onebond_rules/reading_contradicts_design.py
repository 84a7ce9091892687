"""A reading is not what follows from the description, or not what the rulebook accepts.

Checks: each reading against what follows from the circuit of the description in the state in which it was taken, with what meter,
loads, capacitances and soil may be off; loops against the time of the overcurrent device, conductors being cold; insulation, times
of RCDs and electrodes of TT sites against the limits of the rulebook.  A loop beyond the part of its limit that a rulebook sets
aside for warm conductors is a warning: it may be worked out closer.  Where readings contradict, every defect that the description
suggests is tried, and what explains them is named.

Danger: what was built is not what was described and judged: a link that is open or one too many, a core that is broken or crossed, a
contact that does not open.  The plant runs all the same.

Remedy: look for the defect that is named first, put it right, and measure again; where none is named, measure again what contradicts,
and compare description and site.
"""

from __future__ import annotations

import math

from onebond.rule import (
    PASS,
    PRACTICE,
    Compared,
    Example,
    Facts,
    Finding,
    MeasuredPlace,
    Mention,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    cold_loop,
    figure,
    rule,
    trip_times,
)

_TAKEN = "onebond-readings: 1\ninstallation: measured-house.yaml\ntaken: 2026-09-14\nreadings:\n"


def check(place: MeasuredPlace, params: Params) -> Verdict:
    """Whether the readings of a place are as expected and accepted."""
    wrong = [(one, why) for one in place.compared if (why := _wrong(one, params))]
    if not wrong:
        missing = next((one.missing for one in place.compared if one.missing), None)
        if missing:
            raise Unknown.of(missing)
        return PASS
    worst, why = max(wrong, key=lambda found: found[0].off)
    told = place.explained[0] if place.explained else ""
    others = (
        f" (or {len(place.explained) - 1} more that these readings cannot tell from it)"
        if len(place.explained) > 1
        else ""
    )
    return Finding(
        f"what was read at {place.id} does not agree with the description or the rulebook: {worst.test}",
        f"{told}{others}: that would explain it"
        if told
        else "what was built is not what was described and judged"
        if any(one.contradicts for one, _ in wrong)
        else "what was read is as described, and not what the rulebook accepts",
        f"look for this first: {told}; then measure again"
        if told
        else "measure again, and compare description and site",
        tuple(Mention(place.id, one.reading.route, f"{one.test}: {_read(one, why)}") for one, why in wrong),
        because=("reading-contradicts-design", place.root) if place.root else None,
        level="warning"
        if all(one.reading.measurement.kind == "loop" and not one.contradicts for one, _ in wrong)
        else None,
        figures=((worst.test, _read(worst, why)),),
        weight=worst.off,
    )


def _wrong(one: Compared, params: Params) -> str:
    """What is wrong with a reading, in words; '' where nothing is."""
    value, kind = one.reading.value, one.reading.measurement.kind
    if one.contradicts and one.band is not None:
        return f"expected {_band(one)}"
    if kind == "insulation" and not value >= params["insulation-ohm"]:
        return f"below {figure(params['insulation-ohm'] / 1e6, 'Mohm')}"
    if kind == "loop" and one.loop_ohm is not None:
        most = cold_loop(one.loop_ohm, params)
        if not value <= most:
            return f"above {figure(most, 'ohm')}, with which the overcurrent device is in time"
    if kind == "electrode" and one.electrode_ohm is not None and not value <= one.electrode_ohm:
        return f"above {figure(one.electrode_ohm, 'ohm')}, that its RCD allows"
    return _late(one, params) if kind == "rcd" else ""


def _read(one: Compared, why: str) -> str:
    """A reading beside what is wrong with it, and the state in which it was taken where that is not the usual one."""
    state = f" ({', '.join(f'{name} {value}' for name, value in one.state)})" if one.state else ""
    return f"read {one.reading.written}, {why}{state}" if one.reading.written else f"{why}{state}"


def _band(one: Compared) -> str:
    assert one.band is not None
    unit = one.reading.measurement.unit
    if not unit:
        return "that it trips" if one.band[0] >= 0.5 else "that it holds"
    if math.isinf(one.band[0]):
        return "open"
    if math.isinf(one.band[1]):
        return f"open, or {figure(one.band[0], unit)} and more"
    return f"{figure(one.band[0], unit)} to {figure(one.band[1], unit)}"


def _late(one: Compared, params: Params) -> str:
    """Whether an RCD took too long, or not long enough."""
    seconds = one.reading.time_s
    allowed = trip_times(one.reading.measurement.between, bool(one.late), params)
    if seconds is None or allowed is None:
        return ""
    least, most = allowed
    return "" if least <= seconds <= most else f"not from {least * 1000:g} ms to {most * 1000:g} ms"


RULE = rule(
    id="reading-contradicts-design",
    level="error",
    over=Facts.measured_places,
    check=check,
    in_states=False,
    refs=(
        Ref("iec", "IEC 60364-6", "6.4.3", False),
        Ref("bs7671", "BS 7671", "643", False),
        Ref("as-nzs", "AS/NZS 3000", "8.3", False),
        Ref("sans", "SANS 10142-1", "8.7", False),
        PRACTICE,
    ),
    params=(
        Param("insulation-ohm", "least insulation resistance at 500 V d.c., in ohm (IEC 60364-6 table 6.1 ?)", 1e6),
        Param(
            "loop-factor",
            "part of the largest loop that a reading on cold conductors may have (iec: annex D ?; 0.8 common practice)",
            2 / 3,
            {"bs7671": 0.8, "nec": 1.0, "as-nzs": 0.8},
        ),
        Param(
            "minimum-voltage-factor",
            "part of the nominal voltage that is left where the supply is at its lowest",
            1.0,
            {"bs7671": 0.95},
        ),
        Param(
            "general-1-s",
            "times of an RCD without delay at its rated residual current, in s (IEC 61008-1; nec: UL 943 class A, from memory)",
            (0.0, 0.3),
            {"nec": (0.0, 5.6)},
        ),
        Param("general-5-s", "and at five times that", (0.0, 0.04), {"nec": (0.0, 0.56)}),
        Param(
            "selective-1-s", "times of a selective RCD at its rated residual current, in s (IEC 61008-1)", (0.13, 0.5)
        ),
        Param("selective-5-s", "and at five times that", (0.05, 0.15)),
    ),
    examples=(
        Example(
            "measured-house", (), (), readings=f"{_TAKEN}  - {{at: main, L1-N: 229 V, L1-PE: 229 V, N-PE: 0.1 V}}\n"
        ),
        Example(
            "measured-house", (), ("main",), readings=f"{_TAKEN}  - {{at: main, loads: off, L1-N: 229 V, N-PE: 12 V}}\n"
        ),
        # the rulebooks differ in what part of the largest loop a reading on cold conductors may have: C32, 230 V / 320 A
        Example("measured-house", (), ("annexe",), readings=f"{_TAKEN}  - {{at: annexe, loop: 0.49 ohm}}\n"),
        Example("measured-house", (), (), "bs7671", readings=f"{_TAKEN}  - {{at: annexe, loop: 0.49 ohm}}\n"),
        Example("measured-house", (), ("main",), readings=f"{_TAKEN}  - {{at: main, insulation: 0.9 Mohm}}\n"),
        Example("measured-house", (), (), readings=f"{_TAKEN}  - {{at: main, insulation: 1 Mohm}}\n"),
        Example(
            "measured-house", (), ("rcd-house",), readings=f"{_TAKEN}  - {{rcd: rcd-house, times: {{1 x: 310 ms}}}}\n"
        ),
        Example(
            "measured-house", (), (), readings=f"{_TAKEN}  - {{rcd: rcd-house, times: {{1 x: 300 ms, 5 x: 40 ms}}}}\n"
        ),
        Example(
            "measured-house", (), ("rcd-house",), readings=f"{_TAKEN}  - {{rcd: rcd-house, times: {{1 x: no-trip}}}}\n"
        ),
    ),
    page=__doc__,
)
