"""The command line: arguments in, exit status out; the only place that prints.

Exit status: 0 inspected completely and nothing at the fail level; 1 findings; 2 usage, or nothing to inspect; 3 a
description was refused; 4 not proven; 70 internal error.  With several files the worst wins: 70, 3, 4, 1, 0.  130 after
an interrupt from the keyboard.

Everything but ``os`` and ``sys`` is imported by the command that needs it: the command line runs in hooks, where people
feel every tenth of a second.
"""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace
    from collections.abc import Callable, Iterator

    from onebond.model import Installation
    from onebond.reporting.baseline import Baseline
    from onebond.result import Report, RulePage
    from onebond.rule import Rule
    from onebond.schedule import Schedule
    from onebond.survey.find import Found

CLEAN, FOUND, USAGE, REFUSED, OPEN, INTERNAL, INTERRUPTED = 0, 1, 2, 3, 4, 70, 130

LEVELS = ("error", "warning", "note")
RULEBOOKS = ("iec", "bs7671", "nec", "as-nzs", "sans")

HELP = """\
usage: onebond COMMAND ...

Is the neutral of every live system tied to earth exactly once, in every operating state?

commands:
  inspect PATH...   inspect descriptions, and folders of them
  states FILE       the operating states: what feeds each live island, and where its neutral is earthed
  figures FILE      loop impedances, fault currents, disconnection times and touch voltages in every state
  drawing FILE      the single-line diagram as SVG, as described or in one live system
  schedule FILE     what to measure in which state, what it should show and what another reading means
  diagnose FILE READINGS   which defect explains readings, and what to measure next
  explain [RULE]    the page of a rule, or the table of all rules
  selftest [RULE]   whether this installation judges as its rules say, as a record to attach

options:
  -h, --help        this help; `onebond COMMAND --help` shows the options of a command
  --version         the version

exit status: 0 nothing found, 1 findings, 2 usage or nothing to inspect, 3 a description was refused,
4 not proven, 70 internal error. With several files the worst wins: 70, 3, 4, 1, 0.
"""


class Usage(Exception):
    """The command line asks for something that cannot be done; exit status 2."""


class Unwritten(Exception):
    """A report could not be delivered; exit status 70, for nobody has read the verdict."""


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status and raises nothing, unless ``ONEBOND_DEBUG`` is set.

    Without arguments those of the process are taken, and the process is taken to be ours.
    """
    if argv is not None:
        return _guarded(argv)
    import gc

    # A run makes many small records and hardly a cycle: looking for cycles, at the end above all, is a tenth of it.
    gc.set_threshold(100_000, 50, 50)
    try:
        return _guarded(sys.argv[1:])
    finally:
        gc.freeze()


def _guarded(argv: list[str]) -> int:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # not where a stream is closed or somebody else's
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
    try:
        return _command(argv)
    except Usage as error:
        _say(f"{error}\n(try `onebond --help`)")
        return USAGE
    except KeyboardInterrupt:
        _say("interrupted: the inspection is not complete")
        return INTERRUPTED
    except SystemExit as end:  # of the argument parser, after its help or its complaint
        return _print("", end.code if isinstance(end.code, int) else USAGE)
    except Unwritten as error:
        _say(str(error))
        return INTERNAL
    except Exception as error:
        if os.environ.get("ONEBOND_DEBUG"):
            raise
        _say(f"internal error: {_unexpected(error)}\nnothing is proven; set ONEBOND_DEBUG=1 to see where it broke")
        return INTERNAL


def _command(argv: list[str]) -> int:
    commands: dict[str, Callable[[list[str]], int]] = {
        "inspect": _inspect,
        "states": _states,
        "figures": _figures,
        "drawing": _drawing,
        "schedule": _schedule,
        "diagnose": _diagnose,
        "explain": _explain,
        "selftest": _selftest,
    }
    if not argv:
        _say(HELP.rstrip(), name="")
        return USAGE
    name, *rest = argv
    if name in ("-h", "--help"):
        return _print(HELP, CLEAN)
    if name == "--version":
        from onebond import __version__

        return _print(f"onebond {__version__}\n", CLEAN)
    if name not in commands:
        if not name.startswith("-") and (os.path.lexists(name) or os.sep in name or name.endswith((".yaml", ".yml"))):
            raise Usage(f"no command {name!r}, did you mean `onebond inspect {_shown(name)}`?")
        raise Usage(f"no command or option {name!r}{_did_you_mean(name, list(commands))}")
    return commands[name](rest)


# -- inspect -----------------------------------------------------------------------------------------------------------


def _inspect(argv: list[str]) -> int:
    parser = _parser(
        "inspect", "Inspect descriptions. Below a folder every description is found; links are not followed."
    )
    parser.add_argument("paths", nargs="*", metavar="PATH", help="a description, or a folder of them")
    parser.add_argument(
        "--report",
        choices=("text", "lines", "json", "sarif", "html"),
        default="text",
        help="form of the report (text); lines: file:line:column: level: message [rule]; html: one page with drawings",
    )
    parser.add_argument("--out", metavar="FILE", help="write the report to FILE, whole or not at all")
    parser.add_argument(
        "--baseline", metavar="FILE", help="with --report sarif: say what is new against this earlier SARIF report"
    )
    parser.add_argument("--rulebook", choices=RULEBOOKS, help="judge by this rulebook, whatever the sites name")
    parser.add_argument("--fail-on", choices=LEVELS, default="error", help="lowest level that gives status 1 (error)")
    parser.add_argument("--strict", action="store_true", help="status 4 for whatever stays open, also in a draft")
    parser.add_argument("--evidence", action="store_true", help="report what passed, is open or did not apply too")
    parser.add_argument("--skip-others", action="store_true", help="pass over named files that are no descriptions")
    parser.add_argument(
        "--today",
        metavar="YYYY-MM-DD",
        help="the day on which waivers and the days of readings are judged (today, UTC)",
    )
    parser.add_argument(
        "--readings",
        metavar="FILE",
        help="what was measured there (NAME.readings.yaml beside NAME.yaml, if there is any)",
    )
    parser.add_argument("--quiet", action="store_true", help="no remarks on standard error")
    asked = _parsed(parser, argv)
    if not asked.paths:
        raise Usage("inspect what? name a description or a folder")

    from onebond.document import quick_format, quick_part
    from onebond.survey.find import find

    found = find(asked.paths, quick_format, quick_part, skip_others=asked.skip_others)
    if found.missing:
        raise Usage("\n".join(f"there is no file or folder {_shown(path)}" for path in found.missing))
    remarks = _passed_over(found)
    if not found.files and not found.unreadable and not found.parts:
        if asked.skip_others and found.others:
            return CLEAN if asked.quiet else _remark(remarks, CLEAN)
        raise Usage(
            "\n".join(
                ["nothing to inspect: no description was found (a description begins with `onebond: 1`)", *remarks]
            )
        )
    target = _target(asked.out, (*found.files, *found.parts)) if asked.out is not None else None
    today = _day(asked.today)
    baseline = _baseline(asked)

    from onebond import survey

    rules = _rules()
    files, orphans = survey.with_owners(found, asked.paths)
    if asked.readings is not None:
        if len(files) != 1:
            raise Usage("--readings goes with one description")
        if not os.path.lexists(asked.readings):
            raise Usage(f"--readings: there is no file {_shown(asked.readings)}")
    data, whole = asked.report in ("json", "sarif", "html"), asked.report == "html"
    sites = [
        survey.inspect_file(
            path,
            rules,
            rulebook=asked.rulebook,
            today=today,
            digest=data,
            islands=whole or asked.report == "json",
            figures=whole,
            drawing=whole,
            taken=asked.readings,
        )
        for path in _followed(files, quiet=asked.quiet)
    ]
    sites += orphans
    sites += [survey.unlisted(folder, why) for folder, why in found.unreadable]
    code = survey.status(sites, rules, fail_on=asked.fail_on, strict=asked.strict)

    from onebond import __version__
    from onebond.result import Report

    common = survey.common_rulebook(sites)
    report = Report(__version__, tuple(sites), _pages(rules, asked.rulebook or (common if whole else None), common))
    text = _laid_out(report, asked, code, baseline, to_file=target is not None)
    if not asked.quiet:
        _remark(remarks, code)
    if target is None:
        return _print(text, code)
    _target(asked.out, tuple(file for site in sites for file in (site.path, *(part.path for part in site.parts))))
    _write(target, text)
    return code if asked.quiet else _remark([f"the report is in {_shown(asked.out)}"], code)


def _laid_out(report: Report, asked: Namespace, code: int, baseline: Baseline | None, *, to_file: bool) -> str:
    if asked.report == "sarif":
        from onebond.reporting import sarif

        return sarif.render(
            report,
            evidence=asked.evidence,
            exit_code=code,
            base=os.getcwd(),
            options=_options(asked),
            baseline=baseline,
        )
    if asked.report == "json":
        from onebond.reporting import report_json

        return report_json.render(report, exit_code=code, options=_options(asked))
    if asked.report == "lines":
        from onebond.reporting import annotations

        return annotations.render(report)
    if asked.report == "html":
        from onebond.reporting import page

        return page.render(report)
    from onebond.reporting import text

    colour, width = (False, 0) if to_file else _terminal()
    return text.render(report, colour=colour, width=width, evidence=asked.evidence)


def _options(asked: Namespace) -> dict[str, str | bool]:
    """The options that decide a verdict, as far as they were given: a report says by what it judged."""
    names = ("rulebook", "fail_on", "strict", "today")
    return {name.replace("_", "-"): value for name in names if (value := getattr(asked, name))}


def _baseline(asked: Namespace) -> Baseline | None:
    if asked.baseline is None:
        return None
    if asked.report != "sarif":
        raise Usage("--baseline goes with --report sarif")
    from onebond.reporting import baseline

    try:
        with open(asked.baseline, "rb") as file:
            return baseline.read(file.read(baseline.LIMIT + 1))
    except OSError as error:
        raise Usage(f"--baseline: {_shown(asked.baseline)} cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise Usage(f"--baseline: {_shown(asked.baseline)}: {error}") from None


def _followed(paths: tuple[str, ...], *, quiet: bool) -> Iterator[str]:
    """The paths one by one; where people watch and it takes long, how far the run is, on standard error."""
    from time import monotonic

    watched = len(paths) > 1 and not quiet and sys.stderr is not None and sys.stderr.isatty()
    if not watched or os.environ.get("TERM") == "dumb":
        yield from paths
        return
    due, shown = monotonic() + 0.5, False
    for number, path in enumerate(paths, 1):
        if monotonic() >= due:
            due, shown = monotonic() + 0.1, True
            _rewrite(f"{number} of {len(paths)}: {_shown(path)}")
        yield path
    if shown:
        _rewrite("")


def _rewrite(text: str) -> None:
    """Put a text in place of the last line on standard error, as much of it as fits."""
    try:
        room = (os.get_terminal_size(sys.stderr.fileno()).columns or 80) - 1
        print(f"\r\x1b[K{text[:room]}", end="", file=sys.stderr, flush=True)
    except (OSError, ValueError):  # nobody watches any more
        return


def _passed_over(found: Found) -> list[str]:
    remarks = []
    if found.others:
        remarks.append(f"passed over, no description: {_named(found.others)}")
    if found.links:
        remarks.append(f"passed over, a link: {_named(found.links)}")
    return remarks


def _named(paths: tuple[str, ...], most: int = 3) -> str:
    """How many files, and the first few of them."""
    shown = ", ".join(_shown(path) for path in paths[:most])
    more = f" and {len(paths) - most} more" if len(paths) > most else ""
    return f"{len(paths)} {'file' if len(paths) == 1 else 'files'} ({shown}{more})"


# -- states, figures, drawing and explain ---------------------------------------------------------------------------------------


def _states(argv: list[str]) -> int:
    parser = _parser(
        "states", "Show the operating states: what feeds each live island, and where its neutral is earthed."
    )
    parser.add_argument("paths", nargs="*", metavar="FILE", help="a description")
    parser.add_argument("--report", choices=("text", "json"), default="text", help="form of the report (text)")
    parser.add_argument("--rulebook", choices=RULEBOOKS, help="judge by this rulebook, whatever the site names")
    asked = _parsed(parser, argv)
    path = _description(asked, "states of what")

    from onebond import survey
    from onebond.reporting import states

    site = survey.inspect_file(path, _rules(), rulebook=asked.rulebook, today=_day(None), islands=True)
    site = site._replace(results=())  # the states are the question here, not the findings
    code = survey.status([site], ())
    return _print(
        states.render_json(site) if asked.report == "json" else states.render(site, width=_terminal()[1]), code
    )


def _figures(argv: list[str]) -> int:
    from onebond.reporting import figures

    parser = _parser(
        "figures", "Show what is computed in every operating state: earth faults, normal service, single failures."
    )
    parser.add_argument("paths", nargs="*", metavar="FILE", help="a description")
    parser.add_argument(
        "--report", choices=("text", "json", "csv"), default="text", help="form of the report (text); csv: earth faults"
    )
    parser.add_argument("--rulebook", choices=RULEBOOKS, help="judge by this rulebook, whatever the site names")
    parser.add_argument(
        "--place", action="append", metavar="ID", help="only this place, cable or device; may be repeated"
    )
    parser.add_argument(
        "--section", action="append", choices=figures.SECTIONS, help="only this section; may be repeated"
    )
    asked = _parsed(parser, argv)
    path = _description(asked, "figures of what")
    places, sections = asked.place or [], asked.section or []
    if asked.report == "csv" and sections and "faults" not in sections:
        raise Usage("--report csv holds the earth faults; take --report json for the other sections")

    from onebond import survey

    site = survey.inspect_file(path, _rules(), rulebook=asked.rulebook, today=_day(None), figures=True)
    site = site._replace(results=())  # the figures are the question here, not the findings
    code = survey.status([site], ())
    if site.figures:
        for place in places:
            if place not in site.figures.ids:
                near = _did_you_mean(place, list(site.figures.ids))
                raise Usage(f"--place: nothing is called {_shown(place)!r}{near}")
        site = site._replace(figures=figures.narrowed(site.figures, places, sections))
    if asked.report == "text":
        return _print(figures.render(site, width=_terminal()[1]), code)
    if asked.report == "csv" and code != CLEAN:  # the table has no place for it
        _say(figures.render(site._replace(figures=None)).rstrip())
    return _print(figures.render_json(site) if asked.report == "json" else figures.render_csv(site), code)


def _drawing(argv: list[str]) -> int:
    parser = _parser(
        "drawing", "Draw the single-line diagram of a description as SVG, its findings marked where they are."
    )
    parser.add_argument("paths", nargs="*", metavar="FILE", help="a description")
    parser.add_argument(
        "--system",
        type=int,
        metavar="N",
        help="what is live in this live system, by its number in `onebond states` and in the page; else as described",
    )
    parser.add_argument("--conductors", action="store_true", help="N and PE as lines of their own")
    parser.add_argument("--fold", action="store_true", help="the final circuits of each board as one way")
    parser.add_argument("--sheets", action="store_true", help="over several sheets: OUT-1.svg, OUT-2.svg and so on")
    parser.add_argument("--out", metavar="FILE", help="write the drawing to FILE (standard output)")
    parser.add_argument("--rulebook", choices=RULEBOOKS, help="judge by this rulebook, whatever the site names")
    asked = _parsed(parser, argv)
    path = _description(asked, "draw what")
    if asked.sheets and (asked.out is None or asked.fold):
        raise Usage("--sheets divides a drawing that is not folded and needs --out, the name of its files")
    stem, ending = os.path.splitext(asked.out) if asked.out is not None else ("", "")

    from onebond import survey
    from onebond.reporting import diagram, states, text, words

    site = survey.inspect_file(path, _rules(), rulebook=asked.rulebook, today=_day(None), islands=True, drawing=True)
    code = survey.status([site._replace(results=())], ())  # the picture is the question here, not the findings
    if site.problems or site.drawing is None:
        _say("\n".join(text.problem_lines(site, colour=False, width=0)) or "nothing could be drawn", name="")
        return code or INTERNAL
    if not diagram.drawable(site):
        raise Usage(f"there is nothing to draw, or more than {diagram.MOST_PLACES} places, which nobody could read")
    numbers = [site.islands.index(island) for island in states.ordered(site)]
    if asked.system is not None and not 1 <= asked.system <= len(numbers):
        raise Usage(
            f"--system: the site has {words.count(len(numbers), 'kind')} of live system, see `onebond states {_shown(path)}`"
        )
    state = None
    if asked.system is not None:
        kinds = [one.kind for one in site.drawing.states]
        state = kinds.index(numbers[asked.system - 1])
    if asked.sheets:
        drawn = diagram.sheets(site, state, conductors=asked.conductors, standalone=True)
        files = {f"{stem}-{sheet.number}{ending}": sheet.svg for sheet in drawn}
    else:
        svg = diagram.render(site, state, conductors=asked.conductors, fold=asked.fold, standalone=True)
        if asked.out is None:
            return _print(f"{svg}\n", code)
        files = {asked.out: svg}
    read = (path, *(part.path for part in site.parts))
    targets = {_target(name, read): svg for name, svg in files.items()}  # all of them, before the first is written
    for target, svg in targets.items():
        _write(target, f"{svg}\n")
    return _remark([f"the drawing is in {', '.join(_shown(name) for name in files)}"], code)


def _schedule(argv: list[str]) -> int:
    parser = _parser(
        "schedule", "Show the test schedule of a site: states to set up, what to measure, what it should show."
    )
    parser.add_argument("paths", nargs="*", metavar="FILE", help="a description")
    parser.add_argument(
        "--report", choices=("text", "csv", "xlsx", "html", "json"), default="text", help="form of the schedule (text)"
    )
    parser.add_argument("--blank", action="store_true", help="a file of readings to fill in, instead of the schedule")
    parser.add_argument("--out", metavar="FILE", help="write it to FILE, whole or not at all")
    asked = _parsed(parser, argv)
    path = _description(asked, "schedule of what")
    if asked.blank and asked.report != "text":
        raise Usage("--blank writes a file of readings, which has no other form")
    target = _target(asked.out, (path,)) if asked.out is not None else None
    installation = _installation(path)
    if isinstance(installation, int):
        return installation

    from onebond.reporting import sheet
    from onebond.schedule import schedule

    planned = schedule(installation, _rules())
    if not asked.blank:
        planned = sheet.worded(planned, _speech(installation))
    if asked.blank:
        text = sheet.render_blank(planned, os.path.basename(path))
    elif asked.report == "csv":
        text = sheet.render_csv(planned)
    elif asked.report == "json":
        text = sheet.render_json(planned)
    elif asked.report == "html":
        from onebond.reporting import page

        text = page.sheet(planned)
    elif asked.report == "xlsx":
        return _workbook(planned, target, asked.out)
    else:
        text = sheet.render(planned, width=0 if target else _terminal()[1])
    if target is None:
        return _print(text, CLEAN)
    _write(target, text)
    return _remark([f"the {'blank' if asked.blank else 'schedule'} is in {_shown(asked.out)}"], CLEAN)


def _workbook(planned: Schedule, target: str | None, name: str | None) -> int:
    if target is None:
        raise Usage("--report xlsx needs --out, the name of the workbook")
    from onebond.reporting import sheet

    try:
        data = sheet.render_xlsx(planned)
    except ModuleNotFoundError:
        raise Usage("--report xlsx needs the package xlsxwriter: pip install xlsxwriter") from None
    _write(target, data)
    return _remark([f"the schedule is in {_shown(name or target)}"], CLEAN)


def _diagnose(argv: list[str]) -> int:
    parser = _parser("diagnose", "Say which defect explains readings, and which measurement would tell more.")
    parser.add_argument("paths", nargs="*", metavar="FILE READINGS", help="a description, and readings of that site")
    parser.add_argument("--report", choices=("text", "json"), default="text", help="form of the report (text)")
    parser.add_argument(
        "--today", metavar="YYYY-MM-DD", help="the day after which nothing can have been read (today, UTC)"
    )
    asked = _parsed(parser, argv)
    if len(asked.paths) != 2:
        raise Usage("diagnose what? name a description and a file of readings")
    path, taken = asked.paths
    today = _day(asked.today)
    installation = _installation(path)
    if isinstance(installation, int):
        return installation

    from onebond import readings
    from onebond.diagnosis import but, diagnose
    from onebond.meter.plant import Plant
    from onebond.reporting import explanation, text
    from onebond.result import Site

    plant = Plant(installation)
    read = readings.load(taken, plant, os.path.basename(path), today)
    for level, problems, left_out in ("error", read.problems, read.left_out), ("note", read.notes, 0):
        about = Site(taken, read.document.lines, "", "", "", "", problems=problems, problems_left_out=left_out)
        told = text.problem_lines(about, colour=False, width=0, rule=readings.REFUSED, level=level)
        if told:
            _say("\n".join(told), name="")
    if read.readings is None or not read.readings.readings:
        _say(f"{_shown(taken)}: no reading could be understood")
        return REFUSED
    outcome = diagnose(plant, read.readings)
    if any(problem.route == ("taken",) for problem in read.problems):
        outcome = outcome._replace(taken="")  # what is written there is no day on which something was read
    if outcome.healthy:
        outcome = but(outcome, tuple(_not_accepted(path, taken, today)))
    outcome = explanation.worded(outcome, _speech(installation))
    sound = outcome.healthy and not outcome.not_accepted
    code = REFUSED if read.problems else CLEAN if sound else FOUND if outcome.explained else OPEN
    rendered = (
        explanation.render_json(outcome, entries=read.entries)
        if asked.report == "json"
        else explanation.render(outcome, entries=read.entries, width=_terminal()[1])
    )
    return _print(rendered, code)


def _not_accepted(path: str, taken: str, today: str) -> Iterator[str]:
    """Readings that fit the circuit, or that no circuit speaks of, and that the rulebook does not accept."""
    from onebond import survey
    from onebond.loading import load_rules

    judging = tuple(rule for rule in load_rules() if rule.id == "reading-contradicts-design")
    site = survey.inspect_file(path, judging, today=today, taken=taken, digest=False)
    for result in site.results:
        if result.kind == "fail":
            yield f"{result.subject}: {'; '.join(f'{name}: {value}' for name, value in result.figures)}"
            yield from (f"{mention.subject}: {mention.text}" for mention, _ in result.mentions)


def _speech(installation: Installation) -> Callable[[str], str]:
    """What puts a text into the words of the rulebook of a site."""
    from onebond.reporting import words
    from onebond.result import WRITTEN_FOR

    if installation.rulebook == WRITTEN_FOR:
        return str
    from onebond.wording import named

    return words.speech(installation.rulebook, named(installation))


def _installation(path: str) -> Installation | int:
    """The installation of a description; where it is refused, its problems are told and the status comes back."""
    from onebond.reading import load

    _, installation, problems, _ = load(path)
    if installation is not None:
        return installation
    from onebond import survey
    from onebond.reporting import text

    site = survey.inspect_file(path, (), rulebook=None, today=_day(None))
    _say("\n".join(text.problem_lines(site, colour=False, width=0)), name="")
    return REFUSED if problems else INTERNAL


def _explain(argv: list[str]) -> int:
    parser = _parser("explain", "Show the page of a rule, or without a rule the table of all.")
    parser.add_argument("paths", nargs="*", metavar="RULE", help="id of a rule, as a finding names it")
    parser.add_argument("--rulebook", choices=RULEBOOKS, help="level and clauses of this rulebook only")
    asked = _parsed(parser, argv)
    if len(asked.paths) > 1:
        raise Usage("explain takes one rule at a time")
    rules = _rules()
    known = {page.id: page for page in _pages(rules, asked.rulebook)}

    from onebond.reporting import pages

    width = _terminal()[1]
    if not asked.paths:
        return _print(pages.table(list(known.values()), width=width), CLEAN)
    name = asked.paths[0]
    if name not in known:
        raise Usage(f"no rule {name!r}{_did_you_mean(name, list(known))}")
    page = next((_with_example(known[name], rule) for rule in rules if rule.id == name), known[name])
    return _print(pages.page(page, width=min(width, 100) or 80), CLEAN)


def _selftest(argv: list[str]) -> int:
    parser = _parser("selftest", "Inspect the examples of all rules, good and bad, and record what came of it.")
    parser.add_argument("paths", nargs="*", metavar="RULE", help="only this rule; may be several (all of them)")
    parser.add_argument("--report", choices=("text", "json"), default="text", help="form of the record (text)")
    parser.add_argument("--out", metavar="FILE", help="write the record to FILE, whole or not at all")
    asked = _parsed(parser, argv)
    target = _target(asked.out, ()) if asked.out is not None else None

    from onebond import selftest

    rules = _rules()
    known = {rule.id for rule in rules}
    for name in asked.paths:
        if name not in known:
            raise Usage(f"no rule {name!r}{_did_you_mean(name, sorted(known))}")
    try:
        record = selftest.run([rule for rule in rules if not asked.paths or rule.id in asked.paths])
    except RuntimeError as error:
        _say(f"no self-test: {error}")
        return INTERNAL
    code = CLEAN if selftest.build(record)["verdict"] == "passed" else INTERNAL
    text = selftest.render_json(record) if asked.report == "json" else selftest.render(record)
    if target is None:
        return _print(text, code)
    _write(target, text)
    return _remark([f"the record is in {_shown(asked.out)}"], code)


def _with_example(page: RulePage, rule: Rule) -> RulePage:
    """The page with the first example of its rule that finds something: the base, and the edit as lines out and in."""
    example = next((example for example in rule.examples if example.finds), None)
    if example is None:
        return page
    from onebond.engine import beside
    from onebond.testing import base

    change = [
        f"{mark} {line}"
        for edit in example.replace
        for mark, text in zip("-+", edit, strict=True)
        for line in text.splitlines()
    ]
    said = f"with {'these readings beside it' if example.readings else 'this change'}, at {', '.join(example.finds)}:"
    return page._replace(passing=base(rule.package, example.base), failing="\n".join([said, *change, *beside(example)]))


def _rules() -> tuple[Rule, ...]:
    from onebond.loading import load_rules

    return load_rules()


def _pages(rules: tuple[Rule, ...], rulebook: str | None, words: str | None = None) -> tuple[RulePage, ...]:
    from onebond import engine

    return engine.pages(rules, rulebook, words=words)


# -- arguments ---------------------------------------------------------------------------------------------------------


def _parser(command: str, text: str) -> ArgumentParser:
    from argparse import ArgumentParser, HelpFormatter

    def formatter(prog: str) -> HelpFormatter:
        return HelpFormatter(prog, width=100)  # without a width it loads shutil, on every run

    return ArgumentParser(prog=f"onebond {command}", description=text, allow_abbrev=False, formatter_class=formatter)


def _parsed(parser: ArgumentParser, argv: list[str]) -> Namespace:
    """The arguments, in any order; whatever follows ``--`` is a path, whatever it looks like."""
    cut = argv.index("--") if "--" in argv else len(argv)
    asked = parser.parse_intermixed_args(argv[:cut])
    asked.paths += argv[cut + 1 :]
    if "" in asked.paths:
        raise Usage("an empty argument names nothing")
    return asked


def _description(asked: Namespace, question: str) -> str:
    """The one description that a command is about."""
    if len(asked.paths) != 1:
        raise Usage(f"{question}? name one description")
    path: str = asked.paths[0]
    if not os.path.lexists(path):
        raise Usage(f"there is no file {_shown(path)}")
    if os.path.isdir(path):
        return path
    from onebond import survey
    from onebond.document import quick_format, quick_part
    from onebond.survey.find import find

    files, orphans = survey.with_owners(find([path], quick_format, quick_part), [path])
    if len(files) > 1:
        raise Usage(f"{_shown(path)} is a part of several sites: name one of {', '.join(map(_shown, files))}")
    if orphans:
        raise Usage(f"{_shown(path)}: {orphans[0].problems[0].message}")
    return files[0]


def _day(text: str | None) -> str:
    if text is None:
        import time

        return time.strftime("%Y-%m-%d", time.gmtime())  # UTC, so that a run does not depend on where it runs
    from datetime import date

    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Usage(f"--today: {text!r} is no day; write it like 2027-03-31") from None
    return day.isoformat()


def _did_you_mean(word: str, known: list[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(word, known, n=1)
    return f", did you mean {near[0]!r}?" if near else ""


# -- output ------------------------------------------------------------------------------------------------------------


def _terminal() -> tuple[bool, int]:
    """Whether to colour, and how wide standard output is (0: nobody's terminal, do not wrap)."""
    if sys.stdout is None or not sys.stdout.isatty():
        return False, 0
    try:
        width = os.get_terminal_size(sys.stdout.fileno()).columns
    except (OSError, ValueError):
        width = 0
    return not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb", width


def _print(text: str, code: int) -> int:
    """Write to standard output; a reader that went away has seen what it wanted, so the status stands."""
    try:
        print(text, end="", flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the interpreter complains while it ends
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise Unwritten(f"the report could not be written: {error.strerror}") from error
    return code


def _say(text: str, name: str = "onebond: ") -> None:
    if sys.stderr is not None:
        try:
            print("\n".join(f"{name}{line}" for line in text.splitlines()), file=sys.stderr, flush=True)
        except OSError:  # nobody listens; the exit status still tells
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())


def _remark(remarks: list[str], code: int) -> int:
    for remark in remarks:
        _say(remark)
    return code


def _shown(path: str) -> str:
    from onebond.reporting.neutralise import for_terminal

    return for_terminal(path)


def _unexpected(error: Exception) -> str:
    from onebond.loading import NoRules

    return str(error) if isinstance(error, NoRules) else type(error).__name__


def _target(out: str, inspected: tuple[str, ...]) -> str:
    """The file behind ``--out``; refuses what would destroy a description or something that is no file."""
    import stat

    target = os.path.realpath(out)
    folder = os.path.dirname(target)
    if not os.path.isdir(folder):
        raise Usage(f"--out: there is no folder {_shown(folder)}")
    if any(os.path.realpath(path) == target for path in inspected):
        raise Usage(f"--out: {_shown(out)} is a description that is inspected; name another file")
    if os.path.lexists(target) and not stat.S_ISREG(os.lstat(target).st_mode):
        raise Usage(f"--out: {_shown(out)} is not a regular file; without --out the report goes to standard output")
    return target


def _write(target: str, text: str | bytes) -> None:
    """Replace the file by one with this content: at every moment the old or the new one is there, whole."""
    part = f"{target}.{os.getpid()}.part"
    try:
        mode = os.stat(target).st_mode & 0o777 if os.path.exists(target) else 0o666
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        try:
            with open(descriptor, "wb") as file:
                file.write(text if isinstance(text, bytes) else text.encode("utf-8", "backslashreplace"))
                file.flush()
                os.fsync(file.fileno())
            os.replace(part, target)
        except BaseException:
            os.unlink(part)
            raise
    except OSError as error:
        raise Unwritten(f"the report could not be written to {_shown(target)}: {error.strerror}") from error
