import json
from pathlib import Path

import pytest
from support.commands import STORK, copy_of_the_stork, run

INLINE = """\
gait: crab
machine:
  machine: crab
  tick: 10 ms
  signals:
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}
phases:
  standing:
    rest: true
    set: {bend: 0 mm}
    leave: [{to: lift, when: {event: go}}]
  lift:
    set: {bend: 40 mm}
    leave: [{to: standing, when: {signal: knee, above: LEVEL}}]
    timeout: {after: 3 s, to: safe}
  safe:
    stop: 1
    set: {bend: 0 mm}
    leave: [{to: standing, when: {event: go}}]
anywhere: [{to: safe, when: {any: [{event: halt}, {lost: knee}]}}]
"""


@pytest.fixture
def crab(tmp_path: Path) -> Path:
    path = tmp_path / "crab.gait.yaml"
    path.write_text(INLINE.replace("LEVEL", "20 mm"))
    return path


@pytest.fixture
def stuck_crab(tmp_path: Path) -> Path:
    """A crab whose knee would have to go past the end of its span."""
    path = tmp_path / "stuck.gait.yaml"
    path.write_text(INLINE.replace("LEVEL", "61 mm"))
    return path


def test_a_sound_gait_is_fine(crab: Path) -> None:
    done = run("check", crab)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[-1] == "nothing found"
    assert run("check", crab, "--quiet").stdout == ""


def test_the_stork_has_no_error_and_no_warning() -> None:
    done = run("check", STORK, "--strict")
    assert done.returncode == 0, done.stdout


def test_an_error_is_told_with_its_line_and_a_caret(stuck_crab: Path) -> None:
    done = run("check", stuck_crab)
    assert done.returncode == 1
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0].startswith(f"{stuck_crab}:17:")
    assert " error: " in lines[0]
    assert "above: 61 mm" in lines[1]
    assert lines[2].strip(" |") == "^"
    column = int(lines[0].split(":")[2])
    assert lines[2].index("^") - lines[1].index("|") == column + 1
    assert "\x1b" not in done.stdout


def test_the_same_as_json(stuck_crab: Path) -> None:
    done = run("check", stuck_crab, "--json")
    assert done.returncode == 1
    whole = json.loads(done.stdout)
    assert (whole["document"], whole["version"]) == ("findings", 1)
    first = whole["findings"][0]
    assert first["severity"] == "error"
    assert first["place"]["file"] == str(stuck_crab)
    assert first["place"]["line"] == 17
    assert whole["counts"]["error"] == sum(f["severity"] == "error" for f in whole["findings"])


def test_a_warning_is_an_error_only_if_strict(crab: Path) -> None:
    crab.write_text(crab.read_text().replace("phases:", "counters: [steps]\nphases:"))
    done = run("check", crab)
    assert done.returncode == 0
    assert "warning:" in done.stdout
    assert run("check", crab, "--strict").returncode == 1


def test_a_file_that_cannot_be_read_is_told_with_all_its_errors_and_exit_code_2(crab: Path) -> None:
    crab.write_text(crab.read_text().replace("40 mm", "40 deg").replace("after: 3 s", "afetr: 3 s"))
    done = run("check", crab)
    assert done.returncode == 2
    assert done.stdout.count(" error: ") >= 2
    assert "did you mean" in done.stdout or "after" in done.stdout
    assert json.loads(run("check", crab, "--json").stdout)["counts"]["error"] >= 2


def test_only_the_worst_ten_are_shown_unless_all_are_asked_for(crab: Path) -> None:
    extra = "".join(f"    extra_{i}: {{unit: mm, span: [0, 60], every: 10 ms}}\n" for i in range(14))
    crab.write_text(crab.read_text().replace("  events:", f"{extra}  events:"))
    short, whole = run("check", crab).stdout, run("check", crab, "--all").stdout
    assert short.count(" note: ") == 10
    assert "the first 10 are shown, --all shows the rest" in short
    assert whole.count(" note: ") == 14


def test_another_machine_can_be_given(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    machine = tmp_path / "stork.machine.yaml"
    machine.rename(tmp_path / "other.yaml")
    assert run("check", gait).returncode == 2
    assert run("check", gait, "--machine", tmp_path / "other.yaml").returncode == 0


def test_a_gait_can_come_from_standard_input(crab: Path) -> None:
    done = run("check", "-", text_in=crab.read_text())
    assert done.returncode == 0, done.stdout + done.stderr


def test_colour_only_where_it_is_wanted(stuck_crab: Path) -> None:
    assert "\x1b" not in run("check", stuck_crab, environment={"TERM": "xterm-256color"}).stdout
