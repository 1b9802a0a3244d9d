"""How long a guard has to wait for what it asks about: ways over rates, samples, holds."""

from dataclasses import dataclass

from sequencer.check.facts import Facts, Range
from sequencer.check.holds import longest_hold_ms, period_ms
from sequencer.check.subjects import Subject
from sequencer.check.travel import Travels, distance, followed_by, required_leaves, slowest_per_s
from sequencer.plan.tables import Compare, Follow, Plan


@dataclass(frozen=True, slots=True)
class Need:
    """How long a guard has to wait for a setpoint: `way` units at `per_s` take `way_ms`.

    total_ms: with the allowance for lag, a sample period and the hold.
    """

    setpoint: int
    way: float
    per_s: float
    way_ms: float
    total_ms: float


class Needs:
    """Works out what guards need, from where `travels` says that setpoints stand when a phase begins.

    lag: the share of a way's time by which a joint is allowed to be late.
    """

    def __init__(self, facts: Facts, travels: Travels, lag: float) -> None:
        self.facts, self.travels, self.lag = facts, travels, lag
        self.plan: Plan = facts.plan

    def longest(self, sequence: int, phase: int, subject: Subject) -> Need | None:
        """Return what a guard has to wait for longest; None if it asks about no setpoint."""
        ways: list[tuple[int, float]] = []
        for index in sorted(required_leaves(self.plan.guards[subject.guard].nodes)):
            leaf = self.plan.leaves[index]
            if isinstance(leaf, Follow):
                ways += self._follow_way(leaf, sequence, phase)
            elif isinstance(leaf, Compare) and leaf.source == "signal":
                for setpoint, offset in followed_by(self.plan, leaf):
                    ways += self._compare_way(leaf, setpoint, offset, sequence, phase)
        needs = [need for way in ways if (need := self._need(subject, *way)) is not None]
        return max(needs, key=lambda need: need.total_ms) if needs else None

    def _follow_way(self, leaf: Follow, sequence: int, phase: int) -> list[tuple[int, float]]:
        stand = self._stand(leaf.setpoint, sequence, phase)
        if stand is None:
            return []
        tolerance = self.facts.level(leaf.tolerance)[0]
        return [(leaf.setpoint, distance(*stand) - tolerance)]

    def _compare_way(
        self, leaf: Compare, setpoint: int, offset: float, sequence: int, phase: int
    ) -> list[tuple[int, float]]:
        stand = self._stand(setpoint, sequence, phase)
        if stand is None or leaf.op == "outside":
            return []
        (low, high), _ = stand
        ways = [0.0]
        if leaf.low is not None:
            ways.append(self.facts.level(leaf.low)[1] - offset - low)
        if leaf.high is not None:
            ways.append(high - (self.facts.level(leaf.high)[0] - offset))
        return [(setpoint, max(ways))]

    def _stand(self, setpoint: int, sequence: int, phase: int) -> tuple[Range, Range] | None:
        """Return where a setpoint is when the phase begins, and where it is going."""
        if self.plan.setpoints[setpoint].owner != sequence:
            return None
        stand = self.travels.at_entry(setpoint, phase)
        aim = self.travels.aim_in(setpoint, phase)
        return None if stand is None or aim is None else (stand.value, aim)

    def _need(self, subject: Subject, setpoint: int, way: float) -> Need | None:
        per_s = slowest_per_s(self.facts, setpoint)
        if per_s is None or per_s <= 0:
            return None
        way_ms = max(way, 0.0) / per_s * 1000
        sample_ms = max(
            (period_ms(self.plan, f.signal) for f in self.plan.setpoints[setpoint].followers), default=0
        )
        total_ms = way_ms * (1 + self.lag) + sample_ms + longest_hold_ms(self.plan, subject.guard)
        return Need(setpoint, max(way, 0.0), per_s, way_ms, total_ms)
