"""What people get wrong often is told in our words, with what was expected, and once."""

from pathlib import Path

import pytest
from support.commands import STORK, assert_one_clear_error, call

GAIT = """\
gait: x
machine:
  machine: crab
  tick: 10 ms
  signals:
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
  events: [go]
  setpoints:
    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}
parameters:
  lift: {unit: mm, value: 40, span: [0, 55]}
phases:
  standing:
    rest: true
    leave: [{to: standing, when: {event: go}}]
"""


def told(text: str, folder: Path) -> str:
    path = folder / "x.gait.yaml"
    path.write_text(text, encoding="utf-8")
    done = call("check", path)
    assert "Input should" not in done.stdout + done.stderr
    return done.stdout


def test_a_word_that_is_not_one_of_those_known_is_told_with_them(tmp_path: Path) -> None:
    text = told(GAIT.replace("tick: 10 ms", "tick: 10 ms\n  arithmetic: int17"), tmp_path)
    assert "x.gait.yaml:5:15: error: arithmetic cannot be this" in text
    assert "expected: binary32 or int16" in text


@pytest.mark.parametrize("whose", ["value: 40, span: [0, 55]", "span: [0, 55], rate: 60 mm/s, start: 0 mm"])
def test_a_span_turned_round_is_told_as_that_and_nothing_else(whose: str, tmp_path: Path) -> None:
    text = told(GAIT.replace(whose, whose.replace("[0, 55]", "[55, 0]")), tmp_path)
    assert "the span [55, 0] is empty" in text
    assert "outside the span" not in text
    assert "\n1 error\n" in text


def test_a_planted_fault_needs_its_unit() -> None:
    done = call("dry-run", STORK, "--fault", "left_knee:limit=5", "--for", "1s")
    assert_one_clear_error(done, "limit of left_knee: 5 has no unit", "give it in mm")


def test_a_file_where_a_folder_is_needed_is_told_as_that(tmp_path: Path) -> None:
    taken = tmp_path / "out"
    taken.write_text("mine")
    assert_one_clear_error(call("generate", STORK, "-o", taken), "is a file", "the name of a folder")
    assert_one_clear_error(call("generate", STORK, "-o", taken / "deeper"), "is a file", "a folder")
    assert taken.read_text() == "mine"


def test_a_text_that_is_no_recording_is_told_what_could_be_given(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("shopping list\nmilk\n")
    assert_one_clear_error(call("dry-run", STORK, notes), "no time column", "telemetry log")


def test_check_tells_of_telemetry_that_does_not_fit(tmp_path: Path) -> None:
    wiring = (
        "  wiring:\n    board: mega2560\n    console: {baud: 1200, telemetry: 10 ms}\n"
        "    signals: {knee: {analog: A0}}\n"
    )
    text = told(GAIT.replace("parameters:", f"{wiring}parameters:"), tmp_path)
    assert "telemetry takes up to" in text
    assert "baud" in text
