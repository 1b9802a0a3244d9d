"""What is reached, against brute force: every input tried in every configuration, by code of its own.

Small sets of sequences without holds, timeouts and losses, over signals that take a few values.
"""

import itertools
from collections.abc import Iterator
from random import Random

import pytest
from support import plans as p

from sequencer.check.explore import moves
from sequencer.check.explore.search import BY_DEFAULT, Search
from sequencer.check.facts import Facts
from sequencer.plan import tables as t

LEVELS = (1.0, 2.0)
VALUES = (0.0, 1.0, 1.5, 2.0, 3.0)  # every way in which two levels can be met
SIGNALS = ("x", "y")
State = tuple[tuple[int, ...], int]  # phases, the counter
Inputs = tuple[dict[int, float], int]


def random_guard(rng: Random, names: list[str], phases: int, depth: int = 2) -> p.Expr:
    if depth and rng.random() < 0.5:
        parts = [random_guard(rng, names, phases, depth - 1) for _ in range(rng.choice((2, 2, 3)))]
        return p.not_(parts[0]) if rng.random() < 0.15 else rng.choice((p.all_of, p.all_of, p.any_of))(*parts)
    kind = rng.randrange(6)
    if kind < 2:
        return rng.choice((p.at_least, p.above, p.at_most, p.below))(rng.choice(SIGNALS), rng.choice(LEVELS))
    if kind < 4:
        return p.in_phase(
            rng.choice(names), *rng.sample([f"p{i}" for i in range(phases)], rng.choice((1, 2)))
        )
    if kind == 4:
        return p.event(rng.choice(("go", "halt")))
    return rng.choice((p.at_least, p.below))("n", rng.choice((1, 2)))


def random_walk(seed: int) -> t.Plan:
    rng = Random(seed)
    names, phases = ["a", "b", "c"][: rng.choice((2, 2, 3))], rng.choice((2, 3))
    sequences = {}
    for name in names:
        sequences[name] = [
            p.Phase(
                f"p{i}",
                leave=[
                    (f"p{rng.randrange(phases)}", random_guard(rng, names, phases))
                    for _ in range(rng.choice((1, 1, 2)))
                ],
                count=["n"] if name == "a" and i == 1 else [],
                reset=["n"] if name == "a" and i == 0 and rng.random() < 0.5 else [],
            )
            for i in range(phases)
        ]
    anywhere = []
    if rng.random() < 0.4:
        anywhere = [("p0", p.all_of(p.event("halt"), random_guard(rng, names, phases, 1)))]
    signals = [p.signal(name, low=0.0, high=3.0) for name in SIGNALS]
    return p.make_plan(sequences, signals=signals, counters=["n"], anywhere=anywhere)


# -- brute force --------------------------------------------------------------------------------------------


def leaf_true(leaf: t.Leaf, state: State, inputs: Inputs) -> bool:
    values, events = inputs
    if isinstance(leaf, t.OnEvent):
        return bool(events >> leaf.event & 1)
    if isinstance(leaf, t.InPhase):
        return state[0][leaf.sequence] in leaf.phases
    assert isinstance(leaf, t.Compare)
    value = values[leaf.index] if leaf.source == "signal" else state[1]
    level = leaf.low or leaf.high
    assert level is not None and level.plus is not None
    return {
        "at_least": value >= level.plus,
        "above": value > level.plus,
        "at_most": value <= level.plus,
        "below": value < level.plus,
    }[leaf.op]


def is_true(plan: t.Plan, guard: int, state: State, inputs: Inputs) -> bool:
    stack: list[bool] = []
    for node in plan.guards[guard].nodes:
        if node.kind == "leaf":
            stack.append(leaf_true(plan.leaves[node.arg], state, inputs))
        else:
            parts = [stack.pop() for _ in range(node.arg)]
            stack.append(not parts[0] if node.kind == "not" else (all if node.kind == "all" else any)(parts))
    return stack[0]


def next_phase(plan: t.Plan, sequence: int, state: State, inputs: Inputs) -> int | None:
    """Where a sequence goes in a tick with these inputs, or None if it stays."""
    at = state[0][sequence]
    for entry in plan.anywhere:
        if is_true(plan, entry.guard, state, inputs):
            return None if at == entry.to[sequence] else entry.to[sequence]
    for way in plan.sequences[sequence].phases[at].exits:
        if is_true(plan, way.guard, state, inputs):
            return way.to
    return None


def after(plan: t.Plan, state: State, inputs: Inputs) -> State:
    phases, counter = list(state[0]), state[1]
    for sequence in range(len(plan.sequences)):
        to = next_phase(plan, sequence, state, inputs)
        if to is not None:
            phases[sequence] = to
            row = plan.sequences[sequence].phases[to]
            counter = 0 if row.reset else counter
            counter = min(counter + len(row.count), 65535)
    return tuple(phases), counter


def every_input() -> Iterator[Inputs]:
    for x, y in itertools.product(VALUES, repeat=2):
        for events in range(4):
            yield {0: x, 1: y}, events


def brute(plan: t.Plan) -> set[State]:
    """All states that can be reached, the counter kept up to 3, as no guard tells more apart."""
    inputs = list(every_input())
    start = ((0,) * len(plan.sequences), 1 if plan.sequences[0].phases[0].count else 0)
    seen, todo = {start}, [start]
    while todo:
        state = todo.pop()
        for tried in inputs:
            phases, counter = after(plan, state, tried)
            reached = phases, min(counter, 3)
            if reached not in seen:
                seen.add(reached)
                todo.append(reached)
    return seen


def explored(plan: t.Plan) -> set[State]:
    search = Search(plan, Facts(plan), BY_DEFAULT)
    reached = search.run()
    assert reached.finished
    layout = search.layout
    return {
        (layout.phases_of(config), layout.counters[0].of(config) if layout.counters else 0)
        for config in reached.order
    }


def compared(plan: t.Plan) -> tuple[set[State], set[State]]:
    """Both sets, with the counter left out or cut as the exploration cuts it."""
    cap = Search(plan, Facts(plan), BY_DEFAULT).layout.caps.get(0, 0)
    return {(phases, min(counter, cap)) for phases, counter in brute(plan)}, explored(plan)


@pytest.mark.parametrize("block", range(20))
def test_the_same_is_reached_as_by_trying_everything(block: int) -> None:
    for seed in range(block * 20, block * 20 + 20):
        wanted, found = compared(random_walk(seed))
        assert found == wanted, seed


def test_the_walks_differ_in_what_is_reached() -> None:
    shares = []
    for seed in range(100):
        plan = random_walk(seed)
        every = len(plan.sequences[0].phases) ** len(plan.sequences)
        shares.append(len({phases for phases, _ in brute(plan)}) / every)
    assert sum(share < 1 for share in shares) > 30  # not everything can be reached
    assert sum(share > 0.4 for share in shares) > 30


def test_moving_one_at_a_time_only_would_be_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = moves.Mover._groups

    def alone(mover: moves.Mover, able: list[moves.View], tied: int) -> list[list[moves.View]]:
        return [[view] for group in whole(mover, able, tied) for view in group]

    monkeypatch.setattr(moves.Mover, "_groups", alone)
    differing = 0
    for seed in range(100):
        wanted, found = compared(random_walk(seed))
        differing += wanted != found
    assert differing > 0
