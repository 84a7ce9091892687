"""The promise of format version 1 as data: every key, word, unit and bound of the schema, and what it requires.

``tests/frozen/format-1.json`` is the record.  What stands in it can be written for ever, and whatever could be left out can be
left out for ever; ``broken`` says where a schema breaks that.  ``python tests/format_record.py`` puts what was *added* to the
schema into the record, and refuses to take anything out of it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import onebond_schemas
from onebond import quantity

RECORD = Path(__file__).resolve().parent / "frozen" / "format-1.json"

_LOWEST = ("minimum", "minLength", "minItems", "minProperties")
_HIGHEST = ("maximum", "maxLength", "maxItems", "maxProperties")

Json = dict[str, Any]


def record(root: Json) -> Json:
    """What a schema permits and asks for, by the way to each value: ``connections/*/through/[]/kind``."""
    units = {
        f"unit of {name}": {"words": sorted(known.units), "bounds": [known.bounds]}
        for name, known in quantity.QUANTITIES.items()
    }
    return {**dict(sorted(_visited(root, root, ""))), **dict(sorted(units.items()))}


def _flat(root: Json, part: Json) -> Json:
    refers = part if "$ref" in part else part.get("allOf", [{}])[0]
    if "$ref" not in refers:
        return part
    target: Any = root
    for step in refers["$ref"].removeprefix("#/").split("/"):
        target = target[step]
    return {**_flat(root, target), **part} if refers is part else {**part, **_flat(root, target)}


def _visited(root: Json, part: Json, way: str) -> Iterator[tuple[str, Json]]:
    part = _flat(root, part)
    yield way or "/", _entry(root, part)
    names = part.get("propertyNames", {}).get("enum", part.get("properties", {}))
    below = {name: about for name, about in part.get("properties", {}).items() if name in names}
    if isinstance(part.get("additionalProperties"), dict):
        below["*"] = part["additionalProperties"]
    if "items" in part:
        below["[]"] = part["items"]
    for name, about in below.items():
        yield from _visited(root, about, f"{way}/{name}".strip("/"))
    for kind, then in _kinds(part):
        for name, about in then.get("properties", {}).items():
            narrowed = _flat(root, about)
            yield f"{way}/{name} of {kind}", _entry(root, narrowed)


def _kinds(part: Json) -> Iterator[tuple[str, Json]]:
    for rule in part.get("allOf", ()):
        if "if" in rule:
            kind = rule["if"]["properties"]["kind"]
            for name in kind.get("enum", [kind.get("const")]):
                yield name, rule["then"]


def _entry(root: Json, part: Json) -> Json:
    names = part.get("propertyNames", {})
    found: Json = {
        "types": sorted([part["type"]] if isinstance(part.get("type"), str) else part.get("type", [])),
        "words": sorted(map(str, part.get("enum", [part["const"]] if "const" in part else []))),
        "conductors": sorted(part.get("x-words", [])),
        "keys": sorted(names.get("enum", part.get("properties", []))),
        "suffices": _suffices(part),
        "pattern": [part["pattern"]] if "pattern" in part else [],
        "names": [_flat(root, names)["pattern"]] if "pattern" in _flat(root, names) else [],
        "quantity": [part["x-quantity"]] if "x-quantity" in part else [],
    }
    for kind, then in _kinds(part):
        found[f"keys of {kind}"] = sorted(then.get("propertyNames", {}).get("enum", []))
        found[f"suffices of {kind}"] = _suffices(then)
    found |= {name: part[name] for name in (*_LOWEST, *_HIGHEST) if name in part}
    return {name: value for name, value in found.items() if value or value == 0}


def _suffices(part: Json) -> list[list[str]]:
    """The sets of keys each of which is enough; one empty set where nothing is required."""
    required = part.get("required", [])
    choices = [choice["required"] for choice in part.get("anyOf", ())] or [[]]
    return [sorted({*required, *choice}) for choice in choices]


def broken(promised: Json, present: Json) -> list[str]:
    """Where a schema no longer permits what was promised, or asks for more; empty where the promise holds."""
    found = []
    for way, old in promised.items():
        new = present.get(way)
        if new is None:
            found.append(f"{way}: is gone")
            continue
        for name, value in old.items():
            if name.startswith("suffices"):
                enough = [set(choice) for choice in new.get(name, [[]])]
                if not all(any(choice <= set(one) for choice in enough) for one in value):
                    found.append(f"{way}: {name}: {value} was enough")
            elif isinstance(value, list):
                gone = [one for one in value if one not in new.get(name, [])]
                # without words, keys or a pattern of its own anything may stand there
                if gone and (name in new or name in ("types", "keys", "names")):
                    found.append(f"{way}: {name}: {', '.join(gone)} is gone")
            elif not (new[name] <= value if name in _LOWEST else new[name] >= value) if name in new else False:
                found.append(f"{way}: {name}: {value} was permitted")
        found += [
            f"{way}: {name}: is new, and nothing bounded it"
            for name in (*_LOWEST, *_HIGHEST, "words", "pattern", "conductors", "quantity")
            if name in new and name not in old and not (name in _LOWEST and new[name] == 0)
        ]
    return found


def main() -> int:
    present = record(json.loads(onebond_schemas.text()))
    promised: Json = json.loads(RECORD.read_text(encoding="utf-8")) if RECORD.exists() else {}
    if found := broken(promised, present):
        sys.stderr.write("the format would break its promise:\n" + "\n".join(found) + "\n")
        return 1
    RECORD.write_text(written(present), encoding="utf-8")
    return 0


def written(known: Json) -> str:
    """The record as a file: one line for each way, so that a change of one is a change of one line."""
    lines = [f" {json.dumps(way)}: {json.dumps(known[way], sort_keys=True)}" for way in sorted(known)]
    return "{\n" + ",\n".join(lines) + "\n}\n"


if __name__ == "__main__":
    sys.exit(main())
