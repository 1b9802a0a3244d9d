"""A simulated joint, and the measuring of the bring-up program compiled for this computer.

The joint: a motor whose speed goes to `speed` times the duty beyond the friction, as a first-order lag; a
joint that follows it through the slack between two ends; a potentiometer with noise, read as whole counts.
Friction as a dead band of the duty and slack as a gap between motor and joint are the usual simple models of
both (common practice, no source).
"""

import ctypes
import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.build.programs import run_program
from sequencer.generate.render import built_in, render_text
from support.commands import REPOSITORY

TICK_MS = 10
OVER = 7
TROUBLES = (
    "none stopped no_signal not_believed restless does_not_move no_end too_short stuck too_long".split()
)
_FIELDS = "rest noise low high fall_speed rise_speed fall_duty rise_duty slack sign complete trouble".split()


@dataclass
class PlantedJoint:
    """A joint; angles in degrees, speeds in degrees per second and unit of duty."""

    sign: int = 1
    speed: float = 60.0
    friction_up: float = 0.08
    friction_down: float = 0.08
    lag_s: float = 0.05
    low: float = -30.0
    high: float = 30.0
    slack: float = 1.0
    noise: float = 0.1
    start: float = 0.0
    counts_per_deg: float = 860 / 60
    middle: float = 512.0
    jams_at_s: float = 1e9
    sinks: float = 0.0  # degrees per second while the motor is off
    rng: random.Random = field(default_factory=lambda: random.Random(1))

    def __post_init__(self) -> None:
        self.joint = self.motor = self.start
        self.rate = self.time = 0.0

    def go(self, duty: float, seconds: float) -> None:
        """Let so much time pass with this duty on the motor."""
        steps, u = 10, duty * self.sign
        for _ in range(steps):
            dt = seconds / steps
            wanted = 0.0
            if u > self.friction_up:
                wanted = self.speed * (u - self.friction_up)
            elif u < -self.friction_down:
                wanted = self.speed * (u + self.friction_down)
            elif u == 0.0:
                wanted = -self.sinks
            self.rate += (wanted - self.rate) * min(1.0, dt / self.lag_s)
            self.time += dt
            if self.time > self.jams_at_s:
                self.rate = 0.0
            self.motor += self.rate * dt
            self._follow()

    def _follow(self) -> None:
        half = self.slack / 2
        self.joint = min(max(self.joint, self.motor - half), self.motor + half)
        if self.joint > self.high:
            self.joint, self.motor, self.rate = (
                self.high,
                min(self.motor, self.high + half),
                min(self.rate, 0),
            )
        if self.joint < self.low:
            self.joint, self.motor, self.rate = self.low, max(self.motor, self.low - half), max(self.rate, 0)

    def counts(self) -> float:
        """Read the potentiometer."""
        return float(round(self.middle + self.counts_per_deg * (self.joint + self.rng.gauss(0, self.noise))))


@dataclass
class Measured:
    """What was found, in degrees, and how the motor was driven meanwhile."""

    values: dict[str, float]
    trouble: str
    seconds: float
    duties: list[float]
    steps: list[int]


class Measuring:
    """The compiled code."""

    def __init__(self, library: Path) -> None:
        self._code = ctypes.CDLL(str(library))
        self._code.tick.restype = ctypes.c_float
        self._code.tick.argtypes = [ctypes.c_int, ctypes.c_float]
        self._code.start.argtypes = [ctypes.c_float] * 5 + [ctypes.c_int] * 3

    def measure(
        self,
        joint: PlantedJoint,
        *,
        most_duty: float = 0.35,
        every: int = 1,
        only_sign: bool = False,
        silent_from_s: float = 1e9,
        wire_breaks_at_s: float = 1e9,
        let_go_at_s: float = 1e9,
    ) -> Measured:
        """Measure a joint in a closed loop; `every`: ticks between two samples."""
        span = joint.counts_per_deg * 60
        self._code.start(most_duty, 3.0, span, 20.0, 1003.0, TICK_MS, 200, int(only_sign))
        duties: list[float] = []
        steps: list[int] = []
        duty, now = 0.0, 0.0
        while self._code.step() != OVER:
            joint.go(duty, TICK_MS / 1000)
            now = len(duties) * TICK_MS / 1000
            if now >= let_go_at_s:
                self._code.stop()
            raw = 1023.0 if now >= wire_breaks_at_s else joint.counts()
            fresh = len(duties) % every == 0 and now < silent_from_s
            duty = self._code.tick(int(fresh), raw)
            duties.append(duty)
            steps.append(self._code.step())
        assert self._code.tick(1, joint.counts()) == 0.0
        return Measured(*self._found(joint), now, duties, steps)

    def _found(self, joint: PlantedJoint) -> tuple[dict[str, float], str]:
        numbers = (ctypes.c_float * len(_FIELDS))()
        self._code.found(numbers)
        found = dict(zip(_FIELDS, numbers, strict=True))
        for name in ("rest", "low", "high"):
            found[name] = (found[name] - joint.middle) / joint.counts_per_deg
        for name in ("noise", "fall_speed", "rise_speed", "slack"):
            found[name] /= joint.counts_per_deg
        return found, TROUBLES[int(found["trouble"])]


@contextmanager
def measuring(folder: Path, plant: dict[str, str] | None = None) -> Iterator[Measuring]:
    """Compile the measuring for this computer; `plant` puts other text into its source, each piece once."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("joint_test.h", "joint_test.cpp"):
        text = render_text(built_in("bringup"), f"{name}.j2", {}, tool="a test")
        for old, new in (plant or {}).items():
            if name.endswith(".cpp"):
                assert text.count(old) == 1, old
                text = text.replace(old, new)
        (folder / name).write_text(text)
    shim = REPOSITORY / "tests/bringup/joint_shim.cpp"
    library = folder / "measuring.so"
    flags = "-std=c++11 -O1 -g -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror -shared -fPIC".split()
    run_program(["g++", *flags, "-I", folder, "-o", library, folder / "joint_test.cpp", shim])
    yield Measuring(library)
