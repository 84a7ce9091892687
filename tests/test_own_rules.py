"""A package of rules of somebody else, installed for real, as ``rules/WRITING.md`` says."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import ROOT
from onebond.facts import Collection, Facts
from onebond.reading import load

GUIDE = (ROOT / "rules" / "WRITING.md").read_text(encoding="utf-8")
PACKAGE = ROOT / "tests" / "house_rules"
BLOCKS = re.findall(r"^`([a-z_/.]+)`\n\n```[a-z]+\n(.*?)```$", GUIDE, re.MULTILINE | re.DOTALL)


def test_the_guide_shows_the_package_word_for_word() -> None:
    files = {
        str(path.relative_to(PACKAGE)): path.read_text(encoding="utf-8")
        for path in PACKAGE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert dict(BLOCKS) == files
    listed = GUIDE.partition("```text\n")[2].partition("```")[0].split()
    assert sorted(listed) == sorted(files)


def test_the_guide_names_collections_that_exist() -> None:
    named = set(re.findall(r"`Facts\.([a-z_]+)`", GUIDE))
    assert len(named) > 10
    for name in named:
        assert isinstance(getattr(Facts, name), Collection), name


def test_the_guide_names_what_subjects_have() -> None:
    """On a site that has all of it: every name of the table that is an attribute of the subjects."""
    texts = [
        ROOT / "fixtures" / "sites" / f"{name}.yaml"
        for name in ("three-changeovers", "tt-farm", "two-generators--no-interlock", "mill-storage")
    ]
    sites = [load(str(path))[1] for path in texts]
    facts = [Facts(site, site.rulebook) for site in sites if site is not None]
    rows = re.findall(r"^\| (`Facts\.[^|]*) \| [^|]* \| ([^|]*) \|$", GUIDE, re.MULTILINE)
    assert len(rows) > 10
    for collections, has in rows:
        subjects = [
            one
            for name in re.findall(r"Facts\.([a-z_]+)", collections)
            for fact in facts
            for one in getattr(fact, name)
        ]
        assert subjects, collections
        for name in re.findall(r"`([a-z_]+)(?:\(\))?`", has.partition("of the live system")[0]):
            assert any(hasattr(type(one), name) or hasattr(one, name) for one in subjects), (collections, name)


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The folder that somebody writes by the guide, and where pip installs it."""
    folder, target = tmp_path_factory.mktemp("office"), tmp_path_factory.mktemp("installed")
    for name, text in BLOCKS:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    options = ["--quiet", "--no-build-isolation", "--no-deps", "--no-index", "--target", str(target)]
    done = subprocess.run(
        [sys.executable, "-m", "pip", "install", *options, "."], cwd=folder, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return folder, target


def start(installed: tuple[Path, Path], *command: str) -> subprocess.CompletedProcess[str]:
    folder, target = installed
    path = os.pathsep.join((str(target), *sys.path))
    return subprocess.run(
        [sys.executable, "-m", *command],
        cwd=folder, env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True, timeout=120,
    )  # fmt: skip


def test_its_own_tests_pass(installed: tuple[Path, Path]) -> None:
    done = start(installed, "pytest", "-q", "-p", "no:cacheprovider", "test_house_rules.py")
    assert done.returncode == 0 and "1 passed" in done.stdout, done.stdout


def test_it_has_a_page_and_a_self_test(installed: tuple[Path, Path]) -> None:
    page = start(installed, "onebond", "explain", "long-socket-circuit")
    assert page.returncode == 0 and "our office manual 3.2" in page.stdout
    record = start(installed, "onebond", "selftest", "long-socket-circuit")
    assert record.returncode == 0 and "passed: 5 examples of 1 rule, 0 did not hold" in record.stdout


def test_it_judges_with_the_others(installed: tuple[Path, Path]) -> None:
    folder, _ = installed
    text = (folder / "house_rules" / "bases" / "cabin.yaml").read_text()
    (folder / "long.yaml").write_text(
        text.replace("length: 12 m", "length: 31 m").replace("iec}", "iec, stage: draft}")
    )
    lines = start(installed, "onebond", "inspect", "--report", "lines", "long.yaml").stdout
    assert "warning: sockets is longer than our office draws circuits for socket-outlets [long-socket-circuit]" in lines
    assert "[rcd-missing]" in lines
    (folder / "none.yaml").write_text(text.replace("length: 12 m, ", ""))
    told = start(installed, "onebond", "inspect", "none.yaml").stdout
    assert "the length of sockets is not written" in told and "long-socket-circuit" in told


def test_a_waiver_accepts_it(installed: tuple[Path, Path]) -> None:
    folder, _ = installed
    text = (folder / "house_rules" / "bases" / "cabin.yaml").read_text().replace("length: 12 m", "length: 31 m")
    text += "waivers:\n  - {rule: long-socket-circuit, at: sockets, reason: short lead, until: 2099-01-01, by: J. Example}\n"
    (folder / "waived.yaml").write_text(text)
    lines = start(installed, "onebond", "inspect", "--report", "lines", "waived.yaml").stdout
    assert "note: waived: sockets is longer than our office draws" in lines
