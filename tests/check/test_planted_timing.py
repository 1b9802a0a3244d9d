"""Faults of time planted one by one into every sound walk; and timeouts held against runs."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.changed import with_phase
from support.commands import REPOSITORY

from sequencer.base.places import Place
from sequencer.check import check
from sequencer.check.facts import Facts
from sequencer.check.travel import Travels, distance, required_leaves
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_TIMEOUT
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan, parse_plan
from sequencer.prove.inputs import followed

SOUND = REPOSITORY / "tests" / "corpus" / "sound"
WALKS = [*sorted(SOUND.glob("*.gait.yaml")), *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml"))]
HERE = Place("planted.gait.yaml", 9000, 1)
Mutant = tuple[t.Plan, str]  # the faulty walk, the code that would be right


def ways(plan: t.Plan) -> Iterator[tuple[int, int, int, t.Exit]]:
    """The ways out of phases in which the machine may not stay, that do not lead into a stop phase."""
    if not any(p.commands for s in plan.sequences for p in s.phases):
        return
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            if not phase.rest and phase.stop is None:
                for k, way in enumerate(phase.exits):
                    if sequence.phases[way.to].stop is None:
                        yield s, i, k, way


def with_hold(plan: t.Plan, s: int, i: int, k: int, ms: int) -> t.Plan:
    way = plan.sequences[s].phases[i].exits[k]
    guards = list(plan.guards)
    old = guards[way.guard].hold
    slot = old.slot if old is not None else plan.holds
    guards[way.guard] = replace(guards[way.guard], hold=t.Hold(slot, ms, None, ()))
    exits = list(plan.sequences[s].phases[i].exits)
    exits[k] = replace(way, place=HERE)
    return with_phase(replace(plan, guards=tuple(guards)), s, i, exits=tuple(exits))


def compares_signals(plan: t.Plan, guard: int) -> bool:
    leaves = [plan.leaves[i] for i in plan.guards[guard].leaves]
    return any(isinstance(x, t.Follow) or (isinstance(x, t.Compare) and x.source == "signal") for x in leaves)


def hold_on_silence(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, k, way in ways(plan):
        if compares_signals(plan, way.guard):
            yield with_hold(plan, s, i, k, 5 * plan.tick_ms), "hold-on-silence"


def hold_between_ticks(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, k, way in ways(plan):
        if compares_signals(plan, way.guard):
            yield with_hold(plan, s, i, k, 50 * plan.tick_ms + 5), "hold-off-tick"


def hold_past_the_timeout(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, k, way in ways(plan):
        timeout = plan.sequences[s].phases[i].timeout
        if timeout is not None and compares_signals(plan, way.guard):
            yield with_hold(plan, s, i, k, timeout.after_ms), "hold-outlasts-timeout"


def hold_within_a_sample(plan: t.Plan) -> Iterator[Mutant]:
    slow = {i for i, signal in enumerate(plan.signals) if (signal.every_us or 0) > plan.tick_ms * 1000}
    for s, i, k, way in ways(plan):
        leaves = [plan.leaves[x] for x in plan.guards[way.guard].leaves]
        if any(isinstance(x, t.Compare) and x.source == "signal" and x.index in slow for x in leaves):
            yield with_hold(plan, s, i, k, plan.tick_ms), "hold-under-sample"


def lost_too_soon(plan: t.Plan) -> Iterator[Mutant]:
    for i, signal in enumerate(plan.signals):
        if signal.lost_after_ms is not None and signal.every_us is not None:
            signals = list(plan.signals)
            signals[i] = replace(signal, lost_after_ms=signal.every_us // 1000 - 1, place=HERE)
            yield replace(plan, signals=tuple(signals)), "lost-between-samples"


def samples_faster_than_ticks(plan: t.Plan) -> Iterator[Mutant]:
    for i, signal in enumerate(plan.signals):
        signals = list(plan.signals)
        signals[i] = replace(signal, every_us=plan.tick_ms * 500, place=HERE)
        yield replace(plan, signals=tuple(signals)), "tick-over-sample"


def no_time_for_the_way(plan: t.Plan) -> Iterator[Mutant]:
    """A timeout of nine tenths of what the ramp alone takes, where a phase has but one way to go on."""
    facts = Facts(plan, trimmed=True)
    travels = Travels(facts)
    for s, i, _, way in ways(plan):
        phase = plan.sequences[s].phases[i]
        for index in required_leaves(plan.guards[way.guard].nodes):
            leaf = plan.leaves[index]
            if not isinstance(leaf, t.Follow) or plan.setpoints[leaf.setpoint].rate is None:
                continue
            rate = plan.setpoints[leaf.setpoint].rate
            stand, aim = travels.at_entry(leaf.setpoint, i), travels.aim_in(leaf.setpoint, i)
            if phase.timeout is None or stand is None or aim is None or rate is None or rate.parameter:
                continue
            way_ms = (distance(stand.value, aim) - facts.level(leaf.tolerance)[0]) / rate.per_second * 900
            if way_ms > 0 and len(phase.exits) == 1:
                timeout = replace(phase.timeout, after_ms=int(way_ms), place=HERE)
                yield with_phase(plan, s, i, timeout=timeout), "short-timeout"


def ask_for_more_than_is_commanded(plan: t.Plan) -> Iterator[Mutant]:
    """Where a phase waits for its own target, compare with something 0.1 of the span beyond it."""
    for s, i, _, way in ways(plan):
        phase = plan.sequences[s].phases[i]
        for command in phase.commands:
            row = plan.setpoints[command.setpoint]
            aim = Facts(plan).target(command.setpoint, command.level)[0]
            for follower in row.followers:
                beyond = aim + follower.offset + 0.1 * (row.high - row.low)
                if len(phase.exits) > 1 or beyond > plan.signals[follower.signal].high:
                    continue
                level = t.Level(beyond)
                compared = "at_least", "signal", follower.signal, level, None, None, None, None, row.unit
                leaf = t.Compare(*compared, HERE)  # type: ignore[arg-type]  # mypy widens the tuple's texts
                guard = t.Guard(
                    len(plan.guards), (t.Node("leaf", len(plan.leaves)),), (len(plan.leaves),), None, HERE
                )
                changed = replace(plan, leaves=(*plan.leaves, leaf), guards=(*plan.guards, guard))
                exits = tuple(t.Exit(guard.index, w.to, HERE) if w is way else w for w in phase.exits)
                yield with_phase(changed, s, i, exits=exits), "beyond-command"


PLANTS: list[Callable[[t.Plan], Iterator[Mutant]]] = [
    hold_on_silence, hold_between_ticks, hold_past_the_timeout, hold_within_a_sample, lost_too_soon,
    samples_faster_than_ticks, no_time_for_the_way, ask_for_more_than_is_commanded,
]  # fmt: skip


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: plant.__name__)
def test_a_fault_of_time_that_is_planted_is_found(
    plant: Callable[[t.Plan], Iterator[Mutant]], print_table: Callable[[str], None]
) -> None:
    planted, missed = 0, []
    for path in WALKS:
        for mutant, code in plant(load_plan(path)):
            told = [(f.code, f.place) for f in check(mutant)]
            planted += 1
            if (code, HERE) not in told:
                missed.append((path.name, code, told))
    print_table(f"{plant.__name__}: {planted - len(missed)} of {planted} planted faults found")
    assert planted > 0
    assert missed == []


def timed_out(plan: t.Plan) -> bool:
    """Whether a walk with joints that follow at once ends by a timeout within 12 s."""
    block = followed(plan, 12_000 // plan.tick_ms).block
    history = ReferenceExecutor(plan).run(block)
    return bool(((history.cause >> 8) == BY_TIMEOUT).any())


@pytest.mark.parametrize("name", ["crab-leg", "stork-bow"])
def test_a_timeout_that_ends_a_walk_is_told_and_one_well_above_the_need_is_not(name: str) -> None:
    """The executor is the judge: whenever a run from the usual start times out, the check has said so."""
    text = Path(SOUND / f"{name}.gait.yaml").read_text(encoding="utf-8")
    judged = set()
    for after_ms in range(200, 2600, 200):
        plan = parse_plan(text.replace("timeout: {after: 5 s", f"timeout: {{after: {after_ms} ms").replace(
            "timeout: {after: 3 s", f"timeout: {{after: {after_ms} ms"
        ))  # fmt: skip
        told = any(f.code in {"short-timeout", "hold-outlasts-timeout"} for f in check(plan))
        ended = timed_out(plan)
        assert told or not ended, after_ms
        judged.add((told, ended))
    assert {(True, True)} <= judged
