"""Steps 3, 4 and 13 of a tick: comparisons, three-valued logic, latches, margins."""

import math
from itertools import product

import numpy as np
import pytest
from support import plans as p
from support.executors import MakeExecutor
from support.plans import Expr, Phase, Rule, make_plan, setpoint, signal
from support.play import Play, tick

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Level, Plan

TILT = signal("tilt", lost_after_ms=30)


def judged(*musts: Expr, **more: object) -> Plan:
    """A plan with one rule for each expression, evaluated in every tick; leaf i is rule i's."""
    rules = [Rule(f"r{i}", must) for i, must in enumerate(musts)]
    return make_plan(
        {"walk": [Phase("rest", count=["steps"], leave=[("rest", p.event("go"))])]},
        rules=rules,
        counters=["steps"],
        **{"signals": [TILT], **more},  # type: ignore[arg-type]
    )


PLAIN = judged(
    p.at_least("tilt", 5), p.above("tilt", 5), p.at_most("tilt", 5), p.below("tilt", 5),
    p.within("tilt", -2, 5), p.outside("tilt", -2, 5),
)  # fmt: skip
UP, DOWN = (
    float(np.nextafter(np.float32(5), np.float32(9))),
    float(np.nextafter(np.float32(5), np.float32(0))),
)


@pytest.mark.parametrize(
    ("tilt", "truths", "margins"),
    [
        #            >=  >   <=  <  in  out
        (6.0, "TTFFFT", (1, 1, -1, -1, -1, 1)),
        (5.0, "TFTFTF", (0, 0, 0, 0, 0, 0)),
        (4.0, "FFTTTF", (-1, -1, 1, 1, 1, -1)),
        (-2.0, "FFTTTF", (-7, -7, 7, 7, 0, 0)),
        (-3.5, "FFTTFT", (-8.5, -8.5, 8.5, 8.5, -1.5, 1.5)),
        (UP, "TTFFFT", (UP - 5, UP - 5, 5 - UP, 5 - UP, 5 - UP, UP - 5)),
        (DOWN, "FFTTTF", (DOWN - 5, DOWN - 5, 5 - DOWN, 5 - DOWN, 5 - DOWN, DOWN - 5)),
    ],
)
def test_comparisons_and_their_margins(
    make_executor: MakeExecutor, tilt: float, truths: str, margins: tuple[float, ...]
) -> None:
    play = Play(make_executor, PLAIN).ticks(tick(tilt=tilt))
    assert "".join(play.truths(i) for i in range(6)) == truths
    assert [play.margins(i)[0] for i in range(6)] == list(margins)


def test_comparisons_of_an_unseen_or_lost_signal_are_unknown_and_have_no_margin(
    make_executor: MakeExecutor,
) -> None:
    play = Play(make_executor, PLAIN).ticks(tick(), tick(tilt=6), *[tick()] * 4, tick(tilt=6))
    for leaf in range(6):
        assert play.truths(leaf)[0] == "?"
        assert play.truths(leaf)[5] == "?"
        assert "?" not in play.truths(leaf)[1:5] + play.truths(leaf)[6:]
        assert [m is None for m in play.margins(leaf)] == [True, False, False, False, False, True, False]


def test_a_margin_is_rounded_to_binary32(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, judged(p.at_least("tilt", 0.1))).ticks(tick(tilt=f32(12.3)))
    assert play.margins() == [float(np.float32(12.3) - np.float32(0.1))]


# -- three-valued logic ------------------------------------------------------------------------------------

# S. C. Kleene, Introduction to Metamathematics, 1952, section 64, the strong tables; from memory
KLEENE_AND = {
    "TT": "T",
    "TF": "F",
    "T?": "?",
    "FT": "F",
    "FF": "F",
    "F?": "F",
    "?T": "?",
    "?F": "F",
    "??": "?",
}
KLEENE_OR = {
    "TT": "T",
    "TF": "T",
    "T?": "T",
    "FT": "T",
    "FF": "F",
    "F?": "?",
    "?T": "T",
    "?F": "?",
    "??": "?",
}
KLEENE_NOT = {"T": "F", "F": "T", "?": "?"}
BOTH = judged(
    p.all_of(p.above("a", 0), p.above("b", 0)),
    p.any_of(p.above("a", 0), p.above("b", 0)),
    p.not_(p.above("a", 0)),
    signals=[signal("a"), signal("b")],
)
AS_RULE = {"T": "kept", "F": "broken", "?": "?"}


@pytest.mark.parametrize("case", list(product("TF?", repeat=2)))
def test_all_any_and_not_follow_kleenes_tables(make_executor: MakeExecutor, case: tuple[str, str]) -> None:
    values = {name: 1.0 if t == "T" else -1.0 for name, t in zip("ab", case, strict=True) if t != "?"}
    play = Play(make_executor, BOTH).ticks(tick(**values))  # type: ignore[arg-type]
    both = "".join(case)
    assert play.rule("r0") == [AS_RULE[KLEENE_AND[both]]]
    assert play.rule("r1") == [AS_RULE[KLEENE_OR[both]]]
    assert play.rule("r2") == [AS_RULE[KLEENE_NOT[case[0]]]]


def test_every_comparison_is_evaluated_even_if_the_answer_is_certain(make_executor: MakeExecutor) -> None:
    # the second part's latch must move although the first part already decides
    plan = judged(p.any_of(p.above("a", 0), p.above("b", 5, release=2)), signals=[signal("a"), signal("b")])
    play = Play(make_executor, plan).ticks(tick(a=1, b=6), tick(a=1, b=3), tick(a=-1, b=3))
    assert play.truths(1) == "TTT"
    assert play.rule("r0") == ["kept"] * 3


# -- latches -----------------------------------------------------------------------------------------------

LATCHED = judged(
    p.at_least("tilt", 5, release=3), p.above("tilt", 5, release=3), p.at_most("tilt", -5, release=-3),
    p.below("tilt", -5, release=-3), p.within("tilt", -1, 1, release=(-2, 2)),
    p.outside("tilt", -10, 10, release=(-8, 8)), p.not_(p.above("tilt", 5, release=3)),
)  # fmt: skip


@pytest.mark.parametrize(
    ("leaf", "tilts", "truths"),
    [
        (0, (4, 5, 4, 3, 2.9, 3, 5), "FTTTFFT"),
        (1, (4, 5, 5.1, 3.1, 3, 5, 6), "FFTTFFT"),
        (2, (-4, -5, -4, -3, -2.9, -4), "FTTTFF"),
        (3, (-5, -5.1, -3.1, -3, -4), "FTTFF"),
        (4, (1.5, 1, 1.5, 2, 2.1, 1.5, -1, -2), "FTTTFFTT"),
        (5, (10, 10.1, 9, 8, 9, -10.1, -8.1, -8), "FTTFFTTF"),
    ],
)
def test_a_latch_uses_the_release_threshold_while_it_is_true(
    make_executor: MakeExecutor, leaf: int, tilts: tuple[float, ...], truths: str
) -> None:
    play = Play(make_executor, LATCHED).ticks(*[tick(tilt=x) for x in tilts])
    assert play.truths(leaf) == truths


def test_not_negates_the_result_and_leaves_the_latch(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LATCHED).ticks(*[tick(tilt=x) for x in (4, 6, 4, 3, 4)])
    assert play.truths(6) == "FTTFF"
    assert play.rule("r6") == ["kept", "broken", "broken", "kept", "kept"]


def test_unknown_clears_a_latch(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LATCHED).ticks(tick(tilt=6), *[tick()] * 4, tick(tilt=4))
    assert play.truths(0) == "TTTT?F"


def test_a_margin_is_against_the_threshold_in_force(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, LATCHED).ticks(*[tick(tilt=x) for x in (4, 6, 4, 2, 4)])
    assert play.margins(0) == [-1, 1, 1, -1, -1]


# -- counters ----------------------------------------------------------------------------------------------


def test_a_counter_compares_as_a_number_and_its_margin_is_in_counts(make_executor: MakeExecutor) -> None:
    plan = judged(p.at_least("steps", 3), p.within("steps", 2, 3), p.below("steps", 2.5))
    play = Play(make_executor, plan).ticks(*[tick(events="go")] * 5)
    assert play.counter("steps") == [1, 2, 3, 4, 5]
    assert play.truths(0) == "FFTTT"
    assert play.truths(1) == "FTTFF"
    assert play.margins(1) == [-1, 0, 0, -1, -2]
    assert play.margins(2) == [1.5, 0.5, -0.5, -1.5, -2.5]


# -- setpoints and what follows them -----------------------------------------------------------------------


def following(*leaves: Expr, target: float = 10.0, **more: object) -> Plan:
    """`lean` goes from 0 to the target on `go`; its followers stand 2 and -3 away from it."""
    rules = [Rule(f"r{i}", leaf) for i, leaf in enumerate(leaves)]
    return make_plan(
        {"walk": [Phase("rest", [("lean", p.event("go"))]), Phase("lean", [("lean", p.event("go"))],
                                                                   set={"lean": target})]},
        signals=[signal("left", lost_after_ms=100), signal("right", lost_after_ms=100)],
        setpoints=[
            setpoint("lean", step=1.0, followers=[(0, 2.0), (1, -3.0)]),
            setpoint("unset", start=4.0, followers=[(0, 0.0)]),
        ],
        rules=rules,
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


RISING = following(p.reached("lean", 2), p.at_target("lean", 2), p.at_target("lean", 2, release=4))
FALLING = following(p.reached("lean", 2), p.at_target("lean", 2), target=-10.0)
START = (tick(left=2, right=-3), tick(events="go"))  # both at their places for lean 0


@pytest.mark.parametrize(
    ("plan", "left", "right", "reached", "at_target"),
    [
        # targets: left 12, right 7
        (RISING, 12.0, 7.0, (True, 2.0), (True, 2.0)),
        (RISING, 10.0, 7.0, (True, 0.0), (True, 0.0)),
        (RISING, 9.5, 7.0, (False, -0.5), (False, -0.5)),
        (RISING, 12.0, 4.0, (False, -1.0), (False, -1.0)),  # all followers must be there
        (RISING, 20.0, 7.0, (True, 2.0), (False, -6.0)),  # past it counts as reached
        (RISING, 20.0, 20.0, (True, 10.0), (False, -11.0)),
        # targets: left -8, right -13
        (FALLING, -8.0, -13.0, (True, 2.0), (True, 2.0)),
        (FALLING, -6.0, -13.0, (True, 0.0), (True, 0.0)),
        (FALLING, -5.5, -13.0, (False, -0.5), (False, -0.5)),
        (FALLING, -20.0, -20.0, (True, 9.0), (False, -10.0)),
    ],
)
def test_reached_and_at_target_look_at_the_target_from_where_the_phase_began(
    make_executor: MakeExecutor,
    plan: Plan,
    left: float,
    right: float,
    reached: tuple[bool, float],
    at_target: tuple[bool, float],
) -> None:
    play = Play(make_executor, plan).ticks(*START, tick(left=left, right=right))
    assert (play.truths(0)[-1] == "T", play.margins(0)[-1]) == reached
    assert (play.truths(1)[-1] == "T", play.margins(1)[-1]) == at_target


def test_the_target_counts_and_not_the_ramp(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, RISING).ticks(*START, tick(left=4, right=-1))
    assert play.setpoint("lean")[-1] == 2.0  # the ramp is there
    assert play.truths(1)[-1] == "F"


def test_one_unknown_follower_makes_it_unknown(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, RISING).ticks(tick(left=2), tick(events="go"), tick(left=12))
    assert play.truths(0) == play.truths(1) == "???"
    assert play.margins(0) == [None] * 3


def test_at_target_with_a_release_uses_the_wider_tolerance_while_true(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, RISING).ticks(
        *START, tick(left=9, right=7), tick(left=10), tick(left=8), tick(left=7.5), tick(left=9)
    )
    assert play.truths(2)[2:] == "FTTFF"
    assert play.margins(2)[2:] == [-1.0, 0.0, 0.0, -0.5, -1.0]


def test_the_latch_of_at_target_clears_when_the_phase_is_entered_anew(make_executor: MakeExecutor) -> None:
    guard = p.all_of(p.at_target("lean", 2, release=3), p.event("halt"))
    plan = make_plan(
        {"walk": [Phase("a", [("a", p.event("go")), ("b", guard)]), Phase("b")]},
        signals=[signal("roll")],
        setpoints=[setpoint("lean", followers=[(0, 0.0)])],
    )
    play = Play(make_executor, plan).ticks(tick(), tick(roll=1), tick(roll=2.5), tick(events="go"), tick())
    assert play.truths(1) == "-TT-F"


def test_unknown_clears_the_latch_of_at_target(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, RISING).ticks(*START, tick(left=12, right=7), tick(left=9))
    play.ticks(*[tick(right=7)] * 11, tick(left=9, right=7))  # left is lost, then back where it was
    assert play.truths(2)[2:] == "TT" + "T" * 10 + "?" + "F"


def test_with_nothing_to_travel_reached_looks_from_both_sides(make_executor: MakeExecutor) -> None:
    # the second `go` enters the phase anew while the setpoint stands at its target already
    play = Play(make_executor, RISING).ticks(*START, *[tick()] * 12, tick(events="go"))
    play.ticks(
        tick(left=20, right=7), tick(left=14, right=7), tick(left=14.5, right=7), tick(left=10, right=5)
    )
    assert play.setpoint("lean")[-5] == 10.0
    assert play.truths(0)[-4:] == "FTFT"
    assert play.margins(0)[-4:] == [-6.0, 0.0, -0.5, 0.0]


def test_a_setpoint_that_no_phase_sets_is_looked_at_from_both_sides(make_executor: MakeExecutor) -> None:
    play = Play(make_executor, following(p.reached("unset", 1))).ticks(
        *[tick(left=x) for x in (4, 5, 5.5, 3, 2.5)]
    )
    assert play.truths(0) == "TTFTF"


def test_the_stance_offset_is_added_to_the_target_first(make_executor: MakeExecutor) -> None:
    # e = v - (t + offset), two binary32 operations; (v - t) - offset would give another last bit here
    target, offset, v = f32(8.7), f32(3.8), f32(13.8)
    plan = make_plan(
        {"walk": [Phase("rest", set={"lean": target})]},
        signals=[signal("left")],
        setpoints=[setpoint("lean", followers=[(0, offset)])],
        rules=[Rule("r0", p.at_target("lean", 2))],
    )
    e = np.float32(v) - (np.float32(target) + np.float32(offset))
    assert e != (np.float32(v) - np.float32(target)) - np.float32(offset)
    play = Play(make_executor, plan).ticks(tick(left=v))
    assert play.margins(0) == [float(np.float32(2) - abs(e))]


def test_the_distance_from_the_target_is_rounded_before_it_is_compared(make_executor: MakeExecutor) -> None:
    # 2 - (0 + -1e-9) is more than 2, and 2 in binary32
    plan = make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("left")],
        setpoints=[setpoint("lean", followers=[(0, -1e-9)])],
        rules=[Rule("r0", p.at_target("lean", 2)), Rule("r1", p.reached("lean", 2))],
    )
    play = Play(make_executor, plan).ticks(tick(left=2))
    assert play.rule("r0") == play.rule("r1") == ["kept"]


def test_a_threshold_may_be_a_parameter_plus_an_amount(make_executor: MakeExecutor) -> None:
    plan = judged(
        p.at_least("tilt", Level(None, 0)),
        p.at_least("tilt", Level(f32(0.2), 0)),
        p.at_least("tilt", Level(f32(0.2), 0, negated=True)),
        p.at_least("tilt", Level(None, 0, negated=True)),
        parameters=[p.parameter("lean_angle", 0.1)],
    )
    play = Play(make_executor, plan).ticks(tick(tilt=0), tick(writes=[("lean_angle", 3.0)]))
    q, plus = np.float32(0.1), np.float32(0.2)
    assert [play.margins(i)[0] for i in range(4)] == [
        float(-q),
        float(-(q + plus)),
        float(-(-q + plus)),
        float(q),
    ]
    assert [play.margins(i)[1] for i in range(4)] == [-3.0, f32(-f32(3 + plus)), f32(-f32(-3 + plus)), 3.0]
    assert all(m is not None and math.isfinite(m) for i in range(4) for m in play.margins(i))
