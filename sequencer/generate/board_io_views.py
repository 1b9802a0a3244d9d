"""What the templates of a machine's input and output files are given: plain records, all decisions made."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PortView:
    """A serial port: the core's object, and who listens on it. `text` names the command buffer, if any."""

    name: str
    object: str
    baud: str
    line: int | None
    text: str


@dataclass(frozen=True, slots=True)
class LineView:
    """A line of numbers; `signals` are (field, enumerator) of those that are used."""

    name: str
    fields: int
    first: int  # of its numbers among those of all lines
    longest: int  # characters
    signals: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class AnalogView:
    """Signals on analog pins that are read in the same ticks; `counter` is None for every tick."""

    ticks: int
    counter: int | None
    pins: tuple[tuple[str, str], ...]  # signal, pin


@dataclass(frozen=True, slots=True)
class ContactView:
    """A contact; `ticks` are those for which it must be quiet to be believed."""

    name: str
    pin: str
    active_low: bool
    ticks: int


@dataclass(frozen=True, slots=True)
class MotorView:
    """A motor: how it is driven, and the numbers of its row."""

    name: str
    text: str
    kind: int
    pin: str
    second: str
    factor: str  # full duty, or half the pulse's span, over the output's
    offset: str  # of a servo: the pulse at 0
    servo: int | None


@dataclass(frozen=True, slots=True)
class ServoView:
    """A servo on a timer of the board; of `setpoint` or driven as an output (then it is empty)."""

    pin: str
    setpoint: str
    factor: str
    offset: str
    index: int
    low_us: int
    high_us: int


@dataclass(frozen=True, slots=True)
class TimerView:
    """A timer of a known board that makes pulses for the servos from `first` to `end`."""

    number: int
    first: int
    end: int
    frame: int  # counts of half a microsecond


@dataclass(frozen=True, slots=True)
class PulseView:
    """A horn or lamp."""

    name: str
    pin: str
    active_low: bool
    ticks: int


@dataclass(frozen=True, slots=True)
class IoView:
    """A machine's wiring, as templates see it."""

    tool: str
    machine: str
    sources: tuple[str, ...]
    board: str
    tick_ms: int
    namespace: str
    macro: str
    header: str
    source: str
    hooks: str
    hooks_namespace: str
    signals: tuple[str, ...]
    hooked: tuple[tuple[str, str], ...]  # enumerator, function in the hooks
    outputs: tuple[str, ...]
    setpoints: tuple[str, ...]
    pulses: tuple[PulseView, ...]
    knobs: tuple[tuple[str, str], ...]
    contacts: tuple[ContactView, ...]
    contact_ticks: str
    ports: tuple[PortView, ...]
    lines: tuple[LineView, ...]
    line_numbers: int
    pause_ms: int
    shares: bool  # whether commands and numbers come over the same port
    console: str
    texts: tuple[str, ...]
    longest_command: int
    send_size: int
    send_index: str
    analog: tuple[AnalogView, ...]
    turns: int
    motors: tuple[MotorView, ...]
    servos: tuple[ServoView, ...]
    timers: tuple[TimerView, ...]
    enable: str
    enable_active_low: bool
    stop: str  # the stop contact's pin
    stop_index: int
    stop_active_low: bool
    stop_interrupt: bool
    reset: str
    reset_active_low: bool
    reset_ticks: int
