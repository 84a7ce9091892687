"""Conductors: resistance of standard sizes, temperature, reactance, American sizes, armour, parallel runs.

Resistances are ohm/km (the same number as milliohm/m), cross-sections mm2, lengths m, temperatures degree Celsius.
"""

from __future__ import annotations

import math

from onebond.circuit.components.refusal import known, within

KM_PER_KFT = 0.3048
KCMIL_MM2 = math.pi / 4 * 25.4**2 / 1000  # one thousand circular mils

# IEC 60228, maximum d.c. resistance at 20 C of plain conductors, ohm/km.
COPPER_CLASS_2_OHM_KM: dict[float, float] = {
    0.5: 36.0, 0.75: 24.5, 1: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 10: 1.83, 16: 1.15, 25: 0.727, 35: 0.524,
    50: 0.387, 70: 0.268, 95: 0.193, 120: 0.153, 150: 0.124, 185: 0.0991, 240: 0.0754, 300: 0.0601, 400: 0.0470,
    500: 0.0366, 630: 0.0283,
}  # fmt: skip
# Solid copper is the same up to 150 mm2; the catalogues that were seen end at 400 mm2.
COPPER_CLASS_1_OHM_KM: dict[float, float] = {
    **{size: ohm_km for size, ohm_km in COPPER_CLASS_2_OHM_KM.items() if size <= 150},
    185: 0.101, 240: 0.0775, 300: 0.0620, 400: 0.0465,
}  # fmt: skip
# 50 mm2 is lower than in class 2: the standard has it so.
COPPER_CLASS_5_OHM_KM: dict[float, float] = {
    0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91, 16: 1.21, 25: 0.780, 35: 0.554,
    50: 0.386, 70: 0.272, 95: 0.206, 120: 0.161, 150: 0.129, 185: 0.106, 240: 0.0801, 300: 0.0641, 400: 0.0486,
    500: 0.0384, 630: 0.0287,
}  # fmt: skip
ALUMINIUM_CLASS_2_OHM_KM: dict[float, float] = {
    10: 3.08, 16: 1.91, 25: 1.20, 35: 0.868, 50: 0.641, 70: 0.443, 95: 0.320, 120: 0.253, 150: 0.206, 185: 0.164,
    240: 0.125, 300: 0.100, 400: 0.0778, 500: 0.0605, 630: 0.0469,
}  # fmt: skip

_IEC_60228: dict[str, dict[int, dict[float, float]]] = {
    "copper": {1: COPPER_CLASS_1_OHM_KM, 2: COPPER_CLASS_2_OHM_KM, 5: COPPER_CLASS_5_OHM_KM},
    "aluminium": {1: ALUMINIUM_CLASS_2_OHM_KM, 2: ALUMINIUM_CLASS_2_OHM_KM},
}

# Temperature coefficients per kelvin at 20 C: of IEC 60228, and the rounded one of installation practice.
_COEFFICIENT: dict[str, dict[str, float]] = {
    "iec60228": {"copper": 0.00393, "aluminium": 0.00403},
    "rounded": {"copper": 0.004, "aluminium": 0.004},
}

_REACTANCE_OHM_KM: dict[str, float] = {
    "multicore": 0.08,
    "trefoil": 0.08,
    "flat-touching": 0.09,
    "spaced": 0.15,
    "busbar": 0.15,
    "separate-pe": 0.3,
}

# Steel wire armour, ohm/km at 20 C: size of the cores -> (two-core, three-core, four-core).
_ARMOUR_OHM_KM: dict[float, tuple[float, float, float]] = {
    1.5: (10.2, 9.5, 8.8),
    2.5: (8.8, 8.2, 7.7),
    4: (7.9, 7.5, 6.8),
    6: (7.0, 6.7, 4.3),
}

# NEC chapter 9 table 8, area in circular mils; from 250 on the name of the size is its area in kcmil.
CIRCULAR_MILS: dict[str, int] = {
    "14": 4110, "12": 6530, "10": 10380, "8": 16510, "6": 26240, "4": 41740, "3": 52620, "2": 66360, "1": 83690,
    "1/0": 105600, "2/0": 133100, "3/0": 167800, "4/0": 211600,
    **{str(kcmil): kcmil * 1000 for kcmil in (
        250, 300, 350, 400, 500, 600, 700, 750, 800, 900, 1000, 1200, 1250, 1500, 1750, 2000)},
}  # fmt: skip

# NEC chapter 9 table 8, d.c. resistance at 75 C, ohm/kft: size -> (uncoated copper, aluminium), stranded.
_TABLE_8_STRANDED_OHM_KFT: dict[str, tuple[float, float]] = {
    "14": (3.14, 5.17), "12": (1.98, 3.25), "10": (1.24, 2.04), "8": (0.778, 1.28), "6": (0.491, 0.808),
    "4": (0.308, 0.508), "3": (0.245, 0.403), "2": (0.194, 0.319), "1": (0.154, 0.253), "1/0": (0.122, 0.201),
    "2/0": (0.0967, 0.159), "3/0": (0.0766, 0.126), "4/0": (0.0608, 0.100), "250": (0.0515, 0.0847),
    "300": (0.0429, 0.0707), "350": (0.0367, 0.0605), "400": (0.0321, 0.0529), "500": (0.0258, 0.0424),
    "600": (0.0214, 0.0353), "750": (0.0171, 0.0282), "1000": (0.0129, 0.0212),
}  # fmt: skip
_TABLE_8_SOLID_OHM_KFT: dict[str, tuple[float, float]] = {
    "14": (3.07, 5.06), "12": (1.93, 3.18), "10": (1.21, 2.00), "8": (0.764, 1.26),
}  # fmt: skip

# NEC chapter 9 table 9, 60 Hz, 75 C, three single conductors in conduit, ohm/kft:
# size -> (reactance in PVC or aluminium, in steel), resistance of copper and of aluminium in (PVC, aluminium, steel).
_TABLE_9_OHM_KFT: dict[
    str, tuple[tuple[float, float], tuple[float, float, float], tuple[float, float, float] | None]
] = {
    "14": ((0.058, 0.073), (3.1, 3.1, 3.1), None),
    "12": ((0.054, 0.068), (2.0, 2.0, 2.0), (3.2, 3.2, 3.2)),
    "10": ((0.050, 0.063), (1.2, 1.2, 1.2), (2.0, 2.0, 2.0)),
    "8": ((0.052, 0.065), (0.78, 0.78, 0.78), (1.3, 1.3, 1.3)),
    "6": ((0.051, 0.064), (0.49, 0.49, 0.49), (0.81, 0.81, 0.81)),
    "4": ((0.048, 0.060), (0.31, 0.31, 0.31), (0.51, 0.51, 0.51)),
    "3": ((0.047, 0.059), (0.25, 0.25, 0.25), (0.40, 0.41, 0.40)),
    "2": ((0.045, 0.057), (0.19, 0.20, 0.20), (0.32, 0.32, 0.32)),
    "1": ((0.046, 0.057), (0.15, 0.16, 0.16), (0.25, 0.26, 0.25)),
    "1/0": ((0.044, 0.055), (0.12, 0.13, 0.12), (0.20, 0.21, 0.20)),
    "2/0": ((0.043, 0.054), (0.10, 0.10, 0.10), (0.16, 0.16, 0.16)),
    "3/0": ((0.042, 0.052), (0.077, 0.082, 0.079), (0.13, 0.13, 0.13)),
    "4/0": ((0.041, 0.051), (0.062, 0.067, 0.063), (0.10, 0.11, 0.10)),
    "250": ((0.041, 0.052), (0.052, 0.057, 0.054), (0.085, 0.090, 0.086)),
    "300": ((0.041, 0.051), (0.044, 0.049, 0.045), (0.071, 0.076, 0.072)),
    "350": ((0.040, 0.050), (0.038, 0.043, 0.039), (0.061, 0.066, 0.063)),
    "400": ((0.040, 0.049), (0.033, 0.038, 0.035), (0.054, 0.059, 0.055)),
    "500": ((0.039, 0.048), (0.027, 0.032, 0.029), (0.043, 0.048, 0.045)),
    "600": ((0.039, 0.048), (0.023, 0.028, 0.025), (0.036, 0.041, 0.038)),
    "750": ((0.038, 0.048), (0.019, 0.024, 0.021), (0.029, 0.034, 0.031)),
    "1000": ((0.037, 0.046), (0.015, 0.019, 0.018), (0.023, 0.027, 0.025)),
}
_CONDUITS = ("pvc", "aluminium", "steel")
_NEC_COEFFICIENT = {"copper": 0.00323, "aluminium": 0.00330}  # per kelvin at 75 C


def dc_resistance_ohm_km(size_mm2: float, material: str = "copper", conductor_class: int = 2) -> float:
    """Maximum d.c. resistance of one plain conductor at 20 C, in ohm/km.

    Limits: standard sizes only; copper class 1 (solid, to 400 mm2), 2 and 5 (and 6, which has the same column),
    aluminium class 1 and 2 from 10 mm2.  Class 5 at 50 mm2 is lower than class 2: the standard has it so.
    Source: IEC 60228 tables 1 to 3 (seen: four makers' catalogues, which agree).  A guide of 2008 prints 0.0221 for
    630 mm2 copper, which is an older standard; 0.0283 is used here.
    Example: 2.5 mm2 copper, class 2.

    >>> dc_resistance_ohm_km(2.5)
    7.41
    """
    classes = known(_IEC_60228, material, "conductor material")
    table = known(classes, 5 if conductor_class == 6 else conductor_class, f"class of the {material} conductor")
    return known(table, size_mm2, f"size of a {material} conductor of class {conductor_class} in mm2")


def temperature_factor(temperature_c: float, material: str = "copper", practice: str = "iec60228") -> float:
    """How many times its resistance at 20 C a conductor has at another temperature.

    Limits: -40 C to 250 C, copper and aluminium; ``practice`` is ``iec60228`` (0.00393 copper, 0.00403 aluminium)
    or ``rounded`` (0.004 for both, as installation guides and the multipliers 1.04, 1.20 and 1.28 have it).
    Source: IEC 60228 (seen), the rounded multiplier 1.20 for 70 C (seen), the others (recomputed).
    Example: PVC at 70 C in installation practice, 1.20; by IEC 60228 1.1965.

    >>> f"{temperature_factor(70, practice='rounded'):.2f} {temperature_factor(70):.4f}"
    '1.20 1.1965'
    """
    within(temperature_c, -40, 250, "temperature of the conductor", "C")
    coefficient = known(known(_COEFFICIENT, practice, "temperature practice"), material, "conductor material")
    return 1 + coefficient * (temperature_c - 20)


def reactance_ohm_km(arrangement: str = "multicore") -> float:
    """Typical reactance of a conductor at 50 Hz by the way that it runs, in ohm/km.

    Limits: low-voltage cables at 50 Hz; ``multicore``, ``trefoil``, ``flat-touching``, ``spaced`` (0.13 to 0.15 are
    in print: the higher one), ``busbar``, and ``separate-pe``, a protective conductor that runs away from its
    lines: *at least* 0.3.
    Source: multicore and busbar: a published calculation sheet (seen); the rest (from memory).
    Example: a multi-core cable.

    >>> reactance_ohm_km("multicore")
    0.08
    """
    return known(_REACTANCE_OHM_KM, arrangement, "arrangement of the conductors")


def parallel_runs_ohm(one_ohm: complex, runs: int) -> complex:
    """Impedance of equal conductors in parallel, in ohm.

    Limits: 1 to 20 runs of the same size, material and length, so that they share the current equally.
    Source: a published calculation sheet divides by the number of runs (seen), e.g. 5 m of 4 x 300 mm2 at 0.0812
    and 0.090 ohm/km.
    Example: that sheet: 0.1015 and 0.1125 milliohm.

    >>> z = parallel_runs_ohm(5e-3 * (0.0812 + 0.090j), 4)
    >>> f"{z.real * 1e3:.4f} {z.imag * 1e3:.4f}"
    '0.1015 0.1125'
    """
    within(runs, 1, 20, "conductors in parallel", "")
    within(abs(one_ohm), 0, 1e6, "impedance of one conductor", "ohm")
    return one_ohm / runs


def core_impedance_ohm(
    size_mm2: float,
    length_m: float,
    *,
    material: str = "copper",
    conductor_class: int = 2,
    temperature_c: float = 20.0,
    practice: str = "iec60228",
    per_length_ohm_km: float = 0.08,
    runs: int = 1,
) -> complex:
    """Resistance and reactance of one core of a cable, in ohm; ``per_length_ohm_km`` is its reactance.

    Limits: standard sizes, 0 m to 50 km; d.c. resistance, so the skin effect (2 % at 240 mm2, more above) is left
    out.
    Source: IEC 60228 (seen) with :func:`temperature_factor`; the book "Basic Electrical Installation Work" (seen)
    works the example.
    Example: 30 m of 2.5 mm2 with 1.5 mm2: R1 + R2 = 0.585 ohm.

    >>> f"{(core_impedance_ohm(2.5, 30) + core_impedance_ohm(1.5, 30)).real:.3f}"
    '0.585'
    """
    within(length_m, 0, 50_000, "length of the cable", "m")
    within(per_length_ohm_km, 0, 10, "reactance of the cable", "ohm/km")
    resistance_ohm_km = dc_resistance_ohm_km(size_mm2, material, conductor_class)
    resistance_ohm_km *= temperature_factor(temperature_c, material, practice)
    return parallel_runs_ohm(complex(resistance_ohm_km, per_length_ohm_km) * length_m / 1000, runs)


def line_and_pe_ohm_km(line_mm2: float, pe_mm2: float) -> float:
    """R1 + R2: line and protective conductor of a copper cable together at 20 C, in ohm/km.

    Limits: class 2 copper, standard sizes, d.c. resistance.
    Source: a United Kingdom distributor's table and a guide of 2008, appendix 4 (seen); sum of two values of IEC
    60228 (recomputed).
    Example: 2.5 mm2 with 1.5 mm2.

    >>> f"{line_and_pe_ohm_km(2.5, 1.5):.2f}"
    '19.51'
    """
    return dc_resistance_ohm_km(line_mm2) + dc_resistance_ohm_km(pe_mm2)


def armour_ohm_km(size_mm2: float, cores: int) -> float:
    """Resistance at 20 C of the steel wire armour that serves as protective conductor, in ohm/km.

    Limits: two-, three- and four-core cables of 1.5 to 6 mm2; larger cables are not in the table and have to be
    declared.
    Source: a guide of 2008, table 4.4 (seen).
    Example: four-core 6 mm2.

    >>> armour_ohm_km(6, 4)
    4.3
    """
    within(cores, 2, 4, "cores of the armoured cable", "")
    return known(_ARMOUR_OHM_KM, size_mm2, "size of an armoured cable in mm2")[cores - 2]


def circular_mils_cmil(size: str) -> int:
    """Area of an American conductor size in circular mils, as NEC prints it.

    Limits: 14 to 1 AWG, 1/0 to 4/0, 250 to 2000 kcmil, written ``14``, ``1/0``, ``250``.
    Source: NEC chapter 9 table 8 (seen).
    Example: 4 AWG.

    >>> circular_mils_cmil("4")
    41740
    """
    return known(CIRCULAR_MILS, size, "American conductor size")


def awg_mm2(gauge: int) -> float:
    """Cross-section of a gauge of the American wire gauge in mm2; 1/0 to 4/0 are the gauges 0, -1, -2, -3.

    Limits: 4/0 to 40 AWG; a solid round wire.
    Source: ASTM B258, diameter 0.127 mm x 92^((36 - n)/39) (recomputed).
    Example: 14 AWG and 4/0.

    >>> f"{awg_mm2(14):.3f} {awg_mm2(-3):.1f}"
    '2.081 107.2'
    """
    within(gauge, -3, 40, "gauge", "AWG")
    return math.pi / 4 * (0.127 * math.pow(92, (36 - gauge) / 39)) ** 2


def american_mm2(size: str) -> float:
    """Cross-section of an American conductor size in mm2: by the gauge up to 4/0, by kcmil from 250 on.

    Limits: the sizes of :func:`circular_mils_cmil`.
    Source: ASTM B258; 1 kcmil is 0.50671 mm2 (recomputed).
    Example: 250 kcmil.

    >>> f"{american_mm2('250'):.1f}"
    '126.7'
    """
    area_cmil = circular_mils_cmil(size)
    if area_cmil >= 250_000:
        return area_cmil / 1000 * KCMIL_MM2
    return awg_mm2(1 - int(size[0]) if size.endswith("/0") else int(size))


def american_size(size_mm2: float) -> str:
    """The American conductor size that has a cross-section given in mm2.

    Limits: 14 AWG to 2000 kcmil, and within 0.2 % of a size: a metric cross-section is not an American size.
    Source: ASTM B258 and NEC chapter 9 table 8 (recomputed), which differ by up to 0.1 %.
    Example: 13.30 mm2 is 6 AWG.

    >>> american_size(13.30)
    '6'
    """
    for size in CIRCULAR_MILS:
        if abs(american_mm2(size) - size_mm2) <= 0.002 * american_mm2(size):
            return size
    raise ValueError(f"{size_mm2:g} mm2 is no American conductor size (14 AWG to 2000 kcmil)")


def nec_dc_ohm_km(size: str, material: str = "copper", stranded: bool = True) -> float:
    """Direct-current resistance at 75 C of an American conductor size, in ohm/km.

    Limits: uncoated; 14 AWG to 1000 kcmil; solid from 14 to 8 AWG only.
    Source: NEC chapter 9 table 8, ohm/kft: 6 AWG to 500 kcmil and the solid sizes (seen: web copy), stranded 14 to
    8 AWG and 600 kcmil and up (from memory).  That web copy labels the solid figures of 14 to 8 AWG "stranded";
    here they are the solid ones.
    Example: 14 AWG solid, 10.07 ohm/km.

    >>> f"{nec_dc_ohm_km('14', stranded=False):.2f}"
    '10.07'
    """
    table = _TABLE_8_STRANDED_OHM_KFT if stranded else _TABLE_8_SOLID_OHM_KFT
    copper, aluminium = known(table, size, "stranded conductor size" if stranded else "solid conductor size")
    ohm_kft = known({"copper": copper, "aluminium": aluminium}, material, "conductor material")
    return ohm_kft / KM_PER_KFT


def nec_ac_ohm_km(size: str, material: str = "copper", conduit: str = "pvc") -> complex:
    """Resistance and reactance at 60 Hz and 75 C of single conductors in conduit, in ohm/km.

    Limits: three single conductors; conduit ``pvc``, ``aluminium`` or ``steel``; 14 AWG (copper only) to 1000
    kcmil.
    Source: NEC chapter 9 table 9, ohm/kft: up to 300 kcmil (seen: web copy), above (from memory).  For 1/0 copper
    in aluminium conduit that copy prints 0.12; 0.13 (from memory) is used.
    Example: 1/0 copper in steel: 0.12 and 0.055 ohm/kft.

    >>> z = nec_ac_ohm_km("1/0", conduit="steel") * 0.3048
    >>> f"{z.real:.2f} {z.imag:.3f}"
    '0.12 0.055'
    """
    reactance, copper, aluminium = known(_TABLE_9_OHM_KFT, size, "conductor size of table 9")
    column = known({name: index for index, name in enumerate(_CONDUITS)}, conduit, "conduit")
    resistance = known({"copper": copper, "aluminium": aluminium}, material, "conductor material")
    if resistance is None:
        raise ValueError(f"table 9 has no aluminium conductor of {size} AWG")
    return complex(resistance[column], reactance[1 if conduit == "steel" else 0]) / KM_PER_KFT


def nec_temperature_factor(temperature_c: float, material: str = "copper") -> float:
    """How many times its resistance at 75 C a conductor of the NEC tables has at another temperature.

    Limits: -40 C to 250 C; copper and aluminium.
    Source: NEC chapter 9 table 8, note 2: 0.00323 copper, 0.00330 aluminium (from memory).
    Example: copper at 20 C, about 1/1.216 of its resistance at 75 C.

    >>> f"{nec_temperature_factor(20):.3f}"
    '0.822'
    """
    within(temperature_c, -40, 250, "temperature of the conductor", "C")
    return 1 + known(_NEC_COEFFICIENT, material, "conductor material") * (temperature_c - 75)
