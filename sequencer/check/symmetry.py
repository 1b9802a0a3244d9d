"""Findings about left and right: names that differ in a word of a side, and what differs there.

What `mirror` made is equal by itself; what was written twice, or stands in the machine file, need not be.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Protocol, TypeVar

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.check.questions import Askers
from sequencer.plan.tables import (
    Compare,
    Exit,
    Follow,
    InPhase,
    Leaf,
    Level,
    Loop,
    Lost,
    OnEvent,
    OnSwitch,
    Output,
    Phase,
    Plan,
    Setpoint,
    Signal,
)
from sequencer.plan.tables import Sequence as Chain
from sequencer.plan.words import guard_words, hold_words, level_words, ms_words, number_words

# words of names that mean the two sides (common practice: left and right; l/r, f front, m middle, h hind)
SIDES = {"left": "right", "l": "r", "lf": "rf", "lm": "rm", "lh": "rh"}
_SWAPPED = {**SIDES, **{right: left for left, right in SIDES.items()}}
_TURNED = {"at_least": "at_most", "at_most": "at_least", "above": "below", "below": "above"}
Difference = tuple[str, str, str]  # what, on the one side, on the other


class _Named(Protocol):
    @property
    def name(self) -> str: ...

    @property
    def place(self) -> Place: ...


T = TypeVar("T", bound=_Named)


def swapped(name: str) -> str:
    """Return a name with its words of a side swapped; without such a word, the name itself."""
    return "_".join(_SWAPPED.get(word, word) for word in name.split("_"))


def check_symmetry(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold the left of each pair against the right."""
    del askers
    judge = _Judge(plan)
    findings = [
        *_pairs_of(plan.signals, judge.signals, "uneven-machine"),
        *_pairs_of(plan.setpoints, judge.setpoints, "uneven-machine"),
        *_pairs_of(plan.loops, judge.loops, "uneven-machine"),
        *_pairs_of(plan.outputs, judge.outputs, "uneven-machine"),
    ]
    for chain in plan.sequences:
        written = [phase for phase in chain.phases if not phase.mirrored_from]
        for one, other in _pairs(written):
            findings += _told(one, other, judge.phases(chain, one, chain, other), "uneven-walk")
    for left, right in _pairs(plan.sequences):
        others = {phase.name: phase for phase in right.phases}
        for phase in left.phases:
            twin = others.get(phase.name) or others.get(swapped(phase.name))
            if twin is not None:
                found = judge.phases(left, phase, right, twin)
                findings += _told(phase, twin, found, "uneven-walk", f"{left.name}.", f"{right.name}.")
    return findings


def _pairs(rows: Sequence[T]) -> Iterator[tuple[T, T]]:
    """Yield each left one with its right one, in document order."""
    by_name = {row.name: row for row in rows}
    for row in rows:
        other = by_name.get(swapped(row.name))
        if other is not None and any(word in SIDES for word in row.name.split("_")):
            yield row, other


def _pairs_of(rows: Sequence[T], differ: Callable[[T, T], list[Difference]], code: str) -> Iterator[Finding]:
    for left, right in _pairs(rows):
        yield from _told(left, right, differ(left, right), code)


def _told(
    left: _Named, right: _Named, found: list[Difference], code: str, before: str = "", after: str = ""
) -> Iterator[Finding]:
    if not found:
        return
    names = f"{before}{left.name} and {after}{right.name}"
    pairs = "; ".join(f"{what} {one} and {other}" for what, one, other in found[:4])
    yield Finding(
        code,
        Severity.WARNING,
        left.place,
        f"{names} differ: {pairs}",
        fix="make them alike, or write one side only and let `mirror` make the other"
        if code == "uneven-walk"
        else "make them alike: `for_each: {side: [left, right]}` writes both at once",
        notes=((right.place, f"{after}{right.name} stands here"),),
    )


class _Judge:
    """Compares the rows of one plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    def signals(self, left: Signal, right: Signal) -> list[Difference]:
        found = _different_span(left.low, left.high, right.low, right.high, left.unit)
        found += _unlike("every", _us(left.every_us), _us(right.every_us))
        found += _unlike("lost_after", _ms(left.lost_after_ms), _ms(right.lost_after_ms))
        noise = [number_words(row.noise, row.unit) for row in (left, right)]
        return found + _unlike("noise", noise[0], noise[1])

    def _number(self, loop: Loop, what: str) -> str:
        """Spell a number of a loop, or name the parameter that gives it."""
        times: int | None = getattr(loop, f"{what}_times", None)
        return _plain(getattr(loop, what)) if times is None else self.plan.parameters[times].name

    def setpoints(self, left: Setpoint, right: Setpoint) -> list[Difference]:
        found = _different_span(left.low, left.high, right.low, right.high, left.unit)
        return found + _unlike("rate", _rate(left), _rate(right))

    def loops(self, left: Loop, right: Loop) -> list[Difference]:
        found = []
        for what in ("kp", "bi", "bd", "dead_band", "integral_limit", "every_ticks", "fade_step"):
            one, other = self._number(left, what), self._number(right, what)
            if not _paired(one, other):
                name = {"bi": "ki", "bd": "kd"}.get(what, what.removesuffix("_ticks").removesuffix("_step"))
                found.append((name, one, other))
        return found + _different_span(left.low, left.high, right.low, right.high, "")

    def outputs(self, left: Output, right: Output) -> list[Difference]:
        found = _different_span(left.low, left.high, right.low, right.high, "")
        for what in ("slew_step", "holds_unpowered"):
            one, other = getattr(left, what), getattr(right, what)
            if one != other:
                found.append((what.removesuffix("_step"), _plain(one), _plain(other)))
        one, other = self._cap(left), self._cap(right)
        return found if _paired(one, other) else [*found, ("cap", one, other)]

    def _cap(self, output: Output) -> str:
        """Spell an output's cap, or name the parameter that gives it."""
        return _plain(output.cap) if output.cap_from is None else self.plan.parameters[output.cap_from].name

    def phases(self, one: Chain, left: Phase, two: Chain, right: Phase) -> list[Difference]:
        """Compare two phases; their ways out are compared in order."""
        found: list[Difference] = []
        found += _unlike("timeout", _after(left), _after(right))
        if len(left.exits) != len(right.exits):
            found.append(("guards", str(len(left.exits)), str(len(right.exits))))
            return found
        for here, there in zip(left.exits, right.exits, strict=True):
            found += self._ways(one, here, two, there)
        return found

    def _ways(self, one: Chain, here: Exit, two: Chain, there: Exit) -> list[Difference]:
        to, other_to = one.phases[here.to].name, two.phases[there.to].name
        # in a crawl one leg's phase leads to the next leg, and the last one's on to something without a side
        both_sides = to != swapped(to) and other_to != swapped(other_to)
        if both_sides and other_to not in {to, swapped(to)}:
            return [("the way", f"to {to}", f"to {other_to}")]
        left, right = self.plan.guards[here.guard], self.plan.guards[there.guard]
        found = _unlike("holds", hold_words(left.hold) or "no hold", hold_words(right.hold) or "no hold")
        kinds = [[(n.kind, n.arg if n.kind != "leaf" else 0) for n in guard.nodes] for guard in (left, right)]
        alike = kinds[0] == kinds[1] and all(
            self._alike(self.plan.leaves[a], self.plan.leaves[b])
            for a, b in zip(left.leaves, right.leaves, strict=True)
        )
        if not alike:
            words = [f"'{guard_words(self.plan, guard)}'" for guard in (here.guard, there.guard)]
            found.append(("guards", words[0], words[1]))
        return found

    def _alike(self, left: Leaf, right: Leaf) -> bool:
        """Tell whether a comparison is another one's like, or its mirror image."""
        if type(left) is not type(right):
            return False
        if isinstance(left, Compare) and isinstance(right, Compare):
            return self._alike_compare(left, right)
        if isinstance(left, Follow) and isinstance(right, Follow):
            names = [self.plan.setpoints[leaf.setpoint].name for leaf in (left, right)]
            return left.op == right.op and _paired(*names) and _equal(left.tolerance, right.tolerance)
        return self._alike_question(left, right)

    def _alike_compare(self, left: Compare, right: Compare) -> bool:
        if left.source != right.source:
            return False
        rows: Sequence[_Named] = self.plan.signals if left.source == "signal" else self.plan.counters
        if not _paired(rows[left.index].name, rows[right.index].name):
            return False
        same = left.op == right.op and self._levels(left) == self._levels(right)
        turned = _TURNED.get(left.op, left.op) == right.op and self._levels(left) == self._negated(right)
        return same or turned

    def _levels(self, leaf: Compare) -> list[str]:
        levels = (leaf.low, leaf.high, leaf.release_low, leaf.release_high)
        return [level_words(self.plan, level, "") for level in levels if level is not None]

    def _negated(self, leaf: Compare) -> list[str]:
        ranges = (leaf.high, leaf.low, leaf.release_high, leaf.release_low)
        turned = [
            Level(
                None if level.plus is None else 0.0 - level.plus,
                level.parameter,
                not level.negated if level.parameter is not None else False,
            )
            for level in ranges
            if level is not None
        ]
        return [level_words(self.plan, level, "") for level in turned]

    def _alike_question(self, left: Leaf, right: Leaf) -> bool:
        plan = self.plan
        if isinstance(left, OnEvent) and isinstance(right, OnEvent):
            return _paired(plan.events[left.event].name, plan.events[right.event].name)
        if isinstance(left, OnSwitch) and isinstance(right, OnSwitch):
            return _paired(plan.switches[left.switch].name, plan.switches[right.switch].name)
        if isinstance(left, Lost) and isinstance(right, Lost):
            if left.signal is None or right.signal is None:
                return left.signal == right.signal
            return _paired(plan.signals[left.signal].name, plan.signals[right.signal].name)
        return isinstance(left, InPhase) and isinstance(right, InPhase)


def _paired(one: str, other: str) -> bool:
    return other in {one, swapped(one)}


def _equal(one: Level, other: Level) -> bool:
    return one == other


def _different_span(
    low: float, high: float, other_low: float, other_high: float, unit: str
) -> list[Difference]:
    """Spans may be alike, or mirror images."""
    if (low, high) in {(other_low, other_high), (-other_high, -other_low)}:
        return []
    return [
        (
            "span",
            f"{number_words(low, '')} to {number_words(high, unit)}",
            f"{number_words(other_low, '')} to {number_words(other_high, unit)}",
        )
    ]


def _unlike(what: str, one: str, other: str) -> list[Difference]:
    return [(what, one, other)] if one != other else []


def _rate(setpoint: Setpoint) -> str:
    return number_words(setpoint.rate.per_second, f"{setpoint.unit}/s") if setpoint.rate else "none"


def _after(phase: Phase) -> str:
    return _ms(phase.timeout.after_ms if phase.timeout else None)


def _us(us: int | None) -> str:
    return "every tick" if us is None else f"{us / 1000:g} ms"


def _ms(ms: int | None) -> str:
    return "never" if ms is None else ms_words(ms)


def _plain(x: object) -> str:
    return f"{x:.6g}" if isinstance(x, float) else str(x)
