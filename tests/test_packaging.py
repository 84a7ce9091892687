"""What is built: wheel and sdist hold what is meant and nothing else, and the wheel works by itself, from anywhere."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from conftest import HUT, ROOT

PACKAGES = {"onebond": "linter", "onebond_rules": "rules", "onebond_schemas": "schemas"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("built")
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(target)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return target


def sources(*folders: str) -> set[str]:
    """The files of the source tree below some folders, without what Python and the tools leave behind."""
    found = set()
    for folder in folders:
        for file in (ROOT / folder).rglob("*"):
            left_behind = any(part.startswith((".", "__pycache__")) for part in file.relative_to(ROOT).parts)
            if file.is_file() and not left_behind:
                found.add(str(file.relative_to(ROOT)))
    return found


def test_wheel(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        (entry_points,) = [name for name in names if name.endswith("entry_points.txt")]
        assert b"builtin = onebond_rules:RULES" in archive.read(entry_points)
    about = entry_points.partition("/")[0]
    meant = {
        name.removeprefix(f"{folder}/")
        for package, folder in PACKAGES.items()
        for name in sources(f"{folder}/{package}")
    }
    parts = ("METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/linter/LICENSE")
    assert names == meant | {f"{about}/{part}" for part in parts}
    assert {f"{package}/py.typed" for package in PACKAGES} <= names


def test_sdist(built: Path) -> None:
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        names = {member.name.partition("/")[2] for member in archive if member.isfile()}
    meant = sources("linter", "rules", "schemas", "tests", "fixtures") | {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
    }
    assert names == meant | {"PKG-INFO", ".gitignore"}


def test_the_wheel_works_by_itself_and_from_anywhere(built: Path, tmp_path: Path) -> None:
    (wheel,) = built.glob("*.whl")
    installed, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", str(installed)]
    subprocess.run([*install, str(wheel)], check=True)
    elsewhere.mkdir()
    (elsewhere / "hut.yaml").write_text(HUT)
    code = "import sys, onebond, onebond_rules; from onebond.cli import main; print(onebond.__file__); "
    code += "print(onebond_rules.__file__); sys.exit(main())"
    done = subprocess.run(
        [sys.executable, "-c", code, "inspect", "hut.yaml"],
        cwd=elsewhere, env={**os.environ, "PYTHONPATH": str(installed)}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert all(line.startswith(str(installed)) for line in done.stdout.splitlines()[:2])
    assert "hut.yaml: clean" in done.stdout


def test_the_command_is_installed_with_the_project() -> None:
    command = Path(sys.executable).parent / "onebond"
    done = subprocess.run([command, "--version"], cwd=os.sep, capture_output=True, text=True)
    import onebond

    assert (done.returncode, done.stdout) == (0, f"onebond {onebond.__version__}\n")


def test_licence_is_stated() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["license"] == "MIT"
    assert all((ROOT / file).read_text().startswith("MIT License") for file in project["license-files"])
