"""The engine's model of a body, made with the engine's own interface.

What is modelled: stiff links with their masses, joints with stops and friction, a level hard floor with
friction; between each motor and its joint a spring with damping and a dead band (slack). The motor's side of
that is a rotor, which is led to a place at a commanded speed (`drives.py`). What is not: links that bend,
contact between links, soft or uneven ground, heat, wear.

In the engine nothing bears a name from the file, so nothing of a stranger's file can reach it as text.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from sequencer.base.errors import MisuseError
from sequencer.rehearse.body import Body, Drive, Joint, Link
from sequencer.rehearse.engine import engine

LONGEST_STEP_S = 0.001
SETTLES_S = 0.5
ROD_RADIUS_M = 0.02  # only for the moment of inertia about a rod's own axis
SOLE_HALF_THICK_M = 0.01
_ROTOR_RAD_PER_S = 200.0  # how fast the rotor is led to its place: far above what a walk does
_BEHIND = 0.5  # inertia of a gear's far side, as a share of damping times step; see `build_model`
_MOST_BEHIND = 0.1  # of that inertia, as a share of the whole body's mass, and of that at the trunk's height
_LED = 5.0  # times as stiff as the spring; both in a row give what the file says
_FLOOR, _FOOT, _TRUNK = 1, 2, 4  # what touches what: the floor all, feet and trunk only the floor
_ROLLING = (0.005, 0.0001)  # friction against twisting and rolling, MuJoCo's own defaults


@dataclass(frozen=True, slots=True)
class Model:
    """A body in the engine.

    joint_at: for each link, where its joint stands in qpos (-1 for the trunk). rotor_at, motor: for each
    drive, its rotor in qpos and its actuator. bodies: the engine's number of each link. feet: the geom of
    each foot.
    """

    model: Any
    data: Any
    bodies: tuple[int, ...]
    joint_at: tuple[int, ...]
    rotor_at: tuple[int, ...]
    motor: tuple[int, ...]
    feet: dict[int, int]
    floor: int


def steps_in(tick_s: float) -> int:
    """Give into how many steps of physics a tick is cut."""
    return max(1, math.ceil(tick_s / LONGEST_STEP_S - 1e-9))


def build_model(body: Body, step_s: float = LONGEST_STEP_S) -> Model:
    """Build the model and stand it on the floor.

    Raises ToolError if the engine is missing, MisuseError for a drive that is too stiff for its steps.

    The engine finds contact forces from the inertia behind a foot alone; the damping of its drive acts in the
    next step only. Such a damper takes energy out only while damping * step / inertia < 2 (explicit Euler),
    and a light foot on a stiff drive would rock for ever. So each driven joint is given a gear with the
    inertia that this asks for, a little of which real gears have, too; a push then dies out as it does with a
    step a tenth as long (tests hold both).
    """
    mj = engine()
    friction = [body.friction, *_ROLLING]
    spec = _floor(mj, friction, step_s)
    behind = {drive.joint: _BEHIND * step_s * drive.damping for drive in body.drives}
    made: list[Any] = []
    for number, link in enumerate(body.links):
        made.append(_add_link(mj, spec, made, number, link, friction))
        for joint in made[-1].joints:
            joint.armature = behind.get(number, 0.0)
    for number, drive in enumerate(body.drives):
        joint = body.links[drive.joint].joint
        assert joint is not None
        _add_drive(mj, spec, number, drive, joint)
    try:
        model = spec.compile()
    except ValueError as error:
        what = str(error).splitlines()[0].removeprefix("Error: ")
        raise MisuseError(f"{body.source}: the engine cannot build this body: {what}") from None
    found = Model(
        model=model,
        data=mj.MjData(model),
        bodies=tuple(model.body(f"link{i}").id for i in range(len(body.links))),
        joint_at=tuple(_at(model, f"joint{i}") if link.joint else -1 for i, link in enumerate(body.links)),
        rotor_at=tuple(_at(model, f"rotor{i}") for i in range(len(body.drives))),
        motor=tuple(model.actuator(f"motor{i}").id for i in range(len(body.drives))),
        feet={i: model.geom(f"form{i}").id for i in body.feet},
        floor=model.geom("floor").id,
    )
    _stand(mj, found, body)
    _refuse_stiff(body, behind, float(found.data.qpos[2]))
    return found


def _floor(mj: Any, friction: list[float], step_s: float) -> Any:
    """Begin a model: how it is to be computed, and the floor."""
    spec = mj.MjSpec()
    spec.option.timestep = step_s
    spec.option.integrator = mj.mjtIntegrator.mjINT_IMPLICITFAST
    spec.option.cone = mj.mjtCone.mjCONE_ELLIPTIC
    spec.option.impratio = 5
    spec.worldbody.add_geom(
        name="floor",
        type=mj.mjtGeom.mjGEOM_PLANE,
        size=[5, 5, 0.1],
        friction=friction,
        condim=4,
        contype=_FLOOR,
        conaffinity=_FOOT | _TRUNK,
    )
    return spec


def _refuse_stiff(body: Body, behind: dict[int, float], height: float) -> None:
    """Raise MisuseError for a drive whose gear would need so much inertia that the body moves otherwise."""
    mass = sum(link.mass for link in body.links)
    for drive in body.drives:
        joint = body.links[drive.joint].joint
        assert joint is not None
        most = _MOST_BEHIND * mass * (height**2 if joint.turns else 1.0)
        if behind[drive.joint] > most:
            times = math.ceil(behind[drive.joint] / most)
            raise MisuseError(
                f"{body.source}: {drive.name} is too stiff and too much damped for a body of {mass:g} kg",
                hint=f"let it give {times} times as much or more; it is as good as stiff even then",
            )


def _at(model: Any, joint: str) -> int:
    return int(model.joint(joint).qposadr[0])


def _add_link(mj: Any, spec: Any, made: list[Any], number: int, link: Link, friction: list[float]) -> Any:
    on = spec.worldbody if link.on is None else made[link.on]
    body = on.add_body(name=f"link{number}", pos=link.at)
    joint = link.joint
    if joint is None:
        body.add_freejoint()
    else:
        kind = mj.mjtJoint.mjJNT_HINGE if joint.turns else mj.mjtJoint.mjJNT_SLIDE
        more: dict[str, Any] = {}
        if joint.low is not None and joint.high is not None:
            ends = sorted(joint.sign * (joint.stands_at + end) for end in (joint.low, joint.high))
            more = {"limited": mj.mjtLimited.mjLIMITED_TRUE, "range": _in_degrees(ends, joint)}
        body.add_joint(name=f"joint{number}", type=kind, axis=joint.axis, frictionloss=joint.friction, **more)
    touches = _FOOT if link.is_foot else _TRUNK if link.on is None else 0
    body.add_geom(
        name=f"form{number}",
        mass=link.mass,
        friction=friction,
        condim=4,
        contype=touches,
        conaffinity=_FLOOR if touches else 0,
        **_form(mj, link),
    )
    return body


def _in_degrees(ends: list[float], joint: Joint) -> list[float]:
    """Give ends in what the engine's interface wants: degrees for turns, metres for slides."""
    return [math.degrees(end) for end in ends] if joint.turns else ends


def _form(mj: Any, link: Link) -> dict[str, Any]:
    first, second, third = link.size
    if link.form == "box":
        return {"type": mj.mjtGeom.mjGEOM_BOX, "size": link.size, "pos": link.centre}
    if link.form == "sole":
        thick = min(SOLE_HALF_THICK_M, third / 2)
        return {
            "type": mj.mjtGeom.mjGEOM_BOX,
            "size": [first, second, thick],
            "pos": [0, 0, thick - third],
        }
    if link.form == "ball":
        return {"type": mj.mjtGeom.mjGEOM_SPHERE, "size": [first, 0, 0]}
    radius = min(ROD_RADIUS_M, third / 4)
    return {"type": mj.mjtGeom.mjGEOM_CYLINDER, "size": [radius, third / 2, 0], "pos": [0, 0, -third / 2]}


def _add_drive(mj: Any, spec: Any, number: int, drive: Drive, joint: Joint) -> None:
    """Add a rotor that is led to its place, and between it and the joint the spring with its slack."""
    lead = _LED * drive.stiffness
    inertia = lead / _ROTOR_RAD_PER_S**2
    rotor = spec.worldbody.add_body(name=f"rotor{number}", pos=[0, 0, -1])
    kind = mj.mjtJoint.mjJNT_HINGE if joint.turns else mj.mjtJoint.mjJNT_SLIDE
    rotor.add_joint(name=f"rotor{number}", type=kind, axis=[1, 0, 0], armature=inertia)
    rotor.add_geom(type=mj.mjtGeom.mjGEOM_SPHERE, size=[0.01, 0, 0], mass=0.001, contype=0, conaffinity=0)
    spring = spec.add_tendon(
        name=f"spring{number}",
        stiffness=drive.stiffness * _LED / (_LED - 1),
        damping=drive.damping,
        springlength=[-drive.slack / 2, drive.slack / 2],
    )
    spring.wrap_joint(f"joint{drive.joint}", 1)
    spring.wrap_joint(f"rotor{number}", -1)
    spec.add_actuator(
        name=f"motor{number}",
        target=f"rotor{number}",
        trntype=mj.mjtTrn.mjTRN_JOINT,
        dyntype=mj.mjtDyn.mjDYN_INTEGRATOR,
        gaintype=mj.mjtGain.mjGAIN_FIXED,
        gainprm=[lead, *[0.0] * 9],
        biastype=mj.mjtBias.mjBIAS_AFFINE,
        biasprm=[0.0, -lead, -2 * math.sqrt(lead * inertia), *[0.0] * 7],
    )


def _stand(mj: Any, found: Model, body: Body) -> None:
    """Put all joints where they stand, and the lowest foot on the floor."""
    data = found.data
    for link, at in zip(body.links, found.joint_at, strict=True):
        if link.joint is not None:
            data.qpos[at] = link.joint.sign * link.joint.stands_at
    for number, drive in enumerate(body.drives):
        data.qpos[found.rotor_at[number]] = data.qpos[found.joint_at[drive.joint]]
        data.act[found.model.actuator_actadr[found.motor[number]]] = data.qpos[found.rotor_at[number]]
    mj.mj_forward(found.model, data)
    data.qpos[2] -= min(lowest(found, body, foot) for foot in body.feet)
    mj.mj_forward(found.model, data)


def settle(found: Model) -> None:
    """Let the body come to rest on its feet before the first tick, its motors standing still."""
    mj = engine()
    mj.mj_step(found.model, found.data, math.ceil(SETTLES_S / found.model.opt.timestep))
    mj.mj_forward(found.model, found.data)


def lowest(found: Model, body: Body, foot: int) -> float:
    """Give the height of a foot's lowest point over the floor, m."""
    geom = found.feet[foot]
    height = float(found.data.geom_xpos[geom][2])
    size = found.model.geom_size[geom]
    if body.links[foot].form == "ball":
        return height - float(size[0])
    across = np.abs(found.data.geom_xmat[geom][6:9])  # of a turned box: the half lengths, seen from the side
    return height - float(across @ size)
