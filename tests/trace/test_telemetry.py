"""A telemetry log is read as a recording of what the machine measured, and tells what the machine did."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.commands import REPOSITORY, STORK
from support.telemetry_logs import crc, head, line, number, on_a_board, run_lines, walked
from support.trace_plans import plan as hand_made
from support.trace_plans import signal

import sequencer
from sequencer.base.errors import MisuseError, TraceError
from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.tables import Plan
from sequencer.prove.inputs import random_traces
from sequencer.trace.blocks import HEARD, RESET, TickBlock
from sequencer.trace.layout import TraceOptions
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.telemetry_lines import checksum, parse_line

GAITS = [REPOSITORY / f"examples/{name}/{name}.gait.yaml" for name in ("stork", "tortoise", "crab")]
SMALL = replace(hand_made(signal("roll"), signal("knee", "mm")), sha="0123456789abcdef" * 4)


def read(log: bytes, plan: Plan = SMALL, **options: object) -> TickBlock:
    return join_blocks(list(open_trace(io.BytesIO(log), plan, TraceOptions(**options))))  # type: ignore[arg-type]


def remarks(log: bytes, plan: Plan = SMALL) -> list[str]:
    return [text.replace("<stdin>", "log") for text in open_trace(io.BytesIO(log), plan).remarks]


def small(*states: str, stage: int = 2, carries: str = "i") -> bytes:
    """Lines of the small plan: `now`, then the two signals' items with commas."""
    rows = (state.split(",", 1) for state in states)
    lines = [line(f"T1,{int(now):X},{stage},00,1,0,0,0,{items}") for now, items in rows]
    return head(SMALL, carries=carries) + b"".join(lines)


def assert_same(one: TickBlock, other: TickBlock, *, with_remote: bool = True) -> None:
    """The same inputs, bit by bit where they are fresh; a run begins with a reset anyway."""
    for name in ("now", "fresh", "events", "switches"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name), name)
    there = one.fresh != 0
    same = one.raw[there].view(np.uint32) == other.raw[there].view(np.uint32)
    assert (same | (np.isnan(one.raw[there]) & np.isnan(other.raw[there]))).all()
    matters = np.uint8(RESET | (HEARD if with_remote else 0))
    np.testing.assert_array_equal(one.control[1:] & matters, other.control[1:] & matters)
    writes = [(w.row, w.parameter, repr(float(np.float32(w.value)))) for w in one.writes]
    assert writes == [(w.row, w.parameter, repr(w.value)) for w in other.writes]


def test_the_checksum_is_that_of_the_catalogue() -> None:
    # check value of CRC-16/XMODEM: G. Cook, "Catalogue of parametrised CRC algorithms", cited from memory
    assert checksum(b"123456789") == crc(b"123456789") == 0x31C3
    rng = np.random.default_rng(1)
    for size in range(1, 200):
        text = rng.integers(0, 256, size, np.uint8).tobytes()
        assert checksum(text) == crc(text)


@pytest.mark.parametrize("gait", GAITS, ids=lambda path: path.stem)
def test_a_log_with_a_line_in_every_tick_holds_all_that_the_executor_was_given(gait: Path) -> None:
    plan = sequencer.load(gait).plan
    block, record = walked(plan, 1200)
    assert_same(block, read(b"".join(run_lines(plan, block, record)), plan))


@pytest.mark.parametrize("gait", GAITS, ids=lambda path: path.stem)
def test_a_machine_that_did_what_the_dry_run_does_is_told_so_whatever_it_measured(gait: Path) -> None:
    loaded = sequencer.load(gait)
    for trace in random_traces(loaded.plan, 4, 700, seed=11):
        block = on_a_board(loaded.plan, trace.block)
        record = ReferenceExecutor(loaded.plan).run(block)
        log = b"".join(run_lines(loaded.plan, block, record))
        with np.errstate(all="ignore"):
            assert_same(block, read(log, loaded.plan), with_remote=loaded.plan.remote is not None)
        verdict = loaded.dry_run(io.BytesIO(log), executor="reference").machine
        assert verdict is not None
        assert verdict.parting is None, verdict.words
        assert (verdict.lines, verdict.doubt, verdict.every_tick) == (700, None, True)
        assert verdict.moves == np.count_nonzero(record.cause)


def test_long_logs_come_in_blocks_and_their_clock_wraps() -> None:
    rows = 70_000
    start = (1 << 32) - 60_000 * 10
    log = [head(SMALL, carries="i")]
    log += [line(f"T1,{(start + i * 10) % (1 << 32):X},2,00,1,0,0,0,{i % 60000},") for i in range(rows)]
    blocks = list(open_trace(io.BytesIO(b"".join(log)), SMALL))
    assert [len(block) for block in blocks] == [65_536, rows - 65_536]
    whole = join_blocks(blocks)
    assert whole.now.tolist() == [(start + i * 10) % (1 << 32) for i in range(rows)]
    assert whole.raw[:, 0].tolist() == [i % 60000 for i in range(rows)]


def test_items_are_nothing_whole_numbers_or_bits() -> None:
    block = read(small("0,65535,", "10,,#80000000", "20,0,#7FC00000"))
    assert block.fresh.tolist() == [[1, 0], [0, 1], [1, 1]]
    assert block.raw[0, 0] == 65535
    assert np.signbit(block.raw[1, 1])
    assert np.isnan(block.raw[2, 1])
    assert (number(3.0), number(-0.0), number(0.5)) == ("3", "#80000000", "#3F000000")


def test_events_switches_and_the_remote_come_in_the_tick_of_their_line() -> None:
    lines = ["T1,0,2,00,3,0,1,0,1,2", "T1,A,2,00,1,1,0,0,,", "T1,14,2,00,1,0,3,0,,", "T1,1E,2,00,3,2,3,0,,"]
    block = read(head(SMALL, carries="i") + b"".join(map(line, lines)))
    assert block.events.tolist() == [0, 1, 0, 2]
    assert block.switches.tolist() == [1, 0, 3, 3]
    assert block.control.tolist() == [1, 0, 0, 1]


def test_parameter_writes_come_before_the_tick_that_they_name() -> None:
    log = small("0,1,1", "10,1,1") + line("P1,14,01,#41200000") + line("T1,14,2,00,1,0,0,0,1,1")
    assert [(w.row, w.parameter, w.value) for w in read(log).writes] == [(2, 1, 10.0)]


def test_a_restart_in_the_middle_is_a_reset() -> None:
    log = small("0,1,1", "10,1,1", "20,1,1") + line("E1,14,00,01,00,0100") + line("T1,1E,2,00,1,0,0,0,1,1")
    assert (read(log).control & RESET).tolist() == [0, 0, RESET, 0]


def test_lost_lines_leave_ticks_in_which_nothing_is_fresh_and_are_told() -> None:
    reader = open_trace(io.BytesIO(small("0,1,1", "40,2,2", "50,3,3")), SMALL)
    (block,) = reader
    assert block.now.tolist() == [0, 10, 20, 30, 40, 50]
    assert block.fresh[:, 0].tolist() == [1, 0, 0, 0, 1, 1]
    assert block.machine is not None
    assert block.machine.doubts == ((1, "lines are missing before line 3"),)


def test_ticks_that_the_machine_skipped_are_no_ticks() -> None:
    log = small("0,1,1") + line("T1,28,2,00,11,0,0,0,2,2") + line("T1,32,2,00,1,0,0,0,3,3")
    (block,) = open_trace(io.BytesIO(log), SMALL)
    assert block.now.tolist() == [0, 40, 50]
    assert block.machine is not None
    assert block.machine.doubts == ()


def test_of_several_runs_the_last_is_taken_or_the_one_asked_for() -> None:
    waits = line("T1,5,1,00,0,0,0,0,,")
    log = waits + small("0,1,1", "10,2,2") + waits + small("0,3,3") + small("0,4,4", "10,5,5", "20,6,6")
    assert read(log).raw[:, 0].tolist() == [4, 5, 6]
    assert read(log, run=1).raw[:, 0].tolist() == [1, 2]
    assert read(log, run=2).raw[:, 0].tolist() == [3]
    assert remarks(log) == [
        "log:1: 1 line is before the first line G1, which says what the others hold, and not used",
        "log holds 3 runs, and this is run 3, the last; --run N takes another",
    ]
    with pytest.raises(MisuseError, match=r"holds 3 runs; there is no run 4"):
        read(log, run=4)


def test_what_belongs_to_one_run_stays_out_of_the_next() -> None:
    first = small("0,1,1") + line("P1,A,00,#41200000") + line("T1,A,2,01,1,0,0,0,2,2")
    second = line("P1,0,01,#41A00000") + line("E1,0,00,00,00,0100") + line("T1,0,2,00,1,0,0,0,9,9")
    assert [(w.row, w.parameter) for w in read(first + second, run=1).writes] == [(1, 0)]
    assert [(w.row, w.parameter) for w in read(first + second, run=2).writes] == [(0, 1)]


UNUSED = {
    "torn": (b"T1,14,2,00,1,0\n", "torn, or not of the telemetry"),
    "noise": (b"\x00\xff\xfe garbage\r\n", "torn, or not of the telemetry"),
    "overlong": (b"T1," + b"0" * 100_000 + b"*0000\n", "torn, or not of the telemetry"),
    "two in one": (line("T1,14,2,00,1,0,0,0,1,1")[:9] + line("T1,1E,2,00,1,0,0,0,1,1"), "wrong checksum"),
    "wrong checksum": (b"T1,14,2,00,1,0,0,0,1,1*0000\n", "of a wrong checksum"),
    "another version": (line("T2,14,2,00,1,0,0,0,1,1"), "of another version"),
    "a phase too many": (line("T1,14,2,0000,1,0,0,0,1,1"), "not as the gait and the line G1"),
    "a phase that is not there": (line("T1,14,2,07,1,0,0,0,1,1"), "not as the gait and the line G1"),
    "an item too many": (line("T1,14,2,00,1,0,0,0,1,1,1"), "not as the gait and the line G1"),
    "an item too large": (line("T1,14,2,00,1,0,0,0,65536,1"), "not as the gait and the line G1"),
    "an event that is not there": (line("T1,14,2,00,1,4,0,0,1,1"), "not as the gait and the line G1"),
    "a time between ticks": (line("T1,15,2,00,1,0,0,0,1,1"), "not as the gait and the line G1"),
    "a sequence that is not there": (line("E1,14,01,00,00,0300"), "not as the gait and the line G1"),
    "a parameter that is not there": (line("P1,14,02,#41200000"), "not as the gait and the line G1"),
    "another tick": (line(f"G1,small,{SMALL.sha[:16]},20,20,i"), "not as the gait and the line G1"),
}


@pytest.mark.parametrize("name", UNUSED)
def test_a_line_that_cannot_be_used_is_told_and_changes_nothing(name: str) -> None:
    wrong, why = UNUSED[name]
    good = small("0,1,1", "10,2,2"), line("T1,14,2,00,1,0,0,0,3,3")
    said = remarks(b"".join([good[0], wrong, good[1], wrong]))
    assert len(said) == 1
    assert said[0].startswith("log:4: 2 lines are ")
    assert why in said[0]
    assert said[0].endswith("and not used (this is the first)")
    assert_same(read(b"".join(good)), read(b"".join([good[0], wrong, good[1]])))


def test_a_tick_that_is_told_again_is_not_used() -> None:
    good, again = small("0,1,1", "10,2,2"), line("T1,A,2,00,1,0,0,0,7,7")
    assert remarks(good + again) == ["log:4: 1 line is of a tick that was told already, and not used"]
    assert_same(read(good), read(good + again))


def test_remarks_of_the_board_and_empty_lines_pass_without_a_word() -> None:
    log = b"# gait small\r\n\r\n#\n" + small("0,1,1").replace(b"\n", b"\r\n") + b"# ?\n"
    assert remarks(log) == []
    assert len(read(log)) == 1


BAD = {
    "another gait": (
        head(SMALL, sha="f" * 16, carries="i") + line("T1,0,2,00,1,0,0,0,1,1"),
        1,
        "of another gait: small with the hash ffffffffffffffff",
        "flash what this gait generates",
    ),
    "no signals": (
        head(SMALL, carries="s") + line("T1,0,2,00,1,0,0,0"),
        1,
        "no signals",
        "carries: [signals",
    ),
    "never enabled": (small("0,1,1", stage=1), 1, "the machine never ran", "enable"),
    "no first line": (line("T1,0,2,00,1,0,0,0,1,1"), 1, "no line G1", "the command version"),
    "another version": (
        b"#\n" + line("G2,small,x") + line("T2,0"),
        2,
        "of another version",
        "flash the board",
    ),
    "a terminal's times": (
        b"10:00:00.1 -> " + line("T1,0,2,00,1,0,0,0,1,1"),
        1,
        "no line of this telemetry log can be used",
        "put the time before each line",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_log_that_cannot_be_used_gives_one_clear_error(name: str) -> None:
    log, number, said, hint = BAD[name]
    with pytest.raises(TraceError) as caught:
        read(log)
    assert caught.value.place.line == number
    assert said in caught.value.message
    assert hint in caught.value.hint
    assert caught.value.expected


def test_a_run_of_this_gait_among_others_is_pointed_at() -> None:
    log = small("0,1,1") + head(SMALL, sha="f" * 16, carries="i") + line("T1,0,2,00,1,0,0,0,1,1")
    with pytest.raises(TraceError) as caught:
        read(log)
    assert caught.value.hint == "run 1 of the log is of this gait: --run 1"
    assert len(read(log, run=1)) == 1


def test_a_log_has_no_columns_to_map() -> None:
    with pytest.raises(MisuseError, match="no columns to map"):
        read(small("0,1,1"), mapping={"roll": "x"})


def test_a_table_is_still_taken_for_a_table() -> None:
    reader = open_trace(io.BytesIO(b"time,roll\n0,1\n"), SMALL)
    assert (reader.of_machine, reader.remarks) == (False, ())
    assert open_trace(io.BytesIO(small("0,1,1")), SMALL).of_machine


def test_every_line_of_a_real_length_log_parses() -> None:
    plan = sequencer.load(STORK).plan
    block, record = walked(plan, 200)
    assert all(hasattr(parse_line(raw), "__slots__") for raw in run_lines(plan, block, record))
