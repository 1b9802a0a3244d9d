import gzip
from pathlib import Path

import pytest

from sequencer.base.errors import DifferenceError, FileErrors, MisuseError, ToolError, TraceError
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import NOWHERE, Place
from sequencer.show.terminal import Sources, caret_lines, count_text, error_text, finding_text, findings_text
from sequencer.show.text import PLAIN, Style


def finding(place: Place, **more: object) -> Finding:
    return Finding("dead-end", Severity.ERROR, place, "no guard leads out of lift", **more)  # type: ignore[arg-type]


@pytest.fixture
def gait(tmp_path: Path) -> str:
    path = tmp_path / "a.gait.yaml"
    path.write_text("gait: a\nphases:\n  lift: {}\n", encoding="utf-8")
    return str(path)


def test_a_finding_has_its_place_its_line_and_a_caret_under_the_column(gait: str) -> None:
    text = finding_text(
        finding(Place(gait, 3, 3), expected="a way out", example="knee 3 mm", fix="add leave:"), Sources()
    )
    assert text.splitlines() == [
        f"{gait}:3:3: error: no guard leads out of lift [dead-end]",
        "  3 |   lift: {}",
        "    |   ^",
        "    expected: a way out",
        "    for example: knee 3 mm",
        "    fix: add leave:",
    ]


def test_notes_say_where_they_belong(gait: str) -> None:
    text = finding_text(finding(Place(gait, 3, 3), notes=((Place(gait, 1, 1), "the gait"),)), Sources())
    assert text.splitlines()[-1] == f"    see {gait}:1:1: the gait"


def test_a_place_without_a_file_or_with_a_file_that_is_gone_still_prints(tmp_path: Path) -> None:
    assert finding_text(finding(NOWHERE), Sources()) == "error: no guard leads out of lift [dead-end]"
    gone = Place(str(tmp_path / "gone.yaml"), 4, 2)
    assert finding_text(finding(gone), Sources()) == f"{gone}: error: no guard leads out of lift [dead-end]"
    beyond = Place(__file__, 100_000, 1)
    assert len(finding_text(finding(beyond), Sources()).splitlines()) == 1
    folder = Place(str(tmp_path), 1, 1)
    assert len(finding_text(finding(folder), Sources()).splitlines()) == 1


@pytest.mark.parametrize(
    ("line", "column", "under"),
    [
        ("set: {lean: 5}", 7, "lean: 5}"),
        ("\tset: 1", 2, "set: 1"),
        ("a: 左膝 x", 7, "x"),
        ("a\u202e: \x1b[1mx", 9, "x"),
        ("e\u0301 x", 4, "x"),
    ],
)
def test_the_caret_stands_under_its_character(line: str, column: int, under: str) -> None:
    from rich.cells import cell_len

    text, caret = caret_lines(line, column)
    assert caret.strip() == "^"
    before = text[: text.index(under)]
    assert cell_len(before) == len(caret) - 1


def test_a_long_line_is_cut_around_the_caret() -> None:
    line = "x" * 3000 + "HERE" + "y" * 3000
    text, caret = caret_lines(line, 3001)
    assert len(text) <= 101
    assert text.startswith("…") and text.endswith("…")
    assert text[len(caret) - 1 :].startswith("HERE")


def test_a_column_past_the_end_of_the_line_points_behind_it() -> None:
    assert caret_lines("ab", 9) == ("ab", "  ^")


def test_hostile_names_do_not_reach_the_terminal(gait: str) -> None:
    bad = Finding(
        "x", Severity.ERROR, Place(gait + "\x1b[2J", 1, 1), "name \x1b]0;title\x07 \u202eabc", fix="\x9bm"
    )
    assert "\x1b" not in finding_text(bad, Sources())
    assert "\u202e" not in finding_text(bad, Sources())


def test_findings_are_cut_at_the_most_and_counted_in_full(gait: str) -> None:
    several = [finding(Place(gait, 3, 3)) for _ in range(12)]
    text = findings_text(several, most=10)
    assert text.count("[dead-end]") == 10
    assert text.splitlines()[-1] == "12 errors; the first 10 are shown, --all shows the rest"


def test_counts_are_in_words() -> None:
    note = Finding("order", Severity.NOTE, NOWHERE, "both can be true")
    assert count_text([finding(NOWHERE), note]) == "1 error, 1 note"
    assert count_text([]) == "nothing found"


def test_a_trace_error_shows_the_row(tmp_path: Path) -> None:
    walk = tmp_path / "walk.csv"
    walk.write_text("time,left\n20,1\n10,2\n", encoding="utf-8")
    error = TraceError(
        "time goes backwards", Place(str(walk), 3, 1), expected="rising times", hint="sort the rows"
    )
    lines = error_text(error).splitlines()
    assert lines[0].endswith("error: time goes backwards")
    assert lines[1] == "  3 | 10,2"
    assert lines[2] == "    | ^"
    assert lines[3:] == ["    expected: rising times", "    fix: sort the rows"]


def test_other_errors_are_one_line_and_their_hint() -> None:
    assert error_text(MisuseError("no such code")) == "error: no such code"
    assert error_text(MisuseError("no such code", hint="try x")) == "error: no such code\n    fix: try x"
    tool = error_text(ToolError("g++ failed", output="line 1\nline \x1b[31m2"))
    assert tool == "error: g++ failed\n    line 1\n    line [31m2"
    assert error_text(DifferenceError("they differ", "tick 4\na b")) == "error: they differ\ntick 4\na b"


def test_a_files_errors_are_all_told(gait: str) -> None:
    errors = FileErrors([finding(Place(gait, 3, 3)), finding(Place(gait, 1, 1))])
    assert error_text(errors).splitlines()[-1] == "2 errors"


def test_colour_marks_the_severity(gait: str) -> None:
    text = finding_text(finding(Place(gait, 3, 3)), Sources(), Style(colour=True))
    assert "\x1b[31;1merror:\x1b[0m" in text


def test_the_line_of_a_packed_file_is_not_printed(tmp_path: Path) -> None:
    packed = tmp_path / "walk.csv"
    packed.write_bytes(gzip.compress(bytes(range(256)) * 20))
    text = error_text(TraceError("this file is compressed", Place(str(packed), 1, 1)), PLAIN)
    assert "|" not in text
    packed.write_bytes(b"time,left\n0,\xff\n")
    text = error_text(TraceError("byte 0xff is not UTF-8", Place(str(packed), 2, 3)), PLAIN)
    assert "2 |" in text
