"""Building a run from the blocks that an executor returns."""

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np

from sequencer.base.binary32 import f32, is_finite
from sequencer.history.blocks import OUTPUT_OFF, OUTPUT_ON, RULE_KEPT, Detail, HistoryBlock, new_block
from sequencer.history.machine import MachineJudge
from sequencer.history.run import Interval, Ints, Run, SampleTotals, Transitions, Write
from sequencer.plan.tables import Plan
from sequencer.plan.whole_steps import steps_of
from sequencer.trace.blocks import TickBlock
from sequencer.trace.steps import whole_steps

Watch = Callable[[HistoryBlock, Ints], None]

_TOTALS = ("bad", "disbelieved", "outside")  # per signal, not per tick


class Recorder:
    """Takes the record block by block; memory grows with what happens, not with time, unless ticks are kept.

    Use: ``recorder.add(block, executor.run(block))`` for each block, then ``recorder.finish()``.
    `watch` is given every block's record and its ticks' times, int64 ms on the run's own clock, as it comes.
    """

    def __init__(self, plan: Plan, *, keep_ticks: bool = False, watch: Watch | None = None) -> None:
        self._plan = plan
        self._keep = keep_ticks
        self._watch = watch
        self._ticks = 0
        self._start_ms = self._at_ms = 0
        self._last_now = 0
        sequences = len(plan.sequences)
        self._first_phases = np.zeros(sequences, np.int64)
        self._phases = np.full(sequences, -1, np.int64)
        self._entered_ms = np.zeros(sequences, np.int64)
        self._moves: list[tuple[Ints, ...]] = []
        self._counters = np.zeros(len(plan.counters), np.int64)
        self._counted = np.zeros(len(plan.counters), np.int64)
        self._rules = _Changes(len(plan.rules), RULE_KEPT)
        self._drives = _Changes(1, 1)
        self._outputs = _Changes(len(plan.outputs), OUTPUT_ON)
        self._waits = _Changes(sequences, 0)
        self._skipped = np.zeros(len(plan.signals), np.int64)
        self._writes: list[Write] = []
        self._machine = MachineJudge(plan)
        self._last: HistoryBlock | None = None
        self._kept: list[HistoryBlock] = []
        self._kept_ms: list[Ints] = []

    def add(self, block: TickBlock, history: HistoryBlock) -> None:
        """Take the inputs of some ticks and their record."""
        self._writes += [
            _judged(self._plan, self._ticks + write.row, write.parameter, write.value)
            for write in block.writes
        ]
        if len(block.skipped):
            self._skipped += block.skipped
        self._last = history
        if not len(history):
            return
        at_ms = self._unwrapped(history)
        self._add_moves(history, at_ms)
        self._add_counts(history)
        self._rules.add(history.rule, self._ticks, at_ms)
        self._drives.add(history.drives[:, np.newaxis], self._ticks, at_ms)
        self._outputs.add(history.output_state, self._ticks, at_ms)
        self._waits.add(history.waits, self._ticks, at_ms)
        if block.machine is not None:
            self._machine.add(block.machine, history, at_ms)
        if self._watch is not None:
            self._watch(history, at_ms)
        if self._keep:
            self._kept.append(history)
            self._kept_ms.append(at_ms)
        self._ticks += len(history)
        self._at_ms = int(at_ms[-1])

    def finish(self) -> Run:
        """Give the run."""
        signals, last = len(self._plan.signals), self._last
        totals = [np.zeros(signals, np.int64) if last is None else getattr(last, name) for name in _TOTALS]
        totals.append(self._skipped)
        columns = [np.concatenate(c) for c in zip(*self._moves, strict=True)] or [np.zeros(0, np.int64)] * 7
        end_tick, end_ms = self._ticks, self._at_ms
        return Run(
            plan=self._plan,
            ticks=self._ticks,
            start_ms=self._start_ms,
            end_ms=end_ms,
            first_phases=tuple(self._first_phases.tolist()),
            last_phases=tuple(self._phases.tolist()),
            transitions=Transitions(*columns),
            counters=tuple(self._counters.tolist()),
            counted=tuple(self._counted.tolist()),
            rules=self._rules.intervals(end_tick, end_ms),
            drives_off=self._drives.intervals(end_tick, end_ms),
            stopped_outputs=tuple(
                i for i in self._outputs.intervals(end_tick, end_ms) if i.state != OUTPUT_OFF
            ),
            waits=self._waits.intervals(end_tick, end_ms),
            signals=tuple(SampleTotals(*(int(total[i]) for total in totals)) for i in range(signals)),
            refused=0 if last is None else last.refused,
            writes=tuple(self._writes),
            machine=self._machine.verdict(),
            history=join(self._plan, self._kept) if self._keep else None,
            at_ms=np.concatenate([np.zeros(0, np.int64), *self._kept_ms]) if self._keep else None,
        )

    def _unwrapped(self, history: HistoryBlock) -> Ints:
        """Give each tick's time without the 32-bit wrap: unsigned differences, added up."""
        now = history.now
        if self._ticks == 0:
            self._start_ms = self._at_ms = int(now[0])
            self._last_now = int(now[0])
        steps = np.diff(now, prepend=np.uint32(self._last_now)).astype(np.int64)
        self._last_now = int(now[-1])
        return np.cumsum(steps) + self._at_ms

    def _add_moves(self, history: HistoryBlock, at_ms: Ints) -> None:
        if self._ticks == 0:
            self._first_phases = history.phase[0].astype(np.int64)
            self._entered_ms[:] = self._start_ms
        rows, sequences = (x.astype(np.int64) for x in np.nonzero(history.cause))
        times = at_ms[rows]
        left = np.where(rows > 0, history.phase[rows - 1, sequences], self._phases[sequences])
        stayed = np.zeros(len(rows), np.int64)
        for sequence in np.unique(sequences):
            mine = sequences == sequence
            stayed[mine] = np.diff(times[mine], prepend=self._entered_ms[sequence])
            self._entered_ms[sequence] = times[mine][-1]
        entered = history.phase[rows, sequences].astype(np.int64)
        cause = history.cause[rows, sequences].astype(np.int64)
        self._moves.append((rows + self._ticks, times, sequences, left, entered, cause, stayed))
        self._phases = history.phase[-1].astype(np.int64)

    def _add_counts(self, history: HistoryBlock) -> None:
        rises = np.diff(history.counter.astype(np.int64), axis=0, prepend=self._counters[np.newaxis])
        self._counted += np.maximum(rises, 0).sum(axis=0)
        self._counters = history.counter[-1].astype(np.int64)


class _Changes:
    """Remembers when columns of small states changed."""

    def __init__(self, columns: int, usual: int) -> None:
        self._usual = usual
        self._states = np.full(columns, usual, np.int64)
        self._found: list[tuple[Ints, ...]] = []

    def add(self, states: "np.typing.NDArray[np.uint8]", first_tick: int, at_ms: Ints) -> None:
        before = np.vstack([self._states.astype(np.uint8), states[:-1]])
        rows, columns = (x.astype(np.int64) for x in np.nonzero(states != before))
        if len(rows):
            self._found.append(
                (columns, states[rows, columns].astype(np.int64), rows + first_tick, at_ms[rows])
            )
        self._states = states[-1].astype(np.int64)

    def intervals(self, end_tick: int, end_ms: int) -> tuple[Interval, ...]:
        """List the times in which a column was not in its usual state, by start."""
        if not self._found:
            return ()
        which, state, tick, ms = (np.concatenate(c) for c in zip(*self._found, strict=True))
        found = []
        for column in np.unique(which):
            mine = which == column
            to_tick = np.append(tick[mine][1:], end_tick)
            to_ms = np.append(ms[mine][1:], end_ms)
            rows = zip(state[mine], tick[mine], to_tick, ms[mine], to_ms, strict=True)
            found += [Interval(int(column), *map(int, row)) for row in rows if row[0] != self._usual]
        return tuple(sorted(found, key=lambda i: (i.from_tick, i.which)))


def _judged(plan: Plan, tick: int, parameter: int, value: float) -> Write:
    rounded, span = f32(value), plan.parameters[parameter]
    if plan.fixed is not None and is_finite(rounded):
        size = plan.fixed.parameters[parameter]
        steps = float(whole_steps(np.array([rounded], np.float32), np.array([size], np.float32))[0])
        fits = steps_of(span.low, size) <= steps <= steps_of(span.high, size)
        return Write(tick, parameter, f32(steps * size), fits)
    return Write(tick, parameter, rounded, span.low <= rounded <= span.high)


def join(plan: Plan, blocks: list[HistoryBlock]) -> HistoryBlock:
    """Put records end to end; totals are those of the last. There is detail only if all of them have it."""
    if not blocks:
        return new_block(plan, 0, detail=False)
    if len(blocks) == 1:
        return blocks[0]
    per_tick = [f.name for f in fields(HistoryBlock) if f.name not in (*_TOTALS, "refused", "detail")]
    details = [block.detail for block in blocks if block.detail is not None]
    detail = None
    if len(details) == len(blocks):
        detail = Detail(
            **{f.name: np.concatenate([getattr(d, f.name) for d in details]) for f in fields(Detail)}
        )
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(block, name) for block in blocks]) for name in per_tick
    }
    return replace(blocks[-1], **columns, detail=detail)
