"""Bodies for rehearsals, all invented: the shipped stork's, and small ones that a formula can follow."""

from pathlib import Path
from typing import Any

import mujoco
import numpy as np

from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.tables import Plan
from sequencer.rehearse.body import Body
from sequencer.rehearse.model import Model
from sequencer.rehearse.read_body import load_body
from support.commands import STORK

BODY = STORK.with_name("stork.body.yaml")
G = 9.81  # the engine's own, m/s2

SMALL_GAIT = """\
gait: still
machine:
  machine: block
  tick: 10 ms
  signals:
    swing: {unit: deg, span: [-90, 90], every: 10 ms, noise: 0.1 deg}
    load: {unit: N, span: [0, 5000], every: 10 ms}
  events: [go]
  setpoints:
    aim: {unit: deg, span: [-45, 45], start: 0 deg, followed_by: swing}
  outputs:
    motor: {span: [-1, 1]}
phases:
  rest:
    rest: true
    set: {aim: 0 deg}
    leave: [{to: rest, when: {event: go}}]
"""

# a heavy block on one broad foot, with a rod of 400 mm hung on it that swings fore and aft
PENDULUM = """\
body: pendulum
floor: {friction: 0.8}
fallen: {tilt: 45 deg, below: 100 mm}
links:
  trunk: {mass: 10000 kg, box: [400 mm, 400 mm, 400 mm]}
  foot: {on: trunk, joint: {name: neck, slides: up}, mass: 1 kg, sole: {long: 1 m, wide: 1 m, under: 1 m}}
  rod: {on: trunk, joint: {name: pivot, turns: pitch}, mass: 2 kg, length: 400 mm}
drives:
  neck:
    joint: neck
    output: motor
    speed: 1 mm/s
    stalls_at: 1000 kN
    gives: {by: 1 mm, under: 50 kN}
senses:
  swing: {joint: pivot}
  load: {load: foot}
"""


def small_plan() -> Plan:
    """The plan of a machine that does nothing."""
    return parse_plan(SMALL_GAIT)


def body_of(text: str, folder: Path, plan: Plan | None = None) -> Body:
    """Load a body from text."""
    path = folder / "tried.body.yaml"
    path.write_text(text, encoding="utf-8")
    return load_body(path, plan or small_plan())


def changed(text: str, *pairs: tuple[str, str]) -> str:
    """Give the text with these changes, each of which must find its place."""
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return text


def stork() -> Plan:
    """The plan of the shipped stork."""
    return load_plan(STORK)


def stork_body() -> str:
    """The shipped stork's body, as text."""
    return BODY.read_text(encoding="utf-8")


def let_go(model: Model, seconds: float) -> None:
    """Let physics go on without any command."""
    mujoco.mj_step(model.model, model.data, round(seconds / model.model.opt.timestep))
    mujoco.mj_forward(model.model, model.data)


def watched(model: Model, seconds: float, read: Any) -> tuple[np.ndarray, np.ndarray]:
    """Step, and read something after each step: times and values."""
    times, values = [], []
    for _ in range(round(seconds / model.model.opt.timestep)):
        mujoco.mj_step(model.model, model.data)
        times.append(model.data.time)
        values.append(read())
    return np.array(times), np.array(values)
