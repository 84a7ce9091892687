"""Puts the words of a rulebook into texts that are written in those of ``iec``, and leaves alone what the description names.

Rules know nothing of this: they write one text, and what a reader gets to see goes through ``Wording.say``.  Not words are ids and
names of the description, what stands in backquotes, in braces or alone in brackets, names of cores in a row (``L1 N PE``), and parts of
words with hyphens.  An id that is a word too (``earth``, ``link``) stays wherever the two cannot be told apart: a word of IEC misleads
nobody there, a wrong id does.  Saying a text twice changes nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any, NamedTuple

from onebond.facts.faults import GFCI_A
from onebond.model import Installation
from onebond.result import Named, Result, Site
from onebond.wording.terms import BY_RATING, NOTES, NOUNS, PHRASES, TERMS, Term

__all__ = ["BY_RATING", "NOTES", "TERMS", "Term", "Wording", "named", "plural", "worded", "wording"]

_QUOTED = re.compile(r"`[^`]*`|\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}")
_CORE = ("N", "PE", "PEN")
_CORES = re.compile(r"(?:L[123]|N|PEN|M|DC[+-]) \Z")
_RATED = re.compile(r"(?: of)?(?: up to| at most| at least)?(?: [BCD][\d.]+| [\d.]+ A)? ([\d.]+) mA\b")
_ITS_NAME = re.compile(r"(?: in)? ([a-z0-9-]+)")
_THIS_ONE = ("the ", "The ", "that ", "That ", "this ", "This ")
_HEAD = re.compile(r" (?:between|from|of) ")
_NO_VOWEL = ("utilit", "uni", "use")
_LETTERS = "AEFHILMNORSX"  # whose names begin with a vowel


class _Speech(NamedTuple):
    """How one rulebook speaks: what to look for, and what is said in place of each form."""

    phrase: re.Pattern[str]  # each with the article before it
    noun: re.Pattern[str]
    core: re.Pattern[str]  # PE alone
    said: dict[str, str]
    singular: dict[str, str]  # form -> the noun as the data have it


class Wording:
    """The words of one rulebook for the texts on one site."""

    def __init__(self, rulebook: str, names: Named = ()) -> None:
        self._speech = _speech(rulebook)
        self._by_rating = BY_RATING.get(rulebook, {})
        self._names = dict(names)

    def say(self, text: str, about_a: float | None = None) -> str:
        """A text in the words of the rulebook.

        ``about_a`` is the rated residual current of the device of which a text speaks that does not name it, in A.
        """
        if self._speech is None or not text:
            return text
        out, at, position = [], 0, 0
        quoted = [match.span() for match in _QUOTED.finditer(text)]
        while match := self._next(text, position):
            if match["form"].startswith("PE ") and match["form"][3:] in self._names:  # the PE of a cable called `core`
                match = self._speech.core.match(text, match.start()) or match
            if self._is_no_word(text, match, quoted):
                position = match.start("form") + 1
                continue
            out += [text[at : match.start()], self._instead(text, match, about_a)]
            at = position = match.end()
        return "".join([*out, text[at:]])

    def _next(self, text: str, position: int) -> re.Match[str] | None:
        """The next noun or phrase; of two that overlap the longer one."""
        assert self._speech is not None
        phrase, noun = (one.search(text, position) for one in (self._speech.phrase, self._speech.noun))
        if phrase is None or noun is None:
            return phrase or noun
        if noun.start() < phrase.end() and phrase.start() < noun.end():
            return noun if noun.end() - noun.start() > phrase.end() - phrase.start() else phrase
        return min(phrase, noun, key=lambda match: match.start())

    def rating_in(self, text: str) -> float | None:
        """The rated residual current, in A, of the first device in a text for which there are several words."""
        if self._speech is None or not self._by_rating:
            return None
        for match in self._speech.noun.finditer(text):
            if self._speech.singular.get(match["form"]) in self._by_rating:
                found = self._rating(text, match.end())
                if found is not None:
                    return found
        return None

    def rating_of(self, name: str) -> float | None:
        """The rated residual current, in A, of the device that goes by a name."""
        return self._names.get(name)

    def _is_no_word(self, text: str, match: re.Match[str], quoted: Iterable[tuple[int, int]]) -> bool:
        """Whether what was found is quoted, the name of a core among others, or may be a name of the description."""
        (start, end), form = match.span("form"), match["form"]
        if any(a < end and start < b for a, b in quoted) or (text[start - 1 : start], text[end : end + 1]) == (
            "(",
            ")",
        ):
            return True
        if form in _CORE and _CORES.search(text[:start]):
            return True
        # no text has a name elsewhere between words that belong together, or after `a`
        return form in self._names and match.start() == start

    def _instead(self, text: str, match: re.Match[str], about_a: float | None) -> str:
        assert self._speech is not None
        form = match["form"]
        key = form if form in self._speech.said else form[:1].lower() + form[1:]
        said = self._speech.said.get(key, form)
        choice = self._by_rating.get(self._speech.singular.get(key, ""))
        if choice:
            many = key not in self._by_rating
            rated_a = self._rating(text, match.end())
            if rated_a is None and text[: match.start()].endswith(_THIS_ONE):
                rated_a = about_a
            if rated_a is not None:
                said = choice[rated_a > GFCI_A]
                said = plural(said) if many else said
            elif text[: match.start()].endswith(_THIS_ONE) and not many:
                said = choice[2]  # the text has said what it speaks of
        begins = (match.start() == 0 and text.endswith(".")) or text[: match.start()].endswith((". ", "? ", "! "))
        article = match["article"]
        if article:
            return f"{_article(said).capitalize() if article[0] == 'A' else _article(said)} {said}"
        if form != key or (begins and form[:1].isupper()):
            said = said[:1].upper() + said[1:]
        return said

    def _rating(self, text: str, end: int) -> float | None:
        rated = _RATED.match(text, end)
        if rated:
            return float(rated[1]) / 1000
        name = _ITS_NAME.match(text, end)
        return self._names.get(name[1]) if name else None


def _article(said: str) -> str:
    first = said.split()[0]
    if first[:2].isupper():
        return "an" if first[0] in _LETTERS else "a"
    return "an" if first[0].lower() in "aeiou" and not first.lower().startswith(_NO_VOWEL) else "a"


def plural(noun: str) -> str:
    """The plural of a noun, regular for all that the data hold: of the head where something follows it."""
    head = _HEAD.search(noun)
    if head:
        return plural(noun[: head.start()]) + noun[head.start() :]
    if noun.endswith(("s", "x", "ch", "sh")):
        return f"{noun}es"
    if noun.endswith("y") and noun[-2] not in "aeiou":
        return f"{noun[:-1]}ies"
    return f"{noun}s"


@lru_cache
def _speech(rulebook: str) -> _Speech | None:
    """What a rulebook says otherwise than ``iec``; None for that one, and for one that is not known."""
    own = {term.iec: term.under(rulebook) for term in TERMS} if rulebook in NOUNS else {}
    nouns = {iec: said for iec, said in own.items() if said != iec} | NOUNS.get(rulebook, {})
    if not nouns:
        return None
    phrases = PHRASES[rulebook]
    # what was said already stays: else one word within it would be replaced once more
    kept = {*nouns.values(), *(word for pair in BY_RATING.get(rulebook, {}).values() for word in pair)}
    single = {word: word for word in sorted(kept)} | nouns
    many = {plural(iec): plural(said) for iec, said in single.items()}
    said = {word: word for word in sorted(phrases.values())} | many | single | phrases
    singular = {plural(iec): iec for iec in single} | {iec: iec for iec in single}
    of_nouns, of_phrases = _either({**many, **single}), _either([*phrases, *phrases.values()])
    before, after = r"(?<![\w./-])", r"(?![\w/-]|\.\w|: ?\{)"
    phrase, noun, core = (
        re.compile(f"{before}(?:(?P<article>[Aa]n?) )?(?P<form>{forms}){after}")
        for forms in (of_phrases, of_nouns, "PE")
    )
    return _Speech(phrase, noun, core, said, singular)


def _either(forms: Iterable[str]) -> str:
    """A pattern for any of the forms, the longest first, with a small or a capital letter at the beginning."""
    patterns = []
    for form in sorted(set(forms), key=lambda form: (-len(form), form)):
        first = re.escape(form[0])
        patterns.append((f"[{first}{form[0].upper()}]" if form[0].islower() else first) + re.escape(form[1:]))
    return "|".join(patterns) or "(?!)"


# -- sites ---------------------------------------------------------------------------------------------------------------


def wording(site: Site) -> Wording:
    """The words for one site."""
    return Wording(site.rulebook, site.named)


def named(installation: Installation) -> Named:
    """Everything that a description names; of several devices in one cable none is meant by the id of the cable."""
    site = installation
    links = (*site.connections, *(circuit.connection for circuit in site.circuits))
    parts: tuple[Any, ...] = (
        *(*site.sources, *site.boards, *site.changeovers, *links, *site.circuits, *site.bonds, *site.electrodes),
        *(*site.monitors, *site.groups, *site.extraneous, *site.direct),
    )
    found: dict[str, float | None] = {part.id: None for part in parts}
    found |= dict.fromkeys(position for changeover in site.changeovers for position in changeover.positions)
    for part in parts:
        for word in (getattr(part, "building", None), getattr(part, "enclosure", None)):
            if word:
                found.setdefault(word, None)
    for link in links:
        summing = [device for device in link.devices if device.senses]
        found |= {device.id: None for device in link.devices if device.id}
        found |= {device.id: device.residual_a for device in summing if device.id}
        if len(summing) == 1:
            found[link.id] = summing[0].residual_a
    return tuple(sorted(found.items(), key=lambda one: one[0]))


def worded(site: Site) -> Site:
    """A site whose texts for people are in the words of its rulebook; what programs compare stays as it is."""
    speech = wording(site)
    if _speech(site.rulebook) is None:
        return site
    say = speech.say
    return site._replace(
        results=tuple(_result(result, speech) for result in site.results),
        not_proven=tuple(map(say, site.not_proven)),
        devices=tuple((variable, say(kind)) for variable, kind in site.devices),
        islands=tuple(
            island._replace(
                references=tuple(map(say, island.references)), electrodes=tuple(map(say, island.electrodes))
            )
            for island in site.islands
        ),
        figures=site.figures and type(site.figures)(*(_figures(field, say) for field in site.figures)),
    )


def _result(result: Result, speech: Wording) -> Result:
    about_a = speech.rating_of(result.subject)
    if about_a is None:
        about_a = speech.rating_in(result.message)

    def say(text: str) -> str:
        return speech.say(text, about_a)

    def figures(rows: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
        return tuple((say(name), say(value)) for name, value in rows)

    return result._replace(
        message=say(result.message),
        so=say(result.so),
        put_right=say(result.put_right),
        lacking=say(result.lacking),
        figures=figures(result.figures),
        by_state=tuple(row._replace(figures=figures(row.figures)) for row in result.by_state),
        mentions=tuple((mention._replace(text=say(mention.text)), span) for mention, span in result.mentions),
        paths=tuple(tuple((step._replace(text=say(step.text)), span) for step, span in path) for path in result.paths),
        exemptions=tuple(one._replace(reason=say(one.reason), remains=say(one.remains)) for one in result.exemptions),
    )


_TEXTS = ("device", "open", "why", "devices")
"""The fields of figures that hold texts."""


def _figures(field: Any, say: Callable[[str], str]) -> Any:
    """A field of the figures, with the texts of its rows in the words of the rulebook."""
    if not isinstance(field, tuple) or not field or not hasattr(field[0], "_fields"):
        return field
    return tuple(
        row._replace(**{name: _each(getattr(row, name), say) for name in _TEXTS if name in row._fields})
        for row in field
    )


def _each(value: Any, say: Callable[[str], str]) -> Any:
    return tuple(map(say, value)) if isinstance(value, tuple) else say(value)
