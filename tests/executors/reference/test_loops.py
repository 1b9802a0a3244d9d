"""L1 to L8 of "Loops and outputs": what a loop gives, tick by tick."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.loops import loop, output
from support.plans import Phase, make_plan, setpoint, signal
from support.play import Play, tick

from sequencer.base.binary32 import f32
from sequencer.plan.tables import ActsIn, Adds, Loop, Plan, Term

GO = p.event("go")
ON = (Term(None, 0.0),)  # a reference of 0, so that what a loop gives is -kp * y and so on


def stand(loops: Sequence[Loop], **machine: Any) -> Plan:
    """Make a machine that rests; its first signal `y` is lost after 30 ms, `z` never."""
    machine.setdefault("signals", [signal("y", lost_after_ms=30), signal("z")])
    drives = [output("m", loops=tuple(i for i, each in enumerate(loops) if each.output == 0))]
    return make_plan({"walk": [Phase("rest")]}, loops=loops, outputs=drives, **machine)


def three_phases(loops: Sequence[Loop]) -> Plan:
    """Make a walk a -> b -> off -> a by the event go; off is a stop of category 0."""
    phases = [Phase("a", [("b", GO)]), Phase("b", [("off", GO)]), Phase("off", [("a", GO)], stop=0)]
    drives = [output("m", loops=tuple(i for i, each in enumerate(loops) if each.output == 0))]
    return make_plan({"walk": phases}, signals=[signal("y")], loops=loops, outputs=drives)


IN_B = (ActsIn(0, (1,)),)
IN_A = (ActsIn(0, (0,)),)


# -- L1, L2: order, and when a loop acts -------------------------------------------------------------------


def test_what_an_outer_loop_gives_reaches_the_inner_one_in_the_same_tick(make_executor: MakeExecutor) -> None:
    loops = [
        loop("outer", gains=(2.0, 0, 0), terms=ON, output=None, low=-4, high=4),
        loop("inner", gains=(0.5, 0, 0), terms=ON, inputs=(Adds(0, 0.25),), signal=1),
    ]
    play = Play(make_executor, stand(loops)).ticks(tick(y=-1, z=0), tick(y=1, z=0))
    assert play.loop("outer") == [2.0, -2.0]
    assert play.loop("inner") == play.output("m") == [0.25, -0.25]  # 0.5 * 0.25 * 2


def test_a_loop_acts_in_its_phases_from_the_tick_of_entry_on(make_executor: MakeExecutor) -> None:
    loops = [
        loop("always", terms=ON),
        loop("some", terms=ON, acts_in=IN_B),
        loop("never", terms=ON, acts_in=()),
    ]
    play = Play(make_executor, three_phases(loops)).ticks(
        tick(y=-1), tick(y=-1, events="go"), tick(y=-1), tick(y=-1, events="go"), tick(y=-1, events="go")
    )
    assert play.phases() == ["a", "b", "b", "off", "a"]
    assert play.loop("always") == [0.5, 0.5, 0.5, 0.0, 0.5]  # no loop acts while drives are off
    assert play.loop("some") == [0.0, 0.5, 0.5, 0.0, 0.0]
    assert play.loop("never") == [0.0] * 5


def test_a_loop_acts_if_any_of_several_sequences_stands_in_its_phases(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {
            "one": [Phase("a", [("b", GO)]), Phase("b", [("a", GO)])],
            "two": [Phase("a", [("b", p.event("halt"))]), Phase("b")],
        },
        signals=[signal("y")],
        loops=[loop("l", terms=ON, acts_in=(ActsIn(0, (1,)), ActsIn(1, (1,))))],
        outputs=[output("m")],
    )
    play = Play(make_executor, plan)
    play.ticks(*(tick(y=-1, events=e) for e in ("", "go", "go", "halt", "go")))
    assert play.output("m") == [0.0, 0.5, 0.0, 0.5, 0.5]


# -- L3, L8: authority and contribution --------------------------------------------------------------------


def test_authority_fades_in_and_out_a_step_a_tick(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(1.0, 0, 0), terms=ON, acts_in=IN_A, fade_step=0.4)]
    play = Play(make_executor, three_phases(loops)).ticks(
        *[tick(y=-1)] * 4, tick(y=-1, events="go"), *[tick(y=-1)] * 3
    )
    step, a = f32(0.4), [0.0]
    for _ in range(2):
        a.append(f32(a[-1] + step))
    down = [f32(1 - step), f32(f32(1 - step) - step)]
    assert play.loop("l") == [*a[1:], 1.0, 1.0, *down, 0.0, 0.0]  # limited to 1, and to 0


def test_authority_is_lost_at_once_when_drives_go_off(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(1.0, 0, 0), terms=ON, fade_step=0.5)]
    go = tick(y=-1, events="go")
    play = Play(make_executor, three_phases(loops)).ticks(tick(y=-1), tick(y=-1), go, go, go, tick(y=-1))
    assert play.phases() == ["a", "a", "b", "off", "a", "a"]
    assert play.loop("l") == [0.5, 1.0, 1.0, 0.0, 0.5, 1.0]


def test_an_idle_loop_forgets_and_starts_anew(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 0.25, 0.5), ad=1.0, terms=ON, low=-9, high=9, acts_in=IN_A)]
    go = tick(y=-1, events="go")
    play = Play(make_executor, three_phases(loops))
    play.ticks(tick(y=-1), tick(y=-2), go, go, go, tick(y=-1))
    # I grows by 0.25 * 1, then 0.25 * 2; D = 0.5 * 1 in the second tick; both begin at 0 again
    assert play.phases() == ["a", "a", "b", "off", "a", "a"]
    assert play.loop("l") == [0.0, 0.75, 0.0, 0.0, 0.0, 0.25]


def test_an_idle_loop_that_starts_without_a_bump_starts_from_0(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.5, 0.25, 0.0), terms=ON, low=-9, high=9, bumpless=True, acts_in=IN_A)]
    go = tick(y=-2, events="go")
    play = Play(make_executor, three_phases(loops)).ticks(tick(y=-2), tick(y=-2), go, go, go, tick(y=-2))
    assert play.loop("l") == [0.0, 0.5, 0.0, 0.0, 0.0, 0.5]


def test_a_fading_loop_that_reaches_nothing_starts_anew(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 0.25, 0.0), terms=ON, low=-9, high=9, acts_in=IN_A, fade_step=0.5)]
    go, on = tick(y=-1, events="go"), tick(y=-1)
    short = Play(make_executor, three_phases(loops)).ticks(on, on, on, go, go, go)
    long = Play(make_executor, three_phases(loops)).ticks(on, on, on, go, on, on, go, go, on)
    assert short.loop("l")[3:] == [0.5 * 0.75, 0.0, 0.0]  # the integral goes on while it fades
    assert long.loop("l")[3:] == [0.5 * 0.75, 0.0, 0.0, 0.0, 0.0, 0.25]  # a = 0.5 * u = 0, then 1 * 0.25


# -- L4: reference -----------------------------------------------------------------------------------------


def test_the_reference_is_summed_in_the_order_of_the_list(make_executor: MakeExecutor) -> None:
    # in binary32 1e8 + 3 = 1e8, so the order shows: (1e8 + 3) - 1e8 = 0, (1e8 - 1e8) + 3 = 3
    big, small, minus = Term(None, 1e8), Term(None, 3.0), Term(None, -1e8)
    loops = [
        loop("one", gains=(0.25, 0, 0), terms=(big, small, minus)),
        loop("two", gains=(0.25, 0, 0), terms=(big, minus, small)),
    ]
    play = Play(make_executor, stand(loops)).ticks(tick(y=0))
    assert (play.loop("one"), play.loop("two")) == ([0.0], [0.75])


def test_the_reference_follows_the_ramp_of_a_setpoint_not_its_target(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", set={"r": 1.0})]},
        signals=[signal("y")],
        setpoints=[setpoint("r", step=0.25)],
        loops=[loop("l", gains=(1.0, 0, 0), terms=(Term(0, 0.0), Term(None, -0.5)))],
        outputs=[output("m")],
    )
    play = Play(make_executor, plan).ticks(*[tick(y=0)] * 5)
    assert play.output("m") == [-0.25, 0.0, 0.25, 0.5, 0.5]


def test_corrections_are_added_after_the_terms_in_loop_order(make_executor: MakeExecutor) -> None:
    wide = {"output": None, "low": -1e9, "high": 1e9, "terms": (Term(None, 1.0),)}
    loops = [
        loop("a", gains=(1e8, 0, 0), **wide),
        loop("b", gains=(1e8, 0, 0), **wide),
        loop("in", gains=(0.5, 0, 0), terms=(Term(None, 3.0),), inputs=(Adds(0, 1.0), Adds(1, -1.0)), high=9),
        loop(
            "mixed",
            gains=(0.5, 0, 0),
            terms=(Term(None, 3.0),),
            inputs=(Adds(0, 1e-8), Adds(1, 1e-8)),
            high=9,
        ),
    ]
    play = Play(make_executor, stand(loops)).ticks(tick(y=0))
    assert play.loop("in") == [0.0]  # (3 + 1e8) - 1e8 in binary32
    assert play.loop("mixed") == [2.5]


# -- L5: when a loop runs ----------------------------------------------------------------------------------


def test_a_loop_is_due_every_so_many_ticks_counted_from_the_reset_tick(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.25, 0, 0), terms=ON, every_ticks=3)]
    play = Play(make_executor, stand(loops)).ticks(
        *(tick(y=-k) for k in range(1, 6)), tick(y=-1, reset=True), tick(y=-2), tick(y=-3), tick(y=-4)
    )
    assert play.loop("l") == [0.25, 0.25, 0.25, 1.0, 1.0, 0.25, 0.25, 0.25, 1.0]


def test_a_loop_runs_on_fresh_samples_only(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 0.25, 0), terms=ON, low=-9, high=9, signal=1)]
    play = Play(make_executor, stand(loops)).ticks(
        tick(z=-1), tick(), tick(), tick(z=-1), tick(), tick(z=-1), tick(z=-1)
    )
    assert play.loop("l") == [0.0, 0.0, 0.0, 0.25, 0.25, 0.5, 0.75]  # each sample is integrated once


def test_a_sample_between_two_due_ticks_is_kept_for_the_next(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.25, 0, 0), terms=ON, every_ticks=2, signal=1)]
    play = Play(make_executor, stand(loops)).ticks(
        tick(z=-1), tick(z=-2), tick(), tick(z=-3), tick(z=-4), tick(), tick()
    )
    assert play.loop("l") == [0.25, 0.25, 0.5, 0.5, 1.0, 1.0, 1.0]


def test_a_sample_that_came_while_idle_serves_the_first_run(make_executor: MakeExecutor) -> None:
    loops = [loop("l", terms=ON, acts_in=IN_B)]
    play = Play(make_executor, three_phases(loops)).ticks(tick(y=-1), tick(), tick(events="go"), tick())
    assert play.loop("l") == [0.0, 0.0, 0.5, 0.5]


def test_a_50_hz_sensor_in_a_100_hz_loop_does_not_make_the_derivative_alternate(
    make_executor: MakeExecutor,
) -> None:
    # a tilt module's stream is its base rate over (1 + n): 200 Hz, n = 3 is 50 Hz; at a 100 Hz loop a fresh
    # sample then comes every second tick, the third one 40 ms after the first (common practice, no source)
    from support.gaits import plan_of

    rows = "    l: {setpoint: [lean], signal: left_tilt, kd: 0.01, output: motor}"
    plan = plan_of(outputs=f"    horn: {{pulse: true}}\n    motor: {{}}\n  loops:\n{rows}\n")
    every_us = plan.signals[plan.loops[0].signal].every_us
    assert (plan.tick_ms, every_us) == (10, 1_000_000 // (200 // (1 + 3)))
    ticks = [tick(left_tilt=0.2 * k) if k % 2 == 0 else tick() for k in range(40)]
    assert [k * plan.tick_ms for k, each in enumerate(ticks) if each.values][2] == 40
    given = Play(make_executor, plan).ticks(*ticks).loop("l")
    # 20 deg/s all along, so kd * 20 from the second sample on: not 0 and the double by turns
    assert given[:2] == [0.0, 0.0]
    assert given[2:] == pytest.approx([-0.01 * 20] * 38, rel=1e-5)


# -- L6: a run ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("y", [-3.0, -1.125, -1.0, -0.5, 0.0, 0.5, 1.0, 1.125, 3.0])
def test_an_error_within_the_dead_band_counts_as_none(make_executor: MakeExecutor, y: float) -> None:
    loops = [loop("l", gains=(0.25, 0, 0), terms=ON, dead_band=1.0)]
    expected = 0.25 * (np.sign(-y) * max(abs(y) - 1.0, 0.0))
    assert Play(make_executor, stand(loops)).ticks(tick(y=y)).loop("l") == [expected]


def test_output_and_integral_are_limited(make_executor: MakeExecutor) -> None:
    loops = [
        loop("l", gains=(0.0, 1.0, 0), terms=ON, low=-2, high=3, br=0.0, integral_limit=5.0),
        loop("out", gains=(0.0, 1.0, 0), terms=ON, low=-9, high=9, br=0.0, integral_limit=5.0),
    ]
    play = Play(make_executor, stand(loops)).ticks(*[tick(y=-2)] * 5, *[tick(y=2)] * 8)
    assert play.loop("out") == [0, 2, 4, 5, 5, 5, 3, 1, -1, -3, -5, -5, -5]
    assert play.loop("l") == [0, 2, 3, 3, 3, 3, 3, 1, -1, -2, -2, -2, -2]


def test_back_calculation_takes_the_integral_back_from_a_limit(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 1.0, 0), terms=ON, low=-2, high=2, br=0.5)]
    play = Play(make_executor, stand(loops)).ticks(*[tick(y=-2)] * 6, *[tick(y=2)] * 3)
    # v = I: 0 2 4; then u - v = 2 - 4, so I = 4 + 2 - 1 = 5, and on to 5 + 2 - 1.5 = 5.5, 5.75, 5.875; then
    # down by 2 + 1.9375, so u leaves the limit in the second tick after the error turns
    assert play.loop("l") == [0, 2, 2, 2, 2, 2, 2, 1.9375, -0.0625]


def test_the_derivative_is_filtered_and_on_the_signal(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 0.0, 0.5), ad=0.5, low=-9, high=9)]
    plan = stand(loops, setpoints=[setpoint("r", start=7.0)])
    play = Play(make_executor, plan).ticks(tick(y=1), tick(y=3), tick(y=3), tick(y=2))
    assert play.loop("l") == [0.0, -1.0, -0.5, 0.25]  # ad * D - bd * change, and nothing from the setpoint


@pytest.mark.parametrize("bumpless", [False, True])
def test_a_bumpless_start_goes_on_from_where_the_loop_was(
    make_executor: MakeExecutor, bumpless: bool
) -> None:
    gains = (0.5, 0.25, 0.0)
    wide = {"low": -9, "high": 9, "br": 0.0}
    loops = [
        loop("inner", gains=gains, terms=ON, bumpless=bumpless, **wide),
        loop("outer", gains=gains, terms=ON, bumpless=bumpless, output=None, bleed_step=0.5, **wide),
        loop("bounded", gains=gains, terms=ON, bumpless=bumpless, integral_limit=0.25, **wide),
        loop("without", gains=(0.5, 0.0, 0.0), terms=ON, bumpless=bumpless),
    ]
    silence = [tick()] * 5  # lost from the fourth tick of silence on
    play = Play(make_executor, stand(loops)).ticks(tick(y=-2), tick(y=-2), *silence, tick(y=-1), tick(y=-1))
    inner, outer, bounded = play.loop("inner"), play.loop("outer"), play.loop("bounded")
    assert play.loop("without")[-2:] == [0.5, 0.5]  # an integral is needed for it
    if not bumpless:
        assert (inner[0], inner[-2:], outer[-2:]) == (1.0, [0.5, 0.75], [0.5, 0.75])
        return
    # start: u = 0, I = 0 - p; the second run adds bi * e
    assert inner == [0.0, 0.5, 0.5, 0.5, 0.5, 0.0, 0.0, 0.0, 0.25]
    # 0.5 bled to 0 by 0.5 a tick; so it starts from 0, too
    assert outer == [0.0, 0.5, 0.5, 0.5, 0.5, 0.0, 0.0, 0.0, 0.25]
    assert bounded[:2] == [0.75, 1.25]  # I = -1 is limited to -0.25, then -0.25 + 0.25 * 2 to 0.25


def test_a_bumpless_start_takes_up_what_was_not_yet_bled_away(make_executor: MakeExecutor) -> None:
    loops = [
        loop(
            "l",
            gains=(0.5, 0.25, 0.0),
            terms=ON,
            bumpless=True,
            output=None,
            bleed_step=0.125,
            low=-9,
            high=9,
        )
    ]
    play = Play(make_executor, stand(loops)).ticks(
        tick(y=-4), tick(y=-4), *[tick()] * 5, tick(y=-6), tick(y=-6)
    )
    assert play.loop("l") == [0.0, 1.0, 1.0, 1.0, 1.0, 0.875, 0.75, 0.75, 0.75 + 0.25 * 6]


def test_one_absurd_sample_does_not_stay_in_a_loop(make_executor: MakeExecutor) -> None:
    # |1e30 * 1e10| is beyond binary32
    loops = [
        loop("p", gains=(1e10, 0.25, 0.0), terms=ON, low=-9, high=9),
        loop("d", gains=(0.0, 0.0, 1e10), ad=0.5, terms=ON, low=-9, high=9),
        loop("i", gains=(0.0, 1e10, 0.0), terms=ON, low=-9, high=9),
    ]
    play = Play(make_executor, stand(loops)).ticks(
        tick(y=0), tick(y=1e30), tick(y=0), tick(y=0), tick(y=-1e-10), tick(y=-1e-10)
    )
    assert play.loop("p")[:4] == [0, 0, 0, 0]
    assert play.loop("d") == pytest.approx([0, 0, 0, 0, 1, 0.5])
    assert play.loop("i")[:4] == [0, 0, -9, -9]  # held to the largest binary32: finite, so at its limit
    assert play.loop("p")[4] == pytest.approx(1.0)


# -- L7: lost ----------------------------------------------------------------------------------------------


def test_an_inner_loop_gives_nothing_while_its_signal_is_lost(make_executor: MakeExecutor) -> None:
    loops = [loop("l", terms=ON, every_ticks=2)]
    play = Play(make_executor, stand(loops)).ticks(
        tick(), tick(y=-1), tick(), *[tick()] * 3, tick(y=-1), tick(), tick()
    )
    assert play.states("y")[4:7] == ["s", "sl", "sf"]
    # lost in every tick, due or not
    assert play.loop("l") == [0.0, 0.0, 0.5, 0.5, 0.5, 0.0, 0.5, 0.5, 0.5]


def test_an_outer_loop_freezes_its_correction_then_bleeds_it_away(make_executor: MakeExecutor) -> None:
    loops = [
        loop("outer", gains=(0.5, 0, 0), terms=ON, output=None, bleed_step=0.375, low=-4, high=4),
        loop("inner", gains=(1.0, 0, 0), terms=ON, inputs=(Adds(0, -1.0),), signal=1, low=-9, high=9),
    ]
    play = Play(make_executor, stand(loops)).ticks(
        tick(y=-2, z=0), *[tick(z=0)] * 7, tick(y=1, z=0), tick(y=1, z=0)
    )
    assert play.loop("outer") == [1.0, 1.0, 1.0, 1.0, 0.625, 0.25, 0.0, 0.0, -0.5, -0.5]
    assert play.loop("inner") == [-x for x in play.loop("outer")]


def test_a_loop_whose_signal_was_never_seen_gives_nothing(make_executor: MakeExecutor) -> None:
    loops = [
        loop("outer", terms=(Term(None, 4.0),), output=None, low=-4, high=4),
        loop("inner", terms=(Term(None, 4.0),)),
    ]
    play = Play(make_executor, stand(loops)).ticks(*[tick()] * 6)
    assert play.loop("outer") == play.loop("inner") == [0.0] * 6


def test_a_loop_starts_anew_when_its_signal_is_back(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.0, 0.25, 1.0), ad=1.0, terms=ON, low=-9, high=9)]
    play = Play(make_executor, stand(loops)).ticks(
        tick(y=-1), tick(y=-2), *[tick()] * 5, tick(y=-9), tick(y=-9)
    )
    assert play.loop("l")[:2] == [0.0, 1.25]
    assert play.loop("l")[-2:] == [0.0, 2.25]  # no derivative from -2 to -9, no old integral


def test_a_reset_forgets_everything(make_executor: MakeExecutor) -> None:
    loops = [loop("l", gains=(0.25, 0.25, 1.0), ad=1.0, terms=ON, low=-9, high=9, fade_step=0.25)]
    ticks = [tick(y=-1), tick(y=-2), tick(), tick(y=-3)]
    again = [tick(y=-1, reset=True), *ticks[1:]]
    play = Play(make_executor, stand(loops)).ticks(*ticks, *again)
    assert play.loop("l")[:4] == play.loop("l")[4:]
    assert any(play.loop("l"))
