"""One tick in order, in its readable form."""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sequencer.base.binary32 import f32
from sequencer.base.errors import MisuseError
from sequencer.executors.reference.guards import GuardState, Notes
from sequencer.executors.reference.inputs import Inputs
from sequencer.executors.reference.int16 import (
    InputsInUnits,
    ParametersInUnits,
    setpoints_in_units,
    steps_states,
)
from sequencer.executors.reference.leaves import make_leaves
from sequencer.executors.reference.loops import make_loops
from sequencer.executors.reference.measures import Commanded, Measures
from sequencer.executors.reference.outputs import Outputs
from sequencer.executors.reference.record import Gathered
from sequencer.executors.reference.sequences import (
    ENTER_FIRST,
    Parts,
    SequenceState,
    Way,
    anywhere_way,
    rule_way,
)
from sequencer.executors.reference.setpoints import SetpointState
from sequencer.history.blocks import (
    RULE_BROKEN,
    RULE_KEPT,
    RULE_UNJUDGED,
    TRUE,
    UNKNOWN,
    HistoryBlock,
    new_block,
)
from sequencer.history.units import in_units, record_in_units
from sequencer.plan.tables import Plan
from sequencer.plan.whole_steps import in_steps
from sequencer.trace.blocks import HEARD, HELPED, RESET, ParameterWrite, TickBlock
from sequencer.trace.steps import block_in_steps

ROWS_AT_ONCE = 4096  # how many ticks are turned into Python numbers at a time


class ReferenceExecutor:
    """Runs a plan tick by tick; implements `sequencer.history.blocks.Executor`.

    This is the normative reading of a tick. It is written to be read; the generated code must agree with it
    to the bit. Not to be shared between threads.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        plan = self._in_force = plan if plan.fixed is None else in_steps(plan)
        self._parameters = [p.value for p in plan.parameters]
        signals = None if plan.fixed is None else steps_states(plan, self._parameters)
        self._inputs = Inputs(plan, self._parameters, signals)
        self._setpoints = [SetpointState(s, self._parameters) for s in plan.setpoints]
        self._leaves = make_leaves(plan, self._inputs, self._setpoints, self._parameters)
        self._guards = [GuardState(guard, self._leaves, self._inputs) for guard in plan.guards]
        parts = Parts(self._inputs, self._guards, self._setpoints, self._parameters)
        self._sequences = [SequenceState(plan, index, parts) for index in range(len(plan.sequences))]
        self._anywhere = [
            (self._guards[entry.guard], anywhere_way(number), entry.to)
            for number, entry in enumerate(plan.anywhere)
        ]
        self._rule_guards = [self._guards[rule.guard] for rule in plan.rules]
        self._rules = [RULE_KEPT] * len(plan.rules)
        measures, commanded, parameters = self._for_drives()
        self._loops = make_loops(plan, measures, commanded, parameters)
        self._outputs = Outputs(plan, measures, self._loops, parameters)
        self._has_drives = bool(plan.loops or plan.outputs)
        self._count = 0  # ticks since the reset tick
        self._drives = True
        self._refused = 0
        self._reset_next = True
        self._notes: Notes | None = None

    def _for_drives(self) -> tuple[Measures, Sequence[Commanded], Sequence[float]]:
        """Give what loops and outputs read, in units: inputs, setpoints, parameters."""
        fixed = self.plan.fixed
        if fixed is None:
            return self._inputs, self._setpoints, self._parameters
        commanded = setpoints_in_units(self._setpoints, fixed.setpoints)
        parameters = ParametersInUnits(self._parameters, fixed.parameters)
        return InputsInUnits(self._inputs, fixed.signals), commanded, parameters

    @property
    def setpoints(self) -> NDArray[np.float32]:
        """The ramped setpoint values after the last tick, float32 (setpoints,), each in its own unit."""
        values = np.array([s.value for s in self._setpoints], np.float32)
        return values if self.plan.fixed is None else in_units(values, self.plan.fixed.setpoints)

    @property
    def outputs(self) -> NDArray[np.float32]:
        """What goes to the motors after the last tick, float32 (outputs,), bare numbers in their spans."""
        return np.array([o.value for o in self._outputs.each], np.float32)

    @property
    def parameters(self) -> tuple[float, ...]:
        """The parameters as they stand, each in its own unit."""
        if self.plan.fixed is None:
            return tuple(self._parameters)
        return tuple(in_units(np.array(self._parameters, np.float32), self.plan.fixed.parameters).tolist())

    def reset(self) -> None:
        """Start over: the next tick enters each first phase; parameters keep their values."""
        self._reset_next = True

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        """Run the block's ticks in order and return their record.

        Raises MisuseError if the block does not have one column per signal or writes an unknown parameter.
        """
        self._check(block)
        if self.plan.fixed is not None:
            block = block_in_steps(self.plan, block)
        record = new_block(self.plan, len(block), detail=detail)
        record.now[:] = block.now
        self._take_notes(detail)
        writes = deque(sorted(block.writes, key=lambda write: write.row))  # stable: arrival order in a tick
        for first in range(0, len(block), ROWS_AT_ONCE):
            rows = slice(first, min(first + ROWS_AT_ONCE, len(block)))
            self._run_rows(block, rows, writes).write(record, rows)
        for index, signal in enumerate(self._inputs.signals):
            record.bad[index] = signal.bad
            record.disbelieved[index] = signal.disbelieved
            record.outside[index] = signal.outside
        record = replace(record, refused=self._refused)
        return record if self.plan.fixed is None else record_in_units(self.plan, record)

    def _check(self, block: TickBlock) -> None:
        signals = len(self.plan.signals)
        if block.raw.shape != (len(block), signals) or block.fresh.shape != (len(block), signals):
            raise MisuseError(
                f"a block needs {signals} columns, one per signal; this one is {block.raw.shape}"
            )
        for write in block.writes:
            if not 0 <= write.parameter < len(self._parameters):
                raise MisuseError(f"there is no parameter number {write.parameter}")

    def _take_notes(self, detail: bool) -> None:
        """Have the guards write down what each leaf answers, or stop them."""
        if detail == (self._notes is not None):
            return
        self._notes = Notes(len(self.plan.leaves)) if detail else None
        for guard in self._guards:
            guard.note(self._notes)

    def _run_rows(self, block: TickBlock, rows: slice, writes: deque[ParameterWrite]) -> Gathered:
        gathered = Gathered()
        inputs = self._inputs
        for row, of_tick in enumerate(_python_rows(block, rows), rows.start):
            inputs.now, raw, fresh, inputs.events, inputs.switches, control = of_tick
            self._reset_next = self._reset_next or bool(control & RESET)
            if self._reset_next:
                self._refused = 0
            while writes and writes[0].row <= row:
                self._write(writes.popleft())
            inputs.helping = control & HELPED if self.plan.helping else 0
            self._tick(raw, fresh, bool(control & HEARD))
            self._gather(gathered)
        return gathered

    # -- one tick ------------------------------------------------------------------------------------------

    def _write(self, write: ParameterWrite) -> None:
        """Step 1: take a parameter write if it is finite and in span; recompute what depends on it."""
        value = f32(write.value)
        parameter = self._in_force.parameters[write.parameter]
        if not parameter.low <= value <= parameter.high:  # also refuses NaN
            self._refused += 1
            return
        self._parameters[write.parameter] = value
        for leaf in self._leaves:
            leaf.refresh(self._parameters)
        for setpoint in self._setpoints:
            setpoint.refresh(self._parameters)

    def _tick(self, raw: list[float], fresh: list[int], heard: bool) -> None:
        """Do steps 2 to 12 for the inputs that stand in `self._inputs`, then loops and outputs."""
        starts, self._reset_next = self._reset_next, False
        if starts:
            self._forget()
        now = self._inputs.now
        for signal, sample, form in zip(self._inputs.signals, raw, fresh, strict=True):
            signal.take(now, sample, form)
        self._inputs.remote.take(now, heard)
        if self._notes is not None:
            self._notes.clear()

        if starts:
            for sequence in self._sequences:
                sequence.take(ENTER_FIRST)
        else:
            self._choose()
        for sequence in self._sequences:
            sequence.switch()

        for setpoint in self._setpoints:
            setpoint.ramp()
        self._switch_drives()
        self._judge_rules()
        if self._has_drives:
            self._work_drives()

    def _forget(self) -> None:
        """Step 12: before the first tick after a reset, all but the parameters goes back to its start."""
        self._inputs.reset(self._inputs.now)
        for setpoint in self._setpoints:
            setpoint.reset()
        for guard in self._guards:
            guard.clear()
        for loop in self._loops:
            loop.reset()
        self._outputs.reset()
        self._count = 0
        self._drives = True

    def _choose(self) -> None:
        """Do steps 6 and 7: let each sequence choose its way out of its phase by what the tick began with."""
        mover: tuple[Way, tuple[int, ...]] | None = None
        true: list[tuple[int, ...]] = []
        for guard, way, to in self._anywhere:  # all are looked at, even after one fired
            fires = guard.look()
            if fires and mover is None:
                mover = way, to
            if guard.truth == TRUE:
                true.append(to)
        if mover is None:
            mover = self._broken_rule()

        for index, sequence in enumerate(self._sequences):
            phase = self._inputs.phases[index]
            if mover is not None:
                way, to = mover
                if phase == to[index]:
                    sequence.keep()
                else:
                    sequence.take(way)
            elif any(phase == to[index] for to in true):
                sequence.keep()
            else:
                sequence.look()

    def _broken_rule(self) -> tuple[Way, tuple[int, ...]] | None:
        """Give where the first rule leads that has a `to` and was broken at the end of the tick before."""
        for number, rule in enumerate(self.plan.rules):
            if rule.to is not None and self._rules[number] == RULE_BROKEN:
                return rule_way(number), rule.to
        return None

    def _switch_drives(self) -> None:
        """Step 10: stop categories 0, 1 (IEC 60204-1) turn the drives off; leaving every stop, on again."""
        stops = {sequence.phase.stop for sequence in self._sequences}
        if stops == {None}:
            self._drives = True
        elif 0 in stops or (1 in stops and all(s.value == s.target for s in self._setpoints)):
            self._drives = False

    def _judge_rules(self) -> None:
        """Step 11: judge the rules by the new phases and counters; events are over."""
        self._inputs.events = 0
        for number, guard in enumerate(self._rule_guards):
            broken = guard.look()
            if broken:
                self._rules[number] = RULE_BROKEN
            else:
                self._rules[number] = RULE_UNJUDGED if guard.truth == UNKNOWN else RULE_KEPT

    def _work_drives(self) -> None:
        """After the rules: loops, outer before inner, then outputs."""
        for loop in self._loops:
            loop.work(self._count, self._drives)
        self._outputs.work(self._drives)
        self._count += 1

    def _gather(self, gathered: Gathered) -> None:
        gathered.phase += self._inputs.phases
        pulses = 0
        for sequence in self._sequences:
            gathered.cause.append(sequence.cause)
            gathered.waits.append(sequence.waits)
            pulses |= sequence.pulses
        gathered.setpoint += [s.value for s in self._setpoints]
        gathered.counter += self._inputs.counters
        gathered.rule += self._rules
        gathered.drives.append(self._drives)
        gathered.pulses.append(pulses)
        if self._has_drives:
            gathered.loop += [loop.contribution for loop in self._loops]
            gathered.output += [output.value for output in self._outputs.each]
            gathered.output_state += [output.state for output in self._outputs.each]
        if self._notes is not None:
            gathered.detail.add(self._inputs.signals, self._setpoints, self._notes)


def _python_rows(
    block: TickBlock, rows: slice
) -> Iterator[tuple[int, list[float], list[int], int, int, int]]:
    """Turn rows of the block into plain Python numbers."""
    return zip(
        block.now[rows].tolist(),
        block.raw[rows].tolist(),
        block.fresh[rows].tolist(),
        block.events[rows].tolist(),
        block.switches[rows].tolist(),
        block.control[rows].tolist(),
        strict=True,
    )
