"""The single-line diagram in a browser: no label overlaps another one, a symbol or a conductor, on any site.

``ONEBOND_DRAWINGS=200`` draws more generated sites than the short form does.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from random import Random

import pytest
from playwright.sync_api import Page, sync_playwright

import generate
import generate_large
from conftest import ROOT
from onebond.reporting import diagram
from test_diagram import SITES, drawn, of, written

GENERATED = int(os.environ.get("ONEBOND_DRAWINGS", "40"))
MOST_BOARDS = 60
AT_ONCE = 40

OVERLAPS = """
() => {
  const cut = (a, b, by) =>
    a.x + by < b.x + b.width && b.x + by < a.x + a.width && a.y + by < b.y + b.height && b.y + by < a.y + a.height;
  return [...document.querySelectorAll("svg.obd")].map(svg => {
    const found = [];
    const texts = [...svg.querySelectorAll("text")].map(e => ({e, b: e.getBBox()}));
    const symbols = [...svg.querySelectorAll(".s:not(.bar)")].map(e => ({e, b: e.getBBox()}));
    const lines = [];
    for (const e of svg.querySelectorAll("path.w,path.bar,path.ret,path.stray")) {
      let x = 0, y = 0;
      for (const m of e.getAttribute("d").matchAll(/([MLHV])(-?[\\d.]+)(?:[ ,](-?[\\d.]+))?/g)) {
        const [px, py] = [x, y];
        if (m[1] == "H") x = +m[2]; else if (m[1] == "V") y = +m[2]; else { x = +m[2]; y = +m[3]; }
        if (m[1] != "M") lines.push({e, b: {x: Math.min(x, px) - 0.7, y: Math.min(y, py) - 0.7,
                                            width: Math.abs(x - px) + 1.4, height: Math.abs(y - py) + 1.4}});
      }
    }
    const page = svg.viewBox.baseVal;
    for (let i = 0; i < texts.length; i++) {
      const {e, b} = texts[i];
      const own = e.classList.contains("in") || e.classList.contains("own");
      for (let j = i + 1; j < texts.length; j++)
        if (cut(b, texts[j].b, 1)) found.push(`${e.textContent} / ${texts[j].e.textContent}`);
      for (const s of symbols)
        if (!(own && s.e.parentNode.contains(e)) && cut(b, s.b, 1)) found.push(`${e.textContent} / ${s.e.outerHTML}`);
      for (const s of lines)
        if (!own && cut(b, s.b, 1.2)) found.push(`${e.textContent} / ${s.e.outerHTML}`);
      if (b.x < 0 || b.y < 0 || b.x + b.width > page.width || b.y + b.height > page.height)
        found.push(`${e.textContent} outside`);
    }
    return {texts: texts.length, symbols: symbols.length, lines: lines.length, found};
  });
}
"""


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield browser.new_page()
        browser.close()


def overlaps(page: Page, drawings: dict[str, str]) -> dict[str, list[str]]:
    """What overlaps in each drawing, those without overlaps left out; every drawing must have been looked at."""
    found: dict[str, list[str]] = {}
    names = list(drawings)
    for first in range(0, len(names), AT_ONCE):
        part = names[first : first + AT_ONCE]
        page.set_content(
            f"<!doctype html><meta charset=utf-8><style>{diagram.STYLE}.obd{{max-width:none}}</style>"
            + "".join(drawings[name] for name in part)
        )
        results = page.evaluate(OVERLAPS)
        assert len(results) == len(part)
        for name, result in zip(part, results, strict=True):
            assert min(result["texts"], result["symbols"], result["lines"]) > 0, name
            if result["found"]:
                found[name] = result["found"][:5]
    return found


def test_the_check_sees_overlaps(page: Page) -> None:
    """Two labels pushed onto each other, a label on a symbol and one on a conductor."""
    svg = diagram.render(drawn(ROOT / "fixtures" / "sites" / "hut.yaml"), 0)
    assert not overlaps(page, {"as drawn": svg})
    text = '<text class="data" x="{}" y="{}">moved here</text></svg>'
    first = svg[svg.index('<text class="id"') :]
    x, y = (first.partition(f'{name}="')[2].partition('"')[0] for name in ("x", "y"))
    assert overlaps(page, {"label": svg.replace("</svg>", text.format(x, y))})
    rect = svg[svg.index('<rect class="s') :]
    x, y = (rect.partition(f' {name}="')[2].partition('"')[0] for name in ("x", "y"))
    assert overlaps(page, {"symbol": svg.replace("</svg>", text.format(x, float(y) + 10))})
    bar = svg[svg.index('<path class="bar s') :].partition(' d="M')[2]
    x, y = bar.partition("H")[0].split()
    assert overlaps(page, {"conductor": svg.replace("</svg>", text.format(x, float(y) + 3))})


@pytest.mark.parametrize("conductors", [False, True], ids=["one-line", "conductors"])
def test_nothing_overlaps_in_any_fixture(page: Page, conductors: bool) -> None:
    drawings = {}
    for path in SITES:
        site = drawn(path)
        state = len(of(site).states) - 1 if of(site).states else None
        drawings[path.stem] = diagram.render(site, state, conductors=conductors, prefix=f"p{len(drawings)}-")
    assert overlaps(page, drawings) == {}


def test_nothing_overlaps_in_generated_sites(page: Page) -> None:
    """Strange small sites and large ordinary ones in turn, up to sixty boards, whole and over sheets."""
    drawings: dict[str, str] = {}
    for seed in range(GENERATED):
        if seed % 2:
            boards = 3 + seed * 7 % (MOST_BOARDS - 2)
            site = written(generate.written(generate_large.build(Random(seed), boards)))
        else:
            site = written(generate.written(generate.build(Random(seed), 2_000)))
        state = 0 if of(site).states else None
        drawings[f"{seed}"] = diagram.render(site, state, prefix=f"a{seed}-")
        drawings[f"{seed}, conductors"] = diagram.render(site, conductors=True, prefix=f"b{seed}-")
        if seed % 4 == 1:
            for sheet in diagram.sheets(site, state, prefix=f"c{seed}-"):
                drawings[f"{seed}, sheet {sheet.number}"] = sheet.svg
    assert overlaps(page, drawings) == {}


def test_a_site_of_sixty_boards_is_drawn(page: Page) -> None:
    site = written(generate.written(generate_large.build(Random(60), MOST_BOARDS)))
    drawings = {"whole": diagram.render(site), "folded": diagram.render(site, prefix="f-", fold=True)}
    drawings.update({f"sheet {sheet.number}": sheet.svg for sheet in diagram.sheets(site, prefix="s-")})
    assert sum(place.kind == "board" for place in of(site).places) >= MOST_BOARDS
    assert overlaps(page, drawings) == {}
