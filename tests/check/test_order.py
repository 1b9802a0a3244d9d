"""Which of two guards wins, with holds, releases and what is watched anywhere taken into account."""

from collections.abc import Sequence

import pytest
from support import plans as p

from sequencer.base.findings import Finding
from sequencer.check.order import check_order, waits_no_longer
from sequencer.check.questions import Askers
from sequencer.plan.tables import Hold, Level

KNEE = p.signal("knee", unit="mm", low=0.0, high=60.0, lost_after_ms=100)
TILT = p.signal("tilt", low=-45.0, high=45.0, lost_after_ms=100)
Way = tuple[str, p.Expr] | tuple[str, p.Expr, p.HoldSpec]


def told(ways: Sequence[Way], anywhere: Sequence[Way] = (), **more: object) -> list[Finding]:
    """What is said about the guards of one phase that lead to `a`, `b` or `stop`."""
    phases = [p.Phase("lift", leave=ways), p.Phase("a"), p.Phase("b"), p.Phase("stop", stop=1)]
    plan = p.make_plan({"walk": phases}, signals=[KNEE, TILT], anywhere=anywhere, **more)  # type: ignore[arg-type]
    return check_order(plan, Askers(plan))


def codes(findings: list[Finding]) -> list[str]:
    return [finding.code for finding in findings]


WIDE, NARROW = p.at_least("knee", 30), p.at_least("knee", 38)


@pytest.mark.parametrize(
    ("first", "second", "shadows"),
    [
        (None, None, True),
        (None, p.hold_ms(200), True),
        (p.hold_ms(100), p.hold_ms(100), True),
        (p.hold_ms(100), p.hold_ms(200), True),
        (p.hold_ms(200), p.hold_ms(100), False),  # the later one wins in between
        (p.hold_ms(100), None, False),
        (p.hold_samples(2), p.hold_samples(3), True),
        (p.hold_samples(3), p.hold_samples(2), False),
        (p.hold_samples(2), p.hold_ms(500), False),  # samples may come at any pace
        (p.hold_ms(20), p.hold_samples(9), False),
    ],
)
def test_a_wider_guard_shadows_a_narrower_one_only_if_it_waits_no_longer(
    first: p.HoldSpec, second: p.HoldSpec, shadows: bool
) -> None:
    findings = told([("a", WIDE, first), ("b", NARROW, second)])
    assert codes(findings) == ["shadowed-guard" if shadows else "order-decides"]


def test_a_narrower_guard_before_a_wider_one_is_only_noted() -> None:
    findings = told([("a", NARROW), ("b", WIDE)])
    assert codes(findings) == ["order-decides"]
    assert findings[0].example == "knee 40 mm"
    assert "goes to a" in findings[0].message


def test_guards_to_the_same_phase_need_no_order() -> None:
    assert told([("a", NARROW), ("a", WIDE)]) == []


def test_guards_that_exclude_each_other_need_no_order() -> None:
    assert told([("a", p.below("knee", 30)), ("b", p.at_least("knee", 30))]) == []


def test_an_example_names_values_of_all_signals_that_are_asked() -> None:
    findings = told([("a", WIDE), ("b", p.all_of(p.below("tilt", -5), p.event("go"), p.switch("motors")))])
    assert findings[0].example == "knee 30 mm, tilt -10 deg, go arrives, motors on"


@pytest.mark.parametrize("boxes", [True, False])
def test_an_example_names_the_first_count_at_which_two_guards_meet(boxes: bool) -> None:
    enough = p.all_of(p.at_least("steps", 10), p.above("tilt", 5))
    phases = [p.Phase("lift", [("a", WIDE), ("b", enough)], count=["steps"]), p.Phase("a"), p.Phase("b")]
    plan = p.make_plan({"walk": phases}, signals=[KNEE, TILT], counters=["steps"])
    askers = Askers(plan)
    askers.present.boxes = boxes
    (finding,) = check_order(plan, askers)
    assert "steps 10" in finding.example.split(", ")


def test_samples_of_different_signals_are_not_compared() -> None:
    hold = Hold(0, None, 2, (0,)), Hold(1, None, 3, (0, 1))
    assert not waits_no_longer(*hold)
    assert waits_no_longer(hold[0], Hold(1, None, 3, (0,)))


def test_several_guards_without_a_hold_shadow_together_but_not_with_one() -> None:
    rest = p.outside("knee", 8, 35)
    ways = [("a", p.at_least("knee", 30)), ("b", p.below("knee", 10)), ("stop", rest)]
    assert "shadowed-guard" in codes(told(ways))
    held: list[Way] = [ways[0], ("b", p.below("knee", 10), p.hold_ms(10)), ("stop", rest)]
    assert "shadowed-guard" not in codes(told(held))


def test_a_release_keeps_the_earlier_guard_true_and_so_shadows_more() -> None:
    # held, the earlier stays true from 38 down to 25; without a hold it would have led out at 38 already
    wide = p.at_least("knee", 38, 25)
    assert codes(told([("a", wide, p.hold_ms(50)), ("b", p.within("knee", 26, 30))])) == ["order-decides"]
    assert codes(told([("a", wide), ("b", p.within("knee", 26, 30))])) == []


def test_the_same_comparison_with_a_release_twice_shadows_the_second() -> None:
    twice = p.at_least("knee", 38, 25)
    findings = told([("a", twice, p.hold_ms(50)), ("b", twice, p.hold_ms(80))])
    assert codes(findings) == ["shadowed-guard"]


def test_a_guard_that_asks_for_more_than_anywhere_is_shadowed_by_it() -> None:
    anywhere = [("stop", p.any_of(p.event("halt"), p.outside("tilt", -25, 25)))]
    findings = told([("a", p.above("tilt", 30))], anywhere)
    assert codes(findings) == ["shadowed-by-anywhere"]
    assert told([("a", p.above("tilt", 20))], anywhere) == []


def test_anywhere_with_a_longer_hold_shadows_only_where_it_holds_the_machine() -> None:
    anywhere = [("stop", p.outside("tilt", -25, 25), p.hold_ms(500))]
    assert told([("a", p.above("tilt", 30))], anywhere) == []
    phases = [p.Phase("lift"), p.Phase("stop", stop=1, leave=[("lift", p.above("tilt", 30))])]
    plan = p.make_plan({"walk": phases}, signals=[KNEE, TILT], anywhere=anywhere)
    found = check_order(plan, Askers(plan))
    assert codes(found) == ["shadowed-by-anywhere"]
    assert "keeps the machine where it is" in found[0].message


def test_entries_of_anywhere_are_held_against_each_other() -> None:
    findings = told([], [("a", p.above("tilt", 10)), ("b", p.above("tilt", 20)), ("stop", p.event("halt"))])
    assert codes(findings) == ["shadowed-guard", "order-decides"]
    assert "anywhere 2 (to b)" in findings[0].message


def test_a_lost_signal_lets_a_later_guard_through() -> None:
    # whenever the knee is heard the first is true, but not while it is lost
    first = p.any_of(p.at_least("knee", 30), p.below("knee", 30))
    assert codes(told([("a", p.all_of(first, p.event("go"))), ("b", p.event("go"))])) == ["order-decides"]


def test_a_meeting_that_only_trimming_brings_about_says_so() -> None:
    bow = p.parameter("bow", 20, 10, 50)
    ways = [("a", p.below("knee", Level(None, 0))), ("b", p.above("knee", 40))]
    findings = told(ways, parameters=[bow])
    assert codes(findings) == ["order-decides"]
    assert "bow trimmed to" in findings[0].example
    assert told(ways, parameters=[p.parameter("bow", 20, 10, 40)]) == []


def test_a_target_that_the_phase_commands_decides_whether_guards_meet() -> None:
    lean = p.setpoint("lean", followers=[(1, 0.0)])
    ways = [("a", p.at_target("lean", 2)), ("b", p.above("tilt", 10))]

    def with_target(target: float) -> list[str]:
        phases = [p.Phase("lift", leave=ways, set={"lean": target}), p.Phase("a"), p.Phase("b")]
        plan = p.make_plan({"walk": phases}, signals=[KNEE, TILT], setpoints=[lean])
        return codes(check_order(plan, Askers(plan)))

    assert with_target(5) == []
    assert with_target(9) == ["order-decides"]


def test_many_earlier_guards_are_told_in_one_note() -> None:
    ways: list[Way] = [("a" if i % 2 else "b", p.above("knee", i)) for i in range(1, 20)]
    ways.append(("stop", p.above("tilt", 3)))
    last = told(ways)[-1]
    assert "and 18 more before it" in last.message
    assert len(last.notes) == 8
