"""Keeping a long run small: which ticks stand in the file one by one, and least and greatest of the rest.

A browser takes some millions of numbers with ease; a screen shows a few thousand points in a row. So a run of
up to `MOST_NUMBERS` numbers is kept whole. Of a longer one the ticks around what matters are kept (its
start and end, troubles, changes of phase), and the whole run as the least and greatest number of each bucket
of ticks, so that the narrowest spike is still seen, if not its very tick.
"""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.show.report.columns import ColumnHead
from sequencer.show.report.document import Clock, Coarse, Column, Kept
from sequencer.show.report.pack import NumberType, Packed, pack

MOST_NUMBERS = 5_000_000  # drawn numbers of a run that is kept whole; about 2 bytes each in the file
MOST_IN_WINDOWS = 1_200_000  # of a longer one: noise takes 5 bytes each, and a page should be under 10 MB
BUCKETS = 8_192  # more than the pixels of a wide screen
AROUND_MS = 4_000  # what is kept before and after a moment that matters

DRAWN = frozenset(
    {"signal", "setpoint", "target", "loop", "output", "counter", "clearance", "support", "other"}
)
_ASIDE: dict[str, NumberType] = {"truth": "u1"}

Floats = NDArray[np.float32]
Times = NDArray[np.int64] | NDArray[np.float64]


def choose(
    ticks: int, drawn: int, moments: Iterable[int], around: int, look: tuple[int, int] | None = None
) -> Kept:
    """Choose which ticks to keep one by one.

    drawn: how many columns are drawn. moments: ticks that matter, the most important first; what does not
    fit is left out. around: so many ticks are kept before and after each. look: from this tick to that one
    (exclusive) all are kept if they fit, whatever else is.
    """
    if ticks * max(drawn, 1) <= MOST_NUMBERS:
        return Kept([(0, ticks)] if ticks else [], 0)
    room = min(MOST_IN_WINDOWS, MOST_NUMBERS) // max(drawn, 1)
    around = max(1, min(around, room // 8))
    windows: list[tuple[int, int]] = []
    if look is not None and 0 < look[1] - look[0] <= room:
        windows = [look]
    for moment in (0, ticks - 1, *moments):
        wished = (max(0, moment - around), min(ticks, moment + around + 1))
        merged = _merged([*windows, wished])
        if sum(to - start for start, to in merged) > room:
            continue
        windows = merged
    return Kept(windows, -(-ticks // BUCKETS))


def _merged(windows: list[tuple[int, int]]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for start, to in sorted(windows):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], to))
        else:
            found.append((start, to))
    return found


class Keeper:
    """Takes columns block by block and keeps what `kept` says."""

    def __init__(self, heads: Sequence[ColumnHead], kept: Kept, ticks: int) -> None:
        self._heads, self._kept = heads, kept
        self._pieces: list[list[list[Floats]]] = [[[] for _ in kept.windows] for _ in heads]
        self._times: list[list[Times]] = [[] for _ in kept.windows]
        buckets = -(-ticks // kept.bucket) if kept.bucket else 0
        self._least = {
            i: np.full(buckets, np.nan, np.float32) for i, h in enumerate(heads) if h.role in DRAWN
        }
        self._most = {i: least.copy() for i, least in self._least.items()}
        self._starts = np.zeros(buckets, np.float64)
        self._tick = 0
        self._start = self._last = 0.0
        self._even: float | None = None  # the step between ticks, as long as it is one
        self._uneven = False

    def add(self, values: Sequence[Floats], at_ms: Times) -> None:
        """Take the next ticks: a column's numbers for each head, and their times."""
        count = len(at_ms)
        if not count:
            return
        self._watch_clock(at_ms)
        for number, (start, to) in enumerate(self._kept.windows):
            rows = slice(max(start - self._tick, 0), max(to - self._tick, 0))
            if rows.start < count and rows.stop > rows.start:
                self._times[number].append(at_ms[rows])
                for pieces, column in zip(self._pieces, values, strict=True):
                    pieces[number].append(column[rows])
        if self._kept.bucket:
            self._add_buckets(values, at_ms)
        self._tick += count

    def _add_buckets(self, values: Sequence[Floats], at_ms: Times) -> None:
        size = self._kept.bucket
        first = self._tick // size
        edges = np.arange(first * size, self._tick + len(at_ms), size) - self._tick
        rows = np.maximum(edges, 0)
        where = slice(first, first + len(rows))
        if edges[0] >= 0:
            self._starts[where] = at_ms[rows]
        else:
            self._starts[first + 1 : first + len(rows)] = at_ms[rows[1:]]
        for i, least in self._least.items():
            most = self._most[i]
            least[where] = np.fmin(least[where], np.fmin.reduceat(values[i], rows))
            most[where] = np.fmax(most[where], np.fmax.reduceat(values[i], rows))

    def _watch_clock(self, at_ms: Times) -> None:
        if self._tick == 0:
            self._start = self._last = float(at_ms[0])
            steps = np.diff(at_ms)
        else:
            steps = np.diff(at_ms, prepend=self._last)
        self._last = float(at_ms[-1])
        if len(steps):
            self._even = float(steps[0]) if self._even is None else self._even
            self._uneven = self._uneven or bool((steps != self._even).any())

    def columns(self) -> list[Column]:
        """Give the columns, packed."""
        return [self._column(i, head) for i, head in enumerate(self._heads)]

    def _column(self, number: int, head: ColumnHead) -> Column:
        kind = _ASIDE.get(head.role, "f4")
        pieces = [pack(_joined(piece), kind) for piece in self._pieces[number]]
        coarse = None
        if self._kept.bucket and number in self._least:
            coarse = Coarse(pack(self._least[number], "f4"), pack(self._most[number], "f4"))
        return Column(head.name, head.unit, head.role, pieces, coarse)

    def clock(self, tick_ms: float) -> Clock:
        """Give the ticks' times."""
        if not self._uneven:
            return Clock(self._start, tick_ms if self._even is None else self._even, None, None)
        times = [pack(np.concatenate([np.zeros(0), *t]), "f8") for t in self._times]
        buckets: Packed | None = pack(self._starts, "f8") if self._kept.bucket else None
        return Clock(self._start, tick_ms, times, buckets)


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate([np.zeros(0, np.float32), *parts])
