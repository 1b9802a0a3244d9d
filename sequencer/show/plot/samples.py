"""The numbers of a column that a plot draws: those in its time, thinned so that no spike is lost."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.show.report.document import Column, Recorded
from sequencer.show.report.pack import unpack

Floats = NDArray[np.float64]
MOST_WHOLE = 4  # points a pixel up to which all are drawn


@dataclass(frozen=True, slots=True)
class Drawn:
    """Points of a line, ms and the column's unit, both (n,). whole: every sample is there."""

    at_ms: Floats
    values: Floats
    whole: bool


class Samples:
    """Reads a run's columns between two times for a plot that is so many pixels wide."""

    def __init__(self, run: Recorded, from_ms: float, to_ms: float, pixels: int) -> None:
        self._run, self._from, self._to = run, from_ms, to_ms
        self._pixels = max(pixels, 1)
        self._window = self._whole_window()
        self._times = self._window_times() if self._window is not None else self._bucket_times()

    @property
    def coarse(self) -> bool:
        """Whether only least and greatest numbers are at hand."""
        return self._window is None

    def column(self, column: Column) -> Drawn:
        """Give a column's points."""
        if self._window is not None:
            values = np.asarray(unpack(column.pieces[self._window]), np.float64)
            at, values = self._cut(self._times, values)
            return self._thinned(at, values)
        if column.coarse is None:
            return Drawn(np.zeros(0), np.zeros(0), whole=False)
        least, most = (
            np.asarray(unpack(part), np.float64) for part in (column.coarse.least, column.coarse.most)
        )
        at = np.repeat(self._times, 2)
        zigzag = np.stack([least, most], axis=1).reshape(-1)
        at, zigzag = self._cut(at, zigzag)
        thinned = self._thinned(at, zigzag)
        return Drawn(thinned.at_ms, thinned.values, whole=False)

    def _whole_window(self) -> int | None:
        """Find the window in which all samples of the plot's time are."""
        kept = self._run.kept
        if not kept.bucket:
            return 0 if kept.windows else None
        for number in range(len(kept.windows)):
            self._window = number
            times = self._window_times()
            if len(times) and times[0] <= self._from and times[-1] >= self._to:
                return number
        return None

    def _window_times(self) -> Floats:
        assert self._window is not None
        clock, (start, to) = self._run.clock, self._run.kept.windows[self._window]
        if clock.pieces is not None:
            return np.asarray(unpack(clock.pieces[self._window]), np.float64)
        return np.asarray(clock.start + clock.step * np.arange(start, to), np.float64)

    def _bucket_times(self) -> Floats:
        clock, kept = self._run.clock, self._run.kept
        if not kept.bucket:
            return np.zeros(0)
        if clock.buckets is not None:
            return np.asarray(unpack(clock.buckets), np.float64)
        return np.asarray(clock.start + clock.step * np.arange(0, self._run.ticks, kept.bucket), np.float64)

    def _cut(self, at: Floats, values: Floats) -> tuple[Floats, Floats]:
        """Take what is in the plot's time, and one point more on each side for the line to come from."""
        first = max(int(np.searchsorted(at, self._from, side="left")) - 1, 0)
        last = int(np.searchsorted(at, self._to, side="right")) + 1
        return at[first:last], values[first:last]

    def _thinned(self, at: Floats, values: Floats) -> Drawn:
        """Keep of each pixel the first, least and greatest number and one hole, in order of time."""
        if len(at) <= MOST_WHOLE * self._pixels:
            return Drawn(at, values, whole=True)
        edges = np.linspace(0, len(at), self._pixels + 1).astype(np.int64)[:-1]
        bucket = np.repeat(np.arange(len(edges)), np.diff(np.append(edges, len(at))))
        holes = np.isnan(values)
        least, most = np.where(holes, np.inf, values), np.where(holes, -np.inf, values)
        wanted = [
            _first(least == np.minimum.reduceat(least, edges)[bucket], bucket),
            _first(most == np.maximum.reduceat(most, edges)[bucket], bucket),
            _first(holes, bucket),
        ]
        rows = np.unique(np.concatenate([edges, *wanted, [len(at) - 1]]))
        return Drawn(at[rows], values[rows], whole=False)


def _first(where: NDArray[np.bool_], bucket: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the first place in each bucket that has one."""
    rows = np.flatnonzero(where)
    return np.asarray(rows[np.unique(bucket[rows], return_index=True)[1]], np.int64)
