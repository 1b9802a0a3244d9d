"""Ticks a second of the generated code over arrays, against a loop written by hand for the same walk."""

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.builds import insist_on_equal

from sequencer.build.compilers import build_library, find_compiler
from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.compiled.executor import OPTIMISE
from sequencer.executors.compiled.library import Library
from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.follow import FollowPlant
from sequencer.trace.record import join_blocks

HERE = Path(__file__).parent
TICKS = 1_000_000
WALKED = 20_000  # this much is walked in a closed loop, then repeated


@lru_cache(maxsize=1)
def plan() -> Plan:
    return load_plan(HERE / "stork.gait.yaml")


@lru_cache(maxsize=1)
def walk() -> TickBlock:
    """Inputs of a walk in which every signal follows its setpoint, over and over."""
    executor = CompiledExecutor(plan())
    plant = FollowPlant(plan())
    blocks = []
    for tick in range(WALKED):
        blocks.append(plant.inputs(tick * 10, executor.setpoints))
        executor.run(blocks[-1])
    once = join_blocks(blocks)
    times = TICKS // WALKED
    names = ("raw", "fresh", "events", "switches", "control")
    repeated = {name: np.ascontiguousarray(np.concatenate([getattr(once, name)] * times)) for name in names}
    now = (np.arange(TICKS, dtype=np.uint64) * 10 % 2**32).astype(np.uint32)
    return TickBlock(now=now, **repeated)


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> Callable[[], CompiledExecutor]:
    folder = tmp_path_factory.mktemp("by_hand")
    (folder / "by_hand.cpp").write_bytes((HERE / "stork_by_hand.cpp").read_bytes())
    path = build_library(find_compiler(), folder, "by_hand.cpp", "by_hand.so", optimise=OPTIMISE)
    return lambda: CompiledExecutor.from_library(plan(), Library(path, "by_hand"))


def report(benchmark: BenchmarkFixture) -> float:
    rate = TICKS / benchmark.stats.stats.min
    benchmark.extra_info["ticks_per_s"] = rate
    return float(rate)


RATES: dict[str, float] = {}


def test_generated(benchmark: BenchmarkFixture) -> None:
    executor = CompiledExecutor(plan())
    block = walk()
    benchmark.pedantic(executor.run, (block,), rounds=10, warmup_rounds=1)
    RATES["generated"] = report(benchmark)


def test_generated_with_detail(benchmark: BenchmarkFixture) -> None:
    executor = CompiledExecutor(plan())
    block = walk()
    benchmark.pedantic(executor.run, (block,), {"detail": True}, rounds=5, warmup_rounds=1)
    RATES["generated, with detail"] = report(benchmark)


def test_by_hand(benchmark: BenchmarkFixture, by_hand: Callable[[], CompiledExecutor]) -> None:
    executor = by_hand()
    block = walk()
    benchmark.pedantic(executor.run, (block,), rounds=10, warmup_rounds=1)
    RATES["by hand"] = report(benchmark)


def test_both_give_the_same_record_and_this_is_their_ratio(
    by_hand: Callable[[], CompiledExecutor], print_table: Callable[[str], None]
) -> None:
    block = walk()
    generated = CompiledExecutor(plan()).run(block)
    insist_on_equal(plan(), generated, by_hand().run(block), "the loop by hand is another walk")
    assert generated.counter[:WALKED].max() > 10
    first = TickBlock(*(getattr(block, name)[:WALKED] for name in TickBlock.__slots__[:6]))
    insist_on_equal(plan(), ReferenceExecutor(plan()).run(first), by_hand().run(first), "by hand, short")
    rows = [f"{name:24} {rate / 1e6:6.1f} million ticks/s" for name, rate in RATES.items()]
    if "by hand" in RATES:
        rows.append(f"generated / by hand, time {RATES['by hand'] / RATES['generated']:7.2f}")
    print_table("\n".join(rows))
