"""A walk that is disturbed while it goes on: the machine follows, but not all that arrives is well.

Often something small comes (a sample lost, junk, a value on a threshold), seldom something that stops the
walk (long silence, a late tick, a reset, a switch off); again and again somebody presses something, so it
goes on.
"""

from random import Random
from typing import TYPE_CHECKING

import numpy as np

from sequencer.plan.tables import Plan
from sequencer.prove.near import WRAP, bits, near_values, pauses, sample, zero_of
from sequencer.trace.blocks import HEARD, NOT_FRESH, RESET, TickBlock
from sequencer.trace.operator import asked_for

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sequencer.history.drive import Plant

PRESSED = 0.02  # the chance in a tick


class DisturbedPlant:
    """Hands on what another plant answers, disturbed; implements `sequencer.history.drive.Plant`."""

    def __init__(self, rng: Random, plan: Plan, plant: "Plant") -> None:
        self._rng, self._plan, self._plant = rng, plan, plant
        self._near, self._pauses = near_values(plan), pauses(plan)
        self._now = rng.choice([0, WRAP - rng.randrange(1, 2000) * plan.tick_ms])
        self._silent = np.zeros(len(plan.signals), np.int64)  # for how many ticks more
        self._unheard = self._switched = 0
        self._often, self._seldom = rng.choice(((0.01, 0.0004), (0.03, 0.002)))  # calm or rough
        self._ways_on = _events_that_lead_on(plan)

    def inputs(self, now_ms: int, setpoints: "NDArray[np.float32]") -> TickBlock:
        """Answer as the plant does, and disturb it. The clock is one of its own."""
        block = self._plant.inputs(now_ms, setpoints)
        self._now += self._plan.tick_ms
        if self._rng.random() < self._often and self._near:
            self._disturb_a_signal(block)
        if self._rng.random() < self._seldom:
            self._disturb_the_walk(block)
        if self._rng.random() < PRESSED:
            self._press(block)
        self._go_on(block)
        block.now[0] = self._now % WRAP
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
        rng, what = self._rng, self._rng.randrange(5)
        if what == 0 and self._near:
            self._silent[rng.randrange(len(self._near))] = rng.randint(5, 60)
        elif what == 1:
            self._unheard = rng.randint(5, 80)
        elif what == 2:
            self._now += rng.choice(self._pauses[len(self._pauses) // 2 :])  # the longer ones
        elif what == 3:
            self._switched = rng.randint(1, 20)
        else:
            block.control[0] |= RESET

    def _press(self, block: TickBlock) -> None:
        if self._ways_on and self._rng.random() < 0.98:
            block.events[0] |= 1 << self._rng.choice(self._ways_on)
        else:
            block.events[0] |= bits(self._rng, len(self._plan.events), 0.5)
        block.control[0] |= HEARD

    def _go_on(self, block: TickBlock) -> None:
        """Do what lasts longer than a tick."""
        block.fresh[0, self._silent > 0] = NOT_FRESH
        self._silent -= 1
        if self._unheard > 0:
            block.control[0] &= ~np.uint8(HEARD)
            self._unheard -= 1
        if self._switched > 0:
            block.switches[0] = bits(self._rng, len(self._plan.switches), 0.5)
            self._switched -= 1


def _events_that_lead_on(plan: Plan) -> list[int]:
    """List the events that phases wait for, as often as they do."""
    exits = [way for s in plan.sequences for phase in s.phases for way in phase.exits]
    return [event for way in exits for event in asked_for(plan, plan.guards[way.guard])[0]]
