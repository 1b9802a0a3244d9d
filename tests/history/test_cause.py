"""What a wait lacked, in numbers and in words."""

import math
from collections.abc import Mapping

import pytest
from support import plans as p
from support.plans import Expr, Phase, hold_ms, hold_samples, make_plan, setpoint, signal
from support.play import Tick, tick
from support.stork import stork_plan
from support.walks_by_hand import record

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.cause import Wait, cause_words, move_words, timeouts, waits_at_end
from sequencer.history.drive import drive_closed_loop
from sequencer.history.recorder import Recorder
from sequencer.history.run import Run
from sequencer.history.summary import summary
from sequencer.plan.tables import Level, Plan
from sequencer.trace.follow import FollowOptions, FollowPlant

GO, HALT = p.event("go"), p.event("halt")
AB = [signal("a", lost_after_ms=30), signal("b", unit="mm", lost_after_ms=30)]


def timed_out(
    *guards: Expr | tuple[Expr, p.HoldSpec],
    ticks: list[Tick],
    targets: Mapping[str, float] | None = None,
    **more: object,
) -> Wait:
    """Wait 50 ms for guards that do not fire."""
    leave = [("done", *(g if isinstance(g, tuple) else (g,))) for g in guards]
    phases = [Phase("wait", leave, timeout=(50, "late"), set=targets or {}), Phase("done"), Phase("late")]
    plan = make_plan({"walk": phases}, **{"signals": AB, **more})  # type: ignore[arg-type]
    (wait,) = timeouts(record(plan, ticks))
    return wait


def a(*values: float) -> list[Tick]:
    return [tick(a=v) for v in values]


@pytest.mark.parametrize(
    ("guard", "words"),
    [
        (p.above("a", 9), "a to rise above 9 deg; best 7.5 deg at 0.03 s, 1.5 deg short"),
        (p.at_least("a", 8), "a to be at least 8 deg; best 7.5 deg at 0.03 s, 0.5 deg short"),
        (p.below("a", -2), "a to fall below -2 deg; best 1 deg at 0.01 s, 3 deg short"),
        (p.at_most("a", 0), "a to be at most 0 deg; best 1 deg at 0.01 s, 1 deg short"),
        (p.within("a", 9, 12), "a to come within 9 deg to 12 deg; best 7.5 deg at 0.03 s, 1.5 deg short"),
        (p.outside("a", -1, 8), "a to leave -1 deg to 8 deg; best 7.5 deg at 0.03 s, 0.5 deg short"),
        (p.not_(p.above("a", -4)), "a to fall to -4 deg; best 1 deg at 0.01 s, 5 deg short"),
        (p.not_(p.within("a", 0, 8)), "a to leave 0 deg to 8 deg; best 7.5 deg at 0.03 s, 0.5 deg short"),
        (p.above("a", 7.5), "a to rise above 7.5 deg; best 7.5 deg at 0.03 s, just at it"),
    ],
)
def test_the_best_value_and_what_was_missing(guard: Expr, words: str) -> None:
    wait = timed_out(guard, ticks=a(99, 1, 4, 7.5, 6, 5))  # what the entry tick says is not looked at
    assert wait.words == f"wait timed out after 50 ms: guard 1 waited for {words}"
    (part,) = wait.guards[0].missing
    assert (part.ticks, part.met) == (5, 0)
    assert part.short_by is not None
    assert math.isclose(
        part.short_by, float(words.split(", ")[1].split(maxsplit=1)[0]) if "short" in words else 0
    )


def test_of_several_comparisons_the_one_that_was_missing_is_named() -> None:
    guard = p.all_of(p.above("a", 5), p.below("b", 2))
    ticks = [tick(a=1, b=9), *[tick(a=6, b=x) for x in (8, 4.5, 3, 3.5, 4)]]
    wait = timed_out(guard, ticks=ticks)
    assert [part.leaf for part in wait.guards[0].missing] == [1]
    assert "waited for b to fall below 2 mm; best 3 mm at 0.03 s, 1 mm short" in wait.words
    assert " a " not in wait.words.split("waited for")[1]


def test_the_one_that_was_missing_longest_comes_first() -> None:
    guard = p.all_of(p.above("a", 5), p.below("b", 2))
    ticks = [tick(a=6, b=9), tick(a=6, b=9), tick(a=6), tick(a=6), tick(a=1), tick(a=1)]
    wait = timed_out(guard, ticks=ticks)
    assert [part.leaf for part in wait.guards[0].missing] == [1, 0]
    assert (
        "; and for a to rise above 5 deg; best 6 deg at 0.01 s, but no longer so after 0.03 s" in wait.words
    )


def test_a_guard_that_was_true_but_not_for_long_enough() -> None:
    wait = timed_out((p.above("a", 5), hold_ms(40)), ticks=a(0, 6, 6, 4, 6, 6))
    assert "guard 1 was true, but not for 40 ms (longest 10 ms): a is above 5 deg, for 40 ms" in wait.words
    wait = timed_out(
        (p.above("a", 5), hold_samples(3)), ticks=[tick(), tick(a=6), tick(), tick(), tick(a=6), tick()]
    )
    assert "but not for 3 fresh samples (longest 40 ms)" in wait.words


def test_a_signal_that_was_lost_or_never_fresh_is_named() -> None:
    wait = timed_out(p.above("a", 5), ticks=[tick(a=1), *[tick()] * 5])
    assert (
        "a to rise above 5 deg; a was lost, silent since 0.00 s; best 1 deg at 0.01 s, 4 deg short"
        in wait.words
    )
    wait = timed_out(p.above("a", 5), ticks=[tick()] * 6)
    assert "a to rise above 5 deg; a was never fresh" in wait.words
    assert wait.guards[0].missing[0].best is None


def test_a_threshold_that_is_a_parameter_is_named_with_its_value() -> None:
    guard = p.above("a", Level(None, 0))
    parameters = [p.parameter("limit", 9)]
    wait = timed_out(guard, ticks=a(0, 1, 2, 3, 3, 3), parameters=parameters)
    assert "a to rise above limit (9 deg); best 3 deg at 0.03 s, 6 deg short" in wait.words
    ticks = [tick(writes=[("limit", 11)]), *a(1, 2, 3, 3, 3)]
    wait = timed_out(guard, ticks=ticks, parameters=parameters)
    assert "a to rise above limit (11 deg); best 3 deg at 0.03 s, 8 deg short" in wait.words


@pytest.mark.parametrize(
    ("guard", "target", "words"),
    [
        (p.reached("lean", 2), 10.0, "a to come within 2 deg of 13 deg; best 9 deg at 0.04 s, 2 deg short"),
        (p.at_target("lean", 2), 10.0, "a to be within 2 deg of 13 deg; best 9 deg at 0.04 s, 2 deg short"),
        (
            p.reached("lean", 2),
            -20.0,
            "a to come within 2 deg of -17 deg; best 5 deg at 0.01 s, 20 deg short",
        ),
    ],
)
def test_of_several_followers_the_one_that_was_farthest_is_named(
    guard: Expr, target: float, words: str
) -> None:
    ticks = [tick(a=4, c=0), *[tick(a=x, c=y) for x, y in ((5, -8), (6, 6), (8, 6), (9, 6), (7, 6))]]
    wait = timed_out(
        guard, ticks=ticks, signals=[AB[0], signal("c")], targets={"lean": target},
        setpoints=[setpoint("lean", step=1.0, followers=[(0, 3.0), (1, -4.0)])],
    )  # fmt: skip
    assert words in wait.words


def test_a_follower_that_is_past_its_place_is_not_the_farthest() -> None:
    wait = timed_out(
        p.reached("lean", 2), ticks=[tick(a=4, c=0), *[tick(a=9, c=40)] * 5], signals=[AB[0], signal("c")],
        targets={"lean": 10}, setpoints=[setpoint("lean", step=1.0, followers=[(0, 3.0), (1, -4.0)])],
    )  # fmt: skip
    assert "a to come within 2 deg of 13 deg; best 9 deg at 0.01 s, 2 deg short" in wait.words


def test_what_the_phase_after_sets_and_counts_does_not_colour_the_wait() -> None:
    # the best is in the last tick, whose record already shows the next phase's target and count
    plan = make_plan(
        {
            "walk": [
                Phase(
                    "x",
                    [("x", p.at_target("lean", 1)), ("x", p.at_least("n", 3))],
                    (30, "y"),
                    set={"lean": 9},
                ),
                Phase("y", set={"lean": -9}, count=["n"]),
            ]
        },
        signals=AB,
        setpoints=[setpoint("lean", followers=[(0, 0.0)])],
        counters=["n"],
    )
    (wait,) = timeouts(record(plan, a(1, 2, 3, 4, 4)))
    assert "a to be within 1 deg of 9 deg; best 4 deg at 0.03 s, 4 deg short" in wait.words
    assert "n to be at least 3; best 0 at 0.01 s, 3 short" in wait.words
    (wait,) = timeouts(record(plan, a(1, 2, 3, 4)))
    assert "best 4 deg at 0.03 s, 4 deg short" in wait.words


def test_a_counter_has_the_value_that_the_guard_saw() -> None:
    # the other sequence counts in every tick, also in that of the timeout, after the guards were looked at
    plan = make_plan(
        {
            "one": [Phase("x", [("x", p.at_least("n", 5))], (30, "y")), Phase("y")],
            "two": [Phase("z", [("z", GO)], count=["n"])],
        },
        counters=["n"],
    )
    run = record(plan, [tick(events="go")] * 4)
    assert run.history is not None
    assert run.history.counter[:, 0].tolist() == [1, 2, 3, 4]
    part = timeouts(run)[0].guards[0].missing[0]
    assert (part.best, part.best_ms, part.short_by) == (3, 30, 2)


def test_a_counter_a_switch_another_sequence_and_lost_are_named() -> None:
    two = p.all_of(p.in_phase("two", "x"), p.not_(p.in_phase("two", "y")))
    guard = p.all_of(p.at_least("n", 3), p.switch("motors"), two, p.lost("a"))
    plan = make_plan(
        {"one": [Phase("wait", [("wait", guard)])], "two": [Phase("y", count=["n"]), Phase("x")]},
        signals=AB,
        counters=["n"],
    )
    wait, _ = waits_at_end(record(plan, [tick(a=1), tick(), tick()]))
    assert wait.words == (
        "one: wait was still waiting after 20 ms: guard 1 waited for n to be at least 3;"
        " best 1 at 0.01 s, 2 short; and for motors to be on;"
        " and for two to be in x; and for two not to be in y; and for a to be lost"
    )


def test_what_only_the_operator_can_do_is_named_only_if_there_is_nothing_else() -> None:
    wait = timed_out(p.above("a", 5), GO, ticks=a(1, 1, 1, 1, 1, 1))
    assert [guard.operator for guard in wait.guards] == [False, True]
    assert "go" not in wait.words
    wait = timed_out(GO, ticks=a(1, 1, 1, 1, 1, 1))
    assert wait.words.endswith("guard 1 waited for go to come")


def test_several_guards_are_told_in_order() -> None:
    wait = timed_out(p.above("a", 5), p.below("a", -5), ticks=a(1, 1, 1, 1, 1, 1))
    assert wait.words.index("guard 1 waited for a to rise") < wait.words.index("guard 2 waited for a to fall")


def test_without_detail_the_guard_is_still_told() -> None:
    plan = make_plan(
        {"walk": [Phase("wait", [("wait", p.above("a", 5))], timeout=(20, "late")), Phase("late")]},
        signals=AB,
    )
    (wait,) = timeouts(record(plan, a(0, 0, 0), detail=False))
    assert wait.words == "wait timed out after 20 ms: guard 1 did not fire: a is above 5 deg"
    assert wait.guards[0].parts is None


def test_a_phase_entered_in_the_last_tick_has_waited_for_nothing_yet() -> None:
    plan = make_plan({"walk": [Phase("a", [("b", GO)]), Phase("b", [("a", p.above("a", 5))])]}, signals=AB)
    (wait,) = waits_at_end(record(plan, [tick(a=1), tick(events="go")]))
    assert wait.words == "b was still waiting after 0 ms: guard 1 was not looked at: a is above 5 deg"


def test_causes_and_moves_in_words() -> None:
    plan = make_plan(
        {
            "walk": [
                Phase("a", [("b", GO)]),
                Phase("b", timeout=(20, "c")),
                Phase("c"),
                Phase("d"),
                Phase("safe"),
            ]
        },
        signals=AB,
        anywhere=[("safe", HALT)],
        rules=[p.Rule("level", p.below("a", 5), to="d")],
    )
    ticks = [tick(), tick(events="go"), tick(), tick(a=9), tick(a=0), tick(events="halt")]
    run = record(plan, ticks)
    assert [cause_words(plan, move) for move in run.transitions] == [
        "reset",
        "guard 1: go comes",
        "timeout after 20 ms",
        "broken rule level: a is below 5 deg",
        "anywhere 1: halt comes",
    ]
    assert move_words(plan, run.transitions[1]) == "0.01 s  a -> b, guard 1: go comes"


# -- a whole walk ------------------------------------------------------------------------------------------


def walked(options: FollowOptions, ticks: int = 1500) -> Run:
    plan = stork_plan()
    recorder = Recorder(plan, keep_ticks=True)
    plant = FollowPlant(plan, options)
    return drive_closed_loop(ReferenceExecutor(plan), plant, ticks, recorder, detail=True)


def test_a_leg_that_never_reaches_its_tilt_is_found_with_what_it_fell_short() -> None:
    # the left leg gets no farther than 11.4 deg; for a lean of 15 deg it stands at 17, 15 is enough
    (wait,) = timeouts(walked(FollowOptions(noise=False, limit={"left_leg_roll": 11.4})))
    assert wait.phase_name == "lean_right"
    (part,) = wait.guards[0].missing
    assert part.best == pytest.approx(11.4, abs=1e-4)
    assert part.short_by == pytest.approx(17 - 2 - 11.4, abs=1e-4)
    assert wait.words.startswith(
        "lean_right timed out after 5.0 s: guard 1 waited for left_leg_roll to come within 2 deg of 17 deg;"
        " best 11.4 deg"
    )
    assert wait.words.endswith("3.6 deg short")


def test_a_sensor_that_dies_is_found() -> None:
    # on the way back to 0, where the right leg stands at -2 deg
    (wait,) = timeouts(walked(FollowOptions(noise=False, dies_at_ms={"right_leg_roll": 4000})))
    lacked = "right_leg_roll to come within 2 deg of -2 deg; right_leg_roll was lost, silent since 3.99 s"
    assert f"guard 1 waited for {lacked}; best 1.4 deg at 3.99 s, 1.4 deg short" in wait.words


def test_a_follower_that_was_there_before_it_fell_silent() -> None:
    wait = timed_out(
        p.at_target("lean", 2), ticks=[tick(a=1, c=9), *[tick(a=1)] * 3, *[tick(a=9)] * 2],
        signals=[AB[0], signal("c", lost_after_ms=30)], targets={"lean": 9},
        setpoints=[setpoint("lean", followers=[(0, 0.0), (1, 0.0)])],
    )  # fmt: skip
    assert (
        "c to be within 2 deg of 9 deg; c was lost, silent since 0.00 s; best 9 deg at 0.01 s, enough"
        in wait.words
    )


# -- which part was the reason -----------------------------------------------------------------------------

ON = p.switch("motors")


def watched_plan() -> Plan:
    """The operator's ways to stop, a tilt that may be lost, and a rule with two parts."""
    stop = p.any_of(HALT, p.not_(ON), p.lost("a"), p.outside("a", -25, 25))
    phases = [
        Phase("a", [("b", p.any_of(GO, p.all_of(p.above("a", 20), p.event("nudge"))))]),
        Phase("b", [("a", p.not_(p.all_of(p.below("a", 20), ON)))]),
        Phase("safe", stop=0),
    ]
    rule = p.Rule("level", p.all_of(p.below("a", 30), p.above("b", -5)), p.in_phase("walk", "b"), to="a")
    events = ("go", "halt", "nudge")
    return make_plan({"walk": phases}, signals=AB, events=events, anywhere=[("safe", stop)], rules=[rule])


def on(events: str = "", **values: float) -> Tick:
    return tick(events=events, switches="motors", **values)


@pytest.mark.parametrize(
    ("ticks", "words"),
    [
        ([tick(a=0)], "anywhere 1: motors was off"),
        ([on("halt", a=0)], "anywhere 1: halt came"),
        ([on("halt", a=30)], "anywhere 1: halt came and a was outside -25 deg to 25 deg"),
        ([on(), on(), on(), on()], "anywhere 1: a was lost"),
        ([on("go", a=0)], "guard 1: go came"),
        ([on("nudge", a=21)], "guard 1: a was above 20 deg and nudge came"),
        ([on("go", a=21), on(a=21)], "guard 1: a was at least 20 deg"),
        (
            [on("go", a=0, b=0), on(a=0, b=-6), on(a=0, b=-6)],
            "broken rule level: walk was in b and b was at most -5 mm",
        ),
    ],
)
def test_the_part_that_was_the_reason_is_named(ticks: list[Tick], words: str) -> None:
    plan = watched_plan()
    run = record(plan, [on(a=0, b=0), *ticks])
    assert run.history is not None
    assert cause_words(plan, run.transitions[-1], run.history.detail) == words


def test_without_detail_the_whole_guard_is_told() -> None:
    run = record(watched_plan(), [on(a=0), tick(a=0)], detail=False)
    words = "anywhere 1: halt comes or motors is off or a is lost or a is outside -25 deg to 25 deg"
    assert cause_words(run.plan, run.transitions[-1]) == words
    (fault,) = summary(run).faults
    assert fault.words == f"stopped in safe, {words}"


def test_a_stop_and_a_broken_rule_tell_their_part() -> None:
    run = record(watched_plan(), [on(a=0, b=0), on("go", a=0, b=-6), on(a=0, b=-6), tick(a=0, b=0)])
    assert [fault.words for fault in summary(run).faults] == [
        "rule level was broken for 10 ms: walk was in b and b was at most -5 mm",
        "stopped in safe, anywhere 1: motors was off",
    ]


def test_a_guard_that_was_held_back_says_by_what() -> None:
    phases = [Phase("safe", [("a", GO)], stop=0), Phase("a")]
    plan = make_plan({"walk": phases}, anywhere=[("safe", p.any_of(HALT, p.not_(ON)))])
    (wait,) = waits_at_end(record(plan, [tick(), tick(), tick()]))
    words = "guard 1 was not looked at, for anywhere 1 held it (motors was off): go comes"
    assert wait.guards[0].words == words
