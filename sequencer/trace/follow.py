"""A machine that does what it is told: a plant without physics, for dry runs in a closed loop.

Each signal that follows a setpoint, or that a loop brings to one, goes after the commanded value plus its
stance offset: a first-order lag, a limit of rate, then slack (a dead band), then what the sensor adds. A
signal that follows nothing rests at 0, or, if its span has no 0 (a battery), at two thirds of its span.
Sensors deliver values, not counts, each at its own period; the ticks in which they do are staggered. It says
whether a sequence can run through, not whether a machine would stand.

The same seed gives the same numbers: each signal has its own numpy PCG64 stream, seeded with (seed, index).
numpy keeps PCG64's bits for ever, but may change how it makes normal numbers from them (NEP 19).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.base.binary32 import f32
from sequencer.base.errors import MisuseError
from sequencer.base.quantities import UnitError, convert, parse
from sequencer.plan.tables import Plan, Signal
from sequencer.trace.blocks import FRESH_VALUE, NOT_FRESH, TickBlock
from sequencer.trace.layout import nearest
from sequencer.trace.operator import Operator
from sequencer.trace.still import still_value

Amount = float | str
"""A number in the signal's unit, or a text with a unit ("11.4 deg")."""

NEVER = 1 << 62
_BUFFER = 1024


@dataclass(frozen=True, slots=True)
class FollowOptions:
    """How the machine follows, and what is wrong with it. Mappings go from a signal's name.

    noise: whether sensors add their noise. dropout: the probability that a sample does not come.
    lag_ms: the time constant of the lag. slack: the width of the dead band. rate: the most a signal changes
    in a second (default: the rate of its setpoint). still: where a signal that follows nothing rests.

    Faults to plant: limit, a value that it never gets past, seen from where it starts; offset, added to what
    is measured; stuck_from_ms, the joint stands still from then on; dies_at_ms, no sample comes from then on
    (``remote`` too). Times are from the first tick on.

    operator: when which event arrives; None is one press, at 1 s, of what leads out of the first phases.
    switches_off: switches that are off; None leaves off only those that `anywhere` takes for a stop.
    helped: somebody helps by hand in every tick.
    """

    seed: int = 0
    noise: bool = True
    lag_ms: float = 50.0
    dropout: float = 0.0
    slack: Mapping[str, Amount] = field(default_factory=dict)
    rate: Mapping[str, Amount] = field(default_factory=dict)
    still: Mapping[str, Amount] = field(default_factory=dict)
    limit: Mapping[str, Amount] = field(default_factory=dict)
    offset: Mapping[str, Amount] = field(default_factory=dict)
    stuck_from_ms: Mapping[str, int] = field(default_factory=dict)
    dies_at_ms: Mapping[str, int] = field(default_factory=dict)
    operator: tuple[tuple[int, str], ...] | None = None
    switches_off: frozenset[str] | None = None
    helped: bool = False


class FollowPlant:
    """Gives the inputs of one tick after another.

    Raises MisuseError for options that name nothing, have the wrong unit, or make no sense.
    """

    def __init__(self, plan: Plan, options: FollowOptions | None = None) -> None:
        options = options or FollowOptions()
        _check(plan, options)
        self.plan = plan
        self._tracks = [_Track(plan, i, options) for i in range(len(plan.signals))]
        self._lag_us = options.lag_ms * 1000
        self._operator = Operator(
            plan,
            options.operator,
            options.switches_off,
            helped=options.helped,
            remote_dies_ms=options.dies_at_ms.get("remote"),
        )
        self._switches = np.array([self._operator.switches], np.uint32)
        self._now: int | None = None
        self._elapsed_us = 0
        self._step_us = -1
        self._blend = 1.0

    def inputs(self, now_ms: int, setpoints: NDArray[np.float32]) -> TickBlock:
        """Make the inputs of the tick at `now_ms` (wraps at 2^32) as a block of one tick.

        setpoints: float32 (setpoints,), the ramped values at the end of the tick before; before the first
        tick, their starts.
        """
        self._advance(now_ms)
        commanded = setpoints.tolist()
        values, fresh = [], []
        elapsed, step, blend = self._elapsed_us, self._step_us * 1e-6, self._blend
        for track in self._tracks:
            if track.setpoint >= 0:
                track.move(commanded[track.setpoint], step, blend, elapsed)
            if elapsed >= track.next_us and track.sample(elapsed):
                values.append(track.value)
                fresh.append(FRESH_VALUE)
            else:
                values.append(0.0)
                fresh.append(NOT_FRESH)
        events, control = self._operator.at(elapsed)
        return TickBlock(
            now=np.array([now_ms], np.uint32),
            raw=np.array([values], np.float32),
            fresh=np.array([fresh], np.uint8),
            events=np.array([events], np.uint32),
            switches=self._switches.copy(),
            control=np.array([control], np.uint8),
            skipped=np.zeros(len(values), np.int64),
        )

    def _advance(self, now_ms: int) -> None:
        step_us = 0 if self._now is None else ((now_ms - self._now) & 0xFFFFFFFF) * 1000
        self._now = now_ms
        self._elapsed_us += step_us
        if step_us != self._step_us:
            self._step_us = step_us
            self._blend = -math.expm1(-step_us / self._lag_us) if self._lag_us > 0 else 1.0


class _Track:
    """One signal: where it really stands and what its sensor says. Lengths of time in microseconds."""

    def __init__(self, plan: Plan, index: int, options: FollowOptions) -> None:
        signal = plan.signals[index]
        self.setpoint, self._offset = _followed(plan, index)
        self._rate = _rate(plan, self.setpoint, signal, options)
        start = _start(plan, self.setpoint, self._offset, signal, options)
        self._lowest, self._highest = -math.inf, math.inf
        if signal.name in options.limit:
            limit = _amount(signal, options.limit[signal.name], "limit")
            if limit >= start:
                self._highest = limit
            else:
                self._lowest = limit
        self._lagged = self._stands = start
        self._half_slack = _amount(signal, options.slack.get(signal.name, 0.0), "slack") / 2
        self._added = _amount(signal, options.offset.get(signal.name, 0.0), "offset")
        self._noise = signal.noise if options.noise else 0.0
        self._low, self._high = signal.low, signal.high
        self._dropout = options.dropout
        self._every_us = signal.every_us or 0
        tick_us = plan.tick_ms * 1000
        self.next_us = index * tick_us % self._every_us if self._every_us else 0
        self._stuck_us = options.stuck_from_ms.get(signal.name, NEVER // 1000) * 1000
        self._dies_us = options.dies_at_ms.get(signal.name, NEVER // 1000) * 1000
        self._random = np.random.Generator(np.random.PCG64(np.random.SeedSequence((options.seed, index))))
        self._normals: list[float] = []
        self.value = 0.0

    def move(self, commanded: float, step_s: float, blend: float, elapsed_us: int) -> None:
        """Go after the commanded value for one step."""
        if elapsed_us >= self._stuck_us:
            return
        change = (commanded + self._offset - self._lagged) * blend
        most = self._rate * step_s
        if change > most:
            change = most
        elif change < -most:
            change = -most
        lagged = self._lagged + change
        if lagged > self._highest:
            lagged = self._highest
        elif lagged < self._lowest:
            lagged = self._lowest
        self._lagged = lagged
        if self._stands < lagged - self._half_slack:
            self._stands = lagged - self._half_slack
        elif self._stands > lagged + self._half_slack:
            self._stands = lagged + self._half_slack

    def sample(self, elapsed_us: int) -> bool:
        """Take a sample that is due; say whether it comes. A sensor ends at the ends of its span."""
        if self._every_us:
            self.next_us += (elapsed_us - self.next_us) // self._every_us * self._every_us + self._every_us
        if elapsed_us >= self._dies_us or (self._dropout > 0 and self._random.random() < self._dropout):
            return False
        value = self._stands + self._added
        if self._noise > 0:
            if not self._normals:
                self._normals = self._random.standard_normal(_BUFFER).tolist()
            value += self._noise * self._normals.pop()
        value = f32(value)
        self.value = self._low if value < self._low else self._high if value > self._high else value
        return True


def start_setpoints(plan: Plan) -> NDArray[np.float32]:
    """Give the setpoints' values before the first tick, float32 (setpoints,)."""
    return np.array([s.start for s in plan.setpoints], np.float32)


def _followed(plan: Plan, index: int) -> tuple[int, float]:
    """Say which setpoint a signal follows, the first if there are several, and how far it stands off.

    A signal that no setpoint names may be the one that a loop brings to a setpoint.
    """
    for i, setpoint in enumerate(plan.setpoints):
        for follower in setpoint.followers:
            if follower.signal == index:
                return i, follower.offset
    for loop in plan.loops:
        setpoints = [term.setpoint for term in loop.terms if term.setpoint is not None]
        if loop.signal == index and len(setpoints) == 1:
            return setpoints[0], sum(term.constant for term in loop.terms)
    return -1, 0.0


def _rate(plan: Plan, setpoint: int, signal: Signal, options: FollowOptions) -> float:
    if signal.name in options.rate:
        return _amount(signal, options.rate[signal.name], "rate", per_second=True)
    rate = plan.setpoints[setpoint].rate if setpoint >= 0 else None
    if rate is None:
        return math.inf
    return rate.per_second * (1.0 if rate.parameter is None else plan.parameters[rate.parameter].high)


def _start(plan: Plan, setpoint: int, offset: float, signal: Signal, options: FollowOptions) -> float:
    if setpoint >= 0:
        return plan.setpoints[setpoint].start + offset
    if signal.name in options.still:
        return _amount(signal, options.still[signal.name], "still")
    return still_value(signal)


def _amount(signal: Signal, amount: Amount, option: str, *, per_second: bool = False) -> float:
    if not isinstance(amount, str):
        return float(amount)
    unit = f"{signal.unit}/s" if per_second else signal.unit
    try:
        quantity = parse(amount)
        if unit and not quantity.unit:
            raise UnitError(f"{amount} has no unit")
        return convert(quantity, unit) if quantity.unit else quantity.value
    except UnitError as error:
        raise MisuseError(f"{option} of {signal.name}: {error}", hint=f"give it in {unit}") from error


def _check(plan: Plan, options: FollowOptions) -> None:
    if options.helped and not plan.helping:
        raise MisuseError(f"{plan.machine} cannot be helped by hand", hint="write helping: true in its file")
    signals = {s.name for s in plan.signals}
    for option in ("slack", "rate", "still", "limit", "offset", "stuck_from_ms", "dies_at_ms"):
        known = signals | {"remote"} if option == "dies_at_ms" and plan.remote else signals
        for name in getattr(options, option):
            if name not in known:
                raise MisuseError(f"{option} names {name}, which is no signal", hint=nearest(name, known))
    for option, number in (
        ("seed", options.seed),
        ("lag_ms", options.lag_ms),
        ("dropout", options.dropout),
    ):
        if not (math.isfinite(number) and number >= 0):
            raise MisuseError(f"{option} is {number}, which is not 0 or more")
    if options.dropout > 1:
        raise MisuseError("dropout is a probability, from 0 to 1")
    following = {s.name for i, s in enumerate(plan.signals) if _followed(plan, i)[0] >= 0}
    for name in options.still:
        if name in following:
            raise MisuseError(f"{name} follows a setpoint and cannot be still", hint="plant a limit instead")
