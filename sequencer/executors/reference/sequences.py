"""Steps 6 to 9 of a tick: one sequence, as a state machine of the `transitions` package.

We decide which way out fires; the machine holds which ways there are, makes the move and calls the entry
action. Its triggers are ``reset``, ``guard_0`` ..., ``timeout``, ``anywhere_0`` ... and ``rule_0`` ...
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from transitions import Machine, State

from sequencer.executors.reference.guards import GuardState
from sequencer.executors.reference.inputs import WRAP, Inputs
from sequencer.executors.reference.setpoints import SetpointState
from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    FOR_STEP,
    NO_CHANGE,
    OVERDUE,
)
from sequencer.plan.steps import needs_event
from sequencer.plan.tables import Phase, Plan
from sequencer.trace.blocks import HELPING, STEP, STEPPING

MOST_COUNTED = 65535  # a counter is 16 bits wide and stays there


@dataclass(frozen=True, slots=True)
class Way:
    """A way into a phase: the trigger to pull and the cause to write down."""

    trigger: str
    cause: int


ENTER_FIRST = Way("reset", BY_RESET << 8)
TIMEOUT = Way("timeout", BY_TIMEOUT << 8)


def guard_way(index: int) -> Way:
    """Give the way of a phase's guard."""
    return Way(f"guard_{index}", BY_GUARD << 8 | index)


def anywhere_way(index: int) -> Way:
    """Give the way of an `anywhere` entry."""
    return Way(f"anywhere_{index}", BY_ANYWHERE << 8 | index)


def rule_way(index: int) -> Way:
    """Give the way of a broken rule's `to`."""
    return Way(f"rule_{index}", BY_RULE << 8 | index)


@dataclass(frozen=True, slots=True)
class Parts:
    """What all sequences of an executor work on."""

    inputs: Inputs
    guards: Sequence[GuardState]
    setpoints: Sequence[SetpointState]
    parameters: Sequence[float]


class SequenceState:
    """One sequence: the model that its `transitions.Machine` moves.

    `cause` says why this tick changed the phase (0: it did not), `pulses` what the entered phase pulses,
    `waits` what kept it from moving: bits OVERDUE, FOR_STEP.
    """

    trigger: Callable[[str], bool]  # added by the machine
    state: str  # the phase's name, kept by the machine

    def __init__(self, plan: Plan, index: int, parts: Parts) -> None:
        self._index = index
        self._phases = plan.sequences[index].phases
        self._inputs = parts.inputs
        self._setpoints = parts.setpoints
        self._own = [s for s in parts.setpoints if s.setpoint.owner == index]
        self._parameters = parts.parameters
        self._exits = [
            [
                (parts.guards[out.guard], guard_way(number), not needs_event(plan, plan.guards[out.guard]))
                for number, out in enumerate(phase.exits)
            ]
            for phase in self._phases
        ]
        self._start_ms = 0
        self._way: Way | None = None
        self.cause = NO_CHANGE
        self.pulses = self.waits = 0
        self._machine = Machine(
            model=self,
            states=[
                State(phase.name, on_enter=partial(self._enter, number, phase))
                for number, phase in enumerate(self._phases)
            ],
            initial=self._phases[0].name,
            transitions=_transitions(plan, index),
            auto_transitions=False,
        )

    @property
    def phase(self) -> Phase:
        """The active phase."""
        return self._phases[self._inputs.phases[self._index]]

    def take(self, way: Way) -> None:
        """Choose this way out, whatever the phase's own guards would say."""
        self._way = way
        self.waits = 0

    def keep(self) -> None:
        """Stay, held where it already is: latches and holds of the phase start over."""
        self._clear_guards()
        self.waits = 0

    def look(self) -> None:
        """Look at the phase's guards in document order, then at its timeout; choose the first that fires.

        In single steps the guard that fires must wait for the step; helped by hand a timeout only warns.
        """
        number, helping = self._inputs.phases[self._index], self._inputs.helping
        self.waits = 0
        for guard, way, steps in self._exits[number]:
            if guard.look():
                if steps and helping & STEPPING and not helping & STEP:
                    self.waits = FOR_STEP
                else:
                    self._way = way
                return
        timeout = self._phases[number].timeout
        if timeout is not None and (self._inputs.now - self._start_ms) & WRAP >= timeout.after_ms:
            if helping & (HELPING | STEPPING):
                self.waits = OVERDUE
            else:
                self._way = TIMEOUT

    def switch(self) -> None:
        """Make the chosen move, if there is one."""
        self.cause, self.pulses = NO_CHANGE, 0
        if self._way is not None:
            way, self._way = self._way, None
            self.cause = way.cause
            self.trigger(way.trigger)

    def _enter(self, number: int, phase: Phase) -> None:
        """Carry out a phase's entry: counters, pulses, targets; its guards start afresh."""
        self._inputs.phases[self._index] = number
        self._start_ms = self._inputs.now
        counters = self._inputs.counters
        for index in phase.reset:
            counters[index] = 0
        for index in phase.count:
            counters[index] = min(counters[index] + 1, MOST_COUNTED)
        for index in phase.pulse:
            self.pulses |= 1 << index
        for setpoint in self._own:
            setpoint.begin_phase()
        for command in phase.commands:
            self._setpoints[command.setpoint].command(command.level, self._parameters)
        self._clear_guards()

    def _clear_guards(self) -> None:
        for guard, _, _ in self._exits[self._inputs.phases[self._index]]:
            guard.clear()


def _transitions(plan: Plan, index: int) -> list[list[str]]:
    """List every way of a sequence as [trigger, from, to]; ``*`` is every phase."""
    phases = plan.sequences[index].phases
    ways = [[ENTER_FIRST.trigger, "*", phases[0].name]]
    for phase in phases:
        for number, out in enumerate(phase.exits):
            ways.append([guard_way(number).trigger, phase.name, phases[out.to].name])
        if phase.timeout is not None:
            ways.append([TIMEOUT.trigger, phase.name, phases[phase.timeout.to].name])
    for number, entry in enumerate(plan.anywhere):
        ways.append([anywhere_way(number).trigger, "*", phases[entry.to[index]].name])
    for number, rule in enumerate(plan.rules):
        if rule.to is not None:
            ways.append([rule_way(number).trigger, "*", phases[rule.to[index]].name])
    return ways
