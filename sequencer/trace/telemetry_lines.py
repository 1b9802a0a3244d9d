"""The lines that the board program sends, version 1 of their form.

A line is ASCII and ends in ``*`` and four hexadecimal digits: the CRC-16/XMODEM (polynomial 0x1021, start 0;
"123456789" gives 31C3) of all that stands before the ``*``. Numbers between commas are hexadecimal, but for
the two times of G1 and the items at the end of T1.

==== ==================================================================================================
G1   gait, first 16 digits of its hash, tick in ms, telemetry in ms, groups that T1 carries (of i, s, o)
T1   now, stage, active phases (two digits each), flags, events since the line before, switches,
     overruns, then the items of each group: signals (i, raw), setpoints (s), outputs (o)
E1   now, sequence, phase left, phase entered, cause: a change of phase
P1   now of the tick before which it was applied, parameter, value: a parameter write
==== ==================================================================================================

An item is empty (nothing fresh), a decimal integer up to 65535, or ``#`` and the 8 digits of a binary32.
"""

import binascii
import re
from dataclasses import dataclass
from enum import Enum

import numpy as np

VERSION = 1
LONGEST_LINE = 4096  # bytes; the board's own lines stay far below it
RUNNING = 2  # the stage in which the gait runs; before it are waiting for sensors (0) and for enable (1)
FLAG_DRIVES, FLAG_HEARD, FLAG_HELPING, FLAG_STEPPING, FLAG_SKIPPED, FLAG_STEP = 1, 2, 4, 8, 16, 32
NOTHING = -1  # an empty item

_LINE = re.compile(rb"([GTEP])(\d{1,3}),[ -)+-~]*\*[0-9A-F]{4}")
_ANYWHERE_IN = re.compile(rb"(?:^|[\r\n \t>])[GTEP]\d{1,3},[ -)+-~]+\*[0-9A-F]{4}(?=[\r\n]|$)")
_HEAD = re.compile(rb"G1,([A-Za-z0-9_]{1,200}),([0-9A-Fa-f]{16}),(\d{1,9}),(\d{1,9}),(i?s?o?)")
_STATE = re.compile(
    rb"T1,([0-9A-F]{1,8}),([0-3]),((?:[0-9A-F]{2})+),([0-9A-F]{1,2}),([0-9A-F]{1,8}),([0-9A-F]{1,8}),"
    rb"([0-9A-F]{1,4})((?:,(?:\#[0-9A-F]{8}|0|[1-5]\d{4}|[1-9]\d{0,3}|6[0-4]\d{3}|65[0-4]\d\d|655[0-2]\d|6553[0-5]|))*)"
)
_MOVE = re.compile(rb"E1,([0-9A-F]{1,8}),([0-9A-F]{2}),([0-9A-F]{2}),([0-9A-F]{2}),([0-9A-F]{4})")
_WRITTEN = re.compile(rb"P1,([0-9A-F]{1,8}),([0-9A-F]{2}),#([0-9A-F]{8})")
_WHOLE = np.arange(65536).astype(np.float32).view(np.uint32).tolist()  # the bits of each decimal item


class Unused(Enum):
    """Why a line is not used; the value is what people are told."""

    TORN = "torn, or not of the telemetry"
    CHECKSUM = "of a wrong checksum"
    VERSION = "of another version of the telemetry"
    MISFIT = "not as the gait and the line G1 before them ask for"
    TWICE = "of a tick that was told already"
    HEADLESS = "before the first line G1, which says what the others hold"


@dataclass(frozen=True, slots=True)
class Head:
    """What a G1 line says; `carries` are the groups' letters."""

    gait: str
    sha: str
    tick_ms: int
    telemetry_ms: int
    carries: str


@dataclass(frozen=True, slots=True)
class State:
    """What a T1 line says. `items` are as they were written: `bits_of` reads them."""

    now: int
    stage: int
    phases: tuple[int, ...]
    flags: int
    events: int
    switches: int
    overruns: int
    items: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class Move:
    """What an E1 line says: a change of phase."""

    now: int
    sequence: int
    left: int
    entered: int
    cause: int


@dataclass(frozen=True, slots=True)
class Written:
    """What a P1 line says: parameter `parameter` was set to the binary32 with these bits."""

    now: int
    parameter: int
    bits: int


Told = Head | State | Move | Written


def checksum(text: bytes) -> int:
    """Compute the CRC-16/XMODEM, 0 to 65535.

    >>> f"{checksum(b'123456789'):04X}"
    '31C3'
    """
    return binascii.crc_hqx(text, 0)


def looks_like_telemetry(start: bytes) -> bool:
    """Tell whether the first part of a file holds a line such as the board program sends."""
    return _ANYWHERE_IN.search(start) is not None


def parse_line(raw: bytes) -> Told | Unused | None:
    """Read one line, with or without its end; None for remarks and empty lines."""
    line = raw.rstrip(b"\r\n")
    if not line or line == b"#" or line.startswith(b"# "):
        return None
    shape = _LINE.fullmatch(line) if len(line) <= LONGEST_LINE else None
    if shape is None:
        return Unused.TORN
    body, digits = line[:-5], line[-4:]
    if checksum(body) != int(digits, 16):
        return Unused.CHECKSUM
    if int(shape[2]) != VERSION:
        return Unused.VERSION
    return _READ[shape[1]](body) or Unused.MISFIT


def _head(body: bytes) -> Head | None:
    found = _HEAD.fullmatch(body)
    if found is None:
        return None
    gait, sha, tick, telemetry, carries = found.groups()
    head = Head(gait.decode(), sha.decode().lower(), int(tick), int(telemetry), carries.decode())
    return head if head.tick_ms else None


def _state(body: bytes) -> State | None:
    found = _STATE.fullmatch(body)
    if found is None:
        return None
    now, stage, phases, flags, events, switches, overruns, items = found.groups()
    return State(
        now=int(now, 16),
        stage=int(stage),
        phases=tuple(bytes.fromhex(phases.decode())),
        flags=int(flags, 16),
        events=int(events, 16),
        switches=int(switches, 16),
        overruns=int(overruns, 16),
        items=tuple(items.split(b",")[1:]),
    )


def bits_of(item: bytes) -> int:
    """Read an item of a T1 line: the bits of its number as binary32, or NOTHING for an empty one."""
    if not item:
        return NOTHING
    return int(item[1:], 16) if item[:1] == b"#" else _WHOLE[int(item)]


def _move(body: bytes) -> Move | None:
    found = _MOVE.fullmatch(body)
    return None if found is None else Move(*(int(group, 16) for group in found.groups()))


def _written(body: bytes) -> Written | None:
    found = _WRITTEN.fullmatch(body)
    return None if found is None else Written(*(int(group, 16) for group in found.groups()))


_READ = {b"G": _head, b"T": _state, b"E": _move, b"P": _written}
