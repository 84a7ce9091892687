"""Rules of sizes on conductors made by hand: each table and each least on either side, what is not written, and the words.

The sizes are those of IEC 60364-5-54 (table 54.2: the lines up to 16 mm2, then 16 mm2, from 35 mm2 on half of them; 543.1.2: I sqrt(t) / k,
with k = 143 for copper of its own under PVC and 95 for aluminium, tables A.54.2 from memory), of BS 7671 table 54.8 and of NEC 250.66,
250.102(C)(1) and 250.122.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from by_hand import said
from onebond.facts.sizes import Heat, Lines
from onebond.model import Size
from onebond.result import Mention
from onebond.rule import PASS, Finding, NotApplicable, Protective, Unknown

AT = Mention("tails", ("connections", "tails"), "the largest line conductor")
SILENT = Mention("spur", ("connections", "spur"), "its size is not written")
HOT = Heat(1e8, 10_000.0, 1.0, "lamps")  # 10 kA for 1 s: 10 000 / 143 = 69.9 mm2
COLD = Heat(1e4, 100.0, 1.0, "lamps")  # 100 A for 1 s: 0.7 mm2
SHORT = Heat(1e8, 31_623.0, 0.1, "lamps")  # as hot as HOT, in the shortest time that a standard promises


class Conductor(Protective):
    """A protective conductor with the worst fault that it carries; without one it is not known."""

    def __init__(
        self, sort: str, mm2: float, lines: Lines, heat: Heat | None = None, text: str = "", **more: Any
    ) -> None:
        super().__init__(
            "pe-1", ("connections", "pe-1"), sort, Size(mm2, text or f"{mm2:g} mm2"), "size", lines, **more
        )
        self._given = heat

    def _hottest(self, fuses: str) -> Heat:
        if self._given is None:
            raise Unknown("the rating of q-1", ())
        return self._given


def lines(mm2: float | None, lacking: Mention | None = None) -> Lines:
    return Lines(mm2, "copper", AT if mm2 else None, lacking)


def found(verdict: object, asked: str, name: str) -> Finding:
    assert isinstance(verdict, Finding), verdict
    assert dict(verdict.figures)[name] == asked
    return verdict


ROD = (SimpleNamespace(shape="rod"),)
RING = (SimpleNamespace(shape="ring"),)


# -- earthing conductors ------------------------------------------------------------------------------------------------------


def earthing(
    mm2: float, by: Lines, rulebook: str = "iec", heat: Heat | None = HOT, sort: str = "earthing", **more: Any
) -> object:
    return said("earthing-conductor-small", Conductor(sort, mm2, by, heat, **more), rulebook)


@pytest.mark.parametrize(
    ("rulebook", "material", "least"),
    [
        ("iec", "copper", 6.0),  # 542.3.1
        ("iec", "aluminium", 16.0),
        ("bs7671", "copper", 2.5),  # table 54.1, protected
        ("as-nzs", "copper", 4.0),  # 5.3.3.2
        ("sans", "copper", 6.0),
    ],
)
def test_the_least_of_an_earthing_conductor(rulebook: str, material: str, least: float) -> None:
    def verdict(mm2: float) -> object:
        return earthing(mm2, lines(1.5), rulebook, material=material)

    assert verdict(least) is PASS
    small = found(verdict(least - 0.5), f"{least:g} mm2", "asked for")
    assert small.message == "pe-1 is smaller than any earthing conductor of its material may be"


def test_an_earthing_conductor_by_its_lines() -> None:
    assert earthing(16, lines(25)) is PASS
    small = found(earthing(10, lines(25)), "16 mm2", "asked for")
    assert small.message == "pe-1 is smaller than the line conductors at its board ask for" and small.mentions == (AT,)
    assert isinstance(earthing(10, lines(25), heat=COLD), NotApplicable)
    with pytest.raises(Unknown, match="the rating of q-1"):
        earthing(10, lines(25), heat=None)
    # NEC 250.66 judges by the table alone, and knows no least beside it
    found(earthing(5.26, lines(42.4), "nec", COLD), "6 AWG", "asked for")
    found(earthing(0.5, lines(2.08), "nec"), "8 AWG", "asked for")
    found(earthing(0.5, lines(2.08), "nec", material="aluminium"), "6 AWG", "asked for")


def test_an_earthing_conductor_beside_lines_without_a_size() -> None:
    # what is written asks for more than it has: no other line can ask for less
    found(earthing(10, lines(25, SILENT)), "16 mm2", "asked for")
    for mm2, by in ((16, lines(25, SILENT)), (16, lines(None, SILENT))):
        with pytest.raises(Unknown, match="the size of spur"):
            earthing(mm2, by)


def test_an_earthing_conductor_by_the_neutral_of_the_supply() -> None:
    # BS 7671, table 54.8: a neutral up to 35 mm2 asks for 10 mm2, above that for 16 mm2
    def verdict(mm2: float, neutral: Lines, rulebook: str = "bs7671") -> object:
        return earthing(mm2, lines(6), rulebook, pme=neutral)

    assert verdict(10, lines(35)) is PASS
    small = found(verdict(6, lines(35)), "10 mm2", "asked for")
    assert small.message == "pe-1 is smaller than the neutral of the supply asks for"
    found(verdict(10, lines(50)), "16 mm2", "asked for")
    assert verdict(6, lines(50), "iec") is PASS
    assert earthing(6, lines(6), "bs7671") is PASS
    found(verdict(6, lines(35, SILENT)), "10 mm2", "asked for")
    for neutral in (lines(35, SILENT), lines(None, SILENT)):
        with pytest.raises(Unknown, match="the size of spur"):
            verdict(10, neutral)
    # a supply that nothing is joined to asks for nothing
    assert verdict(6, lines(None)) is PASS


def test_a_conductor_to_an_electrode() -> None:
    # IEC 60364-5-54, 542.3.1: in the soil no more than the least is asked for; NEC 250.66(A): to rods no more than 6 AWG
    electrode = {"sort": "electrode", "soil": ROD}
    assert earthing(6, lines(95), **electrode) is PASS
    least = found(earthing(4, lines(95), **electrode), "6 mm2", "asked for")
    assert least.message.startswith("the conductor of pe-1 is smaller") and least.mentions == ()
    assert earthing(13.3, lines(107), "nec", **electrode) is PASS
    # 2/0 AWG or 3/0 AWG: 4 AWG, and to rods no more than 6 AWG
    rods = found(earthing(8.37, lines(85), "nec", **electrode), "6 AWG", "asked for")
    assert rods.mentions == ()
    found(earthing(13.3, lines(85), "nec", sort="electrode", soil=RING), "4 AWG", "asked for")
    # AS/NZS 3000, table 5.1: 35 mm2 of copper ask for 10 mm2; the heat of faults does not pass the soil
    found(earthing(6, lines(35), "as-nzs", None, **electrode), "10 mm2", "asked for")


def test_the_most_that_is_asked_of_an_earthing_conductor() -> None:
    # IEC 60364-5-54, 543.1.1: without a metallic way back no more than 25 mm2 of copper, 35 mm2 of aluminium
    found(earthing(25, lines(95)), "47.5 mm2", "asked for")
    assert earthing(25, lines(95), no_return=True) is PASS
    found(earthing(16, lines(95), no_return=True), "25 mm2", "asked for")
    assert earthing(35, lines(95), no_return=True, material="aluminium") is PASS
    found(earthing(25, lines(95), no_return=True, material="aluminium"), "35 mm2", "asked for")
    assert earthing(16, lines(25), no_return=True) is PASS
    found(earthing(10, lines(25), no_return=True), "16 mm2", "asked for")
    # AS/NZS 3000, table 5.1: 10 mm2 for lines of 35 mm2 and 120 mm2 for 630 mm2, TT or not
    found(earthing(6, lines(35), "as-nzs", no_return=True), "10 mm2", "asked for")
    found(earthing(115, lines(630), "as-nzs", Heat(1e9, 31_623.0, 1.0, "lamps")), "120 mm2", "asked for")
    # NEC 250.66: 4/0 to 350 kcmil ask for 2 AWG, TT or not
    found(earthing(25, lines(152), "nec", no_return=True), "2 AWG", "asked for")


# -- protective conductors ----------------------------------------------------------------------------------------------------


def pe(mm2: float, by: Lines, rulebook: str = "iec", heat: Heat | None = HOT, **more: Any) -> object:
    return said("pe-small", Conductor("pe", mm2, by, heat, **more), rulebook)


CORE = SimpleNamespace(cores=("L1", "N", "PE"), pe_by=None, runs=None, insulation_c=None, size=Size(25.0, "25 mm2"))


@pytest.mark.parametrize(("material", "least"), [("copper", 2.5), ("aluminium", 16.0)])
def test_the_least_of_a_protective_conductor_alone(material: str, least: float) -> None:
    # IEC 60364-5-54, 543.1.3: 2.5 mm2 of copper or 16 mm2 of aluminium, protected
    assert pe(least, lines(1.5), material=material) is PASS
    found(pe(least - 0.5, lines(1.5), material=material), f"{least:g} mm2", "the least")


def test_a_protective_conductor_alone_by_its_device() -> None:
    # NEC 250.122: 14 AWG of copper or 12 AWG of aluminium up to 15 A, alone or not
    ahead = (SimpleNamespace(id="q", kind="mcb", rating_a=15.0), "feed")
    assert pe(2.08, lines(2.08), "nec", ahead=ahead) is PASS
    assert pe(3.31, lines(3.31), "nec", ahead=ahead, material="aluminium") is PASS
    found(pe(0.5, lines(2.08), "nec", ahead=ahead), "14 AWG", "by the table")
    found(pe(0.5, lines(3.31), "nec", ahead=ahead, material="aluminium"), "12 AWG", "by the table")


def test_a_core_of_a_cable_may_be_smaller_than_one_alone() -> None:
    assert pe(1.5, lines(1.5), link=CORE) is PASS
    found(pe(1.5, lines(1.5)), "2.5 mm2", "the least")


def test_a_protective_conductor_by_its_lines() -> None:
    assert pe(16, lines(25)) is PASS
    small = found(pe(10, lines(25)), "16 mm2", "by the table")
    assert small.level is None
    assert (
        small.message == "the PE of pe-1 is smaller than its lines ask for, and not proved to stand the heat of a fault"
    )
    assert dict(small.figures)["that fault"] == "10.0 kA for 1 s at lamps"
    # what is cleared in the shortest time that a standard promises may be quicker, and no hotter than it stands
    assert found(pe(10, lines(25), heat=SHORT), "16 mm2", "by the table").level == "warning"
    assert isinstance(pe(10, lines(25), heat=COLD), NotApplicable)
    with pytest.raises(Unknown, match="the rating of q-1"):
        pe(10, lines(25), heat=None)
    with pytest.raises(Unknown, match="the size of spur"):
        pe(16, lines(25, SILENT))
    assert isinstance(pe(10, lines(25), assumed=True), NotApplicable)


def test_a_protective_conductor_by_its_device() -> None:
    # NEC 250.122: 10 AWG (5.26 mm2) behind 21 to 60 A
    ahead = (SimpleNamespace(id="q", kind="mcb", rating_a=60.0), "feed")
    assert pe(5.26, lines(16), "nec", COLD, ahead=ahead) is PASS
    small = found(pe(3.31, lines(16), "nec", COLD, ahead=ahead), "10 AWG", "by the table")
    assert small.message == "the PE of pe-1 is smaller than the overcurrent device ahead asks for"
    assert [name for name, _ in small.figures] == ["written", "by the table"]


def test_a_conduit_serves_as_it_is_in_one_rulebook() -> None:
    # NEC 250.118; elsewhere its cross-section counts
    conduit = SimpleNamespace(
        cores=("L1", "N", "PE"), pe_by="conduit", runs=None, insulation_c=None, size=Size(25.0, "25 mm2")
    )
    ahead = (SimpleNamespace(id="q", kind="mcb", rating_a=60.0), "feed")
    assert isinstance(pe(1.0, lines(16), "nec", link=conduit, material="steel", ahead=ahead), NotApplicable)
    armour = SimpleNamespace(**{**vars(conduit), "pe_by": "armour"})
    found(pe(1.0, lines(16), "nec", link=armour, material="steel", ahead=ahead), "10 AWG", "by the table")
    # BS 7671, table 54.5 ?: k = 47 for a conduit of steel, against 115 of the copper lines in it: 16 mm2 x 115 / 47 = 39.1 mm2
    found(pe(1.0, lines(16), link=conduit, material="steel"), "39.1 mm2", "by the table")


# -- PEN conductors ----------------------------------------------------------------------------------------------------------


def pen(mm2: float, by: Lines, rulebook: str = "iec", material: str = "copper") -> object:
    return said("pen-small", Conductor("pen", mm2, by, material=material), rulebook)


@pytest.mark.parametrize(
    ("rulebook", "material", "least"),
    [
        ("iec", "copper", 10.0),
        ("iec", "aluminium", 16.0),
        ("bs7671", "copper", 10.0),
        ("sans", "aluminium", 16.0),
        ("as-nzs", "copper", 4.0),
    ],
)
def test_the_least_of_a_pen(rulebook: str, material: str, least: float) -> None:
    assert pen(least, lines(4), rulebook, material) is PASS
    found(pen(least - 0.5, lines(4), rulebook, material), f"{least:g} mm2", "the least")


def test_a_pen_by_a_table() -> None:
    # IEC 60364-5-54, 543.4.1 asks for no more than the least; NEC 250.102(C)(1): 2/0 or 3/0 AWG (85 mm2) ask for 4 AWG
    assert pen(10, lines(300)) is PASS
    assert pen(21.15, lines(85), "nec") is PASS
    found(pen(13.3, lines(85), "nec"), "4 AWG", "the least")
    found(pen(0.5, lines(4), "nec"), "8 AWG", "the least")
    found(pen(0.5, lines(4), "nec", "aluminium"), "6 AWG", "the least")
    with pytest.raises(Unknown, match="the size of spur"):
        pen(50, lines(None, SILENT), "nec")


# -- links -------------------------------------------------------------------------------------------------------------------


def link(mm2: float, by: Lines, rulebook: str = "iec", heat: Heat | None = HOT, too_many: bool = False) -> object:
    one = Conductor("bond", mm2, by, heat)
    one.too_many = too_many
    return said("bond-small", one, rulebook)


def test_a_link_by_the_lines_at_its_place() -> None:
    assert link(16, lines(25)) is PASS
    small = found(link(10, lines(25)), "16 mm2", "by the table")
    assert (small.level, small.mentions, small.put_right) == (None, (AT,), "make pe-1 16 mm2 or larger")
    assert dict(small.figures)["by the heat of a fault"] == "69.9 mm2"
    assert found(link(10, lines(25), heat=SHORT), "16 mm2", "by the table").level == "warning"
    assert found(link(10, lines(25)._replace(at=None)), "16 mm2", "by the table").mentions == ()
    assert isinstance(link(10, lines(25), heat=COLD), NotApplicable)
    assert isinstance(link(1.5, lines(25), too_many=True), NotApplicable)
    with pytest.raises(Unknown, match="the rating of q-1"):
        link(10, lines(25), heat=None)


def test_a_link_beside_lines_without_a_size() -> None:
    found(link(10, lines(25, SILENT)), "16 mm2", "by the table")
    for mm2, by in ((16, lines(25, SILENT)), (16, lines(None, SILENT))):
        with pytest.raises(Unknown, match="the size of spur"):
            link(mm2, by)


def test_a_link_by_one_table_alone() -> None:
    # NEC 250.102(C)(1): the heat of faults is no way out
    small = found(link(13.3, lines(85), "nec", COLD), "4 AWG", "by the table")
    assert [name for name, _ in small.figures] == ["written", "by the table"] and small.level is None


# -- bonding conductors -------------------------------------------------------------------------------------------------------


def bonding(
    mm2: float, sort: str = "main-bonding", rulebook: str = "iec", by: Lines | None = None, **more: Any
) -> object:
    return said("bonding-conductor-small", Conductor(sort, mm2, by or lines(25), None, **more), rulebook)


def test_main_bonding_is_half_of_the_earthing_conductor() -> None:
    # IEC 60364-5-54, 544.1.1: half of it, at least 6 mm2 of copper or 16 mm2 of aluminium, no more than 25 mm2 of copper
    assert bonding(8) is PASS
    found(bonding(7), "8 mm2", "asked for")
    assert bonding(6, by=lines(10)) is PASS
    found(bonding(5, by=lines(10)), "6 mm2", "asked for")
    assert bonding(25, by=lines(240)) is PASS
    found(bonding(16, by=lines(240)), "25 mm2", "asked for")
    found(bonding(10, material="aluminium"), "16 mm2", "asked for")


def test_main_bonding_beside_lines_without_a_size() -> None:
    found(bonding(7, by=lines(25, SILENT)), "8 mm2", "asked for")
    for mm2, by in ((8, lines(25, SILENT)), (25, lines(None, SILENT))):
        with pytest.raises(Unknown, match="the size of spur"):
            bonding(mm2, by=by)


def test_main_bonding_by_the_neutral_of_the_supply() -> None:
    # BS 7671, table 54.8: a neutral up to 35 mm2 asks for 10 mm2
    assert bonding(10, rulebook="bs7671", pme=lines(35)) is PASS
    found(bonding(8, rulebook="bs7671", pme=lines(35)), "10 mm2", "asked for")
    assert bonding(8, rulebook="bs7671") is PASS
    assert bonding(8, pme=lines(35)) is PASS
    found(bonding(8, rulebook="bs7671", pme=lines(35, SILENT)), "10 mm2", "asked for")
    with pytest.raises(Unknown, match="the size of spur"):
        bonding(10, rulebook="bs7671", pme=lines(35, SILENT))


def test_main_bonding_by_other_rulebooks() -> None:
    # NEC 250.102(C)(1): 2/0 or 3/0 AWG ask for 4 AWG; AS/NZS 3000, 5.6.3.2: 4 mm2 whatever the lines
    assert bonding(21.15, rulebook="nec", by=lines(85)) is PASS
    found(bonding(13.3, rulebook="nec", by=lines(85)), "4 AWG", "asked for")
    found(bonding(0.5, rulebook="nec", by=lines(2.08)), "8 AWG", "asked for")
    found(bonding(0.5, rulebook="nec", by=lines(2.08), material="aluminium"), "6 AWG", "asked for")
    assert bonding(4, rulebook="as-nzs", by=lines(240)) is PASS
    found(bonding(2.5, rulebook="as-nzs", by=lines(1.5)), "4 mm2", "asked for")
    found(bonding(10, rulebook="as-nzs", by=lines(1.5), material="aluminium"), "16 mm2", "asked for")


def test_supplementary_bonding() -> None:
    # IEC 60364-5-54, 544.2.1: no less than the smaller protective conductor of the two, and 2.5 mm2 where it is protected
    def verdict(mm2: float, first: float, second: float, rulebook: str = "iec") -> object:
        return bonding(mm2, "bonding", rulebook, other_pe=(lines(first), lines(second)))

    assert verdict(4, 4, 10) is PASS
    found(verdict(2.5, 4, 10), "4 mm2", "asked for")
    assert verdict(2.5, 1.5, 1.5) is PASS
    found(verdict(2, 1.5, 1.5), "2.5 mm2", "asked for")
    with pytest.raises(Unknown, match="the size of spur"):
        bonding(4, "bonding", other_pe=(lines(4), lines(None, SILENT)))
    assert isinstance(verdict(1, 16, 16, "nec"), NotApplicable)
    assert isinstance(verdict(4, 16, 16, "as-nzs"), NotApplicable)
