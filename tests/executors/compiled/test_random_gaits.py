"""Random gaits, run by the readable executor and by their generated C++: the same record to the last bit.

Many gaits are built into one library: some tens of milliseconds for each instead of some hundreds.
A run takes a fixed sample of 325 walks and 100 sets of loops and outputs; `bash tests/run --all` takes 2,000
and 400, drawn anew each time.
"""

from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from support.builds import build_many, insist_on_equal
from support.effort import ALL, many
from support.random_drives import drives_plan
from support.random_plans import random_block, random_plan

from sequencer.build.compilers import find_compiler
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    FRESH,
    LOST,
    HistoryBlock,
)
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, RESET, TickBlock

GAITS = 25  # built together
TICKS = 300
EXPECTED_CAUSES = (BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE, BY_RULE)

Case = tuple[Plan, TickBlock]
DrawPlan = Callable[[Random, str], tuple[Plan, list[list[float]]]]

# Each example stands for GAITS random gaits. A smaller seed is not a smaller gait, so nothing is shrunk; the
# message names the seed and the gait. The fixture's scope does no harm: each example builds in a new folder.
many_gaits = settings(
    derandomize=not ALL,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def draw(seed: int, gaits: int = GAITS, ticks: int = TICKS, plan_of: DrawPlan = random_plan) -> list[Case]:
    cases = []
    for number in range(gaits):
        rng = Random(f"{seed}/{number}")
        plan, pool = plan_of(rng, f"g{number}")
        cases.append((plan, random_block(rng, plan, pool, ticks)))
    return cases


def in_both(
    cases: list[Case], folder: Path, compiler: str | None = None, optimise: str = "-O0"
) -> list[tuple[Plan, HistoryBlock, HistoryBlock]]:
    executors = build_many([plan for plan, _ in cases], folder, find_compiler(compiler), optimise)
    return [
        (plan, ReferenceExecutor(plan).run(block, detail=True), executor.run(block, detail=True))
        for (plan, block), executor in zip(cases, executors, strict=True)
    ]


@pytest.fixture
def new_folder(tmp_path: Path) -> Callable[[], Path]:
    def make() -> Path:
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        folder.mkdir()
        return folder

    return make


def agree(seed: int, folder: Path, compiler: str, optimise: str, plan_of: DrawPlan = random_plan) -> None:
    for plan, first, second in in_both(draw(seed, plan_of=plan_of), folder, compiler, optimise):
        insist_on_equal(plan, first, second, f"seed {seed}, gait {plan.name}, {compiler} {optimise}")


# all: 4 x 17 x 25 + 6 x 25 + 6 x 25 = 2,000 gaits; the sample: 4 x 10 x 25 + 3 x 25 + 2 x 25 = 1,125
@pytest.mark.parametrize("share", range(4))
@given(seed=st.integers(0, 2**60))
@settings(many_gaits, max_examples=many(10, 17))
def test_many_random_gaits_agree_to_the_bit(share: int, seed: int, new_folder: Callable[[], Path]) -> None:
    agree(seed * 4 + share, new_folder(), "g++", "-O0")


@given(seed=st.integers(0, 2**60))
@settings(many_gaits, max_examples=many(3, 6))
def test_random_gaits_agree_when_gcc_optimises(seed: int, new_folder: Callable[[], Path]) -> None:
    agree(seed, new_folder(), "g++", "-O2")


@given(seed=st.integers(0, 2**60))
@settings(many_gaits, max_examples=many(2, 6))
def test_random_gaits_agree_when_clang_optimises(seed: int, new_folder: Callable[[], Path]) -> None:
    agree(seed, new_folder(), "clang++", "-O2")


# all: 2 x 8 x 25 = 400; the sample: 2 x 2 x 25 = 100
@pytest.mark.parametrize("compiler", ["g++", "clang++"])
@given(seed=st.integers(0, 2**60))
@settings(many_gaits, max_examples=many(2, 8))
def test_random_sets_of_loops_and_outputs_agree_when_optimised(
    compiler: str, seed: int, new_folder: Callable[[], Path]
) -> None:
    agree(seed, new_folder(), compiler, "-O2", drives_plan)


@given(rng=st.randoms(use_true_random=False))
@settings(suppress_health_check=list(HealthCheck), max_examples=15)
def test_a_random_gait_that_hypothesis_could_shrink_agrees(
    rng: Random, new_folder: Callable[[], Path]
) -> None:
    plan, pool = random_plan(rng, "one")
    for result in in_both([(plan, random_block(rng, plan, pool, 40))], new_folder()):
        insist_on_equal(*result, "a gait by hypothesis")


def test_random_gaits_agree_while_counters_reach_65535_and_stay_there(
    new_folder: Callable[[], Path],
) -> None:
    rng = Random("saturates")
    plan, pool = random_plan(rng, "rush", rushes=True)
    block = random_block(rng, plan, pool, 66_000)
    block.control[:] &= HEARD
    ((_, first, second),) = in_both([(plan, block)], new_folder())
    assert (first.counter[-100:] == 65535).any()
    insist_on_equal(plan, first, second, "a counter at its end")


def test_random_gaits_make_everything_happen(new_folder: Callable[[], Path]) -> None:
    """Otherwise their agreement would say little."""
    cases = draw(1, gaits=100)
    records = [ReferenceExecutor(plan).run(block, detail=True) for plan, block in cases]
    causes = np.bincount(np.concatenate([(r.cause >> 8).ravel() for r in records]), minlength=6)
    assert all(causes[kind] > 100 for kind in EXPECTED_CAUSES), causes
    details = [r.detail for r in records if r.detail is not None]
    truths = np.bincount(np.concatenate([d.truth.ravel() for d in details]))
    assert (truths > 10_000).all(), truths
    ties = sum(int((d.margin == 0).sum()) for d in details)
    assert ties > 1000
    rules = np.bincount(np.concatenate([r.rule.ravel() for r in records]))
    assert (rules > 300).all(), rules
    assert all(
        sum(int(getattr(r, name).sum()) for r in records) > 50 for name in ("bad", "disbelieved", "outside")
    )
    assert sum(r.refused for r in records) > 0
    assert any((r.counter > 3).any() for r in records)
    assert any(0 < r.drives.mean() < 1 for r in records)
    holds = [guard.hold for plan, _ in cases for guard in plan.guards if guard.hold is not None]
    assert sum(hold.samples is not None and len(hold.signals) > 8 for hold in holds) > 10
    again = [
        (r.cause[1:] >> 8 == kind) & (r.phase[1:] == r.phase[:-1])
        for r in records
        for kind in (BY_GUARD, BY_TIMEOUT)
    ]
    assert sum(int(a.sum()) for a in again) > 1000  # phases that are entered anew
    found = [(d.signal_state[:-1] & LOST > 0) & (d.signal_state[1:] & FRESH > 0) for d in details]
    assert sum(int(f.sum()) for f in found) > 500  # lost signals that come back


def test_random_inputs_make_everything_happen() -> None:
    blocks = [block for _, block in draw(2, gaits=100)]
    steps = [np.diff(block.now.astype(np.int64)) for block in blocks]
    assert sum(int((d < 0).sum()) for d in steps) > 100  # the clock wraps
    assert sum(int((d > 10).sum()) for d in steps) > 100  # a tick is late
    assert sum(int((d == 0).sum()) for d in steps) > 100
    assert sum(int((block.control[1:] & RESET > 0).sum()) for block in blocks) > 100
    for form in (FRESH_RAW, FRESH_VALUE):
        assert sum(int((block.fresh == form).sum()) for block in blocks) > 1000
    assert sum(len(block.writes) for block in blocks) > 50


def test_random_loops_and_outputs_make_everything_happen() -> None:
    cases = draw(3, gaits=100, ticks=600, plan_of=drives_plan)
    records = [ReferenceExecutor(plan).run(block) for plan, block in cases]
    states = np.bincount(np.concatenate([r.output_state.ravel() for r in records]), minlength=4)
    assert (states > 1000).all(), states
    loops = [(plan, loop, r.loop[:, i]) for (plan, _), r in zip(cases, records, strict=True)
             for i, loop in enumerate(plan.loops)]  # fmt: skip
    assert all(np.isfinite(values).all() for _, _, values in loops)
    at_limit = sum(int(((v == loop.high) | (v == loop.low)).sum()) for _, loop, v in loops)
    within = sum(int(((v < loop.high) & (v > loop.low) & (v != 0)).sum()) for _, loop, v in loops)
    assert min(at_limit, within) > 5000, (at_limit, within)
    kinds = {
        "third layer": lambda plan, loop: any(plan.loops[a.loop].inputs for a in loop.inputs),
        "several inputs": lambda plan, loop: len(loop.inputs) > 1,
        "several terms": lambda plan, loop: len(loop.terms) > 2,
        "fade": lambda plan, loop: loop.fade_step is not None and loop.acts_in is not None,
        "slower": lambda plan, loop: loop.every_ticks > 1,
        "dead band": lambda plan, loop: loop.dead_band > 0,
        "bumpless": lambda plan, loop: loop.bumpless and loop.bi != 0,
        "derivative": lambda plan, loop: loop.bd != 0,
    }
    for kind, test in kinds.items():
        active = [values for plan, loop, values in loops if test(plan, loop)]
        assert sum(int((values != 0).sum()) for values in active) > 500, kind
    outputs = [(o, r.output[:, i]) for (plan, _), r in zip(cases, records, strict=True)
               for i, o in enumerate(plan.outputs)]  # fmt: skip
    assert all(((v >= min(o.low, 0.0)) & (v <= max(o.high, 0.0))).all() for o, v in outputs)
    slewed = [np.abs(np.diff(v)) for o, v in outputs if o.slew_step is not None and o.supply is None]
    assert sum(int((d > 0).sum()) for d in slewed) > 1000
