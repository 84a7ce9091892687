"""For authors of rules: the examples of a rule, proved.

``prove(RULE)`` in one test is all that a rule needs.  An example is a *minimal pair*: a base (a small good installation
in the folder ``bases`` of the rule's package) and one edit of its text, after which the rule finds exactly the subjects
that the example names.  The rule runs alone, so what is elsewhere the consequence of another rule's finding stands on its
own here; what follows from another finding of the same rule is left out of the account.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from onebond.document import parse
from onebond.engine import inspect
from onebond.facts import Collection, Facts
from onebond.model import Installation
from onebond.reading import understood
from onebond.result import Site
from onebond.rule import RULEBOOKS, Example, Exempt, Finding, NotApplicable, Pass, Review, Rule, Unknown, rule

__all__ = ["base", "edited", "found", "inspected", "prove", "prove_contract", "prove_example"]

_HEADINGS = ("Checks", "Danger", "Remedy")


class Inspected(NamedTuple):
    """A text that could be read, and what one or more rules say of it."""

    installation: Installation
    site: Site


def base(package: str, name: str) -> str:
    """The text of a base: ``bases/<name>.yaml`` in a package; raises AssertionError where there is none."""
    from importlib import resources

    file = resources.files(package).joinpath("bases", f"{name}.yaml")
    assert file.is_file(), f"{package} has no base {name}: there is no bases/{name}.yaml in it"
    return file.read_text(encoding="utf-8")


def edited(base_text: str, example: Example) -> str:
    """The text of a base after the edit of an example; raises AssertionError where it does not apply exactly once."""
    text = base_text
    for old, new in example.replace:
        count = text.count(old)
        assert old and count == 1, f"edit of {example.base}: {old!r} stands {count} times in the text, not once"
        assert base_text.count(old) == 1, f"edit of {example.base}: {old!r} is not text of the base"
        text = text.replace(old, new)
    return text


def inspected(
    text: str,
    rules: tuple[Rule, ...],
    rulebook: str = "",
    name: str = "example.yaml",
    readings: str = "",
    today: str = "",
    base: str = "example",
) -> Inspected:
    """What rules say of a text, and of the text of readings of it; raises AssertionError where it cannot be read or a rule breaks."""
    parsed = parse(text.encode(), name)
    document, installation, problems, _ = understood(parsed)
    listed = "; ".join(f"line {problem.span.line}: {problem.message}" for problem in problems)
    assert document is not None and installation is not None and not problems, f"{name} is not read: {listed}"
    if readings:
        from onebond.meter.plant import Plant
        from onebond.readings import attach, of_text, refused

        read = of_text(readings.encode(), "example.readings.yaml", Plant(installation), f"{base}.yaml", today)
        document = attach(document, read)
        site = inspect(
            installation,
            document,
            rules,
            rulebook or None,
            today,
            readings=read.readings,
            refused=refused(read, "example.readings.yaml"),
        )
    else:
        site = inspect(installation, document, rules, rulebook or None, today)
    assert not site.faults, (
        f"{name}: a rule broke: {site.faults[0].rule} on {site.faults[0].subject}: {site.faults[0].message}"
    )
    assert not site.not_proven, f"{name}: too many operating states to be an example: {site.not_proven[0]}"
    return Inspected(installation, site)


def found(site: Site, rule_id: str) -> tuple[str, ...]:
    """The subjects that a rule finds, sorted; what follows from another finding is left out."""
    return tuple(
        sorted(
            result.subject
            for result in site.results
            if result.rule == rule_id and result.kind == "fail" and result.because is None
        )
    )


def prove(tested: Rule, bases: Mapping[str, str] | None = None) -> None:
    """Prove one rule by its own examples; raises AssertionError that says what does not hold.

    ``bases`` gives the text of bases by name; without it they are read from the rule's package.  Proved are: the
    contract; references for every rulebook that has the rule; at least one example with a finding and one without; and
    for each example that the rule finds nothing in the base, that the edit applies once and can be read, and that exactly
    the named subjects are found, each in words that are the same in every operating state.
    """
    prove_contract(tested)
    assert any(example.finds for example in tested.examples), f"rule {tested.id}: no example with a finding"
    assert any(not example.finds for example in tested.examples), f"rule {tested.id}: no example without a finding"
    for number, example in enumerate(tested.examples, 1):
        said = f"rule {tested.id}, example {number} ({example.base}{example.rulebook and ', ' + example.rulebook})"
        try:
            prove_example(tested, example, bases)
        except AssertionError as error:
            raise AssertionError(f"{said}: {error}") from None


def prove_contract(tested: Rule) -> None:
    """Prove that a rule is as :func:`onebond.rule.rule` would build it, with a reference for every rulebook that has it.

    Raises AssertionError that says what does not hold.
    """
    subjects = getattr(Facts, tested.over, None)
    assert isinstance(subjects, Collection), f"rule {tested.id}: {tested.over} is no collection of Facts"
    try:
        again = rule(
            id=tested.id,
            level=tested.level,
            over=subjects,
            check=tested.check,
            refs=tested.refs,
            examples=tested.examples,
            page=tested.page,
            levels=dict(tested.levels),
            params=tested.params,
            in_states=tested.in_states,
            package=tested.package,
        )
    except ValueError as error:
        raise AssertionError(f"the contract is not kept: {error}") from None
    assert again == tested, f"rule {tested.id}: its title or its page was changed after it was built"
    for heading in _HEADINGS:
        count = len(re.findall(rf"^{heading}:", tested.page, re.MULTILINE))
        assert count == 1, f"rule {tested.id}: the heading {heading!r} stands {count} times on its page"
    known = (*RULEBOOKS, "all")
    for ref in tested.refs:
        assert ref.rulebook in known, f"rule {tested.id}: {ref.rulebook!r} is not one of {', '.join(known)}"
        assert ref.document, f"rule {tested.id}: a reference names no document"
    for book in RULEBOOKS:
        if tested.level_in(book) != "off":
            filled = any(ref.rulebook in (book, "all") for ref in tested.refs)
            assert filled, f"rule {tested.id}: no reference for {book}; mark a fact of the trade as common practice"
    for param in tested.params:
        assert param.name and param.text, f"rule {tested.id}: a parameter without a name or a text"
        for book in param.by_rulebook:
            assert book in RULEBOOKS, f"rule {tested.id}: parameter {param.name}: {book!r} is not a rulebook"


def prove_example(tested: Rule, example: Example, bases: Mapping[str, str] | None = None) -> None:
    """Prove one example: nothing in its base, and exactly the named subjects after its edit; raises AssertionError."""
    assert not example.rulebook or example.rulebook in RULEBOOKS, f"{example.rulebook!r} is not a rulebook"
    assert len(set(example.finds)) == len(example.finds), "a subject is named twice"
    if bases is None:
        text = base(tested.package, example.base)
    else:
        assert example.base in bases, f"there is no base {example.base}"
        text = bases[example.base]
    good = inspected(text, (tested,), example.rulebook, f"{example.base}.yaml")
    book = good.site.rulebook
    assert tested.level_in(book) != "off", f"{book} does not have this rule"
    already = found(good.site, tested.id)
    assert not already, f"finds {_list(already)} in the base itself"
    changed = edited(text, example)
    assert not example.finds or changed != text or example.readings, "the edit changes nothing"
    after = inspected(
        changed, (tested,), example.rulebook, "the edited text", example.readings, example.today, example.base
    )
    actual, wanted = found(after.site, tested.id), tuple(sorted(example.finds))
    assert actual == wanted, f"finds {_list(actual)}, and not {_list(wanted)}"
    if not example.readings:  # readings are of one state each, and no state is told of them
        _constant_words(tested, after)


def _constant_words(tested: Rule, after: Inspected) -> None:
    """Names and numbers that differ by operating state belong into mentions and figures, not into the message."""
    facts = Facts(after.installation, after.site.rulebook)
    params = tested.params_in(after.site.rulebook)
    messages: dict[tuple[str, str, bool], str] = {}
    for identifier, in_state, finding in _findings(tested, facts, params):
        key = (identifier, finding.level or tested.level, in_state)
        first = messages.setdefault(key, finding.message)
        assert first == finding.message, (
            f"the message on {identifier} changes with the operating state: {first!r}, then {finding.message!r}"
        )


def _findings(tested: Rule, facts: Facts, params: Mapping[str, object]) -> Iterator[tuple[str, bool, Finding]]:
    for subject in getattr(facts, tested.over):
        try:
            verdict = tested.check(subject, params)
        except Unknown:
            continue
        kinds = (Finding, Pass, NotApplicable, Exempt, Review)
        assert isinstance(verdict, kinds), f"check() returns {verdict!r} on {subject.id}, which is no verdict"
        if isinstance(verdict, Finding):
            yield (verdict.subject[0] if verdict.subject else subject.id), subject.island is not None, verdict


def _list(subjects: tuple[str, ...]) -> str:
    return ", ".join(subjects) if subjects else "nothing"
