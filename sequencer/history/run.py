"""One run of a plan, as what is left of its record: changes of phase, broken rules, counts.

Times are milliseconds on the run's own clock, which starts at the first tick's `now` and does not wrap.
Ticks count from 0.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import HistoryBlock
from sequencer.history.machine import Verdict
from sequencer.plan.tables import Plan

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Transition:
    """One change of phase, or a phase entered anew.

    `left` is None in the first tick of a run. `kind` is one of BY_RESET to BY_RULE, `index` the number of the
    guard in its phase, of the `anywhere` entry, or of the rule. `stayed_ms` is the time in the phase left.
    """

    tick: int
    at_ms: int
    sequence: int
    left: int | None
    entered: int
    kind: int
    index: int
    stayed_ms: int


@dataclass(frozen=True, slots=True)
class Transitions:
    """All transitions of a run as columns, in order of ticks, then sequences; `left` is -1 for None.

    It is a sequence of `Transition`; the columns are for those who count.
    """

    tick: Ints
    at_ms: Ints
    sequence: Ints
    left: Ints
    entered: Ints
    cause: Ints
    stayed_ms: Ints

    def __len__(self) -> int:
        return len(self.tick)

    def __getitem__(self, row: int) -> Transition:
        left, cause = int(self.left[row]), int(self.cause[row])
        return Transition(
            tick=int(self.tick[row]),
            at_ms=int(self.at_ms[row]),
            sequence=int(self.sequence[row]),
            left=None if left < 0 else left,
            entered=int(self.entered[row]),
            kind=cause >> 8,
            index=cause & 0xFF,
            stayed_ms=int(self.stayed_ms[row]),
        )

    def __iter__(self) -> Iterator[Transition]:
        return (self[row] for row in range(len(self)))

    def of(self, sequence: int) -> "Transitions":
        """Give those of one sequence."""
        rows = self.sequence == sequence
        return Transitions(*(getattr(self, column.name)[rows] for column in fields(self)))


class Stay(NamedTuple):
    """A time in one phase: ticks from_tick <= t < to_tick, entered at from_ms, left (or run ended) at to_ms.

    `opened` and `closed` are rows of `Run.transitions.of(sequence)`; None if the run began or ended here.
    """

    phase: int
    from_tick: int
    to_tick: int
    from_ms: int
    to_ms: int
    opened: int | None
    closed: int | None


@dataclass(frozen=True, slots=True)
class Interval:
    """A time in which something was not as usual; `which` is its index, `state` how it was.

    Rules: RULE_BROKEN or RULE_UNJUDGED. Outputs: OUTPUT_STALLED or OUTPUT_CUT. Drives: off, `which` is 0.
    Sequences: OVERDUE or FOR_STEP.
    """

    which: int
    state: int
    from_tick: int
    to_tick: int  # exclusive
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class SampleTotals:
    """What was wrong with a signal's samples since the last reset, and the cells that were skipped."""

    bad: int
    disbelieved: int
    outside: int
    skipped: int


@dataclass(frozen=True, slots=True)
class Write:
    """A parameter write and whether it was accepted."""

    tick: int
    parameter: int
    value: float
    accepted: bool


@dataclass(frozen=True, slots=True)
class Run:
    """One execution of a plan.

    counters: as they stand at the end. counted: how often each rose, resets notwithstanding.
    rules: when rules were broken or unjudged, by start. drives_off: when drives were off.
    stopped_outputs: when outputs were stalled or cut, by start. waits: when a sequence's timeout had passed
    while it was helped by hand, or a guard that fired waited for a step, by start.
    signals: totals for each signal. refused: parameter writes refused since the last reset.
    machine: whether the machine did the same, if the recording tells what it did.
    history, at_ms: the whole record and each tick's time, int64 (ticks,); None unless ticks were kept.
    fresh_before_ms: of an excerpt only: when a signal was last fresh before it.
    """

    plan: Plan
    ticks: int
    start_ms: int
    end_ms: int
    first_phases: tuple[int, ...]
    last_phases: tuple[int, ...]
    transitions: Transitions
    counters: tuple[int, ...]
    counted: tuple[int, ...]
    rules: tuple[Interval, ...]
    drives_off: tuple[Interval, ...]
    stopped_outputs: tuple[Interval, ...]
    waits: tuple[Interval, ...]
    signals: tuple[SampleTotals, ...]
    refused: int
    writes: tuple[Write, ...]
    history: HistoryBlock | None
    at_ms: Ints | None
    machine: Verdict | None = None
    fresh_before_ms: Mapping[int, int] = field(default_factory=dict)

    def stays(self, sequence: int) -> tuple[Stay, ...]:
        """List the phases of one sequence over time, without gaps."""
        moves = self.transitions.of(sequence)
        began_here = len(moves) == 0 or moves.tick[0] > 0
        rows = range(-1 if began_here else 0, len(moves)) if self.ticks else range(0)
        return tuple(self.stay_opened_by(sequence, moves, row) for row in rows)

    def stay_opened_by(self, sequence: int, moves: Transitions, row: int) -> Stay:
        """Give the stay that a row of `transitions.of(sequence)` opened; -1: the one it began in."""
        tick, at_ms, phase, opened = 0, self.start_ms, self.first_phases[sequence], None
        if row >= 0:
            tick, at_ms, phase, opened = (
                int(moves.tick[row]),
                int(moves.at_ms[row]),
                int(moves.entered[row]),
                row,
            )
        to_tick, to_ms, closed = self.ticks, self.end_ms, None
        if row + 1 < len(moves):
            to_tick, to_ms, closed = int(moves.tick[row + 1]), int(moves.at_ms[row + 1]), row + 1
        return Stay(phase, tick, to_tick, at_ms, to_ms, opened, closed)

    def parameters_at(self, tick: int) -> list[float]:
        """Give the parameters as they stood in a tick, each in its own unit, if they began as in the file."""
        values = [p.value for p in self.plan.parameters]
        for write in self.writes:
            if write.accepted and write.tick <= tick:
                values[write.parameter] = write.value
        return values
