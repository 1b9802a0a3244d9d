"""From a machine's `wiring:` to its tables, with every error in it.

What is a warning or a note is not here but in the checks, which look at the finished tables.
"""

from collections.abc import Iterator

from sequencer.base.binary32 import load_f32
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.wiring_model import (
    ContactBlock,
    OutputWireBlock,
    SetpointWireBlock,
    SignalWireBlock,
    WiringBlock,
    pin_meant,
)
from sequencer.plan.boards import BOARDS
from sequencer.plan.context import Context
from sequencer.plan.machine_tables import MachineTables
from sequencer.plan.tables import Name, Output, Plan, Setpoint, Signal
from sequencer.plan.wiring_pins import pin_errors
from sequencer.plan.wiring_ports import Ports
from sequencer.plan.wiring_tables import (
    Contact,
    InputWire,
    Knob,
    MotorWire,
    Pin,
    PulseWire,
    SensorReset,
    ServoWire,
    SignalWire,
    Still,
    Wiring,
)

Path = tuple[str, ...]

# our choices, where the file leaves them out
DEBOUNCE_MS = 20
ON_MS = 100
RESET_MS = 20
STILL_MS = 2000
STILL_SIGMAS = 6.0
STILL_SHARE = 0.02  # of the span, for a signal without noise
PULSE_US = (1000, 2000)
SHORTEST_US, LONGEST_US = 400, 2600  # what servos listen to, with some to spare (common practice)
_TOP = {"event": "events", "switch": "switches"}
WATCHDOG_MS = (15, 8000)  # of the AVR controllers


def build_wiring(
    context: Context,
    machine: MachineFile,
    tables: MachineTables,
    rows: tuple[tuple[Signal, ...], tuple[Setpoint, ...], tuple[Output, ...]],
) -> Wiring | None:
    """Build the wiring of a machine file, None if it has none; notes errors in the context."""
    if machine.wiring is None:
        return None
    _check_remote(context, machine, machine.wiring)
    return WiringTables(context, machine.wiring, tables.tick_ms, rows).build()


def _check_remote(context: Context, machine: MachineFile, block: WiringBlock) -> None:
    """Check that a remote's port has a remote behind it, and that each switch has one place."""
    if block.remote is None:
        return
    where = context.machine.where
    if machine.remote is None:
        if not context.was_cut(context.machine, "remote"):
            place = where.key(("wiring", "remote"))
            expected = "remote: {carries: [...], lost_after: 500 ms} beside signals and events"
            context.error("bad-wire", place, "the machine has no remote", expected=expected)
        return
    for name in block.switches:
        if name in machine.remote.carries:
            place = where.key(("wiring", "switches", name))
            context.error(
                "bad-wire", place, f"{name} comes over the remote", expected="one place for a switch"
            )


class WiringTables:
    """Builds the wiring of a machine; notes errors in the context and goes on with what it has."""

    def __init__(
        self,
        context: Context,
        block: WiringBlock,
        tick_ms: int,
        rows: tuple[tuple[Signal, ...], tuple[Setpoint, ...], tuple[Output, ...]],
    ) -> None:
        self.context = context
        self.block = block
        self.tick_ms = tick_ms
        self.signals, self.setpoints, self.outputs = rows
        self.board = BOARDS.get(block.board)
        self.ports = Ports(context, block, self.board, tick_ms)

    def build(self) -> Wiring:
        """Make the tables."""
        block, ports = self.block, self.ports
        console, lines, remote = ports.console(), ports.lines(), ports.remote()
        signals = self._signals()
        motors, pulses = self._outputs()
        enable = block.enable
        wiring = Wiring(
            board=block.board,
            ports=ports.finished(),
            lines=lines,
            console=console,
            remote_port=remote,
            signals=signals,
            inputs=(*self._inputs("event", block.events), *self._inputs("switch", block.switches)),
            motors=motors,
            servos=self._servos(),
            pulses=pulses,
            knobs=tuple(self._knob(name, pin) for name, pin in block.knobs.items()),
            enable=self._pin(enable.pin, ("enable", "pin")) if enable else None,
            enable_active_low=enable is not None and enable.active == "low",
            enable_contact=self._button(),
            stop_contact=self._contact(block.stop_contact, ("stop_contact",)),
            step=self._contact(block.step, ("step",)),
            helping=self._contact(block.helping, ("helping",)),
            sensor_reset=self._sensor_reset(),
            still=self._still(),
            keep_parameters=block.keep_parameters,
            watchdog_ms=self._watchdog(),
            place=self.context.machine.where.key(("wiring",)),
        )
        self.context.findings += pin_errors(wiring)
        return wiring

    # pieces

    def _at(self, path: Path) -> Place:
        return self.context.machine.where.value(("wiring", *path))

    def _key(self, path: Path) -> Place:
        return self.context.machine.where.key(("wiring", *path))

    def _pin(self, text: str, path: Path) -> Pin:
        place = self._at(path)
        if self.board is None:
            return Pin(text, int(text) if text.isdecimal() else None, place)
        number = self.board.number(text)
        if number is None:
            last = len(self.board.analog) - 1
            self.context.error(
                "bad-pin",
                place,
                f"board {self.board.name} has no pin {text}",
                expected=f"0 to {self.board.digital - 1}, or A0 to A{last}",
                fix=pin_meant(text),
            )
        return Pin(text, number, place)

    def _ms(self, quantity: Quantity | None, path: Path, default: int, least: int = 0) -> int:
        if quantity is None:
            return default
        ms = self.context.ms(quantity, self._at(path), least=least)
        return default if ms is None else ms

    def _contact(self, block: ContactBlock | None, path: Path) -> Contact | None:
        if block is None:
            return None
        debounce = self._ms(block.debounce, (*path, "debounce"), DEBOUNCE_MS)
        return Contact(self._pin(block.pin, (*path, "pin")), block.active == "low", debounce)

    def _button(self) -> Contact | None:
        enable = self.block.enable
        if enable is None or enable.button is None:
            return None
        debounce = self._ms(enable.debounce, ("enable", "debounce"), DEBOUNCE_MS)
        return Contact(self._pin(enable.button, ("enable", "button")), True, debounce)

    # signals

    def _signals(self) -> tuple[SignalWire, ...]:
        rows = [self._signal(name, block) for name, block in self.block.signals.items()]
        return tuple(row for row in rows if row is not None)

    def _signal(self, name: str, block: SignalWireBlock) -> SignalWire | None:
        path, place = ("signals", name), self._key(("signals", name))
        index = self.context.find("signal", name, place)
        if block.analog is not None:
            pin = self._pin(block.analog, (*path, "analog"))
            return None if index is None else SignalWire(index, "analog", pin, None, None, place)
        if block.hook:
            return None if index is None else SignalWire(index, "hook", None, None, None, place)
        assert block.line is not None
        field_at = (*path, "field" if block.field is not None else "line")
        found = self.ports.field(
            block.line, block.field or 1, name, self._at((*path, "line")), self._at(field_at)
        )
        if index is None or found is None:
            return None
        return SignalWire(index, "line", None, *found, place)

    def _inputs(self, kind: str, blocks: dict[str, ContactBlock]) -> list[InputWire]:
        rows, top = [], _TOP[kind]
        for name, block in blocks.items():
            path = (top, name)
            index = self.context.find(kind, name, self._key(path))
            contact = self._contact(block, path)
            if index is not None and contact is not None:
                rows.append(
                    InputWire("event" if kind == "event" else "switch", index, contact, self._key(path))
                )
        return rows

    # outputs

    def _outputs(self) -> tuple[tuple[MotorWire, ...], tuple[PulseWire, ...]]:
        motors, pulses = [], []
        for name, block in self.block.outputs.items():
            path, place = ("outputs", name), self._key(("outputs", name))
            pulse = self.context.names["pulse"].index.get(name)
            if pulse is not None:
                row = self._pulse(path, pulse, block)
                pulses += [row] if row else []
                continue
            index = self.context.find("output", name, place)
            if index is None:
                continue
            if block.pin is not None:
                message = f"{name} goes to a motor, pin is for a horn or a lamp"
                self.context.error("bad-wire", place, message, expected="pwm, forward and backward, or servo")
                continue
            motors.append(self._motor(path, index, block))
        return tuple(motors), tuple(pulses)

    def _pulse(self, path: Path, pulse: int, block: OutputWireBlock) -> PulseWire | None:
        if block.pin is None:
            message = f"{path[1]} is a pulse, on or off"
            self.context.error("bad-wire", self._key(path), message, expected="pin: NUMBER")
            return None
        on_ms = self._ms(block.on_for, (*path, "on_for"), ON_MS, least=1)
        pin = self._pin(block.pin, (*path, "pin"))
        return PulseWire(pulse, pin, block.active == "low", on_ms, self._key(path))

    def _motor(self, path: Path, index: int, block: OutputWireBlock) -> MotorWire:
        pulse_us, place, second = PULSE_US, self._key(path), None
        if block.servo is not None:
            pin = self._pin(block.servo, (*path, "servo"))
            pulse_us = self._pulse_us(block.pulse, (*path, "pulse"))
            return MotorWire(index, "servo", pin, None, block.inverted, pulse_us, place)
        if block.forward is not None and block.backward is not None:
            pin = self._pin(block.forward, (*path, "forward"))
            second = self._pin(block.backward, (*path, "backward"))
            return MotorWire(index, "two_pwm", pin, second, block.inverted, pulse_us, place)
        assert block.pwm is not None
        pin = self._pin(block.pwm, (*path, "pwm"))
        if block.direction is None:
            return MotorWire(index, "pwm", pin, None, block.inverted, pulse_us, place)
        second = self._pin(block.direction, (*path, "direction"))
        return MotorWire(index, "pwm_direction", pin, second, block.inverted, pulse_us, place)

    def _pulse_us(self, pulse: tuple[Quantity, Quantity] | None, path: Path) -> tuple[int, int]:
        if pulse is None:
            return PULSE_US
        place = self._at(path)
        values = [self.context.number(quantity, "us", place) for quantity in pulse]
        if values[0] is None or values[1] is None:
            return PULSE_US
        low, high = round(values[0]), round(values[1])
        if low == high or not all(SHORTEST_US <= us <= LONGEST_US for us in (low, high)):
            message = f"{pulse[0]} to {pulse[1]} are no pulses of a servo"
            expected = f"two different times, {SHORTEST_US} us to {LONGEST_US} us"
            self.context.error("out-of-span", place, message, expected=expected)
            return PULSE_US
        return low, high

    def _servos(self) -> tuple[ServoWire, ...]:
        rows = [self._servo(name, block) for name, block in self.block.setpoints.items()]
        return tuple(row for row in rows if row is not None)

    def _servo(self, name: str, block: SetpointWireBlock) -> ServoWire | None:
        path, place = ("setpoints", name), self._key(("setpoints", name))
        index = self.context.find("setpoint", name, place)
        pin = self._pin(block.servo, (*path, "servo"))
        pulse_us = self._pulse_us(block.pulse, (*path, "pulse"))
        if index is None:
            return None
        setpoint = self.setpoints[index]
        over = (setpoint.low, setpoint.high)
        if block.over is not None:
            at = self._at((*path, "over"))
            values = [self.context.number(quantity, setpoint.unit, at, bare=True) for quantity in block.over]
            if values[0] is None or values[1] is None:
                return None
            over = load_f32(values[0]), load_f32(values[1])
            if over[0] == over[1]:
                message = f"both pulses of {name} stand for the same value"
                self.context.error("out-of-span", at, message, expected="two different values")
                return None
        return ServoWire(index, pin, pulse_us, over, place)

    def _knob(self, name: str, pin: str) -> Knob:
        return Knob(name, self._pin(pin, ("knobs", name)), self._key(("knobs", name)))

    # the rest

    def _sensor_reset(self) -> SensorReset | None:
        block = self.block.sensor_reset
        if block is None:
            return None
        for_ms = self._ms(block.for_, ("sensor_reset", "for"), RESET_MS, least=1)
        return SensorReset(self._pin(block.pin, ("sensor_reset", "pin")), block.active == "low", for_ms)

    def _still(self) -> Still:
        block, within = self.block.still, [still_within(signal) for signal in self.signals]
        if block is None:
            return Still(STILL_MS, tuple(within))
        for name, quantity in block.within.items():
            path = ("still", "within", name)
            index = self.context.find("signal", name, self._key(path))
            if index is None:
                continue
            value = self.context.number(quantity, self.signals[index].unit, self._at(path))
            if value is not None and value <= 0:
                message = f"{name} never stands stiller than {quantity}"
                self.context.error("out-of-span", self._at(path), message, expected="above 0")
            elif value is not None:
                within[index] = load_f32(value)
        return Still(self._ms(block.for_, ("still", "for"), STILL_MS, least=1), tuple(within))

    def _watchdog(self) -> int:
        ms = self._ms(self.block.watchdog, ("watchdog",), 0, least=1)
        shortest = max(2 * self.tick_ms, WATCHDOG_MS[0])
        if self.block.watchdog is not None and not shortest <= ms <= WATCHDOG_MS[1]:
            message = f"a watchdog of {self.block.watchdog} does not fit a tick of {self.tick_ms} ms"
            expected = f"{shortest} ms to {WATCHDOG_MS[1]} ms, such as 250 ms"
            self.context.error("out-of-span", self._at(("watchdog",)), message, expected=expected)
        return ms


def still_within(signal: Signal) -> float:
    """Give how far a signal's value may wander and still count as standing still, if the file is silent."""
    if signal.noise > 0:
        return load_f32(STILL_SIGMAS * signal.noise)
    return load_f32(STILL_SHARE * (signal.high - signal.low))


def unwired(plan: Plan) -> list[Finding]:
    """List what a board's program would lack: signals, events, switches, outputs without a wire.

    What comes over the remote needs no wire of its own. What can only be given at the console is noted.
    """
    wiring = plan.wiring
    if wiring is None:
        place = plan.signals[0].place if plan.signals else Place(plan.sources[-1], 1, 1)
        text = "the machine file does not say what is connected where"
        return [Finding("unwired", Severity.ERROR, place, text, fix="write wiring: {board: mega2560, ...}")]
    found = [_unwired(kind, row.name, row.place) for kind, row in _without_wire(plan, wiring)]
    carried = plan.remote if wiring.remote_port is not None else None
    for kind, names, over in (
        ("event", plan.events, carried.events if carried else ()),
        ("switch", plan.switches, carried.switches if carried else ()),
    ):
        wired = {wire.index for wire in wiring.inputs if wire.kind == kind}
        missing = [row for i, row in enumerate(names) if i not in wired and i not in over]
        top = _TOP[kind]
        found += [_unwired(top, row.name, row.place, console=wiring.console is not None) for row in missing]
    if plan.remote is not None and plan.remote.lost_after_ms is not None and wiring.remote_port is None:
        text = "nothing says where the remote is heard"
        board = BOARDS.get(wiring.board)
        port = board.ports[-1].name if board is not None else "serial1"
        fix = f"wiring: {{remote: {{port: {port}}}}}; leave out lost_after if it is on contacts"
        found.append(Finding("unwired", Severity.ERROR, plan.remote.place, text, fix=fix))
    return found


def _without_wire(plan: Plan, wiring: Wiring) -> Iterator[tuple[str, Signal | Output | Name]]:
    signals = {wire.signal for wire in wiring.signals}
    yield from (("signals", row) for i, row in enumerate(plan.signals) if i not in signals)
    motors = {wire.output for wire in wiring.motors}
    yield from (("outputs", row) for i, row in enumerate(plan.outputs) if i not in motors)
    pulses = {wire.pulse for wire in wiring.pulses}
    yield from (("outputs", row) for i, row in enumerate(plan.pulses) if i not in pulses)


def _unwired(kind: str, name: str, place: Place, *, console: bool = False) -> Finding:
    if console:
        text = f"{name} has no wire: it comes over the console only"
        return Finding("unwired", Severity.NOTE, place, text, fix=f"wiring: {{{kind}: {{{name}: ...}}}}")
    text = f"{name} has no wire"
    return Finding("unwired", Severity.ERROR, place, text, fix=f"write it under wiring: {kind}:")
