"""A configuration packed into one whole number: the phase of each sequence, counters, leftover targets.

A counter is kept if a guard reads it, and only as far as guards can tell its values apart. A setpoint's
target is kept only from where it was commanded to where a guard may still ask for it in a phase that does not
set it.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from sequencer.check.edges import watched_targets
from sequencer.check.explore.residual import Aim, Known
from sequencer.check.facts import Facts
from sequencer.check.travel import Travels
from sequencer.plan.tables import Compare, Follow, Guard, InPhase, Level, Plan

MOST_COUNTED = 65535


@dataclass(frozen=True, slots=True)
class Field:
    """Some bits of a configuration."""

    shift: int
    mask: int  # before it is shifted

    def of(self, config: int) -> int:
        """Read the field."""
        return config >> self.shift & self.mask


@dataclass(frozen=True, slots=True)
class Entry:
    """What entering a phase does: keep some bits, set some, raise some counters up to their caps."""

    keep: int
    bits: int
    raised: tuple[tuple[Field, int], ...]


class Layout:
    """Packs configurations of one plan and carries out entries.

    phases: a field for each sequence. counters: a field for each counter that is kept, by its number, targets
    alike. caps: the value at which a kept counter stays.
    """

    def __init__(self, plan: Plan, facts: Facts) -> None:
        self.plan, self.facts = plan, facts
        self._travels = Travels(facts)
        self._aims: dict[tuple[int, int, int | None], Aim | None] = {}
        self._bits = 0
        self.phases = [self._field(len(s.phases) - 1) for s in plan.sequences]
        self.caps = self._caps()
        self.counters = {index: self._field(cap) for index, cap in self.caps.items()}
        self._coarse = {index: self._representatives(index) for index in self.counters}
        self._needs = {s: need for s in range(len(plan.setpoints)) if any(need := self._needed(s))}
        self.levels = {s: facts.levels_in(s, None, None) for s in self._needs}
        self.targets = {s: self._field(len(self.levels[s]) - 1) for s in self._needs}
        self.everything = (1 << self._bits) - 1
        self._entries = [
            [self._entry(s, p) for p in range(len(sequence.phases))]
            for s, sequence in enumerate(plan.sequences)
        ]
        start = 0
        for sequence in range(len(plan.sequences)):
            start = self.enter(start, sequence, 0)
        self.start = start

    def _field(self, largest: int) -> Field:
        width = max(1, largest.bit_length())
        field = Field(self._bits, (1 << width) - 1)
        self._bits += width
        return field

    # what is kept

    def _thresholds(self) -> Iterator[tuple[int, float]]:
        """Yield with what each counter is compared."""
        for leaf in self.plan.leaves:
            if isinstance(leaf, Compare) and leaf.source == "counter":
                for level in (leaf.low, leaf.high, leaf.release_low, leaf.release_high):
                    if level is not None:
                        yield leaf.index, self.facts.level(level)[1]

    def _representatives(self, counter: int) -> list[int]:
        """Return for each count the least that no guard tells from it."""
        thresholds = sorted({level for index, level in self._thresholds() if index == counter})
        least: dict[tuple[int, int], int] = {}
        return [
            least.setdefault((bisect_left(thresholds, count), bisect_right(thresholds, count)), count)
            for count in range(self.caps[counter] + 1)
        ]

    def coarse(self, config: int) -> int:
        """Return a configuration that no guard tells from this one, the same for all such."""
        for index, field in self.counters.items():
            count = field.of(config)
            config += (self._coarse[index][count] - count) << field.shift
        return config

    def _caps(self) -> dict[int, int]:
        caps: dict[int, int] = {}
        for index, level in self._thresholds():
            cap = min(max(math.floor(level) + 1, 1), MOST_COUNTED)
            caps[index] = max(cap, caps.get(index, 0))
        return caps

    def _needed(self, setpoint: int) -> list[bool]:
        """Tell for each phase of the owner whether the target is still needed after it was entered."""
        owner = self.plan.setpoints[setpoint].owner
        if owner is None:
            return []
        phases = self.plan.sequences[owner].phases
        sets = [self._command(setpoint, owner, p) is not None for p in range(len(phases))]
        own = {way.guard for phase in phases for way in phase.exits}
        if any(self._asks(g, setpoint) for g in self.plan.guards if g.index not in own):
            return [True] * len(phases) if not all(sets) else []
        needs = [
            not sets[p] and any(self._asks(self.plan.guards[way.guard], setpoint) for way in phase.exits)
            for p, phase in enumerate(phases)
        ]
        watched = watched_targets(self.plan, owner)
        after = [
            {way.to for way in phase.exits} | ({phase.timeout.to} if phase.timeout else set()) | watched
            for phase in phases
        ]
        grown = True
        while grown:
            grown = False
            for p, targets in enumerate(after):
                if not needs[p] and any(needs[to] and not sets[to] for to in targets):
                    needs[p] = grown = True
        return needs

    def _asks(self, guard: Guard, setpoint: int) -> bool:
        leaves = (self.plan.leaves[i] for i in guard.leaves)
        return any(isinstance(leaf, Follow) and leaf.setpoint == setpoint for leaf in leaves)

    def _command(self, setpoint: int, sequence: int, phase: int) -> Level | None:
        commands = self.plan.sequences[sequence].phases[phase].commands
        return next((c.level for c in reversed(commands) if c.setpoint == setpoint), None)

    # moves

    def _entry(self, sequence: int, phase: int) -> Entry:
        row = self.plan.sequences[sequence].phases[phase]
        gone = self.phases[sequence].mask << self.phases[sequence].shift
        bits = phase << self.phases[sequence].shift
        for index in row.reset:
            if index in self.counters:
                gone |= self.counters[index].mask << self.counters[index].shift
        for setpoint, field in self.targets.items():
            if self.plan.setpoints[setpoint].owner != sequence:
                continue
            level = self._command(setpoint, sequence, phase)
            needed = self._needs[setpoint][phase]
            if level is not None or not needed:
                gone |= field.mask << field.shift
            if level is not None and needed:
                bits |= self.levels[setpoint].index(level) << field.shift
        raised = tuple((self.counters[i], self.caps[i]) for i in row.count if i in self.counters)
        return Entry(self.everything & ~gone, bits, raised)

    def enter(self, config: int, sequence: int, phase: int) -> int:
        """Return the configuration after a sequence has entered a phase."""
        entry = self._entries[sequence][phase]
        config = config & entry.keep | entry.bits
        for field, cap in entry.raised:
            if field.of(config) < cap:
                config += 1 << field.shift
        return config

    # reading

    def phases_of(self, config: int) -> tuple[int, ...]:
        """Return the phase of each sequence."""
        return tuple(field.of(config) for field in self.phases)

    def known(self, config: int) -> Known:
        """Unpack a configuration."""
        phases = self.phases_of(config)
        counters = tuple(
            self.counters[i].of(config) if i in self.counters else None
            for i in range(len(self.plan.counters))
        )
        return Known(phases, counters, tuple(self._aim(s, config) for s in range(len(self.plan.setpoints))))

    def _aim(self, setpoint: int, config: int) -> Aim | None:
        row = self.plan.setpoints[setpoint]
        if row.owner is None:
            return row.start, (0,)
        kept = self.targets[setpoint].of(config) if setpoint in self.targets else None
        key = (setpoint, self.phases[row.owner].of(config), kept)
        if key not in self._aims:
            self._aims[key] = self._aim_in(*key)
        return self._aims[key]

    def _aim_in(self, setpoint: int, phase: int, kept: int | None) -> Aim | None:
        row = self.plan.setpoints[setpoint]
        assert row.owner is not None
        level = self._command(setpoint, row.owner, phase)
        if level is None and kept is not None:
            level = self.levels[setpoint][kept]
        stand = self._travels.at_entry(setpoint, phase)
        if level is None or stand is None:
            return None
        target = self.facts.target(setpoint, level)[0]
        low, high = stand.value
        sides = ((1, target > low), (0, low <= target <= high), (-1, target < high))
        return target, tuple(side for side, possible in sides if possible)

    def read_by(self, guard: Guard, sequence: int | None) -> int:
        """Return the bits of a configuration on which what is left of a guard depends."""
        read = 0
        for field in self._fields_read(guard, sequence):
            read |= field.mask << field.shift
        return read

    def _fields_read(self, guard: Guard, sequence: int | None) -> Iterator[Field]:
        for index in guard.leaves:
            leaf = self.plan.leaves[index]
            if isinstance(leaf, InPhase) and leaf.sequence != sequence:
                yield self.phases[leaf.sequence]
            elif isinstance(leaf, Compare) and leaf.source == "counter":
                yield self.counters[leaf.index]
            elif isinstance(leaf, Follow):
                owner = self.plan.setpoints[leaf.setpoint].owner
                if owner is not None:
                    yield self.phases[owner]
                if leaf.setpoint in self.targets:
                    yield self.targets[leaf.setpoint]

    def sequences_read(self, guards: Iterable[Guard], sequence: int) -> int:
        """Return which other sequences move something that some guards read, as bits."""
        read = 0
        for guard in guards:
            for index in guard.leaves:
                leaf = self.plan.leaves[index]
                owner: int | None = None
                if isinstance(leaf, InPhase):
                    owner = leaf.sequence
                elif isinstance(leaf, Compare) and leaf.source == "counter":
                    owner = self.plan.counters[leaf.index].owner
                elif isinstance(leaf, Follow):
                    owner = self.plan.setpoints[leaf.setpoint].owner
                if owner is not None and owner != sequence:
                    read |= 1 << owner
        return read
