"""Many sites: find the descriptions, inspect each by itself, and say how it ended.

One bad file never hides another: whatever a file does to the reader or the engine ends in the report of that file.
"""

from __future__ import annotations

import os
from collections.abc import Iterable

from onebond import engine, reading
from onebond.model import Installation
from onebond.result import LEVELS, WRITTEN_FOR, Fault, Judged, Problem, Result, Site
from onebond.rule import Rule
from onebond.span import Span

TYPE_CHECKING = False
if TYPE_CHECKING:
    from onebond.document import Document
    from onebond.facts import Refused
    from onebond.meter.readings import Readings
    from onebond.survey.find import Found

CLEAN, FINDINGS, USAGE, REFUSED, NOT_PROVEN, INTERNAL = 0, 1, 2, 3, 4, 70

_WORST_FIRST = (INTERNAL, REFUSED, NOT_PROVEN, FINDINGS, CLEAN)


def inspect_file(
    path: str,
    rules: tuple[Rule, ...],
    *,
    rulebook: str | None = None,
    today: str,
    islands: bool = False,
    digest: bool = True,
    figures: bool = False,
    drawing: bool = False,
    taken: str | None = None,
) -> Site:
    """The report of one description; never raises for what stands in the file.

    ``taken`` is a file of its readings; without one, that which lies beside it, if there is any.

    ``rulebook`` takes the place of the one that the site names; ``today`` (ISO 8601) is the day on which waivers are
    judged; ``islands`` asks for the list of live islands, ``figures`` for all computed figures, ``drawing`` for what a diagram shows
    and the curves of the devices, ``digest`` for the hash of the file.
    An error of ours becomes a :class:`Fault`, unless ``ONEBOND_DEBUG`` is set: then it is raised.
    """
    try:
        document, installation, problems, left_out = reading.load(path)
        if document is None or installation is None or problems or left_out:
            lines, sha256 = (document.lines, document.sha256 if digest else "") if document else ((), "")
            parts = document.part_files(digest) if document else ()
            return Site(path, lines, sha256, "", "", "", tuple(problems), problems_left_out=left_out, parts=parts)
        document, readings, refused, judged = _with_readings(document, installation, taken, today)
        site = engine.inspect(
            installation,
            document,
            rules,
            rulebook,
            today,
            islands=islands,
            digest=digest,
            figures=figures,
            drawing=drawing,
            readings=readings,
            refused=refused,
        )
        site = site._replace(devices=_unnamed(installation), judged=judged)
        if site.rulebook == WRITTEN_FOR:
            return site
        from onebond import wording  # a hook under the rulebook of the rules' own words does not wait for it

        return wording.worded(site._replace(named=wording.named(installation)))
    except Exception as error:
        if os.environ.get("ONEBOND_DEBUG"):
            raise
        fault = Fault("(none)", path, f"the inspection broke off with {type(error).__name__}")
        return Site(path, (), "", "", "", "", faults=(fault,))


def _with_readings(
    document: Document, installation: Installation, taken: str | None, today: str
) -> tuple[Document, Readings | None, tuple[Refused, ...], Judged | None]:
    """The readings of a site: those in a file that is named, else those beside the description; and how many they are."""
    from onebond.survey.find import readings_beside

    path = taken or readings_beside(document.path)
    if path is None:
        return document, None, (), None
    from onebond import readings
    from onebond.meter.plant import Plant

    read = readings.load(path, Plant(installation), os.path.basename(document.path), today)
    judged = Judged(path, read.entries, len(read.readings.readings) if read.readings else 0)
    return readings.attach(document, read), read.readings, readings.refused(read, path), judged


def _unnamed(installation: Installation) -> tuple[tuple[str, str], ...]:
    """The variables of devices that have no id, each with the kind of the device."""
    links = (*installation.connections, *(circuit.connection for circuit in installation.circuits))
    return tuple(
        (f"{link.id}/{device.position + 1}", device.kind)
        for link in links
        for device in link.devices
        if device.id is None
    )


def unlisted(folder: str, why: str) -> Site:
    """The report of a folder that cannot be listed: refused, for there may be descriptions in it."""
    problem = Problem(Span(1, 1, 1, 1), f"this folder cannot be listed: {why}", "allow it to be read, or leave it out")
    return Site(folder, (), "", "", "", "", (problem,))


def with_owners(found: Found, named: Iterable[str]) -> tuple[tuple[str, ...], list[Site]]:
    """The files to inspect: what was found, and the sites that list the parts that were found.

    For a part that no site lists a report that says so.  ``named`` are the paths that the inspection was asked for.
    """
    if not found.parts:
        return found.files, []
    from onebond.survey.find import once
    from onebond.survey.owners import owners

    owned = owners(found.parts, named)
    return once([*found.files, *owned.sites]), [_orphan(part, folders) for part, folders in owned.orphans]


def _orphan(part: str, folders: tuple[str, ...]) -> Site:
    """The report of a part that no site lists: refused, for nothing can be said of it by itself."""
    looked = ", ".join(folder or os.curdir for folder in folders)
    problem = Problem(
        Span(1, 1, 1, 1),
        f"this is a part of a site, and no site that lists it was found (looked in: {looked})",
        "inspect the site itself, whose file lists this one under `parts`",
    )
    return Site(part, (), "", "", "", "", (problem,))


def common_rulebook(sites: Iterable[Site]) -> str | None:
    """The rulebook that all sites were judged by; None where there are several or none."""
    books = {site.rulebook for site in sites if site.rulebook}
    return books.pop() if len(books) == 1 else None


def status(sites: Iterable[Site], rules: tuple[Rule, ...], *, fail_on: str = "error", strict: bool = False) -> int:
    """The exit status of a run: the worst of its sites.

    ``fail_on`` is the lowest level that counts as a finding; ``strict`` counts every open result as not proven, also in
    a draft and at any level.
    """
    known = {rule.id: rule for rule in rules}
    failing = LEVELS[: [str(level) for level in LEVELS].index(fail_on) + 1]
    found = {_status(site, known, failing, strict) for site in sites}
    return next(status for status in _WORST_FIRST if status in (found or {CLEAN}))


def _status(site: Site, rules: dict[str, Rule], failing: tuple[str, ...], strict: bool) -> int:
    if site.faults:
        return INTERNAL
    if site.problems or site.problems_left_out:
        return REFUSED
    if site.not_proven or any(_leaves_open(result, site, rules, strict) for result in site.results):
        return NOT_PROVEN
    if any(result.kind == "fail" and result.waiver is None and result.level in failing for result in site.results):
        return FINDINGS
    return CLEAN


def _leaves_open(result: Result, site: Site, rules: dict[str, Rule], strict: bool) -> bool:
    if result.kind != "open":
        return False
    rule = rules.get(result.rule)  # an open result of no known rule is not talked down
    return strict or (site.stage != "draft" and (rule is None or rule.level_in(site.rulebook) == "error"))
