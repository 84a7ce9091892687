"""Socket-outlets, a TT place or the outlets of a portable set lack the residual current device that they need.

Checks: in every operating state, final circuits with `serves: socket-outlets` behind a device of up to 32 A (of any rating where a
portable source feeds them) for an RCD of at most 30 mA that nothing goes round and that sums the neutral too.  A place that is
earthed by an electrode only (TT) needs some RCD, unless an overcurrent device is certain to clear a fault there in time.  Where
`place` is written, what the rulebook asks for in such places.

Danger: a person who touches a live part, a cut lead or a device whose PE is broken carries a current that no breaker notices.  In
TT no breaker ever notices: the soil lets a few ampere flow.

Remedy: an RCD of 30 mA ahead of the socket-outlets; in TT one of up to 300 mA, time-delayed, at the head of the installation.
Where a board is fed a second time, that way needs the RCD too.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    EarthFault,
    Example,
    Facts,
    Finding,
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
from onebond_rules.shared import Demand

_ALL = float("inf")
_DEMANDS = (
    Demand("agricultural", "", 0, _ALL, 0.3, "705.411.1"),
    Demand("agricultural", "socket-outlets", 32, _ALL, 0.1, "705.411.1"),
    Demand("construction", "socket-outlets", 32, _ALL, 0.5, "704.411.3.2.1"),
    Demand("marina", "socket-outlets", 0, 63, 0.03, "709.531.2"),
    Demand("marina", "socket-outlets", 63, _ALL, 0.3, "709.531.2"),
    Demand("caravan", "socket-outlets", 0, _ALL, 0.03, "708.531.3"),
    Demand("dwelling", "lighting", 0, _ALL, 0.03, "411.3.4"),
)
_BY_BOOK = {
    "nec": (Demand("marina", "socket-outlets", 0, _ALL, 0.03, "555.35"),),
    "as-nzs": (
        Demand("dwelling", "", 0, 32, 0.03, "2.6.3"),
        Demand("construction", "", 0, 32, 0.03, "3012 2.6"),
        Demand("marina", "socket-outlets", 0, _ALL, 0.03, "3004"),
        Demand("caravan", "socket-outlets", 0, _ALL, 0.03, "3001"),
    ),
    "sans": (),
}

_SOCKETS = "sockets: {from: main-rcd"
_MAIN_RCD = ", {kind: rcd, id: rcd-main, rating: 63 A, residual: 300 mA, type: A, delay: S}"
_SET = (
    "sources:\n",
    "sources:\n  set: {kind: generator, phases: L1, voltage: 230 V, mounted: portable, neutral-bond: fixed}\n",
)
_OUTLET = "outlet: {from: set, cores: L1 N PE, serves: socket-outlets"


def check(fault: EarthFault, params: Params) -> Verdict:
    """Whether this place has the RCD that it needs."""
    if fault.outside:
        return NotApplicable(fault.outside)
    if not fault.line and fault.missing:
        raise Unknown.of(fault.missing)
    sockets = _sockets(fault, params)
    if sockets is not None:
        return sockets
    special = _by_place(fault, params)
    if special is not None:
        return special
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
        "put a time-delayed RCD of up to 300 mA at the head of the installation, or an RCD ahead of this part",
        because=_cause(fault),
        figures=(("fault current", figure(fault.current_a(), "A")), ("fault loop", figure(fault.loop_ohm, "ohm"))),
        weight=fault.loop_ohm,
    )


def _sockets(fault: EarthFault, params: Params) -> Verdict | None:
    """What is wrong with the additional protection of a socket circuit; None where nothing is, or none is asked for."""
    circuit = fault.circuit
    if fault.island.it and fault.place == "medical":
        return None  # there the first fault is to be signalled and not cut off
    portable = {source.id for source in fault.sources if source.mounted == "portable"}
    small = fault.rating_a is None or fault.rating_a <= params["rating-a"]
    if not circuit or not (fault.sockets or fault.serves_unknown) or not (portable or small):
        return None
    needs_n = "N" in circuit.connection.cores
    misfit = ""
    for device, connection in fault.rcds:
        if device.residual_a is None or device.residual_a > params["residual-a"] or device.delay == "S":
            continue
        if fault.line in device.senses and (not needs_n or "N" in device.senses):
            return None
        misfit = device.id or connection
    if fault.serves_unknown:
        raise Unknown(f"what {fault.id} serves", fault.route)
    milliampere = f"{params['residual-a'] * 1000:g} mA"
    own = (one for one in params["demands"] if one.place == fault.place and one.serves == circuit.serves)
    if any(one.above_a < (fault.rating_a or 1.0) <= one.to_a and one.residual_a > params["residual-a"] for one in own):
        return None  # the place has a demand of its own
    asked_for = fault.place in params["gfci-places"]
    if params["by-place"] and not asked_for and circuit.connection.start.id not in portable:
        return Review(
            f"{fault.id} has no device of {milliampere}, and the description does not say which place it is",
            "NEC 210.8 asks for one in kitchens, bathrooms, outdoors and other places: see which this is",
        )
    return Finding(
        f"the socket-outlets of {fault.id} have no RCD of {milliampere} or less on every way to them",
        "a person who touches a live part, or a device with a broken PE, carries a current that no breaker notices",
        f"put {fault.id} behind an RCD of {milliampere} that sums its line and its neutral",
        because=("device-does-not-fit", misfit) if misfit else None,
    )


def _by_place(fault: EarthFault, params: Params) -> Verdict | None:
    """What is wrong with the RCD that a final circuit needs for where it is; None where nothing is, or none is asked for."""
    circuit = fault.circuit
    if not circuit or not fault.place:
        return None
    there = [one for one in params["demands"] if one.place == fault.place]
    if any(one.serves for one in there) and fault.serves_unknown:
        raise Unknown(f"what {fault.id} serves", fault.route)
    asked = [one for one in there if one.serves in ("", circuit.serves)]
    if any(one.above_a or one.to_a < _ALL for one in asked) and fault.rating_a is None:
        raise Unknown(f"the rating of what protects {fault.id}", fault.route)
    asked = [one for one in asked if one.above_a < (fault.rating_a or 1.0) <= one.to_a]
    if not asked:
        return None
    demand = min(asked, key=lambda one: one.residual_a)
    for device, _ in fault.rcds:
        small = device.residual_a is not None and device.residual_a <= demand.residual_a
        if small and fault.line in device.senses and (demand.residual_a > params["residual-a"] or device.delay != "S"):
            return None
    milliampere = f"{demand.residual_a * 1000:g} mA"
    return Finding(
        f"{fault.id} has no RCD of {milliampere} or less on every way to it, which the place ({fault.place}) asks for",
        "where people, animals or water are in touch with the ground, a fault that no breaker notices is enough",
        f"put {fault.id} behind an RCD of {milliampere} or less ({demand.clause} ?)",
    )


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
    over=Facts.earth_faults,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.3, 415.1.1"),
        Ref("iec", "IEC 60364-4-41", "411.5.2, 411.5.3"),
        Ref("iec", "IEC 60364-5-55", "551.4.4.2", False),
        Ref("bs7671", "BS 7671", "411.3.3, 411.5.2", False),
        Ref("bs7671", "BS 7671", "551.4.4.2", False),
        Ref("nec", "NEC", "210.8, 445.20", False),
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
            "final circuits that need an RCD for the place where they are (numbers of clauses from memory)",
            _DEMANDS,
            _BY_BOOK,
        ),
        Param(
            "gfci-places",
            "places whose socket-outlets need the smallest for certain",
            (),
            {"nec": ("agricultural", "caravan", "construction", "outdoor")},
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
