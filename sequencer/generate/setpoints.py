"""Setpoints: which level each was last set with, and how its followers are compared."""

from dataclasses import dataclass, field

from sequencer.base.binary32 import f32
from sequencer.generate.guard_views import LevelView
from sequencer.generate.signals import unit_and_step
from sequencer.generate.spelling import Spelling
from sequencer.generate.views import FollowView, RateView, SetpointView
from sequencer.plan.tables import Follow, FollowOp, Level, Plan, Setpoint


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
        unit, step = unit_and_step(
            setpoint.unit, plan.fixed.setpoints[index] if plan.fixed is not None else None
        )
        views.append(
            SetpointView(
                name=name,
                text=setpoint.name,
                unit=unit,
                low=spelling.number(setpoint.low),
                high=spelling.number(setpoint.high),
                start=spelling.number(setpoint.start),
                entry=aims.entries.get(index),
                aim=aims.slots.get(index),
                clamped=any(_can_leave(plan, setpoint, level) for level in aims.levels.get(index, ())),
                levels=tuple(_spelled(spelling, level) for level in aims.levels.get(index, ())),
                resolution=step,
            )
        )
    return tuple(views)


def _can_leave(plan: Plan, setpoint: Setpoint, level: Level) -> bool:
    """Tell whether a level can be outside the span: rounding keeps the order, so its ends tell."""
    assert level.parameter is not None
    parameter = plan.parameters[level.parameter]
    ends = [-end if level.negated else end for end in (parameter.low, parameter.high)]
    if level.plus is not None:
        ends = [f32(end + level.plus) for end in ends]
    return min(ends) < setpoint.low or max(ends) > setpoint.high


def rate_views(plan: Plan, spelling: Spelling) -> tuple[RateView, ...]:
    """Group the setpoints by how far they move in a tick; the largest group comes last, to be the default."""
    groups: dict[tuple[str, str], list[str]] = {}
    for name, setpoint in zip(spelling.setpoints, plan.setpoints, strict=True):
        rate = setpoint.rate
        step = "" if rate is None else spelling.number(rate.step)
        through = None if rate is None else rate.parameter
        groups.setdefault((step, "" if through is None else spelling.parameters[through]), []).append(name)
    ordered = sorted(groups.items(), key=lambda group: len(group[1]))
    return tuple(RateView(tuple(names), step, parameter) for (step, parameter), names in ordered)


def steps_are_positive(plan: Plan) -> bool:
    """Tell whether no step can point backwards, whatever its parameter is trimmed to."""
    rates = [s.rate for s in plan.setpoints if s.rate is not None]
    return all(r.step >= 0 and (r.parameter is None or plan.parameters[r.parameter].low >= 0) for r in rates)


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
                name=short,
                setpoint=name,
                shared=("reached", setpoint) in pairs and ("at_target", setpoint) in pairs,
                entry=aims.entries.get(setpoint) if op == "reached" else None,
                followers=tuple(
                    (spelling.signals[f.signal], spelling.number(f.offset) if f.offset else "")
                    for f in plan.setpoints[setpoint].followers
                ),
            )
        )
    return tuple(views)
