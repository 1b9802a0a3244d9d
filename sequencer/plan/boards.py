"""The boards that we know: their pins, ports and memory.

The numbers are those of the boards' open-source core (LGPL): its ``boards.txt`` and the
``pins_arduino.h`` of each variant. Which pins carry a serial port, EEPROM sizes and the clock are in the
controllers' data sheets, too.
"""

from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True, slots=True)
class SerialPins:
    """A serial port: its name in a machine file, its receive and transmit pins, None for a port over USB."""

    name: str
    rx: int | None
    tx: int | None


@dataclass(frozen=True, slots=True)
class Board:
    """What there is on a board. Pins are numbers as its core counts digital pins.

    mcu: the controller, as the compiler's -mmcu and avrdude's -p call it. flash: bytes for a program, less
    the boot loader. ram, eeprom: bytes. digital: pins 0 to digital - 1 read and write. analog: the number of
    A0, A1 ... analog_only: those of them that cannot be written or pulled up. pwm: pins with their timer.
    interrupts: pins with an external interrupt of their own. ports: `serial` first. aliases: second numbers
    of a pin. servo_timers: those that the servo library of the core takes, 12 servos each, in this order.
    native_usb: the controller itself is the USB port: no baud, and uploading opens it at 1200 baud first.
    """

    name: str
    title: str
    mcu: str
    clock_hz: int
    flash: int
    ram: int
    eeprom: int
    digital: int
    analog: tuple[int, ...]
    analog_only: tuple[int, ...]
    pwm: tuple[tuple[int, int], ...]
    interrupts: tuple[int, ...]
    ports: tuple[SerialPins, ...]
    spi: tuple[int, int, int, int]  # ss, mosi, miso, sck
    i2c: tuple[int, int]  # sda, scl
    led: int
    logic_v: float
    protocol: str  # of the boot loader, as avrdude's -c
    upload_baud: int
    servo_timers: tuple[int, ...]
    variant: str
    fqbn: str
    native_usb: bool = False
    aliases: tuple[tuple[int, int], ...] = ()

    def number(self, text: str) -> int | None:
        """Give the number of a pin as a file writes it, ``13`` or ``A0``; None if the board lacks it."""
        if text.startswith("A") and text[1:].isdecimal():
            index = int(text[1:])
            return self.analog[index] if index < len(self.analog) else None
        if not text.isdecimal():
            return None
        number = int(text)
        return number if number < self.digital or number in self.analog else None

    def same(self, number: int) -> int:
        """Give the lowest number that means the same pin."""
        return dict(self.aliases).get(number, number)

    def port(self, name: str) -> SerialPins | None:
        """Find a serial port."""
        return next((port for port in self.ports if port.name == name), None)

    def timer(self, number: int) -> int | None:
        """Give the timer behind a PWM pin, None for a pin without PWM."""
        return dict(self.pwm).get(self.same(number))

    def without_pwm(self, servos: int) -> tuple[int, ...]:
        """List the pins whose PWM is gone with so many servos: their timer makes the servos' pulses."""
        timers = self.servo_timers[: -(-servos // SERVOS_PER_TIMER)]
        return tuple(pin for pin, timer in self.pwm if timer in timers)


SERVOS_PER_TIMER = 12

_SERIAL = (SerialPins("serial", 0, 1),)
_UNO_PWM = ((3, 2), (5, 0), (6, 0), (9, 1), (10, 1), (11, 2))

_UNO = Board(
    name="uno",
    title="Uno (ATmega328P)",
    mcu="atmega328p",
    clock_hz=16_000_000,
    flash=32_256,
    ram=2_048,
    eeprom=1_024,
    digital=20,
    analog=tuple(range(14, 20)),
    analog_only=(),
    pwm=_UNO_PWM,
    interrupts=(2, 3),
    ports=_SERIAL,
    spi=(10, 11, 12, 13),
    i2c=(18, 19),
    led=13,
    logic_v=5.0,
    protocol="arduino",
    upload_baud=115_200,
    servo_timers=(1,),
    variant="standard",
    fqbn="arduino:avr:uno",
)

_NANO = replace(
    _UNO,
    name="nano",
    title="Nano (ATmega328P)",
    flash=30_720,
    analog=tuple(range(14, 22)),
    analog_only=(20, 21),
    variant="eightanaloginputs",
    fqbn="arduino:avr:nano:cpu=atmega328",
)

# older Nanos, and many copies, listen at half the speed
_NANO_OLD = replace(
    _NANO,
    name="nano_old",
    title="Nano with the old boot loader (ATmega328P)",
    upload_baud=57_600,
    fqbn="arduino:avr:nano:cpu=atmega328old",
)

_MEGA2560 = Board(
    name="mega2560",
    title="Mega 2560 (ATmega2560)",
    mcu="atmega2560",
    clock_hz=16_000_000,
    flash=253_952,
    ram=8_192,
    eeprom=4_096,
    digital=70,
    analog=tuple(range(54, 70)),
    analog_only=(),
    pwm=(
        *((2, 3), (3, 3), (4, 0), (5, 3), (6, 4), (7, 4), (8, 4), (9, 2), (10, 2), (11, 1), (12, 1)),
        *((13, 0), (44, 5), (45, 5), (46, 5)),
    ),
    interrupts=(2, 3, 18, 19, 20, 21),
    ports=(
        *_SERIAL,
        SerialPins("serial1", 19, 18),
        SerialPins("serial2", 17, 16),
        SerialPins("serial3", 15, 14),
    ),
    spi=(53, 51, 50, 52),
    i2c=(20, 21),
    led=13,
    logic_v=5.0,
    protocol="wiring",
    upload_baud=115_200,
    servo_timers=(5, 1, 3, 4),
    variant="mega",
    fqbn="arduino:avr:mega:cpu=atmega2560",
)

_LEONARDO = Board(
    name="leonardo",
    title="Leonardo (ATmega32U4)",
    mcu="atmega32u4",
    clock_hz=16_000_000,
    flash=28_672,
    ram=2_560,
    eeprom=1_024,
    digital=31,
    analog=tuple(range(18, 30)),
    analog_only=(),
    pwm=((3, 0), (5, 3), (6, 4), (9, 1), (10, 1), (11, 0), (13, 4)),
    interrupts=(0, 1, 2, 3, 7),
    ports=(SerialPins("serial", None, None), SerialPins("serial1", 0, 1)),
    spi=(17, 16, 14, 15),
    i2c=(2, 3),
    led=13,
    logic_v=5.0,
    protocol="avr109",
    upload_baud=57_600,
    servo_timers=(1,),
    variant="leonardo",
    fqbn="arduino:avr:leonardo",
    native_usb=True,
    aliases=((24, 4), (25, 6), (26, 8), (27, 9), (28, 10), (29, 12)),
)

_MICRO = Board(
    name="micro",
    title="Micro (ATmega32U4)",
    mcu="atmega32u4",
    clock_hz=16_000_000,
    flash=28_672,
    ram=2_560,
    eeprom=1_024,
    digital=31,
    analog=tuple(range(18, 30)),
    analog_only=(),
    pwm=_LEONARDO.pwm,
    interrupts=_LEONARDO.interrupts,
    ports=_LEONARDO.ports,
    spi=_LEONARDO.spi,
    i2c=_LEONARDO.i2c,
    led=13,
    logic_v=5.0,
    protocol="avr109",
    upload_baud=57_600,
    servo_timers=(1,),
    variant="micro",
    fqbn="arduino:avr:micro",
    native_usb=True,
    aliases=_LEONARDO.aliases,
)

BOARDS: Final[dict[str, Board]] = {
    board.name: board for board in (_UNO, _NANO, _NANO_OLD, _MEGA2560, _LEONARDO, _MICRO)
}
