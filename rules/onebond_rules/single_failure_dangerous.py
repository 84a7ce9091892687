"""One broken neutral or PEN puts frames or loads at a dangerous voltage.

Checks: for every PEN, and every neutral that several lines share, in every operating state: the voltage of frames to the
mass of earth and the voltage across the loads once it is broken, with all written loads.  A fixed core that is as large as a PEN
has to be, and that no device opens alone, is taken as reliable; that one contact of a device fails which opens all lines with it
is looked for only where frames would become live.

Danger: with its PEN broken an installation lifts all its frames to the voltage of its own neutral, and no breaker and no RCD sees
it.  With a shared neutral broken, small loads get up to the line-to-line voltage; they burn, and with them what is near.

Remedy: a larger, fixed core without switches and plugs on its way; more and better electrodes on a PEN; loads between
lines instead of to the neutral; or a device that disconnects on overvoltage.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Example,
    Facts,
    Failure,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(failure: Failure, params: Params) -> Verdict:
    """Whether the island bears the loss of this core."""
    if failure.reliable and not failure.opened_by_device:
        return NotApplicable(f"the {failure.core} of {failure.id} is taken as reliable ({params['reliable-clause']})")
    frame = next((shock for shock in failure.frames if not shock.volts <= params["touch-v"]), None)
    limit_v = params["overvoltage"] * failure.nominal_v
    load = next((shock for shock in failure.loads if not shock.volts <= limit_v), None)
    if frame is None and load is None:
        return PASS
    if failure.no_size and not failure.opened_by_device:
        raise Unknown.of(failure.no_size)
    sound = failure.reliable and not failure.opened_alone
    if sound and frame is None:
        return NotApplicable(
            "opened together with its lines only: the contact of one pole that fails is not looked for"
        )
    mentions, figures, harms = [], [], []
    if frame:
        mentions.append(
            Mention(frame.place, failure.route_of(frame.place), "the frame with the highest voltage to earth")
        )
        figures.append((f"frame of {frame.place} to earth", figure(frame.volts, "V")))
        harms.append("frames become live")
    if load:
        mentions.append(Mention(load.place, failure.route_of(load.place), "the load with the highest voltage"))
        figures.append((f"across the load of {load.place}", figure(load.volts, "V")))
        harms.append("loads get more than their voltage")
    return Finding(
        f"one broken {failure.core} of {failure.id} brings dangerous voltages",
        f"{' and '.join(harms)}, and no protective device sees it",
        f"let the contact for {failure.core} in {failure.id} be maintained, or disconnect on overvoltage"
        if sound
        else f"a fixed {failure.core} of {params['reliable-size']} or more in {failure.id}, without anything that opens it alone",
        tuple(mentions),
        because=("pen-switched", failure.opener) if failure.core == "PEN" and failure.opener else None,
        figures=tuple(figures),
        weight=max(
            frame.volts / params["touch-v"] if frame else 0.0,
            load.volts / limit_v if load and limit_v else 0.0,
        ),
    )


RULE = rule(
    id="single-failure-dangerous",
    level="warning",
    over=Facts.failures,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-44", "442.3", False),
        Ref("iec", "IEC 60364-5-54", "543.4.1"),
        Ref("bs7671", "BS 7671", "442.3", False),
        Ref("bs7671", "BS 7671", "543.4.1", False),
        Ref("nec", "NEC", "300.13(B)", False),
        PRACTICE,
    ),
    params=(
        Param("touch-v", "voltage of frames to earth that may remain, in volt", 50.0),
        Param(
            "overvoltage",
            "voltage of loads that may remain, as a multiple of the nominal one (IEC 60038: 10 % above it, from memory)",
            1.1,
        ),
        Param(
            "reliable-clause",
            "where it stands that a large fixed core is reliable",
            "IEC 60364-5-54, 543.4.1",
            {"bs7671": "BS 7671, 543.4.1 ?", "nec": "our choice", "as-nzs": "our choice", "sans": "our choice"},
        ),
        Param(
            "reliable-size",
            "the size from which a core is taken as reliable",
            "10 mm2 of copper or 16 mm2 of aluminium",
        ),
    ),
    examples=(
        # one load of each of two lines on a neutral that is not reliable
        Example(
            "loaded-joinery",
            (("size: 16 mm2, length: 20 m", "size: 16 mm2, n-size: 6 mm2, length: 20 m"),),
            ("service",),
        ),
        # the same with a PEN: its frames go along
        Example(
            "loaded-joinery",
            (
                ("earthing: TN-S", "earthing: TN-C-S"),
                (
                    "L1 L2 L3 N PE, size: 16 mm2, length: 20 m",
                    "L1 L2 L3 PEN, size: 16 mm2, n-size: 6 mm2, length: 20 m",
                ),
                ("electrodes:\n", "bonds:\n  main-link: {at: main}\n\nelectrodes:\n"),
                ("resistance: 12 ohm", "resistance: 60 ohm"),
            ),
            ("service",),
        ),
        # a switch that opens the neutral together with the lines
        Example(
            "loaded-joinery",
            (("rating: 63 A}]", "rating: 63 A}, {kind: isolator, rating: 63 A, id: q-main}]"),),
            (),
        ),
        # one that opens the neutral alone
        Example(
            "loaded-joinery",
            (("rating: 63 A}]", "rating: 63 A}, {kind: isolator, rating: 63 A, poles: N, id: q-main}]"),),
            ("service",),
        ),
        # the loads of a single line on that neutral stop with it
        Example("loaded-joinery", (("size: 10 mm2, length: 36 m", "size: 6 mm2, length: 36 m"),), ()),
        # loads that are alike hold each other's voltage
        Example(
            "loaded-joinery",
            (
                ("size: 16 mm2, length: 20 m", "size: 16 mm2, n-size: 6 mm2, length: 20 m"),
                ("load: 2 kW", "load: 600 W"),
                ("load: 500 W", "load: 600 W"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
