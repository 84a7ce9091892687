"""Types: what is written once and used in many places counts there as if it were written there."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from conftest import ROOT
from onebond import document, reading, schema
from onebond.document import Document, Parsed, parse, span_at
from onebond.engine import inspect
from onebond.model import Installation
from onebond.result import Problem
from onebond.testing import inspected
from onebond_rules import RULES
from test_schema import agree, data_of, document_of, mutants, plain

SITES = [path for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem]

SITE = """\
onebond: 1
site: {name: Tarn hut, rulebook: iec, stage: draft}
types:
  cables:
    lead: {size: 4 mm2, pe-size: 4 mm2, insulation: 90 C, note: rubber}
  devices:
    b16: {kind: mcb, curve: B, rating: 16 A, breaking-capacity: 6 kA}
    r30: {kind: rcd, rating: 40 A, residual: 30 mA, type: A}
    main: {kind: isolator, poles: L1 N PE}
sources:
  inverter: {kind: inverter, phases: L1, voltage: 230 V}
boards:
  hut: {}
connections:
  feed: {from: inverter, to: hut, cores: L1 N PE, like: lead, length: 3 m, through: [{like: r30}]}
circuits:
  lamps: {from: hut, cores: L1 N PE, like: lead, size: 1.5 mm2, length: 9 m, through: [{like: b16, id: q1, rating: 6 A}]}
bonds:
  hut-link: {at: hut}
electrodes:
  rod: {at: hut}
"""


def understood(text: str) -> tuple[Document | None, Installation | None, list[Problem]]:
    return reading.understood(parse(text.encode(), "site.yaml"))[:3]


def told(text: str) -> list[tuple[str, str, str]]:
    """The problems of a text: the word that each points at, its message and its hint."""
    _, installation, problems = understood(text)
    assert installation is None or not problems
    lines = text.split("\n")
    return [(lines[p.span.line - 1][p.span.column - 1 : p.span.end_column - 1], p.message, p.hint) for p in problems]


def changed(old: str, new: str) -> str:
    assert SITE.count(old) == 1
    return SITE.replace(old, new)


# ---------------------------------------------------------------- the same as written out


def with_types(site: dict[str, Any]) -> tuple[dict[str, Any], int]:
    """The same site with whatever may stand in a type taken out of its places into a type each; and how many types."""
    cables: dict[str, Any] = {}
    devices: dict[str, Any] = {}

    def moved(entry: dict[str, Any], definition: str, into: dict[str, Any]) -> None:
        keys = [key for key in schema.names(definition) if key in entry and key != "note"]
        if keys:
            name = f"t{len(into)}"
            into[name] = {key: entry.pop(key) for key in keys}
            entry["like"] = name

    for section in ("connections", "circuits"):
        for entry in (site.get(section) or {}).values():
            moved(entry, "cable-type", cables)
            for device in entry.get("through", ()):
                moved(device, "device-type", devices)
    return {**site, "types": {"cables": cables, "devices": devices}}, len(cables) + len(devices)


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_a_site_with_types_is_the_same_installation(path: Path) -> None:
    _, written_out, problems, _ = reading.load(str(path))
    assert written_out is not None, problems
    parsed = document.parse(path.read_bytes(), str(path))
    assert parsed.document is not None
    data, number = with_types(plain(parsed.document.root))
    assert number >= 3
    _, shared, problems = understood(json.dumps(data))
    assert shared is not None, problems
    assert shared == written_out


def test_what_is_written_at_the_place_wins() -> None:
    _, site, problems = understood(SITE)
    assert site is not None, problems
    feed, lamps = site.connections[0], site.circuits[0].connection
    assert (feed.size.text, lamps.size.text, lamps.pe_size.text) == ("4 mm2", "1.5 mm2", "4 mm2")  # type: ignore[union-attr]
    assert (lamps.insulation_c, lamps.length_m) == (90, 9)
    device = lamps.devices[0]
    assert (device.kind, device.id, device.curve, device.rating_a) == ("mcb", "q1", "B", 6)
    assert (feed.devices[0].senses, feed.devices[0].residual_a) == (("L1", "N"), 0.03)


def test_another_kind_than_that_of_the_type() -> None:
    _, site, problems = understood(changed("{like: r30}", "{like: r30, kind: rcbo, curve: C}"))
    assert site is not None, problems
    assert (site.connections[0].devices[0].kind, site.connections[0].devices[0].curve) == ("rcbo", "C")


def test_order_and_unused_types_do_not_matter() -> None:
    head, types = SITE[: SITE.index("types:")], SITE[SITE.index("types:") : SITE.index("sources:")]
    rest = SITE[SITE.index("sources:") :]
    last = understood(head + rest + types + "    spare: {kind: contactor}\n")
    assert last[1] is not None
    assert last[1] == understood(SITE)[1]


# ---------------------------------------------------------------- problems


@pytest.mark.parametrize(
    ("old", "new", "word", "message", "hint"),
    [
        ("{like: b16,", "{like: b61,", "b61", "there is no type of device called `b61`", "did you mean `b16`?"),
        ("{like: r30}", "{like: lead}", "lead", "`lead` is a type of cable, not of device", "b16, r30, main"),
        ("like: lead, length", "like: b16, length", "b16", "`b16` is a type of device, not of cable", "here: lead"),
        ("like: lead, length", "like: Lead, length", "Lead", "`Lead` at `like` is not an id", "`lead`"),
        ("like: lead, length", "like: [lead], length", "like", "`like` must be one value", ""),
        ("{like: r30}", "{id: q2}", "{id: q2}", "`kind` is missing in the device `q2`", "`kind: mcb`"),
        # what does not go together is told where it comes together
        ("{like: b16,", "{like: b16, kind: fuse,", "b16", "`curve` is not a key of the fuse `q1`", "correct `kind`"),
        ("{like: b16,", "{like: b16, residual: 30 mA,", "residual", "`residual` is not a key of the mcb `q1`", ""),
        ("{like: b16,", "{like: b16, kind: rcbo,", "{", "`residual` is missing in the rcbo `q1`", ""),
        (
            "cores: L1 N PE, like: lead, length: 3 m, through: [{like: r30}]",
            "cores: L1 PE, like: lead, length: 3 m, through: [{like: main}]",
            "main",
            "`N` is a pole here, but `feed` has no such core (cores: L1 PE) (from the type `main`, line 9)",
            "take N out of `poles`",
        ),
        # what is wrong in a type is told there, once, however often it is used
        ("size: 4 mm2, pe", "size: 4, pe", "4", "`size`: `4` has no unit", "`4 mm2`"),
        ("{kind: mcb, curve: B,", "{curve: B,", "b16", "`kind` is missing in the type of device `b16`", ""),
        ("residual: 30 mA, type", "type", "r30", "`residual` is missing in the type of device `r30`", ""),
        ("poles: L1 N PE}", "operable: yes}", "operable", "`operable` is not a key of the type of device `main`", "used"),
        ("poles: L1 N PE}", "id: q9}", "id", "`id` is not a key of the type of device `main`: it belongs", "used"),
        ("poles: L1 N PE}", "like: b16}", "like", "`like` is not a key of the type of device `main`", "used"),
        ("insulation: 90 C,", "length: 9 m,", "length", "`length` is not a key of the type of cable `lead`", "used"),
        ("insulation: 90 C,", "cores: L1 N,", "cores", "`cores` is not a key of the type of cable `lead`", "used"),
        ("insulation: 90 C,", "colour: red,", "colour", "`colour` is not a key of the type of cable `lead`", "keys"),
        ("  cables:", "  wires:", "wires", "`wires` is not a key of the types", "keys here: cables, devices"),
        ("    main:", "    Main:", "Main", "`Main` is not an id", "`main`"),
    ],
)  # fmt: skip
def test_words(old: str, new: str, word: str, message: str, hint: str) -> None:
    problems = told(changed(old, new))
    first = problems[0]
    assert message in first[1]
    assert hint in first[2]
    assert first[0].startswith(word)
    if "wires" not in new:
        assert len(problems) == 1, problems


def test_a_type_that_is_not_there_is_told_at_each_place() -> None:
    problems = told(SITE.replace("like: lead", "like: led"))
    assert [word for word, _, _ in problems] == ["led", "led"]


def test_without_types_there_is_none_to_take() -> None:
    text = SITE[: SITE.index("types:")] + SITE[SITE.index("sources:") :]
    assert {hint for _, _, hint in told(text)} == {
        "types of cables are written in `types`, under `cables`",
        "types of devices are written in `types`, under `devices`",
    }


def test_like_is_like_however_it_is_spelt() -> None:
    """An escape in a key: what is not seen in the text must not be passed over either."""
    text = SITE.replace("{like: r30}", '{"l\\u0069ke": r30}').replace("like: lead", '"l\\x69ke": lead')
    assert "like: r30" not in text and "like: lead" not in text
    assert understood(text)[1] == understood(SITE)[1] is not None
    only = text.replace("{like: b16, id: q1, rating: 6 A}", "{kind: mcb, rating: 6 A}")
    assert "like:" not in only
    assert understood(only)[1] is not None


def test_a_type_that_is_used_a_hundred_times_is_told_once() -> None:
    many = "".join(f"  c{i}: {{from: hut, cores: L1 N PE, through: [{{like: b16}}]}}\n" for i in range(100))
    text = changed("bonds:\n", f"{many}bonds:\n").replace("curve: B,", "curve: Q,")
    assert len(told(text)) == 1


def test_a_mutant_is_judged_as_by_an_independent_validator_and_never_breaks_the_reader() -> None:
    verdicts = []
    for mutant in mutants(data_of(SITE)):
        valid = agree(mutant)
        whole, installation, problems, _ = reading.understood(Parsed(document_of(mutant), [], ("",)))
        assert whole is not None and (installation is None) == bool(problems)
        assert all(problem.message and problem.route is not None for problem in problems)
        if not valid:
            assert installation is None, mutant
        verdicts.append((valid, installation is None))
    assert len(verdicts) > 300
    # what a schema alone cannot say: a type that is not there, or does not fit
    assert verdicts.count((True, True)) > 5 and verdicts.count((True, False)) > 5


# ---------------------------------------------------------------- places and repairs


def test_a_value_is_found_where_it_is_written() -> None:
    site, _, _ = understood(SITE)
    assert site is not None
    lines = [span_at(site, ("circuits", "lamps", *step), True).line for step in (("size",), ("pe-size",), ("runs",))]
    place = 1 + SITE[: SITE.index("lamps:")].count("\n")
    assert lines == [place, 5, place], "at the place, in the type, and what is written nowhere at the place"


def test_an_open_result_names_the_place_of_use() -> None:
    text = changed("size: 4 mm2, pe-size: 4 mm2, ", "").replace("size: 1.5 mm2, ", "")
    found = [r for r in inspected(text, RULES).site.results if r.kind == "open" and "size of" in r.lacking]
    assert found
    for result in found:
        place = result.mentions[0][1] if result.mentions else result.span
        wanted = result.lacking.removeprefix("the size of ").removesuffix(" is not written")
        assert text.split("\n")[place.line - 1].strip().startswith(f"{wanted}:"), result
    assert {"feed", "lamps"} <= {result.lacking.split()[3] for result in found}


@pytest.mark.parametrize(("device", "repaired"), [("{like: main}", False), ("{kind: isolator, poles: L1 N PE}", True)])
def test_no_repair_edits_a_type(device: str, repaired: bool) -> None:
    text = changed("{like: r30}", device)
    doc, site, problems = understood(text)
    assert doc is not None and site is not None, problems
    (found,) = [r for r in inspect(site, doc, RULES).results if r.rule == "pe-switched" and r.kind == "fail"]
    assert bool(found.edits) == repaired
    assert text.split("\n")[found.span.line - 1].strip().startswith("feed:"), "the device stands where it is used"
