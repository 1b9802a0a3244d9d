"""Help by hand and single steps in recordings, in scripts, and in the logs of boards."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.telemetry_logs import run_lines
from support.tick_blocks import bits
from support.trace_plans import plan, signal

from sequencer.base.errors import MisuseError, TraceError
from sequencer.executors.reference import ReferenceExecutor
from sequencer.trace.blocks import HEARD, HELPING, RESET, STEP, STEPPING, TickBlock, empty_block
from sequencer.trace.layout import TraceOptions
from sequencer.trace.make import make_trace
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.write import write_trace

PLAN = plan(signal("roll"), remote=False, helping=True, sha="0123456789abcdef")


def read(tmp_path: Path, text: str, options: TraceOptions | None = None) -> list[int]:
    """Read a recording; give what says how the machine was helped, tick by tick."""
    path = tmp_path / "a.csv"
    path.write_text(text)
    with open_trace(path, PLAN, options) as reader:
        control = join_blocks(list(reader)).control
    assert (control & HEARD).all()
    return (control & ~np.uint8(HEARD)).tolist()


def test_help_is_held_as_a_switch_is_and_a_step_lasts_one_tick(tmp_path: Path) -> None:
    rows = (
        "time [ms],helping.on,helping.stepping,helping.step\n0,,,\n10,1,,\n20,,1,\n30,,,1\n40,0,,0\n50,,0,\n"
    )
    assert read(tmp_path, rows) == [
        0,
        HELPING,
        HELPING | STEPPING,
        HELPING | STEPPING | STEP,
        STEPPING,
        0,
    ]


def test_of_two_rows_in_a_tick_the_later_says_what_is_held(tmp_path: Path) -> None:
    rows = "time [ms],helping.on,helping.step\n0,,\n5,1,1\n8,0,0\n10,,\n12,1,\n20,,\n"
    assert read(tmp_path, rows) == [0, STEP, HELPING]


def test_without_a_column_nobody_helps_unless_it_is_said(tmp_path: Path) -> None:
    rows = "time [ms],roll\n0,1\n10,2\n"
    assert read(tmp_path, rows) == [0, 0]
    assert read(tmp_path, rows, TraceOptions(helped=True)) == [HELPING, HELPING]
    rows = "time [ms],helping.on\n0,\n10,0\n20,\n"
    assert read(tmp_path, rows, TraceOptions(helped=True)) == [HELPING, 0, 0]


def test_what_is_no_bit_is_one_error_at_its_place(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match=r"2 stands in the column of helping helping\.on"):
        read(tmp_path, "time [ms],helping.on\n0,2\n")


def test_a_machine_that_cannot_be_helped_has_no_such_columns(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time [ms],roll,helping.on\n0,1,1\n")
    with open_trace(path, replace(PLAN, helping=False)) as reader:
        assert reader.unused == ("helping.on",)
        assert [block.control.tolist() for block in reader] == [[HEARD]]
    with pytest.raises(MisuseError, match="cannot be helped by hand"):
        open_trace(path, replace(PLAN, helping=False), TraceOptions(helped=True))


def helped_block(ticks: int) -> TickBlock:
    block = empty_block(ticks, 1)
    block.now[:] = np.arange(ticks) * 10
    rng = np.random.default_rng(7)
    held = (np.arange(ticks) // 7 % 2) * HELPING | (np.arange(ticks) // 11 % 2) * STEPPING
    block.control[:] |= (held | STEP * (rng.random(ticks) < 0.2)).astype(np.uint8)
    return block


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
@pytest.mark.parametrize("parts", [1, 4])
def test_what_is_written_reads_back_the_same(tmp_path: Path, suffix: str, parts: int) -> None:
    block = helped_block(100)
    cuts = np.array_split(np.arange(100), parts)
    blocks = [
        replace(
            block,
            **{
                name: getattr(block, name)[rows]
                for name in ("now", "raw", "fresh", "events", "switches", "control")
            },
        )
        for rows in cuts
    ]
    write_trace(tmp_path / f"a.{suffix}", PLAN, blocks)
    with open_trace(tmp_path / f"a.{suffix}", PLAN) as reader:
        assert bits(join_blocks(list(reader))) == bits(block)


def made(tmp_path: Path, text: str, *, helping: bool = True) -> list[int]:
    path = tmp_path / "a.trace.yaml"
    path.write_text(text)
    blocks = list(make_trace(path, replace(PLAN, helping=helping)))
    return (join_blocks(blocks).control & ~np.uint8(HEARD)).tolist()


def test_a_script_says_when_somebody_helps(tmp_path: Path) -> None:
    moments = "[{at: 10 ms, to: on}, {at: 30 ms, to: off}]"
    text = f"lasts: 50 ms\nhelping: {{on: {moments}, stepping: on, step: [20 ms, 45 ms]}}\n"
    assert made(tmp_path, text) == [
        STEPPING,
        STEPPING | HELPING,
        STEPPING | HELPING | STEP,
        STEPPING,
        STEPPING,
        STEPPING | STEP,
    ]


@pytest.mark.parametrize(
    ("helping", "said"),
    [
        ("{hands: on}", "hands is not known here"),
        ("{on: yes}", "a switch is on or off"),
        ("{step: 1 h}", "this is after the end"),
    ],
)
def test_a_wrong_script_is_one_error(tmp_path: Path, helping: str, said: str) -> None:
    with pytest.raises(TraceError, match=said):
        made(tmp_path, f"lasts: 50 ms\nhelping: {helping}\n")


def test_a_script_cannot_help_a_machine_that_cannot_be_helped(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="cannot be helped by hand"):
        made(tmp_path, "lasts: 50 ms\nhelping: {on: on}\n", helping=False)


@pytest.mark.parametrize("every", [1, 5])
def test_a_log_of_a_board_tells_how_it_was_helped(tmp_path: Path, every: int) -> None:
    block = empty_block(20, 1)
    block.now[:] = np.arange(20) * 10
    record = ReferenceExecutor(PLAN).run(block)
    path = tmp_path / "log.txt"
    path.write_bytes(b"".join(run_lines(PLAN, block, record, every=every, flags=4 | 8 | 32)))
    with open_trace(path, PLAN) as reader:
        blocks = list(reader)
    read = join_blocks(blocks)
    told = np.arange(len(read)) % every == 0
    assert ((read.control & (HELPING | STEPPING)) == HELPING | STEPPING).all()
    assert (((read.control & STEP) != 0) == told).all()
    assert not (read.control & RESET).any()
    assert [block.machine.doubts for block in blocks if block.machine is not None] == [()] * len(blocks)
