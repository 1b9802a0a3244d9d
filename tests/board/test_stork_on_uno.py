"""The stork on the smallest board: all signals, the remote and the console over the one serial port."""

from pathlib import Path

from support.board.bench import Bench, Outcome, telemetry
from support.board.programs import Program, build
from support.board.stork import POTS, TILTS, counts_of, moves, rows, verdict
from support.commands import STORK

from sequencer.plan.boards import BOARDS

SIGNALS = (*TILTS, *POTS)
MOTORS = "left_hip right_hip left_ankle right_ankle left_knee right_knee".split()
DUTIES, WAYS, ENABLE, BUTTON, STOP = (3, 5, 6, 9, 10, 11), (4, 7, 8, 12, 14, 15), 16, 17, 2
WIRING = "\n".join(
    [
        "wiring:",
        "  board: uno",
        "  console: {port: serial, baud: 500000, telemetry: 10 ms, carries: [signals, setpoints]}",
        f"  lines: {{all: {{port: serial, fields: {len(SIGNALS)}}}}}",
        "  remote: {port: serial}",
        "  signals:",
        *(f"    {name}: {{line: all, field: {k + 1}}}" for k, name in enumerate(SIGNALS)),
        "  outputs:",
        *(
            f"    {name}_motor: {{pwm: {duty}, direction: {way}}}"
            for name, duty, way in zip(MOTORS, DUTIES, WAYS, strict=True)
        ),
        "    horn: {pin: 13, on_for: 200 ms}",
        f"  enable: {{pin: {ENABLE}, button: {BUTTON}}}",
        f"  stop_contact: {{pin: {STOP}}}",
        "  still: {for: 200 ms}",
        "  watchdog: 250 ms",
    ]
)


def program(folder: Path) -> Program:
    text = STORK.with_name("stork.machine.yaml").read_text(encoding="utf-8")
    return build(STORK, folder, edits={text[text.index("wiring:") :]: f"{WIRING}\n"})


def raw_of(stork: Program, name: str, value: float) -> float:
    """What the sensors' controller sends for a value: counts, but for the tilts."""
    return counts_of(stork.plan, name, value) if name in POTS else value


def play(stork: Program, folder: Path, until: float) -> Outcome:
    """The recording from its 0.8 s on, at 0.6 s of the bench; enable at 0.4 s."""
    bench = Bench(
        "uno", {0: 100_000}
    )  # a sender that is slower than the port is fast: it pauses between bytes
    bench.watch("enable", ENABLE)
    for name, duty in zip(MOTORS, DUTIES, strict=True):
        bench.watch(name, duty)
    bench.pull(0.0, BUTTON, 1)
    bench.pull(0.0, STOP, 0)
    raw: dict[str, float] = {}
    for at, cells in rows():
        if at < 0.8 or not raw.keys() >= set(SIGNALS):
            raw |= {
                n: counts_of(stork.plan, n, v) if n in POTS else v for n, v in cells.items() if n in SIGNALS
            }
    recorded = {round((at - 0.2) * 100): cells for at, cells in rows()}
    for tick in range(round(until * 100)):
        cells = recorded.get(tick, {}) if tick >= 60 else {}
        for name in cells.keys() & set(SIGNALS):
            raw[name] = raw_of(stork, name, cells[name])
        if tick % 2 == 0:
            bench.send(tick / 100, ",".join(f"{raw[name]:.2f}" for name in SIGNALS) + "\n")
        if tick % 10 == 0:
            bench.send(tick / 100 + 0.008, "+motors\n")
        if tick == 40:
            bench.send(tick / 100 + 0.009, "enable\n")
        if cells.get("go"):
            bench.send(tick / 100 + 0.009, "!go\n")
    return bench.run(stork.built.elf, folder, until)


def test_it_fits_walks_and_does_what_the_dry_run_does(tmp_path: Path) -> None:
    stork = program(tmp_path)
    board = BOARDS["uno"]
    assert stork.built.sizes.flash <= board.flash
    outcome = play(stork, tmp_path, 3.8)
    entered = [phase for _, phase, _ in moves(stork, outcome)]
    assert entered == ["standing", "lean_right", "lift_left", "lower_left", "centre_1"]
    assert 0 < outcome.stack < board.ram - stork.built.sizes.ram, "memory that is left holds the stack"
    found = verdict(stork, outcome)
    assert found.words.startswith("the machine did what the dry run does, to the bit, in all "), found.words
    assert {line[7] for line in telemetry(outcome)} == {"0"}
    assert all(outcome.most(name, 0.8, 3.8) > 10 for name in MOTORS)
