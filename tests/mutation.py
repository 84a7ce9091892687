"""Small changes that a test has to notice: where a module can be changed, and how.

A change is made in the tree of the module and taken back after it was compiled, so that thousands of them cost little.  Its key holds the
place by name and the text of the expression, never a line: it stays the same while the module grows around it.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

TURNED: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
}

KINDS = ("comparison", "boolean", "condition", "arithmetic")


class Mutant(NamedTuple):
    """One change of a module."""

    key: str  # module: function: change: expression, and its number where the same stands there again
    module: str
    function: str  # the outermost function or method that holds it
    kind: str  # one of KINDS
    line: int
    statement: int  # lines from the beginning of the function to the innermost statement that holds it
    node: ast.AST  # its field is changed ...
    field: str
    at: int | None  # ... or one element of the list there
    value: Any

    @contextmanager
    def made(self) -> Iterator[None]:
        """The tree with this change in it."""
        if self.at is None:
            before = getattr(self.node, self.field)
            setattr(self.node, self.field, self.value)
            yield
            setattr(self.node, self.field, before)
        else:
            elements = getattr(self.node, self.field)
            before = elements[self.at]
            elements[self.at] = self.value
            yield
            elements[self.at] = before


def _functions(node: ast.AST, prefix: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    """The outermost functions and methods of a module, by qualified name."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef):
            yield prefix + child.name, child
        elif isinstance(child, ast.ClassDef):
            yield from _functions(child, f"{prefix}{child.name}.")
        elif isinstance(child, ast.If):
            yield from _functions(child, prefix)


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, (ast.JoinedStr, ast.Tuple, ast.List)) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _walk(node: ast.AST, statement: int = 0) -> Iterator[tuple[ast.AST, int]]:
    """What runs in a function, with the line of its statement: no annotations, no assertions, and no text of messages."""
    if isinstance(node, ast.stmt):
        statement = node.lineno
    yield node, statement
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not isinstance(child, (ast.Assert, ast.JoinedStr)):
                yield from _walk(child, statement)


def _changes(node: ast.AST) -> Iterator[tuple[str, str, str, int | None, Any]]:
    """Kind, words, field, position and new value of each change of a node."""
    if isinstance(node, ast.Compare):
        for at, op in enumerate(node.ops):
            for other in TURNED.get(type(op), ()):
                yield "comparison", f"{type(op).__name__} -> {other.__name__}", "ops", at, other()
    elif isinstance(node, ast.BoolOp):
        for other in TURNED[type(node.op)]:
            yield "boolean", f"{type(node.op).__name__} -> {other.__name__}", "op", None, other()
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "boolean", "not left out", "operand", None, ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, (ast.If, ast.IfExp)):
        for value in (True, False):
            yield "condition", f"if -> {value}", "test", None, _always(value, node.test)
    elif isinstance(node, ast.comprehension):
        for at, test in enumerate(node.ifs):
            for value in (True, False):
                yield "condition", f"if {at + 1} -> {value}", "ifs", at, _always(value, test)
    elif isinstance(node, (ast.BinOp, ast.AugAssign)):
        sides = (node.left, node.right) if isinstance(node, ast.BinOp) else (node.value,)
        if type(node.op) in TURNED and not any(_is_text(side) for side in sides):
            for other in TURNED[type(node.op)]:
                yield "arithmetic", f"{type(node.op).__name__} -> {other.__name__}", "op", None, other()


def _always(value: bool, test: ast.expr) -> ast.expr:
    """A condition that is always so, and still holds the names of the old one: the cells of a closure stay."""
    return ast.BoolOp(ast.Or() if value else ast.And(), [ast.Constant(value), test])


def _said(node: ast.AST, source: str) -> str:
    shown = node.test if isinstance(node, (ast.If, ast.IfExp)) else node
    text = ast.unparse(node) if isinstance(node, ast.comprehension) else ast.get_source_segment(source, shown) or ""
    return " ".join(text.split())


def mutants(tree: ast.Module, source: str, module: str) -> Iterator[Mutant]:
    """Every change of a module, in the order in which it is written."""
    seen: Counter[str] = Counter()
    for function, body in _functions(tree):
        for node, statement in _walk(body):
            for kind, words, field, at, value in _changes(node):
                key = f"{module}: {function}: {words}: {_said(node, source)}"
                seen[key] += 1
                if seen[key] > 1:
                    key += f" #{seen[key]}"
                shown = node.test if isinstance(node, (ast.If, ast.IfExp)) else node
                if isinstance(node, ast.comprehension):
                    shown = node.ifs[at or 0]
                if isinstance(value, ast.expr):
                    ast.fix_missing_locations(ast.copy_location(value, shown))
                yield Mutant(key, module, function, kind, shown.lineno, statement - body.lineno, node, field, at, value)


class _Noted(ast.NodeTransformer):
    """Calls ``__note__`` with a place before every statement of every function."""

    def __init__(self, name: str, first: int) -> None:
        self.name = name
        self.first = first

    def visit_body(self, body: list[ast.stmt]) -> list[ast.stmt]:
        found: list[ast.stmt] = []
        for statement in body:
            call = ast.Call(
                ast.Name("__note__", ast.Load()), [ast.Constant((self.name, statement.lineno - self.first))], []
            )
            found += [ast.copy_location(ast.Expr(call), statement), self.generic_visit(statement)]  # type: ignore[list-item]
        return found

    def generic_visit(self, node: ast.AST) -> ast.AST:
        for name, value in ast.iter_fields(node):
            if isinstance(value, list) and value and isinstance(value[0], ast.stmt):
                setattr(node, name, self.visit_body(value))
            elif isinstance(node, (ast.Try, ast.Match)) and name in ("handlers", "cases"):
                for one in value:
                    self.generic_visit(one)
        return node


def noted(source: str, module: str) -> ast.Module:
    """The tree of a module that says which statements of its functions run."""
    tree = ast.parse(source)
    for name, function in _functions(tree):
        _Noted(f"{module}: {name}", function.lineno).generic_visit(function)
    return ast.fix_missing_locations(tree)
