"""Each finding of the exploration comes with a recording that leads both executors to what is claimed."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from support.commands import REPOSITORY

from sequencer.api import make_executor
from sequencer.base.codes_explore import CODES
from sequencer.base.findings import Severity
from sequencer.check import Counterexample, Exploring, check
from sequencer.check.explore import run as explore_run
from sequencer.check.explore.judge import Claim
from sequencer.check.explore.search import BY_DEFAULT, Search
from sequencer.check.explore.views import TIMEOUT
from sequencer.check.explore.witness import recording
from sequencer.check.facts import Facts
from sequencer.check.subjects import listed
from sequencer.history.blocks import BY_GUARD, RULE_BROKEN, HistoryBlock
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.tables import Plan
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.write import write_trace

FAULTY = sorted((REPOSITORY / "tests/corpus/faulty").glob("*.gait.yaml"))
WITHOUT = {"not-finished"}  # what was not looked at can't be shown
SHOWN = {info.code for info in CODES} - WITHOUT
WALKS = [path for path in FAULTY if path.name.rpartition("-")[0] in SHOWN]


def replayed(plan: Plan, path: Path) -> HistoryBlock:
    """Run a recording from its file in both executors, which must agree, as `dry-run --executor both`."""
    executor = make_executor(plan, "both")
    with open_trace(path, plan) as reader:
        block = join_blocks(list(reader))
    return executor.run(block, detail=True)


def breaks_now(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """The rule is broken in the last tick and never before."""
    (rule,) = (i for i, row in enumerate(plan.rules) if f"'{row.name}'" in found.finding.message)
    assert record.rule[-1, rule] == RULE_BROKEN
    assert not (record.rule[:-1, rule] == RULE_BROKEN).any()


def leave_at_once(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """All that are named leave by a guard in the last tick, from the phases that are named."""
    left = np.flatnonzero(record.cause[-1] >> 8 == BY_GUARD)
    assert len(left) >= 2
    assert (record.phase[-2][left] != record.phase[-1][left]).all()
    named, _, _ = found.finding.message.partition(" can leave")
    names = [f"{plan.sequences[s].name}.{plan.sequences[s].phases[record.phase[-2][s]].name}" for s in left]
    assert named == listed(names)


def stand_and_wait(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """Those that are named stand where it is said, and no guard of theirs can fire there."""
    named, _, _ = found.finding.message.partition(" wait for each other")
    search = Search(plan, Facts(plan), BY_DEFAULT)
    config = next(c for c in search.run().order if search.layout.phases_of(c) == tuple(record.phase[-1]))
    for name in named.replace(" and ", ", ").split(", "):
        sequence = [s.name for s in plan.sequences].index(name.partition(".")[0])
        row = plan.sequences[sequence].phases[record.phase[-1, sequence]]
        assert row.name == name.partition(".")[2]
        assert all(o.number == TIMEOUT for o in search.views.view(config, sequence).options)


def comes_before(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """The run ends where the walk is said to come, and has not been in the phase that is never entered."""
    phase, _, rest = found.finding.message.partition(" is never entered: the walk comes as far as ")
    sequence = [s.name for s in plan.sequences].index(phase.partition(".")[0])
    phases = [row.name for row in plan.sequences[sequence].phases]
    assert phases[record.phase[-1, sequence]] == rest.partition(",")[0].partition(".")[2]
    assert phases.index(phase.partition(".")[2]) not in record.phase[:, sequence]


def is_caught(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """Not all rest where the run ends, nor in anything that can follow with the counts of that moment."""
    search = Search(plan, Facts(plan), BY_DEFAULT)
    counts = search.layout.counters.items()
    level = {
        config
        for config in search.run().order
        if search.layout.phases_of(config) == tuple(record.phase[-1])
        and all(min(record.counter[-1, i], search.layout.caps[i]) == f.of(config) for i, f in counts)
    }
    assert level
    after = set(level)
    while level:
        assert not any(search.calm(config) for config in level)
        level = {new for config in level for new in search.after(config)} - after
        after |= level


SHOWN_BY = {
    "mutual-wait": stand_and_wait,
    "phases-break-rule": breaks_now,
    "leave-together": leave_at_once,
    "never-entered": comes_before,
    "no-rest-together": is_caught,
}


def shows(plan: Plan, found: Counterexample, record: HistoryBlock) -> None:
    """Assert that a run ends in the very configuration of its finding, and that this is what is claimed."""
    assert tuple(record.phase[-1]) == found.ends
    SHOWN_BY[found.finding.code](plan, found, record)


@pytest.mark.parametrize("path", WALKS, ids=lambda path: path.name.partition(".")[0])
def test_a_faulty_walk_is_shown_by_a_recording_in_both_executors(path: Path, tmp_path: Path) -> None:
    plan, exploring = load_plan(path), Exploring()
    code = path.name.rpartition("-")[0]
    assert code in {finding.code for finding in check(plan, exploring)}
    assert exploring.counterexamples
    for found in exploring.counterexamples:
        assert found.finding.code == code
        file = tmp_path / f"{found.name}.csv"
        write_trace(file, plan, [found.block])
        shows(plan, found, replayed(plan, file))


def test_every_kind_of_finding_is_shown_by_a_recording() -> None:
    """A code that is new to the exploration is in the register, so it must come with walks and a check."""
    assert set(SHOWN_BY) == SHOWN
    walks = Counter(path.name.rpartition("-")[0] for path in FAULTY)
    assert {code: walks[code] for code in (*SHOWN, *WITHOUT) if walks[code] < 3} == {}


LOST = """\
gait: deaf_leg
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    <leg>_load: {for_each: {leg: [front, hind]}, unit: N, span: [0, 40], every: 20 ms, lost_after: 200 ms}
  events: [go]
  remote: {carries: [go], every: 100 ms, lost_after: 300 ms}
counters: [taps]
sequences:
  front:
    phases:
      down: {rest: true, leave: [{to: tap, when: {event: go}}]}
      tap:
        rest: true
        count: taps
        leave:
          - {to: up, when: {all: [{lost: front_load}, {counter: taps, at_least: 3}]}, hold: 50 ms}
          - {to: tap, when: {all: [{signal: hind_load, within: [2 N, 4 N]}, {counter: taps, below: 3}]}}
      up: {timeout: {after: 700 ms, to: down}}
  hind:
    phases:
      down: {rest: true, leave: [{to: up, when: {all: [{sequence: front, in: [up]}, {lost: remote}]}}]}
      up:
        rest: true
        leave: [{to: down, when: {signal: hind_load, above: 30 N, release: 20 N}, hold: 4 samples}]
rules:
  - {name: not both, while: {sequence: front, in: [up]}, must: {not: {sequence: hind, in: [up]}}}
"""


def test_holds_losses_counters_and_the_remote_are_played_too(tmp_path: Path) -> None:
    plan, exploring = parse_plan(LOST), Exploring()
    check(plan, exploring)
    (found,) = exploring.counterexamples
    assert found.finding.code == "phases-break-rule"
    write_trace(tmp_path / "lost.csv", plan, [found.block])
    record = replayed(plan, tmp_path / "lost.csv")
    shows(plan, found, record)
    assert record.counter[-1, 0] == 3
    assert (found.block.control == 0).sum() > 30  # the remote is silent for 300 ms


def test_nothing_shorter_leads_there() -> None:
    """Brute force over the same moves: the path has as few moves as any."""
    plan = load_plan(REPOSITORY / "tests/corpus/faulty/phases-break-rule-1.gait.yaml")
    search = Search(plan, Facts(plan), BY_DEFAULT)
    reached = search.run()
    ((_, number),) = reached.broken.items()
    level, steps = {search.layout.start}, 0
    while not any(search.breaks(0, config) for config in level):
        level = {after for config in level for after in search.after(config)}
        steps += 1
    assert len(reached.path(number)) == steps + 1


def test_what_does_not_replay_is_not_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = load_plan(REPOSITORY / "tests/corpus/faulty/phases-break-rule-1.gait.yaml")
    monkeypatch.setattr("sequencer.check.explore.witness.recording", lambda search, claim: None)
    exploring = Exploring()
    findings = [f for f in check(plan, exploring) if f.code in {"undecided", *SHOWN}]
    assert [(f.code, f.severity) for f in findings] == [("undecided", Severity.NOTE)]
    assert "phases-break-rule" in findings[0].message
    assert exploring.counterexamples == []


def test_a_claim_that_is_wrong_does_not_replay() -> None:
    plan = load_plan(REPOSITORY / "tests/corpus/faulty/phases-break-rule-1.gait.yaml")
    search = Search(plan, Facts(plan), BY_DEFAULT)
    reached = search.run()
    finding = check(plan)[0]
    ((_, number),) = reached.broken.items()
    path = tuple(reached.path(number))
    assert recording(search, Claim(finding, path, rule=0)) is not None
    assert recording(search, Claim(finding, path[:-1], rule=0)) is None  # not broken yet
    assert recording(search, Claim(finding, (*path[:1], *path[2:]), rule=0)) is None  # a move is missing


def test_a_check_that_does_not_explore_says_nothing_of_it() -> None:
    plan = load_plan(REPOSITORY / "tests/corpus/faulty/mutual-wait-1.gait.yaml")
    exploring = Exploring(None)
    assert not SHOWN & {finding.code for finding in check(plan, exploring)}
    (said,) = explore_run.check_explored(plan, exploring)
    assert (said.code, said.severity) == ("rule-watched", Severity.NOTE)
    assert "nothing was explored" in said.message
