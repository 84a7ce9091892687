"""A document against the published schema: every difference is a problem in plain words, with its place.

The schema in ``onebond_schemas`` is what editors use; this is a small walker over the keywords that it uses, because a
general validator costs more start-up time than everything else together and speaks of instances and subschemas.  A test
proves that both agree on what is valid.  Beyond the standard keywords the schema says ``x-quantity`` (a quantity of
``onebond.quantity``, whose bounds no pattern can express), ``x-words`` (the words of a list written in one line) and
``patternErrorMessage`` (what a pattern asks for, in words; editors show it too).  ``x-or`` are words that may stand in place of a quantity.
``x-above`` lets a `>` stand before it.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import onebond_schemas
from onebond import quantity
from onebond.result import Problem
from onebond.span import Route, Span

if TYPE_CHECKING:
    from onebond.document import Document, Node

LIMIT = 50
"""Problems of one file that are reported; the rest is counted."""

_START = Span(1, 1, 1, 1)

_FILES = {onebond_schemas.INSTALLATION: "a description", onebond_schemas.READINGS: "a file of readings"}
"""What a file is, for people, by the schema that it is held against."""


def check(document: Document, name: str = onebond_schemas.INSTALLATION) -> tuple[list[Problem], int]:
    """The problems of a document in the order of the walk, at most LIMIT of them, and how many were left out."""
    walk = _Walk(document, name)
    walk.visit(document.root, walk.schema.root, (), (), document.root.span)
    return walk.problems, walk.left_out


def check_entry(document: Document, key: str) -> list[Problem]:
    """The problems of one entry of the first level, as far as they are told; none where it is not written."""
    node = _entries(document.root).get(key)
    walk = _Walk(document, onebond_schemas.INSTALLATION)
    if node is not None:
        about = walk.schema.flat(walk.schema.root["properties"][key])
        walk.visit(node, about, (), (key,), document.root.keys[key])
    return walk.problems


def names(definition: str) -> tuple[str, ...]:
    """The keys that one kind of object may have, by the name of its definition."""
    published = _published(onebond_schemas.INSTALLATION)
    about = published.flat(published.root["$defs"][definition])
    allowed: list[str] = about.get("propertyNames", {}).get("enum") or list(about["properties"])
    return tuple(allowed)


class Schema:
    """The published schema with its references resolved on demand."""

    def __init__(self, root: dict[str, Any]) -> None:
        self._document = root
        self._flat: dict[int, dict[str, Any]] = {}
        self.root = self.flat(root)

    def flat(self, schema: dict[str, Any]) -> dict[str, Any]:
        """A schema with what it refers to; where both say something, the nearer wins (it only ever narrows)."""
        known = self._flat.get(id(schema))
        if known is not None:
            return known
        flat = schema
        # Editors hide a key with doNotSuggest only where no $ref stands beside it: there the type comes by allOf.
        refers = schema if "$ref" in schema else schema.get("allOf", ({},))[0]
        if "$ref" in refers:
            target: Any = self._document
            for step in refers["$ref"].removeprefix("#/").split("/"):
                target = target[step]
            flat = {**self.flat(target), **schema}
            flat.pop("$ref" if refers is schema else "allOf")
        self._flat[id(schema)] = flat
        return flat


@functools.cache
def _published(name: str) -> Schema:
    return Schema(json.loads(onebond_schemas.text(name)))


class _Walk:
    """One walk over one document."""

    def __init__(self, document: Document, name: str) -> None:
        self.document = document
        self.schema = _published(name)
        self.what = _FILES[name]
        self.problems: list[Problem] = []
        self.left_out = 0

    def visit(
        self, node: Node, schema: dict[str, Any], narrower: tuple[dict[str, Any], ...], route: Route, at: Span
    ) -> None:
        """Check a node; ``narrower`` are schemas of the same value that only narrow, ``at`` is where its key stands."""
        if not self._type_fits(node, schema, route, at):
            return
        if node.kind == "map":
            self._map(node, schema, narrower, route, at)
        elif node.kind == "list":
            self._list(node, schema, route, at)
        else:
            for view in (*narrower, schema):
                if not self._scalar_fits(node, view, schema, route):
                    return

    # ---------------------------------------------------------------- maps

    def _map(
        self, node: Node, schema: dict[str, Any], narrower: tuple[dict[str, Any], ...], route: Route, at: Span
    ) -> None:
        value = _entries(node)
        thens = [self.schema.flat(rule["then"]) for rule in schema.get("allOf", ()) if self._holds(rule["if"], node)]
        properties: dict[str, Any] = schema.get("properties", {})
        others = schema.get("additionalProperties", True)
        allowed = list(properties)
        # The names of an object with keys of its own narrow them; those of an open map are the reader's own words.
        for view in (*narrower, *thens, *((schema,) if others is False else ())):
            names = view.get("propertyNames", {}).get("enum")
            if names is not None:
                allowed = [name for name in allowed if name in names]
        least = schema.get("minProperties", 0)
        if len(value) < least:
            self._report(at, route, f"`{_name(route)}` is empty", _for_example(route, schema))
        if len(value) > schema.get("maxProperties", len(value)):
            self._report(at, route, f"`{_name(route)}` has more than {schema['maxProperties']} entries")
        commas = {key: rest for key in value if key in allowed and (rest := self._behind_comma(value[key]))}
        for key, child in value.items():
            span = node.keys[key]
            here = (*route, key)
            if key in commas.values():
                continue
            if key in commas:
                self._with_comma(child, commas[key], self.schema.flat(properties[key]), here)
            elif key in properties and key in allowed:
                base = self.schema.flat(properties[key])
                views = tuple(
                    self.schema.flat(view["properties"][key])
                    for view in (*narrower, *thens)
                    if key in view.get("properties", ()) and not _only_refers(view["properties"][key])
                )
                self.visit(child, base, views, here, span)
            elif key in properties:
                self._key_of_another_kind(node, schema, key, allowed, here, span)
            elif others is False:
                self._unknown_key(node, schema, key, allowed, here, span)
            elif isinstance(others, dict):
                if "propertyNames" in schema and not self._name_fits(key, schema, here, span):
                    continue
                self.visit(child, self.schema.flat(others), (), here, span)
        for view in (schema, *thens):
            choices = [choice["required"] for choice in view.get("anyOf", ())]
            chosen = not choices or any(all(key in value for key in choice) for choice in choices)
            for key in dict.fromkeys((*view.get("required", ()), *(() if chosen else choices[0]))):
                if key not in value:
                    self._missing(node, schema, key, route, at)

    def _holds(self, condition: dict[str, Any], node: Node) -> bool:
        """Whether an `if` of the schema holds: required keys, each with a constant or one of some words."""
        for key in condition["required"]:
            if key not in _entries(node):
                return False
        for key, wanted in condition["properties"].items():
            child = _entries(node).get(key)
            if child is not None:
                words = wanted["enum"] if "enum" in wanted else [wanted["const"]]
                if child.kind != "scalar" or child.value not in words:
                    return False
        return True

    def _name_fits(self, key: str, schema: dict[str, Any], route: Route, span: Span) -> bool:
        names = self.schema.flat(schema["propertyNames"])
        if "enum" in names and key not in names["enum"]:
            self._not_a_word(key, names["enum"], route, span)
            return False
        if "pattern" in names and not _matches(names["pattern"], key):
            self._report(span, route, f"`{_short(key)}` is not {names['patternErrorMessage']}", _as_id(key))
            return False
        return True

    def _unknown_key(
        self, node: Node, schema: dict[str, Any], key: str, allowed: list[str], route: Route, span: Span
    ) -> None:
        if self._is_full():
            return
        if route[:2] == ("types", "cables") and key in names("connection"):
            self._of_the_place(schema, node, key, allowed, route, span)
            return
        if all(name[:1].isdigit() for name in allowed):
            self._unknown_multiple(key, allowed, route, span)
            return
        hint = _did_you_mean(key, [name for name in allowed if name not in _entries(node)] or allowed)
        child = _entries(node).get(key)
        if child is not None and child.kind == "scalar" and child.value is None:
            if key[:1].isdigit():
                hint = "inside braces a comma ends the entry: the decimal sign is a point;"
            else:
                hint = _with_colon(key, allowed) or hint
        listed = f"keys here: {_listed(allowed)}"
        self._report(
            span,
            route,
            f"`{_short(key)}` is not a key of {self._called(schema, node, route[:-1])}",
            _joined(hint, listed),
        )

    def _unknown_multiple(self, key: str, allowed: list[str], route: Route, span: Span) -> None:
        """A key where the keys are multiples, such as ``2 x`` of the times of an RCD."""
        meant = re.fullmatch(r"x?\s*([0-9]+(?:\.[0-9]+)?)\s*x?", key[:40].lower())
        same = next((name for name in allowed if meant and float(name.split()[0]) == float(meant[1])), "")
        hint = f"write `{same}`" if same else "take out what was sent at another multiple: no limit is known for it"
        self._report(span, route, f"`{_short(key)}` at `{_name(route[:-1])}` is not one of {_or(allowed)}", hint)

    def _behind_comma(self, node: Node) -> str:
        """What stands behind the decimal comma of a number in braces; '' where there is none.

        ``loop: 0,8 ohm`` are two entries for YAML: ``0``, and ``8 ohm`` without a value.
        """
        if node.kind != "scalar" or not re.fullmatch("[0-9]{1,12}", node.raw):
            return ""
        found = re.match(r", ?([0-9][^,:{}\[\]#]*?) *[,}]", self._line(node.span)[node.span.end_column - 1 :][:60])
        return found[1] if found else ""

    def _line(self, span: Span) -> str:
        lines = self.document.lines_of(span)
        return lines[span.line - 1] if span.line <= len(lines) else ""

    def _with_comma(self, node: Node, rest: str, schema: dict[str, Any], route: Route) -> None:
        """One problem, and not two that send people astray."""
        end = self._line(node.span).index(rest, node.span.end_column) + len(rest) + 1
        span = node.span._replace(end_column=end)
        text = f"{node.raw},{rest}"
        if "x-quantity" in schema:
            self._quantity_fits(text, span, schema, schema, route)
            return
        hint = f"the decimal sign is a point: write `{node.raw}.{_short(rest)}`"
        self._report(span, route, f"`{_short(text)}` at `{_name(route)}` has a comma in the number", hint)

    def _key_of_another_kind(
        self, node: Node, schema: dict[str, Any], key: str, allowed: list[str], route: Route, span: Span
    ) -> None:
        if self._is_full():
            return
        owners: list[str] = []
        for rule in schema.get("allOf", ()):
            if key in rule["then"].get("propertyNames", {}).get("enum", ()):
                kind = rule["if"]["properties"]["kind"]
                owners += kind["enum"] if "enum" in kind else [kind["const"]]
        what = self._called(schema, node, route[:-1])
        if key not in schema.get("propertyNames", {}).get("enum", (key,)):
            self._of_the_place(schema, node, key, allowed, route, span)
            return
        if not owners:
            self._report(span, route, f"`{key}` is not a key of {what}", f"keys here: {_listed(allowed)}")
            return
        hint = _did_you_mean(key, [name for name in allowed if name not in _entries(node)])
        self._report(
            span,
            route,
            f"`{key}` is not a key of {what}: it belongs to {_or([_with_article(owner) for owner in owners])}",
            _joined(hint, f"take it out or correct `kind`; keys here: {_listed(allowed)}"),
        )

    def _of_the_place(
        self, schema: dict[str, Any], node: Node, key: str, allowed: list[str], route: Route, span: Span
    ) -> None:
        """A key in a type that says how one thing is used."""
        message = f"`{key}` is not a key of {self._called(schema, node, route[:-1])}: it belongs to the place"
        self._report(span, route, message, f"write it where the type is used; keys here: {_listed(allowed)}")

    def _missing(self, node: Node, schema: dict[str, Any], key: str, route: Route, at: Span) -> None:
        if self._is_full():
            return
        about = self.schema.flat(schema["properties"][key])
        if not route:
            at = _START
        self._report(
            at,
            route,
            f"`{key}` is missing in {self._called(schema, node, route)}",
            f"{_first_sentence(about['description'])} F{_for_example((key,), about)[1:]}",
        )

    # ---------------------------------------------------------------- lists

    def _list(self, node: Node, schema: dict[str, Any], route: Route, at: Span) -> None:
        value = _items(node)
        if len(value) < schema.get("minItems", 0):
            few = "is empty" if not value else f"needs {schema['minItems']} entries or more"
            self._report(node.span, route, f"`{_name(route)}` {few}", _for_example(route, schema))
        if len(value) > schema.get("maxItems", len(value)):
            self._report(at, route, f"`{_name(route)}` has more than {schema['maxItems']} entries")
        items = self.schema.flat(schema["items"])
        seen: set[str] = set()
        for index, child in enumerate(value):
            here = (*route, index)
            if schema.get("uniqueItems") and child.kind == "scalar" and isinstance(child.value, str):
                if child.value in seen:
                    self._report(child.span, here, f"`{_short(child.value)}` stands twice in `{_name(route)}`")
                seen.add(child.value)
            self.visit(child, items, (), here, child.span)

    # ---------------------------------------------------------------- scalars

    def _type_fits(self, node: Node, schema: dict[str, Any], route: Route, at: Span) -> bool:
        types = schema.get("type")
        if node.kind == "scalar" and node.value is None and (types is None or "null" not in types):
            self._report(at, route, f"`{_name(route)}` is empty", _for_example(route, schema))
            return False
        if types is None:
            if node.kind != "scalar":
                self._not_a_word("a map" if node.kind == "map" else "a list", schema["enum"], route, at, code=False)
                return False
            return True
        types = [types] if isinstance(types, str) else types
        found = _types_of(node)
        if any(name in found for name in types):
            return True
        if self._is_full():
            return False
        name = _name(route)
        example = _for_example(route, schema)
        if "x-quantity" in schema and node.kind == "scalar" and not isinstance(node.value, bool):
            self._quantity_fits(node.raw, node.span, schema, schema, route)
        elif "x-words" in schema and node.kind == "list":
            words = [str(child.value) for child in _items(node) if child.kind == "scalar"]
            self._report(
                node.span, route, f"`{name}` is written in one line and not as a list", f"write `{' '.join(words)}`"
            )
        elif "string" in types and node.kind == "scalar":
            self._report(
                node.span,
                route,
                f"`{_shown(node)}` at `{name}` is {'a number' if _is_number(node) else 'a truth value'} and not text",
                f'write it in quotes: `"{_shown(node)}"`' if "pattern" not in schema else example,
            )
        elif "object" in types and node.kind != "map":
            hint = _with_colon(node.value, schema.get("properties", ())) if isinstance(node.value, str) else ""
            self._report(at, route, f"`{name}` needs keys of its own", hint or example)
        elif "array" in types and node.kind != "list":
            glued = node.value if isinstance(node.value, str) else next(iter(_entries(node)), "")
            if re.match("-[A-Za-z]", glued):
                word = glued[1:].split()[0] + (":" if node.kind == "map" else "")
                place = node.keys[glued] if node.kind == "map" else node.span
                self._report(place, route, "a space is missing after the dash", f"write `- {_short(word)}`")
            else:
                self._report(at, route, f"`{name}` must be a list", example)
        elif "integer" in types or "number" in types:
            whole = "a whole number" if "integer" in types else "a number"
            quoted = " without quotes" if node.kind == "scalar" and node.quoted else ""
            self._report(
                at if node.kind != "scalar" else node.span, route, f"`{name}` must be {whole}{quoted}", example
            )
        else:
            self._report(at, route, f"`{name}` must be one value", example)
        return False

    def _scalar_fits(self, node: Node, schema: dict[str, Any], base: dict[str, Any], route: Route) -> bool:
        """Check a scalar whose type is right; the words come from ``base`` where ``schema`` only narrows it."""
        value = node.value
        if "enum" in schema and not any(type(value) is type(word) and value == word for word in schema["enum"]):
            self._not_a_word(_shown(node), schema["enum"], route, node.span)
            return False
        if "const" in schema and value != schema["const"]:
            self._report(
                node.span,
                route,
                f"format version {_shown(node)} is not known",
                f"this program reads version {schema['const']}: write `{_name(route)}: {schema['const']}`",
            )
            return False
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            low, high = schema.get("minimum"), schema.get("maximum")
            # Written so that a NaN would be refused too.
            if low is not None and high is not None and not low <= value <= high:
                self._report(
                    node.span, route, f"`{_name(route)}` must be from {low} to {high}", _for_example(route, base)
                )
                return False
        if isinstance(value, str):
            return self._text_fits(node, value, schema, base, route)
        return True

    def _text_fits(self, node: Node, value: str, schema: dict[str, Any], base: dict[str, Any], route: Route) -> bool:
        if len(value) < schema.get("minLength", 0):
            self._report(node.span, route, f"`{_name(route)}` is empty", _for_example(route, base))
            return False
        if len(value) > schema.get("maxLength", len(value)):
            self._report(node.span, route, f"`{_name(route)}` is longer than {schema['maxLength']} characters")
            return False
        if "x-quantity" in schema:
            return self._quantity_fits(value, node.span, schema, base, route)
        if "x-words" in schema:
            return self._words_fit(value, node.span, schema, route)
        if "pattern" in schema and not _matches(schema["pattern"], value):
            if not self._is_full():
                asked = schema["patternErrorMessage"]
                hint = _as_breaker(value, schema["pattern"]) if "a circuit-breaker" in asked else ""
                hint = _as_id(value) if "an id" in asked else hint or _for_example(route, base)
                self._report(node.span, route, f"`{_short(value)}` at `{_name(route)}` is not {asked}", hint)
            return False
        return True

    def _quantity_fits(self, text: str, span: Span, schema: dict[str, Any], base: dict[str, Any], route: Route) -> bool:
        if text in schema.get("x-or", ()):
            return True
        if "x-above" in schema:
            text = text.removeprefix(">")
        shown = [word for word in (*schema.get("examples", ()), *base.get("examples", ())) if isinstance(word, str)]
        refusal = quantity.parse(text, schema["x-quantity"], shown[0] if shown else "")
        if isinstance(refusal, quantity.Measure):
            return True
        self._report(span, route, f"`{_name(route)}`: {refusal.message}", refusal.hint)
        return False

    def _words_fit(self, text: str, span: Span, schema: dict[str, Any], route: Route) -> bool:
        words: list[str] = schema["x-words"]
        parts = [part for part in text.split(" ") if part]
        wrong = [part for part in parts if part not in words]
        if parts and not wrong and len(parts) <= len(words) and text == text.strip(" "):
            return True
        if self._is_full():
            return False
        name = _name(route)
        pieces = [piece for piece in re.split(r"[\s,;/+&|]+", text) if piece]
        # A person writes `L1/N/PE` or `L1, N, PE` when the words are right and only the form is not.
        if pieces and all(piece in words for piece in pieces) and len(pieces) <= len(words):
            self._report(
                span,
                route,
                f"the conductors at `{name}` are written with spaces between them",
                f"write `{' '.join(pieces)}`",
            )
        elif wrong:
            meant = [part if part in words else _taken_apart(part, words) or _meant(part, words) for part in parts]
            hint = f"did you mean `{' '.join(filter(None, meant))}`?" if all(meant) else ""
            named = " and ".join(f"`{_short(part)}`" for part in wrong[:3])
            what = "the names of conductors" if len(wrong) > 1 else "the name of a conductor"
            self._report(
                span,
                route,
                f"{named} at `{name}` {'are' if len(wrong) > 1 else 'is'} not {what}",
                _joined(hint, f"names: {' '.join(words)}"),
            )
        else:
            self._report(span, route, f"`{name}` must be {schema['patternErrorMessage']}", f"names: {' '.join(words)}")
        return False

    def _not_a_word(self, text: str, words: list[Any], route: Route, span: Span, code: bool = True) -> None:
        if self._is_full():
            return
        name = _name(route)
        shown = f"`{_short(text)}`" if code else text
        if any(word is True for word in words):
            self._report(
                span, route, f"{shown} at `{name}` is neither yes nor no", f"write `{name}: yes` or `{name}: no`"
            )
            return
        listed = _or([str(word) for word in words])
        self._report(
            span,
            route,
            f"{shown} at `{name}` is not {'one of ' if len(words) > 1 else ''}{listed}",
            _meant_word(name, text, words),
        )

    # ---------------------------------------------------------------- reporting

    def _called(self, schema: dict[str, Any], node: Node, route: Route) -> str:
        """What a map is, for people; that of the file itself is what the file is."""
        return _what(schema, node, route) if route else self.what

    def _is_full(self) -> bool:
        """Count a problem that is left out, before any work goes into its words."""
        if len(self.problems) < LIMIT:
            return False
        self.left_out += 1
        return True

    def _report(self, span: Span, route: Route, message: str, hint: str = "") -> None:
        if not self._is_full():
            self.problems.append(Problem(span, message, hint, route))


# What people call conductors in other places and on other drawings.
_CONDUCTORS = {
    "l": "L1", "line": "L1", "phase": "L1", "live": "L1", "a": "L1", "r": "L1", "b": "L2", "c": "L3", "t": "L3",
    "neutral": "N", "e": "PE", "g": "PE", "gnd": "PE", "ground": "PE", "earth": "PE", "cpc": "PE", "egc": "PE",
    "+": "DC+", "-": "DC-", "dc": "DC+",
}  # fmt: skip


# What people call kinds and systems in other places, by the key that they stand at.
_OTHER_WORDS: dict[str, dict[str, str]] = {
    "kind": {
        "grid": "utility", "mains": "utility", "supply": "utility", "network": "utility", "genset": "generator",
        "gen": "generator", "alternator": "generator", "ups": "inverter", "breaker": "mcb", "cb": "mcb",
        "circuit-breaker": "mcb", "rccb": "rcd", "elcb": "rcd", "gfci": "rcd", "gfi": "rcd", "disconnector": "isolator",
    },
    "earthing": {"pme": "TN-C-S", "men": "TN-C-S"},
}  # fmt: skip

_FURTHER_KEYS = {"gfci": ", with `residual: 5 mA`", "gfi": ", with `residual: 5 mA`"}


def _meant_word(key: str, text: str, words: list[Any]) -> str:
    """What was probably meant by a word that is none of the words of its key, as a hint."""
    plain = text.lower()
    known = _OTHER_WORDS.get(key, {}).get(plain)
    if known is None and "PE" in words and plain in _CONDUCTORS:
        known = _CONDUCTORS[plain]
    if known not in words:
        return _did_you_mean(text, words)
    return f"did you mean `{known}`{_FURTHER_KEYS.get(plain, '')}?"


def _taken_apart(word: str, words: list[str]) -> str | None:
    """Conductors written in one, such as ``L2N`` or ``LNPE``, with spaces between them; None where it is no such word."""
    names = [re.escape(name) for name in sorted(words, key=len, reverse=True)]
    pattern = "|".join([*names, "L(?![0-9])", r"E\Z"])
    pieces = re.findall(pattern, word.upper())
    found = [piece if piece in words else _CONDUCTORS[piece.lower()] for piece in pieces]
    sound = len(found) > 1 and "".join(pieces) == word.upper() and len(set(found)) == len(found)
    return " ".join(found) if sound and all(name in words for name in found) else None


def _meant(word: str, words: list[str]) -> str | None:
    known = _CONDUCTORS.get(word.lower())
    return known if known in words else quantity.nearest(word, words)


def _entries(node: Node) -> dict[str, Node]:
    return node.value if isinstance(node.value, dict) else {}


def _items(node: Node) -> tuple[Node, ...]:
    return node.value if isinstance(node.value, tuple) else ()


def _shown(node: Node) -> str:
    return _short(node.value) if isinstance(node.value, str) else _short(node.raw)


def _matches(pattern: str, text: str) -> bool:
    # `$` of Python also matches before a final line break, that of JSON Schema does not.
    return re.search(pattern, text) is not None and not text.endswith("\n")


def _only_refers(schema: dict[str, Any]) -> bool:
    return schema.keys() <= {"$ref", "description", "doNotSuggest"}


def _is_number(node: Node) -> bool:
    return isinstance(node.value, (int, float)) and not isinstance(node.value, bool)


def _types_of(node: Node) -> tuple[str, ...]:
    if node.kind == "map":
        return ("object",)
    if node.kind == "list":
        return ("array",)
    value = node.value
    if value is None:
        return ("null",)
    if isinstance(value, bool):
        return ("boolean",)
    if isinstance(value, str):
        return ("string",)
    if isinstance(value, int) or (isinstance(value, float) and value.is_integer()):
        return ("number", "integer")
    return ("number",)


def _name(route: Route) -> str:
    """What a value is called: its key, or for an entry of a list the key of the list."""
    for step in reversed(route):
        if isinstance(step, str):
            return step
    return "description"


_SECTIONS = {
    "sources": "source", "boards": "board", "changeovers": "changeover", "connections": "connection",
    "circuits": "circuit", "bonds": "bond", "electrodes": "electrode", "monitors": "monitor", "groups": "group",
    "extraneous": "extraneous part", "direct-current": "d.c. source",
}  # fmt: skip


def _what(schema: dict[str, Any], node: Node, route: Route) -> str:
    """What a map is, for people: ``the generator `diesel```, ``the mcb, device 1 of `feed```, ``the site``."""
    kind = _entries(node).get("kind")
    title: str = schema.get("title", _name(route)).lower()
    if kind is not None and kind.kind == "scalar" and kind.value in _kinds(schema):
        title = str(kind.value)
    if len(route) == 3 and route[0] == "types":
        return f"the {schema.get('title', 'type').lower()} `{_short(str(route[2]))}`"
    if len(route) == 2 and route[0] in _SECTIONS:
        if title == schema.get("title", "").lower():
            title = _SECTIONS[str(route[0])]
        return f"the {title} `{_short(str(route[1]))}`"
    if len(route) == 4 and route[2] == "through" and isinstance(route[3], int):
        own = _entries(node).get("id")
        if own is not None and isinstance(own.value, str):
            return f"the {title} `{_short(own.value)}`"
        place = f"device {route[3] + 1} of `{_short(str(route[1]))}`"
        return place if title == "device" else f"the {title}, {place}"
    return f"the {title}" if title != "site" else "`site`"


def _kinds(schema: dict[str, Any]) -> list[str]:
    kinds: list[str] = schema.get("properties", {}).get("kind", {}).get("enum", [])
    return kinds


def _with_article(word: str) -> str:
    # Said as letters, mcb, mccb, rcd and rcbo begin: em, em, ar, ar.
    return f"{'an' if word[0] in 'aeio' or word in ('mcb', 'mccb', 'rcd', 'rcbo') else 'a'} {word}"


def _or(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _listed(words: list[str]) -> str:
    return ", ".join(words[:14]) + (f" and {len(words) - 14} more" if len(words) > 14 else "")


def _with_colon(text: str, names: Iterable[str]) -> str:
    """A hint where a text such as ``kind utility`` or ``kind=utility`` is an entry that lacks its colon."""
    match = re.fullmatch(r"([a-z-]+)(?: *= *| +)(\S.*)", text[:80])
    if match is None or match[1] not in names:
        return ""
    return f"the colon is missing: write `{match[1]}: {_short(match[2])}`"


def _did_you_mean(word: str, words: list[Any]) -> str:
    near = quantity.nearest(word, [other for other in words if isinstance(other, str)])
    return f"did you mean `{near}`?" if near else ""


def _joined(*hints: str) -> str:
    return " ".join(hint for hint in hints if hint)


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


def _as_id(text: str) -> str:
    """The id that a text would make, as a hint."""
    slug = re.sub(r"[^a-z0-9]+", "-", text[:64].lower()).strip("-")
    return f"write for example `{slug}`" if _matches("^[a-z][a-z0-9-]{0,63}$", slug) else ""


def _as_breaker(text: str, pattern: str) -> str:
    """The breaker that a text such as ``16 A type B`` speaks of, as a hint; empty where that is not clear."""
    curves = re.findall(r"(?<![A-Za-z])[BCDbcd](?![A-Za-z])", text[:64])
    ratings = re.findall(r"[0-9]+(?:\.[0-9])?", text[:64])
    meant = curves[0].upper() + ratings[0] if len(curves) == len(ratings) == 1 else ""
    return f"write `{meant}`" if _matches(pattern, meant) else ""


def _first_sentence(text: str) -> str:
    head, stop, _ = text.partition(". ")
    return head + "." if stop else text


def _for_example(route: Route, schema: dict[str, Any]) -> str:
    shown = schema.get("examples", ())
    if not shown:
        asked = schema.get("patternErrorMessage")
        return f"write {asked}" if asked else ""
    if route and isinstance(route[-1], int):
        return f"for example `{_yaml(shown[0])}`"
    return f"for example `{_name(route)}: {_yaml(shown[0])}`"


def _yaml(value: Any) -> str:
    """A value of the schema's examples as one writes it in one line of YAML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_yaml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_yaml(item) for item in value) + "]"
    return str(value)
