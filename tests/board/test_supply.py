"""A supply under its least value, on an emulated board."""

from pathlib import Path

from support.board.programs import Program, stork_program
from support.board.stork import PINS, Scene, verdict

MOTORS = [name for name in PINS if name not in ("enable", "horn", "sensor_reset")]
SHORT = {"under_for: 1 s": "under_for: 300 ms"}


def test_under_its_least_value_for_its_time_all_motors_are_cut_until_a_new_start(tmp_path: Path) -> None:
    """9.3 V from 0.9 s on, where 9.6 V is the least; smoothed with 500 ms it is under that at about 2 s."""
    program = stork_program(tmp_path, edits=SHORT)
    scene = Scene(program.plan)
    scene.sensors["battery"] = lambda at, value: value if at < 0.9 or at > 3.3 else 9.3
    outcome = scene.run(program.built.elf, tmp_path, 3.7)
    assert all(outcome.most(name, 0.9, 1.9) > 0 for name in MOTORS)
    assert all(outcome.most(name, 3.0, 3.7) == 0 for name in MOTORS), "also after the voltage is back"
    assert not verdict(program, outcome).differs


def test_a_voltage_that_sags_for_a_moment_cuts_nothing(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.sensors["battery"] = lambda at, value: value if at < 1.5 or at > 1.7 else 9.3
    outcome = scene.run(stork.built.elf, tmp_path, 2.2)
    assert all(outcome.most(name, 1.8, 2.2) > 0 for name in MOTORS)
    assert not verdict(stork, outcome).differs
