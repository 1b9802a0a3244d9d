"""The boards that we know, against their core's own files.

Source: Debian's arduino-core-avr 1.8.7 (LGPL), its boards.txt and the variants' headers, compiled for the
controller by avr-g++; memory sizes from avr-libc's headers. The ports' pins: data sheets of the
controllers, by the names of their port pins (from memory; the Mega's are in its variant's remarks, too).
"""

import re
import struct
import subprocess
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import pytest

from sequencer.plan.boards import BOARDS, Board

CORE = Path("/usr/share/arduino/hardware/arduino/avr")
MENU = {
    "nano": "menu.cpu.atmega328.",
    "nano_old": "menu.cpu.atmega328old.",
    "mega2560": "menu.cpu.atmega2560.",
}
IN_BOARDS_TXT = {"mega2560": "mega", "nano_old": "nano"}

# <port pin>: receive, transmit of each serial port
USART = {
    "atmega328p": {"serial": ("PD0", "PD1")},
    "atmega2560": {
        "serial": ("PE0", "PE1"),
        "serial1": ("PD2", "PD3"),
        "serial2": ("PH0", "PH1"),
        "serial3": ("PJ0", "PJ1"),
    },
    "atmega32u4": {"serial1": ("PD2", "PD3")},
}

SOURCE = """\
#define ARDUINO_MAIN
#include <Arduino.h>
#define PIN(p) digitalPinHasPWM(p) ? 1 : 0, digitalPinToInterrupt(p) != NOT_AN_INTERRUPT
#define TEN(p) PIN(p), PIN(p + 1), PIN(p + 2), PIN(p + 3), PIN(p + 4), PIN(p + 5), PIN(p + 6), PIN(p + 7), \\
    PIN(p + 8), PIN(p + 9)
__attribute__((section("facts"), used)) const unsigned short facts[] = {
    NUM_DIGITAL_PINS, NUM_ANALOG_INPUTS, PIN_A0, SS, MOSI, MISO, SCK, SDA, SCL, LED_BUILTIN,
    E2END + 1, RAMEND - RAMSTART + 1, F_CPU / 1000,
    TEN(0), TEN(10), TEN(20), TEN(30), TEN(40), TEN(50), TEN(60)
};
"""


@dataclass(frozen=True)
class Facts:
    head: tuple[int, ...]
    pwm: list[int]
    interrupts: list[int]
    timers: bytes
    places: list[tuple[int, int]]  # port and bit mask of each pin


def settings(board: str) -> dict[str, str]:
    """Read a board's lines of boards.txt, those of its controller's menu put in the place of the general."""
    prefix = f"{IN_BOARDS_TXT.get(board, board)}."
    pairs = re.findall(r"^([^#\s=]+)=(.*)$", (CORE / "boards.txt").read_text(encoding="utf-8"), re.M)
    own = {key[len(prefix) :]: value.strip() for key, value in pairs if key.startswith(prefix)}
    menu = MENU.get(board, "no menu")
    return own | {key[len(menu) :]: value for key, value in own.items() if key.startswith(menu)}


@lru_cache(maxsize=8)
def facts(name: str) -> Facts:
    told = settings(name)
    source = [
        "avr-g++",
        f"-mmcu={told['build.mcu']}",
        f"-DF_CPU={told['build.f_cpu']}",
        "-x",
        "c++",
        "-c",
        "-",
    ]
    folders = [f"-I{CORE}/cores/arduino", f"-I{CORE}/variants/{told['build.variant']}"]
    more = ["-DUSB_VID=1", "-DUSB_PID=1", "-DARDUINO=10812", "-w", "-o"]
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "facts.o"
        subprocess.run([*source, *folders, *more, str(program)], input=SOURCE.encode(), check=True)
        own = section(program, "facts")
        tables = section(program, ".progmem.data")
        starts = symbols(program)
    numbers = struct.unpack(f"<{len(own) // 2}H", own)
    head, rows = numbers[:13], numbers[13:]
    count = head[0]

    def table(symbol: str) -> bytes:
        return tables[starts[symbol] : starts[symbol] + count]

    return Facts(
        head,
        [pin for pin in range(count) if rows[2 * pin]],
        [pin for pin in range(count) if rows[2 * pin + 1]],
        table("digital_pin_to_timer_PGM"),
        list(zip(table("digital_pin_to_port_PGM"), table("digital_pin_to_bit_mask_PGM"), strict=True)),
    )


def section(program: Path, name: str) -> bytes:
    out = program.with_suffix(".bin")
    subprocess.run(["avr-objcopy", "-O", "binary", "-j", name, str(program), str(out)], check=True)
    return out.read_bytes()


def symbols(program: Path) -> dict[str, int]:
    said = subprocess.run(["avr-nm", str(program)], capture_output=True, text=True, check=True).stdout
    return {row.split()[2]: int(row.split()[0], 16) for row in said.splitlines() if len(row.split()) == 3}


every_board = pytest.mark.parametrize("board", BOARDS.values(), ids=lambda board: board.name)


@every_board
def test_controller_memory_and_upload_are_those_of_boards_txt(board: Board) -> None:
    told = settings(board.name)
    assert board.mcu == told["build.mcu"]
    assert board.clock_hz == int(told["build.f_cpu"].rstrip("L"))
    assert board.flash == int(told["upload.maximum_size"])
    assert board.ram == int(told["upload.maximum_data_size"])
    assert board.protocol == told["upload.protocol"]
    assert board.upload_baud == int(told["upload.speed"])
    assert board.variant == told["build.variant"]
    assert board.native_usb == (told.get("upload.use_1200bps_touch") == "true")
    assert board.fqbn.startswith(f"arduino:avr:{IN_BOARDS_TXT.get(board.name, board.name)}")


@every_board
def test_pins_are_those_of_the_variant(board: Board) -> None:
    digital, analogs, first, *buses, eeprom, ram, khz = facts(board.name).head
    assert board.digital == digital
    assert board.analog == tuple(range(first, first + analogs))
    assert board.analog_only == tuple(pin for pin in board.analog if pin >= digital)
    assert [*board.spi, *board.i2c, board.led] == buses
    assert (board.eeprom, board.ram, board.clock_hz) == (eeprom, ram, khz * 1000)


@every_board
def test_pwm_pins_their_timers_and_interrupt_pins_are_those_of_the_variant(board: Board) -> None:
    found = facts(board.name)
    assert [pin for pin, _ in board.pwm] == found.pwm
    assert list(board.interrupts) == found.interrupts
    numbers = timer_numbers(board)
    assert {pin: numbers[found.timers[pin]] for pin in found.pwm} == dict(board.pwm)


def timer_numbers(board: Board) -> dict[int, int]:
    """Read from Arduino.h what number stands for which timer."""
    text = (CORE / "cores/arduino/Arduino.h").read_text(encoding="utf-8")
    pairs = re.findall(r"#define TIMER(\d)[A-D]? +(\d+)", text)
    return {int(number): int(timer) for timer, number in pairs}


@every_board
def test_pins_with_two_numbers_are_known(board: Board) -> None:
    places = facts(board.name).places
    first = {place: pin for pin, place in reversed(list(enumerate(places)))}
    assert dict(board.aliases) == {
        pin: first[place] for pin, place in enumerate(places) if first[place] != pin
    }


@every_board
def test_serial_ports_are_on_the_controllers_pins(board: Board) -> None:
    places = facts(board.name).places
    for port in board.ports:
        if port.rx is None or port.tx is None:
            assert board.native_usb
            continue
        for pin, name in zip((port.rx, port.tx), USART[board.mcu][port.name], strict=True):
            assert places[pin] == (ord(name[1]) - ord("A") + 1, 1 << int(name[2]))
    wired = {port.name for port in board.ports if port.rx is not None}
    assert wired == set(USART[board.mcu])


def test_servos_take_pwm_pins_away() -> None:
    # table of the servo library's page, https://www.arduino.cc/playground/Code/MegaServo/
    mega, uno = BOARDS["mega2560"], BOARDS["uno"]
    assert mega.without_pwm(0) == ()
    assert mega.without_pwm(1) == mega.without_pwm(12) == (44, 45, 46)
    assert mega.without_pwm(13) == mega.without_pwm(24) == (11, 12, 44, 45, 46)
    assert mega.without_pwm(48) == (2, 3, 5, 6, 7, 8, 11, 12, 44, 45, 46)
    assert uno.without_pwm(1) == (9, 10)


def test_pins_are_found_by_what_a_file_says() -> None:
    uno, nano = BOARDS["uno"], BOARDS["nano"]
    assert [uno.number(text) for text in ("0", "19", "A0", "A5")] == [0, 19, 14, 19]
    assert [uno.number(text) for text in ("20", "A6", "LED_BUILTIN", "A", "-1")] == [None] * 5
    assert nano.number("A7") == nano.number("21") == 21
