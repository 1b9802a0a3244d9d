"""A guard as two unions of boxes: where it is true and where it is false (elsewhere it is unknown).

`all`, `any` and `not` are three-valued (Kleene), so both sides are carried along. If parameters are
trimmed, thresholds are ranges and both sides are drawn too large: empty stays a proof of "never".
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import chain

from sequencer.base.binary32 import f32
from sequencer.check.domains import (
    EVERY_NUMBER,
    MOST_BOXES,
    NO,
    YES,
    Box,
    Domain,
    Interval,
    TooManyBoxesError,
    Var,
    above,
    at_least,
    at_most,
    below,
    closed,
    is_empty,
    meet,
    meet_unions,
    whole,
)
from sequencer.check.facts import Condition, Facts, Range
from sequencer.plan.tables import (
    Compare,
    Follow,
    Guard,
    Hold,
    InPhase,
    Leaf,
    Level,
    Lost,
    Node,
    OnEvent,
    OnSwitch,
    Plan,
)

Union = list[Box]
Sides = tuple[Union, Union]  # where true, where false
REMOTE: Var = ("remote", 0)  # the remote is lost


@dataclass
class Truths:
    """Turns conditions into boxes over the variables of `full`, which holds each one's whole domain."""

    facts: Facts
    full: dict[Var, Domain] = field(default_factory=dict)
    _latch_numbers: dict[object, int] = field(default_factory=dict)
    _sides: dict[Condition, Sides | None] = field(default_factory=dict)

    def sides(self, condition: Condition) -> Sides:
        """Return where a condition is true and where it is false. Raises TooManyBoxesError."""
        if condition not in self._sides:
            try:
                self._sides[condition] = self._work_out(condition)
            except TooManyBoxesError:
                self._sides[condition] = None
        sides = self._sides[condition]
        if sides is None:
            raise TooManyBoxesError
        return sides

    def _work_out(self, condition: Condition) -> Sides:
        stack: list[Sides] = []
        fires = firing_leaves(condition)
        for position, node in enumerate(condition.nodes):
            if node.kind == "leaf":
                leaf = self.facts.plan.leaves[node.arg]
                stack.append(self._leaf(leaf, condition, latches=position not in fires))
                continue
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            stack.append(_combine(node.kind, parts))
        return stack[-1]

    def _leaf(self, leaf: Leaf, condition: Condition, *, latches: bool) -> Sides:
        if isinstance(leaf, OnEvent):
            return self._choice(("event", leaf.event), YES, ())
        if isinstance(leaf, OnSwitch):
            return self._choice(("switch", leaf.switch), YES, (REMOTE,) if leaf.remote else ())
        if isinstance(leaf, Lost):
            return self._choice(REMOTE if leaf.signal is None else ("lost", leaf.signal), YES, ())
        if isinstance(leaf, InPhase):
            return self._in_phase(leaf, condition)
        base = self._compared(leaf, condition, released=False)
        if leaf.latch is None or not latches or not base[0]:
            return base
        wide = self._compared(leaf, condition, released=True)
        return self._latched(leaf, condition, base, wide)

    def _choice(self, var: Var, mask: int, known_by: tuple[Var, ...], every: int = NO | YES) -> Sides:
        """Make a truth that is true for the choices in `mask`, and known only while none of `known_by` is."""
        self.full[var] = every
        known: Box = {}
        for lost in known_by:
            self.full[lost] = NO | YES
            known[lost] = NO
        true, false = mask & every, every & ~mask
        return [{**known, var: true}] if true else [], [{**known, var: false}] if false else []

    def _in_phase(self, leaf: InPhase, condition: Condition) -> Sides:
        wanted = sum(1 << phase for phase in leaf.phases)
        if leaf.sequence == condition.sequence and condition.phase is not None:
            here = bool(wanted & (1 << condition.phase))
            return ([{}], []) if here else ([], [{}])
        every = (1 << len(self.facts.plan.sequences[leaf.sequence].phases)) - 1
        return self._choice(("phase", leaf.sequence), wanted, (), every)

    def _latched(self, leaf: Compare | Follow, condition: Condition, base: Sides, wide: Sides) -> Sides:
        """Add the latch: while it is on, the release threshold counts.

        Two equal comparisons of one phase are always looked at together, so they share their latch.
        """
        scope = (condition.sequence, condition.phase, condition.watched)
        words = tuple(getattr(leaf, name) for name in leaf.__slots__ if name not in ("latch", "place"))
        number = self._latch_numbers.setdefault((scope, type(leaf), words), len(self._latch_numbers))
        var: Var = ("latch", number)
        self.full[var] = NO | YES
        true, false = (
            [{**box, var: NO} for box in off] + [{**box, var: YES} for box in on]
            for off, on in zip(base, wide, strict=True)
        )
        return true, false

    def _compared(self, leaf: Compare | Follow, condition: Condition, *, released: bool) -> Sides:
        if isinstance(leaf, Compare):
            return self._compare(leaf, released=released)
        return self._follow(leaf, condition, released=released)

    def _compare(self, leaf: Compare, *, released: bool) -> Sides:
        var: Var = (leaf.source, leaf.index)
        known = self._known(leaf)
        low = self._range(leaf.release_low if released else leaf.low)
        high = self._range(leaf.release_high if released else leaf.high)
        true, false = _intervals(leaf.op, low, high)
        full = self.full[var]
        return self._boxes(var, true, full, known), self._boxes(var, false, full, known)

    def _known(self, leaf: Compare) -> Box:
        """Enter the domain of what is compared; return the box in which it is known."""
        plan = self.facts.plan
        if leaf.source == "counter":
            self.full["counter", leaf.index] = closed(0, 65535 if leaf.index in self.facts.counted else 0)
            return {}
        return self._know_signal(leaf.index, plan.signals[leaf.index].lost_after_ms is not None)

    def _know_signal(self, signal: int, can_be_lost: bool) -> Box:
        self.full["signal", signal] = closed(*self.facts.reads(signal))
        if not can_be_lost:
            return {}
        self.full["lost", signal] = NO | YES
        return {("lost", signal): NO}

    def _range(self, level: Level | None) -> Range:
        return (0.0, 0.0) if level is None else self.facts.level(level)

    @staticmethod
    def _boxes(var: Var, intervals: list[Interval], full: Domain, known: Box) -> Union:
        boxes = []
        for interval in intervals:
            domain = meet(interval, full)
            if var[0] == "counter" and isinstance(domain, Interval) and not is_empty(domain):
                domain = whole(domain)
            if not is_empty(domain):
                boxes.append({**known, var: domain})
        return boxes

    def _follow(self, leaf: Follow, condition: Condition, *, released: bool) -> Sides:
        plan, setpoint = self.facts.plan, leaf.setpoint
        known: Box = {}
        for follower in plan.setpoints[setpoint].followers:
            can_be_lost = plan.signals[follower.signal].lost_after_ms is not None
            known.update(self._know_signal(follower.signal, can_be_lost))
        tolerance = self.facts.level(leaf.release if released and leaf.release else leaf.tolerance)
        targets = self.facts.targets_in(setpoint, condition.sequence, condition.phase)
        aims = [(target, side) for target in targets for side in self.facts.sides(setpoint, target)]
        ways = aims if leaf.op == "reached" else [(target, 0) for target in targets]
        self.full["aim", setpoint] = (1 << len(aims)) - 1
        true: Union = []
        false: Union = []
        for target, side in ways:
            chosen = [
                i
                for i, aim in enumerate(aims)
                if aim == (target, side) or (leaf.op != "reached" and aim[0] == target)
            ]
            held = (
                known
                if len(chosen) == len(aims)
                else {**known, ("aim", setpoint): sum(1 << i for i in chosen)}
            )
            near, far = self._near(setpoint, side, target, tolerance, held)
            true += near
            false += far
        return true, false

    def _near(self, setpoint: int, side: int, target: Range, tolerance: Range, held: Box) -> Sides:
        """Bound every follower by target + offset -+ tolerance, on the sides that count."""
        near: Union = [held]
        far: Union = []
        for follower in self.facts.plan.setpoints[setpoint].followers:
            var: Var = ("signal", follower.signal)
            full = self.full[var]
            first, last = (f32(t + follower.offset) for t in target)
            inside, outside = EVERY_NUMBER, []
            if side >= 0:  # rising or at target: not short of it
                inside = at_least(first - tolerance[1])
                outside.append(below(last - tolerance[0]))
            if side <= 0:
                inside = _both(inside, at_most(last + tolerance[1]))
                outside.append(above(first + tolerance[0]))
            near = meet_unions(near, self._boxes(var, [inside], full, {}))
            far += self._boxes(var, outside, full, held)
        return near, far


def _both(a: Interval, b: Interval) -> Interval:
    common = meet(a, b)
    assert isinstance(common, Interval)
    return common


def _intervals(op: str, low: Range, high: Range) -> tuple[list[Interval], list[Interval]]:
    """Return where a comparison may be true and where it may be false, for thresholds within ranges."""
    if op == "at_least":
        return [at_least(low[0])], [below(low[1])]
    if op == "above":
        return [above(low[0])], [at_most(low[1])]
    if op == "at_most":
        return [at_most(high[1])], [above(high[0])]
    if op == "below":
        return [below(high[1])], [at_least(high[0])]
    within = [closed(low[0], high[1])], [below(low[1]), above(high[0])]
    if op == "within":
        return within
    return [below(low[1]), above(high[0])], [closed(low[0], high[1])]


def _combine(kind: str, parts: list[Sides]) -> Sides:
    if kind == "not":
        return parts[0][1], parts[0][0]
    alike, opposite = (0, 1) if kind == "all" else (1, 0)
    common = parts[0][alike]
    for part in parts[1:]:
        common = meet_unions(common, part[alike])
    either = list(chain.from_iterable(part[opposite] for part in parts))
    if len(either) > MOST_BOXES:
        raise TooManyBoxesError
    return (common, either) if kind == "all" else (either, common)


def firing_leaves(condition: Condition) -> set[int]:
    """Return the positions of leaves whose truth alone makes a guard fire at once.

    Once such a comparison was true the phase was left, so its latch is never on when it is looked at and
    its release never counts.
    """
    if not condition.fires_at_once:
        return set()
    firing: set[int] = set()
    heads = [len(condition.nodes) - 1]  # positions whose truth is the guard's truth
    starts = operand_starts(condition.nodes)
    while heads:
        position = heads.pop()
        node = condition.nodes[position]
        if node.kind == "leaf":
            firing.add(position)
        elif node.kind == "any" or (node.kind == "all" and node.arg == 1):
            heads += operand_heads(starts, position, node.arg)
    return firing


def operand_starts(nodes: tuple[Node, ...]) -> list[int]:
    """Return for each position of a postfix formula where the part that ends there begins."""
    starts: list[int] = []
    open_parts: list[int] = []
    for position, node in enumerate(nodes):
        if node.kind == "leaf":
            open_parts.append(position)
        else:
            del open_parts[len(open_parts) - node.arg + 1 :]
        starts.append(open_parts[-1])
    return starts


def operand_heads(starts: list[int], position: int, count: int) -> list[int]:
    """Return the last positions of the operands of the combination at `position`, in document order."""
    heads = []
    head = position - 1
    for _ in range(count):
        heads.append(head)
        head = starts[head] - 1
    return heads[::-1]


def losses_asked(plan: Plan, conditions: Iterable[Condition]) -> set[Var]:
    """Return which losses conditions ask about with `lost`."""
    leaves = (plan.leaves[node.arg] for c in conditions for node in c.nodes if node.kind == "leaf")
    asked = (leaf.signal for leaf in leaves if isinstance(leaf, Lost))
    return {REMOTE if signal is None else ("lost", signal) for signal in asked}


def outlasts_tick(hold: Hold | None) -> bool:
    """Tell whether a hold can't be met in the first tick in which its guard is true."""
    return hold is not None and ((hold.ms or 0) > 0 or (hold.samples or 0) > 1)


def operators_alone(plan: Plan, guard: Guard) -> bool:
    """Tell whether events and switches can make a guard fire whatever is measured.

    Everything else counts as unknown, which is what the three-valued rules are for; so do events if there
    is a hold, because they last one tick.
    """
    stack: list[Sides] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(_operated(plan.leaves[node.arg], with_events=not outlasts_tick(guard.hold)))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        stack.append(_combine(node.kind, parts))
    return bool(stack[-1][0])


def _operated(leaf: Leaf, *, with_events: bool) -> Sides:
    if isinstance(leaf, OnEvent) and with_events:
        return [{("event", leaf.event): YES}], [{("event", leaf.event): NO}]
    if isinstance(leaf, OnSwitch):
        return [{("switch", leaf.switch): YES}], [{("switch", leaf.switch): NO}]
    return [], []
