"""How much of its hold a guard still has to wait for, in each tick.

The record says in each tick whether a guard was looked at and what it came to, and which signals were fresh.
The rest of the hold follows from the rules of a tick: a hold in ms starts on the first true tick and is met
when now - start >= T; a hold in samples counts up when the guard is true and each of its signals that is not
lost has been fresh since the last count, in ticks in which the guard was true; false, unknown, not looked at
and a change of phase start over. Only where an earlier guard of the phase waits for a single step of the
operator's is a guard not looked at and keeps what it has.
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import FOR_STEP, FRESH, LOST, NOT_LOOKED_AT, TRUE, HistoryBlock
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
        for tick in np.flatnonzero(self._matters(history, truth)).tolist():
            if truth[tick] == TRUE:
                rest[tick] = max(needed - self._so_far(history, tick), 0)
            if truth[tick] != TRUE or self._moved(history, tick):
                self._start_over()
        return rest

    def _matters(self, history: HistoryBlock, truth: Bytes) -> NDArray[np.bool_]:
        """Find the ticks in which the guard is true, and the first of those in which it starts over."""
        true = truth == TRUE
        over = ~true
        if self._sequence is not None:
            waits = (history.waits[:, self._sequence] & FOR_STEP) > 0
            over &= ~((truth == NOT_LOOKED_AT) & waits)
        first = over & ~np.concatenate([[False], over[:-1]])
        return np.asarray(true | first)

    def _moved(self, history: HistoryBlock, tick: int) -> bool:
        return self._sequence is not None and bool(history.cause[tick, self._sequence])

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
