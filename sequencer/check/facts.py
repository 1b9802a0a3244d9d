"""What the checks ask a plan again and again: levels as numbers, what may be commanded, who counts."""

from dataclasses import dataclass, field
from functools import cached_property

from sequencer.base.binary32 import f32
from sequencer.plan.compared import signals_compared
from sequencer.plan.tables import Level, Node, Plan

Range = tuple[float, float]  # the least and the greatest value


@dataclass(frozen=True, slots=True)
class Condition:
    """A guard, or a part of one, together with where it is looked at.

    nodes: postfix. sequence, phase: the phase that is active, or None if it may be any. watched: it belongs
    to `anywhere` or a rule, so its latches outlast the phase. fires_at_once: it leads out of its phase
    without a hold, so it is never looked at again after it was true.
    """

    nodes: tuple[Node, ...]
    sequence: int | None = None
    phase: int | None = None
    watched: bool = False
    fires_at_once: bool = False


@dataclass
class Facts:
    """A plan and what follows from it. With `trimmed`, parameters may take any value of their spans."""

    plan: Plan
    trimmed: bool = False
    _targets: dict[tuple[int, int | None, int | None], tuple[Range, ...]] = field(default_factory=dict)

    def level(self, level: Level) -> Range:
        """Return the least and greatest value of a level, in binary32 as the controller adds it up."""
        if level.parameter is None:
            assert level.plus is not None
            return level.plus, level.plus
        parameter = self.plan.parameters[level.parameter]
        low, high = (parameter.low, parameter.high) if self.trimmed else (parameter.value, parameter.value)
        if level.negated:
            low, high = -high, -low
        plus = level.plus or 0.0
        return f32(low + plus), f32(high + plus)

    def reads(self, signal: int) -> Range:
        """Return what a signal can read: its span, moved as far as its zero may be trimmed."""
        row = self.plan.signals[signal]
        if row.zero_from is None or not self.trimmed:
            return row.low, row.high
        zero = self.plan.parameters[row.zero_from]
        return f32(row.low + zero.value - zero.high), f32(row.high + zero.value - zero.low)

    def target(self, setpoint: int, level: Level) -> Range:
        """Return the range of a target: a level clamped to its setpoint's span."""
        low, high = self.level(level)
        bounds = self.plan.setpoints[setpoint]
        return clamp(low, bounds.low, bounds.high), clamp(high, bounds.low, bounds.high)

    @cached_property
    def commanded(self) -> dict[int, list[Level]]:
        """Every different level that some phase gives a setpoint, in document order."""
        found: dict[int, list[Level]] = {}
        for sequence in self.plan.sequences:
            for phase in sequence.phases:
                for command in phase.commands:
                    levels = found.setdefault(command.setpoint, [])
                    if command.level not in levels:
                        levels.append(command.level)
        return found

    def levels_in(self, setpoint: int, sequence: int | None, phase: int | None) -> list[Level]:
        """Return the levels a setpoint may be aimed at there: the phase's own, else any, or its start."""
        if sequence is not None and phase is not None:
            own = [
                c.level
                for c in self.plan.sequences[sequence].phases[phase].commands
                if c.setpoint == setpoint
            ]
            if own:
                return own[-1:]
        return [Level(self.plan.setpoints[setpoint].start), *self.commanded.get(setpoint, [])]

    def targets_in(self, setpoint: int, sequence: int | None, phase: int | None) -> tuple[Range, ...]:
        """Return the ranges of the targets that a setpoint may have while a phase is active."""
        key = (setpoint, sequence, phase)
        if key not in self._targets:
            levels = self.levels_in(setpoint, sequence, phase)
            self._targets[key] = tuple(dict.fromkeys(self.target(setpoint, level) for level in levels))
        return self._targets[key]

    def travel(self, setpoint: int) -> Range:
        """Return between what values a setpoint can ever stand, ramps included."""
        targets = self.targets_in(setpoint, None, None)
        return min(low for low, _ in targets), max(high for _, high in targets)

    def sides(self, setpoint: int, target: Range) -> tuple[int, ...]:
        """Return from which sides a target may be approached: -1 falling, 0 from itself, 1 rising."""
        low, high = self.travel(setpoint)
        return tuple(
            side for side, possible in ((1, target[1] > low), (0, True), (-1, target[0] < high)) if possible
        )

    @cached_property
    def counted(self) -> frozenset[int]:
        """The counters that some phase raises; the others stay at 0 for ever."""
        return frozenset(i for s in self.plan.sequences for p in s.phases for i in p.count)

    @cached_property
    def commands_anything(self) -> bool:
        """Whether the gait moves anything at all; one that only watches a walk needs no rest and no stop."""
        return any(p.commands or p.pulse for s in self.plan.sequences for p in s.phases)

    def parameters_of(self, conditions: tuple[Condition, ...]) -> tuple[int, ...]:
        """Return the parameters on whose values the truth of some conditions depends."""
        found: dict[int, None] = {}
        for condition in conditions:
            for node in condition.nodes:
                if node.kind == "leaf":
                    for level in self._levels_behind(node.arg, condition):
                        if level.parameter is not None:
                            found[level.parameter] = None
                    found |= dict.fromkeys(self._zeros_behind(node.arg))
        return tuple(found)

    def _zeros_behind(self, leaf_index: int) -> list[int]:
        signals = signals_compared(self.plan.leaves[leaf_index], self.plan.setpoints)
        zeros = [self.plan.signals[signal].zero_from for signal in signals]
        return [zero for zero in zeros if zero is not None]

    def _levels_behind(self, leaf_index: int, condition: Condition) -> list[Level]:
        leaf = self.plan.leaves[leaf_index]
        levels: list[Level | None] = []
        for name in ("low", "high", "release_low", "release_high", "tolerance", "release"):
            levels.append(getattr(leaf, name, None))
        setpoint = getattr(leaf, "setpoint", None)
        if setpoint is not None:
            levels += self.levels_in(setpoint, condition.sequence, condition.phase)
        return [level for level in levels if level is not None]


def clamp(x: float, low: float, high: float) -> float:
    """Bring a target into its span."""
    return low if x < low else high if x > high else x
