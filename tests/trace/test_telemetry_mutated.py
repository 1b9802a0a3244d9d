"""Logs that were damaged on the way: nothing wrong is accepted, and nothing but a clear error comes out."""

import io
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from support.telemetry_logs import crc, head, line
from support.trace_plans import plan as hand_made
from support.trace_plans import signal

from sequencer.base.errors import TraceError
from sequencer.trace.read import open_trace
from sequencer.trace.telemetry_lines import Unused, parse_line

SMALL = replace(hand_made(signal("roll"), signal("knee", "mm")), sha="0123456789abcdef" * 4)
LINES = [
    b"# small, started\n",
    head(SMALL, carries="i"),
    line("P1,0,01,#41200000"),
    line("E1,0,00,00,00,0100"),
    *(line(f"T1,{i * 10:X},2,0{i // 4},3,{i % 3:X},1,0,{i * 7},#3F{i:02X}0000") for i in range(8)),
    line("E1,28,00,00,01,0300"),
    b"# ?\n",
]
GOOD = {raw.rstrip(b"\r\n") for raw in LINES}

at = st.integers(0, 200)
edit = st.one_of(
    st.tuples(st.just("set"), at, st.integers(0, 255)),
    st.tuples(st.just("flip"), at, st.integers(0, 7)),
    st.tuples(st.just("insert"), at, st.binary(min_size=1, max_size=6)),
    st.tuples(st.just("delete"), at, st.integers(1, 40)),
    st.tuples(st.just("double"), at, st.integers(1, 40)),
)


def damaged(raw: bytes, edits: list[tuple[str, int, object]]) -> bytes:
    data = bytearray(raw)
    for kind, where, what in edits:
        i = where % (len(data) + 1)
        if kind == "insert":
            data[i:i] = what  # type: ignore[call-overload]
        elif kind == "delete":
            del data[i : i + what]  # type: ignore[operator]
        elif kind == "double":
            data[i:i] = data[i : i + what]  # type: ignore[operator]
        elif i < len(data):
            data[i] = what if kind == "set" else data[i] ^ 1 << what  # type: ignore[operator,assignment]
    return bytes(data)


def checksum_is_right(raw: bytes) -> bool:
    body, star, digits = raw.rstrip(b"\r\n").rpartition(b"*")
    return bool(star) and len(digits) == 4 and f"{crc(body):04X}".encode() == digits


@settings(max_examples=4000, deadline=None, derandomize=True)
@given(which=st.integers(0, len(LINES) - 1), edits=st.lists(edit, min_size=1, max_size=4))
def test_no_damaged_line_is_accepted(which: int, edits: list[tuple[str, int, object]]) -> None:
    for raw in damaged(LINES[which], edits).split(b"\n"):
        told = parse_line(raw)
        if told is None:
            assert raw.rstrip(b"\r") in (b"", b"#") or raw.startswith(b"# ")
        elif not isinstance(told, Unused):
            assert raw.rstrip(b"\r") in GOOD or checksum_is_right(raw)  # one in 65,536 cannot be told


@settings(max_examples=1500, deadline=None, derandomize=True)
@given(edits=st.lists(st.tuples(st.integers(0, 2000), edit), min_size=1, max_size=12))
def test_a_damaged_log_gives_a_clear_error_or_only_ticks_that_were_sent(
    edits: list[tuple[int, tuple[str, int, object]]],
) -> None:
    data = b"".join(LINES)
    for offset, (kind, where, what) in edits:
        i = offset % (len(data) + 1)
        data = data[:i] + damaged(data[i:], [(kind, where, what)])
    sent = {(i * 10, i * 7.0) for i in range(8)}
    try:
        reader = open_trace(io.BytesIO(data), SMALL)
        blocks = list(reader)
    except TraceError as error:
        assert error.place.line >= 1
        assert error.expected or error.message.endswith("empty")
        return
    if not reader.of_machine:
        return
    accepted = {raw.rstrip(b"\r") for raw in data.split(b"\n") if checksum_is_right(raw)}
    if accepted <= GOOD:
        for block in blocks:
            fresh = block.fresh[:, 0] != 0
            assert set(zip(block.now[fresh].tolist(), block.raw[fresh, 0].tolist(), strict=True)) <= sent


def test_a_damaged_line_with_a_right_checksum_would_be_accepted() -> None:
    # what the tests above rest on: without its checksum this lie is told from the truth by nothing
    assert not isinstance(parse_line(line("T1,A,2,00,3,0,1,0,7,#3F010000").replace(b",7,", b",8,")), tuple)
    assert parse_line(b"T1,A,2,00,3,0,1,0,8,#3F010000*0000") is Unused.CHECKSUM
    assert not isinstance(parse_line(line("T1,A,2,00,3,0,1,0,8,#3F010000")), Unused)


def test_every_single_changed_byte_is_noticed() -> None:
    raw = LINES[5].rstrip(b"\n")
    for i in range(len(raw)):
        for byte in range(256):
            wrong = raw[:i] + bytes([byte]) + raw[i + 1 :]
            assert wrong == raw or isinstance(parse_line(wrong), Unused) or b"\n" in wrong or b"\r" in wrong
