"""Findings about what is connected where that do not keep a program from being built."""

import difflib
from collections.abc import Iterator
from dataclasses import replace

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.check.questions import Askers
from sequencer.plan.boards import BOARDS, Board
from sequencer.plan.tables import Plan
from sequencer.plan.wiring import unwired
from sequencer.plan.wiring_pins import pin_uses
from sequencer.plan.wiring_tables import Line, Wiring

BYTES_PER_NUMBER = 10  # an angle with four decimals and a newline (common practice)
BITS_PER_BYTE = 10  # start, eight, stop
MOST_LOAD = 0.8
LEVELS_DIFFER_V = 0.5


def check_wiring(plan: Plan, askers: Askers) -> list[Finding]:
    """Report what is unwise about the wiring of the machine."""
    wiring = plan.wiring
    if wiring is None:
        return []
    board = BOARDS.get(wiring.board)
    found = [*_ports(wiring, board), *_lines(plan, wiring), *_signals(plan, wiring), *_motors(plan, wiring)]
    found += [*_knobs(plan, wiring), *_helping(plan, wiring), *_of_the_board(plan)]
    if board is None:
        text = f"nothing is known about board {wiring.board}: pins and ports are not checked"
        close = difflib.get_close_matches(wiring.board.lower(), BOARDS, n=1)
        fix = f"did you mean {close[0]}? " if close else ""
        fix += f"Known are {', '.join(BOARDS)}"
        found.append(Finding("unknown-board", Severity.WARNING, wiring.place, text, fix=fix))
    elif wiring.stop_contact is not None:
        pin = wiring.stop_contact.pin
        if pin.number is not None and board.same(pin.number) not in board.interrupts:
            text = f"pin {pin.text} has no interrupt: an open stop contact is noticed within a tick"
            fix = f"one of the pins {', '.join(map(str, board.interrupts))}"
            found.append(Finding("no-interrupt", Severity.WARNING, pin.place, text, fix=fix))
    return found


def _of_the_board(plan: Plan) -> Iterator[Finding]:
    """Say what would keep the board's program from being written; the walk may be sound all the same."""
    from sequencer.generate.board_telemetry import telemetry_error

    too_much = telemetry_error(plan)
    for finding in [*unwired(plan), *([too_much] if too_much else [])]:
        milder = Severity.WARNING if finding.severity is Severity.ERROR else finding.severity
        yield replace(finding, severity=milder)


def _helping(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    """Find contacts for helping by hand on a machine that does not know it."""
    contacts = {"step": wiring.step, "helping": wiring.helping}
    for name, contact in contacts.items():
        if contact is not None and not plan.helping:
            text = f"the contact {name} does nothing: the machine does not say that it may be helped by hand"
            fix = "helping: true at the top of the machine file, or leave the contact out"
            yield Finding("idle-contact", Severity.WARNING, contact.pin.place, text, fix=fix)


def _ports(wiring: Wiring, board: Board | None) -> Iterator[Finding]:
    console = wiring.console.port if wiring.console is not None else None
    for line in wiring.lines:
        others = [
            n for n, port in (("console", console), ("remote", wiring.remote_port)) if port == line.port
        ]
        if others:
            text = f"{line.name} shares {wiring.ports[line.port].name} with the {' and the '.join(others)}"
            fix = "another port; if there is none, let only one of the two transmit at a time"
            if board is not None and len(board.ports) == 1:
                fix = (
                    f"{board.name} has this port only: let only one of the two transmit at a time, or take a "
                    "board with more ports, such as mega2560"
                )
            yield Finding("shared-port", Severity.WARNING, line.place, text, fix=fix)
        elif wiring.ports[line.port].name == "serial":
            yield _programming(line.place, line.name)
    if wiring.remote_port is not None and wiring.ports[wiring.remote_port].name == "serial":
        yield _programming(wiring.ports[wiring.remote_port].place, "the remote")
    if board is None:
        return
    programming = board.ports[0]
    for use in pin_uses(wiring):
        if use.pin.number is not None and use.pin.number in (programming.rx, programming.tx):
            yield _programming(use.pin.place, f"pin {use.pin.text}")
    for port in wiring.ports:
        if port.volts is not None and abs(port.volts - board.logic_v) > LEVELS_DIFFER_V:
            yield _levels(port.place, port.name, port.volts, board)


def _programming(place: Place, what: str) -> Finding:
    text = f"{what} is on the programming port: unplug it for uploading"
    return Finding("programming-port", Severity.NOTE, place, text, fix="another port, if the board has one")


def _levels(place: Place, name: str, volts: float, board: Board) -> Finding:
    text = f"{name}: {volts:g} V on a board of {board.logic_v:g} V"
    if volts > board.logic_v:
        return Finding(
            "logic-levels", Severity.WARNING, place, text, fix="a level shifter, or it kills the board's pin"
        )
    fix = "nothing to do for what only sends; to what listens, a level shifter or a divider"
    return Finding("logic-levels", Severity.NOTE, place, text, fix=fix)


def _lines(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    for index, line in enumerate(wiring.lines):
        rows = [plan.signals[wire.signal] for wire in wiring.signals if wire.line == index]
        if not rows:
            text = f"no signal is on line {line.name}"
            yield Finding(
                "line-rate", Severity.NOTE, line.place, text, fix="delete it, or write line: for one"
            )
            continue
        periods = sorted({row.every_us or plan.tick_ms * 1000 for row in rows})
        if len(periods) > 1:
            text = f"the signals of {line.name} come together, but every {_words(periods)}"
            yield Finding(
                "line-rate", Severity.WARNING, line.place, text, fix="the same every for all of them"
            )
        yield from _load(line, wiring.ports[line.port].baud, periods[0])


def _words(periods: list[int]) -> str:
    return " and every ".join(f"{us / 1000:g} ms" for us in periods)


def _load(line: Line, baud: int, period_us: int) -> Iterator[Finding]:
    per_line = line.fields * BYTES_PER_NUMBER
    share = per_line * BITS_PER_BYTE * 1e6 / period_us / baud
    if share > MOST_LOAD:
        text = (
            f"{line.name} sends about {per_line} bytes every {period_us / 1000:g} ms: {share:.0%} of its baud"
        )
        fix = "a higher baud, fewer decimals or fewer lines a second"
        yield Finding("line-rate", Severity.WARNING, line.place, text, fix=fix)


def _signals(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    for wire in wiring.signals:
        signal = plan.signals[wire.signal]
        if wire.kind == "analog" and not signal.scaled and signal.unit not in {"", "counts"}:
            text = f"{signal.name} has no scale: counts are taken for {signal.unit}"
            fix = f"signals: {{{signal.name}: {{scale: {{counts: [0, 1023], reads: [...]}}}}}}"
            yield Finding("raw-counts", Severity.WARNING, wire.place, text, fix=fix)


def _motors(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    for motor in wiring.motors:
        output = plan.outputs[motor.output]
        low = -output.high if motor.inverted else output.low
        if motor.kind == "pwm" and low < 0:
            text = f"{output.name} can be negative, but its motor only turns one way"
            fix = "direction: PIN beside pwm, forward and backward, or span: [0, 1]"
            yield Finding("one-way", Severity.WARNING, motor.place, text, fix=fix)
    if wiring.motors or wiring.servos:
        if wiring.enable is None:
            text = "no enable line: the program cannot take the power from the drives"
            yield Finding("no-cut", Severity.NOTE, wiring.place, text, fix="enable: {pin: PIN}")
        if wiring.stop_contact is None:
            text = "no stop contact: the program does not notice the emergency stop"
            yield Finding("no-cut", Severity.NOTE, wiring.place, text, fix="stop_contact: {pin: PIN}")


def _knobs(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    known = {parameter.name for parameter in plan.parameters}
    for knob in wiring.knobs:
        if knob.parameter not in known:
            text = f"this gait has no parameter {knob.parameter}: the knob turns nothing"
            fix = "nothing to do if another gait of this machine has it"
            yield Finding("idle-knob", Severity.NOTE, knob.place, text, fix=fix)
