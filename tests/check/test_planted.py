"""Faults planted one by one into every sound walk: each must be found where it was planted.

The sound walks raise neither errors nor warnings, so what is found comes from the planted fault.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.changed import with_phase
from support.commands import REPOSITORY

from sequencer.base.findings import Severity
from sequencer.base.places import Place
from sequencer.check import check
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan

WALKS = [
    *sorted((REPOSITORY / "tests" / "corpus" / "sound").glob("*.gait.yaml")),
    *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
    *sorted((REPOSITORY / "tests" / "recordings").glob("*.gait.yaml")),
]
HERE = Place("planted.gait.yaml", 9000, 1)
Mutant = tuple[t.Plan, set[str], set[Place]]  # the faulty walk, the codes that would be right, where


def with_guard(plan: t.Plan, index: int, **changes: object) -> t.Plan:
    guards = list(plan.guards)
    guards[index] = replace(guards[index], **changes)  # type: ignore[arg-type]
    return replace(plan, guards=tuple(guards))


def new_guard(plan: t.Plan, leaf: t.Leaf) -> tuple[t.Plan, int]:
    """Add a guard of one leaf."""
    node = t.Node("leaf", len(plan.leaves))
    guard = t.Guard(len(plan.guards), (node,), (len(plan.leaves),), None, HERE)
    return replace(plan, leaves=(*plan.leaves, leaf), guards=(*plan.guards, guard)), guard.index


def walking(plan: t.Plan) -> Iterator[tuple[int, int, t.Phase]]:
    """The phases in which the machine may not stay."""
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            if not phase.rest and phase.stop is None:
                yield s, i, phase


def commands(plan: t.Plan) -> bool:
    return any(p.commands for s in plan.sequences for p in s.phases)


def drop_a_timeout(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, phase in walking(plan):
        if phase.timeout is not None and any(way.to != i for way in phase.exits):
            yield with_phase(plan, s, i, timeout=None, place=HERE), {"endless-wait"}, {HERE}


def drop_every_way_out(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, _ in walking(plan):
        yield with_phase(plan, s, i, timeout=None, exits=(), place=HERE), {"dead-end"}, {HERE}


def lead_past_a_phase(plan: t.Plan) -> Iterator[Mutant]:
    for s, i, _ in walking(plan):
        if any(entry.to[s] == i for entry in plan.anywhere) or i == 0:
            continue
        changed = with_phase(plan, s, i, place=HERE)
        other = 0
        for k, phase in enumerate(changed.sequences[s].phases):
            exits = tuple(replace(way, to=other) if way.to == i and k != i else way for way in phase.exits)
            timeout = phase.timeout
            if timeout is not None and timeout.to == i:
                timeout = replace(timeout, to=other)
            changed = with_phase(changed, s, k, exits=exits, timeout=timeout)
        yield changed, {"unreachable-phase"}, {HERE}


def begin_in_a_walk(plan: t.Plan) -> Iterator[Mutant]:
    if commands(plan):
        for s in range(len(plan.sequences)):
            yield with_phase(plan, s, 0, rest=False, place=HERE), {"walks-at-power-on"}, {HERE}


def lose_every_stop(plan: t.Plan) -> Iterator[Mutant]:
    if commands(plan):
        changed = plan
        for s, sequence in enumerate(plan.sequences):
            for i in range(len(sequence.phases)):
                changed = with_phase(changed, s, i, stop=None)
        yield changed, {"no-stop"}, {plan.sequences[0].phases[0].place}


def ask_for_a_tilt_with_halt(plan: t.Plan) -> Iterator[Mutant]:
    """The operator's way into the stop needs a signal as well."""
    if not commands(plan) or not plan.anywhere or not plan.signals:
        return
    changed = plan
    for entry in plan.anywhere:
        changed = replace(changed, leaves=(*changed.leaves, compare(plan, 0, 0.5, 0.6)))
        nodes = (
            *changed.guards[entry.guard].nodes,
            t.Node("leaf", len(changed.leaves) - 1),
            t.Node("all", 2),
        )
        leaves = (*changed.guards[entry.guard].leaves, len(changed.leaves) - 1)
        changed = with_guard(changed, entry.guard, nodes=nodes, leaves=leaves)
    yield changed, {"cannot-stop"}, {plan.sequences[0].phases[0].place}


def compare(plan: t.Plan, signal: int, low: float, high: float) -> t.Compare:
    """Ask that a signal is within two shares of its span."""
    of = plan.signals[signal]
    width = of.high - of.low
    ends = t.Level(of.low + low * width), t.Level(of.low + high * width)
    return t.Compare("within", "signal", signal, *ends, None, None, None, of.unit, HERE)


def move_a_threshold(plan: t.Plan) -> Iterator[Mutant]:
    """Move a comparison wholly outside, or wholly over, the span of its signal."""
    for guard in plan.guards:
        for position in guard.leaves:
            leaf = plan.leaves[position]
            if not isinstance(leaf, t.Compare) or leaf.source != "signal":
                continue
            span = plan.signals[leaf.index]
            below, over = t.Level(span.low - 2), t.Level(span.high + 2)
            inverted = leaf.op == "outside"
            for low, high in (
                ((over, below), (below, over)) if not inverted else ((below, over), (over, below))
            ):
                moved = replace(
                    leaf, low=leaf.low and low, high=leaf.high and high,
                    release_low=None, release_high=None, latch=None, place=HERE,
                )  # fmt: skip
                leaves = list(plan.leaves)
                leaves[position] = moved
                codes = {"never-true", "always-true", "idle-part"}
                yield replace(plan, leaves=tuple(leaves)), codes, {HERE, place_of(plan, guard)}


def place_of(plan: t.Plan, guard: t.Guard) -> Place:
    """Where the checks speak of a guard: at its way out, its entry or its rule."""
    ways = [way for s in plan.sequences for phase in s.phases for way in phase.exits]
    found = [x.place for x in (*ways, *plan.anywhere, *plan.rules) if x.guard == guard.index]
    return found[0]


def repeat_a_guard(plan: t.Plan) -> Iterator[Mutant]:
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            for way in phase.exits:
                other = (way.to + 1) % len(sequence.phases)
                yield (
                    with_phase(plan, s, i, exits=(*phase.exits, t.Exit(way.guard, other, HERE))),
                    {"shadowed-guard"},
                    {HERE},
                )


def ask_for_what_is_watched(plan: t.Plan) -> Iterator[Mutant]:
    for entry in plan.anywhere:
        # a release begins anew in each phase: such a guard can be true while the one that watches is not
        if any(getattr(plan.leaves[k], "latch", None) is not None for k in plan.guards[entry.guard].leaves):
            continue
        for s, sequence in enumerate(plan.sequences):
            for i, phase in enumerate(sequence.phases):
                way = t.Exit(entry.guard, (i + 1) % len(sequence.phases), HERE)
                yield with_phase(plan, s, i, exits=(way, *phase.exits)), {"shadowed-by-anywhere"}, {HERE}


def hold_an_event(plan: t.Plan) -> Iterator[Mutant]:
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            for way in phase.exits:
                guard = plan.guards[way.guard]
                if guard.hold is None and {n.kind for n in guard.nodes} <= {"leaf", "all"}:
                    if not any(isinstance(plan.leaves[k], t.OnEvent) for k in guard.leaves):
                        continue
                    changed = with_guard(plan, guard.index, hold=t.Hold(0, 300, None, ()))
                    moved = tuple(replace(w, place=HERE) if w is way else w for w in phase.exits)
                    yield with_phase(changed, s, i, exits=moved), {"held-event"}, {HERE}


def add_another_way(plan: t.Plan) -> Iterator[Mutant]:
    """Add a guard over a signal that no other guard of the phase asks about: both can be true at once."""
    for s, i, phase in walking(plan):
        asked = {
            getattr(plan.leaves[k], "index", None)
            for way in phase.exits
            for k in plan.guards[way.guard].leaves
        }
        free = [k for k in range(len(plan.signals)) if k not in asked]
        follows = any(
            isinstance(plan.leaves[k], t.Follow) for way in phase.exits for k in plan.guards[way.guard].leaves
        )
        # ways by the count alone, "at least" and "below" the same, leave nothing for a third
        by_count = all(
            isinstance(leaf, t.Compare) and leaf.source == "counter"
            for way in phase.exits
            for leaf in (plan.leaves[k] for k in plan.guards[way.guard].leaves)
        )
        if not free or follows or by_count or not phase.exits:
            continue
        changed, guard = new_guard(plan, compare(plan, free[0], 0.5, 0.6))
        to = next(k for k in range(len(plan.sequences[s].phases)) if k != phase.exits[0].to)
        yield (
            with_phase(changed, s, i, exits=(*phase.exits, t.Exit(guard, to, HERE))),
            {"order-decides"},
            {HERE},
        )


def add_a_name(plan: t.Plan) -> Iterator[Mutant]:
    name = t.Name("spare", HERE)
    yield replace(plan, events=(*plan.events, name)), {"unused-input"}, {HERE}
    yield replace(plan, switches=(*plan.switches, name)), {"unused-input"}, {HERE}
    spare = t.Counter("spare", None, HERE)
    yield replace(plan, counters=(*plan.counters, spare)), {"unused-counter"}, {HERE}
    trim = t.Parameter("spare", "deg", 1.0, 0.0, 2.0, HERE)
    yield replace(plan, parameters=(*plan.parameters, trim)), {"unused-parameter"}, {HERE}
    spare_signal = t.Signal("spare", "deg", 1.0, 0.0, 0.0, 1.0, None, 0.0, None, None, False, HERE)
    yield replace(plan, signals=(*plan.signals, spare_signal)), {"unused-input"}, {HERE}
    spare_setpoint = t.Setpoint("spare", "deg", 0.0, 1.0, 0.0, None, (), None, HERE)
    yield replace(plan, setpoints=(*plan.setpoints, spare_setpoint)), {"unused-setpoint"}, {HERE}


PLANTS: list[Callable[[t.Plan], Iterator[Mutant]]] = [
    drop_a_timeout, drop_every_way_out, lead_past_a_phase, begin_in_a_walk, lose_every_stop,
    ask_for_a_tilt_with_halt, move_a_threshold, repeat_a_guard, ask_for_what_is_watched, hold_an_event,
    add_another_way, add_a_name,
]  # fmt: skip


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: plant.__name__)
def test_a_fault_planted_into_a_sound_walk_is_found(
    plant: Callable[[t.Plan], Iterator[Mutant]], print_table: Callable[[str], None]
) -> None:
    planted, missed = 0, []
    for path in WALKS:
        for mutant, codes, places in plant(load_plan(path)):
            told = [(f.code, f.place) for f in check(mutant)]
            planted += 1
            if not any(code in codes and where in places for code, where in told):
                missed.append((path.name, places, told))
    print_table(f"{plant.__name__}: {planted - len(missed)} of {planted} planted faults found")
    assert planted > 0
    assert missed == []


def test_many_faults_are_planted() -> None:
    assert sum(1 for path in WALKS for plant in PLANTS for _ in plant(load_plan(path))) >= 300


@pytest.mark.parametrize("path", WALKS, ids=lambda path: path.name.removesuffix(".gait.yaml"))
def test_before_planting_there_is_nothing_to_find(path: Path) -> None:
    assert [f for f in check(load_plan(path)) if f.severity != Severity.NOTE] == []
