"""The tables of a machine's wiring: which pin, line or hook stands behind each name.

Wiring changes nothing of what a tick means: it takes no part in `Plan.sha` and no executor reads it. The
board program and the bring-up program are printed from it. Pins are numbers as the boards' core counts
digital pins; `Pin.text` is what the file says (``A0``, ``13``). Durations are whole milliseconds.
"""

from dataclasses import dataclass
from typing import Literal

from sequencer.base.places import Place


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin of the board. `number` is None for a board that we do not know and a pin such as ``A0``."""

    text: str
    number: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class Contact:
    """A button, a switch or another contact on a pin, believed after it has been quiet for `debounce_ms`.

    `active_low`: it pulls the pin to ground, and the board's pull-up is switched on.
    """

    pin: Pin
    active_low: bool
    debounce_ms: int


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port of the board: ``serial`` is the programming port, then ``serial1`` and so on.

    volts: the logic level of what is connected to it, where the file says so.
    """

    name: str
    baud: int
    place: Place
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A serial line of numbers: `fields` of them in a text line, parted by commas (one field: one a line)."""

    name: str
    port: int  # index into Wiring.ports
    fields: int
    place: Place


@dataclass(frozen=True, slots=True)
class SignalWire:
    """Where a signal's raw samples come from: an analog pin, field `field` of a line (from 0), or a hook."""

    signal: int
    kind: Literal["analog", "line", "hook"]
    pin: Pin | None
    line: int | None
    field: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class InputWire:
    """An event or switch on a contact. An event arrives when its contact closes."""

    kind: Literal["event", "switch"]
    index: int
    contact: Contact
    place: Place


@dataclass(frozen=True, slots=True)
class MotorWire:
    """How an output reaches its motor.

    pwm_direction: duty on `pin`, sign on `second` (high is positive). two_pwm: duty on `pin` while
    positive, on `second` while negative. pwm: duty on `pin`, negative counts as 0. servo: a pulse of
    `pulse_us[0]` at the lowest to `pulse_us[1]` microseconds at the highest of the span. `inverted` turns
    the sign.
    """

    output: int
    kind: Literal["pwm_direction", "two_pwm", "pwm", "servo"]
    pin: Pin
    second: Pin | None
    inverted: bool
    pulse_us: tuple[int, int]
    place: Place


@dataclass(frozen=True, slots=True)
class ServoWire:
    """A servo that goes where a setpoint is: pulses of `pulse_us` over the setpoint's values `over`."""

    setpoint: int
    pin: Pin
    pulse_us: tuple[int, int]
    over: tuple[float, float]  # the setpoint's value at the one and the other pulse
    place: Place


@dataclass(frozen=True, slots=True)
class PulseWire:
    """A horn or lamp: the pin is on for `on_ms` from the tick in which a phase gives the pulse."""

    pulse: int
    pin: Pin
    active_low: bool
    on_ms: int
    place: Place


@dataclass(frozen=True, slots=True)
class Knob:
    """A turning knob on an analog pin that trims a parameter over its span."""

    parameter: str  # by name: a machine serves gaits that lack it
    pin: Pin
    place: Place


@dataclass(frozen=True, slots=True)
class Console:
    """The line to the operator's computer: commands come in, telemetry goes out every `telemetry_ms`.

    `telemetry_ms` is a multiple of the tick, or 0 for none. `telemetry` names what a line carries.
    """

    port: int
    telemetry_ms: int
    telemetry: tuple[Literal["signals", "setpoints", "outputs"], ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Still:
    """Before enable is accepted, every signal must be known, plausible and still for `for_ms`.

    `within[i]`: how far signal i's value may wander in that time, in its unit.
    """

    for_ms: int
    within: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SensorReset:
    """A line that restarts the sensors: held for `for_ms` at the start and on command."""

    pin: Pin
    active_low: bool
    for_ms: int


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything that the board program must know about what is connected where.

    board: a name out of `sequencer.plan.boards`, or another one, of which nothing is known. remote_port: the
    port over which the remote's commands and heartbeat come, None if the machine has no remote or it is
    wired by contacts. enable: the pin that lets the motor drivers have power. stop_contact: the emergency
    stop's second contact, honoured at once; it must be closed to run. step: the button for single steps;
    helping: the switch of the hand-helping mode. watchdog_ms: 0 for none.
    """

    board: str
    ports: tuple[Port, ...]
    lines: tuple[Line, ...]
    console: Console | None
    remote_port: int | None
    signals: tuple[SignalWire, ...]
    inputs: tuple[InputWire, ...]
    motors: tuple[MotorWire, ...]
    servos: tuple[ServoWire, ...]
    pulses: tuple[PulseWire, ...]
    knobs: tuple[Knob, ...]
    enable: Pin | None
    enable_active_low: bool
    enable_contact: Contact | None  # a button that asks for enable, besides the console's command
    stop_contact: Contact | None
    step: Contact | None
    helping: Contact | None
    sensor_reset: SensorReset | None
    still: Still
    keep_parameters: bool  # in EEPROM, on request
    watchdog_ms: int
    place: Place
