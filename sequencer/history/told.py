"""What is told of a run in words and margins, also of one that is too long to keep its ticks.

Of a run that was kept everything is told as the dry run tells it. A longer one is run once more with detail,
and told piece by piece: an excerpt of the record is a run of its own, whose times are those of the whole run.
An excerpt begins before the last finished stay of each sequence, so that a guard that fired, and the phase
after it, are in one excerpt. What lasted longer than `MOST_CARRIED` ticks is told without what was missing,
as the dry run tells it without margins.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sequencer.history.blocks import FRESH, HistoryBlock
from sequencer.history.cause import Wait, cause_words, timeouts, waits_at_end
from sequencer.history.margins import detail_kept, rows_of_block
from sequencer.history.recorder import join
from sequencer.history.run import Interval, Ints, Run, Transitions
from sequencer.history.spare import Spare, spares
from sequencer.history.summary import Fault, Summary, faults_of, summed_up

AT_ONCE = 100_000  # ticks of one excerpt; some hundred bytes each
MOST_CARRIED = 200_000  # ticks that are kept for the next excerpt: half an hour at 10 ms


@dataclass(frozen=True, slots=True)
class Told:
    """A run in words.

    spares: what guards that fired had to spare, by (sequence, ms at which it fired).
    causes, cause: each different text once, and for each transition which it is.
    waits: of each sequence at the end.
    """

    summary: Summary
    spares: Mapping[tuple[int, int], Spare]
    causes: Sequence[str]
    cause: Ints
    waits: Sequence[Wait]


def told(run: Run) -> Told:
    """Tell a run by what was kept of it."""
    telling = Telling(run)
    if run.history is not None and run.at_ms is not None and detail_kept(run) is not None:
        telling.add(run.history, run.at_ms)
    return telling.finish()


class Telling:
    """Takes the record of a run that is already known without detail, block by block, with detail."""

    def __init__(self, run: Run) -> None:
        self._run, self._plan = run, run.plan
        self._moves = [run.transitions.of(sequence) for sequence in range(len(run.plan.sequences))]
        self._blocks: list[HistoryBlock] = []
        self._times: list[Ints] = []
        self._first = self._until = self._told = 0  # ticks: of the excerpt, known, told
        # where setpoints stood when the phase was entered in which the excerpt begins
        self._entered_at = [setpoint.start for setpoint in run.plan.setpoints]
        self._fresh_ms: dict[int, int] = {}  # when signals were last fresh before the excerpt
        self._spares: dict[tuple[int, int], Spare] = {}
        self._timeouts = {(wait.sequence, wait.to_ms): wait for wait in timeouts(run)}
        self._waits = waits_at_end(run)
        self._faults: dict[Fault, Fault] = {}  # without detail -> with it
        self._causes: dict[str, int] = {}
        self._cause = np.full(len(run.transitions), -1, np.int64)

    def add(self, history: HistoryBlock, at_ms: Ints) -> None:
        """Take the next ticks."""
        self._blocks.append(history)
        self._times.append(at_ms)
        self._until += len(at_ms)
        if self._until - self._told >= AT_ONCE and self._until < self._run.ticks:
            self._tell()
            self._carry()

    def finish(self) -> Told:
        """Give all that is told."""
        detailed = bool(self._blocks)
        if detailed:
            self._tell()
        self._name_causes(self._run, np.flatnonzero(self._cause < 0))
        faults = faults_of(self._run, sorted(self._timeouts.values(), key=lambda wait: wait.to_ms))
        faults = tuple(self._faults.get(fault, fault) for fault in faults)
        found = sorted(self._spares.values(), key=lambda spare: (spare.sequence, spare.fired_ms))
        figures = summed_up(self._run, found if detailed else None, faults, self._waits)
        return Told(figures, self._spares, list(self._causes), self._cause, self._waits)

    def _tell(self) -> None:
        history, at_ms = self._collected()
        part = self._excerpt(history, at_ms)
        cut = self._cut_ends(part)
        for wait in timeouts(part):
            if (wait.sequence, wait.to_ms) not in cut:
                self._timeouts[wait.sequence, wait.to_ms] = wait
        bare = replace(part, history=None, at_ms=None)
        self._faults.update(zip(faults_of(bare, []), faults_of(part, []), strict=True))
        for spare in spares(part):
            if (spare.sequence, spare.fired_ms) not in cut:
                self._spares[spare.sequence, spare.fired_ms] = spare
        ticks = self._run.transitions.tick
        within = (ticks > self._first) | (self._first == 0)
        rows = np.flatnonzero(within & (ticks < self._until) & (self._cause < 0))
        first_row = int(np.searchsorted(ticks, self._first))
        self._name_causes(part, rows, first_row)
        if self._until == self._run.ticks:
            self._waits = [
                wait if wait.from_ms == whole.from_ms else whole
                for wait, whole in zip(waits_at_end(part), self._waits, strict=True)
            ]
        self._told = self._until

    def _cut_ends(self, part: Run) -> set[tuple[int, int]]:
        """Find the ends of those stays that began before the excerpt, by sequence and ms."""
        if self._first == 0:
            return set()
        firsts = {sequence: part.transitions.of(sequence) for sequence in range(len(self._moves))}
        return {(s, int(moves.at_ms[0])) for s, moves in firsts.items() if len(moves)}

    def _name_causes(self, run: Run, rows: Ints, first_row: int = 0) -> None:
        detail = detail_kept(run)
        for row in rows.tolist():
            words = cause_words(self._plan, run.transitions[row - first_row], detail)
            self._cause[row] = self._causes.setdefault(words, len(self._causes))

    def _collected(self) -> tuple[HistoryBlock, Ints]:
        if len(self._blocks) > 1:
            self._blocks, self._times = [join(self._plan, self._blocks)], [np.concatenate(self._times)]
        return self._blocks[0], self._times[0]

    def _carry(self) -> None:
        """Keep what the next excerpt begins with."""
        history, at_ms = self._collected()
        first = max(min(map(self._needed_from, self._moves)), self._until - MOST_CARRIED, self._first)
        for setpoint, table in enumerate(self._plan.setpoints):
            entered = 0 if table.owner is None else self._entry_before(self._moves[table.owner], first)
            if entered > self._first:
                row = entered - 1 - self._first
                self._entered_at[setpoint] = float(history.setpoint[row, setpoint])
        assert history.detail is not None
        left = (history.detail.signal_state[: first - self._first] & FRESH) > 0
        for signal in np.flatnonzero(left.any(axis=0)).tolist():
            self._fresh_ms[signal] = int(at_ms[np.flatnonzero(left[:, signal])[-1]])
        rows = slice(first - self._first, None)
        kept, none = (rows_of_block(history, part) for part in (rows, slice(0, 0)))
        # copies: a view would keep the whole excerpt
        self._blocks, self._times = (
            [join(self._plan, [kept, none])],
            [at_ms[rows].copy()],
        )
        self._first = first

    def _needed_from(self, moves: Transitions) -> int:
        """Give the tick before the last finished stay began."""
        known = int(np.searchsorted(moves.tick, self._until))
        return max(int(moves.tick[known - 2]) - 1, 0) if known >= 2 else 0

    def _entry_before(self, moves: Transitions, tick: int) -> int:
        known = int(np.searchsorted(moves.tick, tick, side="right"))
        return int(moves.tick[known - 1]) if known else 0

    def _excerpt(self, history: HistoryBlock, at_ms: Ints) -> Run:
        """Make a run of the ticks that are collected; its times are those of the whole run."""
        run, first = self._run, self._first
        setpoints = tuple(
            replace(setpoint, start=start)
            for setpoint, start in zip(self._plan.setpoints, self._entered_at, strict=True)
        )
        return replace(
            run,
            plan=self._plan if first == 0 else replace(self._plan, setpoints=setpoints),
            ticks=len(at_ms),
            start_ms=int(at_ms[0]),
            end_ms=int(at_ms[-1]),
            first_phases=tuple(history.phase[0].tolist()),
            last_phases=tuple(history.phase[-1].tolist()),
            transitions=_moves_within(run.transitions, first, self._until),
            rules=_intervals_within(run.rules, first, self._until),
            stopped_outputs=_intervals_within(run.stopped_outputs, first, self._until),
            writes=tuple(replace(write, tick=write.tick - first) for write in run.writes),
            history=history,
            at_ms=at_ms,
            fresh_before_ms=dict(self._fresh_ms),
        )


def _moves_within(moves: Transitions, first: int, end: int) -> Transitions:
    rows = slice(*np.searchsorted(moves.tick, [first, end]).tolist())
    return Transitions(
        tick=moves.tick[rows] - first,
        at_ms=moves.at_ms[rows],
        sequence=moves.sequence[rows],
        left=moves.left[rows],
        entered=moves.entered[rows],
        cause=moves.cause[rows],
        stayed_ms=moves.stayed_ms[rows],
    )


def _intervals_within(intervals: Sequence[Interval], first: int, end: int) -> tuple[Interval, ...]:
    """Give those that began in these ticks; they keep their own end, also if it is later."""
    return tuple(
        replace(i, from_tick=i.from_tick - first, to_tick=i.to_tick - first)
        for i in intervals
        if first <= i.from_tick < end
    )
