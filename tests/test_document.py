"""Documents: values, spans and look-ups, with every kind of line end; the limits at their very edges."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import ROOT
from onebond import document
from onebond.document import Document, Node, node_at, parse, quick_format, span_at
from onebond.span import Route, Span

SITES = sorted((ROOT / "fixtures" / "sites").glob("*.yaml"))


def read(text: str | bytes) -> Document:
    parsed = parse(text if isinstance(text, bytes) else text.encode(), "site.yaml")
    assert parsed.problems == []
    assert parsed.document is not None
    return parsed.document


def refused(text: str) -> str:
    parsed = parse(text.encode(), "site.yaml")
    assert len(parsed.problems) == 1, parsed.problems
    return parsed.problems[0].message


def plain(node: Node) -> Any:
    """The values without their places."""
    if isinstance(node.value, dict):
        return {key: plain(value) for key, value in node.value.items()}
    if isinstance(node.value, tuple):
        return [plain(value) for value in node.value]
    return node.value


def piece(lines: tuple[str, ...], span: Span) -> str:
    """The text that a span covers."""
    if span.line == span.end_line:
        return lines[span.line - 1][span.column - 1 : span.end_column - 1]
    first, *middle = lines[span.line - 1 : span.end_line]
    return "\n".join([first[span.column - 1 :], *middle[:-1], middle[-1][: span.end_column - 1]])


# ------------------------------------------------------------------------------------------------------------ places

HUT = """\
site: {name: "Fjällhütte 小屋 🛖", stage: draft}   # 小屋
boards:
  main:
  hut: {}
positions: [grid, 島, off]
list:
- a: 1
  b: 'it''s'
-   - x
empty:
note: |
  first line
  second line
last: 3
set: {x, y: 1, "z" : }
"""

PLACES: list[tuple[Route, bool, str, Span]] = [
    (("site",), True, "site", Span(1, 1, 1, 5)),
    (("site",), False, '{name: "Fjällhütte 小屋 🛖", stage: draft}', Span(1, 7, 1, 46)),
    (("site", "name"), False, '"Fjällhütte 小屋 🛖"', Span(1, 14, 1, 31)),
    (("site", "stage"), True, "stage", Span(1, 33, 1, 38)),
    (("site", "stage"), False, "draft", Span(1, 40, 1, 45)),
    (("boards", "main"), True, "main", Span(3, 3, 3, 7)),
    (("boards", "main"), False, "", Span(3, 8, 3, 8)),
    (("boards", "hut"), False, "{}", Span(4, 8, 4, 10)),
    (("boards",), False, "main:\n  hut: {}", Span(3, 3, 4, 10)),
    (("positions", 1), False, "島", Span(5, 19, 5, 20)),
    (("positions", 2), True, "off", Span(5, 22, 5, 25)),
    (("list",), False, "- a: 1\n  b: 'it''s'\n-   - x", Span(7, 1, 9, 8)),
    (("list", 0), False, "a: 1\n  b: 'it''s'", Span(7, 3, 8, 13)),
    (("list", 0, "b"), False, "'it''s'", Span(8, 6, 8, 13)),
    (("list", 1, 0), False, "x", Span(9, 7, 9, 8)),
    (("empty",), False, "", Span(10, 7, 10, 7)),
    (("last",), False, "3", Span(14, 7, 14, 8)),
    (("set", "x"), False, "", Span(15, 8, 15, 8)),
    (("set", "z"), False, "", Span(15, 21, 15, 21)),
    ((), False, HUT.removesuffix("\n"), Span(1, 1, 15, 23)),
]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["", "byte order mark"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize(("route", "key", "text", "span"), PLACES, ids=str)
def test_places(mark: bytes, end: str, route: Route, key: bool, text: str, span: Span) -> None:
    found = read(mark + HUT.replace("\n", end).encode())
    assert span_at(found, route, key) == span
    assert piece(found.lines, span) == text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_lines_are_those_of_an_editor(end: str) -> None:
    found = read(b"\xef\xbb\xbf" + HUT.replace("\n", end).encode())
    assert found.lines == tuple(HUT.split("\n"))
    assert found.text == HUT
    mixed = read("a: 1\r\n\rb: 2\n\r\nc: 3\r")
    assert [span_at(mixed, (key,), True).line for key in "abc"] == [1, 3, 5]


@pytest.mark.parametrize(
    ("route", "key", "shown"),
    [
        (("site", "revision"), True, "site"),
        (("site", "revision"), False, "site"),
        (("boards", "main", "bars"), True, "main"),
        (("positions", 7), False, "positions"),
        (("positions", -1), False, "positions"),
        (("positions", "grid"), True, "positions"),
        (("list", 0, "c"), True, "a: 1\n  b: 'it''s'"),
        (("site", 0), True, "site"),
        (("last", "x", "y"), True, "last"),
    ],
)
def test_the_nearest_thing_that_exists_is_shown(route: Route, key: bool, shown: str) -> None:
    found = read(HUT)
    assert node_at(found, route) is None
    assert piece(found.lines, span_at(found, route, key)) == shown


def test_what_exists_nowhere_is_shown_at_the_root() -> None:
    found = read(HUT)
    assert span_at(found, ("bonds", "link")) == found.root.span


def test_nodes_are_found_by_route() -> None:
    found = read(HUT)
    node = node_at(found, ("list", 0, "b"))
    assert node is not None
    assert (node.kind, node.value, node.raw, node.quoted) == ("scalar", "it's", "'it''s'", True)
    note = node_at(found, ("note",))
    assert note is not None
    assert (note.value, note.quoted) == ("first line\nsecond line\n", True)
    empty = node_at(found, ("boards", "main"))
    assert empty is not None
    assert (empty.kind, empty.value, empty.raw, empty.quoted) == ("scalar", None, "", False)
    assert node_at(found, ()) == found.root


# A tree, written out by a writer that notes where it puts things.

Placed = dict[Route, tuple[Span, Span | None]]
_words = st.text(alphabet="abcxyz-小é🛖", min_size=1, max_size=6).filter(lambda word: word[0] not in "-")
_scalars = st.one_of(_words, st.integers(-(10**17), 10**17), st.booleans(), st.none())
_trees = st.dictionaries(
    _words,
    st.recursive(_scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_words, inner, max_size=3)),
    min_size=1,
    max_size=4,
)


class Writer:
    """Writes a tree as blocks down to a depth and in brackets below it."""

    def __init__(self, flow_from: int) -> None:
        self.flow_from = flow_from
        self.lines = [""]
        self.placed: Placed = {}

    def here(self) -> tuple[int, int]:
        return len(self.lines), len(self.lines[-1]) + 1

    def put(self, text: str) -> Span:
        start = self.here()
        self.lines[-1] += text
        return Span(*start, *self.here())

    def scalar(self, value: Any) -> Span:
        return self.put(json.dumps(value, ensure_ascii=False) if not isinstance(value, str) else f'"{value}"')

    def flow(self, value: Any, route: Route, key: Span | None) -> Span:
        start = self.here()
        if isinstance(value, dict):
            self.put("{")
            for position, (name, below) in enumerate(value.items()):
                self.put(", " if position else "")
                name_span = self.put(name)
                self.put(": ")
                self.flow(below, (*route, name), name_span)
            self.put("}")
        elif isinstance(value, list):
            self.put("[")
            for position, below in enumerate(value):
                self.put(", " if position else "")
                self.flow(below, (*route, position), None)
            self.put("]")
        else:
            self.scalar(value)
        span = Span(*start, *self.here())
        self.placed[route] = (span, key)
        return span

    def block(self, value: Any, route: Route, key: Span | None, depth: int) -> tuple[int, int]:
        """Returns where the value ends."""
        if not value or not isinstance(value, (dict, list)) or depth >= self.flow_from:
            self.put(" " if depth else "")
            return self.flow(value, route, key)[2:]
        start = end = (0, 0)
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for name, below in items:
            if self.lines[-1]:
                self.lines.append("")
            self.put("  " * depth)
            start = start if start != (0, 0) else self.here()
            name_span = self.put(str(name)) if isinstance(value, dict) else None
            self.put(":" if isinstance(value, dict) else "-")
            end = self.block(below, (*route, name), name_span, depth + 1)
        self.placed[route] = (Span(*start, *end), key)
        return end


@given(_trees, st.integers(0, 4), st.sampled_from(["\n", "\r\n", "\r"]), st.booleans())
def test_every_value_of_a_tree_is_found_in_its_place(tree: Any, flow_from: int, end: str, mark: bool) -> None:
    writer = Writer(flow_from)
    writer.block(tree, (), None, 0)
    found = read(("\ufeff" if mark else "") + end.join(writer.lines) + end)
    assert plain(found.root) == tree
    for route, (value, key) in writer.placed.items():
        assert span_at(found, route) == value
        assert span_at(found, route, key=True) == (key or value)


@pytest.mark.parametrize("path", SITES, ids=lambda path: str(path.stem))
def test_sites_are_read_as_another_loader_reads_them(path: Any) -> None:
    from ruamel.yaml import YAML

    def same(value: Any) -> Any:
        """The loader makes dates of what we leave as text."""
        if isinstance(value, dict):
            return {key: same(below) for key, below in value.items()}
        if isinstance(value, list):
            return [same(below) for below in value]
        return value.isoformat() if hasattr(value, "isoformat") else value

    assert plain(read(path.read_bytes()).root) == same(YAML(typ="safe", pure=True).load(path.read_text("utf-8")))


def test_there_are_sites_to_compare() -> None:
    assert SITES


# ----------------------------------------------------------------------------------------------------------- scalars


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("0", 0),
        ("-0", 0),
        ("7", 7),
        ("+25", 25),
        ("-12", -12),
        ("999999999999999999", 999999999999999999),
        ("2.5", 2.5),
        ("0.80", 0.8),
        ("-0.5", -0.5),
        ("2.5e1", 25.0),
        ("1e3", 1000.0),
        ("1E-3", 0.001),
        ("0.0", 0.0),
        ("0e-999", 0.0),
        ("2.2250738585072014e-308", 2.2250738585072014e-308),
        ("true", True),
        ("false", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("yes", "yes"),
        ("no", "no"),
        ("NO", "NO"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("n", "n"),
        ("True", "True"),
        ("NULL", "NULL"),
        ("2027-03-31", "2027-03-31"),
        ("2024-13-45", "2024-13-45"),
        ("1:30", "1:30"),
        ("12:30:45", "12:30:45"),
        ("12 m", "12 m"),
        ("1,5", "1,5"),
        ("3 x rated", "3 x rated"),
        ("230/400 V", "230/400 V"),
        ("-_", "-_"),
        ("._", "._"),
        ("1.2.3", "1.2.3"),
        ("e5", "e5"),
        ("NaN", "NaN"),
        ("Infinity", "Infinity"),
        ("=", "="),
        ("L1 L2 L3 N PE", "L1 L2 L3 N PE"),
        ("q-shore", "q-shore"),
        ("'7'", "7"),
        ('"no"', "no"),
        ('"007"', "007"),
        ("'~'", "~"),
        ('""', ""),
        ('"\\u00e9"', "é"),
        ('"a\tb"', "a\tb"),
    ],
)
def test_scalars(written: str, value: object) -> None:
    node = read(f"a: {written}\n").root.value
    assert isinstance(node, dict)
    assert (type(node["a"].value), node["a"].value) == (type(value), value)
    assert node["a"].raw == written
    assert node["a"].quoted == written.startswith(("'", '"'))


@pytest.mark.parametrize(
    ("written", "write"),
    [
        ("010", "10"),
        ("-007", "-7"),
        ("0x1F", "31"),
        ("0o10", "8"),
        ("0b11", "3"),
        ("1_000", "1000"),
        (".5", "0.5"),
        ("-.5", "-0.5"),
        ("5.", "5"),
        ("２５", "25"),
        ("٢٥", "25"),
        ("１.５", "1.5"),
        ("1e-400", "0"),
    ],
)
def test_what_looks_like_a_number_is_refused_with_the_number_to_write(written: str, write: str) -> None:
    (problem,) = parse(f"a: {written}\n".encode(), "site.yaml").problems
    assert "looks like a number" in problem.message
    assert f"write {write}" in problem.hint.replace(";", " ")
    assert problem.span == Span(1, 4, 1, 4 + len(written))


@pytest.mark.parametrize(
    "written",
    ["0x", "0x_", "0b_", ".inf", "-.inf", "+.INF", ".nan", ".NaN", "1e999", "-1e999", "5e-324", "9" * 19, "1__0"],
)
def test_what_looks_like_a_number_but_is_none_is_refused(written: str) -> None:
    assert "looks like a number" in refused(f"a: {written}\n")


@given(st.from_regex(r"[-+]?[0-9_xXoObBeE.]{1,12}", fullmatch=True))
def test_a_number_is_never_read_as_another_one(text: str) -> None:
    """What is accepted as a number is the same to Python; what is taken as text is no number to Python."""
    parsed = parse(f"a: {text}\n".encode(), "site.yaml")
    if parsed.problems:
        return
    assert parsed.document is not None
    value = node_at(parsed.document, ("a",))
    assert value is not None
    if isinstance(value.value, str):
        with pytest.raises(ValueError, match=r"invalid literal|could not convert"):
            float(text)
    else:
        assert value.value == float(text)


def test_floating_point_keeps_its_text() -> None:
    node = node_at(read("revision: 1.10\n"), ("revision",))
    assert node is not None
    assert (node.value, node.raw) == (1.1, "1.10")


# ------------------------------------------------------------------------------------------------------------ limits


def test_depth() -> None:
    def brackets(depth: int) -> str:
        return "a: " + "[" * (depth - 1) + "]" * (depth - 1) + "\n"

    def blocks(depth: int) -> str:
        return "".join(f"{' ' * level}a:\n" for level in range(depth))

    for form in (brackets, blocks):
        read(form(document.MAX_DEPTH))
        assert "nested" in refused(form(document.MAX_DEPTH + 1))


def test_depth_of_lists_that_are_not_indented() -> None:
    nested = "a:\n" + "".join(f"{'  ' * level}- a:\n" for level in range(document.MAX_DEPTH))
    assert "nested" in refused(nested)


def test_lines() -> None:
    filler = "#\n" * (document.MAX_LINES - 1)
    read(filler + "a: 1\n")
    read(filler + "a: 1")
    assert "20,000 lines" in refused(filler + "#\na: 1\n")


def test_characters_of_a_scalar() -> None:
    long = "小" * document.MAX_SCALAR
    for form in ("a: {}\n", "a: '{}'\n", "a:\n  - {}\n  - b\n"):
        read(form.format(long))
        assert "2,001 characters" in refused(form.format(long + "x"))
    key = "小" * 1023
    read(f"{key}: 1\nb: 1\n")
    assert "longer than a key" in refused(f"{key}小小: 1\n")
    assert "longer than a key" in refused(f"b: 1\n{key}小小: 1\n")


def test_size() -> None:
    read("a: 1\n" + "#" * (document.MAX_BYTES - 5))
    assert "1,048,576 bytes" in refused("a: 1\n" + "#" * (document.MAX_BYTES - 4))


def test_keys_and_values(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "MAX_NODES", 5)
    read("a: [1, 2]\n")  # the map, the key, the list and two numbers
    assert "more than 5 keys and values" in refused("a: [1, 2, 3]\n")


def test_problems_are_capped_and_the_others_counted() -> None:
    parsed = parse(b"a: [" + b"010," * 60 + b"1]\n", "site.yaml")
    assert (len(parsed.problems), parsed.left_out) == (50, 10)
    assert parsed.document is not None


def test_the_problem_that_stops_the_reading_is_told_also_past_the_cap() -> None:
    parsed = parse(b"a: [" + b"010," * 60 + b"1\n", "site.yaml")
    assert (len(parsed.problems), parsed.left_out) == (50, 11)
    assert parsed.document is None
    assert any("not closed" in problem.message for problem in parsed.problems)


def test_reading_stops_after_a_thousand_problems() -> None:
    parsed = parse(b"a: [" + b"010," * 5000 + b"1]\n", "site.yaml")
    assert parsed.document is None
    assert len(parsed.problems) + parsed.left_out < 1100
    assert "more than 1,000 problems" in parsed.problems[-1].message


# ------------------------------------------------------------------------------------------------------------- other


def test_all_problems_of_a_file_are_told_in_the_order_of_the_text() -> None:
    text = "a: 010\nb: {c: 1, c: 2}\n'': x\nd: .inf\na: 2\ne: &f 1\n"
    parsed = parse(text.encode(), "site.yaml")
    assert [problem.span.line for problem in parsed.problems] == [1, 2, 3, 4, 5, 6]
    assert parsed.document is not None
    assert plain(parsed.document.root) == {"a": "010", "b": {"c": 1}, "d": ".inf", "e": 1}


NO_COLON = "this line is not of the form `key: value`"
NO_SPACE = "a space is missing after the dash"
TOO_FAR = "this line is indented too far"


@pytest.mark.parametrize(
    ("text", "line", "column", "message", "hint"),
    [
        ("s:\n  grid:\n    kind utility\n    phases: L1\n", 3, 5, NO_COLON, "`kind: utility`"),
        ("s:\n  grid:\n    kind utility\n\n    phases: L1\n", 3, 5, NO_COLON, "`kind: utility`"),
        ("s:\n  grid:\n    kind utility  # public\n    phases: L1\n", 3, 5, NO_COLON, "`kind: utility`"),
        ("s:\n  grid:\n    kind utility\n    # public\n    phases: L1\n", 3, 5, NO_COLON, "`kind: utility`"),
        ("s:\n  grid:\n    kind utility\n    phases L1\n    a: b\n", 3, 5, NO_COLON, "`kind: utility`"),
        ("s:\n  grid:\n    phases: L1\n    kind utility\n    a: b\n", 4, 5, NO_COLON, "`kind: utility`"),
        ("kind utility\nphases: L1\n", 1, 1, NO_COLON, "`kind: utility`"),
        ("t:\n  - kind mcb\n    rating: 16 A\n", 2, 5, NO_COLON, "`kind: mcb`"),
        ("t:\n  - a: 1\n  - kind mcb\n    rating: 16 A\n", 3, 5, NO_COLON, "`kind: mcb`"),
        ("t:\n  word\n  a: 1\n", 2, 3, NO_COLON, "add the colon and a space after the key"),
        ("t:\n  kind = mcb\n  a: 1\n", 2, 3, "`=` stands where the colon after `kind` is due", "write `kind: mcb`"),
        ("t:\n  a: 1\n  kind=mcb\n", 3, 3, "`=` stands where the colon after `kind` is due", "write `kind: mcb`"),
        ("t:\n  -kind: mcb\n   rating: 16 A\n", 2, 3, NO_SPACE, "write `- kind: mcb`"),
        ("t:\n  -kind: mcb\n    rating: 16 A\n", 2, 3, NO_SPACE, "write `- kind: mcb`"),
        ("t:\n  - kind: mcb\n  -kind: rcd\n", 3, 3, NO_SPACE, "write `- kind: rcd`"),
        # where the line itself is to blame
        ("t:\n  name: Hut on\n    the rocks\n    kind: x\n", 4, 5, TOO_FAR, "same column"),
        ("t: [a,\n]\n  kind: x\n", 3, 3, "the indentation of this line fits no line above it", "same column"),
        ("t:\n  - a\n  - 5 m\n  b: 1\n", 4, 3, "a line without `- ` among list items", "begin it with `- `"),
        ("t:\n   b: 1\n  c: 1\n", 3, 3, "the indentation of this line fits no line above it", "same column"),
    ],
)
def test_the_line_to_blame(text: str, line: int, column: int, message: str, hint: str) -> None:
    for end in ("\n", "\r\n"):
        (problem,) = parse(text.replace("\n", end).encode(), "site.yaml").problems
        assert (*problem.span[:2], problem.message) == (line, column, message)
        assert hint in problem.hint


def test_the_hash_is_that_of_the_bytes() -> None:
    data = b"\xef\xbb\xbfa: 1\r\n"
    assert read(data).sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("data", "is_one"),
    [
        (b"onebond: 1\n", True),
        (b"onebond:\n", True),
        (b"onebond : 1\n", True),
        (b"# ours\n\nonebond: 1\n", True),
        (b"site: {}\r\nonebond: 1\r\n", True),
        (b"site: {}\ronebond: 1\r", True),
        (b"\xef\xbb\xbfonebond: 1\n", True),
        (b"---\nonebond: 1\n", True),
        (b'"onebond": 1\n', True),
        (b'{"onebond": 1, "site": {}}', True),
        (b"{ onebond: 1}", True),
        ("onebond: 1\n".encode("utf-16"), True),
        ("onebond: 1\n".encode("utf-16-be"), True),
        (b"#" * 4000 + b"\nonebond: 1\n", True),
        (b"#" * 4096 + b"\nonebond: 1\n", False),
        (b"", False),
        (b"onebond", False),
        (b"onebond-readings: 1\n", False),
        (b"onebnd: 1\nsources: {}\nconnections: {}\n", True),
        (b"site: x\nsources: {}\n", False),
        (b"a:\n  sources: 1\n  connections: 2\n", False),
        (b"# onebond: 1\n", False),
        (b"tool:\n  onebond: 1\n", False),
        (b"not-onebond: 1\n", False),
        (b"name: onebond: 1\n", False),
        (b"'onebond\": 1\n", False),
    ],
)
def test_descriptions_are_told_from_other_files(data: bytes, is_one: bool) -> None:
    assert quick_format(data) is is_one
