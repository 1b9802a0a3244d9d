"""Step 5 of a tick: how long a guard must stay true before it fires."""

import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.plans import Expr, HoldSpec, Phase, hold_ms, hold_samples, make_plan, signal
from support.play import Play, tick

from sequencer.plan.tables import Plan

TWO = [signal("a", lost_after_ms=50), signal("b", lost_after_ms=50)]


def held(guard: Expr, hold: HoldSpec, **more: object) -> Plan:
    return make_plan(
        {"walk": [Phase("wait", [("done", guard, hold)]), Phase("done")]},
        **{"signals": TWO, **more},  # type: ignore[arg-type]
    )


def fired(play: Play) -> int | None:
    """Give the row of the tick in which the guard fired."""
    phases = play.phases()
    return phases.index("done") if "done" in phases else None


# -- time --------------------------------------------------------------------------------------------------


def test_the_hold_is_the_on_delay_timer_of_iec_61131_3(make_executor: MakeExecutor) -> None:
    """Hold against the standard function block TON: PT = 300 ms, scanned every 100 ms.

    Table worked out by hand from the timing diagram (behaviour as described at openplcproject.com):
    ET starts with 0 in the scan that sees the rising edge, Q comes when ET >= PT and drops with IN.
    """
    scans = (0, 1, 1, 1, 1, 1, 0, 0, 0, 0, 1, 1, 0, 0)
    elapsed = (0, 0, 100, 200, 300, 300, 0, 0, 0, 0, 0, 100, 0, 0)
    q = (0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0)
    # a rule with a hold is broken while Q is true, and nothing else moves
    plan = make_plan(
        {"walk": [Phase("rest")]},
        switches=["in"],
        rules=[p.Rule("ton", p.not_(p.switch("in")), hold=hold_ms(300))],
        tick_ms=100,
    )
    play = Play(make_executor, plan).ticks(*[tick(switches="in" if on else "") for on in scans])
    assert [state == "broken" for state in play.rule("ton")] == [bool(x) for x in q]
    assert [e >= 300 for e in elapsed] == [bool(x) for x in q]  # the table agrees with itself


@pytest.mark.parametrize(
    ("values", "row"),
    [
        ((1, 1, 1, 1, 1), 4),  # entry, then true in rows 1..4: 30 ms have passed in row 4
        ((1, 1, -1, 1, 1, 1, 1), 6),  # false starts over
        ((1, 1, 1, 1, -1, 1, 1, 1, 1), 8),
        ((1, -1, 1, -1, 1, -1), None),
    ],
)
def test_a_hold_starts_on_the_first_true_tick(
    make_executor: MakeExecutor, values: tuple[float, ...], row: int | None
) -> None:
    plan = held(p.above("a", 0), hold_ms(30))
    assert fired(Play(make_executor, plan).ticks(*[tick(a=v) for v in values])) == row


def test_a_hold_of_nothing_is_met_at_once(make_executor: MakeExecutor) -> None:
    plan = held(p.above("a", 0), hold_ms(0))
    assert fired(Play(make_executor, plan).ticks(tick(a=1), tick(a=1))) == 1


def test_unknown_starts_a_hold_over(make_executor: MakeExecutor) -> None:
    plan = held(p.above("a", 0), hold_ms(80))
    # a is lost from row 6 on (60 ms > 50 ms), fresh again in row 7
    play = Play(make_executor, plan).ticks(tick(a=1), *[tick()] * 6, *[tick(a=1)] * 9)
    assert play.truths(0)[1:8] == "TTTTT?T"
    assert fired(play) == 15


def test_a_late_tick_counts_by_the_clock(make_executor: MakeExecutor) -> None:
    plan = held(p.above("a", 0), hold_ms(30))
    assert fired(Play(make_executor, plan).ticks(tick(a=1), tick(a=1), tick(now=35), tick(now=40))) == 3


def test_a_hold_runs_across_the_wrap_of_the_clock(make_executor: MakeExecutor) -> None:
    # 4294967290 to 5 are 11 ms: unsigned 32-bit difference; a comparison of now with start + T would fire at
    # once, because 4294967290 + 11 has wrapped to 5
    plan = held(p.above("a", 0), hold_ms(11))
    play = Play(make_executor, plan).ticks(
        tick(now=4_294_967_280),
        tick(now=4_294_967_290, a=1),
        tick(now=4_294_967_291),
        tick(now=4),
        tick(now=5),
    )
    assert fired(play) == 4


def test_a_met_hold_stays_met_while_the_clock_wraps(make_executor: MakeExecutor) -> None:
    plan = make_plan(
        {"walk": [Phase("rest")]},
        switches=["in"],
        rules=[p.Rule("r", p.not_(p.switch("in")), hold=hold_ms(30))],
    )
    times = (0, 10, 40, 2**31, 2**32 - 1, 9, 15)  # 9 and 15 are one wrap after the start, plus -1 and 5 ms
    play = Play(make_executor, plan).ticks(*[tick(now=t, switches="in" if t else "") for t in times])
    assert play.rule("r") == ["kept", "kept", *["broken"] * 5]


# -- fresh samples -----------------------------------------------------------------------------------------

BOTH = p.all_of(p.above("a", 0), p.above("b", 0))
EITHER = p.any_of(p.above("a", 0), p.above("b", 0))


@pytest.mark.parametrize(
    ("guard", "ticks", "row"),
    [
        # every sample of a, three times
        (p.above("a", 0), [tick(a=1)] * 4, 3),
        # ticks without a sample do not count
        (p.above("a", 0), [tick(), tick(a=1), tick(), tick(a=1), tick(), tick(a=1)], 5),
        # a sample in the entry tick does not: the guard is not looked at in it
        (p.above("a", 0), [tick(a=1), tick(), tick(a=1), tick(a=1), tick(a=1)], 4),
        # a false one starts over
        (p.above("a", 0), [tick(), tick(a=1), tick(a=1), tick(a=-1), tick(a=1), tick(a=1), tick(a=1)], 6),
        # each signal of the guard must have been fresh since the last rise, in any order
        (BOTH, [tick(), tick(a=1, b=1), tick(a=1), tick(b=1), tick(b=1), tick(a=1)], 5),
        (BOTH, [tick(), tick(a=1, b=1), *[tick(a=1)] * 4], None),
        # freshness is gathered only while the guard is true, that tick included
        (BOTH, [tick(b=-1), tick(a=1), tick(b=1), tick(a=1), tick(b=1), tick(a=1), tick(b=1), tick(a=1)], 7),
        # a dead sensor never satisfies a hold: nothing fresh, then lost
        (p.above("a", 0), [tick(a=1), *[tick()] * 20], None),
        # a lost one is waited for no longer if another one lives
        (EITHER, [tick(a=1, b=1), *[tick(a=1)] * 9], 8),
        # what was never seen but is not lost is waited for
        (EITHER, [tick(), *[tick(a=1)] * 4], None),
    ],
)  # fmt: skip
def test_a_hold_counts_fresh_samples(
    make_executor: MakeExecutor, guard: Expr, ticks: list[object], row: int | None
) -> None:
    plan = held(guard, hold_samples(3))
    assert fired(Play(make_executor, plan).ticks(*ticks)) == row  # type: ignore[arg-type]


def test_if_all_signals_are_lost_the_count_stands_still_and_a_met_one_stays_met(
    make_executor: MakeExecutor,
) -> None:
    # true through an event-like switch although the only compared signal is lost
    guard = p.any_of(p.above("a", 0), p.switch("motors"))
    rule = p.Rule("r", p.not_(guard), hold=hold_samples(2))
    plan = make_plan({"walk": [Phase("rest")]}, signals=TWO, rules=[rule])
    on = {"switches": "motors"}
    play = Play(make_executor, plan).ticks(
        tick(a=1, **on), *[tick(**on)] * 9, tick(a=-1, **on), *[tick(**on)] * 9
    )
    assert play.rule("r") == [*["kept"] * 10, *["broken"] * 10]


def test_the_signals_of_a_setpoints_followers_count_but_those_of_lost_do_not(
    make_executor: MakeExecutor,
) -> None:
    plan = make_plan(
        {
            "walk": [
                Phase(
                    "wait", [("done", p.all_of(p.at_target("lean", 2), p.not_(p.lost("b"))), hold_samples(2))]
                ),
                Phase("done"),
            ]
        },
        signals=TWO,
        setpoints=[p.setpoint("lean", followers=[(0, 0.0)])],
    )
    assert fired(Play(make_executor, plan).ticks(tick(), tick(a=1), tick(), tick(a=1))) == 3


def test_a_hold_gathers_the_samples_of_many_signals(make_executor: MakeExecutor) -> None:
    # more than the eight that fit into one byte; each comes in a tick of its own
    names = [f"s{i}" for i in range(19)]
    guard = p.all_of(*(p.above(name, 0) for name in names))
    plan = held(guard, hold_samples(2), signals=[signal(name) for name in names])
    play = Play(make_executor, plan).ticks(tick(**dict.fromkeys(names, 1.0)))  # type: ignore[arg-type]
    rounds = [tick(**{name: 1.0}) for name in names]  # type: ignore[arg-type]
    play.ticks(*rounds, *rounds[:-1], tick(), rounds[-1])
    assert fired(play) == 2 * len(names) + 1
    # any of them that stays away is waited for
    for missing in (0, 7, 8, 15, 16, 18):
        play = Play(make_executor, plan).ticks(tick(**dict.fromkeys(names, 1.0)))  # type: ignore[arg-type]
        play.ticks(*rounds, *(rounds[:missing] + rounds[missing + 1 :]) * 2)
        assert fired(play) is None


def test_a_hold_counts_more_samples_than_a_byte_holds(make_executor: MakeExecutor) -> None:
    plan = held(p.above("a", 0), hold_samples(300))
    assert fired(Play(make_executor, plan).ticks(*[tick(a=1)] * 310)) == 300


def test_latches_and_holds_keep_apart_however_many_there_are(make_executor: MakeExecutor) -> None:
    # more than 256 latches, timers and counts; only the guard of `b` that has the last slots is true
    many = [
        ("x", p.below("a", -40 + 0.1 * i, release=-39), hold_ms(5) if i % 2 else hold_samples(1))
        for i in range(249)
    ]
    last = [("done", p.above("a", 5, release=3), hold_ms(20))]
    plan = make_plan(
        {
            "one": [Phase("wait", many), Phase("x")],
            "two": [Phase("wait", many), Phase("x")],
            "three": [Phase("wait", many), Phase("x")],
            "four": [Phase("wait", last), Phase("done")],
        },
        signals=[signal("a")],
    )
    assert plan.latches > 512
    play = Play(make_executor, plan).ticks(tick(a=0), tick(a=6), tick(a=4), tick(a=4), tick(a=2))
    assert play.phases(3) == ["wait", "wait", "wait", "done", "done"]
    assert play.phases(0) == play.phases(1) == play.phases(2) == ["wait"] * 5
    play.ticks(tick(a=-45), tick(a=-45))
    assert play.phases(0)[-2:] == play.phases(2)[-2:] == ["x", "x"]
