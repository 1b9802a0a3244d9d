"""`sequencer dry-run` on a telemetry log: the run again, and whether the machine did the same."""

import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from support.commands import STORK, assert_one_clear_error, call, run
from support.telemetry_logs import line, run_lines, walked

import sequencer

GAIT = sequencer.load(STORK)
TICKS = 800
BLOCK, RECORD = walked(GAIT.plan, TICKS)
LINES = run_lines(GAIT.plan, BLOCK, RECORD)
SAME = f"the machine did what the dry run does, to the bit, in all {TICKS} ticks of the log"


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("logs") / "log.txt"
    path.write_bytes(b"".join(LINES))
    return path


def verdict(lines: list[bytes]) -> "sequencer.history.machine.Verdict":  # type: ignore[name-defined]
    found = GAIT.dry_run(io.BytesIO(b"".join(lines)), executor="reference", margins=False).machine
    assert found is not None
    return found


def changed(tick: int, old: str, new: str, *, kind: bytes = b"T1") -> list[bytes]:
    """The log with a changed line of this tick; its checksum is right."""
    start = kind + b",%X," % (tick * 10)
    (at,) = (i for i, raw in enumerate(LINES) if raw.startswith(start))
    body = LINES[at].decode().rpartition("*")[0]
    assert re.search(old, body), body
    return [*LINES[:at], line(re.sub(old, new, body, count=1)), *LINES[at + 1 :]]


def test_the_dry_run_says_in_one_line_that_the_machine_did_the_same(log: Path) -> None:
    done = call("dry-run", STORK, log)
    assert done.returncode == 0
    assert done.stderr.startswith(SAME)
    assert done.stderr.count("\n") == 1
    assert "(phases, drives, setpoints, outputs; " in done.stderr
    assert call("dry-run", STORK, log, "-q").stderr == ""


def test_a_log_comes_through_a_pipe_and_both_executors_agree_on_it(log: Path) -> None:
    done = run("dry-run", STORK, "-", "--executor", "both", text_in=log.read_text())
    assert (done.returncode, done.stdout) == (0, call("dry-run", STORK, log).stdout)
    assert SAME in done.stderr


def test_the_document_says_it_too(log: Path, tmp_path: Path) -> None:
    said = json.loads(call("dry-run", STORK, log, "--json").stdout)["machine_did"]
    assert (said["same"], said["differs"], said["ticks"], said["first"]) == (True, False, TICKS, None)
    wrong = tmp_path / "wrong.txt"
    wrong.write_bytes(b"".join(changed(300, ",2,03,", ",2,02,")))
    done = call("dry-run", STORK, wrong, "--json")
    said = json.loads(done.stdout)["machine_did"]
    assert done.returncode == 1
    assert said["first"]["tick"] == 300
    assert (said["same"], said["differs"], said["ticks"]) == (False, True, 300)


def test_a_phase_that_the_dry_run_is_not_in_is_found(tmp_path: Path) -> None:
    phases = [phase.name for phase in GAIT.plan.sequences[0].phases]
    found = verdict(changed(300, r"(T1,BB8,2),03,", r"\1,02,"))
    assert found.differs
    assert found.parting is not None
    assert (found.parting.tick, found.parting.at_ms) == (300, 3000)
    assert found.words.endswith(
        f"the phase of walk is {phases[2]} on the machine and {phases[3]} in the dry run"
    )
    assert LINES[found.parting.line - 1].startswith(b"T1,BB8,")


@pytest.mark.parametrize("column", ["setpoint", "output"])
def test_one_bit_of_a_commanded_number_is_found(column: str) -> None:
    values = getattr(RECORD, column)
    tick = int(np.flatnonzero((values != np.rint(values)).any(axis=1))[50])
    which = int(np.flatnonzero(values[tick] != np.rint(values[tick]))[0])
    bits = int(values[tick, which].view(np.uint32))
    found = verdict(changed(tick, f"#{bits:08X}(?!.*#{bits:08X})", f"#{bits ^ 1:08X}"))
    assert found.differs
    assert found.parting is not None
    assert found.parting.tick == tick
    assert found.parting.what.startswith(f"{column} ")
    assert found.lines == tick


def test_drives_that_went_off_are_found() -> None:
    found = verdict(changed(200, r"(T1,7D0,2,..),(.),", lambda m: f"{m[1]},{int(m[2], 16) & ~1:X},"))  # type: ignore[arg-type]
    assert found.differs
    assert found.words.endswith("the state of the drives is off on the machine and on in the dry run")


def test_a_change_of_phase_by_another_cause_is_found() -> None:
    tick = int(np.flatnonzero(RECORD.cause[:, 0])[2])
    found = verdict(changed(tick, r",03(..)$", r",02\1", kind=b"E1"))
    assert found.differs
    assert found.parting is not None
    assert found.parting.tick == tick
    assert "(timeout) on the machine and" in found.words
    assert "(guard 1) in the dry run" in found.words


def test_a_difference_after_lost_lines_proves_nothing_and_is_said_so() -> None:
    tick = int(np.flatnonzero(RECORD.cause[:, 0])[1])  # go: an event in the lines that are lost
    start = next(i for i, raw in enumerate(LINES) if raw.startswith(b"T1,%X," % (tick * 10 - 10)))
    found = verdict(LINES[:start] + LINES[start + 4 :])
    assert not found.differs
    assert found.parting is not None
    assert found.doubt == (tick - 1, f"lines are missing before line {start + 1}")
    assert found.words.startswith(
        f"up to tick {tick - 1} the machine did what the dry run does; there lines are"
    )


def test_in_hand_helping_a_machine_that_cannot_be_helped_may_do_otherwise() -> None:
    tortoise = sequencer.load(STORK.parents[1] / "tortoise/tortoise.gait.yaml")
    lines = run_lines(tortoise.plan, *walked(tortoise.plan, 300), flags=4)
    found = tortoise.dry_run(io.BytesIO(b"".join(lines)), executor="reference", margins=False).machine
    assert found is not None
    assert found.doubt == (0, "helping was on, and then timeouts only warn")


def test_without_a_line_in_every_tick_only_the_order_of_phases_is_told() -> None:
    same = verdict(run_lines(GAIT.plan, BLOCK, RECORD, every=2))
    assert (same.parting, same.every_tick) == (None, False)
    assert "went through the phases that the dry run goes through" in same.words
    part = verdict(run_lines(GAIT.plan, BLOCK, RECORD, every=20))
    assert not part.differs
    assert "the dry run had to do without inputs in between" in part.words


def test_a_log_of_another_gait_is_one_clear_error(log: Path) -> None:
    tortoise = STORK.parents[1] / "tortoise/tortoise.gait.yaml"
    done = call("dry-run", tortoise, log)
    assert_one_clear_error(done)
    assert "log.txt:1:1: error: this log is of another gait: stork_stepping" in done.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--on", "motors"), "--on belongs to a recording"),
        (("--map", "lean=x"), "no columns to map"),
        (("--run", "2"), "holds 1 run; there is no run 2"),
    ],
)
def test_options_that_make_no_sense_are_refused(log: Path, options: tuple[str, ...], said: str) -> None:
    done = call("dry-run", STORK, log, *options)
    assert_one_clear_error(done)
    assert said in done.stderr


def test_run_belongs_to_a_telemetry_log(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_text("time,body_roll\n0,1\n0.01,1\n")
    for trace in ((table,), ()):
        done = call("dry-run", STORK, *trace, "--run", "1")
        assert_one_clear_error(done)
        assert "--run belongs to a" in done.stderr
