"""Which files are inspected, how each ends, and which exit status a run has."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from conftest import BROKEN, FLOATING, HUT
from onebond import survey
from onebond.document import quick_format
from onebond.loading import load_rules
from onebond.reporting import words
from onebond.result import Fault, Kind, Level, Problem, Result, Site, Waiver
from onebond.rule import Rule
from onebond.span import Span
from onebond.survey.find import Found, find

SPAN = Span(1, 1, 1, 2)
TODAY = "2026-11-25"


@pytest.fixture(scope="module")
def rules() -> tuple[Rule, ...]:
    return load_rules()


def folder(top: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        (top / name).parent.mkdir(parents=True, exist_ok=True)
        (top / name).write_text(text, encoding="utf-8")


def found(*paths: str, skip_others: bool = False) -> Found:
    return find(list(paths), quick_format, skip_others=skip_others)


# -- which files -------------------------------------------------------------------------------------------------------


def test_every_description_below_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder(
        tmp_path,
        {
            "b/hut.yaml": HUT,
            "a/deep/er/hut.yml": HUT,
            "HUT.YAML": HUT,
            "b/notes.yaml": "title: notes\n",
            "b/hut.txt": HUT,
            ".hidden/hut.yaml": HUT,
            "b/.hidden/hut.yaml": HUT,
        },
    )
    assert found(".") == Found(files=("HUT.YAML", "a/deep/er/hut.yml", "b/hut.yaml"), others=("b/notes.yaml",))


def test_a_device_without_an_id_is_told_by_its_kind_and_its_place(tmp_path: Path) -> None:
    text = HUT.replace(
        "length: 3 m}\nc", "length: 3 m, through: [{kind: mcb, id: q}, {kind: rcd, residual: 30 mA}]}\nc"
    )
    (tmp_path / "hut.yaml").write_text(text)
    site = survey.inspect_file(str(tmp_path / "hut.yaml"), (), today=TODAY)
    assert site.devices == (("feed/2", "rcd"), ("lamps/1", "mcb"))
    told = words.alternatives(((("feed/2", ("open",)), ("q", ("closed",))),), site.devices)
    assert told == ["the rcd in feed open; q closed"]
    assert words.alternatives(((("feed/2", ("open",)),),)) == ["device 2 of feed open"]
    twins = (("feed/1", "mcb"), ("feed/3", "mcb"))
    assert words.alternatives(((("feed/3", ("open",)),),), twins) == ["mcb 3 in feed open"]


def test_links_below_a_folder_are_not_followed(tmp_path: Path) -> None:
    folder(tmp_path, {"out/hut.yaml": HUT, "in/hut.yaml": HUT})
    (tmp_path / "in/link.yaml").symlink_to(tmp_path / "out/hut.yaml")
    (tmp_path / "in/folder").symlink_to(tmp_path / "out")
    (tmp_path / "in/round").symlink_to(tmp_path / "in")
    here = str(tmp_path / "in")
    assert found(here) == Found(files=(f"{here}/hut.yaml",), links=(f"{here}/link.yaml",))
    assert found(f"{here}/round").files == (f"{here}/round",)  # for the reader to refuse
    assert found(f"{here}/folder/").files == (f"{here}/folder/hut.yaml",)


def test_special_files_do_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    folder(tmp_path, {"hut.yaml": HUT})
    (tmp_path / "folder.yaml").mkdir()
    assert found(str(tmp_path)) == Found(files=(f"{tmp_path}/hut.yaml",), others=(f"{tmp_path}/pipe.yaml",))
    assert found(f"{tmp_path}/pipe.yaml").files == (f"{tmp_path}/pipe.yaml",)


def test_a_named_file_is_always_inspected(tmp_path: Path) -> None:
    folder(tmp_path, {"notes.txt": "title: notes\n", "hut.yaml": HUT})
    named = (f"{tmp_path}/hut.yaml", f"{tmp_path}/notes.txt")
    assert found(*named) == Found(files=named)
    assert found(*named, skip_others=True) == Found(files=named[:1], others=named[1:])


def test_a_long_heading_does_not_hide_a_description(tmp_path: Path) -> None:
    folder(tmp_path, {"hut.yaml": "# a comment\n" * 2000 + HUT})
    assert found(str(tmp_path)).files == (f"{tmp_path}/hut.yaml",)


def test_each_file_once_and_in_one_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder(tmp_path, {"a.yaml": HUT, "b.yaml": HUT, "c/d.yaml": HUT})
    ways = ["./b.yaml", "a.yaml", "c/d.yaml", str(tmp_path / "a.yaml"), ".", "c//d.yaml", "c"]
    assert found(*ways).files == found(*reversed(ways)).files == ("a.yaml", "b.yaml", "c/d.yaml")


def test_what_is_missing_or_closed_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder(tmp_path, {"hut.yaml": HUT, "closed/hut.yaml": HUT})
    open_folder = os.scandir

    def scandir(path: str) -> object:
        if path.endswith("closed"):
            raise PermissionError(13, "Permission denied", path)
        return open_folder(path)

    monkeypatch.setattr(os, "scandir", scandir)
    assert found(str(tmp_path), f"{tmp_path}/gone.yaml") == Found(
        files=(f"{tmp_path}/hut.yaml",),
        missing=(f"{tmp_path}/gone.yaml",),
        unreadable=((f"{tmp_path}/closed", "Permission denied"),),
    )
    assert survey.status([survey.unlisted("closed", "Permission denied")], ()) == survey.REFUSED


# -- how each ends -----------------------------------------------------------------------------------------------------


def test_each_file_has_its_own_end(tmp_path: Path, rules: tuple[Rule, ...]) -> None:
    folder(tmp_path, {"hut.yaml": HUT, "floating.yaml": FLOATING, "broken.yaml": BROKEN})
    sites = {
        name: survey.inspect_file(f"{tmp_path}/{name}.yaml", rules, today=TODAY)
        for name in ("hut", "floating", "broken")
    }
    assert {name: survey.status([site], rules) for name, site in sites.items()} == {
        "hut": survey.CLEAN,
        "floating": survey.FINDINGS,
        "broken": survey.REFUSED,
    }
    assert ("neutral-unreferenced", "inverter") in {
        (one.rule, one.subject) for one in sites["floating"].results if one.kind == "fail"
    }
    assert sites["broken"].problems
    assert not sites["broken"].results
    assert sites["broken"].lines


def test_an_error_of_ours_stays_with_its_file(
    tmp_path: Path, rules: tuple[Rule, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder(tmp_path, {"hut.yaml": HUT})

    def broken(path: str) -> object:
        raise RecursionError

    monkeypatch.setattr("onebond.reading.load", broken)
    monkeypatch.delenv("ONEBOND_DEBUG", raising=False)
    site = survey.inspect_file(f"{tmp_path}/hut.yaml", rules, today=TODAY)
    assert survey.status([site], rules) == survey.INTERNAL
    assert "RecursionError" in site.faults[0].message
    monkeypatch.setenv("ONEBOND_DEBUG", "1")
    with pytest.raises(RecursionError):
        survey.inspect_file(f"{tmp_path}/hut.yaml", rules, today=TODAY)


# -- exit status -------------------------------------------------------------------------------------------------------


def result(kind: Kind, level: Level, rule: str = "neutral-unreferenced", waiver: Waiver | None = None) -> Result:
    return Result(rule, kind, level, "inverter", ("sources", "inverter"), SPAN, "a message", waiver=waiver)


def site(*results: Result, stage: str = "design", problems: int = 0, faults: int = 0, limits: int = 0) -> Site:
    return Site(
        "hut.yaml", (), "", "Tarn hut", "iec", stage, (Problem(SPAN, "wrong"),) * problems, results,
        (Fault("pe-missing", "hut", "broke"),) * faults, not_proven=("a limit",) * limits,
    )  # fmt: skip


WAIVER = Waiver("neutral-unreferenced", "inverter", "relay being procured", "J. Example", "2027-03-31", ())


@pytest.mark.parametrize(
    ("sites", "options", "status"),
    [
        ([site()], {}, 0),
        ([site(result("pass", "none"), result("notApplicable", "none"), result("review", "none"))], {}, 0),
        ([site(result("fail", "error"))], {}, 1),
        ([site(result("fail", "warning"))], {}, 0),
        ([site(result("fail", "warning"))], {"fail_on": "warning"}, 1),
        ([site(result("fail", "note"))], {"fail_on": "warning"}, 0),
        ([site(result("fail", "note"))], {"fail_on": "note"}, 1),
        ([site(result("fail", "error", waiver=WAIVER))], {}, 0),
        ([site(problems=1)], {}, 3),
        ([site(limits=1)], {}, 4),
        ([site(limits=1, stage="draft")], {}, 4),
        ([site(result("open", "none"))], {}, 4),
        ([site(result("open", "none"), stage="as-built")], {}, 4),
        ([site(result("open", "none"), stage="draft")], {}, 0),
        ([site(result("open", "none"), stage="draft")], {"strict": True}, 4),
        ([site(result("open", "none", rule="never-energised"))], {}, 0),
        ([site(result("open", "none", rule="never-energised"))], {"strict": True}, 4),
        ([site(result("open", "none", rule="unheard-of"))], {}, 4),
        ([site(faults=1)], {}, 70),
        ([site(), site(result("fail", "error"))], {}, 1),
        ([site(limits=1), site(result("fail", "error"))], {}, 4),
        ([site(result("fail", "error"), limits=1)], {}, 4),
        ([site(problems=1), site(limits=1), site(result("fail", "error"))], {}, 3),
        ([site(problems=1), site(faults=1)], {}, 70),
    ],
)
def test_the_worst_site_wins(
    sites: list[Site], options: dict[str, object], status: int, rules: tuple[Rule, ...]
) -> None:
    assert survey.status(sites, rules, **options) == status  # type: ignore[arg-type]
    assert survey.status(list(reversed(sites)), rules, **options) == status  # type: ignore[arg-type]
