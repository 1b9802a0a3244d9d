"""A run is built from records, block by block."""

import numpy as np
import pytest
from support import plans as p
from support.plans import Phase, Rule, make_plan, signal
from support.play import tick, tick_block
from support.stork import stork_inputs, stork_plan
from support.walks_by_hand import record

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_TIMEOUT, RULE_BROKEN, RULE_UNJUDGED
from sequencer.history.recorder import Recorder
from sequencer.history.run import Interval, Run, SampleTotals, Stay, Transition, Write
from sequencer.trace.blocks import TickBlock

GO, HALT = p.event("go"), p.event("halt")
PLAN = make_plan(
    {
        "one": [Phase("a", [("b", GO)], count=["n"]), Phase("b", timeout=(30, "a")), Phase("safe", stop=0)],
        "two": [Phase("x", [("y", p.above("s", 0))]), Phase("y", [("x", GO)]), Phase("safe", stop=0)],
    },
    signals=[signal("s", low=-5, high=5)],
    counters=["n"],
    parameters=[p.parameter("q", 1, 0, 2)],
    anywhere=[("safe", HALT)],
    rules=[Rule("low", p.below("s", 3))],
)
TICKS = [
    tick(writes=[("q", 2), ("q", 3)]), tick(events="go", s=1), tick(s=4), tick(s=9), tick(s=0),
    tick(s=float("nan")), tick(events="halt"), tick(),
]  # fmt: skip


def test_transitions_say_when_from_where_to_where_why_and_after_how_long() -> None:
    run = record(PLAN, TICKS)
    assert list(run.transitions) == [
        # tick, ms, sequence, left, entered, kind, index, stayed_ms
        Transition(0, 0, 0, None, 0, BY_RESET, 0, 0),
        Transition(0, 0, 1, None, 0, BY_RESET, 0, 0),
        Transition(1, 10, 0, 0, 1, BY_GUARD, 0, 10),
        Transition(1, 10, 1, 0, 1, BY_GUARD, 0, 10),
        Transition(4, 40, 0, 1, 0, BY_TIMEOUT, 0, 30),
        Transition(6, 60, 0, 0, 2, BY_ANYWHERE, 0, 20),
        Transition(6, 60, 1, 1, 2, BY_ANYWHERE, 0, 50),
    ]


def test_stays_cover_the_run_without_gaps() -> None:
    run = record(PLAN, TICKS)
    assert run.stays(0) == (
        # phase, ticks, ms, the rows of the transitions that opened and closed it
        Stay(0, 0, 1, 0, 10, 0, 1),
        Stay(1, 1, 4, 10, 40, 1, 2),
        Stay(0, 4, 6, 40, 60, 2, 3),
        Stay(2, 6, 8, 60, 70, 3, None),
    )


def test_counts_rules_drives_samples_and_writes_are_kept() -> None:
    run = record(PLAN, TICKS)
    assert (run.ticks, run.start_ms, run.end_ms) == (8, 0, 70)
    assert run.counters == run.counted == (2,)
    assert run.rules == (Interval(0, RULE_UNJUDGED, 0, 1, 0, 10), Interval(0, RULE_BROKEN, 2, 4, 20, 40))
    assert run.drives_off == (Interval(0, 0, 6, 8, 60, 70),)
    assert run.signals == (SampleTotals(bad=1, disbelieved=0, outside=1, skipped=0),)
    assert run.writes == (Write(0, 0, 2.0, True), Write(0, 0, 3.0, False))
    assert run.refused == 1
    assert run.parameters_at(0) == [2.0]
    assert run.last_phases == (2, 2)


def test_a_counter_that_is_reset_was_still_counted() -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)], count=["n"]), Phase("b", [("a", GO)], reset=["n"])]}, counters=["n"]
    )
    run = record(plan, [tick(events="go")] * 5)
    assert (run.counters, run.counted) == ((1,), (3,))


def test_a_run_that_goes_on_after_another_starts_with_the_phase_that_it_is_in() -> None:
    executor = ReferenceExecutor(PLAN)
    executor.run(tick_block(PLAN, TICKS[:3]))
    block = tick_block(PLAN, TICKS[3:], next_now=30)
    recorder = Recorder(PLAN)
    recorder.add(block, executor.run(block))
    run = recorder.finish()
    assert run.stays(0)[0] == Stay(1, 0, 1, 30, 40, None, 0)
    assert run.transitions[0] == Transition(1, 40, 0, 1, 0, BY_TIMEOUT, 0, 10)


STORK = stork_plan()


def in_blocks(block: TickBlock, size: int, keep_ticks: bool) -> Run:
    executor, recorder = ReferenceExecutor(STORK), Recorder(STORK, keep_ticks=keep_ticks)
    for start in range(0, len(block), size):
        rows = slice(start, start + size)
        part = TickBlock(
            block.now[rows], block.raw[rows], block.fresh[rows], block.events[rows], block.switches[rows],
            block.control[rows], skipped=np.ones(6, np.int64),
        )  # fmt: skip
        recorder.add(part, executor.run(part, detail=keep_ticks))
    return recorder.finish()


@pytest.mark.parametrize("size", [1, 7, 1000])
def test_the_run_does_not_depend_on_how_ticks_were_cut_into_blocks(size: int) -> None:
    block = stork_inputs(2500)
    block.raw[500:700, 3] = 40  # the left foot up while the weight is on it: breaks the first rule
    whole, cut = in_blocks(block, 2500, False), in_blocks(block, size, False)
    assert len(whole.transitions) > 20
    assert list(cut.transitions) == list(whole.transitions)
    assert cut.rules == whole.rules != ()
    assert (cut.counted, cut.counters, cut.end_ms) == (whole.counted, whole.counters, whole.end_ms)
    assert cut.signals[0].skipped == -(-2500 // size)


def test_ticks_are_kept_only_if_asked_for() -> None:
    block = stork_inputs(900)
    kept, left = in_blocks(block, 400, True), in_blocks(block, 400, False)
    assert left.history is None
    assert left.at_ms is None
    assert kept.history is not None
    assert kept.history.detail is not None
    assert kept.history.setpoint.shape == (900, 3)
    assert kept.history.detail.margin.shape == (900, len(STORK.leaves))
    assert kept.at_ms is not None
    assert kept.at_ms.tolist() == list(range(0, 9000, 10))


def test_time_goes_on_across_the_wrap_of_the_clock() -> None:
    # 2^32 ms are 49.7103 days; `now` wraps, the run's own clock does not
    block = stork_inputs(300)
    block.now[:] = (np.arange(300) * 10 + 2**32 - 1500).astype(np.uint32)
    run = in_blocks(block, 64, False)
    assert (run.start_ms, run.end_ms) == (2**32 - 1500, 2**32 + 1490)
    assert run.transitions[1].at_ms == run.start_ms + 1000
    assert all(move.stayed_ms >= 0 for move in run.transitions)


def test_an_empty_run_is_a_run() -> None:
    run = Recorder(STORK).finish()
    assert (run.ticks, len(run.transitions), run.stays(0)) == (0, 0, ())
