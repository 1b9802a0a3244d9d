"""How many times faster than real the stork is rehearsed, with its loops, sensors and columns of truth."""

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.bodies import BODY, stork

from sequencer.api import make_executor
from sequencer.history.blocks import Executor
from sequencer.rehearse.read_body import load_body
from sequencer.rehearse.run import Rehearsal, rehearse

SECONDS = 40


@pytest.mark.parametrize("name", ["compiled", "reference"])
def test_rehearsing_the_stork(benchmark: BenchmarkFixture, name: str) -> None:
    plan = stork()
    body = load_body(BODY, plan)

    def fresh() -> tuple[tuple[Executor, object, int], dict[str, object]]:
        return (make_executor(plan, name), body, SECONDS * 100), {}  # type: ignore[arg-type]

    done: Rehearsal = benchmark.pedantic(rehearse, setup=fresh, rounds=3, warmup_rounds=1)
    assert done.figures.steps > 5
    benchmark.extra_info["times_real_without_replay"] = round(done.times_real)
    benchmark.extra_info["times_real"] = round(SECONDS / benchmark.stats.stats.min)
