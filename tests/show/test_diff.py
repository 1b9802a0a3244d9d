"""Diffs that `patch` can use; reference: GNU patch."""

import subprocess
from pathlib import Path

import pytest

from sequencer.show.diff import diff_text
from sequencer.show.text import Style

BEFORE = "a: 1\nb: 2\n" + "".join(f"c{i}: {i}\n" for i in range(20))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (BEFORE, BEFORE.replace("b: 2", "b: 3")),
        (BEFORE, BEFORE.replace("c9: 9\n", "c9: 9\nnew: 1\n").replace("a: 1", "a: 2")),
        (BEFORE.rstrip("\n"), BEFORE.rstrip("\n") + "\nend: 1"),
        (BEFORE.replace("\n", "\r\n"), BEFORE.replace("b: 2", "b: 3").replace("\n", "\r\n")),
        ("ü: \u202e1\n", "ü: \u202e2\n"),
    ],
    ids=["one", "two", "no line end", "crlf", "odd"],
)
def test_patch_makes_the_one_text_of_the_other(before: str, after: str, tmp_path: Path) -> None:
    path = tmp_path / "x.yaml"
    path.write_bytes(before.encode())
    diff = diff_text("x.yaml", before, after)
    subprocess.run(
        ["patch", "-p0", "--binary"], cwd=tmp_path, input=diff.encode(), check=True, capture_output=True
    )
    assert path.read_bytes() == after.encode()


def test_equal_texts_make_no_diff() -> None:
    assert diff_text("x.yaml", BEFORE, BEFORE) == ""


def test_on_a_terminal_nothing_moves_the_cursor_or_turns_the_reading_direction() -> None:
    text = diff_text("x\x1b[2J.yaml", "a: \u202e1\n", "a: \u202e2\n", Style(colour=True), safe=True)
    assert "\u202e" not in text
    assert "\x1b[2J" not in text
    assert "\x1b[32m+a: 2\x1b[0m" in text
