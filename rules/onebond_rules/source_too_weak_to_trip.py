"""A source limits its current below what any device on the way needs, so that a fault is not cleared in time.

Checks: the faults of `disconnection-too-slow` that an inverter, or a generating set whose excitation is declared, feeds at its
limit, through an isolating transformer too.  No finding where an RCD or a smaller breaker operates on that current for certain,
where the source shuts down by itself within the time.  Reports name as an exception: a breaker on the way that the maker declares
as one that the source trips (`largest-breaker`), and a frame whose voltage to the main earthing terminal stays at 50 V or less
while the source gives its largest current, unless metal near it is bonded nowhere; or that is bonded to the metal near it by 50 V
divided by that current.

Danger: the fault goes on, the breaker holds, the lights are dim at most, and the frame stays live until somebody looks.  The same
circuit on the grid is safe, which is why nobody expects it.

Remedy: an RCD, a smaller breaker of a quicker curve, supplementary bonding whose resistance is at most 50 V divided by the
largest current of the source, or a source that shuts down in time; a declared shutdown belongs into the description.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    EarthFault,
    Example,
    Exempt,
    Facts,
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
from onebond_rules.shared import FUSES, LONGEST, LOWEST_VOLTAGE, MEDICAL, SUPPLEMENTARY, TIMES, bonded_locally

_PUMP = (
    "pump: {from: hut-rcd, cores: L1 N PE, size: 2.5 mm2, length: 150 m, serves: fixed, through: [{kind: mcb, curve: C"
)
_PIPE = ("electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe, near: [pump]}\n\nelectrodes:\n")
_BOND = ("connections:\n", "connections:\n  bonding: {from: pump, to: pipe, cores: PE, size: 4 mm2, length: 3 m}\n")
_BARE = (_PUMP, _PUMP.replace("hut-rcd", "hut"))
_LIMIT = "fault-current: {limit: 2 x rated}"


def check(fault: EarthFault, params: Params) -> Verdict:
    """Whether the limit of a source keeps this fault from being cleared in time."""
    if fault.outside:
        return NotApplicable(fault.outside)
    if not fault.limiting:
        return NotApplicable("no source here limits its current")
    assert fault.known is not None
    limit = fault.table_s if params["table"] else params["longest-s"]
    if limit is None:
        return PASS
    factor, fuses = params["minimum-voltage-factor"], params["fuses"]
    late = fault.late(limit, factor, fuses)
    if not late:
        if fault.cleared(factor, fuses, second=fault.island.it).trip.within(limit) == "certain":
            return PASS
        declared = next((name for fed in fault.met_by if (name := fault.declared(fed))), "a breaker")
        return Exempt(
            f"the maker declares {declared} as one that the source trips",
            "the computed current is not certain to operate it: this rests on the word of the maker",
        )
    weak = [one for one in late if one.limited_by]
    if not weak:
        return NotApplicable("judged by disconnection-too-slow")
    sure = [one for one in weak if one.lacking is None]
    if not sure:
        assert weak[0].lacking is not None
        raise Unknown.of(weak[0].lacking)
    if ahead := fault.behind_transformer:
        why = f"nothing behind the transformer {ahead} clears it for certain; what a device ahead of it does is not worked out"
        raise Unknown(ahead, fault.route, why)
    source = sure[0].limited_by
    fed = next(one for one in fault.met_by if one.source == source)
    limit_a = fault.second[0] if fault.island.it and fault.second else fed.most_a(fault.smallest_a)
    met = None if fault.island.it else fault.touch_met_v()
    touch_v = params["medical-v"] if fault.place == "medical" else params["touch-v"]
    if bonded := bonded_locally(fault, params["medical-v"], params["supplementary"]):
        return bonded
    if met is not None and met <= touch_v and not fault.metal_apart:
        return Exempt(
            f"nothing opens for certain, but the frame stays within {touch_v:g} V ({params['clause']})",
            f"the fault goes on at up to {figure(limit_a, 'A')} from {source} until somebody switches off, and its conductors "
            "carry that all the while, which is not judged",
        )
    nearest = fed.passed[0] if fed.passed else None
    told = "it limits its current" if fed.held_by == source else f"{fed.held_by}, which feeds it, limits its current"
    mentions = [Mention(one.id, one.route, told) for one in fault.sources if one.id == source]
    figures = [("at", fault.point.written), ("limit of the source", figure(limit_a, "A")), ("within", f"{limit:g} s")]
    if nearest:
        mentions.append(
            Mention(nearest.name, nearest.device.route, "the nearest device, which the limit does not operate")
        )
        if nearest.device.rating_a:
            figures.append((f"times the rating of {nearest.name}", f"{limit_a / nearest.device.rating_a:.2g}"))
    if met is not None:
        figures.append(("frame to the main earthing terminal", f"{met:.0f} V"))
        figures.append(("largest bonding resistance", figure(touch_v / limit_a, "ohm")))
    no_rcd = fault.system == "TT" and not fault.rcds
    return Finding(
        f"an earth fault at {fault.id} is not certain to be cleared in time: a source limits its current below what is needed",
        "the fault goes on at the limit of the source, the breaker holds, and the frame stays live",
        "add an RCD or a smaller breaker, or supplementary bonding, or a source that shuts down in time (and write that)",
        tuple(mentions),
        because=("rcd-missing", fault.id) if no_rcd and params["table"] else None,
        figures=tuple(figures),
        weight=1 / limit_a if limit_a else float("inf"),
    )


RULE = rule(
    id="source-too-weak-to-trip",
    level="error",
    levels={"nec": "warning"},
    over=Facts.earth_faults,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.2.5, 411.3.2.6", False),
        Ref("iec", "IEC 60364-5-55", "551.4.4", False),
        Ref("bs7671", "BS 7671", "419, 551.4.4", False),
        Ref("nec", "NEC", "250.4(A)(5)"),
        Ref("as-nzs", "AS/NZS 3000", "5.7", False),
        Ref("sans", "SANS 10142-1", "7.12", False),
        PRACTICE,
    ),
    params=(
        TIMES,
        LONGEST,
        LOWEST_VOLTAGE,
        FUSES,
        Param("touch-v", "voltage, in V, that a frame may keep to the main earthing terminal", 50.0),
        MEDICAL,
        SUPPLEMENTARY,
        Param(
            "clause",
            "where the exception for a low touch voltage stands",
            "IEC 60364-4-41, 415.2.2; 60364-5-55, 551.4.4 ?",
            {"bs7671": "BS 7671, 419.3, 415.2.2 ?", "nec": "common practice"},
        ),
    ),
    examples=(
        *(Example("island-hut", (_BARE,), ("pump",), book) for book in ("iec", "bs7671", "nec", "as-nzs", "sans")),
        # it ends after the time that the rulebook allows
        Example("island-hut", (_BARE, (_LIMIT, f"{_LIMIT}\n    shutdown-time: 2 s")), ("pump",)),
        Example("island-hut", (_BARE, (_LIMIT, f"{_LIMIT}\n    shutdown-time: 400 ms")), ()),
        # 43.5 A is more than five times 6 A
        Example(
            "island-hut",
            ((_PUMP, _PUMP.replace("hut-rcd", "hut").replace("curve: C", "curve: B")), ("rating: 10 A", "rating: 6 A")),
            (),
        ),
        Example("island-hut", (_BARE, (_LIMIT, f"{_LIMIT}\n    largest-breaker: C10")), ()),
        Example("island-hut", (_BARE, (_LIMIT, f"{_LIMIT}\n    largest-breaker: B16")), ("pump",)),
        # 43.5 A through the PE of 100 m is 39 V
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut").replace("150 m", "100 m")),), ()),
        # a pipe beside the pump is not at that potential unless something bonds it
        Example("island-hut", ((_PUMP, _PUMP.replace("hut-rcd", "hut").replace("150 m", "100 m")), _PIPE), ("pump",)),
        Example("island-hut", (_BARE, _PIPE, _BOND), ()),
        # 39 V are too much in a medical location
        Example(
            "island-hut",
            (
                (
                    _PUMP,
                    _PUMP.replace("hut-rcd", "hut")
                    .replace("150 m", "100 m")
                    .replace("serves: fixed", "serves: fixed, place: medical"),
                ),
            ),
            ("pump",),
        ),
        # with six times rated it is the cable that limits the current: disconnection-too-slow
        Example("island-hut", (_BARE, ("2 x rated", "6 x rated")), ()),
    ),
    page=__doc__,
)
