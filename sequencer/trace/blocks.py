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
class MachineMove:
    """A change of phase that the machine told of: in row `row`, by the cause of `HistoryBlock.cause`."""

    row: int
    sequence: int
    left: int
    entered: int
    cause: int
    line: int


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """What the machine itself did in the ticks of a block, as far as its telemetry tells. m lines.

    row: int64 (m,), the lines' rows in the block, rising. line: int64 (m,), their numbers in the file.
    phase: uint8 (m, sequences). drives: uint8 (m,), 1 while they were on. setpoint: float32 (m, setpoints),
    output: float32 (m, outputs), each None if the lines do not carry it.
    every_tick: a line was sent in every tick; else the inputs of the ticks in between are not known.
    doubts: from these rows on the inputs are not all known, and why. source: the file.
    """

    row: NDArray[np.int64]
    line: NDArray[np.int64]
    phase: NDArray[np.uint8]
    drives: NDArray[np.uint8]
    setpoint: NDArray[np.float32] | None
    output: NDArray[np.float32] | None
    moves: tuple[MachineMove, ...]
    every_tick: bool
    doubts: tuple[tuple[int, str], ...]
    source: str


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
    machine: what the machine did in these ticks, if it is known; no executor looks at it.
    """

    now: NDArray[np.uint32]
    raw: NDArray[np.float32]
    fresh: NDArray[np.uint8]
    events: NDArray[np.uint32]
    switches: NDArray[np.uint32]
    control: NDArray[np.uint8]
    writes: tuple[ParameterWrite, ...] = ()
    skipped: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    machine: MachineRecord | None = None

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
