"""Playing a few ticks, and reading their record by names.

play = Play(make_executor, plan)
play.ticks(tick(tilt=3), tick(tilt=7), tick(events="go"))
assert play.phases() == ["rest", "rest", "go"]
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    FALSE,
    FOR_STEP,
    FRESH,
    LOST,
    NO_CHANGE,
    NOT_LOOKED_AT,
    OUTPUT_CUT,
    OUTPUT_OFF,
    OUTPUT_ON,
    OUTPUT_STALLED,
    OVERDUE,
    RULE_BROKEN,
    RULE_KEPT,
    RULE_UNJUDGED,
    SEEN,
    TRUE,
    UNKNOWN,
    Detail,
    HistoryBlock,
)
from sequencer.history.recorder import join
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import (
    FRESH_RAW,
    FRESH_VALUE,
    HEARD,
    HELPING,
    RESET,
    STEP,
    STEPPING,
    ParameterWrite,
    TickBlock,
    empty_block,
)
from support.executors import MakeExecutor

CAUSES = {
    NO_CHANGE: "", BY_RESET: "reset", BY_TIMEOUT: "timeout", BY_GUARD: "guard",
    BY_ANYWHERE: "anywhere", BY_RULE: "rule",
}  # fmt: skip
TRUTHS = {FALSE: "F", UNKNOWN: "?", TRUE: "T", NOT_LOOKED_AT: "-"}
OUTPUTS = {OUTPUT_ON: "on", OUTPUT_OFF: "off", OUTPUT_STALLED: "stalled", OUTPUT_CUT: "cut"}
HELP = {"helping": HELPING, "stepping": STEPPING, "step": STEP}
WAITS = {0: "", OVERDUE: "late", FOR_STEP: "step"}
RULES = {RULE_KEPT: "kept", RULE_UNJUDGED: "?", RULE_BROKEN: "broken"}


@dataclass(frozen=True)
class Tick:
    """Inputs of one tick; `now` None is one tick after the one before."""

    values: Mapping[str, float] = field(default_factory=dict)
    raw: Mapping[str, float] = field(default_factory=dict)
    events: str = ""
    switches: str = ""
    heard: bool = True
    reset: bool = False
    now: int | None = None
    writes: Sequence[tuple[str, float]] = ()
    helping: str = ""  # words of HELP


def tick(
    *,
    raw: Mapping[str, float] | None = None,
    events: str = "",
    switches: str = "",
    heard: bool = True,
    reset: bool = False,
    now: int | None = None,
    writes: Sequence[tuple[str, float]] = (),
    helping: str = "",
    **values: float,
) -> Tick:
    """Give one tick; keywords that are signals are fresh values, `raw` are fresh raw samples."""
    return Tick(values, raw or {}, events, switches, heard, reset, now, writes, helping)


def _index(table: Sequence[Any], name: str) -> int:
    return [entry.name for entry in table].index(name)


def _bits(table: Sequence[Any], names: str) -> int:
    return sum(1 << _index(table, name) for name in names.split())


def tick_block(plan: Plan, ticks: Sequence[Tick], next_now: int = 0) -> TickBlock:
    """Lay out ticks as a block; the first has `next_now` unless it says otherwise."""
    block = empty_block(len(ticks), len(plan.signals))
    writes = []
    for row, one in enumerate(ticks):
        now = next_now if one.now is None else one.now
        next_now = (now + plan.tick_ms) & 0xFFFF_FFFF
        block.now[row] = now
        for form, samples in ((FRESH_VALUE, one.values), (FRESH_RAW, one.raw)):
            for name, sample in samples.items():
                column = _index(plan.signals, name)
                block.raw[row, column] = sample
                block.fresh[row, column] = form
        block.events[row] = _bits(plan.events, one.events)
        block.switches[row] = _bits(plan.switches, one.switches)
        block.control[row] = HEARD * one.heard | RESET * one.reset
        block.control[row] |= sum(HELP[word] for word in one.helping.split())
        writes += [ParameterWrite(row, _index(plan.parameters, name), v) for name, v in one.writes]
    return TickBlock(
        block.now, block.raw, block.fresh, block.events, block.switches, block.control, tuple(writes)
    )


class Play:
    """An executor of one plan and everything that it recorded."""

    def __init__(self, make_executor: MakeExecutor, plan: Plan) -> None:
        self.plan = plan
        self.executor = make_executor(plan)
        self._blocks: list[HistoryBlock] = []
        self._next_now = 0

    def ticks(self, *ticks: Tick) -> "Play":
        """Play ticks; several calls go on where the last one ended."""
        block = tick_block(self.plan, ticks, self._next_now)
        self._next_now = (int(block.now[-1]) + self.plan.tick_ms) & 0xFFFF_FFFF
        self._blocks.append(self.executor.run(block, detail=True))
        return self

    @property
    def record(self) -> HistoryBlock:
        return join(self.plan, self._blocks)

    @property
    def detail(self) -> Detail:
        detail = self.record.detail
        assert detail is not None
        return detail

    def phases(self, sequence: int = 0) -> list[str]:
        names = [phase.name for phase in self.plan.sequences[sequence].phases]
        return [names[i] for i in self.record.phase[:, sequence]]

    def causes(self, sequence: int = 0) -> list[str]:
        found = []
        for cause in self.record.cause[:, sequence].tolist():
            kind, index = CAUSES[cause >> 8], cause & 0xFF
            found.append(f"{kind} {index}" if kind in ("guard", "anywhere", "rule") else kind)
        return found

    def waits(self, sequence: int = 0) -> list[str]:
        return [WAITS[int(x)] for x in self.record.waits[:, sequence]]

    def setpoint(self, name: str) -> list[float]:
        return [float(x) for x in self.record.setpoint[:, _index(self.plan.setpoints, name)]]

    def target(self, name: str) -> list[float]:
        return [float(x) for x in self.detail.target[:, _index(self.plan.setpoints, name)]]

    def counter(self, name: str) -> list[int]:
        return [int(x) for x in self.record.counter[:, _index(self.plan.counters, name)]]

    def rule(self, name: str) -> list[str]:
        return [RULES[int(x)] for x in self.record.rule[:, _index(self.plan.rules, name)]]

    def loop(self, name: str) -> list[float]:
        """Give what a loop contributed in each tick."""
        return [float(x) for x in self.record.loop[:, _index(self.plan.loops, name)]]

    def output(self, name: str) -> list[float]:
        return [float(x) for x in self.record.output[:, _index(self.plan.outputs, name)]]

    def output_states(self, name: str) -> list[str]:
        column = self.record.output_state[:, _index(self.plan.outputs, name)]
        return [OUTPUTS[int(x)] for x in column]

    def drives(self) -> list[int]:
        return [int(x) for x in self.record.drives]

    def truths(self, leaf: int = 0) -> str:
        return "".join(TRUTHS[int(x)] for x in self.detail.truth[:, leaf])

    def margins(self, leaf: int = 0) -> list[float | None]:
        """Give margins; None for NaN."""
        return [None if np.isnan(x) else float(x) for x in self.detail.margin[:, leaf]]

    def signal(self, name: str) -> list[float]:
        return [float(x) for x in self.detail.signal[:, _index(self.plan.signals, name)]]

    def states(self, name: str) -> list[str]:
        """Give a signal's state in each tick: s seen, l lost, f fresh."""
        column = self.detail.signal_state[:, _index(self.plan.signals, name)].tolist()
        bits = ((SEEN, "s"), (LOST, "l"), (FRESH, "f"))
        return ["".join(letter for bit, letter in bits if state & bit) for state in column]

    def totals(self, name: str) -> tuple[int, int, int]:
        """Give bad, disbelieved and outside samples of a signal at the end."""
        i, record = _index(self.plan.signals, name), self.record
        return int(record.bad[i]), int(record.disbelieved[i]), int(record.outside[i])
