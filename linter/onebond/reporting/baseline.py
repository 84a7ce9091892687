"""An earlier SARIF report to compare with: which findings are new, changed, as they were, or gone.

Findings are matched by their partial fingerprint, and where that changed (other operating states, say) by rule, file and
subject.  A finding counts as gone only where this run could have found it again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

FINGERPRINT = "onebond/v1"
"""The partial fingerprint that results carry."""

LIMIT = 100 * 1024 * 1024
"""Largest earlier report that is read, in bytes."""

Tree = dict[str, Any]

_LEVELS = ("error", "warning", "note", "none")


class Earlier(NamedTuple):
    """A finding of the earlier report."""

    mark: str
    rule: str
    uri: str
    subject: str  # qualified name of its logical location
    name: str  # and the plain one, as results and rules name it
    level: str
    text: str
    suppressed: bool
    region: tuple[tuple[str, int], ...]


class Baseline(NamedTuple):
    """The findings of an earlier report."""

    results: tuple[Earlier, ...]


class Now(NamedTuple):
    """What of a present result is compared with earlier ones."""

    mark: str
    rule: str
    uri: str
    subject: str
    level: str
    text: str
    suppressed: bool


def read(data: bytes) -> Baseline:
    """The findings of an earlier report of ours; raises ValueError, in plain words, where there is none in these bytes."""
    if len(data) > LIMIT:
        raise ValueError(f"it is larger than {LIMIT // 1024 // 1024} MiB")
    try:
        log = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise ValueError("it is no JSON in UTF-8") from None
    if not isinstance(log, dict) or log.get("version") != "2.1.0":
        raise ValueError("it is no SARIF 2.1.0")
    runs = [run for run in _list(log.get("runs")) if _text(_at(run, "tool", "driver", "name")) == "onebond"]
    if not runs:
        raise ValueError("it holds no run of onebond")
    found = (_earlier(result) for run in runs for result in _list(_at(run, "results")))
    return Baseline(tuple(one for one in found if one is not None))


def compared(baseline: Baseline, now: Iterable[Now]) -> tuple[list[str], list[Earlier]]:
    """The baseline state of each present result, and the earlier findings that none of them matches."""
    present = list(now)
    left: dict[int, Earlier] = dict(enumerate(baseline.results))
    by_mark: dict[str, list[int]] = {}
    by_subject: dict[tuple[str, str, str], list[int]] = {}
    for at, earlier in left.items():
        by_mark.setdefault(earlier.mark, []).append(at)
        by_subject.setdefault((earlier.rule, earlier.uri, earlier.subject), []).append(at)
    matches: list[Earlier | None] = []
    for one in present:  # all exact matches come first, so that none of them is taken away by a near one
        exact = next((at for at in by_mark.get(one.mark, ()) if one.mark and at in left), None)
        matches.append(None if exact is None else left.pop(exact))
    for number, one in enumerate(present):
        if matches[number] is None:
            near = next((at for at in by_subject.get((one.rule, one.uri, one.subject), ()) if at in left), None)
            matches[number] = None if near is None else left.pop(near)
    return [_state(one, match) for one, match in zip(present, matches, strict=True)], list(left.values())


def _state(now: Now, match: Earlier | None) -> str:
    if match is None:
        return "new"
    same = (now.mark, now.level, now.text, now.suppressed) == (match.mark, match.level, match.text, match.suppressed)
    return "unchanged" if same else "updated"


def _earlier(result: object) -> Earlier | None:
    """A result as it is compared; only failures, and none that was gone already then."""
    if not isinstance(result, Mapping) or _text(result.get("kind", "fail")) != "fail":
        return None
    rule = _text(result.get("ruleId"))
    if not rule or result.get("baselineState") == "absent":
        return None
    place = next(iter(_list(result.get("locations"))), None)
    logical = next(iter(_list(_at(place, "logicalLocations"))), None)
    region = _at(place, "physicalLocation", "region")
    name = _text(_at(logical, "name"))
    level = _text(result.get("level", "warning"))  # what SARIF 2.1.0, 3.27.10, takes where there is none
    return Earlier(
        _text(_at(result, "partialFingerprints", FINGERPRINT)),
        rule,
        _text(_at(place, "physicalLocation", "artifactLocation", "uri")),
        _text(_at(logical, "fullyQualifiedName")) or name,
        name,
        level if level in _LEVELS else "warning",
        _text(_at(result, "message", "text")),
        bool(_list(result.get("suppressions"))),
        tuple(
            (key, value)
            for key in ("startLine", "startColumn", "endLine", "endColumn")
            if isinstance(value := _at(region, key), int) and not isinstance(value, bool) and 0 < value < 1_000_000
        ),
    )


def _at(value: object, *keys: str) -> object:
    for key in keys:
        value = value.get(key) if isinstance(value, Mapping) else None
    return value


def _list(value: object) -> list[object]:
    return value if isinstance(value, list) else []


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
