"""Margins of guards: against signal temporal logic, and over each wait.

Quantitative semantics: G. E. Fainekos, G. J. Pappas, "Robustness of temporal logic specifications for
continuous-time signals", Theoretical Computer Science 410, 2009, pp. 4262-4291: x >= c is worth x - c, `and`
the minimum, `or` the maximum, `not` the negative, "eventually" the maximum over its time.
Calculated by rtamt 0.4 (https://pypi.org/project/rtamt) or by hand.
"""

import math
import random
import warnings
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from support import plans as p
from support.plans import Expr, Phase, hold_ms, hold_samples, make_plan, signal
from support.play import tick
from support.walks_by_hand import record

from sequencer.base.errors import MisuseError
from sequencer.history.margins import GuardVisit, guard_margins, guard_unit, guard_visits, wanted
from sequencer.history.run import Run
from sequencer.plan.tables import Plan

GO = p.event("go")
XYZ = [signal(name, low=-100.0, high=100.0, lost_after_ms=30) for name in "xyz"]


def waiting(guard: Expr, hold: p.HoldSpec = None, **more: object) -> Plan:
    return make_plan(
        {"walk": [Phase("wait", [("done", guard, hold)]), Phase("done", [("wait", GO)])]},
        **{"signals": XYZ, **more},  # type: ignore[arg-type]
    )


def rtamt_robustness(formula: str, columns: Mapping[str, Sequence[float]]) -> list[float]:
    with warnings.catch_warnings():
        # the parser that rtamt brings along imports a module that Python 3.12 has dropped
        warnings.simplefilter("ignore", DeprecationWarning)
        import rtamt
    spec = rtamt.StlDiscreteTimeSpecification()
    for name in columns:
        spec.declare_var(name, "float")
    spec.declare_var("out", "float")
    spec.spec = f"out = {formula}"
    spec.parse()
    steps = len(next(iter(columns.values())))
    answer = spec.evaluate({"time": list(range(steps)), **{k: list(v) for k, v in columns.items()}})
    return [value for _, value in answer]


CASES = [
    ("x >= 1.5", p.at_least("x", 1.5)),
    ("x > 1.5", p.above("x", 1.5)),
    ("x <= 1.5", p.at_most("x", 1.5)),
    ("(x >= -2) and (x <= 3)", p.within("x", -2, 3)),
    ("(x < -2) or (x > 3)", p.outside("x", -2, 3)),
    ("(x >= 1) and (y <= 2)", p.all_of(p.at_least("x", 1), p.at_most("y", 2))),
    ("(x >= 1) or (y <= 2)", p.any_of(p.at_least("x", 1), p.at_most("y", 2))),
    ("not (x >= 1)", p.not_(p.at_least("x", 1))),
    (
        "((x >= 1) and (not ((y <= 2) or (z > -1)))) or (z < -4)",
        p.any_of(
            p.all_of(p.at_least("x", 1), p.not_(p.any_of(p.at_most("y", 2), p.above("z", -1)))),
            p.below("z", -4),
        ),
    ),
]


@pytest.mark.parametrize(("formula", "guard"), CASES, ids=[formula for formula, _ in CASES])
def test_guard_margins_are_the_robustness_that_rtamt_calculates(formula: str, guard: Expr) -> None:
    # a hold that is never met keeps the guard looked at; quarters are exact in binary32 and binary64
    rng = random.Random(formula)
    columns = {name: [rng.randrange(-24, 24) / 4 for _ in range(60)] for name in "xyz"}
    plan = waiting(guard, hold_ms(10_000_000))
    ticks = [tick(**dict(zip("xyz", row, strict=True))) for row in zip(*columns.values(), strict=True)]
    run = record(plan, ticks)
    assert run.history is not None
    assert run.history.detail is not None
    truth, margin = guard_margins(plan, 0, run.history.detail)
    expected = rtamt_robustness(formula, columns)
    assert margin[1:].tolist() == expected[1:]  # guards are not looked at in the first tick
    # the sign of the margin is the truth, wherever it is not 0 (soundness)
    assert all((m > 0) == (t == 2) for m, t in zip(margin[1:], truth[1:], strict=True) if m != 0)
    # the best margin of a wait is "eventually" over it
    (visit,) = guard_visits(run)
    assert (
        visit.best == rtamt_robustness(f"eventually ({formula})", {k: v[1:] for k, v in columns.items()})[0]
    )


def test_always_and_eventually_by_hand() -> None:
    # x = 1 3 2 -1 4 5 .5: F(x >= 4) is +1 and G(x >= 0) is -1 at the start, worked out by hand
    x = (1, 3, 2, -1, 4, 5, 0.5)
    run = record(waiting(p.at_least("x", 4), hold_ms(1000)), [tick(), *[tick(x=v) for v in x]])
    assert guard_visits(run)[0].best == 1
    run = record(waiting(p.not_(p.at_least("x", 0)), hold_ms(1000)), [tick(), *[tick(x=v) for v in x]])
    assert -guard_visits(run)[0].best == -1


def margins(run: Run, guard: int = 0) -> list[float | None]:
    assert run.history is not None
    assert run.history.detail is not None
    found = guard_margins(run.plan, guard, run.history.detail)[1]
    return [None if np.isnan(x) else float(x) for x in found]


INF = math.inf


@pytest.mark.parametrize(
    ("guard", "ticks", "expected"),
    [
        # events and switches are worth plus or minus infinity
        (p.all_of(GO, p.above("x", 1)), [tick(x=3), tick(events="go"), tick()], [None, 2, -INF]),
        (p.any_of(GO, p.above("x", 1)), [tick(x=3), tick(events="go"), tick()], [None, INF, 2]),
        (p.not_(p.lost("x")), [tick(), tick(), tick()], [None, INF, INF]),
        # unknown has no margin
        (p.above("x", 1), [tick(), tick(), tick(x=3)], [None, None, 2]),
        (p.all_of(p.above("x", 1), p.above("y", 1)), [tick(), tick(x=3), tick(y=2)], [None, None, 1]),
        # false although a part is unknown: by the smallest known part
        (p.all_of(p.above("x", 1), p.above("y", 1)), [tick(), tick(x=-3), tick()], [None, -4, -4]),
        # true although a part is unknown: by the largest known part
        (p.any_of(p.above("x", 1), p.above("y", 1)), [tick(), tick(x=3), tick()], [None, 2, 2]),
        # an unknown group counts for nothing, even if one of its parts is known
        (
            p.any_of(p.all_of(p.above("x", 1), p.above("y", 1)), p.above("z", 1)),
            [tick(), tick(x=9, z=2), tick()],
            [None, 1, 1],
        ),
    ],
)
def test_parts_that_are_unknown_or_compare_nothing(
    guard: Expr, ticks: list[object], expected: list[float | None]
) -> None:
    run = record(waiting(guard, hold_ms(1000)), ticks)  # type: ignore[arg-type]
    assert margins(run) == expected


def test_a_guard_whose_comparisons_differ_in_unit_has_no_margin() -> None:
    mixed = [XYZ[0], signal("y", unit="mm")]
    plan = waiting(p.all_of(p.above("x", 1), p.above("y", 1)), signals=mixed)
    run = record(plan, [tick(), tick(x=3, y=3), tick()])
    assert margins(run) == [None, None, None]
    assert guard_unit(plan, plan.guards[0]) is None
    assert guard_unit(plan, waiting(p.above("x", 1)).guards[0]) == "deg"


def visits(guard: Expr, hold: p.HoldSpec, values: Sequence[float]) -> list[GuardVisit]:
    return guard_visits(record(waiting(guard, hold), [tick(x=v) for v in values]))


def test_a_visit_tells_how_near_how_long_and_with_what_margin_it_fired() -> None:
    values = (0, 2, 6, 7, 3, 6, 9, 8, 0, 0)
    first, in_done = visits(p.above("x", 5), hold_ms(20), values)
    # rows 2, 3 true, 4 not, 5, 6, 7 true: 20 ms have passed in row 7
    assert (first.fired, first.stay.to_tick, first.ticks, first.true_ticks) == (True, 7, 7, 5)
    assert (first.longest_true_ms, first.best, first.best_ms, first.at_firing) == (20, 4, 60, 3)
    assert (in_done.stay.phase, in_done.fired, in_done.true_ticks) == (1, False, 0)


def test_a_wait_that_the_end_of_the_run_cuts_off_did_not_fire() -> None:
    (only,) = visits(p.above("x", 5), hold_samples(3), (0, 6, 7))
    assert (only.fired, only.ticks, only.true_ticks, only.best) == (False, 2, 2, 2)
    assert math.isnan(only.at_firing)


def test_each_stay_has_its_own_visits() -> None:
    ticks = [tick(x=0), tick(x=6), tick(events="go"), tick(x=1), tick(x=8), tick()]
    found = guard_visits(record(waiting(p.above("x", 5)), ticks))
    assert [(v.guard, v.fired, v.best) for v in found] == [
        (0, True, 1),
        (1, True, INF),  # the event
        (0, True, 3),
        (1, False, -INF),
    ]


def test_wanted_tells_which_truth_helps() -> None:
    plan = waiting(p.all_of(GO, p.not_(p.any_of(p.lost("x"), p.not_(p.above("y", 1)))), p.below("z", 1)))
    assert wanted(plan.guards[0]) == {0: 2, 1: 0, 2: 2, 3: 2}


def test_margins_of_a_run_without_detail_are_misuse() -> None:
    plan = waiting(p.above("x", 5))
    for run in (record(plan, [tick()], detail=False), record(plan, [tick()], keep_ticks=False)):
        with pytest.raises(MisuseError, match="detail"):
            guard_visits(run)
