"""Random named numbers for random gaits, and helping hands: gains, limits, zeros, caps from parameters.

What is drawn here comes from a `Random` of its own, so that the gait and its inputs stay as they were.
"""

from dataclasses import replace
from random import Random

import numpy as np

from sequencer.base.binary32 import load_f32
from sequencer.plan import tables as t
from sequencer.trace.blocks import HELPING, STEP, STEPPING, ParameterWrite, TickBlock
from support import plans as p


class LiveMaker:
    """Gives some numbers of a plan to parameters, and lets it be helped by hand."""

    def __init__(self, rng: Random, plan: t.Plan) -> None:
        self.rng = rng
        self.plan = plan
        self.parameters = list(plan.parameters)

    def make(self) -> t.Plan:
        """Give the plan with named numbers in part of all plans, and helping in as many."""
        plan, rng = self.plan, self.rng
        if rng.random() < 0.4:
            plan = replace(
                plan,
                signals=tuple(self._signal(signal) for signal in plan.signals),
                loops=tuple(self._loop(loop) for loop in plan.loops),
                outputs=tuple(self._output(output) for output in plan.outputs),
            )
        return replace(plan, parameters=tuple(self.parameters), helping=rng.random() < 0.4)

    def _named(self, chance: float, low: float, high: float, *values: float) -> int | None:
        """Draw whether a number is named, and its parameter: a new one, or now and then one for several."""
        rng = self.rng
        if rng.random() >= chance:
            return None
        fitting = [i for i, of in enumerate(self.parameters) if of.low >= low and of.high <= high]
        if fitting and rng.random() < 0.3:
            return rng.choice(fitting)
        value = rng.choice([*values, rng.uniform(low, high)])
        self.parameters.append(p.parameter(f"n{len(self.parameters)}", value, low, high))
        return len(self.parameters) - 1

    def _signal(self, signal: t.Signal) -> t.Signal:
        return replace(signal, zero_from=self._named(0.3, -4.0, 4.0, 0.0, 0.5, -1.7))

    def _loop(self, loop: t.Loop) -> t.Loop:
        rng = self.rng
        kp = self._named(0.5, -2.0, 2.0, 0.0, 0.5, 1.0, -0.05)
        ki = self._named(0.5, -1.0, 5.0, 0.0, 0.0, 0.07, 1.0)
        kd = self._named(0.5, -0.5, 2.0, 0.0, 0.05)
        limit = self._named(0.5, 0.0, 5.0, 0.0, 0.3, 1.0, 4.0)
        loop = loop if kp is None else replace(loop, kp=1.0, kp_times=kp)
        loop = loop if ki is None else replace(loop, bi=load_f32(rng.choice([0.01, 0.02, 1.0])), bi_times=ki)
        loop = loop if kd is None else replace(loop, bd=load_f32(rng.choice([1 / 0.03, 100, 1])), bd_times=kd)
        return loop if limit is None else replace(loop, limit_from=limit)

    def _output(self, output: t.Output) -> t.Output:
        rng = self.rng
        named = self._named(0.4, 0.0, 1.0, 0.0, 0.2, 0.5)
        if named is not None:
            return replace(output, cap=self.parameters[named].value, cap_from=named)
        return replace(output, cap=load_f32(rng.choice([0.0, 0.3, 0.7])) if rng.random() < 0.4 else None)


def with_live_numbers(plan: t.Plan) -> t.Plan:
    """Draw what of a plan is live, by its hash."""
    return LiveMaker(Random(f"live {plan.sha}"), plan).make()


def as_live(plan: t.Plan, block: TickBlock) -> TickBlock:
    """Help by hand in some stretches of a block and walk in single steps in others; trim what is named."""
    rng = Random(f"{plan.sha} {block.now.tolist()[:4]} {len(block)}")
    if plan.helping:
        helped = steps = False
        chance = rng.choice([0.02, 0.1, 0.3])
        for row in range(len(block)):
            helped = rng.random() < 0.5 if rng.random() < 0.03 else helped
            steps = rng.random() < 0.5 if rng.random() < 0.03 else steps
            bits = HELPING * helped | STEPPING * steps | STEP * (rng.random() < chance)
            block.control[row] |= np.uint8(bits)
    named = [i for i, of in enumerate(plan.parameters) if of.name.startswith("n")]
    writes = list(block.writes)
    for _ in range(len(block) // 12 if named else 0):
        index = rng.choice(named)
        of = plan.parameters[index]
        inside = rng.uniform(of.low, of.high)
        value = rng.choice([of.low, of.high, of.value, 0.0, 0.0, -0.0, inside, inside])
        writes.append(ParameterWrite(rng.randrange(len(block)), index, load_f32(value)))
    return replace(block, writes=tuple(sorted(writes, key=lambda write: write.row)))
