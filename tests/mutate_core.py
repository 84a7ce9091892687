"""What the tests pin down of the network, the states, the conditions, the circuit and the facts: small changes, and somebody has to notice.

    python tests/mutate_core.py                                   all modules, every change (hours)
    python tests/mutate_core.py circuit.devices states            some modules
    python tests/mutate_core.py --kinds comparison --every 7      every seventh comparison

A comparison gets either neighbour, ``and`` and ``or`` change places, a condition is always so or never, ``+`` and ``-``, ``*`` and ``/``
change places.  One process imports everything and learns which lines each test runs.  Each change is made in a fork of it, in the
function that is loaded already, and the tests that run the changed line follow one another until one fails.  A test that no longer
ends counts as one that fails.  Past ``--seconds`` of tests without a failure the change counts as unnoticed: the whole suite may still
notice it.

The tests are those of ``TESTS`` in this process, each site of the fixtures and each rule's examples by itself, and the two second opinions
on some seeds.  What starts another process does not see the change, and is left out.
"""

from __future__ import annotations
import __future__

import argparse
import ast
import contextlib
import functools
import gc
import hashlib
import importlib
import os
import pickle
import random
import resource
import signal
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any, NamedTuple

import pytest

import mutation
from mutation import Mutant

ROOT = Path(__file__).resolve().parent.parent
CORE = ROOT / "linter" / "onebond"
EQUIVALENT = Path(__file__).with_name("mutants_equivalent.txt")

TESTS = (
    "worked",
    "test_cases.py",
    "test_cases_of_currents.py",
    "test_chain.py",
    "test_circuit_build.py",
    "test_components.py",
    "test_conditions.py",
    *sorted(path.name for path in Path(__file__).parent.glob("test_core_*.py")),
    "test_diagnosis.py",
    "test_diagram.py",
    "test_direct.py",
    "test_exact_limits.py",
    "test_faults.py",
    "test_faults_in_rules.py",
    "test_feeder.py",
    "test_figures.py",
    "test_figures_of_findings.py",
    "test_fixtures.py",
    "test_impedances.py",
    "test_limits_of_readings.py",
    "test_limits_of_rules.py",
    "test_meter.py",
    "test_network.py",
    "test_open_verdicts.py",
    "test_peaks.py",
    "test_questions.py",
    "test_readings.py",
    "test_repairs.py",
    "test_rules.py",
    "test_schedule.py",
    "test_sizes.py",
    "test_sizes_in_rules.py",
    "test_soil.py",
    "test_solve.py",
    "test_special_places.py",
    "test_systems.py",
    "test_types.py",
    "test_verdicts_that_were_wrong.py",
)
ELSEWHERE = ("hash_seed", "importing_is_cheap", "workers", "another_process", "engines")
"""Names of tests that look at another process."""

LEFT_OUT = ("three-changeovers--", "good_site_is_quiet", "is_no_book")
"""Names of tests that take seconds, or that ask once more what another one has asked."""

SEEDS = 6
"""Descriptions on which each of the two second opinions is asked."""

LONGEST_S = 8.0
"""A test that takes longer than this is left out."""

STATES = 60
"""Combinations of states of such a description, at most."""

Place = tuple[str, int]  # module with function, and lines from its beginning


class Test(NamedTuple):
    """One test: it says whether it passes."""

    name: str
    passes: Callable[[], bool]


class Known(NamedTuple):
    """What was learnt of a test: how long it takes, and the lines that it runs."""

    seconds: float
    places: frozenset[Place]


# -- modules and changes ---------------------------------------------------------------------------------------------


def modules() -> dict[str, Path]:
    """The modules that are changed here, by name within ``onebond``."""
    files = [CORE / f"{name}.py" for name in ("network", "states", "conditions")]
    files += sorted((CORE / "circuit").rglob("*.py")) + sorted((CORE / "facts").rglob("*.py"))
    found = {}
    for file in files:
        parts = file.relative_to(CORE).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return found


@functools.cache
def tree_of(module: str) -> tuple[ast.Module, str]:
    """The tree of a module, and its text."""
    source = modules()[module].read_text(encoding="utf-8")
    return ast.parse(source), source


def changes(wanted: Iterable[str]) -> Iterator[Mutant]:
    """Every change of some modules."""
    for module in wanted:
        yield from mutation.mutants(*tree_of(module), module)


def _codes(code: CodeType) -> Iterator[CodeType]:
    yield code
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _codes(inner)


@functools.cache
def functions_of(module: str) -> dict[str, list[FunctionType]]:
    """The functions of a module that are loaded, by qualified name."""
    space = importlib.import_module(f"onebond.{module}").__dict__
    found: dict[str, list[FunctionType]] = defaultdict(list)
    for one in gc.get_objects():
        if isinstance(one, FunctionType) and one.__globals__ is space:
            found[one.__code__.co_qualname].append(one)
    return found


def put(module: str, tree: ast.Module, only: str = "") -> list[tuple[FunctionType, CodeType]]:
    """Put the code of a changed tree into the functions that are loaded, so that everybody who has them gets it; what they had."""
    flags = __future__.annotations.compiler_flag
    code = compile(tree, str(modules()[module]), "exec", flags=flags, dont_inherit=True)
    before = []
    for new in _codes(code):
        if only and new.co_qualname != only:
            continue
        for one in functions_of(module).get(new.co_qualname, ()):
            # an overloaded name stands several times; what a class makes by itself is no code of ours
            if one.__code__.co_firstlineno == new.co_firstlineno:
                before.append((one, one.__code__))
                one.__code__ = new
    assert before or not only, f"{only} of {module} is not loaded"
    return before


def alone(tree: ast.AST, name: str) -> ast.Module:
    """A module with one function or method in it; under an overloaded name several stand, and the last one works."""
    first, _, rest = name.partition(".")
    named = [one for one in ast.iter_child_nodes(tree) if isinstance(one, ast.FunctionDef) and one.name == first]
    if named and not rest:
        return ast.Module(named, [])
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef) and node.name == first:
            inner = alone(node, rest).body
            if inner:
                shell = ast.ClassDef(node.name, [], [], inner, [])
                return ast.Module([ast.copy_location(shell, node)], [])
    return ast.Module([], [])


# -- tests -----------------------------------------------------------------------------------------------------------


def _item(session: pytest.Session, item: pytest.Item) -> Callable[[], bool]:
    from _pytest.runner import runtestprotocol

    def passes() -> bool:
        return not any(report.failed for report in runtestprotocol(item, log=False, nextitem=None))

    return passes


def _seed(module: Any, seed: int, opinion: str) -> Callable[[], bool]:
    def passes() -> bool:
        if opinion == "states":
            import generate

            return not module.disagreements(generate.build(random.Random(seed), STATES))
        return not module.compare(seed)[1].said

    return passes


def tests(session: pytest.Session, seeds: int) -> list[Test]:
    """All tests, each to be run by itself."""
    import test_against_naive
    import test_circuit_against_naive

    found = [
        Test(item.nodeid, _item(session, item))
        for item in session.items
        if not any(word in item.nodeid for word in (*ELSEWHERE, *LEFT_OUT))
    ]
    for seed in range(seeds):
        found.append(Test(f"states of seed {seed}", _seed(test_against_naive, seed, "states")))
        found.append(Test(f"currents of seed {seed}", _seed(test_circuit_against_naive, seed, "currents")))
    return found


def ready() -> None:
    """Import what the tests import late, and read each site once: no change of these modules has to do with reading."""
    import numpy  # noqa: F401

    import onebond.reading as reading
    from onebond import testing
    from onebond.document import parse
    from onebond.loading import load_rules

    load_rules()
    for name in modules():
        importlib.import_module(f"onebond.{name}")
    for name in modules():
        functions_of(name)
    original = reading.load

    @functools.cache
    def once(path: str, _: bytes) -> Any:
        return original(path)

    def load(path: str) -> Any:
        return once(path, Path(path).read_bytes())

    for module in list(sys.modules.values()):
        if getattr(module, "load", None) is original:
            module.load = load  # type: ignore[attr-defined]
    testing.parse = functools.cache(parse)
    gc.collect()
    gc.freeze()


# -- in a fork -------------------------------------------------------------------------------------------------------


def served(work: Callable[[int], Any], count: int, seconds: float) -> Iterator[Any]:
    """What some work returns for each number, done in a fork; None where it ends the fork or does not end in time.

    No cache outlives a test in the modules that are changed, so one fork does many pieces of work; a new one goes on after a loss.
    """
    number = 0
    while number < count:
        answers, ends = Pipe(duplex=False)
        sys.stdout.flush()
        child = os.fork()
        if not child:
            _work(work, number, count, ends)
        ends.close()
        while number < count and answers.poll(seconds):
            try:
                answer = answers.recv()
            except EOFError:
                break
            if isinstance(answer, AssertionError):
                raise answer
            yield answer
            number += 1
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if number < count:
            yield None
            number += 1


def _too_long(number: int, frame: FrameType | None) -> None:
    raise TimeoutError("the test does not end")


def _work(work: Callable[[int], Any], first: int, count: int, pipe: Connection) -> None:
    """In the fork: one answer after the other."""
    try:
        os.setpgid(0, 0)
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
        signal.signal(signal.SIGVTALRM, _too_long)
        for number in range(first, count):
            try:
                answer = work(number)
            except AssertionError as error:  # of this file: a test that fails does not get here
                answer = error
            pipe.send(answer)
    finally:
        os._exit(0)


def _noted(test: Test) -> tuple[bool, float, frozenset[Place]]:
    places: set[Place] = set()
    for name in modules():
        importlib.import_module(f"onebond.{name}").__dict__["__note__"] = places.add
    started = time.process_time()
    passed = test.passes()
    return passed, time.process_time() - started, frozenset(places)


def learn(all_tests: list[Test], file: Path) -> dict[str, Known]:
    """How long each test takes and which lines it runs; kept in a file, for the same tests on the same text."""
    known = {name: Known(*one) for name, one in pickle.loads(file.read_bytes()).items()} if file.exists() else {}
    fresh = [test for test in all_tests if test.name not in known]
    before = [
        one
        for name, path in (modules() if fresh else {}).items()  # what notes its lines runs in no other test
        for one in put(name, mutation.noted(path.read_text(encoding="utf-8"), name))
    ]
    found = served(lambda number: _noted(fresh[number]), len(fresh), 10 * LONGEST_S)
    for test, answer in zip(fresh, found, strict=True):
        passed, seconds, places = answer or (False, 0.0, frozenset())
        if not passed:
            sys.stdout.write(f"not counted on, it fails without a change: {test.name}\n")
            places = frozenset()
        known[test.name] = Known(seconds, places)
    for function, code in before:
        function.__code__ = code
    file.write_bytes(pickle.dumps({name: tuple(one) for name, one in known.items()}))
    return known


def state_of_text() -> str:
    """A digest of everything that decides what a test runs."""
    digest = hashlib.sha256()
    for folder in ("linter", "rules", "tests", "fixtures"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in (".py", ".yaml") and path.name not in (Path(__file__).name, "mutation.py"):
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


# -- the survey ------------------------------------------------------------------------------------------------------


class Survey:
    """The changes, one after the other."""

    def __init__(self, all_tests: list[Test], known: dict[str, Known], seconds: float) -> None:
        self.seconds = seconds
        self.known = known
        self.tests = {test.name: test for test in all_tests}
        self.at: dict[Place, list[str]] = defaultdict(list)
        for name in self.tests:
            if known[name].seconds <= LONGEST_S:
                for place in known[name].places:
                    self.at[place].append(name)
        # quick ones first, and such that run little else: what they say hangs on what they run
        self.weight = {name: known[name].seconds * len(known[name].places) ** 2 for name in self.tests}
        self.lately: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)

    def noticed(self, mutants: list[Mutant]) -> Iterator[str]:
        """The test that notices each change, or an empty text."""
        for mutant, found in zip(
            mutants,
            served(lambda number: self._notices(mutants[number]), len(mutants), 6 * self.seconds + 60),
            strict=True,
        ):
            if found:
                self.lately[mutant.module, mutant.function][found] += 1
            yield "it breaks or does not end" if found is None else found

    def _notices(self, mutant: Mutant) -> str:
        names = self.at.get((f"{mutant.module}: {mutant.function}", mutant.statement))
        if not names:
            return ""
        lately = self.lately[mutant.module, mutant.function]
        order = sorted(names, key=lambda name: (-lately[name], self.weight[name], name))
        tree, _ = tree_of(mutant.module)
        with mutant.made():
            before = put(mutant.module, alone(tree, mutant.function), mutant.function)
        end = time.process_time() + self.seconds
        noticed = ""
        for name in order:
            signal.setitimer(signal.ITIMER_VIRTUAL, 4 * self.known[name].seconds + 2)
            if not self.tests[name].passes():
                lately[name] += 1
                noticed = name
                break
            if time.process_time() > end:
                break
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        for function, code in before:
            function.__code__ = code
        return noticed


def reasons() -> dict[str, str]:
    """The changes that change no verdict, and why: a line with the reason, then the keys, each after a dash."""
    found: dict[str, str] = {}
    reason = ""
    if EQUIVALENT.exists():
        for line in EQUIVALENT.read_text(encoding="utf-8").splitlines():
            if line.startswith("- "):
                found[line[2:]] = reason
            elif line and not line.startswith("#"):
                reason = line
    return found


class Driver:
    """Takes the place of the test run, once the tests are collected."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.options = options
        self.survived = 0

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        options = self.options
        all_tests = tests(session, options.seeds)
        ready()
        picked = [
            mutant
            for mutant in changes(options.modules or modules())
            if mutant.kind in (options.kinds or mutation.KINDS)
        ]
        if options.keys:
            keys = set(Path(options.keys).read_text(encoding="utf-8").splitlines())
            picked = [mutant for mutant in picked if mutant.key in keys]
        if options.sample:
            picked = random.Random(options.seed).sample(picked, min(options.sample, len(picked)))
        picked = picked[options.offset :: options.every]
        scope = hashlib.sha256(" ".join([*options.tests, state_of_text()]).encode()).hexdigest()[:16]
        known = learn(all_tests, Path(options.map or Path(tempfile.gettempdir()) / f"onebond-lines-{scope}"))
        survey = Survey(all_tests, known, options.seconds)
        excused = reasons()
        count: Counter[tuple[str, str]] = Counter()
        for mutant, by in zip(picked, survey.noticed(picked), strict=True):
            outcome = "noticed" if by else "excused" if mutant.key in excused else "unnoticed"
            count[mutant.module, outcome] += 1
            count["all", outcome] += 1
            count[f"all, {mutant.kind}", outcome] += 1
            if (not by and outcome == "unnoticed") or options.all:
                sys.stdout.write(f"{outcome}\t{mutant.line}\t{mutant.key}\t{by}\n")
                sys.stdout.flush()
        for name in sorted({name for name, _ in count}, key=lambda name: (name.startswith("all"), name)):
            noticed, left, open_ = (count[name, outcome] for outcome in ("noticed", "excused", "unnoticed"))
            total = noticed + left + open_
            sys.stdout.write(
                f"{name}: {total} changes, {noticed} noticed ({100 * noticed / total:.1f} %),"
                f" {left} that change no verdict, {open_} unnoticed\n"
            )
        self.survived = count["all", "unnoticed"]
        return True


def main(arguments: list[str]) -> int:
    """Print what nobody notices, and the shares; the number of changes that nobody notices."""
    parser = argparse.ArgumentParser(description="what the tests pin down of the core")
    parser.add_argument("modules", nargs="*", help="such as states or circuit.devices; all without it")
    parser.add_argument("--kinds", nargs="+", choices=mutation.KINDS, help="only changes of these kinds")
    parser.add_argument("--every", type=int, default=1, help="every so many changes")
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--sample", type=int, default=0, help="so many changes, drawn at random")
    parser.add_argument("--seed", type=int, default=1, help="of the drawing")
    parser.add_argument("--seconds", type=float, default=10.0, help="of tests for one change")
    parser.add_argument("--keys", help="a file with the keys of the changes to make")
    parser.add_argument("--tests", nargs="*", default=list(TESTS), help="files of tests")
    parser.add_argument("--seeds", type=int, default=SEEDS, help="descriptions for each second opinion")
    parser.add_argument("--map", help="where to keep which lines each test runs")
    parser.add_argument("--all", action="store_true", help="print what was noticed too, and by which test")
    options = parser.parse_args(arguments)
    unknown = set(options.modules) - set(modules())
    if unknown:
        parser.error(f"no such module: {', '.join(sorted(unknown))}")
    driver = Driver(options)
    files = [str(file) for name in options.tests if (file := Path(__file__).parent / name).exists()]
    status = pytest.main(["-q", "-s", "-p", "no:cacheprovider", "--no-header", "--no-summary", *files], [driver])
    return int(status) or min(driver.survived, 1)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    sys.exit(main(sys.argv[1:]))
