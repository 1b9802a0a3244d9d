"""How long the lines of telemetry can get, and whether they fit the console's baud."""

from dataclasses import dataclass

from sequencer.base.findings import Finding, Severity
from sequencer.plan.boards import BOARDS
from sequencer.plan.tables import Plan
from sequencer.plan.wiring_tables import Console

MOST_SHARE = 0.8  # of the baud; the rest is for answers and remarks
BITS_A_BYTE = 10  # 8, a start and a stop bit (as in every data sheet of a UART)
_END = 6  # *hhhh and the line's end
_NUMBER = len(",#3F800000")
_COUNTS = len(",1023")
LONGEST_MOVE = len("E1,00000000,00,00,00,0000") + _END
LONGEST_WRITE = len("P1,00000000,00,#00000000") + _END


@dataclass(frozen=True, slots=True)
class Load:
    """What telemetry takes: its longest line, and bytes a second with a change of phase beside every line."""

    longest: int  # bytes
    bytes_a_second: float
    share: float  # of the port's bytes a second


def longest_line(plan: Plan, console: Console) -> int:
    """Give the length of the longest T1 line in bytes, its end included."""
    digits = sum(-(-max(count, 1) // 4) for count in (len(plan.events), len(plan.switches)))
    start = len("T1,00000000,0,,3F,,,FFFF") + 2 * len(plan.sequences) + digits
    analog = 0
    if plan.wiring is not None:
        analog = sum(1 for wire in plan.wiring.signals if wire.kind == "analog")
    items = {
        "signals": analog * _COUNTS + (len(plan.signals) - analog) * _NUMBER,
        "setpoints": len(plan.setpoints) * _NUMBER,
        "outputs": len(plan.outputs) * _NUMBER,
    }
    return start + sum(items[group] for group in console.telemetry) + _END


def load_of(plan: Plan, console: Console, baud: int, telemetry_ms: int) -> Load:
    """Work out what telemetry every so many milliseconds takes at a baud."""
    longest = longest_line(plan, console)
    beside = LONGEST_MOVE * len(plan.sequences) + LONGEST_WRITE
    rate = (longest + beside) * 1000 / telemetry_ms
    return Load(longest, rate, rate * BITS_A_BYTE / baud)


def telemetry_error(plan: Plan) -> Finding | None:
    """Say that telemetry does not fit, and which period would; None if it fits or there is none."""
    wiring = plan.wiring
    console = wiring.console if wiring is not None else None
    if wiring is None or console is None or console.telemetry_ms == 0:
        return None
    port, board = wiring.ports[console.port], BOARDS.get(wiring.board)
    pins = board.port(port.name) if board is not None else None
    if pins is not None and pins.rx is None:
        return None  # a port over USB has no baud
    load = load_of(plan, console, port.baud, console.telemetry_ms)
    if load.share <= MOST_SHARE:
        return None
    one_ms = load_of(plan, console, port.baud, 1).share / MOST_SHARE
    ticks = -(-int(one_ms * 1000 + 0.999) // (1000 * plan.tick_ms))
    return Finding(
        "out-of-span",
        Severity.ERROR,
        console.place,
        f"telemetry takes up to {load.bytes_a_second:.0f} bytes/s, {load.share:.0%} of {port.baud} baud",
        expected=f"at most {MOST_SHARE:.0%}; a line has up to {load.longest} bytes",
        fix=f"telemetry: {ticks * plan.tick_ms} ms, a faster port, or carry less",
    )
