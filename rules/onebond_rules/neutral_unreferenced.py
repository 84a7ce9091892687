"""A live island supplies something while its neutral is tied to earth nowhere.

Checks: in every operating state, whether the neutral of each live island is tied to earth by at least one closed bond, a
bond inside a source, or a supplier's star point that is joined to it.  Islands whose sources are all declared IT are
judged by `it-bonded` and `it-without-monitor` instead.  States in which only a detached supply takes the reference away
belong to `island-reference-borrowed`.

Danger: the neutral floats.  The equipment runs as usual and a meter shows tens of volts, up to half the output, between N
and PE; but a line that touches a frame drives no fault current, so no breaker and no RCD disconnects, and the
second fault puts the full voltage between two frames.

Remedy: tie the neutral to the protective conductor once, at the place the rulebook names for island operation: a
bond at the source or at its first board, a relay that closes while the inverter inverts, or the one main link where the
neutral stays solid.  Or declare the island IT, with a monitor.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Example,
    Exempt,
    Facts,
    Feeding,
    Finding,
    NotApplicable,
    Param,
    Params,
    Ref,
    Review,
    Verdict,
    figure,
    rule,
)
from onebond_rules.shared import own_reference, remains_of

_FLOATING_SET = (
    "sources:\n",
    "sources:\n  set: {kind: generator, phases: L1, mounted: portable, neutral-bond: none}\n",
)
_NO_RELAY = ("neutral-bond: while-inverting", "neutral-bond: none")


def _outlet(name: str, device: str) -> str:
    """An outlet on the set of the examples."""
    return f"  {name}: {{from: set, cores: L1 N PE, serves: socket-outlets{device}}}\n"


def check(feeding: Feeding, params: Params) -> Verdict:
    """Whether the neutral of this island is tied to earth."""
    island = feeding.island
    if island.it:
        return NotApplicable("declared IT: isolated from earth on purpose")
    if island.references:
        return PASS
    if island.detached and island.borrows_when_attached:
        return NotApplicable("only the detached supply takes the reference away: island-reference-borrowed judges that")
    if feeding.portable and not feeding.premises:
        permitted = _permitted(feeding, params)
        if permitted is not None:
            return permitted
    because = None
    if feeding.opened:
        because = ("bond-behind-rcd", feeding.opened)
    elif feeding.unsplit:
        because = ("bond-missing-at-pen-split", feeding.unsplit)
    figures, weight = _figures(feeding)
    silent = "".join(f"; {what}" for what in feeding.silent)
    return Finding(
        f"{feeding.id} feeds an island whose neutral is tied to earth nowhere{silent}",
        "a fault to a frame drives no more current than the impedance lets through, and nothing disconnects it for certain"
        if island.impedances
        else "the neutral floats: a fault to a frame drives no current, nothing disconnects it, and no RCD can see it",
        own_reference(feeding),
        because=because,
        figures=figures,
        weight=weight,
    )


def _permitted(feeding: Feeding, params: Params) -> Verdict | None:
    """The exception under which the neutral of a portable or vehicle source that feeds no building may float; None for none."""
    kind = "vehicle" if feeding.vehicle else "portable"
    separated = feeding.items <= 1 and bool(params["single-clause"])
    if separated and not feeding.outlets:
        return Exempt(
            f"{kind} source that supplies one item ({params['single-clause']})",
            "its neutral floats: with a second item, two faults put the full voltage between two frames",
        )
    own = not feeding.boards and not feeding.frame_apart
    if own and feeding.circuits_behind(params["portable-rcd"]):
        return Exempt(
            f"{kind} source, frames bonded to it, its own outlets only ({params[f'{kind}-clause']})",
            f"its neutral floats: no RCD sees a first fault; it may feed nothing but what is plugged into it{remains_of(feeding)}",
        )
    if separated:
        return Review(
            f"the neutral of {feeding.id} floats, and the description does not say whether its outlets ever feed more than one item",
            f"one item is permitted ({params['single-clause']}); for several put the outlets behind an RCD, or tie the neutral once",
        )
    return None


def _figures(feeding: Feeding) -> tuple[tuple[tuple[str, str], ...], float]:
    """What meters read at the first board that floats, and what a person would feel; and that current at its largest."""
    reading = next(iter(feeding.readings()), None)
    if reading is None:
        return (), 0.0
    line, touch = reading.line, reading.touch_a
    rows = []
    for ohm, (across, to_pe, neutral) in (("10 Mohm", reading.digital), ("3 kohm", reading.low_impedance)):
        said = [f"{line}-N {'not determined' if across is None else figure(across, 'V')}"]
        for name, band in ((f"{line}-PE", to_pe), ("N-PE", neutral)):
            said.append(f"{name} {_between(band.low, band.high, 'V') if band else 'not determined'}")
        rows.append((f"meter of {ohm} at {reading.id}", ", ".join(said)))
    felt = "not determined" if touch is None else _between(touch.low, touch.high, "A")
    rows.append((f"through a person from {line} to PE", felt))
    if not reading.filters:
        rows.append(("these rest on", "the capacitance of cables alone: no filter and no leakage is written"))
    return tuple(rows), touch.high if touch else 0.0


def _between(low: float, high: float, unit: str) -> str:
    one, other = figure(low, unit), figure(high, unit)
    if one == other:
        return one
    number, _, first = one.partition(" ")
    return f"{number if other.endswith(f' {first}') else one} to {other}"


RULE = rule(
    id="neutral-unreferenced",
    level="error",
    over=Facts.feedings,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.4.1", False),
        Ref("iec", "IEC 60364-5-55", "551.4.3.2.1"),
        Ref("bs7671", "BS 7671", "411.4.2", False),
        Ref("bs7671", "BS 7671", "551.4.3.2.1"),
        Ref("nec", "NEC", "250.20(B)", False),
        Ref("nec", "NEC", "250.30(A)(1)"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.1"),
        Ref("sans", "SANS 10142-1", "6.1.6"),
        PRACTICE,
    ),
    params=(
        Param(
            "portable-rcd",
            "rated residual current, in ampere, behind which the outlets of a portable source must lie; inf: none needed",
            0.030,
            {"nec": float("inf")},
        ),
        Param(
            "portable-clause",
            "where the exception for portable sources stands",
            "IEC 60364-5-55, 551.4.4 ?",
            {"nec": "NEC 250.34(A)", "bs7671": "BS 7671, 551.4.4 ?", "as-nzs": "AS/NZS 3010 ?"},
        ),
        Param(
            "vehicle-clause",
            "where the exception for sources on vehicles stands",
            "IEC 60364-7-717, 717.411.6 ?",
            {"nec": "NEC 250.34(B)", "bs7671": "BS 7671, 717.411.6 ?", "as-nzs": "AS/NZS 3001 ?"},
        ),
        Param(
            "single-clause",
            "where the exception for a source that supplies one item stands",
            "IEC 60364-4-41, 413 ?",
            {"nec": "", "bs7671": "BS 7671, 413 ?", "as-nzs": "AS/NZS 3000, 7.4 ?"},
        ),
    ),
    examples=(
        Example("grid-hybrid", (_NO_RELAY,), ("hybrid",)),
        Example(
            "two-generators", (("main-link: {at: main}", "main-link: {at: main, impedance: 1 kohm}"),), ("g1", "g2")
        ),
        Example(
            "grid-hybrid",
            (_NO_RELAY, ("bonds:\n", "bonds:\n  relay: {at: essential, closed: {ts: island, hybrid: inverting}}\n")),
            (),
        ),
        # a portable set that supplies one item
        Example(
            "workshop",
            (
                _FLOATING_SET,
                ("circuits:\n", "circuits:\n  saw: {from: set, cores: L1 N PE, serves: fixed}\n"),
            ),
            (),
        ),
        # NEC knows no such exception by the number of items, but one for what is plugged into the set, frames joined
        *(
            Example(
                "workshop",
                (
                    _FLOATING_SET,
                    ("circuits:\n", f"circuits:\n  saw: {{from: set, cores: {cores}, serves: socket-outlets}}\n"),
                ),
                finds,
                "nec",
            )
            for cores, finds in (("L1 N PE", ()), ("L1 N", ("set",)))
        ),
        # a box that hangs on the set is more than its own outlets
        Example(
            "workshop",
            (
                _FLOATING_SET,
                ("boards:\n", "boards:\n  box: {}\n"),
                ("connections:\n", "connections:\n  lead: {from: set, to: box, cores: L1 N PE, plug: yes}\n"),
                ("circuits:\n", "circuits:\n  saw: {from: box, cores: L1 N PE, serves: socket-outlets}\n"),
            ),
            ("set",),
            "nec",
        ),
        # two outlets, and the RCD that sees a second fault in another frame
        *(
            Example(
                "workshop",
                (
                    _FLOATING_SET,
                    ("circuits:\n", f"circuits:\n{_outlet('saw', rcd)}{_outlet('pump', rcd)}"),
                ),
                finds,
            )
            for rcd, finds in (("", ("set",)), (", through: [{kind: rcbo, residual: 30 mA}]", ()))
        ),
    ),
    page=__doc__,
)
