"""Rules at their limits to the last digit: exactly at a limit, the next number on either side, and what is no number at all.

The limits are those of the clauses beside them.  What is not a number passes nowhere: a rule passes only what is within its limit.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from by_hand import by_hand, said
from onebond.facts.failures import Shock
from onebond.model import Device
from onebond.result import Mention
from onebond.rule import (
    PASS,
    Cleared,
    Drop,
    EarthElectrode,
    EarthFault,
    Exempt,
    Failure,
    Finding,
    NotApplicable,
    Peak,
    PeCurrent,
    RcdInService,
    RcdOnWay,
    Unknown,
    figure,
)

NAN = math.nan
TN = SimpleNamespace(it=False)
IT = SimpleNamespace(it=True)
LATE = Cleared(SimpleNamespace(certain_s=None, possible_from_s=None), "", None, "")  # type: ignore[arg-type]
LIMITED = LATE._replace(limited_by="inverter")
NOT_WRITTEN = Unknown("the length of lamps", ("circuits", "lamps"))


def above(value: float) -> float:
    return math.nextafter(value, math.inf)


def below(value: float) -> float:
    return math.nextafter(value, -math.inf)


# -- the figures themselves --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.1, "A", "0.100 A"),
        (below(0.1), "A", "100 mA"),
        (0.0226, "A", "22.6 mA"),
        (-0.0226, "A", "-22.6 mA"),
        (1e-6, "A", "0.00100 mA"),
        (below(1e-6), "A", "0 A"),
        (230.0, "V", "230 V"),
        (999.0, "W", "999 W"),
        (1000.0, "W", "1.00 kW"),
        (0.05, "%", "0.0500 %"),
        (1200.0, "%", "1200 %"),
        (NAN, "V", "not determined"),
        (math.inf, "V", "not determined"),
        (-math.inf, "V", "not determined"),
    ],
)
def test_a_figure(value: float, unit: str, text: str) -> None:
    assert figure(value, unit) == text


# -- voltage drop: IEC 60364-5-52, annex G: 3 and 5 % on a public supply, 6 and 8 % on a private one; 5 % by NEC 210.19(A),
# informational note (from memory), AS/NZS 3000, 3.6.2 and SANS 10142-1, 6.2.7 (from memory) -----------------------------------------


@pytest.mark.parametrize(
    ("rulebook", "lighting", "public", "limit"),
    [
        *(
            (book, lighting, public, limit)
            for book in ("iec", "bs7671")
            for lighting, public, limit in (
                (True, True, 3.0),
                (False, True, 5.0),
                (True, False, 6.0),
                (False, False, 8.0),
            )
        ),
        *(
            (book, lighting, public, 5.0)
            for book in ("nec", "as-nzs", "sans")
            for lighting in (True, False)
            for public in (True, False)
        ),
    ],
)
def test_the_voltage_drop(rulebook: str, lighting: bool, public: bool, limit: float) -> None:
    def verdict(percent: float) -> object:
        given = {"ratio": percent / 100, "lighting": lighting, "public": public}
        return said("voltage-drop-high", by_hand(Drop, id="lamps", source="grid", no_load=None, **given), rulebook)

    assert limit / 100 * 100 == limit
    assert verdict(limit) is PASS
    for percent in (limit * (1 + 1e-9), NAN):
        found = verdict(percent)
        assert isinstance(found, Finding)
        assert dict(found.figures)["limit"] == f"{limit:g} % ({'public' if public else 'private'} supply)"
    found = verdict(1.5 * limit)
    assert isinstance(found, Finding) and found.weight == pytest.approx(1.5)


def test_the_voltage_drop_is_open_where_a_load_is_not_written() -> None:
    lacking = SimpleNamespace(what="the load of oven", route=("circuits", "oven"), reason="")
    drop = by_hand(Drop, id="lamps", ratio=0.01, lighting=False, public=True, source="grid", no_load=lacking)
    with pytest.raises(Unknown, match="the load of oven"):
        said("voltage-drop-high", drop)


# -- residual current in service: IEC 60364-5-53, 531.3.2: up to 0.3 of the rated current; IEC 61008-1: from 0.5 on it may operate --


def residual(standing_a: float | Unknown, total_a: float | Unknown, diverts: str = "", **more: object) -> object:
    given = {
        "id": "group",
        "route": (),
        "device": by_hand(Device, residual_a=0.03),
        "standing_a": standing_a,
        "total_a": total_a,
        "diverts": diverts,
        "behind": False,
        "cause": None,
        "no_load": None,
        "no_leakage": None,
        **more,
    }
    return said("rcd-trips-in-service", by_hand(RcdInService, **given))


def test_the_standing_leakage() -> None:
    # less than a thousandth is what the arithmetic of the circuit adds to leakages that are written
    edge = 0.3 * 0.03 * (1 + 1e-3)
    assert residual(edge, 0.0) is PASS
    for standing_a in (above(edge), NAN):
        found = residual(standing_a, 0.0)
        assert isinstance(found, Finding) and "residual current with all written loads" not in dict(found.figures)


def test_the_residual_current_with_loads() -> None:
    assert residual(0.001, below(0.5 * 0.03)) is PASS
    for total_a in (0.5 * 0.03, NAN):
        assert isinstance(residual(0.001, total_a), Finding)
    found = residual(0.001, 0.02, "hall-link")
    assert isinstance(found, Finding)
    assert found.because == ("neutral-bonded-twice", "hall-link")
    assert "hall-link leads a share of it past the RCD" in found.put_right
    assert dict(found.figures)["residual current with all written loads"] == "20.0 mA"
    assert found.weight == pytest.approx(0.02 / 0.03)
    found = residual(0.012, 0.0)
    assert isinstance(found, Finding) and found.weight == pytest.approx(0.4)
    found = residual(0.001, 0.02, "lamp-link", behind=True)
    assert isinstance(found, Finding) and found.because == ("bond-behind-rcd", "lamp-link")
    found = residual(0.001, 0.02, cause=("device-does-not-fit", "group"))
    assert isinstance(found, Finding) and found.because == ("device-does-not-fit", "group")
    assert found.put_right == "keep the neutral current of group in its own neutral"


def test_the_residual_current_is_open_where_it_rests_on_what_is_not_written() -> None:
    # no neutral current leaves its way: what is not written moves the leakage by a trifle
    assert residual(0.001, NOT_WRITTEN) is PASS
    with pytest.raises(Unknown, match="the length of lamps"):
        residual(0.001, NOT_WRITTEN, "hall-link")
    load = SimpleNamespace(what="the load of oven", route=(), reason="")
    leakage = SimpleNamespace(what="the leakage of oven", route=(), reason="")
    assert residual(0.001, 0.001, no_load=load) is PASS
    with pytest.raises(Unknown, match="the load of oven"):
        residual(0.001, 0.001, "hall-link", no_load=load)
    for diverts in ("", "hall-link"):
        with pytest.raises(Unknown, match="the leakage of oven"):
            residual(0.001, 0.001, diverts, no_leakage=leakage)
    with pytest.raises(Unknown, match="the residual of group"):
        residual(0.001, 0.001, device=by_hand(Device, residual_a=None))


# -- neutral current in protective conductors: our choice, 0.1 A and 1 A (NEC 250.6: no objectionable current) ---------------


def in_pe(current_a: float | Unknown, metallic_a: float = 9.0, surplus: str = "", no_load: object = None) -> object:
    subject = by_hand(
        PeCurrent, id="to-hall", current_a=current_a, metallic_a=metallic_a, surplus=surplus, no_load=no_load
    )
    return said("neutral-current-in-pe", subject)


def test_the_neutral_current_in_a_protective_conductor() -> None:
    assert in_pe(0.1) is PASS
    for current_a, level in ((above(0.1), None), (1.0, None), (above(1.0), "error"), (NAN, "error")):
        found = in_pe(current_a)
        assert isinstance(found, Finding) and found.level == level and found.because is None
        assert found.put_right.startswith("find where a neutral touches PE")
        found = in_pe(current_a, surplus="hall-link")
        assert isinstance(found, Finding) and found.because == ("neutral-bonded-twice", "hall-link")
        assert found.put_right.endswith("hall-link is one too many")


def test_what_returns_through_the_soil_is_no_fault_of_a_conductor() -> None:
    assert isinstance(in_pe(0.2, 0.1), NotApplicable)
    assert isinstance(in_pe(0.2, above(0.1)), Finding)
    assert isinstance(in_pe(0.2, NAN), Finding)
    assert isinstance(in_pe(0.2, 0.0, "hall-link"), Finding)


def test_the_neutral_current_is_open_where_it_rests_on_what_is_not_written() -> None:
    assert in_pe(NOT_WRITTEN, 0.1) is PASS  # only what returns through the soil rests on it
    for metallic_a, surplus in ((above(0.1), ""), (NAN, ""), (0.0, "hall-link")):
        with pytest.raises(Unknown, match="the length of lamps"):
            in_pe(NOT_WRITTEN, metallic_a, surplus)
    load = SimpleNamespace(what="the load of oven", route=(), reason="")
    assert in_pe(0.05, no_load=load) is PASS
    with pytest.raises(Unknown, match="the load of oven"):
        in_pe(0.05, surplus="hall-link", no_load=load)


# -- one broken core: 50 V on a frame (IEC 60364-4-41), 1.1 times the nominal voltage across a load (IEC 60038: plus 10 %) ----


def broken(frame_v: float = 0.0, load_v: float = 0.0, **more: object) -> object:
    given = {
        "id": "service",
        "core": "PEN",
        "reliable": False,
        "opened_by_device": False,
        "opened_alone": False,
        "frames": (Shock("lights", frame_v),),
        "loads": (Shock("oven", load_v),),
        "nominal_v": 230.0,
        "no_size": None,
        "opener": "",
        "route_of": lambda place: ("circuits", place),
        **more,
    }
    return said("single-failure-dangerous", by_hand(Failure, **given))


def test_the_voltages_after_one_broken_core() -> None:
    limit_v = 1.1 * 230.0
    assert broken(50.0, limit_v) is PASS
    for frame_v in (above(50.0), NAN):
        found = broken(frame_v)
        assert isinstance(found, Finding) and [one.subject for one in found.mentions] == ["lights"]
        assert [name for name, _ in found.figures] == ["frame of lights to earth"]
        assert found.so.startswith("frames become live, and")
    for load_v in (above(limit_v), NAN):
        found = broken(0.0, load_v)
        assert isinstance(found, Finding) and [one.subject for one in found.mentions] == ["oven"]
        assert [name for name, _ in found.figures] == ["across the load of oven"]
        assert found.so.startswith("loads get more than their voltage, and")
    both = broken(100.0, 400.0)
    assert isinstance(both, Finding) and both.so.startswith(
        "frames become live and loads get more than their voltage, and"
    )
    assert both.weight == pytest.approx(100.0 / 50.0)
    unknown = broken(0.0, 400.0, nominal_v=0.0)  # no nominal voltage is written: nothing to weigh it by
    assert isinstance(unknown, Finding) and unknown.weight == 0.0
    high = broken(50.0, 759.0)
    assert isinstance(high, Finding) and high.weight == pytest.approx(3.0)


def test_a_core_of_unknown_size_may_be_one_that_does_not_break() -> None:
    # IEC 60364-5-54, 543.4.1: a fixed PEN of 10 mm2 of copper does not; what a device opens does, whatever its size
    size = SimpleNamespace(what="the size of service", route=(), reason="")
    with pytest.raises(Unknown, match="the size of service"):
        broken(100.0, no_size=size)
    assert isinstance(broken(100.0, no_size=size, opened_by_device=True), Finding)
    assert broken(no_size=size) is PASS
    assert isinstance(broken(100.0, reliable=True), NotApplicable)
    assert isinstance(broken(100.0, reliable=True, opened_by_device=True, opened_alone=True), Finding)


def test_a_core_that_opens_with_its_lines() -> None:
    # a contact of one pole that fails is not looked for where only loads would suffer
    together = {"reliable": True, "opened_by_device": True}
    assert isinstance(broken(0.0, 400.0, **together), NotApplicable)
    assert isinstance(broken(0.0, 400.0, opened_by_device=True), Finding)
    assert isinstance(broken(0.0, 400.0, **together, opened_alone=True), Finding)
    found = broken(100.0, **together, opener="q-service")
    assert isinstance(found, Finding) and found.put_right.startswith("let the contact for PEN in service be maintained")
    assert found.because == ("pen-switched", "q-service")
    found = broken(100.0, core="N", opener="q-service")
    assert isinstance(found, Finding) and found.put_right.startswith("a fixed N of ") and found.because is None


# -- touch voltages: IEC 60364-4-41: 50 V, in medical locations 25 V (IEC 60364-7-710) ---------------------------------------


def fault(**more: object) -> object:
    given = {
        "id": "oven",
        "route": (),
        "point": SimpleNamespace(written="oven"),
        "outside": "",
        "island": TN,
        "place": "",
        "line": "L1",
        "system": "TN",
        "rcds": (),
        "table_s": 0.4,
        "known": object(),
        "missing": None,
        "loop_ohm": 2.3,
        "touch": 100.0,
        "touch_v": lambda: 100.0,
        "touch_met_v": lambda: 100.0,
        "touch_time_s": 0.1,
        "current_a": lambda factor=1.0: 100.0 * factor,
        "smallest_a": 100.0,
        "late": lambda limit, factor=1.0, fuses="gG": (LATE,),
        "feds": (FED,),
        "met_by": (FED,),
        "second": None,
        "sources": (SimpleNamespace(id="inverter", route=("sources", "inverter")),),
        "serves_matters": False,
        "unprotected": "",
        "behind_transformer": "",
        "limiting": True,
        "circuit": None,
        "bonded_v": lambda: None,
        "metal_apart": "",
        **more,
    }
    return by_hand(EarthFault, **given)


FED = SimpleNamespace(source="inverter", held_by="inverter", passed=(), most_a=lambda current_a: min(current_a, 20.0))


@pytest.mark.parametrize(
    ("place", "rulebook", "limit_v"),
    [("", "iec", 50.0), ("medical", "iec", 25.0), ("", "nec", 50.0), ("medical", "nec", 50.0)],
)
def test_the_touch_voltage(place: str, rulebook: str, limit_v: float) -> None:
    def verdict(touch_v: float) -> object:
        return said("touch-voltage-high", fault(place=place, touch_v=lambda: touch_v), rulebook)

    assert verdict(limit_v) is PASS
    for touch_v in (above(limit_v), NAN):
        found = verdict(touch_v)
        assert isinstance(found, Finding) and found.because == ("disconnection-too-slow", "oven")


@pytest.mark.parametrize(
    ("place", "rulebook", "limit_v"),
    [("", "iec", 50.0), ("medical", "iec", 25.0), ("", "nec", 50.0), ("medical", "nec", 50.0)],
)
def test_the_touch_voltage_at_the_limit_of_a_source(place: str, rulebook: str, limit_v: float) -> None:
    def verdict(touch_v: float) -> object:
        late = (LIMITED,)
        subject = fault(place=place, touch_met_v=lambda: touch_v, late=lambda *_: late)
        return said("source-too-weak-to-trip", subject, rulebook)

    exempt = verdict(limit_v)
    assert isinstance(exempt, Exempt) and f"within {limit_v:g} V" in exempt.reason
    for touch_v in (above(limit_v), NAN):
        found = verdict(touch_v)
        assert isinstance(found, Finding)
        # IEC 60364-4-41, 415.2.2: R <= limit / Ia, here 20 A: 2.5 or 1.25 ohm
        assert dict(found.figures)["largest bonding resistance"] == f"{limit_v / 20:.2f} ohm"


def test_the_touch_voltage_of_a_first_fault() -> None:
    # IEC 60364-4-41, 411.6.2: RA x Id <= 50 V
    def verdict(touch_v: float | None) -> object:
        return said("disconnection-too-slow", fault(island=IT, touch_v=lambda: touch_v, late=lambda *_: ()))

    assert verdict(50.0) is PASS
    assert verdict(None) is PASS
    for touch_v in (above(50.0), NAN):
        found = verdict(touch_v)
        assert isinstance(found, Finding) and found.message.startswith("a first fault at oven")


# -- electrodes: IEC 60364-4-41, 411.5.3: RA x Idn <= 50 V; BS 7671: 200 ohm may be unstable; NEC 250.53(A)(2): 25 ohm -------


def electrode(
    together_ohm: float | Unknown, rests: str = "mill", residual_a: float | None = None, **more: object
) -> object:
    guard = None if residual_a is None else (residual_a, by_hand(Device, id="", kind="rcd"), "mill")
    given = {"id": "rod", "together_ohm": together_ohm, "rests": rests, "guard": guard, "lacking": None, **more}
    return said("electrode-resistance-high", by_hand(EarthElectrode, **given))


@pytest.mark.parametrize("rests", ["", "mill"])
def test_the_resistance_of_an_electrode_that_lasts(rests: str) -> None:
    assert electrode(200.0, rests) is PASS
    for ohm in (above(200.0), NAN):
        found = electrode(ohm, rests)
        assert isinstance(found, Finding) and found.message == "rod is so high that it may not be stable"


def test_the_resistance_of_an_electrode_with_its_device() -> None:
    assert electrode(100.0, residual_a=0.5) is PASS
    for ohm in (above(100.0), NAN):
        found = electrode(ohm, residual_a=0.5)
        assert (
            isinstance(found, Finding) and "too high for the residual current device that guards mill" in found.message
        )
        assert dict(found.figures)["device"] == "rcd"
    named = electrode(200.0, guard=(0.5, by_hand(Device, id="head", kind="rcd"), "mill"))
    assert isinstance(named, Finding) and dict(named.figures) == {
        "resistance": "200 ohm",
        "rated residual current": "500 mA",
        "voltage at that current": "100 V",
        "device": "head",
    }


def test_the_resistance_of_an_electrode_that_is_not_written() -> None:
    lacking = SimpleNamespace(what="the soil or the resistance of rod", route=(), reason="")
    # with what is written it is within all limits already, and another one beside it only lowers that
    assert electrode(100.0, residual_a=0.5, lacking=lacking) is PASS
    for ohm, residual_a in ((150.0, 0.5), (250.0, 0.1)):
        with pytest.raises(Unknown, match="the soil or the resistance of rod"):
            electrode(ohm, residual_a=residual_a, lacking=lacking)
    with pytest.raises(Unknown, match="the length of lamps"):
        electrode(NOT_WRITTEN)
    assert isinstance(electrode(NOT_WRITTEN, ""), NotApplicable)


def test_the_resistance_of_a_single_rod() -> None:
    def verdict(ohm: float, single: bool = True) -> object:
        return said(
            "electrode-resistance-high", by_hand(EarthElectrode, id="rod", single=single, resistance_ohm=ohm), "nec"
        )

    assert isinstance(verdict(25.0), NotApplicable)
    assert isinstance(verdict(100.0, single=False), NotApplicable)
    for ohm in (above(25.0), NAN):
        assert isinstance(verdict(ohm), Finding)


# -- an RCD sees a fault: IEC 61008-1: it operates for certain from its rated residual current on ------------------------------


def on_way(**more: object) -> object:
    given = {
        "id": "group",
        "route": (),
        "device": by_hand(Device, residual_a=0.03),
        "fault": SimpleNamespace(
            floats=False,
            outside="",
            island=TN,
            missing=None,
            system="TN",
            smallest_a=10.0,
            point=SimpleNamespace(written="x"),
        ),
        "sees_all": True,
        "seen_a": 10.0,
        "behind": "",
        "summed": True,
        **more,
    }
    return said("rcd-blind", by_hand(RcdOnWay, **given))


def test_an_rcd_sees_a_fault() -> None:
    assert on_way(seen_a=0.03) is PASS
    for seen_a in (below(0.03), NAN):
        found = on_way(seen_a=seen_a)
        assert isinstance(found, Finding) and found.because is None
    found = on_way(seen_a=0.015)
    assert isinstance(found, Finding) and found.weight == 0.5
    assert dict(found.figures) == {
        "fault at": "x",
        "fault current": "10.0 A",
        "sees": "15.0 mA",
        "operates for certain at": "30 mA",
    }
    found = on_way(seen_a=0.0, behind="lamp-link", summed=False)
    assert isinstance(found, Finding) and found.because == ("bond-behind-rcd", "lamp-link")
    found = on_way(seen_a=0.0, summed=False)
    assert isinstance(found, Finding) and found.because == ("device-does-not-fit", "group")


def test_an_rcd_sees_a_fault_of_unknown_size_over_metal() -> None:
    # with nothing but metal on the way back, the current is far above what any RCD needs: our choice, up to 0.5 A
    missing = SimpleNamespace(what="the length of lamps", route=(), reason="")

    def verdict(
        residual_a: float | None, system: str = "TN", sees_all: bool = True, missing: object = missing
    ) -> object:
        seen = SimpleNamespace(floats=False, outside="", island=TN, missing=missing, system=system)
        device = by_hand(Device, residual_a=residual_a)
        return on_way(fault=seen, device=device, sees_all=sees_all, seen_a=NOT_WRITTEN)

    assert verdict(0.03) is PASS
    assert verdict(0.5) is PASS
    for given in ((above(0.5),), (NAN,), (0.03, "TT"), (0.03, "TN", False), (0.03, "TN", True, None)):
        with pytest.raises(Unknown, match="the length of lamps"):
            verdict(*given)
    with pytest.raises(Unknown, match="the residual current of group"):
        verdict(None)


def test_an_rcd_that_contacts_alone_decide_on_follows_from_its_cause() -> None:
    for more in ({"behind": "lamp-link"}, {"summed": False}):
        found = on_way(seen_a=NOT_WRITTEN, sees_all=False, **more)
        assert isinstance(found, Finding)
        assert dict(found.figures) == {"sees": "not determined: it depends on the resistance of contacts"}
    with pytest.raises(Unknown, match="the length of lamps"):
        on_way(seen_a=NOT_WRITTEN)


def test_an_rcd_in_a_system_that_is_judged_elsewhere() -> None:
    def verdict(floats: bool, outside: str, island: object, **more: object) -> object:
        return on_way(fault=SimpleNamespace(floats=floats, outside=outside, island=island), feed="set", **more)

    assert isinstance(verdict(True, "", TN, portable=True), NotApplicable)
    for borrowed, cause in ((True, "island-reference-borrowed"), (False, "neutral-unreferenced")):
        found = verdict(True, "", TN, portable=False, borrowed=borrowed)
        assert isinstance(found, Finding) and found.because == (cause, "set") and found.weight == 0.0
    assert verdict(False, "the frame has no protective path", TN) == NotApplicable("the frame has no protective path")
    assert isinstance(verdict(False, "", IT), NotApplicable)


# -- two RCDs in series: IEC 60364-5-53, 536.4: type S, and three times the rated residual current of the one behind ---------------


def pair(mine_a: float | None = 0.3, its_a: float | None = 0.03, **more: object) -> object:
    given = {
        "id": "head",
        "fault": SimpleNamespace(point=SimpleNamespace(sort=more.pop("sort", "circuit"))),
        "device": by_hand(Device, residual_a=mine_a, delay=more.pop("mine", "S")),
        "nearer": by_hand(Device, residual_a=its_a, delay=more.pop("its", None), route=()),
        "nearer_id": "group",
        "plug": False,
        **more,
    }
    return said("rcd-not-selective", by_hand(RcdOnWay, **given))


def test_the_ratio_of_two_rcds() -> None:
    assert pair(0.09) is PASS
    # what is below three in the last digits of a float only counts as three, what is more than that below does not
    assert pair(3 * (1 - 1e-9), 1.0) is PASS
    for mine_a in (3 * (1 - 2e-9), NAN):
        assert isinstance(pair(mine_a, 1.0), Finding)
    found = pair(mine=None)
    assert isinstance(found, Finding)
    assert found.figures == (("ratio of rated residual currents", "10"),)
    assert found.mentions == (Mention("group", (), "the RCD behind it"),)
    for one in (pair(its="S"), pair(None), pair(0.3, None)):
        assert isinstance(one, Finding)
    assert pair(0.3, None).figures == pair(None).figures == ()  # type: ignore[attr-defined]


def test_two_rcds_that_need_no_ratio() -> None:
    assert pair(mine=None, nearer=None) is PASS
    assert isinstance(pair(mine=None, plug=True), NotApplicable)
    assert isinstance(pair(mine=None, sort="board"), NotApplicable)


# -- breaking capacity: IEC 60364-4-43, 434.5.1: not less than the prospective current ------------------------------------------------


def breaks(known_a: float, at_most_a: float | None = None, **more: object) -> object:
    device = {"kind": "mcb", "breaking_capacity_a": None, "dc_breaking_capacity_a": None, "fuse_class": "gG"}
    device.update((name, more.pop(name)) for name in tuple(device) if name in more)  # type: ignore[arg-type]
    given = {
        "id": "q-1",
        "route": (),
        "name": "q-1",
        "device": by_hand(Device, **device),
        "direct": False,
        "known_a": known_a,
        "current_a": known_a,
        "at_most_a": at_most_a,
        "kind": more.pop("fault", "line-PE"),
    }
    rulebook = str(more.pop("rulebook", "iec"))
    return said("breaking-capacity-low", by_hand(Peak, **{**given, **more}), rulebook)


EDGE = 6000.0 * (1 + 1e-9)  # the last digits of a float are no current


def test_the_breaking_capacity() -> None:
    can = {"breaking_capacity_a": 6000.0}
    assert breaks(EDGE, **can) is PASS
    for known_a in (above(EDGE), NAN):
        found = breaks(known_a, **can)
        assert isinstance(found, Finding)
        assert dict(found.figures)["breaks"] == "6.00 kA" and dict(found.figures)["kind of fault"] == "line-PE"
    found = breaks(7000.0, **can, fault="")
    assert isinstance(found, Finding) and dict(found.figures)["kind of fault"] == "the limit of its sources"
    # what is not known may make it more: open, unless the source itself gives no more
    for more in ({}, {"at_most_a": above(EDGE)}):
        with pytest.raises(Unknown, match="the length of lamps"):
            breaks(5000.0, current_a=NOT_WRITTEN, **can, **more)
    assert breaks(5000.0, EDGE, current_a=NOT_WRITTEN, **can) is PASS
    assert breaks(5000.0, current_a=EDGE, **can) is PASS
    with pytest.raises(Unknown, match="the breaking-capacity of q-1"):
        breaks(5000.0, current_a=above(EDGE), **can)


@pytest.mark.parametrize(
    ("kind", "least_a", "rulebook"),
    [
        ("mcb", 1500.0, "iec"),
        ("rcbo", 1500.0, "iec"),
        ("fuse", 6000.0, "iec"),
        ("mcb", 5000.0, "nec"),
        ("mccb", 5000.0, "nec"),
        ("fuse", 10000.0, "nec"),
    ],
)
def test_the_breaking_capacity_that_is_not_written(kind: str, least_a: float, rulebook: str) -> None:
    # the least of the product standards, from memory: IEC 60898-1, IEC 60269-3, NEC 240.83 and 240.60
    edge = least_a * (1 + 1e-9)

    def verdict(known_a: float, **more: object) -> object:
        return breaks(known_a, kind=kind, rulebook=rulebook, **more)

    assert verdict(edge) is PASS
    assert verdict(edge, at_most_a=edge, current_a=NOT_WRITTEN) is PASS
    for known_a in (above(edge), NAN):
        with pytest.raises(Unknown, match="the breaking-capacity of q-1"):
            verdict(known_a)


def test_the_breaking_capacity_of_what_has_no_least() -> None:
    for more in ({"kind": "mccb"}, {"kind": "fuse", "fuse_class": None}):
        with pytest.raises(Unknown, match="the breaking-capacity of q-1"):
            breaks(0.5, 0.5, **more)
    # NEC 240.60: 10 kA of any fuse
    assert breaks(10_000.0, kind="fuse", fuse_class=None, rulebook="nec") is PASS


def test_the_breaking_capacity_for_direct_current() -> None:
    # what a device breaks of alternating current says nothing of direct current, and no product standard has a least
    alone = {"direct": True, "breaking_capacity_a": 50e3}
    can = {**alone, "dc_breaking_capacity_a": 6000.0}
    assert breaks(EDGE, **can) is PASS
    for known_a in (above(EDGE), NAN):
        found = breaks(known_a, **can)
        assert isinstance(found, Finding) and dict(found.figures)["breaks"] == "6.00 kA"
    for kind in ("mcb", "fuse", "mccb"):
        for book in ("iec", "nec"):
            with pytest.raises(Unknown, match="the dc-breaking-capacity of q-1"):
                breaks(1.0, 1.0, **alone, kind=kind, rulebook=book)
    with pytest.raises(Unknown, match="the breaking-capacity of q-1"):
        breaks(2000.0, dc_breaking_capacity_a=50e3)
