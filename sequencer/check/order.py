"""Findings about the order of guards: which wins when two are true, and which can never win."""

from dataclasses import dataclass

from sequencer.base.findings import Finding, Severity
from sequencer.check.facts import Condition
from sequencer.check.questions import Answer, Askers
from sequencer.check.said import example_words, parameters_said
from sequencer.check.satisfiable import undecided
from sequencer.check.subjects import Subject, exits_of, seen_from, watched
from sequencer.plan.tables import Hold, Plan
from sequencer.plan.words import guard_words

MOST_NOTES = 8
MOST_TRIMMED_QUERIES = (
    1000  # put to the solver in one check of a plan, about whether guards meet when trimmed
)


def check_order(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold the guards of each phase, and the entries of `anywhere`, against those before them."""
    above = watched(plan)
    groups = [_Group(plan, askers, above, [])]
    for sequence in range(len(plan.sequences)):
        for phase in range(len(plan.sequences[sequence].phases)):
            entries = [
                _Seen(s, seen_from(plan, s, sequence, phase), _holds(plan, s, sequence, phase)) for s in above
            ]
            groups.append(_Group(plan, askers, exits_of(plan, sequence, phase), entries))
    findings = [finding for group in groups for finding in group.judge()]
    left_out = [subject for group in groups for subject in group.left_out]
    return [*findings, _unfinished(left_out)] if left_out else findings


def _unfinished(left_out: list[Subject]) -> Finding:
    question = f"it can meet another when parameters are trimmed; nor of {len(left_out) - 1} more pairs"
    answer = Answer("undecided", reason=f"after {MOST_TRIMMED_QUERIES} such questions")
    return undecided(left_out[0].place, left_out[0].name, question, answer)


@dataclass(frozen=True, slots=True)
class _Seen:
    """An `anywhere` entry as it stands in one phase; `holds_here`: while true it keeps the phase in place."""

    subject: Subject
    condition: Condition
    holds_here: bool


def _holds(plan: Plan, subject: Subject, sequence: int, phase: int) -> bool:
    return any(entry.guard == subject.guard and entry.to[sequence] == phase for entry in plan.anywhere)


def waits_no_longer(first: Hold | None, second: Hold | None) -> bool:
    """Tell whether a first guard is sure to have met its hold when a second one, which implies it, has.

    Samples and milliseconds cannot be compared; samples can if the same signals are counted.
    """
    if first is None:
        return True
    if second is None:
        return False
    if first.ms is not None and second.ms is not None:
        return first.ms <= second.ms
    if first.samples is not None and second.samples is not None:
        return first.samples <= second.samples and set(first.signals) == set(second.signals)
    return False


class _Group:
    """The guards that are looked at one after another, and what is looked at before all of them."""

    def __init__(self, plan: Plan, askers: Askers, subjects: list[Subject], entries: list[_Seen]) -> None:
        self.plan = plan
        self.askers = askers
        asker = askers.present
        # What can never be true, or always is, is told elsewhere and would only repeat itself here.
        possible = [s for s in subjects if asker.possible(s.condition).verdict != "no"]
        self.subjects = [s for s in possible if not asker.always(s.condition)]
        self.entries = [e for e in entries if not asker.always(e.condition)]
        self.left_out: list[Subject] = []
        self.number = {s.guard: number for number, s in enumerate(subjects, 1)}

    def judge(self) -> list[Finding]:
        findings = []
        for index, later in enumerate(self.subjects):
            finding = self._watched_first(later)
            if finding is None:
                finding = self._covered(later, self.subjects[:index])
            if finding is None:
                finding = self._meets(later, self.subjects[:index])
            if finding is not None:
                findings.append(finding)
        return findings

    def _hold(self, subject: Subject) -> Hold | None:
        return self.plan.guards[subject.guard].hold

    def _implies(self, later: Subject, earlier: tuple[Condition, ...]) -> bool:
        return self.askers.present.find(later.condition, but_not=earlier).verdict == "no"

    def _watched_first(self, later: Subject) -> Finding | None:
        """Find an `anywhere` entry that is true whenever a guard is."""
        for seen in self.entries:
            if not (seen.holds_here or waits_no_longer(self._hold(seen.subject), self._hold(later))):
                continue
            if self._implies(later, (seen.condition,)):
                does = "keeps the machine where it is" if seen.holds_here else "has gone first"
                return self._shadowed(
                    "shadowed-by-anywhere",
                    later,
                    [seen.subject],
                    f"whenever it is true, {seen.subject.name} {does}",
                )
        return None

    def _covered(self, later: Subject, before: list[Subject]) -> Finding | None:
        """Find an earlier guard, or several without a hold, that are true whenever a later one is."""
        for earlier in before:
            if waits_no_longer(self._hold(earlier), self._hold(later)) and self._implies(
                later, (earlier.condition,)
            ):
                return self._shadowed(
                    "shadowed-guard",
                    later,
                    [earlier],
                    f"whenever it is true, {self._short(earlier)}, which stands before it, is true too",
                )
        at_once = [earlier for earlier in before if self._hold(earlier) is None]
        if len(at_once) > 1 and self._implies(later, tuple(earlier.condition for earlier in at_once)):
            why = (
                f"whenever it is true, one of the {len(at_once)} guards without a hold before it is true too"
            )
            return self._shadowed("shadowed-guard", later, at_once, why)
        return None

    def _short(self, subject: Subject) -> str:
        kind = "guard" if subject.condition.sequence is not None else "entry"
        return f"{kind} {self.number[subject.guard]} ({guard_words(self.plan, subject.guard)})"

    def _shadowed(self, code: str, later: Subject, by: list[Subject], why: str) -> Finding:
        stands = parameters_said(self.askers.present.facts, later.condition, *(s.condition for s in by))
        return Finding(
            code,
            Severity.WARNING,
            later.place,
            f"{later.name}, can never win: {why}{f' (with {stands})' if stands else ''}",
            fix=self._way_out(code, later, by[0]),
            notes=tuple((s.place, f"{s.name}: {guard_words(self.plan, s.guard)}") for s in by[:MOST_NOTES]),
        )

    def _way_out(self, code: str, later: Subject, by: Subject) -> str:
        if code == "shadowed-by-anywhere":
            return "ask for something that `anywhere` does not already watch, or delete this guard"
        if self._implies(by, (later.condition,)):
            return "delete one of the two"
        return "write the narrower guard first"

    def _meets(self, later: Subject, before: list[Subject]) -> Finding | None:
        """Find earlier guards with another destination that can be true in the same tick."""
        met: list[tuple[Subject, Answer]] = []
        for earlier in before:
            if self._same_way(earlier, later):
                continue
            answer = self._together(earlier, later)
            if answer.verdict == "undecided":
                return undecided(
                    later.place, later.name, f"it can be true together with {earlier.name}", answer
                )
            if answer.verdict == "yes":
                met.append((earlier, answer))
        if not met:
            return None
        first, answer = met[0]
        more = f" (and {len(met) - 1} more before it)" if len(met) > 1 else ""
        return Finding(
            "order-decides",
            Severity.NOTE,
            later.place,
            f"{later.name}, can be true in the same tick as {self._short(first)}{more}: "
            f"the earlier wins and the machine goes to {self._destination(first)}",
            example=example_words(self.plan, answer.values, first.condition, later.condition),
            fix="if the later one should win, write it first",
            notes=tuple((s.place, f"{s.name} wins") for s, _ in met[:MOST_NOTES]),
        )

    def _together(self, earlier: Subject, later: Subject) -> Answer:
        both = earlier.condition, later.condition
        answer = self.askers.present.find(*both)
        trimmed = self.askers.trimmed
        if answer.verdict == "no" and trimmed.facts.parameters_of(both):
            if trimmed.solver_queries < MOST_TRIMMED_QUERIES:
                return trimmed.find(*both)
            self.left_out.append(later)
        return answer

    def _same_way(self, one: Subject, other: Subject) -> bool:
        if one.to >= 0:
            return one.to == other.to
        ways = {entry.guard: entry.to for entry in self.plan.anywhere}
        return ways[one.guard] == ways[other.guard]

    def _destination(self, subject: Subject) -> str:
        if subject.to >= 0 and subject.condition.sequence is not None:
            return self.plan.sequences[subject.condition.sequence].phases[subject.to].name
        to = next(entry.to for entry in self.plan.anywhere if entry.guard == subject.guard)
        return self.plan.sequences[0].phases[to[0]].name
