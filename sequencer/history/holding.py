"""How much of its hold a guard still has to wait for, in each tick.

The record says in each tick whether a guard was looked at and what it came to, and which signals were fresh.
The rest of the hold follows from the rules of a tick: a hold in ms starts on the first true tick and is met
when now - start >= T; a hold in samples counts up when the guard is true and each of its signals that is not
lost has been fresh since the last count, in ticks in which the guard was true; false, unknown, not looked at
and a change of phase start over.
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import FRESH, LOST, NOT_LOOKED_AT, TRUE, HistoryBlock
from sequencer.history.margins import Bytes, Floats
from sequencer.plan.tables import Guard


class HoldLeft:
    """Works out one guard's remaining hold, block by block.

    sequence: the one in whose phase the guard stands; None for `anywhere`, which no change of phase clears.
    """

    def __init__(self, guard: Guard, sequence: int | None) -> None:
        assert guard.hold is not None
        self._hold, self._sequence = guard.hold, sequence
        self._since: int | None = None  # now of the first true tick, as long as it stays true
        self._count = 0
        self._gathered: frozenset[int] = frozenset()

    def left(self, history: HistoryBlock, truth: Bytes) -> Floats:
        """Give the rest in ms or samples, float32 (n,): 0 when it is met, NaN where it was not looked at.

        truth: the guard's, uint8 (n,), as `guard_margins` gives it. The block needs its detail.
        """
        needed = self._hold.ms if self._hold.ms is not None else self._hold.samples
        assert needed is not None
        rest = np.full(len(truth), needed, np.float32)
        rest[truth == NOT_LOOKED_AT] = np.nan
        moved = np.zeros(len(truth), np.bool_)
        if self._sequence is not None:
            moved = history.cause[:, self._sequence] != 0
        before = -1
        for tick in np.flatnonzero(truth == TRUE).tolist():
            if tick != before + 1 or (before >= 0 and moved[before]):
                self._start_over()
            before = tick
            rest[tick] = max(needed - self._so_far(history, tick), 0)
        if len(truth) and (before != len(truth) - 1 or moved[-1]):
            self._start_over()
        return rest

    def _start_over(self) -> None:
        self._since, self._count, self._gathered = None, 0, frozenset()

    def _so_far(self, history: HistoryBlock, tick: int) -> int:
        if self._hold.ms is not None:
            now = int(history.now[tick])
            self._since = now if self._since is None else self._since
            return (now - self._since) % 2**32
        assert history.detail is not None
        state: NDArray[np.uint8] = history.detail.signal_state[tick]
        alive = [signal for signal in self._hold.signals if not state[signal] & LOST]
        fresh = {signal for signal in alive if state[signal] & FRESH}
        self._gathered = self._gathered | fresh
        if alive and self._gathered.issuperset(alive):
            self._count, self._gathered = self._count + 1, frozenset()
        return self._count
