"""A sequencer that counts in int16: how samples become steps, and what loops read of them.

Whole numbers up to 2^24 are exact in binary32, and so are their sums and differences. So the tick on whole
steps is the same tick on the plan in whole steps; only the sampling is another.
"""

from collections.abc import Sequence
from typing import overload

from sequencer.base.binary32 import f32
from sequencer.executors.reference.inputs import Inputs, SignalState
from sequencer.executors.reference.setpoints import SetpointState
from sequencer.plan.fixed_tables import MOST_STEPS, NO_NUMBER, Scale
from sequencer.plan.tables import Plan, Signal
from sequencer.trace.blocks import FRESH_RAW


class StepsState(SignalState):
    """A signal in whole steps; its samples are whole steps or counts already."""

    __slots__ = ("_scale",)

    def __init__(self, signal: Signal, parameters: Sequence[float], scale: Scale) -> None:
        self._scale = scale
        super().__init__(signal, parameters)

    def _value(self, sample: float, form: int) -> float:
        if sample == NO_NUMBER:
            return float("nan")
        if form != FRESH_RAW:
            return sample
        scale = self._scale
        steps = (int(sample) * scale.multiplier + scale.addend) >> scale.shift
        if self.signal.zero_from is not None:
            steps -= int(self.parameters[self.signal.zero_from])
        return float(min(max(steps, -MOST_STEPS), MOST_STEPS))


def steps_states(plan: Plan, parameters: Sequence[float]) -> list[SignalState]:
    """Make the state of every signal of a plan in whole steps."""
    assert plan.fixed is not None
    return [
        StepsState(signal, parameters, scale)
        for signal, scale in zip(plan.signals, plan.fixed.scales, strict=True)
    ]


class SignalInUnits:
    """A signal as loops read it: steps times resolution, one binary32 product."""

    __slots__ = ("_resolution", "_state")

    def __init__(self, state: SignalState, resolution: float) -> None:
        self._state = state
        self._resolution = resolution

    @property
    def value(self) -> float:
        """The last value, in the signal's unit."""
        return f32(self._state.value * self._resolution)

    @property
    def known(self) -> float | None:
        """The value, or None while the signal is unseen or lost."""
        return None if self._state.known is None else self.value

    @property
    def fresh(self) -> bool:
        """Whether a sample came in this tick."""
        return self._state.fresh

    @property
    def lost(self) -> bool:
        """Whether the signal is lost."""
        return self._state.lost


class SetpointInUnits:
    """A setpoint as loops read it."""

    __slots__ = ("_resolution", "_state")

    def __init__(self, state: SetpointState, resolution: float) -> None:
        self._state = state
        self._resolution = resolution

    @property
    def value(self) -> float:
        """The ramped value, in the setpoint's unit; in int16 there is no -0."""
        return f32(self._state.value * self._resolution) + 0.0


class InputsInUnits:
    """What loops and outputs read of a tick's inputs."""

    __slots__ = ("_inputs", "signals")

    def __init__(self, inputs: Inputs, resolutions: Sequence[float]) -> None:
        self._inputs = inputs
        self.signals = [SignalInUnits(*pair) for pair in zip(inputs.signals, resolutions, strict=True)]

    @property
    def now(self) -> int:
        """The tick's time in milliseconds."""
        return self._inputs.now

    @property
    def phases(self) -> Sequence[int]:
        """The active phase of each sequence."""
        return self._inputs.phases


class ParametersInUnits(Sequence[float]):
    """Parameters as loops and outputs read them."""

    __slots__ = ("_resolutions", "_steps")

    def __init__(self, steps: Sequence[float], resolutions: Sequence[float]) -> None:
        self._steps = steps
        self._resolutions = resolutions

    def __len__(self) -> int:
        return len(self._steps)

    @overload
    def __getitem__(self, index: int) -> float: ...
    @overload
    def __getitem__(self, index: slice) -> list[float]: ...
    def __getitem__(self, index: int | slice) -> float | list[float]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        return f32(self._steps[index] * self._resolutions[index]) + 0.0


def setpoints_in_units(
    states: Sequence[SetpointState], resolutions: Sequence[float]
) -> list[SetpointInUnits]:
    """Give the setpoints as loops read them."""
    return [SetpointInUnits(*pair) for pair in zip(states, resolutions, strict=True)]
