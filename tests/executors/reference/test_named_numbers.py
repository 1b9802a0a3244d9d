"""Numbers that parameters give: what a write changes, and when. The figures are worked out by hand."""

from typing import Any

import numpy as np
import pytest
from support.executors import MakeExecutor
from support.loops import loop, output
from support.plans import Phase, make_plan, parameter, signal
from support.play import Play, tick

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Believe, Plan, Term

ON = (Term(None, 0.0),)  # a reference of 0: a loop gives -kp * y


def rig(value: float, least: float, most: float, **of_loop: Any) -> Plan:
    """Make a rig of one loop on signal y, some of whose numbers the parameter n gives."""
    of_loop = {"terms": ON, "low": -100.0, "high": 100.0, **of_loop}
    return make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("y")],
        parameters=[parameter("n", value, least, most)],
        loops=[loop("l", **of_loop)],
        outputs=[output("m", low=-100.0, high=100.0)],
    )


def test_a_trimmed_kp_acts_in_the_tick_of_its_write(make_executor: MakeExecutor) -> None:
    plan = rig(0.5, 0, 2, gains=(1.0, 0, 0), kp_times=0)
    play = Play(make_executor, plan)
    play.ticks(tick(y=-3), tick(y=-3, writes=[("n", 2.0)]), tick(y=-3), tick(y=-3, writes=[("n", 3.0)]))
    assert play.loop("l") == [1.5, 6.0, 6.0, 6.0]  # 3 is outside the span: refused


def test_a_named_ki_is_multiplied_by_the_period_at_run_time(make_executor: MakeExecutor) -> None:
    h, ki = f32(0.01), f32(0.7)
    plan = rig(0.7, 0, 5, gains=(0.0, h, 0), bi_times=0, br=0.0)
    play = Play(make_executor, plan).ticks(*[tick(y=-3)] * 3)
    once = f32(f32(h * ki) * 3.0)
    assert once != f32(f32(0.01 * 0.7) * 3.0), "folding at load would have given another number"
    assert play.loop("l") == [0.0, once, f32(once + once)]


def test_an_integral_is_empty_while_its_ki_is_0(make_executor: MakeExecutor) -> None:
    plan = rig(1.0, 0, 5, gains=(0.0, 1.0, 0), bi_times=0, br=0.0)
    play = Play(make_executor, plan)
    play.ticks(tick(y=-1), tick(y=-1), tick(y=-1, writes=[("n", 0.0)]), tick(y=-1))
    assert play.loop("l") == [0.0, 1.0, 0.0, 0.0]
    play.ticks(tick(y=-1, writes=[("n", 2.0)]), tick(y=-1))  # goes on from nothing
    assert play.loop("l")[4:] == [0.0, 2.0]


def test_without_ki_a_limit_leaves_nothing_behind_in_the_integral(make_executor: MakeExecutor) -> None:
    plan = rig(0.0, 0, 5, gains=(1.0, 1.0, 0), bi_times=0, br=1.0, low=-1.0, high=1.0)
    play = Play(make_executor, plan).ticks(tick(y=-9), tick(y=-9), tick(y=-0.5))
    assert play.loop("l") == [1.0, 1.0, 0.5]  # back-calculation would have left -8 in it


@pytest.mark.parametrize(("ki", "jump"), [(1.0, 0.0), (0.0, 3.0)])
def test_a_loop_starts_without_a_bump_only_while_it_has_a_ki(
    make_executor: MakeExecutor, ki: float, jump: float
) -> None:
    plan = rig(ki, 0, 5, gains=(1.0, 0.01, 0), bi_times=0, br=0.0, bumpless=True)
    assert Play(make_executor, plan).ticks(tick(y=-3)).loop("l") == [jump]


def test_a_named_kd_is_multiplied_by_its_weight(make_executor: MakeExecutor) -> None:
    weight, kd = f32(100 / 3), f32(0.7)
    plan = rig(0.7, 0, 2, gains=(0.0, 0, weight), bd_times=0, ad=0.0)
    play = Play(make_executor, plan)
    play.ticks(tick(y=0), tick(y=-0.5), tick(y=-1, writes=[("n", 0.0)]), tick(y=-2, writes=[("n", 1.0)]))
    assert play.loop("l") == [0.0, f32(f32(weight * kd) * 0.5), 0.0, weight]


def test_a_named_limit_holds_either_way_and_goes_down_to_nothing(make_executor: MakeExecutor) -> None:
    plan = rig(4.0, 0, 5, gains=(1.0, 0, 0), limit_from=0)
    play = Play(make_executor, plan)
    play.ticks(tick(y=-9), tick(y=9), tick(y=9, writes=[("n", 0.5)]), tick(y=-9, writes=[("n", 0.0)]))
    assert play.loop("l") == [4.0, -4.0, -0.5, 0.0]


# -- zero ---------------------------------------------------------------------------------------------------


def scale(**changes: Any) -> Plan:
    """Make a signal of 2 per count, less 1 at no counts, whose zero is the parameter n."""
    its = signal("y", gain=2.0, bias=-1.0, low=-10.0, high=10.0, zero_from=0, **changes)
    walk = {"walk": [Phase("rest")]}
    return make_plan(walk, signals=[its], parameters=[parameter("n", 0.5, -1.0, 1.0)])


def test_a_named_zero_is_subtracted_after_gain_and_bias(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, scale())
    play.ticks(tick(raw={"y": 3}), tick(raw={"y": 3}, writes=[("n", -0.25)]), tick(y=3))
    assert play.signal("y") == [4.5, 5.25, 3.0]  # a value is in the signal's unit already: nothing applies


def test_each_step_of_it_is_rounded_on_its_own(make_executor: MakeExecutor) -> None:
    raw = f32(1.0 / 3.0)
    plan = scale()
    play = Play(make_executor, plan).ticks(tick(raw={"y": raw}, writes=[("n", 0.1)]))
    assert play.signal("y") == [f32(f32(f32(raw * 2.0) - 1.0) - f32(0.1))]


def test_a_value_is_judged_after_its_zero(make_executor: MakeExecutor) -> None:
    plan = scale(believe=Believe("reads", -8.0, 8.0))
    play = Play(make_executor, plan)
    play.ticks(tick(raw={"y": 4.75}))  # 8.5 - 0.5: just believed
    play.ticks(tick(raw={"y": 4.75}, writes=[("n", 0.25)]), tick(raw={"y": 4.75}, writes=[("n", 1.0)]))
    assert play.states("y") == ["sf", "s", "sf"]
    assert play.totals("y") == (0, 1, 0)


def test_what_is_outside_the_span_is_told_after_the_zero(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, scale()).ticks(tick(raw={"y": 5.75}), tick(raw={"y": 5.751}))
    assert play.totals("y") == (0, 0, 1)


def test_a_sample_that_the_zero_takes_beyond_all_numbers_is_bad(make_executor: MakeExecutor) -> None:
    largest = float(np.finfo(np.float32).max)
    plan = make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("y", zero_from=0)],
        parameters=[parameter("n", -largest, -largest, 0.0)],
    )
    assert Play(make_executor, plan).ticks(tick(raw={"y": largest})).totals("y") == (1, 0, 0)


# -- cap ----------------------------------------------------------------------------------------------------


def capped(**changes: Any) -> Plan:
    return make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("y")],
        parameters=[parameter("n", 0.5, 0.0, 1.0)],
        loops=[loop("l", gains=(1.0, 0, 0), terms=ON, low=-9.0, high=9.0)],
        outputs=[output("m", **changes)],
    )


def test_a_cap_holds_either_way(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, capped(cap=0.75)).ticks(tick(y=-9), tick(y=9), tick(y=-0.25))
    assert play.output("m") == [0.75, -0.75, 0.25]


def test_a_cap_that_is_trimmed_down_is_gone_to_as_fast_as_the_slew_allows(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, capped(cap=0.5, cap_from=0, slew_step=0.25))
    play.ticks(tick(y=-9), tick(y=-9), tick(y=-9))
    play.ticks(tick(y=-9, writes=[("n", 0.0)]), tick(y=-9), tick(y=-9))
    assert play.output("m") == [0.25, 0.5, 0.5, 0.25, 0.0, 0.0]


def test_the_span_counts_before_the_cap(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, capped(low=-0.125, cap=0.5)).ticks(tick(y=9), tick(y=-9))
    assert play.output("m") == [-0.125, 0.5]
