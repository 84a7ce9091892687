"""A reading is not what follows from the description, or not what the rulebook accepts.

Checks: each reading against what follows from the circuit of the description in the state in which it was taken, with what meter,
loads, capacitances and soil may be off; loops against the time of the overcurrent device; voltages of lines against the band that the
schedule prints; insulation, times of RCDs and electrodes on which frames rest against the limits of the rulebook.  A loop is measured
on cold conductors: it may have the part of its limit that a rule of thumb sets aside, or the limit less what the conductors of that
place have more when they are warm, whichever is larger.  Where an RCD opens in time, or supplementary bonding serves, no limit of an
overcurrent device is asked for.  An RCD has to hold at half its rated residual current and to trip at one and five times it, from
whichever side it is tested.  A loop beyond its limit, and a voltage outside its band that no defect need explain, are warnings.  Where
readings contradict, every defect that the description suggests is tried, and what explains them is named.

Danger: what was built is not what was described and judged: a link that is open or one too many, a core that is broken or crossed, a
contact that does not open.  The plant runs all the same.

Remedy: look for the defect that is named first, put it right, and measure again; where none is named, do what the finding says of that
kind of reading.
"""

from __future__ import annotations

import math
from typing import NamedTuple

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
    Source,
    Unknown,
    Verdict,
    electrode_told,
    figure,
    loop_told,
    rule,
    trip_times,
)
from onebond_rules.shared import FUSES, LONGEST, LOWEST_VOLTAGE, MEDICAL, SUPPLEMENTARY, TIMES

_TAKEN = "onebond-readings: 1\ninstallation: measured-house.yaml\ntaken: 2026-09-14\nreadings:\n"
_FAR = (("loop-impedance: 0.35 ohm", "loop-impedance: 0.55 ohm"),)
_NOT_AS_DESCRIBED = "what was built is not what was described and judged"


class Wrong(NamedTuple):
    """A reading that is not right: what is wrong with it, what that means, and what to do."""

    one: Compared
    why: str
    so: str
    put_right: str
    grave: bool = True


def check(place: MeasuredPlace, params: Params) -> Verdict:
    """Whether the readings of a place are as expected and accepted."""
    wrong = [found for one in place.compared if (found := _wrong(one, params))]
    if not wrong:
        missing = next((one.missing for one in place.compared if one.missing), None)
        if missing:
            raise Unknown.of(missing)
        return PASS
    worst = max(wrong, key=lambda found: (found.grave, found.one.off))
    told = place.explained[0] if place.explained and worst.one.contradicts else ""
    others = (
        f" (or {len(place.explained) - 1} more that these readings cannot tell from it)"
        if len(place.explained) > 1
        else ""
    )
    put_right = f"look for this first: {told}; then measure again" if told else worst.put_right
    # a defect of the wiring explains no bad insulation and no slow device
    kind = worst.one.reading.measurement.kind
    beside = next((one for one in wrong if one.one.reading.measurement.kind != kind and not one.one.contradicts), None)
    if beside is not None:
        put_right += f"; as to the {beside.one.test}: {beside.put_right}"
    return Finding(
        f"what was read at {place.id} does not agree with the description or the rulebook: {worst.one.test}",
        f"{told}{others}: that would explain it" if told else worst.so,
        put_right,
        tuple(
            Mention(place.id, found.one.reading.route, f"{found.one.test}: {_read(found.one, found.why)}")
            for found in wrong
        ),
        because=("reading-contradicts-design", place.root) if place.root else None,
        level=None if any(found.grave for found in wrong) else "warning",
        figures=((worst.one.test, _read(worst.one, worst.why)),),
        subject=(place.id, worst.one.reading.route),
        weight=worst.one.off,
    )


def _wrong(one: Compared, params: Params) -> Wrong | None:
    """What is wrong with a reading; None where nothing is."""
    kind = one.reading.measurement.kind
    if kind == "rcd":
        return _time(one, params)
    if kind == "voltage" and (one.outside or one.contradicts):
        return _voltage(one)
    judge = {"insulation": _insulation, "loop": _loop, "electrode": _electrode}.get(kind)
    beyond = judge(one, params) if judge else None
    if not one.contradicts or one.band is None:
        return beyond
    expected = f"expected {_band(one)}"
    if beyond is not None:
        return beyond._replace(why=f"{expected}, and {beyond.why}", so=_NOT_AS_DESCRIBED, grave=True)
    return Wrong(one, expected, _NOT_AS_DESCRIBED, "measure again, and compare description and site")


def _insulation(one: Compared, params: Params) -> Wrong | None:
    least_ohm = params["insulation-ohm"]
    if one.reading.value >= least_ohm:
        return None
    return Wrong(
        one,
        f"below {figure(least_ohm / 1e6, 'Mohm')}",
        "current leaks from the live conductors to PE: damp, damage or something that was left connected; it may grow to a shock or a fire",
        "take out what the test does not mean (links, loads, electronics, surge protection, monitors) and test again; then disconnect "
        "the circuits one by one until the value rises, and divide that one at its junctions: look for damp, crushed or drilled cable "
        "and faulty heating elements; dry or replace what is bad before it is switched on",
    )


def _loop(one: Compared, params: Params) -> Wrong | None:
    limit = one.loop.limit(params) if one.loop is not None else None
    if limit is None or limit.most_ohm is None or _at_most(one.reading.value, limit.most_ohm):
        return None
    return Wrong(
        one,
        f"above {figure(limit.most_ohm, 'ohm')}: {loop_told(limit)}",
        f"with warm conductors {limit.by} may not open in time on an earth fault",
        "measure again with the leads taken off, and tighten the joints on the way; where it stays, a larger cable, a device that "
        "operates at this current (a lower rating, a quicker curve) or an RCD",
        grave=False,
    )


def _electrode(one: Compared, params: Params) -> Wrong | None:
    limit = one.electrode.limit(params) if one.electrode is not None else None
    if limit is None or _at_most(one.reading.value, limit.most_ohm):
        return None
    lower = f"; or an RCD of {figure(limit.limit_v / one.reading.value, 'A')} or less in the place of {limit.by}"
    return Wrong(
        one,
        f"above {figure(limit.most_ohm, 'ohm')}: {electrode_told(limit)}",
        "the frames that rest on it may stand at a dangerous voltage without a current that the RCD sees",
        f"more rods at a distance of their length, longer ones down to soil that stays moist, or a ring, joined to this one"
        f"{lower if math.isfinite(one.reading.value) else ''}; then measure again",
    )


def _time(one: Compared, params: Params) -> Wrong | None:
    """Whether an RCD does what it has to do at a multiple of its rated residual current, whatever the circuit lets expect."""
    assert one.rcd is not None
    tripped, seconds = bool(one.reading.value), one.reading.time_s
    allowed = trip_times(one.reading.measurement.between, one.rcd, params)
    if allowed is None:
        if not tripped:
            return None
        return Wrong(
            one,
            "it has to hold",
            "it trips on what the equipment leaks in normal service, or its loads leaked during the test",
            "disconnect what is behind it and test again; where it holds then, find what leaks, one circuit after the other; where it "
            "trips with nothing connected, replace it",
        )
    least, most = allowed
    limits = "" if math.isinf(most) else _within(least, most)
    kind = f" and its type ({one.rcd.residual_type})" if one.rcd.residual_type else ""
    if not tripped:
        return Wrong(
            one,
            f"it has to trip{limits}",
            "it does not open on an earth fault, and whoever touches a frame or a line is protected by nothing",
            f"test again behind it, between a line and PE, with the tester set to its rated residual current{kind} and the loads "
            "disconnected; press its test button; where it still holds, "
            "take its circuits out of service and replace it",
        )
    if seconds is None or least <= seconds <= most:
        return None
    early = seconds < least
    return Wrong(
        one,
        f"it has to trip{limits}",
        "it trips before the devices behind it, which then do not select"
        if early
        else "it opens too late on an earth fault",
        "see whether it is a selective one at all, by its marking; test again with the loads disconnected; replace it"
        if early
        else "test again with the loads disconnected: direct current of electronics makes it slow or blind, and filters take part of the "
        "test current; where they do, one of a type that bears that; where it is late all the same, replace it",
    )


def _within(least_s: float, most_s: float) -> str:
    return f" from {least_s * 1000:g} ms to {most_s * 1000:g} ms" if least_s else f" within {most_s * 1000:g} ms"


def _voltage(one: Compared) -> Wrong:
    expected = f"expected {_band(one)}"
    if one.supply:
        names = " and ".join(source.id for source in one.supply)
        return Wrong(
            one,
            expected,
            f"the voltage of {names} is {one.outside}: all that was read of it in this state is off alike, and nothing in the wiring "
            "explains that",
            f"measure at the terminals of {names} without load; {_regulated(one.supply[0])}; where it is right there, look for a bad "
            "joint on the way",
            grave=one.contradicts,
        )
    return Wrong(
        one,
        expected,
        _NOT_AS_DESCRIBED
        if one.contradicts
        else "it is outside the band that the description lets expect, though no defect need explain it",
        "measure again, with the loads off, here and at each board on the way to the source; look for the joint, core or neutral at "
        "which it changes",
        grave=one.contradicts,
    )


def _regulated(source: Source) -> str:
    """What to do with the voltage of a source that is off there too."""
    if source.kind == "utility":
        return "where it is off there too, the supplier has to put it right"
    if source.kind == "generator":
        return "where it is off there too, set its speed and its voltage regulator"
    return "where it is off there too, set its output voltage, or have it repaired"


def _at_most(value: float, limit: float) -> bool:
    """Whether a reading is within a limit as it is printed, to three digits."""
    return value <= max(limit, float(f"{limit:.2e}"))


def _read(one: Compared, why: str) -> str:
    """A reading beside what is wrong with it, and the state in which it was taken where that is not the usual one."""
    state = f" ({', '.join(f'{name} {value}' for name, value in one.state)})" if one.state else ""
    return f"read {one.reading.written}, {why}{state}" if one.reading.written else f"{why}{state}"


def _band(one: Compared) -> str:
    if one.band is None:
        return "something else"
    unit = one.reading.measurement.unit
    if not unit:
        return "that it trips" if one.band[0] >= 0.5 else "that it holds"
    if math.isinf(one.band[0]):
        return "open"
    if math.isinf(one.band[1]):
        return f"open, or {figure(one.band[0], unit)} and more"
    return f"{figure(one.band[0], unit)} to {figure(one.band[1], unit)}"


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
            "part of the largest loop that a reading on cold conductors may have where nothing is worked out closer (iec: "
            "IEC 60364-6 annex D ?, informative; 0.8 common practice)",
            2 / 3,
            {"bs7671": 0.8, "nec": 1.0, "as-nzs": 0.8},
        ),
        LOWEST_VOLTAGE,
        TIMES,
        LONGEST,
        FUSES,
        SUPPLEMENTARY,
        Param(
            "touch-v",
            "the most that the resistance of an electrode times the rated residual current may be, in V",
            50.0,
        ),
        MEDICAL,
        Param(
            "electrode-clause",
            "where it stands what an electrode may have",
            "411.5.3",
            {"nec": "", "as-nzs": "", "sans": ""},
        ),
        Param(
            "timed-to-a",
            "largest rated residual current, in A, of a device whose times are limited; what is above has those of its marking "
            "(nec: class A of UL 943 alone; UL 1053 ?)",
            30.0,
            {"nec": 0.0065},
        ),
        Param(
            "general-1-s",
            "times of an RCD without delay at its rated residual current, in s (IEC 61008-1; nec: (20 / mA)^1.43 of UL 943 class A, "
            "second-hand)",
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
        # C32 and a fuse of 63 A, 230 V / 320 A: 0.719 ohm, less 32 mohm for warm conductors; bs7671 prints 0.78 ohm for the fuse, nec asks
        # for no margin
        Example("measured-house", _FAR, (), readings=f"{_TAKEN}  - {{at: annexe, loop: 0.68 ohm}}\n"),
        Example("measured-house", _FAR, ("annexe",), readings=f"{_TAKEN}  - {{at: annexe, loop: 0.71 ohm}}\n"),
        Example("measured-house", _FAR, (), "bs7671", readings=f"{_TAKEN}  - {{at: annexe, loop: 0.71 ohm}}\n"),
        Example("measured-house", _FAR, (), "nec", readings=f"{_TAKEN}  - {{at: annexe, loop: 0.71 ohm}}\n"),
        # 10 % off, and so is all that was read
        Example(
            "measured-house", (), (), readings=f"{_TAKEN}  - {{at: main, loads: off, L1-N: 208 V, L1-PE: 208 V}}\n"
        ),
        Example(
            "measured-house",
            (),
            ("main",),
            readings=f"{_TAKEN}  - {{at: main, loads: off, L1-N: 185 V, L1-PE: 185 V}}\n",
        ),
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
        Example(
            "measured-house", (), ("rcd-house",), readings=f"{_TAKEN}  - {{rcd: rcd-house, times: {{0.5 x: 90 ms}}}}\n"
        ),
    ),
    page=__doc__,
)
