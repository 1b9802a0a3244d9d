"""Large and involved walks: the exploration ends within its bounds, says so, and never says "fine"."""

from dataclasses import replace
from random import Random

import pytest
from support import plans as p

from sequencer.base.findings import Severity
from sequencer.check import Exploring, check
from sequencer.check.explore.run import check_explored
from sequencer.check.explore.search import BY_DEFAULT, Bounds, Search
from sequencer.check.facts import Facts
from sequencer.plan.tables import Node, Plan


def legs(count: int, phases: int, *, share: bool = False) -> Plan:
    """Sequences that go round by themselves; with `share`, all wait for the same event in every phase."""
    sequences, signals = {}, []
    for leg in range(count):
        signals.append(p.signal(f"x{leg}", low=0.0, high=10.0))
        guard = p.above(f"x{leg}", 5)
        sequences[f"leg{leg}"] = [
            p.Phase(
                f"p{i}",
                leave=[(f"p{(i + 1) % phases}", p.all_of(guard, p.event("go")) if share else guard)],
                rest=i == 0,
            )
            for i in range(phases)
        ]
    return p.make_plan(sequences, signals=signals)


def told(plan: Plan, bounds: Bounds = BY_DEFAULT) -> list[str]:
    exploring = Exploring(bounds)
    findings = check_explored(plan, exploring)
    assert exploring.finished == ("not-finished" not in {f.code for f in findings})
    return [f.code for f in findings]


def test_beyond_the_bound_it_says_how_far_it_got() -> None:
    findings = check_explored(legs(4, 10), Exploring(Bounds(configurations=700)))
    assert [(f.code, f.severity) for f in findings] == [("not-finished", Severity.NOTE)]
    assert "700 configurations" in findings[0].message
    assert "nothing is said of the rest" in findings[0].message
    assert told(legs(4, 10)) == []  # 10,000: within the bound
    assert told(legs(3, 28)) == ["not-finished"]  # 21,952


def test_all_configurations_of_sequences_that_do_not_look_at_each_other_are_reached() -> None:
    plan = legs(4, 8)
    assert len(Search(plan, Facts(plan), BY_DEFAULT).run().order) == 8**4
    plan = legs(4, 8, share=True)
    assert len(Search(plan, Facts(plan), BY_DEFAULT).run().order) == 8**4


@pytest.mark.parametrize("share", [False, True])
def test_sixty_four_sequences_end_within_the_bounds(share: bool) -> None:
    assert told(legs(64, 3, share=share)) == ["not-finished"]


def test_ten_thousand_guards_in_one_phase_end_within_the_bounds() -> None:
    rng = Random(1)
    signals = [p.signal(f"x{i}", low=-10.0, high=10.0, lost_after_ms=100) for i in range(6)]
    leave = []
    for i in range(10_000):
        parts = [
            p.above(f"x{rng.randrange(6)}", rng.uniform(-9, 9)),
            p.below(f"x{i % 6}", rng.uniform(-9, 9)),
        ]
        leave.append((f"p{i % 3}", p.all_of(*parts, p.in_phase("b", f"p{i % 2}"))))
    phases = [p.Phase("p0", leave=leave), p.Phase("p1", rest=True), p.Phase("p2", rest=True)]
    other = [p.Phase("p0", leave=[("p1", p.event("go"))], rest=True), p.Phase("p1", rest=True)]
    plan = p.make_plan({"a": phases, "b": other}, signals=signals)
    search = Search(plan, Facts(plan), BY_DEFAULT)
    reached = search.run()
    assert reached.finished
    assert {search.layout.phases_of(c) for c in reached.order} == {(a, b) for a in range(3) for b in range(2)}


def test_a_guard_nested_two_hundred_deep_or_ten_thousand_times_negated_needs_no_recursion() -> None:
    deep = p.all_of(p.above("x", 1), p.in_phase("b", "p1"))
    for level in range(200):
        deep = (
            p.all_of(p.any_of(deep, p.below("x", -11)), p.at_least("x", -10)) if level % 2 else p.not_(deep)
        )
    signals = [p.signal("x", low=-10.0, high=10.0)]
    for nots in (0, 10_000, 10_001):
        a = [p.Phase("p0", leave=[("p1", deep)], rest=True), p.Phase("p1", rest=True)]
        b = [p.Phase("p0", leave=[("p1", p.event("go"))], rest=True), p.Phase("p1", rest=True)]
        plan = p.make_plan({"a": a, "b": b}, signals=signals)
        guard = replace(plan.guards[0], nodes=(*plan.guards[0].nodes, *[Node("not", 1)] * nots))
        plan = replace(plan, guards=(guard, *plan.guards[1:]))
        assert Search(plan, Facts(plan), BY_DEFAULT).run().finished


def test_findings_are_the_same_each_time() -> None:
    for plan in (legs(4, 12), legs(3, 4, share=True)):
        assert check(plan) == check(plan)
