"""A device or a core does not fit the conductors in which it sits.

Checks: cores must land on conductors of their kind (no line on N or PE, no N on PE, unless a PEN lands on PE); RCDs must sum at
least two conductors, and every live conductor that passes them; each pole of a changeover must have a conductor that lands on it.
A circuit of one or two lines with a neutral must not have the high leg of a delta for one of them.

Danger: a crossed core makes a neutral or a frame live; an RCD that leaves a live conductor out trips on load or never; a pole
without a conductor means that something else was meant to be switched.  Between the high leg and the neutral a load for 120 V
has 208 V: it burns.

Remedy: correct the cores, `poles` or `senses`; move a load from the high leg to one of the other lines.  One that is made for the
voltage of the high leg is accepted by a waiver.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Misfit, Params, Ref, Verdict, rule

_DELTA = ("voltage: 230/400 V, earthing: TN-S", "system: high-leg, voltage: 120/240 V, earthing: TN-S")


def check(misfit: Misfit, params: Params) -> Verdict:
    """Whether the device fits."""
    if not misfit.what:
        return PASS
    if misfit.high_leg:
        return Finding(
            f"{misfit.id} does not fit its conductors: {misfit.what}",
            "its load has sqrt(3) times the voltage that the other lines have to the neutral, 208 V for 120 V, and burns",
            f"take L1 or L3 for {misfit.id}; a load that is made for that voltage is accepted by a waiver",
        )
    return Finding(
        f"{misfit.id} does not fit its conductors: {misfit.what}",
        "it does not do what its kind promises",
        f"correct the cores, `poles` or `senses` of {misfit.id}",
    )


RULE = rule(
    id="device-does-not-fit",
    level="error",
    over=Facts.misfits,
    check=check,
    refs=(Ref("all", "the description itself", ""),),
    examples=(
        Example("workshop", (("id: rcd-power,", "id: rcd-power, senses: L1 L2 L3,"),), ("rcd-power",)),
        Example("workshop", (("id: rcd-light,", "id: rcd-light, senses: L1,"),), ("rcd-light",)),
        Example("grid-hybrid", (("poles: L1 N", "poles: L1 L2 N"),), ("ts",)),
        Example("workshop", (("id: rcd-power,", "id: rcd-power, senses: L1 L2 L3 N,"),), ()),
        # socket-outlets on L2 of a delta
        Example("workshop", (_DELTA,), ("sockets",)),
        Example(
            "workshop", (_DELTA, ("sockets: {from: power-rcd, cores: L2", "sockets: {from: power-rcd, cores: L3")), ()
        ),
    ),
    page=__doc__,
    in_states=False,
)
