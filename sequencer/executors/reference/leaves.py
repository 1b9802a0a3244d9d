"""Steps 3 and 4 of a tick: the comparisons and conditions that guards are made of, and their latches.

Each leaf answers `truth()` (FALSE, UNKNOWN or TRUE) once per tick in which its guard is looked at; a
comparison also has a `margin()`, which must be asked first because `truth()` moves the latch.
"""

import math
from collections.abc import Callable, Sequence

from sequencer.base.binary32 import f32
from sequencer.executors.reference.inputs import Inputs, SignalState
from sequencer.executors.reference.setpoints import SetpointState
from sequencer.history.blocks import FALSE, TRUE, UNKNOWN
from sequencer.plan.levels import level_value
from sequencer.plan.tables import (
    Compare,
    CompareOp,
    Follow,
    InPhase,
    Leaf,
    Level,
    Lost,
    OnEvent,
    OnSwitch,
    Plan,
)

# v: value; a, b: the lower and upper threshold in force (the one that an operator does not use is 0)
TESTS: dict[CompareOp, Callable[[float, float, float], bool]] = {
    "at_least": lambda v, a, b: v >= a,
    "above": lambda v, a, b: v > a,
    "at_most": lambda v, a, b: v <= b,
    "below": lambda v, a, b: v < b,
    "within": lambda v, a, b: a <= v <= b,
    "outside": lambda v, a, b: v < a or v > b,
}

MARGINS: dict[CompareOp, Callable[[float, float, float], float]] = {
    "at_least": lambda v, a, b: f32(v - a),
    "above": lambda v, a, b: f32(v - a),
    "at_most": lambda v, a, b: f32(b - v),
    "below": lambda v, a, b: f32(b - v),
    "within": lambda v, a, b: min(f32(v - a), f32(b - v)),
    "outside": lambda v, a, b: max(f32(a - v), f32(v - b)),
}


class LeafState:
    """A condition. The base class has neither margin, latch nor parameters."""

    __slots__ = ()

    def truth(self) -> int:
        """Answer for this tick; moves the latch."""
        raise NotImplementedError

    def margin(self) -> float:
        """Give the signed distance from the threshold in force; NaN if unknown or not a comparison."""
        return math.nan

    def clear(self) -> None:
        """Clear the latch."""

    def refresh(self, parameters: Sequence[float]) -> None:
        """Work out the thresholds again after a parameter changed."""


class _CompareState(LeafState):
    """A signal or a counter against one or two thresholds."""

    __slots__ = ("_distance", "_inputs", "_latched", "_leaf", "_normal", "_released", "_signal", "_test")

    def __init__(self, leaf: Compare, inputs: Inputs, parameters: Sequence[float]) -> None:
        self._leaf = leaf
        self._inputs = inputs
        self._signal: SignalState | None = inputs.signals[leaf.index] if leaf.source == "signal" else None
        self._test = TESTS[leaf.op]
        self._distance = MARGINS[leaf.op]
        self._latched = False
        self.refresh(parameters)

    def refresh(self, parameters: Sequence[float]) -> None:
        leaf = self._leaf
        self._normal = _pair(leaf.low, leaf.high, parameters)
        self._released = _pair(leaf.release_low, leaf.release_high, parameters)

    def clear(self) -> None:
        self._latched = False

    def _value(self) -> float | None:
        if self._signal is not None:
            return self._signal.known
        return self._inputs.counters[self._leaf.index]

    def truth(self) -> int:
        value = self._value()
        if value is None:
            self._latched = False
            return UNKNOWN
        low, high = self._released if self._latched else self._normal
        answer = self._test(value, low, high)
        if self._leaf.latch is not None:
            self._latched = answer
        return TRUE if answer else FALSE

    def margin(self) -> float:
        value = self._value()
        if value is None:
            return math.nan
        low, high = self._released if self._latched else self._normal
        return self._distance(value, low, high)


class _FollowState(LeafState):
    """The signals that follow a setpoint against its target.

    `side` says from where `reached` is looked at: +1 if the target lies above the value with which the phase
    began, -1 if below, 0 if there was nothing to travel. `at_target` always looks from both sides (0).
    """

    __slots__ = ("_followers", "_latched", "_leaf", "_setpoint", "_tolerance", "_wider")

    def __init__(
        self, leaf: Follow, inputs: Inputs, setpoint: SetpointState, parameters: Sequence[float]
    ) -> None:
        self._leaf = leaf
        self._setpoint = setpoint
        self._followers = [(inputs.signals[f.signal], f.offset) for f in setpoint.setpoint.followers]
        self._latched = False
        self.refresh(parameters)

    def refresh(self, parameters: Sequence[float]) -> None:
        leaf = self._leaf
        self._tolerance = level_value(leaf.tolerance, parameters)
        self._wider = self._tolerance if leaf.release is None else level_value(leaf.release, parameters)

    def clear(self) -> None:
        self._latched = False

    def _errors(self) -> list[float] | None:
        """Give each follower's distance from where it should stand, or None if any is lost or unseen."""
        target = self._setpoint.target
        errors = []
        for signal, offset in self._followers:
            if signal.known is None:
                return None
            errors.append(f32(signal.known - f32(target + offset)))
        return errors

    def _side(self) -> int:
        return 0 if self._leaf.op == "at_target" else self._setpoint.side()

    def truth(self) -> int:
        errors = self._errors()
        if errors is None:
            self._latched = False
            return UNKNOWN
        t = self._wider if self._latched else self._tolerance
        side = self._side()
        answer = all((side < 0 or e >= -t) and (side > 0 or e <= t) for e in errors)
        if self._leaf.latch is not None:
            self._latched = answer
        return TRUE if answer else FALSE

    def margin(self) -> float:
        errors = self._errors()
        if errors is None:
            return math.nan
        t = self._wider if self._latched else self._tolerance
        side = self._side()
        if side > 0:
            return min(f32(e + t) for e in errors)
        if side < 0:
            return min(f32(t - e) for e in errors)
        return min(f32(t - abs(e)) for e in errors)


class _EventState(LeafState):
    """True in the tick in which the event arrives."""

    __slots__ = ("_bit", "_inputs")

    def __init__(self, leaf: OnEvent, inputs: Inputs) -> None:
        self._inputs = inputs
        self._bit = 1 << leaf.event

    def truth(self) -> int:
        return TRUE if self._inputs.events & self._bit else FALSE


class _SwitchState(LeafState):
    """True while the switch is on; unknown while the remote that carries it is not heard."""

    __slots__ = ("_bit", "_inputs", "_remote")

    def __init__(self, leaf: OnSwitch, inputs: Inputs) -> None:
        self._inputs = inputs
        self._remote = leaf.remote
        self._bit = 1 << leaf.switch

    def truth(self) -> int:
        if self._remote and not self._inputs.remote.known:
            return UNKNOWN
        return TRUE if self._inputs.switches & self._bit else FALSE


class _LostState(LeafState):
    """True while the signal or the remote is lost; never unknown."""

    __slots__ = ("_watched",)

    def __init__(self, leaf: Lost, inputs: Inputs) -> None:
        self._watched = inputs.remote if leaf.signal is None else inputs.signals[leaf.signal]

    def truth(self) -> int:
        return TRUE if self._watched.lost else FALSE


class _InPhaseState(LeafState):
    """True if another sequence stands in one of the phases."""

    __slots__ = ("_inputs", "_phases", "_sequence")

    def __init__(self, leaf: InPhase, inputs: Inputs) -> None:
        self._inputs = inputs
        self._sequence = leaf.sequence
        self._phases = frozenset(leaf.phases)

    def truth(self) -> int:
        return TRUE if self._inputs.phases[self._sequence] in self._phases else FALSE


def _pair(low: Level | None, high: Level | None, parameters: Sequence[float]) -> tuple[float, float]:
    return (
        0.0 if low is None else level_value(low, parameters),
        0.0 if high is None else level_value(high, parameters),
    )


def make_leaves(
    plan: Plan, inputs: Inputs, setpoints: list[SetpointState], parameters: Sequence[float]
) -> list[LeafState]:
    """Make the state of every leaf of the plan."""

    def make(leaf: Leaf) -> LeafState:
        match leaf:
            case Compare():
                return _CompareState(leaf, inputs, parameters)
            case Follow():
                return _FollowState(leaf, inputs, setpoints[leaf.setpoint], parameters)
            case OnEvent():
                return _EventState(leaf, inputs)
            case OnSwitch():
                return _SwitchState(leaf, inputs)
            case Lost():
                return _LostState(leaf, inputs)
            case InPhase():
                return _InPhaseState(leaf, inputs)

    return [make(leaf) for leaf in plan.leaves]
