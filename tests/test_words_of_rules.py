"""What rules say of subjects made by hand: which verdict, what it follows from, and the words and figures that hang on a condition.

Sites and examples prove where something is found; here stand the branches of the words, one beside the other.  The figures are worked
out beside them.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from by_hand import BY_ID, by_hand, said
from onebond.circuit.impedances import Missing
from onebond.facts.direct_loop import DirectLoop
from onebond.facts.floating import Band
from onebond.facts.island import Reference
from onebond.facts.service import Sharing
from onebond.model import Device, DirectSource, Monitor, Source
from onebond.network import Rcd
from onebond.result import Mention
from onebond.rule import (
    PASS,
    RULEBOOKS,
    BatteryLeads,
    BorrowedNeutral,
    Crossing,
    Dead,
    DirectSide,
    ElectrodePair,
    Energised,
    Exempt,
    Exposed,
    FedBehindRcd,
    Feeding,
    Finding,
    FloatingReading,
    InfeedBehindRcd,
    Island,
    Isolated,
    Levels,
    Misfit,
    NeutralContact,
    NotApplicable,
    OwnInput,
    Pair,
    PenLanding,
    RcdAtInverter,
    RcdForPlace,
    Relay,
    Review,
    Surplus,
    SwitchedProtective,
    Unknown,
)

NOT_WRITTEN = Unknown("the length of lamps", ("circuits", "lamps"))


def found(verdict: object) -> Finding:
    assert isinstance(verdict, Finding), verdict
    return verdict


def island(**more: Any) -> Any:
    given = {
        "it": False,
        "references": (),
        "own_references": (),
        "detached": False,
        "borrows_when_attached": False,
        "impedances": (),
        "utility_fed": False,
        "utility_behind": False,
        "changing_over": False,
        **more,
    }
    return by_hand(Island, **given)


def reference(identifier: str, kind: str, **more: Any) -> Any:
    words = {"internal": f"the bond inside {identifier}", "star": f"the star point of {identifier}"}.get(
        kind, identifier
    )
    return by_hand(Reference, id=identifier, kind=kind, words=words, route=("bonds", identifier), **more)


def feeding(**more: Any) -> Any:
    given = {
        "id": "set",
        "island": island(),
        "feed": SimpleNamespace(sources=(by_hand(Source, mains_input=False),)),
        "portable": False,
        "premises": False,
        "items": 2,
        "vehicle": False,
        "outlets": (),
        "frame_apart": "",
        "hard_wired": "",
        "boards": False,
        "circuits_behind": lambda residual_a: True,
        "opened": "",
        "unsplit": "",
        "silent": (),
        "readings": tuple,
        "waiting": (),
        "meets": False,
        "utilities": (),
        "electrode": "",
        "electrodes": (),
        "frame_electrode": "",
        "cut_off": "",
        **more,
    }
    return by_hand(Feeding, **given)


# -- a neutral that floats ------------------------------------------------------------------------------------------------


def test_a_floating_neutral_and_what_it_follows_from() -> None:
    rule = "neutral-unreferenced"
    plain = found(said(rule, feeding()))
    assert plain.because is None and plain.figures == () and plain.weight == 0.0
    assert plain.so.startswith("the neutral floats: a fault to a frame drives no current")
    assert said(rule, feeding(island=island(references=(1,)))) is PASS
    assert isinstance(said(rule, feeding(island=island(it=True))), NotApplicable)
    assert found(said(rule, feeding(opened="lamp-link", unsplit="main"))).because == ("bond-behind-rcd", "lamp-link")
    assert found(said(rule, feeding(unsplit="main"))).because == ("bond-missing-at-pen-split", "main")
    silent = found(said(rule, feeding(silent=("neutral-bond of set is not written and was read as none",))))
    assert silent.message.endswith("nowhere; neutral-bond of set is not written and was read as none")
    held = found(said(rule, feeding(island=island(impedances=("resistor",)))))
    assert held.so.startswith("a fault to a frame drives no more current than the impedance lets through")


def test_a_floating_neutral_that_a_detached_supply_takes_away() -> None:
    # judged by island-reference-borrowed; a supply that lends nothing, or that is still joined, excuses nothing
    def verdict(detached: bool, borrows: bool) -> object:
        return said("neutral-unreferenced", feeding(island=island(detached=detached, borrows_when_attached=borrows)))

    assert isinstance(verdict(True, True), NotApplicable)
    for given in ((True, False), (False, True), (False, False)):
        found(verdict(*given))


def test_a_floating_neutral_of_a_portable_set() -> None:
    # IEC 60364-4-41, 413: one item; IEC 60364-5-55, 551.4.4: its frames bonded, its own outlets only, each behind 30 mA; NEC 250.34: no RCD
    def verdict(rulebook: str = "iec", **more: Any) -> object:
        return said("neutral-unreferenced", feeding(portable=True, **more), rulebook)

    one = verdict(items=1, frame_apart="lamps")
    assert isinstance(one, Exempt) and one.reason == "portable source that supplies one item (IEC 60364-4-41, 413 ?)"
    assert isinstance(verdict(items=0, boards=True), Exempt)
    two = verdict(items=2)
    assert isinstance(two, Exempt) and two.reason.startswith("portable source, frames bonded to it, its own outlets")
    assert two.reason.endswith("(IEC 60364-5-55, 551.4.4 ?)") and two.remains.endswith("but what is plugged into it")
    found(verdict(items=2, frame_apart="lamps"))
    found(verdict(items=2, boards=True))
    found(verdict(items=2, circuits_behind=lambda residual_a: residual_a > 0.03))
    assert isinstance(verdict(items=2, circuits_behind=lambda residual_a: residual_a >= 0.03), Exempt)
    assert isinstance(verdict("nec", circuits_behind=lambda residual_a: residual_a == float("inf")), Exempt)
    found(verdict(items=1, premises=True))
    found(said("neutral-unreferenced", feeding(portable=False, items=1)))
    # the code has no separation of one item: its frames have to be bonded whatever it feeds
    found(verdict("nec", items=1, frame_apart="lamps"))
    # how much an outlet feeds is not written: an RCD settles it, else a person has to
    outlets = {"items": 1, "outlets": ("socket",)}
    exempt = verdict(**outlets)
    assert isinstance(exempt, Exempt) and "its own outlets only" in exempt.reason
    for more in ({"frame_apart": "lamps"}, {"boards": True}, {"circuits_behind": lambda residual_a: False}):
        look = verdict(**outlets, **more)
        assert isinstance(look, Review) and look.put_right.startswith("one item is permitted (IEC 60364-4-41, 413 ?)")
        found(verdict("nec", **outlets, **more, **({} if "circuits_behind" not in more else {"boards": True})))
    found(verdict(items=2, outlets=("socket",), boards=True))


def test_a_floating_neutral_of_a_vehicle() -> None:
    # IEC 60364-7-717, 717.411.6 (from memory); NEC 250.34(B): its frame has to be joined to that of the vehicle
    def verdict(rulebook: str = "iec", **more: Any) -> object:
        return said("neutral-unreferenced", feeding(portable=True, vehicle=True, **more), rulebook)

    several = verdict(items=2)
    assert isinstance(several, Exempt) and several.reason.endswith("(IEC 60364-7-717, 717.411.6 ?)")
    assert several.remains.endswith("; its frame has to be joined to the frame of the vehicle")
    one, code = verdict(items=1), verdict("nec", items=1)
    assert isinstance(one, Exempt) and one.reason.startswith("vehicle source that supplies one item")
    assert isinstance(code, Exempt) and code.reason.endswith("(NEC 250.34(B))")


def read(digital: Any, low: Any, touch: Band | None, filters: bool = True) -> Finding:
    reading = FloatingReading("hut", (), island(), "L1", digital, low, touch, filters)
    return found(said("neutral-unreferenced", feeding(readings=lambda: (reading,))))


def test_what_meters_read_where_the_neutral_floats() -> None:
    band = Band(30.46, 78.74)
    known = (230.0, band, band)
    one = read(known, (None, None, Band(0.0271, 0.163)), Band(0.0000903, 0.000542))
    assert one.figures == (
        ("meter of 10 Mohm at hut", "L1-N 230 V, L1-PE 30.5 to 78.7 V, N-PE 30.5 to 78.7 V"),
        ("meter of 3 kohm at hut", "L1-N not determined, L1-PE not determined, N-PE 27.1 mV to 0.163 V"),
        ("through a person from L1 to PE", "0.0903 to 0.542 mA"),
    )
    assert one.weight == 0.000542
    same = read((230.0, Band(115.0, 115.01), None), known, None, filters=False)
    assert dict(same.figures)["meter of 10 Mohm at hut"] == "L1-N 230 V, L1-PE 115 V, N-PE not determined"
    assert dict(same.figures)["through a person from L1 to PE"] == "not determined"
    assert same.figures[-1][0] == "these rest on" and same.weight == 0.0


def test_what_ties_a_neutral_without_tying_it_twice() -> None:
    def advice(through: str | None = None, **more: Any) -> str:
        source = by_hand(Source, mains_input=through is not None, neutral_through=through)
        return found(said("neutral-unreferenced", feeding(feed=SimpleNamespace(sources=(source,)), **more))).put_right

    assert (
        advice()
        == "tie the neutral of set to PE once (a bond at its first board or inside it), or declare it IT with a monitor"
    )
    assert advice(meets=True).startswith(
        "tie the neutral of set to its frame, and open that neutral with the lines wherever"
    )
    assert advice("switched", meets=True).endswith("only while it inverts (neutral-bond: while-inverting)")
    assert advice("solid").endswith("and part its neutral from its input then (neutral-through: switched)")
    assert advice("solid", waiting=("relay",)).startswith("let relay close while set feeds alone")


# -- a reference that is borrowed, or that reaches no electrode ------------------------------------------------------------


def test_a_reference_that_is_borrowed() -> None:
    rule = "island-reference-borrowed"
    star = island(references=(1,))
    assert found(said(rule, feeding(island=star))).because is None
    assert found(said(rule, feeding(island=star, unsplit="main"))).because == ("bond-missing-at-pen-split", "main")
    assert said(rule, feeding(island=island(references=(1,), own_references=(1,)))) is PASS
    assert said(rule, feeding()) is PASS  # it has none at all: neutral-unreferenced
    for given in ({"utility_fed": True}, {"utility_behind": True}, {"it": True}):
        assert isinstance(said(rule, feeding(island=island(references=(1,), **given))), NotApplicable)


def test_a_reference_without_an_electrode() -> None:
    def verdict(rulebook: str = "iec", own: bool = True, **more: Any) -> object:
        within = more.pop("island", {})
        held = island(references=(1,), own_references=(1,) if own else (), **within)
        return said("electrode-missing", feeding(island=held, **more), rulebook)

    alone = found(verdict())
    assert alone.because is None and alone.put_right.startswith("add an electrode at the main earthing terminal")
    cut = found(verdict(electrodes=("rod", "ring"), cut_off="hut"))
    assert cut.because == ("pe-missing", "hut") and "join the PE of the link to rod and ring" in cut.put_right
    assert verdict(electrode="rod") is PASS
    assert isinstance(verdict(island={"utility_fed": True}), NotApplicable)
    assert isinstance(verdict(island={"it": True}), NotApplicable)
    # a rod on the frame alone is no reference, and there is none that could reach it
    assert isinstance(verdict(own=False, frame_electrode="rod"), NotApplicable)
    assert found(verdict(own=False)).because == ("island-reference-borrowed", "set")
    assert found(said("electrode-missing", feeding())).because == ("neutral-unreferenced", "set")


def test_a_portable_set_and_a_vehicle_without_an_electrode() -> None:
    # IEC 60364-5-55, 551.4.4 (from memory), NEC 250.34(A) and (B); the code excepts what is plugged into a portable set only
    def verdict(rulebook: str = "iec", **more: Any) -> object:
        held = island(references=(1,), own_references=(1,), **more.pop("island", {}))
        return said("electrode-missing", feeding(**{"island": held, "portable": True, **more}), rulebook)

    exempt = verdict()
    assert isinstance(exempt, Exempt) and exempt.reason.startswith("portable source that feeds no building")
    assert exempt.remains.endswith("a cable to a building ends that")
    assert isinstance(verdict(island={"it": True}), Exempt)
    assert found(verdict(premises=True)).because is None
    assert found(verdict(premises=True, frame_apart="lamps")).because is None
    # a frame that nothing joins to that of the set is what is wrong first
    assert found(verdict(frame_apart="lamps")).because == ("pe-missing", "lamps")
    assert found(verdict(frame_apart="lamps", cut_off="hut")).because == ("pe-missing", "hut")
    assert found(said("electrode-missing", feeding(portable=False, frame_apart="lamps"))).because == (
        "neutral-unreferenced",
        "set",
    )
    assert isinstance(verdict(hard_wired="hut"), Exempt)
    assert isinstance(verdict("nec"), Exempt)
    assert found(verdict("nec", hard_wired="hut")).because is None
    vehicle = verdict("nec", vehicle=True, hard_wired="galley")
    assert isinstance(vehicle, Exempt) and "vehicle source that feeds no building" in vehicle.reason
    assert vehicle.remains.endswith("; its frame has to be joined to the frame of the vehicle")


def test_a_reference_behind_a_transformer_of_the_utility() -> None:
    # NEC 250.30(A): a separately derived system has an electrode of its own, behind a transformer too
    behind = feeding(island=island(references=(1,), own_references=(1,), utility_behind=True))
    assert isinstance(said("electrode-missing", behind), NotApplicable)
    found(said("electrode-missing", behind, "nec"))


# -- a reference that is one too many ----------------------------------------------------------------------------------------


def surplus(**more: Any) -> Any:
    given = {
        "id": "hall-link",
        "route": ("bonds", "hall-link"),
        "island": island(),
        "reference": reference("hall-link", "bond"),
        "kept": reference("main-link", "bond"),
        "metallic": True,
        "crossings": (),
        "caused": False,
        "behind": (),
        "review": (),
        "fed_behind": "",
        "sharing": None,
        "rcd": None,
        "needed": False,
        **more,
    }
    return by_hand(Surplus, **given)


def test_a_second_reference_and_how_the_two_are_joined() -> None:
    rule = "neutral-bonded-twice"
    metal, soil = found(said(rule, surplus())), found(said(rule, surplus(metallic=False)))
    assert metal.message.endswith("conductors join the two") and metal.so.startswith(
        "a share of the neutral current, in amperes"
    )
    assert soil.message.endswith("only the soil joins the two") and soil.so.startswith(
        "milliamperes of neutral current"
    )
    assert metal.level is None and metal.because is None
    assert found(said(rule, surplus(island=island(changing_over=True)))).level == "warning"
    assert said(rule, surplus(kept=None)) is PASS
    look = said(rule, surplus(kept=None, review=(Mention("barn", (), "a building"),)))
    assert isinstance(look, Review) and look.mentions == (Mention("barn", (), "a building"),)


def test_a_second_reference_and_what_it_follows_from() -> None:
    rule = "neutral-bonded-twice"
    both = found(said(rule, surplus(crossings=("ts",), caused=True)))
    assert both.because == ("changeover-neutral-solid", "ts")
    for more in ({"crossings": ("ts",)}, {"caused": True}):
        assert found(said(rule, surplus(**more))).because is None
    crossed = surplus(reference=reference("lamps", "crossed"), id="lamps", crossings=("ts",), caused=True)
    assert found(said(rule, crossed)).because == ("device-does-not-fit", "lamps")


def test_a_second_reference_and_how_to_be_rid_of_it() -> None:
    def advice(kind: str, **more: Any) -> str:
        one = reference("set", kind)
        return found(said("neutral-bonded-twice", surplus(id="set", reference=one, **more))).put_right

    assert advice("bond") == "remove set: one of the two links is enough"
    assert advice("internal") == "set neutral-bond of set to none: one of the two links is enough"
    assert advice("internal", needed=True).startswith(
        "hold the bond inside set by a relay that is open wherever main-link"
    )
    assert advice("star", needed=True) == "remove the star point of set: one of the two links is enough"


def shared(**more: Any) -> Finding:
    kind = more.pop("kind", "bond")
    given = {"share": 0.25, "current_a": 2.5, "no_load": None, **more}
    metallic = given.pop("metallic", True)
    one = surplus(sharing=by_hand(Sharing, **given), reference=reference("hall-link", kind), metallic=metallic)
    return found(said("neutral-bonded-twice", one))


def share(**more: Any) -> tuple[tuple[str, str], ...]:
    return shared(**more).figures


def test_the_share_of_a_second_reference() -> None:
    assert found(said("neutral-bonded-twice", surplus())).figures == ()
    name, loaded = "share of neutral current by PE", "with all written loads"
    assert share() == ((name, "25.0 %"), (loaded, "2.50 A"))
    assert share(metallic=False)[0] == ("share of neutral current by the soil", "25.0 %")
    assert share(kind="star")[0] == ("share of neutral current by the star point of hall-link", "25.0 %")
    assert share(share=NOT_WRITTEN) == ((name, "open: the length of lamps is not written"),)
    assert share(share=None) == ((name, "open: up to the resistance of contacts"),)
    # loads that are not written leave a share, and no current
    assert share(no_load=object()) == ((name, "25.0 %"),)
    assert share(current_a=None) == ((name, "25.0 %"),)
    assert (shared().weight, shared(current_a=None).weight) == (2.5, 0.25)
    assert (
        shared(share=None).weight
        == shared(share=NOT_WRITTEN).weight
        == found(said("neutral-bonded-twice", surplus())).weight
        == 0.0
    )
    assert share(current_a=NOT_WRITTEN) == ((name, "25.0 %"), (loaded, "open: the length of lamps is not written"))


def test_an_isolated_system_that_something_ties_to_earth() -> None:
    rule = "it-bonded"
    line = SimpleNamespace(id="line", route=("sources", "line"), forming=True)
    follower = SimpleNamespace(id="roof", route=("sources", "roof"), forming=False)
    held = island(it=True, feeds=(follower, line))
    assert isinstance(said(rule, surplus()), NotApplicable)
    link = found(said(rule, surplus(island=held)))
    assert link.message == "hall-link ties an island to earth that is declared IT" and link.subject is None
    star = found(said(rule, surplus(island=held, reference=reference("shore", "star"))))
    assert star.subject == ("line", ("sources", "line")) and "stays tied to the star point of shore" in star.message


# -- a link behind an RCD -----------------------------------------------------------------------------------------------------


def behind(**more: Any) -> Finding:
    given = {"kept": None, "behind": (("rcd-house", (), "grid"),), **more}
    return found(said("bond-behind-rcd", surplus(**given)))


def test_a_link_behind_an_rcd_and_what_it_follows_from() -> None:
    assert said("bond-behind-rcd", surplus()) is PASS
    assert behind().because is None and behind().message.endswith("on the protected side of the RCD in rcd-house")
    assert behind(fed_behind="hybrid").because == ("inverter-fed-behind-rcd", "hybrid")
    twice = behind(kept=reference("main-link", "bond"), fed_behind="hybrid")
    assert twice.because == ("neutral-bonded-twice", "hall-link")


def test_a_link_behind_an_rcd_by_its_name() -> None:
    assert behind().message.startswith("hall-link ties N to PE")
    inner = reference("set", "internal")
    assert behind(id="set", reference=inner).message.startswith("the bond inside set ties N to PE")
    # a link that stands in the enclosure of a source that is bonded inside
    assert behind(id="hall-link", reference=inner).message.startswith("hall-link ties N to PE")
    assert behind(id="set", reference=reference("set", "bond")).message.startswith("set ties N to PE")


def passes_by(beside: object, rating_a: float | None = 40.0, nominal_v: float = 230.0, **more: Any) -> Finding:
    sharing = SimpleNamespace(beside=lambda rcd: raised(beside), nominal_v=nominal_v)
    device = by_hand(Device, residual_a=more.pop("residual_a", 0.03), rating_a=rating_a)
    return behind(**{"sharing": sharing, "rcd": by_hand(Rcd, device=device), **more})


def raised(value: object) -> object:
    if isinstance(value, Unknown):
        raise value
    return value


def test_the_load_from_which_an_rcd_trips() -> None:
    # IEC 61008-1: it may operate from 0.5 and has to from 1.0 of 30 mA; at a tenth of the current of a load that is 150 and 300 mA
    may, will = "rcd-house may trip from a load of", "it has to trip from a load of"
    assert passes_by(0.1).figures == ((may, "0.150 A (34.5 W)"), (will, "0.300 A (69.0 W)"))
    assert passes_by(0.1).weight == 0.1
    assert passes_by(0.1, nominal_v=0.0).figures == ((may, "0.150 A"), (will, "0.300 A"))
    # at a half it is 30 and 60 mA: what is more than 30 mA is more than its rating, what is as much is not
    assert passes_by(0.5, 0.03, 0.0).figures == ((may, "30.0 mA"), (will, "60.0 mA, more than its rating"))
    assert passes_by(0.5, None, 0.0).figures == ((may, "30.0 mA"), (will, "60.0 mA"))
    for beside, told in (
        (NOT_WRITTEN, "open: the length of lamps is not written"),
        (None, "open: up to the resistance of contacts"),
        (1e-7, "none: no neutral current passes it by"),
    ):
        assert passes_by(beside).figures == ((may, told),) and passes_by(beside).weight == 0.0
    assert passes_by(1e-6).figures[0] == (
        may,
        "15.0 kA (3450 kW), more than its rating",
    )  # a millionth is still counted
    assert passes_by(0.1, residual_a=None).figures == ((may, "open: the residual of rcd-house is not written"),)
    assert passes_by(0.1, residual_a=None).weight == passes_by(0.1, sharing=None).weight == 0.0
    assert passes_by(0.1, sharing=None).figures == passes_by(0.1, rcd=None).figures == ()


# -- changeovers and infeeds ---------------------------------------------------------------------------------------------------


def crossing(**more: Any) -> Any:
    given = {
        "id": "ts",
        "island": None,
        "solid": False,
        "sides": 2,
        "joins": (),
        "beside": "",
        "inverter": False,
        "tn": True,
        "distinct": True,
        "utility": "grid",
        "vehicle": False,
        **more,
    }
    return by_hand(Crossing, **given)


def test_the_neutral_of_a_supply_that_is_switched() -> None:
    # AS/NZS 3000, 7.3.8.1.2: the neutral of the supply stays connected
    def verdict(**more: Any) -> object:
        return said("changeover-neutral-switched", crossing(**more), "as-nzs")

    changeover, inverter = found(verdict()), found(verdict(inverter=True))
    assert changeover.level is None and changeover.put_right.startswith("take N out of the poles of ts")
    assert inverter.level == "warning" and inverter.put_right.startswith(
        "use an inverter that keeps the neutral through"
    )
    assert verdict(solid=True) is PASS
    assert verdict(utility="") is PASS  # no supply arrives at it
    assert isinstance(verdict(sides=1), NotApplicable)
    assert isinstance(verdict(island=island()), NotApplicable)
    assert isinstance(verdict(inverter=True, vehicle=True), Exempt)


def test_a_neutral_that_stays_solid() -> None:
    two = (Mention("main-link", (), "a"), Mention("set", (), "b"))

    def verdict(rulebook: str = "iec", **more: Any) -> object:
        return said("changeover-neutral-solid", crossing(solid=True, **more), rulebook)

    joined = found(verdict(joins=two))
    assert (joined.level, joined.because, joined.put_right) == ("error", None, "add N to the poles of ts")
    assert found(verdict(joins=two, beside="set")).because == ("neutral-bonded-twice", "set")
    assert found(verdict("as-nzs", joins=two)).put_right.startswith("remove the link of set")
    assert isinstance(verdict(joins=two, inverter=True), NotApplicable)
    assert isinstance(verdict(joins=two, sides=1), NotApplicable)
    assert found(verdict()).level == "warning"
    assert found(verdict("bs7671")).level == "warning"
    for more in ({"island": island()}, {"tn": False}, {"distinct": False}, {"rulebook": "nec"}):
        assert verdict(**more) is PASS
    assert said("changeover-neutral-solid", crossing(joins=two)) is PASS


def test_a_source_that_enters_behind_protection() -> None:
    def verdict(by: str) -> object:
        infeed = by_hand(InfeedBehindRcd, id="roof", by=by, through="sockets", through_route=(), other="grid")
        return said("infeed-behind-rcd", infeed)

    def words(by: str) -> str:
        return found(verdict(by)).message

    assert verdict("") is PASS
    assert words("circuit") == "roof enters through the final circuit sockets, which grid feeds from the other side"
    assert words("rcd") == "roof enters on the load side of the RCD in sockets, which grid feeds from the other side"


def test_an_inverter_that_is_fed_behind_an_rcd() -> None:
    def verdict(trouble: str, misfit: str = "") -> object:
        fed = by_hand(FedBehindRcd, id="hybrid", trouble=trouble, misfit=misfit, rcd="group", rcd_route=())
        return said("inverter-fed-behind-rcd", fed)

    def because(trouble: str, misfit: str = "") -> object:
        return found(verdict(trouble, misfit)).because

    assert verdict("") is PASS
    assert because("reference") is None
    assert because("supplier") == ("island-reference-borrowed", "hybrid")
    assert because("return") is None
    # an RCD that leaves a core out lets the neutral return round it
    assert because("return", "group") == ("device-does-not-fit", "group")
    assert because("loads", "group") is None


def test_a_neutral_that_opens_before_its_lines() -> None:
    def verdict(left: tuple[str, ...], fuse: bool, it: bool = False) -> object:
        contact = by_hand(NeutralContact, name="q-main", left=left, fuse=fuse, it=it)
        return said("neutral-opens-first", contact)

    assert verdict((), False) is PASS
    stays = found(verdict(("L1", "L2"), False))
    assert stays.message == "q-main opens the neutral and leaves L1 L2 closed"
    assert stays.put_right.startswith("open all lines with the neutral in q-main")
    fuse = found(verdict((), True))
    assert fuse.message == "q-main opens the neutral and is a fuse, whose neutral may open alone"
    assert fuse.put_right.startswith("take a breaker that opens all poles together in place of q-main")
    # IEC 60364-4-43, 431.2.2: in IT the neutral is protected against overcurrent, with its lines
    assert isinstance(verdict((), True, it=True), NotApplicable)
    found(verdict(("L1",), True, it=True))


# -- earthing and the wiring -----------------------------------------------------------------------------------------------------


def test_a_frame_without_a_protective_path() -> None:
    def verdict(kind: str = "circuit", **more: Any) -> object:
        given = {"id": "lamps", "way": "", "pen_split": "", "root": "lamps", **more}
        return said("pe-missing", by_hand(Exposed, part=SimpleNamespace(kind=kind), **given))

    assert verdict(way="electrode") is PASS
    assert found(verdict()).because is None
    assert found(verdict("source")).message.startswith("the frame of the source lamps has no protective path")
    assert found(verdict(root="hut")).because == ("pe-missing", "hut")
    assert found(verdict(root="hut", pen_split="main")).because == ("bond-missing-at-pen-split", "main")
    # a board may be doubly insulated, and may stand in a building with an electrode of its own; a load and a source are neither
    for kind, board in (("board", True), ("circuit", False), ("source", False)):
        remedy = found(verdict(kind)).put_right
        assert ("class-II" in remedy, "electrode there" in remedy) == (board, board)
    # an electrode without a conductor back is none to the NEC (250.4(A)(5))
    nec = by_hand(Exposed, part=SimpleNamespace(kind="board"), id="lamps", way="", pen_split="", root="lamps")
    assert "electrode there" not in found(said("pe-missing", nec, "nec")).put_right


def test_two_electrodes() -> None:
    def verdict(joined: bool, apart: bool) -> object:
        pair = by_hand(ElectrodePair, id="rod", other="ring", other_route=(), joined=joined, apart=apart)
        return said("electrodes-not-joined", pair)

    assert verdict(True, False) is PASS
    assert isinstance(verdict(False, True), NotApplicable)
    found(verdict(False, False))


def test_a_neutral_that_goes_another_way() -> None:
    def verdict(**more: Any) -> object:
        given = {"id": "lamps", "through": "", "lost": "", "misfit": "", "line_only": (), "neutral_only": (), **more}
        return said("neutral-borrowed", by_hand(BorrowedNeutral, **given))

    assert verdict() is PASS
    for more in ({"through": "oven"}, {"line_only": ("group",)}, {"lost": "lamps"}):
        assert found(verdict(**more)).because is None
        assert found(verdict(**more, misfit="group")).because == ("device-does-not-fit", "group")
    # two circuits hang on one neutral that leads nowhere: the first of them is the cause
    first, second = found(verdict(lost="lamps")), found(verdict(lost="oven"))
    assert first.message == second.message == "the neutral of lamps has no way back to a source that feeds its line"
    assert second.because == ("neutral-borrowed", "oven")
    line, neutral = found(verdict(line_only=("group", "head"))), found(verdict(neutral_only=("group",)))
    assert line.message == "the line of lamps passes the RCD in group and head, but its neutral does not"
    assert neutral.message == "the neutral of lamps passes the RCD in group, but its line does not"


def test_a_place_that_nothing_energises() -> None:
    def verdict(ever: bool = False, by: str = "", crossed: str = "") -> object:
        return said("never-energised", by_hand(Energised, id="lamps", ever=ever, by=by, crossed=crossed))

    assert verdict(ever=True) is PASS
    assert found(verdict()).because is None
    assert found(verdict(by="hut")).because == ("never-energised", "hut")
    assert found(verdict(by="hut", crossed="feed")).because == ("device-does-not-fit", "feed")


def test_the_type_of_an_rcd_before_an_inverter() -> None:
    # IEC 60364-7-712, 712.531.3: type B, unless the inverter separates, or its maker says that it is not needed
    def verdict(kind: str | None, isolated: bool | None) -> object:
        source = by_hand(Source, id="roof", route=(), isolated=isolated)
        device = by_hand(Device, residual_type=kind)
        return said("rcd-type-unsuitable", by_hand(RcdAtInverter, id="group", route=(), device=device, source=source))

    assert verdict("B", None) is PASS
    assert verdict("A", True) is PASS
    assert verdict(None, True) is PASS
    assert found(verdict("A", False)).message.startswith("the RCD group is of type A")
    with pytest.raises(Unknown, match="whether roof is isolated"):
        verdict("A", None)
    with pytest.raises(Unknown, match="the type of group"):
        verdict(None, False)


def test_the_type_of_an_rcd_in_a_medical_place() -> None:
    # IEC 60364-7-710, 710.531.3.2 (from memory): type A or B
    def verdict(kind: str | None, place: str = "medical") -> object:
        device = by_hand(Device, residual_type=kind)
        one = RcdForPlace("group", (), island(), device, place, "lamp", ("circuits", "lamp"))
        return said("rcd-type-unsuitable", one)

    for kind in ("A", "F", "B"):
        assert verdict(kind) is PASS
    one = found(verdict("AC"))
    assert one.message == "the RCD group is of type AC and protects circuits of a medical place"
    assert one.mentions == (Mention("lamp", ("circuits", "lamp"), "a circuit there"),)
    with pytest.raises(Unknown, match="the type of group"):
        verdict(None)
    for kind in ("AC", None):
        assert isinstance(verdict(kind, "dwelling"), NotApplicable)


def test_two_sources_on_the_same_lines() -> None:
    def verdict(permitted: str, itself: str) -> object:
        pair = by_hand(Pair, id="set", other="grid", other_route=(), permitted=permitted, feeds_itself=itself)
        return said("sources-in-parallel", pair)

    assert verdict("it follows the other one", "ups") == NotApplicable("it follows the other one")
    assert found(verdict("", "")).because is None
    assert found(verdict("", "ups")).because == ("inverter-feeds-itself", "ups")


def test_a_relay_and_its_delays() -> None:
    # NRS 097-2-1, 5.4: closed within 200 ms, open before the other reference; elsewhere a delay that is not declared is not judged
    def verdict(closes_s: float | None, opens_s: float | None, alone: bool, rulebook: str = "iec") -> object:
        beside = None if alone else reference("main-link", "bond")
        relay = by_hand(
            Relay,
            id="hybrid",
            route=(),
            bond="the relay",
            closes_after_s=closes_s,
            opens_after_s=opens_s,
            alone=alone,
            beside=beside,
        )
        return said("reference-lost-in-transition", relay, rulebook)

    slow, late = found(verdict(0.5, 0.0, True)), found(verdict(0.0, 0.1, False))
    assert (
        slow.figures == (("without a reference for up to", "0.500 s"), ("longest", "0.400 s")) and slow.mentions == ()
    )
    assert late.figures == (("tied twice for up to", "0.100 s"), ("longest", "40.0 ms"))
    assert late.mentions == (Mention("main-link", ("bonds", "main-link"), "the other reference"),)
    assert slow.weight == pytest.approx(0.1)
    assert verdict(0.4, 9.0, True) is verdict(9.0, 0.04, False) is PASS
    assert verdict(0.2, None, True, "sans") is verdict(None, 0.0, False, "sans") is PASS
    found(verdict(0.21, None, True, "sans"))
    found(verdict(None, 0.001, False, "sans"))
    for closes_s, opens_s, alone, name in ((None, 0.0, True, "closes-after"), (0.0, None, False, "opens-after")):
        assert verdict(closes_s, opens_s, alone) == NotApplicable(f"{name} of hybrid is not declared")
        with pytest.raises(Unknown, match=f"{name} of hybrid"):
            verdict(closes_s, opens_s, alone, "sans")


# -- special places -------------------------------------------------------------------------------------------------------------


SITE = SimpleNamespace(sources=tuple(SimpleNamespace(id=name, route=("sources", name)) for name in ("set", "grid")))


def on_a_pen(rulebook: str = "bs7671", **more: Any) -> object:
    given = {
        "id": "berth",
        "place": "marina",
        "vehicle": False,
        "pen_core": "",
        "pen_led_on": None,
        "beside": lambda board: False,
        "supplier_pen": "grid",
        "board": "",
        "island": SimpleNamespace(network=SimpleNamespace(installation=SITE)),
        **more,
    }
    return said("pen-earth-not-allowed", by_hand(Exposed, **given), rulebook)


def test_a_frame_on_the_pen_of_a_supplier() -> None:
    # BS 7671, 708.411.4 and 709.411.4 (from memory): no PME earth in caravan parks and marinas; elsewhere no PEN core leads there
    assert isinstance(on_a_pen(place=""), NotApplicable)
    assert on_a_pen(supplier_pen="") is on_a_pen("iec") is PASS
    found(on_a_pen("iec", pen_core="feed"))
    supplied = found(on_a_pen())
    assert supplied.because is None and supplied.put_right.startswith("give berth an electrode of its own and an RCD")
    assert supplied.mentions == (Mention("grid", ("sources", "grid"), "the supply with a PEN"),)
    assert found(on_a_pen(board="pier")).because == ("pen-earth-not-allowed", "pier")
    core = found(on_a_pen(pen_core="feed", board="pier"))
    assert core.put_right.startswith("lead a PE of its own to berth") and core.mentions == () and core.because is None


@pytest.mark.parametrize(
    ("place", "books"),
    [
        ("caravan", RULEBOOKS),
        ("marina", RULEBOOKS),
        ("vehicle", RULEBOOKS),
        ("agricultural", ("nec",)),  # NEC 547.42 (from memory)
        ("dwelling", ()),
    ],
)
def test_a_place_to_which_no_pen_leads(place: str, books: tuple[str, ...]) -> None:
    for book in RULEBOOKS:
        core = on_a_pen(book, place=place, pen_core="feed", supplier_pen="")
        assert isinstance(core, Finding) == (book in books)


def test_the_frame_of_a_vehicle() -> None:
    # BS 7671, 717.411.4 (from memory): permitted under a condition that nobody writes; wherever it stands
    assert (
        "must not be earthed by one (vehicle)"
        in found(on_a_pen("iec", place="", vehicle=True, pen_core="feed")).message
    )
    look = on_a_pen(place="marina", vehicle=True)
    assert isinstance(look, Review) and look.put_right.startswith(
        "717.411.4 ?: permitted where a skilled or instructed"
    )


def test_a_pen_that_is_led_on_in_a_place() -> None:
    # IEC 60364-7-710, 710.312.2 (from memory): behind the first board of the building a PE of its own
    def verdict(beside: bool | None, rulebook: str = "iec", place: str = "medical", **more: Any) -> object:
        asked: list[str] = []
        led = more.pop("led", ("feed", "main"))
        given = {"beside": lambda board: asked.append(board) or beside, "pen_led_on": led, "supplier_pen": "", **more}
        verdict = on_a_pen(rulebook, place=place, **given)
        assert asked in ([], ["main"])
        return verdict

    for place in ("agricultural", "construction", "medical"):
        for book in ("iec", "bs7671"):
            one = found(verdict(True, book, place))
            assert one.message == f"a PEN core is led on to berth within such a place ({place})" and one.mentions == ()
    look = verdict(None)
    assert isinstance(look, Review) and "it is not written whether that is the first board" in look.message
    assert verdict(False) is verdict(True, led=None) is PASS
    for book in ("nec", "as-nzs", "sans"):
        assert not isinstance(verdict(True, book), Finding)
    assert verdict(True, place="marina") is PASS
    # what a core that comes from another building does not settle, the supply may
    assert isinstance(verdict(False, "bs7671", "construction", supplier_pen="grid"), Review)


def test_a_pen_that_a_condition_permits() -> None:
    # BS 7671, 704.411.3.1: the condition; 705.415.2.1 (from memory)
    for place, condition in (("construction", "all extraneous-conductive-parts"), ("agricultural", "a metal grid")):
        look = on_a_pen(place=place)
        assert isinstance(look, Review) and f"permitted where {condition}" in look.put_right
        assert on_a_pen(place=place, board="pier") == NotApplicable("judged at its board")
        assert on_a_pen(place=place, supplier_pen="") is PASS
        assert on_a_pen("iec", place=place) is PASS
    assert on_a_pen(place="medical") is PASS


# -- direct current ---------------------------------------------------------------------------------------------------------------


def direct(rule: str, **more: Any) -> object:
    source = {
        "kind": more.pop("kind", "pv"),
        "class_ii": more.pop("class_ii", False),
        "voltage_v": more.pop("voltage_v", 480.0),
        "earthed_pole": more.pop("earthed_pole", "none"),
        "monitoring": more.pop("monitoring", "none"),
    }
    one = by_hand(DirectSource, **source)
    others, rulebook = more.pop("others", ()), more.pop("rulebook", "iec")
    given = {
        "id": "roof",
        "route": (),
        "source": one,
        "together": (one, *others),
        "inverters": (),
        "watched": False,
        "watched_across": False,
        "joined": False,
        "in_use": True,
        "clash": (),
        "shared": (),
        "positions": "",
        "loops": (),
        "settle": lambda: None,
        "loop": lambda inverter: None,
    }
    return said(rule, by_hand(DirectSide, **{**given, **more}), rulebook)


def unsettled() -> None:
    """More positions of switches than are worked out."""
    raise Unknown("roof", (), "too many positions")


def inverter(name: str, isolated: bool | None) -> Any:
    return by_hand(Source, id=name, route=("sources", name), isolated=isolated)


def test_a_frame_of_the_direct_current_side() -> None:
    assert found(direct("dc-frame-unbonded")).message.startswith(
        "no protective conductor leads from the frame of the array roof"
    )
    assert "the frame of the battery roof" in found(direct("dc-frame-unbonded", kind="battery")).message
    assert direct("dc-frame-unbonded", joined=True) is PASS
    assert isinstance(direct("dc-frame-unbonded", class_ii=True), NotApplicable)


def test_a_first_fault_of_the_direct_current_side() -> None:
    # IEC 60364-7-712 (from memory): an unearthed side is watched; below 120 V d.c. (414) nothing is asked for
    rule = "dc-earth-fault-unwatched"

    def other(**given: Any) -> Any:
        return by_hand(DirectSource, **{"earthed_pole": None, "monitoring": None, **given})

    assert found(direct(rule)).figures == (("voltage", "480 V"),)
    assert found(direct(rule, others=(other(),))).because is None
    assert isinstance(direct(rule, earthed_pole="negative"), NotApplicable)
    assert isinstance(direct(rule, others=(other(earthed_pole="positive"),)), NotApplicable)
    assert direct(rule, watched=True) is PASS
    for watch in ("insulation", "residual-current"):
        assert direct(rule, monitoring=watch) is PASS
        assert direct(rule, others=(other(monitoring=watch),)) is PASS
    assert isinstance(direct(rule, voltage_v=120.0), NotApplicable)
    found(direct(rule, voltage_v=120.1))
    # the limit of 60 V for nec is from memory
    assert isinstance(direct(rule, rulebook="nec", voltage_v=60.0), NotApplicable)
    found(direct(rule, rulebook="nec", voltage_v=60.1))
    for entry in ("voltage", "earthed-pole", "monitoring"):
        with pytest.raises(Unknown, match=f"the {entry} of roof"):
            direct(rule, **{{"voltage": "voltage_v"}.get(entry, entry.replace("-", "_")): None})


def test_a_first_fault_that_a_monitor_sees_or_that_it_does_not_see() -> None:
    rule = "dc-earth-fault-unwatched"
    watch = {"watched": True, "loops": (("inv", object()),)}
    # a monitor is right while no inverter that runs ties the side to an earthed neutral
    assert direct(rule, watched=True, inverters=((inverter("inv", False), "main-link"),)) is PASS
    assert direct(rule, **watch, inverters=((inverter("inv", True), "main-link"),)) is PASS
    through = found(direct(rule, **watch, inverters=((inverter("inv", False), "main-link"),)))
    assert through.message.startswith("the monitor on the d.c. side of roof sees the earthed neutral through inv")
    assert through.mentions == (Mention("inv", ("sources", "inv"), "not isolated"),)
    assert through.figures == (("voltage", "480 V"),)
    with pytest.raises(Unknown, match="isolated of inv"):
        direct(rule, **watch, inverters=((inverter("inv", None), "main-link"),))
    # without one the inverter does not matter: nothing watches
    unwatched = direct(rule, loops=watch["loops"], inverters=((inverter("inv", None), "main-link"),))
    assert found(unwatched).mentions == ()
    assert direct(rule, watched_across=True) is PASS
    assert isinstance(direct(rule, in_use=False), NotApplicable)
    # a monitor and an earthed pole of its own do not go together
    for pole, verdict in ((None, PASS), ("none", PASS), ("negative", NotApplicable("a pole is earthed"))):
        assert direct(rule, monitoring="insulation", earthed_pole=pole) == verdict
    # what monitors itself needs no positions; nor does extra-low voltage, but an unknown voltage does
    assert direct(rule, monitoring="insulation", settle=unsettled) is PASS
    assert isinstance(direct(rule, voltage_v=120.0, settle=unsettled), NotApplicable)
    for volts in (None, 120.1):
        with pytest.raises(Unknown) as raised:
            direct(rule, voltage_v=volts, settle=unsettled)
        assert raised.value.reason == "too many positions"


def test_a_pole_that_is_earthed() -> None:
    rule = "dc-earth-conflict"

    def verdict(*inverters: Any, pole: str | None = "negative", **more: Any) -> object:
        return direct(rule, earthed_pole=pole, inverters=inverters, **more)

    one = found(verdict((inverter("inv", False), "main-link")))
    assert one.mentions == (Mention("inv", ("sources", "inv"), "not isolated; its neutral is tied by main-link"),)
    assert one.figures == ()
    assert verdict((inverter("inv", True), "main-link")) is PASS
    assert verdict((inverter("inv", False), "")) is verdict((inverter("inv", None), "")) is PASS
    with pytest.raises(Unknown, match="isolated of inv"):
        verdict((inverter("inv", None), "main-link"))
    with pytest.raises(Unknown, match="isolated of second"):
        verdict((inverter("first", True), "main-link"), (inverter("second", None), "main-link"))
    found(verdict((inverter("first", None), "main-link"), (inverter("second", False), "main-link")))
    with pytest.raises(Unknown, match="the earthed-pole of roof"):
        verdict(pole=None)
    assert isinstance(verdict(pole="none"), NotApplicable)
    # a finding rests on the positions of the switches, and nothing else does
    with pytest.raises(Unknown, match="too many positions"):
        verdict((inverter("inv", False), "main-link"), settle=unsettled)
    assert verdict(settle=unsettled) is PASS


def test_two_poles_that_are_earthed() -> None:
    other = by_hand(DirectSource, id="spare", route=("direct-current", "spare"), earthed_pole="positive")
    one = found(direct("dc-earth-conflict", earthed_pole="negative", clash=(other,)))
    assert one.message == "roof has its negative pole earthed, and spare on the same conductors its positive one"
    assert one.mentions == (Mention("spare", ("direct-current", "spare"), "its positive pole is earthed"),)
    assert one.figures == ()
    placed = found(direct("dc-earth-conflict", earthed_pole="negative", clash=(other,), positions="s-1 closed"))
    assert placed.figures == (("switches of the d.c. side", "s-1 closed"),)


def test_two_inverters_that_share_a_side() -> None:
    rule = "dc-earth-conflict"

    def verdict(*shared: tuple[bool | None, bool | None], pole: str | None = "none", **more: Any) -> object:
        pairs = tuple(
            (inverter(f"first-{number}", one), inverter(f"second-{number}", two))
            for number, (one, two) in enumerate(shared)
        )
        return direct(rule, earthed_pole=pole, shared=pairs, **more)

    one = found(verdict((False, False)))
    assert [mention.subject for mention in one.mentions] == ["first-0", "second-0"] and one.figures == ()
    assert found(verdict((False, False), positions="s-1 closed")).figures[0][1] == "s-1 closed"
    for pole in (None, "negative"):
        assert found(verdict((False, False), pole=pole)).message.startswith("first-0 and second-0 share the d.c. side")
    for separated in ((True, False), (False, True), (True, True), (True, None), (None, True)):
        assert isinstance(verdict(separated), NotApplicable)
        assert verdict(separated, pole="negative") is PASS
    for unknown, name in (((None, False), "first-0"), ((False, None), "second-0"), ((None, None), "first-0")):
        with pytest.raises(Unknown, match=f"isolated of {name}") as raised:
            verdict(unknown)
        assert raised.value.route == ("sources", name)
    # the first that is not written is named; a pair that is known to be wrong counts
    with pytest.raises(Unknown, match="isolated of first-0"):
        verdict((None, False), (False, None))
    assert found(verdict((None, False), (False, False))).message.startswith("first-1 and second-1")


def test_the_loop_of_a_pole_that_is_earthed() -> None:
    # 48 V on 12 mohm are 4 kA; the types of RCD: a maker's manual, as quoted in BS 7671, 531.3.3
    rcds = tuple(
        SimpleNamespace(
            device=by_hand(Device, id=name, route=("connections", name), residual_type=kind), connection="feed"
        )
        for name, kind in (("q-1", "AC"), ("", None), ("q-b", "B"))
    )
    lacking = Missing("the size of bank-cable", ("connections", "bank-cable"))
    loop = DirectLoop(("bank-cable", "main-link"), rcds, 0.012, lacking, 4000.0)
    pair = ((inverter("inv", False), "main-link"),)
    one = found(direct("dc-earth-conflict", earthed_pole="negative", inverters=pair, loop=lambda inverter: loop))
    assert one.figures[0] == ("loop through", "roof, bank-cable, main-link, inv")
    assert one.figures[1][0] == "the source gives at most" and "the size of bank-cable" in one.figures[1][1]
    assert one.figures[2:] == (("loop", "12.0 mohm"), ("with its whole voltage on the loop", "4.00 kA"))
    assert one.mentions[1:] == (
        Mention("q-1", ("connections", "q-1"), "in the loop: type AC is right without any direct current only"),
        Mention("feed", ("connections", ""), "in the loop: its type is not written"),
        Mention("q-b", ("connections", "q-b"), "in the loop: type B sees the direct current and opens"),
    )


def test_a_short_circuit_behind_a_battery() -> None:
    # 3 m without protection: IEC 60364-4-43, 434.2.1 (from memory)
    def verdict(*lengths: Any, bare: tuple[Any, ...] = (), **more: Any) -> object:
        ways = tuple((Mention(f"way-{number}", (), ""), length) for number, length in enumerate(lengths))
        amount = more.pop("fault_a", SimpleNamespace(lacking=None, known_a=3600.0))
        given = {"id": "bank", "route": (), "bare": bare, "ways": ways, "earthed_unknown": False, "fault_a": amount}
        return said("dc-unfused", by_hand(BatteryLeads, **{**given, **more}))

    cable, lacking = Mention("inv-cable", (), ""), Missing("the length of bank-cable", ("connections", "bank-cable"))
    assert verdict() is verdict(3.0) is PASS
    for far in (math.nextafter(3.0, 4.0), math.nan):
        one = found(verdict(3.0, far))
        assert [mention.subject for mention in one.mentions] == ["way-1"]
        assert one.figures == (("largest current", "3.60 kA"),)
    assert found(verdict(4.0, bare=(cable,))).mentions[0] is cable
    assert found(verdict(lacking, bare=(cable,))).mentions == (cable,)
    unknown = found(verdict(4.0, fault_a=SimpleNamespace(lacking=lacking, known_a=0.0)))
    assert "the length of bank-cable" in unknown.figures[0][1]
    with pytest.raises(Unknown, match="the length of bank-cable"):
        verdict(3.0, lacking)
    with pytest.raises(Unknown, match="the earthed-pole of bank"):
        verdict(3.0, earthed_unknown=True)
    found(verdict(3.1, lacking))


# -- rules with one condition: it is as it should be, or it is found ----------------------------------------------------------------


@pytest.mark.parametrize("bad", [False, True])
def test_a_condition_alone(bad: bool) -> None:
    mark = (("hall-link", (), "a link"),)
    switched = {"id": "q-1", "route": ("connections", "feed"), "opens_pe": bad, "opens_pen": bad}
    dead = {"id": "set", "by": "grid" if bad else "", "by_route": (), "parallel": ("sources-in-parallel", "set")}
    levels = {"id": "hall", "first": "grid", "second": "ups", "between": mark if bad else ()}
    verdicts = {
        "backfeed": by_hand(Dead, **dead),
        "bond-missing-at-pen-split": by_hand(PenLanding, id="main", bonded=not bad),
        "device-does-not-fit": by_hand(
            Misfit, id="q-1", what="it opens a core that is not there" if bad else "", high_leg=""
        ),
        "inverter-feeds-itself": by_hand(OwnInput, id="hybrid", reached=bad),
        "nothing-supplied": by_hand(Energised, id="set", ever=not bad),
        "pe-switched": by_hand(SwitchedProtective, **switched),
        "pen-switched": by_hand(SwitchedProtective, **switched),
        "sources-at-different-levels": by_hand(Levels, **levels),
    }
    for rule, subject in verdicts.items():
        verdict = said(rule, subject)
        assert isinstance(verdict, Finding) if bad else verdict is PASS
    if bad:
        assert found(said("backfeed", verdicts["backfeed"])).because == ("sources-in-parallel", "set")
        for core in ("PE", "PEN"):
            taken = found(said(f"{core.lower()}-switched", verdicts["pe-switched"])).take_out
            assert taken == ((("connections", "feed", "poles"), core),)


def test_a_circuit_on_the_high_leg_of_a_delta() -> None:
    # the high leg stands sqrt(3) x 120 V = 208 V from the neutral: half of a side of 240 V beside its height
    high = found(said("device-does-not-fit", by_hand(Misfit, id="lamps", what="on the high leg", high_leg="grid")))
    assert "208 V for 120 V" in high.so and high.put_right.startswith("take L1 or L3 for lamps")
    plain = found(said("device-does-not-fit", by_hand(Misfit, id="lamps", what="it lacks a core", high_leg="")))
    assert plain.so == "it does not do what its kind promises"
    assert said("device-does-not-fit", by_hand(Misfit, id="lamps", what="", high_leg="grid")) is PASS


def isolated(
    monitors: tuple[str, ...], second: tuple[str, tuple[str, ...]] | None = None, rulebook: str = "iec", **more: Any
) -> object:
    given = {"id": "line", "route": ("sources", "line"), "monitors": monitors, "second": second, "doubtful": None}
    given |= {"watching": (), "places": frozenset(), "voltage_v": 230.0, **more}
    return said("it-without-monitor", by_hand(Isolated, **given), rulebook)


def test_the_monitors_of_an_isolated_system() -> None:
    # IEC 60364-4-41, 411.6.3.1: one; two on one system measure each other
    assert isolated(("imd-1",)) is PASS
    assert found(isolated(())).subject is None
    both = found(isolated(("imd-1", "imd-2"), ("imd-2", ())))
    assert both.subject == ("imd-2", ()) and both.message.startswith("imd-1 and imd-2 watch the same island")
    # beyond an inverter that may separate the two stand more of them: none or one here is open, two are not
    beyond = {"doubtful": inverter("inv", None)}
    for few in ((), ("imd-1",)):
        with pytest.raises(Unknown, match="isolated of inv"):
            isolated(few, **beyond)
    assert found(isolated(("imd-1", "imd-2"), ("imd-2", ()), **beyond)).subject == ("imd-2", ())


def test_the_monitor_of_a_medical_isolated_system() -> None:
    # IEC 60364-7-710, 710.411.6.3.11: 100 kohm at least; NEC 517.160(B): no more than 1 mA (both from memory)
    def verdict(impedance_ohm: float | None, rulebook: str = "iec", **more: Any) -> object:
        monitor = by_hand(Monitor, id="imd-1", route=("monitors", "imd-1"), impedance_ohm=impedance_ohm)
        given = {"places": frozenset(("medical", "dwelling")), "watching": (monitor,), **more}
        return isolated(("imd-1",), rulebook=rulebook, **given)

    assert verdict(100e3) is verdict(120e3, "nec", voltage_v=120.0) is PASS
    for low in (math.nextafter(100e3, 0.0), math.nan):
        one = found(verdict(low))
        assert one.subject == ("imd-1", ("monitors", "imd-1")) and "of 100 kohm or more" in one.put_right
        assert one.figures[1] == ("at least", "100 kohm") and one.figures[0][0] == "impedance"
    assert dict(found(verdict(50e3)).figures)["impedance"] == "50.0 kohm"
    # 120 V / 1 mA = 120 kohm
    for low in (119.9e3, math.nan):
        assert found(verdict(low, "nec", voltage_v=120.0)).figures[1] == ("at least", "120 kohm")
    with pytest.raises(Unknown, match="the impedance of imd-1"):
        verdict(None)
    with pytest.raises(Unknown, match="the voltage of line"):
        verdict(120e3, "nec", voltage_v=0.0)
    assert verdict(100e3, voltage_v=0.0) is PASS
    for places in (frozenset(), frozenset(("dwelling",))):
        assert verdict(None, places=places) is PASS


# -- levels --------------------------------------------------------------------------------------------------------------------------

# An error is what can hurt somebody, or what a clause forbids; a warning what a person has to weigh: what lasts only for moments, what
# is found by a choice of ours and not by a clause, what takes a second failure, what is missing from the description.
WARNINGS = frozenset(
    (
        *("reference-lost-in-transition", "pen-not-declared", "sources-at-different-levels", "neutral-opens-first"),
        *("electrode-resistance-high", "touch-voltage-high", "rcd-not-selective", "rcd-trips-in-service"),
        *("neutral-current-in-pe", "voltage-drop-high", "single-failure-dangerous", "dc-earth-fault-unwatched"),
        *("never-energised", "nothing-supplied", "test-overdue"),
    )
)
NOTES = frozenset(("reading-missing",))  # nothing is wrong as far as anybody knows

# Where a rulebook differs.  NEC: the supplier's neutral may stay the reference (250.30, a warning to look), it has no table of times
# (250.4(A)(5)), asks for residual current devices by rooms (210.8), and knows neither types nor selectivity of them.  AS/NZS 3000,
# 7.3.8.1.2: the neutral of the supply stays connected, so that borrowing it is regular and switching it is the fault.
DIFFERENT = {
    ("island-reference-borrowed", "nec"): "warning",
    ("island-reference-borrowed", "as-nzs"): "note",
    ("disconnection-too-slow", "nec"): "warning",
    ("source-too-weak-to-trip", "nec"): "warning",
    ("rcd-missing", "nec"): "warning",
    ("rcd-type-unsuitable", "nec"): "off",
    ("rcd-not-selective", "nec"): "off",
    **{("changeover-neutral-switched", book): "off" for book in ("iec", "bs7671", "nec", "sans")},
}


def test_the_level_of_a_rule_in_each_rulebook() -> None:
    usual = {one: "warning" if one in WARNINGS else "note" if one in NOTES else "error" for one in BY_ID}
    assert set(BY_ID) >= WARNINGS | NOTES
    for book in RULEBOOKS:
        assert {one: rule.level_in(book) for one, rule in BY_ID.items()} == {
            one: DIFFERENT.get((one, book), level) for one, level in usual.items()
        }
