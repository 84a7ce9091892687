"""An island declared IT has no insulation monitoring device, or two that see each other.

Checks: islands whose sources are all declared IT: exactly one monitor must be joined to their live conductors, and those beyond an
inverter that does not separate its direct-current side (`isolated: no`) are joined to them while it runs.  A direct-current side
of its own: no more than one monitor, in any position of its switches.

Danger: without a monitor the first fault stays unnoticed and the second one is a short circuit between two frames; two monitors
measure each other instead of the insulation.

Remedy: one monitor for each island; where two can be joined, let one switch itself off.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Isolated, Params, Ref, Unknown, Verdict, rule

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
    return PASS


RULE = rule(
    id="it-without-monitor",
    level="error",
    over=Facts.isolated,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.6.3.1", False),
        Ref("iec", "IEC 60364-5-53", "538.1", False),
        Ref("bs7671", "BS 7671", "538.1", False),
        Ref("nec", "NEC", "250.21(B)", False),
        Ref("as-nzs", "AS/NZS 3000", "1.5", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
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
    ),
    page=__doc__,
)
