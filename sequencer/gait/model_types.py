"""Which type stands where in a model: for the keys that are known at a place, and what can be left out."""

import functools
import types
import typing
from typing import Any

from pydantic import BaseModel

from sequencer.gait.nodes import Path


def known_keys(model: type[BaseModel], path: Path) -> list[str]:
    """List the keys that may stand at `path` of a file that `model` describes."""
    kind = bare(path_types(model, path)[-1])
    if not is_model(kind):
        return []
    return [info.alias or name for name, info in kind.model_fields.items()]


def path_types(model: type[BaseModel], path: Path) -> list[Any]:
    """Give the type at the root and at each further step of `path`; None where none is known."""
    kinds: list[Any] = [model]
    for part in path:
        kinds.append(step(kinds[-1], part))
    return kinds


def is_model(kind: Any) -> bool:
    """Tell whether a type is one of the models."""
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def bare(kind: Any) -> Any:
    """Strip Annotated and the None of an optional; of a union take the model."""
    while True:
        origin = typing.get_origin(kind)
        if origin is typing.Annotated:
            kind = typing.get_args(kind)[0]
        elif origin in {typing.Union, types.UnionType}:
            options = [a for a in typing.get_args(kind) if a is not type(None)]
            models = [a for a in options if is_model(bare(a))]
            kind = (models or options)[0]
        else:
            return kind


@functools.lru_cache(maxsize=1024)
def _field_types(kind: type[BaseModel]) -> dict[str, Any]:
    return {info.alias or name: info.annotation for name, info in kind.model_fields.items()}


def step(kind: Any, part: str | int) -> Any:
    """Give the type of what stands under a key, or at a number, of something of type `kind`."""
    kind = bare(kind)
    if is_model(kind):
        return _field_types(kind).get(str(part))
    arguments = typing.get_args(kind)
    return arguments[-1] if arguments else None
