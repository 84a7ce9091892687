"""Which positions and states there are, what is joined in each of them, and what flows then: small sites worked by hand."""

from __future__ import annotations

import pytest

from conftest import ROOT
from described import edited, facts_of
from onebond import network, states, testing
from onebond.circuit.build import Contact
from onebond.conditions import conditions_of
from onebond.facts import service
from onebond.facts.currents import Loop, _alike, contact_currents
from onebond.facts.island import Island
from onebond.facts.service import InService, Sharing, on_high_leg, source_of
from onebond.facts.unknown import Unknown
from onebond.network import Edge, Needs, Network, Tie
from onebond_rules import RULES

HEAD = "onebond: 1\nsite: {name: Parts, rulebook: iec, stage: draft}\n"


def built(text: str, every_contact: bool = False) -> Network:
    return network.build(testing.inspected(text, ()).installation, every_contact)


def name(made: Network, node: int) -> str:
    """A node as place, terminal and conductor."""
    return ".".join(part for part in made.nodes[node] if part)


def names(made: Network, nodes: tuple[int, ...] | frozenset[int]) -> list[str]:
    return [name(made, node) for node in nodes]


def when(made: Network, needs: Needs) -> dict[str, str]:
    """A condition in words: the values that each variable may have."""
    return {
        made.variables[variable].name: " ".join(
            value for number, value in enumerate(made.variables[variable].values) if mask >> number & 1
        )
        for variable, mask in needs
    }


def ends(made: Network, edges: tuple[Edge, ...], element: str) -> list[tuple[str, str, str]]:
    return [(name(made, edge.a), name(made, edge.b), edge.core) for edge in edges if edge.element == element]


# -- what can vary -----------------------------------------------------------------------------------------------------

ESTATE = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TN-S}
  set: {kind: generator, phases: L1 L2 L3}
  ups: {kind: inverter, phases: L1}
  first: {kind: inverter, phases: L1}
  roof: {kind: inverter, phases: L1, operation: grid-following}
  second: {kind: inverter, phases: L2, mains-input: yes, neutral-bond: while-inverting}
  iso: {kind: transformer, winding: isolating, phases: L1 L2, voltage: 230 V}
  auto: {kind: transformer, winding: auto, phases: L1, voltage: 115 V}
groups: {pair: {members: [first, second], phases: {first: L1, second: L2}}}
boards: {main: {}, sub: {}, pair-out: {}, far: {}, low: {}}
changeovers:
  three: {positions: [a, off, b, c], poles: L1 N, transition: closed}
  soft: {positions: [mains, own], poles: L1 N, transition: overlapping-neutral}
  plain: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, through: [{kind: mcb, curve: B, rating: 63 A}, {kind: isolator}]}
  set-feed: {from: set, to: three.b, cores: L1 L2 L3 N PE, through: [{kind: isolator, id: q-set, normally: open}]}
  ups-feed: {from: ups, to: plain.own, cores: L1 N PE, plug: yes}
  on: {from: main, to: sub, cores: L1 N PE, through: [{kind: switch, poles: L1, operable: yes}, {kind: rcd, id: r, residual: 30 mA}]}
  input: {from: main, to: second.in, cores: L2 N PE}
  one-out: {from: first, to: pair-out, cores: L1 N PE}
  two-out: {from: second.out, to: pair-out, cores: L2 N PE}
  primary: {from: iso.in, to: main, cores: L2 L3 PE}
  secondary: {from: iso.out, to: far, cores: L1 L2 N PE}
  to-auto: {from: main, to: auto.in, cores: L3 N PE}
  from-auto: {from: auto.out, to: low, cores: L1 N PE}
  roof-feed: {from: roof, to: sub, cores: L1 N PE}
circuits:
  one: {from: far, cores: L1 L2 N PE}
bonds: {link: {at: pair-out, closed: {second: inverting}}}
"""
)
"""One of everything that can stand in different positions, and of what cannot."""


def test_what_can_vary_and_between_which_values() -> None:
    # FORMAT.md, operating states; a group varies as one, a device without an id is named by its connection and position.
    # A breaker opens no neutral and a device that stays open for ever has one position; so has an autotransformer.
    assert {(one.name, one.values, one.kind) for one in built(ESTATE).variables} == {
        ("grid", ("present", "absent", "detached"), "utility"),
        ("set", ("running", "standing"), "generator"),
        ("ups", ("off", "inverting"), "inverter"),
        ("pair", ("off", "inverting", "passing"), "inverter"),
        ("roof", ("off", "inverting"), "inverter"),
        ("iso", ("fed", "unfed"), "transformer"),
        ("three", ("a", "off", "b", "c", "a+b", "a+c", "b+c"), "changeover"),
        ("soft", ("mains", "own", "mains+own", "own+mains"), "changeover"),
        ("plain", ("mains", "own"), "changeover"),
        ("service/2", ("closed", "open"), "device"),
        ("ups-feed", ("mated", "unmated"), "plug"),
        ("on/1", ("closed", "open"), "device"),
        ("r", ("closed", "open"), "device"),
    }
    assert len(built(ESTATE).variables) == 13


def test_what_energises_which_lines_in_the_order_of_the_file() -> None:
    made = built(ESTATE)
    assert [
        (feed.id, names(made, feed.lines), when(made, ((feed.variable, feed.energised),)), feed.forming)
        for feed in made.feeds
    ] == [
        ("grid", ["grid.L1", "grid.L2", "grid.L3"], {"grid": "present"}, True),
        ("set", ["set.L1", "set.L2", "set.L3"], {"set": "running"}, True),
        ("ups", ["ups.out.L1"], {"ups": "inverting"}, True),
        ("pair", ["first.out.L1", "second.out.L2"], {"pair": "inverting"}, True),
        # what follows another source forms no island
        ("roof", ["roof.out.L1"], {"roof": "inverting"}, False),
        ("iso", ["iso.out.L1", "iso.out.L2"], {"iso": "fed"}, True),
    ]
    # the primary is where lines land on it, whatever the lines of the secondary are called
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {
        "iso": ["iso.in.L2", "iso.in.L3"]
    }
    assert [names(made, member) for member in made.feeds[3].members] == [
        ["first.out.L1", "first.out.N"],
        ["second.out.L2", "second.out.N"],
    ]
    assert [(feed.id, [source.id for source in feed.sources]) for feed in made.feeds if len(feed.sources) > 1] == [
        ("pair", ["first", "second"])
    ]


def test_a_primary_on_which_nothing_lands_is_there_and_dead() -> None:
    text = "\n".join(line for line in ESTATE.splitlines() if not line.startswith("  primary:")) + "\n"
    made = built(text)
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {"iso": ["iso.in.L1"]}
    assert {one.id: one.ever for one in facts_of(text).places if one.id in ("far", "one")} == {
        "far": False,
        "one": False,
    }


def test_the_primary_of_a_transformer_whose_lines_are_crossed_is_where_they_land() -> None:
    # it is fed all the same
    text = edited(
        ESTATE,
        (
            "primary: {from: iso.in, to: main, cores: L2 L3 PE}",
            "primary: {from: main, to: iso.in, cores: L2 PE, lands-on: {L2: L1}}",
        ),
    )
    made = built(text)
    assert {feed.id: names(made, feed.primary) for feed in made.feeds if feed.primary} == {"iso": ["iso.in.L1"]}
    assert {one.id: one.ever for one in facts_of(text).places if one.id in ("far", "one")} == {"far": True, "one": True}


def test_which_links_between_neutral_and_earth_there_are_and_when() -> None:
    made = built(
        edited(
            ESTATE,
            (
                "set: {kind: generator, phases: L1 L2 L3}",
                "set: {kind: generator, phases: L1 L2 L3, neutral-bond: fixed}",
            ),
        )
    )
    assert [(tie.id, tie.kind, name(made, tie.n), name(made, tie.pe), when(made, tie.needs)) for tie in made.ties] == [
        ("grid", "star", "grid.N", "grid.PE", {}),
        ("set", "internal", "set.N", "set.PE", {}),
        ("second", "internal", "second.out.N", "second.PE", {"pair": "inverting"}),
        ("link", "bond", "pair-out.N", "pair-out.PE", {"pair": "inverting"}),
    ]


def test_ways_through_equipment() -> None:
    made = built(ESTATE)
    assert ends(made, made.edges, "auto") == [
        ("auto.out.L1", "auto.in.L3", "auto"),
        ("auto.out.L1", "auto.out.N", "auto"),
        ("auto.out.L1", "auto.in.N", "auto"),
    ]
    # each of a group has its own way through
    assert ends(made, made.edges, "second") == [
        ("second.in.L2", "second.out.L2", "L2"),
        ("second.in.N", "second.out.N", "N"),
    ]
    assert ends(made, made.edges, "first") == []
    assert [one.id for one in made.passages] == ["second"]
    # a winding joins its lines and its neutral; what follows another source joins nothing by itself
    assert ends(made, made.edges, "iso") == [
        ("iso.out.L1", "iso.out.L2", "winding"),
        ("iso.out.L1", "iso.out.N", "winding"),
    ]
    assert ends(made, made.edges, "roof") == []
    windings = {edge.element: when(made, edge.needs) for edge in made.edges if edge.core == "winding"}
    assert windings == {
        "grid": {"grid": "present"},
        "set": {"set": "running"},
        "ups": {"ups": "inverting"},
        "pair": {"pair": "inverting"},
        "iso": {"iso": "fed"},
    }


def test_what_a_conductor_joins() -> None:
    # lines or neutrals; a winding joins neither to the other
    made = built(ESTATE)
    sorts = {(edge.element, edge.core): sort for edge, (_, _, _, _, sort) in zip(made.edges, made.plain, strict=True)}
    assert {sort for (_, core), sort in sorts.items() if core in ("L1", "L2", "L3")} == {"line"}
    assert {sort for (_, core), sort in sorts.items() if core == "N"} == {"neutral"}
    assert {sort for (_, core), sort in sorts.items() if core == "winding"} == {""}


def test_what_a_supply_that_leaves_takes_with_it_and_what_a_plug_opens() -> None:
    # detached: all conductors of the supply are open, PE too; unmated likewise (FORMAT.md, what is a path and operating states)
    made = built(ESTATE)
    needs = {
        element: [when(made, edge.needs) for edge in (*made.edges, *made.earth) if edge.element == element]
        for element in ("service", "ups-feed", "one-out", "on")
    }
    attached, mated = {"grid": "present absent"}, {"ups-feed": "mated"}
    # what only loads hang behind stands in no condition; here sources lie behind all devices
    # an isolator opens lines and neutral
    assert needs["service"] == [{**attached, "service/2": "closed"}] * 4 + [attached]
    assert needs["ups-feed"] == [mated] * 3
    assert needs["one-out"] == [{}] * 3
    assert needs["on"] == [{"on/1": "closed", "r": "closed"}, {"r": "closed"}, {}]


def test_a_device_that_stays_open_for_ever_joins_nothing_and_its_conductors_are_there() -> None:
    made = built(ESTATE)
    # its PE is no pole of it
    assert ends(made, made.edges, "set-feed") == []
    assert ends(made, made.earth, "set-feed") == [("set.PE", "three.PE", "PE")]
    assert made.find("three", "b", "L1") >= 0 and made.find("three", "b", "N") >= 0


def test_frames_and_the_lines_in_them() -> None:
    text = edited(
        ESTATE,
        ("far: {}, low: {}", "far: {inside: low}, low: {}, shed: {equipment: class-II}"),
        ("circuits:\n", "circuits:\n  lamp: {from: far, cores: L1 N, equipment: class-II}\n"),
    )
    made = built(text)
    assert {(part.id, part.kind): sorted(names(made, part.lines)) for part in made.parts} == {
        ("main", "board"): ["main.L1", "main.L2", "main.L3"],
        ("sub", "board"): ["sub.L1"],
        ("pair-out", "board"): ["pair-out.L1", "pair-out.L2"],
        # bars in the same enclosure share its frame
        ("low", "board"): ["far.L1", "far.L2", "low.L1"],
        # a changeover has a contact in each position for what lands on any of them
        ("three", "changeover"): [f"three{at}.L{line}" for at in ("", ".a", ".b", ".c") for line in (1, 2, 3)],
        ("soft", "changeover"): [],
        ("plain", "changeover"): ["plain.L1", "plain.mains.L1", "plain.own.L1"],
        ("set", "source"): ["set.L1", "set.L2", "set.L3"],
        ("ups", "source"): ["ups.out.L1"],
        ("first", "source"): ["first.out.L1"],
        ("roof", "source"): ["roof.out.L1"],
        ("second", "source"): ["second.in.L2", "second.out.L2"],
        ("iso", "source"): ["iso.in.L2", "iso.in.L3", "iso.out.L1", "iso.out.L2"],
        ("auto", "source"): ["auto.in.L3", "auto.out.L1"],
        ("one", "circuit"): ["one.L1", "one.L2"],
    }
    assert dict(made.boards)["main"] == tuple(made.number_of("main", "", line) for line in ("L1", "L2", "L3"))
    assert {name(made, part.pe) for part in made.parts if part.id == "low"} == {"low.PE"}


# -- conductors --------------------------------------------------------------------------------------------------------

PENS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-C-S}
  own: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, barn: {}, shed: {}, in-shed: {inside: shed}}
connections:
  service: {from: main, to: grid, cores: L1 PEN}
  to-barn: {from: main, to: barn, cores: L1 PEN, lands-on: {PEN: PE}}
  to-shed: {from: barn, to: in-shed, cores: L1 PEN, lands-on: {PEN: PE}}
  own-feed: {from: own, to: barn, cores: L1 PEN, lands-on: {PEN: PE}}
circuits:
  one: {from: in-shed, cores: L1 N PE}
bonds: {link: {at: BOND}}
"""
)
"""PEN conductors that land on earth bars."""


@pytest.mark.parametrize(
    ("bond", "carried"),
    [
        # the link carries the PEN on to the neutral of its own enclosure (FORMAT.md, places)
        ("barn", {"barn"}),
        ("shed", {"in-shed"}),
        ("in-shed", {"in-shed"}),
        ("main", set()),
        # a link that may be open carries nothing on for certain
        ("barn, closed: {own: running}", set()),
    ],
)
def test_a_pen_on_the_earth_bar_is_a_pen_where_a_link_carries_it_on(bond: str, carried: set[str]) -> None:
    made = built(PENS.replace("BOND", bond))
    pens = {
        "to-barn": [("main.N", "barn.N", "PEN")] if "barn" in carried else [],
        "to-shed": [("barn.N", "in-shed.N", "PEN")] if "in-shed" in carried else [],
        "own-feed": [("own.N", "barn.N", "PEN")] if "barn" in carried else [],
    }
    # elsewhere it earths the frame: from the frame of a board, or from that of a source
    earth = {
        "to-barn": [] if "barn" in carried else [("main.PE", "barn.PE", "PEN")],
        "to-shed": [] if "in-shed" in carried else [("barn.PE", "shed.PE", "PEN")],
        "own-feed": [] if "barn" in carried else [("own.PE", "barn.PE", "PEN")],
    }
    for cable in pens:
        assert [one for one in ends(made, made.edges, cable) if one[2] != "L1"] == pens[cable], cable
        assert ends(made, made.earth, cable) == earth[cable], cable


def test_a_pen_arrives_at_the_board_at_its_end_whichever_end_is_written_first() -> None:
    made = built(PENS.replace("BOND", "main"))
    assert sorted((board, name(made, n), link) for board, n, link in made.pen_lands) == [
        ("barn", "barn.N", "own-feed"),
        ("barn", "barn.N", "to-barn"),
        ("in-shed", "in-shed.N", "to-shed"),
        ("main", "main.N", "service"),
    ]


CROSSED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2, earthing: EARTHING}
boards: {main: {}, sub: {}, bars: {inside: sub}}
connections:
  service: {from: grid, to: main, cores: L1 L2 N}
  on: {from: main, to: sub, cores: L1 N PE, LANDS}
  bar: {from: sub, to: bars, cores: L1 N}
circuits:
  one: {from: bars, cores: L1 N PE}
"""
)


@pytest.mark.parametrize(
    ("lands", "live", "earth", "links"),
    [
        ("plug: no", ["L1 L1", "N N"], ["PE PE"], []),
        ("lands-on: {L1: N, N: L1}", ["L1 N", "N L1"], ["PE PE"], []),
        # N and PE crossed link the two; a line on the earth bar joins nothing that a neutral could use
        ("lands-on: {N: PE, PE: N}", ["L1 L1"], [], ["main.N sub.PE", "sub.N main.PE"]),
        ("lands-on: {N: PE}", ["L1 L1"], ["PE PE"], ["main.N sub.PE"]),
        ("lands-on: {L1: PE}", ["N N"], ["PE PE"], []),
        ("lands-on: {PE: L1}", ["L1 L1", "N N"], [], []),
    ],
)
@pytest.mark.parametrize(("earthing", "star"), [("TT", ["grid.N grid.supplier.earth"]), ("IT", [])])
def test_cores_that_are_crossed(
    lands: str, live: list[str], earth: list[str], links: list[str], earthing: str, star: list[str]
) -> None:
    made = built(CROSSED.replace("LANDS", lands).replace("EARTHING", earthing).replace(", plug: no", ""))

    def cores(edges: tuple[Edge, ...]) -> list[str]:
        return [f"{name(made, edge.a)[5:]} {name(made, edge.b)[4:]}" for edge in edges if edge.element == "on"]

    assert (cores(made.edges), cores(made.earth)) == (live, earth)
    # the star point of an IT supply is tied to nothing
    assert [f"{name(made, tie.n)} {name(made, tie.pe)}" for tie in made.ties] == [*star, *links]


def test_conductors_of_lines_and_neutrals_that_are_crossed_join_neither() -> None:
    made = built(CROSSED.replace("LANDS", "lands-on: {L1: N, N: L1}").replace("EARTHING", "TT"))
    sorts = {edge.element: plain[4] for edge, plain in zip(made.edges, made.plain, strict=True)}
    assert (sorts["on"], sorts["bar"]) == ("", "neutral")


def test_what_may_be_joined_when_every_contact_is_closed() -> None:
    made = built(ESTATE)
    reached = set(names(made, made.reachable((made.number_of("iso", "out", "L1"),))))
    assert reached == {f"{place}.{core}" for place in ("iso.out", "far", "one") for core in ("L1", "L2", "N")}


def test_a_connection_within_an_enclosure_is_a_bar_unless_a_length_is_written() -> None:
    # FORMAT.md, currents
    for length, found in (("", {"bar"}), (", length: 2 m", set())):
        text = CROSSED.replace("LANDS", "plug: yes").replace("EARTHING", "TT")
        site = testing.inspected(
            edited(text, ("to: bars, cores: L1 N", f"to: bars, cores: L1 N{length}")), ()
        ).installation
        assert {link.id for link in site.connections if network.is_bar(site, link)} == found


@pytest.mark.parametrize(
    ("board", "bars", "circuit", "places"),
    [
        # FORMAT.md, what is read when something is not written: a circuit stands where its board does, bars where their enclosure does
        ("", "", "", ("", "", "")),
        ("marina", "", "", ("marina", "marina", "marina")),
        ("marina", "caravan", "", ("marina", "caravan", "caravan")),
        ("", "caravan", "", ("", "caravan", "caravan")),
        ("marina", "", "outdoor", ("marina", "marina", "outdoor")),
        ("", "", "outdoor", ("", "", "outdoor")),
    ],
)
def test_the_kind_of_place_in_which_something_stands(
    board: str, bars: str, circuit: str, places: tuple[str, ...]
) -> None:
    text = edited(
        CROSSED.replace("LANDS", "plug: yes").replace("EARTHING", "TT"),
        ("sub: {}", f"sub: {{place: {board}}}" if board else "sub: {}"),
        ("bars: {inside: sub}", f"bars: {{inside: sub, place: {bars}}}" if bars else "bars: {inside: sub}"),
        ("cores: L1 N PE}\n", f"cores: L1 N PE, place: {circuit}}}\n" if circuit else "cores: L1 N PE}\n"),
    )
    site = testing.inspected(text, ()).installation
    assert tuple(network.place_of(site, one) for one in ("sub", "bars", "one")) == places
    assert network.place_of(site, "main") == network.place_of(site, "grid") == ""


SENSED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, earthing: TN-S}
  ups: {kind: inverter, phases: L1, neutral-bond: while-inverting}
boards: {main: {}, sub: {}, out: {}, end: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, through: [{kind: mcb, curve: B, rating: 63 A}, {id: r1, kind: rcd, residual: 1 A}]}
  on: {from: main, to: sub, cores: L1 L2 N PE, through: [{kind: rcd, residual: 300 mA, senses: L1 N}]}
  past: {from: sub, to: out, cores: L1 N PE, lands-on: {N: PE}, through: [{id: r3, kind: rcd, residual: 30 mA, poles: L1}]}
  ups-feed: {from: ups, to: end, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE, through: [{kind: rcbo, curve: B, rating: 16 A, residual: 30 mA}]}
  two: {from: end, cores: L1 N PE, through: [{id: r5, kind: rcd, residual: 30 mA, normally: open}]}
"""
)


def test_what_each_residual_current_device_sums() -> None:
    # an RCD sums every live core that passes it, or what it is said to sense; what lands on the earth bar passes it as no live core of
    # the network does, and where it stays open nothing passes
    made = built(SENSED)
    assert {
        rcd.name: (rcd.connection, sorted(made.edges[edge].core for edge in rcd.edges), len(rcd.lines), rcd.passing)
        for rcd in made.rcds
    } == {
        "r1": ("service", ["L1", "L2", "L3", "N"], 3, 4),
        "on/1": ("on", ["L1", "N"], 1, 3),
        "r3": ("past", ["L1"], 1, 2),
        "one/1": ("one", ["L1", "N"], 1, 2),
        "r5": ("two", [], 0, 2),
    }
    # one with no neutral pole that nobody operates does not vary
    assert {rcd.name: made.variables[rcd.variable].name if rcd.variable >= 0 else "" for rcd in made.rcds} == {
        "r1": "r1",
        "on/1": "on/1",
        "r3": "",
        "one/1": "one/1",
        "r5": "",
    }
    # behind two of them lie only loads, behind two the link of a neutral to PE; where nothing passes nothing is proved
    assert {rcd.name for rcd in made.rcds if rcd.loads_only} == {"one/1", "r3"}


def test_a_neutral_that_leads_nowhere_is_no_matter_of_a_device_elsewhere() -> None:
    # the device of the second circuit trips by the leakage behind it, and not because the first circuit lacks its neutral
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, bar: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 10 m}
  n-one: {from: bar, to: one, cores: N, size: 2.5 mm2, length: 10 m}
circuits:
  one: {from: main, cores: L1 PE, size: 2.5 mm2, length: 10 m}
  two: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 40 mA, load: 1 A, through: [{id: r, kind: rcd, residual: 30 mA}]}
"""
    )
    found = {one.id: (one.line_only, one.neutral_only, one.lost) for one in facts_of(text).borrowed_neutrals}
    assert found == {"one": ((), (), "one"), "two": ((), (), "")}
    (trips,) = (one for one in testing.inspected(text, RULES).site.results if one.rule == "rcd-trips-in-service")
    assert (trips.subject, trips.kind, trips.level, trips.because) == ("r", "fail", "warning", None)
    # nor of one that its own line passes: no current flows there, and what is wrong is told once
    beside = edited(
        text,
        (
            "one: {from: main, cores: L1 PE,",
            "one: {from: main, cores: L1 PE, through: [{id: q, kind: rcd, residual: 30 mA}],",
        ),
    )
    assert {one.id: (one.line_only, one.lost) for one in facts_of(beside).borrowed_neutrals} == {
        "one": ((), "one"),
        "two": ((), ""),
    }


def test_a_circuit_of_a_dead_board_has_no_neutral_on_another_device() -> None:
    # the service is not there: over both positions of the changeover lines lead back to the board, and no neutral does
    text = (ROOT / "fixtures" / "sites" / "three-wire-pump.yaml").read_text(encoding="utf-8")
    dead = text[: text.index("  service:")] + text[text.index("  to-ts:") :]
    rules = {one.rule for one in testing.inspected(dead, RULES).site.results if one.kind == "fail"}
    assert "neutral-borrowed" not in rules and "never-energised" in rules


def test_an_inner_bond_that_is_closed_while_the_inverter_inverts() -> None:
    made = built(SENSED)
    assert [(tie.id, when(made, tie.needs)) for tie in made.ties if tie.kind == "internal"] == [
        ("ups", {"ups": "inverting"})
    ]


def test_what_a_condition_of_devices_behind_which_only_loads_lie_is_left_out_of() -> None:
    assert built(SENSED).left_out == ("one/1",)
    assert built(SENSED, every_contact=True).left_out == ()
    needs = {True: {"one/1": "closed"}, False: {}}
    for every_contact, wanted in needs.items():
        made = built(SENSED, every_contact)
        assert {str(when(made, edge.needs)) for edge in made.edges if edge.element == "one"} == {str(wanted)}


def test_a_group_is_named_where_it_is_written() -> None:
    routes = {feed.id: feed.route for feed in built(ESTATE).feeds}
    assert (routes["pair"], routes["ups"]) == (("groups", "pair"), ("sources", "ups"))


def test_a_changeover_between_pen_conductors_has_a_contact_for_each() -> None:
    text = (
        HEAD
        + """\
sources:
  one: {kind: utility, phases: L1, earthing: TN-C-S}
  two: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}}
changeovers: {co: {positions: [first, second], poles: L1}}
connections:
  a: {from: one, to: co.first, cores: L1 PEN}
  b: {from: two, to: co.second, cores: L1 PEN}
  c: {from: co, to: main, cores: L1 PEN}
circuits:
  load: {from: main, cores: L1 N PE}
"""
    )
    made = built(text)
    assert ends(made, made.edges, "co") == [
        ("co.first.L1", "co.L1", "L1"),
        ("co.second.L1", "co.L1", "L1"),
        ("co.first.N", "co.N", "PEN"),
        ("co.second.N", "co.N", "PEN"),
    ]
    # where no PEN leaves it the contact is a neutral
    split = built(edited(text, ("c: {from: co, to: main, cores: L1 PEN}", "c: {from: co, to: main, cores: L1 N PE}")))
    assert {edge.core for edge in split.edges if edge.element == "co"} == {"L1", "N"}


BATTERY = (
    HEAD
    + """\
sources:
  inv: {kind: inverter, phases: L1}
direct-current:
  one: {kind: battery, voltage: 48 V}
  two: {kind: battery, voltage: 48 V}
boards: {hut: {}}
changeovers: {co: {positions: [first, off, second], poles: DC+}}
connections:
  feed: {from: inv, to: hut, cores: L1 N PE}
  a: {from: one, to: co.first, cores: DC+ DC- PE, through: [{id: q, kind: isolator, poles: DC+, operable: yes}]}
  b: {from: two, to: co.second, cores: DC+ DC-, lands-on: {DC+: DC-, DC-: DC+}, plug: yes}
  c: {from: co, to: inv.dc, cores: DC+ DC- PE, through: [{kind: isolator, poles: DC-, normally: open}]}
circuits:
  load: {from: hut, cores: L1 N PE}
"""
)


def test_conductors_of_the_direct_current_side() -> None:
    made = built(BATTERY)
    found = {
        (edge.element, ".".join(part for part in edge.a if part), ".".join(part for part in edge.b if part)): when(
            made, edge.needs
        )
        for edge in made.direct
    }
    assert found == {
        ("a", "one.DC+", "co.first.DC+"): {"q": "closed"},
        ("a", "one.DC-", "co.first.DC-"): {},
        ("b", "two.DC+", "co.second.DC-"): {"b": "mated"},
        ("b", "two.DC-", "co.second.DC+"): {"b": "mated"},
        # an isolator that stays open leaves its pole out
        ("c", "co.DC+", "inv.dc.DC+"): {},
        # what is no pole of the changeover is joined in every position, and `off` joins nothing
        ("co", "co.first.DC+", "co.DC+"): {"co": "first"},
        ("co", "co.second.DC+", "co.DC+"): {"co": "second"},
        ("co", "co.first.DC-", "co.DC-"): {},
        ("co", "co.second.DC-", "co.DC-"): {},
    }
    # none of it is a conductor of the other side
    assert not [key for key in made.nodes if key[2].startswith("DC")]
    assert {edge.element for edge in made.edges} == {"inv", "feed", "load"}
    assert ends(made, made.earth, "a") == [("one.PE", "co.PE", "PE")]


def test_a_pole_that_lands_on_the_earth_bar_joins_nothing_of_the_direct_current_side() -> None:
    text = edited(BATTERY, ("lands-on: {DC+: DC-, DC-: DC+}", "lands-on: {DC-: PE}"))
    assert [(edge.a[2], edge.b[2]) for edge in built(text).direct if edge.element == "b"] == [("DC+", "DC+")]


METAL = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TN-S}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE}
  bond-1: {from: main, to: pipe, cores: PE, size: 6 mm2}
  bond-2: {from: pipe, to: sub, cores: PE, size: 6 mm2}
circuits:
  one: {from: sub, cores: L1 N PE}
extraneous:
  pipe: {MORE}
  rail: {joins: [sub, pipe]}
ELECTRODES
"""
)


@pytest.mark.parametrize(
    ("more", "rail", "electrodes", "joined"),
    [
        # it has length: what lands on it at two places is joined by the metal alone
        ("", "", "", [("pipe.bond-1.PE", "pipe.bond-2.PE")]),
        # an electrode at it, or what touches it without a conductor, is at the metal itself
        (
            "",
            "",
            "electrodes: {rod: {at: pipe}}",
            [("pipe.bond-1.PE", "pipe.bond-2.PE"), ("pipe.bond-1.PE", "pipe.PE")],
        ),
        ("", "pipe", "", [("pipe.bond-1.PE", "pipe.bond-2.PE"), ("pipe.bond-1.PE", "pipe.PE")]),
        ("joins: [main]", "", "", [("pipe.bond-1.PE", "pipe.bond-2.PE"), ("pipe.bond-1.PE", "main.PE")]),
    ],
)
def test_what_metal_joins(more: str, rail: str, electrodes: str, joined: list[tuple[str, str]]) -> None:
    text = METAL.replace("MORE", more).replace("ELECTRODES\n", electrodes + "\n" * bool(electrodes))
    text = edited(text, ("[sub, pipe]", f"[sub, {rail or 'main'}]"))
    made = built(text)
    assert [one[:2] for one in ends(made, made.earth, "pipe")] == joined
    # metal on which nothing lands joins what it touches
    assert [one[:2] for one in ends(made, made.earth, "rail")] == [("sub.PE", f"{rail or 'main'}.PE")]
    # the conductors end at the points where they land
    assert ends(made, made.earth, "bond-1") == [("main.PE", "pipe.bond-1.PE", "PE")]
    assert ends(made, made.earth, "bond-2") == [("pipe.bond-2.PE", "sub.PE", "PE")]
    assert len(made.nodes) == len(set(made.nodes))


# -- operating states --------------------------------------------------------------------------------------------------


def cases(text: str, *shown: str) -> list[tuple[str, ...]]:
    """Every case: the feeds, then the values of some variables, empty where any will do."""
    facts = facts_of(text)
    number = {variable.name: at for at, variable in enumerate(facts.network.variables)}
    return sorted(
        (" ".join(sorted(feed.id for feed in island.feeds)), *(island.value(number[one]) for one in shown))
        for island in facts.islands
    )


TWO_STEPS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}
  t0: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V, neutral-bond: fixed}
  t1: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  t2: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
boards: {intake: {}, mid: {}, main: {}}
connections:
  service: {from: grid, to: intake, cores: L1 N PE}
  in-0: {from: intake, to: t0.in, cores: L1 N PE}
  out-0: {from: t0.out, to: mid, cores: L1 N PE}
  in-1: {from: mid, to: t1.in, cores: L1 N PE}
  in-2: {from: mid, to: t2.in, cores: L1 N PE}
  out-1: {from: t1.out, to: main, cores: L1 N PE}
  out-2: {from: t2.out, to: main, cores: L1 N PE}
circuits:
  load: {from: main, cores: L1 N PE}
bonds: {link: {at: main}}
"""
)
"""Two transformers side by side behind a third one."""


def test_transformers_that_rest_on_the_same_transformer_may_be_fed_together() -> None:
    together = [one[1:] for one in cases(TWO_STEPS, "grid", "t0", "t1", "t2") if one[0] == "t1 t2"]
    assert together == [("present", "fed", "fed", "fed")]
    # nothing permits them to run in parallel
    results = testing.inspected(TWO_STEPS, RULES).site.results
    assert [one.subject for one in results if one.rule == "sources-in-parallel" and one.kind == "fail"] == ["t2"]


def test_transformers_that_feed_each_other_are_dead() -> None:
    # each is energised only if its primary is
    ring = edited(
        TWO_STEPS,
        ("in-1: {from: mid, to: t1.in", "in-1: {from: far, to: t1.in"),
        ("out-2: {from: t2.out, to: main", "out-2: {from: t2.out, to: far"),
        ("in-2: {from: mid", "in-2: {from: main"),
        ("main: {}", "main: {}, far: {}"),
    )
    assert {one[0] for one in cases(ring)} == {"grid", "t0"}
    # a set at either of the two boards feeds both
    for at, behind in (("main", "t2"), ("far", "t1")):
        fed = edited(
            ring,
            ("boards:", "  set: {kind: generator, phases: L1}\nboards:"),
            ("in-0:", f"set-feed: {{from: set, to: {at}, cores: L1 N PE}}\n  in-0:"),
        )
        assert behind in {one[0] for one in cases(fed)}
    # and so does a transformer that rests on the supply, in the place of the one that would close the ring
    assert {one[0] for one in cases(edited(ring, ("from: far, to: t1.in", "from: mid, to: t1.in")))} == {
        "grid",
        "t0",
        "t1",
        "t2",
    }


def test_what_a_supply_ahead_of_a_transformer_runs_beside_is_in_no_condition() -> None:
    # mid is fed by the supply directly: what else could feed it is no matter of the board behind the transformer
    text = edited(
        TWO_STEPS,
        ("  in-2: {from: mid, to: t2.in", "  in-2: {from: apart, to: t2.in"),
        ("  out-2: {from: t2.out, to: main", "  out-2: {from: t2.out, to: intake"),
        ("mid: {}", "mid: {}, apart: {}"),
        ("boards:", "  set: {kind: generator, phases: L1}\nboards:"),
        ("in-0:", "set-feed: {from: set, to: apart, cores: L1 N PE}\n  in-0:"),
    )
    # t0 rests on the supply, and on the set only where the supply is absent
    found = [one[1:] for one in cases(text, "grid", "t2", "set") if one[0] == "t0"]
    assert found == [
        ("absent", "fed", "running"),
        ("detached", "fed", "running"),
        ("present", "fed", ""),
        ("present", "unfed", ""),
    ]


FOLLOWED = (
    HEAD
    + """\
sources:
  roof: {kind: inverter, phases: L1, operation: grid-following}
  grid: {kind: utility, phases: L1, earthing: TT}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
  set: {kind: generator, phases: L1, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  roof-feed: {from: roof, to: main, cores: L1 N PE}
  input: {from: main, to: hybrid.in, cores: L1 N PE}
  output: {from: hybrid.out, to: out, cores: L1 N PE}
  set-feed: {from: set, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
)
"""A supply with an inverter that follows it, and behind a hybrid a board with a set."""


def test_what_follows_another_source_energises_nothing_by_itself() -> None:
    found = cases(FOLLOWED, "grid", "hybrid", "roof")
    assert {one[0] for one in found} == {
        "grid",
        "grid roof",
        "hybrid",
        "hybrid set",
        "set",
        "grid set",
        "grid roof set",
    }
    # the input of the hybrid is fed only while the supply is present: the roof follows, and the set is behind it
    assert {one[1] for one in found if one[2] == "passing"} == {"present"}
    assert {one[3] for one in found if "roof" in one[0]} == {"inverting"}
    assert {one[3] for one in found if one[0] in ("grid", "grid set")} == {"off"}


def test_an_inverter_that_joins_everything_while_it_is_off_lets_a_set_feed_back() -> None:
    # `when-off: through`: it need not be fed otherwise, for it passes nothing on
    text = edited(FOLLOWED, ("mains-input: yes,", "mains-input: yes, when-off: through,"))
    facts = facts_of(text)
    live = {
        name(facts.network, node)
        for island in facts.islands
        if island.fed_by("set") and not island.fed_by("grid")
        for node in range(len(facts.network.nodes))
        if island.live >> node & 1
    }
    assert {"main.L1", "grid.L1"} <= live
    assert "main.L1" not in {
        name(facts_of(FOLLOWED).network, node)
        for island in facts_of(FOLLOWED).islands
        if island.fed_by("set") and not island.fed_by("grid")
        for node in range(len(island.network.nodes))
        if island.live >> node & 1
    }


def followed_by_a_transformer(at: str) -> str:
    return edited(
        FOLLOWED,
        (
            "boards: {",
            "  t: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}\nboards: {far: {}, dead: {}, ",
        ),
        (
            "  input:",
            f"  primary: {{from: {at}, to: t.in, cores: L1 N PE}}\n  secondary: {{from: t.out, to: far, cores: L1 N PE}}\n  input:",
        ),
    )


@pytest.mark.parametrize("at", ["main", "out"])
def test_behind_a_transformer_an_inverter_passes_what_feeds_its_input(at: str) -> None:
    # with the supply away the set feeds the board behind the hybrid, and what is ahead of it only over a hybrid that passes nothing
    found = {one[1:] for one in cases(followed_by_a_transformer(at), "grid", "hybrid", "set") if one[0] == "t"}
    assert {grid for grid, hybrid, _ in found if hybrid == "passing"} == {"present"}
    # off, it leaves the board behind it to the set, whatever the supply does
    assert (("", "off", "running") in found) == (at == "out")


def test_a_transformer_on_a_board_of_a_following_inverter_alone_is_dead() -> None:
    text = edited(followed_by_a_transformer("dead"), ("from: roof, to: main", "from: roof, to: dead"))
    assert "t" not in {one[0] for one in cases(text)}


@pytest.mark.parametrize(("position", "by"), [("open", {"present"}), ("closed", {"present", "absent", "detached"})])
def test_a_bypass_feeds_the_input_of_an_inverter_while_it_is_closed(position: str, by: set[str]) -> None:
    bypass = "  bypass: {from: main, to: out, cores: L1 N, through: [{id: q, kind: switch, operable: yes}]}\n"
    text = edited(FOLLOWED, ("  input:", f"{bypass}  input:"))
    assert {one[1] for one in cases(text, "grid", "hybrid", "q") if one[2:] == ("passing", position)} == by
    made = built(text)
    for grid in ("present", "absent", "detached"):
        said = states.whole(made, state_of(made, f"off {grid} passing running {position}"))
        assert isinstance(said, tuple) == (grid in by)


def test_an_island_that_supplies_nothing_is_no_case() -> None:
    # the set ends at the open side of the changeover
    text = edited(LOCKED, ("LOCKS", ""))
    assert {one for one in cases(text, "co") if "set" in one[0]} == {("set", "own")}


BORROWED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TT}
  t1: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  t2: {kind: transformer, winding: isolating, phases: L1, voltage: 230 V}
  hybrid: {kind: inverter, phases: L1, mains-input: yes, neutral-bond: none}
boards: {main: {}, mid: {}, far: {}, own: {}}
connections:
  service: {from: grid, to: main, cores: L1 N}
  in-2: {from: main, to: t2.in, cores: L1 N PE}
  out-2: {from: t2.out, to: mid, cores: L1 N PE}
  in-1: {from: mid, to: t1.in, cores: L1 N PE}
  out-1: {from: t1.out, to: far, cores: L1 N PE}
  input: {from: FROM, to: hybrid.in, cores: L1 PE, through: [{id: q, kind: switch, operable: yes}]}
  neutral: {from: main, to: hybrid.in, cores: N}
  output: {from: hybrid.out, to: own, cores: L1 PE}
circuits:
  one: {from: main, cores: L1 N PE}
  two: {from: own, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""
)
"""An inverter that has its neutral from one board and its line, over a switch, from another one."""


def test_an_inverter_of_which_only_the_neutral_is_in_an_island_passes_what_feeds_its_line() -> None:
    # at the same board: with the switch open nothing feeds its line
    found = {one[1:] for one in cases(BORROWED.replace("FROM", "main"), "hybrid", "q") if one[0] == "grid"}
    assert found == {
        ("off", "closed"),
        ("off", "open"),
        ("inverting", "closed"),
        ("inverting", "open"),
        ("passing", "closed"),
    }


def test_an_inverter_passes_on_what_comes_over_two_transformers() -> None:
    # its line rests on a transformer, this one on the next, and that one on the supply
    found = {one[1:] for one in cases(BORROWED.replace("FROM", "far"), "hybrid", "q", "t1", "t2") if one[0] == "grid"}
    assert found == {("off", "", "", ""), ("inverting", "", "", ""), ("passing", "closed", "fed", "fed")}


LOCKED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, earthing: TT}
  set: {kind: generator, phases: L1}
boards: {out: {}, yard: {}}
changeovers:
  co: {positions: [mains, own], poles: L1 N}
connections:
  service: {from: grid, to: co.mains, cores: L1 N}
  set-feed: {from: set, to: co.own, cores: L1 N PE}
  feed: {from: co, to: out, cores: L1 N PE}
circuits:
  one: {from: out, cores: L1 N PE}
  three: {from: yard, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}, {id: k, kind: isolator, operable: yes}]}
interlocks: [LOCKS]
"""
)
"""A changeover, and two isolators in a yard that nothing feeds."""


@pytest.mark.parametrize(
    ("locks", "own"),
    [
        ("{never: {co: own, q: closed}}", True),
        # whichever way the isolator stands, it forbids the position
        ("{never: {co: own, q: closed}}, {never: {co: own, q: open}}", False),
        ("{never: {co: own, q: closed}}, {never: {co: mains, q: open}}", True),
        # the second isolator forbids one position of the first, and the first forbids the other
        ("{never: {co: own, q: closed}}, {never: {q: open, k: [open, closed]}}", False),
        ("{never: {co: own, q: closed}}, {never: {q: open, k: open}}", True),
        ("{never: {co: own, q: closed}}, {never: {q: open, k: open}}, {never: {q: open, k: closed, co: own}}", False),
    ],
)
def test_a_position_that_the_interlocks_leave_no_state_for_is_impossible(locks: str, own: bool) -> None:
    # what an island does not meet has to stand in some position all the same
    text = LOCKED.replace("LOCKS", locks.replace("}}", "}, by: relay}"))
    assert ("own" in {one[1] for one in cases(text, "co")}) == own
    made = built(text, every_contact=True)
    co = next(number for number, variable in enumerate(made.variables) if variable.name == "co")
    stands = {made.variables[co].values[state[co]] for state in states.positions(made, [co], 9) or []}
    assert ("own" in stands) == own


def test_positions_are_listed_up_to_a_limit() -> None:
    made = built(LOCKED.replace("LOCKS", ""), every_contact=True)
    numbers = {variable.name: number for number, variable in enumerate(made.variables)}
    for limit, many in ((3, None), (4, 4)):
        found = states.positions(made, [numbers["q"], numbers["k"]], limit)
        assert (found and len(found)) == many


@pytest.mark.parametrize(
    ("first", "second", "possible"),
    [
        ({"co": "own"}, {"set": "running"}, True),
        ({"co": "own"}, {"co": "own", "q": "open"}, True),
        ({"co": "own"}, {"co": "mains"}, False),
        # the interlock
        ({"co": "own"}, {"q": "closed"}, False),
        ({"co": "mains"}, {"q": "closed"}, True),
        # neither position of the other isolator is left
        ({"k": "open"}, {"q": "open"}, False),
        ({"q": "open"}, {"set": "standing"}, False),
    ],
)
def test_which_states_can_hold_at_once(first: dict[str, str], second: dict[str, str], possible: bool) -> None:
    locks = "{co: own, q: closed}", "{q: open, k: open}", "{q: open, k: closed, co: mains}", "{q: open, set: standing}"
    told = ", ".join(f"{{never: {lock}, by: relay}}" for lock in locks)
    made = built(LOCKED.replace("LOCKS", told), every_contact=True)

    def state(given: dict[str, str]) -> tuple[int, ...]:
        return tuple(one.values.index(given[one.name]) if one.name in given else -1 for one in made.variables)

    assert states.joint(made, state(first), state(second)) == possible
    assert states.joint(made, state(second), state(first)) == possible


CROWD = (
    HEAD
    + "sources:\n"
    + "".join(f"  s{one}: {{kind: generator, phases: L1}}\n" for one in range(6))
    + "boards:\n"
    + "".join(f"  b{one}: {{}}\n  c{one}: {{}}\n" for one in range(6))
    + "connections:\n"
    + "".join(f"  f{one}: {{from: s{one}, to: b{one}, cores: L1 N PE}}\n" for one in range(6))
    + "circuits:\n"
    + "".join(f"  load{one}: {{from: b{one}, cores: L1 N PE}}\n" for one in range(6))
)
"""Six sets, each with a board of its own and one case."""


def test_more_cases_than_four_times_the_limit_of_a_source_are_not_proven() -> None:
    # LIMIT: most cases for one source, and most for a whole site times four; the case that reaches it still counts
    made = built(CROWD)
    assert states.cases(made, 1).not_proven == ("s5",)
    assert states.cases(made, 2).not_proven == ()
    # with an isolator between board and circuit each has two cases
    isolated = CROWD
    for one in range(6):
        isolated = edited(
            isolated,
            (
                f"  f{one}: ",
                f"  g{one}: {{from: b{one}, to: c{one}, cores: L1 N PE, through: [{{kind: isolator, operable: yes}}]}}\n  f{one}: ",
            ),
        )
    isolated += "".join(("monitors:\n" * (not one)) + f"  m{one}: {{at: c{one}}}\n" for one in range(6))
    assert len(states.cases(built(isolated)).cases) == 12
    assert states.cases(built(isolated), 2).not_proven == ("s4", "s5")
    assert states.cases(built(isolated), 3).not_proven == ()


STAR = (
    HEAD
    + "sources:\n  set: {kind: generator, phases: L1}\n  spare: {kind: generator, phases: L1}\nboards:\n  main: {}\n  apart: {}\n"
    + "".join(f"  b{one}: {{}}\n" for one in range(11))
    + "connections:\n  feed: {from: set, to: main, cores: L1 N PE}\n"
    + "  other: {from: spare, to: apart, cores: L1 N PE, through: [{id: q, kind: isolator, operable: yes}]}\n"
    + "".join(
        f"  f{one}: {{from: main, to: b{one}, cores: L1 N PE, through: [{{kind: isolator, operable: yes}}]}}\n"
        for one in range(11)
    )
    + "circuits:\n  load: {from: main, cores: L1 N PE}\nmonitors:\n"
    + "".join(f"  m{one}: {{at: b{one}}}\n" for one in range(11))
    + "interlocks: [{never: {set: running, q: open}, by: key}, {never: {set: running, q: closed}, by: key}]\n"
)
"""Eleven isolators in 2048 positions, in none of which the set can run."""


@pytest.mark.parametrize(("limit", "proven"), [(1, False), (250, False), (300, True)])
def test_a_search_that_finds_nothing_ends_too(limit: int, proven: bool) -> None:
    # after four branchings for each case of the limit and a thousand; eleven isolators branch 2047 times
    assert ("set" not in states.cases(built(STAR), limit).not_proven) == proven


# -- one state of the whole site ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("present - fed fed fed", "grid t0 t1 t2"),
        ("absent - unfed unfed unfed", ""),
        ("detached - fed fed fed", "nothing feeds the transformer t0"),
        ("present - unfed fed fed", "nothing feeds the transformer t1"),
        ("present - unfed unfed unfed", "the transformer t0 is fed"),
        ("present - fed fed unfed", "the transformer t2 is fed"),
    ],
)
def test_whether_transformers_can_stand_as_they_are_said_to(given: str, found: str) -> None:
    made = built(TWO_STEPS, every_contact=True)
    assert [one.name for one in made.variables] == ["grid", "t0", "t1", "t2"]
    said = states.whole(made, state_of(made, given.replace(" -", "")))
    assert (said if isinstance(said, str) else " ".join(made.feeds[feed].id for feed in said)) == found


def state_of(made: Network, given: str) -> tuple[int, ...]:
    """The values of all variables, in their order."""
    return tuple(one.values.index(value) for one, value in zip(made.variables, given.split(), strict=True))


def test_what_nothing_feeds_is_no_obstacle_where_it_is_said_so() -> None:
    made = built(TWO_STEPS, every_contact=True)
    for given, feeds in (("absent fed fed fed", ()), ("present fed fed fed", (0, 1, 2, 3))):
        assert states.whole(made, state_of(made, given), unfed=True) == feeds
    # one that is fed energises all the same
    assert states.whole(made, state_of(made, "present unfed fed fed"), unfed=True) == "the transformer t0 is fed"


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ("off present passing standing", "grid"),
        ("inverting present passing standing", "grid"),
        ("inverting absent off running", "set"),
        ("inverting absent inverting running", "hybrid set"),
        # what follows another source feeds no input, and neither does what is behind the inverter itself
        ("inverting absent passing running", "hybrid passing, and nothing feeds its input"),
        ("off detached passing standing", "hybrid passing, and nothing feeds its input"),
    ],
)
def test_whether_an_inverter_can_pass_in_a_state_of_the_whole_site(given: str, found: str) -> None:
    made = built(FOLLOWED, every_contact=True)
    assert [one.name for one in made.variables] == ["roof", "grid", "hybrid", "set"]
    said = states.whole(made, state_of(made, given))
    assert (said if isinstance(said, str) else " ".join(made.feeds[feed].id for feed in said)) == found
    # where that is no obstacle, the rest energises what it reaches
    free = states.whole(made, state_of(made, given), unfed=True)
    assert not isinstance(free, str)
    assert {made.feeds[feed].id for feed in free} == {
        one
        for one, value in zip(("roof", "grid", "hybrid", "set"), given.split(), strict=True)
        if one != "roof" and value in ("present", "inverting", "running")
    }


def test_the_first_interlock_that_a_state_breaks_is_told() -> None:
    locks = "{never: {q: open, k: open}, by: key}, {never: {set: running, co: own, q: closed}, by: key}"
    made = built(LOCKED.replace("LOCKS", locks), every_contact=True)
    assert [one.name for one in made.variables] == ["grid", "set", "co", "q", "k"]
    for given, found in (
        ("present running own closed open", "an interlock forbids set running, co own, q closed"),
        ("present running own open open", "an interlock forbids q open, k open"),
        ("present running mains closed open", (0, 1)),
        ("present standing own closed open", (0,)),
    ):
        assert states.whole(made, state_of(made, given)) == found


# -- conditions --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "told"),
    [
        # what one condition stands for is not said again in another one
        (["absent standing -", "absent standing mains"], ["grid absent, set standing"]),
        (["present standing -", "absent - -", "absent standing -"], ["grid absent", "grid present, set standing"]),
        (
            ["absent - own", "absent running own", "absent standing mains", "detached running own"],
            ["grid absent, co own", "grid absent, set standing, co mains", "grid detached, set running, co own"],
        ),
    ],
)
def test_conditions_that_overlap(given: list[str], told: list[str]) -> None:
    made = built(LOCKED.replace("LOCKS", ""))
    assert [one.name for one in made.variables][:3] == ["grid", "set", "co"]
    asked = [
        tuple(
            -1 if value == "-" else one.values.index(value)
            for one, value in zip(made.variables, [*words.split(), "-", "-"], strict=True)
        )
        for words in given
    ]
    found = conditions_of(made, asked)
    assert [", ".join(f"{name} {'/'.join(values)}" for name, values in one) for one in found] == told


# -- earth faults ------------------------------------------------------------------------------------------------------


def test_where_a_line_can_touch_a_frame_in_which_state() -> None:
    # every frame with an energised line; the terminals of a source where another one feeds them, and what passes is a way and no source
    places: dict[tuple[str, str], set[str]] = {}
    facts = facts_of(FOLLOWED)
    hybrid = next(number for number, one in enumerate(facts.network.variables) if one.name == "hybrid")
    for fault in facts.earth_faults:
        feeds = " ".join(sorted(feed.id for feed in fault.island.feeds))
        places.setdefault((feeds, fault.island.value(hybrid)), set()).add(fault.point.written)
    ahead = {"main", "hybrid.in", "roof.out"}
    behind = {"out", "one"}
    assert places == {
        ("grid", "off"): ahead,
        ("grid roof", "off"): ahead,
        ("grid", "inverting"): ahead,
        ("grid roof", "inverting"): ahead,
        ("grid", "passing"): ahead | behind | {"set"},
        ("grid roof", "passing"): ahead | behind | {"set"},
        ("grid set", "passing"): ahead | behind | {"set"},
        ("grid roof set", "passing"): ahead | behind | {"set"},
        ("hybrid", "inverting"): behind | {"set"},
        ("hybrid set", "inverting"): behind | {"set", "hybrid.out"},
        ("set", "off"): behind | {"hybrid.out"},
    }


@pytest.mark.parametrize(
    ("loop", "current_a", "touch"),
    [
        # before the fault the frame stands 3 V and 1 V up; 10 A in phase with what drives it add 15 V and 5 V
        (Loop(2, 20, 1.5, 0.5, 3, 1), 10, (18, 6)),
        (Loop(2, 20j, 1.5, 0.5, 3, 1), 4, (45**0.5, 5**0.5)),
        (Loop(2j, 20j, 1.5, 0.5, 3, 1), 4, (9, 3)),
        # nothing in the loop: the current has the phase of the voltage that drives it; nothing drives it: none flows
        (Loop(0, -20, 1.5, 0.5, 3, 1), 4, (3, 1)),
        (Loop(2, 0, 1.5, 0.5, 3, 1), 4, (3, 1)),
        # there is no earth, or no earthing terminal
        (Loop(2, 20, None, 0.5), 4, (None, 2)),
        (Loop(2, 20, 1.5, None), 4, (6, None)),
    ],
)
def test_touch_voltages_at_a_current(loop: Loop, current_a: float, touch: tuple[float | None, float | None]) -> None:
    assert loop.touch_v(current_a) == pytest.approx(touch)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (Loop(1, 230, 0.1, 0.1), Loop(1, 230, 0.1, 0.1), True),
        # the bound is a part of the size, which is that of the loop
        (Loop(1000, 230, 0.1, 0.1), Loop(1000 + 5e-7, 230, 0.1, 0.1 + 5e-7), True),
        (Loop(1000, 230, 0.1, 0.1), Loop(1000 + 5e-6, 230, 0.1, 0.1), False),
        (Loop(1, 230, 0.1, 0.1), Loop(1, 230 + 1e-7, 0.1, 0.1), True),
        (Loop(1, 230, 0.1, 0.1), Loop(1, 231, 0.1, 0.1), False),
        (Loop(1, 230, 0.1, 0.1), Loop(1, 230, 0.2, 0.1), False),
        (Loop(1, 230, 0.1, 0.1), Loop(1, 230, 0.1, 0.2), False),
        # a terminal that is reached by what is not known alone
        (Loop(1, 230, None, 0.1), Loop(1, 230, None, 0.1), True),
        (Loop(1, 230, None, 0.1), Loop(1, 230, 0.1, 0.1), False),
        (Loop(1, 230, 0.1, 0.1), Loop(1, 230, 0.1, None), False),
    ],
)
def test_results_that_rest_on_nothing_unknown_are_the_same(one: Loop, other: Loop, same: bool) -> None:
    assert _alike(one, other) == _alike(other, one) == same


def test_currents_of_contacts_by_the_first_law_of_kirchhoff() -> None:
    # what leaves a node by branches comes over its contacts.  A chain of three, of which the middle one is written the other way round
    chain = [Contact(10, 11, "a", "L1", 0), Contact(12, 11, "b", "L1", 1), Contact(12, 13, "c", "L1", 2)]
    leaving = {10: 2 + 0j, 11: 1 + 0j, 12: 4 + 0j, 13: -7 + 0j}
    found = contact_currents(tuple(chain), leaving)
    assert [found[one] for one in chain] == [-2, 3, -7]
    # whichever way the outer ones are written, the middle one is worked out from them
    for outer in (True, False):
        turned = [
            Contact(*((11, 10) if outer else (10, 11)), "a", "L1", 0),
            Contact(11, 12, "b", "L1", 1),
            Contact(*((12, 13) if outer else (13, 12)), "c", "L1", 2),
        ]
        found = contact_currents(tuple(turned), leaving)
        assert [found[one] for one in turned] == ([2, -3, -7] if outer else [-2, -3, 7])
    # three contacts of one node
    star = [Contact(20, 21, "a", "N", 3), Contact(20, 22, "b", "N", 4), Contact(23, 20, "c", "N", 5)]
    found = contact_currents(tuple(star), {20: 1 + 0j, 21: 2 + 0j, 22: 3 + 0j, 23: -6 + 0j})
    assert [found[one] for one in star] == [2, 3, 6]
    # in a ring nobody knows; what hangs on it is known, and so is what a bar within an enclosure joins to itself beside it
    ring = [Contact(31, 32, "a", "PE", 6), Contact(32, 33, "b", "PE", 7), Contact(33, 31, "c", "PE", 8)]
    tail, loop = Contact(30, 31, "d", "PE", 9), Contact(30, 30, "e", "PE", 10)
    found = contact_currents((tail, loop, *ring), {30: -5 + 0j, 33: 5 + 0j})
    assert (found[tail], found[loop], [found[one] for one in ring]) == (5, None, [None] * 3)


LEAKING_SETS = (
    HEAD
    + """\
sources:
  a: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, rating: 20 kVA, neutral-bond: none, subtransient-reactance: 15 %,
      negative-sequence-reactance: 15 %, zero-sequence-reactance: 5 %, sustained-fault-current: {limit: 3 x rated},
      may-parallel: [b]EARTHING}
  b: {kind: generator, phases: L1 L2 L3, voltage: 230/400 V, rating: 20 kVA, neutral-bond: none, subtransient-reactance: 15 %,
      negative-sequence-reactance: 15 %, zero-sequence-reactance: 5 %, sustained-fault-current: {limit: 3 x rated},
      may-parallel: [a]EARTHING}
boards: {main: {}}
connections:
  feed-a: {from: a, to: main, cores: L1 L2 L3 N PE, size: 10 mm2, length: 10 m}
  feed-b: {from: b, to: main, cores: L1 L2 L3 N PE, size: 10 mm2, length: 10 m}
circuits:
  load: {from: main, cores: L1 L2 L3 N PE, size: 2.5 mm2, length: 10 m, leakage: 100 mA}
"""
)
"""Two sets that nothing ties to earth, and 100 mA that leak from L1 by a capacitance."""


@pytest.mark.parametrize("earthing", ["", ", earthing: IT"])
def test_where_nothing_earths_a_neutral_a_first_fault_draws_what_leaks(earthing: str) -> None:
    # 230 V drive 100 mA through 2300 ohm of the capacitance: between L1 and another line there are the root of 3 times as much
    facts = facts_of(LEAKING_SETS.replace("EARTHING", earthing))
    for place in ("main", "a", "b"):
        found = [one for one in facts.earth_faults if one.point.written == place and len(one.island.feeds) == 2]
        loops = [one.loop for one in found if one.line in ("", "L2")]
        assert loops
        for loop in loops:
            assert loop is not None
            assert abs(loop.z_ohm) == pytest.approx(2300, rel=1e-3)
            assert abs(loop.open_v) == pytest.approx(3**0.5 * 230, rel=1e-3)
            # where nothing ties the neutral to earth there is no main earthing terminal
            assert loop.met_ohm is None


def test_at_the_very_terminals_of_an_inverter_a_line_has_its_voltage_to_what_leaks() -> None:
    # L1 leaks, so that PE stands at L1; the board is at the terminals, without a cable between
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1 L2 L3, voltage: 230/400 V, rating: 10 kVA, neutral-bond: none}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 L2 L3 N PE, size: 10 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 L2 L3 N PE, size: 2.5 mm2, length: 10 m, leakage: 100 mA}
"""
    )
    loops = [
        one.loop for one in facts_of(text).earth_faults if one.point.written == "main" and one.line in ("", "L2", "L3")
    ]
    assert loops
    assert all(loop is not None and abs(loop.open_v) == pytest.approx(3**0.5 * 230, rel=1e-3) for loop in loops)
    # bonded there, each line has its own voltage to the frame, and nothing lies in the loop
    for more in ("", "electrodes: {rod: {at: main, resistance: 20 ohm}}\n"):
        bonded = edited(text, (", leakage: 100 mA", ""), (" L3 N PE, size: 10", " L3 N, size: 10"))
        bonded += "bonds: {link: {at: main}}\n" + more
        for one in facts_of(bonded).earth_faults:
            if one.point.written == "main":
                assert one.loop is not None and one.loop.z_ohm == 0
                assert abs(one.loop.open_v) == pytest.approx(230)


def test_a_frame_that_a_crossed_line_is_bonded_to_stands_at_its_voltage() -> None:
    # L1 lands on the neutral bar, and the link there joins it to the frame: another line has the line voltage to it
    text = (
        HEAD
        + """\
sources:
  inv: {kind: inverter, phases: L1 L2 L3, voltage: 230/400 V, rating: 10 kVA, neutral-bond: none}
boards: {main: {}}
connections:
  feed: {from: inv, to: main, cores: L1 L2 L3 N, lands-on: {L1: N, N: L1}, size: 10 mm2, length: 0 m}
circuits:
  load: {from: main, cores: L1 L2 L3 N PE, size: 2.5 mm2, length: 10 m}
bonds: {link: {at: main}}
"""
    )
    ((currents, _),) = facts_of(text).wired
    loops = {names(currents.network, (line,))[0]: loop for (line, _), loop in currents.loops.items()}
    for line in ("main.L2", "main.L3"):
        loop = loops[line]
        assert isinstance(loop, Loop) and abs(loop.open_v) == pytest.approx(3**0.5 * 230)


def test_what_a_leakage_lifts_before_the_fault() -> None:
    # 5 A leak over 10 m of PE in the circuit and 100 m between the boards, to the link.  Equal electrodes at both boards share the
    # voltage between them, and take 0.889 / 40 of the current
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: IT, fault-current: {max: 1.15 kA}}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 N, size: 16 mm2, length: 0 m}
  on: {from: main, to: sub, cores: L1 N PE, size: 2.5 mm2, length: 100 m}
circuits:
  load: {from: sub, cores: L1 N PE, size: 2.5 mm2, length: 10 m, leakage: 5 A}
bonds: {link: {at: main}}
electrodes: {rod: {at: main, resistance: 20 ohm}, other: {at: sub, resistance: 20 ohm}}
"""
    )
    loops = {one.point.written: one.loop for one in facts_of(text).earth_faults}
    at_main, at_sub, at_load = loops["main"], loops["sub"], loops["load"]
    assert at_main is not None and at_sub is not None and at_load is not None
    between_v = 5 * 10 * WARM_OHM * 40 / (40 + 10 * WARM_OHM)
    # to the main earthing terminal, which is at the first electrode
    assert abs(at_main.met_v) == pytest.approx(0, abs=1e-9)
    assert abs(at_sub.met_v) == pytest.approx(between_v, rel=0.01)
    assert abs(at_load.met_v) == pytest.approx(between_v + 5 * WARM_OHM, rel=0.01)
    # and to the mass of earth
    assert abs(at_main.earth_v) == pytest.approx(between_v / 2, rel=0.01)
    assert abs(at_load.earth_v) == pytest.approx(between_v / 2 + 5 * WARM_OHM, rel=0.01)


@pytest.mark.parametrize(("poles", "line", "passed"), [("L1", "L1", ["f"]), ("L1", "L2", []), ("L2", "L2", ["f"])])
def test_a_device_sees_the_faults_of_the_lines_that_it_opens(poles: str, line: str, passed: list[str]) -> None:
    fuse = f"through: [{{id: f, kind: fuse, class: gG, rating: 16 A, poles: {poles}}}]"
    text = DROPS.replace("SERVICE", "L1 L2").replace("CORES", "L1 L2 N PE").replace("LOAD", fuse)
    found = facts_of(text).earth_faults
    (fault,) = (one for one in found if one.id == "asked" and one.line in ("", line))
    assert [one.device.id for fed in fault.feds for one in fed.passed] == passed


SELF_FED = (
    HEAD
    + """\
sources:
  hybrid: {kind: inverter, phases: L1, voltage: 230 V, rating: 5 kVA, mains-input: yes, neutral-bond: while-inverting}
boards: {main: {}}
connections:
  output: {from: hybrid.out, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  input: {from: main, to: hybrid.in, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
"""
)


def test_an_inverter_that_feeds_its_own_input_feeds_a_fault_there_and_none_at_its_output() -> None:
    # as far as its line alone: its frame is the end of the loop
    loops = {one.point.written: one.loop for one in facts_of(SELF_FED).earth_faults}
    assert set(loops) == {"main", "load", "hybrid.in"}
    at_input, at_main = loops["hybrid.in"], loops["main"]
    assert at_input is not None and at_main is not None
    # the line of the output and that of the input; the PE of both cables joins the same frame, side by side
    ten_ohm = 0.0183 * 1.2
    assert at_main.z_ohm.real == pytest.approx(ten_ohm + ten_ohm * WARM_OHM / (ten_ohm + WARM_OHM), rel=0.01)
    assert at_input.z_ohm.real == pytest.approx(ten_ohm + WARM_OHM, rel=0.01)


@pytest.mark.parametrize(
    ("supply", "lacking"),
    [
        # nothing else is open on the way: a neutral beside it takes a part of what returns
        ("loop-impedance: 0.5 ohm", "the length of beside"),
        # the way to the source goes first, and the source is its end
        ("voltage: 230 V", "grid"),
    ],
)
def test_the_entry_that_a_loop_rests_on_beside_its_own_way(supply: str, lacking: str) -> None:
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, {supply}}}
boards: {{main: {{}}, sub: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 10 m}}
  beside: {{from: main, to: sub, cores: N, size: 10 mm2}}
  earth: {{from: main, to: sub, cores: PE, size: 10 mm2, length: 10 m}}
circuits:
  load: {{from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}}
bonds: {{link: {{at: sub}}}}
"""
    ).replace("voltage: 230 V, earthing: TN-S, voltage: 230 V", "voltage: 230 V, earthing: TN-S")
    (fault,) = (one for one in facts_of(text).earth_faults if one.id == "load")
    with pytest.raises(Unknown) as raised:
        assert fault.loop_ohm
    assert lacking in str(raised.value)


ISOLATED = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: IT, fault-current: {max: 1 kA, min: 1 kA}}
boards: {main: {}}
connections:
  service: {from: grid, to: main, cores: CORES, size: 2.5 mm2, length: 10 m}
circuits:
  load: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
electrodes: {rod: {at: main, resistance: 30 ohm}}
"""
)
WARM_OHM = 0.0741 * 1.2
"""10 m of 2.5 mm2 at 70 C (IEC 60228: 7.41 ohm/km at 20 C, 1 + 0.004 x 50); its reactance changes no digit that is compared."""


ROOF = "roof: {kind: inverter, phases: L1, voltage: 230 V, rating: 1 kVA, earthing: IT, operation: grid-following}"


def test_a_second_fault_returns_by_the_protective_conductor_of_the_supply() -> None:
    # IEC 60364-4-41, 411.6.4: from line and protective conductor of the circuit, here from the source on
    def half_loop_ohm(cores: str, place: str) -> float:
        (fault,) = (
            one for one in facts_of(ISOLATED.replace("CORES", cores)).earth_faults if one.point.written == place
        )
        assert fault.second is not None
        return 230 / fault.second[0] / 2

    # a board that nothing feeds has no fault to begin from, and what follows the supply has no star point of its own
    dead = edited(
        ISOLATED,
        ("boards: {main: {}}", "boards: {dead: {}, main: {}}"),
        ("circuits:", "circuits:\n  none: {from: dead, cores: L1 N PE}"),
    )
    roof_feed = "  roof-feed: {from: roof, to: main, cores: L1 N PE, size: 2.5 mm2, length: 50 m}\n"
    follows = edited(ISOLATED, ("sources:", f"sources:\n  {ROOF}"), ("circuits:", f"{roof_feed}circuits:"))
    for text in (dead, follows):
        plain = facts_of(ISOLATED.replace("CORES", "L1 N")).earth_faults
        for fault in facts_of(text.replace("CORES", "L1 N")).earth_faults:
            for one in plain:
                if one.point.written == fault.point.written == "load":
                    assert one.second is not None and fault.second is not None
                    assert one.second[0] == pytest.approx(fault.second[0])
    without, brought = (half_loop_ohm(cores, "main") for cores in ("L1 N", "L1 N PE"))
    assert brought - without == pytest.approx(WARM_OHM, rel=0.05)
    assert half_loop_ohm("L1 N PE", "load") - brought == pytest.approx(2 * WARM_OHM, rel=0.05)


AHEAD = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  t: {kind: transformer, winding: isolating, phases: L1, voltage: 115 V, primary-voltage: 230 V, rating: 5 kVA, impedance: 4 %}
boards: {main: {}, far: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 0 m}
  primary: {from: main, to: t.in, cores: L1 N PE, size: 10 mm2, length: 10 m, through: [DEVICES]}
  secondary: {from: t.out, to: far, cores: L1 N PE, size: 10 mm2, length: 10 m}
circuits:
  load: {from: far, cores: L1 N PE, size: 2.5 mm2, length: 10 m}
bonds: {link: {at: far}}
electrodes: {rod: {at: far}}
"""
)


@pytest.mark.parametrize(
    ("devices", "passed"),
    [
        ("{id: q, kind: isolator}, {id: b, kind: mcb, curve: B, rating: 20 A}", ["b"]),
        # no overcurrent device, and one that is in the neutral alone
        ("{id: q, kind: switch}, {id: r, kind: rcd, residual: 1 A}", []),
        (
            "{id: n, kind: fuse, class: gG, rating: 20 A, poles: N}, {id: c, kind: rcbo, curve: C, rating: 16 A, residual: 30 mA}",
            ["c"],
        ),
    ],
)
def test_which_devices_ahead_of_a_transformer_see_a_fault_behind_it(devices: str, passed: list[str]) -> None:
    found = [one for one in facts_of(AHEAD.replace("DEVICES", devices)).earth_faults if one.id == "load"]
    assert {tuple(one.device.id for fed in fault.feds for one in fed.passed) for fault in found} == {tuple(passed)}


@pytest.mark.parametrize(
    ("primary", "ratio"),
    [("primary-voltage: 230 V, ", 115 / 230), ("primary-voltage: 240 V, ", 115 / 240), ("", 115 / 230)],
)
def test_a_device_ahead_of_a_transformer_sees_the_current_by_its_turns(primary: str, ratio: float) -> None:
    # the voltages that are written on it are its turns; where none is, it is made for the voltage of what feeds it
    text = edited(
        AHEAD.replace("DEVICES", "{id: b, kind: mcb, curve: B, rating: 20 A}"), ("primary-voltage: 230 V, ", primary)
    )
    (fault,) = (one for one in facts_of(text).earth_faults if one.id == "load")
    assert [one.current_a for fed in fault.feds for one in fed.passed] == [pytest.approx(fault.current_a() * ratio)]


def test_a_primary_whose_line_is_crossed_with_the_neutral_has_no_device_ahead_that_is_counted_on() -> None:
    text = edited(
        AHEAD.replace("DEVICES", "{id: b, kind: mcb, curve: B, rating: 20 A}"),
        ("to: t.in, cores: L1 N PE", "to: t.in, cores: L1 N PE, lands-on: {L1: N, N: L1}"),
    )
    (fault,) = (one for one in facts_of(text).earth_faults if one.id == "load")
    assert [one.device.id for fed in fault.feds for one in fed.passed] == []


# -- normal service ----------------------------------------------------------------------------------------------------

SET = (
    HEAD
    + """\
sources:
  set: {kind: generator, phases: L1 L2, voltage: 230 V, rating: 10 kVA, subtransient-reactance: 10 %, neutral-bond: fixed}
boards: {main: {}, sub: {}}
connections:
  feed: {from: set, to: main, cores: L1 L2 N PE, size: 2.5 mm2, pe-size: 4 mm2, length: 10 m}
  on: {from: main, to: sub, cores: L1 L2 N PE, size: 2.5 mm2, pe-size: 4 mm2, length: 10 m}
circuits:
  near: {from: main, cores: NEAR, size: 2.5 mm2, length: 5 m, load: 1 A}
  far: {from: sub, cores: FAR, size: 2.5 mm2, length: 5 m, load: LOAD}
bonds: {link: {at: LINK}}
"""
)
"""A set that is bonded inside, and a link too many; the protective conductors are larger than the neutrals."""


N_OHM, PE_OHM = 7.41, 4.61
"""Of a kilometre of 2.5 mm2 and of 4 mm2 (IEC 60228); only their ratio matters here, and the reactance of 0.08 changes the third digit."""


@pytest.mark.parametrize(
    ("near", "far", "load", "link", "share"),
    [
        # from the sub-board on two lengths of either
        ("L1 N PE", "L1 N PE", "1 A", "sub", N_OHM / (N_OHM + PE_OHM)),
        # from the main board on one length of N, or the N to the link and both PE
        ("L1 N PE", "L1 N PE", "0 A", "sub", N_OHM / (2 * N_OHM + 2 * PE_OHM)),
        ("L1 N PE", "L1 L2 PE", "1 A", "sub", N_OHM / (2 * N_OHM + 2 * PE_OHM)),
        ("L1 N PE", "L1 N PE", "0 W", "main", N_OHM / (N_OHM + PE_OHM)),
        # no load has a neutral: asked from the place of the link on
        ("L1 L2 PE", "L1 L2 PE", "1 A", "sub", N_OHM / (N_OHM + PE_OHM)),
    ],
)
def test_how_the_neutral_current_of_the_farthest_load_divides(
    near: str, far: str, load: str, link: str, share: float
) -> None:
    text = SET.replace("NEAR", near).replace("FAR", far).replace("LOAD", load).replace("LINK", link)
    (found,) = (one.sharing for one in facts_of(text).references if one.id == "link" and one.sharing)
    assert found.share == pytest.approx(share, rel=2e-3)
    # two lines with one value are opposite (FORMAT.md, systems of windings)
    assert found.nominal_v == 115 and found.no_load is None


PLAIN_SET = SET.replace("NEAR", "L1 N PE").replace("FAR", "L1 N PE").replace("LINK", "sub")


def test_a_neutral_that_lands_on_an_earth_bar_is_a_link_with_the_length_of_its_cable() -> None:
    # 10 m of 2.5 mm2 and one length of PE, beside two lengths of N
    text = edited(
        PLAIN_SET.replace("LOAD", "1 A"),
        (
            "circuits:",
            "  cross: {from: sub, to: main, cores: N, lands-on: {N: PE}, size: 2.5 mm2, length: 10 m}\ncircuits:",
        ),
        ("bonds: {link: {at: sub}}\n", ""),
    )
    (found,) = (one.sharing for one in facts_of(text).references if one.id == "cross" and one.sharing)
    assert found.share == pytest.approx(2 * N_OHM / (3 * N_OHM + PE_OHM), rel=2e-3)


def test_what_a_link_takes_does_not_rest_on_a_ring_of_earth_bars() -> None:
    # how the two conductors to the box share a current is up to their contacts; the link has what the neutral leaves it
    earth = "".join(
        f"  {name}: {{from: sub, to: box, cores: PE, size: 16 mm2, length: 0 m}}\n" for name in ("e1", "e2")
    )
    text = SET.replace("NEAR", "L1 L2 PE").replace("FAR", "L1 L2 PE").replace("LINK", "sub").replace("LOAD", "1 A")
    text = edited(text, ("boards: {", "boards: {box: {}, "), ("circuits:", f"{earth}circuits:"))
    (found,) = (one.sharing for one in facts_of(text).references if one.id == "link" and one.sharing)
    assert found.share == pytest.approx(N_OHM / (N_OHM + PE_OHM), rel=2e-3)


def test_of_two_links_side_by_side_nobody_knows_the_share() -> None:
    # it is up to their contacts
    text = edited(PLAIN_SET.replace("LOAD", "1 A"), ("link: {at: sub}", "link: {at: sub}, other: {at: sub}"))
    (found,) = (one.sharing for one in facts_of(text).references if one.id == "link" and one.sharing)
    assert (found.share, found.current_a) == (None, None)


def test_what_is_not_written_of_a_set_and_its_loads() -> None:
    text = edited(PLAIN_SET, ("voltage: 230 V, ", ""), ("load: LOAD", "serves: fixed"))
    (found,) = (one.sharing for one in facts_of(text).references if one.id == "link" and one.sharing)
    assert found.nominal_v == 0
    assert found.no_load is not None and found.no_load.what == "the load of far"
    # a circuit that another source feeds is no matter of this one
    apart = edited(
        PLAIN_SET.replace("LOAD", "1 A"),
        ("boards: {", "  ups: {kind: inverter, phases: L1, neutral-bond: fixed}\nboards: {hut: {}, "),
        (
            "circuits:",
            "  feed-hut: {from: ups, to: hut, cores: L1 N PE}\ncircuits:\n  lamp: {from: hut, cores: L1 N PE}",
        ),
    )
    shares = [one.sharing for one in facts_of(apart).references if one.id == "link" and one.sharing]
    assert shares and all(one.no_load is None for one in shares)


def test_at_the_terminals_of_its_source_no_neutral_current_divides() -> None:
    text = SET.replace("NEAR", "L1 L2 PE").replace("FAR", "L1 L2 PE").replace("LINK", "sub")
    device = "through: [{id: r, kind: rcd, residual: 300 mA}]"
    text = edited(
        text.replace("LOAD", "1 A"), ("  on: {from: main, to: sub, ", f"  on: {{from: main, to: sub, {device}, ")
    )
    found = [Sharing(full, bare, island, tie) for full, bare, island, tie in inside(text)]
    assert found
    for one in found:
        assert one.share is None
        assert one.beside(one.island.network.rcds[0]) is None


@pytest.mark.parametrize("ring", [("one", "other"), ("other", "one")])
def test_past_a_device_in_a_ring_of_bars_nobody_knows_what_comes_back(ring: tuple[str, str]) -> None:
    device = {"one": ", through: [{id: r, kind: rcd, residual: 300 mA}]", "other": ""}
    bars = "".join(f"  {name}: {{from: main, to: bars, cores: L1 L2 N{device[name]}}}\n" for name in ring)
    text = edited(
        PLAIN_SET.replace("LOAD", "1 A"),
        ("main: {}, sub: {}", "main: {}, sub: {}, bars: {inside: main}"),
        ("circuits:", f"{bars}circuits:"),
        ("near: {from: main", "near: {from: bars"),
        ("link: {at: sub}", "link: {at: bars}"),
    )
    found = [one.sharing for one in facts_of(text).references if one.id == "link" and one.sharing]
    told = {
        one.island.value(one.island.network.rcds[0].variable): one.beside(one.island.network.rcds[0]) for one in found
    }
    # while it is open, all of it comes back by the other bars
    assert told == {"closed": None, "open": pytest.approx(1)}


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        (None, None, True),
        (None, 1.0, False),
        (1.0, None, False),
        (1.0, 1.0, True),
        # the bound is a part of the larger one, and nothing below a millionth is told apart by it
        (1000.0, 1000.9, True),
        (1000.0, 1002.0, False),
        (1e-9, 9e-10, True),
        (-1.0, 1.0, False),
    ],
)
def test_magnitudes_that_agree(a: float | None, b: float | None, same: bool) -> None:
    assert service._alike(a, b, 1e-3) == same


def inside(text: str) -> list[tuple[InService, InService, Island, Tie]]:
    """Every link in every case, with normal service and with the leakages alone."""
    facts = facts_of(text)
    return [
        (facts.service_of(currents, True), facts.service_of(currents, False), island, tie)
        for currents, islands in facts.wired
        for island in islands
        for tie in island.ties
        if tie.id == "set"
    ]


def test_a_device_answers_for_the_circuits_behind_it_that_the_same_source_feeds() -> None:
    text = (
        HEAD
        + """\
sources:
  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, sub: {}, hut: {}}
connections:
  service: {from: grid, to: main, cores: L1 N PE}
  on: {from: main, to: sub, cores: L1 N PE, through: [{id: r, kind: rcd, residual: 30 mA}]}
  feed: {from: set, to: hut, cores: L1 N PE}
circuits:
  apart: {from: hut, cores: L1 N PE}
  ahead: {from: main, cores: L1 N PE}
  first: {from: sub, cores: L1 N PE, load: 1 A, leakage: 1 mA}
  second: {from: sub, cores: L1 N PE, SECOND}
"""
    )
    for second, load, leakage in (
        ("serves: fixed", "the load of second", "the leakage of second"),
        ("load: 2 kW, leakage: 1 mA", "", ""),
        ("load: 2 kVA, leakage: 0 mA", "", ""),
        ("load: 0 W, equipment: class-II", "", ""),
    ):
        devices = [one for one in facts_of(text.replace("SECOND", second)).rcds_in_service if one.id == "r"]
        assert devices
        for found in devices:
            assert [circuit.id for circuit in found.beyond] == ["first", "second"]
            assert (found.no_load.what if found.no_load else "") == load
            assert (found.no_leakage.what if found.no_leakage else "") == leakage


LEAKS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, sub: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 1 m}
  on: {from: main, to: sub, cores: LINES N PE, size: 10 mm2, length: 1 m, through: [{id: r, kind: rcd, residual: 100 mA}]}
circuits:
  a: {from: sub, cores: L2 N PE, size: 2.5 mm2, length: 1 m, leakage: 10 mA}
  b: {from: sub, cores: L1 L3 N PE, size: 2.5 mm2, length: 1 m, leakage: 10 mA}
  c: {from: sub, cores: L3 N PE, size: 2.5 mm2, length: 1 m, leakage: 10 mA}
  d: {from: sub, cores: L3 N PE, size: 2.5 mm2, length: 1 m, leakage: 10 mA, equipment: class-II}
  e: {from: sub, cores: L3 N, size: 2.5 mm2, length: 1 m, leakage: 10 mA}
"""
)


@pytest.mark.parametrize(
    ("lines", "earthed", "milliampere"),
    [
        # one on each line cancel when all are on; the most is left with one or two of them on (FORMAT.md: from the first of the cores)
        ("L1 L2 L3", "c", 10),
        ("L1 L2 L3", "none", 20),
        # where the first line is dead it leaks from the next one: L3 has 20 mA, and with the 10 mA of L2 there are less
        ("L2 L3", "none", 20),
    ],
)
def test_the_most_that_leaks_with_some_circuits_switched_off(lines: str, earthed: str, milliampere: float) -> None:
    text = LEAKS.replace("LINES", lines)
    if earthed == "none":
        # two on one line add up
        text = (
            text.replace("  b: {from: sub, cores: L1 L3 N PE", "  b: {from: sub, cores: L3 N PE")
            if "L1" in lines
            else text
        )
    (found,) = (one for one in facts_of(text).rcds_in_service if one.id == "r")
    assert found.unbalanced_a * 1000 == pytest.approx(milliampere)
    assert found.standing_a * 1000 == pytest.approx(milliampere, rel=1e-3)


def test_leakages_of_a_supply_whose_voltage_is_not_written_add_up_as_they_are() -> None:
    text = edited(
        LEAKS.replace("LINES", "L3"),
        ("  a: {from: sub, cores: L2", "  a: {from: sub, cores: L3"),
        ("voltage: 230/400 V, ", ""),
    )
    text = edited(text, ("cores: L1 L3 N PE", "cores: L3 N PE"))
    (found,) = (one for one in facts_of(text).rcds_in_service if one.id == "r")
    assert found.unbalanced_a == pytest.approx(0.03)


@pytest.mark.parametrize("unknown", [", length: 5 m", ""])
def test_a_device_in_a_ring_of_bars_without_length_sums_what_nobody_knows(unknown: str) -> None:
    # how two bars share a current is up to their contacts, whatever else is written
    text = (
        HEAD
        + f"""\
sources:
  grid: {{kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.5 ohm}}
boards: {{main: {{}}, bars: {{inside: main}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m}}
  one: {{from: main, to: bars, cores: L1 N, through: [{{id: r, kind: rcd, residual: 30 mA}}]}}
  other: {{from: main, to: bars, cores: L1}}
circuits:
  load: {{from: bars, cores: L1 N PE, size: 2.5 mm2{unknown}, load: 1 A, leakage: 1 mA}}
"""
    )
    (found,) = (one for one in facts_of(text).rcds_in_service if one.id == "r")
    for ask in ("standing_a", "total_a"):
        with pytest.raises(Unknown, match="the resistance of contacts"):
            getattr(found, ask)


SOIL = (
    HEAD
    + """\
sources:
  set: {kind: inverter, phases: L1, voltage: 230 V, rating: 10 kVA, neutral-bond: fixed}
boards: {main: {}, barn: {}, box: {}}
connections:
  service: {from: set, to: main, cores: L1 N PE, size: 16 mm2, length: 1 m}
  to-barn: {from: main, to: barn, cores: L1 N, size: 2.5 mm2, length: 100 m}
  to-box: {from: main, to: box, cores: PE, size: 16 mm2, length: 1 m}
circuits:
  saw: {from: barn, cores: L1 N PE, size: 2.5 mm2, length: 1 m, load: 10 A}
bonds: {link: {at: barn}}
electrodes: {rod: {at: barn, resistance: 10 ohm}, other: {at: box, resistance: 10 ohm}}
"""
)


def test_what_returns_through_the_soil_is_left_out_without_the_electrodes() -> None:
    # 230 V on the 23 ohm of the load and twice 100 m of cable (0.889 ohm warm); of that N leaves 0.889 / (0.889 + 20) to the electrodes
    (found,) = facts_of(SOIL).pe_currents
    # of two in a row the first
    assert found.id == "service"
    assert found.current_a == pytest.approx(0.889 / 20.889 * 230 / (23 + 2 * 0.889), rel=0.01)
    assert found.metallic_a == pytest.approx(0, abs=1e-9)


DROPS = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-S, loop-impedance: 0.5 ohm}
boards: {main: {}, bar: {}}
connections:
  service: {from: grid, to: main, cores: SERVICE N PE, size: 16 mm2, length: 0 m}
circuits:
  asked: {from: main, cores: CORES, size: 2.5 mm2, length: 20 m, LOAD}
"""
)


@pytest.mark.parametrize(
    ("service", "cores", "load", "ratio", "lacking"),
    [
        # 2 cores of 20 m (IEC 60364-5-52, annex G, from memory: 0.0225 ohm mm2/m) with 10 A, of 230 V or of 400 V between two lines
        ("L1 L2 L3", "L1 N PE", "load: 10 A", 2 * 0.0225 * 20 / 2.5 * 10 / 230, ""),
        ("L1 L2 L3", "L1 L2 PE", "load: 10 A", 2 * 0.0225 * 20 / 2.5 * 10 / 400, ""),
        # where a line of three is dead the load is between the other two, with its share of the power
        ("L2 L3", "L1 L2 L3 PE", "load: 0 A", 0, ""),
        ("L1 L2 L3", "L1 N PE", "load: 0 A", 0, ""),
        ("L1 L2 L3", "L1 N PE", "serves: fixed", 0, "the load of asked"),
    ],
)
def test_the_voltage_drop_of_a_circuit(service: str, cores: str, load: str, ratio: float, lacking: str) -> None:
    text = DROPS.replace("SERVICE", service).replace("CORES", cores).replace("LOAD", load)
    (drop,) = facts_of(text).drops
    assert (drop.source, drop.public) == ("grid", True)
    if lacking:
        with pytest.raises(Unknown, match=lacking):
            assert drop.ratio
    else:
        assert drop.ratio == pytest.approx(ratio, rel=0.03, abs=1e-9)


def test_a_neutral_that_leads_nowhere_leaves_no_voltage_to_tell() -> None:
    text = DROPS.replace("SERVICE", "L1").replace("CORES", "L1 PE").replace("LOAD", "load: 10 A")
    text = edited(
        text, ("circuits:", "  lost: {from: bar, to: asked, cores: N, size: 2.5 mm2, length: 20 m}\ncircuits:")
    )
    (drop,) = facts_of(text).drops
    with pytest.raises(Unknown, match="the voltage at asked is not determined"):
        assert drop.ratio


def test_between_the_lines_of_two_inverters_of_a_group_no_terminals_are_compared() -> None:
    text = (
        HEAD
        + """\
sources:
  first: {kind: inverter, phases: L1, voltage: 120 V, system: split-phase, rating: 3 kVA, neutral-bond: fixed}
  second: {kind: inverter, phases: L2, voltage: 120 V, system: split-phase, rating: 3 kVA}
groups: {pair: {members: [first, second], phases: {first: L1, second: L2}}}
boards: {main: {}}
connections:
  one: {from: first, to: main, cores: L1 N PE, size: 10 mm2, length: 1 m}
  two: {from: second, to: main, cores: L2 N PE, size: 10 mm2, length: 1 m}
circuits:
  oven: {from: main, cores: L1 L2 PE, size: 2.5 mm2, length: 20 m, load: 10 A}
  lamp: {from: main, cores: L2 N PE, size: 2.5 mm2, length: 20 m, load: 1 A}
"""
    )
    drops = {drop.id: drop for drop in facts_of(text).drops}
    # the line of the lamp begins at the second inverter, and so does its neutral
    assert drops["lamp"].ratio > 0 and not drops["lamp"].public
    with pytest.raises(Unknown, match="the voltage at oven is not determined"):
        assert drops["oven"].ratio


COMMON = (
    HEAD
    + """\
sources:
  grid: {kind: utility, phases: L1 L2 L3, voltage: 120/240 V, system: high-leg, earthing: TN-S, loop-impedance: 0.5 ohm}
  set: {kind: generator, phases: L1 L2, voltage: 230 V, rating: 10 kVA, neutral-bond: none}
boards: {main: {}, own: {}}
connections:
  service: {from: grid, to: main, cores: L1 L2 L3 N PE, size: 16 mm2, length: 1 m}
  feed: {from: set, to: own, cores: L1 L2 N PE, size: 10 mm2, length: 1 m}
  joined: {from: main, to: own, cores: N PE, size: 10 mm2, length: 1 m}
circuits:
  one: {from: main, cores: L1 N PE, size: 2.5 mm2, length: 1 m, load: 1 A}
  two: {from: own, cores: L2 N PE, size: 2.5 mm2, length: 1 m, load: 1 A}
"""
)
"""A supply with a high leg and a set on a board of its own; their neutrals are joined."""


def test_sources_that_share_a_neutral_alone_are_told_apart() -> None:
    facts = facts_of(COMMON)
    both = [one for one in facts.islands if len(one.feeds) == 2]
    assert both
    node = facts.network.number_of
    for island in both:
        assert on_high_leg(island, node("main", "", "L2"))
        assert not on_high_leg(island, node("own", "", "L2"))
        assert not on_high_leg(island, node("main", "", "L1"))
        # what goes back to which star point
        assert (source_of(island, node("one", "", "N")), source_of(island, node("two", "", "N"))) == ("grid", "set")
    assert {(drop.id, drop.public) for drop in facts.drops if len(drop.island.feeds) == 2} == {
        ("one", True),
        ("two", False),
    }


def test_a_link_behind_a_device_in_a_bar_without_length_takes_half_of_the_neutral_current() -> None:
    # set and board have the same frame at either end of one PE; N and PE of the feed are alike, and the bar has no impedance
    text = (
        HEAD
        + """\
sources:
  set: {kind: generator, phases: L1, voltage: 230 V, rating: 10 kVA, subtransient-reactance: 10 %, neutral-bond: fixed}
boards: {main: {}, bars: {inside: main}}
connections:
  feed: {from: set, to: main, cores: L1 N PE, size: 10 mm2, length: 10 m}
  bar: {from: main, to: bars, cores: L1 N, through: [{id: r, kind: rcd, residual: 300 mA}]}
circuits:
  load: {from: bars, cores: L1 N PE, size: 2.5 mm2, length: 10 m, load: 1 A}
bonds: {link: {at: bars}}
"""
    )
    (found,) = (one for one in facts_of(text).references if one.id == "link" and one.kept)
    assert found.rcd is not None and found.sharing is not None
    assert found.sharing.beside(found.rcd) == pytest.approx(0.5, rel=1e-3)
    assert found.sharing.share == pytest.approx(0.5, rel=1e-3)
