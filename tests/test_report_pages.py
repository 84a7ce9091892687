"""Rule pages and operating states in the terminal."""

from __future__ import annotations

import json

from onebond.reporting import pages, states
from onebond.result import Fault, IslandLine, Problem, RulePage, Site
from onebond.span import Span

TWICE = RulePage(
    "neutral-bonded-twice",
    "error",
    "A neutral that is tied to earth at two places.",
    "Counts the references of each live\nisland, state by state.\n\nSeveral ties inside one enclosure are one.",
    "The PE carries neutral current.",
    "Remove the bond that is too much.",
    ("IEC 60364-5-54:543.4.3", "IEC 60364-4-44:444.4.7 ?"),
    (("iec", "error"), ("nec", "error"), ("as-nzs", "warning")),
    (("limit", "0.1 A", "neutral current that a PE may carry"),),
    "bonds:\n  main-link: {at: main}\n",
    "bonds:\n  main-link: {at: main}\n  second: {at: hut}\n",
)
FED_BACK = RulePage("backfeed", "error", "A dead source that is energised.", "Checks.", "", "", ())


def test_the_page_of_a_rule() -> None:
    assert pages.page(TWICE) == (
        "neutral-bonded-twice: A neutral that is tied to earth at two places.\n"
        "\n"
        "Level: error (iec, nec); warning (as-nzs)\n"
        "\n"
        "Checks\n"
        "  Counts the references of each live island, state by state.\n"
        "\n"
        "  Several ties inside one enclosure are one.\n"
        "\n"
        "Danger\n"
        "  The PE carries neutral current.\n"
        "\n"
        "Remedy\n"
        "  Remove the bond that is too much.\n"
        "\n"
        "References\n"
        "  - IEC 60364-5-54:543.4.3\n"
        "  - IEC 60364-4-44:444.4.7 ?\n"
        "  ?: this clause number is from memory and was not checked against the text.\n"
        "\n"
        "Parameters\n"
        "  - limit = 0.1 A: neutral current that a PE may carry\n"
        "\n"
        "Passes\n"
        "  bonds:\n"
        "    main-link: {at: main}\n"
        "\n"
        "Fails\n"
        "  bonds:\n"
        "    main-link: {at: main}\n"
        "    second: {at: hut}\n"
    )


def test_what_a_rule_does_not_say_has_no_heading() -> None:
    assert pages.page(FED_BACK) == "backfeed: A dead source that is energised.\n\nLevel: error\n\nChecks\n  Checks.\n"


def test_long_paragraphs_are_wrapped() -> None:
    out = pages.page(TWICE._replace(danger="word " * 60), width=60)
    assert max(len(line) for line in out.split("\n") if "word" in line) <= 60
    assert out.count("word") == 60


def test_the_table_of_rules() -> None:
    off = RulePage("changeover-neutral-switched", "none", "Title.", "", "", "", (), (("as-nzs", "error"),))
    assert pages.table([TWICE, off, FED_BACK]) == (
        "rule                         level   finds\n"
        "backfeed                     error   A dead source that is energised.\n"
        "changeover-neutral-switched  off*    Title.\n"
        "neutral-bonded-twice         error*  A neutral that is tied to earth at two places.\n"
        "\n"
        "* another level, or off, in some rulebooks: see the page of the rule\n"
    )
    assert pages.table([]) == "no rule is loaded\n"


def test_pages_are_neutralised() -> None:
    out = pages.page(TWICE._replace(title="a\x1b[2J", passing="x: 1\n\u202ey: 2", checks="a\x07", references=("\x9b",)))
    assert all(char == "\n" or char.isprintable() for char in out)


GRID = IslandLine(
    ("shore",),
    tuple(f"board-{n}" for n in range(10)),
    ("supplier's star point at shore",),
    "referenced",
    ((("shore", ("present",)), ("ts", ("grid", "island"))),),
    ("rods",),
)
ALONE = IslandLine(("hybrid",), ("essential",), (), "floating", ())
SKARV = Site("skarv.yaml", ("x",), "ab", "Skarv Island", "iec", "design", islands=(GRID, ALONE), cases=96)


def test_states_name_sources_references_and_conditions() -> None:
    assert states.render(SKARV) == (
        "skarv.yaml: Skarv Island\n"
        "96 cases, 2 kinds of live island (rulebook iec, stage design)\n"
        "\n"
        "1  hybrid: floating\n"
        "  supplies   essential\n"
        "  reference  none\n"
        "\n"
        "2  shore: referenced\n"
        "  supplies   board-0, board-1, board-2, board-3, board-4, board-5, board-6, board-7 and 2 more\n"
        "  reference  supplier's star point at shore\n"
        "  electrode  rods\n"
        "  when       shore present; ts on grid or island\n"
    )


def test_states_say_when_they_are_not_whole() -> None:
    out = states.render(SKARV._replace(not_proven=("islands of hybrid",), faults=(Fault("states", "ts", "boom"),)))
    assert "not proven: islands of hybrid\n" in out
    assert "skarv.yaml:1:1: error: internal error in rule states on subject ts: boom [internal]\n" in out
    assert "no live island: " in states.render(SKARV._replace(islands=()))


def test_a_refused_description_has_no_states() -> None:
    out = states.render(SKARV._replace(problems=(Problem(Span(1, 1, 1, 2), "wrong"),), islands=()))
    assert out.startswith("skarv.yaml:1:1: error: wrong [description-refused]\n    1 | x\n      | ^\n")
    assert out.endswith("\nskarv.yaml: refused: no states, since the description could not be read\n")


def test_states_for_programs_shorten_nothing() -> None:
    site = SKARV._replace(path="sk\udcffarv.yaml", name="a\u202eb")
    tree = json.loads(states.render_json(site))
    states.render_json(site).encode("utf-8")
    assert tree["path"] == "sk<0xFF>arv.yaml"
    assert tree["site"] == "a<U+202E>b"
    assert tree["cases"] == 96
    assert [island["sources"] for island in tree["islands"]] == [["hybrid"], ["shore"]]
    assert len(tree["islands"][1]["supplies"]) == 10
    assert tree["islands"][1]["when"] == [{"shore": ["present"], "ts": ["grid", "island"]}]


def test_states_do_not_depend_on_the_order_of_islands() -> None:
    assert states.render(SKARV) == states.render(SKARV._replace(islands=(ALONE, GRID)))
