"""Outputs (O1 to O7 in DEVELOPERS.md): what goes to the motors, after the loops."""

import math
from collections.abc import Sequence

from sequencer.base.binary32 import f32, is_finite
from sequencer.executors.reference.inputs import WRAP
from sequencer.executors.reference.loops import LoopState, clamped, limited
from sequencer.executors.reference.measures import Measures
from sequencer.executors.reference.setpoints import ramped
from sequencer.history.blocks import OUTPUT_CUT, OUTPUT_OFF, OUTPUT_ON, OUTPUT_STALLED
from sequencer.plan.tables import Output, Plan, Stall, Supply


class Outputs:
    """All outputs: they are cut together, by the supply of any one of them, until reset."""

    def __init__(
        self, plan: Plan, inputs: Measures, loops: Sequence[LoopState], parameters: Sequence[float]
    ) -> None:
        self.each = [OutputState(output, inputs, loops, parameters) for output in plan.outputs]
        self._supplies = [o.supply for o in self.each if o.supply is not None]
        self._cut = False

    def reset(self) -> None:
        """Forget supplies, stalls and cuts."""
        self._cut = False
        for output in self.each:
            output.reset()

    def work(self, drives: bool) -> None:
        """Do a tick: all supplies first, so that a cut takes every output in the same tick."""
        for supply in self._supplies:
            supply.take()
            self._cut = self._cut or supply.is_under()
        for output in self.each:
            output.work(drives, self._cut)


class OutputState:
    """One output: its value and state after the last tick."""

    __slots__ = ("_loops", "_output", "_parameters", "_stall", "state", "supply", "value")

    def __init__(
        self, output: Output, inputs: Measures, loops: Sequence[LoopState], parameters: Sequence[float]
    ) -> None:
        self._output = output
        self._parameters = parameters
        self._loops = [loops[index] for index in output.loops]
        self.supply = None if output.supply is None else SupplyState(output.supply, inputs)
        self._stall = None if output.stall is None else StallWatch(output.stall, inputs)
        self.reset()

    def reset(self) -> None:
        """Begin at 0."""
        self.value = 0.0
        self.state = OUTPUT_ON
        if self.supply is not None:
            self.supply.reset()
        if self._stall is not None:
            self._stall.reset()

    def work(self, drives: bool, cut: bool) -> None:
        """Do a tick: O1 to O4, O6, O7."""
        stall = self._stall
        if stall is not None and not drives:
            stall.reset()  # stalled until drives go off
        stalled = stall is not None and stall.stalled
        if drives and not cut and not stalled:
            self.value = self._moved(self._wanted())
            if stall is not None:
                stalled = stall.judge(self.value)
        if cut:
            self.state = OUTPUT_CUT
        elif stalled:
            self.state = OUTPUT_STALLED
        else:
            self.state = OUTPUT_ON if drives else OUTPUT_OFF
        if self.state != OUTPUT_ON:
            self.value = 0.0

    def _wanted(self) -> float:
        """O1 to O3: the sum of what the loops give, compensated for the supply, within span and cap."""
        x: float | None = None
        for loop in self._loops:
            x = loop.contribution if x is None else f32(x + loop.contribution)
        if x is None:
            x = 0.0
        if self.supply is not None:
            x = self.supply.compensated(x)
        if math.isnan(x):  # nothing times an absurd supply
            x = 0.0
        return self._capped(clamped(x, self._output.low, self._output.high))

    def _capped(self, x: float) -> float:
        """O3: no more than the cap, either way."""
        output = self._output
        if output.cap_from is not None:
            return limited(x, self._parameters[output.cap_from])
        return x if output.cap is None else limited(x, output.cap)

    def _moved(self, x: float) -> float:
        """O3: go towards x, no faster than the slew allows."""
        step = self._output.slew_step
        return x if step is None else ramped(self.value, x, step)


class SupplyState:
    """The smoothed supply of one output (O2), and for how long it has been under its least value (O5)."""

    __slots__ = ("_inputs", "_signal", "_smoothed", "_supply", "_under_since")

    def __init__(self, supply: Supply, inputs: Measures) -> None:
        self._supply = supply
        self._inputs = inputs
        self._signal = inputs.signals[supply.signal]
        self.reset()

    def reset(self) -> None:
        """Become unknown until the next fresh sample."""
        self._smoothed: float | None = None
        self._under_since: int | None = None

    def take(self) -> None:
        """Smooth a fresh sample in; without one, or lost, all stays as it is."""
        if not self._signal.fresh:
            return
        value, s = self._signal.value, self._smoothed
        if s is not None:
            s = f32(s + f32(self._supply.smooth * f32(value - s)))
        self._smoothed = s if s is not None and is_finite(s) else value

    def is_under(self) -> bool:
        """Tell whether the supply has been under its least value for long enough."""
        s, least = self._smoothed, self._supply.least
        if s is None or least is None or not s < least:
            self._under_since = None
            return False
        now = self._inputs.now
        if self._under_since is None:
            self._under_since = now
        return (now - self._under_since) & WRAP >= self._supply.under_for_ms

    def compensated(self, x: float) -> float:
        """Scale x so that the motor gets what it would at the supply for full scale."""
        s = self._smoothed
        if s is None or not s > 0.0:
            return x
        return f32(x * f32(self._supply.full_scale_at / s))


class StallWatch:
    """Watches one output for driving hard while nothing moves (O6)."""

    __slots__ = ("_from_value", "_inputs", "_signal", "_since", "_stall", "stalled")

    def __init__(self, stall: Stall, inputs: Measures) -> None:
        self._stall = stall
        self._inputs = inputs
        self._signal = inputs.signals[stall.signal]
        self.reset()

    def reset(self) -> None:
        """Forget a stall and stop watching."""
        self.stalled = False
        self.pause()

    def pause(self) -> None:
        """Stop watching; a stall stays."""
        self._since: int | None = None
        self._from_value = 0.0

    def judge(self, x: float) -> bool:
        """Take the output of this tick; tell whether it is stalled."""
        value = self._signal.known
        above = self._stall.above
        if value is None or not (x > above or x < -above):
            self.pause()
            return False
        now = self._inputs.now
        if self._since is None or self._has_moved(value):
            self._since, self._from_value = now, value
        self.stalled = (now - self._since) & WRAP >= self._stall.for_ms
        return self.stalled

    def _has_moved(self, value: float) -> bool:
        moved = f32(value - self._from_value)
        return moved >= self._stall.moves or moved <= -self._stall.moves
