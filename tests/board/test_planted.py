"""Faults planted in the board's program: what the tests beside this one look at must show each of them."""

import binascii
import itertools
from pathlib import Path

from support.board.bench import number_of, telemetry
from support.board.programs import Program, stork_program
from support.board.stork import PINS, STOP, Scene, moves

MOTORS = [name for name in PINS if name not in ("enable", "horn", "sensor_reset")]


def planted(folder: Path, old: str, new: str) -> Program:
    return stork_program(folder, plant={old: new})


def test_without_the_interrupt_the_stop_contact_is_late(tmp_path: Path) -> None:
    program = planted(tmp_path, "  attachInterrupt(", "  if (false) attachInterrupt(")
    latencies = []
    for k in range(4):
        at = 1.2 + 0.0021 * k
        scene = Scene(program.plan)
        scene.bench.pull(at, STOP, 1)
        outcome = scene.run(program.built.elf, tmp_path, 1.25)
        latencies.append(max(c.at for name in MOTORS for c in outcome.changes[name] if c.at >= at) - at)
    assert max(latencies) > 200e-6
    assert max(latencies) < 0.010, "within one tick all the same"


def test_with_lines_of_too_few_numbers_taken_the_silence_is_not_found(tmp_path: Path) -> None:
    program = planted(tmp_path, "&& (line.field == fields) && (line", "&& (line.field <= fields) && (line")
    scene = Scene(program.plan)
    scene.line = lambda at, text: text.rpartition(",")[0] if at > 0.9 else text
    outcome = scene.run(program.built.elf, tmp_path, 1.25)
    assert [phase for _, phase, _ in moves(program, outcome)][-1] != "safe"


def test_without_the_look_at_pauses_two_halves_make_a_number(tmp_path: Path) -> None:
    program = planted(tmp_path, "line.heard_at) > 50U", "line.heard_at) > 5000U")
    scene = Scene(program.plan)
    scene.line = lambda at, text: None if at > 0.9 else text
    scene.bench.send(0.91, "1.5,-2.5,0.2", port=1)
    scene.bench.send(0.97, "7\n", port=1)
    outcome = scene.run(program.built.elf, tmp_path, 1.05)
    taken = {item for line in telemetry(outcome) for item in line[8:11] if item}
    assert any(abs(number_of(item) - 0.27) < 1e-6 for item in taken)


def test_with_every_sensor_taken_for_well_a_moving_machine_starts(tmp_path: Path) -> None:
    program = planted(tmp_path, "return unwell() == 10U;", "return true;")
    scene = Scene(program.plan)
    scene.sensors["body_roll"] = lambda at, value: value + 3.0 * (int(at * 25) % 2)
    outcome = scene.run(program.built.elf, tmp_path, 0.55)
    assert moves(program, outcome)
    assert outcome.level("enable", 0.54) == 255


def test_with_disable_that_turns_nothing_off_the_motors_stay_on(tmp_path: Path) -> None:
    program = planted(tmp_path, "static void turn_off() {\n  io::all_off();", "static void turn_off() {")
    scene = Scene(program.plan)
    scene.bench.send(1.2, "disable\n")
    outcome = scene.run(program.built.elf, tmp_path, 1.3)
    assert outcome.said("# disabled")
    assert outcome.level("enable", 1.29) == 255


def test_with_a_clock_that_does_not_jump_ticks_are_left_out_unseen(tmp_path: Path) -> None:
    slow = {"{ static_cast<void>(now); }": "{ if (now == 600U) { delay(25); } }"}
    fault = {"now += (missed + 1U) * walk::tick_ms;": "now += walk::tick_ms;"}
    program = stork_program(tmp_path, hooks=slow, plant=fault)
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, 1.2)
    times = [int(line[1], 16) for line in telemetry(outcome) if line[2] == "2"]
    assert {b - a for a, b in itertools.pairwise(times)} == {10}


def test_with_parts_of_lines_sent_torn_ones_come_out(tmp_path: Path) -> None:
    faults = {
        "Serial.begin(1000000UL);": "Serial.begin(57600UL);",
        "if (!too_long) {\n    whole = end;": "if (true) {\n    whole = end;",
    }
    program = stork_program(tmp_path, plant=faults)
    outcome = Scene(program.plan).run(program.built.elf, tmp_path, 1.2)
    told = [line.text for line in outcome.lines[0] if line.text.startswith(("T1", "E1"))]
    sums = [f"{binascii.crc_hqx(text.rpartition('*')[0].encode(), 0):04X}" for text in told]
    assert any(text.rpartition("*")[2] != right for text, right in zip(told, sums, strict=True))


def test_with_timeouts_that_act_while_helping_the_walk_ends_in_safe(tmp_path: Path) -> None:
    edits = {"timeout: {after: 3 s, to: safe}": "timeout: {after: 300 ms, to: safe}"}
    fault = {"inputs.helping = helping_told;": "inputs.helping = 0U;"}
    program = stork_program(tmp_path, edits=edits, plant=fault)
    scene = Scene(program.plan)
    scene.bench.send(0.5, "helping on\n")
    outcome = scene.run(program.built.elf, tmp_path, 2.3)
    assert [phase for _, phase, _ in moves(program, outcome)][-1] == "safe"
