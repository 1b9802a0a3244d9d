"""Findings about what guards ask: never true, always true, parts that change nothing."""

from collections.abc import Callable
from itertools import combinations

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.check.facts import Condition
from sequencer.check.questions import Answer, Asker, Askers
from sequencer.check.said import example_words, limits_said, parameters_said
from sequencer.check.subjects import Subject, every_exit, rule_parts, watched
from sequencer.check.suggest import mended
from sequencer.check.truth import operand_heads, operand_starts, outlasts_tick
from sequencer.plan.tables import Node, OnEvent, Plan
from sequencer.plan.words import hold_words, leaf_words, nodes_words

MOST_PARTS = 12  # of an `all` that are held against each other to say which exclude each other


def check_satisfiable(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge every guard of a phase, of `anywhere` and of the rules by itself."""
    findings: list[Finding] = []
    for subject in every_exit(plan):
        findings += _judge(plan, askers, subject, _walk_through)
    for subject in watched(plan):
        findings += _judge(plan, askers, subject, _never_away)
    for subject in rule_parts(plan):
        findings += _judge(plan, askers, subject, _idle_rule)
    return findings


def undecided(place: Place, name: str, question: str, answer: Answer) -> Finding:
    """Say that the solver gave up on a question."""
    return Finding(
        "undecided",
        Severity.NOTE,
        place,
        f"{name}: could not be decided whether {question} ({answer.reason})",
        fix="split the guard into simpler ones",
    )


def _judge(
    plan: Plan, askers: Askers, subject: Subject, if_always: Callable[[Plan, Askers, Subject], Finding]
) -> list[Finding]:
    condition = subject.condition
    possible = askers.present.possible(condition)
    if possible.verdict == "undecided":
        return [undecided(subject.place, subject.name, "it can ever be true", possible)]
    if possible.verdict == "no":
        return [_never(askers, subject)]
    if _hangs_on_event(plan, askers.present, subject):
        return [_held_event(plan, subject)]
    if askers.present.always(condition):
        return [if_always(plan, askers, subject)]
    return _idle_parts(plan, askers, subject)


def _hangs_on_event(plan: Plan, asker: Asker, subject: Subject) -> bool:
    """Tell whether a guard with a hold is true only in ticks in which an event arrives."""
    if not outlasts_tick(plan.guards[subject.guard].hold):
        return False
    nodes = [
        n for n in subject.condition.nodes if n.kind == "leaf" and isinstance(plan.leaves[n.arg], OnEvent)
    ]
    events = tuple(Condition((node,)) for node in nodes)
    return bool(events) and asker.find(subject.condition, but_not=events).verdict == "no"


def _held_event(plan: Plan, subject: Subject) -> Finding:
    return Finding(
        "held-event",
        Severity.ERROR,
        subject.place,
        f"{subject.name}, can never fire: it needs an event, which lasts one tick, "
        f"but must be true {hold_words(plan.guards[subject.guard].hold)}",
        fix="take out the `hold`, or use a switch, which stays on",
    )


def _never(askers: Askers, subject: Subject) -> Finding:
    facts, condition = askers.present.facts, subject.condition
    example, when = "", ""
    if facts.parameters_of((condition,)):
        trimmed = askers.trimmed.possible(condition)
        when = ", however the parameters are trimmed"
        if trimmed.verdict == "yes":
            when = f" with {parameters_said(facts, condition)}"
            example = "true with " + example_words(facts.plan, trimmed.values, condition)
    reason, fix = _blame(askers.present, condition)
    message = f"{subject.name}, can never be true{when}: {reason}"
    return Finding("never-true", Severity.ERROR, subject.place, message, example=example, fix=fix)


def _blame(asker: Asker, condition: Condition) -> tuple[str, str]:
    """Say which part, or which two, make a condition impossible, and what to write instead."""
    plan = asker.facts.plan
    parts = operands(condition)
    while True:  # down into the part that is impossible by itself
        single = next((part for part in parts if asker.possible(part).verdict == "no"), None)
        if single is None or len(single.nodes) == 1 or len(parts) == 1:
            break
        parts = operands(single)
    if single is not None and len(single.nodes) == 1:
        leaf = single.nodes[0].arg
        limits = limits_said(asker.facts, plan.leaves[leaf], single)
        reason = f"it asks that {leaf_words(plan, leaf)}{f', but {limits}' if limits else ''}"
        return reason, mended(plan, leaf, never=True)
    for one, other in combinations(parts[:MOST_PARTS], 2):
        if asker.find(one, other).verdict == "no":
            both = f"'{nodes_words(plan, one.nodes)}' and '{nodes_words(plan, other.nodes)}'"
            return (
                f"{both} exclude each other",
                "if either will do, write `any` in place of `all`; else drop one",
            )
    return (
        f"'{nodes_words(plan, condition.nodes)}' contradicts itself",
        "take out the parts that exclude each other",
    )


def operands(condition: Condition) -> list[Condition]:
    """Split an `all` into its parts; anything else is its own only part."""
    last = condition.nodes[-1]
    if last.kind != "all":
        return [condition]
    return [part_of(condition, start, head + 1) for start, head in _spans(condition.nodes)]


def part_of(condition: Condition, start: int, stop: int) -> Condition:
    """Cut a part out of a condition, to be looked at in the same phase."""
    return Condition(condition.nodes[start:stop], condition.sequence, condition.phase, condition.watched)


def _spans(nodes: tuple[Node, ...]) -> list[tuple[int, int]]:
    starts = operand_starts(nodes)
    return [(starts[head], head) for head in operand_heads(starts, len(nodes) - 1, nodes[-1].arg)]


def _walk_through(plan: Plan, askers: Askers, subject: Subject) -> Finding:
    hold = plan.guards[subject.guard].hold
    effect = "the phase is left again in the tick after it was entered"
    if hold is not None:
        after = hold_words(hold).replace("for", "after", 1)
        effect = f"the phase is left {after} whatever happens, as if by a stopwatch"
    return _always_true(plan, askers, subject, Severity.WARNING, effect)


def _never_away(plan: Plan, askers: Askers, subject: Subject) -> Finding:
    effect = "the machine is sent there at once and never gets away"
    return _always_true(plan, askers, subject, Severity.ERROR, effect)


def _idle_rule(plan: Plan, askers: Askers, subject: Subject) -> Finding:
    effect = "the rule can never be broken and watches nothing"
    if subject.name.endswith("`while`"):
        effect = "the rule is judged all the time, as it would be without it"
    return _always_true(plan, askers, subject, Severity.WARNING, effect)


def _always_true(plan: Plan, askers: Askers, subject: Subject, severity: Severity, effect: str) -> Finding:
    facts = askers.present.facts
    stands = parameters_said(facts, subject.condition)
    leaf = next(node.arg for node in subject.condition.nodes if node.kind == "leaf")
    limits = limits_said(facts, plan.leaves[leaf], subject.condition)
    return Finding(
        "always-true",
        severity,
        subject.place,
        f"{subject.name}, is always true{f' with {stands}' if stands else ''}"
        f"{f', as {limits}' if limits else ''}: {effect}",
        fix=mended(plan, leaf, never=False),
    )


def _idle_parts(plan: Plan, askers: Askers, subject: Subject) -> list[Finding]:
    """Find comparisons inside a larger condition that come out the same whatever is measured."""
    nodes = subject.condition.nodes
    if len(nodes) == 1:
        return []
    findings = []
    for position, node in enumerate(nodes):
        if node.kind != "leaf" or isinstance(plan.leaves[node.arg], OnEvent):
            continue
        part = part_of(subject.condition, position, position + 1)
        never = askers.present.possible(part).verdict == "no"
        if never or askers.present.always(part):
            findings.append(_idle(plan, askers, subject.name, part, never=never))
    return findings


def _idle(plan: Plan, askers: Askers, name: str, part: Condition, *, never: bool) -> Finding:
    leaf = part.nodes[0].arg
    facts = askers.present.facts
    stands = parameters_said(facts, part)
    limits = limits_said(facts, plan.leaves[leaf], part)
    return Finding(
        "idle-part",
        Severity.WARNING,
        plan.leaves[leaf].place,
        f"{name}: its part '{leaf_words(plan, leaf)}' is {'never' if never else 'always'} true"
        f"{f' with {stands}' if stands else ''}{f', as {limits}' if limits else ''}, so it changes nothing",
        fix=f"{mended(plan, leaf, never=never)}; or delete this part",
    )
