"""Numbers in whole steps of a resolution, and plans whose numbers are."""

import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from sequencer.base.binary32 import f32, literal
from sequencer.plan.fixed_tables import MOST_STEPS
from sequencer.plan.tables import (
    Believe,
    Command,
    Compare,
    Follow,
    Leaf,
    Level,
    Parameter,
    Phase,
    Plan,
    Rate,
    Sequence,
    Setpoint,
    Signal,
)

Turn = Callable[[float], float]


@lru_cache(maxsize=4096)
def decimal(x: float) -> Fraction:
    """Give the shortest decimal that reads back to a binary32 number: what somebody wrote, as a rule."""
    return Fraction(literal(x).removesuffix("F"))


def rounded(x: Fraction) -> int:
    """Round to the nearest whole number, ties away from zero."""
    size = math.floor(abs(x) + Fraction(1, 2))
    return size if x >= 0 else -size


def steps_of(x: float, resolution: float) -> int:
    """Give a number of a file in whole steps: nearest, ties (of the decimals as written) away from zero."""
    return rounded(decimal(x) / decimal(resolution))


def of_steps(steps: int, resolution: float) -> float:
    """Give the binary32 number nearest to so many steps."""
    return f32(float(steps * decimal(resolution)))


def in_steps(plan: Plan) -> Plan:
    """Turn every number that the sequencer works with into whole steps; loops and outputs stay as they are.

    The result's signals have neither gain nor bias: samples become steps by `plan.fixed.scales`.
    """
    return _Turned(plan, lambda resolution: lambda x: float(steps_of(x, resolution))).plan()


def in_force(plan: Plan) -> Plan:
    """Turn every number that the sequencer works with into the whole steps nearest to it, in its own unit."""

    def turn(resolution: float) -> Turn:
        return lambda x: of_steps(steps_of(x, resolution), resolution)

    return _Turned(plan, turn).plan()


class _Turned:
    def __init__(self, plan: Plan, turn: Callable[[float], Turn]) -> None:
        assert plan.fixed is not None
        self._plan = plan
        self._signals = [turn(resolution) for resolution in plan.fixed.signals]
        self._setpoints = [turn(resolution) for resolution in plan.fixed.setpoints]
        self._parameters = [turn(resolution) for resolution in plan.fixed.parameters]

    def plan(self) -> Plan:
        plan = self._plan
        return replace(
            plan,
            signals=tuple(map(self._signal, plan.signals, self._signals)),
            setpoints=tuple(map(self._setpoint, plan.setpoints, self._setpoints)),
            parameters=tuple(map(self._parameter, plan.parameters, self._parameters)),
            leaves=tuple(self._leaf(leaf) for leaf in plan.leaves),
            sequences=tuple(self._sequence(sequence) for sequence in plan.sequences),
        )

    def _signal(self, signal: Signal, turn: Turn) -> Signal:
        believe = signal.believe
        if believe is not None:
            of_raw = believe.kind == "counts" and signal.scaled
            ends = (believe.low, believe.high)
            low, high = map(_whole if of_raw else turn, ends)
            believe = Believe(believe.kind, low, high)
        return replace(signal, low=turn(signal.low), high=turn(signal.high), believe=believe)

    def _setpoint(self, setpoint: Setpoint, turn: Turn) -> Setpoint:
        rate = setpoint.rate
        return replace(
            setpoint,
            low=turn(setpoint.low),
            high=turn(setpoint.high),
            start=turn(setpoint.start),
            rate=None if rate is None else Rate(turn(rate.step), rate.parameter, rate.per_second),
            followers=tuple(replace(f, offset=turn(f.offset)) for f in setpoint.followers),
        )

    @staticmethod
    def _parameter(parameter: Parameter, turn: Turn) -> Parameter:
        value, low, high = map(turn, (parameter.value, parameter.low, parameter.high))
        return replace(parameter, value=value, low=low, high=high)

    @staticmethod
    def _level(level: Level | None, turn: Turn) -> Level | None:
        if level is None or level.plus is None:
            return level
        return replace(level, plus=turn(level.plus))

    def _leaf(self, leaf: Leaf) -> Leaf:
        if isinstance(leaf, Compare) and leaf.source == "signal":
            turn = self._signals[leaf.index]
            return replace(
                leaf,
                low=self._level(leaf.low, turn),
                high=self._level(leaf.high, turn),
                release_low=self._level(leaf.release_low, turn),
                release_high=self._level(leaf.release_high, turn),
            )
        if isinstance(leaf, Follow):
            turn = self._setpoints[leaf.setpoint]
            tolerance = self._level(leaf.tolerance, turn)
            assert tolerance is not None
            return replace(leaf, tolerance=tolerance, release=self._level(leaf.release, turn))
        return leaf

    def _sequence(self, sequence: Sequence) -> Sequence:
        return replace(sequence, phases=tuple(self._phase(phase) for phase in sequence.phases))

    def _phase(self, phase: Phase) -> Phase:
        return replace(phase, commands=tuple(self._command(command) for command in phase.commands))

    def _command(self, command: Command) -> Command:
        level = self._level(command.level, self._setpoints[command.setpoint])
        assert level is not None
        return replace(command, level=level)


def _whole(x: float) -> float:
    return float(rounded(decimal(x)))


def saturated(steps: float) -> float:
    """Limit to what int16 holds, the same either way."""
    return min(max(steps, -MOST_STEPS), MOST_STEPS)
