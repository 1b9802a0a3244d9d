"""What a proof is fed: it must reach what matters, and be the same each time."""

import numpy as np
import pytest
from support.commands import STORK
from support.feature_plans import feature_plans

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_TIMEOUT, RULE_BROKEN, HistoryBlock
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.inputs import Trace, followed, random_traces, recorded
from sequencer.prove.near import near_values, pauses
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, RESET


@pytest.fixture(scope="module")
def stork() -> Plan:
    return load_plan(STORK)


@pytest.fixture(scope="module")
def traces(stork: Plan) -> list[Trace]:
    return list(random_traces(stork, 8, 3000))


@pytest.fixture(scope="module")
def records(stork: Plan, traces: list[Trace]) -> list[HistoryBlock]:
    return [ReferenceExecutor(stork).run(trace.block, detail=True) for trace in traces]


def same(a: Trace, b: Trace) -> bool:
    names = ("now", "raw", "fresh", "events", "switches", "control")
    arrays = all(
        np.array_equal(getattr(a.block, n), getattr(b.block, n), equal_nan=n == "raw") for n in names
    )
    return arrays and repr(a.block.writes) == repr(b.block.writes)


def test_the_same_seed_gives_the_same_inputs(stork: Plan, traces: list[Trace]) -> None:
    again, other = list(random_traces(stork, 8, 3000)), list(random_traces(stork, 8, 3000, seed=1))
    assert all(map(same, traces, again))
    assert not any(map(same, traces, other))


def test_everything_that_can_come_comes(stork: Plan, traces: list[Trace]) -> None:
    raw = np.concatenate([t.block.raw for t in traces])
    fresh = np.concatenate([t.block.fresh for t in traces])
    assert np.isnan(raw[fresh != 0]).any() and np.isinf(raw[fresh != 0]).any()
    assert (fresh == FRESH_RAW).any() and (fresh == FRESH_VALUE).any() and (fresh == 0).any()
    assert sum(int((t.block.control & RESET != 0).sum()) for t in traces) > 10
    assert sum((np.diff(t.block.now.astype(np.int64)) < 0).any() for t in traces) >= 4, "the clock wraps"
    assert {w.parameter for t in traces for w in t.block.writes} == {0, 1}
    assert np.bitwise_or.reduce([np.bitwise_or.reduce(t.block.events) for t in traces]) == 3


def test_every_phase_of_the_stork_is_visited_and_everything_happens(
    stork: Plan, records: list[HistoryBlock]
) -> None:
    phases = np.bincount(np.concatenate([r.phase[:, 0] for r in records]))
    assert len(phases) == len(stork.sequences[0].phases) and (phases > 50).all(), phases
    causes = np.bincount(np.concatenate([r.cause[:, 0] >> 8 for r in records]), minlength=6)
    assert all(causes[kind] > 2 for kind in (BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE)), causes
    assert any((r.rule == RULE_BROKEN).any() for r in records)
    assert sum(r.refused for r in records) > 0
    assert any((r.drives == 0).any() for r in records)
    detail = [r.detail for r in records if r.detail is not None]
    truths = np.bincount(np.concatenate([d.truth.ravel() for d in detail]))
    assert (truths > 500).all(), truths
    near = np.concatenate([np.abs(d.margin[np.isfinite(d.margin)]) for d in detail])
    assert (near == 0).sum() > 50, "ties"
    assert ((near > 0) & (near < 1e-5)).sum() > 50, "a unit in the last place beside a threshold"


def test_values_that_matter_are_the_thresholds_and_targets() -> None:
    near = near_values(feature_plans()["latches"])
    assert {-5.0, 5.0, -3.0, 3.0, -45.0, 45.0} <= set(near[0])
    followers = near_values(feature_plans()["setpoints"])
    assert {15 + 2.0, 15 + 2 + 2.0, 15 + 2 - 2.0, 15 + 2 - 3.0} <= set(followers[0])
    trimmed = near_values(feature_plans()["parameters"])
    assert {15 - 3.0, 8 - 3.0, 20 - 3.0} <= set(trimmed[0])


def test_pauses_that_matter_are_holds_timeouts_and_silences() -> None:
    assert {99, 100, 101, 299, 300, 301, 4999, 5000, 5001, 2**31} <= set(pauses(feature_plans()["holds"]))


def test_a_followed_walk_walks_and_a_disturbed_one_goes_on(stork: Plan, records: list[HistoryBlock]) -> None:
    walk = followed(stork, 3000)
    assert same(walk, followed(stork, 3000))
    assert ReferenceExecutor(stork).run(walk.block).counter[-1, 0] >= 3, "steps"
    disturbed = records[1::2]
    assert all((np.bincount(r.phase[:, 0], minlength=10) > 0).sum() >= 5 for r in disturbed)
    assert sum(int((r.cause[:, 0] >> 8 == BY_GUARD).sum()) for r in disturbed) > 40


def test_a_recording_is_read_with_its_usual_switches_on(stork: Plan) -> None:
    trace = recorded(str(STORK.parent / "recordings" / "walk.csv"), stork)
    record = ReferenceExecutor(stork).run(trace.block)
    assert len(trace.block) == 3000
    assert record.counter[-1, 0] > 2, "steps"
