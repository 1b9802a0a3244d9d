"""The text of a board's program: golden, checked by cppcheck, compiled for every board, with odd names."""

from collections.abc import Callable
from pathlib import Path

import pytest
from support.board.heron import GAIT
from support.board.programs import build, edited
from support.checkers import cppcheck

from sequencer import __version__
from sequencer.base.errors import MisuseError
from sequencer.build.arduino_core import build_sketch
from sequencer.generate.render import generate
from sequencer.plan.boards import BOARDS
from sequencer.plan.build import load_plan

GOLDEN = Path(__file__).parent / "golden"
# a board of which nothing is known; the core of a known one stands in for its
UNKNOWN = {
    "board: uno": "board: somebody_elses",
    "tail: {servo: 10, pulse: [1000 us, 2000 us], inverted: true}": "tail: {pwm: 10, inverted: true}",
    "  setpoints:\n    neck: {servo: 9, pulse: [700 us, 2300 us], over: [60 deg, -60 deg]}\n": "",
}
# names that the program has itself, or near to them
ODD = {
    "neck_angle": "inputs",
    "body_roll": "waiting",
    "foot": "end",
    "wing_motor": "whole",
    "motors": "running",
    "calm": "put",
    "stretching": "stopped",
    "heron_stretch": "walk",
    "machine: heron\n": "machine: user\n",
}


def test_the_board_s_files_are_as_they_were(golden: Callable[[Path, str], None]) -> None:
    """Golden, but for the version; the portable files have golden texts of their own."""
    files = generate(load_plan(GAIT), "board")
    for name, text in files.items():
        if "_board" in name or "_io" in name or name.endswith((".ino", "_told.h")):
            golden(GOLDEN / name, text.replace(f"gait-sequencer {__version__}", "gait-sequencer"))


def test_the_same_gait_gives_the_same_bytes() -> None:
    assert generate(load_plan(GAIT), "board") == generate(load_plan(GAIT), "board")


def test_cppcheck_finds_nothing(tmp_path: Path) -> None:
    files = generate(load_plan(GAIT), "board")
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="ascii")
    assert cppcheck(tmp_path, [name for name in files if name.endswith(".cpp")]) == []


@pytest.mark.parametrize("board", ["nano", "leonardo", "micro", "mega2560"])
def test_it_compiles_for_each_board_without_a_warning(board: str, tmp_path: Path) -> None:
    program = build(GAIT, tmp_path, edits={"board: uno": f"board: {board}"})
    assert program.built.sizes.flash < BOARDS[board].flash
    assert program.built.sizes.ram < BOARDS[board].ram


def test_it_compiles_for_a_board_that_nobody_knows(tmp_path: Path) -> None:
    files = generate(load_plan(edited(GAIT, tmp_path, UNKNOWN)), "board")
    sketch = tmp_path / "walk"
    sketch.mkdir()
    for name, text in files.items():
        (sketch / name).write_text(text, encoding="ascii")
    assert build_sketch(BOARDS["uno"], sketch, tmp_path / "out").sizes.flash > 10_000


def test_a_board_that_nobody_knows_turns_servos_by_the_library(tmp_path: Path) -> None:
    files = generate(load_plan(edited(GAIT, tmp_path, {"board: uno": "board: somebody_elses"})), "board")
    assert "#include <Servo.h>" in files["heron_io.cpp"]
    assert "ISR(" not in files["heron_io.cpp"]


def test_odd_names_compile(tmp_path: Path) -> None:
    build(GAIT, tmp_path, edits=ODD)


def test_a_gait_whose_files_would_be_called_as_the_machine_s_is_refused(tmp_path: Path) -> None:
    plan = load_plan(edited(GAIT, tmp_path, {"gait: heron_stretch": "gait: heron_io"}))
    with pytest.raises(MisuseError, match=r"two generated files would be called heron_io\.cpp"):
        generate(plan, "board")
