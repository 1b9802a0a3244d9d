"""Sensors: from what the body really does to the samples of one tick.

Each signal is sampled at its own period, the ticks in which that happens staggered, and has the noise of the
machine file (normal, one PCG64 stream a signal, seeded with (seed, signal), so that the same seed gives the
same run). A sample ends at the ends of its span. Sensors deliver values, not counts: rounding to counts is
not modelled, and zeros in the machine file count as trimmed. A zero that is wrong is planted as a fault
(`offset`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Plan, Signal
from sequencer.rehearse.body import Body
from sequencer.rehearse.stance import Stance
from sequencer.trace.blocks import FRESH_VALUE, NOT_FRESH

_BUFFER = 1024


@dataclass(frozen=True, slots=True)
class SensorFaults:
    """What is wrong with sensors, by signal: offset, added to what is measured, in its unit; dies_at_ms."""

    offset: Mapping[int, float] = field(default_factory=dict)
    dies_at_ms: Mapping[int, int] = field(default_factory=dict)


class Senses:
    """Gives the samples of one tick after another. noise: whether sensors add their noise."""

    def __init__(
        self, body: Body, plan: Plan, stance: Stance, seed: int, faults: SensorFaults, *, noise: bool
    ) -> None:
        self._body = body
        self._stance = stance
        self._sensors = [_Sensor(plan, sense.signal, seed, faults, noise=noise) for sense in body.senses]
        self._signals = len(plan.signals)

    def sample(self, elapsed_us: int, volts: float | None) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
        """Give the raw values and their freshness, float32 and uint8 (1, signals)."""
        raw = np.zeros((1, self._signals), np.float32)
        fresh = np.full((1, self._signals), NOT_FRESH, np.uint8)
        for sense, sensor in zip(self._body.senses, self._sensors, strict=True):
            if not sensor.due(elapsed_us):
                continue
            if sense.kind == "steady":
                truth = sense.value
            elif sense.kind == "supply":
                truth = volts or 0.0
            else:
                truth = self._stance.sensed(sense) * sense.scale
            raw[0, sense.signal] = sensor.reads(truth)
            fresh[0, sense.signal] = FRESH_VALUE
        return raw, fresh


class _Sensor:
    """One sensor: when a sample is due, and what it reads."""

    def __init__(self, plan: Plan, index: int, seed: int, faults: SensorFaults, *, noise: bool) -> None:
        signal: Signal = plan.signals[index]
        self._low, self._high = signal.low, signal.high
        self._noise = signal.noise if noise else 0.0
        self._added = faults.offset.get(index, 0.0)
        dies_ms = faults.dies_at_ms.get(index)
        self._dies_us = None if dies_ms is None else dies_ms * 1000
        self._every_us = signal.every_us or 0
        self._next_us = index * plan.tick_ms * 1000 % self._every_us if self._every_us else 0
        self._random = np.random.Generator(np.random.PCG64(np.random.SeedSequence((seed, index))))
        self._normals: list[float] = []

    def due(self, elapsed_us: int) -> bool:
        """Tell whether a sample comes in this tick."""
        if elapsed_us < self._next_us:
            return False
        if self._every_us:
            passed = (elapsed_us - self._next_us) // self._every_us
            self._next_us += (passed + 1) * self._every_us
        return self._dies_us is None or elapsed_us < self._dies_us

    def reads(self, truth: float) -> float:
        """Give what it reads of what is true."""
        value = truth + self._added
        if self._noise > 0:
            if not self._normals:
                self._normals = self._random.standard_normal(_BUFFER).tolist()
            value += self._noise * self._normals.pop()
        return min(max(f32(value), self._low), self._high)
