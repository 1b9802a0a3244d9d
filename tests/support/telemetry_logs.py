"""Telemetry logs as a board writes them, made from what an executor was given and what it recorded.

The form and the checksum stand here a second time, written from the description of the lines alone: the
CRC is the bit-by-bit definition of CRC-16/XMODEM (G. Cook, "Catalogue of parametrised CRC algorithms":
width 16, poly 0x1021, init 0, not reflected, xorout 0, check 0x31C3; cited from memory).
"""

import struct
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import HistoryBlock
from sequencer.history.following import followed_inputs
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, HELPING, STEP, STEPPING, TickBlock
from sequencer.trace.follow import FollowPlant
from sequencer.trace.record import join_blocks

RUNNING = 2


def crc(text: bytes) -> int:
    """CRC-16/XMODEM, bit by bit."""
    register = 0
    for byte in text:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1 ^ 0x1021 if register & 0x8000 else register << 1) & 0xFFFF
    return register


def line(text: str) -> bytes:
    """Give a whole line: the text, its checksum, the line's end."""
    return f"{text}*{crc(text.encode()):04X}\n".encode()


def bits_of(x: float) -> str:
    """Spell the bits of a binary32; what is too large for it is infinite."""
    with np.errstate(over="ignore"):
        return struct.pack(">f", np.float32(x)).hex().upper()


def number(x: float) -> str:
    """Spell an item: small whole numbers in decimal, the rest by its bits."""
    if 0 <= x <= 65535 and x == int(x) and bits_of(x) != "80000000":
        return str(int(x))
    return "#" + bits_of(x)


def as_raw(plan: Plan, block: TickBlock) -> TickBlock:
    """Turn values into raw samples: whole counts if the signal has a scale, as an analog pin gives them."""
    raw = block.raw.copy()
    for i, signal in enumerate(plan.signals):
        values = block.fresh[:, i] == FRESH_VALUE
        unscaled = (raw[values, i].astype(np.float64) - signal.bias) / signal.gain
        with np.errstate(over="ignore", invalid="ignore"):
            raw[values, i] = np.rint(unscaled) if signal.scaled else unscaled
    return replace(block, raw=raw, fresh=np.where(block.fresh == 0, 0, FRESH_RAW).astype(np.uint8))


def on_a_board(plan: Plan, block: TickBlock) -> TickBlock:
    """Set the clock as a board's runs: from 0, by one tick, or by several where it came too late."""
    steps = np.maximum(1, np.diff(block.now) // np.uint32(plan.tick_ms)).astype(np.uint64)
    now = np.concatenate([[0], np.cumsum(np.minimum(steps, 1000))]) * plan.tick_ms
    return replace(as_raw(plan, block), now=now.astype(np.uint32))


def walked(plan: Plan, ticks: int) -> tuple[TickBlock, HistoryBlock]:
    """Let the machine follow for so many ticks: what its board was given, and what it did."""
    plant = FollowPlant(plan)
    block = as_raw(plan, join_blocks(list(followed_inputs(ReferenceExecutor(plan), plant, ticks))))
    return block, ReferenceExecutor(plan).run(block)


def head(plan: Plan, *, carries: str = "iso", telemetry_ms: int = 0, sha: str = "") -> bytes:
    """Give the line that a run begins with."""
    every = telemetry_ms or plan.tick_ms
    return line(f"G1,{plan.name},{(sha or plan.sha)[:16]},{plan.tick_ms},{every},{carries}")


def run_lines(
    plan: Plan,
    block: TickBlock,
    record: HistoryBlock,
    *,
    carries: str = "iso",
    every: int = 1,
    flags: int = 0,
) -> list[bytes]:
    """Give the lines of a run, one T1 every so many ticks; signals keep the last sample in between."""
    lines = [head(plan, carries=carries, telemetry_ms=every * plan.tick_ms)]
    items: list[str] = [""] * len(plan.signals)
    events, heard = 0, False
    for row in range(len(block)):
        now = int(block.now[row])
        for write in block.writes:
            if write.row == row:
                bits = bits_of(write.value)
                lines.append(line(f"P1,{now:X},{write.parameter:02X},#{bits}"))
        for sequence, cause in enumerate(record.cause[row].tolist()):
            if cause:
                left = int(record.phase[max(row - 1, 0), sequence])
                entered = int(record.phase[row, sequence])
                lines.append(line(f"E1,{now:X},{sequence:02X},{left:02X},{entered:02X},{cause:04X}"))
        for i in np.flatnonzero(block.fresh[row]):
            items[i] = number(float(block.raw[row, i]))
        events |= int(block.events[row])
        heard |= bool(block.control[row] & HEARD)
        if row % every == 0:
            helped = _helped(int(block.control[row])) if plan.helping else 0
            late = 16 if row and now - int(block.now[row - 1]) > plan.tick_ms else 0
            lines.append(
                _state(plan, block, record, row, (items, events, heard), carries, flags | late | helped)
            )
            items, events, heard = [""] * len(plan.signals), 0, False
    return lines


def _helped(control: int) -> int:
    """Spell in flags how a tick was helped; with less than a line in every tick, that of the line's own."""
    return (4 if control & HELPING else 0) | (8 if control & STEPPING else 0) | (32 if control & STEP else 0)


def _state(
    plan: Plan,
    block: TickBlock,
    record: HistoryBlock,
    row: int,
    gathered: tuple[Sequence[str], int, bool],
    carries: str,
    flags: int,
) -> bytes:
    items, events, heard = gathered
    phases = "".join(f"{phase:02X}" for phase in record.phase[row].tolist())
    flags |= int(record.drives[row]) | (2 if heard and plan.remote is not None else 0)
    fields = [f"T1,{int(block.now[row]):X}", str(RUNNING), phases, f"{flags:X}", f"{events:X}"]
    fields += [f"{int(block.switches[row]):X}", "0"]
    if "i" in carries:
        fields += items
    if "s" in carries:
        fields += [number(float(x)) for x in record.setpoint[row]]
    if "o" in carries:
        fields += [number(float(x)) for x in record.output[row]]
    return line(",".join(fields))
