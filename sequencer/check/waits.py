"""Findings about what phases wait for: thresholds beyond the command, timeouts shorter than the way."""

from collections.abc import Sequence

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases, may_stay
from sequencer.check.facts import Facts, clamp
from sequencer.check.holds import shortest_hold_ms
from sequencer.check.lengths import after_edit, spare_ms
from sequencer.check.needs import Needs
from sequencer.check.questions import Askers
from sequencer.check.subjects import Subject, exits_of
from sequencer.check.suggest import near_target
from sequencer.check.travel import followed_by, required_leaves
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Compare, Level, Plan
from sequencer.plan.words import ms_words, number_words

LAG = 0.1  # share of the way's time that we allow for a joint to lag behind; our choice, no source


def check_waits(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold what each phase waits for against what it commands, over all that parameters may be."""
    facts = askers.trimmed.facts
    if not facts.commands_anything:
        return []
    needs = Needs(facts, askers.worst_travels, LAG)
    findings = []
    for sequence, row in enumerate(plan.sequences):
        for phase in sorted(entered_phases(plan, sequence)):
            if not may_stay(row.phases[phase]):
                findings += _Phase(askers, needs, sequence, phase).judge()
    return findings


class _Phase:
    """One phase in which the machine may not stay, and the guards that lead on from it."""

    def __init__(self, askers: Askers, needs: Needs, sequence: int, phase: int) -> None:
        self.facts: Facts = askers.trimmed.facts
        self.needs = needs
        self.plan: Plan = self.facts.plan
        self.sequence, self.phase = sequence, phase
        self.row = self.plan.sequences[sequence].phases[phase]
        stops = [p.stop is not None for p in self.plan.sequences[sequence].phases]
        onward = [s for s in exits_of(self.plan, sequence, phase) if not stops[s.to] and s.to != phase]
        # what can never be true is told elsewhere and would only repeat itself here
        self.onward = [s for s in onward if askers.present.possible(s.condition).verdict != "no"]

    def judge(self) -> list[Finding]:
        """Return what is wrong with the phase; a guard that another one may stand in for is let be."""
        beyond = [self._beyond(subject) for subject in self.onward]
        if beyond and all(beyond):
            return [finding for finding in beyond if finding is not None]
        return self._short_timeout()

    # a threshold beyond what is commanded

    def _beyond(self, subject: Subject) -> Finding | None:
        for index in sorted(required_leaves(self.plan.guards[subject.guard].nodes)):
            leaf = self.plan.leaves[index]
            if isinstance(leaf, Compare) and leaf.source == "signal":
                for setpoint, offset in followed_by(self.plan, leaf):
                    finding = self._beyond_command(subject, leaf, setpoint, offset)
                    if finding is not None:
                        return finding
        return None

    def _beyond_command(
        self, subject: Subject, leaf: Compare, setpoint: int, offset: float
    ) -> Finding | None:
        level = self._level(setpoint)
        if level is None:  # left over from before: where it is going depends on the route
            return None
        plan, row = self.plan, self.plan.setpoints[setpoint]
        for values in self._settings(leaf, level):
            aim = clamp(level_value(level, values), row.low, row.high) + offset
            asked = _unmet(leaf, aim, values)
            if asked is None:
                continue
            said = "".join(
                f" ({parameter.name} may be trimmed to {number_words(value, parameter.unit)})"
                for parameter, value in zip(plan.parameters, values, strict=True)
                if value != parameter.value
            )
            signal = plan.signals[leaf.index]
            return Finding(
                "beyond-command",
                Severity.WARNING,
                subject.place,
                f"{subject.name}, waits for {signal.name} to be {leaf.op.replace('_', ' ')} "
                f"{number_words(asked, leaf.unit)}, and the phase brings it to "
                f"{number_words(aim, leaf.unit)}{said}: only an overshoot would meet it",
                fix=f"ask how near it has come: `{near_target(row)}`",
                notes=((row.place, f"{signal.name} follows {row.name}"),),
            )
        return None

    def _level(self, setpoint: int) -> Level | None:
        own = [c.level for c in self.row.commands if c.setpoint == setpoint]
        return own[-1] if own else None

    def _settings(self, leaf: Compare, level: Level) -> list[list[float]]:
        """List what all parameters may be: as they stand, then those involved at the ends of their spans."""
        levels = [each for each in (level, leaf.low, leaf.high) if each is not None]
        named = [each.parameter for each in levels if each.parameter is not None]
        settings = [[parameter.value for parameter in self.plan.parameters]]
        for index in dict.fromkeys(named):
            row = self.plan.parameters[index]
            settings += [
                [*values[:index], end, *values[index + 1 :]]
                for values in list(settings)
                for end in (row.low, row.high)
            ]
        return settings

    # a timeout that is shorter than the way

    def _short_timeout(self) -> list[Finding]:
        timeout = self.row.timeout
        if timeout is None:
            return []
        # a hold that alone outlasts the timeout is told elsewhere
        in_time = [s for s in self.onward if shortest_hold_ms(self.plan, s.guard) < timeout.after_ms]
        waits = [(s, self.needs.longest(self.sequence, self.phase, s)) for s in in_time]
        known = [(subject, need) for subject, need in waits if need is not None]
        if not known or len(known) < len(waits):
            return []
        subject, need = min(known, key=lambda wait: wait[1].total_ms)
        if need.total_ms <= timeout.after_ms:
            return []
        row = self.plan.setpoints[need.setpoint]
        rate = number_words(round(need.per_s, 3), f"{row.unit}/s")
        way = (
            f"{number_words(round(need.way, 3), row.unit)} at {rate}, a tenth more for lag, hold and samples"
        )
        name, _, guard = subject.name.partition(", ")
        return [
            Finding(
                "short-timeout",
                Severity.WARNING,
                timeout.place,
                f"{name} ends after {ms_words(timeout.after_ms)}, and {row.name} may need "
                f"{ms_words(round(need.total_ms))} to get where {guard} waits for it: {way}",
                fix=f"after: {ms_words(spare_ms(need.total_ms))}",
                notes=((subject.place, "the guard that waits"),),
                edits=after_edit(timeout.place, spare_ms(need.total_ms)),
            )
        ]


def _unmet(leaf: Compare, value: float, parameters: Sequence[float]) -> float | None:
    """Return the threshold that a value does not meet; None if it meets the comparison."""
    if leaf.op == "outside":
        return None  # which side it waits for cannot be told
    if leaf.low is not None:
        low = level_value(leaf.low, parameters)
        if value < low or (leaf.op == "above" and value == low):
            return low
    if leaf.high is not None:
        high = level_value(leaf.high, parameters)
        if value > high or (leaf.op == "below" and value == high):
            return high
    return None
