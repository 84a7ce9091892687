"""Socket-outlets, a TT place or the outlets of a portable set lack the residual current device that they need.

Checks: in every operating state, final circuits with `serves: socket-outlets` behind a device of up to 32 A (of any rating where a
portable source feeds them), with a frame or without one, for an RCD of at most 30 mA that nothing goes round and that sums the
neutral too.  A place that is earthed by an electrode only (TT) needs some RCD, unless an overcurrent device is certain to clear a
fault there in time.  Where `place` is written, what the rulebook asks for in such places; on a pitch and on a jetty each
circuit counts as one socket-outlet, and so does a lead with a plug that begins at a board there.  What is plugged in at a place
for caravans is a caravan, whose own RCD lies behind the plug.  Not judged: hand-held equipment of fixed circuits, safety extra-low
voltage, supplies of electric vehicles (722), how many socket-outlets hang on one circuit, and whether 6 mA are due at a jetty for
outlets that supply no boats.

Danger: a person who touches a live part, a cut lead or a device whose PE is broken carries a current that no breaker notices.  In
TT no breaker ever notices: the soil lets a few ampere flow.

Remedy: an RCD of 30 mA ahead of the socket-outlets; in TT one of up to 300 mA, time-delayed, at the head of the installation.
Where a board is fed a second time, that way needs the RCD too.  A board ahead of it that is doubly insulated has no frame, which its
`equipment: class-II` says.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Device,
    EarthFault,
    Ending,
    Example,
    Exempt,
    Facts,
    Finding,
    Mention,
    NotApplicable,
    Param,
    Params,
    Ref,
    Review,
    Unknown,
    Verdict,
    figure,
    rule,
)
from onebond_rules.shared import ANY, DOUBLE_INSULATED, Demand

# seen in public texts: 705.411.1, 708.415.1 (forums of electricians that quote BS 7671), 721.415.101 (a Czech collection of quotations),
# 551.71(F), 555.35 (course pages on the changes of the code, 2020 and 2023); 30 and 500 mA on construction sites (VBG BI 608)
_DEMANDS = (
    Demand("agricultural", "", 0, ANY, 0.3, "705.411.1", checked=True),
    Demand("agricultural", "socket-outlets", 32, ANY, 0.1, "705.411.1", checked=True),
    Demand("construction", "socket-outlets", 32, ANY, 0.5, "704.411.3.2.1"),
    Demand("marina", "socket-outlets", 0, 63, 0.03, "709.531.2", "fixed", own=True, all_poles=True),
    Demand("marina", "socket-outlets", 63, ANY, 0.3, "709.531.2", "fixed", own=True, all_poles=True),
    Demand(
        "caravan",
        "socket-outlets",
        0,
        ANY,
        0.03,
        "708.415.1",
        "fixed",
        own=True,
        all_poles=True,
        dwelt=True,
        checked=True,
    ),
    Demand("caravan", "", 0, ANY, 0.03, "721.415.101", "plugged", all_poles=True, checked=True),
    Demand("dwelling", "lighting", 0, ANY, 0.03, "411.3.4"),
    Demand("medical", "", 0, 63, 0.03, "710.411.4", when="in locations of group 1 and 2"),
    Demand("portable", "", 0, ANY, 0.03, "551.4.4.2"),
)
_BY_BOOK = {
    "nec": (
        Demand("agricultural", "socket-outlets", 0, 20, 0.006, "547.28, earlier 547.5(G)", lines=1),
        Demand("caravan", "socket-outlets", 0, 20, 0.006, "551.71(F)", "fixed", lines=1, checked=True),
        *(
            Demand("caravan", "socket-outlets", above_a, ANY, ANY, "551.71(F)", "fixed", lines=lines, checked=True)
            for above_a, lines in ((20, 1), (0, 2))
        ),
        Demand("construction", "socket-outlets", 0, 30, 0.006, "590.6(A)", lines=1),
        *(
            Demand(
                *("construction", "socket-outlets", above_a, ANY, 0.006, "590.6(B)"),
                lines=lines,
                when="unless equipment grounding conductors are tested by a written program",
            )
            for above_a, lines in ((30, 1), (0, 2))
        ),
        Demand("marina", "socket-outlets", 0, ANY, 0.03, "555.35(B)(1)", "fixed", own=True, checked=True),
        Demand("marina", "", 0, ANY, 0.1, "555.35(A)(3) of 2020", "fixed", checked=True),
        Demand("marina", "distribution", 0, ANY, 0.1, "555.35(A)", "fixed", checked=True),
        Demand("outdoor", "socket-outlets", 0, 50, 0.006, "210.8(A)(3), 210.8(B)", lines=1),
    ),
    "as-nzs": (
        Demand("dwelling", "", 0, ANY, 0.03, "2.6.3"),
        Demand("construction", "", 0, 32, 0.03, "3012 2.6"),
        Demand("marina", "socket-outlets", 0, ANY, 0.03, "3004"),
        Demand("caravan", "socket-outlets", 0, ANY, 0.03, "3001"),
        Demand("medical", "", 0, ANY, 0.01, "3003", when="in patient areas that no isolated supply feeds"),
    ),
    "sans": (),
}

_SOCKETS = "sockets: {from: main-rcd"
_MAIN_RCD = ", {kind: rcd, id: rcd-main, rating: 63 A, residual: 300 mA, type: A, delay: S}"
_ANNEXE = "  annexe: {}"
_RCBO = "curve: B, rating: 20 A, residual: 30 mA"
_PITCH = (_ANNEXE, f"{_ANNEXE[:-2]}{{place: caravan}}\n  van: {{place: caravan}}")
_MORE = "cores: L1 N PE, size: 2.5 mm2, length: 9 m, load: 1 kW"
_MCB = "through: [{kind: mcb, curve: B, rating: 16 A}]"
_FEEDER = "{kind: mcb, curve: C, rating: 32 A}"
_LEAD = "  lead: {from: annexe, to: van, cores: L1 N PE, size: 2.5 mm2, length: 25 m, plug: yes, through: ["
_KETTLE = "  kettle: {from: van, cores: L1 N PE, size: 1.5 mm2, length: 3 m, serves: fixed, load: 1 kW, through: ["
_DEVICE = "{kind: mcb, curve: C, rating: 16 A}"
_OWN = "{kind: rcbo, curve: C, rating: 16 A, residual: 30 mA, type: A}"


def _place(place: str) -> tuple[str, str]:
    """The annexe of the examples in a kind of place."""
    return _ANNEXE, f"{_ANNEXE[:-2]}{{place: {place}}}"


_SET = (
    "sources:\n",
    "sources:\n  set: {kind: generator, phases: L1, voltage: 230 V, mounted: portable, neutral-bond: fixed}\n",
)
_OUTLET = "outlet: {from: set, cores: L1 N PE, serves: socket-outlets"


def _pitch(lead: str, aboard: str) -> tuple[tuple[str, str], ...]:
    """A caravan that is plugged in at the annexe of the examples, with the devices in its lead and of its only circuit."""
    return (
        _PITCH,
        ("  to-annexe:", f"{_LEAD}{lead}]}}\n  to-annexe:"),
        ("circuits:\n", f"circuits:\n{_KETTLE}{aboard}]}}\n"),
    )


def check(fault: EarthFault, params: Params) -> Verdict:
    """Whether this place has the RCD that it needs."""
    outside = fault.outside if fault.framed else fault.unsettled
    if outside:
        return NotApplicable(outside)
    if not fault.line and fault.missing:
        raise Unknown.of(fault.missing)
    asked = _additional(fault, params)
    if asked is not None:
        return _permitted(fault, params) or asked
    if not fault.framed:
        return NotApplicable(fault.outside) if fault.point.pe >= 0 else PASS
    if not params["tt"] or fault.system != "TT" or fault.rcds:
        return PASS
    limit = fault.table_s
    late = fault.late(limit) if fault.known and limit is not None else ()
    if not late:
        return PASS
    if all(one.lacking for one in late) and late[0].lacking:
        raise Unknown.of(late[0].lacking)
    return Finding(
        f"{fault.id} is earthed by an electrode only (TT), and no RCD is on every way to it",
        "the soil lets so little current flow that no breaker opens: the frame stays live, at nearly the full voltage",
        "put a time-delayed RCD of up to 300 mA at the head of the installation, or an RCD ahead of this part"
        + (DOUBLE_INSULATED if fault.point.sort == "board" else ""),
        because=_cause(fault),
        figures=(("fault current", figure(fault.current_a(), "A")), ("fault loop", figure(fault.loop_ohm, "ohm"))),
        weight=fault.loop_ohm,
    )


def _additional(fault: EarthFault, params: Params) -> Verdict | None:
    """What is wrong with the additional protection of this place; None where nothing is, or none is asked for."""
    asked = sorted(_asked(fault, params), key=lambda one: one.residual_a)
    said = any(one.serves == "socket-outlets" for one in asked)  # the place says what its socket-outlets need
    certain = [one for one in asked if not one.when]
    # what lets less current through first: an RCD for it is one for the other too, and the other way round it is not
    strict = [one for one in certain if one.residual_a <= params["residual-a"]]
    for demand in strict:
        if (wrong := _unmet(fault, demand, params)) is not None:
            return wrong
    if not said and (wrong := _sockets(fault, params)) is not None:
        return wrong
    for demand in certain[len(strict) :]:
        if (wrong := _unmet(fault, demand, params)) is not None:
            return wrong
    open_to_a_person = (_unmet(fault, one, params) for one in asked if one.when)
    return next((one for one in open_to_a_person if one is not None), None)


def _permitted(fault: EarthFault, params: Params) -> Exempt | None:
    """The exception of the rulebook by which this circuit needs no RCD, or None."""
    if fault.island.it and fault.place == "medical":
        return Exempt(
            f"a final circuit of a medical IT system ({params['medical-it']})",
            "the first fault is signalled and not cut off: somebody has to answer the monitor and find it",
        )
    several = all(len(source.phases) > 1 for source in fault.sources)
    if several and 0 < fault.voltage_v <= params["reduced-v"]:
        return Exempt(
            f"reduced low voltage of no more than {params['reduced-v']:g} V to earth ({params['reduced']})",
            "a fault has to be cleared by the breaker: its lines and their mid-point come from windings of their own",
        )
    return None


def _asked(fault: EarthFault, params: Params) -> list[Demand]:
    """What the place asks for at the end of this circuit, lead or cable."""
    end = fault.ending
    if end is None:
        return []
    kinds = {end.place}
    if fault.lone and any(source.mounted == "portable" for source in fault.sources):
        kinds.add("portable")
    there = [one for one in params["demands"] if one.place in kinds and one.lines in (0, min(end.lines, 2))]
    there = [one for one in there if end.circuit is None or one.serves != "distribution"]
    if any(one.where for one in there):
        stands = "plugged" if fault.plugged and end.circuit else "fixed"
        there = [one for one in there if one.where in ("", stands)]
    if end.circuit and not end.serves and any(one.serves for one in there):
        raise Unknown(f"what {end.id} serves", end.route)
    there = [one for one in there if one.serves == end.serves or (end.circuit and not one.serves)]
    if end.rating_a is None and any(one.above_a or one.to_a < ANY for one in there):
        raise Unknown(f"the rating of what protects {end.id}", end.route)
    return [one for one in there if one.above_a < (end.rating_a or 1.0) <= one.to_a]


def _unmet(fault: EarthFault, demand: Demand, params: Params) -> Verdict | None:
    """What one demand of the place finds; None where it is met."""
    end = fault.ending
    assert end is not None
    residual_a = params["residual-a"] if demand.residual_a == ANY else demand.residual_a
    rcds = fault.rcds_aboard if demand.where == "plugged" else fault.rcds
    fitting = [one for one in rcds if _fits(one[0], end, fault.line, residual_a, params)]
    opening = [one for one in fitting if not demand.all_poles or end.live <= set(one[0].poles)]
    others = [fault.shared_with(*one) for one in opening if demand.own]
    if opening and not (others and all(others)):
        return None
    if any(one and not one[2] for one in others):
        name, route, _ = next(one for one in others if one and not one[2])
        raise Unknown(f"what {name} serves", route)
    milliampere = f"{residual_a * 1000:g} mA"
    if demand.residual_a == ANY:
        return Exempt(
            f"socket-outlets of a pitch for more than 20 A or of several lines need none ({demand.see})",
            "what protects a person is in the vehicle that is plugged in, and not in this description of the pitch",
        )
    if demand.when:
        return Review(
            f"{end.id} has no RCD of {milliampere}, and the description does not say whether the place asks for one",
            f"{demand.see} asks for it {demand.when}: see whether that is so here",
        )
    place, subject = demand.asking, (end.id, end.route)
    if fitting and demand.dwelt and fault.lives_beside:
        return Review(
            f"{end.id} may be an outlet of {place} or of a dwelling that stands there for good, which is not described",
            f"{demand.see} asks for an RCD of its own that opens the neutral too where somebody plugs in: see which it is",
        )
    so = "where people, animals or water are in touch with the ground, a fault that no breaker notices is enough"
    if not fitting:
        aboard = " behind its plug" if demand.where == "plugged" else ""
        return Finding(
            f"{end.id} has no RCD of {milliampere} or less on every way to it{aboard}, which {place} asks for",
            so,
            f"put {end.id} behind an RCD of {milliampere} or less{aboard} ({demand.see})",
            subject=subject,
        )
    if not opening:
        return Finding(
            f"the RCD of {end.id} leaves a live conductor closed, and {place} asks for one that opens all of them",
            "what is plugged in stays joined to a neutral that a fault in the supply may have made live",
            f"give {end.id} an RCD that opens its neutral with its lines ({demand.see})",
            subject=subject,
        )
    other, route, _ = next(one for one in others if one)
    return Finding(
        f"{end.id} shares its RCD with another socket-outlet, and {place} asks for one of its own",
        "one fault takes the supply from everybody, and the leakage of all adds up until nobody trusts the device",
        f"give {end.id} an RCD of {milliampere} of its own ({demand.see})",
        (Mention(other, route, "it hangs on the same RCD"),),
        subject=subject,
    )


def _fits(device: Device, end: Ending, line: str, residual_a: float, params: Params) -> bool:
    """Whether an RCD is small and quick enough, and sums the line and the neutral of a circuit."""
    if device.residual_a is None or not device.residual_a <= residual_a:
        return False
    if residual_a <= params["residual-a"] and device.delay == "S":
        return False
    return line in device.senses and ("N" not in end.live or "N" in device.senses)


def _sockets(fault: EarthFault, params: Params) -> Verdict | None:
    """What is wrong with the additional protection of a socket circuit; None where nothing is, or none is asked for."""
    end = fault.ending
    portable = {source.id for source in fault.sources if source.mounted == "portable"}
    small = fault.rating_a is None or fault.rating_a <= params["rating-a"]
    if end is None or end.circuit is None or not (fault.sockets or fault.serves_unknown) or not (portable or small):
        return None
    if any(_fits(device, end, fault.line, params["residual-a"], params) for device, _ in fault.rcds):
        return None
    if fault.serves_unknown:
        raise Unknown(f"what {fault.id} serves", fault.route)
    milliampere = f"{params['residual-a'] * 1000:g} mA"
    if params["by-place"] and end.connection.start.id not in portable:
        return Review(
            f"{fault.id} has no device of {milliampere}, and the description does not say which place it is",
            "NEC 210.8 asks for one in kitchens, bathrooms, outdoors and other places: see which this is",
        )
    misfit = next((device.id or name for device, name in reversed(fault.rcds) if _small(device, params)), "")
    return Finding(
        f"the socket-outlets of {fault.id} have no RCD of {milliampere} or less on every way to them",
        "a person who touches a live part, or a device with a broken PE, carries a current that no breaker notices",
        f"put {fault.id} behind an RCD of {milliampere} that sums its line and its neutral",
        because=("device-does-not-fit", misfit) if misfit else None,
    )


def _small(device: Device, params: Params) -> bool:
    """Whether an RCD would be small and quick enough if it summed what it has to."""
    return device.residual_a is not None and device.residual_a <= params["residual-a"] and device.delay != "S"


def _cause(fault: EarthFault) -> tuple[str, str] | None:
    """What makes a TT place of this one, or the first place on the way that lacks the same RCD."""
    island = fault.island
    if fault.unsplit:
        return "bond-missing-at-pen-split", fault.unsplit
    if fault.apart:
        return "electrodes-not-joined", fault.apart
    feeders = [fed.source for fed in fault.feds]
    if not island.own_references and feeders and not fault.from_utility:
        return "island-reference-borrowed", feeders[0]
    return ("rcd-missing", fault.nearest_to_source) if fault.nearest_to_source else None


RULE = rule(
    id="rcd-missing",
    level="error",
    levels={"nec": "warning"},
    over=Facts.shocks,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.3, 415.1.1"),
        Ref("iec", "IEC 60364-4-41", "411.5.2, 411.5.3"),
        Ref("iec", "IEC 60364-5-55", "551.4.4.2", False),
        Ref("iec", "IEC 60364-7-705, 7-708", "705.411.1, 708.415.1"),
        Ref("iec", "IEC 60364-7-721", "721.415.101"),
        Ref("iec", "IEC 60364-7-704, 7-709, 7-710", "704.411.3.2.1, 709.531.2, 710.411.4", False),
        Ref("bs7671", "BS 7671", "411.3.3, 411.5.2", False),
        Ref("bs7671", "BS 7671", "551.4.4.2", False),
        Ref("bs7671", "BS 7671", "705.411.1, 708.415.1"),
        Ref("bs7671", "BS 7671", "704.411.3.2.1, 709.531.2, 710.411.4, 721.415.1", False),
        Ref("nec", "NEC", "210.8, 445.20, 547.28, 590.6", False),
        Ref("nec", "NEC", "551.71(F), 555.35"),
        Ref("as-nzs", "AS/NZS 3000", "2.6.3", False),
        Ref("sans", "SANS 10142-1", "6.7.5", False),
    ),
    params=(
        Param("residual-a", "largest rated residual current, in ampere", 0.030, {"nec": 0.006}),
        Param("rating-a", "largest rating, in ampere, of a socket circuit that needs it", 32.0),
        Param(
            "tt",
            "whether a place that is earthed by an electrode only is permitted, and then needs an RCD",
            True,
            {"nec": False},
        ),
        Param(
            "demands",
            "what RCD a place asks for besides, and a portable set that feeds no building",
            _DEMANDS,
            _BY_BOOK,
        ),
        Param(
            "medical-it",
            "where the exception for medical IT systems stands",
            "IEC 60364-7-710, 710.411.6 ?",
            {
                "bs7671": "BS 7671, 710.411.6 ?",
                "nec": "NEC 517.20(B) ?",
                "as-nzs": "AS/NZS 3003 ?",
                "sans": "SANS 10142-1, 7 ?",
            },
        ),
        Param(
            "reduced-v",
            "voltage to earth, in V, up to which a reduced low voltage system needs none",
            0.0,
            {"bs7671": 63.5},
        ),
        Param(
            "reduced",
            "where the exception for reduced low voltage stands",
            "",
            {"bs7671": "BS 7671, 411.8, 704.410.3.10 ?"},
        ),
        Param("by-place", "whether the rooms decide which other socket-outlets need it", False, {"nec": True}),
    ),
    examples=(
        *(
            Example("measured-house", ((_SOCKETS, "sockets: {from: main"),), ("sockets",), book)
            for book in ("iec", "bs7671", "as-nzs", "sans")
        ),
        Example(
            "measured-house",
            (("rcd-house, rating: 40 A, residual: 30 mA", "rcd-house, rating: 40 A, residual: 100 mA"),),
            ("sockets",),
        ),
        # its neutral goes round the core balance
        Example(
            "measured-house",
            (("curve: B, rating: 20 A, residual: 30 mA", "curve: B, rating: 20 A, senses: L1, residual: 30 mA"),),
            ("annexe-sockets",),
        ),
        # the group is fed a second time, round its RCD
        Example(
            "measured-house",
            (
                (
                    "  to-annexe:",
                    "  spare: {from: main, to: main-rcd, cores: L1 N, through: [{kind: mcb, curve: B, rating: 16 A}]}\n  to-annexe:",
                ),
            ),
            ("sockets",),
        ),
        # a second way elsewhere changes nothing for them
        Example(
            "measured-house",
            (
                (
                    "  to-annexe:",
                    "  spare: {from: main, to: annexe, cores: L1 N PE, size: 10 mm2, length: 30 m}\n  to-annexe:",
                ),
            ),
            (),
        ),
        # 32 A is the largest rating that needs it
        Example(
            "measured-house",
            (
                (_SOCKETS, "sockets: {from: main"),
                (
                    "serves: socket-outlets, load: 2 kW, leakage: 2 mA, through: [{kind: mcb, curve: B, rating: 16 A}]",
                    "serves: socket-outlets, load: 2 kW, leakage: 2 mA, through: [{kind: mcb, curve: B, rating: 32 A}]",
                ),
            ),
            ("sockets",),
        ),
        # industrial socket-outlets of more than 32 A
        Example(
            "measured-house",
            (
                (_SOCKETS, "sockets: {from: main"),
                (
                    "serves: socket-outlets, load: 2 kW, leakage: 2 mA, through: [{kind: mcb, curve: B, rating: 16 A}]",
                    "serves: socket-outlets, load: 2 kW, leakage: 2 mA, through: [{kind: mcb, curve: B, rating: 40 A}]",
                ),
            ),
            (),
        ),
        # places that ask for more
        Example("measured-house", (("  main: {}", "  main: {place: agricultural}"),), ("cooker",)),
        Example("measured-house", (("  main: {}", "  main: {place: agricultural}"),), (), "sans"),
        Example(
            "measured-house",
            (
                ("  main: {}", "  main: {place: agricultural}"),
                (
                    "length: 9 m, serves: fixed, through: [{kind: mcb, curve: B, rating: 32 A}]",
                    "length: 9 m, serves: fixed, through: [{kind: rcbo, curve: B, rating: 32 A, residual: 300 mA, type: A}]",
                ),
            ),
            (),
        ),
        Example(
            "measured-house",
            (
                ("  main: {}", "  main: {place: dwelling}"),
                ("length: 9 m, serves: fixed", "length: 9 m, serves: lighting"),
            ),
            ("cooker",),
        ),
        Example("measured-house", (("  main: {}", "  main: {place: dwelling}"),), ("cooker",), "as-nzs"),
        Example("measured-house", (("  main: {}", "  main: {place: outdoor}"),), ("sockets",), "nec"),
        # what a place asks of large socket-outlets or of other circuits takes nothing away from ordinary ones
        *(
            Example(
                "measured-house",
                (
                    ("  annexe: {}", f"  annexe: {{place: {place}}}"),
                    ("curve: B, rating: 20 A, residual: 30 mA", "curve: B, rating: 20 A, residual: 100 mA"),
                ),
                ("annexe-sockets",),
            )
            for place in ("construction", "agricultural")
        ),
        # at the water and on a pitch each socket-outlet has an RCD of its own, which opens the neutral too
        *(
            Example("measured-house", (_place(place),), (), book)
            for place in ("marina", "caravan")
            for book in ("iec", "bs7671")
        ),
        *(
            Example("measured-house", (*where, (_RCBO, f"{_RCBO}, poles: L1")), finds)
            for where, finds in (
                ((_place("marina"),), ("annexe-sockets",)),
                ((_place("caravan"),), ("annexe-sockets",)),
                ((), ()),
            )
        ),
        *(
            Example(
                "measured-house",
                (
                    ("  main-rcd: {inside: main}", f"  main-rcd: {{inside: main{place}}}"),
                    ("circuits:\n", f"circuits:\n  more: {{from: main-rcd, {_MORE}, serves: {serves}, {_MCB}}}\n"),
                ),
                finds,
            )
            for place, serves, finds in (
                (", place: marina", "socket-outlets", ("more", "sockets")),
                (", place: caravan", "socket-outlets", ("more", "sockets")),
                (", place: marina", "fixed", ()),
                ("", "socket-outlets", ()),
            )
        ),
        # 63 A is the largest rating that needs 30 mA at the water
        *(
            Example(
                "measured-house",
                (_place("marina"), (_RCBO, f"curve: B, rating: {rating}, residual: {residual}")),
                finds,
            )
            for rating, residual, finds in (
                ("63 A", "300 mA", ("annexe-sockets",)),
                ("64 A", "300 mA", ()),
                ("64 A", "301 mA", ("annexe-sockets",)),
            )
        ),
        # what is plugged in on a pitch hangs on a socket-outlet of the pitch, and a caravan has an RCD aboard
        Example("measured-house", _pitch(_OWN, _OWN), ()),
        Example("measured-house", _pitch(_DEVICE, _OWN), ("lead",)),
        Example("measured-house", _pitch(_OWN, _DEVICE), ("kettle",)),
        Example("measured-house", _pitch(_OWN, _OWN.replace("type: A", "poles: L1, type: A")), ("kettle",)),
        # 30 A and 50 A of a pitch need none under NEC, 20 A need the smallest; construction sites: up to 30 A
        *(
            Example("measured-house", (_place(place), (_RCBO, _RCBO.replace("20 A", rating))), finds, "nec")
            for place, rating, finds in (
                ("caravan", "20 A", ("annexe-sockets",)),
                ("caravan", "21 A", ()),
                ("agricultural", "20 A", ("annexe-sockets",)),
                ("agricultural", "21 A", ()),
                ("construction", "30 A", ("annexe-sockets",)),
                ("construction", "31 A", ()),
                ("outdoor", "50 A", ("annexe-sockets",)),
                ("outdoor", "51 A", ()),
            )
        ),
        # docks under NEC: 30 mA for what supplies boats, 100 mA for the cables and circuits there
        *(
            Example(
                "measured-house",
                (_place("marina"), (_FEEDER, f"{{kind: rcd, residual: {residual}}}, {_FEEDER}")),
                finds,
                "nec",
            )
            for residual, finds in (("100 mA", ()), ("101 mA", ("annexe",)))
        ),
        Example("measured-house", (_place("marina"),), ("annexe",), "nec"),
        Example("measured-house", (_place("marina"),), ()),
        # without a frame, or without a PE to it, a person is what a fault current flows through
        *(
            Example("measured-house", ((f"{_SOCKETS}, cores: L1 N PE", f"sockets: {{from: {board}, {cores}"),), finds)
            for cores in ("equipment: class-II, cores: L1 N", "cores: L1 N")
            for board, finds in (("main", ("sockets",)), ("main-rcd", ()))
        ),
        # every circuit of a portable set that feeds no building; NEC asks for its outlets
        *(
            Example(
                "measured-house",
                (_SET, ("circuits:\n", f"circuits:\n  {_OUTLET.replace('socket-outlets', 'fixed')}}}\n")),
                finds,
                book,
            )
            for book, finds in (("iec", ("outlet",)), ("bs7671", ("outlet",)), ("nec", ()))
        ),
        # TT without the RCD at its head
        Example("measured-farm", ((_MAIN_RCD, ""),), ("main",)),
        # the electrodes together have a quarter of an ohm: the fuse blows in time
        Example(
            "measured-farm",
            (
                (_MAIN_RCD, ""),
                ("loop-impedance: 1.5 ohm", "loop-impedance: 0.2 ohm"),
                ("max: 1.2 kA, min: 400 A", "max: 4 kA, min: 2 kA"),
                ("resistance: 20 ohm", "resistance: 0.05 ohm"),
            ),
            (),
        ),
        # a portable set with an outlet of its own
        Example("measured-house", (_SET, ("circuits:\n", f"circuits:\n  {_OUTLET}}}\n")), ("outlet",)),
        Example("measured-house", (_SET, ("circuits:\n", f"circuits:\n  {_OUTLET}}}\n")), ("outlet",), "nec"),
        Example(
            "measured-house",
            (
                _SET,
                (
                    "circuits:\n",
                    f"circuits:\n  {_OUTLET}, through: [{{kind: rcbo, curve: B, rating: 16 A, residual: 6 mA}}]}}\n",
                ),
            ),
            (),
            "nec",
        ),
    ),
    page=__doc__,
)
