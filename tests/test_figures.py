"""Computed figures: values that can be worked out by hand, what is not known, and the three forms of the report.

The snapshots hold the layout; where a value in them changes, the tests of the facts say whether it may.
"""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from syrupy.assertion import SnapshotAssertion

from conftest import BROKEN, ROOT
from onebond import cli
from onebond.reporting import figures, neutralise
from onebond.result import (
    FailureFigure,
    Fault,
    FaultFigure,
    Figures,
    FloatingFigure,
    RcdFigure,
    Site,
    SupplyFigure,
)

SITES = ROOT / "fixtures" / "sites"
SHORT = "size: 95 mm2, length: 0.1 m"  # so little impedance that three digits do not show it

TN = f"""\
onebond: 1
site: {{name: Pole house, rulebook: iec, stage: design}}
sources:
  grid: {{kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 0.35 ohm, fault-current: 1 kA}}
boards: {{main: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N PE, {SHORT}, through: [{{kind: mcb, curve: B, rating: 32 A}}]}}
circuits:
  cooker: {{from: main, cores: L1 N PE, {SHORT}, serves: fixed, load: 2.3 kW}}
"""

TT = f"""\
onebond: 1
site: {{name: Hill barn, rulebook: iec, stage: design}}
sources:
  grid: {{kind: utility, phases: L1, voltage: 230 V, earthing: TT, loop-impedance: 1 ohm}}
boards: {{main: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 N, {SHORT}, through: [{{kind: rcd, id: rcd-1, rating: 40 A, residual: 30 mA, type: A}}]}}
circuits:
  lamps: {{from: main, cores: L1 N PE, {SHORT}, serves: lighting, leakage: 3 mA}}
electrodes:
  rod: {{at: main, resistance: 20 ohm}}
"""

FLOATING = f"""\
onebond: 1
site: {{name: Tarn hut, rulebook: iec, stage: design}}
sources:
  inv: {{kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, neutral-bond: none, filter-capacitance: 4.7 nF}}
boards: {{hut: {{}}}}
connections:
  feed: {{from: inv, to: hut, cores: L1 N PE, {SHORT}}}
circuits:
  lamps: {{from: hut, cores: L1 N PE, {SHORT}, serves: lighting}}
"""

PEN = f"""\
onebond: 1
site: {{name: Mill, rulebook: iec, stage: design}}
sources:
  grid: {{kind: utility, phases: L1 L2 L3, voltage: 230/400 V, earthing: TN-C-S, loop-impedance: 0.001 ohm, fault-current: 20 kA}}
boards: {{main: {{}}}}
connections:
  service: {{from: grid, to: main, cores: L1 L2 L3 PEN, {SHORT}}}
circuits:
  small: {{from: main, cores: L1 N PE, {SHORT}, serves: fixed, load: 2.3 kW}}
  large: {{from: main, cores: L2 N PE, {SHORT}, serves: fixed, load: 4.6 kW}}
bonds: {{link: {{at: main}}}}
electrodes: {{rod: {{at: main, resistance: 10 kohm}}}}
"""

IT = (
    TN.replace("earthing: TN-S, loop-impedance: 0.35 ohm", "earthing: IT")
    + """\
bonds: {surge: {at: main, impedance: 1.5 kohm}}
electrodes: {rod: {at: main, resistance: 10 ohm}}
"""
)

SET = f"""\
onebond: 1
site: {{name: Camp, rulebook: iec, stage: design}}
sources:
  diesel: {{kind: generator, phases: L1, voltage: 230 V, rating: 23 kVA, subtransient-reactance: 12 %, neutral-bond: fixed}}
boards: {{main: {{}}}}
connections:
  feed: {{from: diesel, to: main, cores: L1 N PE, {SHORT}, through: [{{kind: mcb, curve: C, rating: 100 A}}]}}
circuits:
  cooker: {{from: main, cores: L1 N PE, {SHORT}, serves: fixed, through: [{{kind: rcd, rating: 40 A, residual: 30 mA, type: A}}]}}
"""


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """The output of the command for a description, as the tree of its JSON or as text."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ONEBOND_DEBUG", "1")

    def run(description: str, *options: str, report: str = "json", status: int = 0) -> Any:
        (tmp_path / "site.yaml").write_text(description, encoding="utf-8")
        assert cli.main(["figures", "site.yaml", "--report", report, *options]) == status
        out = capsys.readouterr().out
        return json.loads(out, parse_constant=pytest.fail) if report == "json" else out

    return run


def row(tree: dict[str, Any], table: str, **wanted: object) -> dict[str, Any]:
    """The one row of a table with these values."""
    found = [one for one in tree[table] if wanted.items() <= one.items()]
    assert len(found) == 1, (table, wanted, found)
    return dict(found[0])


# -- values ------------------------------------------------------------------------------------------------------------


def test_a_fault_in_tn(ask: Any) -> None:
    # 230 V / 0.35 ohm; half of the loop is the PE of the supply; a B32 breaker is certain to open at 160 A within 0.1 s
    fault = row(ask(TN), "earth-faults", place="main")
    assert (fault["loop-ohm"], fault["current-a"], fault["touch-v"]) == (0.35, 657, 115)
    assert (fault["device"], fault["opens-within-s"], fault["limit-s"]) == ("the mcb in service", 0.1, 5)
    assert (fault["earthing"], fault["line"], fault["verdict"], fault["fed-by"]) == ("TN", "L1", "certain", ["grid"])
    assert row(ask(TN), "earth-faults", place="cooker")["limit-s"] == 0.4


def test_the_rulebook_says_what_is_left_of_the_voltage(ask: Any) -> None:
    tree = ask(TN, "--rulebook", "bs7671")
    assert row(tree, "earth-faults", place="main")["current-a"] == 624  # 0.95 x 230 V / 0.35 ohm
    assert (tree["assumed"]["voltage-factor"], tree["assumed"]["fuses"]) == (0.95, "BS 88-2")
    assert "0.95 of the nominal voltage" in ask(TN, "--rulebook", "bs7671", report="text")
    tree = ask(TN, "--rulebook", "nec")
    assert tree["assumed"]["limits-of-table-41.1"] is False
    assert "the rulebook has no table of times" in ask(TN, "--rulebook", "nec", report="text")


def test_a_breaker_that_the_fault_does_not_trip_for_certain(ask: Any) -> None:
    # 230 V / 2 ohm = 115 A: between 3 and 5 times 32 A, so it may open at once and nobody can say that it does
    fault = row(ask(TN.replace("0.35 ohm", "2 ohm")), "earth-faults", place="cooker")
    assert (fault["current-a"], fault["verdict"], fault["may-open-from-s"]) == (115, "possible", 0)
    out = ask(TN.replace("0.35 ohm", "2 ohm"), report="text")
    assert "not certain: may open from 0 ms on" in " ".join(out.split())


def test_a_fault_in_tt(ask: Any) -> None:
    # 230 V / (20 + 1) ohm, and the frame has 20 of the 21 ohm; 11 A are far beyond five times 30 mA
    fault = row(ask(TT), "earth-faults", place="lamps")
    assert (fault["loop-ohm"], fault["current-a"], fault["touch-v"]) == (21, 11, 219)
    assert (fault["device"], fault["opens-within-s"], fault["limit-s"]) == ("rcd-1", 0.04, 0.2)
    assert (fault["earthing"], fault["verdict"]) == ("TT", "certain")


def test_normal_service(ask: Any) -> None:
    tree = ask(TN)  # 2.3 kW at 230 V are 23 ohm; with 0.35 ohm ahead of them 9.85 A flow
    conductor = row(tree, "conductors", cable="service")
    assert (conductor["neutral-core"], conductor["neutral-a"], conductor["pe-a"]) == ("N", 9.85, 0)
    rcd = row(ask(TT), "rcds", device="rcd-1")
    assert (rcd["rated-a"], rcd["leakage-a"], rcd["no-load"]) == (0.03, 0.003, ["lamps"])


def test_neutral_to_pe_is_the_drop_of_the_neutral(ask: Any) -> None:
    # an inverter bonded at the board: of the drop in the circuit half is in the neutral
    site = FLOATING.replace("serves: lighting", "serves: lighting, load: 10 A") + "bonds: {link: {at: hut}}\n"
    site = site.replace(
        "lamps: {from: hut, cores: L1 N PE, size: 95 mm2, length: 0.1 m",
        "lamps: {from: hut, cores: L1 N PE, size: 2.5 mm2, length: 20 m",
    )
    place = row(ask(site), "places", place="lamps")
    # the drop is that of the nominal current; at the lower voltage of the end less of it flows
    drop = place["drop-percent"] / 100
    assert drop / (1 + drop) * 230 / 2 == pytest.approx(place["n-pe-v"], rel=0.01)
    assert place["n-pe-v"] > 1


def test_readings_of_a_floating_system(ask: Any) -> None:
    # published check values for 4.7 nF at either conductor: 115 V with 10 Mohm, 1.02 V with 3 kohm
    tree = ask(FLOATING)
    reading = row(tree, "floating", place="hut")
    assert reading["digital-v"]["l-n"] == {"low": 230, "high": 230}
    assert reading["digital-v"]["n-pe"] == reading["digital-v"]["l-pe"] == {"low": 115, "high": 115}
    assert reading["low-impedance-v"]["n-pe"]["low"] == 1.02  # the cables themselves add a little at the most
    assert reading["cables-only"] is False
    assert {fault["earthing"] for fault in tree["earth-faults"]} == {"floating"}
    assert {fault["limit-s"] for fault in tree["earth-faults"]} == {None}


def test_a_broken_pen(ask: Any) -> None:
    # 23 and 11.5 ohm in series across 400 V; the neutral, and with it every frame, stands at 230 V / sqrt(3)
    failure = row(ask(PEN), "failures", cable="service")
    assert (failure["core"], failure["load-v"], failure["load-at"]) == ("PEN", 266, "small")
    assert (failure["frame-v"], failure["nominal-v"]) == (133, 230)


def test_an_it_system_has_a_second_fault(ask: Any) -> None:
    tree = ask(IT)
    first = row(tree, "earth-faults", place="cooker", **{"second-fault": False})
    assert (first["earthing"], first["limit-s"], first["verdict"]) == ("IT", None, "-")
    assert first["current-a"] == 0.153  # 230 V / 1.5 kohm
    second = row(tree, "earth-faults", place="cooker", **{"second-fault": True})
    assert (second["limit-s"], second["verdict"], second["device"]) == (0.4, "certain", "the mcb in service")
    assert "IT L1, 2nd" in ask(IT, report="text")


# -- what is not known -------------------------------------------------------------------------------------------------


def test_a_draft_says_what_is_missing(ask: Any) -> None:
    draft = TN.replace("stage: design", "stage: draft").replace(
        f"L1 N PE, {SHORT}, serves", "L1 N PE, size: 6 mm2, serves"
    )
    tree = ask(draft)
    cooker = row(tree, "earth-faults", place="cooker")
    assert (cooker["verdict"], cooker["open"], cooker["why"]) == ("open", "the length of cooker", "")
    assert {cooker[key] for key in ("loop-ohm", "current-a", "opens-within-s", "touch-v", "touch-met-v")} == {None}
    assert row(tree, "earth-faults", place="main")["current-a"] == 657
    assert row(tree, "places", place="cooker")["open"] == "the length of cooker"
    out = ask(draft, report="text")
    assert "open: length of cooker" in out
    assert "0.350" in out


def test_what_no_leakage_is_written_for_is_not_nothing(ask: Any) -> None:
    rcd = row(ask(TT.replace(", leakage: 3 mA", "")), "rcds", device="rcd-1")
    assert (rcd["leakage-a"], rcd["with-loads-a"], rcd["open"]) == (None, None, "the leakage of lamps")


def test_a_set_that_declares_nothing_has_no_loop(ask: Any) -> None:
    # 23 kVA at 230 V: 100 A rated, of which a set of which nothing is declared gives 0.3 for good
    tree = ask(SET)
    main, cooker = (row(tree, "earth-faults", place=place) for place in ("main", "cooker"))
    assert (main["loop-ohm"], main["current-a"], main["limited-by"]) == (None, 30, "diesel")
    assert (main["verdict"], main["open"]) == ("open", "the sustained-fault-current of diesel")
    assert (cooker["verdict"], cooker["device"]) == ("certain", "the rcd in cooker")
    assert tree["assumed"]["fault-current-not-written"] == ["diesel"]
    assert "30.0*" in ask(SET, report="text")


# -- the reports -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["skarv", "hut"])
def test_text(name: str, ask: Any, snapshot: SnapshotAssertion) -> None:
    assert ask((SITES / f"{name}.yaml").read_text(encoding="utf-8"), report="text") == snapshot


@pytest.mark.parametrize("name", ["skarv", "tt-farm", "pump-station", "hut--floating", "nec-cabin-switched"])
def test_text_fits_a_wide_page(name: str, ask: Any) -> None:
    out = ask((SITES / f"{name}.yaml").read_text(encoding="utf-8"), report="text")
    assert max(len(line) for line in out.splitlines()) <= 120
    assert out.endswith("a licensed person answers for\nboth.\n")


def test_every_key_of_the_json_is_documented(ask: Any) -> None:
    told = set(
        (ROOT / "README.md").read_text(encoding="utf-8").split("## Figures")[1].split("\n## ")[0].split("`")[1::2]
    )

    def keys(value: Any) -> set[str]:
        if isinstance(value, dict):
            inner = [keys(one) for name, one in value.items() if name != "when"]
            return {*value, *(key for found in inner for key in found)}
        return {key for one in value for key in keys(one)} if isinstance(value, list) else set()

    used: set[str] = set()
    for name in ("skarv", "tt-farm", "pump-station", "hut--floating"):
        used |= keys(ask((SITES / f"{name}.yaml").read_text(encoding="utf-8")))
    used |= keys(ask(BROKEN, status=3))
    assert len(used) > 60
    assert not used - told


def test_the_example_of_the_readme(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8").split("$ onebond figures ")[1]
    command, _, shown = text.partition("```")[0].partition("\n")
    monkeypatch.chdir(ROOT)
    assert cli.main(["figures", *command.split()]) == 0
    assert capsys.readouterr().out.startswith(shown)


def test_csv_holds_what_the_json_holds(ask: Any) -> None:
    for name in ("skarv", "pump-station"):
        site = (SITES / f"{name}.yaml").read_text(encoding="utf-8")
        written = ask(site, report="csv")
        assert written.count("\r\n") == written.count("\n")
        rows = list(csv.DictReader(io.StringIO(written, newline=""), strict=True))
        faults = ask(site)["earth-faults"]
        assert len(rows) == len(faults)
        assert list(rows[0]) == list(figures.CSV_COLUMNS)
        for one, fault in zip(rows, faults, strict=True):
            assert (one["place"], one["verdict"], one["open"]) == (
                fault["place"],
                fault["verdict"],
                fault["open"],
            )
            for column in figures.CSV_COLUMNS:
                if isinstance(fault[column], float):
                    assert float(one[column]) == fault[column]
                elif fault[column] is None:
                    assert one[column] == ""


def test_csv_has_no_place_for_a_refusal(ask: Any, capsys: pytest.CaptureFixture[str]) -> None:
    (Path.cwd() / "site.yaml").write_text(BROKEN)
    assert cli.main(["figures", "--report", "csv", "site.yaml"]) == 3
    out, err = capsys.readouterr()
    assert out == ",".join(figures.CSV_COLUMNS) + "\r\n"
    assert "hutt" in err


def test_only_what_is_asked_for(ask: Any, capsys: pytest.CaptureFixture[str]) -> None:
    site = (SITES / "skarv.yaml").read_text(encoding="utf-8")
    tree = ask(site, "--place", "ts", "--place", "ts.island", "--section", "faults")
    assert {fault["place"] for fault in tree["earth-faults"]} == {"ts", "ts.grid", "ts.island"}
    assert not any(tree[table] for table in ("places", "conductors", "rcds", "floating", "failures"))
    tree = ask(site, "--place", "rcd-group", "--place", "freezer")
    assert {fault["place"] for fault in tree["earth-faults"]} == {"freezer"}
    assert {rcd["device"] for rcd in tree["rcds"]} == {"rcd-group"}
    assert {conductor["cable"] for conductor in tree["conductors"]} == {"rcd-group"}
    out = ask(site, "--place", "freezer", "--section", "service", report="text")
    assert "earth faults" not in out
    assert "lab-sockets  " not in out
    assert "no figures of what was asked for" in ask(site, "--section", "floating", report="text")
    assert ask(site, "--place", "frezer", report="text", status=2) == ""
    assert cli.main(["figures", "--place", "frezer", "site.yaml"]) == 2
    assert "nothing is called 'frezer', did you mean 'freezer'?" in capsys.readouterr().err


NOUGHT = FaultFigure(
    *("=1+1", "=1+1", ((),), ("-src",), "L1", False, "TN", 0.5, 460.0, "@dev", 0.1, 0.0, 0.4, "certain"),
    *(115.0, 0.0, "", "", ""),
)
HOSTILE = Site(
    "a\x1b[2Jb.yaml",
    (),
    "ab",
    "n\u202eame",
    "iec",
    "design",
    cases=1,
    not_proven=("x\x07",),
    faults=(Fault("r", "s\x9b", "m"),),
    figures=Figures(
        (NOUGHT, NOUGHT._replace(at="\x1b]0;x\x07\n", device="\t=2", open="\u202e", verdict="open")),
        (SupplyFigure("p", "p\x85", ((),), ("s",), 1.0, 2.0, ("c\x1b",), "o\n", ""),),
        (),
        (RcdFigure("r\x1b", ((("v\x1b", ("on",)),),), (), 0.03, None, None, "d\x07", True, (), (), "", "w"),),
        (FloatingFigure("f\x1b", ((),), ("s",), "L1", (None,) * 3, ((1.0, 2.0),) * 3, None, True),),
        (FailureFigure("c\x1b", "PEN", ((),), ("s",), "f\x1b", 1.0, "l\x1b", 2.0, 230.0, "", ""),),
        *(1.0, "g\x1b", True, ("u\x1b",), True, (("i\x1b", "inverter"),), ("k\x1b",), ("l\x1b",), ()),
    ),
)


def test_names_stay_names() -> None:
    out = figures.render(HOSTILE)
    assert all(char == "\n" or char.isprintable() for char in out)
    assert "a<U+001B>[2Jb.yaml: n<U+202E>ame" in out
    tree = json.loads(figures.render_json(HOSTILE))
    assert tree["earth-faults"][1]["device"] == "\t=2"  # JSON escapes a tab
    assert tree["earth-faults"][1]["place"] == "<U+001B>]0;x<U+0007>\n"
    rows = list(csv.reader(io.StringIO(figures.render_csv(HOSTILE), newline=""), strict=True))
    assert len(rows) == 3
    assert [rows[1][at] for at in (0, 2, 8)] == ["'=1+1", "'-src", "'@dev"]
    assert all(cell.isprintable() and not cell.startswith(("=", "+", "-", "@")) for one in rows for cell in one)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "  =", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\u00a0="])
def test_a_spreadsheet_computes_nothing(start: str) -> None:
    assert neutralise.for_csv(f"{start}1").startswith("'")
    assert neutralise.for_csv("main-link = 1") == "main-link = 1"
    assert neutralise.for_csv("\t=1") == "<U+0009>=1"


def test_an_error_inside_is_never_silent() -> None:
    out = figures.render(Site("x.yaml", (), "", "", "", "", faults=(Fault("(none)", "x.yaml", "broke off"),)))
    assert "internal error" in out
    assert "no live island" not in out


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (None, "-"),
        (0.0, "0"),
        (0.35, "0.350"),
        (8.7, "8.70"),
        (26.1, "26.1"),
        (657.0, "657"),
        (12300.0, "12300"),
        (0.004, "0.004"),
    ],
)
def test_numbers_have_three_digits(value: float | None, shown: str) -> None:
    assert figures.number(value) == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [(None, "-"), (0.0, "0 ms"), (0.04, "40 ms"), (0.4, "400 ms"), (1.0, "1 s"), (5.0, "5 s"), (3600.0, "3600 s")],
)
def test_times_have_a_unit(value: float | None, shown: str) -> None:
    assert figures.seconds(value) == shown


@pytest.mark.parametrize("report", ["text", "json", "csv"])
def test_hash_seed_changes_no_byte(report: str) -> None:
    code = "import sys; from onebond.cli import main; sys.exit(main(sys.argv[1:]))"
    outputs = set()
    for seed in ("0", "1", "77"):
        done = subprocess.run(
            [sys.executable, "-c", code, "figures", "--report", report, str(SITES / "skarv--no-key-interlock.yaml")],
            capture_output=True,
            timeout=120,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        assert done.returncode == 0, done.stderr
        outputs.add(done.stdout)
    assert len(outputs) == 1
