"""`sequencer rounding`: which decisions differ in int16, on the command line."""

import json
import re
from pathlib import Path

import pytest
from support.commands import STORK, assert_one_clear_error, call
from support.whole_stork import whole_stork_file

NEAR = """gait: nod
machine:
  machine: tortoise
  tick: 10 ms
  arithmetic: int16
  signals:
    tilt: {unit: deg, span: [-30, 30], resolution: 0.1 deg}
  events: [go]
phases:
  still:
    rest: true
    leave: [{to: up, when: {event: go}}]
  up:
    leave: [{to: still, when: {signal: tilt, at_least: 5 deg}}]
    timeout: {after: 10 s, to: safe}
  safe: {stop: 2, leave: [{to: still, when: {event: go}}]}
rules:
  - {name: low, must: {signal: tilt, below: 20 deg}}
"""
# 4.96 deg is 5.0 deg in tenths, 4.94 deg is not; the rule's 19.97 deg is 20.0 deg
TRACE = """time,tilt,go
0.01,0,0
0.02,0,1
0.03,4.94,0
0.04,4.96,0
0.05,4.97,0
0.06,5.01,0
0.07,19.97,0
0.08,1,0
"""


@pytest.fixture
def near(tmp_path: Path) -> tuple[Path, Path]:
    gait, trace = tmp_path / "nod.gait.yaml", tmp_path / "near.csv"
    gait.write_text(NEAR, encoding="utf-8")
    trace.write_text(TRACE, encoding="utf-8")
    return gait, trace


def test_each_guard_that_decides_differently_is_told_with_first_tick_distance_and_count(
    near: tuple[Path, Path],
) -> None:
    done = call("rounding", *near)
    assert done.returncode == 1
    assert done.stdout.splitlines() == [
        "up, guard 1: tilt is at least 5 deg",
        "    in one tick, first at 0.04 s: int16 true (by 0 deg), binary32 false (by 0.04 deg)",
        "rule low: tilt is below 20 deg",
        "    in one tick, first at 0.07 s: int16 broken (by 0 deg), binary32 kept (by 0.03 deg)",
        "still by guard 1 at 0.04 s comes 20 ms earlier in int16",
        "2 guards decided differently in int16; transitions: 1 earlier, 0 later: 8 ticks and 3 transitions "
        "compared",
    ]


def test_nothing_is_told_where_nothing_differs(near: tuple[Path, Path]) -> None:
    gait, trace = near
    trace.write_text(re.sub(r",(4.9\d|19.97)", ",3", TRACE), encoding="utf-8")
    done = call("rounding", gait, trace)
    assert (done.returncode, done.stdout) == (0, "no decision differs: 8 ticks and 3 transitions compared\n")


def test_walks_that_part_are_told(near: tuple[Path, Path]) -> None:
    gait, trace = near
    trace.write_text(TRACE.replace("5.01", "4.9").replace("19.97", "4.8"), encoding="utf-8")
    done = call("rounding", gait, trace)
    assert (
        "from here on they part: int16 has still by guard 1 at 0.04 s, binary32 has no further transition"
        in done.stdout
    )
    assert done.returncode == 1


def test_the_json_document_holds_all_of_it(near: tuple[Path, Path]) -> None:
    found = json.loads(call("rounding", *near, "--json").stdout)
    assert (found["document"], found["differs"], found["ticks"]) == ("rounding", True, 8)
    guard, rule = found["decisions"]
    assert (guard["where"], guard["ticks"], guard["at_ms"], guard["margin_binary32"]) == (
        "up, guard 1", 1, 40, pytest.approx(-0.04, abs=1e-6),
    )  # fmt: skip
    assert rule["kind"] == "rule"
    assert found["shifts"] == [{"to": "still by guard 1", "at_ms": 40, "later_ms": -20}]


def test_without_a_recording_the_stork_follows(tmp_path: Path) -> None:
    done = call("rounding", whole_stork_file(tmp_path), "--for", "20s")
    assert done.returncode in {0, 1}
    assert "2000 ticks" in done.stdout.splitlines()[-1]


def test_a_machine_in_binary32_is_told_what_to_write() -> None:
    done = call("rounding", STORK)
    assert_one_clear_error(done)
    assert "arithmetic: int16" in done.stderr


def test_what_cannot_go_together_is_refused(near: tuple[Path, Path]) -> None:
    assert_one_clear_error(call("rounding", "-", near[1]))
    assert_one_clear_error(call("rounding", near[0], "--map", "tilt=x"))
    assert_one_clear_error(call("rounding", *near, "--seed", "3"))


def test_dry_run_counts_in_steps_as_the_file_says(near: tuple[Path, Path]) -> None:
    """In both executors, which agree to the bit: up is left at 4.96 deg, which is 5.0 deg in tenths."""
    done = call("dry-run", *near, "--executor", "both", "--all")
    assert "both executors agreed to the bit in all 8 ticks" in done.stderr
    assert re.search(r"0\.04 s +still", done.stdout)
