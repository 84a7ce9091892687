"""The door for Python: inspect a description or a folder of them, and write the report in any of its forms."""

from __future__ import annotations

import os
from datetime import date

from onebond import __version__, engine, survey
from onebond.document import quick_format, quick_part
from onebond.loading import load_rules
from onebond.reporting import annotations as annotated
from onebond.reporting import baseline, notebook, report_json, sarif, text, words
from onebond.result import Report as Data
from onebond.result import Result, Site
from onebond.rule import RULEBOOKS, Rule
from onebond.survey.find import find


class Report:
    """What was found in one or more descriptions, with the forms that a report can be written in.

    ``data`` is the plain report (named tuples all the way down).  Writers return text and touch no file.
    """

    def __init__(self, data: Data, rules: tuple[Rule, ...], options: dict[str, str | bool]) -> None:
        self.data = data
        self._rules = rules
        self._options = options

    def __repr__(self) -> str:
        return f"<onebond.Report: {words.count(len(self.sites), 'site')}, exit status {self.status()}>"

    @property
    def sites(self) -> tuple[Site, ...]:
        """The report of each description, by path."""
        return self.data.sites

    @property
    def results(self) -> tuple[Result, ...]:
        """Every verdict on every site: what failed, passed, is open, needs a person or did not apply."""
        return tuple(result for site in self.sites for result in site.results)

    @property
    def findings(self) -> tuple[Result, ...]:
        """The failures that nobody accepted, consequences of others included."""
        return tuple(result for result in self.results if result.kind == "fail" and result.waiver is None)

    def status(self, *, fail_on: str = "error", strict: bool = False) -> int:
        """The exit status that the command would end with: 0, 1, 3, 4 or 70; see the README for what they mean."""
        if fail_on not in ("error", "warning", "note"):
            raise ValueError(f"fail_on: {fail_on!r} is not error, warning or note")
        return survey.status(self.sites, self._rules, fail_on=fail_on, strict=strict)

    def text(self, *, evidence: bool = False, colour: bool = False, width: int = 0) -> str:
        """For people; ``width`` in columns (0: lines are not wrapped)."""
        return text.render(self.data, colour=colour, width=width, evidence=evidence)

    def lines(self) -> str:
        """One line for each finding: ``file:line:column: level: message [rule]``."""
        return annotated.render(self.data)

    def json(self) -> str:
        """Everything, as JSON; its keys are in ``schemas/REPORT.md``."""
        return report_json.render(self.data, exit_code=self.status(), options=self._options)

    def sarif(
        self, *, evidence: bool = False, base: str | os.PathLike[str] = "", against: bytes | str | None = None
    ) -> str:
        """SARIF 2.1.0; paths below ``base`` become relative, ``against`` is the text of an earlier report to compare with."""
        earlier = None
        if against is not None:
            earlier = baseline.read(against.encode("utf-8", "replace") if isinstance(against, str) else against)
        return sarif.render(
            self.data,
            evidence=evidence,
            exit_code=self.status(),
            base=os.fspath(base),
            options=self._options,
            baseline=earlier,
        )

    def html(self) -> str:
        """One page with drawings and figures; ValueError where the inspection was not asked for them (``drawings=True``)."""
        from onebond.reporting import page  # its template engine takes longer to load than all the rest

        if any(site.cases and site.drawing is None for site in self.sites):
            raise ValueError("there are no drawings: inspect with drawings=True")
        book = survey.common_rulebook(self.sites)
        return page.render(self.data._replace(rules=engine.pages(self._rules, book)))

    def _repr_html_(self) -> str:
        """A small table for notebooks."""
        return notebook.render(self.data)


def inspect(
    path: str | os.PathLike[str],
    rulebook: str | None = None,
    today: str | date | None = None,
    *,
    drawings: bool = False,
) -> Report:
    """Inspect a description, or every description below a folder; of a part, the sites that list it.

    ``rulebook`` takes the place of the ones that the sites name; ``today`` (ISO 8601, or a date) is the day on which waivers are
    judged, today in UTC if it is left out; ``drawings`` works out the drawings and figures too, which ``html`` needs.  Raises
    FileNotFoundError where nothing is there, ValueError where a folder holds no description or an argument is not understood.
    What stands in a description raises nothing: it is in the report.
    """
    if rulebook is not None and rulebook not in RULEBOOKS:
        raise ValueError(f"rulebook: {rulebook!r} is not one of {', '.join(RULEBOOKS)}")
    day = _day(today)
    name = os.fspath(path)
    found = find([name], quick_format, quick_part)
    if found.missing:
        raise FileNotFoundError(f"there is no file or folder {name!r}")
    if not found.files and not found.unreadable and not found.parts:
        raise ValueError(f"nothing to inspect below {name!r}: a description begins with `onebond: 1`")
    rules = load_rules()
    files, orphans = survey.with_owners(found, [name])
    sites = [
        survey.inspect_file(one, rules, rulebook=rulebook, today=day, islands=True, figures=drawings, drawing=drawings)
        for one in files
    ]
    sites += orphans
    sites += [survey.unlisted(folder, why) for folder, why in found.unreadable]
    pages = engine.pages(rules, rulebook, words=survey.common_rulebook(sites))
    options: dict[str, str | bool] = {"rulebook": rulebook} if rulebook else {}
    if today is not None:
        options["today"] = day
    return Report(Data(__version__, tuple(sites), pages), rules, options)


def _day(today: str | date | None) -> str:
    if today is None:
        import time

        return time.strftime("%Y-%m-%d", time.gmtime())
    try:
        return (today if isinstance(today, date) else date.fromisoformat(today)).strftime("%Y-%m-%d")
    except (TypeError, ValueError):
        raise ValueError(f"today: {today!r} is no day; write it like 2027-03-31") from None
