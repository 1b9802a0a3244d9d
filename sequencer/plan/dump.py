"""The plan as data and as text, and the hash of its meaning."""

import hashlib
import json
from dataclasses import fields, is_dataclass
from typing import Any

from sequencer.base.places import Place
from sequencer.plan.tables import Plan

SCHEMA_VERSION = 1
_NOT_MEANING = {"about", "place", "sources", "sha", "never_because"}


def as_data(plan: Plan) -> dict[str, Any]:
    """Turn a plan into plain data: dicts, lists, numbers, texts; places as ``file:line:column``."""
    return {"version": SCHEMA_VERSION, **_data(plan, frozenset())}


def _data(value: Any, leave_out: frozenset[str]) -> Any:
    if isinstance(value, Place):
        return str(value)
    if is_dataclass(value):
        row = {} if isinstance(value, Plan) else {"kind": type(value).__name__}
        for field in fields(value):
            if field.name not in leave_out:
                name = "node" if field.name == "kind" else field.name
                row[name] = _data(getattr(value, field.name), leave_out)
        return row
    if isinstance(value, tuple):
        return [_data(item, leave_out) for item in value]
    return value


def meaning_hash(plan: Plan) -> str:
    """Hash the names and numbers of a plan, not its places and remarks: SHA-256, the first 16 hex digits."""
    data = _data(plan, frozenset(_NOT_MEANING))
    text = json.dumps(data, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]
