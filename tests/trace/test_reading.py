"""What the columns and rows of a recording mean."""

import io
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from support.trace_plans import plan, signal

from sequencer.base.errors import MisuseError, TraceError
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, NOT_FRESH, ParameterWrite, TickBlock
from sequencer.trace.layout import TraceOptions
from sequencer.trace.read import TraceReader, open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.ticks import MOST_TICKS

PLAN = plan(signal("roll"), signal("knee", "mm", scaled=True))


def reader(text: str | bytes, its: Plan = PLAN, **options: object) -> TraceReader:
    data = text.encode() if isinstance(text, str) else text
    return open_trace(io.BytesIO(data), its, TraceOptions(**options))  # type: ignore[arg-type]


def read(text: str | bytes, its: Plan = PLAN, **options: object) -> TickBlock:
    return join_blocks(list(reader(text, its, **options)))


def test_a_tick_takes_the_rows_after_the_tick_before_up_to_its_own_time() -> None:
    block = read("time,roll\n0,1\n0.0001,2\n0.01,3\n0.010001,4\n")
    assert block.now.tolist() == [0, 10, 20]
    assert block.raw[:, 0].tolist() == [1, 3, 4]


def test_the_first_tick_is_that_of_the_first_row() -> None:
    assert read("time,roll\n5.003,1\n").now.tolist() == [5010]


def test_now_wraps_as_the_controllers_clock_does() -> None:
    assert read("time [ms],roll\n4294967290,1\n4294967300,2\n").now.tolist() == [2**32 - 6, 4]


def test_times_before_zero_count_down_from_the_wrap() -> None:
    assert read("time [ms],roll\n-10,1\n0,2\n").now.tolist() == [2**32 - 10, 0]


def test_the_last_filled_cell_of_a_tick_counts_and_the_others_are_counted_as_skipped() -> None:
    block = read("time_ms,roll,knee\n1,1,\n2,2,\n3,,\n4,3,7\n9,,\n11,,8\n")
    assert block.raw.tolist() == [[3, 7], [0, 8]]
    assert block.fresh.tolist() == [[FRESH_RAW, FRESH_RAW], [NOT_FRESH, FRESH_RAW]]
    assert block.skipped.tolist() == [2, 0]


def test_an_empty_cell_is_not_fresh() -> None:
    assert read('time,roll\n0,\n0.01,""\n').fresh[:, 0].tolist() == [NOT_FRESH, NOT_FRESH]


def test_gaps_become_ticks_in_which_nothing_happens() -> None:
    block = read("time,roll,motors\n0,1,1\n0.05,2,\n")
    assert block.now.tolist() == [0, 10, 20, 30, 40, 50]
    assert block.fresh[:, 0].tolist() == [1, 0, 0, 0, 0, 1]
    assert block.switches.tolist() == [1] * 6
    assert block.control.tolist() == [HEARD, 0, 0, 0, 0, 0]


def test_a_gap_of_hours_comes_in_blocks_of_bounded_size() -> None:
    blocks = list(reader("time,roll\n0,1\n7200,2\n"))
    assert max(map(len, blocks)) <= MOST_TICKS
    assert sum(map(len, blocks)) == 720_001
    whole = join_blocks(blocks)
    assert np.array_equal(whole.now, np.arange(0, 7_200_001, 10))
    assert np.flatnonzero(whole.fresh[:, 0]).tolist() == [0, 720_000]


@pytest.mark.parametrize(
    ("header", "cell"),
    [
        ("time", "0.07"),
        ("t", "7e-2"),
        ("time [s]", "0.07"),
        ("t (ms)", "70"),
        ("time_s", "0.07"),
        ("time_ms", "70.0004"),
        ("time_us", "70000.4"),
        ("time [us]", "70000"),
        ("time [µs]", "70000"),
    ],
)
def test_times_come_in_seconds_milliseconds_or_microseconds(header: str, cell: str) -> None:
    assert read(f"{header},roll\n{cell},1\n").now.tolist() == [70]


def test_times_are_rounded_half_to_even_to_microseconds() -> None:
    # 10,000.5 us rounds to 10,000 (tick 10 ms), 10,001.5 us to 10,002 (tick 20 ms); both halves are exact
    assert read("time_us,roll\n10000.5,1\n").now.tolist() == [10]
    assert read("time_us,roll\n10001.5,1\n").now.tolist() == [20]


def test_a_raw_column_without_a_scale_may_stand_in_another_unit() -> None:
    # a half turn is pi radians and 180 degrees
    assert read(f"time,roll [rad]\n0,{math.pi!r}\n").raw[0, 0] == np.float32(180)


def test_the_degree_sign_is_understood() -> None:
    assert read("time,roll [°]\n0,3\n").raw[0, 0] == 3


@pytest.mark.parametrize("unit", ["", " [counts]", " (counts)", " []"])
def test_a_raw_column_with_a_scale_is_counts(unit: str) -> None:
    block = read(f"time,knee{unit}\n0,102\n")
    assert (block.raw[0, 1], block.fresh[0, 1]) == (102, FRESH_RAW)


def test_a_value_column_skips_gain_and_bias_and_may_stand_in_another_unit() -> None:
    block = read("time,knee.value [cm],roll.value\n0,1.5,3\n")
    assert block.raw.tolist() == [[3, 15]]
    assert block.fresh.tolist() == [[FRESH_VALUE, FRESH_VALUE]]


def test_of_a_raw_and_a_value_column_the_later_cell_counts() -> None:
    block = read("time_ms,roll.value,roll\n1,1,\n2,,2\n11,,3\n12,4,\n21,5,6\n")
    assert block.raw[:, 0].tolist() == [2, 4, 6]
    assert block.fresh[:, 0].tolist() == [FRESH_RAW, FRESH_VALUE, FRESH_RAW]
    assert block.skipped.tolist() == [3, 0]


def test_text_becomes_binary64_then_binary32() -> None:
    # 1 + 2^-24 + 2^-60 is nearer to 1 + 2^-23 than to 1, but in binary64 it is the border 1 + 2^-24 and
    # rounds to even; a direct reading to binary32 would give 1.0000001
    assert read("time,roll\n0,1.000000059604644776257651525785\n").raw[0, 0] == np.float32(1)
    assert read("time,roll\n0,0.1\n").raw[0, 0] == np.float32(0.1)
    assert np.signbit(read("time,roll\n0,-0\n").raw[0, 0])
    assert read("time,roll\n0,1e-45\n").raw[0, 0] == np.float32(1e-45)  # a subnormal


def test_a_number_too_large_for_binary32_is_left_to_the_tick_to_refuse() -> None:
    assert np.isinf(read("time,roll\n0,1e39\n").raw[0, 0])


def test_events_of_a_tick_are_united() -> None:
    block = read("time_ms,go,halt\n1,1,\n2,0,1\n3,,\n11,,1\n21,,0\n")
    assert block.events.tolist() == [3, 2, 0]


def test_a_switch_is_held_from_its_last_cell_on() -> None:
    block = read("time_ms,motors,walk\n0,,1\n10,1,\n20,,\n21,0,\n22,1,0\n40,,\n")
    assert block.switches.tolist() == [2, 3, 3, 1, 1]


def test_switches_without_a_column_are_off_unless_told() -> None:
    assert read("time,roll\n0,1\n").switches.tolist() == [0]
    assert read("time,roll\n0,1\n", switches_on=frozenset({"walk"})).switches.tolist() == [2]
    on = read("time,walk\n0,\n0.01,0\n", switches_on=frozenset({"walk", "motors"}))
    assert on.switches.tolist() == [3, 1]


def test_the_remote_is_heard_where_its_own_column_is_not_zero() -> None:
    block = read("time_ms,remote,go\n0,1,\n10,0,1\n20,,\n30,0.5,\n")
    assert block.control.tolist() == [HEARD, 0, 0, HEARD]


def test_without_that_column_it_is_heard_where_a_cell_that_it_carries_is_filled() -> None:
    block = read("time_ms,roll,go,walk\n0,1,,\n10,,0,\n20,,,0\n21,5,,\n40,1,,\n")
    assert block.control.tolist() == [0, HEARD, HEARD, 0, 0]


def test_with_no_such_column_at_all_it_is_heard_in_every_tick() -> None:
    assert read("time,roll\n0,1\n0.02,1\n").control.tolist() == [HEARD] * 3


def test_it_is_heard_in_every_tick_if_told_so_unless_it_has_a_column_of_its_own() -> None:
    text = "time_ms,roll,go\n0,1,\n10,,0\n20,,\n"
    assert read(text).control.tolist() == [0, HEARD, 0]
    assert read(text, remote_heard=True).control.tolist() == [HEARD] * 3
    assert read(text.replace("go", "remote"), remote_heard=True).control.tolist() == [0, 0, 0]
    with pytest.raises(MisuseError, match="has no remote"):
        reader("time,roll\n0,1\n", plan(signal("roll"), remote=False), remote_heard=True)


def test_without_a_remote_a_remote_column_means_nothing() -> None:
    its = plan(signal("roll"), remote=False)
    opened = reader("time,roll,remote,go\n0,1,0,1\n", its)
    assert opened.unused == ("remote",)
    assert join_blocks(list(opened)).control.tolist() == [HEARD]


def test_parameters_are_written_in_the_order_of_rows_then_columns() -> None:
    block = read("time_ms,lift [cm],lean_angle\n1,3,9\n2,,10\n3,2,\n11,1,\n")
    assert block.writes == (
        ParameterWrite(0, 1, 30.0),
        ParameterWrite(0, 0, 9.0),
        ParameterWrite(0, 0, 10.0),
        ParameterWrite(0, 1, 20.0),
        ParameterWrite(1, 1, 10.0),
    )


def test_other_columns_are_left_unread_whatever_they_hold_and_listed() -> None:
    opened = reader('time,note,roll,,speed [m/s]\n0,"started, slowly",1,x,nan\n')
    assert opened.unused == ("note", "column 4", "speed [m/s]")
    assert opened.missing == ("knee",)
    assert join_blocks(list(opened)).raw[0, 0] == 1


def test_a_mapping_gives_foreign_columns_our_names() -> None:
    names = {"roll": "LRoll", "knee.value": "LKnee [cm]", "time": "stamp_ms", "go": "Button"}
    block = read("stamp_ms,LRoll,LKnee [cm],Button\n10,1,2,1\n", mapping=names)
    assert block.now.tolist() == [10]
    assert block.raw.tolist() == [[1, 20]]
    assert block.events.tolist() == [1]


def test_a_mapped_column_comes_before_one_of_the_name() -> None:
    opened = reader("time,roll,other\n0,1,2\n", mapping={"roll": "other"})
    assert opened.unused == ("roll",)
    assert join_blocks(list(opened)).raw[0, 0] == 2


def test_one_foreign_column_may_serve_two_signals() -> None:
    block = read("time,both\n0,2\n", mapping={"roll": "both", "knee": "both"})
    assert block.raw.tolist() == [[2, 2]]


def test_a_mapping_that_names_nothing_is_refused() -> None:
    with pytest.raises(MisuseError, match="rol, which is no signal") as ours:
        reader("time,roll\n", mapping={"rol": "roll"})
    assert ours.value.hint == "did you mean roll?"
    with pytest.raises(TraceError, match="no column LRol") as theirs:
        reader("time,LRoll\n", mapping={"roll": "LRol"})
    assert theirs.value.hint == "did you mean LRoll?"


def test_a_switch_that_is_turned_on_must_exist() -> None:
    with pytest.raises(MisuseError, match="no switch motor") as error:
        reader("time,roll\n", switches_on=frozenset({"motor"}))
    assert error.value.hint == "did you mean motors?"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_delimiters_and_line_ends_are_found(delimiter: str, end: str) -> None:
    rows = ["time,roll,knee", "0,1.5,2", "0.01,-2.5e-1,"]
    text = end.join(rows).replace(",", delimiter)
    for last in ("", end):
        block = read(text + last)
        assert block.raw.tolist() == [[1.5, 2], [-0.25, 0]]


def test_a_byte_order_mark_empty_lines_spaces_and_quotes_are_fine() -> None:
    block = read('\ufeff"time", roll \n\n 0 ,"1.5"\n\r\n0.01, .5\n\n'.encode())
    assert block.raw[:, 0].tolist() == [1.5, 0.5]


def test_a_signal_called_t_is_not_the_time_if_there_is_a_time() -> None:
    its = plan(signal("t"))
    assert read("t,time\n5,0.01\n", its).raw.tolist() == [[5]]


def test_a_recording_comes_from_standard_input_too() -> None:
    code = (
        "from support.trace_plans import plan, signal\n"
        "from sequencer.trace.read import open_trace\n"
        "print([b.raw.tolist() for b in open_trace('-', plan(signal('roll')))])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        input=b"time,roll\n0,1\n0.01,2\n",
        capture_output=True,
        cwd=Path(__file__).parents[1],
        check=True,
    )
    assert done.stdout == b"[[[1.0]], [[2.0]]]\n"


def test_nothing_slow_is_imported_before_a_recording_is_opened() -> None:
    modules = ", ".join(f"sequencer.trace.{name}" for name in ("read", "write", "make", "follow", "record"))
    code = f"import sys, {modules}; print([m for m in ('pyarrow', 'pint', 'yaml') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_blocks_of_a_long_recording_are_bounded_and_leave_nothing_out() -> None:
    rows = "".join(f"{k * 10},{k % 100}\n" for k in range(200_000))
    blocks = list(reader("time_ms,roll\n" + rows))
    assert max(map(len, blocks)) <= MOST_TICKS
    whole = join_blocks(blocks)
    assert np.array_equal(whole.now, np.arange(200_000) * 10)
    assert np.array_equal(whole.raw[:, 0], np.arange(200_000) % 100)
