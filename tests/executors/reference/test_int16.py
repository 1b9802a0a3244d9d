"""The tick in whole steps, at its ends: what saturates, what is no number, ways of 16 bits, the border."""

from dataclasses import replace

import numpy as np
from support.executors import MakeExecutor
from support.loops import loop, output
from support.plans import (
    Phase,
    above,
    all_of,
    any_of,
    at_least,
    at_target,
    below,
    event,
    lost,
    make_plan,
    parameter,
    reached,
    setpoint,
    signal,
)
from support.play import Play, tick

from sequencer.base.binary32 import load_f32
from sequencer.plan.fixed import in_int16
from sequencer.plan.resolutions import Given
from sequencer.plan.tables import Believe, Level, Plan


def whole(plan: Plan, size: float = 0.01) -> Plan:
    """Count everything in steps of one size."""
    size = load_f32(size)
    given = {("signal", i): Given(size, s.place) for i, s in enumerate(plan.signals)}
    given |= {("setpoint", i): Given(size, s.place) for i, s in enumerate(plan.setpoints)}
    found, problems = in_int16(plan, given)  # type: ignore[arg-type]
    assert problems == [], problems
    return found


LISTENS = whole(
    make_plan(
        {"walk": [Phase("rest")]},
        signals=[
            signal("tilt", low=-45.0, high=45.0),
            signal("pot", gain=load_f32(60 / 759), bias=load_f32(-102 * 60 / 759), low=0.0, high=60.0,
                   scaled=True, believe=Believe("counts", 20.0, 1003.0)),
            signal("zeroed", bias=load_f32(-0.6)),
        ],
    )
)  # fmt: skip


def test_a_value_stays_at_the_end_of_16_bits_and_counts_as_outside(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LISTENS).ticks(
        tick(raw={"tilt": 327.67}), tick(raw={"tilt": 5000.0}), tick(raw={"tilt": -3.0e38}), tick(tilt=1e9)
    )
    end = float(np.float32(32767) * np.float32(0.01))
    assert play.signal("tilt") == [end, end, -end, end]
    assert play.totals("tilt") == (0, 0, 4)


def test_a_zero_does_not_wrap_at_the_end(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LISTENS).ticks(tick(raw={"zeroed": -327.67}), tick(raw={"zeroed": 327.67}))
    steps = [round(value / 0.01) for value in play.signal("zeroed")]
    assert steps == [-32767, 32707]


def test_a_zero_that_a_parameter_gives_is_subtracted_before_the_end_of_16_bits(
    make_executor: MakeExecutor,
) -> None:
    plan = whole(
        make_plan(
            {"walk": [Phase("rest")]},
            signals=[replace(signal("tilt"), zero_from=0)],
            parameters=[parameter("zero", 1.5, -5, 5)],
        )
    )
    play = Play(make_executor, plan).ticks(
        tick(raw={"tilt": 10.0}), tick(raw={"tilt": 10.0}, writes=[("zero", -2.004)]), tick(tilt=10.0),
        tick(raw={"tilt": 327.0}), tick(raw={"tilt": -327.0}, writes=[("zero", 4.0)]),
    )  # fmt: skip
    assert [round(value / 0.01) for value in play.signal("tilt")] == [850, 1200, 1000, 32767, -32767]


def test_a_reading_that_is_no_number_is_bad_and_not_fresh(make_executor: MakeExecutor) -> None:
    nan, infinity = float("nan"), float("inf")
    play = Play(make_executor, LISTENS).ticks(
        tick(tilt=3), tick(tilt=nan), tick(raw={"tilt": infinity}), tick(raw={"tilt": -infinity})
    )
    assert play.signal("tilt") == [float(np.float32(3))] * 4
    assert play.totals("tilt") == (3, 0, 0)


def test_a_scale_in_whole_numbers_gives_the_nearest_steps(make_executor: MakeExecutor) -> None:
    raws = [102.0, 103.0, 480.0, 481.4, 777.0, 861.0]
    play = Play(make_executor, LISTENS).ticks(*(tick(raw={"pot": raw}) for raw in raws))
    exact = [(round(raw) - 102) * 60 / 759 / 0.01 for raw in raws]  # worked out in binary64
    assert [round(value / 0.01) for value in play.signal("pot")] == [round(x) for x in exact]


def test_counts_outside_what_is_believed_are_not_fresh(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LISTENS).ticks(
        tick(raw={"pot": 1003.4}),
        tick(raw={"pot": 1003.5}),
        tick(raw={"pot": 19.4}),
        tick(raw={"pot": 99999.0}),
    )
    assert play.totals("pot") == (0, 3, 1)


def test_a_tie_between_two_steps_is_decided_away_from_zero(make_executor: MakeExecutor) -> None:
    plan = whole(
        make_plan(
            {
                "walk": [
                    Phase("rest", [("go", above("tilt", 5.0))]),
                    Phase("go", [("rest", below("tilt", -5.0))]),
                ]
            },
            signals=[signal("tilt")],
        ),
        0.25,
    )
    play = Play(make_executor, plan).ticks(
        tick(), tick(tilt=5.124), tick(tilt=5.125), tick(tilt=-5.124), tick(tilt=-5.125)
    )
    assert play.phases() == ["rest", "rest", "go", "go", "rest"]


def test_a_ramp_over_a_distance_of_16_bits_goes_the_right_way(make_executor: MakeExecutor) -> None:
    plan = whole(
        make_plan(
            {
                "walk": [
                    Phase("rest", [("up", event("go"))], set={"y": -327.66}),
                    Phase("up", [("rest", event("go"))], set={"y": 327.66}),
                ]
            },
            setpoints=[setpoint("y", step=300.0, low=-327.66, high=327.66, start=-327.66)],
        )
    )
    play = Play(make_executor, plan).ticks(
        tick(), tick(events="go"), tick(), tick(), tick(events="go"), tick(), tick()
    )
    assert [round(value / 0.01) for value in play.setpoint("y")] == [
        -32766, -2766, 27234, 32766, 2766, -27234, -32766,
    ]  # fmt: skip


def test_followers_may_be_at_the_ends_of_16_bits(make_executor: MakeExecutor) -> None:
    plan = whole(
        make_plan(
            {
                "walk": [
                    Phase("rest", [("near", at_target("y", 2.0))], set={"y": 20.0}),
                    Phase("near", [("rest", reached("y", 2.0))], set={"y": -20.0}),
                ]
            },
            signals=[signal("x")],
            setpoints=[setpoint("y", followers=[(0, 0.0)])],
        )
    )
    play = Play(make_executor, plan).ticks(
        tick(), tick(x=-400.0), tick(x=400.0), tick(x=22.01), tick(x=22.0), tick(x=-17.99), tick(x=-18.0)
    )
    assert play.phases() == ["rest", "rest", "rest", "rest", "near", "near", "rest"]


def test_a_written_parameter_is_rounded_then_judged(make_executor: MakeExecutor) -> None:
    plan = whole(
        make_plan(
            {"walk": [Phase("rest", set={"y": Level(1.0, 0)})]},
            setpoints=[setpoint("y")],
            parameters=[parameter("p", 5, 0, 10)],
        )
    )
    writes = [10.004, 10.006, -0.004, float("nan"), 1e30, 2.5]
    play = Play(make_executor, plan).ticks(tick(), *(tick(writes=[("p", value)]) for value in writes))
    assert [round(value / 0.01) for value in play.setpoint("y")] == [600, 1100, 1100, 100, 100, 100, 350]
    assert play.record.refused == 3


def test_margins_are_steps_times_resolution(make_executor: MakeExecutor) -> None:
    leaves = all_of(at_least("x", 5.0), any_of(lost("x"), below("x", 9.0)))
    walk = {"walk": [Phase("rest", [("rest", leaves)])]}
    plan = whole(make_plan(walk, signals=[signal("x", lost_after_ms=100)]))
    play = Play(make_executor, plan).ticks(tick(), tick(x=4.994), tick(x=5.0))
    hundredth = np.float32(0.01)
    assert play.margins(0)[1:] == [float(np.float32(-1) * hundredth), 0.0]
    assert play.margins(2)[2] == float(np.float32(400) * hundredth)


def test_a_loop_reads_steps_times_resolution(make_executor: MakeExecutor) -> None:
    plan = whole(
        make_plan(
            {"walk": [Phase("rest", set={"y": 3.33})]},
            signals=[signal("x")],
            setpoints=[setpoint("y")],
            loops=[loop("hip", gains=(0.1, 0, 0), low=-9.0, high=9.0)],
            outputs=[output("motor", low=-9.0, high=9.0)],
        )
    )
    play = Play(make_executor, plan).ticks(tick(x=1.118))
    f = np.float32
    error = f(333) * f(0.01) - f(112) * f(0.01)
    assert play.output("motor") == [float(f(0.1) * error)]
