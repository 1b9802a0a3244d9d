"""YAML that would mend a finding, made from what the phase at fault commands."""

import math

from sequencer.base.findings import Edit
from sequencer.plan.tables import Compare, Follow, Phase, Plan, Setpoint, Signal
from sequencer.plan.words import number_words

SHARE = 0.05  # tolerance proposed, as a share of the setpoint's span
USUAL_WAIT_S = 5


def rounded(x: float, digits: int = 2) -> float:
    """Round to a few digits, so that a proposal reads as one."""
    return float(f"{x:.{digits}g}")


def way_out(plan: Plan, sequence: int, phase: int, to: int) -> str:
    """Write a way out of a phase: when what it commands has arrived, else when the operator says go."""
    phases = plan.sequences[sequence].phases
    target = phases[to].name
    for command in phases[phase].commands:
        setpoint = plan.setpoints[command.setpoint]
        if setpoint.followers:
            return f"{{to: {target}, when: {_arrived(setpoint)}, hold: 3 samples}}"
    guard = f"{{event: {plan.events[0].name}}}" if plan.events else "..."
    return f"{{to: {target}, when: {guard}}}"


def near_target(setpoint: Setpoint) -> str:
    """Write a guard that asks whether the signals have come near a setpoint's target, or past it."""
    return f"{{reached: {setpoint.name}, short_by: {_share_of_span(setpoint)}}}"


def _share_of_span(setpoint: Setpoint) -> str:
    return number_words(rounded(SHARE * (setpoint.high - setpoint.low), 1), setpoint.unit)


def _arrived(setpoint: Setpoint) -> str:
    return f"{{at_target: {setpoint.name}, tolerance: {_share_of_span(setpoint)}}}"


def halt_entry(plan: Plan, stop: str) -> str:
    """Write an `anywhere` entry by which the operator stops the machine."""
    halts = [event.name for event in plan.events if "halt" in event.name or "stop" in event.name]
    guard = f"{{event: {halts[0] if halts else 'halt'}}}"
    if not halts and plan.switches:
        guard = f"{{not: {{switch: {plan.switches[0].name}}}}}"
    return f"- {{to: {stop}, when: {guard}}}"


def mended(plan: Plan, leaf_index: int, *, never: bool) -> str:
    """Write a comparison that is `never` (or else always) true anew, so that it tells something."""
    leaf = plan.leaves[leaf_index]
    if isinstance(leaf, Follow):
        if never:
            return "command a target that the signals can come to, or widen their span in the machine file"
        return f"a tolerance that tells something, such as `{_arrived(plan.setpoints[leaf.setpoint])}`"
    if isinstance(leaf, Compare) and leaf.source == "signal":
        return _threshold(plan.signals[leaf.index], leaf.op)
    if isinstance(leaf, Compare):
        name = plan.counters[leaf.index].name
        return f"`count: {name}` in the phase that it should count, or another threshold"
    return "ask for something that can change"


def _threshold(signal: Signal, op: str) -> str:
    width = signal.high - signal.low
    low, high = (number_words(rounded(signal.low + share * width), signal.unit) for share in (0.25, 0.75))
    threshold = {"at_least": high, "above": high, "at_most": low, "below": low}.get(op, f"[{low}, {high}]")
    span = f"{number_words(signal.low, '')} and {number_words(signal.high, '')}"
    return f"a threshold between {span}, such as `{{signal: {signal.name}, {op}: {threshold}}}`"


def timeout_for(plan: Plan, sequence: int, phase: int) -> str:
    """Write a timeout: twice the longest travel of what the phase commands, rounded up, to a stop phase."""
    phases = plan.sequences[sequence].phases
    return f"timeout: {_timeout(_wait_s(plan, phases[phase]), _stop_phase(plan, sequence) or 'safe')}"


def timeout_edit(plan: Plan, sequence: int, phase: int) -> tuple[Edit, ...]:
    """Write the same timeout as an edit; none if the sequence has no stop phase yet.

    A mirror image has no place of its own: the phase that it is the image of stands for both.
    """
    row, stop = plan.sequences[sequence].phases[phase], _stop_phase(plan, sequence)
    if not stop or row.mirrored_from:
        return ()
    wait_s = _wait_s(plan, row)
    return (Edit(row.place, "timeout", _timeout(wait_s, stop), (0, 1000.0 * wait_s), at_key=True),)


def _stop_phase(plan: Plan, sequence: int) -> str:
    return next((p.name for p in plan.sequences[sequence].phases if p.stop is not None), "")


def _timeout(after_s: int, to: str) -> str:
    return f"{{after: {after_s} s, to: {to}}}"


def _wait_s(plan: Plan, phase: Phase) -> int:
    travels = []
    for command in phase.commands:
        setpoint = plan.setpoints[command.setpoint]
        if setpoint.rate is not None and setpoint.rate.parameter is None:
            travels.append((setpoint.high - setpoint.low) / setpoint.rate.per_second)
    return math.ceil(2 * max(travels)) if travels else USUAL_WAIT_S
