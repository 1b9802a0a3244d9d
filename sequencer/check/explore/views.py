"""What one sequence may do in a configuration, and what holds there of `anywhere` and of the rules.

Where something is true is kept as a union of boxes (`Region`). If there are too many of them the region is
drawn too large: [{}] is everywhere. So moves are at most invented, never missed; a counterexample that rests
on an invented move does not replay and is not claimed.
"""

from dataclasses import dataclass

from sequencer.check.domains import Box, TooManyBoxesError, Var, meet_unions, subtract_unions
from sequencer.check.explore.layout import Layout
from sequencer.check.explore.residual import Known, Left, Residuals
from sequencer.check.truth import outlasts_tick
from sequencer.plan.tables import Plan

Region = list[Box]
EVERYWHERE: Region = [{}]
MOST_BOXES_LEFT = 32  # beyond them what later guards leave over is drawn too large
MOST_GIVEN_UP = 32  # times that happens in one phase before it is not tried any more
TIMEOUT = -1  # the number of the option that a timeout is


@dataclass(frozen=True, slots=True)
class Option:
    """A way out of a phase that may fire: guard `number` of the phase, or TIMEOUT; leads to phase `to`."""

    number: int
    to: int
    region: Region


@dataclass(frozen=True, slots=True)
class View:
    """One sequence in a configuration.

    options: what may fire. stay: where it may stay; empty if it must move. touched: the variables on which
    all that depends, as bits. read: the sequences that its guards look at, as bits.
    stuck: it has guards and none can fire.
    """

    sequence: int
    phase: int
    options: tuple[Option, ...]
    stay: Region
    touched: int
    read: int
    stuck: bool


@dataclass(frozen=True, slots=True)
class Watch:
    """`anywhere` in a configuration: entries that may fire, and where none fires (`quiet`)."""

    fires: tuple[int, ...]
    quiet: Region
    touched: int


class Views:
    """Makes views and keeps them, by the bits of the configuration on which they depend."""

    def __init__(self, plan: Plan, layout: Layout, residuals: Residuals) -> None:
        self.plan, self.layout, self.residuals = plan, layout, residuals
        self._masks: list[list[int]] = []
        self._reads: list[list[int]] = []
        self._numbers: dict[Var, int] = {}
        for s, sequence in enumerate(plan.sequences):
            own = layout.phases[s].mask << layout.phases[s].shift
            guards = [[plan.guards[way.guard] for way in phase.exits] for phase in sequence.phases]
            self._masks.append([own] * len(guards))
            for p, of_phase in enumerate(guards):
                for guard in of_phase:
                    self._masks[s][p] |= layout.read_by(guard, s)
            self._reads.append([layout.sequences_read(of_phase, s) for of_phase in guards])
        self._by_phase: list[list[dict[int, View]]] = [[{} for _ in s.phases] for s in plan.sequences]
        self._watch_mask = 0
        for entry in plan.anywhere:
            self._watch_mask |= layout.read_by(plan.guards[entry.guard], None)
        self.watch_reads_phases = bool(self._watch_mask)
        self._watches: dict[int, Watch] = {}
        self.may_have_to_move = [
            [any(not outlasts_tick(plan.guards[w.guard].hold) for w in p.exits) for p in s.phases]
            for s in plan.sequences
        ]

    def view(self, config: int, sequence: int) -> View:
        """Return what a sequence may do."""
        if self.layout.counters:
            config = self.layout.coarse(config)
        phase = self.layout.phases[sequence].of(config)
        kept = self._by_phase[sequence][phase]
        key = config & self._masks[sequence][phase]
        found = kept.get(key)
        if found is None:
            found = kept[key] = self.view_with(self.layout.known(config), sequence, phase)
        return found

    def view_with(self, known: Known, sequence: int, phase: int) -> View:
        """Return what a sequence may do in a phase if no more is known than that."""
        row = self.plan.sequences[sequence].phases[phase]
        options: list[Option] = []
        stay: Region = EVERYWHERE
        touched = given_up = 0
        for number, way in enumerate(row.exits):
            guard = self.plan.guards[way.guard]
            left = self.residuals.of(guard, known, sequence, phase)
            true = self.region(left)
            if not true or not stay:
                continue
            touched |= self._touched(true)
            fires = common(stay, true)
            if fires:
                options.append(Option(number, way.to, fires))
            if not outlasts_tick(guard.hold) and given_up < MOST_GIVEN_UP:
                before, stay = stay, self._left_over(stay, true)
                given_up += stay is before
        stuck = bool(row.exits) and not options
        if row.timeout is not None and stay:
            options.append(Option(TIMEOUT, row.timeout.to, stay))
        return View(sequence, phase, tuple(options), stay, touched, self._reads[sequence][phase], stuck)

    def region(self, left: Left) -> Region:
        """Return where what is left of a guard is true."""
        if isinstance(left, bool):
            return EVERYWHERE if left else []
        asker = self.residuals.asker
        try:
            return asker.truths.sides(left)[0]
        except TooManyBoxesError:
            return [] if asker.possible(left).verdict == "no" else EVERYWHERE

    def _left_over(self, region: Region, true: Region) -> Region:
        try:
            left = subtract_unions(region, true, self.residuals.asker.truths.full)
        except TooManyBoxesError:
            return region
        return left if len(left) <= MOST_BOXES_LEFT else region

    def _touched(self, region: Region) -> int:
        bits = 0
        for box in region:
            for var in box:
                bits |= 1 << self._numbers.setdefault(var, len(self._numbers))
        return bits

    def is_slow(self, view: View, option: Option) -> bool:
        """Tell whether a way out takes more than the tick in which its guard becomes true."""
        if option.number == TIMEOUT:
            return True
        way = self.plan.sequences[view.sequence].phases[view.phase].exits[option.number]
        return outlasts_tick(self.plan.guards[way.guard].hold)

    def shadow(self, region: Region, shared: int) -> Region:
        """Return what a region says of some variables alone; on the others nobody else depends."""
        boxes: Region = []
        for box in region:
            kept = {var: domain for var, domain in box.items() if shared >> self._numbers[var] & 1}
            if not kept:
                return EVERYWHERE
            if kept not in boxes:
                boxes.append(kept)
        return boxes

    def sequences_read(self, sequence: int, phase: int) -> int:
        """Return which other sequences a phase's guards look at, as bits."""
        return self._reads[sequence][phase]

    def watch(self, config: int) -> Watch:
        """Return what `anywhere` may do."""
        if self.layout.counters:
            config = self.layout.coarse(config)
        key = config & self._watch_mask
        found = self._watches.get(key)
        if found is None:
            found = self._watches[key] = self.watch_with(self.layout.known(config))
        return found

    def watch_with(self, known: Known) -> Watch:
        """Return what `anywhere` may do if no more is known than that."""
        fires: list[int] = []
        quiet: Region = EVERYWHERE
        touched = 0
        for number, entry in enumerate(self.plan.anywhere):
            guard = self.plan.guards[entry.guard]
            true = self.region(self.residuals.of(guard, known, None, None, watched=True))
            touched |= self._touched(true)
            if common(quiet, true):
                fires.append(number)
            if true and not outlasts_tick(guard.hold):
                quiet = self._left_over(quiet, true)
        return Watch(tuple(fires), quiet, touched)


def common(a: Region, b: Region) -> Region:
    """Return the common part of two regions; of very many boxes the second alone, which is too large."""
    if a is EVERYWHERE:
        return b
    try:
        return meet_unions(a, b)
    except TooManyBoxesError:
        return b
