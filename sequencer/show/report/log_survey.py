"""What is to be known of a log before it can be shown: gone through once, in bounded memory."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.trace.phase_log import LogRows, PhaseLog

GAP_TIMES = 5  # a step in time so many times as long as usual is a gap
MOST_CHANGES = 200_000  # of all sequences; what comes later is left out and told

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(slots=True)
class ColumnFacts:
    """What a column of numbers holds. `two`: its only values, if there are at most two; None if more."""

    least: float = float("inf")
    most: float = float("-inf")
    filled: int = 0  # cells that are not empty
    numbers: int = 0
    two: tuple[float, float] | None = (float("nan"), float("nan"))

    def add(self, numbers: Floats, empty: NDArray[np.bool_] | None) -> None:
        """Take the next rows."""
        self.filled += len(numbers) - (0 if empty is None else int(np.count_nonzero(empty)))
        known = numbers[~np.isnan(numbers)]
        self.numbers += len(known)
        if not len(known):
            return
        least, most = float(known.min()), float(known.max())
        self.least, self.most = min(self.least, least), max(self.most, most)
        if self.two is not None:
            values = {value for value in (*self.two, least, most) if not np.isnan(value)}
            only = len(values) <= 2 and bool(((known == least) | (known == most)).all())
            self.two = (min(values), max(values)) if only else None

    @property
    def on_off(self) -> bool:
        """Whether it holds 0 and one other value only, or one of them only."""
        return self.numbers > 0 and self.two is not None and (self.two[0] == 0 or self.two == (1, 1))


@dataclass(frozen=True, slots=True)
class Changes:
    """The phases of one sequence: in which row and when each stay began, ms, and why; the first in row 0."""

    row: Ints
    at_ms: Floats
    phase: Ints
    causes: list[str]


@dataclass(slots=True)
class _Growing:
    rows: list[Ints] = field(default_factory=list)
    times: list[Floats] = field(default_factory=list)
    phases: list[Ints] = field(default_factory=list)
    causes: list[str] = field(default_factory=list)
    last: int = -1


class Survey:
    """A log gone through: rows, start and end in ms, gaps, changes of phase, what columns hold.

    zero_us: what is subtracted from the log's times. usual_ms: the usual step from row to row.
    gaps: from when to when rows are missing, ms. cut: how many changes of phase were left out.
    look: from which row to which (exclusive) the time is that was asked for, with one row more on each side.
    """

    def __init__(self, log: PhaseLog, look_ms: tuple[float, float] | None = None) -> None:
        self.rows = 0
        self.zero_us = 0
        self.start_ms = self.end_ms = 0.0
        self.usual_ms = 0.0
        self.gaps: list[tuple[float, float]] = []
        self.cut = 0
        self.columns = [ColumnFacts() for _ in log.columns]
        self._growing = [_Growing() for _ in log.sequences]
        self._kept = 0
        before = within = 0
        for batch in log.batches():
            self._add(batch)
            if look_ms is not None:
                at_ms = self.at_ms(batch.at_us)
                before += int(np.searchsorted(at_ms, look_ms[0], side="left"))
                within += int(np.searchsorted(at_ms, look_ms[1], side="right"))
        self.look = (max(before - 1, 0), min(within + 1, self.rows)) if look_ms is not None else None

    def at_ms(self, at_us: Ints) -> Floats:
        """Turn the log's times into ms on the page's clock."""
        return (at_us - self.zero_us) / 1000

    def changes(self, sequence: int) -> Changes:
        """Give a sequence's stays."""
        its = self._growing[sequence]
        return Changes(
            np.concatenate(its.rows), np.concatenate(its.times), np.concatenate(its.phases), its.causes
        )

    def _add(self, batch: LogRows) -> None:
        if not self.rows:
            # a clock that counts from 1970 says nothing here; one of a controller is kept as it is
            first = int(batch.at_us[0])
            self.zero_us = first if abs(first) > 2**32 * 1000 else 0
            self.start_ms = self.end_ms = float(self.at_ms(batch.at_us[:1])[0])
        at_ms = self.at_ms(batch.at_us)
        self._find_gaps(at_ms)
        for its, phases, causes in zip(self._growing, batch.phases, batch.causes, strict=True):
            self._find_changes(its, phases, causes, at_ms)
        for facts, numbers, empty in zip(self.columns, batch.numbers, batch.empty, strict=True):
            facts.add(numbers, empty)
        self.rows += len(at_ms)
        self.end_ms = float(at_ms[-1])

    def _find_gaps(self, at_ms: Floats) -> None:
        steps = np.diff(at_ms, prepend=self.end_ms if self.rows else at_ms[0])
        if not self.usual_ms and len(steps) > 1:
            self.usual_ms = float(np.median(steps[1:]))
        for row in np.flatnonzero(steps > max(GAP_TIMES * self.usual_ms, 1.0)).tolist():
            if self.usual_ms:
                self.gaps.append((float(at_ms[row] - steps[row]), float(at_ms[row])))

    def _find_changes(self, its: _Growing, phases: Ints, causes: list[str] | None, at_ms: Floats) -> None:
        rows = np.flatnonzero(np.diff(phases, prepend=its.last))
        its.last = int(phases[-1])
        room = max(MOST_CHANGES - self._kept, 0)
        self.cut += max(len(rows) - room, 0)
        rows = rows[:room]
        self._kept += len(rows)
        its.rows.append(rows + self.rows)
        its.times.append(at_ms[rows])
        its.phases.append(phases[rows])
        its.causes += ["" if causes is None else causes[row] for row in rows.tolist()]


class Holding:
    """Lets a number stand until the next one comes, as a signal that is sampled slower than the rows does.

    An empty cell is no sample, so the number before it stands; but not for longer than three times the usual
    distance of its samples, so that a sensor that died is seen to be gone.
    """

    def __init__(self, facts: ColumnFacts, rows: int) -> None:
        self._most = -(-3 * rows // max(facts.filled, 1))
        self._value, self._age = float("nan"), 0

    def held(self, numbers: Floats, empty: NDArray[np.bool_] | None) -> Floats:
        """Fill empty cells of the next rows."""
        if empty is None:
            self._value, self._age = float(numbers[-1]), 0
            return numbers
        at = np.arange(len(numbers))
        last = np.maximum.accumulate(np.where(empty, -1, at))
        age = np.where(last >= 0, at - last, at + 1 + self._age)
        found = np.where(last >= 0, numbers[np.maximum(last, 0)], self._value)
        found = np.where(age <= self._most, found, np.nan)
        self._value = float(numbers[last[-1]]) if last[-1] >= 0 else self._value
        self._age = int(age[-1])
        return np.asarray(found, np.float64)
