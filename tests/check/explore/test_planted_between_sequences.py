"""Faults planted between sequences of sound walks, against brute force that knows only who asks for whom.

In each mutant one guard no longer asks for a phase of another sequence, or asks for another phase. What is
measured is left free here: a guard may be true whenever the phases that it asks for are there. So this
reaches what the exploration must reach, in walks in which each sequence has signals of its own.
"""

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from support.commands import REPOSITORY

from sequencer.check import Exploring
from sequencer.check.explore.run import check_explored
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan

SOUND = REPOSITORY / "tests/corpus/sound"
WALKS = ("two-legs-in-turn", "tortoise-crawl-order")
SHOWN = ("mutual-wait", "phases-break-rule", "leave-together", "never-entered", "no-rest-together")
Phases = tuple[int, ...]


def mutants(plan: t.Plan) -> Iterator[t.Plan]:
    """Change each question for a phase in a guard of a phase, in every way."""
    of_exits = {way.guard for s in plan.sequences for phase in s.phases for way in phase.exits}
    asked = [i for g in of_exits for i in plan.guards[g].leaves if isinstance(plan.leaves[i], t.InPhase)]
    for index in sorted(asked):
        leaf = plan.leaves[index]
        assert isinstance(leaf, t.InPhase)
        every = range(len(plan.sequences[leaf.sequence].phases))
        for phases in [tuple(every), *((p,) for p in every)]:
            if phases != leaf.phases:
                changed = replace(leaf, phases=phases)
                yield replace(plan, leaves=(*plan.leaves[:index], changed, *plan.leaves[index + 1 :]))


def may_be_true(plan: t.Plan, guard: int, phases: Phases) -> tuple[bool, bool]:
    """Whether a guard may be true and may be false where sequences stand so."""
    stack: list[tuple[bool, bool]] = []
    for node in plan.guards[guard].nodes:
        if node.kind == "leaf":
            leaf = plan.leaves[node.arg]
            here = isinstance(leaf, t.InPhase) and phases[leaf.sequence] in leaf.phases
            stack.append((here, not here) if isinstance(leaf, t.InPhase) else (True, True))
            continue
        parts = [stack.pop() for _ in range(node.arg)]
        if node.kind == "not":
            stack.append(parts[0][::-1])
        elif node.kind == "all":
            stack.append((all(true for true, _ in parts), any(false for _, false in parts)))
        else:
            stack.append((any(true for true, _ in parts), all(false for _, false in parts)))
    return stack[0]


def options(plan: t.Plan, sequence: int, phases: Phases, *, timeouts: bool = True) -> set[int]:
    """Where a sequence may be after a tick."""
    row = plan.sequences[sequence].phases[phases[sequence]]
    found = set()
    for way in row.exits:
        true, false = may_be_true(plan, way.guard, phases)
        if true:
            found.add(way.to)
        if not false and plan.guards[way.guard].hold is None:
            return found
    if row.timeout is not None and timeouts:
        found.add(row.timeout.to)
    return found | {phases[sequence]}


def reached(plan: t.Plan) -> set[Phases]:
    start: Phases = (0,) * len(plan.sequences)
    seen, todo = {start}, [start]
    while todo:
        phases = todo.pop()
        after = set(itertools.product(*(options(plan, s, phases) for s in range(len(phases)))))
        for new in after | {entry.to for entry in plan.anywhere}:
            if new not in seen:
                seen.add(new)
                todo.append(new)
    return seen


def broken_rules(plan: t.Plan, every: set[Phases]) -> set[str]:
    return {rule.name for rule in plan.rules for c in every if may_be_true(plan, rule.guard, c)[0]}


def all_wait(plan: t.Plan, phases: Phases) -> bool:
    """Whether no sequence can ever go on by itself."""
    return all(options(plan, s, phases) == {phases[s]} for s in range(len(phases)))


def judged(plan: t.Plan) -> tuple[set[str], bool, set[str]]:
    """The rules that are broken in some finding, whether sequences wait for each other, what is undecided."""
    findings = check_explored(plan, Exploring())
    told = [f.message for f in findings if f.code == "phases-break-rule"]
    open_codes = {
        code for f in findings if f.code == "undecided" for code in SHOWN if f"({code})" in f.message
    }
    assert "not-finished" not in {f.code for f in findings}
    broken = {rule.name for rule in plan.rules for message in told if f"'{rule.name}'" in message}
    return broken, "mutual-wait" in {f.code for f in findings}, open_codes


@pytest.mark.parametrize("name", WALKS)
def test_what_brute_force_finds_in_a_mutant_is_told(name: str, print_table: Callable[[str], None]) -> None:
    """Brute force knows no times, so some of what it finds can't be timed: that must be told as undecided."""
    plan = load_plan(SOUND / f"{name}.gait.yaml")
    assert judged(plan) == (set(), False, set())
    count = breaking = waiting = harmless = undecided = 0
    for mutant in mutants(plan):
        every = reached(mutant)
        wanted = broken_rules(mutant, every)
        stuck = any(all_wait(mutant, phases) for phases in every)
        broken, waits, left_open = judged(mutant)
        assert broken <= wanted
        assert bool(broken or "phases-break-rule" in left_open) == bool(wanted)
        assert waits or "mutual-wait" in left_open or not stuck
        count += 1
        breaking += bool(broken)
        waiting += waits
        undecided += bool(left_open) and not broken and not waits
        harmless += not wanted and not waits and not left_open
    print_table(
        f"{name}: {count} mutants; {breaking} break a rule, in {waiting} sequences wait for each other; "
        f"{undecided} are told as undecided; {harmless} do no harm: the walk goes on sooner, or later"
    )
    assert breaking > 2
    assert waiting > 2
    assert undecided < count / 10
