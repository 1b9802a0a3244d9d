"""Who can stop the machine, and from where."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from support import plans as p

from sequencer.base.findings import Finding
from sequencer.check.questions import Askers
from sequencer.check.stop import check_stop
from sequencer.check.truth import operators_alone
from sequencer.plan.tables import Plan, Remote

TILT = p.signal("tilt", low=-45.0, high=45.0, lost_after_ms=100)
HALT, TILTED, OFF = p.event("halt"), p.above("tilt", 20), p.not_(p.switch("motors", remote=True))
Entry = tuple[str, p.Expr] | tuple[str, p.Expr, p.HoldSpec]


def plan_of(anywhere: Sequence[Entry], *, legs: int = 1, walk_out: p.Expr | None = None) -> Plan:
    """A walk of two phases and a stop per leg; `walk_out` leads from the second phase to the stop."""

    def leg() -> list[p.Phase]:
        return [
            p.Phase("rest", rest=True, leave=[("walk", p.event("go"))]),
            p.Phase("walk", leave=[("rest", TILTED), *([("stop", walk_out)] if walk_out else [])]),
            p.Phase("stop", stop=1, leave=[("rest", p.event("go"))]),
        ]

    sequences = {f"leg{i}": leg() for i in range(legs)}
    sequences["leg0"][0] = p.Phase("rest", rest=True, leave=[("walk", p.event("go"))], set={"lean": 0.0})
    return p.make_plan(
        sequences,
        signals=[TILT],
        setpoints=[p.setpoint("lean")],
        anywhere=anywhere,
        remote=Remote((), (0,), None, 300, p.NOWHERE),
    )


def told(plan: Plan) -> list[Finding]:
    return check_stop(plan, Askers(plan))


@pytest.mark.parametrize(
    ("guard", "alone"),
    [
        (HALT, True),
        (OFF, True),
        (p.any_of(TILTED, HALT), True),
        (p.any_of(p.lost("tilt"), p.all_of(HALT, p.switch("motors"))), True),
        (p.not_(p.all_of(p.switch("motors"), TILTED)), True),  # off makes it true whatever the tilt
        (p.all_of(HALT, TILTED), False),
        (p.all_of(p.any_of(HALT, OFF), p.lost("tilt")), False),
        (p.not_(p.any_of(p.switch("motors"), TILTED)), False),
        (p.lost(None), False),
        (p.all_of(HALT, p.not_(HALT)), False),
    ],
)
def test_the_operator_alone_can_cause_what_needs_no_measurement(guard: p.Expr, alone: bool) -> None:
    plan = plan_of([("stop", guard)])
    assert operators_alone(plan, plan.guards[plan.anywhere[0].guard]) == alone
    assert [f.code for f in told(plan)] == ([] if alone else ["cannot-stop"])


def test_an_event_that_would_have_to_last_stops_nothing_but_a_switch_does() -> None:
    assert [f.code for f in told(plan_of([("stop", HALT, p.hold_ms(100))]))] == ["cannot-stop"]
    assert told(plan_of([("stop", OFF, p.hold_ms(100))])) == []


def test_phases_without_the_operators_way_out_are_named() -> None:
    findings = told(plan_of([("stop", TILTED)], walk_out=HALT))
    assert [f.code for f in findings] == ["cannot-stop"]
    assert "in rest:" in findings[0].message


def test_one_sequence_that_can_always_be_stopped_is_enough() -> None:
    plan = plan_of([], legs=2, walk_out=HALT)
    assert [f.code for f in told(plan)] == ["cannot-stop"]
    phases = list(plan.sequences[1].phases)
    # give one leg a way out of its rest phase too: now every state of the machine has one
    guard = phases[1].exits[1]
    phases[0] = replace(phases[0], exits=(*phases[0].exits, guard))
    sequences = (plan.sequences[0], replace(plan.sequences[1], phases=tuple(phases)))
    assert told(replace(plan, sequences=sequences)) == []


def test_a_gait_that_commands_nothing_has_nothing_to_stop() -> None:
    plan = p.make_plan(
        {"foot": [p.Phase("stance", leave=[("swing", TILTED)]), p.Phase("swing")]}, signals=[TILT]
    )
    assert told(plan) == []
