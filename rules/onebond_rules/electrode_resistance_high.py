"""The resistance of an earth electrode is too high.

Checks: electrodes that frames rest on without metal back to the source (TT): resistance, in parallel with those that conductors
join to it in every state, times the rated residual current of the least sensitive device that guards such a frame is at most 50 V, and the
resistance at most 200 ohm, above which it may not last through drought and frost.  Where no frame rests on it, only the 200 ohm
are checked, and only if the resistance is known.  NEC: a single rod or plate above 25 ohm needs a second electrode.  Electrodes
that are joined are taken to lie out of each other's reach.

Danger: the frames stand at a voltage that the residual current device does not see as a fault, or at full voltage when the soil
has dried out.

Remedy: more or longer rods, a ring, or a device with a smaller rated residual current.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    EarthElectrode,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(one: EarthElectrode, params: Params) -> Verdict:
    """Whether this electrode is good enough for what rests on it."""
    if params["single-ohm"]:
        return _single(one, params["single-ohm"])
    if not one.rests:
        try:
            ohm = one.together_ohm
        except Unknown:
            return NotApplicable("no frame rests on it alone: its resistance decides no disconnection")
        return PASS if ohm <= params["unstable-ohm"] else _unstable(one, ohm, params["unstable-ohm"])
    ohm = one.together_ohm
    if one.guard and not ohm * one.guard[0] <= params["touch-v"]:
        residual_a, device, place = one.guard
        if one.lacking:
            raise Unknown.of(one.lacking)
        return Finding(
            f"{one.id} is too high for the residual current device that guards {place}",
            "the frames may stand at a dangerous voltage without a current that the device sees",
            "more or longer rods, or a device with a smaller rated residual current",
            figures=(
                ("resistance", figure(ohm, "ohm")),
                ("rated residual current", f"{residual_a * 1000:g} mA"),
                ("voltage at that current", figure(ohm * residual_a, "V")),
                ("device", device.id or device.kind),
            ),
        )
    if not ohm <= params["unstable-ohm"]:
        if one.lacking:
            raise Unknown.of(one.lacking)
        return _unstable(one, ohm, params["unstable-ohm"])
    return PASS


def _unstable(one: EarthElectrode, ohm: float, limit_ohm: float) -> Finding:
    return Finding(
        f"{one.id} is so high that it may not be stable",
        "drought and frost raise it further, and what rests on it is then not protected",
        "more or longer rods, or a ring, down to soil that stays moist",
        figures=(("resistance", figure(ohm, "ohm")), ("taken as stable up to", f"{limit_ohm:g} ohm")),
    )


def _single(one: EarthElectrode, limit_ohm: float) -> Finding | NotApplicable:
    if not one.single:
        return NotApplicable("it is not a single rod or plate")
    if one.resistance_ohm <= limit_ohm:
        return NotApplicable(f"a single rod or plate of no more than {limit_ohm:g} ohm")
    return Finding(
        f"{one.id} is a single rod or plate with more than {limit_ohm:g} ohm and nothing beside it",
        "drought and frost raise it further, and nothing else ties the installation to the soil",
        "drive a second rod at a distance and join it",
        figures=(("resistance", figure(one.resistance_ohm, "ohm")),),
    )


RULE = rule(
    id="electrode-resistance-high",
    level="warning",
    over=Facts.earth_electrodes,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.5.3"),
        Ref("bs7671", "BS 7671", "411.5.3"),
        Ref("bs7671", "BS 7671", "table 41.5", False),
        Ref("nec", "NEC", "250.53(A)(2)"),
        Ref("as-nzs", "AS/NZS 3000", "5.3.6", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param("touch-v", "the most that resistance times rated residual current may be, in V", 50.0),
        Param("unstable-ohm", "above this it may be unstable, in ohm", 200.0),
        Param(
            "single-ohm",
            "a single rod or plate above this needs a second one, in ohm; 0: no such clause",
            0.0,
            {"nec": 25.0},
        ),
    ),
    examples=(
        Example("measured-farm", (("resistance: 20 ohm", "resistance: 180 ohm"),), ("rods",)),
        Example("measured-farm", (("resistance: 20 ohm", "resistance: 160 ohm"),), ()),
        Example(
            "measured-farm",
            (("resistance: 20 ohm", "resistance: 260 ohm"), ("residual: 300 mA", "residual: 100 mA")),
            ("rods",),
        ),
        # 500 ohm and 100 mA are 50 V, which may last; but what is above 200 ohm is not stable
        Example(
            "measured-farm",
            (("resistance: 20 ohm", "resistance: 200 ohm"), ("residual: 300 mA", "residual: 100 mA")),
            (),
        ),
        Example(
            "measured-farm",
            (("resistance: 20 ohm", "resistance: 201 ohm"), ("residual: 300 mA", "residual: 100 mA")),
            ("rods",),
        ),
        Example(
            "sized-cabin",
            (("rods: 2, length: 8 ft, diameter: 16 mm, spacing: 8 ft", "length: 8 ft, diameter: 16 mm"),),
            ("stakes",),
        ),
        Example("sized-cabin", (("rods: 2, length: 8 ft, diameter: 16 mm, spacing: 8 ft", "resistance: 25 ohm"),), ()),
    ),
    page=__doc__,
    in_states=False,
)
