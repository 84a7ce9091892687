"""An island declared IT has no insulation monitoring device, or two that see each other.

Checks: islands whose sources are all declared IT: exactly one monitor must be joined to their live conductors, and those beyond an
inverter that does not separate its direct-current side (`isolated: no`) are joined to them while it runs.  A direct-current side
of its own: no more than one monitor, in any position of its switches.  Where such an island supplies a medical place, the monitor
has at least the impedance that the rulebook asks for there, so that the first fault drives no more through a patient than has to
be.  At which resistance it gives alarm (50 kohm at the latest, 710.411.6.3.11 ?; NEC: 5 mA of hazard current, 517.160(B) ?) is not
described.

Danger: without a monitor the first fault stays unnoticed and the second one is a short circuit between two frames; two monitors
measure each other instead of the insulation.

Remedy: one monitor for each island; where two can be joined, let one switch itself off.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Isolated, Param, Params, Ref, Unknown, Verdict, figure, rule

_ONE = "monitors:\n  imd-1: {at: solar}\n"


def _beyond(isolated: str, monitors: str = "imd-1: {at: main}\n  imd-2: {at: bank}") -> tuple[tuple[str, str], ...]:
    """A battery inverter on the same boards, with monitors on both sides of it."""
    return (
        (
            "boards:\n",
            f"  inv: {{kind: inverter, phases: L1, earthing: IT, operation: grid-following, isolated: {isolated}}}\n\n"
            "direct-current:\n  bank: {kind: battery, voltage: 48 V}\n\nboards:\n",
        ),
        (
            "connections:\n",
            "connections:\n  inv-feed: {from: inv, to: main, cores: L1 N PE}\n  bank-lead: {from: bank, to: inv.dc, cores: DC+ DC- PE}\n",
        ),
        ("imd-1: {at: main}", monitors),
    )


def check(isolated: Isolated, params: Params) -> Verdict:
    """Whether exactly one monitor watches the island."""
    if isolated.doubtful and len(isolated.monitors) < 2:
        raise Unknown(f"isolated of {isolated.doubtful.id}", isolated.doubtful.route)
    if not isolated.monitors:
        return Finding(
            f"{isolated.id} feeds an island declared IT that no insulation monitor watches",
            "the first fault stays unnoticed; the second one is a short circuit between two frames",
            "add a monitor: monitors: {imd-1: {at: board}}",
        )
    if isolated.second:
        return Finding(
            f"{' and '.join(isolated.monitors)} watch the same island and measure each other",
            "neither shows the insulation as it is",
            "keep one monitor active for each island",
            subject=isolated.second,
        )
    for monitor in isolated.watching if "medical" in isolated.places else ():
        if monitor.impedance_ohm is None:
            raise Unknown(f"the impedance of {monitor.id}", monitor.route)
        if not isolated.voltage_v and params["medical-a"]:
            raise Unknown(f"the voltage of {isolated.id}", isolated.route)
        least = isolated.voltage_v / params["medical-a"] if params["medical-a"] else params["medical-ohm"]
        if not monitor.impedance_ohm >= least:
            return Finding(
                f"the impedance of {monitor.id} is too small for a medical IT system",
                "after a first fault it lets a current through that may pass a patient",
                f"take a monitor for medical locations, of {figure(least, 'ohm')} or more",
                figures=(("impedance", figure(monitor.impedance_ohm, "ohm")), ("at least", figure(least, "ohm"))),
                subject=(monitor.id, monitor.route),
            )
    return PASS


RULE = rule(
    id="it-without-monitor",
    level="error",
    over=Facts.isolated,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.6.3.1", False),
        Ref("iec", "IEC 60364-5-53", "538.1", False),
        Ref("iec", "IEC 60364-7-710", "710.411.6.3.11", False),
        Ref("bs7671", "BS 7671", "538.1, 710.411.6.3.11", False),
        Ref("nec", "NEC", "250.21(B), 517.160(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "1.5", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param("medical-ohm", "least impedance, in ohm, of a monitor in a medical IT system", 100e3),
        Param(
            "medical-a",
            "most current, in ampere, that it may let through in place of that; 0: the impedance counts",
            0.0,
            {"nec": 0.001},
        ),
    ),
    examples=(
        Example("it-pumps", (("monitors:\n  imd-1: {at: main}\n", ""),), ("line", "set")),
        # a monitor at the set sees nothing while the line feeds
        Example("it-pumps", (("imd-1: {at: main}", "imd-1: {at: set}"),), ("line",)),
        Example("it-pumps", (("imd-1: {at: main}", "imd-1: {at: main}\n  imd-2: {at: pumps}"),), ("imd-2",)),
        Example("it-pumps", (("imd-1: {at: main}", "imd-1: {at: pumps}"),), ()),
        # a monitor of the d.c. side beyond an inverter that separates the two, and beyond one that does not
        Example("it-pumps", _beyond("yes"), ()),
        Example("it-pumps", _beyond("no"), ("imd-2",)),
        # that one alone watches both, but not what the line feeds without the inverter
        Example("it-pumps", _beyond("no", "imd-2: {at: bank}"), ("line", "set")),
        # two on one d.c. side
        Example("solar-cabin", (("electrodes:\n", f"{_ONE}\nelectrodes:\n"),), ()),
        Example("solar-cabin", (("electrodes:\n", f"{_ONE}  imd-2: {{at: roof}}\n\nelectrodes:\n"),), ("imd-2",)),
        # 100 kohm at 230 V; NEC goes by 1 mA, which is 230 kohm there
        *(
            Example(
                "measured-pumps",
                (("  main: {}", "  main: {place: medical}"), ("impedance: 100 kohm", f"impedance: {impedance}")),
                finds,
                book,
            )
            for impedance, finds, book in (
                ("99 kohm", ("imd-1",), "iec"),
                ("100 kohm", (), "iec"),
                ("100 kohm", (), "bs7671"),
                ("229 kohm", ("imd-1",), "nec"),
                ("231 kohm", (), "nec"),
            )
        ),
        Example("measured-pumps", (("impedance: 100 kohm", "impedance: 99 kohm"),), ()),
    ),
    page=__doc__,
)
