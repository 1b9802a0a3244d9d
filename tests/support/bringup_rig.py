"""A machine of one joint on the bench, its bring-up program and an emulated board around it; invented."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.arduino_core import build_sketch
from sequencer.build.programs import run_program
from sequencer.generate.bringup import bringup_files
from sequencer.plan.boards import BOARDS
from support.commands import REPOSITORY

RIG = """\
machine: rig
about: the neck of a garden tortoise on the bench (invented)
tick: 10 ms
signals:
  neck_pot:
    unit: deg
    span: [-40, 40]
    scale: {counts: [82, 942], reads: [-30, 30]}
    believe: {counts: [20, 1003]}
    lost_after: 100 ms
  body_tilt: {unit: deg, span: [-45, 45], lost_after: 100 ms}
  tail_pot: {unit: deg, span: [-60, 60], scale: {counts: [82, 942], reads: [-60, 60]}, lost_after: 100 ms}
setpoints:
  tail: {unit: deg, span: [-40, 40], start: 0 deg, followed_by: tail_pot}
  nod: {unit: deg, span: [-15, 15], rate: 100 deg/s, start: 0 deg, followed_by: neck_pot}
loops:
  neck: {setpoint: [nod], signal: neck_pot, kp: 0.1, output: neck_motor}
outputs:
  neck_motor: {slew: 4 /s}
wiring:
  board: mega2560
  console: {port: serial, baud: 115200}
  lines: {tilt: {port: serial1, baud: 57600}}
  signals: {neck_pot: {analog: A0}, body_tilt: {line: tilt}, tail_pot: {analog: A1}}
  setpoints: {tail: {servo: 31, pulse: [1000 us, 2000 us], over: [-40 deg, 40 deg]}}
  outputs: {neck_motor: {pwm: 5, direction: 28}}
  enable: {pin: 26, button: 27}
  stop_contact: {pin: 2}
  watchdog: 250 ms
"""


@dataclass(frozen=True)
class Rig:
    """The program, and the emulated board with the joint."""

    machine: Path
    program: Path
    host: Path

    def run(self, folder: Path, script: str) -> "Events":
        """Run a script (tests/bringup/joint_host.c says what it may hold) and give what happened."""
        path = folder / "script.txt"
        path.write_text(script)
        return Events(run_program([self.host, self.program, path], timeout_s=540))


def build_rig(folder: Path, machine: str = RIG, plant: Mapping[str, str] | None = None) -> Rig:
    """Generate and build the bring-up program of a machine text; `plant` replaces pieces of its source.

    Raises ToolError naming what is missing.
    """
    path = folder / "rig.machine.yaml"
    path.write_text(machine)
    sketch = folder / "first_morning"
    sketch.mkdir()
    files = bringup_files(path, sketch.name)
    for old, new in (plant or {}).items():
        assert old in files["rig_bringup.cpp"], old
        files["rig_bringup.cpp"] = files["rig_bringup.cpp"].replace(old, new)
    for name, text in files.items():
        (sketch / name).write_text(text)
    built = build_sketch(BOARDS["mega2560"], sketch, folder / "built")
    host = folder / "joint_host"
    source = REPOSITORY / "tests/bringup/joint_host.c"
    flags = "-O2 -Wall -Wextra -Werror".split()
    try:
        run_program(["gcc", *flags, "-o", host, source, "-lsimavr", "-lelf", "-lm"])
    except ToolError as error:
        raise ToolError(f"the emulated board cannot be built: {error.output}") from error
    return Rig(path, built.elf, host)


class Events:
    """What happened, in order: times in milliseconds."""

    def __init__(self, text: str) -> None:
        self._lines = []
        for line in text.splitlines():
            kind, us, what = line.split(" ", 2)
            self._lines.append((kind, int(us) / 1000, what))

    def told(self) -> list[str]:
        """List the lines that the program sent."""
        return [what for kind, _, what in self._lines if kind == "U"]

    def log(self) -> str:
        """Give what a terminal program would have kept."""
        return "".join(f"{line}\r\n" for line in self.told())

    def when_told(self, part: str, after: float = 0.0) -> float:
        """Give when a line with this in it came."""
        return next(ms for kind, ms, what in self._lines if kind == "U" and part in what and ms >= after)

    def when_done(self, command: str, number: int = 0) -> float:
        """Give when the script's command was done, the first of that text or a later one."""
        return [ms for kind, ms, what in self._lines if kind == "S" and what == command][number]

    def duty_at(self, ms: float) -> float:
        """Give what drove the motor at that time."""
        return next((float(w) for kind, at, w in reversed(self._lines) if kind == "D" and at <= ms), 0.0)

    def off_after(self, ms: float) -> float:
        """Give when the motor was off for the first time from then on."""
        if self.duty_at(ms) == 0.0:
            return ms
        return next((at for kind, at, w in self._lines if kind == "D" and at > ms and not float(w)), 1e12)

    def pulses(self, begin: float = 0.0, end: float = 1e12) -> list[tuple[float, float]]:
        """List when the servo's pulses changed, and to which width in microseconds; 0: none."""
        return [(at, float(w)) for kind, at, w in self._lines if kind == "P" and begin <= at < end]

    def most(self, begin: float = 0.0, end: float = 1e12) -> float:
        """Give the largest duty either way within a time."""
        found = [abs(float(w)) for kind, at, w in self._lines if kind == "D" and begin <= at < end]
        return max([*found, abs(self.duty_at(begin))])
