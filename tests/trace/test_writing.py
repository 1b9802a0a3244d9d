"""Recordings that are written and read back."""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.tick_blocks import bits, blocks_in_a_row
from support.trace_plans import plan, signal

from sequencer.base.errors import MisuseError
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, RESET, ParameterWrite, TickBlock, empty_block
from sequencer.trace.read import open_trace
from sequencer.trace.record import TraceRecorder, join_blocks
from sequencer.trace.write import write_trace

PLAN = plan(signal("roll"), signal("knee", "mm", scaled=True), signal("load", ""))


def block(ticks: int = 3, first: int = 0, its: Plan = PLAN) -> TickBlock:
    made = empty_block(ticks, len(its.signals))
    return replace(made, now=(first + its.tick_ms * np.arange(ticks)).astype(np.uint32))


def again(path: Path, its: Plan = PLAN) -> TickBlock:
    with open_trace(path, its) as reader:
        return join_blocks(list(reader))


@settings(max_examples=150)
@given(st.data(), st.sampled_from([".csv", ".parquet"]), st.booleans(), st.sampled_from([10, 7]))
def test_what_is_written_reads_back_to_the_bit(
    data: st.DataObject, ending: str, remote: bool, tick_ms: int
) -> None:
    its = plan(signal("roll"), signal("knee", "mm", scaled=True), remote=remote, tick_ms=tick_ms)
    blocks = data.draw(blocks_in_a_row(its))
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"walk{ending}"
        assert write_trace(path, its, blocks) == sum(map(len, blocks))
        assert bits(again(path, its)) == bits(join_blocks(blocks))
        assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_numbers_are_spelled_as_short_as_they_read_back(tmp_path: Path) -> None:
    made = block()
    made.raw[:, 0] = [0.1, 16777216, -1e-45]
    made.fresh[:, 0] = FRESH_RAW
    path = tmp_path / "walk.csv"
    write_trace(path, PLAN, [made])
    assert [line.split(",")[1] for line in path.read_text().splitlines()] == [
        "roll [deg]",
        "0.1",
        "16777216",
        "-1e-45",
    ]


def test_the_one_number_that_the_shortest_text_would_change_is_spelled_in_full(tmp_path: Path) -> None:
    # 7.038531e-26 is the only finite binary32 number (all were tried) whose shortest decimal is rounded to
    # the border between it and its neighbour when it is read as binary64 first
    number = np.uint32(0x15AE43FD).view(np.float32)
    assert str(number) == "7.038531e-26"
    assert np.float32(float(str(number))) != number
    made = block()
    made.raw[:, 0] = number
    made.fresh[:, 0] = FRESH_RAW
    write_trace(tmp_path / "walk.csv", PLAN, [made])
    assert bits(again(tmp_path / "walk.csv")) == bits(made)


def test_columns_carry_units_counts_and_the_form_of_their_samples(tmp_path: Path) -> None:
    made = block()
    made.fresh[0] = [FRESH_RAW, FRESH_RAW, FRESH_VALUE]
    made.fresh[1] = [FRESH_RAW, FRESH_VALUE, 0]
    write_trace(tmp_path / "walk.csv", PLAN, [made])
    header = (tmp_path / "walk.csv").read_text().splitlines()[0]
    assert header == (
        "time [ms],roll [deg],knee [counts],knee.value [mm],load.value,"
        "go,halt,motors,walk,remote,lean_angle [deg],lift [mm]"
    )


def test_a_cell_is_empty_where_nothing_is_new(tmp_path: Path) -> None:
    made = block()
    made.fresh[1, 0] = FRESH_RAW
    made.events[1] = 1
    made.switches[:] = [1, 1, 2]
    made.control[:] = [1, 0, 1]
    write_trace(tmp_path / "walk.csv", PLAN, [made])
    assert (tmp_path / "walk.csv").read_text().splitlines()[1:] == [
        "0,,,,1,0,1,,",
        "10,0,1,,,,,,",
        "20,,,,0,1,1,,",
    ]


def test_two_writes_of_a_parameter_in_a_tick_become_two_rows(tmp_path: Path) -> None:
    made = replace(
        block(), writes=(ParameterWrite(1, 1, 3.0), ParameterWrite(1, 0, 2.0), ParameterWrite(1, 1, 4.0))
    )
    write_trace(tmp_path / "walk.csv", PLAN, [made])
    cells = [line.split(",") for line in (tmp_path / "walk.csv").read_text().splitlines()[1:]]
    assert [(row[0], row[-2], row[-1]) for row in cells] == [
        ("0", "", ""),
        ("10", "", "3"),
        ("10", "2", "4"),
        ("20", "", ""),
    ]
    assert bits(again(tmp_path / "walk.csv")) == bits(made)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_signal_that_turns_up_late_gets_its_column_all_the_same(tmp_path: Path, ending: str) -> None:
    blocks = [block(3, first) for first in (0, 30, 60, 90)]
    blocks[0].fresh[:, 0], blocks[0].raw[:, 0] = FRESH_RAW, 1
    blocks[2].fresh[:, 0], blocks[2].raw[:, 0] = FRESH_VALUE, 2
    blocks[3].fresh[:, 1], blocks[3].raw[:, 1] = FRESH_RAW, 3
    blocks[1].switches[:] = 3
    path = tmp_path / f"walk{ending}"
    write_trace(path, PLAN, blocks)
    assert bits(again(path)) == bits(join_blocks(blocks))


def test_a_gap_of_whole_ticks_may_stand_between_blocks(tmp_path: Path) -> None:
    write_trace(tmp_path / "walk.csv", PLAN, [block(2, 0), block(1, 50)])
    assert again(tmp_path / "walk.csv").now.tolist() == [0, 10, 20, 30, 40, 50]


def test_a_file_that_is_there_stays_unless_told(tmp_path: Path) -> None:
    path = tmp_path / "walk.csv"
    path.write_text("precious")
    with pytest.raises(MisuseError, match="exists already"):
        write_trace(path, PLAN, [block()])
    assert path.read_text() == "precious"
    write_trace(path, PLAN, [block()], overwrite=True)
    assert len(again(path)) == 3


def broken(kind: str) -> list[TickBlock]:
    made = block()
    if kind == "reset":
        made.control[1] |= RESET
    elif kind == "not finite":
        made.raw[1, 0], made.fresh[1, 0] = np.nan, FRESH_RAW
    elif kind == "a write not finite":
        made = replace(made, writes=(ParameterWrite(0, 0, float("inf")),))
    elif kind == "between ticks":
        made.now[2] += 3
    elif kind == "the same tick twice":
        return [made, block(1, 20)]
    elif kind == "backwards":
        return [made, block(1, 0)]
    elif kind == "off the grid":
        return [block(1, 5)]
    elif kind == "no ticks":
        return [block(0)]
    return [block(10, 2**32 - 106), made] if kind == "wrap" else [made]


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("reset", "cannot hold a reset"),
        ("not finite", "not finite"),
        ("a write not finite", "not finite"),
        ("between ticks", "whole ticks of 10 ms"),
        ("the same tick twice", "whole ticks of 10 ms"),
        ("backwards", "whole ticks of 10 ms"),
        ("off the grid", "no multiple of the tick"),
        ("no ticks", "no ticks to write"),
    ],
)
@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_what_a_recording_cannot_hold_leaves_no_file(
    tmp_path: Path, kind: str, said: str, ending: str
) -> None:
    with pytest.raises(MisuseError, match=said):
        write_trace(tmp_path / f"walk{ending}", PLAN, broken(kind))
    assert list(tmp_path.iterdir()) == []


def test_an_error_while_the_blocks_are_made_leaves_no_file(tmp_path: Path) -> None:
    def failing() -> object:
        yield block()
        raise RuntimeError("the power went")

    with pytest.raises(RuntimeError, match="power"):
        write_trace(tmp_path / "walk.csv", PLAN, failing())  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="cannot be written: No such file"):
        write_trace(tmp_path / "none" / "walk.csv", PLAN, [block()])
    with pytest.raises(MisuseError, match="cannot be written: File name too long"):
        write_trace(tmp_path / ("x" * 300), PLAN, [block()])
    assert list(tmp_path.iterdir()) == []


def test_a_file_may_be_read_by_whom_the_system_lets(tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    write_trace(tmp_path / "walk.csv", PLAN, [block()])
    assert (tmp_path / "walk.csv").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_recorder_joins_single_ticks(tmp_path: Path) -> None:
    recorder = TraceRecorder()
    ticks = [block(1, 10 * k) for k in range(9000)]
    for k, tick in enumerate(ticks):
        tick.raw[0, 0], tick.fresh[0, 0] = k, FRESH_RAW
        recorder.add(replace(tick, writes=(ParameterWrite(0, 0, 9.0),)) if k == 5000 else tick)
    assert len(recorder) == 9000
    blocks = list(recorder)
    assert [len(b) for b in blocks] == [4096, 4096, 808]
    assert blocks[1].writes == (ParameterWrite(904, 0, 9.0),)
    write_trace(tmp_path / "walk.csv", PLAN, recorder)
    assert bits(again(tmp_path / "walk.csv")) == bits(join_blocks(blocks))
