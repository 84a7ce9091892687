"""Puts the words of a rulebook into texts that are written in those of ``iec``, and leaves alone what the description names.

Rules know nothing of this: they write one text, and what a reader gets to see goes through ``Wording.say``.  Not words are ids and
names of the description, what stands in backquotes, in braces or alone in brackets, names of cores in a row (``L1 N PE``), and parts of
words with hyphens.  An id that is a word too (``earth``, ``link``) stays wherever the two cannot be told apart: a word of IEC misleads
nobody there, a wrong id does.  Saying a text twice changes nothing more.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any, NamedTuple

from onebond.facts.faults import GFCI_A
from onebond.model import Installation
from onebond.result import Named, Result, Site
from onebond.wording.terms import BY_RATING, NOTES, NOUNS, PHRASES, TERMS, Term

__all__ = ["BY_RATING", "NOTES", "TERMS", "Term", "Wording", "kind_said", "named", "plural", "worded", "wording"]

_BEGIN = re.compile(r"(?<![\w./-])[^\W_]")
_END = re.compile(r"(?![\w/-]|\.\w|: ?\{)")
_FIRST = re.compile(r"[^\W_]+")
_ARTICLE = re.compile(r"[Aa]n? ")
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
    """How one rulebook speaks."""

    said: dict[str, str]  # form -> what is said in its place
    singular: dict[str, str]  # form of a noun -> the noun as the data have it
    forms: dict[str, list[str]]  # first word -> the forms that begin with it, the longest first


class _Found(NamedTuple):
    """A form in a text; ``start`` is where an article before it begins, if there is one."""

    start: int
    at: int
    end: int
    form: str


class Wording:
    """The words of one rulebook for the texts on one site."""

    def __init__(self, rulebook: str, names: Named = ()) -> None:
        self._speech = _speech(rulebook)
        self._by_rating = BY_RATING.get(rulebook, {})
        self._names = dict(names)
        self._told: dict[tuple[str, float | None], str] = {}

    def say(self, text: str, about_a: float | None = None) -> str:
        """A text in the words of the rulebook.

        ``about_a`` is the rated residual current of the device of which a text speaks that does not name it, in A.
        """
        told = self._told.get((text, about_a))
        if told is None:
            pieces, at = [], 0
            for found in self._words(text):
                pieces += [text[at : found.start], self._instead(text, found, about_a)]
                at = found.end
            told = self._told[text, about_a] = "".join([*pieces, text[at:]])
        return told

    def rating_in(self, text: str) -> float | None:
        """The rated residual current, in A, of the first device in a text for which there are several words."""
        rated = (self._rating(text, found.end) for found in self._words(text) if self._choice(found.form))
        return next((one for one in rated if one is not None), None)

    def rating_of(self, name: str) -> float | None:
        """The rated residual current, in A, of the device that goes by a name."""
        return self._names.get(name)

    def _words(self, text: str) -> Iterator[_Found]:
        """The words of a text that are said otherwise; of two that overlap the longer one."""
        if self._speech is None:
            return
        quoted = [match.span() for match in _QUOTED.finditer(text)]
        position = 0
        while word := _BEGIN.search(text, position):
            position = word.end()
            found = self._longest(text, word.start())
            if found is None or any(a < found.end and found.at < b for a, b in quoted) or self._is_no_word(text, found):
                continue
            inner = (found.at + match.start() for match in _BEGIN.finditer(found.form) if match.start())
            others = (self._longest(text, at) for at in inner)
            if not any(other and other.end - other.start > found.end - found.start for other in others):
                yield found
                position = found.end

    def _longest(self, text: str, start: int) -> _Found | None:
        """The longest form that begins at a place, or behind the article that does."""
        article = _ARTICLE.match(text, start)
        best = None
        for at in (start, article.end()) if article else (start,):
            form = self._form(text, at)
            if form and (best is None or at + len(form) > best.end):
                best = _Found(start, at, at + len(form), text[at : at + len(form)])
        return best

    def _form(self, text: str, at: int) -> str:
        """The longest form that stands at a place, with a small or a capital letter; empty where there is none."""
        assert self._speech is not None
        first = _FIRST.match(text, at)
        if first is None:
            return ""
        small = first[0][:1].lower() + first[0][1:]
        for key in dict.fromkeys((first[0], small)):
            for form in self._speech.forms.get(key, ()):
                if form.startswith("PE ") and form[3:] in self._names:  # the PE of a cable that is called `core`
                    continue
                as_written = text.startswith(form, at) if key == first[0] else text.startswith(form[1:], at + 1)
                if as_written and _END.match(text, at + len(form)):
                    return form
        return ""

    def _is_no_word(self, text: str, found: _Found) -> bool:
        """Whether it is alone in brackets, the name of a core among others, or may be a name of the description."""
        if (text[found.at - 1 : found.at], text[found.end : found.end + 1]) == ("(", ")"):
            return True
        if found.form in _CORE and _CORES.search(text[: found.at]):
            return True
        # no text has a name between words that belong together, or after `a`
        return found.form in self._names and found.start == found.at

    def _choice(self, form: str) -> tuple[str, str, str] | None:
        """The words for a form that go by the rating of the device."""
        assert self._speech is not None
        return self._by_rating.get(self._speech.singular.get(form, ""))

    def _instead(self, text: str, found: _Found, about_a: float | None) -> str:
        assert self._speech is not None
        form, before = found.form, text[: found.start]
        key = form if form in self._speech.said else form[:1].lower() + form[1:]
        said = self._speech.said[key]
        choice = self._choice(key)
        if choice:
            many, this = key not in self._by_rating, before.endswith(_THIS_ONE)
            rated_a = self._rating(text, found.end)
            if rated_a is None and this:
                rated_a = about_a
            if rated_a is not None:
                said = choice[0] if rated_a <= GFCI_A else choice[1]
                said = plural(said) if many else said
            elif this and not many:
                said = choice[2]  # the text has said what it speaks of
        if found.start < found.at:
            article = _article(said)
            return f"{article.capitalize() if text[found.start] == 'A' else article} {said}"
        begins = (not before and text.endswith(".")) or before.endswith((". ", "? ", "! "))
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
    single = {word: word for word in kept} | nouns
    many = {plural(iec): plural(said) for iec, said in single.items()}
    said = {word: word for word in phrases.values()} | many | single | phrases
    forms: dict[str, list[str]] = {}
    for form in sorted(said, key=lambda form: (-len(form), form)):
        first = _FIRST.match(form)
        assert first is not None, f"{form!r} begins with no word"
        forms.setdefault(first[0], []).append(form)
    return _Speech(said, {plural(iec): iec for iec in single} | {iec: iec for iec in single}, forms)


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


def kind_said(say: Callable[[str], str], kind: str, where: str) -> str:
    """The word for a kind of device; ``where`` is its id, or ``in`` and that of its cable: the word may go by its rating."""
    return say(f"{kind} {where}").removesuffix(f" {where}")


def worded(site: Site) -> Site:
    """A site whose texts for people are in the words of its rulebook; what programs compare stays as it is."""
    speech = wording(site)
    if _speech(site.rulebook) is None:
        return site
    say = speech.say
    return site._replace(
        results=tuple(_result(result, speech) for result in site.results),
        not_proven=tuple(map(say, site.not_proven)),
        devices=tuple(
            (variable, kind_said(say, kind, f"in {variable.partition('/')[0]}")) for variable, kind in site.devices
        ),
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
