"""Guards: what strangers may send. Each bad input has one place and a message that a person can act on."""

from __future__ import annotations

import errno
import os
import random
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onebond.document import MAX_BYTES, Parsed, load_file, parse

HANGS_S = 60.0  # what takes longer hangs; a guard, and no measure of speed

# Text, line, column of the first problem, a word of its message, a word of its hint.
BAD: list[tuple[str | bytes, int, int, str, str]] = [
    # nothing, or no map
    ("", 1, 1, "nothing is written", "onebond: 1"),
    ("# only this\n", 1, 1, "nothing is written", "onebond: 1"),
    ("---\n", 1, 1, "nothing is written", "onebond: 1"),
    ("hello\n", 1, 1, "only the text `hello`", "onebond: 1"),
    ("\n- a: 1\n", 2, 1, "is a list", "onebond: 1"),
    ("[a]\n", 1, 1, "is a list", "onebond: 1"),
    # keys
    ("a: 1\nb: 2\na: 3\n", 3, 1, "twice, first on line 1", "keep one"),
    ("x: {a: 1, a: 2}\n", 1, 11, "twice, both times on this line", "keep one"),
    ('x:\n  a: 1\n  "\\x61": 2\n', 3, 3, "twice, first on line 2", "keep one"),
    ("é: 1\ne\u0301: 2\n", 2, 1, "twice, first on line 1", "keep one"),
    ("1: a\n", 1, 1, "`1` is not a word", "quotes"),
    ("x: {true: 1}\n", 1, 5, "`true` is not a word", "quotes"),
    ("x: {~: 1}\n", 1, 5, "`~` is not a word", "quotes"),
    ("x: {010: 1}\n", 1, 5, "`010` is not a word", "quotes"),
    ("'': 1\n", 1, 1, "key before the colon is missing", "key: value"),
    (": 1\n", 1, 1, "key before the colon is missing", "key: value"),
    ("x: {[a]: 1}\n", 1, 5, "must be a word", "key: value"),
    ("? a\n: 1\n", 1, 1, "several parts", "key: value"),
    ("? [a, b]\n: 1\n", 1, 1, "several parts", "key: value"),
    ("main\u200b: 1\n", 1, 1, "cannot be seen (U+200B)", "type the key again"),
    ("ma\u00adin: 1\n", 1, 1, "cannot be seen (U+00AD)", "type the key again"),
    ("\u3164: 1\n", 1, 1, "cannot be seen (U+3164)", "type the key again"),
    ("x:\n\u00a0y: 1\n", 2, 1, "cannot be seen (U+00A0)", "type the key again"),
    ('"a\\nb": 1\n', 1, 1, "escape", "block"),
    ("k" * 1100 + ": 1\n", 1, 1, "longer than a key may be", "shorten"),
    # features that are not accepted
    ("a: !foo bar\n", 1, 4, "`!foo` is read as a tag", "quotes"),
    ("a: !!python/object/apply:os.system ['true']\n", 1, 4, "tag", "remove it"),
    ("a: &x 1\n", 1, 4, "`&x` is read as an anchor", "write the value out"),
    ("a: [1, *x]\n", 1, 8, "`*x` is read as an alias", "write the value out"),
    ("a: {<<: {b: 1}}\n", 1, 5, "merge key", "write the entries out"),
    ("%YAML 1.1\n---\na: 1\n", 1, 1, "`%YAML` is read as a directive", "remove the line"),
    ("a: 1\n---\nb: 1\n", 2, 1, "second document", "one document"),
    ("a: 1\n...\nb: 1\n", 3, 1, "second document", "one document"),
    # tabs and other characters
    ("a:\n\tb: 1\n", 2, 1, "indented with a tab", "spaces"),
    ("a:\t1\n", 1, 3, "a tab stands here", "spaces"),
    ("a: \x00\n", 1, 4, "control character (U+0000)", "delete"),
    ("\ufeffa: b\x1b[31m\n", 1, 5, "control character (U+001B)", "delete"),
    ("a: b\x7f\n", 1, 5, "control character (U+007F)", "delete"),
    ("# 小屋 \x9b\na: 1\n", 1, 6, "control character (U+009B)", "delete"),
    ("# a\u2028b: 1\n", 1, 4, "line end that editors do not count", "ordinary line end"),
    ("a: 1\r\nb: \u0085\r\n", 2, 4, "line end that editors do not count", "ordinary line end"),
    ("a: 1\rb: \u2029\r", 2, 4, "line end that editors do not count", "ordinary line end"),
    ("a: 1\n\ufeffb: 1\n", 2, 1, "invisible sign (U+FEFF)", "type it again"),
    ("a: \u202eb\n", 1, 4, "direction of the text (U+202E)", "type it again"),
    ("a: 1 # \u2066\n", 1, 8, "direction of the text (U+2066)", "type it again"),
    ("a: x\U000e0041\n", 1, 5, "invisible sign (U+E0041)", "type it again"),
    (b"a: caf\xe9\n", 1, 7, "byte 0xE9", "UTF-8"),
    (b"\xef\xbb\xbfa: 1\r\nb: \xc0\xaf\r\n", 2, 4, "byte 0xC0", "UTF-8"),
    (b"a: \xed\xa0\x80\n", 1, 4, "byte 0xED", "UTF-8"),
    ("a: 1\n".encode("utf-16"), 1, 1, "looks like UTF-16", "UTF-8"),
    ("a: 1\nb: 2\n".encode("utf-16-le"), 1, 1, "looks like UTF-16", "UTF-8"),
    # escapes
    ('a: "\\e[2J"\n', 1, 4, "escape (`\\`) in this text stands for a control character (U+001B)", "delete"),
    ('a: "x\\n"\n', 1, 4, "stands for a control character (U+000A)", "block"),
    ('a: "\\u202e"\n', 1, 4, "direction of the text (U+202E)", "type it again"),
    ('a: "\\uD800"\n', 1, 4, "half a character", "write the character"),
    ('a: "\\UFFFFFFFF"\n', 1, 7, "stands for no character", "write the character"),
    ('a: "\\q"\n', 1, 6, "unknown escape", "single quotes"),
    # numbers
    ("a: 010\n", 1, 4, "`010` looks like a number", "write 10"),
    ("a: [1, 1e999]\n", 1, 8, "too large", "quote it"),
    ("a: .nan\n", 1, 4, "infinite or none at all", "quote it"),
    ("小: ２５\n", 1, 4, "not with the digits 0 to 9", "write 25"),
    # what does not fit together
    ('a: 1\nb: "c\nd: 1\n', 2, 4, "quote is not closed", "closing quote"),
    ('a: "b\nc: "d"\n', 1, 4, "closed only on line 2, column 4", "where its text ends"),
    ("a: 'it's'\n", 1, 8, "value ended before this", "quotes"),
    ('a: "x" y\n', 1, 8, "value ended before this", "quotes"),
    ("a: [1, 2\nb: 3\n", 1, 4, "bracket [ is not closed", "add ]"),
    ("a:\n  - {b: 1\n", 2, 5, "bracket { is not closed", "add }"),
    ("a: {b: [\n", 1, 8, "bracket [ is not closed", "add ]"),
    ("a: {b: 1]\n", 1, 9, "a comma or } is due", "commas"),
    ("a: {b: c: d}\n", 1, 9, "a comma or } is due", "quote a text"),
    ("a: {b: 1}}\n", 1, 10, "value ended before this", "bracket further up"),
    ("a: [b, , c]\n", 1, 8, "value is missing", "write the value"),
    ("a: ]\n", 1, 4, "value is missing", "write the value"),
    ("a: b: c\n", 1, 5, "second `: `", "quotes"),
    ("a: 1\n  b: 2\n", 2, 3, "indented too far", "same column"),
    ("a:\n   b: 1\n  c: 1\n", 3, 3, "fits no line above", "same column"),
    ("  a: 1\nb: 2\n", 2, 1, "does not belong", "same column"),
    ("a: 1\nword\nb: 1\n", 2, 1, "not of the form `key: value`", "colon"),
    ("a: 1\nname:hut\nb: 1\n", 2, 5, "space is missing after the colon", "key: value"),
    ("name:hut\nb: 1\n", 1, 5, "space is missing after the colon", "key: value"),
    ("a: {b:1, c: 2}\n", 1, 5, "key without a value", "space after the colon"),
    ("a:\n  b: 1\n  - c\n", 3, 3, "list item", "indent the list"),
    ("a:\n  - b\n  c: 1\n", 3, 3, "line without `- `", "begin it with"),
    ("a: - b\n", 1, 4, "list item", "line of its own"),
    ("a: @b\n", 1, 4, "cannot begin with @", "quotes"),
    ("a: `b`\n", 1, 4, "cannot begin with `", "quotes"),
    ("a: [| b]\n", 1, 5, "cannot begin with |", "quotes"),
    ("a: |x\n  b\n", 1, 5, "after `|` or `>`", "next line"),
    ("a: 1\n<<<<<<< HEAD\nb: 1\n=======\nb: 2\n>>>>>>> other\n", 2, 1, "unfinished merge", "which of the two"),
    ("x: " + "[" * 40 + "]" * 40 + "\n", 1, 35, "nested more than 32 deep", "six levels"),
]

# Nothing of the parser's own wording, and no name of a class.
FOREIGN = (
    "ruamel",
    "yaml.",
    "Error",
    "Exception",
    "Traceback",
    "expected",
    "while ",
    "token",
    "<block",
    "<stream",
    "<document",
    "None",
    "mapping",
)


def safe(parsed: Parsed) -> None:
    """What holds for every input: a verdict, places inside the text, and nothing that a terminal would obey."""
    assert (parsed.document is None) <= bool(parsed.problems)
    assert parsed.problems == sorted(parsed.problems, key=lambda problem: problem.span[:2])
    for problem in parsed.problems:
        line, column, end_line, end_column = problem.span[:4]
        assert 1 <= line <= end_line
        assert (line, column) <= (end_line, end_column)
        if parsed.lines:
            assert end_line <= len(parsed.lines)
            assert 1 <= column <= len(parsed.lines[line - 1]) + 1
            assert 1 <= end_column <= len(parsed.lines[end_line - 1]) + 2
        for text in (problem.message, problem.hint):
            assert text.isprintable()
            assert len(text) < 300
    shown = "".join(parsed.lines)
    assert all(sign == "\t" or sign >= " " for sign in shown)
    assert not set(shown) & set("\x7f\x85\x9b\u2028\u2029\u202e\u2066\ufeff")


@pytest.mark.parametrize(("text", "line", "column", "word", "hint"), BAD)
def test_bad_input(text: str | bytes, line: int, column: int, word: str, hint: str) -> None:
    parsed = parse(text if isinstance(text, bytes) else text.encode(), "site.yaml")
    safe(parsed)
    first = parsed.problems[0]
    assert word in first.message
    assert hint in first.hint
    assert first.span[:2] == (line, column)


@pytest.mark.parametrize(("text", "line", "column", "word", "hint"), [row for row in BAD if isinstance(row[0], str)])
def test_bad_input_with_other_line_ends(text: str, line: int, column: int, word: str, hint: str) -> None:
    """The place does not depend on the line ends or on a byte order mark."""
    if "\r" in text or text.startswith("\ufeff"):
        text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for end in ("\r\n", "\r"):
        parsed = parse(("\ufeff" + text.replace("\n", end)).encode(), "site.yaml")
        assert parsed.problems[0].span[:2] == (line, column)


def test_messages_are_in_our_words() -> None:
    for text, *_, word, _hint in BAD:
        parsed = parse(text if isinstance(text, bytes) else text.encode(), "site.yaml")
        for problem in parsed.problems:
            said = f"{problem.message} {problem.hint}"
            assert not [foreign for foreign in FOREIGN if foreign in said], said
        assert word


def test_one_mistake_is_one_problem() -> None:
    """Apart from inputs that are wrong in two ways."""
    twice = [
        row[0] for row in BAD if len(parse(row[0] if isinstance(row[0], bytes) else row[0].encode(), "x").problems) > 1
    ]
    assert twice == ["? [a, b]\n: 1\n"]


@given(st.binary(max_size=400))
def test_random_bytes_never_raise(data: bytes) -> None:
    safe(parse(data, "site.yaml"))


@settings(max_examples=400)
@given(st.text(alphabet="[]{},:-?&*!|>'\"%@#`\\\n\t abx01.~<=_é\u0301\ufeff", max_size=60))
def test_random_signs_never_raise(text: str) -> None:
    safe(parse(text.encode(), "site.yaml"))


@settings(max_examples=200)
@given(st.integers(0, len(BAD) - 1), st.integers(0, len(BAD) - 1), st.integers(0, 60), st.integers(0, 60))
def test_crossed_bad_inputs_never_raise(one: int, other: int, cut: int, skip: int) -> None:
    halves = [row[0] if isinstance(row[0], bytes) else row[0].encode() for row in (BAD[one], BAD[other])]
    safe(parse(halves[0][:cut] + halves[1][skip:], "site.yaml"))


@pytest.mark.parametrize("text", [row[0] for row in BAD if isinstance(row[0], str)])
def test_truncated_bad_inputs_never_raise(text: str) -> None:
    data = text.encode()
    for end in range(min(len(data), 200)):
        safe(parse(data[:end], "site.yaml"))


def test_a_crash_of_the_parser_is_a_problem_of_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever class it raises; the message does not name it."""
    from ruamel.yaml.scanner import Scanner

    for error in (
        ValueError,
        IndexError,
        AssertionError,
        KeyError,
        OverflowError,
        RecursionError,
        AttributeError,
        TypeError,
    ):

        def crash(self: object, error: type[Exception] = error) -> None:
            raise error("inner words")

        monkeypatch.setattr(Scanner, "fetch_plain", crash)
        (problem,) = parse(b"\n  a: 1\n", "site.yaml").problems
        assert problem.span[:2] == (2, 3)
        assert error.__name__ not in problem.message
        assert "inner words" not in problem.message + problem.hint


# --------------------------------------------------------------------------------------------------- size and depth


def bomb(width: int, levels: int) -> str:
    lines = ["x0: &x0 [" + ", ".join(["lol"] * width) + "]"]
    lines += [f"x{n}: &x{n} [" + ", ".join([f"*x{n - 1}"] * width) + "]" for n in range(1, levels)]
    return "\n".join(lines) + "\n"


BIG: dict[str, str] = {
    "brackets": "x: " + "[" * 100_000 + "]" * 100_000,
    "open brackets": "x: " + "[" * 1_000_000,
    "braces": "x: " + "{a: " * 100_000,
    "dashes": "x:\n  " + "- " * 100_000 + "y",
    "question marks": "? " * 100_000 + "x",
    "indents": "".join(" " * level + "a:\n" for level in range(1400)),
    "alias bomb": bomb(9, 9),
    "wide alias bomb": bomb(20, 20),
    "long quote": 'x: "' + "a" * 1_000_000 + '"',
    "open quote": "x: '" + "'" * 1_000_000,
    "long word": "x: " + "a" * 1_000_000,
    "long key": "a" * 1_000_000 + ": 1",
    "long comment": "x: 1 # " + "a" * 1_000_000,
    "spaces": "x:" + " " * 1_000_000 + "1",
    "blank lines": "\n" * 1_000_000 + "x: 1",
    "documents": "--- 1\n" * 19_000,
    "directives": "%A\n" * 19_000,
    "anchors": "x: [" + "&a 1, " * 100_000 + "]",
    "tags": "x: [" + "!a 1, " * 100_000 + "]",
    "duplicates": "x: {" + "a: 1, " * 100_000 + "}",
    "control characters": "\x01" * 1_000_000,
    "conflict markers": "<<<<<<<\n" * 19_000,
    "nearly numbers": "x: [" + ("1_" * 990 + "x, ") * 500 + "1]",
    "combining marks": "x: [" + ("1" + "\u0301\u0323" * 400 + ", ") * 500 + "1]",
}


@pytest.mark.parametrize("name", BIG)
def test_big_inputs_take_bounded_time(name: str) -> None:
    data = BIG[name].encode()
    assert len(data) <= MAX_BYTES
    start = time.process_time()
    safe(parse(data, "site.yaml"))
    assert time.process_time() - start < HANGS_S


@pytest.mark.parametrize("unit", ["1,", "[],", "{a: b},", '"a": "b",'])
def test_as_many_values_as_fit_take_bounded_time(unit: str) -> None:
    data = ("x: [" + unit * ((MAX_BYTES - 8) // len(unit)) + "1]\n").encode()
    start = time.process_time()
    parsed = parse(data, "site.yaml")
    assert time.process_time() - start < HANGS_S
    assert "100,000 keys and values" in parsed.problems[-1].message


def test_noise_takes_bounded_time() -> None:
    noise = random.Random(7)
    for _ in range(3):
        lines = ("".join(noise.choices("[]{},:-?&*!|>'\"%@# ab1.", k=50)) for _ in range(19_000))
        start = time.process_time()
        safe(parse("\n".join(lines).encode(), "site.yaml"))
        assert time.process_time() - start < HANGS_S


WATCH = """
import sys
from onebond.document import parse
parse("é: 1".encode(), "x")  # what is imported, is imported now
seen = []
sys.addaudithook(lambda event, arguments: seen.append(event))
for text in sys.argv[1:]:
    parse(text.encode(), "x")
watched = ("open", "import", "exec", "compile", "os.", "subprocess.", "socket.", "urllib.", "ctypes.", "shutil.")
print([event for event in seen if event.startswith(watched)])
"""


def test_input_neither_runs_nor_reads_anything() -> None:
    texts = [row[0] for row in BAD if isinstance(row[0], str) and "\x00" not in row[0]]
    texts += [
        f"a: {tag}\n" for tag in ("!!python/name:os.system", "!include /etc/hostname", "!env HOME", "!!binary aGk=")
    ]
    done = subprocess.run([sys.executable, "-c", WATCH, *texts], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


# ---------------------------------------------------------------------------------------------------- special files


def not_read(path: Path | str | bytes) -> str:
    data, problems = load_file(os.fsdecode(path))
    assert data is None
    (problem,) = problems
    assert problem.message.isprintable()
    return problem.message


def test_an_ordinary_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "--site.yaml"
    path.write_bytes(b"\xff\x00")
    assert load_file(str(path)) == (b"\xff\x00", [])
    path.write_bytes(b"")
    assert load_file(str(path)) == (b"", [])


def test_links_are_not_followed(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("token: abc")
    for target in (secret, tmp_path / "missing", Path("/etc/passwd"), Path("/dev/zero"), tmp_path):
        link = tmp_path / "link.yaml"
        link.symlink_to(target)
        message = not_read(link)
        assert "symbolic link" in message
        assert str(target) not in message
        link.unlink()
    (tmp_path / "a.yaml").symlink_to("b.yaml")
    (tmp_path / "b.yaml").symlink_to("a.yaml")
    assert "symbolic link" in not_read(tmp_path / "a.yaml")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    start = time.monotonic()
    assert "named pipe" in not_read(tmp_path / "pipe.yaml")
    assert time.monotonic() - start < HANGS_S


def test_folders_sockets_and_devices_are_not_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "folder" in not_read(tmp_path)
    assert "device" in not_read("/dev/null")
    monkeypatch.chdir(tmp_path)  # the path of a socket may be short only
    with socket.socket(socket.AF_UNIX) as end:
        end.bind("s.yaml")
        assert "socket" in not_read("s.yaml")


def test_files_that_are_not_there(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert "no such file" in not_read(tmp_path / "none.yaml")
    assert "not a folder" in not_read(tmp_path / "file" / "none.yaml")
    assert "too long" in not_read(tmp_path / ("n" * 300))
    assert "no file can have this name" in not_read("a\0b")
    assert "no file can have this name" in not_read_text("\ud800")


def not_read_text(path: str) -> str:
    data, (problem,) = load_file(path)
    assert data is None
    return problem.message


def failing(error: OSError) -> Callable[..., int]:
    def fail(*_: object, **__: object) -> int:
        raise error

    return fail


@pytest.mark.parametrize(
    ("number", "word"),
    [
        (errno.EACCES, "may not be read"),
        (errno.EPERM, "may not be read"),
        (errno.EISDIR, "folder"),
        (errno.EMFILE, "cannot be opened"),
    ],
)
def test_files_that_cannot_be_opened(number: int, word: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Told by the number of the error, because whoever runs the tests may be allowed to read everything."""
    monkeypatch.setattr(os, "open", failing(OSError(number, os.strerror(number))))
    assert word in not_read(tmp_path / "site.yaml")


def test_files_that_break_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "site.yaml").write_text("a: 1")
    monkeypatch.setattr(os, "read", failing(OSError(errno.EIO, "Input/output error")))
    assert "cannot be read" in not_read(tmp_path / "site.yaml")


def test_big_files_are_refused_before_they_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "site.yaml"
    path.write_bytes(b"#" * MAX_BYTES)
    data, problems = load_file(str(path))
    assert data is not None
    assert (len(data), problems) == (MAX_BYTES, [])
    with path.open("ab") as file:
        file.truncate(1 << 40)
    monkeypatch.setattr(os, "read", failing(OSError(errno.EIO, "read after all")))
    assert "larger than 1,048,576 bytes" in not_read(path)


def test_files_that_grow_are_not_read_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The size that the system tells may be wrong, as it is for the files of /proc."""
    path = tmp_path / "site.yaml"
    path.write_text("")
    taken = []

    def endless(_handle: int, wanted: int) -> bytes:
        taken.append(min(wanted, 65536))
        return b"#" * taken[-1]

    monkeypatch.setattr(os, "read", endless)
    assert "larger than 1,048,576 bytes" in not_read(path)
    assert sum(taken) == MAX_BYTES + 1


def test_no_file_stays_open(tmp_path: Path) -> None:
    path = tmp_path / "site.yaml"
    path.write_text("a: 1")
    before = len(os.listdir("/dev/fd"))
    for _ in range(20):
        load_file(str(path))
        load_file(str(tmp_path))
    assert len(os.listdir("/dev/fd")) == before
