"""Plans written by hand, so that tests of a tick need no file and can also hold what a file may not.

    plan = make_plan(
        signals=[signal("tilt", lost_after_ms=100)],
        sequences={"walk": [
            Phase("rest", leave=[("go", above("tilt", 5), hold_ms(30))]),
            Phase("go"),
        ]},
    )

Thresholds and targets are numbers, or Level(...). Guards are built from `above(...)`, `event(...)`,
`all_of(...)` and so on; names are resolved when the plan is made.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from sequencer.base.binary32 import load_f32
from sequencer.base.places import NOWHERE
from sequencer.plan import tables as t
from sequencer.plan.dump import meaning_hash

Number = float | t.Level


@dataclass(frozen=True)
class Expr:
    """A guard before its names are resolved: a leaf maker, or parts that are combined."""

    kind: Literal["leaf", "all", "any", "not"]
    parts: tuple["Expr", ...] = ()
    leaf: Callable[["_Maker"], t.Leaf] | None = None


HoldSpec = tuple[Literal["ms", "samples"], int] | None


def hold_ms(ms: int) -> HoldSpec:
    return ("ms", ms)


def hold_samples(count: int) -> HoldSpec:
    return ("samples", count)


@dataclass(frozen=True)
class Phase:
    name: str
    leave: Sequence[tuple[str, Expr] | tuple[str, Expr, HoldSpec]] = ()
    timeout: tuple[int, str] | None = None
    set: Mapping[str, Number] = field(default_factory=dict)
    stop: Literal[0, 1, 2] | None = None
    rest: bool = False
    count: Sequence[str] = ()
    reset: Sequence[str] = ()
    pulse: Sequence[str] = ()


@dataclass(frozen=True)
class Rule:
    name: str
    must: Expr
    when: Expr | None = None  # the `while` of a file
    hold: HoldSpec = None
    to: str | None = None


# -- what a machine has ------------------------------------------------------------------------------------


def signal(name: str, **changes: Any) -> t.Signal:
    plain = t.Signal(name, "deg", 1.0, 0.0, -45.0, 45.0, None, 0.0, None, None, False, NOWHERE)
    return replace(plain, **changes)


def setpoint(
    name: str,
    *,
    step: float | None = None,
    times: int | None = None,
    followers: Sequence[tuple[int, float]] = (),
    **changes: Any,
) -> t.Setpoint:
    rate = None if step is None else t.Rate(load_f32(step), times, step * 100)
    follow = tuple(t.Follower(index, load_f32(offset)) for index, offset in followers)
    return replace(
        t.Setpoint(name, "deg", -20.0, 20.0, 0.0, rate, follow, None, NOWHERE),
        **changes,
    )


def parameter(name: str, value: float, low: float = -100.0, high: float = 100.0) -> t.Parameter:
    return t.Parameter(name, "deg", load_f32(value), load_f32(low), load_f32(high), NOWHERE)


# -- guards ------------------------------------------------------------------------------------------------


def _level(x: Number | None) -> t.Level | None:
    return t.Level(load_f32(x)) if isinstance(x, int | float) else x


def compare(
    op: t.CompareOp,
    name: str,
    low: Number | None = None,
    high: Number | None = None,
    release_low: Number | None = None,
    release_high: Number | None = None,
) -> Expr:
    def make(maker: "_Maker") -> t.Leaf:
        source: Literal["signal", "counter"] = "signal" if name in maker.signals else "counter"
        where = maker.signals if source == "signal" else maker.counters
        releases = release_low is not None or release_high is not None
        return t.Compare(
            op, source, where[name], _level(low), _level(high), _level(release_low), _level(release_high),
            maker.new_latch() if releases else None, maker.units.get(name, ""), NOWHERE,
        )  # fmt: skip

    return Expr("leaf", leaf=make)


def at_least(name: str, low: Number, release: Number | None = None) -> Expr:
    return compare("at_least", name, low=low, release_low=release)


def above(name: str, low: Number, release: Number | None = None) -> Expr:
    return compare("above", name, low=low, release_low=release)


def at_most(name: str, high: Number, release: Number | None = None) -> Expr:
    return compare("at_most", name, high=high, release_high=release)


def below(name: str, high: Number, release: Number | None = None) -> Expr:
    return compare("below", name, high=high, release_high=release)


def within(name: str, low: Number, high: Number, release: tuple[Number, Number] | None = None) -> Expr:
    return compare("within", name, low, high, *(release or (None, None)))


def outside(name: str, low: Number, high: Number, release: tuple[Number, Number] | None = None) -> Expr:
    return compare("outside", name, low, high, *(release or (None, None)))


def _follow(op: t.FollowOp, name: str, tolerance: Number, release: Number | None) -> Expr:
    def make(maker: "_Maker") -> t.Leaf:
        latch = None if release is None else maker.new_latch()
        level = _level(tolerance)
        assert level is not None
        return t.Follow(op, maker.setpoints[name], level, _level(release), latch, maker.units[name], NOWHERE)

    return Expr("leaf", leaf=make)


def reached(name: str, short_by: Number, release: Number | None = None) -> Expr:
    return _follow("reached", name, short_by, release)


def at_target(name: str, tolerance: Number, release: Number | None = None) -> Expr:
    return _follow("at_target", name, tolerance, release)


def event(name: str) -> Expr:
    return Expr("leaf", leaf=lambda maker: t.OnEvent(maker.events[name], NOWHERE))


def switch(name: str, *, remote: bool = False) -> Expr:
    return Expr("leaf", leaf=lambda maker: t.OnSwitch(maker.switches[name], remote, NOWHERE))


def lost(name: str | None) -> Expr:
    """`None` is the remote."""
    return Expr("leaf", leaf=lambda maker: t.Lost(None if name is None else maker.signals[name], NOWHERE))


def in_phase(sequence: str, *phases: str) -> Expr:
    def make(maker: "_Maker") -> t.Leaf:
        index = list(maker.sequences).index(sequence)
        numbers = tuple(maker.phase(sequence, name) for name in phases)
        return t.InPhase(index, numbers, NOWHERE)

    return Expr("leaf", leaf=make)


def all_of(*parts: Expr) -> Expr:
    return Expr("all", parts)


def any_of(*parts: Expr) -> Expr:
    return Expr("any", parts)


def not_(part: Expr) -> Expr:
    return Expr("not", (part,))


# -- making the plan ---------------------------------------------------------------------------------------


def _numbers(things: Sequence[Any]) -> dict[str, int]:
    return {thing.name if hasattr(thing, "name") else thing: i for i, thing in enumerate(things)}


class _Maker:
    """Resolves names and hands out latch and hold slots."""

    def __init__(
        self, machine: Mapping[str, Sequence[Any]], sequences: Mapping[str, Sequence[Phase]]
    ) -> None:
        self.signals = _numbers(machine["signals"])
        self.setpoints = _numbers(machine["setpoints"])
        self.counters = _numbers(machine["counters"])
        self.events = _numbers(machine["events"])
        self.switches = _numbers(machine["switches"])
        self.pulses = _numbers(machine["pulses"])
        self.sequences = sequences
        self.units = {thing.name: thing.unit for k in ("signals", "setpoints") for thing in machine[k]}
        self.followers = [s.followers for s in machine["setpoints"]]
        self.leaves: list[t.Leaf] = []
        self.guards: list[t.Guard] = []
        self.latch = self.hold = 0

    def phase(self, sequence: str, name: str) -> int:
        return [p.name for p in self.sequences[sequence]].index(name)

    def everywhere(self, name: str) -> tuple[int, ...]:
        return tuple(self.phase(sequence, name) for sequence in self.sequences)

    def new_latch(self) -> int:
        self.latch += 1
        return self.latch - 1

    def nodes(self, expr: Expr) -> list[t.Node]:
        if expr.leaf is not None:
            self.leaves.append(expr.leaf(self))
            return [t.Node("leaf", len(self.leaves) - 1)]
        inner = [node for part in expr.parts for node in self.nodes(part)]
        return [*inner, t.Node(expr.kind, len(expr.parts))]

    def guard(self, expr: Expr, hold: HoldSpec = None) -> int:
        return self.guard_of(self.nodes(expr), hold)

    def guard_of(self, nodes: list[t.Node], hold: HoldSpec) -> int:
        leaves = tuple(node.arg for node in nodes if node.kind == "leaf")
        slot = None
        if hold is not None:
            kind, amount = hold
            ms, samples = (amount, None) if kind == "ms" else (None, amount)
            signals = self._compared(leaves) if samples is not None else ()
            slot = t.Hold(self.hold, ms, samples, signals)
            self.hold += 1
        self.guards.append(t.Guard(len(self.guards), tuple(nodes), leaves, slot, NOWHERE))
        return len(self.guards) - 1

    def _compared(self, leaves: Sequence[int]) -> tuple[int, ...]:
        found: dict[int, None] = {}
        for leaf in (self.leaves[i] for i in leaves):
            if isinstance(leaf, t.Compare) and leaf.source == "signal":
                found[leaf.index] = None
            elif isinstance(leaf, t.Follow):
                found |= dict.fromkeys(f.signal for f in self.followers[leaf.setpoint])
        return tuple(sorted(found))


def _phase(maker: _Maker, sequence: str, phase: Phase) -> t.Phase:
    exits = []
    for to, expr, *hold in phase.leave:
        guard = maker.guard(expr, hold[0] if hold else None)
        exits.append(t.Exit(guard, maker.phase(sequence, to), NOWHERE))
    timeout = None
    if phase.timeout is not None:
        timeout = t.Timeout(phase.timeout[0], maker.phase(sequence, phase.timeout[1]), NOWHERE)
    commands = []
    for name, target in phase.set.items():
        level = _level(target)
        assert level is not None
        commands.append(t.Command(maker.setpoints[name], level, NOWHERE))
    return t.Phase(
        name=phase.name, about="", rest=phase.rest, stop=phase.stop, commands=tuple(commands), keep=(),
        count=tuple(maker.counters[n] for n in phase.count),
        reset=tuple(maker.counters[n] for n in phase.reset),
        pulse=tuple(maker.pulses[n] for n in phase.pulse),
        exits=tuple(exits), timeout=timeout, never_because="", mirrored_from="", place=NOWHERE,
    )  # fmt: skip


def _sequence(maker: _Maker, name: str, phases: Sequence[Phase]) -> t.Sequence:
    first_latch, first_hold = maker.latch, maker.hold
    most_latches, most_holds = first_latch, first_hold
    made = []
    for phase in phases:  # the phases of a sequence share its slots
        maker.latch, maker.hold = first_latch, first_hold
        made.append(_phase(maker, name, phase))
        most_latches, most_holds = max(most_latches, maker.latch), max(most_holds, maker.hold)
    maker.latch, maker.hold = most_latches, most_holds
    return t.Sequence(
        name,
        tuple(made),
        first_latch,
        most_latches - first_latch,
        first_hold,
        most_holds - first_hold,
        NOWHERE,
    )


def _rule(maker: _Maker, rule: Rule) -> t.Rule:
    before = [] if rule.when is None else maker.nodes(rule.when)
    must = maker.nodes(rule.must)
    nodes = [*before, *must, t.Node("not", 1)]
    if before:
        nodes.append(t.Node("all", 2))
    guard = maker.guard_of(nodes, rule.hold)
    to = None if rule.to is None else maker.everywhere(rule.to)
    return t.Rule(rule.name, guard, len(before), len(before) + len(must), to, False, NOWHERE)


def _owner(sequences: Mapping[str, Sequence[Phase]], uses: Callable[[Phase], bool]) -> int | None:
    for index, phases in enumerate(sequences.values()):
        if any(uses(phase) for phase in phases):
            return index
    return None


def make_plan(
    sequences: Mapping[str, Sequence[Phase]],
    *,
    signals: Sequence[t.Signal] = (),
    setpoints: Sequence[t.Setpoint] = (),
    parameters: Sequence[t.Parameter] = (),
    events: Sequence[str] = ("go", "halt"),
    switches: Sequence[str] = ("motors",),
    counters: Sequence[str] = (),
    pulses: Sequence[str] = (),
    remote: t.Remote | None = None,
    anywhere: Sequence[tuple[str, Expr] | tuple[str, Expr, HoldSpec]] = (),
    rules: Sequence[Rule] = (),
    loops: Sequence[t.Loop] = (),
    outputs: Sequence[t.Output] = (),
    tick_ms: int = 10,
) -> t.Plan:
    """Make a plan; names are resolved, latch and hold slots handed out."""
    machine: dict[str, Sequence[Any]] = {
        "signals": signals, "setpoints": setpoints, "counters": counters,
        "events": events, "switches": switches, "pulses": pulses,
    }  # fmt: skip
    maker = _Maker(machine, sequences)
    entries = tuple(
        t.Anywhere(maker.guard(expr, hold[0] if hold else None), maker.everywhere(to), NOWHERE)
        for to, expr, *hold in anywhere
    )
    judged = tuple(_rule(maker, rule) for rule in rules)
    made = tuple(_sequence(maker, name, phases) for name, phases in sequences.items())
    owned = tuple(
        replace(s, owner=_owner(sequences, lambda p, name=s.name: name in p.set)) for s in setpoints
    )
    plan = t.Plan(
        name="by_hand", about="", machine="by_hand", tick_ms=tick_ms, signals=tuple(signals),
        events=tuple(t.Name(n, NOWHERE) for n in events),
        switches=tuple(t.Name(n, NOWHERE) for n in switches),
        remote=remote, setpoints=owned, parameters=tuple(parameters),
        counters=tuple(
            t.Counter(n, _owner(sequences, lambda p, n=n: n in p.count or n in p.reset), NOWHERE)
            for n in counters
        ),
        pulses=tuple(t.Name(n, NOWHERE) for n in pulses), leaves=tuple(maker.leaves),
        guards=tuple(maker.guards), sequences=made, anywhere=entries, rules=judged,
        loops=tuple(loops), outputs=tuple(outputs),
        latches=maker.latch, holds=maker.hold, sources=(),
    )  # fmt: skip
    return replace(plan, sha=meaning_hash(plan))
