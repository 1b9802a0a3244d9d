"""A run in a few figures, and what its guards had to spare."""

import numpy as np
import pytest
from numpy.typing import NDArray
from support import plans as p
from support.plans import Expr, Phase, Rule, make_plan, setpoint, signal
from support.play import Tick, tick, tick_block
from support.stork import stork_inputs, stork_plan
from support.walks_by_hand import record

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.drive import drive, drive_closed_loop
from sequencer.history.recorder import Recorder
from sequencer.history.run import Run, Write
from sequencer.history.spare import Spare, spares
from sequencer.history.summary import summary
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.follow import FollowOptions, FollowPlant

GO, HALT = p.event("go"), p.event("halt")


# -- what a guard had to spare -----------------------------------------------------------------------------


def two_phases(guard: Expr, **more: object) -> Plan:
    """`go` away from `a` by the guard, and on from `b` by `go`."""
    return make_plan(
        {"walk": [Phase("a", [("b", guard)]), Phase("b", [("c", GO)]), Phase("c")]},
        **{"signals": [signal("x", low=0.0, high=20.0, noise=0.1)], **more},  # type: ignore[arg-type]
    )


def rise_to(top: float, hold: int = 40, step: float = 0.5) -> list[Tick]:
    """x rises by `step` a tick, then stays at the top."""
    values = [step * i for i in range(int(top / step) + 1)]
    return [*[tick(x=v) for v in values], *[tick(x=top)] * hold]


def only(run: Run) -> Spare:
    (spare,) = spares(run)
    return spare


def test_a_guard_is_followed_on_to_the_end_of_the_phase_after_it() -> None:
    # fires at 5.5 (half a step past 5), but the signal goes on to 8: 3 to spare
    spare = only(record(two_phases(p.above("x", 5)), rise_to(8)))
    assert (spare.amount, spare.unit, spare.settled) == (3.0, "deg", True)
    assert spare.share == pytest.approx(3 / 20)
    assert (spare.fired_ms, spare.best_ms) == (110, 160)


def test_a_signal_that_only_just_made_it_has_little_to_spare() -> None:
    spare = only(record(two_phases(p.above("x", 5)), [*rise_to(5, hold=5), *[tick(x=5.25)] * 40]))
    assert (spare.amount, spare.settled) == (0.25, True)


def test_a_signal_cut_off_on_its_way_gives_only_a_lower_bound() -> None:
    ticks = [*rise_to(7, hold=0), tick(x=7.5, events="go"), *[tick(x=9)] * 30]
    spare = only(record(two_phases(p.above("x", 5)), ticks))
    assert (spare.amount, spare.settled) == (2.5, False)


def test_where_no_signal_settled_the_line_says_at_least() -> None:
    ticks = [*rise_to(7, hold=0), tick(x=7.5, events="go"), *[tick(x=9)] * 30]
    assert "had at least 2.5 deg to spare" in summary(record(two_phases(p.above("x", 5)), ticks)).words
    settled = [*rise_to(5, hold=5), *[tick(x=5.25)] * 40]
    assert "had 0.25 deg to spare" in summary(record(two_phases(p.above("x", 5)), settled)).words


def test_a_peak_within_the_time_counts_although_the_signal_falls_again() -> None:
    values = [0, 2, 4, 6, 8, 6, 4, 2, *[0] * 30]
    spare = only(record(two_phases(p.above("x", 5)), [tick(x=v) for v in values]))
    assert (spare.amount, spare.settled) == (3.0, True)


@pytest.mark.parametrize(
    ("guard", "amount"),
    [
        (p.all_of(p.above("x", 5), p.below("x", 9)), 2.0),  # at 7 both have 2
        (p.any_of(p.above("x", 5), p.below("x", -9)), 3.0),
        (p.not_(p.below("x", 5)), 3.0),
        (p.within("x", 6, 12), 2.0),
        (p.all_of(p.above("x", 5), p.not_(p.lost("x"))), 3.0),
        (p.above("x", 5, release=1), 3.0),  # against the threshold, not its release
    ],
)
def test_parts_are_combined(guard: Expr, amount: float) -> None:
    assert only(record(two_phases(guard), rise_to(8))).amount == amount


def test_units_are_compared_by_the_share_of_the_span() -> None:
    # x has 3 of 20 deg (15 %), y 12 of 100 mm (12 %): y has less to spare
    plan = two_phases(
        p.all_of(p.above("x", 5), p.above("y", 30)),
        signals=[signal("x", low=0.0, high=20.0), signal("y", unit="mm", low=0.0, high=100.0)],
    )
    ticks = [tick(x=0, y=0), *[tick(x=8, y=42)] * 40]
    spare = only(record(plan, ticks))
    assert (spare.amount, spare.unit, spare.signal) == (pytest.approx(12.0), "mm", 1)


def test_what_compares_no_signal_has_nothing_to_spare() -> None:
    assert spares(record(two_phases(GO), [tick(events="go")] * 5)) == []
    plan = two_phases(p.any_of(GO, p.above("x", 5)))
    assert spares(record(plan, [tick(x=1), tick(events="go"), *[tick(x=1)] * 20])) == []


def test_ways_into_and_out_of_stop_phases_do_not_count() -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("b", p.above("x", 5))]), Phase("b", [("a", p.above("x", 5))], stop=2)]},
        signals=[signal("x")],
    )
    assert spares(record(plan, [tick(x=0), *[tick(x=9)] * 9])) == []


def test_followers_are_followed_while_the_setpoint_keeps_its_target() -> None:
    # reached within 2 of 10 fires at 8; while b keeps the target, x goes on to 10: 2 to spare
    plan = make_plan(
        {
            "walk": [
                Phase("a", [("b", p.reached("lean", 2))], set={"lean": 10}),
                Phase("b", [("c", p.below("y", 0))]),
                Phase("c", [("a", p.reached("lean", 2))], set={"lean": 0}),
            ]
        },
        signals=[signal("x", noise=0.1), signal("y")],
        setpoints=[setpoint("lean", step=1.0, followers=[(0, 0.0)])],
    )
    up, down = list(range(11)), list(range(10, -1, -1))
    ticks = [
        *[tick(x=v, y=1) for v in up],
        *[tick(x=10)] * 30,
        tick(y=-1),
        *[tick(x=v) for v in down],
        tick(x=0),
    ]
    first, from_b, last = spares(record(plan, ticks))
    assert (first.amount, first.settled) == (2.0, True)
    assert from_b.amount == 1.0
    # on the way down it fires at 2 and the target turns at once: nothing is known but the margin then
    assert (last.amount, last.settled) == (0.0, False)


# -- the summary -------------------------------------------------------------------------------------------


def walked(options: FollowOptions, ticks: int = 3000, *, detail: bool = True) -> Run:
    plan = stork_plan()
    recorder = Recorder(plan, keep_ticks=detail)
    return drive_closed_loop(
        ReferenceExecutor(plan), FollowPlant(plan, options), ticks, recorder, detail=detail
    )


def test_a_walk_that_goes_well_in_one_line() -> None:
    found = summary(walked(FollowOptions(noise=False)))
    assert (found.steps, found.steps_of, found.cycles, found.faults) == (9, "counter steps", 4, ())
    assert found.words.startswith(
        f"made {found.steps} steps (counter steps) in 30.0 s; tightest guard: lean_"
    )
    assert found.words.endswith("s")
    assert found.tightest is not None
    assert found.tightest.amount == pytest.approx(2.0, abs=1e-3)  # all of the 2 deg by which it may be short


def test_a_leg_that_only_just_gets_there_is_the_tightest_guard() -> None:
    # the left leg stops 1.7 deg short of its place, 2 deg are allowed: 0.3 deg to spare
    found = summary(walked(FollowOptions(noise=False, limit={"left_leg_roll": 15.3})))
    assert found.steps > 5
    assert found.tightest_way == "lean_right -> lift_left"
    assert "tightest guard: lean_right -> lift_left had 0.3 deg to spare" in found.words


def test_a_leg_that_does_not_get_there_is_a_fault() -> None:
    found = summary(walked(FollowOptions(noise=False, limit={"left_leg_roll": 9})))
    assert (found.steps, found.cycles) == (0, 0)
    (fault,) = found.faults
    assert (fault.kind, fault.at_ms) == ("timeout", 6000)
    assert "left_leg_roll to come within 2 deg of 17 deg" in fault.words
    assert [wait.phase_name for wait in found.waiting] == ["safe"]


def test_without_detail_it_says_so() -> None:
    found = summary(walked(FollowOptions(noise=False), 2000, detail=False))
    assert not found.measured
    assert found.tightest is None
    assert found.words.endswith("margins were not recorded")
    assert found.slowest is not None


def test_without_counters_the_visits_are_counted() -> None:
    plan = make_plan({"walk": [Phase("a", [("b", GO)]), Phase("b", [("c", GO)]), Phase("c", [("b", GO)])]})
    found = summary(record(plan, [tick(events="go")] * 8))
    # a b c b c b c b
    assert (found.steps, found.steps_of, found.cycles) == (4, "visits of b", 3)


def test_broken_rules_and_stops_from_anywhere_are_faults() -> None:
    plan = make_plan(
        {"walk": [Phase("a", [("a", GO)]), Phase("safe", stop=0)]},
        signals=[signal("x")],
        anywhere=[("safe", HALT)],
        rules=[Rule("level", p.below("x", 5))],
    )
    found = summary(record(plan, [tick(x=0), tick(x=9), tick(x=9), tick(x=0), tick(events="halt"), tick()]))
    assert [(fault.kind, fault.at_ms, fault.words) for fault in found.faults] == [
        ("rule", 10, "rule level was broken for 20 ms: x was at least 5 deg"),
        ("stop", 40, "stopped in safe, anywhere 1: halt comes"),
    ]


def test_an_unjudged_rule_is_no_fault_and_a_rest_is_no_wait() -> None:
    plan = make_plan(
        {"walk": [Phase("a", rest=True, leave=[("a", GO)])]},
        signals=[signal("x")],
        rules=[Rule("level", p.below("x", 5))],
    )
    found = summary(record(plan, [tick(), tick(), tick(x=0)]))
    assert (found.faults, found.waiting) == ((), ())


def test_the_slowest_guard_is_the_one_that_used_most_of_its_timeout() -> None:
    plan = make_plan(
        {
            "walk": [
                Phase("a", [("b", p.above("x", 5))], timeout=(1000, "a")),
                Phase("b", [("a", p.below("x", 5))], timeout=(50, "a")),
            ]
        },
        signals=[signal("x")],
    )
    found = summary(record(plan, [tick(x=v) for v in (0, *[0] * 9, 9, 9, 9, 0, 0)]))
    # a took 100 of 1000 ms, b took 30 of 50 ms
    assert found.slowest is not None
    assert (found.slowest_way, found.slowest.waited_ms, found.slowest.of_ms) == ("b -> a", 30, 50)


def test_a_run_of_nothing_can_be_summed_up() -> None:
    found = summary(Recorder(stork_plan(), keep_ticks=True).finish())
    assert (found.ticks, found.steps, found.cycles, found.faults) == (0, 0, 0, ())
    assert found.words == "made 0 steps (counter steps) in 0 ms; margins were not recorded"


# -- driving -----------------------------------------------------------------------------------------------


def test_a_recording_is_driven_block_by_block() -> None:
    plan = stork_plan()
    blocks = (stork_inputs(100) for _ in range(3))
    run = drive(ReferenceExecutor(plan), blocks, Recorder(plan))
    assert run.ticks == 300


def test_parameter_writes_of_a_plant_keep_their_ticks() -> None:
    plan = make_plan({"walk": [Phase("a")]}, parameters=[p.parameter("q", 1, 0, 9)])

    class Trimming:
        def inputs(self, now_ms: int, setpoints: NDArray[np.float32]) -> TickBlock:
            writes = [("q", now_ms / 10)] if now_ms in (30, 70) else []
            return tick_block(plan, [tick(now=now_ms, writes=writes)])

    run = drive_closed_loop(ReferenceExecutor(plan), Trimming(), 10, Recorder(plan))
    assert run.writes == (Write(3, 0, 3.0, True), Write(7, 0, 7.0, True))
    assert [run.parameters_at(k)[0] for k in (2, 3, 6, 7)] == [1, 3, 3, 7]


def test_in_a_closed_loop_the_plant_sees_the_setpoints_of_the_tick_before() -> None:
    plan = stork_plan()
    seen: list[tuple[int, list[float]]] = []

    class Listening(FollowPlant):
        def inputs(self, now_ms, setpoints):  # type: ignore[no-untyped-def]
            seen.append((now_ms, setpoints.tolist()))
            return super().inputs(now_ms, setpoints)

    recorder = Recorder(plan, keep_ticks=True)
    run = drive_closed_loop(ReferenceExecutor(plan), Listening(plan, FollowOptions()), 1500, recorder)
    assert run.history is not None
    assert [now for now, _ in seen] == list(range(0, 15_000, 10))
    assert seen[0][1] == [0.0, 0.0, 0.0]
    assert [values for _, values in seen[1:]] == run.history.setpoint[:-1].tolist()
    assert run.history.now.tolist() == [now for now, _ in seen]


# -- a run that did not begin, and several counters --------------------------------------------------------


def test_a_walk_that_never_began_says_what_it_waited_for() -> None:
    ready = p.all_of(GO, p.switch("motors"))
    plan = make_plan({"walk": [Phase("standing", [("b", ready)], rest=True), Phase("b")]}, counters=["steps"])
    words = "made 0 steps (counter steps) in 20 ms; never left standing: guard 1 waited for go to come"
    assert summary(record(plan, [tick(switches="motors")] * 3)).words == words
    whole = words.replace("waited for go to come", "did not fire: go comes and motors is on")
    bare = summary(record(plan, [tick(switches="motors")] * 3, detail=False))
    assert bare.words == f"{whole}; margins were not recorded"
    assert "never left" not in summary(record(plan, [tick(), tick(events="go", switches="motors")])).words


def test_of_several_sequences_that_never_began_the_first_is_told_and_how_many() -> None:
    legs = {leg: [Phase("stance", [("swing", GO)], rest=True), Phase("swing")] for leg in ("lf", "rf", "lh")}
    words = "never left stance: guard 1 waited for go to come (and 2 sequences more)"
    assert summary(record(make_plan(legs), [tick()] * 3)).words.endswith(f"; lf: {words}")


def test_counters_of_each_leg_are_added_up() -> None:
    names = ["lf_steps", "rf_steps", "turns"]
    legs = {
        leg: [
            Phase("stance", [("swing", p.event(leg))]),
            Phase("swing", [("stance", GO)], count=[f"{leg}_steps"]),
        ]
        for leg in ("lf", "rf")
    }
    plan = make_plan(legs, events=["go", "lf", "rf"], counters=names)
    run = record(plan, [tick(), tick(events="lf rf"), tick(events="go"), tick(events="lf"), tick()])
    assert summary(run).words.startswith("made 3 steps (steps: lf 2, rf 1) in ")


def test_of_counters_that_count_different_things_the_one_that_rose_most_is_told() -> None:
    phases = [Phase("a", [("b", GO)], count=["nods"]), Phase("b", [("a", GO)], count=["steps"])]
    plan = make_plan({"walk": phases}, counters=["steps", "nods"])
    assert summary(record(plan, [tick(events="go")] * 3)).words.startswith("made 2 steps (counter nods) in ")


def test_a_stop_of_several_sequences_is_told_once() -> None:
    legs = {
        leg: [Phase("stance", [("stance", GO)]), Phase("safe", [("stance", GO)], stop=0)]
        for leg in ("lf", "rf")
    }
    plan = make_plan(legs, anywhere=[("safe", HALT)])
    ticks = [tick(), tick(events="halt"), tick(events="go"), tick(), tick(events="halt"), tick()]
    assert [fault.at_ms for fault in summary(record(plan, ticks)).faults] == [10, 40]
