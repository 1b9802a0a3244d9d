"""Random gaits and inputs that make their guards fire.

Both draw from a `random.Random`, so a seed names a case; hypothesis may pass a Random of its own and shrink
it.
Thresholds, targets and samples come from a few values each, samples also one unit in the last place beside
them: ties are frequent on purpose. What a loader would refuse is left out, but for odd numbers.
"""

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import numpy as np

from sequencer.base.binary32 import f32, load_f32
from sequencer.base.places import NOWHERE, Place
from sequencer.plan import tables as t
from sequencer.plan.levels import level_value
from sequencer.trace.blocks import (
    FRESH_RAW,
    FRESH_VALUE,
    HEARD,
    RESET,
    ParameterWrite,
    TickBlock,
    empty_block,
)
from support import plans as p
from support.random_drives import DrivesMaker
from support.random_live import as_live, with_live_numbers

PHASES = ("p0", "default", "swing_", "HIGH", "a__b", "_x")
TOLERANCES = (0.0, 0.5, 2.0, 10.0)
ABSURD = [3.0e38, -3.0e38]
PLACE = Place("walks/random.gait.yaml", 3, 7)


def values(rng: Random, low: float, high: float) -> list[float]:
    """Pick a few binary32 numbers of a span, some of them round."""
    found = [load_f32(rng.uniform(low, high)) for _ in range(2)]
    return [*found, float(round(rng.uniform(low, high))), load_f32(rng.choice([low, high, 0.0]))]


class PlanMaker:
    """Draws one plan; `pool` holds the interesting values of each signal.

    A plan that rushes has a counter, enters phases that count it anew in every tick, and nothing else moves
    it.
    """

    def __init__(self, rng: Random, *, rushes: bool = False) -> None:
        self.rng = rng
        self.rushes = rushes
        self.parameters = [self._parameter(i) for i in range(rng.randint(0, 3))]
        self.signals = [self._signal(i) for i in range(rng.choice([1, 2, 3, 4, 2, 3, 4, 11]))]
        self.pool = [values(rng, s.low, s.high) for s in self.signals]
        self.setpoints = [self._setpoint(i) for i in range(rng.randint(0, 3))]
        self.targets = {s.name: [*values(rng, s.low, s.high)[1:], s.high + 5] for s in self.setpoints}
        self.events = [f"e{i}" for i in range(rng.choice([0, 1, 2, 9, 17]))]
        self.switches = [f"w{i}" for i in range(rng.choice([0, 1, 2, 10]))]
        self.counters = [f"c{i}" for i in range(rng.randint(int(rushes), 2))]
        self.pulses = [f"u{i}" for i in range(rng.choice([0, 1, 2, 9]))]
        self.remote = self._remote() if rng.random() < 0.6 else None
        self.sequences = {f"s{i}": PHASES[: rng.randint(2, 6)] for i in range(rng.choice([1, 1, 2, 3]))}

    # -- the machine ---------------------------------------------------------------------------------------

    def _parameter(self, index: int) -> t.Parameter:
        low, high = sorted((self.rng.uniform(-30, 0), self.rng.uniform(0, 30)))
        return p.parameter(f"q{index}", self.rng.uniform(low, high), low, high)

    def _signal(self, index: int) -> t.Signal:
        rng = self.rng
        gain = rng.choice([1.0, 0.07905138, -0.5, 3.0e-3, 1.0e30]) if rng.random() < 0.6 else 1.0
        believe = None
        if rng.random() < 0.4:
            kind = rng.choice(("counts", "reads"))
            believe = t.Believe(kind, load_f32(rng.uniform(-40, -5)), load_f32(rng.uniform(5, 40)))
        return p.signal(
            f"x{index}",
            gain=f32(gain),
            bias=load_f32(rng.choice([0.0, rng.uniform(-10, 10)])),
            low=load_f32(rng.uniform(-50, -10)),
            high=load_f32(rng.uniform(10, 50)),
            lost_after_ms=rng.choice([None, 0, 10, 25, 60, 200]),
            believe=believe,
        )

    def _setpoint(self, index: int) -> t.Setpoint:
        rng = self.rng
        low, high = load_f32(rng.uniform(-25, -5)), load_f32(rng.uniform(5, 25))
        followers = [
            (rng.randrange(len(self.signals)), rng.choice([0.0, rng.uniform(-3, 3), rng.uniform(-3, 3)]))
            for _ in range(rng.choice([0, 1, 1, 2, 3]))
        ]
        times = rng.randrange(len(self.parameters)) if self.parameters and rng.random() < 0.3 else None
        return p.setpoint(
            f"y{index}",
            step=rng.choice([None, 0.16, 1.0, 7.5, 100.0]),
            times=times,
            followers=followers,
            low=low,
            high=high,
            start=load_f32(rng.choice([0.0, low, rng.uniform(low, high)])),
        )

    def _remote(self) -> t.Remote:
        return t.Remote((), (), None, self.rng.choice([None, 0, 20, 50, 300]), NOWHERE)

    # -- guards --------------------------------------------------------------------------------------------

    def level(self, around: Sequence[float]) -> p.Number:
        rng = self.rng
        if self.parameters and rng.random() < 0.35:
            plus = rng.choice([None, load_f32(rng.choice(around))])
            return t.Level(plus, rng.randrange(len(self.parameters)), rng.random() < 0.4)
        return rng.choice(around)

    def leaf(self) -> p.Expr:
        rng = self.rng
        makers = [self._signal_leaf] * 5 + [self._in_leaf, self._lost_leaf]
        makers += [self._counter_leaf] * bool(self.counters) + [self._event_leaf] * 2 * bool(self.events)
        makers += [self._switch_leaf] * bool(self.switches)
        makers += [self._follow_leaf] * 3 * any(s.followers for s in self.setpoints)
        return rng.choice(makers)()

    def _signal_leaf(self) -> p.Expr:
        index = self.rng.randrange(len(self.signals))
        return self.compare(self.signals[index].name, self.pool[index])

    def _counter_leaf(self) -> p.Expr:
        return self.compare(self.rng.choice(self.counters), [0.0, 1.0, 2.0, 3.0])

    def _event_leaf(self) -> p.Expr:
        return p.event(self.rng.choice(self.events))

    def _switch_leaf(self) -> p.Expr:
        carried = self.remote is not None and self.rng.random() < 0.5
        return p.switch(self.rng.choice(self.switches), remote=carried)

    def _lost_leaf(self) -> p.Expr:
        of_remote = self.remote is not None and self.rng.random() < 0.4
        return p.lost(None if of_remote else self.rng.choice(self.signals).name)

    def _in_leaf(self) -> p.Expr:
        sequence = self.rng.choice(list(self.sequences))
        phases = self.sequences[sequence]
        return p.in_phase(sequence, *self.rng.sample(phases, self.rng.randint(1, min(2, len(phases)))))

    def _follow_leaf(self) -> p.Expr:
        rng = self.rng
        make = rng.choice((p.reached, p.at_target))
        # mostly wider, so that a follower stays between the two for a while
        release = self.level([10.0, 25.0, 40.0, *TOLERANCES]) if rng.random() < 0.5 else None
        followed = [s.name for s in self.setpoints if s.followers]
        return make(rng.choice(followed), self.level(TOLERANCES), release)

    def compare(self, name: str, around: Sequence[float]) -> p.Expr:
        rng = self.rng
        op = rng.choice(("at_least", "at_most", "above", "below", "within", "outside"))
        low, high = self.level(around), self.level(around)
        release_low, release_high = self.level(around), self.level(around)
        released = rng.random() < 0.4
        uses_low, uses_high = op not in ("at_most", "below"), op not in ("at_least", "above")
        return p.compare(
            op,
            name,
            low if uses_low else None,
            high if uses_high else None,
            release_low if released and uses_low else None,
            release_high if released and uses_high else None,
        )

    def crowd(self) -> p.Expr:
        """Compare every signal; true while any of them is on the wide side of a threshold."""
        parts = [self.compare(s.name, near) for s, near in zip(self.signals, self.pool, strict=True)]
        return p.any_of(*parts)

    def expr(self, depth: int = 0) -> p.Expr:
        rng = self.rng
        kind = rng.choice(("leaf", "leaf", "all", "any", "not")) if depth < 3 else "leaf"
        if kind == "leaf":
            return self.leaf()
        if kind == "not":
            return p.not_(self.expr(depth + 1))
        parts = [self.expr(depth + 1) for _ in range(rng.randint(1, 3))]
        return p.all_of(*parts) if kind == "all" else p.any_of(*parts)

    def hold(self) -> p.HoldSpec:
        rng = self.rng
        if rng.random() < 0.55:
            return None
        return (
            p.hold_ms(rng.choice([0, 1, 10, 25, 40]))
            if rng.random() < 0.5
            else p.hold_samples(rng.randint(1, 3))
        )

    def held(self, depth: int = 0) -> tuple[p.Expr, p.HoldSpec]:
        """Draw a guard and how long it must hold; the more signals, the more often in samples."""
        if self.rng.random() < 0.03 * len(self.signals):
            return self.crowd(), p.hold_samples(self.rng.randint(1, 3))
        return self.expr(depth), self.hold()

    # -- the walk ------------------------------------------------------------------------------------------

    def phase(self, sequence: str, name: str, setpoints: list[t.Setpoint], counters: list[str]) -> p.Phase:
        rng = self.rng
        names = self.sequences[sequence]
        if self.rushes and counters:
            return p.Phase(name, [(name, p.in_phase(sequence, name))], count=counters)
        counted = [c for c in counters if rng.random() < 0.4]
        return p.Phase(
            name,
            leave=[(rng.choice(names), *self.held()) for _ in range(rng.choice([0, 1, 1, 2, 3]))],
            timeout=(rng.choice([10, 55, 150]), rng.choice(names)) if rng.random() < 0.5 else None,
            set={s.name: self.level(self.targets[s.name]) for s in setpoints if rng.random() < 0.6},
            stop=rng.choice((None, None, None, 0, 1, 2)),
            count=counted,
            reset=[c for c in counters if c not in counted and rng.random() < 0.3],
            pulse=[u for u in self.pulses if rng.random() < 0.3],
        )

    def make(self, name: str) -> t.Plan:
        rng = self.rng
        owner = {thing: rng.choice(list(self.sequences)) for thing in (*self.setpoints, *self.counters)}
        shared = min(len(phases) for phases in self.sequences.values())
        sequences = {
            sequence: [
                self.phase(
                    sequence,
                    phase,
                    [s for s in self.setpoints if owner[s] == sequence],
                    [c for c in self.counters if owner[c] == sequence],
                )
                for phase in phases
            ]
            for sequence, phases in self.sequences.items()
        }
        everywhere = PHASES[:shared]
        plan = p.make_plan(
            sequences,
            signals=self.signals,
            setpoints=self.setpoints,
            parameters=self.parameters,
            events=self.events,
            switches=self.switches,
            counters=self.counters,
            pulses=self.pulses,
            remote=self.remote,
            anywhere=[
                (rng.choice(everywhere), *self.held(1))
                for _ in range(0 if self.rushes else rng.choice([0, 0, 1, 2, 4]))
            ],
            rules=[self._rule(i, everywhere) for i in range(rng.choice([0, 0, 1, 2]))],
        )
        plan = without_empty_holds(plan)
        if not self.rushes:  # of a Random of their own: the walk and its inputs stay as they were
            plan = DrivesMaker(Random(plan.sha), plan, self.pool).make()
        plan = with_live_numbers(plan)
        return replace(named(plan, name), sources=("walks/random.gait.yaml",))

    def _rule(self, index: int, everywhere: Sequence[str]) -> p.Rule:
        rng = self.rng
        return p.Rule(
            f"rule {index}",
            self.expr(1),
            self.expr(2) if rng.random() < 0.6 else None,
            self.hold(),
            rng.choice(everywhere) if rng.random() < 0.5 and not self.rushes else None,
        )


def without_empty_holds(plan: t.Plan) -> t.Plan:
    """Turn holds for samples of no signal, which a file may not have, into times."""

    def mended(guard: t.Guard) -> t.Guard:
        hold = guard.hold
        if hold is None or hold.samples is None or hold.signals:
            return guard
        return replace(guard, hold=replace(hold, ms=20, samples=None))

    return replace(plan, guards=tuple(mended(guard) for guard in plan.guards))


def named(plan: t.Plan, name: str) -> t.Plan:
    """Give a plan another name, which becomes its namespace."""
    return replace(plan, name=name, sha=name)


def random_plan(rng: Random, name: str = "walk", *, rushes: bool = False) -> tuple[t.Plan, list[list[float]]]:
    """Draw a plan, and for each signal the values near which something happens."""
    maker = PlanMaker(rng, rushes=rushes)
    plan = maker.make(name)
    pool = [list(near) for near in maker.pool]
    for setpoint in plan.setpoints:  # where a follower stands at the target, or at the end of a tolerance
        levels = [
            level_value(command.level, [parameter.value for parameter in plan.parameters])
            for sequence in plan.sequences
            for phase in sequence.phases
            for command in phase.commands
            if plan.setpoints[command.setpoint] is setpoint
        ]
        targets = {setpoint.start, *(min(max(x, setpoint.low), setpoint.high) for x in levels)}
        for follower in setpoint.followers:
            at = [f32(target + follower.offset) for target in sorted(targets)]
            pool[follower.signal] += [f32(x + rng.choice([-1, 1]) * wide) for x in at for wide in TOLERANCES]
    if plan.loops and Random(repr(plan.signals)).random() < 0.1:  # sums and products beyond all measure
        pool = [[*near, *ABSURD * len(near)] for near in pool]
    return plan, pool


def random_block(rng: Random, plan: t.Plan, pool: list[list[float]], ticks: int) -> TickBlock:
    """Draw inputs: values on and next to thresholds, silence, junk, resets, writes, a clock that wraps."""
    block = empty_block(ticks, len(plan.signals))
    now = rng.choice([0, 2**32 - 1000, 2**32 - 150, 12345])
    quiet = 0
    freshness = [rng.choice((0.2, 0.6, 0.9)) for _ in plan.signals]
    seldom = rng.random() < 0.3  # hardly any resets, so that counters and holds get on
    for row in range(ticks):
        now += rng.choice([10] * 12 + [0, 13, 90, 2**31]) if not seldom else 10
        block.now[row] = now % 2**32
        quiet = rng.randint(5, 30) if quiet == 0 and rng.random() < 0.05 else max(quiet - 1, 0)
        if not quiet:
            for column, signal in enumerate(plan.signals):
                if rng.random() < freshness[column]:
                    zero = 0.0 if signal.zero_from is None else plan.parameters[signal.zero_from].value
                    form, number = sample(rng, signal, pool[column], zero)
                    block.fresh[row, column], block.raw[row, column] = form, number
        block.events[row] = _bits(rng, len(plan.events), 0.15)
        block.switches[row] = _bits(rng, len(plan.switches), 0.6)
        block.control[row] = HEARD * (rng.random() < 0.5 and not quiet)
        if rng.random() < (0.002 if seldom else 0.02):
            block.control[row] |= RESET
    return as_live(plan, replace(block, writes=tuple(random_writes(rng, plan, ticks))))


def sample(rng: Random, signal: t.Signal, near: list[float], zero: float) -> tuple[int, float]:
    """Draw a sample in one of its forms, mostly near a value that matters."""
    kind = rng.random()
    if kind < 0.06:
        junk = rng.choice([np.nan, np.inf, -np.inf, 3.4e38, -3.4e38, 1e-45, -0.0])
        return rng.choice((FRESH_RAW, FRESH_VALUE)), float(np.float32(junk))
    value = np.float32(rng.choice(near) if kind < 0.8 else rng.uniform(-60, 60))
    if rng.random() < 0.5:
        return FRESH_VALUE, _beside(rng, value)
    counts = (float(value) + zero - signal.bias) / signal.gain
    raw = np.float32(max(-3.0e38, min(counts, 3.0e38)))
    return FRESH_RAW, _beside(rng, raw)


def _beside(rng: Random, value: np.float32) -> float:
    for _ in range(rng.choice([0, 0, 1, 2])):
        value = np.nextafter(value, np.float32(rng.choice([-1e30, 1e30])), dtype=np.float32)
    return float(value)


def _bits(rng: Random, count: int, chance: float) -> int:
    return sum(1 << bit for bit in range(count) if rng.random() < chance)


def random_writes(rng: Random, plan: t.Plan, ticks: int) -> list[ParameterWrite]:
    """Draw parameter writes in order, some of them to be refused."""
    rows = sorted(rng.randrange(ticks) for _ in range(rng.choice([0, 2, 8, 20]))) if plan.parameters else []
    writes = []
    for row in rows:
        index = rng.randrange(len(plan.parameters))
        limits = plan.parameters[index]
        odd = [limits.low, limits.high, limits.high + 1, -0.0, float("nan"), float("inf"), 1e300]
        inside = f32(rng.uniform(limits.low, limits.high))
        writes.append(ParameterWrite(row, index, rng.choice([inside, inside, rng.choice(odd)])))
    return writes
