"""Earth electrodes: resistance to the mass of earth in ohm, from geometry in m and soil resistivity in ohm m.

The formulas hold for even soil.  Where published formulas disagree, the function that is used says which one it is, and the
approximate one stands beside it under a name of its own.
"""

from __future__ import annotations

import math

from onebond.circuit.components.refusal import known, within

# Factor of n rods in a straight line (BS 7430).
_IN_LINE: dict[int, float] = {2: 1.00, 3: 1.66, 4: 2.15, 5: 2.54, 6: 2.87, 7: 3.15, 8: 3.39, 9: 3.61, 10: 3.81}

SOIL_OHM_M: dict[str, tuple[float, float]] = {
    "swamp": (1, 30), "silt alluvium": (20, 100), "humus": (10, 150), "peat": (5, 100), "soft clay": (50, 50),
    "marl and compacted clay": (100, 200), "Jurassic marl": (30, 40), "clayey sand": (50, 500),
    "siliceous sand": (200, 300), "stony ground": (1500, 3000), "grass-covered stony sub-soil": (300, 500),
    "chalk": (100, 300), "limestone": (1000, 5000), "fissured limestone": (500, 1000), "schist or shale": (50, 300),
    "mica schist": (800, 800), "granite and sandstone": (1500, 10000), "altered granite": (100, 600),
}  # fmt: skip


def _soil(soil_ohm_m: float) -> None:
    within(soil_ohm_m, 0.1, 100_000, "soil resistivity", "ohm m")


def soil_ohm_m(name: str) -> tuple[float, float]:
    """The range of resistivity of a soil in ohm m, lowest and highest.

    Limits: the soils of the table; it moves with water and frost, and only a measurement tells the site's.
    Source: a reprint of the IEC table (seen).
    Example: chalk.

    >>> soil_ohm_m("chalk")
    (100, 300)
    """
    return known(SOIL_OHM_M, name, "soil")


def rod_ohm(soil_ohm_m: float, length_m: float, diameter_m: float) -> float:
    """Resistance of one driven rod or pipe, in ohm.

    Limits: length 0.3 to 100 m in the soil and at least ten diameters.
    Source: rho / (2 pi L) (ln(8 L / d) - 1), BS 7430, IEEE 142, Dwight (seen: three texts).  This one is used, not
    rho / L.
    Example: 100 ohm m, 2.4 m x 16 mm: 40.39 ohm.

    >>> f"{rod_ohm(100, 2.4, 0.016):.2f}"
    '40.39'
    """
    _soil(soil_ohm_m)
    within(length_m, 0.3, 100, "length of the rod", "m")
    within(diameter_m, 0.001, length_m / 10, "diameter of the rod", "m")
    return soil_ohm_m / (2 * math.pi * length_m) * (math.log(8 * length_m / diameter_m) - 1)


def rods_in_line_ohm(soil_ohm_m: float, length_m: float, diameter_m: float, rods: int, spacing_m: float) -> float:
    """Resistance of equal rods in a straight line, joined, in ohm.

    Limits: 2 to 10 rods, spacing from one rod length to 1 km.
    Source: R / n (1 + lambda a), a = rho / (2 pi R s), BS 7430 (seen), its table of lambda (from memory).  A
    published example of 9 rods (55 ohm m, 3 m x 25 mm, 10 m apart) takes lambda = 1 and gets 1.99 ohm; the table's
    3.61 gives 2.253 and is used.
    Example: that one, with the table.

    >>> f"{rods_in_line_ohm(55, 3, 0.025, 9, 10):.3f}"
    '2.253'
    """
    factor = known(_IN_LINE, rods, "rods in line")
    one_ohm = rod_ohm(soil_ohm_m, length_m, diameter_m)
    within(spacing_m, length_m, 1000, "spacing of the rods (at least their length)", "m")
    return one_ohm / rods * (1 + factor * soil_ohm_m / (2 * math.pi * one_ohm * spacing_m))


def two_rods_close_ohm(soil_ohm_m: float, length_m: float, diameter_m: float, spacing_m: float) -> float:
    """Resistance of two equal rods nearer to each other than their length, joined, in ohm.

    Limits: spacing from twenty diameters to one length.
    Source: Dwight, "Calculation of Resistances to Ground" (from memory; the mean potential of one rod in the field
    of the other, integrated, agrees within 0.01 %: recomputed).
    Example: 8 ft x 5/8 in, 6 ft apart, 100 ohm m: 23.3 ohm, where one rod has 39.90 ohm.

    >>> f"{two_rods_close_ohm(100, 2.4384, 0.015875, 1.8288):.1f}"
    '23.3'
    """
    rod_ohm(soil_ohm_m, length_m, diameter_m)
    within(spacing_m, 20 * diameter_m, length_m, "spacing of the rods (at most their length)", "m")
    ratio = spacing_m / length_m
    bracket = math.log(8 * length_m / diameter_m) + math.log(4 / ratio) - 2 + ratio / 2 - ratio**2 / 16 + ratio**4 / 512
    return soil_ohm_m / (4 * math.pi * length_m) * bracket


def rods_ohm(
    soil_ohm_m: float, length_m: float, diameter_m: float, rods: int = 1, spacing_m: float | None = None
) -> float:
    """Resistance of one rod or of several equal ones in a straight line, in ohm.

    Limits: 1 to 10 rods; two may be nearer than their length, three and more may not.
    Source: :func:`rod_ohm`, :func:`rods_in_line_ohm` (BS 7430, seen), :func:`two_rods_close_ohm` (from memory).
    Example: two rods of 2.4 m x 16 mm in 120 ohm m, 5 m apart.

    >>> f"{rods_ohm(120, 2.4, 0.016, 2, 5):.1f}"
    '26.1'
    """
    if rods == 1:
        return rod_ohm(soil_ohm_m, length_m, diameter_m)
    if spacing_m is None:
        raise ValueError("several rods need their spacing")
    if rods == 2 and spacing_m < length_m:
        return two_rods_close_ohm(soil_ohm_m, length_m, diameter_m, spacing_m)
    return rods_in_line_ohm(soil_ohm_m, length_m, diameter_m, rods, spacing_m)


def horizontal_ohm(soil_ohm_m: float, length_m: float, diameter_m: float, depth_m: float) -> float:
    """Resistance of a straight horizontal conductor in the soil, in ohm.

    Limits: length 1 m to 1 km and at least ten times the depth; depth 0.1 to 5 m and at least five diameters.
    Source: Dwight, buried horizontal wire (from memory).  The figure 8.575 ohm of the comparison with 2 rho / L
    (recomputed) comes out of it with 8 mm at 0.6 m; this one is used, the approximation is 17 % higher.
    Example: 100 ohm m, 20 m of 8 mm, 0.6 m deep.

    >>> f"{horizontal_ohm(100, 20, 0.008, 0.6):.3f}"
    '8.575'
    """
    _soil(soil_ohm_m)
    within(length_m, 1, 1000, "length of the conductor", "m")
    within(depth_m, 0.1, min(5, length_m / 10), "depth of the conductor", "m")
    within(diameter_m, 0.001, depth_m / 5, "diameter of the conductor", "m")
    half_m, twice_m = length_m / 2, 2 * depth_m
    ratio = twice_m / half_m
    bracket = math.log(8 * half_m / diameter_m) + math.log(4 / ratio) - 2 + ratio / 2 - ratio**2 / 16 + ratio**4 / 512
    return soil_ohm_m / (4 * math.pi * half_m) * bracket


def ring_ohm(soil_ohm_m: float, ring_diameter_m: float, diameter_m: float, depth_m: float) -> float:
    """Resistance of a ring of bare conductor in the soil, in ohm.

    Limits: ring of 1 to 500 m diameter, at most a fifth of it deep; depth 0.1 to 5 m and at least five conductor
    diameters.
    Source: rho / (2 pi^2 D) (ln(8 D / d) + ln(4 D / s)), s twice the depth, Dwight (from memory).  This one is
    used, not rho / (4 r).
    Example: 100 ohm m, 10 m ring of 8 mm at 0.6 m: 6.4 ohm; the approximation says 5.

    >>> f"{ring_ohm(100, 10, 0.008, 0.6):.1f}"
    '6.4'
    """
    _soil(soil_ohm_m)
    within(ring_diameter_m, 1, 500, "diameter of the ring", "m")
    within(depth_m, 0.1, min(5, ring_diameter_m / 5), "depth of the ring", "m")
    within(diameter_m, 0.001, depth_m / 5, "diameter of the conductor", "m")
    bracket = math.log(8 * ring_diameter_m / diameter_m) + math.log(2 * ring_diameter_m / depth_m)
    return soil_ohm_m / (2 * math.pi**2 * ring_diameter_m) * bracket


def plate_ohm(soil_ohm_m: float, area_m2: float) -> float:
    """Resistance of a plate of an area in m2 (one face counted), in ohm.

    Limits: 0.05 to 20 m2, buried well below the surface.
    Source: rho / 4 sqrt(pi / A), BS 7430 (from memory, recomputed).  The perimeter formula of
    :func:`plate_approximate_ohm` gives less than half of it for 0.6 m x 0.6 m (33.3 against 73.9 ohm): this one,
    the higher, is used.
    Example: 100 ohm m, 1 m2: 44.31 ohm.

    >>> f"{plate_ohm(100, 1):.2f}"
    '44.31'
    """
    _soil(soil_ohm_m)
    within(area_m2, 0.05, 20, "area of the plate", "m2")
    return soil_ohm_m / 4 * math.sqrt(math.pi / area_m2)


def rod_approximate_ohm(soil_ohm_m: float, length_m: float) -> float:
    """Resistance of a rod by the rule of thumb rho / L, in ohm.

    Limits: rods of 1 to 10 m.
    Source: IEC 60364-5-54 annex D, an earth tester's manual (seen).
    Example: 3 m in 100 ohm m: 33.33 ohm; the full formula has 33.49.

    >>> f"{rod_approximate_ohm(100, 3):.2f}"
    '33.33'
    """
    _soil(soil_ohm_m)
    within(length_m, 1, 10, "length of the rod", "m")
    return soil_ohm_m / length_m


def horizontal_approximate_ohm(soil_ohm_m: float, length_m: float) -> float:
    """Resistance of a horizontal conductor by the rule of thumb 2 rho / L, in ohm.

    Limits: 5 m to 200 m.
    Source: IEC 60364-5-54 annex D, an earth tester's manual (seen).
    Example: 20 m in 100 ohm m: 10 ohm.

    >>> horizontal_approximate_ohm(100, 20)
    10.0
    """
    _soil(soil_ohm_m)
    within(length_m, 5, 200, "length of the conductor", "m")
    return 2 * soil_ohm_m / length_m


def ring_approximate_ohm(soil_ohm_m: float, radius_m: float) -> float:
    """Resistance of a mesh or ring of a mean radius by rho / (4 r), in ohm: a full disc, hence too low for a lone ring.

    Limits: radius 0.5 to 250 m.
    Source: an earth tester's manual (seen).
    Example: 5 m in 100 ohm m: 5 ohm.

    >>> ring_approximate_ohm(100, 5)
    5.0
    """
    _soil(soil_ohm_m)
    within(radius_m, 0.5, 250, "radius of the ring", "m")
    return soil_ohm_m / (4 * radius_m)


def plate_approximate_ohm(soil_ohm_m: float, perimeter_m: float) -> float:
    """Resistance of a plate buried upright, both faces in the soil, by 0.8 rho / perimeter, in ohm.

    Limits: perimeter 1 to 20 m.  Less than half of :func:`plate_ohm`; not used unless it is asked for.
    Source: IEC 60364-5-54 annex D, "Electrical Installation Guide" (from memory).
    Example: 0.6 m x 0.6 m in 100 ohm m: 33.3 ohm.

    >>> f"{plate_approximate_ohm(100, 2.4):.1f}"
    '33.3'
    """
    _soil(soil_ohm_m)
    within(perimeter_m, 1, 20, "perimeter of the plate", "m")
    return 0.8 * soil_ohm_m / perimeter_m
