"""From a file to a tree: bytes, text, YAML, each with an error that says where."""

import os
import stat
import sys
from pathlib import Path

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.gait.nodes import Item, Listing, Mapping, Text, scalar

MOST_BYTES = 2_000_000
DEEPEST = 64
STANDARD_INPUT = "-"


class Unreadable(Exception):
    """The file gives no tree at all; `finding` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


def _fail(code: str, place: Place, message: str, *, expected: str = "", fix: str = "") -> Unreadable:
    return Unreadable(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))


def shown(path: str | Path) -> str:
    """Give the name under which a file is shown: relative to the current folder if that is shorter."""
    text = str(path)
    if text == STANDARD_INPUT:
        return "<stdin>"
    relative = os.path.relpath(text)
    return relative if len(relative) < len(text) else text


def read_text(path: str | Path) -> str:
    """Read a regular file, or standard input for ``-``, as UTF-8. Raises Unreadable."""
    name = shown(path)
    start = Place(name, 1, 1)
    if str(path) == STANDARD_INPUT:
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        data = _read_regular(Path(path), start)
    if len(data) > MOST_BYTES:
        raise _fail(
            "too-large",
            start,
            f"{name} is larger than {MOST_BYTES // 1_000_000} MB",
            expected="a gait or machine file written by hand",
            fix="is this a recording? give it after the gait: sequencer dry-run GAIT RECORDING",
        )
    try:
        return data.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        raise _fail(
            "not-text",
            Place(name, line, column),
            f"{name} is not UTF-8 text (byte 0x{data[error.start]:02x})",
            expected="a text file in UTF-8",
            fix="save it as UTF-8 in your editor; a packed or binary file cannot be used",
        ) from None


def _read_regular(path: Path, start: Place) -> bytes:
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError as error:
        raise _fail(
            "no-file",
            start,
            f"{start.file} cannot be opened: {error.strerror}",
            expected="a readable file",
            fix=_similar_file(path),
        ) from None
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise _fail("no-file", start, f"{start.file} is not a regular file", expected="a YAML file")
    with os.fdopen(descriptor, "rb") as file:
        return file.read(MOST_BYTES + 1)


def _similar_file(path: Path) -> str:
    import difflib

    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.suffix in {".yaml", ".yml"}]
    except OSError:
        return ""
    close = difflib.get_close_matches(path.name, names, n=1, cutoff=0.75)
    return f"did you mean {path.parent / close[0]}?" if close else ""


def read_tree(path: str | Path) -> tuple[Item, list[Finding], str]:
    """Read a YAML file into a tree.

    Returns the tree, the findings that do not keep the rest from being judged (duplicate keys, numbers
    that are not finite), and the file's text. Raises Unreadable.
    """
    text = read_text(path)
    return (*parse_tree(text, shown(path)), text)


def parse_tree(text: str, name: str) -> tuple[Item, list[Finding]]:
    """Parse YAML text; `name` stands in places. See `read_tree`."""
    import yaml

    try:
        root = yaml.compose(text, Loader=yaml.CBaseLoader)
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, name, text) from None
    except (yaml.reader.ReaderError, yaml.YAMLError) as error:
        raise _fail("yaml-syntax", _bad_character(text, name), _one_line(str(error))) from None
    if root is None:
        raise _fail("empty-file", Place(name, 1, 1), f"{name} is empty", expected="keys and values")
    return _Builder(name, text).build(root)


def _one_line(text: str) -> str:
    return " ".join(text.split())[:200]


def _bad_character(text: str, name: str) -> Place:
    for number, line in enumerate(text.split("\n"), 1):
        for column, char in enumerate(line, 1):
            if ord(char) < 32 and char not in "\t\r":
                return Place(name, number, column)
    return Place(name, 1, 1)


def _syntax(error: object, name: str, text: str) -> Unreadable:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    place = Place(name, mark.line + 1, mark.column + 1) if mark else Place(name, 1, 1)
    problem = str(getattr(error, "problem", "") or error)
    lines = text.split("\n")
    here = lines[place.line - 1] if place.line <= len(lines) else ""
    fix = ""
    if "\t" in here:
        problem, fix = "a tab stands where only spaces may", "indent with spaces"
    elif "alias" in problem:
        return _fail(
            "alias",
            place,
            "aliases (*name) are not used here",
            expected="the value itself",
            fix="write it out",
        )
    elif "nesting" in problem:
        return _fail("too-deep", place, "brackets are nested too deep", expected=f"at most {DEEPEST} levels")
    elif "another document" in problem:
        problem, fix = "a second document (---) begins here", "one file holds one gait or one machine"
    elif "mapping values" in problem:
        problem, fix = "a colon stands where no key can be", "put quotes around a text that contains ': '"
    context = getattr(error, "context", None)
    return _fail("yaml-syntax", place, f"{problem}" + (f" ({context})" if context else ""), fix=fix)


class _Builder:
    """Turns PyYAML nodes into our tree and closes what YAML lets through in silence."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.text = text
        self.findings: list[Finding] = []
        self.seen: set[int] = set()

    def build(self, root: object) -> tuple[Item, list[Finding]]:
        item = self._item(root, 0)
        return item, self.findings

    def _place(self, node: object) -> Place:
        mark = node.start_mark  # type: ignore[attr-defined]
        return Place(self.name, mark.line + 1, mark.column + 1)

    def _item(self, node: object, depth: int) -> Item:
        import yaml

        place = self._place(node)
        if depth > DEEPEST:
            raise _fail("too-deep", place, "nested too deep", expected=f"at most {DEEPEST} levels")
        if id(node) in self.seen:
            raise self._alias()
        self.seen.add(id(node))
        if isinstance(node, yaml.ScalarNode):
            return self._scalar(node, place)
        if node.tag not in {"tag:yaml.org,2002:seq", "tag:yaml.org,2002:map"}:  # type: ignore[attr-defined]
            raise self._tag(place)
        if isinstance(node, yaml.SequenceNode):
            return Listing(tuple(self._item(child, depth + 1) for child in node.value), place)
        assert isinstance(node, yaml.MappingNode)
        return self._mapping(node, place, depth)

    def _scalar(self, node: object, place: Place) -> Text:
        if node.tag != "tag:yaml.org,2002:str":  # type: ignore[attr-defined]
            raise self._tag(place)
        text = Text(node.value, not node.style, place)  # type: ignore[attr-defined]
        try:
            scalar(text)
        except ValueError as error:
            self._note("bad-number", place, str(error), expected="a finite number")
        return text

    def _mapping(self, node: object, place: Place, depth: int) -> Mapping:
        entries: list[tuple[Text, Item]] = []
        first: dict[str, Place] = {}
        for key_node, value_node in node.value:  # type: ignore[attr-defined]
            key = self._item(key_node, depth + 1)
            value = self._item(value_node, depth + 1)
            if not isinstance(key, Text):
                raise _fail(
                    "yaml-syntax",
                    key.place,
                    "a key must be a plain word",
                    fix="a value that begins with { or [ may need quotes",
                )
            if key.value in first:
                self._note(
                    "duplicate-key",
                    key.place,
                    f"{key.value} stands twice here; the first is in line {first[key.value].line}",
                    expected="each key once",
                )
                continue
            first[key.value] = key.place
            entries.append((key, value))
        return Mapping(tuple(entries), place)

    def _note(self, code: str, place: Place, message: str, *, expected: str) -> None:
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected))

    def _tag(self, place: Place) -> Unreadable:
        return _fail("yaml-syntax", place, "tags (!name) are not used here", expected="a plain value")

    def _alias(self) -> Unreadable:
        import yaml

        for event in yaml.parse(self.text, Loader=yaml.CBaseLoader):
            if isinstance(event, yaml.AliasEvent) and event.start_mark is not None:
                place = Place(self.name, event.start_mark.line + 1, event.start_mark.column + 1)
                return _fail(
                    "alias",
                    place,
                    f"aliases (*{event.anchor}) are not used here",
                    expected="the value itself",
                    fix="write it out, or use for_each, parts or defaults",
                )
        raise AssertionError("a node was seen twice without an alias")
