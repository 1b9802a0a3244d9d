"""Edits as changes of a file's text: every character outside of them stays as it is.

The text is composed anew, for positions of both ends of every value; a change is only made if the file then
says what it said before, but for the one key.
"""

import re
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sequencer.base.findings import Edit

_LINE_END = re.compile(r"\r\n|\r|\n")
_Found = tuple[Edit, Any, "Splice"]  # the edit, the node of its mapping, the change that it is
Shape = Any  # what a YAML tree says: (text, is it quoted), or lists and dicts of such


@dataclass(frozen=True, slots=True, order=True)
class Splice:
    """Put `text` where the characters from `start` to before `end` stand."""

    start: int
    end: int
    text: str


def spliced(text: str, splices: list[Splice]) -> str:
    """Make all the changes. Raises ValueError if two of them overlap."""
    ordered = sorted(splices)
    if any(a.end > b.start for a, b in pairwise(ordered)):
        raise ValueError("two changes of one text overlap")
    for change in reversed(ordered):
        text = text[: change.start] + change.text + text[change.end :]
    return text


class Source:
    """The text of a file that can be loaded, and where everything in it stands."""

    def __init__(self, text: str) -> None:
        import yaml

        self.text = text
        self._yaml = yaml
        self._starts = [0, *(match.end() for match in _LINE_END.finditer(text))]
        self._mappings: dict[tuple[int, int], Any] = {}
        self._under: dict[tuple[int, int], Any] = {}
        self._root = yaml.compose(text, Loader=yaml.CBaseLoader)
        self._index()

    def _index(self) -> None:
        stack = [self._root]
        while stack:
            node = stack.pop()
            if isinstance(node, self._yaml.MappingNode):
                self._mappings[_at(node)] = node
                for key, value in node.value:
                    self._under[_at(key)] = value
                    stack.append(value)
            elif isinstance(node, self._yaml.SequenceNode):
                stack.extend(node.value)

    def line_and_column(self, offset: int) -> tuple[int, int]:
        """Return the line and column, from 1, of a character."""
        line = bisect_right(self._starts, offset)
        return line, offset - self._starts[line - 1] + 1

    def changes(self, edits: Iterable[Edit]) -> dict[Edit, Splice]:
        """Turn edits into changes of the text, less those that can't be made, or that change nothing."""
        batches: dict[int, list[_Found]] = defaultdict(list)  # no key twice in one of them
        seen: Counter[tuple[int, str]] = Counter()
        for edit in dict.fromkeys(edits):
            for node, change in self._change(edit):
                batches[seen[id(node), edit.key]].append((edit, node, change))
                seen[id(node), edit.key] += 1
        return {edit: change for batch in batches.values() for edit, _, change in self._harmless(batch)}

    def _change(self, edit: Edit) -> Iterator[tuple[Any, Splice]]:
        node = (self._under if edit.at_key else self._mappings).get((edit.place.line, edit.place.column))
        if not isinstance(node, self._yaml.MappingNode):
            return
        there = next((value for key, value in node.value if key.value == edit.key), None)
        change = self._insert(node, edit) if there is None else self._replace(there, edit)
        if change is not None and self.text[change.start : change.end] != change.text:
            yield node, change

    def _offset(self, mark: Any) -> int:
        return int(self._starts[mark.line] + mark.column)

    def _replace(self, value: Any, edit: Edit) -> Splice | None:
        end = self._end(value)
        scalar = isinstance(value, self._yaml.ScalarNode)
        if end is None or not scalar:
            return None
        return Splice(self._offset(value.start_mark), end, edit.value)

    def _insert(self, node: Any, edit: Edit) -> Splice | None:
        """Put a new key behind the guard it belongs to, else behind the last key."""
        added = f"{edit.key}: {edit.value}"
        ends = [(key.value, end) for key, value in node.value if (end := self._end(value)) is not None]
        guard = [end for key, end in ends if key == "when" and edit.key == "hold"]
        if not node.value:
            begin = self._offset(node.start_mark) + 1
            return Splice(begin, begin, added)
        if not ends:
            return None
        after = guard[0] if guard else ends[-1][1]
        if node.flow_style:
            return Splice(after, after, f", {added}")
        line_end = _LINE_END.search(self.text, after)
        stop = line_end.start() if line_end else len(self.text)
        indent = " " * node.value[0][0].start_mark.column
        return Splice(stop, stop, f"{self._line_end()}{indent}{added}")

    def _line_end(self) -> str:
        match = _LINE_END.search(self.text)
        return match[0] if match else "\n"

    def _end(self, node: Any) -> int | None:
        """Return where a value ends, without the remarks and blank lines behind it; None if it is unclear."""
        while not isinstance(node, self._yaml.ScalarNode) and not node.flow_style:
            if not node.value:
                return None
            last = node.value[-1]
            node = last[1] if isinstance(last, tuple) else last
        if isinstance(node, self._yaml.ScalarNode) and node.style in {"|", ">"}:
            return None  # its end is a matter of the lines after it
        start, end = self._offset(node.start_mark), self._offset(node.end_mark)
        return end if end > start else None

    def _harmless(self, found: list[_Found]) -> list[_Found]:
        """Leave out the changes that say more than they should; they are sought by halving."""
        if self._are_harmless(found):
            return found
        half = len(found) // 2
        return [*self._harmless(found[:half]), *self._harmless(found[half:])] if half else []

    def _are_harmless(self, found: list[_Found]) -> bool:
        """Tell whether the file says the same after these changes, but for the keys concerned."""
        meant: dict[int, dict[str, Shape]] = {}
        try:
            for edit, node, _ in found:
                value = self._yaml.compose(edit.value, Loader=self._yaml.CBaseLoader)
                meant.setdefault(id(node), {})[edit.key] = _shape(value, {})
            text = spliced(self.text, [change for _, _, change in found])
            after = self._yaml.compose(text, Loader=self._yaml.CBaseLoader)
        except (ValueError, self._yaml.YAMLError):
            return False
        return bool(_shape(after, {}) == _shape(self._root, meant))


def _at(node: Any) -> tuple[int, int]:
    return node.start_mark.line + 1, node.start_mark.column + 1


def _shape(node: Any, meant: dict[int, dict[str, Shape]]) -> Shape:
    """Return what a tree says, with the keys that are meant to change as they will be."""
    if isinstance(node.value, str):
        return node.value, bool(node.style)
    if node.tag.endswith(":seq"):
        return [_shape(child, meant) for child in node.value]
    rows = {key.value: _shape(value, meant) for key, value in node.value}
    return {**rows, **meant.get(id(node), {})}
