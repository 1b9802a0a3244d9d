"""Numbers and situations in words."""

from sequencer.check.domains import Var
from sequencer.check.facts import Condition, Facts
from sequencer.check.solver import Values
from sequencer.check.subjects import listed
from sequencer.plan.tables import (
    Compare,
    Follow,
    InPhase,
    Leaf,
    Lost,
    OnEvent,
    OnSwitch,
    Parameter,
    Plan,
    Signal,
)
from sequencer.plan.words import number_words

MOST_VALUES = 6
_TRUTHS = {"event": " arrives", "lost": " lost", "remote": "remote lost"}


def parameters_said(facts: Facts, *conditions: Condition) -> str:
    """Say what the parameters behind some conditions stand at ("lean_angle at 15 deg"), or nothing."""
    found = (facts.plan.parameters[i] for i in facts.parameters_of(conditions))
    words = [f"{p.name} at {number_words(p.value, p.unit)}" for p in found]
    return listed(words) if words else ""


def example_words(plan: Plan, values: Values, *conditions: Condition) -> str:
    """Spell the values that show something, in the order in which the conditions ask for them."""
    order: dict[Var, None] = {}
    for condition in conditions:
        for node in condition.nodes:
            if node.kind == "leaf":
                order.update(dict.fromkeys(variables_of(plan, plan.leaves[node.arg])))
    order.update(dict.fromkeys(var for var in values if var[0] == "parameter"))
    words = [_value_words(plan, var, values[var]) for var in order if var in values]
    words = [word for word in words if word]
    if len(words) > MOST_VALUES:
        words = [*words[:MOST_VALUES], "..."]
    return ", ".join(words)


def variables_of(plan: Plan, leaf: Leaf) -> list[Var]:
    """List what a leaf looks at."""
    if isinstance(leaf, OnEvent):
        return [("event", leaf.event)]
    if isinstance(leaf, OnSwitch):
        return [("switch", leaf.switch)]
    if isinstance(leaf, Lost):
        return [("remote", 0) if leaf.signal is None else ("lost", leaf.signal)]
    if isinstance(leaf, InPhase):
        return [("phase", leaf.sequence)]
    if isinstance(leaf, Follow):
        return [("signal", f.signal) for f in plan.setpoints[leaf.setpoint].followers]
    return [(leaf.source, leaf.index)]


def _value_words(plan: Plan, var: Var, value: float | bool) -> str:
    """Spell one value; what does not happen is not worth a word."""
    kind, index = var
    if kind in _TRUTHS:
        name = (
            plan.signals[index].name if kind == "lost" else plan.events[index].name if kind == "event" else ""
        )
        return f"{name}{_TRUTHS[kind]}" if value else ""
    if kind == "switch":
        return f"{plan.switches[index].name} {'on' if value else 'off'}"
    if kind == "phase":
        sequence = plan.sequences[index]
        return f"{sequence.name} in {sequence.phases[int(value)].name}"
    if kind == "counter":
        return f"{plan.counters[index].name} {number_words(value, '')}"
    measured: Signal | Parameter = plan.parameters[index] if kind == "parameter" else plan.signals[index]
    trimmed = "trimmed to " if kind == "parameter" else ""
    return f"{measured.name} {trimmed}{number_words(value, measured.unit)}"


def limits_said(facts: Facts, leaf: Leaf, condition: Condition) -> str:
    """Say between what values that can move which a leaf looks at ("left_knee reads 0 to 60 mm")."""
    plan = facts.plan
    if isinstance(leaf, Compare) and leaf.source == "counter":
        name = plan.counters[leaf.index].name
        return (
            f"{name} counts from 0 to 65535"
            if leaf.index in facts.counted
            else f"no phase counts {name}: it stays 0"
        )
    if isinstance(leaf, Compare):
        return _span_said(plan, leaf.index)
    if isinstance(leaf, Follow):
        setpoint = plan.setpoints[leaf.setpoint]
        targets = facts.targets_in(leaf.setpoint, condition.sequence, condition.phase)
        aims = listed([number_words(low, setpoint.unit) for low, _ in targets])
        spans = listed([_offset_said(plan, f.signal, f.offset) for f in setpoint.followers])
        return f"{setpoint.name} is aimed at {aims} and {spans}"
    return ""


def _span_said(plan: Plan, index: int) -> str:
    signal = plan.signals[index]
    return f"{signal.name} reads {number_words(signal.low, '')} to {number_words(signal.high, signal.unit)}"


def _offset_said(plan: Plan, index: int, offset: float) -> str:
    stands = f" (standing {number_words(offset, plan.signals[index].unit)} off)" if offset else ""
    return _span_said(plan, index) + stands
