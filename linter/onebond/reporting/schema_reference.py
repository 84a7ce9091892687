"""The schema reference: the published schema as a page of Markdown, for ``schemas/REFERENCE.md``.

Nothing is said here that the schema does not say; units and bounds come from ``onebond.quantity``.
"""

from __future__ import annotations

import json
import re
from typing import Any

import onebond_schemas
from onebond import quantity

Json = dict[str, Any]


def schema_reference(text: str | None = None, name: str = onebond_schemas.INSTALLATION) -> str:
    """Markdown of a schema in JSON; without one, of the published schema of that name."""
    text = onebond_schemas.text(name) if text is None else text
    root: Json = json.loads(text)
    parts = [
        f"# {root['title']}",
        "",
        f"This page is generated from `{name}`; do not edit it.",
        "",
        root["description"],
        "",
        *_table(root, root),
        *_within("", root, root),
    ]
    # what has keys of its own is an object of the format; all else under $defs are shapes that values share
    for one in root["$defs"].values():
        schema = _flat(root, one)
        if "properties" in schema:
            parts += ["", f"## {schema['title']}", "", schema["description"], "", *_examples(schema), ""]
            parts += _table(root, schema)
            parts += _within(f"{schema['title']}: ", root, schema)
    parts += ["", "## Quantities", "", *_quantities(text), ""]
    return "\n".join(parts)


def _within(title: str, root: Json, schema: Json) -> list[str]:
    """The tables of the values of an object that have keys of their own."""
    inner = [(key, about) for key, about in schema["properties"].items() if "properties" in about]
    return [line for key, about in inner for line in ("", f"### {title}{key}", "", *_table(root, about))]


def _examples(schema: Json) -> list[str]:
    return ["```yaml", *(_yaml(example) for example in schema["examples"]), "```"]


def _table(root: Json, schema: Json) -> list[str]:
    kinds = _kinds(schema)
    head = ["key", "value", *(["for"] if kinds else []), "meaning", "example"]
    rows = [head, ["---"] * len(head)]
    required = set(schema.get("required", ()))
    unless = _unless(schema)
    names = schema.get("propertyNames", {}).get("enum", schema["properties"])
    for key in (key for key in schema["properties"] if key in names):
        about = _flat(root, schema["properties"][key])
        owners = [kind for kind, allowed, _ in kinds if key in allowed]
        where = [] if not kinds else ["all" if len(owners) == len(kinds) else ", ".join(owners)]
        must = [kind for kind, _, needed in kinds if key in needed]
        mark = " (required)" if key in required else f" (required for {', '.join(must)})" if must else ""
        if key not in required and key in unless and all(other in names for other in unless[key]):
            mark = f" (required without {' and '.join(f'`{other}`' for other in unless[key])})"
        shown = ", ".join(f"`{_yaml(example)}`" for example in about["examples"])
        rows.append([f"`{key}`{mark}", _value(root, about), *where, about["description"], shown])
    return [f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in row)} |" for row in rows]


def _kinds(schema: Json) -> list[tuple[str, list[str], list[str]]]:
    """Each kind of an object: its name, the keys that it may have, the keys that it must have."""
    found = []
    for rule in schema.get("allOf", ()):
        kind = rule["if"]["properties"]["kind"]
        then = rule["then"]
        for name in kind["enum"] if "enum" in kind else [kind["const"]]:
            found.append((name, then["propertyNames"]["enum"], [*then.get("required", []), *_unless(then)]))
    return found


def _unless(schema: Json) -> dict[str, list[str]]:
    """The keys that one of two choices of an object demands, with those of the other choice."""
    first, second = [choice["required"] for choice in schema.get("anyOf", ())] or [[], []]
    return dict.fromkeys(first, second)


def _value(root: Json, about: Json) -> str:
    """What a value may be, in words."""
    if "enum" in about:
        return "yes or no" if True in about["enum"] else ", ".join(f"`{word}`" for word in about["enum"])
    if "const" in about:
        return f"`{about['const']}`"
    words = []
    types = about["type"] if isinstance(about["type"], list) else [about["type"]]
    if "string" in types:
        if "x-quantity" in about:
            words.append(about["x-quantity"].replace("-", " "))
        elif "x-words" in about:
            words.append("conductors")
        else:
            words.append(about.get("patternErrorMessage", "text").partition(":")[0].partition(",")[0])
    if "integer" in types or "number" in types:
        what = "whole number" if "integer" in types else "number"
        words.append(f"{what} from {about['minimum']} to {about['maximum']}")
    if "object" in types and "a map" not in " ".join(words):
        words.append("map")
    if "array" in types:
        items = _flat(root, about["items"])
        words.append("list of maps" if items["type"] == "object" else "list")
    return " or ".join(words)


def _flat(root: Json, schema: Json) -> Json:
    refers = schema if "$ref" in schema else schema.get("allOf", ({},))[0]
    if "$ref" not in refers:
        return schema
    target: Any = root
    for step in refers["$ref"].removeprefix("#/").split("/"):
        target = target[step]
    return {**_flat(root, target), **schema}


def _quantities(text: str) -> list[str]:
    """Those that the schema names, alone or as one of two."""
    named = {part for name in re.findall(r'"x-quantity": "([a-z-]+)"', text) for part in quantity.parts(name)}
    rows = ["| quantity | units | from | to | examples |", "| --- | --- | --- | --- | --- |"]
    for name, known in quantity.QUANTITIES.items():
        if name not in named:
            continue
        low, _, high = known.bounds.partition(" to ")
        units = ", ".join(f"`{unit}`" for unit in known.units)
        examples = ", ".join(f"`{example}`" for example in known.examples)
        rows.append(f"| {name.replace('-', ' ')} | {units} | {low} | {high} | {examples} |")
    return rows


def _yaml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_yaml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_yaml(item) for item in value) + "]"
    return str(value)
