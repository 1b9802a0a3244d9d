"""Gathering the record of a stretch of ticks in lists, then writing it into arrays at once.

Setting single elements of numpy arrays is slow in Python; growing lists is not.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.executors.reference.guards import Notes
from sequencer.executors.reference.inputs import SignalState
from sequencer.executors.reference.setpoints import SetpointState
from sequencer.history.blocks import FRESH, LOST, SEEN, Detail, HistoryBlock


class Gathered:
    """The record of some ticks as flat lists, one tick after the other."""

    def __init__(self) -> None:
        self.phase: list[int] = []
        self.cause: list[int] = []
        self.setpoint: list[float] = []
        self.counter: list[int] = []
        self.waits: list[int] = []
        self.rule: list[int] = []
        self.drives: list[bool] = []
        self.pulses: list[int] = []
        self.loop: list[float] = []
        self.output: list[float] = []
        self.output_state: list[int] = []
        self.detail = GatheredDetail()

    def write(self, block: HistoryBlock, rows: slice) -> None:
        """Write everything into the rows of the block."""
        _fill(block.phase[rows], self.phase)
        _fill(block.cause[rows], self.cause)
        _fill(block.setpoint[rows], self.setpoint)
        _fill(block.counter[rows], self.counter)
        _fill(block.waits[rows], self.waits)
        _fill(block.rule[rows], self.rule)
        block.drives[rows] = self.drives
        block.pulses[rows] = self.pulses
        _fill(block.loop[rows], self.loop)
        _fill(block.output[rows], self.output)
        _fill(block.output_state[rows], self.output_state)
        if block.detail is not None:
            self.detail.write(block.detail, rows)


class GatheredDetail:
    """As `Gathered`, for the detail that margins are made from."""

    def __init__(self) -> None:
        self.signal: list[float] = []
        self.signal_state: list[int] = []
        self.target: list[float] = []
        self.truth: list[int] = []
        self.margin: list[float] = []

    def add(self, signals: Sequence[SignalState], setpoints: Sequence[SetpointState], notes: Notes) -> None:
        """Add one tick."""
        self.signal += [s.value for s in signals]
        self.signal_state += [SEEN * s.seen | LOST * s.lost | FRESH * s.fresh for s in signals]
        self.target += [s.target for s in setpoints]
        self.truth += notes.truth
        self.margin += notes.margin

    def write(self, detail: Detail, rows: slice) -> None:
        """Write everything into the rows of the detail."""
        _fill(detail.signal[rows], self.signal)
        _fill(detail.signal_state[rows], self.signal_state)
        _fill(detail.target[rows], self.target)
        _fill(detail.truth[rows], self.truth)
        _fill(detail.margin[rows], self.margin)


def _fill(
    rows: NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32], values: list[int] | list[float]
) -> None:
    rows[...] = np.array(values, rows.dtype).reshape(rows.shape)
