"""The compiled executor as the rest of the package uses it."""

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from support.builds import insist_on_equal
from support.feature_plans import feature_plans
from support.random_plans import random_block, random_plan

from sequencer.base.errors import MisuseError
from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.recorder import join
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import ParameterWrite, TickBlock, empty_block


def case(name: str, ticks: int = 400) -> tuple[Plan, TickBlock]:
    rng = Random(name)
    plan, pool = random_plan(rng, "walk")
    return plan, random_block(rng, plan, pool, ticks)


def rows(block: TickBlock, first: int, last: int) -> TickBlock:
    names = ("now", "raw", "fresh", "events", "switches", "control")
    writes = tuple(replace(w, row=w.row - first) for w in block.writes if first <= w.row < last)
    return TickBlock(**{name: getattr(block, name)[first:last] for name in names}, writes=writes)


@pytest.mark.parametrize("name", ["a", "b", "c"])
def test_state_goes_on_from_block_to_block(name: str) -> None:
    plan, block = case(name)
    whole = CompiledExecutor(plan).run(block, detail=True)
    executor = CompiledExecutor(plan)
    borders = [0, 0, 1, 7, 8, 250, 400]
    parts = [
        executor.run(rows(block, first, last), detail=True) for first, last in itertools.pairwise(borders)
    ]
    insist_on_equal(plan, whole, join(plan, parts), "in parts")


def test_detail_changes_nothing_else() -> None:
    plan, block = case("d")
    bare, more = CompiledExecutor(plan).run(block), CompiledExecutor(plan).run(block, detail=True)
    assert bare.detail is None
    insist_on_equal(plan, bare, more, "with detail")


def test_setpoints_outputs_and_parameters_are_those_of_the_readable_executor() -> None:
    for number in range(20):
        plan, block = case(f"properties/{number}")
        both = ReferenceExecutor(plan), CompiledExecutor(plan)
        for step in (rows(block, 0, 100), rows(block, 100, 200)):
            for executor in both:
                executor.run(step)
            assert both[0].setpoints.tobytes() == both[1].setpoints.tobytes()
            assert both[0].outputs.tobytes() == both[1].outputs.tobytes()
            assert both[0].parameters == both[1].parameters


def test_before_the_first_tick_setpoints_stand_at_their_start() -> None:
    plan = feature_plans()["setpoints"]
    executor = CompiledExecutor(plan)
    assert executor.setpoints.tolist() == [s.start for s in plan.setpoints]
    assert len(executor.run(empty_block(0, len(plan.signals)), detail=True)) == 0


def test_two_executors_of_one_gait_run_at_the_same_time() -> None:
    plan, block = case("threads", 3000)
    expected = CompiledExecutor(plan).run(block, detail=True)
    with ThreadPoolExecutor(4) as pool:
        for record in pool.map(lambda _: CompiledExecutor(plan).run(block, detail=True), range(8)):
            insist_on_equal(plan, expected, record, "in threads")


@pytest.mark.parametrize("compiler", ["g++", "clang++", "c++"])
def test_each_compiler_gives_the_same_record(compiler: str) -> None:
    plan, block = case("compilers")
    first = ReferenceExecutor(plan).run(block, detail=True)
    insist_on_equal(plan, first, CompiledExecutor(plan, compiler).run(block, detail=True), compiler)


def test_arrays_that_do_not_fit_are_refused_before_any_tick() -> None:
    plan = feature_plans()["comparisons"]
    block = empty_block(10, 2)
    bad = [
        replace(block, raw=block.raw.astype(np.float64)),  # type: ignore[arg-type]
        replace(block, raw=np.zeros((10, 3), np.float32)),
        replace(block, raw=np.zeros((10, 4), np.float32)[:, ::2]),
        replace(block, fresh=np.zeros((9, 2), np.uint8)),
        replace(block, now=np.zeros(10, np.int64)),  # type: ignore[arg-type]
        replace(block, events=np.zeros(5, np.uint32)),
        replace(block, writes=(ParameterWrite(0, 0, 1.0),)),
    ]
    executor = CompiledExecutor(plan)
    for wrong in bad:
        with pytest.raises(MisuseError):
            executor.run(wrong)
    assert executor.run(block).cause[0, 0] == 0x100  # the first tick is still the one of the reset
