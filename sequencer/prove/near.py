"""Numbers and lengths of time near which something happens to a gait."""

from random import Random

import numpy as np

from sequencer.base.binary32 import f32
from sequencer.plan.fixed_tables import MOST_STEPS
from sequencer.plan.tables import Compare, Follow, Level, Plan, Signal
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE

WRAP = 1 << 32
_MOST_REFERENCES = 8  # of a loop
_ON_A_SCALE = 20  # values between the ends of a scale, which is worked out in whole numbers
JUNK = (float("nan"), float("inf"), float("-inf"), 3.4e38, -3.4e38, 1e-45, -0.0)


def near_values(plan: Plan) -> list[list[float]]:
    """List for each signal the values near which something happens, in its unit."""
    near = [_of_signal(plan, signal) for signal in plan.signals]
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
    _add_of_drives(plan, near)
    if plan.fixed is not None:
        sizes = plan.fixed.signals
        near = [_with_steps(*of) for of in zip(plan.signals, near, sizes, strict=True)]
    return near


def _with_steps(signal: Signal, values: list[float], size: float) -> list[float]:
    """Add what is a step away, edges between steps, what is beyond 16 bits, and values all over a scale."""
    ways = (-1.0, -0.5, 0.5, 1.0)
    wide = (signal.high - signal.low) / _ON_A_SCALE
    scale = [f32(signal.low + (k + 0.37) * wide) for k in range(_ON_A_SCALE)] if signal.scaled else []
    return [
        *values,
        *(f32(x + way * size) for x in dict.fromkeys(values) for way in ways),
        *(f32(end * size) for end in (-MOST_STEPS, MOST_STEPS + 0.5)),
        *scale,
    ]


def _add_of_drives(plan: Plan, near: list[list[float]]) -> None:
    """Add references with the edges of dead bands, supplies, and ways that are just as long as a stall's."""
    for loop in plan.loops:
        references = [0.0]
        for term in loop.terms:
            values = [term.constant] if term.setpoint is None else _targets(plan, term.setpoint)
            references = [f32(r + value) for r in references for value in values][:_MOST_REFERENCES]
        edges = [f32(r + side * loop.dead_band) for r in references for side in (-1, 1)]
        near[loop.signal] += edges if loop.dead_band else references
    for output in plan.outputs:
        if output.supply is not None:
            near[output.supply.signal] += [output.supply.full_scale_at, output.supply.least or 0.0]
        if output.stall is not None:
            stall = output.stall
            near[stall.signal] += [f32(x + stall.moves) for x in near[stall.signal][:_MOST_REFERENCES]]


def zero_of(plan: Plan, signal: Signal) -> float:
    """Give what is subtracted from a signal at run time, as the file has it."""
    return 0.0 if signal.zero_from is None else plan.parameters[signal.zero_from].value


def _of_signal(plan: Plan, signal: Signal) -> list[float]:
    values = [0.0, signal.low, signal.high]
    if signal.believe is not None:
        ends = (signal.believe.low, signal.believe.high)
        in_counts = signal.believe.kind == "counts"
        bias = signal.bias - zero_of(plan, signal)
        values += [f32(end * signal.gain + bias) if in_counts else end for end in ends]
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
    for output in plan.outputs:
        times += [output.stall.for_ms] if output.stall is not None else []
        times += [output.supply.under_for_ms] if output.supply is not None else []
    around = {time + more for time in times for more in (-1, 0, 1)}
    return sorted({time for time in around if time >= 0} | {0, 1, 1 << 31})


def sample(rng: Random, signal: Signal, value: float, zero: float = 0.0) -> tuple[int, float]:
    """Draw a sample in one of its forms: the value, or one or two numbers beside it, or seldom junk.

    zero: what is subtracted from the signal at run time.
    """
    form = rng.choice((FRESH_RAW, FRESH_VALUE))
    if rng.random() < 0.02:
        return form, f32(rng.choice(JUNK))
    if form == FRESH_RAW:
        value = (value + zero - signal.bias) / signal.gain
    number = np.float32(value)
    for _ in range(rng.choice((0, 0, 1, 2))):
        number = np.nextafter(number, np.float32(rng.choice((-1e30, 1e30))), dtype=np.float32)
    return form, float(number)


def bits(rng: Random, count: int, chance: float) -> int:
    """Draw a set of bits."""
    return sum(1 << bit for bit in range(count) if rng.random() < chance)
