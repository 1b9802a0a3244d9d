"""O1 to O7 of "Loops and outputs": what goes to the motors."""

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.loops import loop, output, stall, supply
from support.plans import Phase, make_plan, setpoint, signal
from support.play import Play, tick

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Output, Plan, Term

ON = (Term(None, 0.0),)
WIDE = {"gains": (1.0, 0.0, 0.0), "terms": ON, "low": -9.0, "high": 9.0}


def direct(outputs: Sequence[Output], **machine: Any) -> Plan:
    """Make a machine in which every output is driven by -y, limited to 9; `v` is the supply."""
    loops = [loop("l", **WIDE), *(loop(f"l{i}", output=i, **WIDE) for i in range(1, len(outputs)))]
    joined = [output_of(each, i) for i, each in enumerate(outputs)]
    signals = [signal("y"), signal("v", unit="V"), signal("x", lost_after_ms=30)]
    sequences = machine.pop("sequences", {"walk": [Phase("rest")]})
    return make_plan(sequences, signals=signals, loops=loops, outputs=joined, **machine)


def output_of(each: Output, index: int) -> Output:
    from dataclasses import replace

    return replace(each, loops=(index,))


# -- O1, O3 ------------------------------------------------------------------------------------------------


def test_an_output_is_the_sum_of_its_loops_in_loop_order(make_executor: MakeExecutor) -> None:
    gains = (0.25, 0.0, 0.0)
    loops = [
        loop(name, gains=gains, terms=(Term(None, r),), low=-1e9, high=1e9)
        for name, r in (("a", 4e8), ("b", 12.0), ("c", -4e8))
    ]
    loops.append(loop("other", output=1, terms=(Term(None, 1.0),)))
    plan = make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("y")],
        loops=loops,
        outputs=[
            output("sum", loops=(0, 1, 2), low=-5, high=5),
            output("one", loops=(3,)),
            output("none", loops=()),
        ],
    )
    play = Play(make_executor, plan).ticks(tick(y=0))
    assert play.output("sum") == [0.0]  # (1e8 + 3) - 1e8 in binary32
    assert (play.output("one"), play.output("none")) == ([0.5], [0.0])


def test_the_executor_gives_its_last_outputs(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, direct([output("a"), output("b", low=-0.25)])).ticks(tick(y=0.5))
    given = play.executor.outputs  # type: ignore[attr-defined]  # both have it; it is no part of the contract
    assert (given.dtype, given.tolist()) == (np.dtype(np.float32), [-0.5, -0.25])


@pytest.mark.parametrize(
    ("y", "wide", "narrow"), [(0.2, -0.2, -0.2), (-0.7, 0.7, 0.5), (3.0, -1.0, -0.25), (-3.0, 1.0, 0.5)]
)
def test_an_output_stays_in_its_span(
    make_executor: MakeExecutor, y: float, wide: float, narrow: float
) -> None:
    plan = direct([output("wide"), output("narrow", low=-0.25, high=0.5)])
    play = Play(make_executor, plan).ticks(tick(y=y))
    assert (play.output("wide"), play.output("narrow")) == ([f32(wide)], [f32(narrow)])


def test_an_output_changes_by_its_slew_at_most(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, direct([output("m", slew_step=0.3)])).ticks(
        *[tick(y=-1)] * 5, *[tick(y=1)] * 3
    )
    step, up = f32(0.3), [0.0]
    for _ in range(3):
        up.append(f32(up[-1] + step))
    down = [1.0]
    for _ in range(3):
        down.append(f32(down[-1] - step))
    assert play.output("m") == [*up[1:], 1.0, 1.0, *down[1:]]


# -- O2: supply --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("volts", "duty"), [(8.4, 0.528571), (7.4, 0.6), (6.6, 0.672727), (4.0, 1.0)])
def test_the_duty_makes_up_for_the_supply(make_executor: MakeExecutor, volts: float, duty: float) -> None:
    # duty = nominal duty * nominal voltage / measured voltage, limited to 1 (common practice, no source)
    play = Play(make_executor, direct([output("m", supply=supply(1, 7.4))]))
    assert play.ticks(tick(y=-0.6, v=volts)).output("m") == pytest.approx([duty], abs=1e-6)


def test_fresh_batteries_leave_drives_as_much_in_hand_as_the_sag_takes(make_executor: MakeExecutor) -> None:
    # drives run at half to 0.55 of full duty when fresh, so 1.8 to 2.0 times in hand as the battery sags
    # (common practice, no source): down to fresh / 1.8 the motor gets what it got, beyond that less
    for duty, hand in ((0.5, 2.0), (0.55, 1 / 0.55)):
        play = Play(make_executor, direct([output("m", supply=supply(1, 12.6, smooth=1.0))]))
        volts = [12.6, 12.6 / (hand * 0.99), 12.6 / hand, 12.6 / (hand * 1.25)]
        given = play.ticks(*(tick(y=-duty, v=v) for v in volts)).output("m")
        got = [a * v for a, v in zip(given, volts, strict=True)]
        assert got[:3] == pytest.approx([duty * 12.6] * 3, rel=1e-6)
        assert got[3] == pytest.approx(duty * 12.6 / 1.25, rel=1e-6)


def test_an_unknown_supply_changes_nothing(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, direct([output("m", supply=supply(1, 12.0, least=10.0))]))
    play.ticks(tick(y=-0.5), tick(v=24), tick(), tick(reset=True, y=-0.5), tick(v=0), tick(v=-3))
    assert play.output("m") == [0.5, 0.25, 0.25, 0.5, 0.0, 0.0]
    assert play.output_states("m") == ["on", "on", "on", "on", "cut", "cut"]


def test_a_supply_of_nothing_or_less_is_not_divided_by(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, direct([output("m", supply=supply(1, 12.0, smooth=1.0))]))
    play.ticks(tick(y=-0.5, v=0), tick(v=-3), tick(y=-0.5, v=1e-45, reset=True), tick(y=0), tick(v=12))
    # 12 / 1e-45 is infinite: in span 1; infinity times 0 is no number: 0
    assert play.output("m") == [0.5, 0.5, 1.0, 0.0, 0.0]


def test_the_supply_is_smoothed_by_backward_euler(make_executor: MakeExecutor) -> None:
    # h = 10 ms, tau = 50 ms: weight h / (tau + h) = 0.166667, not the exact 1 - exp(-h / tau) = 0.181269
    from support.gaits import SECTIONS, plan_of

    signals = SECTIONS["signals"] + "    battery: {unit: V, span: [0, 20], every: 10 ms}\n"
    motor = "    motor: {supply: battery, full_scale_at: 12 V, smooth: 50 ms}"
    rows = "    l: {setpoint: [0.5 deg], signal: body, kp: 1, output: motor}"
    plan = plan_of(signals=signals, outputs=f"    horn: {{pulse: true}}\n{motor}\n  loops:\n{rows}\n")
    assert plan.outputs[0].supply is not None
    assert plan.outputs[0].supply.smooth == pytest.approx(0.166667, abs=1e-6)
    assert abs(plan.outputs[0].supply.smooth - 0.181269) > 0.01
    play = Play(make_executor, plan).ticks(tick(body=0, battery=12), tick(), *[tick(battery=6)] * 4)
    s = [12.0, 12.0]
    for _ in range(4):
        s.append(s[-1] + 0.166667 * (6 - s[-1]))
    expected = [min(0.5 * 12 / each, 1.0) for each in s]
    assert play.output("motor") == pytest.approx(expected, abs=2e-6)


def test_absurd_supplies_do_not_stay(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, direct([output("m", supply=supply(1, 6.0, smooth=1.0))]))
    play.ticks(tick(y=-0.5, v=3e38), tick(v=-3e38), tick(v=12), tick(v=12))
    # -3e38 - 3e38 is not finite, so s is the value; -3e38 + (12 + 3e38) is 0 in binary32; then 12
    assert play.output("m")[1:] == [0.5, 0.5, 0.25]


# -- O4: off; stop categories ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stop", "given", "states"),
    [
        # IEC 60204-1, stop categories: 0 power goes at once; 1 a controlled stop with power, which then goes;
        # 2 a controlled stop, power stays
        (0, [1.0, 0.0, 0.0, 0.0, 0.0], ["on", "off", "off", "off", "off"]),
        (1, [1.0, 0.75, 0.5, 0.25, 0.0], ["on", "on", "on", "on", "off"]),
        (2, [1.0, 0.75, 0.5, 0.25, 0.0], ["on", "on", "on", "on", "on"]),
    ],
)
def test_outputs_go_off_by_stop_category(
    make_executor: MakeExecutor, stop: Literal[0, 1, 2], given: list[float], states: list[str]
) -> None:
    plan = make_plan(
        {
            "walk": [
                Phase("a", [("safe", p.event("halt"))], set={"r": 1.0}),
                Phase("safe", set={"r": 0.0}, stop=stop),
            ]
        },
        signals=[signal("y")],
        setpoints=[setpoint("r", step=0.25, start=1.0)],
        loops=[loop("l", gains=(1.0, 0.0, 0.0))],
        outputs=[output("m")],
    )
    play = Play(make_executor, plan).ticks(tick(y=0), tick(y=0, events="halt"), *[tick(y=0)] * 3)
    assert (play.output("m"), play.output_states("m")) == (given, states)


def test_slew_starts_from_0_after_drives_were_off(make_executor: MakeExecutor) -> None:
    walk = [Phase("a", [("off", p.event("go"))]), Phase("off", [("a", p.event("go"))], stop=0)]
    plan = direct([output("m", slew_step=0.25)], sequences={"walk": walk})
    go = tick(y=-1, events="go")
    play = Play(make_executor, plan).ticks(tick(y=-1), tick(y=-1), go, tick(y=-1), go, tick(y=-1))
    assert play.output("m") == [0.25, 0.5, 0.0, 0.0, 0.25, 0.5]


# -- O5: under its least value -----------------------------------------------------------------------------

LEAST = {"smooth": 1.0, "least": 10.0, "under_for_ms": 20}


def test_all_outputs_are_cut_until_reset_when_the_supply_stays_under_its_least(
    make_executor: MakeExecutor,
) -> None:
    # the supply of the second output cuts the first one in the same tick
    plan = direct([output("a"), output("b", supply=supply(1, 12.0, **LEAST))])
    play = Play(make_executor, plan).ticks(
        tick(y=-0.5, v=12),
        tick(v=9),
        tick(v=9),
        tick(v=10),
        tick(v=9),
        tick(),
        tick(),
        tick(v=12),
        tick(v=12),
    )
    assert play.output_states("a") == play.output_states("b") == ["on"] * 6 + ["cut"] * 3
    assert play.output("a") == [0.5] * 6 + [0.0] * 3
    again = play.ticks(tick(y=-0.5, reset=True), tick(v=12))
    assert again.output("a")[-2:] == [0.5, 0.5]
    assert again.output_states("b")[-2:] == ["on", "on"]


def test_a_cut_comes_before_off_and_is_judged_while_drives_are_off(make_executor: MakeExecutor) -> None:
    walk = [Phase("off", [("a", p.event("go"))], stop=0), Phase("a")]
    plan = direct([output("m", supply=supply(1, 12.0, **LEAST))], sequences={"walk": walk})
    play = Play(make_executor, plan).ticks(
        tick(y=-1, v=9), tick(v=9), tick(v=9), tick(v=12), tick(v=12, events="go")
    )
    assert play.output_states("m") == ["off", "off", "cut", "cut", "cut"]
    assert play.phases()[-1] == "a"  # a cut does not move sequences


def test_a_lost_supply_keeps_its_last_value(make_executor: MakeExecutor) -> None:
    plan = direct([output("m", supply=supply(2, 12.0, smooth=1.0, least=5.0, under_for_ms=20))])
    play = Play(make_executor, plan).ticks(tick(y=-0.5, x=24), *[tick()] * 6)
    assert play.states("x")[-1] == "sl"
    assert play.output("m") == [0.25] * 7


# -- O6: stall ---------------------------------------------------------------------------------------------

HARD = stall(2, above=0.5, moves=1.0, for_ms=30)


def watched(make_executor: MakeExecutor, **sequences: Any) -> Play:
    return Play(make_executor, direct([output("m", stall=HARD)], **sequences))


def test_an_output_that_drives_hard_and_moves_nothing_is_stalled(make_executor: MakeExecutor) -> None:
    play = watched(make_executor).ticks(*[tick(y=-1, x=3)] * 6, tick(y=0, x=3), tick(y=-1, x=9))
    assert play.output_states("m") == ["on"] * 3 + ["stalled"] * 5
    assert play.output("m") == [1.0] * 3 + [0.0] * 5


@pytest.mark.parametrize(
    ("ys", "xs", "states"),
    [
        # it is beyond `above` only past it, either way
        ([-0.5] * 6, [3] * 6, ["on"] * 6),
        ([0.75] * 4, [3] * 4, ["on"] * 3 + ["stalled"]),
        ([-1, -1, 1, 1], [3] * 4, ["on"] * 3 + ["stalled"]),
        ([-1, -1, 0.5, -1, -1, -1, -1], [3] * 7, ["on"] * 6 + ["stalled"]),
        # it starts over each time that the signal has moved by 1 from where the watch started
        ([-1] * 6, [3, 3.75, 4, 4.5, 4.75, 4.75], ["on"] * 5 + ["stalled"]),
        ([-1] * 6, [3, 3, 2, 2, 1, 1], ["on"] * 6),
        ([-1] * 4, [3, 3.75, 2.25, 3.25], ["on"] * 3 + ["stalled"]),
    ],
)
def test_what_the_stall_watch_looks_at(
    make_executor: MakeExecutor, ys: list[float], xs: list[float], states: list[str]
) -> None:
    play = watched(make_executor).ticks(*(tick(y=y, x=x) for y, x in zip(ys, xs, strict=True)))
    assert play.output_states("m") == states


def test_a_lost_signal_ends_the_stall_watch(make_executor: MakeExecutor) -> None:
    play = watched(make_executor).ticks(tick(y=-1), tick(y=-1), tick(y=-1, x=3), *[tick(y=-1)] * 3)
    assert play.output_states("m") == ["on"] * 5 + ["stalled"]  # known for 30 ms after its last sample
    late = watched(make_executor).ticks(tick(y=-0.5, x=3), tick(y=-0.5), tick(y=-1), *[tick(y=-1)] * 6)
    assert late.states("x")[4] == "sl"
    assert late.output_states("m") == ["on"] * 9


def test_the_slewed_output_is_what_counts(make_executor: MakeExecutor) -> None:
    plan = direct([output("m", stall=HARD, slew_step=0.25)])
    play = Play(make_executor, plan).ticks(*[tick(y=-1, x=3)] * 7)
    assert play.output("m") == [0.25, 0.5, 0.75, 1.0, 1.0, 0.0, 0.0]


def test_a_stall_lasts_until_drives_go_off(make_executor: MakeExecutor) -> None:
    walk = [Phase("a", [("off", p.event("go"))]), Phase("off", [("a", p.event("go"))], stop=0)]
    on, go = tick(y=-1, x=3), tick(y=-1, x=3, events="go")
    play = watched(make_executor, sequences={"walk": walk}).ticks(*[on] * 4, go, on, go, *[on] * 3)
    assert play.output_states("m") == ["on"] * 3 + ["stalled", "off", "off"] + ["on"] * 3 + ["stalled"]


def test_a_reset_ends_a_stall(make_executor: MakeExecutor) -> None:
    on = tick(y=-1, x=3)
    play = watched(make_executor).ticks(*[on] * 5, tick(y=-1, x=3, reset=True), *[on] * 3)
    assert play.output_states("m") == ["on"] * 3 + ["stalled"] * 2 + ["on"] * 3 + ["stalled"]


def test_stall_and_cut_times_outlast_the_wrap_of_the_clock(make_executor: MakeExecutor) -> None:
    plan = direct([output("m", stall=HARD), output("n", supply=supply(1, 12.0, **LEAST))])
    start = 2**32 - 10
    play = Play(make_executor, plan).ticks(tick(y=-1, x=3, v=12, now=start), *[tick(y=-1, x=3, v=12)] * 3)
    assert play.output_states("m") == ["on"] * 3 + ["stalled"]
    play = Play(make_executor, plan).ticks(tick(y=0, x=3, v=9, now=start), *[tick(v=9)] * 2)
    assert play.output_states("n") == ["on"] * 2 + ["cut"]


# -- O7: state ---------------------------------------------------------------------------------------------


def test_cut_stands_before_stalled(make_executor: MakeExecutor) -> None:
    plan = direct([output("m", stall=HARD, supply=supply(1, 12.0, **LEAST))])
    play = Play(make_executor, plan).ticks(*[tick(y=-1, x=3, v=12)] * 4, *[tick(v=9)] * 4)
    assert play.output_states("m") == ["on"] * 3 + ["stalled"] * 3 + ["cut"] * 2
