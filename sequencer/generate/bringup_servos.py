"""What the bring-up program must know of servos that go where a setpoint is."""

from dataclasses import dataclass

from sequencer.base.binary32 import f32, literal
from sequencer.generate.board_io_views import IoView
from sequencer.generate.names import check_identifier
from sequencer.plan.tables import Plan, Signal
from sequencer.plan.wiring_tables import ServoWire

LARGEST = 3.0e38
LEAST_PART = 0.02  # of all that a servo can be told: less of a move is none
_SILENT_MS = 100
_SILENT_PERIODS = 3


@dataclass(frozen=True, slots=True)
class ServoRow:
    """A setpoint's servo and the signal that follows it, None if none does; values in the setpoint's unit.

    first, second: what the file has it go `over`. offset: how far from it the signal stands by the file.
    """

    name: str
    enumerator: str
    signal: int | None
    first: str
    second: str
    offset: str
    least_move: str
    believe_low: str
    believe_high: str
    silent_ms: int


def servo_row(plan: Plan, io: IoView, wire: ServoWire) -> ServoRow:
    """Make the row of a servo. Raises MisuseError for a name that cannot stand in C++."""
    setpoint = plan.setpoints[wire.setpoint]
    follower = setpoint.followers[0] if setpoint.followers else None
    signal = None if follower is None else plan.signals[follower.signal]
    low, high = (-LARGEST, LARGEST) if signal is None else _believed_values(signal)
    return ServoRow(
        name=check_identifier(setpoint.name),
        enumerator=io.setpoints[wire.setpoint],
        signal=None if follower is None else follower.signal,
        first=literal(f32(wire.over[0])),
        second=literal(f32(wire.over[1])),
        offset=literal(f32(0.0 if follower is None else follower.offset)),
        least_move=literal(f32(LEAST_PART * abs(wire.over[1] - wire.over[0]))),
        believe_low=literal(f32(low)),
        believe_high=literal(f32(high)),
        silent_ms=silent_ms(signal),
    )


def _believed_values(signal: Signal) -> tuple[float, float]:
    """Give the values between which the signal is believed."""
    if signal.believe is None:
        return -LARGEST, LARGEST
    ends = (signal.believe.low, signal.believe.high)
    if signal.believe.kind == "counts":
        ends = (ends[0] * signal.gain + signal.bias, ends[1] * signal.gain + signal.bias)
    return min(ends), max(ends)


def silent_ms(signal: Signal | None) -> int:
    """After how much silence the sensor is gone: by its lost_after, else some of its periods."""
    if signal is None:
        return 0
    if signal.lost_after_ms is not None:
        return min(signal.lost_after_ms, 60_000)
    return min(60_000, max(_SILENT_MS, _SILENT_PERIODS * (signal.every_us or 0) // 1000))
