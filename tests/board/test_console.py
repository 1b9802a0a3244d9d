"""Commands on an emulated board: parameters, garbage, floods, a port that is too slow, help by hand."""

import binascii
from pathlib import Path
from random import Random

import pytest
from support.board.bench import Outcome, telemetry
from support.board.programs import Program, stork_program
from support.board.stork import Scene, moves, verdict


def remarks(outcome: Outcome, begin: float = 0.0) -> list[str]:
    return [line.text for line in outcome.lines[0] if line.text.startswith("# ") and line.at >= begin]


def with_sum(text: str) -> str:
    return f"{text}*{binascii.crc_hqx(text.encode('ascii'), 0):04X}"


def test_parameters_are_set_read_back_and_refused(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.enable_at = 0.0
    asked = ["lift=35.5", "lift?", "lift=70", "lift=1e300", "lift=nan", "lift=", "lift", "left=3", "?"]
    for k, text in enumerate([*asked, with_sum("lift=30"), with_sum("lift=31")[:-1] + "!"]):
        scene.bench.send(0.1 + 0.03 * k, f"{text}\n")
    outcome = scene.run(stork.built.elf, tmp_path, 0.6)
    told = [text for text in remarks(outcome, 0.1) if "lift" in text]
    assert told == [
        "# lift=35.5 #420E0000, 20 to 55",
        "# lift=35.5 #420E0000, 20 to 55",
        "# refused: lift=35.5 #420E0000, 20 to 55",
        "# lift=35.5 #420E0000, 20 to 55",
        "# lift=30 #41F00000, 20 to 55",
    ]
    assert [text for text in remarks(outcome, 0.1) if text.startswith("# lean_angle=15.0")]
    assert "# ?" in remarks(outcome)


def test_a_write_in_the_middle_of_the_walk_is_told_and_does_what_the_dry_run_says(
    stork: Program, tmp_path: Path
) -> None:
    scene = Scene(stork.plan)
    for k in range(20):
        scene.bench.send(1.6 + 0.035 * k, f"lift={30 + k}.125\n")
    outcome = scene.run(stork.built.elf, tmp_path, 2.4)
    assert len(telemetry(outcome, "P1")) == 21, "with the knob's, at the start"
    assert not verdict(stork, outcome).differs


TRIMMED = {
    "\nsignals:\n": "\nparameters:\n"
    "  joint_gain: {value: 0.12, span: [0, 0.5]}\n"
    "  roll_zero: {unit: deg, value: 0.6, span: [-5, 5]}\n"
    "  duty_cap: {value: 1, span: [0, 1]}\nsignals:\n",
    "kp: 0.12": "kp: joint_gain",
    "zero: 0.6 deg": "zero: roll_zero",
    "    slew: 8 /s\n": "    slew: 8 /s\n    cap: duty_cap\n",
}


def test_gains_zeros_and_caps_are_trimmed_while_it_walks(tmp_path: Path) -> None:
    program = stork_program(tmp_path, edits=TRIMMED)
    scene = Scene(program.plan)
    for k, text in enumerate(["joint_gain=0.25", "roll_zero=-1.25", "duty_cap=0.03", "joint_gain=0.6"]):
        scene.bench.send(0.95 + 0.1 * k, f"{text}\n")
    outcome = scene.run(program.built.elf, tmp_path, 1.6)
    assert [line[2] for line in telemetry(outcome, "P1")] == ["00", "02", "03", "04"], "the knob's first"
    assert [text for text in remarks(outcome) if text.startswith("# refused: joint_gain=0.25 ")]
    assert max(outcome.most(name, 1.2, 1.6) for name in ("left_hip", "left_ankle")) <= 8 + 1
    assert not verdict(program, outcome).differs


def test_garbage_is_counted_and_answered_once_a_second(stork: Program, tmp_path: Path) -> None:
    rng = Random("garbage")
    scene = Scene(stork.plan)
    count = 60
    for k in range(count):
        text = "".join(chr(rng.choice([*range(33, 127)])) for _ in range(rng.randint(1, 40)))
        scene.bench.send(0.5 + 0.02 * k, f"{text}\n")
    scene.bench.send(1.75, "version\n")
    outcome = scene.run(stork.built.elf, tmp_path, 1.85)
    assert remarks(outcome).count("# ?") == 2
    (counts,) = outcome.said(", garbled ")
    line = next(line.text for line in outcome.lines[0] if line.at == counts)
    assert line == f"# left out ticks 0, dropped lines 0, garbled {count}, too long 0"
    assert not verdict(stork, outcome).differs


def test_too_long_lines_and_half_ones_do_nothing(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.bench.send(0.9, "disable" + " " * 90 + "\n")
    scene.bench.send(0.95, "x" * 500 + "disable\n")
    scene.bench.send(1.0, "disabl")  # and no end
    outcome = scene.run(stork.built.elf, tmp_path, 1.3)
    assert [phase for _, phase, _ in moves(stork, outcome)] == ["standing", "lean_right"]
    assert outcome.level("enable", 1.29) == 255
    assert not verdict(stork, outcome).differs


def test_a_flood_of_commands_does_not_hold_up_the_walk_or_its_stop(stork: Program, tmp_path: Path) -> None:
    """All that the port can carry from 0.9 s to 1.2 s, then the stop; ticks may be late, and are counted."""
    scene = Scene(stork.plan)
    lines = ["+motors", "lift?", "!nothing", "x" * 80, "lift=33", "?", "-", "helping off"]
    flood = "\n".join(lines[k % len(lines)] for k in range(4000))[:30_000]
    for k in range(0, len(flood), 500):
        scene.bench.send(0.9 + k * 1e-5, flood[k : k + 500])
    scene.bench.send(1.25, "\ndisable\n")
    outcome = scene.run(stork.built.elf, tmp_path, 1.35)
    assert [phase for _, phase, _ in moves(stork, outcome)] == ["standing", "lean_right"]
    during = [line for line in outcome.lines[0] if 0.9 < line.at < 1.2 and line.text.startswith("T1")]
    assert len(during) > 10, "it goes on telling what it does"
    assert outcome.resets == []
    assert outcome.said("# disabled")[0] - 1.25 < 0.03
    assert outcome.level("enable", 1.3) == 0


def test_lines_that_a_slow_port_cannot_take_are_dropped_and_nothing_waits(tmp_path: Path) -> None:
    """Planted: the console's port runs at 57,600 baud, where the generator fitted telemetry to 1,000,000."""
    program = stork_program(tmp_path, plant={"Serial.begin(1000000UL);": "Serial.begin(57600UL);"})
    scene = Scene(program.plan)
    outcome = scene.run(program.built.elf, tmp_path, 2.0)
    told = [line for line in telemetry(outcome) if line[2] == "2"]
    times = [int(line[1], 16) for line in told]
    assert 20 < len(told) < 120, "some of them"
    assert times == sorted(times)
    assert {line[7] for line in told} == {"0"}, "no tick was left out"
    bodies = [line.text for line in outcome.lines[0] if line.text[:2] in ("T1", "E1", "P1", "G1")]
    whole = [text for text in bodies if with_sum(text.rpartition("*")[0]) == text]
    assert whole == bodies, "whole lines only"
    assert not verdict(program, outcome).differs


@pytest.mark.parametrize("bit", ["enable", "step"])
def test_unknown_things_are_garbage(bit: str, stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.enable_at = 0.0
    scene.bench.send(0.4, f"{bit}d\n+{bit}\n!{bit}\n{bit}=1\n {bit}\n")
    outcome = scene.run(stork.built.elf, tmp_path, 0.6)
    assert "# ?" in remarks(outcome)
    assert moves(stork, outcome) == []


def test_single_steps_wait_for_the_button_and_for_the_command(stork: Program, tmp_path: Path) -> None:
    """The dry run has the same stepping; each guard that fires waits for one step."""
    scene = Scene(stork.plan)
    scene.bench.send(0.45, "stepping on\n")
    scene.bench.send(2.2, "step\n")
    scene.frozen_at = 2.45  # the knee is up
    scene.bench.pull(3.0, 28, 0)
    scene.bench.pull(3.1, 28, 1)
    outcome = scene.run(stork.built.elf, tmp_path, 3.3)
    began = outcome.said("E1,0,")[0]
    entered = [(round(began + at, 2), phase) for at, phase, _ in moves(stork, outcome)]
    assert [phase for _, phase in entered] == ["standing", "lean_right", "lift_left", "lower_left"]
    assert entered[2][0] == pytest.approx(2.2, abs=0.02)
    assert entered[3][0] == pytest.approx(3.04, abs=0.03)
    assert outcome.said("# ready: the next phase waits for a step")
    assert not verdict(stork, outcome).differs


def test_helped_by_hand_timeouts_only_warn(tmp_path: Path) -> None:
    """A knee that sticks, as in the sensors' tests, but with the helping switch on."""
    program = stork_program(
        tmp_path, edits={"timeout: {after: 3 s, to: safe}": "timeout: {after: 800 ms, to: safe}"}
    )
    scene = Scene(program.plan)
    scene.sensors["left_knee"] = lambda at, value: value if at < 1.9 else 10.0
    scene.bench.pull(1.0, 29, 0)
    scene.bench.pull(3.0, 29, 1)
    outcome = scene.run(program.built.elf, tmp_path, 3.2)
    began = outcome.said("E1,0,")[0]
    entered = [(began + at, phase, cause) for at, phase, cause in moves(program, outcome)]
    assert [(phase, cause) for _, phase, cause in entered[2:]] == [
        ("lift_left", "guard"),
        ("safe", "timeout"),
    ]
    (warned,) = outcome.said("# warning: the timeout of a phase has passed")
    assert warned - entered[2][0] == pytest.approx(0.8, abs=0.03)
    assert entered[3][0] == pytest.approx(3.03, abs=0.03), "when help ends, the timeout acts"
    assert not verdict(program, outcome).differs
