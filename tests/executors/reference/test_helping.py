"""Help by hand and single steps: when a walk goes on, what waits, what only warns."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from support.executors import MakeExecutor
from support.plans import (
    Phase,
    Rule,
    above,
    all_of,
    any_of,
    below,
    event,
    hold_ms,
    in_phase,
    make_plan,
    not_,
    signal,
)
from support.play import Play, tick

from sequencer.plan.steps import needs_event
from sequencer.plan.tables import Plan

TO_B = ("b", above("y", 5))


def helped(phases: Sequence[Phase], **more: Any) -> Plan:
    return replace(make_plan({"walk": phases}, signals=[signal("y")], **more), helping=True)


def ab(*leave: Any, timeout: tuple[int, str] | None = None) -> Plan:
    return helped([Phase("a", leave or [TO_B], timeout=timeout), Phase("b", [("a", above("y", 5))])])


LATE = (20, "b")
BY_HAND = pytest.mark.parametrize("how", ["helping", "stepping"])


@BY_HAND
def test_a_timeout_only_warns_for_as_long_as_it_lasts(make_executor: MakeExecutor, how: str) -> None:
    play = Play(make_executor, ab(timeout=LATE))
    play.ticks(tick(), tick(helping=how), tick(helping=how), tick(helping=how), tick())
    assert play.phases() == ["a", "a", "a", "a", "b"]  # and acts at once when nobody helps any more
    assert play.causes()[-1] == "timeout"
    assert play.waits() == ["", "", "late", "late", ""]


def test_helped_by_hand_guards_act_as_ever(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(timeout=LATE))
    play.ticks(tick(), tick(helping="helping"), tick(helping="helping"), tick(y=6, helping="helping"))
    assert play.phases() == ["a", "a", "a", "b"]
    assert play.waits() == ["", "", "late", ""]


def test_in_single_steps_a_guard_that_fires_waits_for_the_step(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(timeout=LATE))
    play.ticks(tick(), tick(y=6, helping="stepping"), *[tick(helping="stepping")] * 3)
    play.ticks(tick(helping="stepping step"), tick(helping="stepping"), tick(helping="stepping"))
    assert play.phases() == ["a"] * 5 + ["b"] * 3
    assert play.causes()[5] == "guard 0"
    # while it waits the timeout, which passed long ago, is not looked at: the guard comes before it
    assert play.waits() == ["", "step", "step", "step", "step", "", "step", "step"]


def test_a_step_that_finds_no_guard_true_is_spent(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab())
    play.ticks(tick(), tick(helping="stepping step"), tick(y=6, helping="stepping"))
    assert play.phases() == ["a", "a", "a"]


def test_a_step_without_single_steps_changes_nothing(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(timeout=LATE)).ticks(tick(), tick(helping="step"), tick(helping="step"))
    assert play.causes() == ["reset", "", "timeout"]
    play = Play(make_executor, ab()).ticks(tick(), tick(y=6))
    assert play.phases() == ["a", "b"]


def test_a_guard_that_is_no_longer_true_waits_no_longer(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab())
    play.ticks(tick(), tick(y=6, helping="stepping"), tick(y=4, helping="stepping step"))
    assert play.phases() == ["a", "a", "a"]
    assert play.waits() == ["", "step", ""]


def test_a_hold_stays_met_while_its_guard_waits(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(("b", above("y", 5), hold_ms(20))))
    play.ticks(tick(), *[tick(y=6, helping="stepping")] * 4, tick(helping="stepping step"))
    assert play.waits() == ["", "", "", "step", "step", ""]
    assert play.phases()[-2:] == ["a", "b"]


def test_later_guards_are_not_looked_at_while_one_waits(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(TO_B, ("b", above("y", 1))))
    play.ticks(tick(), tick(y=6, helping="stepping"), tick(helping="stepping step"))
    assert play.causes() == ["reset", "", "guard 0"]
    assert play.truths(1) == "---"


def test_a_step_lets_every_waiting_sequence_move(make_executor: MakeExecutor) -> None:
    walks = {name: [Phase("a", [TO_B]), Phase("b")] for name in ("left", "right")}
    plan = replace(make_plan(walks, signals=[signal("y")]), helping=True)
    play = Play(make_executor, plan).ticks(tick(), tick(y=6, helping="stepping"))
    play.ticks(tick(helping="stepping step"))
    assert play.phases(0) == play.phases(1) == ["a", "a", "b"]
    assert play.waits(1) == ["", "step", ""]


def test_an_event_is_a_step_of_its_own(make_executor: MakeExecutor) -> None:
    """Whoever presses go has asked for what follows; a button for steps cannot be hit in the same tick."""
    play = Play(make_executor, ab(("b", event("go")), ("b", any_of(event("halt"), above("y", 5)))))
    play.ticks(tick(), tick(events="go", helping="stepping"))
    assert play.causes() == ["reset", "guard 0"]
    play = Play(make_executor, play.plan).ticks(tick(), tick(events="halt", helping="stepping"))
    assert play.causes() == ["reset", ""]  # what may be true without an event waits


def test_which_guards_need_an_event() -> None:
    go, high = event("go"), above("y", 5)
    for expr, needs in (
        (go, True),
        (all_of(high, go), True),
        (any_of(go, event("halt")), True),
        (any_of(go, high), False),
        (not_(go), False),
        (not_(not_(go)), False),
        (all_of(high, below("y", 9)), False),
    ):
        plan = ab(("b", expr))
        assert needs_event(plan, plan.guards[plan.sequences[0].phases[0].exits[0].guard]) == needs, expr


def test_anywhere_and_rules_act_as_ever(make_executor: MakeExecutor) -> None:
    phases = [Phase("a", [("b", above("y", 1))]), Phase("b"), Phase("safe", [TO_B], stop=1)]
    plan = helped(phases, anywhere=[("safe", event("halt"))])
    play = Play(make_executor, plan)
    play.ticks(tick(), tick(y=2, helping="stepping"), tick(events="halt", helping="stepping"))
    assert play.phases() == ["a", "a", "safe"]
    assert play.waits() == ["", "step", ""]
    rule = Rule("low", below("y", 5), None, None, "safe")
    play = Play(make_executor, helped(phases, rules=[rule])).ticks(tick(), tick(y=6, helping="stepping"))
    assert play.ticks(tick(helping="stepping")).causes()[-1] == "rule 0"


def test_a_sequence_that_is_held_neither_waits_nor_is_late(make_executor: MakeExecutor) -> None:
    phases = [Phase("safe", [("a", above("y", 5))], timeout=(20, "a")), Phase("a", [("safe", event("go"))])]
    plan = helped(phases, anywhere=[("safe", above("y", 9))])
    play = Play(make_executor, plan)
    play.ticks(tick(), tick(y=6, helping="stepping"), tick(y=10, helping="stepping"))
    play.ticks(tick(y=10, helping="stepping step"), tick(y=1, helping="helping"))
    assert play.phases() == ["safe"] * 5
    assert play.waits() == ["", "step", "", "", "late"]


def test_a_reset_enters_the_first_phase_whatever_helps(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ab(timeout=LATE))
    play.ticks(tick(helping="stepping"), tick(helping="stepping"), tick(helping="stepping"))
    play.ticks(tick(helping="stepping", reset=True))
    assert play.causes() == ["reset", "", "", "reset"]
    assert play.waits() == ["", "", "late", ""]


def test_sequences_that_watch_each_other_see_who_waits_where_it_is(make_executor: MakeExecutor) -> None:
    walks = {
        "left": [Phase("a", [TO_B]), Phase("b")],
        "right": [Phase("a", [("b", in_phase("left", "b"))]), Phase("b")],
    }
    plan = replace(make_plan(walks, signals=[signal("y")]), helping=True)
    play = Play(make_executor, plan).ticks(tick(), tick(y=6, helping="stepping"))
    play.ticks(tick(helping="stepping step"), tick(helping="stepping"), tick(helping="stepping step"))
    assert play.phases(0) == ["a", "a", "b", "b", "b"]
    assert play.phases(1) == ["a", "a", "a", "a", "b"]
    assert play.waits(1) == ["", "", "", "step", ""]


def test_a_machine_that_cannot_be_helped_takes_no_notice(make_executor: MakeExecutor) -> None:
    plan = replace(ab(timeout=LATE), helping=False)
    play = Play(make_executor, plan).ticks(tick(), tick(y=6, helping="stepping"), tick(helping="helping"))
    assert play.phases() == ["a", "b", "a"]
    assert play.waits() == ["", "", ""]
