"""The bodies that we build against formulas of mechanics textbooks.

Sources, from memory: the physical pendulum, Coulomb's friction, Hooke's law and the equilibrium of a standing
body as in D. Halliday, R. Resnick, J. Walker, Fundamentals of Physics; the speed-torque line of a motor with
a permanent magnet as in any handbook of DC motors.
"""

import math
from dataclasses import replace
from pathlib import Path

import mujoco
import numpy as np
import pytest
from support.bodies import PENDULUM, G, body_of, changed, let_go, small_plan, stork, stork_body, watched

from sequencer.base.errors import MisuseError
from sequencer.executors.reference import ReferenceExecutor
from sequencer.rehearse import model as model_module
from sequencer.rehearse.body import Body
from sequencer.rehearse.drives import loaded_speed
from sequencer.rehearse.model import Model, build_model
from sequencer.rehearse.plant import BodyPlant, RehearsalOptions
from sequencer.rehearse.stance import Stance

BLOCK = """\
body: block
floor: {friction: 0.5}
fallen: {tilt: 45 deg, below: 10 mm}
links:
  trunk: {mass: 3 kg, box: [100 mm, 100 mm, 60 mm], centre: [30 mm, 10 mm, 0 mm]}
  foot:
    on: trunk
    joint: {name: neck, slides: up}
    mass: 1 kg
    sole: {long: 200 mm, wide: 120 mm, under: 60 mm}
drives:
  neck:
    joint: neck
    output: motor
    speed: 100 mm/s
    stalls_at: 400 N
    gives: {by: 1 mm, under: 400 N}
    damping: 1 ms
senses:
  swing: {tilt: trunk, about: pitch}
  load: {load: foot}
"""
ARM = """\
  arm:
    on: trunk
    joint: {name: shoulder, turns: pitch, stands_at: -90 deg, span: [-30 deg, 30 deg]}
    length: 300 mm
    mass: 2 kg
drives:
  shoulder:
    joint: shoulder
    setpoint: aim
    speed: 60 deg/s
    stalls_at: 100 Nm
    gives: {by: 0.5 deg, under: 10 Nm}
    slack: 1 deg
"""


def built(text: str, folder: Path) -> tuple[Body, Model]:
    body = body_of(text, folder)
    return body, build_model(body)


@pytest.mark.parametrize("length_mm", [200, 400, 900])
def test_a_rod_swings_with_the_period_of_a_physical_pendulum(length_mm: int, tmp_path: Path) -> None:
    """T = 2 pi sqrt(I / (m g d)), with I = m L^2 / 3 and d = L / 2 for a thin rod held at its end."""
    _, model = built(changed(PENDULUM, ("length: 400 mm", f"length: {length_mm} mm")), tmp_path)
    at = model.joint_at[2]
    model.data.qpos[at] = math.radians(3)
    times, angles = watched(model, 6, lambda: float(model.data.qpos[at]))
    up = np.flatnonzero((angles[:-1] < 0) & (angles[1:] >= 0))
    crossings = times[up] - angles[up] * (times[up + 1] - times[up]) / (angles[up + 1] - angles[up])
    period = float(np.diff(crossings).mean())
    assert period == pytest.approx(2 * math.pi * math.sqrt(2 * length_mm / 1000 / (3 * G)), rel=0.005)


@pytest.mark.parametrize("friction", [0.2, 0.5, 0.8])
def test_a_block_slides_where_the_slope_is_steeper_than_the_angle_of_friction(
    friction: float, tmp_path: Path
) -> None:
    """It stays where tan(slope) < mu; else it goes down with a = g (sin(slope) - mu cos(slope)).

    A level floor under a slanting pull of gravity is the same as a slope.
    """
    text = changed(
        BLOCK,
        ("friction: 0.5", f"friction: {friction}"),
        ("mass: 1 kg", "mass: 100 kg"),  # nearly all of it in the sole: a stiff block
        ("long: 200 mm", "long: 600 mm"),
        ("under: 60 mm", "under: 31 mm"),
    )
    for degrees_beside in (-2, 2):
        slope = math.atan(friction) + math.radians(degrees_beside)
        _, model = built(text, tmp_path)
        let_go(model, 0.5)
        model.model.opt.gravity[:] = [G * math.sin(slope), 0, -G * math.cos(slope)]
        begin = float(model.data.qpos[0])
        let_go(model, 0.5)  # the block nods as the pull changes
        speed = float(model.data.qvel[0])
        let_go(model, 0.5)
        if degrees_beside < 0:
            assert abs(float(model.data.qpos[0]) - begin) < 0.002
        else:
            a = G * (math.sin(slope) - friction * math.cos(slope))
            assert (float(model.data.qvel[0]) - speed) / 0.5 == pytest.approx(a, rel=0.05)


def test_the_floor_carries_the_weight_of_a_standing_body(tmp_path: Path) -> None:
    """Equilibrium: the sum of the contact forces is m g."""
    body = body_of(stork_body(), tmp_path, stork())
    model = build_model(body)
    stance = Stance(body, model)
    let_go(model, 2)
    stance.look()
    mass = sum(link.mass for link in body.links)
    assert mass == pytest.approx(7.2)
    assert sum(stance.loads.values()) == pytest.approx(mass * G, rel=1e-3)
    assert all(stance.carries(foot) for foot in body.feet)


def test_the_zero_moment_point_of_a_standing_body_is_under_its_centre_of_mass(tmp_path: Path) -> None:
    """Equilibrium of moments: 3 of 4 kg stand 30 mm forward and 10 mm to the left of the sole's middle."""
    body, model = built(BLOCK, tmp_path)
    stance = Stance(body, model)
    let_go(model, 2)
    stance.look()
    assert stance.margin is not None
    assert stance.margin == pytest.approx(0.060 - 0.010 * 3 / 4, abs=0.0005)


def test_a_drive_gives_way_as_hookes_law_says_and_by_half_its_slack(tmp_path: Path) -> None:
    """An arm held level bears m g L / 2; it hangs lower by that over the stiffness, and by half the play."""
    text = changed(PENDULUM, ("drives:\n", ARM))
    body, model = built(text, tmp_path)
    let_go(model, 3)
    sags = float(model.data.qpos[model.joint_at[3]] - math.radians(-90))
    torque = 2 * G * 0.15
    assert math.degrees(sags) == pytest.approx(torque * 0.5 / 10 + 0.5, rel=0.02)
    assert body.links[3].joint is not None


def test_stops_hold_a_joint(tmp_path: Path) -> None:
    limp = changed(ARM.split("drives:", maxsplit=1)[0], ("[-30 deg, 30 deg]", "[-10 deg, 20 deg]"))
    _, model = built(changed(PENDULUM, ("drives:\n", limp + "drives:\n")), tmp_path)
    let_go(model, 3)
    assert math.degrees(model.data.qpos[model.joint_at[3]]) == pytest.approx(-70, abs=0.5)


@pytest.mark.parametrize(("share", "speed"), [(0.0, 1.0), (0.25, 0.75), (1.0, 0.0)])
def test_a_motor_slows_down_along_its_speed_torque_line(share: float, speed: float, tmp_path: Path) -> None:
    drive = body_of(stork_body(), tmp_path, stork()).drives[0]
    assert drive.self_locking
    full = drive.speed
    assert loaded_speed(drive, full, share * drive.stall) == pytest.approx(speed * full)
    assert loaded_speed(drive, -full, -share * drive.stall) == pytest.approx(-speed * full)


def test_a_load_moves_a_drive_back_only_if_it_is_not_self_locking(tmp_path: Path) -> None:
    locking = body_of(stork_body(), tmp_path, stork()).drives[0]
    free = replace(locking, self_locking=False)
    assert loaded_speed(locking, 0.0, locking.stall / 2) == 0
    assert loaded_speed(free, 0.0, free.stall / 2) == pytest.approx(-free.speed / 2)


def rocking(folder: Path) -> float:
    """Push the standing stork sideways and give how far it still rocks 3 s later, deg."""
    body = body_of(stork_body(), folder, stork())
    model = build_model(body)
    stance = Stance(body, model)
    let_go(model, 1)
    model.data.qvel[3] += 0.35
    model.data.qvel[1] -= 0.15
    let_go(model, 3)
    _, tilts = watched(model, 0.5, lambda: stance.tilt)
    return math.degrees(float(tilts.max()))


def test_a_push_dies_out_and_does_not_without_the_inertia_behind_the_gears(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert rocking(tmp_path) < 0.1
    monkeypatch.setattr(model_module, "_BEHIND", 0.0)
    assert rocking(tmp_path) > 0.3


def test_names_of_the_file_do_not_reach_the_engine(tmp_path: Path) -> None:
    _, model = built(BLOCK, tmp_path)
    names = model.model.names.decode()
    assert "trunk" not in names and "neck" not in names
    assert mujoco.mj_name2id(model.model, mujoco.mjtObj.mjOBJ_BODY, "link0") > 0


def test_a_drive_that_is_too_stiff_for_the_steps_is_refused(tmp_path: Path) -> None:
    body = body_of(changed(stork_body(), ("by: 1 mm", "by: 0.001 mm")), tmp_path, stork())
    with pytest.raises(MisuseError, match="left_knee_drive is too stiff") as caught:
        build_model(body)
    assert "let it give 139 times as much" in caught.value.hint


def test_a_heavy_body_on_a_light_foot_comes_to_rest_when_dropped(tmp_path: Path) -> None:
    _, model = built(PENDULUM, tmp_path)  # 10 t on a foot of 1 kg
    model.data.qpos[2] += 0.005
    let_go(model, 1.5)
    _, later = watched(model, 0.2, lambda: float(model.data.qpos[2]))
    assert np.ptp(later) < 5e-5


CRAWLER = """\
body: crawler
floor: {friction: 0.8}
fallen: {tilt: 30 deg, below: 50 mm}
links:
  trunk: {mass: 3 kg, box: [360 mm, 160 mm, 60 mm], centre: [20 mm, 5 mm, 0 mm]}
  <leg>_thigh:
    for_each: {leg: [lf, rf, lh, rh], x: [15 cm, 15 cm, -15 cm, -15 cm], y: [10 cm, -10 cm, 10 cm, -10 cm]}
    on: trunk
    at: [<x>, <y>, 0 mm]
    joint: {name: <leg>_hip, turns: pitch}
    length: 130 mm
    mass: 0.3 kg
  <leg>_foot:
    for_each: {leg: [lf, rf, lh, rh]}
    on: <leg>_thigh
    joint: {name: <leg>_knee, slides: up}
    ball: 20 mm
    mass: 0.2 kg
drives:
  <leg>_hip:
    for_each: {leg: [lf, rf, lh, rh]}
    joint: <leg>_hip
    setpoint: aim
    speed: 60 deg/s
    stalls_at: 20 Nm
    gives: {by: 0.5 deg, under: 2 Nm}
  <leg>_knee:
    for_each: {leg: [lf, rf, lh, rh]}
    joint: <leg>_knee
    output: motor
    speed: 60 mm/s
    stalls_at: 200 N
    gives: {by: 1 mm, under: 20 N}
senses:
  swing: {joint: lf_hip}
  load: {load: lf_foot}
"""


def test_a_crawler_on_four_balls_stands_and_each_foot_carries_what_the_levers_say(tmp_path: Path) -> None:
    """Equilibrium: 3 of 5 kg stand 20 mm forward and 5 mm to the left, so the zero moment point at 3/5."""
    body, model = built(CRAWLER, tmp_path)
    stance = Stance(body, model)
    let_go(model, 2)
    stance.look()
    front = stance.loads[body.feet[0]] + stance.loads[body.feet[1]]
    total = sum(stance.loads.values())
    assert total == pytest.approx(5 * G, rel=1e-3)
    assert front / total == pytest.approx((150 + 12) / 300, abs=0.01)
    assert stance.margin is not None
    assert stance.margin == pytest.approx(0.100 - 0.003, abs=0.001)
    (drive,) = [drive for drive in body.drives if drive.name == "lf_hip"]
    assert drive.setpoint == 0


def test_servos_go_to_their_setpoint_and_the_crawler_shifts_with_them(tmp_path: Path) -> None:
    """A parallelogram: hips turned by 10 deg on legs of 150 mm move the trunk by 150 mm * sin(10 deg)."""
    plan = small_plan()
    body = body_of(CRAWLER, tmp_path, plan)
    plant = BodyPlant(plan, body, RehearsalOptions(noise=False))
    record = ReferenceExecutor(plan).run(plant.inputs())
    record.setpoint[:] = 10
    begin = float(plant.model.data.qpos[0])
    for _ in range(200):
        plant.obey(record)
    moved = 1000 * (float(plant.model.data.qpos[0]) - begin)
    swing = plant.inputs().raw[0, 0]
    assert swing == pytest.approx(10, abs=1.0)
    assert moved == pytest.approx(150 * math.sin(math.radians(10)), abs=4)
