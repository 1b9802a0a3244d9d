"""Step 2 of a tick: what the samples and the remote say, and what has been lost.

Every sum, difference and product is rounded to binary32 on its own (`f32`). Times are unsigned 32-bit
milliseconds that wrap after 49.71 days, so elapsed time is always a difference `& WRAP`.
"""

from collections.abc import Sequence

from sequencer.base.binary32 import f32, is_finite
from sequencer.plan.tables import Plan, Remote, Signal
from sequencer.trace.blocks import FRESH_RAW, NOT_FRESH

WRAP = 0xFFFF_FFFF


class SignalState:
    """One signal: its value, whether it is seen, lost, fresh in this tick, and what was wrong.

    `known` is what a comparison reads: the value, or None while the signal is unseen or lost.
    """

    __slots__ = (
        "bad",
        "disbelieved",
        "fresh",
        "known",
        "last_ms",
        "lost",
        "outside",
        "parameters",
        "seen",
        "signal",
        "value",
    )

    def __init__(self, signal: Signal, parameters: Sequence[float]) -> None:
        self.signal = signal
        self.parameters = parameters
        self.reset(0)

    def reset(self, now: int) -> None:
        """Become unseen; silence counts from now on."""
        self.value = 0.0
        self.known: float | None = None
        self.seen = self.lost = self.fresh = False
        self.last_ms = now
        self.bad = self.disbelieved = self.outside = 0

    def take(self, now: int, sample: float, form: int) -> None:
        """Take this tick's sample, if there is one, else grow older."""
        value = None if form == NOT_FRESH else self._judged(sample, form)
        if value is not None:
            self.value = self.known = value
            self.seen = self.fresh = True
            self.lost = False
            self.last_ms = now
            return
        self.fresh = False
        lost_after = self.signal.lost_after_ms
        # Once lost it stays lost until fresh, so the wrap of the clock revives nothing.
        if lost_after is not None and not self.lost and (now - self.last_ms) & WRAP > lost_after:
            self.lost = True
            self.known = None

    def _judged(self, sample: float, form: int) -> float | None:
        """Give the sample's value, or None if it is not finite or not believed; count what is wrong."""
        signal, believe = self.signal, self.signal.believe
        value = self._value(sample, form)
        if not is_finite(value):
            self.bad += 1
            return None
        if believe is not None:
            judged = value if believe.kind == "reads" else sample
            # A sample that skips gain and bias has no counts to judge.
            has_it = believe.kind == "reads" or form == FRESH_RAW
            if has_it and not believe.low <= judged <= believe.high:
                self.disbelieved += 1
                return None
        if not signal.low <= value <= signal.high:
            self.outside += 1
        return value

    def _value(self, sample: float, form: int) -> float:
        """Apply gain, bias and zero to a raw sample; what is not finite stays so."""
        if form != FRESH_RAW or not is_finite(sample):
            return sample
        signal = self.signal
        value = f32(f32(sample * signal.gain) + signal.bias)
        return value if signal.zero_from is None else f32(value - self.parameters[signal.zero_from])


class RemoteState:
    """The remote control: `known` while it was heard since the reset and is not lost."""

    __slots__ = ("known", "last_ms", "lost", "remote")

    def __init__(self, remote: Remote | None) -> None:
        self.remote = remote
        self.reset(0)

    def reset(self, now: int) -> None:
        """Become unheard; silence counts from now on."""
        self.known = self.lost = False
        self.last_ms = now

    def take(self, now: int, heard: bool) -> None:
        """Note that the remote was heard in this tick, or that it has been silent for longer."""
        if heard:
            self.known, self.lost, self.last_ms = True, False, now
            return
        lost_after = None if self.remote is None else self.remote.lost_after_ms
        if lost_after is not None and not self.lost and (now - self.last_ms) & WRAP > lost_after:
            self.known, self.lost = False, True


class Inputs:
    """What guards ask about, besides setpoints.

    `counters` and `phases` change only when sequences switch, so guards see them as they stood when the tick
    began and rules see them as they are afterwards. `helping`: bits HELPING, STEPPING, STEP.
    """

    __slots__ = ("counters", "events", "helping", "now", "phases", "remote", "signals", "switches")

    def __init__(
        self, plan: Plan, parameters: Sequence[float], signals: list[SignalState] | None = None
    ) -> None:
        self.now = 0
        self.helping = 0
        self.events = 0
        self.switches = 0
        plain = [SignalState(signal, parameters) for signal in plan.signals] if signals is None else signals
        self.signals = plain
        self.remote = RemoteState(plan.remote)
        self.counters = [0] * len(plan.counters)
        self.phases = [0] * len(plan.sequences)

    def reset(self, now: int) -> None:
        """Forget all samples and counts."""
        for signal in self.signals:
            signal.reset(now)
        self.remote.reset(now)
        self.counters[:] = [0] * len(self.counters)
