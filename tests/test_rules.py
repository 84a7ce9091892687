"""The built-in rules by their own examples, and what the engine makes of rules that fail, break or know too little."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from conftest import HUT, ROOT
from onebond import testing
from onebond.engine import pages
from onebond.reporting import pages as terminal
from onebond.result import Result, Site
from onebond.rule import (
    PASS,
    PRACTICE,
    RULEBOOKS,
    Energised,
    Example,
    Facts,
    Feeding,
    Finding,
    Params,
    Ref,
    Rule,
    Unknown,
    Verdict,
    rule,
)
from onebond_rules import RULES

BASES = sorted((ROOT / "rules" / "onebond_rules" / "bases").glob("*.yaml"))
BY_ID = {one.id: one for one in RULES}

# The rules that issue 2 asks for, and the one that only AS/NZS has, in the order of the rule book.
ORDER = """
neutral-unreferenced neutral-bonded-twice bond-behind-rcd bond-missing-at-pen-split island-reference-borrowed
reference-lost-in-transition pen-not-declared
it-without-monitor it-bonded changeover-neutral-solid changeover-neutral-switched sources-at-different-levels
infeed-behind-rcd inverter-fed-behind-rcd inverter-feeds-itself sources-in-parallel backfeed neutral-opens-first
pen-switched pe-switched
electrode-missing pe-missing electrodes-not-joined electrode-resistance-high pen-earth-not-allowed
earthing-conductor-small pe-small
bonding-conductor-small pen-small bond-small disconnection-too-slow source-too-weak-to-trip touch-voltage-high
rcd-missing rcd-blind rcd-type-unsuitable rcd-not-selective rcd-trips-in-service neutral-borrowed
breaking-capacity-low neutral-current-in-pe voltage-drop-high single-failure-dangerous dc-earth-conflict dc-frame-unbonded
dc-earth-fault-unwatched dc-unfused reading-contradicts-design reading-missing test-overdue reading-refused never-energised
nothing-supplied device-does-not-fit
"""

PAGE = """A fake rule for these tests.

Checks: nothing.

Danger: none.

Remedy: none.
"""


def fake(
    check: Callable[[Energised, Params], Verdict],
    id: str = "fake-rule",
    examples: tuple[Example, ...] = (),
    refs: tuple[Ref, ...] = (PRACTICE,),
    page: str = PAGE,
) -> Rule:
    """A rule over every board and circuit."""
    return rule(
        id=id, level="error", over=Facts.places, check=check, refs=refs, examples=examples, page=page, in_states=False
    )


def on(subject: str, because: tuple[str, str] | None = None) -> Callable[[Energised, Params], Verdict]:
    """A check that finds one subject."""

    def check(place: Energised, params: Params) -> Verdict:
        found = Finding(f"{place.id} is found", "nothing follows", "leave it", because=because)
        return found if place.id == subject else PASS

    return check


def inspected(text: str, *rules: Rule, today: str = "", limit: int = 0) -> Site:
    """A text inspected by some rules, whatever breaks."""
    from onebond.document import parse
    from onebond.engine import inspect
    from onebond.reading import read

    document = parse(text.encode(), "hut.yaml").document
    assert document is not None
    installation, problems = read(document)
    assert installation is not None, problems
    if limit:
        return inspect(installation, document, rules, None, today, limit)
    return inspect(installation, document, rules, None, today)


def one(site: Site, rule_id: str, subject: str) -> Result:
    (result,) = [result for result in site.results if (result.rule, result.subject) == (rule_id, subject)]
    return result


# -- the built-in rules ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tested", RULES, ids=lambda tested: tested.id)
def test_rule_is_proved_by_its_examples(tested: Rule) -> None:
    testing.prove(tested)
    assert sum(1 for example in tested.examples if example.finds) >= 2


def test_rules_and_their_order() -> None:
    assert [tested.id for tested in RULES] == ORDER.split()


@pytest.mark.parametrize("tested", RULES, ids=lambda tested: tested.id)
def test_page(tested: Rule) -> None:
    headings = re.findall(r"^(\w+):", tested.page, re.MULTILINE)
    assert headings == ["Checks", "Danger", "Remedy"]
    assert tested.check.__module__ == f"onebond_rules.{tested.id.replace('-', '_')}"
    assert tested.check.__doc__
    (page,) = [page for page in pages([tested], examples=True) if page.id == tested.id]
    assert all(line[:2] in ("# ", "- ", "+ ", "  ", "") for line in f"{page.failing}\n{page.passing}".split("\n"))
    shown = terminal.page(page)
    assert tested.title in shown
    assert f"# {tested.examples[0].base}" in shown


@pytest.mark.parametrize("path", BASES, ids=lambda path: path.stem)
def test_base_is_small_and_good(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert 25 <= len(text.splitlines()) <= 45
    site = testing.inspected(text, RULES, name=path.name).site
    assert [result for result in site.results if result.kind == "fail"] == []
    others = {result.kind: result.lacking for result in site.results if result.kind not in ("pass", "notApplicable")}
    if "length:" in text:
        assert others == {}
    else:
        # a base of topology alone: what rests on numbers is open, and says which entry is not written
        assert set(others) <= {"open"}
        assert all("is not written" in lacking for lacking in others.values())


def test_every_base_is_used() -> None:
    used = {example.base for tested in RULES for example in tested.examples}
    assert used == {path.stem for path in BASES}


@pytest.mark.parametrize(
    ("id", "base", "levels"),
    [
        ("island-reference-borrowed", "workshop", ("error", "error", "warning", "note", "error")),
        ("changeover-neutral-switched", "one-neutral", ("off", "off", "off", "error", "off")),
    ],
)
def test_rulebooks_differ_in_level(id: str, base: str, levels: tuple[str, ...]) -> None:
    tested = BY_ID[id]
    example = next(example for example in tested.examples if example.base == base and example.finds)
    text = testing.edited(testing.base(tested.package, base), example)
    for book, level in zip(RULEBOOKS, levels, strict=True):
        found = [r.level for r in testing.inspected(text, (tested,), book).site.results if r.kind == "fail"]
        assert found == ([] if level == "off" else [level] * len(example.finds)), book


def test_solid_neutral_at_a_changeover_by_rulebook() -> None:
    """Two references joined are an error everywhere; one reference and a generating set is a warning in IEC and BS."""
    tested = BY_ID["changeover-neutral-solid"]
    regular = testing.base(tested.package, "one-neutral")
    double = regular.replace("230 V, neutral-bond: none}\n\n", "230 V, neutral-bond: fixed}\n\n")
    assert double != regular
    for text, levels in ((regular, ("warning", "warning", "", "", "")), (double, ("error",) * 5)):
        for book, level in zip(RULEBOOKS, levels, strict=True):
            site = testing.inspected(text, (tested,), book).site
            assert [(r.subject, r.level) for r in site.results if r.kind == "fail"] == (
                [("ts", level)] if level else []
            )


# -- prove() -----------------------------------------------------------------------------------------------------------

FINDS = Example("hut", (("to: hut, ", "to: hut,  "),), ("lamps",))
PASSES = Example("hut", (("  rod:", "  rods:"),), ())


def found_with_rods(feeding: Feeding, params: Params) -> Verdict:
    """Finds each source whose reference reaches an electrode called rods."""
    return Finding(f"{feeding.id} has rods", "nothing", "nothing") if feeding.electrode == "rods" else PASS


def over_feedings(check: Callable[[Feeding, Params], Verdict], *examples: Example, refs: tuple[Ref, ...]) -> Rule:
    return rule(
        id="fake-rule", level="error", over=Facts.feedings, check=check, refs=refs, examples=examples, page=PAGE
    )


FOUND = Example("hut", (("  rod:", "  rods:"),), ("inverter",))
CLEAN = Example("hut", (("  rod:", "  stake:"),), ())


def test_prove_accepts_a_good_rule() -> None:
    testing.prove(over_feedings(found_with_rods, FOUND, CLEAN, refs=(PRACTICE,)), {"hut": HUT})


@pytest.mark.parametrize(
    ("examples", "message"),
    [
        ((FOUND,), "no example without a finding"),
        ((CLEAN,), "no example with a finding"),
        ((FOUND._replace(finds=("hut",)), CLEAN), "finds inverter, and not hut"),
        ((FOUND._replace(finds=("hut", "inverter")), CLEAN), "finds inverter, and not hut, inverter"),
        ((FOUND, CLEAN._replace(replace=FOUND.replace)), "finds inverter, and not nothing"),
        ((FOUND._replace(replace=(("  rods:", "  rod:"),)), CLEAN), "stands 0 times in the text, not once"),
        ((FOUND._replace(replace=(("hut", "shed"),)), CLEAN), "times in the text, not once"),
        ((FOUND._replace(replace=(("  rod:", "  rods:"), ("rods", "rod"))), CLEAN), "is not text of the base"),
        ((FOUND._replace(replace=(("to: hut,", "to: shed,"),)), CLEAN), "the edited text is not read: line 8"),
        ((FOUND._replace(base="shed"), CLEAN), "there is no base shed"),
        ((FOUND._replace(rulebook="din"), CLEAN), "'din' is not a rulebook"),
    ],
)
def test_prove_refuses_examples(examples: tuple[Example, ...], message: str) -> None:
    with pytest.raises(AssertionError, match=re.escape(message)):
        testing.prove(over_feedings(found_with_rods, *examples, refs=(PRACTICE,)), {"hut": HUT})


def test_prove_refuses_a_base_that_does_not_pass() -> None:
    with pytest.raises(AssertionError, match="finds lamps in the base itself"):
        testing.prove(fake(on("lamps"), examples=(FINDS, PASSES)), {"hut": HUT})


def test_prove_reads_bases_from_the_package() -> None:
    example = FOUND._replace(base="no-such-place")
    with pytest.raises(AssertionError, match=r"onebond_rules has no base no-such-place"):
        testing.prove(over_feedings(found_with_rods, example, CLEAN, refs=(PRACTICE,)))


def test_prove_wants_a_reference_for_every_rulebook() -> None:
    refs = tuple(Ref(book, "a document", "1") for book in RULEBOOKS if book != "sans")
    with pytest.raises(AssertionError, match="no reference for sans"):
        testing.prove(over_feedings(found_with_rods, FOUND, CLEAN, refs=refs), {"hut": HUT})


def test_prove_refuses_a_page_that_does_not_keep_the_contract() -> None:
    good = over_feedings(found_with_rods, FOUND, CLEAN, refs=(PRACTICE,))
    for changed, message in (
        (good._replace(page=PAGE.replace("Danger: none.\n\n", "")), "no text under 'Danger'"),
        (good._replace(page=PAGE + "\nRemedy: another.\n"), "'Remedy' stands 2 times"),
        (good._replace(title="Another title."), "its title or its page was changed"),
        (good._replace(over="islands_and_more"), "islands_and_more is no collection of Facts"),
        (good._replace(id="Fake"), "lower-case words"),
    ):
        with pytest.raises(AssertionError, match=re.escape(message)):
            testing.prove(changed, {"hut": HUT})


def test_prove_refuses_words_that_change_with_the_state() -> None:
    def check(feeding: Feeding, params: Params) -> Verdict:
        if feeding.frame_electrode != "rods":
            return PASS
        return Finding(f"{feeding.id} feeds {len(feeding.island.supplies)} places", "nothing", "nothing")

    text = HUT.replace("length: 3 m}", "length: 3 m, through: [{kind: isolator, id: q, operable: yes}]}")
    assert text != HUT
    twice = text.replace("circuits:\n", "circuits:\n  outlet: {from: inverter, cores: L1 N PE}\n")
    with pytest.raises(AssertionError, match="the message on inverter changes with the operating state"):
        testing.prove(over_feedings(check, FOUND, CLEAN, refs=(PRACTICE,)), {"hut": twice})


def test_prove_refuses_a_rule_that_breaks_or_gives_no_verdict() -> None:
    def breaks(feeding: Feeding, params: Params) -> Verdict:
        raise ZeroDivisionError

    def silent(feeding: Feeding, params: Params) -> Verdict:
        return found_with_rods(feeding, params) if feeding.electrode == "rods" else None  # type: ignore[return-value]

    with pytest.raises(AssertionError, match="a rule broke: fake-rule on inverter: ZeroDivisionError"):
        testing.prove(over_feedings(breaks, FOUND, CLEAN, refs=(PRACTICE,)), {"hut": HUT})
    with pytest.raises(AssertionError, match="returns None on inverter, which is no verdict"):
        testing.prove(over_feedings(silent, FOUND, CLEAN, refs=(PRACTICE,)), {"hut": HUT})


# -- what the engine makes of them -------------------------------------------------------------------------------------


def test_a_rule_that_breaks_is_a_fault_and_the_rest_still_runs() -> None:
    def check(place: Energised, params: Params) -> Verdict:
        if place.id == "hut":
            raise ZeroDivisionError("by hand")
        return on("lamps")(place, params)

    site = inspected(HUT, fake(check), fake(on("hut"), "other-rule"))
    assert [(fault.rule, fault.subject, fault.message) for fault in site.faults] == [
        ("fake-rule", "hut", "ZeroDivisionError: by hand")
    ]
    assert [(r.rule, r.subject) for r in site.results if r.kind == "fail"] == [
        ("other-rule", "hut"),
        ("fake-rule", "lamps"),
    ]
    assert not [r for r in site.results if (r.rule, r.subject) == ("fake-rule", "hut")]


def test_a_collection_that_breaks_is_a_fault_too(monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken:
        def __get__(self, instance: object, owner: type) -> tuple[()]:
            raise KeyError("lost")

    tested = fake(on("hut"))
    monkeypatch.setattr(Facts, "places", Broken())
    site = inspected(HUT, tested, BY_ID["neutral-unreferenced"])
    assert [(fault.rule, fault.subject) for fault in site.faults] == [("fake-rule", "-")]
    assert one(site, "neutral-unreferenced", "inverter").kind == "pass"


def test_what_is_not_written_gives_an_open_result_that_names_it() -> None:
    def check(place: Energised, params: Params) -> Verdict:
        if place.id == "lamps":
            raise Unknown("the length of lamps", (*place.route, "length"))
        return PASS

    result = one(inspected(HUT, fake(check)), "fake-rule", "lamps")
    assert (result.kind, result.level) == ("open", "none")
    assert "the length of lamps is not written" in result.message
    ((mention, span),) = result.mentions
    assert mention.route == ("circuits", "lamps", "length")
    assert HUT.splitlines()[span.line - 1].startswith("  lamps: ")


def test_a_finding_outweighs_what_is_not_known() -> None:
    def check(feeding: Feeding, params: Params) -> Verdict:
        if "lamps" in feeding.island.supplies:
            return Finding("found", "so", "put right")
        raise Unknown("something", feeding.route)

    text = HUT.replace("length: 3 m}", "length: 3 m, through: [{kind: isolator, id: q, operable: yes}]}")
    text = text.replace("circuits:\n", "circuits:\n  outlet: {from: inverter, cores: L1 N PE}\n")
    site = inspected(text, over_feedings(check, refs=(PRACTICE,)))
    result = one(site, "fake-rule", "inverter")
    assert (result.kind, result.message, result.conditions) == (
        "fail",
        "found",
        ((("inverter", ("inverting",)), ("q", ("closed",))),),
    )


def test_a_consequence_counts_on_its_own_without_its_cause() -> None:
    follows = fake(on("lamps", because=("cause-rule", "hut")))
    together = one(inspected(HUT, follows, fake(on("hut"), "cause-rule")), "fake-rule", "lamps")
    assert (together.level, together.because) == ("note", ("cause-rule", "hut"))
    for others in ((), (fake(on("elsewhere"), "cause-rule"),), (fake(on("lamps"), "cause-rule"),)):
        alone = one(inspected(HUT, follows, *others), "fake-rule", "lamps")
        assert (alone.level, alone.because) == ("error", None)


def test_findings_that_follow_from_each_other_both_count() -> None:
    first = fake(on("hut", because=("second-rule", "lamps")), "first-rule")
    second = fake(on("lamps", because=("first-rule", "hut")), "second-rule")
    site = inspected(HUT, first, second)
    assert any(result.level == "error" for result in site.results if result.kind == "fail")


def waived(rule_id: str, at: str, until: str) -> str:
    return f"{HUT}waivers:\n  - {{rule: {rule_id}, at: {at}, reason: on order, until: {until}, by: A. Example}}\n"


def failures(site: Site) -> list[tuple[str, str, str, bool]]:
    return [(r.rule, r.subject, r.level, r.waiver is not None) for r in site.results if r.kind == "fail"]


def test_waivers() -> None:
    tested = fake(on("lamps"))

    def outcome(rule_id: str, at: str, until: str) -> list[tuple[str, str, str, bool]]:
        return failures(inspected(waived(rule_id, at, until), tested, today="2026-05-05"))

    counts = ("fake-rule", "lamps", "error", False)
    assert outcome("fake-rule", "lamps", "2026-05-05") == [("fake-rule", "lamps", "error", True)]
    assert outcome("fake-rule", "lamps", "2026-05-04") == [counts, ("waiver-expired", "lamps", "warning", False)]
    assert outcome("fake-rule", "hut", "2026-12-31") == [counts, ("waiver-unused", "hut", "warning", False)]
    assert outcome("fake-rool", "lamps", "2026-12-31") == [counts, ("waiver-unused", "lamps", "warning", False)]


def test_a_waiver_of_a_rule_that_is_not_there_says_so() -> None:
    site = inspected(waived("fake-rool", "lamps", "2026-12-31"), fake(on("lamps")), today="2026-05-05")
    assert "there is no rule fake-rool" in one(site, "waiver-unused", "lamps").message


def test_an_accepted_waiver_keeps_what_was_written() -> None:
    site = inspected(waived("fake-rule", "lamps", "2026-12-31"), fake(on("lamps")), today="2026-05-05")
    waiver = one(site, "fake-rule", "lamps").waiver
    assert waiver is not None
    assert (waiver.reason, waiver.by, waiver.until) == ("on order", "A. Example", "2026-12-31")


@pytest.mark.parametrize("path", BASES, ids=lambda path: path.stem)
def test_too_many_states_are_never_clean(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    cases = inspected(text, *RULES).cases
    site = inspected(text, *RULES, limit=1)
    if cases == 1:
        assert not site.not_proven
        return
    assert site.not_proven
    for tested in RULES:
        opened = [r for r in site.results if r.rule == tested.id and r.kind == "open" and "not proven" in r.message]
        assert bool(opened) == (tested.in_states and tested.level_in(site.rulebook) != "off"), tested.id
