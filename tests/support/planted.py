"""Planting faults into the templates, and looking whether random gaits show them."""

import shutil
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

from sequencer.build.compilers import find_compiler
from sequencer.executors.reference import ReferenceExecutor
from sequencer.generate import render
from sequencer.history.blocks import HistoryBlock
from sequencer.history.compare import first_difference
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from support.builds import build_many
from support.random_plans import random_block, random_plan

# 120 gaits; most faults show in the first few, so that the others are not built
BATCHES = (3, 9, 24, 36, 48)


@pytest.fixture
def templates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of the built-in templates in the place of the real ones."""
    copy = tmp_path / "templates"
    shutil.copytree(render.templates_root(), copy)
    monkeypatch.setattr(render, "templates_root", lambda: copy)
    render.built_in.cache_clear()
    yield copy
    render.built_in.cache_clear()


DrawPlan = Callable[[Random, str], tuple[Plan, list[list[float]]]]


@lru_cache(maxsize=4 * len(BATCHES))
def batch(draw_plan: DrawPlan, number: int) -> list[tuple[Plan, TickBlock, HistoryBlock]]:
    """Some random gaits with their inputs and what the readable executor makes of them."""
    cases = []
    for index in range(sum(BATCHES[:number]), sum(BATCHES[: number + 1])):
        rng = Random(f"planted/{index // 15}/{index % 15}")
        plan, pool = draw_plan(rng, f"g{index}")
        block = random_block(rng, plan, pool, 300)
        cases.append((plan, block, ReferenceExecutor(plan).run(block, detail=True)))
    return cases


def differs(folder: Path, draw_plan: DrawPlan = random_plan, *, detail: bool = False) -> bool:
    """Tell whether any of 120 random gaits runs differently as C++; stop at the first batch with one.

    The faults must show in phases, setpoints, counts and outputs; `detail` looks at margins, too. clang
    without optimisation takes half of the time of g++; what optimisers do is looked at with whole templates.
    """
    for number in range(len(BATCHES)):
        build = folder / f"build{number}"
        build.mkdir()
        cases = batch(draw_plan, number)
        executors = build_many([plan for plan, _, _ in cases], build, find_compiler("clang++"), "-O0")
        for (plan, block, record), executor in zip(cases, executors, strict=True):
            if first_difference(plan, record, executor.run(block, detail=detail)) is not None:
                return True
    return False


def plant(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} should stand once in {name}"
    path.write_text(text.replace(old, new), encoding="utf-8")


def one_ulp_up(literal: str) -> str:
    """Move a float literal to the next binary32 number above; another expression to a number next to it."""
    if not literal.endswith("F"):
        return f"({literal} * 1.0000001F)"
    number = np.float32(literal.removesuffix("F"))
    return f"{np.nextafter(number, np.float32(np.inf), dtype=np.float32)!r}F".replace(
        "np.float32(", ""
    ).replace(")", "")
