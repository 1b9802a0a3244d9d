"""Guards as C++ conditions: when a guard is certainly true, and when it is certainly false.

Kleene's logic needs no third value for that: ``not`` changes the two over, ``all`` is true if all parts are
and false if any part is, ``any`` the other way round; what is neither is unknown.
"""

import re
from dataclasses import dataclass, replace
from typing import Literal

from sequencer.generate.spelling import Spelling
from sequencer.plan.tables import (
    Compare,
    CompareOp,
    Follow,
    Guard,
    InPhase,
    Leaf,
    Level,
    Lost,
    OnEvent,
    OnSwitch,
    Plan,
)

_OPPOSITE: dict[CompareOp, CompareOp] = {
    "at_least": "below",
    "below": "at_least",
    "at_most": "above",
    "above": "at_most",
    "within": "outside",
    "outside": "within",
}


@dataclass(frozen=True, slots=True)
class Conditions:
    """When something is true, when it is false, and the signals that are known in either case.

    certain: it is always one or the other, never unknown.
    """

    true: str
    false: str
    known_if_true: frozenset[int] = frozenset()
    known_if_false: frozenset[int] = frozenset()
    certain: bool = False


class Truths:
    """Makes conditions; notes which helper functions they call in `uses`."""

    def __init__(self, plan: Plan, spelling: Spelling) -> None:
        self._plan = plan
        self._spelling = spelling
        self.uses: set[str] = set()

    def guard(self, guard: Guard, *, events: bool, false: bool = False) -> Conditions:
        """Give the conditions of a guard; of its latched comparisons the results so far have names.

        false: whether it is asked for where it can be unknown; only then are its helper functions noted.
        """
        stack: list[Conditions] = []
        for node in guard.nodes:
            if node.kind == "leaf":
                stack.append(self.leaf(node.arg, events=events))
            elif node.kind == "not":
                stack.append(_not(stack.pop()))
            else:
                parts = stack[-node.arg :]
                del stack[-node.arg :]
                stack.append(_all(parts) if node.kind == "all" else _any(parts))
        (of,) = stack
        result = replace(of, true=_bare(of.true), false=_bare(of.false))
        self.note(result.true)
        if false and not result.certain:
            self.note(result.false)
        return result

    def note(self, condition: str) -> None:
        """Note which comparing functions a condition calls."""
        self.uses.update(op for op in _OPPOSITE if re.search(rf"(?<!\w){op}\(s, ", condition))
        called = {"known": "known(s, ", "is_set": "is_set(", "is_in": "is_in("}
        self.uses.update(name for name, call in called.items() if call in condition)

    def leaf(self, index: int, *, events: bool) -> Conditions:
        """Give the conditions of a leaf."""
        leaf = self._plan.leaves[index]
        if not isinstance(leaf, Compare | Follow):
            return self._question(leaf, events)
        signals, known = self._signals(leaf), self.known(leaf)
        if leaf.latch is not None:
            name = latched(index)
            false = f"({known} && !{name})" if known else f"!{name}"
            return Conditions(name, false, signals, signals, certain=not known)
        return self.unlatched(index)

    def unlatched(self, index: int) -> Conditions:
        """Give the conditions of a comparison itself, by the threshold in force."""
        leaf = self._plan.leaves[index]
        assert isinstance(leaf, Compare | Follow)
        return self._compare(leaf) if isinstance(leaf, Compare) else self._follow(leaf)

    def level(self, normal: Level | None, released: Level | None, latch: int | None) -> str:
        """Spell the threshold in force."""
        assert normal is not None
        if latch is None or released is None or normal == released:
            return self._level(normal)
        return f"(s.latch[{latch}] ? {self._level(released)} : {self._level(normal)})"

    def _level(self, level: Level) -> str:
        if level.parameter is None:
            assert level.plus is not None
            return self._spelling.number(level.plus)
        sign = "-" if level.negated else ""
        text = f"{sign}s.parameter[{self._spelling.parameters[level.parameter]}]"
        return text if level.plus is None else f"{text} + {self._spelling.number(level.plus)}"

    def known(self, leaf: Compare | Follow) -> str:
        """Give the condition under which a comparison is known; empty if it always is."""
        names = [self._spelling.signals[i] for i in sorted(self._signals(leaf))]
        return " && ".join(f"known(s, {name})" for name in names)

    def _signals(self, leaf: Compare | Follow) -> frozenset[int]:
        if isinstance(leaf, Compare):
            return frozenset([leaf.index] if leaf.source == "signal" else [])
        return frozenset(f.signal for f in self._plan.setpoints[leaf.setpoint].followers)

    def _compare(self, leaf: Compare) -> Conditions:
        levels = []
        if leaf.low is not None:
            levels.append(self.level(leaf.low, leaf.release_low, leaf.latch))
        if leaf.high is not None:
            levels.append(self.level(leaf.high, leaf.release_high, leaf.latch))
        if leaf.source == "signal":
            given = ", ".join(["s", self._spelling.signals[leaf.index], *levels])
            signals = frozenset([leaf.index])
            return Conditions(f"{leaf.op}({given})", f"{_OPPOSITE[leaf.op]}({given})", signals, signals)
        given = f"count_of(s, {self._spelling.counters[leaf.index]})"
        return Conditions(
            f"({comparison(leaf.op, given, levels)})",
            f"({comparison(_OPPOSITE[leaf.op], given, levels)})",
            certain=True,
        )

    def _follow(self, leaf: Follow) -> Conditions:
        signals = self._signals(leaf)
        tolerance = self.level(leaf.tolerance, leaf.release, leaf.latch)
        name = self._spelling.setpoints[leaf.setpoint].removeprefix("setpoint_")
        text = f"{leaf.op}_{name}(s, {tolerance})"
        return Conditions(text, f"({self.known(leaf)} && !{text})", signals, signals)

    def _question(self, leaf: Leaf, events: bool) -> Conditions:
        spelling = self._spelling
        match leaf:
            case OnEvent():
                if not events:
                    return Conditions("false", "true", certain=True)
                return _bit("in.events", spelling.events[leaf.event])
            case OnSwitch():
                bit = _bit("in.switches", spelling.switches[leaf.switch])
                if not leaf.remote:
                    return bit
                heard = "((s.remote == is_seen) && {})"
                return Conditions(heard.format(bit.true), heard.format(bit.false))
            case Lost():
                where = "s.remote" if leaf.signal is None else f"s.seen[{spelling.signals[leaf.signal]}]"
                return _bit(where, "is_lost")
            case InPhase():
                member = f"s.phase{spelling.suffixes[leaf.sequence]}"
                phases = [spelling.phase(leaf.sequence, p) for p in leaf.phases]
                return Conditions(
                    _joined("||", [f"is_in({member}, {phase})" for phase in phases]),
                    _joined("&&", [f"!is_in({member}, {phase})" for phase in phases]),
                    certain=True,
                )
        raise AssertionError(leaf)


def latched(index: int) -> str:
    """Name the result of a latched comparison."""
    return f"c{index}"


def comparison(op: CompareOp, value: str, levels: list[str]) -> str:
    """Spell a comparison of a number with its one or two levels."""
    match op:
        case "at_least":
            return f"{value} >= {levels[0]}"
        case "above":
            return f"{value} > {levels[0]}"
        case "at_most":
            return f"{value} <= {levels[0]}"
        case "below":
            return f"{value} < {levels[0]}"
        case "within":
            return f"({value} >= {levels[0]}) && ({value} <= {levels[1]})"
        case "outside":
            return f"({value} < {levels[0]}) || ({value} > {levels[1]})"


def _bit(member: str, mask: str) -> Conditions:
    return Conditions(f"is_set({member}, {mask})", f"!is_set({member}, {mask})", certain=True)


def _joined(operator: Literal["&&", "||"], parts: list[str]) -> str:
    """Join conditions, each once, without those that change nothing."""
    decides, idle = ("false", "true") if operator == "&&" else ("true", "false")
    if decides in parts:
        return decides
    different = [part for part in dict.fromkeys(parts) if part != idle]
    if len(different) < 2:
        return different[0] if different else idle
    return f"({f' {operator} '.join(different)})"


def _bare(condition: str) -> str:
    """Take off the brackets around the whole of a condition."""
    if not condition.startswith("("):
        return condition
    depth = 0
    for place, character in enumerate(condition):
        depth += (character == "(") - (character == ")")
        if depth == 0:
            return condition[1:-1] if place == len(condition) - 1 else condition
    return condition


def _not(of: Conditions) -> Conditions:
    return Conditions(of.false, of.true, of.known_if_false, of.known_if_true, of.certain)


def _all(parts: list[Conditions]) -> Conditions:
    return Conditions(
        _joined("&&", [part.true for part in parts]),
        _joined("||", [part.false for part in parts]),
        frozenset().union(*(part.known_if_true for part in parts)),
        parts[0].known_if_false.intersection(*(part.known_if_false for part in parts)),
        all(part.certain for part in parts),
    )


def _any(parts: list[Conditions]) -> Conditions:
    return Conditions(
        _joined("||", [part.true for part in parts]),
        _joined("&&", [part.false for part in parts]),
        parts[0].known_if_true.intersection(*(part.known_if_true for part in parts)),
        frozenset().union(*(part.known_if_false for part in parts)),
        all(part.certain for part in parts),
    )
