"""Going through all configurations that can be reached, nearest first."""

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field

from sequencer.check.edges import may_stay
from sequencer.check.explore.layout import Layout
from sequencer.check.explore.moves import Mover
from sequencer.check.explore.races import Race, races
from sequencer.check.explore.residual import Residuals
from sequencer.check.explore.views import Views
from sequencer.check.facts import Facts
from sequencer.check.rules import rules_over_phases
from sequencer.check.truth import outlasts_tick
from sequencer.plan.tables import Plan

TELL_EVERY = 1024


@dataclass(frozen=True, slots=True)
class Bounds:
    """How far to go. configurations: the most that are kept. steps: the most joint moves that are tried.

    solver_steps: the bound of one question to the solver. Neither depends on the machine's speed.
    """

    configurations: int = 20_000
    steps: int = 600_000
    solver_steps: int = 200_000


BY_DEFAULT = Bounds()
EXHAUSTIVE = Bounds(configurations=4_000_000, steps=40_000_000, solver_steps=2_000_000)


@dataclass
class Reached:
    """What was reached. Configurations are numbered in the order in which they were found, nearest first.

    order: the configurations. before: the number of the one from which each was first found. finished:
    whether that is all. broken: for each rule over phases the first configuration that breaks it; doubtful:
    the first in which what is measured may break it. entered: the first configuration in each phase of each
    sequence. stuck: those in which no guard of two sequences or more can fire. races: where each was first
    possible. restless: those that are not at rest and that `anywhere` can't bring to rest; ways: from and to,
    in pairs, for these.
    """

    order: list[int]
    before: "array[int]"
    finished: bool = True
    broken: dict[int, int] = field(default_factory=dict)
    doubtful: dict[int, int] = field(default_factory=dict)
    entered: dict[tuple[int, int], int] = field(default_factory=dict)
    stuck: list[int] = field(default_factory=list)
    races: dict[Race, int] = field(default_factory=dict)
    ways: "array[int]" = field(default_factory=lambda: array("q"))
    restless: list[int] = field(default_factory=list)

    def path(self, number: int) -> list[int]:
        """Return the configurations from the start to one of them."""
        path = [number]
        while path[-1]:
            path.append(self.before[path[-1]])
        return [self.order[n] for n in reversed(path)]


class Search:
    """One plan with everything that is worked out about its configurations."""

    def __init__(self, plan: Plan, facts: Facts, bounds: Bounds) -> None:
        self.plan, self.facts, self.bounds = plan, facts, bounds
        self.layout = Layout(plan, facts)
        self.residuals = Residuals(plan, most_steps=bounds.solver_steps)
        self.views = Views(plan, self.layout, self.residuals)
        self.mover = Mover(self.views, self.layout)
        self._calm = [[may_stay(phase) for phase in sequence.phases] for sequence in plan.sequences]
        self._calming = [all(self._calm[s][to] for s, to in enumerate(entry.to)) for entry in plan.anywhere]
        self._rules = rules_over_phases(plan)
        self._read = [self.layout.read_by(plan.guards[rule.guard], None) for rule in plan.rules]
        self._leading = [(number, rule.to) for number, rule in enumerate(plan.rules) if rule.to is not None]
        self._faultless = self._patient = False
        timeouts = any(p.timeout is not None for s in plan.sequences for p in s.phases)
        self.has_faults = bool(timeouts or plan.anywhere or self._leading)
        self._truths: dict[tuple[int, int], object] = {}
        self._seen_joints: set[int] = set()

    def run(
        self,
        tell: Callable[[int, int], None] | None = None,
        *,
        faultless: bool = False,
        patient: bool = False,
    ) -> Reached:
        """Explore within the bounds; `tell` gets how many configurations were looked at and are known.

        patient: leave out what can't be timed: where a sequence must move at once, nothing else takes longer.
        faultless: follow only the walk in which nothing goes wrong: no timeout, `anywhere` or broken rule.
        """
        self._faultless, self._patient = faultless, patient
        start = self.layout.start
        reached = Reached([start], array("q", [0]))
        seen = {start: 0}
        number = 0
        while number < len(reached.order):
            if tell is not None and number % TELL_EVERY == 0:
                tell(number, len(reached.order))
            if self.mover.steps > self.bounds.steps:
                reached.finished = False
                break
            if not self._expand(number, reached, seen):
                reached.finished = False
                break
            number += 1
        reached.finished = reached.finished and not self.mover.cut
        return reached

    def _expand(self, number: int, reached: Reached, seen: dict[int, int]) -> bool:
        """Look at one configuration and enter those that follow; tell whether there was room for them."""
        config = reached.order[number]
        self._look(number, config, reached)
        calm = self.calm(config) or self.comes_to_rest(config)
        if not calm:
            reached.restless.append(number)
        most = self.bounds.configurations
        for after in self.after(config):
            known = seen.get(after)
            if known is None:
                if len(reached.order) >= most:
                    return False
                known = seen[after] = len(reached.order)
                reached.order.append(after)
                reached.before.append(number)
            if not calm:
                reached.ways.append(number)
                reached.ways.append(known)
        return True

    def after(self, config: int) -> list[int]:
        """Return all configurations that may follow in the next tick."""
        if self._faultless:
            if any(self.must_lead(rule, config) for rule, _ in self._leading):
                return []
            return [
                after for after, _ in self.mover.successors(config, faultless=True, patient=self._patient)
            ]
        anywhere = self.plan.anywhere
        found = [self.sent(config, anywhere[entry].to) for entry in self.views.watch(config).fires]
        for rule, to in self._leading:
            if self.may_break(rule, config):
                found.append(self.sent(config, to))
                if self.must_lead(rule, config):
                    return found
        found += [after for after, _ in self.mover.successors(config, patient=self._patient)]
        return found

    def must_lead(self, rule: int, config: int) -> bool:
        """Tell whether a rule is surely broken: in the next tick only `anywhere` can come first."""
        hold = self.plan.guards[self.plan.rules[rule].guard].hold
        return not outlasts_tick(hold) and self.breaks(rule, config)

    def sent(self, config: int, to: tuple[int, ...]) -> int:
        """Return what follows when `anywhere` or a rule sends all sequences somewhere."""
        phases = self.layout.phases_of(config)
        for sequence, phase in enumerate(to):
            if phases[sequence] != phase:
                config = self.layout.enter(config, sequence, phase)
        return config

    def may_break(self, rule: int, config: int) -> bool:
        """Tell whether a rule may be broken in a configuration, whatever is measured."""
        return bool(self._rule_left(rule, config))

    def breaks(self, rule: int, config: int) -> bool:
        """Tell whether a rule is broken in a configuration whatever is measured."""
        return self._rule_left(rule, config) is True

    def _rule_left(self, rule: int, config: int) -> object:
        guard = self.plan.guards[self.plan.rules[rule].guard]
        config = self.layout.coarse(config)
        key = (rule, config & self._read[rule])
        if key not in self._truths:
            left = self.residuals.of(guard, self.layout.known(config), None, None, watched=True)
            self._truths[key] = left if isinstance(left, bool) else self.views.region(left)
        return self._truths[key]

    def calm(self, config: int) -> bool:
        """Tell whether every sequence stands in a rest or stop phase."""
        return all(self._calm[s][f.of(config)] for s, f in enumerate(self.layout.phases))

    def is_calm(self, sequence: int, phase: int) -> bool:
        """Tell whether a phase is a rest or a stop phase."""
        return self._calm[sequence][phase]

    def comes_to_rest(self, config: int) -> bool:
        """Tell whether what is watched anywhere can bring all sequences to rest at once."""
        return any(self._calming[entry] for entry in self.views.watch(config).fires)

    def _look(self, number: int, config: int, reached: Reached) -> None:
        stuck = 0
        for sequence, fields in enumerate(self.layout.phases):
            reached.entered.setdefault((sequence, fields.of(config)), number)
            stuck += self.views.view(config, sequence).stuck
        if stuck > 1:
            reached.stuck.append(number)
        for rule in self._rules:
            if rule not in reached.broken and self.breaks(rule, config):
                reached.broken[rule] = number
            if rule not in reached.doubtful and self.may_break(rule, config):
                reached.doubtful[rule] = number
        if len(self.layout.phases) > 1:
            self._look_at_joints(number, config, reached)

    def _look_at_joints(self, number: int, config: int, reached: Reached) -> None:
        for joint in self.mover.joints(config, self.views.watch(config)):
            if not joint.together or id(joint) in self._seen_joints:
                continue
            self._seen_joints.add(id(joint))
            for race in races(self.plan, joint):
                reached.races.setdefault(race, number)
