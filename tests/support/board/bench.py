"""A board on a bench: what happens to it, a run on the emulator, and what it did."""

import functools
import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from sequencer.build.cache import cached, content_key
from sequencer.build.emulators import build_avr_emulator
from sequencer.plan.boards import BOARDS
from support.board.pins import Pin, pins_of

SOURCE = Path(__file__).with_name("emulator.c")


@functools.cache
def emulator() -> Path:
    key = content_key([SOURCE.read_text(encoding="ascii")])
    return cached(key, lambda folder: build_avr_emulator(SOURCE, folder / "emulator"))


@dataclass(frozen=True)
class Line:
    """A line of text that the board sent; `at` in seconds, when its last byte had been given to the port."""

    at: float
    text: str


@dataclass(frozen=True)
class Change:
    at: float
    level: int


@dataclass
class Outcome:
    """What a board did."""

    lines: dict[int, list[Line]]
    changes: dict[str, list[Change]]
    resets: list[float]
    crashed: bool
    eeprom: bytes
    stack: int = 0  # bytes that it took at most
    torn: dict[int, str] = field(default_factory=dict)

    def log(self, port: int = 0) -> str:
        return "".join(f"{line.text}\n" for line in self.lines.get(port, []))

    def said(self, text: str, port: int = 0) -> list[float]:
        """When it said a line that has this in it."""
        return [line.at for line in self.lines.get(port, []) if text in line.text]

    def level(self, name: str, at: float) -> int:
        """What a watched pin was at a time, 0 to 255; -1 for no output."""
        before = [change.level for change in self.changes.get(name, []) if change.at <= at]
        return before[-1] if before else -1

    def most(self, name: str, begin: float, end: float) -> int:
        """The most that a watched pin was in a stretch of time."""
        between = [c.level for c in self.changes.get(name, []) if begin < c.at <= end]
        return max([self.level(name, begin), *between])


class Bench:
    """Collects what happens to a board, then runs it."""

    def __init__(self, board: str, bauds: dict[int, int]) -> None:
        self.board = board
        self._bauds = bauds
        self._things: list[tuple[float, str]] = []
        self._watched: dict[str, Pin] = {}
        self._eeprom = b""

    def pin(self, number: int) -> Pin:
        return pins_of(self.board)[number]

    def watch(self, name: str, number: int) -> None:
        self._watched[name] = self.pin(number)

    def eeprom(self, content: bytes) -> None:
        self._eeprom = content

    def send(self, at: float, text: "str | bytes", port: int = 0) -> None:
        data = text.encode("latin-1") if isinstance(text, str) else text
        for start in range(0, len(data), 2000):
            self._things.append((at, f"b {port} {data[start : start + 2000].hex()}"))

    def volts(self, at: float, channel: int, volts: float) -> None:
        self._things.append((at, f"a {channel} {round(volts * 1000)}"))

    def counts(self, at: float, channel: int, counts: float) -> None:
        """Put an analog pin where it reads this (simavr: millivolts * 1023 / 5000, rounded down)."""
        self._things.append((at, f"a {channel} {int(counts * 5000 / 1023) + 1}"))

    def pull(self, at: float, number: int, level: int) -> None:
        pin = self.pin(number)
        self._things.append((at, f"p {pin.letter} {pin.bit} {level}"))

    def run(self, program: Path, folder: Path, until: float) -> Outcome:
        lines = [pin.watch(name) for name, pin in self._watched.items()]
        lines += [f"u {port} {baud}" for port, baud in self._bauds.items()]
        if self._eeprom:
            lines.append(f"e {self._eeprom.hex()}")
        things = sorted((thing for thing in self._things if thing[0] < until), key=lambda thing: thing[0])
        lines += [f"{at * 1e6:.2f} {what}" for at, what in things]
        lines.append(f"{until * 1e6:.2f} end")
        script, kept = folder / "script.txt", folder / "eeprom.bin"
        script.write_text("\n".join(lines) + "\n", encoding="ascii")
        done = subprocess.run(
            [emulator(), BOARDS[self.board].mcu, program, script, kept],
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return _outcome(done.stdout.splitlines(), kept.read_bytes())


def _outcome(log: Sequence[str], eeprom: bytes) -> Outcome:
    found = Outcome({}, {}, [], False, eeprom)
    open_lines: dict[int, bytearray] = {}
    for entry in log:
        at_text, kind, *rest = entry.split(" ")
        at = float(at_text) / 1e6
        if kind == "u":
            port, byte = int(rest[0]), int(rest[1], 16)
            text = open_lines.setdefault(port, bytearray())
            if byte == 0x0A:
                found.lines.setdefault(port, []).append(Line(at, text.decode("latin-1")))
                text.clear()
            else:
                text.append(byte)
        elif kind == "w":
            found.changes.setdefault(rest[0], []).append(Change(at, int(rest[1])))
        elif kind == "s":
            found.stack = int(rest[0])
        elif kind == "r":
            found.resets.append(at)
        else:
            found.crashed = True
    found.torn = {port: bytes(text).decode("latin-1") for port, text in open_lines.items() if text}
    return found


def telemetry(outcome: Outcome, kind: str = "T1", port: int = 0) -> list[list[str]]:
    """The fields of all lines of a kind, without checksum."""
    pattern = re.compile(rf"({kind},.*)\*[0-9A-F]{{4}}")
    matches = [pattern.fullmatch(line.text) for line in outcome.lines.get(port, [])]
    return [match[1].split(",") for match in matches if match is not None]


def number_of(item: str) -> float:
    """What an item of telemetry says."""
    return float(np.uint32(int(item[1:], 16)).view(np.float32)) if item.startswith("#") else float(item)
