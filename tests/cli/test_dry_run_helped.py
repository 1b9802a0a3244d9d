"""`dry-run` of a machine that is helped by hand: what it does, and what it says of it."""

import csv
import json
from pathlib import Path

import pytest
from support.commands import assert_one_clear_error, call

GAIT = """
gait: nod
machine:
  tick: 10 ms
  helping: true
  signals: {roll: {unit: deg, span: [-10, 10]}}
  events: [go]
phases:
  stand: {rest: true, leave: [{to: nod, when: {event: go}}]}
  nod: {leave: [{to: stand, when: {signal: roll, above: 5 deg}}], timeout: {after: 100 ms, to: safe}}
  safe: {stop: 1}
"""
ROWS = "time [ms],go,roll,helping.on,helping.stepping,helping.step\n"


@pytest.fixture
def gait(tmp_path: Path) -> Path:
    path = tmp_path / "nod.gait.yaml"
    path.write_text(GAIT)
    return path


def test_with_on_helping_a_timeout_only_warns(gait: Path, tmp_path: Path) -> None:
    recording = tmp_path / "a.csv"
    recording.write_text("time [ms],go,roll\n0,,1\n10,1,1\n300,,1\n310,,6\n")
    alone = call("dry-run", gait, recording, "--executor", "both")
    assert alone.returncode == 1
    assert "nod timed out" in alone.stdout
    done = call("dry-run", gait, recording, "--executor", "both", "--on", "helping")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].endswith("helped by hand: 1 timeout only warned (in nod)")


def test_a_machine_that_follows_can_be_helped_as_well(gait: Path) -> None:
    alone = call("dry-run", gait, "--for", "5s", "--executor", "both")
    assert alone.returncode == 1
    done = call("dry-run", gait, "--for", "5s", "--executor", "both", "--on", "helping")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].endswith("helped by hand: 1 timeout only warned (in nod)")
    gait.write_text(GAIT.replace("  helping: true\n", ""))
    done = call("dry-run", gait, "--on", "helping")
    assert_one_clear_error(done)
    assert "cannot be helped by hand" in done.stderr


def test_single_steps_of_a_recording_are_counted(gait: Path, tmp_path: Path) -> None:
    recording = tmp_path / "a.csv"
    rest = "40,,6,,,\n90,,6,,,1\n100,1,1,,,\n120,,6,,,\n130,,6,,0,\n"
    recording.write_text(f"{ROWS}0,,1,,1,\n10,1,1,,,\n{rest}")
    done = call("dry-run", gait, recording, "--executor", "both", "--json")
    assert done.returncode == 0, done.stderr
    run = json.loads(done.stdout)
    assert [(move["at_ms"], move["to"]) for move in run["transitions"]][1:] == [
        (10, "nod"), (90, "stand"), (100, "nod"), (130, "stand"),
    ]  # fmt: skip
    assert run["summary"].endswith("helped by hand: guards waited 2 times for a step")


def test_every_tick_as_csv_says_what_keeps_the_walk(gait: Path, tmp_path: Path) -> None:
    recording = tmp_path / "a.csv"
    recording.write_text(f"{ROWS}0,,1,1,1,\n10,1,1,,,\n120,,1,,,\n130,,6,,,\n140,,6,,,1\n")
    done = call("dry-run", gait, recording, "--executor", "reference", "--out", "-")
    rows = list(csv.DictReader(done.stdout.splitlines()))
    waits = {row["time_s"]: row["waits"] for row in rows}
    assert [waits[t] for t in ("0.100", "0.110", "0.120", "0.130", "0.140")] == ["0", "1", "1", "2", "0"]


def test_a_machine_that_cannot_be_helped_is_one_clear_error(gait: Path, tmp_path: Path) -> None:
    gait.write_text(GAIT.replace("  helping: true\n", ""))
    (tmp_path / "a.csv").write_text("time [ms],go,roll\n0,,1\n")
    done = call("dry-run", gait, tmp_path / "a.csv", "--on", "helping")
    assert_one_clear_error(done)
    assert "cannot be helped by hand" in done.stderr
