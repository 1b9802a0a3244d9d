"""Setpoints: which level each was last set with, and how its followers are compared."""

from dataclasses import dataclass, field

from sequencer.base.binary32 import literal
from sequencer.generate.spelling import Spelling
from sequencer.generate.views import FollowView, LevelView, SetpointView
from sequencer.plan.tables import Follow, FollowOp, Level, Plan


@dataclass
class Aims:
    """What must be remembered of each setpoint.

    levels: per setpoint that some phase sets from a parameter, those levels; they are numbered from 1 on.
    slots: where the number of the level it was last set with is kept.
    entries: where the value is kept that it had when its sequence's phase began (for `reached`).
    """

    plan: Plan
    levels: dict[int, list[Level]] = field(default_factory=dict)
    slots: dict[int, int] = field(default_factory=dict)
    entries: dict[int, int] = field(default_factory=dict)

    def number(self, setpoint: int, level: Level) -> int:
        """Give the number of a level that names a parameter, else 0."""
        return 0 if level.parameter is None else self.levels[setpoint].index(level) + 1

    def clamped(self, setpoint: int, level: Level) -> float:
        """Clamp a level that is a plain number to the setpoint's span."""
        assert level.plus is not None
        limits = self.plan.setpoints[setpoint]
        if level.plus < limits.low:
            return limits.low
        return limits.high if level.plus > limits.high else level.plus


def lay_out_aims(plan: Plan) -> Aims:
    """Give levels and slots numbers in the order in which the plan mentions them."""
    aims = Aims(plan)
    for sequence in plan.sequences:
        for phase in sequence.phases:
            for command in phase.commands:
                if command.level.parameter is None:
                    continue
                levels = aims.levels.setdefault(command.setpoint, [])
                if command.level not in levels:
                    levels.append(command.level)
    aims.slots = {setpoint: slot for slot, setpoint in enumerate(sorted(aims.levels))}
    reached = {leaf.setpoint for leaf in plan.leaves if isinstance(leaf, Follow) and leaf.op == "reached"}
    aims.entries = {setpoint: slot for slot, setpoint in enumerate(sorted(reached))}
    return aims


def setpoint_views(plan: Plan, spelling: Spelling, aims: Aims) -> tuple[SetpointView, ...]:
    """Spell the setpoints."""
    views = []
    for index, setpoint in enumerate(plan.setpoints):
        name = spelling.setpoints[index]
        rate = setpoint.rate
        through = rate.parameter if rate is not None else None
        views.append(
            SetpointView(
                name=name,
                text=setpoint.name,
                unit=setpoint.unit,
                low=literal(setpoint.low),
                high=literal(setpoint.high),
                start=literal(setpoint.start),
                step="" if rate is None else literal(rate.step),
                step_parameter="" if through is None else spelling.parameters[through],
                entry=aims.entries.get(index),
                aim=aims.slots.get(index),
                retarget=f"retarget_{name.removeprefix('setpoint_')}",
                levels=tuple(_spelled(spelling, level) for level in aims.levels.get(index, ())),
            )
        )
    return tuple(views)


def _spelled(spelling: Spelling, level: Level) -> LevelView:
    view = spelling.level(level)
    assert view is not None
    return view


def follow_views(plan: Plan, spelling: Spelling, aims: Aims) -> tuple[FollowView, ...]:
    """Spell each comparison of a setpoint with its followers that some guard makes, once."""
    pairs: dict[tuple[FollowOp, int], None] = {}
    for leaf in plan.leaves:
        if isinstance(leaf, Follow):
            pairs[leaf.op, leaf.setpoint] = None
    views = []
    for op, setpoint in pairs:
        name = spelling.setpoints[setpoint]
        short = name.removeprefix("setpoint_")
        views.append(
            FollowView(
                op=op,
                function=f"{op}_{short}",
                margin=f"margin_{op}_{short}",
                setpoint=name,
                entry=aims.entries.get(setpoint) if op == "reached" else None,
                followers=tuple(
                    (spelling.signals[f.signal], literal(f.offset))
                    for f in plan.setpoints[setpoint].followers
                ),
            )
        )
    return tuple(views)
