"""Running many random gaits in one program on an emulated controller, and planting faults into programs."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import HistoryBlock
from sequencer.history.compare import Difference, first_difference
from sequencer.plan.tables import Plan
from sequencer.prove import program
from sequencer.prove.controllers import controller
from sequencer.prove.images import build_image, replay
from sequencer.prove.wire import Form, as_record
from sequencer.trace.blocks import TickBlock
from support.planted import DrawPlan
from support.random_plans import random_block, random_plan

EVERY = ("host", "atmega328p", "atmega2560", "cortex-m3", "cortex-m4f")


@dataclass(frozen=True)
class Case:
    """A gait, its inputs, and what the reference makes of them."""

    plan: Plan
    block: TickBlock
    record: HistoryBlock


def random_cases(seed: str, gaits: int, ticks: int, draw_plan: DrawPlan = random_plan) -> list[Case]:
    """Draw gaits and inputs; the gaits have names of their own, to be built together."""
    cases = []
    for number in range(gaits):
        rng = Random(f"{seed}/{number}")
        plan, pool = draw_plan(rng, f"g{number}")
        block = random_block(rng, plan, pool, ticks)
        cases.append(Case(plan, block, ReferenceExecutor(plan).run(block, detail=True)))
    return cases


def differences(
    name: str, cases: list[Case], folder: Path, *flags: str, watched: bool = True
) -> list[tuple[str, Difference]]:
    """Run all cases in one program on a controller; list the gaits that leave the reference, and where."""
    forms = [Form(case.plan, watched, range(len(case.plan.leaves) * watched)) for case in cases]
    image = build_image(controller(name), forms, folder, *flags)
    replies = replay(image, [(i, [case.block]) for i, case in enumerate(cases)])
    found = []
    for case, reply in zip(cases, replies, strict=True):
        difference = first_difference(case.plan, case.record, as_record(reply, case.record))
        if difference is not None:
            found.append((case.plan.name, difference))
    return found


def plant(monkeypatch: pytest.MonkeyPatch, change: Callable[[str], str], part: str = "") -> None:
    """Have every program built from sources that are not as generated; something must change.

    part: which of the gait's sources, ``_loops`` for that of loops and outputs.
    """
    generated = program.generate

    def wrong(plan: Plan, target: str) -> dict[str, str]:
        files = generated(plan, target)
        source = f"{plan.name}{part}.cpp"
        changed = {name: change(text) if name == source else text for name, text in files.items()}
        assert changed != files, "nothing was planted"
        return changed

    monkeypatch.setattr(program, "generate", wrong)
