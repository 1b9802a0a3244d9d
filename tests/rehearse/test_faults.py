"""What is planted shows, in the direction that a study of such machines found (its figures: other bodies)."""

from pathlib import Path

import numpy as np
import pytest
from support.bodies import body_of
from support.rehearsals import Rehearser

from sequencer.base.errors import MisuseError
from sequencer.executors.compiled import CompiledExecutor
from sequencer.plan.tables import Plan
from sequencer.rehearse.plant import BodyPlant, RehearsalOptions
from sequencer.rehearse.run import Rehearsal, rehearse
from sequencer.show.runs import failed
from sequencer.trace.truth import truth_columns


def clearance(done: Rehearsal, foot: str) -> float:
    (found,) = [f.mean_clearance_mm for f in done.figures.feet if f.foot == foot]
    assert found is not None
    return found


def test_the_shipped_stork_walks_and_does_the_same_on_both_sides(rehearser: Rehearser) -> None:
    done = rehearser(30)
    assert not done.fallen and not failed(done.run)
    assert done.figures.steps == 7 - 1  # the last one is still in the air
    assert clearance(done, "left_foot") == pytest.approx(clearance(done, "right_foot"), abs=1)
    assert done.figures.usual_margin_mm is not None and done.figures.usual_margin_mm > 20
    assert done.lasted_ms == 30_000
    assert done.times_real > 0


def test_a_tilt_zero_shows_in_the_clearance_less_over_leaning_more_under_leaning(
    rehearser: Rehearser,
) -> None:
    """A left sensor that reads 2 deg too much lets the machine lean too far to the left."""
    sound = rehearser(20)
    over = rehearser(20, offset={"left_leg_roll": "2 deg"})
    under = rehearser(20, offset={"left_leg_roll": "-2 deg"})
    for foot in ("left_foot", "right_foot"):
        assert clearance(over, foot) < clearance(sound, foot) - 1 < clearance(under, foot) - 2


def test_a_crooked_zero_brings_the_body_further_over_the_foot(rehearser: Rehearser) -> None:
    """Some millimetres a degree: what a tool that looks for the cause can go by."""
    places = []
    for done in (rehearser(20), rehearser(20, offset={"left_leg_roll": "2 deg"})):
        links, contact = truth_columns(done.truth.names).links, truth_columns(done.truth.names).contact
        values = done.truth.values
        alone = (values[:, contact["left_foot"]] > 0) & (values[:, contact["right_foot"]] == 0)
        trunk, foot = (values[alone][:, links[name][2]] for name in ("trunk", "left_foot_post"))
        places.append(float(np.median(trunk - foot)))
    assert places[1] > places[0] + 3  # further to the left


SENSED = ("    joint: <side>_<joint>\n", "    joint: <side>_<joint>\n    side: motor\n")


def test_slack_in_a_hip_lowers_the_feet_most_the_other_one_if_the_sensor_is_on_the_motor(
    rehearser: Rehearser,
) -> None:
    before, senses, after = rehearser.body.partition("senses:")
    assert SENSED[0] in after
    on_motor = (senses + after, senses + after.replace(*SENSED))
    sound = rehearser(20, on_motor)
    slack = rehearser(20, on_motor, slack={"right_hip": "2 deg"})
    assert clearance(slack, "left_foot") < clearance(slack, "right_foot") - 1
    assert clearance(slack, "right_foot") < clearance(sound, "right_foot")
    assert before


def test_slack_that_the_sensor_sees_is_worked_out(rehearser: Rehearser) -> None:
    slack = rehearser(20, slack={"right_hip": "2 deg"})
    sound = rehearser(20)
    assert clearance(slack, "left_foot") == pytest.approx(clearance(sound, "left_foot"), abs=2)


def test_feet_that_are_too_narrow_fall_and_the_run_ends_there(rehearser: Rehearser) -> None:
    done = rehearser(20, ("wide: 110 mm", "wide: 24 mm"))
    assert done.fallen.startswith("the trunk")
    assert done.fallen_ms is not None and done.fallen_ms < 20_000
    assert len(done.truth.values) == done.fallen_ms // 10 + 1 == sum(len(b) for b in done.blocks)


def test_a_body_that_cannot_be_computed_is_told_and_leaves_no_log(
    rehearser: Rehearser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    executor = CompiledExecutor(rehearser.plan)
    plant = BodyPlant(rehearser.plan, rehearser(4).body, RehearsalOptions())
    plant.model.data.qvel[:] = 1e15
    with pytest.raises(MisuseError, match="cannot be computed: its numbers ran away at 0 s"):
        plant.obey(executor.run(plant.inputs()))
    with pytest.raises(MisuseError, match="the engine cannot build this body: mass"):
        rehearser(4, ("mass: 0.4 kg", "mass: 1e-30 kg"))
    assert list(tmp_path.iterdir()) == []
    assert capfd.readouterr() == ("", "")


def test_a_floor_like_ice_and_a_flat_battery_reach_the_body(plan: Plan, rehearser: Rehearser) -> None:
    slippery = rehearser(4, friction=0.01, volts=11.0)
    assert slippery.body.friction == 0.01
    battery = [signal.name for signal in plan.signals].index("battery")
    seen = [block.raw[block.fresh[:, battery] > 0, battery] for block in slippery.blocks]
    assert np.concatenate(seen).mean() == pytest.approx(11.0, abs=0.02)


def test_a_signal_that_dies_stops_the_walk(rehearser: Rehearser) -> None:
    done = rehearser(6, dies_at_ms={"body_roll": 2000})
    safe = [phase.name for phase in done.plan.sequences[0].phases].index("safe")
    moves = [move for move in done.run.transitions if move.entered == safe]
    assert [move.at_ms for move in moves] == [pytest.approx(2110, abs=20)]  # lost after 100 ms


def test_a_motor_without_voltage_moves_nothing(rehearser: Rehearser) -> None:
    done = rehearser(8, volts=0.001)
    assert done.figures.steps == 0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"offset": {"left_leg": "1 deg"}}, "offset names left_leg"),
        ({"offset": {"left_leg_roll": "1 mm"}}, "cannot be turned"),
        ({"slack": {"left_hipp": "1 deg"}}, "slack names left_hipp"),
        ({"slack": {"left_hip": "-1 deg"}}, "negative"),
        ({"slack": {"left_knee": "1 deg"}}, "cannot be turned"),
        ({"dies_at_ms": {"nose": 5}}, "dies names nose"),
        ({"friction": 0.0}, "friction is 0"),
        ({"friction": float("nan")}, "friction is nan"),
        ({"presses": [(1, "gone")]}, "there is no event gone"),
        ({"switches_off": frozenset({"engine"})}, "there is no switch engine"),
    ],
)
def test_a_fault_that_names_nothing_is_refused(
    options: dict[str, object], words: str, plan: Plan, rehearser: Rehearser
) -> None:
    body = body_of(rehearser.body, rehearser.folder, plan)
    with pytest.raises(MisuseError, match=words):
        rehearse(CompiledExecutor(plan), body, 10, RehearsalOptions(**options))  # type: ignore[arg-type]
