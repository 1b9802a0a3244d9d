"""The stork's whole program on an emulated board: it walks, and does what the dry run does, to the bit."""

import itertools
from pathlib import Path

import pytest
from support.board.bench import number_of, telemetry
from support.board.programs import Program, stork_program
from support.board.stork import Scene, moves, verdict

# in the order of the outputs, whose direction pins are 30 to 35
MOTORS = "left_hip right_hip left_ankle right_ankle left_knee right_knee".split()
CYCLE = "standing lean_right lift_left lower_left centre_1 lean_left lift_right lower_right centre_2".split()


def test_the_stork_walks_through_all_its_phases_as_the_dry_run_says(stork: Program, tmp_path: Path) -> None:
    outcome = Scene(stork.plan).run(stork.built.elf, tmp_path, 8.8)
    assert outcome.resets == []
    assert not outcome.crashed
    entered = [phase for _, phase, _ in moves(stork, outcome)]
    assert entered[: len(CYCLE)] == CYCLE
    assert [cause for _, _, cause in moves(stork, outcome)[1:]] == ["guard"] * (len(entered) - 1)
    found = verdict(stork, outcome)
    assert found.words.startswith("the machine did what the dry run does, to the bit, in all "), found.words
    assert not found.differs
    ticks = len([line for line in telemetry(outcome) if line[2] == "2"])
    assert ticks > 800
    assert f"in all {ticks} ticks" in found.words
    assert {line[7] for line in telemetry(outcome)} == {"0"}, "a tick was left out"
    # common practice, no source: a tilt of 50 Hz is fresh in every second tick of 10 ms, give or take the
    # time that its line takes
    fresh = [int(line[1], 16) for line in telemetry(outcome) if line[2] == "2" and line[8]]
    apart = [b - a for a, b in itertools.pairwise(fresh)]
    assert set(apart) <= {10, 20, 30}
    assert abs(sum(apart) / len(apart) - 20) < 0.2
    duties = {name: outcome.most(name, 0.5, 8.8) for name in MOTORS}
    assert min(duties.values()) > 15, duties
    assert outcome.most("horn", 0.0, 8.8) == 255


def test_the_pins_carry_what_telemetry_says(stork: Program, tmp_path: Path) -> None:
    """The duty of 0 to 255 for an output of 0 to 1, and the direction pin low for a negative one."""
    scene = Scene(stork.plan)
    for number, name in enumerate(MOTORS):
        scene.bench.watch(f"{name}_way", 30 + number)
    outcome = scene.run(stork.built.elf, tmp_path, 2.3)
    compared = 0
    for line in outcome.lines[0]:
        fields = line.text.split(",")
        if fields[0] != "T1" or fields[2] != "2":
            continue
        for name, item in zip(MOTORS, fields[-len(MOTORS) :], strict=True):
            output = number_of(item.partition("*")[0])
            compared += output < 0
            assert outcome.level(name, line.at - 0.001) == int(abs(output) * 255 + 0.5)
            assert outcome.level(f"{name}_way", line.at - 0.001) == (0 if output * 255 < 0 else 255)
    assert compared > 50


# The same with a fault planted in what is generated: what finds no difference must be able to find one.
FAULTS = {
    "a ramp one ulp faster": {"step = 0.16F;": "step = 0.16000001F;"},
    "a zero one ulp off": {"raw + -0.6F": "raw + -0.59999996F"},
    "a hold one sample longer": {"return s.count[slot] >= samples;": "return s.count[slot] > samples;"},
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_planted_in_the_generated_code_is_found(fault: str, tmp_path: Path) -> None:
    program = stork_program(tmp_path, plant=FAULTS[fault])
    assert verdict(program, Scene(program.plan).run(program.built.elf, tmp_path, 2.3)).differs
