"""Recordings in Parquet, written by pyarrow as others would write them."""

from pathlib import Path

import numpy as np
import pyarrow
import pytest
from pyarrow import parquet
from support.tick_blocks import bits
from support.trace_plans import plan, signal

from sequencer.base.errors import TraceError
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks

PLAN = plan(signal("roll"), signal("knee", "mm", scaled=True))


def write(path: Path, **columns: object) -> Path:
    parquet.write_table(pyarrow.table(columns), path)
    return path


def error_of(path: Path) -> TraceError:
    with pytest.raises(TraceError) as caught, open_trace(path, PLAN) as opened:
        list(opened)
    return caught.value


def test_integers_floats_and_booleans_are_numbers_and_null_is_not_fresh(tmp_path: Path) -> None:
    path = write(
        tmp_path / "walk.parquet",
        time_us=pyarrow.array([0, 10_000, 20_000], pyarrow.int64()),
        roll=pyarrow.array([1.5, None, 2.5], pyarrow.float32()),
        knee=pyarrow.array([102, 103, None], pyarrow.uint16()),
        motors=pyarrow.array([True, None, False]),
        note=["a", "b", "c"],
    )
    with open_trace(path, PLAN) as opened:
        assert opened.unused == ("note",)
        block = join_blocks(list(opened))
    assert block.raw.tolist() == [[1.5, 102], [0, 103], [2.5, 0]]
    assert block.fresh.tolist() == [[1, 1], [0, 1], [1, 0]]
    assert block.switches.tolist() == [1, 1, 0]


def test_it_is_known_by_its_content_not_by_its_name(tmp_path: Path) -> None:
    path = write(tmp_path / "walk.csv", time=[0.0], roll=[1.0])
    with open_trace(path, PLAN) as opened:
        assert join_blocks(list(opened)).raw[0, 0] == 1


def test_a_long_file_is_read_as_its_csv_is(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    count = 150_000
    times = np.cumsum(rng.integers(0, 12_000, count))
    roll = rng.normal(0, 10, count).round(3)
    table = pyarrow.table({"time_us": times, "roll": pyarrow.array(roll, mask=rng.random(count) < 0.3)})
    parquet.write_table(table, tmp_path / "walk.parquet", row_group_size=40_000)
    frame = [
        f"{t},{'' if v is None else repr(v)}"
        for t, v in zip(times.tolist(), table["roll"].to_pylist(), strict=True)
    ]
    (tmp_path / "walk.csv").write_text("time_us,roll\n" + "\n".join(frame))
    with open_trace(tmp_path / "walk.parquet", PLAN) as one, open_trace(tmp_path / "walk.csv", PLAN) as other:
        assert bits(join_blocks(list(one))) == bits(join_blocks(list(other)))


def test_a_fault_is_told_with_its_row_and_column(tmp_path: Path) -> None:
    values = [0.0] * 70_000
    values[69_999] = float("nan")
    error = error_of(
        write(tmp_path / "w.parquet", time_ms=list(range(70_000)), note=["x"] * 70_000, roll=values)
    )
    assert (error.place.line, error.place.column) == (70_000, 3)
    assert "nan in column roll" in error.message


def test_text_where_numbers_belong_is_told_before_anything_is_read(tmp_path: Path) -> None:
    error = error_of(write(tmp_path / "w.parquet", time=[0.0], roll=["1.5"]))
    assert (error.place.line, error.place.column) == (1, 2)
    assert "column roll holds string" in error.message


def test_a_file_without_rows_is_told(tmp_path: Path) -> None:
    empty = pyarrow.array([], pyarrow.float64())
    assert "there is no row" in error_of(write(tmp_path / "w.parquet", time=empty, roll=empty)).message


def test_a_file_that_is_cut_off_is_told(tmp_path: Path) -> None:
    path = write(tmp_path / "w.parquet", time=[0.0, 1.0], roll=[1.0, 2.0])
    path.write_bytes(path.read_bytes()[:-20])
    assert "was it cut off?" in error_of(path).hint


def test_a_file_that_is_damaged_inside_is_told(tmp_path: Path) -> None:
    path = tmp_path / "w.parquet"
    rng = np.random.default_rng(1)
    parquet.write_table(pyarrow.table({"time": np.arange(9999) * 0.01, "roll": rng.normal(size=9999)}), path)
    data = bytearray(path.read_bytes())
    data[4:4000] = bytes(3996)
    path.write_bytes(data)
    assert "cannot be read" in error_of(path).message


def test_a_column_twice_is_told(tmp_path: Path) -> None:
    table = pyarrow.Table.from_arrays([pyarrow.array([0.0])] * 3, names=["time", "roll", "roll"])
    parquet.write_table(table, tmp_path / "w.parquet")
    assert "roll stands here twice" in error_of(tmp_path / "w.parquet").message


def test_from_standard_input_it_is_told_to_give_a_file(tmp_path: Path) -> None:
    path = write(tmp_path / "w.parquet", time=[0.0], roll=[1.0])
    with pytest.raises(TraceError, match="cannot be read from standard input"), path.open("rb") as stream:
        open_trace(stream, PLAN)
