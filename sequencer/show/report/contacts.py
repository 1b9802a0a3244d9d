"""When each foot was on the ground, as far as the run can tell.

A foot leaves the ground when what lifts it is away from where it stands by more than a quarter of the most
that is ever commanded (see `sequencer.show.diagram.feet`, which finds feet by the names of setpoints), and
is back when it is nearer than an eighth; between the two it stays as it was, so that noise makes no steps.
Where a signal follows the lifting setpoint the foot is judged by it ("measured"): a foot that sticks is then
seen to stay down. Else by what was commanded.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import SEEN, HistoryBlock
from sequencer.plan.tables import Plan
from sequencer.show.diagram.feet import Foot, feet_of
from sequencer.show.report.document import Contact
from sequencer.show.report.pack import pack

_ROWS = {2: ("front ", "hind "), 3: ("front ", "middle ", "hind ")}

AWAY, BACK = 0.25, 0.125  # shares of the most that is commanded

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Times = NDArray[np.int64] | NDArray[np.float64]


@dataclass
class Intervals:
    """Collects from when to when something was so, block by block; times in ms."""

    from_ms: list[float] = field(default_factory=list)
    to_ms: list[float] = field(default_factory=list)
    open: bool = False

    def add(self, so: Bools, at_ms: Times) -> None:
        """Take whether it was so in the next ticks, and their times."""
        if not len(so):
            return
        edges = np.flatnonzero(np.diff(so.astype(np.int8), prepend=np.int8(self.open)))
        for row in edges.tolist():
            (self.from_ms if so[row] else self.to_ms).append(float(at_ms[row]))
        self.open = bool(so[-1])

    def finish(self, end_ms: float) -> None:
        """Close what still lasts."""
        if self.open:
            self.to_ms.append(end_ms)
            self.open = False


class FeetDown:
    """Watches the feet of a run of a plan; blocks need their detail."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._feet = feet_of(plan)
        self._down = [Intervals() for _ in (self._feet.feet if self._feet else ())]
        self._was_up = [False for _ in self._down]

    def add(self, history: HistoryBlock, at_ms: Ints) -> None:
        """Take the next ticks."""
        if self._feet is None:
            return
        for foot, (down, setpoints) in enumerate(zip(self._down, self._feet.lifted_by, strict=True)):
            share = np.max([self._lifted(history, setpoint) for setpoint in setpoints], axis=0)
            up = between(share, BACK, AWAY, was=self._was_up[foot])
            self._was_up[foot] = bool(up[-1]) if len(up) else self._was_up[foot]
            down.add(~up, at_ms)

    def _lifted(self, history: HistoryBlock, setpoint: int) -> NDArray[np.float64]:
        """Tell how far a lifting setpoint, or what follows it, is away: 1 is the most that is commanded."""
        assert self._feet is not None and history.detail is not None
        detail = history.detail
        stands = self._feet.stands_at[setpoint]
        away = np.abs(history.setpoint[:, setpoint] - stands)
        for follower in self._plan.setpoints[setpoint].followers:
            seen = (detail.signal_state[:, follower.signal] & SEEN) > 0
            measured = np.abs(detail.signal[:, follower.signal] - follower.offset - stands)
            away = np.where(seen, measured, away)
        return np.asarray(away / self._feet.largest[setpoint], np.float64)

    def contacts(self, end_ms: int) -> list[Contact]:
        """Give when each foot was down."""
        if self._feet is None:
            return []
        rows = 1 + max(foot.row for foot in self._feet.feet)
        found = []
        for down, foot, setpoints in zip(self._down, self._feet.feet, self._feet.lifted_by, strict=True):
            down.finish(end_ms)
            measured = any(self._plan.setpoints[s].followers for s in setpoints)
            name, source = foot_name(foot, rows), "measured" if measured else "commanded"
            found.append(contact(name, foot, source, down))
        return found


def between(values: NDArray[np.float64], low: float, high: float, *, was: bool) -> Bools:
    """Tell where values are up: above `high`, or not below `low` since; `was`: whether they were before."""
    told = np.where(values > high, 1, np.where(values < low, 0, -1))
    last = np.maximum.accumulate(np.where(told >= 0, np.arange(len(told)), -1))
    return np.asarray(np.where(last >= 0, told[np.maximum(last, 0)] == 1, was), np.bool_)


def contact(name: str, foot: Foot | None, source: str, down: Intervals) -> Contact:
    """Make the record of one foot."""
    side, row = ("", 0) if foot is None else (foot.side, foot.row)
    return Contact(
        name, side, row, source, pack(np.array(down.from_ms), "f8"), pack(np.array(down.to_ms), "f8")
    )


def foot_name(foot: Foot, rows: int) -> str:
    """Name a foot of a machine with so many rows of feet: ``left``, ``right hind``."""
    if rows == 1:
        return str(foot.side)
    names = _ROWS.get(rows)
    row = names[min(foot.row, rows - 1)].strip() if names else str(foot.row + 1)
    return f"{foot.side} {row}"
