"""The view of a machine's wiring: what the templates of its input and output files print.

These files are made from the machine alone, so that every program for it can use the same ones.
"""

from dataclasses import asdict
from typing import Any, Final

from sequencer import __version__
from sequencer.base.binary32 import f32, literal
from sequencer.base.errors import MisuseError
from sequencer.base.places import Place
from sequencer.generate.board_io_views import (
    AnalogView,
    ContactView,
    IoView,
    LineView,
    MotorView,
    PortView,
    PulseView,
    ServoView,
    TimerView,
)
from sequencer.generate.names import check_identifier, file_name, file_stem, prefixed_names
from sequencer.generate.spelling import smallest, whole
from sequencer.plan.boards import BOARDS, SERVOS_PER_TIMER, Board
from sequencer.plan.tables import Plan
from sequencer.plan.wiring_tables import Contact, MotorWire, Pin, ServoWire, Wiring

LONGEST_COMMAND = 63
LONGEST_NUMBER = 24  # characters of one number of a line, with its comma
FULL_DUTY = 255
FRAME_US = 20_000  # between two pulses of a servo (common practice)
_SLOT_US = 2_700  # of a frame, for each servo
_LINE_PAUSE_MS = 50  # a line of numbers with such a pause in it is two halves
_KINDS: Final = {"pwm": 0, "pwm_direction": 1, "two_pwm": 2, "servo": 3}


def io_names(plan: Plan) -> dict[str, Any]:
    """Spell the machine's namespace and files."""
    stem = file_stem(plan.machine).rstrip("_")
    return {
        "namespace": f"{stem}_io",
        "macro": f"{stem}_io".upper(),
        "header": f"{stem}_io.h",
        "source": f"{stem}_io.cpp",
        "hooks": f"{stem}_board_hooks.h",
        "hooks_namespace": f"{stem}_hooks",
    }


def io_view(plan: Plan, send_size: int) -> IoView:
    """Make the view of a plan's wiring.

    send_size: bytes of the buffer in which lines wait for the console. Raises MisuseError if the plan has no
    wiring, or for a name that cannot stand in C++.
    """
    wiring = need_wiring(plan)
    return _IoWriter(plan, wiring, send_size).view()


def io_record(plan: Plan, send_size: int) -> dict[str, Any]:
    """Give `io_view` as plain data."""
    return asdict(io_view(plan, send_size))


def need_wiring(plan: Plan) -> Wiring:
    """Return the wiring of a plan. Raises MisuseError if there is none."""
    if plan.wiring is None:
        raise MisuseError(
            f"{Place(plan.sources[-1], 1, 1)}: machine {plan.machine} does not say what is connected where, "
            "and a board's program needs that",
            hint="write it in the machine file, beginning with wiring: {board: mega2560, ...}",
        )
    return plan.wiring


def pin_text(pin: Pin) -> str:
    """Spell a pin: its number, or the constant that an unknown board's core has for it."""
    return whole(pin.number) if pin.number is not None else check_identifier(pin.text)


class _IoWriter:
    """Makes the view of one machine."""

    def __init__(self, plan: Plan, wiring: Wiring, send_size: int) -> None:
        self._plan = plan
        self._wiring = wiring
        self._send_size = send_size
        self._board: Board | None = BOARDS.get(wiring.board)
        self._signals = prefixed_names("signal", [s.name for s in plan.signals])
        self._outputs = prefixed_names("output", [o.name for o in plan.outputs])
        self._setpoints = prefixed_names("setpoint", [s.name for s in plan.setpoints])
        self._servos: list[ServoView] = []

    def view(self) -> IoView:
        plan, wiring = self._plan, self._wiring
        motors = tuple(self._motor(wire) for wire in wiring.motors)
        for wire in wiring.servos:
            self._setpoint_servo(wire)
        contacts = self._contacts()
        analog = self._analog()
        lines = self._lines()
        ports = self._ports()
        return IoView(
            tool=f"gait-sequencer {__version__}",
            machine=plan.machine,
            sources=(file_name(plan.sources[-1]),),
            board=wiring.board,
            tick_ms=plan.tick_ms,
            **io_names(plan),
            signals=tuple(self._signals),
            hooked=self._hooked(),
            outputs=tuple(self._outputs),
            setpoints=tuple(self._setpoints),
            pulses=self._pulses(),
            knobs=self._knobs(),
            contacts=contacts,
            contact_ticks=smallest(max((c.ticks for c in contacts), default=1)),
            ports=ports,
            lines=lines,
            line_numbers=sum(line.fields for line in lines),
            pause_ms=max(_LINE_PAUSE_MS, 3 * plan.tick_ms),
            shares=any(port.line is not None and port.text for port in ports),
            console=self._object(wiring.console.port) if wiring.console else "",
            texts=self._texts(),
            longest_command=LONGEST_COMMAND,
            send_size=self._send_size,
            send_index=smallest(self._send_size),
            analog=analog,
            turns=sum(1 for group in analog if group.counter is not None),
            motors=motors,
            servos=tuple(self._servos),
            timers=self._timers(),
            **self._lines_of_safety(contacts),
        )

    def _lines_of_safety(self, contacts: tuple[ContactView, ...]) -> dict[str, Any]:
        """Spell the pins that let the motors have power, stop them, and restart the sensors."""
        wiring = self._wiring
        stop = next((i for i, c in enumerate(contacts) if c.name == "contact_stop"), None)
        reset = wiring.sensor_reset
        return {
            "enable": "" if wiring.enable is None else pin_text(wiring.enable),
            "enable_active_low": wiring.enable_active_low,
            "stop": "" if wiring.stop_contact is None else pin_text(wiring.stop_contact.pin),
            "stop_index": 0 if stop is None else stop,
            "stop_active_low": wiring.stop_contact is not None and wiring.stop_contact.active_low,
            "stop_interrupt": self._interrupts(wiring.stop_contact),
            "reset": "" if reset is None else pin_text(reset.pin),
            "reset_active_low": reset is not None and reset.active_low,
            "reset_ticks": 0 if reset is None else self._ticks(reset.for_ms),
        }

    def _ticks(self, ms: int) -> int:
        """Give the whole ticks in which so many milliseconds have surely passed."""
        return max(1, -(-ms // self._plan.tick_ms))

    def _interrupts(self, contact: Contact | None) -> bool:
        """Tell whether a contact has an interrupt; of a board that we do not know, its core says so."""
        if contact is None:
            return False
        if self._board is None or contact.pin.number is None:
            return True
        return self._board.same(contact.pin.number) in self._board.interrupts

    def _object(self, port: int) -> str:
        """Spell the core's object of a port: serial is Serial, serial1 is Serial1."""
        return self._wiring.ports[port].name.capitalize()

    def _texts(self) -> tuple[str, ...]:
        """Name the command buffers: one for the console, one for a remote on a port of its own."""
        wiring = self._wiring
        texts = ["from_console"] if wiring.console else []
        shared = wiring.console is not None and wiring.console.port == wiring.remote_port
        if wiring.remote_port is not None and not shared:
            texts.append("from_remote")
        return tuple(texts)

    def _ports(self) -> tuple[PortView, ...]:
        wiring, views = self._wiring, []
        for i, port in enumerate(wiring.ports):
            line = next((k for k, line in enumerate(wiring.lines) if line.port == i), None)
            text = ""
            if wiring.console is not None and wiring.console.port == i:
                text = "from_console"
            elif wiring.remote_port == i:
                text = "from_remote"
            if line is not None or text:
                views.append(PortView(port.name, self._object(i), f"{port.baud}UL", line, text))
        return tuple(views)

    def _lines(self) -> tuple[LineView, ...]:
        views, first = [], 0
        for i, line in enumerate(self._wiring.lines):
            used = tuple(
                (wire.field or 0, self._signals[wire.signal])
                for wire in self._wiring.signals
                if wire.kind == "line" and wire.line == i
            )
            views.append(LineView(line.name, line.fields, first, LONGEST_NUMBER * line.fields, used))
            first += line.fields
        return tuple(views)

    def _hooked(self) -> tuple[tuple[str, str], ...]:
        names = prefixed_names("read", [s.name for s in self._plan.signals])
        return tuple(
            (self._signals[w.signal], names[w.signal]) for w in self._wiring.signals if w.kind == "hook"
        )

    def _analog(self) -> tuple[AnalogView, ...]:
        """Group analog signals by how many ticks lie between two of their samples."""
        groups: dict[int, list[tuple[str, str]]] = {}
        for wire in self._wiring.signals:
            if wire.kind == "analog" and wire.pin is not None:
                every_us = self._plan.signals[wire.signal].every_us or 0
                ticks = max(1, round(every_us / (self._plan.tick_ms * 1000)))
                groups.setdefault(ticks, []).append((self._signals[wire.signal], pin_text(wire.pin)))
        views: list[AnalogView] = []
        for ticks, pins in sorted(groups.items()):
            counter = None if ticks == 1 else sum(1 for view in views if view.counter is not None)
            views.append(AnalogView(ticks, counter, tuple(pins)))
        return tuple(views)

    def _contacts(self) -> tuple[ContactView, ...]:
        wiring, named = self._wiring, []
        for kind, names in (("event", self._plan.events), ("switch", self._plan.switches)):
            spelled = prefixed_names(f"contact_{kind}", [row.name for row in names])
            named += [(spelled[w.index], w.contact) for w in wiring.inputs if w.kind == kind]
        for name in ("enable", "stop", "step", "helping"):
            attribute = {"enable": "enable_contact", "stop": "stop_contact"}.get(name, name)
            contact = getattr(wiring, attribute)
            if contact is not None:
                named.append((f"contact_{name}", contact))
        return tuple(
            ContactView(name, pin_text(c.pin), c.active_low, self._ticks(c.debounce_ms)) for name, c in named
        )

    def _pulses(self) -> tuple[PulseView, ...]:
        names = prefixed_names("pulse", [p.name for p in self._plan.pulses])
        return tuple(
            PulseView(names[w.pulse], pin_text(w.pin), w.active_low, self._ticks(w.on_ms))
            for w in self._wiring.pulses
        )

    def _knobs(self) -> tuple[tuple[str, str], ...]:
        names = prefixed_names("knob", [knob.parameter for knob in self._wiring.knobs])
        return tuple((n, pin_text(knob.pin)) for n, knob in zip(names, self._wiring.knobs, strict=True))

    def _motor(self, wire: MotorWire) -> MotorView:
        output = self._plan.outputs[wire.output]
        sign = -1.0 if wire.inverted else 1.0
        servo, offset = None, 0.0
        if wire.kind == "servo":
            low, high = (output.high, output.low) if wire.inverted else (output.low, output.high)
            factor, offset = _through(low, wire.pulse_us[0], high, wire.pulse_us[1])
            servo = self._add_servo(wire.pin, "", factor, offset, wire.pulse_us)
        else:
            # 1 is full duty; an output that may go beyond has it at the far end of its span
            factor = sign * FULL_DUTY / max(1.0, abs(output.low), abs(output.high))
        return MotorView(
            name=self._outputs[wire.output],
            text=output.name,
            kind=_KINDS[wire.kind],
            pin=pin_text(wire.pin),
            second="0U" if wire.second is None else pin_text(wire.second),
            factor=literal(f32(factor)),
            offset=literal(f32(offset)),
            servo=servo,
        )

    def _setpoint_servo(self, wire: ServoWire) -> None:
        factor, offset = _through(wire.over[0], wire.pulse_us[0], wire.over[1], wire.pulse_us[1])
        self._add_servo(wire.pin, self._setpoints[wire.setpoint], factor, offset, wire.pulse_us)

    def _add_servo(
        self, pin: Pin, setpoint: str, factor: float, offset: float, pulse_us: tuple[int, int]
    ) -> int:
        index = len(self._servos)
        spelled = literal(f32(factor)), literal(f32(offset))
        self._servos.append(ServoView(pin_text(pin), setpoint, *spelled, index, min(pulse_us), max(pulse_us)))
        return index

    def _timers(self) -> tuple[TimerView, ...]:
        """Share the servos out to the board's timers, twelve to each, the last one taking what is left."""
        if self._board is None:
            return ()
        views, first, count = [], 0, len(self._servos)
        for i, number in enumerate(self._board.servo_timers):
            last = i == len(self._board.servo_timers) - 1
            end = count if last else min(count, first + SERVOS_PER_TIMER)
            if end > first:
                frame_us = max(FRAME_US, (end - first) * _SLOT_US)
                views.append(TimerView(number, first, end, 2 * frame_us))
            first = end
        return tuple(views)


def _through(x0: float, y0: float, x1: float, y1: float) -> tuple[float, float]:
    """Give factor and offset of the line through two points."""
    factor = (y1 - y0) / (x1 - x0)
    return factor, y0 - factor * x0
