"""The generated files are those that the rules and the schema give, and the command says which are not."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from conftest import ROOT
from onebond.reporting import generate
from onebond.reporting.rule_pages import rule_page, rule_table
from onebond.result import RulePage
from onebond_rules import RULES

FILES = generate.generated(RULES)

PAGE = RulePage(
    "neutral-odd",
    "warning",
    "A neutral is odd.",
    "whether it | is odd.",
    "it stays odd.",
    "make it even.",
    ("iec: IEC 1 2.3 ?", "common practice, no source"),
    (("iec", "warning"), ("nec", "off")),
    (("limit", "3", "how odd it may be, in ampere"),),
    "# hut: finds nothing\n- a: 1\n+ a: 2",
    "# hut: finds x\n- a: 1\n+ a: 3\n\n# shed under nec: finds y\n- b: 1",
)


def test_nothing_is_stale() -> None:
    """If this fails: python -m onebond.reporting.generate."""
    assert generate.stale(str(ROOT), FILES) == []


def test_the_command_agrees() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "onebond.reporting.generate", "--check"], cwd=ROOT, capture_output=True, text=True
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_what_is_generated() -> None:
    ids = [rule.id for rule in RULES]
    assert {f"rules/pages/{one}.md" for one in ids} < set(FILES)
    assert {"rules/README.md", "rules/RULEBOOKS.md", "schemas/REFERENCE.md"} < set(FILES)
    assert all(text.endswith("\n") and not text.endswith("\n\n") for text in FILES.values())
    rows = [line for line in FILES["rules/README.md"].splitlines() if line.startswith("| [")]
    assert [row.partition("[")[2].partition("]")[0] for row in rows][: len(ids)] == ids
    assert all(f"rules/{row.partition('(')[2].partition(')')[0]}" in FILES for row in rows)


def test_the_rulebooks_stand_side_by_side() -> None:
    lines = FILES["rules/RULEBOOKS.md"].splitlines()
    rows = {line.partition("]")[0][3:]: line.split(" | ")[1:] for line in reversed(lines) if line.startswith("| [")}
    assert rows["changeover-neutral-switched"] == [*["not asked for"] * 3, "error", "not asked for |"]
    (factor,) = [
        line for line in lines if line.startswith("| [disconnection-too-slow]") and "minimum-voltage-factor" in line
    ]
    assert factor.endswith("| 1 | 0.95 | 1 | 1 | 1 |")
    clauses = {
        line.partition("]")[0][3:]: line for line in lines[lines.index("## Clauses") :] if line.startswith("| [")
    }
    assert set(clauses) >= {rule.id for rule in RULES}
    for rule in RULES:
        for ref in rule.refs:
            if ref.rulebook != "all" and rule.level_in(ref.rulebook) != "off":
                assert str(ref) in clauses[rule.id], (rule.id, ref)


def test_stale_missing_and_left_over_files_are_named_and_put_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = str(tmp_path)
    (tmp_path / "pyproject.toml").touch()
    assert generate.main(["--check"], root) == 1
    capsys.readouterr()
    assert generate.main([], root) == 0
    assert sorted(capsys.readouterr().out.split()[1::2]) == sorted(FILES)
    assert generate.main(["--check"], root) == 0
    assert capsys.readouterr().out == ""

    (tmp_path / "rules/README.md").write_bytes(b"\xff")
    (tmp_path / "rules/pages/pe-missing.md").unlink()
    (tmp_path / "rules/pages/no-more.md").touch()
    assert generate.main(["--check"], root) == 1
    names = ["rules/README.md", "rules/pages/pe-missing.md", "rules/pages/no-more.md"]
    assert capsys.readouterr().out == "".join(f"stale: {name}\n" for name in names)
    assert generate.main([], root) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "deleted: rules/pages/no-more.md"
    assert generate.stale(root, FILES) == []


@pytest.mark.parametrize("argv", [["--chekc"], ["--check", "x"]])
def test_wrong_use(argv: list[str], tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").touch()
    assert generate.main(argv, str(tmp_path)) == 2
    assert list(tmp_path.iterdir()) == [tmp_path / "pyproject.toml"]


def test_where_there_is_no_source_tree(tmp_path: Path) -> None:
    assert generate.main([], str(tmp_path)) == 2
    assert list(tmp_path.iterdir()) == []


def test_rule_page() -> None:
    lines = rule_page(PAGE).splitlines()
    assert lines[0] == "# neutral-odd"
    assert "Whether it | is odd." in lines
    assert "| iec | warning | IEC 1 2.3 ? |" in lines
    assert "| nec | off | does not have this rule |" in lines
    assert "| all rulebooks |  | common practice, no source |" in lines
    assert "?: this clause number is from memory and was not checked against the text." in lines
    assert "| `limit` | 3 | how odd it may be, in ampere |" in lines
    assert lines.count("```diff") == 3
    assert lines.index("### Found") < lines.index("+ a: 3") < lines.index("### Not found") < lines.index("+ a: 2")
    assert lines[-1].startswith("The installations: [hut](../onebond_rules/bases/hut.yaml), [shed](")


def test_rule_page_without_examples_and_parameters() -> None:
    text = rule_page(PAGE._replace(passing="", failing="", parameters=(), references=("a | b",), levels=()))
    assert "Examples" not in text
    assert "Parameters" not in text
    assert "from memory" not in text
    assert "| all rulebooks | warning | a \\| b |" in text


def test_rule_table() -> None:
    lines = rule_table([PAGE, PAGE._replace(id="later", levels=())]).splitlines()
    assert lines[-4:] == [
        "| rule | finds | iec | nec |",
        "| --- | --- | --- | --- |",
        "| [neutral-odd](pages/neutral-odd.md) | A neutral is odd. | warning | off |",
        "| [later](pages/later.md) | A neutral is odd. | warning | warning |",
    ]
