"""Finding and calling compilers."""

import sys
from pathlib import Path

import pytest

from sequencer.base.errors import ToolError
from sequencer.build import compilers
from sequencer.build.compilers import compilers_found, find_compiler
from sequencer.build.programs import run_program
from sequencer.executors.compiled import compiler_available


def test_the_first_compiler_on_the_path_is_taken() -> None:
    assert find_compiler().name == "g++"
    assert {"g++", "clang++"} <= set(compilers_found())
    assert compiler_available()


def test_the_environment_names_the_compiler(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CXX", "clang++ -g")
    compiler = find_compiler()
    assert compiler.name == "clang++"
    assert compiler.command[1:] == ("-g",)
    assert find_compiler("g++").name == "g++"


def test_a_machine_without_a_compiler_gets_a_hint(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(compilers, "find_spec", lambda name: None)
    assert compilers_found() == []
    assert not compiler_available()
    with pytest.raises(ToolError, match="no C\\+\\+ compiler on this machine") as caught:
        find_compiler()
    assert "g++" in caught.value.hint


@pytest.mark.parametrize("name", ["no-such-compiler", "/no/such/compiler", "", '"', "zig"])
def test_a_compiler_that_is_not_there_is_one_clear_error(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compilers, "find_spec", lambda package: None)
    compilers._named.cache_clear()
    with pytest.raises(ToolError):
        find_compiler(name)


def test_a_program_that_fails_hangs_or_is_none_says_so(tmp_path: Path) -> None:
    with pytest.raises(ToolError, match="exit code 3") as caught:
        run_program([sys.executable, "-c", "import sys; print('why'); sys.exit(3)"])
    assert "why" in caught.value.output
    with pytest.raises(ToolError, match=r"did not finish within 0\.3 s"):
        run_program([sys.executable, "-c", "import time; time.sleep(30)"], timeout_s=0.3)
    with pytest.raises(ToolError, match="could not be started: No such file"):
        run_program([tmp_path / "nothing"])
    (tmp_path / "text").write_text("", encoding="utf-8")
    with pytest.raises(ToolError, match="could not be started: Permission denied"):
        run_program([tmp_path / "text"])
