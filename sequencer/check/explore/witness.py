"""Turning a path of configurations into a recording, by running it in the reference executor as it grows.

Each step lasts as many ticks as the holds, timeouts and losses that are part of it want. In each tick values
are chosen with which the guards that shall fire are true and all others are not. After each step the run must
stand in the configuration claimed; else there is no recording, and the claim is dropped.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice, pairwise, product

import numpy as np

from sequencer.check.explore.judge import Claim
from sequencer.check.explore.moves import Moves
from sequencer.check.explore.residual import CHOICES, Known, Left
from sequencer.check.explore.search import Search
from sequencer.check.explore.views import TIMEOUT
from sequencer.check.facts import Condition
from sequencer.check.solver import Values
from sequencer.check.truth import outlasts_tick
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import RULE_BROKEN, HistoryBlock
from sequencer.plan.tables import Guard
from sequencer.trace.blocks import FRESH_VALUE, HEARD, NOT_FRESH, TickBlock, empty_block
from sequencer.trace.record import join_blocks
from sequencer.trace.still import still_value

MOST_TICKS = 60_000  # of one recording; its bound must not depend on the machine's speed
MOST_TRIED = 12  # ways in which one step may come about

Mover = tuple[
    str, int, int
]  # ("guard" or "timeout", sequence, number), ("anywhere", 0, entry), ("rule", 0, rule)
Var = tuple[str, int]


class NoReplayError(Exception):
    """The path could not be turned into a recording."""


@dataclass(frozen=True, slots=True)
class _Tick:
    values: Values
    silent: frozenset[Var]


def recording(search: Search, claim: Claim) -> TickBlock | None:
    """Make the recording that shows a claim; None if it does not replay."""
    try:
        return _Recording(search).show(claim)
    except NoReplayError:
        return None


class _Recording:
    def __init__(self, search: Search) -> None:
        self.search, self.plan, self.layout = search, search.plan, search.layout
        self.tick_ms = self.plan.tick_ms
        self.executor = ReferenceExecutor(self.plan)
        self.blocks: list[TickBlock] = []
        self.ticks = 0
        self.entered = [0] * len(self.plan.sequences)  # the tick in which each phase began
        self.setpoints = [s.start for s in self.plan.setpoints]
        self.entry = list(self.setpoints)
        self.phases: list[int] = []
        self.rules: list[int] = []
        self.held: Values = {("signal", i): still_value(s) for i, s in enumerate(self.plan.signals)}

    def show(self, claim: Claim) -> TickBlock:
        """Run the whole path."""
        first = claim.path[0]
        self._run([_Tick(self._calm_values(first), frozenset())], first, first)
        for number, (config, after) in enumerate(pairwise(claim.path)):
            last = number == len(claim.path) - 2
            self._step(config, after, claim.guards if last else ())
        if claim.rule is not None:
            self._break(claim.rule, claim.path[-1])
        return join_blocks(self.blocks)

    def _calm_values(self, config: int) -> Values:
        values = self._values(config, ())
        return {} if values is None else values

    # one step

    def _step(self, config: int, after: int, guards: tuple[tuple[int, int], ...]) -> None:
        """Bring the run from one configuration to the next, in the first way that can be planned."""
        for movers in islice(self._ways(config, after, guards), MOST_TRIED):
            ticks = self._planned(config, movers)
            if ticks is not None:
                self._run(ticks, config, after)
                return
        raise NoReplayError

    def _ways(
        self, config: int, after: int, guards: tuple[tuple[int, int], ...]
    ) -> Iterator[tuple[Mover, ...]]:
        search = self.search
        for found, moves in search.mover.successors(config):
            if found == after:
                yield from self._guards_of(config, moves, dict(guards))
        if guards:
            return
        for entry in search.views.watch(config).fires:
            if search.sent(config, self.plan.anywhere[entry].to) == after:
                yield (("anywhere", 0, entry),)
        for rule, row in enumerate(self.plan.rules):
            if row.to is not None and search.may_break(rule, config) and search.sent(config, row.to) == after:
                yield (("rule", 0, rule),)

    def _guards_of(self, config: int, moves: Moves, wanted: dict[int, int]) -> Iterator[tuple[Mover, ...]]:
        """Yield by which guards or timeouts sequences can make some moves."""
        choices: list[list[Mover]] = []
        for sequence, to in moves:
            options = [o for o in self.search.views.view(config, sequence).options if o.to == to]
            numbers = [o.number for o in options if wanted.get(sequence, o.number) == o.number]
            choices.append([("timeout" if n == TIMEOUT else "guard", sequence, n) for n in numbers])
        yield from product(*choices)

    def _planned(self, config: int, movers: tuple[Mover, ...]) -> list[_Tick] | None:
        """Lay out the ticks of one step; None if no values do it or times do not meet."""
        holds = {m: self._hold_ticks(self._guard(config, m)) for m in movers if m[0] != "timeout"}
        final = self._values(config, movers)
        if final is None:
            return None
        silent = frozenset(var for var, value in final.items() if var[0] in ("lost", "remote") and value)
        longest = max(holds.values(), default=1)
        lead = max((self._silence_ticks(var) for var in silent), default=0)
        waits = [self._ticks_to_timeout(m[1]) for m in movers if m[0] == "timeout"]
        count = max([longest + (lead + 1 if silent else 0), *waits])
        if any(wait != count for wait in waits) or count + self.ticks > MOST_TICKS:
            return None
        if movers[0][0] == "rule":
            count += 1  # it leads there in the tick after it was broken
        ticks: list[_Tick] = []
        known: dict[tuple[Mover, ...], Values | None] = {}
        for tick in range(1, count + 1):
            active = tuple(m for m in movers if m in holds and tick > count - holds[m])
            if movers[0][0] == "rule":
                active = movers if tick < count else ()
            if active not in known:
                known[active] = final if active == movers else self._values(config, active)
            values = known[active]
            if values is None:
                return None
            still = {var for var in silent if tick > count - longest - self._silence_ticks(var) + 1}
            ticks.append(_Tick(values, frozenset(still)))
        return ticks

    def _guard(self, config: int, mover: Mover) -> Guard:
        kind, sequence, number = mover
        if kind == "anywhere":
            return self.plan.guards[self.plan.anywhere[number].guard]
        if kind == "rule":
            return self.plan.guards[self.plan.rules[number].guard]
        phase = self.layout.phases[sequence].of(config)
        return self.plan.guards[self.plan.sequences[sequence].phases[phase].exits[number].guard]

    def _hold_ticks(self, guard: Guard) -> int:
        """Return in how many ticks in a row a guard must be true, all being fresh in each."""
        if guard.hold is None:
            return 1
        if guard.hold.ms is not None:
            return -(-guard.hold.ms // self.tick_ms) + 1
        assert guard.hold.samples is not None
        return guard.hold.samples

    def _silence_ticks(self, var: Var) -> int:
        """Return after how many ticks of silence something is lost."""
        source = self.plan.remote if var[0] == "remote" else self.plan.signals[var[1]]
        lost_after = None if source is None else source.lost_after_ms
        if lost_after is None:
            raise NoReplayError
        return lost_after // self.tick_ms + 1

    def _ticks_to_timeout(self, sequence: int) -> int:
        """Return in which of the coming ticks the timeout of a sequence's phase acts."""
        phase = self.phases[sequence]
        timeout = self.plan.sequences[sequence].phases[phase].timeout
        assert timeout is not None
        due = self.entered[sequence] + -(-timeout.after_ms // self.tick_ms)
        return due - (self.ticks - 1)

    # values of a tick

    def _values(self, config: int, active: tuple[Mover, ...]) -> Values | None:
        """Find values with which the guards of `active` are true and, as far as can be, no others."""
        must: list[Condition] = []
        for mover in active:
            if mover[0] == "timeout":
                continue
            left = self._left(config, mover, released=False)
            if left is False:
                return None
            if isinstance(left, Condition):
                must.append(left)
        for strict in (True, False):
            but_not = self._others(config, active, strict=strict)
            if but_not is None:
                continue
            for nothing_lost in (True, False):
                answer = self.search.residuals.asker.find(*must, but_not=but_not, nothing_lost=nothing_lost)
                if answer.verdict == "yes":
                    return answer.values
        return None

    def _others(
        self, config: int, active: tuple[Mover, ...], *, strict: bool
    ) -> tuple[Condition, ...] | None:
        """Return what must not be true; None if something of it always is.

        Loosely taken these are only the guards that would fire before those of `active`.
        """
        found: dict[Condition, None] = {}
        for mover in self._all_movers(config):
            if mover in active:
                continue
            if not strict and (outlasts_tick(self._guard(config, mover).hold) or _after(mover, active)):
                continue
            left = self._left(config, mover, released=True)
            if left is True:
                if strict:
                    continue  # it can't be helped
                return None
            if isinstance(left, Condition):
                found[left] = None
        return tuple(found)

    def _all_movers(self, config: int) -> Iterator[Mover]:
        for entry in range(len(self.plan.anywhere)):
            yield "anywhere", 0, entry
        for rule, row in enumerate(self.plan.rules):
            if row.to is not None:
                yield "rule", 0, rule
        for sequence, phase in enumerate(self.layout.phases_of(config)):
            for number in range(len(self.plan.sequences[sequence].phases[phase].exits)):
                yield "guard", sequence, number

    def _left(self, config: int, mover: Mover, *, released: bool) -> Left:
        known = self._known(config, released=released)
        guard = self._guard(config, mover)
        if mover[0] != "guard":
            return self.search.residuals.of(guard, known, None, None, watched=True)
        return self.search.residuals.of(guard, known, mover[1], self.layout.phases[mover[1]].of(config))

    def _known(self, config: int, *, released: bool) -> Known:
        """Unpack a configuration, with the sides from which targets are approached in this run."""
        known = self.layout.known(config)
        targets = tuple(
            None if aim is None else (aim[0], ((aim[0] > start) - (aim[0] < start),))
            for aim, start in zip(known.targets, self.entry, strict=True)
        )
        return replace(known, targets=targets, released=released)

    # running

    def _run(self, ticks: list[_Tick], config: int, after: int) -> None:
        """Run ticks; only in the last one may the run leave `config`, and it must then stand in `after`."""
        block = self._block(ticks)
        record = self.executor.run(block)
        self.blocks.append(block)
        before = np.array(self.layout.phases_of(config), np.uint8)
        then = np.array(self.layout.phases_of(after), np.uint8)
        if (record.phase[:-1] != before).any() or (record.phase[-1] != then).any():
            raise NoReplayError
        if (record.cause[:-1] != 0).any() and self.ticks:
            raise NoReplayError
        for index, field in self.layout.counters.items():
            if min(int(record.counter[-1, index]), self.layout.caps[index]) != field.of(after):
                raise NoReplayError
        self._note(record)

    def _note(self, record: HistoryBlock) -> None:
        """Remember when phases began and where setpoints stood then."""
        previous = self.setpoints if len(record) < 2 else record.setpoint[-2].tolist()
        self.ticks += len(record)
        for sequence in range(len(self.plan.sequences)):
            if record.cause[-1, sequence]:
                self.entered[sequence] = self.ticks - 1
                for index, row in enumerate(self.plan.setpoints):
                    if row.owner == sequence:
                        self.entry[index] = previous[index]
        self.setpoints = record.setpoint[-1].tolist()
        self.phases = record.phase[-1].tolist()
        self.rules = record.rule[-1].tolist()

    def _block(self, ticks: list[_Tick]) -> TickBlock:
        block = empty_block(len(ticks), len(self.plan.signals))
        block.now[:] = (np.arange(len(ticks)) + self.ticks) * self.tick_ms
        for row, tick in enumerate(ticks):
            for var, value in tick.values.items():
                if var[0] == "signal" or (var[0] == "switch" and var[1] < CHOICES):
                    self.held[var] = value
            for index in range(len(self.plan.signals)):
                silent = ("lost", index) in tick.silent
                block.raw[row, index] = 0.0 if silent else self.held["signal", index]
                block.fresh[row, index] = NOT_FRESH if silent else FRESH_VALUE
            on = (index for index in range(len(self.plan.switches)) if self.held.get(("switch", index)))
            block.switches[row] = sum(1 << index for index in on)
            events = (index for index in range(len(self.plan.events)) if tick.values.get(("event", index)))
            block.events[row] = sum(1 << index for index in events)
            block.control[row] = 0 if ("remote", 0) in tick.silent else HEARD
        return block

    def _break(self, rule: int, config: int) -> None:
        """Go on until the rule has been broken for as long as its hold wants."""
        ticks = self._hold_ticks(self.plan.guards[self.plan.rules[rule].guard])
        values = self._values(config, ())
        while self.rules[rule] != RULE_BROKEN:
            if values is None or not ticks or self.ticks >= MOST_TICKS:
                raise NoReplayError
            self._run([_Tick(values, frozenset())], config, config)
            ticks -= 1


def _after(mover: Mover, active: tuple[Mover, ...]) -> bool:
    """Tell whether a guard of a phase is only looked at after one that is to fire, or not at all."""
    if mover[0] != "guard":
        return any(a[0] == mover[0] and a[2] < mover[2] for a in active)
    if any(a[0] in ("anywhere", "rule") for a in active):
        return True
    return any(a[0] == "guard" and a[1] == mover[1] and a[2] < mover[2] for a in active)
