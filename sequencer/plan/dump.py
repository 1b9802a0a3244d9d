"""The plan as data and as text, and the hash of its meaning."""

import functools
import hashlib
import json
from dataclasses import fields
from typing import Any

from sequencer.base.places import Place
from sequencer.plan.tables import Plan

SCHEMA_VERSION = 1
_FOR_THE_CHECK = "acceptances"  # no table: what the file's maker says to the check
# remarks, places, what is around the program, and whether a row was written out by hand or by mirror: a tick
# is the same without them
_NOT_MEANING = {"about", "place", "sources", "sha", "never_because", "mirrored", "mirrored_from"} | {
    "wiring",
    "budget",
}
# and what hardly any plan has: left out where it says nothing, so that the other plans keep their hashes
_SELDOM = {
    *("zero_from", "kp_times", "bi_times", "bd_times", "limit_from", "cap", "cap_from"),
    "helping",
    "fixed",
}


def as_data(plan: Plan) -> dict[str, Any]:
    """Turn a plan's tables into plain data: dicts, lists, numbers, texts; places as ``file:line:column``."""
    return {"version": SCHEMA_VERSION, **_data(plan, frozenset())}


def _data(value: Any, leave_out: frozenset[str]) -> Any:
    if value is None or isinstance(value, int | float | str):
        return value
    if isinstance(value, tuple):
        return [_data(item, leave_out) for item in value]
    if isinstance(value, Place):
        return str(value)
    row = {} if isinstance(value, Plan) else {"kind": type(value).__name__}
    for name, shown in _columns(value.__class__):
        column = getattr(value, name)
        if name not in leave_out and not (leave_out and name in _SELDOM and column in (None, False)):
            row[shown] = _data(column, leave_out)
    return row


@functools.lru_cache(maxsize=64)
def _columns(table: type) -> tuple[tuple[str, str], ...]:
    """Give the names of a table's columns, and those under which they are written."""
    names = [field.name for field in fields(table) if field.name != _FOR_THE_CHECK]
    return tuple((name, "node" if name == "kind" else name) for name in names)


def meaning_hash(plan: Plan) -> str:
    """Hash the names and numbers of a plan, not its places and remarks: SHA-256, the first 16 hex digits."""
    data = _data(plan, frozenset(_NOT_MEANING))
    text = json.dumps(data, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]
