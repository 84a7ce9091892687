"""Nothing breaks a short circuit of a battery.

Checks: every cable on the way from a battery to its first overcurrent device (fuse, mcb, mccb or rcbo), all switches closed.  An
inverter or a load that is reached without one is found, and so is a way to a board or an array that is longer than a lead
without protection may be.  One pole is enough where no pole is earthed, since a current from pole to pole passes both; else every pole
that is not earthed needs its own.  Links between the blocks of a bank, and what is built into a battery, count only as
they are written: a fuse inside it stands in `through` of its cable.  What arrays themselves give is left out, since it is little more
than their rated current; strings in parallel need fuses for another reason, which is not judged.

Danger: a battery gives thousands of ampere for minutes, whatever is open elsewhere.  The cable burns along its whole length, and the
arc of direct current ends only when the copper is gone.

Remedy: a fuse or breaker that is made for direct current at the terminals of the battery, in each pole that is not earthed.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    BatteryLeads,
    Example,
    Facts,
    Finding,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    open_or,
    rule,
)

_FUSE = ", through: [{kind: fuse, class: gG, rating: 125 A, dc-breaking-capacity: 10 kA}]"
_LEAD = "to: inv.dc, cores: DC+ DC- PE" + _FUSE


def check(leads: BatteryLeads, params: Params) -> Verdict:
    """Whether an overcurrent device stands near enough to a battery on every way from it."""
    longest_m = params["longest-m"]
    far = [(mention, length) for mention, length in leads.ways if isinstance(length, float) and not length <= longest_m]
    bare = [*leads.bare, *(mention for mention, _ in far)]
    if bare:
        return Finding(
            f"a short circuit behind {leads.id} meets no overcurrent device",
            "the battery drives all that it has through the cable until it burns, and no switch elsewhere ends that",
            f"a fuse or breaker for direct current at {leads.id}, in each pole that is not earthed",
            tuple(bare),
            figures=(("largest current", open_or(leads.fault_a.lacking or leads.fault_a.known_a, "A")),),
        )
    for _, length in leads.ways:
        if not isinstance(length, float):
            raise Unknown.of(length)
    if leads.earthed_unknown:
        raise Unknown(f"the earthed-pole of {leads.id}", leads.route)
    return PASS


RULE = rule(
    id="dc-unfused",
    level="error",
    over=Facts.battery_leads,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-43", "433.2, 434.2", False),
        Ref("iec", "IEC 62485-2", "6.1", False),
        Ref("bs7671", "BS 7671", "434.2", False),
        Ref("nec", "NEC", "240.21(H)", False),
        Ref("as-nzs", "AS/NZS 5139", "overcurrent protection", False),
        Ref("sans", "SANS 10142-1", "6.7", False),
    ),
    params=(
        Param(
            "longest-m", "longest lead without protection, in m (IEC 60364-4-43 434.2.1 ?; no figure in the NEC)", 3.0
        ),
    ),
    examples=(
        *(
            Example("solar-cabin", ((_LEAD, _LEAD.removesuffix(_FUSE)),), ("bank",), book)
            for book in ("iec", "bs7671", "nec", "as-nzs", "sans")
        ),
        Example("solar-cabin", ((_FUSE, ", through: [{kind: isolator, operable: yes}]"),), ("bank",)),
        # a fuse in one pole is enough while no pole is earthed; in the earthed pole it is none
        Example("solar-cabin", (("10 kA}]", "10 kA, poles: DC+}]"),), ()),
        *(
            Example(
                "solar-cabin",
                (("48 V, earthed-pole: none", f"48 V, earthed-pole: {pole}"), ("10 kA}]", "10 kA, poles: DC+}]")),
                finds,
            )
            for pole, finds in (("negative", ()), ("positive", ("bank",)), ("middle", ("bank",)))
        ),
        # a board between the battery and the fuse: as far away as a lead without protection may be, and farther
        *(
            Example(
                "solar-cabin",
                (
                    ("boards:\n", "boards:\n  bus: {}\n"),
                    (
                        "bank-cable: {from: bank,",
                        f"bank-bar: {{from: bank, to: bus, cores: DC+ DC- PE, size: 50 mm2, length: {length}}}\n  bank-cable: {{from: bus,",
                    ),
                ),
                finds,
            )
            for length, finds in (("3 m", ()), ("3.1 m", ("bank",)))
        ),
    ),
    page=__doc__,
    in_states=False,
)
