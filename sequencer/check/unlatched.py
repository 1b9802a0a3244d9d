"""A release that keeps a comparison true where the value stands."""

import math

from sequencer.check.facts import Facts, Range
from sequencer.plan.tables import Compare
from sequencer.plan.words import number_words


def release_for(facts: Facts, leaf: Compare, stands: Range, room: float) -> str | None:
    """Write a release `room` away from where a value stands: noise does not make the comparison false then.

    None if there is none of sense: beyond the span of the signal it could never end, `outside` would need to
    know on which side the value stands, and a named number may be trimmed past it.
    """
    levels = [level for level in (leaf.low, leaf.high) if level is not None]
    if leaf.op == "outside" or any(level.parameter is not None for level in levels):
        return None
    signal = facts.plan.signals[leaf.index]
    low, high = _floor(max(stands[0], signal.low) - room), _ceil(min(stands[1], signal.high) + room)
    if leaf.op in {"at_least", "above"}:
        return number_words(low, signal.unit) if low > signal.low else None
    if leaf.op in {"at_most", "below"}:
        return number_words(high, signal.unit) if high < signal.high else None
    assert leaf.low is not None and leaf.high is not None
    low, high = min(low, facts.level(leaf.low)[0]), max(high, facts.level(leaf.high)[1])
    if low <= signal.low or high >= signal.high:
        return None
    return f"[{number_words(low, signal.unit)}, {number_words(high, signal.unit)}]"


def _floor(x: float) -> float:
    """Round down to three digits."""
    step = 10.0 ** (math.floor(math.log10(abs(x))) - 2) if x else 1.0
    return float(f"{math.floor(x / step) * step:.6g}")


def _ceil(x: float) -> float:
    return -_floor(-x)
