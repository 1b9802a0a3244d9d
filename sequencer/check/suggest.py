"""YAML that would mend a finding, made from what the phase at fault commands."""

import math

from sequencer.plan.tables import Phase, Plan
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
            tolerance = number_words(rounded(SHARE * (setpoint.high - setpoint.low), 1), setpoint.unit)
            guard = f"{{at_target: {setpoint.name}, tolerance: {tolerance}}}"
            return f"{{to: {target}, when: {guard}, hold: 3 samples}}"
    event = plan.events[0].name if plan.events else "go"
    return f"{{to: {target}, when: {{event: {event}}}}}"


def timeout_for(plan: Plan, sequence: int, phase: int) -> str:
    """Write a timeout: twice the longest travel of what the phase commands, rounded up, to a stop phase."""
    phases = plan.sequences[sequence].phases
    stop = next((p.name for p in phases if p.stop is not None), "safe")
    return f"timeout: {{after: {_wait_s(plan, phases[phase])} s, to: {stop}}}"


def _wait_s(plan: Plan, phase: Phase) -> int:
    travels = []
    for command in phase.commands:
        setpoint = plan.setpoints[command.setpoint]
        if setpoint.rate is not None and setpoint.rate.parameter is None:
            travels.append((setpoint.high - setpoint.low) / setpoint.rate.per_second)
    return math.ceil(2 * max(travels)) if travels else USUAL_WAIT_S
