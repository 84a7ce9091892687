"""The page in a real browser: it asks for nothing, works with and without script, prints, and can be used by everybody.

Needs Debian's chromium.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from conftest import ROOT
from onebond import engine, survey
from onebond.loading import load_rules
from onebond.reporting import page as report
from onebond.result import Report

SITES = ROOT / "fixtures" / "sites"
AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
PAPER_WIDTH = 688  # of A4 between the margins of the page, in CSS pixels; Letter has 706


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield started
        started.close()


def written(folder: Path, *names: str) -> str:
    """The page of some sites as a file; its address."""
    rules = load_rules()
    sites = tuple(
        survey.inspect_file(
            str(SITES / f"{name}.yaml"), rules, today="2026-11-01", islands=True, figures=True, drawing=True
        )
        for name in names
    )
    target = folder / "page.html"
    target.write_text(report.render(Report("1", sites, engine.pages(rules, sites[0].rulebook))), encoding="utf-8")
    return target.as_uri()


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A bond at the berth and one at the transformer: findings in one of two kinds of live system."""
    return written(tmp_path_factory.mktemp("page"), "berth-transformer--bonded-at-berth-too")


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Two sites on one page."""
    return written(tmp_path_factory.mktemp("pages"), "hut--floating", "market-stall")


class Watched:
    """A page with everything that it asked for and complained of."""

    def __init__(self, browser: Browser, address: str, **options: Any) -> None:
        self.page: Page = browser.new_context(**options).new_page()
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.goto(address)

    def chosen(self) -> list[str]:
        """The drawings that are on the screen."""
        return [sheet.get_attribute("id") or "" for sheet in self.page.locator(".sheet").all() if sheet.is_visible()]


def test_it_opens_without_network_and_without_complaint(browser: Browser, twice: str) -> None:
    watched = Watched(browser, twice)
    watched.page.locator(".chooser .pick").last.check()
    assert [url for url in watched.asked if url != twice] == []
    assert watched.said == []
    assert watched.page.evaluate("document.documentElement.classList.contains('scripted')")


def test_the_policy_keeps_out_what_was_not_written_by_us(browser: Browser, twice: str) -> None:
    page = Watched(browser, twice).page
    page.evaluate(
        "const s = document.createElement('script'); s.textContent = 'window.got = 1'; document.body.append(s)"
    )
    page.evaluate(
        "const i = document.createElement('img'); i.src = 'http://127.0.0.1:9/x.png'; document.body.append(i)"
    )
    assert page.evaluate("window.got === undefined")


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_the_chooser_shows_one_drawing(browser: Browser, twice: str, script: bool) -> None:
    watched = Watched(browser, twice, java_script_enabled=script)
    picks = watched.page.locator(".chooser .pick")
    assert picks.count() > 1
    for number in range(1, picks.count() + 1):
        watched.page.locator(f"label[for=choose-{number}]").click()
        assert watched.chosen() == [f"system{number}"]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_a_drawing_can_be_shown_with_its_conductors_folded_and_larger(
    browser: Browser, twice: str, script: bool
) -> None:
    page = Watched(browser, twice, java_script_enabled=script).page

    def forms() -> list[str]:
        return [
            next(
                name
                for name in ("single", "conductors", "folded")
                if name in (one.get_attribute("class") or "").split()
            )
            for one in page.locator(".view").all()
            if one.is_visible()
        ]

    assert forms() == ["single"]
    for form in ("conductors", "folded", "single"):
        page.locator(f"label[for=view-{form}]").click()
        assert forms() == [form]
    drawn = page.locator(".view.single .obd >> visible=true")
    widths = {}
    for size in ("own", "fit", "twice"):
        page.locator(f"label[for=size-{size}]").click()
        widths[size] = (drawn.bounding_box() or {"width": 0.0})["width"]
    assert widths["twice"] == pytest.approx(2 * widths["own"], rel=0.01)
    assert widths["fit"] <= widths["own"]
    assert page.evaluate("document.documentElement.scrollWidth") <= (page.viewport_size or {"width": 0})["width"]


def test_a_finding_leads_to_the_plain_drawing_whatever_form_is_shown(browser: Browser, twice: str) -> None:
    page = Watched(browser, twice).page
    page.locator("label[for=view-conductors]").click()
    link = page.locator("#finding-1 .to-drawing").first
    link.click()
    page.wait_for_timeout(100)
    assert page.locator((link.get_attribute("href") or "").replace("#", "#")).is_visible()


def test_a_large_drawing_is_printed_over_sheets(browser: Browser, tmp_path: Path) -> None:
    boards = "".join(f"  board-{n}: {{}}\n" for n in range(1, 31))
    cables = "".join(
        f"  feed-{n}: {{from: {'main' if n <= 6 else f'board-{n - 6}'}, to: board-{n}, cores: L1 N PE, size: 10 mm2, length: 9 m}}\n"
        for n in range(1, 31)
    )
    text = (
        "onebond: 1\nsite: {name: Large, rulebook: iec, stage: draft}\n"
        "sources:\n  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S}\n"
        f"boards:\n  main: {{}}\n{boards}connections:\n"
        f"  service: {{from: grid, to: main, cores: L1 N PE, size: 16 mm2, length: 9 m}}\n{cables}circuits:\n"
        + "".join(
            f"  lamp-{n}: {{from: board-{n}, cores: L1 N PE, size: 1.5 mm2, length: 9 m, serves: lighting}}\n"
            for n in range(1, 31)
        )
    )
    (tmp_path / "site.yaml").write_text(text)
    rules = load_rules()
    site = survey.inspect_file(
        str(tmp_path / "site.yaml"), rules, today="2026-11-01", islands=True, figures=True, drawing=True
    )
    assert site.drawing is not None, site.problems
    target = tmp_path / "page.html"
    target.write_text(report.render(Report("1", (site,), engine.pages(rules, site.rulebook))), encoding="utf-8")
    watched = Watched(browser, target.as_uri(), viewport={"width": PAPER_WIDTH, "height": 900})
    sheets = watched.page.locator(".printed")
    assert sheets.count() > 1 and not sheets.first.is_visible()
    watched.page.emulate_media(media="print")
    assert all(sheet.is_visible() for sheet in sheets.all())
    assert not watched.page.locator(".view.divided").first.is_visible()
    names = watched.page.locator(".printed text.id").all_text_contents()
    assert {f"board-{n}" for n in range(1, 31)} <= set(names)


def test_the_chooser_works_by_keyboard(browser: Browser, twice: str) -> None:
    watched = Watched(browser, twice)
    watched.page.locator("#choose-1").focus()
    watched.page.keyboard.press("ArrowDown")
    assert watched.chosen() == ["system2"]
    watched.page.keyboard.press("ArrowUp")
    assert watched.chosen() == ["system1"]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_from_a_finding_to_the_drawing_and_back(browser: Browser, twice: str, script: bool) -> None:
    watched = Watched(browser, twice, java_script_enabled=script)
    page = watched.page
    link = page.locator("#finding-1 > .about a.to-drawing").first
    target = (link.get_attribute("href") or "")[1:]
    system = target.partition("-")[0]
    other = "2" if system == "system1" else "1"
    page.locator(f"label[for=choose-{other}]").click()
    assert system not in watched.chosen()
    link.click()
    page.wait_for_timeout(100)
    assert system in watched.chosen()
    box = page.locator(f"#{target}").bounding_box()
    height = (page.viewport_size or {"height": 0})["height"]
    assert box and 0 <= box["y"] < height
    if script:
        assert watched.chosen() == [system]
        page.locator(f"#{target}").click()  # the flag in the drawing
    else:
        page.locator(f"#{system} .flags a").first.click()
    assert page.url.endswith("#finding-1")
    assert page.locator("#finding-1").bounding_box()


def test_a_finding_leads_to_its_line(browser: Browser, twice: str) -> None:
    page = Watched(browser, twice).page
    link = page.locator("#finding-1 > .about a").first
    link.click()
    row = page.locator(link.get_attribute("href") or "")
    assert row.is_visible() and link.inner_text() == f"line {row.locator('th').inner_text()}"


@pytest.mark.parametrize(
    ("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))], ids=["A4", "Letter"]
)  # in points, ISO 216 and ANSI
def test_it_prints(browser: Browser, twice: str, paper: str, size: tuple[int, int]) -> None:
    printed = Watched(browser, twice).page.pdf(format=paper)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert len(boxes) > 3
    for width, height in boxes:
        assert sorted((float(width), float(height))) == pytest.approx(sorted(size), abs=1)


def test_print_shows_every_finding_drawn_and_cuts_nothing_off(browser: Browser, twice: str) -> None:
    watched = Watched(browser, twice, viewport={"width": PAPER_WIDTH, "height": 900})
    watched.page.emulate_media(media="print")
    # each finding once, whatever is chosen, and the one that is chosen
    shown = [system for system in watched.page.locator(".sheet").all() if system.is_visible()]
    every = {link.get_attribute("href") for link in watched.page.locator(".sheet .flags a").all()}
    assert every and every == {link.get_attribute("href") for one in shown for link in one.locator(".flags a").all()}
    assert len(shown) <= len(every) + 1
    for pick in watched.page.locator(".chooser .pick").all():
        watched.page.emulate_media(media="screen")
        pick.check()
        watched.page.emulate_media(media="print")
        assert f"system{(pick.get_attribute('id') or '').removeprefix('choose-')}" in watched.chosen()
    assert watched.page.locator(".sign").is_visible() and not watched.page.locator("nav").is_visible()
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= PAPER_WIDTH
    assert _cut(watched.page) == []


def test_a_narrow_screen_scrolls_tables_and_not_the_page(browser: Browser, twice: str) -> None:
    page = Watched(browser, twice, viewport={"width": 360, "height": 740}).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def _cut(page: Page) -> list[str]:
    """The boxes whose content is wider than they are."""
    found: list[str] = page.evaluate(
        "[...document.querySelectorAll('.scroll')].filter(one => one.scrollWidth > one.clientWidth + 1)"
        ".map(one => one.getAttribute('aria-label'))"
    )
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", ["twice", "several"])
def test_everybody_can_use_it(browser: Browser, which: str, scheme: Any, request: pytest.FixtureRequest) -> None:
    page = Watched(browser, request.getfixturevalue(which), color_scheme=scheme).page
    page.evaluate(AXE)
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    assert len(found["passes"]) > 10
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []


def test_the_keyboard_reaches_the_findings_at_once(browser: Browser, twice: str) -> None:
    page = Watched(browser, twice).page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.url.endswith("#main")
