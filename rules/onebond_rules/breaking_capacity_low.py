"""A device may have to break more current than it can.

Checks: the largest prospective current at every breaker and fuse, in every operating state, with cold conductors, the
supplier's largest current, all sources that run together, inverters with their limit (ten times rated where none is written),
and the worst kind of short circuit.  Where the breaking capacity is not written, the least of the product standard is taken,
and what is above that is open.  Where a length is missing, what the source gives at its own terminals may be enough to pass.
On the direct-current side only `dc-breaking-capacity` counts, since an arc of direct current does not end by itself: what a device
breaks of alternating current says nothing there.  A battery is taken to be full (1.2 times its rated voltage, 0.9 of its internal
resistance, unless its short-circuit current is written), arrays add theirs, and what the capacitors of an inverter add is left out.
Motors are left out, and so is a device upstream that backs this one up: have the maker's table, and waive the finding with it.

Danger: the device bursts, the arc stays, and the board burns.

Remedy: a device that breaks more, or one upstream that the maker declares to back it up.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Param, Params, Peak, Ref, Unknown, Verdict, figure, rule

_FUSE = "{kind: fuse, class: gG, rating: 63 A, breaking-capacity: 50 kA}"
_DC = "dc-breaking-capacity: 10 kA"


def check(peak: Peak, params: Params) -> Verdict:
    """Whether this device breaks what may flow at its place."""
    written = peak.device.dc_breaking_capacity_a if peak.direct else peak.device.breaking_capacity_a
    # a current that differs from the capacity in its last digits only is broken
    can_a = written if written is not None else _least(peak, params)
    can_a = None if can_a is None else can_a * (1 + 1e-9)
    if written is not None and can_a is not None and not peak.known_a <= can_a:
        return Finding(
            f"a short circuit at {peak.id} may draw more current than its device can break",
            "the device bursts, and the arc that stays burns the board",
            "a device that breaks more, or one upstream that its maker declares to back it up",
            figures=(
                ("device", peak.name),
                ("breaks", figure(written, "A")),
                ("largest current", figure(peak.known_a, "A")),
                ("kind of fault", peak.kind or "the limit of its sources"),
            ),
        )
    if can_a is not None and peak.at_most_a is not None and peak.at_most_a <= can_a:
        return PASS
    if can_a is None or not peak.known_a <= can_a or not peak.current_a <= can_a:
        raise Unknown(f"the {'dc-' if peak.direct else ''}breaking-capacity of {peak.name}", peak.route)
    return PASS


def _least(peak: Peak, params: Params) -> float | None:
    """What its product standard has at least, in A; None where it has none."""
    device = peak.device
    if peak.direct:
        return None
    if device.kind == "fuse":
        known = device.fuse_class is not None or params["any-fuse"]
        return params["least-fuse-a"] if known else None
    return params["least-mccb-a" if device.kind == "mccb" else "least-mcb-a"] or None


RULE = rule(
    id="breaking-capacity-low",
    level="error",
    over=Facts.peaks,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-43", "434.5.1", False),
        Ref("iec", "IEC 60364-5-55", "551.2", False),
        Ref("bs7671", "BS 7671", "434.5.1", False),
        Ref("nec", "NEC", "110.9", False),
        Ref("as-nzs", "AS/NZS 3000", "2.5.4", False),
        Ref("sans", "SANS 10142-1", "6.7", False),
    ),
    params=(
        Param(
            "least-mcb-a",
            "the least breaking capacity of an mcb or rcbo, in A (IEC 60898-1 ?, NEC 240.83 ?)",
            1500.0,
            {"nec": 5000.0},
        ),
        Param("least-mccb-a", "that of an mccb, in A; 0: none", 0.0, {"nec": 5000.0}),
        Param("least-fuse-a", "that of a gG or aM fuse, in A (IEC 60269-3 ?, NEC 240.60 ?)", 6000.0, {"nec": 10000.0}),
        Param("any-fuse", "whether that holds for fuses of which no class is written", False, {"nec": True}),
    ),
    examples=(
        Example(
            "sized-house", ((_FUSE, "{kind: fuse, class: gG, rating: 63 A, breaking-capacity: 3 kA}"),), ("service",)
        ),
        Example("sized-house", ((_FUSE, "{kind: fuse, class: gG, rating: 63 A, breaking-capacity: 6 kA}"),), ()),
        # the length of the service is not known, and the supplier's current alone is enough
        Example("sized-house", (("size: 25 mm2, length: 15 m", "size: 25 mm2"),), ()),
        Example(
            "sized-house",
            (("rating: 16 A, breaking-capacity: 6 kA", "rating: 16 A, breaking-capacity: 1.5 kA"),),
            ("lights",),
        ),
        # direct current: what is written for alternating current does not count
        Example("solar-cabin", ((_DC, _DC.replace("10 kA", "3 kA")),), ("bank-cable",)),
        Example("solar-cabin", ((_DC, _DC.replace("10 kA", "3.6 kA")),), ()),
        Example(
            "solar-cabin",
            (("fault-current: 3.6 kA", "internal-resistance: 7 mohm"), (_DC, _DC.replace("10 kA", "9.1 kA"))),
            ("bank-cable",),
        ),
        Example(
            "solar-cabin",
            (("fault-current: 3.6 kA", "internal-resistance: 7 mohm"), (_DC, _DC.replace("10 kA", "9.2 kA"))),
            (),
        ),
    ),
    page=__doc__,
)
