"""The door for Python: what it inspects, what it raises, the forms of its report, and the example of the README."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

import onebond
from conftest import BROKEN, FLOATING, HUT, ROOT
from onebond import cli
from onebond.reporting import notebook
from onebond.result import Fault, Problem, Report, Result, Site, Waiver
from onebond.span import Span

README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a good, a bad and a broken description, as the current one."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("hut", HUT), ("floating", FLOATING), ("broken", BROKEN)):
        (tmp_path / f"{name}.yaml").write_text(text)
    return tmp_path


def test_the_example_of_the_readme_runs_and_prints_what_stands_there(tmp_path: Path) -> None:
    description = next(
        one for one in re.findall(r"```yaml\n(.*?)```", README, re.DOTALL) if one.startswith("onebond: 1")
    )
    section = README.split("\n## From Python\n")[1].split("\n## ")[0]
    (code,) = re.findall(r"```python\n(.*?)```", section, re.DOTALL)
    (printed,) = re.findall(r"```text\n(.*?)```", section, re.DOTALL)
    (tmp_path / "hut.yaml").write_text(description)
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True)
    assert (done.returncode, done.stderr, done.stdout) == (0, "", printed)
    log = json.loads((tmp_path / "hut.sarif").read_text(encoding="utf-8"))
    assert "neutral-unreferenced" in {one["ruleId"] for one in log["runs"][0]["results"]}


@pytest.mark.parametrize("path", ["floating.yaml", Path("floating.yaml"), Path("floating.yaml").absolute])
def test_a_description_by_any_kind_of_path(here: Path, path: object) -> None:
    report = onebond.inspect(path() if callable(path) else path)  # type: ignore[arg-type]
    (site,) = report.sites
    assert site.name == "Tarn hut"
    assert "neutral-unreferenced" in {finding.rule for finding in report.findings}
    assert all(isinstance(result, Result) for result in report.results)
    assert len(report.results) > len(report.findings) > 0
    assert len(site.sha256) == 64
    assert site.islands


def test_a_folder_gives_all_its_descriptions(here: Path) -> None:
    (here / "notes.yaml").write_text("title: notes\n")
    report = onebond.inspect(here)
    assert [os.path.basename(site.path) for site in report.sites] == ["broken.yaml", "floating.yaml", "hut.yaml"]
    assert report.status() == 3
    assert report.sites[0].problems
    assert repr(report) == "<onebond.Report: 3 sites, exit status 3>"


def test_what_stands_in_a_description_raises_nothing(here: Path) -> None:
    (here / "noise.yaml").write_bytes(b"\xff\xfe\x00onebond: 1")
    for path in ("noise.yaml", "broken.yaml"):
        report = onebond.inspect(path)
        assert report.status() == 3
        assert report.results == ()


@pytest.mark.parametrize(
    ("arguments", "error", "told"),
    [
        ({"path": "gone.yaml"}, FileNotFoundError, "gone.yaml"),
        ({"path": "empty"}, ValueError, "nothing to inspect"),
        ({"path": "hut.yaml", "rulebook": "iecc"}, ValueError, "iec, bs7671"),
        ({"path": "hut.yaml", "today": "31.3.2027"}, ValueError, "2027-03-31"),
        ({"path": "hut.yaml", "today": 3}, ValueError, "2027-03-31"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_plain_words(
    here: Path, arguments: dict[str, str], error: type[Exception], told: str
) -> None:
    (here / "empty").mkdir()
    with pytest.raises(error, match=re.escape(told)):
        onebond.inspect(**arguments)


def test_the_rulebook_can_be_chosen(here: Path) -> None:
    assert onebond.inspect("hut.yaml").sites[0].rulebook == "iec"
    assert onebond.inspect("hut.yaml", rulebook="nec").sites[0].rulebook == "nec"


@pytest.mark.parametrize("day", ["2027-03-31", date(2027, 3, 31)])
def test_waivers_are_judged_by_the_day_that_is_named(here: Path, day: str | date) -> None:
    waiver = "{rule: neutral-unreferenced, at: inverter, reason: relay ordered, until: 2027-03-31, by: J. Example}"
    (here / "waived.yaml").write_text(f"{FLOATING}waivers:\n  - {waiver}\n")
    rules = {finding.rule for finding in onebond.inspect("waived.yaml", today=day).findings}
    assert not {"neutral-unreferenced", "waiver-expired"} & rules
    rules = {finding.rule for finding in onebond.inspect("waived.yaml", today="2027-04-01").findings}
    assert {"neutral-unreferenced", "waiver-expired"} <= rules


def test_the_status_is_that_of_the_command(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in ("hut.yaml", "floating.yaml", "broken.yaml", "."):
        report = onebond.inspect(path)
        for strict in (False, True):
            for fail_on in ("error", "warning", "note"):
                options = ["--fail-on", fail_on, *(["--strict"] if strict else [])]
                assert cli.main(["inspect", path, *options]) == report.status(fail_on=fail_on, strict=strict)
    capsys.readouterr()
    with pytest.raises(ValueError, match="never"):
        report.status(fail_on="never")


def test_the_writers_give_what_the_command_prints(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report = onebond.inspect("floating.yaml", today="2026-11-25")
    written = {"text": report.text(), "lines": report.lines(), "json": report.json(), "sarif": report.sarif()}
    for form, text in written.items():
        cli.main(["inspect", "floating.yaml", "--today", "2026-11-25", "--report", form])
        printed = capsys.readouterr().out
        if form in ("json", "sarif"):  # there the command says besides at what level it fails
            printed = re.sub(r' *"fail-on": "error",?\n', "", printed)
        assert printed == text
    assert "\x1b[" in report.text(colour=True)
    assert max(len(line) for line in report.text(width=60).split("\n") if line.startswith("    ")) <= 60


def test_sarif_against_an_earlier_report(here: Path) -> None:
    report = onebond.inspect(here / "floating.yaml")
    earlier = report.sarif(base=here)
    for against in (earlier, earlier.encode()):
        results = json.loads(report.sarif(base=here, against=against))["runs"][0]["results"]
        assert {one["baselineState"] for one in results} == {"unchanged"}
    with pytest.raises(ValueError, match="no JSON"):
        report.sarif(against="x")


# -- notebooks ---------------------------------------------------------------------------------------------------------


class Tree(HTMLParser):
    """The tags and the text of a piece of HTML; tags have to be closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(f"{tag} {attrs}")
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_a_notebook_shows_a_table(here: Path) -> None:
    shown = Tree(onebond.inspect(here)._repr_html_())
    assert shown.tags.count("table []") == 3
    assert {"neutral-unreferenced", "description-refused", "refused", "findings"} <= set(shown.words)
    assert {tag.split()[0] for tag in shown.tags} <= {
        *("table", "caption", "b", "thead", "tbody"),
        *("tr", "th", "td", "code"),
    }


def named(name: str) -> Report:
    """A report that holds the name wherever a name can be."""
    place = Span(3, 1, 3, 2)
    bad = Result(name, "fail", "error", name, (name,), place, name, name, name)
    results = (
        bad,
        bad._replace(rule=f"{name}2", because=(name, name)),
        bad._replace(subject="w", waiver=Waiver(name, name, name, name, name, (name,))),
        bad._replace(subject="o", kind="open", lacking=name),
    )
    site = Site(name, (name,), "", name, name, name, (Problem(place, name, name),), results)
    return Report("1", (site._replace(faults=(Fault(name, name, name),), not_proven=(name,)),), ())


@pytest.mark.parametrize(
    "name", ["</table><script>alert(1)</script>", "'\"&<!--", "a\u202eb\x1b[2J", "&lt;b&gt;", "a\nb", "x" * 200]
)
def test_hostile_names_change_nothing_but_themselves(name: str) -> None:
    text = notebook.render(named(name))
    assert Tree(text).tags == Tree(notebook.render(named("harmless"))).tags
    assert all(char.isprintable() for char in text)
    if name.isprintable():
        assert name in "".join(Tree(text).words)


def test_a_long_table_is_cut_and_says_so() -> None:
    bare = Result("r", "fail", "error", "s", (), Span(1, 1, 1, 2), "wrong")
    site = Site(
        "a.yaml", ("x",), "", "", "iec", "design", results=tuple(bare._replace(subject=f"{n}") for n in range(70))
    )
    shown = Tree(notebook.render(Report("1", (site,), ())))
    assert shown.words.count("wrong") == 50
    assert "and 20 more" in shown.words


# -- cheap to import ---------------------------------------------------------------------------------------------------


def test_the_door_costs_nothing_until_it_is_used() -> None:
    code = "import sys; before = set(sys.modules); import onebond; print(*sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT / "tests")
    assert done.stdout.split() == ["onebond"]


def test_every_name_of_the_door_is_there() -> None:
    for name in onebond.__all__:
        assert getattr(onebond, name) is not None
    assert isinstance(onebond.Report, type)
    with pytest.raises(AttributeError, match="nothing"):
        onebond.nothing  # noqa: B018
