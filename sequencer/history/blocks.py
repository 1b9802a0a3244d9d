"""The record that every executor writes, tick by tick. Two executors agree when these agree to the bit."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock

# cause = kind << 8 | index; the index of a guard is its number in its phase
NO_CHANGE, BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE, BY_RULE = range(6)

# truths of leaves and guards; NOT_LOOKED_AT only stands in records
FALSE, UNKNOWN, TRUE, NOT_LOOKED_AT = range(4)

RULE_KEPT, RULE_UNJUDGED, RULE_BROKEN = range(3)

OUTPUT_ON, OUTPUT_OFF, OUTPUT_STALLED, OUTPUT_CUT = range(4)  # cut: the supply was under its least value

SEEN, LOST, FRESH = 1, 2, 4  # bits of Detail.signal_state

OVERDUE, FOR_STEP = 1, 2  # bits of HistoryBlock.waits: the timeout has passed; a guard that fires waits


@dataclass(frozen=True, slots=True)
class Detail:
    """What a run keeps only when margins are wanted. n ticks.

    signal: float32 (n, signals), the value each signal has in the tick (0 until seen).
    signal_state: uint8 (n, signals), bits SEEN, LOST, FRESH (a believed sample came in this tick).
    target: float32 (n, setpoints).
    truth: uint8 (n, leaves); NOT_LOOKED_AT where the leaf's guard was not looked at.
    margin: float32 (n, leaves); NaN where unknown, not looked at, or not a comparison.
    """

    signal: NDArray[np.float32]
    signal_state: NDArray[np.uint8]
    target: NDArray[np.float32]
    truth: NDArray[np.uint8]
    margin: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class HistoryBlock:
    """The record of n ticks, C-contiguous arrays; values as they stand at the end of each tick.

    now: uint32 (n,). phase: uint8 (n, sequences). cause: uint16 (n, sequences).
    waits: uint8 (n, sequences), bits OVERDUE and FOR_STEP, while helped by hand or walking in single steps.
    setpoint: float32 (n, setpoints), the ramped value. counter: uint16 (n, counters).
    rule: uint8 (n, rules). drives: uint8 (n,), 1 while drives are on. pulses: uint32 (n,).
    loop: float32 (n, loops), each loop's correction after its authority. output: float32 (n, outputs).
    output_state: uint8 (n, outputs), OUTPUT_ON to OUTPUT_CUT.
    bad, disbelieved, outside: uint32 (signals,), totals since reset at the end of the block: samples that
    were not finite, not believed, or outside the span.
    refused: parameter writes refused since reset.
    """

    now: NDArray[np.uint32]
    phase: NDArray[np.uint8]
    cause: NDArray[np.uint16]
    waits: NDArray[np.uint8]
    setpoint: NDArray[np.float32]
    counter: NDArray[np.uint16]
    rule: NDArray[np.uint8]
    drives: NDArray[np.uint8]
    pulses: NDArray[np.uint32]
    loop: NDArray[np.float32]
    output: NDArray[np.float32]
    output_state: NDArray[np.uint8]
    bad: NDArray[np.uint32]
    disbelieved: NDArray[np.uint32]
    outside: NDArray[np.uint32]
    refused: int
    detail: Detail | None = None

    def __len__(self) -> int:
        return len(self.now)


def new_block(plan: Plan, ticks: int, *, detail: bool) -> HistoryBlock:
    """Make an all-zero record for `ticks` ticks of the plan, for an executor to fill in place."""
    signals, leaves = len(plan.signals), len(plan.leaves)
    more = None
    if detail:
        more = Detail(
            signal=np.zeros((ticks, signals), np.float32),
            signal_state=np.zeros((ticks, signals), np.uint8),
            target=np.zeros((ticks, len(plan.setpoints)), np.float32),
            truth=np.full((ticks, leaves), NOT_LOOKED_AT, np.uint8),
            margin=np.full((ticks, leaves), np.nan, np.float32),
        )
    return HistoryBlock(
        now=np.zeros(ticks, np.uint32),
        phase=np.zeros((ticks, len(plan.sequences)), np.uint8),
        cause=np.zeros((ticks, len(plan.sequences)), np.uint16),
        waits=np.zeros((ticks, len(plan.sequences)), np.uint8),
        setpoint=np.zeros((ticks, len(plan.setpoints)), np.float32),
        counter=np.zeros((ticks, len(plan.counters)), np.uint16),
        rule=np.zeros((ticks, len(plan.rules)), np.uint8),
        drives=np.zeros(ticks, np.uint8),
        pulses=np.zeros(ticks, np.uint32),
        loop=np.zeros((ticks, len(plan.loops)), np.float32),
        output=np.zeros((ticks, len(plan.outputs)), np.float32),
        output_state=np.zeros((ticks, len(plan.outputs)), np.uint8),
        bad=np.zeros(signals, np.uint32),
        disbelieved=np.zeros(signals, np.uint32),
        outside=np.zeros(signals, np.uint32),
        refused=0,
        detail=more,
    )


class Executor(Protocol):
    """Something that runs ticks. It keeps its state from one block to the next."""

    plan: Plan

    def reset(self) -> None:
        """Start over: the next tick enters each first phase; parameters keep their values."""

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        """Run the block's ticks in order and return their record."""
