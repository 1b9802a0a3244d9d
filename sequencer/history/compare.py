"""Holding two records against each other, bit for bit."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import DifferenceError
from sequencer.history.blocks import Executor, HistoryBlock
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock

_PER_TICK = (
    "now",
    "phase",
    "cause",
    "waits",
    "setpoint",
    "counter",
    "rule",
    "drives",
    "pulses",
    "loop",
    "output",
    "output_state",
)
_DETAIL = ("signal", "signal_state", "target", "truth", "margin")
_TOTALS = ("bad", "disbelieved", "outside")


@dataclass(frozen=True, slots=True)
class Difference:
    """The first place where two records differ.

    row: the tick's row in the block; for a total, the last row. field: which array, with the name of the
    column. first, second: the two values. states: both full states at that tick, as text.
    """

    row: int
    field: str
    first: float
    second: float
    states: str


def first_difference(plan: Plan, a: HistoryBlock, b: HistoryBlock) -> Difference | None:
    """Find the first tick in which two records of the same ticks differ; None if they agree to the bit.

    NaN equals NaN whatever its bits; +0 and -0 differ. Detail is compared if both have it. Raises ValueError
    if the records have different lengths.
    """
    if len(a) != len(b):
        raise ValueError(f"records of {len(a)} and {len(b)} ticks cannot be compared")
    firsts = []
    for order, (name, x, y) in enumerate(_pairs(a, b)):
        unequal = _unequal(x, y).reshape(len(a), -1)
        rows = np.flatnonzero(unequal.any(axis=1))
        if len(rows):
            row = int(rows[0])
            firsts.append((row, order, name, int(np.flatnonzero(unequal[row])[0]), x, y))
    if not firsts:
        return _unequal_total(plan, a, b)
    row, _, name, column, x, y = min(firsts, key=lambda found: found[:2])
    where = f"{name} of {_column_name(plan, name, column)}" if x.ndim > 1 else name
    first, second = (v.reshape(len(a), -1)[row, column].item() for v in (x, y))
    return Difference(row, where, first, second, _both(plan, a, b, row))


def differing_ticks(a: HistoryBlock, b: HistoryBlock) -> int:
    """Count the ticks in which two records of the same length differ in anything that is noted per tick."""
    found = np.zeros(len(a), np.bool_)
    for _, x, y in _pairs(a, b):
        found |= _unequal(x, y).reshape(len(a), -1).any(axis=1)
    return int(found.sum())


def _pairs(a: HistoryBlock, b: HistoryBlock) -> Iterator[tuple[str, NDArray[Any], NDArray[Any]]]:
    for name in _PER_TICK:
        yield name, getattr(a, name), getattr(b, name)
    if a.detail is not None and b.detail is not None:
        for name in _DETAIL:
            yield name, getattr(a.detail, name), getattr(b.detail, name)


def _unequal(x: NDArray[Any], y: NDArray[Any]) -> NDArray[np.bool_]:
    if x.dtype != np.float32:
        return np.asarray(x != y)
    different = x.view(np.uint32) != y.view(np.uint32)
    return np.asarray(different & ~(np.isnan(x) & np.isnan(y)))


def _unequal_total(plan: Plan, a: HistoryBlock, b: HistoryBlock) -> Difference | None:
    last = len(a) - 1
    for name in _TOTALS:
        x, y = getattr(a, name), getattr(b, name)
        if (x != y).any():
            column = int(np.flatnonzero(x != y)[0])
            where = f"{name} of {plan.signals[column].name}"
            return Difference(last, where, int(x[column]), int(y[column]), _both(plan, a, b, last))
    if a.refused != b.refused:
        return Difference(last, "refused", a.refused, b.refused, _both(plan, a, b, last))
    return None


def _column_name(plan: Plan, name: str, column: int) -> str:
    if name in ("truth", "margin"):
        return f"leaf {column} ({plan.leaves[column].place})"
    named: tuple[Any, ...]
    if name in ("phase", "cause", "waits"):
        named = plan.sequences
    elif name in ("setpoint", "target"):
        named = plan.setpoints
    elif name == "counter":
        named = plan.counters
    elif name == "rule":
        named = plan.rules
    elif name == "loop":
        named = plan.loops
    elif name in ("output", "output_state"):
        named = plan.outputs
    else:
        named = plan.signals
    return str(named[column].name)


def _both(plan: Plan, a: HistoryBlock, b: HistoryBlock, row: int) -> str:
    lines = []
    for title, block in (("first", a), ("second", b)):
        for when, r in (("tick before", row - 1), ("this tick", row)):
            if 0 <= r < len(block):
                lines.append(f"{title}, {when}:")
                lines += [f"  {line}" for line in state_text(plan, block, r)]
    return "\n".join(lines)


def state_text(plan: Plan, block: HistoryBlock, row: int) -> list[str]:
    """Spell out everything that a record says about one tick, one line per thing; floats with their bits."""
    drives = "on" if block.drives[row] else "off"
    lines = [f"now {block.now[row]} ms, drives {drives}, pulses {block.pulses[row]:#x}"]
    for i, sequence in enumerate(plan.sequences):
        number, cause = int(block.phase[row, i]), int(block.cause[row, i])
        name = sequence.phases[number].name if number < len(sequence.phases) else "?"
        lines.append(f"{sequence.name}: phase {number} {name}, cause kind {cause >> 8} index {cause & 0xFF}")
    detail = block.detail
    for i, setpoint in enumerate(plan.setpoints):
        target = "" if detail is None else f", target {_bits(detail.target[row, i])}"
        lines.append(f"{setpoint.name}: {_bits(block.setpoint[row, i])} {setpoint.unit}{target}")
    lines += [f"{counter.name}: {block.counter[row, i]}" for i, counter in enumerate(plan.counters)]
    lines += [f"rule {rule.name}: {block.rule[row, i]}" for i, rule in enumerate(plan.rules)]
    lines += [f"loop {loop.name}: {_bits(block.loop[row, i])}" for i, loop in enumerate(plan.loops)]
    for i, output in enumerate(plan.outputs):
        state = block.output_state[row, i]
        lines.append(f"output {output.name}: {_bits(block.output[row, i])}, state {state}")
    if detail is not None:
        for i, signal in enumerate(plan.signals):
            state = f"state {detail.signal_state[row, i]}"
            lines.append(f"{signal.name}: {_bits(detail.signal[row, i])} {signal.unit}, {state}")
        lines += [
            f"leaf {i}: truth {detail.truth[row, i]}, margin {_bits(detail.margin[row, i])}"
            for i in range(len(plan.leaves))
        ]
    return lines


def _bits(x: np.float32) -> str:
    return f"{x!s} (0x{x.view(np.uint32):08x})"


class TwinExecutor:
    """Runs two executors side by side and raises DifferenceError at the first tick in which they differ."""

    def __init__(self, first: Executor, second: Executor) -> None:
        self.plan = first.plan
        self._first, self._second = first, second
        self._ticks = 0

    def reset(self) -> None:
        """Reset both."""
        self._first.reset()
        self._second.reset()

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        """Run the block in both and return the first one's record.

        Raises DifferenceError whose report names the tick and the field and shows both states.
        """
        a = self._first.run(block, detail=detail)
        b = self._second.run(block, detail=detail)
        found = first_difference(self.plan, a, b)
        if found is not None:
            tick = self._ticks + found.row
            names = f"{type(self._first).__name__} and {type(self._second).__name__}"
            message = f"{names} differ in tick {tick}: {found.field} is {found.first} and {found.second}"
            raise DifferenceError(message, f"{message}\n{found.states}")
        self._ticks += len(block)
        return a
