"""How long the checks of a plan take, and how that grows with the number of phases."""

import math
import time
from collections.abc import Callable
from random import Random

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support import plans as p
from support.commands import REPOSITORY

from sequencer.check import Exploring, check
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Level, Plan

PER_SEQUENCE = 250


def walk(phases: int) -> Plan:
    """Make a walk of so many phases with three guards each, in sequences of 250."""
    rng, sequences, signals, setpoints = Random(1), {}, [], []
    for leg in range(phases // PER_SEQUENCE):
        knee, tilt, bend = f"knee{leg}", f"tilt{leg}", f"bend{leg}"
        signals += [p.signal(knee, low=0.0, high=60.0, lost_after_ms=100), p.signal(tilt, lost_after_ms=100)]
        setpoints.append(p.setpoint(bend, low=0.0, high=55.0, followers=[(2 * leg, 0.0)]))
        names = [f"p{i}" for i in range(PER_SEQUENCE)]
        sequences[f"leg{leg}"] = [
            p.Phase(
                name,
                leave=[
                    (names[(i + 1) % PER_SEQUENCE], p.reached(bend, 3), p.hold_samples(3)),
                    (rng.choice(names), p.all_of(p.above(knee, 10), p.outside(tilt, -5, 5))),
                    (rng.choice(names), p.all_of(p.within(tilt, -4, rng.randrange(10)), p.event("go"))),
                ],
                timeout=(4000, "p0"),
                set={bend: Level(None, 0)},
                stop=1 if i == 0 else None,
            )
            for i, name in enumerate(names)
        ]
    halt = p.any_of(p.event("halt"), p.lost("tilt0"), p.outside("tilt0", -25, 25))
    return p.make_plan(
        sequences,
        signals=signals,
        setpoints=setpoints,
        parameters=[p.parameter("lift", 40, 20, 50)],
        anywhere=[("p0", halt)],
    )


@pytest.mark.parametrize("phases", [250, 1000, 10_000])
def test_checking_a_walk_of_so_many_phases(benchmark: BenchmarkFixture, phases: int) -> None:
    benchmark.pedantic(check, args=(walk(phases), Exploring(None)), rounds=3 if phases <= 1000 else 1)


def test_checking_the_stork(benchmark: BenchmarkFixture) -> None:
    plan = load_plan(REPOSITORY / "examples" / "stork" / "stork.gait.yaml")
    benchmark(check, plan)


def test_growth_from_a_thousand_to_ten_thousand_phases(print_table: Callable[[str], None]) -> None:
    seconds = {}
    for phases in (1000, 10_000):
        plan = walk(phases)
        start = time.perf_counter()
        check(plan, Exploring(None))
        seconds[phases] = time.perf_counter() - start
    exponent = math.log10(seconds[10_000] / seconds[1000])
    print_table(
        f"1,000 phases {seconds[1000]:.2f} s, 10,000 phases {seconds[10_000]:.2f} s: n to the {exponent:.2f}"
    )
