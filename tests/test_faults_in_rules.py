"""Rules of earth faults on faults made by hand: which rule judges, what is open and names its entry, what it follows from, the figures."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from by_hand import BY_ID, by_hand, said
from onebond.circuit.devices import Trip
from onebond.circuit.impedances import Missing
from onebond.facts.faults import Ending, Fed, Passed
from onebond.model import Device
from onebond.result import Mention
from onebond.rule import PASS, Cleared, EarthFault, Exempt, Finding, NotApplicable, Review, Unknown, Verdict
from onebond_rules.shared import ANY, Demand

TN = SimpleNamespace(it=False, own_references=(1,))
IT = SimpleNamespace(it=True, own_references=())
RATING = Missing("the rating of q-1", ("connections", "feed", "through", 0))
NEVER = Cleared(Trip(None, None), "", None, "")
SLOW = NEVER._replace(trip=Trip(5.0, 0.1), by="q-1")
PERHAPS = NEVER._replace(trip=Trip(None, 0.1))
OPEN = NEVER._replace(lacking=RATING)
WEAK = NEVER._replace(limited_by="inverter")


def device(**more: Any) -> Any:
    given = {
        "id": "q-1",
        "kind": "mcb",
        "rating_a": 10.0,
        "route": (),
        "residual_a": 0.03,
        "delay": None,
        "senses": ("L1", "N"),
        "poles": ("L1", "N"),
    }
    return by_hand(Device, **{**given, **more})


def passed(**more: Any) -> Any:
    one = device(**more)
    return by_hand(Passed, device=one, name=one.id or "the mcb in feed")


def fed(*devices: Any, source: str = "inverter", most_a: float = 20.0) -> Any:
    return by_hand(Fed, source=source, held_by=source, passed=devices, most_a=lambda current_a: min(current_a, most_a))


INVERTER = SimpleNamespace(id="inverter", route=("sources", "inverter"), mounted="fixed", phases=("L1",))


def fault(*late: Cleared, **more: Any) -> Any:
    def ways(limit_s: float, factor: float = 1.0, fuses: str = "gG") -> tuple[Cleared, ...]:
        assert limit_s > 0
        return late

    current = more.pop("current", 100.0)
    given = {
        "id": "oven",
        "route": ("circuits", "oven"),
        "point": SimpleNamespace(written="oven.frame", pe=3, sort="circuit"),
        "outside": "",
        "unsettled": "",
        "framed": True,
        "island": TN,
        "place": "",
        "circuit": None,
        "line": "L1",
        "system": "TN",
        "rcds": (),
        "table_s": 0.4,
        "known": object(),
        "missing": None,
        "loop_ohm": 2.3,
        "touch": 101.4,
        "touch_v": lambda: 101.4,
        "touch_met_v": lambda: 101.4,
        "touch_time_s": 0.1,
        "bonded_v": lambda: None,
        "metal_apart": "",
        "current_a": lambda factor=1.0: current * factor,
        "smallest_a": current,
        "late": ways,
        "cleared": lambda factor, fuses, second=False: late[0] if late else SLOW._replace(trip=Trip(0.1, 0.0)),
        "declared": lambda fed: "",
        "feds": (fed(passed()),),
        "met_by": (fed(passed()),),
        "second": None,
        "sources": (INVERTER,),
        "serves_matters": False,
        "unprotected": "",
        "behind_transformer": "",
        "limiting": True,
        "from_utility": True,
        "unsplit": "",
        "apart": "",
        "nearest_to_source": "",
        **more,
    }
    return by_hand(EarthFault, **given)


def found(verdict: object) -> Finding:
    assert isinstance(verdict, Finding), verdict
    return verdict


JUDGES = ("disconnection-too-slow", "source-too-weak-to-trip", "touch-voltage-high")


def late_for(rule: str) -> Cleared:
    """A way that the rule judges."""
    return WEAK if rule == "source-too-weak-to-trip" else NEVER


# -- what the three rules have in common -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", JUDGES)
def test_a_fault_that_another_rule_judges(rule: str) -> None:
    outside = fault(late_for(rule), outside="the frame has no protective path")
    assert said(rule, outside) == NotApplicable("the frame has no protective path")


@pytest.mark.parametrize("rule", JUDGES)
def test_a_fault_that_is_cleared_in_time(rule: str) -> None:
    assert said(rule, fault()) is PASS
    # no time is asked for below 50 V (IEC 60364-4-41, 411.3.2.5)
    assert said(rule, fault(late_for(rule), table_s=None)) is PASS


@pytest.mark.parametrize("rule", JUDGES)
def test_a_fault_whose_device_is_not_known(rule: str) -> None:
    late = late_for(rule)
    with pytest.raises(Unknown) as raised:
        said(rule, fault(late._replace(lacking=RATING)))
    assert (raised.value.what, raised.value.route) == ("the rating of q-1", RATING.route)
    # one way that is known to stay is enough
    found(said(rule, fault(late._replace(lacking=RATING), late)))


@pytest.mark.parametrize("rule", ["disconnection-too-slow", "touch-voltage-high"])
def test_a_fault_that_nothing_written_clears(rule: str) -> None:
    with pytest.raises(Unknown, match="the device that protects oven against what grid gives"):
        said(rule, fault(NEVER, unprotected="grid"))
    with pytest.raises(Unknown) as raised:
        said(rule, fault(NEVER, behind_transformer="t-1"))
    assert "nothing behind the transformer t-1 clears it for certain" in raised.value.reason


@pytest.mark.parametrize("rule", JUDGES)
@pytest.mark.parametrize(
    ("rulebook", "factor", "fuses"),
    [("iec", 1.0, "gG"), ("nec", 1.0, "gG"), ("as-nzs", 1.0, "gG"), ("bs7671", 0.95, "BS 88-2")],
)
def test_the_voltage_that_is_counted_on(rule: str, rulebook: str, factor: float, fuses: str) -> None:
    # BS 7671, 411.4.4: Cmin 0.95, and the loop impedances of its own tables of fuses
    asked: list[tuple[float, str]] = []

    def late(limit_s: float, factor: float, fuses: str) -> tuple[Cleared, ...]:
        asked.append((factor, fuses))
        return ()

    said(rule, fault(late=late), rulebook)
    assert asked == [(factor, fuses)]


# -- supplementary bonding: IEC 60364-4-41, 411.3.2.6 and 415.2 (from memory); BS 7671, 419.3 ----------------------------------------


def bonded(rule: str, volts: object, serves: str | None = "fixed", rulebook: str = "iec", **more: Any) -> Verdict:
    def bonded_v() -> object:
        if isinstance(volts, Unknown):
            raise volts
        return volts

    given = {"circuit": SimpleNamespace(serves=serves), "bonded_v": bonded_v, **more}
    return said(rule, fault(late_for(rule), **given), rulebook)


@pytest.mark.parametrize("rule", JUDGES)
def test_supplementary_bonding_serves_where_nothing_opens_in_time(rule: str) -> None:
    for place, rulebook, limit_v in (("", "iec", 50.0), ("", "bs7671", 50.0), ("medical", "iec", 25.0)):
        exempt = bonded(rule, limit_v, place=place, rulebook=rulebook)
        assert isinstance(exempt, Exempt) and exempt.reason.endswith(f"within {limit_v:g} V (411.3.2.6, 415.2 ?)")
        for volts in (math.nextafter(limit_v, 100.0), math.nan, None):
            found(bonded(rule, volts, place=place, rulebook=rulebook))
    # the code does not know it, and what a length that is not written would change is open
    found(bonded(rule, 0.0, rulebook="nec"))
    with pytest.raises(Unknown, match="the length of bond"):
        bonded(rule, Unknown("the length of bond", ()))
    found(bonded(rule, Unknown("the length of bond", ()), rulebook="nec"))


@pytest.mark.parametrize("rule", JUDGES)
def test_supplementary_bonding_is_for_fixed_equipment(rule: str) -> None:
    for serves in ("socket-outlets", None):
        found(bonded(rule, 0.0, serves))
    assert isinstance(bonded(rule, 0.0, "lighting"), Exempt)
    assert isinstance(bonded(rule, 0.0, circuit=None), Exempt)
    # nor does it replace a device that is not known, or the two faults of an isolated system
    with pytest.raises(Unknown, match="the rating of q-1"):
        said(rule, fault(late_for(rule)._replace(lacking=RATING), bonded_v=lambda: 0.0))
    low = {"island": IT, "touch_v": lambda: 20.0, "second": (60.0, ())}
    if rule != "touch-voltage-high":
        found(bonded(rule, 0.0, **low))


def test_metal_that_is_not_bonded_is_not_at_the_potential_of_the_frame() -> None:
    # IEC 60364-4-41, 411.3.2.5 and 415.2 (from memory): what is touched together with the frame counts
    low = {"touch_met_v": lambda: 20.0}
    assert isinstance(weak(WEAK, **low), Exempt)
    assert dict(found(weak(WEAK, **low, metal_apart="pipe")).figures)["frame to the main earthing terminal"] == "20 V"


# -- disconnection ------------------------------------------------------------------------------------------------------------------


def slow(*late: Cleared, rulebook: str = "iec", **more: Any) -> Verdict:
    return said("disconnection-too-slow", fault(*late, **more), rulebook)


def test_the_figures_of_a_fault_that_stays() -> None:
    assert found(slow(SLOW)).figures == (
        ("at", "oven.frame"),
        ("fault", "L1"),
        ("loop impedance", "2.30 ohm"),
        ("fault current", "100 A"),
        ("limit", "0.4 s"),
        ("cleared", "after 5 s at the latest by q-1"),
        ("touch voltage", "101 V"),
    )
    assert dict(found(slow(PERHAPS)).figures)["cleared"] == "never for certain"
    assert dict(found(slow(NEVER)).figures)["cleared"] == "never"
    assert "touch voltage" not in dict(found(slow(NEVER, touch=None)).figures)
    assert found(slow(NEVER)).weight == 1 / 100.0
    assert found(slow(NEVER, current=0.0)).weight == float("inf")
    # BS 7671 counts on 0.95 of the voltage
    assert dict(found(slow(NEVER, rulebook="bs7671")).figures)["fault current"] == "95.0 A"


def test_a_board_ahead_of_the_first_rcd_of_a_tt_site_may_be_doubly_insulated() -> None:
    for sort, system, offered in (("board", "TT", True), ("circuit", "TT", False), ("board", "TN", False)):
        point = SimpleNamespace(written="main", pe=3, sort=sort)
        assert ("class-II" in found(slow(NEVER, point=point, system=system)).put_right) == offered


def test_a_fault_without_a_table_is_told_by_the_ratings() -> None:
    # NEC 250.4(A)(5) has no table: our choice is 5 s, and what serves matters to no table
    ways = (fed(passed(rating_a=40.0), passed(id="", rating_a=None)),)
    one = found(slow(NEVER, rulebook="nec", met_by=ways, table_s=None, serves_matters=True))
    assert one.figures[-1] == ("times the rating of q-1", "2.5") and dict(one.figures)["limit"] == "5 s"
    assert "cleared within a few seconds" in one.message
    assert found(slow(NEVER, rulebook="nec", met_by=())).figures[-1][0] == "touch voltage"
    assert found(slow(NEVER, met_by=ways)).figures[-1][0] == "touch voltage"


def test_a_fault_of_a_circuit_that_does_not_say_what_it_serves() -> None:
    # IEC 60364-4-41, 411.3.2.2: 0.4 s or 5 s hangs on it
    with pytest.raises(Unknown, match="what oven serves"):
        slow(NEVER, serves_matters=True)
    assert slow(serves_matters=True) is PASS


def test_a_fault_that_a_source_limits() -> None:
    assert isinstance(slow(WEAK), NotApplicable)
    found(slow(WEAK, NEVER))


def test_a_fault_of_a_tt_system_follows_from_the_missing_rcd() -> None:
    rcd = (device(kind="rcd"), "feed")
    assert found(slow(NEVER, system="TT")).because == ("rcd-missing", "oven")
    assert found(slow(NEVER, system="TT", rcds=(rcd,))).because is None
    assert found(slow(NEVER)).because is None
    assert found(slow(NEVER, system="TT", rulebook="nec")).because is None
    assert found(weak(WEAK, system="TT")).because == ("rcd-missing", "oven")
    assert found(weak(WEAK, system="TT", rcds=(rcd,))).because is None
    assert found(weak(WEAK)).because is None
    assert found(weak(WEAK, system="TT", rulebook="nec")).because is None


def test_the_faults_of_an_isolated_system() -> None:
    # IEC 60364-4-41, 411.6.2: 50 V after the first fault; 411.6.4: the second one is cleared as in TN or TT
    low = {"island": IT, "touch_v": lambda: 20.0}
    second = found(slow(NEVER, second=(60.0, ()), **low, rulebook="bs7671"))
    assert dict(second.figures)["fault"] == "the second" and dict(second.figures)["fault current"] == "57.0 A"
    assert not {"loop impedance", "touch voltage"} & set(dict(second.figures))
    # of a fault in a system that is not isolated the second one is nobody's business
    assert dict(found(slow(NEVER, second=(60.0, ()))).figures)["fault current"] == "100 A"
    assert dict(found(slow(NEVER, **low)).figures)["fault current"] == "100 A"
    first = found(slow(NEVER, island=IT, current=2.0))
    assert first.figures == (("at", "oven.frame"), ("fault current", "2.00 A"), ("touch voltage", "101 V"))
    assert first.weight == 101.4
    assert slow(island=IT, touch_v=lambda: None) is PASS


# -- sources that limit their current -------------------------------------------------------------------------------------------------


def weak(*late: Cleared, rulebook: str = "iec", **more: Any) -> Verdict:
    return said("source-too-weak-to-trip", fault(*late, **more), rulebook)


def test_the_figures_of_a_source_that_is_too_weak() -> None:
    # 20 A through 5.07 ohm are 101.4 V; 50 V / 20 A = 2.5 ohm (IEC 60364-4-41, 415.2.2)
    one = found(weak(WEAK))
    assert one.figures == (
        ("at", "oven.frame"),
        ("limit of the source", "20.0 A"),
        ("within", "0.4 s"),
        ("times the rating of q-1", "2"),
        ("frame to the main earthing terminal", "101 V"),
        ("largest bonding resistance", "2.50 ohm"),
    )
    assert one.mentions == (
        Mention("inverter", ("sources", "inverter"), "it limits its current"),
        Mention("q-1", (), "the nearest device, which the limit does not operate"),
    )
    assert one.weight == 1 / 20.0
    bare = found(weak(WEAK, met_by=(fed(),), touch_met_v=lambda: None))
    assert [name for name, _ in bare.figures] == ["at", "limit of the source", "within"] and len(bare.mentions) == 1
    unrated = found(weak(WEAK, met_by=(fed(passed(rating_a=None)),)))
    assert "times the rating of q-1" not in dict(unrated.figures) and len(unrated.mentions) == 2
    nothing = found(weak(WEAK, met_by=(fed(most_a=0.0),), touch_met_v=lambda: None))
    assert nothing.weight == float("inf")
    assert dict(found(weak(WEAK, rulebook="nec", table_s=None)).figures)["within"] == "5 s"


def test_a_source_that_is_too_weak_beside_another_one() -> None:
    others = (
        SimpleNamespace(id="set", route=("sources", "set")),
        SimpleNamespace(id="inverter", route=("sources", "inverter")),
    )
    ways = (fed(source="set", most_a=70.0), fed(most_a=20.0))
    one = found(weak(NEVER, WEAK, sources=others, met_by=ways))
    assert [mention.subject for mention in one.mentions] == ["inverter"]
    assert dict(one.figures)["limit of the source"] == "20.0 A"


def test_a_source_that_another_rule_judges() -> None:
    assert isinstance(weak(WEAK, limiting=False), NotApplicable)
    assert isinstance(weak(NEVER), NotApplicable)


def test_a_breaker_that_the_maker_declares() -> None:
    # the computed current is not certain to operate it, and nothing is late: the maker answers for it
    def verdict(clears_s: float | None, name: str) -> Verdict:
        trip = NEVER._replace(trip=Trip(clears_s, 0.0))
        return weak(cleared=lambda factor, fuses, second=False: trip, declared=lambda fed: name)

    assert verdict(0.4, "q-1") is PASS
    exempt = verdict(0.5, "q-1")
    assert isinstance(exempt, Exempt) and exempt.reason == "the maker declares q-1 as one that the source trips"
    exempt = verdict(None, "")
    assert isinstance(exempt, Exempt) and exempt.reason.startswith("the maker declares a breaker as")


def test_a_source_that_is_too_weak_in_an_isolated_system() -> None:
    low = {"island": IT, "second": (12.0, ())}
    one = found(weak(WEAK, **low, touch_met_v=lambda: 10.0))
    assert dict(one.figures)["limit of the source"] == "12.0 A" and "largest bonding resistance" not in dict(
        one.figures
    )
    assert dict(found(weak(WEAK, island=IT)).figures)["limit of the source"] == "20.0 A"
    assert dict(found(weak(WEAK, second=(12.0, ()))).figures)["limit of the source"] == "20.0 A"
    # whether it is cleared is asked of the second fault
    asked: list[bool] = []
    one = fault(island=IT, cleared=lambda factor, fuses, second: asked.append(second) or NEVER)
    said("source-too-weak-to-trip", one)
    assert asked == [True]


# -- touch voltages ---------------------------------------------------------------------------------------------------------------------


def touch(*late: Cleared, rulebook: str = "iec", **more: Any) -> Verdict:
    return said("touch-voltage-high", fault(*late, **more), rulebook)


def test_the_figures_of_a_touch_voltage() -> None:
    one = found(touch(SLOW))
    assert one.figures == (
        ("at", "oven.frame"),
        ("touch voltage", "101 V"),
        ("may last", "0.4 s"),
        ("cleared", "after 5 s at the latest"),
    )
    assert dict(found(touch(NEVER)).figures)["cleared"] == "not for certain"
    # without a table of times the older curves of body currents count: 0.1 s here
    assert dict(found(touch(SLOW, rulebook="nec")).figures)["may last"] == "0.1 s"
    assert touch(SLOW, rulebook="nec", touch_time_s=None) is PASS


def test_a_touch_voltage_and_what_it_follows_from() -> None:
    two = {"feds": (fed(), fed())}
    assert found(touch(NEVER, NEVER, **two)).because == ("disconnection-too-slow", "oven")
    assert found(touch(WEAK, WEAK, **two)).because == ("source-too-weak-to-trip", "oven")
    assert found(touch(WEAK, NEVER, **two)).because == ("disconnection-too-slow", "oven")
    assert found(touch(WEAK, OPEN, **two)).because == ("source-too-weak-to-trip", "oven")


def test_a_touch_voltage_that_is_judged_elsewhere() -> None:
    assert isinstance(touch(NEVER, island=IT), NotApplicable)
    assert isinstance(touch(NEVER, feds=(fed(), fed())), NotApplicable)  # the other source is cut off in time
    assert touch(NEVER, touch_v=lambda: None) is PASS


def test_a_low_touch_voltage_beside_a_source_whose_limit_is_not_declared() -> None:
    low = {"touch_v": lambda: 20.0}
    assert touch(NEVER, **low) is PASS
    assert touch(WEAK, **low) is PASS
    assert touch(OPEN, **low) is PASS  # a device that is not known makes the voltage no higher
    with pytest.raises(Unknown, match="the rating of q-1"):
        touch(WEAK._replace(lacking=RATING), **low)


# -- residual current devices that are missing ------------------------------------------------------------------------------------------


def ending(
    serves: str | None = "socket-outlets", cores: tuple[str, ...] = ("L1", "N", "PE"), board: str = "main", **more: Any
) -> Ending:
    """What hangs at the end of the cable of the oven: a final circuit, where nothing else is given."""
    cable = SimpleNamespace(cores=cores, start=SimpleNamespace(id=board))
    given = {"rating_a": 16.0, "place": "", "circuit": SimpleNamespace(serves=serves), **more}
    return Ending("oven", ("circuits", "oven"), cable, serves or "", **given)  # type: ignore[arg-type]


def outlets(
    *rcds: Any, rulebook: str = "iec", serves: str | None = "socket-outlets", demands: Any = None, **more: Any
) -> Verdict:
    of_end = {key: more.pop(key) for key in ("cores", "board") if key in more}
    place, rating_a = more.get("place", ""), more.get("rating_a", 16.0)
    lead = {"circuit": None} if more.pop("lead", False) else {}
    end = ending(serves, place=place, rating_a=rating_a, **of_end, **lead)
    given = {
        "ending": end,
        "circuit": end.circuit,
        "sockets": serves == "socket-outlets",
        "serves_unknown": serves is None,
        "rating_a": rating_a,
        "rcds": tuple((one, "group") for one in rcds),
        "rcds_aboard": (),
        "lone": False,
        "plugged": False,
        "voltage_v": 230.0,
        "shared_with": lambda device, connection: None,
        "lives_beside": False,
        **more,
    }
    rule = BY_ID["rcd-missing"]
    params = {**rule.params_in(rulebook), **({} if demands is None else {"demands": demands})}
    return rule.check(fault(**given), params)


def source(name: str = "set", mounted: str = "portable", phases: tuple[str, ...] = ("L1",)) -> Any:
    return SimpleNamespace(id=name, route=("sources", name), mounted=mounted, phases=phases)


PORTABLE = (source(),)
THREE = ("L1", "L2", "L3")


def test_the_rcd_of_socket_outlets() -> None:
    # IEC 60364-4-41, 411.3.3 and 415.1.1: 30 mA for socket-outlets up to 32 A
    bare = found(outlets())
    assert bare.message.startswith("the socket-outlets of oven have no RCD of 30 mA") and bare.because is None
    assert outlets(device()) is PASS
    for more in ({"residual_a": None}, {"residual_a": 0.1}, {"delay": "S"}):
        assert found(outlets(device(**more))).because is None
    for senses in (("L2", "N"), ("L1",), ()):
        # one that is there, and leaves out the line or the neutral
        assert found(outlets(device(senses=senses))).because == ("device-does-not-fit", "q-1")
    assert found(outlets(device(id="", senses=()))).because == ("device-does-not-fit", "group")
    assert outlets(device(senses=("L1",)), cores=("L1", "PE")) is PASS
    assert outlets(serves="fixed") is PASS
    assert outlets(ending=None, place="dwelling") is PASS
    assert outlets(rating_a=40.0) is PASS
    assert outlets(rating_a=32.1) is PASS
    found(outlets(rating_a=32.0))
    found(outlets(rating_a=None))
    found(outlets(rating_a=40.0, sources=PORTABLE))
    # what is plugged in by a lead is judged by what its place asks for, and without one not at all
    assert outlets(lead=True) is PASS


def test_the_rcd_of_socket_outlets_without_a_frame() -> None:
    # a person is what the current flows through there: a protective path that is missing excuses no RCD
    assert outlets(outside="pe-missing") == NotApplicable("pe-missing")
    bare = {"framed": False, "outside": "pe-missing"}
    found(outlets(**bare))
    assert outlets(**bare, unsettled="floats") == NotApplicable("floats")
    assert outlets(device(), **bare) == NotApplicable("pe-missing")  # there is a PE terminal, that leads nowhere
    nowhere = SimpleNamespace(written="oven", pe=-1)
    assert outlets(device(), **bare, point=nowhere, system="TT") is PASS
    first = SimpleNamespace(written="oven", pe=0)
    assert isinstance(outlets(device(), **bare, point=first), NotApplicable)


def test_the_rcd_of_a_circuit_that_does_not_say_what_it_serves() -> None:
    with pytest.raises(Unknown, match="what oven serves"):
        outlets(serves=None)
    assert outlets(device(), serves=None) is PASS
    assert outlets(serves=None, rating_a=40.0) is PASS


def test_the_rcd_of_outlets_by_rooms() -> None:
    # NEC 210.8 goes by the room; 445.20: the outlets of a portable set
    look = outlets(rulebook="nec")
    assert isinstance(look, Review) and "no device of 6 mA" in look.message
    assert "of 6 mA or less" in found(outlets(rulebook="nec", place="outdoor")).message
    found(outlets(rulebook="nec", board="set", sources=PORTABLE))
    assert isinstance(outlets(rulebook="nec", sources=PORTABLE), Review)
    # up to 50 A of one line (210.8(B) ?); of two lines the rooms decide
    found(outlets(rulebook="nec", place="outdoor", rating_a=50.0, board="set", sources=PORTABLE))
    assert outlets(rulebook="nec", place="outdoor", rating_a=50.1) is PASS
    assert isinstance(outlets(rulebook="nec", place="outdoor", cores=("L1", "L2", "N", "PE")), Review)


def test_the_rcd_of_a_medical_location() -> None:
    # IEC 60364-7-710: in the isolated system of a medical location the first fault is to be signalled and not cut off
    exempt = outlets(island=IT, place="medical")
    assert isinstance(exempt, Exempt) and exempt.reason.startswith("a final circuit of a medical IT system")
    found(outlets(island=IT))
    found(outlets(place="medical"))
    # 710.411.4 (from memory): 30 mA up to 63 A in locations of group 1 and 2, which nothing written tells
    look = outlets(place="medical", serves="fixed", rating_a=63.0)
    assert isinstance(look, Review) and "in locations of group 1 and 2" in look.put_right
    assert outlets(place="medical", serves="fixed", rating_a=63.1) is PASS
    assert outlets(device(), place="medical", serves="fixed") is PASS
    assert isinstance(outlets(device(residual_a=0.1), place="medical", serves="fixed"), Review)


def test_the_rcd_of_reduced_low_voltage() -> None:
    # BS 7671, 411.8 (from memory): 63.5 V to earth of three lines, 55 V of two; the lines come from windings with a mid-point
    def verdict(volts: float, rulebook: str = "bs7671", phases: tuple[str, ...] = THREE) -> Verdict:
        return outlets(voltage_v=volts, rulebook=rulebook, sources=(source("tool", "fixed", phases),))

    assert isinstance(verdict(63.5), Exempt)
    assert isinstance(verdict(55.0, phases=("L1", "L2")), Exempt)
    found(verdict(63.6))
    found(verdict(float("nan")))
    found(verdict(0.0))  # no voltage is written
    assert isinstance(verdict(0.5), Exempt)
    for book in ("iec", "nec", "as-nzs", "sans"):
        for volts in (0.5, 63.5):
            assert not isinstance(verdict(volts, book), Exempt)
    found(verdict(55.0, phases=("L1",)))
    two = (source("tool", "fixed", THREE), source("grid", "fixed", ("L1",)))
    found(outlets(voltage_v=55.0, rulebook="bs7671", sources=two))
    assert outlets(device(), voltage_v=55.0, rulebook="bs7671") is PASS


def demand(
    place: str, above_a: float, to_a: float, residual_a: float, serves: str = "socket-outlets", **more: Any
) -> Demand:
    return Demand(place, serves, above_a, to_a, residual_a, "1.2", **more)


def test_the_rcd_of_a_place_with_a_demand_of_its_own() -> None:
    # a construction site asks for 500 mA above 32 A (704.411.3.2.1 ?), a marina for 30 mA up to 63 A (709.531.2 ?)
    def says(*rcds: Any, **more: Any) -> str:
        return found(outlets(*rcds, **more)).message

    by_place = "oven has no RCD of 500 mA or less on every way to it, which the place (construction) asks for"
    large = {"place": "construction", "sources": PORTABLE}
    assert says(**large, rating_a=63.0) == by_place
    assert outlets(device(residual_a=0.5), **large, rating_a=63.0) is PASS
    assert outlets(device(residual_a=0.5, delay="S"), **large, rating_a=63.0) is PASS
    assert says(device(residual_a=0.6), **large, rating_a=63.0) == by_place
    assert says(device(residual_a=None), **large, rating_a=63.0) == by_place
    assert says(device(residual_a=0.5, senses=("L2", "N")), **large, rating_a=63.0) == by_place
    assert says(place="construction", rating_a=32.0).startswith("the socket-outlets of oven have no RCD of 30 mA")
    for rating_a, residual in ((16.0, "30 mA"), (63.0, "30 mA"), (64.0, "300 mA")):
        one = found(outlets(place="marina", rating_a=rating_a))
        assert one.message.startswith(f"oven has no RCD of {residual} or less on every way to it, which the place")
        assert one.subject == ("oven", ("circuits", "oven")) and one.put_right.endswith("(709.531.2 ?)")


def test_the_band_of_ratings_of_a_demand() -> None:
    # above 32 A up to 63 A, whatever the rulebook: 32 A is below the band, 63 A is in it
    band = (demand("construction", 32.0, 63.0, 0.5),)
    for rating_a, portable, by_place in (
        (32.0, True, False),
        (63.0, True, True),
        (63.0, False, True),
        (64.0, True, False),
    ):
        sources = PORTABLE if portable else (source("grid", "fixed"),)
        message = found(outlets(place="construction", rating_a=rating_a, sources=sources, demands=band)).message
        assert ("which the place (construction) asks for" in message) == by_place
    assert outlets(place="construction", rating_a=64.0, demands=band) is PASS
    assert outlets(place="construction", rating_a=40.0, demands=(demand("construction", 40.0, 63.0, 0.5),)) is PASS
    # a rating that is not written is open where a demand hangs on it, on either side
    for above_a, to_a in ((1.5, ANY), (0.0, 63.0)):
        with pytest.raises(Unknown, match="the rating of what protects oven"):
            outlets(place="construction", rating_a=None, demands=(demand("construction", above_a, to_a, 0.5),))
    found(outlets(place="construction", rating_a=None, demands=(demand("construction", 0.0, ANY, 0.5),)))


def test_the_rcd_of_every_circuit_of_a_place() -> None:
    # in an agricultural place 300 mA for all (705.411.1), in a dwelling 30 mA for lighting (411.3.4 ?), which no type S gives
    found(outlets(serves="fixed", place="agricultural"))
    assert outlets(device(residual_a=0.3, delay="S"), serves="fixed", place="agricultural") is PASS
    assert outlets(device(), serves="lighting", place="dwelling") is PASS
    found(outlets(device(delay="S"), serves="lighting", place="dwelling"))
    assert outlets(serves="fixed", place="dwelling") is PASS
    # the smallest that is asked for: 100 mA for socket-outlets above 32 A
    assert "100 mA" in found(outlets(place="agricultural", rating_a=40.0)).message
    assert "300 mA" in found(outlets(place="agricultural", rating_a=40.0, serves="fixed")).message
    # up to 32 A the usual 30 mA beside it
    both = found(outlets(device(residual_a=0.3), place="agricultural", rating_a=32.0))
    assert both.message.startswith("the socket-outlets of oven have no RCD of 30 mA")
    with pytest.raises(Unknown, match="what oven serves"):
        outlets(serves=None, place="dwelling", rating_a=40.0)
    # AS/NZS 3000, 2.6.3 (from memory): every final circuit of a dwelling, whatever its rating; 3012 on building sites up to 32 A
    found(outlets(serves="fixed", place="dwelling", rating_a=None, rulebook="as-nzs"))
    found(outlets(serves="fixed", place="dwelling", rating_a=40.0, rulebook="as-nzs"))
    site = {"serves": "fixed", "place": "construction", "rulebook": "as-nzs"}
    found(outlets(**site, rating_a=32.0))
    assert outlets(**site, rating_a=32.1) is PASS
    with pytest.raises(Unknown, match="the rating of what protects oven"):
        outlets(**site, rating_a=None)
    found(outlets(serves="fixed", place="agricultural", rating_a=None))


def test_the_rcd_of_a_portable_set_that_feeds_no_building() -> None:
    # IEC 60364-5-55, 551.4.4.2 (from memory): 30 mA for all that it feeds
    one = found(outlets(serves="fixed", lone=True, sources=PORTABLE))
    assert one.message.endswith("which a portable set asks for") and "(551.4.4.2 ?)" in one.put_right
    assert outlets(serves="fixed", sources=PORTABLE) is PASS
    assert outlets(serves="fixed", lone=True) is PASS
    found(outlets(serves="fixed", lone=True, sources=(source("grid", "fixed"), *PORTABLE)))
    assert outlets(device(), serves="fixed", lone=True, sources=PORTABLE) is PASS


def test_the_demands_of_a_place_for_leads_and_for_cables() -> None:
    # a lead counts as a socket-outlet; what every final circuit needs is no demand on a lead or a cable between boards
    kinds = (demand("marina", 0, ANY, 0.1, ""), demand("marina", 0, ANY, 0.2, "distribution"))
    at = {"place": "marina", "demands": kinds}
    assert "100 mA" in found(outlets(**at, serves="fixed")).message
    assert outlets(**at, lead=True) is PASS
    assert "200 mA" in found(outlets(**at, lead=True, serves="distribution")).message
    assert "100 mA" in found(outlets(**at, serves="distribution")).message  # a final circuit is no cable between boards
    assert outlets(place="marina", demands=kinds[1:], serves="distribution") is PASS
    found(outlets(place="marina", demands=(demand("marina", 0, ANY, 0.1),), lead=True))
    # what a lead serves is never open
    assert outlets(place="marina", demands=(demand("marina", 0, ANY, 0.1),), lead=True, serves="") is PASS


def test_the_demands_of_a_place_by_the_number_of_lines() -> None:
    def verdict(lines: int, *cores: str) -> Verdict:
        one = (demand("marina", 0, ANY, 0.1, lines=lines),)
        return outlets(place="marina", demands=one, rating_a=40.0, cores=(*cores, "N", "PE"))

    for lines in (0, 1):
        found(verdict(lines, "L1"))
    assert verdict(2, "L1") is verdict(1, "L1", "L2") is PASS
    for cores in (("L1", "L2"), ("L1", "L2", "L3")):
        found(verdict(2, *cores))
        found(verdict(0, *cores))


def test_the_demands_of_a_place_for_what_is_plugged_in() -> None:
    # 708 for the pitch, 721 for the caravan: its own RCD lies behind the plug
    both = (demand("caravan", 0, ANY, 0.03, where="fixed"), demand("caravan", 0, ANY, 0.05, "", where="plugged"))
    at = {"place": "caravan", "demands": both}
    assert "30 mA" in found(outlets(**at)).message
    aboard = found(outlets(device(), **at, plugged=True))
    assert "50 mA or less on every way to it behind its plug" in aboard.message
    assert aboard.put_right == "put oven behind an RCD of 50 mA or less behind its plug (1.2 ?)"
    assert outlets(**at, plugged=True, rcds_aboard=((device(), "lead"),), rcds=((device(), "lead"),)) is PASS
    assert isinstance(outlets(**at, rcds_aboard=((device(), "lead"),)), Finding)
    # a lead from the pitch is of the pitch, whatever hangs on it
    assert "30 mA" in found(outlets(**at, plugged=True, lead=True)).message
    # what is asked for of both is asked for of both
    either = (demand("caravan", 0, ANY, 0.1, ""), *both)
    for plugged, residual in ((True, "50 mA"), (False, "100 mA")):
        fixed = found(outlets(place="caravan", demands=either, serves="fixed", plugged=plugged))
        assert fixed.message.startswith(f"oven has no RCD of {residual}")
    assert outlets(place="caravan", demands=both, serves="fixed", plugged=False) is PASS
    assert "100 mA" in found(outlets(place="caravan", demands=either[:1], serves="fixed", plugged=True)).message


def test_an_rcd_that_has_to_open_all_poles() -> None:
    # 708.531.3, 709.531.2 (from memory)
    def verdict(poles: tuple[str, ...], all_poles: bool = True, **more: Any) -> Verdict:
        asked = (demand("marina", 0, ANY, 0.03, all_poles=all_poles, dwelt=more.pop("dwelt", False)),)
        return outlets(device(poles=poles), place="marina", demands=asked, **more)

    one = found(verdict(("L1",)))
    assert one.message.startswith("the RCD of oven leaves a live conductor closed") and one.subject is not None
    assert verdict(("L1",), False) is verdict(("L1", "N")) is verdict(("L1", "L2", "N")) is PASS
    assert verdict(("L1",), cores=("L1", "PE")) is PASS
    # a dwelling that stands there for good needs no such one, and nobody wrote whether one does
    look = verdict(("L1",), dwelt=True, lives_beside=True)
    assert isinstance(look, Review) and "oven may be an outlet of the place (marina)" in look.message
    found(verdict(("L1",), dwelt=True))
    found(verdict(("L1",), lives_beside=True))
    bare = (demand("marina", 0, ANY, 0.03, all_poles=True, dwelt=True),)
    assert "has no RCD" in found(outlets(place="marina", demands=bare, lives_beside=True)).message


def test_an_rcd_that_is_to_be_its_own() -> None:
    # 708.531.3, 709.531.2 (from memory): each socket-outlet by one of its own
    written, silent = ("kettle", ("circuits", "kettle"), True), ("lamp", ("circuits", "lamp"), False)

    def verdict(*shared: Any, own: bool = True, when: str = "") -> Verdict:
        devices = [device(id=f"q-{number}") for number in range(len(shared))]
        beside = dict(zip((one.id for one in devices), shared, strict=True))
        return outlets(
            *devices,
            place="marina",
            demands=(demand("marina", 0, ANY, 0.03, own=own, when=when),),
            shared_with=lambda device, connection: beside[device.id],
        )

    one = found(verdict(written))
    assert one.message.startswith("oven shares its RCD with another socket-outlet, and the place (marina)")
    assert one.mentions == (Mention("kettle", ("circuits", "kettle"), "it hangs on the same RCD"),)
    assert one.put_right == "give oven an RCD of 30 mA of its own (1.2 ?)"
    assert verdict(None) is verdict(written, None) is verdict(None, silent) is verdict(written, own=False) is PASS
    found(verdict(written, written))
    with pytest.raises(Unknown) as raised:
        verdict(written, silent)
    assert raised.value.what == "what lamp serves" and raised.value.route == ("circuits", "lamp")


def test_a_demand_that_asks_for_none_and_one_that_a_person_has_to_judge() -> None:
    # NEC 551.71(F): above 20 A, or of several lines: no GFCI is asked for on a pitch
    exempt = outlets(rulebook="nec", place="caravan", rating_a=30.0)
    assert isinstance(exempt, Exempt) and "(551.71(F))" in exempt.reason
    assert isinstance(outlets(rulebook="nec", place="caravan", cores=("L1", "L2", "N", "PE")), Exempt)
    assert outlets(device(residual_a=0.006), rulebook="nec", place="caravan", rating_a=30.0) is PASS
    # a larger one does not stand in for what the usual rule would ask for
    assert isinstance(outlets(device(residual_a=0.1), rulebook="nec", place="caravan", rating_a=30.0), Exempt)
    found(outlets(rulebook="nec", place="caravan", rating_a=20.0))
    asked = demand("marina", 0, ANY, 0.1, when="in the wet")
    look = outlets(place="marina", demands=(asked,))
    assert isinstance(look, Review) and look.put_right == "1.2 ? asks for it in the wet: see whether that is so here"
    # what is certain comes before what a person has to judge, whichever asks for less
    both = (asked, demand("marina", 0, ANY, 0.3))
    assert "300 mA" in found(outlets(place="marina", demands=both)).message
    assert isinstance(outlets(device(residual_a=0.3), place="marina", demands=both), Review)
    # one that is met hides no other one
    second = demand("marina", 0, ANY, 0.2, all_poles=True, when="on a jetty")
    poles = outlets(device(poles=("L1",)), place="marina", demands=(asked, second))
    assert isinstance(poles, Review) and "asks for it on a jetty" in poles.put_right
    # a place that says nothing of its socket-outlets leaves them to the usual rule, which is certain too
    every = (demand("marina", 0, ANY, 0.1, "", when="in the wet"),)
    assert "the socket-outlets of oven" in found(outlets(place="marina", demands=every)).message
    assert isinstance(outlets(device(delay="S", residual_a=0.2), place="marina", demands=every, rating_a=40.0), Review)
    assert outlets(place="caravan", demands=(asked,), rating_a=40.0) is PASS


def in_the_soil(*late: Cleared, rulebook: str = "iec", **more: Any) -> Verdict:
    return said("rcd-missing", fault(*late, ending=None, rating_a=None, system="TT", **more), rulebook)


def test_the_rcd_of_a_place_in_a_tt_system() -> None:
    # IEC 60364-4-41, 411.5.2: an RCD, or a device that clears it in time
    one = found(in_the_soil(NEVER))
    assert one.because is None and one.figures == (("fault current", "100 A"), ("fault loop", "2.30 ohm"))
    assert in_the_soil() is PASS
    assert in_the_soil(NEVER, rulebook="nec") is PASS
    assert in_the_soil(NEVER, table_s=None) is PASS
    assert in_the_soil(NEVER, rcds=((device(), "group"),)) is PASS
    assert said("rcd-missing", fault(NEVER, ending=None, rating_a=None)) is PASS
    assert in_the_soil(NEVER, outside="floats") == NotApplicable("floats")
    with pytest.raises(Unknown, match="the rating of q-1"):
        in_the_soil(OPEN)
    found(in_the_soil(OPEN, NEVER))
    missing = Missing("the length of feed", ("connections", "feed"))
    with pytest.raises(Unknown, match="the length of feed"):
        in_the_soil(NEVER, line="", missing=missing)
    with pytest.raises(Unknown, match="the length of feed"):
        in_the_soil(known=Unknown("the length of feed", ()))
    found(in_the_soil(NEVER, missing=missing))


def test_what_a_missing_rcd_of_a_tt_system_follows_from() -> None:
    def cause(own: bool = True, **more: Any) -> object:
        held = SimpleNamespace(it=False, own_references=(1,) if own else ())
        return found(in_the_soil(NEVER, island=held, **more)).because

    assert cause() is None
    assert cause(unsplit="main", apart="rod") == ("bond-missing-at-pen-split", "main")
    assert cause(apart="rod", nearest_to_source="hut") == ("electrodes-not-joined", "rod")
    assert cause(nearest_to_source="hut") == ("rcd-missing", "hut")
    assert cause(False, from_utility=False) == ("island-reference-borrowed", "inverter")
    assert cause(False, from_utility=True) is None
    assert cause(True, from_utility=False) is None
    assert cause(False, from_utility=False, feds=()) is None
