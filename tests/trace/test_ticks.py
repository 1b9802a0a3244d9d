"""Rows to ticks against a plain reading of the rule, row by row, over random recordings."""

import io
import itertools
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from support.tick_blocks import bits
from support.trace_plans import plan, signal

from sequencer.plan.tables import Plan
from sequencer.trace import csv_text
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, ParameterWrite, TickBlock
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks

SIGNALS = ("roll", "knee")
COLUMNS = ("roll", "knee", "knee.value", "go", "halt", "motors", "walk", "remote", "lean_angle", "lift")


@dataclass
class Tick:
    """What the rule makes of one tick."""

    samples: list[tuple[float, int] | None] = field(default_factory=lambda: [None, None])
    skipped: list[int] = field(default_factory=lambda: [0, 0])
    events: int = 0
    heard: bool = False
    writes: list[tuple[int, float]] = field(default_factory=list)


def plain_reading(names: list[str], rows: list[tuple[int, list[str]]], its: Plan) -> TickBlock:
    """Go through the rows one by one, as the rule says; times are whole microseconds."""
    tick_us = its.tick_ms * 1000
    first = -((-rows[0][0]) // tick_us)
    last = -((-rows[-1][0]) // tick_us)
    ticks = [Tick() for _ in range(first, last + 1)]
    switches, held = [], 0
    by_tick = {k: list(group) for k, group in itertools.groupby(rows, lambda r: -((-r[0]) // tick_us))}
    carried = {"go", "halt", "motors", "walk"} & set(names)
    for k, tick in enumerate(ticks, first):
        for _, cells in by_tick.get(k, []):
            for name, cell in zip(names, cells, strict=True):
                if cell == "":
                    continue
                number = float(cell)
                tick.heard |= number != 0 if name == "remote" else "remote" not in names and name in carried
                if name.split(".")[0] in SIGNALS:
                    s = SIGNALS.index(name.split(".")[0])
                    tick.skipped[s] += tick.samples[s] is not None
                    tick.samples[s] = (number, FRESH_VALUE if name.endswith("value") else FRESH_RAW)
                elif name in ("go", "halt"):
                    tick.events |= int(number) << ("go", "halt").index(name)
                elif name in ("motors", "walk"):
                    bit = 1 << ("motors", "walk").index(name)
                    held = held | bit if number else held & ~bit
                elif name != "remote":
                    tick.writes.append((("lean_angle", "lift").index(name), number))
        switches.append(held)
    always = its.remote is None or not ({"remote"} & set(names) or carried)
    return TickBlock(
        now=np.array([k * its.tick_ms % 2**32 for k in range(first, last + 1)], np.uint32),
        raw=np.array([[s[0] if s else 0 for s in t.samples] for t in ticks], np.float32),
        fresh=np.array([[s[1] if s else 0 for s in t.samples] for t in ticks], np.uint8),
        events=np.array([t.events for t in ticks], np.uint32),
        switches=np.array(switches, np.uint32),
        control=np.array([HEARD if t.heard or always else 0 for t in ticks], np.uint8),
        writes=tuple(
            ParameterWrite(row, p, float(np.float32(v))) for row, t in enumerate(ticks) for p, v in t.writes
        ),
        skipped=np.sum([t.skipped for t in ticks], axis=0, dtype=np.int64),
    )


@st.composite
def recordings(draw: st.DrawFn) -> tuple[list[str], list[tuple[int, list[str]]]]:
    names = draw(st.lists(st.sampled_from(COLUMNS), unique=True, max_size=len(COLUMNS)))
    step = st.one_of(st.integers(0, 12_000), st.integers(0, 200_000), st.just(10_000))
    steps = draw(st.lists(step, min_size=1, max_size=40))
    start = draw(st.integers(-50_000, 50_000))
    number = st.floats(width=32, allow_nan=False, allow_infinity=False).map(repr)
    rows = []
    for time in itertools.accumulate(steps, initial=start):
        zero_or_one = st.sampled_from(["", "0", "1", "1.0"])
        cells = [
            draw(
                zero_or_one
                if name in ("go", "halt", "motors", "walk", "remote")
                else st.one_of(st.just(""), number)
            )
            for name in names
        ]
        rows.append((time, cells))
    return names, rows


@given(recordings(), st.sampled_from([10, 7, 1]), st.booleans(), st.integers(1, 200))
def test_rows_become_ticks_as_the_rule_says_wherever_the_file_is_cut_into_pieces(
    recording: tuple[list[str], list[tuple[int, list[str]]]], tick_ms: int, remote: bool, piece_bytes: int
) -> None:
    names, rows = recording
    its = plan(signal("roll"), signal("knee", "mm", scaled=True), tick_ms=tick_ms, remote=remote)
    lines = [",".join(["time_us", *names]), *(",".join([str(t), *cells]) for t, cells in rows)]
    whole_piece = csv_text.PIECE_BYTES
    csv_text.PIECE_BYTES = piece_bytes
    try:
        read = join_blocks(list(open_trace(io.BytesIO("\n".join(lines).encode()), its)))
    finally:
        csv_text.PIECE_BYTES = whole_piece
    assert bits(read) == bits(plain_reading(names, rows, its))


@given(st.floats(-1e6, 1e6), st.sampled_from([("s", 1_000_000), ("ms", 1000), ("us", 1)]))
def test_a_time_is_within_half_a_microsecond_of_what_is_written(time: float, unit: tuple[str, int]) -> None:
    its = plan(signal("roll"), tick_ms=1)
    read = join_blocks(list(open_trace(io.BytesIO(f"time [{unit[0]}],roll\n{time!r},1\n".encode()), its)))
    exact_us = Fraction(time) * unit[1]
    # the tick's now is the first whole millisecond at or after the rounded time
    choices = {
        -(-us // 1000) % 2**32
        for us in (round(exact_us - Fraction(1, 1000)), round(exact_us + Fraction(1, 1000)))
    }
    assert int(read.now[0]) in choices
