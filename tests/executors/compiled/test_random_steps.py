"""Random gaits in whole steps, in both executors: the same record to the last bit."""

from pathlib import Path
from random import Random

import numpy as np
import pytest
from support.builds import build_many, insist_on_equal
from support.effort import many
from support.planted import differs, plant
from support.random_plans import random_block
from support.random_steps import DrawPlan, steps_drives_plan, steps_plan

from sequencer.build.compilers import find_compiler
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_RULE, BY_TIMEOUT
from sequencer.plan.fixed_tables import MOST_STEPS
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, TickBlock

GAITS, TICKS = 25, 300
Case = tuple[Plan, TickBlock]


def draw(seed: str, gaits: int = GAITS, plan_of: DrawPlan = steps_plan) -> list[Case]:
    cases = []
    for number in range(gaits):
        rng = Random(f"{seed}/{number}")
        plan, pool = plan_of(rng, f"g{number}")
        cases.append((plan, random_block(rng, plan, pool, TICKS)))
    return cases


def agree(seed: str, folder: Path, compiler: str, optimise: str, plan_of: DrawPlan = steps_plan) -> None:
    cases = draw(seed, plan_of=plan_of)
    executors = build_many([plan for plan, _ in cases], folder, find_compiler(compiler), optimise)
    for (plan, block), executor in zip(cases, executors, strict=True):
        first = ReferenceExecutor(plan).run(block, detail=True)
        second = executor.run(block, detail=True)
        insist_on_equal(plan, first, second, f"seed {seed}, gait {plan.name}, {compiler} {optimise}")


# all: 8 x 25 + 2 x 2 x 25 + 2 x 25 = 350 gaits; the sample: 4 x 25 + 2 x 25 + 2 x 25 = 200
@pytest.mark.parametrize("share", range(many(4, 8)))
def test_random_gaits_agree_to_the_bit(share: int, tmp_path: Path) -> None:
    agree(f"steps/{share}", tmp_path, "g++", "-O0")


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
@pytest.mark.parametrize("share", range(many(1, 2)))
def test_random_gaits_agree_when_optimised(compiler: str, share: int, tmp_path: Path) -> None:
    agree(f"steps/{compiler}/{share}", tmp_path, compiler, "-O2")


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_random_sets_of_loops_and_outputs_agree(compiler: str, tmp_path: Path) -> None:
    agree(f"steps/drives/{compiler}", tmp_path, compiler, "-O2", steps_drives_plan)


def test_random_gaits_in_steps_make_everything_happen() -> None:
    """Otherwise their agreement would say little."""
    cases = draw("steps/all", gaits=60)
    records = [ReferenceExecutor(plan).run(block, detail=True) for plan, block in cases]
    causes = np.bincount(np.concatenate([(r.cause >> 8).ravel() for r in records]), minlength=6)
    assert all(causes[kind] > 60 for kind in (BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE, BY_RULE)), causes
    details = [r.detail for r in records if r.detail is not None]
    assert sum(int((d.margin == 0).sum()) for d in details) > 1000, "ties"
    truths = np.bincount(np.concatenate([d.truth.ravel() for d in details]))
    assert (truths > 5000).all(), truths
    totals = [sum(int(getattr(r, name).sum()) for r in records) for name in ("bad", "disbelieved", "outside")]
    assert all(total > 50 for total in totals), totals
    assert sum(r.refused for r in records) > 0
    ends = 0
    for (plan, _), detail in zip(cases, details, strict=True):
        assert plan.fixed is not None
        steps = np.rint(detail.signal / np.array(plan.fixed.signals, np.float32))
        assert (np.abs(steps) <= MOST_STEPS).all()
        ends += int((np.abs(steps) == MOST_STEPS).sum())
        assert np.array_equal(steps * np.array(plan.fixed.signals, np.float32), detail.signal)
    assert ends > 500, "values that saturate"
    sizes = [size for plan, _ in cases if plan.fixed is not None for size in plan.fixed.signals]
    assert len(set(sizes)) > 4
    scaled = [(i, plan, block) for plan, block in cases for i, s in enumerate(plan.signals) if s.scaled]
    assert sum(int((block.fresh[:, i] == FRESH_RAW).sum()) for i, _, block in scaled) > 1000


# -- planted faults ----------------------------------------------------------------------------------------

FAULTS = [
    # (what, template, as it is, as it must not be)
    ("a value one step too large", "_samples.j2", "{{ scale.bias }}) >>",
     "{{ scale.bias }} + (1L << {{ scale.shift }})) >>"),
    ("a shift that goes towards nothing", "_samples.j2",
     "+ {{ scale.bias }}) >> {{ scale.shift }})", "+ {{ scale.bias }}) / (1L << {{ scale.shift }}))"),
    ("a value that wraps", "_samples.j2", "if (x > 32767) {", "if (x > 65535) {"),
    ("a value that saturates one step off", "_samples.j2", "kept = -32767;", "kept = -32766;"),
    ("a reading that is none", "_samples.j2", "given == no_number", "given == (no_number + 1)"),
    ("a value taken for a raw reading", "_samples.j2", "(form == fresh_raw) ? scaled",
     "(form != not_fresh) ? scaled"),
    ("near by less than the tolerance", "_follow.j2", "(v >= (place - t))", "(v > (place - t))"),
    ("a target that is too far on one side", "_follow.j2", "(v <= (place + t))", "(v <= (place + t + 1))"),
    ("a ramp that jumps the last step", "_setpoints.j2", "    if (gap > step) {",
     "    if (gap >= (step + step)) {"),
    ("a way that has 15 bits", "_setpoints.j2", "const uint16_t gap = static_cast<uint16_t>(",
     "const uint16_t gap = 0x7FFFU & static_cast<uint16_t>("),
    ("a parameter at the end of its span refused", "_tick.j2", "(value <= high)", "(value < high)"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_planted_fault_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path, steps_plan)


def test_without_a_planted_fault_there_is_no_difference(templates: Path, tmp_path: Path) -> None:
    assert not differs(tmp_path, steps_plan, detail=True)


def test_loops_that_read_steps_for_units_are_found(templates: Path, tmp_path: Path) -> None:
    plant(
        templates / "portable",
        "gait_loops.cpp.j2",
        "return multiplied(static_cast<float>(m.value[signal]), {{ g.resolutions[0].size }});",
        "return static_cast<float>(m.value[signal]);",
    )
    assert differs(tmp_path, steps_drives_plan)
