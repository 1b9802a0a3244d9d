"""The plant without physics: each behaviour against its formula, each fault against its story."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from support.loops import loop
from support.trace_plans import plan, setpoint, signal

from sequencer.base.errors import MisuseError
from sequencer.base.places import NOWHERE
from sequencer.plan.tables import (
    Anywhere,
    Exit,
    Guard,
    Name,
    Node,
    OnEvent,
    OnSwitch,
    Plan,
    Rate,
    Remote,
    Sequence,
    Term,
)
from sequencer.trace.blocks import FRESH_VALUE, HEARD, TickBlock
from sequencer.trace.follow import FollowOptions, FollowPlant, start_setpoints
from sequencer.trace.record import join_blocks

LEAN = setpoint("lean", (0, 2.0), (1, -2.0), rate=16.0)
ROLLS = (signal("left_roll"), signal("right_roll"))
MACHINE = plan(*ROLLS, setpoints=(LEAN,))


def follow(its: Plan, commanded: list[float], options: FollowOptions | None = None) -> TickBlock:
    """Command one value of the first setpoint per tick."""
    plant = FollowPlant(its, options)
    setpoints = start_setpoints(its)
    blocks = []
    for k, value in enumerate(commanded):
        setpoints[:1] = value
        blocks.append(plant.inputs(k * its.tick_ms % 2**32, setpoints))
    return join_blocks(blocks)


def column(block: TickBlock, index: int = 0) -> NDArray[np.float32]:
    return block.raw[:, index]


def test_followers_stand_their_stance_offset_away() -> None:
    block = follow(MACHINE, [0.0] * 3)
    assert block.raw.tolist() == [[2, -2]] * 3
    assert (block.fresh == FRESH_VALUE).all()


def test_a_signal_that_a_loop_brings_to_a_setpoint_follows_it() -> None:
    machine = plan(*ROLLS, signal("pot"), signal("free"), setpoints=(LEAN,))
    terms = (Term(None, 1.0), Term(0, 0.0), Term(None, 0.5))
    loops = (
        loop("joint", signal=2, terms=terms),
        loop("other", signal=0, terms=terms),  # left_roll follows lean already, and as that says
        loop("still", signal=3, terms=(Term(None, 9.0),)),  # no setpoint: nothing says that it gets there
    )
    block = follow(replace(machine, loops=loops), [0.0] * 3)
    assert block.raw.tolist() == [[2, -2, 1.5, 0]] * 3
    with pytest.raises(MisuseError, match="follows a setpoint"):
        FollowPlant(replace(machine, loops=loops), FollowOptions(still={"pot": 1.0}))


def test_a_step_is_followed_by_a_first_order_lag() -> None:
    # y(t) = 1 - exp(-t / tau), the step response of a first-order lag (any textbook)
    its = plan(signal("roll"), setpoints=(setpoint("lean", (0, 0.0), rate=None),))
    reached = column(follow(its, [0.0] + [1.0] * 30, FollowOptions(lag_ms=70)))
    expected = [1 - math.exp(-10 * k / 70) for k in range(31)]
    assert np.allclose(reached, expected, atol=1e-6)


def test_the_lag_does_not_depend_on_the_tick() -> None:
    # the exact discrete form: 1 - exp(-h / tau) a tick, 0.181269 for h = 10 ms and tau = 50 ms
    its = plan(signal("roll"), setpoints=(setpoint("lean", (0, 0.0), rate=None),), tick_ms=10)
    assert column(follow(its, [0.0, 1.0]))[1] == pytest.approx(0.181269, abs=1e-6)
    finer = plan(signal("roll"), setpoints=(setpoint("lean", (0, 0.0), rate=None),), tick_ms=2)
    assert column(follow(finer, [0.0] + [1.0] * 5))[5] == pytest.approx(0.181269, abs=1e-6)


def test_without_a_lag_and_a_rate_a_follower_is_there_at_once() -> None:
    its = plan(signal("roll"), setpoints=(setpoint("lean", (0, 0.5), rate=None),))
    assert column(follow(its, [0.0, 10.0], FollowOptions(lag_ms=0))).tolist() == [0.5, 10.5]


def test_no_follower_is_faster_than_its_setpoints_rate() -> None:
    moved = np.diff(column(follow(MACHINE, [0.0] + [15.0] * 200)))
    assert moved.max() == pytest.approx(0.16, abs=1e-5)  # 16 deg/s for 10 ms
    assert moved.min() > -1e-6


def test_a_rate_times_a_parameter_is_followed_up_to_the_parameters_highest() -> None:
    lean = replace(LEAN, rate=Rate(0.16, 1, 16.0))  # times lift, which goes up to 55
    block = follow(plan(*ROLLS, setpoints=(lean,)), [0.0] + [15.0] * 3)
    assert np.diff(column(block))[0] == pytest.approx(15 * 0.181269, abs=1e-4)  # slower than 8.8 a tick


def test_a_rate_of_its_own_slows_one_follower_only() -> None:
    block = follow(MACHINE, [0.0] + [15.0] * 50, FollowOptions(rate={"left_roll": "4 deg/s"}))
    assert np.diff(column(block, 0)).max() == pytest.approx(0.04, abs=1e-5)
    assert np.diff(column(block, 1)).max() == pytest.approx(0.16, abs=1e-5)


def test_slack_takes_up_its_width_at_each_turn() -> None:
    its = plan(signal("roll"), setpoints=(setpoint("lean", (0, 0.0), rate=None),))
    there_and_back = [0.0, 5.0, 5.0, 4.0, 3.5, 3.0, 0.0, 1.0, 1.5]
    reached = column(follow(its, there_and_back, FollowOptions(lag_ms=0, slack={"roll": "3 deg"})))
    # half the width behind on the way up, nothing for 3 deg of the way back, then half the width behind again
    assert reached.tolist() == [0.0, 3.5, 3.5, 3.5, 3.5, 3.5, 1.5, 1.5, 1.5]


def test_noise_has_the_signals_standard_deviation_and_no_memory() -> None:
    its = plan(signal("roll", noise=0.2), signal("tilt", noise=0.5))
    block = follow(its, [0.0] * 20_000)
    for index, sd in ((0, 0.2), (1, 0.5)):
        values = column(block, index).astype(float)
        # bounds of five standard errors: sd / sqrt(n) of a mean, sd / sqrt(2 n) of a standard deviation
        assert abs(values.mean()) < 5 * sd / math.sqrt(20_000)
        assert abs(values.std() - sd) < 5 * sd / math.sqrt(40_000)
        assert abs(np.corrcoef(values[1:], values[:-1])[0, 1]) < 5 / math.sqrt(20_000)
    assert abs(np.corrcoef(column(block, 0), column(block, 1))[0, 1]) < 5 / math.sqrt(20_000)


def test_the_same_seed_gives_the_same_bits_and_another_seed_others() -> None:
    its = plan(signal("roll", noise=0.2))
    one, same = (follow(its, [0.0] * 3000, FollowOptions(seed=3)).raw.tobytes() for _ in range(2))
    other = follow(its, [0.0] * 3000, FollowOptions(seed=4)).raw.tobytes()
    assert one == same
    assert one != other


def test_noise_can_be_turned_off() -> None:
    its = plan(signal("roll", noise=0.2))
    assert follow(its, [0.0] * 9, FollowOptions(noise=False)).raw.tolist() == [[0]] * 9


def test_each_signal_is_sampled_at_its_own_period_and_they_take_turns() -> None:
    its = plan(
        *(signal(f"s{i}", every_us=30_000) for i in range(3)), signal("fast"), signal("odd", every_us=15_000)
    )
    fresh = follow(its, [0.0] * 9).fresh != 0
    assert [np.flatnonzero(fresh[:, i]).tolist() for i in range(3)] == [[0, 3, 6], [1, 4, 7], [2, 5, 8]]
    assert fresh[:, 3].all()
    assert np.flatnonzero(fresh[:, 4]).tolist() == [1, 3, 4, 6, 7]  # due at 10, 25, 40, 55, 70 ms


def test_dropouts_come_at_their_probability() -> None:
    fresh = follow(plan(signal("roll")), [0.0] * 20_000, FollowOptions(dropout=0.1)).fresh[:, 0] != 0
    assert abs(fresh.mean() - 0.9) < 5 * math.sqrt(0.1 * 0.9 / 20_000)


def test_a_sensor_ends_at_the_ends_of_its_span() -> None:
    its = plan(signal("knee", "mm", low=0.0, high=60.0, noise=0.4))
    values = column(follow(its, [0.0] * 500))
    assert values.min() == 0
    assert values.max() > 0.4


def test_what_follows_nothing_rests_at_0_or_at_two_thirds_of_a_span_without_it() -> None:
    its = plan(
        signal("tilt"), signal("battery", "V", low=9.0, high=12.6), signal("load", "N", low=0.0, high=50.0)
    )
    assert follow(its, [0.0]).raw.tolist() == [[0, np.float32(11.4), 0]]
    still = FollowOptions(still={"battery": "9800 mV", "load": 20.0})
    assert follow(its, [0.0], still).raw.tolist() == [[0, np.float32(9.8), 20]]


def test_a_limited_joint_never_gets_past_its_limit_on_the_side_where_it_lies() -> None:
    options = FollowOptions(limit={"left_roll": "11.4 deg", "right_roll": "-3 deg"})
    block = follow(MACHINE, [15.0] * 300 + [-15.0] * 300, options)
    assert column(block, 0).max() == np.float32(11.4)
    assert column(block, 0).min() < -12.9
    assert column(block, 1).min() == -3
    assert column(block, 1).max() > 12.9


def test_an_offset_is_added_to_what_is_measured() -> None:
    block = follow(MACHINE, [0.0, 0.0], FollowOptions(offset={"left_roll": 1.5}))
    assert block.raw.tolist() == [[3.5, -2]] * 2


def test_a_stuck_joint_stands_still_but_is_still_measured() -> None:
    its = plan(signal("roll", noise=0.1), setpoints=(setpoint("lean", (0, 0.0)),))
    block = follow(its, [10.0] * 200, FollowOptions(stuck_from_ms={"roll": 300}))
    assert (block.fresh != 0).all()
    stands = column(block)[30:].astype(float)
    assert abs(stands.mean() - column(follow(its, [10.0] * 30, FollowOptions(noise=False)))[-1]) < 0.05
    assert stands.std() == pytest.approx(0.1, rel=0.2)


def test_a_sensor_that_dies_is_silent_from_then_on() -> None:
    fresh = follow(MACHINE, [0.0] * 10, FollowOptions(dies_at_ms={"left_roll": 50})).fresh != 0
    assert fresh.tolist() == [[True, True]] * 5 + [[False, True]] * 5


def test_the_operator_sends_go_at_one_second_with_the_switches_on() -> None:
    block = follow(MACHINE, [0.0] * 300)
    assert np.flatnonzero(block.events).tolist() == [100]
    assert block.events[100] == 1
    assert (block.switches == 3).all()


def test_the_operator_may_be_told_what_to_send_and_which_switches_are_off() -> None:
    options = FollowOptions(
        operator=((50, "halt"), (20, "go"), (25, "halt")), switches_off=frozenset({"walk"})
    )
    block = follow(MACHINE, [0.0] * 10, options)
    assert block.events.tolist() == [0, 0, 1, 2, 0, 2, 0, 0, 0, 0]
    assert (block.switches == 1).all()


def test_the_remote_is_heard_at_its_period_and_with_each_event() -> None:
    remote = Remote((0, 1), (0, 1), 40_000, 500, NOWHERE)
    options = FollowOptions(operator=((50, "go"),), dies_at_ms={"remote": 100})
    block = follow(replace(MACHINE, remote=remote), [0.0] * 14, options)
    assert np.flatnonzero(block.control == HEARD).tolist() == [0, 4, 5, 8]


def test_a_dead_remote_brings_no_event() -> None:
    options = FollowOptions(dies_at_ms={"remote": 900})
    assert not follow(MACHINE, [0.0] * 200, options).events.any()


def test_time_goes_on_over_the_wrap_of_now() -> None:
    plant = FollowPlant(MACHINE)
    start = 2**32 - 500
    events = [
        int(plant.inputs((start + 10 * k) % 2**32, start_setpoints(MACHINE)).events[0]) for k in range(200)
    ]
    assert np.flatnonzero(events).tolist() == [100]


@pytest.mark.parametrize(
    ("options", "said", "hint"),
    [
        (
            FollowOptions(limit={"left_rol": 1.0}),
            "limit names left_rol, which is no signal",
            "did you mean left_roll?",
        ),
        (FollowOptions(dies_at_ms={"remot": 1}), "dies_at_ms names remot", "did you mean remote?"),
        (FollowOptions(still={"left_roll": 1.0}), "left_roll follows a setpoint", "limit"),
        (FollowOptions(limit={"left_roll": "3 V"}), "limit of left_roll: V", "in deg"),
        (FollowOptions(rate={"left_roll": "3 deg"}), "rate of left_roll: deg", "in deg/s"),
        (FollowOptions(limit={"left_roll": "much"}), "'much' is not a number", "in deg"),
        (FollowOptions(seed=-1), "seed is -1", ""),
        (FollowOptions(lag_ms=-1), "lag_ms is -1", ""),
        (FollowOptions(lag_ms=math.nan), "lag_ms is nan", ""),
        (FollowOptions(dropout=1.5), "from 0 to 1", ""),
        (FollowOptions(operator=((0, "g"),)), "no event g", "go"),
        (FollowOptions(switches_off=frozenset({"moters"})), "no switch moters", "motors"),
    ],
)
def test_options_that_make_no_sense_are_told(options: FollowOptions, said: str, hint: str) -> None:
    with pytest.raises(MisuseError) as error:
        FollowPlant(MACHINE, options)
    assert said in error.value.message
    assert hint in error.value.hint


def guarded(*guards: tuple[tuple[Node, ...], tuple[OnEvent | OnSwitch, ...]], stop: bool = False) -> Plan:
    """Lay out a plan whose first phase has these guards; with `stop`, the last one is looked at anywhere."""
    leaves = tuple(leaf for _, its in guards for leaf in its)
    made = tuple(Guard(i, nodes, (), None, NOWHERE) for i, (nodes, _) in enumerate(guards))
    base = MACHINE.sequences[0].phases
    own = range(len(guards) - stop)
    first = replace(base[0], exits=tuple(Exit(i, 1, NOWHERE) for i in own))
    safe = replace(base[0], name="safe", stop=1, exits=())
    anywhere = (Anywhere(len(guards) - 1, (1,), NOWHERE),) if stop else ()
    walk = Sequence("walk", (first, safe), 0, 0, 0, 0, NOWHERE)
    return replace(
        MACHINE,
        leaves=leaves,
        guards=made,
        sequences=(walk,),
        anywhere=anywhere,
        events=tuple(Name(n, NOWHERE) for n in ("go", "halt", "next")),
        switches=tuple(Name(n, NOWHERE) for n in ("motors", "walk", "quiet")),
        remote=None,
    )


def test_the_event_sent_is_the_first_that_helps_a_guard_of_the_first_phase() -> None:
    leaf = [Node("leaf", i) for i in range(4)]
    not_halt = (
        (leaf[0], Node("not", 1), leaf[1], Node("all", 2)),
        (OnEvent(1, NOWHERE), OnEvent(2, NOWHERE)),
    )
    assert follow(guarded(not_halt), [0.0] * 150).events[100] == 1 << 2
    twice_not = ((leaf[0], Node("not", 1), Node("not", 1)), (OnEvent(1, NOWHERE),))
    assert follow(guarded(twice_not), [0.0] * 150).events[100] == 1 << 1
    by_switch = ((leaf[0],), (OnSwitch(0, False, NOWHERE),))
    assert not follow(guarded(by_switch), [0.0] * 150).events.any()


def test_a_switch_that_stops_the_machine_from_anywhere_is_left_off() -> None:
    leaf = [Node("leaf", i) for i in range(3)]
    go = ((leaf[0],), (OnEvent(0, NOWHERE),))
    halt = (
        (leaf[1], leaf[2], Node("not", 1), Node("any", 2)),
        (OnSwitch(2, False, NOWHERE), OnSwitch(0, False, NOWHERE)),
    )
    assert follow(guarded(go, halt, stop=True), [0.0]).switches.tolist() == [0b011]
