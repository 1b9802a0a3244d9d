"""A loop and a linear plant that act on each other, one tick at a time."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal as control

from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_VALUE, TickBlock, empty_block
from support.executors import MakeExecutor

MACHINE = """
gait: trial
machine:
  tick: {tick} ms
  signals: {{y: {{unit: deg, span: [-1e4, 1e4]}}}}
  outputs: {{m: {{span: [-{most}, {most}]}}}}
  loops: {{l: {{setpoint: [{r} deg], signal: y, output: m, {loop}}}}}
phases: {{a: {{rest: true}}}}
"""


def plan_of(loop: str, *, tick: int = 100, most: float = 1.0, r: float = 0.8) -> Plan:
    return parse_plan(MACHINE.format(loop=loop, tick=tick, most=most, r=r))


class Rig:
    """Plays one tick at a time, so that what the loop gives can act on a plant."""

    def __init__(self, make_executor: MakeExecutor, plan: Plan) -> None:
        self.executor, self.tick_ms, self.count = make_executor(plan), plan.tick_ms, 0

    def give(self, y: float) -> float:
        block: TickBlock = empty_block(1, 1)
        block.now[0] = self.count * self.tick_ms
        block.raw[0, 0], block.fresh[0, 0] = y, FRESH_VALUE
        self.count += 1
        return float(self.executor.run(block).output[0, 0])


@dataclass(frozen=True)
class Plant:
    """A linear plant behind a zero-order hold, exact at the samples; starts at rest."""

    a: NDArray[np.float64]
    b: NDArray[np.float64]
    c: NDArray[np.float64]

    @staticmethod
    def of(top: list[float], bottom: list[float], h: float) -> "Plant":
        a, b, c, _, _ = control.cont2discrete(control.tf2ss(top, bottom), h, method="zoh")
        return Plant(a, b, c)

    def run(self, give: Callable[[float], float], samples: int) -> NDArray[np.float64]:
        """Give y at each sample while `give` makes the plant's input of it."""
        x, ys = np.zeros((len(self.a), 1)), []
        for _ in range(samples):
            y = float((self.c @ x)[0, 0])
            ys.append(y)
            x = self.a @ x + self.b * give(y)
        return np.array(ys)


def step_response(
    make_executor: MakeExecutor,
    top: list[float],
    bottom: list[float],
    loop: str,
    *,
    seconds: float = 3.0,
    tick: int = 1,
    most: float = 100,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give time and y of a unit step, by default at 1 ms: fine enough that the sampling hardly shows."""
    plan = plan_of(loop, tick=tick, most=most, r=1)
    h = tick / 1000
    ys = Plant.of(top, bottom, h).run(Rig(make_executor, plan).give, round(seconds / h))
    return np.arange(len(ys)) * h, ys
