"""Random gaits that count in whole steps, and the values near which something happens to them.

They are the gaits of `random_plans` and `random_drives` with what int16 does not take mended: absurd gains
and rates that a parameter multiplies. Samples also stand on the edges between two steps, and beyond 16 bits.
"""

from collections.abc import Callable
from dataclasses import replace
from random import Random

from sequencer.base.binary32 import f32, load_f32
from sequencer.base.places import NOWHERE
from sequencer.plan import tables as t
from sequencer.plan.fixed import in_int16
from sequencer.plan.resolutions import Given, Member
from support.random_drives import drives_plan
from support.random_plans import random_plan

RESOLUTIONS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 1 / 64)
GAINS = (0.07905138, -0.5, 3.0e-3, 1.7)
DrawPlan = Callable[[Random, str], tuple[t.Plan, list[list[float]]]]


def steps_plan(rng: Random, name: str = "walk") -> tuple[t.Plan, list[list[float]]]:
    """Draw a gait in whole steps, and for each signal the values near which something happens."""
    return _in_steps(rng, name, random_plan)


def steps_drives_plan(rng: Random, name: str) -> tuple[t.Plan, list[list[float]]]:
    """Draw a small walk in whole steps with loops and outputs."""
    return _in_steps(rng, name, drives_plan)


def _in_steps(rng: Random, name: str, draw: DrawPlan) -> tuple[t.Plan, list[list[float]]]:
    for _ in range(100):
        drawn, pool = draw(rng, name)
        plan = _mended(rng, drawn)
        for size in rng.sample(RESOLUTIONS, len(RESOLUTIONS)):
            whole = _counted(rng, plan, size)
            if whole is not None:
                return whole, [_edges(rng, near, whole, i) for i, near in enumerate(pool)]
    raise AssertionError("none of 100 gaits can be counted in steps")


def _counted(rng: Random, plan: t.Plan, size: float) -> t.Plan | None:
    """Count in steps of this size, or of several if no parameter joins them; None if it does not fit."""
    given: dict[Member, Given] = {}
    sizes = [size, size, rng.choice(RESOLUTIONS)] if not plan.parameters else [size]
    for i in range(len(plan.signals)):
        given["signal", i] = Given(load_f32(rng.choice(sizes)), NOWHERE)
    for i, setpoint in enumerate(plan.setpoints):
        given["setpoint", i] = Given(load_f32(rng.choice(sizes)), NOWHERE)
        for follower in setpoint.followers:
            given["signal", follower.signal] = given["setpoint", i] = Given(load_f32(size), NOWHERE)
    whole, problems = in_int16(plan, given)
    return None if problems else replace(whole, sha=plan.sha)


def _mended(rng: Random, plan: t.Plan) -> t.Plan:
    return replace(
        plan,
        signals=tuple(_signal(rng, signal) for signal in plan.signals),
        setpoints=tuple(_setpoint(rng, setpoint) for setpoint in plan.setpoints),
        leaves=tuple(_leaf(rng, leaf) for leaf in plan.leaves),
    )


def _signal(rng: Random, signal: t.Signal) -> t.Signal:
    if rng.random() < 0.5:
        return replace(signal, gain=1.0)
    gain = f32(rng.choice(GAINS))
    return replace(signal, gain=gain, scaled=True)


def _setpoint(rng: Random, setpoint: t.Setpoint) -> t.Setpoint:
    step = load_f32(rng.choice([0.5, 1.0, 7.5, 2.5, 20.0]))
    rate = None if setpoint.rate is None else t.Rate(step, None, step * 100)
    return replace(setpoint, rate=rate)


def _leaf(rng: Random, leaf: t.Leaf) -> t.Leaf:
    """Have counters compared with plain numbers: what parameters are compared with has another resolution."""
    if not isinstance(leaf, t.Compare) or leaf.source == "signal":
        return leaf

    def plain(level: t.Level | None) -> t.Level | None:
        if level is None or level.parameter is None:
            return level
        return t.Level(float(rng.randint(0, 4)))

    return replace(
        leaf,
        low=plain(leaf.low),
        high=plain(leaf.high),
        release_low=plain(leaf.release_low),
        release_high=plain(leaf.release_high),
    )


def _edges(rng: Random, near: list[float], plan: t.Plan, index: int) -> list[float]:
    """Add what is a step or half a step away, and seldom what is beyond 16 bits."""
    assert plan.fixed is not None
    size = plan.fixed.signals[index]
    edges = [f32(x + ways * size) for x in near for ways in (-1.0, -0.5, 0.5, 1.0)]
    beyond = [f32(ways * size) for ways in (-32767.0, 32767.0, 32767.5, 33000.0, -1.0e6)]
    return [*near, *near, *edges, *(beyond if rng.random() < 0.3 else ())]
