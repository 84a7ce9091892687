"""Protective conductors carry neutral current in normal service.

Checks: for every live island in every operating state, the protective conductor that carries the most current with all written
loads.  What a PEN that is earthed in several places drives through electrodes and soil is regular and left out.

Danger: the current heats connections that nobody made for a load, shifts the potential of frames and screens, and spoils
data and insulation monitoring.  Whoever opens that PE for work draws an arc, and has the voltage of the neutral in hand.

Remedy: leave one link between neutral and earth in each island, and bring every neutral back in its own cable.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    PeCurrent,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(pe: PeCurrent, params: Params) -> Verdict:
    """Whether neutral current flows in this PE, the one with the most."""
    try:
        current_a = pe.current_a
    except Unknown:
        if pe.surplus or not pe.metallic_a <= params["warn-a"]:
            raise
        return PASS  # only what returns through the soil depends on what is not written
    if not current_a <= params["warn-a"]:
        if not pe.surplus and pe.metallic_a <= params["warn-a"]:
            return NotApplicable(
                "the current returns through electrodes and soil: a PEN that is earthed in several places"
            )
        return Finding(
            f"the PE of {pe.id} carries neutral current in normal service",
            "the protective conductor is a second neutral: it is loaded all the time, and opening it for work draws an arc",
            f"leave one link between neutral and earth: {pe.surplus} is one too many"
            if pe.surplus
            else "find where a neutral touches PE, or lands on it, and part the two",
            because=("neutral-bonded-twice", pe.surplus) if pe.surplus else None,
            level=None if current_a <= params["error-a"] else "error",
            figures=(("largest current in a PE", figure(current_a, "A")),),
            weight=current_a,
            effect=True,
        )
    if pe.surplus and pe.no_load:
        raise Unknown.of(pe.no_load)
    return PASS


RULE = rule(
    id="neutral-current-in-pe",
    level="warning",
    over=Facts.pe_currents,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.4.3"),
        Ref("bs7671", "BS 7671", "543.4.3", False),
        Ref("nec", "NEC", "250.6"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.1(c)"),
        Ref("sans", "SANS 10142-1", "6.1.6"),
    ),
    params=(
        Param("warn-a", "current in a PE from which it is a warning, in ampere (our choice, no source)", 0.1),
        Param("error-a", "current in a PE from which it is an error, in ampere (our choice, no source)", 1.0),
    ),
    examples=(
        Example(
            "loaded-joinery",
            (("electrodes:\n", "bonds:\n  hall-link: {at: hall}\n\nelectrodes:\n"),),
            ("service",),
        ),
        # a link through an impedance is no reference, and leads current all the same
        Example(
            "loaded-joinery",
            (("electrodes:\n", "bonds:\n  hall-link: {at: hall, impedance: 1 ohm}\n\nelectrodes:\n"),),
            ("service",),
        ),
        # the same through a kiloohm
        Example(
            "loaded-joinery",
            (("electrodes:\n", "bonds:\n  hall-link: {at: hall, impedance: 1 kohm}\n\nelectrodes:\n"),),
            (),
        ),
        # the supplier's PEN and the electrode of the house share the neutral current through the soil
        Example(
            "loaded-joinery", (("earthing: TN-S", "earthing: TN-C-S"), ("resistance: 12 ohm", "resistance: 1 ohm")), ()
        ),
    ),
    page=__doc__,
)
