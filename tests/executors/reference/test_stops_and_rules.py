"""Steps 10 to 12 of a tick: drives in stop phases (IEC 60204-1 stop categories), rules, reset."""

import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.plans import Phase, Rule, hold_ms, make_plan, parameter, setpoint, signal
from support.play import Play, tick

from sequencer.history.compare import first_difference
from sequencer.plan.tables import Level, Plan

GO, HALT = p.event("go"), p.event("halt")


def stopping(category: int | None) -> Plan:
    """`halt` leads to a phase of that stop category, in which `bend` takes four ticks to come down."""
    return make_plan(
        {
            "walk": [
                Phase("up", [("down", HALT)], set={"bend": 2}),
                Phase("down", [("up", GO)], set={"bend": 0}, stop=category),  # type: ignore[arg-type]
            ]
        },
        setpoints=[setpoint("bend", step=0.5, start=2.0), setpoint("other")],
    )


@pytest.mark.parametrize(
    ("category", "drives"),
    [
        # IEC 60204-1: category 0 removes the power at once, 1 brings to a stop under power and then removes
        # it, 2 stops and keeps the power on
        (0, [1, 0, 0, 0, 0, 0]),
        (1, [1, 1, 1, 1, 0, 0]),
        (2, [1, 1, 1, 1, 1, 1]),
        (None, [1, 1, 1, 1, 1, 1]),
    ],
)
def test_drives_go_off_by_stop_category_and_setpoints_go_on_ramping(
    make_executor: MakeExecutor, category: int | None, drives: list[int]
) -> None:
    play = Play(make_executor, stopping(category)).ticks(tick(), tick(events="halt"), *[tick()] * 4)
    assert play.drives() == drives
    assert play.setpoint("bend") == [2.0, 1.5, 1.0, 0.5, 0.0, 0.0]
    play.ticks(tick(events="go"), tick())
    assert play.drives()[-2:] == [1, 1]


def test_drives_that_are_off_stay_off_while_the_target_moves_away_again(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("up", [("down", HALT)]), Phase("down", set={"bend": Level(None, 0)}, stop=1)]},
        setpoints=[setpoint("bend", step=0.5)],
        parameters=[parameter("low", 0)],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(events="halt"), tick(writes=[("low", 3)]), tick())
    assert play.setpoint("bend")[-1] == 1.0
    assert play.drives() == [1, 0, 0, 0]


def test_one_sequence_off_means_all_off_until_no_sequence_is_in_a_stop_phase(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {
            "one": [Phase("a", [("off", HALT)]), Phase("off", [("a", GO)], stop=0)],
            "two": [Phase("b", [("hold", HALT)]), Phase("hold", [("b", p.switch("motors"))], stop=2)],
        }
    )
    play = Play(make_executor, plan).ticks(
        tick(), tick(events="halt"), tick(events="go"), tick(), tick(switches="motors")
    )
    assert play.phases(0) == ["a", "off", "a", "a", "a"]
    assert play.drives() == [1, 0, 0, 0, 1]


def test_a_controlled_stop_waits_for_the_setpoints_of_all_sequences(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {
            "one": [Phase("a", [("stop", HALT)]), Phase("stop", stop=1)],
            "two": [Phase("b", [("move", HALT)], set={"x": 0}), Phase("move", set={"x": 1})],
        },
        setpoints=[setpoint("x", step=0.5)],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(events="halt"), tick(), tick())
    assert play.drives() == [1, 1, 0, 0]


@pytest.mark.parametrize(("category", "drives"), [(0, [0, 0]), (1, [1, 0]), (2, [1, 1]), (None, [1, 1])])
def test_drives_are_on_from_reset_unless_the_first_phase_stops(
    make_executor: MakeExecutor, category: int | None, drives: list[int]
) -> None:
    plan = make_plan(
        {"walk": [Phase("first", set={"x": 1}, stop=category)]},  # type: ignore[arg-type]
        setpoints=[setpoint("x", step=0.5)],
    )
    assert Play(make_executor, plan).ticks(tick(), tick()).drives() == drives


# -- rules -------------------------------------------------------------------------------------------------

S = [signal("knee"), signal("roll")]


def test_a_rule_is_broken_only_if_while_is_true_and_must_is_false(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a")]}, signals=S, rules=[Rule("r", p.above("roll", 8), when=p.above("knee", 5))]
    )
    play = Play(make_executor, plan)
    play.ticks(tick(), tick(knee=0), tick(knee=9), tick(roll=0), tick(roll=9), tick(knee=0, roll=0))
    #           ? ?        no while      ? must       broken       kept          no while
    assert play.rule("r") == ["?", "kept", "?", "broken", "kept", "kept"]


def test_unknown_while_with_a_kept_must_is_kept(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a")]}, signals=S, rules=[Rule("r", p.above("roll", 8), when=p.above("knee", 5))]
    )
    assert Play(make_executor, plan).ticks(tick(roll=9), tick(roll=0)).rule("r") == ["kept", "?"]


def test_rules_see_the_new_phases_and_counters_and_no_events(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)]), Phase("b", count=["n"])]},
        counters=["n"],
        rules=[
            Rule("in a", p.in_phase("walk", "a")),
            Rule("none", p.below("n", 1)),
            Rule("no event", p.not_(GO)),
        ],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(events="go"))
    assert [play.rule(r) for r in ("in a", "none", "no event")] == [
        ["kept", "broken"],
        ["kept", "broken"],
        ["kept", "kept"],
    ]


def test_rules_see_the_new_targets(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)], set={"lean": 0}), Phase("b", set={"lean": 10})]},
        signals=S,
        setpoints=[setpoint("lean", step=1.0, followers=[(1, 0.0)])],
        rules=[Rule("r", p.at_target("lean", 2))],
    )
    play = Play(make_executor, plan).ticks(tick(roll=0), tick(events="go"), tick(roll=9))
    assert play.rule("r") == ["kept", "broken", "kept"]


def test_a_rule_may_have_a_hold_and_its_latches_clear_only_on_reset(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("a", GO)])]},
        signals=S,
        rules=[
            Rule("held", p.below("knee", 5), hold=hold_ms(20)),
            Rule("latched", p.above("roll", 5, release=2)),
        ],
    )
    play = Play(make_executor, plan)
    play.ticks(
        tick(knee=9, roll=6),
        tick(roll=3, events="go"),
        tick(),
        tick(knee=0),
        tick(knee=9, reset=True, roll=3),
    )
    assert play.rule("held") == ["kept", "kept", "broken", "kept", "kept"]
    assert play.rule("latched") == ["kept", "kept", "kept", "kept", "broken"]


# -- reset -------------------------------------------------------------------------------------------------

BUSY = make_plan(
    {
        "one": [Phase("a", [("b", GO)], set={"x": 4}, count=["n"], pulse=["horn"]),
                Phase("b", [("off", p.above("knee", 5), hold_ms(20))], set={"x": 8}, count=["n"]),
                Phase("off", stop=0)],
    },
    signals=[signal("knee", lost_after_ms=50), signal("roll")],
    setpoints=[setpoint("x", step=1.0, start=2.0)],
    parameters=[parameter("angle", 5, 0, 10)],
    counters=["n"],
    pulses=["horn"],
    anywhere=[("off", HALT)],
    rules=[Rule("r", p.below("knee", 20), to="off")],
)  # fmt: skip


def test_a_reset_in_the_middle_starts_everything_over_but_the_parameters(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, BUSY)
    play.ticks(tick(knee=30, roll=1, writes=[("angle", 7)]), tick(events="go"), tick(writes=[("angle", 70)]))
    play.ticks(tick(knee=float("nan"), reset=True, events="go halt"))
    assert play.phases()[-1] == "a"
    assert play.causes()[-1] == "reset"  # no guard and no `anywhere` is looked at
    assert play.truths(0)[-1] == "-"
    assert play.counter("n")[-1] == 1
    assert play.setpoint("x")[-1] == 3.0  # from its start, one step
    assert play.signal("knee")[-1] == 0.0
    assert play.states("knee")[-1] == play.states("roll")[-1] == ""  # unseen again
    assert play.drives()[-1] == 1
    assert play.record.pulses[-1] == 1
    assert play.executor.parameters == (7.0,)  # type: ignore[attr-defined]
    assert play.totals("knee") == (1, 0, 0)  # the sample of the reset tick itself
    assert play.record.refused == 0


def test_after_a_reset_silence_counts_from_its_tick(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, BUSY).ticks(tick(now=1000, knee=1), tick(now=2000, reset=True))
    play.ticks(tick(now=2050), tick(now=2051))
    assert play.states("knee") == ["sf", "", "", "l"]


def test_a_rule_that_was_broken_before_a_reset_does_not_act_after_it(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, BUSY).ticks(tick(), tick(knee=30), tick(reset=True), tick())
    assert play.rule("r") == ["?", "broken", "?", "?"]
    assert play.causes() == ["reset", "", "reset", ""]


def test_a_write_of_the_reset_tick_is_taken_or_refused_and_counted(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, BUSY).ticks(tick(writes=[("angle", 70)]))
    assert play.record.refused == 1
    play.ticks(tick(reset=True, writes=[("angle", 6), ("angle", -1), ("angle", -2)]))
    assert play.record.refused == 2
    assert play.executor.parameters == (6.0,)  # type: ignore[attr-defined]


def test_calling_reset_is_the_same_as_the_reset_bit(make_executor: MakeExecutor) -> None:
    by_bit = Play(make_executor, BUSY).ticks(
        tick(knee=9), tick(events="go"), tick(), tick(reset=True), tick(knee=1)
    )
    by_call = Play(make_executor, BUSY).ticks(tick(knee=9), tick(events="go"), tick())
    by_call.executor.reset()
    by_call.ticks(tick(), tick(knee=1))
    for play in (by_bit, by_call):
        assert play.causes() == ["reset", "guard 0", "", "reset", ""]
    assert first_difference(BUSY, by_bit.record, by_call.record) is None


def test_after_a_reset_a_write_moves_no_target_that_was_set_before_it(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", GO)]), Phase("b", set={"x": Level(None, 0)})]},
        setpoints=[setpoint("x", start=1.0)],
        parameters=[parameter("p", 5)],
    )
    play = Play(make_executor, plan)
    play.ticks(tick(), tick(events="go"), tick(reset=True), tick(writes=[("p", 6)]))
    assert play.target("x") == [1.0, 5.0, 1.0, 1.0]


def test_a_reset_turns_the_drives_on_until_a_first_phase_that_stops_has_arrived(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan({"walk": [Phase("first", set={"x": 1}, stop=1)]}, setpoints=[setpoint("x", step=0.5)])
    play = Play(make_executor, plan).ticks(tick(), tick(), tick(), tick(reset=True), tick())
    assert play.drives() == [1, 0, 0, 1, 0]
