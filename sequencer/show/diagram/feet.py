"""Which feet stand on the ground in a phase, as far as the commands tell.

Nothing in a gait file says which foot is down, so it is guessed from names and targets, and only ever for
the picture: nothing else may rely on it.

1. A setpoint belongs to a foot if its name has a word for one: `left`, `right`, `l`, `r`, alone or with
   `front`, `fore`, `mid`, `middle`, `hind`, `rear`, `back` (`left_hind_lift`), or one word for both: `lf`,
   `rf`, `lm`, `rm`, `lh`, `rh`, `lb`, `rb`, also turned round (`fl`), `l1`, `r3` (1 is in front).
2. Of a foot's setpoints those lift it whose name has a word for that (`lift`, `knee`, `bend`, `height` ...).
   If none has, its only setpoint does, unless that one swings or leans (`hip`, `swing`, `ankle` ...).
3. A foot is up if one of its lifting setpoints is commanded away from where it stands: from its target in the
   first rest phase that sets it, else from its `start`. Less than a quarter of the largest departure that is
   commanded anywhere is trimming, not lifting.
4. Where a target is left over from different phases and they disagree, or another sequence commands the
   foot, it stays untold. If that is so for all feet of a plan, no feet are drawn.

This is what is commanded: at the start of a phase the foot is still on its way.
"""

import re
from dataclasses import dataclass
from typing import Literal

from sequencer.plan.tables import Plan
from sequencer.show.diagram.targets import Targets, target_value

State = Literal["down", "up", "untold"]

_SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"}
_ROWS = {
    "front": 0,
    "fore": 0,
    "f": 0,
    "mid": 1,
    "middle": 1,
    "m": 1,
    "hind": 2,
    "rear": 2,
    "back": 2,
    "h": 2,
    "b": 2,
}
_LIFTING = frozenset("lift raise height bend knee fold tuck up clearance shorten leg foot".split())
_OTHER = frozenset(
    "hip swing yaw stride step fore aft forward lean tilt roll pitch ankle shoulder toe turn sweep reach "
    "speed arm wing".split()
)
_SHORT = re.compile(r"(?:([lr])([fmhb])|([fmhb])([lr])|([lr])([1-9]))")


@dataclass(frozen=True, slots=True, order=True)
class Foot:
    """Where a foot stands, seen from above with the front on top: row 0 is the foremost."""

    row: int
    side: Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Feet:
    """All feet of a machine, from the front, left before right, and the setpoints that lift each."""

    feet: tuple[Foot, ...]
    lifted_by: tuple[tuple[int, ...], ...]
    stands_at: dict[int, float]
    largest: dict[int, float]

    def states(self, after: Targets) -> tuple[State, ...]:
        """Return each foot's state in a phase from the targets after its entry (see `targets`)."""
        return tuple(self._state(setpoints, after) for setpoints in self.lifted_by)

    def _state(self, setpoints: tuple[int, ...], after: Targets) -> State:
        told = [{self._is_up(s, value) for value in after[s]} for s in setpoints]
        if any(votes == {True} for votes in told):
            return "up"
        return "down" if told and all(votes == {False} for votes in told) else "untold"

    def _is_up(self, setpoint: int, target: float) -> bool:
        return abs(target - self.stands_at[setpoint]) > 0.25 * self.largest[setpoint]


def feet_of(plan: Plan) -> Feet | None:
    """Find the machine's feet, or None if the names of its setpoints tell of none that is ever lifted."""
    stands_at = {i: _stands_at(plan, i) for i in range(len(plan.setpoints))}
    largest = dict.fromkeys(stands_at, 0.0)
    for command in (c for q in plan.sequences for p in q.phases for c in p.commands):
        value = target_value(plan, plan.setpoints[command.setpoint], command.level)
        away = abs(value - stands_at[command.setpoint])
        largest[command.setpoint] = max(largest[command.setpoint], away)
    by_foot: dict[Foot, list[int]] = {}
    for i, setpoint in enumerate(plan.setpoints):
        foot = foot_named(setpoint.name)
        if foot and largest[i] > 0:
            by_foot.setdefault(foot, []).append(i)
    lifts = {foot: _lifting(plan, setpoints) for foot, setpoints in by_foot.items()}
    feet = sorted(foot for foot, setpoints in lifts.items() if setpoints)
    if len(feet) < 2:
        return None
    return Feet(tuple(feet), tuple(lifts[foot] for foot in feet), stands_at, largest)


def foot_named(name: str) -> Foot | None:
    """Return the foot that a setpoint's name speaks of, or None.

    >>> foot_named("left_bend"), foot_named("rh_lift")
    (Foot(row=0, side='left'), Foot(row=2, side='right'))
    """
    side, row = "", 0
    for word in name.lower().split("_"):
        short = _SHORT.fullmatch(word)
        if short:
            a, b, c, d, e, digit = short.groups()
            row = int(digit) - 1 if digit else _ROWS[b or c]
            return Foot(row, "left" if (a or d or e) == "l" else "right")
        if word in _SIDES:
            side = _SIDES[word]
        elif word in _ROWS and len(word) > 1:
            row = _ROWS[word]
    return Foot(row, "left" if side == "left" else "right") if side else None


def _lifting(plan: Plan, setpoints: list[int]) -> tuple[int, ...]:
    words = {i: set(plan.setpoints[i].name.lower().split("_")) for i in setpoints}
    lifting = tuple(i for i in setpoints if words[i] & _LIFTING and not words[i] & _OTHER)
    if lifting:
        return lifting
    return tuple(setpoints) if len(setpoints) == 1 and not words[setpoints[0]] & _OTHER else ()


def _stands_at(plan: Plan, setpoint: int) -> float:
    for phase in (p for q in plan.sequences for p in q.phases if p.rest):
        for command in phase.commands:
            if command.setpoint == setpoint:
                return target_value(plan, plan.setpoints[setpoint], command.level)
    return plan.setpoints[setpoint].start
