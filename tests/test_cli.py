"""The command line: what it takes, what it prints, and its exit status."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

import onebond
import onebond_rules
from conftest import BROKEN, FLOATING, HUT, ROOT, Run
from onebond import cli, loading
from onebond.rule import Example, Rule

SITES = ROOT / "fixtures" / "sites"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a good, a bad and a broken description, as the current one."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("ONEBOND_DEBUG", raising=False)
    (tmp_path / "hut.yaml").write_text(HUT)
    (tmp_path / "floating.yaml").write_text(FLOATING)
    (tmp_path / "broken.yaml").write_text(BROKEN)
    return tmp_path


# -- exit status -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["inspect", "hut.yaml"], 0),
        (["inspect", "floating.yaml"], 1),
        (["inspect", "hut.yaml", "floating.yaml"], 1),
        (["inspect", "broken.yaml"], 3),
        (["inspect", "."], 3),
        (["inspect", "--report", "sarif", "floating.yaml"], 1),
        (["inspect", "--fail-on", "note", "floating.yaml"], 1),
        (["states", "hut.yaml"], 0),
        (["states", "floating.yaml"], 0),
        (["states", "broken.yaml"], 3),
        (["figures", "hut.yaml"], 0),
        (["figures", "floating.yaml"], 0),
        (["figures", "broken.yaml"], 3),
        (["figures", "--report", "json", "broken.yaml"], 3),
        (["figures", "--place", "lamps", "--section", "faults", "--report", "csv", "hut.yaml"], 0),
        (["explain"], 0),
        (["explain", "neutral-unreferenced"], 0),
        (["explain", "--rulebook", "nec", "neutral-unreferenced"], 0),
        (["--help"], 0),
        (["-h"], 0),
        (["--version"], 0),
        (["inspect", "--help"], 0),
        ([], 2),
        (["inspekt", "hut.yaml"], 2),
        (["hut.yaml"], 2),
        (["--unknown"], 2),
        (["inspect"], 2),
        (["inspect", ""], 2),
        (["inspect", "gone.yaml"], 2),
        (["inspect", "hut.yaml", "gone.yaml"], 2),
        (["inspect", "--unknown", "hut.yaml"], 2),
        (["inspect", "--rep", "sarif", "hut.yaml"], 2),
        (["inspect", "--report", "hut.yaml"], 2),
        (["inspect", "--fail-on", "never", "hut.yaml"], 2),
        (["inspect", "--rulebook", "iecc", "hut.yaml"], 2),
        (["inspect", "--today", "31.3.2027", "hut.yaml"], 2),
        (["inspect", "--out", "gone/report", "hut.yaml"], 2),
        (["states"], 2),
        (["states", "hut.yaml", "floating.yaml"], 2),
        (["states", "gone.yaml"], 2),
        (["figures"], 2),
        (["figures", "hut.yaml", "floating.yaml"], 2),
        (["figures", "gone.yaml"], 2),
        (["figures", "--place", "lamp", "hut.yaml"], 2),
        (["figures", "--section", "lamps", "hut.yaml"], 2),
        (["figures", "--report", "csv", "--section", "service", "hut.yaml"], 2),
        (["explain", "neutral-unreferencd"], 2),
        (["explain", "pe-missing", "pe-switched"], 2),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else str(value),
)
def test_exit_status(here: Path, arguments: list[str], status: int, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(arguments) == status
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert (out == "" and err != "") if status == 2 else out != ""


def test_a_folder_without_a_description_is_not_clean(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "empty").mkdir()
    (here / "empty" / "notes.yaml").write_text("title: notes\n")
    assert cli.main(["inspect", "empty"]) == 2
    err = capsys.readouterr().err
    assert "nothing to inspect" in err
    assert "empty/notes.yaml" in err


def test_what_is_missing_is_named_and_a_near_word_offered(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["inspect", "gone.yaml"]) == 2
    assert "gone.yaml" in capsys.readouterr().err
    assert cli.main(["inspekt"]) == 2
    assert "did you mean 'inspect'?" in capsys.readouterr().err
    assert cli.main(["explain", "neutral-unreferencd"]) == 2
    assert "did you mean 'neutral-unreferenced'?" in capsys.readouterr().err


@pytest.mark.parametrize("path", ["hut.yaml", ".", "gone/site.yml", "gone.yaml", "sites/gone"])
def test_a_path_without_a_command(here: Path, path: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([path, "--report", "sarif"]) == 2
    assert f"no command '{path}', did you mean `onebond inspect {path}`?" in capsys.readouterr().err


def test_one_bad_file_hides_no_other(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "noise.yaml").write_bytes(b"onebond: 1\n\xff\xfe\x00")
    assert cli.main(["inspect", "."]) == 3
    out = capsys.readouterr().out
    assert re.search(r"^broken\.yaml:\d+:\d+: error: .*hutt", out, re.MULTILINE)
    assert re.search(r"^floating\.yaml:4:3: error: .*\[neutral-unreferenced\]$", out, re.MULTILINE)
    assert re.search(r"^noise\.yaml:\d+:\d+: error: ", out, re.MULTILINE)
    assert "hut.yaml" in out
    assert "4 sites" in out.splitlines()[-1]


def test_a_run_without_rules_is_never_clean(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(loading, "offers", lambda path: [])
    assert cli.main(["inspect", "hut.yaml"]) == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert "no rules are installed" in err


def test_an_error_of_ours_is_told_in_our_words(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> object:
        raise KeyError("\x1b[31mL1")

    monkeypatch.setattr("onebond.reporting.text.render", broken)
    assert cli.main(["inspect", "hut.yaml"]) == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert "internal error: KeyError" in err
    assert "ONEBOND_DEBUG=1" in err
    monkeypatch.setenv("ONEBOND_DEBUG", "1")
    with pytest.raises(KeyError):
        cli.main(["inspect", "hut.yaml"])


def test_a_broken_rule_stops_nothing_else(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_: object) -> object:
        raise ZeroDivisionError

    def rules() -> tuple[Rule, ...]:
        return tuple(rule._replace(check=broken) if rule.id == "pe-missing" else rule for rule in loaded)

    loaded = loading.load_rules()
    monkeypatch.setattr(loading, "load_rules", rules)
    assert cli.main(["inspect", "floating.yaml"]) == 70
    out = capsys.readouterr().out
    assert "[neutral-unreferenced]" in out
    assert re.search(r"internal error in rule pe-missing", out)


# -- arguments ---------------------------------------------------------------------------------------------------------


def test_options_and_paths_in_any_order(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    outputs = set()
    for arguments in (
        ["hut.yaml", "--report", "sarif", "floating.yaml"],
        ["--report", "sarif", "floating.yaml", "hut.yaml"],
        ["floating.yaml", "hut.yaml", "--report=sarif"],
        ["--report", "sarif", "floating.yaml", "--", "hut.yaml"],
    ):
        assert cli.main(["inspect", *arguments]) == 1
        outputs.add(capsys.readouterr().out)
    assert len(outputs) == 1


def test_after_two_hyphens_everything_is_a_path(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("--help", "--", "-x.yaml", "--out=hut.yaml"):
        (here / name).write_text(FLOATING)
        assert cli.main(["inspect", "--", name]) == 1
        assert f"{name}:4:3: error:" in capsys.readouterr().out


def test_skip_others_passes_over_what_is_no_description(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "notes.yaml").write_text("title: notes\n")
    assert cli.main(["inspect", "notes.yaml"]) == 3
    capsys.readouterr()
    assert cli.main(["inspect", "--skip-others", "notes.yaml"]) == 0
    out, err = capsys.readouterr()
    assert (out, "1 file (notes.yaml)" in err) == ("", True)
    assert cli.main(["inspect", "--skip-others", "notes.yaml", "floating.yaml"]) == 1
    assert cli.main(["inspect", "--skip-others", "notes.yaml", "broken.yaml"]) == 3


def test_the_rulebook_can_be_chosen(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["inspect", "--rulebook", "nec", "floating.yaml"]) == 1
    assert "rulebook nec" in capsys.readouterr().out
    assert cli.main(["inspect", "floating.yaml"]) == 1
    assert "rulebook iec" in capsys.readouterr().out


def test_waivers_are_judged_by_the_day_that_is_named(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    accepted = "waivers:\n"
    for rule in ("neutral-unreferenced", "electrode-missing", "pe-missing"):
        waiver = f"{{rule: {rule}, at: inverter, reason: relay ordered, until: 2027-03-31, by: J. Example}}"
        accepted += f"  - {waiver}\n"
    (here / "waived.yaml").write_text(FLOATING + accepted)
    assert cli.main(["inspect", "--today", "2027-03-31", "waived.yaml"]) == 0
    assert "waived" in capsys.readouterr().out
    assert cli.main(["inspect", "--today", "2027-04-01", "waived.yaml"]) == 1


# -- output ------------------------------------------------------------------------------------------------------------


def test_the_report_goes_to_a_file_whole(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "report.sarif").write_text("old")
    (here / "report.sarif").chmod(0o600)
    assert cli.main(["inspect", "--report", "sarif", "--out", "report.sarif", "floating.yaml"]) == 1
    assert capsys.readouterr().out == ""
    log = json.loads((here / "report.sarif").read_text(encoding="utf-8"))
    assert "neutral-unreferenced" in {one["ruleId"] for one in log["runs"][0]["results"]}
    assert (here / "report.sarif").stat().st_mode & 0o777 == 0o600
    assert sorted(one.name for one in here.iterdir()) == ["broken.yaml", "floating.yaml", "hut.yaml", "report.sarif"]


def test_a_report_that_cannot_be_written_leaves_the_old_one(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    (here / "report").write_text("old")
    monkeypatch.setattr(os, "fsync", full)
    assert cli.main(["inspect", "--out", "report", "hut.yaml"]) == 70
    assert "No space left on device" in capsys.readouterr().err
    assert (here / "report").read_text() == "old"
    assert sorted(one.name for one in here.iterdir()) == ["broken.yaml", "floating.yaml", "hut.yaml", "report"]


def test_no_report_over_a_description_or_a_device(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "link").symlink_to("hut.yaml")
    os.mkfifo(here / "pipe")
    for target in ("hut.yaml", "./hut.yaml", "link", "pipe", ".", os.devnull):
        assert cli.main(["inspect", "--out", target, "hut.yaml"]) == 2
        assert "--out" in capsys.readouterr().err
    assert (here / "hut.yaml").read_text() == HUT


def test_no_colour_but_at_a_terminal(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "\x1b[" not in at_terminal(here, {"NO_COLOR": "1"})
    assert "\x1b[" not in at_terminal(here, {"TERM": "dumb"})
    assert "\x1b[1;31merror:" in at_terminal(here, {"NO_COLOR": "", "TERM": "xterm"})


def at_terminal(folder: Path, environment: dict[str, str]) -> str:
    """What the command writes where its standard output is a terminal."""
    ours, theirs = os.openpty()
    command = [sys.executable, "-m", "onebond", "inspect", "floating.yaml"]
    started = subprocess.Popen(command, cwd=folder, env={**os.environ, **environment}, stdout=theirs)
    os.close(theirs)
    text = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # the other end was closed
            break
        if not piece:
            break
        text += piece
    os.close(ours)
    assert started.wait() == 1
    return text.decode()


def test_piped_output_has_no_colour(here: Path, run: Run) -> None:
    done = run("inspect", "floating.yaml", TERM="xterm")
    assert done.returncode == 1
    assert "\x1b" not in done.stdout


def test_same_bytes_whatever_the_surroundings(here: Path, run: Run) -> None:
    (here / "hütte.yaml").write_text(FLOATING.replace("Tarn hut", "Hütte am Tarn °"), encoding="utf-8")
    outputs = {
        run("inspect", ".", PYTHONHASHSEED=seed, LC_ALL=locale, TZ=zone).stdout
        for seed, locale, zone in (
            ("0", "C", "UTC"),
            ("1", "C.UTF-8", "Pacific/Kiritimati"),
            ("2", "POSIX", "Etc/GMT+12"),
        )
    }
    assert len(outputs) == 1
    assert "hütte.yaml:4:3:" in outputs.pop()


def test_hostile_file_names_are_only_names(here: Path, run: Run) -> None:
    for name in (b"new\nline.yaml", b"esc\x1b[31m.yaml", b"byte\xff.yaml", "bidi\u202e.yaml".encode()):
        with open(os.path.join(os.fsencode(here), name), "w", encoding="utf-8") as file:
            file.write(FLOATING)
    for report in ("text", "sarif"):
        done = run("inspect", ".", "--report", report, "--strict")
        assert done.returncode == 3
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f\u202a-\u202e]", done.stdout + done.stderr)
        assert done.stdout.count("neutral-unreferenced") >= 5
    done = run("inspect", "gone\x1b[31m\n.yaml")
    assert done.returncode == 2
    assert "\x1b" not in done.stderr


def test_a_full_disk_is_not_a_clean_run(here: Path) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "onebond", "inspect", "hut.yaml"], cwd=here, stdout=full, stderr=subprocess.PIPE
        )
    assert done.returncode == 70
    assert b"could not be written" in done.stderr
    assert b"Traceback" not in done.stderr


def test_a_reader_that_goes_away_changes_no_verdict(here: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with open(writing, "w") as closed:
        done = subprocess.run(
            [sys.executable, "-m", "onebond", "inspect", "floating.yaml"],
            cwd=here, stdout=closed, stderr=subprocess.PIPE,
        )  # fmt: skip
    assert (done.returncode, done.stderr) == (1, b"")


def test_closed_streams_change_no_verdict(here: Path) -> None:
    command = f'"{sys.executable}" -m onebond inspect floating.yaml'
    for closing, status in ((">&-", 1), ("2>&-", 1), (">&- 2>&-", 1)):
        assert subprocess.run(f"{command} {closing}", shell=True, cwd=here, capture_output=True).returncode == status


def test_an_interrupt_is_not_a_verdict(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object, **__: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr("onebond.engine.inspect", interrupted)
    assert cli.main(["inspect", "hut.yaml"]) == 128 + signal.SIGINT
    assert "interrupted" in capsys.readouterr().err


def test_nothing_is_imported_from_the_current_folder(here: Path, run: Run) -> None:
    trap = "import os; open(os.path.join(os.path.dirname(__file__), 'ran'), 'w')\n"
    for name in (
        "argparse",
        "typing",
        "re",
        "json",
        "onebond_rules",
        "ruamel",
        "__future__",
        "hashlib",
        "time",
        "difflib",
    ):
        (here / f"{name}.py").write_text(trap)
    about = here / "evil-1.dist-info"
    about.mkdir()
    (about / "entry_points.txt").write_text("[onebond.rules]\nevil = evil:RULES\n")
    (here / "evil.py").write_text(trap)
    assert run("inspect", "hut.yaml").returncode == 0
    assert run("explain", "pe-missin").returncode == 2
    command = Path(sys.executable).parent / "onebond"
    assert subprocess.run([command, "inspect", "hut.yaml"], cwd=here, capture_output=True).returncode == 0
    assert not (here / "ran").exists()


# -- states and explain ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("site", "source", "verdicts"),
    [
        # a van: the neutral of its inverter is tied to the body, which stands on tyres until a lead brings the pedestal's PE
        ("van", "combi", {"bonded once, no electrode", "earthed once"}),
        # the same reference with and without the stake of the homestead, while the grid is detached
        ("homestead--no-stake", "diesel", {"bonded once, no electrode"}),
        ("homestead", "diesel", {"earthed once"}),
    ],
)
def test_a_reference_without_an_electrode_is_not_called_earthed(
    site: str, source: str, verdicts: set[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["states", "--report", "json", str(ROOT / "fixtures" / "sites" / f"{site}.yaml")]) == 0
    islands = json.loads(capsys.readouterr().out)["islands"]
    alone = [island for island in islands if island["sources"] == [source]]
    found = {island["verdict"] for island in alone if not any("star point" in one for one in island["references"])}
    assert found == verdicts


def test_states_tell_where_the_neutral_is_earthed(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["states", "hut.yaml"]) == 0
    out = capsys.readouterr().out
    assert "inverter" in out
    assert "hut-link" in out
    assert cli.main(["states", "--report", "json", "hut.yaml"]) == 0
    tree = json.loads(capsys.readouterr().out)
    assert [island["sources"] for island in tree["islands"]] == [["inverter"]]


def test_explain_shows_every_rule_and_its_page(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["explain"]) == 0
    table = capsys.readouterr().out
    for rule in loading.load_rules():
        assert re.search(rf"^{rule.id} ", table, re.MULTILINE)
        assert cli.main(["explain", rule.id]) == 0
        page = capsys.readouterr().out
        assert page.startswith(f"{rule.id}: ")
        assert all(f"\n{heading}\n" in page for heading in ("Checks", "Danger", "Remedy", "References"))


def test_explain_shows_an_example(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bases = sorted((Path(onebond_rules.__file__).parent / "bases").glob("*.yaml"))
    example = Example(bases[0].stem, (("  one:\n  two:", "  one:"), ("here", "there")), ("some-link",))
    rules = tuple(rule._replace(examples=(example,)) for rule in loading.load_rules())
    monkeypatch.setattr(loading, "load_rules", lambda: rules)
    assert cli.main(["explain", "bond-behind-rcd"]) == 0
    out = capsys.readouterr().out
    passing, _, failing = out.partition("\nPasses\n")[2].partition("\nFails\n")
    good = bases[0].read_text(encoding="utf-8")
    assert [line.strip() for line in passing.split("\n")] == [line.strip() for line in good.split("\n")]
    wanted = ["with this change, at some-link:", "-   one:", "-   two:", "+   one:", "- here", "+ there"]
    assert failing.splitlines() == [f"  {line}" for line in wanted]


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == f"onebond {onebond.__version__}\n"
    assert cli.main(["--help"]) == 0
    assert all(f"\n  {command} " in cli.HELP for command in ("inspect", "states", "figures", "explain"))


# -- rules by entry point ----------------------------------------------------------------------------------------------


def distribution(folder: Path, name: str, entries: str) -> None:
    about = folder / f"{name}-1.0.dist-info"
    about.mkdir(parents=True)
    (about / "entry_points.txt").write_text(entries)


def test_entry_points_are_found_in_a_stable_order(tmp_path: Path) -> None:
    distribution(tmp_path / "a", "Zeta_Rules", "[onebond.rules]\nx = zeta:RULES\n\n[other]\ny = not:this\n")
    distribution(
        tmp_path / "a",
        "alpha",
        "[console_scripts]\nonebond.rules = no:main\n[onebond.rules]\n# no\nb = b:R\na=a:R [x]\n",
    )
    distribution(tmp_path / "b", "onebond", "[onebond.rules]\nbuiltin = onebond_rules:RULES\n")
    distribution(tmp_path / "b", "alpha", "[onebond.rules]\nshadowed = not:this\n")
    distribution(tmp_path / "b", "plain", "[console_scripts]\nplain = plain:main\n")
    path = ["", str(tmp_path / "gone"), str(tmp_path / "a"), str(tmp_path / "b"), str(tmp_path / "a")]
    assert [(one.distribution, one.name, one.target) for one in loading.offers(path)] == [
        ("onebond", "builtin", "onebond_rules:RULES"),
        ("alpha", "a", "a:R"),
        ("alpha", "b", "b:R"),
        ("zeta-rules", "x", "zeta:RULES"),
    ]


@pytest.mark.parametrize(
    ("module", "complaint"),
    [
        ("RULES = onebond_rules.RULES[:1]", "both have a rule called"),
        ("RULES = list(onebond_rules.RULES)", "not a tuple of rules"),
        ("RULES = ('pe-missing',)", "not a tuple of rules"),
        ("OTHER = ()", "cannot be loaded: AttributeError"),
        ("1 / 0", "cannot be loaded: ZeroDivisionError"),
    ],
)
def test_rules_that_break_their_promise_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: str, complaint: str
) -> None:
    distribution(tmp_path, "club", "[onebond.rules]\nmore = club_rules:RULES\n")
    (tmp_path / "club_rules.py").write_text(f"import onebond_rules\n{module}\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "club_rules", raising=False)
    with pytest.raises(loading.NoRules, match=complaint) as caught:
        loading.load_rules()
    assert "club" in str(caught.value)


# -- drawing -------------------------------------------------------------------------------------------------------------


def test_drawing_writes_an_svg_that_stands_alone(run: Run, tmp_path: Path) -> None:
    site = str(SITES / "skarv--no-key-interlock.yaml")
    plain = run("drawing", site)
    assert plain.returncode == 0 and plain.stderr == "" and plain.stdout.startswith("<svg ")
    assert ElementTree.fromstring(plain.stdout).tag == "{http://www.w3.org/2000/svg}svg"
    assert "no operating state" in plain.stdout and "<style>" in plain.stdout
    listed = run("states", site).stdout
    number = re.search(r"^(\d+)  shore, diesel: earthed twice$", listed, re.MULTILINE)
    assert number
    told = run("drawing", site, "--system", number[1], "--conductors", "--out", "plan.svg")
    assert (told.returncode, told.stdout, told.stderr) == (0, "", "onebond: the drawing is in plan.svg\n")
    drawn = (tmp_path / "plan.svg").read_text()
    assert "Live from shore, diesel: earthed twice." in drawn
    assert 'id="flag-1"' in drawn


def test_drawing_over_several_sheets(run: Run, tmp_path: Path) -> None:
    told = run("drawing", str(SITES / "skarv.yaml"), "--sheets", "--out", "plan.svg")
    assert told.returncode == 0 and told.stderr == "onebond: the drawing is in plan-1.svg\n"
    assert (tmp_path / "plan-1.svg").read_text().startswith("<svg ")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "draw what?"),
        (("missing.yaml",), "there is no file missing.yaml"),
        ((str(SITES / "hut.yaml"), "--system", "2"), "the site has 1 kind of live system"),
        ((str(SITES / "hut.yaml"), "--system", "0"), "the site has 1 kind of live system"),
        ((str(SITES / "hut.yaml"), "--sheets"), "needs --out"),
        ((str(SITES / "hut.yaml"), "--out", "nowhere/plan.svg"), "there is no folder"),
    ],
)
def test_drawing_says_what_it_cannot_do(run: Run, arguments: tuple[str, ...], said: str) -> None:
    told = run("drawing", *arguments)
    assert told.returncode == 2 and said in told.stderr and told.stdout == ""


def test_drawing_of_a_refused_description(run: Run) -> None:
    told = run("drawing", str(ROOT / "fixtures" / "broken" / "unit-missing.yaml"))
    assert told.returncode == 3 and told.stdout == "" and "has no unit" in told.stderr


# -- README --------------------------------------------------------------------------------------------------------------


def test_the_first_file_of_the_readme_gives_what_the_readme_shows(run: Run, tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```yaml\n(.*?)```", readme, re.DOTALL)
    (first,) = [block for block in blocks if block.startswith("onebond: 1")]
    (link,) = [block for block in blocks if block.startswith("bonds:")]
    shown = readme.split("$ onebond inspect hut.yaml\n")[1].split("```")[0]
    (tmp_path / "hut.yaml").write_text(first, encoding="utf-8")
    assert run("inspect", "hut.yaml").stdout == shown
    (tmp_path / "hut.yaml").write_text(f"{first}\n{link}", encoding="utf-8")
    told = run("inspect", "hut.yaml")
    assert told.returncode == 0 and told.stdout.startswith("hut.yaml: clean; ")
