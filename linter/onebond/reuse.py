"""Types: cables and devices that are written once, put in wherever ``like`` names them.

What comes out is a document like any other: every value that a place takes from a type stands in the entry of the place,
with the span that it has in the type, and ``Document.inherited`` says which values those are.  What the place writes
itself wins.  So the schema and the reader judge the whole device, and whoever asks where a value is written is led to
the type.  A type that breaks the schema is put in nowhere: it is told once, at the type.
"""

from __future__ import annotations

from onebond import quantity, schema
from onebond.document import Document, Inherited, Node, entries
from onebond.result import Problem
from onebond.span import Route, where

GROUPS = {"cables": ("cable", "cable-type"), "devices": ("device", "device-type")}
"""The groups of types: what one of them is a type of, and its schema."""

_OF_THE_TYPE = ("note",)  # about the type itself
_LISTED = 8


def with_types(document: Document) -> tuple[Document, list[Problem]]:
    """The document with the types put in, and a problem for each ``like`` that names no type."""
    work = _Work(document)
    root = document.root
    value = dict(root.value) if isinstance(root.value, dict) else {}
    for section in ("connections", "circuits"):
        holder = value.get(section)
        if holder is not None and isinstance(holder.value, dict):
            made = {name: work.link(node, (section, name)) for name, node in holder.value.items()}
            value[section] = holder._replace(value=made)
    if not work.inherited:
        return document, work.problems
    return document._replace(root=root._replace(value=value), inherited=work.inherited), work.problems


def placed(problem: Problem, document: Document) -> Problem:
    """A problem of a value that comes from a type, at the place that uses it: elsewhere the type may be right."""
    for length in range(1, len(problem.route) + 1):
        taken = document.inherited.get(problem.route[:length])
        if taken is not None:
            origin = f"the type `{taken.origin[2]}`, {where(problem.span, taken.like)}"
            return problem._replace(span=taken.like, message=f"{problem.message} (from {origin})")
    return problem


class _Work:
    def __init__(self, document: Document) -> None:
        self.problems: list[Problem] = []
        self.inherited: dict[Route, Inherited] = {}
        self.types: dict[str, dict[str, Node]] = {}
        self.incomplete = document.incomplete
        broken = {problem.route[1:3] for problem in schema.check_entry(document, "types")}
        holder = entries(document.root).get("types")
        # Where a group is not understood, a type that is not there may well be written in it.
        self.blind = {group for group in GROUPS if () in broken or (group,) in broken}
        for group in GROUPS:
            written = entries(entries(holder).get(group))
            self.types[group] = written
            self.blind |= {f"{group}/{name}" for name in written if (group, name) in broken}

    def link(self, node: Node, route: Route) -> Node:
        """A connection or circuit with its type, and with those of its devices."""
        node = self.entry(node, route, "cables")
        through = entries(node).get("through")
        if through is None or not isinstance(through.value, tuple):
            return node
        devices = tuple(self.entry(device, (*route, "through", i), "devices") for i, device in enumerate(through.value))
        return node._replace(value={**entries(node), "through": through._replace(value=devices)})

    def entry(self, node: Node, route: Route, group: str) -> Node:
        own = entries(node)
        like = own.get("like")
        if like is None or not isinstance(like.value, str):
            return node
        name = like.value
        known = self.types[group].get(name)
        if group in self.blind or f"{group}/{name}" in self.blind:
            return node
        if known is None and self.incomplete:
            return node  # it may stand in a part that could not be read
        if known is None:
            self.problems.append(Problem(like.span, *self.unknown(name, group), (*route, "like")))
            return node
        allowed = schema.names(GROUPS[group][1])
        taken = {
            key: child
            for key, child in entries(known).items()
            if key in allowed and key not in own and key not in _OF_THE_TYPE
        }
        for key in taken:
            self.inherited[*route, key] = Inherited(like.span, ("types", group, name, key))
        # `like` goes: from here on it is an entry of its own, of which nothing may be missing.
        whole = {**{key: child for key, child in own.items() if key != "like"}, **taken}
        return node._replace(value=whole, keys={**node.keys, **{key: known.keys[key] for key in taken}})

    def unknown(self, name: str, group: str) -> tuple[str, str]:
        """Message and hint for a type that is not there."""
        what = GROUPS[group][0]
        for other, (kind, _) in GROUPS.items():
            if other != group and name in self.types[other]:
                return f"`{name}` is a type of {kind}, not of {what}", self.choice("", group)
        return f"there is no type of {what} called `{name}`", self.choice(name, group)

    def choice(self, meant: str, group: str) -> str:
        names = list(self.types[group])
        if not names:
            return f"types of {group} are written in `types`, under `{group}`"
        near = quantity.nearest(meant, names) if meant else None
        more = f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
        return f"did you mean `{near}`?" if near else f"possible here: {', '.join(names[:_LISTED])}{more}"
