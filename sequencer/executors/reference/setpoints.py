"""Step 9 of a tick, second half: targets and the ramps that follow them."""

from collections.abc import Sequence

from sequencer.base.binary32 import f32
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Level, Setpoint


class SetpointState:
    """One setpoint: the target, the ramped value, and the value with which its sequence's phase began."""

    __slots__ = ("_level", "_step", "entry", "setpoint", "target", "value")

    def __init__(self, setpoint: Setpoint, parameters: Sequence[float]) -> None:
        self.setpoint = setpoint
        self.reset()
        self.refresh(parameters)

    def reset(self) -> None:
        """Go back to the start; nothing commands it."""
        self._level: Level | None = None
        self.value = self.target = self.entry = self.setpoint.start

    def command(self, level: Level, parameters: Sequence[float]) -> None:
        """Take a new target."""
        self._level = level
        self.target = self._clamped(level_value(level, parameters))

    def refresh(self, parameters: Sequence[float]) -> None:
        """Work out target and step again after a parameter changed."""
        if self._level is not None:
            self.target = self._clamped(level_value(self._level, parameters))
        rate = self.setpoint.rate
        self._step: float | None = None
        if rate is not None:
            self._step = rate.step if rate.parameter is None else f32(rate.step * parameters[rate.parameter])

    def begin_phase(self) -> None:
        """Remember the value that it has as its sequence enters a phase."""
        self.entry = self.value

    def side(self) -> int:
        """Tell where the target lies, seen from where the phase began: +1 above, -1 below, 0 at it."""
        return (self.target > self.entry) - (self.target < self.entry)

    def ramp(self) -> None:
        """Move one step towards the target, however late the tick is."""
        step = self._step
        self.value = self.target if step is None else ramped(self.value, self.target, step)

    def _clamped(self, x: float) -> float:
        if x < self.setpoint.low:
            return self.setpoint.low
        if x > self.setpoint.high:
            return self.setpoint.high
        return x


def ramped(v: float, target: float, step: float) -> float:
    """Give v after one step of at most `step` towards the target."""
    distance = f32(target - v)
    if distance > step:
        return f32(v + step)
    if distance < -step:
        return f32(v - step)
    return target
