"""The single-line diagram: everything is in it once, in the state that it says, and names stay names."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections import Counter
from functools import cache
from pathlib import Path
from random import Random

import pytest
from syrupy.assertion import SnapshotAssertion

import generate
import generate_large
from conftest import ROOT
from onebond.document import parse
from onebond.engine import inspect
from onebond.facts import Facts
from onebond.facts.drawing import drawing, kinds_of_island
from onebond.loading import load_rules
from onebond.reading import load, read
from onebond.reporting import diagram
from onebond.reporting.diagram import metrics
from onebond.result import Drawing, DrawnState, Site

SITES = sorted((ROOT / "fixtures" / "sites").glob("*.yaml"))
GOOD = [path for path in SITES if "--" not in path.name]
SVG = "{http://www.w3.org/2000/svg}"
PARTS = ("place", "link", "device", "bond", "electrode", "monitor", "metal")


@cache
def drawn(path: Path) -> Site:
    """A fixture with its drawing, without verdicts."""
    document, installation, problems, _ = load(str(path))
    assert document is not None and installation is not None, problems
    facts = Facts(installation, installation.rulebook)
    return Site(
        path.name,
        document.lines,
        "",
        installation.name,
        installation.rulebook,
        installation.stage,
        drawing=drawing(facts, document),
    )


def written(text: str, limit: int = 60) -> Site:
    """The same of a text of our own."""
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    facts = Facts(installation, installation.rulebook, limit)
    return Site("site.yaml", document.lines, "", installation.name, "iec", "design", drawing=drawing(facts, document))


def inspected(name: str) -> Site:
    """A fixture with its verdicts and its drawing."""
    document, installation, _, _ = load(str(ROOT / "fixtures" / "sites" / name))
    assert document is not None and installation is not None
    site = inspect(installation, document, load_rules(), today="2026-11-25", islands=True, drawing=True)
    return site._replace(path=name)


def of(site: Site) -> Drawing:
    assert site.drawing is not None
    return site.drawing


def expected_ids(site: Site) -> Counter[str]:
    """The id of everything that has to be in a drawing."""
    parts = of(site)
    return Counter(
        [
            *(f"place-{place.id}" for place in parts.places),
            *(f"link-{link.id}" for link in parts.links),
            *(f"device-{n}-{link.id}" for link in parts.links for n, _ in enumerate(link.devices, 1)),
            *(f"bond-{bond.id}" for bond in parts.bonds),
            *(f"bond-{place.id}" for place in parts.places if place.neutral_bond != "none"),
            *(f"electrode-{electrode.id}" for electrode in parts.electrodes),
            *(f"monitor-{monitor.id}" for monitor in parts.monitors),
            *(f"metal-{metal.id}" for metal in parts.metals),
        ]
    )


def ids(svg: str) -> Counter[str]:
    return Counter(name for name in re.findall(r' id="([^"]*)"', svg) if name.split("-")[0] in PARTS)


def element(svg: str, name: str) -> ET.Element:
    return next(one for one in ET.fromstring(svg).iter() if one.get("id") == name)


def lit(svg: str, name: str) -> str:
    """Whether an element is drawn as part of the live island: on, off, or neither."""
    return next((word for word in (element(svg, name).get("class") or "").split() if word in ("on", "off")), "")


def state_with(site: Site, *sources: str, **values: str) -> int:
    """The number of the first kind of live island that these sources feed and whose drawn state has these values."""
    for number, state in enumerate(of(site).states):
        known = dict(state.values)
        if state.sources == sources and all(known.get(name) == value for name, value in values.items()):
            return number
    raise LookupError(sources)


# -- the data ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_states_are_the_live_islands_one_by_one(path: Path) -> None:
    document, installation, _, _ = load(str(path))
    assert document is not None and installation is not None
    site = inspect(installation, document, [], islands=True)
    kinds = kinds_of_island(Facts(installation, installation.rulebook))
    assert [(k.sources, k.supplies, k.references, k.verdict) for k in kinds] == [
        (one.sources, one.supplies, one.references, one.verdict) for one in site.islands
    ]
    assert [(s.sources, s.supplies, s.verdict) for s in of(drawn(path)).states] == [
        (one.sources, one.supplies, one.verdict) for one in site.islands
    ]


def test_data_stand_as_they_are_written() -> None:
    path = ROOT / "fixtures" / "sites" / "nec-rv.yaml"
    parts = of(drawn(path))
    line = next(n for n, text in enumerate(path.read_text().splitlines(), 1) if text.startswith("  cord:"))
    cord = next(link for link in parts.links if link.id == "cord")
    assert (cord.size, cord.texts, cord.plug, cord.line) == ("10 AWG", ("30 ft",), True, line)
    assert cord.devices[0].texts == ("C 30 A",)
    outlets = next(link for link in parts.links if link.id == "outlets")
    assert outlets.devices[0].texts == ("C 20 A", "5 mA")


def test_neutral_current_of_the_farthest_load_returns_over_every_cable_between() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "hut.yaml")
    (state,) = of(site).states
    assert set(state.returns) == {("pump", "N", "start"), ("rcd-group", "N", "start"), ("feed", "N", "start")}
    assert state.strays == ()
    assert [one.id for one in state.references] == ["hut-link"]


def test_a_cable_written_towards_its_source_carries_the_current_to_its_finish() -> None:
    text = (ROOT / "fixtures" / "sites" / "hut.yaml").read_text().replace("from: inv, to: hut", "from: hut, to: inv")
    (state,) = of(written(text)).states
    assert ("feed", "N", "finish") in state.returns


def test_with_two_references_current_strays_into_the_conductors_between_them() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "pen-chain--pipe-beside-pen.yaml")
    (state,) = of(site).states
    assert state.strays == (("water-pipe", "PE", "start"),)


def test_every_drawn_position_is_one_that_interlocks_allow() -> None:
    concerned = 0
    for path in SITES:
        _, installation, _, _ = load(str(path))
        assert installation is not None
        members = {member: group.id for group in installation.groups for member in group.members}
        for state in of(drawn(path)).states if installation.interlocks else ():
            values = dict(state.values)
            for interlock in installation.interlocks:
                concerned += 1
                assert not all(values.get(members.get(name, name)) in wanted for name, wanted in interlock.never)
    assert concerned > 20


# -- the picture ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("conductors", [False, True], ids=["one-line", "conductors"])
@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_everything_is_drawn_once(path: Path, conductors: bool) -> None:
    site = drawn(path)
    state = 0 if of(site).states else None
    svg = diagram.render(site, state, conductors=conductors)
    assert ids(svg) == expected_ids(site)
    root = ET.fromstring(svg)
    names = [one.get("id") for one in root.iter() if one.get("id")]
    assert len(names) == len(set(names))
    assert not [one for one in root.iter() for name in one.attrib if name == "style" or name.startswith("on")]
    assert {one.tag.removeprefix(SVG) for one in root.iter()} <= {
        *("svg", "title", "desc", "g", "path", "circle", "rect", "ellipse", "text")
    }


@pytest.mark.parametrize("seed", range(12))
def test_everything_of_a_large_site_is_drawn_once_over_its_sheets(seed: int) -> None:
    site = written(generate.written(generate_large.build(Random(seed), 6 + seed * 5)))
    assert ids(diagram.render(site)) == expected_ids(site)
    found = diagram.sheets(site)
    assert sum((ids(sheet.svg) for sheet in found), Counter()) == expected_ids(site)
    places = [place for sheet in found for place in sheet.places]
    assert sorted(places) == sorted(place.id for place in of(site).places)
    roots = [re.search(r'<svg [^>]*id="([^"]*)"', sheet.svg) for sheet in found]
    assert len({root[1] for root in roots if root}) == len(found)


def test_a_sheet_says_where_a_cable_goes_on() -> None:
    site = written(generate.written(generate_large.build(Random(1), 60)))
    found = diagram.sheets(site)
    sheet_of = {place: sheet.number for sheet in found for place in sheet.places}
    crossing = [link for link in of(site).links if sheet_of[link.start] != sheet_of[link.finish]]
    assert len(found) > 3 and crossing
    for link in crossing:
        here, there = found[sheet_of[link.start] - 1].svg, found[sheet_of[link.finish] - 1].svg
        numbers = {f"sheet {sheet_of[link.start]}<", f"sheet {sheet_of[link.finish]}<"}
        assert sum(number in svg for number in numbers for svg in (here, there)) >= 2, link.id


def test_a_small_site_is_one_sheet() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "hut.yaml")
    (sheet,) = diagram.sheets(site, 0)
    assert sheet.svg == diagram.render(site, 0)


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_house_fits_one_screen(path: Path) -> None:
    """1200 by 700; type of 10 units is then still 7.5 pixels or more."""
    svg = diagram.render(drawn(path), 0, caption=False)
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert size and min(1200 / float(size[1]), 700 / float(size[2])) >= 0.75


def test_folded_circuits_are_one_way_with_all_their_findings() -> None:
    site = inspected("hut--sockets-without-pe.yaml")
    svg = diagram.render(site, 0, fold=True)
    title = element(svg, "fold-hut-rcd").find(f"{SVG}title")
    assert title is not None and title.text == "final circuits of hut-rcd: lights, sockets, pump"
    assert ">3 circuits</text>" in svg
    circuits = {"place-lights", "place-sockets", "place-pump", "link-lights", "link-sockets", "link-pump"}
    left = {
        name
        for name in expected_ids(site)
        if name not in circuits and not re.match(r"device-.-(lights|sockets|pump)$", name)
    }
    assert set(ids(svg)) == left
    numbers = {f"flag-{number}" for number, _ in diagram.numbered(site)}
    assert numbers and numbers <= {one.get("id") for one in element(svg, "fold-hut-rcd").iter()}


def test_live_and_dead_in_the_hut() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "hut.yaml")
    svg = diagram.render(site, 0)
    assert {lit(svg, name) for name in ("place-inv", "place-hut", "place-hut-rcd", "place-pump", "link-feed")} == {"on"}
    assert {lit(diagram.render(site), name) for name in ("place-inv", "place-hut", "link-feed")} == {""}


def test_live_and_dead_in_island_operation() -> None:
    """Tarn Head while one inverter feeds the radio: the mains side is not part of its island, PE is."""
    site = drawn(ROOT / "fixtures" / "sites" / "three-changeovers.yaml")
    svg = diagram.render(site, state_with(site, "inv-a"))
    for name in (
        "place-inv-a",
        "link-a-out",
        "place-ts-a",
        "link-to-radio",
        "place-radio",
        "place-rack-1",
        "bond-inv-a",
    ):
        assert lit(svg, name) == "on", name
    for name in ("place-mains", "place-main", "link-a-in", "place-ts-b", "place-control", "place-scada", "bond-inv-b"):
        assert lit(svg, name) == "off", name
    assert element(svg, "bond-inv-a").find(f"{SVG}circle[@class='ref s']") is not None
    assert element(svg, "bond-inv-b").find(f"{SVG}circle[@class='ref s']") is None


def test_an_open_switch_parts_its_cable() -> None:
    """Skarv on the set with the mainland cable detached: q-shore is locked open, and what lies above it is dead."""
    site = drawn(ROOT / "fixtures" / "sites" / "skarv.yaml")
    svg = diagram.render(site, state_with(site, "diesel", shore="detached"))
    service = element(svg, "link-service")
    pieces = [path.get("class") for path in service.findall(f"{SVG}path") if (path.get("class") or "").startswith("w ")]
    assert "w lm on" in pieces and "w lm off" in pieces
    title = element(svg, "device-2-service").find(f"{SVG}title")
    assert title is not None and title.text and ", open" in title.text
    assert lit(svg, "place-shore") == "off" and lit(svg, "place-main") == "on"


def test_a_changeover_stands_where_the_state_has_it() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "two-feeders.yaml")
    blades = {}
    for feeder in ("east", "west"):
        svg = diagram.render(site, state_with(site, feeder, ts=feeder))
        blade = next(one for one in element(svg, "place-ts").iter() if "blade" in (one.get("class") or ""))
        blades[feeder] = blade.get("d")
        assert f">on {feeder}</text>" in svg
    assert blades["east"] != blades["west"]


def test_the_place_of_everything_is_the_same_in_every_state() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "homestead.yaml")
    places = set()
    for state in range(len(of(site).states)):
        svg = diagram.render(site, state)
        root = ET.fromstring(svg)
        places.add(
            tuple(
                (one.text or "").split()[0] + (one.get("x") or "")
                for one in root.iter(f"{SVG}text")
                if one.get("class") == "id"
            )[:-1]
        )
    assert len(of(site).states) > 5 and len(places) == 1


def test_findings_are_flagged_where_they_are() -> None:
    site = inspected("boat-house--lead-with-two-plugs.yaml")
    numbered = diagram.numbered(site)
    assert [number for number, _ in numbered] == list(range(1, len(numbered) + 1))
    for number, result in numbered:
        at = next(at for at, one in enumerate(of(site).states) if (result.rule, result.subject) in one.shows)
        svg = diagram.render(site, at)
        flag = element(svg, f"flag-{number}")
        assert result.level in (flag.get("class") or "").split()
        title = flag.find(f"{SVG}title")
        assert title is not None and title.text and f"[{result.rule}]" in title.text
        if result.route[:2] == ("sources", "petrol-set"):
            assert any(one.get("id") == f"flag-{number}" for one in element(svg, "place-petrol-set").iter())
    assert {result.subject for _, result in numbered} >= {"petrol-set", "grid"}


def test_waived_findings_are_flagged_last_and_as_waived() -> None:
    site = inspected("skarv.yaml")
    numbered = diagram.numbered(site)
    number, result = numbered[-1]
    assert result.waiver and not any(other.waiver for _, other in numbered[:-1])
    state = next(at for at, one in enumerate(of(site).states) if (result.rule, result.subject) in one.shows)
    assert (element(diagram.render(site, state), f"flag-{number}").get("class") or "").split() == ["flag", "waived"]


def test_a_flag_stands_only_where_the_state_drawn_has_the_finding() -> None:
    for name in (
        "two-generators--no-interlock.yaml",
        "sans-shop--relay-the-wrong-way.yaml",
        "skarv--no-key-interlock.yaml",
    ):
        site = inspected(name)
        left_out = 0
        for at, state in enumerate(of(site).states):
            svg = diagram.render(site, at)
            for number, result in diagram.numbered(site):
                here = (result.rule, result.subject) in state.shows
                assert (f'id="flag-{number}"' in svg) == here, (name, at, number)
                left_out += not here
        assert left_out, name


def test_every_finding_is_drawn_in_a_state_in_which_it_occurs() -> None:
    """A plug that leaves its frames without PE when it is out: drawn out, although it is usually in."""
    text = (ROOT / "fixtures" / "sites" / "hut.yaml").read_text()
    text = text.replace(
        "connections:\n",
        "connections:\n  to-shed: {from: hut, to: shed, cores: L1 N, size: 4 mm2, length: 3 m}\n"
        "  lead: {from: hut, to: shed, cores: PE, size: 4 mm2, length: 3 m, plug: yes}\n",
    ).replace("boards:\n", "boards:\n  shed: {}\n")
    document = parse(text.encode(), "site.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    site = inspect(installation, document, load_rules(), islands=True, drawing=True)
    found = [result for result in site.results if result.kind == "fail" and result.conditions]
    assert any(("lead", ("unmated",)) in condition for result in found for condition in result.conditions)
    for result in found:
        shown = [state for state in of(site).states if (result.rule, result.subject) in state.shows]
        assert shown, result
        for state in shown:
            values = dict(state.values)
            assert any(
                all(values.get(name) in wanted for name, wanted in condition) for condition in result.conditions
            ), (result.rule, result.subject)


def test_current_returns_to_the_source_that_holds_the_line() -> None:
    """The grid is absent and still joined by a solid neutral: what strays goes down its cable and up that of the set."""
    site = inspected("boat-house--single-pole-changeover.yaml")
    state = next(
        one for one in of(site).states if one.sources == ("petrol-set",) and dict(one.values)["grid"] == "absent"
    )
    assert ("inlet-lead", "N", "start") in state.returns and ("service", "N", "start") in state.returns
    assert ("service", "PE", "finish") in state.strays and ("inlet-lead", "PE", "start") in state.strays


def test_no_current_returns_where_no_load_is_supplied() -> None:
    site = inspected("skarv.yaml")
    circuits = {place.id for place in of(site).places if place.kind == "circuit"}
    idle = [state for state in of(site).states if not circuits & set(state.supplies)]
    assert idle and not any(state.returns or state.strays for state in idle)


def test_the_neutral_that_reaches_the_reference_through_dead_cables_is_drawn() -> None:
    site = inspected("homestead.yaml")
    at = next(
        at for at, one in enumerate(of(site).states) if one.sources == ("diesel",) and ("to-ts", "N") in one.anchors
    )
    pieces = [piece.get("class") for piece in element(diagram.render(site, at), "link-to-ts").iter()]
    assert "w n on" in pieces


def test_in_tt_the_own_earth_is_part_of_what_is_live() -> None:
    site = inspected("tt-farm.yaml")
    state = state_with(site, "grid")
    assert "main" in of(site).states[state].earthed
    assert "off" not in (element(diagram.render(site, state), "electrode-rods-main").get("class") or "").split()


def test_a_bond_is_drawn_as_the_contacts_that_decide_on_it() -> None:
    text = (ROOT / "fixtures" / "sites" / "hut.yaml").read_text()
    assert "hut-link: {at: hut, " in text
    text = text.replace("hut-link: {at: hut, ", "hut-link: {at: hut, closed: {spare: closed}, ")
    text = text.replace(
        "connections:\n",
        "connections:\n  aside: {from: hut, to: shed, cores: L1 N PE, size: 4 mm2, length: 3 m,"
        " through: [{kind: switch, id: spare, operable: yes}]}\n",
    ).replace("boards:\n", "boards:\n  shed: {}\n")
    for state in of(written(text)).states:
        closed = dict(state.values).get("spare") == "closed"
        assert ("hut-link" in state.bonds) == closed


def test_every_id_has_the_prefix() -> None:
    svg = diagram.render(inspected("hut--floating.yaml"), 0, prefix="s7-")
    found = re.findall(r' id="([^"]*)"', svg)
    assert len(found) > 20 and all(name.startswith("s7-") for name in found)
    assert 'aria-labelledby="s7-drawing-title s7-drawing-desc"' in svg


# -- names stay names ------------------------------------------------------------------------------------------------------

HOSTILE = (
    "</text><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "&lt;b&gt; ]]> <!-- ' \" `",
    "\u202eright to left\u202c \u200b\ufeff",
    "x" * 200,
    "\x1b[31m\x00\x07\nline end\ttab",
    "{{7*7}} ${x} %s",
    "\u6f22\u5b57\u30c6\u30b9\u30c8" * 20,
)


def shape(svg: str) -> list[tuple[str, tuple[str, ...]]]:
    """The elements of a drawing with the names of their attributes."""
    return [(one.tag, tuple(sorted(one.attrib))) for one in ET.fromstring(svg).iter()]


def with_texts(site: Site, text: str) -> Site:
    """The same site with a text in the place of all free texts."""
    parts = of(site)
    places = tuple(place._replace(texts=tuple(text for _ in place.texts), building=text) for place in parts.places)
    links = tuple(
        link._replace(
            size=text,
            texts=(text,),
            devices=tuple(device._replace(texts=(text,)) for device in link.devices),
        )
        for link in parts.links
    )
    bonds = tuple(bond._replace(texts=(text,)) for bond in parts.bonds)
    electrodes = tuple(electrode._replace(texts=(text,)) for electrode in parts.electrodes)
    return site._replace(
        name=text, drawing=parts._replace(places=places, links=links, bonds=bonds, electrodes=electrodes)
    )


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_texts_change_nothing_but_themselves(text: str) -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "skarv.yaml")
    plain = diagram.render(with_texts(site, "harmless"), 0, caption=False)
    svg = diagram.render(with_texts(site, text), 0, caption=False)
    assert shape(svg) == shape(plain)
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u200b\u202a-\u202e\u2066-\u2069\ufeff]", svg)
    captioned = diagram.render(with_texts(site, text), 0)
    assert {one.tag for one in ET.fromstring(captioned).iter()} == {one.tag for one in ET.fromstring(plain).iter()}


def test_a_long_text_is_shortened_and_whole_in_the_title() -> None:
    assert metrics.shown("abcdefghijklmnopqrstuvwxyz-0123456789") == "abcdefghijklmno\u202623456789"
    site = drawn(ROOT / "fixtures" / "sites" / "hut.yaml")
    svg = diagram.render(with_texts(site, "x" * 200), 0)
    title = element(svg, "place-inv").find(f"{SVG}title")
    assert title is not None and title.text and "x" * 200 in title.text


def test_a_site_that_nobody_could_read_is_not_drawn() -> None:
    site = drawn(ROOT / "fixtures" / "sites" / "hut.yaml")
    assert diagram.drawable(site)
    parts = of(site)
    many = tuple(parts.places[1]._replace(id=f"board-{n}") for n in range(diagram.MOST_PLACES + 1))
    big = site._replace(drawing=parts._replace(places=many, links=(), bonds=(), electrodes=()))
    assert not diagram.drawable(big) and not diagram.drawable(site._replace(drawing=None))
    with pytest.raises(ValueError, match="too many places"):
        diagram.render(big)


def test_a_chain_of_a_thousand_boards_is_drawn() -> None:
    """Deep distribution must not end in a stack of calls."""
    boards = "\n".join(f"  b{n}: {{}}" for n in range(1000))
    cables = "\n".join(f"  c{n}: {{from: b{n - 1}, to: b{n}, cores: L1 N PE}}" for n in range(1, 1000))
    text = (
        "onebond: 1\nsite: {name: Chain, rulebook: iec}\nsources:\n"
        "  g: {kind: generator, phases: L1, neutral-bond: fixed}\n"
        f"boards:\n{boards}\nconnections:\n  c0: {{from: g, to: b0, cores: L1 N PE}}\n{cables}\n"
    )
    site = written(text)
    assert ids(diagram.render(site, 0)) == expected_ids(site)
    assert sum((ids(sheet.svg) for sheet in diagram.sheets(site, 0)), Counter()) == expected_ids(site)


# -- the same bytes, the same look -----------------------------------------------------------------------------------------

SCRIPT = """
import sys
sys.path.insert(0, sys.argv[1])
from random import Random
import generate, generate_large, test_diagram
from onebond.reporting import diagram
site = test_diagram.written(generate.written(generate_large.build(Random(4), 30)))
sys.stdout.buffer.write(diagram.render(site).encode())
sys.stdout.buffer.write("".join(sheet.svg for sheet in diagram.sheets(site, conductors=True)).encode())
"""


def test_same_bytes_for_every_hash_seed() -> None:
    found = set()
    for seed in ("0", "1", "27"):
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT, str(ROOT / "tests")],
            capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        assert done.returncode == 0, done.stderr.decode()
        found.add(done.stdout)
    assert len(found) == 1 and len(found.pop()) > 50_000


@pytest.mark.parametrize("name", ["hut.yaml", "inverter-stack.yaml", "pump-station.yaml"])
def test_snapshot(name: str, snapshot: SnapshotAssertion) -> None:
    site = inspected(name)
    assert diagram.render(site, 0) == snapshot(name="state")
    assert diagram.render(site, conductors=True, prefix="x-") == snapshot(name="conductors")


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
def test_every_colour_can_be_read(theme: int) -> None:
    """4.5 to 1 against the background, as WCAG 2.1 asks of small text; what is not live is no exception."""
    blocks = re.findall(r"\.obd\{(--[^}]*)\}", diagram.STYLE)
    colours = dict(re.findall(r"--(ob-\w+):(#[0-9a-f]{6});", blocks[theme] + ";"))
    ground = _luminance(colours.pop("ob-bg"))
    colours.pop("ob-ye")  # the second colour of PE lies on its green
    assert len(colours) == 9
    for name, colour in colours.items():
        high, low = sorted((_luminance(colour), ground), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5, name


def test_state_data_name_only_what_is_there() -> None:
    for path in GOOD:
        parts = of(drawn(path))
        places = {place.id for place in parts.places}
        elements = {link.id for link in parts.links} | places | {metal.id for metal in parts.metals}
        for state in parts.states:
            assert isinstance(state, DrawnState)
            assert {place for place, _, _, _ in state.live} <= places
            assert set(state.earthed) <= places
            assert {name for name, _, _ in (*state.returns, *state.strays)} <= elements
            assert {feed for _, _, _, feeds in state.live for feed in feeds} <= set(state.sources)
