"""Running a gait file over a recording, and recordings altered on purpose."""

import csv
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_RESET, NO_CHANGE, Executor
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.trace.layout import TraceOptions
from sequencer.trace.read import open_trace
from support.commands import REPOSITORY

FOLDER = REPOSITORY / "tests" / "recordings"
FEET = ("left", "right")
TIP_RATES = {f"{foot}_tip_rate": f"{foot}_gyr_y_deg_s" for foot in FEET}
Array = NDArray[np.float64]

EXECUTORS: dict[str, Callable[[Plan], Executor]] = {
    "reference": ReferenceExecutor,
    "compiled": CompiledExecutor,
}


@dataclass(frozen=True, slots=True)
class Segmented:
    """What a gait file made of a recording: the phase in each tick, and when phases were entered.

    phase: uint8 (ticks, sequences). entered_s: (sequence, phase) -> times in seconds; the reset is none.
    """

    phase: NDArray[np.uint8]
    entered_s: Mapping[tuple[str, str], Array]


def gait(name: str, machine: str | None = None) -> Plan:
    """Load one of the gait files beside the recordings."""
    return load_plan(FOLDER / f"{name}.gait.yaml", machine=FOLDER / machine if machine else None)


def segment(
    plan: Plan, make_executor: Callable[[Plan], Executor], recording: Path, mapping: Mapping[str, str]
) -> Segmented:
    """Run the recording through an executor."""
    executor = make_executor(plan)
    with open_trace(recording, plan, TraceOptions(mapping=mapping)) as reader:
        assert reader.missing == ()
        blocks = [executor.run(block) for block in reader]
    now = np.concatenate([b.now for b in blocks]) / 1000
    phase = np.concatenate([b.phase for b in blocks])
    kind = np.concatenate([b.cause for b in blocks]) >> 8
    moved = (kind != NO_CHANGE) & (kind != BY_RESET)
    entered = {
        (sequence.name, step.name): now[moved[:, s] & (phase[:, s] == p)]
        for s, sequence in enumerate(plan.sequences)
        for p, step in enumerate(sequence.phases)
    }
    return Segmented(phase, entered)


def rows(name: str) -> list[dict[str, str]]:
    """Read a small table."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@cache
def columns(name: str) -> dict[str, Array]:
    """Read a recording as columns of numbers."""
    path = FOLDER / name
    with path.open(encoding="utf-8") as stream:
        names = stream.readline().strip().split(",")
    numbers = np.loadtxt(path, delimiter=",", skiprows=1)
    return {column: numbers[:, i] for i, column in enumerate(names)}


@dataclass(frozen=True, slots=True)
class Altered:
    """How a walk is changed, in this order: another walker, another way to wear the sensor, another sensor.

    slower: times are so much longer. gain: rates are so much larger. turned_deg: the sensor is turned about
    the vertical. zero: rates are off by so much. noise: standard deviation, deg/s. rate_hz: samples a second.
    reshape: another kind of step: from foot, times and rates (toe down positive) to rates.
    """

    slower: float = 1.0
    gain: float = 1.0
    turned_deg: float = 0.0
    zero: float = 0.0
    noise: float = 0.0
    rate_hz: float | None = None
    reshape: Callable[[str, Array, Array], Array] | None = None

    def write(self, name: str, path: Path) -> Path:
        """Write the altered walk of a person, columns named as the signals are."""
        walk = columns(name)
        time = walk["time_s"] * self.slower
        rates = [self._rate(walk, foot, time) for foot in FEET]
        if self.rate_hz is not None:
            fewer = np.arange(time[0], time[-1], 1 / self.rate_hz)
            time, rates = fewer, [np.interp(fewer, time, rate) for rate in rates]
        path.write_text("\n".join(self._lines(time, rates)) + "\n", encoding="utf-8")
        return path

    def _rate(self, walk: Mapping[str, Array], foot: str, time: Array) -> Array:
        angle = np.radians(self.turned_deg) * (1 if foot == "left" else -1)  # toes out on both sides
        across, along = walk[f"{foot}_gyr_y_deg_s"], walk[f"{foot}_gyr_x_deg_s"]
        if self.reshape is not None:
            across = self.reshape(foot, walk["time_s"], across)
        rate = self.gain * (np.cos(angle) * across + np.sin(angle) * along)
        chance = np.random.default_rng(FEET.index(foot))
        return np.asarray(rate + self.zero + chance.normal(0, self.noise, len(time)))

    def _lines(self, time: Array, rates: list[Array]) -> Iterator[str]:
        yield ",".join(["time_s", *TIP_RATES])
        for i, moment in enumerate(time):
            cells = [f"{moment:.6f}", *(f"{rate[i]:.4f}" for rate in rates)]
            yield ",".join(cells)
