"""The columns of a run of a gait: which there are, in which order, and their numbers block by block."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import SEEN, Detail, HistoryBlock
from sequencer.history.holding import HoldLeft
from sequencer.history.margins import comparison_unit, guard_margins
from sequencer.plan.tables import Plan
from sequencer.plan.words import given_unit

Floats = NDArray[np.float32]
_Part = Callable[[HistoryBlock, Detail], Floats]


@dataclass(frozen=True, slots=True)
class ColumnHead:
    """What a column is called and what it is."""

    name: str
    unit: str
    role: str


@dataclass(frozen=True, slots=True)
class WatchedGuard:
    """A guard of a phase or of `anywhere` (then `sequence` and `phase` are None); `number` counts from 0."""

    guard: int
    sequence: int | None
    phase: int | None
    number: int


def watched_guards(plan: Plan) -> list[WatchedGuard]:
    """List the guards of all phases in document order, then the entries of `anywhere`."""
    found = [
        WatchedGuard(way.guard, s, p, number)
        for s, sequence in enumerate(plan.sequences)
        for p, phase in enumerate(sequence.phases)
        for number, way in enumerate(phase.exits)
    ]
    return found + [
        WatchedGuard(entry.guard, None, None, number) for number, entry in enumerate(plan.anywhere)
    ]


class RunColumns:
    """The columns of runs of one plan: what was measured and commanded, then what guards came to.

    In this order: signals, setpoints, their targets, loops, outputs, counters, leaves and guards.
    `heads[i]` describes column i. signal, setpoint, target: where their first column stands. truth, margin:
    leaf -> column; guard_truth, hold_left: guard -> column.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.heads: list[ColumnHead] = []
        self._parts: list[_Part] = []
        self._holds: dict[int, HoldLeft] = {}
        self._truths: dict[int, NDArray[np.uint8]] = {}
        self.signal = 0
        self.setpoint = len(plan.signals)
        self.target = self.setpoint + len(plan.setpoints)
        self.loop = self.target + len(plan.setpoints)
        self.output = self.loop + len(plan.loops)
        self.counter = self.output + len(plan.outputs)
        self.truth: dict[int, int] = {}
        self.margin: dict[int, int] = {}
        self.guard_truth: dict[int, int] = {}
        self.hold_left: dict[int, int] = {}
        self._add_measured()
        self._add_guards()

    def values(self, history: HistoryBlock) -> list[Floats]:
        """Give every column's numbers for a block that was recorded with detail, float32 (n,) each.

        Blocks are to come in order: what is left of a hold goes on from one to the next.
        """
        assert history.detail is not None
        detail = history.detail
        self._truths.clear()
        return [part(history, detail) for part in self._parts]

    def _add(self, name: str, unit: str, role: str, part: _Part) -> int:
        self.heads.append(ColumnHead(name, unit, role))
        self._parts.append(part)
        return len(self.heads) - 1

    def _add_measured(self) -> None:
        plan = self.plan
        for i, signal in enumerate(plan.signals):
            self._add(signal.name, signal.unit, "signal", _seen(i))
        for i, setpoint in enumerate(plan.setpoints):
            self._add(setpoint.name, setpoint.unit, "setpoint", _recorded("setpoint", i))
        for i, setpoint in enumerate(plan.setpoints):
            name = f"{setpoint.name} target"
            self._add(name, setpoint.unit, "target", _detailed("target", i))
        for i, loop in enumerate(plan.loops):
            self._add(loop.name, given_unit(plan, i), "loop", _recorded("loop", i))
        for i, output in enumerate(plan.outputs):
            self._add(output.name, "", "output", _recorded("output", i))
        for i, counter in enumerate(plan.counters):
            self._add(counter.name, "", "counter", _recorded("counter", i))

    def _add_guards(self) -> None:
        for watched in watched_guards(self.plan):
            guard = self.plan.guards[watched.guard]
            for leaf in guard.leaves:
                self.truth[leaf] = self._add(f"truth {leaf}", "", "truth", _detailed("truth", leaf))
                unit = comparison_unit(self.plan, leaf)
                if unit is not None:
                    self.margin[leaf] = self._add(
                        f"margin {leaf}", unit[1], "margin", _detailed("margin", leaf)
                    )
            self.guard_truth[guard.index] = self._add(
                f"guard {guard.index}", "", "truth", partial(self._truth, guard.index)
            )
            if guard.hold is not None:
                self._holds[guard.index] = HoldLeft(guard, watched.sequence)
                self.hold_left[guard.index] = self._add(
                    f"hold {guard.index}",
                    "ms" if guard.hold.ms is not None else "samples",
                    "hold",
                    partial(self._left, guard.index),
                )

    def _guard(self, guard: int, detail: Detail) -> NDArray[np.uint8]:
        if guard not in self._truths:
            self._truths[guard] = guard_margins(self.plan, guard, detail)[0]
        return self._truths[guard]

    def _truth(self, guard: int, _: HistoryBlock, detail: Detail) -> Floats:
        return self._guard(guard, detail).astype(np.float32)

    def _left(self, guard: int, history: HistoryBlock, detail: Detail) -> Floats:
        return self._holds[guard].left(history, self._guard(guard, detail))


def _recorded(field: str, index: int) -> _Part:
    return lambda history, _: getattr(history, field)[:, index].astype(np.float32)


def _detailed(field: str, index: int) -> _Part:
    return lambda _, detail: getattr(detail, field)[:, index].astype(np.float32)


def _seen(signal: int) -> _Part:
    def part(_: HistoryBlock, detail: Detail) -> Floats:
        known = detail.signal_state[:, signal] & SEEN
        return np.where(known, detail.signal[:, signal], np.float32("nan")).astype(np.float32)

    return part
