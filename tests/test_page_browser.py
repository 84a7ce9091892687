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
    watched.page.locator(".pick").last.check()
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
    picks = watched.page.locator(".pick")
    assert picks.count() > 1
    for number in range(1, picks.count() + 1):
        watched.page.locator(f"label[for=choose-{number}]").click()
        assert watched.chosen() == [f"system{number}"]


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


def test_print_shows_every_drawing_and_cuts_nothing_off(browser: Browser, twice: str) -> None:
    watched = Watched(browser, twice, viewport={"width": PAPER_WIDTH, "height": 900})
    watched.page.emulate_media(media="print")
    assert len(watched.chosen()) == watched.page.locator(".pick").count()
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
