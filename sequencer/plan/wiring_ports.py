"""The serial ports of a machine's wiring: who is on which, how fast, and the fields of lines of numbers."""

from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.wiring_model import WiringBlock
from sequencer.plan.boards import Board
from sequencer.plan.context import Context
from sequencer.plan.wiring_tables import Console, Line, Port

BAUD = 115_200  # where the file says nothing
MOST_BAUD_ERROR = 0.025
USUAL_BAUDS = (9600, 19_200, 38_400, 57_600, 115_200, 250_000, 500_000)
_TOP = ("wiring",)


class Ports:
    """Builds the tables of ports, lines and the console."""

    def __init__(self, context: Context, block: WiringBlock, board: Board | None, tick_ms: int) -> None:
        self.context = context
        self.block = block
        self.board = board
        self.tick_ms = tick_ms
        self.ports: list[Port] = []
        self.bauds: dict[str, int] = {}
        self.taken: dict[tuple[int, int], str] = {}
        self.names = list(block.lines)
        self._values = context.machine.where.values

    def _at(self, *path: str) -> Place:
        return self.context.machine.where.value((*_TOP, *path))

    def _key(self, *path: str) -> Place:
        return self.context.machine.where.key((*_TOP, *path))

    def console(self) -> Console | None:
        """Make the console's row."""
        block = self.block.console
        if block is None:
            return None
        port = self._port(("console",), block.port, block.baud, None)
        telemetry = 0
        if block.telemetry is not None:
            telemetry = self._telemetry(block.telemetry)
        carries = tuple(dict.fromkeys(block.carries))
        return Console(port, telemetry, carries, self._key("console"))

    def _telemetry(self, quantity: Quantity) -> int:
        place = self._at("console", "telemetry")
        ms = self.context.ms(quantity, place, least=1)
        if ms is not None and ms % self.tick_ms:
            up = -(-ms // self.tick_ms) * self.tick_ms
            message = f"{quantity} is no multiple of the tick, {self.tick_ms} ms"
            self.context.error("out-of-span", place, message, expected="whole ticks", fix=f"{up} ms")
        return ms or 0

    def lines(self) -> tuple[Line, ...]:
        """Make the table of lines."""
        rows: list[Line] = []
        for name, block in self.block.lines.items():
            port = self._port(("lines", name), block.port, block.baud, block.levels)
            for other in rows:
                if other.port == port:
                    message = f"{name} and {other.name} are both on {block.port}"
                    expected = "one line of numbers on a port; several sensors share it with fields: 2"
                    self.context.error(
                        "bad-port", self._at("lines", name, "port"), message, expected=expected
                    )
            rows.append(Line(name, port, block.fields, self._key("lines", name)))
        return tuple(rows)

    def remote(self) -> int | None:
        """Give the remote's port."""
        block = self.block.remote
        return None if block is None else self._port(("remote",), block.port, block.baud, block.levels)

    def field(
        self, line: str, field: int, signal: str, line_at: Place, field_at: Place
    ) -> tuple[int, int] | None:
        """Find a field of a line; give the line's index and the field's, from 0."""
        if line not in self.block.lines:
            self._unknown_line(line, line_at)
            return None
        index, fields = self.names.index(line), self.block.lines[line].fields
        if field > fields:
            if self.context.was_cut(self.context.machine, *_TOP, "lines", line, "fields"):
                return None
            message = f"line {line} has {fields} field{'s' if fields > 1 else ''}, {field} is beyond"
            fix = f"lines: {{{line}: {{..., fields: {field}}}}}"
            self.context.error("bad-wire", field_at, message, expected=f"1 to {fields}", fix=fix)
            return None
        other = self.taken.setdefault((index, field), signal)
        if other != signal:
            message = f"{signal} and {other} take the same field of {line}"
            self.context.error("bad-wire", field_at, message, expected="a field of its own for each signal")
        return index, field - 1

    def _unknown_line(self, line: str, place: Place) -> None:
        if ("wiring", "lines", line) in self.context.machine.where.keys:
            return  # its own block is broken, and that has been said
        close = self.context.nearest(line, self.names)
        self.context.error(
            "unknown-name",
            place,
            f"there is no line {line}",
            expected=f"one of: {', '.join(self.names)}"
            if self.names
            else "a line under lines; there is none",
            fix=f"did you mean {close}?" if close else f"lines: {{{line}: {{port: serial1}}}}",
        )

    def finished(self) -> tuple[Port, ...]:
        """Give the table of ports."""
        return tuple(self.ports)

    def _port(self, path: tuple[str, ...], name: str, baud: int | None, levels: Quantity | None) -> int:
        """Give a port's index; enters it if it is new. All who are on a port share its baud."""
        place = self._at(*path, "port") if (*_TOP, *path, "port") in self._values else self._key(*path)
        volts = self.context.number(levels, "V", self._at(*path, "levels")) if levels is not None else None
        for index, port in enumerate(self.ports):
            if port.name == name:
                if baud is not None and baud != self.bauds.setdefault(name, baud):
                    message = f"{name} runs at {self.bauds[name]} baud already"
                    expected = "one baud for all who are on a port"
                    fix = f"leave baud out here, or write {self.bauds[name]}"
                    self.context.error(
                        "bad-port", self._at(*path, "baud"), message, expected=expected, fix=fix
                    )
                said = port.volts if volts is None else volts
                self.ports[index] = Port(name, self.bauds.get(name, BAUD), port.place, said)
                return index
        if self.board is not None and self.board.port(name) is None:
            expected = ", ".join(port.name for port in self.board.ports)
            message = f"board {self.board.name} has no port {name}"
            fix = f"write {self.context.nearest(name, expected.split(', ')) or self.board.ports[-1].name}"
            if len(self.board.ports) == 1:
                fix += "; if that is taken, a board with more ports, such as mega2560"
            self.context.error("bad-port", place, message, expected=expected, fix=fix)
        if baud is not None:
            self.bauds[name] = baud
        self._check_baud(path, name, baud or BAUD)
        self.ports.append(Port(name, baud or BAUD, place, volts))
        return len(self.ports) - 1

    def _check_baud(self, path: tuple[str, ...], name: str, baud: int) -> None:
        pins = self.board.port(name) if self.board is not None else None
        if self.board is None or pins is None or pins.rx is None:
            return
        made = made_baud(self.board.clock_hz, baud)
        if abs(made / baud - 1) > MOST_BAUD_ERROR:
            near = [
                b for b in USUAL_BAUDS if abs(made_baud(self.board.clock_hz, b) / b - 1) <= MOST_BAUD_ERROR
            ]
            message = f"at {self.board.clock_hz / 1e6:g} MHz the port makes {made:.0f} baud of {baud}"
            expected = f"within {MOST_BAUD_ERROR:.1%}: {', '.join(str(b) for b in near)}"
            fix = f"write {min(near, key=lambda b: abs(b - baud))}" if near else ""
            self.context.error("bad-port", self._at(*path, "baud"), message, expected=expected, fix=fix)


def made_baud(clock_hz: int, baud: int) -> float:
    """Give the baud that an AVR's serial port makes when `baud` is asked for.

    f / (8 (UBRR + 1)) at double speed, f / (16 (UBRR + 1)) else (ATmega data sheets, "USART, baud rate
    generation"); UBRR and the speed are chosen as the boards' core does in HardwareSerial::begin.
    """
    ubrr, divisor = max(clock_hz // 4 // baud - 1, 0) // 2, 8
    if (clock_hz == 16_000_000 and baud == 57_600) or ubrr > 4095:
        ubrr, divisor = max(clock_hz // 8 // baud - 1, 0) // 2, 16
    return clock_hz / (divisor * (ubrr + 1))
