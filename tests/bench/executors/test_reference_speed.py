"""Ticks a second of the readable executor on the stork, and of recording what an executor returns."""

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.commands import REPOSITORY
from support.stork import stork_inputs, stork_plan

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.following import followed_inputs
from sequencer.history.recorder import Recorder
from sequencer.history.summary import summary
from sequencer.plan.build import load_plan
from sequencer.trace.follow import FollowOptions, FollowPlant
from sequencer.trace.record import join_blocks

TICKS = 30_000


@pytest.mark.parametrize("detail", [False, True], ids=["plain", "detail"])
def test_the_readable_executor(benchmark: BenchmarkFixture, detail: bool) -> None:
    executor, block = ReferenceExecutor(stork_plan()), stork_inputs(TICKS)
    benchmark.pedantic(executor.run, args=(block,), kwargs={"detail": detail}, rounds=5, warmup_rounds=1)
    benchmark.extra_info["ticks_per_second"] = round(TICKS / benchmark.stats.stats.min)


def test_the_readable_executor_with_nine_loops_and_six_motors(benchmark: BenchmarkFixture) -> None:
    plan = load_plan(REPOSITORY / "examples" / "stork" / "stork.gait.yaml")
    plant = FollowPlant(plan, FollowOptions())
    block = join_blocks(list(followed_inputs(ReferenceExecutor(plan), plant, TICKS // 2)))
    benchmark.pedantic(ReferenceExecutor(plan).run, args=(block,), rounds=5, warmup_rounds=1)
    benchmark.extra_info["ticks_per_second"] = round(TICKS // 2 / benchmark.stats.stats.min)


def test_recording_without_keeping_ticks(benchmark: BenchmarkFixture) -> None:
    plan, block = stork_plan(), stork_inputs(TICKS)
    history = ReferenceExecutor(plan).run(block)

    def record() -> None:
        recorder = Recorder(plan)
        recorder.add(block, history)
        recorder.finish()

    benchmark.pedantic(record, rounds=20, warmup_rounds=2)
    benchmark.extra_info["ticks_per_second"] = round(TICKS / benchmark.stats.stats.min)


def test_summing_up_with_margins(benchmark: BenchmarkFixture) -> None:
    plan, block = stork_plan(), stork_inputs(TICKS)
    recorder = Recorder(plan, keep_ticks=True)
    recorder.add(block, ReferenceExecutor(plan).run(block, detail=True))
    run = recorder.finish()
    benchmark.pedantic(summary, args=(run,), rounds=5, warmup_rounds=1)
