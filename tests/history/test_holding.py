"""What is left of a hold: nothing in exactly those ticks in which an executor let its guard fire."""

from random import Random

import numpy as np
import pytest
from support import plans as p
from support.commands import REPOSITORY
from support.play import tick
from support.random_plans import random_block, random_plan
from support.walks_by_hand import record

import sequencer
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_GUARD, FOR_STEP, NOT_LOOKED_AT, TRUE, HistoryBlock
from sequencer.history.holding import HoldLeft
from sequencer.history.margins import guard_margins, rows_of_block
from sequencer.plan.tables import Plan

TICKS = 300


def random_record(seed: int) -> tuple[Plan, HistoryBlock]:
    rng = Random(seed)
    plan, pool = random_plan(rng)
    executor = ReferenceExecutor(plan)
    return plan, executor.run(random_block(rng, plan, pool, TICKS), detail=True)


def rests(plan: Plan, history: HistoryBlock, guard: int, sequence: int | None, cuts: list[int]) -> np.ndarray:
    assert history.detail is not None
    holding = HoldLeft(plan.guards[guard], sequence)
    found = []
    for start, stop in zip([0, *cuts], [*cuts, len(history)], strict=True):
        part = rows_of_block(history, slice(start, stop))
        assert part.detail is not None
        found.append(holding.left(part, guard_margins(plan, guard, part.detail)[0]))
    return np.concatenate(found)


def disagreements(plan: Plan, history: HistoryBlock, *, off: float = 0.0) -> tuple[int, int]:
    """Count the ticks in which a guard with a hold fired, and those in which rest and firing disagree."""
    fired, wrong = 0, 0
    for s, sequence in enumerate(plan.sequences):
        for phase in sequence.phases:
            for number, way in enumerate(phase.exits):
                if plan.guards[way.guard].hold is None:
                    continue
                rest = rests(plan, history, way.guard, s, [7, 8, 150]) - np.float32(off)
                assert history.detail is not None
                true = guard_margins(plan, way.guard, history.detail)[0] == TRUE
                before = np.roll(history.phase[:, s], 1)
                mine = before == sequence.phases.index(phase)
                fires = (history.cause[:, s] == (BY_GUARD << 8 | number)) & mine
                fires[0] = False
                fired += int(fires.sum())
                met = true & (rest <= 0)
                stepping = (history.waits[:, s] & FOR_STEP) > 0
                wrong += int(((fires & ~met) | (met & ~fires & ~stepping))[1:].sum())
    return fired, wrong


def test_nothing_is_left_of_a_hold_just_when_its_guard_fires() -> None:
    fired = 0
    for seed in range(150):
        plan, history = random_record(seed)
        count, wrong = disagreements(plan, history)
        assert wrong == 0, f"seed {seed}"
        fired += count
    assert fired > 200


def test_so_it_is_in_the_examples() -> None:
    for name in ("stork", "crab", "tortoise"):
        gait = sequencer.load(REPOSITORY / "examples" / name / f"{name}.gait.yaml")
        history = gait.dry_run(duration_s=20, executor="reference").history
        assert history is not None
        fired, wrong = disagreements(gait.plan, history)
        assert wrong == 0, name
        assert fired > 3, name


def test_a_rest_that_is_one_off_would_be_seen() -> None:
    assert sum(disagreements(*random_record(seed), off=1.0)[1] for seed in range(40)) > 20


def test_where_nothing_was_looked_at_nothing_is_said() -> None:
    for seed in range(20):
        plan, history = random_record(seed)
        assert history.detail is not None
        for entry in plan.anywhere:
            if plan.guards[entry.guard].hold is not None:
                truth = guard_margins(plan, entry.guard, history.detail)[0]
                rest = rests(plan, history, entry.guard, None, [])
                assert (np.isnan(rest) == (truth == NOT_LOOKED_AT)).all()
                assert (rest[(truth != TRUE) & (truth != NOT_LOOKED_AT)] >= 0).all()


@pytest.mark.parametrize(
    ("hold", "rest"),
    [
        (p.hold_ms(30), [30, 20, 10, 0]),
        (p.hold_samples(2), [1, 1, 0]),  # fresh in every second tick
    ],
)
def test_a_hold_runs_down(hold: p.HoldSpec, rest: list[int]) -> None:
    plan = p.make_plan(
        {"walk": [p.Phase("wait", [("done", p.above("x", 5), hold)]), p.Phase("done")]},
        signals=[p.signal("x", low=-10.0, high=10.0, lost_after_ms=100)],
    )
    ticks = [tick(x=0)] + [tick(x=6) if n % 2 == 0 else tick() for n in range(6)]
    history = record(plan, ticks).history
    assert history is not None
    left = rests(plan, history, plan.sequences[0].phases[0].exits[0].guard, 0, [])
    assert left[1 : 1 + len(rest)].tolist() == rest
