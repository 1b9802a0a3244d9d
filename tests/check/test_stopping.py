"""How fast a machine stops: the figures against runs of the reference executor."""

import json
from dataclasses import replace

import numpy as np
import pytest
from support.commands import STORK, call

from sequencer.check.stopping import stopping
from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.tables import Plan
from sequencer.prove.inputs import followed
from sequencer.trace.blocks import HEARD, TickBlock

TICKS = 1400


def ticks_to_stop(plan: Plan, block: TickBlock, moment: int) -> int:
    """Count the ticks from one moment on, that one included, until the machine stands in a stop phase."""
    phase = ReferenceExecutor(plan).run(block).phase[moment:, 0]
    stops = [i for i, p in enumerate(plan.sequences[0].phases) if p.stop is not None]
    return int(np.flatnonzero(np.isin(phase, stops))[0]) + 1


@pytest.fixture(scope="module")
def stork() -> tuple[Plan, TickBlock]:
    plan = load_plan(STORK)
    return plan, followed(plan, TICKS).block


@pytest.mark.parametrize("moment", [150, 333, 480, 700])
def test_halt_stops_in_the_stated_ticks(stork: tuple[Plan, TickBlock], moment: int) -> None:
    plan, block = stork
    events = block.events.copy()
    events[moment] |= 1 << [e.name for e in plan.events].index("halt")
    assert ticks_to_stop(plan, replace(block, events=events), moment) == 1
    assert {found.operator for found in stopping(plan)} == {1}


@pytest.mark.parametrize("moment", [150, 333, 480, 700])
def test_a_silent_remote_stops_in_the_stated_ticks(stork: tuple[Plan, TickBlock], moment: int) -> None:
    plan, block = stork
    heard = np.flatnonzero(block.control & HEARD)
    last = int(heard[heard <= moment][-1])
    control = block.control.copy()
    control[last + 1 :] &= np.uint8(~HEARD & 0xFF)
    stated = {(found.lost, found.lost_what) for found in stopping(plan)}
    assert stated == {(51, "remote")}
    assert ticks_to_stop(plan, replace(block, control=control), last + 1) == 51


def test_timeouts_lead_to_the_stop_one_after_the_other() -> None:
    text = """
gait: crab_wait
machine:
  machine: beach_crab
  tick: 10 ms
  signals: {knee: {unit: mm, span: [0, 60], every: 10 ms}}
  events: [go, halt]
phases:
  standing: {rest: true, leave: [{to: first, when: {event: go}}]}
  first: {leave: [{to: standing, when: {signal: knee, above: 50 mm}}], timeout: {after: 1 s, to: second}}
  second: {leave: [{to: standing, when: {signal: knee, above: 50 mm}}], timeout: {after: 505 ms, to: safe}}
  again: {leave: [{to: safe, when: {signal: knee, above: 50 mm}}], timeout: {after: 1 s, to: again}}
  safe: {stop: 0, leave: [{to: again, when: {event: go}}]}
"""
    found = {d.phase: d for d in stopping(parse_plan(text))}
    assert [found[i].timeout for i in range(4)] == [None, 100 + 51, 51, None]
    assert all(each.operator is None and each.lost is None for each in found.values())


def test_stops_on_the_command_line() -> None:
    text = call("plan", STORK, "--stops").stdout
    assert "510 ms (remote)" in text
    rows = json.loads(call("plan", STORK, "--stops", "--json").stdout)["stops"]
    assert {row["lost"] for row in rows} == {51}
