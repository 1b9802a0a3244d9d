"""What the reached configurations amount to: claims, each with the configuration that shows it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.check.edges import Graph, reachable, turned, watched_targets
from sequencer.check.explore.races import Race
from sequencer.check.explore.residual import Known
from sequencer.check.explore.search import Reached, Search
from sequencer.check.explore.views import TIMEOUT, common
from sequencer.check.explore.waiting import Waits
from sequencer.check.subjects import listed, phase_name
from sequencer.check.suggest import halt_entry
from sequencer.plan.tables import Plan

MOST_CLAIMS = 6  # of one kind
MOST_TRIED = 12  # configurations from which one is to be shown
MOST_NAMED = 8  # sequences in a sentence


@dataclass(frozen=True, slots=True)
class Claim:
    """A finding and how to show it.

    path: configurations from the start on. guards: with what guards sequences leave in the last step
    (sequence, number), or empty if that is open. rule: the rule that is broken at the end, or None.
    parts: claims of the same kind, of which one is told if this one can't be shown.
    """

    finding: Finding
    path: tuple[int, ...]
    guards: tuple[tuple[int, int], ...] = ()
    rule: int | None = None
    parts: tuple["Claim", ...] = ()


class Judge:
    """Draws findings from what was reached.

    reached: with everything that may happen. walk: in a walk in which nothing goes wrong.
    """

    def __init__(self, search: Search, reached: Reached, walk: Reached) -> None:
        self.search, self.reached, self.walk = search, reached, walk
        self.plan: Plan = search.plan
        self._ways = (
            [self._local_ways(s) for s in range(len(self.plan.sequences))] if reached.finished else []
        )

    def claims(self) -> list[Claim]:
        """Return all claims, each kind cut to the first few."""
        rings = list(self._waits())
        kinds = [rings, list(self._broken()), list(self._races())]
        if self.reached.finished and not rings:  # else they would only tell what follows from the waiting
            kinds += [list(self._never_entered()), list(self._restless())]
        return [claim for kind in kinds for claim in kind[:MOST_CLAIMS]]

    def _stand(self, config: int) -> str:
        """Say where all sequences stand."""
        phases = self.search.layout.phases_of(config)
        return listed([phase_name(self.plan, s, p) for s, p in enumerate(phases)], MOST_NAMED)

    # sequences that wait for each other

    def _waits(self) -> Iterator[Claim]:
        told: set[object] = set()
        for reached, with_timeouts in ((self.reached, True), (self.walk, False)):
            waits = Waits(self.search, with_timeouts=with_timeouts)
            for number in reached.stuck:
                for ring in waits.rings(reached.order[number]):
                    if ring not in told:
                        told.add(ring)
                        yield Claim(self._waiting(ring), tuple(reached.path(number)))

    def _waiting(self, ring: tuple[tuple[int, int], ...]) -> Finding:
        plan = self.plan
        rows = [plan.sequences[s].phases[p] for s, p in ring]
        names = listed([phase_name(plan, s, p) for s, p in ring])
        ends = "only the timeout ends it, as a fault"
        if all(row.timeout is None for row in rows):
            ends = "only what is watched anywhere leads out" if plan.anywhere else "nothing leads out"
        other = phase_name(plan, *ring[1])
        return Finding(
            "mutual-wait",
            Severity.ERROR,
            rows[0].place,
            f"{names} wait for each other: as long as each stays, no guard of the others can come true; "
            f"{ends}",
            fix=f"let one go first: in {phase_name(plan, *ring[0])}, add {rows[1].name} to the phases "
            f"in which {plan.sequences[ring[1][0]].name} may be",
            notes=((rows[1].place, f"{other} is the other side of it"),),
        )

    # rules over phases

    def _broken(self) -> Iterator[Claim]:
        for reached in (self.reached, self.walk):
            for rule, number in sorted(reached.broken.items()):
                row = self.plan.rules[rule]
                if (row.to is None) != (reached is self.reached):
                    continue  # a rule that leads somewhere is there to be broken when something goes wrong
                then = ""
                if row.to is not None:
                    then = f", though nothing went wrong; then all go to {self._name(0, row.to[0])}"
                stand = self._stand(reached.order[number])
                finding = Finding(
                    "phases-break-rule",
                    Severity.ERROR,
                    row.place,
                    f"the rule '{row.name}' is broken while {stand}{then}",
                    fix="let each ask in its guard that the other is not there, and let one of them have "
                    "the turn: two that look in the same tick both see the other still standing",
                )
                yield Claim(finding, tuple(reached.path(number)), rule=rule)

    def _name(self, sequence: int, phase: int) -> str:
        return self.plan.sequences[sequence].phases[phase].name

    # races

    def _races(self) -> Iterator[Claim]:
        """Yield the largest races, those first that are possible first."""
        known = sorted(self.reached.races.items(), key=lambda item: (item[1], item[0]))
        sets = {race: set(race) for race, _ in known}
        for race, number in known:
            if any(sets[race] < other for other in sets.values()):
                continue
            within = [(r, n) for r, n in known if sets[r] < sets[race]]
            within.sort(key=lambda item: -len(item[0]))
            parts = tuple(self._race(r, n, ()) for r, n in within[:MOST_CLAIMS])
            yield self._race(race, number, parts)

    def _race(self, race: Race, number: int, parts: tuple[Claim, ...]) -> Claim:
        plan = self.plan
        ways = [plan.sequences[s].phases[p].exits[guard] for s, p, guard in race]
        names = [phase_name(plan, s, p) for s, p, _ in race]
        first, second = (plan.sequences[s].name for s, _, _ in race[:2])
        asks, looks, turn = "the other stay", "both look at where the other", "one of them"
        if len(race) > 2:
            asks, looks, turn = "another of them stay", "all look at where the others", "each"
        finding = Finding(
            "leave-together",
            Severity.WARNING,
            ways[0].place,
            f"{listed(names, MOST_NAMED)} can leave in the same tick, though each asks that {asks}: "
            f"{looks} stood when the tick began",
            fix=f"give {turn} the turn: in {second}, ask for a phase of {first} in which {first} "
            "cannot leave by itself",
            notes=tuple((way.place, f"the guard of {n}") for way, n in zip(ways[1:], names[1:], strict=True)),
        )
        config = self.reached.order[number]
        for (sequence, _, _), way in zip(race, ways, strict=True):
            config = self.search.layout.enter(config, sequence, way.to)
        guards = tuple((s, guard) for s, _, guard in race)
        return Claim(finding, (*self.reached.path(number), config), guards, parts=parts)

    # phases that are reachable in the graph alone

    def _local_ways(self, sequence: int) -> Graph:
        """Return where each phase may lead, whatever the other sequences and the counters are."""
        plan, views = self.plan, self.search.views
        blank = self._blank()
        quiet = views.watch_with(blank).quiet
        ways: Graph = []
        for phase in range(len(plan.sequences[sequence].phases)):
            view = views.view_with(blank, sequence, phase)
            ways.append({o.to for o in view.options if o.number == TIMEOUT or common(quiet, o.region)})
        return ways

    def _never_entered(self) -> Iterator[Claim]:
        for sequence in range(len(self.plan.sequences)):
            ways = self._ways[sequence]
            entered = {p for s, p in self.reached.entered if s == sequence}
            for phase in sorted(reachable(ways, {0} | self._watched_to(sequence)) - entered):
                before = [p for p in sorted(entered) if phase in ways[p]]
                if before:
                    number = self.reached.entered[sequence, before[0]]
                    path = tuple(self.reached.path(number))
                    yield Claim(self._missed(sequence, phase, before[0]), path)

    def _watched_to(self, sequence: int) -> set[int]:
        """Return where `anywhere` entries that can be true, and rules, send a sequence."""
        search = self.search
        found = {rule.to[sequence] for rule in self.plan.rules if rule.to is not None}
        for entry in self.plan.anywhere:
            guard = self.plan.guards[entry.guard]
            left = search.residuals.of(guard, self._blank(), None, None, watched=True)
            if search.views.region(left):
                found.add(entry.to[sequence])
        return found

    def _missed(self, sequence: int, phase: int, before: int) -> Finding:
        phases = self.plan.sequences[sequence].phases
        come = phase_name(self.plan, sequence, before)
        return Finding(
            "never-entered",
            Severity.WARNING,
            phases[phase].place,
            f"{phase_name(self.plan, sequence, phase)} is never entered: the walk comes as far as {come}, "
            "and while it is there other sequences or counters never stand as the guard asks",
            fix=f"in {come}, ask for phases or counts that can be there at that time; or delete "
            f"{phases[phase].name}",
            notes=((phases[before].place, "as far as the walk comes"),),
        )

    def _blank(self) -> Known:
        plan = self.plan
        return Known(
            (None,) * len(plan.sequences), (None,) * len(plan.counters), (None,) * len(plan.setpoints)
        )

    # no way back to rest

    def _restless(self) -> Iterator[Claim]:
        if not self.search.facts.commands_anything or not self.reached.restless:
            return
        by_others = (n for n in self._caught() if not self._by_itself(self.reached.order[n]))
        numbers = list(islice(by_others, 1 + MOST_TRIED))
        if not numbers:
            return
        claims = [self._kept_from_rest(self.reached.order[n], self.reached.path(n)) for n in numbers]
        yield replace(claims[0], parts=tuple(claims[1:]))

    def _kept_from_rest(self, config: int, path: list[int]) -> Claim:
        phases = self.search.layout.phases_of(config)
        sequence = next(s for s, p in enumerate(phases) if not self.search.is_calm(s, p))
        place: Place = self.plan.sequences[sequence].phases[phases[sequence]].place
        stops = [p.name for p in self.plan.sequences[sequence].phases if p.stop is not None]
        fix = "let some guard bring all sequences to a rest phase"
        if stops:
            fix = f"under `anywhere`: `{halt_entry(self.plan, stops[0])}`"
        keeps = "the others or counters always keep some" if self.plan.counters else "always keep each other"
        finding = Finding(
            "no-rest-together",
            Severity.ERROR,
            place,
            f"once {self._stand(config)}, the sequences never again all come to a rest or stop phase: "
            f"they go on, but {keeps} from it",
            fix=fix,
        )
        return Claim(finding, tuple(path))

    def _caught(self) -> list[int]:
        """Return the configurations from which no rest can be reached, nearest first."""
        import numpy as np

        good = np.ones(len(self.reached.order), np.bool_)
        good[np.array(self.reached.restless, np.int64)] = False
        ways = np.frombuffer(self.reached.ways, np.int64).reshape(-1, 2)
        count = -1
        while count != (count := int(good.sum())):
            good[ways[good[ways[:, 1]], 0]] = True
        return [int(n) for n in np.flatnonzero(~good)]

    def _by_itself(self, config: int) -> bool:
        """Tell whether some sequence can't come to rest from there even with the others out of its way."""
        for sequence, phase in enumerate(self.search.layout.phases_of(config)):
            into = watched_targets(self.plan, sequence)
            ways = turned([targets | into for targets in self._ways[sequence]])
            phases = range(len(self.plan.sequences[sequence].phases))
            calm = {p for p in phases if self.search.is_calm(sequence, p)}
            if phase not in reachable(ways, calm):
                return True
        return False
