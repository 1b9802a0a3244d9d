"""Running a plan against a recording, or in a closed loop with something that answers."""

from collections.abc import Iterable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import Executor, HistoryBlock
from sequencer.history.recorder import Recorder, join
from sequencer.history.run import Run
from sequencer.trace.blocks import TickBlock
from sequencer.trace.record import join_blocks

TICKS_AT_ONCE = 1024  # of a closed loop: how many single ticks become one block of the record


class Plant(Protocol):
    """Something that answers to what is commanded: a follower, physics."""

    def inputs(self, now_ms: int, setpoints: NDArray[np.float32]) -> TickBlock:
        """Give the inputs of the tick at `now_ms` as a block of one tick.

        now_ms: wraps at 2^32. setpoints: float32 (setpoints,), as commanded at the end of the tick before;
        before the first tick, their starts.
        """


def drive(
    executor: Executor, inputs: Iterable[TickBlock], recorder: Recorder, *, detail: bool = False
) -> Run:
    """Run all blocks of a recording through an executor, one in memory at a time, and give the run."""
    for block in inputs:
        recorder.add(block, executor.run(block, detail=detail))
    return recorder.finish()


def drive_closed_loop(
    executor: Executor,
    plant: Plant,
    ticks: int,
    recorder: Recorder,
    *,
    detail: bool = False,
) -> Run:
    """Run so many ticks in which the plant answers to the setpoints of the tick before, and give the run.

    Tick k has now = k * tick, modulo 2^32 ms.
    """
    plan = executor.plan
    setpoints = np.array([s.start for s in plan.setpoints], np.float32)
    blocks: list[TickBlock] = []
    records: list[HistoryBlock] = []
    for tick in range(ticks):
        block = plant.inputs(tick * plan.tick_ms & 0xFFFF_FFFF, setpoints)
        record = executor.run(block, detail=detail)
        setpoints = record.setpoint[-1]
        blocks.append(block)
        records.append(record)
        if len(blocks) == TICKS_AT_ONCE or tick == ticks - 1:
            recorder.add(join_blocks(blocks), join(plan, records))
            blocks, records = [], []
    return recorder.finish()
