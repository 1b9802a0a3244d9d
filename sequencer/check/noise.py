"""Findings about noise that turns a guard although the machine did not do anything.

Judged where the true value is known while the guard is looked at: for a signal that follows a setpoint from
where the setpoint stands, for any other from what every way into the phase asked of it.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from sequencer.base.findings import Edit, Finding, Severity
from sequencer.check.chance import ALLOWED_PER_HOUR, distance_needed, samples_needed, trips_per_hour
from sequencer.check.chatter import check_chatter
from sequencer.check.edges import entered_phases
from sequencer.check.entries import Entries
from sequencer.check.facts import Condition, Facts, Range
from sequencer.check.flips import Distance, Flip, distance_of, flips_to
from sequencer.check.holds import period_ms
from sequencer.check.lengths import hold_edit
from sequencer.check.questions import Askers
from sequencer.check.sampling import often, samples_in_row
from sequencer.check.stillness import check_stillness
from sequencer.check.subjects import Subject, exits_of, watched
from sequencer.check.suggest import rounded
from sequencer.check.travel import Travels, followed_by, joined, required_leaves
from sequencer.check.unlatched import release_for
from sequencer.plan.tables import Compare, InPhase, Plan, Rule
from sequencer.plan.words import number_words

_Places = Iterable[tuple[int, int]]  # sequences and phases


def check_noise(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge the guards of all phases, of `anywhere` and of the rules against the noise of the signals."""
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
    for subject, entry in zip(watched(plan), plan.anywhere, strict=True):
        findings += noise.of_watched(subject, entry.to)
    for rule in plan.rules:
        findings += noise.of_rule(rule)
    return findings


@dataclass(frozen=True, slots=True)
class _Trip:
    """A flip that noise alone makes: of which comparison, from where, how far off."""

    leaf: Compare
    true: bool
    stands: Range
    distance: Distance


class _Noise:
    """What noise does to the guards of a plan."""

    def __init__(self, facts: Facts, travels: Travels) -> None:
        self.facts, self.travels = facts, travels
        self.plan: Plan = facts.plan
        self.entries = Entries(facts)
        sequences = range(len(self.plan.sequences))
        self.entered = [(s, phase) for s in sequences for phase in sorted(entered_phases(self.plan, s))]

    def of_exit(self, sequence: int, phase: int, subject: Subject) -> list[Finding]:
        """Judge the comparisons each of which makes a way out true by itself; tell the first that trips."""
        flips = flips_to(subject.condition.nodes, true=True)
        return self._first(subject, flips, lambda leaf: self._stands(leaf, sequence, phase))

    def of_watched(self, subject: Subject, to: tuple[int, ...]) -> list[Finding]:
        """Judge an entry under `anywhere`: wherever the walk sends the joint, noise must not trip it."""
        elsewhere = [(s, phase) for s, phase in self.entered if phase != to[s]]
        flips = flips_to(subject.condition.nodes, true=True)
        return self._first(subject, flips, lambda leaf: self._stands_anywhere(leaf, elsewhere))

    def of_rule(self, rule: Rule) -> list[Finding]:
        """Judge a rule's `must` where it is asked for: always, or in the phases that its `while` names.

        Where `while` asks for anything else, it is unknown where the signals stand then.
        """
        nodes = self.plan.guards[rule.guard].nodes
        asked = nodes[: rule.must_from]
        where = None
        if asked:
            leaves = [self.plan.leaves[index] for index in required_leaves(asked)]
            named = [leaf for leaf in leaves if isinstance(leaf, InPhase)]
            if len(named) != 1 or len(asked) != 1:
                return []
            where = [(named[0].sequence, phase) for phase in named[0].phases]
        must = nodes[rule.must_from : rule.must_to]
        condition = Condition(must, watched=True)
        subject = Subject(f"rule '{rule.name}', its `must`", condition, rule.guard, -1, rule.place)

        def stands(leaf: Compare) -> Iterator[Range]:
            return self._stands_anywhere(leaf, self.entered) if where is None else self._while_in(leaf, where)

        return self._first(subject, flips_to(must, true=False), stands)

    def _first(
        self, subject: Subject, flips: frozenset[Flip], where: Callable[[Compare], Iterable[Range]]
    ) -> list[Finding]:
        guard = self.plan.guards[subject.guard]
        for index, true in sorted(flips):
            leaf = self.plan.leaves[index]
            if not isinstance(leaf, Compare) or leaf.source != "signal":
                continue
            signal, period = self.plan.signals[leaf.index], period_ms(self.plan, leaf.index)
            if not signal.noise:
                continue
            samples = samples_in_row(self.plan, guard, leaf.index)
            for stands in where(leaf):
                far = distance_of(self.facts, leaf, stands, true=true)
                if far is None:
                    continue
                per_hour = trips_per_hour(far.first, signal.noise, period, samples, far.after)
                if per_hour > ALLOWED_PER_HOUR:
                    return [self._told(subject, _Trip(leaf, true, stands, far), per_hour)]
        return []

    def _stands(self, leaf: Compare, sequence: int, phase: int) -> Iterator[Range]:
        """Give where the true value stands when a phase begins, if that is known."""
        for setpoint, offset in followed_by(self.plan, leaf):
            if self.plan.setpoints[setpoint].owner == sequence:
                stand = self.travels.at_entry(setpoint, phase)
                if stand is not None:
                    yield stand.value[0] + offset, stand.value[1] + offset
                    return
        yield from self.entries.of(leaf.index, sequence, phase)

    def _while_in(self, leaf: Compare, phases: _Places) -> Iterator[Range]:
        """Give where the true value stands while some phases are active, if that is known."""
        follows = list(followed_by(self.plan, leaf))
        for sequence, phase in phases:
            for setpoint, offset in follows:
                if self.plan.setpoints[setpoint].owner != sequence:
                    continue
                stand, aim = self.travels.at_entry(setpoint, phase), self.travels.aim_in(setpoint, phase)
                if stand is not None and aim is not None:
                    low, high = joined(stand.value, aim)
                    yield low + offset, high + offset
            if not follows:
                yield from self.entries.of(leaf.index, sequence, phase)

    def _stands_anywhere(self, leaf: Compare, phases: _Places) -> Iterator[Range]:
        follows = list(followed_by(self.plan, leaf))
        for setpoint, offset in follows:
            low, high = self.facts.travel(setpoint)
            yield low + offset, high + offset
        if not follows:
            for sequence, phase in phases:
                yield from self.entries.of(leaf.index, sequence, phase)

    def _told(self, subject: Subject, trip: _Trip, per_hour: float) -> Finding:
        leaf = trip.leaf
        signal = self.plan.signals[leaf.index]
        fix, edits = self._calmer(subject, trip)
        of_rule = self._of_rule(subject)
        does, stands = ("is broken", "stands") if of_rule else ("is tripped", "begins")
        return Finding(
            "noise-trips",
            Severity.WARNING,
            subject.place,
            f"{subject.name}, {does} by noise about {often(per_hour)}: {signal.name} {stands} "
            f"{number_words(rounded(trip.distance.first), signal.unit)} from the threshold, and its noise is "
            f"{number_words(rounded(signal.noise), signal.unit)}",
            fix=fix,
            edits=edits,
        )

    def _of_rule(self, subject: Subject) -> bool:
        return len(subject.condition.nodes) < len(self.plan.guards[subject.guard].nodes)

    def _calmer(self, subject: Subject, trip: _Trip) -> tuple[str, tuple[Edit, ...]]:
        """Say what brings it under one false trip in 100 hours, with the edit if one does."""
        guard, leaf = self.plan.guards[subject.guard], trip.leaf
        signal, period = self.plan.signals[leaf.index], period_ms(self.plan, leaf.index)
        room = distance_needed(signal.noise, period)
        needed = samples_needed(trip.distance.first, signal.noise, period, trip.distance.after)
        alone = len(guard.leaves) == 1 and not self._of_rule(subject)
        may_release = not trip.true and (needed is None or not alone)
        if may_release and (release := release_for(self.facts, leaf, trip.stands, room)):
            fix = f"release: {release}, up to which it stays true (under one false trip in 100 hours)"
            return fix, (Edit(leaf.place, "release", release, (0, room)),)
        far = number_words(rounded(room, 2), signal.unit)
        if needed is None:
            return f"a threshold {far} or more from where the value stands", ()
        # a hold would also hold back what else makes the guard true: an event could never fire
        fix = f"hold: {needed} samples (under one false trip in 100 hours), or a threshold {far} away"
        if self._of_rule(subject):
            return f"{fix}, if it may be broken so long", hold_edit(subject.place, samples=needed)
        if not alone:
            return f"for it, an entry of its own, with {fix}", ()
        return fix, hold_edit(subject.place, samples=needed)
