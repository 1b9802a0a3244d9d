"""What the checks talk about: each guard with where it stands, and its name in a sentence."""

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.base.places import Place
from sequencer.check.facts import Condition
from sequencer.plan.tables import Anywhere, Exit, Follow, InPhase, Plan


@dataclass(frozen=True, slots=True)
class Subject:
    """A guard as people speak of it.

    name: "lean_right, guard 2 (to safe)". condition: what it asks. guard: index into Plan.guards.
    to: the phase it leads to, or -1 where that depends on the sequence or there is none.
    """

    name: str
    condition: Condition
    guard: int
    to: int
    place: Place


def phase_name(plan: Plan, sequence: int, phase: int) -> str:
    """Name a phase; with several sequences, together with its sequence ("lf.swing")."""
    name = plan.sequences[sequence].phases[phase].name
    return name if len(plan.sequences) == 1 else f"{plan.sequences[sequence].name}.{name}"


def phase_names(plan: Plan, sequence: int, phases: list[int], most: int = 4) -> str:
    """Name several phases: "a, b and c", or "a, b, c and 5 more"."""
    return listed([phase_name(plan, sequence, phase) for phase in phases], most)


def listed(words: list[str], most: int = 4) -> str:
    """Join words: "a", "a and b", "a, b, c and 5 more"."""
    if len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def exits_of(plan: Plan, sequence: int, phase: int) -> list[Subject]:
    """List the guards that lead out of a phase, in document order."""
    exits = plan.sequences[sequence].phases[phase].exits
    return [_exit(plan, sequence, phase, number, way) for number, way in enumerate(exits, 1)]


def _exit(plan: Plan, sequence: int, phase: int, number: int, way: Exit) -> Subject:
    guard = plan.guards[way.guard]
    condition = Condition(guard.nodes, sequence, phase, fires_at_once=guard.hold is None)
    which = f"guard {number} " if len(plan.sequences[sequence].phases[phase].exits) > 1 else "the guard "
    name = f"{phase_name(plan, sequence, phase)}, {which}to {plan.sequences[sequence].phases[way.to].name}"
    return Subject(name, condition, way.guard, way.to, way.place)


def every_exit(plan: Plan) -> Iterator[Subject]:
    """Yield the guards of all phases of all sequences."""
    for sequence in range(len(plan.sequences)):
        for phase in range(len(plan.sequences[sequence].phases)):
            yield from exits_of(plan, sequence, phase)


def watched(plan: Plan) -> list[Subject]:
    """List the guards of `anywhere`, in document order."""
    return [_watched(plan, number, entry) for number, entry in enumerate(plan.anywhere, 1)]


def _watched(plan: Plan, number: int, entry: Anywhere) -> Subject:
    condition = Condition(plan.guards[entry.guard].nodes, watched=True)
    to = plan.sequences[0].phases[entry.to[0]].name
    which = f" {number}" if len(plan.anywhere) > 1 else ""
    return Subject(f"anywhere{which} (to {to})", condition, entry.guard, -1, entry.place)


def seen_from(plan: Plan, subject: Subject, sequence: int, phase: int) -> Condition:
    """Return an `anywhere` condition as it stands while a certain phase is active."""
    for node in subject.condition.nodes:
        if node.kind == "leaf" and isinstance(plan.leaves[node.arg], Follow | InPhase):
            return Condition(subject.condition.nodes, sequence, phase, watched=True)
    return subject.condition


def rule_parts(plan: Plan) -> Iterator[Subject]:
    """Yield the `while` (if any) and the `must` of each rule."""
    for rule in plan.rules:
        nodes = plan.guards[rule.guard].nodes
        parts = {"while": nodes[: rule.must_from], "must": nodes[rule.must_from : rule.must_to]}
        for part, of_it in parts.items():
            if of_it:
                condition = Condition(of_it, watched=True)
                yield Subject(f"rule '{rule.name}', its `{part}`", condition, rule.guard, -1, rule.place)
