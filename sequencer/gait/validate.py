"""From a tree to a model, with every error of the file in one pass.

What pydantic refuses is reported and cut out, and the rest is validated again, so that one slip in a file
does not hide the others.
"""

import difflib
import types
import typing
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from sequencer.base.findings import Finding, Severity
from sequencer.gait.nodes import Item, Listing, Mapping, Path, Positions, Text, plain_data, positions

Model = TypeVar("Model", bound=BaseModel)
_MOST_ROUNDS = 25

# what is put in the place of a top-level key that is missing or broken, so that the rest can be judged
_STAND_INS: dict[str, str] = {"gait": "unnamed", "machine": "unnamed", "tick": "10 ms"}

_EXPECTED = {
    "string_type": "a text",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "list_type": "a list",
    "dict_type": "keys with values",
    "model_type": "keys with values",
    "model_attributes_type": "keys with values",
    "too_short": "at least one entry",
}


def validate(model: type[Model], root: Item) -> tuple[Model | None, list[Finding], Positions]:
    """Validate a tree against a model.

    Returns the model of what is sound (None if nothing is), the findings, and the positions of what is sound.
    """
    findings: list[Finding] = []
    if not isinstance(root, Mapping):
        finding = Finding("wrong-type", Severity.ERROR, root.place, "keys with values are needed here")
        return None, [finding], positions(root)
    for _ in range(_MOST_ROUNDS):
        where = positions(root)
        try:
            return model.model_validate(plain_data(root)), findings, where
        except ValidationError as error:
            details = error.errors(include_url=False, include_input=False)
        findings += [_finding(model, detail, where) for detail in details]
        # last first, so that cutting a list item does not move those that are still to be cut
        cuts = {_cut_of(detail) for detail in details}
        outer = {cut for cut in cuts if not any(_is_inside(cut[0], other[0]) for other in cuts)}
        for path, stand_in in sorted(outer, key=_late_first):
            root = _without(root, path, stand_in)
    return None, findings, positions(root)


def _is_inside(path: Path, other: Path) -> bool:
    return len(path) > len(other) and path[: len(other)] == other


def _late_first(cut: tuple[Path, bool]) -> list[tuple[int, str]]:
    return [(-part, "") if isinstance(part, int) else (0, part) for part in cut[0]]


def _path(detail: ErrorDetails) -> Path:
    return tuple(part for part in detail["loc"] if part != "[key]")


def _cut_of(detail: ErrorDetails) -> tuple[Path, bool]:
    """Find the smallest entry that holds the error and can be missed, and whether it needs a stand-in."""
    path, kind = _path(detail), detail["type"]
    if kind == "extra_forbidden":
        return path, False
    if len(path) == 1:
        return path, path[0] in _STAND_INS
    numbers = [i for i, part in enumerate(path) if isinstance(part, int)]
    depth = numbers[0] + 1 if numbers else (4 if path[0] == "sequences" else 2)
    if kind == "missing":
        depth = min(depth, len(path) - 1)
    return path[:depth], False


def _without(item: Item, path: Path, stand_in: bool) -> Item:
    """Give the tree less the entry at `path`, or with a stand-in there."""
    if not path:
        return item
    part, rest = path[0], path[1:]
    if isinstance(item, Listing) and isinstance(part, int):
        children = list(item.items)
        children[part : part + 1] = [_without(children[part], rest, stand_in)] if rest else []
        return Listing(tuple(children), item.place)
    if not isinstance(item, Mapping):
        return item
    entries: list[tuple[Text, Item]] = []
    for key, child in item.entries:
        if key.value != part:
            entries.append((key, child))
        elif rest:
            entries.append((key, _without(child, rest, stand_in)))
    if stand_in and not rest:
        place = item.place
        entries.append((Text(str(part), True, place), Text(_STAND_INS[str(part)], True, place)))
    return Mapping(tuple(entries), item.place)


def _finding(model: type[BaseModel], detail: ErrorDetails, where: Positions) -> Finding:
    path, kind, context = _path(detail), detail["type"], detail.get("ctx", {})
    name = str(path[-1]) if path else ""
    if kind == "extra_forbidden":
        known = known_keys(model, path[:-1])
        close = difflib.get_close_matches(name, known, n=1)
        return Finding(
            "unknown-key",
            Severity.ERROR,
            where.key(path),
            f"{name[:60]!r} is not a key that can stand here",
            expected=", ".join(known),
            fix=f"did you mean {close[0]}?" if close else "",
        )
    if kind == "missing":
        return Finding(
            "missing-key", Severity.ERROR, where.key(path[:-1]), f"{name} is missing", expected=f"{name}: ..."
        )
    place = where.key(path) if detail["loc"] and detail["loc"][-1] == "[key]" else where.value(path)
    if "fix" in context:
        return Finding(
            kind, Severity.ERROR, place, detail["msg"], expected=context["expected"], fix=context["fix"]
        )
    if kind == "too_short":
        return Finding("missing-key", Severity.ERROR, place, f"{name} is empty", expected=_EXPECTED[kind])
    message = f"{name} has the wrong kind of value"
    return Finding("wrong-type", Severity.ERROR, place, message, expected=_EXPECTED.get(kind, detail["msg"]))


def known_keys(model: type[BaseModel], path: Path) -> list[str]:
    """List the keys that may stand at `path` of a file that `model` describes."""
    kind: Any = model
    for part in path:
        kind = _step(kind, part)
        if kind is None:
            return []
    kind = _bare(kind)
    if not _is_model(kind):
        return []
    return [info.alias or name for name, info in kind.model_fields.items()]


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _bare(kind: Any) -> Any:
    """Strip Annotated and the None of an optional; of a union take the model."""
    while True:
        origin = typing.get_origin(kind)
        if origin is typing.Annotated:
            kind = typing.get_args(kind)[0]
        elif origin in {typing.Union, types.UnionType}:
            options = [a for a in typing.get_args(kind) if a is not type(None)]
            models = [a for a in options if _is_model(_bare(a))]
            kind = (models or options)[0]
        else:
            return kind


def _step(kind: Any, part: str | int) -> Any:
    kind = _bare(kind)
    if _is_model(kind):
        for name, info in kind.model_fields.items():
            if part == (info.alias or name):
                return info.annotation
        return None
    arguments = typing.get_args(kind)
    return arguments[-1] if arguments else None
