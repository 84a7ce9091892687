"""What was valid in format version 1 stays valid, and means the same; another version is refused."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import referencing
from referencing.jsonschema import DRAFT202012

import onebond_schemas
from conftest import HUT, ROOT, Run
from format_record import RECORD, broken, record, written
from onebond import reading, survey
from onebond.document import parse
from onebond.loading import load_rules
from test_schema import plain

PUBLISHED: dict[str, Any] = json.loads(onebond_schemas.text())
PROMISED: dict[str, Any] = json.loads(RECORD.read_text(encoding="utf-8"))
FROZEN = Path(__file__).resolve().parent / "frozen" / "skarv.yaml"

# ---------------------------------------------------------------- the schema


def test_nothing_that_was_promised_is_gone_or_required() -> None:
    assert broken(PROMISED, record(PUBLISHED)) == []


def test_what_was_added_is_promised_too() -> None:
    """If this fails: python tests/format_record.py."""
    assert RECORD.read_text(encoding="utf-8") == written(record(PUBLISHED))
    assert len(PROMISED) > 250


def parts(schema: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], dict[str, Any]]]:
    """Every object of a schema in which something can be taken away or asked for."""
    if isinstance(schema, dict):
        yield path, schema
        for key, below in schema.items():
            if key not in ("examples", "if"):
                yield from parts(below, (*path, key))
    elif isinstance(schema, list):
        for i, below in enumerate(schema):
            yield from parts(below, (*path, i))


def narrower() -> Iterator[tuple[str, dict[str, Any]]]:
    """The schema with one thing taken away, asked for or bounded, wherever that can be done, and what it was."""
    for path, part in parts(PUBLISHED):
        for name, values in (("enum", part.get("enum")), ("x-words", part.get("x-words"))):
            for i, word in enumerate(values or []):
                changed, at = at_path(path)
                at[name] = [other for j, other in enumerate(values or []) if j != i]
                yield f"{path} {name} without {word}", changed
        for key in part.get("properties", {}) if "then" not in path else ():
            changed, at = at_path(path)
            del at["properties"][key]
            yield f"{path} without {key}", changed
            if key not in part.get("required", ()) and "$defs" in path[:1] and not part.get("anyOf"):
                changed, at = at_path(path)
                at["required"] = [*part.get("required", ()), key]
                yield f"{path} requires {key}", changed
        for name in ("maximum", "maxItems", "maxLength", "maxProperties"):
            if name in part:
                changed, at = at_path(path)
                at[name] -= 1
                yield f"{path} {name} lower", changed
        for name in ("minimum", "minItems", "minLength", "minProperties"):
            if name in part:
                changed, at = at_path(path)
                at[name] += 1
                yield f"{path} {name} higher", changed
        if "pattern" in part:
            changed, at = at_path(path)
            at["pattern"] = "^x$"
            yield f"{path} another pattern", changed
        if "anyOf" in part:
            for i in range(len(part["anyOf"])):
                changed, at = at_path(path)
                del at["anyOf"][i]
                yield f"{path} one way less", changed
        if isinstance(part.get("type"), list):
            changed, at = at_path(path)
            at["type"] = part["type"][0]
            yield f"{path} one type less", changed


def at_path(path: tuple[Any, ...]) -> tuple[dict[str, Any], dict[str, Any]]:
    changed = copy.deepcopy(PUBLISHED)
    at: Any = changed
    for step in path:
        at = at[step]
    return changed, at


def test_the_record_notices_whatever_is_taken_away() -> None:
    missed, number = [], 0
    for what, changed in narrower():
        number += 1
        try:
            noticed = broken(PROMISED, record(changed)) != []
        except KeyError:  # a reference leads to what is gone: nothing can be inspected with such a schema
            noticed = True
        if not noticed:
            missed.append(what)
    assert number > 500
    assert missed == []


@pytest.mark.parametrize(
    ("path", "change"),
    [
        (("properties",), lambda at: at.update(lamps={"type": "object"})),
        (("$defs", "board", "properties"), lambda at: at.update(height={"type": "string"})),
        (("$defs", "place", "enum"), lambda at: at.append("mine")),
        (("$defs", "waiver"), lambda at: at.update(required=["rule", "at", "reason"])),
        (("$defs", "device"), lambda at: at["anyOf"].append({"required": ["id"]})),
        (("$defs", "text"), lambda at: at.update(maxLength=3000)),
        (("properties", "waivers"), lambda at: at.update(type=["array", "null", "string"])),
    ],
)
def test_what_is_added_breaks_nothing(path: tuple[str, ...], change: Any) -> None:
    changed, at = at_path(path)
    change(at)
    assert broken(PROMISED, record(changed)) == []
    assert record(changed) != PROMISED


# ---------------------------------------------------------------- the oldest example


def test_the_oldest_example_means_what_it_meant() -> None:
    """As the first program that could read it said: 53 cases, and the bond that its waiver accepts."""
    site = survey.inspect_file(str(FROZEN), load_rules(), today="2026-11-25")
    assert (site.problems, site.faults, site.cases) == ((), (), 53)
    grave = [
        (r.level, r.rule, r.subject, r.waiver is not None) for r in site.results if r.level in ("error", "warning")
    ]
    assert grave == [("error", "neutral-bonded-twice", "island-link", True)]


def test_without_its_waiver_too(tmp_path: Path) -> None:
    path = tmp_path / "skarv.yaml"
    path.write_text(FROZEN.read_text(encoding="utf-8").partition("\nwaivers:")[0] + "\n", encoding="utf-8")
    site = survey.inspect_file(str(path), load_rules(), today="2026-11-25")
    grave = [(r.level, r.rule, r.subject, r.span.line) for r in site.results if r.level in ("error", "warning")]
    assert grave == [("error", "neutral-bonded-twice", "island-link", 68)]


# ---------------------------------------------------------------- another version


@pytest.mark.parametrize("value", ["2", "0", "-1", "10"])
def test_another_version_is_refused(value: str, tmp_path: Path, run: Run) -> None:
    (tmp_path / "hut.yaml").write_text(HUT.replace("onebond: 1", f"onebond: {value}"))
    done = run("inspect", "hut.yaml")
    assert done.returncode == 3
    assert f"hut.yaml:1:10: error: format version {value} is not known" in done.stdout
    assert "this program reads version 1: write `onebond: 1`" in done.stdout
    assert "checked" not in done.stdout.replace("nothing was checked", "")


def test_what_it_does_not_know_is_refused_and_not_passed_over(tmp_path: Path, run: Run) -> None:
    """That is what makes added keys safe: an older program says so, and never judges half of a description."""
    (tmp_path / "hut.yaml").write_text(HUT + "annexes: {}\n")
    done = run("inspect", "hut.yaml")
    assert done.returncode == 3 and "`annexes` is not a key of a description" in done.stdout


# ---------------------------------------------------------------- the schema of a part


def test_the_schema_of_a_part_is_that_of_the_site_without_what_concerns_the_whole() -> None:
    part: dict[str, Any] = json.loads(onebond_schemas.text("part.schema.json"))
    assert set(part["properties"]) - {"onebond-part"} == set(PUBLISHED["properties"]) - {"onebond", "site", "parts"}
    for key, about in part["properties"].items():
        assert key == "onebond-part" or about == {"$ref": f"installation.schema.json#/properties/{key}"}
    resource = referencing.Resource.from_contents(PUBLISHED, default_specification=DRAFT202012)
    registry: Any = referencing.Registry().with_resource("installation.schema.json", resource)
    checker = jsonschema.Draft202012Validator(part, registry=registry)
    for path in sorted((ROOT / "fixtures" / "estate" / "boards").glob("*.yaml")):
        parsed = parse(path.read_bytes(), str(path))
        assert parsed.document is not None
        data = plain(parsed.document.root)
        assert checker.is_valid(data), path
        for key in ("site", "parts", "onebond", "colour"):
            assert not checker.is_valid({**data, key: 1})
        assert not checker.is_valid({key: value for key, value in data.items() if key != "onebond-part"})
        assert not checker.is_valid({**data, "boards": {"x": {"bar": "PE"}}})
    site = parse((ROOT / "fixtures" / "estate" / "estate.yaml").read_bytes(), "estate.yaml").document
    assert site is not None and jsonschema.Draft202012Validator(PUBLISHED).is_valid(plain(site.root))
    assert set(part["properties"]) >= {section for section, _ in reading.SECTIONS}
