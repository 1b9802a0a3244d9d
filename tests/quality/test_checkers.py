"""Static checkers have nothing to say about generated code, with hooks that watch and without."""

from pathlib import Path

from support.checkers import clang_tidy, cppcheck


def test_cppcheck_finds_nothing_for_a_controller_of_8_bits(sources: list[str], tmp_path: Path) -> None:
    assert cppcheck(tmp_path, sources) == []


def test_clang_tidy_finds_nothing(sources: list[str], tmp_path: Path) -> None:
    assert clang_tidy(tmp_path, sources) == []
