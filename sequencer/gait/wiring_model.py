"""The `wiring:` of a machine file: which pin, serial line or hook stands behind each name."""

import re
from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    PlainValidator,
    StrictBool,
    StrictInt,
    WithJsonSchema,
    model_validator,
)

from sequencer.gait.blocks import Accepting, Block, Repeatable
from sequencer.gait.fields import Amount, Name, Span, fail

_PIN = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,23}|[0-9]{1,3}")
_PORT = re.compile(r"serial[1-9]?")
_BOARD = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,39}")
_PORT_EXPECTED = "serial (the programming port), serial1, serial2 ..."


def to_pin(value: Any) -> str:
    """Accept a pin as the board's core counts it: ``13``, ``A0``; for other boards, a constant's name."""
    if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
        value = str(value)
    if not isinstance(value, str) or not _PIN.fullmatch(value):
        shown = str(value)[:24]
        raise fail("wrong-type", f"{shown!r} is no pin", "a pin's number, 13, or A0", pin_meant(shown))
    return str(int(value)) if value.isdecimal() else value


def pin_meant(text: str) -> str:
    """Say how a text that is no pin was probably meant: ``D13``, ``a0``, ``pin 4``."""
    meant = re.fullmatch(r"(?:[dDp]|pin)?_? ?([aA]?)([0-9]{1,3})", text)
    return f"write {meant[1].upper()}{meant[2]}" if meant and f"{meant[1].upper()}{meant[2]}" != text else ""


def to_port(value: Any) -> str:
    """Accept the name of a serial port."""
    if not isinstance(value, str) or not _PORT.fullmatch(value):
        number = re.search(r"[1-9]?$", str(value)[:12])
        fix = f"write serial{number[0] if number else ''}"
        raise fail("wrong-type", f"{str(value)[:24]!r} is no serial port", _PORT_EXPECTED, fix)
    return value


def to_board(value: Any) -> str:
    """Accept the name of a board."""
    if not isinstance(value, str) or not _BOARD.fullmatch(value):
        shown = str(value)[:40] if isinstance(value, str) else "this"
        meant = re.sub(r"[^a-z0-9_]", "", shown.lower())
        fix = f"write {meant}" if _BOARD.fullmatch(meant) and shown != "this" else ""
        expected = "a name of letters, digits and _, such as mega2560"
        raise fail("wrong-type", f"{shown!r} is no name of a board", expected, fix)
    return value


PinText = Annotated[str, PlainValidator(to_pin), WithJsonSchema({"type": ["integer", "string"]})]
PortText = Annotated[
    str, PlainValidator(to_port), WithJsonSchema({"type": "string", "pattern": f"^({_PORT.pattern})$"})
]
BoardText = Annotated[str, PlainValidator(to_board), WithJsonSchema({"type": "string"})]
Baud = Annotated[StrictInt, Field(ge=300, le=2_000_000)]
Level = Literal["low", "high"]
Carried = Literal["signals", "setpoints", "outputs"]
CARRIED: tuple[Carried, ...] = ("signals", "setpoints", "outputs")


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


class ContactBlock(Repeatable):
    """A button, a switch or another contact on a pin."""

    pin: PinText = Field(description="The pin that the contact is on.")
    active: Level = Field("low", description="low: the contact pulls the pin to ground; high: to the supply.")
    debounce: Amount | None = Field(None, description="It must be quiet for so long; by default 20 ms.")


class ConsoleBlock(Block):
    """The line to the operator's computer: commands come in, telemetry goes out."""

    port: PortText = Field("serial", description="The serial port; serial is the programming port.")
    baud: Baud | None = Field(None, description="Bits a second; by default 115200.")
    telemetry: Amount | None = Field(
        None, description="The time between two lines of telemetry, a multiple of the tick; by default none."
    )
    carries: Annotated[list[Carried], BeforeValidator(_as_list)] = Field(
        default_factory=lambda: list(CARRIED),
        description="What a line of telemetry carries besides phases, events and switches; by default all.",
    )


class LineBlock(Repeatable):
    """A serial line on which a sensor, or several, send numbers as text."""

    port: PortText = Field(description="The serial port that listens.")
    baud: Baud | None = Field(None, description="Bits a second; by default those of the port, or 115200.")
    fields: Annotated[StrictInt, Field(ge=1, le=32)] = Field(
        1, description="How many numbers stand in a line of text, parted by commas."
    )
    levels: Amount | None = Field(None, description="The logic level of the sensor's line, such as 3.3 V.")


class RemoteWireBlock(Block):
    """Where the remote's commands and heartbeat come from."""

    port: PortText = Field(description="The serial port; serial shares the console.")
    baud: Baud | None = Field(None, description="Bits a second; by default those of the port, or 115200.")
    levels: Amount | None = Field(None, description="The logic level of the receiver's line, such as 3.3 V.")


class SignalWireBlock(Repeatable):
    """Where a signal's raw samples come from: one of analog, line and hook."""

    analog: PinText | None = Field(None, description="An analog pin; raw samples are its counts.")
    line: Name | None = Field(None, description="A serial line of numbers, a name under lines.")
    field: Annotated[StrictInt, Field(ge=1, le=32)] | None = Field(
        None, description="Which number of the line, counted from 1; by default 1."
    )
    hook: StrictBool = Field(False, description="True: a function in the hooks file gives it.")

    @model_validator(mode="after")
    def _one(self) -> "SignalWireBlock":
        given = [self.analog is not None, self.line is not None, self.hook]
        if sum(given) != 1:
            raise fail("bad-wire", "a signal comes from one place", "one of analog, line, hook")
        if self.field is not None and self.line is None:
            raise fail("bad-wire", "field needs line", "line: NAME, field: 1")
        return self


class OutputWireBlock(Repeatable):
    """How an output reaches its motor: pwm, pwm and direction, forward and backward, servo; a pulse: pin."""

    pwm: PinText | None = Field(None, description="The pin that carries the duty.")
    direction: PinText | None = Field(None, description="The pin that tells the direction; high is positive.")
    forward: PinText | None = Field(None, description="The pin that carries the duty of positive values.")
    backward: PinText | None = Field(None, description="The pin that carries the duty of negative values.")
    servo: PinText | None = Field(
        None, description="The pin of a servo, or of a driver that listens to pulses."
    )
    pulse: Span | None = Field(
        None, description="The pulse at the lowest and at the highest value; by default [1000 us, 2000 us]."
    )
    inverted: StrictBool = Field(False, description="True: the motor turns the other way; signs are swapped.")
    pin: PinText | None = Field(None, description="The pin of a horn or a lamp (an output with pulse: true).")
    on_for: Amount | None = Field(None, description="How long a pulse is on; by default 100 ms.")
    active: Level = Field("high", description="Whether a horn or lamp is on while its pin is high or low.")

    @model_validator(mode="after")
    def _one(self) -> "OutputWireBlock":
        given = [key for key in ("pwm", "servo", "pin") if getattr(self, key) is not None]
        if self.forward is not None or self.backward is not None:
            given.append("forward")
        expected = "pwm; pwm and direction; forward and backward; servo; or pin"
        if len(given) != 1:
            raise fail("bad-wire", "an output is driven in one way", expected)
        if (self.forward is None) != (self.backward is None):
            raise fail("bad-wire", "forward and backward go together", expected)
        for key, needs in _GO_WITH.items():
            if key in self.model_fields_set and given[0] not in needs:
                raise fail("bad-wire", f"{key} cannot stand beside {given[0]}", expected)
        return self


_GO_WITH = {
    "direction": ("pwm",),
    "pulse": ("servo",),
    "inverted": ("pwm", "forward", "servo"),
    "on_for": ("pin",),
    "active": ("pin",),
}


class SetpointWireBlock(Repeatable):
    """A servo that goes where a setpoint is."""

    servo: PinText = Field(description="The pin of the servo.")
    pulse: Span | None = Field(
        None, description="The pulses at the two values under over; by default [1000 us, 2000 us]."
    )
    over: Span | None = Field(
        None, description="The setpoint's values at these two pulses; by default its span. May run downwards."
    )


class EnableBlock(Block):
    """The line that lets the motor drivers have power."""

    pin: PinText = Field(description="The pin to the motor drivers.")
    active: Level = Field("high", description="Whether the drivers are on while the pin is high or low.")
    button: PinText | None = Field(None, description="A button to ground that asks for enable.")
    debounce: Amount | None = Field(None, description="Of the button; by default 20 ms.")


class SensorResetBlock(Block):
    """A line that restarts the sensors."""

    pin: PinText = Field(description="The pin of the reset line.")
    active: Level = Field("low", description="Whether the sensors are held in reset while it is low or high.")
    for_: Amount | None = Field(None, alias="for", description="How long it is held; by default 20 ms.")


class StillBlock(Block):
    """How still the sensors must be before enable is accepted."""

    for_: Amount | None = Field(None, alias="for", description="For how long; by default 2 s.")
    within: dict[Name, Amount] = Field(
        default_factory=dict,
        description="How far a signal may wander in that time; by default 6 x noise, else 2 % of its span.",
    )


class WiringBlock(Accepting):
    """What is connected where, for the program of a board."""

    board: BoardText = Field(description="uno, nano, nano_old, mega2560, leonardo, micro, or another one.")
    about: str = Field("", description="A remark for people.")
    console: ConsoleBlock | None = None
    lines: dict[Name, LineBlock] = Field(default_factory=dict, description="Serial lines of numbers.")
    remote: RemoteWireBlock | None = None
    signals: dict[Name, SignalWireBlock] = Field(default_factory=dict)
    events: dict[Name, ContactBlock] = Field(
        default_factory=dict, description="Contacts: an event arrives when its contact closes."
    )
    switches: dict[Name, ContactBlock] = Field(default_factory=dict, description="A closed contact is on.")
    outputs: dict[Name, OutputWireBlock] = Field(default_factory=dict)
    setpoints: dict[Name, SetpointWireBlock] = Field(
        default_factory=dict, description="Setpoints that go straight to a servo."
    )
    knobs: dict[Name, PinText] = Field(
        default_factory=dict, description="Turning knobs on analog pins, each for a parameter."
    )
    enable: EnableBlock | None = None
    stop_contact: ContactBlock | None = Field(
        None, description="The emergency stop's second contact: closed may run, open stops at once."
    )
    step: ContactBlock | None = Field(None, description="The button for single steps.")
    helping: ContactBlock | None = Field(None, description="The switch of the hand-helping mode.")
    sensor_reset: SensorResetBlock | None = None
    still: StillBlock | None = None
    keep_parameters: StrictBool = Field(False, description="True: parameters can be kept in EEPROM.")
    watchdog: Amount | None = Field(
        None, description="A hung program is reset after so long; by default never."
    )
