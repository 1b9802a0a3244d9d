"""Thresholds as they stood while a phase waited for them, for the plots.

They follow from the plan, the parameters as they were and the targets in the record: of a comparison with a
signal its levels, of `at_target` and `reached` the target with the follower's stance offset, plus and minus
the tolerance; for `reached` only on the side that the phase comes from.
"""

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from sequencer.history.blocks import HistoryBlock
from sequencer.history.run import Ints, Run, Stay, Transitions
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Compare, Follow, Level
from sequencer.show.report import document as d
from sequencer.show.report.columns import WatchedGuard, watched_guards
from sequencer.show.report.pack import pack

MOST_MARKS = 60_000  # of a long run; what comes later is left out

NONE = float("nan")


class _Mark(NamedTuple):
    from_ms: float
    to_ms: float
    column: int
    guard: int
    low: float
    high: float
    to_tick: int

    @property
    def what(self) -> tuple[int, int, str, str]:
        """What is marked; as text, because NaN is no number's equal."""
        return self.column, self.guard, repr(self.low), repr(self.high)


class MarkFinder:
    """Collects the thresholds of a run's windows."""

    def __init__(self, run: Run) -> None:
        self._run, self._plan = run, run.plan
        self._moves = [run.transitions.of(sequence) for sequence in range(len(run.plan.sequences))]
        self._marks: list[_Mark] = []
        self._last: dict[tuple[int, int, str, str], int] = {}
        self._sides: dict[tuple[int, int], float] = {}  # of a setpoint: its phase's first tick -> from where
        self._guards: dict[tuple[int | None, int | None], list[tuple[int, WatchedGuard]]] = {}
        for number, watched in enumerate(watched_guards(run.plan)):
            self._guards.setdefault((watched.sequence, watched.phase), []).append((number, watched))
        self._writes = sorted({write.tick for write in run.writes if write.accepted})

    def add(self, history: HistoryBlock, at_ms: Ints, first_tick: int) -> None:
        """Take a window's record, with detail; `first_tick` is the run's tick at its row 0."""
        if not len(history) or len(self._marks) > MOST_MARKS:
            return
        end_tick = first_tick + len(history)
        stays = [
            (sequence, self._run.stay_opened_by(sequence, moves, row))
            for sequence, moves in enumerate(self._moves)
            for row in _rows_within(moves, first_tick, end_tick)
        ]
        whole = Stay(0, first_tick, end_tick, int(at_ms[0]), int(at_ms[-1]), None, None)
        for sequence, stay in [*stays, (None, whole)]:
            guards = self._guards.get((sequence, None if sequence is None else stay.phase), [])
            for tick, until in self._parts(max(stay.from_tick, first_tick), min(stay.to_tick, end_tick)):
                row = tick - first_tick
                times = float(at_ms[row]), float(at_ms[min(until - first_tick, len(at_ms) - 1)])
                parameters = self._run.parameters_at(tick)
                entry = (stay.from_tick, max(stay.from_tick - first_tick - 1, 0))
                for number, watched in guards:
                    for column, low, high in self._of_guard(watched, history, (row, entry), parameters):
                        self._add(_Mark(*times, column, number, low, high, until), tick)

    def _add(self, mark: _Mark, tick: int) -> None:
        """Add a mark, or let the one before go on where it is cut only by the end of a block."""
        before = self._last.get(mark.what)
        if before is not None and self._marks[before].to_tick == tick:
            self._marks[before] = mark._replace(from_ms=self._marks[before].from_ms)
            return
        self._last[mark.what] = len(self._marks)
        self._marks.append(mark)

    def _parts(self, first: int, end: int) -> Iterator[tuple[int, int]]:
        """Split a time where parameters were written."""
        edges = [first, *(tick for tick in self._writes if first < tick < end), end]
        yield from pairwise(edges)

    def _of_guard(
        self,
        watched: WatchedGuard,
        history: HistoryBlock,
        rows: tuple[int, tuple[int, int]],
        parameters: list[float],
    ) -> Iterator[tuple[int, float, float]]:
        for index in self._plan.guards[watched.guard].leaves:
            leaf = self._plan.leaves[index]
            if isinstance(leaf, Compare) and leaf.source == "signal":
                yield leaf.index, _value(leaf.low, parameters), _value(leaf.high, parameters)
            elif isinstance(leaf, Follow):
                yield from self._followed(leaf, history, rows, parameters)

    def _followed(
        self, leaf: Follow, history: HistoryBlock, rows: tuple[int, tuple[int, int]], parameters: list[float]
    ) -> Iterator[tuple[int, float, float]]:
        assert history.detail is not None
        row, (entered_at, entered) = rows
        target = float(history.detail.target[row, leaf.setpoint])
        came_from = float(history.setpoint[entered, leaf.setpoint])
        came_from = self._sides.setdefault((leaf.setpoint, entered_at), came_from)
        side = np.sign(target - came_from) if leaf.op == "reached" else 0.0
        tolerance = _value(leaf.tolerance, parameters)
        for follower in self._plan.setpoints[leaf.setpoint].followers:
            at = target + follower.offset
            yield follower.signal, NONE if side < 0 else at - tolerance, NONE if side > 0 else at + tolerance

    def marks(self) -> d.Marks:
        """Give them all."""
        columns = list(zip(*self._marks, strict=True)) or [()] * len(_Mark._fields)
        return d.Marks(
            from_=pack(np.array(columns[0]), "f8"),
            to=pack(np.array(columns[1]), "f8"),
            column=pack(np.array(columns[2]), "u2"),
            guard=pack(np.array(columns[3]), "u2"),
            low=pack(np.array(columns[4]), "f4"),
            high=pack(np.array(columns[5]), "f4"),
        )


def _rows_within(moves: Transitions, first_tick: int, end_tick: int) -> range:
    """Give the rows that open stays of which some ticks lie within; -1 for the stay a run begins in."""
    first = int(np.searchsorted(moves.tick, first_tick, side="right")) - 1
    return range(first, int(np.searchsorted(moves.tick, end_tick)))


def _value(level: Level | None, parameters: list[float]) -> float:
    return NONE if level is None else level_value(level, parameters)
