"""The parade stork as a plan by hand: 6 signals, 3 setpoints, 10 phases, 1 `anywhere` entry, 2 rules.

Invented data. `stork_inputs` plays a walk in which every signal follows its setpoint at once.
"""

import numpy as np

from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, TickBlock, empty_block
from support.plans import (
    Phase,
    Rule,
    above,
    any_of,
    at_target,
    event,
    hold_samples,
    lost,
    make_plan,
    outside,
    reached,
    setpoint,
    signal,
)

SIDES = (("left", "right", 15.0), ("right", "left", -15.0))


def _half(side: str, lean: float, then: str) -> list[Phase]:
    other = "right" if side == "left" else "left"
    safe = (5000, "safe")
    return [
        Phase(
            f"lean_{other}", [(f"lift_{side}", reached("lean", 2), hold_samples(3))], safe, set={"lean": lean}
        ),
        Phase(
            f"lift_{side}", [(f"lower_{side}", at_target(f"{side}_bend", 3))], safe,
            set={f"{side}_bend": 40}, count=["steps"],
        ),
        Phase(
            f"lower_{side}", [(f"centre_{side}", at_target(f"{side}_bend", 3))], safe,
            set={f"{side}_bend": 0},
        ),
        Phase(f"centre_{side}", [(then, reached("lean", 2), hold_samples(3))], safe, set={"lean": 0}),
    ]  # fmt: skip


def stork_plan() -> Plan:
    tilt = {"low": -45.0, "high": 45.0, "lost_after_ms": 100}
    knee = {"unit": "mm", "low": 0.0, "high": 60.0}
    bend = {"unit": "mm", "low": 0.0, "high": 55.0, "step": 0.6}
    return make_plan(
        signals=[
            signal("left_leg_roll", bias=-0.6000000238418579, **tilt),
            signal("right_leg_roll", **tilt),
            signal("body_roll", **{**tilt, "low": -60.0, "high": 60.0}),
            signal("left_knee", **knee),
            signal("right_knee", **knee),
            signal("battery", unit="V", low=9.0, high=12.6),
        ],
        setpoints=[
            setpoint("lean", step=0.16, followers=[(0, 2.0), (1, -2.0)]),
            setpoint("left_bend", followers=[(3, 0.0)], **bend),
            setpoint("right_bend", followers=[(4, 0.0)], **bend),
        ],
        counters=["steps"],
        sequences={
            "walk": [
                Phase("standing", [("lean_right", event("go"))], rest=True,
                      set={"lean": 0, "left_bend": 0, "right_bend": 0}),
                *_half("left", 15, "lean_left"),
                *_half("right", -15, "lean_right"),
                Phase("safe", [("standing", event("go"))], set={"left_bend": 0, "right_bend": 0}, stop=1),
            ]
        },
        anywhere=[("safe", any_of(event("halt"), lost("body_roll"), outside("body_roll", -25, 25)))],
        rules=[
            Rule("weight right", above("left_leg_roll", 8), above("left_knee", 5)),
            Rule("weight left", above("left_leg_roll", -30), above("right_knee", 5)),
        ],
    )  # fmt: skip


def stork_inputs(ticks: int) -> TickBlock:
    """Tilts every 20 ms, knees every 10 ms, battery every 100 ms; go after 1 s; values from a first run."""
    block = empty_block(ticks, 6)
    block.now[:] = np.arange(ticks) * 10
    t = np.arange(ticks) * 0.01
    swing = 17 * np.sin(2 * np.pi * t / 8)
    block.raw[:, 0], block.raw[:, 1], block.raw[:, 2] = swing + 2.6, swing - 2, 0.3 * swing
    block.raw[:, 3] = np.clip(60 * np.sin(2 * np.pi * t / 8), 0, 41)
    block.raw[:, 4] = np.clip(-60 * np.sin(2 * np.pi * t / 8), 0, 41)
    block.raw[:, 5] = 12
    for column, every in enumerate((2, 2, 2, 1, 1, 10)):
        block.fresh[::every, column] = FRESH_RAW
    block.events[100::400] = 1
    return block
