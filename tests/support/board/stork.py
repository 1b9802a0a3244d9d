"""The stork on the bench: its sensors as in a recording, its operator at the remote."""

import csv
import io
from collections.abc import Callable, Iterator
from pathlib import Path

import sequencer
from sequencer.history.machine import Verdict
from sequencer.plan.tables import Plan
from support.board.bench import Bench, Outcome, telemetry
from support.board.programs import EXAMPLES, Program

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


Change = Callable[[float, float], float | None]


class Scene:
    """A stork on the bench that is enabled, then told to go, while its sensors read as in a recording.

    The recording's time `skip` is `begin` on the bench; what comes before stands still. sensors: what to make
    of a sensor's value at a time (seconds on the bench); None for a dead one. line: the same for the tilts'
    line of text, which has all three of them. said: what the remote says at a time.
    """

    enable_at = 0.4
    frozen_at = 1000.0  # from then on the sensors say the same, as of a machine that stands still

    def __init__(self, plan: Plan, path: Path = WALK, *, begin: float = 0.6, skip: float = 0.8) -> None:
        self.bench = stork_bench()
        self.begin, self.skip = begin, skip
        self.plan = plan
        self.sensors: dict[str, Change] = {}
        self.line: Callable[[float, str], str | None] = lambda _, text: text
        self.said: Callable[[float, str], str] = lambda _, text: text
        self._rows = [(self.begin - self.skip + at, cells) for at, cells in rows(path)]

    def run(self, program: Path, folder: Path, until: float) -> Outcome:
        self._play(until)
        self._operate(until)
        if self.enable_at:
            self.bench.send(self.enable_at, "enable\n")
        return self.bench.run(program, folder, until)

    def _play(self, until: float) -> None:
        latest: dict[str, float] = {}
        for at, cells in self._rows:
            if at <= self.begin or not latest.keys() >= {*TILTS, *POTS}:
                latest |= {name: cells[name] for name in (*TILTS, *POTS) if name in cells}
        for name in POTS:
            self._pot(0.0, name, latest[name])
        for k in range(round(self.begin * 50)):
            self._tilts(k / 50, latest)
        for at, cells in self._rows:
            if not self.begin <= at < until:
                continue
            if at < self.frozen_at:
                latest |= {name: cells[name] for name in (*TILTS, *POTS) if name in cells}
            for name in POTS:
                if name in cells or name in self.sensors:
                    self._pot(at, name, latest[name])
            if round(at * 1000) % 20 == 0:
                self._tilts(at, latest)

    def _pot(self, at: float, name: str, value: float) -> None:
        changed = self.sensors[name](at, value) if name in self.sensors else value
        counts = 0.0 if changed is None else counts_of(self.plan, name, changed)
        self.bench.counts(at, POTS.index(name), min(max(counts, 0.0), 1022.0))

    def _tilts(self, at: float, values: dict[str, float]) -> None:
        changed = {name: self.sensors[name](at, values[name]) for name in TILTS if name in self.sensors}
        if None not in changed.values():
            text = self.line(at, ",".join(f"{(values | changed)[name]:.4f}" for name in TILTS))
            if text is not None:
                self.bench.send(at, text + "\n", port=1)

    def _operate(self, until: float) -> None:
        """Have the remote say what it says in the recording; before that the motors' switch is on."""
        for k in range(round(self.begin * 10)):
            self._say(0.1 * k + 0.003, "+motors\n")
        for at, cells in self._rows:
            if self.begin <= at < until:
                text = "".join(f"!{name}\n" for name in ("go", "halt") if cells.get(name))
                if "motors" in cells:
                    text += "+motors\n" if cells["motors"] else "-motors\n"
                self._say(at + 0.003, text + (".\n" if cells.get("remote") else ""))

    def _say(self, at: float, text: str) -> None:
        said = self.said(at, text)
        if said:
            self.bench.send(at, said, port=2)


def verdict(program: Program, outcome: Outcome) -> Verdict:
    """What the dry run says to the telemetry: whether the machine did the same, to the bit."""
    gait = sequencer.load(program.gait)
    found = gait.dry_run(io.BytesIO(outcome.log().encode("latin-1")), executor="reference", margins=False)
    assert found.machine is not None
    return found.machine


def moves(program: Program, outcome: Outcome) -> list[tuple[float, str, str]]:
    """The changes of phase that it told of: seconds of the walk, the phase entered, the cause's kind."""
    kinds = ["", "reset", "timeout", "guard", "anywhere", "rule"]
    phases = program.plan.sequences[0].phases
    return [
        (int(now, 16) / 1000, phases[int(to, 16)].name, kinds[int(cause, 16) >> 8])
        for _, now, _, _, to, cause in telemetry(outcome, "E1")
    ]
