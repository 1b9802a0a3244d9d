"""The bring-up program on an emulated board with a joint at its pins finds again what was planted there."""

import re

import pytest
from support.bringup_rig import Events, Rig

from sequencer.generate.bringup_patch import merged_machine, patch_of
from sequencer.plan.build import machine_plan
from sequencer.plan.tables import Plan

# the motor is wired the wrong way round; deg/s for a duty of 1, friction as a duty, lag in s, ends in deg
SIGN, SPEED, FRICTION, LAG, LOW, HIGH, SLACK, NOISE = -1, 120.0, 0.08, 0.03, -20.0, 22.0, 1.5, 0.1
TILT, TILT_NOISE, TILT_MS = 0.6, 0.2, 20  # what the tilt module sends: see joint_host.c
SCRIPT = f"""\
plant {SIGN} {SPEED} {FRICTION} {LAG} {LOW} {HIGH} {SLACK} {NOISE} 3
until codes
type signals
until tail_pot
type hoisted
wait 50
type measure neck_motor
hold on
until done
hold off
type patch
until end ----
end
"""


@pytest.fixture(scope="module")
def morning(rig: Rig, tmp_path_factory: pytest.TempPathFactory) -> Events:
    return rig.run(tmp_path_factory.mktemp("morning"), SCRIPT)


@pytest.fixture(scope="module")
def merged(rig: Rig, morning: Events, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("merged") / "rig.machine.yaml"
    path.write_text(merged_machine(rig.machine, patch_of(morning.log())))
    return machine_plan(path)


def test_the_cautions_come_first(morning: Events) -> None:
    first = morning.told()[:4]
    assert "HOIST THE MACHINE" in first[1]
    assert "KEEP HANDS CLEAR" in first[1]
    assert "Nothing here is an emergency stop" in first[2]


def test_the_sensors_are_told_with_their_noise_and_period(morning: Events) -> None:
    (tilt,) = (line for line in morning.told() if line.startswith("# body_tilt: at rest"))
    found = re.fullmatch(r"# body_tilt: at rest (\S+) deg, noise (\S+) deg, a sample every (\S+) ms", tilt)
    assert found is not None, tilt
    rest, noise, period = map(float, found.groups())
    assert rest == pytest.approx(TILT, abs=0.06)  # 250 samples: 0.2 deg / 16
    assert noise == pytest.approx(TILT_NOISE, rel=0.2)
    assert period == pytest.approx(TILT_MS, abs=0.2)


def test_what_was_planted_is_found_within_tolerances(morning: Events) -> None:
    (duties,) = {line for line in morning.told() if "moves from a duty" in line}
    up, down, rise, fall = map(float, re.findall(r"\d+\.?\d*", duties)[:4])
    assert up == pytest.approx(FRICTION, abs=0.015)
    assert down == pytest.approx(FRICTION, abs=0.015)
    assert rise == pytest.approx(SPEED, rel=0.15)
    assert fall == pytest.approx(SPEED, rel=0.15)
    (slack,) = {line for line in morning.told() if "on reversal" in line}
    assert float(re.findall(r"slack (\S+) deg", slack)[0]) == pytest.approx(SLACK, abs=0.4)


def test_the_wrong_sign_is_found_and_the_patch_turns_it_round(morning: Events, merged: Plan) -> None:
    assert "# neck_motor: turns the WRONG WAY" in morning.told()
    assert merged.wiring is not None
    assert merged.wiring.motors[0].inverted is True


def test_the_patch_loads_and_says_what_was_planted(merged: Plan) -> None:
    pot, tilt, _ = merged.signals
    assert (pot.low, pot.high) == (pytest.approx(LOW, abs=0.3), pytest.approx(HIGH, abs=0.3))
    assert pot.noise == pytest.approx(NOISE, abs=0.05)
    assert tilt.noise == pytest.approx(TILT_NOISE, rel=0.2)
    assert tilt.every_us == TILT_MS * 1000
    rate = merged.setpoints[1].rate
    assert rate is not None
    assert rate.per_second == pytest.approx(0.5 * SPEED * (1 - FRICTION), rel=0.15)


def test_the_motor_stays_low_and_is_off_at_the_end(morning: Events) -> None:
    assert 0.1 < morning.most() <= 0.35 + 0.5 / 255
    assert morning.duty_at(morning.when_told("# done")) == 0.0
    assert morning.most(0.0, morning.when_done("hold on")) == 0.0


def test_the_patch_is_cut_out_of_a_log_and_changes_no_file(rig: Rig, morning: Events) -> None:
    before = rig.machine.read_bytes()
    patch = patch_of(f"noise\r\n{morning.log()}torn")
    assert patch.startswith("# ---- for rig.machine.yaml")
    assert patch.endswith("# ---- end ----\n")
    assert "inverted: true" in merged_machine(rig.machine, patch)
    assert rig.machine.read_bytes() == before
