"""A recording that cannot be used gives one error that says where, what was expected and what to do."""

import gzip
import io
import os
from pathlib import Path

import pytest
from support.trace_plans import plan, signal

from sequencer.base.errors import TraceError
from sequencer.trace import csv_text
from sequencer.trace.read import open_trace

PLAN = plan(signal("roll"), signal("knee", "mm", scaled=True))

# name: (the file's bytes, line, column, a part of the message, a part of what is expected or of the hint)
BAD: dict[str, tuple[bytes, int, int, str, str]] = {
    "empty": (b"", 1, 1, "the file is empty", "column names"),
    "header only": (b"time,roll\n", 2, 1, "a header but no row", "at least one row"),
    "header and empty lines": (b"time,roll\n\n\r\n", 2, 1, "a header but no row", "at least one row"),
    "no time column": (b"clock,roll\n0,1\n", 1, 1, "no time column", "time=THEIR_NAME"),
    "a time column by another name": (
        b"roll,Timestamp_ms\n0,1\n",
        1,
        1,
        "no time column",
        "time=Timestamp_ms",
    ),
    "no header": (b"0.01,2\n0.02,3\n", 1, 1, "holds numbers", "write a line with the names"),
    "no header, numbers alike": (b"0,0\n0.02,3\n", 1, 1, "holds numbers", "write a line with the names"),
    "a spreadsheet's remark": (b"sep=;\ntime;roll\n0;1\n", 1, 1, "sep=", "take this line out"),
    "a word for an event": (b"time,roll,go\n0,1,False\n", 2, 5, '"False" in column go', "write 0"),
    "two time columns": (b"time,roll,t\n0,1,2\n", 1, 11, "both look like the time", "map time="),
    "a column twice": (b"time,roll,knee,roll\n0,1,2,3\n", 1, 16, "roll stands here twice", "column 2"),
    "twice with other units": (b"time,roll [deg],roll [rad]\n", 1, 17, "roll stands here twice", "once"),
    "an unused column twice": (b"time,a,roll,a\n0,1,2,3\n", 1, 13, "a stands here twice", "another name"),
    "a time in hours": (b"time [h],roll\n0,1\n", 1, 1, "time [h]", "s, ms or us"),
    "a time in two units": (b"time_ms [s],roll\n0,1\n", 1, 1, "time_ms [s]", "s, ms or us"),
    "the wrong unit": (
        b"time,roll [V]\n0,1\n",
        1,
        6,
        "V (voltage) cannot be turned into deg",
        "deg or a unit",
    ),
    "an unknown unit": (b"time,roll [ells]\n0,1\n", 1, 6, "'ells' is not a unit", "deg or a unit"),
    "a unit on counts": (b"time,knee [mm]\n0,1\n", 1, 6, "raw is counts, not mm", "knee.value [mm]"),
    "a unit on an event": (b"time,go [V]\n0,1\n", 1, 6, "holds 0 or 1", "without a unit"),
    "an open quote in the header": (b'time,"roll\n0,1\n', 1, 6, "not closed", "close it"),
    "time going backwards": (
        b"time,roll\n0,1\n0.02,1\n\n0.01,1\n",
        5,
        1,
        "backwards: 0.01 s after 0.02",
        "sort",
    ),
    "a jump of a day": (
        b"time,roll\n0,1\n86400.1,1\n",
        3,
        1,
        "jumps by 24.0 h",
        "the right one (s, ms or us)",
    ),
    "no time in a row": (b"roll,time\n1,0\n22,\n", 3, 4, "no time", "fill in its time"),
    "a time that is no number": (b"time,roll\nnow,1\n", 2, 1, '"now" in column time', "a number"),
    "a date": (
        b"time,roll\n2026-01-31 12:00,1\n",
        2,
        1,
        "is not a number",
        "from the start of the recording",
    ),
    "an endless time": (b"time,roll\ninf,1\n", 2, 1, "inf is no time", "finite"),
    "a huge time": (b"time,roll\n1e30,1\n", 2, 1, "too large", "unit"),
    "a time out of binary64 in us": (b"time,roll\n1e305,1\n", 2, 1, "inf is no time", "unit"),
    "NaN": (b"time,roll\n0,1\n0.01,NaN\n", 3, 6, "nan in column roll", "leave the cell empty"),
    "infinity": (b"time,roll\n0,-inf\n", 2, 3, "-inf in column roll", "leave the cell empty"),
    "a number out of binary64": (b"time,roll\n0,1e999\n", 2, 3, "inf in column roll", "finite"),
    "NaN among text that is no number": (b"time,roll\n0,nan\n1,x\n", 2, 3, "nan", "leave the cell empty"),
    "text": (b"time,roll\n0,1\n0.01,high\n", 3, 6, '"high" in column roll', "a decimal point"),
    "text after wide letters": (
        "time,note,roll\n0,\u00fc\u00fc,high\n".encode(),
        2,
        6,
        '"high"',
        "decimal point",
    ),
    "a space": (b"time,roll,knee\n0, ,1\n", 2, 3, "a space in column roll", "leave the cell empty"),
    "a hexadecimal": (b"time,roll\n0,0x10\n", 2, 3, '"0x10"', "decimal point"),
    "decimal commas": (b"time;roll\n0;1,5\n", 2, 3, '"1,5"', "write 1.5"),
    "decimal commas between commas": (b"time,roll\n0,1,5\n", 2, 5, "too long: 3 cells", "write 1.5, not 1,5"),
    "an event that is 2": (b"time,go\n0,0\n1,2\n", 3, 3, "2 stands in the column of event go", "0 or 1"),
    "a switch that is a half": (b"time,walk\n0,0.5\n", 2, 3, "switch walk", "0 or 1"),
    "a short row": (
        b"time,roll,knee\n0,1,2\n0.01,1\n0.02,1,2\n",
        3,
        7,
        "short: 2 cells",
        "3, as in the first",
    ),
    "a long row": (b"time,roll\n0,1\n0.01,1,2\n", 3, 8, "too long: 3 cells", "2, as in the first"),
    "cut off": (
        b"time,roll,knee\n0,1,2\n0.01,1",
        3,
        7,
        "cut off in this row: 2 cells",
        "copy the file again",
    ),
    "another delimiter below": (b"time,roll\n0;1\n", 2, 4, "short: 1 cell", "2, as in the first"),
    "not UTF-8": (b"time,note\n0,gr\xfc\xdf\n", 2, 5, "byte 0xfc is not UTF-8", "CSV UTF-8"),
    "not UTF-8 in the header": (b"time,\xb0C,roll\n", 1, 6, "byte 0xb0 is not UTF-8", "CSV UTF-8"),
    "UTF-16": ("\ufefftime,roll\n0,1\n".encode("utf-16-le"), 1, 1, "UTF-16", "UTF-8"),
    "UTF-16 big end first": ("\ufefftime,roll\n".encode("utf-16-be"), 1, 1, "UTF-16", "UTF-8"),
    "UTF-16 without a mark": ("time,roll\n".encode("utf-16-le"), 1, 2, "zero bytes", "UTF-8"),
    "gzip by mistake": (gzip.compress(b"time,roll\n0,1\n"), 1, 1, "compressed with gzip", "gunzip"),
    "a zip archive": (b"PK\x03\x04\x14\x00", 1, 1, "spreadsheet or a zip", "save the table as CSV"),
    "an open quote": (b'time,note,roll\n0,"x,1\n0.01,y",2\n', 2, 3, "not closed", "line breaks"),
    "old line ends": (b"time,roll\r0,1\r", 1, 10, "carriage return", "Unix or Windows"),
    "old line ends below": (b"time,roll\n0,1\r0.01,2\n", 2, 4, "carriage return", "Unix or Windows"),
    "an endless header": (b"time," + b"x" * 2_000_000, 1, 1, "longer than 1,048,576 bytes", "CSV"),
    "an endless line": (b"time,roll\n0,1\n0.01," + b"1" * 2_000_000, 3, 1, "longer than", "one row a line"),
    "an endless line within": (b"time,roll\n0," + b"1" * 1_100_000 + b"\n1,2\n", 2, 1, "longer than", "CSV"),
    "an endless blank": (b"time,roll\n0,1\n" + b" " * 5_000_000, 3, 1, "longer than", "CSV"),
}


def error_of(source: object) -> TraceError:
    with pytest.raises(TraceError) as caught, open_trace(source, PLAN) as opened:  # type: ignore[arg-type]
        list(opened)
    return caught.value


def check(error: TraceError, file: str, what: tuple[bytes, int, int, str, str]) -> None:
    _, line, column, message, help_ = what
    assert (error.place.file, error.place.line, error.place.column) == (file, line, column), error.message
    assert message in error.message
    assert help_ in f"{error.message} | {error.expected} | {error.hint}"
    assert error.expected


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_told_with_its_place(name: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(BAD[name][0])
    check(error_of(path), str(path), BAD[name])


@pytest.mark.parametrize("name", BAD)
def test_a_bad_stream_is_told_with_its_place(name: str) -> None:
    check(error_of(io.BytesIO(BAD[name][0])), "<stdin>", BAD[name])


@pytest.mark.parametrize("name", BAD)
def test_the_place_is_right_in_a_later_piece_of_the_file(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csv_text, "PIECE_BYTES", 7)
    check(error_of(io.BytesIO(BAD[name][0])), "<stdin>", BAD[name])


def test_the_place_is_right_far_down_a_long_file(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    rows = "".join(f"{k},{k % 7}\r\n" for k in range(1_000_000))
    path.write_text("time_ms,roll\r\n" + rows + "1000000,1\n1000001,x\n", newline="")
    assert path.stat().st_size > 2 * csv_text.PIECE_BYTES
    error = error_of(path)
    assert (error.place.line, error.place.column) == (1_000_003, 9)


def test_good_blocks_before_the_fault_are_still_given_out() -> None:
    opened = open_trace(io.BytesIO(b"time,roll\n0,1\n" + b"0.01,1\n" * 700_000 + b"5,x\n"), PLAN)
    blocks = iter(opened)
    assert len(next(blocks)) == 1
    with pytest.raises(TraceError, match='"x" in column roll'):
        list(blocks)


def test_what_is_no_regular_file_is_refused_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path, said in (
        (tmp_path, "it is a directory"),
        (pipe, "not a regular file"),
        (Path("/dev/zero"), "not a regular file"),
    ):
        error = error_of(path)
        assert said in error.message
        assert str(error.place) == f"{path}:1:1"
        assert "standard input" in error.hint


def test_a_file_that_is_not_there_is_told_with_one_that_is(tmp_path: Path) -> None:
    (tmp_path / "walk_1.csv").touch()
    error = error_of(tmp_path / "walk1.csv")
    assert "No such file" in error.message
    assert error.hint == "did you mean walk_1.csv?"
    assert error_of(tmp_path / "no folder" / "x.csv").hint == ""
    assert "too long" in error_of(tmp_path / ("x" * 300)).message
