"""Random loops and outputs for random gaits: cascades, fades, dead bands, supplies, stalls.

As in `random_plans`, numbers come from few values, so that ties are frequent: dead bands, least supplies and
ways are distances between values that the signals often take.
"""

from dataclasses import replace
from random import Random

import numpy as np

from sequencer.base.binary32 import f32, load_f32
from sequencer.plan import tables as t
from support import loops as made
from support import plans as p
from support.random_live import with_live_numbers

MOST_DEEP = 3


def drives_plan(rng: Random, name: str) -> tuple[t.Plan, list[list[float]]]:
    """Draw loops and outputs around a small walk that goes round by itself, and each signal's values.

    Against a walk drawn at random, drives are on most of the time and there is far less to compile.
    """
    count = rng.choice([1, 2, 3])
    lost = [rng.choice([None, 30, 60]) for _ in range(count)]
    signals = [p.signal(f"x{i}", lost_after_ms=ms) for i, ms in enumerate(lost)]
    pool = [[load_f32(rng.uniform(-12, 12)) for _ in range(4)] for _ in range(count)]
    if rng.random() < 0.1:  # sums and products that are beyond all measure
        pool = [[*near, 3.0e38, -3.0e38] for near in pool]
    after = [rng.choice([50, 120, 300]) for _ in range(3)]
    walk = [
        p.Phase("one", timeout=(after[0], "two"), set={"y0": rng.uniform(-9, 9)}),
        p.Phase("two", timeout=(after[1], "off"), set={"y0": rng.uniform(-9, 9), "y1": rng.choice(pool[0])}),
        p.Phase("off", timeout=(after[2] // 4, "one"), stop=rng.choice([None, 0, 0, 1]), set={"y1": 0.0}),
    ]
    setpoints = [p.setpoint("y0", step=rng.choice([0.16, 2.0])), p.setpoint("y1")]
    plan = p.make_plan({"walk": walk}, signals=signals, setpoints=setpoints)
    plan = with_live_numbers(DrivesMaker(rng, plan, pool).make(always=True))
    return replace(plan, name=name, sha=name), pool


class DrivesMaker:
    """Draws the loops and outputs of one plan. `pool` holds the interesting values of each signal."""

    def __init__(self, rng: Random, plan: t.Plan, pool: list[list[float]]) -> None:
        self.rng = rng
        self.plan = plan
        self.pool = pool

    def make(self, *, always: bool = False) -> t.Plan:
        """Give the plan with loops and outputs; a part of all plans gets none."""
        rng = self.rng
        if not always and rng.random() < 0.3:
            return self.plan
        outputs = [self._output(i) for i in range(rng.choice([0, 1, 1, 2, 3]))]
        layers = rng.randint(1, MOST_DEEP)
        loops: list[t.Loop] = []
        layer_of: list[int] = []
        for layer in range(layers):
            inner = layer == layers - 1 and bool(outputs)
            for _ in range(rng.choice([1, 2, 4] if inner else [1, 1, 2])):
                above = [i for i, its in enumerate(layer_of) if its < layer]
                driven = rng.randrange(len(outputs)) if inner else None
                layer_of.append(layer)
                loops.append(self._loop(len(loops), self._inputs(above, loops), driven))
        joined = [
            replace(output, loops=tuple(k for k, loop in enumerate(loops) if loop.output == i))
            for i, output in enumerate(outputs)
        ]
        return replace(self.plan, loops=tuple(loops), outputs=tuple(joined))

    def _inputs(self, above: list[int], loops: list[t.Loop]) -> tuple[t.Adds, ...]:
        outer = [i for i in above if loops[i].output is None]
        chosen = sorted(self.rng.sample(outer, self.rng.randint(min(1, len(outer)), len(outer))))
        return tuple(t.Adds(i, f32(self.rng.choice([1.0, 1.0, -1.0, 0.3, -1.7]))) for i in chosen)

    # -- loops ---------------------------------------------------------------------------------------------

    def _loop(self, index: int, inputs: tuple[t.Adds, ...], output: int | None) -> t.Loop:
        rng = self.rng
        signal = rng.randrange(len(self.plan.signals))
        low, high = rng.choice([(-1.0, 1.0), (-4.0, 4.0), (-0.3, 2.5), (0.0, 20.0)])
        return made.loop(
            rng.choice(["default", "HIGH", "state", "walk", "x"]) + f"__{index}",
            gains=(
                rng.choice([0.0, 0.01, -0.05, 0.1, 0.3, 1.0, 30.0, rng.uniform(-1, 1)]),
                rng.choice([0.0, 0.0, 0.001, 0.01, 0.07, -0.02]),
                rng.choice([0.0, 0.0, 0.05, 0.5, -0.2]),
            ),
            signal=signal,
            terms=self._terms(),
            inputs=inputs,
            br=rng.choice([0.0, 0.01, 0.1, 1.0]),
            ad=rng.choice([0.0, 0.5, 0.75, 0.9]),
            low=low,
            high=high,
            integral_limit=rng.choice([made.MOST, 0.25, 1.0, 3.0]),
            dead_band=self._dead_band(signal) if rng.random() < 0.35 else 0.0,
            bumpless=rng.random() < 0.5,
            every_ticks=rng.choice([1, 1, 1, 2, 3, 4]),
            fade_step=rng.choice([None, None, 0.02, 0.1, 0.25, 1.0, 1.5]),
            bleed_step=rng.choice([0.01, 0.1, 0.5, 5.0]),
            output=output,
            acts_in=self._acts_in() if rng.random() < 0.5 else None,
        )

    def _terms(self) -> tuple[t.Term, ...]:
        rng = self.rng
        setpoints = len(self.plan.setpoints)
        count = rng.choice([1, 1, 2, 3, 3])
        return tuple(
            t.Term(rng.randrange(setpoints), 0.0)
            if setpoints and rng.random() < 0.6
            else t.Term(None, load_f32(rng.choice([0.0, -7.5, rng.uniform(-20, 20), rng.uniform(-2, 2)])))
            for _ in range(count)
        )

    def _dead_band(self, signal: int) -> float:
        way = self._way(signal)
        return self.rng.choice([0.5, 5.0, way, abs(self.rng.choice(self.pool[signal])) or 1.0])

    def _way(self, signal: int) -> float:
        """Give a distance between two values that the signal often takes."""
        a, b = self.rng.choice(self.pool[signal]), self.rng.choice(self.pool[signal])
        return load_f32(min(abs(a - b), 1.0e38)) or 3.0

    def _acts_in(self) -> tuple[t.ActsIn, ...]:
        rng = self.rng
        count = len(self.plan.sequences)
        chosen = sorted(rng.sample(range(count), rng.randint(1, count)))
        found = []
        for index in chosen:
            phases = range(len(self.plan.sequences[index].phases))
            found.append(t.ActsIn(index, tuple(sorted(rng.sample(phases, rng.randint(1, len(phases)))))))
        return tuple(found)

    # -- outputs -------------------------------------------------------------------------------------------

    def _output(self, index: int) -> t.Output:
        rng = self.rng
        low, high = rng.choice([(-1.0, 1.0), (-0.4, 0.8), (0.0, 1.0), (-25.0, 25.0), (0.1, 0.9)])
        return made.output(
            rng.choice(["of", "int", "m"]) + f"_{index}",
            low=low,
            high=high,
            loops=(),
            slew_step=rng.choice([None, 0.01, 0.1, 0.25, 1.0]),
            supply=self._supply() if rng.random() < 0.6 else None,
            stall=self._stall(high) if rng.random() < 0.6 else None,
        )

    def _supply(self) -> t.Supply:
        rng = self.rng
        signal = rng.randrange(len(self.plan.signals))
        near = [x for x in self.pool[signal] if x > 0.0] or [9.0]
        return made.supply(
            signal,
            rng.choice([12.0, 7.4, 30.0]),
            smooth=rng.choice([1.0, 0.5, 1 / 6, 0.02]),
            least=rng.choice([None, None, rng.choice(near)]),
            under_for_ms=rng.choice([0, 10, 30, 30, 150]),
        )

    def _stall(self, high: float) -> t.Stall:
        rng = self.rng
        just_under = float(np.nextafter(np.float32(high), np.float32(0.0)))
        signal = rng.randrange(len(self.plan.signals))
        return made.stall(
            signal,
            above=rng.choice([0.0, 0.05, 0.3, high, just_under, just_under]),
            moves=rng.choice([0.5, 20.0, self._way(signal), self._way(signal)]),
            for_ms=rng.choice([0, 10, 20, 50, 100]),
        )
