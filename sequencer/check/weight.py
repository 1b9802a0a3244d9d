"""Findings about rules and weight: what phases command against what rules demand of the signals that follow.

A rule such as "while the left foot is up, the weight is on the right" speaks of signals. Where these follow
setpoints, what a phase commands decides whether the rule can be kept once the joints have arrived.
"""

from dataclasses import dataclass

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases
from sequencer.check.facts import Facts, Range
from sequencer.check.questions import Askers
from sequencer.check.subjects import phase_name
from sequencer.check.travel import Travels, followed_by, required_leaves, sufficient_leaves
from sequencer.plan.tables import Compare, Plan, Rule
from sequencer.plan.words import number_words, rule_words


@dataclass(frozen=True, slots=True)
class _Part:
    """A comparison in a rule whose signal follows a setpoint."""

    leaf: Compare
    setpoint: int
    offset: float


def check_weight(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold the targets of each phase, over all that parameters may be, against what the rules demand."""
    facts = askers.trimmed.facts
    travels, as_it_stands = askers.worst_travels, Travels(askers.present.facts)
    findings = []
    for rule in plan.rules:
        nodes = plan.guards[rule.guard].nodes
        if rule.must_from == 0:
            continue
        lifted = _parts(plan, sufficient_leaves(nodes[: rule.must_from]))
        carried = _parts(plan, required_leaves(nodes[rule.must_from : rule.must_to]))
        for foot in lifted:
            for weight in carried:
                if weight.setpoint == foot.setpoint:
                    continue
                findings += _Pair(facts, travels, as_it_stands, rule, foot, weight).judge()
    return findings


def _parts(plan: Plan, leaves: frozenset[int]) -> list[_Part]:
    found = []
    for index in sorted(leaves):
        leaf = plan.leaves[index]
        if isinstance(leaf, Compare) and leaf.source == "signal" and leaf.op != "outside":
            found += [_Part(leaf, *how) for how in followed_by(plan, leaf)]
    return found


class _Pair:
    """One comparison of `while` (a foot is up) and one of `must` (the weight is over the other)."""

    def __init__(
        self, facts: Facts, travels: Travels, present: Travels, rule: Rule, foot: _Part, weight: _Part
    ) -> None:
        self.facts, self.plan = facts, facts.plan
        self.travels, self.present = travels, present
        self.rule, self.foot, self.weight = rule, foot, weight

    def judge(self) -> list[Finding]:
        owners = {self.plan.setpoints[part.setpoint].owner for part in (self.foot, self.weight)}
        if len(owners) != 1 or None in owners:
            return []  # two sequences: which phases meet is not to be seen from one of them
        sequence = next(owner for owner in owners if owner is not None)
        findings = []
        for phase in sorted(entered_phases(self.plan, sequence)):
            row = self.plan.sequences[sequence].phases[phase]
            if row.stop is not None:
                findings += self._moves_weight(sequence, phase)
            elif self._is_up(self.travels.aim_in(self.foot.setpoint, phase), every=True):
                findings += self._span_breaks(sequence, phase)
        return findings

    def _is_up(self, aim: Range | None, *, every: bool) -> bool:
        """Tell whether all, or any, of a range of targets makes the comparison of `while` true."""
        return aim is not None and _true_on(self.facts, self.foot, aim, every=every)

    def _moves_weight(self, sequence: int, phase: int) -> list[Finding]:
        """Find a stop phase that sends the weight where it must not be while a foot may still be up."""
        row = self.plan.sequences[sequence].phases[phase]
        command = next((c for c in row.commands if c.setpoint == self.weight.setpoint), None)
        stand = self.travels.at_entry(self.foot.setpoint, phase)
        if command is None or stand is None or not self._is_up(stand.value, every=False):
            return []
        aim = self.facts.target(command.setpoint, command.level)
        if _true_on(self.facts, self.weight, aim, every=True):
            return []
        weight, foot = (self.plan.setpoints[part.setpoint] for part in (self.weight, self.foot))
        return [
            Finding(
                "stop-moves-weight",
                Severity.WARNING,
                command.place,
                f"{phase_name(self.plan, sequence, phase)} sends {weight.name} to "
                f"{number_words(aim[0], weight.unit)} while {foot.name} may still be on its way down: "
                f"that breaks the rule '{self.rule.name}' on one foot",
                fix=f"bring {foot.name} down and leave {weight.name} as it is: `keep: {weight.name}`",
                notes=((self.rule.place, rule_words(self.plan, self.plan.rules.index(self.rule))),),
            )
        ]

    def _span_breaks(self, sequence: int, phase: int) -> list[Finding]:
        """Find a phase that lifts the foot with the weight, as trimmed, not where the rule wants it."""
        setpoint = self.weight.setpoint
        aim, usual = self.travels.aim_in(setpoint, phase), self.present.aim_in(setpoint, phase)
        if aim is None or usual is None or _true_on(self.facts, self.weight, aim, every=True):
            return []
        row = self.plan.setpoints[setpoint]
        kept = _true_on(self.present.facts, self.weight, usual, every=True)
        bad = next(x for x in aim if not _true_on(self.facts, self.weight, (x, x), every=True))
        how = "may be trimmed to go to" if kept else "goes to"
        return [
            Finding(
                "span-breaks-rule",
                Severity.WARNING,
                self.plan.sequences[sequence].phases[phase].place,
                f"in {phase_name(self.plan, sequence, phase)} {row.name} {how} {number_words(bad, row.unit)} "
                f"with {self.plan.setpoints[self.foot.setpoint].name} up: that breaks the rule "
                f"'{self.rule.name}'",
                fix="a span of the parameter that keeps the rule" if kept else "another target",
                notes=((self.rule.place, rule_words(self.plan, self.plan.rules.index(self.rule))),),
            )
        ]


def _true_on(facts: Facts, part: _Part, aim: Range, *, every: bool) -> bool:
    """Tell whether a comparison is true with the signal at a target: at all, or any, of a range."""
    low, high = aim[0] + part.offset, aim[1] + part.offset
    leaf, inclusive = part.leaf, part.leaf.op not in {"above", "below"}
    least, most = (low, high) if every else (high, low)
    ok = True
    if leaf.low is not None:
        threshold = facts.level(leaf.low)[1 if every else 0]
        ok = least >= threshold if inclusive else least > threshold
    if leaf.high is not None:
        threshold = facts.level(leaf.high)[0 if every else 1]
        ok = ok and (most <= threshold if inclusive else most < threshold)
    return ok
