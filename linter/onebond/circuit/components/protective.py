"""Sizes of protective, bonding and earthing conductors: the adiabatic formula, the tables of IEC 60364-5-54 and of NEC 250.

Metric sizes are mm2 and floats; American sizes are the names that the code prints (``8``, ``1/0``, ``250``).
"""

from __future__ import annotations

import math

from onebond.circuit.components.conductors import CIRCULAR_MILS, circular_mils_cmil
from onebond.circuit.components.refusal import known, within

# Annex A of IEC 60364-5-54: beta (C), volumetric heat (J/K mm3), resistivity at 20 C (ohm mm).
_MATERIALS: dict[str, tuple[float, float, float]] = {
    "copper": (234.5, 3.45e-3, 17.241e-6),
    "aluminium": (228.0, 2.5e-3, 28.264e-6),
    "lead": (230.0, 1.45e-3, 214e-6),
    "steel": (202.0, 3.8e-3, 138e-6),
}

# (how the conductor lies, its insulation) -> material -> (start C, end C, printed k).
# "large" is PVC above 300 mm2.
PRINTED_K: dict[tuple[str, str], dict[str, tuple[float, float, int]]] = {
    ("separate", "pvc"): {"copper": (30, 160, 143), "aluminium": (30, 160, 95), "steel": (30, 160, 52)},
    ("separate", "pvc-large"): {"copper": (30, 140, 133), "aluminium": (30, 140, 88)},
    ("separate", "xlpe"): {"copper": (30, 250, 176), "aluminium": (30, 250, 116), "steel": (30, 250, 64)},
    ("separate", "rubber-85"): {"copper": (30, 220, 166), "aluminium": (30, 220, 110), "steel": (30, 220, 60)},
    ("core", "pvc"): {"copper": (70, 160, 115), "aluminium": (70, 160, 76)},
    ("core", "pvc-large"): {"copper": (70, 140, 103), "aluminium": (70, 140, 68)},
    ("core", "pvc-90"): {"copper": (90, 160, 100), "aluminium": (90, 160, 66)},
    ("core", "pvc-90-large"): {"copper": (90, 140, 86), "aluminium": (90, 140, 57)},
    ("core", "xlpe"): {"copper": (90, 250, 143), "aluminium": (90, 250, 94)},
    ("core", "rubber-60"): {"copper": (60, 200, 141), "aluminium": (60, 200, 93)},
    ("core", "silicone"): {"copper": (180, 350, 132), "aluminium": (180, 350, 87)},
    ("armour", "pvc"): {"aluminium": (60, 200, 93), "steel": (60, 200, 51), "lead": (60, 200, 26)},
    ("armour", "pvc-90"): {"aluminium": (80, 200, 85), "steel": (80, 200, 46), "lead": (80, 200, 23)},
    ("armour", "xlpe"): {"aluminium": (80, 200, 85), "steel": (80, 200, 46), "lead": (80, 200, 23)},
    ("armour", "mineral"): {"copper": (105, 250, 135)},
    ("armour", "mineral-touchable"): {"copper": (70, 160, 115)},
    ("conduit", "pvc"): {"steel": (50, 160, 47)},
    ("conduit", "pvc-90"): {"steel": (60, 160, 44)},
    ("conduit", "xlpe"): {"steel": (60, 250, 58)},
    ("bare", "visible"): {"copper": (30, 500, 228), "aluminium": (30, 300, 125), "steel": (30, 500, 82)},
    ("bare", "normal"): {"copper": (30, 200, 159), "aluminium": (30, 200, 105), "steel": (30, 200, 58)},
    ("bare", "fire-risk"): {"copper": (30, 150, 138), "aluminium": (30, 150, 91), "steel": (30, 150, 50)},
}

STANDARD_MM2: tuple[float, ...] = (
    1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300, 400, 500, 630,
)  # fmt: skip

# NEC 250.66 and 250.102(C)(1): largest service conductor up to (circular mils) -> (copper, aluminium) conductor.
_SERVICE_COPPER_CMIL = (66360, 105600, 167800, 350_000, 600_000, 1_100_000)
_SERVICE_ALUMINIUM_CMIL = (105600, 167800, 250_000, 500_000, 900_000, 1_750_000)
_ROWS = (("8", "6"), ("6", "4"), ("4", "2"), ("2", "1/0"), ("1/0", "3/0"), ("2/0", "4/0"))
_ROW_ABOVE = ("3/0", "250")

# NEC 250.122: overcurrent device up to (A) -> (copper, aluminium) conductor.
EQUIPMENT_GROUNDING: dict[int, tuple[str, str]] = {
    15: ("14", "12"), 20: ("12", "10"), 60: ("10", "8"), 100: ("8", "6"), 200: ("6", "4"), 300: ("4", "2"),
    400: ("3", "1"), 500: ("2", "1/0"), 600: ("1", "2/0"), 800: ("1/0", "3/0"), 1000: ("2/0", "4/0"),
    1200: ("3/0", "250"), 1600: ("4/0", "350"), 2000: ("250", "400"), 2500: ("350", "600"), 3000: ("400", "600"),
    4000: ("500", "750"), 5000: ("700", "1250"), 6000: ("800", "1250"),
}  # fmt: skip
_OLDER_ALUMINIUM = {4000: "800", 5000: "1200", 6000: "1200"}
_METALS = {"copper": 0, "aluminium": 1}
# A published example rounds 16511.5 circular mils down to 8 AWG (16510); so does this tolerance.
UPSIZE_TOLERANCE = 0.001


def k_factor(material: str, start_c: float, end_c: float) -> float:
    """The factor k of the adiabatic formula, A sqrt(s) / mm2, for a conductor that may heat from one temperature to another.

    Limits: copper, aluminium, lead, steel; -20 C to 600 C, the end above the start; a fault of at most 5 s.
    Source: IEC 60364-5-54 annex A (constants from memory; they reproduce every printed k within 0.6: recomputed).
    Example: copper core in PVC, 70 C to 160 C: 114.8, printed 115.

    >>> f"{k_factor('copper', 70, 160):.1f}"
    '114.8'
    """
    beta_c, heat, resistivity = known(_MATERIALS, material, "material of the protective conductor")
    within(start_c, -20, 400, "temperature at the start of the fault", "C")
    if not start_c < end_c <= 600:
        raise ValueError(f"temperature at the end of the fault: {end_c:g} C is not between {start_c:g} and 600 C")
    return math.sqrt(heat * (beta_c + 20) / resistivity * math.log((beta_c + end_c) / (beta_c + start_c)))


def printed_k_factor(laid: str, insulation: str, material: str) -> int:
    """The factor k as the tables print it, A sqrt(s) / mm2.

    Limits: laid ``separate`` (not in a cable, not bunched), ``core`` (in a cable or bunched), ``armour`` (sheath
    too), ``conduit``, ``bare``; insulation as in ``PRINTED_K``: ``pvc`` to 300 mm2, ``pvc-large`` above,
    ``pvc-90``, ``xlpe`` and so on.  The tables round 86, 94, 46, 23 and 91 otherwise than the formula (85.4, 94.6,
    46.5, 23.5, 91.5): the printed figure is used.
    Source: BS 7671 tables 43.1 and 54.2 to 54.5, trade pocket guide (seen); bare and rubber 85 C (from memory).
    Example: copper core in PVC.

    >>> printed_k_factor("core", "pvc", "copper")
    115
    """
    row = PRINTED_K.get((laid, insulation))
    if row is None:
        ways = ", ".join(f"{one} {other}" for one, other in PRINTED_K)
        raise ValueError(f"no k is printed for a conductor laid `{laid}` with `{insulation}`; there are {ways}")
    return known(row, material, f"material of a conductor laid {laid} with {insulation}")[2]


def adiabatic_mm2(current_a: float, time_s: float, k_factor: float) -> float:
    """The least cross-section in mm2 that a fault current of a duration leaves below its end temperature.

    Limits: 0 < t <= 5 s (below 0.1 s the let-through energy of the device decides:
    :func:`adiabatic_of_energy_mm2`); k 10 to 300.
    Source: S = sqrt(I^2 t) / k, IEC 60364-5-54, 543.1.2 (seen).
    Example: 1.8 kA, 0.4 s, k = 115: 9.90 mm2.

    >>> f"{adiabatic_mm2(1800, 0.4, 115):.2f}"
    '9.90'
    """
    within(current_a, 0, 1e6, "fault current", "A")
    within(time_s, 1e-6, 5, "duration of the fault", "s")
    return adiabatic_of_energy_mm2(current_a**2 * time_s, k_factor)


def adiabatic_of_energy_mm2(energy_a2s: float, k_factor: float) -> float:
    """The least cross-section in mm2 for a let-through energy I^2 t in A2 s, as the maker of the device declares it.

    Limits: up to 1e12 A2 s; k 10 to 300.
    Source: S = sqrt(I^2 t) / k, IEC 60364-5-54, 543.1.2 (seen).
    Example: 3 kA for 0.1 s, k = 143: 6.63 mm2.

    >>> f"{adiabatic_of_energy_mm2(3000**2 * 0.1, 143):.2f}"
    '6.63'
    """
    within(energy_a2s, 0, 1e12, "let-through energy", "A2 s")
    within(k_factor, 10, 300, "factor k", "")
    return math.sqrt(energy_a2s) / k_factor


def standard_mm2(least_mm2: float) -> float:
    """The next standard cross-section in mm2 that is not smaller.

    Limits: up to 630 mm2.
    Source: IEC 60228 (seen).
    Example: 6.63 mm2 needs 10 mm2.

    >>> standard_mm2(6.63)
    10
    """
    within(least_mm2, 0, STANDARD_MM2[-1], "cross-section", "mm2")
    return next(size for size in STANDARD_MM2 if size >= least_mm2)


def pe_by_line_mm2(line_mm2: float, line_k: float = 1.0, pe_k: float = 1.0) -> float:
    """The protective conductor in mm2 that goes with a line conductor without any calculation, before it is rounded up to a standard size.

    Limits: 0.5 to 2000 mm2; for another material k of the line and of the protective conductor are given.
    Source: IEC 60364-5-54 table 54.2 (54.3 in the edition of 2002), BS 7671 table 54.7 (seen).
    Example: 10, 25 and 70 mm2.

    >>> pe_by_line_mm2(10), pe_by_line_mm2(25), pe_by_line_mm2(70)
    (10.0, 16.0, 35.0)
    """
    within(line_mm2, 0.5, 2000, "cross-section of the line", "mm2")
    for factor in (line_k, pe_k):
        within(factor, 1, 300, "factor k", "")
    least_mm2 = line_mm2 if line_mm2 <= 16 else 16 if line_mm2 <= 35 else line_mm2 / 2
    return least_mm2 * line_k / pe_k


def separate_pe_mm2(protected: bool, material: str = "copper") -> float:
    """The least protective conductor in mm2 that is not part of a cable and not in one enclosure with its lines.

    Limits: copper with or without mechanical protection; aluminium 16 mm2 in both cases.
    Source: IEC 60364-5-54, 543.1.3 (seen: web and forum; aluminium from memory).
    Example: copper, protected and not.

    >>> separate_pe_mm2(True), separate_pe_mm2(False)
    (2.5, 4.0)
    """
    return known(
        {"copper": 2.5 if protected else 4.0, "aluminium": 16.0}, material, "material of the protective conductor"
    )


def pen_mm2(material: str = "copper") -> float:
    """The least PEN conductor inside an installation in mm2.

    Limits: fixed installations only.
    Source: IEC 60364-5-54, 543.4.1 (seen: guide).
    Example: copper.

    >>> pen_mm2()
    10.0
    """
    return known({"copper": 10.0, "aluminium": 16.0}, material, "material of the PEN conductor")


def high_leakage_pe_mm2(material: str = "copper") -> float:
    """The protective conductor in mm2 for equipment with more than 10 mA of protective conductor current.

    Limits: one of several ways; a second protective conductor or supervision will do as well.
    Source: IEC 60364-5-54, 543.7 (from memory).
    Example: copper.

    >>> high_leakage_pe_mm2()
    10.0
    """
    return known({"copper": 10.0, "aluminium": 16.0}, material, "material of the protective conductor")


def buried_earthing_conductor_mm2(
    by_line_mm2: float, corrosion_protected: bool, mechanically_protected: bool, material: str = "copper"
) -> float:
    """The least earthing conductor in mm2 that lies in the soil.

    Limits: copper and steel; ``by_line_mm2`` is what :func:`pe_by_line_mm2` asks for, and counts only with both
    protections.
    Source: IEC 60364-5-54 table 54.1 (54.2 in the edition of 2002), BS 7671 table 54.1 (from memory).
    Example: bare copper in the soil, and with corrosion protection alone.

    >>> buried_earthing_conductor_mm2(16, False, False), buried_earthing_conductor_mm2(16, True, False)
    (25.0, 16.0)
    """
    within(by_line_mm2, 0.5, 1000, "protective conductor by the line", "mm2")
    both, corrosion_only, none = known(
        {"copper": (2.5, 16.0, 25.0), "steel": (10.0, 16.0, 50.0)}, material, "material of the earthing conductor"
    )
    if not corrosion_protected:
        return none
    return max(both, by_line_mm2) if mechanically_protected else corrosion_only


def main_bonding_mm2(earthing_conductor_mm2: float, material: str = "copper") -> float:
    """The least main bonding conductor in mm2: half the earthing conductor, within limits.

    Limits: not for a supply with PEN in the United Kingdom, which has a table of its own (:func:`pme_bonding_mm2`).
    The upper limit of 25 mm2 copper is given for copper only.
    Source: IEC 60364-5-54, 544.1 (from memory).
    Example: 6, 16 and 95 mm2.

    >>> main_bonding_mm2(6), main_bonding_mm2(16), main_bonding_mm2(95)
    (6.0, 8.0, 25.0)
    """
    within(earthing_conductor_mm2, 0.5, 1000, "earthing conductor", "mm2")
    least_mm2 = known({"copper": 6.0, "aluminium": 16.0, "steel": 50.0}, material, "material of the bonding conductor")
    half_mm2 = max(least_mm2, earthing_conductor_mm2 / 2)
    return min(half_mm2, 25.0) if material == "copper" else half_mm2


def pme_bonding_mm2(neutral_mm2: float) -> float:
    """The least copper main bonding conductor in mm2 where the supplier's neutral is a PEN (United Kingdom).

    Limits: by the size of the supply's neutral, copper; up to 1000 mm2.
    Source: BS 7671 table 54.8 (from memory).
    Example: 25 and 70 mm2.

    >>> pme_bonding_mm2(25), pme_bonding_mm2(70)
    (10.0, 25.0)
    """
    within(neutral_mm2, 1, 1000, "neutral of the supply", "mm2")
    for limit_mm2, bonding_mm2 in ((35, 10.0), (50, 16.0), (95, 25.0), (150, 35.0)):
        if neutral_mm2 <= limit_mm2:
            return bonding_mm2
    return 50.0


def supplementary_bonding_mm2(protected: bool, pe_mm2: float, other_pe_mm2: float | None = None) -> float:
    """The least supplementary bonding conductor in mm2, copper.

    Limits: between two exposed parts the smaller of their two protective conductors; to an extraneous part (no
    second conductor) half of the one; at least 2.5 mm2 with mechanical protection, 4 mm2 without.
    Source: IEC 60364-5-54, 544.2 (from memory).
    Example: 6 and 4 mm2 without protection; 6 mm2 to a pipe with protection.

    >>> supplementary_bonding_mm2(False, 6, 4), supplementary_bonding_mm2(True, 6)
    (4.0, 3.0)
    """
    for size_mm2 in (pe_mm2,) if other_pe_mm2 is None else (pe_mm2, other_pe_mm2):
        within(size_mm2, 0.5, 1000, "protective conductor", "mm2")
    by_pe_mm2 = pe_mm2 / 2 if other_pe_mm2 is None else min(pe_mm2, other_pe_mm2)
    return max(2.5 if protected else 4.0, by_pe_mm2)


def nec_size_at_least(area_cmil: float) -> str:
    """The smallest American conductor size with at least an area in circular mils.

    Limits: up to 2000 kcmil.
    Source: NEC chapter 9 table 8 (seen).
    Example: 187.5 kcmil needs 4/0.

    >>> nec_size_at_least(187_500)
    '4/0'
    """
    within(area_cmil, 0, CIRCULAR_MILS["2000"], "area of the conductor", "circular mils")
    return next(size for size, cmil in CIRCULAR_MILS.items() if cmil >= area_cmil)


def _service_row(area_cmil: float, material: str) -> tuple[str, str] | None:
    within(area_cmil, 1, 20_000_000, "area of the service conductors", "circular mils")
    limits = known(
        {"copper": _SERVICE_COPPER_CMIL, "aluminium": _SERVICE_ALUMINIUM_CMIL},
        material,
        "material of the service conductors",
    )
    return next((row for limit_cmil, row in zip(limits, _ROWS, strict=True) if area_cmil <= limit_cmil), None)


def nec_grounding_electrode_conductor(
    area_cmil: float, service_material: str = "copper", material: str = "copper", electrode: str = "other"
) -> str:
    """The grounding electrode conductor that goes with service conductors of an area in circular mils.

    Limits: parallel sets count with the sum of their areas.  ``electrode``: ``rod`` (rod, pipe or plate) and
    ``concrete`` as the sole connection need no more than 6 (aluminium 4) and 4 (copper); ``other`` has no cap.  A
    ring's cap is the ring's own size: the caller's.
    Source: NEC table 250.66 and 250.66(A), (B) (seen: three web copies).  One vendor's copy prints aluminium "1 or
    smaller" in the first row; 1/0, as the others have it, is used.
    Example: 2/0 copper service: 4 AWG copper; to a rod alone 6 AWG.

    >>> nec_grounding_electrode_conductor(133_100), nec_grounding_electrode_conductor(133_100, electrode="rod")
    ('4', '6')
    """
    column = known(_METALS, material, "material of the grounding electrode conductor")
    size = (_service_row(area_cmil, service_material) or _ROW_ABOVE)[column]
    if known({"rod": True, "concrete": True, "other": False}, electrode, "electrode"):
        caps = {"rod": ("6", "4"), "concrete": ("4", None)}[electrode]
        cap = caps[column]
        if cap is None:
            raise ValueError("a concrete-encased electrode has a cap for copper only")
        return min(size, cap, key=circular_mils_cmil)
    return size


def nec_equipment_grounding_conductor(device_a: float, material: str = "copper", edition: str = "current") -> str:
    """The equipment grounding conductor behind an overcurrent device of a rating in A.

    Limits: up to 6000 A; between two rows the next higher one.  Never larger than the circuit's own conductors: the
    caller's to cap.
    Source: NEC table 250.122 (seen).  Aluminium above 3000 A differs by edition: 750, 1250, 1250 is used;
    ``edition="older"`` gives 800, 1200, 1200 (from memory).
    Example: 110 A takes the row of 200 A.

    >>> nec_equipment_grounding_conductor(110)
    '6'
    """
    within(device_a, 0.1, 6000, "rating of the overcurrent device", "A")
    column = known(_METALS, material, "material of the equipment grounding conductor")
    row_a = next(limit_a for limit_a in EQUIPMENT_GROUNDING if device_a <= limit_a)
    older = known({"current": False, "older": True}, edition, "edition")
    if older and column == 1 and row_a in _OLDER_ALUMINIUM:
        return _OLDER_ALUMINIUM[row_a]
    return EQUIPMENT_GROUNDING[row_a][column]


def nec_upsized_grounding_conductor(size: str, needed_cmil: float, installed_cmil: float) -> str:
    """The equipment grounding conductor where the lines were made larger than their load needs, in proportion of areas.

    Limits: ``size`` is that of table 250.122; areas in circular mils, the installed one not smaller.  An excess of
    up to 0.1 % over a size counts as that size.
    Source: NEC 250.122(B) (seen).  60 A, lines 6 AWG to 4 AWG: 16511.5 circular mils against 16510 of 8 AWG:
    strictly 6 AWG, a published example says 8 AWG; the tolerance follows the example.
    Example: that one.

    >>> nec_upsized_grounding_conductor("10", 26240, 41740)
    '8'
    """
    within(needed_cmil, 1, 20_000_000, "area that the load needs", "circular mils")
    within(installed_cmil, needed_cmil, 20_000_000, "area that is installed", "circular mils")
    area_cmil = circular_mils_cmil(size) * installed_cmil / needed_cmil
    return nec_size_at_least(area_cmil / (1 + UPSIZE_TOLERANCE))


def nec_bonding_jumper(area_cmil: float, service_material: str = "copper", material: str = "copper") -> str:
    """The grounded conductor, main or system bonding jumper that goes with ungrounded conductors of an area in circular mils.

    Limits: parallel sets count with the sum of their areas.  Above 1100 kcmil copper or 1750 kcmil aluminium it is
    12.5 % of that area, for equal materials only.
    Source: NEC table 250.102(C)(1) (from memory; spot checks seen: 250 kcmil 2 AWG, 500 kcmil 1/0, 3 x 250 kcmil
    2/0).
    Example: 3 x 500 kcmil: 187.5 kcmil, hence 4/0.

    >>> nec_bonding_jumper(1_500_000)
    '4/0'
    """
    column = known(_METALS, material, "material of the bonding jumper")
    row = _service_row(area_cmil, service_material)
    if row is not None:
        return row[column]
    if service_material != material:
        raise ValueError(
            "above the table the 12.5 % rule is for a jumper of the same material as the ungrounded conductors"
        )
    return nec_size_at_least(area_cmil * 0.125)
