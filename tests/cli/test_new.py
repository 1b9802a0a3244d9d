import json
import os
import pty
import subprocess
from pathlib import Path

import pytest
from support.commands import COMMAND, assert_one_clear_error, call


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_both_files_are_written_and_pass_the_check(tmp_path: Path) -> None:
    done = call("new", "crab", "--legs", "6", "--joints", "swing,lift", "--sensors", "joint,tilt")
    assert done.returncode == 0
    assert done.stdout.splitlines() == [
        "written: crab.machine.yaml",
        "written: crab.gait.yaml",
        "next: sequencer check crab.gait.yaml",
    ]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["crab.gait.yaml", "crab.machine.yaml"]
    assert call("check", "crab.gait.yaml", "--strict").returncode == 0


@pytest.mark.parametrize("legs", [2, 4])
def test_what_is_written_walks_by_itself(legs: int) -> None:
    assert call("new", "crab", "--legs", str(legs), "--sensors", "joint,tilt,load,battery").returncode == 0
    done = call("dry-run", "crab.gait.yaml", "--for", "40s", "--executor", "reference", "--json")
    run = json.loads(done.stdout)
    assert (done.returncode, run["failed"], run["faults"]) == (0, False, [])
    assert run["steps"]["count"] >= 4


@pytest.mark.parametrize("there", ["crab.machine.yaml", "crab.gait.yaml"])
def test_nothing_is_overwritten(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("mine")
    assert_one_clear_error(call("new", "crab"), f"{there} exists already")
    assert [path.name for path in tmp_path.iterdir()] == [there]
    assert (tmp_path / there).read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["../crab"], "'../crab'"),
        (["class"], "class"),
        (["crab", "--legs", "1"], "1 legs"),
        (["crab", "--sensors", "sonar"], "sonar"),
        (["crab", "--joints", "lean"], "two joints"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, arguments: list[str], word: str) -> None:
    assert_one_clear_error(call("new", *arguments), word)
    assert list(tmp_path.iterdir()) == []


def test_in_a_pipe_nothing_is_asked(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "new", "crab"], stdin=subprocess.PIPE, capture_output=True, timeout=60, check=False
    )
    assert done.returncode == 0
    assert (tmp_path / "crab.gait.yaml").exists()


def test_on_a_terminal_it_asks_for_what_was_not_said(tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [*COMMAND, "new", "crab", "--sensors", "joint"],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=tmp_path,
    )
    os.close(theirs)
    shown = b""
    for question, answer in [(b"How many legs", b"4\n"), (b"Which joints", b"\n")]:
        while question not in shown:
            shown += os.read(ours, 1000)
        os.write(ours, answer)
    assert process.wait(timeout=60) == 0
    os.close(ours)
    assert b"Which sensors" not in shown
    text = (tmp_path / "crab.machine.yaml").read_text()
    assert "lh" in text and "<leg>_swing" in text


def test_written_files_as_json() -> None:
    whole = json.loads(call("new", "crab", "--json").stdout)
    assert whole["written"] == ["crab.machine.yaml", "crab.gait.yaml"]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert_one_clear_error(
        call("new", "crab", "--in", "workshop"), "there is no folder workshop", "mkdir workshop"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_gait_named_without_its_ending_is_found_again() -> None:
    assert call("new", "crab", "-q").returncode == 0
    assert_one_clear_error(call("plan", "crab"), "did you mean crab.gait.yaml?")
