"""Where a board's pins are in its controller, as the board's own core says it."""

import re
from dataclasses import dataclass
from functools import cache

from sequencer.build.arduino_core import find_core
from sequencer.plan.boards import BOARDS

# data addresses of the ATmega328P and 2560 (their data sheets, "Register Summary"); DDR is one below PORT
PORTS = {
    "A": 0x22,
    "B": 0x25,
    "C": 0x28,
    "D": 0x2B,
    "E": 0x2E,
    "F": 0x31,
    "G": 0x34,
    "H": 0x102,
    "J": 0x105,
    "K": 0x108,
    "L": 0x10B,
}
CONTROLS = {0: 0x44, 1: 0x80, 2: 0xB0, 3: 0x90, 4: 0xA0, 5: 0x120}  # TCCRnA
COMPARES = {
    "0A": 0x47,
    "0B": 0x48,
    "1A": 0x88,
    "1B": 0x8A,
    "1C": 0x8C,
    "2A": 0xB3,
    "2B": 0xB4,
    "3A": 0x98,
    "3B": 0x9A,
    "3C": 0x9C,
    "4A": 0xA8,
    "4B": 0xAA,
    "4C": 0xAC,
    "5A": 0x128,
    "5B": 0x12A,
    "5C": 0x12C,
}
MODES = {"A": 0xC0, "B": 0x30, "C": 0x0C}  # the bits of TCCRnA that connect a pin


@dataclass(frozen=True)
class Pin:
    letter: str
    bit: int
    timer: str  # such as 3B, empty without PWM

    def watch(self, name: str) -> str:
        """The line of an emulator's script that watches this pin."""
        port = PORTS[self.letter]
        ocr = com = mask = 0
        if self.timer:
            ocr, com, mask = COMPARES[self.timer], CONTROLS[int(self.timer[0])], MODES[self.timer[1]]
        return f"w {name} {port:X} {self.bit} {port - 1:X} {ocr:X} {com:X} {mask:X}"


def _table(text: str, name: str) -> list[str]:
    body = re.search(name + r"\[\] = \{(.*?)\};", text, re.S)
    assert body is not None, name
    # of two families of controllers in one table we have the second
    ours = re.sub(r"#if defined\(__AVR_ATmega8__\)\n.*?#else\n(.*?)#endif", r"\1", body[1], flags=re.S)
    plain = re.sub(r"//[^\n]*|/\*.*?\*/", "", ours)
    return [item.strip() for item in re.split(r",(?![^(]*\))", plain) if item.strip()]


@cache
def pins_of(board: str) -> tuple[Pin, ...]:
    path = find_core() / "variants" / BOARDS[board].variant / "pins_arduino.h"
    text = path.read_text(encoding="utf-8")
    ports = _table(text, "digital_pin_to_port_PGM")
    masks = _table(text, "digital_pin_to_bit_mask_PGM")
    timers = _table(text, "digital_pin_to_timer_PGM")
    rows = []
    for port, mask, timer in zip(ports, masks, timers, strict=True):
        bit = re.search(r"\d", mask)
        assert bit is not None
        name = timer.removeprefix("TIMER") if timer.startswith("TIMER") else ""
        rows.append(Pin(port[-1], int(bit[0]), name))
    return tuple(rows)
