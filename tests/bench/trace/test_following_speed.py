"""How many ticks a second the plant without physics gives."""

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture
from support.commands import REPOSITORY

import sequencer
from sequencer.trace.follow import FollowPlant, start_setpoints

TICKS = 20_000


def test_following_on_the_stork(benchmark: BenchmarkFixture) -> None:
    plan = sequencer.load(REPOSITORY / "examples" / "stork" / "stork.gait.yaml").plan
    rng = np.random.default_rng(1)
    commanded = start_setpoints(plan) + rng.normal(0, 1, (TICKS, len(plan.setpoints))).cumsum(0).astype(
        np.float32
    )

    def follow() -> None:
        plant = FollowPlant(plan)
        for tick in range(TICKS):
            plant.inputs(tick * plan.tick_ms, commanded[tick])

    benchmark.pedantic(follow, rounds=5, warmup_rounds=1)
    benchmark.extra_info["ticks_per_s"] = TICKS / benchmark.stats.stats.mean
