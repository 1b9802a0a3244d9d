"""Questions about guards, answered by boxes and by the solver, against trying every value.

All thresholds are whole numbers, so a comparison can only change at whole numbers and the values tried, the
halves, meet every case (with parameters in play, which may stand anywhere between: the quarters).
The evaluation here is written for the test, straight from the rules for one tick.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from random import Random

import pytest
from support import plans as p

from sequencer.check.domains import at_most
from sequencer.check.facts import Condition
from sequencer.check.questions import Asker
from sequencer.plan import tables as t

LOW, HIGH = 0, 3
Situation = dict[tuple[str, int], float]
Truth = bool | None


def random_guard(rng: Random, depth: int, levels: list[p.Number]) -> p.Expr:
    kind = rng.choice(("leaf", "all", "any", "not")) if depth else "leaf"
    if kind == "not":
        return p.not_(random_guard(rng, depth - 1, levels))
    if kind != "leaf":
        parts = [random_guard(rng, depth - 1, levels) for _ in range(rng.randint(1, 3))]
        return p.all_of(*parts) if kind == "all" else p.any_of(*parts)
    return random_leaf(rng, levels)


def random_leaf(rng: Random, levels: list[p.Number]) -> p.Expr:
    x = rng.choice(("x0", "x1"))
    compare = rng.choice((p.at_least, p.at_most, p.above, p.below))(x, rng.choice(levels))
    inside = rng.choice((p.within, p.outside))(x, rng.choice(levels), rng.choice(levels))
    counted = rng.choice((p.at_least, p.above, p.below))("steps", rng.choice([0, 1, 2]))
    lost, there = p.lost(rng.choice(("x0", None))), p.in_phase("other", rng.choice(("a", "b")))
    follow = rng.choice((p.reached, p.at_target))("lean", rng.choice([0, 1, 2]))
    others = [inside, counted, p.event("go"), p.switch("motors", remote=True), lost, there, follow]
    return rng.choice([compare] * 3 + others)


def plan_with(guards: list[p.Expr], *, aims: list[float], trims: bool = False) -> t.Plan:
    """A plan whose phase `here` has the guards; `lean` is aimed there at the first of `aims`, if any."""
    here: dict[str, p.Number] = {"lean": aims[0]} if aims else {}
    phases = [
        p.Phase("here", leave=[("there", guard) for guard in guards], set=here),
        p.Phase("there", set={"lean": aims[-1] if aims else 2}),
    ]
    other = [p.Phase("a", count=["steps"]), p.Phase("b")]
    return p.make_plan(
        {"walk": phases, "other": other},
        signals=[p.signal("x0", low=LOW, high=HIGH, lost_after_ms=100), p.signal("x1", low=LOW, high=HIGH)],
        setpoints=[p.setpoint("lean", low=LOW, high=HIGH, start=0.0, followers=[(0, 0.0), (1, 1.0)])],
        parameters=[p.parameter("trim", 1, 0, 2)] if trims else [],
        counters=["steps"],
        remote=t.Remote((), (0,), None, 300, p.NOWHERE),
    )


def variables(plan: t.Plan) -> set[tuple[str, int]]:
    """What the guards look at; the rest need not be tried."""
    found: set[tuple[str, int]] = set()
    for leaf in plan.leaves:
        if isinstance(leaf, t.Compare):
            found |= {(leaf.source, leaf.index)} | ({("lost", 0)} if leaf.source == "signal" else set())
        elif isinstance(leaf, t.Follow):
            found |= {("signal", 0), ("signal", 1), ("lost", 0), ("target", 0)}
        elif isinstance(leaf, t.InPhase):
            found.add(("phase", leaf.sequence))
        elif isinstance(leaf, t.OnEvent):
            found.add(("event", leaf.event))
        else:
            found |= {("switch", 0), ("remote", 0), ("lost", 0)}
    return found


def situations(plan: t.Plan, aims: list[float], step: float, trims: tuple[float, ...]) -> Iterator[Situation]:
    """Every combination of signals in steps, counters, all truths, targets and entries."""
    grid = [LOW + i * step for i in range(round((HIGH - LOW) / step) + 1)]
    values: dict[tuple[str, int], Sequence[float]] = {
        ("signal", 0): grid, ("signal", 1): grid, ("counter", 0): (0, 1, 2, 3), ("event", 0): (0, 1),
        ("switch", 0): (0, 1), ("lost", 0): (0, 1), ("remote", 0): (0, 1), ("phase", 1): (0, 1),
    }  # fmt: skip
    used = variables(plan)
    tried = {var: many if var in used else many[:1] for var, many in values.items()}
    targets = aims[:1] or [0, 2]
    travel = [0, *aims] if aims else [0, 2]
    entries = {min(travel), (min(travel) + max(travel)) / 2, max(travel), *targets}
    aimed = [(a, e) for a in targets for e in sorted(entries)] if ("target", 0) in used else [(0.0, 0.0)]
    for row, (aim, entry), trim in product(product(*tried.values()), aimed, trims):
        now = dict(zip(tried, row, strict=True))
        yield now | {("target", 0): aim, ("entry", 0): entry, ("parameter", 0): trim}


def level(x: t.Level | None, now: Situation) -> float:
    assert x is not None
    if x.parameter is None:
        assert x.plus is not None
        return x.plus
    trim = now["parameter", x.parameter]
    return (-trim if x.negated else trim) + (x.plus or 0.0)


def leaf_truth(plan: t.Plan, leaf: t.Leaf, now: Situation) -> Truth:
    if isinstance(leaf, t.Follow):
        return follow_truth(plan, leaf, now)
    if isinstance(leaf, t.Compare):
        unknown = leaf.source == "signal" and now.get(("lost", leaf.index))
        return None if unknown else compare_truth(leaf, now[leaf.source, leaf.index], now)
    if isinstance(leaf, t.OnSwitch):
        return None if now["remote", 0] else bool(now["switch", leaf.switch])
    if isinstance(leaf, t.Lost):
        return bool(now["remote", 0] if leaf.signal is None else now["lost", leaf.signal])
    return (
        now["phase", leaf.sequence] in leaf.phases
        if isinstance(leaf, t.InPhase)
        else bool(now["event", leaf.event])
    )


def compare_truth(leaf: t.Compare, v: float, now: Situation) -> bool:
    low = level(leaf.low, now) if leaf.low is not None else 0.0
    high = level(leaf.high, now) if leaf.high is not None else 0.0
    return {
        "at_least": v >= low, "above": v > low, "at_most": v <= high, "below": v < high,
        "within": low <= v <= high, "outside": not low <= v <= high,
    }[leaf.op]  # fmt: skip


def follow_truth(plan: t.Plan, leaf: t.Follow, now: Situation) -> Truth:
    if now["lost", 0]:
        return None
    target, entry = now["target", leaf.setpoint], now["entry", leaf.setpoint]
    side = (target > entry) - (target < entry) if leaf.op == "reached" else 0
    tolerance = level(leaf.tolerance, now)
    for follower in plan.setpoints[leaf.setpoint].followers:
        e = now["signal", follower.signal] - (target + follower.offset)
        if (side >= 0 and e < -tolerance) or (side <= 0 and e > tolerance):
            return False
    return True


def guard_truth(plan: t.Plan, guard: t.Guard, now: Situation) -> Truth:
    stack: list[Truth] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(leaf_truth(plan, plan.leaves[node.arg], now))
            continue
        parts = stack[-node.arg :]
        del stack[-node.arg :]
        if node.kind == "not":
            stack.append(None if parts[0] is None else not parts[0])
        else:
            decides = node.kind == "any"  # one True decides `any`, one False decides `all`
            stack.append(decides if decides in parts else None if None in parts else not decides)
    return stack[-1]


def losses_of(plan: t.Plan, guard: t.Guard) -> set[tuple[str, int]]:
    """The losses that a guard asks about; it may be there to wait for their end."""
    asked = [leaf.signal for leaf in (plan.leaves[i] for i in guard.leaves) if isinstance(leaf, t.Lost)]
    return {("remote", 0) if signal is None else ("lost", signal) for signal in asked}


def guards_of(plan: t.Plan) -> list[t.Guard]:
    return [plan.guards[way.guard] for way in plan.sequences[0].phases[0].exits]


def conditions(plan: t.Plan) -> list[Condition]:
    return [Condition(guard.nodes, 0, 0, fires_at_once=True) for guard in guards_of(plan)]


def answers(asker: Asker, a: Condition, b: Condition) -> dict[str, bool]:
    """What an asker says of two guards: does such a situation exist?"""
    asked = {
        "a": asker.find(a),
        "not always a": asker.find(but_not=(a,), nothing_lost=True),
        "a and b": asker.find(a, b),
        "b without a": asker.find(b, but_not=(a,)),
    }
    assert all(answer.verdict != "undecided" for answer in asked.values())
    return {name: answer.verdict == "yes" for name, answer in asked.items()}


def tried(plan: t.Plan, aims: list[float], step: float, trims: tuple[float, ...]) -> dict[str, bool]:
    """The same by trying everything."""
    found = dict.fromkeys(("a", "not always a", "a and b", "b without a"), False)
    unasked = {("lost", 0), ("remote", 0)} - losses_of(plan, guards_of(plan)[0])
    for now in situations(plan, aims, step, trims):
        a, b = (guard_truth(plan, guard, now) is True for guard in guards_of(plan))
        found["a"] |= a
        found["not always a"] |= not a and not any(now[loss] for loss in unasked)
        found["a and b"] |= a and b
        found["b without a"] |= b and not a
        if all(found.values()):
            break
    return found


@pytest.mark.parametrize("block", range(10))
def test_boxes_and_the_solver_say_what_trying_every_value_says(block: int) -> None:
    seen: set[tuple[str, bool]] = set()
    for seed in range(block * 12, block * 12 + 12):
        rng = Random(seed)
        aims: list[float] = rng.choice([[], [2, 1], [1, 0], [0, 2]])
        levels: list[p.Number] = [0, 1, 2, 3, 4]
        plan = plan_with([random_guard(rng, 2, levels), random_guard(rng, 2, levels)], aims=aims)
        a, b = conditions(plan)
        truth = tried(plan, aims, 0.5, (0,))
        assert answers(Asker(plan), a, b) == truth, seed
        assert answers(Asker(plan, boxes=False), a, b) == truth, seed
        seen |= set(truth.items())
    assert len(seen) > 4  # both verdicts turn up


@pytest.mark.parametrize("seed", range(40))
def test_trimmed_parameters_are_tried_together_with_the_signals(seed: int) -> None:
    rng = Random(1000 + seed)
    trim: list[p.Number] = [t.Level(None, 0), t.Level(1, 0), t.Level(3, 0, negated=True), t.Level(2, 0), 1, 2]
    guards = [
        p.all_of(*(rng.choice((p.at_least, p.below, p.above, p.at_most))(x, rng.choice(trim)) for x in xs))
        for xs in (("x0", "x1"), ("x1", "x0"))
    ]
    plan = plan_with(guards, aims=[], trims=True)
    a, b = conditions(plan)
    truth = tried(plan, [], 0.25, tuple(i / 4 for i in range(9)))
    assert answers(Asker(plan, trimmed=True), a, b) == truth
    at_present = tried(plan, [], 0.25, (1,))
    assert answers(Asker(plan), a, b) == at_present


@pytest.mark.parametrize("seed", range(60))
def test_the_values_shown_make_the_guards_true(seed: int) -> None:
    """Examples are rounded to read well; they must still show what they are said to show."""
    rng = Random(2000 + seed)
    levels: list[p.Number] = [0.3, 1, 1.25, 2.7, 3]
    plan = plan_with([random_guard(rng, 2, levels), random_guard(rng, 2, levels)], aims=[2, 1])
    a, b = conditions(plan)
    for asker in (Asker(plan), Asker(plan, boxes=False)):
        answer = asker.find(a, b)
        if answer.verdict != "yes":
            continue
        values = {var: float(value) for var, value in answer.values.items() if var[0] != "aim"}
        # what is not named may be anything; of the way the setpoint came from one is meant
        truths = []
        for entry in (0, 1, 2):
            now = next(situations(plan, [2, 1], 3, (0,))) | {("target", 0): 2, ("entry", 0): entry} | values
            truths.append(all(guard_truth(plan, guard, now) for guard in guards_of(plan)))
        assert any(truths)


def test_a_planted_slip_in_a_threshold_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sequencer.check.truth.below", at_most)
    differing = 0
    for seed in range(24):
        rng = Random(seed)
        plan = plan_with([random_guard(rng, 2, [0, 1, 2]), random_guard(rng, 2, [0, 1, 2])], aims=[2, 1])
        differing += answers(Asker(plan), *conditions(plan)) != tried(plan, [2, 1], 0.5, (0,))
    assert differing > 0


@pytest.mark.parametrize("boxes", [True, False])
@pytest.mark.parametrize(
    ("guard", "possible"),
    [
        (p.all_of(p.above("steps", 1), p.below("steps", 2)), False),  # no whole number lies between
        (p.all_of(p.not_(p.at_most("steps", 1)), p.not_(p.at_least("steps", 2))), False),
        (p.within("steps", 1.25, 1.75), False),
        (p.all_of(p.above("steps", 1), p.below("steps", 3)), True),
        (p.above("steps", 65534), True),
        (p.above("steps", 65535), False),
        (p.below("steps", 0), False),
    ],
)
def test_counters_are_whole_numbers_up_to_their_end(guard: p.Expr, possible: bool, boxes: bool) -> None:
    plan = plan_with([guard], aims=[])
    assert Asker(plan, boxes=boxes).find(*conditions(plan)).verdict == ("yes" if possible else "no")


def test_what_is_left_of_a_counter_beside_a_guard_is_whole_too() -> None:
    plan = plan_with([p.any_of(p.at_most("steps", 1), p.at_least("steps", 2)), p.event("go")], aims=[])
    always, other = conditions(plan)
    for asker in (Asker(plan), Asker(plan, boxes=False)):
        assert asker.always(always)
        assert asker.find(other, but_not=(always,)).verdict == "no"
