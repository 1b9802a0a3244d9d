"""Guards, levels and causes in plain words, for comments, diagrams, findings and reports."""

from typing import NamedTuple

from sequencer.plan.tables import (
    Compare,
    Follow,
    Hold,
    InPhase,
    Level,
    Lost,
    Node,
    OnEvent,
    OnSwitch,
    Plan,
)

_COMPARE = {
    "at_least": "at least",
    "at_most": "at most",
    "above": "above",
    "below": "below",
    "within": "within",
    "outside": "outside",
}
_OPPOSITES = {
    "at_least": "below",
    "at_most": "above",
    "above": "at most",
    "below": "at least",
    "within": "outside",
    "outside": "within",
}


class _Verbs(NamedTuple):
    """The verbs of a clause."""

    single: str
    several: str
    has: str
    have: str
    comes: str


_NOW = _Verbs("is", "are", "has", "have", "comes")
_WAS = _Verbs("was", "were", "had", "had", "came")
_WAS_NOT = _Verbs("was not", "were not", "had not", "had not", "did not come")


def number_words(value: float, unit: str) -> str:
    """Spell a number with its unit, short: ``15 deg``."""
    return f"{value:.6g} {unit}".strip()


def level_words(plan: Plan, level: Level, unit: str) -> str:
    """Spell a level: ``15 deg``, ``lean_angle``, ``-lean_angle - 2 deg``."""
    if level.parameter is None:
        assert level.plus is not None
        return number_words(level.plus, unit)
    name = ("-" if level.negated else "") + plan.parameters[level.parameter].name
    if level.plus is None:
        return name
    sign = "-" if level.plus < 0 else "+"
    return f"{name} {sign} {number_words(abs(level.plus), unit)}"


def ms_words(ms: int) -> str:
    """Spell a duration: ``200 ms``, ``5 s``."""
    return f"{ms / 1000:.10g} s" if ms >= 1000 else f"{ms} ms"


def leaf_words(plan: Plan, leaf_index: int) -> str:
    """Spell one leaf as a clause: ``left_knee is above 5 mm``."""
    return _clause(plan, leaf_index, _NOW)


def fact_words(plan: Plan, leaf_index: int, *, true: bool) -> str:
    """Spell what a leaf was found to be in a tick: ``left_knee was above 5 mm``, ``motors was off``."""
    leaf = plan.leaves[leaf_index]
    if true:
        return _clause(plan, leaf_index, _WAS)
    if isinstance(leaf, OnSwitch):
        return f"{plan.switches[leaf.switch].name} was off"
    if isinstance(leaf, Compare):  # below its threshold it is below its release too: no word about that
        level = _range_words(plan, leaf.low, leaf.high, leaf.unit)
        return f"{_compared(plan, leaf)} was {_OPPOSITES[leaf.op]} {level}"
    return _clause(plan, leaf_index, _WAS_NOT)


def _clause(plan: Plan, leaf_index: int, verbs: _Verbs) -> str:
    leaf = plan.leaves[leaf_index]
    if isinstance(leaf, Compare):
        return _compare_words(plan, leaf, verbs)
    if isinstance(leaf, Follow):
        return _follow_words(plan, leaf, verbs)
    if isinstance(leaf, OnEvent):
        return f"{plan.events[leaf.event].name} {verbs.comes}"
    if isinstance(leaf, OnSwitch):
        return f"{plan.switches[leaf.switch].name} {verbs.single} on"
    if isinstance(leaf, Lost):
        name = "the remote" if leaf.signal is None else plan.signals[leaf.signal].name
        return f"{name} {verbs.single} lost"
    assert isinstance(leaf, InPhase)
    sequence = plan.sequences[leaf.sequence]
    phases = " or ".join(sequence.phases[i].name for i in leaf.phases)
    return f"{sequence.name} {verbs.single} in {phases}"


def _opposite_words(plan: Plan, leaf_index: int) -> str | None:
    """Spell what `not` says of a leaf where there is a plain word for it."""
    leaf = plan.leaves[leaf_index]
    text = leaf_words(plan, leaf_index)
    if isinstance(leaf, OnSwitch):
        return text.removesuffix("on") + "off"
    if isinstance(leaf, OnEvent):
        return text.removesuffix("comes") + "does not come"
    if isinstance(leaf, Lost | InPhase):
        return text.replace(" is ", " is not ", 1)
    return None


def _compared(plan: Plan, leaf: Compare) -> str:
    return (plan.signals if leaf.source == "signal" else plan.counters)[leaf.index].name


def _compare_words(plan: Plan, leaf: Compare, verbs: _Verbs) -> str:
    level = _range_words(plan, leaf.low, leaf.high, leaf.unit)
    text = f"{_compared(plan, leaf)} {verbs.single} {_COMPARE[leaf.op]} {level}"
    if leaf.latch is not None:
        text += f" (until {_release_words(plan, leaf)})"
    return text


def _range_words(plan: Plan, low: Level | None, high: Level | None, unit: str) -> str:
    return " to ".join(level_words(plan, level, unit) for level in (low, high) if level is not None)


def _release_words(plan: Plan, leaf: Compare) -> str:
    level = _range_words(plan, leaf.release_low, leaf.release_high, leaf.unit)
    past = {
        "at_least": "below",
        "above": "not above",
        "at_most": "above",
        "below": "not below",
        "within": "outside",
        "outside": "within",
    }
    return f"{past[leaf.op]} {level}"


def _follow_words(plan: Plan, leaf: Follow, verbs: _Verbs) -> str:
    setpoint = plan.setpoints[leaf.setpoint]
    names = " and ".join(plan.signals[f.signal].name for f in setpoint.followers)
    verb = verbs.have if len(setpoint.followers) > 1 else verbs.has
    be = verbs.several if len(setpoint.followers) > 1 else verbs.single
    tolerance = level_words(plan, leaf.tolerance, leaf.unit)
    if leaf.op == "reached":
        text = f"{names} {verb} come within {tolerance} of {setpoint.name} or past it"
    else:
        text = f"{names} {be} within {tolerance} of {setpoint.name}"
    if leaf.release is not None:
        text += f" (until {level_words(plan, leaf.release, leaf.unit)} off)"
    return text


def nodes_words(plan: Plan, nodes: tuple[Node, ...]) -> str:
    """Spell a postfix expression as one sentence; parts of a mixed one stand in brackets."""
    stack: list[tuple[str, str]] = []  # text, how it is joined
    for before, node in zip((None, *nodes), nodes, strict=False):
        if node.kind == "leaf":
            stack.append((leaf_words(plan, node.arg), ""))
        elif node.kind == "not":
            text, joint = stack.pop()
            plain = _opposite_words(plan, before.arg) if before and before.kind == "leaf" else None
            stack.append((plain, "") if plain else (f"not ({text})" if joint else f"not: {text}", "not"))
        else:
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            if len(parts) == 1:
                stack.append(parts[0])
                continue
            word = "and" if node.kind == "all" else "or"
            texts = [f"({text})" if joint not in {"", word} else text for text, joint in parts]
            stack.append((f" {word} ".join(texts), word))
    return stack[-1][0]


def hold_words(hold: Hold | None) -> str:
    """Spell a hold: ``for 200 ms``, ``for 3 fresh samples``, or nothing."""
    if hold is None:
        return ""
    if hold.ms is not None:
        return f"for {ms_words(hold.ms)}"
    return f"for {hold.samples} fresh sample{'s' if hold.samples != 1 else ''}"


def guard_words(plan: Plan, guard_index: int) -> str:
    """Spell a guard with its hold: ``left_knee is above 5 mm, for 3 fresh samples``."""
    guard = plan.guards[guard_index]
    hold = hold_words(guard.hold)
    return nodes_words(plan, guard.nodes) + (f", {hold}" if hold else "")


def exit_words(plan: Plan, sequence: int, phase: int, exit_index: int) -> str:
    """Spell a way out of a phase: ``to lift_left when ...``."""
    phases = plan.sequences[sequence].phases
    way = phases[phase].exits[exit_index]
    return f"to {phases[way.to].name} when {guard_words(plan, way.guard)}"


def rule_words(plan: Plan, rule_index: int) -> str:
    """Spell a rule: ``while left_knee is above 5 mm, left_leg_roll is above 8 deg``."""
    rule = plan.rules[rule_index]
    nodes = plan.guards[rule.guard].nodes
    must = nodes_words(plan, nodes[rule.must_from : rule.must_to])
    if rule.must_from == 0:
        return must
    return f"while {nodes_words(plan, nodes[: rule.must_from])}: {must}"


def given_unit(plan: Plan, loop: int) -> str:
    """Give the unit of a loop's correction: bare for an output, else that of the loops it adds to."""
    targets = (other.unit for other in plan.loops for adds in other.inputs if adds.loop == loop)
    return next(targets, "")
