"""What is said of rules, held against the reference executor: proven ones never break, watched ones do."""

import numpy as np
import pytest

from sequencer.check.questions import Askers
from sequencer.check.rules import ROUNDING, judge_rules
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import HistoryBlock
from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_VALUE, empty_block

GAIT = """
gait: crab_watch
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
    tilt: {unit: deg, span: [-45, 45], every: 10 ms, lost_after: 100 ms}
  setpoints:
    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}
parameters:
  least: {unit: mm, value: 10, span: [8, 12]}
phases:
  standing: {rest: true, set: {bend: 30 mm}}
rules:
  - RULE
"""
PROVEN = [
    "{name: r, while: {signal: knee, above: 8 mm}, must: {signal: knee, above: 7.5 mm}}",
    "{name: r, while: {signal: knee, at_least: least}, must: {signal: knee, at_least: 8 mm}}",
    "{name: r, must: {any: [{signal: tilt, at_least: 0 deg}, {signal: tilt, below: 0 deg}]}}",
    "{name: r, while: {at_target: bend, tolerance: 2 mm}, must: {at_target: bend, tolerance: 3 mm}}",
]
WATCHED = [
    "{name: r, while: {signal: knee, above: 8 mm}, must: {signal: tilt, above: 8 deg}}",
    "{name: r, while: {signal: knee, at_least: least}, must: {signal: knee, at_least: 11 mm}}",
    "{name: r, must: {any: [{signal: tilt, above: 0 deg}, {signal: tilt, below: 0 deg}]}}",
    "{name: r, while: {at_target: bend, tolerance: 3 mm}, must: {at_target: bend, tolerance: 2 mm}}",
]


def broken(plan: Plan, knee: "np.ndarray", tilt: "np.ndarray") -> bool:  # type: ignore[type-arg]
    block = empty_block(len(knee), 2)
    block.now[:] = np.arange(len(knee)) * plan.tick_ms
    block.raw[:, 0], block.raw[:, 1] = knee, tilt
    block.fresh[:] = FRESH_VALUE
    history: HistoryBlock = ReferenceExecutor(plan).run(block)
    return bool((history.rule == 2).any())


@pytest.mark.parametrize("rule", PROVEN)
def test_a_proven_rule_never_breaks(rule: str) -> None:
    """5,000 random samples within the spans, and thresholds with their neighbours in binary32."""
    plan = parse_plan(GAIT.replace("RULE", rule))
    assert [judged.verdict for judged in judge_rules(plan, Askers(plan))] == ["proven"]
    rng = np.random.default_rng(7)
    edges = np.float32([0, 7.5, 8, 10, 12, 27, 28, 32, 33, 60])
    near = np.concatenate([edges, np.nextafter(edges, np.float32(-99)), np.nextafter(edges, np.float32(99))])
    knee = np.concatenate([rng.uniform(0, 60, 5000), rng.choice(near, 1000).clip(0, 60)]).astype(np.float32)
    tilt = rng.uniform(-45, 45, len(knee)).astype(np.float32)
    assert not broken(plan, knee, tilt)


@pytest.mark.parametrize("rule", WATCHED)
def test_a_rule_that_is_only_watched_does_break(rule: str) -> None:
    plan = parse_plan(GAIT.replace("RULE", rule))
    assert [judged.verdict for judged in judge_rules(plan, Askers(plan))] == ["watched"]
    assert judge_rules(plan, Askers(plan))[0].example
    rng = np.random.default_rng(8)
    knee = rng.uniform(0, 60, 5000).astype(np.float32)
    tilt = np.concatenate([[0.0], rng.uniform(-45, 45, 4999)]).astype(np.float32)
    assert broken(plan, knee, tilt)


def test_a_rule_that_holds_by_less_than_a_rounding_is_not_called_proven() -> None:
    """The same tolerance on both sides: reals say it cannot break, binary32 might; so nothing is claimed."""
    rule = "{name: r, while: {at_target: bend, tolerance: 2 mm}, must: {at_target: bend, tolerance: 2 mm}}"
    plan = parse_plan(GAIT.replace("RULE", rule))
    assert judge_rules(plan, Askers(plan))[0].verdict == "watched"
    assert 0 < ROUNDING < 1e-6
