"""Findings about what the wires can carry: setpoints nobody drives, servos that end early, odd counts."""

from collections.abc import Iterator

from sequencer.base.findings import Finding, Severity
from sequencer.check.facts import Facts
from sequencer.check.questions import Askers
from sequencer.plan.boards import BOARDS
from sequencer.plan.tables import Plan
from sequencer.plan.wiring_tables import Wiring
from sequencer.plan.words import number_words

FULL_SCALE = 1023  # the known boards' converters have 10 bits (data sheets of the ATmega family)
BEYOND = 256  # counts by which a span may go beyond what the pin can give; our choice
# rates that sensors and terminals offer (common practice)
USUAL_BAUDS = (
    300, 1200, 2400, 4800, 9600, 14400, 19200, 28800, 31250, 38400, 57600, 76800, 115200, 230400, 250000,
    460800, 500000, 921600, 1000000, 2000000,
)  # fmt: skip


def check_reach(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold what the walk commands and measures against the wires."""
    found = list(_gain_signs(plan))
    if plan.wiring is not None:
        facts = askers.trimmed.facts
        found += [*_undriven(plan, plan.wiring), *_short_servos(facts, plan.wiring)]
        found += [*_counts(plan, plan.wiring), *_bauds(plan.wiring)]
    return found


def _undriven(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    wired = {servo.setpoint for servo in wiring.servos}
    wired |= {term.setpoint for loop in plan.loops for term in loop.terms if term.setpoint is not None}
    for index, row in enumerate(plan.setpoints):
        if row.owner is not None and index not in wired:
            yield Finding(
                "setpoint-unwired",
                Severity.WARNING,
                row.place,
                f"nothing moves to where {row.name} is: no servo is wired to it and no loop takes it",
                fix=f"under wiring, setpoints: {{{row.name}: {{servo: PIN}}}}; or a loop with an output",
            )


def _short_servos(facts: Facts, wiring: Wiring) -> Iterator[Finding]:
    for servo in wiring.servos:
        row = facts.plan.setpoints[servo.setpoint]
        low, high = facts.travel(servo.setpoint)
        ends = min(servo.over), max(servo.over)
        if row.owner is None or (ends[0] <= low and high <= ends[1]):
            continue
        goes = number_words(high if high > ends[1] else low, row.unit)
        ends_at = number_words(ends[1] if high > ends[1] else ends[0], row.unit)
        yield Finding(
            "servo-short",
            Severity.WARNING,
            servo.place,
            f"{row.name} is sent to {goes}, and its servo ends at {ends_at}: the walk waits there",
            fix=f"over: [{number_words(row.low, row.unit)}, {number_words(row.high, row.unit)}] with the "
            f"pulses that belong to it, or targets that the servo reaches",
        )


def _counts(plan: Plan, wiring: Wiring) -> Iterator[Finding]:
    if wiring.board not in BOARDS:
        return
    for wire in wiring.signals:
        signal = plan.signals[wire.signal]
        if wire.kind != "analog" or not signal.scaled or signal.gain == 0.0:
            continue
        counts = sorted((x - signal.bias) / signal.gain for x in (signal.low, signal.high))
        if counts[0] < -BEYOND or counts[1] > FULL_SCALE + BEYOND:
            yield Finding(
                "counts-beyond-pin",
                Severity.WARNING,
                signal.place,
                f"the span of {signal.name} is {counts[0]:.0f} to {counts[1]:.0f} counts, and a pin of "
                f"{wiring.board} gives 0 to {FULL_SCALE}",
                fix="the counts that this board reads at two known positions, under scale",
                notes=((wire.place, "wired here"),),
            )


def _bauds(wiring: Wiring) -> Iterator[Finding]:
    for port in wiring.ports:
        if port.baud not in USUAL_BAUDS:
            near = min(USUAL_BAUDS, key=lambda usual: abs(usual - port.baud))
            yield Finding(
                "odd-baud",
                Severity.WARNING,
                port.place,
                f"{port.baud} baud is not usual: sensors and terminals hardly offer it",
                fix=f"did you mean {near}?",
            )


def _gain_signs(plan: Plan) -> Iterator[Finding]:
    for loop in plan.loops:
        for name, index in (("kp", loop.kp_times), ("ki", loop.bi_times), ("kd", loop.bd_times)):
            if index is None:
                continue
            parameter = plan.parameters[index]
            if parameter.low < 0.0 < parameter.high:
                yield Finding(
                    "gain-of-both-signs",
                    Severity.WARNING,
                    parameter.place,
                    f"{parameter.name} may be trimmed from {number_words(parameter.low, '')} to "
                    f"{number_words(parameter.high, '')}, and it is the {name} of {loop.name}: with the "
                    f"wrong sign the joint runs away",
                    fix="a span on one side of 0",
                    notes=((loop.place, f"{loop.name} takes it"),),
                )
