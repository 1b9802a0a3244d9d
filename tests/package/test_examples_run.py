"""The project's second command: the whole job on the stork, from a fresh checkout."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support.commands import REPOSITORY

NEEDED = ["bash", "cat", "dirname", "env", "find", "grep", "mkdir", "sort", "tee"]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy of what git tracks of the examples, so that the results land beside it."""
    shutil.copytree(REPOSITORY / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("results"))
    return tmp_path


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    """A folder with the sequencer and the usual shell commands, but without compilers and graphviz."""
    folder = tmp_path / "tools"
    folder.mkdir()
    for name in NEEDED:
        found = shutil.which(name)
        assert found, name
        (folder / name).symlink_to(found)
    command = folder / "sequencer"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m sequencer "$@"\n')
    command.chmod(0o755)
    return folder


def run_it(checkout: Path, path: str) -> str:
    done = subprocess.run(
        ["bash", "examples/run", "--here"],
        cwd=checkout,
        env={**os.environ, "PATH": path, "PYTHONPATH": str(REPOSITORY)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_it_goes_through_and_names_the_fault(checkout: Path, tools: Path) -> None:
    text = run_it(checkout, f"{tools}:{os.environ['PATH']}")
    fault = text.partition("== what the fault was\n")[2].splitlines()[0]
    assert "lean_left timed out after 5.0 s: guard 1 waited for left_leg_roll" in fault
    assert "; best -9." in fault
    assert fault.endswith(" deg short")
    built = checkout / "examples" / "results" / "portable" / "stork_stepping.o"
    assert built.is_file()
    code = "portable/stork_stepping.cpp"
    for path in ("stork.svg", "walk.run.csv", "foot_stuck.run.csv", "foot_stuck.report.html", code):
        assert f"examples/results/{path}" in text
        assert (checkout / "examples" / "results" / path).stat().st_size > 1000


def test_without_a_compiler_it_says_what_was_left_out(checkout: Path, tools: Path) -> None:
    text = run_it(checkout, str(tools))
    assert "skipped: no C++ compiler found" in text
    assert "== what the fault was\nfault at " in text
    assert not list((checkout / "examples" / "results" / "portable").glob("*.o"))


def test_a_fault_that_is_not_found_fails_the_run(checkout: Path, tools: Path) -> None:
    recordings = checkout / "examples" / "stork" / "recordings"
    shutil.copyfile(recordings / "walk.csv", recordings / "foot_stuck.csv")
    done = subprocess.run(
        ["bash", "examples/run", "--here"],
        cwd=checkout,
        env={**os.environ, "PATH": str(tools)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 2
    assert "expected a fault to be found" in done.stderr
