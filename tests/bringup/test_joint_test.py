"""The bring-up program's measuring finds what was planted in a simulated joint, and gives up in time."""

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.joints import Measuring, PlantedJoint, measuring

MOST = 0.35
STEPS = {"at_rest": 0, "feeling": 1, "to_high_end": 2, "timing": 5, "creeping": 6}


@pytest.fixture(scope="module")
def code(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Measuring]:
    with measuring(tmp_path_factory.mktemp("measuring")) as found:
        yield found


def random_joint(seed: int) -> tuple[PlantedJoint, int]:
    rng = random.Random(seed)
    joint = PlantedJoint(
        sign=rng.choice((1, -1)),
        speed=rng.uniform(30, 150),
        friction_up=rng.uniform(0.02, 0.2),
        friction_down=rng.uniform(0.02, 0.2),
        lag_s=rng.uniform(0.01, 0.08),
        low=rng.uniform(-32, -15),
        high=rng.uniform(15, 32),
        slack=rng.choice((0.0, rng.uniform(0.3, 4))),
        noise=rng.uniform(0.02, 0.2),
        start=rng.uniform(-14, 14),
        rng=rng,
    )
    if rng.random() < 0.4:  # it may begin at an end
        joint.joint = joint.motor = rng.choice((joint.low, joint.high))
    return joint, rng.choice((1, 1, 2, 5))


@pytest.mark.parametrize("seed", range(40))
def test_what_was_planted_is_found_within_tolerances(code: Measuring, seed: int) -> None:
    joint, every = random_joint(seed)
    found = code.measure(joint, every=every)
    got = found.values
    assert (found.trouble, got["complete"], got["sign"]) == ("none", 1.0, joint.sign)
    assert got["low"] == pytest.approx(joint.low, abs=0.3)
    assert got["high"] == pytest.approx(joint.high, abs=0.3)
    assert got["rise_duty"] == pytest.approx(joint.friction_up, abs=0.015)
    assert got["fall_duty"] == pytest.approx(joint.friction_down, abs=0.015)
    assert got["rise_speed"] == pytest.approx(joint.speed, rel=0.2)
    assert got["fall_speed"] == pytest.approx(joint.speed, rel=0.2)
    coarse = 0.4 if every <= 2 else 0.6  # in 50 ms it moves on by more than that
    assert got["slack"] == pytest.approx(joint.slack, abs=coarse + 0.1 * joint.slack)
    # whole counts of 0.07 deg add their own; the standard deviation is that of a second's samples
    assert got["noise"] == pytest.approx(joint.noise, abs=0.03 + 0.4 * joint.noise)
    assert max(map(abs, found.duties)) <= MOST + 1e-6
    assert found.seconds < 120


def test_a_motor_that_turns_the_other_way_is_found(code: Measuring) -> None:
    for sign in (1, -1):
        assert code.measure(PlantedJoint(sign=sign)).values["sign"] == sign
        only = code.measure(PlantedJoint(sign=sign), only_sign=True)
        assert (only.values["sign"], only.values["complete"]) == (sign, 1.0)
        assert only.seconds < 5


# what goes wrong -> how the joint is, how it is measured, the trouble, how many seconds it may take at most
TROUBLES = {
    "a driver without power": ({"speed": 0.0}, {}, "does_not_move", 15.0),
    "too stiff for the duty allowed": ({"friction_up": 0.5, "friction_down": 0.5}, {}, "does_not_move", 15.0),
    "jammed from the beginning": ({"jams_at_s": 0.0}, {}, "does_not_move", 15.0),
    "jams on the way": ({"jams_at_s": 20.0, "speed": 90.0}, {}, "stuck", 30.0),
    "a wheel that turns on and on": ({"low": -1e6, "high": 1e6, "counts_per_deg": 0.5}, {}, "no_end", 60.0),
    "goes off the potentiometer": ({"low": -1e6, "high": 1e6}, {}, "not_believed", 30.0),
    "hardly any travel": ({"low": -0.5, "high": 0.5, "slack": 0.0, "noise": 0.05}, {}, "too_short", 20.0),
    "sinks at rest": ({"sinks": 2.0}, {}, "restless", 2.0),
    "no sensor": ({}, {"silent_from_s": 0.0}, "no_signal", 0.3),
    "a sensor that dies": ({}, {"silent_from_s": 5.0}, "no_signal", 5.3),
    "a wire that breaks": ({}, {"wire_breaks_at_s": 5.0}, "not_believed", 5.02),
    "let go": ({}, {"let_go_at_s": 7.0}, "stopped", 7.02),
}


@pytest.mark.parametrize("name", TROUBLES)
def test_what_goes_wrong_is_told_and_given_up_in_time(code: Measuring, name: str) -> None:
    planted, how, trouble, most_s = TROUBLES[name]
    found = code.measure(PlantedJoint(**planted), **how)  # type: ignore[arg-type]
    assert (found.trouble, found.values["complete"]) == (trouble, 0.0)
    assert found.seconds <= most_s
    assert found.duties[-1] == 0.0


def test_a_single_wild_sample_is_no_movement(code: Measuring) -> None:
    class Wild(PlantedJoint):
        def counts(self) -> float:
            wild = self.rng.random() < 0.02
            return super().counts() + (150.0 if wild else 0.0)

    found = code.measure(Wild(sign=-1, noise=0.05, friction_up=0.15, friction_down=0.15))
    assert found.values["sign"] == -1


def test_the_duty_never_jumps_above_what_is_allowed(code: Measuring) -> None:
    found = code.measure(PlantedJoint(), most_duty=0.2)
    assert found.trouble == "none"
    assert max(map(abs, found.duties)) <= 0.2 + 1e-6


# The same with a fault planted in the measuring: what finds no difference must be able to find one.
FAULTS = {
    "the sign turned round": ({"(x > 0.0F) == (way_ > 0)": "(x > 0.0F) != (way_ > 0)"}, "sign"),
    "slack without what going on takes": ({"(delay_[1] - delay_[2])": "(delay_[1] + delay_[2])"}, "slack"),
    "the duty where it was seen": ({"larger(began - sqrtf": "larger(began + sqrtf"}, "rise_duty"),
    "an end too early": ({"still_after_ms = 600U": "still_after_ms = 60U"}, "high"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_planted_in_the_measuring_is_found(name: str, tmp_path: Path) -> None:
    plant, wrong = FAULTS[name]
    joint = PlantedJoint()
    with measuring(tmp_path, plant) as code:
        found = code.measure(joint)
    right = {"sign": joint.sign, "slack": joint.slack, "rise_duty": joint.friction_up, "high": joint.high}
    near = {"sign": 0, "slack": 0.3, "rise_duty": 0.015, "high": 0.3}
    assert found.trouble != "none" or abs(found.values[wrong] - right[wrong]) > near[wrong]
