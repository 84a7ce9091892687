"""A site in several files: read as one, from below its own folder only, and every place names its file."""

from __future__ import annotations

import hashlib
import json
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import unquote
from xml.etree import ElementTree

import pytest

import onebond
from conftest import HUT, ROOT, Run
from onebond import document, reading, survey
from onebond.assembly import MAX_TOTAL
from onebond.document import quick_format, quick_part
from onebond.loading import load_rules
from onebond.model import Installation
from onebond.reporting import sarif, words
from onebond.result import Problem, Report, Result, Site
from onebond.span import Span
from onebond.survey.find import find
from test_schema import data_of, mutants, plain

SITES = [path for path in sorted((ROOT / "fixtures" / "sites").glob("*.yaml")) if "--" not in path.stem]
ESTATE = ROOT / "fixtures" / "estate"

MAIN = """\
onebond: 1
site: {name: Tarn huts, rulebook: iec, stage: draft}
parts: [boards/shed.yaml]
sources:
  inverter: {kind: inverter, phases: L1, voltage: 230 V}
boards:
  hut: {}
connections:
  feed: {from: inverter, to: hut, cores: L1 N PE}
bonds:
  hut-link: {at: hut}
electrodes:
  rod: {at: hut}
"""
SHED = """\
onebond-part: 1
boards:
  shed: {}
connections:
  to-shed: {from: hut, to: shed, cores: L1 N PE}
circuits:
  lamps: {from: shed, cores: L1 N PE}
"""


def write(top: Path, files: dict[str, str | bytes]) -> str:
    """Write files below a folder; returns the path of the first of them."""
    for name, content in files.items():
        (top / name).parent.mkdir(parents=True, exist_ok=True)
        (top / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return str(top / next(iter(files)))


def load(path: str) -> tuple[Installation | None, list[Problem]]:
    _, installation, problems, _ = reading.load(path)
    return installation, problems


def inspected(path: str) -> Site:
    return survey.inspect_file(path, load_rules(), today="2026-11-25", islands=True)


def told(top: Path, files: dict[str, str | bytes]) -> list[tuple[str, int, int, str, str]]:
    """The problems of a site: file (from the folder of the site), line, column, message, hint."""
    path = write(top, files)
    installation, problems = load(path)
    assert installation is None and problems
    return [
        (os.path.relpath(p.span.file or path, top), p.span.line, p.span.column, p.message, p.hint) for p in problems
    ]


# ---------------------------------------------------------------- the same as in one file


def split(site: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """A site in three files: the first entries of each section in its own, the next in one part, the rest in another."""
    own: dict[str, Any] = {"onebond": 1, "site": site["site"], "parts": ["a.yaml", "deep/er/b.yml"]}
    parts: tuple[dict[str, Any], ...] = ({"onebond-part": 1}, {"onebond-part": 1})
    for key, section in site.items():
        if key in own:
            continue
        if not isinstance(section, (dict, list)):
            parts[0][key] = section
            continue
        entries = list(section.items()) if isinstance(section, dict) else section
        third = max(1, len(entries) // 3)
        for holder, piece in zip(
            (own, *parts), (entries[:third], entries[third : 2 * third], entries[2 * third :]), strict=True
        ):
            if piece:
                holder[key] = dict(piece) if isinstance(section, dict) else piece
    return own, parts[0], parts[1]


@pytest.mark.parametrize("path", SITES, ids=lambda path: path.stem)
def test_a_site_in_three_files_is_the_same_site(path: Path, tmp_path: Path) -> None:
    whole, problems = load(str(path))
    assert whole is not None, problems
    parsed = document.parse(path.read_bytes(), str(path))
    assert parsed.document is not None
    own, a, b = split(plain(parsed.document.root))
    assert len(a) + len(b) >= 3
    top = write(tmp_path, {"site.yaml": json.dumps(own), "a.yaml": json.dumps(a), "deep/er/b.yml": json.dumps(b)})
    apart, problems = load(top)
    assert apart is not None, problems
    assert apart == whole


def test_the_findings_are_those_of_one_file(tmp_path: Path) -> None:
    """Also those about a place in one part and a place in another one."""
    path = ROOT / "fixtures" / "sites" / "skarv--set-bonded-at-frame.yaml"
    parsed = document.parse(path.read_bytes(), str(path))
    assert parsed.document is not None
    own, a, b = split(plain(parsed.document.root))
    top = write(tmp_path, {"site.yaml": json.dumps(own), "a.yaml": json.dumps(a), "deep/er/b.yml": json.dumps(b)})
    one, three = inspected(str(path)), inspected(top)
    assert len(three.parts) == 2
    verdicts = [
        sorted(
            (r.rule, r.subject, r.kind, r.level, r.message, r.conditions, r.figures, r.lacking) for r in site.results
        )
        for site in (one, three)
    ]
    assert verdicts[0] == verdicts[1]
    assert {r.span.file for r in three.results} == {"", f"{tmp_path}/a.yaml", f"{tmp_path}/deep/er/b.yml"}


def test_types_of_one_part_serve_all_files(tmp_path: Path) -> None:
    types = "onebond-part: 1\ntypes:\n  devices: {b16: {kind: mcb, rating: 16 A}}\n"
    use = SHED.replace("cores: L1 N PE}\ncircuits", "cores: L1 N PE, through: [{like: b16}]}\ncircuits")
    path = write(
        tmp_path, {"site.yaml": MAIN.replace("[boards/shed.yaml]", "[s.yaml, types.yaml]"), "s.yaml": use, "types.yaml": types}
    )  # fmt: skip
    doc, site, problems, _ = reading.load(path)
    assert doc is not None and site is not None, problems
    assert site.connections[1].devices[0].rating_a == 16
    span = document.span_at(doc, ("connections", "to-shed", "through", 0, "rating"))
    assert (span.file, span.line) == (f"{tmp_path}/types.yaml", 3)


# ---------------------------------------------------------------- what is refused, and where


@pytest.mark.parametrize(
    "name",
    [
        "/etc/hostname.yaml", "../a.yaml", "a/../b.yaml", "a/../../b.yaml", "./a.yaml", "a//b.yaml", "a/./b.yaml",
        "C:/a.yaml", "c:a.yaml", "a\\b.yaml", "\\\\host\\a.yaml", ".hidden.yaml", ".git/a.yaml", "a/.b/c.yaml", "a", "a/",
        "a.txt", ".yaml", "~/../a.yaml", "a.yaml/", "file:///a.yaml", "http://host.invalid/a.yaml", "", "x" * 200 + ".yaml",
        "a/b/c/d/e/f/g/h/i.yaml", "..", "/",
    ],
)  # fmt: skip
def test_paths_that_are_no_paths_of_parts(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Decided by the text alone: nothing is opened."""
    path = write(tmp_path, {"site.yaml": MAIN.replace("[boards/shed.yaml]", json.dumps([name]))})
    monkeypatch.setattr(document, "load_below", lambda *_: pytest.fail("opened"))
    _, problems = load(path)
    assert len(problems) == 1
    assert problems[0].span[:2] == (3, 9)


Make = Callable[[Path], object]


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda at: None, "there is no such file"),
        (lambda at: at.mkdir(), "this is a folder"),
        (lambda at: os.mkfifo(at), "this is a named pipe"),
        (lambda at: at.symlink_to("/etc/passwd"), "this is a symbolic link"),
        (lambda at: at.symlink_to(at.parent.parent / "other.yaml"), "this is a symbolic link"),
        (lambda at: at.symlink_to("/dev/zero"), "this is a symbolic link"),
        (lambda at: at.symlink_to(at), "this is a symbolic link"),
        (lambda at: at.write_bytes(b"#" * (document.MAX_BYTES + 1)), "larger than 1,048,576 bytes"),
    ],
    ids=["missing", "folder", "pipe", "link out", "link inside", "link to a device", "link to itself", "huge"],
)
def test_what_is_no_regular_file_is_told_where_it_is_listed(make: Make, word: str, tmp_path: Path) -> None:
    write(tmp_path, {"other.yaml": SHED})
    (tmp_path / "boards").mkdir()
    make(tmp_path / "boards" / "shed.yaml")
    start = time.monotonic()
    (problem,) = told(tmp_path, {"site.yaml": MAIN})
    assert problem[:3] == ("site.yaml", 3, 9)
    assert problem[3].startswith("the part `boards/shed.yaml` cannot be read: ") and word in problem[3]
    assert "passwd" not in problem[3] + problem[4] and "other" not in problem[3] + problem[4]
    assert time.monotonic() - start < 60


def test_no_link_on_the_way(tmp_path: Path) -> None:
    write(tmp_path, {"elsewhere/shed.yaml": SHED, "site/site.yaml": MAIN, "site/inner/shed.yaml": SHED})
    for target in (tmp_path / "elsewhere", tmp_path / "site" / "inner", Path("inner")):
        (tmp_path / "site" / "boards").symlink_to(target)
        (problem,) = told(tmp_path / "site", {"site.yaml": MAIN})
        assert "symbolic link" in problem[3]
        (tmp_path / "site" / "boards").unlink()
    (tmp_path / "site" / "boards").write_text("a file")
    (problem,) = told(tmp_path / "site", {"site.yaml": MAIN})
    assert "a part of the path is not a folder" in problem[3]


def test_a_folder_that_becomes_a_link_while_it_is_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, {"site.yaml": MAIN, "elsewhere/shed.yaml": SHED})
    (tmp_path / "boards").symlink_to("elsewhere")
    as_it_was = os.lstat(tmp_path / "elsewhere")
    monkeypatch.setattr(os, "stat", lambda *_, **__: as_it_was)
    problem = load(path)[1][0]
    assert "cannot be read: there is no such file" in problem.message


def test_no_link_on_the_way_where_folders_have_no_handles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "_BY_HANDLE", False)
    path = write(tmp_path, {"site.yaml": MAIN, "boards/shed.yaml": SHED})
    assert load(path)[0] is not None
    (tmp_path / "boards").rename(tmp_path / "b")
    (tmp_path / "boards").symlink_to("b")
    assert "symbolic link" in load(path)[1][0].message


def test_a_socket_is_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "boards").mkdir()
    monkeypatch.chdir(tmp_path)  # the path of a socket may be short only
    with socket.socket(socket.AF_UNIX) as end:
        end.bind("boards/shed.yaml")
        assert "socket" in told(tmp_path, {"site.yaml": MAIN})[0][3]


def test_the_folder_of_the_site_may_be_reached_by_a_link(tmp_path: Path) -> None:
    """That is how its user names it; what the description says stays below it."""
    write(tmp_path, {"site/site.yaml": MAIN, "site/boards/shed.yaml": SHED})
    (tmp_path / "link").symlink_to("site")
    assert load(str(tmp_path / "link" / "site.yaml"))[0] is not None


@pytest.mark.parametrize(
    ("main", "shed", "file", "line", "column", "message"),
    [
        # the file of the site
        (("boards/shed.yaml", "site.yaml"), None, "site.yaml", 3, 9, "`site.yaml` is the file of the site itself"),
        (("[boards/shed.yaml]", "boards/shed.yaml"), None, "site.yaml", 3, 1, "`parts` must be a list"),
        (("[boards/shed.yaml]", "[boards/shed.yaml, boards/shed.yaml]"), None, "site.yaml", 3, 27, "stands twice"),
        (("[boards/shed.yaml]", "[7]"), None, "site.yaml", 3, 9, "is a number"),
        (("[boards/shed.yaml]", "[]"), None, "site.yaml", 3, 8, "`parts` is empty"),
        (("[boards/shed.yaml]", "{a: 1}"), None, "site.yaml", 3, 1, "`parts` must be a list"),
        (("onebond: 1", "onebond: 2"), None, "site.yaml", 1, 10, "format version 2 is not known"),
        # a part by itself
        (None, ("onebond-part: 1\n", ""), "boards/shed.yaml", 1, 1, "`onebond-part` is missing in this part"),
        (None, ("onebond-part: 1", "onebond-part: 2"), "boards/shed.yaml", 1, 15, "format version 2 of a part"),
        (None, ("onebond-part: 1", "onebond-part: yes"), "boards/shed.yaml", 1, 15, "format version yes of a part"),
        (None, ("onebond-part: 1", "onebond-part:"), "boards/shed.yaml", 1, 14, "format version nothing of a part"),
        (None, ("onebond-part: 1", "onebond: 1"), "boards/shed.yaml", 1, 1, "listed as a part of another one"),
        (None, ("boards:", "site: {name: x}\nboards:"), "boards/shed.yaml", 2, 1, "`site` stands in the file of the site"),
        (None, ("boards:", "parts: [b.yaml]\nboards:"), "boards/shed.yaml", 2, 1, "a part lists no parts"),
        (None, ("boards:", "colour: red\nboards:"), "boards/shed.yaml", 2, 1, "`colour` is not a key of a description"),
        (None, ("boards:", "\tboards:"), "boards/shed.yaml", 2, 1, "indented with a tab"),
        (None, ("boards:", "boards: ["), "boards/shed.yaml", 2, 9, "bracket [ is not closed"),
        (None, ("shed: {}", "shed: {bar: PE}"), "boards/shed.yaml", 3, 10, "`bar` is not a key of the board `shed`"),
        (None, ("boards:\n  shed: {}", "boards: [shed]"), "boards/shed.yaml", 2, 1, "`boards` needs keys of its own"),
        # what does not go together
        (None, ("to: shed", "to: shad"), "boards/shed.yaml", 5, 28, "there is no place with the id `shad`"),
        (None, ("shed: {}", "hut: {}\n  shed: {}"), "boards/shed.yaml", 3, 3, "`hut` is already the id of a board"),
        (None, ("lamps:", "inverter:"), "boards/shed.yaml", 7, 3, "`inverter` is already the id of a source"),
        (
            ("cores: L1 N PE}", "cores: L1 N PE, through: [{kind: mcb, id: lamps}]}"),
            None, "boards/shed.yaml", 7, 3, "`lamps` is already the id of a device",
        ),
    ],
)  # fmt: skip
def test_each_problem_at_its_place(
    main: tuple[str, str] | None,
    shed: tuple[str, str] | None,
    file: str,
    line: int,
    column: int,
    message: str,
    tmp_path: Path,
) -> None:
    files = {"site.yaml": MAIN, "boards/shed.yaml": SHED}
    for name, edit in (("site.yaml", main), ("boards/shed.yaml", shed)):
        if edit:
            assert edit[0] in files[name]
            files[name] = files[name].replace(*edit, 1)
    problems = told(tmp_path, dict(files))
    assert problems[0][:3] == (file, line, column), problems
    assert message in problems[0][3]
    assert len(problems) == 1, problems


def test_a_name_that_is_taken_names_both_places(tmp_path: Path) -> None:
    problems = told(tmp_path, {"site.yaml": MAIN, "boards/shed.yaml": SHED.replace("lamps:", "hut-link:")})
    assert problems[0][:2] == ("site.yaml", 11)
    assert problems[0][3] == f"`hut-link` is already the id of a circuit ({tmp_path}/boards/shed.yaml, line 7)"
    types = "types: {cables: {a: {size: 4 mm2}}}\n"
    (problem,) = told(tmp_path, {"site.yaml": MAIN + types, "boards/shed.yaml": SHED + types})
    assert problem[:2] == ("boards/shed.yaml", 8)
    assert "`a` is already a type of cables (the file of the site, line 14)" in problem[3]


def test_none_and_something_do_not_go_together(tmp_path: Path) -> None:
    pipe = "extraneous: {pipe: {joins: [hut, shed]}}\n"
    files: dict[str, str | bytes] = {"site.yaml": MAIN + "extraneous: none\n", "boards/shed.yaml": SHED + pipe}
    (problem,) = told(tmp_path, files)
    assert problem[:3] == ("boards/shed.yaml", 8, 1)
    assert load(write(tmp_path, {**files, "boards/shed.yaml": SHED + "extraneous: none\n"}))[0] is not None


def test_not_utf_8(tmp_path: Path) -> None:
    (problem,) = told(tmp_path, {"site.yaml": MAIN, "boards/shed.yaml": SHED.encode() + b"# \xff\n"})
    assert problem[:3] == ("boards/shed.yaml", 8, 3)
    assert "byte 0xFF" in problem[3]


def test_a_part_that_cannot_be_read_does_not_hide_what_else_is_wrong(tmp_path: Path) -> None:
    """And what it may hold is not told to be missing."""
    files: dict[str, str | bytes] = {
        "site.yaml": MAIN.replace("[boards/shed.yaml]", "[gone.yaml, boards/shed.yaml]").replace("kind: inverter", "kind: sun"),
        "boards/shed.yaml": SHED.replace("from: hut", "from: in-the-part-that-is-gone, like: type-in-it").replace("{}", "{bar: PE}"),
    }  # fmt: skip
    problems = told(tmp_path, files)
    assert [one[:2] for one in problems] == [("site.yaml", 3), ("site.yaml", 5), ("boards/shed.yaml", 3)], problems


def test_a_part_may_hold_what_the_site_lacks(tmp_path: Path) -> None:
    head, rest = MAIN[: MAIN.index("sources:")], MAIN[MAIN.index("sources:") :]
    path = write(tmp_path, {"site.yaml": head, "boards/shed.yaml": "onebond-part: 1\n" + rest})
    assert load(path)[0] is not None
    problems = told(tmp_path, {"site.yaml": head, "boards/shed.yaml": "onebond-part: 1\nboards: {hut: {}}\n"})
    assert {one[3].split("`")[1] for one in problems} == {"sources", "connections"}


def test_a_mutant_of_a_part_never_breaks_the_reader(tmp_path: Path) -> None:
    types = "types:\n  devices: {b16: {kind: mcb, rating: 16 A}}\n  cables: {lead: {size: 4 mm2}}\n"
    rest = "interlocks: [{never: {inverter: inverting}}]\nextraneous: {pipe: {joins: [hut, shed]}}\n"
    path = write(
        tmp_path,
        {"site.yaml": MAIN + types.replace("b16", "b10").replace("lead", "tail") + rest.replace("pipe", "rail")},
    )
    shed = data_of(SHED.replace("cores: L1 N PE}\ncircuits", "cores: L1 N PE, like: lead}\ncircuits") + types + rest)
    good = bad = 0
    for mutant in (shed, *mutants(shed)):
        write(tmp_path, {"boards/shed.yaml": json.dumps(mutant)})
        installation, problems = load(path)
        assert (installation is None) == bool(problems)
        assert all(problem.span.file in ("", f"{tmp_path}/boards/shed.yaml") for problem in problems)
        good, bad = good + (installation is not None), bad + bool(problems)
    assert good > 10 and bad > 150


# ---------------------------------------------------------------- bounds


def test_the_site_and_its_parts_are_bounded_together(tmp_path: Path) -> None:
    half = MAX_TOTAL // 2
    names = [f"p{i}.yaml" for i in range(3)]
    files: dict[str, str | bytes] = {"site.yaml": MAIN.replace("boards/shed.yaml", ", ".join(names))}
    files |= dict.fromkeys(names, f"onebond-part: 1\n#{'x' * half}\n")
    problems = told(tmp_path, files)
    assert [one[:2] for one in problems] == [("site.yaml", 3)] * 2
    assert "larger than 1,048,576 bytes together" in problems[0][3]


def test_the_number_of_parts_is_bounded(tmp_path: Path) -> None:
    names = [f"p{i}.yaml" for i in range(65)]
    (problem,) = told(tmp_path, {"site.yaml": MAIN.replace("boards/shed.yaml", ", ".join(names))})
    assert "more than 64 entries" in problem[3]


def test_keys_and_values_are_bounded_together(tmp_path: Path) -> None:
    """Many short values take longest to read for their size."""
    names = [f"p{i}.yaml" for i in range(9)]
    files: dict[str, str | bytes] = {"site.yaml": MAIN.replace("boards/shed.yaml", ", ".join(names))}
    files |= dict.fromkeys(names, "onebond-part: 1\nwaivers: [" + "1," * 50_000 + "1]\n")
    start = time.process_time()
    texts = [one[3] for one in told(tmp_path, files)]
    assert sum("100,000 keys and values" in one for one in texts) >= 6
    assert time.process_time() - start < 60


WATCH = """
import os, sys
from onebond import reading
for path in sys.argv[1:]:
    reading.load(path)  # what is imported, is imported now
seen = []
sys.addaudithook(lambda event, arguments: seen.append((event, arguments)))
for path in sys.argv[1:]:
    reading.load(path)
watched = ("import", "exec", "compile", "os.", "subprocess.", "socket.", "urllib.", "ctypes.", "shutil.", "glob.")
print([event for event, _ in seen if event.startswith(watched)])
print([str(arguments[0]) for event, arguments in seen if event == "open"])
"""


def test_nothing_is_read_but_the_site_and_what_lies_below_it(tmp_path: Path) -> None:
    """By names without a way up, each from the folder that was opened before it."""
    paths = []
    for number, name in enumerate(
        ["boards/shed.yaml", "../a.yaml", "/etc/hostname", "link/a.yaml", "boards/link.yaml", "boards/pipe.yaml", "gone/a.yaml"]
    ):  # fmt: skip
        top = tmp_path / str(number)
        paths.append(write(top, {"site.yaml": MAIN.replace("boards/shed.yaml", name), "boards/shed.yaml": SHED}))
        (top / "link").symlink_to("/etc")
        (top / "boards/link.yaml").symlink_to("/etc/hostname")
        os.mkfifo(top / "boards/pipe.yaml")
    write(tmp_path, {"a.yaml": SHED})
    done = subprocess.run([sys.executable, "-c", WATCH, *paths], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    events, opened = map(eval, done.stdout.splitlines())
    assert events == []
    assert set(opened) <= {
        *paths, *map(os.path.dirname, paths), "boards", "shed.yaml", "link.yaml", "pipe.yaml"
    }  # fmt: skip
    assert "shed.yaml" in opened


# ---------------------------------------------------------------- reports


def test_the_good_estate_is_quiet_and_the_bad_one_is_found() -> None:
    good, bad = inspected(str(ESTATE / "estate.yaml")), inspected(str(ESTATE / "estate--linked-in-the-shed.yaml"))
    assert survey.status([good], load_rules(), fail_on="note", strict=True) == 0
    found = [(r.rule, r.subject, Path(r.span.file).name) for r in bad.results if r.kind == "fail" and not r.because]
    assert found == [("neutral-bonded-twice", "shed-link", "shed--linked.yaml")]


@pytest.fixture
def estate(tmp_path: Path) -> Path:
    """The bad estate in a folder of its own."""
    files: dict[str, str | bytes] = {
        name: (ESTATE / name).read_text()
        for name in ("estate--linked-in-the-shed.yaml", "boards/mill.yaml", "boards/shed--linked.yaml")
    }
    write(tmp_path / "estate", files)
    return tmp_path


WEAK = "rating: 16 A, residual: 30 mA, type: A, breaking-capacity: 1 kA"
BAD = "estate/estate--linked-in-the-shed.yaml"
LINKED = "estate/boards/shed--linked.yaml"


def test_lines_and_text_name_the_file_of_each_place(estate: Path, run: Run) -> None:
    line = 1 + (estate / LINKED).read_text().split("\n").index("  shed-link: {at: shed, size: 10 mm2}")
    lines = run("inspect", "--report", "lines", BAD).stdout.splitlines()
    assert lines[0].startswith(f"{LINKED}:{line}:3: error: shed-link ties")
    text = run("inspect", BAD).stdout
    assert f"{LINKED}:{line}:3: error" in text
    assert f"{line} |   shed-link: {{at: shed, size: 10 mm2}}" in text, "the line shown is that of the part"
    assert re.search(rf"^{BAD}:\d+:3: note: main-link", text, re.MULTILINE)
    assert f"follows    {LINKED}:" in text


def test_json_names_the_file_of_each_place(estate: Path, run: Run) -> None:
    tree = json.loads(run("inspect", "--report", "json", BAD).stdout)
    (site,) = tree["sites"]
    assert {part["path"]: part["sha256"] for part in site["parts"]} == {
        path: hashlib.sha256((estate / path).read_bytes()).hexdigest() for path in ("estate/boards/mill.yaml", LINKED)
    }
    (found,) = [one for one in site["results"] if one["rule"] == "neutral-bonded-twice" and one["kind"] == "fail"]
    assert found["file"] == LINKED and found["mentions"][0]["file"] == BAD
    for one in site["results"]:
        shown = (estate / one["file"]).read_text().splitlines()[one["line"] - 1]
        assert one["subject"].split("/")[0] in shown or one["subject"] in ("-",) or one["kind"] != "fail", one


def test_sarif_has_an_artifact_for_each_file(estate: Path, run: Run) -> None:
    (log,) = json.loads(run("inspect", "--report", "sarif", BAD).stdout)["runs"]
    uris = [one["location"]["uri"] for one in log["artifacts"]]
    assert uris == [BAD, "estate/boards/mill.yaml", LINKED]
    for one in log["artifacts"]:
        path = one["location"]["uri"]
        assert one["hashes"]["sha-256"] == hashlib.sha256((estate / path).read_bytes()).hexdigest()
    assert [one["properties"].get("partOf") for one in log["artifacts"]] == [None, BAD, BAD]
    places: list[dict[str, Any]] = []

    def collect(part: Any) -> None:
        if isinstance(part, dict):
            if "artifactLocation" in part and "region" in part:
                places.append(part)
            for below in part.values():
                collect(below)
        elif isinstance(part, list):
            for below in part:
                collect(below)

    collect(log["results"])
    assert {uris[one["artifactLocation"]["index"]] for one in places} >= {BAD, LINKED}
    for one in places:
        where = one["artifactLocation"]
        assert where["uri"] == uris[where["index"]] and where["uriBaseId"] == "%SRCROOT%"
        region = one["region"]
        line = (estate / where["uri"]).read_text().splitlines()[region["startLine"] - 1]
        assert line[region["startColumn"] - 1 : region["endColumn"] - 1] == region["snippet"]["text"]


def test_the_page_shows_each_place_in_its_file(estate: Path, run: Run) -> None:
    page = run("inspect", "--report", "html", BAD).stdout
    line = 1 + (estate / LINKED).read_text().split("\n").index("  shed-link: {at: shed, size: 10 mm2}")
    assert f'<a href="#part2-line-{line}">{LINKED} line {line}</a>' in page
    targets = set(re.findall(r'href="#([^"]+)"', page))
    ids = re.findall(r' id="([^"]+)"', page)
    assert targets <= set(ids)
    assert len(ids) == len(set(ids))
    row = page[page.index(f'<tr id="part2-line-{line}"') :]
    assert "shed-link: {at: shed, size: 10 mm2}" in row[: row.index("</tr>")]
    assert hashlib.sha256((estate / LINKED).read_bytes()).hexdigest() in page
    assert f'data-file="{LINKED}"' in page


def test_the_other_commands(estate: Path, run: Run) -> None:
    assert "shed-link (at shed)" in run("states", BAD).stdout
    assert "saw" in run("figures", BAD).stdout
    drawing = run("drawing", BAD)
    assert drawing.returncode == 0 and f'data-file="{LINKED}"' in drawing.stdout
    assert run("states", LINKED).stdout == run("states", BAD).stdout, "of a part, the site that lists it"
    (estate / LINKED).write_text("onebond-part: 2\n")
    for command in ("states", "figures", "drawing"):
        done = run(command, BAD)
        assert done.returncode == 3 and f"{LINKED}:1:15: error: format version 2" in done.stdout + done.stderr
    for command in ("states", "figures"):
        (problem,) = json.loads(run(command, "--report", "json", BAD).stdout)["problems"]
        assert (problem["file"], problem["line"]) == (LINKED, 1)


@pytest.mark.parametrize("form", ["text", "lines", "json", "sarif", "html"])
def test_a_broken_part_refuses_the_site(form: str, estate: Path, run: Run) -> None:
    (estate / LINKED).write_text((estate / LINKED).read_text().replace("10 mm2}", "10}"))
    done = run("inspect", "--report", form, BAD)
    assert done.returncode == 3
    assert LINKED in done.stdout and "has no unit" in done.stdout


def test_a_finding_with_figures_names_the_type_that_they_may_rest_on(estate: Path) -> None:
    site = estate / BAD
    weak = site.read_text().replace("rating: 16 A, residual: 30 mA, type: A, breaking-capacity: 10 kA", WEAK)
    site.write_text(weak)
    line = 1 + next(i for i, text in enumerate(weak.split("\n")) if "ro16:" in text)
    found = [r for r in inspected(str(site)).results if r.rule == "breaking-capacity-low" and r.kind == "fail"]
    assert [(Path(r.span.file).name, r.subject) for r in found] == [
        ("", "office"), ("mill.yaml", "mill-sockets"), ("shed--linked.yaml", "saw")
    ]  # fmt: skip
    for result in found:
        assert ("ro16", "", line) in [(m.subject, span.file, span.line) for m, span in result.mentions]
    assert not [
        m
        for r in inspected(str(ROOT / "fixtures/sites/workshop.yaml")).results
        for m, _ in r.mentions
        if "type" in m.text
    ]


def test_a_repair_goes_into_the_file_of_its_place(tmp_path: Path) -> None:
    shed = SHED.replace(
        "cores: L1 N PE}\ncircuits", "cores: L1 N PE, through: [{kind: isolator, poles: L1 N PE}]}\ncircuits"
    )
    path = write(tmp_path, {"site.yaml": MAIN, "boards/shed.yaml": shed})
    site = inspected(path)
    (found,) = [r for r in site.results if r.rule == "pe-switched" and r.kind == "fail"]
    (edit,) = found.edits
    assert edit.span.file == f"{tmp_path}/boards/shed.yaml"
    lines = shed.split("\n")
    text = lines[edit.span.line - 1]
    assert "poles: L1 N}" in text[: edit.span.column - 1] + edit.text + text[edit.span.end_column - 1 :]
    tree = sarif.build(Report("1", (site,), ()), base=str(tmp_path))
    (fixed,) = [r["fixes"] for r in tree["runs"][0]["results"] if r["ruleId"] == "pe-switched"]
    assert fixed[0]["artifactChanges"][0]["artifactLocation"]["uri"] == "boards/shed.yaml"


def test_an_earlier_report_is_compared_file_by_file(estate: Path, run: Run) -> None:
    run("inspect", "--report", "sarif", "--out", "before.sarif", BAD)
    (log,) = json.loads(run("inspect", "--report", "sarif", "--baseline", "before.sarif", BAD).stdout)["runs"]
    assert {one["baselineState"] for one in log["results"]} == {"unchanged"}
    (estate / LINKED).write_text((ESTATE / "boards/shed.yaml").read_text())
    (log,) = json.loads(run("inspect", "--report", "sarif", "--baseline", "before.sarif", BAD).stdout)["runs"]
    assert {one["baselineState"] for one in log["results"]} == {"absent"}
    assert LINKED in {one["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for one in log["results"]}


def test_a_finding_in_a_part_of_two_sites_is_gone_only_if_both_could_be_read(estate: Path, run: Run) -> None:
    second = estate / "estate/second.yaml"
    second.write_text((estate / BAD).read_text())
    run("inspect", "--report", "sarif", "--out", "before.sarif", "estate")
    (estate / LINKED).write_text((ESTATE / "boards/shed.yaml").read_text())
    for text, gone in ((second.read_text(), True), (second.read_text().replace("onebond: 1", "onebond: 2"), False)):
        second.write_text(text)
        (log,) = json.loads(run("inspect", "--report", "sarif", "--baseline", "before.sarif", "estate").stdout)["runs"]
        states = {one["baselineState"] for one in log["results"] if one["ruleId"] != "description-refused"}
        assert states == ({"absent"} if gone else set())


def test_the_file_of_the_site_comes_first() -> None:
    spans = [Span(2, 1, 2, 2, "b.yaml"), Span(9, 1, 9, 2), Span(1, 1, 1, 2, "a.yaml")]
    opened = [
        Result("r", "open", "none", "x", (), span, "open", lacking="the size of x is not written") for span in spans
    ]
    site = Site("site.yaml", (), "", "", "", "", results=tuple(opened))
    assert [result.span.line for result in words.ordered(opened)] == [9, 1, 2]
    (gap,) = words.gaps(site, {})
    assert gap.span == spans[1]
    refused = site._replace(problems=tuple(Problem(span, "wrong") for span in spans))
    assert [problem.span.line for problem in words.ordered_problems(refused)] == [9, 1, 2]


@pytest.mark.parametrize("form", ["json", "sarif", "html"])
def test_the_same_input_gives_the_same_bytes(form: str, estate: Path, run: Run) -> None:
    texts = {run("inspect", "--report", form, BAD, PYTHONHASHSEED=seed).stdout for seed in ("0", "1")}
    assert len(texts) == 1
    (estate / "estate/boards/mill.yaml").write_text((estate / "estate/boards/mill.yaml").read_text() + "# changed\n")
    assert run("inspect", "--report", form, BAD).stdout not in texts, "the digest covers the parts"


def test_names_of_parts_are_names_and_no_commands(tmp_path: Path, run: Run) -> None:
    name = "a\"'><b onload=x>&lt;{{7}}%0a\u200b.yaml"
    main = MAIN.replace("[boards/shed.yaml]", json.dumps([name], ensure_ascii=False))
    write(tmp_path, {"site.yaml": main, name: SHED.replace("cores: L1 N PE}\ncircuits", "cores: L1 N}\ncircuits")})
    page = run("inspect", "--report", "html", "site.yaml").stdout
    assert "<b onload" not in page and "\u200b" not in page and "&lt;b onload=x&gt;" in page
    ElementTree.fromstring(run("drawing", "site.yaml").stdout)
    (log,) = json.loads(run("inspect", "--report", "sarif", "site.yaml").stdout)["runs"]
    uri = log["artifacts"][1]["location"]["uri"]
    assert re.fullmatch(r"[A-Za-z0-9._~%-]+", uri) and unquote(uri) == name
    for form in ("text", "lines", "json"):
        out = run("inspect", "--report", form, "site.yaml").stdout
        assert "\u200b" not in out and "<U+200B>" in out
    assert "<b onload" not in onebond.inspect(tmp_path / "site.yaml")._repr_html_()


def test_no_report_is_written_over_a_part(estate: Path, run: Run) -> None:
    before = (estate / LINKED).read_bytes()
    for arguments in (("inspect", "--out", LINKED, BAD), ("drawing", "--out", LINKED, BAD)):
        done = run(*arguments)
        assert done.returncode == 2 and "is a description that is inspected" in done.stderr
        assert (estate / LINKED).read_bytes() == before


# ---------------------------------------------------------------- parts alone, in folders and in Python


def test_marks() -> None:
    assert quick_part(SHED.encode()) and quick_part(b"\xef\xbb\xbf# x\r\nonebond-part: 1\r\n")
    assert not quick_part(MAIN.encode()) and not quick_part(b"onebond: 1\nonebond-part: 1\n") and not quick_part(b"")
    assert quick_format(MAIN.encode())


def test_in_a_folder_a_part_is_judged_with_its_site(estate: Path, run: Run) -> None:
    found = find([str(estate)], quick_format, quick_part)
    assert found.files == (str(estate / BAD),) and len(found.parts) == 2 and not found.others
    done = run("inspect", "estate")
    assert done.returncode == 1
    assert done.stdout == run("inspect", BAD).stdout
    assert run("inspect", "--report", "lines", str(estate), cwd=Path("/")).stdout.startswith(str(estate / LINKED))


@pytest.mark.parametrize("more", [(), ("--skip-others", "--")])
def test_a_part_alone_stands_for_its_site(more: tuple[str, ...], estate: Path, run: Run) -> None:
    whole = run("inspect", BAD)
    for named in ((LINKED,), (LINKED, "estate/boards/mill.yaml"), ("estate/boards/mill.yaml", BAD)):
        done = run("inspect", *more, *named)
        assert (done.returncode, done.stdout) == (1, whole.stdout)
    inside = run("inspect", *more, "shed--linked.yaml", cwd=estate / "estate" / "boards")
    assert inside.returncode == 3, "the site lies above the working directory"
    assert "no site that lists it was found (looked in: .)" in inside.stdout
    assert run("inspect", *more, "boards/mill.yaml", cwd=estate / "estate").returncode == 1


def test_no_site_is_looked_for_beyond_what_was_named(estate: Path, run: Run) -> None:
    """Not in folders above that have nothing to do with the run."""
    elsewhere = estate / "elsewhere"
    elsewhere.mkdir()
    done = run("inspect", str(estate / LINKED), cwd=elsewhere)
    assert done.returncode == 3 and f"(looked in: {estate / LINKED})".replace("/shed--linked.yaml", "") in done.stdout
    assert run("inspect", str(estate / "estate"), cwd=elsewhere).returncode == 1
    assert run("inspect", str(estate / "estate/boards"), cwd=elsewhere).returncode == 3


def test_all_sites_that_list_a_part_are_inspected(run: Run) -> None:
    done = run("inspect", "--report", "json", "fixtures/estate/boards/mill.yaml", cwd=ROOT)
    assert [Path(site["path"]).stem for site in json.loads(done.stdout)["sites"]] == [
        "estate--linked-in-the-shed", "estate"
    ]  # fmt: skip
    many = run("states", "fixtures/estate/boards/mill.yaml", cwd=ROOT)
    assert many.returncode == 2 and "a part of several sites: name one of" in many.stderr


def test_a_part_that_no_site_lists_is_refused(tmp_path: Path, run: Run) -> None:
    write(tmp_path, {"boards/shed.yaml": SHED, "hut.yaml": HUT, "notes.yaml": "parts: [boards/shed.yaml]\n"})
    for named in (("boards/shed.yaml",), (".",), ("--skip-others", "--", "boards/shed.yaml", "hut.yaml")):
        done = run("inspect", *named)
        assert done.returncode == 3, named
        assert (
            "boards/shed.yaml:1:1: error: this is a part of a site, and no site that lists it was found" in done.stdout
        )
    assert run("figures", "boards/shed.yaml").returncode == 2


def test_a_site_that_cannot_be_read_but_speaks_of_the_part_says_why(tmp_path: Path, run: Run) -> None:
    write(tmp_path, {"boards/shed.yaml": SHED, "site.yaml": MAIN.replace("sources:", "\tsources:")})
    done = run("inspect", "boards/shed.yaml")
    assert done.returncode == 3 and "site.yaml:4:1: error: the line is indented with a tab" in done.stdout


def test_a_site_behind_a_link_is_not_looked_at(tmp_path: Path, run: Run) -> None:
    write(tmp_path, {"in/boards/shed.yaml": SHED, "out/site.yaml": MAIN})
    (tmp_path / "in/site.yaml").symlink_to(tmp_path / "out/site.yaml")
    assert run("inspect", "boards/shed.yaml", cwd=tmp_path / "in").returncode == 3


def test_in_python(estate: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(estate)
    report = onebond.inspect(BAD)
    assert report.status() == 1
    assert {Path(part.path).name for part in report.sites[0].parts} == {"mill.yaml", "shed--linked.yaml"}
    assert report.findings[0].span.file == LINKED
    assert f"<td>{LINKED}:" in report._repr_html_()
    assert onebond.inspect(LINKED).text() == onebond.inspect("estate").text() == report.text()


def test_a_text_without_a_folder_has_no_parts() -> None:
    parsed = document.parse(MAIN.encode(), "site.yaml")
    assert parsed.document is not None
    for problems in (reading.understood(parsed)[2], reading.read(parsed.document)[1]):
        (problem,) = problems
        assert "the text does not come from a file" in problem.message
        assert problem.span[:2] == (3, 1)
