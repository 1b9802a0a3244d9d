"""What a proof feeds to the executors besides recordings: a followed walk, and random inputs.

Random inputs stay near what matters to the gait: thresholds with their releases, targets, ends of spans, and
the numbers of binary32 next to these; silence that makes a signal lost; pauses as long as holds and timeouts;
samples that are no numbers; resets; trimmed parameters; a clock that wraps. The same seed gives the same
inputs.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Compare, Follow, Level, Plan, Signal
from sequencer.trace.blocks import (
    FRESH_RAW,
    FRESH_VALUE,
    HEARD,
    NOT_FRESH,
    RESET,
    ParameterWrite,
    TickBlock,
    empty_block,
)
from sequencer.trace.record import TraceRecorder, join_blocks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sequencer.history.drive import Plant

WRAP = 1 << 32
JUNK = (float("nan"), float("inf"), float("-inf"), 3.4e38, -3.4e38, 1e-45, -0.0)


@dataclass(frozen=True, slots=True)
class Trace:
    """Inputs with a name that people can find again."""

    name: str
    block: TickBlock


def recorded(path: str, plan: Plan, columns: Mapping[str, str] | None = None) -> Trace:
    """Read a recording (``-`` for standard input); switches it has no column for are on, unless they stop.

    columns: our name of a column -> its name in the file. Raises TraceError, MisuseError.
    """
    from sequencer.trace.layout import TraceOptions
    from sequencer.trace.operator import default_switches
    from sequencer.trace.read import open_trace

    usual = default_switches(plan)
    on = frozenset(switch.name for i, switch in enumerate(plan.switches) if usual >> i & 1)
    with open_trace(path, plan, TraceOptions(columns or {}, on)) as reader:
        return Trace(path, join_blocks(list(reader)))


def followed(plan: Plan, ticks: int, seed: int = 0) -> Trace:
    """Let the machine follow its setpoints (no physics) and keep what its sensors and operator said."""
    from sequencer.executors.reference import ReferenceExecutor
    from sequencer.history.drive import drive_closed_loop
    from sequencer.history.recorder import Recorder
    from sequencer.trace.follow import FollowOptions, FollowPlant

    kept = TraceRecorder()
    plant = _Noted(FollowPlant(plan, FollowOptions(seed=seed)), kept)
    drive_closed_loop(ReferenceExecutor(plan), plant, ticks, Recorder(plan))
    return Trace("followed" if seed == 0 else f"followed {seed}", join_blocks(list(kept)))


class _Noted:
    """A plant whose answers are kept."""

    def __init__(self, plant: "Plant", kept: TraceRecorder) -> None:
        self._plant, self._kept = plant, kept

    def inputs(self, now_ms: int, setpoints: "NDArray[np.float32]") -> TickBlock:
        """Answer as the plant does."""
        block = self._plant.inputs(now_ms, setpoints)
        self._kept.add(block)
        return block


def random_traces(plan: Plan, count: int, ticks: int, seed: int = 0) -> Iterator[Trace]:
    """Make so many random traces: by turns from nothing, and from a followed walk that is then disturbed."""
    for number in range(count):
        rng = Random(f"{seed}/{number}")  # noqa: S311 - inputs that can be had again, not secrets
        if number % 2:
            block = disturbed(rng, plan, followed(plan, ticks, seed * count + number + 1).block)
            yield Trace(f"disturbed {number}", block)
        else:
            yield Trace(f"random {number}", random_block(rng, plan, ticks))


# -- what matters to a gait --------------------------------------------------------------------------------


def near_values(plan: Plan) -> list[list[float]]:
    """List for each signal the values near which something happens, in its unit."""
    near = [_of_signal(signal) for signal in plan.signals]
    for leaf in plan.leaves:
        if isinstance(leaf, Compare) and leaf.source == "signal":
            for level in (leaf.low, leaf.high, leaf.release_low, leaf.release_high):
                near[leaf.index] += _levels(plan, level)
        elif isinstance(leaf, Follow):
            reach = [0.0, *_levels(plan, leaf.tolerance), *_levels(plan, leaf.release)]
            for follower in plan.setpoints[leaf.setpoint].followers:
                for target in _targets(plan, leaf.setpoint):
                    stands = f32(target + follower.offset)
                    near[follower.signal] += [f32(stands + r) for r in reach] + [
                        f32(stands - r) for r in reach
                    ]
    return near


def _of_signal(signal: Signal) -> list[float]:
    values = [0.0, signal.low, signal.high]
    if signal.believe is not None:
        ends = (signal.believe.low, signal.believe.high)
        in_counts = signal.believe.kind == "counts"
        values += [f32(end * signal.gain + signal.bias) if in_counts else end for end in ends]
    return values


def _levels(plan: Plan, level: Level | None) -> list[float]:
    """Give what a level is with its parameter as in the file and at both ends of its span."""
    if level is None:
        return []
    if level.parameter is None:
        return [level.plus or 0.0]
    parameter = plan.parameters[level.parameter]
    sign = -1.0 if level.negated else 1.0
    return [f32(sign * p + (level.plus or 0.0)) for p in (parameter.value, parameter.low, parameter.high)]


def _targets(plan: Plan, setpoint: int) -> list[float]:
    targets = {plan.setpoints[setpoint].start}
    for sequence in plan.sequences:
        for phase in sequence.phases:
            for command in phase.commands:
                if command.setpoint == setpoint:
                    targets |= set(_levels(plan, command.level))
    return sorted(targets)


def pauses(plan: Plan) -> list[int]:
    """List the lengths of time at which something happens, in milliseconds, with one more and one less."""
    times = [s.lost_after_ms for s in plan.signals if s.lost_after_ms is not None]
    times += [g.hold.ms for g in plan.guards if g.hold is not None and g.hold.ms is not None]
    times += [p.timeout.after_ms for s in plan.sequences for p in s.phases if p.timeout is not None]
    if plan.remote is not None and plan.remote.lost_after_ms is not None:
        times.append(plan.remote.lost_after_ms)
    around = {time + more for time in times for more in (-1, 0, 1)}
    return sorted({time for time in around if time >= 0} | {0, 1, 1 << 31})


# -- random inputs -----------------------------------------------------------------------------------------


def random_block(rng: Random, plan: Plan, ticks: int) -> TickBlock:
    """Draw inputs of so many ticks: values that stay for a while, then another near what matters."""
    block = empty_block(ticks, len(plan.signals))
    near, times = near_values(plan), pauses(plan)
    now = rng.choice([0, 12345, WRAP - 150 * plan.tick_ms, WRAP - ticks * plan.tick_ms // 2])
    aims = [rng.choice(values) for values in near]
    freshness = [rng.choice((0.3, 0.7, 1.0)) for _ in near]
    late = rng.choice((0.0, 0.01, 0.1))
    quiet = 0
    switches = _bits(rng, len(plan.switches), 0.8)
    for row in range(ticks):
        now += rng.choice(times) if rng.random() < late else plan.tick_ms
        block.now[row] = now % WRAP
        quiet = rng.randint(3, 40) if quiet == 0 and rng.random() < 0.01 else max(quiet - 1, 0)
        for column, values in enumerate(near):
            if rng.random() < 0.05:
                aims[column] = rng.choice(values)
            if not quiet and rng.random() < freshness[column]:
                form, sample = _sample(rng, plan.signals[column], aims[column])
                block.fresh[row, column], block.raw[row, column] = form, sample
        if rng.random() < 0.05:
            switches = _bits(rng, len(plan.switches), 0.8)
        block.events[row], block.switches[row] = _bits(rng, len(plan.events), 0.05), switches
        block.control[row] = HEARD * (not quiet and rng.random() < 0.7) | RESET * (rng.random() < 0.003)
    return replace(block, writes=_writes(rng, plan, ticks))


def disturbed(rng: Random, plan: Plan, walk: TickBlock) -> TickBlock:
    """Take a walk and disturb it here and there: silence, junk, values on thresholds, resets, late ticks."""
    ticks = len(walk)
    raw, fresh, events = walk.raw.copy(), walk.fresh.copy(), walk.events.copy()
    switches, control = walk.switches.copy(), walk.control.copy()
    steps = np.full(ticks, plan.tick_ms, np.uint64)
    near, times = near_values(plan), pauses(plan)
    for _ in range(max(1, ticks // 100)):
        row = rng.randrange(ticks)
        rows = slice(row, row + rng.choice((1, 1, 5, 20, 60)))
        what = rng.random()
        if what < 0.5 and near:
            column = rng.randrange(len(near))
            if what < 0.15:
                fresh[rows, column] = NOT_FRESH
            else:
                fresh[row, column], raw[row, column] = _sample(
                    rng, plan.signals[column], rng.choice(near[column])
                )
        elif what < 0.6:
            control[rows] &= ~np.uint8(HEARD)
        elif what < 0.75:
            events[row] |= np.uint32(_bits(rng, len(plan.events), 0.4))
        elif what < 0.8:
            switches[rows] = _bits(rng, len(plan.switches), 0.5)
        elif what < 0.95:
            steps[row] = rng.choice(times)
        else:
            control[row] |= RESET
    now = np.cumsum(steps) + np.uint64(rng.choice([0, WRAP - int(steps.sum()) % WRAP // 2]))
    block = TickBlock((now % WRAP).astype(np.uint32), raw, fresh, events, switches, control)
    return replace(block, writes=_writes(rng, plan, ticks), skipped=walk.skipped)


def _sample(rng: Random, signal: Signal, value: float) -> tuple[int, float]:
    """Draw a sample in one of its forms: the value, or one or two numbers beside it, or seldom junk."""
    form = rng.choice((FRESH_RAW, FRESH_VALUE))
    if rng.random() < 0.02:
        return form, f32(rng.choice(JUNK))
    if form == FRESH_RAW:
        value = (value - signal.bias) / signal.gain
    sample = np.float32(value)
    for _ in range(rng.choice((0, 0, 1, 2))):
        sample = np.nextafter(sample, np.float32(rng.choice((-1e30, 1e30))), dtype=np.float32)
    return form, float(sample)


def _bits(rng: Random, count: int, chance: float) -> int:
    return sum(1 << bit for bit in range(count) if rng.random() < chance)


def _writes(rng: Random, plan: Plan, ticks: int) -> tuple[ParameterWrite, ...]:
    """Draw parameter writes in order, some of them to be refused."""
    if not plan.parameters:
        return ()
    writes = []
    for row in sorted(rng.randrange(ticks) for _ in range(max(2, ticks // 250))):
        index = rng.randrange(len(plan.parameters))
        of = plan.parameters[index]
        inside = f32(rng.uniform(of.low, of.high))
        odd: Sequence[float] = (
            of.low,
            of.high,
            of.high + 1,
            of.low - 1,
            -0.0,
            float("nan"),
            float("inf"),
            1e300,
        )
        writes.append(ParameterWrite(row, index, rng.choice((inside, inside, rng.choice(odd)))))
    return tuple(writes)
