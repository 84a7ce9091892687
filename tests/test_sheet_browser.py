"""The page of the test schedule in a real browser: on a telephone, on paper, for everybody.

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
from onebond.loading import load_rules
from onebond.reading import load
from onebond.reporting import page as report
from onebond.schedule import schedule

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The schedule of a site with a name of 60 letters without a break in it."""
    _, site, problems, _ = load(str(ROOT / "fixtures" / "sites" / "boat-house.yaml"))
    assert site is not None, problems
    planned = schedule(site, load_rules())
    rows = (planned.rows[0]._replace(where="x" * 60), *planned.rows[1:])
    target = tmp_path_factory.mktemp("sheet") / "sheet.html"
    told = report.sheet(planned._replace(site='Otter "Quay"', revision="B", rows=rows))
    target.write_text(told, encoding="utf-8")
    return target.as_uri()


def opened(browser: Browser, address: str, **options: Any) -> Page:
    """The page, without a complaint of the browser."""
    page = browser.new_context(**options).new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(address)
    assert said == []
    return page


def test_a_card_on_a_telephone_says_what_each_value_is(browser: Browser, address: str) -> None:
    page = opened(browser, address, viewport={"width": 420, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 420
    cards = page.evaluate(
        "[...document.querySelectorAll('.tests tbody tr:not(.how)')].map(row => [...row.querySelectorAll('td')]"
        ".filter(cell => cell.getBoundingClientRect().height > 0)"
        ".map(cell => getComputedStyle(cell, '::before').content))"
    )
    for labels in cards:
        assert labels[:2] == ['"Where"', '"Test"'] and '"Reading"' in labels
    assert ['"Where"', '"Test"', '"Expected"', '"Accepted"', '"Reading"', '"Another reading means"'] in cards


@pytest.mark.parametrize("width", [420, 700, 960, 1100, 1280])
def test_no_word_breaks(browser: Browser, address: str, width: int) -> None:
    page = opened(browser, address, viewport={"width": width, "height": 800})
    broken = page.evaluate(
        """() => {
            const found = [], range = document.createRange();
            for (const walker = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT); walker.nextNode();) {
                for (const word of walker.currentNode.data.matchAll(/[A-Za-z0-9.]{2,}/g)) {
                    range.setStart(walker.currentNode, word.index);
                    range.setEnd(walker.currentNode, word.index + word[0].length);
                    if (new Set([...range.getClientRects()].map(box => box.top)).size > 1) found.push(word[0]);
                }
            }
            return found;
        }"""
    )
    assert [word for word in broken if word != "x" * 60] == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints(browser: Browser, address: str, paper: str) -> None:
    page = opened(browser, address)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", page.pdf(format=paper, landscape=True))
    # 67 tests of three lines (11 mm) each and 30 lines between them fill six sheets; the cover is one more, and steps that stay with
    # their first tests leave room on two
    assert 6 <= len(boxes) <= 8
    assert all(float(width) > float(height) for width, height in boxes)


def test_every_sheet_says_what_it_belongs_to(browser: Browser, address: str) -> None:
    page = opened(browser, address)
    told = page.evaluate(
        "[...document.styleSheets[0].cssRules].filter(one => one instanceof CSSPageRule).map(one => one.cssText).join(' ')"
    )
    assert 'content: "Otter \\"Quay\\", revision B"' in told
    assert "counter(page)" in told and "counter(pages)" in told
    page.emulate_media(media="print")
    heads = page.locator(".tests thead .paper")
    assert heads.all_inner_texts()[1:] == [
        "Visit 1: everything as usual",
        "Visit 2: petrol-set running, ts set, q-main open",
        "Visit 3: petrol-set running, ts set",
    ]
    assert all(head.is_visible() for head in heads.all())
    assert page.evaluate("[...document.querySelectorAll('thead')].map(one => getComputedStyle(one).display)") == [
        "table-header-group"
    ] * (1 + heads.count())


def test_a_visit_begins_where_there_is_room_and_its_steps_stay_with_its_tests(browser: Browser, address: str) -> None:
    page = opened(browser, address)
    page.emulate_media(media="print")

    def of(selector: str, what: str) -> set[str]:
        found: list[str] = page.evaluate(
            f"[...document.querySelectorAll('{selector}')].map(one => getComputedStyle(one)['{what}'])"
        )
        assert found
        return set(found)

    assert of("section", "breakBefore") == {"auto"}
    assert of(".set", "breakInside") == of(".set", "breakAfter") == of(".how", "breakAfter") == {"avoid"}
    assert of(".tests tbody:first-of-type tr:nth-child(2)", "breakBefore") == {"avoid"}
    assert of("tr", "breakInside") == {"avoid"}


def test_a_reading_can_be_written_by_hand(browser: Browser, address: str) -> None:
    page = opened(browser, address, viewport={"width": 1032, "height": 700})  # A4 across between the margins: 273 mm
    page.emulate_media(media="print")
    sizes = page.evaluate(
        "[...document.querySelectorAll('.reading')].map(one => one.getBoundingClientRect()).map(box => [box.width, box.height])"
    )
    assert min(width for width, _ in sizes) > 35 * 96 / 25.4
    assert min(height for _, height in sizes) >= 9 * 96 / 25.4 - 0.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [420, 1280])
def test_everybody_can_use_it(browser: Browser, address: str, scheme: Any, width: int) -> None:
    page = opened(browser, address, viewport={"width": width, "height": 800}, color_scheme=scheme)
    page.evaluate(AXE)
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    assert len(found["passes"]) > 10
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
