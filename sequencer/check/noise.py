"""Findings about noise that makes a guard true although the machine did not do anything.

Judged where the true value is known while the guard is looked at: for a signal that follows a setpoint from
where the setpoint stands, for any other from what every way into the phase asked of it.
"""

from collections.abc import Iterator

from sequencer.base.findings import Finding, Severity
from sequencer.check.chance import ALLOWED_PER_HOUR, distance_needed, samples_needed, trips_per_hour
from sequencer.check.chatter import check_chatter
from sequencer.check.edges import entered_phases
from sequencer.check.entries import Entries
from sequencer.check.facts import Facts, Range
from sequencer.check.holds import period_ms
from sequencer.check.lengths import hold_edit
from sequencer.check.questions import Askers
from sequencer.check.sampling import often, samples_in_row
from sequencer.check.stillness import check_stillness
from sequencer.check.subjects import Subject, exits_of, watched
from sequencer.check.suggest import rounded
from sequencer.check.travel import Travels, followed_by, sufficient_leaves
from sequencer.plan.tables import Compare, Plan
from sequencer.plan.words import number_words


def check_noise(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge the guards of all phases against the noise that the signals declare."""
    facts = askers.present.facts
    if not facts.commands_anything or not any(signal.noise for signal in plan.signals):
        return []
    noise = _Noise(facts, askers.usual_travels)
    findings = []
    for sequence in range(len(plan.sequences)):
        for phase in sorted(entered_phases(plan, sequence)):
            for subject in exits_of(plan, sequence, phase):
                if askers.present.possible(subject.condition).verdict != "no":
                    findings += noise.of_exit(sequence, phase, subject)
                    findings += check_stillness(facts, sequence, phase, subject)
        findings += check_chatter(plan, sequence, facts)
    for subject in watched(plan):
        findings += noise.of_watched(subject)
    return findings


def distance_from(facts: Facts, leaf: Compare, stands: Range) -> float:
    """Return how far a comparison is from being true wherever in a range the value stands.

    Not above 0 if it is true somewhere in the range. A release does not count: it is asked for only once the
    comparison was true.
    """
    low, high = stands
    # for each end the side from which it is easiest to reach: named numbers may be trimmed
    over = facts.level(leaf.low)[0] - high if leaf.low is not None else 0.0
    under = low - facts.level(leaf.high)[1] if leaf.high is not None else 0.0
    if leaf.op in {"at_least", "above"}:
        return over
    if leaf.op in {"at_most", "below"}:
        return under
    if leaf.op == "within":
        return max(over, under)
    assert leaf.low is not None and leaf.high is not None
    return min(low - facts.level(leaf.low)[1], facts.level(leaf.high)[0] - high)


class _Noise:
    """What noise does to the guards of a plan."""

    def __init__(self, facts: Facts, travels: Travels) -> None:
        self.facts, self.travels = facts, travels
        self.plan: Plan = facts.plan
        self.entries = Entries(facts)

    def of_exit(self, sequence: int, phase: int, subject: Subject) -> list[Finding]:
        """Judge the comparisons each of which makes a way out true by itself; tell the first that trips."""
        for leaf in self._alone(subject):
            for stands in self._stands(leaf, sequence, phase):
                if finding := self._trips(subject, leaf, distance_from(self.facts, leaf, stands)):
                    return [finding]
        return []

    def of_watched(self, subject: Subject) -> list[Finding]:
        """Judge an entry under `anywhere`: wherever the walk sends the joint, noise must not trip it."""
        for leaf in self._alone(subject):
            for stands in self._stands_anywhere(leaf):
                if finding := self._trips(subject, leaf, distance_from(self.facts, leaf, stands)):
                    return [finding]
        return []

    def _alone(self, subject: Subject) -> Iterator[Compare]:
        for index in sorted(sufficient_leaves(subject.condition.nodes)):
            leaf = self.plan.leaves[index]
            if isinstance(leaf, Compare) and leaf.source == "signal" and self.plan.signals[leaf.index].noise:
                yield leaf

    def _stands(self, leaf: Compare, sequence: int, phase: int) -> Iterator[Range]:
        """Give where the true value stands when a phase begins, if that is known."""
        follows = list(followed_by(self.plan, leaf))
        for setpoint, offset in follows:
            if self.plan.setpoints[setpoint].owner == sequence:
                stand = self.travels.at_entry(setpoint, phase)
                if stand is not None:
                    yield stand.value[0] + offset, stand.value[1] + offset
                    return
        asked = None if follows else self.entries.of(leaf.index, sequence, phase)
        if asked is not None:
            yield asked

    def _stands_anywhere(self, leaf: Compare) -> Iterator[Range]:
        follows = list(followed_by(self.plan, leaf))
        for setpoint, offset in follows:
            low, high = self.facts.travel(setpoint)
            yield low + offset, high + offset
        if follows:
            return
        for sequence in range(len(self.plan.sequences)):
            for phase in sorted(entered_phases(self.plan, sequence)):
                asked = self.entries.of(leaf.index, sequence, phase)
                if asked is not None:
                    yield asked

    def _trips(self, subject: Subject, leaf: Compare, distance: float) -> Finding | None:
        """Tell how often noise alone makes a comparison true from so far away, if too often."""
        signal, period = self.plan.signals[leaf.index], period_ms(self.plan, leaf.index)
        guard = self.plan.guards[subject.guard]
        if distance <= 0:
            return None
        per_hour = trips_per_hour(
            distance, signal.noise, period, samples_in_row(self.plan, guard, leaf.index)
        )
        if per_hour <= ALLOWED_PER_HOUR:
            return None
        # a hold would also hold back what else makes the guard true: an event could never fire
        shared = len(guard.nodes) > 1
        needed = samples_needed(distance, signal.noise, period)
        return Finding(
            "noise-trips",
            Severity.WARNING,
            subject.place,
            f"{subject.name}, is tripped by noise about {often(per_hour)}: {signal.name} begins "
            f"{number_words(rounded(distance), signal.unit)} from the threshold, and its noise is "
            f"{number_words(rounded(signal.noise), signal.unit)}",
            fix=("for it, an entry of its own, with " if shared else "")
            + _calmer(needed, number_words(rounded(distance_needed(signal.noise, period), 2), signal.unit)),
            edits=() if shared else hold_edit(subject.place, samples=needed),
        )


def _calmer(samples: int | None, far: str) -> str:
    """Say what brings it under one false trip in 100 hours."""
    if samples is None:
        return f"a threshold {far} or more from where the joint begins"
    return f"hold: {samples} samples (under one false trip in 100 hours), or a threshold {far} away"
