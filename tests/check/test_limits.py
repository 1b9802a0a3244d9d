"""Large, deep and contradictory walks: findings, no recursion, no hang; and what is left undecided."""

from dataclasses import replace
from random import Random

import pytest
from support import plans as p

from sequencer.base.findings import Severity
from sequencer.check import check
from sequencer.check.domains import Interval, TooManyBoxesError, nice_number
from sequencer.check.facts import Condition
from sequencer.check.order import MOST_TRIMMED_QUERIES, check_order
from sequencer.check.questions import Asker, Askers
from sequencer.check.satisfiable import check_satisfiable
from sequencer.check.truth import Truths
from sequencer.plan.build import parse_plan
from sequencer.plan.tables import MOST_GUARDS_OF_A_PHASE, Level, Node, Plan

SIGNALS = [p.signal(f"x{i}", low=-10.0, high=10.0, lost_after_ms=100) for i in range(6)]


def many_parts(rng: Random, clauses: int) -> p.Expr:
    """A conjunction of either-ors over six signals: far too many boxes."""
    return p.all_of(
        *(
            p.any_of(
                *(p.above(f"x{rng.randrange(6)}", rng.randint(-9, 9)) for _ in range(2)),
                p.below(f"x{i % 6}", -8),
            )
            for i in range(clauses)
        )
    )


def walk(*guards: p.Expr) -> Plan:
    phases = [p.Phase("here", leave=[("there", guard) for guard in guards]), p.Phase("there")]
    return p.make_plan({"walk": phases}, signals=SIGNALS)


def conditions(plan: Plan) -> list[Condition]:
    return [Condition(plan.guards[way.guard].nodes, 0, 0) for way in plan.sequences[0].phases[0].exits]


def test_a_guard_nested_two_hundred_deep_is_judged() -> None:
    deep = p.above("x0", 11)
    for level in range(200):
        deep = (
            p.all_of(p.any_of(deep, p.below("x1", -11)), p.at_least("x2", -10))
            if level % 2
            else p.not_(p.not_(deep))
        )
    plan = walk(deep)
    assert [f.code for f in check_satisfiable(plan, Askers(plan))] == ["never-true"]


def test_a_chain_of_ten_thousand_nots_needs_no_recursion() -> None:
    plan = walk(p.above("x0", 3))
    for nots, verdict in ((10_000, "yes"), (10_001, "yes")):
        nodes = (*plan.guards[0].nodes, *[Node("not", 1)] * nots)
        for asker in (Asker(plan), Asker(plan, boxes=False)):
            answer = asker.find(Condition(nodes, 0, 0))
            assert answer.verdict == verdict
            assert (float(answer.values["signal", 0]) > 3) == (nots % 2 == 0)


def test_a_phase_with_as_many_guards_as_it_may_have_is_judged() -> None:
    guards = [
        p.all_of(p.above(f"x{i % 6}", i % 9), p.below(f"x{(i + 1) % 6}", 9))
        for i in range(MOST_GUARDS_OF_A_PHASE)
    ]
    findings = check(walk(*guards))
    assert {f.code for f in findings} >= {"shadowed-guard"}


def test_what_does_not_fit_into_boxes_goes_to_the_solver_and_comes_out_alike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    verdicts = set()
    for seed in range(12):
        rng = Random(seed)
        guard = many_parts(rng, 7)
        plan = walk(guard, p.all_of(guard, *(p.within(f"x{i}", -7, rng.randint(-6, 6)) for i in range(6))))
        by_solver = []
        for condition in conditions(plan):
            with pytest.raises(TooManyBoxesError):
                Truths(Asker(plan).facts).sides(condition)
            by_solver.append(Asker(plan).find(condition).verdict)
        with monkeypatch.context() as roomy:
            roomy.setattr("sequencer.check.domains.MOST_BOXES", 100_000)
            roomy.setattr("sequencer.check.truth.MOST_BOXES", 100_000)
            by_boxes = [Asker(plan).find(condition).verdict for condition in conditions(plan)]
        assert by_solver == by_boxes
        verdicts |= set(by_boxes)
    assert verdicts == {"yes", "no"}


def test_a_question_over_the_bound_is_left_undecided_and_told_as_a_note() -> None:
    plan = walk(many_parts(Random(1), 60))
    askers = Askers(plan)
    askers.present = Asker(plan, most_steps=1)
    findings = check_satisfiable(plan, askers)
    assert [(f.code, f.severity) for f in findings] == [("undecided", Severity.NOTE)]
    assert "could not be decided" in findings[0].message
    assert "undecided" not in {f.code for f in check_satisfiable(plan, Askers(plan))}


def bands(phases: int, guards: int) -> Plan:
    """Guards that lie side by side wherever their parameter is trimmed to: none meets another."""
    walk = []
    for i in range(phases):
        ways = [
            (
                f"p{(i + 1 + g) % phases}",
                p.all_of(p.at_least("x", Level(g, 0)), p.below("x", Level(g + 1, 0))),
            )
            for g in range(guards)
        ]
        walk.append(p.Phase(f"p{i}", leave=ways))
    span = p.signal("x", low=0.0, high=400.0)
    return p.make_plan({"walk": walk}, signals=[span], parameters=[p.parameter("bow", 10, 5, 50)])


def test_questions_about_trimming_are_bounded_and_what_is_left_out_is_told() -> None:
    few = bands(3, 4)
    assert check_order(few, Askers(few)) == []
    many = bands(3, 80)
    askers = Askers(many)
    findings = check_order(many, askers)
    assert [f.code for f in findings] == ["undecided"]
    assert askers.trimmed.solver_queries == MOST_TRIMMED_QUERIES


def test_the_bound_counts_steps_so_the_verdict_is_the_same_each_time() -> None:
    plan = walk(many_parts(Random(2), 60))
    for steps in (1, 300, 3000, 30_000):
        verdicts = {Asker(plan, most_steps=steps).find(*conditions(plan)).verdict for _ in range(3)}
        assert len(verdicts) == 1


def test_a_signal_with_an_empty_span_ends_in_findings() -> None:
    plan = walk(p.above("x0", 1))
    signals = (replace(plan.signals[0], low=5.0, high=-5.0), *plan.signals[1:])
    assert "never-true" in {f.code for f in check(replace(plan, signals=signals))}


def test_findings_come_worst_first_and_the_same_each_time() -> None:
    text = """\
gait: tangle
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
  events: [go]
  setpoints:
    bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}
phases:
  lift:
    set: {bend: 40 mm}
    leave:
      - {to: lower, when: {signal: knee, above: 70 mm}}
      - {to: hold, when: {event: go}, hold: 50 ms}
  lower:
    set: {bend: 0 mm}
  hold: {}
"""
    findings = check(parse_plan(text))
    ranks = [list(Severity).index(f.severity) for f in findings]
    assert ranks == sorted(ranks)
    assert {f.code for f in findings} >= {
        "never-true",
        "dead-end",
        "held-event",
        "no-stop",
        "walks-at-power-on",
    }
    assert findings == check(parse_plan(text))


def test_a_mirror_image_is_told_once_with_the_other_in_the_notes() -> None:
    text = """\
gait: stepping
machine:
  machine: parade_stork
  tick: 10 ms
  signals:
    left_knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
    right_knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    left_bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: left_knee}
    right_bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: right_knee}
phases:
  standing: {rest: true, leave: [{to: lift_left, when: {event: go}}]}
  lift_left:
    set: {left_bend: 40 mm}
    leave: [{to: lower_left, when: {signal: left_knee, above: 70 mm}}]
    timeout: {after: 3 s, to: safe}
  lower_left:
    set: {left_bend: 0 mm}
    leave: [{to: lift_right, when: {signal: left_knee, below: 4 mm}}]
    timeout: {after: 3 s, to: safe}
  safe: {stop: 1, leave: [{to: standing, when: {event: go}}]}
anywhere: [{to: safe, when: {event: halt}}]
mirror:
  swap: {left: right}
  phases: {lift_left: lift_right, lower_left: lower_right}
"""
    findings = [f for f in check(parse_plan(text)) if f.severity == Severity.ERROR]
    assert [f.code for f in findings] == ["never-true"]
    assert "lift_left" in findings[0].message
    assert "lift_right" in findings[0].notes[0][1]


@pytest.mark.parametrize(
    ("interval", "number"),
    [
        (Interval(13, False, 45, False), 20),
        (Interval(-45, False, -13, False), -20),
        (Interval(-5, False, 5, False), 0),
        (Interval(2.0, True, 2.5, True), 2.1),
        (Interval(0.299, False, 0.301, False), 0.3),
        (Interval(7, False, 7, False), 7),
        (Interval(0, True, 1, False), 1),
    ],
)
def test_example_values_have_few_digits(interval: Interval, number: float) -> None:
    assert nice_number(interval) == number
