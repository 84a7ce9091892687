"""The report as one line for each finding, in the form that the GNU coding standards give for error messages.

``file:line:column: level: message [rule]`` is documented openly (GNU coding standards, *Formatting error messages*), bound to no
product, and what compilers print: editors jump along it, and continuous integration turns it into annotations of the lines.
"""

from __future__ import annotations

from onebond.reporting import neutralise, words
from onebond.result import Report, Site
from onebond.span import Span


def render(report: Report) -> str:
    """Findings, what follows from them, problems, errors of ours and what is not proven; nothing if there is none of them.

    The level is ``error``, ``warning`` or ``note``.  What was waived or rests on an exception is a note, and what was not proven a warning.
    """
    lines = [line for site in words.ordered_sites(report) for line in _site(report, site)]
    return "".join([f"{line}\n" for line in lines])


def _site(report: Report, site: Site) -> list[str]:
    found = words.findings(site)
    begin = Span(1, 1, 1, 1)
    lines = [
        _line(site, problem.span, "error", _with_hint(problem.message, problem.hint), words.REFUSED)
        for problem in words.ordered_problems(site)
    ]
    if site.problems_left_out:
        left = words.count(site.problems_left_out, "more problem")
        lines.append(_line(site, begin, "error", f"{left} not shown: mend these first", words.REFUSED))
    for fault in sorted(site.faults):
        text = f"internal error in rule {fault.rule} on subject {fault.subject}: {fault.message}"
        lines.append(_line(site, begin, "error", text, "internal"))
    for cause in found.causes:
        for depth, result in ((0, cause.result), *cause.follows):
            level = result.level if result.level != "none" else "note"
            follows = f" (follows from {result.because[1]})" if depth and result.because is not None else ""
            lines.append(_line(site, result.span, level, f"{result.message}{follows}", result.rule))
    lines += [_line(site, result.span, "note", f"waived: {result.message}", result.rule) for result in found.waived]
    lines += [
        _line(site, one.span, "note", f"by exception: {words.subjects(one)}: {one.reason}; {one.remains}", one.rule)
        for one in words.relied(site)
    ]
    lines += [
        _line(site, result.span, "note", f"to be reviewed: {result.message}", result.rule)
        for result in words.ordered(result for result in site.results if result.kind == "review")
    ]
    lines += [
        _line(site, gap.span, "warning", f"not proven: {gap.what}: {words.verdicts(gap)}", "not-proven")
        for gap in words.gaps(site, words.levels(report, site))
    ]
    lines += [_line(site, begin, "warning", f"not proven: {text}", "not-proven") for text in site.not_proven]
    return lines


def _with_hint(message: str, hint: str) -> str:
    return f"{message} ({hint})" if hint else message


def _line(site: Site, span: Span, level: str, message: str, tag: str) -> str:
    path, text, end = (neutralise.for_terminal(one) for one in (words.file_of(site, span), message, tag))
    return f"{path}:{span.line}:{span.column}: {level}: {text} [{end}]"
