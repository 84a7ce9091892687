"""The published schema by itself, and our walk over it against an independent validator."""

from __future__ import annotations

import copy
import json
import re
import time
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest

import onebond_schemas
from conftest import ROOT
from onebond import document, quantity, reading, schema
from onebond.document import Document, Node
from onebond.reporting.schema_reference import schema_reference
from onebond.span import Span
from test_reading import BROKEN, FARM, SITES

HUT = """\
onebond: 1
site: {name: Tarn hut, rulebook: iec, stage: design}
sources:
  inverter: {kind: inverter, phases: L1, voltage: 230 V}
boards:
  hut: {}
connections:
  feed: {from: inverter, to: hut, cores: L1 N PE}
circuits:
  lamps: {from: hut, cores: L1 N PE, serves: lighting}
bonds:
  hut-link: {at: hut}
electrodes:
  rod: {at: hut}
"""


HANGS_S = 60.0  # what takes longer hangs; a guard, and no measure of speed

PUBLISHED: dict[str, Any] = json.loads(onebond_schemas.text())
SOMEWHERE = Span(1, 1, 1, 2)


# ---------------------------------------------------------------- the schema by itself


def every_schema(part: Any, path: str = "#") -> Iterator[tuple[str, dict[str, Any]]]:
    """Each schema and subschema with the path to it; examples are no schemas."""
    if isinstance(part, dict):
        yield path, part
        for key, value in part.items():
            if key in ("properties", "$defs"):
                for name, below in value.items():
                    yield from every_schema(below, f"{path}/{key}/{name}")
            elif key in ("items", "additionalProperties", "propertyNames", "if", "then"):
                yield from every_schema(value, f"{path}/{key}")
            elif key == "allOf":
                assert len(value) == 1 or all("if" in below for below in value), path
                for i, below in enumerate(value):
                    yield from every_schema(below, f"{path}/{key}/{i}")


def flat(part: dict[str, Any]) -> dict[str, Any]:
    refers = part if "$ref" in part else part.get("allOf", [{}])[0]
    if "$ref" not in refers:
        return part
    target: Any = PUBLISHED
    for step in refers["$ref"].removeprefix("#/").split("/"):
        target = target[step]
    return {**flat(target), **part}


def described() -> Iterator[tuple[str, dict[str, Any]]]:
    for path, part in every_schema(PUBLISHED):
        if "/then" not in path and not path.endswith("/if"):
            for name, below in part.get("properties", {}).items():
                yield f"{path}/properties/{name}", flat(below)


def test_it_is_valid_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(PUBLISHED)


def test_every_property_has_title_description_and_examples() -> None:
    assert len(list(described())) > 120
    for path, part in described():
        assert part.get("title"), path
        assert part.get("description", "").endswith("."), path
        assert part.get("examples"), path


def test_every_example_is_valid() -> None:
    for path, part in described():
        for example in part["examples"]:
            checker = jsonschema.Draft202012Validator({**part, "$defs": PUBLISHED["$defs"]})
            assert checker.is_valid(example), (path, example)
    for name, part in PUBLISHED["$defs"].items():
        for example in part.get("examples", ()):
            checker = jsonschema.Draft202012Validator({**part, "$defs": PUBLISHED["$defs"]})
            assert checker.is_valid(example), (name, example)


def test_objects_are_closed_and_numbers_bounded() -> None:
    for path, part in every_schema(PUBLISHED):
        assert "oneOf" not in part, path
        if "/then" in path or path.endswith("/if"):
            continue
        if "properties" in part:
            assert part["additionalProperties"] is False, path
        types = part.get("type", [])
        if {"integer", "number"} & {*([types] if isinstance(types, str) else types)} and "const" not in part:
            assert {"minimum", "maximum"} <= part.keys(), path


def test_the_walk_knows_every_keyword() -> None:
    known = {
        "$schema", "$id", "$ref", "$defs", "title", "description", "examples", "doNotSuggest", "patternErrorMessage",
        "type", "enum", "const", "pattern", "properties", "required", "additionalProperties", "propertyNames",
        "minProperties", "maxProperties", "items", "minItems", "maxItems", "uniqueItems", "minimum", "maximum",
        "minLength", "maxLength", "allOf", "anyOf", "if", "then", "x-quantity", "x-words",
    }  # fmt: skip
    for path, part in every_schema(PUBLISHED):
        assert part.keys() <= known, (path, part.keys() - known)


def test_patterns_are_anchored_and_say_what_they_ask_for() -> None:
    for path, part in every_schema(PUBLISHED):
        if "pattern" in part:
            assert part["pattern"].startswith("^"), path
            assert part["pattern"].endswith("$"), path
            assert part["patternErrorMessage"], path


@pytest.mark.parametrize("pattern", sorted({p["pattern"] for _, p in every_schema(PUBLISHED) if "pattern" in p}))
def test_patterns_are_linear(pattern: str) -> None:
    for piece in ("a", "1", "L1 ", " ", "1 ", "-", "a."):
        begin = time.perf_counter()
        re.search(pattern, piece * 20000 + "!")
        assert time.perf_counter() - begin < HANGS_S, piece


@pytest.mark.parametrize("name", ["source", "device"])
def test_each_kind_names_its_keys(name: str) -> None:
    part = PUBLISHED["$defs"][name]
    kinds: list[str] = []
    common = {key for key, about in part["properties"].items() if not about.get("doNotSuggest")}
    taken: set[str] = set()
    for rule in part["allOf"]:
        kind = rule["if"]["properties"]["kind"]
        kinds += kind.get("enum", [kind.get("const")])
        allowed = rule["then"]["propertyNames"]["enum"]
        own = set(allowed) - common
        # a meter opens nothing: it has no poles and no positions
        lacks = (
            {"poles", "operable", "normally", "breaking-capacity", "dc-breaking-capacity"}
            if kind == {"const": "meter"}
            else set()
        )
        assert set(allowed) == (common | own) - lacks, kind
        offered = {key for key in rule["then"].get("properties", {}) if key not in common}
        assert own == offered, "an editor offers the keys of the kind and no others"
        assert set(rule["then"].get("required", ())) <= set(allowed)
        taken |= own
        for key, again in rule["then"].get("properties", {}).items():
            # Said again because editors do not look for it behind the reference.
            assert key in common or again["description"] == part["properties"][key]["description"]
    assert sorted(kinds) == sorted(part["properties"]["kind"]["enum"])
    assert taken | common == set(part["properties"])


def test_the_sections_of_the_reader_are_those_of_the_schema() -> None:
    maps = [name for name, part in PUBLISHED["properties"].items() if "propertyNames" in part]
    assert maps == [section for section, _ in reading.SECTIONS]


def test_conductor_words_are_those_of_the_pattern() -> None:
    for name in ("cores", "lines"):
        part = PUBLISHED["$defs"][name]
        for word in part["x-words"]:
            assert re.search(part["pattern"], word)
            assert re.search(part["pattern"], f"L1  {word}")
        assert not re.search(part["pattern"], "L4")
        assert not re.search(part["pattern"], " ".join(["L1"] * (len(part["x-words"]) + 1)))


# ---------------------------------------------------------------- against an independent validator


def _ecma_pattern(validator: Any, pattern: str, instance: Any, part: Any) -> Iterator[jsonschema.ValidationError]:
    # JSON Schema means the patterns of ECMA-262, where `$` does not match before a final line break.
    if isinstance(instance, str) and not re.search(re.sub(r"\$$", r"\\Z", pattern), instance):
        yield jsonschema.ValidationError("pattern")


def _bounds(validator: Any, name: str, instance: Any, part: Any) -> Iterator[jsonschema.ValidationError]:
    # The one thing that no standard keyword can say of a text: the bounds of the number in it.
    if isinstance(instance, str):
        result = quantity.parse(instance, name)
        if isinstance(result, quantity.Refusal) and result.reason == "bounds":
            yield jsonschema.ValidationError("bounds")


REFEREE = jsonschema.validators.extend(
    jsonschema.Draft202012Validator, {"pattern": _ecma_pattern, "x-quantity": _bounds}
)(PUBLISHED)


def plain(node: Node) -> Any:
    if isinstance(node.value, dict):
        return {key: plain(child) for key, child in node.value.items()}
    if isinstance(node.value, tuple):
        return [plain(child) for child in node.value]
    return node.value


def node_of(value: Any) -> Node:
    if isinstance(value, dict):
        return Node("map", {k: node_of(v) for k, v in value.items()}, SOMEWHERE, dict.fromkeys(value, SOMEWHERE))
    if isinstance(value, list):
        return Node("list", tuple(node_of(item) for item in value), SOMEWHERE, {})
    raw = "" if value is None else json.dumps(value) if isinstance(value, str) else str(value).lower()
    return Node("scalar", value, SOMEWHERE, {}, raw, isinstance(value, str))


def document_of(value: Any) -> Document:
    return Document("site.yaml", "", ("",), node_of(value), b"")


def data_of(text: str) -> Any:
    parsed = document.parse(text.encode(), "site.yaml")
    assert parsed.document is not None
    return plain(parsed.document.root)


def routes(value: Any, route: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield route
    steps = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, below in steps:
        yield from routes(below, (*route, step))


def mutants(value: Any) -> Iterator[Any]:
    """The value with one thing changed: each part taken out, renamed, or of another shape; an unknown key added."""
    others = [
        None,
        True,
        0,
        7,
        1.5,
        -1e9,
        "",
        "x",
        "12 m",
        "L1 N",
        "yes",
        "none",
        "12 m\n",
        [],
        ["a", "b"],
        ["a", "a"],
        {},
    ]
    for count, route in enumerate(routes(value)):
        *way, last = route or (None,)
        holder = copy.deepcopy(value)
        if last is None:
            yield from ([], None, "text", 3)
            continue
        target = holder
        for step in way:
            target = target[step]
        old = target[last]
        # Three of the other shapes at each place; which ones goes round, so that all occur at many places.
        for i in range(3):
            target[last] = others[(3 * count + i) % len(others)]
            yield copy.deepcopy(holder)
        if isinstance(old, str):
            target[last] = old + "x"
            yield copy.deepcopy(holder)
        target[last] = old
        if isinstance(old, dict):
            old["colour"] = "red"
            yield copy.deepcopy(holder)
            del old["colour"]
        if isinstance(target, dict):
            target[f"{last}-"] = target.pop(last)
            yield copy.deepcopy(holder)
            del target[f"{last}-"]
        else:
            target.append(copy.deepcopy(old))
            yield copy.deepcopy(holder)
            target.pop()
            del target[last]
        yield holder


def agree(value: Any) -> bool:
    """Whether a description is valid; both opinions on it must be the same."""
    problems, left_out = schema.check(document_of(value))
    errors = list(REFEREE.iter_errors(value))
    assert (not problems) == (not errors), (problems[:3], [(list(e.path), e.message) for e in errors][:3])
    assert left_out == 0 or len(problems) == schema.LIMIT
    return not errors


@pytest.mark.parametrize("file", SITES + BROKEN, ids=lambda file: file.stem)
def test_both_agree_on_the_fixtures(file: Any) -> None:
    parsed = document.parse(file.read_bytes(), str(file))
    assert parsed.document is not None
    assert agree(plain(parsed.document.root)) or file in BROKEN


@pytest.mark.parametrize(("text", "least"), [(HUT, 150), (FARM, 1000)], ids=["hut", "farm"])
def test_both_agree_on_mutants(text: str, least: int) -> None:
    value = data_of(text)
    assert agree(value)
    verdicts = [agree(mutant) for mutant in mutants(value)]
    assert len(verdicts) >= least
    assert verdicts.count(False) > len(verdicts) / 2
    assert verdicts.count(True) > 10


def test_reading_never_fails_on_a_mutant() -> None:
    for mutant in mutants(data_of(FARM)):
        site = document_of(mutant)
        installation, problems = reading.read(site)
        assert installation is None or not problems
        for problem in problems:
            assert problem.message
            assert problem.route


def test_a_valid_mutant_is_read_or_refused_with_a_reason() -> None:
    for mutant in mutants(data_of(HUT)):
        site = document_of(mutant)
        if not schema.check(site)[0]:
            installation, problems = reading.read(site)
            assert (installation is None) == bool(problems)


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("new", "column", "message", "hint"),
    [
        ("length: 2,5 m", 59, "`length`: `2,5 m` has a comma in the number", "write `2.5 m`"),
        ("length: 2, 5 m", 59, "`length`: `2,5 m` has a comma in the number", "write `2.5 m`"),
        ("size: 4 mm2", None, "", ""),
    ],
)
def test_a_decimal_comma_in_braces_is_one_problem(new: str, column: int | None, message: str, hint: str) -> None:
    """For YAML the comma ends the entry; a hint to write what stands before it would be wrong by the rest of the number."""
    parsed = document.parse(HUT.replace("L1 N PE}\ncircuits", f"L1 N PE, {new}}}\ncircuits").encode(), "hut.yaml")
    assert parsed.document is not None and not parsed.problems
    found, _ = schema.check(parsed.document)
    assert [(one.span.line, one.span.column, one.message) for one in found] == (
        [(8, column, message)] if column else []
    )
    assert all(hint in one.hint for one in found)


def problem_of(text: str) -> tuple[str, str]:
    parsed = document.parse(text.encode(), "site.yaml")
    assert parsed.document is not None
    problems, _ = schema.check(parsed.document)
    assert len(problems) == 1, problems
    return problems[0].message, problems[0].hint


@pytest.mark.parametrize(
    ("old", "new", "message", "hint"),
    [
        ("to: hut,", "too: hut, to: hut,", "`too` is not a key of the connection `feed`", "keys here: from, to, cores"),
        ("hut: {}", "hut: {bar: PE}", "`bar` is not a key of the board `hut`", "did you mean `bars`?"),
        ("phases: L1,", "phase: L1, phases: L1,", "`phase` is not a key of the inverter `inverter`", "keys here"),
        ("phases: L1,", "", "`phases` is missing in the inverter `inverter`", "For example `phases: L1`"),
        ("name: Tarn hut, ", "", "`name` is missing in `site`", "The name of the site, for reports."),
        ("phases: L1,", "phases: L1, loop-impedance: 1 ohm,", "it belongs to a utility", "take it out"),
        ("phases: L1,", "phases: L1, winding: auto,", "it belongs to a transformer", "take it out"),
        ("phases: L1,", "phases: 1,", "`1` at `phases` is a number", "for example `phases: L1`"),
        ("phases: L1,", "phases: ,", "`phases` is empty", "for example `phases: L1`"),
        ("phases: L1,", "phases: {L1: yes},", "`phases` must be one value", "for example `phases: L1`"),
        ("phases: L1,", "phases: L1 N,", "`N` at `phases` is not the name of a conductor", "names: L1 L2 L3"),
        ("phases: L1,", "phases: L1/L2,", "the conductors at `phases` are written with spaces", "write `L1 L2`"),
        ("phases: L1,", "phases: L1, isolated: perhaps,", "is neither yes nor no", "`isolated: yes` or `isolated: no`"),
        ("phases: L1,", "phases: L1, mounted: [fixed],", "a list at `mounted` is not one of fixed", ""),
        ("phases: L1,", "phases: L1, rating: 8000,", "`rating`: `8000` has no unit", "write for example `8 kVA`"),
        ("phases: L1,", "phases: L1, rating: 8,", "`rating`: `8` has no unit", "write `8 kVA`"),
        ("phases: L1,", "phases: L1, fault-current: {max: 1 kA},", "`max` is not a key of", "keys here: limit, for"),
        ("phases: L1,", "phases: L1, may-parallel: x,", "`may-parallel` must be a list", "`may-parallel: [diesel-2]`"),
        ("phases: L1,", "phases: L1, may-parallel: [x, x],", "`x` stands twice in `may-parallel`", ""),
        ("phases: L1,", "phases: L1, may-parallel: [],", "`may-parallel` is empty", "`may-parallel: [diesel-2]`"),
        ("cores: L1 N PE}\nc", "cores: L1 N PE, runs: 0}\nc", "`runs` must be from 1 to 20", "`runs: 2`"),
        ("cores: L1 N PE}\nc", "cores: L1 N PE, runs: 1.5}\nc", "`runs` must be a whole number", "`runs: 2`"),
        ("cores: L1 N PE}\nc", "cores: L1 N PE, through: [mcb]}\nc", "`through` needs keys of its own", "kind: mcb"),
        ("cores: L1 N PE}\nc", "cores: Phase N E}\nc", "`Phase` and `E` at `cores` are not", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L2N PE}\nc", "`L2N` at `cores` is not", "did you mean `L2 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1L2L3NPE}\nc", "`L1L2L3NPE` at `cores` is not", "mean `L1 L2 L3 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: LNE}\nc", "`LNE` at `cores` is not", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1PEN}\nc", "`L1PEN` at `cores` is not", "did you mean `L1 PEN`?"),
        ("cores: L1 N PE}\nc", "cores: L1 neutral G}\nc", "`neutral` and `G` at `cores`", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1 N earth}\nc", "`earth` at `cores` is not", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1 N ground}\nc", "`ground` at `cores` is not", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1 N CPC}\nc", "`CPC` at `cores` is not", "did you mean `L1 N PE`?"),
        ("cores: L1 N PE}\nc", "cores: L1 N E}\nc", "`E` at `cores` is not", "did you mean `L1 N PE`?"),
        ("phases: L1,", "phases: L1L2,", "`L1L2` at `phases` is not", "did you mean `L1 L2`?"),
        ("rod: {at: hut}", "rod: at = hut", "`rod` needs keys of its own", "the colon is missing: write `at: hut`"),
        ("rod: {at: hut}", "rod: {at: hut, soil: 120 ohm-m}", "`ohm-m` is not a unit", "write `120 ohm m`"),
        ("rod: {at: hut}", "rod: hut", "`rod` needs keys of its own", "for example `rod: {at: met,"),
        ("at: hut}\ne", 'at: "hut "}\ne', "`hut ` at `at` is not a place", "for example `at: main`"),
        ("name: Tarn hut", 'name: ""', "`name` is empty", "for example `name: Skarv"),
        ("name: Tarn hut", "name: 12", "`12` at `name` is a number and not text", 'write it in quotes: `"12"`'),
        ("name: Tarn hut", "name: true", "`true` at `name` is a truth value and not text", "write it in quotes"),
        ("onebond: 1", "onebond: 3", "format version 3 is not known", "write `onebond: 1`"),
        ("onebond: 1", "onebond: '1'", "`onebond` must be a whole number without quotes", "`onebond: 1`"),
        ("onebond: 1\n", "", "`onebond` is missing in a description", "For example `onebond: 1`"),
    ],
)
def test_words(old: str, new: str, message: str, hint: str) -> None:
    assert HUT.count(old) == 1
    said = problem_of(HUT.replace(old, new))
    assert message in said[0]
    assert hint in said[1]


@pytest.mark.parametrize("written", ["name Tarn hut", "name = Tarn hut", "name=Tarn hut"])
def test_an_entry_without_its_colon(written: str) -> None:
    parsed = document.parse(HUT.replace("name: Tarn hut", written).encode(), "site.yaml")
    assert parsed.document is not None
    unknown, missing = schema.check(parsed.document)[0]
    assert unknown.message == f"`{written}` is not a key of `site`"
    assert unknown.hint.startswith("the colon is missing: write `name: Tarn hut` keys here: name, rulebook")
    assert missing.message == "`name` is missing in `site`"


@pytest.mark.parametrize(
    ("old", "new", "words", "hint"),
    [
        ("kind: generator", "kind: genset", "not one of utility, generator", "did you mean `generator`?"),
        ("kind: utility", "kind: grid", "not one of utility, generator", "did you mean `utility`?"),
        ("kind: utility", "kind: Mains", "not one of utility, generator", "did you mean `utility`?"),
        ("{kind: inverter, phases: L1,", "{kind: UPS, phases: L1,", "not one of utility", "did you mean `inverter`?"),
        ("earthing: TT", "earthing: PME", "not one of TN-S, TN-C-S", "did you mean `TN-C-S`?"),
        ("earthing: TT", "earthing: MEN", "not one of TN-S, TN-C-S", "did you mean `TN-C-S`?"),
        ("{kind: fuse,", "{kind: breaker,", "not one of mcb, mccb", "did you mean `mcb`?"),
        ("{kind: fuse,", "{kind: CB,", "not one of mcb, mccb", "did you mean `mcb`?"),
        ("{kind: rcd,", "{kind: GFCI,", "not one of mcb, mccb", "did you mean `rcd`, with `residual: 5 mA`?"),
        ("{kind: rcd,", "{kind: gfi,", "not one of mcb, mccb", "did you mean `rcd`, with `residual: 5 mA`?"),
        ("{L1: N, N: L1, PE: PE}", "{L1: N, N: L1, PE: ground}", "`ground` at `PE`", "did you mean `PE`?"),
        ("{L1: N, N: L1, PE: PE}", "{L1: N, N: L1, earth: PE}", "`earth` at `earth`", "did you mean `PE`?"),
        (
            "residual: 30 mA}",
            "residual: 30 A}",
            "`30 A` is not possible as a residual current",
            "did you mean `30 mA`?",
        ),
        (
            "voltage: 230/400 V",
            "voltage: 11 kV",
            "`11 kV` is not possible",
            "side of a transformer is its `primary-voltage`",
        ),
    ],
)
def test_words_of_other_places(old: str, new: str, words: str, hint: str) -> None:
    assert FARM.count(old) == 1
    said = problem_of(FARM.replace(old, new))
    assert words in said[0]
    assert said[1].endswith(hint) or said[1] == hint


@pytest.mark.parametrize(
    ("device", "message"),
    [
        ("{kind: mcb, class: gG}", "`class` is not a key of the mcb, device 2 of `feed`: it belongs to a fuse"),
        ("{kind: rcd}", "`residual` is missing in the rcd, device 2 of `feed`"),
        ("{kind: rcd, id: q-hut}", "`residual` is missing in the rcd `q-hut`"),
        ("{rating: 6 A}", "`kind` is missing in device 2 of `feed`"),
    ],
)
def test_a_device_is_named_by_its_kind_and_its_place(device: str, message: str) -> None:
    through = f"cores: L1 N PE, through: [{{kind: switch}}, {device}]}}\nc"
    assert problem_of(HUT.replace("cores: L1 N PE}\nc", through))[0] == message


@pytest.mark.parametrize(
    ("items", "column", "hint"),
    [
        ("\n      -kind: mcb\n      rating: 16 A", 7, "write `- kind:`"),
        ("\n      -kind: mcb", 7, "write `- kind:`"),
        ("\n      -mcb\n      -rcd", 7, "write `- mcb`"),
    ],
)
def test_a_dash_without_a_space(items: str, column: int, hint: str) -> None:
    text = HUT.replace("circuits:", f"circuits:\n  more:\n    from: hut\n    cores: L1 N\n    through:{items}")
    parsed = document.parse(text.encode(), "site.yaml")
    assert parsed.document is not None
    (problem,) = schema.check(parsed.document)[0]
    assert (problem.message, problem.hint) == ("a space is missing after the dash", hint)
    assert problem.span.column == column


def test_places() -> None:
    text = HUT.replace("phases: L1,", "").replace("to: hut,", "to: hut, size: 4,")
    parsed = document.parse(text.encode(), "site.yaml")
    assert parsed.document is not None
    found = [(problem.span.line, problem.span.column, problem.route) for problem in schema.check(parsed.document)[0]]
    line, value = text.split("\n")[7], "4, cores"
    assert found == [
        (4, 3, ("sources", "inverter")),
        (8, line.index(value) + 1, ("connections", "feed", "size")),
    ]


def test_problems_are_capped_and_counted() -> None:
    value = data_of(HUT)
    value["boards"] = {f"b{i}": {"barz": "PE"} for i in range(5000)}
    begin = time.perf_counter()
    problems, left_out = schema.check(document_of(value))
    assert (len(problems), left_out) == (schema.LIMIT, 5000 - schema.LIMIT)
    assert time.perf_counter() - begin < HANGS_S


# ---------------------------------------------------------------- the reference


def test_the_reference_is_fresh() -> None:
    written = (ROOT / "schemas" / "REFERENCE.md").read_text(encoding="utf-8")
    assert written == schema_reference(), "schemas/REFERENCE.md is stale: write schema_reference() to it"


def test_the_reference_names_every_key() -> None:
    page = schema_reference()
    for path, part in described():
        assert f"| `{path.rpartition('/')[2]}`" in page, path
        assert part["description"].replace("|", "\\|") in page, path
