"""Step 9 of a tick: entry, targets, ramps; step 1: parameter writes."""

import numpy as np
import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.plans import Phase, make_plan, parameter, setpoint
from support.play import Play, tick

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Level, Plan

GO = p.event("go")


def ramped(target: p.Number, step: float | None, start: float = 0.0) -> Plan:
    return make_plan(
        {"walk": [Phase("rest", [("move", GO)]), Phase("move", set={"lean": target})]},
        setpoints=[setpoint("lean", step=step, start=start)],
    )


def go(play: Play, ticks: int) -> Play:
    return play.ticks(tick(), tick(events="go"), *[tick()] * (ticks - 1))


@pytest.mark.parametrize(
    ("target", "step", "start", "values"),
    [
        (1.0, None, 0.0, [1.0, 1.0]),  # without a rate at once
        (1.0, 0.25, 0.0, [0.25, 0.5, 0.75, 1.0, 1.0]),  # from the entry tick on
        (-1.0, 0.5, 0.0, [-0.5, -1.0, -1.0]),
        (1.0, 0.4, 0.0, [f32(0.4), f32(2 * f32(0.4)), 1.0, 1.0]),  # the last step is shorter
        (1.0, 5.0, 0.0, [1.0, 1.0]),
        (2.0, 0.5, 2.0, [2.0, 2.0]),
        (30.0, 15.0, 0.0, [15.0, 20.0, 20.0]),  # a target is clamped to the span of -20 to 20
        (-30.0, None, 0.0, [-20.0, -20.0]),
    ],
)
def test_a_ramp_moves_one_step_a_tick(
    make_executor: MakeExecutor, target: float, step: float | None, start: float, values: list[float]
) -> None:
    play = go(Play(make_executor, ramped(target, step, start)), len(values))
    assert play.setpoint("lean") == [start, *values]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_ramp_is_summed_in_binary32(make_executor: MakeExecutor, sign: int) -> None:
    play = go(Play(make_executor, ramped(sign * 15.0, 0.1)), 140)
    expected = np.add.accumulate(np.full(140, sign * 0.1, np.float32), dtype=np.float32)
    assert play.setpoint("lean")[1:] == expected.tolist()
    assert play.setpoint("lean")[-1] != sign * 14.0  # as binary64 would give when rounded


def test_a_late_tick_still_moves_one_step(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, ramped(1.0, 0.25)).ticks(tick(), tick(events="go"), tick(now=5000))
    assert play.setpoint("lean") == [0.0, 0.25, 0.5]


def test_a_phase_leaves_the_targets_that_it_does_not_set(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)], set={"x": 3, "y": 4}), Phase("b", set={"y": 1})]},
        setpoints=[setpoint("x"), setpoint("y")],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(events="go"))
    assert (play.target("x"), play.target("y")) == ([3.0, 3.0], [4.0, 1.0])


def test_a_counter_rises_on_entry_and_is_reset_on_entry(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)], count=["n"]), Phase("b", [("c", GO)], count=["n"]),
                  Phase("c", [("a", GO)], reset=["n"])]},
        counters=["n"],
    )  # fmt: skip
    play = Play(make_executor, plan).ticks(*[tick(events="go")] * 5, tick())
    assert play.counter("n") == [1, 2, 0, 1, 2, 2]


def test_a_counter_stays_at_65535(make_executor: MakeExecutor) -> None:
    plan = make_plan({"walk": [Phase("a", [("a", p.switch("motors"))], count=["n"])]}, counters=["n"])
    play = Play(make_executor, plan).ticks(*[tick(switches="motors")] * 65_537)
    assert play.counter("n")[-4:] == [65_534, 65_535, 65_535, 65_535]


def test_a_pulse_lasts_for_the_entry_tick(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {
            "one": [Phase("a", [("b", GO)], pulse=["horn"]), Phase("b", [("b", GO)], pulse=["lamp", "horn"])],
            "two": [Phase("x", [("y", GO)]), Phase("y", pulse=["bell"])],
        },
        pulses=["lamp", "horn", "bell"],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(), tick(events="go"), tick(), tick(events="go"))
    assert play.record.pulses.tolist() == [0b010, 0, 0b111, 0, 0b011]


# -- parameters --------------------------------------------------------------------------------------------

TRIMMED = make_plan(
    {
        "walk": [
            Phase("a", [("b", GO)], set={"lean": Level(None, 0), "fixed": 3}),
            Phase("b", [("a", GO)], set={"lean": Level(f32(0.1), 0, negated=True)}),
        ]
    },
    setpoints=[setpoint("lean"), setpoint("fixed"), setpoint("fast", step=1.0)],
    parameters=[parameter("angle", 5, 0, 30), parameter("speed", 1, -4, 4)],
)


def test_a_write_recomputes_the_target_that_was_last_set_from_it(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, TRIMMED).ticks(
        tick(), tick(writes=[("angle", 7)]), tick(writes=[("angle", 25)])
    )
    assert play.target("lean") == [5.0, 7.0, 20.0]  # the last one clamped
    assert play.target("fixed") == [3.0, 3.0, 3.0]
    play.ticks(tick(events="go"), tick(writes=[("angle", 2)]))
    plus = np.float32(0.1)
    assert play.target("lean")[-2:] == [-20.0, float(np.float32(-2) + plus)]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), -0.5, 30.5, 1e300])
def test_a_write_that_is_not_finite_or_out_of_span_is_refused_and_counted(
    make_executor: MakeExecutor, value: float
) -> None:
    play = Play(make_executor, TRIMMED).ticks(tick(), tick(writes=[("angle", value)]), tick())
    assert play.target("lean") == [5.0, 5.0, 5.0]
    assert play.record.refused == 1
    assert play.executor.parameters == (5.0, 1.0)  # type: ignore[attr-defined]


def test_writes_of_one_tick_are_taken_in_the_order_of_their_arrival(make_executor: MakeExecutor) -> None:
    writes = [("angle", 9), ("angle", 99), ("speed", 2), ("angle", 4)]
    play = Play(make_executor, TRIMMED).ticks(tick(), tick(writes=writes))
    assert play.target("lean") == [5.0, 4.0]
    assert play.executor.parameters == (4.0, 2.0)  # type: ignore[attr-defined]
    assert play.record.refused == 1


def test_writes_come_before_everything_else_of_their_tick(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", p.above("s", Level(None, 0)))]), Phase("b")]},
        signals=[p.signal("s")],
        parameters=[parameter("limit", 5)],
    )
    play = Play(make_executor, plan).ticks(tick(s=3), tick(), tick(writes=[("limit", 2)]))
    assert play.phases() == ["a", "a", "b"]


def test_a_rate_may_be_multiplied_by_a_parameter(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", set={"lean": 10})]},
        setpoints=[setpoint("lean", step=0.3, times=0)],
        parameters=[parameter("speed", 1.7, 0.5, 4)],
    )
    play = Play(make_executor, plan).ticks(*[tick()] * 5, tick(writes=[("speed", 0.7)]))
    step = np.float32(0.3) * np.float32(1.7)
    expected = np.add.accumulate(np.full(5, step, np.float32), dtype=np.float32)
    last = expected[-1] + np.float32(0.3) * np.float32(0.7)
    assert play.setpoint("lean") == [*expected.tolist(), float(last)]


def test_a_write_that_moves_the_target_moves_the_side_but_not_where_the_phase_began(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {"walk": [Phase("a", set={"lean": Level(None, 0)})]},
        signals=[p.signal("s")],
        setpoints=[setpoint("lean", step=0.5, followers=[(0, 0.0)])],
        parameters=[parameter("angle", 8)],
        rules=[p.Rule("r", p.reached("lean", 1))],
    )
    play = Play(make_executor, plan).ticks(
        tick(s=12), tick(writes=[("angle", -8)]), tick(writes=[("angle", 0)])
    )
    # rising to 8: 12 is past it; falling to -8: 12 is not there; nothing to travel: 12 is not at 0
    assert play.truths() == "TFF"
    assert play.margins() == [5.0, -19.0, -11.0]


def test_the_sign_of_a_negated_zero_stays_and_compares_like_zero(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", set={"lean": Level(None, 0, negated=True)}, stop=1)]},
        setpoints=[setpoint("lean", step=0.5)],
        parameters=[parameter("angle", 0)],
    )
    play = Play(make_executor, plan).ticks(tick())
    assert np.signbit(play.target("lean")[0])
    assert play.drives() == [0]  # the setpoint has arrived


def test_a_written_value_is_rounded_to_binary32_before_its_span_is_judged(
    make_executor: MakeExecutor,
) -> None:
    # 0.3 in binary32 is 0.300000011920929; 0.300000012 is above that and rounds to it
    plan = make_plan({"walk": [Phase("a")]}, parameters=[parameter("p", 0, -1, 0.3)])
    play = Play(make_executor, plan).ticks(tick(writes=[("p", 0.300000012)]))
    assert play.record.refused == 0
    assert play.executor.parameters == (0.30000001192092896,)  # type: ignore[attr-defined]
    play.ticks(tick(writes=[("p", 0.30000003)]))
    assert play.record.refused == 1


def test_a_write_at_either_end_of_the_span_is_taken(make_executor: MakeExecutor) -> None:
    plan = make_plan({"walk": [Phase("a")]}, parameters=[parameter("p", 0, -1, 2), parameter("q", 0, -1, 2)])
    play = Play(make_executor, plan).ticks(tick(writes=[("p", -1), ("q", 2)]))
    assert play.record.refused == 0
    assert play.executor.parameters == (-1.0, 2.0)  # type: ignore[attr-defined]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_step_that_just_reaches_the_target_gives_the_target(make_executor: MakeExecutor, sign: int) -> None:
    # in binary32, 1 - -4e-8 is 1, no more than a step away, but -4e-8 + 1 is 0.99999994
    start = np.float32(-4e-8 * sign)
    assert np.float32(sign) - start == sign != start + np.float32(sign)
    plan = make_plan(
        {"walk": [Phase("a", set={"x": sign})]}, setpoints=[setpoint("x", step=1.0, start=float(start))]
    )
    assert Play(make_executor, plan).ticks(tick()).setpoint("x") == [float(sign)]
