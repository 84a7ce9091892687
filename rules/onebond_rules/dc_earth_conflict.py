"""The direct-current side meets earth twice: at a pole and through an inverter that does not separate it, or at two places of its own.

Checks: batteries and arrays, in every position of the switches of their side.  A pole that is earthed on purpose, while an inverter on
the same conductors is written as not isolated (`isolated: no`) and something ties the neutral of its output or input to earth in
some operating state.  Two sources on the same conductors of which different poles are earthed.  Two inverters that are not
isolated, on the same conductors and in no group, that may run at the same time with their neutrals earthed.

Danger: the bridge of such an inverter joins each pole to the a.c. conductors in turn.  With both sides earthed the loop closes
through PE: direct current flows there, RCDs of type AC and A go blind (6 mA of it are enough), electrodes and joints corrode, and the
inverter, or the fuse of the battery, is destroyed.  A battery drives such a fault with up to its full short-circuit current.  How much
of its voltage lies on the loop depends on the circuit of the inverter, from nothing to all of it: the figures are bounds, with
the pole taken to be earthed at the frame of its source, without a step-up converter between, and with cables at 20 C.

Remedy: leave the direct-current side unearthed and have it monitored, or take an inverter that separates the two sides; one battery
for each inverter that does not, or inverters that their maker joins on one battery, written as a group.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    DirectSide,
    Example,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Params,
    Ref,
    Source,
    Unknown,
    Verdict,
    open_or,
    rule,
)

_EARTHED = ("voltage: 48 V, earthed-pole: none", "voltage: 48 V, earthed-pole: negative")
_JOINED = ("isolated: yes", "isolated: no")
_FUSE = "{kind: fuse, class: gG, rating: 125 A, dc-breaking-capacity: 10 kA}"
_SECOND = (
    (
        "direct-current:\n",
        "  two: {kind: inverter, phases: L1, voltage: 230 V, isolated: no, neutral-bond: fixed}\n\ndirect-current:\n",
    ),
    ("  solar: {}\n", "  solar: {}\n  shed: {}\n"),
    (
        "connections:\n",
        "connections:\n  bank-cable-2: {from: bank, to: two.dc, cores: DC+ DC- PE}\n  to-shed: {from: two, to: shed, cores: L1 N PE}\n",
    ),
)


def _beside(pole: str) -> tuple[tuple[str, str], ...]:
    return (
        ("direct-current:\n", f"direct-current:\n  spare: {{kind: battery, voltage: 48 V, earthed-pole: {pole}}}\n"),
        ("connections:\n", "connections:\n  spare-cable: {from: spare, to: inv.dc, cores: DC+ DC- PE}\n"),
    )


def check(side: DirectSide, params: Params) -> Verdict:
    """Whether the direct-current side meets earth twice."""
    verdict = _verdict(side)
    if isinstance(verdict, Finding):
        side.settle()
    return verdict


def _verdict(side: DirectSide) -> Verdict:
    """The same with what is joined; raises Unknown."""
    pole = side.source.earthed_pole
    if side.clash:
        other = side.clash[0]
        return Finding(
            f"{side.id} has its {pole} pole earthed, and {other.id} on the same conductors its {other.earthed_pole} one",
            "a short circuit through PE from the moment in which the two are joined",
            "earth one conductor of the d.c. side, at one place",
            (Mention(other.id, other.route, f"its {other.earthed_pole} pole is earthed"),),
            figures=_when(side),
        )
    joins = _joins(side)
    if pole == "none":
        return joins or NotApplicable("none of its poles is earthed")
    if pole is None:
        if joins:
            return joins
        raise Unknown(f"the earthed-pole of {side.id}", side.route)
    lacking = next((one for one, reference in side.inverters if one.isolated is None and reference), None)
    for inverter, reference in side.inverters:
        if inverter.isolated is False and reference:
            return Finding(
                f"the {pole} pole of {side.id} is earthed, and {inverter.id} does not separate it from an a.c. neutral that is earthed",
                "a loop through the inverter and PE: direct current in PE blinds RCDs"
                + (", and a battery feeds it with all that it has" if side.source.kind == "battery" else ""),
                f"leave {side.id} unearthed and monitored, or take an inverter for {inverter.id} that is isolated",
                (
                    Mention(inverter.id, inverter.route, f"not isolated; its neutral is tied by {reference}"),
                    *_blind(side, inverter),
                ),
                figures=(*_figures(side, inverter), *_when(side)),
            )
    if joins:
        return joins
    if lacking is not None:
        raise Unknown(f"isolated of {lacking.id}", lacking.route)
    return PASS


def _joins(side: DirectSide) -> Finding | None:
    """Two inverters that join their a.c. systems over this side; raises Unknown."""
    lacking = None
    for one, other in side.shared:
        if one.isolated is False and other.isolated is False:
            return Finding(
                f"{one.id} and {other.id} share the d.c. side of {side.id}, separate nothing, and both have an earthed neutral",
                "each joins the poles to its own neutral in turn: the two neutrals drive a current through both bridges and PE",
                "one battery for each of them, inverters that are isolated, or a group that their maker joins on one battery",
                (Mention(one.id, one.route, "not isolated"), Mention(other.id, other.route, "not isolated")),
                figures=_when(side),
            )
        if one.isolated is not True and other.isolated is not True:
            lacking = lacking or (one if one.isolated is None else other)
    if lacking is not None:
        raise Unknown(f"isolated of {lacking.id}", lacking.route)
    return None


def _blind(side: DirectSide, inverter: Source) -> tuple[Mention, ...]:
    """The RCDs in the loop, with what the direct current does to them."""
    loop = side.loop(inverter)
    found = []
    for rcd in loop.rcds if loop else ():
        told = _KEPT[rcd.device.residual_type or ""]
        found.append(Mention(rcd.device.id or rcd.connection, rcd.device.route, f"in the loop: {told}"))
    return tuple(found)


_KEPT = {
    "AC": "type AC is right without any direct current only",
    "A": "type A stays right up to 6 mA of direct current",
    "F": "type F stays right up to 10 mA of direct current",
    "B": "type B sees the direct current and opens",
    "": "its type is not written",
}
"""What the types of RCD bear (a maker's manual, as quoted in BS 7671 531.3.3)."""


def _figures(side: DirectSide, inverter: Source) -> tuple[tuple[str, str], ...]:
    """What is carried by which conductors, and the bounds of it."""
    loop = side.loop(inverter)
    if loop is None:
        return ()
    return (
        ("loop through", ", ".join((side.id, *loop.through, inverter.id))),
        ("the source gives at most", open_or(loop.most_a, "A")),
        ("loop", open_or(loop.ohm, "ohm")),
        ("with its whole voltage on the loop", open_or(loop.whole_a, "A")),
    )


def _when(side: DirectSide) -> tuple[tuple[str, str], ...]:
    return (("switches of the d.c. side", side.positions),) if side.positions else ()


RULE = rule(
    id="dc-earth-conflict",
    level="error",
    over=Facts.direct_sides,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-7-712", "712.312.2", False),
        Ref("bs7671", "BS 7671", "712.312.2", False),
        Ref("nec", "NEC", "690.41", False),
        Ref("as-nzs", "AS/NZS 5033", "2.2", False),
        Ref("sans", "SANS 10142-1", "7.15", False),
    ),
    examples=(
        *(
            Example("solar-cabin", (_EARTHED, _JOINED), ("bank",), book)
            for book in ("iec", "bs7671", "nec", "as-nzs", "sans")
        ),
        Example("solar-cabin", (_EARTHED,), ()),
        Example("solar-cabin", (_JOINED,), ()),
        # positive earthed, as telecommunications have it
        Example(
            "solar-cabin",
            (("voltage: 48 V, earthed-pole: none", "voltage: 48 V, earthed-pole: positive"), _JOINED),
            ("bank",),
        ),
        # the a.c. side is tied to earth nowhere: another rule's matter
        Example("solar-cabin", (_EARTHED, _JOINED, ("neutral-bond: fixed", "neutral-bond: none")), ()),
        # a link that is never closed, and one that is closed in some states; an isolator that leaves the earthed pole joined
        Example("solar-cabin", (_EARTHED, _JOINED, (_FUSE, f"{_FUSE}, {{kind: isolator, normally: open}}")), ()),
        Example("solar-cabin", (_EARTHED, _JOINED, (_FUSE, f"{_FUSE}, {{kind: isolator, operable: yes}}")), ("bank",)),
        Example(
            "solar-cabin",
            (_EARTHED, _JOINED, (_FUSE, f"{_FUSE}, {{kind: isolator, normally: open, poles: DC+}}")),
            ("bank",),
        ),
        # two inverters on one battery: one that separates them is enough
        Example("solar-cabin", (_JOINED, *_SECOND), ("bank",)),
        Example("solar-cabin", (*_SECOND,), ()),
        # a second battery on the same conductors whose other pole is earthed
        Example("solar-cabin", (_EARTHED, *_beside("positive")), ("bank", "spare")),
        Example("solar-cabin", (_EARTHED, *_beside("negative")), ()),
    ),
    page=__doc__,
    in_states=False,
)
