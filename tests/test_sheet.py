"""How the test schedule is written: lines that fit on paper, columns in the order of the work, names that stay names."""

from __future__ import annotations

import csv
import functools
import io
import re
from pathlib import Path

import openpyxl
import pytest

from conftest import ROOT
from onebond import cli
from onebond.loading import load_rules
from onebond.reading import load
from onebond.reporting import page, sheet
from onebond.schedule import Schedule, schedule

SITES = ROOT / "fixtures" / "sites"


@functools.cache
def planned(name: str) -> Schedule:
    """The schedule of a site, in the words of iec."""
    _, site, problems, _ = load(str(SITES / f"{name}.yaml"))
    assert site is not None, problems
    return schedule(site, load_rules())


# -- text ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [0, 60, 80, 250])
@pytest.mark.parametrize("name", ["boat-house", "skarv", "tt-farm"])
def test_no_line_of_the_text_runs_off_the_paper(name: str, width: int) -> None:
    lines = sheet.render(planned(name), width=width).splitlines()
    assert max(map(len, lines)) <= (width if width in (60, 80) else 108)
    assert not any(line.endswith(" ") for line in lines)


def test_the_first_line_of_a_test_has_its_number_and_the_place_to_write() -> None:
    text = sheet.render(planned("boat-house"))
    for row in planned("boat-house").rows:
        (line,) = re.findall(rf"^  {re.escape(row.number)} .*$", text, re.MULTILINE)
        assert row.where in line and row.test in line and line.endswith("reading: ____________")


def test_what_is_expected_is_not_taken_for_what_is_accepted() -> None:
    text = sheet.render(planned("boat-house"))
    block = text[text.index("\n  1.24 ") : text.index("\n  1.25 ")].splitlines()[2:]
    assert block[:2] == ["        expected: trips", "        accepted: at most 300 ms (IEC 60364-6 6.4.3 ?)"]
    assert block[2].startswith("        else      does not trip: ")
    assert all(line.startswith("                  does not trip: ") for line in block[3:])


def test_a_value_stays_with_its_unit() -> None:
    for width in range(40, 108):
        text = sheet.render(planned("boat-house"), width=width)
        assert re.findall(r"^.*[0-9]\n +(?:mohm|ohm|Mohm|V|A|mA|ms)\b", text, re.MULTILINE) == []


def test_instrument_method_and_caution_stand_at_every_visit() -> None:
    text = sheet.render(planned("boat-house"))
    parts = re.split(r"^(?:Without voltage|Visit \d).*$", text, flags=re.MULTILINE)[1:]
    assert [part.count("voltage: voltmeter, 10 Mohm (CAT III or higher); loads off") for part in parts] == [0, 1, 1, 1]
    # with the supply, and once on the set
    assert [part.count("loop tester (IEC 61557-3)") for part in parts] == [0, 1, 1, 0]
    assert parts[1].count("! Nobody may touch frames meanwhile.") == 2  # loops, times of the RCD


def test_what_is_not_written_is_not_called_open() -> None:
    row = planned("boat-house").rows[0]._replace(expected="", missing="the length of to-main is not written")
    assert sheet.expected(row) == "not known: the length of to-main is not written"


def test_what_other_readings_mean_comes_apart_into_values_and_defects() -> None:
    for name in ("boat-house", "skarv", "tt-farm", "workshop"):
        for row in planned(name).rows:
            assert all(re.match(r"\S.*: \S", other) for other in sheet.others(row)), row.means
            assert "; ".join(sheet.others(row)) == row.means


def test_somebody_signs() -> None:
    for text in (sheet.render(planned("boat-house")), page.sheet(planned("boat-house"))):
        assert "serial number" in text
        for words in ("measured by", "judged and signed by"):
            assert words in text.lower()
        assert text.lower().count("signature: ___") == 2 or text.count(": signature</dt>") == 2


# -- table -----------------------------------------------------------------------------------------------------------

HEAD = ["number", "visit", "where", "test", "expected", "accepted", "reading", "another reading means", "instrument"]


def test_the_columns_are_in_the_order_of_the_work() -> None:
    rows = list(csv.DictReader(io.StringIO(sheet.render_csv(planned("boat-house")))))
    assert list(rows[0])[:9] == HEAD
    (found,) = (row for row in rows if row["number"] == "1.24")
    assert (found["where"], found["expected"], found["accepted"], found["reading"]) == (
        "rcd-main",
        "trips",
        "at most 300 ms (IEC 60364-6 6.4.3 ?)",
        "",
    )


def test_the_workbook_prints_as_it_should(tmp_path: Path) -> None:
    target = tmp_path / "out.xlsx"
    target.write_bytes(sheet.render_xlsx(planned("skarv")._replace(site="Fish & Chips &P")))
    book = openpyxl.load_workbook(target)
    for one in book:
        assert one.page_setup.orientation == "landscape"
        assert one.page_setup.paperSize == 9  # A4 (ECMA-376, 18.3.1.63)
        assert one.sheet_properties.pageSetUpPr.fitToPage and one.page_setup.fitToHeight == 0
        assert one.oddHeader.left.text == "Test schedule: Fish && Chips &&P, revision C"  # && is the sign & (18.3.1.46)
        assert "&P of &N" in one.oddHeader.right.text
    tests = book["Tests"]
    assert (tests.freeze_panes, tests.print_title_rows) == ("D2", "$1:$1")
    assert [cell.value for cell in tests[1]][:9] == HEAD
    # what is printed ends before instrument and method, and is no more than one and a half times as wide as the paper at full size
    assert tests.print_area.endswith(f"$H${tests.max_row}")
    assert sum(tests.column_dimensions[letter].width for letter in "ABCDEFGH") < 1.5 * 130
    assert [cell.value for cell in book["Instruments"][1]][2] == "maker and serial number"


def test_the_paper_is_that_of_the_country(tmp_path: Path) -> None:
    target = tmp_path / "out.xlsx"
    target.write_bytes(sheet.render_xlsx(planned("nec-rv")))
    assert openpyxl.load_workbook(target)["Tests"].page_setup.paperSize == 1  # Letter
    assert "size:letter landscape" in page.sheet(planned("nec-rv"))
    assert "size:A4 landscape" in page.sheet(planned("boat-house"))


# -- page ------------------------------------------------------------------------------------------------------------


def test_the_page_has_expected_and_accepted_apart() -> None:
    told = page.sheet(planned("boat-house")).replace("\u00a0", " ")
    assert (
        '<td data-head="Expected">trips</td><td data-head="Accepted">at most 300 ms (IEC 60364-6 6.4.3 ?)</td>' in told
    )


def test_a_name_cannot_end_the_style() -> None:
    name = 'a"}</style><script>alert(1)</script>\\'
    told = page.sheet(planned("boat-house")._replace(site=name))
    assert told.count("</style>") == 1 and "<script" not in told
    style = told[told.index("<style>") : told.index("</style>")]
    (content,) = re.findall(r'@top-left\{content:"([^"]*)"\}', style)
    read = re.sub(r"\\([0-9a-f]+) ", lambda found: chr(int(found[1], 16)), content)  # CSS Syntax 3, 4.3.7
    assert read == name


def test_the_words_at_the_foot_are_those_of_the_rulebook(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["schedule", str(SITES / "nec-rv.yaml"), "--report", "html"]) == 0
    assert re.search(r'@bottom-left\{content:"[^"]*neutral and EGC as live', capsys.readouterr().out)
