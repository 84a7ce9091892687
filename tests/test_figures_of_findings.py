"""The figures in findings on whole descriptions, worked out by hand from the tables of conductors, the standards and the entries.

Conductors have the resistance of IEC 60228 at 20 C, times 1.2 at 70 C, and 0.08 ohm/km of reactance.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from by_hand import BY_ID
from onebond.testing import base, inspected


class Figures(NamedTuple):
    """A base, edits of it, a subject that is found then, and figures of that finding."""

    rule: str
    base: str
    edits: tuple[tuple[str, str], ...]
    subject: str
    figures: dict[str, str]
    rulebook: str = ""


_PUMP = "pump: {from: hut-rcd, cores: L1 N PE, size: 2.5 mm2, length: 150 m"
_COOKER = "size: 6 mm2, length: 9 m"

WORKED = (
    # 5 kVA / 230 V x 2 = 43.48 A; 4.3 times 10 A; the PE of 150 m has 7.41 x 1.2 ohm/km, with its reactance 1.334 ohm: 57.99 V;
    # IEC 60364-4-41, 415.2.2: 50 V / 43.48 A = 1.15 ohm
    Figures(
        "source-too-weak-to-trip",
        "island-hut",
        ((_PUMP, _PUMP.replace("hut-rcd", "hut")),),
        "pump",
        {
            "limit of the source": "43.5 A",
            "within": "0.4 s",
            "times the rating of the mcb in pump": "4.3",
            "frame to the main earthing terminal": "58 V",
            "largest bonding resistance": "1.15 ohm",
        },
    ),
    # 0.35 ohm, two cores of 16 mm2 and 12 m: 2 x 1.15 x 1.2 x 0.012 = 0.0331 ohm, two of 6 mm2 and 165 m: 2 x 3.08 x 1.2 x 0.165 =
    # 1.2197 ohm, 2 x 0.08 x 0.177 = 0.0283 ohm of reactance: 1.603 ohm, 143.5 A; BS 7671 counts on 0.95 of the voltage: 136.3 A
    *(
        Figures(
            "disconnection-too-slow",
            "measured-house",
            ((_COOKER, "size: 6 mm2, length: 165 m"),),
            "cooker",
            {"fault": "L1", "loop impedance": "1.60 ohm", "fault current": current, "limit": limit},
            book,
        )
        for book, current, limit in (("iec", "143 A", "0.4 s"), ("bs7671", "136 A", "0.4 s"), ("nec", "143 A", "5 s"))
    ),
    # IEC 60364-4-41, 411.5.3: 180 ohm x 300 mA = 54 V
    Figures(
        "electrode-resistance-high",
        "measured-farm",
        (("resistance: 20 ohm", "resistance: 180 ohm"),),
        "rods",
        {
            "resistance": "180 ohm",
            "rated residual current": "300 mA",
            "voltage at that current": "54.0 V",
            "device": "rcd-main",
        },
    ),
    # 11 mA on L1 and 1 mA on L2: with the lamps off the 11 mA are there alone
    Figures(
        "rcd-trips-in-service",
        "loaded-joinery",
        (("load: 2 kW, leakage: 2 mA", "load: 2 kW, leakage: 11 mA"),),
        "rcd-main",
        {"standing leakage": "11.0 mA", "rated residual current": "30.0 mA"},
    ),
    # 300 mA ahead of 30 mA
    Figures(
        "rcd-not-selective",
        "measured-farm",
        (("type: A, delay: S", "type: A"),),
        "rcd-main",
        {"ratio of rated residual currents": "10"},
    ),
)


@pytest.mark.parametrize("case", WORKED, ids=lambda case: f"{case.rule}-{case.rulebook or 'iec'}")
def test_the_figures_of_a_finding(case: Figures) -> None:
    text = base("onebond_rules", case.base)
    for old, new in case.edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    site = inspected(text, (BY_ID[case.rule],), case.rulebook).site
    (found,) = (one for one in site.results if one.kind == "fail" and one.subject == case.subject)
    assert {name: value for name, value in found.figures if name in case.figures} == case.figures
