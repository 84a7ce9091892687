"""Who may know whom: the import contract of pyproject.toml, and what the command line may load."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import HUT, ROOT

# Third-party packages, and the only modules that may import them.
HOMES = {
    "ruamel": {"onebond.document"},
    "jsonschema": {"onebond.schema"},
    "jinja2": {"onebond.reporting.page"},
    "markupsafe": {"onebond.reporting.page"},
    "numpy": {"onebond.circuit"},
    "xlsxwriter": {"onebond.reporting.sheet"},
}

# What takes longer to import than a description takes to inspect.
SLOW = [
    "dataclasses",
    "importlib.metadata",
    "inspect",
    "jinja2",
    "jsonschema",
    "networkx",
    "numpy",
    "rich",
    "tempfile",
    "xlsxwriter",
]


def modules() -> dict[str, Path]:
    found = {}
    for folder in ("linter", "rules", "schemas"):
        for file in sorted((ROOT / folder).rglob("*.py")):
            name = ".".join(file.relative_to(ROOT / folder).with_suffix("").parts)
            found[name.removesuffix(".__init__")] = file
    return found


def imported(file: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_bytes())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            names |= {node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def test_import_contracts() -> None:
    command = Path(sys.executable).parent / "lint-imports"
    done = subprocess.run([command, "--no-cache"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "4 kept, 0 broken" in done.stdout


def test_third_party_packages_have_one_home() -> None:
    standard = {*sys.stdlib_module_names, "onebond", "onebond_rules", "onebond_schemas"}
    for name, file in modules().items():
        for package in {one.partition(".")[0] for one in imported(file)} - standard:
            home = next((home for home in HOMES.get(package, ()) if (name + ".").startswith(home + ".")), None)
            assert home, f"{name} imports {package}"


def test_rules_import_only_the_contract() -> None:
    for name, file in modules().items():
        if name.startswith("onebond_rules"):
            ours = {one for one in imported(file) if one.partition(".")[0] == "onebond"}
            assert all(one == "onebond" or one.startswith("onebond.rule") for one in ours), (name, ours)


def test_the_core_does_not_know_the_rules() -> None:
    for name, file in modules().items():
        if name.startswith("onebond."):
            assert not any(one.startswith("onebond_rules") for one in imported(file)), name


@pytest.mark.parametrize("arguments", [["--help"], ["inspect", "hut.yaml"], ["explain"]])
def test_nothing_slow_is_loaded(tmp_path: Path, arguments: list[str]) -> None:
    (tmp_path / "hut.yaml").write_text(HUT)
    code = "import sys; from onebond.cli import main; code = main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}; sys.exit(code)", *arguments], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert not set(done.stderr.split()) & set(SLOW)
