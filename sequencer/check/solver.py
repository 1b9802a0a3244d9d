"""The same questions put to an SMT solver (z3): linear arithmetic over reals, whole numbers and truths.

Used where boxes do not do: thresholds that move together with a trimmed parameter, or very many parts.
Reals are not binary32; a guard that is true in a single rounding step only may be judged the other way.
Each query is bounded by the solver's own count of steps, not by time, so that a finding does not depend
on the machine's speed.
"""

from dataclasses import dataclass
from typing import Any

from sequencer.check.domains import Var
from sequencer.check.facts import Condition, Facts
from sequencer.check.truth import REMOTE, firing_leaves, losses_asked
from sequencer.plan.compared import signals_compared
from sequencer.plan.tables import Compare, Follow, InPhase, Leaf, Level, Lost, OnEvent, OnSwitch

MOST_STEPS = 2_000_000
DIGITS = (-1, 0, 1, 2, 3)  # decimals tried for example values, coarse first

Values = dict[Var, float | bool]
Expr = Any  # z3 has no types to speak of
Sides = tuple[Expr, Expr]


@dataclass(frozen=True, slots=True)
class Undecided:
    """The solver gave up within its bound; `reason` is what it said."""

    reason: str


class Prover:
    """One solver for one plan; variables and their bounds are entered when they first occur."""

    def __init__(self, facts: Facts, most_steps: int = MOST_STEPS) -> None:
        import z3

        self.z3 = z3
        self.facts = facts
        self.context = z3.Context()
        self.solver = z3.Solver(ctx=self.context)
        self.solver.set("rlimit", most_steps)
        self.vars: dict[Var, Expr] = {}
        self._parameters: dict[int, Expr] = {}
        self._aims: dict[tuple[int, int | None, int | None], tuple[Expr, Expr]] = {}
        self._latches: dict[object, Expr] = {}
        self._sides: dict[Condition, Sides] = {}

    def find(
        self, must: tuple[Condition, ...], must_not: tuple[Condition, ...], *, nothing_lost: bool
    ) -> Values | Undecided | None:
        """Find values for which all of `must` are true and none of `must_not` is; None if there are none."""
        z3 = self.z3
        wanted = [self.sides(condition)[0] for condition in must]
        wanted += [z3.Not(self.sides(condition)[0]) for condition in must_not]
        if nothing_lost:
            asked = losses_asked(self.facts.plan, (*must, *must_not))
            lost = {var for var in self.vars if var[0] in ("lost", "remote")}
            wanted += [z3.Not(self.vars[var]) for var in sorted(lost - asked)]
        self.solver.push()
        try:
            self.solver.add(*wanted)
            verdict = self.solver.check()
            if verdict == z3.unsat:
                return None
            if verdict == z3.unknown:
                return Undecided(self.solver.reason_unknown())
            return self._example()
        finally:
            self.solver.pop()

    def sides(self, condition: Condition) -> Sides:
        """Return the formulas for "is true" and "is false" of a condition (three-valued)."""
        if condition not in self._sides:
            self._sides[condition] = self._work_out(condition)
        return self._sides[condition]

    def _work_out(self, condition: Condition) -> Sides:
        z3 = self.z3
        fires = firing_leaves(condition)
        stack: list[Sides] = []
        for position, node in enumerate(condition.nodes):
            if node.kind == "leaf":
                leaf = self.facts.plan.leaves[node.arg]
                stack.append(self._leaf(leaf, condition, latches=position not in fires))
                continue
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            if node.kind == "not":
                stack.append((parts[0][1], parts[0][0]))
                continue
            alike, opposite = (z3.And, z3.Or) if node.kind == "all" else (z3.Or, z3.And)
            stack.append((alike(*(t for t, _ in parts)), opposite(*(f for _, f in parts))))
        return stack[-1]

    def _example(self) -> Values:
        """Read the model, moving each number to one with few digits as long as the rest still agrees."""
        z3 = self.z3
        named = {**self.vars, **{("parameter", i): expr for i, expr in self._parameters.items()}}
        counts = [expr for var, expr in named.items() if var[0] == "counter"]
        for expr in counts:
            self._pin_least(expr)
        values: Values = {}
        for var, expr in named.items():
            if not z3.is_bool(expr) and not z3.is_int(expr):
                values[var] = self._pin_short(expr)
        model = self.solver.model()  # only now, as each number that was moved may have moved the rest
        for var, expr in named.items():
            value = model.eval(expr, model_completion=True)
            if z3.is_bool(expr):
                values[var] = bool(z3.is_true(value))
            elif z3.is_int(expr):
                values[var] = float(value.as_long())
        return values

    def _pin_short(self, expr: Expr) -> float:
        """Fix a number at one with few digits, or where it is; the solver has a model before and after."""
        value = self.solver.model().eval(expr, model_completion=True)
        number = float(value.as_fraction())
        for digits in DIGITS:
            tried = expr == self.number(round(number, digits))
            if self.solver.check(tried) == self.z3.sat:
                self.solver.add(tried)
                self.solver.check()
                return round(number, digits)
        self.solver.add(expr == value)
        self.solver.check()
        return number

    def _pin_least(self, count: Expr) -> None:
        """Fix a counter at the least value that the rest allows, as far as the solver can tell."""
        low, high = 0, self.solver.model().eval(count, model_completion=True).as_long()
        while low < high:
            middle = (low + high) // 2
            if self.solver.check(count <= middle) == self.z3.sat:
                high = self.solver.model().eval(count, model_completion=True).as_long()
            else:
                low = middle + 1
        self.solver.add(count == high)
        self.solver.check()

    def number(self, x: float) -> Expr:
        """Return a number as an exact rational."""
        top, bottom = x.as_integer_ratio()
        return self.z3.Q(top, bottom, ctx=self.context)

    def _real(self, name: str, low: float, high: float) -> Expr:
        expr = self.z3.Real(name, ctx=self.context)
        self.solver.add(expr >= self.number(low), expr <= self.number(high))
        return expr

    def _truth(self, var: Var) -> Expr:
        if var not in self.vars:
            self.vars[var] = self.z3.Bool(f"{var[0]} {var[1]}", ctx=self.context)
        return self.vars[var]

    def _signal(self, index: int) -> Expr:
        var: Var = ("signal", index)
        if var not in self.vars:
            self.vars[var] = self._real(f"signal {index}", *self.facts.reads(index))
        return self.vars[var]

    def _counter(self, index: int) -> Expr:
        var: Var = ("counter", index)
        if var not in self.vars:
            expr = self.z3.Int(f"counter {index}", ctx=self.context)
            self.solver.add(expr >= 0, expr <= (65535 if index in self.facts.counted else 0))
            self.vars[var] = expr
        return self.z3.ToReal(self.vars[var])

    def level(self, level: Level) -> Expr:
        """Return a level; with trimmed parameters it depends on them."""
        if level.parameter is None or not self.facts.trimmed:
            return self.number(self.facts.level(level)[0])
        if level.parameter not in self._parameters:
            parameter = self.facts.plan.parameters[level.parameter]
            name = f"parameter {level.parameter}"
            self._parameters[level.parameter] = self._real(name, parameter.low, parameter.high)
        value = self._parameters[level.parameter]
        return (-value if level.negated else value) + self.number(level.plus or 0.0)

    def _aim(self, setpoint: int, condition: Condition) -> tuple[Expr, Expr]:
        """Return a setpoint's target, and the value it had when the phase was entered."""
        key = (setpoint, condition.sequence, condition.phase)
        if key not in self._aims:
            z3, bounds = self.z3, self.facts.plan.setpoints[setpoint]
            target = self._real(f"target {key}", bounds.low, bounds.high)
            entry = self._real(f"entry {key}", *self.facts.travel(setpoint))
            low, high = self.number(bounds.low), self.number(bounds.high)
            levels = [self.level(x) for x in self.facts.levels_in(*key)]
            clamped = [z3.If(x < low, low, z3.If(x > high, high, x)) for x in levels]
            self.solver.add(z3.Or(*(target == x for x in clamped)))
            self._aims[key] = target, entry
        return self._aims[key]

    def _leaf(self, leaf: Leaf, condition: Condition, *, latches: bool) -> Sides:
        z3 = self.z3
        if isinstance(leaf, OnEvent):
            event = self._truth(("event", leaf.event))
            return event, z3.Not(event)
        if isinstance(leaf, OnSwitch):
            switch = self._truth(("switch", leaf.switch))
            known = z3.Not(self._truth(REMOTE)) if leaf.remote else z3.BoolVal(True, ctx=self.context)
            return z3.And(known, switch), z3.And(known, z3.Not(switch))
        if isinstance(leaf, Lost):
            lost = self._truth(REMOTE if leaf.signal is None else ("lost", leaf.signal))
            return lost, z3.Not(lost)
        if isinstance(leaf, InPhase):
            there = self._in_phase(leaf, condition)
            return there, z3.Not(there)
        if isinstance(leaf, Compare):
            base, known = self._compare(leaf, released=False), self._known(leaf)
        else:
            base, known = self._follow(leaf, condition, released=False), self._known(leaf)
        if leaf.latch is not None and latches:
            base = self._latched(leaf, condition, base)
        return z3.And(known, base), z3.And(known, z3.Not(base))

    def _in_phase(self, leaf: InPhase, condition: Condition) -> Expr:
        z3 = self.z3
        if leaf.sequence == condition.sequence and condition.phase is not None:
            return z3.BoolVal(condition.phase in leaf.phases, ctx=self.context)
        var: Var = ("phase", leaf.sequence)
        if var not in self.vars:
            expr = z3.Int(f"phase {leaf.sequence}", ctx=self.context)
            self.solver.add(expr >= 0, expr < len(self.facts.plan.sequences[leaf.sequence].phases))
            self.vars[var] = expr
        return z3.Or(*(self.vars[var] == phase for phase in leaf.phases))

    def _known(self, leaf: Compare | Follow) -> Expr:
        signals = signals_compared(leaf, self.facts.plan.setpoints)
        can_be_lost = [i for i in signals if self.facts.plan.signals[i].lost_after_ms is not None]
        known = [self.z3.Not(self._truth(("lost", i))) for i in can_be_lost]
        return self.z3.And(self.z3.BoolVal(True, ctx=self.context), *known)

    def _latched(self, leaf: Compare | Follow, condition: Condition, base: Expr) -> Expr:
        """While the latch is on the release counts; it can only ever be on if the threshold can be met."""
        z3 = self.z3
        if isinstance(leaf, Compare):
            wide = self._compare(leaf, released=True)
        else:
            wide = self._follow(leaf, condition, released=True)
        words = tuple(getattr(leaf, name) for name in leaf.__slots__ if name not in ("latch", "place"))
        key = (condition.sequence, condition.phase, condition.watched, type(leaf), words)
        if key not in self._latches:
            latch = z3.Bool(f"latch {len(self._latches)}", ctx=self.context)
            if self.solver.check(base) == z3.unsat:
                self.solver.add(z3.Not(latch))
            self._latches[key] = latch
        return z3.If(self._latches[key], wide, base)

    def _compare(self, leaf: Compare, *, released: bool) -> Expr:
        z3 = self.z3
        value = self._signal(leaf.index) if leaf.source == "signal" else self._counter(leaf.index)
        low_level, high_level = (leaf.release_low, leaf.release_high) if released else (leaf.low, leaf.high)
        low = self.level(low_level) if low_level is not None else None
        high = self.level(high_level) if high_level is not None else None
        if leaf.op == "at_least":
            return value >= low
        if leaf.op == "above":
            return value > low
        if leaf.op == "at_most":
            return value <= high
        if leaf.op == "below":
            return value < high
        within = z3.And(value >= low, value <= high)
        return within if leaf.op == "within" else z3.Not(within)

    def _follow(self, leaf: Follow, condition: Condition, *, released: bool) -> Expr:
        z3 = self.z3
        target, entry = self._aim(leaf.setpoint, condition)
        tolerance = self.level(leaf.release if released and leaf.release else leaf.tolerance)
        parts = []
        for follower in self.facts.plan.setpoints[leaf.setpoint].followers:
            e = self._signal(follower.signal) - (target + self.number(follower.offset))
            not_short, not_over = e >= -tolerance, e <= tolerance
            if leaf.op == "reached":
                parts.append(z3.And(z3.Or(target < entry, not_short), z3.Or(target > entry, not_over)))
            else:
                parts.append(z3.And(not_short, not_over))
        return z3.And(*parts)
