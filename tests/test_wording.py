"""Every rulebook speaks in its own words, and what a description names stays as it is."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

import onebond
from conftest import ROOT, Run
from onebond import engine, survey, wording
from onebond.facts import faults
from onebond.loading import load_rules
from onebond.reporting import diagram, figures, page, report_json, sarif, states, text, words
from onebond.result import Report, Result, Site
from onebond.rule import RULEBOOKS
from onebond.wording import Wording, plural
from onebond.wording.terms import BY_RATING, NOTES, NOUNS, PHRASES, TERMS

RULES = load_rules()
OTHERS = tuple(book for book in RULEBOOKS if book != "iec")
FILES = sorted(
    path
    for folder in ("fixtures/sites", "fixtures/cases", "fixtures/portfolio", "rules/onebond_rules/bases")
    for path in (ROOT / folder).rglob("*.yaml")
)
REREAD = [
    ROOT / "fixtures" / "sites" / f"{name}.yaml"
    for name in ("skarv", "tt-farm", "hut", "skarv--waiver-expired", "ac-coupled--array-unwatched")
]
"""Sites of iec that are read under nec too."""

# fmt: off
GONE = {
    "nec": "|".join(
        (
            r"[Uu]n?earth(?:s|ed|ing)?|[Ee]arth(?:s|ed|ing)?|RCDs?|[Rr]esidual current devices?|rcbo|mcb|mccb|PE|MET",
            r"[Ss]ocket-outlets?|[Cc]hangeovers?|[Ll]inks?|[Bb]onds?|[Bb]oards?|[Ff]inal circuits?|isolators?|star points?",
            r"[Ss]uppliers?|[Pp]rotective conductors?|protective paths?|[Ee]xposed-conductive-parts?|breaking capacity",
            r"line conductors?|supply side|protected side|mains input|energised|colours",
        )
    ),
    "bs7671": "|".join(
        (
            r"[Ss]uppliers?|utility|[Bb]reakers?|(?<!earth )(?<!_ )[Ee]lectrodes?|PE cores?|[Cc]hangeovers?(?! switch)",
            r"overcurrent devices?|network operator",
        )
    ),
    "as-nzs": "|".join(
        (
            r"[Ss]uppliers?|[Bb]oards?|[Ff]inal circuits?|(?<!earth )[Ee]lectrodes?|line conductors?|[Bb]reakers?",
            r"[Pp]rotective conductors?",
        )
    ),
    "sans": "|".join(
        (
            r"RCDs?|rcbo|[Rr]esidual current devices?|(?<!istribution )[Bb]oards?|[Pp]rotective conductors?",
            r"(?<!earth )[Ee]lectrodes?|[Bb]reakers?|main earthing terminal",
        )
    ),
}
"""Words that have to be gone under a rulebook, outside of what a description names and of what is quoted of it."""


def book_of(path: Path) -> str:
    found = re.search(r"rulebook: *([a-z0-9-]+)", path.read_text(encoding="utf-8"))
    return found[1] if found else ""


@cache
def inspected(path: Path, book: str, whole: bool = False) -> Site:
    return survey.inspect_file(
        str(path), RULES, rulebook=book, today="2026-11-25", islands=True, figures=whole, drawing=whole
    )


def sites(whole: bool) -> list[tuple[Path, str]]:
    """Every site of a rulebook other than iec (one of each base where all is shown), and some of iec under nec."""
    found = [(path, book_of(path)) for path in FILES if book_of(path) in OTHERS]
    if whole:
        found = [(path, book) for path, book in found if "--" not in path.name]
    return [*found, *((path, "nec") for path in REREAD)]


SITES = sites(whole=False)
WHOLE = sites(whole=True)


def texts(result: Result) -> Iterator[str]:
    """Everything that a result says to people."""
    yield from (result.message, result.so, result.put_right, result.lacking)
    for rows in (result.figures, *(row.figures for row in result.by_state)):
        for name, value in rows:
            yield from (name, value)
    yield from (mention.text for mention, _ in result.mentions)
    yield from (step.text for path in result.paths for step, _ in path)
    yield from (told for one in result.exemptions for told in (one.reason, one.remains))


def left(told: str, book: str, names: frozenset[str]) -> list[str]:
    """The words of another rulebook that a text still has."""
    told = re.sub(r"`[^`]*`|\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}|\(PE\)|(?:(?:L[123]|N|PEN|DC[+-]|M) )+PE\b", "_", told)
    for name in sorted(names, key=len, reverse=True):
        told = re.sub(rf"(?<![\w-]){re.escape(name)}(?![\w-])", "_", told)
    return re.findall(rf"(?<![\w.-])(?:{GONE[book]})(?![\w-])", told)


def names_of(site: Site) -> frozenset[str]:
    return frozenset(name for name, _ in site.named)


# -- the table ---------------------------------------------------------------------------------------------------------


def test_every_rulebook_has_its_words() -> None:
    assert set(NOUNS) == set(PHRASES) == set(NOTES) == set(OTHERS) == set(GONE)
    assert {name.replace("_", "-") for name in TERMS[0]._fields} == set(RULEBOOKS)
    assert len({term.iec for term in TERMS}) == len(TERMS)
    for term in TERMS:
        assert term.iec and any(term.under(book) != term.iec for book in OTHERS), term
    for book in OTHERS:
        assert not {term.iec for term in TERMS} & set(NOUNS[book]), "a word stands once"


def test_a_class_a_gfci_trips_at_6_ma_at_most() -> None:
    """UL 943: class A is to trip at 6 mA and more, and not below 4 mA; 20 mA (class C, D, E) and 30 mA are none."""
    nec = Wording("nec", (("five", 0.005), ("six", 0.006), ("seven", 0.007), ("twenty", 0.020), ("thirty", 0.030)))
    assert [nec.say(f"the RCD {name} opens") for name in ("five", "six", "seven", "twenty", "thirty", "unknown")] == [
        "the GFCI five opens",
        "the GFCI six opens",
        "the GFPE device seven opens",
        "the GFPE device twenty opens",
        "the GFPE device thirty opens",
        "the ground-fault device unknown opens",
    ]
    assert nec.say("an RCD of 6 mA or less") == "a GFCI of 6 mA or less"
    assert nec.say("an RCD of 30 mA or less, several RCDs, an RCD") == (
        "a GFPE device of 30 mA or less, several GFCI or GFPE devices, a GFCI or GFPE device"
    )


def test_a_device_without_an_id_is_known_by_its_kind() -> None:
    say = Wording("nec", (("range", 0.005), ("barn", 0.030), ("both", None))).say
    assert [wording.kind_said(say, "rcd", f"in {link}") for link in ("range", "barn", "both")] == [
        "GFCI",
        "GFPE device",
        "GFCI or GFPE device",
    ]
    assert [wording.kind_said(say, kind, "in barn") for kind in ("mcb", "mccb", "rcbo", "isolator", "fuse")] == [
        "breaker",
        "molded-case breaker",
        "GFPE breaker",
        "disconnect switch",
        "fuse",
    ]
    assert wording.kind_said(str, "rcd", "in barn") == "rcd"


def test_plurals() -> None:
    assert [plural(noun) for noun in ("transfer switch", "utility", "bus", "GFPE device", "link between N and PE")] == [
        "transfer switches",
        "utilities",
        "buses",
        "GFPE devices",
        "links between N and PE",
    ]


def test_saying_a_text_again_changes_nothing() -> None:
    for book in OTHERS:
        speech = Wording(book)
        for page_ in engine.pages(RULES, "iec"):
            for told in (page_.title, page_.checks, page_.danger, page_.remedy, *(one for *_, one in page_.parameters)):
                once = speech.say(told)
                assert speech.say(once) == once


WRITERS = [
    *(ROOT / "rules" / "onebond_rules").glob("*.py"),
    *(path for path in (ROOT / "linter" / "onebond").rglob("*.py") if path.parent.name != "components"),
]
"""The modules that write of the parts of a site; components know no names."""


def test_no_text_of_ours_puts_a_name_where_a_word_may_be() -> None:
    """A form of several words counts as words although one of them may be an id: so no template may build it with an id.

    What stands at the same end of both, in the form and in what is said for it, is not changed anyway; of those that begin with PE
    the next test has more.
    """
    forms = {
        (form, said)
        for book in OTHERS
        for form, said in (NOUNS[book] | PHRASES[book] | {term.iec: term.under(book) for term in TERMS}).items()
        if " " in form and form != said and not form.startswith("PE ")
    }
    first = {form.partition(" ")[2]: form for form, said in forms if form.split()[0].islower() and form.split()[0] != said.split()[0]}
    last = {form.rpartition(" ")[0]: form for form, said in forms if form.split()[-1].islower() and form.split()[-1] != said.split()[-1]}
    assert len(first) > 20 and len(last) > 20
    begins = re.compile(rf" (?:{'|'.join(map(re.escape, first))})\b")
    ends = re.compile(rf"\b(?:{'|'.join(map(re.escape, last))}) \Z")
    seen = 0
    for file in WRITERS:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            for one, other in pairwise(node.values if isinstance(node, ast.JoinedStr) else ()):
                seen += 1
                if isinstance(one, ast.FormattedValue):
                    assert not begins.match(_constant(other)), (file.name, node.lineno, _constant(other))
                if isinstance(other, ast.FormattedValue):
                    assert not ends.search(_constant(one)), (file.name, node.lineno, _constant(one))
    assert seen > 1000


def test_a_name_behind_pe_stays() -> None:
    names = tuple((name, None) for name in ("core", "bar", "by"))
    assert Wording("nec", names).say("the PE core is smaller than the PE bar may be, the PE by the other") == (
        "the EGC core is smaller than the EGC bar may be, the EGC by the other"
    )
    assert Wording("nec").say("the PE core at the PE bar") == "the EGC at the equipment grounding bar"


def _constant(node: ast.expr) -> str:
    return str(node.value) if isinstance(node, ast.Constant) else ""


# -- sentences ---------------------------------------------------------------------------------------------------------

SENTENCES = (
    ("the neutral floats: a fault to a frame drives no current, nothing disconnects it, and no RCD can see it",
     "the neutral floats: a fault to a frame drives no current, nothing disconnects it, and no GFCI or GFPE device can see it"),
    ("hut-link ties N to PE on the protected side of the RCD in feed",
     "hut-link ties the neutral to the EGC on the load side of the GFPE device in feed"),
    ("neutral current returns through PE past the RCD: it trips under load, and it is the first thing to be bridged",
     "neutral current returns through the EGC past the ground-fault device: it trips under load, and it is the first thing to be bridged"),
    ("tie the neutral of inverter to PE once (a bond at its first board or inside it), or declare it IT with a monitor",
     "tie the neutral of inverter to the EGC once (a bonding jumper at its first panelboard or inside it), "
     "or declare it IT (ungrounded) with a monitor"),
    ("the bond inside genset ties a neutral to earth that is already tied by main-jumper; conductors join the two",
     "the bonding jumper inside genset ties a neutral to ground that is already tied by main-jumper; conductors join the two"),
    ("an earth fault at pump is not certain to be cleared within 5 s", "a ground fault at pump is not certain to be cleared within 5 s"),
    ("An earth electrode that is earthed behind an RCD", "A grounding electrode that is grounded behind a GFCI or GFPE device"),
    ("put kitchen behind an RCD of 6 mA that sums its line and its neutral",
     "put kitchen behind a GFCI of 6 mA that sums its line and its neutral"),
    ("the socket-outlets of kitchen have no RCD of 6 mA or less on every way to them",
     "the receptacles of kitchen have no GFCI of 6 mA or less on every way to them"),
    ("ts opens a PEN conductor", "ts opens a PEN conductor"),
    ("take PE out of the poles of q1", "take the EGC (PE) out of the poles of q1"),
    ("add PE to the cores of the cable that feeds barn, or join its PE to the main earthing terminal",
     "add an EGC (PE) to the cores of the cable that feeds barn, or join its EGC to the main grounding bus"),
    ("the circuit pump has no protective path to the reference that feeds it, nor to an electrode",
     "the circuit pump has no effective ground-fault current path to the reference that feeds it, nor to a grounding electrode"),
    ("main-jumper is smaller than the line conductors at its place ask for",
     "main-jumper is smaller than the ungrounded conductors at its place ask for"),
    ("add the link: bonds: {main-link: {at: main}}, fitted where the PEN is split",
     "add the bonding jumper: bonds: {main-link: {at: main}}, fitted where the PEN is split"),
    ("with the supplier's cable broken or disconnected, a fault to a frame drives no current",
     "with the utility's cable broken or disconnected, a fault to a frame drives no current"),
    ("lock the switches of a and b against each other, or let a changeover choose between them",
     "lock the switches of a and b against each other, or let a transfer switch choose between them"),
    ("it opens L1 L2 N PE of `cores: L1 N PE`", "it opens L1 L2 N PE of `cores: L1 N PE`"),
)  # fmt: skip
"""What is written, and what somebody reads under nec."""


@pytest.mark.parametrize(("written", "read"), SENTENCES, ids=range(len(SENTENCES)))
def test_sentences_under_nec(written: str, read: str) -> None:
    assert Wording("nec", (("feed", 0.030), ("genset", None))).say(written) == read


@pytest.mark.parametrize(
    ("book", "written", "read"),
    [
        ("bs7671", "{x}: the supplier's earth is joined to an electrode",
         "{x}: the distributor's means of earthing is joined to an earth electrode"),
        ("bs7671", "a PE core is missing on the way", "a circuit protective conductor is missing on the way"),
        ("bs7671", "the breaker holds; a utility", "the circuit-breaker holds; a distributor"),
        ("as-nzs", "the one main link, a final circuit of an old board", "the MEN link, a final subcircuit of an old switchboard"),
        ("as-nzs", "no protective conductor leads to an electrode", "no protective earthing conductor leads to an earth electrode"),
        ("sans", "a board behind an RCD; the RCDs", "a distribution board behind an earth leakage device; the earth leakage devices"),
        ("sans", "join it to the main earthing terminal by a protective conductor",
         "join it to the consumer's earth terminal by an earth continuity conductor"),
    ],
)  # fmt: skip
def test_sentences_under_others(book: str, written: str, read: str) -> None:
    assert Wording(book).say(written) == read


def test_iec_is_what_is_written() -> None:
    assert words.speech("iec") is str
    assert words.speech("") is str
    assert Wording("iec").say("an RCD and PE") == "an RCD and PE"
    site = inspected(REREAD[0], "iec")
    assert site.named == ()


# -- whole sites -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("path", "book"), SITES, ids=[f"{path.stem}-{book}" for path, book in SITES])
def test_findings_speak_in_the_words_of_the_rulebook(path: Path, book: str) -> None:
    site = inspected(path, book)
    names = names_of(site)
    assert site.rulebook == book and names
    for result in site.results:
        for told in texts(result):
            assert not left(told, book, names), told
    report = report_json.build(Report("1", (site,), ()))
    assert [one["message"] for one in report["sites"][0]["results"]] == [
        one.message for one in words.ordered(site.results)
    ]


class Shown(HTMLParser):
    """The texts of a page that are its own words: no quotations, no code, no style, no cores of a cable."""

    QUOTED = ("style", "script", "code", "pre", "title")

    def __init__(self, told: str) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.open: list[tuple[str, str]] = []
        self.feed(told)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.texts += [found[name] for name in ("aria-label", "data-head") if name in found]
        if tag not in ("meta", "br", "input", "path", "rect", "circle", "line", "ellipse"):
            self.open.append((tag, found.get("class", "")))

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        quoted = {
            "listing",
            "excerpt",
            "block",
            "name",
            "link",
            "device",
            "label",
        }  # what a class says is of the description
        if (
            data.strip()
            and not any(tag in self.QUOTED[:4] or quoted & set(classes.split()) for tag, classes in self.open)
            and (self.open[-1:] != [("title", "")] or any(tag == "svg" for tag, _ in self.open))
        ):
            self.texts.append(" ".join(data.split()))


@pytest.mark.parametrize(("path", "book"), WHOLE, ids=[f"{path.stem}-{book}" for path, book in WHOLE])
def test_pages_and_figures_speak_in_the_words_of_the_rulebook(path: Path, book: str) -> None:
    site = inspected(path, book, True)
    names = names_of(site) | {site.name, site.path, "onebond"}
    report = Report("1", (site,), engine.pages(RULES, None))
    # a parameter is told by its name, which is the same under every rulebook
    parameters = {name for rule in report.rules for name, *_ in rule.parameters}
    shown = [re.sub(r"^([a-z0-9-]+) =", lambda m: " =" if m[1] in parameters else m[0], told) for told in Shown(page.render(report)).texts]
    assert len(shown) > 100
    clauses = {clause for rule in report.rules for clause in rule.references}
    glossary = {meaning for _, meaning in NOTES[book]} | {word for word, _ in NOTES[book]}
    for told in shown:
        if told not in clauses | glossary and not told.startswith("What the description calls"):
            assert not left(told, book, names), told
    state = 0 if site.drawing and site.drawing.states else None
    picture = re.sub(r"<style>.*?</style>|<[^>]*>", " ", diagram.render(site, state), flags=re.DOTALL)
    picture = re.sub(r"PE(?= [\d,])|: PE,|from PE", "_", picture)  # the cores of a cable as they are written, and their sizes
    for told in (figures.render(site), states.render(site), picture):
        for line in told.splitlines():
            assert line.startswith("  electrode  ") or not left(line, book, names), line


# -- names -------------------------------------------------------------------------------------------------------------

HOSTILE = """\
onebond: 1
site: {name: The RCD and PE earthing link house, rulebook: nec, stage: design}
sources:
  earth: {kind: generator, phases: L1, voltage: 120 V, rating: 5 kVA, neutral-bond: none}
boards:
  pe: {}
  link: {}
connections:
  bond: {from: earth, to: pe, cores: L1 N PE, size: 10 AWG, length: 10 ft, through: [{kind: rcd, id: rcd, rating: 30 A, residual: 30 mA}]}
  changeover: {from: pe, to: link, cores: L1 N, size: 10 AWG, length: 10 ft}
circuits:
  socket: {from: pe, cores: L1 N PE, serves: socket-outlets, size: 12 AWG, length: 30 ft, through: [{kind: mcb, curve: C, rating: 20 A}]}
  socket-outlet: {from: link, cores: L1 N PE, serves: lighting, size: 12 AWG, length: 9 ft, through: [{kind: mcb, curve: C, rating: 20 A}]}
electrodes:
  electrode: {at: pe, rods: 2, length: 8 ft, diameter: 16 mm, spacing: 8 ft, soil: 100 ohm m, conductor: 6 AWG}
waivers:
  - {rule: neutral-unreferenced, at: earth, reason: "the RCD behind PE is earthed", until: 2027-03-01, by: "A. Link of Earth"}
"""
"""A site whose names are words: none of them may change."""

NAMES = ("earth", "pe", "link", "bond", "rcd", "changeover", "socket", "socket-outlet", "electrode")


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    file = tmp_path / "hostile.yaml"
    file.write_text(HOSTILE, encoding="utf-8")
    return file


def renamed(told: str) -> str:
    """The same file with names that are no words."""
    new = dict(zip(NAMES, ("s1", "b1", "b2", "c1", "d1", "c2", "f1", "f2", "e1"), strict=True))
    told = re.sub(r"(?m)^  ([a-z-]+): \{", lambda found: f"  {new.get(found[1], found[1])}: {{", told)
    return re.sub(r"\b(from|to|id|at): ([a-z-]+)", lambda found: f"{found[1]}: {new.get(found[2], found[2])}", told)


def test_names_that_are_words_stay(hostile: Path, tmp_path: Path) -> None:
    site = inspected(hostile, "nec", True)
    plain = tmp_path / "plain.yaml"
    plain.write_text(renamed(HOSTILE), encoding="utf-8")
    other = inspected(plain, "nec", True)
    assert not site.problems and len(site.results) == len(other.results) > 50
    back = dict(zip(("s1", "b1", "b2", "c1", "d1", "c2", "f1", "f2", "e1"), NAMES, strict=True))

    def named_back(told: str) -> str:
        return re.sub(r"(?<![\w-])(?:s1|b1|b2|c1|d1|c2|f1|f2|e1)(?![\w-])", lambda found: back[found[0]], told)

    def loose(told: str) -> str:
        """Without the words that are names here: they may have stayed in the terms of IEC, and nothing else may differ."""
        speech = Wording("nec")
        return speech.say(told)

    ours = {(one.rule, one.subject): one for one in site.results}
    seen = 0
    for theirs in other.results:
        mine = ours[theirs.rule, back.get(theirs.subject, theirs.subject)]
        for my, their in zip(texts(mine), texts(theirs), strict=True):
            wanted = named_back(their)
            assert loose(my) == loose(wanted), (my, wanted)
            for name in back.values():  # every name that is in the one stands in the other too
                count = len(re.findall(rf"(?<![\w-]){name}(?![\w-])", wanted))
                assert len(re.findall(rf"(?<![\w-]){name}(?![\w-])", my)) >= count, (my, wanted)
                seen += count
    assert seen > 15


def test_names_of_a_hostile_site_stay_in_every_report(hostile: Path) -> None:
    site = inspected(hostile, "nec", True)
    assert {"earth", "pe", "link", "rcd", "socket", "electrode"} < {result.subject for result in site.results}
    assert any("GFPE device rcd" in told for result in site.results for told in texts(result))
    report = Report("1", (site,), engine.pages(RULES, "nec"))
    plain, shown = text.render(report, colour=False, width=0, evidence=True), page.render(report)
    for told in (plain, shown, sarif.render(report, evidence=True), report_json.render(report)):
        assert "the RCD behind PE is earthed" in told
        assert "A. Link of Earth" in told or told is not plain
    assert "The RCD and PE earthing link house" in states.render(site)
    assert "The RCD and PE earthing link house" in shown
    assert "earth: {kind: generator, phases: L1, voltage: 120 V" in re.sub("<[^>]*>", "", shown)
    assert "1  earth: " in states.render(site)
    assert "pe, link, socket, socket-outlet" in states.render(site)


# -- commands ----------------------------------------------------------------------------------------------------------


def test_explain_shows_the_page_in_the_words_of_the_rulebook(run: Run) -> None:
    done = run("explain", "bond-behind-rcd", "--rulebook", "nec")
    assert "A main or system bonding jumper lies on the load side of a GFCI or GFPE device." in done.stdout
    assert "rcd" in done.stdout  # the example is a description
    assert run("explain", "bond-behind-rcd").stdout.startswith(
        "bond-behind-rcd: A link between N and PE lies on the protected side of an RCD."
    )
    assert "A grounding electrode conductor is too small." in run("explain", "--rulebook", "nec").stdout


def test_the_rules_of_a_report_speak_as_its_sites_do(tmp_path: Path) -> None:
    """SARIF and JSON describe the rules once: in the words of the rulebook that all sites have, else in those of iec."""
    nec, iec = ROOT / "fixtures/sites/nec-rv.yaml", ROOT / "fixtures/sites/hut.yaml"
    for name, told in (("nec", (nec,)), ("both", (nec, iec))):
        folder = tmp_path / name
        folder.mkdir()
        for file in told:
            (folder / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
        report = onebond.inspect(folder, today="2026-11-25")
        titles = {rule.id: rule.title for rule in report.data.rules}
        wanted = "A main or system bonding jumper lies" if name == "nec" else "A link between N and PE lies"
        assert titles["bond-behind-rcd"].startswith(wanted)
        assert wanted in report.sarif()
        references = next(rule.references for rule in report.data.rules if rule.id == "bond-behind-rcd")
        assert any(reference.startswith("iec: ") for reference in references), "the clauses of all rulebooks stay"


def test_a_page_of_several_sites_speaks_to_each_in_its_own_words(tmp_path: Path) -> None:
    for name in ("nec-rv", "hut"):
        (tmp_path / f"{name}.yaml").write_text(
            (ROOT / "fixtures" / "sites" / f"{name}.yaml").read_text(encoding="utf-8"), encoding="utf-8"
        )
    told = onebond.inspect(tmp_path, today="2026-11-25", drawings=True).html()
    assert "Neutral earthed at" in told and "Neutral grounded at" in told
    assert "Grounding and fault protection" in told and "Earthing and fault protection" in told
    assert told.count("Words of the description") == 1


def test_words_that_programs_compare_stay() -> None:
    """Values of keys that are enumerations are the same under every rulebook."""
    site = inspected(ROOT / "fixtures" / "sites" / "nec-cabin-solid.yaml", "nec")
    verdicts = {island["verdict"] for island in states.build(site)["islands"]}
    assert "earthed once" in verdicts
    assert "grounded once" in states.render(site) and "earthed" not in states.render(site)


def test_a_page_says_what_the_words_of_the_description_are() -> None:
    pages = {}
    for name in ("nec-cabin-solid", "nec-cabin-solid--panel-bonded"):
        site = inspected(ROOT / "fixtures" / "sites" / f"{name}.yaml", "nec", True)
        pages[name] = page.render(Report("1", (site,), engine.pages(RULES, "nec")))
        for word, meaning in NOTES["nec"]:
            assert f"<dt><code>{word}</code></dt><dd>{meaning.replace(chr(39), '&#39;')}</dd>" in pages[name]
    beside = "What the description calls PE is the equipment grounding conductor (EGC)"
    assert [beside in told for told in pages.values()] == [False, True], "said where findings speak of it"
    assert "Words of the description" not in page.render(
        Report("1", (inspected(ROOT / "fixtures" / "sites" / "hut.yaml", "iec", True),), engine.pages(RULES, "iec"))
    )


def test_a_device_is_a_gfci_by_one_limit() -> None:
    assert set(BY_RATING) <= set(OTHERS)
    assert wording.GFCI_A is faults.GFCI_A
