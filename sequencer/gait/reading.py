"""From a file to a tree: bytes, text, YAML, each with an error that says where."""

import os
import re
import stat
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.gait.likely import decimal_comma, missing_comma, other_kind
from sequencer.gait.nodes import Item, Listing, Mapping, Text, scalar

MOST_BYTES = 2_000_000
DEEPEST = 64
STANDARD_INPUT = "-"

_INDENTING_TAB = re.compile(r"^ *(\t)[ \t]*(?=[^\s#])", re.MULTILINE)
# libyaml ends a line, and with it a remark, at these three; YAML 1.2 and editors do not (section 5.4)
_OTHER_LINE_ENDS = re.compile("[\x85\u2028\u2029]")
# what is not c-printable, https://yaml.org/spec/1.2.2/ section 5.1
_NOT_PRINTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Unreadable(Exception):
    """The file gives no tree at all; `finding` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


def _fail(code: str, place: Place, message: str, *, expected: str = "", fix: str = "") -> Unreadable:
    return Unreadable(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))


def shown(path: str | Path) -> str:
    """Give the name under which a file is shown: relative to the current folder if it lies in there."""
    text = str(path) or "."
    if text == STANDARD_INPUT:
        return "<stdin>"
    try:
        relative = os.path.relpath(text)
    except (OSError, ValueError):  # an empty name, or a current folder that is gone
        return text
    inside = relative != os.pardir and not relative.startswith(os.pardir + os.sep)
    return relative if inside and len(relative) < len(text) else text


def read_text(path: str | Path, wanted: str = "a gait file") -> str:
    """Read a regular file, or standard input for ``-``, as UTF-8. Raises Unreadable.

    wanted: what the file should be, for the message if it is of another kind.
    """
    name = shown(path)
    start = Place(name, 1, 1)
    if str(path) == STANDARD_INPUT:
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        data = _read_regular(Path(path), start)
    what, fix = other_kind(path, data, wanted)
    if what:
        message = f"{name} is {what}, not {wanted}"
        raise _fail("other-kind", start, message, expected=f"{wanted}, in YAML", fix=fix)
    if len(data) > MOST_BYTES:
        raise _fail(
            "too-large",
            start,
            f"{name} is larger than {MOST_BYTES // 1_000_000} MB",
            expected="a gait or machine file written by hand",
            fix="is this a recording? give it after the gait: sequencer dry-run GAIT RECORDING",
        )
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        raise _fail(
            "not-text",
            _place_in(before, len(before), name),
            f"{name} is not UTF-8 text (byte 0x{data[error.start]:02x})",
            expected="a text file in UTF-8",
            fix="save it as UTF-8 in your editor; a packed or binary file cannot be used",
        ) from None


def _read_regular(path: Path, start: Place) -> bytes:
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except (OSError, ValueError) as error:  # ValueError: no file can have such a name
        why = error.strerror if isinstance(error, OSError) else "it is no file name"
        raise _fail(
            "no-file",
            start,
            f"{start.file[:200]} cannot be opened: {why}",
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
    except (OSError, ValueError):
        return ""
    if path.name.endswith(".machine.yaml"):
        names = [name for name in names if not name.endswith(".gait.yaml")]
    close = [name for name in names if name == f"{path.name}.gait.yaml"]
    others = [name for name in names if name != path.name]  # there, but closed to us
    close = close or difflib.get_close_matches(path.name, others, n=1, cutoff=0.75)
    return f"did you mean {path.parent / close[0]}?" if close else ""


Texts = dict[str, str]  # the text of each file, by the name under which it is shown


def read_tree(
    path: str | Path, wanted: str = "a gait file", texts: Texts | None = None
) -> tuple[Item, list[Finding]]:
    """Read a YAML file into a tree.

    Returns the tree and the findings that do not keep the rest from being judged (duplicate keys, numbers
    that are not finite). `wanted` is what the file should be. A file that stands in `texts` is taken from
    there; one that does not is put there. Raises Unreadable.
    """
    name = shown(path)
    known = {} if texts is None else texts
    if name not in known:
        known[name] = read_text(path, wanted)
    return parse_tree(known[name], name)


def parse_tree(text: str, name: str) -> tuple[Item, list[Finding]]:
    """Parse YAML text; `name` stands in places. See `read_tree`."""
    import yaml

    _refuse_characters(text, name)
    try:
        root = yaml.compose(text, Loader=yaml.CBaseLoader)
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, name, text) from None
    except yaml.YAMLError as error:
        raise _fail("yaml-syntax", Place(name, 1, 1), _one_line(str(error))) from None
    if root is None:
        raise _fail("empty-file", Place(name, 1, 1), f"{name} is empty", expected="keys and values")
    return _Builder(name, text).build(root)


def _refuse_characters(text: str, name: str) -> None:
    """Refuse what YAML does not allow, and what makes it read lines as no editor shows them."""
    if len(text) > MOST_BYTES:
        message = f"{name} is larger than {MOST_BYTES // 1_000_000} MB"
        raise _fail(
            "too-large", Place(name, 1, 1), message, expected="a gait or machine file written by hand"
        )
    for pattern, what, fix in (
        (_NOT_PRINTABLE, "a control character", "take it out"),
        (_OTHER_LINE_ENDS, "a line separator", "end the line as your editor does, or take it out"),
        (_INDENTING_TAB, "a tab", "indent with spaces"),
    ):
        match = pattern.search(text)
        if match is None:
            continue
        at = match.start(match.lastindex or 0)
        if pattern is _INDENTING_TAB:
            message = "a tab stands where only spaces may"
        else:
            message = f"{what} (U+{ord(text[at]):04X}) cannot stand in YAML"
        raise _fail("yaml-syntax", _place_in(text, at, name), message, expected="plain text", fix=fix)


def _place_in(text: str, at: int, name: str) -> Place:
    """Give line and column of a character, with the line ends of YAML 1.2: LF, CR LF, CR."""
    before = text[:at].replace("\r\n", "\n").replace("\r", "\n")
    return Place(name, before.count("\n") + 1, len(before) - before.rfind("\n"))


def _inside(text: str, mark: Any, name: str) -> Place:
    """Give the place of a mark; the end of the text where libyaml stands on a line after the last."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if mark.line < len(lines):
        return Place(name, mark.line + 1, min(mark.column, len(lines[mark.line])) + 1)
    return Place(name, len(lines), len(lines[-1]) + 1)


def _one_line(text: str) -> str:
    return " ".join(text.split())[:200]


def _syntax(error: object, name: str, text: str) -> Unreadable:
    problem_mark, context_mark = (getattr(error, f"{kind}_mark", None) for kind in ("problem", "context"))
    mark = problem_mark or context_mark
    place = _inside(text, mark, name) if mark else Place(name, 1, 1)
    problem = str(getattr(error, "problem", "") or error)
    if "undefined alias" in problem:
        return _fail(
            "alias",
            place,
            "aliases (*name) are not used here",
            expected="the value itself",
            fix="write it out",
        )
    if "nesting" in problem:
        return _fail("too-deep", place, "brackets are nested too deep", expected=f"at most {DEEPEST} levels")
    context, fix = getattr(error, "context", None), ""
    if "another document" in problem:
        problem, context, context_mark = "a second document (---) begins here", None, None
        fix = "one file holds one gait or one machine"
    elif "mapping values" in problem:
        problem, fix = "a colon stands where no key can be", "put quotes around a text that contains ': '"
    elif (
        problem_mark and context_mark and (said := _missing_comma(problem, text, problem_mark, context_mark))
    ):
        (problem, fix), context = said, None
    elif "cannot start any token" in problem:
        fix = "put quotes around a text that begins with %, @ or a backtick"
    finding = _fail("yaml-syntax", place, problem + (f" ({context})" if context else ""), fix=fix).finding
    if context_mark and problem_mark and context_mark.line != problem_mark.line:
        begin = _inside(text, context_mark, name)
        finding = replace(finding, notes=((begin, "it begins here"),))
    return Unreadable(finding)


def _missing_comma(problem: str, text: str, mark: Any, begin: Any) -> tuple[str, str] | None:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return missing_comma(problem, lines, (mark.line, mark.column), begin.line)


class _Builder:
    """Turns PyYAML nodes into our tree and closes what YAML lets through in silence."""

    def __init__(self, name: str, text: str) -> None:
        import yaml

        self.yaml = yaml
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
        yaml = self.yaml
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
        before = None
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
            if before is not None and (meant := self._decimal_comma(before, key_node, value_node)):
                entries[-1] = (entries[-1][0], meant)
                continue
            before = value_node
            if key.value in first:
                self._note(
                    "duplicate-key",
                    key.place,
                    f"{key.value[:60]} stands twice here; the first is in line {first[key.value].line}",
                    expected="each key once",
                )
                continue
            first[key.value] = key.place
            entries.append((key, value))
        return Mapping(tuple(entries), place)

    def _decimal_comma(self, before: Any, key: Any, value: Any) -> Text | None:
        """Give the number that was meant if a key is what follows a decimal comma: {value: 12,5}."""
        nodes = (before, key, value)
        if not all(isinstance(node, self.yaml.ScalarNode) and not node.style for node in nodes):
            return None
        end, start = before.end_mark, key.start_mark
        adjoining = (end.line, end.column + 1) == (start.line, start.column)
        number = decimal_comma(before.value, key.value) if adjoining and not value.value else ""
        if not number:
            return None
        place = self._place(before)
        message = f"{before.value},{key.value} is read as two things, for a comma ends a value here"
        self._note("bad-number", place, message, expected="a decimal point", fix=number)
        return Text(number, True, place)

    def _note(self, code: str, place: Place, message: str, *, expected: str, fix: str = "") -> None:
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))

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
                    f"aliases (*{str(event.anchor)[:60]}) are not used here",
                    expected="the value itself",
                    fix="write it out, or use for_each, parts or defaults",
                )
        raise AssertionError("a node was seen twice without an alias")
