"""The hook, end to end: a repository of descriptions that takes it from a repository of this project."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import FLOATING, HUT, ROOT

PARTS = (
    "linter",
    "rules",
    "schemas",
    "README.md",
    "pyproject.toml",
    ".gitignore",
    ".pre-commit-hooks.yaml",
)


def git(folder: Path, *arguments: str) -> None:
    who = ["-c", "user.name=J. Example", "-c", "user.email=j@example.invalid", "-c", "init.defaultBranch=main"]
    subprocess.run(["git", *who, *arguments], cwd=folder, check=True, capture_output=True)


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """This project as it stands, as a repository."""
    folder = tmp_path_factory.mktemp("project")
    for part in PARTS:
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / part, folder / part)
    git(folder, "init")
    git(folder, "add", ".")
    git(folder, "commit", "-m", "as it stands")
    return folder


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture
def sites(tmp_path: Path) -> Path:
    git(tmp_path, "init")
    return tmp_path


def hook(project: Path, home: Path, sites: Path) -> tuple[int, str]:
    """Exit status and output of the hook on what is staged."""
    git(sites, "add", ".")
    # pre-commit must not see the git that runs the tests as its own, and its environments are for these tests only.
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("GIT_", "PRE_COMMIT"))}
    environment |= {"PRE_COMMIT_HOME": str(home), "PRE_COMMIT_COLOR": "never"}
    done = subprocess.run(
        [sys.executable, "-m", "pre_commit", "try-repo", str(project), "onebond", "--verbose"],
        cwd=sites, env=environment, capture_output=True, text=True, errors="backslashreplace",
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def test_good_passes_and_other_yaml_is_passed_over(project: Path, home: Path, sites: Path) -> None:
    (sites / "hut.yaml").write_text(HUT)
    (sites / "notes.yaml").write_text("title: notes\n")
    status, output = hook(project, home, sites)
    assert status == 0, output
    assert "hut.yaml: clean" in output
    assert "1 file (notes.yaml)" in output


def test_bad_is_blocked_and_says_why(project: Path, home: Path, sites: Path) -> None:
    (sites / "good.yaml").write_text(HUT)
    (sites / "hut.yaml").write_text(FLOATING)
    status, output = hook(project, home, sites)
    assert status == 1, output
    assert "exit code: 1" in output
    assert "hut.yaml:4:3: error:" in output
    assert "[neutral-unreferenced]" in output


def test_only_what_changes_is_inspected(project: Path, home: Path, sites: Path) -> None:
    (sites / "old.yaml").write_text(FLOATING)
    git(sites, "add", ".")
    git(sites, "commit", "-m", "before the hook")
    (sites / "hut.yaml").write_text(HUT)
    status, output = hook(project, home, sites)
    assert status == 0, output
    assert "old.yaml" not in output


def test_a_file_named_like_an_option_is_a_file(project: Path, home: Path, sites: Path) -> None:
    (sites / "--help.yaml").write_text(HUT)
    (sites / "--x.yaml").write_text(FLOATING)
    status, output = hook(project, home, sites)
    assert status == 1, output
    assert "--x.yaml:4:3: error:" in output
    assert "--help.yaml" in output


def test_a_part_is_inspected_with_its_site(project: Path, home: Path, sites: Path) -> None:
    shed = (
        "onebond-part: 1\nboards:\n  shed: {}\nbonds:\n  shed-link: {at: shed}\n"
        "connections:\n  to-shed: {from: hut, to: shed, cores: L1 N PE}\n"
    )
    (sites / "boards").mkdir()
    (sites / "hut.yaml").write_text(HUT.replace("sources:", "parts: [boards/shed.yaml]\nsources:"))
    (sites / "boards/shed.yaml").write_text(shed.replace("bonds:\n  shed-link: {at: shed}\n", ""))
    status, output = hook(project, home, sites)
    assert "hut.yaml: " in output and "refused" not in output
    git(sites, "commit", "-m", "good")
    (sites / "boards/shed.yaml").write_text(shed)
    status, output = hook(project, home, sites)
    assert status == 1, output
    assert "boards/shed.yaml:5:3: error:" in output and "[neutral-bonded-twice]" in output


def test_nothing_but_other_yaml_passes(project: Path, home: Path, sites: Path) -> None:
    (sites / "notes.yaml").write_text("title: notes\n")
    status, output = hook(project, home, sites)
    assert status == 0, output
    assert "notes.yaml" in output
