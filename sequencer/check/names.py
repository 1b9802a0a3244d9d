"""Findings about names that nothing uses.

Machine files are shared by several walks, so what one walk leaves out of them is only a note; a parameter
or a counter belongs to the gait file itself.
"""

from sequencer.base.findings import Finding, Severity
from sequencer.check.questions import Askers
from sequencer.plan.tables import (
    Command,
    Compare,
    Follow,
    Lost,
    Name,
    OnEvent,
    OnSwitch,
    Parameter,
    Plan,
    Signal,
)
from sequencer.plan.words import number_words


def check_names(plan: Plan, askers: Askers) -> list[Finding]:
    """Report names that stand in the files and are used nowhere."""
    used = _Used(plan)
    return [*_inputs(plan, used), *_setpoints(plan, used), *_parameters(plan, used), *_counters(plan, used)]


class _Used:
    """The indices of everything that some phase, guard, rule, loop or output uses."""

    def __init__(self, plan: Plan) -> None:
        self.signals: set[int] = set()
        self.events: set[int] = set()
        self.switches: set[int] = set()
        self.setpoints: set[int] = set()
        self.parameters: set[int] = set()
        self.counters: set[int] = set()
        self.remote = False
        for leaf in plan.leaves:
            if isinstance(leaf, OnEvent):
                self.events.add(leaf.event)
            elif isinstance(leaf, OnSwitch):
                self.switches.add(leaf.switch)
            elif isinstance(leaf, Follow):
                self.setpoints.add(leaf.setpoint)
            elif isinstance(leaf, Compare):
                (self.signals if leaf.source == "signal" else self.counters).add(leaf.index)
            elif isinstance(leaf, Lost) and leaf.signal is None:
                self.remote = True
            elif isinstance(leaf, Lost) and leaf.signal is not None:
                self.signals.add(leaf.signal)
            for name in ("low", "high", "release_low", "release_high", "tolerance", "release"):
                self._level(getattr(leaf, name, None))
        self._drives(plan)
        for sequence in plan.sequences:
            for phase in sequence.phases:
                self.counters.update(phase.count, phase.reset)
                self.setpoints.update(phase.keep)
                self._commands(phase.commands)
        self._followers(plan)

    def _drives(self, plan: Plan) -> None:
        named = [signal.zero_from for signal in plan.signals]
        named += [output.cap_from for output in plan.outputs]
        for loop in plan.loops:
            self.signals.add(loop.signal)
            named += [loop.kp_times, loop.bi_times, loop.bd_times, loop.limit_from]
        self.parameters.update(index for index in named if index is not None)
        for output in plan.outputs:
            self.signals.update(part.signal for part in (output.supply, output.stall) if part is not None)

    def _commands(self, commands: tuple[Command, ...]) -> None:
        for command in commands:
            self.setpoints.add(command.setpoint)
            self._level(command.level)

    def _level(self, level: object) -> None:
        parameter = getattr(level, "parameter", None)
        if parameter is not None:
            self.parameters.add(parameter)

    def _followers(self, plan: Plan) -> None:
        """Count a follower of a used setpoint as used: it shows whether the joint does as it is told."""
        for index in self.setpoints:
            self.signals.update(follower.signal for follower in plan.setpoints[index].followers)
        for setpoint in plan.setpoints:
            if setpoint.rate is not None:
                self._level(setpoint.rate)
        if plan.remote is not None:
            self.remote |= bool(
                self.events & set(plan.remote.events) or self.switches & set(plan.remote.switches)
            )


def _inputs(plan: Plan, used: _Used) -> list[Finding]:
    findings = []
    kinds: tuple[tuple[str, tuple[Signal | Name, ...], set[int]], ...] = (
        ("signal", plan.signals, used.signals),
        ("event", plan.events, used.events),
        ("switch", plan.switches, used.switches),
    )
    for kind, table, seen in kinds:
        for index, entry in enumerate(table):
            if index not in seen:
                findings.append(
                    Finding(
                        "unused-input",
                        Severity.NOTE,
                        entry.place,
                        f"no guard and no rule of this gait looks at the {kind} {entry.name}",
                        fix="nothing to do if another gait of this machine does",
                    )
                )
    if plan.remote is not None and not used.remote:
        findings.append(
            Finding(
                "unused-input",
                Severity.NOTE,
                plan.remote.place,
                "no guard looks at the remote or at anything that it carries",
                fix="write under `anywhere`: `- {to: safe, when: {lost: remote}}`",
            )
        )
    return findings


def _setpoints(plan: Plan, used: _Used) -> list[Finding]:
    findings = []
    for index, setpoint in enumerate(plan.setpoints):
        if index in used.setpoints:
            continue
        start = number_words(setpoint.start, setpoint.unit)
        findings.append(
            Finding(
                "unused-setpoint",
                Severity.NOTE,
                setpoint.place,
                f"no phase of this gait commands {setpoint.name}: it stays at its start",
                fix=f"`set: {{{setpoint.name}: {start}}}` in the first phase, to say that this is meant",
            )
        )
    return findings


def _parameters(plan: Plan, used: _Used) -> list[Finding]:
    return [
        _unused_parameter(plan, parameter)
        for index, parameter in enumerate(plan.parameters)
        if index not in used.parameters
    ]


def _unused_parameter(plan: Plan, parameter: Parameter) -> Finding:
    """Report a parameter that nothing uses; one of a machine file may be there for another walk."""
    name, shared = parameter.name, parameter.place.file not in plan.sources[:1]
    message = f"nothing uses the parameter {name}: trimming it changes nothing"
    fix = f"write {name} where its number stands now, or delete it"
    if shared:
        fix = "nothing to do if another gait of this machine does"
    return Finding(
        "unused-parameter", Severity.NOTE if shared else Severity.WARNING, parameter.place, message, fix=fix
    )


def _counters(plan: Plan, used: _Used) -> list[Finding]:
    return [
        Finding(
            "unused-counter",
            Severity.WARNING,
            counter.place,
            f"no phase counts {counter.name} and no guard looks at it",
            fix=f"`count: {counter.name}` in the phase that it should count, or delete it",
        )
        for index, counter in enumerate(plan.counters)
        if index not in used.counters
    ]
