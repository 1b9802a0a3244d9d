"""Guessing from names and targets which feet stand: right where it can be told, silent where it can't."""

import pytest
from support.plans import Phase, event, make_plan, setpoint

from sequencer.plan.tables import Plan
from sequencer.show.diagram.feet import Foot, feet_of, foot_named
from sequencer.show.diagram.targets import targets


@pytest.mark.parametrize(
    ("name", "row", "side"),
    [
        ("left_bend", 0, "left"),
        ("right_knee", 0, "right"),
        ("l_knee", 0, "left"),
        ("lf_lift", 0, "left"),
        ("hr_lift", 2, "right"),
        ("rm_lift", 1, "right"),
        ("l3_lift", 2, "left"),
        ("r1_lift", 0, "right"),
        ("left_hind_lift", 2, "left"),
        ("front_right_lift", 0, "right"),
        ("LEFT_Bend", 0, "left"),
    ],
)
def test_a_name_tells_the_foot(name: str, row: int, side: str) -> None:
    assert foot_named(name) == Foot(row, side)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "name", ["lean", "lift", "uplift", "brightness", "front_lamp", "leftover", "slr_x", "leg1_lift"]
)
def test_a_name_without_a_side_tells_none(name: str) -> None:
    assert foot_named(name) is None


def _walk(*phases: Phase, setpoints: tuple[str, ...]) -> Plan:
    return make_plan({"walk": phases}, setpoints=[setpoint(n, low=-40.0, high=40.0) for n in setpoints])


def _states(plan: Plan) -> list[str]:
    feet = feet_of(plan)
    assert feet is not None
    return [" ".join(feet.states(after)) for after in targets(plan)[0]]


STEP = (
    Phase("stand", [("up", event("go"))], set={"left_bend": 0, "right_bend": 0}, rest=True),
    Phase("up", [("lean", event("go"))], set={"left_bend": 20}),
    Phase("lean", [("down", event("go"))], set={"lean": 10}),
    Phase("down", [("other", event("go"))], set={"left_bend": 0}),
    Phase("other", [("stand", event("go"))], set={"right_bend": 20}),
)


def test_a_foot_is_up_while_its_setpoint_is_away_from_where_it_stands() -> None:
    plan = _walk(*STEP, setpoints=("lean", "left_bend", "right_bend"))
    assert _states(plan) == ["down down", "up down", "up down", "down down", "down up"]


def test_a_target_left_over_from_phases_that_disagree_leaves_the_foot_untold() -> None:
    stop = Phase("off", stop=0)
    steps = [Phase(p.name, [*p.leave, ("off", event("halt"))], set=p.set, rest=p.rest) for p in STEP]
    plan = _walk(*steps, stop, setpoints=("lean", "left_bend", "right_bend"))
    assert _states(plan)[-1] == "untold untold"


def test_a_machine_that_stands_away_from_its_start_stands_in_its_rest_phase() -> None:
    walk = (
        Phase("stand", [("up", event("go"))], set={"left_height": 30, "right_height": 30}, rest=True),
        Phase("up", [("other", event("go"))], set={"left_height": 10}),
        Phase("other", [("stand", event("go"))], set={"left_height": 30, "right_height": 10}),
    )
    assert _states(_walk(*walk, setpoints=("left_height", "right_height"))) == [
        "down down",
        "up down",
        "down up",
    ]


def test_trimming_by_a_little_is_not_lifting() -> None:
    walk = (
        Phase("stand", [("push", event("go"))], set={"l_lift": 0, "r_lift": 0}, rest=True),
        Phase("push", [("up", event("go"))], set={"l_lift": -3, "r_lift": -3}),
        Phase("up", [("other", event("go"))], set={"l_lift": 20}),
        Phase("other", [("stand", event("go"))], set={"l_lift": 0, "r_lift": 20}),
    )
    assert _states(_walk(*walk, setpoints=("l_lift", "r_lift"))) == [
        "down down",
        "down down",
        "up down",
        "down up",
    ]


def test_swinging_a_leg_that_stands_is_not_lifting_it() -> None:
    walk = (
        Phase("stand", [("swing", event("go"))], set={"lf_lift": 0, "rf_lift": 0, "lf_swing": 0}, rest=True),
        Phase("swing", [("up", event("go"))], set={"lf_swing": 20}),
        Phase("up", [("other", event("go"))], set={"lf_lift": 20}),
        Phase("other", [("stand", event("go"))], set={"lf_lift": 0, "rf_lift": 20}),
    )
    plan = _walk(*walk, setpoints=("lf_lift", "lf_swing", "rf_lift"))
    assert _states(plan) == ["down down", "down down", "up down", "down up"]


@pytest.mark.parametrize(
    "setpoints",
    [("lean", "height"), ("left_swing", "right_swing"), ("left_bend", "height"), ("left_arm", "right_arm")],
)
def test_no_feet_are_told_where_the_names_tell_of_no_lifting(setpoints: tuple[str, ...]) -> None:
    walk = (
        Phase("a", [("b", event("go"))], set=dict.fromkeys(setpoints, 0)),
        Phase("b", [("a", event("go"))], set=dict.fromkeys(setpoints, 20)),
    )
    assert feet_of(_walk(*walk, setpoints=setpoints)) is None


def test_feet_of_another_sequence_are_untold() -> None:
    plan = make_plan(
        {
            "left": [
                Phase("down", [("up", event("go"))], set={"left_lift": 0}),
                Phase("up", [("down", event("go"))], set={"left_lift": 10}),
            ],
            "right": [
                Phase("down", [("up", event("go"))], set={"right_lift": 0}),
                Phase("up", [("down", event("go"))], set={"right_lift": 10}),
            ],
        },
        setpoints=[setpoint("left_lift"), setpoint("right_lift")],
    )
    feet = feet_of(plan)
    assert feet is not None
    assert [feet.states(after) for after in targets(plan)[0]] == [("down", "untold"), ("up", "untold")]
    assert [feet.states(after) for after in targets(plan)[1]] == [("untold", "down"), ("untold", "up")]
