"""What explains readings, as text and JSON."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from onebond.reporting import neutralise
from onebond.reporting.sheet import wrapped
from onebond.reporting.words import count, readings

if TYPE_CHECKING:
    from onebond.diagnosis import Compared, Outcome, Told

CAUTION = (
    "A diagnosis is a suggestion of where to look. Make the place dead and prove it before anything is touched; local codes and licensed"
    " practice come first."
)

NAMED = 6
"""So many explanations of one group are named."""


def worded(outcome: Outcome, say: Callable[[str], str]) -> Outcome:
    """The outcome in the words of a rulebook; what the description names stays as it is."""
    told = tuple(
        one._replace(
            explanations=tuple(tuple(map(say, words)) for words in one.explanations),
            open=tuple(tuple(map(say, words)) for words in one.open),
            compared=tuple(row._replace(test=say(row.test)) for row in one.compared),
        )
        for one in outcome.told
    )
    step = outcome.next
    if step is not None:
        step = step._replace(
            test=say(step.test),
            steps=tuple(map(say, step.steps)),
            shows=tuple((say(words), value) for words, value in step.shows),
        )
    return outcome._replace(told=told, next=step, not_accepted=tuple(map(say, outcome.not_accepted)))


def render(outcome: Outcome, *, entries: int, width: int = 0) -> str:
    """The diagnosis for people; ``entries`` is how many entries of the file the values stand in."""
    name = neutralise.for_terminal(outcome.site)
    out = [
        f"{name}: {readings(entries, outcome.readings)} of {outcome.taken or 'an unknown day'}, in"
        f" {count(outcome.states, 'state')}; {outcome.judged} of the values compared with the circuit"
    ]
    for one in outcome.not_accepted:
        out += wrapped("  not accepted by the rulebook: ", one, width)
    for left in outcome.left_out:
        out += wrapped("  not compared: ", left, width)
    if not outcome.judged:
        out += ["", "None of these readings says anything of the circuit."]
    if not outcome.explained:
        out += ["", *wrapped("", _unexplained(outcome), width)]
    for number, told in enumerate(outcome.told, 1):
        out += ["", *_told(number, told, width)]
    if outcome.next:
        out += ["", *_next(outcome, width)]
    out += ["", *wrapped("! ", CAUTION, width)]
    return "\n".join(out) + "\n"


def _unexplained(outcome: Outcome) -> str:
    left = f"; {outcome.pairs_left} pairs were not worked out" if outcome.pairs_left else ""
    return (
        f"Nothing explains all readings: neither the site as described, nor one defect, nor a pair of them that was tried"
        f" ({count(outcome.tried, 'explanation')}{left}). The nearest are below, with the readings that contradict them: measure"
        " these again first, and compare the description with the site."
    )


def _told(number: int, told: Told, width: int) -> list[str]:
    lines = []
    share = "no fit" if not told.fits else "under 1 %" if told.probability < 0.01 else f"{100 * told.probability:.0f} %"
    named = [" and ".join(words) for words in told.explanations]
    if len(named) > 1:
        lines += wrapped(
            f"{number}  {share:<9}", f"one of these {len(named)}, which these readings cannot tell apart:", width
        )
        for words in named[:NAMED]:
            lines += wrapped(" " * 12 + "- ", words, width)
        if len(named) > NAMED:
            lines.append(" " * 12 + f"- and {len(named) - NAMED} more")
    else:
        lines += wrapped(f"{number}  {share:<9}", named[0], width)
    if told.open:
        first = "; ".join(" and ".join(one) for one in told.open[:NAMED])
        more = f" and {len(told.open) - NAMED} more" if len(told.open) > NAMED else ""
        lines += wrapped(" " * 12, f"these readings do not exclude: {first}{more}", width)
    for one in told.compared:
        lines += wrapped(" " * 12, _compared(one), width)
    return lines


def _compared(one: Compared) -> str:
    state = f" ({', '.join(f'{name} {value}' for name, value in one.state)})" if one.state else ""
    against = "" if one.off <= 3.5 else ": contradicts it"
    return f"{one.measured}{state}: read {one.read}, as described {one.expected}, with it {one.explained}{against}"


def _next(outcome: Outcome, width: int) -> list[str]:
    step = outcome.next
    assert step is not None
    lines = wrapped("next  ", f"measure {step.measured}", width)
    for words in step.steps:
        lines += wrapped("      - ", words, width)
    for words, value in step.shows:
        lines += wrapped("      ", f"{value}: {words}", width)
    return lines


def build(outcome: Outcome, entries: int) -> dict[str, Any]:
    """The diagnosis as a tree of plain values; ``readings`` are the values, ``entries`` what they stand in."""
    tree: dict[str, Any] = {
        "onebond-diagnosis": 1,
        "site": outcome.site,
        "revision": outcome.revision,
        "taken": outcome.taken,
        "entries": entries,
        "readings": outcome.readings,
        "judged": outcome.judged,
        "not-compared": list(outcome.left_out),
        "not-accepted": list(outcome.not_accepted),
        "explained": outcome.explained,
        "as-described": outcome.healthy,
        "tried": outcome.tried,
        "pairs-not-tried": outcome.pairs_left,
        "explanations": [
            {
                "probability": round(told.probability, 4),
                "fits": told.fits,
                "defects": [list(words) for words in told.explanations],
                "not-excluded": [list(words) for words in told.open],
                "readings": [
                    {
                        "test": one.test,
                        "where": one.where,
                        "state": dict(one.state),
                        "read": one.read,
                        "as-described": one.expected,
                        "with-it": one.explained,
                        "off": round(one.off, 2),
                    }
                    for one in told.compared
                ],
            }
            for told in outcome.told
        ],
        "next": None
        if outcome.next is None
        else {
            "test": outcome.next.test,
            "where": outcome.next.where,
            "state": dict(outcome.next.state),
            "steps": list(outcome.next.steps),
            "shows": [{"if": words, "value": value} for words, value in outcome.next.shows],
        },
        "caution": CAUTION,
    }
    found: dict[str, Any] = neutralise.tree_for_json(tree)
    return found


def render_json(outcome: Outcome, *, entries: int) -> str:
    """The same as JSON text."""
    import json

    return json.dumps(build(outcome, entries), ensure_ascii=False, allow_nan=False, indent=2) + "\n"
