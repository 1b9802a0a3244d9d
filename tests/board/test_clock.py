"""The schedule of ticks on an emulated board: no drift, ticks left out are counted, the clock may wrap."""

import itertools
from pathlib import Path

import pytest
from support.board.bench import telemetry
from support.board.programs import Program, stork_program
from support.board.stork import PINS, Scene, moves, verdict

START = "STORK_STEPPING_BOARD_START_MS"
# a phase, how long after the walk's start it is in its middle (ms), and how long to look (s on the bench)
MIDDLES = {
    "standing": (200, 1.2),
    "lean_right": (900, 1.9),
    "lift_left": (1700, 2.7),
    "lower_left": (2400, 3.4),
}


@pytest.mark.parametrize("phase", MIDDLES)
def test_the_clock_wraps_in_the_middle_of_a_phase(phase: str, stork: Program, tmp_path: Path) -> None:
    """A build whose clock starts so near its end does the same at the same times as any other."""
    middle, until = MIDDLES[phase]
    program = stork_program(tmp_path, flags=[f"-D{START}={2**32 - middle}UL"])
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, until)
    plain = Scene(stork.plan).run(stork.built.elf, tmp_path, until)
    wrapped = [((round(now * 1000) + middle) % 2**32, *rest) for now, *rest in moves(program, outcome)]
    assert wrapped == [(round(now * 1000), *rest) for now, *rest in moves(stork, plain)]
    assert wrapped[-1][0] > middle
    stages = [(int(line[1], 16), line[3]) for line in telemetry(outcome) if line[2] == "2"]
    (before,) = [number for now, number in stages if now == 2**32 - 10 or now == 2**32 - (10 - middle % 10)]
    assert program.plan.sequences[0].phases[int(before, 16)].name == phase
    assert not verdict(program, outcome).differs


def test_ticks_do_not_drift(stork: Program, tmp_path: Path) -> None:
    """Between two ticks far apart as much time has passed on the emulated clock as the ticks say."""
    outcome = Scene(stork.plan).run(stork.built.elf, tmp_path, 1.6)
    sampled = [change.at for change in outcome.changes["left_hip"] if 0.5 < change.at < 1.6]
    assert len(sampled) > 50
    phase = [at % 0.01 for at in sampled]
    assert max(phase) - min(phase) < 0.002, "motors are driven at the same place in every tick"


def test_ticks_that_take_too_long_are_left_out_and_counted(tmp_path: Path) -> None:
    slow = {"{ static_cast<void>(now); }": "{ if (now == 600U) { delay(25); } }"}
    program = stork_program(tmp_path, hooks=slow)
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, 1.3)
    lines = [line for line in telemetry(outcome) if line[2] == "2"]
    times = [int(line[1], 16) for line in lines]
    assert 600 in times
    at = times.index(600)
    jump = times[at + 1] - 600
    assert jump in (30, 40)
    assert int(lines[at + 1][4], 16) & 16, "the line after it says so"
    assert {int(line[7], 16) for line in lines[at + 1 :]} == {jump // 10 - 1}
    assert {b - a for a, b in itertools.pairwise(times)} == {10, jump}
    assert not verdict(program, outcome).differs


def test_a_late_tick_keeps_its_time(tmp_path: Path) -> None:
    """Every tenth tick takes 6 ms more: the next ones are late, none is left out, none shifts the rest."""
    slow = {"{ static_cast<void>(now); }": "{ if (now % 100U == 0U) { delay(6); } }"}
    program = stork_program(tmp_path, hooks=slow)
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, 1.6)
    lines = [line for line in telemetry(outcome) if line[2] == "2"]
    assert {line[7] for line in lines} == {"0"}
    assert not any(int(line[4], 16) & 16 for line in lines)
    driven = [change.at % 0.01 for change in outcome.changes["left_hip"] if 0.5 < change.at < 1.6]
    usual = sorted(driven)[len(driven) // 2]
    late = [at for at in driven if at > usual + 0.001]
    assert 5 < len(late) < len(driven) / 2
    assert len([at for at in driven if abs(at - usual) < 0.0006]) > len(driven) / 2


def test_a_program_that_hangs_is_reset_and_starts_with_motors_off(tmp_path: Path) -> None:
    """The watchdog of 250 ms; on a real board its own clock may be some percent off."""
    hang = "{ if ((now == 600U) && (digitalRead(26) == HIGH)) { for (;;) {} } }"
    program = stork_program(tmp_path, hooks={"{ static_cast<void>(now); }": hang})
    scene = Scene(program.plan)
    outcome = scene.run(program.built.elf, tmp_path, 1.7)
    last = max(line.at for line in outcome.lines[0] if line.text.startswith("T1") and ",2," in line.text[:9])
    (again,) = [at for at in outcome.said("G1,") if at > 0.9]
    assert 0.2 < again - last < 0.35
    assert outcome.said("# the watchdog reset a program that hung")
    assert outcome.most("enable", last, again - 0.01) == 255, "until then the motors stay as they were"
    assert all(outcome.most(name, again, 1.7) <= 0 for name in PINS if name not in ("horn", "sensor_reset"))
    assert {line[2] for line in telemetry(outcome)[-20:]} <= {"0", "1", "3"}


def test_without_a_watchdog_it_would_hang_for_ever(tmp_path: Path) -> None:
    """What the test above finds comes from the watchdog: without one, there is no second start."""
    hang = "{ if ((now == 600U) && (digitalRead(26) == HIGH)) { for (;;) {} } }"
    edits = {"  watchdog: 250 ms\n": ""}
    program = stork_program(tmp_path, hooks={"{ static_cast<void>(now); }": hang}, edits=edits)
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, 1.7)
    assert [at for at in outcome.said("G1,") if at > 0.9] == []
    assert outcome.level("enable", 1.69) == 255
