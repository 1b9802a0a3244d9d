"""Faults of noise planted one by one into every sound walk: in rules, tolerances and ways back."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.changed import with_phase
from support.commands import REPOSITORY

from sequencer.base.places import Place
from sequencer.check import check
from sequencer.check.facts import Facts
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan

WALKS = [
    *sorted((REPOSITORY / "tests" / "corpus" / "sound").glob("*.gait.yaml")),
    *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
]
HERE = Place("planted.gait.yaml", 9000, 1)
MOST = 4  # mutants of one kind for one walk


def with_noise(plan: t.Plan, signal: int, noise: float) -> t.Plan:
    rows = list(plan.signals)
    rows[signal] = replace(rows[signal], noise=noise)
    return replace(plan, signals=tuple(rows))


def with_guard(plan: t.Plan, leaf: t.Leaf, nodes: tuple[t.Node, ...]) -> t.Plan:
    guard = t.Guard(len(plan.guards), nodes, (len(plan.leaves),), None, HERE)
    return replace(plan, leaves=(*plan.leaves, leaf), guards=(*plan.guards, guard))


def compare(plan: t.Plan, signal: int, op: t.CompareOp, threshold: float) -> t.Compare:
    level = t.Level(threshold)
    rising = op in {"at_least", "above"}
    low, high = (level, None) if rising else (None, level)
    return t.Compare(op, "signal", signal, low, high, None, None, None, plan.signals[signal].unit, HERE)


def near_rules(plan: t.Plan) -> Iterator[t.Plan]:
    """A rule that a joint may not go higher than 1.5 times the noise above where it is sent."""
    for setpoint, row in enumerate(plan.setpoints):
        low, high = Facts(plan).travel(setpoint)
        for follower in row.followers[:1]:
            if row.owner is None or low == high:
                continue
            noise = (high - low) / 20
            leaf = compare(plan, follower.signal, "at_most", high + follower.offset + 1.5 * noise)
            nodes = (t.Node("leaf", len(plan.leaves)), t.Node("not", 1))
            rule = t.Rule("planted", len(plan.guards), 0, 1, None, False, HERE)
            mutant = with_guard(with_noise(plan, follower.signal, noise), leaf, nodes)
            yield replace(mutant, rules=(*plan.rules, rule))


def tight_tolerances(plan: t.Plan) -> Iterator[t.Plan]:
    """Noise of twenty times the tolerance, three samples in a row."""
    for s, i, k, way in ways(plan):
        guard = plan.guards[way.guard]
        leaf = plan.leaves[guard.leaves[0]]
        phase = plan.sequences[s].phases[i]
        if (
            len(guard.nodes) > 1
            or not isinstance(leaf, t.Follow)
            or leaf.op != "at_target"
            or not leaf.tolerance.plus
        ):
            continue
        if phase.timeout is None or leaf.release is not None:
            continue
        signal = plan.setpoints[leaf.setpoint].followers[0].signal
        guards = list(plan.guards)
        slot = guard.hold.slot if guard.hold else plan.holds
        guards[guard.index] = replace(guard, hold=t.Hold(slot, None, 3, (signal,)))
        mutant = with_noise(replace(plan, guards=tuple(guards)), signal, 20 * leaf.tolerance.plus)
        exits = tuple(replace(w, place=HERE) if n == k else w for n, w in enumerate(phase.exits))
        yield with_phase(mutant, s, i, exits=exits)


def ways_back(plan: t.Plan) -> Iterator[t.Plan]:
    """Two phases that lead to each other at one threshold."""
    for s, i, k, way in ways(plan):
        phase, other = plan.sequences[s].phases[i], plan.sequences[s].phases[way.to]
        for setpoint in [c.setpoint for c in phase.commands if plan.setpoints[c.setpoint].followers][:1]:
            signal = plan.setpoints[setpoint].followers[0].signal
            low, high = Facts(plan).travel(setpoint)
            middle, noise = (low + high) / 2, (plan.signals[signal].high - plan.signals[signal].low) / 50
            up = compare(plan, signal, "above", middle + noise / 4)
            first = with_guard(with_noise(plan, signal, noise), up, (t.Node("leaf", len(plan.leaves)),))
            down = compare(plan, signal, "below", middle - noise / 4)
            both = with_guard(first, down, (t.Node("leaf", len(first.leaves)),))
            there = t.Exit(len(plan.guards), way.to, HERE)
            back = t.Exit(len(first.guards), i, HERE)
            exits = tuple(there if n == k else w for n, w in enumerate(phase.exits))
            mutant = with_phase(both, s, i, exits=exits)
            yield with_phase(mutant, s, way.to, exits=(back, *other.exits))


def ways(plan: t.Plan) -> Iterator[tuple[int, int, int, t.Exit]]:
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            for k, way in enumerate(phase.exits):
                if way.to != i and not phase.rest and phase.stop is None and not phase.mirrored_from:
                    yield s, i, k, way


KINDS: dict[Callable[[t.Plan], Iterator[t.Plan]], tuple[str, int]] = {
    near_rules: ("noise-trips", 15),
    tight_tolerances: ("tolerance-under-noise", 10),
    ways_back: ("chatter", 25),
}


@pytest.mark.parametrize("plant", KINDS, ids=lambda kind: kind.__name__)
def test_what_is_planted_is_found(plant: Callable[[t.Plan], Iterator[t.Plan]]) -> None:
    code, at_least = KINDS[plant]
    missed: list[str] = []
    planted = 0
    for path in WALKS:
        for number, mutant in zip(range(MOST), plant(load_plan(path)), strict=False):
            planted += 1
            if (code, HERE) not in found_in(mutant):
                missed.append(f"{name_of(path)} {number}")
    assert missed == []
    assert planted >= at_least


def found_in(plan: t.Plan) -> set[tuple[str, Place]]:
    return {(f.code, f.place) for f in check(plan)}


def name_of(path: Path) -> str:
    return path.name.removesuffix(".gait.yaml")
