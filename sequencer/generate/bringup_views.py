"""What the templates of the bring-up program print: joints and signals with what measuring needs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sequencer import __version__
from sequencer.base.binary32 import f32, literal
from sequencer.base.errors import MisuseError
from sequencer.gait.machine_model import LoopBlock
from sequencer.generate.board_io import need_wiring, pin_text
from sequencer.generate.board_io_views import IoView
from sequencer.generate.bringup_servos import LARGEST, ServoRow, servo_row, silent_ms
from sequencer.generate.names import check_identifier, file_name, file_stem
from sequencer.plan.tables import Output, Plan, Setpoint, Signal
from sequencer.plan.wiring_tables import MotorWire, SignalWire

MOST_DUTY = 0.35  # of full; low, and still enough for a joint that is stiff (common practice, no source)
COUNTS = 1023  # of an analog pin
LEAST_COUNTS = 3.0
LEAST_PART = 0.005  # of the span: a change that is more than a whim of the sensor
_LONGEST_UNIT = 12


@dataclass(frozen=True, slots=True)
class SignalRow:
    """A signal. `by_scale`: raw is counts, and has a scale. `bare`: raw is counts, and has none.

    `asked`: the program itself asks for its samples, so their period tells nothing.
    """

    name: str
    enumerator: str
    unit: str
    gain: str
    bias: str
    low: str
    high: str
    noise: str
    by_scale: bool
    bare: bool
    asked: bool


@dataclass(frozen=True, slots=True)
class JointRow:
    """An output's motor and the signal that tells what it does, None if nothing says which that is.

    full: what full duty is in the output's numbers. expects: 1 if a positive output must raise the signal,
    -1 if it must lower it. setpoint: the one that the joint follows, if that has a rate of its own.
    """

    name: str
    enumerator: str
    signal: int | None
    full: str
    low: str
    high: str
    least_move: str
    span: str
    believe_low: str
    believe_high: str
    silent_ms: int
    expects: int
    inverted: bool
    only_sign: bool
    sinks: bool
    setpoint: int | None  # index into `setpoints`


@dataclass(frozen=True, slots=True)
class PaceRow:
    """A setpoint with its rate, in units per second."""

    name: str
    unit: str
    rate: str


@dataclass(frozen=True, slots=True)
class BringupView:
    """A machine's bring-up program, as templates see it."""

    tool: str
    machine: str
    source_file: str
    namespace: str
    macro: str
    header: str
    source: str
    signals: tuple[SignalRow, ...]
    joints: tuple[JointRow, ...]
    paces: tuple[PaceRow, ...]
    most_duty: str
    button: str  # the pin of the button that is held, or empty
    button_level: str
    servos: tuple[ServoRow, ...]
    watchdog: str
    watchdog_ms: int
    remote_apart: bool  # the remote has a port of its own
    tick_ms: int


def bringup_view(plan: Plan, io: IoView, loops: Mapping[str, LoopBlock]) -> BringupView:
    """Make the view. loops: the machine file's loops, which say which signal belongs to which output.

    Raises MisuseError if there is no wiring, no console, no signal, or a name that cannot stand in C++.
    """
    wiring = need_wiring(plan)
    if wiring.console is None:
        raise MisuseError(
            f"{wiring.place}: machine {plan.machine} has no console, and the bring-up program talks over it",
            hint="write console: {port: serial, baud: 115200} under wiring",
        )
    if not plan.signals:
        raise MisuseError(
            f"{wiring.place}: machine {plan.machine} has no signals, so there is nothing to measure with",
            hint="write signals: with what each sensor measures, beside wiring",
        )
    stem = file_stem(plan.machine).rstrip("_")
    wires = {wire.signal: wire for wire in wiring.signals}
    button = wiring.enable_contact
    paces = [s for s in plan.setpoints if s.rate is not None and s.rate.parameter is None]
    return BringupView(
        tool=f"gait-sequencer {__version__}",
        machine=plan.machine,
        source_file=file_name(plan.sources[-1]),
        namespace=f"{stem}_bringup",
        macro=f"{stem}_bringup".upper(),
        header=f"{stem}_bringup.h",
        source=f"{stem}_bringup.cpp",
        signals=tuple(_signal(s, io.signals[i], wires.get(i)) for i, s in enumerate(plan.signals)),
        joints=tuple(_joint(plan, io, wire, loops, paces) for wire in wiring.motors),
        paces=tuple(_pace(setpoint) for setpoint in paces),
        most_duty=literal(f32(MOST_DUTY)),
        button="" if button is None else pin_text(button.pin),
        button_level="LOW" if button is None or button.active_low else "HIGH",
        servos=tuple(servo_row(plan, io, wire) for wire in wiring.servos),
        watchdog=_watchdog(wiring.watchdog_ms),
        watchdog_ms=wiring.watchdog_ms,
        remote_apart="from_remote" in io.texts,
        tick_ms=plan.tick_ms,
    )


def _watchdog(ms: int) -> str:
    """Give the watchdog's shortest time that is not under `ms`, by its name in avr-libc; empty for none."""
    steps = (15, 30, 60, 120, 250, 500, 1000, 2000)
    if not ms:
        return ""
    step = next((s for s in steps if s >= ms), steps[-1])
    return f"WDTO_{step // 1000}S" if step >= 1000 else f"WDTO_{step}MS"


def _signal(signal: Signal, enumerator: str, wire: SignalWire | None) -> SignalRow:
    analog = wire is not None and wire.kind == "analog"
    return SignalRow(
        name=check_identifier(signal.name),
        enumerator=enumerator,
        unit=_unit(signal.unit),
        gain=literal(signal.gain),
        bias=literal(signal.bias),
        low=literal(signal.low),
        high=literal(signal.high),
        noise=literal(signal.noise),
        by_scale=signal.scaled,
        bare=analog and not signal.scaled,
        asked=analog,
    )


def _unit(unit: str) -> str:
    """Give a unit as text that can stand in a string of C++; units are ASCII letters, digits and / * ^ ."""
    plain = all(c.isascii() and (c.isalnum() or c in "/*^. %") for c in unit)
    if not plain or len(unit) > _LONGEST_UNIT:
        raise MisuseError(f"the unit {unit!a} cannot stand in the program's texts")
    return unit


def _joint(
    plan: Plan,
    io: IoView,
    wire: MotorWire,
    loops: Mapping[str, LoopBlock],
    paces: Sequence[Setpoint],
) -> JointRow:
    output = plan.outputs[wire.output]
    loop = next((one for one in loops.values() if one.output == output.name), None)
    which = _signal_of(plan, output, loop)
    signal = None if which is None else plan.signals[which]
    analog = any(w.signal == which and w.kind == "analog" for w in need_wiring(plan).signals)
    low, high = (-LARGEST, LARGEST) if signal is None else _believed(signal)
    cap = LARGEST if output.cap is None else output.cap
    return JointRow(
        name=check_identifier(output.name),
        enumerator=io.outputs[wire.output],
        signal=which,
        full=literal(f32(max(1.0, abs(output.low), abs(output.high)))),
        low=literal(max(output.low, -cap)),
        high=literal(min(output.high, cap)),
        least_move=literal(f32(_least_move(signal, analog=analog))),
        span=literal(f32(_raw_span(signal, analog=analog))),
        believe_low=literal(f32(low)),
        believe_high=literal(f32(high)),
        silent_ms=silent_ms(signal),
        expects=_expected_sign(plan, loop),
        inverted=wire.inverted,
        only_sign=wire.kind in ("servo", "pwm") or output.low >= 0.0,
        sinks=output.holds_unpowered is False,
        setpoint=_pace_of(paces, loop),
    )


def _signal_of(plan: Plan, output: Output, loop: LoopBlock | None) -> int | None:
    """Tell which signal an output moves: its loop's, else that of its stall watch."""
    if loop is not None:
        return next((i for i, s in enumerate(plan.signals) if s.name == loop.signal), None)
    return output.stall.signal if output.stall is not None else None


def _pace(setpoint: Setpoint) -> PaceRow:
    per_second = 0.0 if setpoint.rate is None else setpoint.rate.per_second
    return PaceRow(check_identifier(setpoint.name), _unit(setpoint.unit), literal(f32(per_second)))


def _pace_of(paces: Sequence[Setpoint], loop: LoopBlock | None) -> int | None:
    names = [name for name in loop.setpoint if isinstance(name, str)] if loop is not None else []
    return next((i for i, setpoint in enumerate(paces) if setpoint.name in names), None)


def _expected_sign(plan: Plan, loop: LoopBlock | None) -> int:
    """Tell the sign: a loop of positive gains wants more of the signal from more of the output."""
    if loop is None:
        return 1
    highest = {parameter.name: parameter.high for parameter in plan.parameters}
    gains = (highest.get(gain, 1.0) if isinstance(gain, str) else gain for gain in (loop.kp, loop.ki))
    return -1 if next(filter(None, gains), 1.0) < 0 else 1


def _believed(signal: Signal) -> tuple[float, float]:
    """Give the raw samples between which the signal is believed."""
    if signal.believe is None:
        return -LARGEST, LARGEST
    ends = (signal.believe.low, signal.believe.high)
    if signal.believe.kind == "reads":
        ends = ((ends[0] - signal.bias) / signal.gain, (ends[1] - signal.bias) / signal.gain)
    return min(ends), max(ends)


def _raw_span(signal: Signal | None, *, analog: bool) -> float:
    if signal is None or (analog and not signal.scaled):
        return float(COUNTS)
    return (signal.high - signal.low) / abs(signal.gain)


def _least_move(signal: Signal | None, *, analog: bool) -> float:
    if analog:
        return LEAST_COUNTS
    return LEAST_PART * _raw_span(signal, analog=analog)
