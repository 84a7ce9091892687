"""YAML text to nodes with spans; the first part of the tool that strangers reach.

Nothing here raises on bad input and nothing here knows what an installation is: bytes go in, nodes and problems come
out. The text is read as YAML 1.2 with a smaller set of features (no tags, directives, anchors, aliases, merge keys or
second documents) and scalars are resolved here, so that ``no`` is a word, ``010`` is not ten and ``1e999`` is not
infinity. ruamel.yaml only supplies events; the nodes are built over an own stack, because recursion is what a deep
file kills.

Lines and columns count from 1, columns in Unicode code points; LF, CRLF and CR each end a line, as in an editor.
"""

from __future__ import annotations

import errno
import functools
import os
import re
import stat
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from onebond.result import PartFile, Problem
from onebond.span import Route, Span

if TYPE_CHECKING:
    from ruamel.yaml.scanner import Scanner

MAX_BYTES = 1 << 20
MAX_LINES = 20_000
MAX_SCALAR = 2_000
"""Characters in one key or value."""
MAX_DEPTH = 32
MAX_NODES = 100_000
"""Keys and values together; the pure parser takes about two seconds for them."""
MAX_PROBLEMS = 50
"""Problems that are told; the others are counted."""
MAX_COUNTED = 1_000
"""Problems that are counted; then reading stops."""

Kind = Literal["map", "list", "scalar"]


class Node(NamedTuple):
    """One value of the document.

    ``raw`` is the text of a scalar as it stands in the file, quotes included; ``quoted`` says that it is certainly
    meant as text (quotes, or a block after ``|`` or ``>``). An entry without a value is a scalar ``None`` with an
    empty ``raw``. ``keys`` holds the span of each key of a map. What a problem was reported about keeps its text as
    ``value``.
    """

    kind: Kind
    value: dict[str, Node] | tuple[Node, ...] | str | int | float | bool | None
    span: Span
    keys: dict[str, Span]
    raw: str = ""
    quoted: bool = False


class Inherited(NamedTuple):
    """A value that a place takes from a type: where the place names the type, and the route of the value in it."""

    like: Span
    origin: Route


_NOTHING: Mapping[Route, Inherited] = {}


class Document(NamedTuple):
    """A file that could be read: its text (without byte order mark), its lines and its nodes.

    ``inherited`` says which values stand in a type and are only used at their route.  Of a site in several files this is the
    file of the site, with the nodes of all; ``parts`` are the others, and with ``incomplete`` one of them could not be read.
    """

    path: str
    text: str
    lines: tuple[str, ...]
    root: Node
    data: bytes
    inherited: Mapping[Route, Inherited] = _NOTHING
    parts: tuple[Document, ...] = ()
    incomplete: bool = False

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes of the file, in hexadecimal."""
        import hashlib

        return hashlib.sha256(self.data).hexdigest()

    def part_files(self, digest: bool) -> tuple[PartFile, ...]:
        """The parts as a report shows them, with their hashes on request; of one that could not be read there is none."""
        return tuple(
            PartFile(part.path, part.lines, part.sha256 if digest and part.lines else "") for part in self.parts
        )

    def lines_of(self, span: Span) -> tuple[str, ...]:
        """The lines of the file that a span stands in."""
        return next((part.lines for part in self.parts if part.path == span.file), self.lines)


class Parsed(NamedTuple):
    """What came of some bytes.

    ``document`` is there whenever the structure could be read to its end, also beside problems. ``lines`` are for
    showing a problem in its place; what no terminal may receive is replaced in them, one character for one.
    ``left_out`` counts the problems beyond :data:`MAX_PROBLEMS`.
    """

    document: Document | None
    problems: list[Problem]
    lines: tuple[str, ...]
    left_out: int = 0


# --------------------------------------------------------------------------------------------------------------- lookup


def entries(node: Node | None) -> dict[str, Node]:
    """The entries of a map; none where it is not there or no map."""
    value = node.value if node is not None else None
    return value if isinstance(value, dict) else {}


def node_at(document: Document, route: Route) -> Node | None:
    """The node that a route leads to, or None."""
    node = document.root
    for step in route:
        below = _child(node, step)
        if below is None:
            return None
        node = below
    return node


def span_at(document: Document, route: Route, key: bool = False) -> Span:
    """Where a route leads to: the value, or with ``key`` the key that names it (a list item has no key: its value).

    Where the route ends early, the last thing on it that exists is shown: by its key if it has one, because the value
    of a map begins only at its first entry.
    """
    node, span = document.root, document.root.span
    for position, step in enumerate(route):
        below = _child(node, step)
        if below is None:
            return span
        span = node.keys[step] if isinstance(step, str) else below.span
        node = below
        if position == len(route) - 1 and not key:
            span = below.span
    return span


def _child(node: Node, step: str | int) -> Node | None:
    value = node.value
    if isinstance(value, dict) and isinstance(step, str):
        below: Node | None = value.get(step)
        return below
    if isinstance(value, tuple) and isinstance(step, int) and 0 <= step < len(value):
        item: Node = value[step]
        return item
    return None


def quick_format(data: bytes) -> bool:
    """Whether these bytes look like a description: an entry ``onebond`` at the left margin in the first 4 KiB.

    Used to find descriptions in folders, so it errs towards yes: one saved as UTF-16 is found, and refused later; so is one
    whose format key is missing or misspelt, or nobody would be told that it was not inspected.
    """
    head = data[:4096].replace(b"\0", b"")
    return _FORMAT_KEY.search(head) is not None or len(set(_SECTION.findall(head))) > 1


_FORMAT_KEY = re.compile(rb"""(?:\A(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?\s*\{?\s*|[\r\n])(["']?)onebond\1[ \t]*:""")


def quick_part(data: bytes) -> bool:
    """Whether these bytes look like a part of a site: its marker at the left margin, and no format key."""
    head = data[:4096].replace(b"\0", b"")
    return _PART_KEY.search(head) is not None and _FORMAT_KEY.search(head) is None


_PART_KEY = re.compile(_FORMAT_KEY.pattern.replace(b"onebond", b"onebond-part"))


# two of these sections at the left margin: no other kind of file that is commonly kept in a repository has both.
_SECTION = re.compile(rb"""(?:\A(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?|[\r\n])(sources|connections|changeovers)[ \t]*:""")


# -------------------------------------------------------------------------------------------------------------- reading

TOP = Span(1, 1, 1, 1)
"""The place of a problem of the file as a whole."""


_BY_HANDLE = os.open in os.supports_dir_fd


def load_below(top: str, relative: str) -> tuple[bytes | None, list[Problem]]:
    """Like :func:`load_file` for a file below a folder, by a path of plain names with ``/`` between them.

    Each folder on the way is opened by itself, from the one before it and without following a link, so that nothing can lead
    elsewhere, not even what changes meanwhile.  The folder ``top`` is reached as the caller names it.
    """
    *folders, name = relative.split("/")
    if not _BY_HANDLE:
        path = top
        for folder in folders:
            path = os.path.join(path, folder)
            if os.path.islink(path):
                return None, [_cannot_open(OSError(errno.ELOOP, ""))]
        return load_file(os.path.join(path, name))
    handles = []
    try:
        handles.append(os.open(top or os.curdir, _flags("O_DIRECTORY")))
        for folder in folders:
            handles.append(_open_folder(folder, handles[-1]))
        return load_file(name, handles[-1])
    except OSError as error:
        return None, [_cannot_open(error)]
    finally:
        for handle in handles:
            os.close(handle)


def _open_folder(name: str, parent: int) -> int:
    if stat.S_ISLNK(os.stat(name, dir_fd=parent, follow_symlinks=False).st_mode):
        raise OSError(errno.ELOOP, "")  # opening it would say only that it is no folder
    return os.open(name, _flags("O_DIRECTORY", "O_NOFOLLOW"), dir_fd=parent)


def _flags(*more: str) -> int:
    # O_NONBLOCK because opening a pipe waits for its other end, O_NOCTTY because opening a terminal can adopt it.
    flags = os.O_RDONLY
    for name in ("O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_BINARY", *more):
        flags |= getattr(os, name, 0)
    return flags


def load_file(path: str, folder: int | None = None) -> tuple[bytes | None, list[Problem]]:
    """The bytes of a regular file of at most :data:`MAX_BYTES`, or the problem that keeps it from being read.

    Links are not followed and nothing is waited for; no message holds anything from behind a link.  ``folder`` is the handle of
    the folder that the path starts from.
    """
    try:
        handle = os.open(path, _flags("O_NOFOLLOW"), dir_fd=folder)
    except OSError as error:
        return None, [_cannot_open(error)]
    except ValueError:
        return None, [
            Problem(TOP, "no file can have this name", "a file name holds no NUL and only encodable characters")
        ]
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            return None, [_not_regular(status.st_mode)]
        if status.st_size > MAX_BYTES:
            return None, [_too_big(status.st_size)]
        chunks = []
        wanted = MAX_BYTES + 1
        while wanted > 0 and (chunk := os.read(handle, wanted)):
            chunks.append(chunk)
            wanted -= len(chunk)
    except OSError as error:
        return None, [Problem(TOP, f"the file cannot be read ({_system_words(error)})")]
    finally:
        os.close(handle)
    data = b"".join(chunks)
    if len(data) > MAX_BYTES:
        return None, [_too_big(len(data))]
    return data, []


def _cannot_open(error: OSError) -> Problem:
    match error.errno:
        case errno.ENOENT:
            return Problem(TOP, "there is no such file")
        case errno.ELOOP | errno.EMLINK:
            return Problem(TOP, "this is a symbolic link, and links are not followed", "name the file itself")
        case errno.EACCES | errno.EPERM:
            return Problem(TOP, "the file may not be read", "give yourself the permission to read it")
        case errno.EISDIR:
            return _not_regular(stat.S_IFDIR)
        case errno.ENXIO:
            return _not_regular(stat.S_IFSOCK)
        case errno.ENOTDIR:
            return Problem(TOP, "there is no such file: a part of the path is not a folder")
        case errno.ENAMETOOLONG:
            return Problem(TOP, "the file name is too long")
    return Problem(TOP, f"the file cannot be opened ({_system_words(error)})")


def _not_regular(mode: int) -> Problem:
    kinds = ((stat.S_ISDIR, "folder"), (stat.S_ISFIFO, "named pipe"), (stat.S_ISSOCK, "socket"))
    what = next((word for test, word in kinds if test(mode)), "device")
    return Problem(TOP, f"this is a {what}, not a file", "name an ordinary text file")


def _too_big(size: int) -> Problem:
    return Problem(
        TOP,
        f"the file is larger than {MAX_BYTES:,} bytes ({size:,} or more), the most that is read",
        "one file holds one site; long notes and generated lists do not belong in it",
    )


def _system_words(error: OSError) -> str:
    return error.strerror or "no reason given"


# -------------------------------------------------------------------------------------------------------------- parsing


BEGINS = "a description begins with `onebond: 1`, followed by `site:`, `sources:` and so on"
"""The hint where a file is no map; a file that is no description begins otherwise."""


def parse(data: bytes, path: str, begins: str = BEGINS) -> Parsed:
    """Nodes with spans from the bytes of a file; never raises on bad input.

    ``begins`` says how a file of this sort begins.

    Reading stops at the first thing that makes the rest unreadable; duplicate keys, odd scalars and the like are all
    collected.
    """
    found = _Problems()
    if len(data) > MAX_BYTES:
        found.stop(*_too_big(len(data))[:3])
        return Parsed(None, found.sorted(), ())
    text = _decoded(data, found)
    lines = tuple(text.split("\n"))
    if not found.stopped:
        _look_over(text, lines, found)
    if found.stopped:
        return Parsed(None, found.sorted(), tuple(_FORBIDDEN.sub("\ufffd", line) for line in lines), found.left_out)
    root = _Builder(text, lines, found, begins).root()
    document = None if root is None else Document(path, text, lines, root, data)
    return Parsed(document, found.sorted(), lines, found.left_out)


class _Problems:
    """The problems of one file, at most :data:`MAX_PROBLEMS`; the one that stops the reading is always among them."""

    def __init__(self) -> None:
        self.items: list[Problem] = []
        self.left_out = 0
        self.stopped = False

    def add(self, span: Span, message: str, hint: str = "") -> None:
        if len(self.items) < MAX_PROBLEMS:
            self.items.append(Problem(span, message, hint))
        else:
            self.left_out += 1

    def stop(self, span: Span, message: str, hint: str = "") -> None:
        self.stopped = True
        if len(self.items) >= MAX_PROBLEMS:
            self.items.pop()
            self.left_out += 1
        self.items.append(Problem(span, message, hint))

    def sorted(self) -> list[Problem]:
        return sorted(self.items, key=lambda problem: problem.span[:2])


class _TooDeep(Exception):
    """Raised out of the scanner, with line and column, where the nesting passes :data:`MAX_DEPTH`."""


def _decoded(data: bytes, found: _Problems) -> str:
    """The text with LF line ends, without the byte order mark at its beginning."""
    halves = sorted((data[:200:2].count(0), data[1:200:2].count(0)))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or halves[0] * 4 < halves[1] > len(data[:200]) // 4:
        found.stop(TOP, "the file is not UTF-8 text (it looks like UTF-16 or UTF-32)", "save it as UTF-8")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        text = data.decode("utf-8", "replace")
        if not found.stopped:
            before = _line_ends(data[: error.start].decode("utf-8").removeprefix("\ufeff"))
            line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
            found.stop(
                Span(line, column, line, column + 1),
                f"the file is not UTF-8 text: byte 0x{data[error.start]:02X} cannot stand here",
                "save it as UTF-8 (the editor may call the present encoding ANSI, Latin-1 or Windows-1252)",
            )
    return _line_ends(text.removeprefix("\ufeff"))


def _line_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


# Control characters (tab and line feed excepted), line ends that editors count differently, byte order marks and
# noncharacters, lone surrogates, and what makes text look different from what is read: direction controls and tags.
_DIRECTION = "\u202a-\u202e\u2066-\u2069"
_TAGS = "\U000e0000-\U000e007f"
_FORBIDDEN = re.compile(f"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff{_DIRECTION}{_TAGS}]")
_MISLEADING = re.compile(f"[{_DIRECTION}{_TAGS}]")

# Letters and marks that count as printable although nothing is seen of them.
_BLANK_LETTERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u2800\u3164\uffa0") | frozenset(
    map(chr, (*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
)

_CONFLICT = re.compile(r"^(?:<{7}|>{7}|\|{7})(?:[ \t].*)?$", re.MULTILINE)


def _look_over(text: str, lines: tuple[str, ...], found: _Problems) -> None:
    """Everything that can be refused before the text is taken apart."""
    if len(lines) > MAX_LINES + 1:
        found.stop(
            Span(MAX_LINES + 1, 1, MAX_LINES + 1, 1),
            f"the file has more than {MAX_LINES:,} lines, the most that is read",
            "one file holds one site",
        )
        return
    if _FORBIDDEN.search(text):
        for number, line in enumerate(lines, start=1):
            if match := _FORBIDDEN.search(line):
                column = match.start() + 1
                what, hint = _forbidden(match.group())
                found.add(Span(number, column, number, column + 1), f"{what} stands here", hint)
                found.stopped = True
        return
    if match := _CONFLICT.search(text):
        at = text.count("\n", 0, match.start()) + 1
        found.stop(
            Span(at, 1, at, len(match.group()) + 1),
            f"a marker of an unfinished merge (`{match.group()[:7]}`) is left in the file",
            "decide which of the two versions holds and remove the marker lines",
        )


def _forbidden(character: str) -> tuple[str, str]:
    """What a character is that no description may hold, and what to do about it."""
    name = f"U+{ord(character):04X}"
    again = "delete it; if nothing is seen there, delete that piece of the line and type it again"
    if character in "\x85\u2028\u2029":
        return f"a line end that editors do not count as one ({name})", "use an ordinary line end instead"
    if "\ud800" <= character <= "\udfff":
        return f"half a character ({name})", "write the character itself"
    if _MISLEADING.match(character) and character < "\U000e0000":
        return (
            f"a sign that changes the direction of the text ({name}), so that it looks different from what is read",
            again,
        )
    if _MISLEADING.match(character) or character == "\ufeff":
        return f"an invisible sign ({name})", again
    return f"a control character ({name})", again


# --------------------------------------------------------------------------------------------------------------- events


@functools.cache
def _guarded_scanner() -> type[Scanner]:
    """The scanner class; made when first needed, because importing ruamel.yaml takes twice as long as Python itself.

    Its loader has an attribute ``found`` (:class:`_Problems`) that takes what is refused outright, and gets ``stuck``,
    the line and column where something else than an error of ruamel.yaml was raised.
    """
    from ruamel.yaml.error import MarkedYAMLError
    from ruamel.yaml.scanner import Scanner
    from ruamel.yaml.tokens import ScalarToken

    class Guarded(Scanner):
        """The scanner without the features that a description does not have, and with a bound on its depth.

        The depth is bounded here and not only where nodes are built: the scanner reads ahead of the events, and its
        time grows with the square of the open brackets.
        """

        def fetch_more_tokens(self) -> Any:
            try:
                return super().fetch_more_tokens()
            except (MarkedYAMLError, _TooDeep):
                raise
            except Exception:
                self.loader.stuck = (self.reader.line + 1, self.reader.column + 1)
                raise

        def _refuse(self, length: int, message: str, hint: str) -> None:
            line, column = self.reader.line + 1, self.reader.column + 1
            self.loader.found.add(Span(line, column, line, column + length), message, hint)

        def _up_to(self, ends: str) -> str:
            length = 1
            while self.reader.peek(length) not in ends:
                length += 1
            word: str = self.reader.prefix(length)
            return word

        def _indicated(self, what: str, hint: str) -> str:
            """Refuse the word that begins with an indicator here (inside brackets it ends where an item ends)."""
            word = self._up_to(" \t\n\0,[]{}" if self.flow_level and self.reader.peek(1) != "<" else " \t\n\0")
            shown = _shown(word)
            quote = f"if the `{word[0]}` is part of a text, put the text in quotes"
            self._refuse(len(word), f"`{shown}` is read as {what}, which is not accepted", f"{hint}; {quote}")
            # As the parent class does: the word may begin a key, and no other key begins right after it.
            self.save_possible_simple_key()
            self.allow_simple_key = False
            return word

        def fetch_anchor(self) -> None:
            # Passed over without a token, like the tag: what follows is read as if the word were not there.
            self.reader.forward(len(self._indicated("an anchor", "write the value out wherever it is needed")))

        def fetch_tag(self) -> None:
            self.reader.forward(len(self._indicated("a tag", "remove it")))

        def fetch_alias(self) -> None:
            word = self._indicated("an alias", "write the value out here once more")
            start = self.reader.get_mark()
            self.reader.forward(len(word))
            self.tokens.append(ScalarToken("", False, start, self.reader.get_mark(), "'"))

        def fetch_directive(self) -> None:
            self.unwind_indent(-1)
            self.remove_possible_simple_key()
            self.allow_simple_key = False
            line = self._up_to("\n\0")
            word = line.split()[0]
            self._refuse(
                len(word),
                f"`{_shown(word)}` is read as a directive, which is not accepted",
                "remove the line: the file is always read as YAML 1.2",
            )
            self.reader.forward(len(line))

        def fetch_key(self) -> None:
            self._refuse(
                1,
                "`?` announces a key of several parts, which is not accepted",
                "write `key: value`; if the `?` is part of a text, put the text in quotes",
            )
            super().fetch_key()

        def fetch_flow_collection_start(self, *arguments: Any, **named: Any) -> None:
            self._check_depth(1)
            super().fetch_flow_collection_start(*arguments, **named)

        def add_indent(self, column: int) -> bool:
            deeper: bool = super().add_indent(column)
            if deeper:
                self._check_depth()
            return deeper

        def _check_depth(self, more: int = 0) -> None:
            if len(self.indents) + self.flow_level + more > MAX_DEPTH:
                raise _TooDeep(self.reader.line + 1, self.reader.column + 1)

    return Guarded


def _events(text: str, found: _Problems) -> tuple[Any, Iterator[Any]]:
    """A loader over the text and its events.

    Raises out of the iterator: :class:`_TooDeep`, and whatever ruamel.yaml raises on bad input.
    """
    from ruamel.yaml.parser import Parser
    from ruamel.yaml.reader import Reader

    # The parts are put together by hand: the library's own door looks for plug-ins on the disk at every call.
    loader = _Loader()
    loader.found = found

    def events() -> Iterator[Any]:
        Reader(text, loader=loader)  # each part hangs itself up in the loader
        _guarded_scanner()(loader=loader)
        parser = Parser(loader=loader)
        while parser.check_event():
            yield parser.get_event()

    return loader, events()


class _Loader:
    """What the parts of ruamel.yaml share."""

    def __init__(self) -> None:
        self._reader: Any = None
        self._scanner: Any = None
        self._parser: Any = None
        self._resolver: Any = self
        self.comment_handling: Any = None
        self.processing_version = (1, 2)
        self.found: Any = None
        self.stuck = (1, 1)


class _Open:
    """A map or a list that is being read."""

    __slots__ = ("end", "flow", "is_key", "items", "key", "key_span", "keys", "lines", "start", "values")

    def __init__(self, start: tuple[int, int], is_map: bool, flow: bool, is_key: bool) -> None:
        self.start = start
        self.end = start
        self.flow = flow
        self.is_key = is_key  # it stands where a key is due, which is refused
        self.values: dict[str, Node] | None = {} if is_map else None
        self.items: list[Node] = []
        self.keys: dict[str, Span] = {}
        self.key: str | None = None
        self.key_span: Span | None = None  # set while a value is due; with key None the value is dropped
        self.lines: dict[str, int] = {}  # key in Unicode normal form -> the line it stands on


class _Builder:
    """Nodes from events."""

    def __init__(self, text: str, lines: tuple[str, ...], found: _Problems, begins: str) -> None:
        self.begins = begins
        self.text = text
        self.lines = lines
        self.found = found
        self.stack: list[_Open] = []
        self.top: Node | None = None
        self.long_quote: Span | None = None  # the last scalar, if it is a quoted one of several lines

    def root(self) -> Node | None:
        """The root, which is a map; None (and a problem) where there is none."""
        loader, events = _events(self.text, self.found)
        documents = nodes = 0
        while True:
            try:
                event = next(events, None)
            except _TooDeep as error:
                self._too_deep(*error.args)
                return None
            except MemoryError:
                raise
            except Exception as error:
                # ruamel.yaml raises nine classes besides its own on bad input.
                self.found.stop(*self._in_words(error, loader.stuck)[:3])
                return None
            if event is None:
                break
            name = type(event).__name__
            if name == "ScalarEvent":
                self._scalar(event)
            elif name in ("MappingStartEvent", "SequenceStartEvent"):
                self._begin(event, name == "MappingStartEvent")
                if len(self.stack) > MAX_DEPTH:
                    self._too_deep(event.start_mark.line + 1, event.start_mark.column + 1)
                    return None
            elif name in ("MappingEndEvent", "SequenceEndEvent"):
                self._finish(event)
                continue
            elif name == "DocumentStartEvent":
                documents += 1
                if documents > 1:
                    self.found.stop(
                        _span(event),
                        "a second document begins here, and it would not be read",
                        "one file holds one document: remove the `---` or `...`",
                    )
                    return None
                continue
            else:
                continue
            nodes += 1
            if self.found.left_out > MAX_COUNTED:
                self.found.stop(
                    _span(event), f"there are more than {MAX_COUNTED:,} problems above this, so it is not read"
                )
                return None
            if nodes > MAX_NODES:
                self.found.stop(
                    _span(event),
                    f"the file has more than {MAX_NODES:,} keys and values, the most that is read",
                    "one file holds one site",
                )
                return None
        return self._checked_root()

    def _checked_root(self) -> Node | None:
        top = self.top
        if top is not None and top.kind == "map":
            return top
        hint = self.begins
        if top is None or (top.value is None and not top.raw):
            self.found.stop(TOP, "nothing is written in this file", hint)
        elif top.kind == "list":
            self.found.stop(_first(top.span), "the file is a list; it should consist of `key: value` lines", hint)
        else:
            self.found.stop(
                _first(top.span),
                f"the file is only the text `{_shown(str(top.value))}`; it should consist of `key: value` lines",
                hint,
            )
        return None

    def _too_deep(self, line: int, column: int) -> None:
        self.found.stop(
            Span(line, column, line, column + 1),
            f"maps and lists are nested more than {MAX_DEPTH} deep here, the most that is read",
            "six levels or so are enough: check the brackets and the indentation",
        )

    def _begin(self, event: Any, is_map: bool) -> None:
        is_key = bool(self.stack) and self._key_is_due()
        if is_key:
            self.found.add(_first(_span(event)), "a key must be a word, not a list or a map", "write `key: value`")
        mark = event.start_mark
        self.stack.append(_Open((mark.line + 1, mark.column + 1), is_map, bool(event.flow_style), is_key))

    def _finish(self, event: Any) -> None:
        done = self.stack.pop()
        # A block ends in the parser where the next token stands, often many lines on: it ends with what it holds.
        end = (event.end_mark.line + 1, event.end_mark.column + 1) if done.flow else done.end
        span = Span(*done.start, *end)
        items = tuple(done.items)
        node = Node("list", items, span, {}) if done.values is None else Node("map", done.values, span, done.keys)
        if done.is_key:
            parent = self.stack[-1]
            parent.key, parent.key_span = None, span
        else:
            self._place(node)

    def _key_is_due(self) -> bool:
        top = self.stack[-1]
        return top.values is not None and top.key_span is None

    def _place(self, node: Node) -> None:
        if not self.stack:
            self.top = node
            return
        parent = self.stack[-1]
        parent.end = max(parent.end, (node.span.end_line, node.span.end_column))
        if parent.values is None:
            parent.items.append(node)
            return
        if parent.key is not None and parent.key_span is not None:
            parent.values[parent.key] = node
            parent.keys[parent.key] = parent.key_span
        parent.key = parent.key_span = None

    def _scalar(self, event: Any) -> None:
        span = _span(event)
        if event.start_mark.index == event.end_mark.index and self.stack:
            span = self._empty(span)
        raw = self.text[event.start_mark.index : event.end_mark.index]
        text: str = event.value
        quoted = event.style is not None
        self.long_quote = span if event.style in ("'", '"') and span.line != span.end_line else None
        faulty = self._check_text(text, raw, span, event.style == '"')
        if self.stack and self._key_is_due():
            self._key(text, span, quoted, faulty)
            return
        value: str | int | float | bool | None = text
        if faulty:
            value = _FORBIDDEN.sub("\ufffd", text[:MAX_SCALAR])
        elif not quoted:
            value = self._resolved(text, span)
        self._place(Node("scalar", value, span, {}, raw, quoted))

    def _empty(self, span: Span) -> Span:
        """Where an empty value stands: after the colon of its key, and not at whatever comes next."""
        top = self.stack[-1]
        if top.key_span is None:
            return span
        line, column = top.key_span[2:4]
        rest = self.lines[line - 1][column - 1 :]
        if rest.lstrip(" ").startswith(":"):  # `{a, b: 1}`: the key is all there is of its entry
            column += rest.index(":") + 1
        return Span(line, column, line, column)

    def _check_text(self, text: str, raw: str, span: Span, escapes: bool) -> bool:
        """Whether a problem was found in the characters of a scalar."""
        if len(text) > MAX_SCALAR:
            self.found.add(
                _first(span),
                f"this text has {len(text):,} characters; at most {MAX_SCALAR:,} are read",
                "shorten it; if it should end sooner, check the quotes",
            )
            return True
        if not escapes or "\\" not in raw:  # what is not escaped was looked over before
            return False
        hidden = [sign for sign in text if sign in "\n\t" and sign not in raw]
        if match := _FORBIDDEN.search(text):
            hidden.append(match.group())
        if not hidden:
            return False
        what, hint = _forbidden(hidden[-1])
        if hidden[-1] in "\n\t":
            hint = "type a space instead; text of several lines is written as a block after `|`"
        self.found.add(_first(span), f"an escape (`\\`) in this text stands for {what}", hint)
        return True

    def _key(self, text: str, span: Span, quoted: bool, faulty: bool) -> None:
        """Take a key; with a problem the entry is dropped, so that nothing is said about it twice."""
        top = self.stack[-1]
        top.key_span = span
        top.end = max(top.end, span[2:4])
        top.key = None
        if faulty:
            return
        if not text.strip():
            self.found.add(span, "the key before the colon is missing", "write `key: value`")
            return
        if unseen := next((sign for sign in text if not _is_seen(sign)), None):
            self.found.add(
                _first(span),
                f"the key `{_shown(text)}` holds a character that cannot be seen (U+{ord(unseen):04X})",
                "type the key again",
            )
            return
        if not quoted:
            if text == "<<":
                self.found.add(
                    span,
                    "`<<` (a merge key) is not accepted",
                    "write the entries out; each entry stands where it counts",
                )
                return
            if not isinstance(_plain(text), str):
                hint = "keys are words; put it in quotes if it is meant as a name"
                if top.flow and text[:1].isdigit() and self._no_value_follows(span):
                    hint = "inside braces a comma ends the entry: the decimal sign is a point"
                self.found.add(span, f"the key `{_shown(text)}` is not a word", hint)
                return
        normal = text if text.isascii() else _normal(text)
        if normal in top.lines:
            first = top.lines[normal]
            where = f"first on line {first}" if first != span.line else "both times on this line"
            self.found.add(span, f"the key `{_shown(text)}` is written twice, {where}", "keep one of the two")
            return
        top.lines[normal] = span.line
        if top.flow and ":" in text and not quoted and self._no_value_follows(span):
            self.found.add(
                span, f"`{_shown(text)}` is read as a key without a value", "put a space after the colon: `key: value`"
            )
            return
        top.key = text

    def _no_value_follows(self, span: Span) -> bool:
        return self.lines[span.end_line - 1][span.end_column - 1 :].lstrip()[:1] in (",", "}")

    def _resolved(self, text: str, span: Span) -> str | int | float | bool | None:
        value = _plain(text)
        if isinstance(value, _NotANumber):
            self.found.add(span, *value)
            return text
        return value

    def _in_words(self, error: Exception, stuck: tuple[int, int]) -> Problem:
        """What stopped ruamel.yaml, in our words; ``stuck`` is the place of an error that knows none."""
        said = str(getattr(error, "problem", None) or "")
        context = str(getattr(error, "context", None) or "")
        began = _place(getattr(error, "context_mark", None)) or _place(getattr(error, "problem_mark", None)) or stuck
        here = _place(getattr(error, "problem_mark", None)) or began
        line = self.lines[here[0] - 1]
        before, rest = line[: here[1] - 1], line[here[1] - 1 :]

        if rest.startswith("\t"):
            what = "a tab stands here" if before.strip() else "the line is indented with a tab"
            hint = "use spaces; in most editors the tab key can be set to give them"
            return _at(here, f"{what}, where only spaces may", hint)
        if "cannot start any token" in said:
            return _at(here, f"a value cannot begin with {_shown(rest[:1])}", "put the value in quotes")
        if "end of stream" in said or "document separator" in said:
            return _at(began, "this quote is not closed", "add the closing quote")
        if self.long_quote and self.long_quote[2] == here[0]:
            place, closed = self.long_quote[:2], self.long_quote.end_column - 1
            hint = (
                "close it where its text ends; a quote inside a text is written twice (single) or after `\\` (double)"
            )
            return _at(place, f"this quote is closed only on line {here[0]}, column {closed}", hint)
        if "expected ':'" in said:
            return self._no_colon(began)
        if "mapping values" in said:
            return self._stray_colon(here, before)
        if ("expected ',' or" in said or "node content" in said) and (bracket := self._open_bracket()):
            opened, sign, closing = bracket
            if opened[0] != here[0] or not rest.strip():
                return _at(
                    opened,
                    f"the bracket {sign} is not closed",
                    f"add {closing} where it ends, and commas between items",
                )
            if "node content" not in said:
                return _at(
                    here, f"a comma or {closing} is due here", "separate items by commas; quote a text that holds `: `"
                )
        if "block end" in said:
            blamed = None if before.strip(" -") or rest.startswith("-") else self._blamed(here[0])
            return blamed or _does_not_fit(context, here, before, rest)
        for words, message, hint in _SAID:
            if words in said or words in context:
                return _at(here, message, hint)
        if isinstance(error, (ValueError, OverflowError)):
            return _at(here, "an escape (`\\`) in double quotes stands for no character", "write the character itself")
        hint = "check indentation, quotes, brackets and colons here and in the line above"
        return _at(here, "this cannot be read as YAML", hint)

    def _open_bracket(self) -> tuple[tuple[int, int], str, str] | None:
        """Place and sign of the innermost open bracket, and the sign that closes it."""
        if not self.stack or not self.stack[-1].flow:
            return None
        line, column = self.stack[-1].start
        sign = self.lines[line - 1][column - 1]
        return ((line, column), sign, {"{": "}", "[": "]"}[sign]) if sign in "{[" else None

    def _no_colon(self, place: tuple[int, int]) -> Problem:
        line, column = place
        rest = self.lines[line - 1][column - 1 :].rstrip()
        if match := _TIGHT.match(rest):
            return _at((line, column + match.end() - 1), *_SPACE_DUE)
        if len(rest) > _LONGEST_KEY:
            return _at(place, f"this line is longer than a key may be ({_LONGEST_KEY:,} characters)", "shorten the key")
        return _without_colon(line, column, rest)

    def _blamed(self, line: int) -> Problem | None:
        """The mistake of a line above that makes this one look out of place; None where no line above has one."""
        begun: Problem | None = None
        below = self.lines[line - 1]
        for number in range(line - 1, 0, -1):
            text = _COMMENT.sub("", self.lines[number - 1]).rstrip()
            entry = text.lstrip()
            column = len(text) - len(entry) + 1
            if not entry:
                continue
            if _TIGHT_DASH.match(entry):
                return _at((number, column), *_dash(entry))
            if _ENTRY.search(entry):
                goes_on = begun is not None and begun.span.column > column and not entry.endswith(":")
                return None if goes_on else begun
            if not _BARE.match(entry) or (entry.startswith("- ") and not below.startswith(" " * column)):
                return None
            if entry.startswith("- "):
                bare = entry[1:].lstrip()
                return _without_colon(number, len(text) - len(bare) + 1, bare)
            begun = _without_colon(number, column, entry)
        return begun

    def _stray_colon(self, here: tuple[int, int], before: str) -> Problem:
        if not before.strip(" -"):
            return _at(here, "the key before the colon is missing", "write `key: value`")
        if ":" in before:
            return _at(here, "a second `: ` stands in this line", "put a value that holds `: ` in quotes")
        if len(before.strip()) > _LONGEST_KEY:
            start = (here[0], len(before) - len(before.lstrip()) + 1)
            return _at(start, f"this line is longer than a key may be ({_LONGEST_KEY:,} characters)", "shorten the key")
        above = self.lines[here[0] - 2] if here[0] > 1 else ""
        if match := _TIGHT.match(above.lstrip()):
            return _at((here[0] - 1, len(above) - len(above.lstrip()) + match.end()), *_SPACE_DUE)
        if not self._open_bracket() and (blamed := self._blamed(here[0])):
            return blamed
        hint = "begin all keys of one map in the same column; a key with a map below it has no value of its own"
        return _at((here[0], len(before) - len(before.lstrip()) + 1), "this line is indented too far", hint)


_LONGEST_KEY = 1_024  # YAML 1.2.2, section 7.4: a key of one line and its colon

_TIGHT = re.compile(r"[\w-]+:(?=[^\s:])")
_TIGHT_DASH = re.compile(r"-[A-Za-z][\w-]*:(?=\s|\Z)")
_ENTRY = re.compile(r":(?=\s|\Z)")
_BARE = re.compile(r"(?:- +)?\w")
_COMMENT = re.compile(r"(?:^|(?<=\s))#.*")
_ALMOST = re.compile(r"([\w-]+)(?:\s*=\s*|\s+)(\S.*)")
_SPACE_DUE = ("a space is missing after the colon", "write `key: value`")

# What ruamel.yaml says, and what we say instead.
_SAID = (
    (
        "sequence entries",
        "a list item (`- `) cannot stand here",
        "begin the list on a line of its own, or write `[a, b]`",
    ),
    ("escape", "an unknown escape (`\\`) in double quotes", "write `\\\\` for a backslash, or use single quotes"),
    (
        "block scalar",
        "the text after `|` or `>` is not understood",
        "begin it on the next line, indented by two spaces",
    ),
    (
        "more indented",
        "the text after `|` or `>` is not understood",
        "begin it on the next line, indented by two spaces",
    ),
    ("unexpected ':'", "a colon has no meaning here", "put a space after it, or put the text in quotes"),
    (
        "document",
        "this does not belong to what stands above it",
        "begin all keys of the first level in the same column, and write nothing after the last bracket or `...`",
    ),
    ("node content", "a value is missing before this", "write the value, or remove the sign that announces it"),
)


def _dash(entry: str) -> tuple[str, str]:
    """Message and hint for a list item that begins like ``-kind: mcb``."""
    return "a space is missing after the dash", f"write `- {_shown(entry[1:])}`"


def _without_colon(line: int, column: int, text: str) -> Problem:
    """The problem of a line such as ``kind utility`` or ``kind = utility``."""
    span = Span(line, column, line, column + max(1, len(text)))
    message = "this line is not of the form `key: value`"
    goes_on = "a text that goes on from the line above is indented"
    almost = _ALMOST.fullmatch(_COMMENT.sub("", text).rstrip())
    if almost is None:
        return Problem(span, message, f"add the colon and a space after the key; {goes_on}")
    meant = _shown(f"{almost[1]}: {almost[2]}")
    if "=" in text[: almost.start(2)]:
        return Problem(span, f"`=` stands where the colon after `{_shown(almost[1])}` is due", f"write `{meant}`")
    return Problem(span, message, f"add the colon and a space after the key: `{meant}`; {goes_on}")


def _does_not_fit(context: str, here: tuple[int, int], before: str, rest: str) -> Problem:
    if before.strip(" -"):
        hint = "put the whole value in quotes, or none of it; a quote or bracket further up may close too early"
        return _at(here, "the value ended before this", hint)
    if _TIGHT_DASH.match(rest):
        return _at(here, *_dash(rest.rstrip()))
    if rest.startswith("- "):
        return _at(
            here, "a list item (`- `) among `key: value` lines", "indent the list below its key, all items alike"
        )
    if "collection" in context:
        hint = "begin it with `- `, or indent it like the key of the list"
        return _at(here, "a line without `- ` among list items", hint)
    return _at(
        here, "the indentation of this line fits no line above it", "begin all keys of one map in the same column"
    )


def _at(place: tuple[int, int], message: str, hint: str) -> Problem:
    line, column = place
    return Problem(Span(line, column, line, column + 1), message, hint)


def _place(mark: Any) -> tuple[int, int] | None:
    return None if mark is None else (mark.line + 1, mark.column + 1)


def _first(span: Span) -> Span:
    """The part of a span on its first line."""
    return span if span.line == span.end_line else Span(span.line, span.column, span.line, span.column + 1)


def _span(event: Any) -> Span:
    start, end = event.start_mark, event.end_mark
    return Span(start.line + 1, start.column + 1, end.line + 1, end.column + 1)


def _is_seen(sign: str) -> bool:
    return sign.isprintable() and sign not in _BLANK_LETTERS


def _normal(text: str) -> str:
    import unicodedata

    return unicodedata.normalize("NFC", text)


def _shown(text: str, most: int = 40) -> str:
    """A piece of the file for a message: short, and without anything that a terminal would obey or not show."""
    short = text if len(text) <= most else text[: most - 3] + "..."
    return "".join(sign if _is_seen(sign) else f"<U+{ord(sign):04X}>" for sign in short)


# -------------------------------------------------------------------------------------------------------------- scalars


class _NotANumber(NamedTuple):
    """Something that only looks like a number: message and hint."""

    message: str
    hint: str


_WORDS: dict[str, bool | None] = {"": None, "~": None, "null": None, "true": True, "false": False}
_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]*)\Z")
_DECIMAL = re.compile(r"[-+]?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?\Z")
_SPECIAL = re.compile(r"(?:[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))\Z")
# Each part can match in one way only, so that the time is linear in the length.
_NUMBERLIKE = re.compile(
    r"[-+]?(?:0[xX][0-9a-fA-F_]*|0[oO][0-7_]*|0[bB][01_]*"
    r"|(?:[0-9][0-9_]*(?:\.[0-9_]*)?|\.[0-9][0-9_]*)(?:[eE][-+]?[0-9_]*)?)\Z"
)
_DIGITS = 18
_SMALLEST = 2.2250738585072014e-308
"""Below it a floating-point number loses digits, and then becomes zero."""


def _plain(text: str) -> str | int | float | bool | _NotANumber | None:
    """What a scalar without quotes means: a number, a truth value, nothing, or text."""
    if text in _WORDS:
        return _WORDS[text]
    first = text[0]
    if not (first.isdecimal() or first in "+-."):
        return text
    if not text.isascii():
        ascii_text = _ascii_digits(text)
        if ascii_text != text and (_NUMBERLIKE.match(ascii_text) or _SPECIAL.match(ascii_text)):
            return _NotANumber(
                f"`{_shown(text)}` looks like a number, but not with the digits 0 to 9",
                f"write {_better(ascii_text) or _shown(ascii_text)}",
            )
        return text
    shown = _shown(text)
    quote = f"quote it if it is meant as text: '{shown}'"
    if _DECIMAL.match(text):
        mantissa = re.split("[eE]", text)[0].strip("+-")
        if len(mantissa.replace(".", "")) > _DIGITS:
            return _NotANumber(f"`{shown}` looks like a number of more than {_DIGITS} digits", f"{quote}; or round it")
        if _INTEGER.match(text):
            return int(text)
        number = float(text)
        if number - number != 0:
            return _NotANumber(f"`{shown}` looks like a number that is too large to be calculated with", quote)
        if abs(number) < _SMALLEST and mantissa.strip("0."):
            return _NotANumber(
                f"`{shown}` looks like a number that is too small to be calculated with", f"{quote}; or write 0"
            )
        return number
    if _SPECIAL.match(text):
        return _NotANumber(
            f"`{shown}` looks like a number that is infinite or none at all", f"{quote}; or write a number"
        )
    if _NUMBERLIKE.match(text):
        better = _better(text)
        return _NotANumber(
            f"`{shown}` looks like a number, but is not written as one",
            f"write {better}; or {quote}" if better else quote,
        )
    return text


def _better(text: str) -> str:
    """How the number that was probably meant is written; empty where that is not clear."""
    sign, digits = ("-" if text[0] == "-" else "", text.lstrip("+-").replace("_", ""))
    base = {"0x": 16, "0o": 8, "0b": 2}.get(digits[:2].lower())
    if base is not None:
        # With a base of two, eight or sixteen the conversion is linear.
        return f"{sign}{int(digits[2:], base)}" if 0 < len(digits[2:]) < 15 else ""
    whole, point, fraction = digits.partition(".")
    plain = (whole.lstrip("0") or "0") + (point + fraction if fraction else "")
    return sign + plain if _DECIMAL.match(plain) and len(plain) <= _DIGITS else ""


def _ascii_digits(text: str) -> str:
    """The text with every decimal digit of any script, and every full-width sign, as its ASCII counterpart."""
    import unicodedata

    return "".join(str(unicodedata.decimal(sign, sign)) for sign in unicodedata.normalize("NFKC", text))
