"""A walk that is disturbed while it goes on: the machine follows, but not all that arrives is well.

Often something small comes (a sample lost, junk, a value on a threshold), seldom something that stops the
walk (long silence, a late tick, a reset, a switch off); again and again somebody presses something, so it
goes on.
"""

from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from sequencer.plan.tables import Plan
from sequencer.prove.near import WRAP, bits, near_values, pauses, sample, zero_of
from sequencer.trace.blocks import FRESH_VALUE, HEARD, NOT_FRESH, RESET, ParameterWrite, TickBlock
from sequencer.trace.operator import asked_for

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sequencer.history.drive import Plant

PRESSED, TRIMMED = 0.02, 0.002  # the chance in a tick
EVERYTHING, CAUGHT = range(7), 5  # what can happen to a walk
# how often something small comes and something that may stop the walk, in a tick, and what: calm, rough, or
# sound but for limbs that are caught
KINDS = ((0.01, 0.0004, EVERYTHING), (0.03, 0.003, EVERYTHING), (0.0, 0.0015, range(CAUGHT, CAUGHT + 1)))
_ABSURD = 3.0e38  # twice that is beyond all measure
_ALL_BUT_NOTHING = 1e-45  # of a supply: what it is divided into is beyond all measure


class DisturbedPlant:
    """Hands on what another plant answers, disturbed; implements `sequencer.history.drive.Plant`.

    kind: of KINDS, by turns.
    """

    def __init__(self, rng: Random, plan: Plan, plant: "Plant", kind: int = 0) -> None:
        self._rng, self._plan, self._plant = rng, plan, plant
        self._near, self._pauses = near_values(plan), pauses(plan)
        self._now = rng.choice([0, WRAP - rng.randrange(1, 2000) * plan.tick_ms])
        self._silent = np.zeros(len(plan.signals), np.int64)  # for how many ticks more
        self._unheard = self._switched = 0
        self._often, self._seldom, self._what = KINDS[kind % len(KINDS)]
        self._ways_on = _events_that_lead_on(plan)
        self._burst = self._trims = self._caught = self._absurd = self._empty = 0  # for how many ticks more
        self._held = (0, 0.0)  # the signal that stands still while a limb is caught, and where
        self._controlled = sorted({loop.signal for loop in plan.loops})
        self._supplies = sorted({o.supply.signal for o in plan.outputs if o.supply is not None})
        self._limbs = sorted({f.signal for s in plan.setpoints for f in s.followers}.union(self._controlled))
        self._turns = _Turns(plan)

    def inputs(self, now_ms: int, setpoints: "NDArray[np.float32]") -> TickBlock:
        """Answer as the plant does, and disturb it. The clock is one of its own."""
        block = self._plant.inputs(now_ms, setpoints)
        self._now += self._plan.tick_ms
        if self._rng.random() < self._often and self._near:
            self._disturb_a_signal(block)
        if self._rng.random() < self._seldom:
            self._disturb_the_walk(block)
        if self._burst or self._rng.random() < PRESSED:
            self._press(block)
        self._go_on(block)
        block.now[0] = self._now % WRAP
        self._turns.see(setpoints)
        if self._rng.random() < (0.5 if self._trims else TRIMMED):
            return replace(block, writes=self._turns.writes(self._rng))
        return block

    def _disturb_a_signal(self, block: TickBlock) -> None:
        rng, column = self._rng, self._rng.randrange(len(self._near))
        if rng.random() < 0.3:
            self._silent[column] = rng.randint(1, 4)
        else:
            value = rng.choice([*self._near[column], float(block.raw[0, column])])
            signal = self._plan.signals[column]
            form, number = sample(rng, signal, value, zero_of(self._plan, signal))
            block.fresh[0, column], block.raw[0, column] = form, number

    def _disturb_the_walk(self, block: TickBlock) -> None:
        rng, what = self._rng, self._rng.choice(self._what)
        if what == 0 and self._near:
            self._silent[rng.randrange(len(self._near))] = rng.randint(5, 60)
        elif what == 1:
            self._unheard = rng.randint(5, 80)
        elif what == 2:
            self._now += rng.choice(self._pauses[len(self._pauses) // 2 :])  # the longer ones
        elif what == 3:
            self._switched = rng.randint(1, 20)
        elif what == 4:
            self._absurd = 7
        elif what == CAUGHT and self._limbs:
            self._caught, limb = rng.choice((30, 30, 200, 700)), rng.choice(self._limbs)
            self._held = (limb, float(block.raw[0, limb]))
        else:
            block.control[0] |= RESET
            self._empty = rng.choice((0, 3))

    def _press(self, block: TickBlock) -> None:
        if self._ways_on and self._rng.random() < 0.98:
            block.events[0] |= 1 << self._rng.choice(self._ways_on)
        else:
            block.events[0] |= bits(self._rng, len(self._plan.events), 0.5)
        block.control[0] |= HEARD
        if self._burst:
            self._burst, self._trims = 0, 4
        elif self._rng.random() < 0.3:
            self._burst = 1

    def _go_on(self, block: TickBlock) -> None:
        """Do what lasts longer than a tick."""
        block.fresh[0, self._silent > 0] = NOT_FRESH
        self._silent -= 1
        if self._unheard > 0:
            block.control[0] &= ~np.uint8(HEARD)
            self._unheard -= 1
        for column in self._controlled if self._absurd else ():
            block.fresh[0, column] = FRESH_VALUE
            block.raw[0, column] = -_ABSURD if self._absurd & 2 else _ABSURD  # twice, so that loops start
        for column in self._supplies if self._empty else ():
            block.fresh[0, column], block.raw[0, column] = FRESH_VALUE, _ALL_BUT_NOTHING
        self._empty = max(self._empty - 1, 0)
        if self._caught:
            block.raw[0, self._held[0]] = self._held[1]
        self._absurd, self._caught = max(self._absurd - 1, 0), max(self._caught - 1, 0)
        self._trims = max(self._trims - 1, 0)
        if self._switched > 0:
            block.switches[0] = bits(self._rng, len(self._plan.switches), 0.5)
            self._switched -= 1


class _Turns:
    """Remembers where setpoints turned last: a target that is trimmed to just that is neither way."""

    def __init__(self, plan: Plan) -> None:
        commands = [c for s in plan.sequences for phase in s.phases for c in phase.commands]
        trimmed = {(c.setpoint, c.level.parameter, c.level.negated) for c in commands}
        self._trims = sorted((s, p, negated) for s, p, negated in trimmed if p is not None)
        self._plan = plan
        self._last = np.zeros(len(plan.setpoints), np.float32)
        self._way = np.zeros(len(plan.setpoints), np.float32)
        self._turned = np.zeros(len(plan.setpoints), np.float32)

    def see(self, setpoints: "NDArray[np.float32]") -> None:
        """Take in where the setpoints are."""
        way = np.sign(setpoints - self._last)
        turns = way != self._way
        self._turned[turns] = self._last[turns]
        self._way, self._last = way, setpoints.copy()

    def writes(self, rng: Random) -> tuple[ParameterWrite, ...]:
        """Trim a parameter so that a target that comes from it is where its setpoint last turned."""
        values = [(p, (-1 if negated else 1) * float(self._turned[s])) for s, p, negated in self._trims]
        spans = self._plan.parameters
        good = [ParameterWrite(0, p, value) for p, value in values if spans[p].low <= value <= spans[p].high]
        return (rng.choice(good),) if good else ()


def _events_that_lead_on(plan: Plan) -> list[int]:
    """List the events that phases wait for, as often as they do."""
    exits = [way for s in plan.sequences for phase in s.phases for way in phase.exits]
    return [event for way in exits for event in asked_for(plan, plan.guards[way.guard])[0]]
