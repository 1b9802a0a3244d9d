"""What the pins of a board can do, against what a machine's wiring asks of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sequencer.base.findings import Finding, Severity
from sequencer.plan.boards import BOARDS, SERVOS_PER_TIMER, Board
from sequencer.plan.wiring_tables import Contact, Pin, Wiring

Need = Literal["analog", "pwm", "pulled_up", "input", "output", "servo"]


@dataclass(frozen=True, slots=True)
class PinUse:
    """A pin and what it is used for: `need` is what it must be able to do."""

    pin: Pin
    need: Need
    text: str


def pin_uses(wiring: Wiring) -> Iterator[PinUse]:
    """List every pin that the wiring uses, in no order that matters."""
    for signal in wiring.signals:
        if signal.pin is not None:
            yield PinUse(signal.pin, "analog", "a signal")
    for wire in wiring.inputs:
        yield _contact(wire.contact, f"{'an' if wire.kind == 'event' else 'a'} {wire.kind}")
    for motor in wiring.motors:
        first: Need = "servo" if motor.kind == "servo" else "pwm"
        yield PinUse(motor.pin, first, "an output")
        if motor.second is not None:
            yield PinUse(motor.second, "pwm" if motor.kind == "two_pwm" else "output", "an output")
    for servo in wiring.servos:
        yield PinUse(servo.pin, "servo", "a servo")
    for pulse in wiring.pulses:
        yield PinUse(pulse.pin, "output", "a pulse")
    for knob in wiring.knobs:
        yield PinUse(knob.pin, "analog", "a knob")
    for name in ("enable_contact", "stop_contact", "step", "helping"):
        contact = getattr(wiring, name)
        if contact is not None:
            yield _contact(contact, "the enable button" if name == "enable_contact" else name)
    if wiring.enable is not None:
        yield PinUse(wiring.enable, "output", "enable")
    if wiring.sensor_reset is not None:
        yield PinUse(wiring.sensor_reset.pin, "output", "sensor_reset")


def _contact(contact: Contact, text: str) -> PinUse:
    return PinUse(contact.pin, "pulled_up" if contact.active_low else "input", text)


def servo_count(wiring: Wiring) -> int:
    """Count the servos."""
    return len(wiring.servos) + sum(motor.kind == "servo" for motor in wiring.motors)


def pin_errors(wiring: Wiring) -> list[Finding]:
    """Find pins that are used twice, or for what they cannot do on a known board."""
    board = BOARDS.get(wiring.board)
    uses = sorted(pin_uses(wiring), key=lambda use: use.pin.place)
    found = list(_twice(wiring, board, uses))
    if board is not None:
        found += _unable(wiring, board, uses)
    return found


def _twice(wiring: Wiring, board: Board | None, uses: list[PinUse]) -> Iterator[Finding]:
    taken: dict[int | str, str] = {}
    for port in wiring.ports if board is not None else ():
        pins = board.port(port.name) if board is not None else None
        if pins is not None and pins.rx is not None and pins.tx is not None:
            taken |= {pins.rx: f"the receive pin of {port.name}", pins.tx: f"the transmit pin of {port.name}"}
    for use in uses:
        pin = use.pin
        key: int | str = pin.text if pin.number is None else pin.number
        if board is not None and pin.number is not None:
            key = board.same(pin.number)
        if key in taken:
            text = f"pin {pin.text} is {taken[key]} already"
            yield Finding("pin-twice", Severity.ERROR, pin.place, text, expected="a pin of its own")
        else:
            taken[key] = f"used by {use.text} (line {pin.place.line})"


def _unable(wiring: Wiring, board: Board, uses: list[PinUse]) -> Iterator[Finding]:
    gone = board.without_pwm(servo_count(wiring))
    most = SERVOS_PER_TIMER * len(board.servo_timers)
    for use in [use for use in uses if use.need == "servo"][most:]:
        text = f"board {board.name} has timers for {most} servos only"
        yield Finding("bad-pin", Severity.ERROR, use.pin.place, text, expected=f"at most {most} servos")
    for use in uses:
        number = use.pin.number
        if number is None:
            continue  # the board lacks it, and that has been said
        text, expected = "", ""
        if use.need == "analog" and number not in board.analog:
            text, expected = "is no analog pin", f"A0 to A{len(board.analog) - 1}"
        elif use.need != "analog" and number in board.analog_only:
            text, expected = "can only measure", f"0 to {board.digital - 1}"
        elif use.need == "pwm" and board.timer(number) is None:
            text, expected = "has no PWM", _ranges(pin for pin, _ in board.pwm if pin not in gone)
        elif use.need == "pwm" and board.same(number) in gone:
            text = "loses its PWM to the servos: their pulses come from the same timer"
            expected = _ranges(pin for pin, _ in board.pwm if pin not in gone)
        if text:
            message = f"pin {use.pin.text} of board {board.name} {text}"
            yield Finding("bad-pin", Severity.ERROR, use.pin.place, message, expected=expected)


def _ranges(pins: Iterator[int]) -> str:
    """Spell pins: ``2 to 13, 44 to 46``."""
    runs: list[list[int]] = []
    for pin in sorted(pins):
        if runs and pin == runs[-1][-1] + 1:
            runs[-1].append(pin)
        else:
            runs.append([pin])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
