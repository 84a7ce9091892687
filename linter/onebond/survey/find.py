"""Which files to inspect: what is named, and below a named folder every description.

Links are not followed, and hidden folders are left alone.  What is passed over is counted, because silence must not
look like a verdict.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import NamedTuple

HEAD = 4096
"""Bytes of the beginning of a file in which the format key is looked for first."""

OVERLAP = 64
"""Bytes that two pieces share."""

MOST = 1 << 20
"""Bytes of a file in which the format key is looked for at all: larger files are refused by the reader anyway."""

SUFFIXES = (".yaml", ".yml")

BESIDE = tuple(f".readings{suffix}" for suffix in SUFFIXES)
"""What the name of a file of readings ends in that lies beside its description and begins with the same name."""


def described(path: str) -> str | None:
    """The description that a file of readings lies beside; None where it is no such file, or there is none."""
    for end in BESIDE:
        if path.lower().endswith(end):
            stem = path[: -len(end)]
            return next((name for suffix in SUFFIXES if os.path.lexists(name := stem + suffix)), None)
    return None


def readings_beside(path: str) -> str | None:
    """The readings that lie beside a description."""
    stem, _ = os.path.splitext(path)
    return next((name for end in BESIDE if os.path.lexists(name := stem + end)), None)


class Found(NamedTuple):
    """What there is to inspect, and what was passed over."""

    files: tuple[str, ...] = ()  # in a stable order, each once
    missing: tuple[str, ...] = ()  # named, but not there
    unreadable: tuple[tuple[str, str], ...] = ()  # a folder that cannot be listed, and why
    others: tuple[str, ...] = ()  # YAML files that hold no description
    links: tuple[str, ...] = ()  # links to YAML files below a folder, not followed
    parts: tuple[str, ...] = ()  # parts of sites, which are inspected with the sites that list them


def find(
    paths: list[str],
    is_description: Callable[[bytes], bool],
    is_part: Callable[[bytes], bool] = lambda _: False,
    *,
    skip_others: bool = False,
) -> Found:
    """The descriptions that the paths lead to.

    A file that is named is always inspected, whatever it is called, unless it is a part; with ``skip_others`` only if it is a
    description.  The order does not depend on the order of the arguments.
    """
    walk = _Walk(is_description, is_part)
    missing = []
    for path in paths:
        if os.path.isdir(path) and not os.path.islink(path):  # `link/` is a folder, and its user means it
            walk.folder(path)
        elif not os.path.lexists(path):
            missing.append(path)
        elif skip_others:
            walk.candidate(path)
        else:
            walk.candidate(path, others=walk.files)
    return Found(
        once(walk.files),
        once(missing),
        tuple(sorted(set(walk.unreadable))),
        once(walk.others),
        once(walk.links),
        once(walk.parts),
    )


class _Walk:
    def __init__(self, is_description: Callable[[bytes], bool], is_part: Callable[[bytes], bool]) -> None:
        self.is_description = is_description
        self.is_part = is_part
        self.files: list[str] = []
        self.parts: list[str] = []
        self.others: list[str] = []
        self.links: list[str] = []
        self.unreadable: list[tuple[str, str]] = []

    def folder(self, top: str) -> None:
        waiting = [top]  # an own stack: folders may be nested deeper than the interpreter allows calls to be
        while waiting:
            folder = waiting.pop()
            try:
                with os.scandir(folder) as entries:
                    for entry in entries:
                        self.entry(entry, waiting)
            except OSError as error:
                self.unreadable.append((folder, error.strerror or type(error).__name__))

    def entry(self, entry: os.DirEntry[str], waiting: list[str]) -> None:
        if entry.is_dir(follow_symlinks=False):
            if not entry.name.startswith("."):
                waiting.append(entry.path)
        elif entry.name.lower().endswith(SUFFIXES):
            if entry.is_symlink():
                self.links.append(entry.path)
            elif entry.is_file(follow_symlinks=False):
                self.candidate(entry.path)
            else:
                self.others.append(entry.path)

    def candidate(self, path: str, others: list[str] | None = None) -> None:
        """A file that is inspected if it is a description, or cannot be looked into: then the reader says why.

        What is neither a description nor a part of one goes to ``others``.  Readings are inspected with the description that they
        lie beside.
        """
        site = described(path)
        if site is not None:
            self.files.append(site)
            return
        try:
            kind = self.kind(path)
        except (OSError, ValueError):  # ValueError: no file can have this name
            kind = self.files
        (others if kind is self.others and others is not None else kind).append(path)

    def kind(self, path: str) -> list[str]:
        """The list that a file belongs to."""
        # A pipe would block, and a link may lead anywhere: both are for the reader to refuse.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0))
        with open(descriptor, "rb", buffering=0) as file:
            piece = file.read(HEAD) or b""
            if self.is_part(piece):
                return self.parts
            if self.is_description(piece):
                return self.files
            # Further on, where a long heading stands before the key.  What a piece begins with there is not at the
            # margin, so a comment sign is put before it; it overlaps the piece before it by more than the key is long.
            rest = (piece + (file.read(MOST - HEAD) or b"")) if len(piece) == HEAD else b""
        step = HEAD - OVERLAP
        pieces = (b"#" + rest[start : start + HEAD - 1] for start in range(step, len(rest), step))
        return self.files if any(map(self.is_description, pieces)) else self.others


def once(paths: list[str]) -> tuple[str, ...]:
    """Each file once, in the shortest of the ways in which it was named, sorted."""
    shortest: dict[str, str] = {}
    for path in paths:
        while path.startswith("./") and len(path) > 2:
            path = path[2:].lstrip("/")
        key = os.path.abspath(path)
        known = shortest.get(key)
        if known is None or (len(path), path) < (len(known), known):
            shortest[key] = path
    return tuple(sorted(shortest.values()))
