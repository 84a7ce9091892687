"""The report as one page: what it holds and in which order, that names stay names, and that it asks nothing of anybody."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from syrupy.assertion import SnapshotAssertion

import onebond
from conftest import BROKEN, FLOATING, HUT, ROOT, Run
from onebond import cli, engine, survey
from onebond.facts.curves import Curve
from onebond.facts.faults import Fed, Passed
from onebond.loading import load_rules
from onebond.model import Device
from onebond.reporting import diagram, page
from onebond.reporting.page import plots
from onebond.result import ClearingCurve, Figures, Report, Site

SITES = ROOT / "fixtures" / "sites"
RULES = load_rules()
TWICE = SITES / "skarv--waiver-expired.yaml"
OPEN = (SITES / "hut.yaml").read_text().replace("length: 22 m, ", "")
"""The hut, with one length that is not written."""

VOID = {"meta", "br", "input", "link", "img", "hr"}

Event = tuple[str, ...]


class Tree(HTMLParser):
    """A page as a list of what begins, ends and stands in it, the drawings left out; and what a reader of it needs."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.events: list[Event] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.heads: list[int] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.open: list[str] = []
        self.drawing = 0
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = [(name, value or "") for name, value in attrs]
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in found]
        self.ids += [value for name, value in found if name == "id"]
        self.targets += [value[1:] for name, value in found if name == "href" and value.startswith("#")]
        if re.fullmatch("h[1-6]", tag):
            self.heads.append(int(tag[1]))
        if tag == "svg" and dict(found).get("class") == "obd":
            self.drawing = len(self.open) + 1
        if not self.drawing:
            self.events.append(("begin", tag, *(f"{name}={value}" for name, value in found)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (self.open, tag, self.getpos())
        if not self.drawing:
            self.events.append(("end", tag))
        if self.drawing == len(self.open):
            self.drawing = 0
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.drawing:
            self.events.append(("text", data))


def inspected(*paths: Path | str, digest: bool = True) -> Report:
    """Everything that the page asks for."""
    sites = tuple(
        survey.inspect_file(
            str(path), RULES, today="2026-11-01", islands=True, figures=True, drawing=True, digest=digest
        )
        for path in paths
    )
    assert not any(site.faults for site in sites), [site.faults for site in sites]
    return Report("1.2.3", sites, engine.pages(RULES, sites[0].rulebook or None))


def written(text: str, folder: Path, name: str = "site.yaml", *, digest: bool = True) -> Report:
    """A description of our own, inspected under a relative name."""
    (folder / name).write_text(text)
    before = os.getcwd()
    os.chdir(folder)
    try:
        return inspected(name, digest=digest)
    finally:
        os.chdir(before)


@pytest.fixture(scope="module")
def twice() -> str:
    """The page of a site with an error, its consequence, a warning and nine kinds of live system."""
    return page.render(inspected(TWICE))


def shown(text: str) -> str:
    """The text of a page as it is read, without drawings, style and script, white space folded."""
    tree = Tree(text)
    parts, skipped = [], ""
    for event in tree.events:
        if event[0] == "begin" and event[1] in ("style", "script"):
            skipped = event[1]
        elif event[0] == "end" and event[1] == skipped:
            skipped = ""
        elif event[0] == "text" and not skipped:
            parts.append(event[1])
        elif event[0] == "begin" and event[1] in ("div", "p", "td", "th", "dd", "dt", "li", "h1", "h2", "h3", "h4"):
            parts.append(" ")
    return " ".join("".join(parts).split())


# -- what it holds -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["open", "broken", "floating"])
def test_snapshot(name: str, tmp_path: Path, snapshot: SnapshotAssertion) -> None:
    report = written({"open": OPEN, "broken": BROKEN, "floating": FLOATING}[name], tmp_path)
    text = page.render(report)
    body = text[text.index("<body>") : text.index("<script>")]
    drawn = re.sub(r'<svg [^>]*class="obd".*?</svg>', "(a drawing)", body, flags=re.DOTALL)
    rules = re.sub(r'<table class="rules">.*?</table>', "(the rules)", drawn, flags=re.DOTALL)
    assert rules == snapshot


def test_the_order_is_that_of_the_questions(twice: str) -> None:
    order = ("wrong", "drawing", "systems", "figures", "method", "description")
    places = [twice.index(f'<section id="{name}"') for name in order]
    assert places == sorted(places)
    assert twice.index("<h1") < twice.index('class="verdict') < places[0]


def test_the_verdict_is_one_sentence(twice: str) -> None:
    assert (
        "Something is wrong 1 error, 1 warning, 1 consequence, 5 permitted by an exception; everything that was checked could be concluded;"
        in shown(twice)
    )
    assert "53 cases of 9 kinds of live system were looked at" in shown(twice)


def test_the_head_says_what_was_inspected(twice: str) -> None:
    digest = hashlib.sha256(TWICE.read_bytes()).hexdigest()
    for told in ("Skarv Island field station", "Revision C", "Rulebook iec", "Stage design", digest, "onebond 1.2.3"):
        assert told in shown(twice)


def test_a_finding_says_what_when_why_and_what_to_do(twice: str) -> None:
    start = twice.index('<article class="finding error" id="finding-1"')
    told = shown(twice[start : twice.index('<div class="follows">', start)] + "</article>")
    for part in (
        "error",
        "at island-link",
        "neutral-bonded-twice",
        "When",
        "So",
        "Put right",
        "IEC 60364-5-54 543.4.3",
    ):
        assert part in told
    assert "with all written loads" in told and "share of neutral current by PE" in told


def test_graver_findings_come_first_and_consequences_under_their_cause(twice: str) -> None:
    heads = re.findall(r'<article class="finding (\w+)" id="finding-(\d+)"', twice)
    assert [level for level, _ in heads] == ["error", "note", "warning"]
    cause, consequence = twice.index('id="finding-1"'), twice.index(f'id="finding-{heads[1][1]}"')
    assert "What follows from it" in twice[cause:consequence]


def test_every_live_system_has_a_row_a_drawing_and_a_choice(twice: str) -> None:
    site = inspected(TWICE).sites[0]
    for number in range(1, len(site.islands) + 1):
        assert f'id="choose-{number}"' in twice
        assert f'id="system{number}-drawing"' in twice
        assert f'href="#system{number}"' in twice
    assert f'id="system{len(site.islands) + 1}"' not in twice
    assert twice.count(" checked>") == 3  # a live system, a form and a size


def test_a_finding_names_the_systems_in_which_it_occurs(twice: str) -> None:
    """The island link is the second reference wherever the essential board hangs on shore or diesel: systems 3, 4, 7 and 9."""
    start = twice.index('id="finding-1"')
    links = re.findall(r'href="#system(\d+)-flag-1"', twice[start : twice.index("</p>", start)])
    site = inspected(TWICE).sites[0]
    ordered = sorted(site.islands, key=lambda i: (i.sources, i.verdict, i.references, i.supplies, i.conditions))
    assert [int(link) for link in links] == [n for n, i in enumerate(ordered, 1) if i.verdict == "earthed twice"]
    assert links == ["3", "4", "7", "9"]


def test_what_is_missing_is_grouped_by_entry(tmp_path: Path) -> None:
    text = page.render(written(OPEN, tmp_path))
    line = 1 + OPEN[: OPEN.index("  lights:")].count("\n")
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th><td><a href="#line-(\d+)">([^<]*)</a></td>', text)
    assert rows == [("the length", str(line), f"lights (line {line})")]
    assert f'<tr id="line-{line}" class="spoken">' in text
    told = shown(text)
    assert re.search(
        r"Not everything is proven No error, no warning; \d+ verdicts? could not be concluded, for 1 reason;", told
    )
    assert "disconnection-too-slow at lights" in told


def test_the_same_entry_of_several_places_is_one_row(tmp_path: Path) -> None:
    text = page.render(written(OPEN.replace("length: 31 m, ", ""), tmp_path))
    told = shown(text)
    assert re.search(r"the length lights \(line \d+\), pump \(line \d+\) error", told)
    assert re.search(r"\d+ verdicts could not be concluded, for 2 reasons", told) and "Not concluded 2" in told


def test_a_waiver_is_shown_with_its_reason_and_day() -> None:
    told = shown(page.render(inspected(SITES / "skarv.yaml")))
    assert "Accepted by a waiver" in told
    assert "Reason relay being procured Accepted by J. Example Until 2027-03-31" in told


def test_a_refused_description_says_what_to_mend(tmp_path: Path) -> None:
    text = page.render(written(BROKEN, tmp_path))
    told = shown(text)
    assert "Refused: the description could not be read" in told and "hutt" in told
    assert 'id="drawing"' not in text and 'id="figures"' not in text


def test_an_internal_error_proves_nothing() -> None:
    site = survey.unlisted("folder", "not allowed")._replace(problems=())
    broken = site._replace(faults=(engine.Fault("some-rule", "some <subject>", "KeyError"),))
    told = shown(page.render(Report("1", (broken,), ())))
    assert "Internal error in rule some-rule on some <subject>: KeyError" in told and "nothing is proven" in told


def test_nothing_inspected_is_no_clean_bill() -> None:
    assert "no description was given" in page.render(Report("1", (), ()))


def test_several_sites_have_an_index() -> None:
    text = page.render(inspected(SITES / "hut.yaml", SITES / "hut--floating.yaml"))
    tree = Tree(text)
    assert {"site1-site", "site2-site"} <= set(tree.ids)
    assert tree.heads[0] == 1 and tree.heads.count(1) == 1
    first = text.index("<tbody>")
    assert text[first : text.index("</tbody>", first)].count("<tr>") == 2


def test_the_figures_stand_in_the_page(tmp_path: Path) -> None:
    """A loop of 1 ohm and nothing else at 230 V gives 230 A."""
    near = "size: 95 mm2, length: 0.1 m"
    text = page.render(
        written(
            "onebond: 1\nsite: {name: Pole house, rulebook: iec, stage: design}\n"
            "sources:\n  grid: {kind: utility, phases: L1, voltage: 230 V, earthing: TN-S, loop-impedance: 1 ohm, fault-current: 0.5 kA}\n"
            f"boards:\n  main: {{}}\nconnections:\n  service: {{from: grid, to: main, cores: L1 N PE, {near},"
            " through: [{kind: mcb, curve: B, rating: 32 A, breaking-capacity: 6 kA}]}\n",
            tmp_path,
        )
    )
    assert "grid: 230 A, cut off in time for certain" in shown(text)
    assert "mcb B32 in service" in shown(text)


# -- structure -----------------------------------------------------------------------------------------------------------


NAMES = [
    ("skarv--waiver-expired",),
    ("hut", "two-generators"),
    ("workshop",),
    ("pv-house--battery-keeps-feeding",),
    ("maintenance-bypass--closed-transition",),
    ("pump-station--no-monitor",),
    ("tt-farm--neutral-through-solid",),
]


@pytest.mark.parametrize("names", NAMES, ids="-".join)
def test_it_is_well_formed_and_every_link_leads_somewhere(names: tuple[str, ...]) -> None:
    text = page.render(inspected(*(SITES / f"{name}.yaml" for name in names)))
    tree = Tree(text)
    assert not tree.open
    assert len(tree.ids) == len(set(tree.ids))
    assert set(tree.targets) <= set(tree.ids)
    assert tree.heads[0] == 1 and all(
        after <= before + 1 for before, after in zip(tree.heads, tree.heads[1:], strict=False)
    )
    for tag, attribute, value in tree.attributes:
        if attribute in ("for", "aria-labelledby", "data-pick"):
            assert set(value.split()) <= set(tree.ids), (tag, attribute, value)
    heads = len(re.findall("<th[ >]", text))
    assert heads == len(re.findall(r'<th [^>]*scope="', text)) > 0


def test_nothing_in_it_runs_or_calls_but_what_the_policy_names(twice: str) -> None:
    tree = Tree(twice)
    assert tree.tags.count("script") == tree.tags.count("style") == 1
    policy = next(value for _, name, value in tree.attributes if name == "content" and value.startswith("default-src"))
    for tag in ("script", "style"):
        held = re.search(f"<{tag}>(.*?)</{tag}>", twice, re.DOTALL)
        assert held
        digest = base64.b64encode(hashlib.sha256(held[1].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none';") and "unsafe" not in policy
    for tag, name, value in tree.attributes:
        assert not name.startswith("on") and name != "style", (tag, name)
        if name in ("src", "href", "xlink:href", "action"):
            assert value.startswith("#"), (tag, name, value)
    assert not re.search(r"@import|url\((?!#)", twice)


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    full = "".join(one * 2 for one in colour[1:]) if len(colour) == 4 else colour[1:]
    parts = [int(full[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_text_has_the_contrast_that_people_need() -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 to 1, in each of the three palettes."""
    palettes = re.findall(r":root\{(.*?)\}", (Path(page.__file__).parent / "colours.css").read_text(), re.DOTALL)
    assert len(palettes) == 3
    for palette in palettes:
        colours = dict(re.findall(r"--([a-z]+):(#[0-9a-f]+)", palette))
        for name in ("fg", "soft", "bad", "warn", "good", "open", "link"):
            for ground in ("bg", "tint"):
                assert _contrast(colours[name], colours[ground]) >= 4.5, (name, ground, palette)
        assert _contrast(colours["fg"], colours["mark"]) >= 4.5
        assert _contrast(colours["ink"], colours["area"]) >= 4.5


# -- names stay names ------------------------------------------------------------------------------------------------------

NAMED = """\
onebond: 1
site: {name: "Plainname", rulebook: iec, stage: design, revision: "Plainname"}
sources:
  inv: {kind: inverter, phases: L1, voltage: 230 V, rating: 3 kVA, fault-current: {limit: 2 x rated, for: 50 ms}}
boards:
  hut: {}
connections:
  feed: {from: inv, to: hut, cores: L1 N PE, size: 4 mm2, length: 3 m, through: [{kind: mcb, curve: B, rating: 16 A}]}
circuits:
  lights: {from: hut, cores: L1 N PE, size: 1.5 mm2, length: 9 m, serves: lighting, load: 200 W}
waivers:
  - rule: neutral-unreferenced
    at: hut
    reason: "Plainname"
    until: 2027-03-31
    by: "Plainname"
  - rule: pe-missing
    at: lights
    reason: "Plainname"
    until: 2020-03-31
    by: "Plainname"
"""
PLAIN = "Plainname"
HOSTILE = {
    "closing": "</script><script>alert(1)</script>",
    "comment": "<!-- </style> -->",
    "quotes": "a' onload='x' b=` ]]>",
    "entity": "&lt;b&gt; &amp; &#x202e;",
    "template": "{{ 7 * 7 }}{% raw %}${7}",
    "rtl": "\u202egnp.exe\u2066",
    "wide": "\u6f22" * 60,
    "long": "x" * 200,
    "space": "a" + "\u00a0" * 30 + "b",
    "url": "javascript:alert(1)//http://example.invalid/",
}


def renamed(value: Any, name: str) -> Any:
    """The same data with another name in it, also where a reader of descriptions would refuse it."""
    if isinstance(value, str):
        return value.replace(PLAIN, name)
    if isinstance(value, tuple):
        parts = [renamed(one, name) for one in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    return value


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_name_changes_nothing_but_itself(name: str, tmp_path: Path) -> None:
    report = written(NAMED, tmp_path, digest=False)
    plain, hostile = page.render(report), page.render(renamed(report, name))
    expected = "".join(f"<U+{ord(one):04X}>" if one in "\u202e\u2066" else one for one in name)
    assert plain.count(PLAIN) >= 8

    def own(event: Event) -> Event:
        return tuple(part.replace(PLAIN, expected) for part in event)

    assert [own(event) for event in Tree(plain).events] == Tree(hostile).events
    assert Tree(hostile).tags.count("script") == Tree(hostile).tags.count("style") == 1
    assert not any(one in hostile for one in "\u202e\u2066")


def test_the_name_of_a_file_stays_a_name(tmp_path: Path) -> None:
    name = "<img src=x onerror=alert(1)>'\".yaml"
    tree = Tree(page.render(written(HUT, tmp_path, name)))
    assert "img" not in tree.tags
    assert any(name in event[1] for event in tree.events if event[0] == "text")


def test_hash_seed_changes_no_byte() -> None:
    command = [sys.executable, "-m", "onebond", "inspect", "--report", "html", "--today", "2026-11-01"]
    command += [str(SITES / f"{name}.yaml") for name in ("two-generators--no-interlock", "inverter-stack")]
    outputs = {
        subprocess.run(command, capture_output=True, env={**os.environ, "PYTHONHASHSEED": seed}).stdout
        for seed in ("0", "1")
    }
    assert len(outputs) == 1 and outputs.pop().startswith(b"<!DOCTYPE html>")


# -- the command -----------------------------------------------------------------------------------------------------------


def test_the_command_writes_the_page(run: Run, tmp_path: Path) -> None:
    (tmp_path / "hut.yaml").write_text(FLOATING)
    plain = run("inspect", "hut.yaml")
    done = run("inspect", "hut.yaml", "--report", "html", "--out", "hut.html")
    assert (done.returncode, done.stdout) == (plain.returncode, "")
    text = (tmp_path / "hut.html").read_text()
    assert text.startswith("<!DOCTYPE html>") and text.endswith("</html>\n")
    assert run("inspect", "hut.yaml", "--report", "html").stdout == text


# -- plots -----------------------------------------------------------------------------------------------------------------


def _passed(**more: object) -> Passed:
    device = Device("mcb", None, 0, ("L1",), (), False, False, ("connections", "c", "through", 0))
    return Passed(device._replace(**more), "c", 100.0, None)  # type: ignore[arg-type]


def test_the_curve_of_a_breaker_has_the_gates_of_its_standard() -> None:
    """IEC 60898-1, table 7, of B16: 1.13, 1.45 and 2.55 times the rating, magnetic from 3 to 5 times."""
    curve = Curve(Fed("s", (_passed(rating_a=16.0, curve="B"),), True, None, False))
    expected = [(16, 3600, None), (18.08, 1, None), (23.2, 1, 3600), (40.8, 0.1, 60), (48, 0, 60), (80, 0, 0.1)]
    assert curve.names == ("mcb B16 in c",)
    found = curve.steps()[1:]
    assert [(possible, certain) for _, possible, certain in found] == [one[1:] for one in expected]
    assert [current for current, _, _ in found] == pytest.approx([one[0] for one in expected], rel=0.003)


@pytest.mark.parametrize(
    "name", ["maintenance-bypass--thin-pe-in-the-tails", "three-changeovers", "two-generators--no-interlock"]
)
def test_a_plot_marks_the_current_of_its_own_place(name: str) -> None:
    """Devices that several places have in common are one curve; the currents are those of the table of earth faults."""
    figures = inspected(SITES / f"{name}.yaml").sites[0].figures
    assert figures is not None and figures.curves
    listed: dict[tuple[str, str], set[float]] = {}
    for row in figures.faults:
        if row.current_a is not None:
            listed.setdefault((row.at, ", ".join(row.sources)), set()).add(row.current_a)
    compared = 0
    for curve in figures.curves:
        for current, _ in curve.currents:
            near = listed.get((curve.at, curve.source), set())
            assert any(abs(current - one) <= 0.006 * one for one in near), (curve.at, curve.source, current, near)
            compared += 1
    assert compared > 10


def test_what_has_no_touch_voltage_is_named_beside_the_plot() -> None:
    """A lead without PE: with the set nothing leads a fault current back, which is worse than any voltage of the plot."""
    told = shown(page.render(inspected(SITES / "boat-house--two-core-lead.yaml")))
    assert "winch, fed by petrol-set: nothing leads the fault current back, and the frame stays live" in told


def test_an_error_keeps_a_system_from_looking_good() -> None:
    for name in ("pump-station--set-star-earthed", "two-generators--no-interlock", "hut--link-behind-rcd"):
        text = page.render(inspected(SITES / f"{name}.yaml"))
        choices = re.findall(r'<label for="choose-[^"]*">(.*?)</label>', text, re.DOTALL)
        assert choices
        for choice in choices:
            assert ("finding" in choice) == ('class="bad">finding' in choice)
            assert not ('class="grade good"' in choice and "finding" in choice)


def test_only_what_a_waiver_accepts_is_wrong() -> None:
    told = shown(page.render(inspected(SITES / "skarv.yaml")))
    assert "Nothing is wrong but what is accepted by a waiver" in told and "Nothing wrong was found" not in told


def test_a_device_that_sees_half_of_the_current_opens_at_twice_of_it() -> None:
    """B16 beside a device that sees all: its magnetic limits of 48 and 80 A stand at 96 and 160 A."""
    other = _passed(kind="fuse", fuse_class="gG", rating_a=630.0)._replace(current_a=200.0)
    curve = Curve(Fed("s", (_passed(rating_a=16.0, curve="B"), other), True, None, False))
    steps = {round(current): (possible, certain) for current, possible, certain in curve.steps()}
    assert steps[96] == (0.0, 60.0) and steps[160] == (0.0, 0.1)


def test_a_device_of_which_too_little_is_written_is_not_drawn() -> None:
    assert Curve(Fed("s", (_passed(rating_a=16.0),), True, None, False)).steps() == ()


B16 = ((0.01, None, None), (16.0, 3600.0, None), (40.8, 0.1, 60.0), (80.0, 0.0, 0.1))


def _drawn(*currents: tuple[float, str], limit_s: float | None = 0.4) -> plots.Plot:
    curve = ClearingCurve("lamps", "set", ("mcb B16 in lamps",), B16, limit_s, currents)
    figures = Figures((), (), (), (), (), (), 1.0, "gG", True, (), False, (), (), (), (), (curve,))
    (plot,), left_out = plots.bands(figures, {"set": "circle"})
    assert left_out == 0
    return plot


def test_a_mark_lies_in_the_area_of_its_verdict() -> None:
    plot = _drawn((100.0, "certain"), (50.0, "possible"), (20.0, "impossible"))
    marks = {mark.title.split()[1]: mark for mark in plot.marks}

    def areas(mark: plots.Mark) -> set[str]:
        return {
            area.kind
            for area in plot.areas
            if area.x <= mark.x <= area.x + area.width and area.y <= mark.y <= area.y + area.height
        }

    assert areas(marks["100"]) == {"certain"} and marks["100"].filled
    assert areas(marks["50.0"]) == {"possible"} and not marks["50.0"].filled
    assert areas(marks["20.0"]) == set() and not marks["20.0"].filled


def test_the_axis_of_current_is_logarithmic() -> None:
    plot = _drawn((10.0, "possible"), (100.0, "certain"), (1000.0, "certain"))
    first, second, third = (mark.x for mark in plot.marks)
    assert third - second == pytest.approx(second - first, abs=0.2)


def test_without_a_limit_there_is_no_line_for_it() -> None:
    assert "no time is asked for" in _drawn((10.0, "-"), limit_s=None).notes
    assert not [line for line in _drawn((10.0, "-"), limit_s=None).lines if line.kind == "limit"]


def test_touch_voltages_stand_at_their_place_on_the_axis() -> None:
    site: Site = inspected(TWICE).sites[0]
    assert site.figures
    shapes = {key.text: key.shape for key in plots.keys(site.figures)}
    assert len(set(shapes.values())) == len(shapes) == 3
    (plot,), left_out = plots.touch(site.figures, shapes)
    assert left_out == 0
    ticks = {text.text: text.x for text in plot.texts if text.text in ("0", "100")}
    for mark in plot.marks:
        volt = float(mark.title.split(": ")[1].split(" V")[0])
        assert mark.x == pytest.approx(ticks["0"] + volt * (ticks["100"] - ticks["0"]) / 100, abs=0.2)
    (limit,) = (line for line in plot.lines if line.kind == "limit")
    assert limit.x1 == pytest.approx((ticks["0"] + ticks["100"]) / 2, abs=0.2)


def test_a_floating_system_does_not_look_safe() -> None:
    """Its touch voltage is 0 V since nothing drives a current; it is not plotted among those that are cut off."""
    site = inspected(SITES / "hut--floating.yaml").sites[0]
    assert site.figures and {row.touch_v for row in site.figures.faults} == {0.0}
    assert plots.touch(site.figures, {}) == ((), 0)


def test_of_very_many_places_those_with_the_highest_voltage_are_plotted() -> None:
    site: Site = inspected(TWICE).sites[0]
    assert site.figures
    (fault, *_) = (row for row in site.figures.faults if row.touch_v)
    rows = tuple(fault._replace(at=f"place-{volt}", touch_v=float(volt)) for volt in range(100))
    shown, left_out = plots.touch(site.figures._replace(faults=rows), {", ".join(fault.sources): "circle"})
    named = {text.text for plot in shown for text in plot.texts if text.text.startswith("place-")}
    assert left_out == 100 - len(named) > 0
    assert named == {f"place-{volt}" for volt in range(left_out, 100)}


def test_the_drawings_are_those_of_the_diagram() -> None:
    report = inspected(SITES / "hut.yaml")
    assert diagram.render(report.sites[0], 0, prefix="system1-") in page.render(report)


def test_the_door_writes_what_the_command_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "hut.yaml").write_text(OPEN)
    monkeypatch.chdir(tmp_path)
    cli.main(["inspect", "hut.yaml", "--report", "html", "--today", "2026-11-25", "--out", "hut.html", "--quiet"])
    assert onebond.inspect("hut.yaml", today="2026-11-25", drawings=True).html() == Path("hut.html").read_text()
    with pytest.raises(ValueError, match="drawings=True"):
        onebond.inspect("hut.yaml").html()
