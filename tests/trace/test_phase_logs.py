"""Logs of any program: which column is what, what cells hold, and what cannot be read."""

import io
from pathlib import Path

import numpy as np
import pytest

from sequencer.base.errors import TraceError
from sequencer.trace import csv_text
from sequencer.trace.phase_log import LogRows, PhaseLog


def log(text: str | bytes, **mapping: str) -> PhaseLog:
    return PhaseLog(io.BytesIO(text if isinstance(text, bytes) else text.encode()), mapping)


def rows(its: PhaseLog) -> LogRows:
    [batch] = its.batches()
    return batch


def phases(its: PhaseLog) -> list[str]:
    return [its.phases[0][code] for code in rows(its).phases[0]]


@pytest.mark.parametrize(
    ("header", "cell", "us"),
    [
        ("time", "1.5", 1_500_000),
        ("Time", "1.5", 1_500_000),
        ("t", "1.5", 1_500_000),
        ("time [ms]", "1.5", 1_500),
        ("Time (ms)", "1.5", 1_500),
        ("time_us", "15", 15),
        ("TIME_MS", "2", 2_000),
        ("millis", "7", 7_000),
        ("micros", "7", 7),
    ],
)
def test_time_is_read_in_its_unit(header: str, cell: str, us: int) -> None:
    assert rows(log(f"{header},phase\n{cell},a\n")).at_us.tolist() == [us]


def test_phases_are_numbered_as_they_come_and_an_empty_cell_means_as_before() -> None:
    its = log("time,phase\n0,stand\n1,\n2,lift left\n3,stand\n4,\n")
    assert phases(its) == ["stand", "stand", "lift left", "stand", "stand"]
    assert its.phases == [["stand", "lift left"]]


def test_before_the_first_phase_there_is_one_that_says_so() -> None:
    assert phases(log("time,phase\n0,\n1,nan\n2,up\n")) == ["(not told yet)", "(not told yet)", "up"]


def test_whole_numbers_are_phases_however_they_are_written() -> None:
    assert phases(log("time,phase\n0,3\n1,3.0\n2,03\n3,+3\n4,-1\n5,2.5\n")) == [
        "3",
        "3",
        "3",
        "3",
        "-1",
        "2.5",
    ]


def test_several_sequences_each_have_their_phase_and_cause() -> None:
    its = log("time,left.phase,right.phase,left.cause\n0,a,b,\n1,c,b,go\n")
    assert [s.name for s in its.sequences] == ["left", "right"]
    batch = rows(its)
    assert its.phases == [["a", "c"], ["b"]]
    assert batch.causes == [["", "go"], None]


def test_numbers_empty_cells_and_words_for_none_are_told_apart() -> None:
    its = log("time,phase,x,y\n0,a,1.5,NA\n1,a,,2\n2,a,nan,null\n3,a,-inf,4\n4,a,2e3,5\n")
    batch = rows(its)
    x, y = batch.numbers
    assert x[[0, 4]].tolist() == [1.5, 2000]
    assert np.isnan(x[1:4]).all()
    assert batch.empty[0] is not None and batch.empty[1] is not None
    assert batch.empty[0].tolist() == [False, True, False, False, False]
    assert batch.empty[1].tolist() == [True, False, True, False, False]
    assert y[[1, 3, 4]].tolist() == [2, 4, 5]


def test_on_and_off_in_words_are_one_and_zero() -> None:
    its = log("time,phase,touch,pin\n0,a,true,HIGH\n1,a,False,low\n2,a,TRUE,\n")
    touch, pin = rows(its).numbers
    assert touch.tolist() == [1, 0, 1]
    assert pin[:2].tolist() == [1, 0]


def test_a_column_of_text_is_left_out_and_named() -> None:
    its = log("time,phase,note,x\n0,a,started,1\n1,a,,2\n")
    assert [c.name for c in its.columns] == ["x"]
    assert its.doubts.text == ["note"]


def test_cells_that_are_no_numbers_count_as_none_and_are_counted() -> None:
    its = log("time,phase,x\n" + "0,a,1\n" * 5 + "0,a,ERR\n0,a,0x1F\n")
    numbers = rows(its).numbers[0]
    assert np.isnan(numbers).tolist() == [False] * 5 + [True, True]
    assert its.doubts.cells == {"x": 2}


def test_text_that_first_comes_in_a_later_part_of_the_file_is_counted_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(csv_text, "PIECE_BYTES", 16)
    text = "time,phase,x,y\n" + "".join(f"{i},a,{i},1\n" for i in range(40)) + "40,b,ovf,2\n41,b,41,3\n"
    its = log(text)
    for _ in range(2):  # the second time through tells the same
        x = np.concatenate([batch.numbers[0] for batch in its.batches()])
        assert x[:40].tolist() == list(range(40)) and np.isnan(x[40]) and x[41] == 41
        assert its.doubts.cells == {"x": 1}


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_commas_are_read_where_they_do_not_cut_cells(delimiter: str) -> None:
    text = "time [s];phase;knee [mm]\r\n0,5;a;1,25\r\n1;b;-,5\r\n".replace(";", delimiter)
    batch = rows(log("\ufeff" + text))
    assert batch.at_us.tolist() == [500_000, 1_000_000]
    assert batch.numbers[0].tolist() == [1.25, -0.5]


def test_semicolons_with_decimal_points_stay_what_they_are() -> None:
    assert rows(log("time;phase;x\n0.5;a;1.25\n")).numbers[0].tolist() == [1.25]


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("knee [mm]", "mm"),
        ("knee (°)", "deg"),
        ("left_gyr_x_deg_s", "deg/s"),
        ("acc_m_s2", "m/s2"),
        ("battery_V", "V"),
        ("left_knee_deg", "deg"),
        ("battery", ""),
        ("team", ""),
        ("x_v", ""),
    ],
)
def test_units_stand_in_brackets_or_at_the_end_of_a_name(header: str, unit: str) -> None:
    assert log(f"time,phase,{header}\n0,a,1\n").columns[0].unit == unit


def test_a_row_with_too_many_or_too_few_cells_is_left_out_and_told() -> None:
    its = log("time,phase,x\n0,a,1\n# reset\n1,a,2,3\n2,b,4\n3,b\n3,b,5\n4,b,6\n")
    assert rows(its).at_us.tolist() == [0, 2_000_000, 3_000_000, 4_000_000]
    assert its.doubts.rows == 3
    assert its.doubts.first_row == "line 3: 1 cell where the header has 3"


def test_a_column_can_be_called_by_another_name() -> None:
    its = log(
        "ms since start,state,in3\n5,up,1\n",
        time="ms since start",
        phase="state",
        left_touch="in3",
    )
    assert phases(its) == ["up"]
    assert [c.name for c in its.columns] == ["left_touch"]


def test_two_logs_can_number_their_phases_alike() -> None:
    first, second = log("time,phase\n0,a\n1,b\n"), log("time,phase\n0,b\n1,c\n")
    rows(first)
    second.take_phases(first)
    assert phases(second) == ["b", "c"]
    assert second.phases == [["a", "b", "c"]]


BAD = {
    "empty": ("", "the file is empty"),
    "only a header": ("time,phase\n", "there is a header but no row"),
    "no phase": ("time,state,x\n0,a,1\n", "has no column phase"),
    "no time": ("phase,x\na,1\n", "there is no time column"),
    "twice": ("time,phase,x,x\n0,a,1,1\n", "column x stands here twice"),
    "numbers for a header": ("0,1,2\n1,2,3\n", "the first line holds numbers"),
    "falls": ("time,phase\n1,a\n0.5,b\n", "time goes backwards: 0.5 s after 1 s"),
    "no time in a row": ("time,phase\n1,a\n,b\n", "this row has no time"),
    "a time of day": ("time,phase\n12:30:05,a\n", '"12:30:05" in column time is not a number'),
    "a header amid": ("time,phase\n0,a\ntime,phase\n1,a\n", '"time" in column time is not a number'),
    "endless time": ("time,phase\ninf,a\n", "is no time"),
    "latin-1": (b"time,phase,knee\n0,a\xe4,1\n", "byte 0xe4 is not UTF-8"),
    "utf-16": ("time,phase\n0,a\n".encode("utf-16"), "UTF-16"),
    "gzip": (b"\x1f\x8b\x08\x00", "compressed with gzip"),
    "parquet": (b"PAR1abc", "Parquet"),
    "an open quote": ('time,phase\n0,"a\n1,b\n', "quotation mark is not closed"),
    "a lone return": (b"time,phase\n0,a\rb\n", "carriage return"),
    "decimal commas cut cells": ("time,phase,x\n0,a,1,5\n1,a,1,5\n", "this row is too long: 4 cells"),
    "one long text": ("time,phase\n" + "0," + "a" * (1 << 20) + "\n", "a text of 1,048,576 characters"),
    "measured numbers": (
        "time,phase\n" + "".join(f"{i},{i}.5\n" for i in range(300)),
        "column phase holds more than 255 different values, such as",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_read_is_one_error_with_its_place(name: str) -> None:
    text, said = BAD[name]
    with pytest.raises(TraceError) as raised:
        rows(log(text))
    assert said in raised.value.message
    assert raised.value.place.line >= 1
    assert raised.value.expected or raised.value.hint or name == "latin-1"


def test_the_error_about_no_phase_says_both_ways_and_names_the_likely_column() -> None:
    with pytest.raises(TraceError) as raised:
        log("time,State,x\n0,a,1\n")
    assert "--gait" in raised.value.expected
    assert "left.phase" in raised.value.expected
    assert raised.value.hint == "if State is the phase: --map phase=State"


def test_the_place_of_a_falling_time_counts_the_rows_that_were_left_out() -> None:
    with pytest.raises(TraceError) as raised:
        rows(log("time,phase,x\n0,a,1\nbroken\n1,a,1\n\n0.5,b,1\n"))
    assert (raised.value.place.line, raised.value.place.column) == (6, 1)


def test_a_time_that_falls_from_one_part_of_the_file_to_the_next_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(csv_text, "PIECE_BYTES", 8)
    its = log("time,phase\n1,a\n2,a\n3,a\n2.5,a\n4,b\n")
    with pytest.raises(TraceError, match=r"time goes backwards: 2\.5 s after 3 s") as raised:
        list(its.batches())
    assert raised.value.place.line == 5


def test_a_missing_file_names_the_one_that_was_meant(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text("time,phase\n0,a\n")
    with pytest.raises(TraceError, match="cannot be opened") as raised:
        PhaseLog(tmp_path / "walks.csv")
    assert "walk.csv" in raised.value.hint
