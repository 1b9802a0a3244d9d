"""Findings about what phases leave behind: targets by route, jumps, commands that nobody awaits."""

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases, may_stay
from sequencer.check.facts import Facts, Range
from sequencer.check.questions import Askers
from sequencer.check.subjects import listed, phase_name
from sequencer.check.suggest import near_target
from sequencer.check.travel import Travels, followed_by
from sequencer.plan.tables import Compare, Follow, Phase, Plan
from sequencer.plan.words import number_words

# setpoint's target in a phase, and the phase from which it came there
Arrival = tuple[Range, int]


def check_leftovers(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge what each phase takes over from the phases before it, and what it commands for nobody."""
    facts, travels = askers.present.facts, askers.usual_travels
    findings = [*_jumps(plan, facts), *_follows_two(plan)]
    for sequence in range(len(plan.sequences)):
        own = [i for i, row in enumerate(plan.setpoints) if row.owner == sequence]
        for setpoint in own:
            findings += _route_dependent(facts, sequence, setpoint)
        findings += _not_awaited(facts, travels, sequence)
    return findings


def _jumps(plan: Plan, facts: Facts) -> list[Finding]:
    findings = []
    for index, setpoint in enumerate(plan.setpoints):
        low, high = facts.travel(index)
        if setpoint.rate is None and setpoint.followers and high > low:
            way = number_words(high - low, setpoint.unit)
            findings.append(
                Finding(
                    "jump",
                    Severity.WARNING,
                    setpoint.place,
                    f"{setpoint.name} has no rate: it jumps by up to {way} in one tick, and what moves "
                    f"{plan.signals[setpoint.followers[0].signal].name} jumps with it",
                    fix=f"rate: {way}/s, so that this takes a second",
                )
            )
    return findings


def _follows_two(plan: Plan) -> list[Finding]:
    """Find signals that follow several setpoints which phases command."""
    findings = []
    for index, signal in enumerate(plan.signals):
        led = [
            row
            for row in plan.setpoints
            if row.owner is not None and any(f.signal == index for f in row.followers)
        ]
        if len(led) > 1:
            names = listed([row.name for row in led])
            findings.append(
                Finding(
                    "follows-two",
                    Severity.WARNING,
                    led[1].place,
                    f"{signal.name} follows {names}: it cannot be where all of them are going",
                    fix=f"name it under `followed_by` of {led[0].name} only",
                    notes=((signal.place, f"{signal.name} is declared here"),),
                )
            )
    return findings


def _route_dependent(facts: Facts, sequence: int, setpoint: int) -> list[Finding]:
    """Find phases that a setpoint enters with different targets, depending on where the walk comes from.

    Ways into and out of stop phases are left out: a stop may come at any moment, and what it leaves is meant.
    """
    plan = facts.plan
    phases, row = plan.sequences[sequence].phases, plan.setpoints[setpoint]
    arrivals: list[dict[Range, int]] = [{} for _ in phases]
    start: Range = (row.start, row.start)
    todo: list[tuple[int, Range, int]] = [(0, start, 0)]
    while todo:
        phase, aim, came_from = todo.pop()
        if aim in arrivals[phase] or len(arrivals[phase]) > 1:
            continue
        arrivals[phase][aim] = came_from
        own = [c.level for c in phases[phase].commands if c.setpoint == setpoint]
        leaving = facts.target(setpoint, own[-1]) if own else aim
        if phases[phase].stop is None:
            onward = [to for to in _ways(phases[phase]) if phases[to].stop is None]
            todo += [(to, leaving, phase) for to in onward]
    findings = []
    for phase, found in enumerate(arrivals):
        commands = any(c.setpoint == setpoint for c in phases[phase].commands)
        parted_here = len(set(found.values())) > 1  # else the phase before is the one to name
        if parted_here and not commands and setpoint not in phases[phase].keep:
            findings.append(_depends(plan, sequence, phase, setpoint, list(found.items())))
    return findings


def _ways(phase: Phase) -> list[int]:
    return [way.to for way in phase.exits] + ([phase.timeout.to] if phase.timeout is not None else [])


def _depends(plan: Plan, sequence: int, phase: int, setpoint: int, found: list[Arrival]) -> Finding:
    row = plan.setpoints[setpoint]
    told = [
        f"{number_words(aim[0], row.unit)} by way of {phase_name(plan, sequence, came_from)}"
        for aim, came_from in found[:2]
    ]
    return Finding(
        "route-dependent",
        Severity.WARNING,
        plan.sequences[sequence].phases[phase].place,
        f"in {phase_name(plan, sequence, phase)}, where {row.name} goes depends on the route: "
        f"{' and '.join(told)}",
        fix=f"set {row.name} here, or say that it is meant: `keep: {row.name}`",
    )


def _not_awaited(facts: Facts, travels: Travels, sequence: int) -> list[Finding]:
    """Find commands whose way is not awaited: the phase goes on while the joint may still be moving."""
    plan = facts.plan
    findings = []
    for phase in sorted(entered_phases(plan, sequence)):
        row = plan.sequences[sequence].phases[phase]
        onward = [way for way in row.exits if plan.sequences[sequence].phases[way.to].stop is None]
        if may_stay(row) or not onward:
            continue
        asked = {s for way in onward for s in _asked_setpoints(plan, way.guard)}
        for command in row.commands:
            setpoint = plan.setpoints[command.setpoint]
            stand = travels.at_entry(command.setpoint, phase)
            aim = facts.target(command.setpoint, command.level)
            if command.setpoint in asked or not setpoint.followers or stand is None or stand.aim == aim:
                continue
            target = number_words(aim[0], setpoint.unit)
            findings.append(
                Finding(
                    "not-awaited",
                    Severity.NOTE,
                    command.place,
                    f"{phase_name(plan, sequence, phase)} sends {setpoint.name} to {target}, and none of its "
                    f"guards asks whether it has come there",
                    fix=f"ask for it as well, under `all`: `{near_target(setpoint)}`",
                )
            )
    return findings


def _asked_setpoints(plan: Plan, guard: int) -> set[int]:
    """Return the setpoints that a guard asks about, by themselves or by a signal that follows them."""
    found = set()
    for index in plan.guards[guard].leaves:
        leaf = plan.leaves[index]
        if isinstance(leaf, Follow):
            found.add(leaf.setpoint)
        elif isinstance(leaf, Compare) and leaf.source == "signal":
            found |= {setpoint for setpoint, _ in followed_by(plan, leaf)}
    return found
