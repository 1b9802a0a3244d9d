"""The toy heron on the bench: a small board with one serial port for numbers, commands and telemetry."""

from collections.abc import Callable
from pathlib import Path

from sequencer.build.arduino_core import Built
from support.board.bench import Bench, Outcome
from support.board.programs import Program, build

GAIT = Path(__file__).with_name("heron.gait.yaml")
CALM = {"  static_cast<void>(raw);\n  return false;": "  raw = 3.0F;\n  return true;"}
PINS = {
    "forward": 5,
    "backward": 6,
    "fan": 3,
    "neck": 9,
    "tail": 10,
    "horn": 12,
    "enable": 11,
}
GO, HALT, MOTORS, STOP, BUTTON = 7, 8, 4, 2, 16  # 16 is A2
FOOT, KNOB = 0, 1


def heron_program(folder: Path, **more: object) -> Program:
    """Build the heron's program; the hook that gives the wind says that it is calm."""
    more.setdefault("hooks", CALM)
    return build(GAIT, folder, **more)  # type: ignore[arg-type]


class Heron:
    """A heron with its motors' switch on; its button is pressed at 0.25 s, its contact for go at 0.4 s."""

    def __init__(self) -> None:
        self.bench = Bench("uno", {0: 250_000})
        for name, pin in PINS.items():
            self.bench.watch(name, pin)
        for pin, level in {GO: 1, HALT: 0, MOTORS: 0, STOP: 0, BUTTON: 1}.items():
            self.bench.pull(0.0, pin, level)
        self.bench.counts(0.0, FOOT, 600)  # 30 N
        self.bench.counts(0.0, KNOB, 511)  # all but the middle
        self.angles: Callable[[float], tuple[float, float] | None] = lambda at: (neck(at), 0.0)

    def press(self, pin: int, at: float, for_s: float = 0.06, closed: int = 0) -> None:
        self.bench.pull(at, pin, closed)
        self.bench.pull(at + for_s, pin, 1 - closed)

    def run(self, built: Built, folder: Path, until: float, *, goes: bool = True) -> Outcome:
        if goes:
            self.press(BUTTON, 0.25)
            self.press(GO, 0.4)
        for k in range(round(until * 50)):
            both = self.angles(k / 50)
            if both is not None:
                self.bench.send(k / 50 + 0.004, f"{both[0]:.2f},{both[1]:.2f}\n")
        return self.bench.run(built.elf, folder, until)


def neck(at: float) -> float:
    """Follow the neck's setpoint: it starts at about 0.45 s, to 30 deg at 90 deg/s."""
    return min(max((at - 0.5) * 90.0, 0.0), 30.0)
