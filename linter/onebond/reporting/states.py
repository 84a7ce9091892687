"""Operating states for people and programs: each kind of live island, its sources and where its neutral is earthed."""

from __future__ import annotations

from typing import Any

from onebond.reporting import neutralise, text, words
from onebond.result import IslandLine, Site

_NAMES_SHOWN = 8
_LABEL = 11


def render(site: Site, *, width: int = 0) -> str:
    """The live islands of one site as text; ``width`` in columns (0: do not wrap)."""
    shown = neutralise.for_terminal(site.path)
    out = [neutralise.for_terminal(f"{site.path}: {site.name}" if site.name else site.path)]
    if site.problems or site.problems_left_out:
        lines = text.problem_lines(site, colour=False, width=width)
        return "\n".join([*lines, "", f"{shown}: refused: no states, since the description could not be read"]) + "\n"
    kinds = words.count(len(site.islands), "kind of live island", "kinds of live island")
    about = neutralise.for_terminal(f"rulebook {site.rulebook}, stage {site.stage}")
    out.append(f"{words.count(site.cases, 'case')}, {kinds} ({about})")
    say = words.speech(site.rulebook, site.named)
    for number, island in enumerate(ordered(site), 1):
        verdict = neutralise.for_terminal(say(island.verdict))
        sources = neutralise.for_terminal(words.live_from(island))
        out += ["", f"{number}  {sources}: {verdict}"]
        out += _row("supplies", [words.shortened(island.supplies, _NAMES_SHOWN) or "nothing"], width)
        out += _row("reference", list(island.references) or ["none"], width)
        if island.references:
            out += _row("electrode", [words.shortened(island.electrodes, _NAMES_SHOWN) or "none"], width)
        if island.conditions:
            out += _row("when", words.alternatives(island.conditions, site.devices), width)
    for fault in sorted(site.faults):
        told = (
            f"{site.path}:1:1: error: internal error in rule {fault.rule} on subject {fault.subject}: {fault.message}"
        )
        out += ["", neutralise.for_terminal(f"{told} [internal]")]
    if site.not_proven:
        out += ["", *(f"not proven: {neutralise.for_terminal(name)}" for name in site.not_proven)]
    if not site.islands:
        out += ["", "no live island: nothing is supplied in any state that was looked at"]
    return "\n".join(out) + "\n"


def build(site: Site) -> dict[str, Any]:
    """The same as a tree of plain values, every string in it safe for JSON; nothing is shortened."""
    tree: dict[str, Any] = {
        "onebond-states": 1,
        "path": site.path,
        "sha256": site.sha256,
        "parts": words.part_files(site),
        "site": site.name,
        "rulebook": site.rulebook,
        "stage": site.stage,
        "cases": site.cases,
        "islands": [
            {
                "sources": list(island.sources),
                "joined-by-neutral": list(island.apart),
                "supplies": list(island.supplies),
                "references": list(island.references),
                "electrodes": list(island.electrodes),
                "verdict": island.verdict,
                "when": [{name: list(values) for name, values in one} for one in island.conditions],
            }
            for island in ordered(site)
        ],
        "not-proven": list(site.not_proven),
        "problems": [
            {
                "file": words.file_of(site, problem.span),
                "line": problem.span.line,
                "column": problem.span.column,
                "message": problem.message,
                "hint": problem.hint,
            }
            for problem in site.problems
        ],
        "problems-left-out": site.problems_left_out,
        "faults": [
            {"rule": fault.rule, "subject": fault.subject, "message": fault.message} for fault in sorted(site.faults)
        ],
    }
    safe: dict[str, Any] = neutralise.tree_for_json(tree)
    return safe


def render_json(site: Site) -> str:
    """``build`` as strict JSON that ends with a line end."""
    import json  # only this report needs it

    return json.dumps(build(site), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def ordered(site: Site) -> list[IslandLine]:
    """Islands by their sources, then by verdict, references, what they supply, and conditions."""
    return sorted(site.islands, key=lambda i: (i.sources, i.verdict, i.references, i.supplies, i.conditions))


def _row(label: str, texts: list[str], width: int) -> list[str]:
    room = max(width - _LABEL - 2, 30) if width > 0 else 0
    lines = [line for one in texts for line in text.wrapped(neutralise.for_terminal(one), room)]
    return [f"  {('' if index else label).ljust(_LABEL)}{line}" for index, line in enumerate(lines)]
