"""Findings about noise: guards that it trips, tolerances that it does not leave, phases that chatter.

Only where the true value is known while the phase waits: for signals that follow a setpoint.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.base.findings import Finding, Severity
from sequencer.check.chance import (
    ALLOWED_PER_HOUR,
    distance_needed,
    mean_wait_samples,
    samples_needed,
    trips_per_hour,
    within,
)
from sequencer.check.edges import entered_phases
from sequencer.check.facts import Facts
from sequencer.check.holds import period_ms, time_words
from sequencer.check.lengths import hold_edit
from sequencer.check.questions import Askers
from sequencer.check.subjects import Subject, exits_of, watched
from sequencer.check.suggest import rounded
from sequencer.check.travel import Travels, followed_by, required_leaves, sufficient_leaves
from sequencer.plan.tables import Compare, Follow, Guard, Plan
from sequencer.plan.words import leaf_words, number_words

SHARE_OF_TIMEOUT = 0.25  # waiting for a lucky run of samples may take so much of the timeout; our choice


def check_noise(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge the guards of all phases against the noise that the signals declare."""
    facts = askers.present.facts
    if not facts.commands_anything or not any(signal.noise for signal in plan.signals):
        return []
    travels = askers.usual_travels
    findings = []
    for sequence in range(len(plan.sequences)):
        for phase in sorted(entered_phases(plan, sequence)):
            for subject in exits_of(plan, sequence, phase):
                if askers.present.possible(subject.condition).verdict != "no":
                    findings += _Judged(facts, travels, sequence, phase, subject).judge()
        findings += _facing(plan, sequence, facts)
    for subject in watched(plan):
        findings += _watched(facts, subject)
    return findings


def _watched(facts: Facts, subject: Subject) -> list[Finding]:
    """Judge an entry under `anywhere`: wherever the walk ever sends the joint, noise must not trip it."""
    plan = facts.plan
    for index in sorted(sufficient_leaves(subject.condition.nodes)):
        leaf = plan.leaves[index]
        if not isinstance(leaf, Compare) or leaf.source != "signal" or leaf.latch is not None:
            continue
        for setpoint, offset in followed_by(plan, leaf):
            low, high = (x + offset for x in facts.travel(setpoint))
            distance = _away(facts, leaf, low, high)
            finding = _trips(plan, subject, leaf, distance) if distance > 0 else None
            if finding is not None:
                return [finding]
    return []


def _away(facts: Facts, leaf: Compare, low: float, high: float) -> float:
    """Return how far a threshold is from all of a range; not above 0 if the range reaches it."""
    ways = []
    if leaf.op in {"at_least", "above"} and leaf.low is not None:
        ways.append(facts.level(leaf.low)[0] - high)
    if leaf.op in {"at_most", "below"} and leaf.high is not None:
        ways.append(low - facts.level(leaf.high)[1])
    if leaf.op == "outside" and leaf.low is not None and leaf.high is not None:
        ways += [low - facts.level(leaf.low)[1], facts.level(leaf.high)[0] - high]
    return min(ways, default=0.0)


@dataclass(frozen=True, slots=True)
class _Trip:
    """A comparison that noise can make true: the true value is `distance` away from the threshold."""

    leaf: Compare
    distance: float


def samples_in_row(plan: Plan, guard: Guard, signal: int) -> int:
    """Return how many samples of a signal must agree before a guard fires."""
    if guard.hold is None:
        return 1
    if guard.hold.samples is not None:
        return guard.hold.samples
    assert guard.hold.ms is not None
    return 1 + int(guard.hold.ms // period_ms(plan, signal))


class _Judged:
    """One guard of a phase."""

    def __init__(self, facts: Facts, travels: Travels, sequence: int, phase: int, subject: Subject) -> None:
        self.facts, self.travels = facts, travels
        self.plan: Plan = facts.plan
        self.sequence, self.phase, self.subject = sequence, phase, subject
        self.guard = self.plan.guards[subject.guard]

    def judge(self) -> list[Finding]:
        return [*self._tripped(), *self._never_still()]

    # tripped by noise

    def _tripped(self) -> list[Finding]:
        """Judge the comparisons each of which makes the guard true by itself; tell the first that trips."""
        for index in sorted(sufficient_leaves(self.guard.nodes)):
            leaf = self.plan.leaves[index]
            if isinstance(leaf, Compare) and leaf.source == "signal" and leaf.latch is None:
                distance = self._distance(leaf)
                finding = None if distance is None else _trips(self.plan, self.subject, leaf, distance)
                if finding is not None:
                    return [finding]
        return []

    def _distance(self, leaf: Compare) -> float | None:
        """Return how far the true value is from the threshold when the phase begins, if not beyond it."""
        for setpoint, offset in followed_by(self.plan, leaf):
            if self.plan.setpoints[setpoint].owner == self.sequence:
                stand = self.travels.at_entry(setpoint, self.phase)
                if stand is not None:
                    low, high = stand.value[0] + offset, stand.value[1] + offset
                    return self._short(leaf, low, high)
        return None

    def _short(self, leaf: Compare, low: float, high: float) -> float | None:
        ways = []
        if leaf.low is not None and leaf.op in {"at_least", "above", "within"}:
            ways.append(self.facts.level(leaf.low)[0] - high)
        if leaf.high is not None and leaf.op in {"at_most", "below", "within"}:
            ways.append(low - self.facts.level(leaf.high)[1])
        beyond = [way for way in ways if way > 0]
        return max(beyond) if beyond else None

    # never still enough

    def _never_still(self) -> list[Finding]:
        timeout = self.plan.sequences[self.sequence].phases[self.phase].timeout
        if timeout is None:
            return []
        leaves = (self.plan.leaves[i] for i in sorted(required_leaves(self.guard.nodes)))
        follows = [leaf for leaf in leaves if isinstance(leaf, Follow) and leaf.op == "at_target"]
        right, period, samples = 1.0, 0.0, 1
        for leaf in follows:
            tolerance = self.facts.level(leaf.release or leaf.tolerance)[1]
            for follower in self.plan.setpoints[leaf.setpoint].followers:
                noise = self.plan.signals[follower.signal].noise
                right *= within(tolerance, noise) if noise else 1.0
                period = max(period, period_ms(self.plan, follower.signal))
                samples = max(samples, samples_in_row(self.plan, self.guard, follower.signal))
        wait_ms = mean_wait_samples(right, samples) * period
        if not follows or wait_ms - samples * period <= SHARE_OF_TIMEOUT * timeout.after_ms:
            return []
        return [self._too_narrow(follows[0], wait_ms, samples)]

    def _too_narrow(self, leaf: Follow, wait_ms: float, samples: int) -> Finding:
        setpoint = self.plan.setpoints[leaf.setpoint]
        noisy = max(setpoint.followers, key=lambda f: self.plan.signals[f.signal].noise)
        signal = self.plan.signals[noisy.signal]
        told = "for ever" if math.isinf(wait_ms) else f"about {_time(wait_ms)} on average"
        wider = number_words(rounded(4 * signal.noise, 2), signal.unit)
        index = next(i for i in self.guard.leaves if self.plan.leaves[i] is leaf)
        return Finding(
            "tolerance-under-noise",
            Severity.WARNING,
            self.subject.place,
            f"{self.subject.name}, waits {told} for {samples} samples in a row within its tolerance although "
            f"the joint stands right: {leaf_words(self.plan, index)}, and {signal.name} has a noise of "
            f"{number_words(rounded(signal.noise), signal.unit)}",
            fix=f"a tolerance of {wider}, which is 4 times the noise, or more",
        )


def _trips(plan: Plan, subject: Subject, leaf: Compare, distance: float) -> Finding | None:
    """Tell how often noise alone makes a comparison true that is `distance` away from it, if too often."""
    signal, period = plan.signals[leaf.index], period_ms(plan, leaf.index)
    if not signal.noise:
        return None
    samples = samples_in_row(plan, plan.guards[subject.guard], leaf.index)
    per_hour = trips_per_hour(distance, signal.noise, period, samples)
    if per_hour <= ALLOWED_PER_HOUR:
        return None
    # a hold would also hold back what else makes the guard true: an event could never fire
    shared = len(plan.guards[subject.guard].nodes) > 1
    return Finding(
        "noise-trips",
        Severity.WARNING,
        subject.place,
        f"{subject.name}, is tripped by noise about {_often(per_hour)}: {signal.name} begins "
        f"{number_words(rounded(distance), signal.unit)} from the threshold, and its noise is "
        f"{number_words(rounded(signal.noise), signal.unit)}",
        fix=("for it, an entry of its own, with " if shared else "")
        + _calmer(distance, signal.noise, period, signal.unit),
        edits=()
        if shared
        else hold_edit(subject.place, samples=samples_needed(distance, signal.noise, period)),
    )


def _calmer(distance: float, noise: float, period: float, unit: str) -> str:
    """Say what brings it under one false trip in 100 hours."""
    samples = samples_needed(distance, noise, period)
    far = number_words(rounded(distance_needed(noise, period), 2), unit)
    if samples is None:
        return f"a threshold {far} or more from where the joint begins"
    return f"hold: {samples} samples (under one false trip in 100 hours), or a threshold {far} away"


def _often(per_hour: float) -> str:
    if per_hour >= 3600:
        return f"{per_hour / 3600:.2g} times a second"
    if per_hour >= 1:
        return f"{per_hour:.2g} times an hour"
    return f"once in {1 / per_hour:.2g} hours"


def _time(ms: float) -> str:
    if ms >= 3_600_000:
        return f"{ms / 3_600_000:.2g} hours"
    return f"{ms / 1000:.2g} s" if ms >= 1000 else time_words(round(ms))


# chatter


def _facing(plan: Plan, sequence: int, facts: Facts) -> list[Finding]:
    """Find two phases that lead to each other on one signal, with less between the thresholds than noise."""
    findings = []
    for (phase, up), (other, down) in _pairs(plan, sequence):
        rising, falling = (
            plan.leaves[plan.guards[up.guard].leaves[0]],
            plan.leaves[plan.guards[down.guard].leaves[0]],
        )
        assert isinstance(rising, Compare) and isinstance(falling, Compare) and rising.low and falling.high
        gap = facts.level(rising.low)[0] - facts.level(falling.high)[1]
        signal, period = plan.signals[rising.index], period_ms(plan, rising.index)
        if not signal.noise:
            continue
        samples = min(samples_in_row(plan, plan.guards[way.guard], rising.index) for way in (up, down))
        per_hour = trips_per_hour(max(gap, 0.0) / 2, signal.noise, period, samples)
        if per_hour <= ALLOWED_PER_HOUR:
            continue
        apart = number_words(rounded(2 * distance_needed(signal.noise, period), 2), signal.unit)
        names = [p.name for p in plan.sequences[sequence].phases]
        findings.append(
            Finding(
                "chatter",
                Severity.WARNING,
                up.place,
                f"{names[phase]} and {names[other]} lead to each other on {signal.name} with "
                f"{number_words(rounded(gap), signal.unit)} between the thresholds, and its noise is "
                f"{number_words(rounded(signal.noise), signal.unit)}: they chatter, {_often(per_hour)}",
                fix=f"put the thresholds {apart} apart, or hold: 3 samples on both",
                notes=((down.place, "the way back"),),
            )
        )
    return findings


def _pairs(plan: Plan, sequence: int) -> Iterator[tuple[tuple[int, Subject], tuple[int, Subject]]]:
    """Yield guards that lead from one phase to another when a signal is high, and back when it is low."""
    ups: dict[tuple[int, int, int], Subject] = {}
    downs: dict[tuple[int, int, int], Subject] = {}
    for phase in sorted(entered_phases(plan, sequence)):
        for subject in exits_of(plan, sequence, phase):
            guard = plan.guards[subject.guard]
            leaf = plan.leaves[guard.leaves[0]] if len(guard.nodes) == 1 else None
            if isinstance(leaf, Compare) and leaf.source == "signal" and leaf.latch is None:
                ways = (
                    ups
                    if leaf.op in {"at_least", "above"}
                    else downs
                    if leaf.op in {"at_most", "below"}
                    else None
                )
                if ways is not None:
                    ways.setdefault((phase, subject.to, leaf.index), subject)
    for (phase, to, signal), subject in ups.items():
        back = downs.get((to, phase, signal))
        if back is not None:
            yield (phase, subject), (to, back)
