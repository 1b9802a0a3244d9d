"""Blocks of tick inputs: what an executor is given."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

NOT_FRESH, FRESH_RAW, FRESH_VALUE = 0, 1, 2
HEARD, RESET, HELPING, STEPPING, STEP = 1, 2, 4, 8, 16  # bits of TickBlock.control
HELPED = HELPING | STEPPING | STEP
HELPING_BITS = {"on": HELPING, "stepping": STEPPING, "step": STEP}  # by their names in recordings and scripts


@dataclass(frozen=True, slots=True)
class ParameterWrite:
    """A parameter write that arrives with the tick in row `row` of its block."""

    row: int
    parameter: int
    value: float


@dataclass(frozen=True, slots=True)
class TickBlock:
    """Inputs of n ticks in a row, C-contiguous arrays.

    now: uint32 (n,), milliseconds, wraps.
    raw: float32 (n, signals); only read where fresh.
    fresh: uint8 (n, signals); NOT_FRESH, FRESH_RAW, or FRESH_VALUE (gain and bias are skipped).
    events, switches: uint32 (n,), bit i is event or switch i.
    control: uint8 (n,); HEARD if the remote was heard, RESET if a reset comes before the tick. For machines
    with `helping`: HELPING while somebody helps by hand, STEPPING in single steps, STEP in the tick of one.
    writes: parameter writes in the order in which they arrive.
    skipped: int64 (signals,), finite cells of the recording that a later one in the same tick replaced.
    """

    now: NDArray[np.uint32]
    raw: NDArray[np.float32]
    fresh: NDArray[np.uint8]
    events: NDArray[np.uint32]
    switches: NDArray[np.uint32]
    control: NDArray[np.uint8]
    writes: tuple[ParameterWrite, ...] = ()
    skipped: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))

    def __len__(self) -> int:
        return len(self.now)


def empty_block(ticks: int, signals: int) -> TickBlock:
    """Make a block in which nothing is fresh, nothing happens and the remote is heard in every tick."""
    return TickBlock(
        now=np.zeros(ticks, np.uint32),
        raw=np.zeros((ticks, signals), np.float32),
        fresh=np.zeros((ticks, signals), np.uint8),
        events=np.zeros(ticks, np.uint32),
        switches=np.zeros(ticks, np.uint32),
        control=np.full(ticks, HEARD, np.uint8),
        skipped=np.zeros(signals, np.int64),
    )
