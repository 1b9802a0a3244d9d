"""Steps 6 to 8 of a tick: which way out wins, who is held, how several sequences switch together.

W3C SCXML 1.0 (Recommendation, 1 September 2015), section 3.13: of the transitions of a state that are
enabled, the first one in document order is taken ("optimally enabled", and Appendix D). We follow that rule
for guards, `anywhere` and rules. We differ in two ways, both on purpose:

- SCXML goes on with microsteps until no eventless transition is enabled ("macrostep", section 3.13), which
  need not end (Appendix D says so). Here a sequence makes one transition in a tick at most, so a tick takes a
  known time, and the phase that was entered gets at least one tick of commands.
- In SCXML a transition of an inner state beats one of its ancestors. `anywhere` is the opposite: it comes
  first, because it is what stops the machine.
"""

import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.plans import Phase, Rule, hold_ms, make_plan, signal
from support.play import Play, tick

from sequencer.plan.tables import Plan

GO, HALT = p.event("go"), p.event("halt")
EVENTS = ("e", "f", "g", "go", "halt")
ALWAYS = p.any_of(p.lost("s"), p.not_(p.lost("s")))
S = [signal("s", lost_after_ms=60_000)]


def document_order() -> Plan:
    return make_plan(
        {
            "walk": [
                Phase(
                    "a",
                    [("b", p.event("e")), ("c", p.any_of(p.event("e"), p.event("f"))), ("a", p.event("g"))],
                    timeout=(50, "late"),
                ),
                Phase("b", [("c", ALWAYS)]), Phase("c", [("d", p.event("e"))]), Phase("d"), Phase("late"),
            ]
        },
        signals=S,
        events=EVENTS,
    )  # fmt: skip


def test_the_first_true_guard_in_document_order_wins(make_executor: MakeExecutor) -> None:
    # SCXML 3.13 and its test trace: a state with two transitions on `e`, the first one is taken
    play = Play(make_executor, document_order()).ticks(tick(), tick(events="e"))
    assert play.phases()[1] == "b"
    assert play.causes()[1] == "guard 0"
    play = Play(make_executor, document_order()).ticks(tick(), tick(events="f"))
    assert (play.phases()[1], play.causes()[1]) == ("c", "guard 1")


def test_later_guards_are_not_looked_at_once_one_fires(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, document_order()).ticks(tick(), tick(events="e"), tick())
    assert play.truths(0) == "-T-"  # a's first guard
    assert play.truths(1) == play.truths(2) == "---"  # a's second guard


def test_one_transition_a_tick_and_the_entered_phase_is_looked_at_from_the_next_tick_on(
    make_executor: MakeExecutor,
) -> None:
    # SCXML would go on to c in the same macrostep, because b's guard is true without an event
    play = Play(make_executor, document_order()).ticks(tick(), tick(events="e"), tick(), tick())
    assert play.phases() == ["a", "b", "c", "c"]


def test_events_are_not_kept_for_the_entered_phase(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, document_order()).ticks(tick(), tick(events="f e"), tick(), tick())
    assert play.phases() == ["a", "b", "c", "c"]  # the `e` of the first transition does not lead on to d
    play.ticks(tick(events="e"))
    assert play.phases()[-1] == "d"


def test_no_guard_is_looked_at_in_the_first_tick(make_executor: MakeExecutor) -> None:
    # SCXML 3.3: without an initial state the first child in document order is entered
    play = Play(make_executor, document_order()).ticks(tick(events="e"), tick())
    assert play.phases() == ["a", "a"]
    assert play.causes() == ["reset", ""]
    assert play.truths(0) == "-F"


@pytest.mark.parametrize(("row", "phase"), [(4, "a"), (5, "late")])
def test_the_timeout_comes_when_the_phase_has_lasted_that_long(
    make_executor: MakeExecutor, row: int, phase: str
) -> None:
    play = Play(make_executor, document_order()).ticks(*[tick()] * 7)
    assert play.phases()[row] == phase
    assert play.causes()[5] == "timeout"


def test_a_guard_true_on_the_tick_of_the_timeout_wins(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, document_order()).ticks(*[tick()] * 5, tick(events="f"))
    assert play.causes()[5] == "guard 1"


def test_a_guard_to_its_own_phase_enters_it_anew(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, document_order()).ticks(*[tick()] * 4, tick(events="g"), *[tick()] * 5)
    assert play.causes()[4] == "guard 2"
    assert play.causes()[5:] == ["", "", "", "", "timeout"]  # the timeout starts over


def test_a_timeout_runs_across_the_wrap_of_the_clock(make_executor: MakeExecutor) -> None:
    # 2^32 - 20 to 30 are 50 ms in unsigned 32-bit arithmetic
    play = Play(make_executor, document_order()).ticks(
        tick(now=2**32 - 20), tick(now=2**32 - 10), tick(now=0), tick(now=29), tick(now=30)
    )
    assert play.causes() == ["reset", "", "", "", "timeout"]


# -- anywhere ----------------------------------------------------------------------------------------------


def watched() -> Plan:
    return make_plan(
        {
            "walk": [
                Phase("a", [("b", GO)], timeout=(60, "a")),
                Phase("b", [("a", p.above("s", 0), hold_ms(20))]),
                Phase("safe", [("a", GO)]),
                Phase("fault", [("a", GO)]),
            ]
        },
        signals=S,
        anywhere=[
            ("safe", HALT),
            ("fault", p.above("s", 20), hold_ms(20)),
            ("safe", p.below("s", -20)),
        ],
    )


def test_anywhere_comes_before_the_phases_own_guards(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, watched()).ticks(tick(), tick(events="go halt"))
    assert (play.phases()[1], play.causes()[1]) == ("safe", "anywhere 0")
    assert play.truths(3) == "--"  # the guard of a, which is not looked at


def test_all_anywhere_entries_are_evaluated_even_after_one_fired(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, watched()).ticks(tick(s=30), tick(s=30, events="halt"), tick(), tick())
    assert play.truths(1) == "-TTT"  # leaf of the second entry
    assert play.causes() == ["reset", "anywhere 0", "", "anywhere 1"]  # its hold went on meanwhile


def test_the_first_anywhere_entry_that_fires_wins(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, watched()).ticks(*[tick(s=30)] * 4)
    assert play.causes() == ["reset", "", "", "anywhere 1"]
    play.ticks(tick(events="halt", s=30))
    assert (play.phases()[-1], play.causes()[-1]) == ("safe", "anywhere 0")
    play.ticks(tick(s=30))
    assert (play.phases()[-1], play.causes()[-1]) == ("fault", "anywhere 1")


def test_go_while_halted_does_not_leave_the_stop_phase(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, watched()).ticks(tick(), tick(events="halt"), tick(events="halt go"), tick())
    assert play.phases() == ["a", "safe", "safe", "safe"]
    assert play.causes()[2:] == ["", ""]  # no re-entry
    play.ticks(tick(events="go"))
    assert play.phases()[-1] == "a"


def test_go_while_tilted_does_not_leave_the_stop_phase(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, watched()).ticks(
        tick(), tick(s=-30), tick(events="go"), tick(s=0, events="go")
    )
    assert play.phases() == ["a", "safe", "safe", "a"]


def test_an_entry_that_is_true_but_not_held_long_enough_holds_those_already_there(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, watched()).ticks(*[tick(s=30)] * 4, tick(s=0))  # in `fault`
    play.ticks(tick(s=30, events="go"))  # true again; its hold starts over, but go is not looked at
    assert play.phases()[-1] == "fault"
    play.ticks(tick(s=0, events="go"))
    assert play.phases()[-1] == "a"


def test_an_entry_that_is_true_but_not_held_long_enough_does_not_keep_a_later_one_from_firing(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {"walk": [Phase("a"), Phase("fault"), Phase("safe")]},
        signals=S,
        anywhere=[("fault", p.above("s", 20), hold_ms(50)), ("safe", HALT)],
    )
    play = Play(make_executor, plan).ticks(tick(s=30), tick(), tick(events="halt"))
    assert play.causes() == ["reset", "", "anywhere 1"]
    # and while it is in `safe` nothing holds it but its own: after 50 ms of truth the first entry fires
    play.ticks(*[tick()] * 4)
    assert play.causes()[3:] == ["", "", "", "anywhere 0"]


def held_in_place() -> Plan:
    """`a` leaves by itself after 30 ms of s > 0, and times out; the entry's `to` is where it stands."""
    return make_plan(
        {"walk": [Phase("a", [("b", p.above("s", 10, release=5), hold_ms(30))], timeout=(80, "late")),
                  Phase("b"), Phase("late")]},
        signals=S,
        anywhere=[("a", p.switch("motors"))],
    )  # fmt: skip


def test_latches_and_holds_of_a_held_phase_start_over(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, held_in_place())
    play.ticks(tick(s=12), tick(), tick(s=7), tick(switches="motors"), tick(), tick(s=12), *[tick()] * 3)
    # the latch carried 7 as true until the hold; after it, 7 is below the threshold again
    assert play.truths(1) == "-TT" + "-" + "F" + "TTTT"
    assert play.causes()[-1] == "guard 0"
    assert play.causes()[:-1] == ["reset", *[""] * 7]


def test_latches_and_holds_start_over_too_while_an_entry_is_true_but_not_held_long_enough(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", p.above("s", 10, release=5), hold_ms(30))]), Phase("b")]},
        signals=S,
        anywhere=[("a", p.switch("motors"), hold_ms(1000))],
    )
    play = Play(make_executor, plan)
    play.ticks(tick(s=12), tick(), tick(s=7), tick(switches="motors"), tick(), tick(s=12), *[tick()] * 3)
    assert play.truths(1) == "-TT" + "-" + "F" + "TTTT"
    assert play.causes() == ["reset", *[""] * 7, "guard 0"]


def test_a_held_phase_keeps_its_start_but_its_timeout_is_not_looked_at(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, held_in_place()).ticks(*[tick(switches="motors")] * 10, tick())
    assert play.causes() == ["reset", *[""] * 9, "timeout"]


def test_holds_of_anywhere_do_not_clear_on_entry_and_those_of_a_phase_do(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("a", GO), ("b", p.above("s", 0), hold_ms(30))]), Phase("b"), Phase("safe")]},
        signals=S,
        anywhere=[("safe", p.above("s", 0), hold_ms(50))],
    )
    play = Play(make_executor, plan).ticks(
        tick(s=1), tick(), tick(), tick(events="go"), tick(), tick(), tick()
    )
    assert play.causes() == ["reset", "", "", "guard 0", "", "", "anywhere 0"]


# -- several sequences -------------------------------------------------------------------------------------


def side_by_side() -> Plan:
    return make_plan(
        {
            "one": [Phase("stance", [("swing", p.in_phase("two", "swing"))]),
                    Phase("swing", [("stance", p.in_phase("two", "stance"))]),
                    Phase("safe", [("stance", GO)])],
            "two": [Phase("swing", [("stance", p.in_phase("one", "stance"))], count=["laps"]),
                    Phase(
                        "stance", [("swing", p.all_of(p.in_phase("one", "swing"), p.at_least("laps", 1)))]
                    ),
                    Phase("safe", [("swing", p.all_of(GO, p.not_(p.in_phase("one", "safe"))))])],
        },
        counters=["laps"],
        anywhere=[("safe", HALT)],
    )  # fmt: skip


def test_sequences_see_phases_as_they_stood_and_switch_together(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, side_by_side()).ticks(*[tick()] * 4)
    assert play.phases(0) == ["stance", "swing", "stance", "swing"]
    assert play.phases(1) == ["swing", "stance", "swing", "stance"]
    assert play.counter("laps") == [1, 1, 2, 2]


def test_anywhere_sends_each_sequence_to_its_own_phase_and_holds_those_already_there(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, side_by_side()).ticks(tick(), tick(events="halt"), tick(events="go"), tick())
    assert play.phases(0) == ["stance", "safe", "stance", "stance"]
    assert play.phases(1) == ["swing", "safe", "safe", "safe"]
    play.ticks(tick(events="halt"))
    assert play.phases(0)[-1] == play.phases(1)[-1] == "safe"
    assert play.causes(0)[-1] == "anywhere 0"
    assert play.causes(1)[-1] == ""


# -- rules that lead somewhere -----------------------------------------------------------------------------


def ruled() -> Plan:
    return make_plan(
        {
            "walk": [
                Phase("a", [("b", GO)], timeout=(200, "a")),
                Phase("b", [("a", GO)]),
                Phase("safe", [("a", GO)]),
                Phase("fault", [("a", GO)]),
                Phase("halted", [("a", GO)]),
            ]
        },
        signals=S,
        anywhere=[("halted", HALT)],
        rules=[
            Rule("note", p.below("s", 40)),
            Rule("first", p.below("s", 10), to="safe"),
            Rule("second", p.below("s", 20), to="fault"),
        ],
    )


def test_a_broken_rules_to_acts_in_the_tick_after(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ruled()).ticks(tick(s=0), tick(s=15), tick(s=0), tick())
    assert play.rule("first") == ["kept", "broken", "kept", "kept"]
    assert play.causes() == ["reset", "", "rule 1", ""]
    assert play.phases() == ["a", "a", "safe", "safe"]


def test_of_several_broken_rules_the_first_in_document_order_acts(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, ruled()).ticks(tick(s=0), tick(s=50), tick(s=0))
    assert [play.rule(r)[1] for r in ("note", "first", "second")] == ["broken"] * 3
    assert play.causes()[2] == "rule 1"


def test_a_broken_rule_comes_before_the_phases_guards_and_after_anywhere(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ruled()).ticks(tick(s=0), tick(s=15), tick(s=0, events="go"))
    assert play.causes()[2] == "rule 1"
    play = Play(make_executor, ruled()).ticks(tick(s=0), tick(s=15), tick(s=0, events="halt"), tick(), tick())
    assert play.causes() == ["reset", "", "anywhere 0", "", ""]  # dropped, not kept for later


def test_a_broken_rules_to_holds_those_already_there(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ruled()).ticks(tick(s=0), tick(s=15), *[tick(events="go")] * 3)
    assert play.phases()[2:] == ["safe"] * 3
    assert play.causes()[2:] == ["rule 1", "", ""]
    play.ticks(tick(s=0, events="go"), tick(events="go"))  # still broken in the tick before the first of them
    assert play.phases()[-2:] == ["safe", "a"]


def test_a_rule_broken_in_the_first_tick_acts_in_the_second(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ruled()).ticks(tick(s=15), tick(s=0))
    assert play.causes() == ["reset", "rule 1"]


def test_an_entry_that_is_only_true_does_not_keep_a_rule_from_acting(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {"walk": [Phase("a"), Phase("safe")]},
        signals=S,
        anywhere=[("a", p.above("s", 5), hold_ms(1000))],  # true, hold not met: holds the walk in `a`
        rules=[Rule("r", p.below("s", 10), to="safe")],
    )
    play = Play(make_executor, plan).ticks(tick(s=0), tick(s=15), tick())
    assert play.causes() == ["reset", "", "rule 0"]


def test_a_broken_rules_to_concerns_all_sequences(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {
            "one": [Phase("a", [("b", GO)]), Phase("b"), Phase("safe", [("a", GO)])],
            "two": [Phase("safe", [("a", GO)]), Phase("a", [("safe", HALT)])],
        },
        signals=S,
        rules=[Rule("r", p.below("s", 10), to="safe")],
    )
    play = Play(make_executor, plan).ticks(tick(s=0), tick(s=15), tick(events="go"), tick(s=0), tick())
    assert play.phases(0) == ["a", "a", "safe", "safe", "safe"]
    assert play.phases(1) == ["safe"] * 5  # held there: go is not looked at while the rule acts
    assert play.causes(0)[2:] == ["rule 0", "", ""]
    assert play.causes(1)[1:] == [""] * 4
    play.ticks(tick(events="go"))
    assert (play.phases(0)[-1], play.phases(1)[-1]) == ("a", "a")
