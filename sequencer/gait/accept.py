"""What stands under `accept:`, and which places of the file it concerns."""

from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from sequencer.base.acceptance import Acceptance
from sequencer.base.places import Place
from sequencer.gait.model_types import bare, is_model, step
from sequencer.gait.nodes import Item, Listing, Mapping, Positions, StandIn, Text

KEY = "accept"
_PARTS = "parts"  # their phases are looked at where they are used


@dataclass(slots=True)
class _Scope:
    """A block that may have an `accept`, around which `outer` is the next."""

    outer: "_Scope | None"
    entries: tuple[tuple[Text, Item], ...] = ()
    covers: set[Place] = field(default_factory=set)
    inside: set[Place] = field(default_factory=set)


def acceptances(
    model: type[BaseModel], root: Item, where: Positions, *, shared: bool
) -> tuple[Acceptance, ...]:
    """List the acceptances of one file, each once however often for_each, parts or mirror repeat it.

    root: the written-out tree. shared: whether other walks use this file as well.
    """
    if not any(path[-1] == KEY for path in where.keys if path):
        return ()
    scopes, owners = _scopes(model, root)
    for place, scope in owners.items():
        scope.covers.add(place)
        outer: _Scope | None = scope
        while outer is not None:
            outer.inside.add(place)
            outer = outer.outer
    return tuple(
        Acceptance(
            code.value, _reason(reason), code.place, frozenset(scope.covers), frozenset(scope.inside), shared
        )
        for scope in scopes
        for code, reason in scope.entries
    )


def _reason(item: Item) -> str:
    return " ".join(item.value.split()) if isinstance(item, Text) else ""


def _scopes(model: type[BaseModel], root: Item) -> tuple[list[_Scope], dict[Place, _Scope]]:
    """Give every block that may have an `accept`, and for each place the innermost of them around it."""
    top = _Scope(None)
    known: dict[tuple[Place, Place | None], _Scope] = {}  # copies of one block are one
    owners: dict[Place, _Scope] = {}
    stack: list[tuple[Any, Text | None, Item, _Scope]] = [(model, None, root, top)]
    while stack:
        kind, key, item, scope = stack.pop()
        item = item.was if isinstance(item, StandIn) else item
        kind = bare(kind)
        if isinstance(item, Mapping) and is_model(kind) and KEY in kind.model_fields:
            scope = known.setdefault((item.place, key.place if key else None), _Scope(scope))
            own = item.get(KEY)
            scope.entries = own.entries if isinstance(own, Mapping) else ()
            item = item.without(KEY)
        owners[item.place] = scope
        if key is not None:
            owners[key.place] = scope  # inner blocks come later: theirs is the last word
        if isinstance(item, Mapping):
            inner = [entry for entry in item.entries if not (scope.outer is top and entry[0].value == _PARTS)]
            stack.extend((step(kind, name.value), name, child, scope) for name, child in inner)
        elif isinstance(item, Listing):
            stack.extend((step(kind, i), None, child, scope) for i, child in enumerate(item.items))
    return list(known.values()), owners
