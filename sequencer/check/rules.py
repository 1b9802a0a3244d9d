"""Rules: proven for whatever the sensors may read, or only watched at run time, with values that break them.

A rule is proven if no values within the spans make its `while` true and its `must` false, parameters anywhere
in their spans. The solver's reals are not binary32: comparisons of a signal with a threshold are exact in
both, but `reached` and `at_target` subtract first, so their tolerances are taken a little against the proof.
"""

from dataclasses import dataclass, replace
from typing import Literal

from sequencer.base.findings import Finding, Severity
from sequencer.check.facts import Condition
from sequencer.check.questions import Asker, Askers
from sequencer.check.said import example_words
from sequencer.plan.tables import Follow, InPhase, Level, Plan, Rule
from sequencer.plan.words import rule_words

# two roundings of a binary32 number are off by less than this share of the largest number involved
ROUNDING = 2.0**-22
Verdict = Literal["proven", "watched", "undecided"]


@dataclass(frozen=True, slots=True)
class Judged:
    """What is known about a rule; `example` breaks it if it is only watched."""

    rule: Rule
    verdict: Verdict
    example: str


def judge_rules(plan: Plan, askers: Askers) -> list[Judged]:
    """Judge every rule of a plan, in document order."""
    return [_judge(plan, rule, askers) for rule in plan.rules]


def check_rules(plan: Plan, askers: Askers) -> list[Finding]:
    """Say of each rule whether it is proven or only watched; of those over phases the exploration says it."""
    over_phases = set(rules_over_phases(plan))
    findings = []
    for index, judged in enumerate(judge_rules(plan, askers)):
        if index in over_phases:
            continue
        if judged.verdict == "proven":
            message = (
                f"rule '{judged.rule.name}' is proven: whatever the sensors read within their spans, it "
                "cannot be broken"
            )
            fix = "none is needed; the controller watches it all the same"
            notes = ((judged.rule.place, rule_words(plan, index)),)
            findings.append(
                Finding("rule-proven", Severity.NOTE, judged.rule.place, message, fix=fix, notes=notes)
            )
        elif judged.verdict == "watched":
            why = "sensors can read values that break it"
            findings.append(watched_rule(plan, index, why, judged.example))
        else:
            why = "it was not decided within the solver's bound whether anything breaks it"
            findings.append(watched_rule(plan, index, why))
    return findings


def watched_rule(plan: Plan, index: int, why: str, example: str = "") -> Finding:
    """Make the finding that a rule is only watched at run time, with the reason."""
    rule = plan.rules[index]
    does = "sends the machine on" if rule.to is not None else "reports it and does nothing else"
    return Finding(
        "rule-watched",
        Severity.NOTE,
        rule.place,
        f"rule '{rule.name}' is only watched at run time: {why}, and the controller then {does}",
        example=example,
        fix="give it a `to` if the machine must not go on" if rule.to is None else "none is needed",
        notes=((rule.place, rule_words(plan, index)),),
    )


def rules_over_phases(plan: Plan) -> list[int]:
    """List the rules that ask in which phases sequences are, by index."""
    return [
        index
        for index, rule in enumerate(plan.rules)
        if any(isinstance(plan.leaves[leaf], InPhase) for leaf in plan.guards[rule.guard].leaves)
    ]


def _judge(plan: Plan, rule: Rule, askers: Askers) -> Judged:
    condition = Condition(plan.guards[rule.guard].nodes, watched=True)
    careful = _against_proof(plan, rule)
    asker = askers.trimmed if careful == plan else Asker(careful, trimmed=True)
    answer = asker.possible(condition)
    if answer.verdict == "no":
        return Judged(rule, "proven", "")
    if answer.verdict == "undecided":
        return Judged(rule, "undecided", "")
    return Judged(rule, "watched", example_words(plan, answer.values, condition))


def _against_proof(plan: Plan, rule: Rule) -> Plan:
    """Widen the tolerances in `while` and narrow those in `must` by what roundings may do."""
    leaves = list(plan.leaves)
    for position, node in enumerate(plan.guards[rule.guard].nodes):
        leaf = plan.leaves[node.arg] if node.kind == "leaf" else None
        if not isinstance(leaf, Follow):
            continue
        row = plan.setpoints[leaf.setpoint]
        spans = [(row.low, row.high)]
        spans += [(plan.signals[f.signal].low, plan.signals[f.signal].high) for f in row.followers]
        largest = max(abs(x) for span in spans for x in span)
        step = largest * ROUNDING * (-1.0 if rule.must_from <= position < rule.must_to else 1.0)
        leaves[node.arg] = replace(
            leaf,
            tolerance=_moved(leaf.tolerance, step),
            release=None if leaf.release is None else _moved(leaf.release, step),
        )
    return replace(plan, leaves=tuple(leaves))


def _moved(level: Level, step: float) -> Level:
    return replace(level, plus=(level.plus or 0.0) + step)
