"""A closed-loop run whose inputs are kept, so that they can be written down as a recording."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import Executor
from sequencer.history.drive import Plant, drive_closed_loop
from sequencer.history.recorder import Recorder
from sequencer.trace.blocks import TickBlock
from sequencer.trace.record import TraceRecorder


def followed_inputs(executor: Executor, plant: Plant, ticks: int) -> Iterator[TickBlock]:
    """Run so many ticks with a plant that answers, and give its answers.

    Nothing runs before the first is taken.
    """
    noted = _Noted(plant)
    drive_closed_loop(executor, noted, ticks, Recorder(executor.plan))
    yield from noted.kept


class _Noted:
    """A plant whose answers are kept."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self.kept = TraceRecorder()

    def inputs(self, now_ms: int, setpoints: NDArray[np.float32]) -> TickBlock:
        """Answer as the plant does."""
        block = self._plant.inputs(now_ms, setpoints)
        self.kept.add(block)
        return block
