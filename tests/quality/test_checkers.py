"""Static checkers have nothing to say about generated code, with hooks that watch and without."""

from pathlib import Path

import pytest
from support.builds import write_files
from support.checkers import clang_tidy, clang_tidy_of_board, cppcheck
from support.commands import REPOSITORY

from sequencer.generate.render import generate
from sequencer.plan.boards import BOARDS
from sequencer.plan.build import load_plan


def test_cppcheck_finds_nothing_for_a_controller_of_8_bits(sources: list[str], tmp_path: Path) -> None:
    assert cppcheck(tmp_path, sources) == []


def test_clang_tidy_finds_nothing(sources: list[str], tmp_path: Path) -> None:
    assert clang_tidy(tmp_path, sources) == []


# -- a board's program: what is in it besides the portable files ---------------------------------------------

WIRED = ["stork", "crab"]


def write_board(name: str, folder: Path) -> list[str]:
    plan = load_plan(REPOSITORY / "examples" / name / f"{name}.gait.yaml")
    files = generate(plan, "board", sketch=name)
    write_files(files.items(), folder)
    return [file for file in files if file.endswith(".cpp") and file not in generate(plan)]


@pytest.mark.parametrize("name", WIRED)
def test_cppcheck_finds_nothing_in_a_boards_program(name: str, tmp_path: Path) -> None:
    sources = write_board(name, tmp_path)
    assert len(sources) == 2
    assert cppcheck(tmp_path, sources) == []


@pytest.mark.parametrize("name", WIRED)
def test_clang_tidy_finds_nothing_in_a_boards_program(name: str, tmp_path: Path) -> None:
    assert clang_tidy_of_board(tmp_path, write_board(name, tmp_path), BOARDS["mega2560"]) == []


def test_clang_tidy_looks_at_a_boards_program(tmp_path: Path) -> None:
    sources = write_board("crab", tmp_path)
    io = next(tmp_path.glob("*_io.cpp"))
    io.write_text(io.read_text() + "float planted(int x);\nfloat planted(int x) { return x / 2; }\n")
    found = clang_tidy_of_board(tmp_path, sources, BOARDS["mega2560"])
    assert {finding.partition(" ")[2] for finding in found} >= {"bugprone-integer-division"}
