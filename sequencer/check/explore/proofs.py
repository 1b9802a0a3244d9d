"""Rules over phases: proven by having looked at everything that can be reached, or only watched."""

from sequencer.base.findings import Finding, Severity
from sequencer.check.explore.layout import Layout
from sequencer.check.explore.search import Reached
from sequencer.check.rules import rules_over_phases, watched_rule
from sequencer.check.subjects import phase_name
from sequencer.plan.tables import Plan
from sequencer.plan.words import rule_words


def rules_told(plan: Plan, layout: Layout, reached: Reached, refuted: frozenset[int]) -> list[Finding]:
    """Say of each rule over phases that is not refuted whether it is proven, or why it is only watched.

    refuted: rules of which it was told how they are broken.
    """
    findings = []
    for index in rules_over_phases(plan):
        if index in refuted:
            continue
        if not reached.finished:
            why = "exploring was not finished, so nothing is known of what was not reached"
            findings.append(watched_rule(plan, index, why))
        elif index not in reached.doubtful:
            findings.append(_proven(plan, index, len(reached.order)))
        else:
            config = reached.order[reached.doubtful[index]]
            phases = enumerate(layout.phases_of(config))
            stands = " and ".join(phase_name(plan, sequence, phase) for sequence, phase in phases)
            if index not in reached.broken:
                why = f"while the machine stands in {stands}, sensors can read values that break it"
            elif plan.rules[index].to is not None:
                why = "it can be broken when something goes wrong"
            else:
                why = (
                    f"{stands} seems within reach and breaks it, but no recording was found that leads there"
                )
            findings.append(watched_rule(plan, index, why))
    return findings


def rules_left_out(plan: Plan) -> list[Finding]:
    """Say of each rule over phases that it is only watched because nothing was explored."""
    why = "nothing was explored, so nothing is known of which phases meet"
    return [watched_rule(plan, index, why) for index in rules_over_phases(plan)]


def _proven(plan: Plan, index: int, configurations: int) -> Finding:
    rule = plan.rules[index]
    helped = ", help by hand left out" if plan.helping else ""
    return Finding(
        "rule-proven",
        Severity.NOTE,
        rule.place,
        f"rule '{rule.name}' is proven: all {configurations:,} configurations that the sequences can come to "
        f"were looked at (parameters as they stand{helped}), and whatever the sensors read within their "
        "spans, none breaks it",
        fix="none is needed; the controller watches it all the same",
        notes=((rule.place, rule_words(plan, index)),),
    )
