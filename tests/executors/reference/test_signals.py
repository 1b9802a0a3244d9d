"""Step 2 of a tick: samples, lostness, the wrap of the clock."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.executors import MakeExecutor
from support.plans import Phase, any_of, lost, make_plan, not_, signal, switch
from support.play import Play, tick

from sequencer.base.places import NOWHERE
from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.tables import Believe, Remote

NAN, INF = float("nan"), float("inf")


def one_phase(*signals: object, **more: object) -> object:
    """A plan that only listens; `halt` is its one way out."""
    return make_plan({"walk": [Phase("rest")]}, signals=signals, **more)  # type: ignore[arg-type]


SCALED = one_phase(
    signal(
        "counts", gain=0.0790514, bias=-8.0632415, low=0.0, high=60.0, believe=Believe("counts", 20.0, 1003.0)
    ),
    signal("reads", low=0.0, high=60.0, believe=Believe("reads", -5.0, 65.0)),
    signal("huge", gain=1e38, low=-1.0, high=1.0),
)


def test_a_raw_sample_is_scaled_in_two_binary32_steps(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, SCALED).ticks(tick(raw={"counts": 481.0}))
    f = np.float32
    assert play.signal("counts") == [float(f(f(481.0) * f(0.0790514)) + f(-8.0632415))]


@given(
    raw=st.floats(-4096, 4096, width=32),
    gain=st.floats(-8, 8, width=32),
    bias=st.floats(-512, 512, width=32),
)
def test_scaling_agrees_with_numpy_float32(raw: float, gain: float, bias: float) -> None:
    # numpy's float32 is IEEE 754 binary32, rounded after each operation
    plan = one_phase(signal("x", gain=gain, bias=bias))
    play = Play(ReferenceExecutor, plan).ticks(tick(raw={"x": raw}))
    expected = np.float32(raw) * np.float32(gain) + np.float32(bias)
    assert np.float32(play.signal("x")[0]).tobytes() == expected.tobytes()


def test_a_sample_given_as_value_skips_gain_and_bias(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, SCALED).ticks(tick(counts=12.5))
    assert play.signal("counts") == [12.5]


@pytest.mark.parametrize(
    ("sample", "totals", "state"),
    [
        # (bad, disbelieved, outside)
        (tick(raw={"counts": NAN}), (1, 0, 0), ""),
        (tick(raw={"counts": -INF}), (1, 0, 0), ""),
        (tick(counts=INF), (1, 0, 0), ""),
        (tick(raw={"counts": 19.0}), (0, 1, 0), ""),
        (tick(raw={"counts": 1004.0}), (0, 1, 0), ""),
        (tick(raw={"counts": 20.0}), (0, 0, 1), "sf"),  # believed, but below the span
        (tick(raw={"counts": 1003.0}), (0, 0, 1), "sf"),
        (tick(raw={"counts": 500.0}), (0, 0, 0), "sf"),
        (tick(counts=1200.0), (0, 0, 1), "sf"),  # a value has no counts to disbelieve
        (tick(counts=-0.25), (0, 0, 1), "sf"),
    ],
)
def test_what_is_wrong_with_a_sample_is_counted_once(
    make_executor: MakeExecutor, sample: object, totals: tuple[int, int, int], state: str
) -> None:
    play = Play(make_executor, SCALED).ticks(sample)  # type: ignore[arg-type]
    assert play.totals("counts") == totals
    assert play.states("counts") == [state]


@pytest.mark.parametrize("form", ["raw", "value"])
@pytest.mark.parametrize(
    ("x", "totals", "state"),
    [(-5.5, (0, 1, 0), ""), (65.5, (0, 1, 0), ""), (-5.0, (0, 0, 1), "sf"), (30.0, (0, 0, 0), "sf")],
)
def test_the_value_that_a_sample_reads_is_judged_in_both_forms(
    make_executor: MakeExecutor, form: str, x: float, totals: tuple[int, int, int], state: str
) -> None:
    sample = tick(raw={"reads": x}) if form == "raw" else tick(reads=x)
    play = Play(make_executor, SCALED).ticks(sample)
    assert (play.totals("reads"), play.states("reads")) == (totals, [state])


def test_a_sample_that_overflows_when_scaled_is_bad(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, SCALED).ticks(tick(raw={"huge": 10.0}))
    assert play.totals("huge") == (1, 0, 0)


def test_a_sample_that_is_not_taken_leaves_the_value_as_it_was(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, SCALED).ticks(tick(reads=30), tick(), tick(reads=NAN), tick(reads=99))
    assert play.signal("reads") == [30.0] * 4
    assert play.states("reads") == ["sf", "s", "s", "s"]


LOSING = one_phase(signal("tilt", lost_after_ms=30), signal("always"))


def test_a_signal_is_lost_when_more_than_lost_after_has_passed(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LOSING).ticks(tick(tilt=1), *[tick()] * 4, tick(tilt=2), tick())
    assert play.states("tilt") == ["sf", "s", "s", "s", "sl", "sf", "s"]


def test_a_signal_that_never_came_is_lost_after_the_reset(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LOSING).ticks(*[tick()] * 6)
    assert play.states("tilt") == ["", "", "", "", "l", "l"]


def test_without_lost_after_a_signal_is_never_lost(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LOSING).ticks(tick(always=1), tick(now=4_000_000_000))
    assert play.states("always") == ["sf", "s"]


def test_a_bad_sample_does_not_end_lostness(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LOSING).ticks(tick(tilt=1), tick(now=100), tick(tilt=NAN))
    assert play.states("tilt")[-1] == "sl"


# 2^32 ms = 49.7103 days: arithmetic; the difference 705 - 4294967000 = 1001 modulo 2^32 is the worked
# example of an article on oshlab.com on the overflow of a 32-bit millisecond counter
WRAP = 4_294_967_000


def test_silence_is_measured_across_the_wrap_after_49_71_days(make_executor: MakeExecutor) -> None:
    assert math.isclose(2**32 / 86_400_000, 49.7103, abs_tol=1e-4)
    plan = one_phase(signal("tilt", lost_after_ms=1000))
    play = Play(make_executor, plan).ticks(
        tick(now=WRAP, tilt=1), tick(now=4_294_967_290), tick(now=704), tick(now=705)
    )
    assert play.states("tilt") == ["sf", "s", "s", "sl"]


def test_the_wrap_revives_nothing(make_executor: MakeExecutor) -> None:
    # exactly one wrap later the elapsed time is 0 again, but lost stays lost until fresh
    play = Play(make_executor, LOSING).ticks(
        tick(now=500, tilt=1), tick(now=600), tick(now=2**31), tick(now=2**32 - 1), tick(now=505)
    )
    assert play.states("tilt") == ["sf", "sl", "sl", "sl", "sl"]


REMOTE = Remote((0,), (0,), None, 30, NOWHERE)
LISTENING = make_plan(
    {
        "walk": [
            Phase(
                "rest",
                [
                    (
                        "rest",
                        not_(
                            any_of(
                                switch("motors", remote=True), lost("tilt"), lost(None), not_(lost("tilt"))
                            )
                        ),
                    )
                ],
            )
        ]
    },
    signals=[signal("tilt", lost_after_ms=30)],
    remote=REMOTE,
)  # leaves: 0 the switch, 1 lost: tilt, 2 lost: remote


def test_a_switch_is_unknown_until_the_remote_is_heard_and_again_when_it_is_lost(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, LISTENING)
    play.ticks(tick(heard=False), *[tick(heard=False, switches="motors")] * 2)
    play.ticks(
        tick(switches="motors"), tick(heard=False), *[tick(heard=False, switches="motors")] * 3, tick()
    )
    #                            reset, unheard, heard on, off, on, on, lost, heard off
    assert play.truths(0) == "-" + "??" + "T" + "F" + "TT" + "?" + "F"


def test_a_remote_that_was_never_heard_is_lost_after_the_reset(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LISTENING).ticks(*[tick(heard=False)] * 6)
    assert play.truths(2) == "-FFFTT"


def test_lost_is_never_unknown_and_a_sample_of_this_tick_ends_it(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LISTENING).ticks(*[tick()] * 5, tick(tilt=1), tick())
    assert play.truths(1) == "-FFFTFF"


def test_a_reset_forgets_that_the_remote_was_heard_and_counts_its_silence_anew(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, LISTENING).ticks(tick(switches="motors"), tick(switches="motors"))
    assert play.truths(0) == "-T"
    play.ticks(tick(now=1000, heard=False, reset=True), *[tick(heard=False, switches="motors")] * 4)
    assert play.truths(0)[2:] == "-????"
    assert play.truths(2)[2:] == "-FFFT"


def test_a_switch_that_the_remote_does_not_carry_is_known_without_it(make_executor: MakeExecutor) -> None:
    leave = [("rest", not_(any_of(switch("motors"), not_(switch("motors")))))]
    plan = make_plan({"walk": [Phase("rest", leave)]}, remote=REMOTE)
    unheard = [tick(heard=False, switches="motors" if i % 2 else "") for i in range(7)]
    assert Play(make_executor, plan).ticks(*unheard).truths(0) == "-TFTFTF"


def test_a_value_at_either_end_of_its_span_is_not_outside(make_executor: MakeExecutor) -> None:
    plan = make_plan({"walk": [Phase("rest")]}, signals=[signal("tilt", low=-45.0, high=45.0)])
    play = Play(make_executor, plan).ticks(tick(tilt=-45), tick(tilt=45))
    assert play.totals("tilt") == (0, 0, 0)
    play.ticks(tick(tilt=float(np.nextafter(np.float32(45), np.float32(50)))))
    assert play.totals("tilt") == (0, 0, 1)


def test_a_remote_that_cannot_be_lost_is_known_once_it_was_heard(make_executor: MakeExecutor) -> None:
    leave = [("rest", not_(any_of(switch("motors", remote=True), not_(switch("motors", remote=True)))))]
    remote = Remote((), (0,), None, None, NOWHERE)
    plan = make_plan({"walk": [Phase("rest", leave)]}, remote=remote)
    times = [tick(heard=False), tick(heard=False), tick(), tick(heard=False, now=10**6, switches="motors")]
    assert Play(make_executor, plan).ticks(*times).truths(0) == "-?FT"
