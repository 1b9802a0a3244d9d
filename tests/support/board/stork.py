"""The stork on the bench: its sensors as in a recording, its operator at the remote."""

import csv
from collections.abc import Iterator
from pathlib import Path

from sequencer.plan.tables import Plan
from support.board.bench import Bench
from support.board.programs import EXAMPLES

WALK = EXAMPLES / "stork" / "recordings" / "walk.csv"
TILTS = ("left_leg_roll", "right_leg_roll", "body_roll")
# analog pins of the stork's wiring, by channel
POTS = (
    "left_knee",
    "right_knee",
    "left_hip_pot",
    "right_hip_pot",
    "left_ankle_pot",
    "right_ankle_pot",
    "battery",
)
BAUDS = {0: 1_000_000, 1: 115_200, 2: 57_600}
PINS = {
    "left_hip": 5,
    "right_hip": 6,
    "left_ankle": 7,
    "right_ankle": 8,
    "left_knee": 9,
    "right_knee": 10,
    "enable": 26,
    "horn": 40,
    "sensor_reset": 22,
}
BUTTON, STOP, STEP, HELPING = 27, 2, 28, 29
KNOB = 7  # of lean_angle; 569 counts are its 15 deg


def rows(path: Path = WALK) -> Iterator[tuple[float, dict[str, float]]]:
    """The rows of a recording: seconds, and the filled cells by the column's name without unit and form."""
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file)
        names = [column.split(" ")[0].removesuffix(".value") for column in next(reader)]
        for cells in reader:
            filled = {name: float(cell) for name, cell in zip(names, cells, strict=True) if cell}
            yield filled.pop("time") / 1000, filled


def counts_of(plan: Plan, name: str, value: float) -> float:
    """What the controller reads for a value: the other way round what the plan makes of it."""
    signal = next(s for s in plan.signals if s.name == name)
    return (value - signal.bias) / signal.gain


def stork_bench() -> Bench:
    """A stork with its stop contact closed, no button pressed, its knob where the file has lean_angle."""
    bench = Bench("mega2560", BAUDS)
    for name, pin in PINS.items():
        bench.watch(name, pin)
    for pin in (BUTTON, STEP, HELPING):
        bench.pull(0.0, pin, 1)
    bench.pull(0.0, STOP, 0)
    bench.counts(0.0, KNOB, 569)
    return bench


class Sensors:
    """Plays a recording to a bench from `begin` on; before that its first values stand still."""

    def __init__(self, bench: Bench, plan: Plan, begin: float, path: Path = WALK) -> None:
        self._bench = bench
        self._plan = plan
        self._begin = begin
        self._rows = list(rows(path))
        self.dead: dict[str, tuple[float, float]] = {}  # a sensor and when it is dead (tilts: the whole line)
        self.stuck: dict[str, tuple[float, float]] = {}  # a sensor that says the same from when to when

    def play(self, until: float) -> None:
        latest: dict[str, float] = {}
        for _, cells in self._rows[:100]:
            latest = {**cells, **latest}
        self._stand(latest)
        for at, cells in self._rows:
            time = self._begin + at
            if time >= until:
                break
            for name, value in cells.items():
                if name not in self.stuck or not self.stuck[name][0] <= time < self.stuck[name][1]:
                    latest[name] = value
            for name in POTS:
                if name in cells:
                    self._pot(time, name, latest[name])
            if round(at * 1000) % 20 == 0:
                self._tilts(time, latest)

    def _stand(self, values: dict[str, float]) -> None:
        for name in POTS:
            self._pot(0.0, name, values[name])
        for k in range(int(self._begin / 0.02)):
            self._tilts(0.02 * k, values)

    def _pot(self, at: float, name: str, value: float) -> None:
        counts = 0.0 if self._is_dead(name, at) else counts_of(self._plan, name, value)
        self._bench.counts(at, POTS.index(name), min(max(counts, 0.0), 1022.0))

    def _tilts(self, at: float, values: dict[str, float]) -> None:
        if self._is_dead("tilts", at):
            return
        self._bench.send(at, ",".join(f"{values[name]:.4f}" for name in TILTS) + "\n", port=1)

    def _is_dead(self, name: str, at: float) -> bool:
        return name in self.dead and self.dead[name][0] <= at < self.dead[name][1]


def operate(bench: Bench, begin: float, until: float, path: Path = WALK) -> None:
    """Have the remote say what it says in the recording; before that it is on, with the motors' switch."""
    said: dict[str, float] = {}
    for k in range(int(begin / 0.1)):
        bench.send(0.1 * k + 0.003, "+motors\n", port=2)
    for at, cells in rows(path):
        time = begin + at + 0.003
        if time >= until:
            break
        text = "".join(f"!{name}\n" for name in ("go", "halt") if cells.get(name))
        if "motors" in cells and said.get("motors") != cells["motors"]:
            said["motors"] = cells["motors"]
            text += "+motors\n" if cells["motors"] else "-motors\n"
        if cells.get("remote"):
            text += ".\n"
        if text:
            bench.send(time, text, port=2)
