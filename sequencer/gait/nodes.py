"""A YAML file as a tree in which every key and value knows where it stands."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.base.places import Place


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar as written. `plain` is False if it was quoted, and then it is a string whatever it says."""

    value: str
    plain: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Listing:
    """A sequence of items."""

    items: tuple["Item", ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Mapping:
    """Keys and their items, in the order of the file; keys are distinct."""

    entries: tuple[tuple[Text, "Item"], ...]
    place: Place

    def get(self, key: str) -> "Item | None":
        """Give the item under a key, or None."""
        return next((item for name, item in self.entries if name.value == key), None)

    def without(self, *keys: str) -> "Mapping":
        """Give the mapping less some keys."""
        return Mapping(tuple(entry for entry in self.entries if entry[0].value not in keys), self.place)


@dataclass(frozen=True, slots=True)
class StandIn(Text):
    """What stands for something broken, so that the rest can be judged: a ready model; `was` is the tree."""

    model: object
    was: "Item"


Item = Text | Listing | Mapping
Path = tuple[str | int, ...]
Scalar = str | int | float | bool | None

# YAML 1.2 core schema, https://yaml.org/spec/1.2.2/ section 10.3.2
_NULL = {"", "~", "null", "Null", "NULL"}
_BOOL = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_SPECIAL = re.compile(r"[-+]?(\.inf|\.Inf|\.INF)|\.nan|\.NaN|\.NAN")
_LONGEST_INT = 300
_MAY_RESOLVE = frozenset("+-.0123456789~nNtTfF")  # how all of the above begin; most texts do not


def scalar(text: Text) -> Scalar:
    """Resolve a scalar by the YAML 1.2 core rules: ``on``, ``yes`` and ``1_000`` are strings.

    Raises ValueError for .inf, .nan and numbers too large for binary64.
    """
    value = text.value
    if not text.plain or (value and value[0] not in _MAY_RESOLVE):
        return value
    if value in _NULL:
        return None
    if value in _BOOL:
        return _BOOL[value]
    if _INT.fullmatch(value) and len(value) < _LONGEST_INT:
        base = {"0o": 8, "0x": 16}.get(value[:2], 10)
        return int(value, base) if base != 10 else int(value)
    if _SPECIAL.fullmatch(value):
        raise ValueError(f"{value} is not a finite number")
    if _FLOAT.fullmatch(value):
        number = float(value)
        if not math.isfinite(number):
            raise ValueError(f"{value[:40]} is too large")
        return number
    return value


@dataclass(frozen=True, slots=True)
class Positions:
    """Where the value and the key at each path of a document stand."""

    values: dict[Path, Place]
    keys: dict[Path, Place]

    def value(self, path: Path) -> Place:
        """Give the place of the value at `path`, or of the nearest thing around it."""
        return self._nearest(self.values, path)

    def key(self, path: Path) -> Place:
        """Give the place of the key at `path`; the value's place where it has no key."""
        return self.keys.get(path) or self.value(path)

    @staticmethod
    def _nearest(table: dict[Path, Place], path: Path) -> Place:
        while path not in table and path:
            path = path[:-1]
        return table[path]


def positions(root: Item) -> Positions:
    """Collect the places of a whole tree."""
    found = Positions({}, {})
    for path, key, item in walk(root):
        found.values[path] = item.place
        if key is not None:
            found.keys[path] = key.place
    return found


def walk(root: Item) -> Iterator[tuple[Path, Text | None, Item]]:
    """Visit every item with its path and key, in no particular order."""
    stack: list[tuple[Path, Text | None, Item]] = [((), None, root)]
    while stack:
        path, key, item = stack.pop()
        yield path, key, item
        if isinstance(item, StandIn):
            item = item.was
        if isinstance(item, Mapping):
            stack.extend(((*path, name.value), name, child) for name, child in item.entries)
        elif isinstance(item, Listing):
            stack.extend(((*path, i), None, child) for i, child in enumerate(item.items))


def plain_data(item: Item) -> object:
    """Turn a tree into dicts, lists and scalars. Depth is bounded by the reader, so recursion is safe."""
    if isinstance(item, Mapping):
        return {key.value: plain_data(child) for key, child in item.entries}
    if isinstance(item, Listing):
        return [plain_data(child) for child in item.items]
    if isinstance(item, StandIn):
        return item.model
    try:
        return scalar(item)
    except ValueError:
        return item.value  # reported by the reader; kept as text so that the rest can be judged
