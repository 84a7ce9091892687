"""The sites that parts belong to: a part says nothing by itself, and is inspected with the site that lists it.

A site is looked for in the folder of the part and in those above it, up to the working directory or a folder that was named;
of a part that lies below neither, in its own folder only.  What is looked at are the YAML files there that look like a
description and mention the name of the part.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import NamedTuple

from onebond.document import load_file, parse, quick_format
from onebond.survey.find import SUFFIXES

DEEPEST = 8
"""Folders in which a site is looked for: a part lies at most seven below the folder of its site."""


class Owned(NamedTuple):
    """The sites to inspect for some parts, and the parts that no site lists with the folders that were looked into."""

    sites: tuple[str, ...]
    orphans: tuple[tuple[str, tuple[str, ...]], ...]


def owners(parts: tuple[str, ...], named: Iterable[str]) -> Owned:
    """The sites that list these parts, each once; ``named`` are the paths that the inspection was asked for."""
    tops = {os.getcwd(), *(os.path.abspath(path) for path in named if os.path.isdir(path))}
    known: dict[tuple[str, str], list[tuple[str, frozenset[str] | None]]] = {}
    sites: dict[str, None] = {}
    orphans = []
    for part in parts:
        folders = _folders(part, tops)
        found = [site for folder in folders for site in _listing(folder, part, known)]
        sites.update(dict.fromkeys(found))
        if not found:
            orphans.append((part, tuple(folders)))
    return Owned(tuple(sorted(sites)), tuple(orphans))


def _folders(part: str, tops: set[str]) -> list[str]:
    """Where a site of this part may be, the nearest folder first, written as the part is."""
    folders: list[str] = []
    folder, last = os.path.dirname(part), 1
    while len(folders) < DEEPEST:
        folders.append(folder)
        if os.path.abspath(folder) in tops:
            last = len(folders)
        above = os.path.dirname(folder)
        if above == folder or os.path.basename(folder) in (os.curdir, os.pardir):
            break
        folder = above
    return folders[:last]


def _listing(
    folder: str, part: str, known: dict[tuple[str, str], list[tuple[str, frozenset[str] | None]]]
) -> list[str]:
    """The sites in a folder that list a part, and those that mention it but cannot be read: the reader says why."""
    name = os.path.basename(part)
    key = (folder, name)
    if key not in known:
        known[key] = [(site, _parts(site, name)) for site in _candidates(folder)]
    whole = os.path.abspath(part)
    return [site for site, listed in known[key] if listed is None or whole in listed]


def _candidates(folder: str) -> list[str]:
    try:
        with os.scandir(folder or os.curdir) as entries:
            names = [
                entry.name
                for entry in entries
                if entry.name.lower().endswith(SUFFIXES) and entry.is_file(follow_symlinks=False)
            ]
    except OSError:
        return []
    return [os.path.join(folder, name) for name in sorted(names)]


def _parts(site: str, name: str) -> frozenset[str] | None:
    """The parts that a site lists, none where it does not mention the name; None where nobody can tell."""
    data, _ = load_file(site)
    if data is None or os.fsencode(name) not in data or b"parts" not in data or not quick_format(data):
        return frozenset()
    document = parse(data, site).document
    if document is None:
        return None
    root = document.root.value
    listed = root.get("parts") if isinstance(root, dict) else None
    if listed is None or not isinstance(listed.value, tuple):
        return frozenset()
    folder = os.path.dirname(site)
    paths = (item.value for item in listed.value)
    return frozenset(os.path.abspath(os.path.join(folder, path)) for path in paths if isinstance(path, str))
