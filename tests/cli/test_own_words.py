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
    assert "x.gait.yaml:5:15: error: 'int17' cannot stand under arithmetic" in text
    assert "expected: binary32 or int16" in text
    assert "did you mean int16?" in text


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


def wired(board: str, wiring: str) -> str:
    """Put a wiring into the machine, behind its events."""
    lines = "".join(f"    {line}\n" for line in [f"board: {board}", *wiring.splitlines()])
    return GAIT.replace("parameters:", f"  wiring:\n{lines}parameters:")


@pytest.mark.parametrize(
    ("board", "wiring", "words"),
    [
        (
            "mega2560",
            "console: {baud: 115200, carries: [signal]}",
            ["x.gait.yaml:12:39: error: 'signal' cannot stand under carries", "did you mean signals?"],
        ),
        (
            "mega2560",
            "lines: {a: {port: serial1, fields: 2}}\nsignals: {knee: {line: a, field: 0}}",
            ["x.gait.yaml:13:38: error: field is 0", "expected: at least 1"],
        ),
        (
            "mega2560",
            "lines: {a: {port: serial1, fields: 99}}",
            ["x.gait.yaml:12:40: error: fields is 99", "expected: at most 32"],
        ),
        (
            "'mega 2560'",
            "console: {baud: 9600}",
            ["x.gait.yaml:11:12: error: 'mega 2560' is no name of a board", "write mega2560"],
        ),
        (
            "uno",
            "lines: {a: {port: serial1}}",
            [
                "x.gait.yaml:12:23: error: board uno has no port serial1",
                "write serial; if that is taken, a board",
            ],
        ),
        (
            "mega2560",
            "console: {baud: 9600}\nlines: {a: {port: serial, baud: 57600}}",
            [
                "x.gait.yaml:13:37: error: serial runs at 9600 baud already",
                "leave baud out here, or write 9600",
            ],
        ),
    ],
)
def test_a_slip_in_the_wiring_is_told_with_its_place_and_its_mend(
    board: str, wiring: str, words: list[str], tmp_path: Path
) -> None:
    text = told(wired(board, wiring), tmp_path)
    assert all(word in text for word in words), text
    assert "\n1 error\n" in text


def test_a_port_that_two_share_is_told_with_what_to_do_on_a_board_that_has_no_other(tmp_path: Path) -> None:
    wiring = "console: {baud: 9600}\nlines: {a: {port: serial}}\nsignals: {knee: {line: a}}"
    assert "uno has this port only: let only one" in told(wired("uno", wiring), tmp_path)
    assert "another port; if there is none" in told(wired("mega2560", wiring), tmp_path)


def test_check_tells_of_what_has_no_wire_and_notes_what_comes_over_the_console_only(tmp_path: Path) -> None:
    text = told(wired("mega2560", "console: {baud: 115200}"), tmp_path)
    assert "x.gait.yaml:6:5: warning: knee has no wire" in text
    assert "x.gait.yaml:7:12: note: go has no wire: it comes over the console only" in text


def test_a_remote_without_a_port_is_told_with_one_that_the_board_has(tmp_path: Path) -> None:
    text = wired("uno", "console: {baud: 115200}").replace(
        "  events: [go]\n", "  events: [go]\n  remote: {carries: [go], every: 100 ms, lost_after: 500 ms}\n"
    )
    text = told(text, tmp_path)
    assert "nothing says where the remote is heard" in text
    assert "remote: {port: serial}" in text


def test_two_signals_under_one_hold_have_and_one_has(tmp_path: Path) -> None:
    slow = GAIT.replace("every: 10 ms", "every: 50 ms").replace(
        "  events:", "    hip: {unit: mm, span: [0, 60], every: 50 ms, lost_after: 200 ms}\n  events:"
    )
    both = "{all: [{event: go}, {signal: knee, above: 5 mm}, {signal: hip, above: 5 mm}]}"
    text = told(slow.replace("{event: go}}]", f"{both}, hold: 20 ms}}]"), tmp_path)
    assert "knee and hip have a sample every 50 ms only" in text
    text = told(slow.replace("{event: go}}]", "{signal: knee, above: 5 mm}, hold: 20 ms}]"), tmp_path)
    assert "knee has a sample every 50 ms only" in text


def test_what_a_machine_file_lacks_for_a_program_is_told_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "x.gait.yaml"
    path.write_text(GAIT, encoding="utf-8")
    done = call("generate", path, "--target", "board", "-o", tmp_path / "out")
    assert_one_clear_error(
        done, "x.gait.yaml:1:1: machine crab does not say what is connected", "write it in"
    )
    assert not (tmp_path / "out").exists()
