"""A site in several files: reads the parts that its file lists and makes one document of all of them.

A part is a file with a marker of its own and the sections of a description, and nothing that concerns the site as a
whole.  What a path may be is decided before anything is opened: it leads below the folder of the site's file and through
no link, so that a description never makes this program read elsewhere.  The spans of a part name its file.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

from onebond import document as text
from onebond import schema
from onebond.document import Document, Node, Parsed, entries
from onebond.result import Problem
from onebond.span import Span, where

MARKER = "onebond-part"
"""The key that marks a file as a part; its value is the version of the format."""

MAX_TOTAL = text.MAX_BYTES
"""Bytes of the file of a site and all its parts together: as many as one file may have alone."""

_OWN = {
    "site": ("`site` stands in the file of the site only", "take it out here"),
    "parts": ("a part lists no parts", "list all parts in the file of the site"),
}
_WITHOUT_FOLDER = (
    "the parts of this site cannot be read: the text does not come from a file, so nothing says where they are",
    "inspect the file itself, or write the site in one text",
)


def gathered(parsed: Parsed, folder: str | None, sections: Mapping[str, str]) -> Parsed:
    """The document with the contents of its parts, and the problems of all files.

    ``folder`` is that of the site's file, None where the text comes from no file; ``sections`` are the sections whose keys
    are ids, with what one entry is called (``a board``).  Where a part cannot be read the document is ``incomplete``.
    """
    assert parsed.document is not None
    work = _Work(parsed, sections)
    root = parsed.document.root
    listed = root.value["parts"] if isinstance(root.value, dict) else root
    faults = schema.check_entry(parsed.document, "parts")
    work.problems += faults
    work.incomplete = bool(faults)
    if folder is None:
        work.refuse(root.keys["parts"], *_WITHOUT_FOLDER)
    elif not any(problem.route == ("parts",) for problem in faults) and isinstance(listed.value, tuple):
        wrong = {problem.route for problem in faults}
        for at, item in enumerate(listed.value):
            if ("parts", at) not in wrong and isinstance(item.value, str):
                work.part(folder, item.value, item.span)
    whole = parsed.document._replace(root=work.root(), parts=tuple(work.parts), incomplete=work.incomplete)
    return Parsed(whole, work.problems, parsed.lines, work.left_out)


class _Work:
    def __init__(self, parsed: Parsed, sections: Mapping[str, str]) -> None:
        assert parsed.document is not None
        self.document = parsed.document
        self.sections = sections
        self.problems = list(parsed.problems)
        self.left_out = parsed.left_out
        self.parts: list[Document] = []
        self.incomplete = False
        self.size = len(parsed.document.data)
        self.values: dict[str, Node] = {}
        self.keys: dict[str, Span] = {}
        self.nodes = 0
        own, self.nodes = named(parsed.document.root, "")
        self.merge({key: node for key, node in entries(own).items() if key != "parts"}, own.keys)

    def root(self) -> Node:
        return self.document.root._replace(value=self.values, keys=self.keys)

    def refuse(self, span: Span, message: str, hint: str = "") -> None:
        self.problems.append(Problem(span, message, hint, ("parts",)))
        self.incomplete = True

    # ---------------------------------------------------------------- one part

    def part(self, folder: str, name: str, listed: Span) -> None:
        if name == os.path.basename(self.document.path):
            self.refuse(listed, f"`{name}` is the file of the site itself", "take it out of `parts`")
            return
        if self.nodes > text.MAX_NODES:
            self.refuse(
                listed, f"the parts before this one hold more than {text.MAX_NODES:,} keys and values, the most"
            )
            return
        data, problems = text.load_below(folder, name)
        if data is None:
            told = problems[0]
            self.refuse(listed, f"the part `{name}` cannot be read: {told.message}", told.hint)
            return
        self.size += len(data)
        if self.size > MAX_TOTAL:
            limit = f"the site and its parts are larger than {MAX_TOTAL:,} bytes together, the most that is read"
            self.refuse(
                listed, f"`{name}` is not read: {limit}", "describe what has no connection as a site of its own"
            )
            return
        path = os.path.join(folder, name)
        parsed = text.parse(data, path, f"a part begins with `{MARKER}: 1`")
        self.problems += [problem._replace(span=problem.span._replace(file=path)) for problem in parsed.problems]
        self.left_out += parsed.left_out
        if parsed.document is None:
            nothing = Node("map", {}, text.TOP, {})
            self.parts.append(Document(path, "", parsed.lines, nothing, data))
            self.incomplete = True
            return
        self.parts.append(parsed.document)
        root, number = named(parsed.document.root, path)
        self.nodes += number
        if self.is_part(root, path, listed):
            of_the_site = {*_OWN, MARKER}
            self.merge({key: node for key, node in entries(root).items() if key not in of_the_site}, root.keys)
        else:
            self.incomplete = True

    def is_part(self, root: Node, path: str, listed: Span) -> bool:
        """Whether a file is a part; where it is one, what does not belong in it is told as well."""
        own = entries(root)
        if "onebond" in own:
            self.refuse(
                root.keys["onebond"],
                f"this is the file of a site, and listed as a part of another one ({where(listed, root.span)})",
                f"a part begins with `{MARKER}: 1` instead, and has neither `site` nor `parts`",
            )
            return False
        marker = own.get(MARKER)
        if marker is None:
            top = text.TOP._replace(file=path)
            self.refuse(top, f"`{MARKER}` is missing in this part", f"write `{MARKER}: 1` in its first line")
            return False
        if type(marker.value) is not int or marker.value != 1:
            hint = f"this program reads version 1: write `{MARKER}: 1`"
            self.refuse(marker.span, f"format version {marker.raw[:60] or 'nothing'} of a part is not known", hint)
            return False
        for key, (message, hint) in _OWN.items():
            if key in own:
                self.refuse(root.keys[key], message, hint)
        return True

    # ---------------------------------------------------------------- putting together

    def merge(self, sections: Mapping[str, Node], keys: Mapping[str, Span]) -> None:
        for key, node in sections.items():
            known = self.values.get(key)
            self.keys.setdefault(key, keys[key])
            if known is None or known.value is None:
                self.values[key], self.keys[key] = node, keys[key]
            elif key == "types":
                self.put(key, self.merged_types(known, node), node, keys[key])
            elif node.value is not None:
                self.put(key, self.merged(key, known, node, keys[key]), node, keys[key])

    def put(self, key: str, value: Node, new: Node, at: Span) -> None:
        """Take the value of a section; one that stays alone is known by its own key."""
        self.values[key] = value
        if value is new:
            self.keys[key] = at

    def merged(self, key: str, known: Node, node: Node, at: Span) -> Node:
        """Two texts of one section as one; where one of them is no such section it stays alone, for the schema to refuse."""
        if isinstance(known.value, tuple) and isinstance(node.value, tuple):
            return known._replace(value=known.value + node.value)
        if isinstance(known.value, dict) and isinstance(node.value, dict):
            return self.merged_map(known, node, f"the id of {self.sections.get(key, 'something')}", (key,))
        if "none" in (known.value, node.value) and known.value != node.value:
            word, hint = f"`{key}` is written as a map in one file and as `none` in another", "one of them is wrong"
            self.problems.append(Problem(at, f"{word} ({where(known.span, at)})", hint, (key,)))
            return known
        return node if isinstance(known.value, (dict, tuple)) else known

    def merged_types(self, known: Node, node: Node) -> Node:
        if not isinstance(known.value, dict) or not isinstance(node.value, dict):
            return node if isinstance(known.value, dict) and node.value is not None else known
        groups, keys = dict(known.value), {**node.keys, **known.keys}
        for group, written in node.value.items():
            other = groups.get(group)
            if other is not None and isinstance(other.value, dict) and isinstance(written.value, dict):
                groups[group] = self.merged_map(other, written, f"a type of {group}", ("types", group))
            elif other is None or other.value is None or (written.value is not None and isinstance(other.value, dict)):
                groups[group], keys[group] = written, node.keys[group]
        return known._replace(value=groups, keys=keys)

    def merged_map(self, known: Node, node: Node, what: str, route: tuple[str, ...]) -> Node:
        value, keys = dict(entries(known)), dict(known.keys)
        for name, entry in entries(node).items():
            if name in value:
                told = f"`{name}` is already {what} ({where(keys[name], node.keys[name])})"
                hint = "names are unique over all files of a site: give one of the two another name"
                self.problems.append(Problem(node.keys[name], told, hint, (*route, name)))
            else:
                value[name], keys[name] = entry, node.keys[name]
        return known._replace(value=value, keys=keys)


def named(node: Node, file: str) -> tuple[Node, int]:
    """A node whose spans name their file, and how many nodes it has; as deep as the reader lets it be."""
    number = 1
    value = node.value
    if isinstance(value, dict):
        below = {key: named(child, file) for key, child in value.items()}
        number += sum(count for _, count in below.values())
        value = {key: child for key, (child, _) in below.items()}
    elif isinstance(value, tuple):
        items = [named(child, file) for child in value]
        number += sum(count for _, count in items)
        value = tuple(child for child, _ in items)
    keys = {key: span._replace(file=file) for key, span in node.keys.items()}
    return node._replace(value=value, span=node.span._replace(file=file), keys=keys), number
