"""What the schedule, the blank and the diagnosis say to somebody who stands at the site with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from onebond import cli
from onebond.meter.bench import Shown
from onebond.meter.diagnose import Doctor
from onebond.meter.measurements import Measurement
from onebond.meter.plant import Plant
from onebond.reading import load

ROOT = Path(__file__).parents[1]
SKARV = ROOT / "fixtures" / "sites" / "skarv.yaml"
READINGS = ROOT / "fixtures" / "readings" / "skarv--healthy.readings.yaml"


def test_a_broken_input_of_an_inverter_leaves_the_rest_of_the_site_live() -> None:
    _, site, problems, _ = load(str(SKARV))
    assert site is not None, problems
    plant = Plant(site)
    state = plant.complete({"hybrid": "passing", "ts": "island"})
    assert not isinstance(state, str)
    doctor = Doctor(plant)
    broken = next(one for one in doctor.known if one.words == "the L1 core of to-hybrid is open")
    asked = [(state, Measurement("voltage", place, "L1-N", False)) for place in ("main", "essential")]
    ahead, behind = doctor.predicted((broken,), asked)
    assert getattr(ahead, "value", 0.0) == pytest.approx(230, rel=0.01)  # fed by the shore, whatever the inverter lacks
    # it inverts by itself, or its output is dead: either may be read
    assert isinstance(behind, Shown) and [way.value for way in behind.ways] == pytest.approx([230, 0], abs=1)


@pytest.mark.parametrize("form", ["text", "html", "csv"])
def test_a_voltage_under_load_is_told_from_one_without(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["schedule", str(SKARV), "--report", form]) == 0
    out = capsys.readouterr().out
    assert "voltage N-PE, loads on" in out
    # a final circuit shows a broken neutral under its load only, a board without
    for words in ("voltage L1-N, loads on", "voltage L1-N, loads off", "voltage L1-PE, loads off"):
        assert words in out
    assert "loads on, loads on" not in out


def test_the_day_of_a_blank_has_to_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["schedule", str(SKARV), "--blank"]) == 0
    text = capsys.readouterr().out + "  - {at: main, L1-N: 230 V}\n"
    file = tmp_path / "skarv.readings.yaml"
    file.write_text(text, encoding="utf-8")
    assert cli.main(["diagnose", str(SKARV), str(file)]) == 3
    assert "`_` at `taken` is not a date" in capsys.readouterr().err


def test_readings_in_place_of_a_description_are_one_problem(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["diagnose", str(READINGS), str(SKARV)]) == 3
    told = capsys.readouterr().err
    assert told.count("[description-refused]") == 1
    assert "these are readings, not a description" in told


def test_the_page_of_a_rule_about_readings_shows_readings(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["explain", "reading-contradicts-design"]) == 0
    out = capsys.readouterr().out
    assert "with these readings beside it, at main:" in out
    assert "+   - {at: main, loads: off, L1-N: 229 V, N-PE: 12 V}" in out
