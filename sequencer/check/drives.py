"""Findings about motors: what drops when a stop takes the power away, and supplies that nothing watches."""

import math
from collections.abc import Iterator

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases, may_stay
from sequencer.check.facts import Facts
from sequencer.check.questions import Askers
from sequencer.check.subjects import exits_of, listed, phase_name
from sequencer.plan.tables import Compare, Plan
from sequencer.plan.unpowered import setpoints_behind, unpowered_in
from sequencer.plan.words import number_words

ABOVE_LEAST = 1.03  # a threshold proposed, over the supply under which outputs are cut


def check_drives(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge what becomes of the outputs in stop phases and with an empty battery."""
    return [*_drops(plan), *_unsaid(plan), *_supplies(askers.present.facts)]


def _drops(plan: Plan) -> Iterator[Finding]:
    """Find stop phases that take the power from what sinks without it, where it stands."""
    for sequence, row in enumerate(plan.sequences):
        for index in sorted(entered_phases(plan, sequence)):
            phase = row.phases[index]
            off = unpowered_in(plan, phase)
            if off is None or not off.sinks:
                continue
            brought = {command.setpoint for command in phase.commands}
            left = {
                output: [s for s in setpoints_behind(plan, output) if _is_its(plan, s, sequence)]
                for output in off.sinks
            }
            falls = [i for i, s in left.items() if phase.stop == 0 or (s and not brought.intersection(s))]
            if falls:
                yield _drop(plan, sequence, index, falls, [s for i in falls for s in left[i]])


def _is_its(plan: Plan, setpoint: int, sequence: int) -> bool:
    return plan.setpoints[setpoint].owner in {None, sequence}


def _drop(plan: Plan, sequence: int, index: int, outputs: list[int], setpoints: list[int]) -> Finding:
    phase = plan.sequences[sequence].phases[index]
    names = listed([plan.outputs[i].name for i in outputs])
    rows = [plan.setpoints[s] for s in dict.fromkeys(setpoints)]
    down = ", ".join(f"{row.name}: {number_words(row.start, row.unit)}" for row in rows)
    first = "" if phase.stop == 1 else "`stop: 1` and "
    when = "at once" if phase.stop == 0 else "and leaves what it moves where it stands"
    return Finding(
        "limb-drops",
        Severity.WARNING,
        phase.place,
        f"{phase_name(plan, sequence, index)} takes the power from {names} {when}: without power it sinks",
        fix=f"{first}`set: {{{down or 'SETPOINT: VALUE'}}}`, so that it is brought down first",
        notes=tuple((plan.outputs[i].place, "does not hold unpowered") for i in outputs[:8]),
    )


def _unsaid(plan: Plan) -> Iterator[Finding]:
    stops = [
        unpowered_in(plan, row.phases[index])
        for sequence, row in enumerate(plan.sequences)
        for index in sorted(entered_phases(plan, sequence))
    ]
    for index in sorted({i for off in stops if off is not None for i in off.unsaid}):
        output = plan.outputs[index]
        yield Finding(
            "unpowered-unsaid",
            Severity.NOTE,
            output.place,
            f"a stop takes the power from {output.name}, and nothing says whether it then holds or sinks",
            fix="`holds_unpowered: true` for one that holds (a lead screw), `false` for one that does not "
            "(most spur gears)",
        )


def _supplies(facts: Facts) -> Iterator[Finding]:
    """Find supplies under whose least value outputs are cut before anything has brought the machine down."""
    plan = facts.plan
    for signal in dict.fromkeys(o.supply.signal for o in plan.outputs if o.supply is not None):
        cut = [o for o in plan.outputs if o.supply is not None and o.supply.signal == signal]
        of_it = [(o.supply.least, o) for o in cut if o.supply is not None and o.supply.least is not None]
        if not of_it:
            continue
        least, output = max(of_it, key=lambda pair: pair[0])
        row = plan.signals[signal]
        thresholds = _noticed(facts, signal)
        if any(threshold > least for threshold in thresholds) or _every_phase_looks(plan, signal):
            continue
        under = number_words(least, row.unit)
        late = f"looks at {row.name} only at {number_words(max(thresholds), row.unit)}" if thresholds else ""
        proposed = number_words(math.ceil(least * ABOVE_LEAST * 10) / 10, row.unit)
        stop = next((p.name for s in plan.sequences for p in s.phases if p.stop is not None), "safe")
        yield Finding(
            "supply-unnoticed",
            Severity.WARNING,
            output.place,
            f"under {under} of {row.name} the outputs are cut in whatever phase the machine stands, perhaps "
            f"on one foot: the gait {late or f'never looks at {row.name}'}",
            fix=f"under `anywhere`: `- {{to: {stop}, when: {{signal: {row.name}, below: {proposed}}}, "
            f"hold: 500 ms}}`",
        )


def _noticed(facts: Facts, signal: int) -> list[float]:
    """List the values under which some entry of `anywhere` notices a signal."""
    plan = facts.plan
    leaves = [plan.leaves[i] for entry in plan.anywhere for i in plan.guards[entry.guard].leaves]
    found = []
    for leaf in leaves:
        if isinstance(leaf, Compare) and leaf.source == "signal" and leaf.index == signal:
            under = leaf.low if leaf.op in {"outside", "at_least", "above", "within"} else leaf.high
            found += [] if under is None else [facts.level(under)[0]]
    return found


def _every_phase_looks(plan: Plan, signal: int) -> bool:
    """Tell whether each phase in which the machine walks looks at a signal, and whether there is any."""
    phases = [
        {
            leaf.index
            for subject in exits_of(plan, sequence, index)
            for leaf in (plan.leaves[i] for i in plan.guards[subject.guard].leaves)
            if isinstance(leaf, Compare) and leaf.source == "signal"
        }
        for sequence, row in enumerate(plan.sequences)
        for index in sorted(entered_phases(plan, sequence))
        if not may_stay(row.phases[index])
    ]
    return bool(phases) and all(signal in looked for looked in phases)
