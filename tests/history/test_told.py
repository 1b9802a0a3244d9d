"""A run told piece by piece is told as if it had been kept whole."""

from collections.abc import Iterator
from dataclasses import replace
from random import Random

import pytest
from support.commands import REPOSITORY
from support.random_plans import random_block, random_plan

import sequencer
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history import told as module
from sequencer.history.blocks import HistoryBlock
from sequencer.history.margins import rows_of_block
from sequencer.history.recorder import Recorder
from sequencer.history.run import Run
from sequencer.history.summary import summary
from sequencer.history.told import Telling, Told, told
from sequencer.trace.blocks import TickBlock

EXAMPLES = REPOSITORY / "examples"


def pieces(history: HistoryBlock, sizes: Random) -> Iterator[slice]:
    first = 0
    while first < len(history):
        last = min(first + sizes.randrange(1, 40), len(history))
        yield slice(first, last)
        first = last


def told_in_pieces(run: Run, seed: int) -> Told:
    """Tell a run as one that was not kept and is run again."""
    assert run.history is not None
    assert run.at_ms is not None
    telling = Telling(replaced_without_ticks(run))
    for rows in pieces(run.history, Random(seed)):
        telling.add(rows_of_block(run.history, rows), run.at_ms[rows])
    return telling.finish()


def replaced_without_ticks(run: Run) -> Run:
    return replace(run, history=None, at_ms=None)


def random_run(seed: int, ticks: int = 400) -> Run:
    rng = Random(seed)
    plan, pool = random_plan(rng)
    block: TickBlock = random_block(rng, plan, pool, ticks)
    recorder = Recorder(plan, keep_ticks=True)
    recorder.add(block, ReferenceExecutor(plan).run(block, detail=True))
    return recorder.finish()


def agree(whole: Told, parts: Told) -> None:
    assert parts.summary == whole.summary
    assert parts.spares == whole.spares
    assert [parts.causes[i] for i in parts.cause.tolist()] == [whole.causes[i] for i in whole.cause.tolist()]
    assert parts.waits == whole.waits


@pytest.fixture
def short_excerpts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds under which no stay is cut, with many excerpts all the same."""
    monkeypatch.setattr(module, "AT_ONCE", 60)
    monkeypatch.setattr(module, "MOST_CARRIED", 100_000)


@pytest.mark.usefixtures("short_excerpts")
@pytest.mark.parametrize("seed", range(50))
def test_in_pieces_random_walks_are_told_as_a_whole(seed: int) -> None:
    run = random_run(seed)
    agree(told(run), told_in_pieces(run, seed))


@pytest.mark.usefixtures("short_excerpts")
@pytest.mark.parametrize(
    ("gait", "recording"),
    [
        ("stork/stork.gait.yaml", "stork/recordings/foot_stuck.csv"),
        ("stork/stork.gait.yaml", None),
        ("tortoise/tortoise.gait.yaml", None),
        ("crab/crab.gait.yaml", None),
    ],
)
def test_in_pieces_the_examples_are_told_as_a_whole(gait: str, recording: str | None) -> None:
    loaded = sequencer.load(EXAMPLES / gait)
    run = loaded.dry_run(EXAMPLES / recording if recording else None, executor="reference", duration_s=15)
    agree(told(run), told_in_pieces(run, 1))


def test_a_whole_run_is_told_as_the_dry_run_sums_it_up() -> None:
    for seed in range(15):
        run = random_run(seed, 200)
        assert told(run).summary == summary(run)
        bare = replaced_without_ticks(run)
        assert told(bare).summary == summary(bare)


def test_with_little_room_nothing_untrue_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is told piece by piece is the whole run's or no more than a run without margins says."""
    monkeypatch.setattr(module, "AT_ONCE", 30)
    monkeypatch.setattr(module, "MOST_CARRIED", 20)
    poorer = 0
    for seed in range(40):
        run = random_run(seed)
        whole, bare, parts = told(run), told(replaced_without_ticks(run)), told_in_pieces(run, seed)
        assert parts.spares.keys() <= whole.spares.keys()
        for part, rich, poor in zip(
            parts.summary.faults, whole.summary.faults, bare.summary.faults, strict=True
        ):
            assert part in (rich, poor)
            poorer += part != rich
        for row, number in enumerate(parts.cause.tolist()):
            said = parts.causes[number]
            assert said in (whole.causes[whole.cause[row]], bare.causes[bare.cause[row]])
    assert poorer > 2


def test_firings_cut_by_the_start_of_an_excerpt_would_be_seen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "AT_ONCE", 60)
    monkeypatch.setattr(Telling, "_cut_ends", lambda *_: set())
    wrong = 0
    for seed in range(20):
        run = random_run(seed)
        wrong += told(run).summary != told_in_pieces(run, seed).summary
    assert wrong > 5
