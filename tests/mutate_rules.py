"""What the tests pin down of the rules: each is changed in one place, comparisons and conditions above all, and a test has to fail.

    python tests/mutate_rules.py             all rules; prints what no test noticed, what nobody can notice, and the shares
    python tests/mutate_rules.py pe-small    some rules (``shared`` is what several rules share)
    python tests/mutate_rules.py --short     the short form that the tests run: every so many mutants, the tests by hand and the examples

A mutant is one change inside a function of a rule, or of a number among its parameters, put in place in memory; then the tests of
:data:`FILES` that execute the changed line run, as pytest runs them.  So a mutant counts as noticed only if a test of this folder fails.
``mutants_alike.txt`` lists the mutants that no description can tell from the rule, each with the reason: they are counted apart.  Words,
tables by their name and levels are not changed here; ``test_words_of_rules`` and ``test_fixtures`` compare the levels.

What the tests read and derive from a description is kept from one mutant to the next (:class:`Memory`), and tests that start a process
are not asked, as the change is in memory only.  ``test_defects`` comes on top and is not counted here.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib
import inspect
import io
import sys
import types
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import onebond.document
import onebond.engine
import onebond.reading
import onebond.schema
import onebond.testing
import onebond_rules
from mutation import TURNED
from onebond.facts import Facts
from onebond.rule import RULEBOOKS, Params, Rule

ROOT = Path(__file__).resolve().parent.parent
ALIKE = Path(__file__).with_name("mutants_alike.txt")

BY_HAND = ("test_words_of_rules", "test_exact_limits", "test_faults_in_rules", "test_sizes_in_rules")
"""The tests of rules on subjects made by hand: they ask for no description to be read."""

FILES = (
    *BY_HAND,
    "test_rules",
    "test_open_verdicts",
    "test_figures_of_findings",
    "test_limits_of_rules",
    "test_verdicts_that_were_wrong",
    "test_sizes",
    "test_peaks",
    "test_soil",
    "test_questions",
    "test_cases",
    "test_cases_of_currents",
    "test_repairs",
    "test_fixtures",
)
"""The tests that are asked, in this order."""

SHORT = 7
"""The short form asks about every so many mutants."""


class Mutant(NamedTuple):
    """One change of one module: where, what, and the code after it."""

    module: str
    function: str
    lines: range  # the lines of the expression that is changed
    text: str  # the expression, on one line
    change: str
    code: types.CodeType | None  # of the function after it
    value: tuple[tuple[str, ...], str, object] | None = None  # or rulebooks, a parameter, and its value in them

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What it is called in the list of those alike: nothing of it depends on the number of a line."""
        return self.module, self.function, self.change, self.text

    @property
    def comparison(self) -> bool:
        """Whether it turns a comparison."""
        return self.change.split(" ")[0] in {op.__name__ for op in TURNED if issubclass(op, ast.cmpop)}


# -- the changes ---------------------------------------------------------------------------------------------------------


def modules() -> dict[str, types.ModuleType]:
    """The modules of the rules by the id of the rule, and what they share."""
    names = [*(rule.check.__module__ for rule in onebond_rules.RULES), "onebond_rules.shared"]
    return {name.rpartition(".")[2].replace("_", "-"): importlib.import_module(name) for name in names}


def mutants(module: str, source: str) -> Iterator[Mutant]:
    """Every mutant of a module."""
    tree = ast.parse(source)
    for function in tree.body:
        if not isinstance(function, ast.FunctionDef):
            continue  # what decides, not how it is described
        for node in chain.from_iterable(map(ast.walk, function.body)):
            for seen, change, undo in _changes(node):
                whole = ast.get_source_segment(source, seen) or ""
                if isinstance(seen, ast.Constant):
                    whole = source.splitlines()[seen.lineno - 1]  # a number alone tells nothing
                yield Mutant(
                    module,
                    function.name,
                    range(seen.lineno, (seen.end_lineno or seen.lineno) + 1),
                    " ".join(whole.split()),
                    change,
                    _compiled(function),
                )
                undo()


def _compiled(function: ast.FunctionDef) -> types.CodeType:
    """The code of a function as it stands now."""
    made = compile(
        ast.fix_missing_locations(ast.Module([function], [])), f"<{function.name}>", "exec", dont_inherit=True
    )
    return next(one for one in made.co_consts if isinstance(one, types.CodeType) and one.co_name == function.name)


def parameters(module: str, rule: Rule) -> Iterator[Mutant]:
    """Every limit of a rule a tenth less and a tenth more, in the rulebooks that have it, and every choice the other way."""
    for param in rule.params:
        usual = tuple(book for book in RULEBOOKS if book not in param.by_rulebook)
        for books, value in ((usual, param.value), *(((book,), one) for book, one in param.by_rulebook.items())):
            books = tuple(book for book in books if rule.level_in(book) != "off")
            others: tuple[object, ...] = ()
            if isinstance(value, bool):
                others = (not value,)
            elif isinstance(value, float | int):
                others = (value * 0.9, value * 1.1) if 0 < value < float("inf") else (1.0,)
            for other in others if books else ():
                text = f"{param.name} in {' '.join(books)}"
                yield Mutant(
                    module, "params", range(0), text, f"{value} -> {other:g}", None, (books, param.name, other)
                )


def _changes(node: ast.AST) -> Iterator[tuple[ast.expr, str, Callable[[], None]]]:
    """The changes of one node: the expression that is changed, each change when it is made, and what takes it back."""
    if isinstance(node, ast.Compare):
        for at, op in enumerate(node.ops):
            for other in TURNED.get(type(op), ()):
                node.ops[at] = other()
                which = f" ({at + 1})" if len(node.ops) > 1 else ""
                back = partial(node.ops.__setitem__, at, op)
                yield node, f"{type(op).__name__} -> {other.__name__}{which}", back
    elif isinstance(node, ast.BoolOp):
        op = node.op
        node.op = ast.Or() if isinstance(op, ast.And) else ast.And()
        yield node, f"{type(op).__name__} -> {type(node.op).__name__}", partial(setattr, node, "op", op)
    elif isinstance(node, ast.If | ast.IfExp):
        test = node.test
        for value in (True, False):
            node.test = ast.Constant(value)
            yield test, f"if -> {value}", partial(setattr, node, "test", test)
    elif isinstance(node, ast.comprehension):
        for at, test in enumerate(node.ifs):
            for value in (True, False):
                node.ifs[at] = ast.Constant(value)
                yield test, f"if -> {value} in a row", partial(node.ifs.__setitem__, at, test)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        operand = node.operand
        node.operand = ast.UnaryOp(ast.Not(), operand)
        yield node, "Not -> nothing", partial(setattr, node, "operand", operand)
    elif isinstance(node, ast.BinOp) and type(node.op) in TURNED:
        sort = node.op
        node.op = TURNED[type(sort)][0]()
        yield node, f"{type(sort).__name__} -> {type(node.op).__name__}", partial(setattr, node, "op", sort)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        number = node.value
        node.value = number + 1
        yield node, f"{number} -> {number + 1}", partial(setattr, node, "value", number)


# -- those alike ---------------------------------------------------------------------------------------------------------


def alike() -> dict[tuple[str, ...], str]:
    """The reason of each mutant that no description can tell from the rule.

    A block of the list is two lines or more: ``module | function | change | expression``, several of them where one reason holds
    for all, then the reason after a colon.
    """
    found: dict[tuple[str, ...], str] = {}
    for block in ALIKE.read_text(encoding="utf-8").split("\n\n"):
        lines = [line for line in block.splitlines() if line and not line.startswith("#")]
        reason = " ".join(line[2:].strip() for line in lines if line.startswith(": "))
        for line in lines:
            if not line.startswith(": "):
                key = tuple(part.strip() for part in line.split(" | "))
                assert len(key) == 4 and reason and key not in found, line
                found[key] = reason
    return found


# -- what is kept from one mutant to the next ------------------------------------------------------------------------------


class Memory:
    """What tests derive from a description does not depend on the rules: it is worked out once.

    What an unchanged rule says of one installation is kept as well; only the rules of a changed module are asked anew.
    """

    def __init__(self) -> None:
        self.changed: str | None = None  # the module that is changed now
        self.judging = False  # whether verdicts are taken from memory
        self._kept: dict[Any, Any] = {}
        self._judge = onebond.engine._judge
        onebond.engine._judge = self.judge
        parse = onebond.document.parse
        self._put(parse, lambda data, path: self._once(parse, (data, path), data, path))
        for function in (onebond.schema.check, onebond.reading.read):
            self._put(function, lambda document, function=function: self._once(function, (id(document),), document))
        for module in (onebond.engine, onebond.testing):
            module.Facts = self  # type: ignore[attr-defined, misc]

    def __call__(self, installation: Any, *rest: Any) -> Facts:
        """The facts of an installation, in place of the class itself."""
        made: Facts = self._once(Facts, (id(installation), *rest), installation, *rest)
        return made

    def __getattr__(self, name: str) -> Any:
        """What else is asked of the class of facts."""
        return getattr(Facts, name)

    @staticmethod
    def _put(function: Callable[..., Any], other: Callable[..., Any]) -> None:
        """Put a function in the place of another one wherever that is known by a name."""
        for module in list(sys.modules.values()):
            for name, value in list(getattr(module, "__dict__", {}).items()):
                if value is function:
                    setattr(module, name, other)

    def _once(self, function: Callable[..., Any], key: tuple[Any, ...], *given: Any) -> Any:
        """What a function gives for what it is given, which is kept too so that its id stays its own."""
        if len(given) == 2 and isinstance(given[1], str) and given[1].startswith("/") and str(ROOT) not in given[1]:
            return function(*given)  # the folder of one run of a test
        if (function, key) not in self._kept:
            self._kept[function, key] = (function(*given), given)
        return self._kept[function, key][0]

    def judge(
        self, rule: Any, level: str, facts: Any, document: Any, results: Any, faults: Any, kinds: Any, occurring: Any
    ) -> None:
        """The verdicts of one rule, from memory where nothing of it is changed."""
        key = (rule.check, rule.over, rule.level, level, id(facts), id(document), bool(kinds))
        same = self.judging and self.changed not in (rule.check.__module__, "onebond_rules.shared")
        if not same or key not in self._kept:
            found: tuple[list[Any], list[Any], dict[Any, Any]] = [], [], {}
            self._judge(rule, level, facts, document, found[0], found[1], kinds, found[2])
            if same:
                self._kept[key] = (found, (rule, facts, document))
        else:
            found = self._kept[key][0]
        results.extend(found[0])
        faults.extend(found[1])
        occurring.update(found[2])


# -- running the tests -----------------------------------------------------------------------------------------------------


class Runner:
    """A plugin of pytest: instead of running each test once it runs, for each mutant, those that execute the changed line."""

    def __init__(self, wanted: list[str], every: int, say: Callable[[str], object]) -> None:
        self.wanted = wanted
        self.every = every
        self.say = say
        self.counts: Counter[str] = Counter()
        self.unnoticed: list[Mutant] = []
        self.failed = False
        self.broke = ""
        self.value: tuple[tuple[str, ...], str, object] | None = None
        self.rule = ""

    def pytest_internalerror(self, excrepr: object) -> None:
        """What broke here, not in a test."""
        self.broke = str(excrepr)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        memory = Memory()
        written = Rule.params_in
        Rule.params_in = lambda rule, book: self._params(rule, book, written(rule, book))  # type: ignore[method-assign, assignment]
        lines: dict[tuple[str, int], list[pytest.Item]] = {}
        steady = []
        for item in session.items:
            passed, executed = self._traced(item)
            memory.judging = True
            if passed and self._passes(item) and self._passes(item):
                steady.append(item)
                for place in executed:
                    lines.setdefault(place, []).append(item)
            memory.judging = False
        memory.judging = True
        self.say(f"{len(steady)} tests, {len(session.items) - len(steady)} left out: they do not pass from memory\n")
        rank = {item: number for number, item in enumerate(steady)}
        known = alike()
        number = 0
        for name, module in modules().items():
            if self.wanted and name not in self.wanted:
                continue
            memory.changed = module.__name__
            lately: Counter[pytest.Item] = Counter()
            file = module.__file__ or ""
            own = {item for place, items in lines.items() if place[0] == file for item in items}
            rule = next((one for one in onebond_rules.RULES if one.check.__module__ == module.__name__), None)
            self.rule = rule.id if rule else ""
            for mutant in chain(mutants(name, inspect.getsource(module)), parameters(name, rule) if rule else ()):
                number += 1
                if number % self.every:
                    continue
                asked = {item for line in mutant.lines for item in lines.get((file, line), ())}
                if mutant.value:
                    asked = own
                order = sorted(asked, key=lambda item: (-lately[item], rank[item]))
                with self._in_place(module, mutant):
                    killer = next((item for item in order if not self._passes(item)), None)
                    by = killer.nodeid if killer else self._examples(rule)
                if killer is not None:
                    lately[killer] += 1
                self._count(mutant, by, known.get(mutant.key))
        self._sum()
        return True

    def _examples(self, rule: Rule | None) -> str:
        """In the short form, whether the examples of a rule notice what no test by hand does: ``test_rules`` runs them."""
        if self.every > 1 and rule:
            try:
                onebond.testing.prove(rule)
            except Exception:  # an example that does not hold, or a rule that breaks
                return f"the examples of {rule.id}"
        return ""

    def _count(self, mutant: Mutant, by: str, reason: str | None) -> None:
        outcome = "noticed" if by else "alike" if reason else "unnoticed"
        self.counts[outcome] += 1
        self.counts[outcome, mutant.comparison] += 1  # type: ignore[index]
        if outcome == "unnoticed":
            self.unnoticed.append(mutant)
            where = f":{mutant.lines.start}" if mutant.lines else ""
            self.say(f"{mutant.module}{where}: {' | '.join(mutant.key)}\n")
        elif outcome == "alike":
            self.say(f"alike: {' | '.join(mutant.key)}\n       {reason}\n")
        elif reason:
            self.failed = True
            self.say(f"listed as alike, but noticed by {by}: {' | '.join(mutant.key)}\n")

    def _sum(self) -> None:
        for what, key in (("mutants", None), ("of them comparisons", True)):
            noticed, same, missed = (
                self.counts[one if key is None else (one, key)]  # type: ignore[index]
                for one in ("noticed", "alike", "unnoticed")
            )
            total = noticed + same + missed
            share = 100 * noticed / max(total - same, 1)
            self.say(
                f"{total} {what}: {noticed} noticed, {same} alike for a reason, {missed} unnoticed "
                f"({share:.1f} % of those that differ; {100 * noticed / max(total, 1):.1f} % of all)\n"
            )

    def _params(self, rule: Rule, book: str, written: Params) -> Params:
        """The parameters of a rule, one of them changed where a mutant says so."""
        if self.value is None or rule.id != self.rule or book not in self.value[0]:
            return written
        return {**written, self.value[1]: self.value[2]}

    @contextlib.contextmanager
    def _in_place(self, module: types.ModuleType, mutant: Mutant) -> Iterator[None]:
        """A module with a mutant in place."""
        function = getattr(module, mutant.function, None)
        before = function.__code__ if function else None
        self.value = mutant.value
        try:
            if function and mutant.code:
                function.__code__ = mutant.code
            yield
        finally:
            self.value = None
            if function:
                function.__code__ = before

    @staticmethod
    def _passes(item: pytest.Item) -> bool:
        """Whether a test passes."""
        from _pytest.runner import runtestprotocol

        item._initrequest()  # type: ignore[attr-defined]
        reports = runtestprotocol(item, nextitem=None, log=False)
        return all(report.passed for report in reports)

    def _traced(self, item: pytest.Item) -> tuple[bool, set[tuple[str, int]]]:
        """Whether a test passes, and the lines of the rules that it executes."""
        executed: set[tuple[str, int]] = set()
        folder = str(Path(onebond_rules.__file__).parent)

        def line(frame: types.FrameType, event: str, arg: object) -> Any:
            executed.add((frame.f_code.co_filename, frame.f_lineno))
            return line

        def call(frame: types.FrameType, event: str, arg: object) -> Any:
            return line if frame.f_code.co_filename.startswith(folder) else None

        sys.settrace(call)
        try:
            passed = self._passes(item)
        finally:
            sys.settrace(None)
        return passed, executed


def run(wanted: list[str], files: Iterable[str], every: int, say: Callable[[str], object]) -> Runner:
    """Ask the tests of some files about every so many mutants of some modules, or of all."""
    runner = Runner(wanted, every, say)
    paths = [str(ROOT / "tests" / f"{name}.py") for name in files]
    with contextlib.redirect_stdout(io.StringIO()) as told:
        status = pytest.main(["-q", "-p", "no:cacheprovider", "-p", "no:terminalreporter", *paths], plugins=[runner])
    if status or not runner.counts:
        say(f"pytest ended with {status!r}\n{told.getvalue()}{runner.broke}")
        raise SystemExit(70)
    return runner


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description="Change the rules in one place after the other, and see whether a test fails."
    )
    parser.add_argument("rules", nargs="*", metavar="RULE", help="the rules to change; all where none is named")
    parser.add_argument(
        "--short", action="store_true", help="every so many mutants, the tests by hand and the examples"
    )
    given = parser.parse_args()
    out = sys.stdout
    asked = run(
        given.rules,
        BY_HAND if given.short else FILES,
        SHORT if given.short else 1,
        lambda text: (out.write(text), out.flush()),
    )
    raise SystemExit(bool(asked.failed or asked.unnoticed))
