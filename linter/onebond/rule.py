"""The contract between rules and the engine; the only module that a rule imports.

A rule is a value: an id, a level, the subjects that it is about (a property of :class:`Facts`) and a pure function of one
subject that returns a :class:`Finding`, or :data:`PASS`, :class:`NotApplicable`, :class:`Exempt` or :class:`Review`.  The engine does the
looping, merges operating states and isolates a crash.  The docstring of the rule's module is its manual page; it has the
headings *Checks*, *Danger* and *Remedy*.
"""

import math
import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from onebond.circuit.impedances import Missing
from onebond.facts import (
    BatteryLeads,
    BorrowedNeutral,
    Cleared,
    Collection,
    Compared,
    Crossing,
    Dead,
    DirectSide,
    Drop,
    EarthElectrode,
    EarthFault,
    ElectrodeLimit,
    ElectrodePair,
    Ending,
    Energised,
    Exposed,
    Facts,
    Failure,
    FedBehindRcd,
    Feeding,
    FloatingReading,
    InfeedBehindRcd,
    Island,
    Isolated,
    Levels,
    LoopLimit,
    MeasuredPlace,
    Misfit,
    Need,
    NeutralContact,
    NeutralToBuilding,
    OwnInput,
    Pair,
    Peak,
    PeCurrent,
    PenLanding,
    Protective,
    RcdAtInverter,
    RcdForPlace,
    RcdInService,
    RcdOnWay,
    Refused,
    Relay,
    Surplus,
    SwitchedProtective,
    Taken,
    Unread,
    bonded_within,
    trip_times,
)
from onebond.facts.unknown import Unknown
from onebond.model import Device, Source
from onebond.result import Level, Mention
from onebond.span import Route

__all__ = [
    "PASS",
    "PRACTICE",
    "RULEBOOKS",
    "BatteryLeads",
    "BorrowedNeutral",
    "Cleared",
    "Compared",
    "Crossing",
    "Dead",
    "Device",
    "DirectSide",
    "Drop",
    "EarthElectrode",
    "EarthFault",
    "ElectrodeLimit",
    "ElectrodePair",
    "Ending",
    "Energised",
    "Example",
    "Exempt",
    "Exposed",
    "Facts",
    "Failure",
    "FedBehindRcd",
    "Feeding",
    "Finding",
    "FloatingReading",
    "InfeedBehindRcd",
    "Island",
    "Isolated",
    "Levels",
    "LoopLimit",
    "MeasuredPlace",
    "Mention",
    "Misfit",
    "Need",
    "NeutralContact",
    "NeutralToBuilding",
    "NotApplicable",
    "OwnInput",
    "Pair",
    "Param",
    "Params",
    "Pass",
    "PeCurrent",
    "Peak",
    "PenLanding",
    "Protective",
    "RcdAtInverter",
    "RcdForPlace",
    "RcdInService",
    "RcdOnWay",
    "Ref",
    "Refused",
    "Relay",
    "Review",
    "Rule",
    "Source",
    "Surplus",
    "SwitchedProtective",
    "Taken",
    "Unknown",
    "Unread",
    "Verdict",
    "bonded_within",
    "electrode_told",
    "figure",
    "loop_told",
    "open_figure",
    "open_or",
    "rule",
    "trip_times",
]

RULEBOOKS: tuple[str, ...] = ("iec", "bs7671", "nec", "as-nzs", "sans")
_ID = re.compile(r"\A[a-z][a-z0-9]*(-[a-z0-9]+)*\Z")


class Ref(NamedTuple):
    """A clause of a document, never its words; ``checked=False`` marks a number from memory (shown with ``?``)."""

    rulebook: str  # one of RULEBOOKS, or "all"
    document: str
    clause: str
    checked: bool = True

    def __str__(self) -> str:
        return f"{self.document} {self.clause}{'' if self.checked else ' ?'}".strip()


PRACTICE = Ref("all", "common practice, no source", "")


class Param(NamedTuple):
    """A limit or choice of a rule: its value, and the rulebooks that differ."""

    name: str
    text: str  # what it is, with its unit
    value: Any
    by_rulebook: Mapping[str, Any] = {}


Params = Mapping[str, Any]
"""The parameters of a rule under one rulebook, by name."""


class Finding(NamedTuple):
    """What is wrong with one subject: constant words, no number that varies by operating state."""

    message: str
    so: str
    put_right: str
    mentions: tuple[Mention, ...] = ()
    level: Level | None = None
    because: tuple[str, str] | None = None  # (rule, subject) that this follows from
    figures: tuple[tuple[str, str], ...] = ()
    subject: tuple[str, Route] | None = None  # where the finding is about another part than the subject
    weight: float = 0.0  # how bad this case is beside others of its level: the figures of the worst are shown
    effect: bool = False  # nothing but an effect of `because`: a waiver of that one accepts it too
    take_out: tuple[tuple[Route, str], ...] = ()  # words of values that a repair without a choice takes out


def figure(value: float, unit: str) -> str:
    """A number with its unit to three significant digits: thousandths below 0.1, thousands from 1000 on, 0 below a millionth."""
    if not math.isfinite(value):
        return "not determined"
    if unit != "%" and 1e-6 <= abs(value) < 0.1:
        value, unit = value * 1000, f"m{unit}"
    elif unit != "%" and abs(value) >= 1000:
        value, unit = value / 1000, f"k{unit}"
    if abs(value) < 1e-6:
        return f"0 {unit}"
    rounded = float(f"{value:.2e}")
    digits = max(0, 2 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:.{digits}f} {unit}"


def loop_told(limit: LoopLimit) -> str:
    """What the largest reading of a loop rests on, in words."""
    opens = f"{limit.by} opens within {limit.within_s:g} s"
    if limit.warm_ohm:
        warm = figure(limit.warm_ohm, "ohm")
        return f"{figure(limit.design_ohm, 'ohm')} with which {opens}, less {warm} for warm conductors"
    if limit.part == 1:
        return f"with that {opens}"
    part = "two thirds" if math.isclose(limit.part, 2 / 3) else f"{limit.part:g}"
    return f"{part} of the {figure(limit.design_ohm, 'ohm')} with which {opens}"


def electrode_told(limit: ElectrodeLimit) -> str:
    """What the largest resistance of an electrode rests on, in words."""
    clause = f" ({limit.clause})" if limit.clause else ""
    told = f"{figure(limit.limit_v, 'V')} by the {limit.residual_a * 1000:g} mA of {limit.by}, which guards {limit.at}{clause}"
    beside = " and ".join(limit.beside)
    if math.isinf(limit.most_ohm):
        return f"{beside}, joined to it, {'is' if len(limit.beside) == 1 else 'are'} enough for {told}"
    return f"{told}, with {beside} beside it" if beside else told


def open_figure(unknown: Unknown) -> str:
    """What stands in place of a number that is not known."""
    return f"open: {unknown.reason or f'{unknown.what} is not written'}"


def open_or(value: float | Missing, unit: str) -> str:
    """A number with its unit, or what is lacking of it."""
    return open_figure(Unknown.of(value)) if isinstance(value, Missing) else figure(value, unit)


class Pass(NamedTuple):
    """The subject is as it should be."""


class NotApplicable(NamedTuple):
    """The rule does not apply to the subject: there is nothing that it could find."""

    reason: str


class Exempt(NamedTuple):
    """What the rule would find, and an exception of the rulebook permits; reports name it, as the danger is not gone."""

    reason: str  # why it is permitted, with the clause
    remains: str  # what the person who relies on it has to know; no value that varies by operating state


class Review(NamedTuple):
    """A person has to look: what the description leaves open and no rule may conclude."""

    message: str
    put_right: str
    mentions: tuple[Mention, ...] = ()


PASS = Pass()
Verdict = Finding | Pass | NotApplicable | Exempt | Review


class Example(NamedTuple):
    """A minimal pair: a base that passes, and one edit of its text after which the rule must find these subjects.

    The edit may be readings that are put beside it.
    """

    base: str  # name of a file in the rule package's `bases`
    replace: tuple[tuple[str, str], ...]  # text to replace, each exactly once
    finds: tuple[str, ...]  # subjects; empty: the edit changes nothing
    rulebook: str = ""
    readings: str = ""  # text of a file of readings that comes with the edit
    today: str = ""  # the day on which it is inspected, where that matters


class Rule(NamedTuple):
    """One rule as data; :func:`rule` checks and builds it."""

    id: str
    level: Level
    title: str  # one sentence: what it finds
    over: str  # name of the collection of facts
    check: Callable[[Any, Params], Verdict]
    refs: tuple[Ref, ...]
    examples: tuple[Example, ...]
    page: str  # the module docstring
    levels: tuple[tuple[str, str], ...]  # rulebook -> level, or "off"
    params: tuple[Param, ...]
    in_states: bool
    package: str

    def level_in(self, rulebook: str) -> str:
        """The level under a rulebook; ``off`` where that rulebook does not have the rule."""
        return dict(self.levels).get(rulebook, self.level)

    def params_in(self, rulebook: str) -> Params:
        """The parameters under a rulebook, by name."""
        return {param.name: param.by_rulebook.get(rulebook, param.value) for param in self.params}

    def section(self, heading: str) -> str:
        """The text under one heading of the page, on one line."""
        found = re.search(rf"^{heading}:\s*(.*?)(?=^\w+:|\Z)", self.page, re.MULTILINE | re.DOTALL)
        return " ".join(found.group(1).split()) if found else ""


def rule(
    *,
    id: str,
    level: Level,
    over: Collection[Any],
    check: Callable[[Any, Params], Verdict],
    refs: tuple[Ref, ...],
    examples: tuple[Example, ...],
    page: str | None,
    levels: dict[str, str] | None = None,
    params: tuple[Param, ...] = (),
    in_states: bool = True,
    package: str = "onebond_rules",
) -> Rule:
    """Build a rule; raises ValueError where the contract is not kept.

    ``over`` is a collection of :class:`Facts` (``Facts.feedings``): subjects, each of which has ``id``, ``route`` and
    ``island`` (None where no operating state is involved).  ``levels`` gives the level of rulebooks that differ, ``off``
    where the rule does not apply.
    """
    text = page or ""
    title = " ".join(text.split("\n\n")[0].split())
    made = Rule(
        id,
        level,
        title,
        over.name,
        check,
        refs,
        examples,
        text,
        tuple((levels or {}).items()),
        params,
        in_states,
        package,
    )
    if not _ID.match(id):
        raise ValueError(f"rule id {id!r}: lower-case words joined by hyphens")
    if level not in ("error", "warning", "note"):
        raise ValueError(f"rule {id}: level {level!r} is not error, warning or note")
    for heading in ("Checks", "Danger", "Remedy"):
        if not made.section(heading):
            raise ValueError(f"rule {id}: its page has no text under {heading!r}")
    if not title.endswith("."):
        raise ValueError(f"rule {id}: its page begins with one sentence")
    if not refs:
        raise ValueError(f"rule {id}: no reference; mark a fact of the trade as common practice")
    for book, other in made.levels:
        if book not in RULEBOOKS or other not in ("error", "warning", "note", "off"):
            raise ValueError(f"rule {id}: {book}: {other} is not a level of a rulebook")
    return made
