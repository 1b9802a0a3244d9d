"""From a tree to a model, with every error of the file in one pass.

What pydantic refuses is reported and cut out, and the rest is validated again, so that one slip in a file
does not hide the others.
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.gait.model_types import bare, is_model, known_keys, path_types
from sequencer.gait.nodes import (
    Item,
    Listing,
    Mapping,
    Path,
    Positions,
    StandIn,
    Text,
    plain_data,
    positions,
)

Model = TypeVar("Model", bound=BaseModel)
_MOST_ROUNDS = 25
_MOST_TOLD = 1000  # of one round; a file with more slips is not a gait at all

# what is put in the place of a top-level key that is missing or broken, so that the rest can be judged
_STAND_INS: dict[str, str] = {"gait": "unnamed", "machine": "unnamed", "body": "unnamed", "tick": "10 ms"}

_EXPECTED = {
    "string_type": "a text",
    "bool_type": "true or false, without quotes (yes, no, on and off are words)",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "list_type": "a list, in square brackets",
    "dict_type": "keys with values",
    "model_type": "keys with values",
    "model_attributes_type": "keys with values",
    "too_short": "at least one entry",
}
_GUARDS = {"when", "must", "while"}
_SIGNS = {">": "write above", ">=": "write at_least", "<": "write below", "<=": "write at_most"}


@dataclass(frozen=True, slots=True)
class Validated(Generic[Model]):
    """The model of what is sound (None if nothing is), its positions, and the paths that were left out."""

    model: Model | None
    findings: list[Finding]
    where: Positions
    cut: frozenset[Path]


def validate(model: type[Model], root: Item) -> Validated[Model]:
    """Validate a tree against a model."""
    findings: list[Finding] = []
    if not isinstance(root, Mapping):
        finding = Finding(
            "wrong-type",
            Severity.ERROR,
            root.place,
            "keys with values are needed here",
            expected="a gait file (gait: NAME, and so on) or a machine file (machine: NAME, and so on)",
            fix="if this is a recording, it comes after the gait: sequencer dry-run GAIT RECORDING",
        )
        return Validated(None, [finding], positions(root), frozenset())
    told: set[Place] = set()  # blocks in which something was wrong already
    cut: set[Path] = set()
    for _ in range(_MOST_ROUNDS):
        where = positions(root)
        try:
            return Validated(model.model_validate(plain_data(root)), findings, where, frozenset(cut))
        except ValidationError as error:
            details = error.errors(include_url=False)
        meant = {path for detail in details[:_MOST_TOLD] if (path := _meant(model, detail)) is not None}
        findings += _findings(model, details[:_MOST_TOLD], where, (meant, told))
        told |= {where.value(_path(detail)[:-1]) for detail in details}
        cuts = [_cut_of(model, detail) for detail in details]
        cut |= meant | {path for path, _ in cuts}
        root = _without(root, _Cuts.of(cuts))
    return Validated(None, findings, positions(root), frozenset(cut))


def _path(detail: ErrorDetails) -> Path:
    loc = detail["loc"]
    about_key = loc and loc[-1] == "[key]" and detail["type"] != "extra_forbidden"
    return loc[:-1] if about_key else loc


def _meant(model: type[BaseModel], detail: ErrorDetails) -> Path | None:
    """Give the path of the key that an unknown one was meant to be, if one is near."""
    if detail["type"] != "extra_forbidden":
        return None
    *block, name = _path(detail)
    close = difflib.get_close_matches(str(name), known_keys(model, tuple(block)), n=1)
    return (*block, close[0]) if close else None


# cutting out


def _cut_of(model: type[BaseModel], detail: ErrorDetails) -> tuple[Path, Any]:
    """Find the smallest thing that holds the error and can be missed, and what has to stand in for it."""
    path, kind = _path(detail), detail["type"]
    if kind == "extra_forbidden":
        return path, None
    types = path_types(model, path)
    there = len(path) - (kind == "missing")
    for depth in range(there, 0, -1):
        here = bare(types[depth])
        if is_model(here) and hasattr(here, "stand_in"):
            return path[:depth], here
    for depth in range(there, 0, -1):
        holder = bare(types[depth - 1])
        if not is_model(holder):
            return path[:depth], None
        field = next((f for n, f in holder.model_fields.items() if path[depth - 1] == (f.alias or n)), None)
        if field is None or not field.is_required():
            return path[:depth], None
    return path[:1], _STAND_INS.get(str(path[0])) if path else None


@dataclass(slots=True)
class _Cuts:
    """Paths as a tree: what to cut at a place (None for nothing below), and what stands in for it."""

    below: dict[str | int, "_Cuts"]
    here: bool = False
    stand_in: Any = None

    @staticmethod
    def of(cuts: Iterable[tuple[Path, Any]]) -> "_Cuts":
        top = _Cuts({})
        for path, stand_in in cuts:
            node = top
            for part in path:
                node = node.below.setdefault(part, _Cuts({}))
            node.here, node.stand_in = True, node.stand_in or stand_in
        return top


def _without(item: Item, cuts: _Cuts) -> Item:
    """Give the tree less what is cut, or with stand-ins there."""
    if isinstance(item, Listing):
        children = [_child(child, cuts.below.get(i)) for i, child in enumerate(item.items)]
        return Listing(tuple(child for child in children if child is not None), item.place)
    if not isinstance(item, Mapping):
        return item
    entries = [(key, _child(child, cuts.below.get(key.value))) for key, child in item.entries]
    kept = [(key, child) for key, child in entries if child is not None]
    present = {key.value for key, _ in item.entries}
    for part, cut in cuts.below.items():
        if isinstance(cut.stand_in, str) and part not in present:
            kept.append((Text(str(part), True, item.place), Text(cut.stand_in, True, item.place)))
    return Mapping(tuple(kept), item.place)


def _child(item: Item, cuts: _Cuts | None) -> Item | None:
    if cuts is None:
        return item
    if not cuts.here:
        # a single word may stand for a list of one, which is empty then
        return Listing((), item.place) if isinstance(item, Text) else _without(item, cuts)
    if isinstance(cuts.stand_in, str):
        return Text(cuts.stand_in, True, item.place)
    if cuts.stand_in is not None:
        return StandIn("", False, item.place, cuts.stand_in.stand_in(plain_data(item)), item)
    return None


# telling


def _findings(
    model: type[BaseModel],
    details: list[ErrorDetails],
    where: Positions,
    known: tuple[set[Path], set[Place]],
) -> list[Finding]:
    meant, told = known
    missing: dict[Path, list[str]] = {}
    found: list[Finding] = []
    for detail in details:
        path = _path(detail)
        if detail["type"] == "missing":
            if path not in meant and where.value(path[:-1]) not in told:
                missing.setdefault(path[:-1], []).append(str(path[-1]))
            continue
        finding = _finding(model, detail, where)
        follows = finding.code in {"missing-key", "bad-guard"} and where.value(path) in told
        if not follows:
            found.append(finding)
    for block, names in missing.items():
        said = " and ".join([", ".join(names[:-1])] * (len(names) > 1) + names[-1:])
        message = f"{said} {'are' if len(names) > 1 else 'is'} missing"
        expected = ", ".join(f"{name}: ..." for name in names)
        found.append(Finding("missing-key", Severity.ERROR, where.key(block), message, expected=expected))
    return found


_BOUNDS = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}
_LENGTHS = {
    "string_too_short": ("at least so many characters:", "min_length"),
    "string_too_long": ("at most so many characters:", "max_length"),
    "too_long": ("at most so many entries:", "max_length"),
}


def _named(path: Path) -> str:
    """Give the key that a path is about: of an entry in a list, that of the list."""
    names = [str(part) for part in path if isinstance(part, str)]
    return names[-1] if names else ""


def _own_words(detail: ErrorDetails, place: Place) -> Finding | None:
    """Tell of a word that is none of those that can stand there, or of what is beyond its bounds."""
    kind, context, name = detail["type"], detail.get("ctx", {}), _named(_path(detail))
    given = str(detail["input"])[:40]
    if kind == "literal_error":
        words = context["expected"].replace("'", "")
        close = difflib.get_close_matches(given, words.replace(" or ", ", ").split(", "), n=1)
        fix = f"did you mean {close[0]}?" if close else ""
        message = f"{given!r} cannot stand under {name}"
        return Finding("wrong-type", Severity.ERROR, place, message, expected=words, fix=fix)
    if kind in _BOUNDS:
        words, key = _BOUNDS[kind]
        message, bound = f"{name} is {given}", f"{words} {context[key]}"
        fix = f"write {context[key]}" if key in {"ge", "le"} else ""
        return Finding("wrong-type", Severity.ERROR, place, message, expected=bound, fix=fix)
    if kind in _LENGTHS:
        words, key = _LENGTHS[kind]
        message = f"{name} is too {'short' if key == 'min_length' else 'long'}"
        return Finding("wrong-type", Severity.ERROR, place, message, expected=f"{words} {context[key]}")
    return None


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
            fix=f"did you mean {close[0]}?" if close else _SIGNS.get(name, ""),
        )
    place = where.key(path) if detail["loc"] and detail["loc"][-1] == "[key]" else where.value(path)
    if "fix" in context:
        return Finding(
            kind, Severity.ERROR, place, detail["msg"], expected=context["expected"], fix=context["fix"]
        )
    if kind == "too_short":
        return Finding("missing-key", Severity.ERROR, place, f"{name} is empty", expected=_EXPECTED[kind])
    if (own := _own_words(detail, place)) is not None:
        return own
    message = (
        f"{name} has the wrong kind of value" if not name.isdigit() else "this is the wrong kind of value"
    )
    expected = _EXPECTED.get(kind, detail["msg"])
    fix = "a guard, such as {event: go} or {signal: tilt, above: 5 deg}" if name in _GUARDS else ""
    return Finding("wrong-type", Severity.ERROR, place, message, expected=expected, fix=fix)
